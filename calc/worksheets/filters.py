"""Coupling, bypass and tone networks: what they let through, and their time constants."""

import math
from typing import Final

import pint

from calc.engine import filters as engine
from calc.engine.errors import CircuitError
from calc.engine.filters import Arm, Made, Place, Response, ToneNetwork
from calc.engine.network import FAINTEST, HIGHEST, LOWEST
from calc.engine.quantities import nominal, show, units
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
    Rows,
    Table,
    Verdict,
    Worksheet,
)

_LADDER, _TONE, _PAIR = "ladder", "tone", "pair"
_OCTAVES: Final = (31.5, 63.0, 125.0, 250.0, 500.0, 1e3, 2e3, 4e3, 8e3, 16e3)  # ISO 266
_DEEPEST: Final = 80.0  # dB below the most: what is less isn't drawn
_TRACKS: Final = (
    ("0.5", "linear"),
    ("0.1", "audio, 10 % at half"),
    ("0.15", "audio, 15 % at half"),
    ("0.3", "audio, 30 % at half"),
)
_MADE: Final = {
    Made.R: "a resistor",
    Made.C: "a capacitor",
    Made.L: "a coil",
    Made.R_BESIDE_C: "resistor and capacitor side by side",
    Made.R_THEN_C: "resistor and capacitor in a row",
    Made.R_THEN_L: "resistor and coil in a row",
    Made.L_BESIDE_C: "coil and capacitor side by side",
    Made.L_THEN_C: "coil and capacitor in a row",
}


def _compute(filled: Filled) -> Answer:
    if filled["what"] == _PAIR:
        return _of_pair(filled)
    source = 0.0 if filled["source"] is None else nominal(filled["source"], "ohm")
    load = math.inf if filled["load"] is None else nominal(filled["load"], "ohm")
    cable = 0.0 if filled["load_capacitance"] is None else nominal(filled["load_capacitance"], "F")
    low, high = nominal(filled["low"], "Hz"), nominal(filled["high"], "Hz")
    if high < 2 * low:
        raise BoxError("high", "The picture must end at twice the frequency that it begins with, or more.")
    ends = {"source": source, "load": load, "load_capacitance": cable}
    half: Response | None = None
    if filled["what"] == _TONE:
        network = engine.tone_network(_tone(filled), **ends)
        half = engine.respond(
            engine.tone_network(_tone(filled, turn=0.5), **ends), low=low, high=high, points=160
        )
    else:
        network = engine.ladder(_arms(filled), **ends)
    found = engine.respond(network, low=low, high=high, source=source, load=load)
    at = nominal(filled["at"], "Hz")
    there = complex(network.gain("out", [at])[0])
    return Answer(
        said=_said(found, filled),
        lines=_lines(found, at, there, is_tone=filled["what"] == _TONE),
        tables=(_levels(found, network, low, high), *_natural(found)),
        charts=(_chart(found, half, filled),),
        notes=(
            "Every node is solved at once, so that sections load each other: nodal analysis, any textbook.",
            "Gain is the volts at the output over the open volts of the source. Insertion loss compares the volts "
            "on the load with those straight on the source (IEC 60050-702, from memory).",
            "−3 dB points are solved on the whole network, from 1 mHz to 100 MHz.",
            *(
                [
                    "Track of a pot: an exponential through its ends and its middle (common practice, no source); real "
                    "tracks are two or three straight pieces about it, and ± 20 %."
                ]
                if half
                else []
            ),
        ),
    )


def _arms(filled: Filled) -> list[Arm]:
    def value(row: Filled, name: str, unit: str) -> float | None:
        return None if row[name] is None else nominal(row[name], unit)

    return [
        Arm(
            Place(row["place"]),
            Made(row["made"]),
            r=value(row, "r", "ohm"),
            c=value(row, "c", "F"),
            l=value(row, "l", "H"),
        )
        for row in filled["arms"]
    ]


def _tone(filled: Filled, turn: float | None = None) -> ToneNetwork:
    def knob(name: str) -> float:
        turned = nominal(filled[f"{name}_knob"], "percent") / 100 if turn is None else turn
        return engine.track(turned, float(filled[f"{name}_track"]))

    return ToneNetwork(
        treble_capacitor=nominal(filled["treble_capacitor"], "F"),
        bass_capacitor=nominal(filled["bass_capacitor"], "F"),
        middle_capacitor=nominal(filled["middle_capacitor"], "F"),
        slope_resistor=nominal(filled["slope_resistor"], "ohm"),
        treble_pot=nominal(filled["treble_pot"], "ohm"),
        bass_pot=nominal(filled["bass_pot"], "ohm"),
        middle_pot=nominal(filled["middle_pot"], "ohm"),
        treble=knob("treble"),
        bass=knob("bass"),
        middle=knob("middle"),
        middle_at_wiper=filled["middle_to"] == "wiper",
    )


def _decibels(gain: float) -> str:
    if gain <= FAINTEST:
        return f"under {_minus(engine.decibels(FAINTEST))} dB"
    return f"{_minus(engine.decibels(gain))} dB"


def _minus(number: float) -> str:
    return f"{round(number, 1) + 0.0:.1f}".replace("-", "−")


def _said(found: Response, filled: Filled) -> str:
    """What gets through, in a sentence or two."""
    if filled["what"] == _TONE:
        low, high = nominal(filled["low"], "Hz"), nominal(filled["high"], "Hz")
        dip = _dip(found)
        ends = [_decibels(abs(found.gains[n])) for n in (0, -1)]
        sides = f"{ends[0]} at {_hertz(low)}, {ends[1]} at {_hertz(high)}"
        if dip is None:
            return f"No dip in the middle with the knobs as they are: {sides}."
        return f"The dip is at {_hertz(dip[0])}, {_decibels(dip[1])}; {sides}."
    loss = _decibels(found.most)
    if len(found.passband.corners) > 2:
        return f"It lets through {loss} at the most, at {show(found.at)}, and more than one band: see the picture."
    match found.low, found.high:
        case None, None:
            return f"It lets everything through alike, {loss} at the most."
        case None, high:
            return f"It lets through what lies below {show(high)} (−3 dB), {loss} at the most."
        case low, None:
            return f"It lets through what lies above {show(low)} (−3 dB), {loss} at the most."
        case low, high:
            return f"It lets through {show(low)} to {show(high)} (−3 dB), {loss} at the most."


def _hertz(number: float) -> str:
    return show(units.Quantity(float(number), "Hz"))


def _dip(found: Response) -> tuple[float, float] | None:
    """The deepest place between two higher ones: its frequency and gain."""
    size = [abs(gain) for gain in found.gains]
    valleys = [n for n in range(1, len(size) - 1) if size[n] < size[n - 1] and size[n] <= size[n + 1]]
    if not valleys:
        return None
    deepest = min(valleys, key=size.__getitem__)
    return float(found.frequencies[deepest]), size[deepest]


def _lines(found: Response, at: float, there: complex, *, is_tone: bool) -> tuple[Line, ...]:
    place = nominal(found.at, "Hz")
    where = (
        "at the very bottom"
        if place < LOWEST * 2
        else "at the very top"
        if place > HIGHEST / 2
        else f"at {show(found.at)}"
    )
    dip = _dip(found) if is_tone else None
    if dip is not None:
        ends = [
            Line(
                "The dip",
                _hertz(dip[0]),
                said=f"{_decibels(dip[1])}, {_minus(engine.decibels(found.most / dip[1]))} dB under the most",
            )
        ]
    elif is_tone:
        ends = []
    else:
        ends = [
            Line("Low end, −3 dB", "none" if found.low is None else show(found.low)),
            Line("High end, −3 dB", "none" if found.high is None else show(found.high)),
        ]
    lines = [
        Line("The most that gets through", _decibels(found.most), said=where),
        *ends,
        Line("Least insertion loss", f"{_minus(found.insertion_loss)} dB", said=where),
        Line(
            f"At {_hertz(at)}",
            _decibels(abs(there)),
            said=f"phase {math.degrees(math.atan2(there.imag, there.real)):.0f}°, ".replace("-", "−")
            + (f"insertion loss {_minus(found.loss_at(there))} dB" if abs(there) > FAINTEST else ""),
        ),
    ]
    if len(found.passband.corners) > 2:
        others = ", ".join(_hertz(corner.hertz) for corner in found.passband.corners)
        lines.append(Line("All places 3 dB under the most", others))
    if any(pole.quality is not None and pole.quality > 1 for pole in found.poles):
        worst = max((p for p in found.poles if p.quality is not None), key=lambda p: p.quality or 0)
        lines.append(
            Line(
                "It rings",
                f"at {show(worst.frequency)}",
                Verdict.WATCH,
                f"Q {worst.quality:.3g}: it swings on after every step" if worst.quality else "",
            )
        )
    return tuple(lines)


def _levels(found: Response, network: engine.Network, low: float, high: float) -> Table:
    wanted = [hertz for hertz in _OCTAVES if low <= hertz <= high] or [low, math.sqrt(low * high), high]
    rows = [
        Row((_hertz(hertz), _decibels(abs(gain)), _decibels(abs(gain) / found.most)))
        for hertz, gain in zip(wanted, network.gain("out", wanted), strict=True)
    ]
    return Table("Level by octaves", ("Frequency", "Gain", "Against the most"), tuple(rows))


def _natural(found: Response) -> list[Table]:
    if not found.poles:
        return []
    rows = []
    for pole in found.poles:
        decays = math.isfinite(nominal(pole.tau))
        quality = (
            "no ringing" if pole.quality is None else f"{pole.quality:.3g}" if decays else "rings for ever"
        )
        rows.append(Row((show(pole.frequency), show(pole.tau) if decays else "endless", quality)))
    return [
        Table("Time constants of the whole network", ("Frequency", "Time constant", "Q"), tuple(rows)),
    ]


def _chart(found: Response, half: Response | None, filled: Filled) -> Chart:
    def points(of: Response) -> tuple[tuple[float, float], ...]:
        return tuple(
            (float(f), 20 * math.log10(max(abs(g), 1e-15)))
            for f, g in zip(of.frequencies, of.gains, strict=True)
        )

    curve = points(found)
    most = max(level for _, level in curve)
    least = max(min(level for _, level in curve), most - _DEEPEST)
    low, high = float(found.frequencies[0]), float(found.frequencies[-1])
    curves = [Curve("as filled in", curve, "main")]
    dots: list[Dot] = []
    limits: tuple[Limit, ...] = ()
    if half is not None:
        other = points(half)
        curves.append(Curve("every knob at half", other, "dashed"))
        most = max(most, *(level for _, level in other))
        least = max(min(least, *(level for _, level in other)), most - _DEEPEST)
        if (dip := _dip(found)) is not None:
            dots.append(Dot(_hertz(dip[0]), dip[0], engine.decibels(dip[1])))
    else:
        down = engine.decibels(found.most) - 20 * math.log10(math.sqrt(2))
        dots = [
            Dot(_hertz(corner.hertz), corner.hertz, down)
            for corner in found.passband.corners[:6]
            if low <= corner.hertz <= high
        ]
        limits = (Limit("−3 dB", y=down),) if least - 1 <= down <= most + 1 else ()
    room = max(1.0, (most - least) * 0.08)
    return Chart(
        "Frequency response",
        f"Gain in decibels from {_hertz(low)} to {_hertz(high)}. {_said(found, filled)}",
        Axis("Frequency", "Hz", is_log=True, least=low, most=high),
        Axis("Gain", "dB", least=least - room, most=most + room),
        tuple(curves),
        tuple(dots),
        limits,
    )


def _of_pair(filled: Filled) -> Answer:
    """A resistor with a capacitor or a coil."""
    ohms = filled["pair_r"]
    if filled["pair_with"] == "C":
        tau = engine.time_constant(ohms, filled["pair_c"])
        names = "R·C", "1/(2πRC)"
        words = "the capacitor"
    else:
        tau = engine.lag(ohms, filled["pair_l"])
        names = "L/R", "R/(2πL)"
        words = "the coil's current"
    hertz = (1 / (2 * math.pi * tau)).to("Hz")
    if not (1e-15 < nominal(tau, "s") < 1e9):
        raise CircuitError("That time constant is out of this world. Check both values.")
    return Answer(
        said=f"The time constant is {show(tau)}, the corner {show(hertz)}. After {show(5 * tau)} {words} is there "
        "within 1 %.",
        lines=(
            Line("Time constant", show(tau), said=f"{names[0]}: 63.2 % of the way"),
            Line("Corner, −3 dB", show(hertz), said=names[1]),
            Line("Half way", show(math.log(2) * tau), said="0.693 time constants"),
            Line("95 % of the way", show(math.log(20) * tau), said="3.00 time constants"),
            Line("99.3 % of the way", show(5 * tau), said="5 time constants"),
        ),
        charts=(_step(tau),),
        notes=(
            "Closed formulas, any textbook. The ± of both values is carried through (law of propagation).",
            "The resistance is all that the capacitor or coil sees: source and load side by side, not one resistor.",
        ),
    )


def _step(tau: pint.Quantity) -> Chart:
    seconds = nominal(tau, "s")
    scale, unit = next(
        ((k, name) for k, name in ((1.0, "s"), (1e3, "ms"), (1e6, "µs"), (1e9, "ns")) if seconds * k >= 0.5),
        (1e12, "ps"),
    )
    points = tuple(
        (5.5 * seconds * scale * k / 120, 100 * (1 - math.exp(-5.5 * k / 120))) for k in range(121)
    )
    return Chart(
        "After a step",
        f"How far it has come after a step: 63 % after {show(tau)}, 99 % after five times that.",
        Axis("Time", unit, least=0.0),
        Axis("Of the way", "%", least=0.0, most=100.0),
        (Curve("after a step", points, "main"),),
        (Dot("63 %", seconds * scale, 100 * (1 - math.exp(-1))),),
    )


def _with(letter: str) -> tuple[str, tuple[str, ...]]:
    return ("made", tuple(made for made in Made if letter in made.split()))


def _pot(name: str, called: str, ohms: str) -> tuple[Box, ...]:
    return (
        Box(f"{name}_pot", f"{called} pot", unit="ohm", initial=ohms, least=100, most=1e8),
        Box(f"{name}_track", f"{called} pot's track", Kind.CHOICE, initial="0.5", choices=_TRACKS),
        Box(f"{name}_knob", f"{called} knob", unit="%", initial="50", least=0, most=100),
    )


SHEET: Final = Worksheet(
    slug="filters",
    title="Filters and time constants",
    said="What a coupling, a bypass or a tone network lets through, and how fast it is.",
    groups=(
        Group(
            "What it is",
            (
                Box(
                    "what",
                    "Network",
                    Kind.CHOICE,
                    initial=_LADDER,
                    choices=(
                        (_LADDER, "a ladder of parts, from source to load"),
                        (_TONE, "a tone network of three knobs"),
                        (_PAIR, "one resistor with a capacitor or a coil"),
                    ),
                ),
            ),
        ),
        Group(
            "Parts, from the source on",
            rows=Rows(
                "arms",
                "Part",
                (
                    Box(
                        "place",
                        "It stands",
                        Kind.CHOICE,
                        initial=Place.SERIES,
                        choices=(
                            (Place.SERIES, "in the signal's way"),
                            (Place.SHUNT, "from the signal to ground"),
                        ),
                    ),
                    Box("made", "It is", Kind.CHOICE, initial=Made.R, choices=tuple(_MADE.items())),
                    Box("r", "Resistor", unit="ohm", least=1e-3, most=1e10, only=_with("R")),
                    Box("c", "Capacitor", unit="F", bare="µF", least=1e-14, most=1.0, only=_with("C")),
                    Box("l", "Coil", unit="H", least=1e-9, most=1e4, only=_with("L")),
                ),
                most=engine.MOST_ARMS,
                initial=2,
            ),
            only=("what", (_LADDER,)),
        ),
        Group(
            "Parts of the tone network",
            (
                Box("slope_resistor", "Slope resistor", unit="ohm", initial="68k", least=1, most=1e8),
                Box("treble_capacitor", "Treble capacitor", unit="F", initial="330p", least=1e-13, most=1e-3),
                Box("bass_capacitor", "Bass capacitor", unit="F", initial="100n", least=1e-13, most=1e-3),
                Box("middle_capacitor", "Middle capacitor", unit="F", initial="33n", least=1e-13, most=1e-3),
                Box(
                    "middle_to",
                    "The middle capacitor goes to",
                    Kind.CHOICE,
                    initial="wiper",
                    choices=(
                        ("wiper", "the middle pot's wiper"),
                        ("top", "the middle pot's top; the pot is a variable resistor"),
                    ),
                ),
                *_pot("treble", "Treble", "250k"),
                *_pot("bass", "Bass", "500k"),
                *_pot("middle", "Middle", "25k"),
            ),
            help="The treble pot's wiper is the output. Where there is no middle pot, write its resistor and 100 %.",
            only=("what", (_TONE,)),
        ),
        Group(
            "Source and load",
            (
                Box(
                    "source",
                    "Source impedance",
                    unit="ohm",
                    needed=False,
                    most=1e9,
                    help="Of the stage before, like 38k",
                ),
                Box("load", "Load", unit="ohm", needed=False, above_zero=True, most=1e10, help="Like 1M"),
                Box(
                    "load_capacitance",
                    "Capacitance across the load",
                    unit="F",
                    bare="pF",
                    needed=False,
                    most=1e-3,
                ),
                Box("at", "Look closer at", unit="Hz", initial="1k", least=0.001, most=1e8),
                Box("low", "Picture from", unit="Hz", initial="10", least=0.001, most=1e7),
                Box("high", "Picture to", unit="Hz", initial="30k", least=0.01, most=1e8),
            ),
            only=("what", (_LADDER, _TONE)),
        ),
        Group(
            "Resistor and its partner",
            (
                Box("pair_r", "Resistance", unit="ohm", measured=True, least=1e-3, most=1e12),
                Box(
                    "pair_with",
                    "With",
                    Kind.CHOICE,
                    initial="C",
                    choices=(("C", "a capacitor"), ("L", "a coil")),
                ),
                Box(
                    "pair_c",
                    "Capacitor",
                    unit="F",
                    bare="µF",
                    measured=True,
                    least=1e-14,
                    most=10.0,
                    only=("pair_with", ("C",)),
                ),
                Box(
                    "pair_l",
                    "Coil",
                    unit="H",
                    measured=True,
                    least=1e-9,
                    most=1e4,
                    only=("pair_with", ("L",)),
                ),
            ),
            help="The resistance is all that the part sees: source and load side by side.",
            only=("what", (_PAIR,)),
        ),
    ),
    compute=_compute,
    order=120,
)
