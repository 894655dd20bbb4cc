"""How long repairs take: the median of days from drop-off to ready, by the month they became ready. Pure.

The median, because one amplifier that waited half a year for a transformer must not hide how long the others
took.
"""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median
from typing import Final, NamedTuple

MONTHS: Final = 12
_NAMES: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


class Time(NamedTuple):
    """When a job came in and when it was ready, both in the shop's zone."""

    came: dt.datetime
    ready: dt.datetime

    @property
    def days(self) -> float:
        """Days by the clock, with their fraction."""
        return (self.ready - self.came).total_seconds() / 86_400


@dataclass(frozen=True)
class Month:
    """One month: how many jobs became ready in it, and their median in days; None without any."""

    first: dt.date
    count: int
    median: float | None

    @property
    def key(self) -> str:
        return f"{self.first:%Y-%m}"

    @property
    def words(self) -> str:
        return f"{_NAMES[self.first.month - 1]} {self.first.year}"

    @property
    def short(self) -> str:
        return _NAMES[self.first.month - 1]


def months_back(today: dt.date, count: int = MONTHS) -> list[dt.date]:
    """The first days of the last `count` months, the present one last."""
    last = today.year * 12 + today.month - 1
    return [dt.date(n // 12, n % 12 + 1, 1) for n in range(last - count + 1, last + 1)]


def by_month(times: Iterable[Time], today: dt.date) -> list[Month]:
    """The last twelve months, also those without a job. What ends before it began is left out."""
    days: dict[tuple[int, int], list[float]] = {}
    for time in times:
        if time.days >= 0:
            days.setdefault((time.ready.year, time.ready.month), []).append(time.days)
    months = []
    for first in months_back(today):
        found = days.get((first.year, first.month), [])
        months.append(Month(first, len(found), median(found) if found else None))
    return months


@dataclass(frozen=True)
class Bar:
    """One bar of the picture, in its own units."""

    x: float
    y: float
    width: float
    height: float
    middle: float
    label: str
    said: str  # the figure above it; empty for a month without jobs


@dataclass(frozen=True)
class Rule:
    """A line across the picture, and the days it stands for."""

    y: float
    days: int


@dataclass(frozen=True)
class Picture:
    width: int
    height: int
    floor: int
    bars: list[Bar]
    rules: list[Rule]


def picture(months: list[Month], *, width: int = 720, height: int = 260) -> Picture:
    """Lay the bars out. Heights are from zero, on a scale of whole days that ends on a round number."""
    left, head, foot = 40, 28, 30
    floor = height - foot
    top = _round_up(max((m.median or 0 for m in months), default=0))
    each = (width - left) / max(len(months), 1)
    bars = []
    for place, month in enumerate(months):
        tall = (month.median or 0) / top * (floor - head)
        x = left + place * each
        said = "" if month.median is None else f"{month.median:.1f}"
        bars.append(
            Bar(
                x=round(x + each * 0.16, 1),
                y=round(floor - tall, 1),
                width=round(each * 0.68, 1),
                height=round(tall, 1),
                middle=round(x + each / 2, 1),
                label=month.short,
                said=said,
            )
        )
    rules = [Rule(round(floor - part / 2 * (floor - head), 1), top * part // 2) for part in (0, 1, 2)]
    return Picture(width, height, floor, bars, rules)


def _round_up(days: float) -> int:
    """The end of the scale: an even number of days that looks round."""
    for end in (2, 4, 10, 20, 40, 60, 100, 200, 400):
        if days <= end:
            return end
    return int(-(-days // 100) * 100)
