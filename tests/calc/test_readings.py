"""Readings: written as at a bench, understood with their unit, under power or not, never changed."""

import datetime as dt

import pytest
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calc import readings
from calc.engine.quantities import UNITS
from calc.models import Reading
from intake.models import State
from shop import timeline
from shop.errors import NotAllowedYet
from tests.factories import AccuracyFactory, JobFactory, MeterFactory, ReadingFactory
from tests.safe import passed

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
    job = passed(JobFactory(), bench)
    before = timeline.of(job).count()
    assert send(as_bench, job, {**ONE, "written": written, "unit": unit}).status_code == 302
    kept = job.readings.get()
    assert (kept.written, kept.unit, kept.by, kept.when) == (written, unit, bench, "after")
    assert kept.value == pytest.approx(value)
    assert readings.shown(kept) == shown
    assert shown in as_bench.get(f"/job/{job.claim}/").content.decode()
    assert timeline.of(job).count() == before + 1
    assert shown in timeline.of(job)[0].changes[0]["after"]


def test_several_in_a_row_keep_unit_and_meter(as_bench, bench):
    job = passed(JobFactory(), bench)
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


def test_the_same_tap_twice_keeps_one_reading(as_bench, bench):
    job = passed(JobFactory(), bench)
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
    meter = AccuracyFactory(unit="V").meter
    few, many = ReadingFactory(by=bench, with_meter=meter).job, JobFactory()
    for number in range(10):
        meter = AccuracyFactory(unit="V").meter
        reading = ReadingFactory(job=many, by=bench, point=f"V{number}", with_meter=meter, meter=meter.name)
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
            "with_meter": st.one_of(st.text(max_size=9), st.just("another")),
            "powered": st.sampled_from(["on", "off", "maybe", ""]),
            "note": st.text(max_size=210),
        },
    )
)
def test_hostile_readings_get_words_and_never_an_error(as_bench, data):
    job = JobFactory()
    assert send(as_bench, job, {"point": "V1", "when": "after", **data}).status_code in (302, 422)
    assert as_bench.get(f"/job/{job.claim}/readings/").status_code == 200


# --- under power, or not

COLD = {**ONE, "written": "4k7", "unit": "ohm"}


@pytest.mark.parametrize("unit", ["V", "A", "W", "VA", "Hz"])
@pytest.mark.parametrize("said", ["", "on"])
@pytest.mark.parametrize("htmx", [False, True])
def test_nothing_is_read_under_power_before_its_list_is_passed(as_bench, bench, unit, said, htmx):
    """29 CFR 1910.333(a)(1): live parts are de-energised before work unless there is no other way."""
    job = JobFactory()
    live = {**ONE, "written": "20", "unit": unit, "powered": said, "note": "Typed long"}
    answer = send(as_bench, job, live, htmx=htmx)
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "Before power" in html
    assert f'href="/job/{job.claim}/lists/"' in html
    assert "Typed long" in html
    assert not job.readings.exists()
    passed(job, bench)
    assert send(as_bench, job, live, htmx=htmx).status_code in (200, 302)
    assert job.readings.get().powered


def test_what_is_read_with_the_power_off_needs_no_list(as_bench):
    job = JobFactory()
    assert send(as_bench, job, COLD).status_code == 302
    assert send(as_bench, job, {**ONE, "written": "0.8", "powered": "off"}).status_code == 302
    assert not job.readings.filter(powered=True).exists()
    assert "power off" in as_bench.get(f"/job/{job.claim}/readings/").content.decode()


@pytest.mark.parametrize("unit", ["A", "W", "VA", "Hz"])
def test_a_current_is_never_read_with_the_power_off(as_bench, bench, unit):
    job = passed(JobFactory(), bench)
    answer = send(as_bench, job, {**ONE, "written": "2", "unit": unit, "powered": "off"})
    assert answer.status_code == 422
    assert "read under power" in answer.content.decode()


@pytest.mark.parametrize(("written", "status"), [("50", 302), ("50.1", 422), ("-300", 422), ("0.4 kV", 422)])
def test_more_than_50_volts_with_the_power_off_is_no_reading_but_a_charge(as_bench, bench, written, status):
    """29 CFR 1910.333(a)(1) names 50 V to ground."""
    job = passed(JobFactory(), bench)
    answer = send(as_bench, job, {**ONE, "written": written, "powered": "off"})
    assert answer.status_code == status
    assert ("Discharge it" in answer.content.decode()) == (status == 422)
    assert send(as_bench, job, {**ONE, "written": written, "powered": "on"}).status_code == 302


# --- the meter, and how sure it is


def test_every_reading_names_its_meter(as_bench):
    job = JobFactory()
    answer = send(as_bench, job, {**COLD, "meter": ""})
    assert answer.status_code == 422
    assert "Pick the meter" in answer.content.decode()


def test_the_shop_s_meters_are_offered_the_last_used_first_and_those_put_away_are_not(as_bench, bench):
    one, two, away = (MeterFactory(name=f"Meter {name}") for name in ("one", "two", "away"))
    away.is_here = False
    away.save()
    ReadingFactory(with_meter=two, by=bench)
    job = JobFactory()
    html = as_bench.get(f"/job/{job.claim}/readings/").content.decode()
    assert html.index(">Meter two</option>") < html.index(">Meter one</option>")
    assert "Meter away" not in html
    assert send(as_bench, job, {**COLD, "meter": "", "with_meter": away.pk}).status_code == 422
    assert send(as_bench, job, {**COLD, "meter": "", "with_meter": one.pk}).status_code == 302
    kept = job.readings.get()
    assert (kept.with_meter, kept.meter, kept.meter_due_on) == (one, one.name, one.due_on)
    assert f'<option value="{one.pk}" selected>' in as_bench.get(f"/job/{job.claim}/").content.decode()


def test_a_meter_of_the_shop_called_by_its_name_is_that_meter(as_bench):
    meter, job = MeterFactory(name="Bench meter 7"), JobFactory()
    send(as_bench, job, {**COLD, "meter": "bench METER 7", "with_meter": "another"})
    assert job.readings.get().with_meter == meter


@pytest.mark.parametrize(("late", "flagged"), [(1, True), (0, False)])
def test_a_meter_out_of_calibration_is_flagged_where_it_is_picked_and_on_its_readings(
    as_bench, late, flagged
):
    meter = MeterFactory(due_on=timezone.localdate() - dt.timedelta(days=late), calibrated_on=None)
    job = JobFactory()
    here = f"/job/{job.claim}/readings/"
    offered = as_bench.get(here).content.decode()
    assert ("calibration due since" in offered) == flagged
    assert ('<span class="verdict bad">' in offered) == flagged
    send(as_bench, job, {**COLD, "with_meter": meter.pk})
    assert job.readings.get().meter_was_due == flagged
    assert ("meter out of calibration" in as_bench.get(here).content.decode()) == flagged


def test_a_reading_stays_flagged_when_its_meter_is_calibrated_later(as_bench, bench):
    today = timezone.localdate()
    meter = MeterFactory(due_on=today - dt.timedelta(days=1), calibrated_on=None)
    job = JobFactory()
    readings.take(job, point="R1", written="4k7", unit="ohm", when="before", with_meter=meter, by=bench)
    meter.due_on = today + dt.timedelta(days=365)
    meter.save()
    assert "meter out of calibration" in as_bench.get(f"/job/{job.claim}/").content.decode()


@pytest.mark.parametrize(
    ("written", "shown"), [("470", "470 ± 14 Ω"), ("470 ± 3", "470 ± 3 Ω"), ("470 ± 1 %", "470 ± 5 Ω")]
)
def test_the_list_shows_how_sure_a_reading_is(as_bench, written, shown):
    """The ± beside the value counts; without one, the meter's 3 % and 10 mΩ of 470 Ω."""
    meter, job = AccuracyFactory(unit="ohm", percent=3, always=0.01).meter, JobFactory()
    assert send(as_bench, job, {**COLD, "written": written, "with_meter": meter.pk}).status_code == 302
    assert shown in as_bench.get(f"/job/{job.claim}/").content.decode()
