"""Mains as it is filled in."""

import pytest

from calc.worksheets.chart import draw
from calc.worksheets.mains import SHEET
from calc.worksheets.sheet import Verdict, answer

START = {box.name: box.initial for box, _ in SHEET.boxes() if box.initial}


def filled(**rest):
    return START | {"design": "117", "line": "118"} | rest


def line(said, label):
    return next(each for each in said.lines if each.label == label)


def test_a_set_on_its_own_line_is_good():
    _, said = answer(SHEET, filled())
    assert said.verdict is Verdict.GOOD
    assert "within ±5 %" in said.said
    assert line(said, "Bucking transformer").value == "none needed"


def test_a_high_line_is_watched_and_the_winding_that_brings_it_down_is_named():
    _, said = answer(SHEET, filled(line="124", b_plus="420", current="0.8"))
    assert said.verdict is Verdict.WATCH
    assert line(said, "Heaters").value == "6.68 V"
    assert line(said, "B+ on this line").value == "445 V"
    assert line(said, "Bucking transformer").value == "120 V to 6.30 V"
    assert "5.0 VA" in line(said, "Bucking transformer").said
    assert line(said, "Or a dropper").value == "8.2 Ω"
    assert line(said, "Limiter lamp").value == "100 W"


def test_a_low_line_is_brought_up_by_a_winding_that_aids():
    _, said = answer(SHEET, filled(line="108"))
    assert line(said, "Boosting transformer").value == "120 V to 10.0 V"
    assert "aiding" in said.said


def test_the_other_continent_s_line_is_not_to_be_plugged_in():
    for there in ("230", "60"):
        _, said = answer(SHEET, filled(line=there))
        assert said.verdict is Verdict.BAD
        assert said.said.startswith("DON’T PLUG IT IN")
        assert not any("Bucking" in each.label for each in said.lines)


def test_a_core_for_sixty_hertz_saturates_on_fifty():
    _, said = answer(SHEET, filled(frequency="50"))
    assert said.verdict is Verdict.BAD
    assert "SATURATES" in said.said
    _, said = answer(SHEET, filled(frequency="50", built="string"))
    assert not any("Flux" in each.label for each in said.lines)


@pytest.mark.parametrize("built", ["string", "auto"])
def test_a_live_chassis_is_never_earthed(built):
    _, said = answer(SHEET, filled(built=built))
    assert "never earth it" in said.said
    assert said.verdict is Verdict.WATCH
    assert any("Never earth the chassis" in each.dont for each in said.cautions)
    assert not any("grounded cord" in each.do for each in said.cautions)


def test_a_capacitor_from_line_to_chassis_is_dangerous_and_no_new_one_is_fitted():
    _, said = answer(SHEET, filled(cord="two", capacitor=".047"))
    assert said.verdict is Verdict.BAD
    assert "DANGEROUS TO TOUCH" in said.said
    assert line(said, "Touch current through it").value == "2.09 mA"
    assert any("Never fit a new one" in each.dont for each in said.cautions)
    assert any("grounded cord" in each.do and "local code" in each.do for each in said.cautions)


def test_a_lamp_with_the_whole_line_on_it_is_a_short():
    _, said = answer(SHEET, filled(lamp="100", across="110"))
    assert said.verdict is Verdict.BAD
    assert "A SHORT" in said.said


def test_volts_across_a_lamp_need_the_lamp():
    found, said = answer(SHEET, filled(across="30"))
    assert said is None
    assert "watts" in found.wrong["lamp"]


@pytest.mark.parametrize(
    ("current", "fuse", "verdict", "words"),
    [
        ("0.8", "2", Verdict.GOOD, "Never uprate"),
        ("1.8", "2", Verdict.WATCH, "near its rating"),
        ("2.5", "2", Verdict.BAD, "OVER ITS RATING"),
        ("0.2", "5", Verdict.WATCH, "uprated"),
        ("", "2", Verdict.PLAIN, "never uprate"),
    ],
)
def test_a_fuse_is_held_against_the_current_at_rest(current, fuse, verdict, words):
    _, said = answer(SHEET, filled(current=current, fuse=fuse))
    assert line(said, "Fuse").verdict is verdict
    assert words in line(said, "Fuse").said


def test_a_fuse_that_iec_doesn_t_list_is_replaced_downwards():
    _, said = answer(SHEET, filled(fuse="3"))
    assert line(said, "If you can’t get that fuse").value == "2.50 A"


def test_the_picture_shows_where_the_set_is_between_the_heaters_limits():
    _, said = answer(SHEET, filled(line="130"))
    drawing = draw(said.charts[0])
    assert [(dot.name, dot.look) for dot in drawing.dots] == [("today", "bad"), ("with the winding", "good")]
    assert [limit.name for limit in drawing.limits] == ["+10 %", "+5 %", "−5 %", "−10 %"]
    assert "today 7.00 V on 130 V" in drawing.words


def test_the_local_code_and_isolation_are_spoken_of_whatever_is_filled_in():
    assert "local code" in SHEET.cautions[0].do
    assert "isolation" in SHEET.cautions[0].dont


def test_an_empty_form_asks_and_answers_nothing():
    found, said = answer(SHEET, {})
    assert said is None
    assert not found.wrong
    assert {"design", "line"} <= set(found.missing)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("line", "0"),
        ("line", "120 Hz"),
        ("line", "120 Vpp"),
        ("design", "1e9"),
        ("current", "-1"),
        ("capacitor", "1 F"),
        ("fuse", "20"),
        ("fuse", "T2AL"),
        ("built", "sideways"),
        ("heater", "six"),
        ("buck_secondary", "6.3 ± 1"),
    ],
)
def test_what_cannot_be_read_is_said_beside_its_box(name, text):
    found, said = answer(SHEET, filled() | {name: text})
    assert said is None
    assert list(found.wrong) == [name]


def test_a_transformer_that_isn_t_one_for_bucking_is_refused():
    found, said = answer(SHEET, filled(line="124", buck_primary="120", buck_secondary="110"))
    assert said is None
    assert "step-down" in found.wrong[""]
