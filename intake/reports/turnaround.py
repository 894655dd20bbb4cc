"""How long repairs take: days from drop-off to ready, by the month in which they became ready.

The median, because one amplifier that waited half a year for a transformer must not hide how long the others
took; and the quartiles, because a customer asks how long it may take.
"""

import datetime as dt
from collections.abc import Iterable
from typing import NamedTuple

from intake.models import Job
from intake.reports import picture
from intake.reports.figures import Spread, spread
from intake.reports.period import Piece, place
from intake.reports.sheet import Asked, Column, Kind, Sheet


class Time(NamedTuple):
    """When a job came in and when it was ready, both on the shop's clock."""

    came: dt.datetime
    ready: dt.datetime

    @property
    def days(self) -> float:
        """Days of 24 hours, with their fraction; whatever the clocks on the wall were set to between."""
        return (self.ready.timestamp() - self.came.timestamp()) / 86_400


def by_piece(pieces: list[Piece], times: Iterable[Time]) -> list[Spread | None]:
    """Return the spread of each stretch; None without a job. What ends before it began is left out. Pure."""
    days: list[list[float]] = [[] for _ in pieces]
    for time in times:
        at = place(pieces, time.ready.date())
        if at is not None and time.days >= 0:
            days[at].append(time.days)
    return [spread(each) for each in days]


def of(asked: Asked) -> Sheet:
    """The report, in one query."""
    pieces = asked.period.months()
    since, until = asked.bounds
    zone = asked.shop.zone
    found = Job.objects.filter(ready_at__gte=since, ready_at__lt=until).order_by()
    times = [
        Time(came.astimezone(zone), ready.astimezone(zone))
        for came, ready in found.values_list("since", "ready_at")
    ]
    spreads = by_piece(pieces, times)
    whole = spread([time.days for time in times if time.days >= 0])
    rows = [(piece, *_figures(each)) for piece, each in zip(pieces, spreads, strict=True)]
    bars = [
        picture.Bar(
            piece.short,
            each.median if each else None,
            f"{each.median:.1f}" if each else "",
            low=each.lower if each else None,
            high=each.upper if each else None,
        )
        for piece, each in zip(pieces, spreads, strict=True)
    ]
    return Sheet(
        columns=[
            Column("month", "Became ready in"),
            Column("jobs that became ready", "Jobs", Kind.COUNT),
            Column("lower quartile, days", "A quarter within, days", Kind.DAYS),
            Column("median days from drop-off to ready", "Half within, days", Kind.DAYS),
            Column("upper quartile, days", "Three quarters within, days", Kind.DAYS),
        ],
        rows=rows,
        total=("Together", *_figures(whole)),
        picture=picture.upright(bars) if whole else None,
        pictured="Median days from drop-off to ready in each month, with the quartiles as a line",
        caption="Bars: median days. Lines: from the lower to the upper quartile.",
        figures=[
            ("Jobs", str(whole.count)),
            ("Half were ready within", f"{whole.median:.1f} days"),
            ("Three quarters within", f"{whole.upper:.1f} days"),
        ]
        if whole
        else [],
    )


def _figures(of: Spread | None) -> tuple[int, float | None, float | None, float | None]:
    return (of.count, of.lower, of.median, of.upper) if of else (0, None, None, None)
