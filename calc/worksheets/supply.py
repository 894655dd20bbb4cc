"""Supply: volts, ripple and currents of a high-voltage supply, what its parts must stand, and what would change if."""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import pint

from calc.cautions import Caution, named
from calc.engine import supply as engine
from calc.engine.limits import Standing, stand
from calc.engine.quantities import nominal, show, units
from calc.engine.supply import (
    MOST_SECTIONS,
    Capacitor,
    Check,
    Current,
    Load,
    Resistor,
    Section,
    Silicon,
    Stage,
    Steady,
    Supply,
    Topology,
    Tubes,
    Winding,
    node_name,
)
from calc.engine.tubes import RECTIFIERS, Rectifier, find_rectifier
from calc.worksheets.chart import Axis, Chart, Curve, thin_out
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

_SILICON: Final = "silicon"
_CIRCUITS: Final = {
    "centre-tap": Topology.CENTRE_TAP,
    "bridge": Topology.BRIDGE,
    "half-wave": Topology.HALF_WAVE,
    "doubler": Topology.DOUBLER,
}
_TUBES: Final = tuple((tube.name, "/".join((tube.name, *tube.aliases))) for tube in RECTIFIERS)
_AS_IT_IS: Final = "nothing"
_NEAR: Final = 0.95  # of a limit: worth a look. Common practice, no source, as is the next
_OUT: Final = 0.10  # of what was computed: more than mains, parts and meters account for
_RIPPLE_OUT: Final = 0.3  # an electrolytic that is 20 % under its value, and the meter
_APART: Final = {Standing.IN: Verdict.GOOD, Standing.OUT: Verdict.WATCH, Standing.CLOSE: Verdict.UNSURE}


@dataclass(frozen=True)
class _Reading:
    """What was measured beside what was computed; `look` says where to look when the two are apart."""

    name: str
    computed: pint.Quantity
    read: pint.Quantity
    verdict: Verdict
    look: str = ""

    @property
    def row(self) -> Row:
        apart = 100 * (nominal(self.read, "V") / nominal(self.computed, "V") - 1)
        cells = (self.name, show(self.computed, 4), show(self.read, 4), f"{apart:+.1f} %".replace("-", "−"))
        return Row(cells, self.verdict)


def _compute(filled: Filled) -> Answer:
    supply = _supply(filled)
    high = 1 + nominal(filled["high"]) / 100
    found = engine.solve(supply)
    limits = list(engine.checks(supply, found, high))
    bleeds = engine.bleed_times(supply, filled["safe"])
    measured = _measured(filled, found)
    said = _said(found, limits, measured)
    tables = [_nodes(found), _standing(supply.rectifier, limits), _bleeding(bleeds, filled["safe"])]
    if measured:
        rows = tuple(each.row for each in measured)
        tables.insert(1, Table("Measured", ("Where", "Computed", "Measured", "Apart"), rows))
    lines = _lines(supply, found, high)
    changed = None
    if other := _otherwise(supply, filled):
        changed, words = engine.solve(other), dict(_WHAT_IF)[filled["what"]].lower()
        said += f" With {words} the reservoir would stand at {show(changed.nodes[0].dc)}"
        said += f", and have {show(changed.nodes[0].ripple)} of ripple."
        tables.insert(0, _beside(supply, found, other, changed, words, high))
        lines += _newly_failing(limits, engine.checks(other, changed, high))
    return Answer(
        said=said,
        verdict=_worst(limits, measured),
        lines=tuple(lines),
        tables=tuple(tables),
        charts=(_ripple_chart(found, changed), _current_chart(found, changed)),
        cautions=_cautions(bleeds, filled["safe"]),
        notes=_notes(supply),
    )


def _worst(limits: list[Check], measured: list[_Reading]) -> Verdict:
    verdicts = [*map(_verdict, limits), *(each.verdict for each in measured)]
    order = (Verdict.BAD, Verdict.WATCH, Verdict.UNSURE, Verdict.GOOD)
    return next((verdict for verdict in order if verdict in verdicts), Verdict.PLAIN)


def _supply(filled: Filled) -> Supply:
    resistance = filled["resistance"]
    if filled["primary"] is not None:
        if filled["primary_volts"] is None:
            raise BoxError("primary_volts", "Write the mains volts that the primary is for, like 120.")
        resistance = engine.plate_supply_resistance(
            resistance, filled["primary"], filled["volts"], filled["primary_volts"]
        )
    frequency = units.Quantity(float(filled["frequency"]), "Hz")
    sections = tuple(
        Section(
            resistance=row["series"],
            inductance=row["henries"] if row["kind"] == "choke" else None,
            capacitor=Capacitor(row["capacitor"], row["esr"], rating=row["rating"]),
            loads=_loads(row),
        )
        for row in filled["section"]
    )
    return Supply(
        winding=Winding(filled["volts"], resistance, frequency),
        topology=_CIRCUITS[filled["circuit"]],
        rectifier=_rectifier(filled),
        reservoir=Capacitor(filled["capacitor"], filled["esr"], rating=filled["rating"]),
        loads=_loads(filled),
        sections=sections,
    )


def _rectifier(filled: Filled) -> Silicon | Rectifier:
    if filled["rectifier"] != _SILICON:
        return find_rectifier(filled["rectifier"])
    usual = Silicon()
    return Silicon(
        reverse_volts=filled["reverse"] or usual.reverse_volts,
        mean_current=filled["mean"] or usual.mean_current,
        surge_current=filled["surge"] or usual.surge_current,
        source="the diode's rating as it was filled in",
    )


def _loads(said: Mapping[str, Any]) -> tuple[Load, ...]:
    """What hangs at a node, by its boxes."""
    loads: list[Load] = []
    if said["bleeder"] is not None:
        loads.append(Resistor(said["bleeder"]))
    kind = said["load"]
    if kind == "resistor":
        loads.append(Resistor(said["load_ohms"]))
    elif kind == "current":
        loads.append(Current(said["load_current"]))
    elif kind in (Stage.TRIODE, Stage.PENTODE):
        loads.append(Tubes(Stage(kind), said["load_current"], said["load_volts"]))
    return tuple(loads)


def _otherwise(supply: Supply, filled: Filled) -> Supply | None:
    """The supply with what is asked about changed in it; None where nothing is."""
    what = filled["what"]
    if what == _AS_IT_IS:
        return None
    if what in ("high", "low"):
        return supply.at_line(1.05 if what == "high" else 0.95)
    if what == "silicon":
        return dataclasses.replace(supply, rectifier=Silicon())
    if what == "tube":
        return dataclasses.replace(supply, rectifier=find_rectifier(filled["other_tube"]))
    number = filled["which"] - 1
    if number >= len(supply.capacitors):
        raise BoxError("which", f"There are {len(supply.capacitors)} capacitors; 1 is the reservoir.")
    part = supply.capacitors[number]
    if what == "capacitor":
        part = dataclasses.replace(part, capacitance=filled["other_capacitor"])
    elif what == "leaky":
        part = dataclasses.replace(part, leak=filled["leak"])
    else:
        left = nominal(filled["left"]) / 100
        part = dataclasses.replace(part, capacitance=part.capacitance * left, esr=filled["dry_esr"])
    if number == 0:
        return dataclasses.replace(supply, reservoir=part)
    sections = list(supply.sections)
    sections[number - 1] = dataclasses.replace(sections[number - 1], capacitor=part)
    return dataclasses.replace(supply, sections=tuple(sections))


def _inside(words: str) -> str:
    """A heading within a sentence."""
    return words if words[:2].isupper() else f"{words[0].lower()}{words[1:]}"


def _said(found: Steady, limits: list[Check], measured: list[_Reading]) -> str:
    """The answer in sentences, what is wrong first."""
    first, last = found.nodes[0], found.nodes[-1]
    said = []
    if failing := [check for check in limits if not check.holds]:
        out = "; ".join(
            f"{_inside(check.what)} {show(check.found)}, and the limit is {show(check.limit)}"
            for check in failing
        )
        said.append(f"Out of limits: don’t leave it like this. {out[0].upper()}{out[1:]}.")
    if near := [check for check in limits if _is_near(check)]:
        said.append(f"At its limit or close to it: {'; '.join(_inside(check.what) for check in near)}.")
    for each in measured:
        if each.verdict is Verdict.WATCH:
            read, computed = show(each.read, 4), show(each.computed, 4)
            said.append(f"{each.name}: {read} measured, {computed} expected. Look for {each.look}.")
    said.append(
        f"The reservoir stands at {show(first.dc)} with {show(first.ripple)} of ripple, peak to peak."
    )
    if last is not first:
        said.append(f"The last node has {show(last.dc)}, with {show(last.ripple)}.")
    return " ".join(said)


def _lines(supply: Supply, found: Steady, high: float) -> list[Line]:
    rest = supply.no_load_volts * high
    nodes = [
        Line(
            f"{node_name(number)}, DC",
            show(node.dc, 4),
            said=f"ripple {show(node.ripple)} peak to peak, {show(node.ripple_rms)} rms",
        )
        for number, node in enumerate(found.nodes)
    ]
    return [
        *nodes,
        Line(
            "With nothing drawn",
            show(rest),
            said="every node, on the highest mains: tubes pulled or still cold",
        ),
        Line("Taken from the rectifier", show(found.nodes[0].series_current), said="DC"),
        Line("Peak in a diode or plate", show(found.diode_peak), said=f"{show(found.diode_rms)} rms"),
        Line("Winding", show(found.winding_rms), said="rms, in each side that carries current"),
        Line(
            "Inrush",
            show(found.inrush),
            said="at worst: at the crest, capacitors empty, cathode hot",
        ),
        Line(
            "Series resistance",
            show(supply.winding.resistance),
            said="of each side, the primary’s share in it",
        ),
    ]


def _nodes(found: Steady) -> Table:
    rows = tuple(
        Row(
            (
                node_name(number),
                show(node.dc, 4),
                show(node.ripple),
                show(node.load_current),
                show(node.series_power),
                show(node.capacitor_current),
            )
        )
        for number, node in enumerate(found.nodes)
    )
    heads = ("Node", "DC", "Ripple, p-p", "Load", "Heat in what leads there", "Ripple current, rms")
    return Table("Nodes", heads, rows)


def _is_near(check: Check) -> bool:
    """Within the limit, but only just."""
    found, limit = nominal(check.found), nominal(check.limit.to(check.found.units))
    return check.holds and (found * _NEAR < limit if check.is_least else found > limit * _NEAR)


def _verdict(check: Check) -> Verdict:
    if not check.holds:
        return Verdict.BAD
    return Verdict.WATCH if _is_near(check) else Verdict.GOOD


def _whose(rectifier: Silicon | Rectifier, check: Check) -> str:
    """Whose limit it is, in a few words; the notes have the tube's whole source."""
    is_tubes = isinstance(rectifier, Rectifier) and check.source == rectifier.source
    return f"the {rectifier.name}’s sheet" if is_tubes else check.source


def _standing(rectifier: Silicon | Rectifier, limits: list[Check]) -> Table:
    rows = tuple(
        Row(
            (
                check.what,
                show(check.found),
                f"{'at least' if check.is_least else 'at most'} {show(check.limit)}",
                _whose(rectifier, check),
            ),
            _verdict(check),
        )
        for check in limits
    )
    return Table("Limits", ("What", "Here", "Limit", "Whose limit"), rows)


def _bleeding(bleeds: tuple[pint.Quantity | None, ...], safe: pint.Quantity) -> Table:
    rows = tuple(
        Row(
            (node_name(number), show(time) if time is not None else "stays charged"),
            Verdict.BAD if time is None else Verdict.PLAIN,
        )
        for number, time in enumerate(bleeds)
    )
    return Table(f"Down to {show(safe)} after switching off, by the resistors alone", ("Node", "Takes"), rows)


def _cautions(bleeds: tuple[pint.Quantity | None, ...], safe: pint.Quantity) -> tuple[Caution, ...]:
    if all(time is not None for time in bleeds):
        return ()
    return (
        Caution(
            "Nothing bleeds these capacitors but the tubes while they are hot: they can stay charged for days.",
            do=f"Discharge each through a resistor and measure: under {show(safe)} before a hand goes in.",
        ),
    )


def _measured(filled: Filled, found: Steady) -> list[_Reading]:
    """What was measured, node by node, and the reservoir's ripple."""
    readings = []
    for number, said in enumerate([filled, *filled["section"]]):
        if (read := said["measured"]) is not None:
            readings.append(_dc_reading(node_name(number), found.nodes[number].dc, read))
    if (read := filled["measured_ripple"]) is not None:
        computed = found.nodes[0].ripple_rms
        standing = stand(read, most=computed * (1 + _RIPPLE_OUT))
        look = "a dried-out capacitor, or too much drawn"
        readings.append(_Reading("Reservoir, ripple", computed, read, _APART[standing], look))
    return readings


def _dc_reading(name: str, computed: pint.Quantity, read: pint.Quantity) -> _Reading:
    verdict = _APART[stand(read, computed * (1 - _OUT), computed * (1 + _OUT))]
    low = nominal(read, "V") < nominal(computed, "V")
    look = "a tired rectifier, a leak, or too much drawn" if low else "too little drawn, or high mains"
    return _Reading(name, computed, read, verdict, look)


def _beside(supply: Supply, now: Steady, other: Supply, then: Steady, words: str, high: float) -> Table:
    """As it is and as it would be, side by side."""
    pairs = [
        (f"{node_name(number)}, {what}", getattr(now.nodes[number], name), getattr(then.nodes[number], name))
        for number in sorted({0, len(now.nodes) - 1})
        for what, name in (("DC", "dc"), ("ripple, p-p", "ripple"))
    ]
    pairs += [
        ("Peak in a diode or plate", now.diode_peak, then.diode_peak),
        ("Winding, rms", now.winding_rms, then.winding_rms),
        ("Inrush", now.inrush, then.inrush),
        ("With nothing drawn, highest mains", supply.no_load_volts * high, other.no_load_volts * high),
    ]
    rows = tuple(Row((what, show(before), show(after))) for what, before, after in pairs)
    return Table(f"What if: {words}", ("", "As it is", "Then"), rows)


def _newly_failing(now: list[Check], then: tuple[Check, ...]) -> list[Line]:
    """What would be out of limits that isn't now."""
    out = {check.what for check in now if not check.holds}
    return [
        Line(f"Then: {check.what}", show(check.found), Verdict.BAD, said=f"the limit is {show(check.limit)}")
        for check in then
        if not check.holds and check.what not in out
    ]


def _curve(name: str, times: tuple[float, ...], wave: tuple[float, ...], about: float, look: str) -> Curve:
    """A wave about a value, in milliseconds; no more points than can be told apart, for it is kept with the job."""
    points = [(round(1000 * t, 4), float(f"{y - about:.5g}")) for t, y in zip(times, wave, strict=True)]
    return Curve(name, tuple(thin_out(points)), look)


def _ripple_chart(found: Steady, changed: Steady | None) -> Chart:
    def curve(name: str, steady: Steady, number: int, look: str) -> Curve:
        waves, dc = steady.waves, nominal(steady.nodes[number].dc, "V")
        return _curve(name, waves.times, waves.volts[number], dc, look)

    curves = [curve("Reservoir", found, 0, "main")]
    words = f"Over one mains period the reservoir swings by {show(found.nodes[0].ripple)}"
    for number, node in enumerate(found.nodes[1:], start=1):
        if number == 1:  # what comes after is too little to be seen beside the reservoir
            curves.append(curve(node_name(1), found, 1, "second"))
        words += f", {node_name(number).lower()} by {show(node.ripple)}"
    if changed:
        curves.append(curve("Reservoir, what if", changed, 0, "dashed"))
    return Chart(
        "Ripple about the DC, before and after a section",
        f"{words}.",
        Axis("Time", "ms", least=0.0, most=_period(found)),
        Axis("Volts about the DC", "V"),
        tuple(curves),
    )


def _current_chart(found: Steady, changed: Steady | None) -> Chart:
    def curve(name: str, steady: Steady, look: str) -> Curve:
        milliamperes = tuple(1000 * amperes for amperes in steady.waves.current)
        return _curve(name, steady.waves.times, milliamperes, 0.0, look)

    curves = [curve("Rectifier", found, "main")]
    if changed:
        curves.append(curve("Rectifier, what if", changed, "dashed"))
    return Chart(
        "Current through the rectifier",
        f"It flows in short pulses of {show(found.diode_peak)} at most.",
        Axis("Time", "ms", least=0.0, most=_period(found)),
        Axis("Current", "mA", least=0.0),
        tuple(curves),
    )


def _period(found: Steady) -> float:
    """What the picture shows, in milliseconds."""
    return 1000 * found.waves.times[-1]


def _notes(supply: Supply) -> tuple[str, ...]:
    notes = [
        "The wave itself is computed, in the steady state: the network exactly, the rectifier by its law. "
        "DC is the mean over a mains period, ripple is peak to peak over the same period.",
    ]
    if isinstance(supply.rectifier, Silicon):
        notes.append("Silicon follows the exponential law, about 0.75 V in use.")
    else:
        notes.append(
            "The tube follows I = K·V^1.5 by its sheet’s drop, for a new tube; a tired one drops more. "
            f"Its limits: {supply.rectifier.source}. Hold the maker’s own sheet against them."
        )
    notes.append(
        "A triode stage draws by V^1.5, a pentode stage hardly more on more volts. Falling after switching off starts "
        "at the no-load volts, and the tubes are taken to draw nothing."
    )
    return tuple(notes)


def _load_boxes() -> tuple[Box, ...]:
    """What hangs at a node."""
    return (
        Box(
            "load",
            "What draws from here",
            Kind.CHOICE,
            initial="none",
            choices=(
                ("none", "Nothing"),
                ("resistor", "A resistor"),
                ("current", "The same current at any volts"),
                (Stage.TRIODE.value, "A triode stage"),
                (Stage.PENTODE.value, "A pentode stage"),
            ),
        ),
        Box("load_ohms", "Load", unit="ohm", bare="kΩ", least=0.1, most=1e9, only=("load", ("resistor",))),
        Box(
            "load_current",
            "It draws",
            unit="A",
            bare="mA",
            above_zero=True,
            most=10,
            only=("load", ("current", "triode", "pentode")),
        ),
        Box("load_volts", "at", unit="V", least=1, most=5000, only=("load", ("triode", "pentode"))),
        Box("bleeder", "Bleeder", unit="ohm", bare="kΩ", needed=False, least=10, most=1e9),
    )


def _capacitor_boxes(name: str) -> tuple[Box, ...]:
    return (
        Box(
            "capacitor",
            name,
            unit="F",
            bare="µF",
            least=1e-8,
            most=0.5,
            rated="rating",
            help="With its volts behind it, if you like: 22u/450V.",
        ),
        Box("rating", "Rated for", unit="V", needed=False, least=1, most=5000),
        Box(
            "esr",
            "Its series resistance",
            unit="ohm",
            needed=False,
            least=0,
            most=1e5,
            help="Leave it empty for a sound one.",
        ),
    )


def _measured_box(points: str) -> Box:
    return Box(
        "measured",
        "Measured here, if you have",
        unit="V",
        needed=False,
        least=0,
        most=5000,
        measured=True,
        points=points,
    )


_WHAT_IF: Final = (
    (_AS_IT_IS, "Nothing changes"),
    ("capacitor", "Another capacitor"),
    ("silicon", "Silicon in place of the rectifier"),
    ("tube", "A tube in place of the rectifier"),
    ("high", "Mains 5 % up"),
    ("low", "Mains 5 % down"),
    ("leaky", "A leaky capacitor"),
    ("dried", "A dried-out capacitor"),
)

SHEET = Worksheet(
    slug="supply",
    title="Supply",
    said="What a high-voltage supply gives, its ripple and currents, and what its parts must stand.",
    icon="reading",
    order=30,
    powered=("measured", "measured_ripple"),
    groups=(
        Group(
            "Winding",
            (
                Box(
                    "volts",
                    "No-load volts, one side",
                    unit="V",
                    least=1,
                    most=5000,
                    help="rms, from the centre tap to one end; without a centre tap, the whole winding.",
                ),
                Box("resistance", "Resistance of that side", unit="ohm", least=0.01, most=50_000),
                Box(
                    "primary",
                    "Resistance of the primary",
                    unit="ohm",
                    needed=False,
                    least=0,
                    most=10_000,
                    help="Its share is added. Leave it empty where the resistance has it already.",
                ),
                Box(
                    "primary_volts", "Primary for", unit="V", needed=False, initial="120", least=10, most=1000
                ),
                Box(
                    "frequency",
                    "Mains",
                    Kind.CHOICE,
                    initial="60",
                    choices=(("60", "60 Hz"), ("50", "50 Hz")),
                ),
                Box(
                    "high",
                    "Highest mains, above nominal",
                    unit="%",
                    initial="5",
                    least=0,
                    most=25,
                    help="ANSI C84.1 has 5 %, EN 50160 10 %; both from memory.",
                ),
            ),
        ),
        Group(
            "Rectifier",
            (
                Box(
                    "circuit",
                    "Circuit",
                    Kind.CHOICE,
                    initial="centre-tap",
                    choices=(
                        ("centre-tap", "Full wave, centre tap"),
                        ("bridge", "Bridge"),
                        ("half-wave", "Half wave"),
                        ("doubler", "Doubler"),
                    ),
                ),
                Box(
                    "rectifier",
                    "Rectifier",
                    Kind.CHOICE,
                    initial=_SILICON,
                    choices=((_SILICON, "Silicon diodes"), *_TUBES),
                ),
                Box(
                    "reverse",
                    "Each diode blocks",
                    unit="V",
                    initial="1000",
                    needed=False,
                    least=10,
                    most=20_000,
                    only=("rectifier", (_SILICON,)),
                ),
                Box(
                    "mean",
                    "Each diode’s mean current",
                    unit="A",
                    initial="1",
                    needed=False,
                    above_zero=True,
                    most=1000,
                    only=("rectifier", (_SILICON,)),
                ),
                Box(
                    "surge",
                    "Each diode’s surge current, once",
                    unit="A",
                    initial="30",
                    needed=False,
                    above_zero=True,
                    most=10_000,
                    only=("rectifier", (_SILICON,)),
                ),
            ),
        ),
        Group(
            "Reservoir",
            (
                *_capacitor_boxes("First capacitor"),
                *_load_boxes(),
                _measured_box(r".*(reservoir|first (filter )?capacitor|first filter).*|B\+"),
                Box(
                    "measured_ripple",
                    "Ripple measured here, if you have",
                    unit="V",
                    needed=False,
                    least=0,
                    most=1000,
                    measured=True,
                    points=".*ripple.*",
                    help="On the meter’s AC volts.",
                ),
            ),
            help="In a doubler, each of the two capacitors.",
        ),
        Group(
            "Sections",
            rows=Rows(
                "section",
                "Section",
                (
                    Box(
                        "kind",
                        "Leads there",
                        Kind.CHOICE,
                        initial="resistor",
                        choices=(("resistor", "A resistor"), ("choke", "A choke")),
                    ),
                    Box("henries", "Choke", unit="H", least=1e-4, most=500, only=("kind", ("choke",))),
                    Box(
                        "series",
                        "Resistance",
                        unit="ohm",
                        least=0.01,
                        most=1e7,
                        help="The resistor, or the choke’s own.",
                    ),
                    *_capacitor_boxes("Capacitor"),
                    *_load_boxes(),
                    _measured_box("section|node"),
                ),
                least=0,
                most=MOST_SECTIONS,
                initial=1,
            ),
        ),
        Group(
            "After switching off",
            (
                Box(
                    "safe",
                    "Safe below",
                    unit="V",
                    initial="50",
                    least=5,
                    most=120,
                    help="Your shop’s own limit.",
                ),
            ),
        ),
        Group(
            "What if",
            (
                Box("what", "What if", Kind.CHOICE, initial=_AS_IT_IS, choices=_WHAT_IF),
                Box(
                    "which",
                    "Which capacitor",
                    Kind.WHOLE,
                    initial="1",
                    least=1,
                    most=1 + MOST_SECTIONS,
                    help="1 is the reservoir, 2 is the first section’s.",
                    only=("what", ("capacitor", "leaky", "dried")),
                ),
                Box(
                    "other_capacitor",
                    "It would be",
                    unit="F",
                    bare="µF",
                    least=1e-8,
                    most=0.5,
                    only=("what", ("capacitor",)),
                ),
                Box(
                    "other_tube",
                    "Tube",
                    Kind.CHOICE,
                    initial="5U4GB",
                    choices=_TUBES,
                    only=("what", ("tube",)),
                ),
                Box(
                    "leak",
                    "It leaks through",
                    unit="ohm",
                    bare="kΩ",
                    initial="47k",
                    least=100,
                    most=1e9,
                    only=("what", ("leaky",)),
                ),
                Box(
                    "left",
                    "What is left of it",
                    unit="%",
                    initial="20",
                    least=1,
                    most=100,
                    only=("what", ("dried",)),
                ),
                Box(
                    "dry_esr",
                    "Its series resistance then",
                    unit="ohm",
                    initial="50",
                    least=0,
                    most=1e5,
                    only=("what", ("dried",)),
                ),
            ),
        ),
    ),
    compute=_compute,
    cautions=(
        named("supply-volts"),
        named("silicon-for-a-tube"),
    ),
)
