"""Planning computed: against worked examples of the publications' methods, scipy.stats, and every purchase tried."""

import datetime as dt
import itertools
import math
from decimal import Decimal

import numpy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from inventory import planning
from inventory.planning import Item, PlanningError

D = Decimal
HISTORY = [0, 0, 2, 0, 0, 0, 1, 0, 3, 0, 0, 1]
LEVELS = [0.5, 0.8, 0.9, 0.95, 0.98, 0.99, 0.999]


# --- forecasts


@pytest.mark.parametrize(
    "method, size, chance, per_period, source",
    [
        (planning.croston, 1.909, 1 / 2.991, 0.6382, "Croston 1972, worked by hand"),
        (planning.sba, 1.909, 1 / 2.991, 0.6063, "Syntetos & Boylan 2005, worked by hand"),
        (planning.tsb, 1.909, 0.3611, 0.6893, "Teunter, Syntetos & Babai 2011, worked by hand"),
    ],
)
def test_a_worked_history_gives_the_worked_forecast(method, size, chance, per_period, source) -> None:
    forecast = method(HISTORY, 0.1, 0.1)
    assert forecast.size == pytest.approx(size, abs=5e-4)
    assert forecast.chance == pytest.approx(chance, abs=5e-5)
    assert forecast.per_period == pytest.approx(per_period, abs=5e-5)
    assert (forecast.demands, forecast.periods) == (4, 12)


METHODS = pytest.mark.parametrize("method", [planning.croston, planning.sba, planning.tsb])


@METHODS
@pytest.mark.parametrize("history", [[], [0], [0, 0, 0]])
def test_nothing_wanted_yet_is_no_forecast(method, history) -> None:
    assert method(history) is None


@METHODS
@pytest.mark.parametrize("history", [[-1], [0, math.nan], [math.inf, 1]])
def test_a_history_that_makes_no_sense_is_refused(method, history) -> None:
    with pytest.raises(PlanningError):
        method(history)


@METHODS
@pytest.mark.parametrize("factor", [0, -0.1, 1.1])
def test_a_smoothing_factor_out_of_its_range_is_refused(method, factor) -> None:
    with pytest.raises(PlanningError):
        method(HISTORY, factor, 0.1)
    with pytest.raises(PlanningError):
        method(HISTORY, 0.1, factor)


@given(st.lists(st.integers(0, 9), min_size=1, max_size=40), st.integers(1, 24))
@settings(max_examples=50)
def test_what_nobody_wants_any_more_fades_with_tsb_and_stays_with_croston(history, quiet) -> None:
    """Teunter, Syntetos & Babai 2011: what their method is for."""
    if not any(history):
        return
    for method, shrink in ((planning.croston, 1.0), (planning.tsb, 0.9**quiet)):
        before, after = method(history), method(history + [0] * quiet)
        assert after.per_period == pytest.approx(before.per_period * shrink)


@given(st.integers(1, 9), st.integers(1, 6), st.integers(2, 8))
@settings(max_examples=50)
def test_a_steady_demand_is_forecast_as_it_is(size, every, times) -> None:
    forecast = planning.croston(([0] * (every - 1) + [size]) * times)
    assert forecast.per_period == pytest.approx(size / every)
    assert planning.sba(([0] * (every - 1) + [size]) * times).per_period == pytest.approx(size / every * 0.95)


# --- spreads


def test_the_worked_base_stock_table_comes_out() -> None:
    """Poisson, 0.6 a month over three months: Hadley & Whitin 1963, Axsäter; worked by hand, four decimals."""
    spread = planning.many(0.6 * 3)
    enough = [0.1653, 0.4628, 0.7306, 0.8913, 0.9636, 0.9896, 0.9974]
    fill = [0, *enough[:-1]]
    waits = [1.8, 0.9653, 0.4281, 0.1588, 0.0500, 0.0136, 0.0033]
    for count in range(7):
        assert spread.at_most(count) == pytest.approx(enough[count], abs=5e-5)
        assert spread.fill_rate(count) == pytest.approx(fill[count], abs=5e-5)
        assert spread.short_of(count) == pytest.approx(waits[count], abs=6e-5)
    assert spread.enough_for(0.95) == 4
    assert min(s for s in range(9) if spread.fill_rate(s) >= 0.95) == 5


@pytest.mark.parametrize("mean", [0, 1e-9, 0.01, 0.3, 1, 1.8, 7.5, 40, 200, 800, 2000])
def test_jobs_of_one_piece_are_poisson_as_scipy_has_it(mean) -> None:
    spread, judge = planning.many(mean), stats.poisson(mean)
    for count in {0, 1, 2, int(mean), int(mean * 1.1) + 3}:
        assert spread.at_most(count) == pytest.approx(judge.cdf(count), rel=1e-9, abs=1e-13)
        assert spread.more_than(count) == pytest.approx(judge.sf(count), rel=1e-7, abs=1e-13)
    assert spread.mean == pytest.approx(mean, rel=1e-9, abs=1e-12)
    assert [spread.enough_for(level) for level in LEVELS] == [judge.ppf(level) for level in LEVELS]


@pytest.mark.parametrize("mean, count", [(1.8, 3), (7.5, 4), (40, 47), (0.2, 0)])
def test_the_expected_shortage_is_the_sum_scipy_makes(mean, count) -> None:
    judge = stats.poisson(mean).expect(lambda d: numpy.maximum(d - count, 0))
    assert planning.many(mean).short_of(count) == pytest.approx(judge, rel=1e-6)


@pytest.mark.parametrize(
    "demands, periods, ahead", [(0, 12, 1), (1, 6, 0.5), (3, 24, 2), (4, 3, 9), (2, 10, 0)]
)
def test_few_demands_are_negative_binomial_as_scipy_has_it(demands, periods, ahead) -> None:
    spread = planning.few(demands, periods, ahead)
    judge = stats.nbinom(demands + 0.5, periods / (periods + ahead))
    for count in range(12):
        assert spread.at_most(count) == pytest.approx(judge.cdf(count), abs=1e-12)
    assert spread.mean == pytest.approx((demands + 0.5) * ahead / periods)
    assert [spread.enough_for(level) for level in LEVELS] == [judge.ppf(level) for level in LEVELS]


def test_pieces_by_pairs_and_quads_are_the_sum_over_jobs() -> None:
    """Against the compound written out: so many jobs by scipy's Poisson, their sizes added up one job at a time."""
    sizes, mean = {2: 0.75, 4: 0.25}, 1.3
    spread = planning.many(mean, sizes)
    written = [0.0] * 60
    sums = {0: 1.0}
    for jobs in range(25):
        for pieces, chance in sums.items():
            if pieces < 60:
                written[pieces] += stats.poisson(mean).pmf(jobs) * chance
        added: dict[int, float] = {}
        for pieces, chance in sums.items():
            for size, share in sizes.items():
                added[pieces + size] = added.get(pieces + size, 0) + chance * share
        sums = added
    for count in range(40):
        assert spread.at_most(count) == pytest.approx(math.fsum(written[: count + 1]), abs=1e-12)
    assert spread.mean == pytest.approx(mean * 2.5)


def test_a_job_is_served_where_all_its_pieces_are_there() -> None:
    """Of jobs that all take a pair, so many find it as find one of half the stock; scipy's Poisson."""
    pairs = planning.many(0.9, {2: 1})
    for count in range(9):
        assert pairs.jobs_served(count, {2: 1}) == pytest.approx(
            stats.poisson(0.9).cdf(count // 2 - 1), abs=1e-12
        )
    assert pairs.jobs_served(4, {1: 1}) == pairs.fill_rate(4)


def test_sizes_may_be_counts_of_jobs() -> None:
    assert planning.many(1.3, {2: 3, 4: 1}).chances == pytest.approx(
        planning.many(1.3, {2: 0.75, 4: 0.25}).chances
    )


def test_a_part_that_goes_by_quads_is_kept_by_quads() -> None:
    assert planning.many(0.4, {4: 1}).enough_for(0.9) == 4 * stats.poisson(0.4).ppf(0.9)


@given(st.floats(0, 30), st.sampled_from([{1: 1}, {2: 1}, {1: 3, 2: 1}, {4: 2, 1: 1}]))
@settings(max_examples=50)
def test_chances_add_up_and_more_stock_never_waits_longer(jobs, sizes) -> None:
    spread = planning.many(jobs, sizes)
    assert math.fsum(spread.chances) == pytest.approx(1)
    waits = [spread.short_of(count) for count in range(-2, len(spread.chances) + 2)]
    gains = [a - b for a, b in itertools.pairwise(waits)]
    assert all(gain >= -1e-9 for gain in gains)
    assert all(later <= sooner + 1e-9 for sooner, later in itertools.pairwise(gains))


@given(st.floats(0.01, 20), st.floats(0.01, 0.999))
@settings(max_examples=50)
def test_the_reorder_point_is_the_smallest_that_serves(mean, service) -> None:
    spread = planning.many(mean)
    enough = spread.enough_for(service)
    assert spread.at_most(enough) >= service - 1e-9
    assert enough == 0 or spread.at_most(enough - 1) < service


@pytest.mark.parametrize("service", [0, 1, -1, 1.5, math.nan])
def test_a_service_level_that_cannot_be_is_refused(service) -> None:
    with pytest.raises(PlanningError):
        planning.many(1).enough_for(service)


@pytest.mark.parametrize(
    "make",
    [
        lambda: planning.many(-1),
        lambda: planning.many(math.nan),
        lambda: planning.many(math.inf),
        lambda: planning.many(1, {}),
        lambda: planning.many(1, {0: 1}),
        lambda: planning.many(1, {2: 0}),
        lambda: planning.many(1, {2: -1}),
        lambda: planning.many(1e9),
        lambda: planning.many(1, {10**9: 1}),
        lambda: planning.few(-1, 1, 1),
        lambda: planning.few(1, 0, 1),
        lambda: planning.few(1, 1, -1),
        lambda: planning.few(4, 1, 1e9),
        lambda: planning.newsvendor(planning.many(1), 0, 1),
    ],
)
def test_figures_that_make_no_sense_are_refused_with_a_sentence(make) -> None:
    with pytest.raises(PlanningError, match=r"\.$"):
        make()


@pytest.mark.parametrize("short, over", [(3, 1), (1, 1), (19, 1), (1, 9)])
def test_the_one_season_stock_is_scipys_quantile(short, over) -> None:
    assert planning.newsvendor(planning.many(6), short, over) == stats.poisson(6).ppf(short / (short + over))


def test_what_jobs_want_together_is_binomial_where_they_are_alike() -> None:
    spread = planning.together([{2: 0.3}] * 7)
    judge = stats.binom(7, 0.3)
    for count in range(15):
        assert spread.at_most(count) == pytest.approx(judge.cdf(count // 2), abs=1e-12)


def test_no_job_wants_nothing() -> None:
    assert planning.together([]).at_most(0) == 1


@pytest.mark.parametrize("wants", [{1: 0.7, 2: 0.7}, {1: 1.2}, {-1: 0.5}, {1: -0.1}])
def test_chances_of_a_job_that_make_no_sense_are_refused(wants) -> None:
    with pytest.raises(PlanningError):
        planning.together([wants])


# --- many parts at once


SIZES = st.sampled_from([{1: 1}, {2: 1}, {1: 5, 2: 1}, {4: 2, 1: 1}, {1: 1, 2: 1, 3: 2}, {30: 1, 2: 4}])
AHEAD = st.one_of(
    st.builds(planning.many_ahead, st.floats(0, 12) | st.sampled_from([190.0, 1e6]), SIZES),
    st.builds(planning.few_ahead, st.integers(0, 4), st.floats(1, 36), st.floats(0, 8), SIZES),
)


def one_by_one(ahead: planning.Ahead) -> planning.Spread | None:
    try:
        return planning.spread_of(ahead)
    except PlanningError:
        return None


@given(st.lists(AHEAD, min_size=8, max_size=40))
@settings(max_examples=30, deadline=None)
def test_parts_worked_out_at_once_are_as_one_by_one_to_the_last_digit(asked) -> None:
    assert planning.spreads_of(asked) == [one_by_one(ahead) for ahead in asked]


@given(
    st.lists(st.lists(st.integers(0, 9), min_size=1, max_size=36).filter(any), min_size=1, max_size=30),
)
@settings(max_examples=50, deadline=None)
def test_forecasts_made_at_once_are_as_one_by_one_to_the_last_digit(histories) -> None:
    assert planning.tsb_of(histories) == [planning.tsb(history).per_period for history in histories]


def plainly_together(jobs: list[dict[int, float]]) -> list[float]:
    """Job by job, count by count."""
    chances = [1.0]
    for wants in jobs:
        each = {**wants, 0: 1 - math.fsum(wants.values())}
        longer = [0.0] * (len(chances) + max(each))
        for (n, chance), (had, before) in itertools.product(each.items(), enumerate(chances)):
            longer[had + n] += before * chance
        chances = longer
    return chances


WANTS = [{1: 0.02}, {2: 0.5, 1: 0.25}, {4: 1.0}, {3: 0.1, 60: 0.02}, {}, {1: 0.3, 2: 0.3, 3: 0.4}]


@given(st.lists(st.lists(st.sampled_from(WANTS), max_size=12), min_size=1, max_size=20))
@settings(max_examples=50, deadline=None)
def test_what_jobs_want_together_is_as_added_up_plainly(asked) -> None:
    found = planning.each_together(asked)
    assert len(found) == len(asked)
    for spread, jobs in zip(found, asked, strict=True):
        assert spread.chances == pytest.approx(plainly_together(jobs), abs=1e-15)


def test_a_crowd_of_parts_is_added_up_in_batches() -> None:
    """More numbers than are worked on at a time; the binomial is scipy's."""
    found = planning.each_together([[{1: 0.25}] * jobs for jobs in range(0, 600, 2)])
    for jobs in (0, 1, 125, 299):
        assert found[jobs].more_than(100) == pytest.approx(stats.binom(2 * jobs, 0.25).sf(100), abs=1e-12)


# --- the best use of a sum

A, B, C = 1, 2, 3
WORKED = [
    Item(A, planning.many(1.8), 0, D(20)),
    Item(B, planning.many(0.5), 0, D(12)),
    Item(C, planning.many(0.9), 0, D(60)),
]


def test_the_worked_purchase_comes_in_the_worked_order() -> None:
    """Marginal analysis after Sherbrooke 2004, worked by hand: gain for the money, money, back-orders."""
    assert planning.waiting(WORKED) == pytest.approx(3.2)
    first = list(itertools.islice(planning.steps(WORKED), 7))
    assert [step.key for step in first] == [A, B, A, A, C, B, A]
    ratios = [0.04174, 0.03279, 0.02686, 0.01347, 0.00989, 0.00752, 0.00544]
    assert [step.gain / float(step.cost) for step in first] == pytest.approx(ratios, abs=6e-6)
    assert [step.spent for step in first] == [20, 32, 52, 72, 132, 144, 164]
    assert [step.waiting for step in first] == pytest.approx(
        [2.365, 1.972, 1.435, 1.165, 0.572, 0.482, 0.373], abs=6e-4
    )


def best_by_trying(items, money) -> float:
    """Jobs that wait after the best of all purchases that the sum pays."""
    counts = [range(int(money / item.price) + 1) for item in items]
    return min(
        sum(
            item.spread.short_of(item.stock + n * item.pack) / item.a_job
            for item, n in zip(items, bought, strict=True)
        )
        for bought in itertools.product(*counts)
        if sum(item.price * n for item, n in zip(items, bought, strict=True)) <= money
    )


@pytest.mark.parametrize("money", [20, 32, 52, 72, 132, 144, 164])
def test_at_every_corner_of_its_curve_no_other_purchase_is_better(money) -> None:
    use = planning.best_use(WORKED, D(money))
    assert use.spent == money
    assert use.is_exact
    assert use.after == pytest.approx(best_by_trying(WORKED, D(money)))


ITEMS = st.lists(
    st.builds(
        lambda mean, sizes, stock, price, pack: (planning.many(mean, sizes), stock, D(price), pack),
        st.floats(0.05, 4),
        st.sampled_from([{1: 1}, {2: 1}, {2: 3, 4: 1}]),
        st.integers(-1, 3),
        st.integers(5, 40),
        st.integers(1, 4),
    ),
    min_size=1,
    max_size=3,
)


@given(ITEMS, st.integers(0, 120))
@settings(max_examples=50, deadline=None)
def test_no_purchase_beats_it_by_more_than_it_says(drawn, money) -> None:
    items = [Item(key, *rest) for key, rest in enumerate(drawn)]
    use = planning.best_use(items, D(money))
    best = best_by_trying(items, D(money))
    assert use.spent + use.left == money
    assert use.left >= 0
    assert best <= use.after + 1e-9
    assert use.after - use.at_most_more <= best + 1e-5


@pytest.mark.parametrize("money", [D(-1), D("NaN"), D("Infinity")])
def test_a_sum_that_cannot_be_spent_is_refused(money) -> None:
    with pytest.raises(PlanningError):
        planning.best_use(WORKED, money)


def test_nothing_to_spend_buys_nothing() -> None:
    use = planning.best_use(WORKED, D(0))
    assert (use.bought, use.spent, use.before, use.after) == ((), 0, pytest.approx(3.2), pytest.approx(3.2))


def test_a_part_too_dear_for_the_rest_is_passed_for_a_cheaper_one() -> None:
    use = planning.best_use(WORKED, D(84))
    assert [step.key for step in use.bought] == [A, B, A, A, B]


def test_a_part_that_costs_nothing_is_refused() -> None:
    with pytest.raises(PlanningError):
        planning.best_use([Item(1, planning.many(1), 0, D(0))], D(10))


def test_a_pair_that_waits_is_one_job_that_waits() -> None:
    pairs = Item(1, planning.many(0.5, {2: 1}), 0, D(10), pack=2, a_job=2)
    single = Item(2, planning.many(0.5), 0, D(10))
    assert planning.waiting([pairs]) == pytest.approx(planning.waiting([single]))
    assert next(planning.steps([pairs])).gain == pytest.approx(next(planning.steps([single])).gain)


# --- money asleep


@pytest.mark.parametrize(
    "since, on, months",
    [
        (dt.date(2026, 1, 31), dt.date(2026, 2, 28), 0),
        (dt.date(2026, 1, 31), dt.date(2026, 3, 1), 1),
        (dt.date(2025, 11, 25), dt.date(2026, 11, 25), 12),
        (dt.date(2025, 11, 26), dt.date(2026, 11, 25), 11),
        (dt.date(2026, 11, 25), dt.date(2026, 11, 25), 0),
        (dt.date(2026, 11, 26), dt.date(2026, 11, 25), 0),
    ],
)
def test_months_are_whole_calendar_months(since, on, months) -> None:
    assert planning.months_between(since, on) == months


@pytest.mark.parametrize("months, row", [(0, 0), (2, 0), (3, 1), (6, 2), (11, 2), (12, 3), (24, 4), (400, 4)])
def test_each_age_has_its_row(months, row) -> None:
    assert planning.band_of(months) == row
