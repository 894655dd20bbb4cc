"""Gear that nobody collects, in the invented town: letters as the terms ask for, and what became of it."""

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal
from typing import TYPE_CHECKING, Final

from django.utils import timezone

from intake import keeping, register, work
from intake.demo.plans import Plan, when_open
from intake.models import Job, State
from shop.models import Staff

if TYPE_CHECKING:
    from intake.demo.stories import Past

MOVED: Final = "Moved away, no new address"
NEW_ADDRESS: Final = "11 Sailmaker Steps, Port Ansley"


def stays(past: "Past", plan: Plan) -> Iterator[dt.datetime]:
    """Nobody comes: a letter whenever one is due; past the deadline the owner of the shop says so, and decides."""
    job, back = plan.job, plan.letter_comes_back
    while notice := keeping.clock_of(_now(job), past.shop).next_notice:
        yield _on(past, notice.on)
        sent = _letter(past, job, by=past.ida)
        if back:
            back = False
            yield past.clock.moment + dt.timedelta(days=9)
            keeping.came_back(sent, on=timezone.localdate(), words=MOVED, by=past.ida)
            yield past.clock.moment + dt.timedelta(days=2)
            work.note(job, text="Their brother rang back with the new address.", by=past.ida)
            move_house(plan, NEW_ADDRESS, by=past.ida)
    if plan.stop not in (State.LEFT_BEHIND, State.LET_GO):
        return
    yield _on(past, keeping.clock_of(_now(job), past.shop).act_from + dt.timedelta(days=2))
    keeping.leave_behind(job, by=past.wren, revision=_now(job).revision)
    work.note(job, text="Three letters, no answer. Kept on the top shelf until decided.", by=past.wren)
    if plan.stop == State.LET_GO:
        yield past.clock.moment + dt.timedelta(days=64)
        fate = keeping.Fate(
            became="sold",
            words="Asked around, then sold it in the shop window for what two others asked for theirs. "
            "What is left over waits for its owner in the safe.",
            to_whom="Tobin Crane",
            price=Decimal(420),
            method="cash",
            costs=Decimal("12.50"),
            costs_method="cash",
        )
        keeping.let_go(job, fate, by=past.wren, revision=_now(job).revision)


def move_house(plan: Plan, address: str, *, by: Staff) -> None:
    """Write down somebody's new address."""
    person = plan.customer.person
    person.refresh_from_db()
    facts = {name: getattr(person, name) for name in register.PERSON_FIELDS} | {"address": address}
    phones = [register.Number(phone.number, phone.label) for phone in person.phones.all()]
    register.change_person(person, facts=facts, phones=phones, by=by, revision=person.revision)


def _letter(past: "Past", job: Job, *, by: Staff) -> keeping.StorageNotice:
    now = _now(job)
    words = keeping.letter_words(now, keeping.clock_of(now, past.shop), past.shop)
    seen = len(now.storage_notices.all())
    registered = seen > 0
    letter = keeping.Letter(
        now, words, seen, tracking=f"RR{past.dice.randint(10**7, 10**8)}" if registered else ""
    )
    how = "registered" if registered else "letter"
    return keeping.send_notice(letter, how=how, sent_on=timezone.localdate(), by=by)


def _now(job: Job) -> Job:
    return keeping.with_record().get(pk=job.pk)


def _on(past: "Past", day: dt.date) -> dt.datetime:
    """A quiet hour of a day, or of the next on which the shop is open; never before the present moment."""
    moment = dt.datetime.combine(day, dt.time(10, 20), past.shop.zone)
    return max(when_open(moment), past.clock.moment)
