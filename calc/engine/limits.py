"""Where a value that isn't quite sure stands against its limits."""

import math
from enum import StrEnum

import pint

from calc.engine.quantities import band, nominal


class Standing(StrEnum):
    """Where a value stands against its limits."""

    IN = "in"
    OUT = "out"
    CLOSE = "too close to call"  # a limit lies within the value's ±


_NOISE = 1e-9  # of a limit: what adding and scaling floats can be out by, far under any meter's ±


def stand(
    value: pint.Quantity, least: pint.Quantity | None = None, most: pint.Quantity | None = None
) -> Standing:
    """Say whether a value is within limits, both included; a side that is None is open.

    The value may carry ±: it is in only where all of its ± is, out only where all of its ± is beyond one limit.
    The limits are quantities of the same dimension.
    """
    unit = str(value.units)
    middle, spread = nominal(value), band(value)
    low, high = middle - spread, middle + spread
    if math.isnan(low) or math.isnan(high):
        return Standing.CLOSE  # it keeps to no limit, and nothing may pass by it
    if _under(low, least, unit) or _over(high, most, unit):
        beyond = _under(high, least, unit) or _over(low, most, unit)
        return Standing.OUT if beyond else Standing.CLOSE
    return Standing.IN


def _under(number: float, least: pint.Quantity | None, unit: str) -> bool:
    if least is None:
        return False
    limit = nominal(least, unit)
    return number < limit - _NOISE * abs(limit)


def _over(number: float, most: pint.Quantity | None, unit: str) -> bool:
    if most is None:
        return False
    limit = nominal(most, unit)
    return number > limit + _NOISE * abs(limit)
