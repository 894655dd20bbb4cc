"""Crossings of zero, beside scipy's."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from calc.engine.errors import CircuitError
from calc.engine.roots import crossing

FUNCTIONS = (
    (lambda x: x**3 - 2, 0, 5),
    (lambda x: math.cos(x) - x, 0, 2),
    (lambda x: math.exp(x) - 1e6, -5, 100),
    (lambda x: math.atan(1e6 * (x - 0.3)), -10, 10),
    (lambda x: 1e-30 * (x - 1e-6), 0, 1),
    (lambda x: x**3 + x, -1, 1.5),
)


@pytest.mark.parametrize(("function", "low", "high"), FUNCTIONS)
def test_a_crossing_is_where_scipy_finds_it(function, low, high):
    theirs = brentq(function, low, high, xtol=1e-13)
    assert crossing(function, low, high) == pytest.approx(theirs, rel=1e-9, abs=1e-11)


@settings(max_examples=50)
@given(st.floats(1e-9, 1e9), st.floats(0.1, 5))
def test_powers_cross_where_they_must_in_few_steps(wanted, power):
    steps = 0

    def function(x):
        nonlocal steps
        steps += 1
        return x**power - wanted**power

    assert crossing(function, 0.0, 1e10) == pytest.approx(wanted, abs=0.05)
    assert steps < 90


@pytest.mark.parametrize(("low", "high"), [(0.1, 0.1), (0.0, 1.0)])
def test_an_end_on_the_crossing_is_the_crossing(low, high):
    assert crossing(lambda x: x - low, low, high) == low


@pytest.mark.parametrize("function", [lambda x: x * x + 1, lambda x: -1.0, lambda x: math.nan])
def test_where_there_is_no_crossing_it_says_so(function):
    with pytest.raises(CircuitError, match="No such point"):
        crossing(function, -1.0, 1.0)


def test_a_jump_is_found_and_nothing_hangs():
    assert crossing(lambda x: 1.0 if x > 0.123 else -1.0, 0, 1) == pytest.approx(0.123, abs=1e-9)
