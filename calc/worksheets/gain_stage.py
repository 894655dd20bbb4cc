"""A triode stage: where it should stand, what it does, and what ails it."""

import math
from dataclasses import replace
from typing import Final

import pint

from calc.cautions import named
from calc.engine import gain_stage as engine
from calc.engine.gain_stage import Bias, Fault, Health, Output, Readings, Stage, Trouble
from calc.engine.quantities import nominal, show, units
from calc.engine.triode import CAPACITANCES, SOURCE, model_of, plate_current
from calc.engine.tubes import SIGNAL_TUBES, Section
from calc.worksheets.chart import Axis, Chart, Curve, Dot
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

_POINTS: Final = 70  # of a plate curve
_LEAST_SHOWN: Final = 5  # explanations in the table
_HEATER_LIMIT: Final = (
    90  # V from heater to cathode: the least of small tubes' limits; data sheets, from memory
)


def _sections() -> dict[str, tuple[str, Section]]:
    """Every triode that there are curves of: its key, what it is called, its section."""
    found = {}
    for tube in SIGNAL_TUBES:
        triodes = [s for s in dict.fromkeys(tube.sections) if "triode" in s.kind and (s.koren or s.typical)]
        for section in triodes:
            key = tube.name if len(triodes) == 1 else f"{tube.name} {section.kind.split()[0]}"
            also = f" ({', '.join(tube.aliases[:2])})" if tube.aliases else ""
            called = f"{tube.name}{also}" if section.kind == "triode" else f"{tube.name}, {section.kind}"
            found[key] = (called, section)
    return found


_SECTIONS: Final = _sections()
_PLATE: Final = ("kind", (Output.PLATE,))


def _stage(filled: Filled) -> tuple[Stage, Section]:
    """The stage that was filled in."""

    def number(name: str, unit: str, default: float) -> float:
        return default if filled[name] is None else nominal(filled[name], unit)

    def farads(name: str) -> float | None:
        return None if filled[name] is None else nominal(filled[name], "F")

    output, bias = Output(filled["kind"]), Bias(filled["bias"])
    if output is Output.PLATE and not number("plate_resistor", "ohm", 0):
        raise BoxError("plate_resistor", "Write the plate resistor, like 100k.")
    section = _SECTIONS[filled["tube"]][1]
    model = model_of(section)
    return Stage(
        model=model,
        supply=nominal(filled["supply"], "V"),
        plate_resistor=number("plate_resistor", "ohm", 0),
        cathode_resistor=nominal(filled["cathode_resistor"], "ohm"),
        output=output,
        bias=bias,
        grid_volts=number("grid_volts", "V", 0),
        tail=number("tail", "ohm", 0),
        bypass=farads("bypass"),
        grid_leak=number("grid_leak", "ohm", 1e6),
        grid_stopper=number("grid_stopper", "ohm", 0),
        source_impedance=number("source_impedance", "ohm", 0),
        input_capacitor=farads("input_capacitor"),
        output_capacitor=farads("output_capacitor"),
        load=number("load", "ohm", math.inf),
        load_capacitance=farads("load_capacitance") or 0.0,
        capacitances=CAPACITANCES.get(section.koren),
    ), section


def _compute(filled: Filled) -> Answer:
    stage, section = _stage(filled)
    tolerance = nominal(filled["tolerance"], "percent") / 100
    supply = filled["supply_measured"]
    if supply is not None:
        stage = replace(stage, supply=nominal(supply, "V"))
    point = engine.operating_point(stage)
    readings = Readings(
        filled["plate"], filled["cathode"], filled["grid"], nominal(filled["meter_resistance"], "ohm")
    )
    is_measured = any(value is not None for value in (readings.plate, readings.cathode, readings.grid))
    health = (
        engine.diagnose(stage, readings, tolerance=tolerance, supply_measured=supply) if is_measured else None
    )
    plate, cathode = engine.expected(stage, tolerance=tolerance, supply_measured=supply)
    middle = engine.middle(stage)
    limit = nominal(section.limits.plate_watts, "W")
    heat = nominal(point.tube_watts, "W")

    stands = f"{_volts(plate)} on the plate and {_volts(cathode)} on the cathode"
    does = f"It {_times(middle)}, from the grid to {'the plate' if stage.output is Output.PLATE else 'the cathode'}."
    if health is None:
        said = f"A healthy stage stands at {stands}, within the usual spread of parts. {does}"
        verdict = Verdict.PLAIN
    else:
        said, verdict = _of_health(health, stage, stands, filled)
    if heat > limit:
        said = f"The tube gets {show(point.tube_watts)} of heat: more than it may have. {said}"
        verdict = Verdict.BAD

    return Answer(
        said=said,
        verdict=verdict,
        lines=(
            *_measured_lines(health),
            Line("Plate, from the chassis", show(plate), said="a healthy stage"),
            Line("Cathode, from the chassis", show(cathode), said="a healthy stage"),
            *_heater_line(point),
            Line("Current", show(point.current)),
            Line("Grid, from the cathode", show(point.grid_to_cathode)),
            Line(
                "Heat in the tube",
                show(point.tube_watts),
                Verdict.BAD if heat > limit else Verdict.GOOD,
                f"{heat / limit * 100:.0f} % of {show(section.limits.plate_watts)}, {section.limits.system}",
            ),
            *(
                [Line("Heat in the plate resistor", show(point.plate_watts), said="fit twice that or more")]
                if stage.plate_resistor
                else []
            ),
            Line("Gain", _gain(middle), said="with the bypass and the load as filled in"),
            Line("Output impedance", show(middle.output_impedance), said="without capacitor and next stage"),
            *_signal_lines(stage, filled["signal"]),
            *_corner_lines(stage),
        ),
        tables=tuple(filter(None, (_explanations(health, stage, filled), _bypass_table(stage)))),
        charts=(_chart(stage, section, health, readings),),
        notes=_notes(stage, health),
    )


def _volts(volts: pint.Quantity) -> str:
    return f"about {show(units.Quantity(nominal(volts, 'V'), 'V'))}"


def _times(middle: engine.Middle) -> str:
    if abs(middle.gain) < 1:
        return f"passes {abs(middle.gain):.2f} of the signal ({_minus(middle.decibels)} dB)"
    return f"amplifies {abs(middle.gain):.3g} times ({middle.decibels:.1f} dB)"


def _gain(middle: engine.Middle) -> str:
    turned = ", turned over" if middle.gain < 0 else ""
    return f"{abs(middle.gain):.3g} times, {_minus(middle.decibels)} dB{turned}"


def _minus(number: float) -> str:
    return f"{number:.1f}".replace("-", "−")


def _of_health(health: Health, stage: Stage, stands: str, filled: Filled) -> tuple[str, Verdict]:
    """What the readings say, in a sentence or two."""
    if health.is_well and health.count == 1:
        return (
            f"As far as one reading shows, this stage is healthy: {stands}. Read the others too.",
            Verdict.GOOD,
        )
    if health.is_well:
        return (
            f"This stage reads as a healthy one does: {stands}. What it does with a signal, DC volts don't show.",
            Verdict.GOOD,
        )
    fitting = [fault for fault in health.faults if fault.fits]
    nearest = health.faults[0]
    opening = (
        "Something is wrong with this stage."
        if health.is_ill
        else "Too close to call: the volts are a little off."
    )
    verdict = Verdict.BAD if health.is_ill else Verdict.UNSURE
    if not fitting and nearest.off <= max(engine.ILL, health.off / 5):
        return (
            f"{opening} It should stand at {stands}. Nothing fits well; the nearest: {_named(nearest, stage)[0]} "
            f"({_became(nearest, stage, filled)}).",
            verdict,
        )
    if not fitting:
        return (
            f"{opening} It should stand at {stands}. No single fault explains these volts: check the drawing's values "
            "and the readings, then look for two faults.",
            verdict,
        )
    first = fitting[0]
    others = f" {len(fitting) - 1} more would fit as well." if len(fitting) > 1 else ""
    if health.count == 1:
        others += " One reading hardly tells them apart: read the others too."
    return (
        f"{opening} It should stand at {stands}. The likeliest: {_named(first, stage)[0]} "
        f"({_became(first, stage, filled)}).{others}",
        verdict,
    )


def _named(fault: Fault, stage: Stage) -> tuple[str, str]:
    """What a fault is called within a sentence, and how to make sure of it."""
    is_direct = stage.bias is Bias.VOLTS
    match fault.trouble:
        case Trouble.PLATE_HIGH:
            state = "is open" if fault.is_open else "has drifted up"
            return f"the plate resistor {state}", "Measure it with the power off and the supply discharged."
        case Trouble.PLATE_LOW:
            return (
                "the plate resistor is too low, or something leaks across it",
                "Lift one end and measure it.",
            )
        case Trouble.CATHODE_HIGH:
            state = "is open" if fault.is_open else "has drifted up"
            which = "lower cathode resistor" if fault.is_tail else "cathode resistor"
            return f"the {which} {state}", "Measure it with the power off."
        case Trouble.CATHODE_LOW if fault.is_tail:
            return (
                "the lower cathode resistor is too low, or something leaks across it",
                "Lift one end and measure it.",
            )
        case Trouble.CATHODE_LOW if stage.bypass is not None:
            state = "is shorted" if fault.ratio < 0.02 else "leaks"
            return (
                f"the bypass capacitor {state}, or the cathode resistor is too low",
                "Lift one end of the capacitor and read the cathode again.",
            )
        case Trouble.CATHODE_LOW:
            return (
                "the cathode resistor is too low, or the cathode leaks to the heater",
                "Measure the resistor; try another tube.",
            )
        case Trouble.GRID_UP if is_direct:
            return (
                "the grid is held too high: look at the stage before",
                "Read the volts of the stage before.",
            )
        case Trouble.GRID_UP:
            return (
                "the coupling capacitor into the grid leaks",
                "Read the DC volts across the grid's resistor: there should be none. Lift the capacitor, look again.",
            )
        case Trouble.GRID_DOWN if is_direct:
            return "the grid is held too low: look at the stage before", "Read the volts of the stage before."
        case Trouble.GRID_DOWN:
            return (
                "the grid is pulled below the chassis: the stage oscillates, or the grid's resistor is open",
                "Short the grid to the chassis and read again; look with a scope.",
            )
        case Trouble.TIRED:
            dead = fault.ratio < 0.02
            words = (
                "the tube passes nothing: no heater, no emission or no contact"
                if dead
                else "the tube is tired"
            )
            return words, "Look for its glow, clean the socket, try a tube that is known to be good."
        case Trouble.STRONG:
            short = fault.ratio > 5
            words = (
                "the tube is shorted inside"
                if short
                else "the tube passes more than its type: another type is in the socket"
            )
            return words, "Try a tube that is known to be good."
        case Trouble.PLATE_LEAK:
            return (
                "something draws current from the plate: the coupling capacitor to the next stage leaks",
                "Read the DC volts on the next grid, lift the capacitor and look again.",
            )
        case Trouble.SUPPLY:
            way = "low" if fault.ratio < 1 else "high"
            return f"the supply is {way}", "Read the supply at the plate resistor and write it above."


def _became(fault: Fault, stage: Stage, filled: Filled) -> str:
    """What the part must have become."""
    match fault.trouble:
        case Trouble.TIRED | Trouble.STRONG:
            return f"{fault.ratio * 100:.3g} % of the usual current at the same volts"
        case Trouble.GRID_UP | Trouble.GRID_DOWN:
            words = f"grid at {show(fault.became)}"
            if (
                fault.trouble is Trouble.GRID_UP
                and stage.bias is Bias.GROUND
                and filled["before"] is not None
            ):
                leak = engine.leak_into_grid(fault.became, filled["before"], stage.grid_leak)
                words += f", a leak of {show(leak)}" if leak is not None else ""
            return words
        case Trouble.PLATE_LEAK:
            return f"{show(fault.became)} from the plate to the chassis"
        case _ if fault.is_open:
            return f"more than {show(fault.was * 20)}" if fault.was is not None else "open"
        case _:
            was = "" if fault.was is None else f" instead of {show(fault.was)}"
            return f"{show(fault.became)}{was}"


def _explanations(health: Health | None, stage: Stage, filled: Filled) -> Table | None:
    if health is None or health.is_well:
        return None
    better = [fault for fault in health.faults if fault.fits or fault.off < 0.95 * health.off]
    shown = [fault for n, fault in enumerate(better) if fault.fits or n < _LEAST_SHOWN]
    if not shown:
        return None
    rows = []
    for fault in shown:
        words, do = _named(fault, stage)
        rows.append(
            Row(
                (words[0].upper() + words[1:], _became(fault, stage, filled), f"{fault.off:.1f}", do),
                Verdict.WATCH if fault.fits else Verdict.PLAIN,
            )
        )
    return Table(
        "What would explain it, best fit first",
        ("What", "It would have become", "Still off, in usual spreads", "Make sure"),
        tuple(rows),
    )


def _measured_lines(health: Health | None) -> list[Line]:
    if health is None:
        return []
    verdict = Verdict.GOOD if health.is_well else Verdict.BAD if health.is_ill else Verdict.UNSURE
    lines = [
        Line(
            "The readings, away from a healthy stage",
            f"{health.off:.1f} usual spreads",
            verdict,
            f"up to {engine.WELL:g} is healthy, over {engine.ILL:g} is not",
        )
    ]
    if health.plate_current is not None:
        lines.append(Line("Through the plate resistor", show(health.plate_current), said="Ohm's law"))
    if health.cathode_current is not None:
        lines.append(Line("Through the cathode resistor", show(health.cathode_current), said="Ohm's law"))
    if health.currents_differ is not None:
        same = health.currents_differ <= engine.WELL
        lines.append(
            Line(
                "Those two",
                "agree" if same else "differ",
                Verdict.GOOD if same else Verdict.WATCH,
                "in a triode they are one current"
                if same
                else "a resistor isn't what it says, or current goes another way",
            )
        )
    return lines


def _heater_line(point: engine.OperatingPoint) -> list[Line]:
    if nominal(point.cathode, "V") <= _HEATER_LIMIT:
        return []
    return [
        Line(
            "Cathode above a grounded heater",
            show(point.cathode),
            Verdict.WATCH,
            f"small tubes bear {_HEATER_LIMIT} to 200 V: look at the sheet, and whether the heaters are lifted",
        )
    ]


def _signal_lines(stage: Stage, signal: pint.Quantity | None) -> list[Line]:
    room = engine.headroom(stage)
    lines = [
        Line("Room upwards", f"{show(room.up)} peak", said=_end(stage, is_up=True)),
        Line("Room downwards", f"{show(room.down)} peak", said=_end(stage, is_up=False)),
        Line(
            "Signal at the grid before it clips", f"{show(room.drive)} peak", said=f"{room.first} comes first"
        ),
    ]
    if signal is None:
        return lines
    peak = nominal(signal, "V") * math.sqrt(2)
    if peak > nominal(room.drive_to_grid_current, "V"):
        lines.append(
            Line(
                f"With {show(signal)} at the grid",
                "clips",
                Verdict.WATCH,
                "the grid draws current at the crests",
            )
        )
        return lines
    found = engine.harmonics(stage, peak)
    clips = peak > nominal(room.drive, "V")
    lines += [
        Line(
            f"With {show(signal)} at the grid, out",
            f"{show(found.output / math.sqrt(2))}",
            Verdict.WATCH if clips else Verdict.PLAIN,
            "cut off at the troughs" if clips else "rms, of the fundamental",
        ),
        Line("Second harmonic", f"{found.second * 100:.2g} %", said="estimate"),
        Line("Third harmonic", f"{found.third * 100:.2g} %", said="estimate"),
    ]
    return lines


def _end(stage: Stage, *, is_up: bool) -> str:
    return "to cut-off" if is_up == (stage.output is Output.PLATE) else "to grid current"


def _corner_lines(stage: Stage) -> list[Line]:
    found = engine.corners(stage)
    low = "goes on below 0.01 Hz" if found.low is None else show(found.low)
    high = "goes on above 100 MHz" if found.high is None else show(found.high)
    lines = [
        Line("Low end, −3 dB", low, said="the whole stage, solved"),
        Line("High end, −3 dB", high, said="the whole stage, solved; wiring is not in it"),
    ]
    if found.input_coupling is not None:
        lines.append(Line("Coupling in, by itself", show(found.input_coupling), said="1/(2π(Rs + Rg)C)"))
    if found.output_coupling is not None:
        lines.append(
            Line("Coupling out, by itself", show(found.output_coupling), said="1/(2π(Rout + R load)C)")
        )
    if found.shelf is not None and found.zero is not None and found.pole is not None:
        lines.append(
            Line(
                "Bypass, by itself, −3 dB",
                "none" if found.bypass is None else show(found.bypass),
                said=f"a shelf of {20 * math.log10(found.shelf):.1f} dB from {show(found.zero)} to {show(found.pole)}",
            )
        )
    return lines


def _bypass_table(stage: Stage) -> Table | None:
    if stage.output is not Output.PLATE or stage.cathode_resistor <= 0:
        return None
    rows = []
    for words, is_bypassed in (("With a bypass capacitor", True), ("Without", False)):
        found = engine.middle(stage, is_bypassed=is_bypassed)
        farads = "not known" if found.input_capacitance is None else show(found.input_capacitance)
        rows.append(Row((words, _gain(found), show(found.output_impedance), farads)))
    return Table(
        "With and without the cathode bypassed",
        ("Cathode", "Gain", "Output impedance", "Input capacitance (Miller)"),
        tuple(rows),
    )


def _chart(stage: Stage, section: Section, health: Health | None, readings: Readings) -> Chart:
    point = engine.operating_point(stage)
    amps, vak, vgk = (nominal(q) for q in (point.current, point.plate_to_cathode, point.grid_to_cathode))
    room = engine.headroom(stage)
    around = stage.plate_resistor + stage.below_cathode
    most = 1.15e3 * max(room.grid_line[1], min(stage.supply / around, 3 * amps))
    right = max(stage.supply, room.cut_off[0]) * 1.02
    step = next((s for s in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50) if s >= abs(vgk) / 3.5), 100)
    curves = []
    for n in range(8):
        points = []
        for k in range(_POINTS + 1):
            va = right * k / _POINTS
            ma = plate_current(stage.model, va, -n * step) * 1e3
            if ma > most:
                break
            points.append((va, ma))
        if len(points) > 1 and (n == 0 or points[-1][1] > most / 200):
            curves.append(Curve(f"−{n * step:g} V" if n else "0 V", tuple(points), "thin"))
    # the DC line ends at the top of the picture, at the bottom on the supply
    top = min(stage.supply / around, most / 1e3)
    curves.append(
        Curve("DC load line", ((stage.supply - top * around, top * 1e3), (stage.supply, 0.0)), "dashed")
    )
    curves.append(
        Curve("AC load line", tuple((va, each * 1e3) for va, each in (room.grid_line, room.cut_off)), "main")
    )
    watts = nominal(section.limits.plate_watts, "W")
    heat = [(right * k / _POINTS, watts / (right * k / _POINTS) * 1e3) for k in range(1, _POINTS + 1)]
    within = tuple(each for each in heat if each[1] <= most)
    if len(within) > _POINTS // 8:
        curves.append(Curve(f"{watts:g} W, the tube's limit", within, "second"))
    dots = [Dot("rests here", vak, amps * 1e3, "good")]
    words = f"Plate curves with both load lines. The stage rests at {vak:.0f} V and {amps * 1e3:.2f} mA."
    if health is not None and readings.plate is not None and readings.cathode is not None:
        measured = health.cathode_current if health.cathode_current is not None else health.plate_current
        if measured is not None:
            at = nominal(readings.plate, "V") - nominal(readings.cathode, "V"), nominal(measured, "mA")
            look = "good" if health.is_well else "bad" if health.is_ill else "watch"
            dots.append(Dot("measured", *at, look))
            words += f" Measured: {at[0]:.0f} V and {at[1]:.2f} mA."
    return Chart(
        "Plate curves and load lines",
        words,
        Axis("Plate to cathode", "V", least=0.0, most=right),
        Axis("Plate current", "mA", least=0.0, most=most),
        tuple(curves),
        tuple(dots),
    )


def _notes(stage: Stage, health: Health | None) -> tuple[str, ...]:
    notes = [
        f"The tube by its published model: {SOURCE}. Parameters: {stage.model.source}. It is 10 to 20 % out at usual "
        "operating points and more near cut-off, and has no grid current.",
        "Gain, impedances, headroom and the bypass's shelf: load lines and equivalent circuit of the Radiotron "
        "Designer's Handbook, 4th ed., 1953, ch. 12. −3 dB points are solved on the whole network.",
        "The load is taken to pass no DC. Output impedance leaves the coupling capacitor and the next stage out.",
        "Harmonics are an estimate from the curves for a cathode and a supply that stand still.",
        "Capacitances between the electrodes: "
        + (stage.capacitances.source if stage.capacitances else "not in the table for this tube")
        + ".",
    ]
    if health is not None:
        notes += [
            "One usual spread: resistors within their tolerance, tubes within "
            f"{engine.EMISSION_SPREAD * 100:.0f} % of their current, "
            f"a supply that wasn't measured within {engine.SUPPLY_SPREAD * 100:.0f} % (common practice, no source), "
            "and the meter; together, as they go together.",
            "Each fault is one part gone wrong: the stage is solved anew until it meets the readings as closely as it "
            "can. What fits equally can't be told apart by these volts: measure the parts.",
        ]
    return tuple(notes)


SHEET: Final = Worksheet(
    slug="gain-stage",
    title="Gain stage",
    said="Where a triode stage should stand, what it does to a signal, and what is wrong if it stands elsewhere.",
    powered=("plate", "cathode", "grid", "supply_measured", "before"),
    groups=(
        Group(
            "Stage",
            (
                Box(
                    "tube",
                    "Tube",
                    Kind.CHOICE,
                    initial="12AX7",
                    choices=tuple((key, called) for key, (called, _) in _SECTIONS.items()),
                ),
                Box(
                    "kind",
                    "Signal comes out at",
                    Kind.CHOICE,
                    initial=Output.PLATE,
                    choices=(
                        (Output.PLATE, "the plate (common cathode)"),
                        (Output.CATHODE, "the cathode (follower)"),
                    ),
                ),
                Box(
                    "bias",
                    "The grid's resistor goes to",
                    Kind.CHOICE,
                    initial=Bias.GROUND,
                    choices=(
                        (Bias.GROUND, "the chassis"),
                        (Bias.VOLTS, "a fixed voltage, or none: straight from a plate"),
                        (Bias.TAP, "the joint of two cathode resistors"),
                    ),
                ),
            ),
        ),
        Group(
            "Parts that set the DC",
            (
                Box(
                    "supply",
                    "Supply at the plate resistor",
                    unit="V",
                    least=engine.LEAST_SUPPLY,
                    most=1500,
                    help="As on the drawing, like 300",
                ),
                Box(
                    "plate_resistor",
                    "Plate resistor",
                    unit="ohm",
                    needed=False,
                    most=10e6,
                    help="Like 100k. A follower may have none.",
                ),
                Box(
                    "cathode_resistor",
                    "Cathode resistor",
                    unit="ohm",
                    most=10e6,
                    help="Like 1k5. Of two in a row, the upper one. Shared by two tubes: write it double.",
                ),
                Box(
                    "tail",
                    "Lower cathode resistor",
                    unit="ohm",
                    above_zero=True,
                    most=10e6,
                    only=("bias", (Bias.TAP,)),
                ),
                Box(
                    "grid_volts",
                    "Volts that the grid is held at",
                    unit="V",
                    least=-500,
                    most=1000,
                    only=("bias", (Bias.VOLTS,)),
                    help="From the chassis, as on the drawing",
                ),
            ),
        ),
        Group(
            "Parts that the signal meets",
            (
                Box(
                    "bypass",
                    "Cathode bypass capacitor",
                    unit="F",
                    bare="µF",
                    needed=False,
                    above_zero=True,
                    most=0.1,
                    only=_PLATE,
                    help="Like 25. Leave it empty if there is none.",
                ),
                Box("grid_leak", "Grid resistor", unit="ohm", initial="1M", least=1, most=1e9),
                Box(
                    "input_capacitor",
                    "Coupling capacitor in",
                    unit="F",
                    bare="µF",
                    needed=False,
                    above_zero=True,
                    most=0.1,
                ),
                Box("source_impedance", "Impedance of what drives it", unit="ohm", needed=False, most=1e8),
                Box("grid_stopper", "Grid stopper", unit="ohm", needed=False, most=1e7),
                Box(
                    "output_capacitor",
                    "Coupling capacitor out",
                    unit="F",
                    bare="µF",
                    needed=False,
                    above_zero=True,
                    most=0.1,
                ),
                Box("load", "Load after it", unit="ohm", needed=False, above_zero=True, most=1e9),
                Box(
                    "load_capacitance",
                    "Capacitance after it",
                    unit="F",
                    bare="pF",
                    needed=False,
                    most=1e-3,
                    help="The next grid's Miller capacitance, a cable",
                ),
                Box(
                    "signal",
                    "Signal at the grid, rms",
                    unit="V",
                    initial="100 mV",
                    needed=False,
                    above_zero=True,
                    most=500,
                ),
            ),
        ),
        Group(
            "Measured from the chassis, no signal",
            (
                Box(
                    "plate",
                    "Plate",
                    unit="V",
                    needed=False,
                    measured=True,
                    least=-1000,
                    most=2000,
                    points=r"((gain )?stage|triode),? plate",
                ),
                Box(
                    "cathode",
                    "Cathode",
                    unit="V",
                    needed=False,
                    measured=True,
                    least=-1000,
                    most=1000,
                    points=r"((gain )?stage|triode),? cathode",
                ),
                Box(
                    "grid",
                    "Grid",
                    unit="V",
                    needed=False,
                    measured=True,
                    least=-1000,
                    most=1000,
                    points=r"((gain )?stage|triode),? grid",
                    help="Tells a leaky capacitor from the rest",
                ),
                Box(
                    "supply_measured",
                    "Supply at the plate resistor",
                    unit="V",
                    needed=False,
                    measured=True,
                    least=engine.LEAST_SUPPLY,
                    most=1500,
                    points=r"((gain )?stage|triode),? supply",
                    help="Everything is worked out for this one then",
                ),
                Box(
                    "before",
                    "Other side of the coupling capacitor in",
                    unit="V",
                    needed=False,
                    measured=True,
                    least=-1000,
                    most=1500,
                ),
                Box(
                    "meter_resistance",
                    "Meter's input resistance",
                    unit="ohm",
                    initial="10M",
                    least=1e3,
                    most=1e12,
                ),
                Box("tolerance", "Resistors within", unit="%", initial="10", least=0.1, most=30),
            ),
        ),
    ),
    compute=_compute,
    cautions=(named("plates-and-supplies"),),
    order=40,
)
