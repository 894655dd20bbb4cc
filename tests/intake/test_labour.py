"""Labour: the timer, minutes written down, and what of it is charged."""

import datetime as dt
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from intake import charges, labour
from intake.minutes import MinutesError, as_hours, between, parse_minutes
from intake.models import LabourSpell, State
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from tests.factories import JobFactory

NOON = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)


@pytest.mark.parametrize(
    ("text", "minutes"),
    [
        ("85", 85),
        (" 85 min ", 85),
        ("1:25", 85),
        ("0:05", 5),
        ("1 h 25 min", 85),
        ("1h25", 85),
        ("1 h", 60),
        ("1.5 h", 90),
        ("1,5 hours", 90),
        ("0.25 h", 15),
        ("2 hours and 5 minutes", 125),
        ("1440", 1440),
        ("24:00", 1440),
    ],
)
def test_a_length_of_time_is_read_as_people_write_it(text, minutes):
    assert parse_minutes(text) == minutes


@pytest.mark.parametrize(
    "text",
    ["", "0", "0:00", "-5", "1441", "25 h", "1:75", "an hour", "1.5", "５", "1e3", "9" * 60, "1:2:3", "\x00"],
)
def test_what_is_no_length_of_time_is_refused(text):
    with pytest.raises(MinutesError):
        parse_minutes(text)


@pytest.mark.parametrize(
    ("seconds", "minutes"), [(-9, 1), (0, 1), (29, 1), (89, 1), (90, 2), (3600, 60), (3629, 60), (3630, 61)]
)
def test_a_spell_is_whole_minutes_half_a_minute_up(seconds, minutes):
    assert between(NOON, NOON + dt.timedelta(seconds=seconds)) == minutes


@pytest.mark.parametrize(
    ("minutes", "hours"), [(85, "1.42"), (1, "0.02"), (60, "1.00"), (50, "0.83"), (3, "0.05")]
)
def test_hours_are_charged_with_two_decimals(minutes, hours):
    assert as_hours(minutes) == Decimal(hours)


def test_one_tap_starts_and_one_tap_stops(as_bench, bench):
    job = JobFactory()
    assert as_bench.send(f"/job/{job.claim}/timer/").status_code == 302
    spell = job.labour.get()
    assert (spell.who, spell.ended) == (bench, None)
    here = f"/job/{job.claim}/timer/{spell.pk}/stop/"
    assert as_bench.send(here, {"words": "Traced the hum"}).status_code == 302
    spell.refresh_from_db()
    assert (spell.minutes, spell.words) == (1, "Traced the hum")
    assert [e.words for e in timeline.of(job)] == ["stopped the timer", "started the timer"]


def test_a_timer_counts_while_the_tablet_is_shut(as_bench, bench, tablet_of):
    job = JobFactory()
    as_bench.send(f"/job/{job.claim}/timer/")
    LabourSpell.objects.update(began=timezone.now() - dt.timedelta(minutes=85))
    another = tablet_of(bench)
    assert b"data-since" in another.get(f"/job/{job.claim}/").content
    another.send(f"/job/{job.claim}/timer/{job.labour.get().pk}/stop/")
    assert job.labour.get().minutes == 85


def test_stopping_without_a_word_is_asked_about_afterwards(as_bench, bench):
    job = JobFactory()
    spell = labour.start(job, by=bench)
    as_bench.send(f"/job/{job.claim}/timer/{spell.pk}/stop/")
    assert b"Not said yet what was done." in as_bench.get(f"/job/{job.claim}/").content


def test_starting_what_runs_here_goes_on(bench):
    job = JobFactory()
    assert labour.start(job, by=bench) == labour.start(job, by=bench)


def test_a_person_works_on_one_job(bench):
    first, second = JobFactory(), JobFactory()
    labour.start(first, by=bench)
    with pytest.raises(labour.TimerRunsElsewhere) as elsewhere:
        labour.start(second, by=bench)
    assert elsewhere.value.spell.job == first
    assert not second.labour.exists()


def test_two_people_may_work_on_one_job(bench, owner):
    job = JobFactory()
    labour.start(job, by=bench)
    labour.start(job, by=owner)
    assert job.labour.filter(ended__isnull=True).count() == 2


def test_the_database_holds_to_one_running_timer_a_person(bench):
    LabourSpell.objects.create(job=JobFactory(), who=bench)
    with pytest.raises(IntegrityError), transaction.atomic():
        LabourSpell.objects.create(job=JobFactory(), who=bench)


def test_a_timer_that_runs_elsewhere_is_offered_to_change_over(as_bench, bench):
    first, second = JobFactory(), JobFactory()
    labour.start(first, by=bench)
    answer = as_bench.send(f"/job/{second.claim}/timer/")
    assert answer.status_code == 409
    assert first.claim.encode() in answer.content
    assert b"Stop it there and start here" in answer.content
    assert b"Stop it there and start here" in as_bench.get(f"/job/{second.claim}/").content


def test_one_tap_changes_over(as_bench, bench):
    first, second = JobFactory(), JobFactory()
    labour.start(first, by=bench)
    data = {"leave_other": "on", "words": "Cleaned the pots"}
    assert as_bench.send(f"/job/{second.claim}/timer/", data).status_code == 302
    assert labour.running(bench).job == second
    assert first.labour.get().words == "Cleaned the pots"


def test_anothers_timer_is_theirs(as_bench, owner):
    job = JobFactory()
    spell = labour.start(job, by=owner)
    assert as_bench.send(f"/job/{job.claim}/timer/{spell.pk}/stop/").status_code == 422
    spell.refresh_from_db()
    assert spell.ended is None


def test_the_owner_of_the_shop_stops_anybodys(as_owner, bench):
    job = JobFactory()
    spell = labour.start(job, by=bench)
    assert as_owner.send(f"/job/{job.claim}/timer/{spell.pk}/stop/").status_code == 302
    spell.refresh_from_db()
    assert spell.ended


def test_stopping_twice_keeps_the_first_time(bench):
    spell = labour.start(JobFactory(), by=bench)
    first = labour.stop(spell, words="Once", by=bench)
    again = labour.stop(spell, words="Twice", by=bench)
    assert (again.words, again.ended) == ("Once", first.ended)


def test_a_clock_set_back_makes_no_spell_that_ends_before_it_began(bench):
    spell = labour.start(JobFactory(), by=bench)
    stopped = labour.stop(spell, words="", by=bench, now=spell.began - dt.timedelta(hours=1))
    assert (stopped.ended, stopped.minutes) == (stopped.began, 1)


def test_my_timer_is_shown_wherever_i_am(as_bench, as_counter, bench):
    assert as_bench.part("/my-timer/").content.strip() == b""
    job = JobFactory()
    labour.start(job, by=bench)
    assert job.get_absolute_url().encode() in as_bench.part("/my-timer/").content
    assert as_counter.part("/my-timer/").content.strip() == b""


def test_my_timer_is_stopped_from_its_own_page(as_bench, bench):
    spell = labour.start(JobFactory(), by=bench)
    answer = as_bench.send(
        f"/job/{spell.job.claim}/timer/{spell.pk}/stop/", {"next": "https://elsewhere.example/"}
    )
    assert answer.headers["Location"] == "/"


def test_minutes_are_written_down_afterwards(as_bench, bench):
    job = JobFactory()
    answer = as_bench.send(f"/job/{job.claim}/labour/", {"minutes": "1 h 25", "words": "Recapped"}, htmx=True)
    assert answer.status_code == 200
    spell = job.labour.get()
    assert (spell.minutes, spell.words, spell.who) == (85, "Recapped", bench)
    assert spell.ended - spell.began == dt.timedelta(minutes=85)


def test_minutes_that_are_none_get_words_and_lose_nothing(as_bench):
    job = JobFactory()
    answer = as_bench.send(f"/job/{job.claim}/labour/", {"minutes": "a while", "words": "Recapped"})
    assert answer.status_code == 422
    assert b"like 85, or hours and minutes" in answer.content
    assert b'value="a while"' in answer.content
    assert b'value="Recapped"' in answer.content


def test_minutes_are_changed_with_a_revision(as_bench, bench):
    spell = labour.write_down(JobFactory(), minutes=85, words="Recapped", by=bench)
    here = f"/job/{spell.job.claim}/labour/{spell.pk}/"
    assert b'value="1 h 25 min"' in as_bench.get(here).content
    assert as_bench.send(here, {"minutes": "40", "words": "Recapped", "revision": 1}).status_code == 302
    spell.refresh_from_db()
    assert (spell.minutes, spell.revision) == (40, 2)
    with pytest.raises(ChangedMeanwhile):
        labour.change(spell, minutes=50, words="", by=bench, revision=1)


def test_a_spell_of_half_a_day_asks_whether_it_ran_on(as_bench, bench):
    spell = labour.write_down(JobFactory(), minutes=13 * 60, words="", by=bench)
    assert b"Did the timer run on?" in as_bench.get(f"/job/{spell.job.claim}/").content


def test_a_spell_is_struck_out_and_put_back(as_bench, bench):
    spell = labour.write_down(JobFactory(), minutes=30, words="Wrong job", by=bench)
    here = f"/job/{spell.job.claim}/labour/{spell.pk}"
    as_bench.send(f"{here}/strike/")
    spell.refresh_from_db()
    assert spell.struck_at
    as_bench.send(f"{here}/put-back/")
    spell.refresh_from_db()
    assert spell.struck_at is None


def test_a_running_timer_is_stopped_before_it_is_struck_out(as_bench, bench):
    spell = labour.start(JobFactory(), by=bench)
    answer = as_bench.send(f"/job/{spell.job.claim}/labour/{spell.pk}/strike/")
    assert answer.status_code == 422
    assert b"Stop it first" in answer.content


def test_time_becomes_a_charge_at_the_shops_rate(as_bench, bench):
    spell = labour.write_down(JobFactory(), minutes=85, words="Recapped", by=bench)
    assert b'value="1.42"' in as_bench.get(f"/job/{spell.job.claim}/").content
    assert (
        as_bench.send(f"/job/{spell.job.claim}/labour/{spell.pk}/charge/", {"hours": "1.5"}).status_code
        == 302
    )
    line = spell.job.charges.get()
    assert (line.kind, line.text, line.quantity, line.unit) == ("labour", "Recapped", Decimal("1.5"), "h")
    assert (line.unit_price, line.origin) == (Decimal(80), f"labour/{spell.pk}")


def test_time_is_charged_once(as_bench, bench):
    spell = labour.write_down(JobFactory(), minutes=85, words="", by=bench)
    here = f"/job/{spell.job.claim}/labour/{spell.pk}/charge/"
    as_bench.send(here, {"hours": "1"})
    answer = as_bench.send(here, {"hours": "1"})
    assert answer.status_code == 422
    assert b"charged already" in answer.content
    assert spell.job.charges.count() == 1


def test_charged_time_is_neither_changed_nor_struck_out(bench):
    spell = labour.write_down(JobFactory(), minutes=85, words="", by=bench)
    line = charges.charge_labour(spell, hours=Decimal(1), by=bench)
    with pytest.raises(NotAllowedYet, match="Strike out its charge first"):
        labour.change(spell, minutes=10, words="", by=bench, revision=1)
    with pytest.raises(NotAllowedYet, match="Strike out its charge first"):
        labour.strike(spell, by=bench)
    charges.strike(line, by=bench)
    labour.strike(spell, by=bench)
    spell.refresh_from_db()
    assert spell.struck_at


def test_what_was_done_may_still_be_said_of_charged_time(bench):
    spell = labour.write_down(JobFactory(), minutes=85, words="", by=bench)
    charges.charge_labour(spell, hours=Decimal(1), by=bench)
    spell.refresh_from_db()
    labour.change(spell, minutes=85, words="Recapped", by=bench, revision=spell.revision)
    assert LabourSpell.objects.get().words == "Recapped"


@pytest.mark.parametrize("hours", ["", "0", "-1", "x", "1e9", "NaN", "1001", "0.0001"])
def test_hours_that_cannot_be_charged_get_words(as_bench, bench, hours):
    spell = labour.write_down(JobFactory(), minutes=85, words="", by=bench)
    answer = as_bench.send(f"/job/{spell.job.claim}/labour/{spell.pk}/charge/", {"hours": hours})
    assert answer.status_code == 422
    assert b"field-wrong" in answer.content
    assert not spell.job.charges.exists()


def test_a_job_that_is_gone_takes_no_labour(as_bench, bench):
    job = JobFactory(state=State.COLLECTED)
    assert as_bench.send(f"/job/{job.claim}/timer/").status_code == 422
    assert as_bench.send(f"/job/{job.claim}/labour/", {"minutes": "5"}).status_code == 422
    assert not job.labour.exists()


def test_the_counter_keeps_no_labour(as_counter):
    job = JobFactory()
    assert as_counter.send(f"/job/{job.claim}/timer/").status_code == 403
    assert b"Start the timer" not in as_counter.get(f"/job/{job.claim}/").content


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    data=st.fixed_dictionaries(
        {},
        optional={
            name: st.text(max_size=250) for name in ("minutes", "words", "hours", "revision", "leave_other")
        },
    )
)
def test_hostile_labour_gets_words_and_never_an_error(as_bench, bench, data):
    spell = labour.write_down(JobFactory(), minutes=85, words="", by=bench)
    here = f"/job/{spell.job.claim}/labour/"
    for path in (here, f"{here}{spell.pk}/", f"{here}{spell.pk}/charge/", f"/job/{spell.job.claim}/timer/"):
        assert as_bench.send(path, data).status_code in (302, 409, 422)
