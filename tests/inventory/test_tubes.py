"""Tubes with labels of their own: measured, matched, used and sold as one, and what became of them."""

from decimal import Decimal

import pytest

from inventory import stock, tubes
from inventory.models import Tube, TubeSet
from shop import timeline
from shop.errors import NotAllowedYet
from tests.factories import JobFactory, PartFactory


@pytest.fixture
def part(shop, bench):
    part = PartFactory(kind="tube", name="6L6GC", designation="6L6GC", price=Decimal("30"))
    stock.receive(part, quantity=8, cost_each=Decimal("12"), by=bench)
    return part


def measured(part, by, *milliamps, plate=400.0, tester="Bench"):
    made = []
    for each in milliamps:
        tube = tubes.log(part, by=by, make="Corvane")
        tubes.measure(
            tube,
            plate_volts=plate,
            screen_volts=400.0,
            grid_volts=-48.0,
            current=each / 1000,
            tester=tester,
            by=by,
        )
        made.append(tube)
    return made


def left_of(part):
    part.refresh_from_db()
    return part.quantity


def test_labels_count_up(part, bench):
    assert [tubes.log(part, by=bench).label for _ in range(3)] == ["T-0001", "T-0002", "T-0003"]


def test_there_are_no_more_labels_than_tubes(part, bench):
    for _ in range(8):
        tubes.log(part, by=bench)
    with pytest.raises(NotAllowedYet, match="there are 8 of 6L6GC, and 8 have labels"):
        tubes.log(part, by=bench)


def test_only_tubes_get_labels(shop, bench):
    cap = PartFactory()
    stock.receive(cap, quantity=1, cost_each=Decimal(1), by=bench)
    with pytest.raises(NotAllowedYet, match="is no tube"):
        tubes.log(cap, by=bench)


def test_a_used_tube_comes_from_a_job_at_no_cost_and_says_so(part, bench):
    job = JobFactory()
    tube = tubes.keep_used(part, job=job, by=bench, make="Oslin")
    assert (tube.came_from, tube.is_used, left_of(part)) == (job, True, 9)
    assert stock.check() == []
    assert "harvested 1 × 6L6GC from it" in [entry.words for entry in timeline.of(job)]


def test_tubes_measured_at_the_same_conditions_are_matched(part, bench):
    measured(part, bench, 30, 35, 30.5, 35.2)
    (group,) = tubes.alike(part)
    pairs = group.matched(2).sets
    assert [[tube.key.label for tube in each.tubes] for each in pairs] == [
        ["T-0002", "T-0004"],
        ["T-0001", "T-0003"],
    ]


def test_readings_of_other_conditions_or_another_tester_are_not_compared(part, bench):
    measured(part, bench, 30, 31)
    measured(part, bench, 30, plate=350.0)
    measured(part, bench, 30, tester="Other")
    (group,) = tubes.alike(part)
    assert len(group.tubes) == 2


def test_the_last_reading_counts(part, bench):
    one, _ = measured(part, bench, 30, 31)
    tubes.measure(
        one, plate_volts=400.0, screen_volts=400.0, grid_volts=-48.0, current=0.025, tester="bench", by=bench
    )
    (group,) = tubes.alike(part)
    assert sorted(reading.current for _, reading in group.tubes) == [0.025, 0.031]


def test_a_set_is_used_as_one_and_charged(part, bench):
    job = JobFactory(state="on-the-bench")
    made = tubes.make_set(measured(part, bench, 30, 31), by=bench)
    move = tubes.use_set(made, job, by=bench)
    made.refresh_from_db()
    assert (made.label, made.job, made.gone_at) == ("S-0001", job, move.at)
    assert (move.quantity, left_of(part)) == (-2, 6)
    assert (move.charge.quantity, move.charge.unit_price) == (2, Decimal("30"))
    assert set(Tube.objects.filter(gone_at=move.at, job=job, move=move)) == set(made.tubes.all())


def test_a_set_that_is_given_back_is_a_set_again(part, bench):
    made = tubes.make_set(measured(part, bench, 30, 31), by=bench)
    stock.give_back(tubes.use_set(made, JobFactory(state="on-the-bench"), by=bench), by=bench)
    made.refresh_from_db()
    assert (made.gone_at, made.job, left_of(part)) == (None, None, 8)
    assert made.tubes.filter(gone_at__isnull=True).count() == 2


def test_a_set_is_sold_once(part, bench):
    made = tubes.make_set(measured(part, bench, 30, 31), by=bench)
    tubes.sell_set(made, by=bench)
    assert left_of(part) == 6
    with pytest.raises(NotAllowedYet, match="isn’t here any more"):
        tubes.sell_set(made, by=bench)
    with pytest.raises(NotAllowedYet, match="isn’t here any more"):
        tubes.use_set(made, JobFactory(state="on-the-bench"), by=bench)


def test_a_sale_that_is_undone_brings_the_set_back(part, bench):
    made = tubes.make_set(measured(part, bench, 30, 31), by=bench)
    stock.undo(tubes.sell_set(made, by=bench), by=bench)
    made.refresh_from_db()
    assert made.gone_at is None
    assert made.tubes.filter(gone_at__isnull=True).count() == 2
    assert left_of(part) == 8


def test_a_set_is_taken_apart_once_and_its_tubes_are_single_again(part, bench):
    made = tubes.make_set(measured(part, bench, 30, 31), by=bench)
    tubes.take_apart(made, by=bench)
    tubes.take_apart(made, by=bench)
    assert not Tube.objects.filter(set=made).exists()
    assert [entry.words for entry in timeline.of(made)].count("took it apart") == 1
    with pytest.raises(NotAllowedYet, match="was taken apart"):
        tubes.sell_set(made, by=bench)


def test_a_tube_of_a_set_does_not_go_alone_and_is_not_measured_anew(part, bench):
    one, _ = pair = measured(part, bench, 30, 31)
    tubes.make_set(pair, by=bench)
    for act in (
        lambda: tubes.use_tube(one, JobFactory(state="on-the-bench"), by=bench),
        lambda: tubes.scrap(one, words="dropped", by=bench),
        lambda: tubes.measure(one, plate_volts=400.0, grid_volts=-48.0, current=0.03, by=bench),
        lambda: tubes.make_set(pair, by=bench),
    ):
        with pytest.raises(NotAllowedYet, match="is in set S-0001"):
            act()
    assert left_of(part) == 8


def test_what_can_not_be_a_set_is_refused(part, bench):
    one, two = measured(part, bench, 30, 31)
    (other,) = measured(part, bench, 30, plate=350.0)
    unmeasured = tubes.log(part, by=bench)
    for some, sentence in (
        ([one], "two tubes or more"),
        ([one, one], "two tubes or more"),
        ([one, unmeasured], "wasn’t measured"),
        ([one, other], "different conditions"),
    ):
        with pytest.raises(NotAllowedYet, match=sentence):
            tubes.make_set(some, by=bench)
    assert not TubeSet.objects.exists()


def test_a_single_tube_is_used_or_scrapped_and_is_gone(part, bench):
    one, two = measured(part, bench, 30, 31)
    job = JobFactory(state="on-the-bench")
    tubes.use_tube(one, job, by=bench)
    tubes.scrap(two, words="dropped", by=bench)
    one.refresh_from_db()
    two.refresh_from_db()
    assert (one.job, two.job) == (job, None)
    assert one.gone_at and two.gone_at
    assert left_of(part) == 6
    assert stock.check() == []
    with pytest.raises(NotAllowedYet, match="isn’t here any more"):
        tubes.scrap(two, words="again", by=bench)


def test_a_set_says_how_well_it_is_matched(part, bench):
    made = tubes.make_set(measured(part, bench, 30, 31), by=bench)
    match = tubes.how_matched(tubes.with_readings(made.tubes))
    assert match.apart == pytest.approx(0.001)
    assert match.verdict == "well matched"


def test_groups_are_read_in_a_constant_number_of_queries(part, bench, django_assert_num_queries):
    measured(part, bench, 30, 31, 32, 33, 34, 35, 36, 37)
    with django_assert_num_queries(2):
        assert len(tubes.alike()[0].matched(4).sets) == 2
