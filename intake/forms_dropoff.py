"""The counter's drop-off on one page: who, each piece of gear, what was agreed, the signature or the parcel.

A `Sheet` holds these forms together. It can be changed in shape (another piece of gear, a known person
chosen) with all that was typed kept, by a plain POST as well as by htmx: `reshaped` says what the page shows
next, and nothing is written.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS
from django.db.models import QuerySet
from django.http import QueryDict
from django.utils import timezone
from django.utils.functional import cached_property

from intake import comebacks, dropoff
from intake.dropoff import Brought, Parcel, Who
from intake.folding import digits
from intake.forms_pad import (
    HAPPENED,
    USUAL_PIECES,
    AddressQuestion,
    CameWithQuestion,
    ComplaintQuestion,
    EmailQuestion,
    GearQuestion,
    HistoryQuestion,
    PhonesQuestion,
    Question,
    WhenQuestion,
    WordsField,
    phones_in,
    pieces_in,
    sum_field,
)
from intake.models import Gear, GearKind, Job, PadEntry, Person, Visit
from intake.signatures import SignatureField
from shop.models import Shop
from shop.money import format_amount, round_to
from shop.wording import day_words

REPAIRS_OFFERED: Final = 5  # of a piece of gear, to come back from
_KNOWN: Final = ("maker", "model", "serial")  # what known gear needn't be told again


class WhoForm(PhonesQuestion, EmailQuestion, AddressQuestion):
    """The person: known, or written down here."""

    person = forms.ModelChoiceField(
        Person.objects.all(),
        required=False,
        widget=forms.HiddenInput,
        error_messages={"invalid_choice": "This person isn't here any more. Choose again."},
    )
    name = WordsField(
        "Name",
        120,
        hints={"autocapitalize": "words"},
        error_messages={"required": "Write the name, or find a person the shop knows."},
    )
    kind = forms.ChoiceField(label="What they are", choices=Person.Kind.choices, initial=Person.Kind.PERSON)
    contact = WordsField(
        "Who speaks for them", 40, required=False, help_text="For a band, a venue, a school."
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["phone_1"].help_text = ""
        self.fields["name"].required = not self["person"].value()

    def clean_email(self) -> str:
        return self.cleaned_data["email"]  # the counter may take somebody in whom it can't reach

    def who(self) -> Who:
        said = self.cleaned_data
        return Who(
            person=said["person"],
            name=said["name"],
            kind=said["kind"],
            contact=said["contact"],
            email=said["email"],
            address=said["address"],
            phones=tuple(phones_in(said)),
        )


class GearForm(GearQuestion, ComplaintQuestion, CameWithQuestion, HistoryQuestion):
    """One piece of gear: known or described, and what is to be done with it."""

    gear = forms.ModelChoiceField(
        Gear.objects.select_related("owner"),
        required=False,
        widget=forms.HiddenInput,
        error_messages={"invalid_choice": "This gear isn't here any more. Choose again."},
    )
    comeback = forms.ChoiceField(
        label="Does it come back from a repair?",
        required=False,
        widget=forms.RadioSelect,
        error_messages={"invalid_choice": "Choose one of this gear’s own repairs, or none."},
    )
    year_guess = WordsField("Year, or a guess", 20, required=False)
    marks = WordsField(
        "Marks that tell it apart", 300, required=False, help_text="Stickers, scratches, a torn corner."
    )
    condition = WordsField("Condition as it comes in", 2000, rows=2, required=False)
    diagnosis_fee = sum_field("Diagnosis fee", "Empty: none.")

    def __init__(self, *args: Any, most_fee: Decimal | None = None, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.most_fee = most_fee
        self.fields["kind"].required = not self["gear"].value()
        self.repairs = {job.claim: job for job in _repairs(self["gear"].value())}
        self.fields["comeback"].choices = [("", "No, or not clear yet"), *self._repair_words()]
        self.fields["came_with"].label = "Came with"
        self.fields["complaint"].label = "Complaint, in their words"
        self.fields["complaint"].widget.attrs["rows"] = 3
        self.fields["kind"].label = "Kind"
        self.fields["happened"].label = "What happened to it"
        if most_fee is not None:
            self.fields["diagnosis_fee"].help_text = "It was signed. It can be lowered, not raised."

    def _repair_words(self) -> list[tuple[str, str]]:
        """Each repair that the gear may come back from, with what its warranty covers today."""
        today = timezone.localdate(timezone=self.shop.zone)
        words = []
        for claim, job in self.repairs.items():
            home = day_words(job.collected_at.astimezone(self.shop.zone))
            words.append(
                (claim, f"{claim}, home on {home}. {comebacks.verdict_on(job, today, self.shop).sentence}")
            )
        return words

    @property
    def comeback_of(self) -> Job | None:
        """The repair that was chosen as the one it comes back from."""
        return self.repairs.get(self.cleaned_data.get("comeback", ""))

    def clean_diagnosis_fee(self) -> Decimal:
        fee = self.cleaned_data["diagnosis_fee"] or Decimal(0)
        if self.most_fee is not None and fee > self.most_fee:
            signed = format_amount(self.most_fee, self.shop.currency)
            raise forms.ValidationError(f"{signed} was signed. Write that or less.")
        return fee

    @property
    def said_more(self) -> bool:
        """Whether something stands in the part of the form that is folded away, or is wrong there."""
        folded = ("year_guess", "marks", "condition", "history_note")
        return any(self[name].value() or self[name].errors for name in folded) or bool(
            self["diagnosis_fee"].errors
        )

    def brought(self, agreed: Mapping[str, Any]) -> Brought:
        """What came in; `agreed` has `wanted_by` and `spend_limit`."""
        said = self.cleaned_data
        return Brought(
            gear=said["gear"],
            kind=said["kind"] or GearKind.OTHER,
            complaint=said["complaint"],
            came_with=tuple(pieces_in(said)),
            **{name: name in said["happened"] for name, _ in HAPPENED},
            **{
                name: said[name]
                for name in (*_KNOWN, "year_guess", "marks", "history_note", "condition", "diagnosis_fee")
            },
            wanted_by=agreed["wanted_by"],
            spend_limit=agreed["spend_limit"],
            comeback_of=self.comeback_of,
        )


class AgreedForm(WhenQuestion):
    """What was agreed at the counter, for each piece of gear of the visit."""

    spend_limit = sum_field("Go ahead without asking up to", "Empty: ask first.")

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["wanted_by"].label = "Wanted by"
        self.fields["wanted_by"].help_text = "Empty: no hurry."


class SignForm(Question):
    """The owner's signature on the staff's tablet, or the name of somebody who can't sign on glass."""

    svg = forms.CharField(required=False, label="Sign here", widget=forms.HiddenInput)
    strokes = SignatureField()
    typed_name = WordsField(
        "Can’t sign on glass? The name, typed", 120, required=False, hints={"autocapitalize": "words"}
    )

    def clean_svg(self) -> str:
        return ""  # what the browser drew is never kept

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if "strokes" not in self.errors and not cleaned.get("strokes") and not cleaned.get("typed_name"):
            self.add_error("strokes", "Turn the tablet round and ask for the signature.")
        return cleaned


class ParcelForm(Question):
    """Gear that came by mail: by whom it was brought, and how the parcel looked."""

    carrier = WordsField("Carrier", 80, error_messages={"required": "Write who brought the parcel."})
    parcel_number = WordsField("Parcel number", 80, required=False, hints={"autocapitalize": "characters"})
    parcel_condition = WordsField(
        "Condition of the parcel",
        1000,
        rows=3,
        error_messages={"required": "Write how the parcel looked before it was opened, e.g. “no damage”."},
    )

    def parcel(self) -> Parcel:
        said = self.cleaned_data
        return Parcel(
            carrier=said["carrier"], number=said["parcel_number"], condition=said["parcel_condition"]
        )


@dataclass(frozen=True)
class Piece:
    """A piece of gear on the page: its form, and the gear it is or, where that is open, may be."""

    n: int
    form: GearForm
    known: Gear | None
    others: tuple[Gear, ...]

    @property
    def number(self) -> int:
        return self.n + 1

    @property
    def take_off(self) -> str:
        return f"drop:{self.n}"

    @property
    def forget(self) -> str:
        return f"unknown:{self.n}"


class Sheet:
    """All forms of a drop-off, or of an entry from the pad that staff check (then nothing more is signed).

    `typed` is what the page was filled with so far. With `check` it is judged, else shown again as it is.
    """

    def __init__(self, typed: QueryDict, shop: Shop, *, check: bool, entry: PadEntry | None = None):
        self.typed, self.shop, self.entry = typed, shop, entry
        self.how = Visit.How.MAIL if typed.get("how") == Visit.How.MAIL else Visit.How.COUNTER
        self.count = _count(typed)
        self.who = self._form(WhoForm, "who", check)
        most = Decimal(entry.answers["diagnosis_fee"] or 0) if entry else None
        self.gear = [self._form(GearForm, f"gear-{n}", check, most_fee=most) for n in range(self.count)]
        self.agreed = self._form(WhenQuestion if entry else AgreedForm, "agreed", check)
        self.sign = self.parcel = None
        if not entry and self.how == Visit.How.MAIL:
            self.parcel = self._form(ParcelForm, "parcel", check)
        elif not entry:
            self.sign = self._form(SignForm, "sign", check)

    @property
    def forms(self) -> list[Question]:
        return [f for f in (self.who, *self.gear, self.agreed, self.sign, self.parcel) if f]

    def is_valid(self) -> bool:
        """Whether every form is right. All are looked at, so that every mistake is said at once."""
        wrong = [form for form in self.forms if not form.is_valid()]
        return not wrong

    def brought(self) -> list[Brought]:
        """What came in. The spend limit of an entry is the one that was signed."""
        agreed = self.agreed.cleaned_data
        if self.entry:
            limit = self.entry.answers["spend_limit"]
            agreed = {**agreed, "spend_limit": Decimal(limit) if limit else None}
        return [form.brought(agreed) for form in self.gear]

    def agreed_so_far(self) -> list[str]:
        """What stands above the signature about each piece of gear that is described by now.

        Once nothing is wrong any more this is, word for word, what the signature will be kept with.
        """
        judged = Sheet(self.typed, self.shop, check=True)
        judged.is_valid()  # fills cleaned_data with whatever is right
        shown = ("gear", "kind", *_KNOWN, "diagnosis_fee")
        words = []
        for form in judged.gear:
            facts = {name: form.cleaned_data[name] for name in shown if form.cleaned_data.get(name)}
            wrong = "spend_limit" in judged.agreed.errors or not form.errors.keys().isdisjoint(shown)
            if wrong or not {"gear", "kind"} & set(facts):
                continue  # nothing is said rather than something that isn't agreed
            limit = judged.agreed.cleaned_data["spend_limit"]
            one = Brought(complaint="", spend_limit=limit, comeback_of=form.comeback_of, **facts)
            words.append(dropoff.agreed_words(self.shop, one))
        return words

    # --- what the page shows beside the boxes

    @property
    def wrong(self) -> list[dict[str, str]]:
        """What is wrong, in the order of the page: a sentence, and the id of the box it is about."""
        lines = []
        for form in self.forms:
            for name, errors in form.errors.items() if form.is_bound else ():
                if name == NON_FIELD_ERRORS:
                    lines += [{"id": "", "said": error} for error in errors]
                    continue
                box, label = form[name], form[name].label
                if name == "strokes":
                    target = f"{form['svg'].auto_id}_label"
                else:
                    target = "" if box.is_hidden else box.id_for_label or box.auto_id
                if self.count > 1 and form in self.gear:
                    label = f"Gear {self.gear.index(form) + 1}, {label}"
                lines += [{"id": target, "said": f"{label}: {error}"} for error in errors]
        return lines

    @property
    def who_said_more(self) -> bool:
        """Whether something stands in the folded part about the person, or is wrong there."""
        folded = ("phone_2", "phone_3", "email", "contact", "address")
        kind = self.who["kind"].value() or Person.Kind.PERSON
        shown = any(self.who[name].value() or self.who[name].errors for name in folded)
        new_phone = self.person and (self.who["phone_1"].value() or self.who["phone_1"].errors)
        return bool(shown or new_phone or kind != Person.Kind.PERSON)

    def ask_who(self) -> None:
        """Put the cursor into the box about somebody new that is still empty: the name, then the phone."""
        box = "phone_1" if self.typed.get("who-name") else "name"
        self.who.fields[box].widget.attrs["autofocus"] = True

    @property
    def may_grow(self) -> bool:
        return self.entry is None and self.count < dropoff.MOST_GEAR

    @property
    def next_piece(self) -> str:
        """The id of the piece of gear that one more would have."""
        return f"piece-{self.count}"

    @cached_property
    def person(self) -> Person | None:
        return _row(Person.objects.with_phones(), self.typed.get("who-person", ""))

    def pieces(self) -> list["Piece"]:
        """Each piece of gear of the page, with what the shop knows about it and what else it may be."""
        earlier = {g.pk: g for g in dropoff.gear_of(self.person, timezone.localdate())} if self.person else {}
        chosen = [self._chosen(n, earlier) for n in range(self.count)]
        others = [gear for gear in earlier.values() if gear not in chosen]
        return [
            Piece(n, form, known, () if known else tuple(others))
            for n, (form, known) in enumerate(zip(self.gear, chosen, strict=True))
        ]

    def _chosen(self, n: int, earlier: Mapping[int, Gear]) -> Gear | None:
        text = self.typed.get(f"gear-{n}-gear", "")
        return earlier.get(int(text)) if text.isdecimal() else None

    def _form(self, form: type[Question], prefix: str, check: bool, **more: Any) -> Any:
        if check:
            return form(self.typed, prefix=prefix, shop=self.shop, **more)
        shown = {
            name: field.widget.value_from_datadict(self.typed, {}, f"{prefix}-{name}")
            for name, field in form.base_fields.items()
            if not field.widget.value_omitted_from_data(self.typed, {}, f"{prefix}-{name}")
        }
        return form(initial=shown, prefix=prefix, shop=self.shop, **more)


# --- what waits from the pad ------------------------------------------------------------------------------


def written_on_pad(entry: PadEntry) -> QueryDict:
    """The sheet as the customer filled it on the pad."""
    answers = entry.answers
    typed = QueryDict(mutable=True)
    typed["pieces"] = str(len(answers["gear"]))
    typed["agreed-wanted_by"] = answers["wanted_by"] or ""
    who = dropoff.who_wrote(entry)
    typed.update(
        {f"who-{name}": getattr(who, name) for name in ("name", "kind", "contact", "email", "address")}
    )
    typed.update({f"who-phone_{n}": number for n, number in enumerate(who.phones, start=1)})
    for n, gear in enumerate(answers["gear"]):
        usual = [name for name in gear["came_with"] if name in USUAL_PIECES]
        own = [name for name in gear["came_with"] if name not in USUAL_PIECES]
        said = {**gear, "came_with_more": ", ".join(own), "diagnosis_fee": answers["diagnosis_fee"]}
        typed.update({f"gear-{n}-{name}": value for name, value in said.items() if isinstance(value, str)})
        typed.setlist(f"gear-{n}-came_with", usual)
        typed.setlist(f"gear-{n}-happened", gear["happened"])
    return typed


# --- the shape of the sheet -------------------------------------------------------------------------------


def blank(shop: Shop, chosen: QueryDict | None = None) -> QueryDict:
    """A sheet with nothing written. `chosen` may name a known `person`, their `gear` and `how`: links do."""
    typed = QueryDict(mutable=True)
    typed["pieces"] = "1"
    typed["gear-0-diagnosis_fee"] = _plain(shop.diagnosis_fee, shop)
    if chosen is None:
        return typed
    typed["q"] = chosen.get("q", "")[:200]
    if chosen.get("how") == Visit.How.MAIL:
        typed["how"] = Visit.How.MAIL
    if person := _row(Person.objects.all(), chosen.get("person", "")):
        typed["who-person"] = str(person.pk)
    if gear := _row(Gear.objects.all(), chosen.get("gear", "")):
        typed["who-person"], typed["gear-0-gear"] = str(gear.owner_id), str(gear.pk)
    return typed


def reshaped(typed: QueryDict, do: str, shop: Shop) -> QueryDict:
    """Return what the page shows after a button that changes its shape; an unknown one changes nothing.

    `add`, `drop:1`, `person:5`, `new`, `gear:7` (found by search), `gear:0:7`, `unknown:0`, `mail`,
    `counter`.
    """
    typed = typed.copy()
    act, *rest = do.split(":")
    count = _count(typed)
    match act, rest:
        case "add", []:
            if count < dropoff.MOST_GEAR:
                _add_piece(typed, count, shop)
        case "drop", [n] if n.isdecimal() and int(n) < count and count > 1:
            _drop_piece(typed, int(n), count)
        case "person", [pk]:
            if person := _row(Person.objects.all(), pk):
                _choose_person(typed, person.pk, count)
        case "new", []:
            _somebody_new(typed, count)
        case "gear", [pk]:
            if gear := _row(Gear.objects.all(), pk):
                _choose_person(typed, gear.owner_id, count)
                _choose_gear(typed, gear.pk, shop)
        case "gear", [n, pk] if n.isdecimal() and int(n) < count:
            if gear := _row(Gear.objects.filter(owner_id=_number(typed.get("who-person", ""))), pk):
                typed[f"gear-{int(n)}-gear"] = str(gear.pk)
        case "unknown", [n] if n.isdecimal() and int(n) < count:
            typed[f"gear-{int(n)}-gear"] = ""
        case (("mail" | "counter"), []):
            typed["how"] = act
    return typed


def _add_piece(typed: QueryDict, n: int, shop: Shop) -> None:
    typed["pieces"] = str(n + 1)
    typed[f"gear-{n}-diagnosis_fee"] = _plain(shop.diagnosis_fee, shop)


def _drop_piece(typed: QueryDict, gone: int, count: int) -> None:
    """Take a piece away, and let the ones behind it move up."""
    for name in list(typed):
        prefix, _, rest = name.removeprefix("gear-").partition("-")
        if not name.startswith("gear-") or not prefix.isdecimal() or int(prefix) < gone:
            continue
        values = typed.pop(name)
        if gone < int(prefix) < count:
            typed.setlist(f"gear-{int(prefix) - 1}-{rest}", values)
    typed["pieces"] = str(count - 1)


def _choose_person(typed: QueryDict, pk: int, count: int) -> None:
    if typed.get("who-person") != str(pk):
        _let_go_of_gear(typed, count)
    typed["who-person"] = str(pk)
    typed["q"] = ""


def _somebody_new(typed: QueryDict, count: int) -> None:
    """Nobody the shop knows: what was typed to find them is their name or their number."""
    _let_go_of_gear(typed, count)
    typed["who-person"] = ""
    text = typed.get("q", "").strip()[:120]
    number = digits(text)
    box = "who-phone_1" if len(number) >= 4 and len(number) >= len(text) // 2 else "who-name"
    if text and not typed.get(box):
        typed[box] = text
    typed["q"] = ""


def _let_go_of_gear(typed: QueryDict, count: int) -> None:
    """Known gear belongs to its owner: with another person it is unknown again."""
    for n in range(count):
        typed[f"gear-{n}-gear"] = ""


def _choose_gear(typed: QueryDict, pk: int, shop: Shop) -> None:
    """Put known gear where no gear is described yet, else as another piece."""
    count = _count(typed)
    pieces = [
        {name: typed.get(f"gear-{n}-{name}") for name in ("gear", "kind", *_KNOWN)} for n in range(count)
    ]
    if any(piece["gear"] == str(pk) for piece in pieces):
        return
    free = next((n for n, piece in enumerate(pieces) if not any(piece.values())), count)
    if free == count:
        if count == dropoff.MOST_GEAR:
            return
        _add_piece(typed, count, shop)
    typed[f"gear-{free}-gear"] = str(pk)


def _count(typed: QueryDict) -> int:
    return min(max(_number(typed.get("pieces", "")) or 1, 1), dropoff.MOST_GEAR)


def _number(text: str) -> int | None:
    return int(text) if text.isdecimal() and len(text) < 18 else None


def _row(rows: QuerySet, text: str) -> Any | None:
    pk = _number(text)
    return rows.filter(pk=pk).first() if pk is not None else None


def _plain(amount: Decimal, shop: Shop) -> str:
    """An amount as it stands in a box: `45.00`, or nothing for none."""
    return str(round_to(amount, shop.currency)) if amount else ""


def _repairs(gear: Any) -> list[Job]:
    """The latest repairs of known gear; `gear` is what stands in the box."""
    pk = gear.pk if isinstance(gear, Gear) else _number(str(gear or ""))
    if pk is None:
        return []
    return comebacks.repairs_of(Job.objects.filter(gear=pk))[:REPAIRS_OFFERED]
