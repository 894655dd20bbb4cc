"""Two kept worksheets of one kind side by side: what stood in their boxes, and what came of it."""

from dataclasses import dataclass

from calc.forms_worksheets import shown
from calc.models import KeptSheet
from calc.worksheets.sheet import Worksheet


@dataclass(frozen=True)
class Pair:
    """A line of the comparison; a side that has no such line is empty."""

    label: str
    first: str
    second: str
    first_verdict: str = "plain"
    second_verdict: str = "plain"

    @property
    def differs(self) -> bool:
        return self.first != self.second


@dataclass(frozen=True)
class Compared:
    boxes: tuple[Pair, ...]  # only those that differ
    lines: tuple[Pair, ...]


def compare(sheet: Worksheet | None, first: KeptSheet, second: KeptSheet) -> Compared:
    """Pair the lines of two kept worksheets by their labels, in the order of the first."""
    one = {line["label"]: line for line in first.answer["lines"]}
    two = {line["label"]: line for line in second.answer["lines"]}
    lines = tuple(
        Pair(
            label,
            one.get(label, {}).get("value", ""),
            two.get(label, {}).get("value", ""),
            one.get(label, {}).get("verdict", "plain"),
            two.get(label, {}).get("verdict", "plain"),
        )
        for label in dict.fromkeys([*one, *two])
    )
    before, after = _boxes(sheet, first), _boxes(sheet, second)
    boxes = tuple(
        Pair(label, before.get(label, ""), after.get(label, "")) for label in dict.fromkeys([*before, *after])
    )
    return Compared(tuple(pair for pair in boxes if pair.differs), lines)


def _boxes(sheet: Worksheet | None, kept: KeptSheet) -> dict[str, str]:
    if sheet is None:
        return dict(kept.said)
    said: dict[str, str] = {}
    for group in shown(sheet, kept.said):
        for box in group.boxes:
            said[box.box.label] = box.words
        for row in group.items:
            said |= {f"{group.rows.one} {row.number}, {box.box.label}": box.words for box in row.boxes}
    return said
