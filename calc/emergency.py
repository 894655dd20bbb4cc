"""The bench's emergency card: what the shop wrote on it, and writing it. What to do is in `calc.first_aid`."""

import re
from dataclasses import dataclass
from typing import Final

from django.db import transaction

from calc.models import EmergencyCard
from shop import timeline
from shop.errors import ChangedMeanwhile
from shop.models import Staff

NUMBERS: Final = ("ambulance", "fire", "poison")
CALLS: Final = (*NUMBERS, "doctor", "call_here")
PLACES: Final = ("switch", "extinguisher", "first_aid", "defibrillator", "trained")
FIELDS: Final = (*CALLS, "address", *PLACES)

_MUCH: Final = 250  # letters that fit on one sheet in big type
_DIALLED: Final = re.compile(
    r"\+?\d[\d ()./-]*\d"
)  # 112, +1 (555) 014-2; RFC 3966 calls the signs visual separators


@dataclass(frozen=True)
class Said:
    """One thing that is written on the card. `tel` is what a tap dials, empty where there is nothing to dial."""

    label: str
    text: str
    tel: str = ""


def card() -> EmergencyCard:
    """The card as it is; with nothing on it, and revision 0, where nobody wrote on it yet."""
    return EmergencyCard.objects.first() or EmergencyCard(pk=1, revision=0)


def dialled(text: str) -> str:
    """What a tap dials: the first number in a text, without the signs between its digits. Empty: there is none."""
    found = _DIALLED.search(text)
    return re.sub(r"[^\d+]", "", found.group()) if found else ""


def calls(of: EmergencyCard) -> list[Said]:
    """Whom to call, as far as it is written down."""
    return [Said(each.label, each.text, dialled(each.text)) for each in said(of, CALLS) if each.text]


def places(of: EmergencyCard) -> list[Said]:
    """Where things are and who is trained, as far as it is written down."""
    return [each for each in said(of, PLACES) if each.text]


def said(of: EmergencyCard, names: tuple[str, ...]) -> list[Said]:
    """What is written of these things, also where it is nothing."""
    return [Said(_label(name), getattr(of, name)) for name in names]


def is_long(of: EmergencyCard) -> bool:
    """Whether so much is written on it that it needs smaller type to stay on one sheet."""
    return sum(len(getattr(of, name)) for name in FIELDS) > _MUCH


@transaction.atomic
def change(*, seen: int, by: Staff, **written: str) -> EmergencyCard:
    """Write on the card. `seen` is the revision that was changed, 0 for none.

    Raises:
        ChangedMeanwhile: somebody else wrote on it since.
    """
    EmergencyCard.objects.get_or_create(pk=1, defaults={"revision": 0})
    row = EmergencyCard.objects.select_for_update().get()
    if row.revision != seen:
        raise ChangedMeanwhile(
            "Someone else changed the card while you had it open. Look at what it says now; then choose.",
            revision=row.revision,
        )
    before = {_label(name): getattr(row, name) for name in FIELDS}
    for name, text in written.items():
        setattr(row, name, text)
    row.revision = seen + 1
    row.save()
    after = {_label(name): getattr(row, name) for name in FIELDS}
    timeline.write(row, by=by, words="wrote on the emergency card", before=before, after=after)
    return row


def _label(name: str) -> str:
    label = str(EmergencyCard._meta.get_field(name).verbose_name)
    return label[0].upper() + label[1:]
