"""A dispute over an estimate, answered from the record: what was asked, what was changed, what was signed.

The sums are worked by hand, with 7.25 % on parts and none on labour:
estimate 1: 1.5 h at 80 and a pair for 64: 120 + 64 + 4.64 = 188.64;
estimate 2: two hours, the same pair; 160 + 64 + 4.64 = 228.64; and an option: a cover for 38, 40.76 with tax.
"""

import re
from decimal import Decimal

import pytest
from playwright.sync_api import Locator, Page, expect

from intake.models import Answer, Job, State
from tests.browser.conftest import PIN
from tests.browser.hands import choose, printed, section, sign, tap, unfold, write
from tests.factories import GearFactory, JobFactory, PersonFactory

pytestmark = pytest.mark.browser


def line(page: Page, number: int) -> Locator:
    return page.get_by_role("group", name=f"Line {number}", exact=True)


def fill(row: Locator, kind: str, text: str, quantity: str, price: str) -> None:
    row.get_by_label("Kind").select_option(label=kind)
    write(row, "What for", text)
    write(row, "Quantity", quantity)
    write(row, "Price each", price)


def test_a_dispute_over_an_estimate_is_answered_from_the_record(sign_in, owner, counter, bench):
    job = JobFactory(
        gear=GearFactory(
            owner=PersonFactory(name="Dana Whitlow"), kind="combo", maker="Corvane", model="Harbor 22"
        ),
        state=State.ON_THE_BENCH,
        spend_limit=None,
    )
    workbench, desk = sign_in(bench, theme="bench"), sign_in(counter)

    propose(workbench, job)
    she_wants_time_to_think(desk, job)
    revise_with_an_option(workbench, job)
    she_takes_the_option_and_signs(desk, job)
    nothing_beyond_it_is_charged(workbench, job)
    she_denies_it_and_the_record_answers(sign_in(owner), job)
    nobody_can_answer_again(desk, job)


def propose(page: Page, job: Job) -> None:
    page.goto(f"{job.get_absolute_url()}estimate/")
    fill(line(page, 1), "Labour", "New output valves, bias set", "1.5", "80")
    fill(line(page, 2), "Part", "EL34, matched pair", "1", "64")
    write(page, "What we propose", "The output valves are worn out.")
    tap(page, "^Make the estimate")
    expect(page.get_by_role("heading", name="Estimate 1")).to_be_visible()
    expect(page.locator("main")).to_contain_text("$188.64")


def she_wants_time_to_think(page: Page, job: Job) -> None:
    """On the phone she declines, and says why: it stands there in her words."""
    page.goto(f"{job.get_absolute_url()}estimate/1/")
    choose(page, "No, leave it", "By phone")
    write(page, "Who said so", "Dana Whitlow")
    write(page, "In their words", "And the bad socket? Look at that too.")
    tap(page, "Keep the answer")
    expect(page.get_by_text("And the bad socket?").first).to_be_visible()


def revise_with_an_option(page: Page, job: Job) -> None:
    page.goto(f"{job.get_absolute_url()}estimate/?from=estimate")
    write(line(page, 1), "Quantity", "2")
    fill(line(page, 3), "Part", "Dust cover, sewn to measure", "1", "38")
    unfold(line(page, 3), "Option, or per cent")
    choose(line(page, 3), "The owner may take or leave it")
    write(page, "What we propose", "The output valves and the input socket.")
    tap(page, "^Make the estimate")
    expect(page.get_by_role("heading", name="Estimate 2")).to_be_visible()
    changes = section(page, "What changed from estimate 1")
    expect(changes).to_contain_text("Changed: New output valves, bias set")
    expect(changes).to_contain_text("New: Dust cover, sewn to measure")
    expect(page.locator("main")).to_contain_text("$228.64")
    expect(page.locator("main")).to_contain_text("$40.76 more, with tax")


def she_takes_the_option_and_signs(page: Page, job: Job) -> None:
    """The tablet is turned round: she reads, ticks the cover, sees the sum change, and signs."""
    page.goto(f"{job.get_absolute_url()}estimate/2/")
    tap(page, "Hand over the tablet")
    expect(page.locator("#estimate-sums")).to_contain_text("$228.64")
    choose(page, "Dust cover, sewn to measure")
    expect(page.locator("#estimate-sums")).to_contain_text("$269.40")
    choose(page, "Go ahead")
    write(page, "Your name", "Dana Whitlow")
    sign(page)
    tap(page, "^Sign$")
    expect(page.get_by_text("The answer to estimate 2 is kept: go ahead, $269.40.").first).to_be_visible()
    nothing_else_opens_in_her_hands(page, job)
    said = Answer.objects.get(estimate__number=2)
    assert (said.agreed, said.how, said.who) == (Decimal("269.40"), "signed", "Dana Whitlow")
    assert "Taken: Dust cover, sewn to measure" in said.signature.words


def nothing_else_opens_in_her_hands(page: Page, job: Job) -> None:
    """Neither an address that she types nor the way back shows anything of the shop's before a PIN does."""
    for address in (
        "/",
        "/jobs/",
        "/pad/",
        job.get_absolute_url(),
        f"{job.get_absolute_url()}estimate/1/sign/",
    ):
        page.goto(address)
        expect(page.get_by_role("heading", name="Not this way")).to_be_visible()
    tap(page.locator("main"), "Go back")
    expect(page.get_by_role("heading", name="Hand the tablet back")).to_be_visible()
    while page.url != "about:blank" and page.go_back():
        expect(page.locator("body")).not_to_contain_text("Ida Marsh")
    page.goto(f"{job.get_absolute_url()}estimate/2/sign/")
    tap(page, "Staff")
    write(page, "PIN", PIN)
    tap(page, "Take the tablet back")
    expect(page.get_by_role("heading", name="Estimate 2", exact=True)).to_be_visible()
    expect(section(page, "The owner’s answer")).to_contain_text("$269.40")


def nothing_beyond_it_is_charged(page: Page, job: Job) -> None:
    """What she agreed to is charged by one tap; more isn't before she is asked again."""
    page.goto(job.get_absolute_url())
    tap(section(page, "Money"), "Charge what was agreed to")
    expect(page.locator("main")).to_contain_text("$269.40")
    tap(page, "^Charge them")
    charges = section(page, "Charges$")
    for text in ("New output valves, bias set", "EL34, matched pair", "Dust cover, sewn to measure"):
        expect(charges.get_by_role("row").filter(has_text=text)).to_be_visible()
    add_charge(page, "Part", "Reverb tank", "1", "55")
    expect(charges.get_by_role("alert").or_(charges.locator("[data-wrong]")).first).to_contain_text(
        re.compile("agreed|ask", re.I)
    )
    assert not job.charges.filter(text="Reverb tank").exists()


def add_charge(page: Page, kind: str, text: str, quantity: str, price: str) -> None:
    charges = section(page, "Charges$")
    unfold(charges, "Add a charge")
    choose(charges, kind)
    write(charges, "What for", text)
    write(charges, "Quantity", quantity)
    write(charges, "Price each", price)
    tap(charges, "Add the charge")


def she_denies_it_and_the_record_answers(page: Page, job: Job) -> None:
    """“I never agreed to a cover, nor to more than 188.” The owner opens all that was asked, and prints it."""
    page.goto(f"{job.get_absolute_url()}estimate/2/")
    tap(page, "All that was asked and answered")
    expect(page.get_by_role("heading", name="What was asked and answered")).to_be_visible()
    first, second = section(page, "Estimate 1"), section(page, "Estimate 2")
    expect(first).to_contain_text("$188.64")
    expect(first).to_contain_text("Declined, Dana Whitlow, by phone")
    expect(first).to_contain_text("“And the bad socket? Look at that too.”")
    expect(second).to_contain_text("Go ahead, Dana Whitlow, signed on the tablet")
    expect(second).to_contain_text("Agreed to: $269.40, tax included. Recorded by Ida Marsh.")
    expect(second.get_by_alt_text("Signature of Dana Whitlow")).to_be_visible()
    unfold(second, "The words that were signed")
    expect(second.get_by_text("Total with what is taken: $269.40")).to_be_visible()
    paper = printed(page, "On paper")
    for words in (
        "What was asked and answered",
        job.claim,
        "Dana Whitlow",
        "Estimate 2, in the place of 1",
        "$188.64",
        "$228.64",
        "And the bad socket? Look at that too.",
        "Taken: Dust cover, sewn to measure",
        "Total with what is taken: $269.40",
        "I agree. Go ahead.",
        "can’t be changed afterwards",
    ):
        assert words in paper.replace(" - ", "-"), words


def nobody_can_answer_again(page: Page, job: Job) -> None:
    """What was said stays as it was said, on both estimates."""
    for number in (1, 2):
        page.goto(f"{job.get_absolute_url()}estimate/{number}/")
        expect(page.get_by_role("button", name="Keep the answer")).to_have_count(0)
        expect(page.get_by_role("button", name="Hand over the tablet")).to_have_count(0)
    assert Answer.objects.count() == 2
