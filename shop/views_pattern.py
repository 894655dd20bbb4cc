"""The pattern page: every part of a page, once, for whoever builds the next one."""

import datetime as dt

from django import forms
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from shop import wording
from shop.access import allowed
from shop.http import Request

ICONS = (
    "find", "scan", "camera", "note", "reading", "clock", "part", "money", "person",
    "people", "phone", "mail", "gear", "head", "combo", "cabinet", "effect", "echo",
    "keyboard", "pedal", "lid", "print", "undo", "caution", "ok", "back", "forward",
    "pad", "sign", "queue", "home", "in", "out", "key", "lock", "theme",
    "job", "report", "shop", "calendar", "up", "down", "add", "take-away", "close",
    "more", "wait", "owner", "parcel", "file", "backup",
)  # fmt: skip


class PatternForm(forms.Form):
    """One of each kind of field. Kept nowhere."""

    name = forms.CharField(label="Name", help_text="A person, a band, a venue.")
    phone = forms.CharField(label="Phone", widget=forms.TextInput(attrs={"type": "tel"}), required=False)
    plate = forms.DecimalField(label="Plate voltage", help_text="At idle, to chassis.")
    fee = forms.DecimalField(label="Diagnosis fee", decimal_places=2)
    complaint = forms.CharField(label="What is wrong, in their words", widget=forms.Textarea)
    kind = forms.ChoiceField(
        label="What is it",
        choices=[
            ("head", "Amplifier head"),
            ("combo", "Combo"),
            ("cabinet", "Cabinet"),
            ("echo", "Echo unit"),
        ],
        widget=forms.RadioSelect,
        initial="combo",
    )
    came_with = forms.MultipleChoiceField(
        label="Came with",
        choices=[("cord", "Power cord"), ("cover", "Cover"), ("footswitch", "Footswitch")],
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )
    carrier = forms.ChoiceField(
        label="How it came", choices=[("", "Choose one"), ("hand", "Brought in"), ("mail", "By mail")]
    )
    smelled = forms.BooleanField(
        label="It smelled or smoked", help_text="Then it is not switched on at the counter."
    )
    picture = forms.FileField(label="Take a photo", required=False)
    pin = forms.CharField(label="Your PIN")
    signature = forms.CharField(label="Signature", required=False)
    strokes = forms.CharField(required=False)


@require_GET
@allowed("see jobs")
def pattern(request: Request) -> HttpResponse:
    """Show every part with invented content; the second form shows what is wrong with it."""
    now = timezone.now()
    typed = {"name": "", "plate": "four hundred", "complaint": "No sound after ten minutes", "kind": "valve"}
    return render(
        request,
        "shop/pattern.html",
        {
            "states": wording.STATES,
            "icons": ICONS,
            "form": PatternForm(),
            "wrong": PatternForm(typed, prefix="wrong", auto_id="wrong_%s"),
            "page": Paginator(range(200), 20).page(3),
            "earlier": now - dt.timedelta(minutes=85),
            "last_week": now - dt.timedelta(days=9),
            "soon": timezone.localdate() + dt.timedelta(days=2),
            "late": timezone.localdate() - dt.timedelta(days=3),
            "entries": [
                {
                    "at": now,
                    "by": {"name": "Tomas Lindqvist"},
                    "words": "moved it to the bench",
                    "changes": [{"what": "State", "before": "In line", "after": "On the bench"}],
                },
                {
                    "at": now - dt.timedelta(days=1),
                    "by": {"name": "Ida Marsh"},
                    "words": "corrected the serial",
                    "changes": [{"what": "Serial", "before": "C-2O417", "after": "C-20417"}],
                },
                {
                    "at": now - dt.timedelta(days=2),
                    "by": {"name": "Ida Marsh"},
                    "words": "tagged it in",
                    "changes": [],
                },
            ],  # fmt: skip
            "rows": [
                {
                    "label": "Fault",
                    "mine": "Screen grid resistor open",
                    "theirs": "Output valve worn out",
                    "differs": True,
                },
                {
                    "label": "Cure",
                    "mine": "Replaced R14, 1 kΩ",
                    "theirs": "Replaced R14, 1 kΩ",
                    "differs": False,
                },
            ],
        },
    )
