"""What the shop adds to our cautions, wherever they are shown."""

from typing import Final

from django.db import transaction
from django.http import HttpRequest
from django.utils import timezone

from calc.cautions import named
from calc.models import CautionWords
from shop import timeline
from shop.models import Staff

_ON_REQUEST: Final = "caution_words"


def by_name() -> dict[str, str]:
    """The shop's own words, by the name of the caution. One query."""
    return dict(CautionWords.objects.exclude(words="").values_list("name", "words"))


def of_request(request: HttpRequest | None) -> dict[str, str]:
    """The same, asked for once a request, by the first caution that is shown."""
    if request is None:
        return by_name()
    found: dict[str, str] | None = getattr(request, _ON_REQUEST, None)
    if found is None:
        found = by_name()
        setattr(request, _ON_REQUEST, found)
    return found


@transaction.atomic
def write(name: str, *, words: str, by: Staff) -> CautionWords:
    """Write what the shop adds to a caution; empty words take it away.

    Raises:
        KeyError: there is no such caution.
    """
    said = named(name).said
    CautionWords.objects.get_or_create(name=name, defaults={"words": "", "by": by})
    row = CautionWords.objects.select_for_update().get(name=name)
    was = row.words
    row.words, row.by = " ".join(words.split()), by
    if row.words == was:
        return row
    row.at = timezone.now()
    row.save()
    timeline.write(
        "shop",
        by=by,
        words=f"changed the shop’s words to the caution “{said}”",
        before={"Words": was},
        after={"Words": row.words},
    )
    return row
