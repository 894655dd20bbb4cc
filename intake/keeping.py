"""Gear that nobody collects: notices, what came back, when the clock stands still, and what became of it.

`intake.storage` reckons; here is what is recorded, and who may. Nothing happens by itself: the clock only says
what is due. The shop's owner decides, and the clock's reasons are kept beside the decision.
"""

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from django.db import transaction
from django.db.models import F, Max, Prefetch, QuerySet, prefetch_related_objects
from django.utils import timezone

from intake import billing, payments, storage, workflow
from intake.folding import fold
from intake.models import (
    Charge,
    Job,
    LetGo,
    NoticeBack,
    Person,
    Photo,
    ReadyNotice,
    State,
    StorageNotice,
    StoragePause,
    Visit,
)
from intake.models.bills import LineKind
from shop import money, timeline
from shop.errors import ChangedMeanwhile, NotAllowed, NotAllowedYet, Refused
from shop.models import Shop, Staff, Terms
from shop.sockets import Socket
from shop.wording import day_words

HERE: Final = (State.READY, State.LEFT_BEHIND)
BY_POST: Final = (StorageNotice.How.LETTER, StorageNotice.How.REGISTERED)
BECAME: Final = [became for became in LetGo.Became if became != LetGo.Became.RETURNED]
LONGEST_LETTER: Final = 6000
LAW: Final = "Laws on storage, liens and abandoned property differ by place: have this checked locally."


@dataclass(frozen=True)
class PartsTaker:
    """Takes in what gear that was kept for parts has to give. The stock plugs in here, from the floor above."""

    name: str
    take: Callable[[Job, LetGo, Staff], None]  # called inside the transaction that lets the gear go
    order: int = 50


parts_takers: Socket[PartsTaker] = Socket()


# --- Reading the clock -----------------------------------------------------------------------------------


def with_record(jobs: QuerySet[Job] | None = None) -> QuerySet[Job]:
    """Jobs with all that their clocks need, in a fixed number of queries."""
    jobs = Job.objects.all() if jobs is None else jobs
    return jobs.select_related("visit__terms", "person", "gear", "let_go").prefetch_related(*_record())


def read_record(jobs: Iterable[Job]) -> None:
    """The same for jobs that were read already, of many that need none of it."""
    visits = Visit.objects.select_related("terms").defer("terms__text", "terms__storage_text")
    prefetch_related_objects(list(jobs), Prefetch("visit", visits), *_record())


def _record() -> tuple[Prefetch, ...]:
    return (
        Prefetch("ready_notices", ReadyNotice.objects.select_related("by").order_by("at", "pk")),
        Prefetch(
            "storage_notices",
            StorageNotice.objects.select_related("back__by", "by", "proof").order_by("sent_on", "number"),
        ),
        Prefetch(
            "storage_pauses", StoragePause.objects.select_related("by", "ended_by").order_by("began", "pk")
        ),
    )


def terms_of(terms: Terms) -> storage.StorageTerms:
    """The figures of the terms that were signed."""
    return storage.StorageTerms(
        free_days=terms.free_days,
        daily_fee=terms.daily_fee,
        fee_cap=terms.fee_cap,
        notices=terms.notices,
        deadline_days=terms.deadline_days,
        notice_gap_days=terms.notice_gap_days,
    )


def record_of(job: Job, shop: Shop) -> storage.Record:
    """What is recorded of a job, as the clock takes it. `job` comes from `with_record`."""
    told = [n.at for n in job.ready_notices.all() if job.ready_at is None or n.at >= job.ready_at]
    here = fold(mailing_address(job.person))
    return storage.Record(
        told_on=storage.day_in(min(told), shop.zone) if told else None,
        notices=tuple(
            storage.Notice(
                number=notice.number,
                sent_on=notice.sent_on,
                back_on=notice.back.on if hasattr(notice, "back") else None,
                to_old_address=notice.how in BY_POST and fold(notice.address) != here,
            )
            for notice in job.storage_notices.all()
        ),
        pauses=tuple(
            storage.Pause(began=pause.began, ended=pause.ended, why=pause.get_why_display())
            for pause in job.storage_pauses.all()
        ),
        dispute_open=dispute_of(job) is not None,
    )


def pause_of(job: Job) -> StoragePause | None:
    """The pause that is open, whatever it is for."""
    return next((pause for pause in job.storage_pauses.all() if pause.ended is None), None)


def dispute_of(job: Job) -> StoragePause | None:
    """The dispute about money that is open."""
    running = pause_of(job)
    return running if running is not None and running.why == StoragePause.Why.DISPUTE else None


def clock_of(job: Job, shop: Shop, on: dt.date | None = None) -> storage.Clock:
    """The job's clock on a day, or today; of gear that is gone, on the day it went."""
    if on is None:
        gone = {State.COLLECTED: job.collected_at, State.LET_GO: job.state_since}.get(State(job.state))
        on = storage.day_in(gone, shop.zone) if gone else billing.today(shop)
    return storage.clock(terms_of(job.visit.terms), record_of(job, shop), on)


@dataclass(frozen=True)
class Waits:
    """A job that waits to be collected, its clock, and whether its owner's address is in question."""

    job: Job
    clock: storage.Clock
    in_question: bool = False

    @property
    def is_disputed(self) -> bool:
        return dispute_of(self.job) is not None

    @property
    def is_due(self) -> bool:
        """A notice is due, and the owner knows that it is ready."""
        return self.clock.next_notice is not None and self.clock.next_notice.is_due


def waiting(shop: Shop, on: dt.date | None = None, jobs: Iterable[Job] | None = None) -> list[Waits]:
    """All that waits to be collected, with its clock, the longest first. Six queries, however many there are.

    `jobs` are those, from `with_record`, where somebody read them already.
    """
    on = on or billing.today(shop)
    jobs = list(with_record(Job.objects.standing(*HERE)) if jobs is None else jobs)
    doubtful = in_question({job.person_id: job.person for job in jobs})
    rows = [Waits(job, clock_of(job, shop, on), job.person_id in doubtful) for job in jobs]
    return sorted(rows, key=lambda row: (-row.clock.day, row.job.state_since, row.job.pk))


# --- Where letters go ------------------------------------------------------------------------------------


def mailing_address(person: Person) -> str:
    """What stands on the envelope; empty where no address is written down."""
    return f"{person.name}\n{person.address.strip()}" if person.address.strip() else ""


def in_question(people: dict[int, Person]) -> set[int]:
    """Whose address is in question: a letter came back after the day on which it was last known to be right."""
    backs = (
        NoticeBack.objects.filter(notice__job__person__in=people, notice__how__in=BY_POST)
        .order_by()
        .values_list("notice__job__person")
        .annotate(Max("on"))
    )
    return {pk for pk, on in backs if people[pk].address_since is None or on > people[pk].address_since}


def address_in_question(person: Person) -> bool:
    return bool(in_question({person.pk: person}))


@transaction.atomic
def confirm_address(person: Person, *, by: Staff, revision: int) -> Person:
    """Record that the address is right after all, although a letter came back.

    Raises:
        ChangedMeanwhile: somebody corrected the person since.
        NotAllowedYet: there is no address, or it isn't in question.
    """
    now = Person.objects.select_for_update().get(pk=person.pk)
    if now.revision != revision:
        raise ChangedMeanwhile("Someone else changed this address. Look at it; then confirm it.")
    if not now.address.strip():
        raise NotAllowedYet("No address is written down. Ask for it by phone, then write it down.")
    if not address_in_question(now):
        raise NotAllowedYet("This address isn't in question.")
    Person.objects.filter(pk=now.pk).update(
        address_since=billing.today(billing.the_shop()), revision=F("revision") + 1
    )
    timeline.write(now, by=by, words="confirmed the address", after={"Address": now.address})
    return now


# --- Notices ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Letter:
    """A notice as it is sent, to be recorded: `seen` is how many notices the page showed."""

    job: Job
    words: str
    seen: int
    tracking: str = ""
    proof: Photo | None = None


def letter_words(job: Job, clock: storage.Clock, shop: Shop) -> str:
    """A polite letter in our own neutral words, for the shop to change before it is printed."""
    terms, currency = job.visit.terms, shop.currency
    gear = f"{job.gear}, serial {job.gear.serial}" if job.gear.serial else str(job.gear)
    lines = [
        f"Dear {job.person.name},",
        f"Your gear waits for you: {gear}, claim number {job.claim}. "
        f"We told you on {day_words(clock.told_on)} that it is ready.",
    ]
    if terms.daily_fee:
        fee = billing.say(terms.daily_fee, currency)
        if clock.chargeable_days:
            so_far = billing.say(clock.fee, currency)
            lines.append(
                f"Storage was free until {day_words(clock.last_free_day)}. Since then it costs {fee} a day; "
                f"until today that comes to {so_far}."
            )
        else:
            lines.append(
                f"Storage is free until {day_words(clock.last_free_day)}. After that it costs {fee} a day."
            )
    last = f"By the terms you agreed to on {day_words(timezone.localdate(job.visit.at, shop.zone))}, "
    if clock.is_past_deadline:
        last += f"the last day to collect it was {day_words(clock.deadline)}. Please come as soon as you can."
    else:
        last += f"the last day to collect it is {day_words(clock.deadline)}."
    reach = " or ".join(word for word in (shop.phone, shop.email) if word)
    lines += [
        last,
        "If you can’t come, somebody you name can collect it, or we send it to you. If anything here looks "
        "wrong to you, please tell us: we will look at it together."
        + (f" You reach us at {reach}." if reach else ""),
        "Laws on storage and on property that isn’t collected differ by place. You may have rights beside "
        "these terms.",
        f"Kind regards\n{shop.name}",
    ]
    return "\n\n".join(lines)


def why_no_letter(job: Job, *, in_question: bool | None = None) -> str:
    """What keeps a letter from being sent; empty where nothing does. `in_question` where it is known already."""
    if not mailing_address(job.person):
        return f"No address of {job.person} is written down. Ask for it by phone."
    if address_in_question(job.person) if in_question is None else in_question:
        return (
            f"A letter to {job.person} came back, so the address is in question. "
            "Confirm or correct it on their page first."
        )
    return ""


@transaction.atomic
def send_notice(letter: Letter, *, how: str, sent_on: dt.date, by: Staff) -> StorageNotice:
    """Record a notice as it was sent. Its words are kept whole.

    Raises:
        ChangedMeanwhile: somebody recorded another one since.
        NotAllowedYet: the gear doesn't wait, the owner wasn't told yet, the day can't be, or there is no address
            that a letter could go to.
    """
    shop = billing.the_shop()
    job = _held(letter.job)
    _waits_here(job)
    clock = clock_of(job, shop)
    if not clock.runs:
        raise NotAllowedYet(f"{job.claim}: {storage.NOT_TOLD}")
    if len(job.storage_notices.all()) != letter.seen:
        raise ChangedMeanwhile(
            f"Someone else recorded a notice about {job.claim} while you had this open. Look at the job first.",
            revision=job.revision,
        )
    if not clock.told_on <= sent_on <= clock.on:
        raise NotAllowedYet(
            f"{job.claim}: a notice is sent between {day_words(clock.told_on)}, when the owner was told, and today."
        )
    if not letter.words.strip():
        raise NotAllowedYet(f"{job.claim}: write down what the notice says.")
    if letter.proof is not None and letter.proof.job_id != job.pk:
        raise NotAllowedYet("That photo is of another job. Choose one of this job's.")
    if how in BY_POST and (why := why_no_letter(job)):
        raise NotAllowedYet(why)
    to = {
        StorageNotice.How.EMAIL: job.person.email,
        StorageNotice.How.IN_PERSON: job.person.name,
    }.get(StorageNotice.How(how), mailing_address(job.person))
    if not to:
        raise NotAllowedYet(f"No e-mail address of {job.person} is written down. Send a letter.")
    last = max((n.number for n in job.storage_notices.all()), default=0)
    notice = StorageNotice.objects.create(
        job=job,
        number=last + 1,
        how=how,
        address=to,
        words=letter.words,
        sent_on=sent_on,
        tracking=letter.tracking,
        proof=letter.proof,
        by=by,
    )
    timeline.write(
        job,
        by=by,
        words=f"sent notice {notice.number} that it waits, {notice.get_how_display().lower()}",
        after={"Sent on": day_words(sent_on), "To": to, "Tracking": letter.tracking},
    )
    return notice


@transaction.atomic
def came_back(notice: StorageNotice, *, on: dt.date, words: str = "", by: Staff) -> NoticeBack:
    """Record that a notice came back undelivered: it doesn't count, and the address is in question.

    Raises:
        NotAllowedYet: it came back already, the day can't be, or the gear is gone.
    """
    job = _held(notice.job)
    _waits_here(job)
    if NoticeBack.objects.filter(notice=notice).exists():
        raise NotAllowedYet("That notice came back already.")
    if notice.how == StorageNotice.How.IN_PERSON:
        raise NotAllowedYet("That notice was handed over: it can't have come back.")
    if not notice.sent_on <= on <= billing.today(billing.the_shop()):
        raise NotAllowedYet(f"It came back between {day_words(notice.sent_on)}, when it was sent, and today.")
    back = NoticeBack.objects.create(notice=notice, on=on, words=words, by=by)
    said = {"Came back on": day_words(on), "It says": words}
    timeline.write(job, by=by, words=f"recorded that notice {notice.number} came back", after=said)
    if notice.how in BY_POST:
        timeline.write(job.person, by=by, words="put the address in question: a letter came back", after=said)
    return back


# --- When it stands still --------------------------------------------------------------------------------


@transaction.atomic
def pause(job: Job, *, why: str, words: str, by: Staff, began: dt.date | None = None) -> StoragePause:
    """Let the clock stand still from a day on, today where none is given, because the shop is the cause.

    Raises:
        NotAllowedYet: it stands still already, there are no words, or the day can't be; or it is a dispute.
    """
    if why == StoragePause.Why.DISPUTE:
        raise NotAllowedYet("Record a dispute as such: with who says so, and in the end what was agreed.")
    job, began = _held(job), began or billing.today(billing.the_shop())
    _can_stand_still(job, words, began)
    if pause_of(job) is not None:
        raise NotAllowedYet("The clock stands still already. Let it run first.")
    paused = StoragePause.objects.create(job=job, why=why, words=words.strip(), began=began, by=by)
    timeline.write(
        job,
        by=by,
        words="let the storage clock stand still",
        after={"From": day_words(began), "Because": f"{paused.get_why_display()}. {paused.words}"},
    )
    return paused


def _can_stand_still(job: Job, words: str, began: dt.date) -> None:
    shop = billing.the_shop()
    _waits_here(job)
    if not words.strip():
        raise NotAllowedYet("Write down what it is about.")
    if not storage.day_in(job.since, shop.zone) <= began <= billing.today(shop):
        raise NotAllowedYet("The clock can stand still from the day the gear came in until today.")


@transaction.atomic
def resume(job: Job, *, by: Staff, ended: dt.date | None = None) -> StoragePause:
    """Let the clock run again. The last day of the pause, today where none is given, still stands still.

    Raises:
        NotAllowedYet: it runs, or the day can't be; or what holds it is a dispute, which is settled.
    """
    job = _held(job)
    running = pause_of(job)
    if running is None:
        raise NotAllowedYet("The clock runs already.")
    if running.why == StoragePause.Why.DISPUTE:
        raise NotAllowedYet("A dispute holds the clock. Write down how it was settled; then it runs.")
    _end(running, ended or billing.today(billing.the_shop()), by)
    timeline.write(
        job, by=by, words="let the storage clock run again", after={"After": day_words(running.ended)}
    )
    return running


def _end(running: StoragePause, on: dt.date, by: Staff, agreed: str = "") -> None:
    if not running.began <= on <= billing.today(billing.the_shop()):
        raise NotAllowedYet(f"It ended between {day_words(running.began)}, when it began, and today.")
    running.ended, running.ended_by, running.agreed = on, by, agreed
    running.save(update_fields=["ended", "ended_by", "agreed"])


# --- Disputes --------------------------------------------------------------------------------------------


@transaction.atomic
def open_dispute(
    job: Job, *, who: str, words: str, by: Staff, revision: int, began: dt.date | None = None
) -> StoragePause:
    """Record that somebody disputes money that the shop asks for. Until it is settled the storage clock stands
    still, and the shop may not act. It takes the place of another pause that is open.

    Raises:
        ChangedMeanwhile: somebody else changed the job since.
        NotAllowedYet: a dispute is open, who says so or what it is about is missing, or the day can't be.
    """
    job, today = _held(job), billing.today(billing.the_shop())
    if dispute_of(job) is not None:
        raise NotAllowedYet("A dispute is open already. Settle it first.")
    began = began or today
    _can_stand_still(job, words, began)
    if not who.strip():
        raise NotAllowedYet("Write down who says so.")
    job.take_revision(revision)
    if (running := pause_of(job)) is not None:
        _end(running, today, by)
    opened = StoragePause.objects.create(
        job=job, why=StoragePause.Why.DISPUTE, who=who.strip(), words=words.strip(), began=began, by=by
    )
    timeline.write(
        job,
        by=by,
        words="recorded a dispute about money; the storage clock stands still",
        after={"Who says so": opened.who, "What it is about": opened.words, "From": day_words(began)},
    )
    return opened


@transaction.atomic
def settle_dispute(
    job: Job, *, agreed: str, by: Staff, revision: int, ended: dt.date | None = None
) -> StoragePause:
    """Record what was agreed. The day on which it was settled, today where none is given, still stands still.

    Raises:
        ChangedMeanwhile: somebody else changed the job since.
        NotAllowedYet: no dispute is open, what was agreed is missing, or the day can't be.
    """
    job = _held(job)
    running = dispute_of(job)
    if running is None:
        raise NotAllowedYet("No dispute is open here.")
    if not agreed.strip():
        raise NotAllowedYet("Write down what was agreed.")
    job.take_revision(revision)
    _end(running, ended or billing.today(billing.the_shop()), by, agreed.strip())
    timeline.write(
        job,
        by=by,
        words="recorded how the dispute was settled",
        after={"What was agreed": running.agreed, "Settled on": day_words(running.ended)},
    )
    return running


# --- The fee ---------------------------------------------------------------------------------------------


def fee_charged(job: Job) -> Decimal:
    """What of the storage fee stands among the job's charges, invoiced or not."""
    lines = job.charges.standing().filter(origin__startswith=billing.storage_origin(job))
    currency = billing.the_shop().currency
    return sum((billing.line_amount(line, currency) for line in lines), Decimal(0))


def fee_open(job: Job, shop: Shop) -> Decimal:
    """What of the storage fee has come together by today and isn't charged; nothing for gear that doesn't wait."""
    if job.state not in HERE:
        return Decimal(0)
    fee = clock_of(with_record().get(pk=job.pk), shop).fee
    return max(fee - fee_charged(job), Decimal(0))


@transaction.atomic
def charge_storage(job: Job, *, by: Staff) -> Charge:
    """Put the storage fee that has come together among the job's charges, or bring it up to today.

    A charge that isn't invoiced is written anew; what is invoiced stays, and only the rest is charged.

    Raises:
        NotAllowedYet: there is nothing to charge.
    """
    shop, job = billing.the_shop(), _held(job)
    _waits_here(job)
    clock = clock_of(job, shop)
    line = _charge_storage(job, clock, clock.fee, by)
    if line is None:
        raise NotAllowedYet("There is no storage to charge that isn't charged already.")
    return line


def _charge_storage(job: Job, clock: storage.Clock, up_to: Decimal, by: Staff) -> Charge | None:
    """Let what is charged for storage, invoiced or not, come to so much; None where it is that much already."""
    origin = billing.storage_origin(job)
    job.charges.to_invoice().filter(origin__startswith=origin).update(
        struck_at=timezone.now(), revision=F("revision") + 1
    )
    rest = up_to - fee_charged(job)
    if rest <= 0:
        return None
    days = "1 day" if clock.chargeable_days == 1 else f"{clock.chargeable_days} days"
    line = Charge.objects.create(
        job=job,
        kind=LineKind.FEE,
        text=f"Storage, {days} until {day_words(clock.on)}",
        unit_price=rest,
        origin=f"{origin}{job.charges.filter(origin__startswith=origin, invoice__isnull=False).count() + 1}",
        by=by,
    )
    currency = billing.the_shop().currency
    timeline.write(job, by=by, words=f"charged {billing.say(rest, currency)} for storage")
    return line


@dataclass(frozen=True)
class Claims:
    """What the shop may claim from what gear brings: bills and charges that aren't paid, and storage.

    `storage` isn't charged yet, and bears no tax yet; `total` is with it, its tax, and what is in hand taken off.
    What was `written_off` before is among it: the bill stands, unless it is credited.
    """

    unpaid: Decimal
    storage: Decimal
    total: Decimal
    written_off: Decimal


def claims_on(job: Job, clock: storage.Clock) -> Claims:
    """What is open on a job.

    Raises:
        billing.CantBill: its charges make no bill.
    """
    shop, standing, proposed = billing.the_shop(), billing.account(job), billing.draft(job)
    more = max(clock.fee - fee_charged(job), Decimal(0))
    fee = billing.Row(LineKind.FEE, "Storage", Decimal(1), more)
    exempt = billing.is_exempt(job.person)
    lines = sorted(
        [*proposed.charges, fee], key=lambda line: line.kind == LineKind.DISCOUNT
    )  # they stand last
    gross = billing.total_of(lines, shop, billing.today(shop), exempt=exempt).gross
    billed = standing.billed - billing.fee_taken_off(proposed)
    unpaid, total = (
        max(money.balance(billed + each, [standing.paid]), Decimal(0))
        for each in (proposed.totals.gross, gross)
    )
    return Claims(unpaid, more, total, standing.written_off)


def surplus_of(price: Decimal, costs: Decimal, claims: Decimal) -> Decimal:
    """What of a sale's price is the gear's owner's: what the costs and the claims leave, never below zero."""
    return max(money.balance(price, [costs, claims]), Decimal(0))


# --- Left behind, and let go -------------------------------------------------------------------------------


@transaction.atomic
def leave_behind(job: Job, *, by: Staff, revision: int) -> Job:
    """Say of gear that is past its deadline that it is left behind: the shop's owner alone, and only if the
    clock allows it.

    Raises:
        ChangedMeanwhile: somebody else changed the job since.
        NotAllowed: `by` isn't the owner of the shop.
        NotAllowedYet: the clock says why not.
    """
    job, clock = _decided(job, by)
    job = workflow.move(job, to=State.LEFT_BEHIND, by=by, revision=revision, through="storage")
    timeline.write(
        job,
        by=by,
        words="recorded that it is left behind",
        after={"Deadline": day_words(clock.deadline), "Notices that count": clock.counted},
    )
    return job


@dataclass(frozen=True, kw_only=True)
class Fate:
    """What is to become of gear that was left behind. Sums are in the shop's currency.

    `price` is what it was sold for, or the value at which it is kept for parts; `method` how the buyer paid.
    """

    became: str
    words: str
    on: dt.date | None = None
    to_whom: str = ""
    price: Decimal | None = None
    method: str = ""
    costs: Decimal = Decimal(0)
    costs_method: str = ""
    storage: Decimal | None = (
        None  # what is charged for it of what isn't yet; all of it, where nothing is given
    )

    @property
    def is_sale(self) -> bool:
        return self.became == LetGo.Became.SOLD

    @property
    def pays(self) -> bool:
        """Whether it pays what is open: by what the sale brings, or by the value that the shop set."""
        return self.price is not None and self.became in (LetGo.Became.SOLD, LetGo.Became.PARTS)


@transaction.atomic
def let_go(job: Job, fate: Fate, *, by: Staff, revision: int) -> LetGo:
    """Record what became of gear that was left behind, and who decided. What was recorded before stays.

    Where it is sold, or kept for parts at a value, what is open is invoiced first, and what the gear brought pays in
    this order: what the sale cost, as without it there is no price; the invoices, the oldest first, as a payment of
    its owner would; storage among them last, as its invoice is the newest. The rest is in hand for its owner until it
    is given back. In every other case, and where it brought too little, what is owed stays so until it is paid or
    written off.

    Gear that its owner collects after all goes home through the pickup.

    Raises:
        ChangedMeanwhile: somebody else changed the job since.
        NotAllowed: `by` isn't the owner of the shop.
        NotAllowedYet: it isn't left behind, the clock says why not, or something of the fate is missing.
        billing.CantBill: what is open makes no bill, the costs are more than the price, or how it was paid is missing.
    """
    job, clock = _decided(job, by)
    if job.revision != revision:
        raise ChangedMeanwhile(
            "Someone else changed this job while you had it open. Look at it; then decide.",
            revision=job.revision,
        )
    if job.state != State.LEFT_BEHIND:
        raise NotAllowedYet("Only gear that is left behind can be let go.")
    if fate.became not in BECAME:
        raise NotAllowedYet("Gear that goes back to its owner is handed back on its pickup page.")
    if not fate.words.strip():
        raise NotAllowedYet("Write down why, and how it was decided.")
    on = fate.on or clock.on
    if not clock.act_from <= on <= clock.on:
        raise NotAllowedYet(
            f"The day lies between {day_words(clock.act_from)}, when it could first be done, and today."
        )
    if fate.is_sale and fate.price is None:
        raise NotAllowedYet("Write down what it was sold for.")
    if fate.is_sale and fate.price and not fate.method:
        raise NotAllowedYet("Say how the buyer paid.")
    if fate.became in (LetGo.Became.SOLD, LetGo.Became.GIVEN) and not fate.to_whom.strip():
        raise NotAllowedYet("Write down to whom it went.")
    price, costs, claims = (None, Decimal(0), Decimal(0))
    if fate.pays:
        price, costs = fate.price, fate.costs if fate.is_sale else Decimal(0)
        claims = _bill_claims(job, fate, clock, by)
    kept = LetGo.objects.create(
        job=job,
        became=fate.became,
        on=on,
        to_whom=fate.to_whom.strip(),
        price=price,
        costs=costs,
        claims=claims,
        surplus=surplus_of(price, costs, claims) if fate.pays else 0,
        words=fate.words.strip(),
        may_act=said_by(clock),
        decided_by=by,
    )
    if fate.pays:
        brought = payments.Brought(
            amount=price,
            method=fate.method if fate.is_sale else "",
            costs=costs,
            costs_method=fate.costs_method,
            note=_brought_words(kept),
        )
        payments.take_from_gear(job, brought, on=on, by=by)
    workflow.move(job, to=State.LET_GO, by=by, revision=revision, through="storage")
    currency = billing.the_shop().currency
    timeline.write(
        job,
        by=by,
        words=f"let it go: {kept.get_became_display().lower()}",
        after={
            "To": kept.to_whom,
            "Price" if fate.is_sale else "Value": billing.say(price, currency) if fate.pays else "",
            "Costs": billing.say(costs, currency) if costs else "",
            "Claimed by the shop": billing.say(claims, currency) if fate.pays else "",
            "Owed to its owner": billing.say(kept.surplus, currency) if fate.pays else "",
            "Why": kept.words,
        },
    )
    if kept.became == LetGo.Became.PARTS:
        for taker in parts_takers:
            taker.take(job, kept, by)
    return kept


def said_by(clock: storage.Clock) -> dict[str, Any]:
    """What the clock said, to be kept beside a decision."""
    return {
        "on": clock.on.isoformat(),
        "told on": clock.told_on.isoformat() if clock.told_on else "",
        "day": clock.day,
        "deadline": clock.deadline.isoformat() if clock.deadline else "",
        "storage fee": str(clock.fee),
        "notices that count": [one.notice.sent_on.isoformat() for one in clock.notices if one.counts],
        "may act": clock.may_act,
        "why not": list(clock.why_not),
    }


def _bill_claims(job: Job, fate: Fate, clock: storage.Clock, by: Staff) -> Decimal:
    """Invoice what is open, with as much storage as is claimed. Return what the shop claims of what it brought."""
    charged = fee_charged(job)
    most = max(clock.fee - charged, Decimal(0))
    more = most if fate.storage is None else fate.storage
    if more > most:
        currency = billing.the_shop().currency
        raise NotAllowedYet(
            f"The shop can claim at most {billing.say(most, currency)} for storage: the rest is charged already."
            if charged
            else f"The shop can claim at most {billing.say(most, currency)} for storage."
        )
    if more:
        _charge_storage(job, clock, charged + more, by)
    if billing.draft(job).charges:
        billing.issue_invoice(job, by=by)
    standing = billing.account(job)
    return max(money.balance(standing.billed, [standing.paid]), Decimal(0))


def _brought_words(kept: LetGo) -> str:
    what = f"Sold to {kept.to_whom}" if kept.became == LetGo.Became.SOLD else "Value of gear kept for parts"
    return f"{what}, {day_words(kept.on)}"


def _decided(job: Job, by: Staff) -> tuple[Job, storage.Clock]:
    """The job, held, and its clock: where it is the owner of the shop who asks, and the clock allows it."""
    if not by.may("let gear go"):
        raise NotAllowed("Only the owner of the shop decides about gear that is left behind. Change person.")
    job = _held(job)
    _waits_here(job)
    clock = clock_of(job, billing.the_shop())
    if not clock.may_act:
        raise NotAllowedYet(" ".join(clock.why_not))
    return job, clock


def _held(job: Job) -> Job:
    """The job's row locked for this transaction, with all that its clock needs."""
    Job.objects.select_for_update(of=("self",)).get(pk=job.pk)
    return with_record().get(pk=job.pk)


def _waits_here(job: Job) -> None:
    if job.state not in HERE:
        raise NotAllowedYet(
            f"{job.claim} is {job.get_state_display()}. Only gear that waits has a storage clock."
        )


class NothingChosen(Refused):
    """A list was sent without anything chosen in it."""
