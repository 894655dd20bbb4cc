"""The forms of files that are read in: parsing and messages."""

from typing import Any

from django import forms
from django.core import signing
from django.core.exceptions import ValidationError

from inventory.files import MOST_BYTES, MOST_LINES, FileRefused, to_text

_SALT = "parts file"
_KEPT_FOR = 24 * 3600  # seconds for which a page with a plan can be sent


class PartsFileForm(forms.Form):
    """A file of parts."""

    file = forms.FileField(
        label="The file",
        help_text=f"CSV, of at most {MOST_LINES:,} lines.",
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,text/csv,text/plain"}),
        error_messages={
            "required": "No file came. Choose one.",
            "empty": "That file is empty.",
            "missing": "No file came. Choose one.",
        },
    )

    def clean_file(self) -> dict[str, Any]:
        """The file's name and text, and what was mended to read it."""
        file = self.cleaned_data["file"]
        if file.size > MOST_BYTES:  # said before it is taken into memory
            raise ValidationError(
                "The file is larger than 1 MB. Cut it into several, each with the head on top."
            )
        try:
            text, notes = to_text(file.read())
        except FileRefused as why:
            raise ValidationError(str(why)) from why
        name = "".join(c for c in file.name if c.isprintable())[-120:] or "a file"
        return {"name": name, "text": text, "notes": notes}


class PlanForm(forms.Form):
    """Yes to a plan. The file comes along, signed, so that what is read in is what was looked at."""

    parcel = forms.CharField(
        widget=forms.HiddenInput,
        strip=False,
        error_messages={"required": "This page is too old to be sent. Choose the file again."},
    )

    def clean_parcel(self) -> dict[str, Any]:
        """Its `name`, `text`, `notes` and the `seal` of the plan."""
        try:
            return signing.loads(self.cleaned_data["parcel"], salt=_SALT, max_age=_KEPT_FOR)
        except signing.BadSignature as why:
            raise ValidationError("This page is too old to be sent. Choose the file again.") from why


def parcel(name: str, text: str, notes: list[str], seal: str) -> str:
    """The file and the seal of its plan, for the page on which somebody says yes."""
    said = {"name": name, "text": text, "notes": notes, "seal": seal}
    return signing.dumps(said, salt=_SALT, compress=True)
