"""What parts brought in: what they were sold for, less what they cost the shop, where their cost is known.

Prices are those of the line, before discounts on the whole bill and without tax. A line without a cost counts in
no margin; the report says how many there are.
"""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from intake.models import Invoice, InvoiceLine
from intake.models.bills import LineKind
from intake.reports import figures, picture
from intake.reports.period import Piece, place
from intake.reports.sheet import Asked, Column, Kind, Sheet
from shop import money


@dataclass
class Margin:
    """What the parts of one stretch of time came to. `unknown` is what those without a cost were sold for."""

    lines: int
    without_cost: int
    sold: Decimal
    cost: Decimal
    unknown: Decimal

    @property
    def margin(self) -> Decimal:
        return self.sold - self.cost

    @property
    def percent(self) -> Decimal | None:
        """The margin, per cent of what they were sold for."""
        return figures.percent(self.margin, self.sold)


@dataclass(frozen=True)
class Sold:
    """A line of parts. `sign` is -1 on a credit note."""

    day: dt.date
    sign: int
    net: Decimal
    cost: Decimal | None


def net_of(amount: Decimal, percents: Sequence[str], *, includes_tax: bool, currency: str) -> Decimal:
    """Return a line's amount without the tax that is in it. Pure."""
    if not includes_tax or not percents:
        return amount
    together = sum((Fraction(percent) for percent in percents), Fraction(0))
    return money.round_to(Fraction(amount) / (1 + together / 100), currency)


def by_piece(pieces: list[Piece], lines: Iterable[Sold], zero: Decimal) -> list[Margin]:
    """Return for each stretch what its parts came to. Pure."""
    found = [Margin(0, 0, zero, zero, zero) for _ in pieces]
    for line in lines:
        at = place(pieces, line.day)
        if at is None:
            continue
        found[at].lines += 1
        if line.cost is None:
            found[at].without_cost += 1
            found[at].unknown += line.sign * line.net
        else:
            found[at].sold += line.sign * line.net
            found[at].cost += line.sign * line.cost
    return found


def of(asked: Asked) -> Sheet:
    """The report, in one query."""
    pieces = asked.period.months()
    found = by_piece(pieces, _lines(asked), asked.zero)
    rows = [
        (piece, m.lines, m.sold, m.cost, m.margin, m.percent, m.without_cost, m.unknown)
        for piece, m in zip(pieces, found, strict=True)
    ]
    whole = Margin(
        sum(m.lines for m in found),
        sum(m.without_cost for m in found),
        *(sum((getattr(m, name) for m in found), asked.zero) for name in ("sold", "cost", "unknown")),
    )
    bars = [
        picture.Bar(p.short, float(m.margin), f"{m.margin:,.0f}" if m.lines else "")
        for p, m in zip(pieces, found, strict=True)
    ]
    return Sheet(
        columns=[
            Column("month", "When"),
            Column("lines", "Lines", Kind.COUNT),
            Column("sold for, cost known", "Sold for", Kind.MONEY),
            Column("cost", "Cost", Kind.MONEY),
            Column("margin", "Margin", Kind.MONEY),
            Column("margin per cent", "Margin of sold", Kind.PERCENT),
            Column("lines without a cost", "Lines without a cost", Kind.COUNT),
            Column("sold for, cost not known", "Sold for, cost not known", Kind.MONEY),
        ],
        rows=rows if whole.lines else [],
        total=(
            "Together",
            whole.lines,
            whole.sold,
            whole.cost,
            whole.margin,
            whole.percent,
            whole.without_cost,
            whole.unknown,
        ),  # fmt: skip
        picture=picture.upright(bars, scale=lambda v: f"{v:,.0f}") if whole.lines else None,
        pictured="What was left of the price of parts after their cost, in each month",
        caption="Margin on parts whose cost is known",
        figures=[
            ("Margin", asked.say(whole.margin)),
            ("Sold for", asked.say(whole.sold)),
            ("Cost", asked.say(whole.cost)),
        ],
        notes=[f"Lines without a cost: {whole.without_cost} of {whole.lines}. They are in no margin."]
        if whole.without_cost
        else [],
        empty="No parts are on the invoices of these days.",
    )


def _lines(asked: Asked) -> Iterable[Sold]:
    for day, kind, amount, percents, includes, currency, quantity, cost in (
        InvoiceLine.objects.filter(
            kind=LineKind.PART,
            invoice__issued_on__gte=asked.period.first,
            invoice__issued_on__lte=asked.period.last,
        )
        .order_by()
        .values_list(
            "invoice__issued_on",
            "invoice__kind",
            "amount",
            "tax_percents",
            "invoice__prices_include_tax",
            "invoice__currency",
            "quantity",
            "unit_cost",
        )  # fmt: skip
    ):
        yield Sold(
            day,
            -1 if kind == Invoice.Kind.CREDIT_NOTE else 1,
            net_of(amount, percents, includes_tax=includes, currency=currency),
            None if cost is None else money.round_to(cost * quantity, currency),
        )
