"""Single tubes that were measured, what was measured, and sets matched by it."""

from django.db import models
from django.db.models import Q
from django.utils import timezone

from intake.models import Job
from inventory.models.parts import Part
from inventory.models.stock import Move
from shop.models import Kept, Staff


class TubeSet(models.Model):
    """Tubes matched by measured plate current, labelled and sold as one."""

    label = models.CharField("label", max_length=20, unique=True)  # on the box: "S-0012"
    part = models.ForeignKey(Part, models.PROTECT, related_name="sets")
    made_at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    job = models.ForeignKey(
        Job, models.PROTECT, null=True, blank=True, related_name="+"
    )  # used there, as one
    gone_at = models.DateTimeField(null=True, blank=True)  # used, sold
    taken_apart_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-made_at", "-pk"]

    def __str__(self) -> str:
        return self.label


class Tube(models.Model):
    """One tube with a label of its own: new stock that was measured, or a used one and where it came from.

    It is one of its part's quantity as long as it is here.
    """

    label = models.CharField("label", max_length=20, unique=True)  # "T-0451"
    part = models.ForeignKey(Part, models.PROTECT, related_name="tubes")
    make = models.CharField("make", max_length=80, blank=True)
    is_used = models.BooleanField("used", default=False)
    came_from = models.ForeignKey(Job, models.PROTECT, null=True, blank=True, related_name="+")
    note = models.CharField("note", max_length=200, blank=True)
    set = models.ForeignKey(TubeSet, models.PROTECT, null=True, blank=True, related_name="tubes")
    job = models.ForeignKey(Job, models.PROTECT, null=True, blank=True, related_name="+")  # where it went
    move = models.ForeignKey(
        Move, models.PROTECT, null=True, blank=True, related_name="+"
    )  # by which it went
    gone_at = models.DateTimeField(null=True, blank=True)
    made_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["label"]
        constraints = [models.CheckConstraint(condition=~Q(label=""), name="tube_has_a_label")]

    def __str__(self) -> str:
        return self.label


class TubeReading(Kept):
    """What a tube drew at stated conditions. Readings at other conditions, or of another tester, don't compare."""

    tube = models.ForeignKey(Tube, models.PROTECT, related_name="readings")
    plate_volts = models.FloatField("plate, V")
    screen_volts = models.FloatField("screen, V", null=True, blank=True)
    grid_volts = models.FloatField("grid, V")
    current = models.FloatField("plate current, A")
    transconductance = models.FloatField("transconductance, A/V", null=True, blank=True)
    tester = models.CharField("measured with", max_length=80, blank=True)
    warm_minutes = models.PositiveSmallIntegerField("warm for, minutes", null=True, blank=True)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(current__gte=0), name="tube_current_not_below_zero")
        ]
