"""Several people at the same order at the same moment, with real threads, on SQLite and on PostgreSQL."""

from decimal import Decimal
from typing import Any

import pytest
from django.db import connection

from intake.models import State
from inventory import ordering, stock, wants
from inventory.models import Offer, Order, Part
from inventory.ordering import Arrival, Pick
from shop.errors import Refused
from tests.at_once import at_once
from tests.factories import JobFactory, PartFactory, ShopFactory, StaffFactory, SupplierFactory

pytestmark = [pytest.mark.django_db(transaction=True)] if connection.vendor != "sqlite" else []


@pytest.fixture
def by(racing_database: None) -> Any:
    ShopFactory()
    return StaffFactory()


def sold(part: Part) -> Offer:
    return Offer.objects.create(part=part, supplier=SupplierFactory(), price=Decimal(2))


def sent(offer: Offer, quantity: int, by: Any) -> Order:
    (order,) = ordering.gather([Pick(offer, quantity)], by=by)
    order.refresh_from_db()
    ordering.send(order, due_on=None, revision=order.revision, by=by)
    order.refresh_from_db()
    return order


def test_one_parcel_is_taken_in_once_by_eight_tablets(by):
    part = PartFactory()
    job = JobFactory(visit__taken_in_by=by, state=State.PARTS_ON_ORDER)
    wants.want(part, job, quantity=2, by=by)
    order = sent(sold(part), 2, by)
    arrivals = {order.lines.get().pk: Arrival(2, Decimal(2))}
    outcomes = at_once([lambda: ordering.arrive(order, arrivals=arrivals, by=by)] * 8)
    assert sum(isinstance(outcome, ordering.Arrived) for outcome in outcomes) == 1, outcomes
    assert sum(isinstance(outcome, Refused) for outcome in outcomes) == 7, outcomes
    part.refresh_from_db()
    job.refresh_from_db()
    assert (part.quantity, job.asides.get().quantity, job.state) == (2, 2, State.IN_LINE)
    assert stock.check() == []


def test_two_parcels_for_one_job_bring_it_back_in_line_once(by):
    job = JobFactory(visit__taken_in_by=by, state=State.PARTS_ON_ORDER)
    orders = []
    for _ in range(2):
        part = PartFactory()
        wants.want(part, job, quantity=1, by=by)
        orders.append(sent(sold(part), 1, by))

    def arrive(order: Order) -> Any:
        line = order.lines.get()
        return ordering.arrive(order, arrivals={line.pk: Arrival(1, Decimal(2))}, by=by)

    outcomes = at_once([lambda order=order: arrive(order) for order in orders])
    assert sum(len(outcome.ready) for outcome in outcomes) == 1, outcomes
    job.refresh_from_db()
    assert job.state == State.IN_LINE


def test_orders_that_are_begun_at_once_have_numbers_of_their_own(by):
    offers = [sold(PartFactory()) for _ in range(8)]
    outcomes = at_once([lambda offer=offer: ordering.gather([Pick(offer, 1)], by=by) for offer in offers])
    assert not [outcome for outcome in outcomes if isinstance(outcome, Exception)]
    assert sorted(Order.objects.values_list("number", flat=True)) == list(range(1, 9))


def test_what_eight_people_put_on_one_draft_is_all_there(by):
    offer = sold(PartFactory())
    outcomes = at_once([lambda: ordering.gather([Pick(offer, 3)], by=by)] * 8)
    assert not [outcome for outcome in outcomes if isinstance(outcome, Exception)]
    assert [line.quantity for line in Order.objects.get().lines.all()] == [24]
