"""Supplies of many kinds, and each as a netlist for ngspice with the same laws."""

import math
from dataclasses import dataclass
from typing import Final

import pint

from calc.engine.quantities import nominal, units
from calc.engine.supply import (
    Capacitor,
    Current,
    Load,
    Resistor,
    Section,
    Silicon,
    Stage,
    Supply,
    Topology,
    Tubes,
    Winding,
)
from calc.engine.tubes import find_rectifier

STARTS_AT: Final = 0.8  # of the no-load volts: ngspice is let run until it stands still from there


def volts(number: float) -> pint.Quantity:
    return units.Quantity(float(number), "V")


def ohms(number: float) -> pint.Quantity:
    return units.Quantity(float(number), "ohm")


def amps(number: float) -> pint.Quantity:
    return units.Quantity(float(number), "A")


def uf(number: float) -> pint.Quantity:
    return units.Quantity(number * 1e-6, "F")


def winding(rms: float, resistance: float, frequency: float = 60) -> Winding:
    return Winding(volts(rms), ohms(resistance), units.Quantity(float(frequency), "Hz"))


def capacitor(microfarads: float, esr: float | None = None, leak: float | None = None) -> Capacitor:
    return Capacitor(
        uf(microfarads),
        None if esr is None else ohms(esr),
        None if leak is None else ohms(leak),
    )


def rc(resistance: float, microfarads: float, *loads: Load, esr: float | None = None) -> Section:
    return Section(ohms(resistance), capacitor(microfarads, esr), loads)


def lc(henries: float, resistance: float, microfarads: float, *loads: Load) -> Section:
    return Section(ohms(resistance), capacitor(microfarads), loads, units.Quantity(float(henries), "H"))


def resistor(resistance: float) -> Resistor:
    return Resistor(ohms(resistance))


def current(amperes: float) -> Current:
    return Current(amps(amperes))


def triode(amperes: float, at: float) -> Tubes:
    return Tubes(Stage.TRIODE, amps(amperes), volts(at))


def pentode(amperes: float, at: float) -> Tubes:
    return Tubes(Stage.PENTODE, amps(amperes), volts(at))


def tube(name: str) -> object:
    return find_rectifier(name)


@dataclass(frozen=True)
class Case:
    """A supply, and for how long ngspice runs until it stands still."""

    name: str
    supply: Supply
    seconds: float


_CT, _BRIDGE, _HALF, _DOUBLER = (
    Topology.CENTRE_TAP,
    Topology.BRIDGE,
    Topology.HALF_WAVE,
    Topology.DOUBLER,
)
_SI: Final = Silicon()

CASES: Final = (
    Case(
        "5U4GB, two RC sections, a triode stage",
        Supply(winding(350, 60), _CT, tube("5U4GB"), capacitor(40), (current(0.1),),
               (rc(1000, 20, current(0.01)), rc(10_000, 10, triode(0.004, 250)))),
        1.2,
    ),
    Case(
        "silicon, a choke, a pentode stage",
        Supply(winding(350, 60), _CT, _SI, capacitor(47, 2), (resistor(4000),), (lc(5, 150, 47, pentode(0.02, 350)),)),
        2.0,
    ),
    Case(
        "bridge at 50 Hz, the same current at any volts",
        Supply(winding(300, 20, 50), _BRIDGE, _SI, capacitor(100), (current(0.2),)),
        0.6,
    ),
    Case(
        "half wave for a bias, one RC section",
        Supply(winding(50, 30, 50), _HALF, _SI, capacitor(25), (resistor(15_000),), (rc(1000, 25, resistor(22_000)),)),
        1.5,
    ),
    Case(
        "doubler, one RC section",
        Supply(winding(120, 15), _DOUBLER, _SI, capacitor(80), (current(0.1),), (rc(470, 40, resistor(20_000)),)),
        1.0,
    ),
    Case(
        "5Y3GT into a tired 8 µF",
        Supply(winding(325, 100), _CT, tube("5Y3GT"), capacitor(8, 5), (triode(0.08, 320),)),
        0.4,
    ),
    Case(
        "5AR4, a choke and two RC sections",
        Supply(winding(380, 130, 50), _CT, tube("GZ34"), capacitor(50, 1), (pentode(0.14, 420),),
               (lc(3, 60, 50, current(0.012)), rc(4700, 20, triode(0.006, 350)), rc(10_000, 10, triode(0.002, 300)))),
        3.0,
    ),
    Case(
        "a transistor amp's rail",
        Supply(winding(28, 0.4), _BRIDGE, _SI, capacitor(4700, 0.05), (current(1.5),)),
        0.5,
    ),
    Case(
        "6X4 through its least resistance",
        Supply(winding(325, 525), _CT, tube("6X4"), capacitor(10), (resistor(8000),),
               (rc(2200, 10, triode(0.01, 200)),)),
        0.8,
    ),
    Case(
        "half wave off the line",
        Supply(winding(117, 25), _HALF, _SI, capacitor(40), (pentode(0.06, 120),), (rc(1000, 40, resistor(30_000)),)),
        0.8,
    ),
    Case(
        "dried out and leaky",
        Supply(winding(350, 60), _CT, _SI, capacitor(6, 60, 47_000), (current(0.08),),
               (rc(2200, 4, current(0.01), esr=80),)),
        0.5,
    ),
    Case(
        "a choke that resonates with its capacitor at the ripple",
        Supply(winding(300, 80), _CT, _SI, capacitor(20), (resistor(5000),), (lc(2, 40, 0.88, resistor(6000)),)),
        1.0,
    ),
)  # fmt: skip


def netlist(case: Case) -> str:
    """A supply for ngspice: nodes n0, n1, …; the last two mains periods are kept.

    Silicon is a D model with the same IS, N and RS and 20 pF of junction, without which ngspice gives up on a
    bridge; a rectifier tube is a current source of I = K·V^1.5.
    """
    supply = case.supply
    lines = [case.name, *_rectifier(supply)]
    start = STARTS_AT * nominal(supply.no_load_volts, "V")
    if supply.topology is Topology.DOUBLER:
        lines += _capacitor("0a", supply.reservoir, "n0", "middle", start / 2)
        lines += _capacitor("0b", supply.reservoir, "middle", "0", start / 2)
    else:
        lines += _capacitor("0", supply.reservoir, "n0", "0", start)
    lines += _loads(supply.loads, 0)
    for number, section in enumerate(supply.sections, start=1):
        before, after = f"n{number - 1}", f"n{number}"
        if section.inductance is not None:
            lines.append(f"LS{number} {before} x{number} {_si(section.inductance)}")
            before = f"x{number}"
        lines.append(f"RS{number} {before} {after} {_si(section.resistance)}")
        lines += _capacitor(str(number), section.capacitor, after, "0", start)
        lines += _loads(section.loads, number)
    period, count = 1 / _si(supply.winding.frequency), periods(case)
    lines += [
        ".options reltol=1e-4 method=gear",
        f".tran {period / 200} {count * period} {(count - 2) * period} {period / 400} uic",
    ]
    return "\n".join(lines)


def periods(case: Case) -> int:
    """How many mains periods ngspice runs for."""
    return round(case.seconds * _si(case.supply.winding.frequency))


def _si(quantity: pint.Quantity) -> float:
    return float(nominal(quantity.to_base_units()))


def _rectifier(supply: Supply) -> list[str]:
    crest = _si(supply.winding.volts) * math.sqrt(2)
    wave = f"SIN(0 {crest!r} {_si(supply.winding.frequency)})"
    against = f"SIN(0 {-crest!r} {_si(supply.winding.frequency)})"
    series = _si(supply.winding.resistance)
    match supply.topology:
        case Topology.CENTRE_TAP:
            lines = [f"V1 s1 0 {wave}", f"V2 s2 0 {against}", f"RW1 s1 a {series}", f"RW2 s2 b {series}"]
            ways = [("a", "n0"), ("b", "n0")]
        case Topology.BRIDGE:
            lines = [f"V1 s1 b {wave}", f"RW1 s1 a {series}", "RG b 0 1e9"]
            ways = [("a", "n0"), ("b", "n0"), ("0", "a"), ("0", "b")]
        case Topology.HALF_WAVE:
            lines, ways = [f"V1 s1 0 {wave}", f"RW1 s1 a {series}"], [("a", "n0")]
        case Topology.DOUBLER:
            lines = [f"V1 s1 middle {wave}", f"RW1 s1 a {series}"]
            ways = [("a", "n0"), ("0", "a")]
    device = supply.rectifier
    for number, (plate, cathode) in enumerate(ways, start=1):
        if isinstance(device, Silicon):
            lines.append(f"D{number} {plate} {cathode} silicon")
        else:
            law = f"{device.perveance!r}*pwr(uramp(v({plate},{cathode})),1.5)"
            lines.append(f"B{number} {plate} {cathode} I={law}")
    if isinstance(device, Silicon):
        lines.append(
            f".model silicon D(IS={device.saturation} N={device.emission} RS={device.resistance} CJO=20p)"
        )
    return lines


def _capacitor(name: str, part: Capacitor, above: str, below: str, start: float) -> list[str]:
    esr = 0.001 if part.esr is None else _si(part.esr)
    lines = [
        f"RE{name} {above} e{name} {esr}",
        f"C{name} e{name} {below} {_si(part.capacitance)!r} IC={start}",
    ]
    if part.leak is not None:
        lines.append(f"RK{name} {above} {below} {_si(part.leak)}")
    return lines


def _loads(loads: tuple[Load, ...], number: int) -> list[str]:
    lines = []
    for each, load in enumerate(loads):
        name, node = f"L{number}x{each}", f"n{number}"
        if isinstance(load, Resistor):
            lines.append(f"R{name} {node} 0 {_si(load.resistance)}")
        elif isinstance(load, Current):
            lines.append(f"I{name} {node} 0 {_si(load.current)}")
        else:
            amperes, at = _si(load.current), _si(load.volts)
            if load.stage is Stage.TRIODE:
                law = f"{amperes}*pwr(uramp(v({node}))/{at},1.5)"
            else:
                law = f"{amperes}*atan(uramp(v({node}))/20)/{math.atan(at / 20)!r}"
            lines.append(f"B{name} {node} 0 I={law}")
    return lines
