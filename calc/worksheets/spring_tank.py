"""Spring tank: its drive, its match on both sides, its coils' resistance, and whether another one will serve."""

from typing import Final

import pint

from calc.cautions import named
from calc.engine.quantities import nominal, show, units
from calc.engine.spring_tank import (
    AT,
    INPUTS,
    OUTPUTS,
    SOURCE,
    TOP,
    Alike,
    Check,
    Coil,
    Dc,
    DcCheck,
    Drive,
    Driver,
    Ground,
    Recovery,
    Side,
    StandIn,
    Standing,
    check_dc,
    coil,
    current,
    curve,
    judged,
    match,
    recovery,
    stand_in,
    through_transformer,
    wanted_current,
)
from calc.engine.spring_tank import drive as driven
from calc.worksheets.chart import Axis, Chart, Curve, Limit
from calc.worksheets.sheet import (
    Answer,
    Box,
    Filled,
    Group,
    Kind,
    Line,
    Row,
    Table,
    Verdict,
    Worksheet,
)

_TRANSFORMER, _DIRECT, _AT_THE_TANK, _LEFT_OUT = "transformer", "direct", "at-the-tank", "left-out"
_VERDICT: Final = {
    Standing.SERVES: Verdict.GOOD,
    Standing.WITH_CARE: Verdict.WATCH,
    Standing.NO: Verdict.BAD,
    Standing.UNKNOWN: Verdict.UNSURE,
}
_DC: Final = {
    Dc.FITS: (Verdict.GOOD, "as usual"),
    Dc.LOW: (Verdict.BAD, "too low: shorted turns, or other ohms"),
    Dc.HIGH: (Verdict.BAD, "too high: a corroded joint, or other ohms"),
    Dc.OPEN: (Verdict.BAD, "open: a broken wire, most often where it leaves the coil"),
    Dc.UNSURE: (Verdict.UNSURE, "too close to call with this meter"),
}
_SAYS: Final = {
    Standing.SERVES: "The stand-in will serve.",
    Standing.WITH_CARE: "The stand-in will serve, with care: {}.",
    Standing.NO: "The stand-in will not serve: {}.",
    Standing.UNKNOWN: "Whether the stand-in will serve can’t be told yet: {}.",
}
_DRIVE: Final = "Drive at 1 kHz"
_NAMED: Final = (Verdict.BAD, Verdict.UNSURE, Verdict.WATCH)
_WORST: Final = (Verdict.BAD, Verdict.UNSURE, Verdict.WATCH, Verdict.GOOD, Verdict.PLAIN)


def _compute(filled: Filled) -> Answer:
    input_coil, output_coil, lines = _tank(filled, "", "Tank")
    said, curves = [], []
    found = None
    driver = _driver(filled)
    if filled["drive"] == _TRANSFORMER:
        lines.append(_match_line("Driver transformer", input_coil, filled))
    drive = _drive(filled, input_coil, driver)
    if drive:
        is_sound = all(
            line.verdict is not Verdict.BAD for line in lines if line.label == f"Tank, {Side.INPUT} coil"
        )
        lines.append(_drive_line(_DRIVE if is_sound else f"{_DRIVE}, were the coil sound", drive))
        said += [_drive_said(drive)] if is_sound else []
    lines.append(_wanted_line(input_coil))
    if filled["recovery"] is not None:
        lines.append(_recovery_line("Recovery stage", recovery(output_coil, filled["recovery"])))
    if driver:
        curves.append(_curve("Tank in the amp", input_coil, driver, "main"))
    wrong = [line for line in lines if line.verdict in _NAMED and not line.label.startswith(_DRIVE)]
    if filled["judge"] == "yes":
        other_in, other_out, more = _tank(filled, "s_", "Stand-in")
        if filled["drive"] == _TRANSFORMER:
            more.append(_match_line("Stand-in, driver transformer", other_in, filled))
        if driver:
            more.append(_drive_line("Stand-in, drive", driven(other_in, driver)))
            curves.append(_curve("Stand-in", other_in, driver, "second"))
        if filled["recovery"] is not None:
            more.append(_recovery_line("Stand-in, recovery stage", recovery(other_out, filled["recovery"])))
        found = _stand_in(filled, more)
        said.insert(0, _stand_in_said(found))
        lines += _stand_in_lines(found, more)
    said += [f"{line.label}: {line.said}." for line in wrong]
    verdict = _VERDICT[found.standing] if found else min((line.verdict for line in lines), key=_WORST.index)
    return Answer(
        said=" ".join(said) or f"It wants {show(wanted_current(input_coil.ohms), 2)} at its input.",
        verdict=verdict,
        lines=tuple(lines),
        tables=(_known_table(),),
        charts=(_chart(curves, input_coil),) if curves else (),
        notes=(
            "Impedances are magnitudes at 1 kHz: |Z|² = R² + (2πfL)². The current in the input coil moves the springs; "
            "its nominal value is about 2.5 ampere-turns whatever the coil, so it goes with 1/√|Z| (tank makers’ data, "
            "from memory).",
            "A transformer is taken as ideal: turns √(Zp/Zs).",
            "Ten times the output’s ohms as enough load, half to twice the nominal drive, how near a stand-in must be: "
            "common practice, no source.",
        ),
    )


# --- the tank


def _tank(filled: Filled, prefix: str, words: str) -> tuple[Coil, Coil, list[Line]]:
    """Its two coils, and a line for each DC resistance that was measured."""
    coils, lines = [], []
    for side in Side:
        ohms, measured = filled[f"{prefix}{side}_ohms"], filled[f"{prefix}{side}_dc"]
        coils.append(coil(ohms, side))
        if measured is not None:
            check = check_dc(measured, ohms, side)
            if check.says is Dc.FITS and nominal(measured, "ohm") < nominal(ohms, "ohm"):
                coils[-1] = coil(ohms, side, measured)
            lines.append(_dc_line(f"{words}, {side} coil", measured, check))
    return coils[0], coils[1], lines


def _dc_line(label: str, measured: pint.Quantity, check: DcCheck) -> Line:
    verdict, said = _DC[check.says]
    said += f"; about {show(check.expected, 2)} is usual"
    if check.would_fit and check.says in (Dc.LOW, Dc.HIGH):
        said += f", and this fits a coil of {show(units.Quantity(check.would_fit, 'ohm'))}"
    return Line(label, f"{show(measured)} DC", verdict, said)


def _wanted_line(input_coil: Coil) -> Line:
    amperes = nominal(wanted_current(input_coil.ohms), "A")
    at_1k, at_5k = (show(units.Quantity(amperes * nominal(input_coil.impedance(f)), "V")) for f in (AT, TOP))
    return Line(
        "Nominal drive",
        show(units.Quantity(amperes, "A"), 2),
        said=f"takes {at_1k} at 1 kHz, {at_5k} at 5 kHz, rms",
    )


# --- the drive


def _driver(filled: Filled) -> Driver | None:
    """What drives the tank, as it stands at the tank; None where that isn't asked, or only volts were read there."""
    if filled["drive"] not in (_TRANSFORMER, _DIRECT):
        return None
    source = filled["source"] if filled["source"] is not None else units.Quantity(0.0, "ohm")
    driver = Driver(filled["volts"], source)
    if filled["drive"] == _TRANSFORMER:
        return through_transformer(driver, filled["primary"], filled["secondary"])
    return driver


def _drive(filled: Filled, input_coil: Coil, driver: Driver | None) -> Drive | None:
    if driver:
        return driven(input_coil, driver)
    if filled["drive"] == _AT_THE_TANK:
        return judged(
            input_coil, current(input_coil, Driver(filled["tank_volts"], units.Quantity(0.0, "ohm")), AT)
        )
    return None


def _drive_line(label: str, drive: Drive) -> Line:
    return Line(label, show(drive.current), _VERDICT[drive.standing], f"{100 * drive.ratio:.0f} % of nominal")


def _drive_said(drive: Drive) -> str:
    if drive.standing is Standing.SERVES:
        return f"The input gets {show(drive.current)}: enough, and not too much."
    if drive.ratio < 1:
        return f"The input gets only {show(drive.current)}: the reverb will be weak."
    return f"The input gets {show(drive.current)}: it is driven into saturation, and will sound rough."


def _match_line(label: str, input_coil: Coil, filled: Filled) -> Line:
    found = match(input_coil, filled["primary"], filled["secondary"])
    said = f"the driver sees {show(found.reflected)}; its transformer is made for {show(filled['primary'])}"
    return Line(label, f"{found.turns:.3g} : 1", _VERDICT[found.standing], said)


def _recovery_line(label: str, found: Recovery) -> Line:
    loss = f"takes off {abs(found.loss_at_1k):.1f} dB at 1 kHz, {abs(found.loss_at_5k):.1f} dB at 5 kHz"
    low = "" if found.standing is Standing.SERVES else "too low a resistance for this output, "
    return Line(label, f"{found.ratio:.3g} × the output", _VERDICT[found.standing], low + loss)


def _curve(name: str, input_coil: Coil, driver: Driver, look: str) -> Curve:
    return Curve(name, tuple((f, 1000 * amperes) for f, amperes in curve(input_coil, driver)), look)


def _chart(curves: list[Curve], input_coil: Coil) -> Chart:
    wanted = nominal(wanted_current(input_coil.ohms), "mA")
    ends = [
        f"{each.name}: {each.points[0][1]:.3g} mA at 100 Hz, {each.points[-1][1]:.3g} mA at 5 kHz"
        for each in curves
    ]
    return Chart(
        title="Current in the input coil",
        words=f"Current over frequency, rms. {'; '.join(ends)}. Nominal: {wanted:.3g} mA.",
        x=Axis("Frequency", "Hz", is_log=True, least=100, most=TOP),
        y=Axis("Current", "mA", is_log=True),
        curves=tuple(curves),
        limits=(Limit("Nominal drive", y=wanted),),
    )


# --- the stand-in


def _stand_in(filled: Filled, more: list[Line]) -> StandIn:
    """Judge it; `more` is what its coils, its drive and its load say."""
    standings = {verdict: standing for standing, verdict in _VERDICT.items()}
    return stand_in(
        input_ratio=nominal((filled["s_input_ohms"] / filled["input_ohms"]).to("")),
        output_ratio=nominal((filled["s_output_ohms"] / filled["output_ohms"]).to("")),
        input_ground=Ground(filled["input_ground"]),
        output_ground=Ground(filled["output_ground"]),
        plane=Alike(filled["plane"]),
        decay=Alike(filled["decay"]),
        size=Alike(filled["size"]),
        more=tuple(
            Check(line.label.removeprefix("Stand-in, ").capitalize(), standings[line.verdict], line.said)
            for line in more
        ),
    )


def _stand_in_said(found: StandIn) -> str:
    why = [check.name.lower() for check in found.checks if check.standing is found.standing]
    return _SAYS[found.standing].format(", ".join(why))


def _stand_in_lines(found: StandIn, more: list[Line]) -> list[Line]:
    """In all, each thing asked of it, and `more`, what its coils, its drive and its load say (last of the checks)."""
    lines = [Line("Stand-in", str(found.standing), _VERDICT[found.standing])]
    for check in found.checks[: len(found.checks) - len(more)]:
        lines.append(
            Line(f"Stand-in, {check.name.lower()}", str(check.standing), _VERDICT[check.standing], check.said)
        )
    return [*lines, *more]


def _known_table() -> Table:
    rows = [Row((f"{z:g} Ω input", f"{dc:g} Ω", f"{1000 * amperes:g} mA")) for z, dc, amperes in INPUTS] + [
        Row((f"{z:g} Ω output", f"{dc:g} Ω", "–")) for z, dc in OUTPUTS
    ]
    return Table(f"Usual coils ({SOURCE})", ("At 1 kHz", "DC resistance", "Nominal drive"), tuple(rows))


# --- the boxes


def _ohms(name: str, label: str, said: str = "") -> Box:
    return Box(name, label, unit="ohm", least=1, most=100_000, help=said)


def _dc(name: str, label: str, points: str) -> Box:
    return Box(name, label, unit="ohm", needed=False, measured=True, least=0, most=1e9, points=points)


_GROUND: Final = (
    (Ground.SAME, "The same in both"),
    (Ground.NOW_ISOLATED, "Stand-in isolated, old one grounded"),
    (Ground.NOW_GROUNDED, "Stand-in grounded, old one isolated"),
    (Ground.UNKNOWN, "Not known yet"),
)

SHEET = Worksheet(
    slug="spring-tank",
    title="Spring tank",
    said="Drive current, match on both sides, DC resistance of the coils, and whether a stand-in will serve.",
    order=130,
    powered=("volts", "tank_volts"),
    groups=(
        Group(
            "Tank in the amp",
            (
                _ohms(
                    "input_ohms", "Input at 1 kHz", "The impedance, not what an ohmmeter shows: 8, 150, 600 …"
                ),
                _ohms("output_ohms", "Output at 1 kHz", "500, 2250, 10k …"),
                _dc("input_dc", "Input, DC resistance", r"tank in(put)?.*"),
                _dc("output_dc", "Output, DC resistance", r"tank out(put)?.*"),
            ),
            help="In ohms, as measured with a 1 kHz tone, or from the tank’s papers. DC with its cords pulled out.",
        ),
        Group(
            "Drive",
            (
                Box(
                    "drive",
                    "What drives it",
                    Kind.CHOICE,
                    initial=_LEFT_OUT,
                    choices=(
                        (_TRANSFORMER, "A transformer"),
                        (_DIRECT, "A stage, straight"),
                        (_AT_THE_TANK, "Volts read at the tank"),
                        (_LEFT_OUT, "Leave it out"),
                    ),
                ),
                Box(
                    "volts",
                    "Driver’s volts, rms",
                    unit="V",
                    measured=True,
                    above_zero=True,
                    most=10_000,
                    points=r"(reverb driver|tank driver).*",
                    only=("drive", (_TRANSFORMER, _DIRECT)),
                    help="At 1 kHz, the most that is clean: at the primary, or where the tank goes.",
                ),
                Box(
                    "source",
                    "Resistance behind them",
                    unit="ohm",
                    needed=False,
                    least=0,
                    most=1e7,
                    only=("drive", (_TRANSFORMER, _DIRECT)),
                    help="A series resistor, or the plate resistance, for volts without the tank. Leave it empty for "
                    "volts that were read with the tank in place.",
                ),
                Box(
                    "primary",
                    "Transformer’s primary",
                    unit="ohm",
                    bare="kΩ",
                    least=0.1,
                    most=1e6,
                    only=("drive", (_TRANSFORMER,)),
                    help="The ohms that it is made for, with the secondary’s below.",
                ),
                Box(
                    "secondary",
                    "Its secondary",
                    unit="ohm",
                    least=0.1,
                    most=100_000,
                    only=("drive", (_TRANSFORMER,)),
                ),
                Box(
                    "tank_volts",
                    "Volts at the input, rms",
                    unit="V",
                    measured=True,
                    above_zero=True,
                    most=10_000,
                    points=r"tank in(put)?.*",
                    only=("drive", (_AT_THE_TANK,)),
                    help="At 1 kHz, the tank connected, as loud as it gets.",
                ),
            ),
        ),
        Group(
            "Recovery",
            (
                Box(
                    "recovery",
                    "Recovery stage’s input resistance",
                    unit="ohm",
                    bare="kΩ",
                    needed=False,
                    above_zero=True,
                    least=1,
                    most=1e9,
                    help="Most often its grid leak: 220k.",
                ),
            ),
        ),
        Group(
            "Stand-in",
            (
                Box(
                    "judge",
                    "Is there a stand-in to judge?",
                    Kind.CHOICE,
                    initial="no",
                    choices=(("no", "No"), ("yes", "Yes")),
                ),
            ),
        ),
        Group(
            "The stand-in beside the old tank",
            (
                _ohms("s_input_ohms", "Its input at 1 kHz"),
                _ohms("s_output_ohms", "Its output at 1 kHz"),
                _dc("s_input_dc", "Its input, DC resistance", r"stand-?in tank in(put)?.*"),
                _dc("s_output_dc", "Its output, DC resistance", r"stand-?in tank out(put)?.*"),
                Box(
                    "input_ground",
                    "Ground of the input socket",
                    Kind.CHOICE,
                    initial=Ground.UNKNOWN,
                    choices=_GROUND,
                    help="From the socket’s shell to the tank’s frame, with an ohmmeter.",
                ),
                Box(
                    "output_ground",
                    "Ground of the output socket",
                    Kind.CHOICE,
                    initial=Ground.UNKNOWN,
                    choices=_GROUND,
                ),
                Box(
                    "plane",
                    "Mounting plane",
                    Kind.CHOICE,
                    initial=Alike.UNKNOWN,
                    choices=(
                        (Alike.SAME, "Made to lie as this one lies"),
                        (Alike.OTHER, "Made to lie another way"),
                        (Alike.UNKNOWN, "Not known yet"),
                    ),
                ),
                Box(
                    "decay",
                    "Decay",
                    Kind.CHOICE,
                    initial=Alike.UNKNOWN,
                    choices=(
                        (Alike.SAME, "Alike"),
                        (Alike.LESS, "Shorter"),
                        (Alike.MORE, "Longer"),
                        (Alike.UNKNOWN, "Not known yet"),
                    ),
                ),
                Box(
                    "size",
                    "Size",
                    Kind.CHOICE,
                    initial=Alike.UNKNOWN,
                    choices=(
                        (Alike.SAME, "Alike"),
                        (Alike.LESS, "Shorter"),
                        (Alike.MORE, "Longer"),
                        (Alike.UNKNOWN, "Not known yet"),
                    ),
                ),
            ),
            only=("judge", ("yes",)),
        ),
    ),
    compute=_compute,
    cautions=(named("driver-transformer"),),
)
