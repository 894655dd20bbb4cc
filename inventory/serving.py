"""What on the shelf would serve for a part: the rows for `stand_ins`, and parts of the same type or better."""

from typing import Final

from django.db.models import Q, QuerySet

from calc.engine import tubes
from calc.engine.errors import CircuitError
from inventory.models import Kind, Part
from inventory.stand_ins import OnShelf
from inventory.values import Values

_EDGE: Final = 1e-9  # relative, of a rating: what a float can be out by
_ZENER: Final = 0.05  # a zener's volts may be off: the usual tolerance, from memory
_FIELDS: Final = (
    "pk", "name", "value", "is_free", "cost", "tolerance", "volts", "watts", "amps", "hottest", "technology", "leads",
)  # fmt: skip


def shelf(kind: str, *, but: int | None = None) -> list[OnShelf]:
    """The free parts of a kind that have a value, in one query; `but` is a part that is left out."""
    rows = _there(kind).filter(value__gt=0)
    if but is not None:
        rows = rows.exclude(pk=but)
    return [OnShelf(*row) for row in rows.values_list(*_FIELDS)]


def same_or_better(wanted: Values, *, but: int | None = None, limit: int = 24) -> list[Part]:
    """The free parts that are of the same type, or bear as much or more where that is all that counts.

    Tubes by all names of one type (the table of tubes). A diode bears as many volts and amperes; a zener has its
    volts within 5 % and bears as many watts; a fuse has its amperes and its character exactly, and as many volts: a
    larger fuse is no stand-in. What a part doesn't say isn't taken to be enough.
    """
    rows = _there(wanted.kind)
    if but is not None:
        rows = rows.exclude(pk=but)
    same = Q(pk__in=[])
    if wanted.designation:
        names = _names(wanted)
        same = Q(designation__in=names)
        for name in names:
            same |= Q(designation__iexact=name)
    bears = _bears(wanted)
    if bears is not None:
        same |= bears
    order = ["name", "pk"]
    return list(rows.filter(same).select_related("drawer").order_by(*order)[:limit])


def _there(kind: str) -> QuerySet[Part]:
    return Part.objects.in_use().counted().filter(kind=kind).free().filter(is_free__gt=0)


def _names(wanted: Values) -> list[str]:
    if wanted.kind == Kind.TUBE:
        try:
            tube = tubes.find(wanted.designation)
        except CircuitError:
            return [wanted.designation]
        return sorted({tube.name, *tube.aliases, wanted.designation})
    return [wanted.designation]


def _bears(wanted: Values) -> Q | None:
    """What a part must bear to serve where its type doesn't matter; None where that can't be said."""
    if wanted.kind == Kind.DIODE and wanted.volts and wanted.amps:
        return Q(volts__gte=_least(wanted.volts), amps__gte=_least(wanted.amps))
    if wanted.kind == Kind.ZENER and wanted.volts and wanted.watts:
        near = Q(volts__range=(wanted.volts * (1 - _ZENER) - _EDGE, wanted.volts * (1 + _ZENER) + _EDGE))
        return near & Q(watts__gte=_least(wanted.watts))
    if wanted.kind == Kind.FUSE and wanted.value and wanted.technology:
        least, most = wanted.value * (1 - _EDGE), wanted.value * (1 + _EDGE)
        same = Q(value__range=(least, most), technology__iexact=wanted.technology)
        return same & Q(volts__gte=_least(wanted.volts)) if wanted.volts else same
    return None


def _least(rating: float) -> float:
    return rating * (1 - _EDGE)
