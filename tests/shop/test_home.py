"""The front page: the shop at a glance."""

import datetime as dt

import pytest
from django.db import connection
from django.http import HttpRequest
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from intake import front
from intake.models import LabourSpell, ReadyNotice, State
from shop import backups
from tests.factories import (
    GearFactory,
    JobFactory,
    PersonFactory,
    PhoneFactory,
    StaffFactory,
    TermsFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db


def ago(**span) -> dt.datetime:
    return timezone.now() - dt.timedelta(**span)


def tell(job, at: dt.datetime) -> None:
    ReadyNotice.objects.create(job=job, how="phone", at=at, by=StaffFactory())


def test_an_empty_shop_has_a_front_page_too(as_counter):
    page = as_counter.get("/").content.decode()
    assert "No gear is in the house." in page
    assert "Nobody works on anything right now." in page
    assert "Left too long" not in page


def test_it_counts_what_stands_where(shop):
    for state, many in (("in-line", 2), ("ready", 1), ("collected", 3)):
        for _ in range(many):
            JobFactory(state=state)
    found = front.counts(HttpRequest(), None)
    assert found["in_the_house"] == 3
    assert [(s["state"], s["count"]) for s in found["standing"]] == [("in-line", 2), ("ready", 1)]


def test_it_shows_who_works_on_what_with_the_running_timer(as_counter, bench):
    job = JobFactory(state="on-the-bench", gear=GearFactory(maker="Corvane", model="Harbor 22"))
    LabourSpell.objects.create(job=job, who=bench, began=ago(minutes=20))
    page = as_counter.get("/").content.decode()
    assert "Corvane Harbor 22" in page
    assert "Tomas Lindqvist, began" in page


def test_a_timer_on_a_job_that_is_not_on_the_bench_is_shown_as_well(bench):
    job = JobFactory(state="tagged-in")
    LabourSpell.objects.create(job=job, who=bench)
    assert [w.job for w in front.on_the_bench(HttpRequest(), None)["at_work"].first] == [job]


def test_a_timer_that_was_stopped_is_not_shown(bench):
    job = JobFactory(state="on-the-bench")
    LabourSpell.objects.create(job=job, who=bench, began=ago(hours=2), ended=ago(hours=1), minutes=60)
    assert front.on_the_bench(HttpRequest(), None)["at_work"].first[0].timers == []


def test_it_says_who_waits_for_whom(as_counter, shop):
    person = PersonFactory(name="Dana Whitlow")
    PhoneFactory(person=person, number="555 0142")
    JobFactory(state="owner-to-decide", gear=GearFactory(owner=person), state_since=ago(days=3))
    JobFactory(state="parts-on-order")
    JobFactory(state="tagged-in")
    found = front.who_waits(HttpRequest(), None)
    assert [found[k].count for k in ("owner_to_decide", "parts_on_order")] == [1, 1]
    assert found["with_us"]["count"] == 1
    page = as_counter.get("/").content.decode()
    assert 'href="tel:5550142"' in page
    assert "3 days ago" in page


@pytest.mark.parametrize("days, shown", [(-9, True), (0, True), (6, True), (7, False)])
def test_due_this_week_is_seven_days_and_what_is_late(shop, days, shown):
    JobFactory(wanted_by=timezone.localdate() + dt.timedelta(days=days))
    assert front.due_this_week(HttpRequest(), None)["due"].count == int(shown)


@pytest.mark.parametrize("state", ["ready", "collected", "left-behind", "let-go"])
def test_what_is_done_is_not_due(shop, state):
    JobFactory(wanted_by=timezone.localdate(), state=state)
    assert front.due_this_week(HttpRequest(), None)["due"].count == 0


def test_ready_shows_first_whom_nobody_told(shop):
    told, untold = (JobFactory(state="ready", ready_at=ago(days=2)) for _ in range(2))
    tell(told, ago(days=1))
    found = front.going_home(HttpRequest(), None)
    assert [row.job for row in found["ready"].first] == [untold, told]
    assert found["untold"] == 1


def test_a_notice_of_an_earlier_ready_doesn_t_count(shop):
    job = JobFactory(state="ready", ready_at=ago(days=1))
    tell(job, ago(days=20))
    assert front.going_home(HttpRequest(), None)["untold"] == 1


@pytest.mark.parametrize("days, left", [(29, 0), (30, 0), (31, 1)])
def test_left_too_long_begins_the_day_after_the_free_days(shop, days, left):
    """The day of the ready notice is day 0; days 1 to 30 are free (the shop's own convention)."""
    job = JobFactory(state="ready", ready_at=ago(days=days))
    tell(job, ago(days=days))
    found = front.going_home(HttpRequest(), None)
    assert (found["left"].count, found["ready"].count) == (left, 1 - left)


def test_the_free_days_are_those_of_the_terms_that_were_signed(shop):
    short = TermsFactory(version=2, free_days=5)
    gear = GearFactory()
    job = JobFactory(
        state="ready", ready_at=ago(days=9), gear=gear, visit=VisitFactory(person=gear.owner, terms=short)
    )
    tell(job, ago(days=9))
    assert front.going_home(HttpRequest(), None)["left"].count == 1


def test_no_clock_runs_for_an_owner_who_was_never_told(shop):
    JobFactory(state="ready", ready_at=ago(days=400))
    found = front.going_home(HttpRequest(), None)
    assert (found["left"].count, found["untold"]) == (0, 1)


def test_long_lists_show_the_first_few_and_how_many_more(as_counter, shop):
    for _ in range(11):
        JobFactory(state="parts-on-order")
    assert "3 more" in as_counter.get("/").content.decode()


@pytest.mark.parametrize("few, many", [(3, 30)])
def test_it_takes_a_constant_number_of_queries(as_counter, bench, few, many):
    def fill(count: int) -> None:
        for n in range(count):
            person = PersonFactory()
            PhoneFactory(person=person)
            job = JobFactory(
                gear=GearFactory(owner=person),
                state=list(State)[n % len(State)],
                wanted_by=timezone.localdate(),
                assigned_to=bench,
                ready_at=ago(days=1),
            )
            tell(job, ago(hours=2))
            LabourSpell.objects.create(job=job, who=StaffFactory(name="Wren Adeyemi"))

    counts = []
    for more in (11, many):  # the first has one of each state
        fill(more)
        with CaptureQueriesContext(connection) as caught:
            as_counter.get("/")
        counts.append(len(caught))
    assert counts[0] == counts[1]


# --- the backup


def test_it_reminds_of_a_backup_that_was_never_made(as_counter, settings, tmp_path):
    settings.HOME = tmp_path
    page = as_counter.get("/").content.decode()
    assert "No backup has been made yet" in page
    assert "python3 manage.py backup" in page


@pytest.mark.parametrize("days, reminds", [(0, False), (6, False), (8, True)])
def test_it_reminds_when_the_last_one_is_old(as_counter, settings, tmp_path, days, reminds):
    settings.HOME = tmp_path
    backups.folder().mkdir()
    made = ago(days=days).astimezone()
    (backups.folder() / f"benchtag-{made:%Y-%m-%d-%H%M%S}.zip.sha256").write_text("")
    assert ("python3 manage.py backup" in as_counter.get("/").content.decode()) is reminds


# --- who sees it


def test_the_pad_sees_nothing_of_it(as_pad, shop):
    job = JobFactory(state="ready")
    response = as_pad.get("/")
    assert response.status_code in (302, 403)
    assert job.claim not in response.content.decode()


def test_whoever_isn_t_signed_in_is_sent_to_the_door(client, shop):
    assert client.get("/")["Location"].startswith("/enter/")


def test_it_rejects_post(as_counter):
    assert as_counter.post("/").status_code == 405
