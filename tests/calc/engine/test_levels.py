"""Volts, decibels and watts, against published relations."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.engine.errors import CircuitError
from calc.engine.levels import Shape, Shows, clipping, crest, level, power, rms_of, volts_of_dbu
from calc.engine.quantities import band, nominal, units, with_band

volts = st.floats(1e-6, 1e4)


def V(number: float) -> units.Quantity:
    return units.Quantity(number, "V")


def ohm(number: float) -> units.Quantity:
    return units.Quantity(number, "ohm")


@pytest.mark.parametrize(
    ("rms", "dbu", "dbv", "source"),
    [
        (0.774597, 0.0, -2.218, "IEC 60268, from memory: 0 dBu is √0.6 V"),
        (1.0, 2.218, 0.0, "the same: dBu = dBV + 2.218"),
        (1.2277, 4.0, 1.782, "ITU-R BS.645, from memory: +4 dBu is 1.228 V"),
        (0.31623, -7.782, -10.0, "−10 dBV is 0.3162 V; 11.78 dB below +4 dBu"),
        (10.0, 22.218, 20.0, "20·log10"),
    ],
)
def test_volts_are_said_in_decibels(rms: float, dbu: float, dbv: float, source: str) -> None:
    there = level(V(rms))
    assert nominal(there.dbu) == pytest.approx(dbu, abs=6e-4), source
    assert nominal(there.dbv) == pytest.approx(dbv, abs=6e-4), source


@pytest.mark.parametrize(
    ("rms", "load", "watts", "source"),
    [
        (20.0, 8, 50.0, "P = U²/R"),
        (28.284, 16, 50.0, "P = U²/R"),
        (14.142, 8, 25.0, "P = U²/R"),
        (0.774597, 600, 1e-3, "0 dBm: 1 mW in 600 Ω, the origin of √0.6 V"),
    ],
)
def test_volts_make_watts_in_a_load(rms: float, load: float, watts: float, source: str) -> None:
    assert nominal(power(V(rms), ohm(load)), "W") == pytest.approx(watts, rel=1e-4), source


@pytest.mark.parametrize("shows", list(Shows))
def test_a_scope_and_a_meter_agree_on_a_sine(shows: Shows) -> None:
    """Against numpy: the peak, the span and the root mean square of a sampled sine."""
    wave = 28.3 * np.sin(2 * np.pi * np.arange(4800) / 48)
    reading = {
        Shows.PEAK: wave.max(),
        Shows.PEAK_TO_PEAK: np.ptp(wave),
        Shows.RMS: np.sqrt(np.mean(wave**2)),
    }[shows]
    assert nominal(rms_of(V(float(reading)), shows), "V") == pytest.approx(20.011, rel=1e-4)


def test_peaks_belong_to_the_rms() -> None:
    there = level(V(20))
    assert nominal(there.peak) == pytest.approx(28.284, rel=1e-4)
    assert nominal(there.peak_to_peak) == pytest.approx(56.569, rel=1e-4)


@pytest.mark.parametrize("ohms", [8, 500, 10_000])
def test_dbm_is_not_said_where_the_load_is_not_600_ohms(ohms: float) -> None:
    assert level(V(1), ohm(ohms)).dbm is None


def test_dbm_is_said_at_600_ohms_where_it_is_dbu() -> None:
    there = level(V(1.2277), ohm(600))
    assert there.dbm is not None
    assert nominal(there.dbm) == pytest.approx(nominal(there.dbu), abs=1e-9)
    assert level(V(1)).dbm is None


def test_the_band_of_a_reading_and_a_load_goes_into_the_watts() -> None:
    """P = U²/R: relative ± of 2·1 % and 2 % add in squares: 2.83 %. (JCGM 100:2008, 5.1.6)"""
    watts = power(with_band(V(20), 0.2), with_band(ohm(8), 0.16))
    assert band(watts, "W") == pytest.approx(50 * math.hypot(0.02, 0.02), rel=1e-6)


def test_the_band_of_a_reading_goes_into_the_decibels() -> None:
    """d(20·log10 U) = 8.686·dU/U (JCGM 100:2008, 5.1.2)."""
    assert band(level(with_band(V(10), 0.1)).dbu) == pytest.approx(8.6859 * 0.01, rel=1e-4)


def test_half_the_volts_at_clipping_is_six_decibels_of_headroom() -> None:
    found = clipping(V(10), V(20), ohm(8))
    assert nominal(found.headroom) == pytest.approx(6.0206, abs=1e-4)
    assert found.watts is not None
    assert nominal(found.watts, "W") == pytest.approx(50)


@pytest.mark.parametrize(
    ("wave", "shape"),
    [
        (np.sin(np.arange(0, 2 * np.pi, 0.001)), Shape.SINE),
        (np.clip(np.sin(np.arange(0, 2 * np.pi, 0.001)), -0.8, 0.8), Shape.FLATTENED),
        (np.sign(np.sin(np.arange(0.0005, 2 * np.pi, 0.001))), Shape.FLATTENED),
        (np.sin(np.arange(0, 2 * np.pi, 0.001)) ** 3, Shape.PEAKY),
    ],
    ids=["sine", "clipped", "square", "crossover"],
)
def test_the_crest_tells_a_sine_from_a_clipped_one(wave: np.ndarray, shape: Shape) -> None:
    """Against numpy's peak and rms of the waves themselves."""
    assert crest(V(float(wave.max())), V(float(np.sqrt(np.mean(wave**2))))).shape is shape


def test_an_rms_above_the_peak_is_refused() -> None:
    with pytest.raises(CircuitError, match="probe"):
        crest(V(1), V(2))


@pytest.mark.parametrize("bad", [0.0, -1.0, 1e-12, 1e9, math.nan, math.inf])
def test_readings_that_cannot_be_are_refused(bad: float) -> None:
    for ask in (lambda: rms_of(V(bad), Shows.PEAK), lambda: level(V(bad)), lambda: crest(V(bad), V(1))):
        with pytest.raises(CircuitError, match="reading"):
            ask()
    with pytest.raises(CircuitError):
        clipping(V(bad), V(1))


@pytest.mark.parametrize("bad", [0.0, -8.0, 1e-9, 1e12, math.nan, math.inf])
def test_loads_that_cannot_be_are_refused(bad: float) -> None:
    with pytest.raises(CircuitError, match="load"):
        power(V(1), ohm(bad))


@pytest.mark.parametrize("bad", [201, -201, math.nan, math.inf])
def test_levels_that_cannot_be_are_refused(bad: float) -> None:
    with pytest.raises(CircuitError):
        volts_of_dbu(bad)


@settings(max_examples=50, deadline=None)
@given(volts)
def test_decibels_and_back_are_the_same_volts(number: float) -> None:
    assert nominal(volts_of_dbu(nominal(level(V(number)).dbu)), "V") == pytest.approx(number, rel=1e-9)


@settings(max_examples=50, deadline=None)
@given(volts, st.floats(1.01, 10), st.floats(1, 1000))
def test_more_volts_are_more_watts_and_a_larger_load_fewer(one: float, more: float, load: float) -> None:
    here = nominal(power(V(one), ohm(load)), "W")
    assert nominal(power(V(one * more), ohm(load)), "W") > here
    assert nominal(power(V(one), ohm(load * more)), "W") < here
