"""A power supply with a reservoir: what its rectifier, capacitors and loads do in the steady state, to the wave.

The wave itself is computed, not the textbook's ripple formula: see `calc.engine.steady`. Currents are per diode or
plate; DC is the mean over a mains period, ripple is peak to peak over the same period. The winding's volts are its
no-load rms, its resistance includes the primary's share. Silicon follows the exponential law, a tube I = K·V^1.5.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Final

import pint

from calc.engine import steady
from calc.engine.bounds import inside
from calc.engine.discharge import SAFE
from calc.engine.errors import CircuitError
from calc.engine.quantities import nominal, units
from calc.engine.tubes import Rectifier

if TYPE_CHECKING:
    import numpy as np

MOST_SECTIONS: Final = 6
# Of nominal. ANSI C84.1, service voltage within range A: ±5 %, from secondary sources
HIGH_LINE: Final = 1.05
LONGEST_BLEED: Final = 1e6  # s
_LEAST_ESR = 1e-3  # Ω: no capacitor has less, and nothing is divided by zero
# S across every capacitor, far below any real one's: a supply without a load has a steady state too
_LEAK = 1e-9
_LEAK_SHARE = 1e-4  # of the loads that draw the same at any volts: else figures of 1e8 V cancel in between
# S per siemens of susceptance, on what a doubler's two capacitors differ by: nothing else would settle the mean of it
_EVENS_OUT = 1e-4
_SAMPLES = 256  # in half a mains period
_FINEST = 1024
_IN_A_PULSE = 24  # samples that a charge must last for, or they are made finer
_PENTODE_KNEE = 20.0  # V: kVB of Koren 1996 for power pentodes is 12 to 24
_MOST_ROUNDS = 20


class Topology(StrEnum):
    """How the rectifier is connected."""

    CENTRE_TAP = "full wave, centre tap"
    BRIDGE = "bridge"
    HALF_WAVE = "half wave"
    DOUBLER = "doubler"  # full wave: two equal capacitors in series, charged in turn

    @property
    def is_symmetric(self) -> bool:
        """Whether both half waves charge the same capacitor in the same manner."""
        return self in (Topology.CENTRE_TAP, Topology.BRIDGE)

    @property
    def in_series(self) -> int:
        """How many diodes the current goes through at a time."""
        return 2 if self is Topology.BRIDGE else 1


class Stage(StrEnum):
    """What draws a tube stage's current from its node."""

    TRIODE = "triode"
    PENTODE = "pentode"


@dataclass(frozen=True)
class Winding:
    """The high-voltage winding: no-load rms volts and resistance of one side (of the whole, where there is no centre
    tap), with the primary's share in it; and the mains frequency."""

    volts: pint.Quantity
    resistance: pint.Quantity
    frequency: pint.Quantity


@dataclass(frozen=True)
class Silicon:
    """A silicon diode by the exponential law I = IS·(exp(V/(N·Vt)) − 1) with a series resistance, and its ratings.

    The defaults are those of the usual 1 A, 1000 V diode (about 0.75 V in use, 30 A once), from memory of its sheets.
    """

    reverse_volts: pint.Quantity = units.Quantity(1000.0, "V")
    mean_current: pint.Quantity = units.Quantity(1.0, "A")
    surge_current: pint.Quantity = units.Quantity(30.0, "A")
    saturation: float = 5e-8  # A
    emission: float = 1.8
    resistance: float = 0.04  # Ω
    source: str = "the usual 1 A diode’s sheets, from memory"


@dataclass(frozen=True)
class Capacitor:
    """A capacitor with its series resistance (None for none), what it leaks through and what is printed on it."""

    capacitance: pint.Quantity
    esr: pint.Quantity | None = None
    leak: pint.Quantity | None = None
    rating: pint.Quantity | None = None


@dataclass(frozen=True)
class Resistor:
    """A load that follows Ohm's law, such as a bleeder."""

    resistance: pint.Quantity


@dataclass(frozen=True)
class Current:
    """A load that draws the same current at any volts."""

    current: pint.Quantity


@dataclass(frozen=True)
class Tubes:
    """A tube stage that draws `current` at `volts`.

    A triode stage follows I ∝ V^1.5 (Langmuir's law at a bias that follows the supply); a pentode whose screen is
    held follows I ∝ arctan(V/20 V), flat above the knee (the plate's factor in N. Koren, Glass Audio 8(5), 1996).
    """

    stage: Stage
    current: pint.Quantity
    volts: pint.Quantity


Load = Resistor | Current | Tubes


@dataclass(frozen=True)
class Section:
    """What leads from one node to the next, and what hangs there: a resistor, or a choke with its resistance."""

    resistance: pint.Quantity
    capacitor: Capacitor
    loads: tuple[Load, ...] = ()
    inductance: pint.Quantity | None = None


@dataclass(frozen=True)
class Supply:
    """A whole supply. In a doubler the reservoir is each of the two capacitors."""

    winding: Winding
    topology: Topology
    rectifier: Silicon | Rectifier
    reservoir: Capacitor
    loads: tuple[Load, ...] = ()
    sections: tuple[Section, ...] = ()

    def at_line(self, share: float) -> Supply:
        """The same supply on `share` of the nominal mains."""
        winding = dataclasses.replace(self.winding, volts=self.winding.volts * share)
        return dataclasses.replace(self, winding=winding)

    @property
    def capacitors(self) -> tuple[Capacitor, ...]:
        """One a node, the reservoir first."""
        return (self.reservoir, *(section.capacitor for section in self.sections))

    @property
    def no_load_volts(self) -> pint.Quantity:
        """What every node rises to when nothing is drawn: the crest, or twice that behind a doubler.

        Source: textbook; F. Langford-Smith, Radiotron Designer's Handbook, 4th ed. 1953, ch. 30, from memory.
        """
        return self.winding.volts * math.sqrt(2) * (2 if self.topology is Topology.DOUBLER else 1)

    @property
    def reverse_volts(self) -> pint.Quantity:
        """The most that a diode must block, nothing drawn: twice the crest, or the crest in a bridge. Same source."""
        return self.winding.volts * math.sqrt(2) * (1 if self.topology is Topology.BRIDGE else 2)

    def no_load_across(self, number: int) -> pint.Quantity:
        """The volts across a node's capacitor when nothing is drawn; of a doubler's reservoir each takes half."""
        return self.no_load_volts / (2 if number == 0 and self.topology is Topology.DOUBLER else 1)


@dataclass(frozen=True)
class Node:
    """What stands at a node: 0 is the reservoir, n is after section n."""

    dc: pint.Quantity
    ripple: pint.Quantity  # peak to peak
    ripple_rms: pint.Quantity
    highest: pint.Quantity
    load_current: pint.Quantity  # mean
    capacitor_current: pint.Quantity  # rms, the ripple current in the capacitor
    series_current: (
        pint.Quantity
    )  # mean, through what leads to the node; of the reservoir, the rectifier's whole output
    series_power: (
        pint.Quantity
    )  # in the resistor or the choke that leads there; of the reservoir, in the winding


@dataclass(frozen=True)
class Waves:
    """One mains period, as floats: seconds; volts of every node; amperes of the rectifier (both plates together)."""

    times: tuple[float, ...]
    volts: tuple[tuple[float, ...], ...]
    current: tuple[float, ...]


@dataclass(frozen=True)
class Steady:
    """A supply in its periodic steady state. Currents are of one diode or plate; the winding's is of one side."""

    nodes: tuple[Node, ...]
    diode_mean: pint.Quantity
    diode_peak: pint.Quantity
    diode_rms: pint.Quantity
    winding_rms: pint.Quantity
    inrush: pint.Quantity  # see `inrush`
    waves: Waves


@dataclass(frozen=True)
class Check:
    """Something held against a limit. `is_least` where the limit is one that must be reached."""

    what: str
    found: pint.Quantity
    limit: pint.Quantity
    source: str
    is_least: bool = False

    @property
    def holds(self) -> bool:
        """Whether it is within the limit; on the limit is within."""
        found, limit = nominal(self.found), nominal(self.limit.to(self.found.units))
        return found >= limit * (1 - 1e-9) if self.is_least else found <= limit * (1 + 1e-9)


def plate_supply_resistance(
    side: pint.Quantity, primary: pint.Quantity, side_volts: pint.Quantity, primary_volts: pint.Quantity
) -> pint.Quantity:
    """Return the resistance that one plate sees: its side of the winding and the primary's share, in ohms.

    R = R_side + R_primary·(V_side/V_primary)². May carry ±.
    Raises `CircuitError` for volts of zero or resistances below it.
    Source: data sheets' "plate supply impedance"; Radiotron Designer's Handbook, 4th ed., ch. 30, from memory.
    """
    own = inside(side, "ohm", "The resistance of the side", least=0, most=1e6)
    share = inside(primary, "ohm", "The resistance of the primary", least=0, most=1e6)
    high = inside(side_volts, "V", "The side's voltage", least=0, most=1e5, is_open=True)
    low = inside(primary_volts, "V", "The primary's voltage", least=0, most=1e5, is_open=True)
    return units.Quantity(own + share * (high / low) ** 2, "ohm")


def solve(supply: Supply) -> Steady:
    """Return the periodic steady state of a supply.

    DC holds to some 0.1 %, ripple to some 1 % of a circuit simulator with the same laws. Where both half waves charge
    one capacitor, both diodes never conduct at once; a supply that is all but shorted is refused.

    Raises:
        CircuitError: a value is out of this world, the load takes more than the supply can give, or no steady
            state was found.
    Source: see `calc.engine.steady`; checked against ngspice.
    """
    circuit = _Circuit(supply)
    samples = _SAMPLES
    while True:
        solution = _solve(circuit, samples)
        charging = int((solution.current > 0.01 * solution.current.max()).sum())
        if charging >= _IN_A_PULSE or samples >= _FINEST:
            return _told(circuit, solution)
        samples *= 4


def inrush(supply: Supply) -> pint.Quantity:
    """Return the peak current at switch-on in the worst case: at the crest, capacitors empty, a tube's cathode hot.

    In amperes, of one diode or plate. It is limited by the winding, the rectifier and what the empty capacitors
    leave in series. Raises `CircuitError` as `solve` does.
    """
    return _inrush(_Circuit(supply))


def _inrush(circuit: _Circuit) -> pint.Quantity:
    import numpy as np

    network = circuit.network([0.0] * circuit.count, leak=circuit.leak)
    left = float(circuit.control @ network.d[: circuit.node_count, 0])
    current, _ = circuit.law(left)(np.array([circuit.crest]))
    return _q(float(current[0]), "A")


def bleed_times(supply: Supply, safe: pint.Quantity = SAFE) -> tuple[pint.Quantity | None, ...]:
    """Return how long each node takes to fall to `safe` volts after switching off, by its resistors alone.

    The tubes are taken to draw nothing (cold, pulled or on standby) and the capacitors to start at the no-load
    volts: the worst case. In seconds; None where it takes longer than `LONGEST_BLEED`: nothing bleeds it.
    Raises `CircuitError` as `solve` does.
    """
    import numpy as np

    circuit = _Circuit(supply)
    limit = float(nominal(units.Quantity(inside(safe, "V", "The safe voltage", least=1, most=1000), "V")))
    network = circuit.network([0.0] * circuit.count, leak=0.0)
    volts = np.zeros(len(network.a))
    for number in range(len(circuit.incidences)):
        volts[number] = circuit.crest * circuit.no_load_share(number)
    look = network.c[: circuit.count]
    step = 1e-3
    power = steady.exponential(network.a * step)
    powers = [power]
    while step * 2 ** len(powers) < LONGEST_BLEED:
        powers.append(powers[-1] @ powers[-1])
    return tuple(_falls_to(limit, look[n], powers, volts, step) for n in range(circuit.count))


def _falls_to(
    limit: float, look: np.ndarray, powers: list[np.ndarray], state: np.ndarray, step: float
) -> pint.Quantity | None:
    """The time until a node is below a limit, by halving: the longest sum of steps at which it isn't yet."""
    if float(look @ state) <= limit:
        return units.Quantity(0.0, "s")
    passed = 0.0
    for number in reversed(range(len(powers))):
        further = powers[number] @ state
        if float(look @ further) > limit:
            state, passed = further, passed + step * 2.0**number
    if passed >= step * (2.0 ** len(powers) - 2):
        return None
    return units.Quantity(passed + step, "s")


def checks(supply: Supply, found: Steady, high_line: float = HIGH_LINE) -> tuple[Check, ...]:
    """Hold a supply against its rectifier's limits and its capacitors' ratings.

    `high_line` is the highest mains to be expected, of nominal; what is blocked or stored with nothing drawn is
    held against its rating there. Source: the rectifier's sheet, named in each check; capacitors' marking.
    """
    volts = supply.winding.volts
    made = []
    if isinstance(supply.rectifier, Rectifier):
        limits = supply.rectifier
        made.append(Check("AC volts at each plate", volts, limits.most_volts, limits.source))
        most = limits.most_current(volts)
        if most is not None:
            made.append(Check("DC taken", found.nodes[0].series_current, most, limits.source))
        made += [
            Check("Peak current of a plate", found.diode_peak, limits.peak_current, limits.source),
            Check("First capacitor", supply.reservoir.capacitance, limits.first_capacitor, limits.source),
            Check(
                "Resistance in series with each plate",
                supply.winding.resistance,
                limits.least_resistance(volts),
                limits.source,
                is_least=True,
            ),
        ]
    else:
        diode = supply.rectifier
        blocked = supply.reverse_volts * high_line
        made += [
            Check(
                "Reverse volts of a diode, no load, high mains", blocked, diode.reverse_volts, diode.source
            ),
            Check("Mean current of a diode", found.diode_mean, diode.mean_current, diode.source),
            Check("Inrush through a diode", found.inrush, diode.surge_current, diode.source),
        ]
    for number, capacitor in enumerate(supply.capacitors):
        if capacitor.rating is not None:
            name = f"{node_name(number)} capacitor, no load, high mains"
            across = supply.no_load_across(number) * high_line
            made.append(Check(name, across, capacitor.rating, "the capacitor’s marking"))
    return tuple(made)


def node_name(number: int) -> str:
    """What a node is called: 0 is the reservoir."""
    return "Reservoir" if number == 0 else f"Section {number}"


@dataclass(frozen=True)
class _Solution:
    outputs: np.ndarray  # node volts, then capacitor currents, then section currents; by sample
    current: np.ndarray  # of one diode, over the time that was solved


class _Circuit:
    """A supply as checked floats, and the linear network that its loads leave."""

    def __init__(self, supply: Supply) -> None:
        import numpy as np

        if len(supply.sections) > MOST_SECTIONS:
            raise CircuitError(f"There can be {MOST_SECTIONS} sections at most.")
        winding = supply.winding
        self.supply, self.topology = supply, supply.topology
        self.volts = _number(winding.volts, "V", "The winding's voltage", 0.5, 10_000)
        self.winding = _number(winding.resistance, "ohm", "The winding's resistance", 0.001, 100_000)
        self.frequency = _number(winding.frequency, "Hz", "The mains frequency", 10, 1000)
        self.crest = self.volts * math.sqrt(2)
        self.count = len(supply.capacitors)
        self.is_doubler = self.topology is Topology.DOUBLER
        self.node_count = self.count + self.is_doubler
        unit = np.eye(self.node_count)
        first = unit[0] - unit[-1] if self.is_doubler else unit[0]
        self.control = first  # what the first diode's volts and current are of
        self.feeds = [first, unit[-1]] if self.is_doubler else [first]
        self.incidences = [first, *unit[1 : self.count], *self.feeds[1:]]
        parts = [*supply.capacitors, *([supply.reservoir] if self.is_doubler else [])]
        self.farads = [_number(part.capacitance, "F", "A capacitor", 1e-9, 1.0) for part in parts]
        self.esr = [
            max(_number(part.esr, "ohm", "A series resistance", 0, 1e6), _LEAST_ESR)
            if part.esr is not None
            else _LEAST_ESR
            for part in parts
        ]
        self.leaks = [
            1 / _number(part.leak, "ohm", "A leak", 1, 1e12) if part.leak is not None else 0.0
            for part in parts
        ]
        self.henries = [
            None if each.inductance is None else _number(each.inductance, "H", "A choke", 1e-6, 1000)
            for each in supply.sections
        ]
        self.series = [
            _number(each.resistance, "ohm", "A choke's resistance", 0, 1e6)
            if each.inductance is not None
            else _number(each.resistance, "ohm", "A section's resistor", 0.01, 1e7)
            for each in supply.sections
        ]
        groups = [supply.loads, *(section.loads for section in supply.sections)]
        self.loads = [_Loads(loads) for loads in groups]
        drawn = sum(loads.constant for loads in self.loads)
        self.leak = max(_LEAK, _LEAK_SHARE * drawn / self.crest / len(parts))

    def no_load_share(self, number: int) -> float:
        """Of the crest, what a capacitor is charged to with nothing drawn."""
        behind = self.is_doubler and 0 < number < self.count
        return 2.0 if behind else 1.0

    def law(self, further: float = 0.0) -> steady.Law:
        """The rectifier with the winding's and a further resistance in series."""
        device, many = self.supply.rectifier, self.topology.in_series
        if isinstance(device, Rectifier):
            return steady.tube(device.perveance / many**1.5, self.winding + further)
        return steady.silicon(
            device.saturation, device.emission * many, device.resistance * many + self.winding + further
        )

    def network(self, slopes: list[float], *, leak: float) -> steady.Network:
        """The network with the loads' conductances. Inputs: what the diodes feed, then a current into each node."""
        import numpy as np

        nodes, caps = self.node_count, len(self.incidences)
        span = np.array(self.incidences)
        esr, farads = np.array(self.esr), np.array(self.farads)
        chokes = [n for n, henries in enumerate(self.henries) if henries is not None]
        joins = np.zeros((len(self.series), nodes))
        for number in range(len(self.series)):
            joins[number, number], joins[number, number + 1] = 1.0, -1.0
        y = (span.T * (1 / esr + np.array(self.leaks) + leak)) @ span
        if self.is_doubler and leak:
            apart = self.feeds[0] - self.feeds[1]
            y += np.outer(apart, apart) * _EVENS_OUT * 2 * math.pi * self.frequency * self.farads[0]
        for number, (loads, slope) in enumerate(zip(self.loads, slopes, strict=True)):
            y[number, number] += loads.conductance + slope
        for number, ohms in enumerate(self.series):
            if self.henries[number] is None:
                y += np.outer(joins[number], joins[number]) / ohms
        feeds = np.hstack((np.array(self.feeds).T, np.eye(nodes)[:, : self.count]))
        into = np.hstack(((span / esr[:, None]).T, -joins[chokes].T))
        volts_x, volts_u = np.split(steady.solved(y, np.hstack((into, feeds))), (into.shape[1],), axis=1)
        # currents into capacitors, volts across chokes
        charge_x, charge_u = span @ volts_x / esr[:, None], span @ volts_u / esr[:, None]
        charge_x[:, :caps] -= np.diag(1 / esr)
        across_x, across_u = joins @ volts_x, joins @ volts_u
        flow_x, flow_u = np.zeros_like(across_x), np.zeros_like(across_u)
        slope_x, slope_u = [], []
        for number, ohms in enumerate(self.series):
            henries = self.henries[number]
            if henries is None:
                flow_x[number], flow_u[number] = across_x[number] / ohms, across_u[number] / ohms
                continue
            state = caps + len(slope_x)
            flow_x[number, state] = 1.0
            drop = np.zeros(into.shape[1])
            drop[state] = ohms
            slope_x.append((across_x[number] - drop) / henries)
            slope_u.append(across_u[number] / henries)
        a = np.vstack((charge_x / farads[:, None], *slope_x))
        b = np.vstack((charge_u / farads[:, None], *slope_u))
        return steady.Network(
            a, b, np.vstack((volts_x, charge_x, flow_x)), np.vstack((volts_u, charge_u, flow_u))
        )


class _Loads:
    """What hangs at one node, as floats."""

    def __init__(self, loads: tuple[Load, ...]) -> None:
        self.conductance = 0.0
        self.constant = 0.0
        self.tubes: list[tuple[Stage, float, float]] = []
        for load in loads:
            if isinstance(load, Resistor):
                self.conductance += 1 / _number(load.resistance, "ohm", "A load's resistance", 0.1, 1e9)
            elif isinstance(load, Current):
                self.constant += _number(load.current, "A", "A load's current", 0, 100)
            else:
                current = _number(load.current, "A", "A stage's current", 0, 100)
                volts = _number(load.volts, "V", "A stage's voltage", 1, 10_000)
                self.tubes.append((load.stage, current, volts))

    def drawn(self, volts: np.ndarray) -> np.ndarray:
        """What the tubes draw."""
        import numpy as np

        total = np.zeros_like(volts)
        above = np.maximum(volts, 0.0)
        for stage, current, at in self.tubes:
            if stage is Stage.TRIODE:
                total += current * (above / at) ** 1.5
            else:
                total += current * np.arctan(above / _PENTODE_KNEE) / math.atan(at / _PENTODE_KNEE)
        return total

    def slope(self, volts: float) -> float:
        """By how much the tubes draw more a volt."""
        total, above = 0.0, max(volts, 0.0)
        for stage, current, at in self.tubes:
            if stage is Stage.TRIODE:
                total += 1.5 * current * math.sqrt(above / at) / at
            else:
                bend = 1 / (1 + (above / _PENTODE_KNEE) ** 2) / _PENTODE_KNEE
                total += current * bend / math.atan(at / _PENTODE_KNEE)
        return total


def _number(quantity: pint.Quantity, unit: str, what: str, least: float, most: float) -> float:
    return nominal(units.Quantity(inside(quantity, unit, what, least=least, most=most), unit))


def _solve(circuit: _Circuit, samples: int) -> _Solution:
    """The steady state, the tubes' currents made straight about their volts and what is bent about them put right."""
    import numpy as np

    period = 1 / circuit.frequency
    if circuit.topology.is_symmetric:
        period /= 2
    else:
        samples *= 2
    step = period / samples
    drive = circuit.crest * np.sin(2 * math.pi * circuit.frequency * step * np.arange(samples))
    law, doubler, count = circuit.law(), circuit.is_doubler, circuit.count
    tubes = [number for number in range(count) if circuit.loads[number].tubes]
    feeds = len(circuit.feeds)
    inputs = [*range(feeds), *(feeds + number for number in tubes)]
    means = np.full(count, 0.85 * circuit.crest * (2 if doubler else 1))
    volts = np.repeat(means[:, None], samples, axis=1)
    guess = np.full(samples, 0.85 * circuit.crest)
    for _ in range(_MOST_ROUNDS):
        slopes = [circuit.loads[number].slope(means[number]) for number in range(count)]
        network = circuit.network(slopes, leak=circuit.leak)
        reduced = steady.Network(network.a, network.b[:, inputs], network.c, network.d[:, inputs])
        answers = steady.periodic(reduced, step, samples)
        constant = np.zeros(feeds + count)
        bent = np.zeros((len(tubes), samples))
        for row, number in enumerate(tubes):
            wave = circuit.loads[number].drawn(volts[number]) - slopes[number] * volts[number]
            constant[feeds + number] = -wave.mean()
            bent[row] = wave.mean() - wave
        for number, loads in enumerate(circuit.loads):
            constant[feeds + number] -= loads.constant
        base = np.repeat(network.at_rest(constant)[:, None], samples, axis=1)
        if tubes:
            base += steady.answer(answers[:, feeds:], bent)
        control = np.zeros(len(base))
        control[: circuit.node_count] = circuit.control
        kernels = np.tensordot(control, answers[:, :feeds], axes=1)
        kernel = kernels[0] + np.roll(kernels[1], samples // 2) if doubler else kernels[0]
        current = steady.conduct(law, drive, kernel, control @ base, guess)
        fed = np.array([current, np.roll(current, samples // 2)]) if doubler else current[None, :]
        outputs = base + steady.answer(answers[:, :feeds], fed)
        guess = control @ outputs
        moved = float(np.abs(outputs[:count] - volts).max())
        volts, means = outputs[:count], outputs[:count].mean(axis=1)
        _refuse_too_much(circuit, means)
        if not tubes or moved < 1e-6 * circuit.crest:
            return _Solution(outputs, current)
    raise CircuitError("No steady state was found for these tube stages. Check their currents and volts.")


def _refuse_too_much(circuit: _Circuit, means: np.ndarray) -> None:
    for number, mean in enumerate(means):
        if not mean > 0:
            raise CircuitError(
                f"{node_name(number)}: the load takes more than this supply can give. "
                "Check its current, and the resistances."
            )
    if means[0] < 0.1 * circuit.crest:
        raise CircuitError(
            "The reservoir would be all but shorted. Check the loads, and the resistance of the winding."
        )


def _told(circuit: _Circuit, solution: _Solution) -> Steady:
    """The figures of a solution."""
    import numpy as np

    count, nodes = circuit.count, circuit.node_count
    volts = solution.outputs[:count]
    charges = solution.outputs[nodes : nodes + len(circuit.incidences)]
    flows = solution.outputs[nodes + len(circuit.incidences) :]
    one = solution.current
    halves = circuit.topology.is_symmetric
    diode_rms = math.sqrt(float((one**2).mean()) / (2 if halves else 1))
    winding_rms = diode_rms * (math.sqrt(2) if circuit.topology in (Topology.BRIDGE, Topology.DOUBLER) else 1)
    diode_mean = float(one.mean()) / (2 if halves else 1)
    whole = one if circuit.topology is not Topology.DOUBLER else one + np.roll(one, len(one) // 2)
    told = []
    for number in range(count):
        wave = volts[number]
        dc = float(wave.mean())
        loads = circuit.loads[number]
        drawn = float(loads.drawn(wave).mean()) + loads.constant + loads.conductance * dc
        if number:
            flow, ohms = flows[number - 1], circuit.series[number - 1]
            mean, power = float(flow.mean()), float((flow**2).mean()) * ohms
        else:
            mean = float(one.mean())
            power = winding_rms**2 * circuit.winding * (2 if circuit.topology is Topology.CENTRE_TAP else 1)
        told.append(
            Node(
                dc=_q(dc, "V"),
                ripple=_q(float(np.ptp(wave)), "V"),
                ripple_rms=_q(float(wave.std()), "V"),
                highest=_q(float(wave.max()), "V"),
                load_current=_q(drawn, "A"),
                capacitor_current=_q(float(charges[number].std()), "A"),
                series_current=_q(mean, "A"),
                series_power=_q(power, "W"),
            )
        )
    turns = 2 if halves else 1
    seconds = np.arange(len(one) * turns) / (circuit.frequency * len(one) * turns)
    waves = Waves(
        tuple(seconds.tolist()),
        tuple(tuple(np.tile(wave, turns).tolist()) for wave in volts),
        tuple(np.tile(whole, turns).tolist()),
    )
    return Steady(
        tuple(told),
        _q(diode_mean, "A"),
        _q(float(one.max()), "A"),
        _q(diode_rms, "A"),
        _q(winding_rms, "A"),
        _inrush(circuit),
        waves,
    )


def _q(number: float, unit: str) -> pint.Quantity:
    if not math.isfinite(number):
        raise CircuitError("No figures can be given for this supply. Check the values.")
    return units.Quantity(number, unit)
