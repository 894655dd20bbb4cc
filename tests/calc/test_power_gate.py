"""What was measured under power is kept on a job only after its list before power was passed.

The rule is 29 CFR 1910.333(a)(1)'s: live parts are de-energised, and proven so, before work unless there is no other
way. Which box of which worksheet is read live follows from what it measures: common practice, no source.
"""

from typing import Final

import pytest

from calc import safety, sheets
from calc.checklists import Stage
from calc.models import GearBuild, KeptSheet
from calc.worksheets import all_sheets, by_slug
from calc.worksheets.sheet import Box, Worksheet
from tests.calc.examples import example
from tests.factories import JobFactory, MeterFactory
from tests.safe import passed

pytestmark = pytest.mark.django_db

_LIVE_UNITS: Final = ("V", "A", "W", "VA", "Hz")

_OUTLET: Final = "read at the outlet, whether the gear is on or not"
_CHARGE: Final = "a charge that is still there with the plug out"
_SMALL: Final = "a generator's few volts into the transformer alone, the gear unplugged"
NOT_LIVE: Final = {
    ("voltage-chart", "mains"): _OUTLET,
    ("mains", "line"): _OUTLET,
    ("discharge", "volts"): _CHARGE,
    ("discharge", "now"): _CHARGE,
    ("discharge", "again"): _CHARGE,
    ("output-transformer", "primary"): _SMALL,
    ("output-transformer", "volts"): _SMALL,
    ("output-transformer", "good"): _SMALL,
    ("output-transformer", "half_one"): _SMALL,
    ("output-transformer", "half_two"): _SMALL,
    ("output-transformer", "screen_tap"): _SMALL,
    ("output-transformer", "current"): _SMALL,
    ("output-transformer", "good_primary"): _SMALL,
    ("output-transformer", "good_current"): _SMALL,
    ("droppers", "supply"): "a value to design for, from a schematic as often as from a meter",
}

LIVE: Final = {
    "idle-current": {},
    "voltage-chart": {},
    "gain-stage": {"plate": "180", "cathode": "1.5"},
    "power-and-level": {},
    "mains": {"heater_measured": "6.5"},
    "supply": {"measured": "450"},
    "spring-tank": {"drive": "at-the-tank", "tank_volts": "3"},
    "after-repair-test": {},
}


def measured(sheet: Worksheet) -> list[Box]:
    rows = [box for group in sheet.groups if group.rows for box in group.rows.boxes]
    return [box for box in (*(box for box, _ in sheet.boxes()), *rows) if box.measured]


@pytest.mark.parametrize("sheet", all_sheets(), ids=lambda sheet: sheet.slug)
def test_every_live_value_is_known_to_be_live_or_there_is_a_reason_why_not(sheet):
    live = {box.name for box in measured(sheet) if box.unit in _LIVE_UNITS}
    excepted = {name for slug, name in NOT_LIVE if slug == sheet.slug}
    assert live == (live & set(sheet.powered)) | excepted
    assert not excepted & set(sheet.powered)


def test_what_is_said_to_be_live_is_a_box_that_is_measured():
    for sheet in all_sheets():
        assert set(sheet.powered) <= {box.name for box in measured(sheet)}, sheet.slug


@pytest.mark.parametrize("slug", LIVE)
def test_a_worksheet_with_live_values_waits_for_the_list_and_loses_nothing(as_bench, bench, slug):
    job = JobFactory()
    typed = {**example(slug), **LIVE[slug], "when": "before", "note": "Typed long"}
    keep = f"/job/{job.claim}/worksheets/{slug}/keep/"
    answer = as_bench.send(keep, typed)
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "Before power" in html
    assert f'href="/job/{job.claim}/lists/"' in html
    assert "Typed long" in html
    for name, text in LIVE[slug].items():
        assert f'name="{name}" value="{text}"' in html
    assert not KeptSheet.objects.exists()
    passed(job, bench, Stage.BEFORE_POWER)
    assert as_bench.send(keep, typed).status_code == 302


@pytest.mark.parametrize("slug", ["discharge", "markings", "speaker-loads", "gain-stage", "supply", "mains"])
def test_a_worksheet_without_live_values_needs_no_list(as_bench, slug):
    job = JobFactory()
    answer = as_bench.send(f"/job/{job.claim}/worksheets/{slug}/keep/", {**example(slug), "when": "before"})
    assert answer.status_code == 302
    assert safety.why_no_power(job)


def test_an_empty_recording_is_nothing_that_was_measured(bench):
    sheet = by_slug("power-and-level")
    assert not sheets.measured_under_power(sheet, sheets.work_out(sheet, {"source": "reading"})[0])


# --- how the gear is built fills the safety test


def test_the_safety_test_opens_with_how_the_gear_is_built(as_bench, as_counter, bench):
    job = JobFactory()
    here = f"/job/{job.claim}/worksheets/after-repair-test/"
    html = as_bench.get(here).content.decode()
    assert "isn’t written down yet" in html
    assert f'href="/job/{job.claim}/build/"' in html
    assert "/build/" not in as_counter.get(here).content.decode()
    GearBuild.objects.create(gear=job.gear, protection="class-ii", by=bench)
    html = as_bench.get(here).content.decode()
    assert 'value="class-ii" checked' in html
    assert "isn’t written down yet" not in html


def test_how_it_is_built_counts_more_than_what_was_kept_on_another_one(as_bench, bench):
    earlier = passed(JobFactory(), bench)
    sheets.keep(
        earlier, sheet=by_slug("after-repair-test"), said=example("after-repair-test"), when="after", by=bench
    )
    GearBuild.objects.create(gear=earlier.gear, protection="two-wire", by=bench)
    again = JobFactory(gear=earlier.gear)
    html = as_bench.get(f"/job/{again.claim}/worksheets/after-repair-test/").content.decode()
    assert 'value="two-wire" checked' in html


# --- the meter of a worksheet


def test_a_worksheet_kept_with_a_meter_out_of_calibration_says_so(as_bench, bench):
    job = passed(JobFactory(), bench)
    old = MeterFactory(due_on="2020-01-01", calibrated_on=None)
    typed = {**example("after-repair-test"), "meter": str(old.pk), "when": "after"}
    page = f"/job/{job.claim}/worksheets/after-repair-test/"
    assert "calibration due" in as_bench.get(page, typed).content.decode()
    assert "calibration due" in as_bench.get(f"{page}keep/", typed).content.decode()
    as_bench.send(f"{page}keep/", typed)
    as_bench.send(f"{page}keep/", typed)
    kept, again = KeptSheet.objects.all()
    assert kept.meter_was_due
    for address in (
        f"/kept-worksheet/{kept.pk}/",
        f"/kept-worksheet/{kept.pk}/beside/{again.pk}/",
        f"/job/{job.claim}/worksheets/",
        f"/job/{job.claim}/worksheets/paper/?view=html",
    ):
        assert "out of calibration" in as_bench.get(address).content.decode()
