"""The loading of meters and the mains in a voltage chart, against ngspice and the divider's textbook values."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.engine.errors import CircuitError
from calc.engine.limits import Standing
from calc.engine.quantities import band, nominal, units, with_band
from calc.engine.voltage_chart import (
    MEANINGS,
    MOST_POINTS,
    ChartMeter,
    Point,
    Way,
    What,
    compare,
    explaining_source,
    reading,
    unloaded,
    usual_range,
)
from tests.calc import spice

TEXTBOOK = "voltage divider, textbook, worked by hand to four places"
MANUAL = "tube manuals: a heater's volts go with the line; from memory"


def volts(number):
    return units.Quantity(float(number), "V")


def ohms(number):
    return units.Quantity(float(number), "ohm")


def per_volt(number):
    return ChartMeter(per_volt=units.Quantity(float(number), "ohm/V"))


def one(what, expected, measured, *, spread=0.0, **rest):
    """The only point of a chart, compared without any loading or scaling unless said."""
    point = {"source": None, "range": None, "follows": True}
    point |= {name: rest.pop(name) for name in list(rest) if name in point}
    reads = None if measured is None else with_band(volts(measured), spread)
    rest.setdefault("chart_meter", ChartMeter())
    return compare([Point("it", what, volts(expected), reads, **point)], **rest).points[0]


@pytest.mark.parametrize(
    ("meter", "reads", "source"),
    [
        (5e6, 92.48, TEXTBOOK),
        (1e6, 87.72, TEXTBOOK),
        (10e6, 93.11, TEXTBOOK),
    ],
)
def test_a_meter_pulls_a_point_down_as_a_divider_does(meter, reads, source):
    thevenin = ohms(220e3 * 100e3 / 320e3)
    assert nominal(reading(volts(93.75), thevenin, ohms(meter))) == pytest.approx(reads, abs=0.006), source


@pytest.mark.parametrize("meter", [50e3, 1e6, 5e6, 10e6])
def test_a_loaded_point_reads_as_ngspice_has_it(meter):
    """ngspice, operating point of a plate fed through 220 kΩ and drawn down by 100 kΩ, with the meter on it."""
    plot = spice.run(f"loaded\nV1 b 0 300\nR1 b p 220k\nR2 p 0 100k\nRm p 0 {meter}\n.op")
    here = reading(volts(93.75), ohms(68.75e3), ohms(meter))
    assert nominal(here) == pytest.approx(plot.last("v(p)"), rel=1e-6)


def test_one_meter_s_reading_becomes_another_s_as_ngspice_has_it():
    """ngspice twice: the chart's meter of 20 kΩ/V on 50 V, and 10 MΩ on mains 6 % higher."""
    plots = [
        spice.run(f"chart\nV1 b 0 {supply}\nR1 b p 220k\nR2 p 0 100k\nRm p 0 {meter}\n.op").last("v(p)")
        for supply, meter in ((120.0, 20e3 * 50), (120.0 * 1.06, 10e6))
    ]
    found = one(
        What.PLATE,
        plots[0],
        plots[1],
        source=ohms(68.75e3),
        range=volts(50),
        chart_meter=per_volt(20e3),
        chart_mains=volts(117),
        mains=volts(117 * 1.06),
    )
    assert nominal(found.true) == pytest.approx(37.5, rel=1e-6)
    assert nominal(found.expected) == pytest.approx(plots[1], rel=1e-6)
    assert nominal(found.percent) == pytest.approx(0, abs=1e-4)
    assert found.standing is Standing.IN


@given(
    volts_there=st.floats(0.1, 2000),
    source=st.floats(0, 10e6),
    meter=st.floats(1e4, 1e9),
)
@settings(max_examples=50, deadline=None)
def test_taking_the_loading_off_again_gives_what_was_there(volts_there, source, meter):
    read = reading(volts(volts_there), ohms(source), ohms(meter))
    assert nominal(unloaded(read, ohms(source), ohms(meter))) == pytest.approx(volts_there)
    assert nominal(read) <= volts_there * (1 + 1e-12)


@given(source=st.floats(1e3, 5e6), meters=st.tuples(st.floats(1e4, 1e9), st.floats(1e4, 1e9)))
@settings(max_examples=50, deadline=None)
def test_a_meter_of_more_ohms_never_reads_less(source, meters):
    little, much = sorted(meters)
    shown = [nominal(reading(volts(100), ohms(source), ohms(meter))) for meter in (little, much)]
    assert shown[0] <= shown[1]


@given(source=st.floats(1e3, 10e6))
@settings(max_examples=30, deadline=None)
def test_the_source_that_explains_two_readings_is_the_one_they_were_made_with(source):
    shown = [nominal(reading(volts(100), ohms(source), ohms(meter))) for meter in (1e6, 10e6)]
    found = explaining_source(shown[1] / shown[0], ohms(1e6), ohms(10e6))
    assert nominal(found) == pytest.approx(source, rel=1e-6)


@pytest.mark.parametrize("ratio", [0.5, 1.0, 10.0, 50.0, 0.0, -1.0, math.nan, math.inf])
def test_no_source_explains_what_no_loading_can_do(ratio):
    assert explaining_source(ratio, ohms(1e6), ohms(10e6)) is None


def test_a_point_of_unknown_source_that_reads_high_says_which_source_would_explain_it():
    found = one(What.SCREEN, 60, 78, chart_meter=per_volt(1000), chart_mains=None)
    assert found.range_is_assumed
    assert nominal(found.range) == 250
    again = unloaded(volts(60), found.explained, ohms(250e3))
    assert nominal(reading(again, found.explained, ohms(10e6))) == pytest.approx(78)


@pytest.mark.parametrize(
    ("there", "range_"), [(0, 2.5), (6.3, 10), (-45, 50), (250, 250), (251, 500), (9000, 5000)]
)
def test_the_usual_range_is_the_smallest_that_holds_the_voltage(there, range_):
    """Common practice, no source."""
    assert nominal(usual_range(volts(there))) == range_


@pytest.mark.parametrize(
    ("follows", "expected", "source"),
    [(True, 6.677, MANUAL + ": 6.3 V at 117 V is 6.68 V at 124 V"), (False, 6.3, "regulated")],
)
def test_only_what_follows_the_mains_is_scaled(follows, expected, source):
    found = one(What.OTHER, 6.3, None, follows=follows, chart_mains=volts(117), mains=volts(124))
    assert nominal(found.expected) == pytest.approx(expected, abs=0.0005), source
    assert found.standing is None


def test_the_spread_of_the_reading_and_of_the_mains_both_reach_the_answer():
    """Two independent spreads add as squares: JCGM 100:2008, 5.1.2."""
    found = one(
        What.PLATE,
        100,
        100,
        spread=3,
        chart_mains=volts(120),
        mains=with_band(volts(120), 4.8),
        tolerance=_percent(20),
    )
    assert band(found.percent) == pytest.approx(math.hypot(3, 4))


def _percent(number):
    return units.Quantity(float(number), "percent")


@pytest.mark.parametrize(
    ("measured", "spread", "standing"),
    [
        (120, 0, Standing.IN),
        (80, 0, Standing.IN),
        (121, 2, Standing.CLOSE),
        (119, 2, Standing.CLOSE),
        (123, 2, Standing.OUT),
        (79, 0, Standing.OUT),
        (0, 0, Standing.OUT),
    ],
)
def test_a_point_is_out_only_beyond_the_chart_s_tolerance_and_the_meter_s(measured, spread, standing):
    assert one(What.PLATE, 100, measured, spread=spread).standing is standing


@pytest.mark.parametrize(
    ("what", "expected", "measured", "way"),
    [
        (What.PLATE, 180, 250, Way.HIGH),
        (What.PLATE, 180, 90, Way.LOW),
        (What.PLATE, 180, 2, Way.NOTHING),
        (What.CATHODE, 1.5, 0.01, Way.NOTHING),
        (What.BIAS, -45, -60, Way.HIGH),
        (What.BIAS, -45, -20, Way.LOW),
        (What.BIAS, -45, 0, Way.NOTHING),
        (What.BIAS, -45, 44, Way.TURNED),
        (What.GRID, -45, -20, Way.HIGH),
        (What.GRID, -45, -60, Way.LOW),
        (What.GRID, 0, 2, Way.HIGH),
        (What.GRID, 0, -2, Way.LOW),
        (What.GRID, 0, 0.4, None),
        (What.GRID, 150, 0, Way.LOW),
    ],
)
def test_the_way_that_a_point_is_off_says_what_it_usually_means(what, expected, measured, way):
    """Common practice, no source: less bias is weak bias, and a positive grid is high whatever its sign should be."""
    found = one(what, expected, measured)
    assert found.way is way
    assert bool(found.means) is (way is not None)


def test_every_kind_of_point_has_a_meaning_for_each_way():
    """A grid is only ever too positive or too negative: nothing may be just what it should have."""
    for what in What:
        ways = {Way.HIGH, Way.LOW} if what is What.GRID else {Way.HIGH, Way.LOW, Way.NOTHING}
        assert set(MEANINGS[what]) == ways


@pytest.mark.parametrize(
    ("mains", "measured", "standing"),
    [
        (117, 6.3, Standing.IN),
        (117, 7.0, Standing.OUT),
        (127, 6.84, Standing.IN),
        (132, 7.11, Standing.OUT),  # as its mains would have it, and all the same 13 % over
        (117, 5.6, Standing.OUT),
    ],
)
def test_a_heater_is_held_to_ten_per_cent_of_its_rating_whatever_the_mains_are(mains, measured, standing):
    """Tube manuals, installation: ±10 %; from memory."""
    assert one(What.HEATER, 6.3, measured, chart_mains=volts(117), mains=volts(mains)).standing is standing


def test_what_destroys_tubes_is_looked_at_first_and_then_what_the_rest_hangs_on():
    found = compare(
        [
            Point("plate", What.PLATE, volts(180), volts(20)),
            Point("node", What.SUPPLY, volts(330), volts(200)),
            Point("bias", What.BIAS, volts(-45), volts(-30)),
        ],
        chart_meter=ChartMeter(),
    )
    assert found.first.point.where == "bias"
    assert len(found.out) == 3


def test_points_that_are_all_off_alike_are_said_to_be_off_together():
    points = [
        Point(f"{n}", what, volts(there), volts(there * ratio))
        for n, (what, there, ratio) in enumerate(
            [
                (What.SUPPLY, 330, 0.86),
                (What.PLATE, 180, 0.84),
                (What.PLATE, 160, 0.87),
                (What.HEATER, 6.3, 0.85),
            ]
        )
    ]
    assert nominal(compare(points, chart_meter=ChartMeter()).together) == pytest.approx(-14)
    points[1] = Point("1", What.PLATE, volts(180), volts(280))
    assert compare(points, chart_meter=ChartMeter()).together is None


@pytest.mark.parametrize(
    ("point", "rest", "words"),
    [
        ({"expected": 1e6}, {}, "what the chart says"),
        ({"expected": math.nan}, {}, "must be a number"),
        ({"measured": math.inf}, {}, "must be a number"),
        ({"source": ohms(1e12)}, {"chart_meter": per_volt(20e3)}, "its source"),
        ({"range": volts(50)}, {"chart_meter": per_volt(20e3)}, "Check the range"),
        ({}, {"chart_meter": per_volt(1e9)}, "chart’s meter"),
        ({}, {"chart_meter": ChartMeter(resistance=ohms(0))}, "chart’s meter"),
        ({}, {"hand": ohms(0)}, "meter in hand"),
        ({}, {"chart_mains": volts(0), "mains": volts(120)}, "chart’s mains"),
        ({}, {"chart_mains": volts(117), "mains": volts(1e5)}, "Today’s mains"),
        ({}, {"tolerance": _percent(0)}, "tolerance"),
    ],
)
def test_what_no_chart_has_is_refused_in_words(point, rest, words):
    about = {"expected": 180.0, "measured": 180.0, "source": None, "range": None} | point
    for name in ("expected", "measured"):
        about[name] = volts(about[name])
    with pytest.raises(CircuitError, match=words):
        compare([Point("it", What.PLATE, **about)], **{"chart_meter": ChartMeter(), **rest})


def test_an_empty_chart_and_one_that_is_too_long_are_refused():
    point = Point("it", What.PLATE, volts(180))
    for points in ([], [point] * (MOST_POINTS + 1)):
        with pytest.raises(CircuitError):
            compare(points, chart_meter=ChartMeter())
