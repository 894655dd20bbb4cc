"""Pictures of figures: where each bar, line and word goes, in the picture's own units. Pure; a template draws it.

Bars begin at zero, so that their lengths can be compared. What a bar or a word looks like is a class in the style
sheet: the picture has no colours of its own.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

WIDTH: Final = 720
_HEAD, _FOOT, _LEFT = 28, 30, 64
_WIDEST_BAR: Final = 64.0
_LINE: Final = 40  # of a picture that lies: the height of one bar with its words


@dataclass(frozen=True)
class Box:
    """A bar."""

    x: float
    y: float
    width: float
    height: float
    look: str = "chart-bar"


@dataclass(frozen=True)
class Stroke:
    """A line: of the scale, or of a spread."""

    x1: float
    y1: float
    x2: float
    y2: float
    look: str = "chart-rule"


@dataclass(frozen=True)
class Said:
    """Words. `anchor` is SVG's: start, middle, end."""

    x: float
    y: float
    words: str
    anchor: str = "middle"
    look: str = "chart-soft"


@dataclass(frozen=True)
class Picture:
    """What is drawn, the scale first."""

    width: float
    height: float
    boxes: list[Box] = field(default_factory=list)
    strokes: list[Stroke] = field(default_factory=list)
    words: list[Said] = field(default_factory=list)
    legend: tuple[str, str] | None = None  # what the first and the second bar of each pair are


@dataclass(frozen=True)
class Bar:
    """A figure to be drawn. `second` is a figure beside it; `low` and `high` are the ends of a spread."""

    label: str
    value: float | None
    said: str = ""
    second: float | None = None
    second_said: str = ""
    low: float | None = None
    high: float | None = None


def round_up(value: float) -> float:
    """Return the end of a scale: a number with one digit, of 1, 2, 4, 6, 8, that is no smaller."""
    if value <= 0:
        return 1
    unit = 10.0 ** (len(str(int(value))) - 1) if value >= 1 else 1.0
    for step in (1, 2, 4, 6, 8, 10):
        if value <= step * unit:
            return step * unit
    return 10 * unit


def upright(
    bars: Sequence[Bar], *, scale: Callable[[float], str] = lambda v: f"{v:g}", height: int = 260
) -> Picture:
    """Bars beside each other: what happened in each stretch of time. Below zero they hang."""
    values = [v for b in bars for v in (b.value, b.high) if v is not None]
    top = round_up(max(values, default=0))
    bottom = -round_up(-min(values)) if values and min(values) < 0 else 0.0
    floor = height - _FOOT

    def at(value: float) -> float:
        return round(floor - (value - bottom) / (top - bottom) * (floor - _HEAD), 1)

    picture = Picture(WIDTH, height)
    marks = (bottom, bottom / 2, 0.0, top / 2, top) if bottom else (0.0, top / 2, top)
    for value in marks:
        picture.strokes.append(Stroke(_LEFT - 6, at(value), WIDTH, at(value)))
        picture.words.append(Said(_LEFT - 12, at(value) + 4, scale(value), "end"))
    each = (WIDTH - _LEFT) / max(len(bars), 1)
    wide = min(each * 0.68, _WIDEST_BAR)
    every = -(-len(bars) // 16)  # labels that would run into each other are left out
    for n, bar in enumerate(bars):
        middle = round(_LEFT + each * (n + 0.5), 1)
        if n % every == 0:
            picture.words.append(Said(middle, height - 8, bar.label))
        if bar.value is None:
            continue
        high, low = at(max(bar.value, 0)), at(min(bar.value, 0))
        picture.boxes.append(Box(round(middle - wide / 2, 1), high, round(wide, 1), round(low - high, 1)))
        if bar.low is not None and bar.high is not None:
            picture.strokes.append(Stroke(middle, at(bar.low), middle, at(bar.high), "chart-spread"))
            for end in (bar.low, bar.high):
                picture.strokes.append(Stroke(middle - 5, at(end), middle + 5, at(end), "chart-spread"))
        if bar.said and every == 1 and len(bars) <= 14:
            top_of = at(bar.high) if bar.high is not None else high
            picture.words.append(Said(middle, round(top_of - 6, 1), bar.said, look="chart-said"))
    return picture


def lying(bars: Sequence[Bar], *, legend: tuple[str, str] | None = None) -> Picture:
    """Bars under each other, each with its name above it: for names that are long. A second bar may follow."""
    values = [v for b in bars for v in (b.value, b.second) if v is not None]
    top = max(values, default=0)
    longest = max((len(word) for b in bars for word in (b.said, b.second_said)), default=0)
    room = max(WIDTH - 16 - longest * 9, WIDTH / 3)  # so that its figure fits behind the longest bar
    thick = 14
    picture_words: list[Said] = []
    boxes: list[Box] = []
    y = 4.0
    for bar in bars:
        picture_words.append(Said(0, y + 14, bar.label, "start", "chart-name"))
        y += 22
        pairs = [(bar.value, bar.said, "chart-bar")]
        if legend:
            pairs.append((bar.second, bar.second_said, "chart-bar second"))
        for value, said, look in pairs:
            long = round(max(value or 0, 0) / top * room, 1) if top > 0 else 0.0
            boxes.append(Box(0, y, long, thick, look))
            picture_words.append(Said(long + 8, y + 12, said, "start", "chart-said"))
            y += thick + 4
        y += 8
    return Picture(WIDTH, max(y, _LINE), boxes, [], picture_words, legend)
