"""Nothing is read under power before its list, no repaired job is ready before its tests: no path around either.

Everything is tried through the web, as a tablet sends it, and both ways: the way that is shut, and the same way open.
"""

from dataclasses import replace

import pytest
from django.urls import reverse
from django.utils import timezone

from calc import listing, readings, runs, safety, sheets
from calc.checklists import Ask, Line, Stage
from calc.checklists.ours import OURS
from calc.models import GearBuild, KeptSheet, ListVersion, Mark, SafetyWord, SignOff, Waiver
from intake.models import Gear, State
from intake.workflow import move
from shop.roles import Role
from tests.calc.doing import TESTED, a_meter, at_soak, do_lines, done, keep_test
from tests.calc.lists import our_list
from tests.factories import JobFactory
from tests.safe import passed
from tests.shop.conftest import PIN, give_keys

pytestmark = [pytest.mark.django_db, pytest.mark.anywhere]

EARTH_FAILS = {"earth": "0.9"}
NO_EARTH = {"earth": "", "cord": "", "area": "", "protective_current": ""}
HOLDING = [s for s in OURS.values() if s.stage in (Stage.AFTER_REPAIR, Stage.SOAK)]
LINES = [(each.slug, line.key) for each in HOLDING for line in each.lines]
NOT_TESTED = [s for s in State if s not in (State.SOAK_TEST, State.GOING_HOME_AS_IS, State.COLLECTED)]
POWER_LINES = [line.key for line in OURS["before-power"].lines]


@pytest.fixture
def job(shop, bench):
    return at_soak(bench)


@pytest.fixture
def ready_to_go(job, bench):
    """A job of which every line that ready waits for was done by hand, and every list signed."""
    return done(passed(job, bench, Stage.BEFORE_POWER), bench, *safety.HOLDS_READY)


def ask_for(tablet, job, to=State.READY, **more):
    """Send the move as the button does; say where the job stands then."""
    sent = {"to": to, "seen": job.state, "revision": job.revision, **more}
    answer = tablet.send(reverse("job-move", args=[job.claim]), sent, htmx=True)
    was = job.state
    job.refresh_from_db()
    return job.state, answer.content.decode() if job.state == was else ""


def stays(tablet, job, words=""):
    state, said = ask_for(tablet, job)
    assert state != State.READY
    assert words in said
    return True


def goes(tablet, job):
    state, said = ask_for(tablet, job)
    assert state == State.READY, said
    return True


# --- Open --------------------------------------------------------------------------------------------------------


def test_a_job_with_every_line_done_and_signed_is_ready(as_bench, job, bench):
    assert goes(as_bench, done(job, bench))


def test_so_is_gear_of_class_ii(as_bench, bench, shop):
    job = at_soak(bench, protection="class-ii")
    passed(job, bench, Stage.BEFORE_POWER, Stage.SOAK)
    run = runs.begin(job, slug="after-repair", by=bench)
    do_lines(run, bench, **NO_EARTH, protection="class-ii", touch_current="0.06")
    runs.sign_off(run, passed=True, by=bench)
    assert goes(as_bench, job)


def test_old_gear_with_two_wires_passes_once_it_has_an_earth(as_bench, as_owner, bench, shop):
    """What the worksheet says of two wires and no mark: common practice, no source."""
    job = at_soak(bench, protection="two-wire")
    passed(job, bench, Stage.BEFORE_POWER, Stage.SOAK)
    run = do_lines(runs.begin(job, slug="after-repair", by=bench), bench, until="tested")
    keep_test(job, bench, **NO_EARTH, protection="two-wire", touch_current="0.06")
    assert stays(as_bench, job, "has a line that isn’t right")
    build = {"protection": "class-i", "line_volts": "unknown", "seen": "1", "words": "Three wires now."}
    assert as_owner.send(reverse("job-build", args=[job.claim]), build).status_code == 302
    runs.sign_off(do_lines(run, bench), passed=True, by=bench)
    assert goes(as_bench, job)


def test_gear_without_mains_has_lists_of_its_own(as_bench, bench, shop):
    job = at_soak(bench, protection="class-iii", kind="pedal", technology="")
    assert stays(as_bench, job, "“After-repair check” isn’t done.")
    done(job, bench)
    assert goes(as_bench, job)
    assert {run.version.slug for run in job.list_runs.all()} == {"after-repair-low", "soak-low"}


def test_the_gates_are_plugged_in():
    from shop import sockets

    assert "tested and soaked" in sockets.gates
    assert "unsafe with a tag" in sockets.gates


# --- Every role, every list, every line ------------------------------------------------------------------------


@pytest.mark.parametrize("missing", [("after-repair",), ("soak",), ("after-repair", "soak")])
@pytest.mark.parametrize("role", ["owner", "bench", "counter"])
def test_no_role_makes_it_ready_without_a_list(request, job, bench, role, missing):
    tablet = request.getfixturevalue(f"as_{role}")
    stages = [OURS[slug].stage for slug in ("before-power", "after-repair", "soak") if slug not in missing]
    passed(job, bench, *stages)
    assert stays(tablet, job, f"“{OURS[missing[0]].name}” isn’t done.")
    passed(job, bench)
    assert goes(tablet, job)


def test_the_pad_moves_nothing(as_pad, ready_to_go):
    assert as_pad.send(reverse("job-move", args=[ready_to_go.claim]), {"to": "ready"}).status_code == 403
    assert stays(as_pad, ready_to_go)


def marked(run, by, **said):
    """Sign every line as done, but those that are said to be otherwise; None for a line that isn't signed."""
    outcomes = {line.key: said.get(line.key, "done") for line in run.version.lines.all()}
    Mark.objects.bulk_create(Mark(run=run, key=k, outcome=o, by=by) for k, o in outcomes.items() if o)
    return run


@pytest.mark.parametrize(("slug", "key"), LINES)
def test_every_line_counts(as_bench, bench, shop, slug, key):
    """With all other lines signed, a list without one of its lines isn't passed, whoever signed the whole of it."""
    low = slug.endswith("-low")
    job = at_soak(bench, protection="class-iii" if low else "class-i", kind="pedal" if low else "head")
    passed(job, bench)
    run = marked(runs.begin(job, slug=slug, by=bench), bench, **{key: None})
    assert stays(as_bench, job, f"“{OURS[slug].name}” isn’t done.")
    for outcome in ("failed", "close"):
        Mark.objects.create(run=run, key=key, outcome=outcome, by=bench)
        assert stays(as_bench, job, "has a line that isn’t right")
    SignOff.objects.create(run=run, passed=True, by=bench)
    assert stays(as_bench, job)
    again = marked(runs.begin(job, slug=slug, by=bench), bench)
    assert stays(as_bench, job, "is done but not signed")
    SignOff.objects.create(run=again, passed=True, by=bench)
    assert goes(as_bench, job)


@pytest.mark.parametrize("role", [Role.OWNER, Role.BENCH, Role.COUNTER, Role.PAD])
@pytest.mark.parametrize("was", [s for s in State if s != State.GOING_HOME_AS_IS])
def test_no_state_has_a_raw_move_around_the_gate(request, shop, role, was):
    """Whatever is sent from whatever state: ready is not reached, nor what only its own page may do."""
    tablet = request.getfixturevalue(f"as_{role}")
    job = JobFactory(state=was, collected_at=timezone.now() if was == State.COLLECTED else None)
    for to in (State.READY, State.COLLECTED, State.LET_GO, State.LEFT_BEHIND, State.GOING_HOME_AS_IS):
        assert ask_for(tablet, job, to)[0] == was
    assert ask_for(tablet, job, State.READY, seen="ready", through="pickup", revision=0)[0] == was


@pytest.mark.parametrize("was", NOT_TESTED)
def test_passed_lists_open_no_other_way_to_ready(as_owner, owner, shop, was):
    job = passed(JobFactory(state=State.SOAK_TEST), owner)
    type(job).objects.filter(pk=job.pk).update(state=was)
    job.refresh_from_db()
    assert ask_for(as_owner, job)[0] == was


def test_what_goes_home_as_it_is_was_not_repaired(as_bench, bench, shop):
    job = JobFactory(state=State.GOING_HOME_AS_IS, declined=True)
    assert goes(as_bench, job)


# --- Ways around, each shut, and the same way open ---------------------------------------------------------------


def after_repair(job):
    return safety.lists_on(job).get("after-repair").run


def test_a_struck_reading_takes_the_pass_away(as_bench, ready_to_go):
    reading = ready_to_go.readings.get(point="Supply, end of soak")
    strike = reverse("job-reading-strike", args=[ready_to_go.claim, reading.pk])
    assert as_bench.send(strike).status_code == 302
    assert stays(as_bench, ready_to_go, "“Soak test” has a line that isn’t right")
    back = reverse("job-reading-put-back", args=[ready_to_go.claim, reading.pk])
    assert as_bench.send(back).status_code == 302
    assert stays(as_bench, ready_to_go)


def test_a_struck_reading_of_before_power_shuts_the_power_off(job, bench):
    done(job, bench, Stage.BEFORE_POWER)
    assert safety.why_no_power(job) == ""
    readings.strike(job.readings.get(point="Reservoir, discharged"), by=bench)
    assert safety.why_no_power(job)


def test_a_struck_worksheet_takes_the_pass_away(as_bench, ready_to_go, bench):
    sheet = ready_to_go.sheets.standing().get()
    assert as_bench.send(reverse("worksheet-strike", args=[sheet.pk])).status_code == 302
    assert stays(as_bench, ready_to_go, "“After-repair electrical test”")
    done(ready_to_go, bench, Stage.AFTER_REPAIR)
    assert goes(as_bench, ready_to_go)


@pytest.mark.parametrize(
    "other",
    [
        {**NO_EARTH, "protection": "class-ii", "touch_current": "0.1"},
        {**NO_EARTH, "protection": "two-wire", "touch_current": "0.1"},
        {**NO_EARTH, "protection": "class-iii"},
    ],
)
def test_a_test_for_gear_that_is_built_otherwise_passes_nothing(as_bench, job, bench, other):
    passed(job, bench, Stage.BEFORE_POWER, Stage.SOAK)
    run = do_lines(runs.begin(job, slug="after-repair", by=bench), bench, until="tested")
    keep_test(job, bench, **other)
    assert run.marks.order_by("pk").last().outcome == "failed"
    assert stays(as_bench, job, "has a line that isn’t right")
    runs.sign_off(do_lines(run, bench), passed=True, by=bench)
    assert goes(as_bench, job)


def test_a_test_counts_no_more_once_the_gear_is_written_down_otherwise(
    as_bench, as_owner, ready_to_go, bench
):
    build = {
        "protection": "class-ii",
        "line_volts": "unknown",
        "seen": "1",
        "words": "Its mark was under dirt.",
    }
    address = reverse("job-build", args=[ready_to_go.claim])
    assert as_owner.send(address, build).status_code == 302
    assert stays(as_bench, ready_to_go, "“After-repair electrical test”")
    assert as_owner.send(address, {**build, "protection": "class-i", "seen": "2"}).status_code == 302
    assert goes(as_bench, ready_to_go)


def test_a_test_before_anybody_wrote_down_how_it_is_built_passes_nothing(as_bench, bench, shop):
    job = at_soak(bench, protection="")
    passed(job, bench, Stage.BEFORE_POWER, Stage.SOAK)
    run = do_lines(runs.begin(job, slug="after-repair", by=bench), bench, until="tested")
    keep_test(job, bench)
    assert "isn’t written down" in run.marks.order_by("pk").last().said
    assert stays(as_bench, job)
    GearBuild.objects.create(gear=job.gear, protection="class-i", by=bench)
    runs.sign_off(do_lines(run, bench), passed=True, by=bench)
    assert goes(as_bench, job)


@pytest.mark.parametrize(
    "change",
    [{"kind": "pedal", "technology": ""}, {"technology": "passive"}, {"kind": "cabinet", "technology": ""}],
)
def test_another_kind_of_gear_is_no_way_around_what_is_written_down(as_bench, job, bench, change):
    passed(job, bench, Stage.BEFORE_POWER)
    Gear.objects.filter(pk=job.gear_id).update(**change)
    assert stays(as_bench, job, "“After-repair electrical test” isn’t done.")


def test_gear_with_mains_is_written_down_as_without_by_the_owner_alone(as_bench, as_owner, bench, shop):
    job = at_soak(bench, protection="")
    address = reverse("job-build", args=[job.claim])
    build = {"protection": "class-iii", "line_volts": "unknown", "seen": "0", "words": "It has a plug pack."}
    assert as_bench.send(address, build).status_code == 403
    assert stays(as_bench, job, "“After-repair electrical test” isn’t done.")
    assert as_owner.send(address, {**build, "words": ""}).status_code == 422
    assert as_owner.send(address, build).status_code == 302
    assert stays(as_bench, job, "“After-repair check” isn’t done.")
    done(job, bench)
    assert goes(as_bench, job)


def test_what_was_done_before_it_came_back_onto_the_bench_counts_no_more(as_bench, ready_to_go, bench):
    job = move(ready_to_go, to=State.ON_THE_BENCH, by=bench, revision=ready_to_go.revision)
    job = move(job, to=State.SOAK_TEST, by=bench, revision=job.revision)
    assert stays(as_bench, job, "“After-repair electrical test” isn’t done.")
    assert safety.why_no_power(job)
    passed(job, bench)
    assert goes(as_bench, job)


def test_an_open_run_of_an_earlier_stay_can_be_neither_signed_nor_signed_off(as_bench, tablet_of, job, bench):
    passed(job, bench)
    run = runs.begin(job, slug="soak", by=bench)
    Mark.objects.bulk_create(
        Mark(run=run, key=line.key, outcome="done", by=bench) for line in OURS["soak"].lines
    )
    job = move(job, to=State.ON_THE_BENCH, by=bench, revision=job.revision)
    job = move(job, to=State.SOAK_TEST, by=bench, revision=job.revision)
    tablet = tablet_of(give_keys(bench, PIN))
    sign_off = reverse("list-run-sign-off", args=[run.pk])
    assert tablet.post(sign_off, {"key": PIN, "passed": "1"}).status_code == 422
    assert not SignOff.objects.filter(run=run).exists()
    assert stays(as_bench, job)


def test_a_run_keeps_the_version_that_it_began_with(as_bench, job, bench, owner):
    """A new version asks nothing of a run that began before it; the next run is of the new one."""
    passed(job, bench, Stage.BEFORE_POWER, Stage.SOAK)
    run = runs.begin(job, slug="after-repair", by=bench)
    now = listing.current()["after-repair"]
    wider = replace(now.checklist, lines=(*now.checklist.lines, Line("sung", "Sing to it.")))
    listing.change(wider, by=owner, words="One more", seen=now.number)
    assert "sung" not in [line.key for line in run.version.lines.all()]
    runs.sign_off(do_lines(run, bench), passed=True, by=bench)
    assert safety.lists_on(job).get("after-repair").standing is safety.Standing.PASSED
    again = runs.begin(job, slug="after-repair", by=bench)
    assert "sung" in [line.key for line in again.version.lines.all()]
    assert stays(as_bench, job)
    runs.sign_off(do_lines(again, bench), passed=True, by=bench)
    assert goes(as_bench, job)


@pytest.mark.parametrize("slug", ["before-power", "after-repair", "soak"])
def test_a_list_that_a_gate_rests_on_is_taken_off_by_nobody(as_owner, as_bench, job, slug):
    off = reverse("job-list-take-off", args=[job.claim, slug])
    assert as_bench.send(off, {"words": "In a hurry."}).status_code == 403
    answer = as_owner.send(off, {"words": "In a hurry."})
    assert answer.status_code == 422 and "A gate rests on this list" in answer.content.decode()
    assert stays(as_owner, job) and safety.lists_on(job).get(slug)


def test_a_list_put_on_and_taken_off_again_is_still_asked_for_once_the_gear_needs_it(as_owner, owner, shop):
    job = at_soak(owner, protection="class-iii", kind="pedal")
    safety.put_on(job, slug="after-repair", by=owner)
    safety.take_off(job, slug="after-repair", words="It has no mains.", by=owner)
    assert not safety.lists_on(job).get("after-repair")
    GearBuild.objects.filter(gear=job.gear).update(protection="class-i")
    assert safety.lists_on(job).get("after-repair")
    passed(job, owner, Stage.BEFORE_POWER, Stage.SOAK)
    assert stays(as_owner, job, "“After-repair electrical test” isn’t done.")


def test_a_list_that_somebody_put_on_before_ready_holds_it_too(as_bench, as_owner, ready_to_go):
    our_list({"key": "look", "text": "Look again."}, slug="twice", stage="after-repair", applies=["crt"])
    assert (
        as_bench.send(reverse("job-list-put-on", args=[ready_to_go.claim]), {"slug": "twice"}).status_code
        == 302
    )
    assert stays(as_bench, ready_to_go, "“Our own list” isn’t done.")
    off = reverse("job-list-take-off", args=[ready_to_go.claim, "twice"])
    assert as_owner.send(off, {"words": "Once was enough."}).status_code == 302
    assert goes(as_bench, ready_to_go)


def test_done_but_not_signed_is_not_passed(as_bench, tablet_of, job, bench):
    passed(job, bench, Stage.BEFORE_POWER, Stage.AFTER_REPAIR)
    run = do_lines(runs.begin(job, slug="soak", by=bench), bench)
    assert stays(as_bench, job, "is done but not signed")
    tablet, sign_off = tablet_of(give_keys(bench, PIN)), reverse("list-run-sign-off", args=[run.pk])
    assert tablet.post(sign_off, {"key": "0000", "passed": "1"}).status_code == 422
    assert stays(tablet, job, "is done but not signed")
    assert tablet.post(sign_off, {"key": PIN, "passed": "1"}).status_code == 302
    assert goes(tablet, job)


@pytest.mark.parametrize("slug", ["live", "after-repair"])
def test_what_ended_as_failed_holds_it_until_it_is_passed(as_bench, ready_to_go, bench, slug):
    """Also a list that ready doesn't wait for: a failed line stops."""
    run = runs.begin(ready_to_go, slug=slug, by=bench)
    first = run.version.lines.first().key
    runs.sign(run, key=first, outcome="failed", words="It is damaged", seen=0, by=bench)
    assert stays(as_bench, ready_to_go, "has a line that isn’t right")
    runs.sign_off(run, passed=False, by=bench)
    assert stays(as_bench, ready_to_go, "has a line that isn’t right")
    again = runs.begin(ready_to_go, slug=slug, by=bench)
    assert stays(as_bench, ready_to_go, "ended as failed and isn’t passed since")
    runs.sign_off(do_lines(again, bench), passed=True, by=bench)
    assert goes(as_bench, ready_to_go)


def test_of_two_tablets_the_second_passes_nothing_that_the_first_failed(as_bench, as_owner, job, bench):
    passed(job, bench, Stage.BEFORE_POWER, Stage.SOAK)
    run = runs.begin(job, slug="after-repair", by=bench)
    address, key = reverse("list-run-sign", args=[run.pk]), run.version.lines.first().key
    assert as_owner.send(address, {"key": key, "seen": "0", "reason": "It is damaged"}).status_code == 302
    assert as_bench.send(address, {"key": key, "seen": "0", "outcome": "done"}).status_code == 409
    assert [mark.outcome for mark in run.marks.all()] == ["failed"]
    assert stays(as_bench, job)


# --- Waivers -----------------------------------------------------------------------------------------------------


def waive(tablet, job, slug, words="Its owner tests it."):
    return tablet.send(reverse("job-waive", args=[job.claim, slug]), {"words": words}).status_code


@pytest.mark.parametrize(("role", "answer"), [("bench", 403), ("counter", 403), ("pad", 403), ("owner", 302)])
def test_only_the_owner_waives(request, as_bench, job, bench, role, answer):
    passed(job, bench, Stage.BEFORE_POWER, Stage.AFTER_REPAIR)
    assert waive(request.getfixturevalue(f"as_{role}"), job, "soak") == answer
    assert goes(as_bench, job) if role == "owner" else stays(as_bench, job)


@pytest.mark.parametrize(
    "said", [EARTH_FAILS, {"earth": "0.29 ± 0.05"}, {"insulation": "0.4"}, {"insulation": "1 ± 0.1"}]
)
def test_failed_earth_or_insulation_is_never_waived(as_owner, as_bench, job, bench, said):
    passed(job, bench, Stage.BEFORE_POWER, Stage.SOAK)
    keep_test(job, bench, **said)
    assert waive(as_owner, job, "after-repair") == 422
    assert not Waiver.objects.exists()
    assert stays(as_bench, job, "It is judged unsafe")
    keep_test(job, bench)
    assert waive(as_owner, job, "after-repair") == 302
    assert goes(as_bench, job)


@pytest.mark.parametrize("how", ["struck", "other protection", "new stay"])
def test_nothing_but_a_pass_undoes_a_failed_earth(as_owner, as_bench, job, bench, how):
    failed = keep_failed(job, bench)
    if how == "struck":
        sheets.strike(failed, by=bench)
    if how == "other protection":
        keep_test(job, bench, protection="two-wire", touch_current="0.1")
    if how == "new stay":
        job = move(job, to=State.ON_THE_BENCH, by=bench, revision=job.revision)
        job = move(job, to=State.SOAK_TEST, by=bench, revision=job.revision)
    passed(job, bench)
    assert waive(as_owner, job, "after-repair") == 422
    assert stays(as_owner, job, "Protective earth failed")
    keep_test(job, bench)
    assert goes(as_owner, job)


def keep_failed(job, by):
    passed(job, by, Stage.BEFORE_POWER)
    return keep_test(job, by, **EARTH_FAILS)


def test_insulation_passed_by_the_limit_of_other_gear_is_not_passed(as_owner, job, bench):
    """0.5 MΩ fails class I and would do for class III: EN 50678:2020, clause 5.4, as makers of testers tell it."""
    passed(job, bench, Stage.BEFORE_POWER, Stage.SOAK)
    keep_test(job, bench, insulation="0.5")
    keep_test(
        job,
        bench,
        protection="class-iii",
        earth="",
        cord="",
        area="",
        protective_current="",
        insulation="0.5",
    )
    assert waive(as_owner, job, "after-repair") == 422
    assert stays(as_owner, job, "Insulation failed")


def test_a_waiver_covers_nothing_that_failed_after_it(as_owner, as_bench, job, bench):
    passed(job, bench, Stage.BEFORE_POWER, Stage.AFTER_REPAIR)
    assert waive(as_owner, job, "soak") == 302
    run = runs.begin(job, slug="soak", by=bench)
    runs.sign(run, key=run.version.lines.first().key, outcome="failed", words="It smokes.", seen=0, by=bench)
    assert stays(as_bench, job, "has a line that isn’t right")
    assert waive(as_owner, job, "soak", "It was the lamp that smoked.") == 302
    assert goes(as_bench, job)


def test_a_waiver_of_an_earlier_stay_counts_no_more(as_owner, job, bench):
    assert waive(as_owner, job, "soak") == 302
    job = move(job, to=State.ON_THE_BENCH, by=bench, revision=job.revision)
    job = move(job, to=State.SOAK_TEST, by=bench, revision=job.revision)
    passed(job, bench, Stage.BEFORE_POWER, Stage.AFTER_REPAIR)
    assert stays(as_owner, job, "“Soak test” isn’t done.")


@pytest.mark.parametrize("slug", ["before-power", "before-opening", "live", "no-such-list", "crt"])
def test_nothing_is_waived_that_ready_does_not_wait_for(as_owner, job, slug):
    assert waive(as_owner, job, slug) in (404, 422)
    assert not Waiver.objects.exists()


def test_before_power_is_not_waived_by_a_row_either(job, owner):
    Waiver.objects.create(job=job, slug="before-power", words="In a hurry.", by=owner)
    assert safety.why_no_power(job)


# --- Unsafe ------------------------------------------------------------------------------------------------------


def test_what_is_judged_unsafe_is_not_ready_repaired(as_bench, as_owner, ready_to_go, bench, owner):
    safety.judge_unsafe(ready_to_go, words="The chassis is live.", by=bench)
    assert stays(as_owner, ready_to_go, "The chassis is live")
    safety.print_unsafe_tag(ready_to_go, by=bench)
    assert stays(as_owner, ready_to_go, "The chassis is live")
    safety.take_back_unsafe(ready_to_go, words="It was the probe.", by=owner)
    assert goes(as_bench, ready_to_go)


def test_unsafe_gear_goes_home_as_it_is_with_a_tag_printed_since(as_bench, bench, shop):
    job = JobFactory(state=State.GOING_HOME_AS_IS, declined=True)
    safety.judge_unsafe(job, words="The chassis is live.", by=bench)
    assert stays(as_bench, job, "Print the “unsafe, do not use” tag first")
    safety.print_unsafe_tag(job, by=bench)
    SafetyWord.objects.create(job=job, unsafe=True, words="Its cord is burnt.", by=bench)
    assert stays(as_bench, job, "Print the “unsafe, do not use” tag first")
    safety.print_unsafe_tag(job, by=bench)
    assert goes(as_bench, job)


# --- Under power -------------------------------------------------------------------------------------------------


POWERED = {
    "point": "Plate, V1",
    "written": "280",
    "unit": "V",
    "when": "before",
    "powered": "on",
    "meter": "Mine",
}


def read_hot(tablet, job):
    return tablet.send(reverse("job-reading", args=[job.claim]), POWERED).status_code


def keep_hot(tablet, job):
    address = reverse("job-worksheet-keep", args=[job.claim, "after-repair-test"])
    return tablet.send(address, {**TESTED, "when": "after"}).status_code


def sign_hot(tablet, job, by):
    our_list({"key": "hot", "text": "Read it hot.", "ask": "reading", "point": "Hot", "unit": "V", "powered": True},
             slug="hot") if not ListVersion.objects.filter(slug="hot") else None  # fmt: skip
    run = runs.begin(job, slug="hot", by=by)
    last = run.marks.order_by("pk").last()
    seen = last.pk if last else 0
    said = {"key": "hot", "written": "280", "meter": a_meter().pk, "seen": seen}
    return tablet.send(reverse("list-run-sign", args=[run.pk]), said).status_code


def test_nothing_is_read_under_power_before_its_list_by_any_way(as_bench, as_owner, job, bench):
    for tablet in (as_bench, as_owner):
        assert (read_hot(tablet, job), keep_hot(tablet, job), sign_hot(tablet, job, bench)) == (422, 422, 422)
    assert not job.readings.exists() and not KeptSheet.objects.exists()
    done(job, bench, Stage.BEFORE_POWER)
    for tablet in (as_bench, as_owner):
        assert (read_hot(tablet, job), keep_hot(tablet, job), sign_hot(tablet, job, bench)) == (302, 302, 302)


@pytest.mark.parametrize("role", ["counter", "pad"])
def test_who_does_not_work_on_jobs_reads_nothing_at_all(request, job, bench, role):
    passed(job, bench)
    tablet = request.getfixturevalue(f"as_{role}")
    assert (read_hot(tablet, job), keep_hot(tablet, job), sign_hot(tablet, job, bench)) == (403, 403, 403)


@pytest.mark.parametrize("key", POWER_LINES)
def test_every_line_of_before_power_counts(as_bench, job, bench, key):
    run = marked(runs.begin(job, slug="before-power", by=bench), bench, **{key: None})
    SignOff.objects.create(run=run, passed=True, by=bench)
    assert read_hot(as_bench, job) == 422
    for outcome in ("failed", "close"):
        Mark.objects.create(run=run, key=key, outcome=outcome, by=bench)
        assert read_hot(as_bench, job) == 422
    again = marked(runs.begin(job, slug="before-power", by=bench), bench)
    assert read_hot(as_bench, job) == 422
    SignOff.objects.create(run=again, passed=True, by=bench)
    assert read_hot(as_bench, job) == 302


def test_before_power_done_but_not_signed_opens_nothing(as_bench, job, bench):
    run = do_lines(runs.begin(job, slug="before-power", by=bench), bench)
    assert read_hot(as_bench, job) == 422
    runs.sign_off(run, passed=True, by=bench)
    assert read_hot(as_bench, job) == 302


def test_begun_again_it_is_shut_again(as_bench, job, bench):
    done(job, bench, Stage.BEFORE_POWER)
    runs.begin(job, slug="before-power", by=bench)
    assert read_hot(as_bench, job) == 422


def test_every_reading_line_of_ours_has_a_meter_unit_and_place():
    for each in OURS.values():
        for line in each.lines:
            assert line.ask is not Ask.READING or (line.point and line.unit), (each.slug, line.key)
