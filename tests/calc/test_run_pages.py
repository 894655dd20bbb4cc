"""The pages on which a list is run: one line at a time, no keyboard but for readings, signed with a PIN."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from freezegun import freeze_time

from calc import readings, runs, safety
from calc.models import GearBuild, ListRun, Mark, Reading, SignOff
from calc.safety import Standing
from intake.models import State
from intake.workflow import move
from shop.models import Entry
from shop.once import FIELD, new_key
from tests.calc.doing import TESTED, a_meter, do_lines
from tests.calc.lists import our_list
from tests.factories import GearFactory, JobFactory, MeterFactory
from tests.safe import passed
from tests.shop.conftest import PIN, give_keys

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(shop, bench):
    our_list()
    return move(JobFactory(gear=GearFactory(technology="valve")), to=State.ON_THE_BENCH, by=bench, revision=1)


@pytest.fixture
def run(job, bench):
    return runs.begin(job, slug="our-list", by=bench)


@pytest.fixture
def power(job, bench):
    return passed(job, bench, *safety.Stage)


def page_of(tablet, run):
    return tablet.get(reverse("list-run", args=[run.pk]))


def sign(tablet, run, key, *, seen=None, htmx=False, **said):
    last = run.marks.order_by("pk").last()
    seen = (last.pk if last else 0) if seen is None else seen
    address = reverse("list-run-sign", args=[run.pk])
    if "written" in said:
        said.setdefault("meter", a_meter().pk)
    return tablet.send(address, {"key": key, "seen": seen, **said}, htmx=htmx)


def last_mark(run):
    return run.marks.order_by("pk").last()


def words_in(answer):
    return " ".join(answer.content.decode().split())


# --- Begin -------------------------------------------------------------------------------------------------------


def test_a_list_is_begun_with_one_tap(as_bench, job):
    answer = as_bench.send(reverse("job-list-begin", args=[job.claim, "our-list"]))
    assert answer["Location"] == f"{reverse('list-run', args=[ListRun.objects.get().pk])}#next"


def test_a_second_tap_begins_no_second_run(as_bench, job):
    address, key = reverse("job-list-begin", args=[job.claim, "our-list"]), {FIELD: new_key()}
    assert as_bench.send(address, key)["Location"] == as_bench.send(address, key)["Location"]
    as_bench.send(address)
    assert ListRun.objects.count() == 1


def test_a_list_that_is_not_on_the_job_is_not_begun(as_bench, job):
    answer = as_bench.send(reverse("job-list-begin", args=[job.claim, "no-such-list"]))
    assert answer.status_code == 422
    assert not ListRun.objects.exists()


# --- The page ----------------------------------------------------------------------------------------------------


def test_the_next_line_is_shown_with_why_and_source_and_the_rest_below(as_bench, run):
    page = words_in(page_of(as_bench, run))
    assert "Look for loose wires." in page and "They short." in page and "Source: common practice" in page
    assert "To come: 2" in page and "Read the heater." in page


def test_no_line_but_a_reading_needs_a_keyboard(as_bench, run):
    """Every way to sign a line is a button that is sent alone."""
    page = words_in(page_of(as_bench, run))
    assert 'name="outcome" value="done"' in page
    assert page.count('name="reason"') == 4
    assert "Not so: Look for loose wires." in page
    sign(as_bench, run, "look", reason="It is damaged")
    assert (last_mark(run).outcome, last_mark(run).words) == ("failed", "It is damaged")


def test_a_line_that_is_not_right_needs_no_words(as_bench, run):
    assert sign(as_bench, run, "look", outcome="failed").status_code == 302
    assert last_mark(run).words == "Not so: Look for loose wires."


def test_own_words_take_the_place_of_the_phrase(as_bench, run):
    sign(as_bench, run, "look", outcome="failed", words="  The choke's wire is off. ")
    assert last_mark(run).words == "The choke's wire is off."


def test_a_stopped_run_says_what_is_wrong_and_what_comes_next(as_bench, run):
    sign(as_bench, run, "look", reason="It is damaged")
    page = words_in(page_of(as_bench, run))
    assert "This isn’t right yet." in page and "It is damaged" in page
    assert "Fix the wires." in page and "It is right now" in page
    assert sign(as_bench, run, "look", outcome="done").status_code == 302
    assert "This isn’t right yet." not in words_in(page_of(as_bench, run))


def test_a_reading_line_has_a_number_pad_and_the_meters_that_are_here(as_bench, run, job, bench, power):
    run = runs.begin(job, slug="our-list", by=bench)
    last, other = MeterFactory(name="Bench meter 2"), MeterFactory(name="Bench meter 1")
    MeterFactory(name="Lost meter", is_here=False)
    readings.take(
        job, point="Plate", written="250", unit="V", when="before", with_meter=last, by=bench, powered=True
    )
    sign(as_bench, run, "look", outcome="done")
    page = words_in(page_of(as_bench, run))
    assert 'inputmode="decimal" data-value' in page
    assert f'<option value="{last.pk}" selected>' in page and f'<option value="{other.pk}">' in page
    assert "Lost meter" not in page
    assert "at least 5.7" in page


def test_a_meter_out_of_calibration_is_flagged_before_and_after(as_bench, run):
    due = timezone.localdate() - dt.timedelta(days=3)
    meter = MeterFactory(name="Bench meter 1", calibrated_on=None, due_on=due)
    sign(as_bench, run, "look", outcome="done")
    assert "out of calibration, it was due" in words_in(page_of(as_bench, run))
    sign(as_bench, run, "read", written="6.3", meter=meter.pk)
    assert "meter out of calibration" in words_in(page_of(as_bench, run))


def test_a_reading_is_judged_and_kept_with_its_meter(as_bench, run):
    meter = MeterFactory(name="Bench meter 1")
    sign(as_bench, run, "look", outcome="done")
    sign(as_bench, run, "read", written="4.9", meter=meter.pk)
    mark = last_mark(run)
    assert (mark.outcome, mark.reading.with_meter, mark.reading.point) == ("failed", meter, "Heater")
    assert "Find what pulls it down." in words_in(page_of(as_bench, run))
    sign(as_bench, run, "read", written="6.3 V", meter=meter.pk)
    assert last_mark(run).outcome == "done"


@pytest.mark.parametrize("written", ["", "a lot", "6..3", "6.3 A", "9" * 40])
def test_what_is_no_value_is_said_beside_the_box_and_stays_in_it(as_bench, run, written):
    meter = MeterFactory()
    MeterFactory(name="Z")
    sign(as_bench, run, "look", outcome="done")
    answer = sign(as_bench, run, "read", written=written, meter=meter.pk)
    assert answer.status_code == 422
    page = words_in(answer)
    assert 'id="written-wrong"' in page and 'aria-invalid="true"' in page
    assert f'value="{written}"' in page
    assert f'<option value="{meter.pk}" selected>' in page
    assert not Reading.objects.exists() and run.marks.count() == 1


def test_a_reading_without_a_meter_is_asked_for_it(as_bench, run):
    sign(as_bench, run, "look", outcome="done")
    answer = sign(as_bench, run, "read", written="6.3", meter="")
    assert answer.status_code == 422
    page = words_in(answer)
    assert "Choose the meter that it was read off." in page and 'value="6.3"' in page


def test_not_on_this_gear_is_offered_where_it_may_be_so(as_bench, run):
    assert "Not on this gear" not in words_in(page_of(as_bench, run))
    assert sign(as_bench, run, "look", outcome="not-here").status_code == 422
    sign(as_bench, run, "look", outcome="done")
    sign(as_bench, run, "read", written="6.3")
    with freeze_time(timezone.now() + dt.timedelta(seconds=601)):
        assert "Not on this gear" in words_in(page_of(as_bench, run))
        assert sign(as_bench, run, "fan", outcome="not-here").status_code == 302
    assert last_mark(run).outcome == "not-here"


def test_a_wait_says_until_when_and_is_kept(as_bench, run):
    sign(as_bench, run, "look", outcome="done")
    sign(as_bench, run, "read", written="6.3")
    page = words_in(page_of(as_bench, run))
    assert "data-until=" in page and "Not before" in page
    answer = sign(as_bench, run, "fan", outcome="done")
    assert answer.status_code == 422 and "Not before" in words_in(answer)
    with freeze_time(timezone.now() + dt.timedelta(seconds=601)):
        assert "data-until=" not in words_in(page_of(as_bench, run))
        assert sign(as_bench, run, "fan", outcome="done").status_code == 302


def test_a_line_below_the_next_one_is_not_signed(as_bench, run):
    answer = sign(as_bench, run, "read", written="6.3")
    assert answer.status_code == 422
    page = words_in(answer)
    assert "comes first" in page and "What you wrote wasn’t kept: “6.3”" in page


@pytest.mark.parametrize("said", [{}, {"outcome": "close"}, {"outcome": "passed"}, {"written": "6.3"}])
def test_a_look_is_signed_with_nothing_but_its_words(as_bench, run, said):
    assert sign(as_bench, run, "look", **said).status_code == 422
    assert not run.marks.exists()


@pytest.mark.parametrize(
    ("key", "seen"), [("no-line", 0), ("", 0), ("look", "x"), ("look", "-3"), ("look", "9" * 30)]
)
def test_nonsense_is_refused(as_bench, run, key, seen):
    assert sign(as_bench, run, key, seen=seen, outcome="done").status_code in (409, 422)
    assert not run.marks.exists()


def test_htmx_gets_the_part_with_the_next_line(as_bench, run):
    answer = sign(as_bench, run, "look", outcome="done", htmx=True)
    page = words_in(answer)
    assert answer.status_code == 200 and page.startswith('<div id="run"')
    assert "Line 2 of 3" in page


def test_a_line_under_power_says_why_it_cannot_be_read_yet(as_bench, job, bench):
    our_list({"key": "hot", "text": "Read it hot.", "ask": "reading", "point": "Hot", "unit": "V", "powered": True},
             slug="hot")  # fmt: skip
    run = runs.begin(job, slug="hot", by=bench)
    assert "This is read under power." in words_in(page_of(as_bench, run))
    answer = sign(as_bench, run, "hot", written="280")
    assert answer.status_code == 422 and 'value="280"' in words_in(answer)
    assert not Reading.objects.exists()
    passed(job, bench, safety.Stage.BEFORE_POWER)
    assert sign(as_bench, run, "hot", written="280").status_code == 302


def test_a_worksheet_line_leads_to_the_worksheet_of_the_job(as_bench, job, bench):
    our_list({"key": "test", "text": "Test it.", "ask": "sheet", "sheet": "after-repair-test"}, slug="sheet")
    run = runs.begin(job, slug="sheet", by=bench)
    assert reverse("job-worksheet", args=[job.claim, "after-repair-test"]) in words_in(page_of(as_bench, run))
    assert sign(as_bench, run, "test", outcome="done").status_code == 422


# --- Corrections, and two tablets ------------------------------------------------------------------------------


def test_a_correction_is_another_mark_beside_the_first(as_bench, run, job):
    sign(as_bench, run, "look", outcome="done")
    page = words_in(as_bench.get(reverse("list-run", args=[run.pk]), {"again": "look"}))
    assert "Sign again" not in page and "sign it again, to correct what was signed" in page
    sign(as_bench, run, "look", reason="It is damaged")
    assert [mark.outcome for mark in run.marks.order_by("pk")] == ["done", "failed"]
    record = words_in(as_bench.get(reverse("job-lists", args=[job.claim])))
    assert "Before that:" in record and "It is damaged" in record


@pytest.mark.parametrize("key", ["read", "fan", "nothing", ""])
def test_only_what_was_signed_is_signed_again(as_bench, run, key):
    sign(as_bench, run, "look", outcome="done")
    assert "Line 2 of 3" in words_in(as_bench.get(reverse("list-run", args=[run.pk]), {"again": key}))


def test_who_was_second_sees_what_was_signed_and_loses_nothing(as_bench, as_owner, run):
    sign(as_bench, run, "look", outcome="done")
    seen = last_mark(run).pk
    sign(as_owner, run, "read", written="6.2")
    meter = MeterFactory(name="Bench meter 2")
    answer = sign(as_bench, run, "read", seen=seen, written="6.4 V", meter=meter.pk)
    page = words_in(answer)
    assert answer.status_code == 409
    assert "Signed meanwhile:" in page and "Wren Adeyemi" in page
    assert 'value="6.4 V"' in page and f'<option value="{meter.pk}" selected>' in page
    assert f'name="seen" value="{last_mark(run).pk}"' in page
    assert run.marks.count() == 2


def test_what_was_typed_on_a_list_that_was_signed_off_meanwhile_is_shown(as_bench, run, bench, job):
    Mark.objects.bulk_create(Mark(run=run, key=k, outcome="done", by=bench) for k in ("look", "read", "fan"))
    SignOff.objects.create(run=run, passed=True, by=bench)
    answer = sign(as_bench, run, "look", reason="It is damaged", words="A wire")
    assert answer.status_code == 422
    assert "signed off" in words_in(answer) and "“A wire”" in words_in(answer)


def test_a_run_of_an_earlier_stay_says_so_and_takes_nothing(as_bench, run, job, bench):
    again = move(job, to=State.SOAK_TEST, by=bench, revision=job.revision)
    move(again, to=State.ON_THE_BENCH, by=bench, revision=again.revision)
    assert "it counts no more" in words_in(page_of(as_bench, run))
    assert sign(as_bench, run, "look", outcome="done").status_code == 422
    assert not run.marks.exists()


# --- Signed with a PIN -------------------------------------------------------------------------------------------


@pytest.fixture
def done(run, bench):
    Mark.objects.bulk_create(Mark(run=run, key=k, outcome="done", by=bench) for k in ("look", "read", "fan"))
    return run


def sign_off(tablet, run, key=PIN, **said):
    return tablet.post(reverse("list-run-sign-off", args=[run.pk]), {"key": key, "passed": "1", **said})


def test_the_last_line_leads_to_the_signature(as_bench, run):
    sign(as_bench, run, "look", outcome="done")
    sign(as_bench, run, "read", written="6.3")
    with freeze_time(timezone.now() + dt.timedelta(seconds=601)):
        answer = sign(as_bench, run, "fan", outcome="done")
    assert answer["Location"] == reverse("list-run-sign-off", args=[run.pk])
    assert "3 of 3 lines are done" in words_in(as_bench.get(answer["Location"]))


def test_a_list_is_signed_with_the_pin_of_who_is_here(as_bench, done, bench, job):
    give_keys(bench, PIN)
    tablet = as_bench
    tablet.force_login(bench, backend="shop.doors.PasswordDoor")
    assert sign_off(tablet, done, words="All fine").status_code == 302
    signed = SignOff.objects.get()
    assert (signed.passed, signed.by, signed.words) == (True, bench, "All fine")
    assert safety.lists_on(job).get("our-list").standing is Standing.PASSED
    assert "_auth_user_id" in tablet.session and "full_sign_in" not in tablet.session


def test_signing_twice_is_signing_once(tablet_of, done, bench):
    tablet = tablet_of(give_keys(bench, PIN))
    sign_off(tablet, done)
    assert sign_off(tablet, done).status_code == 302
    assert SignOff.objects.count() == 1
    assert "Signed by Tomas Lindqvist" in words_in(tablet.get(reverse("list-run-sign-off", args=[done.pk])))


@pytest.mark.parametrize("key", ["", "0000", "four old harbour lamps"])
def test_without_the_right_pin_nothing_is_signed(tablet_of, done, bench, key):
    answer = sign_off(tablet_of(give_keys(bench, PIN)), done, key, words="All fine")
    assert answer.status_code == 422 and "PIN" in words_in(answer)
    assert 'value="All fine"' in words_in(answer)
    assert not SignOff.objects.exists()


def test_five_wrong_pins_lock_the_signature(tablet_of, done, bench):
    tablet = tablet_of(give_keys(bench, PIN))
    for _ in range(5):
        answer = sign_off(tablet, done, "0000")
    assert answer.status_code == 429 and "Too many wrong tries" in words_in(answer)
    assert sign_off(tablet, done).status_code == 429
    assert not SignOff.objects.exists()


def test_who_has_no_pin_gives_the_password(tablet_of, done, bench):
    tablet = tablet_of(give_keys(bench))
    page = words_in(tablet.get(reverse("list-run-sign-off", args=[done.pk])))
    assert "Your password" in page and reverse("my-pin") in page
    assert sign_off(tablet, done, "1234").status_code == 422
    assert sign_off(tablet, done, "four old harbour lamps").status_code == 302


def test_a_list_with_open_lines_is_not_signed_as_passed(tablet_of, run, bench):
    answer = sign_off(tablet_of(give_keys(bench, PIN)), run)
    assert answer.status_code == 422 and "still open" in words_in(answer)
    assert not SignOff.objects.exists()


def test_a_stopped_list_ends_as_failed_and_is_begun_again(tablet_of, run, bench, job):
    tablet = tablet_of(give_keys(bench, PIN))
    assert sign_off(tablet, run, passed="0").status_code == 422
    sign(tablet, run, "look", reason="It is damaged")
    assert "End this list as failed" in words_in(page_of(tablet, run))
    assert "ends as failed" in words_in(
        tablet.get(reverse("list-run-sign-off", args=[run.pk]), {"passed": "0"})
    )
    assert sign_off(tablet, run, passed="0").status_code == 302
    assert safety.lists_on(job).get("our-list").standing is Standing.FAILED
    assert "Ended as failed" in words_in(page_of(tablet, run))
    tablet.send(reverse("job-list-begin", args=[job.claim, "our-list"]))
    assert ListRun.objects.count() == 2


# --- The job's page and the record -------------------------------------------------------------------------------


def test_the_job_offers_the_next_list_as_one_act(as_bench, job):
    page = words_in(as_bench.get(reverse("job", args=[job.claim])))
    first = safety.lists_on(job).lists[0].checklist.name
    assert f"Begin: {first}" in page
    assert "What keeps it from ready" in page and "Nothing may be read under power yet." in page


def test_before_the_bench_the_job_says_that_its_lists_wait(as_bench, job, shop):
    page = words_in(as_bench.get(reverse("job", args=[JobFactory().claim])))
    assert "Its lists are done on the bench." in page and "Begin: " not in page


def test_who_may_not_sign_sees_and_signs_nothing(as_counter, job, run):
    page = words_in(as_counter.get(reverse("job", args=[job.claim])))
    assert "Safety lists" in page and "Begin: " not in page and "Waive" not in page
    assert page_of(as_counter, run).status_code == 200
    assert "Not right" not in words_in(page_of(as_counter, run))
    assert sign(as_counter, run, "look", outcome="done").status_code == 403


def test_all_lists_passed_leave_no_act(as_bench, job, bench, power):
    page = words_in(as_bench.get(reverse("job", args=[job.claim])))
    assert "Begin: " not in page and "Nothing may be read under power" not in page


def test_the_record_keeps_what_was_signed_in_earlier_stays(as_bench, job, run, bench):
    sign(as_bench, run, "look", outcome="done")
    again = move(job, to=State.SOAK_TEST, by=bench, revision=job.revision)
    move(again, to=State.ON_THE_BENCH, by=bench, revision=again.revision)
    record = words_in(as_bench.get(reverse("job-lists", args=[job.claim])))
    assert "before it last came onto the bench" in record and "Look for loose wires." in record


def queries_of(tablet, address):
    with CaptureQueriesContext(
        connection,
    ) as asked:
        assert tablet.get(address).status_code == 200
    return len(asked)


@pytest.mark.parametrize("name", ["job-lists", "job"])
def test_the_pages_ask_as_often_for_many_runs_as_for_few(as_bench, job, bench, name):
    address = reverse(name, args=[job.claim])
    passed(job, bench, *safety.Stage)
    few = queries_of(as_bench, address)
    for _ in range(3):
        job = move(job, to=State.SOAK_TEST, by=bench, revision=job.revision)
        job = move(job, to=State.ON_THE_BENCH, by=bench, revision=job.revision)
        passed(job, bench, *safety.Stage)
    assert queries_of(as_bench, address) == few


def test_a_run_asks_as_often_for_many_marks_as_for_few(as_bench, run, bench):
    meter, address = MeterFactory(), reverse("list-run", args=[run.pk])
    sign(as_bench, run, "look", outcome="done")
    sign(as_bench, run, "read", written="6.3", meter=meter.pk)
    few = queries_of(as_bench, address)
    for _ in range(6):
        sign(as_bench, run, "read", written="6.2", meter=meter.pk)
    assert queries_of(as_bench, address) == few


# --- Put on, take off, waive -------------------------------------------------------------------------------------


@pytest.fixture
def other(job):
    return our_list(slug="other", applies=["crt"])


def test_a_list_is_put_on_by_who_signs_lists_and_taken_off_by_the_owner(as_bench, as_owner, job, other):
    assert "Our own list" in words_in(as_bench.get(reverse("job", args=[job.claim])))
    assert as_bench.send(reverse("job-list-put-on", args=[job.claim]), {"slug": "other"}).status_code == 302
    assert safety.lists_on(job).get("other")
    off = reverse("job-list-take-off", args=[job.claim, "other"])
    assert as_bench.send(off, {"words": "It has none."}).status_code == 403
    assert as_owner.send(off, {"words": " "}).status_code == 422
    assert safety.lists_on(job).get("other")
    assert as_owner.send(off, {"words": "It has none."}).status_code == 302
    assert not safety.lists_on(job).get("other")


def test_a_list_that_is_not_there_is_not_put_on(as_bench, job):
    assert as_bench.send(reverse("job-list-put-on", args=[job.claim]), {"slug": "spoon"}).status_code == 422


def test_what_was_taken_off_is_shown_with_the_reason(as_owner, job):
    as_owner.send(reverse("job-list-take-off", args=[job.claim, "our-list"]), {"words": "Not this time."})
    page = words_in(as_owner.get(reverse("job", args=[job.claim])))
    assert "Taken off: 1" in page and "Not this time." in page


def test_the_owner_waives_a_test_on_a_page_that_asks_why(as_owner, as_bench, job):
    address = reverse("job-waive", args=[job.claim, "soak"])
    assert as_bench.get(address).status_code == 403
    assert as_bench.send(address, {"words": "In a hurry."}).status_code == 403
    assert as_owner.send(address, {"words": ""}).status_code == 422
    assert as_owner.send(address, {"words": "Its owner waits."}).status_code == 302
    assert safety.lists_on(job).get("soak").standing is Standing.WAIVED
    assert "Its owner waits." in words_in(as_bench.get(reverse("job", args=[job.claim])))


def test_what_cannot_be_waived_says_why_and_keeps_the_reason(as_owner, job):
    answer = as_owner.send(reverse("job-waive", args=[job.claim, "before-power"]), {"words": "In a hurry."})
    assert answer.status_code == 422
    assert "can be waived" in words_in(answer) and "In a hurry." in words_in(answer)


# --- How it is built ---------------------------------------------------------------------------------------------


def build(tablet, job, **said):
    filled = {"protection": "class-i", "line_volts": "230 V", "seen": "0", **said}
    return tablet.send(reverse("job-build", args=[job.claim]), filled)


def test_how_it_is_built_is_written_down(as_bench, job):
    assert build(as_bench, job, contains=["crt", "mould"]).status_code == 302
    kept = GearBuild.objects.get()
    assert (kept.protection, kept.line_volts, kept.contains) == ("class-i", "230 V", ["crt", "mould"])
    page = words_in(as_bench.get(reverse("job-build", args=[job.claim])))
    assert 'name="seen" value="1"' in page
    assert "Class I" in words_in(as_bench.get(reverse("gear", args=[job.gear_id])))


def test_another_line_voltage_is_written_as_the_plate_says(as_bench, job):
    build(as_bench, job, line_volts="unknown", other_volts="127 V")
    assert GearBuild.objects.get().line_volts == "127 V"
    assert 'value="127 V"' in words_in(as_bench.get(reverse("job-build", args=[job.claim])))


def test_what_falls_away_is_the_word_of_the_owner_with_a_reason(as_bench, as_owner, job, other):
    build(as_bench, job, contains=["crt"])
    assert build(as_bench, job, seen="1", words="Looked again.").status_code == 403
    assert build(as_owner, job, seen="1").status_code == 422
    assert safety.lists_on(job).get("other")
    assert build(as_owner, job, seen="1", words="Looked again.").status_code == 302
    assert not safety.lists_on(job).get("other")


def test_two_who_write_it_down_lose_nothing(as_bench, as_owner, job):
    build(as_owner, job, protection="two-wire")
    answer = build(as_bench, job, other_volts="127 V", contains=["mould"])
    page = words_in(answer)
    assert answer.status_code == 409
    assert "Two wires and no mark" in page and "Wren Adeyemi" in page
    assert 'value="127 V"' in page and 'name="seen" value="1"' in page
    assert GearBuild.objects.get().protection == "two-wire"


@pytest.mark.parametrize(
    "said", [{"protection": "wood"}, {"contains": ["spoon"]}, {"seen": "x"}, {"line_volts": "9"}]
)
def test_what_is_no_choice_is_refused(as_bench, job, said):
    assert build(as_bench, job, **said).status_code == 422
    assert not GearBuild.objects.exists()


def test_every_act_is_on_the_timeline(as_bench, as_owner, job, run, other):
    build(as_bench, job)
    as_bench.send(reverse("job-list-put-on", args=[job.claim]), {"slug": "other"})
    as_owner.send(reverse("job-waive", args=[job.claim, "soak"]), {"words": "Its owner waits."})
    sign(as_bench, run, "look", reason="It is damaged")
    said = " ".join(Entry.objects.values_list("words", flat=True))
    for words in ("began the list", "how it is built", "put the list", "waived", "isn’t right"):
        assert words in said


def test_a_kept_worksheet_leads_back_to_the_list_that_waited_for_it(as_bench, job, bench):
    GearBuild.objects.create(gear=job.gear, protection="class-i", by=bench)
    passed(job, bench, safety.Stage.BEFORE_POWER)
    run = do_lines(runs.begin(job, slug="after-repair", by=bench), bench, until="tested")
    keep = reverse("job-worksheet-keep", args=[job.claim, "after-repair-test"])
    answer = as_bench.send(keep, {**TESTED, "earth": "0.9", "when": "after"})
    assert answer["Location"] == f"{reverse('list-run', args=[run.pk])}#next"
    page = words_in(page_of(as_bench, run))
    assert "This isn’t right yet." in page and "Mend what failed" in page
    answer = as_bench.send(keep, {**TESTED, "when": "after"})
    assert answer["Location"] == f"{reverse('list-run', args=[run.pk])}#next"
    assert safety.stand_of(run, safety.build_of(job.gear)).next.key == "works"


def test_a_worksheet_that_no_list_waits_for_is_shown(as_bench, job, bench):
    passed(job, bench, safety.Stage.BEFORE_POWER)
    keep = reverse("job-worksheet-keep", args=[job.claim, "after-repair-test"])
    assert "/kept-worksheet/" in as_bench.send(keep, {**TESTED, "when": "after"})["Location"]
