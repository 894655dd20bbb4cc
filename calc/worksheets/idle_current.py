"""Idle current: what the power tubes draw, how hot that makes them, and where to put the bias."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import pint

from calc.cautions import Caution, named
from calc.engine import idle
from calc.engine.errors import CircuitError
from calc.engine.idle import BiasReading, OperatingClass, TubeCurrent
from calc.engine.limits import Standing, stand
from calc.engine.quantities import nominal, show, units, with_band
from calc.engine.tubes import POWER_TUBES, Limits, PowerTube, System, find_power
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

_FIXED, _CATHODE, _SINGLE = "fixed", "cathode", "single"
# Common practice, no source: the share of its limit that a plate idles at.
_SHARES: Final = {_FIXED: 70.0, _CATHODE: 90.0, _SINGLE: 90.0}
_HOT: Final = 1.06  # of the share aimed at; common practice, no source, as are the next four
_COLD: Final = 0.7
_MATCHED: Final = units.Quantity(5.0, "percent")
_USABLE: Final = units.Quantity(10.0, "percent")
_SIDES: Final = units.Quantity(5.0, "mA")
_KNEE: Final = units.Quantity(50.0, "V")  # below it a plate hardly comes; from memory of pentodes' curves

_WORST: Final = (Verdict.BAD, Verdict.UNSURE, Verdict.WATCH, Verdict.GOOD)
_MOST_NAMES: Final = 2  # dots that lie beside each other can't all be named


@dataclass(frozen=True)
class _Tube:
    """What a row says of a tube, or of each of the `count` tubes that it stands for."""

    name: str
    count: int
    current: TubeCurrent
    volts: pint.Quantity  # plate to cathode
    cathode: pint.Quantity | None  # to chassis
    watts: pint.Quantity
    per_amp: pint.Quantity  # what the meter shows for each ampere of one tube

    @property
    def amps(self) -> float:
        return nominal(self.current.plate, "A")


@dataclass(frozen=True)
class _Sheet:
    """What the data sheet says, or whoever knows the tube."""

    limits: Limits
    absolute: Limits | None
    tube: PowerTube | None

    @property
    def most(self) -> pint.Quantity:
        return self.limits.plate_watts


def _compute(filled: Filled) -> Answer:
    sheet = _sheet_of(filled)
    share = filled["share"] or units.Quantity(_SHARES[filled["stage"]], "percent")
    tubes = _tubes(filled)
    hottest = max(tubes, key=lambda each: nominal(each.watts))
    target = idle.target_current(share, sheet.most, hottest.volts)
    heat = [(each, *_judge(each, sheet, share)) for each in tubes]
    lines = [
        *_heat_lines(hottest, sheet, share),
        *_electrode_lines(tubes, sheet, filled),
        *_target_lines(hottest, target, share, filled),
        *_bias_lines(hottest, target, filled),
        *_match_lines(tubes, filled),
        *_class_lines(tubes, filled),
        *_grid_line(sheet, filled),
    ]
    verdict = _worst([line.verdict for line in lines] + [judged for _, judged, _ in heat])
    return Answer(
        said=_said(hottest, target, sheet, share, lines, heat, filled),
        verdict=verdict,
        lines=tuple(lines),
        tables=(_table(heat, sheet, share, target),),
        charts=(_chart(tubes, hottest, sheet, share),),
        cautions=_cautions(filled, verdict),
        notes=_notes(sheet, filled, tubes),
    )


def _sheet_of(filled: Filled) -> _Sheet:
    if filled["type"] != "other":
        tube = find_power(filled["type"])
        return _Sheet(tube.limits, tube.absolute, tube)
    limits = Limits(
        System(filled["other_system"] or System.UNKNOWN),
        plate_volts=filled["other_volts"] or units.Quantity(idle.MOST_VOLTS, "V"),
        plate_watts=filled["other_watts"],
        screen_volts=filled["other_screen_volts"],
        screen_watts=filled["other_screen_watts"],
    )
    return _Sheet(limits, None, None)


def _tubes(filled: Filled) -> list[_Tube]:
    """Read the rows of the way that was measured in."""
    how = filled["method"]
    rows, one, of = {
        "resistor": ("tube", "sense", _at_resistor),
        "cathode": ("resistor", "cathode", _at_cathode_bias),
        "winding": ("half", "drop", _at_winding),
    }[how]
    found = []
    for number, row in enumerate(filled[rows], 1):
        try:
            found.append(of(number, row, filled))
        except CircuitError as why:
            raise BoxError(f"{rows}-{number}-{one}", str(why)) from None
    if sum(each.count for each in found) > 8:
        raise CircuitError("That makes more than eight tubes. Count again how many share one.")
    return found


def _at_resistor(number: int, row: Filled, filled: Filled) -> _Tube:
    ohms = _resistor(filled["sense_ohms"], filled)
    current = idle.by_cathode_resistor(row["sense"], ohms, screen=_screen(row, filled))
    return _tube(f"Tube {number}", 1, current, filled["plate"], row["sense"], per_amp=ohms)


def _at_cathode_bias(number: int, row: Filled, filled: Filled) -> _Tube:
    ohms, sharing = _resistor(filled["cathode_ohms"], filled), filled["sharing"]
    current = idle.by_cathode_bias(row["cathode"], ohms, sharing=sharing, screen=_screen(row, filled))
    name = f"Tube {number}" if sharing == 1 else f"Each tube at resistor {number}"
    return _tube(name, sharing, current, filled["plate"], row["cathode"], per_amp=ohms * sharing)


def _at_winding(number: int, row: Filled, filled: Filled) -> _Tube:
    tubes = filled["on_half"]
    warmer = filled["warmer"].magnitude if filled["warmer"] is not None else 0.0
    current = idle.by_winding(
        row["drop"], row["ohms"], tubes=tubes, warmer=warmer, carries_screen=filled["on_taps"]
    )
    plate = units.Quantity((filled["centre"] - row["drop"]).to("V").magnitude, "V")
    name = f"Tube on half {number}" if tubes == 1 else f"Each tube on half {number}"
    per_amp = row["ohms"] * (1 + idle.COPPER * warmer) * tubes
    return _tube(name, tubes, current, plate, filled["cathode_up"], per_amp=per_amp)


def _tube(
    name: str,
    count: int,
    current: TubeCurrent,
    plate: pint.Quantity,
    cathode: pint.Quantity | None,
    per_amp: pint.Quantity,
) -> _Tube:
    volts = idle.from_cathode(plate, cathode, what="plate")
    return _Tube(name, count, current, volts, cathode, idle.dissipation(current.plate, volts), per_amp)


def _resistor(ohms: pint.Quantity, filled: Filled) -> pint.Quantity:
    """The resistor with its tolerance; one of its own for each row, so that tolerances don't cancel out."""
    tolerance = filled["tolerance"]
    return ohms if tolerance is None else with_band(ohms, nominal(ohms) * nominal(tolerance) / 100)


def _screen(row: Filled, filled: Filled) -> pint.Quantity | None:
    if filled["screen"] == "typed":
        return filled["screen_typed"]
    if filled["screen"] == "resistor":
        return idle.screen_current(row["screen_drop"], filled["screen_ohms"])
    return None


def _judge(tube: _Tube, sheet: _Sheet, share: pint.Quantity) -> tuple[Verdict, str]:
    """What a tube's heat means, in words that can stand behind its per cent."""
    standing = stand(tube.watts, most=sheet.most)
    current = tube.current
    if tube.amps == 0:
        return Verdict.WATCH, "draws nothing: dead, cut off, or its circuit is open"
    if standing is not Standing.IN and current.is_upper_bound:
        needed = tube.amps - nominal(sheet.most / tube.volts, "A")
        if needed <= idle.MOST_SCREEN_SHARE * tube.amps:
            least = show(units.Quantity(max(needed, 0.0), "A"))
            return (
                Verdict.UNSURE,
                f"within its limit only if the screen takes {least} or more of it: measure it",
            )
    if standing is Standing.OUT:
        return Verdict.BAD, "OVER ITS LIMIT" + (
            ", whatever the screen takes" if current.is_upper_bound else ""
        )
    if standing is Standing.CLOSE:
        return Verdict.UNSURE, "at its limit: too close to call"
    percent, aim = _percent(tube, sheet), nominal(share)
    if percent > aim * _HOT:
        return Verdict.WATCH, f"hotter than the {aim:.3g} % aimed at"
    if percent < aim * _COLD:
        return Verdict.WATCH, f"colder than the {aim:.3g} % aimed at"
    return Verdict.GOOD, "within its limit"


def _percent(tube: _Tube, sheet: _Sheet) -> float:
    return nominal(tube.watts, "W") / nominal(sheet.most, "W") * 100


def _share_of(tube: _Tube, most: pint.Quantity) -> str:
    return show((tube.watts / most).to("percent"))


def _heat_lines(hottest: _Tube, sheet: _Sheet, share: pint.Quantity) -> list[Line]:
    verdict, words = _judge(hottest, sheet, share)
    at_most = "at most, " if hottest.current.is_upper_bound else ""
    share_of = _share_of(hottest, sheet.most)
    lines = [
        Line(
            "Hottest plate",
            show(hottest.watts),
            verdict,
            f"{hottest.name.lower()}; {at_most}{share_of} of {show(sheet.most)}, {sheet.limits.system}; {words}",
        ),
        Line("Its plate current", show(hottest.current.plate), said=at_most.rstrip(", ")),
    ]
    if sheet.absolute is not None:
        over = stand(hottest.watts, most=sheet.absolute.plate_watts) is Standing.OUT
        lines.append(
            Line(
                "Against the absolute maximum",
                _share_of(hottest, sheet.absolute.plate_watts),
                Verdict.BAD if over and verdict is Verdict.BAD else Verdict.PLAIN,
                f"of {show(sheet.absolute.plate_watts)}; no tube may pass it at any moment",
            )
        )
    return lines


def _electrode_lines(tubes: list[_Tube], sheet: _Sheet, filled: Filled) -> list[Line]:
    limits, absolute = sheet.limits, sheet.absolute
    highest = max(tubes, key=lambda each: nominal(each.volts))
    lines = []
    if sheet.tube is None and filled["other_volts"] is None:
        lines.append(
            Line("Plate to cathode", show(highest.volts), said="no limit was typed to hold it against")
        )
    else:
        most = absolute.plate_volts if absolute else None
        lines.append(_volts_line("Plate to cathode", highest.volts, limits.plate_volts, most, limits.system))
    screen_volts = None
    if filled["screen_volts"] is not None:
        screen_volts = idle.from_cathode(filled["screen_volts"], highest.cathode, what="screen")
        if limits.screen_volts is not None:
            most = absolute.screen_volts if absolute else None
            lines.append(
                _volts_line("Screen to cathode", screen_volts, limits.screen_volts, most, limits.system)
            )
    screens = [each.current.screen for each in tubes if each.current.screen is not None]
    if screens and screen_volts is not None and limits.screen_watts is not None:
        worst = max(screens, key=nominal)
        watts = idle.dissipation(worst, screen_volts)
        lines.append(_limit_line("Screen dissipation", watts, limits.screen_watts, limits.system))
    cathodes = [each.current.cathode for each in tubes if each.current.cathode is not None]
    if cathodes and limits.cathode_current is not None:
        most = max(cathodes, key=nominal)
        lines.append(_limit_line("Cathode current", most, limits.cathode_current, limits.system))
    return lines


def _volts_line(
    label: str, volts: pint.Quantity, most: pint.Quantity, absolute: pint.Quantity | None, system: System
) -> Line:
    """Many amps run tubes above the sheet's volts for years: a warning; above an absolute limit it is out."""
    if absolute is not None and stand(volts, most=absolute) is Standing.OUT:
        return Line(label, show(volts), Verdict.BAD, f"ABOVE the absolute maximum of {show(absolute)}")
    if stand(volts, most=most) is Standing.OUT:
        return Line(
            label,
            show(volts),
            Verdict.WATCH,
            f"above the data sheet’s {show(most)}, {system}: not every tube will stand it",
        )
    if stand(volts, most=most) is Standing.CLOSE:
        return Line(label, show(volts), Verdict.UNSURE, f"at its limit of {show(most)}: too close to call")
    return Line(label, show(volts), Verdict.GOOD, f"up to {show(most)}, {system}")


def _limit_line(label: str, value: pint.Quantity, most: pint.Quantity, system: System) -> Line:
    standing = stand(value, most=most)
    verdict, words = {
        Standing.IN: (Verdict.GOOD, f"up to {show(most)}, {system}"),
        Standing.CLOSE: (Verdict.UNSURE, f"at its limit of {show(most)}, {system}: too close to call"),
        Standing.OUT: (Verdict.BAD, f"OVER the {show(most)} that the data sheet allows, {system}"),
    }[standing]
    return Line(label, show(value), verdict, words)


def _wanted_total(hottest: _Tube, target: pint.Quantity) -> pint.Quantity:
    """What the meter's place carries at the target: the cathode has the screen's current as well, where known."""
    screen = hottest.current.screen
    return target if screen is None else target + screen


def _target_lines(hottest: _Tube, target: pint.Quantity, share: pint.Quantity, filled: Filled) -> list[Line]:
    percent = f"{nominal(share):.3g} %"
    total = _wanted_total(hottest, target)
    lines = [Line(f"Plate current for {percent}", show(target), said=f"at {show(hottest.volts)}")]
    reading = show(_plain((total * hottest.per_amp).to("V")))
    if filled["method"] == "resistor":
        lines.append(Line("The meter then shows", reading, said="across the cathode resistor of one tube"))
    elif filled["method"] == "winding":
        lines.append(
            Line("The meter then shows", reading, said="across its half, from the middle to the plate")
        )
    elif hottest.amps > 0:
        ohms = (hottest.cathode / (total * hottest.count)).to("ohm")
        lines.append(
            Line(
                f"Cathode resistor for {percent}",
                show(_plain(ohms)),
                said="a first step: the cathode’s volts move with it, so fit the nearest and read again",
            )
        )
    return lines


def _bias_lines(hottest: _Tube, target: pint.Quantity, filled: Filled) -> list[Line]:
    readings = [filled[name] for name in ("bias_now", "bias_then", "current_then")]
    if all(each is None for each in readings):
        return []
    if any(each is None for each in readings):
        return [Line("Bias to try next", "–", Verdict.UNSURE, "it takes two bias voltages and both currents")]
    current = hottest.current.cathode or hottest.current.plate
    try:
        found = idle.next_bias(
            BiasReading(filled["bias_then"], filled["current_then"]),
            BiasReading(filled["bias_now"], current),
            _wanted_total(hottest, target),
        )
    except CircuitError as why:
        # How hot the tubes are must be said whatever the other reading was.
        return [Line("Bias to try next", "–", Verdict.UNSURE, str(why))]
    words = "then wait, and read every tube again"
    if found.is_held_back:
        words = "a part of the way, for two readings don’t tell farther; then read again"
    slope = show(_plain(found.slope.to("mA/V")))
    return [Line("Bias to try next", show(found.bias), said=words), Line("Slope between the readings", slope)]


def _match_lines(tubes: list[_Tube], filled: Filled) -> list[Line]:
    currents = [each.current.plate for each in tubes]
    if len(tubes) < 2 or not any(each.amps for each in tubes):
        return []
    found = idle.match(currents)
    if stand(found.spread, most=_MATCHED) is Standing.IN:
        verdict, words = Verdict.GOOD, "a good match: 5 % or less"
    elif stand(found.spread, most=_USABLE) is Standing.IN:
        verdict, words = Verdict.GOOD, "usable: 10 % or less"
    elif stand(found.spread, most=_USABLE) is Standing.CLOSE:
        verdict, words = Verdict.WATCH, "about 10 %: too close to call"
    else:
        verdict, words = Verdict.WATCH, "not matched: swap them round to tell tube from circuit"
    lines = [Line("Match", show(found.spread, 2), verdict, f"{words}; {show(found.difference)} apart")]
    if filled["stage"] == _SINGLE:
        return lines
    if len(tubes) in (4, 6, 8) and all(each.count == 1 for each in tubes):
        sides = idle.even_sides(currents)
        one, other = (" and ".join(str(n + 1) for n in side) for side in (sides.one, sides.other))
        lines.append(
            Line(
                "Most even sides",
                f"{one} against {other}",
                said=f"{show(sides.difference)} between the sides",
            )
        )
    elif len(tubes) == 2 and filled["method"] != "cathode":
        between = found.difference * tubes[0].count
        over = stand(between, most=_SIDES) is not Standing.IN
        lines.append(
            Line(
                "Between the two sides",
                show(between),
                Verdict.WATCH if over else Verdict.GOOD,
                "more than 5 mA magnetises the transformer’s core" if over else "5 mA or less",
            )
        )
    return lines


def _class_lines(tubes: list[_Tube], filled: Filled) -> list[Line]:
    load, power = filled["load"], filled["power"]
    if filled["stage"] == _SINGLE or load is None:
        return []
    count = sum(each.count for each in tubes)
    if count > 1 and count % 2:
        return [Line("Class", "–", Verdict.UNSURE, "an odd number of tubes: read both sides whole")]
    side = sum(each.amps * each.count for each in tubes) / (2 if count > 1 else 1)
    lowest = min((each.volts for each in tubes), key=nominal)
    swing = units.Quantity(max(nominal(lowest) - nominal(_KNEE), 1.0), "V")
    found = idle.push_pull(units.Quantity(side, "A"), load, power=power, swing=swing)
    both = f"both sides conduct up to {show(found.straight_power, 2)} to {show(found.curved_power, 2)}"
    words = {
        OperatingClass.A: "both sides conduct all the time",
        OperatingClass.A_OR_AB: f"by how the tubes bend: {both}",
        OperatingClass.AB: f"{both}, beyond it one at a time",
        OperatingClass.B: "the sides hardly overlap: look for crossover distortion",
    }[found.operation]
    full = f"{'about ' if found.is_estimated else ''}{show(_plain(found.full_power), 2)}"
    return [
        Line("Class", found.operation, said=words),
        Line("Peak current of a side", show(_plain(found.peak_current)), said=f"at {full} into this load"),
    ]


def _grid_line(sheet: _Sheet, filled: Filled) -> list[Line]:
    leak = filled["grid_leak"]
    if leak is None:
        return []
    most = None
    if sheet.tube is not None:
        most = sheet.tube.grid_leak_fixed if filled["stage"] == _FIXED else sheet.tube.grid_leak_cathode
    if most is None:
        return [Line("Grid’s resistance to the bias", show(leak), said="no limit for this tube in the table")]
    if stand(leak, most=most) is Standing.IN:
        return [Line("Grid’s resistance to the bias", show(leak), Verdict.GOOD, f"up to {show(most)}")]
    return [
        Line(
            "Grid’s resistance to the bias",
            show(leak),
            Verdict.WATCH,
            f"above the data sheet’s {show(most)}: a gassy tube can run away",
        )
    ]


def _said(
    hottest: _Tube,
    target: pint.Quantity,
    sheet: _Sheet,
    share: pint.Quantity,
    lines: Sequence[Line],
    heat: Sequence[tuple[_Tube, Verdict, str]],
    filled: Filled,
) -> str:
    aim = f"For {nominal(share):.3g} % it would draw {show(_plain(target))}."
    of = f"{_share_of(hottest, sheet.most)} of the {show(sheet.most)} that its plate may take"
    dead = " and ".join(each.name.lower() for each, _, _ in heat if each.amps == 0)
    silent = f" Nothing flows in {dead}: dead, cut off, or an open cathode." if dead else ""
    verdict, words = _judge(hottest, sheet, share)
    if verdict is Verdict.BAD:
        act = (
            "Switch it off, or set the bias farther below zero now."
            if filled["stage"] == _FIXED
            else "Switch it off."
        )
        return (
            f"TOO HOT: {hottest.name.lower()} dissipates {show(hottest.watts)}, {of}"
            f" ({sheet.limits.system}). {act} {aim}{silent}"
        )
    if bad := [line for line in lines if line.verdict is Verdict.BAD]:
        what = "; ".join(f"{line.label.lower()} {line.value}, {line.said}" for line in bad)
        return f"OUT OF LIMITS: {what}. Switch it off.{silent}"
    if hottest.amps == 0:
        return "No tube draws any current: dead, cut off, or the cathodes are open."
    at_most = "at most " if hottest.current.is_upper_bound else ""
    first = f"{hottest.name} is the hottest: " if len(heat) > 1 else f"{hottest.name}: "
    said = f"{first}{at_most}{show(hottest.watts)}, {of}"
    if verdict is not Verdict.GOOD:
        said += f"; {words}"
    return f"{said}. {aim}{silent}"


def _table(
    heat: Sequence[tuple[_Tube, Verdict, str]], sheet: _Sheet, share: pint.Quantity, target: pint.Quantity
) -> Table:
    rows = tuple(
        Row(
            (
                each.name,
                show(each.current.cathode) if each.current.cathode is not None else "–",
                show(each.current.plate),
                show(each.watts),
                _share_of(each, sheet.most),
                show(_plain((_wanted_total(each, target) * each.per_amp).to("V"))),
            ),
            judged,
        )
        for each, judged, _ in heat
    )
    plate = "Plate, at most" if any(each.current.is_upper_bound for each, _, _ in heat) else "Plate"
    aim = f"Reads at {nominal(share):.3g} %"
    return Table("Each tube", ("Tube", "Cathode", plate, "Dissipation", "Of its limit", aim), rows)


def _chart(tubes: list[_Tube], hottest: _Tube, sheet: _Sheet, share: pint.Quantity) -> Chart:
    watts, aim = nominal(sheet.most, "W"), nominal(share) / 100
    volts = nominal(hottest.volts, "V")
    top = 2.0 * 1000 * max(watts / volts, hottest.amps)
    right = 1.25 * volts

    def curve(power: float) -> tuple[tuple[float, float], ...]:
        left = power * 1000 / top
        return tuple(
            (v, power * 1000 / v) for n in range(61) if (v := left + (right - left) * n / 60) <= right
        )

    looks = {Verdict.GOOD: "good", Verdict.BAD: "bad"}
    dots = tuple(
        Dot(
            each.name if len(tubes) <= _MOST_NAMES or each is hottest else "",
            nominal(each.volts, "V"),
            each.amps * 1000,
            looks.get(_judge(each, sheet, share)[0], "watch"),
        )
        for each in tubes
    )
    limit = nominal(sheet.limits.plate_volts, "V")
    return Chart(
        title="Plate current and what the plate may take",
        words=(
            f"{hottest.name} stands at {show(_plain(hottest.volts))} and {show(_plain(hottest.current.plate))};"
            f" {show(sheet.most)} are reached at {show(_plain((sheet.most / hottest.volts).to('A')))}."
        ),
        x=Axis("Plate to cathode", "V", least=0, most=right),
        y=Axis("Plate current", "mA", least=0, most=top),
        curves=(
            Curve(f"{show(sheet.most)}, {sheet.limits.system}", curve(watts)),
            Curve(f"{nominal(share):.3g} % of it", curve(watts * aim), "dashed"),
        ),
        dots=dots,
        limits=(Limit(f"{limit:.4g} V", x=limit),) if limit <= right else (),
    )


def _cautions(filled: Filled, verdict: Verdict) -> tuple[Caution, ...]:
    if verdict is not Verdict.BAD:
        return ()
    return (named("tube-over-its-limit"),)


def _notes(sheet: _Sheet, filled: Filled, tubes: list[_Tube]) -> tuple[str, ...]:
    notes = []
    if tubes[0].current.is_upper_bound:
        share = ""
        if sheet.tube and sheet.tube.typical.screen_current is not None:
            point = sheet.tube.typical
            whole = nominal(point.plate_current) + nominal(point.screen_current)
            share = (
                f" At the data sheet’s typical operation the screen takes"
                f" {nominal(point.screen_current) / whole:.0%} of it."
            ).replace("%", " %")
        notes.append(
            f"Upper bound: the screen’s current is still in it, so the plate is cooler than shown.{share}"
        )
    if filled["method"] == "cathode" and filled["sharing"] > 1:
        notes.append("Tubes on one resistor are taken as alike: it can’t tell if one of them draws more.")
    if filled["method"] == "winding":
        warmer = filled["warmer"]
        notes.append(
            "Copper by 0.393 % a degree, IEC 60028."
            if warmer is not None and nominal(warmer)
            else "The winding’s ohms are taken as they were read: read them warm, right after switching off."
        )
    if sheet.tube is not None:
        notes.append(f"{sheet.tube.name}: {sheet.tube.source}. {sheet.tube.note}".strip())
    notes.append(
        "The data sheet’s limit is for each tube. 70 % with fixed bias and 90 % with cathode bias are common practice, "
        "no source: what counts in the end is the heat at the worst signal, and the crossover on a scope."
    )
    if filled["load"] is not None and filled["stage"] != _SINGLE:
        notes.append(
            "The class assumes a sine, a resistive load, sides alike and a transformer without losses"
            + (f", and plates that swing down to {show(_KNEE)}." if filled["power"] is None else ".")
        )
    if filled["bias_now"] is not None:
        notes.append(
            "The next bias is the more careful of the straight line through both readings and the bend of a tube near "
            "cut-off. The plate’s volts move with the current, so it takes another reading."
        )
    return tuple(notes)


def _plain(quantity: pint.Quantity) -> pint.Quantity:
    """What is aimed at, without the ± of how it was found."""
    return units.Quantity(nominal(quantity), quantity.units)


def _worst(verdicts: Sequence[Verdict]) -> Verdict:
    return next((each for each in _WORST if each in verdicts), Verdict.PLAIN)


def _tube_words(tube: PowerTube) -> str:
    return ", ".join((tube.name, *tube.aliases))


def _volts(name: str, label: str, points: str, **more: Any) -> Box:
    return Box(name, label, unit="V", measured=True, points=points, above_zero=True, most=3000, **more)


def _bias_box(name: str, label: str) -> Box:
    return Box(name, label, unit="V", measured=True, needed=False, least=-300, most=300, points=r"bias")


_SCREEN_DROP: Final = Box(
    "screen_drop",
    "Across its screen resistor",
    unit="V",
    measured=True,
    least=0,
    most=500,
    points=r"screen resistor",
    only=("screen", ("resistor",)),
)
_TUBES: Final = Rows(
    "tube",
    "Tube",
    (
        Box(
            "sense",
            "Across its cathode resistor",
            unit="V",
            bare="mV",
            measured=True,
            least=0,
            points=r"cathode",
        ),
        _SCREEN_DROP,
    ),
    initial=2,
)
_RESISTORS: Final = Rows(
    "resistor",
    "Cathode resistor",
    (_volts("cathode", "Across it", r"cathode"), _SCREEN_DROP),
    most=8,
)
_HALVES: Final = Rows(
    "half",
    "Half",
    (
        Box(
            "drop",
            "Middle to plate, running",
            unit="V",
            measured=True,
            least=0,
            most=200,
            points=r"half|drop of half|half drop",
        ),
        Box(
            "ohms",
            "Its resistance, off and discharged",
            unit="ohm",
            measured=True,
            above_zero=True,
            most=10e3,
        ),
    ),
    most=2,
    initial=2,
)

SHEET = Worksheet(
    slug="idle-current",
    title="Idle current",
    said="What the power tubes draw, how hot that makes them, how they match, and the bias to try next.",
    order=20,
    cautions=(
        named("reading-idle"),
        named("running-away"),
    ),
    powered=(
        "plate",
        "centre",
        "cathode_up",
        "sense",
        "screen_drop",
        "cathode",
        "drop",
        "screen_typed",
        "screen_volts",
        "bias_now",
        "bias_then",
        "current_then",
        "power",
    ),
    groups=(
        Group(
            "The stage",
            (
                Box(
                    "stage",
                    "How it works",
                    kind=Kind.CHOICE,
                    initial=_FIXED,
                    choices=(
                        (_FIXED, "Push-pull, fixed bias"),
                        (_CATHODE, "Push-pull, cathode bias"),
                        (_SINGLE, "Single-ended"),
                    ),
                ),
                Box(
                    "type",
                    "Tube",
                    kind=Kind.CHOICE,
                    choices=(*((tube.name, _tube_words(tube)) for tube in POWER_TUBES), ("other", "Another")),
                ),
                Box(
                    "share",
                    "Idle at",
                    unit="%",
                    needed=False,
                    least=10,
                    most=100,
                    help="Of the plate’s limit. Empty: 70 % with fixed bias, else 90 %; common practice.",
                ),
            ),
        ),
        Group(
            "What the tube may take",
            (
                Box("other_watts", "Plate", unit="W", above_zero=True, most=1000),
                Box("other_volts", "Plate’s volts", unit="V", above_zero=True, most=3000, needed=False),
                Box(
                    "other_screen_volts", "Screen’s volts", unit="V", above_zero=True, most=3000, needed=False
                ),
                Box("other_screen_watts", "Screen", unit="W", above_zero=True, most=100, needed=False),
                Box(
                    "other_system",
                    "What the sheet calls its limits",
                    kind=Kind.CHOICE,
                    needed=False,
                    choices=tuple((each, str(each)) for each in System if each is not System.UNKNOWN),
                ),
            ),
            help="From its data sheet.",
            only=("type", ("other",)),
        ),
        Group(
            "How it is measured",
            (
                Box(
                    "method",
                    "Measured",
                    kind=Kind.CHOICE,
                    initial="resistor",
                    choices=(
                        ("resistor", "Across a small resistor in each cathode"),
                        ("cathode", "Across the cathode bias resistor"),
                        ("winding", "Across the halves of the output transformer"),
                    ),
                ),
                _volts(
                    "plate",
                    "Plate to chassis",
                    r"plate|plates|anode|anodes|plate to chassis",
                    only=("method", ("resistor", "cathode")),
                ),
                _volts(
                    "centre",
                    "Middle of the transformer to chassis",
                    r"b\+|ct|centre tap|center tap|ot centre tap|ot center tap",
                    only=("method", ("winding",)),
                ),
                Box(
                    "sense_ohms",
                    "Each cathode resistor",
                    unit="ohm",
                    initial="1",
                    above_zero=True,
                    least=0.1,
                    most=1000,
                    only=("method", ("resistor",)),
                ),
                Box(
                    "cathode_ohms",
                    "Cathode resistor",
                    unit="ohm",
                    above_zero=True,
                    least=1,
                    most=100e3,
                    only=("method", ("cathode",)),
                ),
                Box(
                    "tolerance",
                    "Its tolerance",
                    unit="%",
                    initial="1",
                    needed=False,
                    least=0,
                    most=20,
                    only=("method", ("resistor", "cathode")),
                ),
                Box(
                    "sharing",
                    "Tubes on one resistor",
                    kind=Kind.WHOLE,
                    initial="2",
                    least=1,
                    most=8,
                    only=("method", ("cathode",)),
                ),
                Box(
                    "on_half",
                    "Tubes on each half",
                    kind=Kind.WHOLE,
                    initial="1",
                    least=1,
                    most=4,
                    only=("method", ("winding",)),
                ),
                Box(
                    "warmer",
                    "How much warmer the winding is than when its ohms were read",
                    unit="degC",
                    needed=False,
                    measured=True,
                    least=-60,
                    most=150,
                    help="Copper gains 4 % in ten degrees. Empty where they were read warm.",
                    only=("method", ("winding",)),
                ),
                Box(
                    "on_taps",
                    "The screens are on taps of the winding",
                    kind=Kind.TICK,
                    needed=False,
                    only=("method", ("winding",)),
                ),
                Box(
                    "cathode_up",
                    "Cathode to chassis",
                    unit="V",
                    measured=True,
                    needed=False,
                    least=0,
                    most=500,
                    points=r"cathode",
                    help="Where it stands on a bias resistor.",
                    only=("method", ("winding",)),
                ),
            ),
        ),
        Group("Tubes", rows=_TUBES, only=("method", ("resistor",))),
        Group("Cathode resistors", rows=_RESISTORS, only=("method", ("cathode",))),
        Group("Halves of the transformer", rows=_HALVES, only=("method", ("winding",))),
        Group(
            "Screens",
            (
                Box(
                    "screen",
                    "Screen current",
                    kind=Kind.CHOICE,
                    initial="unknown",
                    choices=(
                        ("unknown", "Not known"),
                        ("typed", "Known"),
                        ("resistor", "From the drop across its resistor"),
                    ),
                    only=("method", ("resistor", "cathode")),
                ),
                Box(
                    "screen_typed",
                    "Of each tube",
                    unit="A",
                    bare="mA",
                    measured=True,
                    least=0,
                    most=0.2,
                    only=("screen", ("typed",)),
                ),
                Box(
                    "screen_ohms",
                    "Each screen resistor",
                    unit="ohm",
                    above_zero=True,
                    least=1,
                    most=100e3,
                    only=("screen", ("resistor",)),
                ),
                _volts(
                    "screen_volts", "Screen to chassis", r"screen|screens|screen to chassis", needed=False
                ),
            ),
        ),
        Group(
            "The bias to try next",
            (
                _bias_box("bias_now", "Bias now"),
                _bias_box("bias_then", "Bias before"),
                Box(
                    "current_then",
                    "The hottest tube’s current at that",
                    unit="A",
                    bare="mA",
                    measured=True,
                    needed=False,
                    above_zero=True,
                    most=1,
                    help="Measured at the same place as now. Across 1 Ω, mV are mA.",
                ),
            ),
            help="From two readings at two bias voltages. They are below zero, with or without the sign.",
            only=("stage", (_FIXED,)),
        ),
        Group(
            "Its class",
            (
                Box(
                    "load",
                    "Load from plate to plate",
                    unit="ohm",
                    bare="kΩ",
                    needed=False,
                    above_zero=True,
                    least=100,
                    most=200e3,
                ),
                Box(
                    "power",
                    "Power just before clipping",
                    unit="W",
                    needed=False,
                    measured=True,
                    above_zero=True,
                    least=0.01,
                    most=2000,
                ),
            ),
            only=("stage", (_FIXED, _CATHODE)),
        ),
        Group(
            "The grids",
            (
                Box(
                    "grid_leak",
                    "Resistance from a grid to the bias, or to chassis",
                    unit="ohm",
                    bare="kΩ",
                    needed=False,
                    above_zero=True,
                    most=100e6,
                ),
            ),
        ),
    ),
    compute=_compute,
)
