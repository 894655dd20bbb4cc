"""The current that power tubes idle at, the heat that it makes in them, and where to put the bias.

Closed formulas: what goes in with a ± comes out with the ± that follows. Volts of a tube are from its cathode.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations
from typing import Final

import pint

from calc.engine.bounds import inside
from calc.engine.errors import CircuitError
from calc.engine.quantities import band, nominal, show, units

COPPER: Final = 0.00393  # per kelvin: annealed copper at 20 °C, IEC 60028
MOST_AMPS: Final = 2.0  # of one tube: no tube of the table lives with a quarter of it
MOST_VOLTS: Final = 3000.0
# The most that a screen takes of the cathode's current at a typical operation of the table is 17 % (ECL82).
MOST_SCREEN_SHARE: Final = 0.2


@dataclass(frozen=True)
class TubeCurrent:
    """What flows in one tube.

    `cathode` is None where only the plate's was measured. Where `is_upper_bound`, nobody knows what the screen takes
    and it is still in `plate`: the true plate current is lower.
    """

    plate: pint.Quantity
    cathode: pint.Quantity | None
    screen: pint.Quantity | None
    is_upper_bound: bool


@dataclass(frozen=True)
class Match:
    """How far apart tubes are. `spread` is highest less lowest, over their mean, in per cent."""

    spread: pint.Quantity
    difference: pint.Quantity
    mean: pint.Quantity


@dataclass(frozen=True)
class Sides:
    """Which tubes go on which side of a push-pull stage, counted from nought, and what the sides then differ by."""

    one: tuple[int, ...]
    other: tuple[int, ...]
    difference: pint.Quantity


@dataclass(frozen=True)
class BiasReading:
    """A bias voltage (below zero, with or without its sign) and the current that flowed at it."""

    bias: pint.Quantity
    current: pint.Quantity


@dataclass(frozen=True)
class NextBias:
    """The bias to try next, below zero. `is_held_back`: it would have been farther than two readings can tell."""

    bias: pint.Quantity
    straight: pint.Quantity
    curved: pint.Quantity
    slope: pint.Quantity  # A/V between the readings
    is_held_back: bool


class OperatingClass(StrEnum):
    """Of a push-pull stage, by how long each side conducts."""

    A = "A"
    A_OR_AB = "A or AB"
    AB = "AB"
    B = "B"


@dataclass(frozen=True)
class PushPull:
    """What idle current and peak current say about a push-pull stage.

    `straight_power` is what it gives while both sides conduct if tubes were straight, `curved_power` if they follow
    the law of three halves. `is_estimated` where the full power was not measured.
    """

    operation: OperatingClass
    peak_current: pint.Quantity  # of a side, at full power
    full_power: pint.Quantity
    straight_power: pint.Quantity
    curved_power: pint.Quantity
    is_estimated: bool


def by_cathode_resistor(
    drop: pint.Quantity, resistance: pint.Quantity, *, screen: pint.Quantity | None = None
) -> TubeCurrent:
    """Return the current of a tube that has a resistor of its own in its cathode: Ik = V/R, Ia = Ik − Ig2.

    `drop` in volts across `resistance` in ohms; `screen` is the screen's current in amperes, None where unknown: the
    plate's is then an upper bound.

    Raises `CircuitError` for what is negative, not finite, or no current of a tube. Source: Ohm's law.
    """
    return by_cathode_bias(drop, resistance, sharing=1, screen=screen)


def by_cathode_bias(
    drop: pint.Quantity, resistance: pint.Quantity, *, sharing: int, screen: pint.Quantity | None = None
) -> TubeCurrent:
    """Return the current of each of `sharing` tubes on one cathode resistor: Ik = Vk/(N·Rk), Ia = Ik − Ig2.

    It is their mean: what one tube takes more than its neighbour can't be told from a shared resistor. Units and
    errors as in `by_cathode_resistor`. Source: Ohm's law.
    """
    _count(sharing)
    volts = inside(drop, "V", "The drop across the cathode resistor", least=0, most=MOST_VOLTS)
    ohms = inside(resistance, "ohm", "The cathode resistor", least=0.01, most=100e3)
    return _without_screen(_tube_amps(volts / ohms / sharing), screen)


def by_winding(
    drop: pint.Quantity,
    resistance: pint.Quantity,
    *,
    tubes: int = 1,
    warmer: float | pint.Quantity = 0.0,
    carries_screen: bool = False,
) -> TubeCurrent:
    """Return the plate current of each of `tubes` tubes on one half of an output transformer: Ia = V/(N·R).

    `resistance` was read `warmer` kelvin cooler than the copper is now: R·(1 + 0.00393·ΔT). Where `carries_screen`,
    the screens are on taps of the winding and their current is in the drop: an upper bound.

    Raises `CircuitError` for what is negative, not finite, or no current of a tube. Source: Ohm's law; the
    coefficient of annealed copper at 20 °C is IEC 60028's.
    """
    _count(tubes)
    volts = inside(drop, "V", "The drop across the winding", least=0, most=MOST_VOLTS)
    ohms = inside(resistance, "ohm", "The winding’s resistance", least=0.1, most=10e3)
    kelvin = warmer.magnitude if isinstance(warmer, pint.Quantity) else warmer
    degrees = nominal(units.Quantity(kelvin, ""))
    if not -60 <= degrees <= 150:
        raise CircuitError("A winding is at most 150 degrees warmer than it was, and 60 degrees cooler.")
    amps = _tube_amps(volts / (ohms * (1 + COPPER * kelvin)) / tubes)
    return TubeCurrent(units.Quantity(amps, "A"), None, None, is_upper_bound=carries_screen)


def screen_current(drop: pint.Quantity, resistance: pint.Quantity) -> pint.Quantity:
    """Return the current through a screen resistor, in amperes.

    Raises `CircuitError` for what can't be. Source: Ohm's law.
    """
    volts = inside(drop, "V", "The drop across the screen resistor", least=0, most=MOST_VOLTS)
    ohms = inside(resistance, "ohm", "The screen resistor", least=1, most=1e6)
    return units.Quantity(_tube_amps(volts / ohms), "A")


def from_cathode(electrode: pint.Quantity, cathode: pint.Quantity | None, *, what: str) -> pint.Quantity:
    """Return the volts of a plate or a screen from the cathode; both are read to chassis. `what` is "plate".

    Raises `CircuitError` where the cathode is not below it.
    """
    volts = inside(electrode, "V", f"The {what}", least=0, most=MOST_VOLTS, is_open=True)
    below = 0.0 if cathode is None else inside(cathode, "V", "The cathode", least=0, most=MOST_VOLTS)
    left = units.Quantity(volts - below, "V")
    if nominal(left) <= 0:
        raise CircuitError(f"The cathode can’t be as high as the {what}. Read both to chassis again.")
    return left


def dissipation(current: pint.Quantity, volts: pint.Quantity) -> pint.Quantity:
    """Return the watts that an electrode turns into heat: its current by its volts from the cathode.

    Raises `CircuitError` for what is negative or not finite.
    """
    amps = inside(current, "A", "The current", least=0, most=MOST_AMPS)
    across = inside(volts, "V", "The voltage", least=0, most=MOST_VOLTS)
    return units.Quantity(amps * across, "W")


def target_current(share: pint.Quantity, most: pint.Quantity, volts: pint.Quantity) -> pint.Quantity:
    """Return the plate current at which a tube dissipates a share (per cent) of its most (watts) at its volts.

    Raises `CircuitError` for what is not above zero. Source: Ia = k·Pa/Va-k.
    """
    part = inside(share, "percent", "The share", least=0, most=150, is_open=True) / 100
    watts = inside(most, "W", "The most that the plate may dissipate", least=0, most=5e3, is_open=True)
    across = inside(volts, "V", "Plate to cathode", least=0, most=MOST_VOLTS, is_open=True)
    return units.Quantity(_tube_amps(part * watts / across), "A")


def match(currents: Sequence[pint.Quantity]) -> Match:
    """Return how far apart two or more tubes are: (highest − lowest)/mean, and highest − lowest.

    Raises `CircuitError` for fewer than two, or where none draws a current. Common practice, no source.
    """
    if len(currents) < 2:
        raise CircuitError("One tube alone has nothing to match.")
    amps = [inside(each, "A", "The current", least=0, most=MOST_AMPS) for each in currents]
    mean = sum(amps) / len(amps)
    if nominal(units.Quantity(mean, "A")) <= 0:
        raise CircuitError("None of the tubes draws a current.")
    by_size = sorted(amps, key=lambda each: nominal(units.Quantity(each, "A")))
    difference = by_size[-1] - by_size[0]
    return Match(
        spread=units.Quantity(difference / mean * 100, "percent"),
        difference=units.Quantity(difference, "A"),
        mean=units.Quantity(mean, "A"),
    )


def even_sides(currents: Sequence[pint.Quantity]) -> Sides:
    """Return how to share four, six or eight tubes between two sides so that the sides' sums differ least.

    Raises `CircuitError` for another number of tubes. All splits are tried: thirty-five for eight tubes. Common
    practice for quads, no source.
    """
    count = len(currents)
    if count not in (2, 4, 6, 8):
        raise CircuitError("Two sides are shared between two, four, six or eight tubes.")
    amps = [inside(each, "A", "The current", least=0, most=MOST_AMPS) for each in currents]
    total = sum(_number(each) for each in amps)
    rest = range(1, count)  # the first tube is on the first side: the sides have no names
    splits = [(0, *more) for more in combinations(rest, count // 2 - 1)]
    one = min(splits, key=lambda side: (abs(2 * sum(_number(amps[n]) for n in side) - total), side))
    other = tuple(n for n in range(count) if n not in one)
    apart = sum(amps[n] for n in one) - sum(amps[n] for n in other)
    return Sides(one, other, units.Quantity(apart if _number(apart) >= 0 else -apart, "A"))


def next_bias(earlier: BiasReading, now: BiasReading, target: pint.Quantity) -> NextBias:
    """Return the bias to try next, from two readings of one tube and the current that is wanted.

    The straight line through both readings (secant) and the line through both with the root of the current (square
    law, to which a tube bends as it nears cut-off) each name a bias; the one farther below zero is proposed, for that
    is the careful one whichever of them the tube follows. Towards more current it is held back to as far as the
    readings are apart, and to half a volt below zero; towards less to twice the lower bias. Koren's tubes come out at
    most some 8 % above a target within half as much and twice as much as was read.

    All currents are of the same place (cathode or plate). Raises `CircuitError` where the readings are too close, the
    current fell while the bias came nearer to zero, none flowed, or no tube has such a slope. Source: secant method,
    any text on numerical analysis; the square law is a textbook's near cut-off, checked against Koren's 6L6GC, EL34,
    6550 and KT88 (see `calc.engine.tubes`).
    """
    v1, v2 = (_below_zero(each.bias) for each in (earlier, now))
    i1, i2 = (
        inside(each.current, "A", "The current", least=0, most=MOST_AMPS, is_open=True)
        for each in (earlier, now)
    )
    wanted = inside(target, "A", "The wanted current", least=1e-4, most=MOST_AMPS)
    gap = _number(v2 - v1)
    if abs(gap) < 0.05:
        raise CircuitError("The two bias voltages are the same. Take two that are a volt or more apart.")
    if _number(i2 - i1) * gap <= 0:
        raise CircuitError(
            "The current doesn’t rise as the bias comes nearer to zero, as it must. Read both again; "
            "if it stays so, the tube or its socket is at fault, or the bias doesn’t reach the grid."
        )
    slope = (i2 - i1) / (v2 - v1)
    if not 2e-5 <= _number(slope) <= 0.06:
        raise CircuitError(
            f"{show(units.Quantity(_number(slope) * 1000, 'mA/V'))} is no slope of a power tube. Read both again."
        )
    if _spread(slope) > _number(slope) / 2:
        raise CircuitError("The two readings are too close together for this meter. Take them farther apart.")
    straight = v2 + (wanted - i2) / slope
    curved = v2 + (wanted**0.5 - i2**0.5) * (v2 - v1) / (i2**0.5 - i1**0.5)
    bias = min(straight, curved, key=_number)
    low, high = sorted((v1, v2), key=_number)
    floor, ceiling = 2 * _number(low), min(_number(high) + abs(gap), -0.5)
    is_held_back = not floor <= _number(bias) <= ceiling
    if is_held_back:
        bias = min(max(_number(bias), floor), ceiling)
    return NextBias(
        bias=units.Quantity(bias, "V"),
        straight=units.Quantity(straight, "V"),
        curved=units.Quantity(curved, "V"),
        slope=units.Quantity(slope, "A/V"),
        is_held_back=is_held_back,
    )


def push_pull(
    idle: pint.Quantity,
    load: pint.Quantity,
    *,
    power: pint.Quantity | None = None,
    swing: pint.Quantity | None = None,
) -> PushPull:
    """Tell the class of a push-pull stage from what a side idles at and the peak that full power asks of it.

    `idle` is the plate current of one side (all its tubes), `load` is from plate to plate, `power` what it gives just
    before clipping; without it the power is estimated from `swing`, the volts by which a plate can go down.

    Both sides work on the whole load: the difference of their currents at the peak is √(8·P/Raa). While both conduct,
    straight tubes reach 2·I0 with it (P = I0²·Raa/2), tubes of the three-halves law 2^1.5·I0. Up to the first it is
    class A, beyond the second AB, between them it hangs on the tubes; a side that idles at less than a tenth of
    the peak is called class B, as data sheets do. Assumed: a sine, a resistive load, sides alike, no losses.

    Raises `CircuitError` for what is not above zero. Source: F. E. Terman, Radio Engineers' Handbook, 1943, push-pull
    amplifiers (from memory); the bounds follow from it.
    """
    at_rest = inside(idle, "A", "The idle current", least=0, most=8 * MOST_AMPS)
    ohms = inside(load, "ohm", "The load from plate to plate", least=100, most=200e3)
    if power is not None:
        watts = inside(power, "W", "The output power", least=0.01, most=5e3)
    elif swing is not None:
        down = inside(swing, "V", "The swing of a plate", least=1, most=MOST_VOLTS)
        watts = (down / (ohms / 4)) ** 2 * ohms / 8
    else:
        raise CircuitError("Write the output power, or the plate’s volts, to have the class told.")
    peak = (8 * watts / ohms) ** 0.5
    resting, top = _number(at_rest), _number(peak)
    if resting < 0.1 * top:
        operation = OperatingClass.B
    elif 2 * resting >= top:
        operation = OperatingClass.A
    elif 2**1.5 * resting >= top:
        operation = OperatingClass.A_OR_AB
    else:
        operation = OperatingClass.AB
    straight = at_rest**2 * ohms / 2
    return PushPull(
        operation=operation,
        peak_current=units.Quantity(peak, "A"),
        full_power=units.Quantity(watts, "W"),
        straight_power=units.Quantity(straight, "W"),
        curved_power=units.Quantity(2 * straight, "W"),
        is_estimated=power is None,
    )


def _without_screen(amps: float, screen: pint.Quantity | None) -> TubeCurrent:
    cathode = units.Quantity(amps, "A")
    if screen is None:
        return TubeCurrent(cathode, cathode, None, is_upper_bound=True)
    taken = inside(screen, "A", "The screen current", least=0, most=MOST_AMPS)
    plate = cathode - units.Quantity(taken, "A")
    if nominal(plate) < 0:
        raise CircuitError("The screen can’t take more than the cathode gives. One of the two is misread.")
    return TubeCurrent(plate, cathode, units.Quantity(taken, "A"), is_upper_bound=False)


def _tube_amps(amps: float) -> float:
    number = _number(amps)
    if number > MOST_AMPS:
        raise CircuitError(
            f"That would be {show(units.Quantity(number, 'A'))} through one tube. "
            "Check the resistor’s value, and whether the meter showed volts or millivolts."
        )
    return amps


def _below_zero(bias: pint.Quantity) -> float:
    volts = inside(bias, "V", "The bias", least=-500, most=500)
    if _number(volts) == 0:
        raise CircuitError("A bias of zero is no bias. Write the volts between grid and cathode.")
    return volts if _number(volts) < 0 else -volts


def _count(tubes: int) -> None:
    if not 1 <= tubes <= 8:
        raise CircuitError("From one to eight tubes can share it.")


def _number(amount: float) -> float:
    return nominal(units.Quantity(amount, ""))


def _spread(amount: float) -> float:
    return band(units.Quantity(amount, ""))
