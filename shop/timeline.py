"""The timeline: who did what, when, and what it was before. Append-only, in the database too.

An entry is about something named by a short text (`job/17`, `person/5`, `staff/2`, `shop`), so that the ground floor
needs to know nothing of what the floors above it keep.
"""

from collections.abc import Mapping
from typing import Any

from django.db.models import Model, QuerySet

from shop.models import Entry, Staff


def about(thing: Model | str) -> str:
    """Name a row for the timeline: `job/17`."""
    return thing if isinstance(thing, str) else f"{thing._meta.model_name}/{thing.pk}"


def write(
    thing: Model | str,
    *,
    by: Staff | None,
    words: str,
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
) -> Entry:
    """Write an entry. `words` is a plain clause that follows the name: "moved it to the bench".

    `before` and `after` map a field's label to its text; unchanged fields are left out.
    """
    before = {k: _text(v) for k, v in (before or {}).items()}
    after = {k: _text(v) for k, v in (after or {}).items()}
    changes = [
        {"what": key, "before": before.get(key, ""), "after": after.get(key, "")}
        for key in dict.fromkeys([*before, *after])
        if before.get(key, "") != after.get(key, "")
    ]
    return Entry.objects.create(about=about(thing), by=by, words=words, changes=changes)


def of(thing: Model | str) -> QuerySet[Entry]:
    """The entries about a thing, newest first, with who wrote them."""
    return Entry.objects.filter(about=about(thing)).select_related("by")


def _text(value: Any) -> str:
    return "" if value is None else str(value)
