"""The invented shop's bench keeps to its own lists, and shows what can go wrong there. It is made once."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import pytest
from django.db import transaction
from django.urls import reverse

from calc import listing, safety
from calc.checklists import Stage
from calc.models import (
    EmergencyCard,
    GearBuild,
    KeptSheet,
    ListChange,
    ListRun,
    ListVersion,
    Mark,
    NearMiss,
    Reading,
    SafetyWord,
    UnsafeTag,
    Waiver,
)
from calc.safety import Standing
from intake.models import Job, State
from shop import demo, timeline
from shop.models import Entry, Staff
from shop.roles import Role
from tests.conftest import Tablet

pytestmark = pytest.mark.django_db

NOW = dt.datetime(2026, 11, 25, 15, 0, tzinfo=dt.UTC)
REPAIRED = (State.READY, State.COLLECTED, State.LEFT_BEHIND, State.LET_GO)


@pytest.fixture(scope="module", autouse=True)
def town(django_db_setup, django_db_blocker, tmp_path_factory) -> Iterator[None]:
    from django.conf import settings

    with django_db_blocker.unblock(), pytest.MonkeyPatch.context() as patch:
        patch.setattr(settings, "MEDIA_ROOT", tmp_path_factory.mktemp("media"))
        patch.setattr(settings, "PASSWORD_HASHERS", ["django.contrib.auth.hashers.MD5PasswordHasher"])
        with transaction.atomic():
            assert demo.load_if_empty(NOW)
            yield
            transaction.set_rollback(True)


@pytest.fixture
def tablet() -> Tablet:
    tablet = Tablet()
    tablet.force_login(Staff.objects.get(role=Role.OWNER), backend="shop.doors.PasswordDoor")
    return tablet


def repaired() -> list[Job]:
    return list(Job.objects.filter(state__in=REPAIRED, declined=False).select_related("gear"))


# --- Every job


def test_what_was_repaired_passed_every_list_that_keeps_it_from_being_ready():
    for job in repaired():
        assert safety.why_not_ready(job) == [], job.claim
        assert safety.lists_on(job).of(Stage.AFTER_REPAIR, Stage.SOAK), job.claim


def test_every_list_that_its_gear_asks_for_was_run_on_it():
    for job in repaired()[::6]:
        undone = [
            each.checklist.name
            for each in safety.lists_on(job).lists
            if each.standing not in (Standing.PASSED, Standing.WAIVED)
        ]
        assert undone == [], job.claim


def test_nothing_was_read_under_power_before_the_list_that_allows_it_was_signed():
    signed = defaultdict(list)
    for run in ListRun.objects.filter(version__stage=Stage.BEFORE_POWER).select_related("sign_off"):
        signed[run.job_id].append(run.sign_off.at)
    powered = Reading.objects.filter(powered=True)
    assert powered.count() > 500
    for reading in powered:
        assert min(signed[reading.job_id]) <= reading.at, reading


def test_lines_were_signed_from_the_top_in_time_and_after_their_waits():
    runs = ListRun.objects.select_related("version", "sign_off").prefetch_related("marks", "version__lines")
    for run in runs:
        checklist = listing.as_value(run.version)
        first = {}
        for mark in run.marks.all():
            first.setdefault(mark.key, mark.at)
        assert [line.key for line in checklist.lines] == list(first), run
        for above, below in pairwise([run.at, *first.values()]):
            assert above <= below, run
        for line in checklist.lines:
            since = first[line.since] if line.since else run.at
            assert first[line.key] - since >= dt.timedelta(seconds=line.wait), (run, line.key)
        assert list(first.values())[-1] <= run.sign_off.at <= NOW


def test_what_it_says_of_each_list_is_on_the_job_s_timeline_in_order():
    run = ListRun.objects.filter(version__slug="soak").select_related("job", "version").last()
    words = list(timeline.of(run.job).order_by("pk").values_list("words", flat=True))
    assert words.index("began the list “Soak test”") < words.index("signed the list “Soak test”: passed")


def test_gear_with_mains_is_written_down_as_it_is_built():
    with_mains = {job.gear_id for job in repaired() if job.gear.technology != "passive"}
    assert with_mains == set(
        GearBuild.objects.filter(gear__in=with_mains).exclude(protection="").values_list("gear", flat=True)
    )
    assert set(GearBuild.objects.values_list("protection", flat=True)) == {"class-i", "class-ii"}


def test_every_reading_and_test_names_its_meter_and_some_were_done_with_one_that_is_overdue():
    assert not Reading.objects.filter(with_meter=None).exists()
    tests = KeptSheet.objects.filter(slug=safety.TEST)
    assert not tests.filter(meter=None).exists()
    assert any(sheet.meter_was_due for sheet in tests)
    assert not all(sheet.meter_was_due for sheet in tests)


# --- What is shown


def test_one_soak_test_is_waived_by_the_owner_of_the_shop_with_a_reason():
    waiver = Waiver.objects.get()
    assert (waiver.slug, waiver.by.role) == ("soak", Role.OWNER)
    assert "The band plays tonight" in waiver.words
    assert safety.lists_on(waiver.job).get("soak").standing is Standing.WAIVED


def test_one_earth_test_failed_and_passed_when_it_was_mended():
    failed = Mark.objects.get(outcome="failed")
    again = failed.run.marks.filter(key=failed.key, pk__gt=failed.pk).get()
    assert (failed.sheet.verdict, again.sheet.verdict, again.outcome) == ("bad", "good", "done")
    mended = failed.run.job.findings.get(fault__startswith="Earth wire loose")
    assert failed.at < mended.at <= again.at
    assert failed.run.sign_off.passed
    assert safety.failed_test(failed.run.job) == ""


def test_one_unsafe_unit_went_home_as_it_is_with_its_tag_and_a_signature():
    job = SafetyWord.objects.get().job
    assert (job.state, job.declined) == (State.COLLECTED, True)
    assert UnsafeTag.objects.get().job == job
    signature = job.pickup.signature
    assert signature.svg
    assert "I know that it is unsafe" in signature.words


def test_near_misses_are_written_down_within_the_year():
    on = list(NearMiss.objects.values_list("on", flat=True))
    assert len(on) == 3
    assert all(NOW.date() - dt.timedelta(days=365) < day < NOW.date() for day in on)


def test_the_emergency_card_has_invented_numbers_alone():
    card = EmergencyCard.objects.get()
    for number in (card.ambulance, card.fire, card.poison):
        assert number.startswith("555 01")
    assert all((card.address, card.switch, card.extinguisher, card.first_aid, card.trained))


def test_one_list_was_changed_by_the_owner_of_the_shop_and_older_runs_keep_the_first_version():
    changed = ListVersion.objects.get(number=2)
    assert (changed.slug, changed.by.role) == ("soak", Role.OWNER)
    assert {run.version.number for run in ListRun.objects.filter(version__slug="soak")} == {1, 2}
    late = ListRun.objects.filter(version__slug="soak", at__gt=changed.at)
    assert {run.version.number for run in late} == {2}


def test_one_list_was_put_on_and_one_taken_off_against_what_the_gear_asks_for():
    put_on, taken_off = ListChange.objects.order_by("-applies")
    assert (put_on.applies, taken_off.applies) == (True, False)
    assert taken_off.by.role == Role.OWNER
    assert taken_off.words
    assert safety.lists_on(put_on.job).get(put_on.slug).was_put_on
    assert safety.lists_on(taken_off.job).get(taken_off.slug) is None


# --- Its pages


@pytest.mark.parametrize(
    "name", ["safety", "emergency", "cautions", "near-misses", "safety-year", "checklists"]
)
def test_pages_of_the_shop_s_safety_open(tablet, name):
    assert tablet.get(reverse(name)).status_code == 200


@pytest.mark.parametrize("turn", [Waiver, ListChange, SafetyWord])
@pytest.mark.parametrize("name", ["job", "job-lists", "job-report"])
def test_pages_of_a_job_that_took_a_turn_open(tablet, turn, name):
    job = turn.objects.first().job
    assert tablet.get(reverse(name, kwargs={"claim": job.claim})).status_code == 200


def test_the_run_that_was_stopped_opens(tablet):
    run: Any = Mark.objects.get(outcome="failed").run
    page = tablet.get(reverse("list-run", kwargs={"pk": run.pk})).content.decode()
    assert "Protective earth" in page


def test_nothing_of_it_happens_after_now():
    for model in (Mark, Reading, ListRun, KeptSheet, Entry):
        assert not model.objects.filter(at__gt=NOW).exists(), model
