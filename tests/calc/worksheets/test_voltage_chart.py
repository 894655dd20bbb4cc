"""The voltage chart as it is filled in."""

import pytest

from calc import sheets
from calc.worksheets.chart import draw
from calc.worksheets.sheet import Verdict, answer
from calc.worksheets.voltage_chart import SHEET
from tests.factories import GearFactory, JobFactory, ReadingFactory
from tests.safe import passed

METERS = {
    "chart_meter": "per-volt",
    "chart_per_volt": "20k",
    "hand": "10M",
    "chart_mains": "117",
    "mains": "124 ± 1",
    "tolerance": "20",
}


def chart(*points, **rest):
    said = {**METERS, "point-count": str(len(points)), **rest}
    for number, point in enumerate(points, 1):
        said |= {f"point-{number}-{name}": text for name, text in {"follows": "yes", **point}.items()}
    return said


PLATE = {"where": "V1 pin 6", "what": "plate", "expected": "180", "source": "68k", "range": "250"}
NODE = {"where": "first filter", "what": "supply", "expected": "330"}
BIAS = {"where": "bias feed", "what": "bias", "expected": "-45"}


def test_a_chart_that_is_met_is_good():
    found, said = answer(SHEET, chart({**PLATE, "measured": "190"}, {**NODE, "measured": "352"}))
    assert found.is_whole
    assert said.verdict is Verdict.GOOD
    assert said.said == "All 2 measured: within the chart’s tolerance."
    assert [line.label for line in said.lines] == ["1. V1 pin 6", "2. first filter"]


def test_what_is_out_is_named_with_what_it_reads_should_read_and_usually_means():
    _, said = answer(SHEET, chart({**PLATE, "measured": "262"}, {**NODE, "measured": "352"}))
    assert said.verdict is Verdict.BAD
    assert said.said.startswith("1 of 2 measured is out. Start with 1. V1 pin 6: 262 V, should be 192")
    assert "draws too little" in said.lines[0].said
    assert said.tables[0].rows[0].cells[3] == "−0.68 %"


def test_a_chart_that_came_from_an_earlier_visit_says_what_to_expect_before_anything_is_measured():
    _, said = answer(SHEET, chart(PLATE, NODE, mains=""))
    assert said.verdict is Verdict.PLAIN
    assert said.said.startswith("Nothing is measured yet")
    assert said.tables[0].rows[1].cells[4] == "330 V"
    assert not said.charts


def test_missing_bias_is_said_in_words_that_nobody_misses():
    _, said = answer(SHEET, chart({**NODE, "measured": "350"}, {**BIAS, "measured": "0"}))
    assert said.verdict is Verdict.BAD
    assert "NO BIAS" in said.lines[1].said
    assert "pull the power tubes" in said.cautions[0].do


def test_the_facts_of_a_point_carry_over_and_its_reading_does_not():
    boxes = {box.name: box.measured for group in SHEET.groups if group.rows for box in group.rows.boxes}
    assert [name for name, measured in boxes.items() if measured] == ["measured"]


def test_the_picture_has_a_dot_for_each_measured_point_and_names_those_that_are_out():
    _, said = answer(SHEET, chart({**PLATE, "measured": "262"}, {**NODE, "measured": "352"}))
    drawing = draw(said.charts[0])
    assert [(dot.name, dot.look) for dot in drawing.dots] == [("1. V1 pin 6", "bad"), ("", "good")]
    assert "1. V1 pin 6 +36" in drawing.words


def test_a_full_chart_is_answered():
    points = [{**PLATE, "where": f"point {n}", "measured": str(100 + 10 * n)} for n in range(24)]
    _, said = answer(SHEET, chart(*points))
    assert len(said.tables[0].rows) == 24
    assert len(draw(said.charts[0]).dots) == 24


def test_an_empty_form_asks_and_answers_nothing():
    found, said = answer(SHEET, {})
    assert said is None
    assert not found.wrong
    assert "point-1-expected" in found.missing


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("point-1-expected", "180 Ω"),
        ("point-1-expected", "1e999"),
        ("point-1-expected", "9k9k"),
        ("point-1-measured", "nan"),
        ("point-1-source", "-68k"),
        ("point-1-source", "<script>"),
        ("point-1-what", "anode; drop table"),
        ("point-1-where", "x" * 500),
        ("hand", "0"),
        ("mains", "١٢٠"),
        ("tolerance", "0"),
    ],
)
def test_what_cannot_be_read_is_said_beside_its_box(name, text):
    found, said = answer(SHEET, chart({**PLATE, "measured": "190"}) | {name: text})
    assert said is None
    assert list(found.wrong) == [name]


def test_a_range_too_small_for_its_voltage_is_refused():
    found, said = answer(SHEET, chart({**PLATE, "range": "50"}))
    assert said is None
    assert "Check the range" in found.wrong[""]


def test_a_kept_chart_is_offered_for_the_next_gear_of_the_model_without_what_was_measured(bench):
    first, second = (JobFactory(gear=GearFactory(maker="Corvane", model="Meridian 50")) for _ in range(2))
    passed(first, bench)
    typed = chart({**PLATE, "measured": "262"}, {**NODE, "measured": "352"})
    kept = sheets.keep(first, sheet=SHEET, said=typed, when="before", by=bench)
    said, source = sheets.start(SHEET, second)
    assert source == kept
    assert said["point-count"] == "2"
    assert (said["point-1-where"], said["point-1-expected"], said["point-1-source"]) == (
        "V1 pin 6",
        "180",
        "68k",
    )
    assert said["chart_mains"] == "117"
    assert not {"point-1-measured", "point-2-measured", "mains"} & set(said)
    assert sheets.start(SHEET, first)[0]["point-1-measured"] == "262"


@pytest.mark.django_db
def test_readings_of_the_job_fill_the_mains_and_the_points_that_they_name():
    job = JobFactory()
    for point, written in (("Mains", "121"), ("Point 2", "350"), ("V1 pin 6", "180")):
        ReadingFactory(job=job, point=point, written=written, unit="V", value=float(written))
    said, _ = sheets.start(SHEET, job)
    assert (said["mains"], said["point-2-measured"]) == ("121", "350")
    assert "point-1-measured" not in said


def test_a_full_chart_is_answered_on_its_page(as_bench):
    points = [{**PLATE, "where": f"pin {n}", "measured": str(100 + 10 * n)} for n in range(24)]
    page = as_bench.get("/worksheets/voltage-chart/", {"filled": "1", **chart(*points)}).content.decode()
    assert "24. pin 23" in page
    assert "NaN" not in page
