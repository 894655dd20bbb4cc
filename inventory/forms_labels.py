"""Which labels to print, and on what."""

from typing import Any

from django import forms
from django.core.validators import MaxValueValidator

from inventory.labels import SHEETS
from inventory.models import Drawer, Part

MOST = 600  # labels in one file


class LabelsForm(forms.Form):
    """Drawers and parts, by their keys, and what they are printed on."""

    drawer = forms.ModelMultipleChoiceField(
        Drawer.objects.filter(is_in_use=True),
        label="Drawers",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose at least one drawer."},
    )
    part = forms.ModelMultipleChoiceField(
        Part.objects.in_use().select_related("drawer"), required=False, widget=forms.MultipleHiddenInput
    )
    on = forms.ChoiceField(
        label="Printed on",
        choices=[("sheet", "A sheet of labels"), ("roll", "The 62 mm roll")],
        initial="sheet",
        widget=forms.RadioSelect,
    )
    skip = forms.IntegerField(
        label="Labels used already",
        help_text="Of the first sheet, row by row: they stay empty.",
        required=False,
        min_value=0,
    )

    def __init__(self, *args: Any, paper: str, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["drawer"].required = "part" not in self.data
        sheet = SHEETS[paper]
        self.fields["skip"].validators.append(
            MaxValueValidator(sheet.on_a_page - 1, f"A sheet has {sheet.on_a_page} labels: write less.")
        )

    def clean(self) -> dict[str, Any]:
        said = self.cleaned_data
        if len(said.get("drawer") or []) + len(said.get("part") or []) > MOST:
            raise forms.ValidationError(f"That is more than {MOST} labels. Print them in two goes.")
        return said
