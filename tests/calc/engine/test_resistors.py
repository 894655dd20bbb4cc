"""What warm parts bear, against a derating curve read by numpy, and worked examples."""

import numpy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.engine.errors import CircuitError
from calc.engine.quantities import band, nominal, units, with_band
from calc.engine.resistors import (
    SIZES,
    ZENER_SIZES,
    derated,
    element_limit,
    hot_spot,
    size_to_fit,
    voltage_limit,
    zener_to_fit,
)

Q = units.Quantity
DERATING = "derating curve of IEC 60115-1's kind: full to 70 °C, nothing at 155 °C"


@pytest.mark.parametrize(
    ("watts", "ambient", "bears", "source"),
    [
        (2, 25, 2, DERATING),
        (2, 70, 2, DERATING),
        (2, 100, 1.2941, DERATING + "; 2 W at 100 °C worked by hand: 2·55/85"),
        (0.5, 140, 0.5 * 15 / 85, DERATING),
    ],
)
def test_a_resistor_bears_less_above_the_knee(watts, ambient, bears, source):
    found = derated(Q(watts, "W"), Q(ambient, "degC"))
    assert nominal(found, "W") == pytest.approx(bears, rel=1e-4)


@given(st.floats(-40, 154), st.floats(0.1, 50))
@settings(max_examples=40, deadline=None)
def test_the_derating_is_the_line_that_a_sheet_draws(ambient, watts):
    line = numpy.interp(ambient, [-65, 70, 155], [watts, watts, 0])  # numpy reads the curve
    assert nominal(derated(Q(watts, "W"), Q(ambient, "degC")), "W") == pytest.approx(line, rel=1e-9)


@given(st.floats(-40, 150), st.floats(0.1, 50))
@settings(max_examples=40, deadline=None)
def test_above_the_knee_full_derated_heat_makes_the_part_as_hot_as_it_may_be(ambient, watts):
    heat = derated(Q(watts, "W"), Q(max(ambient, 70.0), "degC"))
    spot = nominal(hot_spot(heat, Q(watts, "W"), Q(max(ambient, 70.0), "degC")), "degC")
    assert spot == pytest.approx(155, abs=1e-6)


def test_the_hot_spot_carries_the_band_of_the_heat():
    spot = hot_spot(with_band(Q(1.0, "W"), 0.1), Q(2.0, "W"), Q(50.0, "degC"))
    assert (nominal(spot), band(spot)) == pytest.approx((92.5, 4.25))  # 50 + 1·85/2 ± 0.1·85/2


@pytest.mark.parametrize(
    ("ohms", "watts", "element", "volts", "source"),
    [
        (220e3, 0.5, 350, 331.66, "√(P·R) of 220 kΩ ½ W worked by hand"),
        (1e6, 0.5, 350, 350, "element limit of ½ W: makers' sheets, from memory"),
        (100, 1, 500, 10, "√(P·R)"),
    ],
)
def test_the_volts_across_a_resistor_are_held_by_its_watts_and_its_element(
    ohms, watts, element, volts, source
):
    found = voltage_limit(Q(ohms, "ohm"), Q(watts, "W"), Q(element, "V"))
    assert nominal(found, "V") == pytest.approx(volts, rel=1e-4)


@pytest.mark.parametrize(
    ("watts", "volts"), [(0.125, 200), (0.25, 250), (0.4, 250), (0.5, 350), (1, 500), (7.5, 500)]
)
def test_the_usual_element_limit_goes_with_the_size(watts, volts):
    assert nominal(element_limit(Q(watts, "W")), "V") == volts  # makers' sheets, from memory


@pytest.mark.parametrize(
    ("heat", "volts", "ohms", "ambient", "watts", "source"),
    [
        (
            0.9,
            300,
            100e3,
            25,
            2,
            "a 100 kΩ plate load that drops 300 V needs 2 W: worked by hand at half the rating",
        ),
        (0.1, 300, 900e3, 25, 0.5, "¼ W bears the heat, and only 250 V"),
        (0.1, 5, 250, 25, 0.25, "half the rating"),
        (1.0, 100, 10e3, 112.5, 5, "at 112.5 °C half of the rating is left"),
    ],
)
def test_the_size_to_fit_is_the_smallest_that_bears_heat_and_volts(heat, volts, ohms, ambient, watts, source):
    found = size_to_fit(Q(heat, "W"), Q(volts, "V"), Q(ohms, "ohm"), Q(ambient, "degC"))
    assert nominal(found.power, "W") == watts


def test_where_no_size_bears_it_there_is_none():
    assert size_to_fit(Q(1.0, "W"), Q(600.0, "V"), Q(360e3, "ohm"), Q(25.0, "degC")) is None
    assert zener_to_fit(Q(60.0, "W"), Q(25.0, "degC")) is None


@pytest.mark.parametrize(
    ("heat", "ambient", "watts", "source"),
    [
        (0.42, 25, 1, "0.42 W takes a 1 W zener at half its rating, worked by hand"),
        (0.42, 100, 3, "at 100 °C half of the rating is left: 0.25 W of the 1 W one"),
        (7.5, 25, 50, "50 V · 150 mA in a centre tap: a stud on a heatsink"),
    ],
)
def test_a_zener_is_held_at_half_its_derated_rating(heat, ambient, watts, source):
    assert nominal(zener_to_fit(Q(heat, "W"), Q(ambient, "degC")), "W") == watts


def test_sizes_stand_in_order_with_their_source():
    assert [nominal(each.power) for each in SIZES] == sorted(nominal(each.power) for each in SIZES)
    assert [nominal(each) for each in ZENER_SIZES] == sorted(nominal(each) for each in ZENER_SIZES)
    assert all(each.source for each in SIZES)


@pytest.mark.parametrize(
    ("watts", "ambient"),
    [
        (0, 25),
        (-1, 25),
        (float("nan"), 25),
        (float("inf"), 25),
        (1e9, 25),
        (1, 155),
        (1, 400),
        (1, -300),
        (1, float("nan")),
    ],
)
def test_what_bears_nothing_is_refused(watts, ambient):
    with pytest.raises(CircuitError):
        derated(Q(float(watts), "W"), Q(float(ambient), "degC"))
    with pytest.raises(CircuitError):
        hot_spot(Q(0.1, "W"), Q(float(watts), "W"), Q(float(ambient), "degC"))


def test_a_hottest_under_the_knee_is_refused():
    with pytest.raises(CircuitError, match="knee"):
        derated(Q(1.0, "W"), Q(25.0, "degC"), hottest=Q(60.0, "degC"))
