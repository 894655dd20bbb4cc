"""The shop's register: writing down people and gear, and correcting what was written."""

from collections.abc import Iterable
from typing import Any, NamedTuple

from django.db import models, transaction
from django.db.models import F
from django.utils import timezone

from intake.folding import fold
from intake.models import Gear, Person, Phone
from shop import timeline
from shop.errors import ChangedMeanwhile
from shop.models import Staff

PERSON_FIELDS = ("name", "kind", "email", "address", "country", "tax_exempt_number", "note")
GEAR_FIELDS = ("kind", "technology", "maker", "model", "serial", "year_guess", "marks")


class Number(NamedTuple):
    """A phone number as it was written, and whose it is."""

    number: str
    label: str = ""


@transaction.atomic
def new_person(*, facts: dict[str, Any], phones: Iterable[Number], by: Staff) -> Person:
    """Write somebody down. `facts` has the `PERSON_FIELDS`; the phone they like best comes first."""
    person = Person(**facts)
    if person.address:
        person.address_since = timezone.localdate()
    person.save()
    _keep_phones(person, phones)
    timeline.write(person, by=by, words="wrote them down")
    return person


@transaction.atomic
def change_person(
    person: Person, *, facts: dict[str, Any], phones: Iterable[Number], by: Staff, revision: int
) -> Person:
    """Correct what is known of a person, phones and all. `revision` is the one that the form was filled from.

    Raises:
        ChangedMeanwhile: somebody else changed it since; has both versions.
    """
    phones = list(phones)
    now = Person.objects.get(pk=person.pk)
    before = person_words(now, now.phones.all())
    yours = person_words(Person(**facts), phones)
    _take_revision(now, revision, theirs=before, yours=yours)
    if fold(facts.get("address", now.address)) != fold(now.address):
        now.address_since = timezone.localdate()  # from now on letters go there, and earlier ones didn't
    for name, value in facts.items():
        setattr(now, name, value)
    now.save()
    now.phones.all().delete()
    _keep_phones(now, phones)
    _write_if_changed(now, by=by, words="corrected them", before=before, after=yours)
    return now


@transaction.atomic
def change_gear(gear: Gear, *, facts: dict[str, Any], by: Staff, revision: int) -> Gear:
    """Correct what is known of a piece of gear. `facts` has the fields of `GEAR_FIELDS`.

    Raises:
        ChangedMeanwhile: somebody else changed it since; has both versions.
    """
    now = Gear.objects.get(pk=gear.pk)
    before = gear_words(now)
    yours = gear_words(Gear(**facts))
    _take_revision(now, revision, theirs=before, yours=yours)
    for name, value in facts.items():
        setattr(now, name, value)
    now.save()
    _write_if_changed(now, by=by, words="corrected it", before=before, after=yours)
    return now


def person_words(person: Person, phones: Iterable[Phone | Number]) -> dict[str, str]:
    """What is known of a person, as people read it: label -> text."""
    numbers = "\n".join(f"{p.number} ({p.label})" if p.label else p.number for p in phones)
    return {**_words(person, PERSON_FIELDS), "phones": numbers}


def gear_words(gear: Gear) -> dict[str, str]:
    """What is known of a piece of gear, as people read it: label -> text."""
    return _words(gear, GEAR_FIELDS)


def _words(row: models.Model, names: Iterable[str]) -> dict[str, str]:
    words = {}
    for name in names:
        field = row._meta.get_field(name)
        value = getattr(row, f"get_{name}_display")() if field.choices else getattr(row, name)
        words[str(field.verbose_name)] = str(value)
    return words


def _take_revision(
    row: Person | Gear, expected: int, *, theirs: dict[str, str], yours: dict[str, str]
) -> None:
    """Move to the next revision, if nobody else did since `expected` was read."""
    took = type(row).objects.filter(pk=row.pk, revision=expected).update(revision=F("revision") + 1)
    if not took:
        raise ChangedMeanwhile(
            f"Someone else changed {row} while you had it open. Look at both; then choose.",
            theirs=theirs,
            yours=yours,
            revision=row.revision,
        )
    row.revision = expected + 1


def _keep_phones(person: Person, phones: Iterable[Number]) -> None:
    for position, phone in enumerate(phones):
        Phone.objects.create(person=person, number=phone.number, label=phone.label, position=position)


def _write_if_changed(
    row: Person | Gear, *, by: Staff, words: str, before: dict[str, str], after: dict[str, str]
) -> None:
    if before != after:
        timeline.write(row, by=by, words=words, before=before, after=after)
