"""What on the shelf will serve for a resistor or a capacitor that isn't there: one part, or two or three together.

Values are in SI units: ohms, farads, volts, watts, amperes, °C. Nothing here knows the clock or the database.

Division is ideal: capacitors in series share volts by 1/C, in parallel ripple by C; resistors in series share volts
and watts by R, in parallel watts by 1/R (any textbook). So all ways are one: parts have a size x (R, 1/R, C or 1/C)
that adds up to X, and each bears x/X of what is shared, and the whole of what isn't.
"""

import itertools
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import cache
from typing import Final

import numpy as np

from calc.engine import eseries, resistors
from calc.engine.errors import CircuitError
from calc.engine.quantities import show, units

MOST_PARTS: Final = 3
USUAL_TOLERANCE: Final = 20.0  # %, of a capacitor that says nothing: electrolytics, from memory
OLD_RULE_OHMS: Final = 220e3  # across each capacitor of a string: common practice, no source
LEAST_BALANCING_OHMS: Final = 10e3  # under it the resistors are a load: ours
NO_STRIP_VOLTS: Final = 50.0  # a joint that hangs free may carry this much: ours; see `_strip`
BIG_FARADS: Final = 1e-6  # from here a capacitor is a thing with weight: ours
BIG_WATTS: Final = 2.0  # from here a resistor stands off the board: common practice, no source

AT_ONCE: Final = 2_000_000  # combinations that are held in memory together: ours
MANY: Final = 50_000  # combinations that are looked at without narrowing the band first: ours

_NOISE: Final = 1e-9  # relative; adding and inverting floats is out by far less


class Way(StrEnum):
    """How the parts are put together."""

    ONE = "one part"
    SERIES = "in series"
    PARALLEL = "in parallel"


@dataclass(frozen=True, slots=True)
class Need:
    """The part that isn't there. What is None isn't asked for.

    `within` is the fraction that the value may be off (0.05: ±5 %). `volts` is what stands across it, `watts` what it
    turns into heat or was rated for, `amps` the ripple through it, `hottest` its rated temperature.
    """

    kind: str  # "capacitor" or "resistor"
    value: float
    within: float
    volts: float | None = None
    watts: float | None = None
    amps: float | None = None
    hottest: float | None = None
    technology: str = ""
    leads: str = ""


@dataclass(frozen=True, slots=True)
class OnShelf:
    """A part on the shelf: how many are free, what one cost, its value and ratings; None where nobody wrote it down."""

    key: int
    name: str
    value: float
    free: int
    cost: Decimal = Decimal(0)
    tolerance: float | None = None  # %
    volts: float | None = None
    watts: float | None = None
    amps: float | None = None
    hottest: float | None = None
    technology: str = ""
    leads: str = ""


@dataclass(frozen=True, slots=True)
class Share:
    """What one part of a stand-in bears. `most_volts` is with tolerances against it; None: not asked."""

    part: OnShelf
    volts: float | None
    most_volts: float | None
    watts: float | None
    amps: float | None
    at_its_limit: tuple[str, ...]  # "volts", "watts", "ripple": at the rating exactly


@dataclass(frozen=True, slots=True)
class Balancing:
    """A resistor across each capacitor of a string, in the shares' order; its heat, the size that bears it."""

    ohms: tuple[float, ...]
    watts: tuple[float, ...]
    sizes: tuple[float | None, ...]  # watts; None: no size bears it
    element_volts: float  # that each must stand


@dataclass(frozen=True, slots=True)
class StandIn:
    """One answer. `error` is signed, a fraction of the value that was wanted."""

    way: Way
    value: float
    error: float
    shares: tuple[Share, ...]
    cost: Decimal
    on_a_strip: bool
    balancing: Balancing | None
    words: tuple[str, ...]  # reasons and cautions, most needed first
    is_at_its_limit: bool


@dataclass(frozen=True, slots=True)
class Found:
    """The answers, best first, and how many parts were left out because a rating that counts isn't written down."""

    answers: tuple[StandIn, ...]
    unrated: int


def find(need: Need, shelf: Iterable[OnShelf], *, limit: int = 12, parts: Sequence[int] = (1, 2, 3)) -> Found:
    """Return the best `limit` stand-ins of one, two or three parts (those in `parts`): all others are worse.

    Ranked by smallest relative error, then fewest parts, then cost. What is free is respected. A part at its rating
    exactly will do by the arithmetic, and says so. Electrolytics in series that no balancing resistors hold are none.

    Raises:
        CircuitError: a need that is no resistor or capacitor, or not of this world.
    """
    _check(need)
    fitting: list[OnShelf] = []
    unrated = 0
    for part in shelf:
        if part.free < 1 or part.value <= 0 or not _is_alike(need, part):
            continue
        if _is_unrated(need, part):
            unrated += 1
            continue
        fitting.append(part)
    best: list[tuple[tuple, Way, tuple[OnShelf, ...]]] = []
    for way, counts in _ways(parts):
        inverse = _is_inverse(need.kind, way)
        sizes = _by_size(need, fitting, way, inverse, _band(need.value, need.within, inverse)[1])
        for count in counts:
            best += _that_hold(need, sizes, way, count, limit)
    best.sort(key=lambda each: each[0])
    answers = tuple(_told(need, way, together) for _, way, together in best[:limit])
    return Found(answers, unrated)


def _check(need: Need) -> None:
    if need.kind not in ("capacitor", "resistor"):
        raise CircuitError("Only resistors and capacitors can be put together of others.")
    if not 0 < need.value < 1e15:
        raise CircuitError("The value must be more than nothing.")
    if not 0 <= need.within < 1:
        raise CircuitError("How far off the value may be must be from 0 % to less than 100 %.")
    for asked in (need.volts, need.watts, need.amps):
        if asked is not None and not 0 < asked < 1e9:
            raise CircuitError("Volts, watts and amperes must be more than nothing.")


def _is_alike(need: Need, part: OnShelf) -> bool:
    """Whether a part may be looked at at all: made of what is asked for, if that is known, and it bears the warmth."""
    made_of, wanted = part.technology.lower(), need.technology.lower()
    if wanted and made_of and not (f" {made_of}".endswith(f" {wanted}") or _is_film_instead(need, part)):
        return False
    return need.hottest is None or part.hottest is None or part.hottest >= need.hottest


def _is_film_instead(need: Need, part: OnShelf) -> bool:
    """A film capacitor where an electrolytic is asked for will do: common practice, no source."""
    return (
        need.kind == "capacitor"
        and need.technology.lower() == "electrolytic"
        and part.technology.lower().endswith("film")
    )


def _is_unrated(need: Need, part: OnShelf) -> bool:
    if need.kind == "capacitor":
        return need.volts is not None and part.volts is None
    return need.watts is not None and part.watts is None


def _ways(parts: Sequence[int]) -> Iterator[tuple[Way, list[int]]]:
    """Each way, with the numbers of parts that are put together in it."""
    if 1 in parts:
        yield Way.ONE, [1]
    several = [count for count in range(2, MOST_PARTS + 1) if count in parts]
    yield Way.SERIES, several
    yield Way.PARALLEL, several


def _is_inverse(kind: str, way: Way) -> bool:
    """Whether what adds up is one over the value."""
    return way == (Way.SERIES if kind == "capacitor" else Way.PARALLEL)


def stands_volts(kind: str, part: OnShelf) -> float | None:
    """Return what may stand across a part: its rating; for a resistor without one, its size's usual element limit."""
    if part.volts is not None or kind == "capacitor":
        return part.volts
    return None if part.watts is None else _element_limit(part.watts)


@cache
def _element_limit(watts: float) -> float:
    return float(resistors.element_limit(units.Quantity(watts, "W")).magnitude)


def _share_it_bears(need: Need, part: OnShelf, way: Way) -> float:
    """Return the largest share of the whole that a part may be, by what it can bear; below nothing: none at all."""
    together = way != Way.ONE
    shared: list[tuple[float | None, float | None]] = []
    whole: list[tuple[float | None, float | None]] = []
    volts = (need.volts, stands_volts(need.kind, part))
    (shared if way == Way.SERIES else whole).append(volts)
    if need.kind == "resistor":
        shared.append((need.watts, part.watts))
    else:
        (shared if together and way == Way.PARALLEL else whole).append((need.amps, part.amps))
    for asked, rating in whole:
        if asked is not None and rating is not None and asked > rating * (1 + _NOISE):
            return -1.0
    caps = [rating / asked for asked, rating in shared if asked is not None and rating is not None]
    return min(caps, default=float("inf"))


@dataclass(slots=True)
class _Sizes:
    """The parts by their size, and the largest share that any of one size bears."""

    x: np.ndarray
    share: np.ndarray
    members: list[list[tuple[OnShelf, float]]]


def _that_hold(
    need: Need, sizes: _Sizes, way: Way, count: int, limit: int
) -> list[tuple[tuple, Way, tuple[OnShelf, ...]]]:
    """Return the best `limit` of `count` parts put together in one way, all of which hold in the long run too."""
    asked = limit
    while True:
        found = _search(need, sizes, way, count, asked)
        held = [each for each in found if _holds(need, way, each[2])]
        if len(held) >= limit or len(found) < asked:
            return held[:limit]
        asked *= 4


def _holds(need: Need, way: Way, together: tuple[OnShelf, ...]) -> bool:
    """Say whether there are balancing resistors for what needs them."""
    return not _needs_balancing(need, way, together) or balancing_for(together, need.volts or 0) is not None


def _needs_balancing(need: Need, way: Way, together: Iterable[OnShelf]) -> bool:
    return way == Way.SERIES and need.volts is not None and any(_leaks(need, part) for part in together)


def _search(
    need: Need, sizes: _Sizes, way: Way, count: int, limit: int
) -> list[tuple[tuple, Way, tuple[OnShelf, ...]]]:
    """Return the best `limit` of `count` parts put together in one way, with what they are ranked by.

    The band around the wanted value is first made as narrow as will likely do, and widened until it does.
    """
    inverse = _is_inverse(need.kind, way)
    sizes = _that_can_be_enough(sizes, count)
    met = _about_how_many(sizes.x, *_band(need.value, need.within, inverse), count)
    width = need.within
    if met > MANY:
        width *= 40.0 * limit / met
    while True:
        width = min(width, need.within)
        found = _expanded(need, sizes, way, count, limit, *_band(need.value, width, inverse), inverse)
        if len(found) >= limit or width >= need.within:
            return found[:limit]
        width *= 4.0


def _that_can_be_enough(sizes: _Sizes, count: int) -> _Sizes:
    """Leave out what bears so little that the others, `count` together, could not bear the rest of the whole."""
    if not len(sizes.x):
        return sizes
    share = np.minimum(sizes.share, 1.0)  # nothing is more than the whole, and what has no limit is infinite
    bears = share + (count - 1) * share.max() >= 1 - _NOISE * count
    kept = [members for members, does in zip(sizes.members, bears, strict=True) if does]
    return _Sizes(sizes.x[bears], sizes.share[bears], kept)


def _band(value: float, within: float, inverse: bool) -> tuple[float, float]:
    """The sizes that make the value within a fraction of it, ends included."""
    least, most = value * (1 - within) * (1 - _NOISE), value * (1 + within) * (1 + _NOISE)
    return (1 / most, 1 / least) if inverse else (least, most)


def _by_size(need: Need, fitting: list[OnShelf], way: Way, inverse: bool, high: float) -> _Sizes:
    groups: dict[float, list[tuple[OnShelf, float]]] = {}
    for part in fitting:
        bears = _share_it_bears(need, part, way)
        size = 1 / part.value if inverse else part.value
        if size <= high and size <= bears * high * (1 + _NOISE):
            groups.setdefault(part.value, []).append((part, bears))
    ordered = sorted(groups, reverse=inverse)
    for members in groups.values():
        members.sort(key=lambda each: (each[0].cost, each[0].key))
    values = np.array(ordered, dtype=float)
    return _Sizes(
        1 / values if inverse else values,
        np.array([max(bears for _, bears in groups[value]) for value in ordered]),
        [groups[value] for value in ordered],
    )


def _partners(
    x: np.ndarray, low: float, high: float, count: int
) -> tuple[list[np.ndarray], np.ndarray, np.ndarray]:
    """Return the larger members of every combination (falling), and from where to where the smallest may be.

    The largest is at least X/count; the middle one at least half of what is left. So few are looked at.
    """
    if count == 1:
        start, stop = np.searchsorted(x, low, "left"), np.searchsorted(x, high, "right")
        return [], np.array([start]), np.array([stop])
    first = np.searchsorted(x, low / count * (1 - _NOISE), "left")
    large = np.arange(first, len(x))
    if count == 2:
        held = [large]
        rest = x[large]
        last = large
    else:
        start = np.searchsorted(x, (low - x[large]) / 2 * (1 - _NOISE), "left")
        stop = np.minimum(np.searchsorted(x, high - x[large], "right"), large + 1)
        large, middle = _ranges(large, start, stop)
        held = [large, middle]
        rest = x[large] + x[middle]
        last = middle
    start = np.searchsorted(x, low - rest, "left")
    stop = np.minimum(np.searchsorted(x, high - rest, "right"), last + 1)
    return held, start, np.maximum(start, stop)


def _ranges(rows: np.ndarray, start: np.ndarray, stop: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return each row as often as its range is long, and the numbers in the ranges."""
    length = np.maximum(stop - start, 0)
    before = np.cumsum(length) - length
    inside = np.arange(int(length.sum())) - np.repeat(before, length) + np.repeat(start, length)
    return np.repeat(rows, length), inside


def _about_how_many(x: np.ndarray, low: float, high: float, count: int) -> int:
    """How many combinations are within a band; of a thinned shelf where it is long, which tells enough."""
    thinned = max(1, len(x) // 500)
    _, start, stop = _partners(x[::thinned], low, high, count)
    return int((stop - start).sum()) * thinned**count


def _expanded(
    need: Need, sizes: _Sizes, way: Way, count: int, limit: int, low: float, high: float, inverse: bool
) -> list[tuple[tuple, Way, tuple[OnShelf, ...]]]:
    """Return what is made of the parts inside a band, ranked: the best `limit`."""
    held, start, stop = _partners(sizes.x, low, high, count)
    found: list[tuple[tuple, Way, tuple[OnShelf, ...]]] = []
    worst = float("inf")  # of those found, as soon as there are enough
    for some in _pieces(stop - start):
        rows, smallest = _ranges(some, start[some], stop[some])
        columns = [*(each[rows] for each in held), smallest]
        total = sum(sizes.x[column] for column in columns)
        off = np.abs((1 / total if inverse else total) / need.value - 1)
        bears = off <= worst + 2 * _NOISE
        for column in columns:
            bears &= sizes.x[column] <= sizes.share[column] * total * (1 + _NOISE)
        columns, total, off = [column[bears] for column in columns], total[bears], off[bears]
        for row in np.argsort(off, kind="stable"):
            if off[row] > worst + 2 * _NOISE:
                break
            chosen = Counter(int(column[row]) for column in columns)
            for together in _cheapest(sizes, chosen, float(total[row]), limit):
                found.append((_rank(need, together, inverse), way, together))
            if len(found) >= limit:
                found.sort(key=lambda each: each[0])
                del found[limit:]
                worst = found[-1][0][0]
    found.sort(key=lambda each: each[0])
    return found


def _pieces(lengths: np.ndarray) -> Iterator[np.ndarray]:
    """The rows in pieces that are short enough to be held at once, whatever their ranges come to."""
    ends = np.cumsum(lengths) // AT_ONCE
    for piece in np.unique(ends):
        yield np.flatnonzero(ends == piece)


def _rank(need: Need, together: tuple[OnShelf, ...], inverse: bool) -> tuple:
    value = (
        sum(1 / part.value for part in together) ** -1 if inverse else sum(part.value for part in together)
    )
    return (
        round(abs(value / need.value - 1), 9),
        len(together),
        sum((part.cost for part in together), Decimal(0)),
        tuple(sorted(part.key for part in together)),
    )


def _cheapest(sizes: _Sizes, chosen: Counter[int], total: float, limit: int) -> list[tuple[OnShelf, ...]]:
    """Return the cheapest ways to take parts of the chosen sizes, each of which bears its share."""
    choices: list[list[tuple[OnShelf, ...]]] = []
    for size, times in chosen.items():
        needed = float(sizes.x[size]) / total
        able = [part for part, bears in sizes.members[size] if needed <= bears * (1 + _NOISE)]
        taken = [
            some
            for some in itertools.combinations_with_replacement(able[: limit + times], times)
            if all(some.count(part) <= part.free for part in set(some))
        ]
        choices.append(sorted(taken, key=_cost)[:limit])
    every = (tuple(itertools.chain.from_iterable(some)) for some in itertools.product(*choices))
    return sorted(every, key=_cost)[:limit]


def _cost(parts: Iterable[OnShelf]) -> tuple[Decimal, tuple[int, ...]]:
    parts = tuple(parts)
    return sum((part.cost for part in parts), Decimal(0)), tuple(sorted(part.key for part in parts))


# what is said of an answer


def _told(need: Need, way: Way, together: tuple[OnShelf, ...]) -> StandIn:
    together = tuple(sorted(together, key=lambda part: (part.value, part.key), reverse=True))
    inverse = _is_inverse(need.kind, way)
    sizes = [1 / part.value if inverse else part.value for part in together]
    total = sum(sizes)
    value = 1 / total if inverse else total
    shares = tuple(
        _share(need, way, part, together, size / total) for part, size in zip(together, sizes, strict=True)
    )
    balancing = balancing_for(together, need.volts or 0) if _needs_balancing(need, way, together) else None
    on_a_strip, why = _strip(need, way, together)
    error = value / need.value - 1
    words = (*_cautions(need, shares, balancing), *_reasons(need, way, shares), why)
    return StandIn(
        way,
        value,
        error,
        shares,
        sum((part.cost for part in together), Decimal(0)),
        on_a_strip,
        balancing,
        tuple(word for word in words if word),
        any(share.at_its_limit for share in shares),
    )


def _share(need: Need, way: Way, part: OnShelf, together: tuple[OnShelf, ...], fraction: float) -> Share:
    volts = None if need.volts is None else need.volts * (fraction if way == Way.SERIES else 1.0)
    watts = need.watts * fraction if need.kind == "resistor" and need.watts is not None else None
    amps = None if need.amps is None else need.amps * (fraction if way == Way.PARALLEL else 1.0)
    most = None
    if need.kind == "capacitor" and way == Way.SERIES and need.volts is not None:
        most = need.volts * worst_share(together, together.index(part))
    limits = (
        ("volts", volts, stands_volts(need.kind, part)),
        ("watts", watts, part.watts),
        ("ripple", amps if need.kind == "capacitor" else None, part.amps),
    )
    at_its_limit = tuple(
        name
        for name, bears, rating in limits
        if bears is not None and rating is not None and bears >= rating * (1 - _NOISE)
    )
    return Share(part, volts, most, watts, amps if need.kind == "capacitor" else None, at_its_limit)


def worst_share(together: Sequence[OnShelf], which: int) -> float:
    """Return the largest fraction of a string's volts that one capacitor may see: it at its least, the others at most.

    Two of 100 µF ±20 %: 0.6. Source: division by 1/C, any textbook.
    """

    def off(part: OnShelf) -> float:
        return (USUAL_TOLERANCE if part.tolerance is None else min(part.tolerance, 99.0)) / 100

    own = 1 / (together[which].value * (1 - off(together[which])))
    others = sum(1 / (each.value * (1 + off(each))) for at, each in enumerate(together) if at != which)
    return own / (own + others)


def _leaks(need: Need, part: OnShelf) -> bool:
    return need.kind == "capacitor" and is_electrolytic(part)


def is_electrolytic(part: OnShelf) -> bool:
    """Say whether a capacitor leaks enough to need balancing in a string; by its size where nobody wrote it down."""
    words = part.technology.lower()
    return "electrolytic" in words or "tantalum" in words or (not words and part.value >= BIG_FARADS)


def balancing_for(together: Sequence[OnShelf], volts: float) -> Balancing | None:
    """Return the resistors across capacitors in series that keep each below its rating though their leakage differs.

    Leakages may differ by 0.0015·C·Vs µA, C the largest in µF, Vs in volts (a maker's application guide, from memory).
    Resistors in proportion to each one's ideal share v of the volts sum to ρ ≤ (Vr/v − Vs)/(ΔI·(1 − v)), by the
    currents at the joints; for two alike that is the guide's R ≤ (2·Vr − Vs)/ΔI. Not above 220 kΩ across the
    smallest share: common practice, no source. Values are of E24, and are tried against the ratings after rounding.
    None: no resistors of 10 kΩ or more hold it.
    """
    largest = max(part.value for part in together)
    apart = leakage_apart(largest, volts)
    inverse = [1 / part.value for part in together]
    fractions = [each / sum(inverse) for each in inverse]
    ratings = [part.volts if part.volts is not None else 0.0 for part in together]
    whole = min(
        *((rating / v - volts) / (apart * (1 - v)) for v, rating in zip(fractions, ratings, strict=True)),
        OLD_RULE_OHMS / min(fractions),
    )
    while whole * min(fractions) >= LEAST_BALANCING_OHMS:
        ohms = tuple(_e24_at_most(whole * v) for v in fractions)
        seen = [_balanced_volts(ohms, at, apart, volts) for at in range(len(ohms))]
        if all(v <= rating * (1 + _NOISE) for v, rating in zip(seen, ratings, strict=True)):
            across = [volts * each / sum(ohms) for each in ohms]
            watts = tuple(v * v / each for v, each in zip(across, ohms, strict=True))
            sizes = tuple(_size(*each) for each in zip(watts, across, ohms, strict=True))
            return Balancing(ohms, watts, sizes, max(seen))
        whole *= 0.9
    return None


def leakage_apart(farads: float, volts: float) -> float:
    """Return by how many amperes the leakage of electrolytics may differ: 0.0015·C·Vs µA, C in µF (from memory)."""
    return 0.0015 * farads * 1e6 * volts * 1e-6


def _balanced_volts(ohms: Sequence[float], which: int, apart: float, volts: float) -> float:
    """Volts across one that leaks least while all others leak `apart` more."""
    others = sum(ohms) - ohms[which]
    return ohms[which] * (volts + apart * others) / sum(ohms)


def _e24_at_most(ohms: float) -> float:
    return float(eseries.at_most(units.Quantity(ohms, "ohm"), "E24").value.to("ohm").magnitude)


def _size(watts: float, volts: float, ohms: float) -> float | None:
    size = resistors.size_to_fit(
        units.Quantity(watts, "W"), units.Quantity(volts, "V"), units.Quantity(ohms, "ohm"), resistors.KNEE
    )
    return None if size is None else float(size.power.magnitude)


def _strip(need: Need, way: Way, together: tuple[OnShelf, ...]) -> tuple[bool, str]:
    """Say whether it must go on a terminal strip, and why. Common practice, no source."""
    if way == Way.ONE:
        part = together[0]
        if need.leads and part.leads and need.leads.lower() != part.leads.lower():
            return True, f"Its leads are {part.leads}, not {need.leads}: put it on a terminal strip."
        return False, ""
    if len(together) == MOST_PARTS:
        return True, "Three parts together go on a terminal strip."
    heavy = any(
        part.value >= BIG_FARADS if need.kind == "capacitor" else (part.watts or 0) >= BIG_WATTS
        for part in together
    )
    if heavy:
        what = "capacitors of this size" if need.kind == "capacitor" else "resistors that get warm"
        return True, f"Put it on a terminal strip: {what} must not hang on each other’s leads."
    if way == Way.SERIES and (need.volts is None or need.volts > NO_STRIP_VOLTS):
        return True, "Put it on a terminal strip: the joint between them is live and must not hang free."
    return False, "Two small parts may be twisted together and soldered in the place of one."


def _reasons(need: Need, way: Way, shares: tuple[Share, ...]) -> Iterator[str]:
    better = list(_better(need, shares[0].part)) if way == Way.ONE else []
    if better:
        yield f"It bears more: {', '.join(better)}."


def _better(need: Need, part: OnShelf) -> Iterator[str]:
    asked: tuple[tuple[float | None, float | None, Callable[[float], str]], ...] = (
        (need.volts, stands_volts(need.kind, part), volts_words),
        (need.watts, part.watts, watts_words),
        (need.amps, part.amps, amps_words),
        (need.hottest, part.hottest, lambda celsius: f"{celsius:g} °C"),
    )
    for wanted, rating, words in asked:
        if wanted is not None and rating is not None and rating > wanted * (1 + _NOISE):
            yield f"{words(rating)} for {words(wanted)}"


def _cautions(need: Need, shares: tuple[Share, ...], balancing: Balancing | None) -> Iterator[str]:
    for share in _differing(shares):
        for what in share.at_its_limit:
            yield f"{share.part.name} is at its limit in {what}: nothing is left in hand."
        rating = stands_volts(need.kind, share.part)
        if share.most_volts is not None and rating is not None and share.most_volts > rating * (1 + _NOISE):
            yield (
                f"With tolerances against it {share.part.name} may see {volts_words(share.most_volts)} of its "
                f"{volts_words(rating)} while the supply comes up."
            )
    if balancing is not None:
        yield "Put the balancing resistors across them: leakage, not size, shares the volts in the long run."
    for share in _differing(shares):
        part = share.part
        if need.amps is not None and part.amps is None and need.kind == "capacitor":
            yield f"The ripple that {part.name} bears isn’t written down."
        if need.hottest is not None and part.hottest is None:
            yield f"The temperature that {part.name} bears isn’t written down."
        if _is_film_instead(need, part):
            yield f"{part.name} is film in place of an electrolytic: fine for coupling, and larger."
        if need.technology and not part.technology:
            yield f"What {part.name} is made of isn’t written down; {need.technology} is wanted."
    if need.kind == "resistor" and need.volts and any(share.part.volts is None for share in shares):
        yield "The volts a resistor stands are the usual ones of its size; its maker’s sheet comes first."


def _differing(shares: tuple[Share, ...]) -> Iterator[Share]:
    """Each part once, though it may be taken twice."""
    seen: set[int] = set()
    for share in shares:
        if share.part.key not in seen:
            seen.add(share.part.key)
            yield share


def volts_words(volts: float) -> str:
    """Return volts as people write them: 450 V."""
    return show(units.Quantity(volts, "V"))


def watts_words(watts: float) -> str:
    """Return watts as people write them: 500 mW."""
    return show(units.Quantity(watts, "W"))


def amps_words(amps: float) -> str:
    """Return amperes as people write them: 120 mA."""
    return show(units.Quantity(amps, "A"))
