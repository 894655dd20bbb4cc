"""The forms of gear that waits: letters, what came back, pauses, what became of it. Parsing and messages."""

import datetime as dt
from typing import Any

from django import forms

from intake.forms_money import ShopForm, seen_revision
from intake.keeping import BECAME, LONGEST_LETTER
from intake.models import Job, LetGo, NoticeBack, StorageNotice, StoragePause
from intake.payments import paid_by
from shop import fields
from shop.fields import AmountField

MOST_LETTERS = 30  # at once; nobody proofreads more
EARLIEST = dt.date(2000, 1, 1)


class DayField(fields.DayField):
    """A day that lies behind us, by the tablet's own calendar."""

    def __init__(self, *, today: dt.date | None = None, **more: Any):
        self.today = today
        super().__init__(
            error_messages={"required": "Choose the day.", "invalid": "Choose a day, like 2026-11-25."},
            **more,
        )

    def clean(self, value: Any) -> dt.date | None:
        day = super().clean(value)
        if day is not None and day < EARLIEST:
            raise forms.ValidationError("Choose a day that somebody here remembers.")
        return day


class SentForm(forms.Form):
    """How and when letters were sent, all of them together."""

    how = forms.ChoiceField(
        label="How they are sent",
        choices=StorageNotice.How.choices,
        initial=StorageNotice.How.LETTER,
        widget=forms.RadioSelect,
        error_messages={"required": "Say how they are sent."},
    )
    sent_on = DayField(label="Sent on")


class LetterForm(forms.Form):
    """One letter: its words, and what proves that it was sent. `seen` is how many notices the page showed."""

    words = forms.CharField(
        label="The letter",
        max_length=LONGEST_LETTER,
        widget=forms.Textarea(attrs={"rows": 16}),
        error_messages={"required": "Write down what the letter says."},
    )
    tracking = forms.CharField(label="Tracking number", max_length=80, required=False)
    proof = forms.ChoiceField(label="Proof, from the photos of this job", required=False)
    picture = forms.FileField(
        label="Or a new photo of the proof",
        required=False,
        widget=forms.FileInput(attrs={"accept": "image/*", "capture": "environment"}),
        error_messages={"empty": "That file is empty. Take the photo again."},
    )
    seen = forms.IntegerField(
        min_value=0,
        max_value=10_000,
        widget=forms.HiddenInput,
        error_messages=dict.fromkeys(
            ("required", "invalid", "min_value", "max_value"), "This page is incomplete. Load it again."
        ),
    )

    def __init__(self, data: Any = None, files: Any = None, *, job: Job, **more: Any):
        super().__init__(data, files, prefix=f"job-{job.pk}", **more)
        self.job = job
        self.photos = [photo for photo in job.photos.all() if not photo.struck_at]
        shown = [(str(photo.pk), photo.caption or f"Photo {n}") for n, photo in enumerate(self.photos, 1)]
        self.fields["proof"].choices = [("", "None"), *shown]
        if not self.photos:
            self.fields["proof"].widget = forms.HiddenInput()

    def chosen(self) -> Any:
        """The photo of the job that was chosen as proof, or None."""
        return next((p for p in self.photos if str(p.pk) == self.cleaned_data["proof"]), None)


class BackForm(forms.Form):
    """A notice that came back."""

    on = DayField(label="Came back on")
    words = forms.CharField(
        label="What it says on it",
        max_length=NoticeBack._meta.get_field("words").max_length,
        required=False,
        help_text="For example: moved away, not collected.",
    )


class PauseForm(forms.Form):
    """The clock stands still, because the shop is the cause. A dispute has a form of its own."""

    why = forms.ChoiceField(
        label="Why it stands still",
        choices=[(why.value, why.label) for why in StoragePause.Why if why != StoragePause.Why.DISPUTE],
        widget=forms.RadioSelect,
        error_messages={"required": "Say why it stands still."},
    )
    words = forms.CharField(
        label="What it is about",
        max_length=StoragePause._meta.get_field("words").max_length,
        error_messages={"required": "Write down what it is about."},
    )
    began = DayField(label="From")


class ResumeForm(forms.Form):
    ended = DayField(label="The last day it stood still")


class DisputeForm(forms.Form):
    """Somebody says that the money is wrong."""

    who = forms.CharField(
        label="Who says so",
        max_length=StoragePause._meta.get_field("who").max_length,
        error_messages={"required": "Write down who says so."},
    )
    words = forms.CharField(
        label="What it is about, in their words",
        max_length=StoragePause._meta.get_field("words").max_length,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": "Write down what it is about."},
    )
    began = DayField(label="Since")
    revision = seen_revision()


class SettleForm(forms.Form):
    """A dispute is over."""

    agreed = forms.CharField(
        label="What was agreed",
        max_length=StoragePause._meta.get_field("agreed").max_length,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": "Write down what was agreed."},
    )
    ended = DayField(label="Settled on")
    revision = seen_revision()


class RevisionForm(forms.Form):
    """An act without words of its own; what the person saw."""

    revision = seen_revision()


class LetGoForm(ShopForm):
    """What became of gear that was left behind."""

    became = forms.ChoiceField(
        label="What becomes of it",
        choices=[(became.value, became.label) for became in BECAME],
        widget=forms.RadioSelect,
        error_messages={"required": "Say what becomes of it."},
    )
    on = DayField(label="On")
    to_whom = forms.CharField(
        label="To whom",
        max_length=LetGo._meta.get_field("to_whom").max_length,
        required=False,
        help_text="Where it is sold or given away.",
    )
    price = AmountField(label="Sold for, or its value as parts", required=False)
    method = forms.ChoiceField(
        label="How the buyer paid",
        choices=list(paid_by().items()),
        widget=forms.RadioSelect,
        required=False,
    )
    costs = AmountField(
        label="What selling it cost", required=False, help_text="At most what the price pays of it."
    )
    costs_method = forms.ChoiceField(
        label="How that was paid", choices=[("", "Nothing was paid"), *paid_by().items()], required=False
    )
    storage = AmountField(
        label="Storage that is claimed",
        required=False,
        help_text="Of what isn’t charged yet. All of it, where you leave this empty; 0 for none.",
    )
    words = forms.CharField(
        label="Why, and how it was decided",
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 4}),
        error_messages={"required": "Write down why, and how it was decided."},
    )
    sure = forms.BooleanField(
        label="I have checked what the law of this place asks for",
        error_messages={"required": "Have the law of this place checked first; then tick this."},
    )
    revision = seen_revision()

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        became = said.get("became")
        if became == LetGo.Became.SOLD and said.get("price") is None and "price" not in self.errors:
            self.add_error("price", "Write down what it was sold for.")
        if became == LetGo.Became.SOLD and said.get("price") and not said.get("method"):
            self.add_error("method", "Say how the buyer paid.")
        if became == LetGo.Became.SOLD and said.get("costs") and not said.get("costs_method"):
            self.add_error("costs_method", "Say how the costs were paid.")
        needs_whom = became in (LetGo.Became.SOLD, LetGo.Became.GIVEN) and not said.get("to_whom")
        if needs_whom and "to_whom" not in self.errors:
            self.add_error("to_whom", "Write down to whom it went.")
        return said
