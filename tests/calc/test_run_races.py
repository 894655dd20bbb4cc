"""Eight tablets on one list at the same moment, with real threads: on a SQLite file, and on PostgreSQL."""

from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from django.conf import settings

from calc import runs, safety
from calc.models import GearBuild, ListChange, ListRun, ListVersion, Mark, Reading, SignOff
from intake.models import State
from intake.workflow import move
from shop.errors import ChangedMeanwhile, NotAllowedYet
from shop.roles import Role
from tests.at_once import at_once
from tests.calc.doing import a_meter
from tests.calc.lists import our_list
from tests.factories import JobFactory, ShopFactory, StaffFactory

EIGHT = 8
ON_SQLITE = settings.DATABASES["default"]["ENGINE"].endswith("sqlite3")
pytestmark = [] if ON_SQLITE else [pytest.mark.django_db(transaction=True)]


@pytest.fixture
def by(racing_database: None) -> Any:
    ShopFactory()
    return StaffFactory(role=Role.OWNER)


@pytest.fixture
def job(by):
    our_list()
    return move(JobFactory(visit__taken_in_by=by), to=State.ON_THE_BENCH, by=by, revision=1)


def by_eight(act: Callable[[int], Any]) -> list[Any]:
    return at_once([partial(act, number) for number in range(EIGHT)])


def of_kind(outcomes: list[Any], kind: type) -> int:
    return sum(isinstance(each, kind) for each in outcomes)


def test_of_eight_who_sign_a_line_one_has_signed_it(job, by):
    run = runs.begin(job, slug="our-list", by=by)
    said = ("done", "failed")
    outcomes = by_eight(
        lambda n: runs.sign(run, key="look", outcome=said[n % 2], words=f"Tablet {n}", seen=0, by=by)
    )
    assert of_kind(outcomes, Mark) == 1
    assert of_kind(outcomes, ChangedMeanwhile) == EIGHT - 1
    kept = next(each for each in outcomes if isinstance(each, Mark))
    assert Mark.objects.get() == kept


def test_of_eight_who_sign_a_reading_one_reading_is_kept(job, by):
    run = runs.begin(job, slug="our-list", by=by)
    first, meter = runs.sign(run, key="look", outcome="done", seen=0, by=by), a_meter()
    outcomes = by_eight(
        lambda n: runs.sign(run, key="read", written=f"6.{n}", meter=meter, seen=first.pk, by=by)
    )
    assert of_kind(outcomes, Mark) == 1 and of_kind(outcomes, ChangedMeanwhile) == EIGHT - 1
    assert Reading.objects.count() == 1


def test_eight_who_begin_a_list_begin_one_run_of_one_version(job, by):
    slugs = ("our-list", "soak")
    outcomes = by_eight(lambda n: runs.begin(job, slug=slugs[n % 2], by=by))
    assert of_kind(outcomes, ListRun) == EIGHT
    assert ListRun.objects.count() == 2
    assert ListVersion.objects.filter(slug="soak").count() == 1


def test_eight_who_sign_it_off_are_one_signature(job, by):
    run = runs.begin(job, slug="our-list", by=by)
    Mark.objects.bulk_create(Mark(run=run, key=k, outcome="done", by=by) for k in ("look", "read", "fan"))
    outcomes = by_eight(lambda n: runs.sign_off(run, passed=True, words=f"Tablet {n}", by=by))
    assert of_kind(outcomes, SignOff) == EIGHT
    assert len({each.pk for each in outcomes}) == 1


def test_a_line_that_fails_while_the_list_is_signed_off_is_never_passed(job, by):
    """Whichever comes first: the list is signed and takes no mark, or the line is failed and it isn't signed."""
    run = runs.begin(job, slug="our-list", by=by)
    Mark.objects.bulk_create(Mark(run=run, key=k, outcome="done", by=by) for k in ("look", "read", "fan"))
    seen = Mark.objects.order_by("pk").last().pk

    def act(n):
        if n % 2:
            return runs.sign_off(run, passed=True, by=by)
        return runs.sign(run, key="look", outcome="failed", words="It is damaged", seen=seen, by=by)

    outcomes = by_eight(act)
    failed = Mark.objects.filter(outcome="failed").count()
    assert failed + SignOff.objects.count() == 1
    assert of_kind(outcomes, NotAllowedYet) + of_kind(outcomes, ChangedMeanwhile) >= EIGHT // 2 - 1
    is_passed = safety.lists_on(job).get("our-list").standing is safety.Standing.PASSED
    assert is_passed == (not failed)


def test_of_eight_who_write_down_how_it_is_built_one_has_written_it(job, by):
    outcomes = by_eight(
        lambda n: safety.describe(
            job, protection="class-i", line_volts=f"{100 + n} V", contains=[], by=by, seen=0
        )
    )
    assert of_kind(outcomes, GearBuild) == 1
    assert of_kind(outcomes, ChangedMeanwhile) == EIGHT - 1


def test_eight_who_put_a_list_on_put_it_on_once(job, by):
    by_eight(lambda n: safety.put_on(job, slug="lead-acid", by=by))
    assert ListChange.objects.count() == 1
