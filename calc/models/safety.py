"""How gear is built, what was let go untested or judged unsafe, what nearly happened; the shop's own words."""

from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from django.db.models import Q
from django.utils import timezone

from calc.checklists.wording import HAS
from calc.engine.repair_test import Protection
from intake.models import Gear, Job
from shop.models import Kept, Staff


class GearBuild(models.Model):
    """How a piece of gear is built, as far as safety asks: what somebody saw and wrote down."""

    gear = models.OneToOneField(Gear, models.CASCADE, primary_key=True, related_name="build")
    protection = models.CharField(
        "how it keeps its metal harmless",
        max_length=12,
        blank=True,
        choices=[
            (Protection.CLASS_I.value, "Class I: earthed by a third wire"),
            (Protection.CLASS_II.value, "Class II: marked with a square in a square"),
            (Protection.CLASS_III.value, "Class III: safe extra-low voltage only"),
            (Protection.TWO_WIRE.value, "Two wires and no mark: old gear"),
        ],
    )
    line_volts = models.CharField("line voltage on its plate", max_length=20, blank=True)
    contains = models.JSONField(default=list, blank=True, encoder=DjangoJSONEncoder)  # values of `Has`
    revision = models.PositiveIntegerField(default=1, editable=False)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"How {self.gear} is built"

    @property
    def has(self) -> list[str]:
        """What it contains, in words."""
        return [words for has, words in HAS.items() if has in self.contains]


class Waiver(Kept):
    """The owner of the shop lets a job go on without a list. Never against a failed earth or insulation test."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="waivers")
    slug = models.SlugField(max_length=40)
    words = models.CharField("why", max_length=300)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]
        constraints = [models.CheckConstraint(condition=~Q(words=""), name="waiver_has_reason")]


class SafetyWord(Kept):
    """Somebody judged the gear of a job unsafe, or took that back. The last one holds."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="safety_words")
    unsafe = models.BooleanField()
    words = models.CharField("why", max_length=300)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]
        constraints = [models.CheckConstraint(condition=~Q(words=""), name="safety_word_has_reason")]


class UnsafeTag(Kept):
    """An "unsafe, do not use" tag that was printed."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="unsafe_tags")
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]


class NearMiss(Kept):
    """Something that nearly hurt somebody, or did. Written once; a correction names what it corrects."""

    on = models.DateField("when")
    what = models.TextField("what happened", max_length=2000)
    done = models.TextField("what we do about it", max_length=2000, blank=True)
    job = models.ForeignKey(Job, models.PROTECT, null=True, blank=True, related_name="near_misses")
    corrects = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-on", "-pk"]
        constraints = [models.CheckConstraint(condition=~Q(what=""), name="near_miss_says_what")]


class EmergencyCard(models.Model):
    """What the bench's emergency card says of this shop: one row."""

    ambulance = models.CharField("ambulance", max_length=40, blank=True)
    fire = models.CharField("fire brigade", max_length=40, blank=True)
    poison = models.CharField("poison centre", max_length=40, blank=True)
    doctor = models.CharField("doctor or hospital near here", max_length=120, blank=True)
    call_here = models.CharField("who else to call", max_length=120, blank=True)
    address = models.CharField("where we are, as to tell it on the phone", max_length=200, blank=True)
    switch = models.CharField("where the power is switched off", max_length=120, blank=True)
    extinguisher = models.CharField("where the extinguisher is", max_length=120, blank=True)
    first_aid = models.CharField("where the first-aid box is", max_length=120, blank=True)
    defibrillator = models.CharField("where a defibrillator is", max_length=120, blank=True)
    trained = models.CharField("who is trained in first aid", max_length=120, blank=True)
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(pk=1), name="emergency_card_one_row")]

    def __str__(self) -> str:
        return "The emergency card"

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.pk = 1
        super().save(*args, **kwargs)


class CautionWords(models.Model):
    """What the shop adds to one of our cautions, wherever it is shown."""

    name = models.SlugField(max_length=40, unique=True)
    words = models.CharField("the shop’s own words", max_length=300)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return self.words
