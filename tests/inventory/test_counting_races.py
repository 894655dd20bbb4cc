"""A counting round under many hands at once, with real threads, on SQLite and on PostgreSQL."""

from decimal import Decimal
from typing import Any

import pytest
from django.db import connection

from intake.models import State
from inventory import counting, stock
from inventory.models import CountLine, Move
from shop.errors import Refused
from tests.at_once import at_once
from tests.factories import DrawerFactory, JobFactory, PartFactory, ShopFactory, StaffFactory

pytestmark = [pytest.mark.django_db(transaction=True)] if connection.vendor != "sqlite" else []


@pytest.fixture
def by(racing_database: None) -> Any:
    ShopFactory()
    return StaffFactory()


def counted(by: Any, quantity: int, found: int) -> tuple[Any, Any]:
    part = PartFactory(drawer=DrawerFactory())
    stock.receive(part, quantity=quantity, cost_each=Decimal(2), by=by)
    a_round = counting.begin(by=by)
    counting.write_down(a_round, part.drawer, {part: found}, by=by)
    a_round.refresh_from_db()
    return part, a_round


def test_a_round_that_eight_post_at_once_is_posted_once(by):
    part, a_round = counted(by, 20, 17)
    outcomes = at_once([lambda: counting.post(a_round, by=by, revision=a_round.revision)] * 8)
    assert sum(isinstance(each, list) for each in outcomes) == 1
    assert sum(isinstance(each, Refused) for each in outcomes) == 7
    part.refresh_from_db()
    assert part.quantity == 17 and stock.check() == []


def test_what_is_used_while_a_round_is_posted_stays_used(by):
    """20 in the ledger, 17 counted, 4 used at that moment: 13, whoever came first."""
    part, a_round = counted(by, 20, 17)
    jobs = [JobFactory(visit__taken_in_by=by, state=State.ON_THE_BENCH) for _ in range(4)]
    acts = [lambda job=job: stock.use_on_job(part, job, by=by) for job in jobs]
    outcomes = at_once([*acts, lambda: counting.post(a_round, by=by, revision=a_round.revision)])
    assert not [each for each in outcomes if isinstance(each, Exception)]
    part.refresh_from_db()
    assert part.quantity == 13 and stock.check() == []


def test_a_count_written_down_while_others_use_is_of_one_moment(by):
    """Whatever was used before it is in what the ledger said then, and what was used after it comes off at the end."""
    part, a_round = counted(by, 20, 20)
    jobs = [JobFactory(visit__taken_in_by=by, state=State.ON_THE_BENCH) for _ in range(4)]
    acts = [lambda job=job: stock.use_on_job(part, job, by=by) for job in jobs]
    at_once([*acts, lambda: counting.write_down(a_round, part.drawer, {part: 15}, by=by)])
    line = CountLine.objects.get()
    (seen,) = counting.differences(a_round)
    before = 20 - line.expected
    assert seen.since == before - 4
    counting.post(a_round, by=by, revision=CountLine.objects.get().round.revision)
    part.refresh_from_db()
    assert part.quantity == 15 - (4 - before) and stock.check() == []
    assert Move.objects.filter(why=Move.Why.USED).count() == 4
