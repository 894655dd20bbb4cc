"""The parts that a supply's steady state is computed with, against SciPy, closed formulas and the laws themselves."""

import math

import numpy as np
import pytest
import scipy.linalg
import scipy.special
from scipy.optimize import brentq

from calc.engine import steady
from calc.engine.errors import CircuitError
from calc.engine.steady import THERMAL_VOLTS, Network
from calc.engine.tubes import find_rectifier


def rc(ohms: float, farads: float) -> Network:
    """A current into a resistor beside a capacitor; its volts are looked at."""
    return Network(
        np.array([[-1 / (ohms * farads)]]), np.array([[1 / farads]]), np.array([[1.0]]), np.array([[0.0]])
    )


@pytest.mark.parametrize("volts", [-2000.0, -1.0, 0.0, 0.3, 0.7, 1.0, 5.0, 400.0, 20_000.0])
def test_silicon_in_series_with_a_resistor_keeps_both_laws(volts: float) -> None:
    """I = IS·(exp(V/(N·Vt)) − 1), Shockley's law; V + R·I is what is across both. Found again by bisection."""

    def off(current: float) -> float:
        return 1.8 * THERMAL_VOLTS * math.log1p(current / 5e-8) + 20 * current - volts

    current, slope = steady.silicon(5e-8, 1.8, 20)(np.array([volts]))
    wanted = brentq(off, -5e-8 * (1 - 1e-12), max(volts, 1) / 20, xtol=1e-18) if volts > -1 else -5e-8
    assert current[0] == pytest.approx(wanted, rel=1e-6, abs=1e-13)
    assert 0 <= slope[0] <= 1 / 20


def test_wrights_omega_is_that_of_scipy() -> None:
    z = np.concatenate((np.linspace(-60, 60, 2001), np.logspace(2, 7, 200)))
    assert steady.wright_omega(z) == pytest.approx(scipy.special.wrightomega(z), rel=1e-12)


def test_silicon_drops_about_three_quarters_of_a_volt_in_use() -> None:
    """Source: conventions of this app; sheets of 1 A diodes, from memory."""
    current, _ = steady.silicon(5e-8, 1.8, 0.04)(np.array([0.75]))
    assert 0.2 < current[0] < 0.6


@pytest.mark.parametrize(
    ("name", "milliamperes", "drop", "source"),
    [
        ("5U4GB", 150, 33.6, "(I/K)^(2/3) by hand, K from 44 V at 225 mA"),
        ("5U4GB", 225, 44, "its sheet, from memory"),
        ("GZ34", 225, 17, "its sheet, from memory"),
        ("5Y3GT", 125, 60, "its sheet, from memory"),
    ],
)
def test_a_tube_drops_what_its_sheet_says(name: str, milliamperes: float, drop: float, source: str) -> None:
    law = steady.tube(find_rectifier(name).perveance, 1e-9)
    assert law(np.array([drop]))[0][0] * 1000 == pytest.approx(milliamperes, rel=0.002), source


@pytest.mark.parametrize("volts", [1e-6, 0.5, 40.0, 500.0, 14_000.0])
@pytest.mark.parametrize("ohms", [0.01, 50.0, 5000.0])
def test_a_tube_in_series_with_a_resistor_keeps_both_laws(volts: float, ohms: float) -> None:
    law = steady.tube(7.7e-4, ohms)
    current, slope = (each[0] for each in law(np.array([volts])))
    assert (current / 7.7e-4) ** (2 / 3) + ohms * current == pytest.approx(volts, rel=1e-9)
    step = volts * 1e-5
    there = law(np.array([volts + step]))[0][0]
    assert slope == pytest.approx((there - current) / step, rel=1e-3)


def test_a_tube_blocks_the_other_way() -> None:
    current, slope = steady.tube(7.7e-4, 50)(np.array([-500.0, 0.0]))
    assert not current.any()
    assert not slope.any()


@pytest.mark.parametrize("size", [1e-6, 0.3, 40.0])
def test_the_exponential_of_a_matrix_is_that_of_scipy(size: float) -> None:
    matrix = np.random.default_rng(4).normal(size=(9, 9)) * size - 3 * size * np.eye(9)
    assert steady.exponential(matrix) == pytest.approx(scipy.linalg.expm(matrix), rel=1e-8, abs=1e-12)


def test_the_exponential_of_what_is_not_finite_is_refused() -> None:
    with pytest.raises(CircuitError):
        steady.exponential(np.array([[math.nan]]))


def test_the_mean_of_a_periodic_answer_is_ohms_law() -> None:
    answers = steady.periodic(rc(1000, 1e-6), 1e-4, 64)
    assert answers.sum() == pytest.approx(1000, rel=1e-9)


@pytest.mark.parametrize("harmonic", [1, 3])
def test_a_periodic_answer_to_a_sine_is_the_impedance(harmonic: int) -> None:
    """1/√(1/R² + (ωC)²). Source: textbook."""
    samples, step = 512, 1e-4
    omega = 2 * math.pi * harmonic / (samples * step)
    wave = np.sin(omega * step * np.arange(samples))
    found = steady.answer(steady.periodic(rc(1000, 10e-6), step, samples), wave[None, :])
    assert np.ptp(found) / 2 == pytest.approx(1 / math.hypot(1 / 1000, omega * 10e-6), rel=1e-3)


def test_a_network_at_rest_has_no_current_in_its_capacitors() -> None:
    assert rc(1000, 1e-6).at_rest(np.array([0.02])) == pytest.approx([20.0])


def test_a_rectifier_into_a_resistor_is_the_law_at_every_sample() -> None:
    """Nothing but a resistor: each sample is for itself."""
    samples = 64
    drive = 300 * np.sin(2 * np.pi * np.arange(samples) / samples)
    kernel = np.zeros(samples)
    kernel[0] = 2000
    law = steady.tube(7.7e-4, 50)
    found = steady.conduct(law, drive, kernel, np.zeros(samples), np.zeros(samples))
    assert found == pytest.approx(steady.tube(7.7e-4, 2050)(drive)[0], abs=1e-8)


@pytest.mark.parametrize("number", [math.nan, math.inf, 1e300])
def test_what_has_no_answer_is_refused_and_does_not_hang(number: float) -> None:
    kernel = np.full(16, number)
    with np.errstate(all="ignore"), pytest.raises(CircuitError):
        steady.conduct(steady.tube(7.7e-4, 50), np.ones(16) * 300, kernel, np.zeros(16), np.zeros(16))


def test_a_network_that_nothing_holds_down_is_refused() -> None:
    floating = Network(np.zeros((1, 1)), np.ones((1, 1)), np.ones((1, 1)), np.zeros((1, 1)))
    with pytest.raises(CircuitError):
        floating.at_rest(np.array([0.02]))
    with pytest.raises(CircuitError):
        steady.periodic(floating, 1e-4, 64)
