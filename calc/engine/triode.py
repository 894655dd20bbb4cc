"""A triode's plate current by a published model.

N. Koren, "Improved vacuum tube models for SPICE simulations", Glass Audio 8(5), 1996:

    E1 = (Va / kP) · ln(1 + exp(kP · (1/µ + Vg / √(kVB + Va²))))
    Ia = 2 · E1^x / kG1   for E1 above zero, else nothing

Va and Vg are from the cathode. The 2 is (1 + sgn E1) of the paper: a set of parameters that was fitted without it
gives half. The model has no grid current: it ends where the grid is above the cathode. At usual operating points it
is 10 to 20 % out, near cut-off more: it shows what a stage does, it doesn't set an idle current.
"""

import math
from dataclasses import dataclass

from calc.engine.errors import CircuitError
from calc.engine.quantities import nominal
from calc.engine.roots import crossing
from calc.engine.tubes import KOREN, Koren, Section

SOURCE = "N. Koren, “Improved vacuum tube models for SPICE simulations”, Glass Audio 8(5), 1996"


@dataclass(frozen=True)
class Capacitances:
    """Capacitances between a triode's electrodes in farads, cold, without socket and wiring."""

    grid_plate: float
    grid_cathode: float
    plate_cathode: float
    source: str


_SHEETS = "a section's interelectrode capacitances in the RCA, GE and Philips sheets, from memory"
CAPACITANCES = {
    "12AX7": Capacitances(1.7e-12, 1.6e-12, 0.46e-12, _SHEETS),
    "12AU7": Capacitances(1.5e-12, 1.6e-12, 0.5e-12, _SHEETS),
    "12AT7": Capacitances(1.5e-12, 2.2e-12, 0.5e-12, _SHEETS),
    "6DJ8": Capacitances(1.4e-12, 3.3e-12, 1.8e-12, _SHEETS),
    "6SN7": Capacitances(4.0e-12, 2.2e-12, 0.7e-12, _SHEETS),
}


@dataclass(frozen=True)
class Slopes:
    """What a triode does to small signals: current in amperes, `gm` and `ga` (1/rp) in siemens."""

    current: float
    gm: float
    ga: float

    @property
    def rp(self) -> float:
        """The plate resistance in ohms, infinite where nothing flows."""
        return 1 / self.ga if self.ga > 0 else math.inf

    @property
    def mu(self) -> float:
        """The amplification at this point, a plain number."""
        return self.gm / self.ga if self.ga > 0 else math.inf


def plate_current(model: Koren, va: float, vg: float) -> float:
    """Return the plate current in amperes for plate and grid volts from the cathode. Nothing below zero volts.

    Source: Koren 1996, as above.
    """
    if va <= 0:
        return 0.0
    reach = model.kp * (1 / model.mu + vg / math.sqrt(model.kvb + va * va))
    e1 = va / model.kp * _softplus(reach)
    return 2 * e1**model.x / model.kg1


def slopes(model: Koren, va: float, vg: float) -> Slopes:
    """Return current, transconductance and plate conductance, by the model's own derivatives.

    Source: Koren 1996, differentiated.
    """
    if va <= 0:
        return Slopes(0.0, 0.0, 0.0)
    root = math.sqrt(model.kvb + va * va)
    reach = model.kp * (1 / model.mu + vg / root)
    soft, share = _softplus(reach), _logistic(reach)
    e1 = va / model.kp * soft
    if e1 <= 0:
        return Slopes(0.0, 0.0, 0.0)
    current = 2 * e1**model.x / model.kg1
    steep = model.x * current / e1
    return Slopes(
        current=current,
        gm=steep * va * share / root,
        ga=steep * (soft / model.kp - va * va * vg * share / root**3),
    )


def _softplus(x: float) -> float:
    """ln(1 + e^x) without overflow."""
    return max(x, 0.0) + math.log1p(math.exp(-abs(x)))


def _logistic(x: float) -> float:
    if x >= 0:
        return 1 / (1 + math.exp(-x))
    small = math.exp(x)
    return small / (1 + small)


def fitted(mu: float, *, va: float, vg: float, current: float, gm: float, source: str) -> Koren:
    """Return parameters that give a sheet's current (A) and transconductance (S) at its point (V, V from the cathode).

    For tubes that nobody published parameters for: x and kVB are the usual 1.4 and 300 V², kP is solved from gm, kG1
    from the current. True at that point, a likeness elsewhere. Raises `CircuitError` where no such curve exists.
    """
    x, kvb = 1.4, 300.0
    root = math.sqrt(kvb + va * va)
    open_by = 1 / mu + vg / root

    def too_steep(log_kp: float) -> float:
        kp = math.exp(log_kp)
        e1 = va / kp * _softplus(kp * open_by)
        return x / e1 * va * _logistic(kp * open_by) / root - gm / current

    kp = math.exp(crossing(too_steep, math.log(5.0), math.log(5000.0)))
    e1 = va / kp * _softplus(kp * open_by)
    return Koren(mu, x, 2 * e1**x / current, kp, kvb, source=source)


def model_of(section: Section) -> Koren:
    """Return the published parameters of a triode section, or ones fitted to the first operation of its sheet.

    Raises `CircuitError` for a pentode, or a section whose sheet gives too little.
    """
    if section.koren:
        return KOREN[section.koren]
    point = section.typical[0] if section.typical else None
    if "triode" not in section.kind or point is None or not (point.mu and point.transconductance):
        raise CircuitError("There are no curves for this tube. Pick a triode.")
    if point.grid_volts is None:
        raise CircuitError("There are no curves for this tube. Pick another.")
    return fitted(
        point.mu,
        va=nominal(point.plate_volts, "V"),
        vg=nominal(point.grid_volts, "V"),
        current=nominal(point.plate_current, "A"),
        gm=nominal(point.transconductance, "A/V"),
        source="fitted to one operation of its sheet",
    )
