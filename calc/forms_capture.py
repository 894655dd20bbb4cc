"""What is said with a recording, and of the signal to play for it: parsing and messages."""

from django import forms

from calc.engine.capture import MAINS, RATES, SWEEP_SECONDS, What

_RATES = [(rate, f"{rate:,} a second") for rate in RATES]
_LEVEL = {"min_value": -80, "max_value": 0, "initial": -10}


class CaptureForm(forms.Form):
    """A recording, and what was played meanwhile."""

    file = forms.FileField(
        label="Recording",
        help_text="A WAV file of at most a minute and 20 MB.",
        error_messages={
            "required": "No recording came. Choose a WAV file.",
            "empty": "That file is empty. Record it again.",
        },
    )
    what = forms.ChoiceField(
        label="What was played meanwhile",
        choices=[
            (What.TONE, "A steady tone"),
            (What.QUIET, "Nothing: hum and noise"),
            (What.SWEEP, "Our sweep"),
        ],
        initial=What.TONE,
        widget=forms.RadioSelect,
    )
    mains = forms.TypedChoiceField(
        label="Mains",
        coerce=int,
        choices=[(hertz, f"{hertz} Hz") for hertz in reversed(MAINS)],
        initial=60,
        widget=forms.RadioSelect,
    )
    sweep = forms.TypedChoiceField(
        label="Length of the sweep",
        coerce=int,
        choices=[(seconds, f"{seconds} s") for seconds in SWEEP_SECONDS],
        initial=10,
        help_text="Counts only where our sweep was played.",
        widget=forms.RadioSelect,
    )


class ToneForm(forms.Form):
    """A test tone to play."""

    frequency = forms.FloatField(label="Frequency", min_value=20, max_value=20_000, initial=1000)
    level = forms.FloatField(label="Level", **_LEVEL)
    seconds = forms.IntegerField(label="Length", min_value=1, max_value=30, initial=10)
    rate = forms.TypedChoiceField(label="Samples", coerce=int, choices=_RATES, initial=48_000)


class SweepForm(forms.Form):
    """A sweep to play."""

    seconds = forms.TypedChoiceField(
        label="Length", coerce=int, choices=[(s, f"{s} s") for s in SWEEP_SECONDS], initial=10
    )
    level = forms.FloatField(label="Level", **_LEVEL)
    rate = forms.TypedChoiceField(label="Samples", coerce=int, choices=_RATES, initial=48_000)
