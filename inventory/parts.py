"""Writing parts and drawers down, and correcting what was written. How many there are is the ledger's business."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

from django.core.files.base import ContentFile, File
from django.db import transaction

from inventory import stock, values
from inventory.models import Drawer, Part
from shop import pictures, timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet, Refused
from shop.models import Shop, Staff

# What a person may write of a part, with the labels that the timeline shows.
FIELDS: Final = (
    "kind", "name", "value", "tolerance", "volts", "watts", "amps", "impedance", "hottest", "designation",
    "technology", "leads", "taper", "shaft", "make", "note", "drawer", "is_loose", "level", "price", "keep",
    "is_in_use",
)  # fmt: skip
DRAWER_FIELDS: Final = ("code", "place", "note", "is_in_use")
FIRST_COUNT: Final = "There when it was written down."


class CodeTaken(Refused):
    """Two drawers can't have one code."""


@transaction.atomic
def new_part(
    *, facts: Mapping[str, Any], by: Staff, quantity: int = 0, cost_each: Decimal | None = None
) -> Part:
    """Write a part down; with a quantity, what is there of it already, at what one cost."""
    part = Part(**{name: said for name, said in facts.items() if name in FIELDS})
    _level(part)
    part.save()
    timeline.write(part, by=by, words="wrote it down", after=_words(part))
    if quantity:
        stock.receive(part, quantity=quantity, cost_each=cost_each or Decimal(0), by=by, words=FIRST_COUNT)
    return part


@transaction.atomic
def change_part(part: Part, *, facts: Mapping[str, Any], by: Staff, revision: int) -> Part:
    """Change what is written of a part.

    Raises:
        ChangedMeanwhile: somebody else changed it since `revision`.
        NotAllowedYet: it is to be counted no more, or to go out of use, and some are there; or a job holds some.
    """
    held = Part.objects.select_for_update(of=("self",)).select_related("drawer").get(pk=part.pk)
    if held.revision != revision:
        raise ChangedMeanwhile(
            "Someone else changed this part while you had it open.", revision=held.revision
        )
    before = _words(held)
    was_loose, was_in_use = held.is_loose, held.is_in_use
    for name, said in facts.items():
        if name in FIELDS:
            setattr(held, name, said)
    if held.is_loose and not was_loose and held.quantity:
        raise NotAllowedYet(
            f"The ledger says {held.quantity}. Count it to 0 first; then it needn't be counted."
        )
    if was_in_use and not held.is_in_use and held.quantity:
        raise NotAllowedYet(f"There are {held.quantity} of it. Use them up or count it to 0 first.")
    if (held.is_loose or not held.is_in_use) and stock.held_by(held):
        raise NotAllowedYet("Some are put aside for a job. Let go of them first.")
    _level(held)
    held.revision += 1
    held.save(update_fields=[*(name for name in facts if name in FIELDS), "level", "revision"])
    after = _words(held)
    if before != after:
        timeline.write(held, by=by, words="changed it", before=before, after=after)
    return held


@transaction.atomic
def photograph(part: Part, *, file: File, by: Staff) -> Part:
    """Keep a picture of it, in the place of the one before.

    Raises:
        shop.pictures.PictureRefused: it isn't a picture that we take; the sentence says why.
    """
    picture = pictures.clean(file)
    held = Part.objects.select_for_update().get(pk=part.pk)
    # the file comes before the row; the one that was named before goes with the next sweep (shop.sweeping)
    held.photo.save(pictures.file_name("part"), ContentFile(picture.content), save=False)
    held.save(update_fields=["photo"])
    timeline.write(held, by=by, words="took a photo")
    return held


# --- Drawers -------------------------------------------------------------------------------------------------


@transaction.atomic
def new_drawer(*, facts: Mapping[str, Any], by: Staff) -> Drawer:
    """Write a drawer down. Its code is in capitals, as it stands on the label.

    Raises:
        CodeTaken: there is one of that code.
    """
    drawer = Drawer(**{name: said for name, said in facts.items() if name in DRAWER_FIELDS})
    Shop.objects.select_for_update().get(pk=1)  # so that two tablets don't take the same code
    drawer.code = _free_code(drawer)
    drawer.save()
    timeline.write(drawer, by=by, words="wrote it down", after=_drawer_words(drawer))
    return drawer


@transaction.atomic
def change_drawer(drawer: Drawer, *, facts: Mapping[str, Any], by: Staff) -> Drawer:
    """Change what is written of a drawer.

    Raises:
        CodeTaken: there is another of that code.
        NotAllowedYet: it is to go out of use, and parts live in it.
    """
    held = Drawer.objects.select_for_update().get(pk=drawer.pk)
    before = _drawer_words(held)
    for name, said in facts.items():
        if name in DRAWER_FIELDS:
            setattr(held, name, said)
    held.code = _free_code(held)
    if not held.is_in_use and held.parts.in_use().exists():
        raise NotAllowedYet("Parts live in this drawer. Give them another one first.")
    held.save()
    after = _drawer_words(held)
    if before != after:
        timeline.write(held, by=by, words="changed it", before=before, after=after)
    return held


def _free_code(drawer: Drawer) -> str:
    code = " ".join(drawer.code.split()).upper()
    if Drawer.objects.filter(code__iexact=code).exclude(pk=drawer.pk).exists():
        raise CodeTaken(f"There is a drawer {code} already. Give this one another code.")
    return code


# --- Inside --------------------------------------------------------------------------------------------------


def _level(part: Part) -> None:
    """A loose part has a level, a counted one hasn't."""
    part.level = (part.level or Part.Level.PLENTY) if part.is_loose else ""


def _words(part: Part) -> dict[str, str]:
    """A part as the timeline says it."""
    return {
        "What it is": part.name,
        "Kind": part.get_kind_display(),
        "Values": ", ".join(values.said_of(part)),
        "Make": part.make,
        "Note": part.note,
        "Drawer": part.drawer.code if part.drawer else "",
        "Not counted": "yes" if part.is_loose else "",
        "There is": part.level,
        "Price of one": "" if part.price is None else f"{part.price.normalize():f}",
        "Reorder at": "" if part.keep is None else str(part.keep),
        "Out of use": "" if part.is_in_use else "yes",
    }


def _drawer_words(drawer: Drawer) -> dict[str, str]:
    return {
        "Code": drawer.code,
        "Where it stands": drawer.place,
        "Note": drawer.note,
        "Out of use": "" if drawer.is_in_use else "yes",
    }
