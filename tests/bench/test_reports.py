"""How long each report takes with 20,000 jobs, over all of their years: medians beside their queries.

Printed at the end, to be read. The ceilings are generous: they fail for a report that reads row by row.
"""

import statistics
import time
from collections.abc import Iterator

import pytest
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from intake.demo.crowd import crowd
from intake.models import Job
from intake.reports.catalogue import REPORTS
from shop import demo
from shop.models import Staff
from shop.roles import Role

ROUNDS = 7
CROWD = 20_000
QUERIES = 12  # with the four that every page asks
YEAR_CEILING, ALL_CEILING = 1500, 5000  # ms, for medians; the journal of ten years is the slow one
YEAR, ALL = "?span=twelve-months&on={today}", "?from=2010-01-01&until={today}"

pytestmark = [pytest.mark.bench, pytest.mark.django_db]


@pytest.fixture
def old_shop(tmp_path: object) -> Iterator[Client]:
    with transaction.atomic():
        demo.load_if_empty()
        client = Client()
        client.force_login(Staff.objects.filter(role=Role.OWNER).first(), backend="shop.doors.PasswordDoor")
        yield client


def measure(client: Client, address: str, rounds: int = ROUNDS) -> tuple[float, int]:
    """The median of a page in ms, and its queries."""
    with CaptureQueriesContext(connection) as caught:
        response = client.get(address)
        queries = len(caught)
    assert response.status_code == 200, address
    took = []
    for _ in range(rounds):
        began = time.perf_counter()
        client.get(address)
        took.append((time.perf_counter() - began) * 1000)
    return statistics.median(took), queries


def test_no_report_reads_row_by_row(old_shop: Client, capsys: pytest.CaptureFixture[str]) -> None:
    today = timezone.localdate().isoformat()
    crowd(400, seed=3)
    small = {r.slug: measure(old_shop, f"/reports/{r.slug}/{ALL.format(today=today)}", 1) for r in REPORTS}
    crowd(CROWD)
    found = {
        r.slug: [
            measure(old_shop, address.format(today=today), rounds)
            for address, rounds in (
                (f"/reports/{r.slug}/{YEAR}", ROUNDS),
                (f"/reports/{r.slug}/{ALL}", 3),
                (f"/reports/{r.slug}.csv{ALL}", 3),
            )
        ]
        for r in REPORTS
    }
    with capsys.disabled():
        print(f"\n\nReports, {today}, {connection.vendor}: {Job.objects.count()} jobs\n")
        print(
            f"{'report':14}{'queries':>8}{'a year, ms':>12}{'ten years, ms':>15}{'the same as CSV, ms':>21}"
        )
        for slug, ((year, queries), (all_, _), (sheet, _)) in found.items():
            print(f"{slug:14}{queries:8}{year:12.0f}{all_:15.0f}{sheet:21.0f}")
    for slug, ((year, queries), (all_, queries_of_all), _) in found.items():
        assert queries == queries_of_all <= QUERIES, slug
        assert queries_of_all <= small[slug][1], slug
        assert year < YEAR_CEILING, slug
        assert all_ < ALL_CEILING, slug
