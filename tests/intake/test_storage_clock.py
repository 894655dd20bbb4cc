"""The storage clock against dated cases worked by hand, and as properties.

The rules are the project's own (`intake.storage`); the arithmetic stands beside each case and was done on a
paper calendar: days of a month, and 2028 as a leap year.
"""

import datetime as dt
import zoneinfo
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.storage import (
    NOT_TOLD,
    Notice,
    Pause,
    Record,
    StorageTerms,
    clock,
    day_in,
    least_deadline,
    planned_days,
)

TERMS = StorageTerms(
    free_days=30,
    daily_fee=Decimal(2),
    fee_cap=Decimal(60),
    notices=3,
    deadline_days=90,
    notice_gap_days=14,
)


def day(text: str) -> dt.date:
    """A day as "2026-02-09"."""
    return dt.date.fromisoformat(text)


def record(told: str = "2026-01-10", *sent: str, **more: Any) -> Record:
    notices = tuple(Notice(number=n, sent_on=day(on)) for n, on in enumerate(sent, 1))
    return Record(told_on=day(told), notices=notices, **more)


def pause(began: str, ended: str | None = None, why: str = "") -> Pause:
    return Pause(began=day(began), ended=day(ended) if ended else None, why=why)


# --- Days and fee ------------------------------------------------------------------------------------------

# told on, pauses, asked on: day number, free days left, chargeable days, fee, deadline
DAYS = {
    # 10 Jan is day 0
    "the notice's own day": ("2026-01-10", [], "2026-01-10", 0, 30, 0, "0", "2026-04-10"),
    # 11 Jan is day 1
    "the first free day": ("2026-01-10", [], "2026-01-11", 1, 29, 0, "0", "2026-04-10"),
    # 31 Jan is day 21, 9 Feb is 21 + 9
    "the last free day": ("2026-01-10", [], "2026-02-09", 30, 0, 0, "0", "2026-04-10"),
    # 21 + 10 = 31, one past 30: one day at 2
    "the first day that costs": ("2026-01-10", [], "2026-02-10", 31, 0, 1, "2", "2026-04-10"),
    # 21 + 28 = 49; 49 - 30 = 19; 19 × 2
    "the end of February": ("2026-01-10", [], "2026-02-28", 49, 0, 19, "38", "2026-04-10"),
    # 49 + 11 = 60; 30 × 2 = 60, which is the cap
    "exactly at the cap": ("2026-01-10", [], "2026-03-11", 60, 0, 30, "60", "2026-04-10"),
    # 49 + 12 = 61; 31 × 2 = 62, capped
    "one day past the cap": ("2026-01-10", [], "2026-03-12", 61, 0, 31, "60", "2026-04-10"),
    # 49 + 31 (March) = 80; 80 + 10 = 90
    "the deadline": ("2026-01-10", [], "2026-04-10", 90, 0, 60, "60", "2026-04-10"),
    # 10 Jan to 10 Jan is 365 days
    "a year later": ("2026-01-10", [], "2027-01-10", 365, 0, 335, "60", "2026-04-10"),
    # leap year: 31 Jan is 21, 29 Feb is 21 + 29 = 50, 31 Mar is 81, so day 90 is 9 Apr
    "a leap year's February": ("2028-01-10", [], "2028-02-29", 50, 0, 20, "40", "2028-04-09"),
    # told on the leap day: 31 Mar is 31, 30 Apr is 61, 29 May is 90
    "told on a leap day": ("2028-02-29", [], "2028-03-31", 31, 0, 1, "2", "2028-05-29"),
    # 28 Feb of a common year: 1 Mar is day 1; 31 Mar is 31, 30 Apr 61, 29 May 90
    "told on the last of February": ("2027-02-28", [], "2027-03-01", 1, 29, 0, "0", "2027-05-29"),
    # 20 Dec: 31 Dec is 11, 1 Jan is 12; 19 Jan is 30; 31 Jan 42, 28 Feb 70, 20 Mar 90
    "New Year's Day": ("2026-12-20", [], "2027-01-01", 12, 18, 0, "0", "2027-03-20"),
    # as above: 19 Jan is day 30, 20 Jan is the first that costs
    "after the year's end": ("2026-12-20", [], "2027-01-20", 31, 0, 1, "2", "2027-03-20"),
    # 31 - 5 paused (1, 2, 3, 4, 5 Feb) = 26; the deadline 5 days later
    "a pause in the free days": (
        *("2026-01-10", [pause("2026-02-01", "2026-02-05")]),
        *("2026-02-10", 26, 4, 0, "0", "2026-04-15"),
    ),
    # 20 Feb is 41; 6 paused (15 to 20) = 35, as on the 14th: 5 × 2
    "the last day of a pause": (
        *("2026-01-10", [pause("2026-02-15", "2026-02-20")]),
        *("2026-02-20", 35, 0, 5, "10", "2026-04-16"),
    ),
    # the day after: 42 - 6 = 36
    "the day after a pause": (
        *("2026-01-10", [pause("2026-02-15", "2026-02-20")]),
        *("2026-02-21", 36, 0, 6, "12", "2026-04-16"),
    ),
    # a pause of one day, both ends the same: 31 - 1
    "a pause of a day": (
        *("2026-01-10", [pause("2026-01-20", "2026-01-20")]),
        *("2026-02-10", 30, 0, 0, "0", "2026-04-11"),
    ),
    # of 5 to 12 Jan only 11 and 12 come after the notice: 13 Jan is 3 - 2 = 1
    "a pause that began before the notice": (
        *("2026-01-10", [pause("2026-01-05", "2026-01-12")]),
        *("2026-01-13", 1, 29, 0, "0", "2026-04-12"),
    ),
    # over before the notice: nothing changes
    "a pause that ended before the notice": (
        *("2026-01-10", [pause("2026-01-02", "2026-01-09")]),
        *("2026-02-10", 31, 0, 1, "2", "2026-04-10"),
    ),
    # 1 to 5 and 4 to 8 Feb are 8 days together, not 10: 31 - 8
    "two pauses that overlap": (
        *("2026-01-10", [pause("2026-02-01", "2026-02-05"), pause("2026-02-04", "2026-02-08")]),
        *("2026-02-10", 23, 7, 0, "0", "2026-04-18"),
    ),
    # 1 Mar is 50; 20 Feb to 1 Mar are 9 + 1 = 10 paused: 40; the deadline so far 10 days later
    "a pause that is still open": (
        *("2026-01-10", [pause("2026-02-20")]),
        *("2026-03-01", 40, 0, 10, "20", "2026-04-20"),
    ),
    # 29 Feb 2028 is paused like any day: 28 Feb to 1 Mar are 3; 2 Mar is 52 - 3 = 49
    "a pause over a leap day": (
        *("2028-01-10", [pause("2028-02-28", "2028-03-01")]),
        *("2028-03-02", 49, 0, 19, "38", "2028-04-12"),
    ),
    # the pause begins a day after the deadline: the deadline stays
    "a pause after the deadline": (
        *("2026-01-10", [pause("2026-04-11", "2026-04-20")]),
        *("2026-04-21", 91, 0, 61, "60", "2026-04-10"),
    ),
}


@pytest.mark.parametrize("case", DAYS.values(), ids=DAYS.keys())
def test_days_and_fee_are_those_worked_by_hand(case: tuple) -> None:
    told, pauses, on, number, free_left, chargeable, fee, deadline = case
    now = clock(TERMS, record(told, pauses=tuple(pauses)), day(on))
    assert (now.day, now.free_days_left, now.chargeable_days) == (number, free_left, chargeable)
    assert (now.fee, now.deadline) == (Decimal(fee), day(deadline))


def test_the_last_free_day_and_the_cap_are_named() -> None:
    now = clock(TERMS, record(), day("2026-03-12"))
    assert (now.last_free_day, now.fee_is_capped) == (day("2026-02-09"), True)
    assert not clock(TERMS, record(), day("2026-03-11")).fee_is_capped


def test_without_a_ready_notice_no_clock_runs() -> None:
    for now in (clock(TERMS, Record(), day("2026-01-10")), clock(TERMS, record(), day("2026-01-09"))):
        assert (now.runs, now.fee, now.deadline, now.may_act) == (False, 0, None, False)
        assert now.why_not == (NOT_TOLD,)


# --- When a notice is due ------------------------------------------------------------------------------------

# 30 free, deadline 90: (90 - 30) // 3 = 20 apart, 20 before the deadline. 31: a remainder goes to the front.
PLANS = [
    ((30, 90, 3, 14), (30, 50, 70)),
    ((30, 91, 3, 14), (31, 51, 71)),
    ((30, 72, 3, 14), (30, 44, 58)),  # just enough room: 42 // 3 = 14
    ((30, 60, 1, 14), (30,)),
    ((0, 60, 2, 10), (10, 30)),  # 60 // 2 = 30 apart would begin on day 0: not before the gap is over
    ((30, 30, 2, 14), (14, 28)),  # no room at all: as early as the gaps allow
    ((30, 90, 0, 14), ()),
]


def _terms(free: int, deadline: int, notices: int, gap: int) -> StorageTerms:
    return StorageTerms(
        free_days=free,
        daily_fee=Decimal(2),
        fee_cap=None,
        notices=notices,
        deadline_days=deadline,
        notice_gap_days=gap,
    )


@pytest.mark.parametrize(("figures", "days"), PLANS)
def test_notices_are_spread_over_the_time(figures: tuple, days: tuple) -> None:
    assert planned_days(_terms(*figures)) == days


def test_the_least_deadline_has_room_for_every_gap() -> None:
    assert least_deadline(TERMS) == 30 + 3 * 14


# sent so far, pauses, asked on: the next one's number, its day, due, days late
DUE = {
    # day 30 is 9 Feb
    "not due the day before": ([], [], "2026-02-08", (1, "2026-02-09", False, 0)),
    "due on its day": ([], [], "2026-02-09", (1, "2026-02-09", True, 0)),
    "late by three days": ([], [], "2026-02-12", (1, "2026-02-09", True, 3)),
    # day 50: 28 Feb is 49
    "the second": (["2026-02-09"], [], "2026-02-20", (2, "2026-03-01", False, 0)),
    # sent on 25 Feb: 14 days later is 11 Mar, later than day 50
    "a late first moves the second": (["2026-02-25"], [], "2026-03-05", (2, "2026-03-11", False, 0)),
    # 5 paused days move day 30 from 9 to 14 Feb
    "a pause moves it": ([], [pause("2026-02-01", "2026-02-05")], "2026-02-10", (1, "2026-02-14", False, 0)),
    # day 30 was 9 Feb, but the clock stands still: not before tomorrow
    "nothing is due in a pause": ([], [pause("2026-02-12")], "2026-02-15", (1, "2026-02-16", False, 0)),
}


@pytest.mark.parametrize("case", DUE.values(), ids=DUE.keys())
def test_the_next_notice_is_due_on_the_day_worked_by_hand(case: tuple) -> None:
    sent, pauses, on, (number, due_on, due, late) = case
    following = clock(TERMS, record("2026-01-10", *sent, pauses=tuple(pauses)), day(on)).next_notice
    assert (following.number, following.on) == (number, day(due_on))
    assert (following.is_due, following.days_late) == (due, late)


# --- Whether the shop may act ------------------------------------------------------------------------------

PLANNED = ("2026-02-09", "2026-03-01", "2026-03-21")  # days 30, 50, 70


def sentences(rec: Record, on: str, terms: StorageTerms = TERMS) -> tuple[str, ...]:
    return clock(terms, rec, day(on)).why_not


def test_past_the_deadline_with_every_notice_the_shop_may_act() -> None:
    now = clock(TERMS, record("2026-01-10", *PLANNED), day("2026-04-11"))
    assert (now.may_act, now.why_not, now.next_notice) == (True, (), None)
    assert now.act_from == day("2026-04-11")


def test_on_the_deadline_itself_the_owner_may_still_collect() -> None:
    assert sentences(record("2026-01-10", *PLANNED), "2026-04-10") == (
        "The deadline is on Fri 10 Apr 2026. Until then the owner may collect it.",
    )


def test_a_missing_notice_is_named() -> None:
    assert sentences(record("2026-01-10", *PLANNED[:2]), "2026-05-01") == (
        "A notice is missing: 2 of 3 that the terms ask for are recorded and count.",
    )
    assert "3 notices are missing: 0 of 3" in sentences(record(), "2026-05-01")[0]


def test_the_owner_has_time_after_the_last_notice() -> None:
    # 5 Apr + 14 = 19 Apr
    late = record("2026-01-10", *PLANNED[:2], "2026-04-05")
    assert sentences(late, "2026-04-18") == (
        "Notice 3 was sent on Sun 5 Apr 2026. "
        "The terms give the owner 14 days after it, until Sun 19 Apr 2026.",
    )
    assert clock(TERMS, late, day("2026-04-19")).may_act


def test_notices_too_close_together_dont_count() -> None:
    # 9 Feb and 16 Feb are 7 days apart
    close = record("2026-01-10", "2026-02-09", "2026-02-16", "2026-03-21")
    assert sentences(close, "2026-04-11") == (
        "A notice is missing: 2 of 3 that the terms ask for are recorded and count.",
        "Notice 2 doesn’t count: it was sent 7 days after the one before, and the terms ask for 14.",
    )


def test_a_notice_that_came_back_doesnt_count() -> None:
    back = Notice(number=2, sent_on=day("2026-03-01"), back_on=day("2026-03-10"))
    rec = record("2026-01-10")
    first, third = (Notice(number=n, sent_on=day(on)) for n, on in ((1, "2026-02-09"), (3, "2026-03-21")))
    rec = Record(told_on=rec.told_on, notices=(first, back, third))
    assert sentences(rec, "2026-04-11") == (
        "A notice is missing: 2 of 3 that the terms ask for are recorded and count.",
        "Notice 2 doesn’t count: it came back on Tue 10 Mar 2026.",
    )


def test_after_one_came_back_a_good_one_must_follow() -> None:
    notices = tuple(Notice(number=n, sent_on=day(on)) for n, on in enumerate(PLANNED, 1))
    back = Notice(number=4, sent_on=day("2026-04-04"), back_on=day("2026-04-12"))
    rec = Record(told_on=day("2026-01-10"), notices=(*notices, back))
    assert sentences(rec, "2026-04-13") == (
        "Notice 4 came back on Sun 12 Apr 2026, and no good one has been sent since.",
    )
    good = Notice(number=5, sent_on=day("2026-04-13"))
    assert clock(TERMS, Record(told_on=rec.told_on, notices=(*rec.notices, good)), day("2026-04-13")).may_act


def test_a_notice_to_an_old_address_doesnt_count() -> None:
    notices = tuple(
        Notice(number=n, sent_on=day(on), to_old_address=n == 1) for n, on in enumerate(PLANNED, 1)
    )
    assert sentences(Record(told_on=day("2026-01-10"), notices=notices), "2026-04-11")[1] == (
        "Notice 1 doesn’t count: it went to an old address."
    )


def test_a_notice_from_before_it_was_ready_again_doesnt_count() -> None:
    assert sentences(record("2026-02-20", *PLANNED), "2026-07-01")[1] == (
        "Notice 1 doesn’t count: it was sent before the owner was told that it is ready."
    )


def test_a_dispute_about_money_holds_everything() -> None:
    rec = record("2026-01-10", *PLANNED, pauses=(pause("2026-04-12"),), dispute_open=True)
    assert sentences(rec, "2026-04-20") == ("A dispute about money is open. Settle it first.",)


def test_while_the_clock_stands_still_nobody_acts() -> None:
    rec = record("2026-01-10", *PLANNED, pauses=(pause("2026-04-12", why="The shop waits for parts"),))
    assert sentences(rec, "2026-04-20") == (
        "The clock stands still since Sun 12 Apr 2026: the shop waits for parts.",
    )


def test_terms_without_notices_ask_for_the_deadline_alone() -> None:
    terms = _terms(30, 90, 0, 14)
    assert clock(terms, record(), day("2026-04-11")).may_act
    assert not clock(terms, record(), day("2026-04-10")).may_act


# --- Zones ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("zone", "told", "chargeable"),
    [
        ("America/New_York", "2026-01-10", 1),  # 23:30 on the 10th there
        ("Pacific/Auckland", "2026-01-11", 0),  # 17:30 on the 11th there
        ("UTC", "2026-01-11", 0),  # 04:30 on the 11th
    ],
)
def test_a_moment_near_midnight_is_the_day_of_the_shops_own_wall(
    zone: str, told: str, chargeable: int
) -> None:
    moment = dt.datetime(2026, 1, 11, 4, 30, tzinfo=dt.UTC)
    on_the_wall = day_in(moment, zoneinfo.ZoneInfo(zone))
    assert on_the_wall == day(told)
    assert clock(TERMS, record(told), day("2026-02-10")).chargeable_days == chargeable


def test_the_hour_that_is_left_out_in_spring_leaves_out_no_day() -> None:
    # 8 Mar 2026, 02:00: clocks in New York go forward. 7 Mar 23:30 and 8 Mar 23:30 are 23 hours apart.
    zone = zoneinfo.ZoneInfo("America/New_York")
    before, after = (dt.datetime(2026, 3, d, 23, 30, tzinfo=zone) for d in (7, 8))
    assert (day_in(after, zone) - day_in(before, zone)).days == 1


# --- Properties ----------------------------------------------------------------------------------------------

TOLD = day("2027-11-20")  # so that a year's end and a leap day lie ahead
offsets = st.integers(min_value=-5, max_value=260)
some_terms = st.builds(
    StorageTerms,
    free_days=st.integers(0, 60),
    daily_fee=st.decimals(0, 9, places=2),
    fee_cap=st.none() | st.decimals(0, 200, places=2),
    notices=st.integers(0, 4),
    deadline_days=st.integers(0, 120),
    notice_gap_days=st.integers(0, 30),
)


def at(offset: int) -> dt.date:
    return TOLD + dt.timedelta(days=offset)


@st.composite
def some_pauses(draw: st.DrawFn, *, may_be_open: bool = True) -> Pause:
    began = draw(offsets)
    ended = draw(st.integers(began, began + 40))
    is_open = may_be_open and draw(st.booleans())
    return Pause(began=at(began), ended=None if is_open else at(ended))


@st.composite
def some_notices(draw: st.DrawFn) -> tuple[Notice, ...]:
    found = []
    for number, sent in enumerate(sorted(draw(st.lists(offsets, max_size=6))), 1):
        back = draw(st.none() | st.integers(sent, sent + 30))
        old = draw(st.booleans()) and draw(st.booleans())
        back_on = None if back is None else at(back)
        found.append(Notice(number=number, sent_on=at(sent), back_on=back_on, to_old_address=old))
    return tuple(found)


records = st.builds(
    Record,
    told_on=st.just(TOLD),
    notices=some_notices(),
    pauses=st.lists(some_pauses(), max_size=3).map(tuple),
    dispute_open=st.just(False),
)


@settings(max_examples=300, deadline=None)
@given(some_terms, records, offsets, st.integers(0, 60))
def test_it_never_runs_backwards(terms: StorageTerms, rec: Record, offset: int, later: int) -> None:
    now, then = (clock(terms, rec, at(day)) for day in (offset, offset + later))
    assert now.fee <= then.fee
    assert now.chargeable_days <= then.chargeable_days
    assert now.day <= then.day
    assert now.free_days_left >= then.free_days_left
    assert then.day - now.day <= max(later, 0)


@settings(max_examples=300, deadline=None)
@given(some_terms, records, offsets)
def test_the_cap_holds(terms: StorageTerms, rec: Record, offset: int) -> None:
    now = clock(terms, rec, at(offset))
    assert now.fee == min(
        now.chargeable_days * terms.daily_fee,
        terms.fee_cap if terms.fee_cap is not None else Decimal("Infinity"),
    )
    assert now.chargeable_days == 0 or now.day == terms.free_days + now.chargeable_days


@settings(max_examples=300, deadline=None)
@given(some_terms, records, offsets, offsets)
def test_one_more_good_notice_never_makes_it_later_to_act(
    terms: StorageTerms, rec: Record, sent: int, offset: int
) -> None:
    more = Record(
        told_on=rec.told_on,
        notices=(*rec.notices, Notice(number=99, sent_on=at(sent))),
        pauses=rec.pauses,
    )
    if clock(terms, rec, at(offset)).may_act:
        assert clock(terms, more, at(offset)).may_act


@settings(max_examples=300, deadline=None)
@given(some_terms, records, some_pauses(), offsets)
def test_a_pause_never_makes_it_earlier(terms: StorageTerms, rec: Record, pause: Pause, offset: int) -> None:
    more = Record(told_on=rec.told_on, notices=rec.notices, pauses=(*rec.pauses, pause))
    now, then = clock(terms, rec, at(offset)), clock(terms, more, at(offset))
    assert now.may_act or not then.may_act
    assert then.fee <= now.fee
    if now.runs:
        assert then.deadline >= now.deadline
    if now.next_notice and then.next_notice:
        assert then.next_notice.on >= now.next_notice.on


@settings(max_examples=300, deadline=None)
@given(some_terms, records, offsets)
def test_whoever_may_act_has_recorded_what_the_terms_ask_for(
    terms: StorageTerms, rec: Record, offset: int
) -> None:
    now = clock(terms, rec, at(offset))
    if now.may_act:
        assert at(offset) > now.deadline
        assert now.counted >= terms.notices
        assert now.stands_still is None
        sent = [one.notice.sent_on for one in now.notices if one.counts]
        assert all((b - a).days >= terms.notice_gap_days for a, b in zip([TOLD, *sent], sent, strict=False))


@settings(max_examples=200, deadline=None)
@given(some_terms, records, offsets)
def test_it_may_act_or_it_says_why_not(terms: StorageTerms, rec: Record, offset: int) -> None:
    now = clock(terms, rec, at(offset))
    assert now.may_act == (not now.why_not)
    assert all(sentence.endswith(".") for sentence in now.why_not)
    if now.act_from and not rec.pauses and now.act_from <= at(offset):
        assert now.may_act or any("came back" in sentence for sentence in now.why_not)
