"""What happened to parts: moves, what is put aside for jobs, counting rounds."""

from django.db import models
from django.db.models import Q
from django.utils import timezone

from intake.models import Charge, InvoiceLine, Job
from inventory.models.parts import Drawer, Part
from shop.models import Kept, Staff


class Move(Kept):
    """A line of the stock's ledger. Written once; a wrong one is undone by another that names it.

    `quantity` is what came (above zero) or went (below); `cost` what one cost, at that moment; `left` how many there
    were after it.
    """

    class Why(models.TextChoices):
        RECEIVED = "received", "received"
        USED = "used", "used on a job"
        RETURNED = "returned", "given back"
        SOLD = "sold", "sold"
        COUNTED = "counted", "counted"
        SCRAPPED = "scrapped", "scrapped"
        HARVESTED = "harvested", "harvested from a dead unit"
        LET_GO = "let go", "from gear let go"
        SENT_BACK = "sent back", "sent back to the supplier"

    part = models.ForeignKey(Part, models.PROTECT, related_name="moves")
    why = models.CharField(max_length=10, choices=Why.choices)
    quantity = models.IntegerField()
    cost = models.DecimalField(max_digits=14, decimal_places=6, default=0)
    left = models.IntegerField()
    words = models.CharField(max_length=300, blank=True)  # the reason; needed where it goes below zero
    job = models.ForeignKey(Job, models.PROTECT, null=True, blank=True, related_name="+")
    charge = models.ForeignKey(Charge, models.PROTECT, null=True, blank=True, related_name="+")
    order_line = models.ForeignKey(
        "inventory.OrderLine", models.PROTECT, null=True, blank=True, related_name="moves"
    )
    sale_line = models.ForeignKey(
        InvoiceLine, models.PROTECT, null=True, blank=True, related_name="+"
    )  # of what was sold over the counter
    undoes = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="undone_by")
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [
            models.Index(fields=["part", "at"]),
            models.Index(fields=["at"]),
            models.Index(fields=["job"]),
        ]
        constraints = [
            models.CheckConstraint(condition=Q(left__gte=0) | ~Q(words=""), name="move_below_zero_says_why"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity:+d} {self.part}"


class Aside(models.Model):
    """Parts put aside for a job in line or waiting. They are in their drawer still, and nobody else's."""

    part = models.ForeignKey(Part, models.PROTECT, related_name="asides")
    job = models.ForeignKey(Job, models.PROTECT, related_name="asides")
    quantity = models.PositiveIntegerField()
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)  # used, or no longer wanted

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(quantity__gt=0), name="aside_more_than_none"),
            models.UniqueConstraint(
                fields=["part", "job"], condition=Q(ended_at__isnull=True), name="aside_once_a_job"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.part}"


class CountRound(models.Model):
    """A round through drawers with the tablet. Nothing is posted before somebody looked at the differences."""

    began_at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    words = models.CharField("what is counted", max_length=120, blank=True)
    posted_at = models.DateTimeField(null=True, blank=True)
    dropped_at = models.DateTimeField(null=True, blank=True)
    revision = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["-began_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(posted_at__isnull=True) | Q(dropped_at__isnull=True),
                name="count_posted_or_dropped",
            )
        ]

    def __str__(self) -> str:
        return self.words or f"Count {self.pk}"


class CountLine(models.Model):
    """What was counted of a part in a round. `expected` is what the ledger said at that moment."""

    round = models.ForeignKey(CountRound, models.CASCADE, related_name="lines")
    drawer = models.ForeignKey(Drawer, models.PROTECT, null=True, blank=True, related_name="+")
    part = models.ForeignKey(Part, models.PROTECT, related_name="+")
    expected = models.IntegerField()
    counted = models.PositiveIntegerField()
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    move = models.OneToOneField(Move, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["at", "pk"]
        constraints = [models.UniqueConstraint(fields=["round", "part"], name="count_once_a_round")]

    def __str__(self) -> str:
        return f"{self.counted} {self.part}"
