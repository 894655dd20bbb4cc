"""Panels: `{% for shown in panels %}{% panel shown %}{% endfor %}`, from `sockets.panels_for`."""

from django import template
from django.template import Context
from django.utils.safestring import SafeString

from shop.sockets import ShownPanel

register = template.Library()


@register.simple_tag(takes_context=True)
def panel(context: Context, shown: ShownPanel) -> SafeString:
    """Show a panel: its template sees the page's context, and its own names on top."""
    with context.push(**shown.context):
        return context.template.engine.get_template(shown.template).render(context)
