"""Where an unsure value stands against its limits."""

import math

import pytest
from uncertainties import ufloat

from calc.engine.limits import Standing, stand
from calc.engine.quantities import units, with_band


@pytest.mark.parametrize(
    ("volts", "spread", "standing"),
    [
        (20.0, 0.0, Standing.IN),
        (10.0, 0.0, Standing.IN),
        (19.0, 1.0, Standing.IN),
        (20.0, 0.1, Standing.CLOSE),
        (20.5, 1.0, Standing.CLOSE),
        (9.5, 1.0, Standing.CLOSE),
        (15.0, 9.0, Standing.CLOSE),
        (21.5, 1.0, Standing.OUT),
        (8.5, 1.0, Standing.OUT),
        (20.001, 0.0, Standing.OUT),
        (0.1 + 0.2 + 19.7, 0.0, Standing.IN),  # what adding floats leaves is no fault
    ],
)
def test_a_limit_belongs_to_its_range_and_a_spread_over_it_is_too_close_to_call(volts, spread, standing):
    value = with_band(units.Quantity(volts, "V"), spread)
    assert stand(value, units.Quantity(10.0, "V"), units.Quantity(0.02, "kV")) is standing


def test_a_side_without_a_limit_is_open():
    value = units.Quantity(1e6, "V")
    assert stand(value) is Standing.IN
    assert stand(value, least=units.Quantity(1.0, "V")) is Standing.IN
    assert stand(value, most=units.Quantity(1.0, "V")) is Standing.OUT


@pytest.mark.parametrize("number", [math.nan, ufloat(1.0, math.nan)])
def test_what_is_no_number_keeps_to_no_limit(number):
    """IEEE 754: not a number compares with nothing, so that no comparison may let it pass."""
    value = units.Quantity(number, "ohm")
    assert stand(value, most=units.Quantity(2.0, "ohm")) is Standing.CLOSE
    assert stand(value, least=units.Quantity(2.0, "ohm")) is Standing.CLOSE
