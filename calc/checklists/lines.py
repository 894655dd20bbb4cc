"""A checklist and its lines, as values."""

from dataclasses import dataclass
from enum import StrEnum
from math import isclose, isfinite
from typing import Final

from calc.engine.quantities import UNITS, show, units

NO_SOURCE: Final = "common practice, no source"
_DIGITS: Final = 6  # of a value, at most


class Stage(StrEnum):
    """Where in the work a list belongs. In this order; the gates rest on three of them."""

    BEFORE_OPENING = "before-opening"
    BEFORE_POWER = "before-power"  # gates readings that are taken under power
    FIRST_POWER = "first-power"
    LIVE = "live"
    EARTH = "earth"
    HANDLING = "handling"  # batteries, tubes of pictures, old materials
    AFTER_REPAIR = "after-repair"  # gates ready
    SOAK = "soak"  # gates ready


HOLDS_READY: Final = (Stage.AFTER_REPAIR, Stage.SOAK)  # a job isn't ready without these, or the owner's word
GATING: Final = (Stage.BEFORE_POWER, *HOLDS_READY)


class Has(StrEnum):
    """What a piece of gear has: what a list applies to."""

    MAINS = "mains"
    NO_MAINS = "no-mains"
    VALVES = "valves"
    SOLID_STATE = "solid-state"
    EARTHED = "earthed"  # class I
    CLASS_II = "class-ii"
    TWO_WIRE = "two-wire"  # old gear, two wires and no mark
    LITHIUM = "lithium"
    LEAD_ACID = "lead-acid"
    CRT = "crt"
    TAPE_MOTOR = "tape-motor"
    LAMP_OPTO = "lamp-opto"
    OLD_MATERIALS = "old-materials"  # asbestos, beryllia
    MOULD = "mould"
    LEAD_SOLDER = "lead-solder"


class Ask(StrEnum):
    """What a line asks for."""

    LOOK = "look"  # do it, or look; then say how it was
    READING = "reading"
    SHEET = "sheet"  # a worksheet of this job whose verdict is good


@dataclass(frozen=True)
class Line:
    """One line of a list.

    `key` names it through all versions of its list. A READING line is in `unit` (a key of the engine's `UNITS`), and
    keeps to `at_least` and `at_most` of that unit, both included; `powered` says that it is taken under power.
    `drift_of` names an earlier READING line: this one may differ from it by `drift` per cent. A SHEET line names a
    worksheet. `wait` are the seconds that must have passed since the line `since` was signed, or since the run began.
    `fixed`: a gate rests on it, so the shop can't take it off or change what it asks.
    """

    key: str
    text: str
    why: str = ""
    source: str = NO_SOURCE
    ask: Ask = Ask.LOOK
    if_not: str = ""  # the next step where it isn't right
    may_not_apply: bool = False
    point: str = ""
    unit: str = ""
    at_least: float | None = None
    at_most: float | None = None
    powered: bool = False
    drift_of: str = ""
    drift: float = 0.0
    sheet: str = ""
    wait: int = 0
    since: str = ""
    fixed: bool = False

    @property
    def limit(self) -> str:
        """What the reading must keep to, in words: `at most 50 V`. Empty where nothing is asked of it."""
        said = []
        if self.at_least is not None:
            said.append(f"at least {self.shown(self.at_least)}")
        if self.at_most is not None:
            said.append(f"at most {self.shown(self.at_most)}")
        if self.drift_of:
            said.append(f"within {self.drift:g} % of the reading at the start")
        return ", ".join(said)

    @property
    def symbol(self) -> str:
        """The sign of its unit."""
        return UNITS[self.unit].symbol if self.unit else ""

    def shown(self, value: float) -> str:
        """A value of this line as people read it, with no fewer digits than tell it from its limit."""
        digits = next((n for n in range(1, _DIGITS) if isclose(float(f"{value:.{n - 1}e}"), value)), _DIGITS)
        return show(units.Quantity(value, "percent" if self.unit == "%" else self.unit), digits)


@dataclass(frozen=True)
class Checklist:
    """A list: where in the work it belongs, what gear it applies to (any of `applies`; empty: all), its lines."""

    slug: str
    name: str
    said: str
    stage: Stage
    lines: tuple[Line, ...]
    applies: frozenset[Has] = frozenset()
    retired: bool = False

    def __post_init__(self) -> None:
        keys = [line.key for line in self.lines]
        if len(set(keys)) != len(keys):
            raise ValueError(f"{self.slug}: two lines have the same key.")
        for number, line in enumerate(self.lines):
            for named in (line.since, line.drift_of):
                if named and named not in keys[:number]:
                    raise ValueError(f"{self.slug}, {line.key}: {named!r} is no line above it.")
            limits = [number for number in (line.at_least, line.at_most) if number is not None]
            if not all(isfinite(number) for number in limits) or limits != sorted(limits):
                raise ValueError(f"{self.slug}, {line.key}: no value keeps to its limits.")
            if line.ask is Ask.READING and line.unit not in UNITS:
                raise ValueError(f"{self.slug}, {line.key}: {line.unit!r} is no unit of ours.")
            if line.ask is Ask.SHEET and not line.sheet:
                raise ValueError(f"{self.slug}, {line.key}: which worksheet?")

    @property
    def gates(self) -> bool:
        """Whether a gate rests on it."""
        return self.stage in GATING

    def line(self, key: str) -> Line:
        """The line of that key.

        Raises:
            KeyError: there is none.
        """
        for line in self.lines:
            if line.key == key:
                return line
        raise KeyError(key)

    def needed_by(self, gear: frozenset[Has]) -> bool:
        """Whether gear that has these things needs it."""
        return not self.retired and (not self.applies or bool(self.applies & gear))
