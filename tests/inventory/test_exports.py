"""Every table of the stock, for a spreadsheet: whole, and safe to open.

What a spreadsheet takes for a formula is named by OWASP, "CSV Injection": text that begins with =, +, - or @.
"""

import csv
import io
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory import bench as bench_gear
from inventory import exports, stock
from inventory.models import (
    Aside,
    CountLine,
    CountRound,
    Offer,
    Order,
    OrderLine,
    Part,
    Tube,
    TubeReading,
    TubeSet,
    Want,
)
from tests.factories import DrawerFactory, JobFactory, PartFactory, SupplierFactory

BAD = '=HYPERLINK("http://x.example";"look")'


def table(tablet, slug):
    """The rows of a file, by the names in its head."""
    answer = tablet.get(f"/parts/files/{slug}.csv")
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert f"{slug}-" in answer.headers["Content-Disposition"]
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"), newline="")))


@pytest.fixture
def stocked(shop, bench):
    """One row of everything, with a formula wherever somebody may write."""
    drawer = DrawerFactory(code="=B-1", place=BAD, note="+1")
    part = PartFactory(kind="tube", name=BAD, make="-make", note="@note", drawer=drawer)
    job = JobFactory()
    stock.receive(part, quantity=5, cost_each=Decimal("1.5"), by=bench, words=BAD)
    used = stock.use_on_job(part, job, by=bench)
    Aside.objects.create(part=part, job=job, quantity=1, by=bench)
    Want.objects.create(part=part, job=job, quantity=2, by=bench)
    supplier = SupplierFactory(name=BAD, address="=1\n=2", note="=1")
    Offer.objects.create(part=part, supplier=supplier, number="-12", price=Decimal("3.5"))
    order = Order.objects.create(supplier=supplier, number=7, by=bench, sent_at=timezone.now())
    OrderLine.objects.create(order=order, part=part, quantity=4, price=Decimal(1), came=1, job=job)
    pair = TubeSet.objects.create(label="=S-1", part=part, by=bench)
    tube = Tube.objects.create(label="=T-1", part=part, make="=m", note="=n", set=pair, came_from=job)
    TubeReading.objects.create(
        tube=tube, plate_volts=250, grid_volts=-14.5, current=0.035, by=bench, tester="=t"
    )
    counting = CountRound.objects.create(by=bench, words="=w")
    CountLine.objects.create(round=counting, drawer=drawer, part=part, expected=4, counted=3, by=bench)
    load = bench_gear.add(by=bench, kind="test load", name="=load", impedance=8.0, watts=500.0, note="=n")
    bench_gear.lend(load, to_whom="=Sam", due_on=None, by=bench)
    return {"part": part, "job": job, "used": used}


@pytest.mark.parametrize("slug", [table.slug for table in exports.TABLES])
def test_no_cell_of_any_file_is_a_formula(as_bench, stocked, slug):
    numbers = 0
    for row in table(as_bench, slug):
        for cell in row.values():
            if cell.startswith(("=", "+", "-", "@", "\t", "\r")):
                float(cell)  # a number of ours, below zero
                numbers += 1
    assert numbers == {"moves": 1, "tube-readings": 1}.get(slug, 0)


@pytest.mark.parametrize("slug", [table.slug for table in exports.TABLES])
def test_every_file_has_what_is_there_in_the_same_number_of_queries(as_bench, stocked, slug, bench):
    assert len(table(as_bench, slug)) >= 1
    rows = exports.by_slug(slug).rows
    with CaptureQueriesContext(connection) as asked:
        assert all(len(row) == len(exports.by_slug(slug).head) for row in rows())
    assert len(asked) == 1


def test_the_file_of_moves_is_the_whole_ledger(as_bench, stocked):
    moves = table(as_bench, "moves")
    assert [(row["why"], row["quantity"], row["left"], row["job"]) for row in moves] == [
        ("received", "5", "5", ""),
        ("used on a job", "-1", "4", stocked["job"].claim),
    ]
    assert sum(int(row["quantity"]) for row in moves) == Part.objects.get().quantity
    assert moves[0]["words"] == f"'{BAD}"


def test_the_file_of_orders_says_what_is_still_to_come(as_bench, stocked):
    (row,) = table(as_bench, "orders")
    assert (row["order"], row["ordered"], row["came"], row["job"]) == ("7", "4", "1", stocked["job"].claim)


def test_a_reading_says_its_units(as_bench, stocked):
    (row,) = table(as_bench, "tube-readings")
    assert (row["tube"], row["grid, V"], row["plate current, A"]) == ("'=T-1", "-14.5", "0.035")


def test_a_file_that_is_none_of_these_is_not_found(as_bench):
    assert as_bench.get("/parts/files/staff.csv").status_code == 404


def test_the_page_names_every_file(as_bench):
    page = as_bench.get("/parts/files/").content.decode()
    for each in exports.TABLES:
        assert f"/parts/files/{each.slug}.csv" in page
    assert "Read parts in" not in page  # that is the owner's


def test_an_empty_shop_gives_a_head_to_fill_in(as_bench):
    answer = as_bench.get("/parts/files/parts.csv").content.decode("utf-8-sig")
    assert answer.startswith("part no.,kind,what it is,value")
