"""Moves of a job: the table of them, the gates, the revision, and what a move leaves behind."""

import itertools

import pytest
from django.utils import timezone

from intake import labour, workflow
from intake.models import Job, State
from intake.workflow import NEXT, ONLY_THROUGH
from shop import sockets, timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from shop.models import Staff
from tests import safe
from tests.factories import JobFactory, ReadingFactory

EVERY_PAIR = list(itertools.product(State, State))
NO_MOVE = [(a, b) for a, b in EVERY_PAIR if b not in NEXT[a]]
BY_HAND = [(a, b) for a, b in EVERY_PAIR if b in NEXT[a] and b not in ONLY_THROUGH]
AS_IS = ONLY_THROUGH[State.GOING_HOME_AS_IS]
BY_ANOTHER_VERB = [(a, b) for a, b in EVERY_PAIR if b in NEXT[a] and b in ONLY_THROUGH]


@pytest.fixture
def no_gates(monkeypatch):
    """The table of moves alone: gates have tests of their own."""
    monkeypatch.setattr(sockets, "gates", sockets.Socket())


def send(tablet, job, to, **more):
    data = {"to": to, "revision": job.revision, "seen": job.state, **more}
    return tablet.send(f"/job/{job.claim}/move/", data)


def test_every_state_has_its_moves_written_down():
    assert set(NEXT) == set(State)


def test_every_state_can_be_reached_from_the_first():
    reached, ahead = set(), [State.TAGGED_IN]
    while ahead:
        here = ahead.pop()
        if here not in reached:
            reached.add(here)
            ahead += NEXT[here]
    assert reached == set(State)


def test_every_state_leads_out_of_the_house():
    for start in State:
        reached, ahead = set(), [start]
        while ahead:
            here = ahead.pop()
            if here not in reached:
                reached.add(here)
                ahead += NEXT[here]
        assert reached & {State.COLLECTED, State.LET_GO}


@pytest.mark.parametrize(("was", "to"), BY_HAND)
def test_a_move_of_the_table_is_made(as_bench, no_gates, was, to):
    job = JobFactory(state=was)
    assert send(as_bench, job, to).status_code == 302
    job.refresh_from_db()
    assert job.state == to
    assert job.revision == 2


@pytest.mark.parametrize(("was", "to"), NO_MOVE)
def test_a_move_that_is_not_in_the_table_is_refused(as_bench, no_gates, was, to):
    job = JobFactory(state=was)
    answer = send(as_bench, job, to)
    assert answer.status_code == 422
    job.refresh_from_db()
    assert (job.state, job.revision) == (was, 1)


@pytest.mark.parametrize(("was", "to"), BY_ANOTHER_VERB)
def test_the_end_of_something_bigger_is_not_a_tap(as_owner, no_gates, was, to):
    job = JobFactory(state=was)
    answer = send(as_owner, job, to)
    assert answer.status_code == 422
    job.refresh_from_db()
    assert job.state == was


@pytest.mark.parametrize("to", ["", "done", "READY", "ready\x00", "x" * 5000, "\u202eready"])
def test_a_state_that_is_none_is_refused_with_words(as_bench, to):
    job = JobFactory(state=State.SOAK_TEST)
    answer = send(as_bench, job, to)
    assert answer.status_code == 422
    assert b"too old to be sent" in answer.content


def test_a_move_says_who_and_when_and_from_where(bench):
    job = JobFactory(state=State.IN_LINE)
    workflow.move(job, to=State.ON_THE_BENCH, by=bench, revision=1)
    entry = timeline.of(job).get()
    assert (entry.by, entry.words) == (bench, "moved it")
    assert entry.changes == [{"what": "State", "before": "in line", "after": "on the bench"}]


def test_whoever_takes_it_to_the_bench_works_on_it(bench):
    job = workflow.move(JobFactory(state=State.IN_LINE), to=State.ON_THE_BENCH, by=bench, revision=1)
    assert job.assigned_to == bench


def test_the_counter_moving_it_to_the_bench_does_not_work_on_it(counter):
    job = workflow.move(JobFactory(state=State.IN_LINE), to=State.ON_THE_BENCH, by=counter, revision=1)
    assert job.assigned_to is None


def test_gear_that_goes_home_as_is_stays_so_until_it_is_gone(owner, no_gates):
    job = JobFactory(state=State.ON_THE_BENCH)
    for to, through in [
        (State.GOING_HOME_AS_IS, AS_IS),
        (State.READY, ""),
        (State.LEFT_BEHIND, "storage"),
        (State.COLLECTED, "pickup"),
    ]:
        job = workflow.move(job, to=to, by=owner, revision=job.revision, through=through)
        assert job.declined, to


def test_back_on_the_bench_it_is_to_be_repaired_again(bench, no_gates):
    job = workflow.move(
        JobFactory(state=State.ON_THE_BENCH), to=State.GOING_HOME_AS_IS, by=bench, revision=1, through=AS_IS
    )
    job = workflow.move(job, to=State.READY, by=bench, revision=2)
    assert job.ready_at
    job = workflow.move(job, to=State.ON_THE_BENCH, by=bench, revision=3)
    assert not job.declined
    assert job.ready_at is None


def test_a_move_of_a_job_that_another_tablet_moved_is_refused(bench, no_gates):
    job = JobFactory(state=State.ON_THE_BENCH)
    workflow.move(Job.objects.get(pk=job.pk), to=State.SOAK_TEST, by=bench, revision=1)
    with pytest.raises(ChangedMeanwhile):
        workflow.move(job, to=State.IN_LINE, by=bench, revision=1)


def test_the_second_tablet_is_told_where_it_stands_now(as_bench, as_counter, no_gates):
    job = JobFactory(state=State.ON_THE_BENCH)
    assert send(as_counter, job, State.SOAK_TEST).status_code == 302
    answer = send(as_bench, job, State.IN_LINE)
    assert answer.status_code == 409
    assert b"It is soak test now" in answer.content


def test_a_changed_complaint_does_not_keep_a_move_back(as_bench, as_counter, no_gates):
    job = JobFactory(state=State.ON_THE_BENCH)
    Job.objects.filter(pk=job.pk).update(revision=7, complaint="It hums only when warm.")
    assert send(as_bench, job, State.SOAK_TEST).status_code == 302
    job.refresh_from_db()
    assert (job.state, job.complaint) == (State.SOAK_TEST, "It hums only when warm.")


def test_the_same_tap_twice_moves_once(as_bench, no_gates):
    job = JobFactory(state=State.ON_THE_BENCH)
    key = "k" * 24
    first = send(as_bench, job, State.SOAK_TEST, once=key)
    again = send(as_bench, job, State.SOAK_TEST, once=key)
    assert (first.status_code, again.status_code) == (302, 302)
    assert timeline.of(job).count() == 1


def test_the_way_back_is_offered_where_there_is_one(as_bench, bench):
    job = workflow.move(JobFactory(state=State.IN_LINE), to=State.ON_THE_BENCH, by=bench, revision=1)
    assert workflow.came_from(job) == State.IN_LINE
    assert b"Back to in line" in as_bench.get(f"/job/{job.claim}/").content


def test_no_way_back_is_offered_where_there_is_none(bench):
    job = workflow.move(JobFactory(state=State.TAGGED_IN), to=State.IN_LINE, by=bench, revision=1)
    assert workflow.came_from(job) is None


def test_a_closed_gate_shows_its_sentence_beside_the_button(as_bench):
    job = JobFactory(state=State.SOAK_TEST)
    page = as_bench.get(f"/job/{job.claim}/").content.decode()
    assert "“After-repair electrical test” isn’t done. Do it; then it can be ready." in page
    assert 'name="to" value="ready"' in page


def test_a_tap_on_a_closed_gate_is_answered_with_its_sentence(as_bench):
    job = JobFactory(state=State.SOAK_TEST)
    answer = send(as_bench, job, State.READY)
    assert answer.status_code == 422
    assert "“Soak test” isn’t done. Do it; then it can be ready." in answer.content.decode()
    job.refresh_from_db()
    assert (job.state, job.revision) == (State.SOAK_TEST, 1)


def test_a_running_timer_keeps_a_job_from_being_ready(as_bench, bench):
    job = safe.passed(JobFactory(state=State.SOAK_TEST), bench)
    ReadingFactory(job=job)
    spell = labour.start(job, by=bench)
    answer = send(as_bench, job, State.READY)
    assert answer.status_code == 422
    assert b"timer still runs on this job" in answer.content
    labour.stop(spell, words="Soaked it.", by=bench)
    assert send(as_bench, job, State.READY).status_code == 302


def _estimate(job, by, answer=None):
    from datetime import date

    from intake.models import Answer, Estimate

    number = job.estimates.count() + 1
    estimate = Estimate.objects.create(
        job=job, number=number, valid_until=date(2027, 1, 1), by=by, currency="USD", net=0, gross=0
    )
    if answer is not None:
        Answer.objects.create(estimate=estimate, yes=answer, how="phone", who="The owner", by=by)
    return estimate


@pytest.mark.parametrize(
    ("answers", "opens"), [((), False), ((None,), True), ((True,), False), ((None, True), False)]
)
def test_the_owner_decides_only_on_an_open_estimate(bench, answers, opens):
    job = JobFactory(state=State.ON_THE_BENCH)
    for answer in answers:
        _estimate(job, bench, answer)
    if opens:
        assert (
            workflow.move(job, to=State.OWNER_TO_DECIDE, by=bench, revision=1).state == State.OWNER_TO_DECIDE
        )
    else:
        with pytest.raises(NotAllowedYet, match="Make one first"):
            workflow.move(job, to=State.OWNER_TO_DECIDE, by=bench, revision=1)


@pytest.mark.parametrize("to", [State.ON_THE_BENCH, State.IN_LINE])
@pytest.mark.parametrize(
    ("answers", "sentence"),
    [
        ((None,), "isn't recorded yet"),
        ((False,), "declined the estimate"),
        ((True, None), "isn't recorded yet"),
        ((True,), None),
        ((False, True), None),
    ],
)
def test_work_goes_on_only_with_the_owners_yes(bench, to, answers, sentence):
    job = JobFactory(state=State.OWNER_TO_DECIDE)
    for answer in answers:
        _estimate(job, bench, answer)
    if sentence:
        with pytest.raises(NotAllowedYet, match=sentence):
            workflow.move(job, to=to, by=bench, revision=1)
    else:
        assert workflow.move(job, to=to, by=bench, revision=1).state == to


def test_going_home_and_back_is_no_way_around_the_owners_answer(bench):
    job = JobFactory(state=State.OWNER_TO_DECIDE)
    _estimate(job, bench)
    job = workflow.move(job, to=State.GOING_HOME_AS_IS, by=bench, revision=1, through=AS_IS)
    with pytest.raises(NotAllowedYet, match="isn't recorded yet"):
        workflow.move(job, to=State.ON_THE_BENCH, by=bench, revision=2)


def test_going_home_by_way_of_ready_is_no_way_around_it_either(bench):
    job = JobFactory(state=State.OWNER_TO_DECIDE)
    _estimate(job, bench, False)
    job = workflow.move(job, to=State.GOING_HOME_AS_IS, by=bench, revision=1, through=AS_IS)
    job = workflow.move(job, to=State.READY, by=bench, revision=2)
    with pytest.raises(NotAllowedYet, match="declined the estimate"):
        workflow.move(job, to=State.ON_THE_BENCH, by=bench, revision=3)


def test_what_never_had_an_estimate_comes_back_from_going_home(bench):
    job = workflow.move(
        JobFactory(state=State.IN_LINE), to=State.GOING_HOME_AS_IS, by=bench, revision=1, through=AS_IS
    )
    assert workflow.move(job, to=State.ON_THE_BENCH, by=bench, revision=2).state == State.ON_THE_BENCH


def test_the_state_since_is_the_time_of_the_move(bench):
    before = timezone.now()
    job = workflow.move(JobFactory(state=State.IN_LINE), to=State.ON_THE_BENCH, by=bench, revision=1)
    assert before <= job.state_since <= timezone.now()


def test_a_job_that_is_gone_offers_no_moves(as_bench):
    job = JobFactory(state=State.COLLECTED)
    page = as_bench.get(f"/job/{job.claim}/").content.decode()
    assert 'name="to"' not in page
    assert "What was done to it stays as it is" in page


def test_the_pad_moves_nothing(as_pad):
    job = JobFactory(state=State.IN_LINE)
    assert send(as_pad, job, State.ON_THE_BENCH).status_code == 403
    assert Staff.objects.filter(role="pad").exists()
    job.refresh_from_db()
    assert job.state == State.IN_LINE
