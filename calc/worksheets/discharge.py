"""Safe discharge: how long each capacitor takes, the bleeder to fit, and what measuring says, which alone clears it."""

import math
from dataclasses import dataclass
from typing import Any, Final

import pint

from calc.cautions import Caution, named
from calc.engine.discharge import (
    PLUG,
    RECHECK,
    Against,
    Bleeder,
    Clearance,
    Reach,
    at_the_plug,
    bleeder_to_fit,
    clearance,
    longest_to,
    stored_energy,
    thresholds,
    time_to,
)
from calc.engine.errors import CircuitError
from calc.engine.quantities import band, nominal, show, units
from calc.worksheets.chart import Axis, Chart, Curve, Limit
from calc.worksheets.sheet import (
    Answer,
    Box,
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

_ORDER: Final = (Verdict.BAD, Verdict.UNSURE, Verdict.WATCH, Verdict.GOOD)
_REACHES: Final = {
    Reach.REACHED: (Verdict.BAD, "reached"),
    Reach.CLOSE: (Verdict.UNSURE, "too close to call"),
    Reach.UNDER: (Verdict.PLAIN, "not reached"),
}
_POINTS: Final = 60  # of each curve
_NAMED: Final = 3  # capacitors that the answer in short speaks of


@dataclass(frozen=True)
class _Capacitor:
    """What is worked out for one capacitor. `time` and `longest` are None where nothing bleeds it."""

    name: str
    row: Filled
    start: pint.Quantity
    energy: pint.Quantity
    time: pint.Quantity | None
    longest: pint.Quantity | None
    state: Clearance
    against: tuple[Against, ...]

    @property
    def verdict(self) -> Verdict:
        if self.state is Clearance.NOT_MEASURED and self.time is None:
            return Verdict.BAD
        return {
            Clearance.NOT_MEASURED: Verdict.WATCH,
            Clearance.ONCE: Verdict.WATCH,
            Clearance.OVER: Verdict.BAD,
            Clearance.CAME_BACK: Verdict.BAD,
            Clearance.CLOSE: Verdict.UNSURE,
            Clearance.TWICE: Verdict.GOOD,
        }[self.state]


def _compute(filled: Filled) -> Answer:
    capacitors = []
    for number, row in enumerate(filled["capacitor"], 1):
        name = row["name"] or f"Capacitor {number}"
        try:
            capacitors.append(_capacitor(name, row, filled))
        except CircuitError as why:
            raise CircuitError(f"{name}: {why}" if len(filled["capacitor"]) > 1 else str(why)) from None
    safe = filled["safe"]
    return Answer(
        said=_in_short(capacitors, safe),
        verdict=next(v for v in _ORDER if any(each.verdict is v for each in capacitors)),
        lines=tuple(line for each in capacitors for line in _lines(each, filled)),
        tables=tuple(_table(each) for each in capacitors),
        charts=_charts(capacitors, safe),
        cautions=_cautions(capacitors),
        notes=(
            "t = R·C·ln(V0/V1), E = ½·C·V², P = V²/R (any textbook). Each capacitor is counted with its own bleeder "
            "alone: the dropping resistor to the next section may be open.",
            "Lines that are not reached say nothing: 100 µF at 400 V hold 8 J, under a line of 10 J, and can kill.",
            f"Measured again {nominal(RECHECK, 's'):g} s after the clip came off: dielectric absorption gives back "
            "1 to 10 % in electrolytics (textbook, from memory). The 60 s are common practice, no source.",
            "50 V: 29 CFR 1910.333(a)(1), for live parts. ES1 and ES2 go by capacitance; between two rows the stricter "
            "counts.",
            "A bleeder is picked at half of what its size bears at its ambient (MIL-STD-975’s kind of derating, from "
            "memory), with the volts its element may have (makers’ sheets, from memory). Values: IEC 60063:2015.",
        ),
    )


def _capacitor(name: str, row: Filled, filled: Filled) -> _Capacitor:
    farads, ohms, volts, safe = row["capacitance"], row["bleeder"], row["volts"], filled["safe"]
    time = longest = None
    if ohms is not None:
        time = time_to(farads, ohms, volts, safe)
        longest = longest_to(
            farads,
            ohms,
            volts,
            safe,
            capacitor_tolerance=filled["capacitor_tolerance"],
            bleeder_tolerance=filled["bleeder_tolerance"],
        )
    against = thresholds(farads, volts)
    if row["where"] == "mains":
        against = (*against, at_the_plug(farads, ohms, volts)[1])
    return _Capacitor(
        name=name,
        row=row,
        start=volts if nominal(volts) >= 0 else -volts,
        energy=stored_energy(farads, volts),
        time=time,
        longest=longest,
        state=clearance(row["now"], row["again"], safe),
        against=against,
    )


def _said(each: _Capacitor, safe: pint.Quantity) -> str:
    line = show(safe, 2)
    now, again = each.row["now"], each.row["again"]
    measured = {
        Clearance.OVER: f"{each.name} IS STILL CHARGED: {_measured(now, again)}. Discharge it again.",
        Clearance.CAME_BACK: f"{each.name} CAME BACK to {_measured(again)}. Discharge it again.",
        Clearance.CLOSE: f"{each.name}: too close to {line} to call with this meter. Discharge it again.",
        Clearance.ONCE: f"{each.name}: measured once, {_measured(now, again)}. Clip off, wait 60 s, measure again.",
        Clearance.TWICE: f"{each.name}: measured twice at or under {line}. Put the clip back and leave it on.",
    }
    if said := measured.get(each.state):
        return said
    if each.time is None or each.longest is None:
        return f"{each.name} HAS NO BLEEDER: it may hold {_most(each.start)} for days."
    if not nominal(each.time):
        return f"{each.name} is said to be under {line} already."
    return f"{each.name}: about {_duration(each.time)} to {line}, {_duration(each.longest)} at the longest."


def _in_short(capacitors: list[_Capacitor], safe: pint.Quantity) -> str:
    """The worst first; none that is out of limits is left out, the others only where they are many."""
    by_weight = sorted(capacitors, key=lambda each: _ORDER.index(each.verdict))
    shown = [each for n, each in enumerate(by_weight) if each.verdict is Verdict.BAD or n < _NAMED]
    said = " ".join(_said(each, safe) for each in shown)
    if more := len(capacitors) - len(shown):
        said += f" {more} more stand{'s' if more == 1 else ''} below."
    if any(each.state is not Clearance.TWICE for each in capacitors):
        said += " A calculated time is never a clearance: measure each one."
    return said


def _lines(each: _Capacitor, filled: Filled) -> list[Line]:
    safe = filled["safe"]
    row, name, line = each.row, each.name, show(safe, 2)
    lines = [_time_line(each, filled)]
    reached = [
        a.threshold.name for a in each.against if a.reach is Reach.REACHED and a.threshold.joules is not None
    ]
    hazard = Verdict.WATCH if each.state is Clearance.TWICE else Verdict.BAD
    lines.append(
        Line(
            f"{name}: energy",
            show(each.energy),
            hazard if reached else Verdict.PLAIN,
            f"when charged it reaches: {', '.join(reached)}"
            if reached
            else "under the lines of energy, and that never says safe",
        )
    )
    if row["bleeder"] is not None:
        heat = units.Quantity(nominal(each.start, "V") ** 2 / nominal(row["bleeder"], "ohm"), "W")
        lines.append(Line(f"{name}: its bleeder’s heat", show(heat), said="for as long as the supply is on"))
    lines.append(_fit_line(each, filled))
    if filled["clip"] is not None:
        clip = filled["clip"]
        first = units.Quantity(nominal(each.start, "V") ** 2 / nominal(clip, "ohm"), "W")
        lines.append(
            Line(
                f"{name}: through the clip-on resistor",
                _duration(time_to(row["capacitance"], clip, row["volts"], safe)),
                said=f"to {line}, {show(first)} at first: wire-wound, insulated, for at least {_most(each.start)}",
            )
        )
    if row["where"] == "mains":
        left, against = at_the_plug(row["capacitance"], row["bleeder"], row["volts"])
        verdict, words = _REACHES[against.reach]
        shown = _measured(left)
        lines.append(Line(f"{name}: at the plug 2 s after unplugging", shown, verdict, f"ES1 {words}"))
    lines.append(_state_line(each, line))
    return lines


def _time_line(each: _Capacitor, filled: Filled) -> Line:
    label = f"{each.name}: time to {show(filled['safe'], 2)}"
    if each.time is None or each.longest is None:
        verdict = Verdict.WATCH if each.state is Clearance.TWICE else Verdict.BAD
        return Line(label, "never", verdict, "NO BLEEDER: nothing says how long it holds its charge")
    tolerances = (
        f"capacitor +{nominal(filled['capacitor_tolerance'], 'percent'):g} %, "
        f"bleeder +{nominal(filled['bleeder_tolerance'], 'percent'):g} %"
    )
    words = f"{_duration(each.longest)} at the longest ({tolerances}); never with an open bleeder"
    return Line(label, _duration(each.time), Verdict.PLAIN, words)


def _fit_line(each: _Capacitor, filled: Filled) -> Line:
    label = f"{each.name}: bleeder to fit"
    is_mains = each.row["where"] == "mains"
    try:
        found = bleeder_to_fit(
            each.row["capacitance"],
            each.row["volts"],
            min(filled["within"], PLUG) if is_mains else filled["within"],
            filled["safe"],
            capacitor_tolerance=filled["capacitor_tolerance"],
            bleeder_tolerance=filled["bleeder_tolerance"],
            ambient=filled["ambient"],
            series=filled["series"],
        )
    except CircuitError as why:
        return Line(label, "none", Verdict.WATCH, str(why))
    if found is None:
        return Line(label, "none needed", said=f"for {show(filled['safe'], 2)}")
    words = _bleeder_words(found) + ("; a type approved for use across the mains" if is_mains else "")
    return Line(label, _bleeder(found), Verdict.PLAIN, words)


def _bleeder(found: Bleeder) -> str:
    each = f"{show(found.each)}, {nominal(found.size.power, 'W'):g} W"
    return each if found.count == 1 else f"{found.count} × {each} in series"


def _bleeder_words(found: Bleeder) -> str:
    many = " each" if found.count > 1 else ""
    return (
        f"for at least {show(found.volts_each)}{many}; {show(found.heat)} and {show(found.draw)} "
        f"while the supply is on; {_duration(found.longest)} at the longest"
    )


def _state_line(each: _Capacitor, line: str) -> Line:
    now, again = each.row["now"], each.row["again"]
    shown = {True: _measured(now, again), False: "not measured"}[now is not None or again is not None]
    words = {
        Clearance.NOT_MEASURED: "measure it before you touch it",
        Clearance.OVER: f"STILL CHARGED: over {line}",
        Clearance.CAME_BACK: f"CAME BACK over {line}: discharge it again",
        Clearance.CLOSE: f"the meter’s ± reaches over {line}",
        Clearance.ONCE: "clip off, wait 60 s, measure again",
        Clearance.TWICE: f"at or under {line}, twice: clip back on",
    }[each.state]
    return Line(f"{each.name}: measured", shown, each.verdict, words)


def _table(each: _Capacitor) -> Table:
    rows = tuple(
        Row((a.threshold.name, _at(a), _REACHES[a.reach][1], a.threshold.source), _REACHES[a.reach][0])
        for a in each.against
    )
    title = f"{each.name}, {show(each.row['capacitance'])} at {show(each.start)}, {show(each.energy)}: published lines"
    return Table(title, ("Line", "From", "Charged as said", "Source"), rows)


def _at(against: Against) -> str:
    line = against.threshold
    volts = "" if line.volts is None else show(line.volts)
    if line.below_volts:
        volts = f"under {volts}"
    elif line.over and volts:
        volts = f"over {volts}"
    joules = "" if line.joules is None else ("over " if line.over else "") + show(line.joules)
    return " and ".join(each for each in (volts, joules) if each)


def _charts(capacitors: list[_Capacitor], safe: pint.Quantity) -> tuple[Chart, ...]:
    bled = [each for each in capacitors if each.longest is not None and nominal(each.longest)]
    if not bled:
        return ()
    end = 1.15 * max(nominal(each.longest, "s") for each in bled if each.longest is not None)
    curves = []
    for number, each in enumerate(bled):
        look = ("main", "second")[number] if len(bled) <= 2 else "thin"
        curves.append(Curve(each.name, _decay(each, end), look))
    words = "; ".join(
        f"{each.name} from {show(each.start)} in about {_duration(each.time)}"
        for each in bled
        if each.time is not None
    )
    return (
        Chart(
            title="How the volts go down, bleeders whole",
            words=f"Volts against time, down to {show(safe, 2)}: {words}.",
            x=Axis("Time", "s", least=0.0, most=end),
            y=Axis("Volts", "V", least=0.0),
            curves=tuple(curves),
            limits=(Limit(show(safe, 2), y=nominal(safe, "V")),),
        ),
    )


def _decay(each: _Capacitor, end: float) -> tuple[tuple[float, float], ...]:
    tau = nominal(each.row["capacitance"], "F") * nominal(each.row["bleeder"], "ohm")
    start = nominal(each.start, "V")
    return tuple((end * n / _POINTS, start * math.exp(-end * n / _POINTS / tau)) for n in range(_POINTS + 1))


def _cautions(capacitors: list[_Capacitor]) -> tuple[Caution, ...]:
    charged = [each.name for each in capacitors if each.state in (Clearance.OVER, Clearance.CAME_BACK)]
    if charged:
        return (
            Caution(
                f"{', '.join(charged)}: charged as measured. Hands off.",
                do="Discharge through a resistor with an insulated clip, then measure twice, 60 s apart.",
            ),
        )
    open_ones = [each.name for each in capacitors if each.time is None]
    if open_ones:
        return (
            Caution(
                f"{', '.join(open_ones)}: nothing bleeds it, so waiting does nothing.",
                do="Discharge it through a resistor with an insulated clip, and measure.",
            ),
        )
    return ()


def _measured(*volts: pint.Quantity | None) -> str:
    there = [each for each in volts if each is not None]
    return " and ".join("0 V" if abs(nominal(each, "V")) < 1e-3 else show(each) for each in there)


def _most(volts: pint.Quantity) -> str:
    """The upper end of volts and their ±."""
    return show(units.Quantity(nominal(volts, "V") + band(volts, "V"), "V"))


def _duration(time: pint.Quantity) -> str:
    """A time as it is waited, rounded up: nobody waits in milliseconds or kiloseconds."""
    seconds = nominal(time, "s")
    if seconds <= 0:
        return "0 s"
    if seconds < 10:
        return f"{math.ceil(seconds * 10 - 1e-9) / 10:g} s"
    if seconds < 180:
        return f"{math.ceil(seconds - 1e-9)} s"
    if seconds < 7200:
        return f"{math.ceil(seconds / 60 - 1e-9)} min"
    hours = math.ceil(seconds / 3600 - 1e-9)
    return f"{hours} h" if hours < 72 else f"{math.ceil(seconds / 86400 - 1e-9)} days"


def _volts_box(name: str, label: str, points: str, **more: Any) -> Box:
    return Box(name, label, unit="V", least=-5000, most=5000, measured=True, points=points, **more)


SHEET = Worksheet(
    slug="discharge",
    title="Safe discharge",
    said="How long each capacitor takes to a low voltage, the bleeder to fit, and what measuring says.",
    groups=(
        Group(
            "Each capacitor",
            rows=Rows(
                "capacitor",
                "Capacitor",
                (
                    Box("name", "Name", Kind.WORDS, needed=False, help="Like reservoir, or bias."),
                    Box(
                        "capacitance",
                        "Capacitance",
                        unit="F",
                        bare="µF",
                        above_zero=True,
                        most=100,
                        help="All that are in parallel, together.",
                    ),
                    _volts_box(
                        "volts",
                        "Charged to",
                        r"(reservoir|supply|b\+|filter|capacitor).*",
                        help="The most it can have, with no load. Across the mains: the crest, 1.41 × the mains.",
                    ),
                    Box(
                        "bleeder",
                        "Its bleeder",
                        unit="ohm",
                        needed=False,
                        above_zero=True,
                        most=1e12,
                        help="Empty: none.",
                    ),
                    Box(
                        "where",
                        "Where it is",
                        Kind.CHOICE,
                        initial="supply",
                        choices=(("supply", "In the supply"), ("mains", "Across the mains plug")),
                    ),
                    _volts_box("now", "Measured after discharging", r"discharged.*", needed=False),
                    _volts_box(
                        "again",
                        "Measured again, 60 s after the clip came off",
                        r"(came back|60 s after).*",
                        needed=False,
                    ),
                ),
                most=8,
            ),
            help="Each is counted with its own bleeder alone: a dropping resistor may be open.",
        ),
        Group(
            "Down to",
            (
                Box(
                    "safe",
                    "Voltage",
                    unit="V",
                    initial="50",
                    least=1,
                    most=60,
                    help="50 V: 29 CFR 1910.333. Your local rules may say less.",
                ),
                Box("within", "Bleeder to fit: within", unit="s", initial="30", least=0.1, most=3600),
                Box(
                    "clip",
                    "Clip-on resistor",
                    unit="ohm",
                    initial="10k",
                    needed=False,
                    least=10,
                    most=1e6,
                    help="The one you discharge with.",
                ),
            ),
        ),
        Group(
            "What varies",
            (
                Box(
                    "capacitor_tolerance",
                    "A capacitor may be more by",
                    unit="%",
                    initial="20",
                    least=0,
                    most=90,
                    help="Old electrolytics 50 % and more.",
                ),
                Box(
                    "bleeder_tolerance", "A bleeder may be more by", unit="%", initial="10", least=0, most=90
                ),
                Box("ambient", "Air around it", unit="degC", initial="60", least=-20, most=150),
                Box(
                    "series",
                    "Resistors on the shelf",
                    Kind.CHOICE,
                    initial="E12",
                    choices=(("E6", "E6"), ("E12", "E12"), ("E24", "E24"), ("E96", "E96")),
                ),
            ),
        ),
    ),
    compute=_compute,
    cautions=(
        named("stored-charge"),
        named("charge-comes-back"),
    ),
    order=60,
)
