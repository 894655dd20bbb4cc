"""The worksheet of the test after a repair: what it asks, and in which words it answers."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.worksheets.repair_test import SHEET
from calc.worksheets.sheet import Verdict, answer

LIMITS = "EN 50678:2020 as makers of testers tell it"
CLASS_I = {
    "protection": "class-i",
    "looked": "fine",
    "earth": "0.12",
    "cord": "2",
    "area": "0.75",
    "insulation_by": "500",
    "insulation": "20",
    "protective_current": "0.4",
    "works": "fine",
}
CLASS_II = {
    "protection": "class-ii",
    "looked": "fine",
    "insulation_by": "500",
    "insulation": "20",
    "touch_current": "0.1",
    "works": "fine",
}
METER = {"ohm": (5.0, 0.01), "A": (2.0, 0.00002)}


def answered(said, accuracies=None):
    found, given = answer(SHEET, said, accuracies)
    assert given is not None, (found.wrong, found.missing)
    return given


@pytest.mark.parametrize(
    ("said", "more", "verdict", "words", "source"),
    [
        (CLASS_I, {}, Verdict.GOOD, "Pass", LIMITS),
        (CLASS_I, {"earth": "0.4"}, Verdict.BAD, "FAIL", LIMITS + ": 0.3 Ω"),
        (CLASS_I, {"earth": "0.4", "cord": "10"}, Verdict.GOOD, "Pass", LIMITS + ": 0.4 Ω at 10 m"),
        (CLASS_I, {"earth": "0.2", "area": "2.5"}, Verdict.BAD, "FAIL", LIMITS + ": by the copper"),
        (CLASS_I, {"earth": "0.29 ± 0.02"}, Verdict.UNSURE, "Too close to call", LIMITS),
        (CLASS_I, {"insulation": "0.9"}, Verdict.BAD, "FAIL", LIMITS + ": 1 MΩ"),
        (CLASS_I, {"protective_current": "3.6"}, Verdict.BAD, "FAIL", LIMITS + ": 3.5 mA"),
        (CLASS_I, {"unearthed": "on"}, Verdict.UNSURE, "Still to do: touch current", LIMITS),
        (CLASS_I, {"unearthed": "on", "touch_current": "0.6"}, Verdict.BAD, "FAIL", LIMITS + ": 0.5 mA"),
        (CLASS_I, {"insulation_by": "left-out"}, Verdict.GOOD, "Pass", LIMITS + ": the current decides"),
        (CLASS_I, {"looked": "found"}, Verdict.BAD, "FAIL", LIMITS),
        (CLASS_I, {"works": ""}, Verdict.UNSURE, "Still to do: tried out", LIMITS),
        (CLASS_II, {}, Verdict.GOOD, "Pass", LIMITS),
        (CLASS_II, {"touch_current": "0.6 mA"}, Verdict.BAD, "FAIL", LIMITS + ": 0.5 mA"),
        (CLASS_II, {"insulation": "1.5"}, Verdict.GOOD, "Pass", LIMITS + ": the touch current decides"),
        ({"protection": "class-iii", "insulation_by": "250", "insulation": "200k"}, {}, Verdict.BAD, "FAIL", LIMITS),
        ({"protection": "two-wire"}, {}, Verdict.BAD, "not class II", "common practice, no source"),
    ],
)  # fmt: skip
def test_the_answer_is_said_in_words(said, more, verdict, words, source):
    given = answered({**said, **more})
    assert (given.verdict, words in given.said) == (verdict, True), (given.said, source)


def test_the_meters_uncertainty_makes_a_near_reading_too_close_to_call():
    assert answered({**CLASS_I, "earth": "0.285"}).verdict is Verdict.GOOD
    assert answered({**CLASS_I, "earth": "0.285"}, METER).verdict is Verdict.UNSURE
    assert answered({**CLASS_I, "earth": "0.285 ± 0.005"}, METER).verdict is Verdict.GOOD


def test_what_was_taken_as_exact_is_named():
    assert any("Taken as exact" in note for note in answered(CLASS_I).notes)
    assert not any("Taken as exact" in note for note in answered(CLASS_I, METER).notes)


def test_every_line_names_edition_and_clause():
    given = answered(CLASS_I)
    assert all("EN 50678:2020" in line.said for line in given.lines)
    assert "clause 5.3" in next(line.said for line in given.lines if line.label == "Protective earth")


def test_a_fail_is_a_caution_with_what_to_do():
    caution = answered({**CLASS_I, "earth": "0.5"}).cautions[0]
    assert "Clean and tighten the earth bolt" in caution.do
    assert "Don’t hand it over" in caution.dont


def test_only_what_belongs_to_the_class_is_asked():
    given = answered({**CLASS_II, "earth": "nonsense", "protective_current": "nonsense"})
    assert "Protective earth" not in [line.label for line in given.lines]


def test_the_empty_form_waits():
    found, given = answer(SHEET, {})
    assert given is None
    assert not found.wrong
    assert "protection" in found.missing


@pytest.mark.parametrize(
    ("box", "text"),
    [
        ("earth", "-1"),
        ("earth", "low"),
        ("earth", "0.1 ± x"),
        ("cord", "0"),
        ("cord", "1000"),
        ("cord", "2 V"),
        ("area", "99"),
        ("insulation", "OL"),
        ("protective_current", "-0.4"),
        ("heating", "0"),
        ("insulation_by", "by hand"),
    ],
)
def test_what_cant_be_is_refused_at_its_box(box, text):
    found, given = answer(SHEET, {**CLASS_I, box: text})
    assert given is None
    assert set(found.wrong) == {box}


@settings(max_examples=50)
@given(st.dictionaries(st.sampled_from(list(CLASS_I)), st.text(max_size=40)), st.booleans())
def test_hostile_texts_get_words_and_never_an_error(texts, with_meter):
    found, given = answer(SHEET, {**CLASS_I, **texts}, METER if with_meter else None)
    assert given is not None or found.wrong or found.missing
