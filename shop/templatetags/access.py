"""What a template asks about people and forms."""

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from shop.once import FIELD, new_key

register = template.Library()


@register.filter
def may(staff: object, act: str) -> bool:
    """`{% if request.user|may:"move jobs" %}`: show what this person may do. The view checks again."""
    check = getattr(staff, "may", None)
    return bool(check and check(act))


@register.simple_tag
def once_key() -> SafeString:
    """The hidden field that makes a second tap harmless; goes into every form that posts."""
    return format_html('<input type="hidden" name="{}" value="{}">', FIELD, new_key())
