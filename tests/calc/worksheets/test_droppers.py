"""The droppers worksheet as it is filled in."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.worksheets.droppers import SHEET
from calc.worksheets.sheet import Kind, Verdict, answer

RAILS = SHEET.groups[0].rows
FRESH = {box.name: box.initial for box, _ in SHEET.boxes() if box.initial}
ZENER = {"kind": "shunt", "supply": "30", "zener": "12", "load_most": "20"}
RESISTOR = {"kind": "dropper", "supply": "320", "rail": "270", "load_most": "5"}


def filled(*rails, **rest):
    said = {**FRESH, "rail-count": str(len(rails)), **rest}
    for number, rail in enumerate(rails, 1):
        said |= {f"rail-{number}-{name}": text for name, text in rail.items()}
    return answer(SHEET, said)


def lines(said):
    return {line.label: line for line in said.lines}


def test_an_empty_form_asks_and_answers_nothing():
    found, said = answer(SHEET, {})
    assert said is None and not found.wrong
    assert "rail-1-kind" in found.missing


def test_the_worked_zener_rail_comes_out():
    # 30 V ±10 %, 12 V, 20 mA, 5 mA at the least, exact parts: 600 Ω at most, 0.42 W unplugged at 600 Ω; by hand
    exact = {"part_tolerance": "0", "zener_tolerance": "0", "ambient": "25", "zener_hottest": "175"}
    _, said = filled({**ZENER, "fitted": "600", "zener_watts": "1"}, **exact)
    assert lines(said)["Rail 1: resistor"].said == "at most 600 Ω holds the rail in the worst case"
    assert lines(said)["Rail 1: zener’s heat, load unplugged"].value == "420 mW"
    assert lines(said)["Rail 1: zener’s heat, load unplugged"].said.startswith("42 % of what 1 W bears")
    assert said.verdict is Verdict.GOOD


def test_a_rail_out_of_regulation_is_said_in_words_that_nobody_misses():
    _, said = filled({**ZENER, "fitted": "1k2"})
    assert said.verdict is Verdict.BAD
    assert "OUT OF REGULATION" in said.said
    assert lines(said)["Rail 1: rail"].verdict is Verdict.BAD


def test_a_zener_at_its_knee_is_watched():
    _, said = filled({**ZENER, "fitted": "620"})
    assert lines(said)["Rail 1: rail"].verdict is Verdict.WATCH
    assert "AT THE KNEE" in said.said


def test_parts_that_overheat_are_said_in_words_that_nobody_misses():
    _, said = filled({**ZENER, "fitted": "470", "resistor_watts": "1/2", "zener_watts": "0.4"})
    assert said.verdict is Verdict.BAD
    assert "THE RESISTOR OVERHEATS" in said.said and "THE ZENER OVERHEATS" in said.said


def test_what_is_not_there_is_picked():
    _, said = filled(ZENER)
    assert said.said == "Rail 1: 470 Ω, 3 W, and a 3 W zener: holds from 11.4 V to 12.6 V."
    assert said.verdict is Verdict.GOOD


def test_a_dropper_says_what_stands_on_it_with_nothing_drawn():
    _, said = filled({**RESISTOR, "name": "Screen"})
    assert said.said == "Screen: 10.0 kΩ, 1 W, leaves 270 V."  # 50 V / 5 mA, by hand
    assert lines(said)["Screen: with nothing on it"].value == "352 V"  # 320 V + 10 %
    assert "capacitors" in lines(said)["Screen: with nothing on it"].said


def test_a_load_that_cannot_be_had_collapses_the_rail():
    _, said = filled({**RESISTOR, "fitted": "100k"})
    assert said.verdict is Verdict.BAD
    assert "THE RAIL COLLAPSES" in said.said


def test_high_volts_want_several_resistors():
    _, said = filled({"kind": "dropper", "supply": "900", "rail": "200", "load_most": "1"})
    assert "NO SINGLE RESISTOR BEARS IT" in said.said


def test_an_elements_limit_at_switch_on_is_watched():
    _, said = filled({**RESISTOR, "supply": "450", "rail": "400", "fitted": "10k", "resistor_watts": "1/2"})
    line = lines(said)["Rail 1: volts across it"]
    assert line.verdict is Verdict.WATCH
    assert "350 V" in line.said  # ½ W: makers' sheets, from memory


def test_both_signs_have_their_own_worst_cases():
    _, said = filled(ZENER, {**ZENER, "supply": "-30"})
    up, down = said.tables[0].rows
    assert (up.cells[1], up.cells[2]) == ("11.4 V", "12.6 V")
    assert (down.cells[1], down.cells[2]) == ("−11.4 V", "−12.6 V")
    assert up.cells[4:] == down.cells[4:]


def test_a_zener_in_series_warns_of_the_lifted_can():
    _, said = filled(
        {"kind": "series", "supply": "400", "zener": "50", "load_most": "150"}, zener_tolerance="0"
    )
    assert lines(said)["Rail 1: zener’s heat"].value == "7.50 W"  # 50 V · 150 mA, by hand
    assert "heatsink" in lines(said)["Rail 1: zener’s heat"].said
    assert "chassis" in said.cautions[0].said


def test_a_number_alone_is_milliamperes():
    _, plain = filled(ZENER)
    _, written = filled({**ZENER, "load_most": "20 mA"})
    assert plain.said == written.said


def test_a_part_may_be_written_with_its_rating():
    _, apart = filled({**ZENER, "fitted": "470", "resistor_watts": "5", "zener_watts": "3"})
    _, together = filled({**ZENER, "fitted": "470/5W", "zener": "12V/3W"})
    assert together == apart


def test_the_meters_band_shows():
    _, said = filled({**RESISTOR, "supply": "320 ± 3"})
    assert "270 ± 3 V" in said.said


@pytest.mark.parametrize(
    ("rail", "words"),
    [
        ({**RESISTOR, "rail": "350"}, "only drops"),
        ({**RESISTOR, "rail": "-50"}, "same sign"),
        ({**RESISTOR, "load_most": "0"}, "without a current"),
        ({**RESISTOR, "load_least": "6"}, "heaviest"),
        ({**RESISTOR, "supply": "0"}, "supply"),
        ({**ZENER, "zener": "28"}, "no resistor holds"),
        ({**ZENER, "kind": "series", "zener": "30"}, "nothing would be left"),
    ],
)
def test_no_such_circuit_is_said_in_a_sentence(rail, words):
    found, said = filled(rail)
    assert said is None
    assert words in found.wrong[""]


def test_with_several_rails_the_refusal_names_its_own():
    found, _ = filled(ZENER, {**RESISTOR, "name": "Screen", "rail": "350"})
    assert found.wrong[""].startswith("Screen: ")


def test_a_part_with_no_room_for_heat_is_refused():
    found, said = filled(ZENER, ambient="120", hottest="110")
    assert said is None and "bears nothing" in found.wrong[""]


TEXTS = [box.name for box in RAILS.boxes if box.kind is not Kind.CHOICE]
TYPED = st.one_of(
    st.text(max_size=20),
    st.sampled_from(["0", "-1", "1e9", "1k5", "50 ± 60", "0.0001", "470", "20 mA", "-45"]),
)


@given(
    st.sampled_from(["dropper", "shunt", "series", "plaid"]),
    st.dictionaries(st.sampled_from(TEXTS), TYPED),
    st.dictionaries(
        st.sampled_from(["ambient", "hottest", "knee", "supply_tolerance", "part_tolerance"]), TYPED
    ),
)
@settings(max_examples=50, deadline=None)
def test_whatever_is_typed_is_answered_or_refused(kind, row, rest):
    found, said = filled({**ZENER, **RESISTOR, **row, "kind": kind}, **rest)
    assert said is not None or found.wrong or found.missing


def test_an_empty_row_asks_for_what_it_needs():
    found, _ = filled({})
    assert set(found.missing) == {"rail-1-kind", "rail-1-supply", "rail-1-load_most"}
