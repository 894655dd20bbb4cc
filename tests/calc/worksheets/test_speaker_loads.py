"""Speaker loads as they are filled in."""

import pytest

from calc.worksheets.chart import draw
from calc.worksheets.sheet import Verdict, answer
from calc.worksheets.speaker_loads import SHEET

HEAD = {"amplifier": "valve", "power": "50", "tap": "8", "primary": "4k"}
SOLID = {"amplifier": "solid", "power": "100", "least_load": "4"}


def filled(amplifier, *drivers, wiring="parallel", loads=(), **rest):
    said = {**amplifier, "wiring": wiring, "driver-count": str(len(drivers)), "load-count": str(len(loads))}
    for number, (ohms, watts) in enumerate(drivers, 1):
        said |= {
            f"driver-{number}-impedance": ohms,
            f"driver-{number}-rating": watts,
            f"driver-{number}-branch": "1",
        }
    for number, (ohms, watts) in enumerate(loads, 1):
        said |= {f"load-{number}-impedance": ohms, f"load-{number}-rating": watts}
    return said | rest


def line(said, label):
    return next(each for each in said.lines if each.label == label)


def test_a_matched_cabinet_with_room_is_good():
    _, said = answer(SHEET, filled(HEAD, ("16", "60"), ("16", "60")))
    assert said.verdict is Verdict.GOOD
    assert said.said == "The amplifier sees 8.00 Ω. The load suits the tap."
    assert line(said, "Driver 2 takes").value == "25.0 W"
    assert line(said, "The plates see").value == "4.00 kΩ"


def test_four_drivers_in_two_strings_make_the_tap_again():
    rest = {"driver-3-branch": "2", "driver-4-branch": "2"}
    _, said = answer(SHEET, filled(HEAD, *[("8", "30")] * 4, wiring="strings", **rest))
    assert line(said, "Load").value == "8.00 Ω"
    assert line(said, "If one driver opens").value == "16.0 Ω"


def test_a_transistor_amplifier_under_its_least_load_is_not_to_be_connected():
    _, said = answer(SHEET, filled(SOLID, ("4", "100"), ("4", "100")))
    assert said.verdict is Verdict.BAD
    assert "DON’T CONNECT IT" in said.said


def test_a_valve_amplifier_far_off_its_tap_is_not_to_be_played():
    _, said = answer(SHEET, filled(HEAD, ("16", "100"), ("16", "100"), wiring="series"))
    assert said.verdict is Verdict.BAD
    assert "DON’T PLAY IT" in said.said


def test_a_driver_over_its_rating_is_named():
    _, said = answer(SHEET, filled(HEAD, ("8", "25"), ("8", "60"), wiring="series"))
    assert said.verdict is Verdict.WATCH
    _, said = answer(SHEET, filled(HEAD, ("8", "20"), ("8", "60"), wiring="series"))
    assert said.verdict is Verdict.BAD
    assert "TOO MUCH POWER for driver 1" in said.said


def test_a_coil_that_reads_like_another_impedance_is_said_so():
    _, said = answer(SHEET, filled(HEAD, ("8", "100"), **{"driver-1-dc": "12.9 ± 0.1"}))
    assert said.verdict is Verdict.BAD
    assert "reads like 16 Ω" in line(said, "DC of driver 1").said


def test_the_test_load_that_will_do_is_named_with_the_power_it_bears():
    _, said = answer(
        SHEET, filled(HEAD, ("8", "100"), loads=[("8", "100"), ("4", "200")], **{"load-1-name": "big one"})
    )
    assert line(said, "Test load").value == "big one: 8.00 Ω"
    assert line(said, "Test load").said == "up to 50.0 W"
    _, said = answer(SHEET, filled(HEAD, ("8", "100"), loads=[("8", "40")]))
    assert line(said, "Test load").verdict is Verdict.BAD
    assert "NOT AT FULL POWER" in line(said, "Test load").said
    _, said = answer(SHEET, filled(HEAD, ("8", "100"), loads=[("2", "40")]))
    assert line(said, "Test load").value == "none will do"


def test_the_picture_shows_each_driver_s_power_under_its_rating():
    _, said = answer(SHEET, filled(HEAD, ("8", "60"), ("16", "60")))
    drawing = draw(said.charts[0])
    assert len(drawing.dots) == 2
    assert [curve.name for curve in drawing.legend] == ["rating"]
    assert "driver 1 33.3 W of 60.0 W" in drawing.words


def test_an_empty_form_asks_and_answers_nothing():
    found, said = answer(SHEET, {})
    assert said is None
    assert not found.wrong
    assert {"power", "driver-1-impedance"} <= set(found.missing)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("power", "-50"),
        ("power", "0"),
        ("tap", "0"),
        ("tap", "8 V"),
        ("driver-1-impedance", "1e400"),
        ("driver-1-impedance", "8/16"),
        ("driver-1-rating", "lots"),
        ("driver-1-dc", "6 ± "),
        ("wiring", "sideways"),
        ("primary", "99999M"),
    ],
)
def test_what_cannot_be_read_is_said_beside_its_box(name, text):
    found, said = answer(SHEET, filled(HEAD, ("8", "60")) | {name: text})
    assert said is None
    assert list(found.wrong) == [name]
