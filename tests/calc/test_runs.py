"""Running a list on a job: line after line, judged, signed; and what the gates make of it."""

import datetime as dt

import pytest
from django.utils import timezone
from freezegun import freeze_time

from calc import readings, runs, safety
from calc.models import Mark, Reading, SignOff
from calc.safety import Standing
from intake.models import State
from intake.workflow import held_back, move
from shop.errors import ChangedMeanwhile, NotAllowed, NotAllowedYet
from tests.calc.doing import a_meter
from tests.factories import GearFactory, JobFactory, MeterFactory
from tests.safe import passed

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(shop, bench):
    gear = GearFactory(kind="head", technology="valve")
    return move(JobFactory(gear=gear), to=State.ON_THE_BENCH, by=bench, revision=1)


def standing(job, slug):
    return safety.lists_on(job).get(slug).standing


def signed(run, key, by, **more):
    last = run.marks.order_by("pk").last()
    if "written" in more:
        more.setdefault("meter", a_meter())
    return runs.sign(run, key=key, by=by, seen=last.pk if last else 0, **more)


def test_a_list_is_done_line_by_line_and_signed(job, bench):
    run = runs.begin(job, slug="before-power", by=bench)
    assert standing(job, "before-power") is Standing.BEGUN
    signed(run, "unplugged", bench, outcome="done")
    mark = signed(run, "discharged", bench, written="3.2 V", meter=MeterFactory(name="Bench meter 1"))
    assert (mark.outcome, mark.reading.meter, mark.reading.value) == ("done", "Bench meter 1", 3.2)
    signed(run, "other-sections", bench, outcome="not-here")
    with pytest.raises(NotAllowedYet, match="Not before"):
        signed(run, "discharged-again", bench, written="4 V")
    with freeze_time(timezone.now() + dt.timedelta(minutes=1)):
        signed(run, "discharged-again", bench, written="4 V")
    for line in run.version.lines.all()[4:]:
        signed(run, line.key, bench, outcome="done")
    assert standing(job, "before-power") is Standing.TO_SIGN
    runs.sign_off(run, passed=True, by=bench)
    assert standing(job, "before-power") is Standing.PASSED


@pytest.mark.parametrize("written", ["51 V", "-300", "0.4 kV"])
def test_a_discharge_above_the_limit_keeps_the_line_open(job, bench, written):
    run = runs.begin(job, slug="before-power", by=bench)
    signed(run, "unplugged", bench, outcome="done")
    assert signed(run, "discharged", bench, written=written).outcome == "failed"
    assert standing(job, "before-power") is Standing.STOPPED
    with pytest.raises(NotAllowedYet, match="still open"):
        runs.sign_off(run, passed=True, by=bench)
    assert signed(run, "discharged", bench, written="2 V").outcome == "done"
    assert standing(job, "before-power") is Standing.BEGUN


def test_the_minute_runs_from_the_last_reading_of_the_discharge(job, bench):
    run = runs.begin(job, slug="before-power", by=bench)
    signed(run, "unplugged", bench, outcome="done")
    signed(run, "discharged", bench, written="3 V")
    signed(run, "other-sections", bench, outcome="not-here")
    later = timezone.now() + dt.timedelta(minutes=1)
    with freeze_time(later):
        signed(run, "discharged-again", bench, written="4 V")
    with freeze_time(later + dt.timedelta(seconds=5)):
        signed(run, "discharged", bench, written="2 V")
        stand = safety.lists_on(job).get("before-power").stand
        assert (stand.next.key, stand.stopped_by) == ("discharged-again", None)
        with pytest.raises(NotAllowedYet, match="Not before"):
            signed(run, "discharged-again", bench, written="4 V")


def test_a_reading_names_its_meter(job, bench):
    run = runs.begin(job, slug="before-power", by=bench)
    signed(run, "unplugged", bench, outcome="done")
    with pytest.raises(runs.NoMeter, match="Choose the meter"):
        signed(run, "discharged", bench, written="2 V", meter=None)
    assert not Reading.objects.exists()


def test_nothing_is_read_under_power_before_its_list_is_signed(job, bench):
    reading = {"point": "Plate, V1", "written": "280", "unit": "V", "when": "before", "powered": True}
    with pytest.raises(NotAllowedYet, match="Before power"):
        readings.take(job, by=bench, **reading)
    passed(job, bench)
    assert readings.take(job, by=bench, **reading).powered


def test_the_lines_are_signed_from_the_top(job, bench):
    run = runs.begin(job, slug="before-power", by=bench)
    with pytest.raises(NotAllowedYet, match="comes first"):
        signed(run, "discharged", bench, written="2 V")


def test_who_signs_on_an_old_page_is_told(job, bench):
    run = runs.begin(job, slug="before-power", by=bench)
    signed(run, "unplugged", bench, outcome="done")
    with pytest.raises(ChangedMeanwhile):
        runs.sign(run, key="unplugged", outcome="failed", words="Plugged in", seen=0, by=bench)


def test_it_is_ready_with_its_lists_passed_and_not_before(job, bench):
    job = move(job, to=State.SOAK_TEST, by=bench, revision=job.revision)
    assert any("After-repair" in why for why in held_back(job, State.READY, bench))
    passed(job, bench)
    assert not held_back(job, State.READY, bench)
    assert move(job, to=State.READY, by=bench, revision=job.revision).state == State.READY


def test_what_was_passed_before_it_went_back_to_the_bench_counts_no_more(job, bench):
    job = move(job, to=State.SOAK_TEST, by=bench, revision=job.revision)
    passed(job, bench)
    job = move(job, to=State.ON_THE_BENCH, by=bench, revision=job.revision)
    job = move(job, to=State.SOAK_TEST, by=bench, revision=job.revision)
    assert held_back(job, State.READY, bench)
    assert SignOff.objects.count() == Mark.objects.values("run").distinct().count() == 3


def test_the_owner_waives_with_a_reason(job, bench, owner):
    with pytest.raises(NotAllowed):
        safety.waive(job, slug="soak", words="Its owner waits.", by=bench)
    with pytest.raises(NotAllowedYet, match="why"):
        safety.waive(job, slug="soak", words=" ", by=owner)
    safety.waive(job, slug="soak", words="Its owner waits.", by=owner)
    assert standing(job, "soak") is Standing.WAIVED
