"""The shop's meters: how sure each is, when its calibration runs out, in use and out of use."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calc import meters
from calc.engine.quantities import UNITS, parse_quantity
from calc.meters import Calibration
from calc.models import Accuracy, Meter
from shop import timeline
from tests.factories import AccuracyFactory, KeptSheetFactory, MeterFactory

ONE = {
    "name": "Bench meter 1",
    "calibrated_on": "2026-03-02",
    "due_on": "2027-03-02",
    "percent-V": "0.5",
    "always-V": "300 mV",
    "percent-ohm": "1",
    "always-F": "1n",
}


def opened_on(tablet, meter):
    """What the page of a meter sends along from when it was opened."""
    form = tablet.get(f"/meters/{meter.pk}/").context["form"]
    said = {field.name: str(field.value() or "") for field in form.visible_fields()}
    return {**said, "opened_with": form["opened_with"].value()}


# --- the verbs


@pytest.mark.parametrize(
    ("due", "standing"),
    [
        (None, Calibration.UNKNOWN),
        (-1, Calibration.OVERDUE),
        (0, Calibration.SOON),  # the day itself is still trusted
        (30, Calibration.SOON),
        (31, Calibration.FINE),
    ],
)
def test_a_calibration_holds_to_the_end_of_its_day(due, standing):
    today = dt.date(2026, 11, 25)
    day = None if due is None else today + dt.timedelta(days=due)
    assert meters.calibration(day, today) is standing


@pytest.mark.parametrize(
    ("unit", "percent", "always", "words"),
    [
        ("V", 0.5, 0.3, "0.5 % and 300 mV"),
        ("ohm", 1.0, 0.0, "1 %"),
        ("F", 0.0, 1e-9, "1 nF"),
        ("%", 2.0, 0.1, "2 % of the reading and 0.1 %"),
        ("degC", 0.0, 1.5, "1.5 °C"),
    ],
)
def test_how_sure_a_meter_is_reads_as_in_its_manual(unit, percent, always, words):
    assert meters.sure(Accuracy(unit=unit, percent=percent, always=always)) == words


@given(st.sampled_from(list(UNITS)), st.floats(1e-9, 1e6))
@settings(max_examples=50)
def test_what_is_always_there_reads_back(unit, value):
    text = meters.always_text(value, unit)
    assert parse_quantity(text, unit).magnitude == pytest.approx(value, rel=1e-5)


def test_a_meter_that_was_written_down_goes_to_what_is_measured(shop, bench):
    meter = meters.add(
        name="Bench meter 1", calibrated_on=None, due_on=None, accuracies={"V": (0.5, 0.3)}, by=bench
    )
    assert meters.accuracies(meter) == {"V": (0.5, 0.3)}
    assert timeline.of(meter).get().changes == [
        {"what": "name", "before": "", "after": "Bench meter 1"},
        {"what": "volts", "before": "", "after": "0.5 % and 300 mV"},
    ]


def test_what_did_not_change_is_not_told(shop, bench):
    meter = AccuracyFactory().meter
    same = {"name": meter.name, "calibrated_on": meter.calibrated_on, "due_on": meter.due_on}
    meters.change(meter, **same, accuracies={"ohm": (5.0, 0.01)}, by=bench)
    assert not timeline.of(meter).exists()
    meters.change(meter, **same, accuracies={"ohm": (4.0, 0.01)}, by=bench)
    assert timeline.of(meter).get().changes == [
        {"what": "ohms", "before": "5 % and 10 mΩ", "after": "4 % and 10 mΩ"}
    ]


# --- the pages


def test_a_meter_is_put_on_the_list(as_bench):
    assert as_bench.send("/meters/new/", ONE).headers["Location"] == "/meters/"
    meter = Meter.objects.get()
    assert {each.unit: (each.percent, each.always) for each in meter.accuracies.all()} == {
        "V": (0.5, 0.3),
        "ohm": (1.0, 0.0),
        "F": (0.0, 1e-9),
    }
    page = as_bench.get("/meters/").content.decode()
    assert "Bench meter 1" in page
    assert "± 0.5 % and 300 mV" in page
    assert "is on the list" in page


@pytest.mark.parametrize(
    ("days", "words"),
    [(-1, "calibration due"), (10, "due soon"), (100, "calibrated"), (None, "no day written")],
)
def test_the_list_says_how_it_stands_with_the_calibration(as_counter, days, words):
    today = timezone.localdate()
    MeterFactory(
        calibrated_on=None, due_on=None if days is None else today + dt.timedelta(days=days), name="A"
    )
    assert words in as_counter.get("/meters/").content.decode()


@pytest.mark.parametrize(
    ("field", "text", "sentence"),
    [
        ("name", "", "Say what it is called on the bench"),
        ("name", "Taken", "There is a meter of that name already"),
        ("calibrated_on", "2999-01-01", "still to come"),
        ("due_on", "2026-03-01", "before the day on which it was calibrated"),
        ("percent-V", "-1", "below zero"),
        ("percent-V", "101", "More than 100 %"),
        ("percent-V", "a lot", "read as per cent"),
        ("always-V", "2 ohm", "This box takes volts"),
        ("always-F", "22", "of what?"),
        ("always-ohm", "-0.2", "below zero"),
        ("always-H", "9" * 60, "too long"),
    ],
)
def test_what_cant_be_gets_words_and_loses_nothing(as_bench, field, text, sentence):
    MeterFactory(name="Taken")
    answer = as_bench.send("/meters/new/", {**ONE, field: text})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert sentence in page
    assert "300 mV" in page or field == "always-V"
    assert Meter.objects.count() == 1


def test_a_meter_is_never_exact(as_bench):
    answer = as_bench.send("/meters/new/", {**ONE, "percent-A": "0", "always-A": "0"})
    assert "No meter is exact" in answer.content.decode()
    assert answer.status_code == 422


def test_a_meter_is_changed_and_opened_again_as_it_is(as_bench):
    as_bench.send("/meters/new/", ONE)
    meter = Meter.objects.get()
    typed = opened_on(as_bench, meter)
    assert {name: typed[name] for name in ("percent-V", "always-V", "always-F", "percent-H")} == {
        "percent-V": "0.5",
        "always-V": "300 mV",
        "always-F": "1 nF",
        "percent-H": "",
    }
    done = as_bench.send(f"/meters/{meter.pk}/", {**typed, "percent-V": "0.8", "always-F": ""})
    assert done.status_code == 302
    assert dict(meter.accuracies.values_list("unit", "percent")) == {"V": 0.8, "ohm": 1.0}


def test_two_tablets_on_one_meter_are_asked_which_stays(as_bench, as_owner):
    meter = AccuracyFactory(meter__name="Bench meter 1").meter
    first, second = opened_on(as_bench, meter), opened_on(as_owner, meter)
    assert as_owner.send(f"/meters/{meter.pk}/", {**second, "percent-ohm": "2"}).status_code == 302
    asked = as_bench.send(f"/meters/{meter.pk}/", {**first, "always-ohm": "20 mΩ"})
    assert asked.status_code == 409
    assert meter.accuracies.get().percent == 2.0
    hidden = dict(asked.context["hidden"])
    as_bench.send(f"/meters/{meter.pk}/", {**hidden, "keep": "theirs"})
    assert meter.accuracies.get().percent == 2.0
    as_bench.send(f"/meters/{meter.pk}/", {**hidden, "keep": "mine", "once": "m" * 24})
    assert (meter.accuracies.get().percent, meter.accuracies.get().always) == (5.0, 0.02)


def test_the_same_tap_twice_puts_one_on_the_list(as_bench):
    for _ in range(2):
        assert as_bench.send("/meters/new/", {**ONE, "once": "t" * 24}).status_code == 302
    assert Meter.objects.count() == 1


def test_a_meter_out_of_use_is_offered_by_no_worksheet_and_stays_with_what_was_kept(as_bench, bench):
    meter = MeterFactory(name="Lost meter")
    kept = KeptSheetFactory(by=bench, meter=meter)
    assert ">Lost meter</option>" in as_bench.get("/worksheets/after-repair-test/").content.decode()
    for _ in range(2):
        as_bench.send(f"/meters/{meter.pk}/put-away/")
    assert timeline.of(meter).count() == 1
    assert ">Lost meter</option>" not in as_bench.get("/worksheets/after-repair-test/").content.decode()
    assert "out of use" in as_bench.get("/meters/").content.decode()
    assert "Lost meter" in as_bench.get(f"/kept-worksheet/{kept.pk}/").content.decode()
    as_bench.send(f"/meters/{meter.pk}/bring-back/")
    assert ">Lost meter</option>" in as_bench.get("/worksheets/after-repair-test/").content.decode()


def test_the_counter_sees_the_meters_and_changes_none(as_counter):
    meter = MeterFactory()
    assert f'href="/meters/{meter.pk}/"' not in as_counter.get("/meters/").content.decode()
    assert as_counter.get(f"/meters/{meter.pk}/").status_code == 403
    assert as_counter.send("/meters/new/", ONE).status_code == 403


def test_the_list_takes_as_many_queries_with_many_as_with_few(as_bench, django_assert_num_queries):
    AccuracyFactory()
    as_bench.get("/meters/")
    with CaptureQueriesContext(connection) as took:
        as_bench.get("/meters/")
    for unit in ("V", "A", "ohm", "F"):
        AccuracyFactory(unit=unit)
    with django_assert_num_queries(len(took)):
        as_bench.get("/meters/")


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(typed=st.dictionaries(st.sampled_from([*ONE, "percent-percent", "opened_with"]), st.text(max_size=90)))
def test_hostile_meters_get_words_and_never_an_error(as_bench, typed):
    meter = Meter.objects.first() or MeterFactory(name="Bench meter 9")
    assert as_bench.send("/meters/new/", {**ONE, **typed}).status_code in (302, 422)
    assert as_bench.send(f"/meters/{meter.pk}/", {**ONE, **typed}).status_code in (302, 409, 422)
