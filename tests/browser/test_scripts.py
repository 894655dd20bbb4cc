"""The small scripts, on the pattern page: what they add, and that the page stands without them."""

import json

import pytest
from playwright.sync_api import expect

from tests.factories import GearFactory, PersonFactory

pytestmark = pytest.mark.browser

CLAIM = "2611-0042-K"


@pytest.fixture
def page(sign_in, bench):
    page = sign_in(bench)
    page.goto("/pattern/")
    page.locator("[data-signature=on]").wait_for()
    return page


def draw(page):
    box = page.locator(".signature-paper canvas").bounding_box()
    page.locator(".signature-paper").scroll_into_view_if_needed()
    box = page.locator(".signature-paper canvas").bounding_box()
    page.mouse.move(box["x"] + 30, box["y"] + 30)
    page.mouse.down()
    for step in range(20):
        page.mouse.move(box["x"] + 30 + step * 6, box["y"] + 40 + step % 5 * 8)
    page.mouse.up()


def scan(page):
    """Type as a hand scanner does, without a pause; say whether the Enter at its end was let through.

    Not by Playwright's keyboard: on a busy machine that is slower than a scanner.
    """
    return page.evaluate(
        """text => [...text, "Enter"].map(key => document.activeElement.dispatchEvent(
            new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true }))).at(-1)""",
        CLAIM,
    )


def test_a_scanner_is_understood_where_no_box_has_the_focus(page):
    scan(page)
    page.wait_for_url(f"**/*{CLAIM}*")


def test_a_scanner_never_presses_the_button_that_has_the_focus(page):
    page.focus('[data-key="7"]')
    assert scan(page) is False


def test_a_scanner_types_into_the_box_that_has_the_focus(page):
    page.focus("#id_complaint")
    assert scan(page) is True
    page.wait_for_timeout(200)
    assert page.url.endswith("/pattern/")


def test_somebody_typing_slowly_is_not_a_scanner(page):
    page.keyboard.type("2611004", delay=150)
    page.keyboard.press("Enter")
    page.wait_for_timeout(200)
    assert page.url.endswith("/pattern/")


def test_what_was_typed_before_the_scripts_came_is_looked_for(sign_in, counter):
    GearFactory(owner=PersonFactory(name="Piet Harrow"), serial="CM00099")
    page, held = sign_in(counter), []
    page.route("**/htmx*.js", lambda route: held.append(route))
    page.goto("/drop-off/", wait_until="commit")
    expect(page.locator("#who-box")).to_be_focused()
    page.keyboard.type("cm00099")
    held[0].continue_()
    expect(page.get_by_role("option", name="Piet Harrow")).to_be_visible()


def test_the_keys_of_the_keypad_type_into_the_box(page):
    for key in ("4", "7", "1", "back", "2"):
        page.tap(f'[data-key="{key}"]')
    assert page.input_value("[data-keypad] input") == "472"


def test_a_signature_is_kept_as_a_drawing_and_as_strokes(page):
    draw(page)
    expect(page.locator("[data-signature-said]")).to_have_text("Signed.")
    assert page.input_value("[data-signature-svg]").startswith("<svg")
    strokes = json.loads(page.input_value("[data-signature-strokes]"))
    assert len(strokes["strokes"]) == 1
    assert strokes["width"] > 100


def test_a_signature_survives_the_turning_of_the_tablet(page):
    draw(page)
    before = json.loads(page.input_value("[data-signature-strokes]"))
    page.set_viewport_size({"width": 500, "height": 900})
    page.wait_for_function(
        "w => JSON.parse(document.querySelector('[data-signature-strokes]').value).width !== w",
        arg=before["width"],
    )
    after = json.loads(page.input_value("[data-signature-strokes]"))
    scale = after["width"] / before["width"]
    first = [sheet["strokes"][0]["points"][0] for sheet in (before, after)]
    assert first[1]["x"] == pytest.approx(first[0]["x"] * scale, rel=0.01)


def test_signing_again_wipes_the_glass(page):
    draw(page)
    page.tap("[data-signature-clear]")
    assert page.input_value("[data-signature-svg]") == ""
    assert page.input_value("[data-signature-strokes]") == ""


def test_what_was_typed_is_back_after_a_reload(page):
    page.fill("#id_complaint", "Hums like a fridge")
    page.reload()
    assert page.input_value("#id_complaint") == "Hums like a fridge"
    expect(page.get_by_text("What you typed before is back.")).to_be_visible()


def test_what_was_typed_can_be_thrown_away(page):
    page.fill("#id_complaint", "Hums like a fridge")
    page.reload()
    page.get_by_role("button", name="Throw it away").tap()
    page.reload()
    assert page.input_value("#id_complaint") == ""


def test_what_has_been_sent_is_not_brought_back(page):
    form = page.locator("#form form")
    page.fill("#id_complaint", "Hums like a fridge")
    form.evaluate("form => { form.noValidate = true; form.requestSubmit(); }")
    page.wait_for_url("**/pattern/?*")
    page.wait_for_load_state()
    assert page.input_value("#id_complaint") == ""


def test_leaving_drops_what_was_typed(page):
    page.fill("#id_complaint", "Hums like a fridge")
    page.locator(".who summary").tap()
    page.get_by_role("button", name="Leave").tap()
    page.wait_for_url(lambda url: "/pattern/" not in url)
    assert page.evaluate("Object.keys(sessionStorage).filter(key => key.startsWith('draft')).length") == 0


def test_htmx_keeps_no_page_and_runs_no_code(page):
    kept = page.evaluate(
        "() => [htmx.config.historyCacheSize, htmx.config.allowEval, htmx.config.selfRequestsOnly]"
    )
    assert kept == [0, False, True]


def test_the_page_stands_without_scripts(sign_in, bench):
    page = sign_in(bench, java_script_enabled=False)
    page.goto("/pattern/")
    expect(page.locator("[data-keypad] input")).to_be_visible()
    expect(page.get_by_role("button", name="Send the photo")).to_be_visible()
    expect(page.get_by_text("Type your name instead.")).to_be_visible()


@pytest.mark.parametrize("width", [390, 820, 1280])
def test_no_page_is_wider_than_its_tablet(sign_in, bench, width):
    page = sign_in(bench, size={"width": width, "height": 900})
    page.goto("/pattern/")
    assert page.evaluate("document.documentElement.scrollWidth") == width


def test_every_button_is_big_enough_for_a_thumb(page):
    # WCAG 2.2, 2.5.5 (AAA) asks for 44 CSS pixels; ours are 48.
    small = page.evaluate(
        """() => [...document.querySelectorAll("main button, .nav a, .bar a, .bar summary, input")]
        .filter(each => each.offsetParent && !each.matches("[type=radio], [type=checkbox]"))
        .filter(each => Math.min(each.offsetHeight, each.offsetWidth) < 48)
        .map(each => each.outerHTML.slice(0, 90))"""
    )
    assert small == []
