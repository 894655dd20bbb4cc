"""Gear comes in, on real tablets: a walk-in with its taps counted, and a customer alone with the pad."""

import re
import time

import pytest
from playwright.sync_api import Page, expect

from intake.models import Job, PadEntry, Person
from tests.browser.conftest import PIN
from tests.factories import GearFactory, PersonFactory, PhoneFactory

pytestmark = pytest.mark.browser

MOST_TAPS = 11  # "under 12 taps besides typing"
MOST_SECONDS = 60


class Finger:
    """Counts taps. Typing, and the keyboard's own Next key, are free."""

    def __init__(self, page: Page):
        self.page, self.taps = page, 0

    def tap(self, what: str) -> None:
        self.page.locator(what).tap()
        self.taps += 1

    def type_into(self, what: str, text: str) -> None:
        self.tap(what)
        self.page.keyboard.type(text)

    def next_box(self, text: str) -> None:
        self.page.keyboard.press("Tab")
        self.page.keyboard.type(text)

    def sign(self) -> None:
        """Draw a zigzag on the glass: one stroke, so one tap."""
        glass = self.page.locator("[data-signature=on] canvas")
        glass.scroll_into_view_if_needed()
        box = glass.bounding_box()
        mouse = self.page.mouse
        mouse.move(box["x"] + 40, box["y"] + 60)
        mouse.down()
        for n in range(1, 14):
            mouse.move(box["x"] + 40 + 25 * n, box["y"] + 60 + 50 * (n % 2))
        mouse.up()
        self.taps += 1


def test_a_walk_in_takes_under_twelve_taps_and_a_minute(sign_in, counter):
    """Counted here: drop-off, somebody new, kind, maker, complaint, power cord, signature, tag it."""
    page = sign_in(counter)
    finger, began = Finger(page), time.monotonic()
    finger.tap("nav a:has-text('Drop-off')")
    expect(page.locator("#who-box")).to_be_focused()
    page.keyboard.type("Dana Whitlow")
    finger.tap("button:has-text('Somebody new')")
    expect(page.locator("[name=who-name]")).to_have_value("Dana Whitlow")
    expect(page.locator("[name=who-phone_1]")).to_be_focused()
    page.keyboard.type("555 010 0233")
    finger.tap("label:has(input[value=head])")
    finger.type_into("[name=gear-0-maker]", "Corvane")
    finger.next_box("Meridian 50")
    finger.next_box("CM00017")
    finger.type_into("[name=gear-0-complaint]", "It hums and cuts out when warm.")
    finger.tap("label:has(input[value='Power cord'])")
    expect(page.locator("#dropoff-words")).to_contain_text(
        "Corvane Meridian 50 (amplifier head), serial CM00017."
    )
    finger.sign()
    finger.tap("button:has-text('Tag it')")
    expect(page.get_by_role("heading", name="Tagged in")).to_be_visible()
    assert finger.taps <= MOST_TAPS
    assert time.monotonic() - began < MOST_SECONDS
    job = Job.objects.get()
    assert (job.person.name, job.gear.serial) == ("Dana Whitlow", "CM00017")
    assert job.person.phones.get().number == "555 010 0233"
    assert job.visit.signature.svg.startswith("<svg")


def test_gear_that_was_here_before_takes_fewer(sign_in, counter):
    gear = GearFactory(owner=PersonFactory(name="Piet Harrow"), serial="CM00099")
    page = sign_in(counter)
    finger = Finger(page)
    finger.tap("nav a:has-text('Drop-off')")
    expect(page.locator("#who-box")).to_be_focused()
    page.keyboard.type("cm00099")
    finger.tap("[role=option]:has-text('Piet Harrow')")
    finger.type_into("[name=gear-0-complaint]", "Again.")
    finger.sign()
    finger.tap("button:has-text('Tag it')")
    expect(page.get_by_role("heading", name="Tagged in")).to_be_visible()
    assert finger.taps <= 6
    assert Job.objects.get().gear == gear


def test_another_piece_of_gear_and_a_mistake_lose_nothing_not_even_the_signature(sign_in, counter):
    page = sign_in(counter)
    page.goto("/drop-off/")
    finger = Finger(page)
    page.fill("[name=who-name]", "Dana Whitlow")
    page.fill("[name=gear-0-complaint]", "It hums.")
    finger.sign()
    page.get_by_role("button", name="Add another piece of gear").tap()
    expect(page.locator("[name=gear-1-complaint]")).to_be_visible()
    expect(page.locator("[name=gear-0-complaint]")).to_have_value("It hums.")
    expect(page.locator("[data-signature-said]")).to_have_text("Signed.")
    page.get_by_role("button", name="Tag it").tap()
    expect(page.locator("[data-wrong]")).to_contain_text("Gear 2, Complaint")
    expect(page.locator("[data-signature-said]")).to_have_text("Signed.")
    for n, kind in enumerate(("head", "cabinet")):
        page.locator(f"#piece-{n} label:has(input[value={kind}])").tap()
    page.fill("[name=gear-1-complaint]", "Rattles.")
    page.get_by_role("button", name="Tag it").tap()
    expect(page.get_by_role("heading", name="Tagged in")).to_be_visible()
    assert [job.complaint for job in Job.objects.order_by("pk")] == ["It hums.", "Rattles."]


def test_an_unfinished_drop_off_is_there_again_after_a_reload(sign_in, counter):
    page = sign_in(counter)
    page.goto("/drop-off/")
    page.locator("[name=gear-0-complaint]").press_sequentially("It hums.")
    page.reload()
    expect(page.locator("[name=gear-0-complaint]")).to_have_value("It hums.")


def test_a_customer_signs_in_alone_and_staff_tag_it(sign_in, counter):
    known = PersonFactory(name="Dana Whitlow")
    PhoneFactory(person=known, number="(555) 010-0233")
    page = sign_in(counter)
    finger = Finger(page)
    page.goto("/drop-off/")
    page.get_by_role("button", name="Open the sign-in pad").tap()
    page.get_by_role("link", name="Start").tap()

    def go_on(words: str = "Go on") -> None:
        page.get_by_role("button", name=words).tap()

    page.fill("[name=name]", "Dana Whitlow")
    go_on()
    page.fill("[name=phone_1]", "555 010 0233")
    go_on()
    go_on()
    page.locator("label:has(input[value=combo])").tap()
    page.fill("[name=maker]", "Corvane")
    go_on()
    page.fill("[name=complaint]", "It howls.")
    go_on()
    page.locator("label:has(input[value=Footswitch])").tap()
    go_on()
    go_on()
    page.locator("label:has(input[value=no])").tap()
    go_on()
    go_on()
    page.locator("label:has(input[value=ask])").tap()
    go_on()
    expect(page.locator(".caution")).to_contain_text("Collect within 30 days")
    go_on("I have read this")
    expect(page.locator("main")).to_contain_text("Ask me before any work.")
    finger.sign()
    go_on("Sign and hand in")
    expect(page.get_by_role("heading", name=re.compile("Thank you"))).to_be_visible()
    page.go_back()
    expect(page.locator("body")).not_to_contain_text("Dana")

    page.goto("/pad/leave/")
    page.fill("[name=pin]", PIN)
    page.get_by_role("button", name="Take the tablet back").tap()
    page.get_by_role("link", name=re.compile("Dana Whitlow")).tap()
    page.locator("button.choice:has-text('same phone and name')").tap()
    expect(page.get_by_role("button", name="Somebody else")).to_be_visible()
    page.get_by_role("button", name="Tag it").tap()
    expect(page.get_by_role("heading", name="Tagged in")).to_be_visible()
    assert Person.objects.get() == known
    assert PadEntry.objects.get().visit.jobs.get().complaint == "It howls."


def test_the_pad_asks_and_then_forgets_after_ninety_seconds(sign_in, counter):
    page = sign_in(counter)
    page.goto("/drop-off/")
    page.get_by_role("button", name="Open the sign-in pad").tap()
    page.wait_for_url("**/pad/")
    page.clock.install()
    page.goto("/pad/you/")
    page.fill("[name=name]", "Dana Whitlow")
    page.get_by_role("button", name="Go on").tap()
    page.wait_for_url("**/pad/phones/")
    page.clock.run_for(80_000)
    expect(page.get_by_text("Still there?")).to_be_visible()
    page.clock.run_for(12_000)
    page.wait_for_url("**/pad/")
    page.goto("/pad/you/")
    expect(page.locator("[name=name]")).to_have_value("")


def test_the_drop_off_works_without_scripts_when_the_name_is_typed(sign_in, counter):
    page = sign_in(counter, java_script_enabled=False)
    page.goto("/drop-off/?q=dana")
    page.get_by_role("option", name=re.compile("Somebody new")).tap()
    page.fill("[name=gear-0-complaint]", "It hums.")
    page.get_by_role("button", name="Add another piece of gear").tap()
    page.fill("[name=gear-1-complaint]", "Rattles.")
    for n in (0, 1):
        page.locator(f"#piece-{n} label:has(input[value=head])").tap()
    page.locator("summary:has-text('sign on glass')").tap()
    page.fill("[name=sign-typed_name]", "Dana Whitlow")
    page.get_by_role("button", name="Tag it").tap()
    expect(page.get_by_role("heading", name="Tagged in")).to_be_visible()
    assert Job.objects.count() == 2
