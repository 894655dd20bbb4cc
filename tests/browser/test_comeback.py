"""A repair that comes back under warranty: linked at the counter, judged, mended again, billed at nothing, handed back.

The warranty's days are counted by hand in tests/intake/test_warranty.py; here the pages say them.
"""

import datetime as dt
import re
from decimal import Decimal

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from intake.models import Invoice, Job, State
from shop.models import Staff
from shop.wording import day_words
from tests import safe
from tests.browser.hands import choose, name_the_meter, printed, section, sign, tap, unfold, write
from tests.factories import FindingFactory, GearFactory, JobFactory, PersonFactory

pytestmark = pytest.mark.browser


def mended_before(*, parts_left: int) -> Job:
    """A Harbor 22 that went home 40 days ago, with 90 days on labour and so many days left on parts."""
    now = timezone.now()
    today = timezone.localdate()
    return JobFactory(
        month="2608",
        gear=GearFactory(
            owner=PersonFactory(name="Dana Whitlow"), kind="combo", maker="Corvane", model="Harbor 22"
        ),
        state=State.COLLECTED,
        since=now - dt.timedelta(days=50),
        collected_at=now - dt.timedelta(days=40),
        labour_warranty_until=today + dt.timedelta(days=50),
        parts_warranty_until=today + dt.timedelta(days=parts_left),
        complaint="It hums.",
    )


@pytest.mark.parametrize(
    ("parts_left", "to_pay", "said"),
    [
        (50, "$0.00", "Labour and parts are under warranty until"),
        # 6.50 and 7.25 % of it, half up: 6.50 + 0.47125
        (-10, "$6.97", "The warranty on parts ended on"),
    ],
)
def test_a_repair_that_comes_back_under_warranty(sign_in, counter, bench, parts_left, to_pay, said):
    before = mended_before(parts_left=parts_left)
    FindingFactory(job=before, by=bench, fault="First filter capacitor open", circuit="supply")
    desk, workbench = sign_in(counter), sign_in(bench, theme="bench")

    job = take_in_again(desk, before, said)
    mend_again(workbench, job, said)
    charge_as_the_warranty_says(workbench, job, both=parts_left > 0)
    make_ready(workbench, job)
    bill(desk, job, to_pay)
    hand_back(desk, job)
    the_first_repair_says_so(desk, before, job)


def take_in_again(page: Page, before: Job, said: str) -> Job:
    """The counter types the number of the old ticket; the gear's own repairs stand there, with the verdict."""
    page.goto("/drop-off/")
    page.locator("#who input[name=q]").press_sequentially(before.claim)
    page.get_by_role("option", name=re.compile("Harbor 22")).first.tap()
    piece = page.locator("#piece-0")
    expect(piece.get_by_text(said)).to_be_visible()
    choose(piece, before.claim)
    write(page, "Go ahead without asking up to", "50")
    write(piece, "Complaint", "It hums again.")
    expect(page.locator("#dropoff-words")).to_contain_text(
        f"Not if the warranty of the repair {before.claim} covers it."
    )
    sign(page)
    tap(page, "^Tag it")
    expect(page.get_by_role("heading", name="Tagged in")).to_be_visible()
    job = Job.objects.exclude(pk=before.pk).get()
    assert job.comeback_of == before
    assert f"Not if the warranty of the repair {before.claim} covers it." in job.visit.signature.words
    return job


def mend_again(page: Page, job: Job, said: str) -> None:
    page.goto(job.get_absolute_url())
    tap(page.get_by_role("group", name="Move it to"), "On the bench")
    expect(page.get_by_text("Moved: on the bench.")).to_be_visible()
    warranty = section(page, "Warranty")
    expect(warranty).to_contain_text(said)
    expect(warranty).to_contain_text(job.comeback_of.claim)
    findings = section(page, "Findings")
    unfold(findings, "Write a finding")
    write(findings, "Fault", "Solder joint of the filter capacitor")
    write(findings, "Cure", "Re-made")
    choose(findings, "Power supply")
    tap(findings, "Keep the finding")
    expect(findings.get_by_text("Power supply").first).to_be_visible()
    tap(section(page, "Warranty"), "The same fault")
    expect(page.get_by_text("Kept: the same fault.")).to_be_visible()
    job.refresh_from_db()
    assert job.comeback_fault == "same"


def charge_as_the_warranty_says(page: Page, job: Job, *, both: bool) -> None:
    """Time costs nothing by itself; what else the warranty covers, with one tap; the rest is charged."""
    labour = section(page, "Labour")
    unfold(labour, "Write down time")
    write(labour, "How long", "1:30")
    write(labour, "What was done", "Joint re-made, one hour of test")
    tap(labour, "Keep the time")
    expect(labour.get_by_text("time is charged at nothing")).to_be_visible()
    tap(labour, "Charge this time")
    charges = section(page, "Charges$")
    row = charges.get_by_role("row").filter(has_text="Joint re-made")
    expect(row).to_contain_text("$0.00")
    expect(row).to_contain_text("under warranty")
    unfold(charges, "Add a charge")
    choose(charges, "Part")
    write(charges, "What for", "Filter capacitor")
    write(charges, "Price each", "6.50")
    if both:
        choose(
            charges, "Under warranty, at nothing"
        )  # it is ticked, since parts are covered; here it is forgotten
    tap(charges, "Add the charge")
    expect(charges.get_by_role("row").filter(has_text="Filter capacitor")).to_contain_text("$6.50")
    page.goto(job.get_absolute_url())
    one_tap = section(page, "Warranty").get_by_role("button", name="Under warranty, at nothing")
    if both:
        one_tap.tap()
        expect(page.get_by_text("Under warranty, at nothing: Filter capacitor.")).to_be_visible()
    expect(one_tap).to_have_count(0)
    covered = set(job.charges.filter(under_warranty=True).values_list("kind", flat=True))
    assert covered == ({"labour", "part"} if both else {"labour"})


def make_ready(page: Page, job: Job) -> None:
    tap(section(page, "Findings"), "^Write$")
    write(page, "Findings in plain words", "A joint beside our repair had come loose. We re-made it.")
    tap(page, "Keep it")
    expect(section(page, "Findings").get_by_text("We re-made it.")).to_be_visible()
    safe.passed(job, Staff.objects.get(role="bench"))  # how that is done is another story
    readings = section(page, "Readings")
    unfold(readings, "Write down readings")
    write(readings, "Where", "Ripple, main supply")
    write(readings, "Value", "2.8")
    choose(readings, "Power on", "After the repair")
    name_the_meter(readings, "Bench meter 2")
    tap(readings, "Keep the reading")
    expect(readings.get_by_role("row").filter(has_text="2.80 V")).to_be_visible()
    for state in ("Soak test", "Ready"):
        page.goto(job.get_absolute_url())
        tap(page.get_by_role("group", name="Move it to"), f"^{state}")
        expect(page.get_by_text(f"Moved: {state.lower()}.")).to_be_visible()


def bill(page: Page, job: Job, to_pay: str) -> None:
    """An invoice of nothing, or of the parts alone; the diagnosis fee is left off."""
    page.goto(job.get_absolute_url())
    tap(section(page, "Money"), "Tell the owner")
    choose(page, "By phone")
    tap(page, "They have been told")
    tap(section(page, "Money"), "^Invoice")
    expect(page.get_by_text("so the diagnosis fee is left off")).to_be_visible()
    tap(page, f"Issue it for {re.escape(to_pay)}")
    expect(page.get_by_role("heading", name="Invoice INV-00001")).to_be_visible()
    paper = printed(page, "On paper")
    for words in ("Joint re-made", "Filter capacitor", "We re-made it.", to_pay):
        assert words in paper
    assert "warranty" in paper.lower()
    assert "$120.00" not in paper.split("Total")[-1]
    invoice = Invoice.objects.get()
    assert invoice.gross == Decimal(to_pay[1:])
    if invoice.gross:
        page.goto(f"{job.get_absolute_url()}payment/")
        choose(page, "Card")
        tap(page, "It is paid")
        expect(page.get_by_role("heading", name=f"Paid, card: {to_pay}")).to_be_visible()


def hand_back(page: Page, job: Job) -> None:
    page.goto(job.get_absolute_url())
    tap(section(page, "Money"), "Hand it back")
    choose(page, "Corvane Harbor 22")
    sign(page)
    tap(page, "It goes home")
    expect(page.get_by_role("heading", name="It went home")).to_be_visible()
    job.refresh_from_db()
    assert job.state == State.COLLECTED


def the_first_repair_says_so(page: Page, before: Job, job: Job) -> None:
    page.goto(before.get_absolute_url())
    warranty = section(page, "Warranty")
    expect(warranty.get_by_role("heading", name="Came back from this repair")).to_be_visible()
    expect(warranty).to_contain_text(f"{day_words(timezone.localdate())}: the same fault")
    page.goto(before.gear.get_absolute_url())
    expect(page.locator("main")).to_contain_text(f"A comeback of {before.claim}: the same fault")
