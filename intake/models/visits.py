"""How gear comes in: a visit, its signature, and what the sign-in pad brought."""

from django.db import models
from django.db.models import Q
from django.utils import timezone

from intake.models.people import Person
from shop.models import Kept, Staff, Terms


class Signature(Kept):
    """A name, drawn or typed, under words. The words are kept as they were shown, with when and on what device."""

    class Purpose(models.TextChoices):
        DROP_OFF = "drop-off", "Drop-off"
        ANSWER = "answer", "Answer to an estimate"
        PICKUP = "pickup", "Pickup"

    purpose = models.CharField(max_length=10, choices=Purpose.choices)
    name = models.CharField(max_length=120)
    svg = models.TextField(blank=True)  # our own drawing of the strokes; empty where the name was typed
    words = models.TextField()  # what was signed, whole
    words_version = models.CharField(max_length=40, blank=True)
    at = models.DateTimeField(default=timezone.now)
    device = models.CharField(max_length=300, blank=True)

    def __str__(self) -> str:
        return f"{self.name}, {self.get_purpose_display().lower()}"


class Visit(models.Model):
    """One drop-off: a person, one signature, one or several pieces of gear with a job each."""

    class How(models.TextChoices):
        COUNTER = "counter", "At the counter"
        MAIL = "mail", "By mail"

    person = models.ForeignKey(Person, models.PROTECT, related_name="visits")
    how = models.CharField("how it came", max_length=8, choices=How.choices, default=How.COUNTER)
    at = models.DateTimeField(default=timezone.now)
    taken_in_by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    terms = models.ForeignKey(Terms, models.PROTECT, related_name="+")
    signature = models.OneToOneField(Signature, models.PROTECT, null=True, blank=True)
    carrier = models.CharField("carrier", max_length=80, blank=True)
    parcel_number = models.CharField("parcel number", max_length=80, blank=True)
    parcel_condition = models.TextField("condition of the parcel", max_length=1000, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(how="counter", signature__isnull=False) | (Q(how="mail") & ~Q(carrier="")),
                name="visit_signed_or_mailed",
            )
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.at:%Y-%m-%d}"


class PadEntry(models.Model):
    """What a customer wrote and signed on the sign-in pad, waiting for staff to check, match and tag it.

    `answers` is what they typed, as the form cleaned it; nothing else in the database was read to make it.
    """

    class Status(models.TextChoices):
        WAITING = "waiting", "Waiting"
        TAKEN_IN = "taken in", "Taken in"
        PUT_AWAY = "put away", "Put away"

    at = models.DateTimeField(default=timezone.now)
    answers = models.JSONField(default=dict)
    terms = models.ForeignKey(Terms, models.PROTECT, related_name="+")
    signature = models.OneToOneField(Signature, models.PROTECT)
    status = models.CharField(max_length=10, choices=Status.choices, default=Status.WAITING)
    visit = models.OneToOneField(Visit, models.PROTECT, null=True, blank=True, related_name="pad_entry")

    class Meta:
        ordering = ["at"]
        verbose_name_plural = "pad entries"
        constraints = [
            models.CheckConstraint(
                condition=~Q(status="taken in") | Q(visit__isnull=False), name="pad_entry_taken_in_has_visit"
            )
        ]

    def __str__(self) -> str:
        return self.answers.get("name", "")
