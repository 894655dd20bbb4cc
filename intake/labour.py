"""Labour: a timer that runs on the server, or minutes written down afterwards.

The running spell is a row, so a tablet that is shut, or a shop's PC that loses its power, loses nothing. A
person has two hands and works on one job: at most one spell of theirs runs, and the database holds to that.
"""

import datetime as dt

from django.db import transaction
from django.utils import timezone

from intake import minutes as spans
from intake.models import Charge, Job, LabourSpell
from intake.work import mark, take_revision
from intake.workflow import still_open
from shop import timeline
from shop.errors import NotAllowedYet, Refused
from shop.models import Staff
from shop.wording import span_words


class TimerRunsElsewhere(Refused):
    """This person's timer runs on another job.

    Attributes:
        spell: the running spell.
    """

    status = 409

    def __init__(self, spell: LabourSpell):
        super().__init__(
            f"Your timer runs on {spell.job.claim}, {spell.job.gear}. Stop it there, start it here: one tap."
        )
        self.spell = spell


def running(who: Staff) -> LabourSpell | None:
    """This person's running spell, with its job and gear."""
    return LabourSpell.objects.filter(who=who, ended__isnull=True).select_related("job__gear").first()


@transaction.atomic
def start(job: Job, *, by: Staff, leave_other: bool = False, words_there: str = "") -> LabourSpell:
    """Start this person's timer on a job; it goes on if it runs here already.

    `leave_other` stops the one that runs on another job first, with `words_there` for what was done there.

    Raises:
        TimerRunsElsewhere: it runs on another job, and `leave_other` wasn't said.
        NotAllowedYet: the job is over.
    """
    # Two taps on two tablets queue up here, so that the second finds what the first began.
    Staff.objects.select_for_update().get(pk=by.pk)
    job = still_open(job)
    other = running(by)
    if other and other.job_id == job.pk:
        return other
    if other and not leave_other:
        raise TimerRunsElsewhere(other)
    if other:
        stop(other, words=words_there, by=by)
    spell = LabourSpell.objects.create(job=job, who=by)
    timeline.write(job, by=by, words="started the timer")
    return spell


@transaction.atomic
def stop(spell: LabourSpell, *, words: str, by: Staff, now: dt.datetime | None = None) -> LabourSpell:
    """Stop a running timer, and keep what was done. Stopping twice keeps the first time.

    The owner of the shop may stop somebody else's.

    Raises:
        NotAllowedYet: it is another's timer.
    """
    held = LabourSpell.objects.select_for_update(of=("self",)).select_related("job", "who").get(pk=spell.pk)
    if held.who_id != by.pk and not by.may("manage staff"):
        raise NotAllowedYet(f"This is {held.who}'s timer. They stop it, or the owner of the shop.")
    if held.ended:
        return held
    # A clock set back while the timer ran must not make a spell that ends before it began.
    held.ended = max(now or timezone.now(), held.began)
    held.minutes = spans.between(held.began, held.ended)
    held.words = words
    held.save()
    whose = "the timer" if held.who_id == by.pk else f"{held.who}'s timer"
    timeline.write(
        held.job,
        by=by,
        words=f"stopped {whose}",
        after={"Labour": span_words(held.minutes), "What was done": words},
    )
    return held


@transaction.atomic
def write_down(job: Job, *, minutes: int, words: str, by: Staff) -> LabourSpell:
    """Keep minutes that were worked without the timer; they are taken to have ended now."""
    job = still_open(job)
    now = timezone.now()
    spell = LabourSpell.objects.create(
        job=job, who=by, began=now - dt.timedelta(minutes=minutes), ended=now, minutes=minutes, words=words
    )
    timeline.write(
        job, by=by, words="wrote down labour", after={"Labour": span_words(minutes), "What was done": words}
    )
    return spell


@transaction.atomic
def change(spell: LabourSpell, *, minutes: int, words: str, by: Staff, revision: int) -> LabourSpell:
    """Change how long a spell took, or what was done in it.

    Raises:
        ChangedMeanwhile: somebody else changed it since `revision`.
        NotAllowedYet: it still runs, or it is charged.
    """
    still_open(spell.job)
    take_revision(spell, revision)
    _not_running(spell)
    if spell.minutes != minutes:
        _not_charged(spell)
    before = {"Labour": span_words(spell.minutes), "What was done": spell.words}
    after = {"Labour": span_words(minutes), "What was done": words}
    spell.minutes, spell.words = minutes, words
    spell.save()
    if before != after:
        timeline.write(spell.job, by=by, words="changed labour", before=before, after=after)
    return spell


@transaction.atomic
def strike(spell: LabourSpell, *, by: Staff) -> None:
    """Strike out a spell: it counts no more.

    Raises:
        NotAllowedYet: it still runs, or it is charged.
    """
    still_open(spell.job)
    spell.refresh_from_db()
    _not_running(spell)
    _not_charged(spell)
    if mark(spell, struck=True):
        timeline.write(spell.job, by=by, words=f"struck out labour: {_said(spell)}")


@transaction.atomic
def put_back(spell: LabourSpell, *, by: Staff) -> None:
    """Undo a strike."""
    still_open(spell.job)
    if mark(spell, struck=False):
        timeline.write(spell.job, by=by, words=f"put back labour: {_said(spell)}")


def origin(spell: LabourSpell) -> str:
    """What a charge for this spell names as its origin."""
    return f"labour/{spell.pk}"


def _said(spell: LabourSpell) -> str:
    return ", ".join(part for part in (span_words(spell.minutes or 0), spell.words) if part)


def _not_running(spell: LabourSpell) -> None:
    if not spell.ended:
        raise NotAllowedYet("This timer still runs. Stop it first.")


def _not_charged(spell: LabourSpell) -> None:
    if Charge.objects.standing().filter(origin=origin(spell)).exists():
        raise NotAllowedYet("This time is charged. Strike out its charge first.")
