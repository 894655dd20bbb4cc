"""Orders: gathered for jobs first, sent, come in in parts or not at all; and jobs that go back in line by it."""

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intake.models import Job, State
from inventory import aside, ordering, stock, wants
from inventory.models import Aside, Move, Offer, Order, Part, Want
from inventory.ordering import Arrival, Pick, Wish
from inventory.short import reckon, short_list, whole_packs
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from shop.models import Staff
from tests.factories import JobFactory, PartFactory, SupplierFactory


def sold(part: Part, *, pack: int = 1, price: str = "2", **more: Any) -> Offer:
    """An offer of a supplier of its own."""
    return Offer.objects.create(
        part=part, supplier=SupplierFactory(), pack=pack, price=Decimal(price), is_first=True, **more
    )


def waiting() -> Job:
    return JobFactory(state=State.PARTS_ON_ORDER)


def sent(offer: Offer, quantity: int, by: Staff) -> Order:
    (order,) = ordering.gather([Pick(offer, quantity)], by=by)
    ordering.send(order, due_on=None, revision=Order.objects.get().revision, by=by)
    return Order.objects.get()


def arrive(order: Order, by: Staff, *counts: int, each: str = "2") -> ordering.Arrived:
    """So many of each line, in the order in which they stand."""
    lines = order.lines.all()
    return ordering.arrive(
        order,
        arrivals={line.pk: Arrival(n, Decimal(each)) for line, n in zip(lines, counts, strict=True)},
        by=by,
    )


# --- How much to order: arithmetic of our own convention, no source -------------------------------------------


@pytest.mark.parametrize(
    ("free", "wanted", "on_order", "reorder_at", "for_jobs", "for_shelf"),
    [
        (0, 0, 0, None, 0, 0),
        (0, 2, 0, None, 2, 0),
        (5, 2, 0, None, 0, 0),  # what is free serves the jobs
        (1, 3, 0, None, 2, 0),
        (3, 0, 0, 3, 0, 1),  # at the number it is time, and one more ends that
        (4, 0, 0, 3, 0, 0),
        (0, 0, 4, 3, 0, 0),  # on its way
        (5, 3, 0, 3, 0, 2),  # the jobs take the shelf below its number
        (-2, 0, 0, None, 0, 2),  # more was taken than was counted
        (0, 0, 0, 0, 0, 1),
    ],
)
def test_what_is_free_goes_to_jobs_and_the_shelf_comes_above_its_number(
    free: int, wanted: int, on_order: int, reorder_at: int | None, for_jobs: int, for_shelf: int
) -> None:
    need = reckon(free=free, wanted=wanted, on_order=on_order, reorder_at=reorder_at)
    assert (need.for_jobs, need.for_shelf) == (for_jobs, for_shelf)


@given(
    free=st.integers(-50, 50),
    wanted=st.integers(0, 50),
    on_order=st.integers(0, 50),
    at=st.none() | st.integers(0, 30),
)
def test_nothing_is_short_once_what_it_says_is_ordered(
    free: int, wanted: int, on_order: int, at: int | None
) -> None:
    need = reckon(free=free, wanted=wanted, on_order=on_order, reorder_at=at)
    then = reckon(free=free, wanted=wanted - need.for_jobs, on_order=on_order + need.for_shelf, reorder_at=at)
    assert then.pieces == 0


@given(pieces=st.integers(0, 10_000), pack=st.integers(1, 500))
def test_whole_packs_are_enough_and_never_a_pack_too_many(pieces: int, pack: int) -> None:
    whole = whole_packs(pieces, pack)
    assert whole % pack == 0
    assert 0 <= whole - pieces < pack


# --- What is short -------------------------------------------------------------------------------------------


def test_jobs_come_first_in_what_is_short(bench: Staff) -> None:
    sold(PartFactory(name="A hum capacitor", keep=3))
    needed = PartFactory(name="Z choke")
    sold(needed)
    wants.want(needed, waiting(), quantity=1, by=bench)
    assert [row.part.name for row in short_list().parts] == ["Z choke", "A hum capacitor"]


def test_what_is_short_is_rounded_up_to_packs(bench: Staff) -> None:
    sold(PartFactory(keep=3), pack=10)
    (row,) = short_list().parts
    assert (row.need.pieces, row.pieces) == (4, 10)


def test_what_is_on_an_order_is_not_short_a_second_time(bench: Staff) -> None:
    part, job = PartFactory(keep=3), waiting()
    offer = sold(part)
    wants.want(part, job, quantity=2, by=bench)
    ordering.gather([Pick(offer, short_list().parts[0].pieces)], by=bench)
    assert short_list().parts == []


def test_what_is_put_aside_for_a_job_is_not_free(bench: Staff) -> None:
    part = PartFactory(keep=1)
    stock.receive(part, quantity=3, cost_each=Decimal(1), by=bench)
    assert short_list().parts == []
    aside.put_aside(part, JobFactory(), quantity=2, by=bench)
    assert [row.part for row in short_list().parts] == [part]


@pytest.mark.parametrize(("level", "is_short"), [("plenty", False), ("low", True), ("out", True)])
def test_loose_parts_are_short_when_somebody_says_so(bench: Staff, level: str, is_short: bool) -> None:
    sold(PartFactory(is_loose=True, level=level))
    assert bool(short_list().parts) is is_short


def test_a_part_out_of_use_is_not_short(shop: Any) -> None:
    out_of_use = PartFactory(keep=3, is_in_use=False)
    assert short_list({out_of_use.pk: 3}).parts == []


def test_what_nobody_wrote_down_is_short_as_it_is_planned(shop: Any) -> None:
    kept, planned = PartFactory(keep=0), PartFactory()
    found = {row.part: row.need.pieces for row in short_list({kept.pk: 9, planned.pk: 2}).parts}
    assert found == {kept: 1, planned: 3}


def test_what_is_free_now_is_offered_to_the_job_instead_of_ordered(bench: Staff) -> None:
    part, job = PartFactory(), waiting()
    want = wants.want(part, job, quantity=2, by=bench)
    stock.receive(part, quantity=5, cost_each=Decimal(1), by=bench)
    found = short_list()
    assert found.parts == []
    assert found.here == [(want, 2)]


def test_what_is_short_takes_as_many_queries_for_fifty_parts(
    bench: Staff, django_assert_num_queries: Any
) -> None:
    for _ in range(50):
        part = PartFactory(keep=2)
        sold(part)
        wants.want(part, waiting(), quantity=1, by=bench)
    with django_assert_num_queries(5):
        assert len(short_list().parts) == 50


# --- Gathering and sending -----------------------------------------------------------------------------------


def test_jobs_get_lines_of_their_own_and_the_shelf_the_rest(bench: Staff) -> None:
    part, first, second = PartFactory(), waiting(), waiting()
    offer = sold(part, pack=10, price="12.50")
    wants.want(part, first, quantity=2, by=bench)
    wants.want(part, second, quantity=1, by=bench)
    (order,) = ordering.gather([Pick(offer, 10)], by=bench)
    assert [(line.quantity, line.job, line.price) for line in order.lines.all()] == [
        (2, first, Decimal("1.25")),
        (1, second, Decimal("1.25")),
        (7, None, Decimal("1.25")),
    ]


def test_a_supplier_has_one_draft_that_grows(bench: Staff) -> None:
    offer = sold(PartFactory())
    ordering.gather([Pick(offer, 2)], by=bench)
    ordering.gather([Pick(offer, 3)], by=bench)
    order = Order.objects.get()
    assert [line.quantity for line in order.lines.all()] == [5]


def test_a_sent_order_takes_nothing_more_and_the_next_has_the_next_number(bench: Staff) -> None:
    offer = sold(PartFactory())
    first = sent(offer, 2, bench)
    (second,) = ordering.gather([Pick(offer, 1)], by=bench)
    assert second.number == first.number + 1
    with pytest.raises(NotAllowedYet, match="is sent"):
        ordering.change(first, wishes={}, note="more", revision=first.revision, by=bench)


def test_nothing_pieces_take_a_line_off(bench: Staff) -> None:
    (order,) = ordering.gather([Pick(sold(PartFactory()), 2), Pick(sold(PartFactory()), 2)], by=bench)[:1]
    line = order.lines.get()
    order.refresh_from_db()
    ordering.change(order, wishes={line.pk: Wish(0, Decimal(1))}, note="", revision=order.revision, by=bench)
    assert not order.lines.exists()
    with pytest.raises(NotAllowedYet, match="nothing on this order"):
        ordering.send(order, due_on=None, revision=order.revision + 1, by=bench)


def test_an_order_that_grew_meanwhile_is_not_sent_unseen(bench: Staff) -> None:
    offer = sold(PartFactory())
    (order,) = ordering.gather([Pick(offer, 2)], by=bench)
    seen = Order.objects.get().revision
    ordering.gather([Pick(offer, 500)], by=bench)
    with pytest.raises(ChangedMeanwhile):
        ordering.send(order, due_on=None, revision=seen, by=bench)


def test_what_a_thrown_away_draft_held_for_a_job_is_short_again(bench: Staff) -> None:
    part = PartFactory()
    offer = sold(part)
    wants.want(part, waiting(), quantity=2, by=bench)
    (order,) = ordering.gather([Pick(offer, 2)], by=bench)
    ordering.throw_away(order, by=bench)
    assert [row.need.for_jobs for row in short_list().parts] == [2]


# --- Coming in -----------------------------------------------------------------------------------------------


def test_the_job_goes_back_in_line_with_its_last_part_and_not_before(bench: Staff) -> None:
    job, parts = waiting(), [PartFactory(), PartFactory()]
    orders = []
    for part in parts:
        wants.want(part, job, quantity=1, by=bench)
        (order,) = ordering.gather([Pick(sold(part), 1)], by=bench)
        order.refresh_from_db()
        ordering.send(order, due_on=None, revision=order.revision, by=bench)
        orders.append(order)
    first = arrive(orders[0], bench, 1)
    job.refresh_from_db()
    assert (job.state, first.ready, first.waits) == (State.PARTS_ON_ORDER, [], [job])
    last = arrive(orders[1], bench, 1)
    job.refresh_from_db()
    assert (job.state, last.ready) == (State.IN_LINE, [job])
    assert sorted(Aside.objects.filter(job=job).values_list("part", "quantity")) == [
        (part.pk, 1) for part in parts
    ]


def test_what_comes_in_part_stays_open_for_the_rest(bench: Staff) -> None:
    part, job = PartFactory(), waiting()
    wants.want(part, job, quantity=4, by=bench)
    order = sent(sold(part), 4, bench)
    arrive(order, bench, 1)
    order.refresh_from_db()
    part.refresh_from_db()
    job.refresh_from_db()
    assert (order.closed_at, order.lines.get().open, part.quantity) == (None, 3, 1)
    assert job.state == State.PARTS_ON_ORDER
    arrive(order, bench, 3)
    order.refresh_from_db()
    job.refresh_from_db()
    assert order.closed_at is not None
    assert job.state == State.IN_LINE
    assert Aside.objects.get(job=job).quantity == 4


def test_what_comes_is_averaged_at_what_it_cost_in_the_end(bench: Staff) -> None:
    part = PartFactory()
    order = sent(sold(part), 4, bench)
    arrive(order, bench, 1, each="1")
    arrive(order, bench, 3, each="3")
    part.refresh_from_db()
    assert part.cost == Decimal("2.5")  # (1 × 1 + 3 × 3) / 4


def test_more_than_was_ordered_is_not_taken_in_by_a_slip_of_the_finger(bench: Staff) -> None:
    part = PartFactory()
    order = sent(sold(part), 4, bench)
    with pytest.raises(NotAllowedYet, match="4 of .* still to come"):
        arrive(order, bench, 44)
    part.refresh_from_db()
    assert part.quantity == 0


def test_a_draft_takes_nothing_in(bench: Staff) -> None:
    (order,) = ordering.gather([Pick(sold(PartFactory()), 1)], by=bench)
    with pytest.raises(NotAllowedYet, match="isn't sent"):
        arrive(order, bench, 1)


def test_what_will_not_come_closes_the_order_and_is_short_again_for_the_job(bench: Staff) -> None:
    part, job = PartFactory(), waiting()
    wants.want(part, job, quantity=4, by=bench)
    order = sent(sold(part), 4, bench)
    arrive(order, bench, 1)
    ordering.mark(order.lines.get(), as_="won't come", by=bench)
    order.refresh_from_db()
    job.refresh_from_db()
    assert order.closed_at is not None
    assert job.state == State.PARTS_ON_ORDER
    assert [row.need.for_jobs for row in short_list().parts] == [3]


def test_what_comes_after_all_opens_the_order_again(bench: Staff) -> None:
    order = sent(sold(PartFactory()), 4, bench)
    ordering.mark(order.lines.get(), as_="won't come", by=bench)
    ordering.mark(order.lines.get(), as_="coming", by=bench)
    order.refresh_from_db()
    assert (order.closed_at, order.lines.get().open) == (None, 4)


def test_what_is_back_ordered_is_still_on_its_way(bench: Staff) -> None:
    part = PartFactory()
    offer = sold(part)
    wants.want(part, waiting(), quantity=1, by=bench)
    order = sent(offer, 1, bench)
    ordering.mark(order.lines.get(), as_="back-ordered", by=bench)
    assert short_list().parts == []
    arrive(order, bench, 1)
    assert order.lines.get().is_back_ordered is False


def test_a_loose_part_that_comes_is_plenty(bench: Staff) -> None:
    part = PartFactory(is_loose=True, level="out")
    job = waiting()
    wants.want(part, job, quantity=1, by=bench)
    order = sent(sold(part, pack=100), 100, bench)
    arrive(order, bench, 1, 99)
    part.refresh_from_db()
    job.refresh_from_db()
    assert (part.level, part.quantity, job.state) == ("plenty", 0, State.IN_LINE)


def test_a_job_that_went_elsewhere_meanwhile_stays_there(bench: Staff) -> None:
    part, job = PartFactory(), waiting()
    wants.want(part, job, quantity=1, by=bench)
    order = sent(sold(part), 1, bench)
    Job.objects.filter(pk=job.pk).update(state=State.ON_THE_BENCH)
    got = arrive(order, bench, 1)
    job.refresh_from_db()
    assert (job.state, got.ready) == (State.ON_THE_BENCH, [])
    assert Aside.objects.get(job=job).quantity == 1


def test_what_comes_for_gear_that_is_gone_is_free(bench: Staff) -> None:
    part, job = PartFactory(), waiting()
    wants.want(part, job, quantity=1, by=bench)
    order = sent(sold(part), 1, bench)
    Job.objects.filter(pk=job.pk).update(state=State.LET_GO)
    got = arrive(order, bench, 1)
    assert len(got.not_aside) == 1
    assert aside.free_of(part) == 1


def test_a_receipt_that_is_undone_leaves_the_line_open_and_the_job_wanting(bench: Staff) -> None:
    part, job = PartFactory(), waiting()
    wants.want(part, job, quantity=2, by=bench)
    order = sent(sold(part), 2, bench)
    arrive(order, bench, 2)
    aside.let_go_of(Aside.objects.get(), by=bench)
    stock.undo(Move.objects.get(), by=bench)
    order.refresh_from_db()
    assert (order.closed_at, order.lines.get().open) == (None, 2)
    assert Want.objects.open().get().left == 2


# --- Wants ---------------------------------------------------------------------------------------------------


def test_a_job_that_needs_nothing_more_goes_back_in_line(bench: Staff) -> None:
    part, job = PartFactory(), waiting()
    want = wants.want(part, job, quantity=1, by=bench)
    ordering.gather([Pick(sold(part), 1)], by=bench)
    assert wants.drop(want, by=bench) == job
    assert not Order.objects.get().lines.exists()
    assert wants.drop(want, by=bench) is None


def test_a_want_is_met_from_the_shelf(bench: Staff) -> None:
    part, job = PartFactory(), waiting()
    want = wants.want(part, job, quantity=2, by=bench)
    stock.receive(part, quantity=1, cost_each=Decimal(1), by=bench)
    assert wants.from_the_shelf(want, by=bench) is None  # one is still missing
    stock.receive(part, quantity=1, cost_each=Decimal(1), by=bench)
    assert wants.from_the_shelf(want, by=bench) == job
    assert Aside.objects.get(job=job).quantity == 2


def test_wanting_twice_adds_up(bench: Staff) -> None:
    part, job = PartFactory(), waiting()
    wants.want(part, job, quantity=2, by=bench)
    wants.want(part, job, quantity=3, by=bench)
    assert Want.objects.get().quantity == 5


# --- Offers --------------------------------------------------------------------------------------------------


def facts(**more: Any) -> dict[str, Any]:
    return {
        "number": "C-22",
        "pack": 1,
        "price": Decimal(2),
        "lead_days": None,
        "is_first": False,
        **more,
    }


def test_the_first_who_sells_it_is_where_to_order_until_another_is(bench: Staff) -> None:
    part = PartFactory()
    first = ordering.offer(part, SupplierFactory(), facts=facts(), by=bench)
    second = ordering.offer(part, SupplierFactory(), facts=facts(is_first=True), by=bench)
    first.refresh_from_db()
    assert (first.is_first, second.is_first) == (False, True)
    ordering.change_offer(first, facts=facts(is_first=True), by=bench)
    second.refresh_from_db()
    assert second.is_first is False


def test_the_part_says_who_changed_what_a_supplier_asks(bench: Staff) -> None:
    part = PartFactory()
    offer = ordering.offer(part, SupplierFactory(name="Pier Parts"), facts=facts(), by=bench)
    ordering.change_offer(offer, facts=facts(price=Decimal(3), is_first=True), by=bench)
    ordering.drop_offer(offer, by=bench)
    said = [entry.words for entry in timeline.of(part)]
    assert said == [
        "struck out that Pier Parts sells it",
        "changed what Pier Parts asks",
        "wrote down that Pier Parts sells it",
    ]


def test_one_supplier_offers_a_part_once_a_number(bench: Staff) -> None:
    part, supplier = PartFactory(), SupplierFactory()
    ordering.offer(part, supplier, facts=facts(), by=bench)
    with pytest.raises(NotAllowedYet, match="already"):
        ordering.offer(part, supplier, facts=facts(), by=bench)
    ordering.offer(part, supplier, facts=facts(number="C-22-T"), by=bench)


def test_plenty_of_a_loose_part_is_offered_and_not_ordered(bench: Staff) -> None:
    part, job = PartFactory(is_loose=True, level="out"), waiting()
    want = wants.want(part, job, quantity=2, by=bench)
    ordering.gather([Pick(sold(part), 2)], by=bench)
    stock.set_level(part, "plenty", by=bench)
    assert short_list().parts == []
    ordering.throw_away(Order.objects.get(), by=bench)
    assert (short_list().here, short_list().parts) == ([(want, 2)], [])
    assert wants.from_the_shelf(want, by=bench) == job
