"""At the door of the invented shop: `{% demo_keys %}`. Shows nothing anywhere else."""

from django import template
from django.conf import settings
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

register = template.Library()


@register.simple_tag
def demo_keys() -> SafeString | str:
    """How to sign in to the demo, where this is the demo."""
    if not settings.DEMO:
        return ""
    from shop import demo

    return render_to_string("shop/_demo_keys.html", {"keys": demo.KEYS, "password": demo.PASSWORD})
