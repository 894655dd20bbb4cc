"""Markings: what is printed on a part, and what would be; the nearest value that is sold; date codes."""

from typing import Final

import pint

from calc.cautions import named
from calc.engine.eseries import SERIES, USUAL_TOLERANCE, Nearest, figures_of, nearest
from calc.engine.limits import Standing
from calc.engine.markings import (
    BAND_TEMPCOS,
    BAND_TOLERANCES,
    COLOURS,
    DIGITS,
    EARLIEST_YEAR,
    LATEST_YEAR,
    LETTER_TOLERANCES,
    POWERS,
    MadeIn,
    Marking,
    Tolerance,
    deviation,
    fits,
    from_the_other_end,
    read_bands,
    read_code,
    read_date,
    write,
)
from calc.engine.quantities import nominal, show
from calc.worksheets.sheet import (
    Answer,
    Box,
    BoxError,
    Filled,
    Group,
    Kind,
    Line,
    QuantityError,
    Row,
    Table,
    Verdict,
    Worksheet,
)

_CODE: Final = "IEC 60062:2016 with its amendment of 2019; but for the common cells from memory"
_SERIES: Final = "IEC 60063:2015. Nearest is by ratio; the list governs where it differs from the formula."
_MOST_OHMS: Final = 100e6  # what a part that is read backwards may be: common practice, no source
_WITH_FIGURES: Final = ("3", "4", "5", "6")
_BANDS: Final = ("figure_1", "figure_2", "figure_3", "multiplier", "band_tolerance", "band_tempco")
_TIMES: Final = {-3: "0.001", -2: "0.01", -1: "0.1", 0: "1", 1: "10", 2: "100", 3: "1 k", 4: "10 k", 5: "100 k",
                 6: "1 M", 7: "10 M", 8: "100 M", 9: "1 G"}  # fmt: skip
_STANDS: Final = {
    Standing.IN: (Verdict.GOOD, "within its tolerance"),
    Standing.OUT: (Verdict.BAD, "outside its tolerance"),
    Standing.CLOSE: (Verdict.UNSURE, "the meter’s ± reaches over the limit: too close to call"),
}


def _compute(filled: Filled) -> Answer:
    return {"bands": _bands, "print": _print, "mark": _mark, "nearest": _nearest, "date": _date}[
        filled["task"]
    ](filled)


def _bands(filled: Filled) -> Answer:
    count = filled["count"]
    names = {
        "1": (),
        "3": _BANDS[:2] + _BANDS[3:4],
        "4": _BANDS[:2] + _BANDS[3:5],
        "5": _BANDS[:5],
        "6": _BANDS,
    }
    bands = [filled[name] for name in names[count]] or ["black"]
    marking = read_bands(bands)
    lines = list(_lines(marking, filled["measured_band"]))
    other = from_the_other_end(bands) if len(bands) > 3 else None
    if other is not None and not other.doubts and nominal(other.value, "ohm") <= _MOST_OHMS:
        lines.append(Line("Read from the other end", f"{_part(other.value)} {_wide(other)}"))
    notes = [f"Colours: {_CODE}."]
    if len(marking.tolerances) > 1:
        notes.append(
            "The tolerances of orange, yellow and grey changed between editions. Both readings are shown."
        )
    notes.append(
        "Old dipped and dog-bone parts, and colour-marked mica and tantalum capacitors, follow other codes."
    )
    return Answer(
        said=f"{_part(marking.value)} {_wide(marking)}".strip() + f".{_by(marking, filled['measured_band'])}",
        verdict=_worst(lines),
        lines=tuple(lines),
        notes=tuple(notes),
    )


def _print(filled: Filled) -> Answer:
    unit = filled["part"]
    measured = filled["measured_resistance"] if unit == "ohm" else filled["measured_capacitance"]
    try:
        found = read_code(filled["printed"], unit)
    except QuantityError as why:
        raise BoxError("printed", str(why)) from None
    notes = (
        f"Letters and figures: {_CODE}. EIA-96: from memory.",
        "The first letter multiplies, a second is the tolerance: 4K7K is 4.7 kΩ ±10 %.",
        "Below 10 pF the letters B, C, D, F and G are picofarads, not per cent.",
    )
    if len(found) == 1:
        lines = _lines(found[0], measured)
        said = f"{_part(found[0].value)} {_wide(found[0])}".strip()
        said = f"{said}, read as {found[0].code}.{_by(found[0], measured)}"
        return Answer(said, _worst(lines), lines, notes=notes)
    ways = [f"{_part(each.value)} ({each.code})" for each in found]
    rows = tuple(Row((each.code, _part(each.value), *_columns(each))) for each in found)
    meant = _by_the_meter(found, measured)
    said = f"{' or '.join(ways)}. Measure it, or see what the circuit wants."
    if meant is not None:
        said = f"{_part(meant.value)}, read as {meant.code}: the others don’t fit.{_by(meant, measured)}"
    lines = () if meant is None else _lines(meant, measured)
    return Answer(
        said=said,
        verdict=Verdict.UNSURE if meant is None else _worst(lines),
        lines=lines,
        tables=(Table("Ways to read it", ("Read as", "Value", "Tolerance", "At least", "At most"), rows),),
        notes=notes,
    )


def _by_the_meter(found: tuple[Marking, ...], measured: pint.Quantity | None) -> Marking | None:
    """The reading that the meter is near to, where it is near to one and to no other."""
    if measured is None:
        return None
    near = [each for each in found if each.value.magnitude and 0.5 <= nominal(measured / each.value, "") <= 2]
    return near[0] if len(near) == 1 else None


def _mark(filled: Filled) -> Answer:
    unit, value = filled["part"], _value(filled)
    tolerance = None if filled["tolerance"] == "none" else float(filled["tolerance"])
    tempco = None if filled["tempco"] in (None, "none") else float(filled["tempco"])
    written = write(value, unit, tolerance, tempco)
    lines = [Line("Letter code", written.letters)]
    if written.digits:
        lines.append(Line("Figures", written.digits))
    if written.eia96:
        lines.append(Line("EIA-96", written.eia96, said="at ±1 %"))
    if unit == "ohm" and not written.bands:
        lines.append(Line("Colour bands", "none", said="no bands say this value with this tolerance"))
    if tempco is not None and 6 not in written.bands:
        lines.append(
            Line("Six bands", "none", said="they want a tolerance that has a band, and three figures at most")
        )
    rows = tuple(
        Row((f"{count} bands", *(_ordinal(bands, n) for n in range(6))))
        for count, bands in written.bands.items()
    )
    tables = (Table("Colour bands", ("Bands", "1", "2", "3", "4", "5", "6"), rows),) if rows else ()
    bands = next(iter(written.bands.values()), ())
    said = f"{_part(value)} is marked {written.letters}" + (f" or {', '.join(bands)}." if bands else ".")
    return Answer(said=said, lines=tuple(lines), tables=tables, notes=(f"{_CODE}. EIA-96: from memory.",))


def _nearest(filled: Filled) -> Answer:
    value = _value(filled)
    found = {name: nearest(value, name) for name in SERIES if name != "E3"}
    rows = tuple(
        Row(
            (
                name,
                " or ".join(_part(each.value) for each in near.values),
                " or ".join(_error(each.error) for each in near.values),
                f"±{USUAL_TOLERANCE[name]:g} %",
            )
        )
        for name, near in found.items()
    )
    exact = next((name for name, near in found.items() if not nominal(near.first.error)), "")
    if exact:
        said = f"{_part(value)} is in {exact}: it is sold as it is."
    else:
        said = f"Nearest to {_part(value)}: {_said_near(found['E12'])}, or {_said_near(found['E96'])}."
    return Answer(said=said, tables=(Table("What is sold", ("Series", "Nearest", "Off by", "Usually"), rows),),
                  notes=(_SERIES,))  # fmt: skip


def _date(filled: Filled) -> Answer:
    latest = filled["latest"] or LATEST_YEAR
    try:
        found = read_date(filled["date_code"], latest=latest)
    except QuantityError as why:
        raise BoxError("date_code", str(why)) from None
    rows = tuple(
        Row((each.maker or "none", str(each.week), each.month, ", ".join(map(str, each.years))))
        for each in found
    )
    sure = len(found) == 1 and len(found[0].years) == 1
    return Answer(
        said=f"{_said_made(found)}.",
        verdict=Verdict.PLAIN if sure else Verdict.UNSURE,
        tables=(Table("Ways to read it", ("Maker’s code", "Week", "About", "Year"), rows),),
        notes=(
            f"EIA-476, from memory: maker’s number, year, week. Years from {EARLIEST_YEAR} to {latest} are listed.",
            "The date is the part’s. The gear was made later, and parts are replaced.",
        ),
    )


def _lines(marking: Marking, measured: pint.Quantity | None) -> tuple[Line, ...]:
    lines = [Line("Value", _part(marking.value), said="a wire link" if marking.is_link else "")]
    for tolerance in marking.tolerances:
        doubtful = Verdict.UNSURE if len(marking.tolerances) > 1 else Verdict.PLAIN
        by = f", {tolerance.edition}" if tolerance.edition else ""
        lines.append(Line(f"Tolerance{by}", _spread(tolerance), doubtful))
        lines.append(Line(f"Range{by}", " to ".join(_ends(tolerance, marking.value)), doubtful))
    if marking.tempco is not None:
        kelvin = nominal(marking.tempco, "ppm/kelvin")
        lines.append(Line("Temperature coefficient", f"{kelvin:g} ppm/K"))
    if not marking.is_link:
        unit = "ohm" if marking.value.is_compatible_with("ohm") else "F"
        lines.append(Line("In letters", write(marking.value, unit).letters))
    lines += [Line("Look again", each, Verdict.WATCH) for each in marking.doubts]
    if measured is not None:
        lines.append(Line("Measured", *_judged(marking, measured)))
    return tuple(lines)


def _columns(marking: Marking) -> tuple[str, str, str]:
    if not marking.tolerances:
        return "not marked", "", ""
    return _wide(marking), *_ends(marking.tolerances[0], marking.value)


def _judged(marking: Marking, measured: pint.Quantity) -> tuple[str, Verdict, str]:
    """What the meter says, how it is to be taken, and in words."""
    shown = show(measured)
    if marking.is_link:
        return shown, Verdict.PLAIN, "a link is next to nothing, and so are the meter’s leads"
    off = f"{_error(deviation(marking.value, measured))} from the marking"
    stands = {fits(each, marking.value, measured) for each in marking.tolerances}
    if not stands:
        return shown, Verdict.PLAIN, off
    if len(stands) > 1:
        return shown, Verdict.UNSURE, f"{off}; in one reading of the tolerance, not in the other"
    verdict, words = _STANDS[stands.pop()]
    return shown, verdict, f"{off}; {words}"


def _by(marking: Marking, measured: pint.Quantity | None) -> str:
    """What the meter adds to the answer in short."""
    if measured is None:
        return ""
    shown, _, words = _judged(marking, measured)
    return f" The meter says {shown}: {words}."


def _worst(lines: list[Line] | tuple[Line, ...]) -> Verdict:
    order = (Verdict.BAD, Verdict.UNSURE, Verdict.WATCH, Verdict.GOOD)
    return next((each for each in order if any(line.verdict is each for line in lines)), Verdict.PLAIN)


def _value(filled: Filled) -> pint.Quantity:
    return filled["resistance"] if filled["part"] == "ohm" else filled["capacitance"]


def _part(value: pint.Quantity) -> str:
    """A part's value with the figures it has: 4.7 kΩ, not 4.70 kΩ."""
    number = nominal(value)
    if not number:
        return "0 Ω"
    return show(value, max(2, min(4, len(figures_of(number)[0]))))


def _ends(tolerance: Tolerance, value: pint.Quantity) -> tuple[str, str]:
    least, most = tolerance.of(value)
    is_tight = nominal(most - least) < 0.005 * nominal(value)  # then four figures would hide it
    digits = 6 if is_tight else 4
    return show(least, digits), show(most, digits)


def _spread(tolerance: Tolerance) -> str:
    if tolerance.below.is_compatible_with("F"):
        return f"±{show(tolerance.below, 2)}"
    below, above = nominal(tolerance.below, "percent"), nominal(tolerance.above, "percent")
    return f"±{below:g} %" if below == above else f"−{below:g} % to +{above:g} %"


def _wide(marking: Marking) -> str:
    return " or ".join(_spread(each) for each in marking.tolerances)


def _error(error: pint.Quantity) -> str:
    if abs(nominal(error, "percent")) < 0.005:
        return "0 %"
    shown = show(error, 3)
    return shown if shown.startswith("−") else f"+{shown}"


def _said_near(near: Nearest) -> str:
    ways = " or ".join(f"{_part(each.value)}, {_error(each.error)}" for each in near.values)
    return f"{ways} ({near.series})"


def _said_made(found: tuple[MadeIn, ...]) -> str:
    ways = []
    for made in found:
        year = str(made.years[0]) if len(made.years) == 1 else f"a year that ends in {made.years[0] % 10}"
        ways.append(f"week {made.week} of {year}" + (f" by maker’s code {made.maker}" if made.maker else ""))
    said = ", or ".join(ways)
    return said[0].upper() + said[1:]


def _ordinal(bands: tuple[str, ...], number: int) -> str:
    return bands[number] if number < len(bands) else ""


def _tolerance_words(colour: str) -> str:
    return " or ".join(
        f"±{percent:g} %" + (f" ({edition})" if edition else "")
        for percent, edition in BAND_TOLERANCES[colour]
    )


# Words and figures, never a patch of colour: nobody needs to tell red from brown on a screen.
_FIGURE = tuple((colour, f"{colour}, {digit}") for colour, digit in DIGITS.items())
_MULTIPLIER = tuple((c, f"{c}, × {_TIMES[POWERS[c]]}") for c in COLOURS if c in POWERS)
_TOLERANCE = tuple((c, f"{c}, {_tolerance_words(c)}") for c in COLOURS if c in BAND_TOLERANCES)
_TEMPCO = tuple((colour, f"{colour}, {ppm} ppm/K") for colour, ppm in BAND_TEMPCOS.items())
_SYMMETRIC = sorted(
    {below for below, above in LETTER_TOLERANCES.values() if below == above}
    | {of[0][0] for of in BAND_TOLERANCES.values()}
)
_READS_VALUE = ("task", ("mark", "nearest"))


def _band(name: str, label: str, choices: tuple[tuple[str, str], ...], *counts: str) -> Box:
    return Box(name, label, Kind.CHOICE, choices=choices, only=("count", counts))


SHEET = Worksheet(
    slug="markings",
    title="Markings",
    said="What is printed on a part, what its value would look like, the nearest that is sold, and date codes.",
    groups=(
        Group(
            "What is to be read",
            (
                Box(
                    "task",
                    "Read",
                    Kind.CHOICE,
                    initial="bands",
                    choices=(
                        ("bands", "Colour bands"),
                        ("print", "Letters or figures on it"),
                        ("mark", "A value, into its markings"),
                        ("nearest", "A value, to the nearest that is sold"),
                        ("date", "A date code"),
                    ),
                ),
            ),
        ),
        Group(
            "The bands",
            (
                Box(
                    "count",
                    "How many bands",
                    Kind.CHOICE,
                    initial="4",
                    choices=(
                        ("3", "Three"),
                        ("4", "Four"),
                        ("5", "Five"),
                        ("6", "Six"),
                        ("1", "One black band"),
                    ),
                ),
                _band("figure_1", "Band 1", _FIGURE[1:], *_WITH_FIGURES),
                _band("figure_2", "Band 2", _FIGURE, *_WITH_FIGURES),
                _band("figure_3", "Band 3", _FIGURE, "5", "6"),
                _band("multiplier", "Multiplier band", _MULTIPLIER, *_WITH_FIGURES),
                _band("band_tolerance", "Tolerance band", _TOLERANCE, "4", "5", "6"),
                _band("band_tempco", "Last band", _TEMPCO, "6"),
                Box(
                    "measured_band",
                    "What the meter says",
                    unit="ohm",
                    needed=False,
                    least=0,
                    most=1e12,
                    measured=True,
                ),
            ),
            help="Start at the end whose band is nearest to the edge. Gold or silver is never first.",
            only=("task", ("bands",)),
        ),
        Group(
            "The part",
            (
                Box(
                    "part",
                    "Part",
                    Kind.CHOICE,
                    initial="ohm",
                    choices=(("ohm", "Resistor"), ("F", "Capacitor")),
                ),
            ),
            only=("task", ("print", "mark", "nearest")),
        ),
        Group(
            "What is printed on it",
            (
                Box(
                    "printed",
                    "Letters and figures",
                    Kind.WORDS,
                    help="The marking alone, like 4K7K, 473J, 1002 or 01C. Capital and small letters differ.",
                ),
                Box(
                    "measured_resistance",
                    "What the meter says",
                    unit="ohm",
                    needed=False,
                    least=0,
                    most=1e12,
                    measured=True,
                    only=("part", ("ohm",)),
                ),
                Box(
                    "measured_capacitance",
                    "What the meter says",
                    unit="F",
                    needed=False,
                    least=0,
                    most=100,
                    measured=True,
                    only=("part", ("F",)),
                ),
            ),
            only=("task", ("print",)),
        ),
        Group(
            "The value",
            (
                Box("resistance", "Resistance", unit="ohm", above_zero=True, only=("part", ("ohm",))),
                Box("capacitance", "Capacitance", unit="F", above_zero=True, only=("part", ("F",))),
            ),
            only=_READS_VALUE,
        ),
        Group(
            "How it is to be marked",
            (
                Box(
                    "tolerance",
                    "Tolerance",
                    Kind.CHOICE,
                    initial="none",
                    choices=(("none", "not said"), *((f"{each:g}", f"±{each:g} %") for each in _SYMMETRIC)),
                ),
                Box(
                    "tempco",
                    "Temperature coefficient",
                    Kind.CHOICE,
                    initial="none",
                    choices=(
                        ("none", "not said"),
                        *((str(ppm), f"{ppm} ppm/K") for ppm in sorted(BAND_TEMPCOS.values())),
                    ),
                    only=("part", ("ohm",)),
                ),
            ),
            only=("task", ("mark",)),
        ),
        Group(
            "The date code",
            (
                Box(
                    "date_code",
                    "Figures of the code",
                    Kind.WORDS,
                    help="Like 2206543, or 220 6543: maker, year, week. On loudspeakers, pots and transformers.",
                ),
                Box(
                    "latest",
                    "Not later than",
                    Kind.WHOLE,
                    needed=False,
                    least=EARLIEST_YEAR,
                    most=LATEST_YEAR,
                    help="A year, if you know one.",
                ),
            ),
            only=("task", ("date",)),
        ),
    ),
    compute=_compute,
    cautions=(named("old-markings"),),
    order=10,
)
