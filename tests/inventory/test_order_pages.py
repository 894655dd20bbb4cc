"""The pages of suppliers and orders: what is typed is read, refused with a sentence, and never lost."""

from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse

from intake.models import State
from inventory import ordering, stock, wants
from inventory.models import Offer, Order, Supplier, Want
from inventory.ordering import Pick
from shop.models import Staff
from tests.conftest import Tablet
from tests.factories import JobFactory, PartFactory, SupplierFactory
from tests.inventory.test_ordering import sent, sold, waiting


def words(answer: Any) -> str:
    return answer.content.decode()


def test_a_supplier_is_written_down_and_changed(as_bench: Tablet) -> None:
    as_bench.send("/suppliers/new/", {"name": "Pier Parts", "lead_days": "4"})
    supplier = Supplier.objects.get()
    assert (supplier.name, supplier.is_in_use) == ("Pier Parts", True)
    page = as_bench.get(f"/suppliers/{supplier.pk}/change/")
    opened = page.context["form"]["opened_with"].value()
    as_bench.send(
        f"/suppliers/{supplier.pk}/change/",
        {"name": "Pier Parts", "lead_days": "9", "is_in_use": "on", "opened_with": opened},
    )
    supplier.refresh_from_db()
    assert supplier.lead_days == 9


def test_two_tablets_that_change_a_supplier_choose(as_bench: Tablet) -> None:
    supplier = SupplierFactory(name="Pier Parts", phone="555 0140")
    opened = as_bench.get(f"/suppliers/{supplier.pk}/change/").context["form"]["opened_with"].value()
    Supplier.objects.filter(pk=supplier.pk).update(phone="555 0141")
    answer = as_bench.send(
        f"/suppliers/{supplier.pk}/change/",
        {
            "name": "Pier Parts",
            "phone": "555 0142",
            "lead_days": "7",
            "is_in_use": "on",
            "opened_with": opened,
        },
    )
    assert answer.status_code == 409
    assert "555 0141" in words(answer) and "555 0142" in words(answer)


def test_a_supplier_of_a_name_that_is_there_is_refused_with_what_was_typed(as_bench: Tablet) -> None:
    SupplierFactory(name="Pier Parts")
    answer = as_bench.send("/suppliers/new/", {"name": "Pier Parts", "lead_days": "4", "note": "by the pier"})
    assert answer.status_code == 422
    assert "written down already" in words(answer) and "by the pier" in words(answer)


def test_an_offer_is_written_down_and_stands_on_the_part(as_bench: Tablet) -> None:
    part, supplier = PartFactory(), SupplierFactory()
    as_bench.send(
        f"/parts/{part.pk}/offers/new/",
        {"supplier": supplier.pk, "number": "C-22", "pack": "10", "price": "12,50", "lead_days": ""},
    )
    offer = Offer.objects.get()
    assert (offer.price, offer.pack, offer.is_first) == (Decimal("12.5"), 10, True)
    page = words(as_bench.get(f"/parts/{part.pk}/"))
    assert "C-22" in page and "$1.25" in page


def test_a_second_offer_of_the_same_number_is_refused_beside_it(as_bench: Tablet, bench: Staff) -> None:
    offer = sold(PartFactory(), number="C-22")
    answer = as_bench.send(
        f"/parts/{offer.part_id}/offers/new/",
        {"supplier": offer.supplier_id, "number": "C-22", "pack": "1", "price": "3"},
    )
    assert answer.status_code == 422
    assert "written down already" in words(answer)


def test_the_counter_sees_orders_and_orders_nothing(as_counter: Tablet, bench: Staff) -> None:
    order = sent(sold(PartFactory()), 1, bench)
    assert as_counter.get(f"/orders/{order.number}/").status_code == 200
    sold(PartFactory(name="EL34", keep=2))
    short = as_counter.get("/parts/short/")
    assert "EL34" in words(short) and "Gather" not in words(short)
    assert as_counter.send("/parts/short/gather/").status_code == 403
    assert as_counter.send(f"/orders/{order.number}/arrive/", {"all": "1"}).status_code == 403


def test_the_whole_road_from_a_job_that_needs_a_part_to_the_job_back_in_line(as_bench: Tablet) -> None:
    part, job = PartFactory(name="Choke 5 H"), waiting()
    sold(part, pack=2, price="9.00")
    as_bench.send(f"/parts/{part.pk}/want/", {"claim": job.claim, "quantity": "1"})
    short = as_bench.get("/parts/short/")
    assert job.claim in words(short)
    as_bench.send("/parts/short/gather/", {f"tick-{part.pk}": "on", f"pieces-{part.pk}": "2"})
    order = Order.objects.get()
    page = words(as_bench.get(f"/orders/{order.number}/"))
    assert "Choke 5 H" in page and "$9.00" in page
    as_bench.send(f"/orders/{order.number}/send/", {"revision": order.revision, "due_on": "2026-12-02"})
    assert "expected" in words(as_bench.get(f"/job/{job.claim}/"))
    arrived = as_bench.send(f"/orders/{order.number}/arrive/", _prices(order) | {"all": "1"}, follow=True)
    assert "back in line" in words(arrived)
    job.refresh_from_db()
    part.refresh_from_db()
    assert (job.state, part.quantity, part.cost) == (State.IN_LINE, 2, Decimal("4.5"))
    front = words(as_bench.get("/"))
    assert "All parts here" in front and str(job.gear) in front


def _prices(order: Order) -> dict[str, str]:
    return {f"each-{line.pk}": "4.50" for line in order.lines.all()}


def test_all_of_it_leaves_out_what_is_back_ordered(as_bench: Tablet, bench: Staff) -> None:
    here, later, supplier = PartFactory(), PartFactory(), SupplierFactory()
    picks = [
        Pick(Offer.objects.create(part=part, supplier=supplier, price=Decimal(1)), 3)
        for part in (here, later)
    ]
    (order,) = ordering.gather(picks, by=bench)
    order.refresh_from_db()
    ordering.send(order, due_on=None, revision=order.revision, by=bench)
    as_bench.send(f"/orders/lines/{order.lines.last().pk}/", {"as": "back-ordered"})
    as_bench.send(f"/orders/{order.number}/arrive/", _prices(order) | {"all": "1"})
    assert [line.came for line in order.lines.all()] == [3, 0]


def test_a_number_too_many_is_refused_and_the_rest_stays_typed(as_bench: Tablet, bench: Staff) -> None:
    order = sent(sold(PartFactory()), 4, bench)
    line = order.lines.get()
    answer = as_bench.send(
        f"/orders/{order.number}/arrive/", {f"came-{line.pk}": "44", f"each-{line.pk}": "2,75"}
    )
    assert answer.status_code == 422
    assert "Only 4 are still to come" in words(answer) and "2,75" in words(answer)


def test_a_parcel_is_taken_in_once_by_two_taps(as_bench: Tablet, bench: Staff) -> None:
    part = PartFactory()
    order = sent(sold(part), 4, bench)
    line = order.lines.get()
    tap = {f"came-{line.pk}": "2", f"each-{line.pk}": "2", "once": "the-same-tap-twice"}
    as_bench.send(f"/orders/{order.number}/arrive/", tap)
    as_bench.send(f"/orders/{order.number}/arrive/", tap)
    part.refresh_from_db()
    assert part.quantity == 2


def test_a_draft_that_grew_meanwhile_is_not_sent_unseen(as_bench: Tablet, bench: Staff) -> None:
    offer = sold(PartFactory())
    (order,) = ordering.gather([Pick(offer, 1)], by=bench)
    seen = Order.objects.get().revision
    ordering.gather([Pick(offer, 1)], by=bench)
    answer = as_bench.send(f"/orders/{order.number}/send/", {"revision": seen, "due_on": ""})
    assert answer.status_code == 409
    assert "Someone else changed this order" in words(answer)
    assert Order.objects.get().sent_at is None


def test_an_order_that_was_not_sent_after_all_is_a_draft_again(as_bench: Tablet, bench: Staff) -> None:
    order = sent(sold(PartFactory()), 2, bench)
    as_bench.send(f"/orders/{order.number}/take-back/")
    order.refresh_from_db()
    assert order.sent_at is None
    ordering.send(order, due_on=None, revision=order.revision, by=bench)
    ordering.arrive(order, arrivals={order.lines.get().pk: ordering.Arrival(1, Decimal(1))}, by=bench)
    assert as_bench.send(f"/orders/{order.number}/take-back/").status_code == 422


def test_pieces_and_prices_of_a_draft_are_changed(as_bench: Tablet, bench: Staff) -> None:
    (order,) = ordering.gather([Pick(sold(PartFactory()), 1)], by=bench)
    order, line = Order.objects.get(), order.lines.get()
    as_bench.send(
        f"/orders/{order.number}/change/",
        {
            "revision": order.revision,
            "note": "Short leads, please.",
            f"pieces-{line.pk}": "12",
            f"price-{line.pk}": "0,125",
        },
    )
    line.refresh_from_db()
    assert (line.quantity, line.price) == (12, Decimal("0.125"))


def test_what_is_short_must_be_ticked_to_be_ordered(as_bench: Tablet) -> None:
    part = PartFactory(keep=2)
    sold(part)
    answer = as_bench.send("/parts/short/gather/", {f"pieces-{part.pk}": "7"})
    assert answer.status_code == 422
    assert "Tick what is to be ordered" in words(answer) and 'value="7"' in words(answer)


def test_what_somebody_ordered_meanwhile_is_not_ordered_twice(as_bench: Tablet, bench: Staff) -> None:
    part, other = PartFactory(keep=2), PartFactory(keep=2)
    offer = sold(part)
    sold(other)
    ordering.gather([Pick(offer, 3)], by=bench)
    ticked = {f"tick-{each.pk}": "on" for each in (part, other)}
    answer = as_bench.send("/parts/short/gather/", ticked | {f"pieces-{other.pk}": "8"})
    assert answer.status_code == 422
    assert "short any more" in words(answer) and 'value="8"' in words(answer)
    assert Order.objects.get().lines.get().quantity == 3


def test_a_long_list_shows_its_first_and_says_how_many_more(as_bench: Tablet, bench: Staff) -> None:
    supplier = SupplierFactory()
    for n in range(45):
        part = PartFactory(name=f"Part {n:02d}", keep=1)
        Offer.objects.create(part=part, supplier=supplier, price=Decimal(1))
    needed = PartFactory(name="Z, which a job needs")
    sold(needed)
    wants.want(needed, waiting(), quantity=1, by=bench)
    page = words(as_bench.get("/parts/short/"))
    assert "Z, which a job needs" in page and "6 more are short" in page
    as_bench.send("/parts/short/gather/", {f"tick-{part.pk}": "on", f"pieces-{part.pk}": "2"})
    assert Order.objects.get().lines.get().part == part  # the last of them, which wasn't among the first


def test_a_short_part_that_nobody_sells_leads_to_who_sells_it(as_bench: Tablet) -> None:
    part = PartFactory(keep=2)
    assert f"/parts/{part.pk}/offers/new/" in words(as_bench.get("/parts/short/"))


@pytest.mark.parametrize("claim", ["2611-9999-X", "nonsense", ""])
def test_a_claim_that_is_none_is_refused_with_a_sentence(as_bench: Tablet, claim: str) -> None:
    part = PartFactory()
    answer = as_bench.send(f"/parts/{part.pk}/want/", {"claim": claim, "quantity": "1"})
    assert answer.status_code == 422
    assert not Want.objects.exists()


def test_a_job_finds_the_part_that_it_needs_by_value(as_bench: Tablet) -> None:
    part = PartFactory(name="22u 450V axial", value=22e-6, volts=450)
    job = JobFactory()
    page = words(as_bench.part(f"/job/{job.claim}/want/", {"q": "22u 450v"}))
    assert f"/parts/{part.pk}/want/?job={job.claim}" in page


def test_a_value_that_reads_two_ways_is_said_and_not_broken(as_bench: Tablet) -> None:
    assert as_bench.get(f"/job/{JobFactory().claim}/want/", {"q": "30-20uF"}).status_code == 200


def test_what_a_job_no_longer_needs_is_dropped_on_its_page(as_bench: Tablet, bench: Staff) -> None:
    job = waiting()
    want = wants.want(PartFactory(), job, quantity=1, by=bench)
    as_bench.send(f"/wants/{want.pk}/drop/")
    job.refresh_from_db()
    assert job.state == State.IN_LINE


def test_what_is_free_is_put_aside_from_what_is_short(as_bench: Tablet, bench: Staff) -> None:
    part, job = PartFactory(), waiting()
    want = wants.want(part, job, quantity=1, by=bench)
    stock.receive(part, quantity=1, cost_each=Decimal(1), by=bench)
    assert f"/wants/{want.pk}/shelf/" in words(as_bench.get("/parts/short/"))
    as_bench.send(f"/wants/{want.pk}/shelf/")
    assert job.asides.get().quantity == 1


# --- What the supplier gets ----------------------------------------------------------------------------------


def test_the_supplier_reads_each_number_once_whoever_wants_it(as_bench: Tablet, bench: Staff) -> None:
    part = PartFactory(name="=cmd")
    offer = sold(part, number="@C22", price="1.25")
    wants.want(part, waiting(), quantity=2, by=bench)
    order = sent(offer, 10, bench)
    table = as_bench.get(f"/orders/{order.number}/table/").content.decode("utf-8-sig").splitlines()
    assert table == [
        "Supplier's number,Part,Pieces,Price of one,Sum,Currency",
        "'@C22,'=cmd,10,1.250000,12.500000,USD",
    ]


def test_the_paper_says_our_number_there_and_not_for_which_job(as_bench: Tablet, bench: Staff) -> None:
    part, job = PartFactory(), waiting()
    offer = sold(part, number="C-22")
    Supplier.objects.update(account="K-4411")
    wants.want(part, job, quantity=2, by=bench)
    order = sent(offer, 2, bench)
    paper = words(as_bench.get(f"/orders/{order.number}/paper/?view=html"))
    assert "K-4411" in paper and "C-22" in paper
    assert job.claim not in paper


def test_the_paper_is_a_pdf(as_bench: Tablet, bench: Staff) -> None:
    order = sent(sold(PartFactory(name="Ω µ “quoted”")), 2, bench)
    assert as_bench.get(f"/orders/{order.number}/paper/").content.startswith(b"%PDF")


# --- Found by what the supplier calls it ---------------------------------------------------------------------


def test_a_scan_of_the_suppliers_own_label_opens_the_part(as_bench: Tablet) -> None:
    offer = sold(PartFactory(), number="PP-22450A")
    answer = as_bench.get("/find/", {"q": "pp-22450a"})
    assert answer.url == f"/parts/{offer.part_id}/"


def test_a_number_that_two_suppliers_use_is_shown_and_opens_nothing(as_bench: Tablet) -> None:
    for name in ("Choke 5 H", "Fuse 2 A"):
        sold(PartFactory(name=name), number="1001")
    page = words(as_bench.get("/find/", {"q": "1001"}))
    assert "Choke 5 H" in page and "Fuse 2 A" in page


def test_a_number_that_is_also_a_type_opens_nothing(as_bench: Tablet) -> None:
    sold(PartFactory(name="EL34, one make", designation="EL34"), number="EL34")
    PartFactory(name="EL34, another make", designation="EL34")
    page = words(as_bench.get("/find/", {"q": "el34"}))
    assert "EL34, one make" in page and "EL34, another make" in page


def test_a_supplier_is_found_by_name(as_bench: Tablet) -> None:
    supplier = SupplierFactory(name="Harbour Valve Supply")
    assert f"/suppliers/{supplier.pk}/" in words(as_bench.get("/find/", {"q": "valve sup"}))


# --- Speed ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["orders", "suppliers", "short", "home"])
def test_a_list_takes_as_many_queries_for_many_as_for_few(
    name: str,
    as_bench: Tablet,
    bench: Staff,
    django_assert_num_queries: Any,
    django_assert_max_num_queries: Any,
) -> None:
    def some(count: int) -> None:
        for _ in range(count):
            part, late = PartFactory(keep=1), PartFactory(keep=1)
            wants.want(part, waiting(), quantity=1, by=bench)
            sold(part)
            (order,) = ordering.gather([Pick(sold(late), 3)], by=bench)
            order.refresh_from_db()
            ordering.send(order, due_on=None, revision=order.revision, by=bench)

    some(3)
    as_bench.get(reverse(name))
    with django_assert_max_num_queries(40) as few:
        as_bench.get(reverse(name))
    some(12)
    with django_assert_num_queries(len(few)):
        as_bench.get(reverse(name))
