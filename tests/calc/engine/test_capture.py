"""Recordings: signals whose level, distortion, hum and response are known, made with numpy and scipy; hostile files."""

import io
import math
import struct
import tracemalloc
import wave as stdlib_wave
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal
from scipy.io import wavfile

from calc.engine import capture
from calc.engine.capture import Hum, HumLine, Recording, Steady, Swept, from_text, hum_points_to, read_wav
from calc.engine.errors import CircuitError

RATE = 48_000


def lines(
    *parts: tuple[float, float], seconds: float = 6, rate: int = RATE, noise: float = 0.0
) -> np.ndarray:
    """Sines of so many hertz and dBFS, in noise of so much rms."""
    t = np.arange(round(seconds * rate)) / rate
    wave = sum((10 ** (db / 20) * np.sin(2 * np.pi * f * t + 0.3 * f) for f, db in parts), np.zeros(len(t)))
    return wave + noise * np.random.default_rng(4).standard_normal(len(t))


def recording(wave: np.ndarray, rate: int = RATE) -> Recording:
    return Recording(wave.astype(np.float32), rate, 1, 1)


def wav(wave: np.ndarray, kind: str = "int16", rate: int = RATE) -> bytes:
    """Written by scipy, or by the standard library for 24 bits: neither is ours."""
    out = io.BytesIO()
    if kind == "int24":
        with stdlib_wave.open(out, "wb") as file:
            file.setparams((1 if wave.ndim == 1 else wave.shape[1], 3, rate, 0, "NONE", ""))
            steps = np.round(wave * (2**23 - 1)).astype("<i4")
            file.writeframes(steps.reshape(-1, 1).view(np.uint8)[:, :3].tobytes())
        return out.getvalue()
    scaled: Any = {
        "uint8": lambda: np.round(wave * 127 + 128).astype(np.uint8),
        "int16": lambda: np.round(wave * 32767).astype("<i2"),
        "int32": lambda: np.round(wave * (2**31 - 1)).astype("<i4"),
        "float32": lambda: wave.astype("<f4"),
    }[kind]()
    wavfile.write(out, rate, scaled)
    return out.getvalue()


# --- reading


@pytest.mark.parametrize(
    ("kind", "step"),
    [("uint8", 2**-7), ("int16", 2**-15), ("int24", 2**-23), ("int32", 2**-24), ("float32", 2**-24)],
)
def test_each_plain_form_is_read_as_it_was_written(kind: str, step: float) -> None:
    """Written by scipy.io.wavfile and by the standard library's wave, within a step and a half."""
    wave = lines((440, -3), seconds=0.1)
    read = read_wav(wav(wave, kind))
    assert read.rate == RATE
    assert np.abs(read.samples - wave).max() < 1.5 * step


def test_the_loudest_channel_is_taken() -> None:
    both = np.stack([lines((440, -60), seconds=0.5), lines((440, -6), seconds=0.5)], axis=1)
    read = read_wav(wav(both, "int24"))
    assert (read.channel, read.channels) == (2, 2)
    assert np.abs(read.samples).max() == pytest.approx(10 ** (-6 / 20), rel=1e-3)


def test_the_extended_head_of_some_recorders_is_read() -> None:
    """WAVE_FORMAT_EXTENSIBLE, its subformat PCM."""
    samples = np.array([0, 16384, -16384, 8192], "<i2").tobytes()
    guid = struct.pack("<H", 1) + bytes.fromhex("000000001000800000aa00389b71")
    head = struct.pack("<HHIIHHHHI", 0xFFFE, 1, RATE, 2 * RATE, 2, 16, 22, 16, 4) + guid
    body = b"WAVE" + chunk(b"bext", b"odd") + chunk(b"fmt ", head) + chunk(b"data", samples)
    assert read_wav(b"RIFF" + struct.pack("<I", len(body)) + body).samples.tolist() == [0, 0.5, -0.5, 0.25]


def chunk(name: bytes, data: bytes, size: int | None = None) -> bytes:
    return name + struct.pack("<I", len(data) if size is None else size) + data + b"\0" * (len(data) % 2)


def file(
    *,
    kind: int = 1,
    channels: int = 1,
    rate: int = RATE,
    bits: int = 16,
    block: int | None = None,
    data: bytes = b"\1\2" * 100,
    size: int | None = None,
) -> bytes:
    block = channels * bits // 8 if block is None else block
    head = struct.pack("<HHIIHH", kind, channels, rate, rate * block % 2**32, block % 2**16, bits)
    body = b"WAVE" + chunk(b"fmt ", head) + chunk(b"data", data, size)
    return b"RIFF" + struct.pack("<I", len(body)) + body


NOT_A_NUMBER = np.array([0.1, math.nan, 0.2], "<f4").tobytes()
ENDLESS = np.array([0.1, math.inf, 0.2], "<f4").tobytes()
ENORMOUS = np.array([0.1, 3e38, 0.2], "<f4").tobytes()
GOOD = file()


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "no WAV file"),
        (b"RIFF", "no WAV file"),
        (b"\xff\xfb\x90\x64" * 400, "no WAV file"),
        (b"<html><script>alert(1)</script></html>", "no WAV file"),
        (b"RIFX" + GOOD[4:], "no WAV file"),
        (GOOD[:12], "no recording in this file"),
        (GOOD[:20], "head of this file is cut short"),
        (GOOD[:40], "no recording in this file"),
        (GOOD[:-50], "cut short"),
        (file(size=0xFFFFFFFF), "cut short"),
        (file(data=b""), "cut short"),
        (file(data=b"\1\2\3"), "cut short"),
        (b"RIFF\0\0\0\0WAVE" + chunk(b"data", b"\1\2"), "head of this file is missing"),
        (b"RIFF\0\0\0\0WAVE" + chunk(b"fmt ", b"\1\0"), "head of this file is cut short"),
        (b"RIFF\0\0\0\0WAVE" + b"\0" * 100_000, "no recording in this file"),
        (b"RIFF\0\0\0\0WAVE" + b"junk\xff\xff\xff\xff", "no recording in this file"),
        (file(channels=0), "0 channels"),
        (file(channels=9), "9 channels"),
        (file(channels=65_535, bits=16), "65535 channels"),
        (file(rate=0), "samples a second"),
        (file(rate=4_000_000_000), "samples a second"),
        (file(bits=0), "packed"),
        (file(bits=12), "packed"),
        (file(kind=2, bits=4), "packed"),
        (file(kind=3, bits=64), "packed"),
        (file(kind=0x55), "packed"),
        (file(kind=0xFFFE), "packed"),
        (file(block=0), "contradicts itself"),
        (file(block=3), "contradicts itself"),
        (file(kind=3, bits=32, data=NOT_A_NUMBER), "no sound"),
        (file(kind=3, bits=32, data=ENDLESS), "no sound"),
        (file(kind=3, bits=32, data=ENORMOUS), "no sound"),
        (file(data=bytes(2000)), "nothing on this recording"),
        (file(data=b"\x10\x20" * 2000), "nothing on this recording"),
        (file(rate=8000, bits=8, data=b"\1\2" * 240_001), "longer than a minute"),
        (b"RIFF" + bytes(20 * 1024 * 1024), "larger than 20 MB"),
    ],
)  # fmt: skip
def test_a_hostile_file_is_refused_with_a_sentence(data: bytes, said: str) -> None:
    with pytest.raises(CircuitError, match=said):
        read_wav(data)


@settings(max_examples=50, deadline=None)
@given(st.integers(0, len(GOOD) - 1), st.binary(min_size=1, max_size=12))
def test_a_file_with_anything_in_its_head_is_read_or_refused(at: int, junk: bytes) -> None:
    at %= 48
    try:
        read = read_wav(GOOD[:at] + junk + GOOD[at + len(junk) :])
    except CircuitError:
        return
    assert np.isfinite(read.samples).all()


def test_a_large_file_takes_a_bounded_amount_of_memory() -> None:
    data = file(rate=192_000, bits=8, data=bytes(range(256)) * (11_520_000 // 256))
    tracemalloc.start()
    found = capture.steady(read_wav(data), mains=50, played=False)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert found.rate == 192_000
    assert most < 200 * 2**20


# --- a tone


@pytest.mark.parametrize("frequency", [440.0, 997.13, 1000.0, 1234.567])
@pytest.mark.parametrize("level", [-40.0, -6.0])
def test_the_tone_is_found_wherever_it_falls_between_bins(frequency: float, level: float) -> None:
    found = capture.steady(recording(lines((frequency, level))), mains=60, played=True)
    assert found.frequency == pytest.approx(frequency, abs=0.002)
    assert found.fundamental == pytest.approx(level, abs=0.005)
    assert found.peak == pytest.approx(level, abs=0.01)


@pytest.mark.parametrize(
    ("harmonics", "thd"),
    [
        ({2: -40}, 0.01),
        ({3: -60}, 0.001),
        ({2: -80}, 0.0001),
        ({2: -20, 3: -30, 5: -50}, math.sqrt(1e-2 + 1e-3 + 1e-5)),
        ({2: -46, 3: -46, 4: -46, 5: -46, 6: -46, 7: -46, 8: -46, 9: -46, 10: -46}, 3 * 10 ** (-46 / 20)),
    ],
)
@pytest.mark.parametrize("frequency", [997.13, 1000.0])
def test_the_distortion_is_that_of_the_harmonics_put_in(
    harmonics: dict[int, float], thd: float, frequency: float
) -> None:
    """IEC 60268-3: root of the sum of squares of the harmonics; the wave is numpy's, in −110 dBFS of noise."""
    wave = lines((frequency, -10), *((n * frequency, -10 + db) for n, db in harmonics.items()), noise=2e-6)
    found = capture.steady(recording(wave), mains=60, played=True)
    assert found.thd == pytest.approx(thd, rel=0.01)
    for n, level in zip(capture.HARMONICS, found.harmonics, strict=True):
        assert (level is None) == (n not in harmonics)


def test_the_distortion_of_a_square_wave_is_that_of_its_series() -> None:
    """Fourier: harmonics 1/n of the odd ones; √(1/9 + 1/25 + 1/49 + 1/81) = 0.42880 up to the 9th."""
    t = np.arange(6 * RATE) / RATE
    series = sum(np.sin(2 * np.pi * 997 * n * t) / n for n in (1, 3, 5, 7, 9))
    found = capture.steady(recording(0.3 * series), mains=60, played=True)
    assert found.thd == pytest.approx(0.42880, rel=1e-4)


def test_the_distortion_of_a_clipped_sine_agrees_with_its_integrals() -> None:
    """Fourier coefficients of a sine clipped at half its height, by quadrature with scipy."""
    from scipy.integrate import quad

    def term(n: int) -> float:
        bends = [math.pi / 6, 5 * math.pi / 6]
        return quad(lambda x: max(-0.5, min(0.5, math.sin(x))) * math.sin(n * x), 0, math.pi, points=bends)[0]

    b = [term(n) for n in range(1, 11)]
    wave = np.clip(lines((441, 0), seconds=6, rate=96_000), -0.5, 0.5)
    found = capture.steady(recording(wave, 96_000), mains=50, played=True)
    assert found.thd == pytest.approx(math.sqrt(sum(x * x for x in b[1:])) / b[0], rel=2e-3)


def test_noise_is_no_distortion_but_counts_in_thd_plus_noise() -> None:
    """White noise of −60 dBFS below a tone of −20: in the 20 kHz of 24 kHz that are looked at, 0.83 of its power."""
    noise = 10 ** (-60 / 20) / math.sqrt(2)
    found = capture.steady(recording(lines((1000, -20), noise=noise)), mains=60, played=True)
    assert found.thd is None
    assert found.thd_floor is not None
    assert found.thd_floor < 0.002
    assert found.thd_n == pytest.approx(0.01 * math.sqrt(20 / 24), rel=0.03)
    assert found.noise == pytest.approx(-60 + 10 * math.log10(20 / 24), abs=0.15)


def test_silence_before_and_after_the_tone_does_no_harm() -> None:
    wave = np.concatenate([np.zeros(RATE), lines((1000, -12), (2000, -52), seconds=4), np.zeros(3 * RATE)])
    found = capture.steady(
        recording(wave + 1e-5 * np.random.default_rng(1).standard_normal(len(wave))), mains=60, played=True
    )
    assert found.fundamental == pytest.approx(-12, abs=0.01)
    assert found.thd == pytest.approx(0.01, rel=0.02)


def test_a_recorder_that_ran_out_of_room_is_told() -> None:
    assert capture.steady(recording(np.clip(lines((1000, 3)), -1, 1)), mains=60, played=True).is_full
    assert not capture.steady(recording(lines((1000, -1))), mains=60, played=True).is_full


@pytest.mark.parametrize(
    "wave",
    [np.random.default_rng(1).standard_normal(5 * RATE) * 0.1, lines((1000, -6), seconds=0.8)],
    ids=["noise", "too short"],
)
def test_no_steady_tone_is_refused(wave: np.ndarray) -> None:
    with pytest.raises(CircuitError, match="Record|record"):
        capture.steady(recording(wave), mains=60, played=True)


def test_another_mains_is_refused() -> None:
    with pytest.raises(CircuitError, match="50 or 60"):
        capture.steady(recording(lines((1000, -6))), mains=400, played=True)


# --- hum


@pytest.mark.parametrize(("mains", "really"), [(50, 50.0), (50, 49.87), (60, 60.0), (60, 60.06)])
def test_lines_of_the_mains_are_found_where_the_mains_really_is(mains: int, really: float) -> None:
    put_in = {1: -50.0, 2: -62.0, 3: -70.0, 7: -80.0}
    wave = lines((1000, -10), *((n * really, db) for n, db in put_in.items()), noise=1e-6)
    for played, looked_at in ((True, wave), (False, wave - lines((1000, -10)))):
        found = capture.steady(recording(looked_at), mains=mains, played=played)
        assert found.mains_found == pytest.approx(really, abs=0.01)
        for line in found.hum:
            if line.number in put_in:
                assert line.level == pytest.approx(put_in[line.number], abs=0.05)
            else:
                assert line.level is None


def test_a_line_under_the_tone_is_not_judged() -> None:
    found = capture.steady(recording(lines((120, -10), (60, -60))), mains=60, played=True)
    assert [line.number for line in found.hum if line.hidden] == [2, 4, 6, 8, 10, 12]
    assert found.hum[0].level == pytest.approx(-60, abs=0.05)


def test_the_wrong_mains_finds_no_hum() -> None:
    found = capture.steady(recording(lines((60, -40), (180, -50), noise=1e-5)), mains=50, played=False)
    assert found.mains_found is None
    assert found.hum_in_all is None


@pytest.mark.parametrize(
    ("levels", "kinds"),
    [
        ({1: -50, 2: -70}, (Hum.FUNDAMENTAL,)),
        ({1: -70, 2: -50, 4: -72}, (Hum.DOUBLE,)),
        ({1: -50, 2: -53}, (Hum.FUNDAMENTAL, Hum.DOUBLE)),
        ({2: -50, 4: -52, 6: -54, 8: -57, 10: -60, 12: -63}, (Hum.DOUBLE, Hum.BUZZ)),
        ({}, ()),
    ],
)
def test_the_lines_say_what_kind_of_hum_it_is(levels: dict[int, float], kinds: tuple[Hum, ...]) -> None:
    """Common practice, no source."""
    assert hum_points_to([HumLine(n, levels.get(n)) for n in capture.HUM_LINES]) == kinds


def test_ripple_of_a_full_wave_supply_is_heard_as_double_the_mains_and_buzz() -> None:
    """A sawtooth at twice the mains, as a capacitor's charge and discharge makes it (scipy.signal.sawtooth)."""
    t = np.arange(6 * RATE) / RATE
    wave = 0.01 * signal.sawtooth(2 * np.pi * 120 * t, 0.1)
    found = capture.steady(recording(wave), mains=60, played=False)
    assert hum_points_to(found.hum) == (Hum.DOUBLE, Hum.BUZZ)


# --- what we play


@pytest.mark.parametrize("rate", capture.RATES)
def test_our_own_tone_is_read_back_as_it_was_asked_for(rate: int) -> None:
    data = capture.tone(997, -12, 3, rate)
    written_rate, samples = wavfile.read(io.BytesIO(data))  # scipy's reader
    assert (written_rate, samples.dtype, len(samples)) == (rate, np.int16, 3 * rate)
    found = capture.steady(read_wav(data), mains=60, played=True)
    assert found.fundamental == pytest.approx(-12, abs=0.01)
    assert found.frequency == pytest.approx(997, abs=0.01)
    assert found.thd is None or found.thd < 1e-4
    # 16 bits and their dither: 3 quanta of noise, −98.1 + 4.8 dBFS over half the rate. (Lipshitz et al. 1992)
    assert found.noise == pytest.approx(-93.3 + 10 * math.log10(min(20_000, 0.45 * rate) * 2 / rate), abs=0.3)


@pytest.mark.parametrize(
    ("frequency", "level", "seconds", "rate"),
    [(19, -6, 5, RATE), (20_001, -6, 5, RATE), (math.nan, -6, 5, RATE), (1000, 0.1, 5, RATE), (1000, -81, 5, RATE),
     (1000, math.nan, 5, RATE), (1000, -6, 0.5, RATE), (1000, -6, 31, RATE), (1000, -6, math.inf, RATE),
     (1000, -6, 5, 1), (1000, -6, 5, 8_000_000)],
)  # fmt: skip
def test_tones_out_of_bounds_are_refused(frequency: float, level: float, seconds: float, rate: int) -> None:
    with pytest.raises(CircuitError):
        capture.tone(frequency, level, seconds, rate)


@pytest.mark.parametrize(
    ("seconds", "level", "rate"), [(7, -6, RATE), (10, 1, RATE), (10, -6, 8000), (10**9, -6, RATE)]
)
def test_sweeps_out_of_bounds_are_refused(seconds: int, level: float, rate: int) -> None:
    with pytest.raises(CircuitError):
        capture.sweep(seconds, level, rate)


# --- the sweep


def played(seconds: int = 5, rate: int = RATE) -> np.ndarray:
    return read_wav(capture.sweep(seconds, -6, rate)).samples.astype(float)


def response_at(found: Swept, frequency: float) -> float:
    f, y = np.array(found.curve()).T
    return float(np.interp(math.log(frequency), np.log(f), y))


@pytest.mark.parametrize("seconds", capture.SWEEP_SECONDS)
@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_a_wire_is_flat(seconds: int, rate: int) -> None:
    found = capture.swept(recording(played(seconds, rate), rate), sweep=seconds)
    assert max(map(abs, found.response)) < 0.02
    assert found.edges() == (None, None)


@pytest.mark.parametrize(
    ("order", "edges", "kind"),
    [(1, 5000, "lowpass"), (2, 3000, "lowpass"), (1, 80, "highpass"), (2, (100, 5000), "bandpass")],
)
def test_a_filter_in_between_is_measured_as_scipy_has_it(order: int, edges: Any, kind: str) -> None:
    """Digital Butterworth filters of scipy.signal; their response by scipy.signal.sosfreqz."""
    sos = signal.butter(order, edges, kind, fs=RATE, output="sos")
    wave = signal.sosfilt(sos, played()) + 1e-4 * np.random.default_rng(2).standard_normal(len(played()))
    found = capture.swept(recording(np.concatenate([np.zeros(20_000), wave])), sweep=5)
    points = np.array([p[0] for p in found.curve()])
    _, h = signal.sosfreqz(sos, np.append(points, 1000), fs=RATE)
    expected = 20 * np.log10(np.abs(h[:-1]) / abs(h[-1]))
    shown = expected > -20
    assert np.abs(np.array(found.response) - expected)[shown].max() < 0.4


def test_the_edges_of_a_filter_are_those_it_was_made_with() -> None:
    """Butterworth: 3.01 dB down at its corner; at 1 kHz a band of 100 Hz to 8 kHz is flat within 0.03 dB."""
    sos = signal.butter(2, (100, 8000), "bandpass", fs=RATE, output="sos")
    low, high = capture.swept(recording(signal.sosfilt(sos, played())), sweep=5).edges()
    assert low == pytest.approx(100, rel=0.03)
    assert high == pytest.approx(8000, rel=0.03)


def test_distortion_on_the_way_does_not_bend_the_response() -> None:
    """Farina 2000: harmonics gather before the linear response, and are cut off."""
    wave = played()
    found = capture.swept(recording(wave + 0.2 * wave**2), sweep=5)
    assert max(map(abs, found.response)) < 0.1


def test_a_player_and_a_recorder_whose_clocks_differ_do_no_harm() -> None:
    """100 parts in a million, by interpolation with numpy."""
    wave = played()
    late = np.interp(np.arange(len(wave)) * (1 + 1e-4), np.arange(len(wave)), wave)
    found = capture.swept(recording(late), sweep=5)
    assert max(abs(response_at(found, f)) for f in (30, 100, 1000, 5000)) < 0.3


@pytest.mark.parametrize(
    ("wave", "rate", "said"),
    [
        (np.random.default_rng(1).standard_normal(6 * RATE), RATE, "not in the recording"),
        (lines((1000, -6), seconds=8), RATE, "not in the recording"),
        (played(10), RATE, "not in the recording"),
        (played(5)[: 4 * RATE], RATE, "shorter than the sweep"),
        (played(5), 32_000, "leaves out the top"),
    ],
    ids=["noise", "a tone", "another sweep", "cut", "a low rate"],
)
def test_what_is_not_the_sweep_is_refused(wave: np.ndarray, rate: int, said: str) -> None:
    with pytest.raises(CircuitError, match=said):
        capture.swept(recording(wave, rate), sweep=5)


# --- as a text


def some_captures() -> list[Steady | Swept]:
    hum = [(60 * n, -50 - 3.7 * n) for n in (1, 2, 3, 5)]
    tone = recording(lines((1000, -10), (2000, -51.3), (3000, -60), *hum, noise=1e-5))
    return [
        capture.steady(tone, mains=60, played=True),
        capture.steady(recording(lines((440, -3))), mains=50, played=True),
        capture.steady(recording(lines(*hum, noise=1e-5)), mains=60, played=False),
        capture.steady(recording(lines((100, -3), seconds=2, rate=8000), 8000), mains=50, played=True),
        capture.steady(
            read_wav(file(kind=3, bits=32, data=(90 * lines((1000, 0))).astype("<f4").tobytes())),
            mains=50,
            played=True,
        ),
        capture.swept(recording(played()), sweep=5),
    ]


CAPTURES = some_captures()


@pytest.mark.parametrize("found", CAPTURES, ids=["tone", "bare tone", "quiet", "low", "over", "sweep"])
def test_a_capture_survives_as_a_short_text(found: Steady | Swept) -> None:
    text = capture.to_text(found)
    assert len(text) <= capture.LONGEST_TEXT
    back = from_text(text)
    assert capture.to_text(back) == text
    assert back.rms == pytest.approx(found.rms, abs=0.006)
    if isinstance(found, Swept):
        assert isinstance(back, Swept)
        assert back.response == pytest.approx(found.response, abs=0.031)
    else:
        assert isinstance(back, Steady)
        assert back.what is found.what
        assert [(line.number, line.hidden) for line in back.hum] == [
            (line.number, line.hidden) for line in found.hum
        ]
        assert back.spectrum == pytest.approx(found.spectrum, abs=0.031)
        assert back.thd == (None if found.thd is None else pytest.approx(found.thd, rel=0.002))
        assert back.frequency == (
            None if found.frequency is None else pytest.approx(found.frequency, abs=6e-4)
        )


def test_the_text_needs_no_quoting_in_an_address() -> None:
    """RFC 3986, 2.3: letters, digits, hyphen, period, underscore, tilde."""
    from urllib.parse import quote

    for found in CAPTURES:
        assert quote(capture.to_text(found), safe="") == capture.to_text(found)


TEXT = capture.to_text(CAPTURES[0])


def forged(body: str) -> str:
    """With a check that fits."""
    import zlib

    return f"{body}~{zlib.crc32(body.encode()):08x}"


BODY = TEXT.rpartition("~")[0]


@pytest.mark.parametrize(
    "text",
    [
        "", "~", "t1", TEXT[:-1], TEXT[1:], TEXT + "x", TEXT.replace("48000", "48001"), "A" * 2000,
        "ÄÖ", "\0", "x" * 5000,
        forged(""), forged("t1"), forged("t1~48000"), forged("z9" + BODY[2:]), forged("s1" + BODY[2:]),
        forged(BODY.replace("~48000~", "~nan~")), forged(BODY.replace("~48000~", "~1e9~")),
        forged(BODY.replace("~48000~", "~999999~")), forged(BODY.replace("~60~", "~55~")),
        forged(BODY.replace("~60~", "~0~")), forged(BODY + "A"), forged(BODY[:-2]), forged(BODY[:-2] + "A!"),
        forged(BODY.replace("t1~", "t1~7~", 1)), forged(BODY.replace("~48000~", "~048000~")),
        forged(BODY.replace("~48000~", "~٤٨٠٠٠~")),
    ],
)  # fmt: skip
def test_a_text_that_is_not_ours_is_refused(text: str) -> None:
    with pytest.raises(CircuitError, match="Send the recording again"):
        from_text(text)


@settings(max_examples=50, deadline=None)
@given(st.integers(0, len(BODY) - 1), st.text(max_size=4))
def test_a_text_with_anything_in_it_is_refused_or_one_of_ours(at: int, junk: str) -> None:
    text = forged(BODY[:at] + junk + BODY[at + len(junk) :])
    try:
        found = from_text(text)
    except CircuitError:
        return
    assert capture.to_text(found) == text
