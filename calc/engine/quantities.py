"""Values as people at a bench write them: 4k7, 0R22, 47n, .022uF, 16 mV, 1/2 W, 120 VAC.

Text goes through the grammar below and never into pint. It is IEC 60062's letter code, with the multiplier in
place of the decimal point, and plain numbers with an SI prefix and a unit. Point and comma are the same; only
ASCII digits count. What can be read in two ways is refused with a message that says how to write it.
"""

import math
import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import pint

from calc.engine.errors import QuantityError

units = pint.UnitRegistry()
pint.set_application_registry(units)

LONGEST = 32


@dataclass(frozen=True)
class Unit:
    """How values in one unit are written.

    `names` are what may stand for the unit, in lower case. `prefixes` are the SI prefixes that make sense
    on a bench; `letters` are those that may stand alone or as the decimal point, as in 4k7 and 5V6.
    """

    name: str
    symbol: str
    names: tuple[str, ...]
    prefixes: str
    letters: str
    example: str
    signed: bool = False
    words: tuple[tuple[str, int], ...] = ()  # prefix and unit in one word, and its power of ten

    @property
    def takes_tolerance(self) -> bool:
        """Whether a marking may end in a tolerance letter."""
        return self.symbol in ("Ω", "F")

    @property
    def takes_fractions(self) -> bool:
        """Whether a half is written 1/2, as on resistors and fuses; elsewhere 8/16 is two values."""
        return self.symbol in ("W", "A")

    @property
    def needs_a_prefix(self) -> bool:
        """Whether a number alone says nothing: nobody means 22 farads."""
        return self.symbol == "F"


_OHM_WORDS = (("meg", 6), ("megohm", 6), ("megohms", 6), ("kilohm", 3), ("kilohms", 3))
_FARAD_WORDS = (("mfd", -6), ("mmfd", -12))  # on old capacitors; common practice, no source

UNITS = {
    "V": Unit("volts", "V", ("v", "volt", "volts"), "numkK", "mkKVv", "462, 16 mV or 1.5 kV", signed=True),
    "A": Unit(
        "amperes", "A", ("a", "amp", "amps", "ampere", "amperes"), "pnumk", "numAa", "35 mA", signed=True
    ),
    "ohm": Unit("ohms", "Ω", ("ohm", "ohms"), "umkKMGT", "LRrkKMGT", "4k7, 470 or 2M2", words=_OHM_WORDS),
    "F": Unit(
        "farads", "F", ("f", "farad", "farads"), "pPnNuUm", "pPnNuUmF", "47n or 22u", words=_FARAD_WORDS
    ),
    "H": Unit("henries", "H", ("h", "henry", "henries"), "num", "numH", "4m7 or 10 H"),
    "W": Unit("watts", "W", ("w", "watt", "watts"), "numkK", "mkKW", "1/2, 25 or 250 mW"),
    "VA": Unit("volt-amperes", "VA", ("va",), "mkK", "mkK", "150 or 1.2 kVA"),
    "J": Unit("joules", "J", ("j", "joule", "joules"), "numkK", "", "10 or 250 mJ"),
    "Hz": Unit("hertz", "Hz", ("hz", "hertz", "cps"), "mkKMG", "kKM", "60, 1k5 or 4.19 MHz"),
    "s": Unit("seconds", "s", ("s", "sec", "second", "seconds"), "pnum", "num", "2.2 or 350 ms"),
    "m": Unit("metres", "m", ("m", "metre", "metres", "meter", "meters"), "umck", "", "1.8 or 250 mm"),
    "degC": Unit("degrees Celsius", "°C", ("°c", "c", "degc"), "", "", "25 or 62.5", signed=True),
    "%": Unit("per cent", "%", ("%", "percent", "per cent", "pct"), "", "", "5 or 12.5", signed=True),
}

_POWERS = {"p": -12, "P": -12, "n": -9, "N": -9, "u": -6, "U": -6, "m": -3, "L": -3, "c": -2, "k": 3, "K": 3,
           "M": 6, "G": 9, "T": 12}  # fmt: skip
_TOLERANCES = "ELPWBCDFGHJKMNQTSZ"  # IEC 60062
# micro and ohm have two code points each, and tablets offer typographic dashes and spaces
_SAME = str.maketrans(
    dict.fromkeys("\u00b5\u03bc", "u")
    | dict.fromkeys("\u03a9\u2126", "ohm")
    | dict.fromkeys("\u2212\u2013", "-")
    | dict.fromkeys("\u00a0\u2007\u2009\u202f", " ")
)

_PLAIN = re.compile(r"([0-9]+(?:\.[0-9]+)?|\.[0-9]+|[0-9]+/[0-9]+) ?([^0-9./]*)")
_LETTER_CODE = re.compile(r"([0-9]*)([A-Za-z])([0-9]+) ?([^0-9./]*)")
_NUMBER_ALONE = re.compile(r"[-+\u2212\u2013]? ?[0-9]*[.,/]?[0-9]+")
_NUMBER_AND_UNIT = re.compile(r"[-+\u2212\u2013]? ?[0-9]*[.,/]?[0-9]+ ?([^-+0-9.,/\u2212\u2013 ][^0-9.,/]*)")
_MAYBE_THOUSANDS = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}(?![0-9])")


def parse_quantity(text: str, unit: str) -> pint.Quantity:
    """Return the quantity that somebody typed, in `unit` (a key of `UNITS`).

    A number alone is in that unit, except for farads: `22` is refused, `22u` is not. Watts and amperes may
    be fractions. A tolerance letter at the end of a marking (`4K7K`) is understood and left out. AC, DC and
    rms after volts and amperes are taken as said; peak-to-peak is refused.

    Raises `QuantityError` with a sentence and an example. Source of the letter codes: IEC 60062.
    """
    kind = UNITS[unit]
    if len(text) > LONGEST:
        raise QuantityError(f"That is too long for a value. Write it like {kind.example}.")
    plain = " ".join(text.translate(_SAME).split())
    if not plain:
        raise QuantityError(f"Write a value, like {kind.example}.")
    sign = -1 if plain[0] == "-" else 1
    bare = plain.lstrip("+-").strip() if plain[0] in "+-" and plain[1:2] not in "+-" else plain
    value = sign * _read(bare, text.strip(), kind)
    if value < 0 and not kind.signed:
        raise QuantityError(
            f"{kind.name.capitalize()} can't be below zero here. Write it like {kind.example}."
        )
    return units.Quantity(float(value), _pint_name(unit))


def parse_measured(text: str, unit: str) -> pint.Quantity:
    """Return what a meter shows, with how sure it is: `462 ± 3`, `4k7 ± 1 %`, or a value alone.

    ± is half the width of the band that the true value lies in, in the value's unit or in per cent of it; +/- says
    the same. With it the magnitude is a `uncertainties.UFloat`, without it a float. A unit at the end is that of
    both, as in 46.7 ± 0.6 mA; a number alone behind a prefix, as in 462 mV ± 3, is refused.

    Raises `QuantityError` with a sentence and an example.
    """
    parts = re.split(r"±|\+/-|\+-", text)
    if len(parts) == 1:
        return parse_quantity(text, unit)
    example = f"{UNITS[unit].example.split(',')[0].split(' or ')[0]} ± 2 %"
    if len(parts) > 2 or not parts[0].strip() or not parts[1].strip():
        raise QuantityError(f"Write how sure it is after the value, like {example}.")
    head, tail = (part.strip() for part in parts)
    if len(tail) > LONGEST:
        raise QuantityError(f"That is too long for a value. Write it like {example}.")
    if tail.endswith("%") and unit != "%":
        value = parse_quantity(head, unit)
        band = abs(value.magnitude) * parse_quantity(tail, "%").magnitude / 100
    else:
        if is_number_alone(head) and (at_the_end := _NUMBER_AND_UNIT.fullmatch(tail)):
            head = f"{head} {at_the_end[1]}"
        value = parse_quantity(head, unit)
        band = parse_quantity(tail, unit).magnitude
        if is_number_alone(tail) and not _is_in_the_unit_itself(head, unit):
            raise QuantityError(f"“{text.strip()}” can be read in two ways. Write the unit of {tail} too.")
    if band < 0:
        raise QuantityError(f"How sure it is can't be below zero. Write it like {example}.")
    return with_band(value, band)


def is_number_alone(text: str) -> bool:
    """Say whether a text is digits with a sign and a point, and says nothing of a unit."""
    text = text.strip()
    return len(text) <= LONGEST and bool(_NUMBER_ALONE.fullmatch(text))


def _is_in_the_unit_itself(text: str, unit: str) -> bool:
    """Say whether a value is written without a prefix: 462 and 462 V, but not 462 mV or 4k7."""
    number = re.match(r"[-+\u2212\u2013]?[0-9.,/]+", text)
    digits = number[0].lstrip("-+\u2212\u2013") if number else ""
    return is_number_alone(digits) and (
        digits == text.lstrip("-+\u2212\u2013 ")
        or parse_quantity(digits, unit).magnitude == abs(parse_quantity(text, unit).magnitude)
    )


def split_rating(text: str, unit: str) -> tuple[str, str]:
    """Return what stands before and after the rating of a part, in `unit`: 22u/450V, 1M 1/2W. No rating is "".

    Neither is read here. Common practice on parts lists and on the parts themselves; no source.
    """
    symbol = re.escape(UNITS[unit].symbol)
    rated = re.fullmatch(
        rf"(.+?)(?: */ *| +)([0-9][0-9.,/]*) *([mk]?{symbol})(?:DC)?", text.strip(), re.IGNORECASE
    )
    return (rated[1], rated[2] + rated[3]) if rated else (text.strip(), "")


def with_band(quantity: pint.Quantity, band: float) -> pint.Quantity:
    """Return a quantity with ± `band`, in its own unit. A band of nothing leaves it as it is."""
    from uncertainties import ufloat  # 60 ms: only where something was measured

    if not band:
        return quantity
    return units.Quantity(ufloat(nominal(quantity), band), quantity.units)


def nominal(quantity: pint.Quantity, unit: str | None = None) -> float:
    """Return the number without its ±, in `unit` (any of pint's; its own where None)."""
    magnitude = (quantity if unit is None else quantity.to(unit)).magnitude
    return float(getattr(magnitude, "nominal_value", magnitude))


def band(quantity: pint.Quantity, unit: str | None = None) -> float:
    """Return the ± of a quantity in `unit`; nothing where it has none."""
    magnitude = (quantity if unit is None else quantity.to(unit)).magnitude
    return float(getattr(magnitude, "std_dev", 0.0))


def show(quantity: pint.Quantity, digits: int = 3) -> str:
    """Return a quantity in engineering notation: 4.70 kΩ, 16.0 mV, 25.0 °C; with its ± if it has one: 46.7 ± 0.6 mA.

    `digits` are significant; where there is a ±, the value ends where the ± does. The prefix is one that
    `parse_quantity` takes for the unit. A compound unit that is not in `UNITS` is shown without a prefix.
    Raises `QuantityError` for what is not finite.
    """
    key = _key_of(quantity)
    inside = quantity.to(_pint_name(key)) if key else quantity
    value, sure = nominal(inside), band(inside)
    if not (math.isfinite(value) and math.isfinite(sure)):
        raise QuantityError("There is no such value.")
    kind = UNITS[key] if key else None
    symbol = kind.symbol if kind else f"{quantity.units:~P}"
    prefixes = kind.prefixes if kind else ""
    if kind is None and not sure:
        return f"{value:.{digits}g} {symbol}".rstrip().replace("-", "−")
    rounded = Decimal(f"{value:.{digits - 1}e}")
    power = _shown_power(rounded or Decimal(f"{sure:.0e}"), prefixes)
    prefix = {0: "", -12: "p", -9: "n", -6: "µ", -3: "m", 3: "k", 6: "M", 9: "G", 12: "T"}[power]
    if sure:
        step = Decimal(f"{sure:.1e}" if f"{sure:.1e}"[0] == "1" else f"{sure:.0e}").scaleb(-power)
        places = max(0, -step.adjusted() + (str(step.normalize().as_tuple().digits[0]) == "1"))
        shown = f"{Decimal(value).scaleb(-power):.{places}f} ± {step:.{places}f}"
    else:
        scaled = rounded.scaleb(-power)
        shown = f"{scaled:.{max(0, digits - 1 - scaled.adjusted()) if scaled else 0}f}"
    return f"{shown} {prefix}{symbol}".rstrip().replace("-", "−")


def _shown_power(value: Decimal, prefixes: str) -> int:
    """The power of ten that leaves one to three digits before the point, of those that have a prefix."""
    if not value or not prefixes:
        return 0
    wanted = 3 * (value.adjusted() // 3)
    offered = [0, *(_POWERS[letter] for letter in prefixes if _POWERS[letter] % 3 == 0)]
    return min(offered, key=lambda offer: (abs(offer - wanted), offer))


def _read(bare: str, typed: str, kind: Unit) -> Fraction:
    """Return the number of units that a text without its sign stands for."""
    if "±" in bare or "+/-" in bare:
        raise QuantityError(f"Write the value alone, without ±, like {kind.example}.")
    if _MAYBE_THOUSANDS.match(bare):
        whole, rest = bare.split(",", 1)
        both = f"{whole}{rest[:3]} or {whole}.{rest[:3]}"
        raise QuantityError(f"“{typed}” can be read in two ways. Write {both}.")
    bare = bare.replace(",", ".")
    if "/" in bare and not (kind.takes_fractions and re.fullmatch(r"[0-9]+/[0-9]+ ?[^0-9./]*", bare)):
        raise QuantityError(f"“{typed}” looks like two values. Put each in its own box, like {kind.example}.")
    if plain := _PLAIN.fullmatch(bare):
        number, rest = plain.groups()
        if re.fullmatch(r"[0-9]+/0+", number):
            raise QuantityError(f"Nothing can be divided by zero. Write it like {kind.example}.")
        return Fraction(number) * Fraction(10) ** _power_of(rest, typed, kind)
    if code := _LETTER_CODE.fullmatch(bare):
        whole, letter, fraction, rest = code.groups()
        if letter in kind.letters and (whole or letter not in kind.symbol):
            _check_after_code(letter, rest, typed, kind)
            return Fraction(f"{whole or 0}.{fraction}") * Fraction(10) ** _POWERS.get(letter, 0)
        _hint_at_mega(letter, typed, kind)
    raise QuantityError(f"“{typed}” can't be read as {kind.name}. Write it like {kind.example}.")


def _power_of(rest: str, typed: str, kind: Unit) -> int:
    """Return the power of ten that a number's prefix and unit stand for."""
    rest = _without_kind_of_current(rest, kind)
    if not rest:
        if kind.needs_a_prefix:
            raise QuantityError(f"{typed} of what? Write it like {kind.example}.")
        return 0
    power = _power_of_suffix(rest, kind)
    if power is None and kind.takes_tolerance and rest[-1] in _TOLERANCES:
        marking = rest[:-1].strip()
        if marking and _tolerance_may_follow(marking[0], kind):
            power = _power_of_suffix(marking, kind)
    if power is None:
        if len(rest) > 1:
            _refuse_another_unit(rest, typed, kind)
        _hint_at_mega(rest[0], typed, kind)
        _refuse_another_unit(rest, typed, kind)
        raise QuantityError(f"“{typed}” can't be read as {kind.name}. Write it like {kind.example}.")
    return power


def _power_of_suffix(rest: str, kind: Unit) -> int | None:
    """Return the power of ten of a prefix, a unit or both; None for anything else."""
    if _is_name(rest, kind):
        return 0
    if rest.lower() in dict(kind.words):
        return dict(kind.words)[rest.lower()]
    if len(rest) == 1 and rest in kind.letters:
        return _POWERS.get(rest, 0)
    if rest[0] in kind.prefixes and _is_name(rest[1:].strip(), kind):
        return _POWERS[rest[0]]
    return None


def _is_name(text: str, kind: Unit) -> bool:
    # S is siemens and M is mega: a unit of one small letter is not written large
    return text in kind.names if kind.symbol in "sm" else text.lower() in kind.names


def _check_after_code(letter: str, rest: str, typed: str, kind: Unit) -> None:
    """Refuse what follows a letter code, unless it is the unit, a tolerance or both."""
    rest = _without_kind_of_current(rest, kind)
    name = rest
    if kind.takes_tolerance and rest and rest[-1] in _TOLERANCES and not _is_name(rest, kind):
        if not _tolerance_may_follow(letter, kind):
            raise QuantityError(
                f"“{typed}” has two multipliers. Write it like {kind.example}; a tolerance like 4K7J."
            )
        name = rest[:-1].strip()
    if name and not _is_name(name, kind):
        _refuse_another_unit(name, typed, kind)
        raise QuantityError(f"“{typed}” can't be read as {kind.name}. Write it like {kind.example}.")


def _tolerance_may_follow(letter: str, kind: Unit) -> bool:
    """In 4K7K the second K is a tolerance; in 4k7K nobody knows. Capacitors have small multipliers."""
    return kind.symbol == "F" or letter.isupper()


def _without_kind_of_current(rest: str, kind: Unit) -> str:
    """Take AC, DC or rms off volts and amperes."""
    rest = rest.strip()
    if kind.symbol in ("V", "A"):
        if re.search(r"(p-?p|pk|peak)$", rest, re.IGNORECASE):
            raise QuantityError("Write the rms or DC value here, not the peak.")
        rest = re.sub(r"(?<=[va]) ?(ac|dc|rms)$", "", rest, flags=re.IGNORECASE)
    return rest


def _refuse_another_unit(rest: str, typed: str, kind: Unit) -> None:
    """Say so when the unit is one we know, and not this box's."""
    for other in UNITS.values():
        prefixed = rest[0] in other.prefixes and _is_name(rest[1:], other)
        if other is not kind and (prefixed or _is_name(rest, other)):
            raise QuantityError(
                f"This box takes {kind.name}, and “{typed}” is in {other.name}. Write it like {kind.example}."
            )


def _hint_at_mega(letter: str, typed: str, kind: Unit) -> None:
    if letter == "M" or (letter == "m" and kind.symbol == "Ω"):
        raise QuantityError(f"In “{typed}”, M is mega and m is milli. Write it like {kind.example}.")


def _key_of(quantity: pint.Quantity) -> str | None:
    """Return the unit of `UNITS` that a quantity is in, else the first that it can be converted to."""
    same = (key for key in UNITS if quantity.units == units.Unit(_pint_name(key)))
    # degC has an offset, VA is no different from W, and a plain ratio is not a percentage
    alike = (key for key in UNITS if key not in ("degC", "VA", "%") and quantity.is_compatible_with(key))
    return next(same, None) or next(alike, None)


def _pint_name(key: str) -> str:
    return "percent" if key == "%" else key
