"""How much stock is enough: what will be wanted, when to reorder, the best use of a sum. Pure: no rows, no clock.

The methods are published ones; each function names its own. What comes out is an estimate from the shop's own past:
say beside it how many demands stand behind it.
"""

import datetime as dt
import heapq
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from itertools import accumulate
from typing import Final

ALPHA: Final = 0.1  # how fast estimates follow; 0.05 to 0.2 is usual for intermittent demand
FEW_DEMANDS: Final = 5  # below that, smoothing follows single jobs: see `few`
MOST_PIECES: Final = 20_000  # more than that in a lead time is a bulk good: buy it by the box
_LEAST: Final = 1e-17  # a chance below that of the likeliest count can't be told from none
_SLACK: Final = 1e-12


class PlanningError(ValueError):
    """These figures can't be planned with; the message says why."""


# --- what will be wanted


@dataclass(frozen=True)
class Forecast:
    """What one period will want: `per_period` pieces on average.

    `size` is how many pieces when any are wanted, `chance` how likely that is in one period. `demands` is the number
    of periods with a demand that stand behind it, of `periods` in all.
    """

    size: float
    chance: float
    per_period: float
    demands: int
    periods: int


def croston(history: Sequence[float], alpha: float = ALPHA, beta: float = ALPHA) -> Forecast | None:
    """Forecast intermittent demand from what each period wanted, oldest first. None where nothing was wanted yet.

    Sizes and the intervals between demands are smoothed apart, and only when there is a demand; the forecast is size
    over interval. Begins at the first demand: its size and the periods up to and including it are the first estimates.

    Raises:
        PlanningError: a negative or endless figure, a smoothing outside (0, 1].

    Source: J. D. Croston, "Forecasting and stock control for intermittent demands", Operational Research Quarterly
    23(3), 289-303, 1972 (from memory).
    """
    first = _first(history, alpha, beta)
    if first is None:
        return None
    size, interval, since = float(history[first]), float(first + 1), 0
    for wanted in history[first + 1 :]:
        since += 1
        if wanted:
            size += alpha * (wanted - size)
            interval += beta * (since - interval)
            since = 0
    return _forecast(history, size, 1 / interval, size / interval)


def sba(history: Sequence[float], alpha: float = ALPHA, beta: float = ALPHA) -> Forecast | None:
    """Forecast as `croston` does, less its bias: times 1 - beta/2.

    Source: A. A. Syntetos, J. E. Boylan, "The accuracy of intermittent demand estimates", International Journal of
    Forecasting 21, 303-314, 2005 (from memory).
    """
    plain = croston(history, alpha, beta)
    if plain is None:
        return None
    return _forecast(history, plain.size, plain.chance, plain.per_period * (1 - beta / 2))


def tsb(history: Sequence[float], alpha: float = ALPHA, beta: float = ALPHA) -> Forecast | None:
    """Forecast with the chance of a demand brought up to date every period, so that what nobody wants fades away.

    Begins as `croston` does, with one over the first interval for the chance.

    Source: R. H. Teunter, A. A. Syntetos, M. Z. Babai, "Intermittent demand: linking forecasting to inventory
    obsolescence", European Journal of Operational Research 214, 606-615, 2011 (from memory).
    """
    first = _first(history, alpha, beta)
    if first is None:
        return None
    size, chance = float(history[first]), 1 / (first + 1)
    for wanted in history[first + 1 :]:
        chance += beta * ((1 if wanted else 0) - chance)
        if wanted:
            size += alpha * (wanted - size)
    return _forecast(history, size, chance, size * chance)


def _first(history: Sequence[float], alpha: float, beta: float) -> int | None:
    if not (0 < alpha <= 1 and 0 < beta <= 1):
        raise PlanningError("A smoothing factor lies above 0 and at most at 1.")
    if any(not math.isfinite(wanted) or wanted < 0 for wanted in history):
        raise PlanningError("What a period wanted is none or more, never less.")
    return next((place for place, wanted in enumerate(history) if wanted), None)


def _forecast(history: Sequence[float], size: float, chance: float, per_period: float) -> Forecast:
    return Forecast(size, chance, per_period, sum(1 for wanted in history if wanted), len(history))


# --- how many may be wanted before more comes


@dataclass(frozen=True)
class Spread:
    """How likely each count of pieces is to be wanted: `chances[n]` for n pieces. They add up to one."""

    chances: tuple[float, ...]

    @cached_property
    def _more(self) -> list[float]:
        """P(D > n) for each n, added up from the far end, where the figures are small."""
        down = list(accumulate(reversed(self.chances)))
        return [*reversed(down[:-1]), 0.0]

    @cached_property
    def _short(self) -> list[float]:
        """Expected shortage at each n: the sum of P(D > k) over k from n on."""
        return list(reversed(list(accumulate(reversed(self._more)))))

    @property
    def mean(self) -> float:
        """Pieces wanted on average."""
        return self._short[0]

    def more_than(self, count: int) -> float:
        """How likely it is that more than that many are wanted."""
        if count < 0:
            return 1.0
        return self._more[count] if count < len(self._more) else 0.0

    def at_most(self, count: int) -> float:
        """How likely that many are enough: P(D ≤ count)."""
        return 0.0 if count < 0 else min(max(1.0 - self.more_than(count), 0.0), 1.0)

    def short_of(self, count: int) -> float:
        """Pieces waited for on average at any moment with that many in stock or on order (expected back-orders).

        Source: C. C. Sherbrooke, Optimal Inventory Modeling of Systems, 2nd ed., 2004 (from memory):
        EBO(s) = sum over d > s of (d - s) P(d).
        """
        if count < 0:
            return self.mean - count
        return self._short[count] if count < len(self._short) else 0.0

    def fill_rate(self, count: int) -> float:
        """Share of demands of one piece that are served off the shelf, reordering one for one: P(D ≤ count - 1).

        Source: S. Axsäter, Inventory Control (from memory).
        """
        return self.at_most(count - 1)

    def jobs_served(self, count: int, sizes: Mapping[int, float]) -> float:
        """Share of jobs that find all they take on the shelf, reordering one for one; `sizes` as for `many`.

        As `fill_rate` for each size: a job of k pieces is served where at most `count` - k are wanted until more comes.
        """
        return math.fsum(share * self.at_most(count - size) for size, share in _shares(sizes).items())

    def enough_for(self, service: float) -> int:
        """Return the smallest whole count with P(D ≤ count) ≥ service: the reorder point, the base stock.

        Raises:
            PlanningError: the service level isn't between 0 and 1.

        Source: G. Hadley, T. M. Whitin, Analysis of Inventory Systems, 1963 (from memory).
        """
        if not 0 < service < 1:
            raise PlanningError("A service level lies between 0 and 100 %, both left out.")
        return next(n for n in range(len(self._more)) if self.at_most(n) >= service - _SLACK)


def newsvendor(spread: Spread, short_costs: float, over_costs: float) -> int:
    """Return how many to have for one season: smallest n with P(D ≤ n) ≥ Cu / (Cu + Co). Textbook.

    `short_costs` is what one too few costs (Cu), `over_costs` one too many (Co), in the same money.

    Raises:
        PlanningError: a cost that isn't above zero.
    """
    if not (short_costs > 0 and over_costs > 0 and math.isfinite(short_costs + over_costs)):
        raise PlanningError("Both costs are above zero: one too few, and one too many.")
    return spread.enough_for(short_costs / (short_costs + over_costs))


ONE_EACH: Final[Mapping[int, float]] = {1: 1.0}


def many(jobs: float, sizes: Mapping[int, float] = ONE_EACH) -> Spread:
    """Return how many pieces are wanted where `jobs` of them come on average, each by itself (Poisson).

    `sizes` says how often a job takes how many pieces (shares, or counts of jobs): tubes go by pairs and quads, so the
    pieces are a compound of the jobs.

    Raises:
        PlanningError: a figure that makes no sense, or so many pieces that they can't be counted one by one.

    Source: H. H. Panjer, "Recursive evaluation of a family of compound distributions", ASTIN Bulletin 12(1), 22-26,
    1981 (from memory).
    """
    if not (math.isfinite(jobs) and jobs >= 0):
        raise PlanningError("How many jobs come is none or more, never less.")
    shares = _shares(sizes)
    return _panjer(0.0, jobs, shares, jobs)


def few(
    demands: int,
    periods: float,
    ahead: float,
    sizes: Mapping[int, float] = ONE_EACH,
    *,
    shape: float = 0.5,
) -> Spread:
    """Return how many pieces are wanted in `ahead` periods, where only few `demands` were seen in `periods`.

    The rate itself is uncertain then: it is Gamma(shape + demands, periods), so the jobs ahead are negative binomial,
    wider than Poisson. The shape of one half is Jeffreys' prior for a Poisson rate; textbook Bayes.

    Raises:
        PlanningError: a figure that makes no sense, or so many pieces that they can't be counted one by one.
    """
    if demands < 0 or not (periods > 0 and ahead >= 0 and shape > 0 and math.isfinite(periods + ahead)):
        raise PlanningError("Few demands are planned from some periods watched, and some ahead.")
    shares = _shares(sizes)
    r = shape + demands
    q = ahead / (periods + ahead)
    return _panjer(q, (r - 1) * q, shares, r * ahead / periods)


def _shares(sizes: Mapping[int, float]) -> dict[int, float]:
    if not sizes or any(n < 1 or not math.isfinite(w) or w < 0 for n, w in sizes.items()):
        raise PlanningError("A job takes one piece or more.")
    total = sum(sizes.values())
    if total <= 0:
        raise PlanningError("A job takes one piece or more.")
    return {n: w / total for n, w in sorted(sizes.items()) if w}


def _panjer(a: float, b: float, shares: Mapping[int, float], jobs: float) -> Spread:
    """Panjer's recursion from a weight of one for none, made chances at the end: e^-jobs may be below any float."""
    biggest = max(shares)
    mean = jobs * sum(n * share for n, share in shares.items())
    if mean > MOST_PIECES / 4 or biggest > MOST_PIECES / 4:
        raise PlanningError("That many are wanted that counting them one by one is no help: buy by the box.")
    weights = [1.0]
    peak = 1.0
    while True:
        n = len(weights)
        weight = sum(
            (a + b * size / n) * share * weights[n - size] for size, share in shares.items() if size <= n
        )
        weights.append(weight)
        if weight > peak:
            peak = weight
            if peak > 1e200:
                weights = [each / peak for each in weights]
                peak = 1.0
        if n > mean and n >= biggest and max(weights[-biggest:]) < peak * _LEAST:
            break
        if n > MOST_PIECES:
            raise PlanningError(
                "That many are wanted that counting them one by one is no help: buy by the box."
            )
    total = math.fsum(weights)
    return Spread(tuple(weight / total for weight in weights))


def together(parts: Iterable[Mapping[int, float]]) -> Spread:
    """Return how many pieces jobs want together, each of which wants `n` pieces with the chance given for n.

    The jobs are independent of each other; what is missing to one is the chance that a job wants none.

    Raises:
        PlanningError: chances that are more than one together, or a negative count.
    """
    chances = [1.0]
    for wants in parts:
        some = math.fsum(wants.values())
        if some > 1 + 1e-9 or any(n < 0 or not 0 <= chance <= 1 for n, chance in wants.items()):
            raise PlanningError("The chances of one job are more than one together.")
        each = {**wants, 0: wants.get(0, 0.0) + max(1 - some, 0.0)}
        longer = [0.0] * (len(chances) + max(each))
        for n, chance in each.items():
            for had, before in enumerate(chances):
                longer[had + n] += before * chance
        chances = longer
    return Spread(tuple(chances))


# --- the best use of a sum


@dataclass(frozen=True)
class Item:
    """A part that may be bought, `pack` pieces at a time, for `price` a pack.

    `stock` is what is there and on order, less what is put aside. `a_job` is how many pieces a job takes on average:
    a pair that waits is one job that waits.
    """

    key: int
    spread: Spread
    stock: int
    price: Decimal
    pack: int = 1
    a_job: float = 1.0


@dataclass(frozen=True)
class Step:
    """One more pack of a part. `gain` is how many jobs fewer wait for it at any moment, on average.

    `spent` and `waiting` are the money gone and the jobs that wait, this step and all before it taken.
    """

    key: int
    pieces: int
    cost: Decimal
    gain: float
    spent: Decimal
    waiting: float


def waiting(items: Iterable[Item]) -> float:
    """Return how many jobs wait for a part at any moment, on average, with what there is."""
    return math.fsum(item.spread.short_of(item.stock) / item.a_job for item in items)


def steps(items: Sequence[Item], least: float = 1e-6) -> Iterator[Step]:
    """Give what to buy next, and next: always the pack that spares the most waiting for its money.

    Every stretch from the beginning is the best that its own sum can buy, since each further piece of a part gains
    less than the one before it. Ends where nothing gains `least` any more.

    Raises:
        PlanningError: a part that costs nothing, or a pack of none.

    Source: C. C. Sherbrooke, "METRIC: a multi-echelon technique for recoverable item control", Operations Research
    16(1), 122-141, 1968; Optimal Inventory Modeling of Systems, 2nd ed., 2004 (both from memory).
    """
    if any(not item.price > 0 or item.pack < 1 or not item.a_job > 0 for item in items):
        raise PlanningError("What is bought costs something, and a pack has one piece or more.")
    spent, left = Decimal(0), waiting(items)
    queue: list[tuple[float, Decimal, int, int]] = []

    def offer(place: int, stock: int) -> None:
        gain = _gain(items[place], stock)
        if gain >= least:
            heapq.heappush(queue, (-gain / float(items[place].price), items[place].price, place, stock))

    for place, item in enumerate(items):
        offer(place, item.stock)
    while queue:
        _, price, place, stock = heapq.heappop(queue)
        item = items[place]
        gain = _gain(item, stock)
        spent, left = spent + price, max(left - gain, 0.0)
        yield Step(item.key, item.pack, price, gain, spent, left)
        offer(place, stock + item.pack)


def _gain(item: Item, stock: int) -> float:
    return (item.spread.short_of(stock) - item.spread.short_of(stock + item.pack)) / item.a_job


@dataclass(frozen=True)
class BestUse:
    """What a sum buys: the packs in their order, what is left, jobs waiting before and after.

    `is_exact` says that no other purchase for at most this sum spares more; else the best one can spare at most
    `at_most_more` more.
    """

    bought: tuple[Step, ...]
    spent: Decimal
    left: Decimal
    before: float
    after: float
    at_most_more: float

    @property
    def is_exact(self) -> bool:
        return self.at_most_more <= 1e-9


def best_use(items: Sequence[Item], money: Decimal) -> BestUse:
    """Spend a sum: the next best pack each time, as long as it can be paid; a part whose pack is too dear is passed.

    Raises:
        PlanningError: a negative sum, or as `steps` does.
    """
    if not (money.is_finite() and money >= 0):
        raise PlanningError("The sum to spend is nothing or more.")
    before = waiting(items)
    bought: list[Step] = []
    passed: set[int] = set()
    spent, after, bound = Decimal(0), before, None
    for step in steps([item for item in items if item.price <= money]):
        if step.key in passed:
            continue
        if spent + step.cost > money:
            passed.add(step.key)
            if (
                bound is None
            ):  # up to here each step was the best for its money: no other purchase gains more than
                bound = (
                    after,
                    step.gain * float((money - spent) / step.cost),
                )  # the part of this one that is paid
            if len(passed) == len(items):
                break
            continue
        spent, after = spent + step.cost, max(after - step.gain, 0.0)
        bought.append(Step(step.key, step.pieces, step.cost, step.gain, spent, after))
    more = max(after - (bound[0] - bound[1]), 0.0) if bound else 0.0
    return BestUse(tuple(bought), spent, money - spent, before, after, more)


# --- money asleep

BANDS: Final = (0, 3, 6, 12, 24)  # months without a move: the lower edges of the report's rows


def months_between(since: dt.date, on: dt.date) -> int:
    """Return the whole calendar months from one day to another: 31 January to 28 February is none, to 1 March one."""
    months = (on.year - since.year) * 12 + on.month - since.month
    return max(months - (1 if on.day < since.day else 0), 0)


def band_of(months: int) -> int:
    """Return the place in BANDS that so many months belong to."""
    return max(place for place, edge in enumerate(BANDS) if months >= edge)
