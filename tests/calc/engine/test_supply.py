"""A supply's steady state against ngspice, against closed formulas where there are some, and by laws it must keep."""

import dataclasses
import math
from typing import Any

import numpy as np
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.engine.errors import CircuitError
from calc.engine.quantities import band, nominal, units
from calc.engine.supply import (
    Capacitor,
    Silicon,
    Supply,
    Topology,
    bleed_times,
    checks,
    inrush,
    plate_supply_resistance,
    solve,
)
from calc.engine.tubes import find_rectifier
from tests import pace
from tests.calc import spice
from tests.calc.supplies import (
    CASES,
    Case,
    amps,
    capacitor,
    current,
    lc,
    netlist,
    ohms,
    pentode,
    periods,
    rc,
    resistor,
    triode,
    tube,
    uf,
    volts,
    winding,
)

CT, BRIDGE, HALF, DOUBLER = Topology.CENTRE_TAP, Topology.BRIDGE, Topology.HALF_WAVE, Topology.DOUBLER


def plain(**changes: Any) -> Supply:
    """A common supply, with changes."""
    supply = Supply(winding(300, 50), CT, Silicon(), capacitor(47), (resistor(4000),))
    return dataclasses.replace(supply, **changes)


def number(quantity: pint.Quantity, unit: str) -> float:
    return nominal(quantity, unit)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_supply_is_what_ngspice_says_it_is(case: Case) -> None:
    """Source: ngspice (Debian's), transient analysis run until it stands still, with the same laws of the parts."""
    found, simulated = solve(case.supply), spice.run(netlist(case))
    period = 1 / number(case.supply.winding.frequency, "Hz")
    end = periods(case) * period
    last, before = (end - period, end), (end - 2 * period, end - period)
    for at, node in enumerate(found.nodes):
        name = f"v(n{at})"
        dc = simulated.mean(name, *last)
        assert dc == pytest.approx(simulated.mean(name, *before), rel=2e-5), "ngspice doesn't stand still yet"
        assert number(node.dc, "V") == pytest.approx(dc, rel=0.001)  # asked for: 0.5 %
        assert number(node.ripple, "V") == pytest.approx(
            simulated.swing(name, *last), rel=0.01
        )  # asked for: 3 %
        ac = math.sqrt(simulated.rms(name, *last) ** 2 - dc**2)
        assert number(node.ripple_rms, "V") == pytest.approx(ac, rel=0.02)
    through = simulated.between("i(v1)", *last)[1]
    assert number(found.diode_peak, "A") == pytest.approx(np.abs(through).max(), rel=0.01)
    assert number(found.winding_rms, "A") == pytest.approx(simulated.rms("i(v1)", *last), rel=0.01)


@pytest.mark.parametrize(
    ("case", "most"), [(CASES[0], "v(n0)"), (CASES[4], "v(n0)")], ids=("centre tap", "doubler")
)
def test_the_wave_lies_on_that_of_ngspice(case: Case, most: str) -> None:
    """Source: as above; every fortieth sample of a mains period, from its zero crossing."""
    found, simulated = solve(case.supply), spice.run(netlist(case))
    period = 1 / number(case.supply.winding.frequency, "Hz")
    start = (periods(case) - 1) * period
    ripple = number(found.nodes[0].ripple, "V")
    for at, here in list(zip(found.waves.times, found.waves.volts[0], strict=True))[::40]:
        there = float(np.interp(start + at, simulated["time"], simulated[most]))
        assert here == pytest.approx(there, abs=0.02 * ripple)


@pytest.mark.parametrize(
    ("topology", "rms", "share", "source"),
    [
        (CT, 350, 1, "√2·V; Radiotron Designer's Handbook, 4th ed., ch. 30, from memory"),
        (BRIDGE, 350, 1, "the same"),
        (HALF, 50, 1, "the same"),
        (DOUBLER, 120, 2, "twice the crest; the same"),
    ],
)
def test_without_a_load_it_rises_to_the_crest(
    topology: Topology, rms: float, share: float, source: str
) -> None:
    supply = plain(winding=winding(rms, 50), topology=topology, loads=())
    crest = share * rms * math.sqrt(2)
    found = solve(supply)
    assert number(supply.no_load_volts, "V") == pytest.approx(crest), source
    assert crest - 3 < number(found.nodes[0].dc, "V") <= crest  # silicon still drops a little at microamperes
    assert number(found.nodes[0].ripple, "V") < 1e-3


def test_a_500_volt_capacitor_behind_350_volts_fails_on_high_mains() -> None:
    """350 V a side, 5 % up: 520 V. Source: arithmetic on ANSI C84.1's ±5 %."""
    supply = plain(winding=winding(350, 60), reservoir=Capacitor(uf(40), rating=volts(500)))
    check = next(each for each in checks(supply, solve(supply)) if "Reservoir" in each.what)
    assert number(check.found, "V") == pytest.approx(519.7, abs=0.1)
    assert not check.holds
    better = dataclasses.replace(supply, reservoir=Capacitor(uf(40), rating=volts(525)))
    assert next(each for each in checks(better, solve(better)) if "Reservoir" in each.what).holds


def test_the_primary_has_its_share_of_the_resistance_of_a_plate() -> None:
    """40 Ω a side, 3 Ω of primary, 350 V on 120 V: 65.5 Ω. Source: R + Rp·(V/Vp)², computed by hand."""
    found = plate_supply_resistance(ohms(40), ohms(3), volts(350), volts(120))
    assert number(found, "ohm") == pytest.approx(65.52, abs=0.01)


def test_what_is_measured_with_a_doubt_leaves_a_doubt_in_the_resistance() -> None:
    from uncertainties import ufloat

    side = units.Quantity(ufloat(40, 2), "ohm")
    assert band(plate_supply_resistance(side, ohms(3), volts(350), volts(120))) == pytest.approx(2)


def test_the_textbook_ripple_is_an_upper_bound_of_ours() -> None:
    """0.1 A from 47 µF at 60 Hz: I/(2fC) = 17.7 V, some 20 to 30 % too much. Source: Radiotron Designer's Handbook,
    4th ed., ch. 30, from memory."""
    found = solve(plain(winding=winding(350, 60), loads=(current(0.1),)))
    assert 0.7 * 17.73 < number(found.nodes[0].ripple, "V") < 17.73


@pytest.mark.parametrize(
    ("section", "divisor", "source"),
    [
        (rc(4700, 22), 78.0, "√(1 + (ωRC)²) at 120 Hz; textbook"),
        (lc(4, 0.01, 47), 105.9, "ω²LC − 1 at 120 Hz; textbook"),
    ],
    ids=("RC", "LC"),
)
def test_a_section_divides_the_ripple_as_the_textbook_says(section: Any, divisor: float, source: str) -> None:
    waves = solve(plain(sections=(section,))).waves
    first, second = (abs(np.fft.rfft(wave)[2]) for wave in waves.volts)  # twice the mains' frequency
    assert first / second == pytest.approx(divisor, rel=0.005), source


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_what_the_rectifier_gives_is_what_the_loads_take(case: Case) -> None:
    """Kirchhoff's current law for the means; no capacitor passes DC."""
    found = solve(case.supply)
    leaks = sum(
        number(node.dc, "V") / number(part.leak, "ohm")
        for node, part in zip(found.nodes, case.supply.capacitors, strict=True)
        if part.leak is not None
    )
    taken = sum(number(node.load_current, "A") for node in found.nodes) + leaks
    assert number(found.nodes[0].series_current, "A") == pytest.approx(taken, rel=1e-3)
    halves = 2 if case.supply.topology in (CT, BRIDGE) else 1
    assert number(found.diode_mean, "A") * halves == pytest.approx(taken, rel=1e-3)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_each_section_costs_volts_by_its_current_and_resistance(case: Case) -> None:
    """Ohm's law for the means; no choke takes DC."""
    found = solve(case.supply)
    for before, after, section in zip(found.nodes[:-1], found.nodes[1:], case.supply.sections, strict=True):
        drop = number(after.series_current, "A") * number(section.resistance, "ohm")
        assert number(before.dc, "V") - number(after.dc, "V") == pytest.approx(drop, abs=1e-3)


def test_the_inrush_is_the_crest_through_tube_winding_and_capacitor() -> None:
    """(I/K)^(2/3) + R·I is the crest; Langmuir's law and Ohm's."""
    supply = plain(winding=winding(300, 80), rectifier=find_rectifier("EZ81"), reservoir=capacitor(50, 2))
    peak = number(inrush(supply), "A")
    across = (peak / find_rectifier("EZ81").perveance) ** (2 / 3)
    assert across + 82 * peak == pytest.approx(300 * math.sqrt(2), abs=0.01)


def test_the_inrush_of_silicon_is_limited_by_the_winding() -> None:
    peak = number(inrush(plain(winding=winding(300, 20))), "A")
    assert peak == pytest.approx((300 * math.sqrt(2) - 1.5) / 20, rel=0.01)


def test_a_bleeder_takes_the_time_constant_and_the_logarithm() -> None:
    """t = RC·ln(V/50). Source: textbook; no mains, no other load."""
    supply = plain(
        winding=winding(350, 60), reservoir=capacitor(100), loads=(resistor(220_000), pentode(0.1, 400))
    )
    (time,) = bleed_times(supply)
    assert time is not None
    assert number(time, "s") == pytest.approx(22 * math.log(350 * math.sqrt(2) / 50), rel=1e-3)


def test_a_doublers_capacitors_bleed_as_two_in_series() -> None:
    supply = plain(
        topology=DOUBLER, winding=winding(120, 15), reservoir=capacitor(100), loads=(resistor(100_000),)
    )
    (time,) = bleed_times(supply)
    assert time is not None
    assert number(time, "s") == pytest.approx(5 * math.log(240 * math.sqrt(2) / 50), rel=1e-3)


def test_without_a_resistor_nothing_bleeds() -> None:
    assert bleed_times(plain(loads=(current(0.1), triode(0.01, 300)), sections=(rc(1000, 20),))) == (
        None,
        None,
    )


def test_what_is_already_safe_takes_no_time() -> None:
    (time,) = bleed_times(plain(winding=winding(24, 1)))
    assert time is not None
    assert number(time, "s") == 0


@pytest.mark.parametrize(
    ("supply", "what"),
    [
        (plain(winding=winding(500, 100), rectifier=tube("5U4GB")), "AC volts at each plate"),
        (plain(rectifier=tube("5Y3GT"), loads=(current(0.15),)), "DC taken"),
        (plain(winding=winding(340, 50), rectifier=tube("5Y3GT"), loads=(current(0.2),)), "Peak current of a plate"),
        (plain(rectifier=tube("5Y3GT"), reservoir=capacitor(47)), "First capacitor"),
        (plain(winding=winding(350, 40), rectifier=tube("GZ34")), "Resistance in series with each plate"),
        (plain(winding=winding(350, 60)), "Reverse volts of a diode, no load, high mains"),
        (plain(winding=winding(20, 0.5), reservoir=capacitor(4700), loads=(current(3),)), "Mean current of a diode"),
        (plain(winding=winding(300, 5)), "Inrush through a diode"),
    ],
    ids=lambda each: each if isinstance(each, str) else "",
)  # fmt: skip
def test_a_rectifier_past_its_limit_is_named(supply: Supply, what: str) -> None:
    failing = [check.what for check in checks(supply, solve(supply)) if not check.holds]
    assert what in failing


def test_a_rectifier_within_its_limits_passes() -> None:
    supply = plain(winding=winding(300, 100), rectifier=tube("GZ34"), loads=(current(0.1),))
    assert all(check.holds for check in checks(supply, solve(supply)))


FEW = settings(max_examples=15, deadline=None)
LOADS = st.floats(0.01, 0.15)
MICROFARADS = st.floats(8, 400)
KINDS = st.sampled_from([CT, BRIDGE, HALF, DOUBLER])
RECTIFIERS = st.sampled_from([Silicon(), find_rectifier("5U4GB"), find_rectifier("GZ34")])


@FEW
@given(MICROFARADS, st.floats(1.1, 4), LOADS, KINDS, RECTIFIERS)
def test_more_capacitance_leaves_less_ripple(
    size: float, more: float, load: float, kind: Topology, rectifier: Any
) -> None:
    small = plain(
        topology=kind, rectifier=rectifier, reservoir=capacitor(size), loads=(resistor(300 / load),)
    )
    large = dataclasses.replace(small, reservoir=capacitor(size * more))
    assert solve(large).nodes[0].ripple < solve(small).nodes[0].ripple


@FEW
@given(LOADS, st.floats(1.05, 3), KINDS, RECTIFIERS)
def test_more_load_leaves_fewer_volts(load: float, more: float, kind: Topology, rectifier: Any) -> None:
    def at(amperes: float) -> Supply:
        return plain(
            topology=kind, rectifier=rectifier, loads=(resistor(300 / amperes),), sections=(rc(1000, 20),)
        )

    light, heavy = solve(at(load)), solve(at(load * more))
    assert all(h.dc < each.dc for h, each in zip(heavy.nodes, light.nodes, strict=True))


@FEW
@given(st.floats(1.005, 1.2), st.sampled_from(CASES))
def test_higher_mains_give_more_volts(share: float, case: Case) -> None:
    usual, high = solve(case.supply), solve(case.supply.at_line(share))
    assert all(h.dc > each.dc for h, each in zip(high.nodes, usual.nodes, strict=True))


WILD = {
    "microfarads": st.floats(0.01, 1e5),
    "rms": st.floats(1, 3000),
    "series": st.floats(0.01, 5000),
    "load": st.one_of(st.none(), st.floats(1e-6, 5)),
    "henries": st.floats(1e-3, 100),
    "kind": KINDS,
    "rectifier": RECTIFIERS,
    "stage": st.sampled_from(
        [current, lambda a: triode(a, 100), lambda a: pentode(a, 100), lambda a: resistor(100 / a)]
    ),
}


@settings(max_examples=40, deadline=None)
@given(st.fixed_dictionaries(WILD))
def test_whatever_the_values_there_is_a_sound_answer_or_a_refusal(wild: dict[str, Any]) -> None:
    loads = () if wild["load"] is None else (wild["stage"](wild["load"]),)
    supply = Supply(
        winding(wild["rms"], wild["series"]),
        wild["kind"],
        wild["rectifier"],
        capacitor(wild["microfarads"]),
        (),
        (lc(wild["henries"], 10, wild["microfarads"], *loads),),
    )
    try:
        found = solve(supply)
    except CircuitError as why:
        assert str(why).endswith((".", "?"))
        return
    top = number(supply.no_load_volts, "V")
    assert all(0 < number(node.dc, "V") <= top * 1.0001 for node in found.nodes)
    assert number(found.diode_peak, "A") <= number(inrush(supply), "A") * 2.5


@pytest.mark.parametrize(
    "changes",
    [
        {"winding": winding(0, 50)},
        {"winding": winding(-300, 50)},
        {"winding": winding(1e9, 50)},
        {"winding": winding(math.nan, 50)},
        {"winding": winding(math.inf, 50)},
        {"winding": winding(300, 0)},
        {"winding": winding(300, -5)},
        {"winding": winding(300, 1e12)},
        {"winding": winding(300, 50, 0)},
        {"winding": winding(300, 50, 1e6)},
        {"reservoir": capacitor(0)},
        {"reservoir": capacitor(-47)},
        {"reservoir": capacitor(1e-12)},
        {"reservoir": capacitor(1e12)},
        {"reservoir": capacitor(47, -1)},
        {"reservoir": capacitor(47, leak=0)},
        {"reservoir": Capacitor(volts(47))},
        {"loads": (resistor(0),)},
        {"loads": (resistor(-1),)},
        {"loads": (current(-0.1),)},
        {"loads": (current(math.nan),)},
        {"loads": (triode(0.1, 0),)},
        {"sections": (rc(0, 20),)},
        {"sections": (rc(1000, 0),)},
        {"sections": (lc(0, 100, 20),)},
        {"sections": (lc(-1, 100, 20),)},
        {"sections": tuple(rc(1000, 20) for _ in range(7))},
    ],
)
def test_values_that_no_supply_has_are_refused(changes: dict[str, Any]) -> None:
    with pytest.raises(CircuitError, match=r"\.$"):
        solve(plain(**changes))


@pytest.mark.parametrize(
    ("loads", "words"),
    [
        ((current(20),), "takes more than this supply can give"),
        ((resistor(0.5),), "shorted"),
    ],
)
def test_a_load_that_no_supply_holds_is_refused(loads: tuple[Any, ...], words: str) -> None:
    with pytest.raises(CircuitError, match=words):
        solve(plain(loads=loads))


def test_a_load_after_a_large_resistor_that_it_can_not_get_is_refused_by_its_node() -> None:
    with pytest.raises(CircuitError, match="Section 1"):
        solve(plain(sections=(rc(100_000, 20, current(0.05)),)))


def test_a_switched_off_load_of_nothing_is_a_load_of_nothing() -> None:
    assert amps(0) == amps(0.0)
    found = solve(plain(loads=(current(0),)))
    assert number(found.nodes[0].load_current, "A") == 0


def test_six_sections_are_answered_in_time() -> None:
    """Goal: 30 ms a solve; the ceiling here is for a machine that does other things too."""
    supply = plain(
        loads=(pentode(0.08, 350),), sections=tuple(rc(1000, 20, triode(0.002, 250)) for _ in range(6))
    )
    solve(supply)
    assert pace.seconds(lambda: solve(supply)) < 0.1
