"""The storage clock: what gear that waits has cost, what is due next, and whether the shop may act.

Pure: dates and figures in, a `Clock` out; no database, no clock of the computer, no zone. All days are calendar
days in the shop's zone (`day_in`).

How days are counted
    The day of the ready notice is day 0. Days 1 to `free_days` are free; each later day, the day asked about
    included, is a chargeable one, up to the cap. The deadline is day `deadline_days`: the last day to collect.
    A paused day has no number: it is neither free nor chargeable, and the deadline moves on by it. Both ends of
    a pause are paused. The gap between two notices is counted in plain calendar days: a pause doesn't undo a
    letter.

When notices are planned
    After the ready notice there are `notices` more. They are spread evenly from the last free day to the
    deadline, with as much time after the last as between two, and never closer than `notice_gap_days`. With 30
    free days, a deadline of 90 and 3 notices: on days 30, 50 and 70.

Which notices count
    One that was sent on or after the ready notice's day plus the gap, didn't come back, and went to the address
    that the owner has now. Each that counts is at least the gap after the one before that counts. One that came
    too soon does no harm: it is passed over, so that another notice never makes it later to act.

These rules are the shop's own terms, worked out carefully. They aren't law: what may be done with gear that
nobody collects differs by place.
"""

import datetime as dt
import zoneinfo
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from shop.wording import day_words

ONE_DAY: Final = dt.timedelta(days=1)
NOT_TOLD: Final = "The owner hasn’t been told that it is ready. The clock starts on the day they are."


@dataclass(frozen=True, kw_only=True)
class StorageTerms:
    """The figures of the terms that were signed. Days are calendar days, sums in the shop's currency."""

    free_days: int
    daily_fee: Decimal
    fee_cap: Decimal | None
    notices: int
    deadline_days: int
    notice_gap_days: int


@dataclass(frozen=True, kw_only=True)
class Notice:
    """A notice after the ready notice. `back_on` is when it came back undelivered."""

    number: int
    sent_on: dt.date
    back_on: dt.date | None = None
    to_old_address: bool = False


@dataclass(frozen=True, kw_only=True)
class Pause:
    """Days on which the clock stands still, both ends included; without an end it still does."""

    began: dt.date
    ended: dt.date | None = None
    why: str = ""


@dataclass(frozen=True, kw_only=True)
class Record:
    """What was recorded. `told_on` is the day of the first notice since the gear last became ready."""

    told_on: dt.date | None = None
    notices: tuple[Notice, ...] = ()
    pauses: tuple[Pause, ...] = ()
    dispute_open: bool = False


@dataclass(frozen=True)
class Judged:
    """A notice, and why it doesn't count; empty where it does. One that only came too soon has `arrived`."""

    notice: Notice
    why_not: str = ""
    arrived: bool = True

    @property
    def counts(self) -> bool:
        return not self.why_not


@dataclass(frozen=True)
class NextNotice:
    """The next notice of those that the terms ask for: which one, on what day, and how it stands today."""

    number: int
    on: dt.date
    is_due: bool
    days_late: int


@dataclass(frozen=True, kw_only=True)
class Clock:
    """Where the storage clock stands on a day."""

    on: dt.date
    told_on: dt.date | None = None
    day: int = 0  # of the clock; the ready notice's is 0
    free_days_left: int = 0
    last_free_day: dt.date | None = None
    chargeable_days: int = 0
    fee: Decimal = Decimal(0)
    fee_is_capped: bool = False
    notices: tuple[Judged, ...] = ()
    next_notice: NextNotice | None = None
    deadline: dt.date | None = None
    stands_still: Pause | None = None  # the pause that it is in
    act_from: dt.date | None = (
        None  # once every notice is recorded: the first day on which it may be acted on
    )
    why_not: tuple[str, ...] = ()

    @property
    def runs(self) -> bool:
        return self.told_on is not None

    @property
    def may_act(self) -> bool:
        return not self.why_not

    @property
    def is_past_deadline(self) -> bool:
        return self.deadline is not None and self.on > self.deadline

    @property
    def counted(self) -> int:
        """How many notices count."""
        return sum(judged.counts for judged in self.notices)


def day_in(moment: dt.datetime, zone: zoneinfo.ZoneInfo) -> dt.date:
    """The calendar date of a moment on the wall of a shop in that zone."""
    return moment.astimezone(zone).date()


def planned_days(terms: StorageTerms) -> tuple[int, ...]:
    """The numbers of the days on which the notices are planned: see the module."""
    if not terms.notices:
        return ()
    spread = max(terms.deadline_days - terms.free_days, 0) // terms.notices
    step = max(spread, terms.notice_gap_days)
    days = [terms.deadline_days - (terms.notices - n) * step for n in range(terms.notices)]
    # Terms that leave no room for their own gaps begin as early as they can.
    return tuple(max(day, (n + 1) * terms.notice_gap_days) for n, day in enumerate(days))


def least_deadline(terms: StorageTerms) -> int:
    """The earliest deadline, in days, with room after the free days for every notice and the gap after it."""
    return terms.free_days + terms.notices * terms.notice_gap_days


def clock(terms: StorageTerms, record: Record, on: dt.date) -> Clock:
    """Say where the storage clock stands on a day."""
    told = record.told_on
    if told is None or told > on:
        return Clock(on=on, free_days_left=terms.free_days, why_not=(NOT_TOLD,))
    calendar = _Calendar(told, record.pauses, on)
    day = calendar.number(on)
    chargeable = max(day - terms.free_days, 0)
    whole = chargeable * terms.daily_fee
    fee = whole if terms.fee_cap is None else min(whole, terms.fee_cap)
    judged = tuple(_judge(terms, record, told, on))
    counting = [one.notice for one in judged if one.counts][: terms.notices]
    deadline = calendar.date(terms.deadline_days)
    still = calendar.pause_on(on)
    upcoming = _next(terms, calendar, told, counting, on, standing_still=still is not None)
    act_from = None
    if upcoming is None:
        last = counting[-1].sent_on if counting else told
        gap = terms.notice_gap_days if counting else 0
        act_from = max(deadline + ONE_DAY, last + dt.timedelta(days=gap))
    return Clock(
        on=on,
        told_on=told,
        day=day,
        free_days_left=max(terms.free_days - day, 0),
        last_free_day=calendar.date(terms.free_days),
        chargeable_days=chargeable,
        fee=fee,
        fee_is_capped=terms.fee_cap is not None and whole > terms.fee_cap,
        notices=judged,
        next_notice=upcoming,
        deadline=deadline,
        stands_still=still,
        act_from=act_from,
        why_not=tuple(_why_not(terms, record, judged, counting, deadline, still, on)),
    )


def _judge(terms: StorageTerms, record: Record, told: dt.date, on: dt.date) -> Iterator[Judged]:
    """Each notice sent until that day, by date, and whether it counts."""
    gap, before = terms.notice_gap_days, told
    for notice in sorted(record.notices, key=lambda n: (n.sent_on, n.number)):
        if notice.sent_on > on:
            continue
        if notice.sent_on < told:
            yield Judged(notice, "it was sent before the owner was told that it is ready", arrived=False)
        elif notice.back_on is not None:
            yield Judged(notice, f"it came back on {day_words(notice.back_on)}", arrived=False)
        elif notice.to_old_address:
            yield Judged(notice, "it went to an old address", arrived=False)
        elif (days := (notice.sent_on - before).days) < gap:
            yield Judged(
                notice, f"it was sent {_days(days)} after the one before, and the terms ask for {gap}"
            )
        else:
            before = notice.sent_on
            yield Judged(notice)


def _next(
    terms: StorageTerms,
    calendar: "_Calendar",
    told: dt.date,
    counting: list[Notice],
    on: dt.date,
    *,
    standing_still: bool,
) -> NextNotice | None:
    if len(counting) >= terms.notices:
        return None
    planned = calendar.date(planned_days(terms)[len(counting)])
    before = counting[-1].sent_on if counting else told
    day = max(planned, before + dt.timedelta(days=terms.notice_gap_days))
    if standing_still:  # nobody is asked to collect what can't be handed over
        day = max(day, on + ONE_DAY)
    return NextNotice(len(counting) + 1, day, is_due=day <= on, days_late=max((on - day).days, 0))


def _why_not(
    terms: StorageTerms,
    record: Record,
    judged: tuple[Judged, ...],
    counting: list[Notice],
    deadline: dt.date,
    still: Pause | None,
    on: dt.date,
) -> Iterator[str]:
    """Every reason why the shop may not act on that day, a sentence each."""
    if record.dispute_open:
        yield "A dispute about money is open. Settle it first."
    if still is not None and not (record.dispute_open and still.ended is None):
        reason = f": {still.why[0].lower()}{still.why[1:]}" if still.why else ""
        yield f"The clock stands still since {day_words(still.began)}{reason}."
    if on <= deadline:
        yield f"The deadline is on {day_words(deadline)}. Until then the owner may collect it."
    if (missing := terms.notices - len(counting)) > 0:
        have = f"{len(counting)} of {terms.notices}"
        yield f"{_some(missing)} missing: {have} that the terms ask for are recorded and count."
    for one in judged:
        if one.why_not and missing > 0:
            yield f"Notice {one.notice.number} doesn’t count: {one.why_not}."
    back = [one.notice for one in judged if one.notice.back_on is not None]
    if back and missing <= 0:
        last = max(back, key=lambda n: (n.back_on, n.number))
        if not any(one.arrived and one.notice.sent_on >= last.back_on for one in judged):
            yield (
                f"Notice {last.number} came back on {day_words(last.back_on)}, "
                "and no good one has been sent since."
            )
    if missing <= 0 and counting:
        enough = counting[-1].sent_on + dt.timedelta(days=terms.notice_gap_days)
        if on < enough:
            yield (
                f"Notice {counting[-1].number} was sent on {day_words(counting[-1].sent_on)}. "
                f"The terms give the owner {_days(terms.notice_gap_days)} after it, until {day_words(enough)}."
            )


class _Calendar:
    """The days of a clock: which have a number, and which stand still. An open pause reaches to `on`."""

    def __init__(self, told: dt.date, pauses: Iterable[Pause], on: dt.date):
        self._told = told
        self._pauses = tuple(pauses)
        self._still = _merged(
            (max(p.began, told + ONE_DAY), max(on, p.began) if p.ended is None else p.ended)
            for p in self._pauses
        )

    def number(self, day: dt.date) -> int:
        """How many days since the ready notice have a number, that day included."""
        still = sum((min(last, day) - first).days + 1 for first, last in self._still if first <= day)
        return (day - self._told).days - still

    def date(self, number: int) -> dt.date:
        """The date of the day with that number."""
        day = self._told + dt.timedelta(days=number)
        for first, last in self._still:
            if first <= day:
                day += last - first + ONE_DAY
        return day

    def pause_on(self, day: dt.date) -> Pause | None:
        """The pause that a day is in; one that is open before one that has an end."""
        found = [p for p in self._pauses if p.began <= day and (p.ended is None or day <= p.ended)]
        return min(found, key=lambda p: (p.ended is not None, p.began), default=None)


def _merged(spans: Iterable[tuple[dt.date, dt.date]]) -> list[tuple[dt.date, dt.date]]:
    """Spans of days in order, those that touch or overlap put together."""
    merged: list[tuple[dt.date, dt.date]] = []
    for first, last in sorted(span for span in spans if span[0] <= span[1]):
        if merged and first <= merged[-1][1] + ONE_DAY:
            merged[-1] = (merged[-1][0], max(merged[-1][1], last))
        else:
            merged.append((first, last))
    return merged


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"


def _some(missing: int) -> str:
    return "A notice is" if missing == 1 else f"{missing} notices are"
