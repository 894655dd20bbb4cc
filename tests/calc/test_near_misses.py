"""Near misses: anybody who works here writes them down; what was written stays, and a correction names it."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from django.utils.html import escape

from calc import near_misses
from calc.models import NearMiss
from intake.models import State
from shop import keep, timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from shop.once import FIELD, new_key
from tests.factories import JobFactory

pytestmark = pytest.mark.django_db

WHAT = "The clip slipped off the first capacitor while the supply was on."
DONE = "Clips with a spring, and the supply off before one is moved."


@pytest.fixture
def miss(bench):
    return near_misses.write_down(on=timezone.localdate(), what=WHAT, by=bench)


def typed(**more):
    return {"on": timezone.localdate().isoformat(), "what": WHAT, "done": DONE, **more}


@pytest.mark.parametrize("role", ["as_owner", "as_bench", "as_counter"])
def test_whoever_works_here_writes_one_down(request, role):
    reply = request.getfixturevalue(role).send(reverse("near-miss-new"), typed())
    row = NearMiss.objects.get()
    assert reply.status_code == 302 and reply.url == reverse("near-miss", args=[row.pk])
    assert (row.what, row.done, row.job, row.corrects) == (WHAT, DONE, None, None)
    assert timeline.of("shop").first().words == "wrote down a near miss"


def test_the_sign_in_pad_does_not(as_pad):
    assert as_pad.get(reverse("near-misses")).status_code == 403
    assert as_pad.send(reverse("near-miss-new"), typed()).status_code == 403


def test_the_same_tap_twice_writes_one(as_bench):
    key = {FIELD: new_key()}
    for _ in range(2):
        as_bench.send(reverse("near-miss-new"), typed(**key))
    assert NearMiss.objects.count() == 1


@pytest.mark.parametrize("state", [State.ON_THE_BENCH, State.COLLECTED])
def test_it_is_written_down_from_a_job_also_from_one_that_is_over(as_bench, state):
    job = JobFactory(state=state)
    way = f"{reverse('near-miss-new')}?job={job.claim}"
    assert way in as_bench.get(job.get_absolute_url()).content.decode()
    as_bench.send(way, typed())
    assert NearMiss.objects.get().job == job
    assert timeline.of(job).first().words == "wrote down a near miss"
    assert WHAT in as_bench.get(job.get_absolute_url()).content.decode()


def test_a_claim_number_of_no_job_is_no_page(as_bench, shop):
    assert as_bench.get(f"{reverse('near-miss-new')}?job=2501-0001-X").status_code == 404


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"what": ""}, "Write down what happened."),
        ({"what": "   "}, "Write down what happened."),
        ({"on": ""}, "Say on which day."),
        ({"on": "soon"}, "Write a day"),
        ({"on": "2999-01-01"}, "That day is still to come."),
        ({"what": "x" * 2001}, "2000"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_typed_is_lost(as_bench, wrong, said):
    reply = as_bench.send(reverse("near-miss-new"), typed(**wrong))
    assert reply.status_code == 422
    page = reply.content.decode()
    assert said in page and escape(DONE) in page
    assert not NearMiss.objects.exists()


def test_a_correction_is_a_new_row_that_names_the_old(as_counter, miss):
    job_less = as_counter.get(reverse("near-miss-correct", args=[miss.pk])).content.decode()
    assert escape(WHAT) in job_less  # what was written is there to go on from
    as_counter.send(reverse("near-miss-correct", args=[miss.pk]), typed(what="The clip broke."))
    new = NearMiss.objects.get(corrects=miss)
    assert (new.what, NearMiss.objects.get(pk=miss.pk).what) == ("The clip broke.", WHAT)
    assert list(near_misses.holding()) == [new]
    old = as_counter.get(reverse("near-miss", args=[miss.pk])).content.decode()
    assert "This was corrected by" in old and reverse("near-miss", args=[new.pk]) in old
    assert reverse("near-miss-correct", args=[miss.pk]) not in old
    assert (
        reverse("near-miss", args=[miss.pk])
        in as_counter.get(reverse("near-miss", args=[new.pk])).content.decode()
    )


def test_a_correction_stays_on_its_job(bench):
    job = JobFactory()
    old = near_misses.write_down(on=timezone.localdate(), what=WHAT, job=job, by=bench)
    assert near_misses.write_down(on=old.on, what="It broke.", by=bench, corrects=old).job == job


def test_two_who_correct_the_same_row_do_not_both(as_bench, miss, bench):
    near_misses.write_down(on=miss.on, what="The clip broke.", by=bench, corrects=miss)
    with pytest.raises(ChangedMeanwhile, match="corrected this meanwhile"):
        near_misses.write_down(on=miss.on, what="Mine.", by=bench, corrects=miss)
    reply = as_bench.send(reverse("near-miss-correct", args=[miss.pk]), typed(what="Mine, typed at length."))
    assert reply.status_code == 409
    assert "Mine, typed at length." in reply.content.decode()


def test_a_verb_wants_words_and_a_day_that_was(bench):
    tomorrow = timezone.localdate() + dt.timedelta(days=1)
    with pytest.raises(NotAllowedYet):
        near_misses.write_down(on=tomorrow, what=WHAT, by=bench)
    with pytest.raises(NotAllowedYet):
        near_misses.write_down(on=timezone.localdate(), what=" ", by=bench)


def test_what_was_written_cannot_be_changed(miss):
    assert NearMiss._meta.db_table in keep.kept_tables()
    miss.what = "Nothing happened."
    with pytest.raises(TypeError, match="can.t be changed"):
        miss.save()
    assert NearMiss.objects.get().what == WHAT


def test_an_empty_list_is_no_praise(as_bench):
    page = as_bench.get(reverse("near-misses")).content.decode()
    assert "None is written down. That doesn’t mean that there was none." in page


@pytest.mark.parametrize("name", ["near-misses", "near-miss-new"])
def test_no_page_asks_whose_fault_it_was(as_bench, miss, name):
    page = as_bench.get(reverse(name)).content.decode().lower()
    for word in ("guilt", "culprit", "blame", "offender", "negligen"):
        assert word not in page


def test_the_list_takes_as_many_queries_whatever_is_on_it(as_bench, bench, miss):
    as_bench.get(reverse("near-misses"))
    with CaptureQueriesContext(connection) as few:
        as_bench.get(reverse("near-misses"))
    for _ in range(8):
        near_misses.write_down(on=timezone.localdate(), what=WHAT, job=JobFactory(), by=bench)
    with CaptureQueriesContext(connection) as many:
        as_bench.get(reverse("near-misses"))
    assert len(many) == len(few)
