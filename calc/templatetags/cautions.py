"""Cautions on pages: `{% caution "stored-charge" %}`, or one that a worksheet made."""

from typing import Any

from django import template
from django.template import Context

from calc import caution_words
from calc.cautions import Caution, named

register = template.Library()


@register.inclusion_tag("shop/_caution.html", takes_context=True)
def caution(context: Context, which: str | Caution) -> dict[str, Any]:
    """A caution by its name, or as a value, with what the shop adds to it. One query a request at most."""
    shown = named(which) if isinstance(which, str) else which
    own = caution_words.of_request(context.get("request")).get(shown.name, "") if shown.name else ""
    return {"said": shown.said, "do": shown.do, "dont": shown.dont, "own": own}
