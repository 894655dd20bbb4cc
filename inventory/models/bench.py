"""The shop's own bench gear: meters, test loads, known-good tanks and transformers; lent out and back."""

from django.db import models
from django.db.models import Q
from django.utils import timezone

from calc.models import Meter
from shop.models import Staff


class BenchGear(models.Model):
    """A thing of the shop's own. A meter's ± and calibration are calc's `Meter`; a test load has ohms and watts."""

    class Kind(models.TextChoices):
        METER = "meter", "meter"
        LOAD = "test load", "test load"
        TANK = "spring tank", "known-good spring tank"
        TRANSFORMER = "transformer", "known-good transformer"
        OTHER = "other", "other"

    kind = models.CharField("kind", max_length=12, choices=Kind.choices)
    name = models.CharField("name", max_length=80, unique=True)
    meter = models.OneToOneField(Meter, models.PROTECT, null=True, blank=True, related_name="bench_gear")
    impedance = models.FloatField("impedance, Ω", null=True, blank=True)  # of a load, a tank's input
    second_impedance = models.FloatField("other side, Ω", null=True, blank=True)  # a tank's output, a winding
    watts = models.FloatField("power, W", null=True, blank=True)
    note = models.CharField("note", max_length=200, blank=True)
    is_in_use = models.BooleanField("in use", default=True)
    revision = models.PositiveIntegerField(default=0, editable=False)

    class Meta:
        ordering = ["kind", "name"]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="bench_gear_has_a_name"),
            models.CheckConstraint(
                condition=Q(impedance__isnull=True) | Q(impedance__gt=0),
                name="bench_gear_impedance_above_zero",
            ),
            models.CheckConstraint(
                condition=Q(watts__isnull=True) | Q(watts__gt=0), name="bench_gear_watts_above_zero"
            ),
        ]

    def __str__(self) -> str:
        return self.meter.name if self.meter_id else self.name  # a meter's name may have changed since


class Loan(models.Model):
    """Bench gear in somebody else's hands."""

    gear = models.ForeignKey(BenchGear, models.PROTECT, related_name="loans")
    to_whom = models.CharField("lent to", max_length=120)
    out_at = models.DateTimeField(default=timezone.now)
    due_on = models.DateField("back by", null=True, blank=True)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    back_at = models.DateTimeField(null=True, blank=True)
    back_by = models.ForeignKey(Staff, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["-out_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["gear"], condition=Q(back_at__isnull=True), name="loan_one_at_a_time"
            ),
            models.CheckConstraint(condition=~Q(to_whom=""), name="loan_says_to_whom"),
        ]

    def __str__(self) -> str:
        return f"{self.gear}, lent to {self.to_whom}"
