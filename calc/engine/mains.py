"""An old primary on today's line: what it does to heaters and B+, and ways down; lamps, fuses, touch current.

Everything unregulated in a set follows its line in proportion: exact for heaters, within a per cent or so for B+.
"""

import math
from dataclasses import dataclass
from typing import Final

import pint

from calc.engine import eseries
from calc.engine.bounds import inside
from calc.engine.errors import CircuitError
from calc.engine.limits import Standing, stand
from calc.engine.quantities import nominal, units
from calc.engine.repair_test import EN_50678
from calc.engine.roots import crossing

HEATER_MOST: Final = units.Quantity(10.0, "percent")  # tube manuals' installation chapter; from memory
HEATER_LONG: Final = units.Quantity(5.0, "percent")  # the same, for long life; from memory
FLUX_MOST: Final = 1.1  # of what the core was made for; common practice, no source
STRESS: Final = 0.5  # of a resistor's rating, as MIL-STD-975 derates; from memory
# Bucking transformers' windings that are sold, in volts; common practice, no source.
USUAL_SECONDARIES: Final = (5.0, 6.3, 9.0, 10.0, 12.6, 16.0, 18.0, 24.0, 28.0, 30.0, 36.0)
# Incandescent lamps for a limiter, in watts; common practice, no source.
USUAL_LAMPS: Final = (25.0, 40.0, 60.0, 75.0, 100.0, 150.0, 200.0, 300.0)
# Tungsten: current goes as this power of the voltage. From memory; the literature has 0.5 to 0.6.
TUNGSTEN: Final = 0.55
# Of its own voltage, up to which a limiter's lamp looks so; common practice, no source.
GLOWS: Final = (
    (0.05, "dark"),
    (0.25, "a dull glow"),
    (0.6, "yellow, under half bright"),
    (math.inf, "bright"),
)
# Rated currents of IEC 60127-2, in amperes: the R10 series of ISO 3. From memory.
FUSES: Final = (
    0.032, 0.04, 0.05, 0.063, 0.08, 0.1, 0.125, 0.16, 0.2, 0.25, 0.315, 0.4, 0.5,
    0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0,
)  # fmt: skip
FUSE_CARRIES: Final = (
    0.75  # of its rating for hours, by the stricter of the two kinds of rating; common practice
)
FUSE_LITTLE: Final = (
    0.2  # of its rating: less makes one ask whether it was uprated; common practice, no source
)
FUSE_START: Final = (
    1.5  # of the idle current, for a first fuse where nothing is marked; common practice, no source
)
TOUCH_LIMIT: Final = EN_50678.touch_current
TOUCH_SOURCE: Final = f"{EN_50678.edition}, touch current, as makers of testers tell it"


@dataclass(frozen=True)
class Supply:
    """What a utility promises at the meter, in volts."""

    name: str
    least: pint.Quantity
    most: pint.Quantity


# The 120 V range: a utility's page on the standard. The 230 V range: from memory.
SUPPLIES: Final = (
    Supply("ANSI C84.1, range A, 120 V", units.Quantity(114.0, "V"), units.Quantity(126.0, "V")),
    Supply("EN 50160 and IEC 60038, 230 V ± 10 %", units.Quantity(207.0, "V"), units.Quantity(253.0, "V")),
)


@dataclass(frozen=True)
class Followed:
    """A set on a line it wasn't made for.

    `scale` is line to design, a bare ratio, `off` the same in per cent of the design; `heater` and `b_plus` are volts
    (None where not asked). `heater_off` is in per cent of the rating, from what was measured where it was.
    `long` holds it against the limit for long life, `most` against that of its rating.
    """

    scale: pint.Quantity
    off: pint.Quantity
    heater: pint.Quantity
    heater_off: pint.Quantity
    long: Standing
    most: Standing
    b_plus: pint.Quantity | None


@dataclass(frozen=True)
class Bucked:
    """A winding in series with the line: what is left, in volts, and what its transformer must bear.

    `boosts` says that it adds. `power` is VA; None where the set's current isn't known.
    """

    secondary: pint.Quantity
    boosts: bool
    voltage: pint.Quantity
    power: pint.Quantity | None


@dataclass(frozen=True)
class Dropper:
    """A series resistor: exact ohms, the nearest of E12, the volts left with that, its watts, the watts to buy."""

    exact: pint.Quantity
    resistance: pint.Quantity
    voltage: pint.Quantity
    power: pint.Quantity
    rating: pint.Quantity


@dataclass(frozen=True)
class Limited:
    """A set behind a lamp: amperes, volts at lamp and set, how the lamp looks, amperes into a dead short."""

    current: pint.Quantity
    at_lamp: pint.Quantity
    at_set: pint.Quantity
    looks: str
    short: pint.Quantity


@dataclass(frozen=True)
class Drawn:
    """What a limiter's lamp says of the set by the volts across it: amperes, VA taken from the line, how it looks.

    `part` is the lamp's part of the line, a bare ratio: near one is a short.
    """

    current: pint.Quantity
    power: pint.Quantity
    part: pint.Quantity
    looks: str


@dataclass(frozen=True)
class FuseCheck:
    """A set's current against its fuse. `part` is current to rating, a bare ratio.

    `standing`: in under three quarters of the rating, out over the rating, else too close. `below` is the greatest
    IEC rating that is not above the marked one.
    """

    part: pint.Quantity
    standing: Standing
    below: pint.Quantity
    is_standard: bool


@dataclass(frozen=True)
class Touch:
    """What a capacitor from line to chassis lets through a person, in amperes, and how that stands to the limit."""

    current: pint.Quantity
    limit: pint.Quantity
    standing: Standing


def follow(
    design: pint.Quantity,
    line: pint.Quantity,
    *,
    heater: pint.Quantity,
    heater_measured: pint.Quantity | None = None,
    b_plus: pint.Quantity | None = None,
    most: pint.Quantity = HEATER_MOST,
    long: pint.Quantity = HEATER_LONG,
) -> Followed:
    """Say what a line does to heaters and B+. All in volts; ± of line and reading go through.

    `heater` is what the heaters are rated for, `b_plus` what the set has on the line it was made for. `most` and
    `long` are per cent; where none are given those of tube manuals, ±10 %, and ±5 % for long life; from memory.

    Raises:
        CircuitError: a value that no line or heater has.
    """
    scale = _scale(design, line)
    inside(heater, "V", "The heater’s rating", least=0.5, most=250)
    if b_plus is not None:
        inside(b_plus, "V", "B+", least=1, most=5000)
    there = (heater * scale).to("V")
    if heater_measured is not None:
        inside(heater_measured, "V", "The measured heater", least=0, most=1000)
        there = heater_measured.to("V")
    off = _percent(there / heater)
    return Followed(
        scale=scale,
        off=_percent(scale),
        heater=there,
        heater_off=off,
        long=stand(off, -long, long),
        most=stand(off, -most, most),
        b_plus=None if b_plus is None else (b_plus * scale).to("V"),
    )


def _percent(ratio: pint.Quantity) -> pint.Quantity:
    return units.Quantity(100 * ratio.to("").magnitude - 100, "percent")


def _scale(design: pint.Quantity, line: pint.Quantity) -> pint.Quantity:
    _volts(design, "The line it was made for")
    _volts(line, "The line")
    return (line / design).to("")


def _volts(volts: pint.Quantity, what: str) -> float:
    return nominal(units.Quantity(inside(volts, "V", what, least=10, most=1000), "V"))


def flux(
    design: pint.Quantity, design_frequency: pint.Quantity, line: pint.Quantity, frequency: pint.Quantity
) -> tuple[pint.Quantity, Standing]:
    """Return the core's flux to what it was made for, a bare ratio, and how that stands to 1.1.

    Volts and hertz. Flux goes as volts over hertz: transformer equation, textbook. A tenth more is common practice.

    Raises:
        CircuitError: a value that no line has.
    """
    scale = _scale(design, line)
    for each in (design_frequency, frequency):
        inside(each, "Hz", "The line’s frequency", least=10, most=1000)
    ratio = (scale * design_frequency / frequency).to("")
    return ratio, stand(ratio, most=units.Quantity(FLUX_MOST, ""))


def promised(line: pint.Quantity) -> tuple[Supply, Standing] | None:
    """Return what the utility promises for such a line and how it stands to that; None for a line of another kind."""
    volts = _volts(line, "The line")
    for each in SUPPLIES:
        if 0.8 * nominal(each.least) <= volts <= 1.15 * nominal(each.most):
            return each, stand(line, each.least, each.most)
    return None


def buck(
    line: pint.Quantity,
    *,
    primary: pint.Quantity,
    secondary: pint.Quantity,
    current: pint.Quantity | None = None,
    boosts: bool = False,
) -> Bucked:
    """Return what a transformer's secondary in series with the line leaves: V·(1 − Vs/Vp), or + where it boosts.

    Volts rated; `current` is the set's, in amperes, and all of it goes through the secondary, so that it must bear
    Vs·I. Ideal transformer, textbook; its own drop leaves a volt or so less.

    Raises:
        CircuitError: the secondary isn't the smaller winding, or a value that no such transformer has.
    """
    _volts(line, "The line")
    one = _volts(primary, "The primary")
    two = nominal(units.Quantity(inside(secondary, "V", "The secondary", least=0.5, most=500), "V"))
    if two >= one / 2:
        raise CircuitError(
            "The secondary must be well under the primary. For that much, use a step-down transformer."
        )
    ratio = 1 + two / one if boosts else 1 - two / one
    power = None
    if current is not None:
        inside(current, "A", "The set’s current", least=1e-3, most=100)
        power = (secondary * current).to("VA")
    return Bucked(secondary.to("V"), boosts, (line * ratio).to("V"), power)


def choose_buck(
    line: pint.Quantity,
    target: pint.Quantity,
    *,
    primary: pint.Quantity,
    current: pint.Quantity | None = None,
) -> tuple[Bucked, ...]:
    """Return usual windings in series with the line, the one that comes nearest to `target` first. Volts, amperes.

    Empty where the line is nearer than the smallest usual winding could bring it. Raises as `buck`.
    """
    wanted, there = _volts(target, "The voltage to reach"), _volts(line, "The line")
    one = _volts(primary, "The primary")
    if abs(there - wanted) < USUAL_SECONDARIES[0] / 2 * there / one:
        return ()
    tried = [
        buck(
            line,
            primary=primary,
            secondary=units.Quantity(volts, "V"),
            current=current,
            boosts=wanted > there,
        )
        for volts in USUAL_SECONDARIES
        if volts < one / 2
    ]
    return tuple(sorted(tried, key=lambda each: abs(nominal(each.voltage) - wanted)))


def drop(line: pint.Quantity, target: pint.Quantity, current: pint.Quantity) -> Dropper:
    """Return the series resistor that leaves `target` of `line` at a current. Volts, rms amperes, ohms, watts.

    R = (line − target)/I; the watts are of the nearest E12 value at the same current. The rating is twice that:
    half the stress, MIL-STD-975, from memory. A set's current is in peaks, so B+ falls by more than the rms says.

    Raises:
        CircuitError: there is nothing to drop, or a value that no set has.
    """
    there, wanted = _volts(line, "The line"), _volts(target, "The voltage to reach")
    amperes = nominal(units.Quantity(inside(current, "A", "The set’s current", least=1e-3, most=100), "A"))
    if wanted >= there:
        raise CircuitError("A resistor only takes away. The voltage to reach must be under the line.")
    exact = units.Quantity((there - wanted) / amperes, "ohm")
    part = eseries.nearest(exact, "E12").first.value
    ohms = nominal(part, "ohm")
    return Dropper(
        exact=exact,
        resistance=part,
        voltage=units.Quantity(there - ohms * amperes, "V"),
        power=units.Quantity(ohms * amperes**2, "W"),
        rating=units.Quantity(ohms * amperes**2 / STRESS, "W"),
    )


def looks(part: float) -> str:
    """Say how a lamp looks at a part of its own voltage; common practice, no source."""
    return next(words for most, words in GLOWS if part <= most)


def limit(
    line: pint.Quantity, *, lamp: pint.Quantity, lamp_voltage: pint.Quantity, power: pint.Quantity
) -> Limited:
    """Return what a set gets behind a lamp in series. Volts; `lamp` and `power` are watts on their full voltages.

    The lamp's current goes as V^0.55 (tungsten; from memory). The set is taken as a resistor that takes `power` on
    the full line: a fair picture of heaters, a rough one of the rest. Into a short the lamp has the whole line.

    Raises:
        CircuitError: a value that no lamp or set has.
    """
    volts, own = _volts(line, "The line"), _volts(lamp_voltage, "The lamp’s voltage")
    inside(lamp, "W", "The lamp", least=1, most=2000)
    inside(power, "W", "What the set takes", least=0.01, most=20_000)
    rated = nominal(lamp, "W") / own
    resistance = volts**2 / nominal(power, "W")
    at_lamp = crossing(lambda v: rated * (v / own) ** TUNGSTEN - (volts - v) / resistance, 0.0, volts)
    return Limited(
        current=units.Quantity((volts - at_lamp) / resistance, "A"),
        at_lamp=units.Quantity(at_lamp, "V"),
        at_set=units.Quantity(volts - at_lamp, "V"),
        looks=looks(at_lamp / own),
        short=units.Quantity(rated * (volts / own) ** TUNGSTEN, "A"),
    )


def usual_lamp(power: pint.Quantity) -> pint.Quantity:
    """Return the smallest usual lamp of at least the watts that a set takes idling; the largest where none is."""
    watts = nominal(units.Quantity(inside(power, "W", "What the set takes", least=0.01, most=20_000), "W"))
    return units.Quantity(next((each for each in USUAL_LAMPS if each >= watts), USUAL_LAMPS[-1]), "W")


def drawn(
    line: pint.Quantity, *, lamp: pint.Quantity, lamp_voltage: pint.Quantity, across: pint.Quantity
) -> Drawn:
    """Say by the volts across a limiter's lamp what the set behind it draws. Volts, watts; ± goes through.

    The lamp's current goes as V^0.55 (tungsten; from memory: the literature has 0.5 to 0.6, which is ±10 % here).

    Raises:
        CircuitError: more is across the lamp than the line has, or a value that no lamp has.
    """
    volts, own = _volts(line, "The line"), _volts(lamp_voltage, "The lamp’s voltage")
    inside(lamp, "W", "The lamp", least=1, most=2000)
    inside(across, "V", "What is across the lamp", least=0, most=1000)
    if nominal(across, "V") > volts * 1.05:
        raise CircuitError("More can’t be across the lamp than the line has. Check both readings.")
    own_current = nominal(lamp, "W") / own
    there = across.to("V").magnitude
    # a power under one has no slope at nothing: a dark lamp draws nothing that this could tell
    current = own_current * (there / own) ** TUNGSTEN if nominal(across) > 0 else 0.0
    amperes = units.Quantity(current, "A")
    return Drawn(
        current=amperes,
        power=(line * amperes).to("VA"),
        part=(across / line).to(""),
        looks=looks(nominal(across, "V") / own),
    )


def check_fuse(current: pint.Quantity, marked: pint.Quantity) -> FuseCheck:
    """Hold a set's current against the fuse that is marked on it. Amperes; ± goes through.

    Raises:
        CircuitError: a value that no such fuse has: they go from 32 mA to 10 A.
    """
    rating = _fuse(marked, "The fuse")
    inside(current, "A", "The set’s current", least=0, most=1000)
    part = (current / marked).to("")
    at_length = stand(part, most=units.Quantity(FUSE_CARRIES, ""))
    standing = at_length if at_length is Standing.IN else Standing.CLOSE
    if stand(part, most=units.Quantity(1.0, "")) is Standing.OUT:
        standing = Standing.OUT
    below = max(each for each in FUSES if each <= rating * (1 + 1e-9))
    return FuseCheck(part, standing, units.Quantity(below, "A"), math.isclose(below, rating, rel_tol=1e-6))


def first_fuse(current: pint.Quantity) -> pint.Quantity:
    """Return the smallest IEC 60127-2 rating of at least one and a half times a set's idle current, in amperes.

    For a first try where neither the set nor its papers say: common practice, no source.

    Raises:
        CircuitError: no such fuse is that large or that small.
    """
    amperes = nominal(units.Quantity(inside(current, "A", "The set’s current", least=1e-3, most=100), "A"))
    _fuse(units.Quantity(max(amperes * FUSE_START, FUSES[0]), "A"), "The fuse for this current")
    return units.Quantity(next(each for each in FUSES if each >= amperes * FUSE_START * (1 - 1e-9)), "A")


def _fuse(rating: pint.Quantity, what: str) -> float:
    return nominal(units.Quantity(inside(rating, "A", what, least=FUSES[0], most=FUSES[-1]), "A"))


def touch_current(
    capacitance: pint.Quantity,
    line: pint.Quantity,
    frequency: pint.Quantity,
    *,
    limit: pint.Quantity = TOUCH_LIMIT,
) -> Touch:
    """Return what a capacitor from line to chassis lets through whoever touches both chassis and ground, in amperes.

    I = 2πfCV: a person's resistance is small beside the capacitor's (textbook), and the plug is in the worse way
    round. Farads, volts, hertz. The limit is the shop's; where none is given that of EN 50678:2020.

    Raises:
        CircuitError: a value that no such capacitor or line has.
    """
    inside(capacitance, "F", "The capacitor", least=1e-13, most=1e-4)
    _volts(line, "The line")
    inside(frequency, "Hz", "The line’s frequency", least=10, most=1000)
    current = (2 * math.pi * frequency * capacitance * line).to("A")
    return Touch(current, limit, stand(current, most=limit))
