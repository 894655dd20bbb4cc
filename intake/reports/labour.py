"""Labour sold against labour clocked: the hours on invoices beside the hours on timers, by person.

An hour on an invoice belongs to whoever's clock it was charged from. A line that was written by hand belongs to
nobody, and stands in a row of its own; what credit notes took back stands in another. Clocked hours count in the
days in which they began, sold ones on the day of the invoice: over a short time the two need not fit.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from django.db.models import IntegerField, OuterRef, Subquery, Sum
from django.db.models.functions import Cast, Substr

from intake.models import Charge, Invoice, InvoiceLine, LabourSpell
from intake.models.bills import LineKind
from intake.reports import figures, picture
from intake.reports.sheet import Asked, Column, Kind, Sheet

ORIGIN: Final = "labour/"  # how a charge names the spell that it is for: intake.labour.origin
ZERO: Final = Decimal(0)


@dataclass(frozen=True)
class Person:
    """One person's hours: clocked, sold at a price, and given at nothing."""

    name: str
    clocked: Decimal
    sold: Decimal
    given: Decimal

    @property
    def share(self) -> Decimal | None:
        """Sold hours per cent of clocked ones; None without a clock."""
        return figures.percent(self.sold, self.clocked)


def by_person(
    clocked: Mapping[str, int], sold: Mapping[str, Decimal], given: Mapping[str, Decimal]
) -> list[Person]:
    """Put together what each person clocked (minutes), sold and gave (hours), by name. Pure."""
    return [
        Person(name, figures.hours(clocked.get(name, 0)), sold.get(name, ZERO), given.get(name, ZERO))
        for name in sorted({*clocked, *sold, *given}, key=str.casefold)
    ]


def of(asked: Asked) -> Sheet:
    """The report, in three queries."""
    since, until = asked.bounds
    clocked = dict(
        LabourSpell.objects.filter(
            began__gte=since, began__lt=until, ended__isnull=False, struck_at__isnull=True
        )
        .order_by()
        .values_list("who__name")
        .annotate(all=Sum("minutes"))
    )
    sold, given, from_clocks = {}, {}, {True: ZERO, False: ZERO}
    for name, quantity, price, at_nothing in _charged_from_clocks(asked):
        free = at_nothing or not price
        hours = given if free else sold
        hours[name] = hours.get(name, ZERO) + quantity
        from_clocks[free] += quantity
    lines = {True: ZERO, False: ZERO}  # whether at nothing -> hours on invoices
    credited = ZERO
    for kind, quantity, amount in InvoiceLine.objects.filter(
        kind=LineKind.LABOUR,
        unit="h",
        invoice__issued_on__gte=asked.period.first,
        invoice__issued_on__lte=asked.period.last,
    ).values_list("invoice__kind", "quantity", "amount"):
        if kind == Invoice.Kind.CREDIT_NOTE:
            credited += quantity
        else:
            lines[not amount] += quantity
    people = by_person(clocked, sold, given)
    by_hand = Person(
        "Not from a clock", ZERO, lines[False] - from_clocks[False], lines[True] - from_clocks[True]
    )
    return _sheet(people, by_hand, credited)


def _charged_from_clocks(asked: Asked) -> list[tuple[str, Decimal, Decimal, bool]]:
    """Who clocked it, hours, price, whether it was under warranty: of charges on the invoices of these days."""
    spell = Cast(Substr(OuterRef("origin"), len(ORIGIN) + 1), IntegerField())
    who = LabourSpell.objects.filter(pk=spell).values("who__name")[:1]
    return list(
        Charge.objects.filter(
            kind=LineKind.LABOUR,
            origin__startswith=ORIGIN,
            invoice__issued_on__gte=asked.period.first,
            invoice__issued_on__lte=asked.period.last,
        )
        .order_by()
        .annotate(who=Subquery(who))
        .values_list("who", "quantity", "unit_price", "under_warranty")
    )


def _sheet(people: list[Person], by_hand: Person, credited: Decimal) -> Sheet:
    two = Decimal("0.01")
    rows = [(p.name, p.clocked, p.sold.quantize(two), p.given.quantize(two), p.share) for p in people]
    if by_hand.sold or by_hand.given:
        rows.append((by_hand.name, None, by_hand.sold.quantize(two), by_hand.given.quantize(two), None))
    if credited:
        rows.append(("Taken back by credit notes", None, -credited.quantize(two), None, None))
    clocked, sold, given = (sum((row[n] or ZERO for row in rows), ZERO).quantize(two) for n in (1, 2, 3))
    bars = [
        picture.Bar(p.name, float(p.clocked), f"{p.clocked} h", float(p.sold), f"{p.sold.quantize(two)} h")
        for p in people
    ]
    return Sheet(
        columns=[
            Column("person", "Person"),
            Column("clocked hours", "Clocked, h", Kind.HOURS),
            Column("sold hours", "Sold, h", Kind.HOURS),
            Column("hours at nothing", "At nothing, h", Kind.HOURS),
            Column("sold per cent of clocked", "Sold of clocked", Kind.PERCENT),
        ],
        rows=rows,
        total=("Together", clocked, sold, given, figures.percent(sold, clocked)) if rows else None,
        picture=picture.lying(bars, legend=("clocked", "sold")) if bars else None,
        pictured="Hours clocked and hours sold by each person",
        caption="Hours, by person",
        figures=[("Clocked", f"{clocked} h"), ("Sold", f"{sold} h"), ("At nothing", f"{given} h")],
        notes=["Timers that still run are left out, and so is time that was struck out."],
        empty="No time was clocked and no labour invoiced in these days.",
    )
