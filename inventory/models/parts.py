"""Parts with their electrical values, and the drawers that they live in."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q, Sum
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils import timezone

from intake.folding import fold


class Drawer(models.Model):
    """Where parts live: a drawer, a box, a shelf. Its code is on its label, in letters and as a QR code."""

    code = models.CharField(
        "code", max_length=20, unique=True
    )  # "B-14": short enough to be read across a bench
    place = models.CharField("where it stands", max_length=120, blank=True)
    note = models.CharField("note", max_length=200, blank=True)
    is_in_use = models.BooleanField("in use", default=True)

    class Meta:
        ordering = ["code"]
        constraints = [models.CheckConstraint(condition=~Q(code=""), name="drawer_has_a_code")]

    def __str__(self) -> str:
        return self.code

    def get_absolute_url(self) -> str:
        return reverse("drawer", args=[self.pk])


class Kind(models.TextChoices):
    """What a part is: decides which values it has."""

    CAPACITOR = "capacitor", "capacitor"
    RESISTOR = "resistor", "resistor"
    POT = "pot", "pot"
    TUBE = "tube", "tube"
    DIODE = "diode", "diode"
    ZENER = "zener", "zener"
    TRANSISTOR = "transistor", "transistor"
    FUSE = "fuse", "fuse"
    JACK = "jack", "jack"
    SOCKET = "socket", "socket"
    CORD = "cord", "cord"
    TANK = "spring tank", "spring tank"
    SPEAKER = "speaker", "speaker"
    TRANSFORMER = "transformer", "transformer"
    HARDWARE = "hardware", "hardware"
    CONSUMABLE = "consumable", "consumable"
    OTHER = "other", "other"


class PartQuerySet(models.QuerySet["Part"]):
    def in_use(self) -> "PartQuerySet":
        return self.filter(is_in_use=True)

    def counted(self) -> "PartQuerySet":
        return self.filter(is_loose=False)

    def free(self) -> "PartQuerySet":
        """With `is_free`: how many are there and not put aside for a job. In their usual order."""
        held = Coalesce(Sum("asides__quantity", filter=Q(asides__ended_at__isnull=True)), 0)
        rows = self.annotate(put_aside=held).annotate(is_free=F("quantity") - F("put_aside"))
        return rows.order_by(*Part._meta.ordering)  # summing up forgets the order


class Part(models.Model):
    """A kind of thing in a drawer. `value` and the ratings are in SI units: ohms, farads, volts, watts, amperes.

    How many there are (`quantity`) is the sum of its moves, kept here and checked by a command; what one costs the
    shop (`cost`) is the moving average of what was paid. `inventory.stock` alone writes these two: whoever saves
    anything else of a part names its fields (`update_fields`). A loose part isn't counted: it is plenty, low or out.
    """

    class Level(models.TextChoices):
        PLENTY = "plenty", "plenty"
        LOW = "low", "low"
        OUT = "out", "out"

    kind = models.CharField("kind", max_length=12, choices=Kind.choices)
    name = models.CharField(
        "what it is", max_length=120
    )  # "22u 450V axial", "12AX7", "octal socket, chassis"
    # values: what a kind hasn't stays empty
    value = models.FloatField(null=True, blank=True)  # ohms, farads, henries, or the amperes of a fuse
    tolerance = models.FloatField("tolerance, %", null=True, blank=True)
    volts = models.FloatField("rated volts", null=True, blank=True)
    watts = models.FloatField("rated watts", null=True, blank=True)
    amps = models.FloatField("rated amperes", null=True, blank=True)
    impedance = models.FloatField(
        "impedance, Ω", null=True, blank=True
    )  # speakers, tanks (input), transformers
    hottest = models.FloatField("rated temperature, °C", null=True, blank=True)
    designation = models.CharField("type", max_length=40, blank=True)  # 12AX7, 1N4007, 2N3904
    technology = models.CharField("technology", max_length=40, blank=True)  # film, electrolytic, wire-wound
    leads = models.CharField("leads", max_length=40, blank=True)  # axial, radial, snap-in, chassis
    taper = models.CharField("taper", max_length=20, blank=True)
    shaft = models.CharField("shaft", max_length=40, blank=True)
    make = models.CharField("make", max_length=80, blank=True)
    note = models.CharField("note", max_length=400, blank=True)
    # stock
    drawer = models.ForeignKey(Drawer, models.PROTECT, null=True, blank=True, related_name="parts")
    is_loose = models.BooleanField("not counted", default=False)
    level = models.CharField("how much there is", max_length=6, choices=Level.choices, blank=True)
    quantity = models.IntegerField(default=0, editable=False)
    cost = models.DecimalField("cost of one", max_digits=14, decimal_places=6, default=0, editable=False)
    price = models.DecimalField(
        "price of one",
        max_digits=12,
        decimal_places=3,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0))],
        help_text="Empty: from the cost, by the shop’s mark-up.",
    )
    keep = models.PositiveIntegerField("reorder at", null=True, blank=True)  # empty: as the planner says
    photo = models.FileField(upload_to="parts", blank=True, editable=False)  # always one that we encoded
    is_in_use = models.BooleanField("in use", default=True)
    search = models.CharField(max_length=600, blank=True, editable=False)  # folded words
    revision = models.PositiveIntegerField(default=0, editable=False)
    made_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = PartQuerySet.as_manager()

    class Meta:
        ordering = ["kind", "value", "name", "pk"]
        indexes = [
            models.Index(fields=["kind", "value"]),
            models.Index(fields=["designation"]),
            models.Index(fields=["drawer"]),
        ]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="part_has_a_name"),
            models.CheckConstraint(condition=Q(cost__gte=0), name="part_cost_not_below_zero"),
            models.CheckConstraint(condition=Q(is_loose=False) | ~Q(level=""), name="part_loose_has_a_level"),
            models.CheckConstraint(
                condition=Q(value__isnull=True) | Q(value__gte=0), name="part_value_not_below_zero"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def save(self, *args: Any, update_fields: Iterable[str] | None = None, **kwargs: Any) -> None:
        self.refold()
        if update_fields is not None:
            update_fields = {*update_fields, "search"}
        super().save(*args, update_fields=update_fields, **kwargs)

    def refold(self) -> None:
        """Fold the words that it is found by, each between spaces; for rows that are made in bulk, without `save`."""
        written = (
            self.name,
            self.get_kind_display(),
            self.designation,
            self.technology,
            self.leads,
            self.taper,
        )
        words = fold(*written, self.shaft, self.make, self.note).split()
        self.search = f" {' '.join(dict.fromkeys(words))} "[:600]

    def get_absolute_url(self) -> str:
        return reverse("part", args=[self.pk])
