"""The shop's own limits: its owner writes them down, the bench can't."""

import pytest

from calc import sheets
from calc.engine.repair_test import EN_50678
from calc.models import KeptSheet, ShopsOwn
from calc.worksheets import all_sheets, by_slug
from calc.worksheets.sheet import Verdict, answer
from shop import timeline
from tests.factories import JobFactory
from tests.safe import passed

pytestmark = pytest.mark.django_db

TEST = {
    "protection": "class-i",
    "looked": "fine",
    "earth": "0.25",
    "cord": "2",
    "area": "1.5",
    "insulation_by": "500",
    "insulation": "20",
    "protective_current": "0.4",
    "works": "fine",
}


@pytest.fixture
def sheet():
    return by_slug("after-repair-test")


@pytest.fixture
def begun(sheet):
    return {box.name: box.initial for box in sheet.ours}


def test_every_box_that_is_the_shop_s_own_begins_with_something_that_can_be_read():
    assert [sheet.slug for sheet in all_sheets() if sheet.ours] == ["after-repair-test"]
    for sheet in all_sheets():
        for box in sheet.ours:
            assert box.read(box.initial)


def test_what_the_owner_left_alone_is_judged_by_the_standard(sheet):
    _, said = answer(sheet, TEST)
    assert said.verdict is Verdict.GOOD
    assert any(EN_50678.source in note for note in said.notes)


def test_a_stricter_limit_of_the_shop_is_judged_by(as_owner, sheet, begun):
    answered = as_owner.send("/worksheets/after-repair-test/ours/", {**begun, "limit_earth": "0.2"})
    assert answered.status_code == 302
    _, said = answer(sheet, {**TEST, **sheets.of_the_shop(sheet)})
    assert said.verdict is Verdict.BAD
    assert "200 mΩ" in said.said or "0.2" in said.said
    assert any("the shop’s own" in note for note in said.notes)
    assert "limits" in timeline.of("shop")[0].words


def test_the_bench_can_not_type_a_limit_of_its_own(as_bench, bench):
    job = passed(JobFactory(state="on-the-bench"), bench)
    typed = {**TEST, "earth": "0.9", "limit_earth": "5", "limit_earth_most": "5", "filled": "1"}
    page = as_bench.get("/worksheets/after-repair-test/", typed).content.decode()
    assert "FAIL" in page
    as_bench.send(f"/job/{job.claim}/worksheets/after-repair-test/keep/", {**typed, "when": "after"})
    kept = KeptSheet.objects.get()
    assert (kept.verdict, kept.said["limit_earth"]) == ("bad", "0.3")


def test_only_the_owner_sees_the_way_to_the_limits(as_owner, as_bench):
    link = "/worksheets/after-repair-test/ours/"
    assert link in as_owner.get("/worksheets/after-repair-test/").content.decode()
    assert link not in as_bench.get("/worksheets/after-repair-test/").content.decode()
    assert as_bench.get(link).status_code == 403


@pytest.mark.parametrize("text", ["", "lots", "0", "-1", "4k7R2", "9" * 200])
def test_a_limit_that_can_not_be_read_is_said_beside_its_box_and_nothing_is_kept(as_owner, begun, text):
    answered = as_owner.send(
        "/worksheets/after-repair-test/ours/", {**begun, "limit_earth": text, "limit_touch_current": "0.25"}
    )
    assert answered.status_code == 422
    assert 'id="wrong-limit_earth"' in answered.content.decode()
    assert "0.25" in answered.content.decode()
    assert not ShopsOwn.objects.exists()


def test_a_worksheet_that_was_kept_stays_as_it_was_judged(as_bench, as_owner, bench, begun):
    job = passed(JobFactory(state="on-the-bench"), bench)
    as_bench.send(f"/job/{job.claim}/worksheets/after-repair-test/keep/", {**TEST, "when": "after"})
    as_owner.send("/worksheets/after-repair-test/ours/", {**begun, "limit_earth": "0.2"})
    kept = KeptSheet.objects.get()
    assert kept.verdict == "good"
    page = as_bench.get(f"/kept-worksheet/{kept.pk}/").content.decode()
    assert "The shop’s own limits" in page
    assert "0.3 Ω" in page


def test_a_worksheet_without_such_boxes_has_no_such_page(as_owner):
    assert as_owner.get("/worksheets/markings/ours/").status_code == 404
