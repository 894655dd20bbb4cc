"""An output transformer on the bench: ratios from a small AC voltage, what each tap looks like, and what is wrong.

Closed formulas: what goes in with a ± comes out with the ± that follows. Secondaries are read without a load.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import pi
from typing import Any, Final

import pint

from calc.engine.bounds import inside
from calc.engine.errors import CircuitError
from calc.engine.limits import Standing, stand
from calc.engine.quantities import nominal, show, units
from calc.engine.tubes import MEMORY

MOST_VOLTS: Final = 1000.0
TOUCH_LIMIT: Final = units.Quantity(30.0, "V")  # rms; IEC 62368-1, table 4, energy source 1, AC; from memory
DANGER_LIMIT: Final = units.Quantity(50.0, "V")  # rms; the same table, energy source 2, AC; from memory
MAINS: Final = (units.Quantity(120.0, "V"), units.Quantity(230.0, "V"))

# Common practice, no source, all of these.
EVEN: Final = units.Quantity(1.0, "percent")  # halves, by volts
UNEVEN: Final = units.Quantity(5.0, "percent")
COPPER_APART: Final = units.Quantity(25.0, "percent")  # halves, by ohms: one is wound outside the other
GOOD_INSULATION: Final = units.Quantity(100e6, "ohm")
POOR_INSULATION: Final = units.Quantity(10e6, "ohm")
JUMP: Final = 1.3  # times the no-load current of a good one
HIGH_JUMP: Final = 2.0
RATIO_APART: Final = units.Quantity(3.0, "percent")
TAPS_APART: Final = units.Quantity(15.0, "percent")
SUITS: Final = 1.25  # a load may be so many times off either way


class Doubt(StrEnum):
    """How much points to shorted turns."""

    NONE = "nothing points to it"
    SOME = "possible"
    MUCH = "likely"
    UNKNOWN = "can't be told"


@dataclass(frozen=True)
class Balance:
    """How far apart two halves are, in per cent of their mean. `weaker` is 1, 2, or 0 where they are the same."""

    apart: pint.Quantity
    weaker: int


@dataclass(frozen=True)
class OpenWinding:
    """A winding that is fed while nothing loads the transformer.

    `impedance` is as seen from the whole primary, `inductance` its reading as a pure coil at that frequency.
    """

    impedance: pint.Quantity
    inductance: pint.Quantity
    frequency: pint.Quantity


@dataclass(frozen=True)
class ShortedTurns:
    """What a no-load current says. `times` is that of the good one, or the impedance over the load it is made for."""

    doubt: Doubt
    times: pint.Quantity
    least: float  # the `times` from which on nothing points to it; the most, against a good one


@dataclass(frozen=True)
class TypicalLoad:
    """A load that data sheets give a stage: from plate to plate, or from plate to B+ where single-ended."""

    tube: str
    count: int
    is_push_pull: bool
    load: pint.Quantity
    at: str
    source: str

    @property
    def words(self) -> str:
        """The stage as it is called: "two 6L6GC in push-pull at 450 V"."""
        number = {1: "one", 2: "two", 4: "four"}[self.count]
        how = "in push-pull" if self.is_push_pull else "single-ended"
        return f"{number} {self.tube} {how} at {self.at}"


def _load(tube: str, count: int, kilohms: float, at: str, sheet: str) -> TypicalLoad:
    load = units.Quantity(kilohms * 1000, "ohm")
    return TypicalLoad(tube, count, count > 1, load, at, f"{sheet}, {MEMORY}")


_SHEETS: Final = (
    _load("6L6GC", 2, 5.6, "450 V", "GE sheet, class AB1, 55 W; also in a secondary source"),
    _load("6L6GB", 2, 6.6, "360 V", "RCA RC-30, class AB1"),
    _load("6L6GB", 1, 2.5, "250 V", "RCA RC-30, class A1"),
    _load("EL34", 2, 3.4, "375 V", "Philips sheet, class AB"),
    _load("EL34", 1, 2.0, "250 V", "Philips sheet, class A"),
    _load("EL84", 2, 8.0, "300 V", "Philips sheet, class AB"),
    _load("EL84", 1, 5.2, "250 V", "Philips sheet, class A"),
    _load("6V6GT", 2, 8.0, "285 V", "RCA RC-30, class AB1"),
    _load("6V6GT", 2, 10.0, "250 V", "RCA RC-30, class AB1"),
    _load("6V6GT", 1, 5.0, "250 V", "RCA RC-30, class A1"),
    _load("6AQ5", 1, 5.0, "250 V", "RCA RC-30, class A1"),
    _load("6K6GT", 1, 7.6, "250 V", "RCA RC-30, class A1"),
    _load("ECL82", 1, 5.6, "200 V", "Philips sheet, class A"),
    _load("6550", 2, 5.0, "600 V", "Tung-Sol sheet, class AB1"),
    _load("KT88", 2, 4.5, "560 V", "GEC/M-OV sheet, class AB1"),
    _load("7591A", 2, 6.6, "450 V", "Westinghouse sheet, class AB1; among the least sure"),
    _load("7027A", 2, 6.5, "540 V", "RCA sheet, class AB1; among the least sure"),
    _load("6973", 2, 8.0, "400 V", "RCA sheet, class AB1; among the least sure"),
)
# Two tubes on each side, each pair as before: half the load.
_QUADS: Final = tuple(
    TypicalLoad(each.tube, 4, True, each.load / 2, each.at, f"half of the pair’s: {each.source}")
    for each in _SHEETS
    if each.count == 2
    and each.tube in ("6L6GC", "EL34", "EL84", "6V6GT", "6550", "KT88")
    and each.at != "250 V"
)
TYPICAL_LOADS: Final[tuple[TypicalLoad, ...]] = (*_SHEETS, *_QUADS)


def turns_ratio(primary: pint.Quantity, secondary: pint.Quantity) -> pint.Quantity:
    """Return the turns of the whole primary for each turn up to a tap: n = Vp/Vs, of AC volts without a load.

    Raises `CircuitError` where there are no volts, more at the tap than at the primary, or no such transformer.
    Source: the law of induction.
    """
    high = inside(primary, "V", "The primary’s voltage", least=0, most=MOST_VOLTS)
    low = inside(secondary, "V", "The tap’s voltage", least=0, most=MOST_VOLTS)
    if _number(high) < 1e-4 or _number(low) < 1e-4:
        where = "primary" if _number(high) < 1e-4 else "tap"
        raise CircuitError(f"There is nothing at the {where}: it is open, shorted, or the feed isn’t on it.")
    ratio = high / low
    if _number(ratio) <= 1:
        raise CircuitError("A tap must have fewer volts than the whole primary. Are the two swapped?")
    if _number(ratio) > 500:
        raise CircuitError(
            f"A ratio of {_number(ratio):.3g} is no output transformer’s: is the tap shorted, or in millivolts?"
        )
    return units.Quantity(ratio, "")


def reflected(ratio: pint.Quantity, load: pint.Quantity) -> pint.Quantity:
    """Return what a load (ohms) on a tap looks like at the whole primary: Zp = n²·Zs. Losses are left out.

    Raises `CircuitError` for what is not above zero. Source: the law of the ideal transformer.
    """
    n = inside(ratio, "", "The ratio", least=1, most=500)
    ohms = inside(load, "ohm", "The load", least=0.1, most=10e3)
    return units.Quantity(n**2 * ohms, "ohm")


def load_for(ratio: pint.Quantity, wanted: pint.Quantity) -> pint.Quantity:
    """Return the load (ohms) that a tap needs for the primary to look like `wanted` ohms: Zs = Zp/n².

    Raises `CircuitError` for what is not above zero. Source: the law of the ideal transformer.
    """
    n = inside(ratio, "", "The ratio", least=1, most=500)
    ohms = inside(wanted, "ohm", "The wanted load", least=100, most=200e3)
    return units.Quantity(ohms / n**2, "ohm")


def volts_on_primary(ratio: pint.Quantity, fed: pint.Quantity) -> pint.Quantity:
    """Return the volts that stand on the whole primary while a tap is fed with `fed` volts.

    Raises `CircuitError` for what is not finite.
    """
    n = inside(ratio, "", "The ratio", least=1, most=500)
    volts = inside(fed, "V", "The feed", least=0, most=MOST_VOLTS)
    return units.Quantity(n * volts, "V")


def balance(one: pint.Quantity, two: pint.Quantity) -> Balance:
    """Return how far apart two halves are: their volts, or their ohms.

    Raises `CircuitError` where one of them has none, or they are not of one kind.
    """
    unit = "V" if one.is_compatible_with("V") else "ohm"
    what = "A half’s voltage" if unit == "V" else "A half’s resistance"
    first, second = (inside(each, unit, what, least=0, most=10e3, is_open=True) for each in (one, two))
    apart = (first - second) / ((first + second) / 2) * 100
    weaker = 0 if _number(apart) == 0 else 2 if _number(apart) > 0 else 1
    return Balance(units.Quantity(apart if weaker != 1 else -apart, "percent"), weaker)


def halves_agree(one: pint.Quantity, two: pint.Quantity, whole: pint.Quantity) -> Standing:
    """Say whether the volts of both halves add up to the whole's within 5 %; if not, one was misread.

    Raises `CircuitError` as `balance` does.
    """
    first, second, both = (
        inside(each, "V", "A voltage of the primary", least=0, most=MOST_VOLTS, is_open=True)
        for each in (one, two, whole)
    )
    off = units.Quantity(((first + second) / both - 1) * 100, "percent")
    return stand(off, least=units.Quantity(-5.0, "percent"), most=units.Quantity(5.0, "percent"))


def open_winding(
    volts: pint.Quantity,
    current: pint.Quantity,
    frequency: pint.Quantity,
    *,
    ratio: pint.Quantity | None = None,
) -> OpenWinding:
    """Return the impedance without a load, V/I, as seen from the whole primary, and V/(2π·f·I) as a coil.

    `ratio` is that of the tap that is fed (the impedance is then times n²); None where the whole primary is fed.
    Resistance and losses are not told apart from the coil.

    Raises `CircuitError` for what is not above zero, or a frequency outside 10 Hz to 20 kHz. Source: Ohm's law.
    """
    across = inside(volts, "V", "The feed", least=1e-4, most=MOST_VOLTS)
    amps = inside(current, "A", "The current without a load", least=1e-8, most=20)
    hertz = inside(frequency, "Hz", "The frequency", least=10, most=20e3)
    square = 1.0 if ratio is None else inside(ratio, "", "The ratio", least=1, most=500) ** 2
    ohms = across / amps * square
    return OpenWinding(
        units.Quantity(ohms, "ohm"),
        units.Quantity(ohms / (2 * pi * hertz), "H"),
        units.Quantity(hertz, "Hz"),
    )


def shorted_by_itself(found: OpenWinding, load: pint.Quantity) -> ShortedTurns:
    """Say how much points to shorted turns, from the impedance without a load over the load it is made for.

    A primary is made so that at the lowest note its coil is about its load; from there it rises with frequency, until
    the winding's own capacitance stops it. So at least f/100 Hz times the load is expected, five times at most, and
    a fifth of that makes shorted turns likely. Few turns of thin wire can hide from it: nothing found is no proof.

    Raises `CircuitError` for what is not above zero. Common practice, no source.
    """
    ohms = inside(load, "ohm", "The load", least=100, most=200e3)
    times = units.Quantity(inside(found.impedance, "ohm", "The impedance", least=1e-3, most=1e12) / ohms, "")
    least = min(nominal(found.frequency, "Hz") / 100, 5.0)
    if nominal(times) >= least:
        doubt = Doubt.NONE
    else:
        doubt = Doubt.SOME if nominal(times) >= least / 5 else Doubt.MUCH
    return ShortedTurns(doubt, times, least)


def shorted_against(found: OpenWinding, good: OpenWinding) -> ShortedTurns:
    """Say how much points to shorted turns, from the current without a load against a good one's at the same volts.

    The currents are compared for each volt, so that the feeds may differ a little; both at one frequency. 1.3 times
    makes it possible, twice makes it likely.

    Raises `CircuitError` where the frequencies differ. Common practice, no source.
    """
    if abs(nominal(found.frequency, "Hz") / nominal(good.frequency, "Hz") - 1) > 0.02:
        raise CircuitError("Feed both transformers at the same frequency.")
    times = units.Quantity((good.impedance / found.impedance).to("").magnitude, "")
    standing = stand(times, most=units.Quantity(HIGH_JUMP, ""))
    if standing is Standing.OUT:
        doubt = Doubt.MUCH
    else:
        is_little = stand(times, most=units.Quantity(JUMP, "")) is Standing.IN
        doubt = Doubt.NONE if is_little else Doubt.SOME
    return ShortedTurns(doubt, times, JUMP)


def suited(primary: pint.Quantity, *, is_push_pull: bool) -> list[tuple[TypicalLoad, float]]:
    """Return the stages that a primary of so many ohms suits, with how many times off it is; the nearest first.

    Within 1.25 times either way. The table is from memory of data sheets, as `source` says.
    Raises `CircuitError` for what is not finite.
    """
    ohms = _number(inside(primary, "ohm", "The primary’s load", least=0.1, most=1e9))
    found = [
        (each, ohms / nominal(each.load, "ohm"))
        for each in TYPICAL_LOADS
        if each.is_push_pull is is_push_pull
    ]
    near = [(each, times) for each, times in found if 1 / SUITS <= times <= SUITS]
    return sorted(near, key=lambda pair: (abs(pair[1] - 1), pair[0].tube))


def taps_apart(primaries: Sequence[pint.Quantity]) -> pint.Quantity:
    """Return how far apart the taps' reflected loads are, (most − least)/mean in per cent: they should be one.

    Marked loads on their taps all look alike from the primary, for volts rise with the root of the load.
    Raises `CircuitError` for fewer than two. Source: Zp = n²·Zs.
    """
    if len(primaries) < 2:
        raise CircuitError("It takes two taps to compare them.")
    ohms = sorted(
        (inside(each, "ohm", "The primary’s load", least=0.1, most=1e9) for each in primaries), key=_number
    )
    return units.Quantity((ohms[-1] - ohms[0]) / (sum(ohms) / len(ohms)) * 100, "percent")


def apart(value: pint.Quantity, good: pint.Quantity) -> pint.Quantity:
    """Return by how many per cent a ratio is off a good one's, below zero where it is smaller."""
    return units.Quantity((value / good).to("").magnitude * 100 - 100, "percent")


def judge_insulation(resistance: pint.Quantity) -> tuple[Standing, str]:
    """Judge the insulation at 500 V DC: in from 100 MΩ on, out below 10 MΩ, else too close to call.

    Returns the standing and words for it. Raises `CircuitError` for what is below zero. Common practice, no source.
    """
    value = units.Quantity(inside(resistance, "ohm", "The insulation", least=0, most=1e13), "ohm")
    if stand(value, least=GOOD_INSULATION) is Standing.IN:
        return Standing.IN, f"{show(GOOD_INSULATION)} or more is good"
    if stand(value, least=POOR_INSULATION) is Standing.OUT:
        return Standing.OUT, f"BELOW {show(POOR_INSULATION)}"
    return (
        Standing.CLOSE,
        f"between {show(POOR_INSULATION)} and {show(GOOD_INSULATION)}: dry it, clean it, test again",
    )


def _number(amount: Any) -> float:
    return nominal(units.Quantity(amount, ""))
