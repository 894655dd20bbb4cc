"""Counting rounds: what is posted is what was missing when it was counted, and nothing before somebody looked."""

from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory import counting, stock
from inventory.models import CountRound, Drawer, Move, Part
from shop.errors import ChangedMeanwhile, NotAllowedYet
from shop.models import Staff
from tests.factories import DrawerFactory, JobFactory, PartFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def drawer(shop) -> Drawer:
    return DrawerFactory(code="B-14")


def stocked(drawer: Drawer | None, by: Staff, quantity: int = 5, **more) -> Part:
    part = PartFactory(drawer=drawer, **more)
    if quantity:
        stock.receive(part, quantity=quantity, cost_each=Decimal("2.50"), by=by)
    part.refresh_from_db()
    return part


@pytest.fixture
def part(drawer, bench) -> Part:
    return stocked(drawer, bench)


@pytest.fixture
def a_round(bench) -> CountRound:
    return counting.begin(by=bench, words="The tube wall")


def post(a_round: CountRound, by: Staff) -> list[Move]:
    a_round.refresh_from_db()
    return counting.post(a_round, by=by, revision=a_round.revision)


def now(part: Part) -> int:
    part.refresh_from_db()
    return part.quantity


def test_nothing_is_posted_before_somebody_looked(bench, drawer, part, a_round):
    counting.write_down(a_round, drawer, {part: 3}, by=bench)
    assert now(part) == 5 and not Move.objects.filter(why=Move.Why.COUNTED).exists()


def test_the_difference_is_posted_with_what_was_counted(bench, drawer, part, a_round):
    counting.write_down(a_round, drawer, {part: 3}, by=bench)
    (move,) = post(a_round, bench)
    assert (move.why, move.quantity, move.left, now(part)) == (Move.Why.COUNTED, -2, 3, 3)
    assert "The tube wall" in move.words
    assert a_round.lines.get().move == move


def test_what_was_found_in_order_makes_no_move(bench, drawer, part, a_round):
    counting.write_down(a_round, drawer, {part: 5}, by=bench)
    assert post(a_round, bench) == []
    a_round.refresh_from_db()
    assert a_round.posted_at


def test_what_was_used_after_the_count_stays_used(bench, drawer, part, a_round):
    """5 in the ledger, 4 counted, then 2 used: 2 are left, not 4."""
    counting.write_down(a_round, drawer, {part: 4}, by=bench)
    stock.use_on_job(part, JobFactory(), quantity=2, by=bench)
    (seen,) = counting.differences(a_round)
    assert (seen.difference, seen.since, seen.will_be) == (-1, -2, 2)
    post(a_round, bench)
    assert now(part) == 2


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], database=None
)
@given(
    counted=st.integers(0, 12),
    moves=st.lists(st.integers(-3, 4).filter(bool), max_size=5),
)
def test_the_ledger_then_says_what_is_in_the_drawer(bench, drawer, a_round, counted, moves):
    """By a drawer of its own: what was counted in it, and every move since made with the hand as well."""
    part = stocked(drawer, bench, 6)
    this = counting.begin(by=bench)
    counting.write_down(this, drawer, {part: counted}, by=bench)
    really = counted
    for moved in moves:
        if moved > 0:
            stock.harvest(part, quantity=moved, by=bench)
        elif -moved <= min(really, now(part)):
            stock.scrap(part, quantity=-moved, words="bent", by=bench)
        else:
            continue
        really += moved
    post(this, bench)
    assert now(part) == really
    assert stock.check([part]) == []


def test_a_part_counted_twice_in_a_round_stands_as_counted_last(bench, drawer, part, a_round):
    counting.write_down(a_round, drawer, {part: 3}, by=bench)
    counting.write_down(a_round, drawer, {part: 4}, by=bench)
    post(a_round, bench)
    assert now(part) == 4


def test_of_two_rounds_that_counted_the_same_part_the_second_counts_again(bench, owner, drawer, part):
    """5 in the ledger, 3 in the drawer, counted by two people: 3 are left, not 1."""
    rounds = [counting.begin(by=bench), counting.begin(by=owner)]
    for each in rounds:
        counting.write_down(each, drawer, {part: 3}, by=bench)
    post(rounds[0], bench)
    with pytest.raises(NotAllowedYet, match=r"Count again first: .*posted since"):
        post(rounds[1], owner)
    assert now(part) == 3
    counting.write_down(rounds[1], drawer, {part: 3}, by=owner)
    assert post(rounds[1], owner) == []


def test_a_move_undone_after_the_count_asks_for_another(bench, drawer, part, a_round):
    """Nobody can tell whether the one who counted saw the part that was never used."""
    wrong = stock.scrap(part, quantity=1, words="bent", by=bench)
    counting.write_down(a_round, drawer, {part: 5}, by=bench)
    stock.undo(wrong, by=bench)
    with pytest.raises(NotAllowedYet, match="undone since"):
        post(a_round, bench)


def test_more_used_than_were_counted_asks_for_another_count(bench, drawer, part, a_round):
    counting.write_down(a_round, drawer, {part: 1}, by=bench)
    stock.use_on_job(part, JobFactory(), quantity=2, by=bench)
    with pytest.raises(NotAllowedYet, match="More of it went since than were counted"):
        post(a_round, bench)


def test_what_one_count_refuses_keeps_all_of_them_back(bench, drawer, part, a_round):
    other = stocked(drawer, bench)
    counting.write_down(a_round, drawer, {part: 1, other: 4}, by=bench)
    stock.use_on_job(part, JobFactory(), quantity=2, by=bench)
    with pytest.raises(NotAllowedYet):
        post(a_round, bench)
    assert now(other) == 5


def test_differences_that_nobody_saw_are_not_posted(bench, owner, drawer, part, a_round):
    other = stocked(drawer, bench)
    counting.write_down(a_round, drawer, {part: 3}, by=bench)
    a_round.refresh_from_db()
    seen = a_round.revision
    counting.write_down(a_round, drawer, {other: 9}, by=owner)
    with pytest.raises(ChangedMeanwhile):
        counting.post(a_round, by=bench, revision=seen)
    assert (now(part), now(other)) == (5, 5)


def test_a_round_is_posted_once(bench, drawer, part, a_round):
    counting.write_down(a_round, drawer, {part: 3}, by=bench)
    post(a_round, bench)
    with pytest.raises(NotAllowedYet, match="over"):
        post(a_round, bench)
    with pytest.raises(NotAllowedYet, match="over"):
        counting.write_down(a_round, drawer, {part: 4}, by=bench)


def test_a_dropped_round_posts_nothing(bench, drawer, part, a_round):
    counting.write_down(a_round, drawer, {part: 3}, by=bench)
    counting.drop(a_round, by=bench)
    with pytest.raises(NotAllowedYet, match="over"):
        post(a_round, bench)
    assert now(part) == 5


@pytest.mark.parametrize(
    ("counts", "why"),
    [
        ({}, "at least one"),
        ({"part": -1}, "from 0"),
        ({"part": 1_000_001}, "from 0"),
        ({"loose": 3}, "plenty"),
    ],
)
def test_a_count_that_cannot_be_is_refused(bench, drawer, part, a_round, counts, why):
    parts = {"part": part, "loose": PartFactory(is_loose=True, level="plenty", drawer=drawer)}
    with pytest.raises(NotAllowedYet, match=why):
        counting.write_down(a_round, drawer, {parts[k]: n for k, n in counts.items()}, by=bench)


def test_a_round_with_nothing_counted_is_not_posted(bench, a_round):
    with pytest.raises(NotAllowedYet, match="Nothing was counted"):
        post(a_round, bench)


def test_the_differences_say_what_they_are_worth(bench, drawer, part, a_round):
    """2 missing at 2.50, 1 too many at 2.50: 2.50 less than the ledger said."""
    other = stocked(drawer, bench)
    counting.write_down(a_round, drawer, {part: 3, other: 6}, by=bench)
    assert counting.worth_of(counting.differences(a_round)) == Decimal("-2.50")


def test_drawers_are_walked_by_code_and_what_lives_in_none_comes_last(bench, part, drawer, a_round):
    stocked(DrawerFactory(code="A-1"), bench)
    stocked(None, bench)
    DrawerFactory(code="Z-9")  # empty: nothing to count
    PartFactory(drawer=DrawerFactory(code="C-1"), is_in_use=False)  # gone, and the ledger says 0
    rows = counting.drawers_of(a_round)
    assert [(str(row.drawer), row.parts) for row in rows] == [("A-1", 1), ("B-14", 1), ("None", 1)]


def test_the_next_drawer_is_the_first_that_is_not_done(bench, part, drawer, a_round):
    first = stocked(DrawerFactory(code="A-1"), bench)
    counting.write_down(a_round, first.drawer, {first: 5}, by=bench)
    assert counting.next_drawer(a_round).drawer == drawer
    counting.write_down(a_round, drawer, {part: 5}, by=bench)
    assert counting.next_drawer(a_round) is None


def test_the_differences_take_a_fixed_number_of_queries(bench, drawer, a_round, django_assert_num_queries):
    parts = [stocked(DrawerFactory(), bench) for _ in range(6)]
    counting.write_down(a_round, drawer, dict.fromkeys(parts, 3), by=bench)
    with django_assert_num_queries(3):
        assert len(counting.differences(a_round)) == 6
    with django_assert_num_queries(3):
        counting.drawers_of(a_round)
