"""A tablet whose sign-in ran out while somebody was typing: what they typed is still there once they are back."""

import base64

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import expect

from intake.models import Note
from tests.browser.conftest import PASSWORD
from tests.factories import JobFactory, PersonFactory

pytestmark = pytest.mark.browser

# One white pixel.
PNG = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mP8/5+hHgAHggJ/PchI7wAAAABJRU5ErkJggg=="
)


def sign_out() -> None:
    """As after two weeks, or after the owner gave this person a new password."""
    Session.objects.all().delete()


def come_back(page, staff) -> None:
    page.wait_for_url("**/enter/?next=*")
    page.get_by_label("Sign-in word").fill(staff.sign_in)
    page.get_by_label("Password").fill(PASSWORD)
    page.locator("main").get_by_role("button", name="Come in").tap()


def test_a_note_outlives_the_sign_in(sign_in, bench):
    job = JobFactory()
    page = sign_in(bench)
    page.goto(f"/job/{job.claim}/")
    page.get_by_label("New note").fill("Caller says it hums only at night")
    sign_out()
    page.get_by_role("button", name="Keep the note").tap()
    come_back(page, bench)
    page.wait_for_url(f"**/job/{job.claim}/")
    expect(page.get_by_label("New note")).to_have_value("Caller says it hums only at night")
    page.get_by_role("button", name="Keep the note").tap()
    expect(page.locator("#notes li")).to_have_count(1)
    page.reload()
    expect(page.get_by_label("New note")).to_have_value("")
    assert Note.objects.get().text == "Caller says it hums only at night"


def test_a_plain_form_outlives_the_sign_in(sign_in, counter):
    person = PersonFactory(name="Dana Whitlow")
    page = sign_in(counter)
    page.goto(f"/people/{person.pk}/edit/")
    page.get_by_label("Name", exact=True).fill("Dana Whitlow-Reyes")
    sign_out()
    page.locator("#person-form .act button.main").tap()
    come_back(page, counter)
    page.wait_for_url(f"**/people/{person.pk}/edit/")
    expect(page.get_by_label("Name", exact=True)).to_have_value("Dana Whitlow-Reyes")


def test_what_was_kept_by_a_form_that_leads_on_is_no_draft_any_more(sign_in, counter):
    """Brought back on the next estimate, it would be sent a second time."""
    job = JobFactory()
    page = sign_in(counter)
    page.goto(f"/job/{job.claim}/estimate/")
    page.get_by_label("What for").first.fill("Recap the supply")
    page.get_by_label("Price each").first.fill("80")
    page.locator("#estimate-form .act button.main").tap()
    page.wait_for_url(f"**/job/{job.claim}/estimate/1/")
    assert page.evaluate("Object.keys(sessionStorage).filter(key => key.startsWith('draft'))") == []


def test_a_photo_from_a_tablet_that_is_signed_out_waits_until_somebody_is_back(sign_in, bench):
    job = JobFactory()
    page = sign_in(bench)
    page.goto(f"/job/{job.claim}/")
    sign_out()
    page.set_input_files(
        "#photos input[type=file]", {"name": "a.png", "mimeType": "image/png", "buffer": PNG}
    )
    expect(page.locator(".camera-list li")).to_contain_text("You are signed out, so it is not kept yet.")
    assert not job.photos.exists()
    with page.context.expect_page() as another:
        page.get_by_role("link", name="Sign in on another tab").tap()
    come_back(another.value, bench)
    another.value.wait_for_url(f"**/job/{job.claim}/")
    page.get_by_role("button", name="Send again").tap()
    expect(page.locator("#photos .photos img")).to_have_count(1)
    assert job.photos.count() == 1
