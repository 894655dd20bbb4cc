"""Who owes: what is unpaid today, by person, the oldest first.

A credit note lowers its own invoice; payments then pay the oldest invoice first. How old a debt is counts from the
day its invoice was issued.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Hashable, Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final, NamedTuple

from django.db.models import DecimalField, F, OuterRef, Q, Subquery, Sum, Value
from django.db.models.functions import Coalesce
from django.urls import reverse

from intake.models import Invoice, Job, Payment, Person
from intake.reports import picture
from intake.reports.sheet import Asked, Column, Kind, Named, Sheet

BANDS: Final = ((30, "up to 30 days"), (60, "31 to 60"), (90, "61 to 90"))  # the last is over 90 days
_LEAST: Final = Decimal("0.0004")  # below what any currency has: SQLite adds in floats


class Bill(NamedTuple):
    """An invoice: its day, and what is left of it after its credit notes."""

    issued_on: dt.date
    gross: Decimal


@dataclass
class Account:
    """What one job, or one sale over the counter, comes to. `who` owes it."""

    who: Hashable
    bills: list[Bill] = field(default_factory=list)
    paid: Decimal = Decimal(0)

    @property
    def balance(self) -> Decimal:
        """Above zero it is owed; below, the shop holds it."""
        return sum((bill.gross for bill in self.bills), Decimal(0)) - self.paid

    def unpaid(self) -> list[Bill]:
        """What is left of each invoice when payments went to the oldest first."""
        left, rest = [], self.paid
        for bill in sorted(self.bills):
            taken = min(max(rest, Decimal(0)), bill.gross)
            rest -= taken
            if bill.gross > taken:
                left.append(Bill(bill.issued_on, bill.gross - taken))
        if rest < 0 and left:  # given back more than was paid: it is owed again, with the oldest
            left[0] = Bill(left[0].issued_on, left[0].gross - rest)
        elif rest < 0 and self.bills:
            left = [Bill(min(self.bills).issued_on, -rest)]
        return left


@dataclass
class Debt:
    """What one person owes, by age."""

    who: Hashable
    oldest: dt.date
    bands: list[Decimal]

    @property
    def owed(self) -> Decimal:
        return sum(self.bands, Decimal(0))


def who_owes(accounts: Iterable[Account], today: dt.date, zero: Decimal) -> list[Debt]:
    """Return who owes what, whose debt is oldest first. Pure."""
    debts: dict[Hashable, Debt] = {}
    for account in accounts:
        if account.balance <= 0:
            continue
        for bill in account.unpaid():
            debt = debts.setdefault(account.who, Debt(account.who, bill.issued_on, [zero] * (len(BANDS) + 1)))
            age = (today - bill.issued_on).days
            band = next((n for n, (most, _) in enumerate(BANDS) if age <= most), len(BANDS))
            debt.bands[band] += bill.gross
            debt.oldest = min(debt.oldest, bill.issued_on)
    return sorted(debts.values(), key=lambda debt: (debt.oldest, -debt.owed, str(debt.who)))


def _sum(rows: Any, by: str, what: str) -> Coalesce:
    """What rows come to for each of another table, 0 where there are none."""
    summed = rows.order_by().values(by).annotate(all=Sum(what)).values("all")
    return Coalesce(Subquery(summed), Value(0), output_field=DecimalField(max_digits=14, decimal_places=3))


def _uneven(rows: Any) -> Any:
    """Those whose invoices, credit notes and payments don't cancel out. A cent is a cent: SQLite adds in floats."""
    uneven = rows.annotate(left=F("billed") - F("credited") - F("paid"))
    return uneven.filter(Q(left__gt=_LEAST) | Q(left__lt=-_LEAST))


def _uneven_jobs() -> dict[int, int]:
    """Jobs with money open: job -> person."""
    invoices = Invoice.objects.filter(job=OuterRef("pk"))
    jobs = Job.objects.order_by().annotate(
        billed=_sum(invoices.filter(kind=Invoice.Kind.INVOICE), "job", "gross"),
        credited=_sum(invoices.filter(kind=Invoice.Kind.CREDIT_NOTE), "job", "gross"),
        paid=_sum(Payment.objects.filter(job=OuterRef("pk")), "job", "amount"),
    )
    return dict(_uneven(jobs).values_list("pk", "person_id"))


def _uneven_sales() -> list[int]:
    """Invoices of sales over the counter with money open."""
    notes = Invoice.objects.filter(credits=OuterRef("pk"))
    sales = Invoice.objects.filter(job__isnull=True, kind=Invoice.Kind.INVOICE).order_by()
    sales = sales.annotate(
        billed=F("gross"),
        credited=_sum(notes, "credits", "gross"),
        paid=_sum(Payment.objects.filter(invoice=OuterRef("pk"), job__isnull=True), "invoice", "amount"),
    )
    return list(_uneven(sales).values_list("pk", flat=True))


@dataclass
class Open:
    """The accounts that aren't even, and what to call those who owe: a person's key, or an invoice's, -> words."""

    accounts: list[Account]
    people: dict[int, str]
    sales: dict[int, str]


def read() -> Open:
    """Read the accounts that aren't even, in five queries. The database finds them; they are added up here."""
    jobs, sales = _uneven_jobs(), _uneven_sales()
    accounts = {("job", key): Account(("person", person)) for key, person in jobs.items()}
    labels: dict[int, str] = {}
    bills: dict[int, tuple[tuple[str, int], dt.date, Decimal]] = {}
    credited: dict[int, Decimal] = defaultdict(Decimal)
    found = Invoice.objects.filter(Q(job__in=jobs) | Q(pk__in=sales) | Q(credits__in=sales)).order_by("pk")
    for invoice in found.only(
        "kind", "credits_id", "job_id", "person_id", "issued_on", "gross", "series", "number"
    ):
        if invoice.kind == Invoice.Kind.CREDIT_NOTE:
            credited[invoice.credits_id] += invoice.gross
            continue
        key = ("job", invoice.job_id) if invoice.job_id else ("sale", invoice.pk)
        bills[invoice.pk] = (key, invoice.issued_on, invoice.gross)
        if not invoice.job_id:
            who = ("person", invoice.person_id) if invoice.person_id else ("sale", invoice.pk)
            labels[invoice.pk] = invoice.label
            accounts[key] = Account(who)
    for pk, (key, day, gross) in bills.items():
        accounts[key].bills.append(Bill(day, gross - credited[pk]))
    payments = Payment.objects.filter(Q(job__in=jobs) | Q(invoice__in=sales, job__isnull=True)).order_by()
    for job, invoice, amount in payments.values_list("job_id", "invoice_id", "amount"):
        accounts[("job", job) if job else ("sale", invoice)].paid += amount
    people = {account.who[1] for account in accounts.values() if account.who[0] == "person"}
    names = dict(Person.objects.filter(pk__in=people).order_by().values_list("pk", "name"))
    return Open(list(accounts.values()), names, labels)


def of(asked: Asked) -> Sheet:
    """The report, in five queries."""
    found = read()
    debts = who_owes(found.accounts, asked.today, asked.zero)
    held = -sum((a.balance for a in found.accounts if a.balance < 0), asked.zero)
    bands = [sum((debt.bands[n] for debt in debts), asked.zero) for n in range(len(BANDS) + 1)]
    whole = sum(bands, asked.zero)
    names = [*(words for _, words in BANDS), "over 90 days"]
    bars = [
        picture.Bar(n.capitalize(), float(sum_), asked.say(sum_))
        for n, sum_ in zip(names, bands, strict=True)
    ]
    return Sheet(
        columns=[
            Column("who", "Who"),
            Column("oldest invoice", "Oldest invoice", Kind.DAY),
            *(Column(name, name.capitalize(), Kind.MONEY) for name in names),
            Column("owed", "Owed", Kind.MONEY),
        ],
        rows=[(_named(debt.who, found), debt.oldest, *debt.bands, debt.owed) for debt in debts],
        total=("Together", "", *bands, whole) if debts else None,
        picture=picture.lying(bars) if debts else None,
        pictured="What is owed, by the age of the invoice",
        caption="Owed, by the age of the invoice",
        figures=[
            ("Owed", asked.say(whole)),
            ("Who owe", str(len(debts))),
            ("Held for customers", asked.say(held)),
        ],
        notes=["Held for customers are deposits and what was paid too much: it is not taken off here."]
        if held
        else [],
        empty="Nobody owes the shop anything.",
    )


def _named(who: tuple[str, int], found: Open) -> Named:
    kind, key = who
    if kind == "person":
        return Named(found.people[key], reverse("person", args=[key]))
    label = found.sales[key]
    return Named(f"Sold over the counter, {label}", reverse("invoice", args=[label]))
