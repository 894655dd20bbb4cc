"""What a recording says: level, distortion, hum, and the response to a sweep; and the signals to play for it.

A recording is untrusted: its reader takes plain WAV files of bounded size and nothing else. It is reduced to a short
text that holds all that is shown of it, so that the recording itself needn't be kept.

Levels are in dBFS: a sine that just fills the recorder is 0 dBFS (AES17, from memory). dBc is below the tone.
Samples are numpy arrays of −1 … 1; frequencies in hertz, times in seconds, as floats.
"""

import math
import re
import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from calc.engine.errors import CircuitError

if TYPE_CHECKING:
    import numpy as np

MOST_BYTES: Final = 20 * 1024 * 1024
LONGEST: Final = 60.0  # seconds
SHORTEST: Final = 1.0  # seconds of what is looked at: lines of mains stand apart from there on
LEAST_RATE, MOST_RATE = 8_000, 192_000
MOST_CHANNELS: Final = 8
LONGEST_TEXT: Final = 2000
RATES: Final = (44_100, 48_000, 96_000)  # of the signals we make
MAINS: Final = (50, 60)

_MOST_CHUNKS: Final = 200
_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_GUID_TAIL: Final = bytes.fromhex(
    "000000001000800000aa00389b71"
)  # of KSDATAFORMAT_SUBTYPE_…: the tag and this
_AT_THE_TOP: Final = 10 ** (-0.1 / 20)
_LOUDEST: Final = 100.0  # floats may go over full scale; so far over it is no recording

_LONGEST_FFT: Final = 2**19
_LONGEST_SWEEP_SAMPLES: Final = 2**22
_BETA: Final = 18.0  # of the window: side lobes 130 dB down, main lobe 5.8 bins to each side
_LOBE: Final = 7  # bins on each side that hold a line: half the main lobe and one more
HARMONICS: Final = tuple(range(2, 11))
HUM_LINES: Final = tuple(range(1, 13))
_POINTS: Final = 240
_LOWEST, _HIGHEST = 20.0, 20_000.0
FLOOR: Final = -200.0  # dB: nothing

# The sweep: wider than what is shown of it, so that its edges don't show
SWEEP_FROM, SWEEP_TO = 10.0, 21_000.0
SWEEP_SECONDS: Final = (5, 10, 20)
_SWEEP_LEAD, _SWEEP_TAIL = 0.5, 1.0
_SWEEP_FADE_IN, _SWEEP_FADE_OUT = 0.1, 0.005
_GATE_BEFORE, _GATE_AFTER = 0.1, 0.5
_SWEEP_POINTS: Final = 121
_LEAST_FOCUS: Final = 0.5


class What(StrEnum):
    """What was played while it was recorded."""

    TONE = "tone"
    QUIET = "quiet"
    SWEEP = "sweep"


@dataclass(frozen=True)
class Recording:
    """The loudest channel of a WAV file, as numbers of −1 … 1 (floats may go beyond)."""

    samples: "np.ndarray"
    rate: int
    channel: int  # counted from 1
    channels: int

    @property
    def seconds(self) -> float:
        return len(self.samples) / self.rate


@dataclass(frozen=True)
class HumLine:
    """A line at a multiple of the mains: dBFS, or None where nothing stands out of the noise there.

    `hidden`: the tone or a harmonic of it lies in the same place, and nothing can be said.
    """

    number: int
    level: float | None
    hidden: bool = False


@dataclass(frozen=True)
class Steady:
    """What a steady tone, or quiet, is made of.

    `frequency` (Hz) and `fundamental` (dBFS) are None for quiet. `harmonics`: dBc of the 2nd to the 10th, None where
    nothing stands out of the noise or the recorder's band ends; `floor` (dBc) is how much could hide there in all.
    `residue` is what is left without the tone, over all there is, in dB: THD+N. `noise` (dBFS) is without tone,
    harmonics and hum. `mains_found` (Hz) is None where no line of the mains stands out.
    """

    what: What
    rate: int
    seconds: float
    mains: int
    peak: float
    rms: float
    is_full: bool
    noise: float
    mains_found: float | None
    hum: tuple[HumLine, ...]
    frequency: float | None
    fundamental: float | None
    residue: float | None
    floor: float | None
    harmonics: tuple[float | None, ...]
    spectrum: tuple[float, ...]  # dBFS, on `grid`

    @property
    def thd(self) -> float | None:
        """Harmonics over the fundamental, as a ratio. None where none stands out: it is below `thd_floor`."""
        found = [10 ** (each / 10) for each in self.harmonics if each is not None]
        return math.sqrt(math.fsum(found)) if found else None

    @property
    def thd_floor(self) -> float | None:
        """The THD that would just go unseen in the noise, as a ratio."""
        return None if self.floor is None else 10 ** (self.floor / 20)

    @property
    def thd_n(self) -> float | None:
        """Everything but the tone, over everything, as a ratio."""
        return None if self.residue is None else 10 ** (self.residue / 20)

    @property
    def hum_in_all(self) -> float | None:
        """All lines of the mains together, dBFS."""
        found = [10 ** (line.level / 10) for line in self.hum if line.level is not None]
        return 10 * math.log10(math.fsum(found)) if found else None

    def curve(self) -> tuple[tuple[float, float], ...]:
        """The spectrum as points of hertz and dBFS."""
        return tuple(zip(grid(_POINTS, self.rate), self.spectrum, strict=True))


@dataclass(frozen=True)
class Swept:
    """The response to the sweep: dB over that at 1 kHz, on `grid`. `sweep` is its length in seconds."""

    rate: int
    sweep: int
    peak: float
    rms: float
    is_full: bool
    response: tuple[float, ...]

    def curve(self) -> tuple[tuple[float, float], ...]:
        """The response as points of hertz and dB."""
        return tuple(zip(grid(_SWEEP_POINTS, self.rate), self.response, strict=True))

    def edges(self, down: float = 3.0) -> tuple[float | None, float | None]:
        """Where the response is `down` dB below that at 1 kHz, going down and up from there; None where it isn't."""
        points = self.curve()
        return _crossing([p for p in reversed(points) if p[0] <= 1000], -down), _crossing(
            [p for p in points if p[0] >= 1000], -down
        )


# --- the signals to play


def tone(frequency: float, level: float, seconds: float, rate: int) -> bytes:
    """Return a WAV file with a sine: 16 bits, one channel, its ends faded over 10 ms.

    Units: Hz (20 … 20,000 and below 0.45·rate), dBFS (−80 … 0), seconds (1 … 30), samples a second (`RATES`).
    Errors: CircuitError. Source of the dither (triangular, two steps wide): Lipshitz, Wannamaker & Vanderkooy,
    "Quantization and dither: a theoretical survey", J. Audio Eng. Soc. 40(5), 1992, from memory.
    """
    import numpy as np

    _check_rate(rate)
    if not (math.isfinite(frequency) and 20 <= frequency <= min(20_000, 0.45 * rate)):
        raise CircuitError(f"The tone can be from 20 Hz to {min(20_000, 0.45 * rate):,.0f} Hz.")
    _check_level(level)
    if not (math.isfinite(seconds) and 1 <= seconds <= 30):
        raise CircuitError("The tone can be 1 to 30 seconds long.")
    n = round(seconds * rate)
    wave = 10 ** (level / 20) * np.sin(2 * np.pi * frequency / rate * np.arange(n))
    return _wav(_faded(wave, round(0.01 * rate), round(0.01 * rate)), rate)


def sweep(seconds: int, level: float, rate: int) -> bytes:
    """Return a WAV file with a logarithmic sine sweep of 10 Hz to 21 kHz, half a second of quiet before, one after.

    Units: seconds (5, 10 or 20), dBFS (−80 … 0), samples a second (`RATES`). Errors: CircuitError.
    Source: Farina, "Simultaneous measurement of impulse response and distortion with a swept-sine technique",
    108th AES Convention, 2000, preprint 5093, eq. for the exponential sweep (from memory).
    """
    import numpy as np

    _check_rate(rate)
    _check_sweep(seconds)
    _check_level(level)
    quiet = (round(_SWEEP_LEAD * rate), round(_SWEEP_TAIL * rate))
    return _wav(np.pad(10 ** (level / 20) * _sweep_wave(seconds, rate), quiet), rate)


def _sweep_wave(seconds: float, rate: int) -> "np.ndarray":
    import numpy as np

    octaves = math.log(SWEEP_TO / SWEEP_FROM)
    t = np.arange(round(seconds * rate)) / rate
    wave = np.sin(2 * np.pi * SWEEP_FROM * seconds / octaves * np.expm1(t / seconds * octaves))
    return _faded(wave, round(_SWEEP_FADE_IN * rate), round(_SWEEP_FADE_OUT * rate))


def _faded(wave: "np.ndarray", start: int, end: int) -> "np.ndarray":
    import numpy as np

    wave[:start] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(start) / start)
    wave[len(wave) - end :] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(1, end + 1) / end)
    return wave


def _wav(wave: "np.ndarray", rate: int) -> bytes:
    import numpy as np

    dither = np.random.default_rng(0)  # the same file each time
    steps = wave * 32767 + (dither.random(len(wave)) - dither.random(len(wave))) * (wave != 0)
    data = np.clip(np.rint(steps), -32768, 32767).astype("<i2").tobytes()
    head = struct.pack(
        "<4sI4s4sIHHIIHH", b"RIFF", 36 + len(data), b"WAVE", b"fmt ", 16, _PCM, 1, rate, 2 * rate, 2, 16
    )
    return head + struct.pack("<4sI", b"data", len(data)) + data


def _check_rate(rate: int) -> None:
    if rate not in RATES:
        raise CircuitError("A signal is made with 44,100, 48,000 or 96,000 samples a second.")


def _check_level(level: float) -> None:
    if not (math.isfinite(level) and -80 <= level <= 0):
        raise CircuitError("The level can be from −80 to 0 dBFS.")


def _check_sweep(seconds: int) -> None:
    if seconds not in SWEEP_SECONDS:
        raise CircuitError("The sweep is 5, 10 or 20 seconds long.")


# --- reading a recording


def read_wav(data: bytes) -> Recording:
    """Return the loudest channel of a WAV file: PCM of 8, 16, 24 or 32 bits, or floats of 32.

    Errors: CircuitError, with a sentence, for whatever isn't such a file, is cut short, over 20 MB or 60 s, or holds
    what is no number. Source of the form: IBM & Microsoft, "Multimedia Programming Interface and Data Specifications
    1.0", 1991; WAVE_FORMAT_EXTENSIBLE: Microsoft, "Multiple channel audio data and WAVE files" (both from memory).
    """
    if len(data) > MOST_BYTES:
        raise CircuitError(
            "The recording is larger than 20 MB. Record less than a minute, at 48,000 samples a second."
        )
    if data[:4] != b"RIFF" or data[8:12] != b"WAVE":
        raise CircuitError("This is no WAV file. Set the recorder to WAV, or save the recording as one.")
    form, samples = _chunks(data)
    kind, channels, rate, block, bits = form
    if not 1 <= channels <= MOST_CHANNELS:
        raise CircuitError(f"The recording has {channels} channels. Record one or two.")
    if not LEAST_RATE <= rate <= MOST_RATE:
        raise CircuitError(f"The recording says {rate:,} samples a second. Record with 44,100 or 48,000.")
    if (kind, bits) not in ((_PCM, 8), (_PCM, 16), (_PCM, 24), (_PCM, 32), (_FLOAT, 32)):
        raise CircuitError(
            "The recording is packed in a way that isn’t read here. Record plain PCM of 16 or 24 bits."
        )
    if block != channels * bits // 8:
        raise CircuitError("The head of this file contradicts itself. Record it again.")
    if not samples or len(samples) % block:
        raise CircuitError("The recording was cut short. Stop the recorder before its file is copied.")
    frames = len(samples) // block
    if frames > LONGEST * rate:
        raise CircuitError("The recording is longer than a minute. Record less, or cut it.")
    return _loudest(samples, kind == _FLOAT, channels, bits // 8, frames, rate)


def _chunks(data: bytes) -> tuple[tuple[int, int, int, int, int], memoryview]:
    """The form (kind, channels, rate, bytes a frame, bits) and the samples. Every step of the loop goes forward."""
    form = None
    at = 12
    for _ in range(_MOST_CHUNKS):
        if at + 8 > len(data):
            break
        name, size = struct.unpack_from("<4sI", data, at)
        at += 8
        if name == b"data":
            if form is None:
                raise CircuitError("The head of this file is missing. Record it again.")
            if size > len(data) - at:
                raise CircuitError(
                    "The recording was cut short. Stop the recorder before its file is copied."
                )
            return form, memoryview(data)[at : at + size]
        if name == b"fmt ":
            form = _form(data[at : at + size])
        at += size + size % 2
    raise CircuitError("There is no recording in this file. Record it again.")


def _form(head: bytes) -> tuple[int, int, int, int, int]:
    if len(head) < 16:
        raise CircuitError("The head of this file is cut short. Record it again.")
    kind, channels, rate, _, block, bits = struct.unpack_from("<HHIIHH", head)
    if kind == _EXTENSIBLE:
        kind = struct.unpack_from("<H", head, 24)[0] if len(head) >= 40 and head[26:40] == _GUID_TAIL else 0
    return kind, channels, rate, block, bits


def _loudest(
    data: memoryview, is_float: bool, channels: int, width: int, frames: int, rate: int
) -> Recording:
    import numpy as np

    raw = np.frombuffer(data, np.uint8).reshape(frames, channels, width)
    step = max(1, frames // 100_000)
    if is_float:
        floats = np.frombuffer(data, "<f4")
        if not np.isfinite(floats).all() or np.abs(floats).max() > _LOUDEST:
            raise CircuitError(
                "There are values in this recording that are no sound. Record plain PCM of 16 or 24 bits."
            )
    loudness = [float(np.std(_numbers(raw[::step, each], is_float))) for each in range(channels)]
    loudest = int(np.argmax(loudness))
    samples = _numbers(raw[:, loudest], is_float)
    if not samples.any() or float(np.ptp(samples)) == 0:
        raise CircuitError("There is nothing on this recording. Check the cord and the recorder’s level.")
    return Recording(samples, rate, loudest + 1, channels)


def _numbers(raw: "np.ndarray", is_float: bool) -> "np.ndarray":
    """The bytes of one channel, a row a sample, as float32 of −1 … 1."""
    import numpy as np

    frames, width = raw.shape
    raw = np.ascontiguousarray(raw)
    if is_float:
        return raw.view("<f4").reshape(frames)
    if width == 1:
        return (raw.reshape(frames).astype(np.float32) - 128) / 128
    if width == 3:
        wide = np.zeros((frames, 4), np.uint8)
        wide[:, 1:] = raw
        raw, width = wide, 4
    return raw.view(f"<i{width}").reshape(frames).astype(np.float32) / 2 ** (8 * width - 1)


# --- what it says


def steady(recording: Recording, *, mains: int, played: bool) -> Steady:
    """Return what a tone (`played`) or quiet is made of.

    Units: mains in Hz, 50 or 60. THD is harmonics 2 to 10 over the fundamental (IEC 60268-3, from memory: over the
    total; below 10 % the two differ by less than 0.5 % of the figure).
    Lines are read through a Kaiser-Bessel window, as the power under its main lobe, so that it matters not where
    between two bins a line falls; the noise beside a line is taken off. Leakage elsewhere is 130 dB down.
    Errors: CircuitError for no steady tone, too little of it, or another mains.
    Source: Harris, "On the use of windows for harmonic analysis with the discrete Fourier transform", Proc. IEEE
    66(1), 1978, pp. 51-83. How lines of the mains are looked for: ours.
    """
    import numpy as np

    if mains not in MAINS:
        raise CircuitError("The mains is 50 or 60 Hz.")
    rate = recording.rate
    wave = _steady_part(recording) if played else _middle(recording)
    lines = _Lines(wave, rate)
    frequency = fundamental = residue = floor = None
    harmonics: tuple[float | None, ...] = (None,) * len(HARMONICS)
    taken: list[float] = []
    if played:
        frequency, power = lines.strongest()
        if power < 0.3 * lines.in_band():
            raise CircuitError(
                "No steady tone stands out in this recording. Play one tone, and record 5 seconds of it."
            )
        fundamental = _db(2 * power)
        residue = _db(max(lines.in_band() - power, 0) / lines.in_band())
        taken = [n * frequency for n in (1, *HARMONICS) if n * frequency < lines.top]
        harmonics = tuple(_under(lines.line(n * frequency), power) for n in HARMONICS)
        floor = _db(math.fsum(lines.unseen(n * frequency) for n in HARMONICS) / power)
    found = lines.mains(mains, taken)
    hum = tuple(_hum_line(lines, n, (found or mains) * n, found is not None, taken) for n in HUM_LINES)
    gone = [*taken, *((found or mains) * n for n in HUM_LINES)]
    peak = float(np.abs(wave).max())
    return Steady(
        what=What.TONE if played else What.QUIET,
        rate=rate,
        seconds=round(len(wave) / rate, 2),
        mains=mains,
        peak=_db(peak**2),
        rms=_db(2 * float(np.mean(wave**2))),
        is_full=peak >= _AT_THE_TOP,
        noise=_db(2 * lines.in_band(without=gone)),
        mains_found=found,
        hum=hum,
        frequency=frequency,
        fundamental=fundamental,
        residue=residue,
        floor=floor,
        harmonics=harmonics,
        spectrum=lines.drawn(),
    )


def _steady_part(recording: Recording) -> "np.ndarray":
    """The longest stretch in which a tone stays within 3 dB, without its ends."""
    import numpy as np

    block = max(1, recording.rate // 20)
    count = len(recording.samples) // block
    blocks = recording.samples[: count * block].reshape(count, block) if count else np.zeros((0, 1))
    loud = np.sqrt(np.einsum("ij,ij->i", blocks, blocks) / block)  # without a copy
    best = (0, 0)
    if count:
        is_steady = loud >= np.percentile(loud, 90) * 10 ** (-3 / 20)
        edges = np.flatnonzero(np.diff(np.concatenate(([0], is_steady.astype(np.int8), [0]))))
        best = max(
            zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True), key=lambda run: run[1] - run[0]
        )
    part = recording.samples[(best[0] + 1) * block : (best[1] - 1) * block]
    return _looked_at(part, recording.rate)


def _middle(recording: Recording) -> "np.ndarray":
    edge = recording.rate // 4 if recording.seconds > 2 else 0
    return _looked_at(recording.samples[edge : len(recording.samples) - edge], recording.rate)


def _looked_at(part: "np.ndarray", rate: int) -> "np.ndarray":
    """The middle of it, of a length that is quickly transformed, without its mean."""
    import numpy as np
    from scipy.fft import prev_fast_len

    if len(part) < SHORTEST * rate:
        raise CircuitError(
            "There is too little steady sound on it. Record at least 5 seconds, and keep hands off meanwhile."
        )
    n = prev_fast_len(min(len(part), _LONGEST_FFT), real=True)
    start = (len(part) - n) // 2
    wave = part[start : start + n].astype(np.float64)
    return wave - wave.mean()


class _Lines:
    """The spectrum of a stretch: how much power lies in each bin, such that a line's bins add up to its mean square."""

    def __init__(self, wave: "np.ndarray", rate: int) -> None:
        import numpy as np
        from scipy.fft import rfft
        from scipy.signal.windows import kaiser

        window = kaiser(len(wave), _BETA, sym=False)
        self.power = 2 * np.abs(rfft(wave * window)) ** 2 / (len(wave) * float(np.sum(window**2)))
        self.peak_gain = float(np.sum(window**2)) * len(wave) / float(np.sum(window)) ** 2
        self.step = rate / len(wave)  # Hz between bins
        self.rate = rate
        self.top = min(_HIGHEST, 0.45 * rate)

    def _bin(self, frequency: float) -> int:
        return round(frequency / self.step)

    def in_band(self, without: Sequence[float] = ()) -> float:
        """The mean square between 20 Hz and 20 kHz, without some lines."""
        import numpy as np

        low, high = self._bin(_LOWEST), self._bin(self.top) + 1
        counted = np.ones(len(self.power), bool)
        for frequency in without:
            at = self._bin(frequency)
            counted[max(at - _LOBE - 1, 0) : max(at + _LOBE + 2, 0)] = False
        return float(np.sum(self.power[low:high][counted[low:high]])) or 1e-30

    def strongest(self) -> tuple[float, float]:
        """The strongest line's frequency and mean square."""
        import numpy as np

        low = self._bin(_LOWEST)
        at = low + int(np.argmax(self.power[low : self._bin(self.top)]))
        return self._centre(at), self._lobe(at)

    def _centre(self, at: int) -> float:
        """Where a line lies between bins: the middle of its power."""
        import numpy as np

        bins = np.arange(max(at - 3, 0), min(at + 4, len(self.power)))
        weight = self.power[bins]
        return float(np.sum(bins * weight) / (np.sum(weight) or 1)) * self.step

    def _lobe(self, at: int) -> float:
        return float(self.power[max(at - _LOBE, 0) : at + _LOBE + 1].sum())

    def _noise(self, at: int) -> float:
        """The noise a bin around one, from the median of its neighbours: other lines among them don't count."""
        import numpy as np

        sides = (self.power[max(at - 40, 1) : max(at - _LOBE - 3, 1)], self.power[at + _LOBE + 4 : at + 41])
        beside = np.concatenate(sides)
        return float(np.median(beside)) / math.log(2) if len(beside) else 0.0

    def line(self, frequency: float) -> float | None:
        """The mean square of a line, the noise under it taken off; None where it doesn't stand out."""
        if frequency >= self.top:
            return None
        at = self._bin(frequency)
        noise = self._noise(at) * (2 * _LOBE + 1)
        power = self._lobe(at) - noise
        return power if power > 3 * noise and power > 1e-24 else None

    def unseen(self, frequency: float) -> float:
        """The mean square that a line could have without standing out."""
        return (
            3 * self._noise(self._bin(frequency)) * (2 * _LOBE + 1) + 1e-24 if frequency < self.top else 0.0
        )

    def mains(self, nominal: int, taken: Sequence[float]) -> float | None:
        """The frequency that the mains had, within 1.5 %, by the clearest of its first lines."""
        import numpy as np

        best, clearest = None, 20.0
        for n in (1, 2, 3, 4):
            low, high = self._bin(nominal * n * 0.985), self._bin(nominal * n * 1.015) + 1
            at = low + int(np.argmax(self.power[low:high]))
            if any(abs(at - self._bin(each)) <= 2 * _LOBE for each in taken):
                continue
            clear = float(self.power[at]) / (self._noise(at) or 1e-30)
            if clear > clearest and self.line(at * self.step) is not None:
                found = self._centre(at) / n
                if abs(found / nominal - 1) <= 0.016:  # no slope of something else
                    best, clearest = found, clear
        return best

    def is_hidden(self, frequency: float, taken: Sequence[float]) -> bool:
        return any(abs(self._bin(frequency) - self._bin(each)) <= 2 * _LOBE for each in taken)

    def drawn(self) -> tuple[float, ...]:
        """The highest bin around each point of the grid, as the dBFS of a sine."""
        points = grid(_POINTS, self.rate)
        half = math.sqrt(points[1] / points[0])
        drawn = []
        for frequency in points:
            low = min(self._bin(frequency / half), len(self.power) - 1)
            high = max(self._bin(frequency * half), low + 1)
            drawn.append(_db(2 * float(self.power[low:high].max()) * self.peak_gain))
        return tuple(drawn)


def _hum_line(
    lines: _Lines, number: int, frequency: float, is_found: bool, taken: Sequence[float]
) -> HumLine:
    if lines.is_hidden(frequency, taken):
        return HumLine(number, None, hidden=True)
    power = lines.line(frequency) if is_found else None
    return HumLine(number, None if power is None else _db(2 * power))


def swept(recording: Recording, *, sweep: int) -> Swept:
    """Return the frequency response from a recording of our sweep, dB over that at 1 kHz.

    The recording is convolved with the inverse of the sweep: the sweep backwards, its level falling by 6 dB an octave
    towards the low end. What comes of the linear part gathers at one moment, the harmonics before it; a window of 0.6 s
    around that moment is transformed, and divided by the same of the sweep itself. The recorder's clock needn't be
    the player's, and silence before and after does no harm.

    Units: seconds of the sweep (5, 10 or 20). Errors: CircuitError where there is no such sweep in the recording.
    Source: Farina 2000, as of `sweep`.
    """
    import numpy as np

    _check_sweep(sweep)
    rate = recording.rate
    if rate < 2.05 * SWEEP_TO:
        raise CircuitError(
            "The recorder leaves out the top of the sweep. Record with 44,100 or 48,000 samples a second."
        )
    if len(recording.samples) > _LONGEST_SWEEP_SAMPLES:
        raise CircuitError("That is too much for one sweep. Record with 48,000 samples a second, or cut it.")
    if recording.seconds < sweep:
        raise CircuitError(f"The recording is shorter than the sweep of {sweep} seconds. Record all of it.")
    wave = _sweep_wave(sweep, rate)
    octaves = math.log(SWEEP_TO / SWEEP_FROM)
    inverse = wave[::-1] * np.exp(-np.arange(len(wave)) / len(wave) * octaves)
    own, _ = _gathered(wave, inverse, rate)
    there, focus = _gathered(recording.samples, inverse, rate)
    if focus < _LEAST_FOCUS:
        raise CircuitError(
            "This sweep is not in the recording. Check which length was played, and that all of it is there."
        )
    points = grid(_SWEEP_POINTS, rate)
    ratio = _banded(there, points, rate) / _banded(own, points, rate)
    response = 10 * np.log10(np.maximum(ratio, 1e-20))
    at_1k = float(np.interp(math.log(1000), np.log(points), response))
    peak = float(np.abs(recording.samples).max())
    return Swept(
        rate=rate,
        sweep=sweep,
        peak=_db(peak**2),
        rms=_db(2 * float(np.mean(recording.samples.astype(np.float64) ** 2))),
        is_full=peak >= _AT_THE_TOP,
        response=tuple(float(each) for each in np.clip(response - at_1k, -120, 45)),
    )


def _gathered(wave: "np.ndarray", inverse: "np.ndarray", rate: int) -> tuple["np.ndarray", float]:
    """The linear response of a convolution with the inverse, windowed; and how much of what is around lies in it."""
    import numpy as np
    from scipy.fft import irfft, next_fast_len, rfft

    n = next_fast_len(len(wave) + len(inverse) - 1, real=True)
    single = np.float32  # 140 dB of room, in half the memory
    spectrum = rfft(wave.astype(single), n)
    spectrum *= rfft(inverse.astype(single), n)
    whole = irfft(spectrum, n)
    at = int(np.argmax(np.abs(whole)))
    before, after = round(_GATE_BEFORE * rate), round(_GATE_AFTER * rate)
    around = whole[max(at - 4 * before, 0) : at + 4 * after].astype(np.float64)
    start = max(at - before, 0)
    gate = np.zeros(before + after)
    part = whole[start : at + after]
    gate[start - (at - before) : start - (at - before) + len(part)] = part
    focus = float(np.sum(gate**2)) / (float(np.sum(around**2)) or 1.0)
    gate[:before] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(before) / before)
    fade = after // 2
    gate[-fade:] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(1, fade + 1) / fade)
    return gate, focus


def _banded(impulse: "np.ndarray", points: Sequence[float], rate: int) -> "np.ndarray":
    """The mean power of a response around each point, a twelfth of an octave wide."""
    import numpy as np
    from scipy.fft import rfft

    n = 2 ** math.ceil(math.log2(len(impulse)))
    power = np.abs(rfft(impulse, n)) ** 2
    total = np.concatenate(([0.0], np.cumsum(power)))
    edges = np.asarray(points)
    low = np.minimum(np.floor(edges * 2 ** (-1 / 24) * n / rate).astype(int), len(power) - 1)
    high = np.clip(np.ceil(edges * 2 ** (1 / 24) * n / rate).astype(int) + 1, low + 1, len(power))
    return np.maximum((total[high] - total[low]) / (high - low), 1e-30)


# --- what hum points to


class Hum(StrEnum):
    """What the lines of the mains point to."""

    FUNDAMENTAL = "fundamental"
    DOUBLE = "double"
    BUZZ = "buzz"


def hum_points_to(lines: Sequence[HumLine]) -> tuple[Hum, ...]:
    """Return which kinds of hum the lines show: a kind counts where it is within 6 dB of the strongest line.

    Buzz: at least four lines from the third on within 20 dB of the strongest. All of it common practice, no source.
    """
    levels = {line.number: line.level for line in lines if line.level is not None}
    if not levels:
        return ()
    strongest = max(levels.values())
    kinds = []
    if levels.get(1, FLOOR) >= strongest - 6:
        kinds.append(Hum.FUNDAMENTAL)
    if levels.get(2, FLOOR) >= strongest - 6:
        kinds.append(Hum.DOUBLE)
    if sum(level >= strongest - 20 for number, level in levels.items() if number >= 3) >= 4:
        kinds.append(Hum.BUZZ)
    return tuple(kinds)


# --- as a text, and back

_DIGITS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
_STEP: Final = 0.06  # dB
_NONE, _HIDDEN = "n", "x"
_NUMBER: Final = re.compile(r"-?[0-9]{1,6}(\.[0-9]{1,4})?")


def to_text(found: Steady | Swept) -> str:
    """Return a capture as a text of letters that need no quoting in an address: what it says, and a check at its end.

    At most 2000 characters. Levels are kept to 0.01 dB, curves to 0.06 dB, frequencies to a millihertz.
    """
    if isinstance(found, Swept):
        parts = ["s1", str(found.rate), str(found.sweep), _n(found.peak), _n(found.rms), _bit(found.is_full)]
        parts.append(_packed(found.response))
    else:
        parts = [
            "t1" if found.what is What.TONE else "q1",
            str(found.rate),
            _n(found.seconds),
            str(found.mains),
        ]
        parts += [
            _n(found.peak),
            _n(found.rms),
            _bit(found.is_full),
            _n(found.noise),
            _n(found.mains_found, 3),
        ]
        parts.append("~".join(_HIDDEN if line.hidden else _n(line.level) for line in found.hum))
        if found.what is What.TONE:
            parts += [_n(found.frequency, 3), _n(found.fundamental), _n(found.residue), _n(found.floor)]
            parts.append("~".join(_n(each) for each in found.harmonics))
        parts.append(_packed(found.spectrum))
    text = "~".join(parts)
    return f"{text}~{zlib.crc32(text.encode()):08x}"


def from_text(text: str) -> Steady | Swept:
    """Return the capture that a text stands for.

    Errors: CircuitError for whatever `to_text` didn't make.
    """
    try:
        return _from_text(text)
    except (ValueError, IndexError, KeyError, TypeError):
        raise CircuitError(
            "What was read out of the recording is damaged. Send the recording again."
        ) from None


def _from_text(text: str) -> Steady | Swept:
    if len(text) > LONGEST_TEXT or not text.isascii():
        raise ValueError(text[:20])
    body, _, check = text.rpartition("~")
    if check != f"{zlib.crc32(body.encode()):08x}":
        raise ValueError(check)
    parts = body.split("~")
    read = _Read(parts[1:-1])
    rate = read.whole(LEAST_RATE, MOST_RATE)
    if parts[0] == "s1":
        sweep = read.whole(min(SWEEP_SECONDS), max(SWEEP_SECONDS))
        _check_sweep(sweep)
        found: Steady | Swept = Swept(
            rate, sweep, read.level(), read.level(), read.bit(), _unpacked(parts[-1], _SWEEP_POINTS)
        )
    else:
        found = _read_steady({"t1": What.TONE, "q1": What.QUIET}[parts[0]], rate, read, parts[-1])
    if read.parts or to_text(found) != text:
        raise ValueError("not of our making")
    return found


class _Read:
    """Takes one part of a text after the other, within limits."""

    def __init__(self, parts: list[str]) -> None:
        self.parts = parts

    def number(self, least: float, most: float) -> float:
        text = self.parts.pop(0)
        value = float(text) if _NUMBER.fullmatch(text) else math.nan
        if not least <= value <= most:
            raise ValueError(text)
        return value

    def whole(self, least: int, most: int) -> int:
        value = self.number(least, most)
        if value != int(value):
            raise ValueError(value)
        return int(value)

    def level(self) -> float:
        return self.number(FLOOR - 50, 60)

    def maybe(self, least: float, most: float) -> float | None:
        if self.parts[0] == _NONE:
            self.parts.pop(0)
            return None
        return self.number(least, most)

    def bit(self) -> bool:
        return bool(self.whole(0, 1))

    def hum(self, number: int) -> HumLine:
        if self.parts[0] == _HIDDEN:
            self.parts.pop(0)
            return HumLine(number, None, hidden=True)
        return HumLine(number, self.maybe(FLOOR - 50, 60))


def _read_steady(what: What, rate: int, read: _Read, spectrum: str) -> Steady:
    seconds, mains = read.number(0, LONGEST), read.whole(50, 60)
    if mains not in MAINS:
        raise ValueError(mains)
    peak, rms, is_full, noise = read.level(), read.level(), read.bit(), read.level()
    mains_found = read.maybe(mains * 0.98, mains * 1.02)
    hum = tuple(read.hum(n) for n in HUM_LINES)
    frequency = fundamental = residue = floor = None
    harmonics: tuple[float | None, ...] = (None,) * len(HARMONICS)
    if what is What.TONE:
        frequency, fundamental = read.number(15, _HIGHEST + 100), read.level()
        residue, floor = read.number(FLOOR - 50, 0), read.level()
        harmonics = tuple(read.maybe(FLOOR - 50, 60) for _ in HARMONICS)
    return Steady(
        what, rate, seconds, mains, peak, rms, is_full, noise, mains_found, hum, frequency, fundamental,
        residue, floor, harmonics, _unpacked(spectrum, _POINTS),
    )  # fmt: skip


def _n(value: float | None, places: int = 2) -> str:
    if value is None:
        return _NONE
    shown = f"{value:.{places}f}"
    return "0.00" if shown == "-0.00" else shown


def _bit(is_so: bool) -> str:
    return "1" if is_so else "0"


def _packed(levels: Sequence[float]) -> str:
    """Two letters a level: 4096 steps of 0.06 dB from −200 dB up."""
    steps = [min(max(round((each - FLOOR) / _STEP), 0), 4095) for each in levels]
    return "".join(_DIGITS[each >> 6] + _DIGITS[each & 63] for each in steps)


def _unpacked(text: str, count: int) -> tuple[float, ...]:
    if len(text) != 2 * count:
        raise ValueError(len(text))
    digits = [_DIGITS.index(letter) for letter in text]
    return tuple(
        FLOOR + _STEP * (64 * high + low) for high, low in zip(digits[::2], digits[1::2], strict=True)
    )


# --- small things


def grid(count: int, rate: int) -> tuple[float, ...]:
    """Return `count` frequencies in equal ratios from 20 Hz to 20 kHz, or to where the recorder's band ends."""
    top = min(_HIGHEST, 0.45 * rate)
    return tuple(_LOWEST * (top / _LOWEST) ** (n / (count - 1)) for n in range(count))


def _db(power: float) -> float:
    return max(10 * math.log10(power), FLOOR) if power > 0 else FLOOR


def _under(line: float | None, fundamental: float) -> float | None:
    return None if line is None else _db(line / fundamental)


def _crossing(points: Sequence[tuple[float, float]], level: float) -> float | None:
    """Where a curve first goes below a level, between its points on a logarithmic axis."""
    for (f1, y1), (f2, y2) in zip(points, points[1:], strict=False):
        if y1 >= level > y2:
            share = (y1 - level) / (y1 - y2)
            return f1 * (f2 / f1) ** share
    return None
