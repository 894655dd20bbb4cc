"""What the search box finds among the parts: by value, by type, by words; drawers by their code."""

from collections.abc import Iterable

from calc.engine.errors import QuantityError
from inventory import scanning, values
from inventory.models import Drawer, Part
from shop.sockets import Hit


def named_whole(text: str) -> str | None:
    """The address of the drawer or the part whose label was scanned, or whose code was typed whole."""
    found = scanning.read(text)
    return found.get_absolute_url() if found is not None else None


def find_parts(text: str, limit: int) -> Iterable[Hit]:
    """Parts that meet what is asked: "22u 450v", ">=450V axial", "ecc83"."""
    try:
        found = values.find(values.read_search(text), limit)
    except QuantityError:
        return []
    return [
        Hit(
            title=part.name,
            detail=" · ".join(filter(None, (there(part), f"drawer {part.drawer}" if part.drawer else ""))),
            url=part.get_absolute_url(),
            icon="part",
        )
        for part in found.select_related("drawer")
    ]


def find_drawers(text: str, limit: int) -> Iterable[Hit]:
    """Drawers whose code begins so, or that stand there."""
    return [
        Hit(
            title=f"Drawer {drawer}",
            detail=drawer.place or drawer.note,
            url=drawer.get_absolute_url(),
            icon="part",
        )
        for drawer in Drawer.objects.filter(is_in_use=True, code__istartswith=text.strip()[:20])[:limit]
    ]


def there(part: Part) -> str:
    """How many there are, in words."""
    return f"{part.get_level_display()}, not counted" if part.is_loose else f"{part.quantity} there"
