"""Eight people at the same drawer at the same moment, with real threads.

On a SQLite file, as shops have it, and on PostgreSQL. Whatever happens: no move is lost, what the part says there is
is the sum of its moves, and the last one goes to one of them; the others are told.
"""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.db.models import Sum

from intake.models import Job, State
from inventory import aside, stock
from inventory.models import Aside, Move, Part
from inventory.stock import NotEnough
from shop.errors import Refused
from tests.at_once import at_once
from tests.factories import JobFactory, PartFactory, ShopFactory, StaffFactory

EIGHT = 8
pytestmark = [pytest.mark.django_db(transaction=True)] if connection.vendor != "sqlite" else []


@pytest.fixture
def by(racing_database: None) -> Any:
    ShopFactory()
    return StaffFactory()


def eight(act: Callable[[int], Any]) -> list[Any]:
    return at_once([lambda number=number: act(number) for number in range(EIGHT)])


def benches(by: Any) -> list[Job]:
    return [JobFactory(visit__taken_in_by=by, state=State.ON_THE_BENCH) for _ in range(EIGHT)]


def a_part(by: Any, quantity: int, cost: str = "1.20") -> Part:
    part = PartFactory()
    stock.receive(part, quantity=quantity, cost_each=Decimal(cost), by=by)
    return part


def there_is(part: Part) -> int:
    """What the part says there is, once it was held against its moves and against what each of them says."""
    part.refresh_from_db()
    assert stock.check() == []
    moves = list(part.moves.order_by("pk"))
    assert part.quantity == sum(move.quantity for move in moves)
    running = 0
    for move in moves:
        running += move.quantity
        assert move.left == running, "two moves began from the same figure"
    return part.quantity


def one_of(outcomes: list[Any], won: type) -> Any:
    """The one that went through; every other was told in a sentence."""
    through = [outcome for outcome in outcomes if isinstance(outcome, won)]
    assert len(through) == 1, outcomes
    assert sum(isinstance(outcome, Refused) for outcome in outcomes) == len(outcomes) - 1, outcomes
    return through[0]


def test_the_last_one_goes_to_one_job_and_the_others_are_told(by):
    part, jobs = a_part(by, 1), benches(by)
    outcomes = eight(lambda number: stock.use_on_job(part, jobs[number], by=by))
    kept = one_of(outcomes, Move)
    assert {outcome.left for outcome in outcomes if isinstance(outcome, NotEnough)} == {0}
    assert there_is(part) == 0
    assert [job.pk for job in jobs if job.charges.exists()] == [kept.job_id]


def test_five_go_to_five_of_eight(by):
    part, jobs = a_part(by, 5), benches(by)
    outcomes = eight(lambda number: stock.use_on_job(part, jobs[number], by=by))
    assert sum(isinstance(outcome, Move) for outcome in outcomes) == 5
    assert sum(isinstance(outcome, NotEnough) for outcome in outcomes) == 3
    assert there_is(part) == 0
    assert sum(job.charges.count() for job in jobs) == 5


def test_eight_on_one_job_are_eight_charges(by):
    part, job = a_part(by, 20), JobFactory(visit__taken_in_by=by, state=State.ON_THE_BENCH)
    outcomes = eight(lambda number: stock.use_on_job(part, job, quantity=2, by=by))
    assert {type(outcome) for outcome in outcomes} == {Move}
    assert there_is(part) == 4
    assert job.charges.aggregate(Sum("quantity"))["quantity__sum"] == 16
    assert len({charge.position for charge in job.charges.all()}) == EIGHT


def test_no_move_of_many_kinds_is_lost(by):
    """Received, harvested, used, scrapped, sold, given back: three of each turn, from eight hands."""
    part, jobs = a_part(by, 100), benches(by)
    used = [stock.use_on_job(part, job, quantity=2, by=by) for job in jobs]
    acts: list[Callable[[int], Any]] = [
        lambda n: stock.receive(part, quantity=5, cost_each=Decimal("1.30"), by=by),
        lambda n: stock.harvest(part, quantity=1, by=by),
        lambda n: stock.use_on_job(part, jobs[n], by=by),
        lambda n: stock.scrap(part, quantity=1, words="bent", by=by),
        lambda n: stock.sell(part, quantity=1, by=by),
        lambda n: stock.give_back(used[n], quantity=1, by=by),
        lambda n: stock.send_back(part, quantity=1, words="wrong leads", by=by),
        lambda n: stock.use_on_job(part, jobs[n], quantity=2, by=by),
    ]
    changes = (5, 1, -1, -1, -1, 1, -1, -2)

    def hand(number: int) -> list[Move]:
        return [acts[(number + turn) % EIGHT](number) for turn in range(3)]

    outcomes = eight(hand)
    assert {type(outcome) for outcome in outcomes} == {list}, outcomes
    assert there_is(part) == 100 - 2 * EIGHT + 3 * sum(changes)
    assert part.moves.count() == 1 + EIGHT + 3 * EIGHT


def test_the_average_cost_is_of_everything_that_came_in_whatever_the_order(by):
    """All from nothing, nothing going out: the average of what was paid, by hand. Each keeps six decimals."""
    part = PartFactory()
    eight(lambda n: stock.receive(part, quantity=n + 1, cost_each=Decimal(n + 1) / 4, by=by))
    assert there_is(part) == 36
    paid = sum(Decimal(n * n) / 4 for n in range(1, 9))
    assert abs(part.cost - paid / 36) < Decimal("0.00001")


def test_a_use_is_given_back_once(by):
    part, job = a_part(by, 3), JobFactory(visit__taken_in_by=by, state=State.ON_THE_BENCH)
    move = stock.use_on_job(part, job, quantity=3, by=by)
    one_of(eight(lambda number: stock.give_back(move, by=by)), Move)
    assert there_is(part) == 3
    assert not job.charges.standing().exists()


def test_a_receipt_is_undone_once(by):
    part = a_part(by, 3)
    move = stock.receive(part, quantity=4, cost_each=Decimal(2), by=by)
    one_of(eight(lambda number: stock.undo(move, by=by, words="counted twice")), Move)
    assert there_is(part) == 3
    assert part.cost == Decimal("1.20")


def test_what_is_put_aside_at_the_moment_of_the_use_goes_to_one_of_them(by):
    """Half put the last three aside, half use them: whoever is first has them all."""
    part, jobs = a_part(by, 3), benches(by)

    def act(number: int) -> Any:
        if number % 2:
            return aside.put_aside(part, jobs[number], quantity=3, by=by)
        return stock.use_on_job(part, jobs[number], quantity=3, by=by)

    one_of(eight(act), (Move, Aside))
    assert there_is(part) in (0, 3)
    held = Aside.objects.filter(ended_at=None).aggregate(n=Sum("quantity"))["n"] or 0
    assert held == part.quantity


def test_a_count_at_the_same_moment_leaves_what_was_counted(by):
    part = a_part(by, 10)
    outcomes = eight(lambda number: stock.count(part, counted=7, by=by))
    assert sum(isinstance(outcome, Move) for outcome in outcomes) == 1
    assert outcomes.count(None) == EIGHT - 1
    assert there_is(part) == 7
