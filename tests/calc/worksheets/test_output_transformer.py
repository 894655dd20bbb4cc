"""Output transformer, the whole worksheet: what is typed, and the words that come back."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.worksheets import by_slug
from calc.worksheets.chart import draw
from calc.worksheets.output_transformer import SHEET
from calc.worksheets.sheet import Answer, Verdict, answer
from tests import pace

FRESH = {"kind": "push-pull", "fed": "primary", "compare": "no", "insulation_by": "tester"}
ONE = FRESH | {"primary": "12", "tap-1-volts": "0.45", "tap-1-marked": "8"}
BARE = FRESH | {"primary": "12", "tap-1-volts": "0.45"}
BESIDE = ONE | {
    "compare": "yes",
    "good_primary": "12",
    "tap-1-good": "0.45",
    "frequency": "1k",
    "good_current": "0.3",
}


def of(said: dict[str, str]) -> Answer:
    found, answered = answer(SHEET, said)
    assert answered is not None, (found.wrong, found.missing)
    return answered


def line(answered: Answer, label: str):
    return next(each for each in answered.lines if each.label.startswith(label))


def test_it_is_found_by_its_address():
    assert by_slug("output-transformer") is SHEET


def test_an_empty_form_asks_for_what_it_needs_and_says_nothing_is_wrong():
    found, answered = answer(SHEET, {})
    assert answered is None
    assert not found.wrong
    assert {"primary", "tap-1-volts"} <= set(found.missing)


def test_a_transformer_is_worked_out_as_by_hand():
    """Reference, section 8: 120 V to 4.5 V is 26.67; 8 Ω looks like 5.69 kΩ; here at a tenth of the volts."""
    answered = of(ONE)
    assert answered.tables[0].rows[0].cells == ("Tap 1", "450 mV", "26.7 : 1", "8.00 Ω", "5.69 kΩ")
    assert "8.00 Ω on tap 1 looks like 5.69 kΩ from plate to plate" in answered.said
    assert "suits two 6L6GC in push-pull at 450 V (5.60 kΩ)" in answered.said


def test_the_table_of_typical_loads_says_that_it_is_from_memory():
    answered = of(ONE)
    assert all("from memory" in row.cells[3] for row in answered.tables[1].rows)
    assert any("from memory" in note for note in answered.notes)


def test_a_band_is_carried_to_what_a_load_looks_like():
    answered = of(ONE | {"primary": "12 ± 1 %"})
    assert answered.tables[0].rows[0].cells[4] == "5.69 ± 0.11 kΩ"


def test_taps_that_agree_are_fine_and_a_wrong_mark_is_told():
    taps = {"tap-count": "3", "tap-1-marked": "4", "tap-2-marked": "8", "tap-3-marked": "16",
            "tap-1-volts": "0.318", "tap-2-volts": "0.45", "tap-3-volts": "0.636"}  # fmt: skip
    assert line(of(FRESH | {"primary": "12"} | taps), "Between the taps").verdict is Verdict.GOOD
    wrong = of(FRESH | {"primary": "12"} | taps | {"tap-3-marked": "8"})
    assert line(wrong, "Between the taps").verdict is Verdict.WATCH
    assert "between the taps" in wrong.said


def test_a_transformer_without_marks_is_told_by_the_load_that_is_wanted():
    answered = of(FRESH | {"primary": "10", "tap-1-volts": "0.348", "wanted": "6.6"})
    assert answered.said.startswith("For 6.60 kΩ from plate to plate, tap 1 wants 7.99 Ω.")
    assert "Write what the tap is marked" in of(BARE).said


@pytest.mark.parametrize(
    ("wanted", "verdict"), [("5.6", Verdict.GOOD), ("8", Verdict.WATCH), ("2.5", Verdict.BAD)]
)
def test_a_load_far_from_the_wanted_one_is_warned_of(wanted, verdict):
    answered = of(ONE | {"wanted": wanted})
    assert line(answered, "Against the load that is wanted").verdict is verdict
    assert ("MORE THAN TWICE OFF" in answered.said) is (verdict is Verdict.BAD)


@pytest.mark.parametrize(
    ("one", "two", "verdict"),
    [("6.02", "5.98", Verdict.GOOD), ("6.1", "5.9", Verdict.WATCH), ("6.5", "5.5", Verdict.BAD)],
)
def test_halves_are_held_against_each_other(one, two, verdict):
    answered = of(ONE | {"half_one": one, "half_two": two})
    assert line(answered, "Between the halves, by volts").verdict is verdict
    assert ("HALVES UNEVEN: half 2" in answered.said) is (verdict is Verdict.BAD)


def test_within_the_meter_s_band_of_one_per_cent_the_halves_are_too_close_to_call():
    answered = of(ONE | {"half_one": "6.03 ± 0.02", "half_two": "5.97 ± 0.02"})
    assert "too close to call" in line(answered, "Between the halves, by volts").said


def test_ohms_of_the_halves_may_differ_by_a_fifth_and_no_more_than_a_quarter():
    assert (
        line(of(ONE | {"ohms_one": "110", "ohms_two": "95"}), "Between the halves, by ohms").verdict
        is Verdict.GOOD
    )
    assert (
        line(of(ONE | {"ohms_one": "110", "ohms_two": "60"}), "Between the halves, by ohms").verdict
        is Verdict.WATCH
    )


def test_a_screen_s_tap_is_told_as_its_share_of_the_half():
    answered = of(ONE | {"half_one": "6", "half_two": "6", "screen_tap": "2.58"})
    assert line(answered, "Screen’s tap").value == "43 %"


def test_a_current_far_above_the_good_one_s_is_unmistakable():
    answered = of(BESIDE | {"current": "2.4"})
    assert answered.verdict is Verdict.BAD
    assert answered.said.startswith("SHORTED TURNS LIKELY (current against the good one: 8 times)")
    assert "Don’t put it under B+." in answered.said


@pytest.mark.parametrize(("current", "verdict"), [("0.31", Verdict.GOOD), ("0.45", Verdict.WATCH)])
def test_a_current_near_the_good_one_s_is_fine_or_worth_a_look(current, verdict):
    assert line(of(BESIDE | {"current": current}), "Current against the good one").verdict is verdict


def test_a_ratio_off_the_good_one_s_is_told():
    answered = of(BESIDE | {"current": "0.3", "tap-1-good": "0.40"})
    found = line(answered, "Ratio of tap 1 against the good one")
    assert found.verdict is Verdict.WATCH
    assert found.value == "−11 %"


@pytest.mark.parametrize(
    ("current", "verdict"), [("0.2", Verdict.GOOD), ("1", Verdict.WATCH), ("4", Verdict.BAD)]
)
def test_without_a_good_one_the_load_that_it_is_made_for_tells(current, verdict):
    answered = of(ONE | {"current": current, "frequency": "1000"})
    assert line(answered, "Over the load that it is made for").verdict is verdict


def test_without_a_mark_or_a_good_one_shorted_turns_can_not_be_told():
    answered = of(BARE | {"current": "0.2", "frequency": "1000"})
    assert line(answered, "Shorted turns").verdict is Verdict.UNSURE


def test_a_current_without_its_frequency_asks_for_it():
    found, answered = answer(SHEET, ONE | {"current": "0.2"})
    assert answered is None
    assert "frequency" in found.wrong["frequency"]


def test_a_fed_tap_that_makes_the_primary_lethal_is_unmistakable():
    answered = of(FRESH | {"fed": "secondary", "primary": "340", "tap-1-volts": "12", "tap-1-marked": "8"})
    assert answered.verdict is Verdict.BAD
    assert answered.said.startswith("DANGER: 340 V on the primary, LETHAL")
    assert answered.cautions
    safe = of(FRESH | {"fed": "secondary", "primary": "24", "tap-1-volts": "0.9", "tap-1-marked": "8"})
    assert safe.verdict is not Verdict.BAD


def test_what_mains_on_a_tap_would_make_is_computed_and_told():
    """Reference, section 8: kilovolts; 26.67 times 120 V and 230 V."""
    said = line(of(ONE), "If 1 V is fed to a tap")
    assert said.value == "26.7 V"
    assert "3.20 kV from 120 V or 6.13 kV from 230 V" in said.said


def test_volts_that_can_hurt_on_a_fed_primary_are_said():
    answered = of(ONE | {"primary": "120", "tap-1-volts": "4.5"})
    assert answered.verdict is Verdict.WATCH
    assert "The 120 V on the primary can hurt." in answered.said


@pytest.mark.parametrize(
    ("megohms", "how", "verdict"),
    [
        ("500", "tester", Verdict.GOOD),
        ("50", "tester", Verdict.WATCH),
        ("5", "tester", Verdict.BAD),
        ("500", "meter", Verdict.UNSURE),
        ("5", "meter", Verdict.BAD),
    ],
)
def test_the_insulation_is_judged_and_an_ohmmeter_s_word_is_not_enough(megohms, how, verdict):
    answered = of(ONE | {"insulation": megohms, "insulation_by": how})
    assert line(answered, "Insulation").verdict is verdict
    assert ("Don’t put it under B+." in answered.said) is (verdict is Verdict.BAD)


def test_a_single_ended_transformer_is_seen_from_b_plus():
    answered = of(ONE | {"kind": "single", "tap-1-volts": "0.48"})
    assert "5.00 kΩ from plate to B+, which suits one" in answered.said


@pytest.mark.parametrize(
    ("change", "box"),
    [
        ({"primary": "0"}, "tap-1-volts"),
        ({"primary": "-12"}, "primary"),
        ({"primary": "9999"}, "primary"),
        ({"tap-1-volts": "0"}, "tap-1-volts"),
        ({"tap-1-volts": "24"}, "tap-1-volts"),
        ({"tap-1-volts": "1 uV"}, "tap-1-volts"),
        ({"tap-1-marked": "0"}, "tap-1-marked"),
        ({"tap-1-marked": "8k"}, "tap-1-marked"),
        ({"half_one": "6"}, "half_two"),
        ({"half_one": "6", "half_two": "3"}, "half_two"),
        ({"half_one": "6", "half_two": "6", "screen_tap": "7"}, "screen_tap"),
        ({"current": "0", "frequency": "1000"}, "current"),
        ({"current": "0.2", "frequency": "0"}, "frequency"),
        ({"wanted": "1 Ω"}, "wanted"),
        ({"kind": "either"}, "kind"),
        ({"primary": "12 ± 3 ± 4"}, "primary"),
        ({"primary": "<script>"}, "primary"),
        ({"compare": "yes", "good_primary": "12", "tap-1-good": "0"}, "tap-1-good"),
    ],
)
def test_what_can_not_be_gets_a_sentence_beside_its_box(change, box):
    found, answered = answer(SHEET, ONE | change)
    assert answered is None
    assert found.wrong[box].endswith((".", "?"))


@given(
    primary=st.sampled_from(["12", "0.001", "999"]) | st.text(max_size=12),
    tap=st.sampled_from(["0.45", "11.9", "500"]) | st.text(max_size=12),
    marked=st.sampled_from(["", "8", "0.5", "1000"]) | st.text(max_size=12),
    current=st.sampled_from(["", "0.2", "9 A"]) | st.text(max_size=12),
)
@settings(max_examples=50, deadline=None)
def test_whatever_is_typed_is_answered_or_refused(primary, tap, marked, current):
    said = ONE | {"primary": primary, "tap-1-volts": tap, "tap-1-marked": marked, "current": current}
    found, answered = answer(SHEET, said | {"frequency": "1000"})
    assert answered is not None or found.wrong or found.missing


def test_the_picture_has_a_line_for_each_tap_and_a_dot_for_each_mark():
    answered = of(ONE | {"tap-count": "2", "tap-2-volts": "0.636"})
    drawing = draw(answered.charts[0])
    assert len(drawing.curves) == 2
    assert len(drawing.dots) == 1


def test_it_answers_in_a_moment():
    taps = {
        f"tap-{n}-{box}": text
        for n in range(1, 7)
        for box, text in (("volts", f"0.{n}5 ± 1 %"), ("marked", "8"))
    }
    said = (
        BESIDE
        | taps
        | {"tap-count": "6", "current": "0.4 ± 2 %", "half_one": "6 ± 1 %", "half_two": "6 ± 1 %"}
    )
    of(said)
    assert pace.seconds(lambda: of(said)) < 0.05
