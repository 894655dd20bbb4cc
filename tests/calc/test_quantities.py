"""Values as people at a bench write them, against IEC 60062's examples and pint."""

import re
import subprocess
import sys
from decimal import Decimal

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calc.engine.quantities import (
    LONGEST,
    UNITS,
    QuantityError,
    band,
    nominal,
    parse_measured,
    parse_quantity,
    show,
    split_rating,
    units,
    with_band,
)

IEC = "IEC 60062, examples of the letter code"
ISSUED = "what people at a bench write; common practice, no source"
SI = "SI Brochure, prefixes"
STANDARD = pint.UnitRegistry()  # pint's own reading of text, which ours never uses


@pytest.mark.parametrize(
    ("text", "unit", "value", "source"),
    [
        ("R47", "ohm", "0.47", IEC),
        ("4R7", "ohm", "4.7", IEC),
        ("470R", "ohm", "470", IEC),
        ("4K7", "ohm", "4700", IEC),
        ("47K3", "ohm", "47300", IEC),
        ("4M7", "ohm", "4700000", IEC),
        ("2L2", "ohm", "0.0022", IEC),
        ("1G", "ohm", "1e9", IEC),
        ("1T5", "ohm", "1.5e12", IEC),
        ("p33", "F", "0.33e-12", IEC),
        ("2p2", "F", "2.2e-12", IEC),
        ("4n7", "F", "4.7e-9", IEC),
        ("3µ3", "F", "3.3e-6", IEC),
        ("4m7", "F", "4.7e-3", IEC),
        ("4K7K", "ohm", "4700", IEC + ": the second K is 10 %"),
        ("47K3F", "ohm", "47300", IEC + ": F is 1 %"),
        ("R47J", "ohm", "0.47", IEC + ": J is 5 %"),
        ("4M7M", "ohm", "4700000", IEC + ": the second M is 20 %"),
        ("4n7J", "F", "4.7e-9", IEC + ": J is 5 %"),
        ("100nK", "F", "100e-9", IEC + ": K is 10 %"),
        ("100nFK", "F", "100e-9", IEC + ": K is 10 %"),
        ("100nF", "F", "100e-9", "F is the unit here, not 1 %"),
        ("4k7", "ohm", "4700", ISSUED),
        ("4.7k", "ohm", "4700", ISSUED),
        ("4,7k", "ohm", "4700", ISSUED),
        ("0R22", "ohm", "0.22", ISSUED),
        ("0r22", "ohm", "0.22", ISSUED),
        ("2M2", "ohm", "2200000", ISSUED),
        ("1 meg", "ohm", "1000000", ISSUED),
        ("47n", "F", "47e-9", ISSUED),
        (".022uF", "F", "0.022e-6", ISSUED),
        ("0,022u", "F", "0.022e-6", ISSUED),
        ("20 MFD", "F", "20e-6", ISSUED),
        ("250 mmfd", "F", "250e-12", ISSUED),
        ("16 mV", "V", "0.016", ISSUED),
        ("1/2 W", "W", "0.5", ISSUED),
        ("1/4", "W", "0.25", ISSUED),
        ("120 VAC", "V", "120", ISSUED),
        ("6.3 V AC", "V", "6.3", ISSUED),
        ("5 Vrms", "V", "5", ISSUED),
        ("5V6", "V", "5.6", ISSUED),
        ("1K5", "V", "1500", ISSUED),
        ("35mA", "A", "0.035", ISSUED),
        ("10 H", "H", "10", ISSUED),
        ("4m7", "H", "0.0047", ISSUED),
        ("4.19 MHz", "Hz", "4190000", ISSUED),
        ("60 cps", "Hz", "60", ISSUED),
        ("470", "ohm", "470", "a number alone is in the unit of its box"),
        ("0", "ohm", "0", "a wire link"),
        ("000", "ohm", "0", "a wire link"),
        ("-14", "V", "-14", ISSUED),
        ("−14.5 V", "V", "-14.5", "U+2212"),
        ("+12", "V", "12", ISSUED),
        ("-0V5", "V", "-0.5", ISSUED),
        ("1.234 V", "V", "1.234", "what a meter shows"),
        ("4.7 kΩ", "ohm", "4700", SI + "; U+03A9"),
        ("4.7 k\u2126", "ohm", "4700", SI + "; U+2126"),
        ("100 mΩ", "ohm", "0.1", SI),
        ("47 μF", "F", "47e-6", SI + "; U+03BC"),
        ("47 \u00b5F", "F", "47e-6", SI + "; U+00B5"),
        ("47\u00a0kohm", "ohm", "47000", "a non-breaking space"),
        ("1.2 kVA", "VA", "1200", SI),
        ("250 mJ", "J", "0.25", SI),
        ("350 ms", "s", "0.35", SI),
        ("1.8 m", "m", "1.8", SI),
        ("250 mm", "m", "0.25", SI),
        ("25 °C", "degC", "25", SI),
        ("-10C", "degC", "-10", SI),
        ("12,5 %", "%", "12.5", ISSUED),
    ],
)
def test_values_are_read(text, unit, value, source):
    quantity = parse_quantity(text, unit)
    assert quantity.magnitude == float(Decimal(value)), source
    assert quantity.units == units.Unit("percent" if unit == "%" else unit)


@pytest.mark.parametrize(
    ("text", "unit", "why"),
    [
        ("", "V", "Write a value"),
        ("   ", "V", "Write a value"),
        ("4k7k", "ohm", "can't be read"),
        ("4k7K", "ohm", "two multipliers"),
        ("47kK", "ohm", "can't be read"),
        ("4k7R2", "ohm", "can't be read"),
        ("4k7R", "ohm", "can't be read"),
        ("4.7k2", "ohm", "can't be read"),
        ("47uu", "F", "can't be read"),
        ("100 uuF", "F", "can't be read"),
        ("4.7.1", "ohm", "can't be read"),
        ("4..7", "ohm", "can't be read"),
        ("4.", "ohm", "can't be read"),
        ("4,7,1", "ohm", "can't be read"),
        ("k", "ohm", "can't be read"),
        ("ohm", "ohm", "can't be read"),
        (".", "ohm", "can't be read"),
        ("-", "V", "can't be read"),
        ("--5", "V", "can't be read"),
        ("+-5", "V", "can't be read"),
        ("-4k7", "ohm", "below zero"),
        ("-47n", "F", "below zero"),
        ("-25", "W", "below zero"),
        ("1,500", "V", "Write 1500 or 1.500"),
        ("22,000 ohm", "ohm", "Write 22000 or 22.000"),
        ("22", "F", "of what"),
        ("22M", "F", "M is mega"),
        ("4m7", "ohm", "M is mega and m is milli"),
        ("47m", "ohm", "M is mega and m is milli"),
        ("16 MV", "V", "M is mega"),
        ("35 MA", "A", "M is mega"),
        ("22u/450V", "F", "two values"),
        ("8/16", "ohm", "two values"),
        ("1/0", "W", "divided by zero"),
        ("1/", "W", "two values"),
        ("1/2/3", "W", "two values"),
        ("462 ± 2", "V", "without ±"),
        ("20 Vpp", "V", "not the peak"),
        ("20 Vp-p", "V", "not the peak"),
        ("470J", "ohm", "is in joules"),
        ("4.7 kΩ", "V", "takes volts, and “4.7 kΩ” is in ohms"),
        ("5 mA", "V", "is in amperes"),
        ("77 °F", "degC", "can't be read"),
        ("10 S", "s", "can't be read"),
        ("2 min", "s", "can't be read"),
        ("1e3", "ohm", "can't be read"),
        ("0x10", "ohm", "can't be read"),
        ("1_000", "ohm", "can't be read"),
        ("inf", "V", "can't be read"),
        ("nan", "V", "can't be read"),
        ("٤٧", "ohm", "can't be read"),
        ("４７", "ohm", "can't be read"),
        ("4²", "V", "can't be read"),
        ("meter**9**9", "m", "can't be read"),
        ("5 V; 6 V", "V", "can't be read"),
        ("9" * 33, "V", "too long"),
    ],
)
def test_what_can_not_be_read_is_refused_with_a_reason(text, unit, why):
    with pytest.raises(QuantityError, match=why):
        parse_quantity(text, unit)


@pytest.mark.parametrize("unit", UNITS)
def test_every_message_has_an_example_that_can_be_read(unit):
    examples = [e for part in UNITS[unit].example.split(", ") for e in part.split(" or ")]
    assert all(parse_quantity(example, unit).magnitude >= 0 for example in examples)
    with pytest.raises(QuantityError, match=examples[0]):
        parse_quantity("?", unit)


@given(st.text(max_size=40), st.sampled_from(list(UNITS)))
def test_any_text_is_read_or_refused(text, unit):
    try:
        parse_quantity(text, unit)
    except QuantityError as reason:
        assert str(reason).endswith(".") and len(str(reason)) < 200


@given(st.text("0123456789.,/RkKMmunpLFJ -ΩV", max_size=10), st.sampled_from(["ohm", "F", "V", "W"]))
def test_what_looks_like_a_value_loses_no_digit(text, unit):
    """Whatever is accepted has exactly the digits that were typed; only the point may have moved."""
    try:
        value = parse_quantity(text, unit).magnitude
    except QuantityError:
        return
    if "/" not in text:
        typed = "".join(character for character in text if character.isdigit()).strip("0")
        assert "".join(map(str, Decimal(repr(value)).as_tuple().digits)).strip("0") == typed


@given(st.integers(0, 9999), st.integers(0, 999), st.sampled_from("LRKMGT"))
def test_the_letter_stands_where_the_point_is(whole, fraction, letter):
    power = {"L": "1e-3", "R": "1", "K": "1e3", "M": "1e6", "G": "1e9", "T": "1e12"}[letter]
    expected = Decimal(f"{whole}.{fraction:03}") * Decimal(power)
    assert parse_quantity(f"{whole}{letter}{fraction:03}", "ohm").magnitude == float(expected)


@pytest.mark.parametrize("prefix", ["p", "n", "u", "m", "k", "M", "G", "T"])
@pytest.mark.parametrize("unit", ["V", "ohm", "F", "W", "Hz"])
def test_pint_agrees_with_every_prefix_that_is_taken(prefix, unit):
    """pint, an independent reading of the SI prefixes."""
    try:
        ours = parse_quantity(f"4.7 {prefix}{unit}", unit)
    except QuantityError:
        assert prefix not in UNITS[unit].prefixes
    else:
        theirs = STANDARD.Quantity(f"4.7 {prefix}{unit}").to(unit)
        assert ours.magnitude == pytest.approx(theirs.magnitude, rel=1e-12)


# --- Showing


@pytest.mark.parametrize(
    ("value", "unit", "digits", "shown"),
    [
        (4700, "ohm", 3, "4.70 kΩ"),
        (0.016, "V", 3, "16.0 mV"),
        (999.6, "V", 3, "1.00 kV"),
        (999.4, "V", 3, "999 V"),
        (47e-9, "F", 2, "47 nF"),
        (22e-6, "F", 3, "22.0 µF"),
        (0, "V", 3, "0 V"),
        (-14.25, "V", 4, "−14.25 V"),
        (25, "degC", 3, "25.0 °C"),
        (12.5, "%", 3, "12.5 %"),
        (1e6, "V", 3, "1000 kV"),
        (1e-15, "V", 3, "0.00000100 nV"),
        (1234, "V", 2, "1.2 kV"),
    ],
)  # fmt: skip
def test_quantities_are_shown_in_engineering_notation(value, unit, digits, shown):
    assert show(units.Quantity(value, "percent" if unit == "%" else unit), digits) == shown


@pytest.mark.parametrize(
    ("quantity", "shown"),
    [
        (units.Quantity(4.7, "kohm"), "4.70 kΩ"),
        (units.Quantity(10, "V") / units.Quantity(2, "mA"), "5.00 kΩ"),
        (units.Quantity(10, "V") * units.Quantity(2, "A"), "20.0 W"),
        (units.Quantity(150, "VA"), "150 VA"),
        (units.Quantity(3, "V/s"), "3 V/s"),
    ],
)
def test_computed_quantities_are_shown_in_the_unit_they_are(quantity, shown):
    assert show(quantity) == shown


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_what_is_no_value_is_not_shown(value):
    with pytest.raises(QuantityError):
        show(units.Quantity(value, "V"))


@given(st.floats(1e-13, 1e9), st.sampled_from(["V", "A", "ohm", "F", "H", "W", "Hz", "s", "J", "m"]))
def test_what_is_shown_reads_back(value, unit):
    shown = show(units.Quantity(value, unit), 6)
    if len(shown) <= LONGEST:
        assert parse_quantity(shown, unit).magnitude == pytest.approx(value, rel=1e-5)


# --- What a meter shows, with how sure it is


@pytest.mark.parametrize(
    ("text", "unit", "value", "sure"),
    [
        ("462", "V", 462, 0),
        ("462 ± 3", "V", 462, 3),
        ("462 V ± 3", "V", 462, 3),
        ("462 +/- 3 V", "V", 462, 3),
        ("462 +- 3", "V", 462, 3),
        ("462 mV ± 3 mV", "V", 0.462, 0.003),
        ("46.7 ± 0.6 mA", "A", 0.0467, 0.0006),  # the unit at the end is that of both: SI Brochure 5.4.5
        ("46,7 ± 0,6 mA", "A", 0.0467, 0.0006),
        ("4k7 ± 1 %", "ohm", 4700, 47),
        ("4k7 ± 100R", "ohm", 4700, 100),
        ("4700 ± 4R7", "ohm", 4700, 4.7),
        ("22 ± 1 µF", "F", 22e-6, 1e-6),
        ("-14.5 ± 0.2", "V", -14.5, 0.2),
        ("-14.5 ± 2 %", "V", -14.5, 0.29),
        ("70 ± 2", "%", 70, 2),
        ("70 % ± 2 %", "%", 70, 2),
        ("120 VAC ± 2", "V", 120, 2),
        ("25 °C ± 1", "degC", 25, 1),
        ("0 ± 0.1", "ohm", 0, 0.1),
        ("462 ± 0", "V", 462, 0),
    ],
)
def test_what_a_meter_shows_is_read_with_its_uncertainty(text, unit, value, sure):
    quantity = parse_measured(text, unit)
    assert (nominal(quantity), band(quantity)) == pytest.approx((value, sure), rel=1e-9)


@pytest.mark.parametrize(
    ("text", "unit", "sentence"),
    [
        ("462 ±", "V", "how sure it is"),
        ("± 3", "V", "how sure it is"),
        ("462 ± 3 ± 1", "V", "how sure it is"),
        ("462 ± -3", "V", "below zero"),
        ("462 ± x", "V", "can't be read"),
        ("lots ± 3", "V", "can't be read"),
        ("462 mV ± 3", "V", "two ways"),
        ("4k7 ± 100", "ohm", "two ways"),
        ("4.7k ± 0.1", "ohm", "two ways"),
        ("5V6 ± 0.1", "V", "two ways"),
        ("22u ± 1", "F", "of what?"),
        ("462 ± 3 ohm", "V", "ohms"),
        ("462 ± " + "9" * 40, "V", "too long"),
        ("9" * 100_000 + "x ± 3", "V", "too long"),
    ],
)
def test_an_uncertainty_that_says_nothing_gets_a_sentence(text, unit, sentence):
    with pytest.raises(QuantityError, match=re.escape(sentence)):
        parse_measured(text, unit)


@given(st.text(max_size=40), st.text(max_size=40), st.sampled_from(list(UNITS)))
def test_whatever_stands_around_a_plus_minus_is_read_or_refused(head, tail, unit):
    try:
        quantity = parse_measured(f"{head}±{tail}", unit)
    except QuantityError:
        return
    assert band(quantity) >= 0


@pytest.mark.parametrize(
    ("value", "sure", "unit", "shown"),
    [
        (0.0467, 0.0006, "A", "46.7 ± 0.6 mA"),
        (462, 3, "V", "462 ± 3 V"),
        (4700, 47, "ohm", "4.70 ± 0.05 kΩ"),
        (4700, 120, "ohm", "4.70 ± 0.12 kΩ"),
        (0.3, 0.02, "ohm", "300 ± 20 mΩ"),
        (-14.5, 0.2, "V", "−14.5 ± 0.2 V"),
        (0, 0.1, "V", "0 ± 100 mV"),
        (12.5, 0.5, "%", "12.5 ± 0.5 %"),
    ],
)
def test_a_value_is_shown_as_far_as_its_uncertainty_goes(value, sure, unit, shown):
    assert show(with_band(units.Quantity(value, "percent" if unit == "%" else unit), sure)) == shown


@given(
    st.floats(1e-6, 1e6), st.floats(0.001, 0.5), st.sampled_from(["V", "A", "ohm", "F", "H", "W", "Hz", "s"])
)
def test_what_is_shown_with_its_uncertainty_reads_back(value, share, unit):
    shown = show(with_band(units.Quantity(value, unit), value * share))
    quantity = parse_measured(shown, unit)
    assert nominal(quantity) == pytest.approx(value, abs=value * share * 0.51 + 1e-30)
    assert band(quantity) == pytest.approx(value * share, rel=0.51)


@pytest.mark.parametrize(
    ("text", "unit", "value", "rating"),
    [
        ("22u/450V", "V", "22u", "450V"),
        ("22u 450V", "V", "22u", "450V"),
        ("22 uF / 450 VDC", "V", "22 uF", "450V"),
        ("0.1uF/1.6kV", "V", "0.1uF", "1.6kV"),
        ("1M 1/2W", "W", "1M", "1/2W"),
        ("470R/5W", "W", "470R", "5W"),
        ("22u", "V", "22u", ""),
        ("47n", "V", "47n", ""),
        ("450V", "V", "450V", ""),
        ("1/2", "W", "1/2", ""),
    ],
)
def test_a_rating_behind_a_value_is_told_apart(text, unit, value, rating):
    """As parts lists and parts have it; common practice, no source."""
    assert split_rating(text, unit) == (value, rating)


def test_uncertainties_go_through_arithmetic_as_the_guide_has_it():
    """JCGM 100 (GUM) 5.1.2: of a quotient of unlike readings the relative uncertainties add in squares."""
    ohms = parse_measured("100 ± 3", "V") / parse_measured("2 ± 0.08", "A")
    assert nominal(ohms, "ohm") == pytest.approx(50)
    assert band(ohms, "ohm") == pytest.approx(50 * (0.03**2 + 0.04**2) ** 0.5)


def test_a_band_of_nothing_leaves_a_value_as_it_is():
    assert isinstance(with_band(units.Quantity(3.0, "V"), 0).magnitude, float)


def test_the_engine_loads_fast_and_without_django():
    """Measured in its own process: importing the engine brings in neither Django nor pint."""
    code = "import sys, calc.engine; print(sorted({'django', 'pint', 'scipy'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_quantities_need_no_django():
    code = "import sys, calc.engine.quantities; print('django' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
