"""Speakers and test loads on an amplifier: what it sees, what each driver takes, which loads will do.

Impedances are nominal and taken as resistances: that is how drivers are rated and how power is shared out on paper.
A real driver's impedance goes with frequency, and is several times its nominal value at its resonance.
"""

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import pint

from calc.engine.bounds import inside
from calc.engine.errors import CircuitError
from calc.engine.limits import Standing, stand
from calc.engine.quantities import band, nominal, units

MOST_DRIVERS: Final = 16
MOST_LOADS: Final = 8
_MOST_TOGETHER: Final = 4  # loads in one set-up: more won't hang on a bench
MARGIN: Final = 2.0  # rating of a test load to the power in it; common practice, no source
HARD_DRIVEN: Final = 2.0  # a square wave has twice the power of the sine it was clipped from: textbook
MATCHED: Final = (0.8, 1.25)  # of the tap; IEC 60268-5 lets a driver fall to 0.8 of its rating, from memory
TOLERATED: Final = (0.5, 2.0)  # of the tap, by valve amplifiers, for a while; common practice, no source
# DC resistance to nominal impedance. Common practice, no source; most drivers are about 0.75 to 0.85.
DC_RATIO: Final = 0.8
DC_SPREAD: Final = (0.68, 0.95)
# Rated impedances that drivers and cabinets are sold with. IEC 60268-5 prefers 4, 8 and 16; from memory.
RATED: Final = (2.0, 4.0, 8.0, 16.0, 32.0)
# Beyond these no driver is left to think of: a coil that is open, or one with a short across it.
_OPEN: Final = (3.0, 40.0)  # times the nominal impedance, and ohms
_SHORT: Final = (0.3, 1.0)


class Wiring(StrEnum):
    """How drivers hang together."""

    SERIES = "series"
    PARALLEL = "parallel"
    STRINGS = "strings"  # those of a branch in series, the branches in parallel
    STAGES = "stages"  # those of a branch in parallel, the branches in series


class Amplifier(StrEnum):
    """What the load is a load of."""

    VALVE = "valve"
    SOLID = "solid"


class Fit(StrEnum):
    """How a load suits a tap."""

    MATCHED = "matched"
    LOW = "lower than the tap"
    HIGH = "higher than the tap"
    TOO_LOW = "far too low"
    TOO_HIGH = "far too high"


@dataclass(frozen=True)
class Driver:
    """A driver, or a whole cabinet that is taken as one. Ohms, watts; `branch` counts where the wiring is mixed."""

    impedance: pint.Quantity
    rating: pint.Quantity | None = None
    branch: int = 1


@dataclass(frozen=True)
class Share:
    """What one driver takes: a part of the whole power (a bare ratio), watts, rms volts and amperes.

    `standing` is the watts against the driver's rating, `has_room` whether it would bear the amplifier driven hard;
    both None where it has no rating written down.
    """

    driver: Driver
    part: pint.Quantity
    power: pint.Quantity
    voltage: pint.Quantity
    current: pint.Quantity
    standing: Standing | None
    has_room: bool | None


@dataclass(frozen=True)
class Whole:
    """All drivers together. `without_one` is the highest impedance with any one driver open; None: nothing is left."""

    impedance: pint.Quantity
    voltage: pint.Quantity
    shares: tuple[Share, ...]
    without_one: pint.Quantity | None


@dataclass(frozen=True)
class Match:
    """A load on a tap. `ratio` is load to tap, `reflected` what a valve amplifier's plates see of it, in ohms.

    `power` is what goes into the load, in watts, rated power into the tap given.
    """

    ratio: pint.Quantity
    fit: Fit
    power: pint.Quantity
    reflected: pint.Quantity | None


class Coil(StrEnum):
    """What a DC resistance says of a driver."""

    AS_RATED = "as rated"
    ANOTHER = "another impedance"
    ODD = "unusual"
    OPEN = "open"
    SHORTED = "shorted"
    CLOSE = "too close to call"


@dataclass(frozen=True)
class CoilCheck:
    """A DC resistance held against a nominal impedance: their ratio, what it says, what it would be usual for.

    `likely` is the rated impedance that it fits best, in ohms.
    """

    ratio: pint.Quantity
    coil: Coil
    likely: pint.Quantity


@dataclass(frozen=True)
class BenchLoad:
    """A test load of the shop: ohms, watts, a name."""

    name: str
    impedance: pint.Quantity
    rating: pint.Quantity


@dataclass(frozen=True)
class Setup:
    """One or more test loads, how they are wired, and what they make.

    `most` is the power at which the first of them reaches its rating, `fair` what is asked of them in practice, half
    of it. `off` is how far the impedance is from the tap, in per cent. `standing` says whether the wanted power is
    under `fair` (in), over `fair` but not over `most` (too close), or over `most` (out).
    """

    loads: tuple[BenchLoad, ...]
    wiring: Wiring
    impedance: pint.Quantity
    most: pint.Quantity
    fair: pint.Quantity
    off: pint.Quantity
    standing: Standing


def combine(drivers: Sequence[Driver], wiring: Wiring, power: pint.Quantity) -> Whole:
    """Work out what drivers make together, and what each takes of `power` watts into all of them.

    Source: series and parallel resistances, textbook. `voltage` is rms over the whole.

    Raises:
        CircuitError: none or too many drivers, or a value that no driver has.
    """
    if not drivers:
        raise CircuitError("Write at least one driver.")
    if len(drivers) > MOST_DRIVERS:
        raise CircuitError(f"There can be {MOST_DRIVERS} drivers at most.")
    watts = nominal(units.Quantity(inside(power, "W", "The power", least=1e-9, most=20_000), "W"))
    ohms = [_ohms(driver.impedance, f"Driver {n}") for n, driver in enumerate(drivers, 1)]
    for n, driver in enumerate(drivers, 1):
        if driver.rating is not None:
            inside(driver.rating, "W", f"Driver {n}: its rating", least=0.01, most=20_000)
    branches = _branches([driver.branch for driver in drivers], wiring)
    total = _total(ohms, branches, wiring)
    parts = _parts(ohms, branches, wiring, total)
    shares = tuple(
        _share(driver, part, part * watts, z) for driver, part, z in zip(drivers, parts, ohms, strict=True)
    )
    return Whole(
        impedance=units.Quantity(total, "ohm"),
        voltage=units.Quantity(math.sqrt(watts * total), "V"),
        shares=shares,
        without_one=_without_one(ohms, branches, wiring),
    )


def _ohms(impedance: pint.Quantity, what: str) -> float:
    return nominal(units.Quantity(inside(impedance, "ohm", what, least=0.1, most=100_000), "ohm"))


def _branches(numbers: Sequence[int], wiring: Wiring) -> list[list[int]]:
    """The places of the drivers, branch by branch. All wirings are strings or stages of such branches."""
    if wiring in (Wiring.SERIES, Wiring.PARALLEL):
        return [[place] for place in range(len(numbers))]
    found: dict[int, list[int]] = {}
    for place, number in enumerate(numbers):
        found.setdefault(number, []).append(place)
    return list(found.values())


def _in_series(wiring: Wiring) -> bool:
    """Whether the branches are in series with one another."""
    return wiring in (Wiring.SERIES, Wiring.STAGES)


def _parallel(ohms: Sequence[float]) -> float:
    return 1 / math.fsum(1 / each for each in ohms)


def _of_branch(ohms: Sequence[float], branch: Sequence[int], wiring: Wiring) -> float:
    inner = [ohms[place] for place in branch]
    return _parallel(inner) if _in_series(wiring) else math.fsum(inner)


def _total(ohms: Sequence[float], branches: Sequence[Sequence[int]], wiring: Wiring) -> float:
    each = [_of_branch(ohms, branch, wiring) for branch in branches]
    return math.fsum(each) if _in_series(wiring) else _parallel(each)


def _parts(
    ohms: Sequence[float], branches: Sequence[Sequence[int]], wiring: Wiring, total: float
) -> list[float]:
    """Each driver's part of the whole power, in the drivers' order."""
    parts = [0.0] * len(ohms)
    for branch in branches:
        here = _of_branch(ohms, branch, wiring)
        for place in branch:
            z = ohms[place]
            parts[place] = here * here / (total * z) if _in_series(wiring) else total * z / (here * here)
    return parts


def _without_one(
    ohms: Sequence[float], branches: Sequence[Sequence[int]], wiring: Wiring
) -> pint.Quantity | None:
    """The highest impedance that is left when one driver opens; None where that breaks the only way through."""
    left = []
    for lost in range(len(ohms)):
        if _in_series(wiring):
            after = [[place for place in branch if place != lost] for branch in branches]
            if not all(after):
                return None
        else:
            after = [list(branch) for branch in branches if lost not in branch]
            if not after:
                return None
        left.append(_total(ohms, after, wiring))
    return units.Quantity(max(left), "ohm")


def _share(driver: Driver, part: float, watts: float, ohms: float) -> Share:
    power = units.Quantity(watts, "W")
    rating = driver.rating
    return Share(
        driver=driver,
        part=units.Quantity(part, ""),
        power=power,
        voltage=units.Quantity(math.sqrt(watts * ohms), "V"),
        current=units.Quantity(math.sqrt(watts / ohms), "A"),
        standing=None if rating is None else stand(power, most=rating),
        has_room=None if rating is None else stand(HARD_DRIVEN * power, most=rating) is Standing.IN,
    )


def match(
    load: pint.Quantity,
    tap: pint.Quantity,
    *,
    amplifier: Amplifier,
    power: pint.Quantity,
    primary: pint.Quantity | None = None,
) -> Match:
    """Hold a load against the tap that it is on: for a solid-state amplifier the least load that it is rated for.

    Ohms and watts; `power` is rated, into `tap`. A solid-state amplifier is a voltage: its power goes as tap to load
    (textbook), and under its least load nothing holds. A valve amplifier's is taken as its rated power whatever the
    load, which is the worst for the drivers. `primary` is the output transformer's impedance with the tap matched;
    what is reflected goes as load to tap: turns ratio squared, textbook.

    Raises:
        CircuitError: a value that no such load has.
    """
    z, tapped = _ohms(load, "The load"), _ohms(tap, "The tap")
    watts = inside(power, "W", "The power", least=1e-9, most=20_000)
    reflected = None
    ratio = z / tapped
    if primary is not None and amplifier is Amplifier.VALVE:
        inside(primary, "ohm", "The primary", least=10, most=1e6)
        reflected = (primary * ratio).to("ohm")
    into = watts / ratio if amplifier is Amplifier.SOLID and ratio > 1 else watts
    return Match(units.Quantity(ratio, ""), _fit(ratio, amplifier), units.Quantity(into, "W"), reflected)


def _fit(ratio: float, amplifier: Amplifier) -> Fit:
    near = 1e-9
    if amplifier is Amplifier.SOLID:
        # nominal is nominal: the least load that is written on the amplifier is not to be undercut at all
        if ratio < 1 - 1e-3:
            return Fit.TOO_LOW
        return Fit.MATCHED if ratio <= MATCHED[1] + near else Fit.HIGH
    if ratio < TOLERATED[0] - near:
        return Fit.TOO_LOW
    if ratio > TOLERATED[1] + near:
        return Fit.TOO_HIGH
    if ratio < MATCHED[0] - near:
        return Fit.LOW
    return Fit.MATCHED if ratio <= MATCHED[1] + near else Fit.HIGH


def check_coil(resistance: pint.Quantity, impedance: pint.Quantity) -> CoilCheck:
    """Hold a measured DC resistance against a nominal impedance. Ohms; ± goes through.

    A driver's DC resistance is usually 0.75 to 0.85 of its nominal impedance: common practice, no source. What fits
    no driver that is made is called open or shorted.

    Raises:
        CircuitError: the nominal impedance is none.
    """
    rated = _ohms(impedance, "The impedance")
    inside(resistance, "ohm", "The DC resistance", least=0, most=100e6)
    ratio = (resistance / units.Quantity(rated, "ohm")).to("")
    middle, spread = nominal(ratio), band(ratio)
    would_be = max(nominal(resistance, "ohm"), 1e-9) / DC_RATIO
    candidates = sorted({*RATED, rated})
    likely = min(candidates, key=lambda each: (abs(math.log(each / would_be)), abs(each - rated)))
    verdicts = {_coil(each, rated, likely == rated) for each in (middle - spread, middle + spread)}
    coil = verdicts.pop() if len(verdicts) == 1 else Coil.CLOSE
    return CoilCheck(ratio, coil, units.Quantity(likely, "ohm"))


def _coil(ratio: float, rated: float, is_likely: bool) -> Coil:
    near = 1e-9
    if ratio > _OPEN[0] and ratio * rated > _OPEN[1]:
        return Coil.OPEN
    if ratio < _SHORT[0] and ratio * rated < _SHORT[1]:
        return Coil.SHORTED
    if DC_SPREAD[0] - near <= ratio <= DC_SPREAD[1] + near:
        return Coil.AS_RATED
    return Coil.ODD if is_likely else Coil.ANOTHER


def choose_loads(
    loads: Sequence[BenchLoad],
    tap: pint.Quantity,
    power: pint.Quantity,
    *,
    within: pint.Quantity | None = None,
) -> tuple[Setup, ...]:
    """Say which of the shop's test loads, alone or together, will do for a tap at a power. Best first.

    Up to four loads in series, in parallel, or two strings of two in parallel. Those whose impedance is further from
    the tap than `within` (10 % where None) are left out. Best is what bears the power with the usual margin, then
    the nearer impedance, then fewer loads. A load's rating should be twice the power in it: common practice.

    Raises:
        CircuitError: too many loads, or a value that no such load has.
    """
    if len(loads) > MOST_LOADS:
        raise CircuitError(f"Write {MOST_LOADS} test loads at most.")
    wanted = _ohms(tap, "The tap")
    watts = nominal(units.Quantity(inside(power, "W", "The power", least=1e-9, most=20_000), "W"))
    near = 0.1 if within is None else nominal(within, "percent") / 100
    for each in loads:
        _ohms(each.impedance, each.name)
        inside(each.rating, "W", f"{each.name}: its rating", least=0.01, most=20_000)
    # in floats until one is near enough: there are hundreds of arrangements
    ohms = [nominal(each.impedance, "ohm") for each in loads]
    found: dict[tuple[object, ...], Setup] = {}
    for places, wiring in _arrangements(len(loads)):
        inner = [ohms[place] for place in places]
        total = _total(inner, _bench_branches(len(places), wiring), wiring)
        if abs(total / wanted - 1) <= near + 1e-9:
            some = tuple(loads[place] for place in places)
            found.setdefault(_alike(some, wiring), _setup(some, wiring, wanted, watts))
    order = (Standing.IN, Standing.CLOSE, Standing.OUT)
    return tuple(
        sorted(
            found.values(),
            key=lambda s: (
                order.index(s.standing),
                round(abs(nominal(s.off)), 6),
                len(s.loads),
                -nominal(s.most),
            ),
        )
    )


def _arrangements(count: int) -> Iterator[tuple[tuple[int, ...], Wiring]]:
    """Every choice of up to four of so many loads, by their places, with each way to wire them."""
    for size in range(1, min(_MOST_TOGETHER, count) + 1):
        for some in itertools.combinations(range(count), size):
            yield some, Wiring.SERIES
            if size > 1:
                yield some, Wiring.PARALLEL
            if size == 4:
                first, *rest = some
                for beside in rest:
                    others = [each for each in rest if each != beside]
                    yield (first, beside, *others), Wiring.STRINGS


def _bench_branches(count: int, wiring: Wiring) -> list[list[int]]:
    return _branches([1, 1, 2, 2] if wiring is Wiring.STRINGS else range(count), wiring)


def _alike(some: tuple[BenchLoad, ...], wiring: Wiring) -> tuple[object, ...]:
    """What set-ups have in common that differ only in which of two like loads is in which place."""
    kinds = [(nominal(each.impedance, "ohm"), nominal(each.rating, "W")) for each in some]
    if wiring is Wiring.STRINGS:
        return (wiring, *sorted((tuple(sorted(kinds[:2])), tuple(sorted(kinds[2:])))))
    return (wiring, *sorted(kinds))


def _setup(some: tuple[BenchLoad, ...], wiring: Wiring, wanted: float, watts: float) -> Setup:
    ohms = [nominal(each.impedance, "ohm") for each in some]
    branches = _bench_branches(len(some), wiring)
    total = _total(ohms, branches, wiring)
    parts = _parts(ohms, branches, wiring, total)
    most = min(nominal(each.rating, "W") / part for each, part in zip(some, parts, strict=True))
    if watts <= most / MARGIN * (1 + 1e-9):
        standing = Standing.IN
    else:
        standing = Standing.CLOSE if watts <= most * (1 + 1e-9) else Standing.OUT
    return Setup(
        loads=some,
        wiring=wiring,
        impedance=units.Quantity(total, "ohm"),
        most=units.Quantity(most, "W"),
        fair=units.Quantity(most / MARGIN, "W"),
        off=units.Quantity(100 * (total / wanted - 1), "percent"),
        standing=standing,
    )
