"""How long each main page takes: medians beside an empty view's, with the demo's jobs and with 20,000 more.

Printed at the end, to be read; the ceilings are generous, so that they fail for a page that grows with the
shop and not for a busy machine.
"""

import statistics
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import pytest
from django.db import connection, transaction
from django.http import HttpRequest, HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import path
from django.utils import timezone

from intake.demo.crowd import crowd
from intake.models import Gear, Job, Person, State
from shop import demo
from shop.access import open_to_all
from shop.models import Staff
from shop.roles import Role
from shop.urls import handler400, handler403, handler404, handler500, urlpatterns  # noqa: F401

ROUNDS = 30
CEILING = 400  # ms, for a median
CROWD = 20_000

pytestmark = [pytest.mark.bench, pytest.mark.django_db, pytest.mark.urls(__name__)]


@open_to_all
def empty(request: HttpRequest) -> HttpResponse:
    """Nothing but the middleware: what every page pays."""
    return HttpResponse()


urlpatterns = [*urlpatterns, path("empty/", empty)]


@dataclass(frozen=True)
class Page:
    """A page to be measured: how to reach it, who looks, and how many queries it may take."""

    name: str
    address: Callable[[], str]
    queries: int
    role: Role = Role.OWNER
    part: bool = False


PAGES = (
    Page("an empty view", lambda: "/empty/", 3),
    Page("front page", lambda: "/", 20),
    Page("jobs", lambda: "/jobs/", 10),
    Page("queue", lambda: "/queue/", 12),
    Page("a job", lambda: _first_on_bench().get_absolute_url(), 46),
    Page("people", lambda: "/people/", 10),
    Page("people, by name", lambda: "/people/?q=whitlow", 10),
    Page("a person", lambda: Person.objects.order_by("pk")[5].get_absolute_url(), 12),
    Page("a piece of gear", lambda: Gear.objects.order_by("pk")[5].get_absolute_url(), 12),
    Page("find, a name", lambda: "/find/?q=whitlow", 14, part=True),
    Page("find, two letters", lambda: "/find/?q=an", 12, part=True),
    Page("find, a serial", lambda: "/find/?q=cm10", 14, part=True),
    Page("find, part of a claim", lambda: "/find/?q=2611-00", 14, part=True),
    Page("drop-off", lambda: "/drop-off/", 12),
    Page("the pad", lambda: "/pad/you/", 10, role=Role.PAD),
)


def _first_on_bench() -> Job:
    """The same job before and after the crowd came, so that the two are compared."""
    return Job.objects.filter(state=State.ON_THE_BENCH, findings__isnull=False).order_by("pk").first()


@pytest.fixture
def old_shop(tmp_path: object) -> Iterator[None]:
    with transaction.atomic():
        demo.load_if_empty()
        yield


def measure(page: Page) -> tuple[float, int]:
    """The median of a page in ms, and its queries."""
    client = Client()
    client.force_login(Staff.objects.filter(role=page.role).first(), backend="shop.doors.PasswordDoor")
    headers = {"HX-Request": "true"} if page.part else {}
    address = page.address()
    with CaptureQueriesContext(connection) as caught:
        response = client.get(address, headers=headers)
        queries = len(caught)  # now: the log is wiped by the next request
    assert response.status_code == 200, f"{page.name}: {response.status_code} at {address}"
    took = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        client.get(address, headers=headers)
        took.append((time.perf_counter() - began) * 1000)
    return statistics.median(took), queries


def test_no_page_grows_with_the_shop(old_shop: None, capsys: pytest.CaptureFixture[str]) -> None:
    small = {page.name: measure(page) for page in PAGES}
    began = time.perf_counter()
    crowd(CROWD)
    filling = time.perf_counter() - began
    large = {page.name: measure(page) for page in PAGES}
    with capsys.disabled():
        jobs, day = Job.objects.count(), timezone.localdate()
        print(f"\n\nMedians of {ROUNDS} requests, {day}, {connection.vendor}")
        print(f"{jobs} jobs, the crowd of them made in {filling:.0f} s\n")
        print(f"{'page':24}{'demo, ms':>10}{'queries':>9}{f'{CROWD}, ms':>12}{'queries':>9}")
        for page in PAGES:
            (ms, queries), (ms_large, queries_large) = small[page.name], large[page.name]
            print(f"{page.name:24}{ms:10.1f}{queries:9}{ms_large:12.1f}{queries_large:9}")
    for page in PAGES:
        ms, queries = large[page.name]
        assert ms < CEILING, page.name
        assert queries <= page.queries, page.name
        assert queries <= small[page.name][1] + 1, f"{page.name} asks more where there is more"
