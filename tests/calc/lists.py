"""A list of the shop's own that every piece of gear needs, for tests of how lists are run."""

from typing import Any

from calc.models import ListLine, ListVersion

LINES: tuple[dict[str, Any], ...] = (
    {"key": "look", "text": "Look for loose wires.", "why": "They short.", "if_not": "Fix the wires."},
    {
        "key": "read",
        "text": "Read the heater.",
        "ask": "reading",
        "point": "Heater",
        "unit": "V",
        "at_least": 5.7,
        "at_most": 6.9,
        "if_not": "Find what pulls it down.",
    },
    {"key": "fan", "text": "Let the fan run.", "may_not_apply": True, "wait": 600, "since": "read"},
)


def our_list(*lines: dict[str, Any], slug: str = "our-list", stage: str = "live", **more: Any) -> ListVersion:
    """Write such a list down."""
    version = ListVersion.objects.create(
        slug=slug, number=1, name="Our own list", stage=stage, digest="x", **more
    )
    ListLine.objects.bulk_create(
        ListLine(version=version, position=place, **{"ask": "look", "source": "common practice", **line})
        for place, line in enumerate(lines or LINES, 1)
    )
    return version
