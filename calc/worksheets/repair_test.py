"""The electrical test after a repair: may it go home?"""

from dataclasses import replace
from typing import Final

from calc.cautions import Caution, named
from calc.engine import repair_test as engine
from calc.engine.quantities import band, nominal, show, units
from calc.engine.repair_test import EN_50678, Judged, Limits, Measured, Outcome, Protection, Result
from calc.worksheets.sheet import (
    Answer,
    Box,
    Filled,
    Group,
    Kind,
    Line,
    Verdict,
    Worksheet,
)

_VERDICTS: Final = {
    Outcome.PASS: Verdict.GOOD,
    Outcome.FAIL: Verdict.BAD,
    Outcome.CLOSE: Verdict.UNSURE,
    Outcome.MISSING: Verdict.UNSURE,
    Outcome.LEFT: Verdict.WATCH,
}
_WORDS: Final = {
    Outcome.PASS: "pass",
    Outcome.FAIL: "FAIL",
    Outcome.CLOSE: "too close to call",
    Outcome.MISSING: "not done yet",
    Outcome.LEFT: "the current decides",
}

# American wire gauges: ASTM B258, rounded.
_AREAS: Final = (
    ("0.5", "0.5 mm²"),
    ("0.75", "0.75 mm²"),
    ("0.82", "18 AWG, 0.82 mm²"),
    ("1", "1 mm²"),
    ("1.31", "16 AWG, 1.31 mm²"),
    ("1.5", "1.5 mm²"),
    ("2.08", "14 AWG, 2.08 mm²"),
    ("2.5", "2.5 mm²"),
    ("3.31", "12 AWG, 3.31 mm²"),
    ("4", "4 mm²"),
)


def _own(name: str, label: str, unit: str, initial: str, bare: str = "") -> Box:
    return Box(f"limit_{name}", label, unit=unit, bare=bare, initial=initial, above_zero=True)


_OURS: Final = (
    Box("limit_edition", "Standard and edition", Kind.WORDS, initial=EN_50678.edition),
    _own("earth", "Protective earth, at most", "ohm", "0.3"),
    _own("earth_cord", "That holds up to a cord of", "m", "5"),
    _own("earth_step", "More for each further step of cord", "ohm", "0.1"),
    _own("earth_step_cord", "Such a step is", "m", "7.5"),
    _own("earth_most", "Protective earth, whatever the cord", "ohm", "1"),
    _own("insulation", "Insulation, class I, at least", "ohm", "1", "MΩ"),
    _own("insulation_class_ii", "Insulation, class II, at least", "ohm", "2", "MΩ"),
    _own("insulation_class_iii", "Insulation, class III, at least", "ohm", "0.25", "MΩ"),
    _own("protective_current", "Current in the protective conductor, at most", "A", "3.5", "mA"),
    _own("touch_current", "Touch current, at most", "A", "0.5", "mA"),
)
_EARTHED: Final = ("protection", (Protection.CLASS_I,))
_CURRENTS: Final = ("protection", (Protection.CLASS_I, Protection.CLASS_II, Protection.TWO_WIRE))
_INSULATED: Final = ("protection", (Protection.CLASS_I, Protection.CLASS_II, Protection.CLASS_III))


def _compute(filled: Filled) -> Answer:
    area = filled["area"]
    found = Measured(
        protection=Protection(filled["protection"]),
        looked=_seen(filled["looked"]),
        earth=filled["earth"],
        cord=filled["cord"],
        cord_area=units.Quantity(float(area), "mm**2") if area else None,
        insulation=filled["insulation"],
        insulation_left_out=filled["insulation_by"] == "left-out",
        protective_current=filled["protective_current"],
        touch_current=filled["touch_current"],
        has_unearthed_metal=bool(filled["unearthed"]),
        heating=filled["heating"],
        works=_seen(filled["works"]),
    )
    result = engine.verdict(found, _limits(filled))
    return Answer(
        said=_said(result),
        verdict=_VERDICTS[result.outcome],
        lines=tuple(_line(each) for each in result.judged),
        cautions=_cautions(result),
        notes=_notes(result),
    )


def _limits(filled: Filled) -> Limits:
    """The shop's own limits; what it left as it was keeps the standard's source."""
    ours = {box.name.removeprefix("limit_"): filled[box.name] for box in _OURS}
    own = replace(EN_50678, **ours)
    if all(_same(getattr(own, name), getattr(EN_50678, name)) for name in ours):
        return EN_50678
    clauses = EN_50678.clauses if own.edition == EN_50678.edition else ()
    return replace(own, source="the shop’s own, as its owner wrote them down.", clauses=clauses)


def _same(one: object, other: object) -> bool:
    if isinstance(one, str):
        return one == other
    return abs(nominal(one, str(other.units)) - nominal(other)) <= 1e-9 * nominal(other)


def _line(judged: Judged) -> Line:
    if judged.reading is None or judged.limit is None:
        value, said = _WORDS[judged.outcome], judged.said
    else:
        value = show(judged.reading)
        said = f"allowed {'at least' if judged.at_least else 'at most'} {show(judged.limit)}."
        if judged.outcome is not Outcome.PASS:
            said = f"{_WORDS[judged.outcome]}: {said}"
    return Line(judged.test, value, _VERDICTS[judged.outcome], f"{said} {judged.clause}.")


def _seen(word: str | None) -> bool | None:
    return None if not word else word == "fine"


def _said(result: Result) -> str:
    edition = result.limits.edition
    if failed := result.of(Outcome.FAIL):
        what = " ".join(f"{each.test}: {each.said}" for each in failed)
        return f"FAIL. Don’t hand it over, and don’t use it. {what}"
    if close := result.of(Outcome.CLOSE):
        what = ", ".join(each.test.lower() for each in close)
        return f"Too close to call: {what}. The meter’s ± reaches over the limit, so this is no pass."
    if missing := result.of(Outcome.MISSING):
        return f"No pass yet. Still to do: {', '.join(each.test.lower() for each in missing)}."
    return f"Pass. Everything that was measured is within the limits of {edition}."


def _cautions(result: Result) -> tuple[Caution, ...]:
    worst = [*result.of(Outcome.FAIL), *result.of(Outcome.CLOSE)]
    return tuple(
        Caution(
            f"{each.test}: {'it failed' if each.outcome is Outcome.FAIL else 'too close to call'}.",
            do=each.do,
            dont="Don’t hand it over before all of it was tested again and passed.",
        )
        for each in worst
    )


def _notes(result: Result) -> tuple[str, ...]:
    exact = [
        each.test.lower() for each in result.judged if each.reading is not None and not band(each.reading)
    ]
    notes = [
        f"Limits: {result.limits.source}",
        "A reading passes where all of its ± is within the limit. Right on the limit it passes only without any ±.",
        "Which standard holds differs by place, and so do its limits: check local law and local codes.",
    ]
    if exact:
        notes.insert(
            0, f"Taken as exact, because no ± was given: {', '.join(exact)}. Pick the meter to have its ±."
        )
    return tuple(notes)


SHEET = Worksheet(
    slug="after-repair-test",
    title="After-repair electrical test",
    said="Earth, insulation and leakage against EN 50678: may it go home?",
    order=140,
    icon="ok",
    cautions=(named("safety-test"),),
    powered=("protective_current", "touch_current"),
    groups=(
        Group(
            "The gear",
            (
                Box(
                    "protection",
                    "How it is built",
                    kind=Kind.CHOICE,
                    choices=(
                        (Protection.CLASS_I, "Class I: earthed by a third wire"),
                        (Protection.CLASS_II, "Class II: marked with a square in a square"),
                        (Protection.CLASS_III, "Class III, or a part with safe extra-low voltage"),
                        (Protection.TWO_WIRE, "Two wires and no mark: old gear"),
                    ),
                    help="An old two-wire set without the mark is not class II.",
                ),
                Box(
                    "looked",
                    "Looked over first",
                    kind=Kind.CHOICE,
                    needed=False,
                    choices=(("fine", "Nothing found"), ("found", "Something is wrong")),
                    help="Cord, plug, strain relief, fuse as marked, case, mains switch.",
                ),
            ),
        ),
        Group(
            "Protective earth",
            (
                Box(
                    "earth",
                    "Protective earth",
                    unit="ohm",
                    measured=True,
                    needed=False,
                    least=0,
                    points=r"protective[ -]earth.*",
                    help="From the plug’s earth pin to the chassis; the cord is moved meanwhile.",
                ),
                Box("cord", "Length of the cord", unit="m", above_zero=True, most=200),
                Box("area", "Its wires", kind=Kind.CHOICE, choices=_AREAS, help="Read it off the jacket."),
            ),
            only=_EARTHED,
        ),
        Group(
            "Insulation",
            (
                Box(
                    "insulation_by",
                    "How it was tested",
                    kind=Kind.CHOICE,
                    initial="500",
                    choices=(
                        ("500", "With 500 V DC"),
                        ("250", "With 250 V DC, because of surge arresters"),
                        ("left-out", "Left out: it would harm the electronics"),
                    ),
                ),
                Box(
                    "insulation",
                    "Insulation",
                    unit="ohm",
                    bare="MΩ",
                    measured=True,
                    needed=False,
                    least=0,
                    points=r"insulation.*",
                    help="Line and neutral together against touchable metal, mains switch on, unplugged."
                    " Where the meter shows “over”, write the highest that it can show.",
                    only=("insulation_by", ("500", "250")),
                ),
            ),
            only=_INSULATED,
        ),
        Group(
            "Leakage",
            (
                Box(
                    "protective_current",
                    "Current in the protective conductor",
                    unit="A",
                    bare="mA",
                    measured=True,
                    needed=False,
                    least=0,
                    points=r"protective[ -]conductor current.*",
                    help="While it is on; both ways round where the plug can be turned.",
                    only=_EARTHED,
                ),
                Box(
                    "unearthed",
                    "It has metal that can be touched and isn’t earthed",
                    kind=Kind.TICK,
                    needed=False,
                    only=_EARTHED,
                ),
                Box(
                    "touch_current",
                    "Touch current",
                    unit="A",
                    bare="mA",
                    measured=True,
                    needed=False,
                    least=0,
                    points=r"touch current.*",
                    help="At touchable metal that isn’t earthed; the highest one.",
                ),
                Box(
                    "heating",
                    "Heating elements",
                    unit="W",
                    needed=False,
                    above_zero=True,
                    most=50_000,
                    help="Only where it heats with more than 3.5 kW. Tube heaters are none: leave it empty.",
                    only=_EARTHED,
                ),
            ),
            only=_CURRENTS,
        ),
        Group(
            "Tried out last",
            (
                Box(
                    "works",
                    "Does it work?",
                    kind=Kind.CHOICE,
                    needed=False,
                    choices=(("fine", "Works as it should"), ("found", "Something is wrong")),
                ),
            ),
        ),
    ),
    compute=_compute,
    ours=_OURS,
)
