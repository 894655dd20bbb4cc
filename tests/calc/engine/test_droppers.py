"""Droppers and zener rails against worked examples, ngspice, and every corner tried by numpy."""

import numpy
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from calc.engine.droppers import Regulation, dropper, in_series, shunt
from calc.engine.errors import CircuitError
from calc.engine.quantities import band, nominal, units, with_band
from tests.calc.spice import run

BY_HAND = "worked by hand: Ohm's law"
EXACT = {
    "supply_tolerance": units.Quantity(0.0, "percent"),
    "resistor_tolerance": units.Quantity(0.0, "percent"),
}
EXACT_ZENER = {**EXACT, "zener_tolerance": units.Quantity(0.0, "percent")}


def q(number, unit):
    return units.Quantity(float(number), unit)


def percent(number):
    return q(number, "percent")


def test_a_zener_rail_is_the_worked_example():
    # 30 V ±10 %, 12 V, 20 mA, 5 mA at the least: (27 − 12) / 25 mA = 600 Ω; unplugged 12 V · 35 mA = 0.42 W
    exact = {**EXACT_ZENER, "supply_tolerance": percent(10)}
    found = shunt(q(30, "V"), q(12, "V"), q(20, "mA"), q(0, "mA"), resistance=q(600, "ohm"), **exact)
    assert nominal(found.most, "ohm") == pytest.approx(600)
    assert nominal(found.zener_heat_most, "W") == pytest.approx(0.42)
    assert nominal(found.resistor_heat_most, "W") == pytest.approx(21**2 / 600)
    assert nominal(found.zener_least, "mA") == pytest.approx(5)
    assert found.regulation is Regulation.HOLDS


def test_without_a_resistor_the_greatest_on_the_shelf_that_holds_is_taken():
    exact = {**EXACT_ZENER, "supply_tolerance": percent(10)}
    found = shunt(q(30, "V"), q(12, "V"), q(20, "mA"), q(0, "mA"), **exact)
    assert nominal(found.resistance, "ohm") == 560  # IEC 60063, E12: 560 is the greatest under 600
    tight = shunt(q(30, "V"), q(12, "V"), q(20, "mA"), q(0, "mA"), series="E96", **exact)
    assert nominal(tight.resistance, "ohm") == 590  # IEC 60063, E96


@pytest.mark.parametrize(
    ("ohms", "regulation", "weakest", "source"),
    [
        (560, Regulation.HOLDS, 12, BY_HAND),
        (700, Regulation.AT_THE_KNEE, 12, BY_HAND + ": 15 V / 700 Ω leaves 1.4 mA"),
        (1000, Regulation.OUT, 7, BY_HAND + ": 27 V − 20 mA · 1 kΩ"),
        (2000, Regulation.OUT, 0, "the load can't have 20 mA"),
    ],
)
def test_a_resistor_that_is_there_holds_the_rail_or_does_not(ohms, regulation, weakest, source):
    exact = {**EXACT_ZENER, "supply_tolerance": percent(10)}
    found = shunt(q(30, "V"), q(12, "V"), q(20, "mA"), q(0, "mA"), resistance=q(ohms, "ohm"), **exact)
    assert found.regulation is regulation
    assert nominal(found.weakest, "V") == pytest.approx(weakest, abs=1e-9)


@pytest.mark.parametrize(
    ("volts", "zener", "load", "ohms"),
    [
        (30, 12, 0.02, 560),
        (30, 12, 0.02, 1000),
        (45, 15, 0.03, 680),
        (-45, -15, 0.03, 680),
        (-30, -12, 0.02, 1000),
    ],
)
def test_a_zener_rail_agrees_with_ngspice(volts, zener, load, ohms):
    # the zener is a source of its volts behind a diode of a few millivolts; the load is a current
    sign = 1 if volts > 0 else -1
    ends = "rail held" if sign > 0 else "held rail"
    plot = run(
        f"""zener rail
v1 supply 0 {volts}
r1 supply rail {ohms}
d1 {ends} sharp
v2 held 0 {zener}
i1 rail 0 {sign * load}
.model sharp d(n=0.01)
.op
"""
    )
    found = shunt(
        q(volts, "V"), q(zener, "V"), q(load, "A"), q(load, "A"), resistance=q(ohms, "ohm"), **EXACT_ZENER
    )
    assert plot.last("v(rail)") == pytest.approx(nominal(found.weakest, "V"), rel=2e-3)
    current = abs(plot.last("i(v1)"))
    assert current**2 * ohms == pytest.approx(nominal(found.resistor_heat, "W"), rel=5e-3)
    assert current - load == pytest.approx(nominal(found.zener_current, "A"), abs=1e-4)


def _corners(found, volts, zener, load, tolerances, rng):
    """A thousand circuits within the tolerances, the corners among them: the rail, the zener's heat, the resistor's."""
    supply_share, part_share, zener_share = tolerances
    ohms = nominal(found.resistance, "ohm")

    def spread(middle, share):
        ends = numpy.array([middle * (1 - share), middle * (1 + share)])
        return numpy.concatenate((ends, rng.uniform(*ends, 8)))

    v, r, z, i = (
        grid.ravel()
        for grid in numpy.meshgrid(
            spread(volts, supply_share), spread(ohms, part_share), spread(zener, zener_share),
            numpy.array([0.0, load / 2, load]), indexing="ij",
        )
    )  # fmt: skip
    left = v - i * r
    rail = numpy.clip(numpy.minimum(left, z), 0, None)
    in_zener = numpy.where(left > z, (v - z) / r - i, 0)
    return rail, rail * in_zener, (v - rail) ** 2 / r


@given(
    st.floats(10, 400), st.floats(0.1, 1.1), st.floats(0.002, 0.2), st.floats(0.3, 2.5),
    st.floats(0.005, 0.15), st.floats(0.005, 0.1), st.floats(0.005, 0.1), st.integers(0, 2**31),
)  # fmt: skip
@settings(max_examples=40, deadline=None)
def test_no_circuit_within_the_tolerances_is_worse_than_the_worst_cases(
    volts, ratio, load, fit, supply_share, part_share, zener_share, seed
):
    zener = volts * min(ratio, 0.95)
    ohms = max(1.0, fit * (volts - zener) / load)
    found = shunt(
        q(volts, "V"), q(zener, "V"), q(load, "A"), q(0, "A"), resistance=q(ohms, "ohm"),
        supply_tolerance=percent(100 * supply_share), resistor_tolerance=percent(100 * part_share),
        zener_tolerance=percent(100 * zener_share),
    )  # fmt: skip
    rng = numpy.random.default_rng(seed)
    rail, in_zener, in_resistor = _corners(
        found, volts, zener, load, (supply_share, part_share, zener_share), rng
    )
    assert nominal(found.weakest, "V") == pytest.approx(rail.min(), rel=1e-6, abs=1e-6)
    assert nominal(found.strongest, "V") == pytest.approx(rail.max(), rel=1e-6)
    worst_zener, worst_resistor = nominal(found.zener_heat_most, "W"), nominal(found.resistor_heat_most, "W")
    assert in_zener.max() <= worst_zener * (1 + 1e-6) + 1e-12
    assert in_resistor.max() <= worst_resistor * (1 + 1e-6)
    # and the worst cases are not far beyond what can be
    assert in_zener.max() >= worst_zener * 0.98 - 1e-12
    assert in_resistor.max() >= worst_resistor * 0.8


@given(st.floats(10, 400), st.floats(0.05, 0.9), st.floats(0.001, 0.2))
@settings(max_examples=40, deadline=None)
def test_a_negative_rail_is_a_positive_one_in_a_mirror(volts, ratio, load):
    up = dropper(q(volts, "V"), q(volts * ratio, "V"), q(load, "A"), q(load / 3, "A"))
    down = dropper(q(-volts, "V"), q(-volts * ratio, "V"), q(load, "A"), q(load / 3, "A"))
    for name in ("rail", "weakest", "strongest", "unloaded"):
        assert nominal(getattr(down, name)) == pytest.approx(-nominal(getattr(up, name)))
    for name in ("resistance", "heat", "heat_most", "across_most"):
        assert nominal(getattr(down, name)) == pytest.approx(nominal(getattr(up, name)))
    try:
        up, down = (
            shunt(q(s * volts, "V"), q(s * volts * ratio, "V"), q(load, "A"), q(0, "A")) for s in (1, -1)
        )
    except CircuitError:
        return
    assert nominal(down.weakest) == pytest.approx(-nominal(up.weakest))
    assert nominal(down.zener_heat_most) == pytest.approx(nominal(up.zener_heat_most))


@pytest.mark.parametrize(
    ("supply", "rail", "load", "ohms", "heat", "source"),
    [
        (320, 270, 5e-3, 10_000, 0.25, BY_HAND),
        (400, 300, 20e-3, 5_000, 2.0, BY_HAND),
        (-60, -45, 1.5e-3, 10_000, 0.0225, BY_HAND),
    ],
)
def test_a_dropper_is_ohms_law(supply, rail, load, ohms, heat, source):
    found = dropper(
        q(supply, "V"), q(rail, "V"), q(load, "A"), q(load, "A"), resistance=q(ohms, "ohm"), **EXACT
    )
    assert nominal(found.wanted, "ohm") == pytest.approx(ohms)
    assert nominal(found.rail, "V") == pytest.approx(rail)
    assert nominal(found.heat, "W") == pytest.approx(heat)
    assert nominal(found.unloaded, "V") == supply


def test_the_droppers_worst_cases_are_worked_by_hand():
    # 300 V ±10 %, 10 kΩ ±5 %, 2 mA to 5 mA
    found = dropper(q(300, "V"), q(250, "V"), q(5, "mA"), q(2, "mA"), resistance=q(10, "kohm"))
    assert nominal(found.weakest, "V") == pytest.approx(270 - 5e-3 * 10_500)
    assert nominal(found.strongest, "V") == pytest.approx(330 - 2e-3 * 9_500)
    assert nominal(found.unloaded, "V") == pytest.approx(330)
    assert nominal(found.heat_most, "W") == pytest.approx(5e-3**2 * 10_500)
    assert nominal(found.heat_shorted, "W") == pytest.approx(330**2 / 9_500)
    assert not found.collapses


def test_a_rail_that_nothing_is_left_for_collapses_and_is_no_wrong_number():
    found = dropper(q(300, "V"), q(250, "V"), q(50, "mA"), q(0, "mA"), resistance=q(10, "kohm"))
    assert found.collapses
    assert (nominal(found.weakest), nominal(found.rail)) == (0, 0)
    assert nominal(found.heat, "W") == pytest.approx(9)  # all of 300 V across 10 kΩ
    down = dropper(q(-300, "V"), q(-250, "V"), q(50, "mA"), q(0, "mA"), resistance=q(10, "kohm"))
    assert str(nominal(down.weakest)) == "0.0"  # no minus before it


@given(st.floats(20, 400), st.floats(0.1, 0.9), st.floats(0.001, 0.1))
@settings(max_examples=40, deadline=None)
def test_more_resistance_leaves_a_weaker_rail(volts, ratio, load):
    smaller = dropper(q(volts, "V"), q(volts * ratio, "V"), q(load, "A"), q(load, "A"))
    ohms = nominal(smaller.resistance, "ohm")
    greater = dropper(
        q(volts, "V"), q(volts * ratio, "V"), q(load, "A"), q(load, "A"), resistance=q(ohms * 1.2, "ohm")
    )
    assert nominal(greater.weakest) <= nominal(smaller.weakest)
    assert nominal(greater.rail) < nominal(smaller.rail) or nominal(smaller.rail) == 0


@given(st.floats(20, 400), st.floats(0.1, 0.8), st.floats(0.001, 0.1))
@settings(max_examples=40, deadline=None)
def test_what_is_taken_from_the_shelf_holds_the_rail(volts, ratio, load):
    assume(volts * 0.9 > volts * ratio * 1.05)
    found = shunt(q(volts, "V"), q(volts * ratio, "V"), q(load, "A"), q(0, "A"))
    assert found.regulation is Regulation.HOLDS
    assert nominal(found.resistance, "ohm") <= nominal(found.most, "ohm") * (1 + 1e-9)


def test_the_meters_band_flows_into_the_figures_and_widens_the_corners():
    sure = dropper(q(300, "V"), q(250, "V"), q(5, "mA"), q(5, "mA"), resistance=q(10, "kohm"), **EXACT)
    unsure = dropper(
        with_band(q(300, "V"), 6), q(250, "V"), q(5, "mA"), q(5, "mA"), resistance=q(10, "kohm"), **EXACT
    )
    assert band(unsure.rail, "V") == pytest.approx(6)
    assert nominal(unsure.weakest, "V") == pytest.approx(nominal(sure.weakest, "V") - 6)


def test_a_zener_in_the_centre_tap_makes_its_volts_times_the_current_into_heat():
    found = in_series(
        q(400, "V"), q(50, "V"), q(150, "mA"), **{k: v for k, v in EXACT_ZENER.items() if k[0] != "r"}
    )
    assert nominal(found.heat, "W") == pytest.approx(7.5)  # worked by hand: 50 V · 150 mA
    assert nominal(found.weakest, "V") == pytest.approx(350)


GOOD = {"supply": q(30, "V"), "zener": q(12, "V"), "load_most": q(20, "mA"), "load_least": q(0, "mA")}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"supply": q(0, "V")}, "supply"),
        ({"supply": q(-30, "V")}, "same sign"),
        ({"supply": q(float("nan"), "V")}, "number"),
        ({"supply": q(1e9, "V")}, "at most"),
        ({"supply": q(30, "A")}, "quantity"),
        ({"supply": with_band(q(30, "V"), 40)}, "unsure"),
        ({"zener": q(0, "V")}, "zero"),
        ({"zener": q(28, "V")}, "no resistor holds"),
        ({"zener": q(40, "V")}, "no resistor holds"),
        ({"load_most": q(-1, "mA")}, "at least"),
        ({"load_most": q(1e6, "A")}, "at most"),
        ({"load_most": q(float("inf"), "A")}, "number"),
        ({"load_least": q(30, "mA")}, "heaviest"),
        ({"resistance": q(0, "ohm")}, "at least"),
        ({"resistance": q(-560, "ohm")}, "at least"),
        ({"resistance": q(1e15, "ohm")}, "at most"),
        ({"supply_tolerance": percent(-1)}, "at least"),
        ({"resistor_tolerance": percent(100)}, "at most"),
        ({"series": "E7"}, "no series"),
        ({"load_most": q(0, "mA"), "knee_current": q(0, "mA")}, "current"),
        ({"load_most": q(20, "A"), "supply": q(12.7, "V"), "supply_tolerance": percent(0)}, ""),
    ],
)
def test_no_such_zener_rail_is_refused_with_a_sentence(change, words):
    changed = {**GOOD, **change}
    args = [changed.pop(name) for name in ("supply", "zener", "load_most", "load_least")]
    if not words:  # just above its zener: a very small resistor, and an answer
        assert nominal(shunt(*args, **changed).resistance, "ohm") > 0
        return
    with pytest.raises(CircuitError, match=words):
        shunt(*args, **changed)


@pytest.mark.parametrize(
    ("supply", "rail", "most", "least", "words"),
    [
        (300, 300, 5e-3, 5e-3, "only drops"),
        (300, 350, 5e-3, 5e-3, "only drops"),
        (300, -50, 5e-3, 5e-3, "same sign"),
        (300, 250, 0, 0, "without a current"),
        (300, 250, 1e-3, 2e-3, "heaviest"),
        (300, 0, 1e-3, 0, "zero"),
        (1e-12, 1e-13, 1e-3, 0, "at least"),
        (float("inf"), 5, 1e-3, 0, "number"),
    ],
)
def test_no_such_dropper_is_refused_with_a_sentence(supply, rail, most, least, words):
    with pytest.raises(CircuitError, match=words):
        dropper(q(supply, "V"), q(rail, "V"), q(most, "A"), q(least, "A"))


def test_a_zener_that_leaves_nothing_is_refused():
    with pytest.raises(CircuitError, match="nothing would be left"):
        in_series(q(50, "V"), q(50, "V"), q(0.1, "A"))
