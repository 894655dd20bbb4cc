"""A repair from the sign-in pad to the pickup, on three tablets at once: the customer's, the counter's, the bench's.

The pages are used as a person finds them, and what is printed is read out of the PDF itself: see hands.py.
"""

import datetime as dt
import re
from decimal import Decimal

import pytest
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect

from calc.checklists import Stage
from intake.models import Job, PadEntry, State
from shop.models import Shop, Staff
from tests import safe
from tests.browser.conftest import PIN, type_the_password
from tests.browser.hands import choose, name_the_meter, printed, scan, section, sign, tap, unfold, write
from tests.factories import GearFactory, JobFactory, LoosePieceFactory, PersonFactory
from tests.full_shop import jpeg

pytestmark = pytest.mark.browser


# --- the story


def test_a_repair_from_the_sign_in_pad_to_the_pickup(new_tablet, counter, bench, live_server):
    known = PersonFactory(name="Dana Whitlow")
    known.phones.create(number="555 0142")
    pad, desk, workbench = new_tablet(), new_tablet(), new_tablet(theme="bench")
    type_the_password(desk, counter)
    type_the_password(workbench, bench)
    type_the_password(pad, counter)

    sign_in_on_the_pad(pad)
    job = check_and_tag(desk, known)
    read_the_ticket_and_the_tags(desk, job)
    find_the_fault(workbench, job, live_server.url)
    propose(workbench, job)
    hear_the_owner(desk, job)
    mend_and_test(workbench, job)
    tell_and_bill(desk, job)
    hand_back(desk, job)
    everything_is_told(workbench, job)


def sign_in_on_the_pad(page: Page) -> None:
    """The counter opens the pad; a customer answers one question a screen; the counter takes the tablet back."""
    tap(page, "Hand over the pad")
    tap(page, "Start")
    write(page, "Your name", "Dana Whitlow")
    tap(page, "Go on")
    write(page, "Phone", "(555) 0142")
    tap(page, "Go on")
    tap(page, "Go on")  # no e-mail
    choose(page, "Combo amplifier")
    write(page, "Maker", "Corvane")
    write(page, "Model", "Harbor 22")
    write(page, "Serial number", "H-3319")
    tap(page, "Go on")
    page.get_by_role("textbox").fill("It hums, and cuts out when it is warm.")
    tap(page, "Go on")
    choose(page, "Footswitch", "Cover")
    tap(page, "Go on")
    choose(page, "It was dropped")
    write(page, "How and when", "Off the van, last week.")
    tap(page, "Go on")
    choose(page, "No, that is all")
    tap(page, "Go on")
    write(page, "The day you need it", (timezone.localdate() + dt.timedelta(days=9)).isoformat())
    tap(page, "Go on")
    expect(page.get_by_text("Diagnosis fee $45.00")).to_be_visible()
    choose(page, "Ask me first")
    tap(page, "Go on")
    expect(page.get_by_text("Collect within 30 days of the notice.")).to_be_visible()
    tap(page, "I have read this")
    expect(
        page.get_by_role("listitem").filter(has_text="serial H-3319. Diagnosis fee $45.00")
    ).to_be_visible()
    sign(page)
    tap(page, "Sign and hand in")
    expect(page.get_by_role("heading", name=re.compile("Thank you"))).to_be_visible()
    assert PadEntry.objects.get().signature.svg.startswith("<svg")
    page.goto("/jobs/")  # nothing of the shop's opens to whoever holds the pad
    expect(page.get_by_role("heading", name="Jobs")).to_have_count(0)
    page.goto("/pad/")
    tap(page, "Staff")
    for key in PIN:
        page.locator(f"[data-key='{key}']").tap()
    tap(page, "Take the tablet back")
    expect(page.get_by_role("heading", name="From the sign-in pad")).to_be_visible()


def check_and_tag(page: Page, known: object) -> Job:
    """The counter's own tablet shows who waits; whoever has the same phone is offered; a word is corrected."""
    page.goto("/")
    section_ = page.locator("#pad-waiting")
    tap(section_, "Dana Whitlow")
    page.get_by_role("button", name=re.compile("same phone")).tap()
    expect(page.get_by_role("button", name="Somebody else")).to_be_visible()
    write(page, "Model", "Harbor 22 R")
    tap(page, "^Tag it")
    expect(page.get_by_role("heading", name="Tagged in")).to_be_visible()
    job = Job.objects.get()
    assert job.person == known
    assert job.gear.model == "Harbor 22 R"
    assert [piece.name for piece in job.pieces.all()] == ["Footswitch", "Cover"]
    assert (
        "Harbor 22 (combo amplifier)," in job.visit.signature.words
    )  # what was signed stays as it was signed
    return job


def read_the_ticket_and_the_tags(page: Page, job: Job) -> None:
    ticket = printed(page, "Claim ticket, half page")
    assert job.claim in ticket.replace(" ", "")
    for words in ("Lantern Quay Electronics", "Dana Whitlow", "Harbor 22 R", "Footswitch", "Cover", "$45.00"):
        assert words in ticket
    assert "Collect within 30 days of the notice." in ticket
    assert "Reprint" not in ticket
    page.reload()
    assert "Reprint 1" in printed(page, "Claim ticket, half page")
    tags = printed(page, "Gear tags, 62 mm roll")
    assert tags.replace(" ", "").count(job.claim) >= 3 or tags.count(job.claim[5:]) >= 3
    for words in ("1 of 3", "2 of 3", "3 of 3", "Footswitch", "Cover"):
        assert words in tags


def find_the_fault(page: Page, job: Job, address: str) -> None:
    """The tag is scanned at the bench; the timer runs; what is found is written down, photographed, measured."""
    scan(page, f"{address}/t/{job.claim}/")
    page.wait_for_url(f"**/job/{job.claim}/")
    tap(page, "On the bench")
    expect(page.get_by_text("Moved: on the bench.")).to_be_visible()
    expect(page.get_by_text("Tomas Lindqvist works on it")).to_be_visible()

    labour = section(page, "Labour")
    tap(labour, "Start the timer")
    expect(labour.get_by_role("button", name="Stop the timer")).to_be_visible()

    notes = section(page, "Notes")
    notes.get_by_role("textbox").fill("A burn mark beside the first capacitor.")
    tap(notes, "Keep the note")
    expect(notes.get_by_text("A burn mark beside the first capacitor.")).to_be_visible()

    findings = section(page, "Findings")
    unfold(findings, "Write a finding")
    write(findings, "Fault", "First filter capacitor open")
    write(findings, "Cause", "Age and heat")
    write(findings, "Cure", "Two new filter capacitors")
    tap(findings, "Keep the finding")
    expect(findings.get_by_role("heading", name="First filter capacitor open")).to_be_visible()

    photos = section(page, "Photos")
    write(photos, "What it shows", "The chassis from below")
    picture = {"name": "IMG_0001.jpg", "mimeType": "image/jpeg", "buffer": jpeg()}
    photos.locator("input[type=file]").set_input_files([picture])
    expect(photos.get_by_alt_text("Photo 1: The chassis from below")).to_be_visible()

    readings = section(page, "Readings")
    unfold(readings, "Write down readings")
    expect(readings.get_by_text("Voltages in this gear can kill")).to_be_visible()
    safe.passed(job, Staff.objects.get(sign_in="tomas"), Stage.BEFORE_POWER)
    measure(readings, "Plate, V4", "0.462k", "Before the repair")
    expect(readings.get_by_role("row").filter(has_text="Plate, V4")).to_contain_text("462 V")

    labour = section(page, "Labour")
    write(labour, "What you did", "New filter capacitors")
    tap(labour, "Stop the timer")
    expect(labour.get_by_role("button", name="Start the timer")).to_be_visible()


def measure(readings: Locator, where: str, value: str, when: str) -> None:
    write(readings, "Where", where)
    write(readings, "Value", value)
    choose(readings, "Power on", when)
    name_the_meter(readings, "Bench meter 2")
    tap(readings, "Keep the reading")


def line(page: Page, number: int, kind: str, text: str, quantity: str, price: str) -> None:
    row = page.get_by_role("group", name=f"Line {number}", exact=True)
    row.get_by_label("Kind").select_option(label=kind)
    write(row, "What for", text)
    write(row, "Quantity", quantity)
    write(row, "Price each", price)


def propose(page: Page, job: Job) -> None:
    """She wants to be asked first, so nothing is charged yet. Whoever decides is waited for."""
    tap(section(page, "Money"), "Make an estimate")
    line(page, 1, "Labour", "New filter capacitors", "1.5", "80")
    line(page, 2, "Part", "Capacitor 22 µF 450 V", "2", "6.50")
    write(page, "What we propose", "Two new filter capacitors, then a test of four hours.")
    tap(page, "^Make the estimate")
    expect(page.get_by_role("heading", name="Estimate 1")).to_be_visible()
    expect(page.get_by_text("$133.94").first).to_be_visible()
    assert "$133.94" in printed(page, "On paper")
    page.goto(job.get_absolute_url())
    tap(page, "Owner to decide")
    expect(page.get_by_text("Moved: owner to decide.")).to_be_visible()


def hear_the_owner(page: Page, job: Job) -> None:
    """The counter finds the job by the owner's name and writes down what was said on the phone."""
    page.goto("/")
    box = page.get_by_role("combobox")
    box.press_sequentially("whitl", delay=20)
    page.get_by_role("option").filter(has_text=job.claim[5:9]).first.tap()
    page.wait_for_url(f"**/job/{job.claim}/")
    tap(section(page, "Money"), "Record the answer")
    choose(page, "Go ahead", "By phone")
    write(page, "Who said so", "Dana Whitlow")
    write(page, "In their words", "Do it.")
    tap(page, "Keep the answer")
    expect(page.get_by_text("The answer to estimate 1 is kept: go ahead, $133.94.")).to_be_visible()


def mend_and_test(page: Page, job: Job) -> None:
    """Nothing is ready before it was tested after the repair: how that is done is test_safety's story."""
    page.goto(job.get_absolute_url())
    tap(page.get_by_role("group", name="Move it to"), "(O|o)n the bench")
    expect(page.get_by_text("Moved: on the bench.")).to_be_visible()
    charge_what_was_agreed(page)
    tap(section(page, "Findings"), "^Write$")
    write(page, "Findings in plain words", "The power supply was worn out. It has new capacitors.")
    tap(page, "Keep it")
    expect(section(page, "Findings").get_by_text("The power supply was worn out.")).to_be_visible()
    tap(page, "Soak test")
    expect(page.get_by_text("Moved: soak test.")).to_be_visible()
    tap(page, "^Ready")
    refusal = page.get_by_role("alert").filter(has_text="“After-repair electrical test” isn’t done.")
    expect(refusal).to_be_visible()
    assert Job.objects.get(pk=job.pk).state == State.SOAK_TEST
    readings = section(page, "Readings")
    unfold(readings, "Write down readings")
    safe.passed(job, Staff.objects.get(sign_in="tomas"))
    measure(readings, "Plate, V4", "448", "After the repair")
    expect(readings.get_by_role("row").filter(has_text="448 V")).to_be_visible()
    page.goto(job.get_absolute_url())
    tap(page.get_by_role("group", name="Move it to"), "^Ready")
    expect(page.get_by_text("Moved: ready.")).to_be_visible()


def charge_what_was_agreed(page: Page) -> None:
    labour = section(page, "Labour")
    write(labour, "Charge", "1.5")
    tap(labour, "Charge this time")
    charges = section(page, "Charges$")
    expect(charges.get_by_role("row").filter(has_text="New filter capacitors")).to_contain_text("$120.00")
    unfold(charges, "Add a charge")
    choose(charges, "Part")
    write(charges, "What for", "Capacitor 22 µF 450 V")
    write(charges, "Quantity", "2")
    write(charges, "Price each", "6.50")
    tap(charges, "Add the charge")
    expect(charges.get_by_role("row").filter(has_text="Capacitor 22")).to_contain_text("$13.00")
    expect(charges.get_by_text("$133.00")).to_be_visible()


def tell_and_bill(page: Page, job: Job) -> None:
    page.goto(job.get_absolute_url())
    tap(section(page, "Money"), "Tell the owner")
    choose(page, "By phone")
    write(page, "Who was told", "Dana, she comes on Friday")
    tap(page, "They have been told")
    expect(section(page, "Money").get_by_text("The owner was told by phone")).to_be_visible()

    tap(section(page, "Money"), "^Invoice")
    expect(page.get_by_text("takes the diagnosis fee off the bill of a repair")).to_be_visible()
    tap(page, "Issue it for \\$133.94")
    expect(page.get_by_role("heading", name="Invoice INV-00001")).to_be_visible()
    invoice = printed(page, "On paper")
    for words in ("INV-00001", "Dana Whitlow", "New filter capacitors", "Capacitor 22 µF 450 V", "Sales tax"):
        assert words in invoice
    assert "The power supply was worn out. It has new capacitors." in invoice
    for amount in ("$120.00", "$13.00", "$0.94", "$133.94"):  # 7.25 % of 13.00 is 0.9425
        assert amount in invoice
    assert "$45.00" not in invoice  # the diagnosis fee

    page.goto(job.get_absolute_url())
    tap(section(page, "Money"), "Take a payment")
    choose(page, "Cash")
    write(page, "Cash handed over", "140")
    tap(page, "It is paid")
    expect(page.get_by_role("heading", name="Paid, cash: $133.94")).to_be_visible()
    expect(page.locator("main")).to_contain_text("$6.06")
    receipt = printed(page, "Receipt")
    for words in ("$133.94", "$140.00", "$6.06", "INV-00001", "Ida Marsh"):
        assert words in receipt


def hand_back(page: Page, job: Job) -> None:
    tap(page, "Hand it back")
    choose(page, "Corvane Harbor 22 R", "Footswitch")
    write(page, "Why “Cover”", "She left it to us for the bin.")
    sign(page)
    tap(page, "It goes home")
    expect(page.get_by_role("heading", name="It went home")).to_be_visible()
    receipt = printed(page, "Receipt")
    day = timezone.localdate(timezone=Shop.current().zone) + dt.timedelta(days=90)
    for words in ("Footswitch", "She left it to us for the bin.", "Dana Whitlow", "Warranty", f"{day.year}"):
        assert words in receipt
    job.refresh_from_db()
    assert job.state == State.COLLECTED
    assert (job.labour_warranty_until, job.parts_warranty_until) == (day, day)
    assert job.pickup.signature.svg.startswith("<svg")
    assert job.payments.get().amount == Decimal("133.94")


def everything_is_told(page: Page, job: Job) -> None:
    """The timeline has all of it, with who did it."""
    told = ""
    page.goto(f"{job.get_absolute_url()}timeline/")
    while True:
        timeline = section(page, "Timeline")
        told += timeline.inner_text()
        older = timeline.get_by_role("link", name="Older")
        if not older.count():
            break
        address = older.get_attribute("href")
        page.goto(address)
    for words in (
        "took it in",
        "Harbor 22 R",
        "started the timer",
        "wrote a note",
        "wrote a finding",
        "took a photo",
        "took a reading",
        "charged labour",
        "charged part",
        "made estimate 1 for $133.94",
        "recorded that Dana Whitlow said go ahead to estimate 1, by phone",
        "soak test",
        "told the owner that it is ready, by phone",
        "issued invoice INV-00001 for $133.94",
        "took $133.94, cash",
        "handed it to Dana Whitlow",
        "Ida Marsh",
        "Tomas Lindqvist",
    ):
        assert words.casefold() in told.casefold(), words


# --- other ways it can go


def test_two_tablets_on_one_job_lose_nothing(sign_in, counter, bench):
    job = JobFactory(complaint="It hums.", condition="Whole.")
    address = f"/job/{job.claim}/edit/"
    desk, workbench = sign_in(counter), sign_in(bench, theme="bench")
    desk.goto(address)
    workbench.goto(address)
    write(workbench, "Complaint", "It hums when it is warm.")
    tap(workbench, "Keep it")
    workbench.wait_for_url(f"**/job/{job.claim}/")
    write(desk, "Complaint", "It hums, says the owner.")
    tap(desk, "Keep it")
    both = desk.get_by_role("row").filter(has_text="Complaint")
    expect(both).to_contain_text("It hums when it is warm.")
    expect(both).to_contain_text("It hums, says the owner.")
    expect(desk.get_by_text("Tomas Lindqvist changed this")).to_be_visible()
    tap(desk, "Put mine in its place")
    desk.wait_for_url(f"**/job/{job.claim}/")
    job.refresh_from_db()
    assert job.complaint == "It hums, says the owner."
    timeline = section(desk, "Timeline")
    expect(timeline).to_contain_text("It hums when it is warm.")  # the other's words are not lost


def test_two_tablets_that_change_different_things_need_not_choose(sign_in, counter, bench):
    job = JobFactory(complaint="It hums.", condition="Whole.")
    address = f"/job/{job.claim}/edit/"
    desk, workbench = sign_in(counter), sign_in(bench, theme="bench")
    desk.goto(address)
    workbench.goto(address)
    write(workbench, "Complaint", "It hums when it is warm.")
    tap(workbench, "Keep it")
    workbench.wait_for_url(f"**/job/{job.claim}/")
    write(desk, "Condition", "A scratch on the left.")
    tap(desk, "Keep it")
    desk.wait_for_url(f"**/job/{job.claim}/")
    job.refresh_from_db()
    assert (job.complaint, job.condition) == ("It hums when it is warm.", "A scratch on the left.")


def test_gear_goes_home_as_it_is_for_the_diagnosis_fee(sign_in, counter):
    job = JobFactory(
        state=State.ON_THE_BENCH,
        diagnosis_fee=Decimal(45),
        gear=GearFactory(owner__name="Piet Harrow", kind="echo", maker="Oslin", model="Drifter"),
    )
    LoosePieceFactory(job=job, name="Lid")
    page = sign_in(counter)
    page.goto(job.get_absolute_url())
    tap(section(page, "Money"), "Goes home as is")
    write(page, "Why it goes home", "Too dear for its owner.")
    page.locator("main").get_by_role("button").last.tap()
    expect(section(page, "Charges$")).to_contain_text("$45.00")
    tap(page.get_by_role("group", name="Move it to"), "^Ready")  # no test: nothing was repaired
    expect(page.get_by_text("Moved: ready.")).to_be_visible()
    tap(section(page, "Money"), "^Invoice")
    tap(page, "Issue it for \\$45.00")
    assert "there is no warranty on it" in printed(page, "On paper")
    page.goto(f"{job.get_absolute_url()}payment/")
    choose(page, "Card")
    tap(page, "It is paid")
    tap(page, "Hand it back")
    choose(page, "Oslin Drifter", "Lid")
    sign(page)
    tap(page, "It goes home")
    expect(page.get_by_role("heading", name="It went home")).to_be_visible()
    job.refresh_from_db()
    assert job.state == State.COLLECTED
    assert job.labour_warranty_until is None


def test_a_second_print_from_the_same_page_is_a_reprint_and_a_double_tap_is_not(sign_in, counter):
    job = JobFactory()
    page = sign_in(counter)
    page.goto(f"/drop-off/{job.visit_id}/")
    button = page.get_by_role("button", name="Claim ticket, half page")
    paper = re.compile("/ticket/half/print/")
    for wait in (0, 0, 2300):
        page.wait_for_timeout(wait)
        with page.context.expect_event("response", lambda answer: paper.search(answer.url)):
            button.tap()
    job.refresh_from_db()
    assert job.ticket_prints == 2


def test_the_back_button_brings_a_whole_page(sign_in, counter):
    for _ in range(30):
        JobFactory(state=State.READY)
    page = sign_in(counter)
    page.goto("/jobs/")
    page.get_by_role("link", name=re.compile("^Ready")).first.tap()
    page.wait_for_url("**/jobs/?state=ready")
    page.locator(".tag-claim a").first.tap()
    page.wait_for_url("**/job/*/")
    page.go_back()
    page.wait_for_url("**/jobs/?state=ready")
    expect(page.get_by_role("heading", name="Jobs", exact=True)).to_be_visible()
    expect(page.get_by_role("navigation", name="Main")).to_be_visible()
    page.go_back()
    page.wait_for_url("**/jobs/")
    expect(page.get_by_role("heading", name="Jobs", exact=True)).to_be_visible()
    expect(page.get_by_role("navigation", name="Main")).to_be_visible()
