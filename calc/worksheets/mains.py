"""Mains: an old primary on today's line, a limiter lamp, the fuse, a capacitor from line to chassis."""

from dataclasses import dataclass, field
from typing import Final

import pint

from calc.cautions import Caution, named
from calc.engine import mains
from calc.engine.limits import Standing, stand
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
    Table,
    Verdict,
    Worksheet,
)

_WORST: Final = (Verdict.PLAIN, Verdict.GOOD, Verdict.UNSURE, Verdict.WATCH, Verdict.BAD)
_JUDGED: Final = {Standing.IN: Verdict.GOOD, Standing.CLOSE: Verdict.UNSURE, Standing.OUT: Verdict.BAD}
_FAR: Final = 1.3  # times the design: no bucking transformer is for that
_MOST_WINDINGS: Final = 4
_STEPS: Final = (120.0, 230.0)  # primaries that are sold, for the two ranges of line
_LIVE: Final = named("live-chassis")
_TWO_WIRE: Final = named("two-wire-cord")
_CAPACITOR: Final = named("line-capacitor")
_STEP_DOWN: Final = named("wrong-line")


@dataclass
class _Said:
    """An answer as it comes together."""

    words: list[str] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    tables: list[Table] = field(default_factory=list)
    charts: list[Chart] = field(default_factory=list)
    cautions: list[Caution] = field(default_factory=list)


def _compute(filled: Filled) -> Answer:
    said = _Said()
    _line(filled, said)
    scale = nominal(filled["line"], "V") / nominal(filled["design"], "V")
    if 1 / _FAR < scale < _FAR:
        best = _ways(filled, said)
        said.charts.append(_chart(filled, best))
    else:
        said.words.insert(0, "DON’T PLUG IT IN without the right tap or transformer.")
        said.cautions.append(_STEP_DOWN)
    _limiter(filled, said)
    _fuse(filled, said)
    _chassis(filled, said)
    return Answer(
        said=" ".join(said.words),
        verdict=max((line.verdict for line in said.lines), key=_WORST.index),
        lines=tuple(said.lines),
        tables=tuple(said.tables),
        charts=tuple(said.charts),
        cautions=tuple(said.cautions),
        notes=_NOTES,
    )


def _line(filled: Filled, said: _Said) -> None:
    design, line = filled["design"], filled["line"]
    found = mains.follow(
        design,
        line,
        heater=filled["heater"],
        heater_measured=filled["heater_measured"],
        b_plus=filled["b_plus"],
    )
    promise = mains.promised(line)
    if promise is not None:
        supply, standing = promise
        words = {
            Standing.IN: f"within {show(supply.least)} to {show(supply.most)}",
            Standing.OUT: f"NOT within {show(supply.least)} to {show(supply.most)}: ask the utility or an electrician",
            Standing.CLOSE: f"at the edge of {show(supply.least)} to {show(supply.most)}",
        }[standing]
        verdict = Verdict.WATCH if standing is Standing.OUT else _JUDGED[standing]
        said.lines.append(Line("Line", show(line), verdict, f"{words} ({supply.name})"))
    else:
        said.lines.append(Line("Line", show(line), said="no range known for such a line"))
    said.lines.append(Line("Line against the set", _signed(found.off), said=f"made for {show(design)}"))
    measured = filled["heater_measured"] is not None
    verdict, words = _heater_words(found)
    where = "measured" if measured else "as it follows the line"
    said.lines.append(
        Line("Heaters", show(found.heater), verdict, f"{_signed(found.heater_off)}, {where}: {words}")
    )
    said.words.append(
        f"{show(line)} is {_signed(found.off)} for this set: heaters at {show(found.heater)}, {words}."
    )
    if found.b_plus is not None:
        said.lines.append(_b_plus(found, found.b_plus))
    if filled["built"] != "string":
        _flux(filled, said)


def _flux(filled: Filled, said: _Said) -> None:
    ratio, standing = mains.flux(
        filled["design"], _hertz(filled["made_for"]), filled["line"], _hertz(filled["frequency"])
    )
    words = {
        Standing.IN: "of what it was made for",
        Standing.CLOSE: "of what it was made for: too close to call",
        Standing.OUT: "of what it was made for: it SATURATES, hums and overheats",
    }[standing]
    said.lines.append(Line("Flux in the core", f"{nominal(ratio):.2f} ×", _JUDGED[standing], words))
    if standing is Standing.OUT:
        said.words.append("THE TRANSFORMER’S CORE SATURATES: don’t run it so.")


def _heater_words(found: mains.Followed) -> tuple[Verdict, str]:
    if found.most is Standing.OUT:
        return Verdict.BAD, "BEYOND the ±10 % that tubes are rated for"
    if found.most is Standing.CLOSE:
        return Verdict.UNSURE, "too close to ±10 % to call"
    if found.long is not Standing.IN:
        return Verdict.WATCH, "within ±10 %, and not within the ±5 % for long life"
    return Verdict.GOOD, "within ±5 %"


def _b_plus(found: mains.Followed, b_plus: pint.Quantity) -> Line:
    most, long = (stand(found.off, -limit, limit) for limit in (mains.HEATER_MOST, mains.HEATER_LONG))
    if most is Standing.OUT:
        words = "hold it against the filter capacitors and the tubes before you leave it on"
        return Line("B+ on this line", show(b_plus), Verdict.BAD, f"{_signed(found.off)}: {words}")
    verdict = _JUDGED[most] if long is Standing.IN or most is Standing.CLOSE else Verdict.WATCH
    return Line("B+ on this line", show(b_plus), verdict, _signed(found.off))


def _ways(filled: Filled, said: _Said) -> mains.Bucked | None:
    """A winding or a resistor in series that brings the set nearer to what it was made for; returns the winding."""
    line, current = filled["line"], filled["current"]
    target = filled["target"] if filled["target"] is not None else filled["design"]
    primary = filled["buck_primary"]
    if primary is None:
        primary = units.Quantity(min(_STEPS, key=lambda each: abs(each - nominal(line, "V"))), "V")
    if filled["buck_secondary"] is not None:
        boosts = nominal(target, "V") > nominal(line, "V")
        tried = (
            mains.buck(
                line,
                primary=primary,
                secondary=filled["buck_secondary"],
                current=current,
                boosts=boosts,
            ),
        )
    else:
        tried = mains.choose_buck(line, target, primary=primary, current=current)
    if not tried:
        said.lines.append(
            Line("Bucking transformer", "none needed", Verdict.GOOD, f"{show(target)} is near enough")
        )
    else:
        _bucked(tried, primary, filled, said)
    if current is not None and nominal(target, "V") < nominal(line, "V") * 0.995:
        dropper = mains.drop(line, target, current)
        said.lines.append(
            Line(
                "Or a dropper",
                show(dropper.resistance, 2),
                said=f"{show(dropper.power, 2)} in it: buy {show(dropper.rating, 2)} or more, stand it clear;"
                f" leaves {show(dropper.voltage)} at this current only",
            )
        )
    return tried[0] if tried else None


def _bucked(tried: tuple[mains.Bucked, ...], primary: pint.Quantity, filled: Filled, said: _Said) -> None:
    best = tried[0]
    way = "aiding" if best.boosts else "opposing"
    power = "" if best.power is None else f"; at least {show(best.power, 2)}"
    off = 100 * (nominal(best.voltage, "V") / nominal(filled["design"], "V") - 1)
    verdict = Verdict.GOOD if abs(off) <= 5 else Verdict.WATCH if abs(off) <= 10 else Verdict.BAD
    said.lines.append(
        Line(
            "Boosting transformer" if best.boosts else "Bucking transformer",
            f"{show(primary)} to {show(best.secondary)}",
            verdict,
            f"secondary {way} the line leaves {show(best.voltage)}{power}",
        )
    )
    said.words.append(f"A {show(best.secondary)} winding {way} the line leaves {show(best.voltage)}.")
    if filled["current"] is None:
        said.lines.append(
            Line("To size it", "current not known", Verdict.PLAIN, "measure what the set draws from the line")
        )
    if len(tried) > 1:
        heater = filled["heater"]
        said.tables.append(
            Table(
                "Windings in series with the line",
                ("Secondary", "Leaves", "Heaters then", "Transformer"),
                tuple(
                    Row(
                        (
                            show(each.secondary),
                            show(each.voltage),
                            show((heater * each.voltage / filled["design"]).to("V")),
                            show(each.power, 2) if each.power is not None else "not known",
                        )
                    )
                    for each in tried[:_MOST_WINDINGS]
                ),
            )
        )


def _chart(filled: Filled, best: mains.Bucked | None) -> Chart:
    """The heaters' volts over the line's, with the limits across and where the set is."""
    rated, design = nominal(filled["heater"], "V"), nominal(filled["design"], "V")
    most, long = (nominal(limit, "percent") / 100 for limit in (mains.HEATER_MOST, mains.HEATER_LONG))
    line, measured = nominal(filled["line"], "V"), filled["heater_measured"]
    places = [("today", line, rated * line / design if measured is None else nominal(measured, "V"))]
    if best is not None:
        left = nominal(best.voltage, "V")
        places.append(("with the winding", left, rated * left / design))
    dots = []
    for name, x, y in places:
        off = abs(y / rated - 1)
        dots.append(Dot(name, x, y, "good" if off <= long else "watch" if off <= most else "bad"))
    shown = ", ".join(f"{dot.name} {dot.y:.2f} V on {dot.x:.0f} V" for dot in dots)
    ends = (0.75 * design, _FAR * design)
    return Chart(
        title="Heaters on this line",
        words=f"The heaters’ volts go straight with the line’s: {shown}. They are rated for {rated:g} V ± 10 %.",
        x=Axis("Line", "V"),
        y=Axis("Heaters", "V"),
        curves=(Curve("as the heaters follow the line", tuple((x, rated * x / design) for x in ends)),),
        dots=tuple(dots),
        limits=(
            Limit("+10 %", y=rated * (1 + most)),
            Limit("+5 %", y=rated * (1 + long)),
            Limit("−5 %", y=rated * (1 - long)),
            Limit("−10 %", y=rated * (1 - most)),
        ),
    )


def _limiter(filled: Filled, said: _Said) -> None:
    line, lamp, across = filled["line"], filled["lamp"], filled["across"]
    lamp_voltage = filled["lamp_voltage"]
    if lamp_voltage is None:
        lamp_voltage = units.Quantity(min(_STEPS, key=lambda each: abs(each - nominal(line, "V"))), "V")
    if filled["current"] is not None:
        idle = (line * filled["current"]).to("VA")
        fitting = lamp if lamp is not None else mains.usual_lamp(idle)
        found = mains.limit(line, lamp=fitting, lamp_voltage=lamp_voltage, power=idle)
        said.lines.append(
            Line(
                "Limiter lamp",
                show(fitting),
                said=f"a sound set of {show(idle, 2)} leaves it {found.looks} and gets {show(found.at_set)};"
                f" a dead short makes it bright at {show(found.short, 2)}",
            )
        )
    if across is not None:
        if lamp is None:
            raise BoxError("lamp", "Write the lamp’s watts too, like 100.")
        drawn = mains.drawn(line, lamp=lamp, lamp_voltage=lamp_voltage, across=across)
        part = nominal(drawn.part)
        verdict, words = Verdict.GOOD, "the set takes little"
        if part > 0.75:
            verdict, words = Verdict.BAD, "AS GOOD AS A SHORT: don’t take the lamp out of the way"
            said.words.append("The lamp has nearly the whole line: A SHORT behind it.")
        elif part > 0.4:
            verdict, words = Verdict.WATCH, "much for a set at rest: look before you give it more"
        elif part < 0.02:
            verdict, words = Verdict.WATCH, "nothing flows: open fuse, switch, cord or primary"
        said.lines.append(
            Line(
                "Through the lamp",
                show(drawn.current, 2),
                verdict,
                f"{show(drawn.power, 2)} from the line, lamp {drawn.looks}: {words}",
            )
        )


def _fuse(filled: Filled, said: _Said) -> None:
    current, marked = filled["current"], filled["fuse"]
    if marked is not None and current is not None:
        check = mains.check_fuse(current, marked)
        verdict = {Standing.IN: Verdict.GOOD, Standing.CLOSE: Verdict.WATCH, Standing.OUT: Verdict.BAD}[
            check.standing
        ]
        if nominal(check.part) < mains.FUSE_LITTLE:
            verdict = Verdict.WATCH
        words = {
            Standing.IN: "with room" if verdict is Verdict.GOOD else "so little: has somebody uprated it?",
            Standing.CLOSE: "near its rating: it will blow of old age, or something draws too much",
            Standing.OUT: "OVER ITS RATING: find out what draws so much",
        }[check.standing]
        said.lines.append(
            Line(
                "Fuse",
                show(marked),
                verdict,
                f"{100 * nominal(check.part):.0f} % of it at rest, {words}. Never uprate",
            )
        )
        _not_listed(check.is_standard, check.below, said)
    elif marked is not None:
        check = mains.check_fuse(units.Quantity(0.0, "A"), marked)
        said.lines.append(Line("Fuse", show(marked), said="what is marked is what goes in: never uprate"))
        _not_listed(check.is_standard, check.below, said)
    elif current is not None and nominal(current, "A") * mains.FUSE_START <= mains.FUSES[-1]:
        said.lines.append(
            Line(
                "Fuse to begin with",
                show(mains.first_fuse(current)),
                said="only where neither the set nor its papers say; a guess from the current at rest",
            )
        )


def _not_listed(is_standard: bool, below: pint.Quantity, said: _Said) -> None:
    if not is_standard:
        said.lines.append(
            Line(
                "If you can’t get that fuse",
                show(below),
                said="the next IEC 60127 rating down, not up; kinds that are rated otherwise blow at other currents",
            )
        )


def _chassis(filled: Filled, said: _Said) -> None:
    is_live = filled["built"] != "transformer"
    if is_live:
        said.cautions.append(_LIVE)
        said.lines.append(
            Line(
                "Chassis",
                "live",
                Verdict.WATCH,
                "never earthed; on the bench from an isolation transformer only",
            )
        )
        said.words.append("LIVE CHASSIS: never earth it.")
    elif filled["cord"] == "two":
        said.cautions.append(_TWO_WIRE)
        said.lines.append(Line("Cord", "two wires", Verdict.WATCH, "no earth: see the caution"))
    else:
        said.lines.append(Line("Cord", "grounded", Verdict.GOOD, "prove its earth after the repair"))
    if filled["capacitor"] is None:
        return
    touch = mains.touch_current(filled["capacitor"], filled["line"], _hertz(filled["frequency"]))
    limit = f"limit {show(touch.limit)}, {mains.TOUCH_SOURCE}"
    if not is_live:
        said.cautions.append(_CAPACITOR)
    words = {
        Standing.IN: f"under the {limit}; that is while it is sound",
        Standing.CLOSE: f"too close to call: {limit}",
        Standing.OUT: f"OVER THE LIMIT: {limit}",
    }[touch.standing]
    said.lines.append(Line("Touch current through it", show(touch.current), _JUDGED[touch.standing], words))
    if touch.standing is Standing.OUT:
        said.words.append(
            f"DANGEROUS TO TOUCH without an earth: {show(touch.current)} through the line-to-chassis capacitor."
        )


def _signed(percent: pint.Quantity) -> str:
    if abs(nominal(percent)) < 0.05:
        return "0 %"
    shown = show(percent, 2 if abs(nominal(percent)) < 10 else 3)
    return shown if shown.startswith("−") else f"+{shown}"


def _hertz(choice: str) -> pint.Quantity:
    return units.Quantity(float(choice), "Hz")


_NOTES: Final = (
    "What isn’t regulated follows the line in proportion: exact for heaters, within a per cent or so for B+.",
    "Heaters: ±10 %, and ±5 % for long life (tube manuals, installation chapter; from memory).",
    "Winding in series: V·(1 − Vs/Vp), or + where it aids; all of the set’s current goes through the secondary, and"
    " its own drop takes a volt or so more. A dropper’s R = ΔV/I holds at one current only, and is bought at twice its"
    " watts (MIL-STD-975; from memory). A set’s current is in peaks: B+ falls by more than the rms says.",
    "Lamp: tungsten, current as V^0.55 (from memory; the literature has 0.5 to 0.6), the set taken as a resistor."
    " Bright for a moment and then dim is a sound set filling its capacitors; bright and staying so is a short; dark is"
    " an open primary, fuse or cord (common practice, no source). LED lamps don’t do this; switch-mode supplies don’t"
    " start behind one. A lamp protects the set, not you.",
    "Fuses: IEC 60127-2’s ratings (from memory). The kind counts as much as the amperes: slow for slow, and the"
    " breaking capacity that was there.",
    f"Touch current: 2πfCV, plug in the worse way round, held to 0.5 mA ({mains.TOUCH_SOURCE}); the shop’s own rules"
    " come first.",
    "Flux goes as volts over hertz; a tenth more than the core was made for is taken as the limit (common practice, no"
    " source).",
)
_HERTZ: Final = (("60", "60 Hz"), ("50", "50 Hz"))
_LINE_VOLTS: Final = {"unit": "V", "least": 50.0, "most": 500.0}

SHEET = Worksheet(
    slug="mains",
    title="Mains",
    said="What today’s line does to an old set, what brings it down, and its limiter lamp, fuse and touch current.",
    powered=("heater_measured", "current", "across"),
    groups=(
        Group(
            "The line",
            (
                Box("design", "The set was made for", help="On its plate: 110, 117, 220 V.", **_LINE_VOLTS),
                Box(
                    "line",
                    "Line today",
                    measured=True,
                    points=r"(mains|line)( voltage| volts)?",
                    **_LINE_VOLTS,
                ),
                Box("made_for", "Frequency it was made for", Kind.CHOICE, initial="60", choices=_HERTZ),
                Box("frequency", "Frequency today", Kind.CHOICE, initial="60", choices=_HERTZ),
            ),
        ),
        Group(
            "The set",
            (
                Box(
                    "built",
                    "Its power comes by",
                    Kind.CHOICE,
                    initial="transformer",
                    choices=(
                        ("transformer", "A transformer of two windings"),
                        ("string", "The line itself: no transformer, heaters in a string"),
                        ("auto", "An autotransformer"),
                    ),
                    help="An autotransformer is no isolation.",
                ),
                Box(
                    "cord",
                    "Its cord",
                    Kind.CHOICE,
                    initial="earthed",
                    choices=(("earthed", "Three wires, grounded"), ("two", "Two wires")),
                    only=("built", ("transformer",)),
                ),
                Box("heater", "Heaters are rated for", unit="V", initial="6.3", least=0.5, most=250),
                Box(
                    "heater_measured",
                    "Heaters, measured",
                    unit="V",
                    needed=False,
                    least=0,
                    most=500,
                    measured=True,
                    points=r"heaters?",
                ),
                Box("b_plus", "B+ on the line it was made for", unit="V", needed=False, least=1, most=5000),
                Box(
                    "current",
                    "Line current at rest",
                    unit="A",
                    needed=False,
                    least=1e-3,
                    most=30,
                    measured=True,
                    points=r"(mains|line) current",
                    help="By a clamp or a meter in the bench’s outlet. Sizes transformer, resistor, lamp and fuse.",
                ),
            ),
        ),
        Group(
            "Bringing it down, or up",
            (
                Box(
                    "target",
                    "Bring it to",
                    needed=False,
                    help="Empty: to what the set was made for.",
                    **_LINE_VOLTS,
                ),
                Box(
                    "buck_primary",
                    "Primary of the transformer on hand",
                    needed=False,
                    help="Empty: 120 V or 230 V, as the line is.",
                    **_LINE_VOLTS,
                ),
                Box(
                    "buck_secondary",
                    "Its secondary",
                    unit="V",
                    needed=False,
                    least=0.5,
                    most=200,
                    help="Empty: the usual windings are tried.",
                ),
            ),
        ),
        Group(
            "Limiter lamp",
            (
                Box("lamp", "Lamp", unit="W", needed=False, least=1, most=2000),
                Box("lamp_voltage", "Made for", needed=False, **_LINE_VOLTS),
                Box(
                    "across",
                    "Volts across the lamp",
                    unit="V",
                    needed=False,
                    least=0,
                    most=1000,
                    measured=True,
                    points=r"(limiter )?lamp",
                    help="With the set on, after it has settled.",
                ),
            ),
        ),
        Group(
            "Fuse, and capacitor to the chassis",
            (
                Box(
                    "fuse",
                    "Fuse marked on the set",
                    unit="A",
                    needed=False,
                    least=mains.FUSES[0],
                    most=mains.FUSES[-1],
                ),
                Box(
                    "capacitor",
                    "Capacitor from line to chassis",
                    unit="F",
                    bare="µF",
                    needed=False,
                    least=1e-13,
                    most=1e-4,
                ),
            ),
        ),
    ),
    compute=_compute,
    cautions=(named("line-voltage"),),
    order=90,
)
