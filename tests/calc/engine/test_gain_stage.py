"""The gain stage: operating points, gains and harmonics of ngspice, handbook formulas, and what ails a stage."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from calc.engine.errors import CircuitError
from calc.engine.gain_stage import (
    Bias,
    Output,
    Readings,
    Stage,
    Trouble,
    corners,
    diagnose,
    harmonics,
    headroom,
    middle,
    network,
    operating_point,
)
from calc.engine.quantities import nominal, units, with_band
from calc.engine.triode import CAPACITANCES, plate_current
from calc.engine.tubes import KOREN
from tests.calc import spice

FIRST = Stage(
    KOREN["12AX7"],
    supply=300,
    plate_resistor=100e3,
    cathode_resistor=1.5e3,
    bypass=22e-6,
    input_capacitor=22e-9,
    output_capacitor=22e-9,
    load=1e6,
    source_impedance=38e3,
    grid_stopper=68e3,
    capacitances=CAPACITANCES["12AX7"],
)
BARE = Stage(KOREN["12AX7"], supply=300, plate_resistor=100e3, cathode_resistor=1.5e3)
FOLLOWER = Stage(
    KOREN["12AX7"],
    supply=320,
    plate_resistor=0,
    cathode_resistor=100e3,
    output=Output.CATHODE,
    bias=Bias.VOLTS,
    grid_volts=180,
    source_impedance=38e3,
    load=56e3,
    load_capacitance=500e-12,
    capacitances=CAPACITANCES["12AX7"],
)
STAGES = {
    "first stage, bypassed": FIRST,
    "nothing but resistors": BARE,
    "without a bypass": replace(FIRST, bypass=None),
    "a small bypass": replace(FIRST, cathode_resistor=2.7e3, bypass=0.68e-6),
    "220k plate, 820R": replace(FIRST, plate_resistor=220e3, cathode_resistor=820, load=470e3),
    "cold, 10k cathode": replace(FIRST, cathode_resistor=10e3, bypass=None),
    "low supply": replace(FIRST, supply=90),
    "12AU7 driver": replace(
        FIRST,
        model=KOREN["12AU7"],
        plate_resistor=47e3,
        cathode_resistor=1.5e3,
        capacitances=CAPACITANCES["12AU7"],
    ),
    "12AT7, reverb driver's way": replace(
        FIRST,
        model=KOREN["12AT7"],
        supply=420,
        plate_resistor=22e3,
        cathode_resistor=2.2e3,
        bypass=25e-6,
        load=220e3,
        capacitances=CAPACITANCES["12AT7"],
    ),
    "6SN7": replace(
        FIRST,
        model=KOREN["6SN7"],
        plate_resistor=47e3,
        cathode_resistor=1.2e3,
        capacitances=CAPACITANCES["6SN7"],
    ),
    "fixed bias": replace(FIRST, bias=Bias.VOLTS, grid_volts=-1.5, cathode_resistor=0, bypass=None),
    "follower on a plate": FOLLOWER,
    "follower, grid to a tap": Stage(
        KOREN["12AU7"],
        supply=280,
        plate_resistor=0,
        cathode_resistor=1e3,
        tail=47e3,
        output=Output.CATHODE,
        bias=Bias.TAP,
        input_capacitor=47e-9,
        output_capacitor=1e-6,
        load=10e3,
        source_impedance=10e3,
        capacitances=CAPACITANCES["12AU7"],
    ),
    "splitter's cathode": replace(
        FOLLOWER, model=KOREN["6SN7"], plate_resistor=22e3, cathode_resistor=22e3, grid_volts=80
    ),
    "6DJ8": replace(
        FIRST,
        model=KOREN["6DJ8"],
        supply=150,
        plate_resistor=5.6e3,
        cathode_resistor=220,
        bypass=220e-6,
        capacitances=CAPACITANCES["6DJ8"],
    ),
}
HERTZ = (5.0, 40.0, 1e3, 10e3, 60e3)


def tube(m) -> str:
    inside = f"{m.kp}*(1/{m.mu}+v(g,k)/sqrt({m.kvb}+v(p,k)*v(p,k)))"
    return f"B1 p k I=2*pow(max(v(p,k),1e-6)/{m.kp}*ln(1+exp(min({inside},300))),{m.x})/{m.kg1}"


def netlist(stage: Stage, analysis: str, signal: str = "dc 0 ac 1") -> str:
    """A stage as SPICE reads it, written apart from the engine's own network. A resistor of nothing is 1 µΩ here."""
    ohm = 1e-6

    def through(c, one, other, name):
        return f"R{name} {one} {other} {ohm}" if c is None else f"C{name} {one} {other} {c}"

    at = "p" if stage.output is Output.PLATE else "k"
    lines = [
        "stage",
        f"Vb b 0 {stage.supply}",
        f"Vrest rest 0 {stage.rest}",
        f"Vin in 0 {signal}",
        f"Rs in ahead {stage.source_impedance or ohm}",
        f"Vdirect leak ahead {stage.rest}"
        if stage.is_direct
        else f"Cin ahead leak {stage.input_capacitor or 1.0}",
        "" if stage.is_direct else f"Rg leak {'t' if stage.bias is Bias.TAP else 'rest'} {stage.grid_leak}",
        f"Rstop leak g {stage.grid_stopper or ohm}",
        tube(stage.model),
        f"Ra b p {stage.plate_resistor or ohm}",
        f"Rk k t {stage.cathode_resistor or ohm}",
        f"Rt t 0 {stage.tail or ohm}",
        # the load passes no DC
        f"Cout {at} out {stage.output_capacitor or 1.0}",
        f"Rload out 0 {stage.load if math.isfinite(stage.load) else 1e12}",
        f"Cload out 0 {stage.load_capacitance or 1e-18}",
    ]
    if stage.bypass is not None:
        lines.append(f"Ck k t {stage.bypass}")
    if c := stage.capacitances:
        lines += [f"C1 g p {c.grid_plate}", f"C2 g k {c.grid_cathode}", f"C3 p k {c.plate_cathode}"]
    return "\n".join([*filter(None, lines), ".options reltol=1e-6", analysis, ""])


@pytest.mark.parametrize("name", STAGES)
def test_a_stage_stands_where_ngspice_says(name):
    stage = STAGES[name]
    found = spice.run(netlist(stage, ".op"))
    ours = operating_point(stage)
    assert nominal(ours.plate) == pytest.approx(found.last("v(p)"), rel=0.005)
    assert nominal(ours.cathode) == pytest.approx(found.last("v(k)"), rel=0.005, abs=1e-3)
    assert nominal(ours.grid) == pytest.approx(found.last("v(g)"), rel=0.005, abs=2e-3)
    assert nominal(ours.current) == pytest.approx(-found.last("i(vb)"), rel=0.005)


@pytest.mark.parametrize("name", STAGES)
def test_a_stage_amplifies_as_ngspice_says(name):
    stage = STAGES[name]
    whole, output = network(stage)
    for hertz in HERTZ:
        found = spice.run(netlist(stage, f".ac lin 1 {hertz} {hertz}"))
        theirs = complex(found["v(out)"][-1])
        ours = complex(whole.gain(output, [hertz])[0])
        assert abs(ours - theirs) <= 0.01 * abs(theirs), f"{hertz} Hz"
        if hertz == 1e3 and name in ("first stage, bypassed", "nothing but resistors", "12AU7 driver"):
            assert abs(middle(stage).gain) == pytest.approx(
                abs(theirs), rel=0.08
            )  # in the middle of its band


@pytest.mark.parametrize(
    ("stage", "peak"),
    [
        (replace(BARE, bias=Bias.VOLTS, grid_volts=-1.456, cathode_resistor=0), 1.0),
        (replace(BARE, bias=Bias.VOLTS, grid_volts=-1.456, cathode_resistor=0), 0.2),
        (BARE, 1.5),
        (
            replace(FOLLOWER, model=KOREN["12AU7"], capacitances=None, load_capacitance=0.0, load=math.inf),
            40.0,
        ),
    ],
)
def test_harmonics_are_those_of_a_transient_in_ngspice(stage, peak):
    lines = netlist(stage, ".tran 1u 10m 5m 1u", f"sin({{0}} {peak} 1k)").format(0)
    lines = lines.replace("Cout p out 1.0", "Rout p out 1").replace("Cout k out 1.0", "Rout k out 1")
    lines = lines.replace("Cin ahead leak 1.0", "Rin ahead leak 1u")  # straight onto the grid
    found = spice.run(lines)
    times, volts = found.between("v(out)", 5e-3, 10e-3)
    even = np.linspace(5e-3, 10e-3, 5000, endpoint=False)
    spectrum = np.abs(np.fft.rfft(np.interp(even, times, volts))) * 2 / 5000
    first, second, third = spectrum[5], spectrum[10], spectrum[15]
    ours = harmonics(stage, peak)
    assert nominal(ours.output) == pytest.approx(first, rel=0.01)
    assert ours.second == pytest.approx(second / first, rel=0.03, abs=2e-5)
    assert ours.third == pytest.approx(third / first, rel=0.1, abs=5e-5)


def test_headroom_ends_where_a_sweep_in_ngspice_does():
    stage = replace(BARE, bias=Bias.VOLTS, grid_volts=-1.456, cathode_resistor=0)
    found = headroom(stage)
    lines = netlist(stage, ".dc Vin -6 1.456 0.008")
    swept = spice.run(lines)["v(p)"]
    rest = nominal(operating_point(stage).plate)
    assert nominal(found.down) == pytest.approx(rest - swept[-1], rel=0.005)
    assert nominal(found.up) == pytest.approx(swept[0] - rest, rel=0.005)


def test_the_textbook_stage_stands_where_it_was_worked_out():
    # Koren 1996 with the 12AX7 of his library, worked apart from this code: 0.970 mA, 201.5 V, -1.456 V
    found = operating_point(BARE)
    assert nominal(found.current, "mA") == pytest.approx(0.970, abs=0.0006)
    assert nominal(found.plate_to_cathode) == pytest.approx(201.5, abs=0.06)
    assert nominal(found.grid_to_cathode) == pytest.approx(-1.456, abs=0.0006)


def test_the_point_stands_on_the_load_line_and_on_the_curve():
    found = operating_point(BARE)
    amps = nominal(found.current)
    assert nominal(found.plate_to_cathode) == pytest.approx(300 - amps * 101.5e3, rel=1e-9)
    assert amps == pytest.approx(
        plate_current(BARE.model, nominal(found.plate_to_cathode), nominal(found.grid_to_cathode)), rel=1e-9
    )


@pytest.mark.parametrize("name", STAGES)
def test_gain_and_output_impedance_are_the_networks_own(name):
    """The handbook's formulas (Radiotron Designer's Handbook, 4th ed., ch. 12) against the nodal solution."""
    stage = replace(
        STAGES[name],
        source_impedance=0.0,
        input_capacitor=None,
        capacitances=None,
        load_capacitance=0.0,
        grid_stopper=0.0,
        output_capacitor=None,
        bypass=STAGES[name].bypass and 10.0,
    )
    whole, output = network(stage)
    assert complex(whole.gain(output, [1e4])[0]).real == pytest.approx(middle(stage).gain, rel=1e-4)
    if stage.bias is not Bias.TAP:  # there the grid's resistor hangs on the output too
        alone, output = network(replace(stage, load=math.inf))
        assert abs(alone.impedance(output, [1e4])[0]) == pytest.approx(
            nominal(middle(replace(stage, load=math.inf)).output_impedance), rel=1e-4
        )


def test_the_input_capacitance_is_what_the_network_takes_in():
    stage = replace(
        FIRST,
        source_impedance=0.0,
        input_capacitor=None,
        grid_stopper=0.0,
        output_capacitor=None,
        bypass=1.0,
        grid_leak=1e9,
    )
    whole, _ = network(stage)
    into = 1 / whole.impedance("in", [1e3])[0]
    assert into.imag / (2 * math.pi * 1e3) == pytest.approx(
        nominal(middle(stage).input_capacitance), rel=0.005
    )


def test_the_bypass_corner_is_solved_and_not_the_pole():
    """The pole is not the -3 dB point while the shelf is low; solved here by hand from the textbook's response."""
    stage = replace(FIRST, capacitances=None)
    found = corners(stage)
    zero, pole, shelf = nominal(found.zero), nominal(found.pole), found.shelf
    assert shelf == pytest.approx(pole / zero, rel=1e-9)
    # |H|^2 = (1 + (f/z)^2) / (1 + (f/p)^2) relative to 1 at DC; half of (p/z)^2 at f
    f = math.sqrt((shelf**2 / 2 - 1) / (1 / zero**2 - shelf**2 / 2 / pole**2))
    assert nominal(found.bypass) == pytest.approx(f, rel=1e-3)
    assert abs(f / pole - 1) > 0.1


def test_a_low_shelf_has_no_corner():
    stage = replace(FIRST, cathode_resistor=470, plate_resistor=220e3)
    found = corners(stage)
    assert found.shelf < math.sqrt(2)
    assert found.bypass is None


def test_corners_of_a_stage_are_3_db_down():
    whole, output = network(FIRST)
    found = corners(FIRST)
    for corner in (found.low, found.high):
        assert abs(whole.gain(output, [nominal(corner)])[0]) == pytest.approx(
            found.most / math.sqrt(2), rel=1e-6
        )
    # one capacitor's corner alone is not the stage's: three of them lie near each other here
    assert nominal(found.low) > max(nominal(found.input_coupling), nominal(found.output_coupling))


@settings(max_examples=30)
@given(
    st.sampled_from(("12AX7", "12AU7", "12AT7", "6SN7")),
    st.floats(100, 450),
    st.floats(10e3, 470e3),
    st.floats(200, 10e3),
    st.floats(1.05, 3.0),
)
def test_more_cathode_resistance_means_less_current_and_more_supply_means_more(name, vb, ra, rk, more):
    stage = Stage(KOREN[name], supply=vb, plate_resistor=ra, cathode_resistor=rk)
    amps = nominal(operating_point(stage).current)
    assert nominal(operating_point(replace(stage, cathode_resistor=rk * more)).current) < amps
    assert nominal(operating_point(replace(stage, supply=vb * more)).current) > amps
    assert nominal(operating_point(replace(stage, plate_resistor=ra * more)).current) < amps


@settings(max_examples=30)
@given(st.floats(150, 400), st.floats(22e3, 330e3), st.floats(470, 5e3), st.floats(20e3, 2e6))
def test_a_bypass_raises_the_gain_and_a_load_lowers_it(vb, ra, rk, load):
    stage = Stage(KOREN["12AX7"], supply=vb, plate_resistor=ra, cathode_resistor=rk)
    assert abs(middle(stage, is_bypassed=True).gain) > abs(middle(stage, is_bypassed=False).gain)
    assert abs(middle(replace(stage, load=load)).gain) < abs(middle(stage).gain)
    assert abs(middle(stage).gain) < operating_point(stage).mu


@settings(max_examples=20)
@given(st.floats(47e3, 220e3), st.floats(50, 150))
def test_a_follower_gives_a_little_less_than_it_gets(rk, vg):
    stage = replace(FOLLOWER, cathode_resistor=rk, grid_volts=vg, load=math.inf)
    assert 0.8 < middle(stage).gain < 1


@settings(max_examples=20)
@given(st.floats(0.05, 0.6))
def test_more_signal_means_more_second_harmonic(peak):
    stage = replace(BARE, bypass=25e-6)
    assert harmonics(stage, peak * 2).second > harmonics(stage, peak).second
    assert harmonics(stage, peak).second > harmonics(BARE, peak).second  # feedback at the cathode


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"supply": 0}, "supply"),
        ({"supply": -300}, "supply"),
        ({"supply": math.nan}, "number"),
        ({"supply": 1e9}, "3000 V"),
        ({"plate_resistor": 0}, "no plate resistor"),
        ({"plate_resistor": -1}, "resistor"),
        ({"plate_resistor": 1e15}, "1 GΩ"),
        ({"cathode_resistor": math.inf}, "number"),
        ({"load": 0}, "shorted"),
        ({"grid_leak": 0}, "at least 1 Ω"),
        ({"bias": Bias.TAP}, "both cathode resistors"),
        ({"output": Output.CATHODE, "cathode_resistor": 0}, "no cathode resistor"),
    ],
)
def test_what_cannot_be_built_is_refused(changes, words):
    with pytest.raises(CircuitError, match=words):
        replace(BARE, **changes)


@pytest.mark.parametrize(
    ("stage", "words"),
    [
        (replace(BARE, bias=Bias.VOLTS, grid_volts=5.0), "grid would stand"),
        (replace(BARE, bias=Bias.VOLTS, grid_volts=-200.0, cathode_resistor=0), "cut off"),
        (replace(FOLLOWER, grid_volts=2500.0), "grid would stand"),
        (replace(FOLLOWER, bypass=1e-6), "shorted by the bypass"),
    ],
)
def test_a_stage_that_cannot_work_is_refused_in_words(stage, words):
    with pytest.raises(CircuitError, match=words):
        operating_point(stage)
        middle(stage)


@pytest.mark.parametrize("peak", [0.0, -1.0, math.nan, math.inf, 5.0])
def test_harmonics_of_no_signal_or_too_much_are_refused(peak):
    with pytest.raises(CircuitError):
        harmonics(replace(BARE, bypass=25e-6), peak)


# What ails a stage: each fault is put into the ngspice netlist, its volts are read, and the fault must be found again.

METER = 10e6


def read_in_ngspice(stage: Stage, extra: str = "", *, with_grid: bool = False) -> Readings:
    """Plate, cathode and, if wanted, grid with a 10 MΩ meter, one at a time."""
    volts = []
    for node in ("p", "k", "leak"):
        found = spice.run(netlist(stage, f"{extra}\nRmeter {node} 0 {METER}\n.op"))
        volts.append(units.Quantity(found.last(f"v({node})"), "V"))
    return Readings(plate=volts[0], cathode=volts[1], grid=volts[2] if with_grid else None)


SUPPLY = units.Quantity(300.0, "V")


@pytest.mark.parametrize(
    ("trouble", "broken", "extra", "became"),
    [
        (Trouble.PLATE_HIGH, {"plate_resistor": 220e3}, "", 220e3),
        (Trouble.PLATE_HIGH, {"plate_resistor": 5e8}, "", None),
        (Trouble.CATHODE_HIGH, {"cathode_resistor": 4.7e3}, "", 4.7e3),
        (Trouble.CATHODE_HIGH, {"cathode_resistor": 9e8}, "", None),
        (Trouble.CATHODE_LOW, {}, "Rleak k 0 300", 250),
        (Trouble.CATHODE_LOW, {"cathode_resistor": 1.5}, "", None),
        (Trouble.GRID_UP, {}, "Vd d 0 200\nRbad d leak 199e6", 1.0),
        (Trouble.TIRED, {"model": replace(KOREN["12AX7"], kg1=1060 / 0.1)}, "", 10),
        (Trouble.TIRED, {"model": replace(KOREN["12AX7"], kg1=1e9)}, "", None),
        (Trouble.PLATE_LEAK, {}, "Rleak p 0 100k", 100e3),
    ],
)
def test_a_fault_put_into_a_netlist_is_found_again(trouble, broken, extra, became):
    healthy = replace(FIRST, grid_stopper=0.0)
    found = diagnose(healthy, read_in_ngspice(replace(healthy, **broken), extra), supply_measured=SUPPLY)
    assert found.is_ill
    best = next(fault for fault in found.faults if fault.trouble is trouble)
    assert best.fits
    assert best.off <= found.faults[0].off + 1.0  # nothing explains it better
    assert trouble in [fault.trouble for fault in found.faults[:3]]
    if became is not None:
        assert nominal(best.became) == pytest.approx(became, rel=0.08)


def test_a_healthy_stage_is_called_healthy():
    found = diagnose(FIRST, read_in_ngspice(FIRST), supply_measured=SUPPLY)
    assert found.is_well
    assert found.off < 0.1


@pytest.mark.parametrize("factor", [0.92, 1.08])
def test_parts_within_their_tolerance_are_no_fault(factor):
    stage = replace(FIRST, plate_resistor=FIRST.plate_resistor * factor)
    assert diagnose(FIRST, read_in_ngspice(stage), supply_measured=SUPPLY).is_well


def test_currents_at_both_ends_of_a_tube_are_compared_with_their_tolerance():
    readings = Readings(plate=with_band(units.Quantity(150.0, "V"), 2.0), cathode=units.Quantity(1.2, "V"))
    found = diagnose(FIRST, readings, supply_measured=SUPPLY, tolerance=0.05)
    assert nominal(found.plate_current, "mA") == pytest.approx(1.5)
    assert nominal(found.cathode_current, "mA") == pytest.approx(0.8)
    # ± by the law of propagation, worked apart: 1.5 mA * sqrt(0.05^2 + (2/150)^2), 0.8 mA * 0.05
    assert found.currents_differ == pytest.approx(
        0.7 / math.hypot(1.5 * math.hypot(0.05, 2 / 150), 0.04), rel=0.01
    )


def test_of_a_cathodes_two_resistors_the_broken_one_is_named():
    stage = STAGES["follower, grid to a tap"]
    found = diagnose(
        stage,
        replace(read_in_ngspice(replace(stage, tail=120e3)), plate=None),
        supply_measured=units.Quantity(280.0, "V"),
    )
    fitting = [(fault.trouble, fault.is_tail) for fault in found.faults if fault.off < 0.5]
    assert (Trouble.CATHODE_HIGH, True) in fitting
    tail = next(fault for fault in found.faults if fault.is_tail and fault.trouble is Trouble.CATHODE_HIGH)
    assert nominal(tail.became) == pytest.approx(120e3, rel=0.1)


def test_a_grid_reading_tells_a_leaky_capacitor_from_another_fault():
    leak = "Vd d 0 200\nRbad d leak 199e6"
    stage = replace(FIRST, grid_stopper=0.0)
    without = diagnose(stage, read_in_ngspice(stage, leak), supply_measured=SUPPLY)
    with_grid = diagnose(stage, read_in_ngspice(stage, leak, with_grid=True), supply_measured=SUPPLY)
    assert len([fault for fault in without.faults if fault.fits]) > 1
    assert [fault.trouble for fault in with_grid.faults if fault.fits] == [Trouble.GRID_UP]
    assert nominal(with_grid.faults[0].became) == pytest.approx(1.0, rel=0.03)  # 200 V over 199 and 1 MΩ


def test_an_unmeasured_supply_may_be_the_fault():
    low = read_in_ngspice(replace(FIRST, supply=180))
    found = diagnose(FIRST, low)
    supply = next(fault for fault in found.faults if fault.trouble is Trouble.SUPPLY)
    assert supply.fits
    assert nominal(supply.became) == pytest.approx(180, rel=0.03)
    measured = diagnose(FIRST, low, supply_measured=units.Quantity(180.0, "V"))
    assert measured.is_well
    assert Trouble.SUPPLY not in [fault.trouble for fault in measured.faults]


@pytest.mark.parametrize(
    ("readings", "options", "words"),
    [
        (Readings(), {}, "Write the plate"),
        (Readings(plate=units.Quantity(math.nan, "V")), {}, "number of volts"),
        (Readings(plate=units.Quantity(1e7, "V")), {}, "number of volts"),
        (Readings(plate=units.Quantity(200.0, "V")), {"tolerance": 0.0}, "tolerance"),
        (Readings(plate=units.Quantity(200.0, "V"), meter=0.0), {}, "meter"),
    ],
)
def test_readings_that_say_nothing_are_refused(readings, options, words):
    with pytest.raises(CircuitError, match=words):
        diagnose(FIRST, readings, **options)


@settings(max_examples=25, deadline=None)
@given(st.floats(0, 400), st.floats(0, 60), st.floats(-5, 30))
def test_no_reading_makes_it_stumble(plate, cathode, grid):
    q = units.Quantity
    found = diagnose(FIRST, Readings(q(plate, "V"), q(cathode, "V"), q(grid, "V")))
    assert all(math.isfinite(fault.off) for fault in found.faults)
    assume(found.is_ill)
    assert min(fault.off for fault in found.faults) <= found.off + 0.05  # a fault explains no worse than none
