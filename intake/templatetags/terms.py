"""The shop's terms in templates."""

from typing import Any

from django import template

from intake import dropoff
from shop.models import Terms

register = template.Library()


@register.simple_tag(takes_context=True)
def storage_words(context: dict[str, Any], terms: Terms) -> str:
    """`{% storage_words terms %}`: the figures of the storage terms in a sentence or two."""
    return dropoff.storage_words(terms, context["shop"].currency)
