"""Speaker loads: what the amplifier sees, what each driver takes, and which test loads will do."""

from typing import Final

import pint

from calc.cautions import Caution, named
from calc.engine.limits import Standing
from calc.engine.loads import (
    HARD_DRIVEN,
    MARGIN,
    MOST_DRIVERS,
    MOST_LOADS,
    Amplifier,
    BenchLoad,
    Coil,
    CoilCheck,
    Driver,
    Fit,
    Match,
    Setup,
    Share,
    Whole,
    Wiring,
    check_coil,
    choose_loads,
    combine,
    match,
)
from calc.engine.quantities import nominal, show
from calc.worksheets.chart import Axis, Chart, Curve, Dot
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

_MOST_SETUPS: Final = 6
_WORST: Final = (Verdict.PLAIN, Verdict.GOOD, Verdict.UNSURE, Verdict.WATCH, Verdict.BAD)
_WIRING: Final = (
    (Wiring.SERIES, "All in series"),
    (Wiring.PARALLEL, "All in parallel"),
    (Wiring.STRINGS, "Strings in parallel: drivers of a branch in series"),
    (Wiring.STAGES, "Groups in series: drivers of a branch in parallel"),
)
_MIXED: Final = (str(Wiring.STRINGS), str(Wiring.STAGES))
_VALVE: Final = {
    Fit.MATCHED: (Verdict.GOOD, "The load suits the tap."),
    Fit.LOW: (
        Verdict.WATCH,
        "The load is lower than the tap: the power tubes carry more current and their plates run hotter.",
    ),
    Fit.HIGH: (
        Verdict.WATCH,
        "The load is higher than the tap: the plates swing further and the screens take more when driven hard.",
    ),
    Fit.TOO_LOW: (
        Verdict.BAD,
        "DON’T PLAY IT: the load is under half the tap. Power tubes and rectifier are overloaded.",
    ),
    Fit.TOO_HIGH: (
        Verdict.BAD,
        "DON’T PLAY IT: the load is over twice the tap. The transformer can arc over when the amplifier is driven.",
    ),
}
_SOLID: Final = {
    Fit.MATCHED: (Verdict.GOOD, "The load is not under the least that the amplifier is rated for."),
    Fit.HIGH: (Verdict.GOOD, "The load is higher than it need be: safe, and less power."),
    Fit.TOO_LOW: (
        Verdict.BAD,
        "DON’T CONNECT IT: the load is under the least that the amplifier is rated for. The output transistors can"
        " fail.",
    ),
}
_COIL: Final = {
    Coil.AS_RATED: (Verdict.GOOD, "as such a driver should"),
    Coil.ODD: (Verdict.WATCH, "unusual for such a driver: check it by another"),
    Coil.ANOTHER: (Verdict.BAD, ""),
    Coil.OPEN: (Verdict.BAD, "OPEN: voice coil, lead or joint"),
    Coil.SHORTED: (Verdict.BAD, "SHORTED: voice coil or wiring"),
    Coil.CLOSE: (Verdict.UNSURE, "too close to call with this meter"),
}


def _compute(filled: Filled) -> Answer:
    amplifier = Amplifier(filled["amplifier"])
    tap = filled["tap"] if amplifier is Amplifier.VALVE else filled["least_load"]
    drivers = [Driver(row["impedance"], row["rating"], row["branch"] or 1) for row in filled["driver"]]
    wiring = Wiring(filled["wiring"])
    matched = match(
        combine(drivers, wiring, filled["power"]).impedance,
        tap,
        amplifier=amplifier,
        power=filled["power"],
        primary=filled["primary"],
    )
    whole = combine(drivers, wiring, matched.power)
    loads = [
        BenchLoad(row["name"] or f"Test load {n}", row["impedance"], row["rating"])
        for n, row in enumerate(filled["load"], 1)
    ]
    setups = choose_loads(loads, tap, filled["power"])
    coils = _coils(filled, whole)
    lines = (
        *_match_lines(whole, matched, amplifier),
        *(_share_line(n, share) for n, share in enumerate(whole.shares, 1)),
        *coils,
        *((_load_line(setups),) if loads else ()),
    )
    return Answer(
        said=_said(whole, matched, amplifier, lines),
        verdict=max((line.verdict for line in lines), key=_WORST.index),
        lines=lines,
        tables=(_drivers(whole), *((_setups(setups),) if setups else ())),
        charts=(_chart(whole),),
        cautions=_cautions(whole, matched, amplifier),
        notes=_notes(amplifier),
    )


def _said(whole: Whole, matched: Match, amplifier: Amplifier, lines: tuple[Line, ...]) -> str:
    said = f"The amplifier sees {show(whole.impedance)}. {_fit(matched, amplifier)[1]}"
    over = [n for n, share in enumerate(whole.shares, 1) if share.standing is Standing.OUT]
    if over:
        names = " and ".join(f"driver {n}" for n in over)
        said += f" TOO MUCH POWER for {names}."
    odd = [line.label for line in lines if line.verdict is Verdict.BAD and line.label.startswith("DC ")]
    if odd:
        said += f" {odd[0]} is wrong: check what is connected before you go by these figures."
    return said


def _fit(matched: Match, amplifier: Amplifier) -> tuple[Verdict, str]:
    return (_VALVE if amplifier is Amplifier.VALVE else _SOLID)[matched.fit]


def _match_lines(whole: Whole, matched: Match, amplifier: Amplifier) -> tuple[Line, ...]:
    ratio = nominal(matched.ratio)
    lines = [
        Line("Load", show(whole.impedance), _fit(matched, amplifier)[0], f"{ratio:.2f} × the tap"),
        Line("Power into it", show(matched.power), said=f"{show(whole.voltage)} rms across it"),
    ]
    if matched.reflected is not None:
        lines.append(Line("The plates see", show(matched.reflected), said="load to tap, times the primary"))
    if whole.without_one is None:
        is_valve = amplifier is Amplifier.VALVE
        lines.append(
            Line(
                "If one driver opens",
                "no load",
                Verdict.WATCH if is_valve else Verdict.PLAIN,
                "the transformer is then without a load: stop at once if it falls silent" if is_valve else "",
            )
        )
    else:
        lines.append(Line("If one driver opens", show(whole.without_one), said="at the most"))
    return tuple(lines)


def _share_line(number: int, share: Share) -> Line:
    label = f"Driver {number} takes"
    if share.standing is None or share.driver.rating is None:
        return Line(label, show(share.power), said="no rating written down")
    rated = f"rated {show(share.driver.rating)}"
    if share.standing is not Standing.IN:
        return Line(label, show(share.power), Verdict.BAD, f"{rated}: TOO MUCH for it")
    if not share.has_room:
        return Line(label, show(share.power), Verdict.WATCH, f"{rated}: no room for an amplifier driven hard")
    return Line(label, show(share.power), Verdict.GOOD, rated)


def _coils(filled: Filled, whole: Whole) -> tuple[Line, ...]:
    lines = []
    for number, row in enumerate(filled["driver"], 1):
        if row["dc"] is not None:
            check = check_coil(row["dc"], row["impedance"])
            lines.append(_coil_line(f"DC of driver {number}", row["dc"], check))
    if filled["jack_dc"] is not None:
        lines.append(
            _coil_line("DC at the jack", filled["jack_dc"], check_coil(filled["jack_dc"], whole.impedance))
        )
    return tuple(lines)


def _coil_line(label: str, dc: pint.Quantity, check: CoilCheck) -> Line:
    verdict, words = _COIL[check.coil]
    if check.coil is Coil.ANOTHER:
        words = f"reads like {show(check.likely, 2)}, NOT WHAT IS WRITTEN DOWN"
    return Line(label, show(dc), verdict, f"{nominal(check.ratio):.2f} × nominal: {words}")


def _load_line(setups: tuple[Setup, ...]) -> Line:
    if not setups:
        return Line(
            "Test load", "none will do", Verdict.WATCH, "none is within 10 % of the tap, alone or together"
        )
    best = setups[0]
    power = f"{_setup_words(best)}: {show(best.impedance)}"
    if best.standing is Standing.IN:
        return Line("Test load", power, Verdict.GOOD, f"up to {show(best.fair)}")
    if best.standing is Standing.CLOSE:
        return Line(
            "Test load",
            power,
            Verdict.WATCH,
            f"short tests only: {show(best.fair)} for long, {show(best.most)} at its rating",
        )
    return Line("Test load", power, Verdict.BAD, f"NOT AT FULL POWER: {show(best.fair)} at the most")


def _setup_words(setup: Setup) -> str:
    names = [load.name for load in setup.loads]
    if len(names) == 1:
        return names[0]
    if setup.wiring is Wiring.STRINGS:
        return f"({names[0]} + {names[1]} in series) beside ({names[2]} + {names[3]} in series)"
    return f"{' + '.join(names)} in {setup.wiring}"


def _drivers(whole: Whole) -> Table:
    return Table(
        "Drivers",
        ("Driver", "Nominal", "Takes", "Of the whole", "Rating", "Volts", "Current"),
        tuple(
            Row(
                (
                    f"{number}",
                    show(share.driver.impedance),
                    show(share.power),
                    f"{100 * nominal(share.part):.1f} %",
                    show(share.driver.rating) if share.driver.rating is not None else "not known",
                    show(share.voltage),
                    show(share.current),
                ),
                _share_line(number, share).verdict,
            )
            for number, share in enumerate(whole.shares, 1)
        ),
    )


def _setups(setups: tuple[Setup, ...]) -> Table:
    verdicts = {
        Standing.IN: Verdict.GOOD,
        Standing.CLOSE: Verdict.WATCH,
        Standing.OUT: Verdict.BAD,
    }
    return Table(
        "Test loads that come near the tap",
        ("Test load", "Makes", "Off the tap", "For long", "At its rating"),
        tuple(
            Row(
                (
                    _setup_words(setup),
                    show(setup.impedance),
                    f"{nominal(setup.off):+.1f} %".replace("-", "−").replace("+0.0", "0"),
                    show(setup.fair),
                    show(setup.most),
                ),
                verdicts[setup.standing],
            )
            for setup in setups[:_MOST_SETUPS]
        ),
    )


def _chart(whole: Whole) -> Chart:
    looks = {Verdict.BAD: "bad", Verdict.WATCH: "watch", Verdict.GOOD: "good"}
    bars, ratings, dots, words = [], [], [], []
    for number, share in enumerate(whole.shares, 1):
        power = nominal(share.power, "W")
        bars.append(Curve("", ((number, 0.0), (number, power)), "thin"))
        dots.append(Dot("", number, power, looks.get(_share_line(number, share).verdict, "plain")))
        words.append(f"driver {number} {show(share.power)}")
        if share.driver.rating is not None:
            rating = nominal(share.driver.rating, "W")
            ratings.append(
                Curve(
                    "" if ratings else "rating",
                    ((number - 0.3, rating), (number + 0.3, rating)),
                    "second",
                )
            )
            words[-1] += f" of {show(share.driver.rating)}"
    return Chart(
        title="Power in each driver",
        words=f"Power in each driver and its rating: {', '.join(words)}.",
        x=Axis("Driver", least=0, most=max(len(whole.shares) + 1, 5)),
        y=Axis("Power", "W", least=0),
        curves=(*bars, *ratings),
        dots=tuple(dots),
    )


def _cautions(whole: Whole, matched: Match, amplifier: Amplifier) -> tuple[Caution, ...]:
    if amplifier is Amplifier.VALVE:
        return (named("no-speaker"),)
    return (named("floating-output"),)


def _notes(amplifier: Amplifier) -> tuple[str, ...]:
    notes = [
        "Nominal impedances are taken as resistances; power is shared as series and parallel resistors do (textbook)."
        " A driver’s real impedance goes with frequency.",
        f"A driver has room where its rating is {HARD_DRIVEN:g} times its sine power: a square wave has twice the"
        " power of the sine that it was clipped from.",
        "DC resistance is usually 0.75 to 0.85 of nominal; 0.68 to 0.95 is let pass (common practice, no source)."
        " A capacitor in a crossover hides what is behind it. Take the leads’ own ohms off.",
        f"A test load’s rating should be {MARGIN:g} times the power in it (common practice, no source).",
    ]
    if amplifier is Amplifier.VALVE:
        notes.append(
            "Drivers are reckoned with the rated power whatever the match. 0.8 to 1.25 of the tap is called matched"
            " (IEC 60268-5 lets a driver fall to 0.8 of its rating; from memory), half to twice is tolerated for a"
            " while (common practice, no source): some amplifiers bear less, and their makers’ word counts."
        )
    else:
        notes.append(
            "A solid-state amplifier is taken as a voltage: its power goes as its rated load to the real one."
        )
    return tuple(notes)


_OHMS: Final = {"unit": "ohm", "least": 0.1, "most": 100_000}

SHEET = Worksheet(
    slug="speaker-loads",
    title="Speaker loads",
    said="What the amplifier sees, what each driver takes, whether it suits the tap, and which test load will do.",
    groups=(
        Group(
            "The amplifier",
            (
                Box(
                    "amplifier",
                    "It is",
                    Kind.CHOICE,
                    initial=str(Amplifier.VALVE),
                    choices=(
                        (Amplifier.VALVE, "Valve, with an output transformer"),
                        (Amplifier.SOLID, "Solid state"),
                    ),
                ),
                Box("power", "Its rated power", unit="W", least=1e-3, most=20_000),
                Box("tap", "The tap in use", only=("amplifier", (str(Amplifier.VALVE),)), **_OHMS),
                Box(
                    "least_load",
                    "The least load it is rated for",
                    help="The power is what it gives into this.",
                    only=("amplifier", (str(Amplifier.SOLID),)),
                    **_OHMS,
                ),
                Box(
                    "primary",
                    "The transformer’s primary",
                    unit="ohm",
                    least=10,
                    most=1e6,
                    needed=False,
                    help="Plate to plate, with the tap matched.",
                    only=("amplifier", (str(Amplifier.VALVE),)),
                ),
            ),
        ),
        Group(
            "Speakers",
            (
                Box(
                    "wiring", "How they are wired", Kind.CHOICE, initial=str(Wiring.PARALLEL), choices=_WIRING
                ),
                Box(
                    "jack_dc",
                    "DC resistance at the jack",
                    unit="ohm",
                    needed=False,
                    most=100e6,
                    measured=True,
                    points=r"(speaker |cabinet )?jack( dc)?( resistance)?",
                ),
            ),
            rows=Rows(
                "driver",
                "Driver",
                (
                    Box("impedance", "Nominal", help="A whole cabinet counts as a driver.", **_OHMS),
                    Box("rating", "Rated power", unit="W", needed=False, least=0.01, most=20_000),
                    Box(
                        "branch", "Branch", Kind.WHOLE, initial="1", least=1, most=16, only=("wiring", _MIXED)
                    ),
                    Box(
                        "dc",
                        "DC resistance",
                        unit="ohm",
                        needed=False,
                        most=100e6,
                        measured=True,
                        points=r"(speaker|driver)( dc)?( resistance)?",
                    ),
                ),
                least=1,
                most=MOST_DRIVERS,
                initial=1,
            ),
        ),
        Group(
            "Test loads on hand",
            help="Leave this out if you connect the speakers themselves.",
            rows=Rows(
                "load",
                "Test load",
                (
                    Box("name", "What it is called", Kind.WORDS, needed=False),
                    Box("impedance", "Resistance", **_OHMS),
                    Box("rating", "Rated power", unit="W", least=0.01, most=20_000),
                ),
                least=0,
                most=MOST_LOADS,
                initial=0,
            ),
        ),
    ),
    compute=_compute,
    cautions=(named("hot-load"),),
    order=70,
)
