"""Dates, spans and claim numbers as people write them."""

import datetime as dt

import pytest

from shop import wording

NOW = dt.datetime(2026, 11, 25, 14, 5)


def test_a_day_has_its_month_as_a_word():
    assert wording.day_words(dt.date(2026, 11, 5)) == "Thu 5 Nov 2026"


def test_the_days_of_a_leap_week_have_their_names():
    # 29 February 2028 is a Tuesday: ISO 8601 week date 2028-W09-2.
    assert dt.date(2028, 2, 29) == dt.date.fromisocalendar(2028, 9, 2)
    assert wording.day_words(dt.date(2028, 2, 29)) == "Tue 29 Feb 2028"


def test_a_moment_has_the_clock_of_the_day():
    assert wording.moment_words(NOW) == "Wed 25 Nov 2026, 14:05"


@pytest.mark.parametrize(
    ("then", "words"),
    [
        (NOW, "just now"),
        (NOW - dt.timedelta(seconds=59), "just now"),
        (NOW - dt.timedelta(minutes=1), "1 minute ago"),
        (NOW - dt.timedelta(minutes=59), "59 minutes ago"),
        (NOW - dt.timedelta(hours=1), "1 hour ago"),
        (NOW - dt.timedelta(hours=14), "14 hours ago"),
        (NOW - dt.timedelta(hours=15), "yesterday"),
        (NOW + dt.timedelta(minutes=20), "in 20 minutes"),
        (NOW + dt.timedelta(hours=10), "tomorrow"),
        (NOW - dt.timedelta(days=3), "3 days ago"),
        (NOW - dt.timedelta(days=13), "13 days ago"),
        (NOW - dt.timedelta(days=14), "2 weeks ago"),
        (NOW - dt.timedelta(days=60), "8 weeks ago"),
        (NOW - dt.timedelta(days=61), "2 months ago"),
        (NOW - dt.timedelta(days=730), "23 months ago"),
        (NOW - dt.timedelta(days=731), "2 years ago"),
        (NOW + dt.timedelta(days=21), "in 3 weeks"),
    ],
)
def test_how_long_ago_is_said_in_the_largest_whole_unit(then: dt.datetime, words: str):
    assert wording.ago_words(then, NOW) == words


@pytest.mark.parametrize(
    ("days", "words"),
    [(0, "today"), (1, "yesterday"), (-1, "tomorrow"), (2, "2 days ago"), (-5, "in 5 days")],
)
def test_plain_days_are_told_apart_by_the_calendar(days: int, words: str):
    today = dt.date(2026, 3, 1)
    assert wording.ago_words(today - dt.timedelta(days=days), today) == words


@pytest.mark.parametrize(
    ("minutes", "words"),
    [(0, "0 min"), (45, "45 min"), (60, "1 h"), (85, "1 h 25 min"), (600, "10 h"), (-5, "−5 min")],
)
def test_a_span_is_written_in_hours_and_minutes(minutes: int, words: str):
    assert wording.span_words(minutes) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0, "0:00:00"), (59, "0:00:59"), (3661, "1:01:01"), (360_000, "100:00:00"), (-3, "0:00:00")],
)
def test_a_running_time_is_written_as_a_clock(seconds: int, words: str):
    assert wording.clock_words(seconds) == words


@pytest.mark.parametrize("typed", ["2611-0042-K", "26110042K", "2611-0042-k", " 2611-0042-K "])
def test_a_claim_number_is_split_where_the_eye_rests(typed: str):
    assert wording.claim_groups(typed) == ("2611", "0042", "K")


def test_a_month_of_ten_thousand_jobs_still_has_its_check_character_apart():
    assert wording.claim_groups("2611-10042-K") == ("2611", "10042", "K")


def test_what_is_no_claim_number_is_shown_whole():
    assert wording.claim_groups("see the old book") == ("see the old book",)


@pytest.mark.parametrize("written", ["on_the_bench", "on-the-bench", "On the bench"])
def test_a_state_has_one_shape_however_it_is_written(written: str):
    assert wording.state_slug(written) == "on-the-bench"


def test_a_state_that_is_not_ours_is_shown_and_not_left_out():
    assert wording.state_words("lost_at_sea") == "Lost at sea"
