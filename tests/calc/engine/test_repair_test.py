"""The test after a repair, against the limits of EN 50678 as makers of testers tell them."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.engine import repair_test as engine
from calc.engine.errors import CircuitError
from calc.engine.quantities import nominal, parse_measured, units
from calc.engine.repair_test import EN_50678, Outcome, Protection

STEPS = (
    "DIN VDE 0701-0702:2008, a tester maker's table: 0.3 Ω to 5 m, 0.1 Ω for each further 7.5 m, 1 Ω at most"
)
THICK = "EN 50678:2020 by a tester maker: over 1.5 mm² from length and area, lowest limit 0.1 Ω, 1 Ω at most"
CURRENTS = "EN 50678:2020 by two testers' manuals: 3.5 mA; heating over 3.5 kW 1 mA/kW, 10 mA at most"
INSULATED = "VDE 0701-0702 row of a tester maker's manual: 1 MΩ class I, 2 MΩ class II, 0.25 MΩ class III"


def ohm(text):
    return parse_measured(text, "ohm")


def amp(text):
    return parse_measured(text, "A")


def metres(value):
    return units.Quantity(value, "m")


FINE = {
    Protection.CLASS_I: engine.Measured(
        Protection.CLASS_I,
        looked=True,
        earth=ohm("0.12 ± 0.02"),
        cord=metres(2),
        cord_area=units.Quantity(0.75, "mm**2"),
        insulation=ohm("20 M ± 2 M"),
        protective_current=amp("0.4 mA ± 0.05 mA"),
        works=True,
    ),
    Protection.CLASS_II: engine.Measured(
        Protection.CLASS_II,
        looked=True,
        insulation=ohm("20 M ± 2 M"),
        touch_current=amp("0.1 mA ± 0.01 mA"),
        works=True,
    ),
    Protection.CLASS_III: engine.Measured(
        Protection.CLASS_III, looked=True, insulation=ohm("5 M ± 1 M"), works=True
    ),
}
PROTECTED = pytest.mark.parametrize("protection", FINE)


# --- limits


@pytest.mark.parametrize(
    ("length", "limit", "source"),
    [
        (0.5, 0.3, STEPS),
        (5, 0.3, STEPS),
        (5.5, 0.4, STEPS),
        (10, 0.4, STEPS),
        (12.5, 0.4, STEPS),
        (12.6, 0.5, STEPS),
        (20, 0.5, STEPS),
        (27.5, 0.6, STEPS),
        (57.5, 1.0, STEPS),
        (60, 1.0, STEPS),
        (200, 1.0, STEPS),
    ],
)
def test_the_limit_of_the_earth_goes_up_with_the_cord(length, limit, source):
    for area in (None, units.Quantity(0.75, "mm**2"), units.Quantity(1.5, "mm**2")):
        assert nominal(engine.earth_limit(metres(length), area)) == pytest.approx(limit, abs=1e-12), source


@pytest.mark.parametrize(
    ("length", "area", "limit", "source"),
    [
        # copper by IEC 60028: 1/58 Ω·mm²/m at 20 °C
        (2, 2.5, 0.1 + 2 / 58 / 2.5, THICK),
        (25, 2.5, 0.1 + 25 / 58 / 2.5, THICK),
        (50, 4.0, 0.1 + 50 / 58 / 4, THICK),
        (200, 2.5, 1.0, THICK),
    ],
)
def test_a_thick_cord_has_the_limit_of_its_copper(length, area, limit, source):
    found = engine.earth_limit(metres(length), units.Quantity(area, "mm**2"))
    assert nominal(found) == pytest.approx(limit, abs=1e-4), source


def test_an_edition_without_a_rule_for_thick_cords_takes_the_steps_for_all():
    older = replace(EN_50678, edition="DIN VDE 0701-0702:2008", earth_area=None)
    assert nominal(engine.earth_limit(metres(10), units.Quantity(2.5, "mm**2"), older)) == pytest.approx(0.4)


@given(st.floats(0.1, 200), st.floats(0.1, 200), st.sampled_from([None, 0.75, 1.5, 2.5, 4.0]))
@settings(max_examples=50)
def test_a_longer_cord_is_never_allowed_less(one, two, area):
    copper = area and units.Quantity(area, "mm**2")
    short, long = (nominal(engine.earth_limit(metres(m), copper)) for m in sorted((one, two)))
    assert 0.1 <= short <= long <= 1.0


@pytest.mark.parametrize(
    ("kilowatts", "limit", "source"),
    [
        (None, 3.5e-3, CURRENTS),
        (3.5, 3.5e-3, CURRENTS),
        (6.0, 6.0e-3, CURRENTS),
        (12.0, 10e-3, CURRENTS),
    ],
)
def test_the_limit_of_the_current_knows_heating_elements(kilowatts, limit, source):
    heating = kilowatts and units.Quantity(kilowatts, "kW")
    assert nominal(engine.current_limit(heating)) == pytest.approx(limit, rel=1e-12), source


@pytest.mark.parametrize(
    ("protection", "kilowatts", "megohms", "source"),
    [
        (Protection.CLASS_I, None, 1.0, INSULATED),
        (Protection.CLASS_I, 3.6, 0.3, INSULATED + "; class I heating over 3.5 kW 0.3 MΩ"),
        (Protection.CLASS_II, None, 2.0, INSULATED),
        (Protection.CLASS_III, None, 0.25, INSULATED),
    ],
)
def test_the_insulation_wanted_hangs_on_how_the_gear_is_built(protection, kilowatts, megohms, source):
    heating = kilowatts and units.Quantity(kilowatts, "kW")
    assert nominal(engine.insulation_limit(protection, heating), "Mohm") == pytest.approx(megohms), source


# --- a reading and its limit


@pytest.mark.parametrize(
    ("reading", "outcome"),
    [
        ("0.3", Outcome.PASS),  # right on the limit, without any ±
        ("300 mΩ", Outcome.PASS),
        ("0.3 ± 0.001", Outcome.CLOSE),
        ("0.29 ± 0.02", Outcome.CLOSE),
        ("0.31 ± 0.02", Outcome.CLOSE),
        ("0.25 ± 0.05", Outcome.PASS),  # the ± ends on the limit
        ("0.25 ± 2 %", Outcome.PASS),
        ("0.3001", Outcome.FAIL),
        ("0.35 ± 0.02", Outcome.FAIL),
    ],
)
def test_a_reading_passes_only_where_all_of_its_uncertainty_does(reading, outcome):
    assert engine.compare(ohm(reading), EN_50678.earth) is outcome


@pytest.mark.parametrize(
    ("reading", "outcome"),
    [
        ("1M", Outcome.PASS),
        ("1000k", Outcome.PASS),
        ("1M ± 1k", Outcome.CLOSE),
        ("1.05M ± 10 %", Outcome.CLOSE),
        ("0.95M ± 10 %", Outcome.CLOSE),
        ("1.2M ± 10 %", Outcome.PASS),
        ("0.99M", Outcome.FAIL),
        ("0", Outcome.FAIL),
    ],
)
def test_insulation_is_judged_from_below(reading, outcome):
    assert engine.compare(ohm(reading), EN_50678.insulation, at_least=True) is outcome


@given(st.floats(0, 1), st.floats(0.001, 0.3), st.floats(0.001, 0.3))
@settings(max_examples=50)
def test_a_better_meter_never_turns_a_verdict_round(value, sure, surer):
    wide, narrow = max(sure, surer), min(sure, surer)
    by_wide = engine.compare(ohm(f"{value:.6f} ± {wide:.6f}"), EN_50678.earth)
    by_narrow = engine.compare(ohm(f"{value:.6f} ± {narrow:.6f}"), EN_50678.earth)
    assert by_wide in (by_narrow, Outcome.CLOSE)


@given(st.floats(0, 2), st.floats(0, 2))
@settings(max_examples=50)
def test_less_resistance_is_never_judged_worse(one, two):
    worse = {Outcome.PASS: 0, Outcome.CLOSE: 1, Outcome.FAIL: 2}
    low, high = (worse[engine.compare(ohm(f"{v:.6f} ± 0.02"), EN_50678.earth)] for v in sorted((one, two)))
    assert low <= high


# --- the whole test


@PROTECTED
def test_everything_within_its_limit_passes(protection):
    result = engine.verdict(FINE[protection])
    assert result.passed
    assert all(each.clause.startswith("EN 50678:2020") for each in result.judged)


@pytest.mark.parametrize(
    ("protection", "asked"),
    [
        (Protection.CLASS_I, ["earth", "insulation", "protective_current", "looked", "works"]),
        (Protection.CLASS_II, ["insulation", "touch_current", "looked", "works"]),
        (Protection.CLASS_III, ["insulation", "looked", "works"]),
    ],
)
def test_what_was_not_done_is_no_pass(protection, asked):
    for name in asked:
        result = engine.verdict(replace(FINE[protection], **{name: None}))
        assert result.outcome is Outcome.MISSING, name
        assert len(result.of(Outcome.MISSING)) == 1
    nothing = engine.verdict(engine.Measured(protection))
    assert len(nothing.of(Outcome.MISSING)) == len(asked)


@pytest.mark.parametrize(
    ("protection", "name", "reading"),
    [
        (Protection.CLASS_I, "earth", ohm("0.5 ± 0.02")),
        (Protection.CLASS_I, "insulation", ohm("0.5 M ± 0.1 M")),
        (Protection.CLASS_I, "protective_current", amp("4 mA ± 0.1 mA")),
        (Protection.CLASS_I, "touch_current", amp("0.7 mA ± 0.05 mA")),
        (Protection.CLASS_II, "touch_current", amp("0.7 mA ± 0.05 mA")),
        (Protection.CLASS_III, "insulation", ohm("0.2 M ± 0.01 M")),
        (Protection.CLASS_I, "looked", False),
        (Protection.CLASS_II, "works", False),
    ],
)
def test_one_fail_fails_it_all_and_says_what_to_do(protection, name, reading):
    result = engine.verdict(replace(FINE[protection], **{name: reading}))
    assert result.outcome is Outcome.FAIL
    assert [bool(each.do) for each in result.judged] == [
        each.outcome is Outcome.FAIL for each in result.judged
    ]


def test_a_fail_is_worse_than_what_is_close_and_that_than_what_is_missing():
    close = replace(FINE[Protection.CLASS_I], earth=ohm("0.3 ± 0.02"), works=None)
    assert engine.verdict(close).outcome is Outcome.CLOSE
    assert engine.verdict(replace(close, looked=False)).outcome is Outcome.FAIL


def test_touchable_metal_that_is_not_earthed_wants_its_current_measured():
    found = replace(FINE[Protection.CLASS_I], has_unearthed_metal=True)
    assert engine.verdict(found).outcome is Outcome.MISSING
    assert engine.verdict(replace(found, touch_current=amp("0.2 mA"))).passed


@pytest.mark.parametrize(
    ("protection", "current"),
    [(Protection.CLASS_I, "protective_current"), (Protection.CLASS_II, "touch_current")],
)
def test_insulation_that_would_harm_the_electronics_is_left_to_the_current(protection, current):
    left_out = replace(FINE[protection], insulation=None, insulation_left_out=True)
    result = engine.verdict(left_out)
    assert result.passed
    assert [each.test for each in result.of(Outcome.LEFT)] == [engine.INSULATION]
    assert engine.verdict(replace(left_out, **{current: None})).outcome is Outcome.MISSING
    assert engine.verdict(replace(left_out, **{current: amp("20 mA")})).outcome is Outcome.FAIL


def test_on_class_iii_nothing_stands_in_for_the_insulation():
    found = replace(FINE[Protection.CLASS_III], insulation=None, insulation_left_out=True)
    assert engine.verdict(found).outcome is Outcome.MISSING


@pytest.mark.parametrize("low", ["1.5 M", "1.9 M ± 0.3 M"])
def test_of_class_ii_low_insulation_may_pass_by_the_touch_current(low):
    """A tester maker's manual, VDE 0701-0702: under 2 MΩ the touch current must be measured, and pass."""
    found = replace(FINE[Protection.CLASS_II], insulation=ohm(low))
    assert engine.verdict(found).passed
    assert engine.verdict(replace(found, touch_current=None)).outcome is Outcome.MISSING
    assert engine.verdict(replace(found, touch_current=amp("0.6 mA"))).outcome is Outcome.FAIL


def test_of_class_i_low_insulation_fails_unless_it_heats():
    """A tester maker's table: heating over 3.5 kW with less than 0.3 MΩ is right if the current is."""
    found = replace(FINE[Protection.CLASS_I], insulation=ohm("0.2 M"))
    assert engine.verdict(found).outcome is Outcome.FAIL
    assert engine.verdict(replace(found, heating=units.Quantity(4, "kW"))).passed


@pytest.mark.parametrize("touch", [None, amp("0.1 mA")])
def test_two_wires_without_the_mark_never_pass(touch):
    """Common practice, no source: class 0 is not class II, whatever is measured."""
    found = replace(FINE[Protection.CLASS_II], protection=Protection.TWO_WIRE, touch_current=touch)
    result = engine.verdict(found)
    assert result.outcome is Outcome.FAIL
    assert "local code" in result.of(Outcome.FAIL)[0].do
    assert "Never earth a set whose chassis is connected to the mains" in result.of(Outcome.FAIL)[0].do


def test_a_shop_under_other_rules_passes_in_its_own():
    stricter = replace(EN_50678, edition="The shop’s own rule", earth=units.Quantity(0.05, "ohm"), clauses=())
    result = engine.verdict(FINE[Protection.CLASS_I], stricter)
    assert result.outcome is Outcome.FAIL
    assert result.of(Outcome.FAIL)[0].clause == "The shop’s own rule"


# --- what can't be


@pytest.mark.parametrize(
    ("length", "area"),
    [
        (0, None),
        (-2, None),
        (1e6, None),
        (math.nan, None),
        (math.inf, None),
        (2, 0),
        (2, -1),
        (2, 1e4),
        (2, math.nan),
    ],
)
def test_a_cord_that_cant_be_is_refused(length, area):
    copper = None if area is None else units.Quantity(area, "mm**2")
    with pytest.raises(CircuitError, match="like"):
        engine.earth_limit(metres(length), copper)


@pytest.mark.parametrize("name", ["earth", "insulation", "protective_current", "touch_current"])
@pytest.mark.parametrize("value", [-1.0, math.nan, math.inf])
def test_a_reading_that_cant_be_is_refused(name, value):
    unit = "A" if name.endswith("current") else "ohm"
    found = replace(FINE[Protection.CLASS_I], **{name: units.Quantity(value, unit)})
    with pytest.raises(CircuitError, match="can't be"):
        engine.verdict(found)


def test_an_earth_without_the_length_of_its_cord_is_refused():
    with pytest.raises(CircuitError, match="length of the cord"):
        engine.verdict(replace(FINE[Protection.CLASS_I], cord=None))


def test_heating_that_cant_be_is_refused():
    with pytest.raises(CircuitError, match="like 4 kW"):
        engine.current_limit(units.Quantity(-1, "W"))
