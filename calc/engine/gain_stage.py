"""A triode stage: common cathode or cathode follower. Where it stands, what it does, and what ails it.

The tube is Koren's model of 1996 (`calc.engine.triode`); the operating point is solved, small signals go through the
whole network at once (`calc.engine.network`), so that no corner is a product of single stages.
The load is taken to pass no DC: there is a capacitor somewhere before its ground.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum

import pint

from calc.engine.errors import CircuitError
from calc.engine.network import GROUND, Network, Part, Passband, Transconductance
from calc.engine.quantities import band, nominal, units
from calc.engine.roots import crossing
from calc.engine.triode import Capacitances, Slopes, plate_current, slopes
from calc.engine.tubes import Koren

_PHASES = 32  # samples of a cycle: harmonics to the 15th don't fold back
LEAST_SUPPLY, MOST_VOLTS, MOST_OHMS = 5.0, 3000.0, 1e9
# of the current, between tubes that are well, the model's error included; common practice, no source
EMISSION_SPREAD = 0.25
SUPPLY_SPREAD = 0.10  # of a supply that was not measured: mains and parts; common practice, no source
WELL, ILL = 2.0, 3.0  # usual spreads away from what is expected; between them it is too close to call


class Output(StrEnum):
    """Where the signal is taken."""

    PLATE = "plate"
    CATHODE = "cathode"


class Bias(StrEnum):
    """Where the grid's resistor goes."""

    GROUND = "ground"  # to the chassis
    VOLTS = "volts"  # to a fixed voltage: direct coupling, or a bias supply
    TAP = "tap"  # to the joint of the two cathode resistors


@dataclass(frozen=True)
class Stage:
    """A triode stage in SI floats: volts, ohms, farads.

    `tail` stands below `cathode_resistor`; the bypass capacitor is across `cathode_resistor` only. `grid_volts` are
    what the grid's resistor returns to where `bias` is VOLTS. Without `input_capacitor` or `output_capacitor` (None)
    the signal goes straight through; `load` may be infinite.

    Raises `CircuitError` for what can't be built.
    """

    model: Koren
    supply: float
    plate_resistor: float
    cathode_resistor: float
    output: Output = Output.PLATE
    bias: Bias = Bias.GROUND
    grid_volts: float = 0.0
    tail: float = 0.0
    bypass: float | None = None
    grid_leak: float = 1e6
    grid_stopper: float = 0.0
    source_impedance: float = 0.0
    input_capacitor: float | None = None
    output_capacitor: float | None = None
    load: float = math.inf
    load_capacitance: float = 0.0
    capacitances: Capacitances | None = None

    def __post_init__(self) -> None:
        ohms = (
            self.plate_resistor,
            self.cathode_resistor,
            self.tail,
            self.grid_stopper,
            self.source_impedance,
        )
        numbers = (self.supply, self.grid_volts, *ohms, self.grid_leak)
        if not all(math.isfinite(number) for number in numbers):
            raise CircuitError("Every value must be a number.")
        if not LEAST_SUPPLY <= self.supply <= MOST_VOLTS:
            raise CircuitError(f"The supply must be between {LEAST_SUPPLY:g} and {MOST_VOLTS:g} V.")
        if any(not 0 <= each <= MOST_OHMS for each in ohms) or not 1 <= self.grid_leak <= MOST_OHMS:
            raise CircuitError("A resistor must be between nothing and 1 GΩ, the grid's at least 1 Ω.")
        if not self.load > 0:
            raise CircuitError("The load must be more than 0 Ω. A shorted stage gives nothing.")
        if self.output is Output.PLATE and self.plate_resistor < 1:
            raise CircuitError("There is no plate resistor, so there is nothing to take the signal from.")
        if self.output is Output.CATHODE and self.cathode_resistor + self.tail < 1:
            raise CircuitError("There is no cathode resistor, so there is nothing to take the signal from.")
        if self.cathode_resistor + self.tail + self.plate_resistor < 1:
            raise CircuitError("Nothing limits the current. Write the plate or the cathode resistor.")
        if self.bias is Bias.TAP and (self.tail <= 0 or self.cathode_resistor <= 0):
            raise CircuitError("A grid that returns to a tap needs both cathode resistors.")
        if abs(self.grid_volts) > MOST_VOLTS:
            raise CircuitError(f"The grid's volts can be {MOST_VOLTS:g} at most.")

    @property
    def below_cathode(self) -> float:
        """The ohms from the cathode to the chassis."""
        return self.cathode_resistor + self.tail

    @property
    def tap(self) -> float:
        """The share of the cathode's volts that the grid's resistor returns to."""
        return self.tail / self.below_cathode if self.bias is Bias.TAP else 0.0

    @property
    def is_direct(self) -> bool:
        """Whether the grid hangs on the stage before, which sets its volts; it has no resistor of its own then."""
        return self.bias is Bias.VOLTS and self.input_capacitor is None

    @property
    def rest(self) -> float:
        """The volts from the chassis that the grid is held at, beside a tap's."""
        return self.grid_volts if self.bias is Bias.VOLTS else 0.0


@dataclass(frozen=True)
class OperatingPoint:
    """Where a stage stands with no signal. Plate, cathode and grid are from the chassis.

    `tube_watts`, `plate_watts` and `cathode_watts` are what the tube and the resistors turn into heat;
    `transconductance` is in A/V, `mu` a plain number.
    """

    current: pint.Quantity
    plate: pint.Quantity
    cathode: pint.Quantity
    grid: pint.Quantity
    plate_to_cathode: pint.Quantity
    grid_to_cathode: pint.Quantity
    tube_watts: pint.Quantity
    plate_watts: pint.Quantity
    cathode_watts: pint.Quantity
    transconductance: pint.Quantity
    plate_resistance: pint.Quantity
    mu: float


@dataclass(frozen=True)
class Middle:
    """What a stage does in the middle of its band, capacitors as good as shorts or not there.

    `gain` is a plain number, below zero where the stage turns the signal over. `output_impedance` leaves the coupling
    capacitor and the next stage out. `input_capacitance` is the Miller capacitance and the grid-cathode one.
    """

    gain: float
    output_impedance: pint.Quantity
    input_capacitance: pint.Quantity | None

    @property
    def decibels(self) -> float:
        return 20 * math.log10(abs(self.gain))


@dataclass(frozen=True)
class Headroom:
    """How far the output can go on its AC load line, as peak volts from where it rests.

    One way ends where the grid meets the cathode and draws current, the other where the tube is cut off. `drive` is
    the peak at the grid that brings the first of the two, and `output` the peak that comes out then.
    `upper` and `lower` are where the grid line and cut-off stand: (volts from plate to cathode, amperes).
    """

    up: pint.Quantity
    down: pint.Quantity
    drive_to_grid_current: pint.Quantity
    drive_to_cut_off: pint.Quantity
    drive: pint.Quantity
    output: pint.Quantity
    first: str  # "grid current" or "cut-off"
    grid_line: tuple[float, float]
    cut_off: tuple[float, float]


@dataclass(frozen=True)
class Harmonics:
    """The second and third harmonic in shares of the fundamental, and its peak at the output."""

    second: float
    third: float
    output: pint.Quantity


@dataclass(frozen=True)
class Corners:
    """Frequencies in hertz; None where there is none.

    `low` and `high` are the −3 dB points of the whole stage, solved on the network. `zero`, `pole` and `shelf` (a
    ratio) are the bypass capacitor's; `bypass` is its −3 dB point alone, solved: it isn't the pole where the shelf is
    low, and there is none where the shelf is under 3 dB.
    """

    low: pint.Quantity | None
    high: pint.Quantity | None
    most: float
    input_coupling: pint.Quantity | None
    output_coupling: pint.Quantity | None
    zero: pint.Quantity | None
    pole: pint.Quantity | None
    shelf: float | None
    bypass: pint.Quantity | None


def operating_point(stage: Stage) -> OperatingPoint:
    """Solve where a stage stands.

    Raises `CircuitError` where the grid would stand above the cathode: it draws current there, and the model ends.
    Source of the tube: Koren 1996.
    """
    amps = _rest(stage)
    vk, va, vg = _volts(stage, amps)
    if vg - vk > 1e-9:
        raise CircuitError(
            f"The grid would stand {vg - vk:.2g} V above the cathode and draw current: the model ends there. "
            "Raise the cathode's resistance or lower the grid's volts."
        )
    small = slopes(stage.model, va - vk, vg - vk)
    if not amps > 1e-9 or not small.ga > 0:
        raise CircuitError(
            "The tube is cut off: next to nothing flows. Check the grid's volts and the supply."
        )
    q = units.Quantity
    return OperatingPoint(
        current=q(amps, "A"),
        plate=q(va, "V"),
        cathode=q(vk, "V"),
        grid=q(vg, "V"),
        plate_to_cathode=q(va - vk, "V"),
        grid_to_cathode=q(vg - vk, "V"),
        tube_watts=q(amps * (va - vk), "W"),
        plate_watts=q(amps**2 * stage.plate_resistor, "W"),
        cathode_watts=q(amps**2 * stage.below_cathode, "W"),
        transconductance=q(small.gm, "A/V"),
        plate_resistance=q(small.rp, "ohm"),
        mu=small.mu,
    )


def middle(stage: Stage, *, is_bypassed: bool | None = None) -> Middle:
    """Return gain, output impedance and input capacitance in the middle of the band.

    `is_bypassed` says whether the bypass capacitor counts; None: where there is one.
    Source: the triode's equivalent circuit, any textbook; F. Langford-Smith (ed.), Radiotron Designer's Handbook, 4th
    ed., 1953, ch. 12. Raises `CircuitError` as `operating_point`.
    """
    point = operating_point(stage)
    mu, rp = point.mu, nominal(point.plate_resistance)
    in_plate, in_cathode = _ac_loads(stage, is_bypassed)
    bare_cathode = _ac_loads(replace(stage, load=math.inf), is_bypassed)[1]
    whole = rp + in_plate + (mu + 1) * in_cathode
    to_plate, to_cathode = -mu * in_plate / whole, mu * in_cathode / whole
    if stage.output is Output.PLATE:
        gain = to_plate
        ohms = _beside(stage.plate_resistor, rp + (mu + 1) * in_cathode)
    else:
        gain = to_cathode
        ohms = _beside((rp + stage.plate_resistor) / (mu + 1), bare_cathode)
    if not abs(gain) > 1e-9:
        raise CircuitError("Nothing comes out: the output is shorted by the bypass capacitor.")
    c = stage.capacitances
    farads = c.grid_plate * (1 - to_plate) + c.grid_cathode * (1 - to_cathode) if c else None
    return Middle(gain, units.Quantity(ohms, "ohm"), None if farads is None else units.Quantity(farads, "F"))


def headroom(stage: Stage) -> Headroom:
    """Return how far the output can swing either way, with the bypass as it is.

    The cathode of a bypassed stage is taken to stand still. Cut-off is where no current is left.
    Source: load-line construction, Radiotron Designer's Handbook, 4th ed., ch. 12. Raises `CircuitError` as
    `operating_point`.
    """
    point = operating_point(stage)
    amps, vak, vgk = (
        nominal(each) for each in (point.current, point.plate_to_cathode, point.grid_to_cathode)
    )
    in_plate, in_cathode = _ac_loads(stage)
    both = in_plate + in_cathode
    most = crossing(
        lambda i: plate_current(stage.model, vak - (i - amps) * both, 0.0) - i,
        amps * 0.999999,
        amps + vak / both,
        relative=1e-10,
    )
    ending = vak + amps * both
    slight = 0.01 * amps
    off_at = crossing(
        lambda vg: plate_current(stage.model, ending - slight * both, vg) - slight,
        -ending - 10,
        min(vgk, 0.0),
        relative=1e-9,
    )
    to_grid = (most - amps) * in_cathode - vgk
    to_off = vgk - off_at + (amps - slight) * in_cathode
    of_output = in_plate if stage.output is Output.PLATE else in_cathode
    rise, fall = (most - amps) * of_output, amps * of_output
    up, down = (fall, rise) if stage.output is Output.PLATE else (rise, fall)
    drive = min(to_grid, to_off)
    volts = units.Quantity
    return Headroom(
        up=volts(up, "V"),
        down=volts(down, "V"),
        drive_to_grid_current=volts(to_grid, "V"),
        drive_to_cut_off=volts(to_off, "V"),
        drive=volts(drive, "V"),
        output=volts(min(rise, fall), "V"),
        first="grid current" if to_grid <= to_off else "cut-off",
        grid_line=(vak - (most - amps) * both, most),
        cut_off=(ending, 0.0),
    )


def harmonics(stage: Stage, peak: float) -> Harmonics:
    """Estimate the second and third harmonic for a sine of `peak` volts at the grid.

    The transfer curve along the AC load line is sampled over a cycle and taken apart (a discrete Fourier transform).
    The shift of the bias by the signal itself, and capacitors, are left out. Raises `CircuitError` where the peak
    reaches grid current, or isn't above zero.
    """
    if not (math.isfinite(peak) and peak > 0):
        raise CircuitError("The signal must be more than zero.")
    point = operating_point(stage)
    amps, vak, vgk = (
        nominal(each) for each in (point.current, point.plate_to_cathode, point.grid_to_cathode)
    )
    in_plate, in_cathode = _ac_loads(stage)
    both = in_plate + in_cathode
    half = _PHASES // 2
    currents = []
    for n in range(half + 1):  # a sine is the same on both sides of its crest
        v = peak * math.cos(math.pi * n / half)

        def over(i: float, v: float = v) -> float:
            grid = vgk + v - (i - amps) * in_cathode
            return plate_current(stage.model, vak - (i - amps) * both, grid) - i

        currents.append(crossing(over, 0.0, amps + vak / both, relative=1e-11))
    if vgk + peak - (currents[0] - amps) * in_cathode > 1e-6:
        raise CircuitError("The signal drives the grid into grid current: the output is clipped there.")

    def part(order: int) -> float:
        ends = (currents[0] + currents[-1] * (-1) ** order) / 2
        return (
            ends + sum(i * math.cos(math.pi * n * order / half) for n, i in enumerate(currents[1:-1], 1))
        ) * (2 / half)

    first = part(1)
    of_output = in_plate if stage.output is Output.PLATE else in_cathode
    return Harmonics(abs(part(2) / first), abs(part(3) / first), units.Quantity(abs(first) * of_output, "V"))


def network(stage: Stage, *, small: Slopes | None = None) -> tuple[Network, str]:
    """Return a stage as a network for small signals and the name of its output; the generator is at "in".

    Raises `CircuitError` as `operating_point`.
    """
    if small is None:
        amps = _rest(stage)
        vk, va, vg = _volts(stage, amps)
        small = slopes(stage.model, va - vk, vg - vk)
    parts = [
        Part("R", "in", "ahead", stage.source_impedance),
        Part("R", "leak", "g", stage.grid_stopper),
        Part("R", "p", "k", min(small.rp, 1e12)),
        Part("R", "p", GROUND, stage.plate_resistor),
        Part("R", "k", "t", stage.cathode_resistor),
        Part("R", "t", GROUND, stage.tail),
        _through(stage.input_capacitor, "ahead", "leak"),
    ]
    at = "p" if stage.output is Output.PLATE else "k"
    parts.append(_through(stage.output_capacitor, at, "out"))
    if math.isfinite(stage.load):
        parts.append(Part("R", "out", GROUND, stage.load))
    if stage.load_capacitance:
        parts.append(Part("C", "out", GROUND, stage.load_capacitance))
    if stage.bypass is not None:
        parts.append(Part("C", "k", "t", stage.bypass))
    if not stage.is_direct:
        parts.append(Part("R", "leak", "t" if stage.bias is Bias.TAP else GROUND, stage.grid_leak))
    if c := stage.capacitances:
        parts += [
            Part("C", "g", "p", c.grid_plate),
            Part("C", "g", "k", c.grid_cathode),
            Part("C", "p", "k", c.plate_cathode),
        ]
    return Network(parts, source="in", tubes=[Transconductance("p", "k", "g", "k", small.gm)]), "out"


def passband(stage: Stage) -> Passband:
    """Return the most of the gain and the −3 dB points, on the whole network. Raises `CircuitError` as `network`."""
    whole, output = network(stage)
    return whole.passband(output, 0.01)


def corners(stage: Stage) -> Corners:
    """Return the frequencies where a stage begins and ends, and what each capacitor has to do with it.

    Zero, pole and shelf of the bypass: Radiotron Designer's Handbook, 4th ed., ch. 12; −3 dB points are solved.
    Raises `CircuitError` as `operating_point`.
    """
    point = operating_point(stage)
    found = passband(stage)
    out = nominal(middle(stage).output_impedance)
    zero = pole = shelf = bypass = None
    if stage.bypass is not None and stage.cathode_resistor > 0:
        rk, mu, rp = stage.cathode_resistor, point.mu, nominal(point.plate_resistance)
        in_plate, in_cathode = _ac_loads(stage, True)
        looking_in = (rp + in_plate) / (mu + 1) + in_cathode
        zero = _hertz(1 / (2 * math.pi * rk * stage.bypass))
        pole = _hertz(1 / (2 * math.pi * _beside(rk, looking_in) * stage.bypass))
        shelf = 1 + rk / looking_in
        if shelf > math.sqrt(2):
            alone = replace(
                stage, input_capacitor=None, output_capacitor=None, capacitances=None, load_capacitance=0.0
            )
            bypass = _hertz(passband(alone).low)
    return Corners(
        low=_hertz(found.low),
        high=_hertz(found.high),
        most=found.most,
        input_coupling=_hertz(
            stage.input_capacitor
            and 1 / (2 * math.pi * stage.input_capacitor * (stage.source_impedance + stage.grid_leak))
        ),
        output_coupling=_hertz(
            stage.output_capacitor
            and math.isfinite(stage.load)
            and 1 / (2 * math.pi * stage.output_capacitor * (out + stage.load))
        ),
        zero=zero,
        pole=pole,
        shelf=shelf,
        bypass=bypass,
    )


@dataclass(frozen=True)
class Readings:
    """What a meter showed, from the chassis; each may carry ±, and may be missing (None).

    `meter` is its input resistance in ohms: it loads what it measures, an open cathode above all.
    """

    plate: pint.Quantity | None = None
    cathode: pint.Quantity | None = None
    grid: pint.Quantity | None = None
    meter: float = 10e6


class Trouble(StrEnum):
    """What one thing may have gone wrong."""

    PLATE_HIGH = "plate resistor high"
    PLATE_LOW = "plate resistor low"
    CATHODE_HIGH = "cathode resistor high"
    CATHODE_LOW = "cathode resistance low"
    GRID_UP = "grid pulled up"
    GRID_DOWN = "grid pulled down"
    TIRED = "tired tube"
    STRONG = "tube passes more"
    PLATE_LEAK = "leak from the plate"
    SUPPLY = "supply off"


_COMMON = (  # of faults that fit alike, the one met oftener stands first; common practice, no source
    Trouble.TIRED,
    Trouble.PLATE_HIGH,
    Trouble.CATHODE_HIGH,
    Trouble.CATHODE_LOW,
    Trouble.GRID_UP,
    Trouble.PLATE_LEAK,
    Trouble.SUPPLY,
    Trouble.STRONG,
    Trouble.GRID_DOWN,
    Trouble.PLATE_LOW,
)


@dataclass(frozen=True)
class Fault:
    """One thing that may be wrong, and how well it explains the readings.

    `became` is what the part must have become, `was` what it should be: a resistance, volts, or (for a tube) a share
    of the usual current. `ratio` is the one by the other. `off` is how far the readings still are from what this
    fault would give, in usual spreads: nothing is a perfect fit.
    """

    trouble: Trouble
    became: pint.Quantity
    was: pint.Quantity | None
    ratio: float
    off: float
    is_open: bool = False
    is_tail: bool = False  # of a cathode's two resistors it is the lower

    @property
    def fits(self) -> bool:
        return self.off <= WELL


@dataclass(frozen=True)
class Health:
    """What readings say of a stage: expected volts with their usual spread, how far off, and what would explain it.

    `off` is in usual spreads (a Mahalanobis distance). `plate_current` and `cathode_current` are by Ohm's law from the
    readings; in a triode they are the same.
    """

    plate: pint.Quantity
    cathode: pint.Quantity
    grid: pint.Quantity
    off: float
    faults: tuple[Fault, ...]
    plate_current: pint.Quantity | None
    cathode_current: pint.Quantity | None
    currents_differ: float | None  # in ± of their difference
    count: int  # of readings

    @property
    def is_well(self) -> bool:
        return self.off <= WELL

    @property
    def is_ill(self) -> bool:
        return self.off > ILL


@dataclass(frozen=True)
class _State:
    """A stage with something wrong: its supply and resistors as they are now, `emission` as a share of the usual
    current, `pull` volts added at the grid, `leak` ohms from the plate to the chassis.
    """

    stage: Stage
    supply: float
    plate_resistor: float
    cathode_resistor: float
    tail: float
    emission: float = 1.0
    pull: float = 0.0
    leak: float = math.inf

    @classmethod
    def of(cls, stage: Stage) -> "_State":
        return cls(stage, stage.supply, stage.plate_resistor, stage.cathode_resistor, stage.tail)

    @property
    def below_cathode(self) -> float:
        return self.cathode_resistor + self.tail

    @property
    def tap(self) -> float:
        return self.tail / self.below_cathode if self.stage.bias is Bias.TAP else 0.0


def diagnose(
    stage: Stage,
    readings: Readings,
    *,
    tolerance: float = 0.10,
    supply_measured: pint.Quantity | None = None,
) -> Health:
    """Say whether readings are those of a healthy stage, and rank the single faults that would explain them.

    Each fault has one unknown: what the part became. It is found by the least squares of the readings' distances, the
    stage being solved anew for each try. Distances are measured in usual spreads: resistors within `tolerance`, tubes
    within `EMISSION_SPREAD`, the supply within its meter's ± (or `SUPPLY_SPREAD` where it wasn't measured), and the
    meter's ±, at least 1 %; together, as they go together (a Mahalanobis distance).

    Raises `CircuitError` where there is no reading, or the healthy stage itself can't be.
    """
    _check_tolerance(tolerance)
    if not (math.isfinite(readings.meter) and readings.meter >= 1e3):
        raise CircuitError("The meter's input resistance must be at least 1 kΩ.")
    if supply_measured is not None:
        stage = replace(stage, supply=nominal(supply_measured, "V"))
    operating_point(stage)
    taken = _taken(stage, readings)
    if not taken:
        raise CircuitError("Write the plate's or the cathode's volts as measured.")

    healthy = _State.of(stage)
    usual = _all_read(healthy, readings.meter)
    spread, whole = _spread(healthy, usual, readings.meter, taken, tolerance, _supply_spread(supply_measured))
    weights = _inverse(spread)

    def distance(state: _State) -> float:
        would = _all_read(state, readings.meter)
        off = [value - would[at] for at, value, _ in taken]
        square = sum(
            a * w * b for a, row in zip(off, weights, strict=True) for b, w in zip(off, row, strict=True)
        )
        return math.sqrt(max(square, 0.0))

    faults = _faults(healthy, distance, supply_measured is None)
    plate_amps = cathode_amps = differ = None
    resistor = _with(1.0, tolerance)
    if readings.plate is not None and stage.plate_resistor > 0:
        supply = supply_measured if supply_measured is not None else units.Quantity(stage.supply, "V")
        plate_amps = ((supply - readings.plate) / units.Quantity(stage.plate_resistor, "ohm") / resistor).to(
            "A"
        )
    if readings.cathode is not None and stage.below_cathode > 0:
        other = _with(1.0, tolerance)
        cathode_amps = (readings.cathode / units.Quantity(stage.below_cathode, "ohm") / other).to("A")
    if plate_amps is not None and cathode_amps is not None:
        gap = plate_amps - cathode_amps
        differ = abs(nominal(gap)) / max(band(gap), 1e-9)
    return Health(
        plate=units.Quantity(_with(usual[0], whole[0]), "V"),
        cathode=units.Quantity(_with(usual[1], whole[1]), "V"),
        grid=units.Quantity(usual[2], "V"),
        off=distance(healthy),
        faults=tuple(sorted(faults, key=lambda each: (round(each.off * 2), _COMMON.index(each.trouble)))),
        plate_current=plate_amps,
        cathode_current=cathode_amps,
        currents_differ=differ,
        count=len(taken),
    )


def expected(
    stage: Stage, *, tolerance: float = 0.10, supply_measured: pint.Quantity | None = None
) -> tuple[pint.Quantity, pint.Quantity]:
    """Return the volts at plate and cathode of a healthy stage with their usual spread, from the chassis.

    The spread is of resistors within `tolerance`, tubes and the supply, as in `diagnose`. Raises `CircuitError` as
    `operating_point`.
    """
    _check_tolerance(tolerance)
    if supply_measured is not None:
        stage = replace(stage, supply=nominal(supply_measured, "V"))
    operating_point(stage)
    healthy = _State.of(stage)
    meter = MOST_OHMS
    read = _all_read(healthy, meter)
    _, whole = _spread(healthy, read, meter, [], tolerance, _supply_spread(supply_measured))
    return units.Quantity(_with(read[0], whole[0]), "V"), units.Quantity(_with(read[1], whole[1]), "V")


def leak_into_grid(grid: pint.Quantity, before: pint.Quantity, grid_leak: float) -> pint.Quantity | None:
    """Return the ohms of a coupling capacitor's leak that holds a grid at `grid` volts, with `before` volts on its
    other side and `grid_leak` ohms to the chassis (Ohm's law). None where it doesn't leak.
    """
    up, far = nominal(grid, "V"), nominal(before, "V")
    return units.Quantity((far - up) / up * grid_leak, "ohm") if 0 < up < far else None


def _check_tolerance(tolerance: float) -> None:
    if not (math.isfinite(tolerance) and 0.001 <= tolerance <= 0.5):
        raise CircuitError("The tolerance of the resistors must be between 0.1 and 50 %.")


def _supply_spread(measured: pint.Quantity | None) -> float:
    """The share of the supply that it may be off by."""
    if measured is None:
        return SUPPLY_SPREAD
    return max(0.005, band(measured, "V") / nominal(measured, "V"))


def _with(value: float, spread: float) -> object:
    from uncertainties import ufloat

    return ufloat(value, spread)


def _taken(stage: Stage, readings: Readings) -> list[tuple[int, float, float]]:
    """Which reading (0 plate, 1 cathode, 2 grid), its volts and the meter's ±, the model's own error in it."""
    taken = []
    for at, value in enumerate((readings.plate, readings.cathode, readings.grid)):
        if value is None or (at == 0 and stage.plate_resistor <= 0) or (at == 2 and stage.bias is Bias.TAP):
            continue
        if at == 1 and stage.below_cathode <= 0:
            continue
        volts = nominal(value, "V")
        if not math.isfinite(volts) or abs(volts) > 2 * MOST_VOLTS:
            raise CircuitError("A reading must be a number of volts.")
        model = {0: 0.01, 1: 0.08, 2: 0.02}[at] * abs(
            volts
        )  # the model is poor near cut-off; common practice
        meter = max(band(value, "V"), 0.01 * abs(volts), 0.02)
        taken.append((at, volts, math.hypot(meter, model)))
    return taken


def _all_read(state: _State, meter: float) -> tuple[float, float, float]:
    """What a meter shows at plate, cathode and grid, one at a time, with what it loads."""
    stage = state.stage
    ra, rk = state.plate_resistor, state.below_cathode
    beside = 1 / (1 / meter + 1 / state.leak)
    at_plate = state.supply
    if ra > 0:
        share = beside / (beside + ra)
        loaded = state.supply * share
        at_plate = loaded - _settle(state, loaded, ra * share, rk) * ra * share
    share = 1.0 if math.isinf(state.leak) else state.leak / (state.leak + ra)
    with_meter = _beside(rk, meter)
    at_cathode = _settle(state, state.supply * share, ra * share, with_meter) * with_meter
    drop = 1.0 if stage.bias is not Bias.GROUND else meter / (meter + stage.grid_leak)
    return at_plate, at_cathode, stage.rest + state.pull * drop


def _settle(state: _State, supply: float, in_plate: float, in_cathode: float) -> float:
    """Amperes of a stage whose grid, once it meets the cathode, stays there."""
    stage = state.stage
    rest, tap, emission = stage.rest + state.pull, state.tap, state.emission
    around = in_plate + in_cathode

    def over(amps: float) -> float:
        vk = amps * in_cathode
        grid = min(rest + tap * vk - vk, 0.0)
        return emission * plate_current(stage.model, supply - amps * around, grid) - amps

    # more current always leaves less to draw it with: the one crossing lies between nothing and the first of these
    most = min(over(0.0), supply / around if around > 0 else math.inf)
    return crossing(over, 0.0, most, relative=1e-7) if most > 1e-12 else 0.0


def _spread(
    healthy: _State,
    usual: tuple[float, float, float],
    meter: float,
    taken: list[tuple[int, float, float]],
    tolerance: float,
    supply: float,
) -> tuple[list[list[float]], list[float]]:
    """The covariance of the readings of healthy stages, and the spread of plate and cathode by themselves (volts)."""
    step = 0.05
    up = 1 + step
    changed = (
        (tolerance, replace(healthy, plate_resistor=healthy.plate_resistor * up)),
        (
            tolerance,
            replace(healthy, cathode_resistor=healthy.cathode_resistor * up, tail=healthy.tail * up),
        ),
        (EMISSION_SPREAD, replace(healthy, emission=up)),
        (supply, replace(healthy, supply=healthy.supply * up)),
    )
    moves = []
    for share, state in changed:
        read = _all_read(state, meter)
        moves.append([(a - b) / step * share for a, b in zip(read, usual, strict=True)])
    covariance = [
        [
            sum(move[a] * move[b] for move in moves) + (own**2 if i == j else 0.0)
            for j, (b, _, _) in enumerate(taken)
        ]
        for i, (a, _, own) in enumerate(taken)
    ]
    return covariance, [math.sqrt(sum(move[at] ** 2 for move in moves)) for at in (0, 1)]


def _inverse(matrix: list[list[float]]) -> list[list[float]]:
    """The inverse of a small, positive matrix (Gauss and Jordan)."""
    size = len(matrix)
    work = [row[:] + [float(i == j) for j in range(size)] for i, row in enumerate(matrix)]
    for i in range(size):
        head = work[i][i]
        work[i] = [each / head for each in work[i]]
        for j in range(size):
            if j != i:
                factor = work[j][i]
                work[j] = [a - factor * b for a, b in zip(work[j], work[i], strict=True)]
    return [row[size:] for row in work]


def _faults(healthy: _State, distance: Callable[[_State], float], supply_is_open: bool) -> list[Fault]:
    stage = healthy.stage
    ohm, volt = (lambda value: units.Quantity(value, "ohm")), (lambda value: units.Quantity(value, "V"))
    found: list[Fault] = []

    def scaled(
        trouble: Trouble, name: str, least: float, most: float, unit: Callable[[float], pint.Quantity]
    ) -> None:
        whole = getattr(stage, name)
        if whole <= 0:
            return
        ratio, off = _best(lambda p: distance(replace(healthy, **{name: whole * p})), least, most)
        found.append(
            Fault(trouble, unit(whole * ratio), unit(whole), ratio, off, ratio > 20, is_tail=name == "tail")
        )

    if stage.plate_resistor > 0:
        scaled(Trouble.PLATE_HIGH, "plate_resistor", 1.0, 1e4, ohm)
        scaled(Trouble.PLATE_LOW, "plate_resistor", 0.01, 1.0, ohm)
    for part in ("cathode_resistor", "tail"):
        scaled(Trouble.CATHODE_HIGH, part, 1.0, 1e5, ohm)
        scaled(Trouble.CATHODE_LOW, part, 1e-3, 1.0, ohm)
    pull, off = _best(lambda p: distance(replace(healthy, pull=p)), 0.05, stage.supply)
    found.append(Fault(Trouble.GRID_UP, volt(stage.rest + pull), volt(stage.rest), 1 + pull, off))
    pull, off = _best(lambda p: distance(replace(healthy, pull=-p)), 0.05, max(20.0, stage.rest))
    found.append(Fault(Trouble.GRID_DOWN, volt(stage.rest - pull), volt(stage.rest), 1 + pull, off))
    share = units.Quantity
    emission, off = _best(lambda p: distance(replace(healthy, emission=p)), 1e-4, 1.0)
    found.append(Fault(Trouble.TIRED, share(emission * 100, "percent"), None, emission, off))
    emission, off = _best(lambda p: distance(replace(healthy, emission=p)), 1.0, 1000.0)
    found.append(Fault(Trouble.STRONG, share(emission * 100, "percent"), None, emission, off))
    if stage.plate_resistor > 0:
        most = 1e3 * stage.plate_resistor
        leak, off = _best(lambda p: distance(replace(healthy, leak=p)), 100.0, most)
        found.append(Fault(Trouble.PLATE_LEAK, ohm(leak), None, most / leak, off))
    if supply_is_open:
        scaled(Trouble.SUPPLY, "supply", 0.02, min(2.0, MOST_VOLTS / stage.supply), volt)
    return found


def _best(distance: Callable[[float], float], least: float, most: float) -> tuple[float, float]:
    """The unknown that leaves the least distance: a coarse look over the whole range, then golden section."""
    low, high = math.log(least), math.log(most)
    count = 16
    places = [low + (high - low) * n / count for n in range(count + 1)]
    offs = [distance(math.exp(place)) for place in places]
    best = min(range(count + 1), key=offs.__getitem__)
    a, b = places[max(best - 1, 0)], places[min(best + 1, count)]
    golden = (math.sqrt(5) - 1) / 2
    c, d = b - golden * (b - a), a + golden * (b - a)
    at_c, at_d = distance(math.exp(c)), distance(math.exp(d))
    for _ in range(16):
        if at_c < at_d:
            b, d, at_d = d, c, at_c
            c = b - golden * (b - a)
            at_c = distance(math.exp(c))
        else:
            a, c, at_c = c, d, at_d
            d = a + golden * (b - a)
            at_d = distance(math.exp(d))
    tries = [(offs[best], places[best]), (at_c, c), (at_d, d)]
    off, place = min(tries)
    return math.exp(place), off


def _rest(stage: Stage) -> float:
    """Amperes with no signal, to eleven digits; the grid is not held."""
    around = stage.plate_resistor + stage.below_cathode

    def over(amps: float) -> float:
        vk = amps * stage.below_cathode
        grid = stage.rest + (stage.tap - 1) * vk
        return plate_current(stage.model, stage.supply - amps * around, grid) - amps

    most = min(over(0.0), stage.supply / around)
    if not most > 0:
        raise CircuitError(
            "The tube is cut off: next to nothing flows. Check the grid's volts and the supply."
        )
    return crossing(over, 0.0, most, relative=1e-12)


def _volts(stage: Stage, amps: float) -> tuple[float, float, float]:
    """Cathode, plate and grid from the chassis."""
    vk = amps * stage.below_cathode
    return vk, stage.supply - amps * stage.plate_resistor, stage.rest + stage.tap * vk


def _ac_loads(stage: Stage, is_bypassed: bool | None = None) -> tuple[float, float]:
    """The ohms in the plate and in the cathode for signals in the middle of the band."""
    counts = stage.bypass is not None if is_bypassed is None else is_bypassed
    in_cathode = stage.tail if counts else stage.below_cathode
    if stage.output is Output.PLATE:
        return _beside(stage.plate_resistor, stage.load), in_cathode
    return stage.plate_resistor, _beside(in_cathode, stage.load)


def _beside(one: float, other: float) -> float:
    """Two resistances in parallel; either may be infinite or nothing."""
    if one <= 0 or other <= 0:
        return 0.0
    if math.isinf(other):
        return one
    return other if math.isinf(one) else one * other / (one + other)


def _through(capacitor: float | None, one: str, other: str) -> Part:
    return Part("R", one, other, 0.0) if capacitor is None else Part("C", one, other, capacitor)


def _hertz(number: float | bool | None) -> pint.Quantity | None:
    return units.Quantity(float(number), "Hz") if number else None
