"""Filters of resistors, capacitors and inductors: ladders, tone networks, time constants.

A network is solved whole (`calc.engine.network`): sections that follow each other load each other, and the product of
their factors is several per cent off.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Literal, cast

import pint

from calc.engine.errors import CircuitError
from calc.engine.network import GROUND, Network, Part, Passband
from calc.engine.quantities import nominal, units

if TYPE_CHECKING:
    import numpy as np

MOST_ARMS = 12


class Place(StrEnum):
    """Where an arm of a ladder stands."""

    SERIES = "series"  # in the way of the signal
    SHUNT = "shunt"  # from the signal to ground


class Made(StrEnum):
    """What an arm of a ladder is made of."""

    R = "R"
    C = "C"
    L = "L"
    R_BESIDE_C = "R beside C"  # in parallel
    R_THEN_C = "R then C"  # in series
    R_THEN_L = "R then L"
    L_BESIDE_C = "L beside C"
    L_THEN_C = "L then C"


@dataclass(frozen=True)
class Arm:
    """One arm of a ladder: ohms, farads, henries; those that it isn't made of are left out."""

    place: Place
    made: Made
    r: float | None = None
    c: float | None = None
    l: float | None = None  # noqa: E741 - as it is written in a drawing

    def __post_init__(self) -> None:
        for letter, name in (("R", "resistance"), ("C", "capacitance"), ("L", "inductance")):
            value = getattr(self, letter.lower())
            if letter in self.made.split() and not (value is not None and math.isfinite(value) and value > 0):
                raise CircuitError(f"This arm needs a {name} above zero.")


@dataclass(frozen=True)
class Pole:
    """A natural frequency of a network: `tau` is its time constant in seconds, `frequency` in hertz.

    `quality` is Q, a plain number: under ½ nothing rings; None for a plain decay.
    """

    tau: pint.Quantity
    frequency: pint.Quantity
    quality: float | None = None


@dataclass(frozen=True)
class Response:
    """What a network does: gain from the generator's open volts to the output.

    `frequencies` in hertz with the complex `gains` there. `most` is the most of |gain| wherever it is, `at` its
    frequency, `low` and `high` the −3 dB points next to it (None where it goes on), `corners` all of them.
    `without` is the gain with the network taken out and the load straight on the source.
    """

    frequencies: "np.ndarray"
    gains: "np.ndarray"
    passband: Passband
    most: float
    at: pint.Quantity
    low: pint.Quantity | None
    high: pint.Quantity | None
    without: float
    poles: tuple[Pole, ...]

    @property
    def insertion_loss(self) -> float:
        """The least loss that putting the network in costs, in decibels; below zero where it rings above.

        Insertion loss is the ratio of the load's volts without and with the network (IEC 60050-702, from memory).
        """
        return decibels(self.without / self.most)

    def loss_at(self, gain: complex) -> float:
        """Insertion loss in decibels where the gain is `gain`."""
        return decibels(self.without / abs(gain)) if gain else math.inf


@dataclass(frozen=True)
class ToneNetwork:
    """The usual passive network of three knobs, in ohms and farads; knobs are shares of their track, 0 to 1.

    The treble capacitor goes to the top of the treble pot, whose wiper is the output. A slope resistor feeds the bass
    and the middle capacitor. The bass capacitor goes to the joint of the treble pot's foot and the bass pot; the bass
    pot is a variable resistor down to the top of the middle pot, whose foot is on ground. The middle capacitor goes
    to the middle pot's wiper (`middle_at_wiper`), or to its top, the pot being a variable resistor then.
    """

    treble_capacitor: float
    bass_capacitor: float
    middle_capacitor: float
    slope_resistor: float
    treble_pot: float
    bass_pot: float
    middle_pot: float
    treble: float = 0.5
    bass: float = 0.5
    middle: float = 0.5
    middle_at_wiper: bool = True

    def __post_init__(self) -> None:
        for knob in (self.treble, self.bass, self.middle):
            if not 0 <= knob <= 1:
                raise CircuitError("A knob stands between 0 and 100 % of its track.")
        for ohms in (self.treble_pot, self.bass_pot, self.middle_pot):
            if not (math.isfinite(ohms) and ohms > 0):
                raise CircuitError("A pot's resistance must be more than zero.")


def decibels(ratio: float) -> float:
    """Return 20·log10 of a ratio of volts. Raises `CircuitError` for nothing or less."""
    if not (math.isfinite(ratio) and ratio > 0):
        raise CircuitError("There is no level of nothing.")
    return 20 * math.log10(ratio)


def time_constant(resistance: pint.Quantity, capacitance: pint.Quantity) -> pint.Quantity:
    """Return R·C in seconds: 63.2 % of the way after one, 99.3 % after five. Carries ±. Source: any textbook.

    Raises `CircuitError` where either is nothing or less.
    """
    _above_zero(resistance, capacitance)
    return (resistance * capacitance).to("s")


def corner(resistance: pint.Quantity, capacitance: pint.Quantity) -> pint.Quantity:
    """Return 1/(2π·R·C) in hertz, carrying ±. Source: any textbook. Raises `CircuitError` as `time_constant`."""
    return (1 / (2 * math.pi * time_constant(resistance, capacitance))).to("Hz")


def lag(resistance: pint.Quantity, inductance: pint.Quantity) -> pint.Quantity:
    """Return L/R in seconds, carrying ±. Source: any textbook. Raises `CircuitError` as `time_constant`."""
    _above_zero(resistance, inductance)
    return (inductance / resistance).to("s")


def resonance(inductance: pint.Quantity, capacitance: pint.Quantity) -> pint.Quantity:
    """Return 1/(2π·√(L·C)) in hertz, carrying ±. Source: any textbook. Raises `CircuitError` as `time_constant`."""
    _above_zero(inductance, capacitance)
    return (1 / (2 * math.pi * (inductance * capacitance) ** 0.5)).to("Hz")


def track(turn: float, middle: float = 0.5) -> float:
    """Return the share of a pot's track below its wiper at `turn` of its travel (both 0 to 1).

    `middle` is the share at half travel: 0.5 linear, about 0.1 to 0.3 for what is sold as audio or logarithmic. The
    curve is the exponential through both ends and that point. Source: common practice, no source; makers' curves are
    two or three straight pieces about it.
    """
    if not (0 <= turn <= 1 and 0.01 <= middle <= 0.99):
        raise CircuitError("A knob stands between 0 and 100 % of its travel.")
    if abs(middle - 0.5) < 1e-6:
        return turn
    base = (1 / middle - 1) ** 2
    return (base**turn - 1) / (base - 1)


def ladder(
    arms: Sequence[Arm], *, source: float = 0.0, load: float = math.inf, load_capacitance: float = 0.0
) -> Network:
    """Return a ladder as a network from "in" to "out"; source and load in ohms, the load's capacitance in farads.

    Raises `CircuitError` for no arms or too many, or a load of nothing.
    """
    if not arms:
        raise CircuitError("Write at least one arm.")
    if len(arms) > MOST_ARMS:
        raise CircuitError(f"That is too many arms. It can be {MOST_ARMS} at most.")
    parts = [Part("R", "in", "n0", source)]
    here = "n0"
    for number, arm in enumerate(arms, 1):
        there = f"n{number}" if arm.place is Place.SERIES else GROUND
        parts += _arm(arm, here, there, f"m{number}")
        here = there if arm.place is Place.SERIES else here
    parts.append(Part("R", here, "out", 0.0))
    return Network([*parts, *_load(load, load_capacitance)], source="in")


def tone_network(
    tone: ToneNetwork, *, source: float = 0.0, load: float = math.inf, load_capacitance: float = 0.0
) -> Network:
    """Return a tone network between "in" and "out". Raises `CircuitError` for parts that can't be."""
    wiper = "joint" if not tone.middle_at_wiper else "wiper"
    parts = [
        Part("R", "in", "a", source),
        Part("C", "a", "top", tone.treble_capacitor),
        Part("R", "top", "out", tone.treble_pot * (1 - tone.treble)),
        Part("R", "out", "foot", tone.treble_pot * tone.treble),
        Part("R", "a", "s", tone.slope_resistor),
        Part("C", "s", "foot", tone.bass_capacitor),
        Part("C", "s", wiper, tone.middle_capacitor),
        Part("R", "foot", "joint", tone.bass_pot * tone.bass),
    ]
    if tone.middle_at_wiper:
        parts += [
            Part("R", "joint", "wiper", tone.middle_pot * (1 - tone.middle)),
            Part("R", "wiper", GROUND, tone.middle_pot * tone.middle),
        ]
    else:
        parts.append(Part("R", "joint", GROUND, tone.middle_pot * tone.middle))
    return Network([*parts, *_load(load, load_capacitance)], source="in")


def respond(
    network: Network,
    *,
    low: float = 10.0,
    high: float = 30e3,
    points: int = 240,
    source: float = 0.0,
    load: float = math.inf,
) -> Response:
    """Return the response of a network between two frequencies in hertz, and its −3 dB points wherever they are.

    `source` and `load` are those that the network was made with, for the insertion loss. Raises `CircuitError` where
    nothing gets through, or the network has no answer.
    """
    import numpy as np

    if not (0 < low < high and math.isfinite(high)) or not 2 <= points <= 5000:
        raise CircuitError("The frequencies must go from low to high, above zero.")
    frequencies = np.geomspace(low, high, points)
    found = network.passband("out")
    return Response(
        frequencies=frequencies,
        gains=network.gain("out", frequencies),
        passband=found,
        most=found.most,
        at=units.Quantity(found.at, "Hz"),
        low=None if found.low is None else units.Quantity(found.low, "Hz"),
        high=None if found.high is None else units.Quantity(found.high, "Hz"),
        without=1.0 if math.isinf(load) else load / (load + source),
        poles=tuple(_pole(s) for s in network.poles() if s.imag >= 0),
    )


def _pole(s: complex) -> Pole:
    decay = -s.real
    rings = s.imag > 1e-9 * abs(s)
    return Pole(
        tau=units.Quantity(1 / decay if decay > 0 else math.inf, "s"),
        frequency=units.Quantity(abs(s) / (2 * math.pi), "Hz"),
        quality=(abs(s) / (2 * decay) if decay > 0 else math.inf) if rings else None,
    )


def _arm(arm: Arm, one: str, other: str, between: str) -> list[Part]:
    letters = arm.made.split()
    values = {"R": arm.r, "C": arm.c, "L": arm.l}
    if len(letters) == 1:
        return [_part(letters[0], one, other, values)]
    first, how, second = letters
    joint = (one, other) if how == "beside" else (between, other)
    to = other if how == "beside" else between
    return [_part(first, one, to, values), _part(second, *joint, values)]


def _part(letter: str, one: str, other: str, values: dict[str, float | None]) -> Part:
    value = values[letter]
    if value is None:
        raise CircuitError("This arm has a part without a value.")
    return Part(cast(Literal["R", "C", "L"], letter), one, other, value)


def _load(load: float, capacitance: float) -> list[Part]:
    if not load > 0:
        raise CircuitError("The load must be more than 0 Ω. Nothing gets into a short.")
    parts = [] if math.isinf(load) else [Part("R", "out", GROUND, load)]
    return [*parts, Part("C", "out", GROUND, capacitance)] if capacitance else parts


def _above_zero(*quantities: pint.Quantity) -> None:
    for quantity in quantities:
        number = nominal(quantity)
        if not (math.isfinite(number) and number > 0):
            raise CircuitError("Both values must be more than zero.")
