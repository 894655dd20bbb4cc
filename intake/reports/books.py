"""The journal: what the rows of a time come to in the shop's books, and the same summed up by account."""

from collections import defaultdict
from decimal import Decimal
from typing import Any

from django.db.models import Q, QuerySet
from django.db.models.functions import Coalesce

from intake import journal
from intake.journal import Counted, Entry, Item, Paid, Paper
from intake.models import CashUp, Invoice, InvoiceLine, Payment
from intake.reports.sheet import Asked, Column, Kind, Sheet


def entries(asked: Asked) -> list[Entry]:
    """The entries of these days, in four queries. They follow from written-once rows alone."""
    documents = [*_papers(asked), *_payments(asked), *_counts(asked)]
    return [entry for entry in journal.journal(documents) if asked.period.first <= entry.day]


def _in_these_days(asked: Asked) -> tuple[QuerySet[Invoice], QuerySet[Payment]]:
    since, until = asked.bounds
    invoices = Invoice.objects.filter(issued_on__gte=asked.period.first, issued_on__lte=asked.period.last)
    return invoices.order_by(), Payment.objects.filter(at__gte=since, at__lt=until).order_by()


def _jobs_and_sales(asked: Asked) -> tuple[Q, QuerySet, QuerySet]:
    """The jobs, and the sales over the counter, in which something happened in these days."""
    invoices, payments = _in_these_days(asked)
    jobs = Q(job__in=invoices.filter(job__isnull=False).values("job")) | Q(
        job__in=payments.filter(job__isnull=False).values("job")
    )
    sold = invoices.filter(job__isnull=True).values_list(Coalesce("credits_id", "pk"))
    paid = payments.filter(job__isnull=True).values_list(Coalesce("invoice__credits_id", "invoice_id"))
    return jobs, sold, paid


def _papers(asked: Asked) -> list[Paper]:
    """Every invoice of these accounts up to the last of these days, with its lines where it is of these days."""
    jobs, sold, paid = _jobs_and_sales(asked)
    sales = Q(job__isnull=True) & (
        Q(pk__in=sold) | Q(pk__in=paid) | Q(credits__in=sold) | Q(credits__in=paid)
    )
    invoices, _ = _in_these_days(asked)
    items: dict[int, list[Item]] = defaultdict(list)
    for key, kind, amount, percents, net in InvoiceLine.objects.filter(invoice__in=invoices).values_list(
        "invoice_id", "kind", "amount", "tax_percents", "net"
    ):
        items[key].append(Item(kind, amount, tuple(percents), net))
    found = Invoice.objects.filter(jobs | sales, issued_on__lte=asked.period.last).order_by()
    return [
        Paper(
            account=("job", i.job_id) if i.job_id else ("sale", i.credits_id or i.pk),
            day=i.issued_on,
            at=i.at,
            number=i.label,
            who=str(i.buyer.get("name", "")),
            gross=i.gross,
            currency=i.currency,
            taxes=tuple((kept["name"], Decimal(kept["tax"])) for kept in i.taxes),
            items=tuple(items[i.pk]),
            prices_include_tax=i.prices_include_tax,
            is_credit=i.kind == Invoice.Kind.CREDIT_NOTE,
        )
        for i in found.defer("seller", "what", "words", "warranty")
    ]


def _payments(asked: Asked) -> list[Paid]:
    jobs, sold, paid = _jobs_and_sales(asked)
    sales = Q(job__isnull=True) & (
        Q(invoice__in=sold)
        | Q(invoice__in=paid)
        | Q(invoice__credits__in=sold)
        | Q(invoice__credits__in=paid)
    )
    found = Payment.objects.filter(jobs | sales, at__lt=asked.bounds[1]).order_by()
    return [
        Paid(
            account=("job", job) if job else ("sale", credits or invoice),
            day=asked.day(at),
            at=at,
            number=f"Payment {pk}",
            who=name or str((buyer or {}).get("name", "")),
            amount=amount,
            method=method,
            kind=kind,
        )
        for pk, kind, job, invoice, credits, amount, method, at, name, buyer in found.values_list(
            "pk",
            "kind",
            "job_id",
            "invoice_id",
            "invoice__credits_id",
            "amount",
            "method",
            "at",
            "job__person__name",
            "invoice__buyer",
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
        rows=[(e.day, e.account, e.debit, e.credit, e.text, e.document) for e in entries(asked)],
    )


def of(asked: Asked) -> Sheet:
    """What the journal of these days comes to, by account, in four queries."""
    found = entries(asked)
    sums: dict[str, list[Any]] = {}
    for entry in found:
        each = sums.setdefault(entry.account, [asked.zero, asked.zero])
        each[0] += entry.debit
        each[1] += entry.credit
    debits, credits = (sum((each[n] for each in sums.values()), asked.zero) for n in (0, 1))
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
        figures=[("Lines", str(len(found))), ("Debit", asked.say(debits)), ("Credit", asked.say(credits))],
        notes=[
            "The accounts are plain words. Which accounts your books have, and what the law where you are wants in "
            "them, is for whoever keeps them to say."
        ],
        empty="Nothing was invoiced, paid or counted in these days.",
    )
