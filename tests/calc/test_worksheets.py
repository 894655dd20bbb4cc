"""Worksheets on their pages: alone and on a job, filled in, kept, compared, printed.

Most of it is tried on a worksheet that has one of everything; it stands in the tests and is found as the others are.
"""

import datetime as dt
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import calc.worksheets
from calc import readings, sheets
from calc.engine import VERSION
from calc.models import KeptSheet
from calc.worksheets import all_sheets, by_slug
from calc.worksheets.sheet import Verdict, answer
from intake.models import State
from shop import timeline
from shop.errors import NotAllowedYet
from tests.factories import (
    AccuracyFactory,
    GearFactory,
    JobFactory,
    KeptSheetFactory,
    MeterFactory,
    ReadingFactory,
)
from tests.safe import passed

ALONE = "/worksheets/trial-bias/"
TYPED = {
    "filled": "1",
    "bias": "fixed",
    "supply": "450",
    "tubes-count": "2",
    "tubes-1-current": "20",
    "tubes-2-current": "22 mA",
}


@pytest.fixture(autouse=True)
def trial() -> Iterator[calc.worksheets.Worksheet]:
    """The trial worksheet, as if its module lay beside the others."""
    folder = str(Path(__file__).parent / "trial")
    calc.worksheets.__path__.append(folder)
    all_sheets.cache_clear()
    yield by_slug("trial-bias")
    calc.worksheets.__path__.remove(folder)
    sys.modules.pop("calc.worksheets.trial_bias", None)
    all_sheets.cache_clear()


def on(job, *more):
    return "/".join(["", "job", job.claim, "worksheets", "trial-bias", *more, ""])


def page(tablet, address, data=None):
    answer = tablet.get(address, data)
    assert answer.status_code == 200
    return answer.content.decode()


def part(tablet, address, data=None):
    answer = tablet.part(address, data)
    assert answer.status_code == 200
    return answer.content.decode()


def values(html):
    """What stands in the boxes of a page: a name to its text."""
    found = dict(re.findall(r'<input type="text" name="([^"]+)" id="[^"]+" value="([^"]*)"', html))
    found |= dict(re.findall(r'<input type="hidden" name="([a-z]+-count)" value="([^"]*)"', html))
    return found


def keep(tablet, job, typed=TYPED, **more):
    return tablet.send(on(job, "keep"), {**typed, "when": "before", **more})


def kept_on(job, by, trial, when="before", **more):
    return sheets.keep(job, sheet=trial, said={**TYPED, **more}, when=when, by=by)


# --- the list, and a worksheet alone


def test_every_worksheet_is_on_the_list_in_its_order(as_counter):
    html = page(as_counter, "/worksheets/")
    places = [html.index(f'href="/worksheets/{sheet.slug}/"') for sheet in all_sheets()]
    assert places == sorted(places)
    assert by_slug("trial-bias").said in html
    assert 'href="/meters/"' in html


def test_a_worksheet_opens_with_its_cautions_and_what_stands_in_its_boxes_at_first(as_bench):
    html = page(as_bench, ALONE)
    assert "The trial caution of the page." in html
    assert "Do this." in html
    assert 'value="fixed" checked' in html
    assert values(html)["tubes-count"] == "2"
    assert "Fill in the boxes, and the answer stands here." in html
    assert "field-wrong" in html


def test_what_is_filled_in_is_answered_with_words_figures_and_a_picture(as_bench):
    html = page(as_bench, ALONE, TYPED)
    assert "The tubes take 18.9 W." in html
    assert "of 25 W" in html
    assert 'aria-label="A line that rises."' in html
    assert "The trial note." in html
    assert "fine" in html
    assert values(html)["tubes-2-current"] == "22 mA"


def test_what_is_out_of_limits_says_so_in_words(as_bench):
    html = page(as_bench, ALONE, {**TYPED, "tubes-1-current": "50"})
    assert "too much" in html
    assert "out of limits" in html
    assert "The trial caution of the answer." in html


def test_while_somebody_types_only_the_answer_comes_with_the_words_beside_the_boxes(as_bench):
    html = part(as_bench, f"{ALONE}answer/", {**TYPED, "tubes-2-current": "lots"})
    assert html.lstrip().startswith('<section class="panel answer" id="answer"')
    assert "<form" not in html
    assert 'id="wrong-tubes-2-current" hx-swap-oob="true"><svg' in html
    assert "can&#x27;t be read as amperes" in html
    assert 'id="wrong-supply" hx-swap-oob="true"></p>' in html


def test_an_empty_box_is_not_called_wrong_yet(as_bench):
    html = part(as_bench, f"{ALONE}answer/", {**TYPED, "supply": ""})
    assert "Fill in the boxes" in html
    assert 'id="wrong-supply" hx-swap-oob="true"></p>' in html


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [({"supply": "13"}, "Nobody builds a supply of 13 V"), ({"name": "nobody"}, "Say whose it is.")],
)
def test_what_the_computation_refuses_stands_in_the_answer(as_bench, typed, sentence):
    assert sentence in part(as_bench, f"{ALONE}answer/", {**TYPED, **typed})
    assert sentence in page(as_bench, ALONE, {**TYPED, **typed})


def test_boxes_come_and_go_with_what_they_hang_on(as_bench):
    html = part(as_bench, ALONE, {**TYPED, "grid": "-40"})
    assert 'name="grid"' in html
    assert 'name="henries"' in html
    assert 'name="resistor"' not in html
    html = part(as_bench, ALONE, {**TYPED, "bias": "cathode"})
    assert 'name="resistor"' in html
    assert 'name="grid"' not in html
    assert 'name="henries"' not in html
    assert values(html)["supply"] == "450"


def test_rows_are_added_and_left_out_and_what_was_typed_stays(as_bench):
    html = part(as_bench, ALONE, {**TYPED, "more": "tubes"})
    assert values(html)["tubes-count"] == "3"
    assert values(html)["tubes-3-current"] == ""
    assert values(html)["tubes-2-current"] == "22 mA"
    html = part(as_bench, ALONE, {**TYPED, "fewer": "tubes"})
    assert values(html)["tubes-count"] == "1"
    assert "tubes-2-current" not in values(html)
    assert "The tubes take 9.00 W." in html


def test_there_are_no_buttons_for_more_rows_than_a_worksheet_has(as_bench):
    html = part(as_bench, ALONE, {**TYPED, "tubes-count": "4", "more": "tubes"})
    assert values(html)["tubes-count"] == "4"
    assert 'name="more"' not in html
    html = part(as_bench, ALONE, {**TYPED, "tubes-count": "1", "fewer": "tubes"})
    assert values(html)["tubes-count"] == "1"
    assert 'name="fewer"' not in html


def test_the_address_of_a_worksheet_holds_what_was_typed_and_nothing_else(as_bench):
    answer = as_bench.part(f"{ALONE}answer/", {**TYPED, "evil": "x", "grid": ""})
    assert answer["HX-Replace-Url"].startswith(f"{ALONE}?filled=1")
    assert "supply=450" in answer["HX-Replace-Url"]
    assert "evil" not in answer["HX-Replace-Url"]
    assert "The tubes take 18.9 W." in page(as_bench, answer["HX-Replace-Url"])


def test_the_meters_uncertainty_goes_to_what_was_measured(as_bench):
    meter = AccuracyFactory(unit="A", percent=5, always=0).meter
    html = page(as_bench, ALONE, {**TYPED, "meter": meter.pk})
    assert "18.9 ± 0.7 W" in html
    assert f'<option value="{meter.pk}" selected>' in html


def test_a_meter_whose_calibration_ran_out_is_offered_with_that_word(as_bench):
    today = timezone.localdate()
    MeterFactory(name="Old meter", calibrated_on=None, due_on=today - dt.timedelta(days=1))
    MeterFactory(name="Good meter", calibrated_on=None, due_on=today)
    html = page(as_bench, ALONE)
    assert ">Old meter: ▲ its calibration was due " in html
    assert ">Good meter</option>" in html


@pytest.mark.parametrize("meter", ["", "0", "x", "99999999999999", "٣"])
def test_a_meter_that_isnt_there_is_none(as_bench, meter):
    AccuracyFactory(unit="A")
    assert "The tubes take 18.9 W." in page(as_bench, ALONE, {**TYPED, "meter": meter})


@pytest.mark.parametrize("address", ["/worksheets/nothing/", "/worksheets/sheet/", "/worksheets/chart/"])
def test_what_is_no_worksheet_is_not_found(as_bench, address):
    assert as_bench.get(address).status_code == 404


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    typed=st.dictionaries(
        st.sampled_from([*TYPED, "meter", "more", "fewer", "grid", "resistor", "name", "x"]),
        st.one_of(st.text(max_size=60), st.sampled_from(["0", "-1", "1e9", "tubes", "cathode", "9" * 30])),
    )
)
def test_hostile_worksheets_get_words_and_never_an_error(as_bench, typed):
    for address in (ALONE, f"{ALONE}answer/"):
        assert as_bench.get(address, {**TYPED, **typed}).status_code == 200


# --- what fills its boxes on a job


def test_on_a_job_the_readings_are_filled_in(as_bench, bench):
    job = passed(JobFactory(), bench)
    for point, written, unit in (
        ("Reservoir, standby off", "455", "V"),
        ("Reservoir", "458", "V"),  # the later one
        ("Reservoir", "62", "A"),  # another unit
        ("Cathode 1", "35 mA", "A"),
        ("cathode 02", "36 mA", "A"),
        ("Cathode, V4", "99 mA", "A"),  # a tube's name is no number of a row
        ("Cathode 9", "98 mA", "A"),  # so many there aren't
    ):
        readings.take(job, point=point, written=written, unit=unit, when="before", powered=True, by=bench)
    filled = values(page(as_bench, on(job)))
    assert filled["supply"] == "458"
    assert (filled["tubes-1-current"], filled["tubes-2-current"], filled["tubes-count"]) == (
        "35 mA",
        "36 mA",
        "2",
    )


def test_there_are_as_many_rows_as_readings(as_bench, bench):
    job = passed(JobFactory(), bench)
    readings.take(job, point="Cathode 4", written="35 mA", unit="A", when="before", powered=True, by=bench)
    assert values(page(as_bench, on(job)))["tubes-count"] == "4"


def test_a_struck_reading_fills_nothing(as_bench, bench):
    reading = ReadingFactory(point="Reservoir", written="458", unit="V", by=bench)
    readings.strike(reading, by=bench)
    assert values(page(as_bench, on(reading.job)))["supply"] == ""


def test_what_was_typed_is_not_written_over_by_readings(as_bench, bench):
    job = ReadingFactory(point="Reservoir", written="458", unit="V", by=bench).job
    assert values(page(as_bench, on(job), TYPED))["supply"] == "450"


def test_the_circuit_of_an_earlier_visit_is_filled_in_and_its_readings_are_not(as_bench, bench, trial):
    gear = GearFactory()
    earlier = JobFactory(gear=gear)
    kept_on(earlier, bench, trial, grid="-42", capacitor="22", name="Dana")
    html = page(as_bench, on(JobFactory(gear=gear)))
    filled = values(html)
    assert (filled["grid"], filled["capacitor"], filled["tubes-count"]) == ("-42", "22", "2")
    assert filled["supply"] == filled["tubes-1-current"] == ""
    assert f"what was kept on {earlier.claim}" in html


def test_on_the_same_job_everything_is_filled_in_for_the_second_half_of_a_comparison(as_bench, bench, trial):
    job = JobFactory()
    kept_on(job, bench, trial, grid="-42")
    assert values(page(as_bench, on(job)))["supply"] == "450"


def test_another_of_the_same_model_has_the_same_circuit(as_bench, bench, trial):
    kept_on(JobFactory(gear__maker="Corvane", gear__model="Harbor 22"), bench, trial, grid="-42")
    alike = JobFactory(gear__maker="corvane", gear__model="HARBOR 22")
    assert values(page(as_bench, on(alike)))["grid"] == "-42"
    other = JobFactory(gear__maker="Corvane", gear__model="Meridian 50")
    assert values(page(as_bench, on(other)))["grid"] == ""
    nameless = JobFactory(gear__maker="", gear__model="")
    assert values(page(as_bench, on(nameless)))["grid"] == ""


def test_ones_own_earlier_visit_comes_before_another_of_the_model(as_bench, bench, trial):
    gear = GearFactory(maker="Corvane", model="Harbor 22")
    kept_on(JobFactory(gear=gear), bench, trial, grid="-42")
    kept_on(JobFactory(gear__maker="Corvane", gear__model="Harbor 22"), bench, trial, grid="-50")
    assert values(page(as_bench, on(JobFactory(gear=gear))))["grid"] == "-42"


def test_a_struck_worksheet_fills_nothing(as_bench, bench, trial):
    gear = GearFactory()
    sheets.strike(kept_on(JobFactory(gear=gear), bench, trial, grid="-42"), by=bench)
    assert values(page(as_bench, on(JobFactory(gear=gear))))["grid"] == ""


# --- keeping it


def test_what_is_kept_is_read_once_more_first(as_bench):
    html = page(as_bench, on(JobFactory(), "keep"), TYPED)
    assert "The tubes take 18.9 W." in html
    assert "Before the repair" in html
    assert '<input type="hidden" name="tubes-2-current" value="22 mA">' in html
    assert not KeptSheet.objects.exists()


def test_a_worksheet_is_kept_with_what_was_typed_what_it_answered_and_the_engines_version(as_bench, bench):
    job, meter = JobFactory(), MeterFactory()
    answer = keep(as_bench, job, note="Cold", meter=str(meter.pk), evil="x")
    kept = job.sheets.get()
    assert answer["Location"] == f"/kept-worksheet/{kept.pk}/"
    assert kept.said == {k: v for k, v in TYPED.items() if k != "filled"}
    assert kept.answer["said"] == "The tubes take 18.9 W."
    assert (kept.verdict, kept.engine, kept.when, kept.note, kept.meter, kept.by) == (
        "good",
        VERSION,
        "before",
        "Cold",
        meter,
        bench,
    )
    entry = timeline.of(job).get()
    assert entry.words == "kept a worksheet: Trial bias"
    assert entry.changes[0]["after"] == "The tubes take 18.9 W."


def test_the_answer_reads_back_as_it_was_kept(bench, trial):
    kept = kept_on(JobFactory(), bench, trial)
    kept.refresh_from_db()
    _, fresh = answer(trial, TYPED)
    assert sheets.answer_of(kept) == fresh
    assert sheets.answer_of(kept).verdict is Verdict.GOOD


def test_the_page_of_a_kept_one_shows_answer_picture_and_boxes(as_counter, bench, trial):
    kept = kept_on(JobFactory(), bench, trial)
    html = page(as_counter, f"/kept-worksheet/{kept.pk}/")
    for words in (
        "The tubes take 18.9 W.",
        "A line that rises.",
        "Tube 2, Current",
        "22 mA",
        "450 V",
        "Fixed",
    ):
        assert words in html
    assert "Strike it out" not in html  # the counter strikes nothing


@pytest.mark.parametrize("typed", [{"supply": ""}, {"supply": "lots"}, {"supply": "13"}, {"bias": ""}])
def test_what_has_no_answer_is_not_kept_and_nothing_typed_is_lost(as_bench, bench, trial, typed):
    job = JobFactory()
    answer = keep(as_bench, job, {**TYPED, **typed})
    assert answer.status_code == 422
    assert values(answer.content.decode())["tubes-2-current"] == "22 mA"
    with pytest.raises(NotAllowedYet, match="kept yet"):
        kept_on(job, bench, trial, **typed)
    assert not job.sheets.exists()


def test_when_it_was_measured_must_be_said(as_bench):
    job = JobFactory()
    answer = as_bench.send(on(job, "keep"), {**TYPED, "note": "Cold"})
    assert answer.status_code == 422
    assert "Cold" in answer.content.decode()
    assert not job.sheets.exists()


def test_the_same_tap_twice_keeps_one(as_bench):
    job = JobFactory()
    first, second = (keep(as_bench, job, once="k" * 24) for _ in range(2))
    assert first["Location"] == second["Location"]
    assert job.sheets.count() == 1


def test_a_job_that_is_over_keeps_no_more(as_bench, bench, trial):
    job = JobFactory(state=State.COLLECTED)
    assert "Keep it on the job" not in page(as_bench, on(job), TYPED)
    answer = keep(as_bench, job)
    assert answer.status_code == 422
    assert not job.sheets.exists()


def test_the_counter_looks_and_keeps_nothing(as_counter):
    job = JobFactory()
    html = page(as_counter, on(job), TYPED)
    assert "The tubes take 18.9 W." in html
    assert "Keep it on the job" not in html
    assert keep(as_counter, job).status_code == 403


def test_the_pad_sees_no_worksheet(as_pad):
    assert as_pad.get("/worksheets/").status_code == 403


# --- a wrong one


def test_a_wrong_one_is_struck_out_once_and_stays_readable(as_bench, bench, trial):
    kept = kept_on(JobFactory(), bench, trial)
    for _ in range(2):
        assert as_bench.send(f"/kept-worksheet/{kept.pk}/strike/").status_code == 302
    assert KeptSheet.objects.filter(strikes=kept).count() == 1
    assert not kept.job.sheets.standing().exists()
    html = page(as_bench, f"/kept-worksheet/{kept.pk}/")
    assert "This worksheet was struck out." in html
    assert "The tubes take 18.9 W." in html
    striking = KeptSheet.objects.get(strikes=kept)
    assert as_bench.get(f"/kept-worksheet/{striking.pk}/").status_code == 404


def test_nothing_is_struck_on_a_job_that_is_over(bench):
    kept = KeptSheetFactory(job=JobFactory(state=State.COLLECTED), by=bench)
    with pytest.raises(NotAllowedYet):
        sheets.strike(kept, by=bench)


def test_a_kept_worksheet_is_never_changed_or_deleted(bench):
    kept = KeptSheetFactory(by=bench)
    with pytest.raises(TypeError):
        kept.save()
    with pytest.raises(TypeError):
        kept.delete()


# --- before and after


def test_before_and_after_stand_side_by_side_the_earlier_one_first(as_bench, bench, trial):
    job = JobFactory()
    before = kept_on(job, bench, trial, **{"tubes-1-current": "60"})
    after = kept_on(job, bench, trial, when="after", name="Dana")
    assert f"/kept-worksheet/{after.pk}/beside/{before.pk}/" in page(as_bench, f"/kept-worksheet/{after.pk}/")
    answer = as_bench.get(f"/kept-worksheet/{after.pk}/beside/{before.pk}/")
    compared = answer.context["compared"]
    assert [(p.label, p.first, p.second, p.differs) for p in compared.lines] == [
        ("Power", "36.9 W", "18.9 W", True),
        ("Supply", "450 V", "450 V", False),
    ]
    assert (compared.lines[0].first_verdict, compared.lines[0].second_verdict) == ("bad", "good")
    assert [(p.label, p.first, p.second) for p in compared.boxes] == [
        ("Whose", "", "Dana"),
        ("Tube 1, Current", "60 mA", "20 mA"),
    ]


def test_only_worksheets_of_one_kind_stand_side_by_side(as_bench, bench, trial):
    one, other = kept_on(JobFactory(), bench, trial), KeptSheetFactory(by=bench)
    assert as_bench.get(f"/kept-worksheet/{one.pk}/beside/{other.pk}/").status_code == 404


def test_the_same_worksheet_of_an_earlier_visit_is_offered_to_compare(as_bench, bench, trial):
    gear = GearFactory()
    earlier = kept_on(JobFactory(gear=gear), bench, trial)
    stranger = kept_on(JobFactory(), bench, trial)
    now = kept_on(JobFactory(gear=gear), bench, trial)
    html = page(as_bench, f"/kept-worksheet/{now.pk}/")
    assert f"/beside/{earlier.pk}/" in html
    assert f"/beside/{stranger.pk}/" not in html


# --- a worksheet that is no more


def test_what_was_kept_with_a_worksheet_that_is_gone_can_still_be_read(as_bench, bench):
    one, two = (KeptSheetFactory(slug="long-gone", by=bench) for _ in range(2))
    assert "No pass yet." in page(as_bench, f"/kept-worksheet/{one.pk}/")
    assert as_bench.get(f"/kept-worksheet/{one.pk}/beside/{two.pk}/").status_code == 200
    assert "long-gone" in page(as_bench, f"/job/{one.job.claim}/worksheets/")
    assert as_bench.get(f"/job/{one.job.claim}/worksheets/paper/?view=html").status_code == 200
    assert as_bench.send(f"/kept-worksheet/{one.pk}/strike/").status_code == 302


# --- on the job, and on paper


def test_the_jobs_list_and_its_paper_leave_out_what_was_struck(as_bench, bench, trial):
    job = JobFactory()
    kept_on(job, bench, trial)
    sheets.strike(kept_on(job, bench, trial, **{"tubes-1-current": "60"}), by=bench)
    for address in (f"/job/{job.claim}/worksheets/", f"/job/{job.claim}/worksheets/paper/?view=html"):
        html = page(as_bench, address)
        assert "The tubes take 18.9 W." in html
        assert "36.9 W" not in html


def test_the_paper_is_a_pdf_with_its_picture(as_bench, bench, trial):
    job = JobFactory()
    kept_on(job, bench, trial)
    html = page(as_bench, f"/job/{job.claim}/worksheets/paper/?view=html")
    assert "A line that rises." in html
    assert "22 mA" in html
    answer = as_bench.get(f"/job/{job.claim}/worksheets/paper/")
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")


def test_a_job_without_worksheets_says_so(as_bench):
    job = JobFactory()
    assert "No worksheet was kept yet." in page(as_bench, f"/job/{job.claim}/worksheets/")
    assert "No worksheet was kept" in page(as_bench, f"/job/{job.claim}/worksheets/paper/?view=html")


def test_the_bench_sees_the_worksheets_on_the_jobs_page(as_bench, bench, trial):
    kept = kept_on(JobFactory(), bench, trial)
    html = page(as_bench, f"/job/{kept.job.claim}/")
    assert 'id="worksheets"' in html
    assert f'href="/kept-worksheet/{kept.pk}/"' in html
    assert f'href="/job/{kept.job.claim}/worksheets/trial-bias/"' in html


@pytest.mark.parametrize("where", ["worksheets/", "worksheets/paper/?view=html", ""])
def test_pages_take_as_many_queries_with_many_as_with_few(as_bench, bench, trial, where):
    few, many = JobFactory(), JobFactory()
    kept_on(few, bench, trial)
    for _ in range(6):
        kept_on(many, bench, trial)
    as_bench.get(f"/job/{few.claim}/{where}")

    def asked(job):
        with CaptureQueriesContext(connection) as took:
            page(as_bench, f"/job/{job.claim}/{where}")
        return len(took)

    assert asked(few) == asked(many)


def test_a_worksheet_takes_as_many_queries_whatever_was_kept_before(as_bench, bench, trial):
    few, many = passed(JobFactory(), bench), passed(JobFactory(), bench)
    for job, times in ((few, 1), (many, 6)):
        for _ in range(times):
            kept_on(job, bench, trial)
            readings.take(
                job, point="Reservoir", written="450", unit="V", when="before", powered=True, by=bench
            )
    as_bench.get(on(few))

    def asked(job):
        with CaptureQueriesContext(connection) as took:
            page(as_bench, on(job))
        return len(took)

    assert asked(few) == asked(many)
