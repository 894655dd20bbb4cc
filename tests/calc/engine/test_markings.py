"""What is printed on parts, against the examples of IEC 60062, EIA-96 and EIA-476."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.engine.errors import CircuitError, QuantityError
from calc.engine.eseries import SERIES
from calc.engine.limits import Standing
from calc.engine.markings import (
    BAND_TOLERANCES,
    COLOURS,
    EIA96_POWERS,
    LETTER_TOLERANCES,
    deviation,
    fits,
    from_the_other_end,
    letter_code,
    read_bands,
    read_code,
    read_date,
    write,
)
from calc.engine.quantities import band, nominal, parse_quantity, units, with_band

IEC = "IEC 60062:2016"
IEC_M = "IEC 60062:2016, from memory"
OLD = "tables before IEC 60062:2016, from memory"
EIA96 = "EIA-96, from memory"
TRADE = "common practice, no source"


def percents(marking):
    return [each.below.to("percent").magnitude for each in marking.tolerances]


@pytest.mark.parametrize(
    ("bands", "value", "tolerances", "tempco", "source"),
    [
        ("yellow violet red", 4700, [20], None, IEC),
        ("yellow violet red gold", 4700, [5], None, IEC),
        ("brown black black silver", 10, [10], None, IEC),
        ("red red gold gold", 2.2, [5], None, IEC),
        ("yellow violet silver red", 0.47, [2], None, IEC),
        ("brown black pink brown", 0.01, [1], None, "IEC 60062:2016, pink, as its publisher's abstract says"),
        ("brown grey green none", 1_800_000, [20], None, IEC),
        ("yellow violet green red brown", 47_500, [1], None, IEC),
        ("brown black black orange green", 100_000, [0.5], None, IEC),
        ("brown black black black blue", 100, [0.25], None, IEC_M),
        ("brown black black black violet", 100, [0.1], None, IEC_M),
        ("brown black black black orange", 100, [0.05, 3], None, f"{IEC_M}; {OLD}"),
        ("brown black black black yellow", 100, [0.02, 4], None, f"{IEC_M}; {OLD}"),
        ("brown black black black grey", 100, [0.01, 0.05], None, f"{IEC_M}; {OLD}"),
        ("red red black brown brown red", 2200, [1], 50, IEC_M),
        ("red red black brown brown brown", 2200, [1], 100, IEC_M),
        ("red red black brown brown black", 2200, [1], 250, IEC_M),
        ("red red black brown brown violet", 2200, [1], 5, IEC_M),
        ("white white white", 99e9, [20], None, IEC),
        ("Yellow PURPLE red Gray", 4700, [0.01, 0.05], None, f"{IEC_M}; everyday names of two colours"),
        ("black", 0, [], None, TRADE),
    ],
)
def test_bands_are_read_by_the_colour_code(bands, value, tolerances, tempco, source):
    found = read_bands(bands.split())
    assert found.value.to("ohm").magnitude == pytest.approx(value, rel=1e-12)
    assert percents(found) == tolerances
    assert (found.tempco.to("ppm/kelvin").magnitude if found.tempco is not None else None) == tempco


@pytest.mark.parametrize("colour", ["orange", "yellow", "grey"])
def test_where_editions_differ_each_reading_names_its_own(colour):
    editions = [each.edition for each in read_bands(["brown", "black", "black", colour]).tolerances]
    assert len(set(editions)) == 2 and all(editions)


@pytest.mark.parametrize(
    ("bands", "words"),
    [
        ("", "three to six"),
        ("red", "three to six"),
        ("red red", "three to six"),
        ("red red red red red red red", "three to six"),
        ("black red red gold", "other end"),
        ("gold red violet yellow", "other end"),
        ("red none red", "other end"),
        ("red red none", "other end"),
        ("red red red black", "tolerance"),
        ("red red red white", "tolerance"),
        ("red red red pink", "tolerance"),
        ("red red red red red white", "temperature"),
        ("red red beige", "other end"),
        ("red <script> red", "other end"),
    ],
)
def test_bands_that_say_nothing_are_refused(bands, words):
    with pytest.raises(QuantityError, match=words):
        read_bands(bands.split())


def test_bands_may_be_read_from_the_other_end():
    assert from_the_other_end(["yellow", "violet", "red", "brown"]).value.magnitude == 12e7
    assert from_the_other_end(["yellow", "violet", "red", "gold"]) is None


def test_a_value_that_nobody_sells_is_doubted():
    assert read_bands(["yellow", "black", "red", "gold"]).doubts
    assert not read_bands(["yellow", "violet", "red", "gold"]).doubts


def test_a_fifth_band_of_an_old_military_part_is_doubted():
    assert any("failure" in each for each in read_bands(["yellow", "violet", "red", "gold", "brown"]).doubts)


@pytest.mark.parametrize(
    ("text", "unit", "value", "tolerance", "source"),
    [
        ("R47", "ohm", 0.47, None, IEC),
        ("4R7", "ohm", 4.7, None, IEC),
        ("470R", "ohm", 470, None, IEC),
        ("4K7", "ohm", 4700, None, IEC),
        ("47K3", "ohm", 47_300, None, IEC),
        ("4M7", "ohm", 4_700_000, None, IEC),
        ("2L2", "ohm", 0.0022, None, IEC),
        ("p33", "F", 0.33e-12, None, IEC),
        ("2p2", "F", 2.2e-12, None, IEC),
        ("4n7", "F", 4.7e-9, None, IEC),
        ("3µ3", "F", 3.3e-6, None, IEC),
        ("4K7K", "ohm", 4700, (10, 10), IEC_M + ": the first letter multiplies, the second is the tolerance"),
        ("4M7M", "ohm", 4_700_000, (20, 20), IEC_M),
        ("47K3F", "ohm", 47_300, (1, 1), IEC_M),
        ("R47J", "ohm", 0.47, (5, 5), IEC_M),
        ("100nK", "F", 100e-9, (10, 10), IEC_M),
        ("22uT", "F", 22e-6, (10, 50), IEC_M),
        ("100uQ", "F", 100e-6, (10, 30), IEC_M),
        ("47uS", "F", 47e-6, (20, 50), IEC_M),
        ("10nZ", "F", 10e-9, (20, 80), IEC_M),
        ("103", "ohm", 10_000, None, IEC),
        ("103", "F", 10e-9, None, IEC),
        ("473", "F", 47e-9, None, IEC),
        ("473J", "F", 47e-9, (5, 5), IEC_M),
        ("473K", "F", 47e-9, (10, 10), IEC_M),
        ("104Z", "F", 100e-9, (20, 80), IEC_M),
        ("1002", "ohm", 10_000, None, IEC),
        ("4752", "ohm", 47_500, None, IEC),
        ("479", "F", 4.7e-12, None, "capacitors' exponent 9, from memory"),
        ("338", "F", 0.33e-12, None, "capacitors' exponent 8, from memory"),
        ("22", "F", 22e-12, None, TRADE),
        ("0", "ohm", 0, None, "IEC 60062, a wire link"),
        ("000", "ohm", 0, None, "IEC 60062, a wire link"),
        ("01A", "ohm", 100, (1, 1), EIA96),
        ("01C", "ohm", 10_000, (1, 1), EIA96),
        ("68C", "ohm", 49_900, (1, 1), EIA96),
        ("96D", "ohm", 976_000, (1, 1), EIA96),
        ("51X", "ohm", 33.2, (1, 1), EIA96),
        ("30Z", "ohm", 0.2, (1, 1), EIA96),
        ("4k7", "ohm", 4700, None, TRADE),
        (".022", "ohm", 0.022, None, TRADE),
    ],
)
def test_the_likeliest_reading_of_a_print_comes_first(text, unit, value, tolerance, source):
    first = read_code(text, unit)[0]
    assert first.value.to(unit).magnitude == pytest.approx(value, rel=1e-12, abs=0)
    found = [(t.below.to("percent").magnitude, t.above.to("percent").magnitude) for t in first.tolerances]
    assert found == ([tolerance] if tolerance else [])


@pytest.mark.parametrize(
    ("text", "width", "source"),
    [("4p7B", 0.1, IEC_M), ("4p7C", 0.25, IEC_M), ("4p7D", 0.5, IEC_M), ("8p2F", None, "F is farads behind a letter"),
     ("4p7G", 2, IEC_M), ("509C", 0.25, IEC_M)],
)  # fmt: skip
def test_below_ten_picofarads_the_letter_is_in_picofarads(text, width, source):
    found = read_code(text, "F")[0].tolerances
    assert [each.below.to("pF").magnitude for each in found] == ([pytest.approx(width)] if width else [])


def test_from_ten_picofarads_on_the_letter_is_in_per_cent():
    assert percents(read_code("10pD", "F")[0]) == [0.5]


@pytest.mark.parametrize(
    ("text", "unit", "values", "source"),
    [
        ("22R", "ohm", [22, 1.65], f"{IEC}; {EIA96}"),
        ("473K", "ohm", [473_000, 47_000], IEC_M),
        ("470", "ohm", [47, 470], f"{IEC}; plain figures: {TRADE}"),
        ("100", "F", [10e-12, 100e-12], f"{IEC}; plain figures: {TRADE}"),
        ("1F", "F", [1, 1e-12], TRADE),
        ("103F", "F", [10e-9], "nobody means 103 farads"),
        ("473", "ohm", [47_000], IEC),
    ],
)
def test_a_print_that_can_be_read_in_two_ways_gives_both(text, unit, values, source):
    assert [each.value.magnitude for each in read_code(text, unit)] == pytest.approx(values, rel=1e-12)


@pytest.mark.parametrize("unit", ["ohm", "F"])
@pytest.mark.parametrize(
    "text",
    ["", " ", "047", "4k7k", "4K7KK", "4k7R2", "47uu", "..", "R", "ABC", "-4K7", "１２３", "00C", "01c", "1e9",
     "99999", "9" * 40, "4K7 ± 5", "<b>", "\0", "nan", "inf", "473j"],
)  # fmt: skip
def test_what_is_no_marking_is_refused_with_a_sentence(text, unit):
    with pytest.raises(QuantityError) as refused:
        read_code(text, unit)
    assert str(refused.value).endswith(".")


def test_eia_96_ends_at_96():
    with pytest.raises(QuantityError):
        read_code("97C", "ohm")


@pytest.mark.parametrize(
    ("value", "unit", "tolerance", "letters", "digits", "eia96", "source"),
    [
        (4700, "ohm", None, "4K7", "472", "", IEC),
        (4700, "ohm", 10, "4K7K", "472", "", IEC),
        (47_300, "ohm", None, "47K3", "4732", "", IEC),
        (47_500, "ohm", 1, "47K5F", "4752", "66C", f"{IEC}; {EIA96}"),
        (10_000, "ohm", None, "10K", "103", "01C", f"{IEC}; {EIA96}"),
        (0.47, "ohm", None, "R47", "R47", "", IEC),
        (4.7, "ohm", None, "4R7", "4R7", "", IEC),
        (47.5, "ohm", None, "47R5", "47R5", "66X", IEC),
        (0.0022, "ohm", None, "2L2", "", "", IEC),
        (4.7e6, "ohm", None, "4M7", "475", "", IEC),
        (4.7e-9, "F", None, "4n7", "472", "", IEC),
        (47e-9, "F", 5, "47nJ", "473J", "", IEC_M),
        (0.33e-12, "F", None, "p33", "338", "", IEC),
        (3.3e-6, "F", None, "3µ3", "335", "", IEC),
        (4.7e-12, "F", None, "4p7", "479", "", "from memory"),
        (5e-12, "F", 5, "5pC", "509C", "", IEC_M + ": ±0.25 pF is 5 % of 5 pF"),
    ],
)
def test_a_value_is_written_as_the_codes_say(value, unit, tolerance, letters, digits, eia96, source):
    found = write(units.Quantity(value, unit), unit, tolerance)
    assert (found.letters, found.digits, found.eia96) == (letters, digits, eia96)


@pytest.mark.parametrize(
    ("value", "tolerance", "tempco", "bands", "source"),
    [
        (4700, None, None, {3: "yellow violet red"}, IEC),
        (4700, 5, None, {4: "yellow violet red gold", 5: "yellow violet black brown gold"}, IEC),
        (47_500, 1, None, {5: "yellow violet green red brown"}, IEC),
        (0.01, 1, None, {4: "brown black pink brown"}, IEC),
        (100, 0.05, None, {4: "brown black brown orange", 5: "brown black black black orange"}, IEC_M),
        (47_500, 1, 50, {5: "yellow violet green red brown", 6: "yellow violet green red brown red"}, IEC_M),
        (4753, 1, None, {}, "four figures have no bands"),
        (4700, 3, None, {}, "3 % has a letter; its band is of older tables"),
    ],
)
def test_a_resistor_is_written_in_bands(value, tolerance, tempco, bands, source):
    found = write(units.Quantity(value, "ohm"), "ohm", tolerance, tempco).bands
    assert {count: " ".join(each) for count, each in found.items()} == bands


@pytest.mark.parametrize("value", [0, -1, float("nan"), float("inf"), 1e-30, 1e30, 4.70123])
def test_a_value_that_no_code_says_is_refused(value):
    with pytest.raises(CircuitError):
        write(units.Quantity(value, "ohm"), "ohm")


def test_a_tolerance_that_nothing_says_is_refused():
    with pytest.raises(QuantityError, match="7 %"):
        write(units.Quantity(4700, "ohm"), "ohm", 7)


def test_a_capacitor_is_not_written_as_a_resistor():
    with pytest.raises(CircuitError):
        write(units.Quantity(47e-9, "F"), "ohm")


preferred = st.tuples(st.sampled_from(SERIES["E24"] + SERIES["E192"]), st.integers(-4, 6))


@given(preferred, st.sampled_from(["ohm", "F"]))
@settings(max_examples=50, deadline=None)
def test_what_is_written_in_letters_is_read_back(part, unit):
    figures, power = part
    number = float(f"{figures}e{power - (0 if unit == 'ohm' else 10)}")
    assert parse_quantity(letter_code(number, unit), unit).magnitude == pytest.approx(number, rel=1e-12)
    written = write(units.Quantity(number, unit), unit)
    assert read_code(written.letters, unit)[0].value.magnitude == pytest.approx(number, rel=1e-12)
    if written.digits:
        values = [each.value.magnitude for each in read_code(written.digits, unit)]
        assert values[0] == pytest.approx(number, rel=1e-12)


@given(preferred, st.sampled_from([1.0, 2.0, 5.0, 10.0, 0.5, 0.05]))
@settings(max_examples=50, deadline=None)
def test_what_is_written_in_bands_is_read_back(part, tolerance):
    number = float(f"{part[0]}e{part[1]}")
    for count, bands in write(units.Quantity(number, "ohm"), "ohm", tolerance, 50).bands.items():
        found = read_bands(bands)
        assert len(bands) == count
        assert found.value.magnitude == pytest.approx(number, rel=1e-12)
        assert percents(found)[0] == tolerance


def test_every_value_and_letter_of_eia_96_is_written_and_read_back():
    for index, figures in enumerate(SERIES["E96"], 1):
        for letter, power in EIA96_POWERS.items():
            number = float(f"{figures}e{power}")
            marks = {each.code: each for each in read_code(f"{index:02d}{letter}", "ohm")}
            assert marks["EIA-96"].value.magnitude == pytest.approx(number, rel=1e-12)
        assert write(units.Quantity(float(figures), "ohm"), "ohm").eia96 == f"{index:02d}A"


def test_every_band_and_letter_gives_a_range_around_the_value():
    value = units.Quantity(100.0, "ohm")
    for colour in BAND_TOLERANCES:
        for least, most in read_bands(["brown", "black", "brown", colour]).ranges:
            assert least < value < most
    for letter in LETTER_TOLERANCES:
        ((least, most),) = read_code(f"100R{letter}", "ohm")[0].ranges
        assert least < value < most


def test_the_range_is_the_tolerance_around_the_value():
    ((least, most),) = read_bands(["yellow", "violet", "red", "gold"]).ranges
    assert (least.to("ohm").magnitude, most.to("ohm").magnitude) == pytest.approx((4465, 4935))


@given(st.lists(st.sampled_from(COLOURS), max_size=7))
@settings(max_examples=50, deadline=None)
def test_any_bands_are_read_or_refused(bands):
    try:
        assert read_bands(bands).value.magnitude >= 0
    except QuantityError as refused:
        assert str(refused)


@given(st.text(max_size=14), st.sampled_from(["ohm", "F"]))
@settings(max_examples=50, deadline=None)
def test_any_print_is_read_or_refused(text, unit):
    try:
        assert all(each.value.magnitude >= 0 for each in read_code(text, unit))
    except QuantityError as refused:
        assert str(refused)


EIA476 = "EIA-476, from memory"


@pytest.mark.parametrize(
    ("text", "readings", "source"),
    [
        ("9996543", [("999", 43, (1965,)), ("9996", 43, tuple(range(1945, 2026, 10)))], EIA476),
        ("999543", [("999", 43, tuple(range(1945, 2026, 10)))], EIA476),
        ("999-6543", [("999", 43, (1965,))], EIA476),
        ("9996 543", [("9996", 43, tuple(range(1945, 2026, 10)))], EIA476),
        ("99990153", [("9999", 53, (2001,))], EIA476),
        ("8734", [("", 34, (1987,))], "year and week alone, common practice, no source"),
        ("734", [("", 34, tuple(range(1947, 2028, 10)))], "common practice, no source"),
        (
            "9993543",
            [("9993", 43, tuple(range(1945, 2026, 10)))],
            "1935 is before any such code, 2035 to come",
        ),
    ],
)
def test_a_date_code_gives_every_year_it_may_mean(text, readings, source):
    assert [(each.maker, each.week, each.years) for each in read_date(text)] == readings


@pytest.mark.parametrize(
    "text",
    [
        "",
        "9996500",
        "9996554",
        "999-6599",
        "99",
        "99965",
        "999654321",
        "abc6543",
        "999 65 43",
        "99-96543",
        "９９９６５４３",
    ],
)
def test_what_is_no_date_is_refused(text):
    with pytest.raises(QuantityError):
        read_date(text)


def test_later_years_can_be_left_out():
    (found,) = read_date("999543", latest=1980)
    assert found.years == (1945, 1955, 1965, 1975)


def test_the_week_falls_in_its_month():
    assert read_date("999-6543")[0].month == "October"  # ISO 8601: week 43 is late October
    assert read_date("999-6501")[0].month == "January"
    assert read_date("999-6553")[0].month == "December"


@pytest.mark.parametrize(
    ("measured", "sure", "verdict"),
    [
        (4700, 0, Standing.IN),
        (4465, 0, Standing.IN),  # on the limit
        (4935, 0, Standing.IN),
        (4464, 0, Standing.OUT),
        (4936, 0, Standing.OUT),
        (4900, 30, Standing.IN),
        (4930, 30, Standing.CLOSE),
        (4940, 30, Standing.CLOSE),
        (5000, 30, Standing.OUT),
        (0, 0, Standing.OUT),
    ],
)
def test_a_measured_part_is_in_out_or_too_close_to_call(measured, sure, verdict):
    marked = read_code("4K7J", "ohm")[0]  # 4465 Ω to 4935 Ω
    found = with_band(units.Quantity(float(measured), "ohm"), sure)
    assert fits(marked.tolerances[0], marked.value, found) is verdict


def test_a_small_capacitor_is_judged_in_picofarads():
    marked = read_code("4p7C", "F")[0]
    assert fits(marked.tolerances[0], marked.value, units.Quantity(4.9, "pF")) is Standing.IN
    assert fits(marked.tolerances[0], marked.value, units.Quantity(5.0, "pF")) is Standing.OUT


def test_the_deviation_carries_the_meters_band():
    off = deviation(units.Quantity(1.0, "kohm"), with_band(units.Quantity(1100.0, "ohm"), 11))
    assert (nominal(off, "percent"), band(off, "percent")) == pytest.approx((10, 1.1))


def test_a_link_has_no_deviation():
    with pytest.raises(CircuitError):
        deviation(units.Quantity(0.0, "ohm"), units.Quantity(1.0, "ohm"))
