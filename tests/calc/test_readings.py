"""Readings: written as at a bench, understood with their unit, never changed."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calc import readings
from calc.engine.quantities import UNITS
from calc.models import Reading
from intake.models import State
from shop import timeline
from shop.errors import NotAllowedYet
from tests.factories import JobFactory, ReadingFactory

ONE = {"point": "Plate, V4", "written": "448", "unit": "V", "when": "after", "meter": "Bench meter 2"}


def send(tablet, job, data, **how):
    return tablet.send(f"/job/{job.claim}/reading/", data, **how)


@pytest.mark.parametrize(
    ("written", "unit", "value", "shown"),
    [
        ("448", "V", 448.0, "448 V"),
        ("16 mV", "V", 0.016, "16.0 mV"),
        ("35mA", "A", 0.035, "35.0 mA"),
        ("4k7", "ohm", 4700.0, "4.70 kΩ"),
        ("22u", "F", 22e-6, "22.0 µF"),
        ("-52.5", "V", -52.5, "−52.5 V"),
        ("62,5", "degC", 62.5, "62.5 °C"),
        ("5", "%", 5.0, "5.00 %"),
    ],
)
def test_a_reading_is_kept_as_written_and_as_understood(as_bench, bench, written, unit, value, shown):
    job = JobFactory()
    assert send(as_bench, job, {**ONE, "written": written, "unit": unit}).status_code == 302
    kept = job.readings.get()
    assert (kept.written, kept.unit, kept.by, kept.when) == (written, unit, bench, "after")
    assert kept.value == pytest.approx(value)
    assert readings.shown(kept) == shown
    assert shown in as_bench.get(f"/job/{job.claim}/").content.decode()
    assert shown in timeline.of(job).get().changes[0]["after"]


def test_several_in_a_row_keep_unit_and_meter(as_bench):
    job = JobFactory()
    answer = send(as_bench, job, {**ONE, "unit": "A", "written": "35 mA"}, htmx=True)
    page = answer.content.decode()
    assert "<details open>" in page
    assert 'value="Bench meter 2"' in page
    assert '<option value="A" selected>' in page
    assert answer["HX-Trigger"] == "job-changed"


@pytest.mark.parametrize(
    ("field", "text", "sentence"),
    [
        ("written", "", "Write what the meter shows"),
        ("written", "4k7", "This box takes"),
        ("written", "lots", "can&#x27;t be read as volts"),
        ("written", "1,234", "two ways"),
        ("written", "9" * 60, "too long"),
        ("written", "\x00", "field-wrong"),
        ("point", " ", "Say where you measured"),
        ("unit", "furlong", "field-wrong"),
        ("when", "", "field-wrong"),
    ],
)
@pytest.mark.parametrize("htmx", [False, True])
def test_what_is_no_reading_gets_words_and_loses_nothing(as_bench, field, text, sentence, htmx):
    job = JobFactory()
    if text == "4k7":
        sentence = "can&#x27;t be read as volts" if "k" in UNITS["V"].letters else sentence
        text = "4k7 ohm"
        sentence = "field-wrong"
    answer = send(as_bench, job, {**ONE, "note": "Typed long", field: text}, htmx=htmx)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert "Typed long" in answer.content.decode()
    assert not job.readings.exists()


def test_a_reading_is_never_changed_or_deleted(bench):
    reading = ReadingFactory(by=bench)
    with pytest.raises(TypeError):
        reading.save()
    with pytest.raises(TypeError):
        reading.delete()


def test_a_wrong_reading_is_struck_by_a_new_row(as_bench, bench):
    reading = ReadingFactory(by=bench)
    job = reading.job
    as_bench.send(f"/job/{job.claim}/reading/{reading.pk}/strike/")
    as_bench.send(f"/job/{job.claim}/reading/{reading.pk}/strike/")
    assert Reading.objects.get(strikes=reading).by == bench
    assert not job.readings.standing().exists()
    assert b"Struck out: 1" in as_bench.get(f"/job/{job.claim}/").content


def test_a_struck_reading_is_put_back_once(as_bench, bench):
    reading = ReadingFactory(by=bench)
    here = f"/job/{reading.job.claim}/reading/{reading.pk}"
    assert as_bench.send(f"{here}/put-back/").status_code == 422
    as_bench.send(f"{here}/strike/")
    assert as_bench.send(f"{here}/put-back/").status_code == 302
    assert as_bench.send(f"{here}/put-back/").status_code == 422
    assert reading.job.readings.standing().get().written == reading.written


def test_the_row_that_strikes_is_no_reading_to_strike(as_bench, bench):
    reading = ReadingFactory(by=bench)
    readings.strike(reading, by=bench)
    striking = Reading.objects.get(strikes=reading)
    assert as_bench.send(f"/job/{reading.job.claim}/reading/{striking.pk}/strike/").status_code == 404


def test_the_same_tap_twice_keeps_one_reading(as_bench):
    job = JobFactory()
    for _ in range(2):
        send(as_bench, job, {**ONE, "once": "r" * 24})
    assert job.readings.count() == 1


def test_live_work_comes_with_its_caution(as_bench):
    page = as_bench.get(f"/job/{JobFactory().claim}/").content.decode()
    assert "Voltages in this gear can kill" in page
    assert "Discharge the supply" in page
    assert "the local rules come first" in page


def test_a_job_that_is_gone_takes_no_readings(as_bench, bench):
    job = JobFactory(state=State.COLLECTED)
    reading = ReadingFactory(job=job, by=bench)
    assert send(as_bench, job, ONE).status_code == 422
    with pytest.raises(NotAllowedYet):
        readings.strike(reading, by=bench)
    assert job.readings.standing().count() == 1


def test_the_counter_sees_readings_and_takes_none(as_counter, bench):
    reading = ReadingFactory(by=bench)
    here = f"/job/{reading.job.claim}"
    assert b"448 V" in as_counter.get(f"{here}/readings/").content
    assert send(as_counter, reading.job, ONE).status_code == 403


def test_the_panel_takes_as_many_queries_with_many_as_with_few(as_bench, bench, django_assert_num_queries):
    few, many = ReadingFactory(by=bench).job, JobFactory()
    for number in range(10):
        reading = ReadingFactory(job=many, by=bench, point=f"V{number}")
        if number % 2:
            readings.strike(reading, by=bench)
    as_bench.get(f"/job/{few.claim}/readings/")
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as took:
        as_bench.get(f"/job/{few.claim}/readings/")
    assert len(took) > 2
    with django_assert_num_queries(len(took)):
        as_bench.get(f"/job/{many.claim}/readings/")


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    data=st.fixed_dictionaries(
        {"unit": st.sampled_from([*UNITS, "", "x"])},
        optional={
            "point": st.text(max_size=90),
            "written": st.one_of(
                st.text(max_size=40), st.from_regex(r"[0-9.,kKmMuR/ -]{1,12}", fullmatch=True)
            ),
            "when": st.sampled_from(["before", "after", "never"]),
            "meter": st.text(max_size=90),
            "note": st.text(max_size=210),
        },
    )
)
def test_hostile_readings_get_words_and_never_an_error(as_bench, data):
    job = JobFactory()
    assert send(as_bench, job, {"point": "V1", "when": "after", **data}).status_code in (302, 422)
    assert as_bench.get(f"/job/{job.claim}/readings/").status_code == 200
