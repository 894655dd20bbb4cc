"""A voltage chart: what each point should read with the meter in hand on today's mains, and what it means if not.

A chart was made with some meter on some mains. Its meter loaded the points it read, and so does the one in hand:
a point with the source resistance Rs reads V·Rm/(Rm + Rs) on a meter of resistance Rm (voltage divider, textbook).
What isn't regulated follows the mains in proportion; that is exact for heaters and within a per cent or so for B+.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import pint

from calc.engine.bounds import inside
from calc.engine.errors import CircuitError
from calc.engine.limits import Standing, stand
from calc.engine.quantities import nominal, units

MOST_POINTS: Final = 24
TOLERANCE: Final = units.Quantity(
    20.0, "percent"
)  # what charts of the time state; common practice, no source
HEATER_TOLERANCE: Final = units.Quantity(10.0, "percent")  # tube manuals' installation chapter; from memory
AT_NOTHING: Final = units.Quantity(
    0.5, "V"
)  # what may stand where nothing should; common practice, no source
HAND: Final = units.Quantity(10e6, "ohm")  # most digital meters
# Ranges of moving-coil meters, in volts; common practice, no source. For a chart that names its meter but no ranges.
USUAL_RANGES: Final = (2.5, 10.0, 50.0, 250.0, 500.0, 1000.0, 2500.0, 5000.0)
_MISSING: Final = 0.05  # of what should be there: less is nothing
_ALIKE: Final = 6.0  # points of per cent within which points are off together
_TOGETHER: Final = 5.0  # per cent from which it is worth saying


class What(StrEnum):
    """What a point of the chart is."""

    PLATE = "plate"
    SCREEN = "screen"
    CATHODE = "cathode"
    GRID = "grid"
    BIAS = "bias"
    SUPPLY = "supply"
    HEATER = "heater"
    OTHER = "other"


class Way(StrEnum):
    """In which way a point is off."""

    HIGH = "high"
    LOW = "low"
    NOTHING = "nothing there"
    TURNED = "the other way round"


# What it usually means. Common practice, no source: where to look first, never a proof.
MEANINGS: Final[dict[What, dict[Way, str]]] = {
    What.PLATE: {
        Way.HIGH: (
            "The tube draws too little: worn or not lit, cathode resistor high or open, grid too"
            " negative, screen voltage missing."
        ),
        Way.LOW: (
            "The tube draws too much, or too little gets there: leaky coupling capacitor into its grid,"
            " gassy tube, shorted cathode bypass, plate resistor drifted high, supply low."
        ),
        Way.NOTHING: (
            "Plate resistor or transformer winding open, or its supply is missing. A tube with a screen"
            " and no plate voltage burns its screen: switch off."
        ),
    },
    What.SCREEN: {
        Way.HIGH: "The screen draws too little: tube worn or not lit, bias too cold.",
        Way.LOW: (
            "Screen resistor drifted high, screen capacitor leaky, or the plate circuit is open and the"
            " screen takes the current."
        ),
        Way.NOTHING: "Screen resistor open, or its capacitor shorted.",
    },
    What.CATHODE: {
        Way.HIGH: (
            "Too much current, or the cathode resistor is high or open: leaky coupling capacitor, gassy"
            " tube. Mind the bypass capacitor’s rating."
        ),
        Way.LOW: (
            "Too little current, or a way round the resistor: worn tube, plate resistor high or open,"
            " supply low, leaky bypass capacitor."
        ),
        Way.NOTHING: (
            "No current at all, or a short to ground: tube dark, plate supply missing, bypass capacitor"
            " shorted."
        ),
    },
    What.GRID: {
        Way.HIGH: (
            "Too positive: leaky coupling capacitor before it, or a gassy tube. Lift the capacitor’s far"
            " end and measure again; pull the tube and measure again."
        ),
        Way.LOW: (
            "Too negative: a signal or an oscillation drives it, too much bias is fed, or what feeds a"
            " positive grid is low."
        ),
    },
    What.BIAS: {
        Way.HIGH: (
            "Too strong: tubes run cold. Bias feed changed, bias control or its resistor to ground open."
        ),
        Way.LOW: (
            "Too weak: power tubes run hot. Dried-out bias capacitor, bias rectifier, feed resistor"
            " drifted high, leaky coupling capacitor. Don’t leave it on."
        ),
        Way.NOTHING: (
            "NO BIAS: power tubes destroy themselves within seconds. Switch off and pull them before you"
            " look: bias rectifier, feed resistor, shorted bias capacitor."
        ),
    },
    What.SUPPLY: {
        Way.HIGH: (
            "Too little load: tubes pulled or worn, bias too cold; silicon where a rectifier tube was;"
            " another primary tap."
        ),
        Way.LOW: (
            "Too much load or too little supply: worn rectifier, dried-out reservoir, leaky filter"
            " capacitor, dropping resistor drifted high, tubes run hot."
        ),
        Way.NOTHING: "Fuse, rectifier, choke or dropping resistor open, or a filter capacitor shorted.",
    },
    What.HEATER: {
        Way.HIGH: "Heaters wear fast: tubes pulled, wrong primary tap, high line, wrong transformer.",
        Way.LOW: (
            "Corroded socket pins, poor joint, wrong tap, overloaded winding; or the meter doesn’t read rms."
        ),
        Way.NOTHING: "Winding, fuse or joint open: the tubes stay dark.",
    },
    What.OTHER: {
        Way.HIGH: "Regulator or its reference gone, or no load behind it.",
        Way.LOW: (
            "Too much load behind it, dried-out capacitor, drifted resistor, regulator out of regulation."
        ),
        Way.NOTHING: "Fuse, regulator or rectifier open, or a short behind it.",
    },
}
_TURNED: Final = (
    "The wrong polarity: leads swapped, or a rectifier or an electrolytic fitted the wrong way round."
)
_RATED: Final = "what the heaters are made for, by the chart. Mend the mains side first."
# Upstream first: what hangs on it is off with it. What destroys tubes before everything.
_FIRST: Final = (
    What.BIAS,
    What.HEATER,
    What.SUPPLY,
    What.OTHER,
    What.GRID,
    What.SCREEN,
    What.PLATE,
    What.CATHODE,
)


@dataclass(frozen=True)
class ChartMeter:
    """The meter that a chart was made with: ohms per volt of range, or a resistance on every range.

    With neither nothing is known of it, and no loading is allowed for.
    """

    per_volt: pint.Quantity | None = None
    resistance: pint.Quantity | None = None

    def on(self, range_: pint.Quantity) -> pint.Quantity | None:
        """Its resistance on a range, in ohms; None where the meter isn't known."""
        if self.per_volt is not None:
            return (self.per_volt.to("ohm/V") * range_.to("V")).to("ohm")
        return None if self.resistance is None else self.resistance.to("ohm")


@dataclass(frozen=True)
class Point:
    """A point of the chart. `expected` in volts as the chart has it; None where something isn't known."""

    where: str
    what: What
    expected: pint.Quantity
    measured: pint.Quantity | None = None
    source: pint.Quantity | None = None  # resistance that the point looks back into, ohms
    range: pint.Quantity | None = None  # of the chart's meter
    follows: bool = True  # the mains


@dataclass(frozen=True)
class Compared:
    """A point as it should be and as it is.

    `true` is what the chart says is there without any meter; `expected` is what the meter in hand should show on
    today's mains. `off` is the difference in volts; `percent` that of `expected`, by magnitude: −10 % is nearer to
    nothing. Where nothing is expected there is no `percent`, and where nothing was measured no `standing`.
    `loading` is what the meter in hand takes off the point, in per cent; None where the source isn't known.
    `explained` is the source resistance whose loading alone would account for what was measured.
    """

    point: Point
    range: pint.Quantity | None
    range_is_assumed: bool
    true: pint.Quantity
    expected: pint.Quantity
    loading: pint.Quantity | None
    off: pint.Quantity | None = None
    percent: pint.Quantity | None = None
    standing: Standing | None = None
    way: Way | None = None
    means: str = ""
    explained: pint.Quantity | None = None


@dataclass(frozen=True)
class Comparison:
    """All points in their order. `scale` is today's mains to the chart's, a bare ratio.

    `first` is the point to look at first, `together` by how many per cent most points are off together.
    """

    points: tuple[Compared, ...]
    scale: pint.Quantity
    first: Compared | None
    together: pint.Quantity | None

    @property
    def measured(self) -> list[Compared]:
        return [each for each in self.points if each.standing is not None]

    @property
    def out(self) -> list[Compared]:
        return [each for each in self.points if each.standing is Standing.OUT]


@dataclass(frozen=True)
class _Limits:
    chart: pint.Quantity
    heater: pint.Quantity
    at_nothing: pint.Quantity


def reading(true: pint.Quantity, source: pint.Quantity, meter: pint.Quantity) -> pint.Quantity:
    """Return what a meter of the resistance `meter` reads at a point of the source resistance `source`.

    All in volts and ohms; ± of the voltage goes through. Voltage divider, textbook.
    """
    return true * (meter / (meter + source)).to("").magnitude


def unloaded(read: pint.Quantity, source: pint.Quantity, meter: pint.Quantity) -> pint.Quantity:
    """Return what is there without the meter: the other way round of `reading`. Volts and ohms."""
    return read * ((meter + source) / meter).to("").magnitude


def usual_range(volts: pint.Quantity) -> pint.Quantity:
    """Return the smallest usual range of a moving-coil meter that holds a voltage; common practice, no source."""
    size = abs(nominal(volts, "V"))
    return units.Quantity(next((r for r in USUAL_RANGES if r >= size), USUAL_RANGES[-1]), "V")


def explaining_source(ratio: float, chart: pint.Quantity, hand: pint.Quantity) -> pint.Quantity | None:
    """Return the source resistance at which the two meters alone read in this ratio (in hand to chart's), in ohms.

    None where no resistance does: a meter of more ohms reads more, and at most in the ratio of their ohms.
    """
    one, two = nominal(chart, "ohm"), nominal(hand, "ohm")
    if not math.isfinite(ratio) or ratio <= 0 or math.isclose(one, two):
        return None
    bottom = two - ratio * one
    resistance = one * two * (ratio - 1) / bottom if bottom else math.inf
    return units.Quantity(resistance, "ohm") if 0 < resistance < 100e6 else None


def compare(
    points: Sequence[Point],
    *,
    chart_meter: ChartMeter,
    hand: pint.Quantity = HAND,
    chart_mains: pint.Quantity | None = None,
    mains: pint.Quantity | None = None,
    tolerance: pint.Quantity = TOLERANCE,
    heater_tolerance: pint.Quantity = HEATER_TOLERANCE,
    at_nothing: pint.Quantity = AT_NOTHING,
) -> Comparison:
    """Compare a chart with what was measured.

    `hand` is the resistance of the meter in hand, in ohms; `chart_mains` and `mains` are in volts, and where either
    is None nothing is scaled. `tolerance` is the chart's in per cent; heaters are held to `heater_tolerance` where
    that is less, against what they should read today and against the chart's own voltage. `at_nothing` is what may
    stand where the chart says nothing. Measured volts and mains may carry ±, and each result carries what follows.

    Raises:
        CircuitError: no points, too many, or a value that no such circuit has.
    """
    if not points:
        raise CircuitError("Write at least one point of the chart.")
    if len(points) > MOST_POINTS:
        raise CircuitError(f"A chart can have {MOST_POINTS} points at most. Make two of it.")
    hand = units.Quantity(inside(hand, "ohm", "The meter in hand", least=1e3, most=1e12), "ohm")
    scale = _scale(chart_mains, mains)
    inside(tolerance, "percent", "The chart’s tolerance", least=1, most=90)
    heater = min(tolerance, heater_tolerance, key=lambda each: nominal(each, "percent"))
    limits = _Limits(tolerance, heater, at_nothing)
    done = tuple(_compare_one(each, chart_meter, hand, scale, limits) for each in points)
    out = [each for each in done if each.standing is Standing.OUT]
    return Comparison(done, scale, min(out, key=_rank, default=None), _together(done))


def _scale(chart_mains: pint.Quantity | None, mains: pint.Quantity | None) -> pint.Quantity:
    if chart_mains is None or mains is None:
        return units.Quantity(1.0, "")
    inside(chart_mains, "V", "The chart’s mains", least=50, most=500)
    inside(mains, "V", "Today’s mains", least=10, most=500)
    return (mains / chart_mains).to("")


def _compare_one(
    point: Point, chart_meter: ChartMeter, hand: pint.Quantity, scale: pint.Quantity, limits: _Limits
) -> Compared:
    inside(point.expected, "V", f"{point.where}: what the chart says", least=-5000, most=5000)
    stated = point.expected.to("V")
    range_, is_assumed = _range(point, chart_meter)
    chart = chart_meter.on(range_ if range_ is not None else units.Quantity(1.0, "V"))
    if chart is not None:
        inside(chart, "ohm", "The chart’s meter", least=100, most=1e12)
    true, loading = stated, None
    if point.source is not None:
        inside(point.source, "ohm", f"{point.where}: its source", least=0, most=1e9)
        if chart is not None:
            true = unloaded(stated, point.source, chart)
            loading = (-(point.source / (hand + point.source))).to("percent")
    expected = true * scale.magnitude if point.follows else true
    if point.source is not None and loading is not None:
        expected = reading(expected, point.source, hand)
    facts = Compared(point, range_, is_assumed, true, expected, loading)
    if point.measured is None:
        return facts
    inside(point.measured, "V", f"{point.where}: what was measured", least=-10_000, most=10_000)
    explained = None
    if loading is None and chart is not None and nominal(expected):
        explained = explaining_source(nominal(point.measured, "V") / nominal(expected), chart, hand)
    return _judged(facts, point.measured.to("V"), explained, limits)


def _range(point: Point, chart_meter: ChartMeter) -> tuple[pint.Quantity | None, bool]:
    """The range that the chart's meter was on, and whether that is our guess."""
    if chart_meter.per_volt is None:
        return None, False
    inside(chart_meter.per_volt, "ohm/V", "The chart’s meter", least=50, most=1e6)
    if point.range is None:
        return usual_range(point.expected), True
    inside(point.range, "V", f"{point.where}: the range", least=0.01, most=10_000)
    if nominal(point.range, "V") < abs(nominal(point.expected, "V")) * 0.999:
        raise CircuitError(f"{point.where}: a meter on that range can’t have read so much. Check the range.")
    return point.range, False


def _judged(
    facts: Compared, measured: pint.Quantity, explained: pint.Quantity | None, limits: _Limits
) -> Compared:
    what, expected = facts.point.what, facts.expected
    off = measured - expected
    if abs(nominal(expected)) <= nominal(limits.at_nothing, "V") / 5:  # the chart says nothing, or next to it
        standing = stand(off, -limits.at_nothing, limits.at_nothing)
        if standing is Standing.IN:
            return replace(facts, off=off, standing=standing)
        way = Way.HIGH if nominal(off) > 0 else Way.LOW
        return replace(facts, off=off, standing=standing, way=way, means=MEANINGS[what][way])
    percent = _percent(measured, expected)
    tolerance = limits.heater if what is What.HEATER else limits.chart
    standing = stand(percent, -tolerance, tolerance)
    done = replace(facts, off=off, percent=percent, standing=standing)
    if standing is Standing.IN:
        return _held_to_its_rating(done, measured, tolerance) if what is What.HEATER else done
    way = _way(what, nominal(measured), nominal(expected))
    means = _TURNED if way is Way.TURNED else MEANINGS[what][way]
    return replace(done, way=way, means=means, explained=explained if way in (Way.HIGH, Way.LOW) else None)


def _held_to_its_rating(done: Compared, measured: pint.Quantity, tolerance: pint.Quantity) -> Compared:
    """A heater that does as its mains do is no fault of the set, and wears out all the same."""
    percent = _percent(measured, done.true)
    rated = stand(percent, -tolerance, tolerance)
    if rated is Standing.IN:
        return done
    way = Way.HIGH if abs(nominal(measured)) > abs(nominal(done.true)) else Way.LOW
    over = f"{abs(nominal(percent)):.1f} % {'over' if way is Way.HIGH else 'under'}"
    return replace(done, standing=rated, way=way, means=f"As its mains would have it, and {over} {_RATED}")


def _percent(measured: pint.Quantity, expected: pint.Quantity) -> pint.Quantity:
    return units.Quantity(100 * (measured / expected).to("").magnitude - 100, "percent")


def _way(what: What, measured: float, expected: float) -> Way:
    if what is What.GRID:  # more positive or more negative is what matters at a grid
        return Way.HIGH if measured > expected else Way.LOW
    if abs(measured) < _MISSING * abs(expected):
        return Way.NOTHING
    if measured * expected < 0:
        return Way.TURNED
    return Way.HIGH if abs(measured) > abs(expected) else Way.LOW


def _rank(each: Compared) -> tuple[int, float]:
    size = abs(nominal(each.percent)) if each.percent is not None else 100.0
    return (_FIRST.index(each.point.what), -size)


def _together(done: Sequence[Compared]) -> pint.Quantity | None:
    """How far most points are off together: that is the mains or the supply, and no stage's fault."""
    offs = sorted(
        nominal(each.percent)
        for each in done
        if each.percent is not None and each.point.follows and each.point.what is not What.GRID
    )
    if len(offs) < 3:
        return None
    middle = offs[len(offs) // 2]
    if abs(middle) < _TOGETHER or offs[-1] - offs[0] > _ALIKE:
        return None
    return units.Quantity(middle, "percent")
