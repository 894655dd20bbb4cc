"""Voltage chart: what each point should read with this meter on today's mains, and what is out."""

from dataclasses import dataclass
from typing import Final

import pint

from calc.cautions import Caution, named
from calc.engine.limits import Standing
from calc.engine.quantities import nominal, show, units
from calc.engine.voltage_chart import (
    HEATER_TOLERANCE,
    MOST_POINTS,
    ChartMeter,
    Compared,
    Comparison,
    Point,
    Way,
    What,
    compare,
)
from calc.worksheets.chart import Axis, Chart, Curve, Dot, Limit
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

_WHAT: Final = (
    (What.PLATE, "Plate"),
    (What.SCREEN, "Screen"),
    (What.CATHODE, "Cathode"),
    (What.GRID, "Grid"),
    (What.BIAS, "Bias supply"),
    (What.SUPPLY, "B+ node"),
    (What.HEATER, "Heater"),
    (What.OTHER, "Another rail"),
)
_VERDICT: Final = {
    Standing.IN: Verdict.GOOD,
    Standing.OUT: Verdict.BAD,
    Standing.CLOSE: Verdict.UNSURE,
    None: Verdict.PLAIN,
}
_LOOK: Final = {Standing.IN: "good", Standing.OUT: "bad", Standing.CLOSE: "watch"}
_MOST_NAMES: Final = 6  # more of them run into each other in the picture


def _compute(filled: Filled) -> Answer:
    meter = ChartMeter(
        per_volt=filled["chart_per_volt"] / units.Quantity(1.0, "V")
        if filled["chart_meter"] == "per-volt"
        else None,
        resistance=filled["chart_resistance"],
    )
    points = [
        Point(
            where=f"{number}. {row['where']}",
            what=What(row["what"]),
            expected=row["expected"],
            measured=row["measured"],
            source=row["source"],
            range=row["range"],
            follows=row["follows"] == "yes",
        )
        for number, row in enumerate(filled["point"], 1)
    ]
    found = compare(
        points,
        chart_meter=meter,
        hand=filled["hand"],
        chart_mains=filled["chart_mains"],
        mains=filled["mains"],
        tolerance=filled["tolerance"],
    )
    written = [_Written.out(each) for each in found.points]
    return Answer(
        said=_said(found),
        verdict=_overall(found),
        lines=tuple(_line(each) for each in written if each.of.standing is not None),
        tables=(_table(written),),
        charts=_charts(written, nominal(filled["tolerance"], "percent")),
        cautions=_cautions(found),
        notes=_notes(found, meter, filled),
    )


def _overall(found: Comparison) -> Verdict:
    if found.out:
        return Verdict.BAD
    if any(each.standing is Standing.CLOSE for each in found.points):
        return Verdict.UNSURE
    return Verdict.GOOD if found.measured else Verdict.PLAIN


def _said(found: Comparison) -> str:
    count = len(found.measured)
    if not count:
        return "Nothing is measured yet. The table says what each point should read with the meter in hand."
    if found.first is None:
        close = [each for each in found.points if each.standing is Standing.CLOSE]
        if close:
            return f"{_names(close)}: too close to call with this meter. Nothing else is out."
        return f"{'All ' if count > 1 else ''}{count} measured: within the chart’s tolerance."
    said = f"{len(found.out)} of {count} measured {'is' if len(found.out) == 1 else 'are'} out."
    if found.together is not None:
        return (
            f"{said} Nearly everything is off together, by about {_signed(found.together)}: look at the mains, the"
            " primary tap and the supply before any stage."
        )
    first = found.first
    return f"{said} Start with {first.point.where}: {_volts(first.point.measured)}, should be {_volts(first.expected)}."


def _names(points: list[Compared]) -> str:
    return ", ".join(each.point.where for each in points[:4]) + (" and more" if len(points) > 4 else "")


@dataclass(frozen=True)
class _Written:
    """A point's figures as they are read, written once: lines, table and picture all show them."""

    of: Compared
    chart: str
    true: str
    expected: str
    reads: str
    off: str

    @classmethod
    def out(cls, each: Compared) -> "_Written":
        chart = _volts(each.point.expected)
        true = chart if each.loading is None else _volts(each.true)
        return cls(
            of=each,
            chart=chart,
            true=true,
            expected=true if each.expected is each.true else _volts(each.expected),
            reads="" if each.point.measured is None else _volts(each.point.measured),
            off=_signed(each.off if each.percent is None else each.percent),
        )

    @property
    def verdict(self) -> Verdict:
        return _VERDICT[self.of.standing]


def _line(each: _Written) -> Line:
    words = f"{each.off} from {each.expected}"
    if each.of.means:
        words += f". {each.of.means}"
    if each.of.explained is not None:
        words += (
            " The two meters alone would explain it if the point looks back into"
            f" {show(each.of.explained, 2)}: write that resistance down if the circuit has it."
        )
    return Line(each.of.point.where, each.reads, each.verdict, words)


def _table(written: list[_Written]) -> Table:
    rows = tuple(
        Row(
            (
                each.of.point.where,
                each.chart,
                each.true,
                "not allowed for" if each.of.loading is None else _signed(each.of.loading),
                each.expected,
                each.reads or "not measured",
                each.off,
            ),
            each.verdict,
        )
        for each in written
    )
    heads = ("Point", "Chart", "Without a meter", "Loading", "Should read today", "Reads", "Off by")
    return Table("Expected and measured", heads, rows)


def _charts(written: list[_Written], tolerance: float) -> tuple[Chart, ...]:
    offs = [
        (number, nominal(each.of.percent), each)
        for number, each in enumerate(written, 1)
        if each.of.percent is not None
    ]
    if not offs:
        return ()
    most = max(len(written) + 1, 5)
    reach = min(100.0, max(1.5 * tolerance, *(1.1 * abs(off) for _, off, _ in offs)))
    named = [number for number, _, each in offs if each.of.standing is not Standing.IN][:_MOST_NAMES]
    out = [f"{each.of.point.where} {each.off}" for number, _, each in offs if number in named]
    return (
        Chart(
            title="How far each point is from what it should read",
            words="Per cent from what each point should read today. "
            + (f"Not within the tolerance: {', '.join(out)}." if out else "All within the tolerance."),
            x=Axis("Point of the chart", least=0, most=most),
            y=Axis("Off by", "%", least=-reach, most=reach),
            curves=(
                Curve("as on the chart", ((0, 0), (most, 0)), "dashed"),
                *(Curve("", ((number, 0.0), (number, off)), "thin") for number, off, _ in offs),
            ),
            dots=tuple(
                Dot(each.of.point.where if number in named else "", number, off, _LOOK[each.of.standing])
                for number, off, each in offs
                if each.of.standing is not None
            ),
            limits=(Limit(f"+{tolerance:g} %", y=tolerance), Limit(f"−{tolerance:g} %", y=-tolerance)),
        ),
    )


def _cautions(found: Comparison) -> tuple[Caution, ...]:
    said = []
    ways = {(each.point.what, each.way) for each in found.out}
    if ways & {(What.BIAS, Way.NOTHING), (What.BIAS, Way.LOW), (What.BIAS, Way.TURNED)}:
        said.append(named("bias-missing"))
    if (What.PLATE, Way.NOTHING) in ways:
        said.append(named("trapped-charge"))
    return tuple(said)


def _notes(found: Comparison, meter: ChartMeter, filled: Filled) -> tuple[str, ...]:
    notes = [
        "A point of source resistance Rs reads V·Rm/(Rm + Rs) on a meter of resistance Rm (voltage divider).",
        f"Heaters are held to ±{nominal(HEATER_TOLERANCE):g} % where the chart allows more (tube manuals, from"
        " memory); the chart’s ±20 %, what may stand at 0 V (0.5 V) and what a reading usually means are common"
        " practice, no source.",
    ]
    if filled["mains"] is not None and filled["chart_mains"] is not None:
        notes.append(
            f"Points that follow the mains are scaled by {nominal(found.scale):.3f}: exact for heaters, within a per"
            " cent or so for B+ and what hangs on it."
        )
    else:
        notes.append("The chart’s mains and today’s are not both known: nothing is scaled.")
    if meter.per_volt is None and meter.resistance is None:
        notes.append("The chart’s meter isn’t known: no loading is allowed for.")
    assumed = [each for each in found.points if each.range_is_assumed]
    if assumed:
        notes.append(
            "Where no range is written, the smallest usual one that holds the voltage is taken (2.5, 10, 50, 250,"
            " 500, 1000 V; common practice, no source)."
        )
    return tuple(notes)


def _volts(volts: pint.Quantity | None) -> str:
    # a zero with many places says nothing
    return show(volts) if volts is not None and abs(nominal(volts)) >= 1e-4 else "0 V"


def _signed(quantity: pint.Quantity | None) -> str:
    """A difference with its sign, to a tenth: hundredths of a per cent are no meter's."""
    if quantity is None:
        return ""
    shown = show(quantity, 2 if abs(nominal(quantity)) < 10 else 3)
    if abs(nominal(quantity)) < 0.05:
        return "0 %" if quantity.check("") else "0 V"
    return shown if shown.startswith("−") else f"+{shown}"


_FOLLOWS: Final = (("yes", "Follows the mains"), ("no", "Doesn’t: regulated, or a battery"))

SHEET = Worksheet(
    slug="voltage-chart",
    title="Voltage chart",
    said="What each point should read with your meter on today’s mains, what is out, and what that usually means.",
    powered=("measured",),
    groups=(
        Group(
            "The chart’s meter and yours",
            (
                Box(
                    "chart_meter",
                    "The chart was made with",
                    Kind.CHOICE,
                    initial="unknown",
                    choices=(
                        ("per-volt", "A meter of so many ohms per volt"),
                        ("fixed", "A meter of one resistance"),
                        ("unknown", "It doesn’t say"),
                    ),
                    help="The sheet with the chart often says it in a corner.",
                ),
                Box(
                    "chart_per_volt",
                    "Its ohms per volt",
                    unit="ohm",
                    initial="20k",
                    least=50,
                    most=1e6,
                    only=("chart_meter", ("per-volt",)),
                ),
                Box(
                    "chart_resistance",
                    "Its resistance",
                    unit="ohm",
                    initial="11M",
                    least=1e3,
                    most=1e12,
                    only=("chart_meter", ("fixed",)),
                ),
                Box(
                    "hand",
                    "Resistance of the meter in hand",
                    unit="ohm",
                    initial="10M",
                    least=1e3,
                    most=1e12,
                    help="Most digital meters have 10 MΩ. A moving-coil one has its ohms per volt × the range.",
                ),
            ),
        ),
        Group(
            "Mains",
            (
                Box("chart_mains", "The chart’s mains", unit="V", needed=False, least=50, most=500),
                Box(
                    "mains",
                    "Mains today",
                    unit="V",
                    needed=False,
                    least=10,
                    most=500,
                    measured=True,
                    points=r"(mains|line)( voltage| volts)?",
                ),
                Box(
                    "tolerance",
                    "The chart’s tolerance",
                    unit="%",
                    initial="20",
                    least=1,
                    most=90,
                    help="Charts of the time mostly say ±20 %.",
                ),
            ),
        ),
        Group(
            "Points",
            rows=Rows(
                "point",
                "Point",
                (
                    Box("where", "Where", Kind.WORDS, help="Like V1 pin 6."),
                    Box("what", "What it is", Kind.CHOICE, choices=_WHAT),
                    Box("expected", "The chart says", unit="V", least=-5000, most=5000),
                    Box(
                        "measured",
                        "Measured",
                        unit="V",
                        needed=False,
                        least=-10_000,
                        most=10_000,
                        measured=True,
                        points=r"(chart )?point",
                    ),
                    Box(
                        "source",
                        "It looks back into",
                        unit="ohm",
                        needed=False,
                        most=1e9,
                        help="At a plate: the plate resistor and what feeds it, beside the tube. Empty: loading is"
                        " left out.",
                    ),
                    Box(
                        "range",
                        "Range of the chart’s meter",
                        unit="V",
                        needed=False,
                        least=0.01,
                        most=10_000,
                        only=("chart_meter", ("per-volt",)),
                    ),
                    Box("follows", "With the mains", Kind.CHOICE, initial="yes", choices=_FOLLOWS),
                ),
                least=1,
                most=MOST_POINTS,
                initial=3,
            ),
        ),
    ),
    compute=_compute,
    cautions=(named("live-points"),),
    order=50,
)
