"""What a quantity must be before it goes into a formula: finite, of the right kind, and of this world."""

import math
from typing import Any

import pint

from calc.engine.errors import CircuitError
from calc.engine.quantities import show, units


def inside(
    quantity: pint.Quantity, unit: str, what: str, *, least: float, most: float, is_open: bool = False
) -> Any:
    """Return the magnitude in `unit` (one of pint's), with its ± if it has one.

    `least` and `most` are in `unit` and included, `least` left out where `is_open`. `what` opens the sentence
    of the refusal: "The supply voltage".

    Raises:
        CircuitError: it is another kind of quantity, not finite, or outside.
    """
    try:
        magnitude = quantity.to(unit).magnitude
    except (pint.PintError, AttributeError):
        raise CircuitError(f"{what} must be a quantity in {unit}.") from None
    number = float(getattr(magnitude, "nominal_value", magnitude))
    if not math.isfinite(number):
        raise CircuitError(f"{what} must be a number.")
    if number < least or (is_open and number == least):
        limit = show(units.Quantity(least, unit))
        raise CircuitError(f"{what} must be {'more than' if is_open else 'at least'} {limit}.")
    if number > most:
        raise CircuitError(f"{what} can be {show(units.Quantity(most, unit))} at most.")
    return magnitude
