"""A signature on glass: as the browser sends it, and as a page shows it."""

import json
from base64 import b64encode
from typing import Any

from django import forms

from intake.models import Signature
from shop.pictures import SignatureRefused, strokes_to_svg

_LONGEST = 1_500_000  # of text; a long name written slowly takes a tenth of it


class SignatureField(forms.CharField):
    """The strokes that `templates/shop/_signature.html` sends: JSON with `width`, `height` and `strokes`.

    Cleans to our own drawing of them as SVG, or to an empty text where nothing was drawn. The drawing that
    the browser makes is never looked at. An answer with errors brings the strokes back onto the glass.
    """

    def __init__(self, **more: Any):
        super().__init__(
            required=False,
            strip=False,
            max_length=_LONGEST,
            label="Signature",
            widget=forms.HiddenInput,
            **more,
        )

    def clean(self, value: Any) -> str:
        text = super().clean(value)
        if not text:
            return ""
        try:
            sent = json.loads(text)
            width, height, strokes = int(sent["width"]), int(sent["height"]), json.dumps(sent["strokes"])
        except (ValueError, TypeError, KeyError, OverflowError, RecursionError) as broken:
            raise forms.ValidationError("The signature did not arrive. Clear it and sign again.") from broken
        try:
            return strokes_to_svg(strokes, width, height)
        except SignatureRefused as refusal:
            raise forms.ValidationError(str(refusal)) from refusal


def picture_of(signature: Signature | None) -> str:
    """The drawing as the address of a picture, which can run nothing; empty where the name was typed."""
    if signature is None or not signature.svg:
        return ""
    return "data:image/svg+xml;base64," + b64encode(signature.svg.encode()).decode()
