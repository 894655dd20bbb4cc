"""The worksheet of the spring tank: what its boxes answer."""

import pytest

from calc.worksheets import by_slug
from calc.worksheets.chart import draw
from calc.worksheets.sheet import Answer, Verdict, answer
from calc.worksheets.spring_tank import SHEET
from tests import pace

TANK = {"input_ohms": "8", "output_ohms": "2250", "drive": "left-out", "judge": "no"}
TRANSFORMER = {**TANK, "drive": "transformer", "volts": "12", "primary": "22k8", "secondary": "8"}
STAND_IN = {
    **TANK,
    "judge": "yes",
    "s_input_ohms": "8",
    "s_output_ohms": "2250",
    "input_ground": "same",
    "output_ground": "same",
    "plane": "same",
    "decay": "same",
    "size": "same",
}


def worked_out(said: dict[str, str]) -> Answer:
    found, answered = answer(SHEET, said)
    assert answered is not None, (found.wrong, found.missing)
    return answered


def line(answered: Answer, label: str):
    return next(each for each in answered.lines if each.label == label)


def test_the_worksheet_is_found_by_its_name() -> None:
    assert by_slug("spring-tank") is SHEET


def test_an_empty_form_asks_and_answers_nothing() -> None:
    found, answered = answer(SHEET, {})
    assert answered is None
    assert not found.wrong
    assert {"input_ohms", "output_ohms", "drive", "judge"} <= set(found.missing)


def test_the_ohms_alone_say_what_it_wants() -> None:
    """28 mA into 8 Ω: 0.22 V at 1 kHz, 1.1 V at 5 kHz (tank makers' data, from memory)."""
    answered = worked_out(TANK)
    assert answered.said == "It wants 28 mA at its input."
    assert line(answered, "Nominal drive").said == "takes 224 mV at 1 kHz, 1.11 V at 5 kHz, rms"


def test_a_transformer_is_matched_and_its_drive_said() -> None:
    """√(22.8 kΩ/8 Ω) = 53.4; 12 V/53.4 = 225 mV; over 8 Ω 28.1 mA."""
    answered = worked_out(TRANSFORMER)
    assert line(answered, "Driver transformer").value == "53.4 : 1"
    assert line(answered, "Drive at 1 kHz").value == "28.1 mA"
    assert answered.verdict is Verdict.GOOD
    assert "enough, and not too much" in answered.said


@pytest.mark.parametrize(
    ("volts", "words"), [("4", "weak"), ("40", "saturation"), ("12 ± 1 %", "28.1 ± 0.3 mA: enough")]
)
def test_the_drive_is_judged(volts: str, words: str) -> None:
    assert words in worked_out({**TRANSFORMER, "volts": volts}).said


def test_a_tank_of_other_ohms_on_the_transformer_is_out_of_limits() -> None:
    answered = worked_out({**TRANSFORMER, "input_ohms": "150"})
    assert line(answered, "Driver transformer").verdict is Verdict.BAD
    assert answered.verdict is Verdict.BAD
    assert "made for 22.8 kΩ" in answered.said


def test_volts_at_the_tank_are_enough() -> None:
    answered = worked_out({**TANK, "drive": "at-the-tank", "tank_volts": "224 mV"})
    assert line(answered, "Drive at 1 kHz").value == "28.0 mA"


@pytest.mark.parametrize(
    ("load", "verdict"),
    [("220k", Verdict.GOOD), ("10k", Verdict.WATCH), ("2k2", Verdict.BAD), ("220", Verdict.GOOD)],
)
def test_the_recovery_stage_is_judged_and_bare_numbers_are_kilohms(load: str, verdict: Verdict) -> None:
    assert line(worked_out({**TANK, "recovery": load}), "Recovery stage").verdict is verdict


@pytest.mark.parametrize(
    ("box", "ohms", "verdict", "said"),
    [
        ("input_dc", "0R8", Verdict.GOOD, "as usual"),
        ("input_dc", "58", Verdict.BAD, "fits a coil of 600 Ω"),
        ("output_dc", "195 ± 1 %", Verdict.GOOD, "as usual"),
        ("output_dc", "5M", Verdict.BAD, "open"),
        ("output_dc", "40", Verdict.BAD, "fits a coil of 500 Ω"),
        ("output_dc", "280 ± 5", Verdict.UNSURE, "too close to call"),
    ],
)
def test_a_coils_resistance_is_held_against_what_is_usual(
    box: str, ohms: str, verdict: Verdict, said: str
) -> None:
    """Tank makers' data, from memory."""
    answered = worked_out({**TANK, box: ohms})
    found = line(answered, f"Tank, {box.removesuffix('_dc')} coil")
    assert found.verdict is verdict
    assert said in found.said
    assert answered.verdict is verdict


@pytest.mark.parametrize(
    ("other", "verdict", "said"),
    [
        ({}, Verdict.GOOD, "The stand-in will serve."),
        ({"plane": "other"}, Verdict.WATCH, "will serve, with care: mounting plane."),
        ({"s_input_ohms": "150"}, Verdict.BAD, "will not serve: input impedance."),
        ({"input_ground": "now-grounded"}, Verdict.BAD, "will not serve: input ground."),
        ({"recovery": "2k2"}, Verdict.BAD, "will not serve: recovery stage."),
        ({"drive": "direct", "volts": "0.1"}, Verdict.WATCH, "with care: drive."),
        ({"decay": "unknown"}, Verdict.UNSURE, "can’t be told yet: decay."),
        ({"s_output_dc": "5M"}, Verdict.BAD, "will not serve: output coil."),
    ],
)
def test_whether_a_stand_in_will_serve_is_said_first(
    other: dict[str, str], verdict: Verdict, said: str
) -> None:
    """Common practice, no source."""
    answered = worked_out({**STAND_IN, **other})
    assert answered.verdict is verdict
    assert said in answered.said
    labels = [each.label for each in answered.lines if each.label.startswith("Stand-in, ")]
    assert len(labels) == len(set(labels)) >= 7


def test_an_open_coil_is_not_said_to_get_a_current() -> None:
    answered = worked_out({**TRANSFORMER, "input_dc": "5M"})
    assert "The input gets" not in answered.said
    assert line(answered, "Drive at 1 kHz, were the coil sound").value == "28.1 mA"


def test_a_stand_in_is_judged_for_itself_where_the_old_tank_is_broken() -> None:
    answered = worked_out({**STAND_IN, "input_dc": "5M"})
    assert answered.verdict is Verdict.GOOD
    assert answered.said.startswith("The stand-in will serve. Tank, input coil: open")


def test_the_stand_in_is_drawn_beside_the_tank() -> None:
    answered = worked_out({**STAND_IN, **TRANSFORMER, "judge": "yes", "s_input_ohms": "10"})
    drawn = draw(answered.charts[0])
    assert [curve.name for curve in drawn.legend] == ["Tank in the amp", "Stand-in"]
    assert [limit.name for limit in drawn.limits] == ["Nominal drive"]
    assert "mA at 5 kHz" in drawn.words


def test_it_asks_for_ohms_and_never_for_a_letter_code() -> None:
    boxes = [box for box, _ in SHEET.boxes() if box.name.endswith("_ohms")]
    assert len(boxes) == 4
    assert {box.unit for box in boxes} == {"ohm"}


HOSTILE = ["0", "-8", "NaN", "1e999", "4AB3C1B", "<b>", "9" * 40, "\0", "1M", "٣"]


@pytest.mark.parametrize("text", HOSTILE)
@pytest.mark.parametrize("box", ["input_ohms", "output_ohms"])
def test_what_cannot_be_read_is_said_beside_its_box(box: str, text: str) -> None:
    found, answered = answer(SHEET, {**TANK, box: text})
    assert answered is None
    assert list(found.wrong) == [box]


def test_it_answers_at_once() -> None:
    said = {**STAND_IN, **TRANSFORMER, "judge": "yes", "recovery": "220k"}
    worked_out(said)
    assert pace.seconds(lambda: worked_out(said)) < 0.05
