"""Spring tanks: what drives them, what they are loaded with, and whether another one will serve.

A tank's transducers are coils: their impedance rises with frequency, and it is the current in the input coil that
moves the springs. Impedances are magnitudes at 1 kHz, as they are measured or printed in ohms. Values may carry
their ±; what is computed carries the ± that follows.
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import pint

from calc.engine.errors import CircuitError
from calc.engine.quantities import band, nominal, units

SOURCE: Final = "tank makers’ data, from memory"
AT: Final = 1000.0  # Hz: where impedances are said
TOP: Final = 5000.0  # Hz: springs carry little above

# Ohms at 1 kHz, ohms of DC, and the nominal drive in amperes rms. Tank makers' data, from memory.
INPUTS: Final = (
    (8.0, 0.8, 28e-3),
    (150.0, 26.0, 6.5e-3),
    (200.0, 27.0, 5.8e-3),
    (250.0, 36.0, 5.0e-3),
    (600.0, 58.0, 3.1e-3),
    (1475.0, 200.0, 2.0e-3),
)
OUTPUTS: Final = ((500.0, 42.0), (2250.0, 200.0), (10_000.0, 800.0))
AMPERE_TURNS: Final = 2.5  # what the nominal drives come to, whatever the coil

# Common practice, no source.
ENOUGH_LOAD: Final = 10.0  # times the output's impedance
LEAST_LOAD: Final = 3.0
DRIVE_WITHIN: Final = (0.5, 2.0)  # of the nominal current: weak below, driven into saturation above
MATCH_WITHIN: Final = (0.67, 1.5)
MATCH_AT_MOST: Final = (0.5, 2.0)
OUTPUT_WITHIN: Final = (0.5, 2.0)
OUTPUT_AT_MOST: Final = (0.2, 5.0)
DC_WITHIN: Final = (0.7, 1.4)
_OPEN: Final = 10.0


class Side(StrEnum):
    """Which of the two transducers."""

    INPUT = "input"
    OUTPUT = "output"


class Standing(StrEnum):
    """How something stands to what is wanted."""

    SERVES = "serves"
    WITH_CARE = "with care"
    NO = "no"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class Coil:
    """A transducer: ohms at 1 kHz, ohms of DC, henries."""

    ohms: pint.Quantity
    dc: pint.Quantity
    inductance: pint.Quantity

    def impedance(self, frequency: float) -> pint.Quantity:
        """Return the magnitude in ohms at a frequency in hertz: √(R² + (2πfL)²)."""
        reactance = 2 * math.pi * frequency * self.inductance.to("H").magnitude
        return units.Quantity((self.dc.to("ohm").magnitude ** 2 + reactance**2) ** 0.5, "ohm")

    def beside(self, resistance: Any, frequency: float) -> Any:
        """The magnitude in ohms of the coil in series with a resistance in ohms."""
        reactance = 2 * math.pi * frequency * self.inductance.to("H").magnitude
        return ((self.dc.to("ohm").magnitude + resistance) ** 2 + reactance**2) ** 0.5


@dataclass(frozen=True)
class Driver:
    """What drives a tank, as it stands at the tank: volts rms without load, and ohms behind them."""

    volts: pint.Quantity
    source: pint.Quantity


@dataclass(frozen=True)
class Drive:
    """The current in the input coil at 1 kHz, the nominal one, their ratio, and how that stands."""

    current: pint.Quantity
    wanted: pint.Quantity
    ratio: float
    standing: Standing


@dataclass(frozen=True)
class Match:
    """A tank on a transformer: turns ratio, ohms that the primary sees, tank over secondary, and how that stands."""

    turns: float
    reflected: pint.Quantity
    ratio: float
    standing: Standing


@dataclass(frozen=True)
class Recovery:
    """The load on the output coil: its ratio to the coil's ohms, what it takes off at 1 and 5 kHz (dB, below zero)."""

    ratio: float
    loss_at_1k: float
    loss_at_5k: float
    standing: Standing


class Dc(StrEnum):
    """What a coil's DC resistance says."""

    FITS = "fits"
    LOW = "low"
    HIGH = "high"
    OPEN = "open"
    UNSURE = "unsure"


@dataclass(frozen=True)
class DcCheck:
    """A measured DC resistance: what it says, what was expected, and the ohms at 1 kHz that it would fit, if any."""

    says: Dc
    expected: pint.Quantity
    would_fit: float | None


@dataclass(frozen=True)
class Check:
    """One thing that a stand-in is asked for."""

    name: str
    standing: Standing
    said: str


@dataclass(frozen=True)
class StandIn:
    """Whether a stand-in will serve, and why."""

    standing: Standing
    checks: tuple[Check, ...]


class Ground(StrEnum):
    """How the ground of a socket of the stand-in compares with that of the tank it stands in for."""

    SAME = "same"
    NOW_ISOLATED = "now-isolated"
    NOW_GROUNDED = "now-grounded"
    UNKNOWN = "unknown"


class Alike(StrEnum):
    """Whether something is the same in both."""

    SAME = "same"
    LESS = "less"
    MORE = "more"
    OTHER = "other"
    UNKNOWN = "unknown"


def coil(ohms: pint.Quantity, side: Side, dc: pint.Quantity | None = None) -> Coil:
    """Return a transducer of so many ohms at 1 kHz; its DC resistance is the usual one where none was measured.

    Units: ohms. Errors: CircuitError for ohms that no tank has, or a DC resistance that isn't below them.
    Source: |Z|² = R² + (2πfL)².
    """
    _check_ohms(ohms)
    resistance = usual_dc(nominal(ohms, "ohm"), side) if dc is None else dc.to("ohm")
    r, z = resistance.magnitude, ohms.to("ohm").magnitude
    if not 0 <= nominal(resistance) < nominal(ohms, "ohm"):
        raise CircuitError(
            "A coil’s DC resistance is below its impedance. Measure it with the tank’s cords pulled out."
        )
    return Coil(ohms.to("ohm"), resistance, units.Quantity((z**2 - r**2) ** 0.5 / (2 * math.pi * AT), "H"))


def usual_dc(ohms: float, side: Side) -> pint.Quantity:
    """Return the DC resistance that is usual for so many ohms at 1 kHz: between those of `INPUTS` or `OUTPUTS`.

    Units: ohms. Source: tank makers' data, from memory; between them a straight line of the logarithms.
    """
    known = [(row[0], row[1]) for row in (INPUTS if side is Side.INPUT else OUTPUTS)]
    x = math.log(ohms)
    if x <= math.log(known[0][0]):
        return units.Quantity(ohms * known[0][1] / known[0][0], "ohm")
    for (z1, r1), (z2, r2) in zip(known, known[1:], strict=False):
        if ohms <= z2:
            share = (x - math.log(z1)) / (math.log(z2) - math.log(z1))
            return units.Quantity(r1 * (r2 / r1) ** share, "ohm")
    return units.Quantity(ohms * known[-1][1] / known[-1][0], "ohm")


def check_dc(measured: pint.Quantity, ohms: pint.Quantity, side: Side) -> DcCheck:
    """Return what a measured DC resistance says of a coil of so many ohms at 1 kHz.

    It fits within 0.7 … 1.4 of the usual; where the ± reaches over an edge it is unsure. Ten times it is open.
    Units: ohms. Errors: CircuitError below zero, or ohms that no tank has. Source of the usual: tank makers' data, from
    memory; of how near: common practice, no source.
    """
    _check_ohms(ohms)
    r, sure = nominal(measured, "ohm"), band(measured, "ohm")
    if not (math.isfinite(r) and 0 <= r <= 1e9):
        raise CircuitError("A DC resistance is between zero and 1 GΩ.")
    expected = usual_dc(nominal(ohms, "ohm"), side)
    usual = nominal(expected)
    low, high = DC_WITHIN[0] * usual, DC_WITHIN[1] * usual
    fitting = (
        [(abs(math.log(r / row[1])), row[0]) for row in (INPUTS if side is Side.INPUT else OUTPUTS)]
        if r
        else []
    )
    near, fits = min(fitting, default=(math.inf, 0.0))
    would_fit = fits if near <= math.log(DC_WITHIN[1]) else None
    if r > _OPEN * usual and would_fit is None:
        says = Dc.OPEN
    elif abs(r - low) < sure or abs(r - high) < sure:
        says = Dc.UNSURE
    else:
        says = Dc.LOW if r < low else Dc.HIGH if r > high else Dc.FITS
    return DcCheck(says, expected, would_fit)


def wanted_current(ohms: pint.Quantity) -> pint.Quantity:
    """Return the nominal drive current of an input, in amperes rms.

    Between and beyond the ones that are known it follows 1/√|Z|: ampere-turns are the same, and |Z| goes with the
    square of the turns. The law meets each known one within 4 %; the known ones are returned as they are.
    Units: ohms; amperes. Errors: CircuitError for ohms that no tank has. Source: tank makers' data, from memory.
    """
    _check_ohms(ohms)
    z = nominal(ohms, "ohm")
    for known, _, current in INPUTS:
        if abs(z / known - 1) < 1e-3:
            return units.Quantity(current, "A")
    by = math.exp(math.fsum(math.log(i * math.sqrt(k)) for k, _, i in INPUTS) / len(INPUTS))
    return units.Quantity(by / math.sqrt(z), "A")


def turns_ratio(primary: pint.Quantity, secondary: pint.Quantity) -> Any:
    """Return the turns of a transformer made for `primary` ohms with `secondary` ohms on it: √(Zp/Zs).

    Units: ohms. Errors: CircuitError for windings that no driver has. Source: ideal transformer; textbook.
    """
    for winding, most in ((primary, 1e6), (secondary, 1e5)):
        if not 0.1 <= nominal(winding, "ohm") <= most:
            raise CircuitError(
                "A driver transformer is made for up to 1 MΩ, with 0.1 Ω to 100 kΩ on its secondary."
            )
    return (primary.to("ohm").magnitude / secondary.to("ohm").magnitude) ** 0.5


def through_transformer(driver: Driver, primary: pint.Quantity, secondary: pint.Quantity) -> Driver:
    """Return a driver as it stands at the secondary: volts over the turns ratio, ohms over its square.

    Units: volts, ohms. Errors: as of `turns_ratio`. Source: ideal transformer; textbook. Its own inductance and
    winding resistance are left out.
    """
    n = turns_ratio(primary, secondary)
    return Driver(driver.volts / n, driver.source / n**2)


def match(input_coil: Coil, primary: pint.Quantity, secondary: pint.Quantity) -> Match:
    """Return how a tank's input sits on a driver transformer.

    Units: ohms. Errors: as of `turns_ratio`. Source: ideal transformer, textbook; how near: common practice, no source.
    """
    n = turns_ratio(primary, secondary)
    ratio = nominal(input_coil.ohms) / nominal(secondary, "ohm")
    return Match(
        float(getattr(n, "nominal_value", n)),
        input_coil.ohms * n**2,
        ratio,
        _within(ratio, MATCH_WITHIN, MATCH_AT_MOST),
    )


def drive(input_coil: Coil, driver: Driver) -> Drive:
    """Return the current in an input at 1 kHz, against the nominal one.

    Units: volts, ohms; amperes. Errors: CircuitError for a driver that can't be. Source: Ohm's law for R and L in
    series; how near the nominal: common practice, no source.
    """
    return judged(input_coil, current(input_coil, driver, AT))


def judged(input_coil: Coil, amperes: pint.Quantity) -> Drive:
    """Return a current at 1 kHz, however it was come by, against the nominal one."""
    wanted = wanted_current(input_coil.ohms)
    ratio = nominal(amperes, "A") / nominal(wanted, "A")
    inside = DRIVE_WITHIN[0] <= ratio <= DRIVE_WITHIN[1]
    return Drive(amperes, wanted, ratio, Standing.SERVES if inside else Standing.WITH_CARE)


def current(input_coil: Coil, driver: Driver, frequency: float) -> pint.Quantity:
    """Return the current in an input at a frequency in hertz: V/|Rs + R + 2πfL·j|.

    Units: volts, ohms; amperes. Errors: CircuitError for a driver that can't be.
    """
    volts, source = nominal(driver.volts, "V"), nominal(driver.source, "ohm")
    if not (math.isfinite(volts) and 1e-9 <= volts <= 1e4):
        raise CircuitError("A driver gives between 1 nV and 10 kV. Check its volts.")
    if not (math.isfinite(source) and 0 <= source <= 1e7):
        raise CircuitError("The resistance behind a driver is between zero and 10 MΩ.")
    ohms = input_coil.beside(driver.source.to("ohm").magnitude, frequency)
    return units.Quantity(driver.volts.to("V").magnitude / ohms, "A")


def curve(input_coil: Coil, driver: Driver, points: int = 61) -> tuple[tuple[float, float], ...]:
    """Return the current in an input over frequency: hertz, 100 to 5000 in equal ratios, and amperes rms, without ±.

    Errors: CircuitError for a driver that can't be. Source: as of `current`.
    """
    current(input_coil, driver, AT)  # refuses what can't be
    volts, inductance = nominal(driver.volts, "V"), nominal(input_coil.inductance, "H")
    resistance = nominal(driver.source, "ohm") + nominal(input_coil.dc, "ohm")
    frequencies = [100 * (TOP / 100) ** (n / (points - 1)) for n in range(points)]
    return tuple((f, volts / math.hypot(resistance, 2 * math.pi * f * inductance)) for f in frequencies)


def recovery(output_coil: Coil, load: pint.Quantity) -> Recovery:
    """Return how the recovery stage loads an output.

    Units: ohms. Errors: CircuitError for a load below 1 Ω or over 1 GΩ. Source: voltage divider of R, L and the load;
    ten times the output's ohms as enough: common practice, no source.
    """
    ohms = nominal(load, "ohm")
    if not (math.isfinite(ohms) and 1 <= ohms <= 1e9):
        raise CircuitError("A recovery stage has an input resistance between 1 Ω and 1 GΩ.")
    ratio = ohms / nominal(output_coil.ohms)

    def loss(frequency: float) -> float:
        beside = output_coil.beside(ohms, frequency)
        return 20 * math.log10(ohms / float(getattr(beside, "nominal_value", beside)))

    standing = (
        Standing.SERVES
        if ratio >= ENOUGH_LOAD
        else Standing.WITH_CARE
        if ratio >= LEAST_LOAD
        else Standing.NO
    )
    return Recovery(ratio, loss(AT), loss(TOP), standing)


def stand_in(
    *,
    input_ratio: float,
    output_ratio: float,
    input_ground: Ground,
    output_ground: Ground,
    plane: Alike,
    decay: Alike,
    size: Alike,
    more: tuple[Check, ...] = (),
) -> StandIn:
    """Return whether a tank will serve for another.

    The ratios are ohms at 1 kHz of the stand-in over those of the tank it stands in for; `more` is what else was
    found out about it: its coils, its drive, its load. Errors: CircuitError for a
    ratio of nothing. Source: common practice, no source; levels: turns go with √|Z|.
    """
    for ratio in (input_ratio, output_ratio):
        if not (math.isfinite(ratio) and 0 < ratio < 1e6):
            raise CircuitError("The impedances of both tanks must be more than zero.")
    checks = (
        Check(
            "Input impedance",
            _within(input_ratio, MATCH_WITHIN, MATCH_AT_MOST),
            f"{_times(input_ratio)}; by the same volts {_db(-10 * math.log10(input_ratio))} of its nominal drive",
        ),
        Check(
            "Output impedance",
            _within(output_ratio, OUTPUT_WITHIN, OUTPUT_AT_MOST),
            f"{_times(output_ratio)}; level {_db(10 * math.log10(output_ratio))}",
        ),
        _ground("Input ground", input_ground, Side.INPUT),
        _ground("Output ground", output_ground, Side.OUTPUT),
        Check(
            "Mounting plane",
            {Alike.SAME: Standing.SERVES, Alike.UNKNOWN: Standing.UNKNOWN}.get(plane, Standing.WITH_CARE),
            {Alike.SAME: "the same", Alike.UNKNOWN: "look how each one’s springs are meant to lie"}.get(
                plane, "made to lie another way: its magnets may rub, so mount it as it was made for"
            ),
        ),
        Check(
            "Decay",
            {Alike.SAME: Standing.SERVES, Alike.UNKNOWN: Standing.UNKNOWN}.get(decay, Standing.WITH_CARE),
            {
                Alike.SAME: "the same",
                Alike.UNKNOWN: "hear it before it is fitted",
                Alike.LESS: "shorter: the owner will hear it",
                Alike.MORE: "longer: the owner will hear it",
            }.get(decay, "another: the owner will hear it"),
        ),
        Check(
            "Size",
            {Alike.SAME: Standing.SERVES, Alike.UNKNOWN: Standing.UNKNOWN}.get(size, Standing.WITH_CARE),
            {
                Alike.SAME: "the same",
                Alike.UNKNOWN: "measure it",
                Alike.LESS: "a shorter tank sounds different: shorter springs, other echoes",
                Alike.MORE: "a longer one must find room, away from the mains transformer",
            }.get(size, "another: see that it fits"),
        ),
    )
    checks += more
    return StandIn(_worst([check.standing for check in checks]), checks)


def _ground(name: str, ground: Ground, side: Side) -> Check:
    if ground is Ground.SAME:
        return Check(name, Standing.SERVES, "the same")
    if ground is Ground.UNKNOWN:
        return Check(
            name, Standing.UNKNOWN, "measure from the socket’s shell to the tank’s frame, both tanks"
        )
    if ground is Ground.NOW_ISOLATED:
        said = "isolated where the old one was grounded: its frame needs a ground wire, or it hums"
        return Check(name, Standing.WITH_CARE, said)
    if side is Side.INPUT:
        said = (
            "grounded where the old one was isolated: it shorts a driver that needs both sides free of ground"
        )
        return Check(name, Standing.NO, said)
    return Check(
        name, Standing.WITH_CARE, "grounded where the old one was isolated: a ground loop, it may hum"
    )


def _within(ratio: float, good: tuple[float, float], most: tuple[float, float]) -> Standing:
    if good[0] <= ratio <= good[1]:
        return Standing.SERVES
    return Standing.WITH_CARE if most[0] <= ratio <= most[1] else Standing.NO


def _worst(standings: list[Standing]) -> Standing:
    order = (Standing.NO, Standing.UNKNOWN, Standing.WITH_CARE, Standing.SERVES)
    return min(standings, key=order.index)


def _times(ratio: float) -> str:
    return "the same" if abs(ratio - 1) < 0.005 else f"{ratio:.2g} times"


def _db(value: float) -> str:
    said = f"{value:+.1f} dB".replace("-", "−")
    return said if abs(value) >= 0.05 else "0 dB"


def _check_ohms(ohms: pint.Quantity) -> None:
    if not (math.isfinite(nominal(ohms, "ohm")) and 1 <= nominal(ohms, "ohm") <= 100_000):
        raise CircuitError(
            "A tank has between 1 Ω and 100 kΩ at 1 kHz on each side. It is not its DC resistance."
        )
