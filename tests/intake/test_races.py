"""Two tablets at the same moment, with real threads.

On a SQLite file, as shops have it, and on PostgreSQL.
"""

from collections.abc import Callable
from decimal import Decimal
from functools import partial
from typing import Any

import pytest
from django.conf import settings

from intake import billing, charges, estimating, keeping, labour, payments, queueing, work
from intake.labour import TimerRunsElsewhere
from intake.models import (
    Charge,
    Job,
    LabourSpell,
    LetGo,
    NoticeBack,
    Payment,
    StorageNotice,
    StoragePause,
)
from shop import timeline
from shop.errors import ChangedMeanwhile, Refused
from shop.roles import Role
from tests.at_once import at_once
from tests.factories import JobFactory, ShopFactory, StaffFactory, TermsFactory
from tests.intake.bills import proposed, row
from tests.intake.storage import past_deadline, today, waiting
from tests.intake.test_queue import TODAY, order

AT_ONCE = 6
ON_SQLITE = settings.DATABASES["default"]["ENGINE"].endswith("sqlite3")
pytestmark = [] if ON_SQLITE else [pytest.mark.django_db(transaction=True)]


@pytest.fixture
def by(racing_database: None) -> Any:
    ShopFactory()
    return StaffFactory()


def by_many(act: Callable[[int], Any]) -> list[Any]:
    """Run `act(0)` … at the same moment. Return what each returned or raised."""
    return at_once([partial(act, number) for number in range(AT_ONCE)])


def test_of_many_edits_at_the_same_moment_one_goes_through(by):
    job = JobFactory(visit__taken_in_by=by)
    outcomes = by_many(
        lambda number: work.change_job(job, fields={"complaint": f"Version {number}"}, by=by, revision=1)
    )
    kept = [number for number, outcome in enumerate(outcomes) if isinstance(outcome, Job)]
    assert len(kept) == 1
    assert sum(isinstance(outcome, ChangedMeanwhile) for outcome in outcomes) == AT_ONCE - 1
    job = Job.objects.get(pk=job.pk)
    assert (job.revision, job.complaint) == (2, f"Version {kept[0]}")
    assert timeline.of(job).count() == 1


def test_many_taps_on_start_run_one_timer(by):
    jobs = [JobFactory(visit__taken_in_by=by) for _ in range(AT_ONCE)]
    outcomes = by_many(lambda number: labour.start(jobs[number], by=by))
    assert sum(isinstance(outcome, LabourSpell) for outcome in outcomes) == 1
    assert sum(isinstance(outcome, TimerRunsElsewhere) for outcome in outcomes) == AT_ONCE - 1
    assert LabourSpell.objects.filter(ended__isnull=True).count() == 1


def test_many_notes_at_the_same_moment_are_all_kept(by):
    job = JobFactory(visit__taken_in_by=by)
    by_many(lambda number: work.note(job, text=f"Note {number}", by=by))
    assert {note.text for note in job.notes.all()} == {f"Note {number}" for number in range(AT_ONCE)}


def test_what_was_agreed_to_is_charged_once_by_many(by):
    job = JobFactory(spend_limit=None)
    estimate = proposed(
        job, by, row(), row("part", "EL34", "2", "39.20"), row("discount", "Regular", "1", "30")
    )
    estimating.answer(estimate, yes=True, how="phone", who="Dana", by=by)
    seen = charges.left_of_agreed(job).mark
    outcomes = by_many(lambda n: charges.charge_agreed(job, seen=seen if n % 2 else None, by=by))
    assert sorted(job.charges.values_list("text", flat=True)) == ["Bench time", "EL34", "Regular"]
    assert sum(isinstance(each, Refused) for each in outcomes) == AT_ONCE - 1


def test_many_orders_of_the_line_leave_one_line(by):
    jobs = [JobFactory(visit__taken_in_by=by) for _ in range(AT_ONCE)]
    outcomes = by_many(
        lambda number: queueing.put(jobs[number], beside=jobs[0], after=False, on=TODAY, by=by)
    )
    assert outcomes == [None] * AT_ONCE
    assert sorted(job.pk for job in order()) == [job.pk for job in jobs]
    places = [job.queue_position for job in order()]
    assert len(set(places)) == AT_ONCE
    assert order()[-1] == jobs[0]


# --- Gear that nobody collects


@pytest.fixture
def wren(by):
    TermsFactory()
    return StaffFactory(role=Role.OWNER)


def told(outcomes: list[Any], won: type | tuple[type, ...]) -> Any:
    """The one that went through; the others were told in a sentence."""
    through = [outcome for outcome in outcomes if isinstance(outcome, won)]
    assert len(through) == 1, outcomes
    assert sum(isinstance(outcome, Refused) for outcome in outcomes) == AT_ONCE - 1, outcomes
    return through[0]


def revision_of(job: Job) -> int:
    return Job.objects.values_list("revision", flat=True).get(pk=job.pk)


def test_of_many_letters_at_the_same_moment_one_is_recorded(wren):
    job = waiting(wren, 45)
    letters = [keeping.Letter(job, f"Letter {number}", seen=0) for number in range(AT_ONCE)]
    kept = told(
        by_many(lambda number: keeping.send_notice(letters[number], how="letter", sent_on=today(), by=wren)),
        StorageNotice,
    )
    assert [(notice.number, notice.words) for notice in job.storage_notices.all()] == [(1, kept.words)]
    assert timeline.of(job).count() == 1


def test_a_letter_that_came_back_comes_back_once(wren):
    job = past_deadline(wren)
    notice = job.storage_notices.last()
    said = by_many(lambda number: keeping.came_back(notice, on=today(), words=f"Says {number}", by=wren))
    kept = told(said, NoticeBack)
    assert NoticeBack.objects.get().words == kept.words
    assert timeline.of(job).count() == 1
    assert timeline.of(job.person).count() == 1


def test_gear_is_left_behind_once(wren):
    job = past_deadline(wren)
    told(by_many(lambda number: keeping.leave_behind(job, by=wren, revision=1)), Job)
    assert revision_of(job) == 2


def test_of_many_decisions_at_the_same_moment_one_is_taken_and_its_money_comes_once(wren):
    job = past_deadline(wren)
    keeping.leave_behind(job, by=wren, revision=job.revision)
    revision = revision_of(job)

    def decide(number: int) -> LetGo:
        sold = keeping.Fate(
            became="sold",
            words=f"Decision {number}",
            to_whom="The reuse shop",
            price=Decimal(300 + number),
            method="cash",
            costs=Decimal(10),
            costs_method="cash",
        )
        return keeping.let_go(job, sold, by=wren, revision=revision)

    kept = told(by_many(decide), LetGo)
    assert LetGo.objects.get().words == kept.words
    assert [payment.amount for payment in job.payments.order_by("pk")] == [kept.price, Decimal(-10)]
    assert job.invoices.get().gross == kept.claims == Decimal(120)
    assert job.charges.standing().count() == 1
    assert billing.account(job).in_hand == kept.surplus == kept.price - 10 - 120


def test_a_letter_that_comes_back_at_the_moment_of_the_decision_comes_before_it_or_not_at_all(wren):
    """Whichever is first, the other is told: nothing is let go over an address that is in question."""
    job = past_deadline(wren)
    keeping.leave_behind(job, by=wren, revision=job.revision)
    notice, revision = job.storage_notices.last(), revision_of(job)
    scrapped = keeping.Fate(became="scrapped", words="Nobody came")

    def act(number: int) -> Any:
        if number % 2:
            return keeping.came_back(notice, on=today(), by=wren)
        return keeping.let_go(job, scrapped, by=wren, revision=revision)

    told(by_many(act), (LetGo, NoticeBack))
    assert LetGo.objects.count() + NoticeBack.objects.count() == 1


def test_a_dispute_at_the_same_moment_is_recorded_once_and_settled_once(wren):
    job = waiting(wren, 45)
    opened = told(
        by_many(
            lambda number: keeping.open_dispute(
                job, who=f"Caller {number}", words="It was paid", by=wren, revision=1
            )
        ),
        StoragePause,
    )
    settled = told(
        by_many(
            lambda number: keeping.settle_dispute(job, agreed=f"Half, says {number}", by=wren, revision=2)
        ),
        StoragePause,
    )
    kept = StoragePause.objects.get()
    assert (kept.who, kept.agreed) == (opened.who, settled.agreed)
    assert (revision_of(job), timeline.of(job).count()) == (3, 2)


def test_a_pause_at_the_same_moment_begins_once_and_ends_once(wren):
    job = waiting(wren, 45)
    told(by_many(lambda number: keeping.pause(job, why="shop", words="Closed", by=wren)), StoragePause)
    told(by_many(lambda number: keeping.resume(job, by=wren)), StoragePause)
    assert StoragePause.objects.count() == 1


def test_storage_that_is_charged_by_many_is_charged_once(wren):
    job = waiting(wren, 45)
    outcomes = by_many(lambda number: keeping.charge_storage(job, by=wren))
    assert {type(outcome) for outcome in outcomes} == {Charge}  # each brings it up to today
    assert job.charges.standing().get().unit_price == Decimal(30)


def test_what_is_left_over_is_given_back_once(wren):
    job = past_deadline(wren)
    keeping.leave_behind(job, by=wren, revision=job.revision)
    sold = keeping.Fate(
        became="sold", words="Nobody came", to_whom="The reuse shop", price=Decimal(300), method="cash"
    )
    keeping.let_go(job, sold, by=wren, revision=revision_of(job))
    given = by_many(
        lambda number: payments.give_back(
            job, amount=Decimal(180), method="cash", reason="What is left", by=wren
        )
    )
    assert told(given, Payment).amount == -180
    assert billing.account(job).in_hand == 0
