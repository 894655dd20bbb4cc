"""The warranty's days, against cases counted by hand on the Gregorian calendar, and as properties.

How long a warranty runs is each shop's own; 30, 90 and 365 days are common practice, no source. The calendar is
ISO 8601's (proleptic Gregorian); leap years are 2024 and 2028, and 2100 is none.
"""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intake.warranty import WarrantyTerms, judge, last_day

day = dt.date.fromisoformat

# collected, days, its last day: counted by hand on a wall calendar
LAST_DAYS = [
    # 25 Nov + 90: 5 left of November, 31 of December, 31 of January make 67; 23 more are in February
    ("2026-11-25", 90, "2027-02-23"),
    # over a leap day: 30 Jan + 30 = 1 left of January, 29 of February; in a common year one day later
    ("2028-01-30", 30, "2028-02-29"),
    ("2027-01-30", 30, "2027-03-01"),
    # collected on the leap day itself: a year of 365 days later is 28 Feb
    ("2028-02-29", 365, "2029-02-28"),
    ("2027-02-28", 365, "2028-02-28"),
    ("2027-03-01", 365, "2028-02-29"),
    # 2100 is no leap year
    ("2100-02-28", 1, "2100-03-01"),
    # over the end of a year
    ("2026-12-31", 1, "2027-01-01"),
    ("2026-12-02", 30, "2027-01-01"),
    ("2026-12-31", 365, "2027-12-31"),
    ("2027-12-31", 366, "2028-12-31"),
    # none
    ("2026-11-25", 0, None),
]


@pytest.mark.parametrize(("collected", "days", "until"), LAST_DAYS)
def test_the_last_day_is_counted_by_the_calendar(collected, days, until):
    assert last_day(day(collected), days) == (day(until) if until else None)


# labour days, parts days, collected, asked, labour, parts, what is said
VERDICTS = [
    (90, 90, "2026-11-25", "2026-11-25", True, True, "Labour and parts are under warranty until Tue 23 Feb 2027."),
    (90, 90, "2026-11-25", "2027-02-23", True, True, "Labour and parts are under warranty until Tue 23 Feb 2027."),
    (90, 90, "2026-11-25", "2027-02-24", False, False, "The warranty on labour and parts ended on Tue 23 Feb 2027."),
    (90, 30, "2026-11-25", "2026-12-25", True, True,
     "Labour is under warranty until Tue 23 Feb 2027. Parts are under warranty until Fri 25 Dec 2026."),
    (90, 30, "2026-11-25", "2026-12-26", True, False,
     "Labour is under warranty until Tue 23 Feb 2027. The warranty on parts ended on Fri 25 Dec 2026."),
    (30, 365, "2028-01-30", "2028-03-01", False, True,
     "The warranty on labour ended on Tue 29 Feb 2028. Parts are under warranty until Mon 29 Jan 2029."),
    (0, 365, "2026-12-31", "2027-12-31", False, True,
     "Labour had no warranty. Parts are under warranty until Fri 31 Dec 2027."),
    (90, 0, "2026-11-25", "2027-06-01", False, False,
     "The warranty on labour ended on Tue 23 Feb 2027. Parts had no warranty."),
    (0, 0, "2026-11-25", "2026-11-25", False, False, "No warranty was given on this repair."),
    (90, 90, "2026-11-25", "2026-11-24", False, False,
     "The warranty begins on Wed 25 Nov 2026, the day it was collected."),
]  # fmt: skip


@pytest.mark.parametrize(
    ("labour_days", "parts_days", "collected", "asked", "labour", "parts", "said"), VERDICTS
)
def test_labour_and_parts_are_judged_apart_and_the_last_day_counts(
    labour_days, parts_days, collected, asked, labour, parts, said
):
    verdict = judge(WarrantyTerms(labour_days, parts_days), collected_on=day(collected), asked_on=day(asked))
    assert (verdict.labour, verdict.parts, verdict.sentence) == (labour, parts, said)
    assert verdict.covers is (labour or parts)


def test_what_went_home_as_it_was_has_no_warranty():
    today = day("2026-11-25")
    verdict = judge(WarrantyTerms(90, 90), collected_on=today, asked_on=today, declined=True)
    assert (verdict.labour, verdict.parts) == (False, False)
    assert (verdict.labour_until, verdict.parts_until) == (None, None)
    assert verdict.sentence == "It went home as it was, so there is no warranty on it."


def test_what_was_never_collected_has_no_warranty_yet():
    verdict = judge(WarrantyTerms(90, 90), collected_on=None, asked_on=day("2026-11-25"))
    assert not verdict.covers
    assert verdict.sentence == "It wasn't collected, so its warranty never began."


DAYS = st.integers(0, 4000)
DATES = st.dates(dt.date(1999, 1, 1), dt.date(2120, 12, 31))


@given(labour=DAYS, parts=DAYS, collected=DATES, after=st.integers(0, 4000))
def test_each_runs_for_just_its_days(labour, parts, collected, after):
    asked = collected + dt.timedelta(days=after)
    verdict = judge(WarrantyTerms(labour, parts), collected_on=collected, asked_on=asked)
    assert verdict.labour is (labour > 0 and after <= labour)
    assert verdict.parts is (parts > 0 and after <= parts)


@given(labour=DAYS, parts=DAYS, collected=DATES, asked=DATES, later=st.integers(1, 500))
def test_what_has_run_out_never_runs_again(labour, parts, collected, asked, later):
    terms = WarrantyTerms(labour, parts)
    now = judge(terms, collected_on=collected, asked_on=asked)
    then = judge(terms, collected_on=collected, asked_on=asked + dt.timedelta(days=later))
    if asked >= collected:
        assert now.labour or not then.labour
        assert now.parts or not then.parts


@given(labour=DAYS, parts=DAYS, more=st.integers(1, 500), collected=DATES, asked=DATES)
def test_more_days_never_cover_less(labour, parts, more, collected, asked):
    little = judge(WarrantyTerms(labour, parts), collected_on=collected, asked_on=asked)
    much = judge(WarrantyTerms(labour + more, parts + more), collected_on=collected, asked_on=asked)
    assert much.labour or not little.labour
    assert much.parts or not little.parts


@given(labour=DAYS, parts=DAYS, collected=DATES, asked=DATES)
def test_the_sentence_says_what_the_verdict_is(labour, parts, collected, asked):
    verdict = judge(WarrantyTerms(labour, parts), collected_on=collected, asked_on=asked)
    assert ("under warranty until" in verdict.sentence) is verdict.covers
