"""Idle current, the whole worksheet: what is typed, and the words that come back."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.worksheets import by_slug
from calc.worksheets.chart import draw
from calc.worksheets.idle_current import SHEET
from calc.worksheets.sheet import Answer, Verdict, answer
from tests import pace

FRESH = {
    "stage": "fixed",
    "method": "resistor",
    "sense_ohms": "1",
    "tolerance": "1",
    "sharing": "2",
    "on_half": "1",
    "screen": "unknown",
}
PAIR = FRESH | {"type": "6L6GC", "plate": "450", "tube-1-sense": "44", "tube-2-sense": "46.7"}
CATHODE = FRESH | {
    "stage": "cathode",
    "method": "cathode",
    "type": "6V6GT",
    "plate": "300",
    "cathode_ohms": "470",
    "sharing": "1",
    "resistor-1-cathode": "23.5",
    "tolerance": "0",
    "screen": "typed",
    "screen_typed": "4",
}
WINDING = FRESH | {
    "method": "winding",
    "type": "EL34",
    "centre": "467.2",
    "half-1-drop": "7.2",
    "half-1-ohms": "180",
    "half-2-drop": "7.2",
    "half-2-ohms": "200",
}


def of(said: dict[str, str]) -> Answer:
    found, answered = answer(SHEET, said)
    assert answered is not None, (found.wrong, found.missing)
    return answered


def line(answered: Answer, label: str):
    return next(each for each in answered.lines if each.label.startswith(label))


def test_it_is_found_by_its_address():
    assert by_slug("idle-current") is SHEET


def test_an_empty_form_asks_for_what_it_needs_and_says_nothing_is_wrong():
    found, answered = answer(SHEET, {})
    assert answered is None
    assert not found.wrong
    assert {"type", "method", "stage"} <= set(found.missing)


@pytest.mark.parametrize(
    ("kind", "plate", "aimed", "source"),
    [
        ("6L6GC", "450", "46.7 mA", "reference, section 4: 30 W"),
        ("EL34", "460", "38.0 mA", "reference, section 4: 25 W"),
        ("EL84", "350", "24.0 mA", "reference, section 4: 12 W"),
    ],
)
def test_the_current_for_seventy_per_cent_is_the_one_worked_by_hand(kind, plate, aimed, source):
    answered = of(FRESH | {"type": kind, "plate": plate, "tube-1-sense": "20", "tube-2-sense": "20"})
    assert line(answered, "Plate current for 70 %").value == aimed, source


def test_a_pair_at_its_aim_is_fine_and_told_with_system_and_share():
    answered = of(PAIR)
    assert answered.verdict is Verdict.GOOD
    assert "70.0 ± 0.7 % of the 30.0 W" in answered.said
    assert "design maximum" in line(answered, "Hottest plate").said
    assert line(answered, "Match").verdict is Verdict.GOOD
    assert line(answered, "The meter then shows").value == "46.7 mV"


def test_a_cathode_bias_takes_the_screen_off_and_comes_to_the_watts_of_the_hand():
    """Reference, section 4: 50 mA, less 4 mA, at 276.5 V: 12.7 W."""
    answered = of(CATHODE)
    assert line(answered, "Hottest plate").value == "12.7 W"
    assert line(answered, "Its plate current").value == "46.0 mA"
    assert answered.verdict is Verdict.BAD
    assert answered.said.startswith("TOO HOT: tube 1 dissipates 12.7 W, 106 % of the 12.0 W")
    assert "Switch it off." in answered.said


def test_two_tubes_on_one_resistor_share_its_current():
    answered = of(CATHODE | {"sharing": "2", "cathode_ohms": "235"})
    assert line(answered, "Its plate current").value == "46.0 mA"
    assert any("can’t tell if one of them draws more" in note for note in answered.notes)


def test_each_half_of_the_winding_is_read_by_its_own_ohms():
    answered = of(WINDING)
    rows = answered.tables[0].rows
    assert [row.cells[2] for row in rows] == ["40.0 mA", "36.0 mA"]
    assert line(answered, "Plate to cathode").value == "460 V"
    warm = of(WINDING | {"warmer": "30"})
    assert warm.tables[0].rows[0].cells[2] == "35.8 mA"


def test_screens_on_taps_make_an_upper_bound_of_a_winding():
    assert "at most" in of(WINDING | {"on_taps": "on"}).said
    assert "at most" not in of(WINDING).said


def test_an_unknown_screen_current_is_called_an_upper_bound():
    answered = of(PAIR)
    assert "at most" in answered.said
    assert any(note.startswith("Upper bound") for note in answered.notes)
    assert answered.tables[0].heads[2] == "Plate, at most"


def test_a_tube_over_its_limit_is_unmistakable():
    answered = of(PAIR | {"tube-2-sense": "90"})
    assert answered.verdict is Verdict.BAD
    assert answered.said.startswith("TOO HOT: tube 2 dissipates 40.5")
    assert "Switch it off, or set the bias farther below zero now" in answered.said
    assert answered.tables[0].rows[1].verdict is Verdict.BAD
    assert answered.tables[0].rows[0].verdict is Verdict.GOOD
    assert answered.cautions


def test_a_tube_over_its_limit_only_if_the_screen_takes_little_is_not_told_either_way():
    answered = of(PAIR | {"tube-2-sense": "70"})
    assert answered.verdict is Verdict.UNSURE
    assert "only if the screen takes 3.32 mA or more" in answered.said
    assert of(PAIR | {"tube-2-sense": "70", "screen": "typed", "screen_typed": "5"}).verdict is Verdict.WATCH
    assert of(PAIR | {"tube-2-sense": "70", "screen": "typed", "screen_typed": "1"}).verdict is Verdict.BAD


def test_within_the_meter_s_band_of_the_limit_it_is_too_close_to_call():
    known = {"screen": "typed", "screen_typed": "0", "tube-1-sense": "66", "tube-2-sense": "66.6 ± 2 %"}
    assert of(PAIR | known).verdict is Verdict.UNSURE


@pytest.mark.parametrize(("sense", "words"), [("20", "colder"), ("60", "hotter")])
def test_far_from_the_aim_is_worth_a_look(sense, words):
    answered = of(PAIR | {"tube-1-sense": sense, "tube-2-sense": sense})
    assert answered.verdict is Verdict.WATCH
    assert f"{words} than the 70 % aimed at" in answered.said


@pytest.mark.parametrize(
    ("kind", "plate", "verdict", "words"),
    [
        ("EL84", "350", Verdict.WATCH, "above the data sheet’s 300 V, design centre"),
        ("EL84", "300", Verdict.GOOD, "up to 300 V"),
        ("KT88", "870", Verdict.BAD, "ABOVE the absolute maximum of 850 V"),
    ],
)
def test_volts_above_the_sheet_s_are_warned_of(kind, plate, verdict, words):
    answered = of(FRESH | {"type": kind, "plate": plate, "tube-1-sense": "0", "tube-2-sense": "0"})
    found = line(answered, "Plate to cathode")
    assert found.verdict is verdict
    assert words in found.said


def test_a_screen_over_its_watts_is_out_of_limits():
    said = PAIR | {"screen": "resistor", "screen_ohms": "470", "screen_volts": "448"}
    answered = of(said | {"tube-1-screen_drop": "2", "tube-2-screen_drop": "6"})
    assert line(answered, "Screen dissipation").verdict is Verdict.BAD
    assert answered.said.startswith("OUT OF LIMITS: screen dissipation 5.72 W")
    fine = of(said | {"tube-1-screen_drop": "2", "tube-2-screen_drop": "2"})
    assert line(fine, "Screen dissipation").verdict is Verdict.GOOD


def test_a_cathode_over_its_current_is_out_of_limits():
    answered = of(FRESH | {"type": "EL84", "plate": "150", "tube-1-sense": "70", "tube-2-sense": "30"})
    assert line(answered, "Cathode current").verdict is Verdict.BAD
    assert answered.verdict is Verdict.BAD


def test_a_tube_that_draws_nothing_is_named():
    answered = of(PAIR | {"tube-1-sense": "0"})
    assert "Nothing flows in tube 1" in answered.said
    assert answered.verdict is Verdict.WATCH
    assert "No tube draws any current" in of(PAIR | {"tube-1-sense": "0", "tube-2-sense": "0"}).said


def test_a_mismatch_is_told_and_eight_tubes_are_shared_between_the_sides():
    senses = {f"tube-{n}-sense": str(30 + 2 * n) for n in range(1, 9)}
    answered = of(FRESH | senses | {"type": "EL34", "plate": "460", "tube-count": "8"})
    assert line(answered, "Match").verdict is Verdict.WATCH
    assert line(answered, "Most even sides").said.startswith("0")
    assert len(answered.tables[0].rows) == 8


def test_the_sides_of_a_push_pull_stage_are_held_apart_to_five_milliamperes():
    assert line(of(PAIR), "Between the two sides").verdict is Verdict.GOOD
    apart = of(PAIR | {"tube-1-sense": "39"})
    assert line(apart, "Between the two sides").verdict is Verdict.WATCH


def test_the_bias_to_try_next_follows_from_two_readings():
    said = PAIR | {"tube-1-sense": "38", "tube-2-sense": "38", "bias_now": "-42", "bias_then": "45"}
    answered = of(said | {"current_then": "30"})
    assert line(answered, "Bias to try next").value.startswith("−39.")
    assert line(of(said), "Bias to try next").verdict is Verdict.UNSURE


def test_readings_of_the_wrong_slope_give_no_bias_and_hide_nothing_else():
    answered = of(PAIR | {"bias_now": "-45", "bias_then": "-42", "current_then": "30"})
    next_bias = line(answered, "Bias to try next")
    assert (next_bias.value, next_bias.verdict) == ("–", Verdict.UNSURE)
    assert "doesn’t rise" in next_bias.said
    assert "of the 30.0 W" in answered.said


@pytest.mark.parametrize(("power", "called"), [("9", "A"), ("17", "A or AB"), ("55", "AB")])
def test_the_class_is_told_and_what_is_assumed(power, called):
    """Sides of 58 mA on 5.6 kΩ: I0²·Raa/2 is 9.4 W; a 6L6GC's 55 W is class AB1 on its sheet, from memory."""
    answered = of(PAIR | {"tube-1-sense": "58", "tube-2-sense": "58", "load": "5k6", "power": power})
    assert line(answered, "Class").value == called
    assert any("assumes a sine" in note for note in answered.notes)


def test_without_a_power_the_swing_is_assumed_and_said():
    answered = of(PAIR | {"load": "5k6"})
    assert "about" in line(answered, "Peak current of a side").said
    assert any("swing down to" in note for note in answered.notes)


def test_a_grid_s_resistance_above_the_sheet_s_is_warned_of():
    fixed = of(PAIR | {"grid_leak": "220"})
    assert line(fixed, "Grid’s resistance").verdict is Verdict.WATCH
    cathode = of(PAIR | {"stage": "cathode", "grid_leak": "220"})
    assert line(cathode, "Grid’s resistance").verdict is Verdict.GOOD


def test_a_tube_of_nobody_s_table_is_held_against_what_was_typed():
    answered = of(PAIR | {"type": "other", "other_watts": "15"})
    assert answered.verdict is Verdict.BAD
    assert "rating system not known" in answered.said
    found, nothing = answer(SHEET, PAIR | {"type": "other"})
    assert nothing is None
    assert set(found.missing) == {"other_watts"}


def test_volts_typed_for_millivolts_are_refused_beside_their_row():
    found, answered = answer(SHEET, PAIR | {"tube-2-sense": "46.7 V"})
    assert answered is None
    assert "volts or millivolts" in found.wrong["tube-2-sense"]


@pytest.mark.parametrize(
    "change",
    [
        {"plate": "0"},
        {"plate": "-450"},
        {"plate": "9e99"},
        {"plate": "4kV"},
        {"type": "EL99"},
        {"type": "6L6GC' OR 1=1"},
        {"sense_ohms": "0"},
        {"sense_ohms": "1e-9"},
        {"tube-1-sense": "−35"},
        {"tube-1-sense": "35 ± −1"},
        {"tube-1-sense": "x" * 5000},
        {"share": "0"},
        {"share": "1000"},
        {"method": "guess"},
        {"screen": "typed", "screen_typed": "199"},
        {"stage": "cathode", "method": "cathode", "cathode_ohms": "470", "resistor-1-cathode": "460"},
        {"stage": "cathode", "method": "cathode", "cathode_ohms": "470", "resistor-1-cathode": "20", "sharing": "0"},
        {"stage": "cathode", "method": "cathode", "cathode_ohms": "470", "resistor-count": "2", "sharing": "8",
         "resistor-1-cathode": "20", "resistor-2-cathode": "20"},
        {"method": "winding", "centre": "5", "half-1-drop": "7", "half-1-ohms": "180", "half-2-drop": "7",
         "half-2-ohms": "180"},
        {"load": "1 Ω"},
    ],
)  # fmt: skip
def test_what_can_not_be_gets_a_sentence_and_no_number(change):
    found, answered = answer(SHEET, PAIR | change)
    assert answered is None
    assert found.wrong
    assert all(text.endswith((".", "?")) for text in found.wrong.values())


@given(
    sense=st.text(max_size=20),
    plate=st.sampled_from(["450", "1", "2999", "12 mV"]) | st.text(max_size=20),
    kind=st.sampled_from(["6L6GC", "KT77", "ECL82", "other"]),
    bias=st.text(max_size=10),
)
@settings(max_examples=50, deadline=None)
def test_whatever_is_typed_is_answered_or_refused(sense, plate, kind, bias):
    said = PAIR | {"tube-1-sense": sense, "plate": plate, "type": kind, "bias_now": bias}
    found, answered = answer(SHEET, said)
    assert answered is not None or found.wrong or found.missing


@given(st.lists(st.floats(1, 60), min_size=2, max_size=8))
@settings(max_examples=40, deadline=None)
def test_more_current_is_more_heat_in_every_row(senses):
    said = FRESH | {"type": "KT88", "plate": "450", "tube-count": str(len(senses))}
    said |= {f"tube-{n}-sense": f"{each:.3f}" for n, each in enumerate(senses, 1)}
    shares = [float(row.cells[4].split()[0]) for row in of(said).tables[0].rows]
    order = sorted(range(len(senses)), key=senses.__getitem__)
    assert all(shares[a] <= shares[b] for a, b in zip(order, order[1:], strict=False))


def test_the_picture_has_the_limit_the_aim_and_every_tube():
    chart = of(PAIR).charts[0]
    drawing = draw(chart)
    assert [curve.name for curve in drawing.curves] == ["30.0 W, design maximum", "70 % of it"]
    assert len(drawing.dots) == 2
    for volts, current in chart.curves[0].points:
        assert volts * current == pytest.approx(30_000)


def test_it_answers_in_a_moment():
    senses = {f"tube-{n}-sense": "36 ± 1 %" for n in range(1, 9)}
    said = (
        FRESH
        | senses
        | {"type": "EL34", "plate": "460 ± 2", "tube-count": "8", "load": "3k4", "bias_now": "-38"}
    )
    assert pace.seconds(lambda: of(said)) < 0.05
