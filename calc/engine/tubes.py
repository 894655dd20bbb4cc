"""The table of tubes: what data sheets allow, and the parameters of published models.

The figures are from memory of the data sheets that `source` names; no sheet was open while they were written, and
makers and reissues differ. Hold the maker's own sheet against a row before a pass or a fail hangs on it.

Limits are of one of three systems, which must not be converted into each other. *Design centre* limits leave room
for the spread of the line and of components; *design maximum* limits are some 10 % above them for the same tube, and
are for the worst part in the set; *absolute* limits may not be passed by any tube at any moment.
"""

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final, TypeVar

import pint

from calc.engine.errors import CircuitError
from calc.engine.quantities import nominal, units

LONGEST_NAME: Final = 40
MEMORY: Final = "from memory"

Pins = tuple[tuple[int, str], ...]


class System(StrEnum):
    """What a limit is a limit of."""

    CENTRE = "design centre"
    MAXIMUM = "design maximum"
    ABSOLUTE = "absolute maximum"
    UNKNOWN = "rating system not known"


def _v(number: float) -> pint.Quantity:
    return units.Quantity(float(number), "V")


def _ma(number: float) -> pint.Quantity:
    return units.Quantity(number / 1000, "A")


def _w(number: float) -> pint.Quantity:
    return units.Quantity(float(number), "W")


def _ohm(number: float) -> pint.Quantity:
    return units.Quantity(float(number), "ohm")


def _uf(number: float) -> pint.Quantity:
    return units.Quantity(number * 1e-6, "F")


def _pins(text: str) -> Pins:
    """Read "1 shell, 2 heater": what each pin is."""
    return tuple((int(pin), what) for pin, what in (each.split(" ", 1) for each in text.split(", ") if each))


@dataclass(frozen=True)
class Heater:
    """Volts and amperes of a heater; `also` says how else it may be wired."""

    volts: pint.Quantity
    current: pint.Quantity
    also: str = ""


@dataclass(frozen=True)
class Limits:
    """What one tube, or one section of it, may bear. None where the sheet says nothing or we don't know."""

    system: System
    plate_volts: pint.Quantity
    plate_watts: pint.Quantity
    screen_volts: pint.Quantity | None = None
    screen_watts: pint.Quantity | None = None
    cathode_current: pint.Quantity | None = None


@dataclass(frozen=True)
class Operation:
    """One typical operation of a sheet. Volts are measured from the cathode."""

    plate_volts: pint.Quantity
    grid_volts: pint.Quantity | None
    plate_current: pint.Quantity
    screen_volts: pint.Quantity | None = None
    screen_current: pint.Quantity | None = None
    mu: float | None = None
    transconductance: pint.Quantity | None = None  # A/V
    plate_resistance: pint.Quantity | None = None


@dataclass(frozen=True)
class PowerTube:
    """A tube that drives a loudspeaker. `limits` are those that a percentage is taken of.

    `absolute` are the absolute limits where the sheet has them besides. `grid_leak_fixed` and `grid_leak_cathode` are
    the most resistance that may stand in the grid's circuit, with fixed and with cathode bias. `pins` are counted
    from below, clockwise from the key or the gap; empty where we aren't sure. `koren` is a key of `KOREN`, or empty.
    """

    name: str
    kind: str
    base: str
    heater: Heater
    limits: Limits
    typical: Operation
    source: str
    aliases: tuple[str, ...] = ()
    absolute: Limits | None = None
    pins: Pins = ()
    grid_leak_fixed: pint.Quantity | None = None
    grid_leak_cathode: pint.Quantity | None = None
    koren: str = ""
    note: str = ""

    @property
    def from_memory(self) -> bool:
        """Whether the row still waits to be held against its sheet."""
        return MEMORY in self.source


@dataclass(frozen=True)
class Section:
    """One system of a signal tube: a triode or a pentode, its limits and its typical operations."""

    kind: str
    limits: Limits
    typical: tuple[Operation, ...]
    koren: str = ""  # a key of KOREN, or empty


@dataclass(frozen=True)
class SignalTube:
    """A small tube. `sections` has one for each system in the bulb; the first is the one meant if nobody says."""

    name: str
    base: str
    heater: Heater
    sections: tuple[Section, ...]
    source: str
    aliases: tuple[str, ...] = ()
    pins: Pins = ()
    note: str = ""

    @property
    def section(self) -> Section:
        return self.sections[0]

    @property
    def from_memory(self) -> bool:
        """Whether the row still waits to be held against its sheet."""
        return MEMORY in self.source


@dataclass(frozen=True)
class Rectifier:
    """A rectifier with two plates, full wave into a capacitor.

    `output` is the DC current it may deliver up to so many AC volts (rms) at each plate, in rising volts.
    `supply_resistance` is the least resistance in series with each plate by AC volts, in rising volts; `drop` is the
    volts across it at a current through one plate.
    """

    name: str
    base: str
    is_indirect: bool  # a cathode of its own, which warms up slowly; else the filament is the cathode
    heater: Heater
    output: tuple[tuple[pint.Quantity, pint.Quantity], ...]
    peak_current: pint.Quantity  # at each plate
    first_capacitor: pint.Quantity  # the most
    supply_resistance: tuple[tuple[pint.Quantity, pint.Quantity], ...]
    drop: tuple[pint.Quantity, pint.Quantity]
    source: str
    aliases: tuple[str, ...] = ()
    pins: Pins = ()
    note: str = ""

    @property
    def from_memory(self) -> bool:
        """Whether the row still waits to be held against its sheet."""
        return MEMORY in self.source

    @property
    def perveance(self) -> float:
        """K of I = K·V^1.5 of one plate, in A/V^1.5, from the sheet's drop. Source: Langmuir's law."""
        volts, current = self.drop
        return nominal(current, "A") / nominal(volts, "V") ** 1.5

    @property
    def most_volts(self) -> pint.Quantity:
        """The most AC volts (rms) at each plate at any current."""
        return self.output[-1][0]

    def most_current(self, volts: pint.Quantity) -> pint.Quantity | None:
        """The most DC current at so many AC volts (rms) a plate; None where the sheet allows no such volts."""
        return next(
            (current for most, current in self.output if nominal(volts, "V") <= nominal(most, "V")), None
        )

    def least_resistance(self, volts: pint.Quantity) -> pint.Quantity:
        """The least resistance in series with each plate at so many AC volts (rms).

        Straight between the sheet's points; below the first and above the last as at that point.
        """
        at = nominal(volts, "V")
        points = [(nominal(v, "V"), nominal(r, "ohm")) for v, r in self.supply_resistance]
        if at <= points[0][0]:
            return _ohm(points[0][1])
        for (v0, r0), (v1, r1) in zip(points, points[1:], strict=False):
            if at <= v1:
                return _ohm(r0 + (r1 - r0) * (at - v0) / (v1 - v0))
        return _ohm(points[-1][1])


AnyTube = TypeVar("AnyTube", PowerTube, SignalTube, Rectifier)


@dataclass(frozen=True)
class Koren:
    """Parameters of N. Koren, "Improved vacuum tube models for SPICE simulations", Glass Audio 8(5), 1996.

    For volts and amperes, with the 2 of the paper's (1 + sgn): Ia = 2·E1^x/kg1. `kg2` is for pentodes only.
    Currents are 10 to 20 % off at usual bias and more near cut-off: for curves, never to set an idle current by.
    """

    mu: float
    x: float
    kg1: float
    kp: float
    kvb: float
    kg2: float | None = None
    source: str = "Koren's published library of tubes"


KOREN: Final[Mapping[str, Koren]] = MappingProxyType(
    {
        "12AX7": Koren(100, 1.4, 1060, 600, 300),
        "12AU7": Koren(21.5, 1.3, 1180, 84, 300),
        "12AT7": Koren(60, 1.35, 460, 300, 300),
        "6DJ8": Koren(28, 1.3, 330, 320, 300),
        "6SN7": Koren(21, 1.36, 1460, 150, 400, source="a fit to the sheet's curves, from memory"),
        "6L6GC": Koren(8.7, 1.35, 1460, 48, 12, 4500),
        "EL34": Koren(11, 1.35, 650, 60, 24, 4200),
        "6550": Koren(7.9, 1.35, 890, 60, 24, 4200),
        "KT88": Koren(8.8, 1.35, 730, 32, 16, 4800),
    }
)

_OCTAL_BEAM = _pins(
    "1 shell or none, 2 heater, 3 plate, 4 screen, 5 grid, 7 heater, 8 cathode and beam plates"
)
_EL34_PINS = _pins("1 suppressor (tie to 8), 2 heater, 3 plate, 4 screen, 5 grid, 7 heater, 8 cathode")
_6AQ5_PINS = _pins("1 grid, 2 cathode and beam plates, 3 heater, 4 heater, 5 plate, 6 screen, 7 grid")
_7027_PINS = _pins(
    "1 screen, 2 heater, 3 plate, 4 screen, 5 grid, 6 grid, 7 heater, 8 cathode and beam plates"
)


def _point(
    plate: float,
    screen: float,
    grid: float | None,
    plate_ma: float,
    screen_ma: float,
    gm: float | None = None,
    rp: float | None = None,
    mu: float | None = None,
) -> Operation:
    """A typical operation of a pentode or beam tube, in V, mA, mA/V and kΩ."""
    return Operation(
        _v(plate),
        None if grid is None else _v(grid),
        _ma(plate_ma),
        screen_volts=_v(screen),
        screen_current=_ma(screen_ma),
        mu=mu,
        transconductance=units.Quantity(gm / 1000, "A/V") if gm else None,
        plate_resistance=_ohm(rp * 1000) if rp else None,
    )


def _triode(plate: float, grid: float, plate_ma: float, mu: float, gm: float, rp: float) -> Operation:
    """A typical operation of a triode, in V, mA, mA/V and kΩ."""
    return Operation(
        _v(plate),
        _v(grid),
        _ma(plate_ma),
        mu=mu,
        transconductance=units.Quantity(gm / 1000, "A/V"),
        plate_resistance=_ohm(rp * 1000),
    )


def _limits(
    system: System,
    plate_volts: float,
    plate_watts: float,
    screen_volts: float | None = None,
    screen_watts: float | None = None,
    cathode_ma: float | None = None,
) -> Limits:
    return Limits(
        system,
        _v(plate_volts),
        _w(plate_watts),
        _v(screen_volts) if screen_volts else None,
        _w(screen_watts) if screen_watts else None,
        _ma(cathode_ma) if cathode_ma else None,
    )


def _heater(volts: float, amps: float, also: str = "") -> Heater:
    return Heater(_v(volts), _ma(amps * 1000), also)


POWER_TUBES: Final[tuple[PowerTube, ...]] = (
    PowerTube(
        "6L6GC", "beam tube", "octal 7AC", _heater(6.3, 0.9),
        _limits(System.MAXIMUM, 500, 30, 450, 5.0),
        _point(250, 250, -14, 72, 5, 6.0, 22.5),
        "GE sheet of 1959 and RCA Receiving Tube Manual RC-30, from memory; 500 V and 30 W also in secondary sources",
        pins=_OCTAL_BEAM,
        grid_leak_fixed=_ohm(0.1e6), grid_leak_cathode=_ohm(0.5e6), koren="6L6GC",
    ),
    PowerTube(
        "6L6GB", "beam tube", "octal 7AC", _heater(6.3, 0.9),
        _limits(System.CENTRE, 360, 19, 270, 2.5),
        _point(250, 250, -14, 72, 5, 6.0, 22.5),
        "RCA Receiving Tube Manual, from memory; 19 W also in secondary sources",
        aliases=("6L6", "6L6G", "6L6GA"), pins=_OCTAL_BEAM,
        note="A 6L6 of any letter before GC: 19 W, not 30 W.",
    ),
    PowerTube(
        "5881", "beam tube", "octal 7AC", _heater(6.3, 0.9),
        _limits(System.CENTRE, 360, 23, 270, 3.0),
        _point(250, 250, -14, 75, 4.3, 6.1, 30),
        "Tung-Sol sheet of 1950, from memory",
        aliases=("6L6WGB",), pins=_OCTAL_BEAM, note="400 V at the plate as a triode.",
    ),
    PowerTube(
        "6V6GT", "beam tube", "octal 7AC", _heater(6.3, 0.45),
        _limits(System.CENTRE, 315, 12, 285, 2.0),
        _point(250, 250, -12.5, 45, 4.5, 4.1, 50),
        "RCA Receiving Tube Manual, from memory",
        aliases=("6V6", "6V6G"), pins=_OCTAL_BEAM,
        grid_leak_fixed=_ohm(0.1e6), grid_leak_cathode=_ohm(0.5e6),
    ),
    PowerTube(
        "6V6GTA", "beam tube", "octal 7AC", _heater(6.3, 0.45),
        _limits(System.MAXIMUM, 350, 14, 315, 2.2),
        _point(250, 250, -12.5, 45, 4.5, 4.1, 50),
        "GE and RCA sheets of the 1950s and later, from memory",
        pins=_OCTAL_BEAM, grid_leak_fixed=_ohm(0.1e6), grid_leak_cathode=_ohm(0.5e6),
        note="The grid-leak limits are those of the 6V6GT.",
    ),
    PowerTube(
        "EL34", "pentode", "octal 8EP", _heater(6.3, 1.5),
        _limits(System.CENTRE, 800, 25, 500, 8),
        _point(250, 250, -12.2, 100, 15, 11, 15, mu=11),
        "Philips and Mullard sheets of the 1950s, from memory",
        aliases=("6CA7",), pins=_EL34_PINS,
        grid_leak_fixed=_ohm(0.5e6), grid_leak_cathode=_ohm(0.7e6), koren="EL34",
        note="27.5 W is allowed at full drive only; early sheets allow 425 V at the screen. "
             "μ is from grid to screen. Some 6CA7 are beam tubes.",
    ),
    PowerTube(
        "EL84", "pentode", "noval 9CV", _heater(6.3, 0.76),
        _limits(System.CENTRE, 300, 12, 300, 2, 65),
        _point(250, 250, -7.3, 48, 5.5, 11.3, 38),
        "Philips sheet of 1953, from memory",
        aliases=("6BQ5",),
        pins=_pins("1 leave free, 2 grid, 3 cathode and suppressor, 4 heater, 5 heater, 6 leave free, 7 plate, "
                   "8 leave free, 9 screen"),
        grid_leak_fixed=_ohm(0.3e6), grid_leak_cathode=_ohm(1.0e6),
        note="The screen may take 4 W at the peak of the signal.",
    ),
    PowerTube(
        "6550", "beam tube", "octal 7S", _heater(6.3, 1.6),
        _limits(System.CENTRE, 600, 35, 400, 6),
        _point(250, 250, -14, 140, 12, 11, 12),
        "Tung-Sol sheet of 1954, from memory; the rating system is doubtful",
        pins=_OCTAL_BEAM, grid_leak_fixed=_ohm(0.05e6), grid_leak_cathode=_ohm(0.25e6), koren="6550",
    ),
    PowerTube(
        "6550A", "beam tube", "octal 7S", _heater(6.3, 1.6),
        _limits(System.MAXIMUM, 660, 42, 440, 6, 190),
        _point(250, 250, -14, 140, 12, 11, 12),
        "GE sheet of 1972, from memory",
        pins=_OCTAL_BEAM, grid_leak_fixed=_ohm(0.05e6), grid_leak_cathode=_ohm(0.25e6), koren="6550",
        note="The grid-leak limits are those of the 6550.",
    ),
    PowerTube(
        "KT66", "beam tube", "octal 7AC", _heater(6.3, 1.27),
        _limits(System.MAXIMUM, 500, 25, 500, 3.5),
        _point(250, 250, -15, 85, 6.3, 7, 22.5),
        "GEC/M-OV sheet, from memory",
        absolute=_limits(System.ABSOLUTE, 550, 30, 550, 4.5), pins=_OCTAL_BEAM,
    ),
    PowerTube(
        "KT77", "beam tube", "octal", _heater(6.3, 1.4),
        _limits(System.MAXIMUM, 800, 25, 600, 6),
        _point(250, 250, None, 100, 10, 10.5, 23),
        "GEC/M-OV sheet, from memory; among the least sure rows",
        absolute=_limits(System.ABSOLUTE, 850, 32, 650, 8), pins=_OCTAL_BEAM,
    ),
    PowerTube(
        "KT88", "beam tube", "octal 7S", _heater(6.3, 1.6),
        _limits(System.MAXIMUM, 800, 35, 600, 6, 230),
        _point(250, 250, -15, 140, 3, 11.5, 12),
        "GEC/M-OV sheet of 1957, from memory",
        absolute=_limits(System.ABSOLUTE, 850, 42, 650, 8, 230), pins=_OCTAL_BEAM,
        grid_leak_fixed=_ohm(0.1e6), grid_leak_cathode=_ohm(0.22e6), koren="KT88",
        note="The grid-leak limits hold up to 35 W.",
    ),
    PowerTube(
        "7591A", "beam tube", "octal 8KQ", _heater(6.3, 0.8),
        _limits(System.MAXIMUM, 550, 19, 440, 3.3),
        _point(300, 300, -10, 60, 8, 10.2, 29),
        "Westinghouse sheet of 1959, from memory; among the least sure rows",
        aliases=("7591",), grid_leak_fixed=_ohm(0.3e6), grid_leak_cathode=_ohm(1.0e6),
        note="Its pins are not those of a 6L6: look them up. The grid-leak limits are doubtful.",
    ),
    PowerTube(
        "7027A", "beam tube", "octal 8HY", _heater(6.3, 0.9),
        _limits(System.MAXIMUM, 600, 35, 500, 5),
        _point(250, 250, -14, 72, 5, 6.0, 22.5),
        "RCA sheet of 1959, from memory",
        pins=_7027_PINS,
        note="A 6L6 serves in its socket only where pins 1 and 6 aren't used as tie points.",
    ),
    PowerTube(
        "7027", "beam tube", "octal 8HY", _heater(6.3, 0.9),
        _limits(System.MAXIMUM, 450, 25, 400, 3.5),
        _point(250, 250, -14, 72, 5, 6.0, 22.5),
        "RCA sheet, from memory; the rating system is doubtful",
        pins=_7027_PINS,
    ),
    PowerTube(
        "6K6GT", "pentode", "octal 7S", _heater(6.3, 0.4),
        _limits(System.CENTRE, 315, 8.5, 285, 2.8),
        _point(250, 250, -18, 32, 5.5, 2.3, 90),
        "RCA Receiving Tube Manual, from memory",
        aliases=("6K6", "6K6G"),
        pins=_pins("1 none, 2 heater, 3 plate, 4 screen, 5 grid, 7 heater, 8 cathode and suppressor"),
    ),
    PowerTube(
        "6AQ5", "beam tube", "7-pin 7BZ", _heater(6.3, 0.45),
        _limits(System.CENTRE, 250, 12, 250, 2.0),
        _point(250, 250, -12.5, 45, 4.5, 4.1, 52),
        "RCA Receiving Tube Manual, from memory",
        aliases=("EL90",), pins=_6AQ5_PINS,
    ),
    PowerTube(
        "6AQ5A", "beam tube", "7-pin 7BZ", _heater(6.3, 0.45),
        _limits(System.MAXIMUM, 275, 12, 275, 2.0),
        _point(250, 250, -12.5, 45, 4.5, 4.1, 52),
        "RCA Receiving Tube Manual, from memory",
        pins=_6AQ5_PINS,
    ),
    PowerTube(
        "ECL82", "pentode beside a triode", "noval 9EX", _heater(6.3, 0.78),
        _limits(System.CENTRE, 300, 7, 300, 1.8, 50),
        _point(200, 200, -16, 35, 7, 6.4, 20),
        "Philips sheet of 1956, from memory",
        aliases=("6BM8",),
        pins=_pins("1 grid of the triode, 2 cathode and suppressor of the pentode, 3 grid of the pentode, 4 heater, "
                   "5 heater, 6 plate of the pentode, 7 screen, 8 cathode of the triode, 9 plate of the triode"),
        note="The limits are for audio; as a frame output 600 V. The screen may take 3.2 W with signal.",
    ),
    PowerTube(
        "6973", "beam tube", "noval 9EU", _heater(6.3, 0.45),
        _limits(System.MAXIMUM, 440, 12, 330, 2.0),
        _point(250, 250, -15, 46, 3.5, 4.8, 73),
        "RCA sheet of 1957, from memory; among the least sure rows",
        note="Its pins are not those of an EL84: look them up.",
    ),
)  # fmt: skip

_TWIN_9A = _pins(
    "1 plate, 2 grid, 3 cathode, 4 heater, 5 heater, 6 plate of the other half, 7 grid of the other half, "
    "8 cathode of the other half, 9 middle of the heater"
)
_TWIN_8BD = _pins(
    "1 grid, 2 plate, 3 cathode, 4 grid of the other half, 5 plate of the other half, "
    "6 cathode of the other half, 7 heater, 8 heater"
)
_HEATER_9A = _heater(6.3, 0.3, "12.6 V at 0.15 A between pins 4 and 5; at 6.3 V, 4 and 5 together against 9")
_HEATER_9A_175 = _heater(
    6.3, 0.35, "12.6 V at 0.175 A between pins 4 and 5; at 6.3 V, 4 and 5 together against 9"
)


def _twin(limits: Limits, *typical: Operation, koren: str = "") -> tuple[Section, Section]:
    half = Section("triode", limits, typical, koren)
    return (half, half)


_12AX7_POINTS = (_triode(250, -2, 1.2, 100, 1.6, 62.5), _triode(100, -1, 0.5, 100, 1.25, 80))
_12AU7_POINTS = (_triode(250, -8.5, 10.5, 17, 2.2, 7.7),)

SIGNAL_TUBES: Final[tuple[SignalTube, ...]] = (
    SignalTube(
        "12AX7", "noval 9A", _HEATER_9A,
        _twin(_limits(System.CENTRE, 300, 1.0), *_12AX7_POINTS, koren="12AX7"),
        "RCA Receiving Tube Manual, from memory; the pins also in a secondary source",
        aliases=("ECC83", "7025", "12AX7WA"), pins=_TWIN_9A,
    ),
    SignalTube(
        "12AX7A", "noval 9A", _HEATER_9A,
        _twin(_limits(System.MAXIMUM, 330, 1.2), *_12AX7_POINTS, koren="12AX7"),
        "RCA Receiving Tube Manual, from memory", pins=_TWIN_9A,
    ),
    SignalTube(
        "12AT7", "noval 9A", _HEATER_9A,
        _twin(_limits(System.CENTRE, 300, 2.5), _triode(250, -2, 10, 60, 5.5, 10.9), koren="12AT7"),
        "RCA and GE sheets, from memory", aliases=("ECC81", "12AT7WA", "12AT7WC", "6201"), pins=_TWIN_9A,
    ),
    SignalTube(
        "12AU7", "noval 9A", _HEATER_9A,
        _twin(_limits(System.CENTRE, 300, 2.75), *_12AU7_POINTS, koren="12AU7"),
        "RCA Receiving Tube Manual, from memory", aliases=("ECC82",), pins=_TWIN_9A,
    ),
    SignalTube(
        "12AU7A", "noval 9A", _HEATER_9A,
        _twin(_limits(System.MAXIMUM, 330, 2.75), *_12AU7_POINTS, koren="12AU7"),
        "RCA Receiving Tube Manual, from memory", pins=_TWIN_9A,
    ),
    SignalTube(
        "12AY7", "noval 9A", _HEATER_9A,
        _twin(_limits(System.CENTRE, 300, 1.5), _triode(250, -4, 3, 44, 1.75, 25)),
        "GE sheet, from memory", aliases=("6072", "6072A"), pins=_TWIN_9A,
        note="Sheets give μ from 40 to 44. The heater of a 6072 takes 0.35 A at 6.3 V.",
    ),
    SignalTube(
        "12DW7", "noval 9A", _HEATER_9A,
        (
            Section("high-μ triode", _limits(System.MAXIMUM, 330, 1.2), _12AX7_POINTS, "12AX7"),
            Section("medium-μ triode", _limits(System.MAXIMUM, 330, 3.3), _12AU7_POINTS, "12AU7"),
        ),
        "GE sheet, from memory; among the least sure rows", aliases=("7247",),
        note="One half as a 12AX7, one as a 12AU7; look up which of them is on pins 1, 2 and 3.",
    ),
    SignalTube(
        "5751", "noval 9A", _HEATER_9A_175,
        _twin(_limits(System.CENTRE, 300, 0.8), _triode(250, -3, 1.0, 70, 1.2, 58)),
        "GE sheet, from memory; among the least sure rows", aliases=("5751WA",), pins=_TWIN_9A,
        note="Sheets give from 0.8 to 1.0 W and up to 330 V.",
    ),
    SignalTube(
        "6SN7GTB", "octal 8BD", _heater(6.3, 0.6),
        _twin(_limits(System.MAXIMUM, 450, 5), _triode(250, -8, 9, 20, 2.6, 7.7), koren="6SN7"),
        "GE and RCA sheets, from memory", pins=_TWIN_8BD, note="Both halves together 7.5 W.",
    ),
    SignalTube(
        "6SN7GT", "octal 8BD", _heater(6.3, 0.6),
        _twin(_limits(System.CENTRE, 300, 2.5), _triode(250, -8, 9, 20, 2.6, 7.7), koren="6SN7"),
        "RCA Receiving Tube Manual, from memory", aliases=("6SN7",), pins=_TWIN_8BD,
    ),
    SignalTube(
        "6SL7GT", "octal 8BD", _heater(6.3, 0.3),
        _twin(_limits(System.CENTRE, 300, 1.0), _triode(250, -2, 2.3, 70, 1.6, 44)),
        "RCA Receiving Tube Manual, from memory", aliases=("6SL7",), pins=_TWIN_8BD,
        note="Early sheets allow 250 V.",
    ),
    SignalTube(
        "6SJ7", "octal 8N", _heater(6.3, 0.3),
        (
            Section("pentode", _limits(System.CENTRE, 300, 2.5, 125, 0.7),
                    (_point(250, 100, -3, 3.0, 0.8, 1.65, 1000),)),
        ),
        "RCA Receiving Tube Manual, from memory", aliases=("6SJ7GT",),
        pins=_pins("1 shell, 2 heater, 3 suppressor, 4 grid, 5 cathode, 6 screen, 7 heater, 8 plate"),
        note="The plate resistance is 1 MΩ or more.",
    ),
    SignalTube(
        "EF86", "noval 9CQ", _heater(6.3, 0.2),
        (
            Section("pentode", _limits(System.CENTRE, 300, 1.0, 200, 0.2),
                    (_point(250, 140, -2, 3.0, 0.6, 2.0, 2500),)),
        ),
        "Philips and Mullard sheets of the 1950s, from memory", aliases=("6267",),
        pins=_pins("1 screen, 2 shield, 3 cathode, 4 heater, 5 heater, 6 plate, 7 shield, 8 suppressor, 9 grid"),
    ),
    SignalTube(
        "6DJ8", "noval 9AJ", _heater(6.3, 0.365),
        _twin(_limits(System.CENTRE, 130, 1.8), _triode(90, -1.3, 15, 33, 12.5, 2.6), koren="6DJ8"),
        "Philips sheet, from memory", aliases=("ECC88",),
        pins=(*_TWIN_9A[:-1], (9, "shield")),
        note="6.3 V between pins 4 and 5; pin 9 is a shield, not the middle of the heater.",
    ),
    SignalTube(
        "ECL82", "noval 9EX", _heater(6.3, 0.78),
        (Section("triode beside a pentode", _limits(System.CENTRE, 300, 1.0),
                 (_triode(100, 0, 3.5, 70, 2.5, 28),)),),
        "Philips sheet of 1956, from memory; rp is μ over gm", aliases=("6BM8",),
        pins=next(tube.pins for tube in POWER_TUBES if tube.name == "ECL82"),
    ),
)  # fmt: skip


def _steps(*pairs: tuple[float, float], ma: bool = False) -> tuple[tuple[pint.Quantity, pint.Quantity], ...]:
    """AC volts with ohms, or with mA."""
    return tuple((_v(volts), _ma(number) if ma else _ohm(number)) for volts, number in pairs)


_PLATES_4_6 = "4 plate, 6 plate"
_FILAMENT_OCTAL = _pins(f"2 filament, {_PLATES_4_6}, 8 filament: DC is taken here")
_CATHODE_OCTAL = _pins(f"2 heater, {_PLATES_4_6}, 8 heater and cathode: DC is taken here")
_EZ_PINS = _pins("1 plate, 3 cathode, 4 heater, 5 heater, 7 plate")

RECTIFIERS: Final[tuple[Rectifier, ...]] = (
    Rectifier(
        "5Y3GT", "octal 5T", False, _heater(5, 2.0), _steps((350, 125), ma=True), _ma(400), _uf(20),
        _steps((350, 50)), (_v(60), _ma(125)), "RCA Receiving Tube Manual, from memory; among the least sure rows",
        aliases=("5Y3", "5Y3G"), pins=_FILAMENT_OCTAL,
        note="The design maximum of the peak current is 440 mA. Early sheets allow 10 µF; some give a drop of 50 V.",
    ),
    Rectifier(
        "5U4G", "octal 5T", False, _heater(5, 3.0), _steps((450, 225), ma=True), _ma(675), _uf(40),
        _steps((450, 170)), (_v(44), _ma(225)),
        "RCA Receiving Tube Manual, from memory; 40 µF also in a secondary source",
        aliases=("5U4",), pins=_FILAMENT_OCTAL,
        note="The least resistance is 75 to 170 Ω by the volts: the highest stands here. Some sheets allow 800 mA.",
    ),
    Rectifier(
        "5U4GB", "octal 5T", False, _heater(5, 3.0), _steps((300, 300), (450, 275), ma=True), _ma(1000), _uf(40),
        _steps((300, 21), (450, 67)), (_v(44), _ma(225)),
        "GE and RCA sheets of the 1950s, from memory; 1 A also in a secondary source",
        pins=_FILAMENT_OCTAL,
    ),
    Rectifier(
        "5AR4", "octal 5DA", True, _heater(5, 1.9), _steps((450, 250), (500, 200), (550, 160), ma=True), _ma(750),
        _uf(60), _steps((300, 75), (350, 100), (400, 125), (450, 150), (500, 175), (550, 200)), (_v(17), _ma(225)),
        "Philips and Mullard sheets of 1955, from memory; 60 µF also in a secondary source",
        aliases=("GZ34",), pins=_CATHODE_OCTAL,
    ),
    Rectifier(
        "5V4G", "octal 5L", True, _heater(5, 2.0), _steps((375, 175), ma=True), _ma(525), _uf(10),
        _steps((375, 100)), (_v(25), _ma(175)), "RCA Receiving Tube Manual, from memory; among the least sure rows",
        aliases=("5V4", "5V4GA", "GZ32"), pins=_CATHODE_OCTAL,
        note="Early sheets allow 4 µF; some ask for 65 Ω.",
    ),
    Rectifier(
        "EZ80", "noval 9M", True, _heater(6.3, 0.6), _steps((350, 90), ma=True), _ma(270), _uf(50),
        _steps((250, 125), (300, 215), (350, 300)), (_v(20), _ma(90)),
        "Philips sheet, from memory; the drop is doubtful", aliases=("6V4",), pins=_EZ_PINS,
    ),
    Rectifier(
        "EZ81", "noval 9M", True, _heater(6.3, 1.0), _steps((350, 150), (450, 100), ma=True), _ma(450), _uf(50),
        _steps((250, 150), (300, 200), (350, 240)), (_v(20), _ma(150)),
        "Philips sheet, from memory", aliases=("6CA4",), pins=_EZ_PINS,
        note="Some sheets allow 500 mA at the peak, and 10 Ω less in series.",
    ),
    Rectifier(
        "6X4", "7-pin 5BS", True, _heater(6.3, 0.6), _steps((325, 70), ma=True), _ma(210), _uf(10),
        _steps((325, 525)), (_v(22), _ma(70)), "RCA Receiving Tube Manual, from memory; among the least sure rows",
        aliases=("EZ90",), pins=_pins("1 plate, 3 heater, 4 heater, 6 plate, 7 cathode"),
        note="Later sheets allow 90 mA and 245 mA at the peak, some 40 µF; early ones ask for 150 Ω only.",
    ),
    Rectifier(
        "6X5GT", "octal 6S", True, _heater(6.3, 0.6), _steps((325, 70), ma=True), _ma(210), _uf(10),
        _steps((325, 525)), (_v(22), _ma(70)), "RCA Receiving Tube Manual, from memory; among the least sure rows",
        aliases=("6X5", "6X5G", "EZ35"), pins=_pins("2 heater, 3 plate, 5 plate, 7 heater, 8 cathode"),
        note="The design maximum of the peak current is 245 mA. Some sheets allow 40 µF, early ones 150 Ω.",
    ),
)  # fmt: skip


def key_of(text: str) -> str:
    """A type as it is looked up: capitals and digits only, so that "el 34" and "EL-34" are one."""
    return re.sub(r"[^A-Z0-9]", "", text[:LONGEST_NAME].upper())


def _index(table: Iterable[AnyTube]) -> dict[str, AnyTube]:
    return {key_of(name): tube for tube in table for name in (tube.name, *tube.aliases)}


_POWER: Final = _index(POWER_TUBES)
_SIGNAL: Final = _index(SIGNAL_TUBES)
_RECTIFIERS: Final = _index(RECTIFIERS)


def find_power(text: str) -> PowerTube:
    """Find a power tube by its type or another name for it: EL34, 6ca7, "6L6 GC", 6CA7/EL34.

    Raises `CircuitError` with what it may have meant.
    """
    return _find(text, _POWER, "6L6GC or EL34")


def find_signal(text: str) -> SignalTube:
    """Find a signal tube by its type or another name for it: 12AX7, ecc83, "12 AX 7".

    Raises `CircuitError` with what it may have meant.
    """
    return _find(text, _SIGNAL, "12AX7 or ECC83")


def find_rectifier(text: str) -> Rectifier:
    """Find a rectifier tube by its type or another name for it: 5AR4, gz34, 5U4-GB.

    Raises `CircuitError` with what it may have meant.
    """
    return _find(text, _RECTIFIERS, "5AR4 or 5U4GB")


def find(text: str) -> PowerTube | SignalTube | Rectifier:
    """Find a tube of any kind. What is both a power and a signal tube (ECL82) is found as the power tube.

    Raises `CircuitError` with what it may have meant.
    """
    key = key_of(text)
    if key in _RECTIFIERS:
        return find_rectifier(text)
    return find_signal(text) if key in _SIGNAL and key not in _POWER else find_power(text)


def _find(text: str, index: Mapping[str, AnyTube], example: str) -> AnyTube:
    """Look a type up; of a double name, as 6CA7/EL34, each half counts if they mean one tube."""
    if found := index.get(key_of(text)):
        return found
    halves = [index.get(key_of(half)) for half in text[:LONGEST_NAME].split("/") if key_of(half)]
    if halves and halves[0] is not None and all(each is halves[0] for each in halves):
        return halves[0]
    typed = text.strip()[:LONGEST_NAME]
    near = difflib.get_close_matches(key_of(text), list(index), n=3, cutoff=0.7)
    meant = f"Did you mean {' or '.join(near)}?" if near else f"Write it like {example}."
    raise CircuitError(f"“{typed}” isn’t in the table of tubes. {meant}")
