"""Power and level: a scope’s or meter’s reading as watts and decibels; what a recording says of tone, hum, response."""

from typing import Any, Final

import pint

from calc.cautions import Caution, named
from calc.engine.capture import HARMONICS, Hum, HumLine, Steady, Swept, from_text, hum_points_to
from calc.engine.errors import CircuitError
from calc.engine.levels import Crest, Level, Shape, Shows, clipping, crest, level, power, rms_of
from calc.engine.quantities import band, nominal, show
from calc.worksheets.chart import Axis, Chart, Curve, Dot, Limit
from calc.worksheets.sheet import (
    Answer,
    Box,
    BoxError,
    Filled,
    Group,
    Kind,
    Line,
    Row,
    Table,
    Verdict,
    Worksheet,
)

READING, RECORDING = "reading", "recording"
_AS_RATED: Final = 0.8  # 1 dB below the rating; common practice, no source
_OCTAVES: Final = (31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16_000)  # IEC 61260
_FINEST: Final = 1e-5  # of distortion: less is of no use to anybody
_DEPTH: Final = 140.0  # dB that the picture of a spectrum goes down from its top

# Common practice, no source.
_POINTS_TO: Final = {
    Hum.FUNDAMENTAL: (
        "Hum at the mains itself",
        "Loop, heaters, half-wave",
        "a ground loop (the recorder’s cord too), heater wiring, a heater-to-cathode leak, a half-wave supply, or the "
        "field of a mains transformer",
    ),
    Hum.DOUBLE: (
        "Hum at twice the mains",
        "Supply ripple",
        "a full-wave supply: a tired filter capacitor, or output tubes that don’t balance it out",
    ),
    Hum.BUZZ: (
        "Buzz",
        "Spikes",
        "of a rectifier or of charging current in a shared ground; a dimmer or a switch-mode supply near by",
    ),
}


def _compute(filled: Filled) -> Answer:
    return _of_reading(filled) if filled["source"] == READING else _of_recording(filled)


# --- a reading


def _of_reading(filled: Filled) -> Answer:
    shows = Shows(filled["shows"])
    rms, load = rms_of(filled["volts"], shows), filled["load"]
    shape = None
    if filled["true_rms"] is not None:
        peak = filled["volts"] / (2 if shows is Shows.PEAK_TO_PEAK else 1)
        shape = crest(peak, filled["true_rms"])
        rms = filled["true_rms"]
    now = level(rms, load)
    onset = rms_of(filled["clip"], shows) if filled["clip"] is not None else None
    if onset is not None and nominal(onset) < nominal(rms_of(filled["volts"], shows)):
        raise BoxError(
            "clip",
            "The reading above is over this one: it is clipped already, and is no sine. Turn down, read again.",
        )
    end = clipping(rms_of(filled["volts"], shows), onset, load) if onset is not None else None
    rated = _against_rating(end.watts if end else None, filled["rated"])
    lines = [*_level_lines(now), *([_crest_line(shape)] if shape else [])]
    if end is not None:
        lines.append(Line("Up to clipping", f"{_decibels(end.headroom)} dB"))
        if end.watts is not None:
            lines.append(Line("At the onset of clipping", show(end.watts), *rated))
    verdict = rated[0] if rated else Verdict.PLAIN
    if shape and shape.shape is not Shape.SINE:
        verdict = Verdict.WATCH
    return Answer(
        said=_reading_said(now, end.watts if end else None, rated, shape),
        verdict=verdict,
        lines=tuple(lines),
        notes=(
            "Watts are U²/R, with the rms of a sine: its peak over √2, its peak to peak over 2√2. A speaker is no "
            "resistor: say watts of a test load.",
            "0 dBu is √0.6 V = 0.7746 V, 0 dBV is 1 V: both are voltages, whatever the load (IEC 60268 and ITU-R "
            "BS.645, from memory). dBm is 1 mW and is said at 600 Ω only.",
            "The onset of clipping is where the eye first sees the tops flatten; state the THD there when it counts "
            "(IEC 60268-3 rates power at a stated THD). 1 dB below the rating still counts as rated: common practice, "
            "no source.",
        ),
    )


def _level_lines(now: Level) -> list[Line]:
    lines = [
        Line("Volts, rms", show(now.rms)),
        Line("Peak", show(now.peak), said=f"{show(now.peak_to_peak)} peak to peak"),
        Line("Level", f"{_decibels(now.dbu)} dBu", said=f"{_decibels(now.dbv)} dBV"),
    ]
    if now.watts is not None:
        lines.insert(0, Line("Power", show(now.watts)))
    if now.dbm is not None:
        lines.append(Line("Into 600 Ω", f"{_decibels(now.dbm)} dBm"))
    return lines


def _crest_line(found: Crest) -> Line:
    words = {
        Shape.SINE: (Verdict.GOOD, "a sine has 1.41"),
        Shape.FLATTENED: (Verdict.WATCH, "flatter than a sine: it clips, or the wave is no sine"),
        Shape.PEAKY: (
            Verdict.WATCH,
            "sharper than a sine: spikes, noise, crossover, or the meter is not true rms",
        ),
    }[found.shape]
    return Line("Peak over rms", show(found.factor), *words)


def _against_rating(watts: pint.Quantity | None, rated: pint.Quantity | None) -> tuple[Verdict, str] | None:
    """How what comes out at clipping stands to the rating; None where one of them isn't known."""
    if watts is None or rated is None:
        return None
    share, sure = nominal(watts / rated, ""), band(watts / rated, "")
    said = f"{100 * share:.0f} % of {show(rated)}"
    if abs(share - _AS_RATED) < sure:
        return Verdict.UNSURE, said
    return (Verdict.GOOD if share >= _AS_RATED else Verdict.WATCH), said


def _reading_said(
    now: Level, end: pint.Quantity | None, rated: tuple[Verdict, str] | None, shape: Crest | None
) -> str:
    said = f"{show(now.rms)} rms, {_decibels(now.dbu)} dBu"
    if now.watts is not None:
        said = f"{show(now.watts)}: {said}"
    said += "."
    if end is not None:
        said += f" Clipping begins at {show(end)}."
    if rated:
        said += {
            Verdict.GOOD: " It makes its rated power.",
            Verdict.WATCH: f" That is only {rated[1]}: look at the supply, the output stage and the load.",
            Verdict.UNSURE: f" That is {rated[1]}: too close to call with this meter.",
        }[rated[0]]
    if shape and shape.shape is Shape.FLATTENED:
        said += " The wave is flattened: it clips here already."
    elif shape and shape.shape is Shape.PEAKY:
        said += " The wave is no clean sine: look at it on the scope."
    return said


# --- a recording


def _of_recording(filled: Filled) -> Answer:
    try:
        found = from_text(filled["capture"])
    except CircuitError as why:
        raise BoxError("capture", str(why)) from None
    if isinstance(found, Swept):
        return _of_sweep(found)
    return _of_steady(found, filled)


def _of_steady(found: Steady, filled: Filled) -> Answer:
    volts = _full_scale(found, filled["told"])
    lines = [*_tone_lines(found, volts, filled["load"]), *_recorded_lines(found, volts)]
    kinds = hum_points_to(found.hum)
    for kind in kinds:
        label, value, said = _POINTS_TO[kind]
        lines.append(Line(label, value, Verdict.WATCH, said))
    verdict = Verdict.WATCH if found.is_full else Verdict.PLAIN
    return Answer(
        said=_steady_said(found, kinds),
        verdict=verdict,
        lines=tuple(lines),
        tables=tuple(_steady_tables(found, volts)),
        charts=(_spectrum(found),),
        cautions=(_OVERDRIVEN,) if found.is_full else (),
        notes=(
            f"From {found.seconds:.1f} s of it. Through a Kaiser-Bessel window (Harris, Proc. IEEE 66(1), 1978), a "
            "line being the power under its main lobe, so that it matters not where between two bins it falls; the "
            "noise beside a line is taken off.",
            "THD: the 2nd to the 10th harmonic, root of the sum of squares, over the fundamental (after IEC 60268-3, "
            "from memory). THD+N: all from 20 Hz to 20 kHz but the tone, over all. The player, the recorder and their "
            "cords are in it: record them alone once, to know their share.",
            "0 dBFS is a sine that just fills the recorder (AES17, from memory).",
            "What hum points to is common practice, no source.",
        ),
    )


_OVERDRIVEN: Final = Caution(
    "The recorder ran out of room: its own clipping is in these figures.",
    do="Turn the recorder’s input down until its peaks stay under −3 dBFS, and record again.",
)


def _full_scale(found: Steady, told: pint.Quantity | None) -> pint.Quantity | None:
    """The volts rms that a sine of 0 dBFS stands for; None where no meter was read meanwhile."""
    return None if told is None else level(told).rms * 10 ** (-found.rms / 20)


def _tone_lines(found: Steady, volts: pint.Quantity | None, load: pint.Quantity | None) -> list[Line]:
    if found.fundamental is None or found.frequency is None:
        return []
    lines = [_thd_line(found)]
    if found.thd_n is not None:
        lines.append(Line("THD+N", _percent(found.thd_n), said=f"{_signed(found.residue)} dB"))
    lines.append(
        Line("Tone", _hertz(found.frequency), said=_level_words(found.fundamental, volts, with_dbu=True))
    )
    if volts is not None and load is not None:
        watts = power(volts * 10 ** (found.fundamental / 20), load)
        lines.append(Line("Power of the tone", show(watts), said=f"into {show(load)}"))
    return lines


def _thd_line(found: Steady) -> Line:
    if found.thd is None:
        return Line(
            "THD",
            f"below {_percent(max(found.thd_floor or 0.0, _FINEST))}",
            said="no harmonic stands out of the noise",
        )
    strongest = max(
        (n for n, each in zip(HARMONICS, found.harmonics, strict=True) if each is not None),
        key=lambda n: found.harmonics[n - HARMONICS[0]],
    )
    kind = (
        "even: one side of the wave differs from the other" if strongest % 2 == 0 else "odd: both sides alike"
    )
    return Line("THD", _percent(found.thd), said=f"most of it the {_ordinal(strongest)} harmonic, {kind}")


def _recorded_lines(found: Steady, volts: pint.Quantity | None) -> list[Line]:
    hum = found.hum_in_all
    lines = []
    if hum is not None:
        below = f", {found.fundamental - hum:.1f} dB below the tone" if found.fundamental is not None else ""
        lines.append(
            Line(
                "Hum, all its lines",
                _level_words(hum, volts, with_dbu=True),
                said=f"mains {_hertz(found.mains_found or 0)}{below}",
            )
        )
    else:
        lines.append(Line("Hum", "none", said=f"no line of {found.mains} Hz stands out of the noise"))
    lines.append(
        Line("Noise, 20 Hz to 20 kHz", _level_words(found.noise, volts), said="without tone and hum")
    )
    lines.append(
        Line(
            "Recorder’s peak",
            f"{_signed(found.peak)} dBFS",
            Verdict.WATCH if found.is_full else Verdict.PLAIN,
            "it ran out of room" if found.is_full else "",
        )
    )
    return lines


def _steady_said(found: Steady, kinds: tuple[Hum, ...]) -> str:
    said = ""
    if found.frequency is not None:
        thd = (
            _percent(found.thd)
            if found.thd is not None
            else f"below {_percent(max(found.thd_floor or 0.0, _FINEST))}"
        )
        said = f"THD {thd} at {_hertz(found.frequency)}. "
    if not kinds:
        said += (
            "No hum stands out of the noise." if found.hum_in_all is None else "There is hum; see its lines."
        )
    else:
        where = {
            Hum.FUNDAMENTAL: f"at {found.mains} Hz (ground loop, heaters, half-wave)",
            Hum.DOUBLE: f"at {2 * found.mains} Hz (supply ripple)",
            Hum.BUZZ: "as buzz (rectifier spikes, shared ground)",
        }
        hum = found.hum_in_all or 0.0
        far = (
            f"{found.fundamental - hum:.0f} dB below the tone"
            if found.fundamental is not None
            else f"{_signed(hum)} dBFS"
        )
        said += f"Hum {' and '.join(where[each] for each in kinds)}, {far} in all."
    if found.is_full:
        said = f"The recorder ran out of room, so take none of this as the amplifier’s. {said}"
    return said


def _steady_tables(found: Steady, volts: pint.Quantity | None) -> list[Table]:
    tables = []
    if found.frequency is not None:
        shown = [
            (n, each)
            for n, each in zip(HARMONICS, found.harmonics, strict=True)
            if n * found.frequency < 20_000
        ]
        tables.append(
            Table(
                "Harmonics",
                ("Harmonic", "Under the tone", "Share"),
                tuple(
                    Row((f"{_ordinal(n)}, {_hertz(n * found.frequency)}", *_harmonic_cells(each)))
                    for n, each in shown
                ),
            )
        )
    base = found.mains_found or found.mains
    if found.hum_in_all is not None:
        rows = tuple(
            Row((f"{line.number} × mains, {_hertz(line.number * base)}", _line_words(line, volts)))
            for line in found.hum
        )
        tables.append(Table("Lines of the mains", ("Line", "Level"), rows))
    return tables


def _harmonic_cells(below: float | None) -> tuple[str, str]:
    return ("in the noise", "–") if below is None else (f"{_signed(below)} dB", _percent(10 ** (below / 20)))


def _line_words(line: HumLine, volts: pint.Quantity | None) -> str:
    if line.hidden:
        return "under the tone"
    return "in the noise" if line.level is None else _level_words(line.level, volts)


def _spectrum(found: Steady) -> Chart:
    points = found.curve()
    top = max(y for _, y in points)
    dots = [
        Dot(
            _hertz(line.number * (found.mains_found or found.mains)),
            line.number * (found.mains_found or 0),
            line.level,
            "watch",
        )
        for line in sorted(found.hum, key=lambda line: -(line.level if line.level is not None else -999))[:2]
        if line.level is not None
    ]
    if found.frequency is not None and found.fundamental is not None:
        dots.append(Dot("tone", found.frequency, found.fundamental))
    played = f"a tone of {_hertz(found.frequency)}" if found.frequency is not None else "nothing played"
    return Chart(
        title="Spectrum",
        words=f"Level over frequency of the recording, {played}. {_steady_said(found, hum_points_to(found.hum))}",
        x=Axis("Frequency", "Hz", is_log=True, least=20, most=20_000),
        y=Axis("Level", "dBFS", least=10 * (max(top - _DEPTH, -180) // 10), most=10 * -(-top // 10)),
        curves=(Curve("Recording", points),),
        dots=tuple(dots),
    )


def _of_sweep(found: Swept) -> Answer:
    points = found.curve()
    low, high = found.edges()
    deep = min(points, key=lambda p: p[1])
    tall = max(points, key=lambda p: p[1])
    said = (
        f"Within 3 dB of 1 kHz from {_hertz(low) if low else 'below 20 Hz'} "
        f"to {_hertz(high) if high else f'above {_hertz(points[-1][0])}'}."
    )
    if found.is_full:
        said = f"The recorder ran out of room, so take none of this as the amplifier’s. {said}"
    return Answer(
        said=said,
        verdict=Verdict.WATCH if found.is_full else Verdict.PLAIN,
        lines=(
            Line("3 dB down, low end", _hertz(low) if low else "below 20 Hz"),
            Line("3 dB down, high end", _hertz(high) if high else f"above {_hertz(points[-1][0])}"),
            Line("Highest", f"{_signed(tall[1])} dB", said=f"at {_hertz(tall[0])}"),
            Line("Lowest", f"{_signed(deep[1])} dB", said=f"at {_hertz(deep[0])}"),
            Line(
                "Recorder’s peak",
                f"{_signed(found.peak)} dBFS",
                Verdict.WATCH if found.is_full else Verdict.PLAIN,
            ),
        ),
        tables=(
            Table(
                "Response by octaves",
                ("Frequency", "Over that at 1 kHz"),
                tuple(
                    Row((_hertz(f), f"{_signed(_at(points, f))} dB")) for f in _OCTAVES if f < points[-1][0]
                ),
            ),
        ),
        charts=(
            Chart(
                title="Frequency response",
                words=f"Level over frequency, as decibels over that at 1 kHz. {said}",
                x=Axis("Frequency", "Hz", is_log=True, least=20, most=20_000),
                y=Axis(
                    "Over 1 kHz",
                    "dB",
                    least=min(-12, 10 * (deep[1] // 10)),
                    most=max(6, 10 * -(-tall[1] // 10)),
                ),
                curves=(Curve("Response", points),),
                limits=(Limit("3 dB down", y=-3.0),),
            ),
        ),
        cautions=(_OVERDRIVEN,) if found.is_full else (),
        notes=(
            f"A logarithmic sweep of {found.sweep} s, convolved with its inverse (Farina, 108th AES Convention, 2000, "
            "preprint 5093): harmonics gather before the linear response and are left out. Means over a twelfth of an "
            "octave.",
            "The player, the recorder and their cords are in it. A recorder that levels by itself, or takes noise "
            "away, bends it: shut that off.",
        ),
    )


# --- words


def _decibels(value: pint.Quantity) -> str:
    """A level in decibels with its sign, and its ±."""
    sure = band(value)
    places = 2 if sure < 0.095 else 1
    said = _signed(nominal(value), places)
    return f"{said} ± {max(sure, 0.01):.{places}f}" if sure else said


def _signed(value: float | None, places: int = 1) -> str:
    said = f"{value or 0.0:+.{places}f}".replace("-", "−")
    return said if float(said.replace("−", "-")) else said[1:]


def _percent(ratio: float) -> str:
    if ratio < _FINEST:
        return f"under {100 * _FINEST:g} %"
    return f"{100 * ratio:#.3g}".removesuffix(".") + " %"


def _hertz(frequency: float) -> str:
    return f"{float(f'{frequency:.4g}'):,.6g} Hz"


def _ordinal(n: int) -> str:
    return {2: "2nd", 3: "3rd"}.get(n, f"{n}th")


def _level_words(dbfs: float, volts: pint.Quantity | None, *, with_dbu: bool = False) -> str:
    """A level of the recording: in volts where it is known what the recorder's full scale stands for."""
    if volts is None:
        return f"{_signed(dbfs)} dBFS"
    there: Any = volts * 10 ** (dbfs / 20)
    if not 1e-9 <= nominal(there, "V") <= 1e5:
        return f"{_signed(dbfs)} dBFS"
    return f"{show(there)}, {_decibels(level(there).dbu)} dBu" if with_dbu else show(there)


def _at(points: tuple[tuple[float, float], ...], frequency: float) -> float:
    for (f1, y1), (f2, y2) in zip(points, points[1:], strict=False):
        if f1 <= frequency <= f2:
            return y1 + (y2 - y1) * (frequency - f1) / (f2 - f1)
    return points[-1][1]


SHEET = Worksheet(
    slug="power-and-level",
    title="Power and level",
    said="A scope’s or meter’s reading as watts and decibels; level, distortion, hum and response out of a recording.",
    order=110,
    powered=("volts", "clip", "true_rms", "capture", "told"),
    groups=(
        Group(
            "What you have",
            (
                Box(
                    "source",
                    "It is",
                    Kind.CHOICE,
                    initial=READING,
                    choices=((READING, "A reading"), (RECORDING, "A recording")),
                ),
            ),
        ),
        Group(
            "Reading",
            (
                Box(
                    "shows",
                    "What the instrument shows",
                    Kind.CHOICE,
                    initial=Shows.PEAK_TO_PEAK,
                    choices=(
                        (Shows.PEAK_TO_PEAK, "Scope, peak to peak"),
                        (Shows.PEAK, "Scope, peak"),
                        (Shows.RMS, "Meter, rms"),
                    ),
                ),
                Box(
                    "volts",
                    "Reading",
                    unit="V",
                    measured=True,
                    above_zero=True,
                    most=100_000,
                    points=r"(output|speaker out|across the load).*",
                    help="Volts alone, of a sine: 56.6, or 350 mV.",
                ),
                Box(
                    "clip",
                    "Reading where clipping begins",
                    unit="V",
                    needed=False,
                    measured=True,
                    above_zero=True,
                    most=100_000,
                    help="The same instrument, where the tops just begin to flatten.",
                ),
                Box(
                    "true_rms",
                    "True-rms meter beside the scope",
                    unit="V",
                    needed=False,
                    measured=True,
                    above_zero=True,
                    most=100_000,
                    only=("shows", (Shows.PEAK_TO_PEAK, Shows.PEAK)),
                    help="Tells a sine from a clipped wave.",
                ),
            ),
            only=("source", (READING,)),
        ),
        Group(
            "Recording",
            (
                Box("capture", "Recording", Kind.CAPTURE, measured=True),
                Box(
                    "told",
                    "Meter across the load meanwhile",
                    unit="V",
                    needed=False,
                    measured=True,
                    above_zero=True,
                    most=100_000,
                    help="Volts rms, while it was recorded. Then levels are said in volts and dBu.",
                ),
            ),
            help="Play a test tone or sweep into the gear, record what comes out of the test load, send the WAV file.",
            only=("source", (RECORDING,)),
        ),
        Group(
            "Load",
            (
                Box(
                    "load",
                    "Load",
                    unit="ohm",
                    needed=False,
                    measured=True,
                    above_zero=True,
                    least=0.001,
                    most=1e8,
                    points=r"(dummy|test) load.*",
                    help="Of the test load. Without it there are no watts.",
                ),
                Box(
                    "rated",
                    "Rated power",
                    unit="W",
                    needed=False,
                    above_zero=True,
                    most=100_000,
                    only=("source", (READING,)),
                    help="To hold the onset of clipping against.",
                ),
            ),
        ),
    ),
    compute=_compute,
    cautions=(named("no-load"),),
)
