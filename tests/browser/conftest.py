"""A browser for the stories: Chromium on tablets with touch, against a shop that runs in this process."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, expect, sync_playwright

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
    """`new_tablet(theme="bench")`: a page in a context of its own. At the end, no page may have complained."""
    contexts: list[BrowserContext] = []
    complaints: list[str] = []

    def listen(message: ConsoleMessage) -> None:
        # A refusal (4xx) is said by the page; the browser's own line about it is no fault of ours.
        if message.type == "error" and "Failed to load resource" not in message.text:
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
def sign_in(new_tablet: Callable[..., Page]) -> Callable[..., Page]:
    """`sign_in(bench)`: a tablet on which that person entered with the password."""

    def enter(staff: Staff, **options: Any) -> Page:
        page = new_tablet(**options)
        page.goto("/enter/")
        page.fill("[name=sign_in]", staff.sign_in)
        page.fill("[name=password]", PASSWORD)
        page.click("main button[type=submit]")
        page.wait_for_url("**/")
        return page

    return enter
