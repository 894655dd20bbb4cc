"""A scanner at the bench: the job's page is open, drawers are scanned as fast as a hand can."""

from decimal import Decimal

import pytest
from playwright.sync_api import expect

from intake.models import Job, State
from inventory import stock
from inventory.models import Part
from tests.factories import DrawerFactory, JobFactory, PartFactory

pytestmark = pytest.mark.browser


@pytest.fixture
def job(shop) -> Job:
    return JobFactory(state=State.ON_THE_BENCH)


@pytest.fixture
def parts(bench) -> list[Part]:
    made = [
        PartFactory(name=name, drawer=DrawerFactory(code=code), price=Decimal("7.20"))
        for code, name in (("CAP-14", "22u 450V axial"), ("RES-03", "470R 1W"))
    ]
    for part in made:
        stock.receive(part, quantity=5, cost_each=Decimal("2.50"), by=bench)
    return made


def scan(page, *labels: str) -> None:
    """Type as a hand scanner does, one label after the other, where no box has the focus."""
    page.evaluate(
        """labels => labels.forEach(label => [...label, "Enter"].forEach(key => document.body.dispatchEvent(
            new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true }))))""",
        [f"http://192.0.2.20/d/{label}/" for label in labels],
    )


def test_a_drawer_scanned_on_a_jobs_page_is_used_and_charged_without_a_touch(sign_in, bench, job, parts):
    page = sign_in(bench)
    page.goto(f"/job/{job.claim}/")
    scan(page, "CAP-14")
    expect(page.locator("#parts [role=status]")).to_contain_text("Used 1 × 22u 450V axial, charged $7.20.")
    expect(page.locator("#charges")).to_contain_text("22u 450V axial")
    expect(page.locator("#timeline")).to_contain_text("Charged part")


def test_no_scan_is_lost_while_the_last_one_is_on_its_way(sign_in, bench, job, parts):
    page = sign_in(bench)
    page.goto(f"/job/{job.claim}/")
    scan(page, "CAP-14", "RES-03", "CAP-14", "CAP-14")
    expect(page.locator("#parts tbody tr")).to_have_count(4)
    for part in parts:
        part.refresh_from_db()
    assert [part.quantity for part in parts] == [2, 4]
    assert job.charges.count() == 4


def test_a_scan_that_is_refused_says_why_and_the_next_one_is_taken(sign_in, bench, job, parts):
    stock.scrap(parts[0], quantity=5, words="bent", by=bench)
    page = sign_in(bench)
    page.goto(f"/job/{job.claim}/")
    scan(page, "CAP-14")
    expect(page.locator("#parts [role=alert]")).to_contain_text("None of 22u 450V axial are free")
    scan(page, "RES-03")
    expect(page.locator("#parts [role=status]")).to_contain_text("Used 1 × 470R 1W")


def test_another_jobs_tag_scanned_there_opens_that_job(sign_in, bench, job, parts):
    other = JobFactory()
    page = sign_in(bench)
    page.goto(f"/job/{job.claim}/")
    page.evaluate(
        """label => [...label, "Enter"].forEach(key => document.body.dispatchEvent(
            new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true })))""",
        f"http://192.0.2.20/t/{other.claim}/",
    )
    page.wait_for_url(f"**/job/{other.claim}/")


def test_a_round_is_walked_with_the_scanner(sign_in, bench, parts):
    page = sign_in(bench)
    page.goto("/counting/")
    page.get_by_role("button", name="Begin counting").tap()
    expect(page.get_by_text("0 of 2 drawers counted")).to_be_visible()
    scan(page, "RES-03")
    page.get_by_label("470R 1W").fill("4")
    page.get_by_role("button", name="Write it down, next drawer").tap()
    page.get_by_label("22u 450V axial").fill("5")
    page.get_by_role("button", name="Write it down, next drawer").tap()
    expect(page.get_by_role("heading", name="Not as the ledger said")).to_be_visible()
    page.get_by_role("button", name="Post the differences").tap()
    expect(page.get_by_text("Posted: 1 difference.")).to_be_visible()
    parts[1].refresh_from_db()
    assert parts[1].quantity == 4
