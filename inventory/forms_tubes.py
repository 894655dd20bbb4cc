"""The forms of tubes and sets: parsing and messages."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from intake import claims
from intake.models import Job
from inventory.forms_bench import ValueField
from inventory.models import Kind, Part, Tube
from inventory.tubes import SIZES
from shop.fields import AmountField, PercentField, use_currency


class JobField(forms.CharField):
    """A job by its claim number, typed or scanned; None where nothing is."""

    def __init__(self, **kwargs: Any):
        attrs = {"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        super().__init__(max_length=300, widget=forms.TextInput(attrs=attrs), **kwargs)

    def clean(self, value: Any) -> Job | None:
        text = super().clean(value)
        if not text:
            return None
        try:
            claim = claims.read(text)
        except (claims.ClaimMistyped, claims.NotAClaim) as why:
            raise ValidationError(str(why)) from why
        job = Job.objects.filter(claim=claim).first()
        if job is None:
            raise ValidationError(f"There is no job {claim}. Check it against the ticket.")
        return job


class NewTubeForm(forms.Form):
    """A tube that gets a label of its own."""

    part = forms.ModelChoiceField(
        Part.objects.in_use().counted().filter(kind=Kind.TUBE).order_by("name", "pk"),
        label="What it is",
        empty_label="Choose",
        error_messages={"required": "Say which tube it is."},
    )
    make = forms.CharField(label="Make", max_length=80, required=False)
    is_used = forms.BooleanField(label="It is a used one", required=False)
    job = JobField(
        label="Out of the gear of job",
        required=False,
        help_text="A used tube that was pulled there comes into stock with it, at no cost.",
    )
    note = forms.CharField(label="Note", max_length=200, required=False)


class ReadingForm(forms.Form):
    """What a tube drew, and what stood at it meanwhile."""

    current = ValueField("A", least=0, most=10, label="Plate current", help_text="With its unit: 34.5 mA.")
    transconductance = forms.CharField(
        label="Transconductance", required=False, max_length=12, help_text="In mA/V, if it was measured."
    )
    plate_volts = ValueField("V", least=1, most=5000, label="Plate")
    screen_volts = ValueField("V", least=0, most=2000, label="Screen", help_text="Empty: it has none.")
    grid_volts = ValueField("V", least=-500, most=100, label="Grid", help_text="Below the cathode: −38 V.")
    tester = forms.CharField(label="Measured with", max_length=80, required=False)
    warm_minutes = forms.IntegerField(
        label="Warm for",
        required=False,
        min_value=0,
        max_value=1440,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )

    def clean_transconductance(self) -> float | None:
        text = self.cleaned_data["transconductance"].replace(",", ".").replace("mA/V", "").strip()
        if not text:
            return None
        try:
            number = float(text)
        except ValueError:
            raise ValidationError("Write it in mA/V, like 5.2.") from None
        if not 0 < number < 1000:
            raise ValidationError("Write it in mA/V, like 5.2.")
        return number / 1000

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        for name, words in (
            ("current", "Write what it drew, like 34.5 mA."),
            ("plate_volts", "Write what stood at the plate, like 400."),
            ("grid_volts", "Write what stood at the grid, like −38."),
        ):
            if name not in self.errors and said.get(name) is None:
                self.add_error(name, words)
        return said


class UseOnJobForm(forms.Form):
    """On which job a tube or a set goes, and for how much each."""

    job = JobField(
        label="On job", help_text="Its claim number.", error_messages={"required": "Say on which job."}
    )
    price = AmountField(label="Price of one tube", required=False, help_text="Empty: the shop’s own price.")
    under_warranty = forms.BooleanField(label="Under warranty", required=False)

    def __init__(self, *args: Any, currency: str, **kwargs: Any):
        super().__init__(*args, **kwargs)
        use_currency(self, currency)


class WhyForm(forms.Form):
    words = forms.CharField(label="Why", max_length=300, error_messages={"required": "Write down why."})


class MatchForm(forms.Form):
    """How sets are looked for."""

    size = forms.TypedChoiceField(
        label="Make",
        choices=[(size, name) for size, name in SIZES.items()],
        coerce=int,
        initial=2,
        widget=forms.RadioSelect,
    )
    within = PercentField(
        label="Apart by at most",
        required=False,
        initial=10,
        help_text="5 % is well matched, 10 % usable. Empty: any.",
    )


class MakeSetForm(forms.Form):
    tubes = forms.ModelMultipleChoiceField(
        Tube.objects.all(), error_messages={"required": "Choose the tubes of the set."}
    )
