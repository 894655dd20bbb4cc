"""Which lists a job needs and how each stands; what is put on, taken off, written down and waived, and by whom."""

import pytest

from calc import runs, safety
from calc.checklists import Has, Stage
from calc.models import GearBuild, ListChange, Mark, SignOff, Waiver
from calc.safety import Standing
from intake.models import State
from intake.workflow import move
from shop.errors import ChangedMeanwhile, NotAllowed, NotAllowedYet
from shop.models import Entry
from tests.calc.lists import our_list
from tests.factories import GearFactory, JobFactory
from tests.safe import passed

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(shop, bench):
    our_list()
    our_list(slug="tubes", applies=["crt"])
    return move(JobFactory(gear=GearFactory(technology="valve")), to=State.ON_THE_BENCH, by=bench, revision=1)


@pytest.fixture
def gone(job):
    """The same job, its gear let go."""
    type(job).objects.filter(pk=job.pk).update(state=State.LET_GO)
    job.refresh_from_db()
    return job


def build(job, by, seen=0, **said):
    filled = {"protection": "class-i", "line_volts": "230 V", "contains": [], **said}
    return safety.describe(job, by=by, seen=seen, **filled)


def standing(job, slug):
    return safety.lists_on(job).get(slug).standing


def needed(job):
    return {each.checklist.slug for each in safety.lists_on(job).lists}


def told(job):
    return Entry.objects.order_by("pk").last()


# --- Which lists -------------------------------------------------------------------------------------------------


def test_lists_come_in_the_order_of_the_work(job):
    stages = [each.checklist.stage for each in safety.lists_on(job).lists]
    assert stages == sorted(stages, key=list(Stage).index)
    assert "tubes" not in needed(job)


def test_what_is_not_needed_can_be_put_on(job):
    assert "tubes" in {each.slug for each in safety.lists_on(job).others}


def test_what_somebody_wrote_down_brings_its_list(job, bench):
    build(job, bench, contains=[Has.CRT])
    assert "tubes" in needed(job) and not safety.lists_on(job).get("tubes").was_put_on


@pytest.mark.parametrize(
    ("protection", "slug", "needs"),
    [
        ("class-i", "after-repair", True),
        ("class-ii", "after-repair", True),
        ("two-wire", "after-repair", True),
        ("", "after-repair", True),
        ("class-iii", "after-repair", False),
        ("class-iii", "after-repair-low", True),
        ("class-i", "after-repair-low", False),
    ],
)
def test_lists_follow_from_how_it_is_built(job, owner, protection, slug, needs):
    build(job, owner, protection=protection, words="As its plate says.")
    assert (slug in needed(job)) == needs


# --- How each stands ---------------------------------------------------------------------------------------------


def test_a_list_goes_from_to_do_to_passed(job, bench):
    assert standing(job, "our-list") is Standing.TO_DO
    run = runs.begin(job, slug="our-list", by=bench)
    assert standing(job, "our-list") is Standing.BEGUN
    Mark.objects.create(run=run, key="look", outcome="failed", by=bench)
    assert standing(job, "our-list") is Standing.STOPPED
    Mark.objects.bulk_create(Mark(run=run, key=k, outcome="done", by=bench) for k in ("look", "read", "fan"))
    assert standing(job, "our-list") is Standing.TO_SIGN
    SignOff.objects.create(run=run, passed=True, by=bench)
    assert standing(job, "our-list") is Standing.PASSED


def test_a_list_that_ended_as_failed_says_so_and_its_next_run_knows_it(job, bench):
    run = runs.begin(job, slug="our-list", by=bench)
    Mark.objects.create(run=run, key="look", outcome="failed", by=bench)
    runs.sign_off(run, passed=False, by=bench)
    assert standing(job, "our-list") is Standing.FAILED
    runs.begin(job, slug="our-list", by=bench)
    assert standing(job, "our-list") is Standing.BEGUN
    assert safety.lists_on(job).get("our-list").failed_before
    passed(job, bench, Stage.LIVE)
    assert standing(job, "our-list") is Standing.PASSED


def test_signed_as_passed_with_a_line_open_is_failed(job, bench):
    run = runs.begin(job, slug="our-list", by=bench)
    SignOff.objects.create(run=run, passed=True, by=bench)
    assert standing(job, "our-list") is Standing.FAILED


def test_it_counts_from_when_the_job_last_came_onto_the_bench(job, bench):
    passed(job, bench, Stage.LIVE)
    since = safety.bench_since(job)
    job = move(job, to=State.IN_LINE, by=bench, revision=job.revision)
    assert safety.bench_since(job) == since and standing(job, "our-list") is Standing.PASSED
    job = move(job, to=State.ON_THE_BENCH, by=bench, revision=job.revision)
    assert safety.bench_since(job) > since and standing(job, "our-list") is Standing.TO_DO


def test_before_the_bench_it_counts_from_when_it_was_taken_in(shop):
    job = JobFactory(state=State.IN_LINE)
    assert safety.bench_since(job) == job.since


# --- Put on, take off --------------------------------------------------------------------------------------------


def test_a_list_is_put_on_once(job, bench):
    for _ in range(2):
        safety.put_on(job, slug="tubes", by=bench, words="It has one.")
    assert ListChange.objects.count() == 1 and safety.lists_on(job).get("tubes").was_put_on
    assert (told(job).by, told(job).words) == (bench, "put the list “Our own list” on it")


def test_a_list_that_is_needed_is_not_put_on(job, bench):
    safety.put_on(job, slug="our-list", by=bench)
    assert not ListChange.objects.exists()


@pytest.mark.parametrize("slug", ["", "no-such-list"])
def test_no_list_is_put_on_that_is_not_there(job, bench, slug):
    with pytest.raises(NotAllowedYet, match="no such list"):
        safety.put_on(job, slug=slug, by=bench)


def test_the_owner_takes_a_list_off_and_anybody_puts_it_on_again(job, owner, bench):
    safety.take_off(job, slug="our-list", words=" Not this time. ", by=owner)
    lists = safety.lists_on(job)
    assert not lists.get("our-list") and [each.words for each in lists.taken_off] == ["Not this time."]
    safety.put_on(job, slug="our-list", by=bench)
    assert safety.lists_on(job).get("our-list") and not safety.lists_on(job).taken_off


def test_nobody_else_takes_a_list_off(job, bench, counter):
    for by in (bench, counter):
        with pytest.raises(NotAllowed):
            safety.take_off(job, slug="our-list", words="Not this time.", by=by)
    assert "our-list" in needed(job)


def test_a_list_is_taken_off_with_a_reason_and_once(job, owner):
    with pytest.raises(NotAllowedYet, match="why"):
        safety.take_off(job, slug="our-list", words="  ", by=owner)
    for _ in range(2):
        safety.take_off(job, slug="our-list", words="Not this time.", by=owner)
    safety.take_off(job, slug="no-such-list", words="Not this time.", by=owner)
    assert ListChange.objects.count() == 1


@pytest.mark.parametrize("slug", ["before-power", "after-repair", "soak"])
def test_what_a_gate_rests_on_is_not_taken_off(job, owner, slug):
    with pytest.raises(NotAllowedYet, match="gate"):
        safety.take_off(job, slug=slug, words="Not this time.", by=owner)


def test_what_a_gate_rests_on_is_taken_off_where_it_was_only_put_on(job, owner):
    safety.put_on(job, slug="soak-low", by=owner)
    safety.take_off(job, slug="soak-low", words="Not this time.", by=owner)
    assert "soak-low" not in needed(job)


# --- How it is built ---------------------------------------------------------------------------------------------


def test_how_it_is_built_is_written_with_who_and_what_it_was_before(job, bench, owner):
    build(job, bench)
    new = build(job, owner, seen=1, contains=[Has.MOULD, Has.CRT, Has.CRT])
    assert (new.revision, new.by, new.contains) == (2, owner, [Has.CRT, Has.MOULD])
    changes = {change["what"]: (change["before"], change["after"]) for change in told(job).changes}
    assert changes["It has"] == ("", "A picture tube, Mould")
    assert GearBuild.objects.count() == 1


@pytest.mark.parametrize("seen", [0, 2])
def test_who_wrote_on_an_old_page_is_told(job, bench, seen):
    build(job, bench)
    with pytest.raises(ChangedMeanwhile) as told_so:
        build(job, bench, seen=seen, contains=[Has.CRT])
    assert told_so.value.revision == 1
    assert GearBuild.objects.get().contains == []


def test_anybody_at_the_bench_widens(job, bench):
    build(job, bench, protection="class-ii")
    build(job, bench, seen=1, protection="class-ii", contains=[Has.CRT])
    assert "tubes" in needed(job)


def test_the_owner_alone_narrows_with_a_reason(job, bench, owner):
    build(job, bench, contains=[Has.CRT])
    with pytest.raises(NotAllowed, match="Our own list"):
        build(job, bench, seen=1, words="Looked again.")
    with pytest.raises(NotAllowedYet, match="why"):
        build(job, owner, seen=1, words=" ")
    assert "tubes" in needed(job)
    build(job, owner, seen=1, words="Looked again.")
    assert "tubes" not in needed(job)


def test_what_was_only_a_guess_is_put_right_by_anybody(shop, bench):
    """A tape echo is taken to have a tape motor until somebody looks; no gate rests on that list."""
    job = JobFactory(gear=GearFactory(kind="echo", technology="solid state"))
    assert "tape-motor" in needed(job)
    build(job, bench)
    assert "tape-motor" not in needed(job)


def test_that_it_has_no_mains_is_the_word_of_the_owner_from_the_start(job, bench, owner):
    with pytest.raises(NotAllowed, match="Before power"):
        build(job, bench, protection="class-iii", words="A plug pack.")
    build(job, owner, protection="class-iii", words="A plug pack.")
    assert "before-power" not in needed(job)


def test_a_pedal_is_written_down_as_without_mains_by_anybody(shop, bench):
    job = JobFactory(gear=GearFactory(kind="pedal", technology=""))
    build(job, bench, protection="class-iii")
    assert "after-repair-low" in needed(job)


# --- Waive -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("slug", ["after-repair", "soak"])
def test_the_owner_waives_what_ready_waits_for(job, owner, slug):
    waiver = safety.waive(job, slug=slug, words=" Its owner tests it. ", by=owner)
    assert (waiver.words, waiver.by, standing(job, slug)) == ("Its owner tests it.", owner, Standing.WAIVED)
    assert told(job).words.startswith("waived “")


def test_what_is_waived_and_then_passed_is_passed(job, owner, bench):
    safety.waive(job, slug="soak", words="Its owner tests it.", by=owner)
    passed(job, bench, Stage.SOAK)
    assert standing(job, "soak") is Standing.PASSED


def test_what_is_passed_or_waived_is_not_waived_again(job, owner, bench):
    passed(job, bench, Stage.SOAK)
    with pytest.raises(NotAllowedYet, match="passed"):
        safety.waive(job, slug="soak", words="Its owner tests it.", by=owner)
    safety.waive(job, slug="after-repair", words="Its owner tests it.", by=owner)
    with pytest.raises(NotAllowedYet, match="waived"):
        safety.waive(job, slug="after-repair", words="Once more.", by=owner)
    assert Waiver.objects.count() == 1


@pytest.mark.parametrize("slug", ["before-power", "our-list", "tubes", "no-such-list"])
def test_nothing_else_is_waived(job, owner, slug):
    with pytest.raises(NotAllowedYet, match="Only what keeps a job from being ready"):
        safety.waive(job, slug=slug, words="In a hurry.", by=owner)


def test_a_waiver_is_the_owners_with_a_reason(job, owner, bench, counter):
    for by in (bench, counter):
        with pytest.raises(NotAllowed):
            safety.waive(job, slug="soak", words="In a hurry.", by=by)
    with pytest.raises(NotAllowedYet, match="why"):
        safety.waive(job, slug="soak", words="", by=owner)
    assert not Waiver.objects.exists()


# --- Gear that is gone -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "act",
    [
        lambda job, by: safety.put_on(job, slug="tubes", by=by),
        lambda job, by: safety.take_off(job, slug="our-list", words="Why not.", by=by),
        lambda job, by: safety.waive(job, slug="soak", words="Why not.", by=by),
        lambda job, by: build(job, by),
        lambda job, by: runs.begin(job, slug="our-list", by=by),
    ],
    ids=["put on", "take off", "waive", "describe", "begin"],
)
def test_what_was_done_to_gear_that_is_gone_stays_as_it_is(gone, owner, act):
    with pytest.raises(NotAllowedYet, match="stays as it is"):
        act(gone, owner)
    assert not (ListChange.objects.exists() or Waiver.objects.exists() or GearBuild.objects.exists())
