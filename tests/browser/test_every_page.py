"""Every page, as it stands on a tablet and on a phone, in both themes.

axe-core finds no violation of WCAG 2.2 A and AA, nor of its own best practices; the page is no wider than
the screen; every control is high enough for a greasy finger; there is one `h1`, and a title of the page's own;
the browser has nothing to complain about, our Content-Security-Policy included.
"""

from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.template.loader import render_to_string
from django.test import Client
from django.urls import resolve, reverse
from playwright.sync_api import Browser, Page, Route

from intake.reports.catalogue import REPORTS
from shop.models import Staff
from shop.once import FIELD, new_key
from tests import full_shop, full_stock, tools
from tests.browser.conftest import TABLET, session_cookie
from tests.factories import StaffFactory
from tests.full_shop import FullShop

pytestmark = pytest.mark.browser

PHONE = {"width": 390, "height": 844}
THUMB = 48  # CSS pixels. WCAG 2.2, 2.5.5 (AAA) asks for 44
RULES = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
BY_TURNS = (("light", "dark"), ("dark",), ("light",))  # what axe looks at of the first pages of a kind
COLOURS = {"type": "rule", "values": ["color-contrast"]}  # all that a theme changes

OPEN_ALL = """() => document.querySelectorAll("main details").forEach((each) => { each.open = true; })"""
LOOK = """async (rules) => {
  const asked = { runOnly: rules, resultTypes: ["violations"], preload: false };
  if (rules.type === "tag") {
    asked.rules = { "target-size": { enabled: false } };  // 24 px: ours are 48
  }
  const found = await axe.run(document, asked);
  const where = (each) => each.nodes.slice(0, 3).map((node) => node.html.slice(0, 160)).join(" | ");
  return found.violations.map((each) => `axe ${each.id}: ${where(each)}`);
}"""
# What a finger is meant to hit. A link within a sentence is text; the dot of a choice card is hit by its card.
SMALL = """(thumb) => {
  const control = "button, summary, select, textarea, input:not([type=hidden]), a.button, nav a, [role=option]";
  const seen = (each) => each.checkVisibility({ visibilityProperty: true, opacityProperty: true })
    && each.ariaHidden !== "true";
  const hit = (each) => each.matches("[type=radio], [type=checkbox]") ? each.closest("label") ?? each : each;
  const height = (each) => each.getBoundingClientRect().height;
  return [...document.querySelectorAll(control)].filter(seen).map(hit)
    .filter((each) => height(each) < thumb - 0.5)
    .map((each) => `${Math.round(height(each))} px high: ${each.outerHTML.slice(0, 120)}`);
}"""


SETTLED = """() => new Promise((done) => requestAnimationFrame(done))"""
# Addresses that show the page of a job, or of something else, with one section of it in front.
SHOWN_AS = {
    "job-timeline": "job",
    "job-photos": "job",
    "job-charges": "job",
    "part-move": "part",
    "worksheet-answer": "worksheet",
    "job-worksheet-answer": "job-worksheet",
}


class Crawl:
    """Goes from page to page and collects what is wrong with them."""

    def __init__(self, page: Page):
        self.page = page
        self.axe = tools.axe_source()
        self.wrong: list[str] = []
        self.titles: dict[str, str] = {}
        self.at = ""
        self.axe_at_work = False  # its own styles are what our policy forbids
        page.on("console", lambda said: said.type in ("error", "warning") and self._browser_says(said.text))
        page.on("pageerror", lambda error: self._browser_says(str(error)))

    def _browser_says(self, text: str) -> None:
        if not self.axe_at_work and "Failed to load resource" not in text:  # its own line about our refusals
            self.wrong.append(f"{self.at}: the browser says {text}")

    def look_at(self, address: str, *, html: str = "", themes: tuple[str, ...] = ("light", "dark")) -> None:
        """Open a page, or show `html` as if it were there, and look at it in the themes and both sizes."""
        self.at, self.axe_at_work = address, False
        page, wrong = self.page, self.wrong
        page.set_viewport_size(TABLET)
        if html:
            page.route("**/*", lambda route: _answer(route, html), times=1)
        answer = page.goto(address)
        if not html and answer.status not in (200, 422):
            wrong.append(f"{address}: answered {answer.status}")
            return
        if page.locator("h1").count() != 1:
            wrong.append(f"{address}: {page.locator('h1').count()} h1")
        title = page.title()
        if not title.split("·")[0].strip():
            wrong.append(f"{address}: no title")
        if not html:
            kind = resolve(urlsplit(address).path).url_name
            kind = SHOWN_AS.get(kind, kind)
            if self.titles.setdefault(title, kind) != kind:
                wrong.append(f"{address}: called “{title}” as {self.titles[title]} is")
        page.evaluate(OPEN_ALL)
        if themes:
            page.evaluate(self.axe)
            self.axe_at_work = True
        else:
            self.measure(f"{address} [tablet]")
        for theme, rules in zip(themes, (RULES, COLOURS), strict=False):
            page.emulate_media(color_scheme=theme)
            self.measure(f"{address} [{theme}, tablet]", rules)
        page.set_viewport_size(PHONE)
        self.measure(f"{address} [phone]")

    def measure(self, where: str, rules: dict[str, Any] | None = None) -> None:
        """Measure the page as it stands; with `rules`, let axe-core look at it too."""
        page = self.page
        page.evaluate(SETTLED)
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        if wide > 0:
            self.wrong.append(f"{where}: {wide} px too wide")
        self.wrong += [f"{where}: {each}" for each in page.evaluate(SMALL, THUMB)]
        if rules:
            # As high as the page is long, so that nothing lies under the bar that is fixed at the bottom.
            high = page.evaluate("Math.max(document.documentElement.scrollHeight + 100, innerHeight)")
            page.set_viewport_size({"width": page.viewport_size["width"], "height": high})
            self.wrong += [f"{where}: {each}" for each in page.evaluate(LOOK, rules)]

    def found(self) -> str:
        return "\n".join(dict.fromkeys(self.wrong))


def _answer(route: Route, html: str) -> None:
    route.fulfill(body=html, content_type="text/html; charset=utf-8")


@pytest.fixture
def crawl_as(chrome: Browser, live_server: Any) -> Any:
    """`crawl_as(owner)`: a crawl on a tablet of that person; of nobody without one."""
    contexts = []

    def begin(staff: Staff | None = None, session: str = "") -> Crawl:
        context = chrome.new_context(
            viewport=TABLET, has_touch=True, base_url=live_server.url, reduced_motion="reduce"
        )
        contexts.append(context)
        if staff:
            context.add_cookies([session_cookie(staff, live_server.url)])
        if session:
            context.add_cookies([{"name": "sessionid", "value": session, "url": live_server.url}])
        return Crawl(context.new_page())

    yield begin
    for context in contexts:
        context.close()


@pytest.fixture
def full(owner: Staff, bench: Staff, counter: Staff) -> FullShop:
    return full_shop.build(owner, bench, counter)


def refusals(tablet: Client, refused: list[tuple[str, dict[str, Any]]]) -> list[tuple[str, str]]:
    """The pages that refused forms come back on."""
    answers = [(address, tablet.post(address, {FIELD: new_key(), **data})) for address, data in refused]
    return [(address, answer.content.decode()) for address, answer in answers]


def fail_on(crawl: Crawl) -> None:
    if found := crawl.found():
        pytest.fail(found, pytrace=False)


def test_every_page_of_a_full_shop(full: FullShop, crawl_as: Callable[..., Crawl]) -> None:
    """The first of each kind in both themes, two more in one of them: the others are made of the same parts."""
    crawl = crawl_as(full.owner)
    for kind, addresses in full.pages().items():
        rest = ("light",) if kind == "worksheet" else ()  # each worksheet has boxes and pictures of its own
        for n, address in enumerate(addresses):
            crawl.look_at(address, themes=BY_TURNS[n] if n < len(BY_TURNS) else rest)
    fail_on(crawl)


def test_every_form_that_was_refused(full: FullShop, crawl_as: Callable[..., Crawl]) -> None:
    """In one theme each, by turns: what they add to their pages is the same few parts."""
    crawl, tablet = crawl_as(full.owner), Client()
    tablet.force_login(full.owner, backend="shop.doors.PasswordDoor")
    pages = refusals(tablet, full.refused())
    pages += [(address, tablet.get(address).content.decode()) for address in ("/nowhere/", "/t/hello/")]
    pages += [("/500/", render_to_string("500.html"))]
    for n, (address, html) in enumerate(pages):
        crawl.look_at(address, html=html, themes=("light",) if n % 2 else ("dark",))
    fail_on(crawl)


def test_every_page_of_an_empty_shop(owner: Staff, crawl_as: Callable[..., Crawl]) -> None:
    crawl = crawl_as(owner)
    for name in (
        "home",
        "dropoff",
        "pad-entries",
        "people",
        "jobs",
        "queue",
        "reports",
        "my-timer",
        "storage",
        "worksheets",
        "meters",
        *(report.url_name for report in REPORTS),
        *full_stock.EMPTY,
    ):
        crawl.look_at(reverse(name))
    fail_on(crawl)


def test_every_screen_of_the_pad(full: FullShop, crawl_as: Callable[..., Crawl]) -> None:
    tablet = Client()
    tablet.force_login(StaffFactory(role="pad", name="Sign-in pad"), backend="shop.doors.PinDoor")
    screens = full_shop.walk_the_pad(tablet)
    crawl = crawl_as(session=tablet.session.session_key)
    for screen in screens[1:]:
        crawl.look_at(screen)
    for screen, html in refusals(tablet, full_shop.refused_on_the_pad()):
        crawl.look_at(screen, html=html, themes=("light",))
    tablet.post(reverse("pad-again"))
    crawl.look_at(screens[0])
    fail_on(crawl)


def test_what_a_tablet_opens_that_was_handed_over(full: FullShop, crawl_as: Callable[..., Crawl]) -> None:
    tablet = Client()
    tablet.force_login(full.counter, backend="shop.doors.PasswordDoor")
    screens = full.hand_over(tablet)
    crawl = crawl_as(session=tablet.session.session_key)
    for screen in [screen for screen, data in screens if data is None]:
        crawl.look_at(screen)
    for screen, html in refusals(tablet, [(screen, data) for screen, data in screens if data]):
        crawl.look_at(screen, html=html, themes=("dark",))
    fail_on(crawl)


def test_the_doors(owner: Staff, crawl_as: Callable[..., Crawl]) -> None:
    crawl = crawl_as()
    crawl.look_at("/enter/")
    crawl.look_at("/locked/")
    fail_on(crawl)


def test_the_first_start(transactional_db: None, crawl_as: Callable[..., Crawl]) -> None:
    crawl = crawl_as()
    crawl.look_at("/first-start/")
    fail_on(crawl)


def test_what_opens_over_a_page(full: FullShop, crawl_as: Callable[..., Crawl]) -> None:
    """The sheets of the head and of the search box, which a page keeps shut."""
    crawl = crawl_as(full.owner)
    page = crawl.page
    sheets = (
        (TABLET, lambda: page.locator(".who summary").tap()),
        (TABLET, lambda: page.get_by_role("combobox").press_sequentially("corvane")),
        (PHONE, lambda: page.get_by_role("button", name="More").tap()),
    )
    for size, open_it in sheets:
        page.set_viewport_size(size)
        page.goto("/jobs/")
        open_it()
        page.wait_for_timeout(400)
        page.evaluate(crawl.axe)
        crawl.axe_at_work = True
        crawl.measure(f"/jobs/, {size['width']} px wide, with a sheet open", RULES)
        crawl.axe_at_work = False
    fail_on(crawl)


def test_the_crawl_sees_what_is_wrong(owner: Staff, crawl_as: Callable[..., Crawl]) -> None:
    crawl = crawl_as(owner)
    crawl.look_at(
        "/bad/",
        html='<!doctype html><html lang="en"><title>Bad</title><link rel="stylesheet" href="/static/css/benchtag.css">'
        "<body><main><h2>Bad</h2><button></button><img src='/static/img/icon-180.png'>"
        "<p style='width: 2000px'>Wide</p></main>"
        "<script>notThere()</script>",
    )
    for fault in ("0 h1", "px too wide", "px high", "axe button-name", "axe image-alt", "the browser says"):
        assert fault in crawl.found(), crawl.found()
