"""Gear that nobody collects, from the day it is ready to the day it is let go: told, three letters, a decision.

The shop's clock is set to a winter with a leap day in it; the days are counted by hand on the calendar of 2028:
told on 20 Dec 2027 (day 0), letters planned for days 30, 50 and 70, the deadline on day 90, which is 19 Mar 2028.
"""

import datetime as dt
import re
from collections.abc import Callable, Iterator
from decimal import Decimal

import pytest
from playwright.sync_api import Page, expect

from intake.models import Job, LetGo, State
from shop import demo
from tests.browser.hands import choose, printed, section, sign, tap, write
from tests.factories import GearFactory, JobFactory, PersonFactory, VisitFactory
from tests.intake.bills import charged

pytestmark = pytest.mark.browser

TOLD = dt.datetime(2027, 12, 20, 15, tzinfo=dt.UTC)  # ten in the morning in Port Ansley
OLD, NEW = "7 Kiln Lane\nPort Ansley", "11 Sailmaker Steps\nPort Ansley"


@pytest.fixture
def clock() -> Iterator[demo.Clock]:
    with demo.clock_set_back(TOLD) as clock:
        yield clock


@pytest.fixture
def on_day(clock: demo.Clock) -> Callable[[int], None]:
    """`on_day(30)`: thirty days after the owner was told."""

    def turn(day: int) -> None:
        clock.moment = TOLD + dt.timedelta(days=day)

    return turn


def ready(name: str, address: str, **gear: str) -> Job:
    owner = PersonFactory(name=name, address=address)
    came = TOLD - dt.timedelta(days=20)
    job = JobFactory(
        month="2711",
        gear=GearFactory(owner=owner, **gear),
        visit=VisitFactory(person=owner, at=came),
        since=came,
        state=State.READY,
        state_since=TOLD,
        ready_at=TOLD,
    )
    charged(job, "labour", "New filter capacitors", "80", "1.5", by=job.visit.taken_in_by)
    return job


def test_gear_left_behind_from_ready_to_let_go_with_three_letters(sign_in, owner, counter, on_day):
    job = ready("Dana Whitlow", OLD, kind="combo", maker="Corvane", model="Harbor 22", serial="CH20417")
    other = ready("Piet Harrow", "3 Ropewalk", kind="echo", maker="Oslin", model="Drifter", serial="OD3")

    page = sign_in(counter)
    for each in (job, other):
        tell(page, each)

    on_day(29)
    nothing_is_due(sign_in(counter))
    on_day(30)
    print_and_send_two_letters(sign_in(counter), job, other)
    on_day(36)
    one_comes_back(sign_in(counter), job)
    the_address_is_corrected(sign_in(counter), job)
    first_days, letters = (36, 50, 70), ("Letter", "Registered letter", "Registered letter")
    for number, (day, how) in enumerate(zip(first_days, letters, strict=True), start=1):
        on_day(day)
        send_to_the_new_address(sign_in(counter), job, number, how)
    on_day(90)
    nothing_may_be_done_yet(sign_in(owner), job)
    on_day(95)
    the_owner_says_it_is_left_behind(sign_in(owner), job)
    on_day(130)
    it_is_sold(sign_in(owner), job)
    the_record_prints_as_one_file(sign_in(counter), job)
    its_owner_rings_after_all_and_gets_what_was_left(sign_in(counter), job)
    the_other_is_collected(sign_in(counter), other)


def tell(page: Page, job: Job) -> None:
    page.goto(job.get_absolute_url())
    tap(section(page, "Money"), "Tell the owner")
    choose(page, "By phone")
    tap(page, "They have been told")
    expect(section(page, "Storage")).to_contain_text("30 more days, until Wed 19 Jan 2028")
    expect(section(page, "Storage")).to_contain_text("Sun 19 Mar 2028")


def nothing_is_due(page: Page) -> None:
    page.goto("/storage/")
    expect(section(page, "Notices due today")).to_contain_text("No notice is due.")
    expect(section(page, "What waits")).to_contain_text("Corvane Harbor 22")


def print_and_send_two_letters(page: Page, job: Job, other: Job) -> None:
    """Both owners get their first letter; the two print together. Nothing is recorded before they are sent."""
    page.goto("/storage/")
    due = section(page, "Notices due today")
    expect(due).to_contain_text("Notice 1 to Dana Whitlow")
    expect(due).to_contain_text("Notice 1 to Piet Harrow")
    tap(due, "Write these letters")
    paper = printed(page, "Print all 2")
    for words in ("Dana Whitlow", "7 Kiln Lane", "Piet Harrow", "3 Ropewalk", job.claim, other.claim):
        assert words in paper.replace(" - ", "-")
    assert "We told you on Mon 20 Dec 2027 that it is ready." in paper
    assert "the last day to collect it is Sun 19 Mar 2028." in paper
    assert "differ by place" in paper
    assert not job.storage_notices.exists()
    tap(page, "They are sent")
    expect(page.get_by_text("2 notices are recorded.")).to_be_visible()
    assert [n.sent_on for n in job.storage_notices.all()] == [dt.date(2028, 1, 19)]


def one_comes_back(page: Page, job: Job) -> None:
    page.goto(f"{job.get_absolute_url()}storage/")
    tap(section(page, "Notices"), "It came back")
    write(page, "What it says on it", "Moved away")
    tap(page, "^It came back")
    expect(page.get_by_text("the address is in question.", exact=False).first).to_be_visible()
    notices = section(page, "Notices")
    expect(notices).to_contain_text("doesn’t count: it came back on Tue 25 Jan 2028")
    tap(notices, "Write a notice")  # no letter goes to an address in question
    tap(page, "It is sent")
    expect(page.locator("main")).to_contain_text("the address is in question")
    assert job.storage_notices.count() == 1


def the_address_is_corrected(page: Page, job: Job) -> None:
    page.goto(job.person.get_absolute_url())
    tap(section(page, "Address in question"), "Correct it")
    write(page, "Address", NEW)
    page.locator("main").get_by_role("button", name=re.compile("Keep")).first.tap()
    expect(page.get_by_text("Kept.")).to_be_visible()
    expect(page.get_by_role("heading", name="Address in question")).to_have_count(0)


def send_to_the_new_address(page: Page, job: Job, number: int, how: str) -> None:
    page.goto("/storage/")
    due = section(page, "Notices due today")
    expect(due).to_contain_text(f"Notice {number} to Dana Whitlow")
    page.goto(f"{job.get_absolute_url()}storage/")
    tap(section(page, "Notices"), "Write a notice")
    paper = printed(page, "Print it")
    assert "11 Sailmaker Steps" in paper
    assert "7 Kiln Lane" not in paper
    page.locator("label.choice").filter(has_text=re.compile(f"^{how}$")).tap()
    write(page, "Tracking number", f"RR{number}0417")
    tap(page, "It is sent")
    expect(page.get_by_text("One notice is recorded.")).to_be_visible()
    expect(page.locator("main")).to_contain_text(f"{number} of 3 count")


def nothing_may_be_done_yet(page: Page, job: Job) -> None:
    """On the last day the owner may still come; nobody decides anything."""
    page.goto(f"{job.get_absolute_url()}storage/")
    expect(section(page, "May the shop act")).to_contain_text("Not yet.")
    expect(section(page, "May the shop act")).to_contain_text("Until then the owner may collect it.")
    page.goto(f"{job.get_absolute_url()}storage/let-go/")
    expect(page.get_by_role("button", name="Let it go")).to_have_count(0)


def the_owner_says_it_is_left_behind(page: Page, job: Job) -> None:
    page.goto("/storage/")
    expect(section(page, "Past the deadline")).to_contain_text("every notice is recorded")
    page.goto(f"{job.get_absolute_url()}storage/")
    tap(section(page, "May the shop act"), "Record it as left behind")
    expect(page.get_by_text("It is recorded as left behind. Nothing else has happened.")).to_be_visible()
    job.refresh_from_db()
    assert job.state == State.LEFT_BEHIND


def it_is_sold(page: Page, job: Job) -> None:
    """Day 130: 100 days at $2 after the 30 free ones, and $120 of work. 420 - 12.50 - 320 leave 87.50."""
    page.goto(f"{job.get_absolute_url()}storage/")
    tap(section(page, "May the shop act"), "Record what becomes of it")
    expect(page.locator("main")).to_contain_text("$120.00 unpaid and $200.00 storage")
    choose(page, "Sold")
    write(page, "To whom", "Tobin Crane")
    write(page, "Sold for", "420")
    choose(page, "Cash")
    write(page, "What selling it cost", "12.50")
    page.get_by_label("How that was paid").select_option("Cash")
    write(page, "Why, and how", "Offered in the window for a month.")
    tap(page, "^Let it go")
    expect(page.get_by_label("I have checked what the law")).to_be_focused()  # nothing goes without the tick
    assert not LetGo.objects.exists()
    choose(page, "I have checked what the law")
    tap(page, "^Let it go")
    expect(page.get_by_role("heading", name="Sold")).to_be_visible()
    expect(page.locator("main")).to_contain_text("$87.50 is held for Dana Whitlow")
    job.refresh_from_db()
    gone = job.let_go
    assert (job.state, gone.claims, gone.surplus) == (State.LET_GO, Decimal(320), Decimal("87.50"))
    assert gone.may_act["notices that count"] == ["2028-01-25", "2028-02-08", "2028-02-28"]


def the_record_prints_as_one_file(page: Page, job: Job) -> None:
    page.goto(f"{job.get_absolute_url()}storage/")
    record = printed(page, "The whole record")
    for words in (
        "The shop's terms.",  # what was signed
        "Told on Mon 20 Dec 2027",
        "Deadline Sun 19 Mar 2028",
        "Notice 1, letter, sent Wed 19 Jan 2028",
        "Came back on Tue 25 Jan 2028",
        "Moved away",
        "Notice 2, letter, sent Tue 25 Jan 2028",
        "Notice 3, registered letter, sent Tue 8 Feb 2028",
        "Notice 4, registered letter, sent Mon 28 Feb 2028",
        "RR30417",
        "11 Sailmaker Steps",
        "Sold",
        "Tobin Crane",
        "Decided by Wren Adeyemi",
        "Offered in the window for a month.",
        "$420.00",
        "$12.50",
        "$320.00",
        "$87.50",
        "differ by place",
    ):
        assert words in record, words


def its_owner_rings_after_all_and_gets_what_was_left(page: Page, job: Job) -> None:
    page.goto("/storage/")
    expect(section(page, "What became of it")).to_contain_text("$87.50 held for the gear’s owner")
    page.goto(f"{job.get_absolute_url()}storage/")
    tap(page, "Give it back")
    choose(page, "Bank transfer")
    write(page, "Why", "What was left of the sale.")
    tap(page, "It is given back")
    expect(page.get_by_role("heading", name="Given back, bank transfer: $87.50")).to_be_visible()
    assert "Given back, bank transfer" in printed(page, "Receipt")


def the_other_is_collected(page: Page, other: Job) -> None:
    """Whoever comes late collects as anybody does, and owes what the work costs."""
    page.goto("/storage/")
    expect(section(page, "What became of it")).to_contain_text("what was left over is given back")
    page.goto(other.get_absolute_url())
    tap(section(page, "Money"), "^Invoice")
    tap(page, "Issue it for \\$120.00")
    expect(
        page.get_by_role("heading", name="Invoice INV-00002")
    ).to_be_visible()  # the first is of what was sold
    page.goto(f"{other.get_absolute_url()}payment/")
    choose(page, "Card")
    tap(page, "It is paid")
    tap(page, "Hand it back")
    choose(page, "Oslin Drifter")
    sign(page)
    tap(page, "It goes home")
    expect(page.get_by_role("heading", name="It went home")).to_be_visible()
