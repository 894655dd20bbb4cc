"""What is printed on a part, read and written: colour bands, letter codes, digits, EIA-96, date codes.

Values, tolerances and temperature coefficients are those of IEC 60062:2016 with its amendment of 2019, from memory
but for the examples that its encyclopaedia page shows. Where its editions differ, every reading is given.
"""

import datetime
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, TypeVar

import pint

from calc.engine.bounds import inside
from calc.engine.errors import CircuitError, QuantityError
from calc.engine.eseries import SERIES, figures_of, is_preferred, scaled
from calc.engine.limits import Standing, stand
from calc.engine.quantities import nominal, parse_quantity, units

_T = TypeVar("_T")

COLOURS: Final = (
    "black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white",
    "gold", "silver", "pink", "none",
)  # fmt: skip
_ALSO_CALLED: Final = {"gray": "grey", "purple": "violet"}
DIGITS: Final = {colour: digit for digit, colour in enumerate(COLOURS[:10])}
POWERS: Final = {**DIGITS, "gold": -1, "silver": -2, "pink": -3}  # pink is new in IEC 60062:2016

# Per cent, the edition in force first. Older tables show other figures for three colours (IEC 60062, earlier
# editions; from memory): nobody can tell from the part which edition its maker read.
BAND_TOLERANCES: Final[dict[str, tuple[tuple[float, str], ...]]] = {
    "none": ((20, ""),),
    "silver": ((10, ""),),
    "gold": ((5, ""),),
    "brown": ((1, ""),),
    "red": ((2, ""),),
    "green": ((0.5, ""),),
    "blue": ((0.25, ""),),
    "violet": ((0.1, ""),),
    "orange": ((0.05, "IEC 60062:2016"), (3, "older tables")),
    "yellow": ((0.02, "IEC 60062:2016"), (4, "older tables")),
    "grey": ((0.01, "IEC 60062:2016"), (0.05, "older tables")),
}
# Parts in a million for each kelvin. The letters beside them differ between sources, so only the numbers are kept.
BAND_TEMPCOS: Final = {
    "black": 250, "brown": 100, "red": 50, "orange": 15, "yellow": 25, "green": 20, "blue": 10, "violet": 5, "grey": 1,
}  # fmt: skip

# Tolerance letters: per cent below and above. IEC 60062, from memory.
LETTER_TOLERANCES: Final[dict[str, tuple[float, float]]] = {
    "E": (0.005, 0.005), "L": (0.01, 0.01), "P": (0.02, 0.02), "W": (0.05, 0.05), "B": (0.1, 0.1), "C": (0.25, 0.25),
    "D": (0.5, 0.5), "F": (1, 1), "G": (2, 2), "H": (3, 3), "J": (5, 5), "K": (10, 10), "M": (20, 20), "N": (30, 30),
    "Q": (10, 30), "T": (10, 50), "S": (20, 50), "Z": (20, 80),
}  # fmt: skip
# Below 10 pF these letters are picofarads, not per cent. IEC 60062, from memory.
SMALL_TOLERANCES: Final = {"B": 0.1, "C": 0.25, "D": 0.5, "F": 1.0, "G": 2.0}
_SMALL: Final = 10e-12

# The letter behind the two figures of an EIA-96 marking, as a power of ten. EIA-96, from memory.
EIA96_POWERS: Final = {
    "Z": -3, "Y": -2, "R": -2, "X": -1, "S": -1, "A": 0, "B": 1, "H": 1, "C": 2, "D": 3, "E": 4, "F": 5,
}  # fmt: skip

PARTS: Final = {"ohm": "resistor", "F": "capacitor"}
_PICO: Final = {"ohm": 0, "F": -12}  # what the digits count: ohms, picofarads
_LEAST: Final = {"ohm": 1e-6, "F": 1e-15}
_MOST: Final = {"ohm": 1e13, "F": 1e3}

EARLIEST_YEAR: Final = 1940  # no source-date code is older; from memory
LATEST_YEAR: Final = 2029


@dataclass(frozen=True)
class Tolerance:
    """How far a part may be below and above its value: both in per cent, or both in farads. `edition` says by what."""

    below: pint.Quantity
    above: pint.Quantity
    edition: str = ""

    def of(self, value: pint.Quantity) -> tuple[pint.Quantity, pint.Quantity]:
        """The least and the most that the part may be, in the unit of `value`."""
        if self.below.is_compatible_with(value):
            return value - self.below, value + self.above
        return value * (1 - self.below.to("").magnitude), value * (1 + self.above.to("").magnitude)


@dataclass(frozen=True)
class Marking:
    """What a marking says. `code` is how it was read.

    No tolerance: none is marked. Two: the editions of the code differ. A value of nothing is a wire link.
    `doubts` are sentences for whoever has the part in hand.
    """

    value: pint.Quantity
    code: str
    tolerances: tuple[Tolerance, ...] = ()
    tempco: pint.Quantity | None = None
    doubts: tuple[str, ...] = ()

    @property
    def is_link(self) -> bool:
        return not self.value.magnitude

    @property
    def ranges(self) -> tuple[tuple[pint.Quantity, pint.Quantity], ...]:
        """The least and the most that the part may be, for each tolerance."""
        return tuple(tolerance.of(self.value) for tolerance in self.tolerances)


@dataclass(frozen=True)
class Written:
    """A value as it is marked on parts. What a code can't say is empty; `bands` is by how many bands there are."""

    bands: dict[int, tuple[str, ...]] = field(default_factory=dict)
    letters: str = ""
    digits: str = ""
    eia96: str = ""


@dataclass(frozen=True)
class MadeIn:
    """One way to read a date code. The year is only one of those that the code may mean."""

    maker: str
    week: int
    years: tuple[int, ...]

    @property
    def month(self) -> str:
        """About which month the week is in: the makers' weeks are not counted alike."""
        day = datetime.date.fromisocalendar(2001, min(self.week, 52), 4)
        return f"{day:%B}"


def read_bands(bands: Sequence[str]) -> Marking:
    """Return what three to six colour bands on a resistor say, in ohms; one black band alone is a wire link.

    Three bands are two figures and a multiplier at 20 %, four have a tolerance, five a third figure, six a temperature
    coefficient (in ppm/K).

    Raises:
        QuantityError: another number of bands, or a colour that can't stand where it does.
    Source: IEC 60062:2016; the older readings of orange, yellow and grey tolerances from memory.
    """
    bands = [_ALSO_CALLED.get(band.strip().lower(), band.strip().lower()) for band in bands]
    if bands == ["black"]:
        return Marking(units.Quantity(0.0, "ohm"), "one black band")
    if not 3 <= len(bands) <= 6:
        raise QuantityError("A resistor has three to six bands, or one black band if it is a wire link.")
    figures = 3 if len(bands) >= 5 else 2
    digits = [_of(DIGITS, band, number, "a figure") for number, band in enumerate(bands[:figures], 1)]
    if digits[0] == 0:
        raise QuantityError("The first band can't be black. Read the bands from the other end.")
    power = _of(POWERS, bands[figures], figures + 1, "a multiplier")
    value = units.Quantity(scaled(int("".join(map(str, digits))), power), "ohm")
    colour = bands[figures + 1] if len(bands) > 3 else "none"
    tolerances = tuple(
        _percent(percent, percent, edition)
        for percent, edition in _of(BAND_TOLERANCES, colour, figures + 2, "a tolerance")
    )
    tempco = None
    if len(bands) == 6:
        tempco = units.Quantity(
            float(_of(BAND_TEMPCOS, bands[5], 6, "a temperature coefficient")), "ppm/kelvin"
        )
    return Marking(value, f"{len(bands)} bands", tolerances, tempco, tuple(_doubts_of_bands(bands, value)))


def from_the_other_end(bands: Sequence[str]) -> Marking | None:
    """Return what the bands say when they are read the other way, where they say anything. Source as `read_bands`."""
    try:
        return read_bands([band for band in reversed(bands) if band != "none"])
    except QuantityError:
        return None


def read_code(text: str, unit: str) -> tuple[Marking, ...]:
    """Return every reading of what is printed on a resistor ("ohm") or a capacitor ("F"), the likeliest first.

    Letter code (4K7, 47K3F, p33), three and four digits (473, 1002), EIA-96 (01C), each with its tolerance letter.
    Values are in ohms or farads. A text may be more than one of these: 22R is 22 Ω, and in EIA-96 1.65 Ω.

    Raises:
        QuantityError: none of them; with a sentence and an example.
    Sources: IEC 60062:2016; EIA-96 (from memory); capacitors' exponents 8 and 9 from memory; plain picofarads of one
    or two figures and old parts' plain figures: common practice, no source.
    """
    if unit not in PARTS:
        raise QuantityError("Markings are read on resistors and capacitors.")
    marking = re.sub(r"\s+", "", text)
    if not marking:
        raise QuantityError("Write what is printed on the part, like 4K7, 473J or 01C.")
    if len(marking) > 12:
        raise QuantityError("That is too long for one marking. Leave out the voltage and the date.")
    found = [*_digits(marking, unit), *_eia96(marking, unit)]
    letters = _letter_code(marking, unit)
    if letters and not any(each.value == letters.value for each in found):
        # 4K7 is a letter code and nothing else; of 473F on a capacitor nobody means 473 farads
        unlikely = unit == "F" and re.fullmatch(r"[0-9]{3,4}F", marking)
        found = found if unlikely else [letters, *found]
    if not found:
        parse_quantity(marking, unit)  # its sentence says what is wrong with a value
        raise QuantityError(
            f"“{text.strip()}” can't be read as a {PARTS[unit]}'s marking. Write it like 473 or 4n7."
        )
    return tuple(found)


def write(
    value: pint.Quantity, unit: str, tolerance: float | None = None, tempco: float | None = None
) -> Written:
    """Return how a value is marked on a resistor ("ohm") or capacitor ("F").

    `tolerance` is in per cent, `tempco` in ppm/K. Bands are given for resistors: three for 20 % or where no tolerance
    is said, four and five for a tolerance that has a band (of the edition in force), six with a `tempco` that has one.
    EIA-96 is given for values of E96 at 1 %.

    Raises:
        CircuitError: a value that is no part's, or one with more than four figures.
        QuantityError: a tolerance that has neither a letter nor a band.
    Source: IEC 60062:2016, EIA-96 (from memory).
    """
    if unit not in PARTS:
        raise QuantityError("Markings are written on resistors and capacitors.")
    magnitude = inside(value, unit, f"The {PARTS[unit]}", least=_LEAST[unit], most=_MOST[unit])
    number = nominal(units.Quantity(magnitude, unit))
    figures, power = figures_of(number)
    if len(figures) > 4:
        raise CircuitError("No code has more than four figures. Round the value, as to 4.75 kΩ.")
    letter = _letter_for(tolerance, unit, number)
    bands = {} if unit == "F" else _bands(figures, power, tolerance, tempco)
    if tolerance is not None and not letter and not bands:
        percents = ", ".join(f"{below:g}" for below, above in LETTER_TOLERANCES.values() if below == above)
        raise QuantityError(f"No letter and no band says {tolerance:g} %. They say {percents} %.")
    eia96 = _eia96_for(figures, power) if unit == "ohm" and tolerance in (None, 1.0) else ""
    return Written(bands, letter_code(number, unit) + letter, _digits_for(number, unit, letter), eia96)


def letter_code(number: float, unit: str) -> str:
    """Return ohms or farads as IEC 60062 writes them: 4700 is 4K7, 0.47 is R47, 4.7e-9 is 4n7.

    Raises:
        CircuitError: the value is outside the letters of the code.
    """
    letters = {"ohm": ((-3, "L"), (0, "R"), (3, "K"), (6, "M"), (9, "G"), (12, "T")),
               "F": ((-12, "p"), (-9, "n"), (-6, "µ"), (-3, "m"), (0, "F"))}[unit]  # fmt: skip
    figures, power = figures_of(number)
    above = power + len(figures) - 1  # of the first figure
    fitting = [(at, letter) for at, letter in letters if 0 <= above - at <= 2]
    # a first figure just behind the point is written R47 and p33, where the code has no smaller letter or none in use
    if unit == "ohm" and above == -1:
        fitting = [(0, "R")]
    elif not fitting and above < letters[0][0]:
        fitting = [letters[0]]
    if not fitting or fitting[0][0] - power > 6:
        raise CircuitError("The letter code does not reach that far.")
    at, letter = fitting[0]
    if power >= at:
        return f"{figures}{'0' * (power - at)}{letter}"
    digits = figures.rjust(at - power, "0")
    whole, fraction = digits[: len(digits) - (at - power)], digits[len(digits) - (at - power) :]
    return f"{whole}{letter}{fraction}"


def read_date(text: str, *, earliest: int = EARLIEST_YEAR, latest: int = LATEST_YEAR) -> tuple[MadeIn, ...]:
    """Return every reading of a source-date code: three or four figures of maker, a year of one or two, a week of two.

    "2206543" is maker 220, year 65, week 43, and maker 2206 in week 43 of a year that ends in 5. Three or four figures
    alone are a date without a maker. Where the code has a space or a dash, it parts maker and date.

    Raises:
        QuantityError: not so many figures, or no reading has a week from 1 to 53 and a year from `earliest` to
            `latest`.
    Source: EIA-476 (from memory); last list of makers 2001.
    """
    code = text.strip()
    parts = re.split(r"[\s\-–/.]+", code)
    digits = "".join(parts)
    if not re.fullmatch(r"[0-9]{3,8}", digits) or len(parts) > 2 or len(digits) == 5:
        raise QuantityError(
            "Write the code's figures, like 2206543: maker, year and week. Leave out letters."
        )
    ways = [(maker, year) for maker in (3, 4) for year in (2, 1) if maker + year + 2 == len(digits)]
    if len(digits) <= 4:
        ways = [(0, len(digits) - 2)] if len(parts) == 1 or len(parts[1]) == 2 else []
    elif len(parts) == 2:
        ways = [(maker, year) for maker, year in ways if maker == len(parts[0])]
    found = []
    for maker, _ in ways:
        week = int(digits[-2:])
        years = _years(digits[maker:-2], earliest, latest)
        if 1 <= week <= 53 and years:
            found.append(MadeIn(digits[:maker], week, years))
    if not found:
        raise QuantityError(
            f"“{code}” is no date: the last two figures are a week from 01 to 53, "
            f"before them stands a year from {earliest} to {latest}."
        )
    return tuple(found)


def deviation(value: pint.Quantity, measured: pint.Quantity) -> pint.Quantity:
    """Return how far a measured part is from its marked value, signed, in per cent, with the ± of the meter.

    Raises:
        CircuitError: a wire link has no per cent, or the two are different kinds of quantity.
    """
    marked = inside(value, str(value.units), "The marked value", least=0.0, most=_MOST["ohm"], is_open=True)
    found = inside(measured, str(value.units), "The measured value", least=0.0, most=_MOST["ohm"])
    return units.Quantity(100 * (found / nominal(units.Quantity(marked, "")) - 1), "percent")


def fits(tolerance: Tolerance, value: pint.Quantity, measured: pint.Quantity) -> Standing:
    """Say where a measured part stands against its tolerance; on the limit is within. Raises as `deviation`."""
    deviation(value, measured)
    return stand(measured.to(value.units), *tolerance.of(value))


def _of(table: Mapping[str, _T], band: str, number: int, what: str) -> _T:
    if band not in table:
        shown = band if band in COLOURS else "That"
        raise QuantityError(
            f"{shown.capitalize()} can't be {what}, and stands in band {number}. Read the bands from the other end."
        )
    return table[band]


def _percent(below: float, above: float, edition: str = "") -> Tolerance:
    return Tolerance(
        units.Quantity(float(below), "percent"), units.Quantity(float(above), "percent"), edition
    )


def _doubts_of_bands(bands: Sequence[str], value: pint.Quantity) -> list[str]:
    doubts = []
    series = ("E24",) if len(bands) < 5 else ("E24", "E192")
    if not any(is_preferred(value, each) for each in series):
        doubts.append(
            "It is in no series that parts are sold in. Read from the other end, or a colour has changed."
        )
    if len(bands) == 5 and bands[3] in ("gold", "silver"):
        doubts.append(
            "Old military parts have four bands that count and a fifth for the failure rate. Measure it."
        )
    return doubts


def _tolerance_of(letter: str, number: float, unit: str) -> tuple[Tolerance, ...]:
    if not letter:
        return ()
    if unit == "F" and number < _SMALL * (1 - 1e-9) and letter in SMALL_TOLERANCES:
        width = units.Quantity(scaled(round(100 * SMALL_TOLERANCES[letter]), -14), "F")
        return (Tolerance(width, width),)
    return (_percent(*LETTER_TOLERANCES[letter]),)


def _digits(marking: str, unit: str) -> list[Marking]:
    """The readings of a text of figures with or without a tolerance letter."""
    shape = re.fullmatch(r"([0-9]{1,4})([A-Z]?)", marking)
    if not shape or (shape[2] and shape[2] not in LETTER_TOLERANCES):
        return []
    digits, letter = shape.groups()
    if not int(digits):
        link = Marking(units.Quantity(0.0, "ohm"), "figures of a wire link")
        return [link] if unit == "ohm" and not letter else []
    if digits[0] == "0":
        return []
    if len(digits) <= 2:
        if unit == "ohm" and letter:
            return []
        return _known(int(digits), 0, unit, letter, "plain ohms" if unit == "ohm" else "plain picofarads")
    power = int(digits[-1])
    small = unit == "F" and power >= 8
    found = _known(
        int(digits[:-1]), power - 10 if small else power, unit, letter, f"{len(digits)}-digit code"
    )
    if power == 0:  # old parts have the plain figures
        found += _known(int(digits), 0, unit, letter, "plain figures, as on old parts")
    return found


def _known(figures: int, power: int, unit: str, letter: str, code: str) -> list[Marking]:
    number = scaled(figures, power + _PICO[unit])
    if not _LEAST[unit] <= number <= _MOST[unit]:
        return []
    return [Marking(units.Quantity(number, unit), code, _tolerance_of(letter, number, unit))]


def _eia96(marking: str, unit: str) -> list[Marking]:
    shape = re.fullmatch(r"([0-9]{2})([A-Z])", marking)
    if unit != "ohm" or not shape or not 1 <= int(shape[1]) <= 96 or shape[2] not in EIA96_POWERS:
        return []
    number = scaled(SERIES["E96"][int(shape[1]) - 1], EIA96_POWERS[shape[2]])
    return [Marking(units.Quantity(number, "ohm"), "EIA-96", (_percent(1, 1),))]


def _letter_code(marking: str, unit: str) -> Marking | None:
    """The reading as a letter code, or as a value written out: 4K7, 4.7k."""
    if marking.isdecimal():
        return None
    try:
        value = parse_quantity(marking, unit)
    except QuantityError:
        return None
    number = value.magnitude
    if (number == 0 and unit == "F") or (number and not _LEAST[unit] <= number <= _MOST[unit]):
        return None
    letter = _tolerance_letter(marking, unit, number)
    written_out = "." in marking or "," in marking
    return Marking(
        value, "value written out" if written_out else "letter code", _tolerance_of(letter, number, unit)
    )


def _tolerance_letter(marking: str, unit: str, number: float) -> str:
    """The last letter, where it is a tolerance: the first letter is the multiplier, the second the tolerance."""
    rest, last = marking[:-1], marking[-1]
    if last not in LETTER_TOLERANCES or not re.search("[A-Za-zµμ]", rest) or (unit == "F" and last == "F"):
        return ""
    try:
        return last if parse_quantity(rest, unit).magnitude == number else ""
    except QuantityError:
        return ""


def _letter_for(tolerance: float | None, unit: str, number: float) -> str:
    if tolerance is None:
        return ""
    if unit == "F" and number < _SMALL * (1 - 1e-9):
        wide = number * 1e12 * tolerance / 100
        small = (letter for letter, width in SMALL_TOLERANCES.items() if abs(width - wide) < 1e-9)
        if letter := next(small, ""):
            return letter
        letters = {k: v for k, v in LETTER_TOLERANCES.items() if k not in SMALL_TOLERANCES}
    else:
        letters = LETTER_TOLERANCES
    return next((letter for letter, both in letters.items() if both == (tolerance, tolerance)), "")


def _bands(
    figures: str, power: int, tolerance: float | None, tempco: float | None
) -> dict[int, tuple[str, ...]]:
    colours = {digit: colour for colour, digit in DIGITS.items()}
    multipliers = {at: colour for colour, at in POWERS.items()}
    bands = {}
    for count, wide in ((3, 2), (4, 2), (5, 3)):
        at = power - (wide - len(figures))
        if len(figures) > wide or at not in multipliers:
            continue
        front = (*(colours[int(digit)] for digit in figures.ljust(wide, "0")), multipliers[at])
        if count == 3:
            if tolerance in (None, 20.0):
                bands[3] = front
        elif last := _colour_for(tolerance):
            bands[count] = (*front, last)
    of_heat = next((colour for colour, ppm in BAND_TEMPCOS.items() if ppm == tempco), "")
    if 5 in bands and of_heat:
        bands[6] = (*bands[5], of_heat)
    return bands


def _colour_for(tolerance: float | None) -> str:
    return next((c for c, of in BAND_TOLERANCES.items() if c != "none" and of[0][0] == tolerance), "")


def _digits_for(number: float, unit: str, letter: str) -> str:
    """Three digits where two figures say it, else four; with R for the point where resistors are small."""
    figures, power = figures_of(number)
    wide = max(2, len(figures))
    if wide > 3:
        return ""
    at = power - _PICO[unit] - (wide - len(figures))
    front = figures.ljust(wide, "0")
    if unit == "F":
        if wide == 2 and at in (-2, -1):
            return f"{front}{at + 10}{letter}"
        return f"{front}{at}{letter}" if 0 <= at <= 7 else ""
    if at < 0:
        return letter_code(number, unit) if number >= 0.1 else ""
    return f"{front}{at}" if at <= 9 else ""


def _eia96_for(figures: str, power: int) -> str:
    value, at = int(figures.ljust(3, "0")), power - (3 - len(figures))
    if len(figures) > 3 or value not in SERIES["E96"]:
        return ""
    letter = next((letter for letter, each in EIA96_POWERS.items() if each == at), "")
    return f"{SERIES['E96'].index(value) + 1:02d}{letter}" if letter else ""


def _years(digits: str, earliest: int, latest: int) -> tuple[int, ...]:
    every = range(earliest, latest + 1)
    if len(digits) == 1:
        return tuple(year for year in every if year % 10 == int(digits))
    return tuple(year for year in every if year % 100 == int(digits))
