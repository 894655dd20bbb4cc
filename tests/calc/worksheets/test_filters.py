"""Filters and time constants as they are filled in."""

import pytest

from calc.worksheets.chart import draw
from calc.worksheets.filters import SHEET
from calc.worksheets.sheet import Answer, Verdict, answer
from tests.calc import spice

EMPTY = {box.name: box.initial for box, _ in SHEET.boxes()}
COUPLING = {
    **EMPTY,
    "arms-count": "2",
    "arms-1-place": "series",
    "arms-1-made": "C",
    "arms-1-c": ".022",
    "arms-2-place": "shunt",
    "arms-2-made": "R",
    "arms-2-r": "1M",
    "source": "38k",
    "load": "1M",
}
CHOKE = {
    **EMPTY,
    "arms-count": "2",
    "arms-1-place": "series",
    "arms-1-made": "R then L",
    "arms-1-r": "100",
    "arms-1-l": "10",
    "arms-2-place": "shunt",
    "arms-2-made": "C",
    "arms-2-c": "40",
    "load": "5k",
    "low": "1",
}
TONE = {**EMPTY, "what": "tone", "source": "1k3", "load": "1M"}
PAIR = {**EMPTY, "what": "pair", "pair_r": "220k ± 5 %", "pair_c": "100"}


def worked(said: dict[str, str], **changes: str) -> Answer:
    found, it = answer(SHEET, {**said, **{name.replace("__", "-"): text for name, text in changes.items()}})
    assert it is not None, (found.wrong, found.missing)
    return it


def line(it: Answer, label: str):
    return next(each for each in it.lines if label in each.label)


def test_an_empty_form_asks_and_answers_nothing():
    for said in ({}, EMPTY):
        found, it = answer(SHEET, said)
        assert it is None
        assert found.missing and not found.wrong


def test_a_coupling_capacitor_has_the_textbooks_corner():
    # 1/(2π · (38 kΩ + 500 kΩ) · 22 nF) = 13.45 Hz, textbook
    it = worked(COUPLING)
    assert "above 13.4 Hz" in it.said
    assert line(it, "Low end").value == "13.4 Hz"
    assert line(it, "High end").value == "none"


def test_a_choke_filter_is_said_to_ring():
    # Thomson: 1/(2π√(10 H · 40 µF)) = 7.96 Hz; loss 20.2 % higher by the load and the copper
    it = worked(CHOKE)
    ringing = line(it, "It rings")
    assert ringing.verdict is Verdict.WATCH
    assert float(ringing.value.split()[1]) == pytest.approx(8.0, rel=0.02)


def test_a_tone_networks_levels_are_ngspices():
    netlist = """tone
V1 in 0 dc 0 ac 1
Rs in a 1.3k
C1 a x 330p
R1 x out 125k
R2 out y 125k
R3 a z 68k
C2 z y 100n
C3 z w 33n
R4 y j 250k
R5 j w 12.5k
R6 w 0 12.5k
R7 out 0 1meg
.ac lin 1 1k 1k
"""
    theirs = abs(spice.run(netlist)["v(out)"][-1])
    ours = float(line(worked(TONE), "At 1.00 kHz").value.split()[0].replace("−", "-"))
    assert 10 ** (ours / 20) == pytest.approx(theirs, rel=0.01)


def test_the_dip_of_a_tone_network_is_named():
    it = worked(TONE)
    assert it.said.startswith("The dip is at ")
    assert "no dip" in worked(TONE, middle_knob="100", bass_knob="0", treble_knob="100").said.lower()


def test_a_track_moves_what_half_a_turn_does():
    assert worked(TONE, bass_track="0.1").said != worked(TONE).said


def test_a_resistor_and_a_capacitor_carry_their_band():
    # 220 kΩ ± 5 % times 100 µF: 22.0 s ± 1.1 s
    assert line(worked(PAIR), "Time constant").value == "22.0 ± 1.1 s"
    assert line(worked(PAIR, pair_with="L", pair_r="50", pair_l="10"), "Time constant").value == "200 ms"


@pytest.mark.parametrize("said", [COUPLING, CHOKE, TONE, PAIR])
def test_the_picture_can_be_drawn(said):
    drawing = draw(worked(said).charts[0])
    assert drawing.curves
    assert drawing.words


@pytest.mark.parametrize(
    ("said", "changes", "box"),
    [
        (COUPLING, {"arms__1__c": "0"}, "arms-1-c"),
        (COUPLING, {"arms__1__c": ""}, "arms-1-c"),
        (COUPLING, {"arms__1__c": "-22n"}, "arms-1-c"),
        (COUPLING, {"arms__1__c": "1M"}, "arms-1-c"),
        (COUPLING, {"arms__2__r": "huge"}, "arms-2-r"),
        (COUPLING, {"arms__2__made": "a spring"}, "arms-2-made"),
        (COUPLING, {"load": "0"}, "load"),
        (COUPLING, {"low": "0"}, "low"),
        (COUPLING, {"high": "5"}, "high"),
        (COUPLING, {"at": "'; drop table"}, "at"),
        (TONE, {"treble_knob": "101"}, "treble_knob"),
        (TONE, {"middle_pot": "0"}, "middle_pot"),
        (TONE, {"middle_to": "top", "treble_knob": "0", "bass_knob": "0", "middle_knob": "0"}, ""),
        (PAIR, {"pair_r": "0"}, "pair_r"),
        (PAIR, {"pair_c": "0 ± 1"}, "pair_c"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_box(said, changes, box):
    found, it = answer(SHEET, {**said, **{name.replace("__", "-"): text for name, text in changes.items()}})
    assert it is None
    assert box in found.wrong or box in found.missing


def test_twelve_arms_of_coils_and_capacitors_are_answered():
    said = {**EMPTY, "arms-count": "12", "source": "1k", "load": "10k"}
    for n in range(1, 13):
        shunt = n % 2 == 0
        said |= {
            f"arms-{n}-place": "shunt" if shunt else "series",
            f"arms-{n}-made": "L then C" if shunt else "L beside C",
            f"arms-{n}-c": f"{n / 100}",
            f"arms-{n}-l": f"{n / 10}",
        }
    it = worked(said)
    assert "more than one band" in it.said


def test_what_is_lost_in_rounding_is_given_no_figure():
    # four low passes in a row, each 1/(2π · 1 MΩ · 1 µF) = 0.16 Hz: at 1 MHz each leaves 136 dB, textbook
    said = {**EMPTY, "arms-count": "8", "at": "1M", "high": "1M"}
    for n in range(1, 9):
        said |= {
            f"arms-{n}-place": "shunt" if n % 2 == 0 else "series",
            f"arms-{n}-made": "C" if n % 2 == 0 else "R",
        }
        said |= {f"arms-{n}-c": "1"} if n % 2 == 0 else {f"arms-{n}-r": "1M"}
    assert line(worked(said), "At 1.00 MHz").value == "under −160.0 dB"
