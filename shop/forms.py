"""What people type at the doors and about the staff: parsing and messages."""

from typing import Any

from django import forms
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from shop.conflict import ConflictCheck
from shop.fields import NewPinField, PasswordField, SignInWordField
from shop.models import Staff
from shop.roles import Role

# --- at the doors


class EnterForm(forms.Form):
    """The front door."""

    sign_in = SignInWordField(label="Sign-in word")
    password = PasswordField(label="Password")


class PinForm(forms.Form):
    """A PIN on the keypad, and whose it should be. The pad asks for staff with it too."""

    who = forms.ModelChoiceField(
        Staff.objects.none(),
        widget=forms.HiddenInput,
        error_messages={"required": "Choose who you are first."},
    )
    pin = forms.CharField(
        label="PIN",
        max_length=8,
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["who"].queryset = Staff.objects.working().with_pin()


class MyPinForm(forms.Form):
    """One's own new PIN, or none, confirmed with the password."""

    new_pin = NewPinField(
        label="New PIN", required=False, help_text="4 to 8 digits. Leave it empty to have none."
    )
    password = PasswordField(label="Your password")


class NewPasswordForm(forms.Form):
    """A new password, typed twice. `for_whom` is compared with it: a password isn't one's own name."""

    new_password = PasswordField(
        label="New password", now=False, help_text="At least 10 characters; several words are good."
    )
    new_password_again = PasswordField(label="New password once more", now=False)

    def __init__(self, *args: Any, for_whom: Staff | None = None, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.for_whom = for_whom

    def clean(self) -> dict[str, Any]:
        check_new_password(self, self.for_whom)
        return self.cleaned_data


class MyPasswordForm(NewPasswordForm):
    """One's own new password, confirmed with the old one."""

    password = PasswordField(label="Your present password")
    field_order = ["password", "new_password", "new_password_again"]


class PinOfForm(forms.Form):
    """Somebody's new PIN, given by the owner."""

    new_pin = NewPinField(
        label="New PIN", required=False, help_text="4 to 8 digits. Leave it empty to take it away."
    )


def check_new_password(form: forms.Form, for_whom: Staff | None) -> None:
    """Put what is wrong with the new password of a form on its fields."""
    first, again = form.cleaned_data.get("new_password"), form.cleaned_data.get("new_password_again")
    if first is None:
        return
    try:
        validate_password(first, for_whom)
    except ValidationError as error:
        form.add_error("new_password", error)
    if again is not None and first != again:
        form.add_error("new_password_again", "The two passwords differ. Type them once more.")


# --- staff


class StaffForm(ConflictCheck, forms.ModelForm):
    """Who somebody is and what they may do."""

    role = forms.ChoiceField(
        choices=[(role.value, role.label) for role in Role if role != Role.PAD], widget=forms.RadioSelect
    )

    class Meta:
        model = Staff
        fields = ["name", "role", "is_active"]


class NewStaffForm(forms.Form):
    """Somebody new."""

    name = forms.CharField(
        label="Name", max_length=80, help_text="As it stands on tickets and in the timeline."
    )
    sign_in = SignInWordField(label="Sign-in word", help_text="Short: it is typed on a tablet.")
    role = forms.ChoiceField(
        label="Role", choices=StaffForm.base_fields["role"].choices, widget=forms.RadioSelect
    )
    new_password = PasswordField(
        label="Password", now=False, help_text="At least 10 characters; several words are good."
    )
    new_password_again = PasswordField(label="Password once more", now=False)
    new_pin = NewPinField(
        label="PIN", required=False, help_text="4 to 8 digits, to take over a shared tablet."
    )

    def clean_sign_in(self) -> str:
        return check_sign_in_word(self.cleaned_data["sign_in"])

    def clean(self) -> dict[str, Any]:
        values = self.cleaned_data
        check_new_password(self, Staff(name=values.get("name", ""), sign_in=values.get("sign_in", "")))
        return values


def check_sign_in_word(word: str) -> str:
    """Return the word if somebody can have it."""
    Staff._meta.get_field("sign_in").run_validators(word)
    if Staff.objects.filter(sign_in=word).exists():
        raise ValidationError("Somebody has this sign-in word already. Choose another.")
    return word
