"""What the search box finds by a supplier: its name, and the numbers under which it sells parts."""

from collections.abc import Iterable

from django.db.models import Q
from django.urls import reverse

from inventory.models import Offer, Part, Supplier
from shop.sockets import Hit

_SHORTEST = 3  # of a number that is looked for by its beginning


def part_of_number(text: str) -> str | None:
    """The address of the one part that a supplier sells under exactly this number: their label was scanned.

    Not where it is also what parts are called: a supplier's number "EL34" is no reason to pass over the others.
    """
    called = Q(designation__iexact=text) | Q(name__iexact=text)
    if len(text) < _SHORTEST or Part.objects.filter(called).exists():
        return None
    parts = set(Offer.objects.filter(number__iexact=text).values_list("part_id", flat=True)[:2])
    return reverse("part", args=parts) if len(parts) == 1 else None


def find(text: str, limit: int) -> Iterable[Hit]:
    """Suppliers of that name, then parts whose number at a supplier begins so."""
    found = [
        Hit(
            title=supplier.name,
            detail=supplier.phone,
            url=reverse("supplier", args=[supplier.pk]),
            icon="people",
        )
        for supplier in Supplier.objects.filter(name__icontains=text, is_in_use=True)[:limit]
    ]
    if len(text) >= _SHORTEST:
        offers = Offer.objects.filter(number__istartswith=text).select_related("part", "supplier")
        found += [
            Hit(
                title=offer.part.name,
                detail=str(offer.supplier),
                url=reverse("part", args=[offer.part_id]),
                icon="part",
                number=offer.number,
            )
            for offer in offers[: limit - len(found)]
        ]
    return found
