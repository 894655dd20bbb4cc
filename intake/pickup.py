"""How gear goes home: the owner is told, everything is ticked off, somebody signs, the warranty starts."""

import datetime as dt
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass

from django.db import transaction
from django.utils import timezone

from intake import billing, comebacks, warranty, workflow
from intake.models import Job, LetGo, Pickup, ReadyNotice, Signature, State
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowed, NotAllowedYet
from shop.models import Shop, Staff
from shop.sockets import Socket

FROM = (State.READY, State.LEFT_BEHIND)


@dataclass(frozen=True)
class ToKnow:
    """What whoever takes a piece of gear home must know of it. A floor above plugs in here.

    `said(job)` is a sentence that stands above their signature, or an empty text. Where there is one, they sign with
    their own hand.
    """

    name: str
    said: Callable[[Job], str]
    order: int = 50


to_know: Socket[ToKnow] = Socket()


# --- The ready notice ------------------------------------------------------------------------------------


@transaction.atomic
def tell(job: Job, *, how: str, words: str = "", by: Staff) -> ReadyNotice:
    """Record that the owner was told that the gear is ready.

    Raises:
        NotAllowedYet: it isn't ready.
    """
    job = Job.objects.select_for_update().get(pk=job.pk)
    if job.state not in FROM:
        raise NotAllowedYet("It isn't ready yet. Tell the owner when it is.")
    notice = ReadyNotice.objects.create(job=job, how=how, words=words, by=by)
    timeline.write(
        job,
        by=by,
        words=f"told the owner that it is ready, {notice.get_how_display().lower()}",
        after={"In words": words} if words else None,
    )
    return notice


def told(job: Job) -> list[ReadyNotice]:
    """The notices since it last became ready. What was told before it went back to the bench is history."""
    return [n for n in job.ready_notices.select_related("by") if job.ready_at is None or n.at >= job.ready_at]


def first_told(job: Job) -> dt.datetime | None:
    """When the owner was first told since it last became ready, by the notices that were read with the job."""
    told = [n.at for n in job.ready_notices.all() if job.ready_at is None or n.at >= job.ready_at]
    return min(told, default=None)


# --- The pickup ------------------------------------------------------------------------------------------


def money_settled(job: Job, to: str, by: Staff) -> str | None:
    """Gate: nothing is collected with money owed or charges that no invoice has, unless the owner waived it.

    The waiver is on the pickup, which `hand_back` writes before it moves the job. So no other way leads out.
    """
    if to != State.COLLECTED or Pickup.objects.filter(job=job, waived_by__isnull=False).exists():
        return None
    return billing.still_open(job).why or None


def what_is_signed(job: Job, went: Collection[str], must: str | None = None) -> str:
    """The words above the signature at a pickup. `must` is what must be known, where that was asked already."""
    things = ", ".join([str(job.gear), *went])
    received = f"I have received from the repair, claim number {job.claim}: {things}."
    return " ".join(filter(None, [received, must_know(job) if must is None else must]))


def must_know(job: Job) -> str:
    """What whoever takes it must know, and sign with their own hand. Empty where there is nothing of the kind."""
    return " ".join(said for each in to_know if (said := each.said(job)))


@transaction.atomic
def hand_back(
    job: Job,
    *,
    by: Staff,
    revision: int,
    handed_to: str,
    gear_went: bool,
    went: Collection[int],
    stayed: Mapping[int, str],
    how: str = "counter",
    carrier: str = "",
    svg: str = "",
    device: str = "",
    waiver: str = "",
    known: str = "",
) -> Pickup:
    """Hand gear back: one transaction from the ticks to the start of the warranty.

    `went` are the keys of the loose pieces that go home; `stayed` has a sentence for each of the others. At
    the counter whoever takes it signs (`svg` is empty where the name was typed); by mail the carrier is named
    instead. `waiver` is why it goes home with money owed: the owner's word alone. `known` is what stood above the
    signature of `must_know`.

    Raises:
        ChangedMeanwhile: somebody else changed the job, what came with it, or what must be known of it, since.
        NotAllowed: `by` may not waive money.
        NotAllowedYet: it isn't ready, something isn't accounted for, money is owed, or what must be known of it
            isn't signed by hand.
    """
    job = Job.objects.select_for_update(of=("self",)).select_related("gear", "person").get(pk=job.pk)
    if job.revision != revision:
        raise ChangedMeanwhile(
            "Someone else changed this job while you had it open. Look at it; then hand it back.",
            revision=job.revision,
        )
    if job.state not in FROM:
        raise NotAllowedYet(f"This job is {State(job.state).label}. Gear is handed back when it is ready.")
    if not handed_to.strip():
        raise NotAllowedYet("Write down who takes it.")
    if not gear_went:
        raise NotAllowedYet("Tick off the gear itself: without it there is nothing to hand back.")
    if how == "mail" and not carrier.strip():
        raise NotAllowedYet("Write down the carrier and the parcel number.")
    pieces = list(job.pieces.all())
    if {piece.pk for piece in pieces} != set(went) | set(stayed):
        raise ChangedMeanwhile(
            "What came with it was changed meanwhile. Tick off the list as it is now.", revision=job.revision
        )
    home = [piece for piece in pieces if piece.pk in went]
    left = [piece for piece in pieces if piece.pk not in went]
    for piece in left:
        if not stayed[piece.pk].strip():
            raise NotAllowedYet(f"“{piece.name}” isn't ticked. Write a sentence why it doesn't go home.")
    must = _is_known(job, known, how=how, svg=svg)
    still = billing.still_open(job)
    waived = bool(waiver.strip()) and not still.is_settled
    if waived and not by.may("waive money owed"):
        raise NotAllowed("Only the owner of the shop can let gear go with money owed. Change person.")
    if not waived and not still.is_settled:
        raise NotAllowedYet(still.why)

    signature = None
    if how == "counter":
        signature = Signature.objects.create(
            purpose=Signature.Purpose.PICKUP,
            name=handed_to,
            svg=svg,
            words=what_is_signed(job, [piece.name for piece in home], must),
            device=device[:300],
        )
    kept = Pickup.objects.create(
        job=job,
        handed_to=handed_to,
        how=how,
        carrier=carrier if how == "mail" else "",
        signature=signature,
        missing="\n".join(f"{piece.name}: {stayed[piece.pk].strip()}" for piece in left),
        owed=still.owed if waived else 0,
        waiver=waiver.strip() if waived else "",
        waived_by=by if waived else None,
        by=by,
    )
    was_left = job.state == State.LEFT_BEHIND
    job = workflow.move(job, to=State.COLLECTED, by=by, revision=revision, through="pickup")
    if was_left:
        LetGo.objects.create(
            job=job,
            became=LetGo.Became.RETURNED,
            on=timezone.localdate(kept.at),
            to_whom=handed_to,
            words="Its owner collected it after all.",
            decided_by=by,
        )
    job.pieces.filter(pk__in=[piece.pk for piece in home]).update(went_home_at=kept.at)
    _start_warranty(job)
    timeline.write(
        job,
        by=by,
        words=f"handed it to {handed_to}" + (f" by {carrier}" if how == "mail" else ""),
        after={
            "Went home": ", ".join([str(job.gear), *(piece.name for piece in home)]),
            "Stayed here": kept.missing,
            "Went with money owed, because": kept.waiver,
            "Warranty on labour until": job.labour_warranty_until,
            "Warranty on parts until": job.parts_warranty_until,
        },
    )
    return kept


def _is_known(job: Job, known: str, *, how: str, svg: str) -> str:
    must = must_know(job)
    if " ".join(known.split()) != " ".join(must.split()):
        raise ChangedMeanwhile(
            "What they sign has changed since the page was opened. Let them read it as it is now, and sign again.",
            revision=job.revision,
        )
    if must and how != "counter":
        raise NotAllowedYet(
            "It can’t go by mail: whoever takes it signs with their own hand that they know what is wrong with it. "
            "Let its owner, or somebody they send, collect it at the counter."
        )
    if must and not svg:
        raise NotAllowedYet(
            "A typed name isn’t enough: whoever takes it signs on the glass that they know what is wrong with it. "
            "If they can’t, somebody with them signs, and stands written down as who takes it."
        )
    return must


def _start_warranty(job: Job) -> None:
    """Warranty runs from the shop's local date. What goes home as it is has none.

    How long is what the owner of the gear signed; terms that say nothing of it leave it to the shop's figures
    of today.
    """
    shop = Shop.current()
    if job.declined or shop is None:
        return
    day, signed = billing.today(shop), comebacks.warranty_signed(job)
    job.labour_warranty_until = warranty.last_day(day, signed.labour_days)
    job.parts_warranty_until = warranty.last_day(day, signed.parts_days)
    job.save(update_fields=["labour_warranty_until", "parts_warranty_until"])
