"""The list of jobs, by where they stand."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from intake.models import State
from tests.factories import JobFactory

pytestmark = pytest.mark.django_db


def claims_on(page) -> set[str]:
    return {job.claim for job in page.context["page"].object_list}


def test_it_shows_what_is_in_the_house(as_counter, shop):
    jobs = {state: JobFactory(state=state) for state in State}
    here = {job.claim for state, job in jobs.items() if state not in (State.COLLECTED, State.LET_GO)}
    assert claims_on(as_counter.get("/jobs/")) == here


@pytest.mark.parametrize("state", State.values)
def test_it_shows_one_state_alone(as_counter, shop, state):
    jobs = {each: JobFactory(state=each) for each in State.values}
    page = as_counter.get("/jobs/", {"state": state})
    assert claims_on(page) == {jobs[state].claim}
    assert f'href="/jobs/?state={state}"' in page.content.decode()


@pytest.mark.parametrize("state", ["", "nowhere", "ready'", "READY"])
def test_a_state_that_isn_t_ours_shows_the_house(as_counter, shop, state):
    job = JobFactory(state="ready")
    JobFactory(state="collected")
    assert claims_on(as_counter.get("/jobs/", {"state": state})) == {job.claim}


def test_forty_on_a_page_the_newest_first(as_counter, shop):
    jobs = [JobFactory(state="ready") for _ in range(41)]
    first, second = as_counter.get("/jobs/?state=ready"), as_counter.get("/jobs/?state=ready&page=2")
    assert first.context["page"].object_list[0] == jobs[-1]
    assert len(claims_on(first)) == 40
    assert claims_on(second) == {jobs[0].claim}
    assert 'href="?state=ready&amp;page=2"' in first.content.decode()


def test_the_part_is_part_of_the_page(as_counter, shop):
    job = JobFactory()
    part = as_counter.part("/jobs/").content.decode()
    assert "<html" not in part
    assert f"/job/{job.claim}/" in part


def test_it_says_when_nothing_stands_there(as_counter, shop):
    assert "No job stands here" in as_counter.get("/jobs/").content.decode()


def test_it_takes_a_constant_number_of_queries(as_counter, shop):
    counts = []
    for more in (3, 27):
        for _ in range(more):
            JobFactory()
        with CaptureQueriesContext(connection) as caught:
            as_counter.get("/jobs/")
        counts.append(len(caught))
    assert counts[0] == counts[1]


def test_the_pad_sees_no_jobs(as_pad, shop):
    job = JobFactory()
    response = as_pad.get("/jobs/")
    assert response.status_code == 403
    assert job.claim not in response.content.decode()
