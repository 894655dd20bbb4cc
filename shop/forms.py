"""What people type about themselves and about the shop: parsing and messages."""

from django import forms

from shop.models import Staff

LONGEST_PASSWORD = 200


class PasswordField(forms.CharField):
    """A password: nothing of it is stripped, and it is never shown again."""

    def __init__(self, *, now: bool = True, **kwargs: object):
        hint = "current-password" if now else "new-password"
        super().__init__(
            max_length=LONGEST_PASSWORD,
            strip=False,
            widget=forms.PasswordInput(attrs={"autocomplete": hint}),
            **kwargs,
        )


class EnterForm(forms.Form):
    """The front door."""

    sign_in = forms.CharField(
        label="Sign-in word",
        max_length=40,
        widget=forms.TextInput(
            attrs={
                "autocomplete": "username",
                "autocapitalize": "none",
                "spellcheck": "false",
                "autofocus": True,
            }
        ),
    )
    password = PasswordField(label="Password")

    def clean_sign_in(self) -> str:
        return self.cleaned_data["sign_in"].lower()


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

    def __init__(self, *args: object, **kwargs: object):
        super().__init__(*args, **kwargs)
        self.fields["who"].queryset = Staff.objects.working().with_pin()
