"""The electrical test after a repair: what must be measured, and whether what was measured is within the limits.

Limits, their edition and the rule for long cords are data (`Limits`), so that a shop under other rules passes in its
own. A reading passes only where all of its ± is within the limit; one whose ± reaches over it is too close to call.
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import pint

from calc.engine.errors import CircuitError
from calc.engine.limits import Standing, stand
from calc.engine.quantities import band, nominal, show, units


class Protection(StrEnum):
    """How a piece of gear keeps its touchable metal harmless."""

    CLASS_I = "class-i"  # earthed by the cord's third wire
    CLASS_II = "class-ii"  # double or reinforced insulation, and the mark that says so
    CLASS_III = "class-iii"  # safety extra-low voltage only; or such a part of other gear
    TWO_WIRE = "two-wire"  # two wires and no mark: old gear. That is not class II


class Outcome(StrEnum):
    """What came of a test. Only a pass opens anything."""

    PASS = "pass"
    FAIL = "fail"
    CLOSE = "too close to call"
    MISSING = "not done"
    LEFT = "left to the current test"  # no pass of its own: the current decides


_STANDS: Final = {
    Standing.IN: Outcome.PASS,
    Standing.OUT: Outcome.FAIL,
    Standing.CLOSE: Outcome.CLOSE,
}


@dataclass(frozen=True)
class Limits:
    """The limits of one edition of a standard, and its rule for the cord. The shop's own data where it has its own.

    Protective earth: `earth` up to `earth_cord` of cord; `earth_step` for each further `earth_step_cord` or part of
    it. That holds up to the cross-section `earth_area`; a thicker cord's limit is its copper's resistance and
    `earth_contacts`. Never over `earth_most`. Where `earth_area` is None the steps hold for every cord.
    """

    edition: str
    source: str
    earth: pint.Quantity
    earth_cord: pint.Quantity
    earth_step: pint.Quantity
    earth_step_cord: pint.Quantity
    earth_most: pint.Quantity
    earth_contacts: pint.Quantity
    earth_area: pint.Quantity | None
    insulation: pint.Quantity  # class I
    insulation_heating: pint.Quantity  # class I that heats with more than `heating`
    insulation_class_ii: pint.Quantity
    insulation_class_iii: pint.Quantity
    protective_current: pint.Quantity
    heating: pint.Quantity
    heating_current: pint.Quantity  # for each kilowatt, where the gear heats with more than `heating`
    heating_current_most: pint.Quantity
    touch_current: pint.Quantity
    clauses: tuple[tuple[str, str], ...]  # a test to its clause

    def clause(self, test: str) -> str:
        """The clause of the edition that asks for a test, in words; empty where the data has none."""
        number = dict(self.clauses).get(test, "")
        return f"{self.edition}, clause {number}" if number else self.edition


LOOK: Final = "Looked over"
EARTH: Final = "Protective earth"
INSULATION: Final = "Insulation"
PROTECTIVE_CURRENT: Final = "Protective-conductor current"
TOUCH_CURRENT: Final = "Touch current"
FUNCTION: Final = "Tried out"
BUILD: Final = "How it is built"

EN_50678: Final = Limits(
    edition="EN 50678:2020",
    source=(
        "EN 50678:2020 (VDE 0701), clause 5, as makers of testers tell it; the steps for long cords as in"
        " DIN VDE 0701-0702:2008. The limit for cords over 1.5 mm² and the numbers of the clauses: from memory."
        " The standard itself was not at hand: check these limits against it."
    ),
    earth=units.Quantity(0.3, "ohm"),
    earth_cord=units.Quantity(5, "m"),
    earth_step=units.Quantity(0.1, "ohm"),
    earth_step_cord=units.Quantity(7.5, "m"),
    earth_most=units.Quantity(1.0, "ohm"),
    earth_contacts=units.Quantity(0.1, "ohm"),
    earth_area=units.Quantity(1.5, "mm**2"),
    insulation=units.Quantity(1e6, "ohm"),
    insulation_heating=units.Quantity(0.3e6, "ohm"),
    insulation_class_ii=units.Quantity(2e6, "ohm"),
    insulation_class_iii=units.Quantity(0.25e6, "ohm"),
    protective_current=units.Quantity(3.5e-3, "A"),
    heating=units.Quantity(3500, "W"),
    heating_current=units.Quantity(1e-3, "A"),
    heating_current_most=units.Quantity(10e-3, "A"),
    touch_current=units.Quantity(0.5e-3, "A"),
    clauses=(
        (LOOK, "5.2"),
        (EARTH, "5.3"),
        (INSULATION, "5.4"),
        (PROTECTIVE_CURRENT, "5.5"),
        (TOUCH_CURRENT, "5.6"),
    ),
)

# IEC 60028: annealed copper at 20 °C, 1/58 Ω·mm²/m.
_COPPER: Final = units.Quantity(1 / 58, "ohm*mm**2/m")
_LONGEST_CORD: Final = 200.0  # m
_THINNEST, _THICKEST = 0.1, 50.0  # mm²


@dataclass(frozen=True)
class Measured:
    """What was seen and measured. None: not done, or not measured.

    Resistances, currents, lengths and areas are quantities of any such unit, with ± where the meter's is known.
    `insulation_left_out` says that the test voltage would harm the electronics: the current decides then.
    """

    protection: Protection
    looked: bool | None = None  # was everything in order?
    earth: pint.Quantity | None = None
    cord: pint.Quantity | None = None
    cord_area: pint.Quantity | None = None
    insulation: pint.Quantity | None = None
    insulation_left_out: bool = False
    protective_current: pint.Quantity | None = None
    touch_current: pint.Quantity | None = None
    has_unearthed_metal: bool = False  # of class I: touchable, and not on the protective conductor
    heating: pint.Quantity | None = None  # power of heating elements; a tube's heater is none
    works: bool | None = None


@dataclass(frozen=True)
class Judged:
    """One test, judged. `said` is a sentence for whoever does it; `do` what to do where it didn't pass."""

    test: str
    outcome: Outcome
    said: str
    clause: str
    reading: pint.Quantity | None = None
    limit: pint.Quantity | None = None
    do: str = ""
    at_least: bool = False  # the limit is from below


@dataclass(frozen=True)
class Result:
    """The whole test. It passed only where every one that is asked for passed."""

    outcome: Outcome
    judged: tuple[Judged, ...]
    limits: Limits

    @property
    def passed(self) -> bool:
        return self.outcome is Outcome.PASS

    def of(self, outcome: Outcome) -> list[Judged]:
        """The tests that this came of."""
        return [each for each in self.judged if each.outcome is outcome]


def compare(reading: pint.Quantity, limit: pint.Quantity, *, at_least: bool = False) -> Outcome:
    """Say whether a reading keeps to a limit, with its ±: PASS, FAIL or CLOSE.

    A reading on its limit passes where it has no ±, and is too close to call where it has one.
    """
    where = stand(reading, least=limit) if at_least else stand(reading, most=limit)
    return _STANDS[where]


def earth_limit(
    cord: pint.Quantity, area: pint.Quantity | None = None, limits: Limits = EN_50678
) -> pint.Quantity:
    """The highest resistance of the protective conductor with a cord of this length, in ohms.

    `area` is the copper's cross-section; without it the cord counts as no thicker than the steps hold for.
    Raises `CircuitError` for a cord that can't be. Source: that of `limits`.
    """
    length = _within(cord, "m", 0.0, _LONGEST_CORD, "A cord is up to 200 m long, like 1.8 m.")
    if area is not None:
        copper = _within(
            area, "mm**2", _THINNEST, _THICKEST, "A cord's wires are 0.1 to 50 mm², like 0.75 mm²."
        )
        if limits.earth_area is not None and copper > nominal(limits.earth_area, "mm**2"):
            ohms = nominal(_COPPER) * length / copper + nominal(limits.earth_contacts, "ohm")
            return units.Quantity(min(round(ohms, 4), nominal(limits.earth_most, "ohm")), "ohm")
    further = length - nominal(limits.earth_cord, "m")
    # a centimetre is no further step: 12.5 m is one, however the float came about
    steps = max(0, math.ceil(further / nominal(limits.earth_step_cord, "m") - 1e-3))
    ohms = nominal(limits.earth, "ohm") + steps * nominal(limits.earth_step, "ohm")
    return units.Quantity(min(round(ohms, 9), nominal(limits.earth_most, "ohm")), "ohm")


def current_limit(heating: pint.Quantity | None, limits: Limits = EN_50678) -> pint.Quantity:
    """The highest current in the protective conductor, in amperes.

    Gear with heating elements over the edition's bound may have so much for each kilowatt. Source: that of `limits`.
    """
    if not _heats(heating, limits):
        return limits.protective_current
    amperes = nominal(heating, "kW") * nominal(limits.heating_current, "A")
    return units.Quantity(min(round(amperes, 12), nominal(limits.heating_current_most, "A")), "A")


def insulation_limit(
    protection: Protection, heating: pint.Quantity | None = None, limits: Limits = EN_50678
) -> pint.Quantity:
    """The lowest resistance of the insulation, in ohms. Source: that of `limits`."""
    if protection is Protection.CLASS_III:
        return limits.insulation_class_iii
    if protection is Protection.CLASS_II:
        return limits.insulation_class_ii
    return limits.insulation_heating if _heats(heating, limits) else limits.insulation


def verdict(found: Measured, limits: Limits = EN_50678) -> Result:
    """Judge a test after a repair by the limits of an edition.

    What is asked for hangs on how the gear is built. Class I: protective earth, insulation, the current in the
    protective conductor, and the touch current where metal can be touched that isn't earthed. Class II: insulation
    and touch current. Class III: insulation. Insulation may be left out where its voltage would harm the electronics,
    and of class II may be low, where the current was measured and passes. Two wires without the mark of class II
    are none of these and never pass.

    Raises:
        CircuitError: a value that can't be: below zero, not finite, without the length of the cord.
    """
    judged = (
        _seen(
            LOOK,
            found.looked,
            limits,
            missing="Look it over first: cord, plug, strain relief, fuse, case, mains switch.",
            good="Nothing was found.",
            bad="Something was found when it was looked over.",
            do="Mend what was found, then begin again with looking it over.",
        ),
        *_by_protection(found, limits),
        _seen(
            FUNCTION,
            found.works,
            limits,
            missing="Try it out last: it works, nothing gets hot, nothing smells.",
            good="It works as it should.",
            bad="It did not work as it should when it was tried out.",
            do="Mend it, then test all of it again.",
        ),
    )
    return Result(_together(judged), judged, limits)


def _together(judged: tuple[Judged, ...]) -> Outcome:
    """The worst outcome. What is left to a current doesn't count: that current is asked for."""
    came = {each.outcome for each in judged}
    for outcome in (Outcome.FAIL, Outcome.CLOSE, Outcome.MISSING):
        if outcome in came:
            return outcome
    return Outcome.PASS


def _by_protection(found: Measured, limits: Limits) -> list[Judged]:
    if found.protection is Protection.CLASS_I:
        judged = [_earth(found, limits), _insulation(found, limits), _protective(found, limits)]
        return (
            [*judged, _touch(found, limits)]
            if found.has_unearthed_metal or found.touch_current is not None
            else judged
        )
    if found.protection is Protection.CLASS_II:
        return [_insulation(found, limits), _touch(found, limits)]
    if found.protection is Protection.CLASS_III:
        return [_insulation(found, limits)]
    old = Judged(
        BUILD,
        Outcome.FAIL,
        "Two wires and no mark of double insulation is not class II: it can't be tested as that, and can't pass.",
        limits.edition,
        do=(
            "Fit a grounded cord where the local code allows it, then test it as class I."
            " Never earth a set whose chassis is connected to the mains."
        ),
    )
    return [old, _touch(found, limits)] if found.touch_current is not None else [old]


def _seen(
    test: str, fine: bool | None, limits: Limits, *, missing: str, good: str, bad: str, do: str
) -> Judged:
    clause = limits.clause(test)
    if fine is None:
        return Judged(test, Outcome.MISSING, missing, clause)
    if fine:
        return Judged(test, Outcome.PASS, good, clause)
    return Judged(test, Outcome.FAIL, bad, clause, do=do)


def _earth(found: Measured, limits: Limits) -> Judged:
    if found.earth is None:
        return Judged(
            EARTH,
            Outcome.MISSING,
            "Measure from the plug's earth pin to every touchable earthed part; move the cord meanwhile.",
            limits.clause(EARTH),
        )
    if found.cord is None:
        raise CircuitError("Write the length of the cord: the limit of the protective earth hangs on it.")
    limit = earth_limit(found.cord, found.cord_area, limits)
    return _measured(
        EARTH,
        _not_below_zero(found.earth, "ohm", EARTH),
        limit,
        limits,
        do=(
            "Clean and tighten the earth bolt, look at the plug, the cord and where it enters; then measure at the"
            " same place again. Don't plug it in before it passes."
        ),
    )


def _insulation(found: Measured, limits: Limits) -> Judged:
    clause = limits.clause(INSULATION)
    limit = insulation_limit(found.protection, found.heating, limits)
    if found.insulation_left_out:
        if found.protection is Protection.CLASS_III:
            return Judged(
                INSULATION,
                Outcome.MISSING,
                "On class III no current test stands in for it: measure the insulation.",
                clause,
                limit=limit,
            )
        return Judged(
            INSULATION,
            Outcome.LEFT,
            "Left out, so as not to harm the electronics: the current decides.",
            clause,
            limit=limit,
        )
    if found.insulation is None:
        return Judged(
            INSULATION,
            Outcome.MISSING,
            "Measure line and neutral together against the touchable metal, mains switch on, all of it unplugged.",
            clause,
            limit=limit,
        )
    judged = _measured(
        INSULATION,
        _not_below_zero(found.insulation, "ohm", INSULATION),
        limit,
        limits,
        at_least=True,
        do=(
            "Leave it unplugged. Look for a line-to-chassis capacitor, damp, a chafed wire, a leaky transformer;"
            " take the primary apart until it reads high."
        ),
    )
    may_be_low = found.protection is Protection.CLASS_II or (
        found.protection is Protection.CLASS_I and _heats(found.heating, limits)
    )
    if may_be_low and judged.outcome is not Outcome.PASS:
        return Judged(
            INSULATION,
            Outcome.LEFT,
            f"{show(judged.reading)} is not surely over {show(limit)}: the current decides.",
            clause,
            reading=judged.reading,
            limit=limit,
            at_least=True,
        )
    return judged


def _protective(found: Measured, limits: Limits) -> Judged:
    if found.protective_current is None:
        return Judged(
            PROTECTIVE_CURRENT,
            Outcome.MISSING,
            "Measure it with the gear on, both ways round where the plug can be turned, and write the higher one.",
            limits.clause(PROTECTIVE_CURRENT),
            limit=current_limit(found.heating, limits),
        )
    return _measured(
        PROTECTIVE_CURRENT,
        _not_below_zero(found.protective_current, "A", PROTECTIVE_CURRENT),
        current_limit(found.heating, limits),
        limits,
        do="Look for a line-to-chassis capacitor, a mains filter with a bad part, a leaky transformer.",
    )


def _touch(found: Measured, limits: Limits) -> Judged:
    if found.touch_current is None:
        return Judged(
            TOUCH_CURRENT,
            Outcome.MISSING,
            "Measure it at every touchable metal part that isn't earthed, and write the highest one.",
            limits.clause(TOUCH_CURRENT),
            limit=limits.touch_current,
        )
    return _measured(
        TOUCH_CURRENT,
        _not_below_zero(found.touch_current, "A", TOUCH_CURRENT),
        limits.touch_current,
        limits,
        do=(
            "Let nobody touch it while it is plugged in. Look for a line-to-chassis capacitor, a leaky transformer,"
            " a part that bridges primary and secondary."
        ),
    )


def _measured(
    test: str,
    reading: pint.Quantity,
    limit: pint.Quantity,
    limits: Limits,
    *,
    do: str,
    at_least: bool = False,
) -> Judged:
    outcome = compare(reading, limit, at_least=at_least)
    shown, allowed = show(reading), show(limit)
    bound = "at least" if at_least else "at most"
    if outcome is Outcome.PASS:
        said, do = f"{shown}, allowed {bound} {allowed}.", ""
    elif outcome is Outcome.CLOSE:
        said = f"{shown} reaches over its limit of {bound} {allowed}: too close to call."
        do = f"That is no pass. Measure again with a surer meter; if it stays, take it as a fail. {do}"
    else:
        said = f"{shown} is {'under' if at_least else 'over'} its limit of {bound} {allowed}."
    return Judged(test, outcome, said, limits.clause(test), reading, limit, do, at_least)


def _heats(heating: pint.Quantity | None, limits: Limits) -> bool:
    if heating is None:
        return False
    watts = _within(heating, "W", 0.0, 50_000.0, "Heating elements have up to 50 kW, like 4 kW.")
    return watts > nominal(limits.heating, "W")


def _not_below_zero(reading: pint.Quantity, unit: str, test: str) -> pint.Quantity:
    value, sure = nominal(reading, unit), band(reading, unit)
    if not (math.isfinite(value) and math.isfinite(sure)) or value < 0:
        raise CircuitError(f"{test}: such a reading can't be. Write what the meter shows, without a sign.")
    return reading


def _within(quantity: pint.Quantity, unit: str, least: float, most: float, sentence: str) -> float:
    value = nominal(quantity, unit)
    if not math.isfinite(value) or not least <= value <= most or value <= 0:
        raise CircuitError(sentence)
    return value
