"""Spring tanks, against tank makers' figures (from memory) and circuits that numpy solves."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.engine import spring_tank as tank
from calc.engine.errors import CircuitError
from calc.engine.quantities import band, nominal, units, with_band
from calc.engine.spring_tank import Alike, Dc, Driver, Ground, Side, Standing


def ohm(number: float) -> units.Quantity:
    return units.Quantity(number, "ohm")


def V(number: float) -> units.Quantity:
    return units.Quantity(number, "V")


MAKERS = "tank makers’ data, from memory"


@pytest.mark.parametrize(
    ("ohms", "milliamps", "source"),
    [
        (8, 28, MAKERS),
        (150, 6.5, MAKERS),
        (200, 5.8, MAKERS),
        (250, 5.0, MAKERS),
        (600, 3.1, MAKERS),
        (1475, 2.0, MAKERS),
    ],
)
def test_the_nominal_drive_is_the_makers(ohms: float, milliamps: float, source: str) -> None:
    assert nominal(tank.wanted_current(ohm(ohms)), "mA") == pytest.approx(milliamps), source
    beside = nominal(tank.wanted_current(ohm(ohms * 1.002)), "mA")  # by the law of ampere-turns
    assert beside == pytest.approx(milliamps, rel=0.045), source


@pytest.mark.parametrize(
    ("ohms", "henries", "source"),
    [
        (8, 1.27e-3, "L = |Z|/2πf, less 0.5 % for the coil’s resistance"),
        (600, 95e-3, "the same"),
        (2250, 358e-3, "the same"),
    ],
)
def test_a_coil_has_the_inductance_of_its_ohms(ohms: float, henries: float, source: str) -> None:
    side = Side.OUTPUT if ohms == 2250 else Side.INPUT
    assert nominal(tank.coil(ohm(ohms), side).inductance, "H") == pytest.approx(henries, rel=0.01), source
    assert nominal(tank.coil(ohm(ohms), side).impedance(1000)) == pytest.approx(ohms)


@pytest.mark.parametrize(("frequency", "volts"), [(1000, 0.224), (5000, 1.12)])
def test_the_nominal_current_needs_the_makers_volts(frequency: float, volts: float) -> None:
    """28 mA into 8 Ω: 0.22 V at 1 kHz, 1.1 V at 5 kHz (V = I·2πfL)."""
    coil = tank.coil(ohm(8), Side.INPUT)
    assert 0.028 * nominal(coil.impedance(frequency)) == pytest.approx(volts, rel=0.01)


@pytest.mark.parametrize(("source", "frequency"), [(0, 1000), (47, 1000), (220, 300), (1000, 5000)])
def test_the_current_is_that_of_a_solved_mesh(source: float, frequency: float) -> None:
    """Complex arithmetic of numpy on the same R and L."""
    coil = tank.coil(ohm(200), Side.INPUT, ohm(27))
    inductance = math.sqrt(200**2 - 27**2) / (2 * math.pi * 1000)
    expected = abs(np.complex128(2.0) / (source + 27 + 2j * math.pi * frequency * inductance))
    found = tank.current(coil, Driver(V(2), ohm(source)), frequency)
    assert nominal(found, "A") == pytest.approx(expected, rel=1e-12)


def test_the_curve_is_the_current_at_each_frequency() -> None:
    coil, driver = tank.coil(ohm(200), Side.INPUT), Driver(with_band(V(2), 0.1), ohm(220))
    for frequency, amperes in tank.curve(coil, driver, points=7):
        assert amperes == pytest.approx(nominal(tank.current(coil, driver, frequency), "A"))


def test_a_driver_transformer_is_the_root_of_its_ohms() -> None:
    """√(22.8 kΩ/8 Ω) = 53.4 (ideal transformer; textbook)."""
    found = tank.match(tank.coil(ohm(8), Side.INPUT), ohm(22_800), ohm(8))
    assert found.turns == pytest.approx(53.4, abs=0.02)
    assert nominal(found.reflected, "kohm") == pytest.approx(22.8)
    assert found.standing is Standing.SERVES


@pytest.mark.parametrize(
    ("ohms", "standing"),
    [
        (8, Standing.SERVES),
        (12, Standing.SERVES),
        (16, Standing.WITH_CARE),
        (150, Standing.NO),
        (3, Standing.NO),
    ],
)
def test_a_tank_of_other_ohms_is_not_matched(ohms: float, standing: Standing) -> None:
    """Common practice, no source."""
    assert tank.match(tank.coil(ohm(ohms), Side.INPUT), ohm(22_800), ohm(8)).standing is standing


def test_a_driver_is_seen_through_its_transformer() -> None:
    """Thevenin's equivalent through an ideal transformer: V/n, R/n²."""
    seen = tank.through_transformer(Driver(V(160), ohm(10_000)), ohm(22_800), ohm(8))
    assert nominal(seen.volts, "V") == pytest.approx(160 / math.sqrt(2850))
    assert nominal(seen.source, "ohm") == pytest.approx(10_000 / 2850)


@pytest.mark.parametrize(
    ("volts", "standing"), [(0.05, Standing.WITH_CARE), (0.224, Standing.SERVES), (1.0, Standing.WITH_CARE)]
)
def test_a_weak_and_a_heavy_drive_are_told(volts: float, standing: Standing) -> None:
    found = tank.drive(tank.coil(ohm(8), Side.INPUT), Driver(V(volts), ohm(0)))
    assert found.standing is standing
    assert found.ratio == pytest.approx(volts / 8 / 0.028)


def test_the_band_of_the_volts_goes_into_the_current() -> None:
    """2 % of the volts are 2 % of the current (JCGM 100:2008, 5.1.2)."""
    found = tank.drive(tank.coil(ohm(8), Side.INPUT), Driver(with_band(V(0.224), 0.00448), ohm(0)))
    assert band(found.current, "mA") == pytest.approx(0.02 * nominal(found.current, "mA"))


@pytest.mark.parametrize(
    ("load", "standing"),
    [
        (220_000, Standing.SERVES),
        (22_500, Standing.SERVES),
        (10_000, Standing.WITH_CARE),
        (2250, Standing.NO),
    ],
)
def test_the_recovery_stage_should_be_ten_times_the_output(load: float, standing: Standing) -> None:
    """Common practice, no source."""
    assert tank.recovery(tank.coil(ohm(2250), Side.OUTPUT), ohm(load)).standing is standing


@pytest.mark.parametrize("load", [2250, 22_500, 220_000])
def test_what_the_load_takes_off_is_that_of_a_solved_divider(load: float) -> None:
    """Complex arithmetic of numpy."""
    coil = tank.coil(ohm(2250), Side.OUTPUT, ohm(200))
    inductance = math.sqrt(2250**2 - 200**2) / (2 * math.pi * 1000)
    found = tank.recovery(coil, ohm(load))
    for frequency, loss in ((1000, found.loss_at_1k), (5000, found.loss_at_5k)):
        divider = load / (load + 200 + 2j * math.pi * frequency * inductance)
        assert loss == pytest.approx(20 * np.log10(abs(divider)), abs=1e-9)


@pytest.mark.parametrize(
    ("side", "ohms", "dc", "says", "fits"),
    [
        (Side.INPUT, 8, 0.8, Dc.FITS, 8), (Side.INPUT, 150, 26, Dc.FITS, 150), (Side.INPUT, 200, 27, Dc.FITS, 200),
        (Side.INPUT, 250, 36, Dc.FITS, 250), (Side.INPUT, 600, 58, Dc.FITS, 600),
        (Side.INPUT, 1475, 200, Dc.FITS, 1475),
        (Side.OUTPUT, 500, 42, Dc.FITS, 500), (Side.OUTPUT, 2250, 200, Dc.FITS, 2250),
        (Side.OUTPUT, 10_000, 800, Dc.FITS, 10_000), (Side.INPUT, 8, 58, Dc.HIGH, 600),
        (Side.OUTPUT, 2250, 42, Dc.LOW, 500), (Side.OUTPUT, 2250, 800, Dc.HIGH, 10_000),
        (Side.INPUT, 600, 0, Dc.LOW, None), (Side.OUTPUT, 2250, 5e6, Dc.OPEN, None),
    ],
)  # fmt: skip
def test_the_dc_resistance_is_held_against_the_makers(
    side: Side, ohms: float, dc: float, says: Dc, fits: float
) -> None:
    """Tank makers' data, from memory."""
    found = tank.check_dc(ohm(dc), ohm(ohms), side)
    assert (found.says, found.would_fit) == (says, fits)


def test_a_dc_resistance_within_the_meters_reach_of_an_edge_is_unsure() -> None:
    assert tank.check_dc(with_band(ohm(275), 10), ohm(2250), Side.OUTPUT).says is Dc.UNSURE


SAME = {
    "input_ratio": 1.0,
    "output_ratio": 1.0,
    "input_ground": Ground.SAME,
    "output_ground": Ground.SAME,
    "plane": Alike.SAME,
    "decay": Alike.SAME,
    "size": Alike.SAME,
}


@pytest.mark.parametrize(
    ("other", "standing"),
    [
        ({}, Standing.SERVES),
        ({"input_ratio": 200 / 150}, Standing.SERVES),
        ({"input_ratio": 1.9}, Standing.WITH_CARE),
        ({"input_ratio": 150 / 8}, Standing.NO),
        ({"input_ratio": 8 / 150}, Standing.NO),
        ({"output_ratio": 500 / 2250}, Standing.WITH_CARE),
        ({"output_ratio": 500 / 10_000}, Standing.NO),
        ({"input_ground": Ground.NOW_GROUNDED}, Standing.NO),
        ({"output_ground": Ground.NOW_GROUNDED}, Standing.WITH_CARE),
        ({"input_ground": Ground.NOW_ISOLATED}, Standing.WITH_CARE),
        ({"input_ground": Ground.UNKNOWN}, Standing.UNKNOWN),
        ({"plane": Alike.OTHER}, Standing.WITH_CARE),
        ({"plane": Alike.UNKNOWN}, Standing.UNKNOWN),
        ({"decay": Alike.LESS}, Standing.WITH_CARE),
        ({"size": Alike.LESS}, Standing.WITH_CARE),
        ({"size": Alike.UNKNOWN, "input_ratio": 20.0}, Standing.NO),
    ],
)
def test_a_stand_in_is_as_good_as_its_worst_side(other: dict, standing: Standing) -> None:
    """Common practice, no source."""
    assert tank.stand_in(**{**SAME, **other}).standing is standing


def test_a_coil_of_four_times_the_ohms_gives_twice_the_volts() -> None:
    """|Z| goes with the square of the turns, volts with the turns: 6.0 dB."""
    checks = {check.name: check.said for check in tank.stand_in(**{**SAME, "output_ratio": 4.0}).checks}
    assert "+6.0 dB" in checks["Output impedance"]


@pytest.mark.parametrize("bad", [0.0, -8.0, 0.5, 1e6, math.nan, math.inf])
def test_ohms_that_no_tank_has_are_refused(bad: float) -> None:
    for ask in (
        lambda: tank.coil(ohm(bad), Side.INPUT),
        lambda: tank.wanted_current(ohm(bad)),
        lambda: tank.check_dc(ohm(10), ohm(bad), Side.OUTPUT),
    ):
        with pytest.raises(CircuitError, match="1 kHz"):
            ask()


@pytest.mark.parametrize("bad", [8.0, 200.0, -1.0, math.nan])
def test_a_dc_resistance_above_the_impedance_is_refused(bad: float) -> None:
    with pytest.raises(CircuitError, match="DC resistance"):
        tank.coil(ohm(8), Side.INPUT, ohm(bad))


@pytest.mark.parametrize("bad", [0.0, -1.0, 1e9, math.nan, math.inf])
def test_drivers_transformers_and_loads_that_cannot_be_are_refused(bad: float) -> None:
    coil = tank.coil(ohm(8), Side.INPUT)
    for ask in (
        lambda: tank.current(coil, Driver(V(bad), ohm(1)), 1000),
        lambda: tank.current(coil, Driver(V(1), ohm(bad or -1)), 1000),
        lambda: tank.turns_ratio(ohm(bad), ohm(8)),
        lambda: tank.turns_ratio(ohm(8000), ohm(bad)),
        lambda: tank.recovery(coil, ohm(bad if bad != 1e9 else 1e10)),
        lambda: tank.stand_in(**{**SAME, "input_ratio": bad}),
    ):
        with pytest.raises(CircuitError):
            ask()


@settings(max_examples=50, deadline=None)
@given(st.floats(1, 5000), st.floats(1.01, 5), st.floats(0, 1000))
def test_more_ohms_or_more_hertz_is_less_current(ohms: float, more: float, source: float) -> None:
    driver = Driver(V(1), ohm(source))
    here = nominal(tank.current(tank.coil(ohm(ohms), Side.INPUT), driver, 1000))
    assert nominal(tank.current(tank.coil(ohm(ohms * more), Side.INPUT), driver, 1000)) < here
    assert nominal(tank.current(tank.coil(ohm(ohms), Side.INPUT), driver, 1000 * more)) < here
