"""Labels for drawers and parts: what stands on them, and where on a sheet. Pure: rows in, labels out.

A label says in letters what its code says in squares: at the bench it is read by eye ten times for one scan.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from inventory.models import Drawer, Part

NAMED: Final = 3  # parts of a drawer that its label names; more can't be read on it
SHORT: Final = 6  # characters of a code that fit in its largest size
MEDIUM: Final = 11


@dataclass(frozen=True)
class Label:
    """One label. `code` is the large line, `address` what its QR code holds."""

    code: str
    lines: tuple[str, ...]
    address: str
    is_drawer: bool = True

    @property
    def size(self) -> str:
        """How large the code can be printed, so that it stays on its label: a class of its style sheet."""
        if len(self.code) <= SHORT:
            return "short"
        return "medium" if len(self.code) <= MEDIUM else "long"


@dataclass(frozen=True)
class Paper:
    """What labels are printed on. `name` is the class of the style sheet, which holds the same measures."""

    name: str
    columns: int
    rows: int

    @property
    def on_a_page(self) -> int:
        return self.columns * self.rows


# Measures in static/css/paper.css: 70 × 37 mm and 4 × 2 in are sold by many for the two sheets, 62 mm is the width of
# the roll that gear tags are printed on (common practice, no source).
SHEETS: Final = {"A4": Paper("labels-a4", 3, 8), "Letter": Paper("labels-letter", 2, 5)}
ROLL: Final = Paper("labels-62", 1, 1)


def of_drawer(drawer: Drawer, parts: Iterable[Part], address: str) -> Label:
    """The label of a drawer: its code, and what is in it or else where it stands."""
    names = [str(part) for part in parts]
    lines = names[:NAMED]
    if len(names) > NAMED:
        lines = [*names[: NAMED - 1], f"and {len(names) - NAMED + 1} more"]
    return Label(drawer.code, tuple(lines or filter(None, [drawer.place, drawer.note])), address)


def of_part(part: Part, address: str) -> Label:
    """The label of a bag or a box: the part, and the drawer that it goes back to."""
    lines = [part.make, part.note, f"Drawer {part.drawer.code}" if part.drawer else ""]
    return Label(part.name, tuple(filter(None, lines)), address, is_drawer=False)


def pages(labels: Sequence[Label], paper: Paper, *, skip: int = 0) -> list[list[Label | None]]:
    """Lay labels out on pages, row by row. `skip` is how many of the first sheet are used already: left empty."""
    cells: list[Label | None] = [*[None] * (skip % paper.on_a_page), *labels]
    return [cells[at : at + paper.on_a_page] for at in range(0, len(cells), paper.on_a_page)]
