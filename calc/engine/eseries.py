"""Preferred values: what can be bought. IEC 60063:2015.

E3 to E24 are the standard's lists, which no formula gives. E48 to E192 are 100·10^(i/N), rounded; the one exception
is in E192, where the formula says 919 and the standard lists 920.
"""

import math
from dataclasses import dataclass
from typing import Final

import pint

from calc.engine.bounds import inside
from calc.engine.errors import CircuitError
from calc.engine.quantities import nominal, units

# IEC 60063:2015, table of E24; E12, E6 and E3 are every second, fourth and eighth of it.
_E24: Final = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)


def _by_formula(count: int) -> tuple[int, ...]:
    values = [round(100 * 10 ** (i / count)) for i in range(count)]
    return tuple(920 if value == 919 else value for value in values)


# Each series' figures in one decade from 100, so that E12's 47 is 470 here.
SERIES: Final[dict[str, tuple[int, ...]]] = {
    "E3": tuple(10 * value for value in _E24[::8]),
    "E6": tuple(10 * value for value in _E24[::4]),
    "E12": tuple(10 * value for value in _E24[::2]),
    "E24": tuple(10 * value for value in _E24),
    "E48": _by_formula(48),
    "E96": _by_formula(96),
    "E192": _by_formula(192),
}

# What each series is sold at, per cent. IEC 60063 pairs them so; from memory.
USUAL_TOLERANCE: Final = {
    "E3": 40.0,
    "E6": 20.0,
    "E12": 10.0,
    "E24": 5.0,
    "E48": 2.0,
    "E96": 1.0,
    "E192": 0.5,
}

_SAME: Final = (
    1e-9  # ratios nearer to one another than this are a tie: the last digits of a float decide nothing
)
_LEAST, _MOST = 1e-18, 1e15


@dataclass(frozen=True)
class Preferred:
    """A preferred value beside the one that was wanted. `error` is signed, in per cent of the wanted value."""

    value: pint.Quantity
    error: pint.Quantity


@dataclass(frozen=True)
class Nearest:
    """What of a series is nearest to a value: one, or the two that are equally near."""

    series: str
    values: tuple[Preferred, ...]

    @property
    def is_tie(self) -> bool:
        return len(self.values) > 1

    @property
    def first(self) -> Preferred:
        """The nearest, the smaller of two."""
        return self.values[0]


def nearest(wanted: pint.Quantity, series: str) -> Nearest:
    """Return the nearest value of a series ("E3" to "E192"), in the unit of `wanted`.

    Nearest is the smallest |log(value/wanted)|, so 976 and 1000 are neighbours; a tie lists both. The ± of what is
    wanted is left aside.

    Raises:
        CircuitError: no such series, or a value that is not above zero and of this world.
    Source: IEC 60063:2015 for the lists.
    """
    number = _number(wanted)
    below, above = _around(number, series)
    down, up = math.log(number / below), math.log(above / number)
    if abs(down - up) <= _SAME:
        found = (below,) if below == above else (below, above)
    else:
        found = (below,) if down < up else (above,)
    return Nearest(series, tuple(_beside(value, number, wanted) for value in found))


def at_most(wanted: pint.Quantity, series: str) -> Preferred:
    """Return the greatest value of a series that is not above `wanted`, in its unit.

    Raises and sources as `nearest`.
    """
    number = _number(wanted)
    return _beside(_around(number, series)[0], number, wanted)


def at_least(wanted: pint.Quantity, series: str) -> Preferred:
    """Return the smallest value of a series that is not below `wanted`, in its unit.

    Raises and sources as `nearest`.
    """
    number = _number(wanted)
    return _beside(_around(number, series)[1], number, wanted)


def is_preferred(value: pint.Quantity, series: str) -> bool:
    """Say whether a value is in a series, to the last digit of a float. Raises as `nearest`."""
    number = _number(value)
    return abs(math.log(_around(number, series)[0] / number)) <= _SAME


def figures_of(number: float) -> tuple[str, int]:
    """Return the significant figures of a number above zero, and the power of ten of the last: 4700.0 is "47", 2.

    Nine figures are looked at: what lies behind them is the float's, not the part's.
    """
    mantissa, power = f"{number:.8e}".split("e")
    figures = mantissa.replace(".", "").rstrip("0")
    return figures, int(power) - len(figures) + 1


def scaled(figures: int, power: int) -> float:
    """Return figures × 10^power as the float that the text of it gives: 47 × 10^-9 is 4.7e-08 and nothing beside it."""
    return float(f"{figures}e{power}")


def _number(quantity: pint.Quantity) -> float:
    inside(quantity, str(quantity.units), "The value", least=0.0, most=_MOST, is_open=True)
    number = nominal(quantity)
    if number < _LEAST:
        raise CircuitError("The value is too small for any part. Check its unit.")
    return number


def _around(number: float, series: str) -> tuple[float, float]:
    """The neighbours in the series, at or below and at or above."""
    if series not in SERIES:
        raise CircuitError(f"There is no series {series}. They are {', '.join(SERIES)}.")
    power = math.floor(math.log10(number)) - 2
    ladder = [scaled(value, at) for at in (power - 1, power, power + 1) for value in SERIES[series]]
    for value in ladder:
        if abs(math.log(value / number)) <= _SAME:
            return value, value
    return max(v for v in ladder if v < number), min(v for v in ladder if v > number)


def _beside(value: float, number: float, wanted: pint.Quantity) -> Preferred:
    error = 0.0 if abs(value / number - 1) <= _SAME else 100 * (value / number - 1)
    return Preferred(units.Quantity(value, wanted.units), units.Quantity(error, "percent"))
