"""A year of safety: what was written down of it, whether it passed later, and nothing of other years."""

import csv
import datetime as dt
import io

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from calc import near_misses, readings, runs, safety, safety_year
from calc.models import KeptSheet, ListChange, ListRun, Mark, Reading, SafetyWord, UnsafeTag, Waiver
from intake.models import Job, State
from intake.workflow import move
from shop.wording import day_words
from tests.factories import GearFactory, JobFactory, MeterFactory, ReadingFactory
from tests.safe import passed

pytestmark = pytest.mark.django_db


@pytest.fixture
def today(shop):
    return timezone.localdate()


@pytest.fixture
def job(shop, bench):
    gear = GearFactory(kind="head", technology="valve")
    return move(JobFactory(gear=gear), to=State.ON_THE_BENCH, by=bench, revision=1)


def part(slug, today, year=None):
    of = safety_year.of(year or today.year, today)
    return next(each for each in of.parts if each.slug == slug)


def kept_test(job, by, *, at=None, **verdicts):
    """A kept after-repair test: each test's name to its verdict."""
    lines = [
        {
            "label": label.replace("_", " "),
            "value": "0.5 Ω",
            "verdict": verdict,
            "said": "fail: allowed at most 0.3 Ω.",
        }
        for label, verdict in verdicts.items()
    ]
    answer = {
        "said": "",
        "verdict": "bad",
        "lines": lines,
        "tables": [],
        "charts": [],
        "cautions": [],
        "notes": [],
    }
    worst = "bad" if "bad" in verdicts.values() else "unsure" if "unsure" in verdicts.values() else "good"
    return KeptSheet.objects.create(
        job=job,
        slug=safety.TEST,
        said={},
        answer=answer,
        verdict=worst,
        engine="1",
        by=by,
        at=at or timezone.now(),
    )


def test_a_waiver_says_who_and_why(job, owner, today):
    passed(job, owner, "after-repair")
    safety.waive(
        job, slug=safety.lists_on(job).of("soak")[0].checklist.slug, words="The band plays tonight.", by=owner
    )
    (row,) = part("waived", today).rows
    assert (row.job, row.said, row.who, row.day) == (job, "The band plays tonight.", owner.name, today)
    assert row.what == safety.lists_on(job).of("soak")[0].checklist.name


def test_a_failed_line_is_there_and_whether_it_passed_later(job, bench, today):
    run = ListRun.objects.get(pk=runs.begin(job, slug="before-power", by=bench).pk)
    key = run.version.lines.first().key
    Mark.objects.create(run=run, key=key, outcome="failed", words="The plug was in.", by=bench)
    (row,) = part("failed-lines", today).rows
    assert row.said == "The plug was in." and row.then == "Not passed since" and row.mended is False
    assert row.what == f"{run.version.name}: {run.version.lines.first().text}"
    Mark.objects.create(run=run, key=key, outcome="done", by=bench)
    (row,) = part("failed-lines", today).rows
    assert row.mended and row.then.startswith("Passed on")


def test_a_line_too_close_to_call_is_there_too(job, bench, today):
    run = runs.begin(job, slug="before-power", by=bench)
    Mark.objects.create(run=run, key="discharged", outcome="close", said="Too close.", by=bench)
    assert "Too close to call." in part("failed-lines", today).rows[0].said


def test_what_was_struck_out_afterwards_is_shown_with_who_struck_it(job, bench, today):
    reading = ReadingFactory(job=job, by=bench)
    run = runs.begin(job, slug="before-power", by=bench)
    Mark.objects.create(run=run, key="discharged", outcome="failed", reading=reading, by=bench)
    readings.strike(reading, by=bench)
    (row,) = part("failed-lines", today).rows
    assert row.then == "Struck out by Tomas Lindqvist. Not passed since"


def test_a_pass_of_another_job_mends_nothing(job, bench, today):
    other = move(
        JobFactory(gear__kind="head", gear__technology="valve"), to=State.ON_THE_BENCH, by=bench, revision=1
    )
    run, theirs = (runs.begin(each, slug="before-power", by=bench) for each in (job, other))
    Mark.objects.create(run=run, key="discharged", outcome="failed", by=bench)
    Mark.objects.create(run=theirs, key="discharged", outcome="done", by=bench)
    assert [row.mended for row in part("failed-lines", today).rows] == [False]


def test_a_failed_test_is_mended_when_all_that_failed_passed_later(job, bench, today):
    kept_test(job, bench, Earth="bad", Insulation="unsure", Leakage="good")
    (row,) = part("failed-tests", today).rows
    assert row.what == "Earth; Insulation" and row.mended is False
    kept_test(job, bench, Earth="good", Insulation="bad")
    assert [row.mended for row in part("failed-tests", today).rows] == [False, False]
    kept_test(job, bench, Earth="good", Insulation="good")
    assert [row.mended for row in part("failed-tests", today).rows] == [True, True]


def test_a_test_that_was_not_done_has_not_failed(job, bench, today):
    sheet = kept_test(job, bench, Earth="unsure")
    sheet.answer["lines"][0]["value"] = safety.NOT_DONE
    KeptSheet.objects.bulk_create(
        [
            KeptSheet(
                job=job, slug=sheet.slug, said={}, answer=sheet.answer, verdict="unsure", engine="1", by=bench
            )
        ]
    )
    assert len(part("failed-tests", today).rows) == 1


def test_a_failed_test_is_not_told_twice(job, bench, today):
    sheet = kept_test(job, bench, Earth="bad")
    run = runs.begin(job, slug="before-power", by=bench)
    Mark.objects.create(run=run, key="discharged", outcome="failed", sheet=sheet, by=bench)
    assert part("failed-lines", today).rows == ()
    assert len(part("failed-tests", today).rows) == 1


def test_a_list_that_was_taken_off_says_why(job, owner, today):
    ListChange.objects.create(job=job, slug="live", applies=False, words="Nothing was live.", by=owner)
    ListChange.objects.create(job=job, slug="soak", applies=True, by=owner)
    (row,) = part("taken-off", today).rows
    assert (row.said, row.who) == ("Nothing was live.", owner.name)


@pytest.mark.parametrize(
    ("state", "tag", "then"),
    [
        (State.ON_THE_BENCH, False, "It is still here: on the bench, no tag printed"),
        (State.COLLECTED, True, "It was collected as it is on {today}, its tag printed"),
        (State.LET_GO, True, "It was let go, its tag printed"),
    ],
)
def test_what_became_of_unsafe_gear(job, bench, today, state, tag, then):
    SafetyWord.objects.create(job=job, unsafe=True, words="The chassis is live.", by=bench)
    collected = timezone.now() if state == State.COLLECTED else None
    if tag:
        UnsafeTag.objects.create(job=job, by=bench)
    Job.objects.filter(pk=job.pk).update(state=state, ready_at=timezone.now(), collected_at=collected)
    (row,) = part("unsafe", today).rows
    assert (row.said, row.then, row.mended) == (
        "The chassis is live.",
        then.format(today=day_words(today)),
        False,
    )


def test_unsafe_gear_that_was_mended_says_who_took_it_back(job, bench, owner, today):
    SafetyWord.objects.create(job=job, unsafe=True, words="The chassis is live.", by=bench)
    SafetyWord.objects.create(job=job, unsafe=False, words="A new cord, and tested.", by=owner)
    (row,) = part("unsafe", today).rows
    assert row.mended and row.then.endswith(f"by {owner.name}: A new cord, and tested.")


def test_meters_that_are_due_or_overdue(today):
    for name, days in (("Old", -1), ("Today", 0), ("Soon", 30), ("Later", 31)):
        MeterFactory(name=name, due_on=today + dt.timedelta(days=days))
    MeterFactory(name="Away", due_on=today - dt.timedelta(days=9), is_here=False)
    rows = part("meters", today).rows
    assert [(row.what, row.said) for row in rows] == [
        ("Old", "Its calibration ran out"),
        ("Today", "Due within a month"),
        ("Soon", "Due within a month"),
    ]


def test_what_was_measured_with_a_meter_out_of_calibration(job, bench, today):
    yesterday = today - dt.timedelta(days=1)
    meter = MeterFactory(name="Bench meter 1", due_on=yesterday)
    for due in (yesterday, yesterday, today, None):  # on its last day it still holds
        ReadingFactory(job=job, by=bench, meter="Bench meter 1", with_meter=meter, meter_due_on=due)
    KeptSheet.objects.create(
        job=job,
        slug="supply",
        said={},
        answer={},
        verdict="good",
        engine="1",
        by=bench,
        meter=meter,
        meter_due_on=yesterday,
    )
    (row,) = part("measured-late", today).rows
    assert row.what == "Bench meter 1: 2 readings and 1 worksheet" and row.job == job


def test_near_misses_as_they_hold(job, bench, today):
    old = near_misses.write_down(on=today, what="It sparked.", job=job, by=bench)
    near_misses.write_down(
        on=today, what="It sparked at the plug.", done="A new plug.", by=bench, corrects=old
    )
    (row,) = part("near-misses", today).rows
    assert (row.what, row.said, row.job) == ("It sparked at the plug.", "A new plug.", job)


def test_a_year_holds_what_happened_in_it_by_the_shops_clock(job, bench, owner):
    """New Year's Eve in the shop's own time zone."""
    with timezone.override("America/Los_Angeles"):
        for day in (
            dt.datetime(2024, 12, 31, 23, 30),
            dt.datetime(2025, 1, 1, 0, 30),
            dt.datetime(2026, 1, 1, 0, 30),
        ):
            Waiver.objects.create(
                job=job, slug="soak", words=f"{day:%Y}", by=owner, at=timezone.make_aware(day)
            )
        assert [row.said for row in part("waived", dt.date(2026, 11, 25), 2025).rows] == ["2025"]
        assert [row.said for row in part("waived", dt.date(2026, 11, 25), 2024).rows] == ["2024"]


def test_the_years_begin_with_the_first_job_or_near_miss(shop, bench, today):
    assert safety_year.years(today) == [today.year]
    near_misses.write_down(on=dt.date(today.year - 2, 5, 1), what="It sparked.", by=bench)
    assert safety_year.years(today) == [today.year, today.year - 1, today.year - 2]


def test_an_empty_year_is_no_praise(as_owner, today):
    page = as_owner.get(reverse("safety-year")).content.decode()
    assert f"Nothing is written down for {today.year}." in page
    assert "That says what was written down, not what happened." in page
    for word in ("well done", "great", "congrat", "all good", "perfect"):
        assert word not in page.lower()


@pytest.mark.parametrize("asked", ["", "?year=", "?year=1999", "?year=soon", "?year=99999999999999"])
def test_a_year_that_makes_no_sense_is_this_year(as_owner, today, asked):
    reply = as_owner.get(reverse("safety-year") + asked)
    assert reply.status_code == 200 and f"A year of safety, {today.year}" in reply.content.decode()


def test_it_goes_to_a_spreadsheet(as_owner, job, owner, bench, today):
    Waiver.objects.create(job=job, slug="soak", words="=1+1", by=owner)
    near_misses.write_down(on=today, what="It sparked.", by=bench)
    reply = as_owner.get(reverse("safety-year-csv"))
    rows = list(csv.reader(io.StringIO(reply.content.decode("utf-8-sig"))))
    assert rows[0] == list(safety_year.HEAD)
    assert rows[1][:3] == ["Waived", today.isoformat(), job.claim] and rows[1][5] == "'=1+1"
    assert rows[2][4] == "It sparked."
    assert f"safety-{today.year}.csv" in reply["Content-Disposition"]


def test_it_is_the_owners_and_on_the_list_of_reports(as_owner, as_bench, as_counter):
    for name in ("safety-year", "safety-year-csv"):
        assert {tablet.get(reverse(name)).status_code for tablet in (as_bench, as_counter)} == {403}
    assert reverse("safety-year") in as_owner.get(reverse("reports")).content.decode()


def test_it_takes_as_many_queries_whatever_happened(as_owner, owner, bench, job, today):
    def happens():
        gear = GearFactory(kind="head", technology="valve")
        new = move(JobFactory(gear=gear), to=State.ON_THE_BENCH, by=bench, revision=1)
        run = runs.begin(new, slug="before-power", by=bench)
        Mark.objects.create(run=run, key="discharged", outcome="failed", by=bench)
        Waiver.objects.create(job=new, slug="soak", words="Tonight.", by=owner)
        kept_test(new, bench, Earth="bad")
        ListChange.objects.create(job=new, slug="live", applies=False, words="No.", by=owner)
        SafetyWord.objects.create(job=new, unsafe=True, words="Live.", by=bench)
        late = today - dt.timedelta(days=3)
        ReadingFactory(job=new, by=bench, meter="Old", meter_due_on=late)
        MeterFactory(name=f"Meter {new.pk}", due_on=late)
        near_misses.write_down(on=today, what="It sparked.", job=new, by=bench)

    happens()
    as_owner.get(reverse("safety-year"))
    with CaptureQueriesContext(connection) as few:
        page = as_owner.get(reverse("safety-year"))
    assert all(each.rows for each in page.context["year"].parts)
    for _ in range(4):
        happens()
    with CaptureQueriesContext(connection) as many:
        as_owner.get(reverse("safety-year"))
    assert len(many) == len(few)
    assert Reading.objects.count() == 5
