"""Drop-off: gear comes in. A visit by a person, one signature, for each piece of gear a job with its claim.

`take_in` is the one way in. `check_in` is the same for what waits from the sign-in pad.
"""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import F, Max, Q
from django.utils import timezone

from intake import claims, comebacks, matching
from intake.folding import digits, fold
from intake.models import Gear, GearKind, Job, LoosePiece, PadEntry, Person, Phone, Signature, State, Visit
from shop import timeline
from shop.errors import Refused
from shop.models import Shop, Staff, Terms
from shop.money import format_amount
from shop.wording import day_words

MOST_GEAR = 8  # a visit with more is a mistake, or an attack
FLAGS = ("was_dropped", "was_wet", "was_opened", "was_repaired", "smelled")  # fields of a job


class HereAlready(Refused):
    """The gear is in the house under another claim number."""


class NotSigned(Refused):
    """Gear that is handed over at the counter needs its owner's signature."""


class DoneAlready(Refused):
    """What waited from the pad doesn't wait any more."""

    status = 409


@dataclass(frozen=True, kw_only=True)
class Who:
    """Who brings the gear: somebody known, or a name. What is empty says nothing new about somebody known.

    `contact` is who speaks for a band, a venue, a school; new phones are theirs.
    """

    person: Person | None = None
    name: str = ""
    kind: str = Person.Kind.PERSON
    contact: str = ""
    email: str = ""
    address: str = ""
    phones: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Brought:
    """A piece of gear as it comes in, known or described, and what is to happen with it.

    Sums are in the shop's currency.
    """

    complaint: str
    gear: Gear | None = None
    kind: str = GearKind.OTHER
    maker: str = ""
    model: str = ""
    serial: str = ""
    year_guess: str = ""
    marks: str = ""
    came_with: tuple[str, ...] = ()
    was_dropped: bool = False
    was_wet: bool = False
    was_opened: bool = False
    was_repaired: bool = False
    smelled: bool = False
    history_note: str = ""
    condition: str = ""
    wanted_by: dt.date | None = None
    diagnosis_fee: Decimal = Decimal(0)
    spend_limit: Decimal | None = None
    comeback_of: Job | None = None

    @property
    def named(self) -> str:
        """The gear in words, as the customer reads it above the signature."""
        gear = self.gear or self
        name = name_of(gear.kind, gear.maker, gear.model)
        return f"{name}, serial {gear.serial}" if gear.serial else name


def name_of(kind: str, maker: str, model: str) -> str:
    """Name gear to its owner: "Corvane Meridian 50 (amplifier head)", or its kind alone."""
    label, name = GearKind(kind).label, " ".join(x for x in (maker, model) if x)
    return f"{name} ({label.lower()})" if name else label


@dataclass(frozen=True, kw_only=True)
class Parcel:
    """How gear came by mail, in place of a signature."""

    carrier: str
    number: str = ""
    condition: str = ""


# --- What is signed ---------------------------------------------------------------------------------------


def signed_words(shop: Shop, terms: Terms, brought: Sequence[Brought]) -> str:
    """Return the whole text that stands above a signature: the gear, what it may cost, the terms, storage."""
    lines = [f"I leave with {shop.name}:", *(f"- {agreed_words(shop, one)}" for one in brought)]
    lines += ["", "Terms", terms.text, "", "Storage", terms.storage_text, storage_words(terms, shop.currency)]
    return "\n".join(lines)


def storage_words(terms: Terms, currency: str) -> str:
    """Say the figures of the storage terms: what is free, what a day costs, when the deadline is."""
    told = "the day we tell you that it is ready"
    fee = f"After that {format_amount(terms.daily_fee, currency)} a day"
    if terms.fee_cap is not None:
        fee += f", at most {format_amount(terms.fee_cap, currency)}"
    cost = f"The first {terms.free_days} days from {told} are free. {fee}." if terms.daily_fee else ""
    notices = "one notice" if terms.notices == 1 else f"{terms.notices} notices"
    if terms.notices > 1 and terms.notice_gap_days:
        notices += f" at least {terms.notice_gap_days} days apart"
    last = f"The last day to collect is {terms.deadline_days} days after {told}, with {notices} before it."
    return f"{cost} {last}".strip()


def agreed_words(shop: Shop, one: Brought) -> str:
    """Name a piece of gear, and say what may be spent on it."""
    limit = (
        "Ask me before any work."
        if one.spend_limit is None
        else f"Go ahead without asking up to {format_amount(one.spend_limit, shop.currency)}."
    )
    fee = fee_words(shop, one.diagnosis_fee)
    if one.comeback_of and one.diagnosis_fee:
        fee += f" Not if the warranty of the repair {one.comeback_of.claim} covers it."
    return f"{one.named}. {fee} {limit}"


def fee_words(shop: Shop, fee: Decimal) -> str:
    """Say what looking at the gear costs."""
    if not fee:
        return "No diagnosis fee."
    credited = ", taken off the bill if it is repaired" if shop.diagnosis_credited else ""
    return f"Diagnosis fee {format_amount(fee, shop.currency)}{credited}."


def version_words(terms: Terms) -> str:
    """Name the version of the terms, as a signature keeps it."""
    return f"terms, version {terms.version}"


@transaction.atomic
def sign_on_pad(
    *, answers: Mapping[str, Any], drawing: str, terms: Terms, shop: Shop, device: str
) -> PadEntry:
    """Keep what a customer wrote and signed on the pad, for staff to check. `drawing` is our own SVG."""
    signature = Signature.objects.create(
        purpose=Signature.Purpose.DROP_OFF,
        name=answers["name"],
        svg=drawing,
        words=signed_words(shop, terms, described(answers)),
        words_version=version_words(terms),
        device=device[:300],
    )
    return PadEntry.objects.create(answers=answers, terms=terms, signature=signature)


# --- Taking in --------------------------------------------------------------------------------------------


@transaction.atomic
def take_in(
    *,
    who: Who,
    brought: Sequence[Brought],
    by: Staff,
    terms: Terms,
    signature: Signature | None = None,
    parcel: Parcel | None = None,
    at: dt.datetime | None = None,
) -> Visit:
    """Take gear in: the person and the gear, new or known, a visit, and a tagged job for each piece.

    A signature that isn't saved yet is saved here. Terms are the version that was signed or, by mail, the one
    in force.

    Raises:
        NotSigned: neither a signature nor a parcel.
        HereAlready: a known piece of gear is in the house.
        Refused: no gear, too much, or known gear that isn't this person's.
        claims.MonthFull: the month has no claim number left.
    """
    if not brought:
        raise Refused("Nothing was handed in. Write down the gear first.")
    if len(brought) > MOST_GEAR:
        raise Refused(f"That is more than {MOST_GEAR} pieces of gear. Take the rest in as a second drop-off.")
    if signature is None and parcel is None:
        raise NotSigned("The owner hasn't signed yet. Ask for the signature; then tag the gear.")
    at = at or timezone.now()
    # Claim numbers are given to one drop-off at a time. SQLite has no row locks, and needs none: its
    # transactions queue up whole.
    shop = Shop.objects.select_for_update().get(pk=1)
    person = _person(who, by)
    if signature is not None and signature.pk is None:
        signature.save()
    visit = Visit.objects.create(
        person=person,
        how=Visit.How.MAIL if parcel else Visit.How.COUNTER,
        at=at,
        taken_in_by=by,
        terms=terms,
        signature=signature,
        carrier=parcel.carrier if parcel else "",
        parcel_number=parcel.number if parcel else "",
        parcel_condition=parcel.condition if parcel else "",
    )
    for one in brought:
        _tag(visit, one, by, month=at.astimezone(shop.zone).date())
    return visit


@transaction.atomic
def check_in(entry: PadEntry, *, who: Who, brought: Sequence[Brought], by: Staff) -> Visit:
    """Take in what waits from the sign-in pad, as staff checked it. Its signature stays as it was given.

    What staff corrected is written to the timeline, before and after.

    Raises:
        DoneAlready: somebody took it in or put it away meanwhile.
    """
    entry = (
        PadEntry.objects.select_for_update(of=("self",)).select_related("terms", "signature").get(pk=entry.pk)
    )
    if entry.status != PadEntry.Status.WAITING:
        raise DoneAlready("Somebody else has dealt with this one already.")
    visit = take_in(who=who, brought=brought, by=by, terms=entry.terms, signature=entry.signature)
    entry.visit, entry.status = visit, PadEntry.Status.TAKEN_IN
    entry.save(update_fields=["visit", "status"])
    _write_corrections(visit.person, _who_words(who_wrote(entry)), _who_words(who), by)
    jobs = visit.jobs.order_by("pk")
    for job, was, now in zip(jobs, brought_on_pad(entry), brought, strict=True):
        _write_corrections(job, _brought_words(was), _brought_words(now), by)
    return visit


@transaction.atomic
def put_away(entry: PadEntry, *, by: Staff) -> None:
    """Take an entry out of the line without taking gear in. It is kept, and can be brought back."""
    _turn(entry, PadEntry.Status.WAITING, PadEntry.Status.PUT_AWAY)
    timeline.write(entry, by=by, words="put it away")


@transaction.atomic
def bring_back(entry: PadEntry, *, by: Staff) -> None:
    """Put an entry back in the line."""
    _turn(entry, PadEntry.Status.PUT_AWAY, PadEntry.Status.WAITING)
    timeline.write(entry, by=by, words="brought it back")


def _turn(entry: PadEntry, was: str, to: str) -> None:
    if not PadEntry.objects.filter(pk=entry.pk, status=was).update(status=to):
        raise DoneAlready("Somebody else has dealt with this one already.")


def _tag(visit: Visit, one: Brought, by: Staff, month: dt.date) -> Job:
    """Make the job of one piece of gear, with the next claim number of the month."""
    gear = _gear(one, visit.person, by)
    if one.comeback_of:
        comebacks.check(gear, one.comeback_of)
    yymm = f"{month:%y%m}"
    last = Job.objects.filter(month=yymm).aggregate(last=Max("number"))["last"] or 0
    number, claim = claims.following(month.year, month.month, last)
    job = Job.objects.create(
        claim=claim,
        month=yymm,
        number=number,
        visit=visit,
        person=visit.person,
        gear=gear,
        state_since=visit.at,
        since=visit.at,
        complaint=one.complaint,
        **{flag: getattr(one, flag) for flag in FLAGS},
        history_note=one.history_note,
        condition=one.condition,
        wanted_by=one.wanted_by,
        diagnosis_fee=one.diagnosis_fee,
        spend_limit=one.spend_limit,
        comeback_of=one.comeback_of,
    )
    LoosePiece.objects.bulk_create(
        LoosePiece(job=job, name=name, position=n) for n, name in enumerate(one.came_with)
    )
    after = {"State": State.TAGGED_IN.label, "Came with": ", ".join(one.came_with)}
    if one.comeback_of:
        after["Comeback of"] = one.comeback_of.claim
    timeline.write(job, by=by, words="took it in", after=after)
    return job


def _person(who: Who, by: Staff) -> Person:
    """Write down somebody new, or what is new about somebody known."""
    person = who.person
    if person is None:
        person = Person.objects.create(name=who.name, kind=who.kind, email=who.email, address=who.address)
        for position, number in enumerate(_different(who.phones)):
            Phone.objects.create(person=person, number=number, label=who.contact[:40], position=position)
        timeline.write(person, by=by, words="wrote them down")
        return person
    known = [phone.number for phone in person.phones.all()]
    before = {"E-mail": person.email, "Address": person.address, "Phones": ", ".join(known)}
    new = [n for n in _different(who.phones) if not any(matching.same_phone(n, k) for k in known)]
    for position, number in enumerate(new, start=len(known)):
        Phone.objects.create(person=person, number=number, label=who.contact[:40], position=position)
    if who.address and fold(who.address) != fold(person.address):
        person.address_since = timezone.localdate()
    person.email, person.address = who.email or person.email, who.address or person.address
    after = {"E-mail": person.email, "Address": person.address, "Phones": ", ".join([*known, *new])}
    if before != after:
        person.revision = F("revision") + 1
        person.save(update_fields=["email", "address", "address_since", "folded", "revision"])
        person.refresh_from_db(fields=["revision"])
        timeline.write(person, by=by, words="brought them up to date", before=before, after=after)
    return person


def _gear(one: Brought, person: Person, by: Staff) -> Gear:
    """Write down new gear, or fill in what wasn't known about known gear."""
    said = {name: getattr(one, name) for name in ("maker", "model", "serial", "year_guess", "marks")}
    gear = one.gear
    if gear is None:
        gear = Gear.objects.create(owner=person, kind=one.kind, **said)
        timeline.write(gear, by=by, words="wrote it down")
        return gear
    if gear.owner_id != person.pk:
        raise Refused(f"The {gear} belongs to {gear.owner}. Choose them, or write the gear down as new.")
    if here := gear.jobs.in_the_house().first():
        raise HereAlready(f"The {gear} is here already, as {here.claim}. Open that job instead.")
    before = {name: getattr(gear, name) for name in said}
    filled = {name: value for name, value in said.items() if value and not before[name]}
    if filled:
        for name, value in filled.items():
            setattr(gear, name, value)
        gear.revision = F("revision") + 1
        gear.save()
        gear.refresh_from_db(fields=["revision"])
        labels = {name: Gear._meta.get_field(name).verbose_name.capitalize() for name in filled}
        timeline.write(gear, by=by, words="filled it in", after={labels[n]: v for n, v in filled.items()})
    return gear


def _different(phones: Iterable[str]) -> list[str]:
    kept: list[str] = []
    for number in phones:
        if not any(matching.same_phone(number, k) for k in kept):
            kept.append(number)
    return kept


# --- What the pad brought ---------------------------------------------------------------------------------


def who_wrote(entry: PadEntry) -> Who:
    """Who filled the pad, as they wrote it. A band goes by its name, and the one who wrote speaks for it."""
    said = entry.answers
    return Who(
        name=said["group"] or said["name"],
        kind=said["kind"],
        contact=said["name"] if said["group"] else "",
        email=said["email"],
        address=said["address"],
        phones=tuple(said["phones"]),
    )


def brought_on_pad(entry: PadEntry) -> list[Brought]:
    """What the customer wrote about each piece of gear, with what they signed about money."""
    return described(entry.answers)


def described(answers: Mapping[str, Any]) -> list[Brought]:
    """Read the gear out of a pad's answers."""
    return [
        Brought(
            **{
                name: gear[name] for name in ("kind", "maker", "model", "serial", "complaint", "history_note")
            },
            **{name: name in gear["happened"] for name in FLAGS},
            came_with=tuple(gear["came_with"]),
            wanted_by=dt.date.fromisoformat(answers["wanted_by"]) if answers["wanted_by"] else None,
            diagnosis_fee=Decimal(answers["diagnosis_fee"] or 0),
            spend_limit=Decimal(answers["spend_limit"]) if answers["spend_limit"] else None,
        )
        for gear in answers["gear"]
    ]


def _who_words(who: Who) -> dict[str, str]:
    person = who.person or Person(name=who.name, kind=who.kind)
    return {
        "Name": person.name,
        "What they are": person.get_kind_display(),
        "E-mail": who.email,
        "Address": who.address,
        "Phones": ", ".join(who.phones),
    }


def _brought_words(one: Brought) -> dict[str, str]:
    gear = one.gear or Gear(kind=one.kind, maker=one.maker, model=one.model, serial=one.serial)
    return {
        "Kind": gear.get_kind_display(),
        "Maker": gear.maker,
        "Model": gear.model,
        "Serial number": gear.serial or one.serial,
        "Complaint": one.complaint,
        "Came with": ", ".join(one.came_with),
        "What happened": ", ".join(
            str(Job._meta.get_field(n).verbose_name) for n in FLAGS if getattr(one, n)
        ),
        "How and when": one.history_note,
        "Wanted by": day_words(one.wanted_by) if one.wanted_by else "",
        "Diagnosis fee": f"{one.diagnosis_fee.normalize():f}",
    }


def _write_corrections(thing: Job | Person, before: dict[str, str], after: dict[str, str], by: Staff) -> None:
    if before != after:
        timeline.write(thing, by=by, words="corrected what the pad says", before=before, after=after)


# --- Who and what the shop knows already ------------------------------------------------------------------


@dataclass(frozen=True)
class Found:
    """Who may stand at the counter, by what was typed: people, and gear with its owner.

    `wrong` is the sentence about a claim number that can't be right.
    """

    text: str
    people: list[Person] = field(default_factory=list)
    gear: list[Gear] = field(default_factory=list)
    wrong: str = ""


def find(text: str, limit: int = 5) -> Found:
    """Find people by name, e-mail or phone; gear by maker, model, serial number or an earlier claim."""
    text = "".join(c for c in text[:200] if c.isprintable()).strip()
    if len(fold(text)) < 2:
        return Found(text)
    gear = Gear.objects.select_related("owner")
    try:
        claim = claims.read(text)
    except claims.ClaimMistyped as slip:
        wrong = str(slip)
    except claims.NotAClaim:
        wrong = ""
    else:
        by_claim = list(gear.filter(jobs__claim=claim))
        return Found(
            text, gear=by_claim, wrong="" if by_claim else f"No job here has the claim number {claim}."
        )
    people = list(Person.objects.matching(text).with_phones()[:limit])
    return Found(text, people, list(gear.matching(text)[:limit]), wrong)


def who_it_may_be(name: str, phones: Sequence[str], limit: int = 6) -> list[tuple[Person, str]]:
    """Return the known people who may be the customer, with the reason in words, most likely first."""
    near = Q(pk__in=[])
    for number in phones:
        if len(number := digits(number).lstrip("0")) >= matching.SHORTEST_SUFFIX:
            near |= Q(phones__digits__endswith=number[-matching.SHORTEST_SUFFIX :])
        elif number:
            near |= Q(phones__digits=number)
    for word in fold(name).split()[:6]:
        near |= Q(folded__startswith=word[:3]) | Q(folded__contains=f" {word[:3]}")
    people = {
        p.pk: p for p in Person.objects.filter(near).distinct().with_phones().order_by("folded", "pk")[:2000]
    }
    known = [
        matching.KnownPerson(p.pk, p.name, tuple(phone.number for phone in p.phones.all()))
        for p in people.values()
    ]
    found = matching.candidates(name, phones, known, limit)
    return [(people[c.person.pk], c.why.words) for c in found]


def gear_of(person: Person, on: dt.date) -> list[Gear]:
    """Return the person's earlier gear.

    Each has `here`, its job in the house, and `comeback`, its job whose warranty still runs; None where there
    is none.
    """
    gear = list(person.gear.all())
    jobs, shop = list(Job.objects.filter(gear__in=gear).order_by("pk")), Shop.current()
    for one in gear:
        own = [j for j in jobs if j.gear_id == one.pk]
        one.here = next((j for j in own if not j.is_over), None)
        one.comeback = next((j for j in reversed(own) if comebacks.verdict_on(j, on, shop).covers), None)
    return gear
