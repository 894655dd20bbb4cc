"""Networks and filters: scipy's filters, ngspice's AC analysis, and textbook formulas."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from calc.engine.errors import CircuitError
from calc.engine.filters import (
    Arm,
    Made,
    Place,
    ToneNetwork,
    corner,
    decibels,
    ladder,
    lag,
    resonance,
    respond,
    time_constant,
    tone_network,
    track,
)
from calc.engine.network import Network, Part, Transconductance
from calc.engine.quantities import band, nominal, units, with_band
from tests.calc import spice

SERIES, SHUNT = Place.SERIES, Place.SHUNT
q = units.Quantity


def r(place, value):
    return Arm(place, Made.R, r=value)


def c(place, value):
    return Arm(place, Made.C, c=value)


def coil(place, value):
    return Arm(place, Made.L, l=value)


LADDERS = {
    # name: arms, source, load, load capacitance
    "coupling": ([c(SERIES, 22e-9)], 38e3, 470e3, 0),
    "RC low pass": ([r(SERIES, 10e3), c(SHUNT, 10e-9)], 0, math.inf, 0),
    "three RC, loading each other": (
        [
            r(SERIES, 10e3),
            c(SHUNT, 10e-9),
            r(SERIES, 22e3),
            c(SHUNT, 4.7e-9),
            r(SERIES, 47e3),
            c(SHUNT, 1e-9),
        ],
        600,
        1e6,
        0,
    ),
    "bridged T's ladder": (
        [Arm(SERIES, Made.R_BESIDE_C, r=470e3, c=470e-12), Arm(SHUNT, Made.R_THEN_C, r=100e3, c=22e-9)],
        38e3,
        1e6,
        50e-12,
    ),
    "bright capacitor": (
        [Arm(SERIES, Made.R_BESIDE_C, r=500e3, c=120e-12), r(SHUNT, 500e3)],
        40e3,
        1e6,
        100e-12,
    ),
    "choke and reservoir": ([coil(SERIES, 10), c(SHUNT, 40e-6)], 100, 5e3, 0),
    "choke with copper": ([Arm(SERIES, Made.R_THEN_L, r=250, l=4), c(SHUNT, 47e-6)], 60, 3e3, 0),
    "trap in the way": ([Arm(SERIES, Made.L_BESIDE_C, l=0.1, c=100e-9)], 1e3, 10e3, 0),
    "trap to ground": ([r(SERIES, 10e3), Arm(SHUNT, Made.L_THEN_C, l=0.5, c=47e-9)], 600, 100e3, 0),
    "two capacitors in a row": ([c(SERIES, 10e-9), c(SERIES, 22e-9), r(SHUNT, 100e3)], 1e3, 1e6, 0),
    "crossover": ([coil(SERIES, 0.64e-3), c(SHUNT, 20e-6)], 0, 8, 0),
    "high pass": ([c(SERIES, 4.7e-6), coil(SHUNT, 0.3e-3)], 0.1, 8, 0),
}
TONE = ToneNetwork(250e-12, 100e-9, 47e-9, 100e3, 250e3, 250e3, 25e3)
TONES = {
    "middle": TONE,
    "all down": replace(TONE, treble=0.0, bass=0.0, middle=0.0),
    "all up": replace(TONE, treble=1.0, bass=1.0, middle=1.0),
    "scooped": replace(TONE, treble=0.8, bass=0.9, middle=0.1),
    "middle pot as a variable resistor": replace(
        TONE, middle_at_wiper=False, slope_resistor=56e3, treble_capacitor=500e-12, middle=0.7
    ),
}
HERTZ = [1.0, 30.0, 250.0, 1e3, 3.3e3, 12e3, 100e3]


def lines_of(arms, source, load, extra):
    """A ladder as SPICE reads it, written apart from the engine's network."""
    lines, here = ["ladder", "V1 in 0 dc 0 ac 1", f"Rs in n0 {source or 1e-6}"], "n0"
    for n, arm in enumerate(arms, 1):
        there = f"n{n}" if arm.place is SERIES else "0"
        first, how, second = (*arm.made.split(), "", "")[:3]
        to = f"m{n}" if how == "then" else there
        lines.append(f"{first}a{n} {here} {to} {getattr(arm, first.lower())}")
        if second:
            start = to if how == "then" else here
            lines.append(f"{second}b{n} {start} {there} {getattr(arm, second.lower())}")
        here = there if arm.place is SERIES else here
    lines.append(f"Rload {here} 0 {load if math.isfinite(load) else 1e15}")
    if extra:
        lines.append(f"Cload {here} 0 {extra}")
    return lines, here


@pytest.mark.parametrize("name", LADDERS)
def test_a_ladder_lets_through_what_ngspice_says(name):
    arms, source, load, extra = LADDERS[name]
    lines, out = lines_of(arms, source, load, extra)
    found = spice.run("\n".join([*lines, ".ac dec 8 1 100k", ""]))
    frequencies = np.real(found["frequency"])
    ours = ladder(arms, source=source, load=load, load_capacitance=extra).gain("out", frequencies)
    assert np.max(np.abs(ours - found[f"v({out})"]) / np.abs(found[f"v({out})"])) < 1e-4


@pytest.mark.parametrize("name", TONES)
def test_a_tone_network_lets_through_what_ngspice_says(name):
    tone = TONES[name]
    nothing = 1e-3
    top = tone.treble_pot * (1 - tone.treble) or nothing
    foot = tone.treble_pot * tone.treble or nothing
    bass = tone.bass_pot * tone.bass or nothing
    below = tone.middle_pot * tone.middle or nothing
    above = tone.middle_pot * (1 - tone.middle) if tone.middle_at_wiper else 0
    netlist = f"""tone
V1 in 0 dc 0 ac 1
Rs in a 1k
C1 a x {tone.treble_capacitor}
R1 x out {top}
R2 out y {foot}
R3 a z {tone.slope_resistor}
C2 z y {tone.bass_capacitor}
C3 z w {tone.middle_capacitor}
R4 y j {bass}
R5 j w {above or nothing}
R6 w 0 {below}
R7 out 0 1meg
.ac dec 8 10 30k
"""
    found = spice.run(netlist)
    ours = tone_network(tone, source=1e3, load=1e6).gain("out", np.real(found["frequency"]))
    assert np.max(np.abs(ours - found["v(out)"]) / np.abs(found["v(out)"])) < 1e-4


@pytest.mark.parametrize("order", [1, 2, 3, 5, 7])
def test_a_butterworth_ladder_is_scipys(order):
    """Prototype values 2 sin((2k - 1)π/2n), L. Weinberg, Network Analysis and Synthesis, 1962, as in any handbook."""
    ohms, hertz = 600.0, 3e3
    w = 2 * math.pi * hertz
    arms = []
    for k in range(1, order + 1):
        value = 2 * math.sin((2 * k - 1) * math.pi / (2 * order))
        arms.append(c(SHUNT, value / (w * ohms)) if k % 2 else coil(SERIES, value * ohms / w))
    whole = ladder(arms, source=ohms, load=ohms)
    _, theirs = signal.freqs(*signal.butter(order, w, analog=True), 2 * math.pi * np.array(HERTZ))
    assert 2 * whole.gain("out", HERTZ) == pytest.approx(theirs, rel=1e-6)
    found = respond(whole, source=ohms, load=ohms)
    assert nominal(found.high) == pytest.approx(hertz, rel=1e-6)
    assert found.insertion_loss == pytest.approx(0, abs=1e-6)  # matched: none at the bottom
    _, poles, _ = signal.butter(order, w, analog=True, output="zpk")
    assert sorted(whole.poles(), key=lambda s: s.imag) == pytest.approx(
        sorted(poles, key=lambda s: s.imag), rel=1e-6
    )


def test_a_twin_rc_has_the_poles_of_its_polynomial():
    r1, c1, r2, c2 = 10e3, 10e-9, 22e3, 4.7e-9
    whole = ladder([r(SERIES, r1), c(SHUNT, c1), r(SERIES, r2), c(SHUNT, c2)])
    # 1 + s(R1 C1 + R1 C2 + R2 C2) + s² R1 C1 R2 C2, worked by hand
    system = signal.TransferFunction([1], [r1 * c1 * r2 * c2, r1 * c1 + r1 * c2 + r2 * c2, 1])
    assert sorted(s.real for s in whole.poles()) == pytest.approx(sorted(np.real(system.poles)), rel=1e-9)
    _, theirs = signal.freqresp(system, 2 * math.pi * np.array(HERTZ))
    assert whole.gain("out", HERTZ) == pytest.approx(theirs, rel=1e-9)


@pytest.mark.parametrize(
    ("arms", "source", "load", "low", "high", "loss", "source_of_it"),
    [
        ([r(SERIES, 10e3), c(SHUNT, 10e-9)], 0, math.inf, None, 1591.549, 0.0, "1/(2πRC), textbook"),
        ([c(SERIES, 22e-9)], 33e3, 470e3, 14.382, None, 0.0, "1/(2π(Rs+Rg)C), textbook"),
        ([r(SERIES, 100e3), r(SHUNT, 100e3)], 0, math.inf, None, None, 6.0206, "half: 20 log 2, textbook"),
        ([coil(SERIES, 1.0)], 500, 500, None, 159.155, 0.0, "R/(2πL), textbook"),
        ([r(SERIES, 600)], 600, 600, None, None, 20 * math.log10(1.5), "1200 : 1800, textbook"),
    ],
)
def test_simple_filters_have_the_textbooks_corners(arms, source, load, low, high, loss, source_of_it):
    found = respond(ladder(arms, source=source, load=load), source=source, load=load)
    for ours, theirs in ((found.low, low), (found.high, high)):
        if theirs is None:
            assert ours is None, source_of_it
        else:
            assert nominal(ours) == pytest.approx(theirs, rel=1e-4), source_of_it
    assert found.insertion_loss == pytest.approx(loss, abs=1e-4), source_of_it


def test_cascaded_filters_are_not_the_product_of_their_factors():
    once = [r(SERIES, 10e3), c(SHUNT, 10e-9)]
    alone = abs(ladder(once).gain("out", [1e3])[0])
    both = abs(ladder([*once, *once]).gain("out", [1e3])[0])
    assert both < 0.9 * alone**2


def test_a_sharp_resonance_is_not_missed():
    # Q = 2πfL/R, textbook: the most that comes out of a series circuit with so little loss is Q
    loss, inductance, capacitance = 0.05, 0.1, 1e-7
    found = respond(ladder([r(SERIES, loss), coil(SERIES, inductance), c(SHUNT, capacitance)]))
    hertz = 1 / (2 * math.pi * math.sqrt(inductance * capacitance))
    quality = math.sqrt(inductance / capacitance) / loss
    assert found.most == pytest.approx(quality, rel=1e-4)
    assert nominal(found.at) == pytest.approx(hertz, rel=1e-6)
    assert nominal(found.high) - nominal(found.low) == pytest.approx(hertz / quality, rel=1e-3)
    assert found.poles[0].quality == pytest.approx(quality, rel=1e-6)


def test_impedances_are_those_of_the_textbook():
    whole = Network([Part("R", "in", "out", 1e3), Part("C", "out", "0", 1e-7)], source="in")
    hertz = 1591.5494309
    assert whole.impedance("in", [hertz])[0] == pytest.approx(1e3 - 1e3j, rel=1e-6)
    assert whole.impedance("out", [hertz])[0] == pytest.approx((1e3 * -1e3j) / (1e3 - 1e3j), rel=1e-6)


def test_a_transconductance_into_a_resistor_is_a_stage():
    whole = Network(
        [Part("R", "in", "g", 1.0), Part("R", "g", "0", 1e6), Part("R", "p", "0", 50e3)],
        source="in",
        tubes=[Transconductance("p", "0", "g", "0", 2e-3)],
    )
    assert whole.gain("p", [1e3])[0] == pytest.approx(-100, rel=1e-5)


@pytest.mark.parametrize(
    ("turn", "middle", "share", "source"),
    [
        (0, 0.1, 0, "ends of the track"),
        (1, 0.1, 1, "ends of the track"),
        (0.5, 0.1, 0.1, "its name: 10 % at half travel; common practice"),
        (0.5, 0.3, 0.3, "its name: 30 % at half travel; common practice"),
        (0.25, 0.5, 0.25, "linear"),
    ],
)
def test_a_pots_track_goes_through_its_ends_and_its_middle(turn, middle, share, source):
    assert track(turn, middle) == pytest.approx(share), source


@pytest.mark.parametrize(
    ("found", "value", "unit", "source"),
    [
        (time_constant(q(220e3, "ohm"), q(100e-6, "F")), 22.0, "s", "RC, textbook"),
        (corner(q(10e3, "ohm"), q(10e-9, "F")), 1591.549, "Hz", "1/(2πRC), textbook"),
        (lag(q(500.0, "ohm"), q(10.0, "H")), 0.02, "s", "L/R, textbook"),
        (resonance(q(10.0, "H"), q(40e-6, "F")), 7.9577, "Hz", "Thomson's formula, textbook"),
    ],
)
def test_closed_formulas(found, value, unit, source):
    assert nominal(found, unit) == pytest.approx(value, rel=1e-5), source


def test_a_band_flows_through_a_time_constant():
    found = time_constant(with_band(q(100e3, "ohm"), 5e3), with_band(q(1e-6, "F"), 2e-7))
    # relative bands add as squares: sqrt(0.05² + 0.2²) of 0.1 s
    assert band(found, "s") == pytest.approx(0.1 * math.hypot(0.05, 0.2), rel=1e-9)
    assert band(corner(with_band(q(100e3, "ohm"), 5e3), q(1e-6, "F"))) == pytest.approx(
        1.59155 * 0.05, rel=1e-4
    )


values = st.floats(0, 1)
ohms = st.floats(100, 1e6)
farads = st.floats(1e-10, 1e-5)


@settings(max_examples=40)
@given(ohms, farads, st.floats(1.01, 10), st.floats(1, 1e5))
def test_more_capacitance_lets_less_through_to_a_low_pass_and_lowers_its_corner(resistance, cap, more, hertz):
    small, large = (ladder([r(SERIES, resistance), c(SHUNT, each)]) for each in (cap, cap * more))
    assert abs(large.gain("out", [hertz])[0]) < abs(small.gain("out", [hertz])[0]) + 1e-15
    low, high = large.passband("out", 1e-5).high, small.passband("out", 1e-5).high
    assert low is not None and high is not None
    assert low * more == pytest.approx(high, rel=1e-4)


@settings(max_examples=40)
@given(values, values, values, st.floats(10, 2e4))
def test_a_passive_tone_network_never_gives_more_than_it_gets(treble, bass, middle, hertz):
    tone = replace(TONE, treble=treble, bass=bass, middle=middle)
    assert abs(tone_network(tone, source=1e3, load=1e6).gain("out", [hertz])[0]) <= 1 + 1e-9


@settings(max_examples=30)
@given(values, values, st.floats(0, 0.9))
def test_turning_a_knob_up_gives_more_of_what_is_written_on_it(bass, middle, treble):
    here = replace(TONE, treble=treble, bass=bass, middle=middle)
    more = replace(here, treble=treble + 0.1)
    assert abs(tone_network(more).gain("out", [2e4])[0]) > abs(tone_network(here).gain("out", [2e4])[0])


@settings(max_examples=30)
@given(
    st.lists(
        st.tuples(st.sampled_from((SERIES, SHUNT)), st.sampled_from(("R", "C")), ohms, farads),
        min_size=1,
        max_size=8,
    ),
    ohms,
    ohms,
)
def test_the_network_obeys_reciprocity(arms, source, load):
    """What goes from one end to the other is the same the other way round: any textbook's theorem."""
    made = [r(place, ohm) if kind == "R" else c(place, farad) for place, kind, ohm, farad in arms]
    there = ladder(made, source=source, load=load).gain("out", [1e3])[0]
    back = ladder(made[::-1], source=load, load=source).gain("out", [1e3])[0]
    assert abs(there / load - back / source) <= 1e-9 * abs(there / load) + 1e-300


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (lambda: ladder([]), "at least one"),
        (lambda: ladder([r(SERIES, 1e3)] * 13), "too many"),
        (lambda: Arm(SERIES, Made.R, r=0), "resistance above zero"),
        (lambda: Arm(SERIES, Made.R_THEN_C, r=1e3), "capacitance above zero"),
        (lambda: Arm(SERIES, Made.C, c=-1e-9), "capacitance above zero"),
        (lambda: Arm(SERIES, Made.L, l=math.nan), "inductance above zero"),
        (lambda: ladder([r(SERIES, 1e30)]), "no resistor of"),
        (lambda: ladder([c(SERIES, 1e-30)]), "no capacitor of"),
        (lambda: ladder([r(SERIES, 1e3)], load=0), "more than 0 Ω"),
        (lambda: ladder([r(SERIES, 1e3)], source=-1), "no resistor of"),
        (lambda: replace(TONE, treble=1.2), "between 0 and 100 %"),
        (lambda: replace(TONE, bass_pot=0), "more than zero"),
        (lambda: respond(tone_network(TONE), low=0), "above zero"),
        (lambda: respond(tone_network(TONE), low=100, high=10), "from low to high"),
        (lambda: ladder([r(SERIES, 1e3)]).gain("out", [0.0]), "more than zero"),
        (lambda: ladder([r(SERIES, 1e3)]).gain("nowhere", [1.0]), "connected to nothing"),
        (lambda: Network([Part("R", "in", "0", 0.0)], source="in"), "shorted to ground"),
        (
            lambda: Network([Part("R", "x", "y", 1.0), Part("R", "in", "0", 1.0)], source="in"),
            "nothing at either",
        ),
        (lambda: ladder([r(SERIES, 1e3)]).passband("out", 10, 1), "from low to high"),
        (lambda: time_constant(q(0.0, "ohm"), q(1e-9, "F")), "more than zero"),
        (lambda: decibels(0.0), "no level"),
        (lambda: track(1.5), "between 0 and 100 %"),
    ],
)
def test_what_cannot_be_is_refused_in_words(wrong, words):
    with pytest.raises(CircuitError, match=words):
        wrong()


def test_a_lossless_resonance_is_refused_or_huge_but_never_a_wrong_number():
    whole = ladder([coil(SERIES, 1.0), c(SHUNT, 1.0 / (2 * math.pi) ** 2)])
    try:
        found = abs(whole.gain("out", [1.0])[0])
    except CircuitError:
        return
    assert found > 1e9


def test_an_output_on_ground_lets_nothing_through():
    with pytest.raises(CircuitError, match="Nothing gets through"):
        respond(tone_network(replace(TONE, treble=0, bass=0, middle=0, middle_at_wiper=False)))


@settings(max_examples=50)
@given(
    st.lists(
        st.tuples(
            st.sampled_from((SERIES, SHUNT)),
            st.sampled_from(("R", "C", "L")),
            st.floats(0.01, 1e8),
            st.floats(1e-12, 1e-2),
            st.floats(1e-6, 100),
        ),
        min_size=1,
        max_size=12,
    ),
    st.floats(0.1, 1e6),
    st.floats(1, 1e8),
    st.floats(0.1, 1e6),
)
def test_values_far_apart_are_solved_as_by_chain_matrices(made, source, load, hertz):
    """Two-port chain (ABCD) matrices multiplied up, another textbook's method: nothing in them is rounded away."""
    s = 2j * math.pi * hertz
    a, b = 1, source
    arms = []
    for place, kind, ohm, farad, henry in made:
        z = {"R": ohm, "C": 1 / (s * farad), "L": s * henry}[kind]
        a, b = (a, a * z + b) if place is SERIES else (a + b / z, b)
        arms.append({"R": r(place, ohm), "C": c(place, farad), "L": coil(place, henry)}[kind])
    theirs = 1 / (a + b / load)
    ours = ladder(arms, source=source, load=load).gain("out", [hertz])[0]
    assert abs(ours - theirs) <= 1e-4 * abs(theirs) + 1e-11
