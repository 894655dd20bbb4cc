"""How gear goes home: the ready notice, and the pickup."""

from django.db import models
from django.db.models import Q
from django.utils import timezone

from intake.models.jobs import Job
from intake.models.visits import Signature
from shop.models import Kept, Staff


class ReadyNotice(Kept):
    """The owner was told that it is ready. The first one starts the storage clock."""

    class How(models.TextChoices):
        PHONE = "phone", "By phone"
        EMAIL = "email", "By e-mail"
        MESSAGE = "message", "By message"
        LETTER = "letter", "By letter"
        IN_PERSON = "in person", "In person"

    job = models.ForeignKey(Job, models.PROTECT, related_name="ready_notices")
    how = models.CharField("how", max_length=10, choices=How.choices)
    words = models.CharField("who was told, what they said", max_length=300, blank=True)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["at", "pk"]

    def __str__(self) -> str:
        return self.get_how_display()


class Pickup(Kept):
    """The gear went home: to whom, with what, and under what signature."""

    job = models.OneToOneField(Job, models.PROTECT)
    handed_to = models.CharField("handed to", max_length=120)
    how = models.CharField(
        "how", max_length=8, choices=[("counter", "At the counter"), ("mail", "By mail")], default="counter"
    )
    carrier = models.CharField("carrier and parcel number", max_length=120, blank=True)
    signature = models.OneToOneField(Signature, models.PROTECT, null=True, blank=True)
    missing = models.TextField("what did not go home, and why", max_length=1000, blank=True)
    owed = models.DecimalField(
        max_digits=12, decimal_places=3, default=0
    )  # money still owed, waived by the owner
    waiver = models.CharField("why it goes home with money owed", max_length=300, blank=True)
    waived_by = models.ForeignKey(Staff, models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(owed__lte=0) | (~Q(waiver="") & Q(waived_by__isnull=False)),
                name="pickup_owed_is_waived",
            ),
            models.CheckConstraint(
                condition=Q(how="mail") | Q(signature__isnull=False), name="pickup_signed_or_mailed"
            ),
        ]

    def __str__(self) -> str:
        return f"Handed to {self.handed_to}"
