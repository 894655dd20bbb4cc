"""Stretches of the calendar that a report is about. Pure: today's date, in the shop's zone, is an argument."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final
from zoneinfo import ZoneInfo

_NAMES: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_LONG: Final = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
FIRST_DAY: Final = dt.date(1990, 1, 1)
LAST_DAY: Final = dt.date(2199, 12, 31)


class Span(StrEnum):
    """How long a stretch is."""

    MONTH = "month"
    QUARTER = "quarter"
    YEAR = "year"
    TWELVE = "twelve-months"
    DAYS = "days"

    @property
    def words(self) -> str:
        return {"twelve-months": "Twelve months", "days": "From day to day"}.get(self, self.capitalize())


class NoPeriod(ValueError):
    """What was asked for is no stretch of days; the sentence says why."""


@dataclass(frozen=True)
class Piece:
    """A day, a month or a year of a period: one bar of the picture, one row of the table."""

    first: dt.date
    last: dt.date
    key: str  # ISO 8601: 2026, 2026-11, 2026-11-25
    words: str
    short: str


@dataclass(frozen=True)
class Period:
    """From the first day to the last, both of them within it."""

    first: dt.date
    last: dt.date
    span: Span

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise NoPeriod("The last day comes before the first. Swap them.")
        if self.first < FIRST_DAY or self.last > LAST_DAY:
            raise NoPeriod("Choose days between 1990 and 2199.")

    @property
    def days(self) -> int:
        return (self.last - self.first).days + 1

    @property
    def key(self) -> str:
        """What files are named by."""
        return f"{self.first.isoformat()}-to-{self.last.isoformat()}"

    @property
    def words(self) -> str:
        if self.span == Span.MONTH:
            return f"{_LONG[self.first.month - 1]} {self.first.year}"
        if self.span == Span.QUARTER:
            return f"{_ordinal(self.first.month // 3 + 1)} quarter of {self.first.year}"
        if self.span == Span.YEAR:
            return str(self.first.year)
        if self.span == Span.TWELVE:
            return f"{_month_words(self.first)} to {_month_words(self.last)}"
        if self.first == self.last:
            return _day_words(self.first)
        return f"{_day_words(self.first)} to {_day_words(self.last)}"

    @property
    def before(self) -> "Period | None":
        """The stretch of the same kind that ends where this one begins."""
        return self._beside(self.first - dt.timedelta(days=1), -1)

    @property
    def after(self) -> "Period | None":
        """The stretch of the same kind that begins where this one ends."""
        return self._beside(self.last + dt.timedelta(days=1), 1)

    def _beside(self, day: dt.date, way: int) -> "Period | None":
        try:
            if self.span == Span.DAYS:
                length = dt.timedelta(days=self.days * way)
                return Period(self.first + length, self.last + length, Span.DAYS)
            if self.span == Span.TWELVE and way > 0:
                day = _months_on(day, 11)
            return stretch(self.span, day)
        except (NoPeriod, OverflowError):
            return None

    def bounds(self, zone: ZoneInfo) -> tuple[dt.datetime, dt.datetime]:
        """The moment it begins, and the moment it is over, on the shop's own clock."""
        midnight = dt.time()
        return (
            dt.datetime.combine(self.first, midnight, zone),
            dt.datetime.combine(self.last + dt.timedelta(days=1), midnight, zone),
        )

    def pieces(self) -> list[Piece]:
        """The days of up to six weeks, the months of up to three years, the years of anything longer."""
        if self.days <= 42:
            return [
                Piece(d, d, d.isoformat(), _day_words(d), str(d.day)) for d in _days(self.first, self.last)
            ]
        if self.days <= 3 * 366:
            return self.months()
        return [
            Piece(
                max(self.first, dt.date(y, 1, 1)), min(self.last, dt.date(y, 12, 31)), str(y), str(y), str(y)
            )
            for y in range(self.first.year, self.last.year + 1)
        ]

    def months(self) -> list[Piece]:
        """Its months; the first and the last may be parts of one. Years where it is longer than three."""
        if self.days > 3 * 366:
            return self.pieces()
        pieces, day = [], self.first
        while day <= self.last:
            last = min(_last_of_month(day), self.last)
            pieces.append(Piece(day, last, f"{day:%Y-%m}", _month_words(day), _NAMES[day.month - 1]))
            day = last + dt.timedelta(days=1)
        return pieces


def stretch(span: Span, day: dt.date) -> Period:
    """The month, the quarter, the year that a day is in; or the twelve months that end with its month.

    Raises:
        NoPeriod: the day is out of the world of this shop.
    """
    if not FIRST_DAY <= day <= LAST_DAY:
        raise NoPeriod("Choose days between 1990 and 2199.")
    if span == Span.MONTH:
        return Period(day.replace(day=1), _last_of_month(day), span)
    if span == Span.QUARTER:
        first = day.replace(month=(day.month - 1) // 3 * 3 + 1, day=1)
        return Period(first, _last_of_month(_months_on(first, 2)), span)
    if span == Span.YEAR:
        return Period(dt.date(day.year, 1, 1), dt.date(day.year, 12, 31), span)
    if span == Span.TWELVE:
        return Period(_months_on(day.replace(day=1), -11), _last_of_month(day), span)
    return Period(day, day, Span.DAYS)


def place(pieces: list[Piece], day: dt.date) -> int | None:
    """Which of the pieces a day is in; None for a day outside."""
    low, high = 0, len(pieces) - 1
    while low <= high:
        middle = (low + high) // 2
        if day < pieces[middle].first:
            high = middle - 1
        elif day > pieces[middle].last:
            low = middle + 1
        else:
            return middle
    return None


def _days(first: dt.date, last: dt.date) -> Iterator[dt.date]:
    for n in range((last - first).days + 1):
        yield first + dt.timedelta(days=n)


def _months_on(day: dt.date, count: int) -> dt.date:
    """The first day of the month that lies so many months on."""
    number = day.year * 12 + day.month - 1 + count
    return dt.date(number // 12, number % 12 + 1, 1)


def _last_of_month(day: dt.date) -> dt.date:
    return _months_on(day, 1) - dt.timedelta(days=1)


def _month_words(day: dt.date) -> str:
    return f"{_NAMES[day.month - 1]} {day.year}"


def _day_words(day: dt.date) -> str:
    return f"{day.day} {_month_words(day)}"


def _ordinal(number: int) -> str:
    return ("First", "Second", "Third", "Fourth")[number - 1]
