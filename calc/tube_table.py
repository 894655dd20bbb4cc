"""The table of tubes in words, for the page: what each may bear, its heater, its pins, and how sure a row is. Pure."""

from dataclasses import dataclass

import pint

from calc.engine.quantities import show
from calc.engine.tubes import (
    POWER_TUBES,
    RECTIFIERS,
    SIGNAL_TUBES,
    Heater,
    Limits,
    Operation,
    Pins,
    PowerTube,
    Rectifier,
    SignalTube,
    key_of,
)


@dataclass(frozen=True)
class Entry:
    """A tube in words. `facts` are pairs of a label and what stands there."""

    name: str
    aliases: str
    kind: str
    short: str  # what matters most, in a few words
    facts: tuple[tuple[str, str], ...]
    source: str
    from_memory: bool


@dataclass(frozen=True)
class Part:
    """Tubes of one use, under a heading."""

    title: str
    entries: tuple[Entry, ...]


def table(text: str = "") -> list[Part]:
    """The tubes whose name, or another name for them, has `text` in it; all of them where there is none."""
    wanted = key_of(text)
    parts = (
        Part("Power tubes", tuple(_power(tube) for tube in POWER_TUBES if _named(tube, wanted))),
        Part("Signal tubes", tuple(_signal(tube) for tube in SIGNAL_TUBES if _named(tube, wanted))),
        Part("Rectifiers", tuple(_rectifier(tube) for tube in RECTIFIERS if _named(tube, wanted))),
    )
    return [part for part in parts if part.entries]


def _named(tube: PowerTube | SignalTube | Rectifier, wanted: str) -> bool:
    return any(wanted in key_of(name) for name in (tube.name, *tube.aliases))


def _power(tube: PowerTube) -> Entry:
    facts = [
        ("Base", tube.base),
        ("Heater", _heater(tube.heater)),
        (f"At most, {tube.limits.system}", _limits(tube.limits)),
        ("At most, absolute", _limits(tube.absolute) if tube.absolute else ""),
        ("Resistance at the grid, fixed bias", _at_most(tube.grid_leak_fixed)),
        ("Resistance at the grid, cathode bias", _at_most(tube.grid_leak_cathode)),
        ("Typical", _operation(tube.typical)),
        ("Pins, from below", _pins(tube.pins)),
        ("Note", tube.note),
    ]
    short = f"{show(tube.limits.plate_watts, 2)}, {tube.limits.system}"
    return _entry(tube, tube.kind, short, facts)


def _signal(tube: SignalTube) -> Entry:
    facts = [("Base", tube.base), ("Heater", _heater(tube.heater))]
    for number, section in enumerate(tube.sections, 1):
        which = f"{section.kind} {number}" if len(tube.sections) > 1 else section.kind
        facts.append((f"{which}: at most, {section.limits.system}", _limits(section.limits)))
        typical = " / ".join(_operation(each) for each in section.typical)
        facts.append((f"{which}: typical", typical))
    facts += [("Pins, from below", _pins(tube.pins)), ("Note", tube.note)]
    mu = next((each.mu for each in tube.section.typical if each.mu), None)
    return _entry(tube, tube.section.kind, f"amplification {mu:g}" if mu else "", facts)


def _rectifier(tube: Rectifier) -> Entry:
    facts = [
        ("Base", tube.base),
        ("Cathode", "of its own, warms up slowly" if tube.is_indirect else "the filament"),
        ("Heater", _heater(tube.heater)),
        (
            "DC current",
            "; ".join(f"{show(amps)} up to {show(volts)} AC a plate" for volts, amps in tube.output),
        ),
        ("Peak current of a plate", _at_most(tube.peak_current)),
        ("First capacitor", _at_most(tube.first_capacitor)),
        (
            "In series with each plate, at least",
            "; ".join(f"{show(ohms)} at {show(volts)} AC" for volts, ohms in tube.supply_resistance),
        ),
        ("Drop", f"{show(tube.drop[0])} at {show(tube.drop[1])}"),
        ("Pins, from below", _pins(tube.pins)),
        ("Note", tube.note),
    ]
    return _entry(tube, "rectifier", show(tube.output[0][1]), facts)


def _entry(
    tube: PowerTube | SignalTube | Rectifier, kind: str, short: str, facts: list[tuple[str, str]]
) -> Entry:
    kept = tuple((label, words) for label, words in facts if words)
    return Entry(tube.name, ", ".join(tube.aliases), kind, short, kept, tube.source, tube.from_memory)


def _heater(heater: Heater) -> str:
    also = f"; {heater.also}" if heater.also else ""
    return f"{show(heater.volts, 2)}, {show(heater.current, 2)}{also}"


def _limits(limits: Limits) -> str:
    said = [f"plate {show(limits.plate_volts)}, {show(limits.plate_watts)}"]
    screen = [show(each) for each in (limits.screen_volts, limits.screen_watts) if each is not None]
    if screen:
        said.append(f"screen {', '.join(screen)}")
    if limits.cathode_current is not None:
        said.append(f"cathode {show(limits.cathode_current)}")
    return "; ".join(said)


def _operation(point: Operation) -> str:
    volts = [f"plate {show(point.plate_volts)}"]
    if point.screen_volts is not None:
        volts.append(f"screen {show(point.screen_volts)}")
    if point.grid_volts is not None:
        volts.append(f"grid {show(point.grid_volts)}")
    said = [", ".join(volts), show(point.plate_current)]
    if point.screen_current is not None:
        said.append(f"screen {show(point.screen_current)}")
    if point.mu is not None:
        said.append(f"µ {point.mu:g}")
    if point.transconductance is not None:
        said.append(f"{point.transconductance.to('mA/V').magnitude:.3g} mA/V")
    if point.plate_resistance is not None:
        said.append(show(point.plate_resistance))
    return "; ".join(said)


def _at_most(quantity: pint.Quantity | None) -> str:
    return f"at most {show(quantity)}" if quantity is not None else ""


def _pins(pins: Pins) -> str:
    return ", ".join(f"{pin} {what}" for pin, what in pins)
