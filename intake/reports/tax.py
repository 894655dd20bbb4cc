"""Tax, by rate and stretch of time, from what invoices and credit notes said when they were issued.

A credit note counts against the month it was issued in. Nothing is worked out anew: a rate that has changed since
leaves old invoices as they are.
"""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from intake.models import Invoice
from intake.reports import picture
from intake.reports.period import Piece, place
from intake.reports.sheet import Asked, Column, Kind, Sheet


@dataclass
class Rate:
    """What one rate came to in one stretch of time."""

    name: str
    percent: Decimal
    base: Decimal
    tax: Decimal
    credited: Decimal


Issued = tuple[dt.date, str, Decimal, Decimal, list[dict[str, Any]]]


def by_rate(pieces: list[Piece], issued: Iterable[Issued], zero: Decimal) -> list[list[Rate]]:
    """Return for each stretch its rates, by name and per cent. Pure; `issued` has day, kind, net, gross, taxes."""
    found: list[dict[tuple[str, Decimal], Rate]] = [{} for _ in pieces]
    for day, kind, _, _, taxes in issued:
        at = place(pieces, day)
        if at is None:
            continue
        sign = -1 if kind == Invoice.Kind.CREDIT_NOTE else 1
        for kept in taxes:
            key = (kept["name"], Decimal(kept["percent"]))
            rate = found[at].setdefault(key, Rate(*key, zero, zero, zero))
            rate.base += sign * Decimal(kept["base"])
            rate.tax += sign * Decimal(kept["tax"])
            if sign < 0:
                rate.credited += Decimal(kept["tax"])
    return [[rates[key] for key in sorted(rates)] for rates in found]


def of(asked: Asked) -> Sheet:
    """The report, in one query."""
    pieces = asked.period.months()
    issued = list(
        Invoice.objects.filter(issued_on__gte=asked.period.first, issued_on__lte=asked.period.last)
        .order_by()
        .values_list("issued_on", "kind", "net", "gross", "taxes")
    )
    found = by_rate(pieces, issued, asked.zero)
    rows = [
        (piece, rate.name, f"{rate.percent:f}", rate.base, rate.tax, rate.credited)
        for piece, rates in zip(pieces, found, strict=True)
        for rate in rates
    ]
    tax = sum((row[4] for row in rows), asked.zero)
    signed = [
        (-1 if kind == Invoice.Kind.CREDIT_NOTE else 1, net, taxes) for _, kind, net, _, taxes in issued
    ]
    net = sum((sign * each for sign, each, _ in signed), asked.zero)
    untaxed = sum((sign * each for sign, each, taxes in signed if not taxes), asked.zero)
    bars = []
    for piece, rates in zip(pieces, found, strict=True):
        come_to = sum((rate.tax for rate in rates), asked.zero)
        bars.append(picture.Bar(piece.short, float(come_to), f"{come_to:,.0f}" if come_to else ""))
    return Sheet(
        columns=[
            Column("month", "When"),
            Column("tax", "Tax"),
            Column("per cent", "Per cent", Kind.COUNT),
            Column("taxed sum", "Taxed sum", Kind.MONEY),
            Column("tax sum", "Tax", Kind.MONEY),
            Column("of it credited", "Credited", Kind.MONEY),
        ],
        rows=rows,
        total=("Together", "", "", "", tax, sum((row[5] for row in rows), asked.zero)) if rows else None,
        picture=picture.upright(bars, scale=lambda v: f"{v:,.0f}") if rows else None,
        pictured="Tax on what was invoiced in each month",
        caption="Tax, all rates together",
        figures=[
            ("Invoiced before tax", asked.say(net)),
            ("Tax", asked.say(tax)),
            ("Invoiced without any tax", asked.say(untaxed)),
        ],
        notes=[
            "By the day of issue, whether paid or not. Where your law counts tax by the day of payment, this report "
            "doesn’t do: ask whoever keeps your books, and check the law where you are."
        ],
        empty="No invoice of these days has tax on it.",
    )
