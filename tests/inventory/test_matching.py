"""Sets of tubes, against every way there is to make them. Limits: common practice, no source."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.matching import Measured, Verdict, best_sides, judge, match

currents = st.lists(st.integers(20, 60), min_size=0, max_size=8)


def tubes(*milliamps: float) -> list[Measured]:
    return [Measured(number, each / 1000) for number, each in enumerate(milliamps)]


def every_way(row: list[Measured], size: int, within: float | None):
    """Every choice of disjoint sets, each allowed, as (how many, sum of max − min)."""
    yield 0, 0.0
    if len(row) < size:
        return
    first, rest = row[0], row[1:]
    yield from every_way(rest, size, within)  # the first is in no set
    for others in itertools.combinations(rest, size - 1):
        together = [first.current, *(each.current for each in others)]
        apart = max(together) - min(together)
        if within is not None and apart / ((max(together) + min(together)) / 2) > within + 1e-12:
            continue
        for count, total in every_way([each for each in rest if each not in others], size, within):
            yield count + 1, total + apart


@settings(max_examples=60, deadline=None)
@given(currents, st.sampled_from([2, 3, 4, 6]), st.sampled_from([None, 0.05, 0.1, 0.3]))
def test_no_way_makes_more_sets_or_closer_ones(milliamps, size, within):
    row = tubes(*milliamps)
    found = match(row, size, within=within)
    best = min(every_way(row, size, within), key=lambda way: (-way[0], way[1]))
    assert len(found.sets) == best[0]
    assert sum(each.apart for each in found.sets) == pytest.approx(best[1], abs=1e-12)


@settings(max_examples=40, deadline=None)
@given(currents, st.sampled_from([2, 4, 6]))
def test_one_set_is_the_closest_there_is(milliamps, size):
    row = tubes(*milliamps)
    found = match(row, size, wanted=1)
    every = [
        max(each.current for each in some) - min(each.current for each in some)
        for some in itertools.combinations(row, size)
    ]
    if not every:
        assert not found.sets
    else:
        assert found.sets[0].apart == pytest.approx(min(every), abs=1e-12)


@settings(max_examples=40, deadline=None)
@given(currents, st.sampled_from([2, 4]))
def test_each_tube_is_in_one_set_or_left_over(milliamps, size):
    row = tubes(*milliamps)
    found = match(row, size)
    used = [each.key for some in found.sets for each in some.tubes] + [each.key for each in found.left_over]
    assert sorted(used) == list(range(len(row)))


def test_fewer_pairs_than_could_be_are_the_closest_ones():
    found = match(tubes(30, 31, 40, 40.2, 50, 53), 2, wanted=2)
    assert [sorted(tube.current * 1000 for tube in each.tubes) for each in found.sets] == [
        [40, 40.2],
        [30, 31],
    ]


def test_an_odd_tube_is_the_one_whose_leaving_costs_least():
    found = match(tubes(30, 35, 35.5, 40, 40.5), 2)
    assert [tube.current for tube in found.left_over] == [0.030]


@pytest.mark.parametrize(
    ("one", "other", "verdict"),
    [
        (39.0, 41.0, Verdict.GOOD),  # 5 % of the mean exactly
        (39.0, 41.1, Verdict.USABLE),
        (38.0, 42.0, Verdict.USABLE),  # 10 % exactly
        (38.0, 42.1, Verdict.APART),
        (0.0, 0.0, Verdict.GOOD),
    ],
)
def test_five_per_cent_is_well_matched_and_ten_usable(one, other, verdict):
    assert judge(tubes(one, other)).verdict == verdict


def test_a_quad_is_sided_so_that_both_sides_draw_alike():
    sides = best_sides(tubes(30, 32, 34, 36.5))
    assert sorted(sorted(tube.current for tube in side) for side in sides) == [
        [0.030, 0.0365],
        [0.032, 0.034],
    ]


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(20, 60), min_size=6, max_size=6))
def test_no_other_sides_of_a_sextet_are_nearer(milliamps):
    one, other = best_sides(tubes(*milliamps))
    apart = abs(sum(t.current for t in one) - sum(t.current for t in other))
    every = [abs(2 * sum(some) - sum(milliamps)) / 1000 for some in itertools.combinations(milliamps, 3)]
    assert apart == pytest.approx(min(every), abs=1e-12)


def test_sides_more_than_5_ma_apart_are_hard_on_the_transformer():
    assert not judge(tubes(30, 35)).is_hard_on_the_transformer
    assert judge(tubes(30, 35.1)).is_hard_on_the_transformer


def test_tubes_that_differ_in_gain_say_so():
    assert judge([Measured(1, 0.03, 0.005), Measured(2, 0.03, 0.0056)]).differs_in_gain
    assert not judge([Measured(1, 0.03, 0.005), Measured(2, 0.03, 0.0055)]).differs_in_gain
    assert judge([Measured(1, 0.03, 0.005), Measured(2, 0.03)]).transconductance is None


def test_a_thousand_tubes_are_matched_while_you_wait():
    found = match(tubes(*(20 + (number * 7919 % 4001) / 100 for number in range(1000))), 4)
    assert len(found.sets) == 250


@pytest.mark.parametrize(
    "row, size", [(tubes(30), 1), ([Measured(1, -0.01)], 2), ([Measured(1, float("nan"))], 2)]
)
def test_what_is_no_set_or_no_current_is_refused(row, size):
    with pytest.raises(ValueError):
        match(row, size)
