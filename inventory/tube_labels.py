"""What stands on the label of a tube or of a set, and where it leads."""

import re
from collections.abc import Sequence
from urllib.parse import urlsplit

from django.urls import Resolver404, resolve, reverse

from calc.engine.quantities import show, units
from calc.meters import always_text
from inventory.labels import Label
from inventory.models import Tube, TubeReading, TubeSet
from inventory.tubes import last_reading, name_of_set
from shop.sockets import Hit


def of_tube(tube: Tube, address: str) -> Label:
    """Its number, what it is, what it drew and at what."""
    reading = last_reading(tube)
    what = ", ".join(filter(None, [tube.part.name, tube.make, "used" if tube.is_used else ""]))
    drew = [f"{milliamps(reading.current)} at {at(reading)}"] if reading else []
    return Label(tube.label, (what, *drew), address)


def of_set(made: TubeSet, tubes: Sequence[Tube], address: str) -> Label:
    """Its number, what it is, what each drew and at what."""
    readings = [last_reading(tube) for tube in tubes]
    lines = [f"{made.part.name}, {name_of_set(len(tubes))}"]
    known = [reading for reading in readings if reading is not None]
    if known:
        lines.append(" / ".join(f"{reading.current * 1000:.1f}" for reading in known) + " mA")
        lines.append(f"at {at(known[0])}")
    return Label(made.label, tuple(lines), address)


def milliamps(amperes: float) -> str:
    """34.5 mA."""
    return show(units.Quantity(amperes, "A"))


def at(reading: TubeReading) -> str:
    """The conditions of a reading: `400 V, screen 400 V, grid −48 V`."""
    said = [always_text(reading.plate_volts, "V")]
    if reading.screen_volts:
        said.append(f"screen {always_text(reading.screen_volts, 'V')}")
    said.append(f"grid {always_text(reading.grid_volts, 'V')}")
    return ", ".join(said)


# --- Found by what stands on a label -------------------------------------------------------------------------

_LABEL = re.compile(r"([TS])[- ]?([0-9]{1,8})", re.IGNORECASE)


def address_of(text: str) -> str | None:
    """Where a label leads, typed or scanned: `T-0451`, `s 12`, or the address that its code holds."""
    thing = named_whole(text)
    return None if thing is None else _page(thing)


def named_whole(text: str) -> Tube | TubeSet | None:
    """The tube or the set of a label, typed or scanned."""
    text = text.strip()
    return _scanned(text) if "/" in text else _named(text)


def found(text: str, limit: int) -> list[Hit]:
    """The tube or the set of a label, for the search box."""
    thing = _named(text.strip())
    if thing is None or limit < 1:
        return []
    what = thing.part.name if isinstance(thing, Tube) else f"{thing.part.name}, set"
    return [
        Hit(
            title=what,
            detail="gone" if thing.gone_at else "here",
            url=_page(thing),
            icon="part",
            number=thing.label,
        )
    ]


def _named(text: str) -> Tube | TubeSet | None:
    label = _LABEL.fullmatch(text)
    if label is None:
        return None
    model = Tube if label[1].upper() == "T" else TubeSet
    return (
        model.objects.select_related("part").filter(label=f"{label[1].upper()}-{int(label[2]):04d}").first()
    )


def _scanned(text: str) -> Tube | TubeSet | None:
    """An address of ours, on whatever name the shop's computer had when the label was printed."""
    try:
        path = urlsplit(text).path
        seen = resolve(path if path.startswith("/") else f"/{path}")
    except (Resolver404, ValueError):
        return None
    model = {"tube": Tube, "tube-set": TubeSet}.get(seen.url_name or "")
    return model.objects.filter(pk=seen.kwargs["pk"]).first() if model else None


def _page(thing: Tube | TubeSet) -> str:
    return reverse("tube" if isinstance(thing, Tube) else "tube-set", args=[thing.pk])
