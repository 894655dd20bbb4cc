"""An output transformer against coupled coils in ngspice, a catalogue of tap ratios, and what is worked by hand."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.engine.errors import CircuitError
from calc.engine.limits import Standing
from calc.engine.output_transformer import (
    TYPICAL_LOADS,
    Doubt,
    apart,
    balance,
    halves_agree,
    judge_insulation,
    load_for,
    open_winding,
    reflected,
    shorted_against,
    shorted_by_itself,
    suited,
    taps_apart,
    turns_ratio,
    volts_on_primary,
)
from calc.engine.quantities import band, nominal, parse_measured, units
from calc.engine.tubes import find_power
from tests.calc import spice

REFERENCE = "the design's reference, section 8, worked by hand"


def q(text: str, unit: str):
    return parse_measured(text, unit)


def v(number: float):
    return units.Quantity(number, "V")


@pytest.mark.parametrize(
    ("primary", "secondary", "ratio", "source"),
    [
        ("120", "4.5", 26.67, REFERENCE),
        ("10", "348.2 mV", 28.72, REFERENCE + ": 6.6 kΩ to 8 Ω"),
        ("230", "23", 10.0, "law of induction"),
    ],
)
def test_the_ratio_is_volts_over_volts(primary, secondary, ratio, source):
    assert nominal(turns_ratio(q(primary, "V"), q(secondary, "V"))) == pytest.approx(ratio, rel=5e-4), source


@pytest.mark.parametrize(
    ("ratio", "load", "primary", "source"),
    [
        (120 / 4.5, "8", 5690, REFERENCE),
        (28.7, "8", 6590, REFERENCE),
        (math.sqrt(6600 / 8), "8", 6600, "Zp = n²·Zs"),
    ],
)
def test_a_load_looks_like_the_square_of_the_ratio(ratio, load, primary, source):
    found = reflected(units.Quantity(ratio, ""), q(load, "ohm"))
    assert nominal(found, "ohm") == pytest.approx(primary, rel=5e-4), source


def test_taps_for_four_eight_and_sixteen_ohms_go_by_the_root_of_two():
    """Reference, section 8: V ∝ √Z, so 1 : 1.414 : 2."""
    primaries = [
        reflected(turns_ratio(v(100), v(3 * times)), q(load, "ohm"))
        for times, load in ((1, "4"), (math.sqrt(2), "8"), (2, "16"))
    ]
    assert nominal(taps_apart(primaries)) == pytest.approx(0, abs=1e-9)
    assert nominal(taps_apart([primaries[0], primaries[0] * 1.2])) == pytest.approx(0.2 / 1.1 * 100)


@given(ratio=st.floats(2, 200), load=st.floats(1, 100))
@settings(max_examples=50, deadline=None)
def test_a_load_for_a_primary_is_the_way_back(ratio, load):
    n = units.Quantity(ratio, "")
    primary = reflected(n, units.Quantity(load, "ohm"))
    if 100 <= nominal(primary) <= 200e3:
        assert nominal(load_for(n, primary), "ohm") == pytest.approx(load)


@given(low=st.floats(0.05, 4), step=st.floats(0.01, 4))
@settings(max_examples=50, deadline=None)
def test_more_volts_at_the_tap_are_a_lower_ratio_and_a_lower_primary(low, step):
    first, second = turns_ratio(v(10), v(low)), turns_ratio(v(10), v(low + step))
    assert nominal(second) < nominal(first)
    assert nominal(reflected(second, q("8", "ohm"))) < nominal(reflected(first, q("8", "ohm")))


def test_the_band_of_a_reflected_load_is_twice_that_of_the_ratio():
    """JCGM 100:2008 (GUM), 5.1.6: the square counts twice."""
    ratio = turns_ratio(q("100 ± 1 %", "V"), q("4 ± 1 %", "V"))
    assert band(ratio) / nominal(ratio) == pytest.approx(math.sqrt(2) / 100, rel=1e-3)
    found = reflected(ratio, q("8", "ohm"))
    assert band(found) / nominal(found) == pytest.approx(2 * math.sqrt(2) / 100, rel=1e-3)


def coils(
    *,
    henries: float = 20.0,
    ratio: float = 28.72,
    load: float = 1e9,
    frequency: float = 1000.0,
    lost: float = 0.0,
    shorted: float = 0.0,
) -> spice.Plot:
    """Coupled coils at 10 V: two halves, a secondary, and a part of a half whose turns are shorted by ohms.

    `lost` is the share of the second half's turns that is missing; `shorted` the share of all turns that is shorted.
    """
    half = henries / 4
    second = half * (1 - lost) ** 2
    part = henries * max(shorted, 0.01) ** 2
    ohms = henries * max(shorted, 0.01) * 2 if shorted else 1e9
    return spice.run(
        f"""* output transformer
V1 p1 0 DC 0 AC 10
L1 p1 middle {half}
L2 middle 0 {second}
L3 tap 0 {henries / ratio**2}
L4 part 0 {part}
K12 L1 L2 0.9999
K13 L1 L3 0.9999
K14 L1 L4 0.9999
K23 L2 L3 0.9999
K24 L2 L4 0.9999
K34 L3 L4 0.9999
R1 tap 0 {load}
R2 part 0 {ohms}
R3 middle 0 1e9
.ac lin 1 {frequency} {frequency}
.end
"""
    )


def size(plot: spice.Plot, name: str) -> float:
    return abs(complex(plot[name][-1]))


@pytest.mark.parametrize("ratio", [10.0, 18.9, 26.67, 37.7])
def test_volts_of_coupled_coils_give_their_ratio_and_a_load_looks_as_it_does_to_ngspice(ratio):
    plot = coils(ratio=ratio)
    found = turns_ratio(v(10), v(size(plot, "v(tap)")))
    assert nominal(found) == pytest.approx(ratio, rel=1e-3)
    loaded = coils(ratio=ratio, load=8.0, henries=200.0)
    seen = (10 / complex(loaded["i(v1)"][-1])).real
    assert abs(seen) == pytest.approx(nominal(reflected(found, q("8", "ohm")), "ohm"), rel=0.01)


@pytest.mark.parametrize("henries", [8.0, 20.0, 60.0])
@pytest.mark.parametrize("frequency", [60.0, 1000.0])
def test_a_current_without_a_load_gives_the_coil_that_ngspice_was_given(henries, frequency):
    plot = coils(henries=henries, frequency=frequency)
    amps = units.Quantity(size(plot, "i(v1)"), "A")
    found = open_winding(v(10), amps, units.Quantity(frequency, "Hz"))
    assert nominal(found.inductance, "H") == pytest.approx(henries, rel=0.005)


def test_a_tap_that_is_fed_tells_the_same_coil():
    volts, henries, ratio = 0.5, 20.0, 25.0
    amps = volts / (2 * math.pi * 1000 * henries / ratio**2)
    found = open_winding(v(volts), units.Quantity(amps, "A"), q("1k", "Hz"), ratio=units.Quantity(ratio, ""))
    assert nominal(found.inductance, "H") == pytest.approx(henries)


@pytest.mark.parametrize(("shorted", "doubt"), [(0.0, Doubt.NONE), (0.05, Doubt.MUCH), (0.2, Doubt.MUCH)])
def test_shorted_turns_in_ngspice_are_found_and_a_sound_transformer_is_not_blamed(shorted, doubt):
    """A twentieth and a fifth of all turns, shorted by their own copper."""
    good = coils()
    bad = coils(shorted=shorted)
    opened = [open_winding(v(10), units.Quantity(size(p, "i(v1)"), "A"), q("1k", "Hz")) for p in (bad, good)]
    assert shorted_against(*opened).doubt is doubt
    assert shorted_by_itself(opened[0], q("6k6", "ohm")).doubt is doubt


@pytest.mark.parametrize("lost", [0.02, 0.1])
def test_lost_turns_of_a_half_show_in_ngspice_s_volts(lost):
    plot = coils(lost=lost)
    low = size(plot, "v(middle)")
    found = balance(v(10 - low), v(low))
    assert found.weaker == 2
    assert nominal(found.apart) == pytest.approx(200 * lost / (2 - lost), rel=0.01)
    assert halves_agree(v(10 - low), v(low), v(10)) is Standing.IN


def test_halves_that_do_not_add_up_were_misread():
    assert halves_agree(v(5), v(3), v(10)) is Standing.OUT
    assert halves_agree(v(5), v(5.2), v(10)) is Standing.IN


@given(one=st.floats(0.1, 100), two=st.floats(0.1, 100))
@settings(max_examples=50, deadline=None)
def test_the_balance_is_the_same_the_other_way_round(one, two):
    first, second = balance(v(one), v(two)), balance(v(two), v(one))
    assert nominal(first.apart) == pytest.approx(nominal(second.apart))
    assert nominal(first.apart) >= 0
    assert {first.weaker, second.weaker} == ({0} if one == two else {1, 2})


@pytest.mark.parametrize(
    ("fed", "primary", "source"),
    [("120", 3200, "reference, section 8: mains on a secondary makes kilovolts"), ("1", 26.67, "n = 26.67")],
)
def test_what_is_fed_to_a_tap_stands_on_the_primary_many_times_over(fed, primary, source):
    found = volts_on_primary(turns_ratio(v(120), v(4.5)), q(fed, "V"))
    assert nominal(found) == pytest.approx(primary, rel=1e-3), source


@pytest.mark.parametrize(
    ("kilohms", "stage", "source"),
    [
        (5.6, "two 6L6GC in push-pull", "reference: GE 1973 by an encyclopaedia, 450 V, class AB1, 55 W"),
        (3.4, "two EL34 in push-pull", "reference: 3.4 to 3.8 kΩ"),
        (3.8, "two EL34 in push-pull", "reference: 3.4 to 3.8 kΩ"),
        (8.0, "two EL84 in push-pull", "reference: 8 kΩ"),
        (8.0, "two 6V6GT in push-pull", "reference: 8 kΩ at 285 V"),
        (2.8, "four 6L6GC in push-pull", "half of the pair's"),
    ],
)
def test_a_primary_suits_the_stages_that_the_sheets_give_it(kilohms, stage, source):
    found = [each.words for each, _ in suited(units.Quantity(kilohms * 1000, "ohm"), is_push_pull=True)]
    assert any(words.startswith(stage) for words in found), source


def test_a_single_ended_primary_suits_a_6v6_and_no_pair():
    found = suited(q("5k", "ohm"), is_push_pull=False)
    assert found[0][1] == pytest.approx(1.0)
    assert "one 6V6GT single-ended at 250 V" in [each.words for each, _ in found]
    assert not any(each.is_push_pull for each, _ in found)


@pytest.mark.parametrize("each", TYPICAL_LOADS, ids=lambda each: each.words)
def test_every_typical_load_is_of_a_tube_in_the_table_and_from_memory(each):
    assert find_power(each.tube).name == each.tube
    assert "from memory" in each.source
    assert 500 <= nominal(each.load, "ohm") <= 12e3


@given(st.floats(100, 50e3))
@settings(max_examples=50, deadline=None)
def test_what_suits_is_within_a_quarter_and_sorted_by_nearness(ohms):
    off = [abs(times - 1) for _, times in suited(units.Quantity(ohms, "ohm"), is_push_pull=True)]
    assert off == sorted(off)
    assert all(each <= 0.25 + 1e-9 for each in off)


@pytest.mark.parametrize(
    ("megohms", "standing"),
    [
        (500, Standing.IN),
        (100, Standing.IN),
        (50, Standing.CLOSE),
        (10, Standing.CLOSE),
        (9.9, Standing.OUT),
        (0, Standing.OUT),
    ],
)
def test_the_insulation_is_judged_by_common_practice(megohms, standing):
    assert judge_insulation(units.Quantity(megohms * 1e6, "ohm"))[0] is standing


@pytest.mark.parametrize(
    ("times", "doubt"), [(1.0, Doubt.NONE), (1.3, Doubt.NONE), (1.6, Doubt.SOME), (2.1, Doubt.MUCH)]
)
def test_a_jump_of_the_current_is_doubted_by_its_size(times, doubt):
    good = open_winding(v(10), units.Quantity(1e-3, "A"), q("1k", "Hz"))
    found = open_winding(v(10), units.Quantity(times * 1e-3, "A"), q("1k", "Hz"))
    assert shorted_against(found, good).doubt is doubt


def test_a_good_one_may_be_fed_with_other_volts_but_not_at_another_frequency():
    good = open_winding(v(5), units.Quantity(0.5e-3, "A"), q("1k", "Hz"))
    found = open_winding(v(10), units.Quantity(1e-3, "A"), q("1k", "Hz"))
    assert nominal(shorted_against(found, good).times) == pytest.approx(1.0)
    with pytest.raises(CircuitError, match="same frequency"):
        shorted_against(found, open_winding(v(5), units.Quantity(0.5e-3, "A"), q("100", "Hz")))


def test_a_ratio_off_the_good_one_s_is_told_with_its_sign():
    assert nominal(apart(units.Quantity(27.0, ""), units.Quantity(30.0, ""))) == pytest.approx(-10)


@pytest.mark.parametrize(
    ("act", "what"),
    [
        (lambda: turns_ratio(v(0), v(1)), "nothing at the primary"),
        (lambda: turns_ratio(v(10), v(0)), "nothing at the tap"),
        (lambda: turns_ratio(v(-10), v(1)), "at least"),
        (lambda: turns_ratio(v(1), v(10)), "swapped"),
        (lambda: turns_ratio(v(10), v(10)), "swapped"),
        (lambda: turns_ratio(v(100), v(0.001)), "no output transformer"),
        (lambda: turns_ratio(v(math.nan), v(1)), "number"),
        (lambda: turns_ratio(v(math.inf), v(1)), "number"),
        (lambda: turns_ratio(units.Quantity(10.0, "A"), v(1)), "in V"),
        (lambda: reflected(units.Quantity(28.7, ""), units.Quantity(0.0, "ohm")), "at least"),
        (lambda: reflected(units.Quantity(28.7, ""), units.Quantity(1e9, "ohm")), "at most"),
        (lambda: load_for(units.Quantity(28.7, ""), units.Quantity(1.0, "ohm")), "at least"),
        (lambda: balance(v(0), v(1)), "more than"),
        (lambda: open_winding(v(10), units.Quantity(0.0, "A"), q("1k", "Hz")), "at least"),
        (lambda: open_winding(v(10), q("1 mA", "A"), units.Quantity(0.0, "Hz")), "at least"),
        (lambda: taps_apart([units.Quantity(5e3, "ohm")]), "two taps"),
        (lambda: suited(units.Quantity(math.inf, "ohm"), is_push_pull=True), "number"),
        (lambda: judge_insulation(units.Quantity(-1.0, "ohm")), "at least"),
    ],
)
def test_what_can_not_be_is_refused_with_a_sentence(act, what):
    with pytest.raises(CircuitError, match=what):
        act()
