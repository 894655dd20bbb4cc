"""The ledger: what comes in, what goes out, what it costs, and what keeps it true."""

from decimal import Decimal

import pytest

from intake.models import Charge
from inventory import aside, stock
from inventory.models import Move
from inventory.stock import NotEnough
from shop.errors import NotAllowedYet
from tests.factories import JobFactory, PartFactory

pytestmark = pytest.mark.django_db
CENT = Decimal("0.01")


@pytest.fixture
def part(shop, bench):
    part = PartFactory(name="22u 450V axial")
    stock.receive(part, quantity=4, cost_each=Decimal(2), by=bench)
    part.refresh_from_db()
    return part


@pytest.fixture
def job(shop):
    return JobFactory(spend_limit=Decimal(1000))


def there(part):
    part.refresh_from_db()
    return part.quantity, part.cost


def test_what_comes_in_changes_the_average_and_what_goes_out_does_not(part, bench):
    # 4 at 2.00 and 2 at 5.00 are 18.00 for 6: 3.00 each (moving average cost, common practice, no source)
    stock.receive(part, quantity=2, cost_each=Decimal(5), by=bench)
    assert there(part) == (6, Decimal(3))
    stock.scrap(part, quantity=5, words="Leaked.", by=bench)
    assert there(part) == (1, Decimal(3))


def test_a_use_is_charged_at_the_cost_with_the_mark_up(part, job, bench, shop):
    shop.parts_markup = Decimal(40)
    shop.save()
    move = stock.use_on_job(part, job, quantity=2, by=bench)
    assert (move.quantity, move.left, move.cost) == (-2, 2, Decimal(2))
    charge = Charge.objects.get(job=job)
    assert move.charge == charge
    assert (charge.text, charge.quantity, charge.unit_price, charge.unit_cost) == (
        "22u 450V axial",
        2,
        Decimal("2.80"),
        Decimal(2),
    )


def test_a_parts_own_price_goes_before_the_mark_up(part, job, bench):
    part.price = Decimal("3.33")
    part.save()
    assert stock.use_on_job(part, job, by=bench).charge.unit_price == Decimal("3.33")


def test_more_than_there_is_needs_a_reason(part, job, bench):
    with pytest.raises(NotEnough) as why:
        stock.use_on_job(part, job, quantity=5, by=bench)
    assert why.value.left == 4
    assert not Charge.objects.exists()
    move = stock.use_on_job(part, job, quantity=5, by=bench, words="Two lay on the bench.")
    assert move.left == -1


def test_what_is_put_aside_for_another_job_stays(part, job, bench):
    other = JobFactory()
    aside.put_aside(part, other, quantity=3, by=bench)
    with pytest.raises(NotEnough, match=other.claim) as why:
        stock.use_on_job(part, job, quantity=2, by=bench, words="I need it.")
    assert why.value.left == 1
    assert aside.free_of(part) == 1


def test_what_is_put_aside_for_this_job_goes_first(part, job, bench):
    aside.put_aside(part, job, quantity=3, by=bench)
    stock.use_on_job(part, job, quantity=2, by=bench)
    assert aside.free_of(part) == 1
    stock.use_on_job(part, job, quantity=2, by=bench)
    assert aside.free_of(part) == 0


def test_what_is_given_back_takes_its_charge_along(part, job, bench):
    move = stock.use_on_job(part, job, quantity=3, by=bench)
    stock.give_back(move, quantity=1, by=bench)
    assert Charge.objects.standing().get().quantity == 2
    stock.give_back(move, by=bench)
    assert not Charge.objects.standing().exists()
    assert there(part) == (4, Decimal(2))
    with pytest.raises(NotAllowedYet):
        stock.give_back(move, by=bench)


def test_a_wrong_receipt_that_is_undone_leaves_the_cost_as_it_was(part, job, bench):
    wrong = stock.receive(part, quantity=4, cost_each=Decimal(200), by=bench)
    stock.use_on_job(part, job, by=bench, charge=False)
    stock.undo(wrong, by=bench)
    assert there(part) == (3, Decimal(2))
    with pytest.raises(NotAllowedYet):
        stock.undo(wrong, by=bench)


def test_a_count_that_agrees_writes_nothing(part, bench):
    assert stock.count(part, counted=4, by=bench) is None
    assert stock.count(part, counted=3, by=bench).quantity == -1


def test_a_loose_part_has_no_moves(bench):
    loose = PartFactory(is_loose=True, level="plenty")
    with pytest.raises(NotAllowedYet):
        stock.receive(loose, quantity=1, cost_each=CENT, by=bench)
    stock.set_level(loose, "out", by=bench)
    loose.refresh_from_db()
    assert loose.level == "out"
    assert not Move.objects.exists()
