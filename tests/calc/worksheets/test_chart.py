"""Pictures of figures: where things are put in the drawing."""

import math
import re
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.worksheets.chart import (
    HEIGHT,
    MOST_POINTS,
    WIDTH,
    Axis,
    Chart,
    Curve,
    Dot,
    Limit,
    draw,
    thin_out,
)

NOT_FINITE = [math.nan, math.inf, -math.inf]


def chart(*points, x=None, y=None, **more):
    curves = more.pop("curves", (Curve("One", tuple(points)),) if points else ())
    return Chart("Title", "Words.", x or Axis("Time", "s"), y or Axis("Voltage", "V"), curves, **more)


def labels(ticks):
    return [tick.label for tick in ticks]


def places(path):
    return [(float(x), float(y)) for x, y in re.findall(r"[ML](-?[0-9.]+) (-?[0-9.]+)", path)]


# --- the axes


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [
        (0, 10, ["0", "2", "4", "6", "8", "10"]),
        (0, 462, ["0", "100", "200", "300", "400", "500"]),
        (-60, 0, ["−60", "−40", "−20", "0"]),
        (0, 0.1, ["0", "0.02", "0.04", "0.06", "0.08", "0.1"]),
        (0, 50_000, ["0", "10 k", "20 k", "30 k", "40 k", "50 k"]),
    ],
)
def test_ticks_are_round_numbers_around_what_is_shown(low, high, ticks):
    assert labels(draw(chart((0, low), (1, high))).y_ticks) == ticks


def test_a_straight_axis_runs_from_edge_to_edge():
    drawing = draw(chart((0, 0), (10, 100)))
    assert places(drawing.curves[0].path) == [(drawing.left, drawing.bottom), (drawing.right, drawing.top)]
    assert (drawing.x_ticks[0].at, drawing.x_ticks[-1].at) == (drawing.left, drawing.right)


def test_an_axis_with_its_own_ends_keeps_them():
    drawing = draw(chart((3, 5), (7, 60), y=Axis("Voltage", "V", least=0, most=50)))
    assert drawing.y_ticks[-1].label == "50"
    assert places(drawing.curves[0].path)[1][1] == drawing.top  # what lies outside stands on the edge


def test_the_label_of_an_axis_names_its_unit():
    drawing = draw(chart((0, 0), x=Axis("Frequency", "Hz"), y=Axis("Share")))
    assert (drawing.x_label, drawing.y_label) == ("Frequency, Hz", "Share")


def test_a_logarithmic_axis_gives_each_decade_the_same_width():
    drawing = draw(chart((10, 0), (100, 1), (1000, 2), (10_000, 3), x=Axis("Frequency", "Hz", is_log=True)))
    at = [x for x, _ in places(drawing.curves[0].path)]
    steps = [b - a for a, b in zip(at, at[1:], strict=False)]
    assert steps == pytest.approx([steps[0]] * 3, abs=0.11)
    assert labels(drawing.x_ticks) == ["10", "100", "1000", "10 k"]


def test_a_short_logarithmic_axis_has_ticks_at_one_two_and_five():
    drawing = draw(chart((20, 0), (200, 1), x=Axis("Frequency", "Hz", is_log=True)))
    assert labels(drawing.x_ticks) == ["20", "50", "100", "200"]


@pytest.mark.parametrize("value", [0.0, -5.0, *NOT_FINITE])
def test_what_has_no_logarithm_is_no_reason_to_draw_nothing(value):
    drawing = draw(chart((value, 1), (10, 2), (1000, 3), x=Axis("Frequency", "Hz", is_log=True)))
    assert labels(drawing.x_ticks)[0] == "10"
    assert drawing.curves[0].path


@pytest.mark.parametrize("level", [0.0, 5.0, -3.0, 1e9, 1e-9])
@pytest.mark.parametrize("is_log", [False, True])
def test_a_level_line_and_a_single_point_have_an_axis_too(level, is_log):
    drawing = draw(chart((0, level), (1, level), y=Axis("Voltage", "V", is_log=is_log)))
    assert len(drawing.y_ticks) >= 1
    assert drawing.y_ticks == tuple(sorted(drawing.y_ticks, key=lambda tick: -tick.at))


def test_an_empty_chart_is_drawn_as_its_axes():
    drawing = draw(chart())
    assert drawing.curves == ()
    assert len(drawing.x_ticks) > 1
    assert len(drawing.y_ticks) > 1


# --- the curves


@pytest.mark.parametrize("hole", NOT_FINITE)
def test_a_point_that_is_none_breaks_the_curve_in_two(hole):
    drawing = draw(chart((0, 1), (1, 2), (2, hole), (3, 2), (4, 1)))
    assert drawing.curves[0].path.count("M") == 2
    assert "nan" not in drawing.curves[0].path
    assert "inf" not in drawing.curves[0].path


def test_a_curve_of_nothing_but_holes_is_empty():
    assert draw(chart((0, math.nan), (math.inf, 1))).curves[0].path == ""


def test_a_family_is_named_at_its_ends_and_the_others_below():
    curves = tuple(
        Curve(name, ((0, 0), (1, 1)), look)
        for name, look in (("Load line", "main"), ("−10 V", "thin"), ("", "dashed"))
    )
    assert [curve.name for curve in draw(chart(curves=curves)).legend] == ["Load line"]


def test_few_points_stay_as_they_are():
    points = [(float(n), float(n % 3)) for n in range(MOST_POINTS)]
    assert thin_out(points) == points


@given(st.integers(MOST_POINTS + 1, 5000), st.integers(0, 4999), st.integers(0, 4999), st.integers(0, 9))
@settings(max_examples=50)
def test_thinning_out_keeps_peak_and_valley_and_both_ends(many, peak, valley, seed):
    peak, valley = peak % many, valley % many
    dice = Random(seed)
    values = [dice.uniform(-1, 1) for _ in range(many)]
    values[valley] = -99.0
    values[peak] = 99.0
    points = [(float(n), value) for n, value in enumerate(values)]
    kept = thin_out(points)
    assert len(kept) <= MOST_POINTS + 2
    assert points[peak] in kept
    assert peak == valley or points[valley] in kept
    assert (kept[0], kept[-1]) == (points[0], points[-1])
    assert [x for x, _ in kept] == sorted(x for x, _ in kept)


@pytest.mark.parametrize("hole", NOT_FINITE)
def test_thinning_out_takes_points_that_are_none(hole):
    points = [(float(n), hole if n % 2 else float(n)) for n in range(2000)]
    kept = thin_out(points)
    assert max(y for _, y in kept if math.isfinite(y)) == 1998
    assert all(math.isnan(y) for _, y in thin_out([(float(n), math.nan) for n in range(2000)]))


# --- dots and limits


def test_a_dot_near_the_right_edge_is_named_on_its_left():
    left, right = draw(chart((0, 0), (10, 10), dots=(Dot("Left", 1, 5), Dot("Right", 9.5, 5)))).dots
    assert (left.anchor, right.anchor) == ("start", "end")
    assert left.label_x > left.x
    assert right.label_x < right.x


@pytest.mark.parametrize("level", [0.0, 5.0, 10.0])
def test_the_names_of_dots_in_one_place_stand_under_each_other(level):
    dots = tuple(Dot(f"Tube {n}", 5, level) for n in range(1, 5))
    places = [dot.label_y for dot in draw(chart((0, 0), (10, 10), dots=dots)).dots]
    gaps = [abs(a - b) for n, a in enumerate(places) for b in places[:n]]
    assert min(gaps) >= 16 or max(places) + 16 > HEIGHT
    assert max(places) < HEIGHT


def test_dots_apart_keep_their_names_beside_them():
    one, two = draw(chart((0, 0), (10, 10), dots=(Dot("One", 1, 2), Dot("Two", 5, 8)))).dots
    assert (one.label_y, two.label_y) == (one.y - 9, two.y - 9)


def test_limits_lie_across_and_upright():
    across, upright = draw(
        chart((0, 0), (10, 10), limits=(Limit("25 W", y=5.0), Limit("Cut off", x=5.0)))
    ).limits
    assert across.y1 == across.y2
    assert upright.x1 == upright.x2


def test_a_limit_beyond_the_curves_is_in_the_picture():
    drawing = draw(chart((0, 0), (10, 10), limits=(Limit("Maximum", y=30.0),)))
    assert float(drawing.y_ticks[-1].label) >= 30
    assert drawing.top <= drawing.limits[0].y1 < drawing.bottom


@settings(max_examples=60)
@given(
    st.lists(st.tuples(st.floats(), st.floats()), max_size=30),
    st.lists(st.tuples(st.floats(), st.floats()), max_size=3),
    st.booleans(),
    st.booleans(),
)
def test_whatever_is_drawn_stays_within_the_picture(points, dots, log_x, log_y):
    drawing = draw(
        chart(
            *points,
            x=Axis("X", is_log=log_x),
            y=Axis("Y", is_log=log_y),
            dots=tuple(Dot("D", x, y) for x, y in dots if math.isfinite(x) and math.isfinite(y)),
        )
    )
    placed = [place for curve in drawing.curves for place in places(curve.path)]
    placed += [(dot.x, dot.y) for dot in drawing.dots]
    assert all(0 <= x <= WIDTH and 0 <= y <= HEIGHT for x, y in placed)
    assert all(math.isfinite(tick.at) for tick in (*drawing.x_ticks, *drawing.y_ticks))
