"""The gain stage as it is filled in."""

import math

import pytest

from calc.worksheets.chart import draw
from calc.worksheets.gain_stage import SHEET
from calc.worksheets.sheet import Answer, Verdict, answer
from tests.calc import spice

EMPTY = {box.name: box.initial for box, _ in SHEET.boxes()}
STAGE = {
    **EMPTY,
    "supply": "300",
    "plate_resistor": "100k",
    "cathode_resistor": "1k5",
    "bypass": "25",
    "input_capacitor": ".022",
    "output_capacitor": "22n",
    "load": "1M",
    "source_impedance": "38k",
    "grid_stopper": "68k",
}
FOLLOWER = {
    **EMPTY,
    "kind": "cathode",
    "bias": "volts",
    "supply": "320",
    "cathode_resistor": "100k",
    "grid_volts": "170",
    "load": "56k",
}


def worked(said: dict[str, str] = STAGE, **changes: str) -> Answer:
    found, it = answer(SHEET, {**said, **changes})
    assert it is not None, (found.wrong, found.missing)
    return it


def line(it: Answer, label: str):
    return next(each for each in it.lines if label in each.label)


def test_an_empty_form_asks_for_what_it_needs_and_nothing_more():
    found, it = answer(SHEET, EMPTY)
    assert it is None
    assert not found.wrong
    assert set(found.missing) == {"supply", "cathode_resistor"}


def test_a_form_without_its_choices_asks_for_them():
    found, it = answer(SHEET, {})
    assert it is None
    assert {"tube", "kind", "bias"} <= set(found.missing)


def test_a_stage_is_told_in_a_sentence():
    # Koren 1996 with the 12AX7 of his library, worked apart: 203.0 V, 1.456 V, 0.970 mA
    it = worked()
    assert "203 V on the plate and about 1.46 V on the cathode" in it.said
    assert line(it, "Current").value == "970 µA"
    assert it.verdict is Verdict.PLAIN


def test_gain_is_ngspices_to_one_per_cent():
    circuit = """stage
Vb b 0 300
Vin g 0 dc 0 ac 1
B1 p k I=2*pow(v(p,k)/600*ln(1+exp(600*(1/100+v(g,k)/sqrt(300+v(p,k)*v(p,k))))),1.4)/1060
Ra b p 100k
Rk k 0 1.5k
Ck k 0 1
Cout p out 1
Rload out 0 1meg
.ac lin 1 1k 1k
"""
    theirs = abs(spice.run(circuit)["v(out)"][-1])
    assert float(line(worked(), "Gain").value.split()[0]) == pytest.approx(theirs, rel=0.01)


def test_a_healthy_reading_is_called_healthy():
    it = worked(plate="205 ± 2", cathode="1.45", supply_measured="301")
    assert it.verdict is Verdict.GOOD
    assert "as a healthy one does" in it.said


@pytest.mark.parametrize(
    ("readings", "words", "source"),
    [
        (
            {"plate": "300", "cathode": "0"},
            "the tube passes nothing",
            "nothing flows: the supply's volts, none below",
        ),
        (
            {"plate": "299", "cathode": "4"},
            "the cathode resistor is open",
            "the meter is all that is left there",
        ),
        ({"plate": "3", "cathode": "0"}, "the plate resistor is open", "no supply at the plate"),
        ({"plate": "250", "cathode": "0.75"}, "the tube is tired", "less through both resistors alike"),
        (
            {"plate": "169", "cathode": "1.94", "grid": "0.91"},
            "coupling capacitor into the grid",
            "ngspice, 199 MΩ from 200 V",
        ),
        (
            {"plate": "97", "cathode": "0.003"},
            "bypass capacitor is shorted",
            "a grid and a cathode on the chassis",
        ),
    ],
)
def test_the_likeliest_fault_is_named_first(readings, words, source):
    it = worked(**readings, supply_measured="300")
    assert it.verdict is Verdict.BAD, source
    assert words in it.said, (source, it.said)
    assert it.said.startswith("Something is wrong with this stage.")
    assert words in it.tables[0].rows[0].cells[0].lower()


def test_what_fits_alike_is_said_to():
    it = worked(plate="130", cathode="0.75", supply_measured="300")
    fitting = [row for row in it.tables[0].rows if row.verdict is Verdict.WATCH]
    assert len(fitting) >= 2
    assert "would fit as well" in it.said


def test_readings_that_no_fault_explains_are_said_to_be_so():
    it = worked(plate="20", cathode="40", grid="-3", supply_measured="300")
    assert it.verdict is Verdict.BAD
    assert "No single fault" in it.said or "Nothing fits well" in it.said


def test_a_leak_is_given_in_ohms_where_the_other_side_is_known():
    # 1.0 V over 1 MΩ from 200 V: 199 MΩ, by Ohm's law
    it = worked(plate="169", cathode="1.94", grid="0.91", before="200", supply_measured="300")
    ohms = it.said.split("a leak of ")[1].split(" MΩ")[0]
    assert float(ohms) == pytest.approx(199, rel=0.03)


def test_too_hot_a_tube_is_said_first_and_unmistakably():
    it = worked(supply="450", plate_resistor="10k", cathode_resistor="100", plate="")
    assert it.verdict is Verdict.BAD
    assert it.said.startswith("The tube gets")
    assert line(it, "Heat in the tube").verdict is Verdict.BAD


def test_a_measured_supply_is_what_everything_is_worked_out_for():
    assert line(worked(supply_measured="250"), "Current").value == line(worked(supply="250"), "Current").value


def test_a_signal_that_drives_the_grid_into_current_is_said_to_clip():
    assert line(worked(signal="2"), "With 2.00 V").value == "clips"
    assert line(worked(signal="100 mV"), "Second harmonic").value.endswith("%")


def test_a_cathode_far_above_its_heater_is_worth_a_look():
    assert line(worked(FOLLOWER), "Cathode above").verdict is Verdict.WATCH
    assert not any("Cathode above" in each.label for each in worked().lines)


def test_a_follower_is_worked_out_without_a_plate_resistor():
    it = worked(FOLLOWER, cathode="171")
    assert it.verdict is Verdict.GOOD
    assert "passes 0.9" in worked(FOLLOWER).said


@pytest.mark.parametrize("said", [STAGE, FOLLOWER, {**STAGE, "plate": "150", "cathode": "3"}])
def test_the_picture_shows_curves_load_lines_and_points(said):
    it = worked(said)
    drawing = draw(it.charts[0])
    assert len([curve for curve in drawing.curves if curve.look == "thin"]) >= 4
    assert {"AC load line", "DC load line"} <= {curve.name for curve in drawing.curves}
    assert any(dot.name == "rests here" for dot in drawing.dots)
    assert all(math.isfinite(value) for dot in it.charts[0].dots for value in (dot.x, dot.y))
    assert ("measured" in {dot.name for dot in drawing.dots}) == ("plate" in said and said["plate"] != "")


@pytest.mark.parametrize("tube", [key for key, _ in SHEET.boxes()[0][0].choices])
def test_every_tube_on_the_list_works(tube):
    found, it = answer(
        SHEET, {**STAGE, "tube": tube, "supply": "200", "plate_resistor": "22k", "cathode_resistor": "470"}
    )
    assert it is not None, found.wrong


@pytest.mark.parametrize(
    ("changes", "box"),
    [
        ({"supply": "0"}, "supply"),
        ({"supply": "-300"}, "supply"),
        ({"supply": "1e9"}, "supply"),
        ({"supply": "<script>"}, "supply"),
        ({"supply": "9" * 400}, "supply"),
        ({"plate_resistor": ""}, "plate_resistor"),
        ({"plate_resistor": "0"}, "plate_resistor"),
        ({"cathode_resistor": "100 V"}, "cathode_resistor"),
        ({"tube": "a lamp"}, "tube"),
        ({"bypass": "0"}, "bypass"),
        ({"load": "0"}, "load"),
        ({"tolerance": "0"}, "tolerance"),
        ({"plate": "203 ± "}, "plate"),
        ({"bias": "volts", "grid_volts": ""}, "grid_volts"),
        ({"bias": "volts", "grid_volts": "20"}, ""),
        ({"bias": "volts", "grid_volts": "-100"}, ""),
    ],
)
def test_what_cannot_be_is_refused_beside_its_box(changes, box):
    found, it = answer(SHEET, {**STAGE, **changes})
    assert it is None
    assert box in found.wrong or box in found.missing
