"""What people type about suppliers, offers and orders: parsing and messages."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError
from django.forms import BoundField

from intake import claims
from intake.models import Job
from inventory.models import Offer, Order, OrderLine, Part, Supplier
from inventory.ordering import MOST, OFFER_FIELDS, SUPPLIER_FIELDS, Arrival, Pick, Wish
from inventory.short import ShortPart
from shop.conflict import ConflictCheck
from shop.fields import AmountField, DayField, use_currency
from shop.money import round_to

_TOO_OLD = "This page is too old to be sent. Load it again, then send it."
_MOST_DAYS = 730


class PiecesField(forms.IntegerField):
    """A number of pieces."""

    def __init__(self, *, least: int = 1, most: int = MOST, **kwargs: Any):
        attrs = {"inputmode": "numeric", "autocomplete": "off"}
        super().__init__(min_value=least, max_value=most, widget=forms.NumberInput(attrs=attrs), **kwargs)


class EachField(forms.DecimalField):
    """What one piece costs: finer than the currency, because packs are divided. A decimal comma will do."""

    def __init__(self, **kwargs: Any):
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        super().__init__(min_value=0, max_digits=13, decimal_places=6, widget=widget, **kwargs)

    def to_python(self, value: Any) -> Decimal | None:
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)


def each_text(price: Decimal, currency: str) -> str:
    """A price of one as somebody would type it: the currency's decimals, and more only where they say something."""
    rounded = round_to(price, currency)
    return f"{rounded:f}" if rounded == price else f"{price.normalize():f}"


class SupplierForm(ConflictCheck, forms.ModelForm):
    """Who sells parts to the shop."""

    class Meta:
        model = Supplier
        fields = SUPPLIER_FIELDS
        widgets = {"address": forms.Textarea(attrs={"rows": 3})}
        help_texts = {"is_in_use": "Orders can go there."}
        error_messages = {
            "name": {
                "required": "Say who they are.",
                "unique": "A supplier of that name is written down already.",
            }
        }

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["lead_days"].max_value = _MOST_DAYS
        if self.instance.pk is None:
            del self.fields["is_in_use"]

    def facts(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in SUPPLIER_FIELDS if name in self.cleaned_data}


class OfferForm(ConflictCheck, forms.ModelForm):
    """A part as a supplier sells it."""

    price = AmountField(label="Price of a pack", most=Decimal("99999999"))

    class Meta:
        model = Offer
        fields = OFFER_FIELDS
        widgets = {"number": forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"})}
        help_texts = {"lead_days": "Empty: as the supplier usually takes."}

    def __init__(self, *args: Any, currency: str, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["pack"].max_value = MOST
        self.fields["pack"].help_text = "They sell it in packs of so many."
        use_currency(self, currency)

    def facts(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in OFFER_FIELDS}


class NewOfferForm(OfferForm):
    """An offer of a supplier that is still to be chosen."""

    supplier = forms.ModelChoiceField(
        Supplier.objects.filter(is_in_use=True),
        label="Supplier",
        empty_label="Choose one",
        error_messages={"required": "Choose who sells it.", "invalid_choice": "Choose who sells it."},
    )
    field_order = ["supplier"]


class WantForm(forms.Form):
    """A part that a job needs and that isn't here."""

    claim = forms.CharField(
        label="Claim number",
        max_length=40,
        help_text="Type it, or scan the job's tag.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )
    quantity = PiecesField(label="Pieces", initial=1)

    def clean_claim(self) -> Job:
        try:
            claim = claims.read(self.cleaned_data["claim"])
        except (claims.ClaimMistyped, claims.NotAClaim) as slip:
            raise ValidationError(str(slip)) from slip
        job = Job.objects.filter(claim=claim).first()
        if job is None:
            raise ValidationError("There is no job with that claim number.")
        return job


class PartOrderForm(forms.Form):
    """Some of a part, to be put on a supplier's next order."""

    offer = forms.ModelChoiceField(
        Offer.objects.none(), label="Of whom", widget=forms.RadioSelect, empty_label=None
    )
    quantity = PiecesField(label="Pieces")

    def __init__(self, *args: Any, part: Part, **kwargs: Any):
        super().__init__(*args, auto_id="order_%s", **kwargs)  # other forms of the part share its page
        self.fields["offer"].queryset = part.offers.filter(supplier__is_in_use=True).select_related(
            "supplier"
        )
        self.fields["offer"].label_from_instance = _offer_words


def _offer_words(offer: Offer) -> str:
    number = f", {offer.number}" if offer.number else ""
    pack = f", packs of {offer.pack}" if offer.pack > 1 else ""
    return f"{offer.supplier}{number}{pack}"


# --- A form with a row for each part or line -----------------------------------------------------------------


@dataclass(frozen=True)
class Row:
    """A part or a line, and its boxes."""

    thing: Any
    pieces: BoundField
    tick: BoundField | None = None
    price: BoundField | None = None


class GatherForm(forms.Form):
    """What is short: a tick and a number for each of the first parts that somebody sells, and for what is ticked."""

    SHOWN: Final = 40

    def __init__(self, data: Any = None, *, parts: Iterable[ShortPart]):
        super().__init__(data)
        sold = [part for part in parts if part.offer]
        later = [part for part in sold[self.SHOWN :] if f"tick-{part.part.pk}" in self.data]
        self.parts = sold[: self.SHOWN] + later
        self.more = len(sold) - len(self.parts)
        for short in self.parts:
            key = short.part.pk
            self.fields[f"tick-{key}"] = forms.BooleanField(
                label="Order it", required=False, initial=bool(short.need.for_jobs)
            )
            self.fields[f"pieces-{key}"] = PiecesField(label="Pieces", required=False, initial=short.pieces)

    def rows(self) -> list[Row]:
        return [
            Row(short, self[f"pieces-{short.part.pk}"], self[f"tick-{short.part.pk}"]) for short in self.parts
        ]

    def clean(self) -> dict[str, Any]:
        values = super().clean()
        if any(name.startswith("tick-") and name not in self.fields for name in self.data):
            raise ValidationError(
                "Something that you ticked isn’t short any more: somebody ordered it, or it came. "
                "Look at what is left; then send it again."
            )
        ticked = [short for short in self.parts if values.get(f"tick-{short.part.pk}")]
        for short in ticked:
            name = f"pieces-{short.part.pk}"
            if name not in self.errors and not values.get(name):
                self.add_error(name, "Say how many, or take the tick away.")
        if not ticked:
            raise ValidationError("Tick what is to be ordered.")
        return values

    def picks(self) -> list[Pick]:
        return [
            Pick(short.offer, self.cleaned_data[f"pieces-{short.part.pk}"])
            for short in self.parts
            if self.cleaned_data[f"tick-{short.part.pk}"]
        ]


class DraftForm(forms.Form):
    """An order that isn't sent yet: pieces and price of each line, and a note to the supplier."""

    revision = forms.IntegerField(
        min_value=0, widget=forms.HiddenInput, error_messages={"required": _TOO_OLD, "invalid": _TOO_OLD}
    )
    note = forms.CharField(
        label="Note to the supplier",
        required=False,
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(self, data: Any = None, *, order: Order, lines: Iterable[OrderLine], currency: str):
        super().__init__(data, initial={"revision": order.revision, "note": order.note})
        self.lines = list(lines)
        for line in self.lines:
            self.fields[f"pieces-{line.pk}"] = PiecesField(label="Pieces", least=0, initial=line.quantity)
            self.fields[f"price-{line.pk}"] = EachField(
                label="Price of one", initial=each_text(line.price, currency)
            )

    def rows(self) -> list[Row]:
        return [Row(line, self[f"pieces-{line.pk}"], price=self[f"price-{line.pk}"]) for line in self.lines]

    def wishes(self) -> dict[int, Wish]:
        said = self.cleaned_data
        return {line.pk: Wish(said[f"pieces-{line.pk}"], said[f"price-{line.pk}"]) for line in self.lines}


class SendForm(forms.Form):
    """An order went out. It shares its page with the draft's form, so its ids differ."""

    revision = forms.IntegerField(
        min_value=0, widget=forms.HiddenInput, error_messages={"required": _TOO_OLD, "invalid": _TOO_OLD}
    )
    due_on = DayField(label="Expected on", required=False)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, auto_id="send_%s", **kwargs)


class ArriveForm(forms.Form):
    """A parcel: how many of each line are in it, and what one cost."""

    def __init__(self, data: Any = None, *, lines: Iterable[OrderLine], currency: str):
        super().__init__(data)
        self.lines = [line for line in lines if line.came < line.quantity]
        for line in self.lines:
            self.fields[f"came-{line.pk}"] = PiecesField(
                label="How many came",
                least=0,
                most=line.quantity - line.came,
                required=False,
                error_messages={
                    "max_value": "Only %(limit_value)s are still to come. Receive more on the part's own page."
                },
            )
            self.fields[f"each-{line.pk}"] = EachField(
                label="Price of one", initial=each_text(line.price, currency)
            )

    def rows(self) -> list[Row]:
        return [Row(line, self[f"came-{line.pk}"], price=self[f"each-{line.pk}"]) for line in self.lines]

    def arrivals(self, *, whole: bool) -> dict[int, Arrival]:
        """What came; with `whole`, all that isn't back-ordered or given up."""
        said = self.cleaned_data
        found = {}
        for line in self.lines:
            expected = 0 if line.is_back_ordered else line.open
            count = expected if whole else said[f"came-{line.pk}"] or 0
            if count:
                found[line.pk] = Arrival(count, said[f"each-{line.pk}"])
        return found
