"""The supply as it is filled in."""

import math

import pytest

from calc.worksheets.chart import draw
from calc.worksheets.sheet import Answer, Verdict, answer
from calc.worksheets.supply import SHEET

AMP = {
    "volts": "350",
    "resistance": "40",
    "primary": "3",
    "primary_volts": "120",
    "frequency": "60",
    "high": "5",
    "circuit": "centre-tap",
    "rectifier": "5U4GB",
    "capacitor": "40",
    "rating": "525",
    "load": "pentode",
    "load_current": "100",
    "load_volts": "390",
    "bleeder": "220k",
    "section-count": "2",
    "section-1-kind": "choke",
    "section-1-henries": "4",
    "section-1-series": "150",
    "section-1-capacitor": "22",
    "section-1-load": "current",
    "section-1-load_current": "10 mA",
    "section-2-kind": "resistor",
    "section-2-series": "10k",
    "section-2-capacitor": "22u",
    "section-2-load": "triode",
    "section-2-load_current": "4",
    "section-2-load_volts": "250",
    "safe": "50",
    "what": "nothing",
}


def worked(**changes: str) -> Answer:
    found, said = answer(SHEET, {**AMP, **changes})
    assert said is not None, (found.wrong, found.missing)
    return said


def test_a_capacitors_rating_may_stand_behind_its_value():
    assert worked(capacitor="40u/525V", rating="") == worked()


def wrong(**changes: str) -> dict[str, str]:
    found, said = answer(SHEET, {**AMP, **changes})
    assert said is None
    return {**found.missing, **found.wrong}


def table(said: Answer, title: str) -> dict[str, tuple[str, ...]]:
    """The rows of a table by their first cell."""
    (found,) = [each for each in said.tables if each.title.startswith(title)]
    return {row.cells[0]: row.cells[1:] for row in found.rows}


def test_an_empty_supply_asks_and_answers_nothing() -> None:
    found, said = answer(SHEET, {})
    assert said is None
    assert not found.wrong
    assert {"volts", "resistance", "capacitor"} <= set(found.missing)


def test_a_sound_supply_is_said_in_a_sentence() -> None:
    said = worked(capacitor="32", rating="600")
    assert said.verdict is Verdict.GOOD
    assert said.said.startswith("The reservoir stands at 39")
    assert "of ripple, peak to peak" in said.said
    assert list(table(said, "Nodes")) == ["Reservoir", "Section 1", "Section 2"]


def test_the_primary_has_its_share() -> None:
    """40 Ω, 3 Ω of primary, 350 V on 120 V. Source: R + Rp·(V/Vp)² by hand, 65.5 Ω."""
    lines = {line.label: line.value for line in worked().lines}
    assert lines["Series resistance"] == "65.5 Ω"
    assert {line.label: line.value for line in worked(primary="").lines}["Series resistance"] == "40.0 Ω"


def test_a_capacitor_that_the_no_load_volts_break_is_unmistakable() -> None:
    """350 V a side on high mains is 520 V. Source: √2·350·1.05."""
    said = worked(rating="500")
    assert said.verdict is Verdict.BAD
    assert said.said.startswith("Out of limits: don’t leave it like this. Reservoir capacitor")
    assert "520 V, and the limit is 500 V" in said.said
    assert table(said, "Limits")["Reservoir capacitor, no load, high mains"][:2] == ("520 V", "at most 500 V")


def test_a_marking_brings_its_rating_along() -> None:
    said = worked(capacitor="40u/350V", rating="", **{"section-1-capacitor": "22u/450V"})
    limits = table(said, "Limits")
    assert limits["Reservoir capacitor, no load, high mains"][1] == "at most 350 V"
    assert limits["Section 1 capacitor, no load, high mains"][1] == "at most 450 V"


def test_a_part_at_its_limit_is_worth_a_look() -> None:
    """40 µF is the most that the 5U4GB's sheet allows, from memory."""
    said = worked(rating="600")
    assert said.verdict is Verdict.WATCH
    assert said.said.startswith("At its limit or close to it: first capacitor.")


def test_a_rectifier_that_is_asked_too_much_is_bad() -> None:
    said = worked(rectifier="5Y3GT", capacitor="47")
    assert said.verdict is Verdict.BAD
    assert "first capacitor 47.0 µF, and the limit is 20.0 µF" in said.said.replace("First", "first")
    assert table(said, "Limits")["First capacitor"][2] == "the 5Y3GT’s sheet"


def test_what_nothing_bleeds_is_said_to_stay_charged() -> None:
    bled, left = worked(), worked(bleeder="")
    assert not bled.cautions
    assert table(bled, "Down to 50.0 V")["Reservoir"][0].endswith(" s")
    assert table(left, "Down to 50.0 V")["Reservoir"] == ("stays charged",)
    assert "stay charged for days" in left.cautions[0].said


@pytest.mark.parametrize(
    ("measured", "verdict"),
    [("395 ± 3", Verdict.GOOD), ("300 ± 3", Verdict.WATCH), ("352 ± 8", Verdict.UNSURE)],
)
def test_what_was_measured_stands_beside_what_was_computed(measured: str, verdict: Verdict) -> None:
    said = worked(measured=measured)
    (found,) = [each for each in said.tables if each.title == "Measured"]
    assert found.rows[0].verdict is verdict
    assert found.rows[0].cells[0] == "Reservoir"


@pytest.mark.parametrize(
    ("measured", "words"),
    [
        ("300", "300.0 V measured, 392.7 V expected. Look for a tired rectifier"),
        ("470", "Look for too little drawn"),
    ],
)
def test_a_reading_that_is_off_leads_to_where_to_look(measured: str, words: str) -> None:
    assert words in worked(measured=measured).said


@pytest.mark.parametrize(
    ("ripple", "verdict"),
    [("5", Verdict.GOOD), ("2", Verdict.GOOD), ("12 ± 1", Verdict.WATCH), ("6.5 ± 0.5", Verdict.UNSURE)],
)
def test_more_ripple_than_the_parts_leave_leads_to_the_capacitor(ripple: str, verdict: Verdict) -> None:
    said = worked(measured_ripple=ripple)
    (found,) = [each for each in said.tables if each.title == "Measured"]
    assert found.rows[0].verdict is verdict
    assert ("Look for a dried-out capacitor" in said.said) is (verdict is Verdict.WATCH)


def test_what_would_be_is_said_after_what_is() -> None:
    said = worked(what="high").said
    assert "With mains 5 % up the reservoir would stand at 41" in said


@pytest.mark.parametrize(
    ("changes", "dc", "ripple"),
    [
        ({"what": "silicon"}, "up", "any"),
        ({"what": "tube", "other_tube": "5Y3GT"}, "down", "any"),
        ({"what": "high"}, "up", "any"),
        ({"what": "low"}, "down", "any"),
        ({"what": "capacitor", "which": "1", "other_capacitor": "100"}, "any", "down"),
        ({"what": "leaky", "which": "1", "leak": "10k"}, "down", "up"),
        ({"what": "dried", "which": "1", "left": "20", "dry_esr": "50"}, "down", "up"),
    ],
    ids=lambda each: each["what"] if isinstance(each, dict) else "",
)
def test_what_would_change_stands_beside_what_is(changes: dict[str, str], dc: str, ripple: str) -> None:
    said = worked(**changes)
    rows = table(said, "What if")
    for name, way in (("Reservoir, DC", dc), ("Reservoir, ripple, p-p", ripple)):
        now, then = (float(cell.split()[0]) for cell in rows[name])
        assert {"up": then > now, "down": then < now, "any": True}[way], (name, now, then)
    assert any(curve.look == "dashed" for curve in said.charts[0].curves)


def test_silicon_that_a_capacitor_does_not_stand_is_said_before_it_is_fitted() -> None:
    said = worked(what="silicon", high="10")
    (line,) = [line for line in said.lines if line.label.startswith("Then: Reverse volts")]
    assert line.verdict is Verdict.BAD
    assert line.said == "the limit is 1.00 kV"


def test_a_further_sections_capacitor_can_be_the_one_that_is_asked_about() -> None:
    rows = table(worked(what="dried", which="3", left="10", dry_esr="0"), "What if")
    now, then = (cell for cell in rows["Section 2, ripple, p-p"])
    assert now != then


def test_a_supply_with_nothing_but_a_reservoir_and_no_load_is_answered() -> None:
    said = worked(load="none", bleeder="", **{"section-count": "0"})
    assert f"The reservoir stands at {350 * math.sqrt(2):.0f} V" in said.said
    assert len(said.charts[0].curves) == 1


@pytest.mark.parametrize("circuit", ["centre-tap", "bridge", "half-wave", "doubler"])
@pytest.mark.parametrize("rectifier", ["silicon", "5AR4"])
def test_every_circuit_has_its_picture(circuit: str, rectifier: str) -> None:
    said = worked(circuit=circuit, rectifier=rectifier, volts="200", what="low")
    for chart in said.charts:
        drawing = draw(chart)
        assert all(curve.path for curve in drawing.curves)
        assert chart.words.endswith(".")


@pytest.mark.parametrize(
    ("changes", "box"),
    [
        ({"volts": "0"}, "volts"),
        ({"volts": "-350"}, "volts"),
        ({"volts": "1e99"}, "volts"),
        ({"volts": "<script>"}, "volts"),
        ({"volts": "9" * 40}, "volts"),
        ({"resistance": "0"}, "resistance"),
        ({"resistance": "4k7k"}, "resistance"),
        ({"capacitor": "0"}, "capacitor"),
        ({"capacitor": "40 V"}, "capacitor"),
        ({"rectifier": "5U4GX"}, "rectifier"),
        ({"section-1-henries": "0"}, "section-1-henries"),
        ({"section-2-series": ""}, "section-2-series"),
        ({"load_current": "0"}, "load_current"),
        ({"primary_volts": ""}, "primary_volts"),
        ({"what": "dried", "which": "7", "left": "20", "dry_esr": "5"}, "which"),
        ({"what": "dried", "which": "0", "left": "20", "dry_esr": "5"}, "which"),
        ({"load_current": "9 A"}, ""),
        ({"load": "resistor", "load_ohms": "1 ohm"}, ""),
    ],
)
def test_what_can_not_be_is_answered_beside_its_box(changes: dict[str, str], box: str) -> None:
    """The last two name no box: every value is possible, and the circuit is not."""
    assert wrong(**changes)[box].endswith((".", "?"))
