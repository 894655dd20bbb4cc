"""Networks of resistors, capacitors, inductors and transconductances, solved exactly at any frequency.

Nodal analysis: Y(s)·v = i with Y = G + s·C + 1/(s·L), every node at once, so that stages load each other as they do
in the amp. Values are SI floats (ohms, farads, henries, siemens); frequencies are in hertz; answers are complex.
Source: C.-W. Ho, A. Ruehli and P. Brennan, "The modified nodal approach to network analysis", IEEE Trans. Circuits
and Systems 22(6), 1975, and any textbook.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from calc.engine.errors import CircuitError

if TYPE_CHECKING:
    import numpy as np

GROUND = "0"
LOWEST, HIGHEST = 1e-3, 1e8  # Hz: where corners are looked for
MOST_NODES = 60
FAINTEST = 1e-8  # −160 dB: below it the digits of a solution may be rounding
WIRE = 1e-3  # ohms: less would drown its neighbours' conductances in rounding, and no part here is so small
_OHMS, _SMALL = 1e4, 10.0  # ohms: what currents are scaled by, and what little impedance is
_NO_ANSWER = "This network has no answer: it rings without a loss. Add a resistor."
_FINE = 24  # points in a decade of the search
_PARTS, _NARROWINGS = 16, 9  # a place is narrowed to a part in 16 nine times: to 11 digits
_RANGES = {"R": (0.0, 1e12), "C": (1e-15, 10.0), "L": (1e-10, 1e5)}
_NAMES = {"R": ("resistor", "Ω"), "C": ("capacitor", "F"), "L": ("inductor", "H")}


@dataclass(frozen=True)
class Part:
    """A resistor (ohms), capacitor (farads) or inductor (henries) between two nodes.

    A resistor under `WIRE` joins its nodes: the end of a pot's travel.
    """

    kind: Literal["R", "C", "L"]
    one: str
    other: str
    value: float

    def __post_init__(self) -> None:
        least, most = _RANGES[self.kind]
        name, unit = _NAMES[self.kind]
        if not (math.isfinite(self.value) and least <= self.value <= most):
            raise CircuitError(
                f"There is no {name} of {self.value:g} {unit}. It can be {least:g} to {most:g} {unit}."
            )


@dataclass(frozen=True)
class Transconductance:
    """A current from `drawn` to `given`, `siemens` times the volts from `plus` to `minus`: a tube, to small signals."""

    drawn: str
    given: str
    plus: str
    minus: str
    siemens: float


@dataclass(frozen=True)
class Corner:
    """Where the response is 3 dB below its most. `rises` is true at the low end of what is let through."""

    hertz: float
    rises: bool


@dataclass(frozen=True)
class Passband:
    """The most that a network lets through, where that is, and each place 3 dB below it, from low to high."""

    most: float
    at: float
    corners: tuple[Corner, ...]

    @property
    def low(self) -> float | None:
        """The -3 dB frequency below the most, in hertz; None where it goes on down."""
        return max((c.hertz for c in self.corners if c.rises and c.hertz <= self.at), default=None)

    @property
    def high(self) -> float | None:
        """The -3 dB frequency above the most, in hertz; None where it goes on up."""
        return min((c.hertz for c in self.corners if not c.rises and c.hertz >= self.at), default=None)


class Network:
    """Parts between named nodes; node "0" is ground, `source` is held by an ideal generator.

    Raises `CircuitError` for a node that nothing ties down, a generator into a short, or too many nodes.
    """

    def __init__(self, parts: Iterable[Part], *, source: str, tubes: Iterable[Transconductance] = ()) -> None:
        self.parts, self.tubes = tuple(parts), tuple(tubes)
        self._joined: dict[str, str] = {}
        for part in self.parts:
            if part.kind == "R" and part.value < WIRE:
                one, other = self._node(part.one), self._node(part.other)
                keep, drop = (other, one) if other in (GROUND, source) else (one, other)
                if {keep, drop} == {GROUND, source}:
                    raise CircuitError("The source is shorted to ground. Check the resistors of 0 Ω.")
                if keep != drop:
                    self._joined[drop] = keep
        self.source = self._node(source)
        self._live = [
            (p.kind, self._node(p.one), self._node(p.other), p.value)
            for p in self.parts
            if self._node(p.one) != self._node(p.other)
        ]
        names = sorted({name for _, one, other, _ in self._live for name in (one, other)})
        names = [name for name in names if name not in (GROUND, self.source)]
        if len(names) > MOST_NODES:
            raise CircuitError(f"That is too many parts. Leave it at {MOST_NODES} nodes.")
        self._check_tied(self._live, names)
        self._place = {name: number for number, name in enumerate([*names, self.source])}
        self._at_source = len(names)

    def gain(self, output: str, frequencies: "Sequence[float] | np.ndarray") -> "np.ndarray":
        """Return the complex volts at `output` for one volt at the source, at each frequency in hertz.

        Raises `CircuitError` for a frequency of nothing, or a network without an answer there (a lossless
        resonance).
        """
        import numpy as np

        place = self._place_of(output)
        if place is None:
            return np.zeros(len(frequencies), dtype=complex)
        if place == self._at_source:
            return np.ones(len(frequencies), dtype=complex)
        return self._solve(frequencies)[:, place]

    def impedance(self, node: str, frequencies: "Sequence[float] | np.ndarray") -> "np.ndarray":
        """Return the complex ohms between `node` and ground, with the source shorted. At the source's own node: what
        it drives. Raises `CircuitError` as `gain`.
        """
        import numpy as np

        place = self._place_of(node)
        if place is None:
            return np.zeros(len(frequencies), dtype=complex)
        whole, inner = self._equations(frequencies)
        if place == self._at_source:
            found = self._divide(whole[:, inner][:, :, inner], -whole[:, inner, self._at_source, None])[
                :, :, 0
            ]
            row = whole[:, self._at_source, :]
            amps = (row[:, inner] * found).sum(axis=1) + row[:, self._at_source]
            with np.errstate(divide="ignore", invalid="ignore"):
                return self._finite(_OHMS / amps)
        driven = np.zeros((len(whole), len(inner), 1), dtype=complex)
        driven[:, place] = _OHMS
        return self._divide(whole[:, inner][:, :, inner], driven)[:, place, 0]

    def passband(self, output: str, low: float = LOWEST, high: float = HIGHEST) -> Passband:
        """Return the most of |gain| between two frequencies in hertz, and the places that are 3 dB (1/√2) below it.

        Every place is solved on the whole network, not taken from a pole. Raises `CircuitError` where nothing gets
        through, or as `gain`.
        """
        import numpy as np

        if not 0 < low < high or not math.isfinite(high):
            raise CircuitError("The frequencies must go from low to high, above zero.")
        points = max(int(_FINE * math.log10(high / low)), 16) + 1
        near = []
        for pole in self.poles():  # a sharp peak or notch is as wide as its pole is damped
            hertz, damped = abs(pole) / (2 * math.pi), min(abs(pole.real) / abs(pole), 0.3)
            near += [hertz * (1 + k * damped) for k in (-3, -1, -0.3, 0, 0.3, 1, 3)]
        grid = np.unique(
            np.concatenate([np.geomspace(low, high, points), [f for f in near if low < f < high]])
        )
        size = np.abs(self.gain(output, grid))
        best = int(np.argmax(size))
        if not size[best] > FAINTEST:
            raise CircuitError("Nothing gets through. Check that the output isn't shorted or cut off.")
        at, most = float(grid[best]), float(size[best])
        if 0 < best < len(grid) - 1:
            at, most = self._peak(output, float(grid[best - 1]), float(grid[best + 1]))
        over = size > most / math.sqrt(2)
        edges = np.flatnonzero(over[1:] != over[:-1])
        lows, highs = np.log(grid[edges]), np.log(grid[edges + 1])
        steps = np.linspace(0, 1, _PARTS + 1)
        for _ in range(_NARROWINGS if len(edges) else 0):
            places = lows[:, None] + (highs - lows)[:, None] * steps
            inside = np.abs(self.gain(output, np.exp(places.ravel()))).reshape(places.shape)
            crossed = (inside > most / math.sqrt(2)) != over[edges][:, None]
            crossed[:, -1] = True  # an end that stands on the level itself may round to either side
            first = np.maximum(np.argmax(crossed, axis=1), 1)
            rows = np.arange(len(edges))
            lows, highs = places[rows, first - 1], places[rows, first]
        corners = tuple(
            Corner(float(math.exp((a + b) / 2)), rises=not over[edge])
            for a, b, edge in zip(lows, highs, edges, strict=True)
        )
        return Passband(most, at, corners)

    def poles(self) -> list[complex]:
        """Return the natural frequencies s in 1/s, with the source shorted, slowest first; a time constant is -1/s.

        A pole at nothing (a charge that can't leave) isn't among them.
        """
        import numpy as np

        coils = [part for part in self._live if part[0] == "L"]
        inside = self._at_source
        size = inside + len(coils)
        if not size:
            return []
        still, moving = np.zeros((size + 1, size + 1)), np.zeros((size + 1, size + 1))
        for kind, one, other, value in self._live:
            if kind == "R":
                self._stamp(still, one, other, one, other, 1 / value)
            elif kind == "C":
                self._stamp(moving, one, other, one, other, value)
        self._stamp_tubes(still)
        for row, (_, one, other, value) in enumerate(coils, start=inside + 1):
            moving[row, row] = value
            for name, sign in ((one, 1.0), (other, -1.0)):
                if name not in (GROUND, self.source):
                    still[self._place[name], row] += sign
                    still[row, self._place[name]] -= sign
        free = [n for n in range(size + 1) if n != self._at_source]
        still, moving = still[np.ix_(free, free)], moving[np.ix_(free, free)]
        shift = 0.0
        if not _is_regular(still):
            # a node between two capacitors has no DC path: look from a frequency other than nothing
            shift = 1e3
            still = still + shift * moving
            if not _is_regular(still):
                return []
        slow = np.linalg.eigvals(np.linalg.solve(still, moving))
        slow = slow[np.abs(slow) > 1e-12 * np.max(np.abs(slow), initial=0.0)]
        found = [complex(shift - 1 / each) for each in slow]
        floor = max(1e-9 * shift, 2 * math.pi * LOWEST * 1e-3)
        return sorted((s for s in found if abs(s) > floor), key=abs)

    def _peak(self, output: str, low: float, high: float) -> tuple[float, float]:
        """Narrow down the most of |gain| between two frequencies that enclose it."""
        import numpy as np

        a, b = math.log(low), math.log(high)
        for _ in range(12):  # nine points at once, of which two slices stay
            places = np.linspace(a, b, 9)
            size = np.abs(self.gain(output, np.exp(places)))
            best = int(np.argmax(size))
            a, b = float(places[max(best - 1, 0)]), float(places[min(best + 1, 8)])
            if b - a < 1e-7:
                break
        return float(math.exp(places[best])), float(size[best])

    def _node(self, name: str) -> str:
        while name in self._joined:
            name = self._joined[name]
        return name

    def _place_of(self, name: str) -> int | None:
        """The row of a node; None for ground."""
        name = self._node(name)
        if name == GROUND:
            return None
        if name not in self._place:
            raise CircuitError("The output is connected to nothing.")
        return self._place[name]

    def _stamp(
        self, matrix: "np.ndarray", drawn: str, given: str, plus: str, minus: str, weight: float
    ) -> None:
        for row, sign in ((drawn, 1.0), (given, -1.0)):
            for column, other in ((plus, 1.0), (minus, -1.0)):
                if row != GROUND and column != GROUND:
                    matrix[self._place[row], self._place[column]] += sign * other * weight

    def _stamp_tubes(self, matrix: "np.ndarray") -> None:
        for tube in self.tubes:
            drawn, given, plus, minus = map(self._node, (tube.drawn, tube.given, tube.plus, tube.minus))
            self._stamp(matrix, drawn, given, plus, minus, tube.siemens)

    def _check_tied(self, live: Sequence[tuple[str, str, str, float]], names: Sequence[str]) -> None:
        near: dict[str, set[str]] = {}
        for _, one, other, _ in live:
            near.setdefault(one, set()).add(other)
            near.setdefault(other, set()).add(one)
        seen, ahead = {GROUND, self.source}, [GROUND, self.source]
        while ahead:
            for name in near.get(ahead.pop(), set()) - seen:
                seen.add(name)
                ahead.append(name)
        if set(names) - seen:
            raise CircuitError("A part is connected to nothing at either end.")

    def _equations(self, frequencies: "Sequence[float] | np.ndarray") -> "tuple[np.ndarray, np.ndarray]":
        """Every node's currents, and the volts across each part of little impedance, in units of `_OHMS`.

        Such a part brings its current as an unknown of its own: as an admittance it would drown its neighbours'.
        Returns the matrices, the source's row and column among them, and the numbers of all the others.
        """
        import numpy as np

        f = np.asarray(frequencies, dtype=float)
        if not (len(f) and np.all(np.isfinite(f)) and np.all(f > 0)):
            raise CircuitError("A frequency must be more than zero.")
        s = 2j * math.pi * f
        lowest, highest = 2 * math.pi * float(f.min()), 2 * math.pi * float(f.max())
        least = {"R": lambda r: r, "C": lambda c: 1 / (highest * c), "L": lambda h: lowest * h}
        small = [part for part in self._live if least[part[0]](part[3]) < _SMALL]
        nodes = len(self._place)
        size = nodes + len(small)
        still, moving, slowing = np.zeros((3, nodes, nodes))
        for kind, one, other, value in self._live:
            if least[kind](value) >= _SMALL:
                matrix = {"R": still, "C": moving, "L": slowing}[kind]
                self._stamp(matrix, one, other, one, other, value if kind == "C" else 1 / value)
        self._stamp_tubes(still)
        whole = np.zeros((len(f), size, size), dtype=complex)
        at = s[:, None, None]
        whole[:, :nodes, :nodes] = _OHMS * (still + at * moving + slowing / at)
        for row, (kind, one, other, value) in enumerate(small, start=nodes):
            ohms = {"R": lambda v: v + 0 * s, "C": lambda v: 1 / (s * v), "L": lambda v: s * v}[kind](value)
            # the larger of the two coefficients is one, whatever the frequency
            volts = np.where(np.abs(ohms) > _OHMS, _OHMS / ohms, 1.0)
            whole[:, row, row] = -volts * ohms / _OHMS
            for name, sign in ((one, 1.0), (other, -1.0)):
                if name != GROUND:
                    whole[:, row, self._place[name]] = sign * volts
                    whole[:, self._place[name], row] = sign
        return whole, np.array([n for n in range(size) if n != self._at_source], dtype=int)

    def _solve(self, frequencies: "Sequence[float] | np.ndarray") -> "np.ndarray":
        """The volts at every node but the source (and currents), for one volt there."""
        whole, inner = self._equations(frequencies)
        return self._divide(whole[:, inner][:, :, inner], -whole[:, inner, self._at_source, None])[:, :, 0]

    @staticmethod
    def _divide(y: "np.ndarray", currents: "np.ndarray") -> "np.ndarray":
        import numpy as np

        try:
            found = np.linalg.solve(y, currents)
        except np.linalg.LinAlgError:
            raise CircuitError(_NO_ANSWER) from None
        return Network._finite(found)

    @staticmethod
    def _finite(found: "np.ndarray") -> "np.ndarray":
        import numpy as np

        if not np.all(np.isfinite(found)):
            raise CircuitError(_NO_ANSWER)
        return found


def _is_regular(matrix: "np.ndarray") -> bool:
    """Whether a matrix can be divided by, whatever the sizes of its rows."""
    import numpy as np

    scale = np.sqrt(np.max(np.abs(matrix), axis=1))
    if not np.all(scale > 0):
        return False
    even = matrix / scale[:, None] / scale[None, :]
    return bool(np.linalg.cond(even) < 1e14)
