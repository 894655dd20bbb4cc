"""Pictures of figures: curves on two axes, laid out as places in a drawing. Pure; a template draws them as SVG.

What a picture shows is in its words too, and in a table behind it: nobody needs to see it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

WIDTH: Final = 720
HEIGHT: Final = 360
_LEFT, _RIGHT, _TOP, _BOTTOM = 64, 16, 16, 48
MOST_POINTS: Final = 360  # more than that can't be told apart on a tablet
_FURTHEST: Final = 1e30  # what lies beyond is on the edge: an axis to there says nothing
_NEAREST: Final = 1e-30
_LINE: Final = 16.0  # a line of names
_NAME_WIDTH: Final = 90.0  # how near beside each other two names are one blot


@dataclass(frozen=True)
class Axis:
    """An axis: what is on it, in which unit. `least` and `most` are taken from the curves where they are None."""

    label: str
    unit: str = ""  # as it is printed: "V", "mA"; the curves are in it
    is_log: bool = False
    least: float | None = None
    most: float | None = None


@dataclass(frozen=True)
class Curve:
    """Points joined by a line. `look` is "main", "second", "thin" (one of a family) or "dashed"."""

    name: str
    points: tuple[tuple[float, float], ...]
    look: str = "main"


@dataclass(frozen=True)
class Dot:
    """A point that is named. `look` is "plain", "good", "watch" or "bad"."""

    name: str
    x: float
    y: float
    look: str = "plain"


@dataclass(frozen=True)
class Limit:
    """A level that is named: across the picture at a y, or upright at an x."""

    name: str
    y: float | None = None
    x: float | None = None


@dataclass(frozen=True)
class Chart:
    """A picture: `words` says what it shows to whoever can't see it."""

    title: str
    words: str
    x: Axis
    y: Axis
    curves: tuple[Curve, ...] = ()
    dots: tuple[Dot, ...] = ()
    limits: tuple[Limit, ...] = ()


@dataclass(frozen=True)
class Tick:
    at: float
    label: str


@dataclass(frozen=True)
class DrawnCurve:
    name: str
    path: str
    look: str
    label_x: float
    label_y: float


@dataclass(frozen=True)
class DrawnDot:
    name: str
    x: float
    y: float
    look: str
    label_x: float
    label_y: float
    anchor: str


@dataclass(frozen=True)
class DrawnLimit:
    name: str
    x1: float
    y1: float
    x2: float
    y2: float
    label_x: float
    label_y: float
    anchor: str


@dataclass(frozen=True)
class Drawing:
    """A chart in the units of the drawing."""

    title: str
    words: str
    x_label: str
    y_label: str
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    curves: tuple[DrawnCurve, ...]
    dots: tuple[DrawnDot, ...]
    limits: tuple[DrawnLimit, ...]
    width: int = WIDTH
    height: int = HEIGHT
    left: int = _LEFT
    right: int = WIDTH - _RIGHT
    top: int = _TOP
    bottom: int = HEIGHT - _BOTTOM

    @property
    def legend(self) -> list[DrawnCurve]:
        """The curves that are named below the picture; those of a family are named at their ends."""
        return [curve for curve in self.curves if curve.look != "thin" and curve.name]


class _Scale:
    """From values to places, straight or logarithmic; what lies outside is put on the edge."""

    def __init__(self, axis: Axis, values: Sequence[float], start: float, end: float) -> None:
        self.is_log = axis.is_log
        usable = [v for v in values if abs(v) <= _FURTHEST and (v > 0 or not axis.is_log)]
        low = axis.least if axis.least is not None else min(usable, default=1.0 if axis.is_log else 0.0)
        high = axis.most if axis.most is not None else max(usable, default=10.0 if axis.is_log else 1.0)
        if axis.is_log:
            low = max(low, high * 1e-12, _NEAREST)
            if high <= low:
                high = low * 10
        elif high - low <= max(abs(low), abs(high)) * 1e-9 + _NEAREST:
            half = abs(low) / 2 if abs(low) > _NEAREST else 0.5
            low, high = low - half, low + half
        self.ticks = _decades(low, high) if axis.is_log else _steps(low, high)
        if not axis.is_log:
            if axis.least is None:
                low = min(low, self.ticks[0])
            if axis.most is None:
                high = max(high, self.ticks[-1])
            self.ticks = [t for t in self.ticks if low - 1e-12 * abs(high) <= t <= high + 1e-12 * abs(high)]
        self.low, self.high, self.start, self.end = low, high, start, end

    def at(self, value: float) -> float:
        if self.is_log:
            value = max(value, self.low)
            share = math.log(value / self.low) / math.log(self.high / self.low)
        else:
            share = (value - self.low) / (self.high - self.low)
        return round(self.start + (self.end - self.start) * min(max(share, 0.0), 1.0), 1)


def _steps(low: float, high: float) -> list[float]:
    """Five or so round numbers that enclose a range."""
    raw = (high - low) / 5
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(s * power for s in (1, 2, 2.5, 5, 10) if s * power >= raw * (1 - 1e-9))
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [n * step for n in range(first, last + 1)]


def _decades(low: float, high: float) -> list[float]:
    first, last = math.ceil(math.log10(low) - 1e-9), math.floor(math.log10(high) + 1e-9)
    powers = [10.0**n for n in range(first, last + 1)]
    if len(powers) >= 3:
        return powers
    every = [d * 10.0**n for n in range(first - 1, last + 1) for d in (1, 2, 5)]
    return [t for t in every if low * (1 - 1e-9) <= t <= high * (1 + 1e-9)] or [low, high]


def _tick_words(value: float) -> str:
    if value and abs(value) >= 10_000:
        return f"{value / 1000:.10g} k" if abs(value) < 1e6 else f"{value / 1e6:.10g} M"
    return f"{value:.6g}".replace("-", "−")


def draw(chart: Chart) -> Drawing:
    """Lay a chart out. Points that aren't finite break a curve in two."""
    xs = [p[0] for c in chart.curves for p in c.points] + [d.x for d in chart.dots]
    ys = [p[1] for c in chart.curves for p in c.points] + [d.y for d in chart.dots]
    xs += [limit.x for limit in chart.limits if limit.x is not None]
    ys += [limit.y for limit in chart.limits if limit.y is not None]
    x = _Scale(chart.x, xs, _LEFT, WIDTH - _RIGHT)
    y = _Scale(chart.y, ys, HEIGHT - _BOTTOM, _TOP)
    return Drawing(
        title=chart.title,
        words=chart.words,
        x_label=_label(chart.x),
        y_label=_label(chart.y),
        x_ticks=tuple(Tick(x.at(t), _tick_words(t)) for t in x.ticks),
        y_ticks=tuple(Tick(y.at(t), _tick_words(t)) for t in y.ticks),
        curves=tuple(_curve(c, x, y) for c in chart.curves if c.points),
        dots=_apart([_dot(d, x, y) for d in chart.dots]),
        limits=tuple(_limit(each, x, y) for each in chart.limits),
    )


def _label(axis: Axis) -> str:
    return f"{axis.label}, {axis.unit}" if axis.unit else axis.label


def _curve(curve: Curve, x: _Scale, y: _Scale) -> DrawnCurve:
    parts, pen_up = [], True
    last = (0.0, 0.0)
    for px, py in thin_out(curve.points):
        if not (math.isfinite(px) and math.isfinite(py)):
            pen_up = True
            continue
        last = (x.at(px), y.at(py))
        parts.append(f"{'M' if pen_up else 'L'}{last[0]:g} {last[1]:g}")
        pen_up = False
    return DrawnCurve(curve.name, "".join(parts), curve.look, min(last[0], WIDTH - 90), max(last[1] - 6, 12))


def thin_out(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Leave out points that can't be told apart, but no peak and no valley: of each slice its least and its most."""
    if len(points) <= MOST_POINTS:
        return list(points)
    slices = MOST_POINTS // 2
    kept: list[tuple[float, float]] = [points[0]]
    for n in range(slices):
        part = points[n * len(points) // slices : (n + 1) * len(points) // slices]
        finite = [i for i, p in enumerate(part) if math.isfinite(p[1])]
        if finite:
            least, most = min(finite, key=lambda i: part[i][1]), max(finite, key=lambda i: part[i][1])
            kept += [part[i] for i in sorted({least, most})]
    return [*kept, points[-1]]


def _dot(dot: Dot, x: _Scale, y: _Scale) -> DrawnDot:
    px, py = x.at(dot.x), y.at(dot.y)
    right = px < WIDTH * 0.7
    return DrawnDot(
        dot.name, px, py, dot.look, px + 9 if right else px - 9, py - 9, "start" if right else "end"
    )


def _apart(dots: Sequence[DrawnDot]) -> tuple[DrawnDot, ...]:
    """Move names down that would be written over each other: two tubes that draw the same."""
    placed: list[DrawnDot] = []
    for dot in dots:
        down = dot.label_y
        while down < HEIGHT and any(
            abs(down - other.label_y) < _LINE and abs(dot.label_x - other.label_x) < _NAME_WIDTH
            for other in placed
        ):
            down += _LINE
        placed.append(replace(dot, label_y=down if down < HEIGHT else dot.label_y))
    return tuple(placed)


def _limit(limit: Limit, x: _Scale, y: _Scale) -> DrawnLimit:
    if limit.y is not None:
        at = y.at(limit.y)
        return DrawnLimit(
            limit.name, _LEFT, at, WIDTH - _RIGHT, at, WIDTH - _RIGHT - 4, max(at - 5, 12), "end"
        )
    at = x.at(limit.x or 0.0)
    left = at > WIDTH * 0.75
    return DrawnLimit(
        limit.name,
        at,
        _TOP,
        at,
        HEIGHT - _BOTTOM,
        at - 5 if left else at + 5,
        _TOP + 12,
        "end" if left else "start",
    )
