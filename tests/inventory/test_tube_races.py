"""Eight people at the same tubes at the same moment, with real threads, on SQLite and on PostgreSQL."""

from decimal import Decimal
from typing import Any

import pytest
from django.db import connection

from intake.models import State
from inventory import stock, tubes
from inventory.models import Move, Tube, TubeSet
from shop.errors import Refused
from tests.at_once import at_once
from tests.factories import JobFactory, PartFactory, ShopFactory, StaffFactory

EIGHT = 8
pytestmark = [pytest.mark.django_db(transaction=True)] if connection.vendor != "sqlite" else []


@pytest.fixture
def by(racing_database: None) -> Any:
    ShopFactory()
    return StaffFactory()


@pytest.fixture
def part(by: Any) -> Any:
    part = PartFactory(kind="tube", name="EL34")
    stock.receive(part, quantity=6, cost_each=Decimal(18), by=by)
    return part


def a_pair(part: Any, by: Any) -> list[Tube]:
    pair = [tubes.log(part, by=by) for _ in range(2)]
    for tube in pair:
        tubes.measure(tube, plate_volts=400.0, grid_volts=-38.0, current=0.035, by=by)
    return pair


def one_of(outcomes: list[Any], won: type) -> Any:
    """The one that went through; every other was told in a sentence."""
    through = [outcome for outcome in outcomes if isinstance(outcome, won)]
    assert len(through) == 1, outcomes
    assert sum(isinstance(outcome, Refused) for outcome in outcomes) == len(outcomes) - 1, outcomes
    return through[0]


def test_no_two_tubes_get_the_same_label_and_no_more_get_one_than_there_are(part, by):
    outcomes = at_once([lambda: tubes.log(part, by=by)] * EIGHT)
    labels = [outcome.label for outcome in outcomes if isinstance(outcome, Tube)]
    assert sorted(labels) == [f"T-000{number}" for number in range(1, 7)]
    assert sum(isinstance(outcome, Refused) for outcome in outcomes) == 2, outcomes


def test_a_tube_gets_into_one_set(part, by):
    pair = a_pair(part, by)
    made = one_of(at_once([lambda: tubes.make_set(pair, by=by)] * EIGHT), TubeSet)
    assert made.tubes.count() == 2


def test_a_set_is_used_sold_or_taken_apart_by_one(part, by):
    made = tubes.make_set(a_pair(part, by), by=by)
    jobs = [JobFactory(visit__taken_in_by=by, state=State.ON_THE_BENCH) for _ in range(4)]
    acts: list[Any] = [lambda job=job: tubes.use_set(made, job, by=by) for job in jobs]
    acts += [lambda: tubes.sell_set(made, by=by)] * 3
    move = one_of(at_once(acts), Move)
    part.refresh_from_db()
    assert (move.quantity, part.quantity) == (-2, 4)
    assert stock.check() == []


def test_a_tube_that_goes_and_one_that_comes_back_do_not_wait_for_each_other(part, by):
    """The part is held before its tubes by all: crosswise they would wait for ever, and the database end one."""
    job = JobFactory(visit__taken_in_by=by, state=State.ON_THE_BENCH)
    one, two = (tubes.log(part, by=by) for _ in range(2))
    move = tubes.use_tube(one, job, by=by)
    outcomes = at_once(
        [
            lambda: stock.give_back(move, by=by),
            lambda: tubes.scrap(two, words="dropped", by=by),
            lambda: stock.use_on_job(part, job, tubes=[two], by=by),
            lambda: tubes.use_tube(two, job, by=by),
        ]
    )
    assert all(isinstance(outcome, Move | Refused) for outcome in outcomes), outcomes
    assert stock.check() == []
