"""Takings: the money that changed hands, by how it was paid, day by day or month by month.

What was given back counts against the day it was given back, and so does what selling gear left behind cost. What
moves no money, a write-off or the value of gear kept for parts, is left out.
"""

import datetime as dt
from collections.abc import Iterable
from decimal import Decimal
from typing import Final

from intake.models import Payment
from intake.reports import picture
from intake.reports.period import Piece, place
from intake.reports.sheet import Asked, Column, Kind, Sheet

METHODS: Final = [m for m in Payment.Method if m != Payment.Method.NONE]


def by_piece(
    pieces: list[Piece], paid: Iterable[tuple[dt.date, str, Decimal]], zero: Decimal
) -> list[dict[str, Decimal]]:
    """Return for each stretch what was taken by each method. Pure; `paid` has day, method, sum."""
    taken = [dict.fromkeys(METHODS, zero) for _ in pieces]
    for day, method, amount in paid:
        at = place(pieces, day)
        if at is not None and method in taken[at]:
            taken[at][method] += amount
    return taken


def of(asked: Asked) -> Sheet:
    """The report, in one query."""
    pieces = asked.period.pieces()
    since, until = asked.bounds
    paid = list(
        Payment.objects.filter(at__gte=since, at__lt=until)
        .exclude(method=Payment.Method.NONE)
        .order_by()
        .values_list("at", "method", "amount")
    )
    taken = by_piece(pieces, ((asked.day(at), method, amount) for at, method, amount in paid), asked.zero)
    rows = [
        (piece, *each.values(), sum(each.values(), asked.zero))
        for piece, each in zip(pieces, taken, strict=True)
    ]
    totals = [sum((row[n] for row in rows), asked.zero) for n in range(1, len(METHODS) + 2)]
    given_back = sum((amount for _, _, amount in paid if amount < 0), asked.zero)
    bars = [picture.Bar(row[0].short, float(row[-1]), _short(row[-1]) if row[-1] else "") for row in rows]
    return Sheet(
        columns=[
            Column("day or month", "When"),
            *(Column(method.label.lower(), method.label, Kind.MONEY) for method in METHODS),
            Column("taken", "Taken", Kind.MONEY),
        ],
        rows=rows if paid else [],
        total=("Together", *totals),
        picture=picture.upright(bars, scale=_short) if paid else None,
        pictured="What was taken in each stretch of time",
        caption="Taken, by all methods together",
        figures=[
            ("Taken", asked.say(totals[-1])),
            *((m.label, asked.say(t)) for m, t in zip(METHODS, totals, strict=False) if t),
        ],
        notes=[
            f"{asked.say(-given_back)} went out again, given back or as costs of selling gear left behind; it is taken "
            "off."
        ]
        if given_back
        else [],
        empty="No money changed hands in these days.",
    )


def _short(amount: Decimal | float) -> str:
    """A figure on a picture: whole, with its thousands apart."""
    return f"{amount:,.0f}"
