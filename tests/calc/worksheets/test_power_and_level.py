"""The worksheet of power and level: what its boxes answer."""

import re

import numpy as np
import pytest

from calc.engine import capture
from calc.engine.capture import Recording
from calc.worksheets import by_slug
from calc.worksheets.chart import draw
from calc.worksheets.power_and_level import SHEET
from calc.worksheets.sheet import Answer, Verdict, answer
from tests import pace

READING = {"source": "reading", "shows": "peak-to-peak", "volts": "56.57", "load": "8"}


def worked_out(said: dict[str, str]) -> Answer:
    found, answered = answer(SHEET, said)
    assert answered is not None, (found.wrong, found.missing)
    return answered


def line(answered: Answer, label: str) -> str:
    return next(each.value for each in answered.lines if each.label == label)


def tone(*parts: tuple[float, float], noise: float = 1e-5) -> str:
    t = np.arange(6 * 48_000) / 48_000
    wave = sum(10 ** (db / 20) * np.sin(2 * np.pi * f * t) for f, db in parts)
    wave = wave + noise * np.random.default_rng(1).standard_normal(len(t))
    played = parts[0][0] == 1000
    return capture.to_text(
        capture.steady(Recording(wave.astype("f4"), 48_000, 1, 1), mains=60, played=played)
    )


def recorded(text: str, **more: str) -> dict[str, str]:
    return {"source": "recording", "capture": text, **more}


CLEAN = tone((1000, -10), (2000, -50), (120, -60))
SWEEP = capture.to_text(capture.swept(capture.read_wav(capture.sweep(5, -6, 48_000)), sweep=5))


def test_the_worksheet_is_found_by_its_name() -> None:
    assert by_slug("power-and-level") is SHEET


def test_an_empty_form_asks_and_answers_nothing() -> None:
    found, answered = answer(SHEET, {})
    assert answered is None
    assert not found.wrong
    assert "source" in found.missing


# --- a reading


@pytest.mark.parametrize(
    ("shows", "volts"), [("peak-to-peak", "56.57"), ("peak", "28.28"), ("rms", "20"), ("rms", "20000 mV")]
)
def test_a_reading_into_a_load_is_watts_and_decibels(shows: str, volts: str) -> None:
    """20 V in 8 Ω is 50 W (P = U²/R), 20·log10(20/0.7746) = 28.24 dBu, 26.02 dBV."""
    answered = worked_out({**READING, "shows": shows, "volts": volts})
    assert line(answered, "Power") == "50.0 W"
    assert line(answered, "Volts, rms") == "20.0 V"
    assert line(answered, "Level") == "+28.24 dBu"
    assert "dBm" not in str(answered.lines)
    assert answered.said == "50.0 W: 20.0 V rms, +28.24 dBu."


def test_without_a_load_there_are_no_watts() -> None:
    answered = worked_out({**READING, "shows": "rms", "volts": "1.2277", "load": ""})
    assert "Power" not in [each.label for each in answered.lines]
    assert line(answered, "Level") == "+4.00 dBu"


def test_dbm_stands_there_at_600_ohms_only() -> None:
    answered = worked_out({**READING, "shows": "rms", "volts": "0.7746", "load": "600"})
    assert line(answered, "Into 600 Ω") == "0.00 dBm"


def test_the_meters_band_goes_into_the_watts() -> None:
    """2 % of the volts are 4 % of the watts."""
    answered = worked_out({**READING, "shows": "rms", "volts": "20 ± 2 %"})
    assert line(answered, "Power") == "50 ± 2 W"


@pytest.mark.parametrize(
    ("clip", "verdict", "said"),
    [
        ("56.6", Verdict.GOOD, "makes its rated power"),
        ("52", Verdict.GOOD, "makes its rated power"),
        ("40", Verdict.WATCH, "only 50 % of 50.0 W"),
        ("50.6 ± 2 %", Verdict.UNSURE, "too close to call"),
    ],
)
def test_the_onset_of_clipping_is_held_against_the_rating(clip: str, verdict: Verdict, said: str) -> None:
    answered = worked_out({**READING, "volts": "20", "clip": clip, "rated": "50"})
    assert answered.verdict is verdict
    assert said in answered.said


def test_a_reading_above_the_onset_of_clipping_is_refused_beside_its_box() -> None:
    found, answered = answer(SHEET, {**READING, "clip": "40"})
    assert answered is None
    assert "clipped already" in found.wrong["clip"]


@pytest.mark.parametrize(
    ("true_rms", "verdict", "watts"), [("20", Verdict.PLAIN, "50.0 W"), ("25", Verdict.WATCH, "78.1 W")]
)
def test_a_true_rms_meter_tells_a_flattened_wave_and_its_watts(
    true_rms: str, verdict: Verdict, watts: str
) -> None:
    answered = worked_out({**READING, "true_rms": true_rms})
    assert answered.verdict is verdict
    assert line(answered, "Power") == watts


HOSTILE = ["0", "-5", "NaN", "1e999", "56 Vpp", "' OR 1=1", "<b>", "9" * 40, "\0", "4k7k", "٣", "5 ± 5 ± 5"]


@pytest.mark.parametrize("text", HOSTILE)
@pytest.mark.parametrize("box", ["volts", "load", "clip", "true_rms", "rated"])
def test_what_cannot_be_read_is_said_beside_its_box(box: str, text: str) -> None:
    found, answered = answer(SHEET, {**READING, box: text})
    assert answered is None
    assert list(found.wrong) == [box]


# --- a recording


def test_a_recording_says_its_distortion_and_hum_and_what_that_points_to() -> None:
    answered = worked_out(recorded(CLEAN))
    assert (
        answered.said == "THD 1.00 % at 1,000 Hz. Hum at 120 Hz (supply ripple), 50 dB below the tone in all."
    )
    assert line(answered, "THD") == "1.00 %"
    assert line(answered, "Hum at twice the mains") == "Supply ripple"
    assert "filter capacitor" in next(each.said for each in answered.lines if each.value == "Supply ripple")
    assert "What hum points to is common practice, no source." in answered.notes


def test_with_a_meter_read_meanwhile_levels_are_volts_and_watts() -> None:
    """The tone is all but 1 part in 10,000 of the power: 20 V of it; hum is 50 dB below: 63 mV."""
    answered = worked_out(recorded(CLEAN, told="20", load="8"))
    assert line(answered, "Power of the tone") == "50.0 W"
    assert line(answered, "Hum, all its lines") == "63.2 mV, −21.76 dBu"


def test_hum_alone_is_read_without_a_tone() -> None:
    answered = worked_out(recorded(tone((60, -40), (180, -70))))
    assert answered.said == "Hum at 60 Hz (ground loop, heaters, half-wave), −40.0 dBFS in all."
    assert "THD" not in [each.label for each in answered.lines]


def test_a_recorder_that_ran_out_of_room_is_no_witness() -> None:
    answered = worked_out(recorded(tone((1000, 0.5))))
    assert answered.verdict is Verdict.WATCH
    assert "ran out of room" in answered.said
    assert answered.cautions


def test_a_sweep_says_its_edges() -> None:
    answered = worked_out(recorded(SWEEP))
    assert answered.said == "Within 3 dB of 1 kHz from below 20 Hz to above 20,000 Hz."
    assert [limit.y for limit in answered.charts[0].limits] == [-3.0]


@pytest.mark.parametrize("text", [CLEAN, SWEEP, tone((60, -40))], ids=["tone", "sweep", "quiet"])
def test_there_is_a_picture_with_words_and_finite_places(text: str) -> None:
    answered = worked_out(recorded(text))
    drawn = draw(answered.charts[0])
    assert drawn.words
    assert re.fullmatch(r"(M|L|[0-9. ])+", drawn.curves[0].path)
    assert {tick.label for tick in drawn.x_ticks} >= {"100", "1000", "10 k"}


@pytest.mark.parametrize("text", [CLEAN[:-3], "x", "A" * 2000, "<script>", CLEAN.replace("48000", "44100")])
def test_a_damaged_text_is_refused_beside_its_box(text: str) -> None:
    found, answered = answer(SHEET, recorded(text))
    assert answered is None
    assert "Send the recording again" in found.wrong["capture"]


def test_a_text_that_is_too_long_is_refused() -> None:
    found, _ = answer(SHEET, recorded("A" * 2001))
    assert "capture" in found.wrong


def test_no_recording_yet_is_asked_for() -> None:
    found, answered = answer(SHEET, recorded(""))
    assert answered is None
    assert found.missing == {"capture": "Send a recording first."}


@pytest.mark.parametrize(
    "said", [READING, recorded(CLEAN), recorded(SWEEP)], ids=["reading", "tone", "sweep"]
)
def test_it_answers_at_once(said: dict[str, str]) -> None:
    worked_out(said)
    assert pace.seconds(lambda: worked_out(said)) < 0.05
