"""What happens on the bench: notes, findings, photos, labour."""

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from intake.models.jobs import Job
from shop import pictures
from shop.models import Staff


class Note(models.Model):
    """A note on a job. It is never changed: a later note says better."""

    job = models.ForeignKey(Job, models.CASCADE, related_name="notes")
    text = models.TextField("note", max_length=4000)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [models.CheckConstraint(condition=~Q(text=""), name="note_not_empty")]

    def __str__(self) -> str:
        return self.text[:60]


class Circuit(models.TextChoices):
    """Where in the gear a fault sits, coarsely: for the report of what comes back."""

    MAINS = "mains", "Mains, cord, fuse"
    SUPPLY = "supply", "Power supply"
    INPUT = "input", "Input and preamplifier"
    EFFECTS = "effects", "Tone, reverb, tremolo, effects loop"
    OUTPUT = "output", "Output stage"
    SPEAKER = "speaker", "Speaker and its wiring"
    MECHANICS = "mechanics", "Tape, keys, controls, hardware"
    OTHER = "other", "Elsewhere"


class Finding(models.Model):
    """A fault: the part of the circuit, its cause and the cure."""

    job = models.ForeignKey(Job, models.CASCADE, related_name="findings")
    fault = models.CharField("fault", max_length=300, help_text="What is wrong, and where in the circuit.")
    cause = models.CharField("cause", max_length=300, blank=True)
    cure = models.CharField("cure", max_length=300, blank=True)
    circuit = models.CharField("part of the circuit", max_length=12, blank=True, choices=Circuit.choices)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)
    revision = models.PositiveIntegerField(default=1, editable=False)
    struck_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["at", "pk"]
        constraints = [models.CheckConstraint(condition=~Q(fault=""), name="finding_has_fault")]

    def __str__(self) -> str:
        return self.fault


def photo_path(photo: "Photo", filename: str) -> str:
    """Where a picture of a job lies: by the month of its claim number."""
    return f"photos/{photo.job.month}/{pictures.file_name(photo.job.claim)}"


class Photo(models.Model):
    """A picture of the gear. Always one that we encoded ourselves (shop.pictures)."""

    job = models.ForeignKey(Job, models.CASCADE, related_name="photos")
    image = models.FileField(upload_to=photo_path)
    thumb = models.FileField(upload_to=photo_path)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    caption = models.CharField("what it shows", max_length=200, blank=True)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)
    struck_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["at", "pk"]

    def __str__(self) -> str:
        return self.caption or "Photo"


class LabourSpell(models.Model):
    """A spell of work on a job: timed, or entered. A running one has no end; a person has at most one running."""

    job = models.ForeignKey(Job, models.CASCADE, related_name="labour")
    who = models.ForeignKey(Staff, models.PROTECT, related_name="labour")
    began = models.DateTimeField("began", default=timezone.now)
    ended = models.DateTimeField("ended", null=True, blank=True)
    minutes = models.PositiveIntegerField("minutes", null=True, blank=True, validators=[MinValueValidator(1)])
    words = models.CharField("what was done", max_length=200, blank=True)
    revision = models.PositiveIntegerField(default=1, editable=False)
    struck_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["-began", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["who"], condition=Q(ended__isnull=True), name="labour_one_running_a_person"
            ),
            models.CheckConstraint(
                condition=Q(ended__isnull=True) | Q(ended__gte=F("began")), name="labour_ends_after_it_began"
            ),
            models.CheckConstraint(
                condition=Q(ended__isnull=True) | Q(minutes__isnull=False), name="labour_ended_has_minutes"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.who}: {self.minutes or 'running'}"
