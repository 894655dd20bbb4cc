"""A part's way through the shop: it arrives, is labelled, found by its value, used by scanning and charged, runs out,
is ordered for the job that waits for it, comes, and the job is back in line.

A scanner is a keyboard that types fast and ends with Enter: see `scan` in hands.py.
"""

import re
from decimal import Decimal

import pytest
from playwright.sync_api import Locator, Page, expect

from intake.models import Job, State
from inventory import stock
from inventory.models import Drawer, Order, Part
from tests.browser.hands import choose, printed, scan, section, tap, write
from tests.factories import DrawerFactory, JobFactory, PartFactory

pytestmark = pytest.mark.browser

NAME = "22u 450V axial"


def test_a_part_from_its_arrival_to_the_job_that_waited_for_it(sign_in, owner, bench, live_server):
    first, second = (JobFactory(state=State.ON_THE_BENCH) for _ in range(2))
    desk, workbench = sign_in(owner), sign_in(bench, theme="bench")
    arrives(desk)
    is_labelled(desk)
    is_found_by_its_value(desk)
    is_used_by_scanning(workbench, first, live_server.url)
    runs_out(workbench, first, second, live_server.url)
    is_ordered(desk, second)
    comes(desk)
    is_back_in_line(workbench, second, live_server.url)
    assert stock.check() == []


def used(page: Page) -> Locator:
    """The box of parts on a job's page, or on the front page."""
    return section(page, r"Parts( \d+)?$")


def arrives(page: Page) -> None:
    """A drawer and a part are written down as people write them; three came, at 1.90 each."""
    page.goto("/parts/")
    tap(page, "Drawers")
    tap(page, "New drawer")
    write(page, "Code", "B-14")
    page.locator("main").get_by_role("button").last.tap()
    expect(page.get_by_role("heading", name=re.compile("B-14"))).to_be_visible()
    page.goto("/parts/")
    tap(page, "New part")
    write(page, "What it is", NAME)
    expect(page.locator("#part-read")).to_contain_text("450 V")  # how it was read, while it is typed
    write(page, "Drawer", "b-14")
    write(page, "How many are there", "3")
    write(page, "What one cost", "1.90")
    write(page, "Reorder at", "2")
    tap(page, "Write it down")
    expect(page.get_by_role("heading", name=NAME)).to_be_visible()
    part = Part.objects.get()
    assert (part.kind, part.value, part.volts, part.leads) == ("capacitor", 22e-6, 450, "axial")
    assert (part.quantity, part.cost, part.drawer) == (3, Decimal("1.90"), Drawer.objects.get())


def is_labelled(page: Page) -> None:
    page.goto("/labels/")
    choose(page, "B-14")
    sheet = page.locator("#labels-form").evaluate(
        "form => form.getAttribute('action') + '?' + new URLSearchParams(new FormData(form))"
    )
    page.locator("main").evaluate(
        "(main, href) => { const link = document.createElement('a'); link.href = href;"
        " link.textContent = 'The labels'; main.append(link); }",
        sheet,
    )
    paper = printed(page, "The labels")
    assert "B-14" in paper
    assert NAME in paper


def is_found_by_its_value(page: Page) -> None:
    """Among the parts by a range; in the one search box by its value."""
    PartFactory(name="22u 25V radial", value=22e-6, volts=25, leads="radial", search=" 22u 25v radial ")
    page.goto("/parts/")
    found = page.locator("#parts-list")
    page.locator("#parts-q").press_sequentially(">=450V 20-24uF axial", delay=10)
    expect(found.get_by_role("link", name=NAME)).to_be_visible()
    expect(found.get_by_text("22u 25V radial")).to_have_count(0)
    page.goto("/")
    page.get_by_role("combobox").press_sequentially("22uF 450v", delay=20)
    page.get_by_role("option").filter(has_text=NAME).tap()
    expect(page.get_by_role("heading", name=NAME)).to_be_visible()


def is_used_by_scanning(page: Page, job: Job, address: str) -> None:
    """Scan the job's tag, scan the drawer's label: one is used and charged, by the shop's mark-up."""
    scan(page, f"{address}/t/{job.claim}/")
    page.wait_for_url(f"**/job/{job.claim}/")
    scan(page, f"{address}/d/B-14/")
    parts = used(page)
    expect(parts.get_by_role("status")).to_contain_text("2 are left in B-14")
    expect(parts.get_by_role("row").filter(has_text=NAME)).to_be_visible()
    line = job.charges.get()
    assert (line.text, line.quantity, line.unit_cost) == (NAME, 1, Decimal("1.90"))
    assert line.unit_price >= line.unit_cost
    price = f"${line.unit_price:.2f}"
    expect(section(page, "Charges$").get_by_role("row").filter(has_text=NAME)).to_contain_text(price)


def runs_out(page: Page, first: Job, second: Job, address: str) -> None:
    """Two more scans empty the drawer, one after the other without a pause; the next job gets none, and waits."""
    scan(page, f"{address}/d/B-14/")
    scan(page, f"{address}/d/B-14/")
    expect(used(page).get_by_role("status")).to_contain_text("0 are left in B-14")
    assert sum(line.quantity for line in first.charges.all()) == 3
    scan(page, f"{address}/t/{second.claim}/")
    page.wait_for_url(f"**/job/{second.claim}/")
    scan(page, f"{address}/d/B-14/")
    expect(used(page).get_by_text(re.compile(f"None of {NAME}"))).to_be_visible()
    assert not second.charges.exists()
    page.goto(f"/job/{second.claim}/want/")
    page.get_by_label("Value, type or name").press_sequentially("22u 450v", delay=20)
    page.locator("#want-found").get_by_role("link", name=NAME).tap()
    write(page, "Pieces", "1")
    tap(page, "The job needs it")
    page.wait_for_url(re.compile(f"/job/{second.claim}/"))
    tap(page.get_by_role("group", name="Move it to"), "(P|p)arts on order")
    expect(page.get_by_text("Moved: parts on order.")).to_be_visible()


def is_ordered(page: Page, waits: Job) -> None:
    """Who sells it is written down; the front page says that it isn't ordered; the order goes out, the job's first."""
    page.goto("/suppliers/new/")
    write(page, "Name", "Pier Parts")
    tap(page, "^Keep")
    expect(page.get_by_role("heading", name="Pier Parts")).to_be_visible()
    page.goto(Part.objects.get(name=NAME).get_absolute_url())
    tap(section(page, "Ordering it"), "Who sells it")
    page.get_by_label("Supplier").select_option(label="Pier Parts")
    write(page, "Their number", "PP-2245")
    write(page, "Pieces in a pack", "5")
    write(page, "Price of a pack", "9.00")
    tap(page, "^Keep")
    expect(section(page, "Ordering it").get_by_role("row").filter(has_text="PP-2245")).to_be_visible()
    page.goto("/")
    tap(used(page), "isn't ordered yet")
    row = page.get_by_role("group", name=NAME)
    expect(row).to_contain_text(f"1 for {waits.claim}")
    write(row, "Pieces", "5")
    tap(page, "Gather")
    page.wait_for_url("**/orders/**")
    order = Order.objects.get()
    page.goto(f"/orders/{order.number}/")
    paper = printed(page, "Print")
    assert "PP-2245" in paper
    tap(page, "It is sent")
    expect(page.get_by_role("heading", name="What came")).to_be_visible()
    assert Job.objects.get(pk=waits.pk).state == State.PARTS_ON_ORDER


def comes(page: Page) -> None:
    tap(page, "All of it came")
    expect(page.get_by_text("Closed")).to_be_visible()
    part = Part.objects.get(name=NAME)
    assert (part.quantity, part.cost) == (5, Decimal("1.80"))  # 9.00 for five, nothing was there


def is_back_in_line(page: Page, job: Job, address: str) -> None:
    """The front page says so; one is put aside for it, and is the one that it uses."""
    page.goto("/")
    parts = used(page)
    expect(parts.get_by_role("heading", name="All parts here: back in line")).to_be_visible()
    expect(parts.get_by_role("link", name=re.compile("Meridian 50"))).to_be_visible()
    job.refresh_from_db()
    assert job.state == State.IN_LINE
    scan(page, f"{address}/t/{job.claim}/")
    page.wait_for_url(f"**/job/{job.claim}/")
    tap(page, "On the bench")
    expect(page.get_by_text("Moved: on the bench.")).to_be_visible()
    aside = used(page).get_by_role("listitem").filter(has_text=f"1 × {NAME}")
    expect(aside).to_be_visible()
    tap(aside, "^Use")
    expect(used(page).get_by_role("status")).to_contain_text("4 are left in B-14")
    assert job.charges.get().text == NAME


def test_the_last_one_goes_to_one_tablet_and_the_other_is_told_who_has_none(
    sign_in, owner, bench, live_server
):
    part = PartFactory(name=NAME, drawer=DrawerFactory(code="B-14"))
    stock.receive(part, quantity=1, cost_each=Decimal(2), by=owner)
    tablets = [sign_in(owner), sign_in(bench, theme="bench")]
    jobs = [JobFactory(state=State.ON_THE_BENCH) for _ in tablets]
    for page, job in zip(tablets, jobs, strict=True):
        page.goto(job.get_absolute_url())
        expect(used(page)).to_be_visible()
    for page in tablets:
        scan(page, f"{live_server.url}/d/B-14/")
    expect(used(tablets[0]).get_by_role("status")).to_contain_text("0 are left")
    expect(used(tablets[1]).get_by_text(re.compile(f"None of {NAME}"))).to_be_visible()
    assert [job.charges.count() for job in jobs] == [1, 0]


def test_what_is_counted_is_shown_before_it_is_posted(sign_in, owner, live_server):
    part = PartFactory(name=NAME, drawer=DrawerFactory(code="B-14"))
    stock.receive(part, quantity=9, cost_each=Decimal(2), by=owner)
    page = sign_in(owner)
    page.goto("/counting/")
    write(page, "What is counted", "Capacitors")
    tap(page, "Begin counting")
    page.wait_for_url(re.compile(r"/counting/\d+/$"))
    round_ = page.url
    scan(page, f"{live_server.url}/d/B-14/")
    expect(page.get_by_role("heading", name="Count B-14")).to_be_visible()
    write(page, NAME, "7")
    tap(page, "Write it down, next drawer")
    page.wait_for_url(lambda url: "/drawer/" not in url)
    page.goto(f"{round_}differences/")
    expect(page.get_by_role("row").filter(has_text=NAME)).to_contain_text("-2")
    assert Part.objects.get().quantity == 9
    tap(page, "Post the differences")
    expect(page.locator("main")).to_contain_text("Posted")
    assert Part.objects.get().quantity == 7
