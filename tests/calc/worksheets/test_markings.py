"""The markings worksheet as it is filled in."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.worksheets.markings import SHEET
from calc.worksheets.sheet import Kind, Verdict, answer

FRESH = {box.name: box.initial for box, _ in SHEET.boxes() if box.initial}
FOUR = {"figure_1": "yellow", "figure_2": "violet", "multiplier": "red", "band_tolerance": "gold"}


def filled(**said):
    return answer(SHEET, {**FRESH, **said})


def lines(said):
    return {line.label: line for line in said.lines}


def test_a_fresh_sheet_asks_for_four_bands_and_answers_nothing():
    found, said = filled()
    assert said is None
    assert set(found.missing) == set(FOUR)
    assert not found.wrong


def test_an_empty_form_asks_what_is_to_be_read():
    found, said = answer(SHEET, {})
    assert said is None
    assert "task" in found.missing


def test_four_bands_are_read():
    # IEC 60062: yellow violet red gold is 4.7 kΩ ±5 %, so from 4465 Ω to 4935 Ω
    _, said = filled(**FOUR)
    assert said.said == "4.7 kΩ ±5 %."
    assert lines(said)["Range"].value == "4.465 kΩ to 4.935 kΩ"
    assert lines(said)["In letters"].value == "4K7"
    assert said.verdict is Verdict.PLAIN


@pytest.mark.parametrize(
    ("bands", "said", "source"),
    [
        ({"count": "1"}, "0 Ω.", "a wire link, common practice, no source"),
        ({**FOUR, "count": "3"}, "4.7 kΩ ±20 %.", "IEC 60062"),
        (
            {"count": "5", "figure_1": "yellow", "figure_2": "violet", "figure_3": "green", "multiplier": "red",
             "band_tolerance": "brown"},
            "47.5 kΩ ±1 %.",
            "IEC 60062",
        ),
        (
            {"count": "6", "figure_1": "red", "figure_2": "red", "figure_3": "black", "multiplier": "brown",
             "band_tolerance": "brown", "band_tempco": "red"},
            "2.2 kΩ ±1 %.",
            "IEC 60062",
        ),
    ],
)  # fmt: skip
def test_one_to_six_bands_are_read(bands, said, source):
    _, found = filled(**bands)
    assert found.said == said


def test_the_sixth_band_is_the_temperature_coefficient():
    six = {"count": "6", "figure_3": "black", "band_tempco": "red"}
    _, said = filled(**{**FOUR, **six})
    assert lines(said)["Temperature coefficient"].value == "50 ppm/K"  # IEC 60062, from memory


def test_a_colour_that_the_editions_read_differently_shows_both():
    _, said = filled(**{**FOUR, "band_tolerance": "orange"})
    assert said.said == "4.7 kΩ ±0.05 % or ±3 %."
    assert said.verdict is Verdict.UNSURE
    assert lines(said)["Tolerance, older tables"].value == "±3 %"


@pytest.mark.parametrize(
    ("measured", "verdict"),
    [("4k75", Verdict.GOOD), ("5k6", Verdict.BAD), ("4k92 ± 2 %", Verdict.UNSURE), ("4935", Verdict.GOOD)],
)
def test_a_measured_part_is_held_against_its_bands(measured, verdict):
    _, said = filled(**FOUR, measured_band=measured)
    assert said.verdict is verdict
    assert "The meter says" in said.said


def test_between_two_editions_nobody_can_tell():
    _, said = filled(**{**FOUR, "band_tolerance": "orange"}, measured_band="4k75")
    assert lines(said)["Measured"].verdict is Verdict.UNSURE


def test_bands_that_may_be_read_from_the_other_end_say_so():
    # IEC 60062: brown black red brown is 1 kΩ ±1 %; the other way brown red black brown is 12 Ω ±1 %
    bands = {"figure_1": "brown", "figure_2": "black", "multiplier": "red", "band_tolerance": "brown"}
    _, said = filled(**bands)
    assert said.said == "1.0 kΩ ±1 %."
    assert lines(said)["Read from the other end"].value == "12 Ω ±1 %"


@pytest.mark.parametrize(
    ("printed", "part", "said", "verdict", "source"),
    [
        ("4K7K", "ohm", "4.7 kΩ ±10 %, read as letter code.", Verdict.PLAIN, "IEC 60062"),
        ("473J", "F", "47 nF ±5 %, read as 3-digit code.", Verdict.PLAIN, "IEC 60062"),
        ("4p7C", "F", "4.7 pF ±0.25 pF, read as letter code.", Verdict.PLAIN, "IEC 60062, from memory"),
        ("22uT", "F", "22 µF −10 % to +50 %, read as letter code.", Verdict.PLAIN, "IEC 60062, from memory"),
        ("01C", "ohm", "10 kΩ ±1 %, read as EIA-96.", Verdict.PLAIN, "EIA-96, from memory"),
        (
            "22R",
            "ohm",
            "22 Ω (letter code) or 1.65 Ω (EIA-96). Measure it, or see what the circuit wants.",
            Verdict.UNSURE,
            "IEC 60062; EIA-96, from memory",
        ),
    ],
)
def test_a_print_is_read(printed, part, said, verdict, source):
    _, found = filled(task="print", part=part, printed=printed)
    assert (found.said, found.verdict) == (said, verdict)


def test_the_meter_decides_between_two_readings():
    _, said = filled(task="print", printed="22R", measured_resistance="22.3")
    assert said.said.startswith("22 Ω, read as letter code: the others don’t fit.")


def test_what_cannot_be_read_is_said_beside_its_box():
    found, said = filled(task="print", printed="047")
    assert said is None
    assert set(found.wrong) == {"printed"}


def test_a_value_is_written_in_every_code():
    _, said = filled(task="mark", resistance="47k5", tolerance="1")
    assert said.said == "47.5 kΩ is marked 47K5F or yellow, violet, green, red, brown."  # IEC 60062
    assert (lines(said)["Figures"].value, lines(said)["EIA-96"].value) == ("4752", "66C")


def test_a_tolerance_without_bands_is_said_so():
    _, said = filled(task="mark", resistance="4k7", tolerance="3")
    assert lines(said)["Letter code"].value == "4K7H"  # IEC 60062, from memory
    assert lines(said)["Colour bands"].value == "none"


def test_six_bands_want_a_tolerance():
    _, said = filled(task="mark", resistance="4k7", tempco="50")
    assert lines(said)["Six bands"].value == "none"
    _, said = filled(task="mark", resistance="4k7", tempco="50", tolerance="1")
    assert said.tables[0].rows[-1].cells[-1] == "red"  # IEC 60062, from memory: 50 ppm/K


def test_a_capacitor_has_no_bands():
    _, said = filled(task="mark", part="F", capacitance="47n", tolerance="10")
    assert said.said == "47 nF is marked 47nK."
    assert not said.tables


def test_the_nearest_of_each_series_stands_with_its_signed_error():
    _, said = filled(task="nearest", resistance="5k")
    cells = {row.cells[0]: row.cells[1:3] for row in said.tables[0].rows}
    assert list(cells) == ["E6", "E12", "E24", "E48", "E96", "E192"]
    # IEC 60063: E12 has 4.7 and 5.6, E24 has 5.1, E96 has 4.99
    assert cells["E12"] == ("4.7 kΩ", "−6.00 %")
    assert cells["E24"] == ("5.1 kΩ", "+2.00 %")
    assert cells["E96"] == ("4.99 kΩ", "−0.200 %")


def test_the_list_governs_in_e192():
    _, said = filled(task="nearest", resistance="919")
    assert said.tables[0].rows[-1].cells[1] == "920 Ω"  # IEC 60063; the formula says 919


def test_a_date_code_lists_every_year_that_it_may_mean():
    _, said = filled(task="date", date_code="999-543", latest="1980")
    assert said.verdict is Verdict.UNSURE
    assert said.tables[0].rows[0].cells == ("999", "43", "October", "1945, 1955, 1965, 1975")  # EIA-476


@pytest.mark.parametrize("code", ["999-6500", "999-6554", "hello", "９９９６５４３", "-" * 100])
def test_a_week_that_no_year_has_is_refused_beside_its_box(code):
    found, said = filled(task="date", date_code=code)
    assert said is None
    assert set(found.wrong) == {"date_code"}


TEXTS = [box.name for box, _ in SHEET.boxes() if box.kind is not Kind.CHOICE]


@given(
    st.sampled_from(["bands", "print", "mark", "nearest", "date"]),
    st.sampled_from(["ohm", "F"]),
    st.dictionaries(st.sampled_from(TEXTS), st.one_of(st.text(max_size=130), st.from_regex(r"[0-9]{1,4}[A-Zpnu]?"))),
)  # fmt: skip
@settings(max_examples=50, deadline=None)
def test_whatever_is_typed_is_answered_or_refused(task, part, texts):
    found, said = filled(**{**FOUR, "task": task, "part": part, **texts})
    assert said is not None or found.wrong or found.missing


@pytest.mark.parametrize("box", [box.name for box, _ in SHEET.boxes() if box.kind is Kind.CHOICE])
def test_a_choice_that_nobody_offered_is_refused(box):
    hidden = {"figure_3": {"count": "6"}, "band_tempco": {"count": "6"}}.get(box, {})
    shown = {"part": "print", "tolerance": "mark", "tempco": "mark"}.get(box, "bands")
    found, said = filled(**{**FOUR, **hidden, "task": shown, box: "plaid"})
    assert said is None
    assert box in found.wrong


def test_colours_are_words_with_their_figures():
    for box, _ in SHEET.boxes():
        if box.only and box.only[0] == "count" and box.kind is Kind.CHOICE:
            for colour, words in box.choices:
                assert words.startswith(f"{colour}, ")
                assert any(character.isdigit() for character in words)
