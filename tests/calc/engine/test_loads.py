"""Power in drivers and test loads, against ngspice and the textbook's round figures."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.engine.errors import CircuitError
from calc.engine.limits import Standing
from calc.engine.loads import (
    Amplifier,
    BenchLoad,
    Coil,
    Driver,
    Fit,
    Wiring,
    check_coil,
    choose_loads,
    combine,
    match,
)
from calc.engine.quantities import nominal, units, with_band
from tests.calc import spice

TEXTBOOK = "series and parallel resistances, textbook"
PRACTICE = "common practice, no source"


def ohms(number):
    return units.Quantity(float(number), "ohm")


def watts(number):
    return units.Quantity(float(number), "W")


def drivers(*impedances, branches=None, rating=None):
    numbers = branches or [1] * len(impedances)
    rated = None if rating is None else watts(rating)
    return [Driver(ohms(z), rated, branch) for z, branch in zip(impedances, numbers, strict=True)]


@pytest.mark.parametrize(
    ("some", "wiring", "together", "parts", "source"),
    [
        (drivers(8), Wiring.SERIES, 8, [1], TEXTBOOK),
        (drivers(8, 16), Wiring.PARALLEL, 5.3333, [2 / 3, 1 / 3], TEXTBOOK),
        (drivers(8, 16), Wiring.SERIES, 24, [1 / 3, 2 / 3], TEXTBOOK),
        (drivers(8, 8), Wiring.PARALLEL, 4, [0.5, 0.5], TEXTBOOK),
        (drivers(8, 8, 8, 8, branches=[1, 1, 2, 2]), Wiring.STRINGS, 8, [0.25] * 4, TEXTBOOK),
        (drivers(8, 8, 8, 8, branches=[1, 1, 2, 2]), Wiring.STAGES, 8, [0.25] * 4, TEXTBOOK),
        (drivers(16, 16, 16, 16), Wiring.PARALLEL, 4, [0.25] * 4, TEXTBOOK),
        (drivers(8, 16, 16, branches=[1, 2, 2]), Wiring.STAGES, 16, [0.5, 0.25, 0.25], TEXTBOOK),
    ],
)
def test_drivers_share_power_as_resistors_do(some, wiring, together, parts, source):
    whole = combine(some, wiring, watts(100))
    assert nominal(whole.impedance) == pytest.approx(together, abs=1e-4), source
    assert [nominal(share.part) for share in whole.shares] == pytest.approx(parts), source
    assert [nominal(share.power) for share in whole.shares] == pytest.approx([100 * part for part in parts])


@pytest.mark.parametrize(("volts", "z", "power"), [(20.0, 8, 50), (28.284, 16, 50), (14.142, 8, 25)])
def test_the_volts_across_the_whole_are_those_of_its_power(volts, z, power):
    """P = V²/R, textbook."""
    assert nominal(combine(drivers(z), Wiring.SERIES, watts(power)).voltage) == pytest.approx(
        volts, abs=0.001
    )


@pytest.mark.parametrize("wiring", list(Wiring))
def test_a_mixed_cabinet_is_as_ngspice_has_it(wiring):
    """ngspice, operating point: the same ohms, the same volts, so the same watts in each."""
    values, branches = [8.0, 16.0, 4.0, 12.0, 6.0], [1, 1, 2, 2, 3]
    whole = combine(drivers(*values, branches=branches), wiring, watts(60))
    volts = nominal(whole.voltage)
    plot = spice.run(f"cabinet\nV1 in 0 {volts!r}\n{_netlist(values, wiring)}\n.op")
    for number, (z, ends) in enumerate(_ends(values, wiring), 1):
        across = plot.last(f"v({ends[0]})") - (plot.last(f"v({ends[1]})") if ends[1] != "0" else 0.0)
        share = whole.shares[number - 1]
        assert nominal(share.power) == pytest.approx(across**2 / z, rel=1e-5)
        assert nominal(share.voltage) == pytest.approx(across, rel=1e-5)
        assert nominal(share.current) == pytest.approx(across / z, rel=1e-5)
    assert -volts / plot.last("i(v1)") == pytest.approx(nominal(whole.impedance), rel=1e-5)


def _ends(values, wiring):
    """The two nodes of each driver, laid out by hand for five drivers of branches 1, 1, 2, 2, 3."""
    nodes = {
        Wiring.SERIES: [("in", "a"), ("a", "b"), ("b", "c"), ("c", "d"), ("d", "0")],
        Wiring.PARALLEL: [("in", "0")] * 5,
        Wiring.STRINGS: [("in", "a"), ("a", "0"), ("in", "b"), ("b", "0"), ("in", "0")],
        Wiring.STAGES: [("in", "a"), ("in", "a"), ("a", "b"), ("a", "b"), ("b", "0")],
    }[wiring]
    return list(zip(values, nodes, strict=True))


def _netlist(values, wiring):
    return "\n".join(f"R{n} {a} {b} {z}" for n, (z, (a, b)) in enumerate(_ends(values, wiring), 1))


mixed = st.lists(
    st.tuples(st.floats(1, 64), st.integers(1, 4)),
    min_size=1,
    max_size=16,
)


@given(mixed, st.sampled_from(list(Wiring)))
@settings(max_examples=50, deadline=None)
def test_no_power_is_lost_or_made(some, wiring):
    whole = combine([Driver(ohms(z), None, branch) for z, branch in some], wiring, watts(80))
    assert math.fsum(nominal(share.power) for share in whole.shares) == pytest.approx(80)


@given(st.lists(st.floats(1, 64), min_size=2, max_size=8))
@settings(max_examples=30, deadline=None)
def test_parallel_is_under_the_least_and_series_over_the_most(values):
    both = [
        nominal(combine(drivers(*values), w, watts(1)).impedance) for w in (Wiring.PARALLEL, Wiring.SERIES)
    ]
    assert both[0] < min(values)
    assert both[1] > max(values)


@pytest.mark.parametrize(
    ("some", "wiring", "left"),
    [
        (drivers(8), Wiring.PARALLEL, None),
        (drivers(8, 8), Wiring.SERIES, None),
        (drivers(8, 16), Wiring.PARALLEL, 16),
        (drivers(8, 8, 8, 8, branches=[1, 1, 2, 2]), Wiring.STRINGS, 16),
        (drivers(8, 8, 8, 8, branches=[1, 1, 2, 2]), Wiring.STAGES, 12),
        (drivers(8, 8, 8, branches=[1, 2, 2]), Wiring.STAGES, None),
    ],
)
def test_a_driver_that_opens_leaves_what_the_wiring_leaves(some, wiring, left):
    """Series and parallel resistances, textbook."""
    found = combine(some, wiring, watts(10)).without_one
    assert (None if found is None else nominal(found)) == (None if left is None else pytest.approx(left))


@pytest.mark.parametrize(
    ("rating", "standing", "has_room"),
    [(24, Standing.OUT, False), (25, Standing.IN, False), (50, Standing.IN, True), (None, None, None)],
)
def test_a_driver_has_room_for_the_square_wave_only_at_twice_its_sine(rating, standing, has_room):
    """A square wave has twice the power of a sine of the same peak: textbook."""
    share = combine(drivers(8, 8, rating=rating), Wiring.PARALLEL, watts(50)).shares[0]
    assert (share.standing, share.has_room) == (standing, has_room)


@pytest.mark.parametrize(
    ("load", "tap", "amplifier", "fit", "power", "source"),
    [
        (8, 8, Amplifier.VALVE, Fit.MATCHED, 50, TEXTBOOK),
        (6.4, 8, Amplifier.VALVE, Fit.MATCHED, 50, "IEC 60268-5: 0.8 of the rating; from memory"),
        (4, 8, Amplifier.VALVE, Fit.LOW, 50, PRACTICE),
        (16, 8, Amplifier.VALVE, Fit.HIGH, 50, PRACTICE),
        (2.67, 8, Amplifier.VALVE, Fit.TOO_LOW, 50, PRACTICE),
        (32, 8, Amplifier.VALVE, Fit.TOO_HIGH, 50, PRACTICE),
        (4, 4, Amplifier.SOLID, Fit.MATCHED, 50, "not under the rated least load; textbook"),
        (8, 4, Amplifier.SOLID, Fit.HIGH, 25, "a voltage into twice the ohms: half the power, textbook"),
        (16, 4, Amplifier.SOLID, Fit.HIGH, 12.5, "a voltage into four times the ohms, textbook"),
        (2.67, 4, Amplifier.SOLID, Fit.TOO_LOW, 50, "under the rated least load"),
    ],
)
def test_a_load_suits_a_tap_or_it_does_not(load, tap, amplifier, fit, power, source):
    found = match(ohms(load), ohms(tap), amplifier=amplifier, power=watts(50))
    assert found.fit is fit, source
    assert nominal(found.power) == pytest.approx(power), source


def test_what_the_plates_see_goes_with_the_load():
    """Turns ratio squared, textbook: 6.6 kΩ on 8 Ω is 13.2 kΩ with 16 Ω there."""
    found = match(ohms(16), ohms(8), amplifier=Amplifier.VALVE, power=watts(20), primary=ohms(6600))
    assert nominal(found.reflected) == pytest.approx(13_200)


@pytest.mark.parametrize(
    ("dc", "spread", "rated", "coil", "likely"),
    [
        (6.4, 0, 8, Coil.AS_RATED, 8),
        (5.8, 0, 8, Coil.AS_RATED, 8),
        (12.8, 0, 16, Coil.AS_RATED, 16),
        (12.9, 0, 8, Coil.ANOTHER, 16),
        (3.2, 0, 8, Coil.ANOTHER, 4),
        (4.9, 0, 8, Coil.ODD, 8),
        (0.2, 0, 8, Coil.SHORTED, 2),
        (1e6, 0, 8, Coil.OPEN, 32),
        (7.6, 0.3, 8, Coil.CLOSE, 8),
        (25, 0, 8, Coil.ANOTHER, 32),
    ],
)
def test_a_coil_s_ohms_say_what_it_is(dc, spread, rated, coil, likely):
    """A coil has 0.75 to 0.85 of its nominal impedance: common practice, no source."""
    found = check_coil(with_band(ohms(dc), spread), ohms(rated))
    assert (found.coil, nominal(found.likely)) == (coil, likely)


def bench(*some):
    return [BenchLoad(f"load {n}", ohms(z), watts(p)) for n, (z, p) in enumerate(some, 1)]


def test_one_load_at_half_its_rating_is_taken_before_two_that_would_do_as_well():
    found = choose_loads(bench((8, 100), (4, 100), (4, 100)), ohms(8), watts(50))
    assert [load.name for load in found[0].loads] == ["load 1"]
    assert [load.name for load in found[1].loads] == ["load 2", "load 3"]
    assert found[1].wiring is Wiring.SERIES
    assert (nominal(found[0].most), nominal(found[0].fair)) == (100, 50)


def test_loads_of_unlike_ratings_bear_what_the_weakest_bears():
    """In series 4 Ω and 12 Ω take one and three quarters: textbook."""
    (found,) = choose_loads(bench((4, 100), (12, 30)), ohms(16), watts(10))
    assert nominal(found.most) == pytest.approx(40)
    assert found.standing is Standing.IN


@pytest.mark.parametrize(
    ("power", "standing"),
    [(50, Standing.IN), (51, Standing.CLOSE), (100, Standing.CLOSE), (101, Standing.OUT)],
)
def test_over_half_its_rating_a_load_is_for_short_tests_and_over_it_for_none(power, standing):
    """Rating twice the power: common practice, no source."""
    assert choose_loads(bench((8, 100)), ohms(8), watts(power))[0].standing is standing


def test_what_is_not_near_the_tap_is_left_out():
    assert not choose_loads(bench((4, 100)), ohms(8), watts(10))
    assert not choose_loads([], ohms(8), watts(10))


def test_like_loads_are_not_listed_twice():
    found = choose_loads(bench(*[(8, 50)] * 8), ohms(8), watts(50))
    assert [(len(setup.loads), setup.wiring) for setup in found] == [(4, Wiring.STRINGS), (1, Wiring.SERIES)]


@given(st.lists(st.tuples(st.sampled_from([2.0, 4.0, 8.0, 16.0]), st.floats(5, 300)), min_size=1, max_size=5))
@settings(max_examples=30, deadline=None)
def test_at_its_most_no_load_is_over_its_rating(some):
    for setup in choose_loads(bench(*some), ohms(8), watts(20)):
        branches = [1, 1, 2, 2] if setup.wiring is Wiring.STRINGS else [1] * len(setup.loads)
        here = [Driver(x.impedance, x.rating, b) for x, b in zip(setup.loads, branches, strict=True)]
        shares = combine(here, setup.wiring, setup.most).shares
        over = [nominal(share.power) / nominal(share.driver.rating) for share in shares]
        assert max(over) == pytest.approx(1)


@pytest.mark.parametrize(
    ("some", "power", "words"),
    [
        ([], 50, "at least one"),
        (drivers(*[8] * 17), 50, "at most"),
        (drivers(0), 50, "Driver 1"),
        (drivers(8, 1e9), 50, "Driver 2"),
        (drivers(8, math.nan), 50, "must be a number"),
        (drivers(8, rating=0), 50, "rating"),
        (drivers(8), 0, "power"),
        (drivers(8), 1e9, "power"),
    ],
)
def test_what_no_cabinet_is_is_refused_in_words(some, power, words):
    with pytest.raises(CircuitError, match=words):
        combine(some, Wiring.PARALLEL, watts(power))


@pytest.mark.parametrize(
    "compute",
    [
        lambda: match(ohms(0), ohms(8), amplifier=Amplifier.VALVE, power=watts(1)),
        lambda: match(ohms(8), ohms(0), amplifier=Amplifier.SOLID, power=watts(1)),
        lambda: match(ohms(8), ohms(8), amplifier=Amplifier.VALVE, power=watts(1), primary=ohms(0)),
        lambda: check_coil(ohms(6), ohms(0)),
        lambda: choose_loads(bench((8, 0)), ohms(8), watts(1)),
        lambda: choose_loads(bench(*[(8, 50)] * 9), ohms(8), watts(1)),
    ],
)
def test_zero_ohms_and_no_rating_are_refused(compute):
    with pytest.raises(CircuitError):
        compute()


def test_of_the_most_loads_the_best_set_up_comes_first():
    """Eight unlike loads; 8 Ω alone and 24 ∥ 12 are both exact, and the one that bears more comes first."""
    some = bench((2, 50), (3, 50), (4, 50), (6, 50), (8, 50), (12, 200), (16, 50), (24, 200))
    found = choose_loads(some, ohms(8), watts(50))
    assert [load.name for load in found[0].loads] == ["load 6", "load 8"]
    standings = [list(Standing).index(setup.standing) for setup in found]
    assert standings.index(list(Standing).index(Standing.CLOSE)) > 0
    assert all(abs(nominal(setup.off)) < 10.001 for setup in found)
