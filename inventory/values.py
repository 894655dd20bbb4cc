"""Parts as people write them: "22u 450V axial", "1M 1/2W", "12AX7"; and how they are looked for.

A value goes through `calc.engine.quantities`; here is only which piece of a text is which value. What isn't
understood stays a word: nothing is guessed.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, fields
from functools import cache, reduce
from operator import and_, or_
from typing import Any, Final

from django.db.models import Q, QuerySet

from calc.engine import tubes
from calc.engine.errors import CircuitError, QuantityError
from calc.engine.quantities import UNITS, parse_quantity, show, split_rating, units
from intake.folding import fold
from inventory.models import Kind, Part

LONGEST: Final = 120
BAND: Final = 0.01  # a value that is looked for is met within ±1 %
_EDGE: Final = 1e-9  # of a limit: what a float can be out by
_MOST_WORDS: Final = 24

_OF_PARTS: Final = ("F", "ohm", "V", "W", "A", "H", "degC", "%")
# What a number with a bare prefix is in, where the kind is known: 470 and 4k7 are ohms on a resistor.
_USUAL: Final[dict[str, tuple[str, ...]]] = {
    Kind.CAPACITOR: ("F",),
    Kind.RESISTOR: ("ohm",),
    Kind.POT: ("ohm",),
    Kind.ZENER: ("V",),
    Kind.FUSE: ("A",),
    Kind.TANK: ("ohm",),
    Kind.SPEAKER: ("ohm",),
    Kind.TRANSFORMER: ("ohm", "H"),
}
_BY_TYPE: Final = (Kind.TUBE, Kind.DIODE, Kind.ZENER, Kind.TRANSISTOR)
_BY_IMPEDANCE: Final = (Kind.TANK, Kind.SPEAKER, Kind.TRANSFORMER)
UNIT_OF_VALUE: Final = {
    Kind.CAPACITOR: "F",
    Kind.RESISTOR: "ohm",
    Kind.POT: "ohm",
    Kind.FUSE: "A",
    Kind.TRANSFORMER: "H",
    Kind.OTHER: "H",
}

# Which values a kind has, in the order in which a form asks for them.
FIELDS: Final[dict[str, tuple[str, ...]]] = {
    Kind.CAPACITOR: ("value", "volts", "tolerance", "technology", "leads", "hottest"),
    Kind.RESISTOR: ("value", "watts", "tolerance", "technology", "leads", "volts"),
    Kind.POT: ("value", "taper", "shaft", "watts", "tolerance", "leads"),
    Kind.TUBE: ("designation",),
    Kind.DIODE: ("designation", "volts", "amps", "technology", "leads"),
    Kind.ZENER: ("designation", "volts", "watts", "tolerance", "leads"),
    Kind.TRANSISTOR: ("designation", "technology", "volts", "amps", "watts", "leads"),
    Kind.FUSE: ("value", "volts", "technology"),
    Kind.JACK: ("leads",),
    Kind.SOCKET: ("leads",),
    Kind.CORD: ("volts", "amps"),
    Kind.TANK: ("impedance",),
    Kind.SPEAKER: ("impedance", "watts"),
    Kind.TRANSFORMER: ("impedance", "value", "volts", "amps", "watts"),
    Kind.HARDWARE: (),
    Kind.CONSUMABLE: (),
    Kind.OTHER: ("value", "volts", "amps", "watts", "designation", "technology", "leads"),
}

_ALL_FIELDS: Final = tuple(dict.fromkeys(field for each in FIELDS.values() for field in each))

# Words of the trade, folded. What several people call differently gets one name.
_TECHNOLOGIES: Final = {
    "electrolytic": "electrolytic", "electro": "electrolytic", "film": "film", "polyester": "polyester film",
    "polyester film": "polyester film", "polypropylene": "polypropylene film",
    "polypropylene film": "polypropylene film", "ceramic": "ceramic", "tantalum": "tantalum", "mica": "mica",
    "silver mica": "mica", "paper": "paper", "paper in oil": "paper in oil", "non polar": "non-polar",
    "nonpolar": "non-polar", "carbon film": "carbon film", "carbon comp": "carbon composition",
    "carbon composition": "carbon composition", "metal film": "metal film", "metal oxide": "metal oxide",
    "wire wound": "wire-wound", "wirewound": "wire-wound", "germanium": "germanium", "silicon": "silicon",
    "schottky": "schottky", "npn": "NPN", "pnp": "PNP", "jfet": "JFET", "mosfet": "MOSFET",
    "time lag": "time-lag", "slow": "time-lag", "slow blow": "time-lag", "quick acting": "quick-acting",
    "fast": "quick-acting", "fast blow": "quick-acting",
}  # fmt: skip
_LEADS: Final = {
    "axial": "axial", "radial": "radial", "snap in": "snap-in", "snapin": "snap-in", "chassis": "chassis",
    "chassis mount": "chassis", "can": "can", "surface mount": "surface mount", "board mount": "board mount",
    "pcb": "board mount", "panel": "panel", "panel mount": "panel", "screw terminals": "screw terminals",
    "solder lugs": "solder lugs",
}  # fmt: skip
_TAPERS: Final = {
    "audio": "audio", "log": "audio", "logarithmic": "audio", "linear": "linear", "lin": "linear",
    "reverse audio": "reverse audio", "reverse log": "reverse audio",
}  # fmt: skip
_SHAFTS: Final = {
    "solid shaft": "solid", "split shaft": "split", "knurled": "knurled", "knurled shaft": "knurled",
    "flatted": "flatted", "d shaft": "flatted",
}  # fmt: skip
_KINDS: Final = {
    "cap": Kind.CAPACITOR, "capacitor": Kind.CAPACITOR, "resistor": Kind.RESISTOR, "pot": Kind.POT,
    "potentiometer": Kind.POT, "tube": Kind.TUBE, "valve": Kind.TUBE, "diode": Kind.DIODE, "zener": Kind.ZENER,
    "transistor": Kind.TRANSISTOR, "fuse": Kind.FUSE, "jack": Kind.JACK, "socket": Kind.SOCKET,
    "cord": Kind.CORD, "tank": Kind.TANK, "spring tank": Kind.TANK, "speaker": Kind.SPEAKER,
    "transformer": Kind.TRANSFORMER, "choke": Kind.TRANSFORMER, "hardware": Kind.HARDWARE,
    "screw": Kind.HARDWARE, "nut": Kind.HARDWARE, "washer": Kind.HARDWARE, "knob": Kind.HARDWARE,
    "solder": Kind.CONSUMABLE, "consumable": Kind.CONSUMABLE,
}  # fmt: skip
_FUSE_CODES: Final = {"FF": "very quick-acting", "F": "quick-acting", "M": "medium time-lag", "T": "time-lag",
                      "TT": "long time-lag"}  # fmt: skip  # IEC 60127, from memory

# How type designations are built. Tubes: RETMA and Pro-Electron; semiconductors: JEDEC, Pro-Electron, JIS; from memory.
_PRO_ELECTRON: Final = re.compile(
    r"[DEGPU][ABCDEFHKLMQYZ]{1,3}[0-9]{2,3}[A-Z]{0,2}|E[0-9]{2,3}[A-Z]{1,3}|KT[0-9]{2,3}"
)
_DIODES: Final = re.compile(
    r"1N[0-9]{2,5}[A-Z]{0,2}|UF[0-9]{4}[A-Z]?|B[AY][A-Z]?[0-9]{2,3}|A[AY][A-Z]?[0-9]{2,3}"
)
_TRANSISTORS: Final = re.compile(
    r"2N[0-9]{3,5}[A-Z]{0,2}|2S[A-DJK][0-9]{2,4}[A-Z]?|[AB][CDFU][A-Z]?[0-9]{2,3}[A-C]?|MPS[A-Z]?[0-9]{2,4}"
    r"|TIP[0-9]{2,3}[A-C]?|MJE?[0-9]{3,5}|IRF[A-Z]?[0-9]{2,4}[A-Z]?|J[0-9]{3}"
)
# The zeners among JEDEC's numbers: half a watt, one watt and five watts. From memory of their sheets.
_ZENERS: Final = (range(4728, 4765), range(5221, 5282), range(5333, 5389))

_NUMBER: Final = r"(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+|[0-9]+/[0-9]+)"
_SIGN: Final = re.compile(r"(>=|<=|=>|=<|≥|≤|>|<|=)\s*")
_FROM_TO: Final = re.compile(
    rf"({_NUMBER}[A-Za-zµμΩΩ°%]*[0-9]*)(?:-|–|\.\.|…)({_NUMBER}[A-Za-zµμΩΩ°%]*[0-9]*)"
)
_THOUSANDS: Final = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}(?![0-9])")
_ONLY_NUMBER: Final = re.compile(_NUMBER)
_LETTERS: Final = re.compile(r"[A-Za-zµμΩΩ°%]+")


def unit_of(kind: str, field: str) -> str | None:
    """The unit of a part's field, a key of `UNITS`; None for words."""
    if field == "value":
        return UNIT_OF_VALUE.get(kind)
    return {
        "tolerance": "%",
        "volts": "V",
        "watts": "W",
        "amps": "A",
        "impedance": "ohm",
        "hottest": "degC",
    }.get(field)


# --- What a part is ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Values:
    """What a text says of a part, in SI units. What it doesn't say is None or empty; `words` are the rest of it."""

    kind: str = ""
    value: float | None = None
    tolerance: float | None = None
    volts: float | None = None
    watts: float | None = None
    amps: float | None = None
    impedance: float | None = None
    hottest: float | None = None
    designation: str = ""
    technology: str = ""
    leads: str = ""
    taper: str = ""
    shaft: str = ""
    words: tuple[str, ...] = ()

    @property
    def facts(self) -> dict[str, Any]:
        """The fields of a `Part` that it fills."""
        found = {each.name: getattr(self, each.name) for each in fields(self) if each.name != "words"}
        return {name: value for name, value in found.items() if value not in (None, "")}


def read_part(text: str, kind: str | None = None) -> Values:
    """Read what somebody wrote of a part. `kind` settles what a bare number is; without it the text does.

    Raises:
        QuantityError: it says two values of the same sort, or one that can be read in two ways.
    """
    tokens = _tokens(text)
    found: dict[str, Any] = {}
    left: list[str] = []
    numbers: list[str] = []
    for field, said, token in _named(tokens):
        if field is None:
            (numbers if _looks_like_a_value(token) else left).append(token)
        elif field == "kind" and said is not None:
            found[field] = said  # the last one: a tube socket is a socket
        else:
            found.setdefault(field, said)
    units_said = [(token, _explicit(token)) for token in numbers]
    if kind:
        found["kind"] = kind
    found["kind"] = found.get("kind") or _kind_from(found, [unit for _, unit in units_said if unit], numbers)
    if found["kind"] in _BY_TYPE and "designation" not in found and units_said:
        token, unit = units_said[0]
        if unit != "V" and re.fullmatch(r"[A-Z0-9][A-Z0-9-]+", token.upper()):
            found["designation"] = token.upper()
            del units_said[0]
    for token, unit in units_said:
        if not _put(found, token, unit):
            left.append(token)
    has = (*FIELDS.get(found["kind"], _ALL_FIELDS), "kind")
    return Values(
        **{field: said for field, said in found.items() if field in has},
        words=tuple(token for token in tokens if token in left),
    )


def search_text(part: Part) -> str:
    """The folded words that a part is found by, each between spaces: found by its beginning, or whole."""
    part.refold()
    return part.search


def said_of(part: Part | Values) -> list[str]:
    """A part's values as people say them: "22 µF", "450 V", "axial". A type that is its name isn't said again."""
    shown = []
    value_unit = UNIT_OF_VALUE.get(part.kind)
    numbers = (
        (part.value, value_unit), (part.tolerance, "%"), (part.volts, "V"), (part.amps, "A"), (part.watts, "W"),
        (part.impedance, "ohm"), (part.hottest, "degC"),
    )  # fmt: skip
    for number, unit in numbers:
        if number is not None and unit:
            shown.append(f"±{in_words(number, unit)}" if unit == "%" else in_words(number, unit))
    words = (part.designation, part.technology, part.leads, part.taper, part.shaft)
    return [*shown, *(word for word in words if word and word != getattr(part, "name", ""))]


def in_words(number: float, unit: str) -> str:
    """A number in a unit of `UNITS`: "4.7 kΩ", "450 V"."""
    # 1600 V, 0.22 Ω and 0.5 W are said so: common practice, no source
    if (unit == "V" and 1000 <= number < 10_000) or (unit in ("ohm", "W") and 0.01 <= number < 1):
        return f"{number:.6g} {UNITS[unit].symbol}"
    shown = show(units.Quantity(number, "percent" if unit == "%" else unit), 6)
    figures, _, sign = shown.partition(" ")
    return f"{figures.rstrip('0').rstrip('.') if '.' in figures else figures} {sign}"


# --- What is looked for --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Range:
    """Where a value may lie, both ends included; None is open. `units` are those that it may be in."""

    units: tuple[str, ...]
    least: tuple[float | None, ...]
    most: tuple[float | None, ...]
    middle: tuple[float, ...] = ()  # what was written, where it is one value
    word: str = ""  # it may also be a word of the name: "5u4"


@dataclass(frozen=True)
class Wanted:
    """What somebody looks for: each range, type and word has to be met."""

    text: str = ""
    ranges: tuple[Range, ...] = ()
    types: tuple[tuple[str, ...], ...] = ()  # type designations, each with the other names of the same tube
    words: tuple[tuple[str, ...], ...] = ()  # words, each with what it is also called
    said: tuple[str, ...] = ()  # how it was understood, in words

    @property
    def is_empty(self) -> bool:
        return not (self.ranges or self.types or self.words)


def read_search(text: str) -> Wanted:
    """Read what somebody looks for: "22u 450v", ">=450V 20-24uF axial", "1M 1/2W ±5%".

    A bare value is met within ±1 %, or the ± behind it. > and >= mean the same, because a rating is a limit.

    Raises:
        QuantityError: a value can be read in two ways, or a range is the wrong way round.
    """
    tokens = _tokens(_SIGN.sub(r" \1", text))
    ranges: list[Range] = []
    types: list[tuple[str, ...]] = []
    words: list[tuple[str, ...]] = []
    said: list[str] = []
    place_said: dict[int, int] = {}
    bare: list[tuple[int, str]] = []  # the ranges that a ± may still widen
    for field, meant, token in _named(tokens, as_search=True):
        if field == "designation":
            types.append(_same_tube(meant))
            said.append(" or ".join(types[-1]))
        elif field is not None:
            words.append(tuple(dict.fromkeys((fold(token), fold(str(meant))))))
            said.append(str(Kind(meant).label if field == "kind" else meant))
        elif token[0] == "±":
            percent = _read(token[1:], "%")
            if bare and percent:
                place, value = bare[-1]
                ranges[place] = _around(value, percent / 100)
                said[place_said[place]] += f" ±{percent:g} %"
        elif (wanted := _range(token)) is not None:
            if not (_SIGN.match(token) or _FROM_TO.fullmatch(token)):
                bare.append((len(ranges), token))
            place_said[len(ranges)] = len(said)
            ranges.append(wanted)
            said.append(_said_of_range(wanted))
        else:
            for word in fold(token).split():
                words.append((word, word[:-1]) if len(word) > 4 and word.endswith("s") else (word,))
                said.append(word)
    return Wanted(text, tuple(ranges), tuple(types), tuple(words[:_MOST_WORDS]), tuple(said))


def matching(wanted: Wanted) -> QuerySet[Part]:
    """The parts in use that meet all of it."""
    asked = [
        *(_in(each) for each in wanted.ranges),
        *(reduce(or_, (_has_type(name) for name in names)) for names in wanted.types),
        *(reduce(or_, (_has_words(word) for word in each)) for each in wanted.words),
    ]
    return Part.objects.in_use().filter(reduce(and_, asked, Q()))


def find(wanted: Wanted, limit: int) -> QuerySet[Part]:
    """The first of them; none where nothing is asked."""
    return Part.objects.none() if wanted.is_empty else matching(wanted)[:limit]


# --- Pieces of a text ----------------------------------------------------------------------------------------


def _tokens(text: str) -> list[str]:
    """The pieces of a text; a number and the unit behind it are one: "22 uF" is "22uF"."""
    plain = " ".join(text[:LONGEST].replace("±", " ±").replace("+/-", " ±").replace("+-", " ±").split())
    plain = re.sub(r"± ", "±", plain)
    pieces = [piece.strip(';()[]"“”') for piece in re.split(r"[ ;]|, ", plain)]
    joined: list[str] = []
    for piece in filter(None, (part for whole in pieces for part in _without_rating(whole))):
        before = joined[-1] if joined else ""
        number = _SIGN.sub("", before).lstrip("±")
        is_unit = _ONLY_NUMBER.fullmatch(number) and _LETTERS.fullmatch(piece) and _explicit(number + piece)
        if is_unit or _SIGN.fullmatch(before):
            joined[-1] = before + piece
        else:
            joined.append(piece)
    return joined


def _without_rating(piece: str) -> tuple[str, ...]:
    """22u/450V in two; 1/2W is one."""
    if "/" not in piece or not re.match(r"[^/]*[A-Za-zµμΩΩ]", piece):
        return (piece,)
    split = (split_rating(piece, unit) for unit in ("V", "W", "A"))
    return next((both for both in split if both[1]), (piece,))


def _named(tokens: list[str], *, as_search: bool = False) -> Iterator[tuple[str | None, Any, str]]:
    """Each piece with the field that it names and what it says there, words of the trade before all else."""
    tables = {
        "technology": _TECHNOLOGIES,
        "leads": _LEADS,
        "taper": _TAPERS,
        "shaft": _SHAFTS,
        "kind": _KINDS,
    }
    at = 0
    while at < len(tokens):
        for size in (3, 2, 1):
            several = tokens[at : at + size]
            folded = fold(" ".join(several))
            named = next(((field, table[folded]) for field, table in tables.items() if folded in table), None)
            if named and len(several) == size:
                yield named[0], named[1], " ".join(several)
                at += size
                break
        else:
            token = tokens[at]
            at += 1
            if designation := _designation(token):
                yield "designation", designation, token
            elif fuse := re.fullmatch(rf"(FF|TT|[FMT])({_NUMBER}m?A|[0-9]*A[0-9]+)[LHE]?", token):
                yield "technology", _FUSE_CODES[fuse[1]], token if not as_search else _FUSE_CODES[fuse[1]]
                if not as_search:
                    yield "kind", Kind.FUSE, token
                yield None, None, fuse[2]
            elif pot := re.fullmatch(rf"([ABCW])({_NUMBER}[kM]|[0-9]+[kM][0-9]+)", token):
                # the letter as it is stamped: it meant another taper on old pots of some makers; from memory
                yield "taper", pot[1], pot[1]
                if not as_search:
                    yield "kind", Kind.POT, token
                yield None, None, pot[2]
            elif pot := re.fullmatch(rf"({_NUMBER}[kM]|[0-9]+[kM][0-9]+)([ABC])", token):
                yield None, None, pot[1]
                yield "taper", pot[2], pot[2]
                if not as_search:
                    yield "kind", Kind.POT, token
            else:
                yield None, None, token


@cache
def _explicit_pattern(unit: str) -> re.Pattern[str]:
    kind = UNITS[unit]
    names = "|".join(re.escape(name) for name in sorted(kind.names, key=len, reverse=True))
    also = "|".join(word for word, _ in kind.words)
    tail = (
        rf"(?:[{kind.prefixes}]?(?:{names}){'|' + also if also else ''})" if kind.prefixes else f"(?:{names})"
    )
    if unit == "ohm":
        tail = rf"(?:[{kind.prefixes}]?(?:{names}|Ω|Ω)|{also})"
    current = " ?(?:ac|dc|rms)?" if unit in ("V", "A") else ""
    inside = {"V": "Vv", "A": "A", "ohm": "Rr", "F": "F", "H": "H", "W": "W"}.get(unit, "")
    code = rf"|[0-9]*[{inside}][0-9]+(?:{names})?" if inside else ""
    return re.compile(rf"{_NUMBER} ?{tail}{current}{code}", re.IGNORECASE)


def _explicit(token: str) -> str | None:
    """The unit that a piece says itself: V of 450V and of 5V6."""
    token = token.replace("µ", "u").replace("μ", "u")
    for unit in ("%", "degC", "V", "A", "ohm", "F", "H", "W"):
        if not _explicit_pattern(unit).fullmatch(token):
            continue
        if not token[0].isdigit() and token[0] not in ".,":
            continue  # M4 is a thread and R22 a marking: only a kind tells
        try:
            parse_quantity(token, unit)
        except QuantityError:
            continue
        return unit
    return None


def _looks_like_a_value(token: str) -> bool:
    return token[0] == "±" or any(char.isdigit() for char in token)


def _read(token: str, unit: str) -> float | None:
    try:
        return float(parse_quantity(token, unit).magnitude)
    except QuantityError:
        if _THOUSANDS.match(token):
            raise
        return None


def _put(found: dict[str, Any], token: str, unit: str | None) -> bool:
    """Write the value of a piece where it belongs. Say whether it is one."""
    kind = found["kind"]
    if token[0] == "±":
        token = token[1:] if token.endswith("%") else f"{token[1:]}%"
        unit = "%"
    bare = unit is None
    for each in (unit,) if unit else _USUAL.get(kind, ()):
        if bare and _ONLY_NUMBER.fullmatch(token) and "/" in token:
            each = "W" if kind == Kind.RESISTOR else each  # 1M 1/2: half a watt
        value = _read(token, each) if each else None
        if value is None or value < 0:
            continue
        field = _field(kind, each, found)
        if field is None:
            return False
        if found.get(field) is not None:
            if bare:
                return False
            raise QuantityError(
                f"“{token}” is a second value in {UNITS[each].name}. Write one, and the other in the note."
            )
        found[field] = value
        return True
    return False


def _field(kind: str, unit: str, found: dict[str, Any]) -> str | None:
    if unit == "ohm":
        return "impedance" if kind in _BY_IMPEDANCE else "value"
    if unit == "A":
        return "value" if kind == Kind.FUSE else "amps"
    return {"F": "value", "H": "value", "V": "volts", "W": "watts", "degC": "hottest", "%": "tolerance"}[unit]


def _kind_from(found: dict[str, Any], said: list[str], numbers: list[str]) -> str:
    """What a part is, from what else is written; empty where that doesn't tell."""
    if designation := found.get("designation"):
        return _kind_of_type(designation)
    if found.get("taper") or found.get("shaft"):
        return Kind.POT
    if "F" in said:
        return Kind.CAPACITOR
    if "ohm" in said:
        return Kind.RESISTOR
    if "H" in said:
        return Kind.OTHER
    for token in (number.split("+")[0] for number in numbers):
        if re.fullmatch(r"[0-9]*[.,]?[0-9]*[pnuµμ][0-9]*[A-Z]?", token):
            return Kind.CAPACITOR
        if re.fullmatch(r"[0-9]+(?:[.,][0-9]+)?[kKM][0-9]*[A-Z]?", token):
            return Kind.RESISTOR
    return ""


def _designation(token: str) -> str:
    """A type designation, as it is written on the part; empty for anything else."""
    key = re.sub(r"[-_]", "", token.upper())
    if not re.search(r"[0-9]", key) or len(key) > 12 or _explicit(token):
        return ""
    if _tube(key) or _kind_of_type(key):
        return key
    return ""


def _kind_of_type(key: str) -> str:
    if key.startswith("1N") and (digits := re.match(r"1N([0-9]{4})", key)):
        return Kind.ZENER if any(int(digits[1]) in some for some in _ZENERS) else Kind.DIODE
    if _tube(key) or re.fullmatch(r"KT[0-9]{2,3}", key):
        return Kind.TUBE
    if _DIODES.fullmatch(key):
        return Kind.DIODE
    if _TRANSISTORS.fullmatch(key):
        return Kind.TRANSISTOR
    if _PRO_ELECTRON.fullmatch(key) or _is_retma(key):
        return Kind.TUBE
    return ""


def _is_retma(key: str) -> bool:
    """12AX7, 6V6GT; but 4K7 and 4K7G are values as well: a tube of such a name is told by its kind."""
    return bool(
        re.fullmatch(
            r"[0-9]{1,3}[A-Z]{2,3}[0-9]{1,2}[A-Z]{0,3}|[0-9]{1,2}[A-Z][0-9]{1,2}[GW][A-Z]{1,2}|[0-9]{1,2}[LSVY][0-9]{1,2}G",
            key,
        )
    )


@cache
def _tube(key: str) -> tuple[str, ...]:
    """All names of a tube of the table; none where it isn't in it."""
    try:
        found = tubes.find(key)
    except CircuitError:
        return ()
    return tuple(dict.fromkeys((found.name, *found.aliases)))


def _same_tube(key: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys((key, *_tube(key))))


# --- Conditions ----------------------------------------------------------------------------------------------


def _range(token: str) -> Range | None:
    """What values a piece of a search asks for; None where it is a word."""
    if sign := _SIGN.match(token):
        value = token[sign.end() :]
        found = _units_of(value)
        if not found:
            return None
        numbers = tuple(number for _, number in found)
        nothing = (None,) * len(found)
        names = tuple(unit for unit, _ in found)
        if sign[1] in (">=", "=>", "≥", ">"):
            return Range(names, numbers, nothing)
        return Range(names, nothing, numbers) if sign[1] != "=" else Range(names, numbers, numbers)
    if both := _FROM_TO.fullmatch(token):
        low, high = both.groups()
        if _ONLY_NUMBER.fullmatch(low) and (tail := re.search(r"[A-Za-zµμΩΩ°%]+$", high)):
            low += tail[0]
        lows, highs = dict(_units_of(low)), dict(_units_of(high))
        shared = tuple(unit for unit in highs if unit in lows)
        if not shared:
            return None
        if any(lows[unit] > highs[unit] for unit in shared):
            raise QuantityError(f"“{token}” begins above its end. Write the smaller value first.")
        return Range(shared, tuple(lows[u] for u in shared), tuple(highs[u] for u in shared))
    if _ONLY_NUMBER.fullmatch(token) or not token[0].isdigit() and token[0] not in ".,":
        return None
    return _around(token, BAND) if _units_of(token) else None


def _said_of_range(wanted: Range) -> str:
    """A range in words, in the likeliest of its units: "20 µF to 24 µF", "450 V or more"."""
    unit, least, most = wanted.units[0], wanted.least[0], wanted.most[0]
    if least is None or most is None:
        limit = in_words(most if least is None else least, unit)
        return f"{limit} or {'less' if least is None else 'more'}"
    if wanted.middle:
        return in_words(wanted.middle[0], unit)
    return f"{in_words(least, unit)} to {in_words(most, unit)}"


def _around(token: str, share: float) -> Range:
    found = _units_of(token)
    return Range(
        tuple(unit for unit, _ in found),
        tuple(number * (1 - share) for _, number in found),
        tuple(number * (1 + share) for _, number in found),
        middle=tuple(number for _, number in found),
        word=fold(token) if share == BAND else "",
    )


def _units_of(token: str) -> list[tuple[str, float]]:
    """What a piece may mean: its own unit, or each in which it can be read. A number alone means nothing."""
    if _ONLY_NUMBER.fullmatch(token):
        return []
    if unit := _explicit(token):
        return [(unit, _read(token, unit) or 0.0)]
    found = ((unit, _read(token, unit)) for unit in _OF_PARTS)
    return [(unit, value) for unit, value in found if value is not None]


def _in(wanted: Range) -> Q:
    conditions = [
        _of_unit(unit, least, most)
        for unit, least, most in zip(wanted.units, wanted.least, wanted.most, strict=True)
    ]
    if wanted.word:
        conditions.append(Q(search__contains=f" {wanted.word} "))
    return reduce(or_, conditions)


def _of_unit(unit: str, least: float | None, most: float | None) -> Q:
    def within(field: str) -> Q:
        lower = Q() if least is None else Q(**{f"{field}__gte": least - abs(least) * _EDGE})
        return lower if most is None else lower & Q(**{f"{field}__lte": most + abs(most) * _EDGE})

    if unit == "ohm":
        return (Q(kind__in=[Kind.RESISTOR, Kind.POT]) & within("value")) | within("impedance")
    if unit == "A":
        return (Q(kind=Kind.FUSE) & within("value")) | within("amps")
    if unit == "F":
        return Q(kind=Kind.CAPACITOR) & within("value")
    if unit == "H":
        return Q(kind__in=[Kind.TRANSFORMER, Kind.OTHER]) & within("value")
    return within({"V": "volts", "W": "watts", "degC": "hottest", "%": "tolerance"}[unit])


def _has_words(words: str) -> Q:
    return reduce(and_, (Q(search__contains=f" {word}") for word in words.split()), Q())


def _has_type(name: str) -> Q:
    return Q(designation__istartswith=name) | _has_words(fold(name))
