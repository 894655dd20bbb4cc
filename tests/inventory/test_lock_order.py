"""Verbs that hold a part and a job, let go together: none waits crosswise for another.

PostgreSQL ends one of two that wait for each other after a second, with an error that is no refusal. On SQLite one
writes at a time, and this holds the verbs to their rules.
"""

from collections.abc import Callable
from decimal import Decimal
from functools import partial
from typing import Any

import pytest
from django.db import connection

from intake import billing, counter_sale, keeping
from intake.billing import Row
from intake.models import Invoice, Job, State
from inventory import aside, ordering, selling, stock, tubes, using, wants
from inventory.models import Move, Offer, Order, Part
from inventory.ordering import Arrival, Pick
from shop.errors import Refused
from tests.at_once import at_once
from tests.factories import JobFactory, PartFactory, ShopFactory, StaffFactory, SupplierFactory
from tests.intake.storage import past_deadline

ROUNDS = 3 if connection.vendor == "sqlite" else 8
pytestmark = [pytest.mark.django_db(transaction=True)] if connection.vendor != "sqlite" else []


@pytest.fixture
def by(racing_database: None) -> Any:
    ShopFactory()
    return StaffFactory(role="owner")


def a_part(by: Any, quantity: int = 60, **facts: Any) -> Part:
    part = PartFactory(**facts)
    stock.receive(part, quantity=quantity, cost_each=Decimal(2), by=by)
    return part


def a_job(by: Any, state: str = State.ON_THE_BENCH) -> Job:
    return JobFactory(visit__taken_in_by=by, state=state)


def together(*acts: Callable[[], Any]) -> list[Any]:
    """Let them go together. Each went through, or was told in a sentence."""
    outcomes = at_once(list(acts))
    for outcome in outcomes:
        assert not isinstance(outcome, Exception) or isinstance(outcome, Refused), repr(outcome)
    assert stock.check() == []
    return outcomes


@pytest.fixture
def kept(by: Any) -> Job:
    """Gear that was kept for parts, at 60."""
    job = past_deadline(by)
    keeping.leave_behind(job, by=by, revision=job.revision)
    job.refresh_from_db()
    fate = keeping.Fate(became="parts", words="Nobody came.", price=Decimal(60))
    keeping.let_go(job, fate, by=by, revision=job.revision)
    return job


def test_parts_are_taken_in_and_harvested_from_one_piece_of_gear(by, kept):
    part = a_part(by)
    for _ in range(ROUNDS):
        together(
            *[lambda: using.take_in(part, kept, quantity=1, cost_each=Decimal(1), by=by)] * 2,
            *[lambda: stock.harvest(part, quantity=1, job=kept, by=by)] * 2,
        )
    part.refresh_from_db()
    assert part.quantity == 60 + 4 * ROUNDS


def test_a_part_is_given_back_while_its_job_is_billed(by):
    part = a_part(by)
    for job in [a_job(by) for _ in range(ROUNDS)]:
        move = stock.use_on_job(part, job, quantity=2, by=by)
        billed, *_ = together(
            partial(billing.issue_invoice, job, by=by),
            partial(stock.give_back, move, quantity=1, by=by),
            partial(stock.use_on_job, part, job, by=by),
        )
        assert isinstance(billed, Invoice)


def test_what_is_put_aside_is_used_let_go_of_and_added_to(by):
    part = a_part(by)
    for job in [a_job(by) for _ in range(ROUNDS)]:
        kept_aside = aside.put_aside(part, job, quantity=1, by=by)
        together(
            partial(using.use_aside, kept_aside, by=by),
            partial(stock.use_on_job, part, job, by=by),
            partial(aside.put_aside, part, job, quantity=1, by=by),
            partial(aside.let_go_of, kept_aside, by=by),
            partial(wants.want, part, job, quantity=1, by=by),
        )


def an_order(parts: list[Part], job: Job, by: Any) -> Order:
    """One that is sent: a piece of each part for a job."""
    supplier = SupplierFactory()
    offers = [Offer.objects.create(part=part, supplier=supplier, price=Decimal(2)) for part in parts]
    for part in parts:
        wants.want(part, job, quantity=2, by=by)
    (order,) = ordering.gather([Pick(offer, 2) for offer in offers], by=by)
    order.refresh_from_db()
    ordering.send(order, due_on=None, revision=order.revision, by=by)
    order.refresh_from_db()
    return order


def test_a_parcel_of_several_parts_comes_while_they_are_used_undone_and_asked_about(by):
    parts = [a_part(by) for _ in range(2)]
    for _ in range(ROUNDS):
        job = a_job(by, State.PARTS_ON_ORDER)
        order = an_order(parts, job, by)
        first, second = order.lines.order_by("part")
        one = {line.pk: Arrival(1, Decimal(2)) for line in (first, second)}
        ordering.arrive(order, arrivals=one, by=by)
        came = Move.objects.filter(order_line=first).get()
        together(
            partial(ordering.arrive, order, arrivals=one, by=by),
            partial(stock.undo, came, by=by),
            partial(ordering.mark, second, as_="back-ordered", by=by),
            *[partial(stock.use_on_job, part, job, by=by) for part in reversed(parts)],
            partial(wants.drop, job.wants.get(part=parts[1]), by=by),
        )


def test_tubes_get_labels_while_orders_get_numbers(by):
    tube = a_part(by, 40, kind="tube", name="EL34")
    offer = Offer.objects.create(part=tube, supplier=SupplierFactory(), price=Decimal(2))
    for _ in range(ROUNDS):
        together(
            *[lambda: tubes.log(tube, by=by)] * 2,
            *[lambda: ordering.gather([Pick(offer, 1)], by=by)] * 2,
        )


def test_two_sales_of_the_same_two_parts_in_turn(by):
    parts = [a_part(by, 3 * ROUNDS) for _ in range(2)]
    job = a_job(by)

    def sale(some: list[Part]) -> Any:
        rows = [Row("part", part.name, Decimal(1), Decimal(5), good=selling.key_of(part)) for part in some]
        return counter_sale.sell(rows, method="cash", by=by)

    for _ in range(ROUNDS):
        together(
            lambda: sale(parts),
            lambda: sale(parts[::-1]),
            lambda: stock.use_on_job(parts[0], job, by=by, charge=False),
        )
    assert [Part.objects.get(pk=part.pk).quantity for part in parts] == [0, ROUNDS]
    numbers = Invoice.objects.order_by("number").values_list("number", flat=True)
    assert list(numbers) == list(range(1, 2 * ROUNDS + 1))
