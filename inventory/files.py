"""Reading a table of parts out of a file, whatever program wrote it. Pure: bytes in, lines out.

The file is CSV as RFC 4180 describes it; what programs make of that is read too: other separators, a byte order
mark, UTF-16, the Windows code page. What was mended is said. What can't be read is said line by line, and a file
that is no such table is refused as a whole.
"""

import csv
import io
import re
import unicodedata
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final

from calc.engine.quantities import LONGEST, QuantityError, parse_quantity
from intake.folding import fold
from inventory.models.parts import Kind, Part
from inventory.values import unit_of
from shop import csv_out, money
from shop.errors import Refused

MOST_BYTES: Final = 1_000_000
MOST_LINES: Final = 1_000  # three or four seconds in which nobody else writes
MOST_PIECES: Final = 1_000_000
LONGEST_CELL: Final = 400


class FileRefused(Refused):
    """The file as a whole can't be read. The sentence says why, and what to do."""


@dataclass(frozen=True)
class Column:
    """A column of the table: what it fills, and what may stand at its head."""

    name: str
    head: str  # as we write it
    also: tuple[str, ...] = ()  # as others do


COLUMNS: Final = (
    Column("number", "part no.", ("part number", "number", "no")),
    Column("kind", "kind", ("category",)),
    Column("name", "what it is", ("name", "description", "part")),
    Column("value", "value"),
    Column("tolerance", "tolerance, %", ("tolerance", "tolerance %")),
    Column("volts", "rated volts", ("volts", "voltage", "rated voltage")),
    Column("watts", "rated watts", ("watts", "power", "rated power")),
    Column("amps", "rated amperes", ("amperes", "amps", "current", "rated current")),
    Column("impedance", "impedance, Ω", ("impedance", "impedance ohm", "impedance ohms")),
    Column("hottest", "rated temperature, °C", ("rated temperature", "temperature")),
    Column("designation", "type", ("designation",)),
    Column("technology", "technology"),
    Column("leads", "leads"),
    Column("taper", "taper"),
    Column("shaft", "shaft"),
    Column("make", "make", ("maker", "manufacturer")),
    Column("note", "note", ("notes", "remark", "remarks")),
    Column("drawer", "drawer", ("location", "place")),
    Column("quantity", "how many", ("quantity", "qty", "count", "stock", "on hand")),
    Column("cost", "cost of one", ("cost", "unit cost")),
    Column("price", "price of one", ("price", "unit price")),
    Column("keep", "reorder at", ("reorder point", "minimum", "min")),
)
_BY_HEAD: Final = {
    fold(head): column for column in COLUMNS for head in (column.head, column.name, *column.also)
}
_WORDS: Final = ("name", "designation", "technology", "leads", "taper", "shaft", "make", "note")
_NUMBERS: Final = ("tolerance", "volts", "watts", "amps", "impedance", "hottest")
_SEPARATORS: Final = (",", ";", "\t")
_NOT_TEXT: Final = (
    (b"PK\x03\x04", "a spreadsheet’s own file"),
    (b"\xd0\xcf\x11\xe0", "a spreadsheet’s own file"),
    (b"%PDF", "a PDF"),
    (b"\x1f\x8b", "a packed file"),
)


@dataclass
class PartLine:
    """A line of the file. `said` has what its cells say, by column; an empty cell says nothing."""

    line: int
    said: dict[str, Any] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)

    @property
    def called(self) -> str:
        return str(self.said.get("name", ""))


@dataclass(frozen=True)
class PartFile:
    """What a file says: its lines, and what was mended or left out."""

    lines: tuple[PartLine, ...]
    notes: tuple[str, ...]


def read_parts(data: bytes, currency: str) -> PartFile:
    """Read a file of parts.

    Raises:
        FileRefused: it is too long, no text, no table, or its head can't be told.
    """
    text, notes = to_text(data)
    head, rows = _table(text)
    columns, more = _columns(head)
    lines: list[PartLine] = []
    for number, cells in rows:
        if not any(cell.strip() for cell in cells):
            continue
        if len(lines) == MOST_LINES:
            raise FileRefused(
                f"The file has more than {MOST_LINES:,} lines. Cut it into several, each with the head on top."
            )
        lines.append(_line(number, cells, columns, currency))
    if not lines:
        raise FileRefused("The file has a head, and no line under it.")
    _refuse_doubles(lines)
    return PartFile(tuple(lines), (*notes, *more))


def to_text(data: bytes) -> tuple[str, list[str]]:
    """The text of a file, and what had to be guessed.

    Raises:
        FileRefused: it is empty, too long, or no text.
    """
    if len(data) > MOST_BYTES:
        raise FileRefused("The file is larger than 1 MB. Cut it into several, each with the head on top.")
    for start, what in _NOT_TEXT:
        if data.startswith(start):
            raise FileRefused(f"This is {what}. Open it in the program that made it, and save it as CSV.")
    text, notes = _decoded(data)
    if "\0" in text:
        raise FileRefused("This is not a text file. Save the table as CSV, in UTF-8.")
    if not text.strip():
        raise FileRefused("The file is empty.")
    return text, notes


def _decoded(data: bytes) -> tuple[str, list[str]]:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return data.decode("utf-16"), []
        except UnicodeDecodeError as why:
            raise FileRefused("The file begins as UTF-16, and isn't. Save it as CSV, in UTF-8.") from why
    try:
        return data.decode("utf-8-sig"), []
    except UnicodeDecodeError:
        pass
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError as why:
        raise FileRefused("The letters of the file can't be told. Save it as CSV, in UTF-8.") from why
    return text, [
        "The file isn't in UTF-8. It was read as Windows writes it: look at signs like µ, Ω and accents."
    ]


def _table(text: str) -> tuple[list[str], Iterator[tuple[int, list[str]]]]:
    """The head, and the rows under it with the number of the line that each begins on."""

    def known(separator: str) -> int:
        try:
            return sum(fold(head) in _BY_HEAD for head in next(_rows(text, separator))[1])
        except FileRefused:  # by the wrong separator, quotes stand in the middle of a cell
            return -1

    # The separator by which most heads are known; the comma where that says nothing.
    rows = _rows(text, max(_SEPARATORS, key=known))
    return next(rows)[1], rows


def _rows(text: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    begins = 1
    try:
        for row in reader:
            if row or begins == 1:
                yield begins, row
            begins = reader.line_num + 1
    except csv.Error as why:
        raise FileRefused(
            f"The quotes of line {begins} don't close, or stand in the middle of a cell. A cell with a quote in it"
            ' is written "like ""this""".'
        ) from why


def _columns(head: list[str]) -> tuple[list[Column | None], list[str]]:
    """What each column fills, and what is said of those that fill nothing.

    Raises:
        FileRefused: no column says what the parts are, or two fill the same.
    """
    columns = [_BY_HEAD.get(fold(each)) for each in head]
    known = [column for column in columns if column]
    if not any(column.name in ("name", "number") for column in known):
        wanted = ", ".join(f"“{column.head}”" for column in COLUMNS)
        raise FileRefused(
            f"The first line must name the columns, and one must be “what it is”. They may be: {wanted}."
        )
    for column in known:
        if known.count(column) > 1:
            raise FileRefused(
                f"Two columns of the file are read as “{column.head}”. Take one out, or rename it."
            )
    left_out = [
        _short(each) for each, column in zip(head, columns, strict=True) if column is None and each.strip()
    ]
    if not left_out:
        return columns, []
    names = ", ".join(f"“{each}”" for each in left_out[:12])
    return columns, [f"Columns that aren't known are left out: {names}."]


def _line(number: int, cells: list[str], columns: list[Column | None], currency: str) -> PartLine:
    line = PartLine(number)
    if any(cell.strip() for cell in cells[len(columns) :]):
        line.wrong.append(
            f"It has {len(cells)} cells, and the head has {len(columns)}. A cell with the separator in it needs quotes"
            " around it."
        )
        return line
    texts: dict[str, str] = {}
    for column, cell in zip(columns, cells, strict=False):
        if column is None:
            continue
        try:
            text = _cell(cell)
        except ValueError as why:
            line.wrong.append(f"{column.head}: {why}")
            continue
        if text:
            texts[column.name] = text
    _read_cells(line, texts, currency)
    return line


def _cell(cell: str) -> str:
    """A cell's text without what spreadsheets and keyboards put around it.

    Raises:
        ValueError: it is a formula, or too long.
    """
    plain = "".join(c if c.isprintable() or c.isspace() else "" for c in cell)
    plain = " ".join(unicodedata.normalize("NFC", plain).split())
    if plain[:1] == "'" and csv_out.cell(plain[1:]) == plain:
        return _not_too_long(plain[1:])  # our own guard against formulas, taken off again
    if plain[:1] in ("=", "@", "＝", "＠") or (plain[:1] in ("+", "-") and re.search(r"[|!(]", plain)):
        raise ValueError(f"“{_short(plain)}” is a formula. Write what it comes to.")
    return _not_too_long(plain)


def _not_too_long(text: str) -> str:
    if len(text) > LONGEST_CELL:
        raise ValueError(f"“{_short(text)}” is longer than {LONGEST_CELL} characters.")
    return text


def _read_cells(line: PartLine, texts: dict[str, str], currency: str) -> None:
    """Read each cell as what its column takes; what can't be read is said, and the others are read all the same."""
    readers: dict[str, Callable[[str], Any]] = {
        "number": _number,
        "kind": _kind,
        "drawer": lambda text: _words(text, 20),
        "quantity": _pieces,
        "cost": lambda text: read_amount(text, currency, places=6),
        "price": lambda text: read_amount(text, currency, places=3),
        "keep": _whole,
        **{name: _of_part(name) for name in _WORDS},
        **{name: _in_unit(unit_of("", name)) for name in _NUMBERS},
    }
    for column in COLUMNS:
        if column.name not in texts or column.name == "value":
            continue
        try:
            line.said[column.name] = readers[column.name](texts[column.name])
        except (ValueError, Refused) as why:
            line.wrong.append(f"{column.head}: {why}")
    if "value" in texts:
        line.said["value"] = texts["value"]  # which unit it is in, the kind says: see `read_value`
    if "number" not in texts and not texts.get("name") and not line.wrong:
        line.wrong.append("It doesn't say what it is.")


def read_value(text: str, kind: str) -> float:
    """Read the value of a part of some kind, in SI units.

    Raises:
        ValueError: the kind has no value, or it can't be read. The text is a sentence.
    """
    unit = unit_of(kind, "value")
    if unit is None:
        raise ValueError(f"A {Kind(kind).label} has no value here. Put it into what it is.")
    return _in_unit(unit)(text)


def read_amount(text: str, currency: str, *, places: int) -> Decimal:
    """Read what one costs: an amount of money, or one with more decimals, for parts cost fractions of a cent.

    `0.0042` and `1.2345` can be read in one way only; `1.234` can't, and is refused as other amounts are.

    Raises:
        ValueError: it can't be read. The text is a sentence.
    """
    finer = re.fullmatch(r"(0?[.,][0-9]{3,6}|[0-9]{1,7}[.,][0-9]{4,6})", text)
    if finer:
        amount = Decimal(text.replace(",", "."))
        if amount != round(amount, places):
            raise ValueError(f"“{text}” has more than {places} decimals.")
        return amount
    try:
        return money.parse_amount(text, currency)
    except money.AmountError as why:
        if re.fullmatch(r"[0-9]{1,3}[.,][0-9]{3}", text):
            whole, rest = re.split("[.,]", text)
            raise ValueError(
                f"“{text}” can be read in two ways. Write {whole}{rest}, or {whole}.{rest}0."
            ) from why
        raise ValueError(str(why)) from why


def _number(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,9}", text):
        raise ValueError(f"“{_short(text)}” is no part number. Leave it empty for a new part.")
    return int(text)


def _kind(text: str) -> str:
    folded = fold(text)
    for kind in Kind:
        if folded in (fold(kind.label), fold(kind.label) + "s"):
            return kind.value
    kinds = ", ".join(kind.label for kind in Kind)
    raise ValueError(f"“{_short(text)}” is none of these: {kinds}.")


def _pieces(text: str) -> int | str:
    """How many there are; of a part that isn't counted plenty, low or out."""
    word = text.lower()
    if word in Part.Level.values:
        return word
    return _whole(text)


def _whole(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,9}([.,]0{1,2})?", text):
        below = " It can't be below zero." if re.fullmatch(r"[-−–] ?[0-9]+", text) else ""
        raise ValueError(f"“{_short(text)}” is no whole number.{below}")
    number = int(re.split("[.,]", text)[0])
    if number > MOST_PIECES:
        raise ValueError(f"{number:,} is more than anybody has. Count again.")
    return number


def _of_part(name: str) -> Callable[[str], str]:
    longest = Part._meta.get_field(name).max_length
    return lambda text: _words(text, longest)


def _words(text: str, longest: int) -> str:
    if len(text) > longest:
        raise ValueError(f"“{_short(text)}” is longer than {longest} characters.")
    return text


def _in_unit(unit: str) -> Callable[[str], float]:
    def read(text: str) -> float:
        if len(text) > LONGEST:
            raise ValueError(f"“{_short(text)}” is too long for a value.")
        try:
            number = float(parse_quantity(text, unit).magnitude)
        except QuantityError as why:
            raise ValueError(str(why)) from why
        if number < 0 and unit != "degC":
            raise ValueError(f"“{text}” is below zero.")
        return number

    return read


def same(text: str) -> str:
    """A text by which two are told to say the same. Signs count: 2.2k isn't 22k."""
    return " ".join(text.casefold().split())


def _refuse_doubles(lines: list[PartLine]) -> None:
    """A part may stand on one line: of two that name the same, nobody knows which is right."""
    first: dict[Any, int] = {}
    for line in lines:
        key = line.said.get("number") or (
            line.said.get("kind", ""),
            same(line.called),
            same(line.said.get("make", "")),
        )
        if line.wrong:
            continue
        if key in first:
            line.wrong.append(f"The same part stands on line {first[key]} already.")
        else:
            first[key] = line.line


def _short(text: str) -> str:
    return text if len(text) <= 40 else f"{text[:39]}…"
