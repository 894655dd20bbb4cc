"""Tubes that go together: the best pairs, quads and sextets out of those that were measured at the same conditions.

Currents are in amperes. Nothing here knows the clock or the database. Source of the limits: common practice, no source.

How far tubes are apart is largest less smallest, as a fraction of the middle between the two: for a pair that is the
difference over the mean. (Of the mean of a quad the same two tubes would be apart more or less by what lies between.)
"""

import itertools
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

GOOD: Final = 0.05
USABLE: Final = 0.10
ACROSS_THE_TRANSFORMER: Final = 5e-3  # A, between the sides of a push-pull output transformer without a gap
TRANSCONDUCTANCE: Final = 0.10

_NOISE: Final = 1e-9


class Verdict(StrEnum):
    """How well tubes go together."""

    GOOD = "well matched"
    USABLE = "usable"
    APART = "too far apart"


@dataclass(frozen=True, slots=True)
class Measured:
    """A tube and what it drew, in amperes; its transconductance in A/V where it was taken."""

    key: Hashable
    current: float
    transconductance: float | None = None


@dataclass(frozen=True, slots=True)
class Match:
    """Tubes that go together, by rising current. `apart` is largest less smallest current, in amperes."""

    tubes: tuple[Measured, ...]
    apart: float
    fraction: float  # of the middle between them
    verdict: Verdict
    sides: tuple[tuple[Measured, ...], tuple[Measured, ...]] | None  # None: an odd number has no sides
    sides_apart: float | None  # in amperes, between the sums of the sides
    transconductance: float | None  # apart, a fraction as of the currents; None: not of all of them

    @property
    def is_hard_on_the_transformer(self) -> bool:
        """Whether the sides differ by more than an output transformer without a gap should see."""
        return self.sides_apart is not None and self.sides_apart > ACROSS_THE_TRANSFORMER * (1 + _NOISE)

    @property
    def differs_in_gain(self) -> bool:
        """Whether the transconductances are further apart than they should be."""
        return self.transconductance is not None and self.transconductance > TRANSCONDUCTANCE * (1 + _NOISE)


@dataclass(frozen=True, slots=True)
class Matched:
    """The sets, best first, and the tubes that are in none."""

    sets: tuple[Match, ...]
    left_over: tuple[Measured, ...]


def match(
    tubes: Sequence[Measured], size: int, *, wanted: int | None = None, within: float | None = None
) -> Matched:
    """Return disjoint sets of `size`: as many as can be made (or `wanted`), with the least sum of max − min.

    For pairs that is the smallest total difference; for one quad or sextet the smallest max − min. `within` is how
    far apart a set may be, as a fraction; None: any.

    Sets that overlap in current can be sorted apart without a larger sum or a wider set, and a set that leaves out one
    that lies between its own is wider than with it: so the best sets are neighbours in the order of current, and are
    found by going along it once.

    Raises:
        ValueError: a size below two, or a current that is below nothing.
    """
    if size < 2:
        raise ValueError("A set has two tubes or more.")
    if any(not tube.current >= 0 for tube in tubes):
        raise ValueError("A current can't be below zero.")
    row = sorted(tubes, key=lambda tube: tube.current)
    most = len(row) // size if wanted is None else min(wanted, len(row) // size)
    # best[n][k]: the least sum for k sets of the first n tubes, and whether the last of them is in a set
    nothing = (float("inf"), False)
    best = [[(0.0, False), *([nothing] * most)]]
    for n in range(1, len(row) + 1):
        line = [best[n - 1][0]]
        for k in range(1, most + 1):
            without = best[n - 1][k][0]
            taken = float("inf")
            if n >= size and _goes(row[n - size : n], within):
                taken = best[n - size][k - 1][0] + row[n - 1].current - row[n - size].current
            line.append((taken, True) if taken < without else (without, False))
        best.append(line)
    count = max(k for k in range(most + 1) if best[len(row)][k][0] < float("inf"))
    return _taken(row, best, count, size)


def _taken(row: list[Measured], best: list[list[tuple[float, bool]]], count: int, size: int) -> Matched:
    sets: list[Match] = []
    left: list[Measured] = []
    n = len(row)
    while n:
        if best[n][count][1]:
            sets.append(judge(row[n - size : n]))
            n, count = n - size, count - 1
        else:
            left.append(row[n - 1])
            n -= 1
    return Matched(tuple(sorted(sets, key=lambda each: each.fraction)), tuple(reversed(left)))


def judge(tubes: Sequence[Measured]) -> Match:
    """Return how well these go together: 5 % is well matched, 10 % usable (common practice, no source)."""
    row = tuple(sorted(tubes, key=lambda tube: tube.current))
    apart, fraction = _apart([tube.current for tube in row])
    verdict = Verdict.APART
    if fraction <= USABLE * (1 + _NOISE):
        verdict = Verdict.GOOD if fraction <= GOOD * (1 + _NOISE) else Verdict.USABLE
    gains = [tube.transconductance for tube in row if tube.transconductance is not None]
    gain = _apart(gains)[1] if len(gains) == len(row) else None
    sides = best_sides(row)
    between = None if sides is None else abs(_sum(sides[0]) - _sum(sides[1]))
    return Match(row, apart, fraction, verdict, sides, between, gain)


def best_sides(tubes: Sequence[Measured]) -> tuple[tuple[Measured, ...], tuple[Measured, ...]] | None:
    """Return the two sides of a push-pull stage whose currents sum nearest to each other; None for an odd number."""
    if len(tubes) % 2 or not tubes:
        return None
    first, rest = tubes[0], tubes[1:]
    total = _sum(tubes)
    half = min(
        itertools.combinations(range(len(rest)), len(tubes) // 2 - 1),
        key=lambda some: abs(2 * (first.current + _sum([rest[at] for at in some])) - total),
    )
    return (
        (first, *(rest[at] for at in half)),
        tuple(tube for at, tube in enumerate(rest) if at not in half),
    )


def _goes(tubes: Sequence[Measured], within: float | None) -> bool:
    return within is None or _apart([tube.current for tube in tubes])[1] <= within * (1 + _NOISE)


def _apart(numbers: Sequence[float]) -> tuple[float, float]:
    """Largest less smallest, and that as a fraction of the middle between them; nothing where all are zero."""
    apart = max(numbers) - min(numbers)
    middle = (max(numbers) + min(numbers)) / 2
    return apart, apart / middle if middle else 0.0


def _sum(tubes: Sequence[Measured]) -> float:
    return sum(tube.current for tube in tubes)
