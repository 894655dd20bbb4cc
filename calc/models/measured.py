"""What is measured and worked out on a job, and the meters it is measured with."""

import datetime as dt

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from django.db.models import Q
from django.utils import timezone

from intake.models import Job
from shop.models import Kept, Staff


def _was_due(due_on: dt.date | None, at: dt.datetime) -> bool:
    """Whether a calibration had run out when something was measured. On its last day it still holds."""
    return due_on is not None and due_on < timezone.localdate(at)


class ReadingQuerySet(models.QuerySet["Reading"]):
    def standing(self) -> "ReadingQuerySet":
        """Readings that weren't struck out, without the rows that strike."""
        return self.filter(strikes__isnull=True, struck_by__isnull=True)


class Reading(Kept):
    """A measured value, with its unit, as it was written and as it was understood.

    A wrong one is struck, not changed.
    """

    class When(models.TextChoices):
        BEFORE = "before", "Before the repair"
        AFTER = "after", "After the repair"

    job = models.ForeignKey(Job, models.PROTECT, related_name="readings")
    point = models.CharField("where", max_length=80)
    written = models.CharField(max_length=40)  # "4k7", "462 V": what the tech typed
    value = models.FloatField()  # in the unit below: a measured quantity, never money
    unit = models.CharField(max_length=8)
    when = models.CharField("when", max_length=8, choices=When.choices, default=When.BEFORE)
    meter = models.CharField("meter", max_length=80, blank=True)  # its name on that day
    with_meter = models.ForeignKey("Meter", models.PROTECT, null=True, blank=True, related_name="+")
    meter_due_on = models.DateField(
        null=True, blank=True
    )  # when its calibration ran out, as it was known then
    powered = models.BooleanField("under power", default=False)
    note = models.CharField("note", max_length=200, blank=True)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    strikes = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="struck_by")

    objects = ReadingQuerySet.as_manager()

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(point="") & ~Q(unit=""), name="reading_has_place_and_unit")
        ]

    def __str__(self) -> str:
        return f"{self.point}: {self.written} {self.unit}"

    @property
    def meter_was_due(self) -> bool:
        """Whether its meter was out of calibration when it was taken."""
        return _was_due(self.meter_due_on, self.at)


class Meter(models.Model):
    """A meter of the shop: what it is called on the bench, and when its calibration runs out."""

    name = models.CharField("name", max_length=80, unique=True)
    calibrated_on = models.DateField("calibrated on", null=True, blank=True)
    due_on = models.DateField("calibration due", null=True, blank=True)
    is_here = models.BooleanField("in use", default=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="meter_has_a_name"),
            models.CheckConstraint(
                condition=Q(calibrated_on__isnull=True)
                | Q(due_on__isnull=True)
                | Q(due_on__gte=models.F("calibrated_on")),
                name="meter_due_after_calibration",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Accuracy(models.Model):
    """How sure a meter is of values in one unit: per cent of the reading, and something that is always there."""

    meter = models.ForeignKey(Meter, models.CASCADE, related_name="accuracies")
    unit = models.CharField("unit", max_length=8)  # a key of the engine's UNITS
    percent = models.FloatField("per cent of the reading")
    always = models.FloatField("and always", default=0.0)  # in the unit

    class Meta:
        ordering = ["unit"]
        constraints = [
            models.UniqueConstraint(fields=["meter", "unit"], name="accuracy_once_a_unit"),
            models.CheckConstraint(
                condition=Q(percent__gte=0) & Q(always__gte=0), name="accuracy_not_below_zero"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.meter}: {self.percent:g} % and {self.always:g} {self.unit}"


class SheetQuerySet(models.QuerySet["KeptSheet"]):
    def standing(self) -> "SheetQuerySet":
        """Those that weren't struck out, without the rows that strike."""
        return self.filter(strikes__isnull=True, struck_by__isnull=True)


class KeptSheet(Kept):
    """A worksheet as it was filled in on a job, with what it answered on that day.

    `said` is what was typed, a name of a box to its text; `answer` is the whole answer as it stood, so that a later
    engine doesn't change what was judged. A wrong one is struck, not changed.
    """

    job = models.ForeignKey(Job, models.PROTECT, related_name="sheets")
    slug = models.CharField(max_length=40)
    when = models.CharField(max_length=8, choices=Reading.When.choices, default=Reading.When.BEFORE)
    said = models.JSONField(encoder=DjangoJSONEncoder)
    answer = models.JSONField(encoder=DjangoJSONEncoder)
    verdict = models.CharField(max_length=8)
    engine = models.CharField(max_length=12)
    meter = models.ForeignKey(Meter, models.PROTECT, null=True, blank=True, related_name="+")
    meter_due_on = models.DateField(
        null=True, blank=True
    )  # when its calibration ran out, as it was known then
    note = models.CharField("note", max_length=200, blank=True)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    strikes = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="struck_by")

    objects = SheetQuerySet.as_manager()

    class Meta:
        ordering = ["at", "pk"]
        indexes = [models.Index(fields=["slug", "job"])]
        constraints = [models.CheckConstraint(condition=~Q(slug=""), name="sheet_has_a_slug")]

    @property
    def meter_was_due(self) -> bool:
        """Whether its meter was out of calibration when it was kept."""
        return _was_due(self.meter_due_on, self.at)


class ShopsOwn(models.Model):
    """What the owner wrote into a worksheet's box once for all: a limit of a safety test, its edition."""

    slug = models.CharField(max_length=40)
    name = models.CharField(max_length=40)
    text = models.CharField(max_length=120)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["slug", "name"], name="shops_own_once")]

    def __str__(self) -> str:
        return f"{self.slug}, {self.name}: {self.text}"
