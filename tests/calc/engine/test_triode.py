"""The triode's model: the published equation, its derivatives, and a simulator that others wrote."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.engine.errors import CircuitError
from calc.engine.quantities import nominal
from calc.engine.triode import fitted, model_of, plate_current, slopes
from calc.engine.tubes import KOREN, SIGNAL_TUBES, find_signal
from tests.calc import spice

TRIODES = ("12AX7", "12AU7", "12AT7", "6DJ8", "6SN7")
volts = st.floats(1.0, 500.0)
grids = st.floats(-20.0, 0.0)


@pytest.mark.parametrize(
    ("tube", "va", "vg", "milliamperes", "source"),
    [
        # The equation of Koren 1996 with the parameters of his library, worked by hand with a calculator.
        ("12AX7", 250, -2.0, 0.952, "Koren 1996, worked apart from this code"),
        ("12AU7", 250, -8.5, 10.39, "Koren 1996, worked apart from this code"),
        ("12AT7", 250, -2.0, 12.84, "Koren 1996, worked apart from this code"),
        ("6DJ8", 90, -1.3, 14.32, "Koren 1996, worked apart from this code"),
        ("6SN7", 250, -8.0, 9.28, "Koren 1996, worked apart from this code"),
    ],
)
def test_the_model_gives_what_the_paper_says(tube, va, vg, milliamperes, source):
    assert plate_current(KOREN[tube], va, vg) * 1e3 == pytest.approx(milliamperes, rel=1e-3), source


@pytest.mark.parametrize(
    ("tube", "va", "vg", "milliamperes", "within", "source"),
    [
        ("12AU7", 250, -8.5, 10.5, 0.03, "RCA Receiving Tube Manual, from memory"),
        ("6DJ8", 90, -1.3, 15.0, 0.06, "Philips ECC88, from memory"),
        ("6SN7", 250, -8.0, 9.0, 0.05, "GE 6SN7GTB, from memory"),
        ("12AX7", 250, -2.0, 1.2, 0.25, "RCA Receiving Tube Manual, from memory"),
        ("12AT7", 250, -2.0, 10.0, 0.30, "RCA 12AT7, from memory"),
    ],
)
def test_the_model_is_near_the_data_sheet_at_its_usual_point(tube, va, vg, milliamperes, within, source):
    assert plate_current(KOREN[tube], va, vg) * 1e3 == pytest.approx(milliamperes, rel=within), source


@pytest.mark.parametrize("tube", TRIODES)
def test_currents_over_the_whole_field_are_those_of_ngspice(tube):
    m = KOREN[tube]
    netlist = f"""curves
Va p 0 0
Vg g 0 0
B1 p 0 I=2*pow(v(p)/{m.kp}*ln(1+exp({m.kp}*(1/{m.mu}+v(g)/sqrt({m.kvb}+v(p)*v(p))))),{m.x})/{m.kg1}
.dc Va 20 400 20 Vg -4 0 1
"""
    found = spice.run(netlist)
    for va, vg, amps in zip(found["v(p)"], found["v(g)"], -found["i(va)"], strict=True):
        assert plate_current(m, va, vg) == pytest.approx(amps, rel=2e-3, abs=2e-9)


@settings(max_examples=50)
@given(st.sampled_from(TRIODES), volts, grids)
def test_slopes_are_the_derivatives_of_the_current(tube, va, vg):
    m = KOREN[tube]
    found = slopes(m, va, vg)
    step = 1e-4
    gm = (plate_current(m, va, vg + step) - plate_current(m, va, vg - step)) / (2 * step)
    ga = (plate_current(m, va + step, vg) - plate_current(m, va - step, vg)) / (2 * step)
    assert found.gm == pytest.approx(gm, rel=1e-3, abs=1e-9)
    assert found.ga == pytest.approx(ga, rel=1e-3, abs=1e-9)


@settings(max_examples=50)
@given(st.sampled_from(TRIODES), volts, grids, st.floats(0.1, 50.0))
def test_more_plate_or_grid_volts_never_give_less_current(tube, va, vg, more):
    m = KOREN[tube]
    here = plate_current(m, va, vg)
    assert plate_current(m, va + more, vg) >= here
    assert plate_current(m, va, min(vg + more, 0.0)) >= here


@pytest.mark.parametrize("va", [0.0, -1.0, -1e9])
def test_nothing_flows_without_plate_volts(va):
    assert plate_current(KOREN["12AX7"], va, 0.0) == 0
    assert slopes(KOREN["12AX7"], va, 0.0).gm == 0


@pytest.mark.parametrize(("va", "vg"), [(1e4, -1e6), (1e4, 1e4), (1e-9, -50.0)])
def test_no_voltage_overflows(va, vg):
    assert math.isfinite(plate_current(KOREN["12AX7"], va, vg))


def test_the_amplification_factor_is_the_sheets():
    # RCA Receiving Tube Manual, from memory: 12AU7 at 250 V, -8.5 V has mu 17, rp 7.7 kohm; the model's mu is higher
    found = slopes(KOREN["12AU7"], 250, -8.5)
    assert found.mu == pytest.approx(17, rel=0.2)
    assert found.rp == pytest.approx(7700, rel=0.2)


@pytest.mark.parametrize("name", ["12AY7", "5751", "6SL7GT"])
def test_a_tube_without_published_parameters_goes_through_its_sheets_point(name):
    section = find_signal(name).section
    point = section.typical[0]
    found = slopes(model_of(section), nominal(point.plate_volts), nominal(point.grid_volts))
    assert found.current == pytest.approx(nominal(point.plate_current), rel=1e-9)
    assert found.gm == pytest.approx(nominal(point.transconductance, "A/V"), rel=1e-6)


def test_a_pentode_has_no_triode_curves():
    pentode = next(s for tube in SIGNAL_TUBES for s in tube.sections if s.kind == "pentode")
    with pytest.raises(CircuitError, match="Pick a triode"):
        model_of(pentode)


def test_a_point_that_no_curve_goes_through_is_refused():
    with pytest.raises(CircuitError):
        fitted(100, va=250, vg=-2, current=1e-3, gm=10.0, source="nobody's")
