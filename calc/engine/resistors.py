"""What a part that gets warm can bear: watts at its ambient, how hot it gets, volts across it, the size to fit.

A part is rated at a knee (70 °C for resistors, 25 °C for zeners); above it the rating falls straight to nothing at
its hottest. Makers' sheets of the part in hand come first: these are the usual figures.
"""

from dataclasses import dataclass
from typing import Any, Final

import pint

from calc.engine.bounds import inside
from calc.engine.errors import CircuitError
from calc.engine.quantities import nominal, units

KNEE: Final = units.Quantity(70.0, "degC")  # IEC 60115-1, from memory
HOTTEST: Final = units.Quantity(155.0, "degC")  # metal-oxide film; from memory
ZENER_KNEE: Final = units.Quantity(25.0, "degC")  # from memory
ZENER_HOTTEST: Final = units.Quantity(175.0, "degC")  # axial glass; plastic ones 150 °C; from memory
STRESS: Final = (
    0.5  # of the rating at ambient: derating of MIL-STD-975's kind, from memory; common practice too
)

_COLDEST, _WARMEST = -65.0, 500.0
_LEAST_WATTS, _MOST_WATTS = 1e-6, 1e5
_LEAST_OHMS, _MOST_OHMS = 1e-3, 1e12
_MOST_VOLTS = 1e5


@dataclass(frozen=True)
class Size:
    """A size that resistors are sold in. `element` is what may stand across it whatever its resistance."""

    power: pint.Quantity
    element: pint.Quantity
    source: str


def _size(watts: float, volts: float, source: str) -> Size:
    return Size(units.Quantity(watts, "W"), units.Quantity(volts, "V"), source)


_MAKERS: Final = "makers’ sheets, from memory"
_PRACTICE: Final = "sizes: common practice, no source; 500 V taken from the 2 W size"
SIZES: Final = (
    _size(0.25, 250.0, _MAKERS),
    _size(0.5, 350.0, _MAKERS),
    _size(1.0, 500.0, _MAKERS),
    _size(2.0, 500.0, f"{_MAKERS}: 500 V to 750 V"),
    *(_size(watts, 500.0, _PRACTICE) for watts in (3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 25.0, 50.0)),
)
_PLAIN_SIZES: Final = tuple((size, nominal(size.power, "W"), nominal(size.element, "V")) for size in SIZES)
ZENER_SIZES: Final = tuple(  # common practice, no source; from 10 W on a stud or tab on a heatsink
    units.Quantity(watts, "W") for watts in (0.4, 0.5, 1.0, 1.3, 3.0, 5.0, 10.0, 50.0)
)


def derated(
    power: pint.Quantity,
    ambient: pint.Quantity,
    *,
    knee: pint.Quantity = KNEE,
    hottest: pint.Quantity = HOTTEST,
) -> pint.Quantity:
    """Return the watts a part may turn into heat at an ambient: P·(Tmax − T)/(Tmax − knee) above the knee.

    `power` is the rating up to the knee; temperatures in °C.

    Raises:
        CircuitError: no rating, a hottest that is not above the knee, or an ambient as hot as that.
    Source: derating curve of IEC 60115-1's kind.
    """
    rated = inside(power, "W", "The rating", least=_LEAST_WATTS, most=_MOST_WATTS)
    return units.Quantity(rated * _left(ambient, knee, hottest), "W")


def hot_spot(
    heat: pint.Quantity,
    power: pint.Quantity,
    ambient: pint.Quantity,
    *,
    knee: pint.Quantity = KNEE,
    hottest: pint.Quantity = HOTTEST,
) -> pint.Quantity:
    """Return how hot a part of rating `power` gets, in °C: T + P·(Tmax − knee)/rating, the same line as the derating.

    With its ±, where the heat has one. Raises and source as `derated`.
    """
    rated = nominal(derated(power, knee, knee=knee, hottest=hottest), "W")
    watts = inside(heat, "W", "The heat", least=0.0, most=_MOST_WATTS)
    at, bend, end = _temperatures(ambient, knee, hottest)
    return units.Quantity(at + watts * (end - bend) / rated, "degC")


def voltage_limit(resistance: pint.Quantity, power: pint.Quantity, element: pint.Quantity) -> pint.Quantity:
    """Return what may stand across a resistor: the smaller of √(P·R) and the element's limit.

    Raises:
        CircuitError: a value that is not above zero and of this world.
    Source: IEC 60115-1's limiting element voltage; the limits are the maker's.
    """
    ohms = inside(resistance, "ohm", "The resistance", least=_LEAST_OHMS, most=_MOST_OHMS)
    watts = inside(power, "W", "The rating", least=_LEAST_WATTS, most=_MOST_WATTS)
    volts = inside(element, "V", "The element’s limit", least=0.1, most=_MOST_VOLTS)
    by_power = (ohms * watts) ** 0.5
    return units.Quantity(by_power if _number(by_power) < _number(volts) else volts, "V")


def element_limit(power: pint.Quantity) -> pint.Quantity:
    """Return the usual element limit of a resistor of this rating: that of the largest size that is not above it.

    Raises as `derated`. Source: `SIZES`.
    """
    watts = _number(inside(power, "W", "The rating", least=_LEAST_WATTS, most=_MOST_WATTS))
    fitting = [size for size in SIZES if nominal(size.power, "W") <= watts * (1 + 1e-9)]
    return fitting[-1].element if fitting else units.Quantity(200.0, "V")  # 1/8 W; from memory


def size_to_fit(
    heat: pint.Quantity,
    volts: pint.Quantity,
    resistance: pint.Quantity,
    ambient: pint.Quantity,
    *,
    stress: float = STRESS,
    hottest: pint.Quantity = HOTTEST,
) -> Size | None:
    """Return the smallest size that bears `heat` at `stress` of its derated rating, and `volts` across it.

    None: there is none, so the drop must be shared by several. Raises as `derated`. Source: `SIZES`, `STRESS`.
    """
    watts = _number(inside(heat, "W", "The heat", least=0.0, most=_MOST_WATTS))
    across = _number(inside(volts, "V", "The volts across the resistor", least=0.0, most=_MOST_VOLTS))
    ohms = _number(inside(resistance, "ohm", "The resistance", least=_LEAST_OHMS, most=_MOST_OHMS))
    share = stress * _left(ambient, KNEE, hottest)
    for size, rated, element in _PLAIN_SIZES:  # plain numbers: pint would take ten milliseconds
        stands = min((ohms * rated) ** 0.5, element)
        if watts <= share * rated * (1 + 1e-9) and across <= stands * (1 + 1e-9):
            return size
    return None


def zener_to_fit(
    heat: pint.Quantity,
    ambient: pint.Quantity,
    *,
    stress: float = STRESS,
    hottest: pint.Quantity = ZENER_HOTTEST,
) -> pint.Quantity | None:
    """Return the smallest zener rating that bears `heat` at `stress` of its derated rating; None: there is none.

    Raises as `derated`. Source: `ZENER_SIZES`, `STRESS`.
    """
    watts = _number(inside(heat, "W", "The heat", least=0.0, most=_MOST_WATTS))
    share = stress * _left(ambient, ZENER_KNEE, hottest)
    return next((size for size in ZENER_SIZES if watts <= share * nominal(size) * (1 + 1e-9)), None)


def _left(ambient: pint.Quantity, knee: pint.Quantity, hottest: pint.Quantity) -> float:
    """What is left of a rating at an ambient."""
    at, bend, end = _temperatures(ambient, knee, hottest)
    return min(1.0, (end - at) / (end - bend))


def _temperatures(
    ambient: pint.Quantity, knee: pint.Quantity, hottest: pint.Quantity
) -> tuple[float, float, float]:
    at = _number(inside(ambient, "degC", "The ambient", least=_COLDEST, most=_WARMEST))
    bend = _number(inside(knee, "degC", "The knee of the derating", least=_COLDEST, most=_WARMEST))
    end = _number(inside(hottest, "degC", "The hottest a part may be", least=_COLDEST, most=_WARMEST))
    if end <= bend:
        raise CircuitError("The hottest a part may be must be above the knee of its derating.")
    if at >= end:
        raise CircuitError(
            f"At {at:g} °C around it this part bears nothing. Move it, or take one that bears more."
        )
    return at, bend, end


def _number(magnitude: Any) -> float:
    return float(getattr(magnitude, "nominal_value", magnitude))
