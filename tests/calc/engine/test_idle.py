"""Idle current against data sheets' own cathode resistors, the copper of IEC 60034-1 and a published tube model."""

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from calc.engine.errors import CircuitError
from calc.engine.idle import (
    BiasReading,
    OperatingClass,
    by_cathode_bias,
    by_cathode_resistor,
    by_winding,
    dissipation,
    even_sides,
    from_cathode,
    match,
    next_bias,
    push_pull,
    screen_current,
    target_current,
)
from calc.engine.quantities import band, nominal, parse_measured, units
from calc.engine.tubes import KOREN

REFERENCE = "the design's reference, section 4, worked by hand"


def q(text: str, unit: str):
    return parse_measured(text, unit)


def ma(number: float):
    return units.Quantity(number / 1000, "A")


@pytest.mark.parametrize(
    ("cathode", "resistor", "plate", "screen", "source"),
    [
        ("7.3", "135", 48, "5.5 mA", "Philips EL84 sheet, 250 V, class A with cathode resistor; from memory"),
        (
            "12.2",
            "106",
            100,
            "15 mA",
            "Philips EL34 sheet, 250 V, class A with cathode resistor; from memory",
        ),
        ("12.5", "253", 45, "4.5 mA", "RCA 6V6GT sheet, 250 V, −12.5 V, as a resistor; from memory"),
    ],
)
def test_a_sheet_s_cathode_resistor_gives_the_sheet_s_plate_current(cathode, resistor, plate, screen, source):
    found = by_cathode_bias(q(cathode, "V"), q(resistor, "ohm"), sharing=1, screen=q(screen, "A"))
    assert nominal(found.plate, "mA") == pytest.approx(plate, rel=0.02), source
    assert not found.is_upper_bound


def test_a_cathode_bias_is_worked_out_as_by_hand():
    """Reference, section 4: 23.5 V over 470 Ω is 50 mA; less 4 mA of screen, with 276.5 V, 12.7 W."""
    found = by_cathode_bias(q("23.5", "V"), q("470", "ohm"), sharing=1, screen=q("4 mA", "A"))
    assert nominal(found.cathode, "mA") == pytest.approx(50.0)
    assert nominal(dissipation(found.plate, q("276.5", "V")), "W") == pytest.approx(12.72, abs=0.005)


def test_one_ohm_in_the_cathode_shows_a_milliampere_as_a_millivolt():
    found = by_cathode_resistor(q("35 mV", "V"), q("1", "ohm"))
    assert nominal(found.cathode, "mA") == pytest.approx(35)
    assert found.is_upper_bound
    assert found.screen is None


@given(volts=st.floats(1, 100), ohms=st.floats(10, 2000), sharing=st.integers(1, 8))
@settings(max_examples=50, deadline=None)
def test_tubes_that_share_a_resistor_share_its_current(volts, ohms, sharing):
    assume(volts / ohms < 1.9)
    one = by_cathode_bias(units.Quantity(volts, "V"), units.Quantity(ohms, "ohm"), sharing=1)
    each = by_cathode_bias(units.Quantity(volts, "V"), units.Quantity(ohms, "ohm"), sharing=sharing)
    assert nominal(each.cathode) * sharing == pytest.approx(nominal(one.cathode))


@pytest.mark.parametrize(
    ("warm", "source"),
    [(40, "IEC 60034-1, copper from 20 °C: (235 + θ)/255"), (60, "the same"), (90, "the same")],
)
def test_a_winding_gains_with_its_heat_what_the_standard_of_rotating_machines_says(warm, source):
    cold = by_winding(q("7.2", "V"), q("180", "ohm"))
    hot = by_winding(q("7.2", "V"), q("180", "ohm"), warmer=warm - 20)
    assert nominal(cold.plate) / nominal(hot.plate) == pytest.approx((235 + warm) / 255, rel=0.0015), source
    assert nominal(cold.plate, "mA") == pytest.approx(40)
    assert cold.cathode is None


def test_a_winding_that_feeds_screens_too_gives_an_upper_bound():
    assert by_winding(q("7.2", "V"), q("180", "ohm"), tubes=2, carries_screen=True).is_upper_bound
    assert not by_winding(q("7.2", "V"), q("180", "ohm"), tubes=2).is_upper_bound


def test_the_band_of_the_watts_is_the_one_that_the_law_of_propagation_gives():
    """JCGM 100:2008 (GUM), 5.1.6: relative bands of a product add by their squares."""
    found = by_cathode_resistor(q("35 mV ± 1 %", "V"), q("1 ± 2 %", "ohm"))
    watts = dissipation(found.plate, q("450 ± 3 %", "V"))
    assert band(watts) / nominal(watts) == pytest.approx(math.sqrt(0.01**2 + 0.02**2 + 0.03**2), rel=1e-6)


def test_a_cathode_s_own_band_is_counted_where_it_is_in_both():
    found = by_cathode_bias(q("20 ± 1", "V"), q("400", "ohm"), sharing=1)
    volts = from_cathode(q("300", "V"), q("20 ± 1", "V"), what="plate")
    assert band(found.plate, "mA") == pytest.approx(2.5)
    assert band(volts) == pytest.approx(1)


@pytest.mark.parametrize(
    ("watts", "volts", "share", "milliamperes", "source"),
    [
        ("30", "450", "70", 46.7, REFERENCE + ": 6L6GC"),
        ("25", "460", "70", 38.0, REFERENCE + ": EL34"),
        ("12", "350", "70", 24.0, REFERENCE + ": EL84"),
    ],
)
def test_the_current_for_a_share_of_the_limit(watts, volts, share, milliamperes, source):
    found = target_current(q(share, "%"), q(watts, "W"), q(volts, "V"))
    assert nominal(found, "mA") == pytest.approx(milliamperes, abs=0.06), source


def test_the_screen_s_current_is_ohm_s_law():
    assert nominal(screen_current(q("2.35", "V"), q("470", "ohm")), "mA") == pytest.approx(5.0)


def test_the_spread_is_highest_less_lowest_over_the_mean():
    found = match([ma(36), ma(40), ma(38)])
    assert nominal(found.spread) == pytest.approx(4 / 38 * 100)
    assert nominal(found.difference, "mA") == pytest.approx(4)


@given(st.lists(st.floats(1, 150), min_size=2, max_size=8), st.randoms())
@settings(max_examples=50, deadline=None)
def test_the_match_does_not_hang_on_the_order(currents, random):
    found = match([ma(each) for each in currents])
    random.shuffle(currents)
    again = match([ma(each) for each in currents])
    assert nominal(again.spread) == pytest.approx(nominal(found.spread))
    assert nominal(found.spread) >= 0


def test_a_quad_is_shared_so_that_both_sides_add_up_alike():
    found = even_sides([ma(30), ma(35), ma(36), ma(41)])
    assert {found.one, found.other} == {(0, 3), (1, 2)}
    assert nominal(found.difference, "mA") == pytest.approx(0, abs=1e-9)


@given(st.sampled_from((2, 4, 6, 8)).flatmap(lambda n: st.lists(st.floats(5, 100), min_size=n, max_size=n)))
@settings(max_examples=40, deadline=None)
def test_no_other_way_to_share_tubes_is_more_even(currents):
    from itertools import combinations

    found = even_sides([ma(each) for each in currents])
    half = len(currents) // 2
    least = min(abs(2 * sum(side) - sum(currents)) for side in combinations(currents, half))
    assert nominal(found.difference, "mA") == pytest.approx(least, abs=1e-6)
    assert sorted((*found.one, *found.other)) == list(range(len(currents)))


def of_koren(name: str, grid: float, screen: float = 400.0, plate: float = 430.0) -> float:
    """A power tube by N. Koren, Glass Audio 8(5), 1996; in milliamperes."""
    k = KOREN[name]
    e1 = screen / k.kp * math.log1p(math.exp(k.kp * (1 / k.mu + grid / screen)))
    return 2000 * e1**k.x / k.kg1 * math.atan(plate / k.kvb)


@pytest.mark.parametrize(
    ("name", "near"), [("6L6GC", -42), ("EL34", -36.7), ("6550", -48.8), ("KT88", -54.9)]
)
@pytest.mark.parametrize(("earlier", "now"), [(-4, -2), (-2, 2), (0, -3), (0, 3), (4, 2)])
@pytest.mark.parametrize("wanted", [25, 35, 45])
def test_a_published_tube_comes_near_the_current_that_its_next_bias_is_for(name, near, earlier, now, wanted):
    volts = (near + earlier, near + now)
    readings = [BiasReading(units.Quantity(v, "V"), ma(of_koren(name, v))) for v in volts]
    found = next_bias(*readings, ma(wanted))
    there = of_koren(name, nominal(found.bias))
    assert there <= wanted * 1.08
    assert there >= wanted * 0.92 or found.is_held_back


@pytest.mark.parametrize("wanted", [20, 30, 40, 45])
def test_the_straight_line_goes_through_both_readings(wanted):
    found = next_bias(BiasReading(q("-45", "V"), ma(30)), BiasReading(q("-42", "V"), ma(38)), ma(wanted))
    assert nominal(found.straight) == pytest.approx(-45 + (wanted - 30) * 3 / 8)
    assert nominal(found.slope, "mA/V") == pytest.approx(8 / 3)
    assert nominal(found.bias) == pytest.approx(min(nominal(found.straight), nominal(found.curved)))


@pytest.mark.parametrize("known", [30, 38])
def test_a_target_that_was_read_gets_the_bias_that_it_was_read_at(known):
    readings = {30: -45, 38: -42}
    found = next_bias(BiasReading(q("-45", "V"), ma(30)), BiasReading(q("-42", "V"), ma(38)), ma(known))
    assert nominal(found.bias) == pytest.approx(readings[known])


def test_a_bias_may_be_written_without_its_sign():
    signed = next_bias(BiasReading(q("-45", "V"), ma(30)), BiasReading(q("-42", "V"), ma(38)), ma(46))
    bare = next_bias(BiasReading(q("45", "V"), ma(30)), BiasReading(q("42", "V"), ma(38)), ma(46))
    assert nominal(bare.bias) == nominal(signed.bias) < 0


@given(
    v1=st.floats(-80, -5), gap=st.floats(0.5, 10), i1=st.floats(5, 60), gain=st.floats(1, 40), wanted=st.floats(1, 200)
)  # fmt: skip
@settings(max_examples=50, deadline=None)
def test_the_next_bias_stays_below_zero_and_within_reach_of_what_was_read(v1, gap, i1, gain, wanted):
    assume(v1 + gap < -1 and 0.02 <= gain / gap <= 60)
    readings = (
        BiasReading(units.Quantity(v1, "V"), ma(i1)),
        BiasReading(units.Quantity(v1 + gap, "V"), ma(i1 + gain)),
    )
    bias = nominal(next_bias(*readings, ma(wanted)).bias)
    assert 2 * v1 - 1e-9 <= bias <= min(v1 + 2 * gap, -0.5) + 1e-9


def test_the_next_bias_carries_the_meter_s_band():
    found = next_bias(
        BiasReading(q("-45 ± 0.1", "V"), q("30 mA ± 1 %", "A")),
        BiasReading(q("-40 ± 0.1", "V"), q("45 mA ± 1 %", "A")),
        ma(40),
    )
    assert 0.1 < band(found.bias) < 0.5


@pytest.mark.parametrize(
    ("earlier", "now", "what"),
    [
        (("-45", "38 mA"), ("-42", "30 mA"), "doesn’t rise"),
        (("-45", "30 mA"), ("-42", "30 mA"), "doesn’t rise"),
        (("-42", "30 mA"), ("-42", "38 mA"), "the same"),
        (("-42", "30 mA"), ("-42.02", "29 mA"), "the same"),
        (("-45", "0"), ("-42", "30 mA"), "more than"),
        (("0", "90 mA"), ("-42", "30 mA"), "zero is no bias"),
        (("-42.1", "20 mA"), ("-42", "90 mA"), "no slope"),
        (("-45 ± 1", "30 mA ± 5 %"), ("-44 ± 1", "32 mA ± 5 %"), "too close together"),
        (("-900", "30 mA"), ("-42", "38 mA"), "at least"),
    ],
)
def test_two_readings_that_no_tube_gives_are_refused(earlier, now, what):
    readings = [BiasReading(q(volts, "V"), q(amps, "A")) for volts, amps in (earlier, now)]
    with pytest.raises(CircuitError, match=what):
        next_bias(*readings, ma(40))


@pytest.mark.parametrize(
    ("idle", "load", "power", "expected", "source"),
    [
        (58, "5k6", "55", OperatingClass.AB, "6L6GC, 450 V, class AB1; GE sheet, from memory"),
        (36, "8k", "17", OperatingClass.AB, "EL84, 300 V, class AB; Philips sheet, from memory"),
        (44, "6k6", "26.5", OperatingClass.AB, "6L6, 360 V, class AB1; RCA RC-30, from memory"),
        (67, "5k", "17.5", OperatingClass.A_OR_AB, "6L6, 270 V, called class A1; RCA RC-30, from memory"),
        (25, "11k", "100", OperatingClass.B, "EL34, 775 V, class B; Philips sheet, from memory"),
        (100, "3k", "10", OperatingClass.A, "P = I0²·Raa/2 = 15 W is class A by definition"),
    ],
)
def test_the_class_is_the_one_that_data_sheets_call_it(idle, load, power, expected, source):
    assert push_pull(ma(idle), q(load, "ohm"), power=q(power, "W")).operation is expected, source


def test_straight_tubes_are_in_class_a_until_one_side_just_cuts_off():
    """Worked in time: i = I0·(1 ± sin), the load's power is the mean of (i1 − i2)²·Raa/4."""
    rest, load = 0.05, 6600.0
    steps = [math.sin(2 * math.pi * n / 400) for n in range(400)]
    sides = [(rest * (1 + s), rest * (1 - s)) for s in steps]
    power = sum((one - other) ** 2 * load / 4 for one, other in sides) / len(sides)
    assert min(min(side) for side in sides) == pytest.approx(0)
    found = push_pull(
        units.Quantity(rest, "A"), units.Quantity(load, "ohm"), power=units.Quantity(power, "W")
    )
    assert nominal(found.straight_power, "W") == pytest.approx(power)
    assert nominal(found.peak_current, "A") == pytest.approx(2 * rest)


def test_a_power_that_was_not_measured_is_estimated_from_the_plate_s_swing():
    found = push_pull(ma(40), q("6k6", "ohm"), swing=q("380", "V"))
    assert found.is_estimated
    assert nominal(found.full_power, "W") == pytest.approx(380**2 * 2 / 6600)
    with pytest.raises(CircuitError, match="output power"):
        push_pull(ma(40), q("6k6", "ohm"))


@pytest.mark.parametrize(
    ("act", "what"),
    [
        (lambda: by_cathode_resistor(q("-35 mV", "V"), q("1", "ohm")), "at least 0"),
        (lambda: by_cathode_resistor(q("35", "V"), q("1", "ohm")), "millivolts"),
        (lambda: by_cathode_resistor(q("35 mV", "V"), q("0", "ohm")), "at least"),
        (lambda: by_cathode_resistor(units.Quantity(math.nan, "V"), q("1", "ohm")), "number"),
        (lambda: by_cathode_resistor(units.Quantity(math.inf, "V"), q("1", "ohm")), "number"),
        (lambda: by_cathode_resistor(q("35 mA", "A"), q("1", "ohm")), "in V"),
        (lambda: by_cathode_resistor(q("35 mV", "V"), q("1", "ohm"), screen=q("40 mA", "A")), "more than the cathode"),
        (lambda: by_cathode_bias(q("20", "V"), q("470", "ohm"), sharing=0), "one to eight"),
        (lambda: by_cathode_bias(q("20", "V"), q("470", "ohm"), sharing=9), "one to eight"),
        (lambda: by_winding(q("7", "V"), q("180", "ohm"), warmer=-300), "degrees"),
        (lambda: by_winding(q("7", "V"), q("180", "ohm"), warmer=math.nan), "degrees"),
        (lambda: by_winding(q("7", "V"), q("0.001", "ohm")), "at least"),
        (lambda: from_cathode(q("20", "V"), q("20", "V"), what="plate"), "as high as the plate"),
        (lambda: from_cathode(q("0", "V"), None, what="plate"), "more than"),
        (lambda: target_current(q("0", "%"), q("30", "W"), q("450", "V")), "more than"),
        (lambda: target_current(q("70", "%"), q("30", "W"), q("1 mV", "V")), "Check the resistor"),
        (lambda: match([ma(1)]), "nothing to match"),
        (lambda: match([ma(0), ma(0)]), "draws a current"),
        (lambda: even_sides([ma(1)] * 3), "two, four, six or eight"),
        (lambda: push_pull(ma(40), q("1", "ohm"), power=q("50", "W")), "at least"),
        (lambda: push_pull(ma(40), q("6k6", "ohm"), power=units.Quantity(0, "W")), "at least"),
    ],
)  # fmt: skip
def test_what_can_not_be_is_refused_with_a_sentence(act, what):
    with pytest.raises(CircuitError, match=what):
        act()
