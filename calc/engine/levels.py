"""Levels: what a scope or a meter shows across a load, as volts, decibels and watts.

dBu and dBV are voltages: 0 dBu is √0.6 V, 0 dBV is 1 V (IEC 60268 and ITU-R BS.645, from memory). dBm is
a power, said of a voltage only where the load is the 600 Ω that the √0.6 V come from: 1 mW in 600 Ω.
Values may carry their ±; what is computed carries the ± that follows.
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import pint

from calc.engine.errors import CircuitError
from calc.engine.quantities import nominal, units

ZERO_DBU: Final = math.sqrt(0.6)  # volts
LINE_LOAD: Final = 600.0  # ohms: where dBm may be said
_LINE_LOAD_WITHIN: Final = 0.02  # a 600 Ω load of 1 % and its meter
MOST_VOLTS: Final = 100_000.0
LEAST_VOLTS: Final = 1e-9
_SINE_CREST: Final = math.sqrt(2)
_SHARP: Final = 0.03  # a crest factor so near a sine's is a sine's: two instruments of 1.5 %


class Shows(StrEnum):
    """What of a sine an instrument shows."""

    PEAK_TO_PEAK = "peak-to-peak"
    PEAK = "peak"
    RMS = "rms"


@dataclass(frozen=True)
class Level:
    """A sine across a load.

    `rms`, `peak` and `peak_to_peak` in volts; `dbu` and `dbv` in decibels (without a unit); `watts` and `dbm` are
    None where there is no load, or where it isn't 600 Ω.
    """

    rms: pint.Quantity
    peak: pint.Quantity
    peak_to_peak: pint.Quantity
    dbu: pint.Quantity
    dbv: pint.Quantity
    watts: pint.Quantity | None
    dbm: pint.Quantity | None


@dataclass(frozen=True)
class Clipping:
    """Where clipping begins: `watts` into the load (None without one), `headroom` from the level to it in decibels."""

    level: Level
    watts: pint.Quantity | None
    headroom: pint.Quantity


class Shape(StrEnum):
    """What the crest factor says of a wave that should be a sine."""

    SINE = "sine"
    FLATTENED = "flattened"
    PEAKY = "peaky"


@dataclass(frozen=True)
class Crest:
    """Peak over rms, without a unit, and what that says. A sine has √2, a square wave 1."""

    factor: pint.Quantity
    shape: Shape


def rms_of(reading: pint.Quantity, shows: Shows) -> pint.Quantity:
    """Return the rms volts of a sine, from what an instrument shows of it.

    Units: volts in, volts out. Errors: CircuitError for a reading of nothing, below zero, or beyond a bench.
    Source: sine, U = Û/√2 = Upp/(2√2); textbook.
    """
    volts = reading.to("V")
    _within(nominal(volts))
    by = {Shows.RMS: 1.0, Shows.PEAK: _SINE_CREST, Shows.PEAK_TO_PEAK: 2 * _SINE_CREST}[shows]
    return volts / by


def level(rms: pint.Quantity, load: pint.Quantity | None = None) -> Level:
    """Return what a sine of so many volts rms is across a load.

    Units: volts and ohms in. Errors: CircuitError for nothing, below zero, or beyond a bench.
    Source: P = U²/R; dBu, dBV: IEC 60268 (from memory).
    """
    volts = rms.to("V")
    _within(nominal(volts))
    watts = dbm = None
    if load is not None:
        watts = power(volts, load)
        if abs(nominal(load, "ohm") / LINE_LOAD - 1) <= _LINE_LOAD_WITHIN:
            dbm = _decibels(10, (watts / units.Quantity(1e-3, "W")).to("").magnitude)
    return Level(
        rms=volts,
        peak=volts * _SINE_CREST,
        peak_to_peak=volts * (2 * _SINE_CREST),
        dbu=_decibels(20, volts.magnitude / ZERO_DBU),
        dbv=_decibels(20, volts.magnitude),
        watts=watts,
        dbm=dbm,
    )


def power(rms: pint.Quantity, load: pint.Quantity) -> pint.Quantity:
    """Return the watts that volts rms make in a resistor.

    Units: volts, ohms; watts. Errors: CircuitError for a load of nothing, below zero, or no load at all (over 100 MΩ).
    Source: Joule's law, P = U²/R.
    """
    ohms = nominal(load, "ohm")
    if not (math.isfinite(ohms) and 1e-3 <= ohms <= 1e8):
        raise CircuitError("A load is between 1 mΩ and 100 MΩ. Leave the box empty where there is none.")
    return (rms.to("V") ** 2 / load.to("ohm")).to("W")


def volts_of_dbu(dbu: float) -> pint.Quantity:
    """Return the volts rms of a level in dBu: +4 is 1.2277 V.

    Errors: CircuitError beyond ±200 dBu. Source: IEC 60268 (from memory).
    """
    if not (math.isfinite(dbu) and abs(dbu) <= 200):
        raise CircuitError("There is no such level. Levels are between −200 and +200 dBu.")
    return units.Quantity(ZERO_DBU * 10 ** (dbu / 20), "V")


def clipping(now: pint.Quantity, onset: pint.Quantity, load: pint.Quantity | None = None) -> Clipping:
    """Return where clipping begins, and how far the level of now is below it.

    Units: volts rms of both, ohms. Both by the same instrument. Errors: as of `level`.
    Source: arithmetic. What counts as the onset is the eye's: state the THD beside it (IEC 60268-3).
    """
    _within(nominal(now.to("V")))
    there = level(onset, load)
    return Clipping(there, there.watts, _decibels(20, (onset.to("V") / now.to("V")).magnitude))


def crest(peak: pint.Quantity, rms: pint.Quantity) -> Crest:
    """Return peak over rms of one wave, by a scope and a true-rms meter, and whether a sine can be so.

    Units: volts. Errors: CircuitError for nothing, below zero, or an rms above the peak, which no wave has.
    Source: the rms of a wave lies between 0 and its peak; sine √2, square 1. How near counts as a sine is common
    practice, no source.
    """
    _within(nominal(peak.to("V")))
    _within(nominal(rms.to("V")))
    factor = (peak.to("V") / rms.to("V")).to("")
    number = nominal(factor)
    if number < 1 - _SHARP:
        raise CircuitError(
            "No wave has an rms above its peak. Check the scope’s probe setting (×1, ×10) and the meter’s range."
        )
    if number < _SINE_CREST * (1 - _SHARP):
        shape = Shape.FLATTENED
    elif number > _SINE_CREST * (1 + _SHARP):
        shape = Shape.PEAKY
    else:
        shape = Shape.SINE
    return Crest(factor, shape)


def _decibels(by: int, ratio: Any) -> pint.Quantity:
    """Return `by`·log10 of a ratio, with the ± that follows from the ratio's."""
    if hasattr(ratio, "std_dev"):
        from uncertainties import umath  # only where something was measured

        return units.Quantity(by * umath.log10(ratio), "")
    return units.Quantity(by * math.log10(ratio), "")


def _within(volts: float) -> None:
    if not (math.isfinite(volts) and LEAST_VOLTS <= volts <= MOST_VOLTS):
        raise CircuitError("A reading is between 1 nV and 100 kV. Check it, and its unit.")
