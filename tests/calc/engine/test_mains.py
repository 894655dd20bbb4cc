"""Mains, against ngspice, ISO 3's numbers, round figures of handbooks and the radiation law."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.engine import mains
from calc.engine.errors import CircuitError
from calc.engine.limits import Standing
from calc.engine.quantities import band, nominal, units, with_band
from tests.calc import spice

MANUAL = "tube manuals, installation chapter: ±10 %, ±5 % for long life; from memory"
TEXTBOOK = "textbook"
PRACTICE = "common practice, no source"


def volts(number):
    return units.Quantity(float(number), "V")


def amperes(number):
    return units.Quantity(float(number), "A")


def watts(number):
    return units.Quantity(float(number), "W")


def hertz(number):
    return units.Quantity(float(number), "Hz")


def farads(number):
    return units.Quantity(float(number), "F")


@pytest.mark.parametrize(
    ("design", "line", "heater", "long", "most", "source"),
    [
        (117, 117, 6.3, Standing.IN, Standing.IN, MANUAL),
        (117, 124, 6.677, Standing.OUT, Standing.IN, MANUAL),
        (110, 121, 6.93, Standing.OUT, Standing.IN, MANUAL + ": 6.93 V is the upper edge"),
        (110, 125, 7.159, Standing.OUT, Standing.OUT, MANUAL),
        (120, 108, 5.67, Standing.OUT, Standing.IN, MANUAL + ": 5.67 V is the lower edge"),
        (120, 100, 5.25, Standing.OUT, Standing.OUT, MANUAL),
    ],
)
def test_heaters_go_with_the_line_and_are_held_to_the_manuals(design, line, heater, long, most, source):
    found = mains.follow(volts(design), volts(line), heater=volts(6.3))
    assert nominal(found.heater) == pytest.approx(heater, abs=0.001), source
    assert (found.long, found.most) == (long, most), source


def test_b_plus_goes_with_the_line_and_a_measured_heater_comes_before_a_reckoned_one():
    found = mains.follow(
        volts(117), volts(124), heater=volts(6.3), heater_measured=volts(6.4), b_plus=volts(420)
    )
    assert nominal(found.b_plus) == pytest.approx(445.1, abs=0.05)
    assert nominal(found.heater) == 6.4
    assert found.long is Standing.IN


def test_the_limits_of_heaters_are_the_shop_s():
    strict = {"most": units.Quantity(6.0, "percent"), "long": units.Quantity(2.0, "percent")}
    assert mains.follow(volts(100), volts(107), heater=volts(6.3)).most is Standing.IN
    assert mains.follow(volts(100), volts(107), heater=volts(6.3), **strict).most is Standing.OUT


def test_a_line_that_isn_t_sure_makes_a_verdict_that_isn_t():
    found = mains.follow(volts(110), with_band(volts(121), 1), heater=volts(6.3))
    assert found.most is Standing.CLOSE
    assert band(found.heater) == pytest.approx(6.3 / 110)


@pytest.mark.parametrize(
    ("design", "made_for", "line", "frequency", "ratio", "standing"),
    [
        (120, 60, 120, 60, 1.0, Standing.IN),
        (120, 60, 120, 50, 1.2, Standing.OUT),
        (120, 60, 100, 50, 1.0, Standing.IN),
        (220, 50, 240, 50, 1.0909, Standing.IN),
        (230, 50, 230, 60, 0.8333, Standing.IN),
    ],
)
def test_flux_goes_as_volts_over_hertz(design, made_for, line, frequency, ratio, standing):
    """Transformer equation V = 4.44·f·N·Φ, textbook."""
    found, where = mains.flux(volts(design), hertz(made_for), volts(line), hertz(frequency))
    assert nominal(found) == pytest.approx(ratio, abs=0.0001)
    assert where is standing


@pytest.mark.parametrize(
    ("line", "name", "standing"),
    [
        (120, "ANSI", Standing.IN),
        (126, "ANSI", Standing.IN),
        (127, "ANSI", Standing.OUT),
        (113, "ANSI", Standing.OUT),
        (230, "EN 50160", Standing.IN),
        (253, "EN 50160", Standing.IN),
        (254, "EN 50160", Standing.OUT),
    ],
)
def test_a_line_is_held_to_what_its_utility_promises(line, name, standing):
    """ANSI C84.1 range A, 114 to 126 V (a utility's page); EN 50160, 230 V ± 10 % (from memory)."""
    supply, where = mains.promised(volts(line))
    assert name in supply.name
    assert where is standing


def test_a_line_of_no_known_kind_is_held_to_nothing():
    assert mains.promised(volts(160)) is None


@pytest.mark.parametrize(
    ("line", "primary", "secondary", "left", "source"),
    [
        (125, 120, 6.3, 118.44, TEXTBOOK + ": 6.3/120 of 125 V is 6.56 V"),
        (125, 120, 12.6, 111.88, TEXTBOOK),
        (240, 240, 24, 216.0, TEXTBOOK),
    ],
)
def test_a_winding_that_opposes_takes_its_part_off(line, primary, secondary, left, source):
    found = mains.buck(volts(line), primary=volts(primary), secondary=volts(secondary), current=amperes(3))
    assert nominal(found.voltage) == pytest.approx(left, abs=0.01), source
    assert nominal(found.power, "VA") == pytest.approx(3 * secondary), source


@pytest.mark.parametrize("sign", [-1, 1])
def test_a_winding_in_series_is_as_ngspice_has_it(sign):
    """ngspice: two coupled windings, 120 to 12.6, aiding or opposing, 200 Ω behind them, 60 Hz."""
    ratio = 12.6 / 120
    ends = "in out" if sign < 0 else "out in"
    circuit = f"""series winding
V1 in 0 DC 0 AC 124
Lp in 0 200
Ls {ends} {200 * ratio**2!r}
K1 Lp Ls 0.9999999
Rl out 0 200
.ac lin 1 60 60"""
    plot = spice.run(circuit)
    found = mains.buck(volts(124), primary=volts(120), secondary=volts(12.6), boosts=sign > 0)
    assert nominal(found.voltage) == pytest.approx(float(abs(plot["v(out)"][0])), rel=2e-3)


@given(line=st.floats(100, 135), target=st.floats(95, 140))
@settings(max_examples=50, deadline=None)
def test_the_winding_that_is_chosen_comes_nearer_than_any_other(line, target):
    found = mains.choose_buck(volts(line), volts(target), primary=volts(120))
    misses = [abs(nominal(each.voltage) - target) for each in found]
    assert misses == sorted(misses)
    if found:
        assert found[0].boosts is (target > line)
        assert misses[0] <= abs(line - target) + 1e-9


def test_a_resistor_drops_what_is_too_much():
    """Ohm's law: 7 V at 0.5 A is 14 Ω, E12 has 15 Ω, which takes 3.75 W and is bought at twice that."""
    found = mains.drop(volts(124), volts(117), amperes(0.5))
    assert nominal(found.exact) == pytest.approx(14)
    assert nominal(found.resistance) == pytest.approx(15)
    assert nominal(found.voltage) == pytest.approx(116.5)
    assert nominal(found.power) == pytest.approx(3.75)
    assert nominal(found.rating) == pytest.approx(7.5)


@pytest.mark.parametrize(("lamp", "power"), [(60, 30), (100, 60), (100, 5), (40, 400), (200, 1000)])
def test_a_set_behind_a_lamp_is_as_ngspice_has_it(lamp, power):
    """ngspice, operating point: a resistor behind a source whose current is the tungsten law's."""
    circuit = f"""limiter
V1 in 0 120
B1 in set I = {lamp / 120!r}*pwr(V(in,set)/120, 0.55)
R1 set 0 {120**2 / power!r}
.options reltol=1e-8 abstol=1e-12 vntol=1e-10
.nodeset v(set)=60
.op"""
    found = mains.limit(volts(120), lamp=watts(lamp), lamp_voltage=volts(120), power=watts(power))
    assert nominal(found.at_set) == pytest.approx(spice.run(circuit).last("v(set)"), rel=1e-4)
    assert nominal(found.at_set) + nominal(found.at_lamp) == pytest.approx(120)


def test_a_short_behind_a_lamp_draws_what_the_lamp_does():
    found = mains.limit(volts(120), lamp=watts(60), lamp_voltage=volts(120), power=watts(30))
    assert nominal(found.short) == pytest.approx(0.5)


@pytest.mark.parametrize("part", [0.25, 0.5, 0.75])
def test_the_lamp_s_law_is_that_of_a_radiating_filament(part):
    """Stefan and Boltzmann: power as T⁴; tungsten's resistance about as T^1.2 (textbook): so I as V^(1.4/2.6)."""
    found = mains.drawn(volts(120), lamp=watts(120), lamp_voltage=volts(120), across=volts(120 * part))
    assert nominal(found.current) == pytest.approx(part ** (1.4 / 2.6), rel=0.02)


def test_what_is_read_off_the_lamp_is_what_the_set_behind_it_draws():
    """The two ways round agree: the volts that a set leaves a lamp give back the set's current."""
    about = {"lamp": watts(100), "lamp_voltage": volts(120)}
    limited = mains.limit(volts(120), power=watts(80), **about)
    found = mains.drawn(volts(120), across=limited.at_lamp, **about)
    assert nominal(found.current) == pytest.approx(nominal(limited.current))


def test_the_spread_of_the_lamp_s_volts_reaches_the_current_by_the_slope_of_its_law():
    """A power of 0.55 has 0.55 of the relative spread: JCGM 100:2008, 5.1.6."""
    found = mains.drawn(volts(120), lamp=watts(100), lamp_voltage=volts(120), across=with_band(volts(30), 3))
    assert band(found.current) / nominal(found.current) == pytest.approx(0.055)


def test_a_dark_lamp_draws_nothing_whatever_the_meter_s_spread():
    found = mains.drawn(volts(120), lamp=watts(100), lamp_voltage=volts(120), across=with_band(volts(0), 0.5))
    assert (nominal(found.current), found.looks) == (0, "dark")


@given(st.floats(1, 1000), st.floats(1, 1000))
@settings(max_examples=40, deadline=None)
def test_a_set_that_takes_more_leaves_itself_less(one, other):
    less, more = sorted((one, other))
    left = [
        nominal(mains.limit(volts(120), lamp=watts(100), lamp_voltage=volts(120), power=watts(p)).at_set)
        for p in (less, more)
    ]
    assert left[0] >= left[1] - 1e-6


def test_the_ratings_of_fuses_are_the_r10_series():
    """ISO 3, R10: 1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8, each within 1.3 % of ten to the n tenths."""
    powers = [10 ** (n / 10) for n in range(-15, 11)]
    assert [rating / power for rating, power in zip(mains.FUSES, powers, strict=True)] == pytest.approx(
        [1] * 26, abs=0.0131
    )


@pytest.mark.parametrize(
    ("current", "marked", "standing", "below", "is_standard"),
    [
        (0.8, 2, Standing.IN, 2, True),
        (1.5, 2, Standing.IN, 2, True),
        (1.8, 2, Standing.CLOSE, 2, True),
        (2.1, 2, Standing.OUT, 2, True),
        (0.8, 3, Standing.IN, 2.5, False),
        (0.8, 1.5, Standing.IN, 1.25, False),
    ],
)
def test_a_fuse_is_never_replaced_by_a_larger_one(current, marked, standing, below, is_standard):
    """IEC 60127-2's ratings, from memory; three quarters of the rating for hours is common practice."""
    found = mains.check_fuse(amperes(current), amperes(marked))
    assert (found.standing, nominal(found.below), found.is_standard) == (standing, below, is_standard)


@given(st.floats(0.032, 10))
@settings(max_examples=50, deadline=None)
def test_what_stands_in_for_a_fuse_is_never_above_it(marked):
    assert nominal(mains.check_fuse(amperes(0.01), amperes(marked)).below) <= marked * (1 + 1e-9)


@pytest.mark.parametrize(("current", "fuse"), [(0.8, 1.25), (1.0, 1.6), (0.001, 0.032), (2, 3.15)])
def test_a_first_fuse_is_the_next_above_one_and_a_half_times_the_current(current, fuse):
    """Common practice, no source."""
    assert nominal(mains.first_fuse(amperes(current))) == fuse


@pytest.mark.parametrize(
    ("capacitor", "line", "frequency", "milliamperes", "standing"),
    [
        (47e-9, 120, 60, 2.13, Standing.OUT),
        (47e-9, 240, 50, 3.54, Standing.OUT),
        (10e-9, 120, 60, 0.452, Standing.IN),
        (4.7e-9, 240, 50, 0.354, Standing.IN),
    ],
)
def test_a_capacitor_to_the_chassis_lets_its_current_through(
    capacitor, line, frequency, milliamperes, standing
):
    """ngspice, the capacitor into 1 kΩ of a person; 0.5 mA of EN 50678:2020, as makers of testers tell it."""
    found = mains.touch_current(farads(capacitor), volts(line), hertz(frequency))
    circuit = f"touch\nV1 in 0 DC 0 AC {line}\nC1 in body {capacitor}\nR1 body 0 1k\n.ac lin 1 {frequency} {frequency}"
    body = float(abs(spice.run(circuit)["v(body)"][0])) / 1000
    assert nominal(found.current) * 1000 == pytest.approx(milliamperes, abs=0.006)
    assert body <= nominal(found.current) <= body * 1.001
    assert found.standing is standing


def test_the_limit_of_the_touch_current_is_the_shop_s():
    found = mains.touch_current(farads(4.7e-9), volts(240), hertz(50), limit=amperes(0.25e-3))
    assert found.standing is Standing.OUT


@pytest.mark.parametrize(
    ("compute", "words"),
    [
        (lambda: mains.follow(volts(0), volts(120), heater=volts(6.3)), "made for"),
        (lambda: mains.follow(volts(117), volts(1e6), heater=volts(6.3)), "The line"),
        (lambda: mains.follow(volts(117), volts(math.nan), heater=volts(6.3)), "must be a number"),
        (lambda: mains.follow(volts(117), volts(120), heater=volts(0)), "heater"),
        (lambda: mains.follow(volts(117), volts(120), heater=volts(6.3), b_plus=volts(1e9)), "B\\+"),
        (lambda: mains.flux(volts(117), hertz(0), volts(120), hertz(60)), "frequency"),
        (lambda: mains.buck(volts(120), primary=volts(120), secondary=volts(120)), "step-down"),
        (lambda: mains.buck(volts(120), primary=volts(120), secondary=volts(0)), "secondary"),
        (lambda: mains.drop(volts(117), volts(117), amperes(1)), "only takes away"),
        (lambda: mains.drop(volts(124), volts(117), amperes(0)), "current"),
        (
            lambda: mains.limit(volts(120), lamp=watts(0), lamp_voltage=volts(120), power=watts(1)),
            "lamp",
        ),
        (
            lambda: mains.drawn(volts(120), lamp=watts(60), lamp_voltage=volts(120), across=volts(140)),
            "More can’t be",
        ),
        (lambda: mains.check_fuse(amperes(1), amperes(0)), "fuse"),
        (lambda: mains.check_fuse(amperes(1), amperes(16)), "fuse"),
        (lambda: mains.first_fuse(amperes(50)), "fuse"),
        (lambda: mains.usual_lamp(watts(0)), "set takes"),
        (lambda: mains.touch_current(farads(0), volts(120), hertz(60)), "capacitor"),
        (lambda: mains.touch_current(farads(1), volts(120), hertz(60)), "capacitor"),
    ],
)
def test_what_no_line_and_no_set_has_is_refused_in_words(compute, words):
    with pytest.raises(CircuitError, match=words):
        compute()
