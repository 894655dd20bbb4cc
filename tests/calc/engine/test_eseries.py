"""Preferred values against IEC 60063:2015 and numpy."""

import math

import numpy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.engine.errors import CircuitError
from calc.engine.eseries import SERIES, at_least, at_most, is_preferred, nearest
from calc.engine.quantities import units, with_band

IEC_E24 = "10 11 12 13 15 16 18 20 22 24 27 30 33 36 39 43 47 51 56 62 68 75 82 91"  # IEC 60063:2015, E24


def ohms(number):
    return units.Quantity(number, "ohm")


def test_e24_is_the_standards_list():
    assert " ".join(str(value // 10) for value in SERIES["E24"]) == IEC_E24


@pytest.mark.parametrize(("series", "step"), [("E12", 2), ("E6", 4), ("E3", 8)])
def test_the_short_series_are_thinned_out_of_e24(series, step):
    assert " ".join(str(value // 10) for value in SERIES[series]) == " ".join(IEC_E24.split()[::step])


def test_e24_leaves_its_own_formula_in_eight_places():
    formula = numpy.rint(10 * numpy.logspace(0, 1, 24, endpoint=False)).astype(int)  # numpy; IEC 60063
    ours = numpy.array(SERIES["E24"]) // 10
    assert [(int(a), int(b)) for a, b in zip(formula, ours, strict=True) if a != b] == [
        (26, 27), (29, 30), (32, 33), (35, 36), (38, 39), (42, 43), (46, 47), (83, 82),
    ]  # fmt: skip


@pytest.mark.parametrize(("series", "exceptions"), [("E48", []), ("E96", []), ("E192", [(919, 920)])])
def test_the_long_series_are_the_rounded_formula_but_for_one_value_of_e192(series, exceptions):
    count = int(series[1:])
    formula = numpy.rint(100 * numpy.logspace(0, 1, count, endpoint=False)).astype(int)  # numpy; IEC 60063
    differ = [(int(a), int(b)) for a, b in zip(formula, SERIES[series], strict=True) if a != b]
    assert differ == exceptions


@pytest.mark.parametrize(
    ("series", "shared", "source"),
    [
        ("E96", "10 11 13 15 20 75", "IEC 60063, the lists compared"),
        ("E192", "10 11 12 13 15 16 18 20 24 47 75", "IEC 60063, the lists compared"),
    ],
)
def test_few_values_of_e24_are_in_the_long_series(series, shared, source):
    both = sorted(set(SERIES["E24"]) & set(SERIES[series]))
    assert " ".join(str(value // 10) for value in both) == shared


@pytest.mark.parametrize(
    ("wanted", "series", "value", "error", "source"),
    [
        (4700, "E12", 4700, 0.0, "IEC 60063, E12"),
        (5000, "E12", 4700, -6.0, "IEC 60063; log(5000/4700) < log(5600/5000)"),
        (980, "E96", 976, -0.40816, "IEC 60063; across the decade's edge"),
        (990, "E96", 1000, 1.0101, "IEC 60063; across the decade's edge"),
        (919.5, "E192", 920, 0.054377, "IEC 60063: the list governs, not the formula"),
        (1e-3, "E6", 1e-3, 0.0, "IEC 60063"),
        (0.22, "E6", 0.22, 0.0, "IEC 60063"),
        (8.3e6, "E3", 1e7, 20.482, "IEC 60063, E3"),
    ],
)
def test_the_nearest_value_is_found_by_its_ratio(wanted, series, value, error, source):
    found = nearest(ohms(wanted), series)
    assert not found.is_tie
    assert found.first.value.magnitude == pytest.approx(value, rel=1e-12)
    assert found.first.error.to("percent").magnitude == pytest.approx(error, abs=1e-3)


def test_a_tie_lists_both():
    found = nearest(ohms(math.sqrt(10 * 15)), "E6")
    assert [round(each.value.magnitude) for each in found.values] == [10, 15]
    assert found.values[0].error.magnitude < 0 < found.values[1].error.magnitude


def test_the_answer_is_in_the_unit_that_was_asked_in_and_without_its_band():
    found = nearest(with_band(units.Quantity(4.9, "kohm"), 0.1), "E24").first
    assert (found.value.magnitude, str(found.value.units)) == (5.1, "kiloohm")


@pytest.mark.parametrize(
    "wanted",
    [
        ohms(0),
        ohms(-4700),
        ohms(math.inf),
        ohms(math.nan),
        ohms(1e300),
        ohms(1e-300),
        units.Quantity(-1, "F"),
    ],
)
def test_what_no_part_can_be_is_refused(wanted):
    with pytest.raises(CircuitError):
        nearest(wanted, "E24")


def test_a_series_that_does_not_exist_is_refused():
    with pytest.raises(CircuitError, match="E192"):
        nearest(ohms(100), "E25")


@given(st.floats(1e-6, 1e12), st.sampled_from(sorted(SERIES)))
@settings(max_examples=50, deadline=None)
def test_nothing_of_the_series_lies_between_a_value_and_its_neighbours(number, series):
    below, above = (
        at_most(ohms(number), series).value.magnitude,
        at_least(ohms(number), series).value.magnitude,
    )
    assert below <= number * (1 + 1e-8) and above >= number * (1 - 1e-8)
    assert is_preferred(ohms(below), series) and is_preferred(ohms(above), series)
    decades = numpy.outer(10.0 ** numpy.arange(-9, 12), SERIES[series]).ravel()  # numpy, by brute force
    assert not [v for v in decades if below * (1 + 1e-6) < v < above * (1 - 1e-6)]
    best = decades[numpy.argmin(numpy.abs(numpy.log(decades / number)))]
    assert any(each.value.magnitude == pytest.approx(best) for each in nearest(ohms(number), series).values)
