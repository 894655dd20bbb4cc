"""Output transformer: ratios from a small AC voltage, what each tap looks like, whether it is sound, what it suits."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import pint

from calc.cautions import Caution, named
from calc.engine import output_transformer as engine
from calc.engine.errors import CircuitError
from calc.engine.limits import Standing, stand
from calc.engine.output_transformer import Doubt, OpenWinding, ShortedTurns, TypicalLoad
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

_PUSH_PULL, _SINGLE = "push-pull", "single"
_PRIMARY, _SECONDARY = "primary", "secondary"
_WORST: Final = (Verdict.BAD, Verdict.UNSURE, Verdict.WATCH, Verdict.GOOD)
_MOST_STAGES: Final = 5
_DOUBTS: Final = {Doubt.NONE: Verdict.GOOD, Doubt.SOME: Verdict.WATCH, Doubt.MUCH: Verdict.BAD}


@dataclass(frozen=True)
class _Tap:
    number: int
    volts: pint.Quantity
    ratio: pint.Quantity
    marked: pint.Quantity | None
    primary: pint.Quantity | None  # what the marked load looks like
    off: pint.Quantity | None  # of the known good one's ratio

    @property
    def name(self) -> str:
        return f"Tap {self.number}"


def _compute(filled: Filled) -> Answer:
    taps = _taps(filled)
    marked = [tap for tap in taps if tap.primary is not None]
    load = _mean([tap.primary for tap in marked]) if marked else None
    suited = engine.suited(load, is_push_pull=filled["kind"] == _PUSH_PULL) if load is not None else []
    shorted = _shorted(filled, taps, load if load is not None else filled["wanted"])
    lines = [
        *_feed_lines(taps, filled),
        *_load_lines(taps, marked, load, suited, filled),
        *_half_lines(filled),
        *_shorted_lines(shorted),
        *_good_lines(taps),
        *_insulation_lines(filled),
    ]
    verdict = next((each for each in _WORST if any(line.verdict is each for line in lines)), Verdict.PLAIN)
    return Answer(
        said=_said(lines, marked, taps, suited, filled),
        verdict=verdict,
        lines=tuple(lines),
        tables=(_tap_table(taps, filled), *_stage_table(suited)),
        charts=(_chart(taps, suited),),
        cautions=_cautions(lines),
        notes=_notes(filled, shorted, load),
    )


def _taps(filled: Filled) -> list[_Tap]:
    found = []
    for number, row in enumerate(filled["tap"], 1):
        try:
            ratio = engine.turns_ratio(filled["primary"], row["volts"])
            primary = engine.reflected(ratio, row["marked"]) if row["marked"] is not None else None
        except CircuitError as why:
            raise BoxError(f"tap-{number}-volts", str(why)) from None
        off = None
        if row["good"] is not None and filled["good_primary"] is not None:
            try:
                off = engine.apart(ratio, engine.turns_ratio(filled["good_primary"], row["good"]))
            except CircuitError as why:
                raise BoxError(f"tap-{number}-good", str(why)) from None
        found.append(_Tap(number, row["volts"], ratio, row["marked"], primary, off))
    return found


def _mean(quantities: Sequence[pint.Quantity]) -> pint.Quantity:
    return units.Quantity(sum(nominal(each, "ohm") for each in quantities) / len(quantities), "ohm")


def _whole(filled: Filled) -> str:
    return "from plate to plate" if filled["kind"] == _PUSH_PULL else "from plate to B+"


def _feed_lines(taps: list[_Tap], filled: Filled) -> list[Line]:
    volts = filled["primary"]
    highest = max(taps, key=lambda tap: nominal(tap.ratio))
    is_safe = stand(volts, most=engine.TOUCH_LIMIT) is Standing.IN
    verdict, words = Verdict.PLAIN, f"up to {show(engine.TOUCH_LIMIT)} rms may be touched"
    if not is_safe:
        verdict, words = Verdict.WATCH, "it can hurt: don’t touch its ends"
    if filled["fed"] == _SECONDARY and stand(volts, most=engine.DANGER_LIMIT) is not Standing.IN:
        verdict = Verdict.BAD
        words = "LETHAL at its ends while the tap is fed: switch the feed off, and take less than a volt"
    by_mains = " or ".join(
        f"{show(_plain(engine.volts_on_primary(highest.ratio, mains)))} from {show(mains)}"
        for mains in engine.MAINS
    )
    one = engine.volts_on_primary(highest.ratio, units.Quantity(1.0, "V"))
    return [
        Line("On the primary now", show(volts), verdict, words),
        Line(
            "If 1 V is fed to a tap",
            show(_plain(one)),
            said=f"on the primary, from {highest.name.lower()}; mains there would make {by_mains}: it kills",
        ),
    ]


def _load_lines(
    taps: list[_Tap],
    marked: list[_Tap],
    load: pint.Quantity | None,
    suited: list[tuple[TypicalLoad, float]],
    filled: Filled,
) -> list[Line]:
    lines = []
    for tap in marked:
        lines.append(
            Line(
                f"{show(tap.marked)} on {tap.name.lower()}",
                show(tap.primary),
                said=f"{_whole(filled)}; {_ratio_words(tap.ratio)}",
            )
        )
    if len(marked) > 1:
        apart = engine.taps_apart([tap.primary for tap in marked])
        over = stand(apart, most=engine.TAPS_APART) is Standing.OUT
        words = "a wrong mark, or turns shorted or open at one of them" if over else "they agree"
        lines.append(
            Line("Between the taps", show(_plain(apart), 2), Verdict.WATCH if over else Verdict.GOOD, words)
        )
    if wanted := filled["wanted"]:
        lines += _wanted_lines(taps, load, wanted)
    if load is not None:
        stages = " or ".join(each.words for each, _ in suited[:2])
        lines.append(
            Line(
                "It suits",
                stages or "no stage of our table",
                said="by typical loads, from memory of data sheets" if stages else f"at {show(load)}",
            )
        )
    return lines


def _wanted_lines(taps: list[_Tap], load: pint.Quantity | None, wanted: pint.Quantity) -> list[Line]:
    lines = []
    if load is not None:
        times = nominal(load, "ohm") / nominal(wanted, "ohm")
        off = max(times, 1 / times)
        verdict = Verdict.GOOD if off <= engine.SUITS else Verdict.WATCH if off <= 2 else Verdict.BAD
        words = {
            Verdict.GOOD: "near enough",
            Verdict.WATCH: "usable for a while, with less power; up to twice off is tolerated",
            Verdict.BAD: "MORE THAN TWICE OFF: don’t run the tubes on it",
        }[verdict]
        lines.append(
            Line("Against the load that is wanted", f"{times:.3g} times {show(wanted)}", verdict, words)
        )
    lines += [
        Line(
            f"Load for {show(wanted)} on {tap.name.lower()}",
            show(_plain(engine.load_for(tap.ratio, wanted))),
            said=_ratio_words(tap.ratio),
        )
        for tap in taps
    ]
    return lines


def _half_lines(filled: Filled) -> list[Line]:
    lines = []
    one, two = filled["half_one"], filled["half_two"]
    if (one is None) is not (two is None):
        raise BoxError(
            "half_two" if two is None else "half_one", "Write the volts of both halves, or of none."
        )
    if one is not None:
        if engine.halves_agree(one, two, filled["primary"]) is Standing.OUT:
            raise BoxError(
                "half_two",
                "The two halves don’t add up to the whole primary. Read the three again at one feed.",
            )
        found = engine.balance(one, two)
        is_even = stand(found.apart, most=engine.EVEN)
        verdict, words = Verdict.GOOD, "the halves are alike: 1 % or less"
        if is_even is not Standing.IN:
            verdict = Verdict.WATCH
            words = (
                f"half {found.weaker} is the weaker; more than 1 % may be a wrong tap, or shorted turns in it"
            )
            if is_even is Standing.CLOSE:
                words = "about 1 %: too close to call"
        if stand(found.apart, most=engine.UNEVEN) is Standing.OUT:
            verdict, words = Verdict.BAD, f"HALVES UNEVEN: half {found.weaker} has lost turns"
        lines.append(Line("Between the halves, by volts", show(found.apart, 2), verdict, words))
    if filled["ohms_one"] is not None and filled["ohms_two"] is not None:
        found = engine.balance(filled["ohms_one"], filled["ohms_two"])
        over = stand(found.apart, most=engine.COPPER_APART) is Standing.OUT
        lines.append(
            Line(
                "Between the halves, by ohms",
                show(found.apart, 2),
                Verdict.WATCH if over else Verdict.GOOD,
                f"half {found.weaker} is low: more than the outer half’s longer wire explains"
                if over
                else "up to a fifth or so is usual: one half is wound outside the other",
            )
        )
    if filled["screen_tap"] is not None and one is not None:
        share = (filled["screen_tap"] / max(one, two, key=nominal)).to("percent")
        if nominal(share) > 100:
            raise BoxError("screen_tap", "A screen’s tap can’t have more volts than its half.")
        lines.append(Line("Screen’s tap", show(share, 2), said="of its half, by turns"))
    return lines


def _open(filled: Filled, volts: pint.Quantity | None, tap: _Tap | None, current: str) -> OpenWinding | None:
    if filled[current] is None or volts is None:
        return None
    if filled["frequency"] is None:
        raise BoxError("frequency", "Write the frequency that it was fed with, like 1000.")
    try:
        return engine.open_winding(
            volts, filled[current], filled["frequency"], ratio=tap.ratio if tap else None
        )
    except CircuitError as why:
        raise BoxError(current, str(why)) from None


@dataclass(frozen=True)
class _Shorted:
    opened: OpenWinding | None = None
    alone: ShortedTurns | None = None
    against: ShortedTurns | None = None


def _shorted(filled: Filled, taps: list[_Tap], load: pint.Quantity | None) -> _Shorted:
    by_tap = filled["fed"] == _SECONDARY
    tap = taps[0] if by_tap else None
    opened = _open(filled, taps[0].volts if by_tap else filled["primary"], tap, "current")
    if opened is None:
        return _Shorted()
    alone = engine.shorted_by_itself(opened, load) if load is not None else None
    good_volts = filled["tap"][0]["good"] if by_tap else filled["good_primary"]
    good = _open(filled, good_volts, tap, "good_current")
    return _Shorted(opened, alone, engine.shorted_against(opened, good) if good else None)


def _shorted_lines(found: _Shorted) -> list[Line]:
    if found.opened is None:
        return []
    at = show(_plain(found.opened.frequency))
    lines = [
        Line(
            "Without a load, from the primary",
            show(found.opened.impedance),
            said=f"at {at}; as a coil {show(found.opened.inductance)}",
        )
    ]
    if found.against is not None:
        doubt = found.against.doubt
        words = {
            Doubt.NONE: "as the good one: nothing points to shorted turns",
            Doubt.SOME: "more than the good one: shorted turns are possible",
            Doubt.MUCH: "SHORTED TURNS LIKELY",
        }[doubt]
        lines.append(
            Line(
                "Current against the good one", f"{show(found.against.times, 2)} times", _DOUBTS[doubt], words
            )
        )
    elif found.alone is not None:
        doubt = found.alone.doubt
        words = {
            Doubt.NONE: "nothing points to shorted turns; it is no proof",
            Doubt.SOME: "low: shorted turns are possible. Compare it with a good one",
            Doubt.MUCH: "SHORTED TURNS LIKELY",
        }[doubt]
        lines.append(
            Line(
                "Over the load that it is made for",
                f"{show(found.alone.times, 2)} times",
                _DOUBTS[doubt],
                f"{words}; at {at} at least {found.alone.least:.2g} times are usual",
            )
        )
    else:
        lines.append(
            Line(
                "Shorted turns",
                "–",
                Verdict.UNSURE,
                "it takes a marked tap, the load that is wanted, or a good one",
            )
        )
    return lines


def _good_lines(taps: list[_Tap]) -> list[Line]:
    lines = []
    for tap in taps:
        if tap.off is None:
            continue
        standing = stand(tap.off, least=-engine.RATIO_APART, most=engine.RATIO_APART)
        verdict, words = {
            Standing.IN: (Verdict.GOOD, "as the good one"),
            Standing.CLOSE: (Verdict.WATCH, "about 3 % off: too close to call"),
            Standing.OUT: (Verdict.WATCH, "off the good one: another type, or turns shorted or open"),
        }[standing]
        lines.append(
            Line(f"Ratio of {tap.name.lower()} against the good one", show(tap.off, 2), verdict, words)
        )
    return lines


def _insulation_lines(filled: Filled) -> list[Line]:
    if filled["insulation"] is None:
        return []
    standing, words = engine.judge_insulation(filled["insulation"])
    verdict = {Standing.IN: Verdict.GOOD, Standing.OUT: Verdict.BAD, Standing.CLOSE: Verdict.WATCH}[standing]
    if verdict is not Verdict.BAD and filled["insulation_by"] == "meter":
        verdict, words = Verdict.UNSURE, "an ohmmeter’s few volts don’t tell: test it with 500 V DC"
    return [Line("Insulation", show(filled["insulation"]), verdict, words)]


def _said(
    lines: Sequence[Line],
    marked: list[_Tap],
    taps: list[_Tap],
    suited: list[tuple[TypicalLoad, float]],
    filled: Filled,
) -> str:
    bad = [line for line in lines if line.verdict is Verdict.BAD]
    if bad:
        dangers = [line for line in bad if line.label == "On the primary now"]
        rest = [line for line in bad if line not in dangers]
        parts = [f"DANGER: {line.value} on the primary, {line.said}." for line in dangers] + [
            f"{_bad_words(line)}." for line in rest
        ]
        if rest:
            parts.append("Don’t put it under B+.")
        return " ".join(parts)
    if marked:
        first = marked[0]
        said = (
            f"{show(first.marked)} on {first.name.lower()} looks like {show(first.primary)} {_whole(filled)}"
        )
        if suited:
            said += f", which suits {suited[0][0].words} ({show(suited[0][0].load)})"
        said += "."
    else:
        said = f"{taps[0].name}: {_ratio_words(taps[0].ratio)}. Write what the tap is marked, or the load wanted."
        if filled["wanted"]:
            load = show(_plain(engine.load_for(taps[0].ratio, filled["wanted"])))
            said = f"For {show(filled['wanted'])} {_whole(filled)}, {taps[0].name.lower()} wants {load}."
    watch = [line for line in lines if line.verdict in (Verdict.WATCH, Verdict.UNSURE)]
    volts = f" The {watch.pop(0).value} on the primary can hurt." if watch and watch[0] is lines[0] else ""
    if watch:
        what = ", ".join(line.label[0].lower() + line.label[1:] for line in watch)
        return f"{said} Look at: {what}.{volts}"
    sound = any(line.verdict is Verdict.GOOD for line in lines)
    return f"{said}{' Nothing that was measured speaks against it.' if sound else ''}{volts}"


def _bad_words(line: Line) -> str:
    return f"{line.said[0].upper()}{line.said[1:]} ({line.label[0].lower()}{line.label[1:]}: {line.value})"


def _ratio_words(ratio: pint.Quantity) -> str:
    return f"{show(ratio)} turns to one"


def _plain(quantity: pint.Quantity) -> pint.Quantity:
    """What would be, without the ± of how it was found."""
    return units.Quantity(nominal(quantity), quantity.units)


def _tap_table(taps: list[_Tap], filled: Filled) -> Table:
    heads = ["Tap", "Volts", "Ratio", "Marked", f"Looks like, {_whole(filled)}"]
    if filled["wanted"] is not None:
        heads.append(f"Load for {show(filled['wanted'])}")
    rows = []
    for tap in taps:
        cells = [
            tap.name,
            show(tap.volts),
            f"{show(tap.ratio)} : 1",
            show(tap.marked) if tap.marked is not None else "–",
            show(tap.primary) if tap.primary is not None else "–",
        ]
        if filled["wanted"] is not None:
            cells.append(show(_plain(engine.load_for(tap.ratio, filled["wanted"]))))
        rows.append(Row(tuple(cells)))
    return Table("Taps", tuple(heads), tuple(rows))


def _stage_table(suited: list[tuple[TypicalLoad, float]]) -> tuple[Table, ...]:
    if not suited:
        return ()
    rows = tuple(
        Row((each.words, show(each.load), f"{times * 100 - 100:+.0f} %".replace("-", "−"), each.source))
        for each, times in suited[:_MOST_STAGES]
    )
    return (Table("Stages that it suits", ("Stage", "Its load", "This one", "From"), rows),)


def _chart(taps: list[_Tap], suited: list[tuple[TypicalLoad, float]]) -> Chart:
    """Straight lines on two logarithmic axes: what any load on a tap looks like."""
    ends = (1.0, 32.0)
    curves = tuple(
        Curve(
            f"{tap.name}, {_ratio_words(tap.ratio)}",
            tuple((x, nominal(tap.ratio) ** 2 * x) for x in ends),
            ("main", "second", "dashed")[n] if n < 3 else "thin",
        )
        for n, tap in enumerate(taps)
    )
    dots = tuple(
        Dot(show(tap.marked), nominal(tap.marked, "ohm"), nominal(tap.primary, "ohm"), "good")
        for tap in taps
        if tap.primary is not None
    )
    what = "; ".join(
        f"{show(tap.marked)} on {tap.name.lower()} looks like {show(tap.primary)}"
        for tap in taps
        if tap.primary is not None
    )
    limits = tuple(
        Limit(f"{each.count} × {each.tube}", y=nominal(each.load, "ohm")) for each, _ in suited[:1]
    )
    return Chart(
        title="What a load looks like from the primary",
        words=f"{what or 'Each tap’s load, times the square of its ratio'}.",
        x=Axis("Load on the tap", "Ω", is_log=True),
        y=Axis("Seen from the primary", "Ω", is_log=True),
        curves=curves,
        dots=dots,
        limits=limits,
    )


def _cautions(lines: Sequence[Line]) -> tuple[Caution, ...]:
    found = []
    if any(line.label == "On the primary now" and line.verdict is Verdict.BAD for line in lines):
        found.append(named("fed-tap"))
    if any(line.label == "Insulation" and line.verdict is Verdict.BAD for line in lines):
        found.append(named("bad-insulation"))
    return tuple(found)


def _notes(filled: Filled, found: _Shorted, load: pint.Quantity | None) -> tuple[str, ...]:
    notes = [
        "Ratios are by volts without a load: n = Vp/Vs, Zp = n²·Zs. The copper adds a tenth or so to what a tap "
        "looks like under load.",
    ]
    if load is not None:
        notes.append(
            "Typical loads are from memory of data sheets: other volts want other loads. Within 1.25 times counts "
            "as suiting; common practice, no source."
        )
    if found.opened is not None:
        notes.append(
            "A few shorted turns of thin wire can hide at a small voltage. 1.3 and 2 times a good one’s current, and "
            "the multiples of the load, are common practice, no source."
        )
    if found.alone is not None and found.against is None:
        notes.append("A good one of the same type, clipped in and fed alike, tells more than any rule.")
    if filled["insulation"] is not None:
        notes.append("100 MΩ and 10 MΩ at 500 V DC are common practice, no source.")
    notes.append(
        f"{show(engine.TOUCH_LIMIT)} and {show(engine.DANGER_LIMIT)} rms: IEC 62368-1, table 4, from memory. "
        "Local rules decide."
    )
    return tuple(notes)


def _optional(name: str, label: str, unit: str, **more: Any) -> Box:
    return Box(name, label, unit=unit, measured=True, needed=False, **more)


_COMPARED: Final = ("compare", ("yes",))
_PUSH: Final = ("kind", (_PUSH_PULL,))

SHEET = Worksheet(
    slug="output-transformer",
    title="Output transformer",
    said="Ratios from a small AC voltage: what each tap looks like, whether it is sound, which tubes it suits.",
    order=80,
    cautions=(named("steps-up"),),
    groups=(
        Group(
            "The transformer",
            (
                Box(
                    "kind",
                    "Its stage",
                    kind=Kind.CHOICE,
                    initial=_PUSH_PULL,
                    choices=((_PUSH_PULL, "Push-pull"), (_SINGLE, "Single-ended")),
                ),
                Box(
                    "fed",
                    "Fed",
                    kind=Kind.CHOICE,
                    initial=_PRIMARY,
                    choices=((_PRIMARY, "The whole primary"), (_SECONDARY, "Tap 1, with less than a volt")),
                ),
                Box(
                    "primary",
                    "Across the whole primary",
                    unit="V",
                    measured=True,
                    least=0,
                    most=1000,
                    points=r"(whole )?primary( ac)?",
                    help="AC volts, plate to plate; where single-ended, plate to B+. Nothing on the taps.",
                ),
                Box(
                    "wanted",
                    "The load that is wanted",
                    unit="ohm",
                    bare="kΩ",
                    needed=False,
                    least=100,
                    most=200e3,
                    help="Seen from the primary, as the tubes’ sheet says: 6.6. For a transformer without marks.",
                ),
            ),
        ),
        Group(
            "Taps",
            rows=Rows(
                "tap",
                "Tap",
                (
                    Box(
                        "volts",
                        "Volts to common",
                        unit="V",
                        measured=True,
                        least=0,
                        most=500,
                        points=r"tap|speaker tap",
                    ),
                    Box(
                        "marked",
                        "Marked for",
                        unit="ohm",
                        needed=False,
                        least=0.5,
                        most=1000,
                        help="Empty: no mark.",
                    ),
                    _optional("good", "The good one’s volts", "V", least=0, most=500, only=_COMPARED),
                ),
                most=6,
            ),
        ),
        Group(
            "Halves of the primary",
            (
                _optional("half_one", "Middle to one plate, AC", "V", above_zero=True, most=1000),
                _optional("half_two", "Middle to the other plate, AC", "V", above_zero=True, most=1000),
                _optional("screen_tap", "Middle to a screen’s tap, AC", "V", above_zero=True, most=1000),
                _optional("ohms_one", "Middle to one plate, resistance", "ohm", above_zero=True, most=10e3),
                _optional(
                    "ohms_two", "Middle to the other plate, resistance", "ohm", above_zero=True, most=10e3
                ),
            ),
            only=_PUSH,
        ),
        Group(
            "Current without a load",
            (
                _optional(
                    "current", "Into the winding that is fed", "A", bare="mA", above_zero=True, most=10
                ),
                Box(
                    "frequency",
                    "Frequency of the feed",
                    unit="Hz",
                    needed=False,
                    least=10,
                    most=20e3,
                    help="1 kHz tells more than mains frequency.",
                ),
            ),
            help="Shorted turns take current with nothing on the taps.",
        ),
        Group(
            "A good one beside it",
            (
                Box(
                    "compare",
                    "Compare it",
                    kind=Kind.CHOICE,
                    initial="no",
                    choices=(("no", "There is none"), ("yes", "With a good one, clipped in and fed alike")),
                ),
                Box(
                    "good_primary",
                    "Across the good one’s whole primary",
                    unit="V",
                    measured=True,
                    least=0,
                    most=1000,
                    only=_COMPARED,
                ),
                _optional(
                    "good_current",
                    "Its current without a load",
                    "A",
                    bare="mA",
                    above_zero=True,
                    most=10,
                    only=_COMPARED,
                ),
            ),
        ),
        Group(
            "Insulation",
            (
                _optional(
                    "insulation",
                    "Primary to core, and to the secondary",
                    "ohm",
                    bare="MΩ",
                    least=0,
                    most=1e13,
                    points=r"output transformer insulation|ot insulation",
                    help="The lower of the two. All wires off, nothing touched while it is under test.",
                ),
                Box(
                    "insulation_by",
                    "Tested with",
                    kind=Kind.CHOICE,
                    initial="tester",
                    choices=(("tester", "500 V DC"), ("meter", "An ohmmeter only")),
                ),
            ),
        ),
    ),
    compute=_compute,
)
