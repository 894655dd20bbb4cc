"""What is measured on a job."""

from django.db import models
from django.db.models import Q
from django.utils import timezone

from intake.models import Job
from shop.models import Kept, Staff


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
    meter = models.CharField("meter", max_length=80, blank=True)
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
