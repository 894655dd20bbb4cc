"""The bench's line: urgent dates rise by themselves, the rest stands in the tech's order."""

import datetime as dt

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from intake import queueing
from intake.models import Job, State
from intake.models.jobs import IN_THE_QUEUE
from shop import timeline
from shop.errors import NotAllowedYet
from tests.factories import JobFactory

TODAY = dt.date(2026, 11, 25)


def order(on=TODAY):
    return [place.job for place in queueing.line(on)]


def send(tablet, job, beside, side="before", **how):
    return tablet.send(f"/queue/{job.claim}/", {"beside": beside.claim, "side": side}, **how)


def test_the_line_is_by_age_until_somebody_orders_it(shop):
    jobs = [JobFactory() for _ in range(3)]
    assert order() == jobs


def test_what_waits_for_someone_else_is_not_in_the_line(shop):
    inside = [JobFactory(state=state) for state in IN_THE_QUEUE]
    for state in set(State) - set(IN_THE_QUEUE):
        JobFactory(state=state)
    assert order() == inside


def test_urgent_dates_rise_by_themselves(shop):
    plain = JobFactory()
    later = JobFactory(wanted_by=TODAY + dt.timedelta(days=30))
    soon = JobFactory(wanted_by=TODAY + dt.timedelta(days=3))
    late = JobFactory(wanted_by=TODAY - dt.timedelta(days=2))
    assert order() == [late, soon, plain, later]
    assert order(TODAY + dt.timedelta(days=27)) == [late, soon, later, plain]


def test_a_job_in_front_says_why(as_bench):
    from django.utils import timezone

    job = JobFactory(wanted_by=timezone.localdate())
    page = as_bench.get("/queue/").content.decode()
    assert "stands in front" in page
    assert job.wanted_by.strftime("%Y-%m-%d") in page


def test_up_and_down_and_to_the_front(as_bench):
    a, b, c = (JobFactory() for _ in range(3))
    assert send(as_bench, c, b).status_code == 302
    assert order() == [a, c, b]
    send(as_bench, a, c, "after")
    assert order() == [c, a, b]
    send(as_bench, b, c)
    assert order() == [b, c, a]


def test_htmx_gets_the_line_as_it_is_now(as_bench):
    a, b = JobFactory(), JobFactory()
    answer = send(as_bench, b, a, htmx=True)
    page = answer.content.decode()
    assert page.strip().startswith("<section")
    assert page.index(f'id="place-{b.claim}"') < page.index(f'id="place-{a.claim}"')


def test_gear_that_comes_in_later_stands_behind_what_was_put_in_order(bench):
    a, b = JobFactory(), JobFactory()
    queueing.put(b, beside=a, after=False, on=TODAY, by=bench)
    c = JobFactory()
    assert order() == [b, a, c]


def test_two_tablets_that_mean_the_same_move_make_it_once(as_bench, as_owner):
    a, b, c = (JobFactory() for _ in range(3))
    send(as_bench, c, b)
    send(as_owner, c, b)
    assert order() == [a, c, b]
    assert timeline.of(c).count() == 1


def test_two_tablets_that_mean_different_moves_make_both(as_bench, as_owner):
    a, b, c, d = (JobFactory() for _ in range(4))
    send(as_bench, d, a)
    send(as_owner, b, c, "after")
    assert order() == [d, a, c, b]


def test_the_dates_decide_and_not_the_tap(as_bench):
    from django.utils import timezone

    urgent, plain = JobFactory(wanted_by=timezone.localdate()), JobFactory()
    answer = send(as_bench, plain, urgent)
    assert answer.status_code == 422
    assert b"stand by the dates they are wanted" in answer.content


def test_two_of_one_date_stand_in_the_techs_order(bench):
    a, b = (JobFactory(wanted_by=TODAY) for _ in range(2))
    queueing.put(b, beside=a, after=False, on=TODAY, by=bench)
    assert order() == [b, a]


def test_a_job_that_left_the_line_is_not_moved(bench):
    a, b = JobFactory(), JobFactory()
    Job.objects.filter(pk=a.pk).update(state=State.READY)
    for job, beside in ((a, b), (b, a)):
        with pytest.raises(NotAllowedYet, match="left the line"):
            queueing.put(job, beside=beside, after=False, on=TODAY, by=bench)


def test_only_where_a_button_would_do_something_is_there_one(shop):
    for _ in range(3):
        JobFactory()
    first, middle, last = queueing.line(TODAY)
    assert (first.above, first.first) == (None, None)
    assert first.below == middle.job
    assert (middle.above, middle.below, middle.first) == (first.job, last.job, first.job)
    assert last.below is None


def test_mine_leaves_out_what_is_anothers(as_bench, bench, owner):
    mine, anothers, nobodys = JobFactory(assigned_to=bench), JobFactory(assigned_to=owner), JobFactory()
    page = as_bench.get("/queue/", {"whose": "mine"}).content.decode()
    assert mine.claim in page
    assert nobodys.claim in page
    assert anothers.claim not in page


def test_ordering_what_is_mine_keeps_me_there(as_bench, bench):
    a, b = JobFactory(assigned_to=bench), JobFactory(assigned_to=bench)
    answer = as_bench.send(f"/queue/{b.claim}/", {"beside": a.claim, "side": "before", "whose": "mine"})
    assert answer.headers["Location"] == "/queue/?whose=mine"


def test_an_empty_line_says_so(as_bench):
    assert b"The line is empty." in as_bench.get("/queue/").content


def test_the_counter_sees_the_line_and_orders_nothing(as_counter):
    a, b = JobFactory(), JobFactory()
    assert b"Up: " not in as_counter.get("/queue/").content
    assert send(as_counter, b, a).status_code == 403
    assert order() == [a, b]


def test_the_line_takes_as_many_queries_with_many_as_with_few(as_bench, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    JobFactory(), JobFactory()
    as_bench.get("/queue/")
    with CaptureQueriesContext(
        connection,
    ) as few:
        as_bench.get("/queue/")
    for _ in range(15):
        JobFactory()
    assert len(few) > 2
    with django_assert_num_queries(len(few)):
        as_bench.get("/queue/")


@pytest.mark.parametrize(
    ("data", "status"),
    [
        ({}, 422),
        ({"beside": "x", "side": "before"}, 404),
        ({"beside": "", "side": "before"}, 422),
        ({"beside": "x" * 500, "side": "before"}, 422),
        ({"beside": "\x00", "side": "after"}, 422),
    ],
)
def test_an_order_that_makes_no_sense_is_refused(as_bench, data, status):
    assert as_bench.send(f"/queue/{JobFactory().claim}/", data).status_code == status


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(taps=st.lists(st.tuples(st.integers(0, 4), st.integers(0, 4), st.booleans()), max_size=8))
def test_the_line_is_what_a_list_would_be_after_the_same_taps(bench, taps):
    Job.objects.update(state=State.READY)  # those of the example before
    jobs = [JobFactory() for _ in range(5)]
    model = list(jobs)
    for at, beside, after in taps:
        queueing.put(jobs[at], beside=jobs[beside], after=after, on=TODAY, by=bench)
        if at != beside:
            model.remove(jobs[at])
            model.insert(model.index(jobs[beside]) + after, jobs[at])
        assert order() == model
