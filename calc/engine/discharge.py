"""Charged capacitors: what they hold, how long a bleeder takes, which bleeder to fit, where published lines stand.

Nothing here says that a capacitor is safe. A time that was computed is no clearance (a bleeder may be open), and an
energy below a line is none either (8 J at 400 V is below 10 J, and dangerous). Only volts that were measured, and
measured again after the dielectric had its time to give back what it kept, can be judged: `clearance`.
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import pint

from calc.engine.bounds import inside
from calc.engine.errors import CircuitError
from calc.engine.eseries import at_most
from calc.engine.limits import Standing, stand
from calc.engine.quantities import band, nominal, units
from calc.engine.resistors import HOTTEST, Size, size_to_fit

SAFE: Final = units.Quantity(50.0, "V")  # 29 CFR 1910.333(a)(1): live parts under 50 V to ground
RECHECK: Final = units.Quantity(
    60.0, "s"
)  # common practice; electrolytics give back 1 to 10 %, textbook, from memory
CAPACITOR_TOLERANCE: Final = units.Quantity(20.0, "percent")  # electrolytics; old ones had +50 % and more
BLEEDER_TOLERANCE: Final = units.Quantity(10.0, "percent")
AMBIENT: Final = units.Quantity(60.0, "degC")  # in a closed chassis with tubes; common practice, no source
PLUG: Final = units.Quantity(2.0, "s")  # IEC 62368-1, 5.5.2.2

_MOST_IN_SERIES = 6
_LEAST_FARADS, _MOST_FARADS = 1e-13, 1e3
_LEAST_OHMS, _MOST_OHMS = 1e-3, 1e13
_MOST_VOLTS = 1e5
_LEAST_SECONDS, _MOST_SECONDS = 1e-3, 1e9


class Reach(StrEnum):
    """Where a capacitor stands against a published line."""

    REACHED = "reached"
    CLOSE = "too close to call"
    UNDER = "not reached"


@dataclass(frozen=True)
class Threshold:
    """A published line: reached where every part of it is. `volts` and `joules` are None where it says nothing of them.

    `over` counts only what is above the line, not what is on it. `below_volts` is where it holds only below some volts.
    """

    name: str
    source: str
    volts: pint.Quantity | None = None
    joules: pint.Quantity | None = None
    over: bool = False
    below_volts: bool = False


@dataclass(frozen=True)
class Against:
    """A capacitor against a line, which has its volts where they go by capacitance."""

    threshold: Threshold
    reach: Reach


@dataclass(frozen=True)
class Bleeder:
    """A bleeder to fit: `count` equal resistors in series, so that none has more across it than it bears.

    `volts_each` is the most that stands across one. `time` is with the values as they are marked, `longest` with
    capacitor and resistors at the upper end of their tolerance. `heat` and `draw` are of the whole bleeder at full
    volts, for as long as the supply is on.
    """

    count: int
    each: pint.Quantity
    size: Size
    volts_each: pint.Quantity
    heat_each: pint.Quantity
    heat: pint.Quantity
    draw: pint.Quantity
    time: pint.Quantity
    longest: pint.Quantity

    @property
    def resistance(self) -> pint.Quantity:
        return self.count * self.each


class Clearance(StrEnum):
    """What measuring says: the only thing that can say it."""

    NOT_MEASURED = "not measured"
    OVER = "over"
    ONCE = "once"  # at or under the line, not yet measured again
    CAME_BACK = "came back"  # under at first, over when measured again
    CLOSE = "too close to call"
    TWICE = "twice"  # at or under the line both times


def _volts(number: float) -> pint.Quantity:
    return units.Quantity(number, "V")


def _joules(number: float) -> pint.Quantity:
    return units.Quantity(number, "J")


# The shop's data: each is passed to `thresholds` and can be replaced.
ES1: Final = "ES1, charged capacitor"
ES2: Final = "ES2, charged capacitor"
THRESHOLDS: Final = (
    Threshold("US work rule: live parts", "29 CFR 1910.333(a)(1)", volts=_volts(50.0)),
    Threshold(ES1, "IEC 62368-1, tables 4 and 5, from memory", volts=_volts(60.0), over=True),
    Threshold(ES2, "IEC 62368-1, tables 4 and 5, from memory", volts=_volts(120.0), over=True),
    Threshold(
        "Reflex: it throws you",
        "DOE-HDBK-1092-2013, appendix D, from memory",
        volts=_volts(400.0),
        joules=_joules(0.25),
        over=True,
    ),
    Threshold(
        "Shock hazard of capacitors",
        "US national laboratories’ table, after the DOE’s system",
        volts=_volts(100.0),
        joules=_joules(10.0),
    ),
    Threshold(
        "Burns, at low volts",
        "US national laboratories’ table, after the DOE’s system",
        volts=_volts(100.0),
        joules=_joules(100.0),
        over=True,
        below_volts=True,
    ),
)
# The most capacitance, in farads, at which the volts of ES1 and ES2 are allowed. IEC 62368-1, table 5, from memory.
# The standard lets one interpolate; the stricter row is taken here.
CHARGED_CAPACITOR: Final = (
    (4e-9, 1000.0, 2000.0), (8e-9, 500.0, 1000.0), (12e-9, 350.0, 700.0), (18e-9, 250.0, 500.0), (28e-9, 200.0, 400.0),
    (41e-9, 150.0, 300.0), (61e-9, 125.0, 250.0), (91e-9, 100.0, 200.0), (170e-9, 75.0, 150.0),
)  # fmt: skip
_LARGE: Final = (60.0, 120.0)  # from 300 nF on, and steady DC: table 4


def stored_energy(capacitance: pint.Quantity, volts: pint.Quantity) -> pint.Quantity:
    """Return the energy in a capacitor, in joules: E = ½·C·V², with the ± of both.

    Raises:
        CircuitError: values of no such capacitor.
    Source: any textbook.
    """
    farads, start = _capacitance(capacitance), _size(volts, "The voltage")
    return units.Quantity(farads * start * start / 2, "J")


def time_to(
    capacitance: pint.Quantity, resistance: pint.Quantity, start: pint.Quantity, safe: pint.Quantity = SAFE
) -> pint.Quantity:
    """Return how long a resistor takes to bring a capacitor from `start` to `safe`, in seconds: t = R·C·ln(V0/V1).

    With the ± of all. A capacitor that is at or under `safe` takes no time. The sign of the volts is left aside.

    Raises:
        CircuitError: values of no such circuit.
    Source: any textbook.
    """
    farads, ohms = _capacitance(capacitance), _resistance(resistance)
    high, low = _size(start, "The voltage"), _line(safe)
    if _number(high) <= _number(low):
        return units.Quantity(0.0, "s")
    return units.Quantity(farads * ohms * _log(high / low), "s")


def volts_after(
    capacitance: pint.Quantity, resistance: pint.Quantity, start: pint.Quantity, time: pint.Quantity
) -> pint.Quantity:
    """Return what is left of `start` after a time, in volts: V0·exp(−t/RC). Raises and source as `time_to`."""
    farads, ohms = _number(_capacitance(capacitance)), _number(_resistance(resistance))
    seconds = _number(inside(time, "s", "The time", least=0.0, most=_MOST_SECONDS))
    return units.Quantity(_size(start, "The voltage") * math.exp(-seconds / (farads * ohms)), "V")


def longest_to(
    capacitance: pint.Quantity,
    resistance: pint.Quantity,
    start: pint.Quantity,
    safe: pint.Quantity = SAFE,
    *,
    capacitor_tolerance: pint.Quantity = CAPACITOR_TOLERANCE,
    bleeder_tolerance: pint.Quantity = BLEEDER_TOLERANCE,
) -> pint.Quantity:
    """Return the longest that `time_to` may be: capacitor, resistor and volts at the upper end of what they may be.

    Raises and source as `time_to`.
    """
    capacitor = 1 + _share(capacitor_tolerance, "The capacitor’s tolerance")
    bleeder = 1 + _share(bleeder_tolerance, "The bleeder’s tolerance")
    farads, ohms = _top(_capacitance(capacitance)) * capacitor, _top(_resistance(resistance)) * bleeder
    high = _top(_size(start, "The voltage"))
    return time_to(units.Quantity(farads, "F"), units.Quantity(ohms, "ohm"), _volts(high), safe)


def bleeder_to_fit(
    capacitance: pint.Quantity,
    start: pint.Quantity,
    within: pint.Quantity,
    safe: pint.Quantity = SAFE,
    *,
    capacitor_tolerance: pint.Quantity = CAPACITOR_TOLERANCE,
    bleeder_tolerance: pint.Quantity = BLEEDER_TOLERANCE,
    ambient: pint.Quantity = AMBIENT,
    hottest: pint.Quantity = HOTTEST,
    series: str = "E12",
) -> Bleeder | None:
    """Return the bleeder that brings a capacitor to `safe` within a time, tolerances allowed for.

    The greatest of `series` that does it, in the smallest size that bears its heat for good at half its rating and its
    volts; several in series where one doesn't bear them. None: the capacitor is at or under `safe`.

    Raises:
        CircuitError: no resistors that are sold do it, or values of no such circuit.
    Sources: t = R·C·ln(V0/V1), P = V²/R; sizes and their limits as in `calc.engine.resistors`.
    """
    farads = _top(_capacitance(capacitance)) * (1 + _share(capacitor_tolerance, "The capacitor’s tolerance"))
    part = _share(bleeder_tolerance, "The bleeder’s tolerance")
    high, low = _top(_size(start, "The voltage")), _number(_line(safe))
    seconds = _number(inside(within, "s", "The time", least=_LEAST_SECONDS, most=_MOST_SECONDS))
    if high <= low:
        return None
    most = seconds / (farads * math.log(high / low)) / (1 + part)
    for count in range(1, _MOST_IN_SERIES + 1):
        each = at_most(units.Quantity(most / count, "ohm"), series).value
        volts, heat = _worst_share(count, nominal(each, "ohm"), high, part)
        if heat > 1e4:  # no size comes near
            continue
        size = size_to_fit(units.Quantity(heat, "W"), _volts(volts), each, ambient, hottest=hottest)
        if size is not None:
            whole = count * each
            return Bleeder(
                count=count,
                each=each,
                size=size,
                volts_each=_volts(volts),
                heat_each=units.Quantity(heat, "W"),
                heat=units.Quantity(high * high / nominal(whole, "ohm"), "W"),
                draw=units.Quantity(high / nominal(whole, "ohm"), "A"),
                time=time_to(capacitance, whole, start, safe),
                longest=longest_to(
                    capacitance,
                    whole,
                    start,
                    safe,
                    capacitor_tolerance=capacitor_tolerance,
                    bleeder_tolerance=bleeder_tolerance,
                ),
            )
    raise CircuitError("No resistors that are sold bleed it down that fast. Allow it more time.")


def thresholds(
    capacitance: pint.Quantity, volts: pint.Quantity, lines: tuple[Threshold, ...] = THRESHOLDS
) -> tuple[Against, ...]:
    """Return where a charged capacitor stands against published lines; ES1 and ES2 by its capacitance.

    A line that isn't reached says nothing: energy never says safe. The volts' ± counts.

    Raises:
        CircuitError: values of no such capacitor.
    Sources: each line's own; `CHARGED_CAPACITOR`.
    """
    size = units.Quantity(_size(volts, "The voltage"), "V")
    energy = stored_energy(capacitance, volts)
    found = []
    for line in lines:
        if line.name in (ES1, ES2):
            line = by_capacitance(line, capacitance)
        met = []
        if line.volts is not None:
            met.append(_below(size, line.volts) if line.below_volts else _reach(size, line.volts, line.over))
        if line.joules is not None:
            met.append(_reach(energy, line.joules, line.over))
        found.append(Against(line, _all_of(met)))
    return tuple(found)


def by_capacitance(line: Threshold, capacitance: pint.Quantity) -> Threshold:
    """Return the line of ES1 or ES2 with its volts for a capacitance. Source: IEC 62368-1, table 5, from memory."""
    farads = _number(_capacitance(capacitance)) * (1 - 1e-9)
    row = next(((es1, es2) for most, es1, es2 in CHARGED_CAPACITOR if farads <= most), _LARGE)
    volts = row[0] if line.name == ES1 else row[1]
    return Threshold(line.name, line.source, _volts(volts), over=True)


def at_the_plug(
    capacitance: pint.Quantity, resistance: pint.Quantity | None, crest: pint.Quantity
) -> tuple[pint.Quantity, Against]:
    """Return what is left at the pins of a mains plug 2 s after unplugging, and where it stands against ES1.

    `crest` is what the capacitor was charged to at the worst: the crest of the mains. No resistor: all of it is left.

    Raises:
        CircuitError: values of no such circuit.
    Source: IEC 62368-1, 5.5.2.2; table 5 from memory.
    """
    left = units.Quantity(_size(crest, "The voltage"), "V")
    if resistance is not None:
        left = volts_after(capacitance, resistance, crest, PLUG)
    line = by_capacitance(next(each for each in THRESHOLDS if each.name == ES1), capacitance)
    named = Threshold("Plug pins, 2 s after unplugging", "IEC 62368-1, 5.5.2.2", line.volts, over=True)
    return left, Against(named, _reach(left, named.volts or left, True))


def clearance(
    now: pint.Quantity | None, again: pint.Quantity | None, safe: pint.Quantity = SAFE
) -> Clearance:
    """Return what two measurements say: after discharging, and 60 s after the clip came off.

    On the line is under it; a ± that reaches over it is too close to call. Signs are left aside.

    Raises:
        CircuitError: measurements that aren't volts.
    Source: conventions of measuring; 60 s for dielectric absorption are common practice, no source.
    """
    line = _volts(_number(_line(safe)))
    if now is None and again is None:
        return Clearance.NOT_MEASURED
    stands = [
        stand(units.Quantity(_size(each, "What was measured", least=0.0), "V"), most=line)
        for each in (now, again)
        if each is not None
    ]
    if Standing.OUT in stands:
        # over at first is a capacitor that isn't discharged; over only later is one that came back
        is_back = now is not None and stands[0] is not Standing.OUT
        return Clearance.CAME_BACK if is_back else Clearance.OVER
    if Standing.CLOSE in stands:
        return Clearance.CLOSE
    return Clearance.TWICE if len(stands) == 2 else Clearance.ONCE


def _worst_share(count: int, ohms: float, volts: float, part: float) -> tuple[float, float]:
    """The most volts across one of equal resistors in series, and its most heat, as their tolerance has it."""
    low, high = ohms * (1 - part), ohms * (1 + part)
    if count == 1:
        return volts, volts**2 / low
    rest = (count - 1) * low
    across = volts * high / (high + rest)
    heat = max(volts**2 * own / (own + rest) ** 2 for own in (low, high))
    return across, heat


def _reach(value: pint.Quantity, line: pint.Quantity, over: bool) -> Reach:
    if over:
        standing = stand(value, most=line)
        return {Standing.IN: Reach.UNDER, Standing.OUT: Reach.REACHED}.get(standing, Reach.CLOSE)
    standing = stand(value, least=line)
    return {Standing.IN: Reach.REACHED, Standing.OUT: Reach.UNDER}.get(standing, Reach.CLOSE)


def _below(value: pint.Quantity, line: pint.Quantity) -> Reach:
    turned = {Reach.REACHED: Reach.UNDER, Reach.UNDER: Reach.REACHED, Reach.CLOSE: Reach.CLOSE}
    return turned[_reach(value, line, False)]


def _all_of(met: list[Reach]) -> Reach:
    if Reach.UNDER in met or not met:
        return Reach.UNDER
    return Reach.CLOSE if Reach.CLOSE in met else Reach.REACHED


def _capacitance(capacitance: pint.Quantity) -> Any:
    return inside(capacitance, "F", "The capacitor", least=_LEAST_FARADS, most=_MOST_FARADS)


def _resistance(resistance: pint.Quantity) -> Any:
    return inside(resistance, "ohm", "The bleeder", least=_LEAST_OHMS, most=_MOST_OHMS)


def _size(volts: pint.Quantity, what: str, least: float = 1e-3) -> Any:
    """The size of volts, without their sign."""
    magnitude = inside(volts, "V", what, least=-_MOST_VOLTS, most=_MOST_VOLTS)
    size = -magnitude if _number(magnitude) < 0 else magnitude
    if _number(size) < least:
        raise CircuitError(f"{what} is nothing: there is nothing to discharge.")
    return size


def _line(safe: pint.Quantity) -> Any:
    return inside(safe, "V", "The voltage to reach", least=0.1, most=_MOST_VOLTS)


def _share(tolerance: pint.Quantity, what: str) -> float:
    return _number(inside(tolerance, "percent", what, least=0.0, most=90.0)) / 100


def _log(ratio: Any) -> Any:
    if hasattr(ratio, "nominal_value"):
        from uncertainties import umath  # only where something was measured

        return umath.log(ratio)
    return math.log(ratio)


def _number(magnitude: Any) -> float:
    return float(getattr(magnitude, "nominal_value", magnitude))


def _top(magnitude: Any) -> float:
    """The upper end of a magnitude's ±."""
    return _number(magnitude) + band(units.Quantity(magnitude, ""))
