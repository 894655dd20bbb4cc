"""The pages of stock planning: what they say, who sees them, that they ask no more of a bigger shop."""

import csv
import datetime as dt
import io
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.models import Move, Offer, Order, OrderLine
from tests.factories import DrawerFactory, GearFactory, JobFactory, PartFactory, StaffFactory, SupplierFactory

pytestmark = pytest.mark.django_db
D = Decimal
PAGES = ["/planning/", "/planning/best-use/", "/planning/asleep/", "/planning/queue/"]
SHEETS = ["/planning.csv", "/planning/best-use.csv", "/planning/asleep.csv", "/planning/queue.csv"]


def move(part: Any, why: str, quantity: int, days: int, **rest: Any) -> Move:
    part.quantity += quantity
    type(part).objects.filter(pk=part.pk).update(quantity=part.quantity)
    rest = {"words": "as it was", "by": StaffFactory(), **rest}
    at = timezone.now() - dt.timedelta(days=days)
    return Move.objects.create(part=part, why=why, quantity=quantity, left=part.quantity, at=at, **rest)


def used_part(name: str = "22u 450V axial", times: int = 3, **fields: Any) -> Any:
    """A part that jobs on the same kind of amplifier took, a month apart; ten came a year ago."""
    part = PartFactory(name=name, drawer=DrawerFactory(), cost=D("2.50"), **fields)
    move(part, "received", 10, 370)
    for n in range(times):
        job = JobFactory(gear=GearFactory(), state="collected", ready_at=timezone.now())
        move(part, "used", -1, 30 * n + 5, job=job)
    return part


def rows(answer: Any) -> list[dict[str, str]]:
    assert answer.status_code == 200
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))


@pytest.mark.parametrize("path", PAGES)
def test_an_empty_shop_says_what_to_do(shop, as_owner, path) -> None:
    answer = as_owner.get(path)
    assert answer.status_code == 200
    assert 'class="empty' in answer.content.decode()


@pytest.mark.parametrize("path", PAGES + SHEETS)
def test_the_counter_sees_no_money_of_the_stock(shop, as_counter, path) -> None:
    money = "best-use" in path or "asleep" in path
    assert as_counter.get(path).status_code == (403 if money else 200)


def test_the_reports_page_leads_to_them(shop, as_owner) -> None:
    text = as_owner.get("/reports/").content.decode()
    assert all(f'href="{path}"' in text for path in PAGES)


def test_what_is_due_comes_first_and_says_so(shop, as_bench) -> None:
    used_part("a: enough", times=4)
    empty = used_part("b: none left", times=4)
    move(empty, "scrapped", -6, 1)
    text = as_bench.get("/planning/").content.decode()
    heads = [
        text.index(words)
        for words in ("1 to order now", "b: none left", "Not to be ordered now", "a: enough")
    ]
    assert heads == sorted(heads)


def test_where_nothing_is_due_the_page_says_so(shop, as_bench) -> None:
    used_part("a: enough", times=4)
    text = as_bench.get("/planning/").content.decode()
    assert text.index("Nothing to order now") < text.index("Not to be ordered now") < text.index("a: enough")


def test_a_higher_service_level_never_keeps_less(shop, as_bench) -> None:
    used_part(times=9)
    at = [
        int(rows(as_bench.get(f"/planning.csv?service={level}"))[0]["Reorder at"])
        for level in (80, 90, 95, 98)
    ]
    assert at == sorted(at)
    assert at[0] < at[-1]


@pytest.mark.parametrize(
    "query", ["service=0", "service=100", "service=x", "service=%00", "page=9999", "page=-1"]
)
def test_an_address_that_makes_no_sense_shows_the_usual(shop, as_bench, query) -> None:
    used_part()
    answer = as_bench.get(f"/planning/?{query}")
    assert answer.status_code == 200
    assert "95 % of the time" in answer.content.decode()


def test_a_part_shows_how_it_is_planned(shop, as_bench) -> None:
    part = used_part(times=6)
    text = as_bench.get(f"/planning/{part.pk}/").content.decode()
    assert "TSB (this one counts)" in text
    assert "no supplier yet: a guess" in text
    assert "<svg" in text


def test_a_part_used_seldom_says_that_its_rate_is_a_guess(shop, as_bench) -> None:
    part = used_part(times=2)
    assert "Gamma-Poisson (this one counts)" in as_bench.get(f"/planning/{part.pk}/").content.decode()


def test_a_part_that_nobody_used_has_nothing_to_plan(shop, as_bench) -> None:
    part = PartFactory()
    answer = as_bench.get(f"/planning/{part.pk}/")
    assert answer.status_code == 200
    assert "nothing to plan from" in answer.content.decode()


def test_bulk_goods_have_a_page_too(shop, as_bench) -> None:
    part = PartFactory()
    for n in range(6):
        move(part, "used", -9000, n * 30, job=JobFactory())
    answer = as_bench.get(f"/planning/{part.pk}/")
    assert answer.status_code == 200
    assert "counting them one by one is no help" in answer.content.decode()


def test_a_loose_part_is_not_planned(shop, as_bench) -> None:
    part = PartFactory(is_loose=True, level="plenty")
    assert as_bench.get(f"/planning/{part.pk}/").status_code == 404


def test_a_sum_buys_what_spares_the_most_and_says_where(shop, as_bench) -> None:
    part = used_part(times=6)
    move(part, "scrapped", -4, 1)
    Offer.objects.create(
        part=part, supplier=SupplierFactory(name="Pier Parts"), number="PP-22", pack=2, price=5
    )
    (row,) = rows(as_bench.get("/planning/best-use.csv?money=5"))
    assert (row["Supplier"], row["Their number"], row["Pieces"], row["Cost"]) == (
        "Pier Parts",
        "PP-22",
        "2",
        "5.000",
    )
    text = as_bench.get("/planning/best-use/?money=5").content.decode()
    assert "Buy for $5.00" in text
    assert "No other choice for this sum spares more." in text
    assert "<svg" in text


def test_what_was_shown_goes_on_the_suppliers_next_order(shop, as_bench) -> None:
    part = used_part(times=6)
    offer = Offer.objects.create(part=part, supplier=SupplierFactory(), pack=2, price=5)
    move(part, "scrapped", -4, 1)
    text = as_bench.get("/planning/best-use/?money=5").content.decode()
    assert f'name="pick" value="{offer.pk}:2"' in text
    answer = as_bench.send("/planning/best-use/order/", {"pick": [f"{offer.pk}:2"]})
    line = OrderLine.objects.get()
    assert (line.part, line.quantity, line.price) == (part, 2, D("2.5"))
    assert answer["Location"] == f"/orders/{line.order.number}/"


@pytest.mark.parametrize(
    "picks", [[], ["x"], ["1"], ["999:1"], ["1:-1"], ["1:0x1"], ["9" * 30 + ":1"], ["١:1"]]
)
def test_an_order_that_nobody_was_shown_is_refused(shop, as_bench, picks) -> None:
    assert as_bench.send("/planning/best-use/order/", {"pick": picks}).status_code == 422
    assert not Order.objects.exists()


@pytest.mark.parametrize("pieces", ["0", "99999999"])
def test_an_order_of_none_or_of_too_many_is_refused(shop, as_bench, pieces) -> None:
    offer = Offer.objects.create(part=used_part(), supplier=SupplierFactory(), price=5)
    assert as_bench.send("/planning/best-use/order/", {"pick": [f"{offer.pk}:{pieces}"]}).status_code == 422
    assert not Order.objects.exists()


def test_a_parts_own_page_says_what_is_planned(shop, as_bench) -> None:
    part = used_part(times=3)
    text = as_bench.get(f"/parts/{part.pk}/").content.decode()
    assert f'href="/planning/{part.pk}/"' in text
    assert "from 3 jobs" in text
    unused = PartFactory()
    assert f'href="/planning/{unused.pk}/"' not in as_bench.get(f"/parts/{unused.pk}/").content.decode()


def test_a_part_out_of_use_still_shows_what_was_wanted(shop, as_bench) -> None:
    part = used_part(times=3, is_in_use=False)
    assert "Pieces wanted" in as_bench.get(f"/planning/{part.pk}/").content.decode()
    assert part.name not in as_bench.get("/planning/").content.decode()


@pytest.mark.parametrize("money", ["", "-3", "lots", "1e9", "99999999", "NaN", "٣٠"])
def test_a_sum_that_cannot_be_read_is_asked_again(shop, as_bench, money) -> None:
    used_part()
    answer = as_bench.get("/planning/best-use/", {"money": money})
    assert answer.status_code == 422
    assert as_bench.get("/planning/best-use.csv", {"money": money}).status_code == 404


def test_a_sum_that_buys_no_pack_says_so(shop, as_bench) -> None:
    used_part()
    assert "can be had for this sum" in as_bench.get("/planning/best-use/?money=0").content.decode()


def test_money_asleep_adds_up_to_what_is_in_the_drawers(shop, as_owner) -> None:
    used_part(times=0)
    used_part("12AX7", times=3)
    move(PartFactory(name="new", cost=4), "received", 2, 3)
    text = as_owner.get("/planning/asleep/").content.decode()
    assert "$50.50 lies in the drawers" in text
    assert "1 part not moved for 6 months or longer" in text
    sheet = rows(as_owner.get("/planning/asleep.csv"))
    assert sum(D(row["Money"]) for row in sheet) == D("50.50")
    assert [row["Months without a move"] for row in sheet] == ["12", "0", "0"]


@pytest.mark.parametrize(
    "query, shown", [("months=0", 2), ("months=12", 1), ("months=24", 0), ("months=7", 1)]
)
def test_only_what_lies_long_enough_is_listed(shop, as_owner, query, shown) -> None:
    used_part(times=0)
    used_part(times=2)
    said = f"{shown} part not moved" if shown == 1 else f"{shown} parts not moved"
    assert said in as_owner.get(f"/planning/asleep/?{query}").content.decode()


def test_the_queue_says_for_which_jobs(shop, as_counter) -> None:
    used_part(times=2)
    job = JobFactory(gear=GearFactory(), state="in-line")
    strange = JobFactory(gear=GearFactory(maker="Kestrel", model="73", kind="keyboard"), state="in-line")
    answer = as_counter.get("/planning/queue/")
    text = answer.content.decode()
    assert f'href="/job/{job.claim}/"' in text
    assert text.index(f"/job/{strange.claim}/") > text.index("Nothing known yet")
    (row,) = rows(as_counter.get("/planning/queue.csv"))
    assert row["Jobs that used it before"] == "2"


def test_names_that_begin_a_formula_are_no_formula_in_the_spreadsheet(shop, as_owner) -> None:
    used_part("=1+1")
    for path in ("/planning.csv", "/planning/asleep.csv"):
        assert rows(as_owner.get(path))[0]["Part"] == "'=1+1"


@pytest.mark.parametrize("path", PAGES)
def test_a_bigger_shop_asks_no_more_queries(shop, as_owner, path) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert as_owner.get(path).status_code == 200
        return len(queries)

    def more(count: int) -> None:
        for n in range(count):
            part = used_part(f"part {n}", times=2)
            Offer.objects.create(part=part, supplier=SupplierFactory(), price=3)
            JobFactory(gear=GearFactory(), state="in-line")

    more(2)
    asked()
    few = asked()
    more(4)
    assert asked() == few
