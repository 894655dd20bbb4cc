"""The journal: what the rows of a time come to in the shop's books, and the same summed up by account."""

import json
from collections import defaultdict
from collections.abc import Hashable, Iterator
from decimal import Decimal
from functools import cache
from typing import Any

from django.db.models import Q, QuerySet, TextField
from django.db.models.fields.json import KeyTextTransform
from django.db.models.functions import Cast, Coalesce

from intake import journal
from intake.journal import Counted, Entry, Item, Paid, Paper, Standing
from intake.models import CashUp, Invoice, InvoiceLine, Payment
from intake.models.bills import label_of
from intake.reports.sheet import Asked, Column, Kind, Sheet


def entries(asked: Asked) -> list[Entry]:
    """The entries of these days, in six queries. They follow from written-once rows alone."""
    return list(_one_by_one(asked))


def _one_by_one(asked: Asked) -> Iterator[Entry]:
    documents = [*_papers(asked), *_payments(asked), *_counts(asked)]
    return journal.one_by_one(documents, _opening(asked))


def _in_these_days(asked: Asked) -> tuple[QuerySet[Invoice], QuerySet[Payment]]:
    since, until = asked.bounds
    invoices = Invoice.objects.filter(issued_on__gte=asked.period.first, issued_on__lte=asked.period.last)
    return invoices.order_by(), Payment.objects.filter(at__gte=since, at__lt=until).order_by()


def _account(job: int | None, sale: int | None) -> tuple[str, int | None]:
    return ("job", job) if job else ("sale", sale)


def _opening(asked: Asked) -> dict[Hashable, Standing]:
    """Where the accounts stood before these days in which anything happened in them. Added up here: SQLite would
    add in floats."""
    invoices, payments = _in_these_days(asked)
    jobs = Q(job__in=invoices.filter(job__isnull=False).values("job")) | Q(
        job__in=payments.filter(job__isnull=False).values("job")
    )
    sold = invoices.filter(job__isnull=True).values_list(Coalesce("credits_id", "pk"))
    paid = payments.filter(job__isnull=True).values_list(Coalesce("invoice__credits_id", "invoice_id"))
    unpaid: dict[Hashable, Decimal] = defaultdict(Decimal)
    let_off: dict[Hashable, Decimal] = defaultdict(Decimal)
    sales = Q(pk__in=sold) | Q(pk__in=paid) | Q(credits__in=sold) | Q(credits__in=paid)
    before = Invoice.objects.filter(jobs | Q(job__isnull=True) & sales, issued_on__lt=asked.period.first)
    for job, credits, pk, kind, gross in before.order_by().values_list(
        "job_id", "credits_id", "pk", "kind", "gross"
    ):
        unpaid[_account(job, credits or pk)] += -gross if kind == Invoice.Kind.CREDIT_NOTE else gross
    sales = (
        Q(invoice__in=sold)
        | Q(invoice__in=paid)
        | Q(invoice__credits__in=sold)
        | Q(invoice__credits__in=paid)
    )
    moved = Payment.objects.filter(jobs | Q(job__isnull=True) & sales, at__lt=asked.bounds[0])
    for job, credits, invoice, kind, amount in moved.order_by().values_list(
        "job_id", "invoice__credits_id", "invoice_id", "kind", "amount"
    ):
        account = _account(job, credits or invoice)
        if kind == Payment.Kind.WRITE_OFF:
            let_off[account] += amount
        else:
            unpaid[account] -= amount
    return {each: Standing(unpaid[each], let_off[each]) for each in {*unpaid, *let_off}}


@cache
def _percents(text: str) -> tuple[str, ...]:
    """The tax rates of a line, of which a shop has few."""
    return tuple(json.loads(text))


def _papers(asked: Asked) -> list[Paper]:
    """Every invoice and credit note of these days, with its lines."""
    invoices, _ = _in_these_days(asked)
    items: dict[int, list[Item]] = defaultdict(list)
    lines = InvoiceLine.objects.filter(invoice__in=invoices).order_by("position", "pk")
    for key, kind, amount, percents, net in lines.values_list(
        "invoice_id", "kind", "amount", Cast("tax_percents", TextField()), "net"
    ):
        items[key].append(Item(kind, amount, _percents(percents), net))
    return [
        Paper(
            account=_account(job, credits or pk),
            day=day,
            at=at,
            number=label_of(series, number),
            who=buyer or "",
            gross=gross,
            currency=currency,
            taxes=tuple((kept["name"], Decimal(kept["tax"])) for kept in taxes),
            items=tuple(items[pk]),
            prices_include_tax=includes,
            is_credit=kind == Invoice.Kind.CREDIT_NOTE,
        )
        for pk, kind, job, credits, day, at, series, number, buyer, gross, currency, taxes, includes in (
            invoices.values_list(
                "pk",
                "kind",
                "job_id",
                "credits_id",
                "issued_on",
                "at",
                "series",
                "number",
                KeyTextTransform("name", "buyer"),
                "gross",
                "currency",
                "taxes",
                "prices_include_tax",
            )
        )
    ]


def _payments(asked: Asked) -> list[Paid]:
    _, payments = _in_these_days(asked)
    return [
        Paid(
            account=_account(job, credits or invoice),
            day=asked.day(at),
            at=at,
            number=f"Payment {pk}",
            who=name or buyer or "",
            amount=amount,
            method=method,
            kind=kind,
        )
        for pk, kind, job, invoice, credits, amount, method, at, name, buyer in payments.values_list(
            "pk",
            "kind",
            "job_id",
            "invoice_id",
            "invoice__credits_id",
            "amount",
            "method",
            "at",
            "job__person__name",
            KeyTextTransform("name", "invoice__buyer"),
        )  # fmt: skip
    ]


def _counts(asked: Asked) -> list[Counted]:
    """The last count of each of these days."""
    counts = CashUp.objects.filter(day__gte=asked.period.first, day__lte=asked.period.last).order_by(
        "at", "pk"
    )
    last = {count.day: count for count in counts}
    return [Counted(c.day, c.at, f"Till {c.day.isoformat()}", c.counted - c.expected) for c in last.values()]


def sheet_of_entries(asked: Asked) -> Sheet:
    """The journal itself, as whoever keeps the books takes it over."""
    return Sheet(
        columns=[
            Column("date", "Date", Kind.DAY),
            Column("account", "Account"),
            Column("debit", "Debit", Kind.MONEY),
            Column("credit", "Credit", Kind.MONEY),
            Column("text", "Text"),
            Column("document", "Document"),
        ],
        rows=entries(asked),  # an entry's parts stand in this order
    )


def of(asked: Asked) -> Sheet:
    """What the journal of these days comes to, by account, in six queries."""
    count, zero = 0, asked.zero
    sums: dict[str, list[Any]] = defaultdict(lambda: [zero, zero])
    for count, entry in enumerate(_one_by_one(asked), start=1):  # noqa: B007
        each = sums[entry.account]
        each[0] += entry.debit
        each[1] += entry.credit
    debits, credits = (sum((each[n] for each in sums.values()), zero) for n in (0, 1))
    order = [str(account) for account in journal.Account]
    rows = [
        (account, debit, credit, debit - credit)
        for account, (debit, credit) in sorted(
            sums.items(), key=lambda item: (order.index(item[0]) if item[0] in order else len(order), item[0])
        )
    ]
    return Sheet(
        columns=[
            Column("account", "Account"),
            Column("debit", "Debit", Kind.MONEY),
            Column("credit", "Credit", Kind.MONEY),
            Column("debit less credit", "Debit less credit", Kind.MONEY),
        ],
        rows=rows,
        total=("Together", debits, credits, debits - credits) if rows else None,
        figures=[("Lines", str(count)), ("Debit", asked.say(debits)), ("Credit", asked.say(credits))],
        notes=[
            "The accounts are plain words. Which accounts your books have, and what the law where you are wants in "
            "them, is for whoever keeps them to say."
        ],
        empty="Nothing was invoiced, paid or counted in these days.",
    )
