"""How much stock is enough: what will be wanted, when to reorder, the best use of a sum. Pure: no rows, no clock.

The methods are published ones; each function names its own. What comes out is an estimate from the shop's own past:
say beside it how many demands stand behind it.
"""

import datetime as dt
import heapq
import math
from array import array
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from itertools import accumulate
from typing import Final

import numpy as np

ALPHA: Final = 0.1  # how fast estimates follow; 0.05 to 0.2 is usual for intermittent demand
FEW_DEMANDS: Final = 5  # below that, smoothing follows single jobs: see `few`
MOST_PIECES: Final = 20_000  # more than that in a lead time is a bulk good: buy it by the box
_LEAST: Final = 1e-17  # a chance below that of the likeliest count can't be told from none
_SLACK: Final = 1e-12
_HIGH: Final = 1e200  # weights above it are scaled down
MOST_AT_ONCE: Final = 400  # pieces: where more may be wanted, parts are worked out one by one
FEW_ROWS: Final = 8  # fewer than that are as fast one by one
_CELLS: Final = 100_000  # numbers that are worked on at a time
_BULK: Final = "That many are wanted that counting them one by one is no help: buy by the box."


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


def tsb_of(histories: Sequence[Sequence[int]]) -> list[float]:
    """Return what `tsb` expects of one period for each, to the last digit, in less time where they are many.

    Each history has a demand, and none below zero.
    """
    if not histories:
        return []
    long = max(map(len, histories))
    wanted = np.array([[*[0] * (long - len(history)), *history] for history in histories], dtype=float)
    begins = np.array([long - len(history) for history in histories])
    first = (wanted > 0).argmax(axis=1)
    size, chance = wanted[np.arange(len(wanted)), first], 1 / (first - begins + 1)
    for period in range(1, long):
        now = wanted[:, period]
        later, asked = first < period, (first < period) & (now > 0)
        chance = np.where(later, chance + ALPHA * ((now > 0) - chance), chance)
        size = np.where(asked, size + ALPHA * (now - size), size)
    return (size * chance).tolist()


def _first(history: Sequence[float], alpha: float, beta: float) -> int | None:
    if not (0 < alpha <= 1 and 0 < beta <= 1):
        raise PlanningError("A smoothing factor lies above 0 and at most at 1.")
    if not all(0 <= wanted < math.inf for wanted in history):
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
    def _more(self) -> array:
        """P(D > n) for each n, added up from the far end, where the figures are small."""
        more = array("d", accumulate(reversed(self.chances)))
        more.pop()
        more.reverse()
        more.append(0.0)
        return more

    @cached_property
    def _short(self) -> array:
        """Expected shortage at each n: the sum of P(D > k) over k from n on."""
        short = array("d", accumulate(reversed(self._more)))
        short.reverse()
        return short

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


@dataclass(frozen=True)
class Ahead:
    """Jobs to come, as Panjer's recursion takes them: P(k) = (a + b/k) P(k-1) for k jobs; `jobs` of them on average.

    `shares` says how many of them take how many pieces.
    """

    a: float
    b: float
    jobs: float
    shares: Mapping[int, float]

    @property
    def pieces(self) -> float:
        """Wanted on average."""
        return self.jobs * sum(n * share for n, share in self.shares.items())


def many_ahead(jobs: float, sizes: Mapping[int, float] = ONE_EACH) -> Ahead:
    """Return the jobs to come where `jobs` of them come on average, each by itself (Poisson).

    `sizes` says how often a job takes how many pieces (shares, or counts of jobs): tubes go by pairs and quads, so the
    pieces are a compound of the jobs.

    Raises:
        PlanningError: a figure that makes no sense.
    """
    if not (math.isfinite(jobs) and jobs >= 0):
        raise PlanningError("How many jobs come is none or more, never less.")
    return Ahead(0.0, jobs, jobs, _shares(sizes))


def few_ahead(
    demands: int,
    periods: float,
    ahead: float,
    sizes: Mapping[int, float] = ONE_EACH,
    *,
    shape: float = 0.5,
) -> Ahead:
    """Return the jobs to come in `ahead` periods, where only few `demands` were seen in `periods`.

    The rate itself is uncertain then: it is Gamma(shape + demands, periods), so the jobs ahead are negative binomial,
    wider than Poisson. The shape of one half is Jeffreys' prior for a Poisson rate; textbook Bayes.

    Raises:
        PlanningError: a figure that makes no sense.
    """
    if demands < 0 or not (periods > 0 and ahead >= 0 and shape > 0 and math.isfinite(periods + ahead)):
        raise PlanningError("Few demands are planned from some periods watched, and some ahead.")
    r = shape + demands
    q = ahead / (periods + ahead)
    return Ahead(q, (r - 1) * q, r * ahead / periods, _shares(sizes))


def many(jobs: float, sizes: Mapping[int, float] = ONE_EACH) -> Spread:
    """Return how many pieces the jobs of `many_ahead` want.

    Raises:
        PlanningError: a figure that makes no sense, or so many pieces that they can't be counted one by one.
    """
    return spread_of(many_ahead(jobs, sizes))


def few(
    demands: int,
    periods: float,
    ahead: float,
    sizes: Mapping[int, float] = ONE_EACH,
    *,
    shape: float = 0.5,
) -> Spread:
    """Return how many pieces the jobs of `few_ahead` want.

    Raises:
        PlanningError: a figure that makes no sense, or so many pieces that they can't be counted one by one.
    """
    return spread_of(few_ahead(demands, periods, ahead, sizes, shape=shape))


def _shares(sizes: Mapping[int, float]) -> dict[int, float]:
    if not sizes or any(n < 1 or not math.isfinite(w) or w < 0 for n, w in sizes.items()):
        raise PlanningError("A job takes one piece or more.")
    total = sum(sizes.values())
    if total <= 0:
        raise PlanningError("A job takes one piece or more.")
    return {n: w / total for n, w in sorted(sizes.items()) if w}


def spread_of(ahead: Ahead) -> Spread:
    """Return how many pieces jobs want.

    From a weight of one for none, made chances at the end: e^-jobs may be below any float.

    Raises:
        PlanningError: so many pieces that they can't be counted one by one.

    Source: H. H. Panjer, "Recursive evaluation of a family of compound distributions", ASTIN Bulletin 12(1), 22-26,
    1981 (from memory).
    """
    a, b, shares = ahead.a, ahead.b, ahead.shares
    biggest = max(shares)
    mean = ahead.pieces
    if mean > MOST_PIECES / 4 or biggest > MOST_PIECES / 4:
        raise PlanningError(_BULK)
    weights = [1.0]
    peak = 1.0
    while True:
        n = len(weights)
        weight = 0.0
        for size, share in shares.items():
            if size <= n:
                weight += (a + b * size / n) * share * weights[n - size]
        weights.append(weight)
        if weight > peak:
            peak = weight
            if peak > _HIGH:
                weights = [each / peak for each in weights]
                peak = 1.0
        if n > mean and n >= biggest and max(weights[-biggest:]) < peak * _LEAST:
            break
        if n > MOST_PIECES:
            raise PlanningError(_BULK)
    total = math.fsum(weights)
    return Spread(tuple(weight / total for weight in weights))


def spreads_of(asked: Sequence[Ahead]) -> list[Spread | None]:
    """Return what `spread_of` says of each, to the last digit, in less time where they are many.

    None for bulk goods, which `spread_of` refuses.
    """
    found: list[Spread | None] = [None] * len(asked)
    alike: dict[int, list[int]] = defaultdict(list)
    for place, ahead in enumerate(asked):
        alike[max(ahead.shares) if ahead.pieces < MOST_AT_ONCE else 0].append(place)
    for biggest, places in alike.items():
        if 0 < biggest < MOST_AT_ONCE and len(places) >= FEW_ROWS:
            rows = _side_by_side([asked[place] for place in places], biggest)
        else:
            rows = [None] * len(places)
        for place, spread in zip(places, rows, strict=True):
            found[place] = spread or _spread_or_none(asked[place])
    return found


def _spread_or_none(ahead: Ahead) -> Spread | None:
    try:
        return spread_of(ahead)
    except PlanningError:
        return None


def _side_by_side(asked: Sequence[Ahead], biggest: int) -> list[Spread | None]:
    """Panjer's recursion for rows of the same `biggest` size, a step of all of them at a time.

    What takes long, or comes near a float's limits, is left out as None. The sums are made in the order in which
    `spread_of` makes them, so that not a digit differs.
    """
    a, b = np.array([each.a for each in asked]), np.array([each.b for each in asked])
    mean = np.array([each.pieces for each in asked])
    shares = {}
    for size in sorted({size for each in asked for size in each.shares}):
        share = np.array([each.shares.get(size, 0.0) for each in asked])
        takes = np.flatnonzero(share)
        shares[size] = (takes, a[takes], b[takes] * size, share[takes])
    weights = np.zeros((MOST_AT_ONCE + 1, len(asked)))
    weights[0] = 1.0
    peak = np.ones(len(asked))
    ends = np.zeros(len(asked), dtype=int)
    with np.errstate(over="ignore", invalid="ignore"):
        for n in range(1, MOST_AT_ONCE + 1):
            now = weights[n]
            for size, (takes, a_of, b_of, share) in shares.items():
                if size <= n:
                    now[takes] += (a_of + b_of / n) * share * weights[n - size, takes]
            np.maximum(peak, now, out=peak)
            if n >= biggest:
                fades = weights[n + 1 - biggest : n + 1].max(axis=0) < peak * _LEAST
                ends[fades & (n > mean) & (ends == 0)] = n
                if ends.all():
                    break
    ends[~(peak <= _HIGH)] = 0
    found: list[Spread | None] = []
    for end, row in zip(ends.tolist(), weights.T, strict=True):
        of = row[: end + 1].tolist()
        total = math.fsum(of)
        found.append(Spread(tuple(weight / total for weight in of)) if end else None)
    return found


def together(parts: Sequence[Mapping[int, float]]) -> Spread:
    """Return how many pieces jobs want together, each of which wants `n` pieces with the chance given for n.

    The jobs are independent of each other; what is missing to one is the chance that a job wants none.

    Raises:
        PlanningError: chances that are more than one together, or a negative count.
    """
    return each_together([parts])[0]


def each_together(asked: Sequence[Sequence[Mapping[int, float]]]) -> list[Spread]:
    """Return what `together` says of each. The same mapping may stand in many places: it is read once.

    Raises:
        PlanningError: as `together` does.
    """
    known = {id(wants): wants for parts in asked for wants in parts}
    numbers = {key: number for number, key in enumerate(known)}
    jobs = [_with_none(wants) for wants in known.values()]
    most = [max(wants) for wants in jobs]
    rows = [[numbers[id(wants)] for wants in parts] for parts in asked]
    widths = [1 + sum(most[number] for number in row) for row in rows]
    found: dict[int, Spread] = {}
    for places in _batches(widths):
        table = _added_up([rows[place] for place in places], jobs, max(widths[place] for place in places))
        for place, chances in zip(places, table, strict=True):
            found[place] = Spread(tuple(chances[: widths[place]].tolist()))
    return [found[place] for place in range(len(rows))]


def _with_none(wants: Mapping[int, float]) -> dict[int, float]:
    """The chances of one job, that of none among them."""
    some = math.fsum(wants.values())
    if some > 1 + 1e-9 or any(n < 0 or not 0 <= chance <= 1 for n, chance in wants.items()):
        raise PlanningError("The chances of one job are more than one together.")
    return {**wants, 0: wants.get(0, 0.0) + max(1 - some, 0.0)}


def _batches(widths: Sequence[int]) -> Iterator[list[int]]:
    """Places of rows of about the same width, as many as fit into a processor's memory."""
    batch: list[int] = []
    for place in sorted(range(len(widths)), key=widths.__getitem__):
        if batch and (len(batch) + 1) * widths[place] > _CELLS:
            yield batch
            batch = []
        batch.append(place)
    if batch:
        yield batch


def _added_up(rows: Sequence[Sequence[int]], jobs: Sequence[Mapping[int, float]], width: int) -> np.ndarray:
    """The chances of each row's jobs together. `rows` name the jobs by their places in `jobs`."""
    named = sorted({number for row in rows for number in row})
    counts = sorted({n for number in named for n in jobs[number]})
    wants = np.array([[jobs[number].get(n, 0.0) for n in counts] for number in named])
    places = {number: place for place, number in enumerate(named)}
    chances = np.zeros((len(rows), width))
    chances[:, 0] = 1.0
    reach = 1  # columns that hold anything yet
    for at in range(max(map(len, rows))):
        taking = [place for place, row in enumerate(rows) if at < len(row)]
        each = wants[[places[rows[place][at]] for place in taking]]
        before = chances[taking, :reach]
        reach = min(reach + counts[-1], width)
        longer = np.zeros((len(taking), reach))
        for column, n in enumerate(counts):
            room = min(before.shape[1], reach - n)
            if room > 0:
                longer[:, n : n + room] += before[:, :room] * each[:, column : column + 1]
        chances[taking, :reach] = longer
    return chances


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
