"""What the search box finds on this floor: jobs, people, gear, invoices."""

import re
from collections.abc import Iterable

from django.db.models import Case, IntegerField, Q, Value, When

from intake import claims
from intake.folding import fold
from intake.models import Gear, Invoice, Job, Person
from shop.errors import Refused
from shop.sockets import Hit

_BEGINNING = re.compile(r"#?([0-9]{2}(?:0[1-9]|1[0-2]))-?([0-9]{0,4})-?")
_INVOICE = re.compile(r"(?:([A-Za-z]{1,10})[ -]*)?([0-9]{1,9})")


def job_named_whole(text: str) -> str | None:
    """Return the address of the job whose claim number this is, typed or scanned; None if it isn't one.

    Raises:
        Refused: it is meant as a claim number and can't be right, or there is no such job.
    """
    try:
        claim = claims.read(text)
    except claims.NotAClaim:
        return None
    except claims.ClaimMistyped as slip:
        raise Refused(str(slip)) from slip
    job = Job.objects.filter(claim=claim).only("claim").first()
    if job is None:
        raise Refused(f"No job here has the claim number {claim}. Check it against the ticket.")
    return job.get_absolute_url()


def find_jobs(text: str, limit: int) -> Iterable[Hit]:
    """Jobs by the beginning of their claim number; in the house also by their owner and gear.

    Jobs that are gone are reached through their owner and gear: a name that comes often would drown the ones
    that stand here.
    """
    claim, words = _claim_or_beginning(text), fold(text).split()
    if claim:
        found = Job.objects.filter(claim__startswith=claim).order_by("-claim")
    elif claim is None and words:
        found = Job.objects.in_the_house().order_by("-pk")
        for word in words:
            found = found.filter(Q(person__folded__contains=word) | Q(gear__folded__contains=word))
    else:
        return []
    return [
        Hit(
            title=str(job.gear),
            detail=str(job.person),
            url=job.get_absolute_url(),
            icon=job.gear.kind,
            number=job.claim,
            is_claim=True,
            state=job.state,
        )
        for job in found.with_card()[:limit]
    ]


def find_people(text: str, limit: int) -> Iterable[Hit]:
    """People by name, e-mail or phone; first those whose name begins that way."""
    found = Person.objects.matching(text).annotate(later=_not_first(fold(text)))
    return [
        Hit(
            title=person.name,
            detail=", ".join(phone.number for phone in person.phones.all()) or person.email,
            url=person.get_absolute_url(),
            icon="person" if person.kind == Person.Kind.PERSON else "people",
        )
        for person in found.with_phones().order_by("later", "folded", "pk")[:limit]
    ]


def find_gear(text: str, limit: int) -> Iterable[Hit]:
    """Gear by maker, model or serial number; first that which begins that way."""
    found = Gear.objects.matching(text).annotate(later=_not_first(fold(text)))
    return [
        Hit(
            title=str(gear),
            detail=" · ".join(
                x for x in (f"serial {gear.serial}" if gear.serial else "", str(gear.owner)) if x
            ),
            url=gear.get_absolute_url(),
            icon=gear.kind,
        )
        for gear in found.select_related("owner").order_by("later", "folded", "pk")[:limit]
    ]


def find_invoices(text: str, limit: int) -> Iterable[Hit]:
    """Invoices and credit notes by their number, with its letters or without, noughts in front left out or not."""
    written = _INVOICE.fullmatch(text)
    if not written:
        return []
    series, number = written[1], int(written[2])
    if number > 2_147_483_647:  # the most that the column holds
        return []
    found = Invoice.objects.filter(number=number)
    if series:
        found = found.filter(series__iexact=series)
    return [
        Hit(
            title=str(invoice.person or invoice.what),
            detail=f"for {invoice.job.claim}" if invoice.job else "sold over the counter",
            url=invoice.get_absolute_url(),
            icon="money",
            number=invoice.label,
        )
        for invoice in found.select_related("person", "job")[:limit]
    ]


def _claim_or_beginning(text: str) -> str | None:
    """Return the claim that was typed whole, or its beginning, as it is stored: `26110` gives `2611-0`.

    None for what isn't one; empty for one that was mistyped: its job isn't guessed.
    """
    try:
        return claims.read(text)
    except claims.ClaimMistyped:
        return ""
    except claims.NotAClaim:
        beginning = _BEGINNING.fullmatch(re.sub(r"\s", "", text))
    return "-".join(filter(None, beginning.groups())) if beginning else None


def _not_first(folded: str) -> Case:
    """0 for rows that begin with the text, 1 for those that only have it somewhere."""
    return Case(When(folded__startswith=folded, then=Value(0)), default=Value(1), output_field=IntegerField())
