"""The shop's bench gear: written down, lent out and back, and offered to the worksheet of speaker loads."""

import datetime as dt

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from calc import sheets
from calc.models import Meter
from calc.worksheets import by_slug
from inventory import bench as bench_gear
from inventory.models import BenchGear, Loan
from shop import timeline
from shop.errors import NotAllowedYet
from tests.factories import AccuracyFactory, JobFactory, KeptSheetFactory, MeterFactory

LOAD = {
    "kind": "test load",
    "name": "Test load 8 Ω",
    "impedance": "8",
    "watts": "500 W",
    "note": "On the wall",
}


def a_load(by, **more):
    facts = {"kind": "test load", "name": "Test load 8", "impedance": 8.0, "watts": 200.0, "note": ""}
    return bench_gear.add(by=by, **{**facts, **more})


def opened_on(tablet, gear):
    """What the page of a thing sends along from when it was opened."""
    form = tablet.get(f"/bench-gear/{gear.pk}/").context["form"]
    said = {name: form[name].value() for name in form.fields if name != "opened_with"}
    texts = {name: str(form.fields[name].prepare_value(value) or "") for name, value in said.items()}
    return {**texts, "opened_with": form["opened_with"].value()}


# --- written down


def test_a_test_load_is_put_on_the_list_with_its_ohms_and_watts(as_bench):
    assert as_bench.send("/bench-gear/new/", LOAD).headers["Location"] == "/bench-gear/"
    gear = BenchGear.objects.get()
    assert (gear.impedance, gear.watts) == (8.0, 500.0)
    page = as_bench.get("/bench-gear/").content.decode()
    assert "Test load 8 Ω" in page
    assert "500 W" in page
    assert "On the wall" in page


@pytest.mark.parametrize(
    ("field", "text", "sentence"),
    [
        ("name", "", "Say what it is called on the bench"),
        ("name", "Taken", "has that name already"),
        ("kind", "meter", "Select a valid choice"),
        ("impedance", "", "Say how many ohms it has"),
        ("watts", "", "Say how many watts it takes"),
        ("impedance", "8 W", "This box takes ohms"),
        ("impedance", "0", "Between 100 mΩ and 100 kΩ"),
        ("watts", "a lot", "read as watts"),
        ("watts", "9" * 40, "too long for a value"),
    ],
)
def test_what_cant_be_gets_words_and_loses_nothing(as_bench, bench, field, text, sentence):
    a_load(bench, name="Taken")
    answer = as_bench.send("/bench-gear/new/", {**LOAD, field: text})
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert "On the wall" in answer.content.decode()
    assert BenchGear.objects.count() == 1


def test_a_known_good_tank_needs_no_watts(as_bench):
    tank = {"kind": "spring tank", "name": "Tank, long", "impedance": "8", "second_impedance": "2k25"}
    as_bench.send("/bench-gear/new/", tank)
    assert BenchGear.objects.get().second_impedance == 2250
    assert "8 Ω to 2.25 kΩ" in as_bench.get("/bench-gear/").content.decode()


def test_what_changed_is_told_as_people_write_it(as_bench, bench):
    gear = a_load(bench)
    sent = opened_on(as_bench, gear)
    assert as_bench.send(f"/bench-gear/{gear.pk}/", {**sent, "impedance": "4R"}).status_code == 302
    gear.refresh_from_db()
    assert gear.impedance == 4.0
    assert timeline.of(gear).first().changes == [{"what": "impedance", "before": "8 Ω", "after": "4 Ω"}]


def test_two_people_who_change_the_same_thing_see_both_versions(as_bench, bench):
    gear = a_load(bench)
    sent = opened_on(as_bench, gear)
    bench_gear.change(gear, by=bench, watts=100.0)
    answer = as_bench.send(f"/bench-gear/{gear.pk}/", {**sent, "watts": "300 W"})
    assert answer.status_code == 409
    assert "100 W" in answer.content.decode()
    gear.refresh_from_db()
    assert gear.watts == 100.0


# --- lent out and back


def test_what_is_lent_says_to_whom_and_is_back_by_one_tap(as_bench, bench):
    gear = a_load(bench)
    sent = {"to_whom": "Dana Whitlow, 555 0102", "due_on": timezone.localdate().isoformat()}
    assert as_bench.send(f"/bench-gear/{gear.pk}/lend/", sent).status_code == 302
    page = as_bench.get("/bench-gear/").content.decode()
    assert "lent to Dana Whitlow, 555 0102" in page
    loan = Loan.objects.get()
    as_bench.send(f"/bench-gear/back/{loan.pk}/")
    as_bench.send(f"/bench-gear/back/{loan.pk}/")  # once more, from another tablet
    loan.refresh_from_db()
    assert loan.back_by == bench
    assert timeline.of(gear).filter(words__contains="back").count() == 1
    assert "Dana Whitlow" not in as_bench.get("/bench-gear/").content.decode()
    assert "Dana Whitlow" in as_bench.get(f"/bench-gear/{gear.pk}/").content.decode()


def test_what_should_be_back_by_now_says_so(as_bench, bench):
    yesterday = timezone.localdate() - dt.timedelta(days=1)
    bench_gear.lend(a_load(bench), to_whom="Dana Whitlow", due_on=yesterday, by=bench)
    assert "was due back" in as_bench.get("/bench-gear/").content.decode()


def test_nothing_is_lent_until_a_day_that_is_over(as_bench, bench):
    yesterday = timezone.localdate() - dt.timedelta(days=1)
    path = f"/bench-gear/{a_load(bench).pk}/lend/"
    answer = as_bench.send(path, {"to_whom": "Dana Whitlow", "due_on": yesterday.isoformat()})
    assert answer.status_code == 422
    assert "That day is over" in answer.content.decode()
    assert "Dana Whitlow" in answer.content.decode()


def test_a_thing_is_lent_to_one_person_at_a_time(as_bench, bench):
    gear = a_load(bench)
    bench_gear.lend(gear, to_whom="Dana Whitlow", due_on=None, by=bench)
    answer = as_bench.send(f"/bench-gear/{gear.pk}/lend/", {"to_whom": "Sam Orrel"})
    assert answer.status_code == 422
    assert "is lent to Dana Whitlow" in answer.content.decode()
    with pytest.raises(IntegrityError), transaction.atomic():
        Loan.objects.create(gear=gear, to_whom="Sam Orrel", by=bench)


def test_what_is_out_of_use_is_not_lent(bench):
    gear = a_load(bench)
    bench_gear.put_away(gear, by=bench)
    with pytest.raises(NotAllowedYet, match="out of use"):
        bench_gear.lend(gear, to_whom="Dana Whitlow", due_on=None, by=bench)


def test_no_worksheet_offers_a_meter_that_is_lent(as_bench, bench):
    meter = AccuracyFactory().meter
    assert (
        as_bench.send(f"/bench-gear/meter/{meter.pk}/lend/", {"to_whom": "Dana Whitlow"}).status_code == 302
    )
    assert not Meter.objects.filter(is_here=True).exists()
    bench_gear.take_back(Loan.objects.get(), by=bench)
    assert Meter.objects.filter(is_here=True).exists()


def test_a_meter_is_lent_under_the_name_that_it_has_now(as_bench, bench):
    meter = MeterFactory(name="Bench meter 1")
    bench_gear.take_back(bench_gear.lend_meter(meter, to_whom="Sam Orrel", due_on=None, by=bench), by=bench)
    Meter.objects.update(name="Bench meter, old")
    loan = bench_gear.lend_meter(meter, to_whom="Dana Whitlow", due_on=None, by=bench)
    assert str(loan.gear) == "Bench meter, old"
    assert BenchGear.objects.count() == 1


def test_a_meter_that_is_lent_is_not_put_back_in_use_before_it_is_back(as_bench, bench):
    meter = MeterFactory(name="Bench meter 1")
    loan = bench_gear.lend_meter(meter, to_whom="Dana Whitlow", due_on=None, by=bench)
    page = as_bench.get(f"/meters/{meter.pk}/").content.decode()
    assert "It is lent to Dana Whitlow." in page and "bring-back" not in page
    assert 'href="/bench-gear/#lent"' in page
    for htmx in (False, True):
        refused = as_bench.send(f"/meters/{meter.pk}/bring-back/", htmx=htmx)
        assert refused.status_code == 422
        assert "Bench meter 1 is lent to Dana Whitlow. Write it down as back" in refused.content.decode()
    as_bench.send(f"/meters/{meter.pk}/put-away/")
    meter.refresh_from_db()
    assert not meter.is_here and bench_gear.open_loan(loan.gear) == loan
    bench_gear.take_back(loan, by=bench)
    meter.refresh_from_db()
    assert meter.is_here


def test_a_meter_that_came_back_or_was_never_lent_is_put_away_and_brought_back(as_bench, bench):
    lent, never = MeterFactory(name="Bench meter 1"), MeterFactory(name="Bench meter 2")
    bench_gear.take_back(bench_gear.lend_meter(lent, to_whom="Sam Orrel", due_on=None, by=bench), by=bench)
    for meter in (lent, never):
        for act, is_here in (("put-away", False), ("bring-back", True)):
            assert as_bench.send(f"/meters/{meter.pk}/{act}/").status_code == 302
            meter.refresh_from_db()
            assert meter.is_here is is_here


def test_a_meter_that_bears_a_test_loads_name_is_told_apart_first(bench):
    a_load(bench, name="Blue box")
    with pytest.raises(NotAllowedYet, match="Give one of them another name"):
        bench_gear.lend_meter(MeterFactory(name="Blue box"), to_whom="Sam Orrel", due_on=None, by=bench)


# --- offered to the worksheet of speaker loads


def boxes(job=None):
    said, _ = sheets.start(by_slug("speaker-loads"), job)
    return {name: text for name, text in said.items() if name.startswith("load-")}


def test_the_test_loads_that_are_here_stand_in_the_worksheet(shop, bench):
    a_load(bench, name="Eight", impedance=8.0, watts=200.0)
    a_load(bench, name="Four", impedance=4.0, watts=100.0)
    assert boxes() == {
        "load-count": "2",
        "load-1-name": "Four",
        "load-1-impedance": "4",
        "load-1-rating": "100",
        "load-2-name": "Eight",
        "load-2-impedance": "8",
        "load-2-rating": "200",
    }


@pytest.mark.parametrize("why", ["lent", "out of use", "a tank", "no watts known"])
def test_what_is_no_test_load_here_is_not_offered(shop, bench, why):
    before = boxes()
    gear = a_load(
        bench, **{"a tank": {"kind": "spring tank"}, "no watts known": {"watts": None}}.get(why, {})
    )
    if why == "lent":
        bench_gear.lend(gear, to_whom="Dana Whitlow", due_on=None, by=bench)
    if why == "out of use":
        bench_gear.put_away(gear, by=bench)
    assert boxes() == before


def test_what_is_on_the_bench_today_counts_more_than_what_was_then(shop, bench):
    job = JobFactory()
    earlier = JobFactory(gear=job.gear, month="2601")
    then = {"load-count": "1", "load-1-name": "Old one", "load-1-impedance": "16", "load-1-rating": "50"}
    KeptSheetFactory(job=earlier, slug="speaker-loads", said=then)
    assert (
        boxes(job)["load-1-name"] == "Old one"
    )  # nothing is on the list: what was then is the best there is
    a_load(bench, name="Eight")
    assert boxes(job)["load-1-name"] == "Eight"
    assert boxes(earlier)["load-1-name"] == "Old one"  # the other half of a comparison


def test_the_worksheets_page_has_them_and_answers_with_them(as_bench, bench):
    a_load(bench, name="Wall load")
    said = as_bench.get("/worksheets/speaker-loads/").content.decode()
    assert "Wall load" in said


# --- the list


def test_the_list_asks_the_database_the_same_whatever_is_on_it(as_bench, bench):
    def queries():
        with CaptureQueriesContext(connection) as asked:
            assert as_bench.get("/bench-gear/").status_code == 200
        return len(asked)

    MeterFactory()
    bench_gear.lend(a_load(bench), to_whom="Dana Whitlow", due_on=None, by=bench)
    few = queries()
    for n in range(5):
        bench_gear.lend(a_load(bench, name=f"Load {n}"), to_whom="Dana Whitlow", due_on=None, by=bench)
        bench_gear.lend_meter(MeterFactory(), to_whom="Sam Orrel", due_on=None, by=bench)
        a_load(bench, name=f"Here {n}")
    assert queries() == few


def test_the_counter_sees_the_list_and_changes_nothing(as_counter, bench):
    gear = a_load(bench)
    page = as_counter.get("/bench-gear/").content.decode()
    assert gear.name in page
    assert "Lend it" not in page
    assert as_counter.send(f"/bench-gear/{gear.pk}/lend/", {"to_whom": "Sam Orrel"}).status_code == 403
