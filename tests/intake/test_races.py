"""Two tablets at the same moment, with real threads.

On a SQLite file, as shops have it, and on PostgreSQL.
"""

import threading
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import connection, connections

from intake import labour, queueing, work
from intake.labour import TimerRunsElsewhere
from intake.models import Job, LabourSpell
from shop import timeline
from shop.errors import ChangedMeanwhile
from tests.factories import JobFactory, ShopFactory, StaffFactory
from tests.intake.test_queue import TODAY, order

AT_ONCE = 6
ON_SQLITE = settings.DATABASES["default"]["ENGINE"].endswith("sqlite3")
pytestmark = [] if ON_SQLITE else [pytest.mark.django_db(transaction=True)]


@pytest.fixture
def racing_database(tmp_path: Any, django_db_setup: Any, django_db_blocker: Any) -> Iterator[None]:
    """A database that threads can race on.

    The suite's SQLite is in memory and one connection, on which nothing races: put a file in its place.
    """
    if not ON_SQLITE:
        yield
        return
    here, mine = connections.settings["default"], connections["default"]
    name = here["NAME"]
    here["NAME"] = str(tmp_path / "race.sqlite3")
    del connections["default"]
    try:
        with django_db_blocker.unblock():
            call_command("migrate", run_syncdb=True, verbosity=0)
            yield
            connections["default"].close()
    finally:
        here["NAME"] = name
        connections["default"] = mine


@pytest.fixture
def by(racing_database: None) -> Any:
    ShopFactory()
    return StaffFactory()


def at_once(act: Callable[[int], Any]) -> list[Any]:
    """Run `act(0)` … at the same moment in threads of their own. Return what each returned or raised."""
    outcomes: list[Any] = [None] * AT_ONCE
    line_up = threading.Barrier(AT_ONCE)

    def run(number: int) -> None:
        line_up.wait()
        try:
            outcomes[number] = act(number)
        except Exception as error:
            outcomes[number] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(number,)) for number in range(AT_ONCE)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return outcomes


def test_of_many_edits_at_the_same_moment_one_goes_through(by):
    job = JobFactory(visit__taken_in_by=by)
    outcomes = at_once(
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
    outcomes = at_once(lambda number: labour.start(jobs[number], by=by))
    assert sum(isinstance(outcome, LabourSpell) for outcome in outcomes) == 1
    assert sum(isinstance(outcome, TimerRunsElsewhere) for outcome in outcomes) == AT_ONCE - 1
    assert LabourSpell.objects.filter(ended__isnull=True).count() == 1


def test_many_notes_at_the_same_moment_are_all_kept(by):
    job = JobFactory(visit__taken_in_by=by)
    at_once(lambda number: work.note(job, text=f"Note {number}", by=by))
    assert {note.text for note in job.notes.all()} == {f"Note {number}" for number in range(AT_ONCE)}


def test_many_orders_of_the_line_leave_one_line(by):
    jobs = [JobFactory(visit__taken_in_by=by) for _ in range(AT_ONCE)]
    outcomes = at_once(
        lambda number: queueing.put(jobs[number], beside=jobs[0], after=False, on=TODAY, by=by)
    )
    assert outcomes == [None] * AT_ONCE
    assert sorted(job.pk for job in order()) == [job.pk for job in jobs]
    places = [job.queue_position for job in order()]
    assert len(set(places)) == AT_ONCE
    assert order()[-1] == jobs[0]
