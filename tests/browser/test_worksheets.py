"""A worksheet on a real tablet: answered while somebody types, kept on the job before and after, side by side."""

import re

import pytest
from playwright.sync_api import Page, expect

from calc.models import KeptSheet
from intake.models import State
from tests.factories import JobFactory
from tests.safe import passed

pytestmark = pytest.mark.browser

IDLE = {"type": "6L6GC", "plate": "450", "tube-1-sense": "52", "tube-2-sense": "50"}


@pytest.fixture
def job(shop):
    return JobFactory(state=State.ON_THE_BENCH)


@pytest.fixture
def page(sign_in, bench, job) -> Page:
    page = sign_in(bench, theme="bench")
    page.goto(f"/job/{job.claim}/worksheets/idle-current/")
    return page


def fill(page: Page, boxes: dict[str, str]) -> None:
    for name, text in boxes.items():
        box = page.locator(f"#box-{name}")
        if box.evaluate("box => box.tagName") == "SELECT":
            box.select_option(text)
        else:
            box.fill(text)


def keep(page: Page, when: str) -> None:
    page.get_by_role("button", name="Keep it on the job").tap()
    page.locator(f"label:has(input[value={when}])").tap()
    page.get_by_role("button", name="Keep it on the job").tap()
    expect(page.get_by_text("Kept on the job.")).to_be_visible()


def test_it_answers_while_somebody_types(page):
    fill(page, IDLE)
    expect(page.locator("#glance")).to_contain_text("% of the 30.0 W")
    expect(page.locator("#answer .verdict").first).to_be_visible()


def test_what_can_not_be_read_is_said_beside_its_box_and_goes_when_it_is_mended(page):
    fill(page, IDLE | {"plate": "4k7R2"})
    expect(page.locator("#wrong-plate")).to_contain_text("4k7R2")
    expect(page.locator("#glance")).to_contain_text("Plate")
    fill(page, {"plate": "450"})
    expect(page.locator("#wrong-plate")).to_be_hidden()


def test_boxes_come_and_go_with_what_they_hang_on_and_nothing_typed_is_lost(page):
    fill(page, IDLE)
    page.locator("label:has(input[name=method][value=cathode])").tap()
    expect(page.locator("#box-cathode_ohms")).to_be_visible()
    page.locator("label:has(input[name=method][value=resistor])").tap()
    expect(page.locator("#box-plate")).to_have_value("450")
    page.get_by_role("button", name="Add: Tube 3").tap()
    expect(page.locator("#box-tube-3-sense")).to_be_visible()


def test_what_was_typed_outlives_a_reload_and_a_lost_connection(page):
    fill(page, IDLE)
    expect(page).to_have_url(re.compile("tube-2-sense=50"))
    page.reload()
    expect(page.locator("#glance")).to_contain_text("% of the 30.0 W")
    page.context.set_offline(True)
    fill(page, {"tube-2-sense": "61"})
    expect(page.locator("#toast")).to_be_visible()
    page.context.set_offline(False)
    page.reload()
    expect(page.locator("#box-tube-2-sense")).to_have_value("61")
    expect(page.locator("#glance")).to_contain_text("Tube 2 is the hottest")


def test_the_number_pad_comes_up_and_the_letters_of_values_stand_above_it(page):
    box = page.locator("#box-plate")
    expect(box).to_have_attribute("inputmode", "decimal")
    box.tap()
    page.keyboard.type("450")
    page.locator(".value-keys").get_by_role("button", name="±").tap()
    page.keyboard.type("2")
    expect(box).to_have_value("450±2")
    expect(box).to_be_focused()


def test_it_is_kept_before_and_after_the_repair_and_compared(page, bench, job):
    passed(job, bench)
    fill(page, IDLE)
    expect(page.locator("#glance")).to_contain_text("30.0 W")
    keep(page, "before")
    page.goto(f"/job/{job.claim}/worksheets/idle-current/")
    expect(page.locator("#box-plate")).to_have_value("450")
    fill(page, {"tube-1-sense": "40", "tube-2-sense": "39"})
    expect(page).to_have_url(re.compile("tube-2-sense=39"))
    keep(page, "after")
    page.get_by_role("link", name=re.compile("Beside before")).tap()
    expect(page.get_by_role("heading", name="Idle current, side by side")).to_be_visible()
    expect(page.get_by_role("row", name=re.compile("Tube 2, Across its cathode resistor"))).to_contain_text(
        "39"
    )
    assert [kept.when for kept in KeptSheet.objects.all()] == ["before", "after"]


def test_a_picture_is_drawn_and_has_its_words(sign_in, bench):
    page = sign_in(bench)
    page.goto("/worksheets/gain-stage/")
    fill(page, {"supply": "300", "plate_resistor": "100k", "cathode_resistor": "1k5"})
    picture = page.locator("#answer svg.chart").first
    expect(picture).to_be_visible()
    assert len(picture.get_attribute("aria-label")) > 20
