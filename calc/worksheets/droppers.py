"""Droppers and regulators: power resistors and zeners for rails from a higher supply."""

from dataclasses import dataclass
from typing import Any, Final

import pint

from calc.cautions import named
from calc.engine.droppers import Dropper, Regulation, Shunt, dropper, in_series, shunt
from calc.engine.errors import CircuitError
from calc.engine.quantities import nominal, show, units
from calc.engine.resistors import (
    KNEE,
    STRESS,
    ZENER_KNEE,
    derated,
    element_limit,
    hot_spot,
    size_to_fit,
    voltage_limit,
    zener_to_fit,
)
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

_NOTHING: Final = units.Quantity(0.0, "A")
_ORDER: Final = (Verdict.BAD, Verdict.UNSURE, Verdict.WATCH, Verdict.GOOD, Verdict.PLAIN)


@dataclass(frozen=True)
class _Part:
    """A resistor or a zener that gets warm: what it bears, and in words which one to fit."""

    verdict: Verdict
    words: str
    fit: str = ""  # the rating to fit, where none is there: "3 W"


@dataclass(frozen=True)
class _Rail:
    """What is to be said of one rail."""

    name: str
    said: str
    lines: tuple[Line, ...]
    cells: tuple[str, ...]

    @property
    def verdict(self) -> Verdict:
        return _worst(line.verdict for line in self.lines)


def _compute(filled: Filled) -> Answer:
    rails = []
    for number, row in enumerate(filled["rail"], 1):
        name = row["name"] or f"Rail {number}"
        try:
            rails.append(_RAILS[row["kind"]](name, row, filled))
        except CircuitError as why:
            raise CircuitError(f"{name}: {why}" if len(filled["rail"]) > 1 else str(why)) from None
    cautions = []
    if any(row["kind"] == "series" for row in filled["rail"]):
        cautions.append(named("lifted-can"))
    heads = ("Rail", "Weakest", "Strongest", "Nothing on it", "Resistor, worst", "Zener, worst")
    return Answer(
        said=" ".join(rail.said for rail in rails),
        verdict=_worst(rail.verdict for rail in rails),
        lines=tuple(line for rail in rails for line in rail.lines),
        tables=(Table("Worst cases", heads, tuple(Row(rail.cells, rail.verdict) for rail in rails)),),
        cautions=tuple(cautions),
        notes=(
            "Ohm’s law and the balance of currents at the rail. Worst cases are looked for among the corners: supply, "
            "resistor and zener at either end of their tolerance, load heaviest, lightest and unplugged.",
            "A part bears its rating up to the knee (resistors 70 °C, zeners 25 °C), from there on less, down to "
            f"nothing at its hottest. {100 * STRESS:g} % of that is the design rule: MIL-STD-975’s kind of derating, "
            "from memory; common practice too.",
            "Volts across a resistor: √(P·R) or the element’s limit, the smaller (makers’ sheets, from memory).",
            "The zener’s slope and drift with heat are left aside. Preferred values: IEC 60063:2015.",
        ),
    )


def _dropper(name: str, row: Filled, filled: Filled) -> _Rail:
    found = dropper(
        row["supply"],
        row["rail"],
        row["load_most"],
        row["load_least"] if row["load_least"] is not None else _NOTHING,
        resistance=row["fitted"],
        supply_tolerance=filled["supply_tolerance"],
        resistor_tolerance=filled["part_tolerance"],
        series=filled["series"],
    )
    part = _resistor(row, filled, found)
    words = f"from {show(found.weakest)} to {show(found.strongest)} with the load on it"
    rail = Line(f"{name}: rail", show(found.rail), Verdict.PLAIN, words)
    if found.collapses:
        rail = Line(
            f"{name}: rail",
            show(found.rail),
            Verdict.BAD,
            "THE RAIL COLLAPSES: with this resistor the load can’t be had at the lowest supply",
        )
    lines = (
        _value(name, row, found.wanted, found),
        rail,
        Line(
            f"{name}: with nothing on it",
            show(found.unloaded),
            said="while tubes are cold, or unplugged: capacitors on this rail must stand it",
        ),
        Line(f"{name}: resistor’s heat", show(found.heat_most), part.verdict, part.words),
        _across(name, row, found, part),
    )
    said = f"{name}: {_fit(found.resistance, part)} leaves {show(found.rail)}{_but(lines)}."
    cells = (
        name,
        show(found.weakest),
        show(found.strongest),
        show(found.unloaded),
        show(found.heat_most),
        "none",
    )
    return _Rail(name, said, lines, cells)


def _shunt(name: str, row: Filled, filled: Filled) -> _Rail:
    rail = row["zener"] if nominal(row["supply"]) >= 0 else -row["zener"]
    found = shunt(
        row["supply"],
        rail,
        row["load_most"],
        row["load_least"] if row["load_least"] is not None else _NOTHING,
        resistance=row["fitted"],
        knee_current=filled["knee"],
        supply_tolerance=filled["supply_tolerance"],
        resistor_tolerance=filled["part_tolerance"],
        zener_tolerance=filled["zener_tolerance"],
        series=filled["series"],
    )
    part, zener = _resistor(row, filled, found), _zener(row, filled, found.zener_heat_most)
    between = f"from {show(found.weakest)} to {show(found.strongest)}"
    verdict, words = {
        Regulation.HOLDS: (Verdict.GOOD, f"holds {between}"),
        Regulation.AT_THE_KNEE: (
            Verdict.WATCH,
            f"AT THE KNEE: at the lowest supply the zener is left {show(found.zener_least)}, less than it needs",
        ),
        Regulation.OUT: (
            Verdict.BAD,
            f"OUT OF REGULATION: at the lowest supply the zener is off, and the rail falls to {show(found.weakest)}",
        ),
    }[found.regulation]
    lines = (
        _value(name, row, found.most, found),
        Line(f"{name}: rail", show(rail), verdict, words),
        Line(f"{name}: resistor’s heat", show(found.resistor_heat_most), part.verdict, part.words),
        _across(name, row, found, part),
        Line(
            f"{name}: zener’s heat, load unplugged", show(found.zener_heat_most), zener.verdict, zener.words
        ),
        Line(
            f"{name}: zener’s heat, lightest load",
            show(found.zener_heat_light),
            said=f"{show(found.zener_heat)} at the usual supply and the heaviest load",
        ),
    )
    fit = f" and a {zener.fit} zener" if zener.fit else ""
    said = f"{name}: {_fit(found.resistance, part)}{fit}: {words}{_but(lines[2:])}."
    cells = (
        name,
        show(found.weakest),
        show(found.strongest),
        show(found.strongest),
        show(found.resistor_heat_most),
        show(found.zener_heat_most),
    )
    return _Rail(name, said, lines, cells)


def _series(name: str, row: Filled, filled: Filled) -> _Rail:
    found = in_series(
        row["supply"],
        row["zener"],
        row["load_most"],
        supply_tolerance=filled["supply_tolerance"],
        zener_tolerance=filled["zener_tolerance"],
    )
    zener = _zener(row, filled, found.heat_most)
    lines = (
        Line(
            f"{name}: rail",
            f"{show(found.weakest)} to {show(found.strongest)}",
            said="with a load on it; with none it may rise to the supply",
        ),
        Line(f"{name}: zener’s heat", show(found.heat_most), zener.verdict, zener.words),
    )
    fit = f"a {zener.fit} zener" if zener.fit else "the zener that is there"
    said = f"{name}: {fit} makes {show(found.heat)} of heat and leaves {show(found.weakest)} at the least{_but(lines)}."
    return _Rail(
        name,
        said,
        lines,
        (name, show(found.weakest), show(found.strongest), "", "none", show(found.heat_most)),
    )


_RAILS: Final = {"dropper": _dropper, "shunt": _shunt, "series": _series}


def _value(name: str, row: Filled, wanted: pint.Quantity | None, found: Dropper | Shunt) -> Line:
    """The line of the resistor's value."""
    label, shown = f"{name}: resistor", show(found.resistance)
    if isinstance(found, Shunt):
        if wanted is None:
            return Line(
                label, shown, Verdict.BAD, "none holds this rail: the supply can fall too near to the zener"
            )
        is_more = nominal(found.resistance, "ohm") > nominal(wanted, "ohm") * (1 + 1e-9)
        verdict = Verdict.WATCH if is_more else Verdict.PLAIN
        return Line(label, shown, verdict, f"at most {show(wanted)} holds the rail in the worst case")
    if row["fitted"] is not None:
        return Line(label, shown, said=f"that is there; {show(found.wanted)} would leave the rail wanted")
    ways = " or ".join(f"{show(each.value)}, {_percent(each.error)}" for each in found.near.values)
    return Line(
        label, shown, said=f"{show(found.wanted)} would be exact; nearest in {found.near.series}: {ways}"
    )


def _resistor(row: Filled, filled: Filled, found: Dropper | Shunt) -> _Part:
    heat = found.heat_most if isinstance(found, Dropper) else found.resistor_heat_most
    heat_shorted = found.heat_shorted if isinstance(found, Dropper) else found.resistor_heat_shorted
    shorted = f"; {show(heat_shorted)} with the rail shorted"
    ambient, hottest = filled["ambient"], filled["hottest"]
    if row["resistor_watts"] is not None:
        verdict, words = _bears("RESISTOR", heat, row["resistor_watts"], ambient, KNEE, hottest)
        return _Part(verdict, words + shorted)
    size = size_to_fit(heat, found.across_most, found.resistance, ambient, hottest=hottest)
    if size is None:
        return _Part(Verdict.BAD, f"NO SINGLE RESISTOR BEARS IT: share it among several in series{shorted}")
    _, words = _bears("RESISTOR", heat, size.power, ambient, KNEE, hottest)
    return _Part(Verdict.GOOD, f"fit {_watts(size.power)} or more: {words}{shorted}", _watts(size.power))


def _zener(row: Filled, filled: Filled, heat: pint.Quantity) -> _Part:
    ambient, hottest = filled["ambient"], filled["zener_hottest"]
    if row["zener_watts"] is not None:
        return _Part(*_bears("ZENER", heat, row["zener_watts"], ambient, ZENER_KNEE, hottest))
    power = zener_to_fit(heat, ambient, hottest=hottest)
    if power is None:
        return _Part(Verdict.BAD, "NO SINGLE ZENER BEARS IT: take a larger resistor, or share the drop")
    sink = ", on a heatsink" if nominal(power, "W") >= 10 else ""
    _, words = _bears("ZENER", heat, power, ambient, ZENER_KNEE, hottest)
    return _Part(Verdict.GOOD, f"fit {_watts(power)} or more{sink}: {words}", _watts(power))


def _bears(
    what: str,
    heat: pint.Quantity,
    power: pint.Quantity,
    ambient: pint.Quantity,
    knee: pint.Quantity,
    hottest: pint.Quantity,
) -> tuple[Verdict, str]:
    """How a part of a rating bears a heat, and in words with what is to spare."""
    bears = derated(power, ambient, knee=knee, hottest=hottest)
    share = nominal(heat, "W") / nominal(bears, "W")
    spot = nominal(hot_spot(heat, power, ambient, knee=knee, hottest=hottest), "degC")
    spare = nominal(hottest, "degC") - spot
    words = f"{100 * share:.0f} % of what {_watts(power)} bears at {nominal(ambient, 'degC'):g} °C"
    if share > 1 + 1e-9:
        return Verdict.BAD, f"THE {what} OVERHEATS: {words}"
    words += f"; about {spot:.0f} °C hot, {spare:.0f} °C to spare"
    return (Verdict.GOOD if share <= STRESS * (1 + 1e-9) else Verdict.WATCH), words


def _across(name: str, row: Filled, found: Dropper | Shunt, part: _Part) -> Line:
    """The line of the volts across the resistor: in use, and with the whole supply across it."""
    label, shown = f"{name}: volts across it", show(found.across_most)
    power = row["resistor_watts"]
    if power is None:
        if not part.fit:
            return Line(label, shown)
        power = units.Quantity(float(part.fit.removesuffix(" W")), "W")
    element = element_limit(power)
    limit = voltage_limit(found.resistance, power, element)
    if nominal(found.across_most, "V") > nominal(limit, "V") * (1 + 1e-9):
        return Line(
            label, shown, Verdict.BAD, f"TOO MANY VOLTS ACROSS THE RESISTOR: it may have {show(limit)}"
        )
    if nominal(found.across_shorted, "V") > nominal(element, "V"):
        words = f"all of {show(found.across_shorted)} at switch-on, and its element may have {show(element)}"
        return Line(label, shown, Verdict.WATCH, words)
    return Line(label, shown, Verdict.GOOD, f"it may have {show(limit)}")


def _fit(resistance: pint.Quantity, part: _Part) -> str:
    return f"{show(resistance)}, {part.fit}," if part.fit else show(resistance)


def _but(lines: tuple[Line, ...]) -> str:
    """What is out of limits, for the answer in short: its capital words."""
    words = [
        line.said.split(":")[0] for line in lines if line.verdict is Verdict.BAD and line.said[:2].isupper()
    ]
    return f". {'. '.join(dict.fromkeys(words))}" if words else ""


def _watts(power: pint.Quantity) -> str:
    return f"{nominal(power, 'W'):g} W"


def _percent(error: pint.Quantity) -> str:
    if abs(nominal(error, "percent")) < 0.005:
        return "exact"
    shown = show(error, 2)
    return shown if shown.startswith("−") else f"+{shown}"


def _worst(verdicts: Any) -> Verdict:
    there = set(verdicts)
    return next(each for each in _ORDER if each in there)


SHEET = Worksheet(
    slug="droppers",
    title="Droppers and regulators",
    said="Which resistor and zener make a rail from a higher supply, how hot they get, and whether the rail holds.",
    groups=(
        Group(
            "Each rail",
            rows=Rows(
                "rail",
                "Rail",
                (
                    Box("name", "Name", Kind.WORDS, needed=False, help="Like bias, or −15 V."),
                    Box(
                        "kind",
                        "Made with",
                        Kind.CHOICE,
                        initial="dropper",
                        choices=(
                            ("dropper", "A resistor alone"),
                            ("shunt", "A resistor and a zener"),
                            ("series", "A zener in series"),
                        ),
                    ),
                    Box(
                        "supply",
                        "Supply",
                        unit="V",
                        least=-5000,
                        most=5000,
                        measured=True,
                        help="With a minus for a negative rail.",
                    ),
                    Box(
                        "rail",
                        "Rail wanted",
                        unit="V",
                        least=-5000,
                        most=5000,
                        only=("kind", ("dropper",)),
                        help="With the supply’s sign.",
                    ),
                    Box(
                        "zener",
                        "Zener",
                        unit="V",
                        above_zero=True,
                        most=1000,
                        only=("kind", ("shunt", "series")),
                        rated="zener_watts",
                        help="Its volts, without a sign.",
                    ),
                    Box("load_most", "Heaviest load", unit="A", bare="mA", least=0, most=20),
                    Box(
                        "load_least",
                        "Lightest load",
                        unit="A",
                        bare="mA",
                        needed=False,
                        least=0,
                        most=20,
                        only=("kind", ("dropper", "shunt")),
                        help="Empty: nothing.",
                    ),
                    Box(
                        "fitted",
                        "Resistor that is there",
                        unit="ohm",
                        needed=False,
                        above_zero=True,
                        most=1e9,
                        only=("kind", ("dropper", "shunt")),
                        rated="resistor_watts",
                        help="Empty: one is picked.",
                    ),
                    Box(
                        "resistor_watts",
                        "Resistor’s rating",
                        unit="W",
                        needed=False,
                        least=0.05,
                        most=1000,
                        only=("kind", ("dropper", "shunt")),
                        help="Empty: one is picked.",
                    ),
                    Box(
                        "zener_watts",
                        "Zener’s rating",
                        unit="W",
                        needed=False,
                        least=0.05,
                        most=500,
                        only=("kind", ("shunt", "series")),
                        help="Empty: one is picked.",
                    ),
                ),
                most=4,
            ),
        ),
        Group(
            "What varies",
            (
                Box(
                    "supply_tolerance",
                    "Supply may be off by",
                    unit="%",
                    initial="10",
                    least=0,
                    most=50,
                    help="The mains ±10 %.",
                ),
                Box("part_tolerance", "Resistors may be off by", unit="%", initial="5", least=0, most=50),
                Box("zener_tolerance", "Zeners may be off by", unit="%", initial="5", least=0, most=50),
                Box(
                    "knee",
                    "A zener needs at least",
                    unit="A",
                    bare="mA",
                    initial="5 mA",
                    least=0,
                    most=1,
                    help="From its data sheet.",
                ),
            ),
        ),
        Group(
            "Where they sit",
            (
                Box(
                    "ambient",
                    "Air around them",
                    unit="degC",
                    initial="60",
                    least=-20,
                    most=150,
                    help="In a closed chassis with tubes 60 °C is usual.",
                ),
                Box(
                    "hottest",
                    "A resistor may get",
                    unit="degC",
                    initial="155",
                    least=80,
                    most=450,
                    help="Film 155 °C, wire-wound 200 °C and more: from its data sheet.",
                ),
                Box(
                    "zener_hottest",
                    "A zener may get",
                    unit="degC",
                    initial="150",
                    least=80,
                    most=250,
                    help="Plastic 150 °C, glass 175 °C: from its data sheet.",
                ),
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
    cautions=(named("hot-resistors"),),
    order=100,
)
