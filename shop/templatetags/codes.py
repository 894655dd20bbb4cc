"""QR codes in templates."""

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from shop.codes import qr_data_uri

register = template.Library()


@register.simple_tag
def qr(text: str, says: str) -> SafeString:
    """`{% qr address "QR code of job 2611-0007-K" %}`: an image, so that a PDF carries its alternative text."""
    return format_html('<img class="qr" src="{}" alt="{}">', qr_data_uri(text), says)
