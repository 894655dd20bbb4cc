"""People and their gear."""

from typing import Any

from django.core.validators import RegexValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from intake.folding import digits, fold


def _has_phone(part: str) -> Q:
    """People with these digits in a phone number. By their keys: a join would give a person twice, and is slower."""
    return Q(pk__in=Phone.objects.filter(digits__contains=part).values("person"))


class PersonQuerySet(models.QuerySet["Person"]):
    def matching(self, text: str) -> "PersonQuerySet":
        """People with every word of `text` in their name, e-mail or phone numbers; nobody for a text without words."""
        words, number = fold(text).split(), digits(text)
        if not words:
            return self.none()
        found = Q()
        for word in words:
            found &= Q(folded__contains=word) | (_has_phone(word) if word.isdigit() else Q())
        if (
            len(number) >= 4 and len(number) >= len(text.strip()) // 2
        ):  # a number as people write it, in groups
            found |= _has_phone(number)
        return self.filter(found)

    def with_phones(self) -> "PersonQuerySet":
        return self.prefetch_related("phones")


class Person(models.Model):
    """A customer: somebody, a band, a venue, a school."""

    class Kind(models.TextChoices):
        PERSON = "person", "A person"
        BAND = "band", "A band"
        VENUE = "venue", "A venue"
        SCHOOL = "school", "A school"
        BUSINESS = "business", "A business"

    name = models.CharField("name", max_length=120)
    kind = models.CharField("kind", max_length=10, choices=Kind.choices, default=Kind.PERSON)
    email = models.EmailField("e-mail", blank=True)
    address = models.TextField("address", max_length=400, blank=True)
    address_since = models.DateField(
        null=True, blank=True, editable=False
    )  # when they last moved, as far as we know
    country = models.CharField(
        "country",
        max_length=2,
        blank=True,
        validators=[RegexValidator(r"^[A-Z]{2}$", "Use the two letters of ISO 3166.")],
    )
    tax_exempt_number = models.CharField(
        "tax exemption number",
        max_length=40,
        blank=True,
        help_text="Fill in only where they pay no tax, with its proof.",
    )
    note = models.TextField("note", max_length=2000, blank=True, help_text="Seen by staff only.")
    revision = models.PositiveIntegerField(default=1, editable=False)
    since = models.DateTimeField(default=timezone.now, editable=False)
    folded = models.CharField(max_length=400, editable=False, db_index=True)

    objects = PersonQuerySet.as_manager()

    class Meta:
        ordering = ["folded", "pk"]
        verbose_name_plural = "people"
        constraints = [models.CheckConstraint(condition=~Q(name=""), name="person_named")]

    def __str__(self) -> str:
        return self.name

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.refold()
        super().save(*args, **kwargs)

    def refold(self) -> None:
        """Fold the words that search finds this person by; for rows that are made in bulk, without `save`."""
        self.folded = fold(self.name, self.email)[:400]

    def get_absolute_url(self) -> str:
        return reverse("person", args=[self.pk])


class Phone(models.Model):
    """One of a person's phone numbers, in the order they like to be called."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="phones")
    number = models.CharField(
        "phone", max_length=40, validators=[RegexValidator(r"[0-9]", "A phone number has digits.")]
    )
    label = models.CharField("whose or where", max_length=40, blank=True)
    position = models.PositiveSmallIntegerField(default=0)
    digits = models.CharField(max_length=40, editable=False, db_index=True)

    class Meta:
        ordering = ["position", "pk"]

    def __str__(self) -> str:
        return self.number

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.digits = digits(self.number)
        super().save(*args, **kwargs)

    @property
    def dial(self) -> str:
        """The number as a `tel:` link takes it."""
        plus = "+" if self.number.lstrip(" (").startswith("+") else ""
        return plus + digits(self.number)


class GearKind(models.TextChoices):
    HEAD = "head", "Amplifier head"
    COMBO = "combo", "Combo amplifier"
    CABINET = "cabinet", "Speaker cabinet"
    EFFECT = "effect", "Effect"
    ECHO = "echo", "Echo unit"
    KEYBOARD = "keyboard", "Keyboard"
    PEDAL = "pedal", "Pedal"
    OTHER = "other", "Other"


class GearQuerySet(models.QuerySet["Gear"]):
    def matching(self, text: str) -> "GearQuerySet":
        """Gear with every word of `text` in its maker, model or serial; none for a text without words."""
        words = fold(text).split()
        found = self if words else self.none()
        for word in words:
            found = found.filter(folded__contains=word)
        return found


class Gear(models.Model):
    """A thing that is owned and repaired. It may come back many times."""

    class Technology(models.TextChoices):
        UNKNOWN = "", "Not known yet"
        VALVE = "valve", "Valve"
        SOLID_STATE = "solid state", "Solid state"
        HYBRID = "hybrid", "Both"
        PASSIVE = "passive", "No electronics"

    owner = models.ForeignKey(Person, models.PROTECT, related_name="gear")
    kind = models.CharField("kind", max_length=10, choices=GearKind.choices, default=GearKind.COMBO)
    technology = models.CharField("technology", max_length=12, choices=Technology.choices, blank=True)
    maker = models.CharField("maker", max_length=80, blank=True)
    model = models.CharField("model", max_length=80, blank=True)
    serial = models.CharField("serial number", max_length=80, blank=True)
    year_guess = models.CharField("year, or a guess", max_length=20, blank=True)
    marks = models.CharField("marks that tell it apart", max_length=300, blank=True)
    revision = models.PositiveIntegerField(default=1, editable=False)
    folded = models.CharField(max_length=400, editable=False, db_index=True)

    objects = GearQuerySet.as_manager()

    class Meta:
        ordering = ["folded", "pk"]
        verbose_name_plural = "gear"
        constraints = [models.CheckConstraint(condition=Q(kind__in=GearKind.values), name="gear_kind_known")]

    def __str__(self) -> str:
        return " ".join(x for x in (self.maker, self.model) if x) or self.get_kind_display()

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.refold()
        super().save(*args, **kwargs)

    def refold(self) -> None:
        """Fold the words that search finds this gear by; for rows that are made in bulk, without `save`.

        The serial number goes in once more in one piece: `C-204 17` is found by `c20417` too.
        """
        words = fold(self.maker, self.model, self.serial)
        whole = fold(self.serial).replace(" ", "")
        self.folded = (words if whole in words else f"{words} {whole}")[:400]

    def get_absolute_url(self) -> str:
        return reverse("gear", args=[self.pk])
