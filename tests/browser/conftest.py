"""A browser for the stories: Chromium on tablets with touch, against a shop that runs in this process."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.conf import settings
from django.contrib.sessions.backends.db import SessionStore
from django.http import HttpRequest
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, expect, sync_playwright

from shop.doors import come_in_as
from shop.models import Shop, Staff
from tests.factories import ShopFactory, StaffFactory, TaxRateFactory, TermsFactory
from tests.tools import CHROMIUM_ARGUMENTS, chromium

TABLET = {"width": 820, "height": 1180}
PASSWORD = "lantern-quay-2026"
PIN = "4711"


@pytest.fixture(scope="package")
def chrome() -> Iterator[Browser]:
    """One browser for all the stories, gone when they are over.

    Playwright's sync API runs an event loop in this thread while it lives. The tests' own queries aren't
    asynchronous, which Django must be told; and other packages' tests must not find that loop.
    """
    path = chromium()
    with pytest.MonkeyPatch.context() as patch, sync_playwright() as playwright:
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
        browser = playwright.chromium.launch(executable_path=path, args=CHROMIUM_ARGUMENTS)
        expect.set_options(timeout=10_000)
        yield browser
        browser.close()


@pytest.fixture
def shop(transactional_db: None) -> Shop:
    shop = ShopFactory()
    TermsFactory()
    TaxRateFactory()
    return shop


def with_keys(staff: Staff) -> Staff:
    staff.set_password(PASSWORD)
    staff.set_pin(PIN)
    staff.save()
    return staff


@pytest.fixture
def owner(shop: Shop) -> Staff:
    return with_keys(StaffFactory(name="Wren Adeyemi", sign_in="wren", role="owner"))


@pytest.fixture
def bench(shop: Shop) -> Staff:
    return with_keys(StaffFactory(name="Tomas Lindqvist", sign_in="tomas", role="bench"))


@pytest.fixture
def counter(shop: Shop) -> Staff:
    return with_keys(StaffFactory(name="Ida Marsh", sign_in="ida", role="counter"))


@pytest.fixture
def new_tablet(chrome: Browser, live_server: Any) -> Iterator[Callable[..., Page]]:
    """`new_tablet(theme="bench")`: a page in a context of its own. No page may complain until the end."""
    contexts: list[BrowserContext] = []
    complaints: list[str] = []

    def listen(message: ConsoleMessage) -> None:
        # A refusal (4xx) or a lost connection is said by the page; what the browser and htmx write of it beside that is
        # no fault of ours.
        expected = ("Failed to load resource", "htmx:sendError", "htmx:afterRequest")
        if message.type == "error" and not message.text.startswith(expected):
            complaints.append(message.text)

    def make(*, theme: str = "counter", size: dict[str, int] = TABLET, **options: Any) -> Page:
        context = chrome.new_context(
            viewport=size,
            has_touch=True,
            color_scheme="dark" if theme == "bench" else "light",
            base_url=live_server.url,
            reduced_motion="reduce",
            **options,
        )
        context.set_default_timeout(10_000)
        contexts.append(context)
        page = context.new_page()
        page.on("console", listen)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        return page

    yield make
    for context in contexts:
        context.close()
    assert complaints == []


@pytest.fixture
def sign_in(new_tablet: Callable[..., Page], live_server: Any) -> Callable[..., Page]:
    """`sign_in(bench)`: a tablet on which that person entered with the password a moment ago."""

    def enter(staff: Staff, **options: Any) -> Page:
        page = new_tablet(**options)
        page.context.add_cookies([session_cookie(staff, live_server.url)])
        page.goto("/")
        return page

    return enter


def session_cookie(staff: Staff, url: str) -> dict[str, str]:
    """The cookie of a session that the password's door opened, without the time it takes to type."""
    request = HttpRequest()
    request.session = SessionStore()
    come_in_as(request, staff)
    request.session.save()
    return {"name": settings.SESSION_COOKIE_NAME, "value": request.session.session_key, "url": url}


def type_the_password(page: Page, staff: Staff) -> None:
    """Come in by the front door."""
    page.goto("/enter/")
    page.get_by_label("Sign-in word").fill(staff.sign_in)
    page.get_by_label("Password").fill(PASSWORD)
    page.locator("main").get_by_role("button").first.tap()
    page.wait_for_url("**/")
