"""The reports page, and the one report that stands on the ground of jobs: how long repairs take."""

import csv
import datetime as dt
import io
import statistics

import pytest
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from intake import turnaround
from shop import sockets
from tests.factories import JobFactory

pytestmark = pytest.mark.django_db


def test_it_lists_what_the_floors_plugged_in(as_owner):
    page = as_owner.get("/reports/").content.decode()
    for report in sockets.reports:
        assert report.title in page


def test_it_says_so_when_there_is_none(as_owner, monkeypatch):
    monkeypatch.setattr(sockets, "reports", sockets.Socket())
    assert "No report is offered yet." in as_owner.get("/reports/").content.decode()


@pytest.mark.parametrize("path", ["/reports/", "/reports/turnaround/", "/reports/turnaround.csv"])
def test_only_the_owner_sees_figures(as_bench, as_counter, as_pad, path):
    assert {t.get(path).status_code for t in (as_bench, as_counter, as_pad)} == {403}


def _ready(days_ago: int, after: float) -> None:
    ready = timezone.now() - dt.timedelta(days=days_ago)
    JobFactory(state="ready", ready_at=ready, since=ready - dt.timedelta(days=after))


def test_the_page_shows_the_median_of_this_month(as_owner):
    for after in (1, 3, 80):
        _ready(0, after)
    page = as_owner.get("/reports/turnaround/").content.decode()
    assert '<td class="n">3</td><td class="n">3.0</td>' in page


def test_the_spreadsheet_has_the_same_figures(as_owner):
    _ready(0, 2)
    _ready(0, 5)
    response = as_owner.get("/reports/turnaround.csv")
    rows = list(csv.DictReader(io.StringIO(response.content.decode())))
    assert response["Content-Type"].startswith("text/csv")
    assert "attachment" in response["Content-Disposition"]
    assert len(rows) == 12
    assert list(rows[-1].values())[1:] == ["2", "3.5"]


def test_what_was_ready_more_than_a_year_ago_is_left_out(as_owner):
    _ready(400, 2)
    rows = list(csv.reader(io.StringIO(as_owner.get("/reports/turnaround.csv").content.decode())))[1:]
    assert {row[1] for row in rows} == {"0"}


@pytest.mark.parametrize(
    "today, first, last",
    [
        (dt.date(2026, 11, 25), dt.date(2025, 12, 1), dt.date(2026, 11, 1)),
        (dt.date(2026, 1, 31), dt.date(2025, 2, 1), dt.date(2026, 1, 1)),
        (dt.date(2026, 12, 1), dt.date(2026, 1, 1), dt.date(2026, 12, 1)),
    ],
)
def test_twelve_months_end_with_this_one(today, first, last):
    months = turnaround.months_back(today)
    assert (months[0], months[-1], len(months)) == (first, last, 12)


@given(st.lists(st.floats(0, 400), min_size=1, max_size=30))
def test_the_median_is_the_standard_library_s(days):
    """Checked against `statistics.quantiles`, inclusive method: its middle is the median by definition."""
    ready = dt.datetime(2026, 11, 20, 12, tzinfo=dt.UTC)
    times = [turnaround.Time(ready - dt.timedelta(days=d), ready) for d in days]
    month = turnaround.by_month(times, dt.date(2026, 11, 25))[-1]
    middle = days[0] if len(days) == 1 else statistics.quantiles(days, n=2, method="inclusive")[0]
    assert month.count == len(days)
    assert month.median == pytest.approx(middle, abs=1e-6)


@given(st.lists(st.one_of(st.none(), st.floats(0, 2000)), min_size=12, max_size=12))
def test_no_bar_leaves_the_picture_and_heights_keep_their_proportion(medians):
    months = [
        turnaround.Month(first, 0 if m is None else 1, m)
        for first, m in zip(turnaround.months_back(dt.date(2026, 11, 25)), medians, strict=True)
    ]
    picture = turnaround.picture(months)
    assert all(0 <= bar.y <= picture.floor and bar.x + bar.width <= picture.width for bar in picture.bars)
    scale = {round(bar.height / m, 1) for bar, m in zip(picture.bars, medians, strict=True) if m and m > 100}
    assert len(scale) <= 2  # one scale, give or take the rounding of a tenth


def test_a_month_without_jobs_has_no_figure():
    months = turnaround.by_month([], dt.date(2026, 11, 25))
    assert {m.median for m in months} == {None}
    assert all(not bar.said and bar.height == 0 for bar in turnaround.picture(months).bars)
