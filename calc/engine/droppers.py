"""Power resistors and zeners that make a rail out of a higher one: worst cases, heat, what regulates and what doesn't.

A rail is positive or negative: supply and rail are written with their sign, and the results carry it. The worst case
is looked for among the corners of what may vary (supply, resistor, zener, load); each formula is monotonic in each of
them, but for the zener's heat, whose one crest is looked at too.

Ohm's law and the balance of currents at the rail (any textbook). A zener is its voltage at any current: its slope, a
few ohms, and its drift with heat, about 0.1 % a kelvin above 6 V (from memory), are left aside.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import pint

from calc.engine.bounds import inside
from calc.engine.errors import CircuitError
from calc.engine.eseries import Nearest, at_most, nearest
from calc.engine.quantities import band, nominal, show, units

SUPPLY_TOLERANCE: Final = units.Quantity(10.0, "percent")  # IEC 60038's mains ±10 %; from memory
PART_TOLERANCE: Final = units.Quantity(5.0, "percent")
KNEE_CURRENT: Final = units.Quantity(5.0, "mA")  # small zeners' test currents are about this; from memory

_MOST_VOLTS = 5000.0
_LEAST_VOLTS = 0.1
_MOST_AMPERES = 20.0
_LEAST_AMPERES = 1e-6
_MOST_OHMS = 1e9
_LEAST_OHMS = 1e-3
_MOST_TOLERANCE = 50.0


class Regulation(StrEnum):
    """What a zener does when the supply is lowest and the load heaviest."""

    HOLDS = "holds"
    AT_THE_KNEE = "at the knee"  # it conducts, less than it needs
    OUT = "out of regulation"  # it is off, and the rail is what the resistor leaves


@dataclass(frozen=True)
class Dropper:
    """A resistor between a supply and a rail.

    `wanted` gives the rail at the usual supply and the heaviest load; `resistance` is what the rest is worked out for.
    `weakest` and `strongest` are the rail nearest to and farthest from zero with a load on it, `unloaded` with none.
    `heat` is at the usual supply, `heat_most` the worst in use, `heat_shorted` with the rail shorted.
    `across_most` is the worst across the resistor in use, `across_shorted` with the rail shorted.
    """

    wanted: pint.Quantity
    near: Nearest
    resistance: pint.Quantity
    rail: pint.Quantity
    weakest: pint.Quantity
    strongest: pint.Quantity
    unloaded: pint.Quantity
    heat: pint.Quantity
    heat_most: pint.Quantity
    heat_shorted: pint.Quantity
    across_most: pint.Quantity
    across_shorted: pint.Quantity

    @property
    def collapses(self) -> bool:
        """Whether the load can't be had at the lowest supply: nothing is left for the rail."""
        return not nominal(self.weakest)


@dataclass(frozen=True)
class Shunt:
    """A zener across a rail, fed through a resistor.

    `most` is the largest resistance that still holds the rail in the worst case; None: none does. `zener_least` is
    what is left for the zener then, below zero where it is off; `zener_most` flows with the load unplugged.
    `zener_heat` is at the usual supply and the heaviest load, `zener_heat_light` the worst with the lightest load,
    `zener_heat_most` with the load unplugged. `weakest` and `strongest` are the ends of the rail.
    `resistor_heat_most` is in use, `resistor_heat_shorted` with the rail shorted.
    """

    most: pint.Quantity | None
    resistance: pint.Quantity
    regulation: Regulation
    zener_current: pint.Quantity
    zener_least: pint.Quantity
    zener_most: pint.Quantity
    weakest: pint.Quantity
    strongest: pint.Quantity
    zener_heat: pint.Quantity
    zener_heat_light: pint.Quantity
    zener_heat_most: pint.Quantity
    resistor_heat: pint.Quantity
    resistor_heat_most: pint.Quantity
    resistor_heat_shorted: pint.Quantity
    across_most: pint.Quantity
    across_shorted: pint.Quantity


@dataclass(frozen=True)
class InSeries:
    """A zener that carries the whole current, in a rail or in a winding's centre tap."""

    zener: pint.Quantity
    heat: pint.Quantity
    heat_most: pint.Quantity
    weakest: pint.Quantity
    strongest: pint.Quantity


def dropper(
    supply: pint.Quantity,
    rail: pint.Quantity,
    load_most: pint.Quantity,
    load_least: pint.Quantity,
    *,
    resistance: pint.Quantity | None = None,
    supply_tolerance: pint.Quantity = SUPPLY_TOLERANCE,
    resistor_tolerance: pint.Quantity = PART_TOLERANCE,
    series: str = "E12",
) -> Dropper:
    """Return the resistor that drops `supply` to `rail` at `load_most`, and its worst cases.

    Volts carry the rail's sign, amperes have none; `resistance` is a resistor that is there already, without it the
    nearest of `series` is taken. The supply's ± widens its tolerance.

    Raises:
        CircuitError: a rail beyond its supply or of the other sign, no load, or values of no such circuit.
    Source: Ohm's law.
    """
    sign, volts, least, most = _supply(supply, supply_tolerance)
    wanted_rail = _rail(rail, sign)
    if _number(wanted_rail) >= _number(volts):
        raise CircuitError("The rail must be nearer to zero than its supply: a resistor only drops.")
    heavy, light = _loads(load_most, load_least, needed=True)
    ideal = (volts - wanted_rail) / heavy
    near = nearest(_q(_number(ideal), "ohm"), series)
    ohms = nominal(near.first.value, "ohm") if resistance is None else _ohms(resistance)
    part = _share(resistor_tolerance, "The resistor’s tolerance")
    low, high = _number(ohms) * (1 - part), _number(ohms) * (1 + part)
    most_amperes = _top(heavy)
    drop = heavy * ohms if _number(heavy * ohms) < _number(volts) else volts
    return Dropper(
        wanted=_q(ideal, "ohm"),
        near=near,
        resistance=_q(ohms, "ohm"),
        rail=_signed(sign, volts - drop),
        weakest=_signed(sign, max(0.0, least - most_amperes * high)),
        strongest=_signed(sign, max(0.0, most - _bottom(light) * low)),
        unloaded=_signed(sign, most),
        heat=_q(drop * drop / ohms, "W"),
        heat_most=_q(min(most_amperes**2 * high, most**2 / low), "W"),
        heat_shorted=_q(most**2 / low, "W"),
        across_most=_q(min(most_amperes * high, most), "V"),
        across_shorted=_q(most, "V"),
    )


def shunt(
    supply: pint.Quantity,
    zener: pint.Quantity,
    load_most: pint.Quantity,
    load_least: pint.Quantity,
    *,
    resistance: pint.Quantity | None = None,
    knee_current: pint.Quantity = KNEE_CURRENT,
    supply_tolerance: pint.Quantity = SUPPLY_TOLERANCE,
    resistor_tolerance: pint.Quantity = PART_TOLERANCE,
    zener_tolerance: pint.Quantity = PART_TOLERANCE,
    series: str = "E12",
) -> Shunt:
    """Return the feed resistor of a zener-held rail, and its worst cases.

    Volts carry the rail's sign, amperes have none. `resistance` is a resistor that is there already; without it the
    greatest of `series` is taken that holds the rail with the supply lowest, the load heaviest, the zener and the
    resistor highest: R ≤ (Vmin − Vz) / (Iknee + Imost). The zener's worst heat is with the supply highest and the load
    unplugged, whatever `load_least` says.

    Raises:
        CircuitError: no resistor holds the rail, a zener of the other sign, or values of no such circuit.
    Source: balance of currents at the zener.
    """
    sign, volts, least, most = _supply(supply, supply_tolerance)
    held = _rail(zener, sign)
    heavy, light = _loads(load_most, load_least, needed=False)
    knee = inside(knee_current, "A", "The zener’s least current", least=0.0, most=_MOST_AMPERES)
    knee = _number(knee)
    part = _share(resistor_tolerance, "The resistor’s tolerance")
    spread = _share(zener_tolerance, "The zener’s tolerance")
    held_low, held_high = _bottom(held) * (1 - spread), _top(held) * (1 + spread)
    room = least - held_high
    needed = knee + _top(heavy)
    greatest = room / needed / (1 + part) if room > 0 and needed > 0 else None
    if resistance is not None:
        ohms = _ohms(resistance)
    elif greatest is None:
        if needed <= 0:
            raise CircuitError(
                "Say what the load draws, or what the zener needs: without a current there is no drop."
            )
        falls, stands = show(_signed(sign, least)), show(_signed(sign, held_high))
        raise CircuitError(
            f"The supply can fall to {falls} and the zener can be {stands}: no resistor holds this rail. "
            "Take a higher supply or a lower zener."
        )
    elif greatest < _LEAST_OHMS:
        raise CircuitError("The resistor would be next to nothing. Check the currents and the volts.")
    else:
        ohms = nominal(at_most(_q(greatest, "ohm"), series).value, "ohm")
    low, high = _number(ohms) * (1 - part), _number(ohms) * (1 + part)
    amperes = _top(heavy)
    zener_least = room / high - amperes
    regulation = Regulation.HOLDS
    if zener_least < knee * (1 - 1e-9):
        regulation = Regulation.AT_THE_KNEE if zener_least > 0 else Regulation.OUT
    weakest = held_low if regulation is Regulation.HOLDS else min(held_low, least - amperes * high)
    across = max(most - held_low, min(amperes * high, most))
    current = (volts - held) / ohms - heavy
    is_on = _number(current) > 0
    zener_now = current if is_on else 0.0
    drop = volts - held if is_on else (heavy * ohms if _number(heavy * ohms) < _number(volts) else volts)
    return Shunt(
        most=None if greatest is None else _q(greatest, "ohm"),
        resistance=_q(ohms, "ohm"),
        regulation=regulation,
        zener_current=_q(zener_now, "A"),
        zener_least=_q(zener_least, "A"),
        zener_most=_q(max(0.0, (most - held_low) / low), "A"),
        weakest=_signed(sign, max(0.0, weakest)),
        strongest=_signed(sign, min(held_high, most)),
        zener_heat=_q(held * zener_now, "W"),
        zener_heat_light=_q(_crest(most, low, _bottom(light), held_low, held_high), "W"),
        zener_heat_most=_q(_crest(most, low, 0.0, held_low, held_high), "W"),
        resistor_heat=_q(drop * drop / ohms, "W"),
        resistor_heat_most=_q(
            max(max(0.0, most - held_low) ** 2 / low, min(amperes**2 * high, most**2 / low)), "W"
        ),
        resistor_heat_shorted=_q(most**2 / low, "W"),
        across_most=_q(across, "V"),
        across_shorted=_q(most, "V"),
    )


def in_series(
    supply: pint.Quantity,
    zener: pint.Quantity,
    current: pint.Quantity,
    *,
    supply_tolerance: pint.Quantity = SUPPLY_TOLERANCE,
    zener_tolerance: pint.Quantity = PART_TOLERANCE,
) -> InSeries:
    """Return what a zener in series with a supply leaves, and its heat: P = Vz·I, `current` being the mean.

    `supply` carries the rail's sign, `zener` the drop's size. In a centre tap the mean current is the supply's.

    Raises:
        CircuitError: a zener as high as the supply, no current, or values of no such circuit.
    Source: P = V·I.
    """
    sign, volts, least, most = _supply(supply, supply_tolerance)
    drop = inside(zener, "V", "The zener", least=-_MOST_VOLTS, most=_MOST_VOLTS)
    drop = -drop if _number(drop) < 0 else drop
    if _number(drop) < _LEAST_VOLTS:
        raise CircuitError("The zener must be at least 100 mV.")
    spread = _share(zener_tolerance, "The zener’s tolerance")
    if _top(drop) * (1 + spread) >= least:
        raise CircuitError(
            "The zener can be as high as the supply can fall: nothing would be left. Take a lower one."
        )
    amperes, _ = _loads(current, current, needed=True)
    return InSeries(
        zener=_q(drop, "V"),
        heat=_q(drop * amperes, "W"),
        heat_most=_q(_top(drop) * (1 + spread) * _top(amperes), "W"),
        weakest=_signed(sign, least - _top(drop) * (1 + spread)),
        strongest=_signed(sign, most - _bottom(drop) * (1 - spread)),
    )


def _crest(most: float, low: float, load: float, held_low: float, held_high: float) -> float:
    """The zener's worst heat: V·((Vmax − V)/R − I), whose crest is at half of what R leaves."""
    within = min(max((most - low * load) / 2, held_low), held_high)
    return max(0.0, *(volts * ((most - volts) / low - load) for volts in (held_low, within, held_high)))


def _supply(supply: pint.Quantity, tolerance: pint.Quantity) -> tuple[int, Any, float, float]:
    """The sign of a supply, its size with its ±, and the least and the most of its size."""
    volts = inside(supply, "V", "The supply", least=-_MOST_VOLTS, most=_MOST_VOLTS)
    sign = -1 if _number(volts) < 0 else 1
    size = sign * volts
    if _number(size) < _LEAST_VOLTS:
        raise CircuitError("The supply must be at least 100 mV.")
    share = _share(tolerance, "The supply’s tolerance")
    least, most = _bottom(size) * (1 - share), _top(size) * (1 + share)
    if least <= 0:
        raise CircuitError("The supply is too unsure: it might be nothing.")
    return sign, size, least, most


def _rail(rail: pint.Quantity, sign: int) -> Any:
    volts = inside(rail, "V", "The rail", least=-_MOST_VOLTS, most=_MOST_VOLTS)
    if abs(_number(volts)) < _LEAST_VOLTS:
        raise CircuitError("The rail must be at least 100 mV from zero.")
    if sign * _number(volts) < 0:
        raise CircuitError(
            "Supply and rail must have the same sign. Write both with a minus for a negative rail."
        )
    return sign * volts


def _loads(most: pint.Quantity, least: pint.Quantity, *, needed: bool) -> tuple[Any, Any]:
    heavy = inside(most, "A", "The heaviest load", least=0.0, most=_MOST_AMPERES)
    light = inside(least, "A", "The lightest load", least=0.0, most=_MOST_AMPERES)
    if needed and _number(heavy) < _LEAST_AMPERES:
        raise CircuitError("The load must draw at least 1 µA: without a current nothing is dropped.")
    if _number(light) > _number(heavy):
        raise CircuitError("The lightest load can’t be more than the heaviest.")
    return heavy, light


def _ohms(resistance: pint.Quantity) -> Any:
    return inside(resistance, "ohm", "The resistor", least=_LEAST_OHMS, most=_MOST_OHMS)


def _share(tolerance: pint.Quantity, what: str) -> float:
    return _number(inside(tolerance, "percent", what, least=0.0, most=_MOST_TOLERANCE)) / 100


def _q(magnitude: Any, unit: str) -> pint.Quantity:
    return units.Quantity(magnitude, unit)


def _signed(sign: int, size: Any) -> pint.Quantity:
    return _q(sign * size + 0.0, "V")  # no minus before a zero


def _number(magnitude: Any) -> float:
    return nominal(_q(magnitude, ""))


def _top(magnitude: Any) -> float:
    """The upper end of a magnitude's ±."""
    return _number(magnitude) + band(_q(magnitude, ""))


def _bottom(magnitude: Any) -> float:
    return max(0.0, _number(magnitude) - band(_q(magnitude, "")))
