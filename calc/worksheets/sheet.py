"""What a worksheet is made of: boxes that are filled in, and an answer. Pure: values in, an answer out.

A worksheet is one module beside this one that ends in `SHEET = Worksheet(...)`. It names its boxes with their units
and limits, and a function that computes an answer from what was filled in by calling `calc.engine`. Reading what
was typed, the page, keeping it on a job, comparing and printing are the same for all and live outside.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Final

import pint

from calc.cautions import Caution
from calc.engine.errors import CircuitError
from calc.engine.quantities import (
    UNITS,
    QuantityError,
    band,
    is_number_alone,
    nominal,
    parse_measured,
    parse_quantity,
    show,
    split_rating,
    units,
    with_band,
)
from calc.worksheets.chart import Chart

MOST_WORDS: Final = 120
LONGEST_CAPTURE: Final = 2000
_PLUS_MINUS: Final = re.compile(r"(±|\+/-|\+-)")

Accuracies = Mapping[
    str, tuple[float, float]
]  # a unit to a meter's per cent of the reading and what is always there


class Kind(StrEnum):
    """What may stand in a box."""

    QUANTITY = "quantity"  # a value with a unit: a pint quantity
    WHOLE = "whole"  # a whole number: an int
    CHOICE = "choice"  # one of a few: its key, a str
    WORDS = "words"  # free text: a str
    TICK = "tick"  # yes or no: a bool
    CAPTURE = "capture"  # what the engine read out of an uploaded recording, as a text of its own: a str


class Verdict(StrEnum):
    """How a line of an answer is to be taken. The page shows each by word, shape and colour."""

    PLAIN = "plain"  # a figure, nothing to judge
    GOOD = "good"
    WATCH = "watch"  # not wrong, worth a look
    BAD = "bad"  # out of limits: don't go on
    UNSURE = "unsure"  # too close to call, or not enough is known


@dataclass(frozen=True)
class Box:
    """One box of a worksheet.

    `least` and `most` are in the box's unit and included; `above_zero` refuses zero too. `measured` boxes are read
    off a meter: they take ± ("462 ± 3", "4k7 ± 1 %") and are filled from the job's readings whose place matches
    `points`, never from an earlier visit. The others are facts of the circuit: offered again the next time the same
    gear, or gear of the same model, comes in.
    `only` asks for the box only where another box says one of some words: ("bias", ("fixed",)).
    """

    name: str
    label: str
    kind: Kind = Kind.QUANTITY
    unit: str = ""  # a key of the engine's UNITS
    initial: str = ""  # as somebody would type it
    needed: bool = True
    help: str = ""
    least: float | None = None
    most: float | None = None
    above_zero: bool = False
    choices: tuple[tuple[str, str], ...] = ()
    bare: str = ""  # what a number alone is in, where that isn't the unit: "mA", "µF", "kΩ"
    measured: bool = False
    points: str = ""  # a regular expression on where a reading was taken
    rated: str = ""  # the box beside it that takes the rating written after the value: 22u/450V
    only: tuple[str, tuple[str, ...]] | None = None

    @property
    def sign(self) -> str:
        """The unit as it stands at the end of the box."""
        return self.bare or (UNITS[self.unit].symbol if self.unit else "")

    def asked(self, said: Mapping[str, str]) -> bool:
        """Say whether the box is asked for, by what stands in the choice that it hangs on."""
        return self.only is None or said.get(self.only[0], "") in self.only[1]

    def read(self, text: str, accuracies: Accuracies | None = None) -> Any:
        """Return the value of what was typed; None for an empty box that may be empty.

        A measured value without a ± of its own gets the meter's, by its unit.

        Raises:
            BoxError: with the sentence for beside the box.
        """
        text = text.strip()
        if self.kind is Kind.TICK:
            return text in ("on", "true", "1", "yes")
        if not text:
            if self.needed:
                raise Missing(self.name, self._ask())
            return "" if self.kind in (Kind.WORDS, Kind.CHOICE, Kind.CAPTURE) else None
        if self.kind is Kind.CHOICE:
            if text not in dict(self.choices):
                raise BoxError(self.name, "Pick one of these.")
            return text
        if self.kind in (Kind.WORDS, Kind.CAPTURE):
            longest = MOST_WORDS if self.kind is Kind.WORDS else LONGEST_CAPTURE
            if len(text) > longest:
                raise BoxError(self.name, f"Keep it under {longest} characters.")
            return text
        return self._whole(text) if self.kind is Kind.WHOLE else self._quantity(text, accuracies or {})

    def _ask(self) -> str:
        if self.kind is Kind.CHOICE:
            return "Pick one of these."
        if self.kind is Kind.QUANTITY:
            return f"Write a value, like {UNITS[self.unit].example}."
        if self.kind is Kind.CAPTURE:
            return "Send a recording first."
        return "Write something here."

    def _whole(self, text: str) -> int:
        if not re.fullmatch(r"[0-9]{1,9}", text):
            raise BoxError(self.name, "Write a whole number, like 2.")
        self._within(int(text), str)
        return int(text)

    def _quantity(self, text: str, accuracies: Accuracies) -> pint.Quantity:
        if self.bare:
            text = _with_unit(text, self.bare)
        try:
            value = (parse_measured if self.measured else parse_quantity)(text, self.unit)
        except QuantityError as why:
            raise BoxError(self.name, str(why)) from None
        name = "percent" if self.unit == "%" else self.unit
        self._within(nominal(value), lambda limit: show(units.Quantity(limit, name)))
        if self.measured and self.unit in accuracies and not band(value):
            percent, always = accuracies[self.unit]
            value = with_band(value, abs(nominal(value)) * percent / 100 + always)
        return value

    def _within(self, number: float, shown: Callable[[float], str]) -> None:
        if self.above_zero and number <= 0:
            raise BoxError(self.name, "This must be more than zero.")
        if self.least is not None and number < self.least:
            raise BoxError(self.name, f"That is too little. It must be at least {shown(self.least)}.")
        if self.most is not None and number > self.most:
            raise BoxError(self.name, f"That is too much. It can be {shown(self.most)} at most.")


def _with_unit(text: str, unit: str) -> str:
    """Put a unit to numbers alone: 35 is 35 mA, 35 ± 1 is 35 mA ± 1 mA. What has its own keeps it."""
    head, *tail = _PLUS_MINUS.split(text)
    ends_bare = not tail or is_number_alone(tail[-1])
    if not is_number_alone(head) or not (ends_bare or tail[-1].rstrip().endswith("%")):
        return text
    return "".join(f"{part.rstrip()}{unit}" if is_number_alone(part) else part for part in (head, *tail))


@dataclass(frozen=True)
class Rows:
    """The same boxes several times: tubes, sections, drivers. `one` is what a row is called: "Tube"."""

    name: str
    one: str
    boxes: tuple[Box, ...]
    least: int = 1
    most: int = 8
    initial: int = 1


@dataclass(frozen=True)
class Group:
    """Boxes that belong together, under a heading."""

    title: str
    boxes: tuple[Box, ...] = ()
    rows: Rows | None = None
    help: str = ""
    only: tuple[str, tuple[str, ...]] | None = None


@dataclass(frozen=True)
class Line:
    """A figure of an answer."""

    label: str
    value: str  # with its unit, as `show` writes it
    verdict: Verdict = Verdict.PLAIN
    said: str = ""  # a few words beside it: "72 % of 30 W, design maximum"


@dataclass(frozen=True)
class Row:
    """A row of a table."""

    cells: tuple[str, ...]
    verdict: Verdict = Verdict.PLAIN


@dataclass(frozen=True)
class Table:
    """Figures side by side. The first column names the row."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Answer:
    """What a worksheet answers.

    `said` is the whole answer in a sentence or two, that a tired reader can act on. `notes` name the method, its
    assumptions and the published source.
    """

    said: str
    verdict: Verdict = Verdict.PLAIN
    lines: tuple[Line, ...] = ()
    tables: tuple[Table, ...] = ()
    charts: tuple[Chart, ...] = ()
    cautions: tuple[Caution, ...] = ()
    notes: tuple[str, ...] = ()


Filled = Mapping[str, Any]  # a box's name to its value; the name of rows to a list of such mappings


@dataclass(frozen=True)
class Worksheet:
    """One electrical computation.

    `compute` gets every box that is asked for; one that isn't is None. It raises `CircuitError` (or `BoxError`, to
    point at a box) with a sentence for what can't be.
    `cautions` stand on the page whatever is filled in. `ours` are boxes that the shop's owner fills in once for all,
    like the limits of a safety test: nobody at the bench can type into them, `compute` gets them like the others.
    """

    slug: str
    title: str
    said: str  # what it answers, in one sentence, for the list of worksheets
    groups: tuple[Group, ...]
    compute: Callable[[Filled], Answer]
    cautions: tuple[Caution, ...] = ()
    ours: tuple[Box, ...] = ()
    powered: tuple[str, ...] = ()  # the boxes, of rows too, whose values are measured while the gear is on
    order: int = 50
    icon: str = "reading"

    def boxes(self) -> list[tuple[Box, Group]]:
        """Every single box with its group; those of rows are not among them."""
        return [(box, group) for group in self.groups for box in group.boxes]


class BoxError(ValueError):
    """What stands in a box can't be; `box` is its name on the form, the message is for beside it."""

    def __init__(self, box: str, message: str) -> None:
        super().__init__(message)
        self.box = box


class Missing(BoxError):
    """A needed box is empty: nothing is wrong yet while somebody is typing."""


@dataclass(frozen=True)
class Read:
    """What was typed, as values; `wrong` has a sentence for each box that can't be read, `missing` the empty ones."""

    values: dict[str, Any] = field(default_factory=dict)
    wrong: dict[str, str] = field(default_factory=dict)
    missing: dict[str, str] = field(default_factory=dict)

    @property
    def is_whole(self) -> bool:
        return not self.wrong and not self.missing


def row_name(rows: Rows, number: int, box: Box) -> str:
    """The name of a row's box on the form: tube-2-cathode. Rows are counted from 1."""
    return f"{rows.name}-{number}-{box.name}"


def count_name(rows: Rows) -> str:
    """The name of the hidden box that says how many rows there are."""
    return f"{rows.name}-count"


def how_many(rows: Rows, said: Mapping[str, str]) -> int:
    """How many rows the form has, within the worksheet's limits whatever was sent."""
    text = said.get(count_name(rows), "")
    count = int(text) if re.fullmatch(r"[0-9]{1,3}", text) else rows.initial
    return min(max(count, rows.least), rows.most)


def read(sheet: Worksheet, said: Mapping[str, str], accuracies: Accuracies | None = None) -> Read:
    """Read all boxes of a worksheet from what was typed. Never raises for what somebody typed."""
    found = Read()
    said = _with_ratings(sheet, said)
    for box in sheet.ours:
        said = {box.name: box.initial, **said}
        found.values[box.name] = _one(box, box.name, said, found, None)
    for group in sheet.groups:
        shown = group.only is None or said.get(group.only[0], "") in group.only[1]
        for box in group.boxes:
            found.values[box.name] = (
                _one(box, box.name, said, found, accuracies) if shown and box.asked(said) else None
            )
        if group.rows:
            found.values[group.rows.name] = _rows(group.rows, said, found, accuracies) if shown else []
    return found


def _with_ratings(sheet: Worksheet, said: Mapping[str, str]) -> Mapping[str, str]:
    """Put the ratings that were written after values into the boxes beside them, where those are empty."""
    moved: dict[str, str] = {}

    def move(boxes: tuple[Box, ...], name_of: Callable[[Box], str]) -> None:
        beside = {box.name: box for box in boxes}
        for box in boxes:
            rating = beside.get(box.rated)
            if rating is None:
                continue
            value, after = split_rating(said.get(name_of(box), ""), rating.unit)
            if after and not said.get(name_of(rating), "").strip():
                moved[name_of(box)], moved[name_of(rating)] = value, after

    for group in sheet.groups:
        move(group.boxes, lambda box: box.name)
        if rows := group.rows:
            for number in range(1, how_many(rows, said) + 1):
                move(rows.boxes, lambda box, rows=rows, n=number: row_name(rows, n, box))
    return {**said, **moved}


def _rows(
    rows: Rows, said: Mapping[str, str], found: Read, accuracies: Accuracies | None
) -> list[dict[str, Any]]:
    values = []
    for number in range(1, how_many(rows, said) + 1):
        here = {box.name: said.get(row_name(rows, number, box), "") for box in rows.boxes}
        values.append(
            {
                box.name: _one(box, row_name(rows, number, box), said, found, accuracies)
                if box.asked({**said, **here})
                else None
                for box in rows.boxes
            }
        )
    return values


def _one(box: Box, name: str, said: Mapping[str, str], found: Read, accuracies: Accuracies | None) -> Any:
    try:
        return box.read(said.get(name, ""), accuracies)
    except Missing as why:
        found.missing[name] = str(why)
    except BoxError as why:
        found.wrong[name] = str(why)
    return None


def answer(
    sheet: Worksheet, said: Mapping[str, str], accuracies: Accuracies | None = None
) -> tuple[Read, Answer | None]:
    """Read what was typed and compute; the answer is None where a box is empty or wrong, or the circuit can't be.

    A `CircuitError` is put in `wrong` under the empty name, a `BoxError` of the computation under its box's name.
    """
    found = read(sheet, said, accuracies)
    if not found.is_whole:
        return found, None
    try:
        return found, sheet.compute(found.values)
    except BoxError as why:
        found.wrong[why.box] = str(why)
    except (CircuitError, QuantityError) as why:
        found.wrong[""] = str(why)
    except (ZeroDivisionError, OverflowError):
        found.wrong[""] = (
            "These values are too far apart to work anything out. Check their units and prefixes."
        )
    return found, None
