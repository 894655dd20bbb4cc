"""Parts read in from a file, so that it can be undone."""

from django.db import models
from django.utils import timezone

from inventory.models.parts import Part
from inventory.models.stock import Move
from shop.models import Staff


class Import(models.Model):
    """A file that was read in."""

    name = models.CharField("file", max_length=200)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(Staff, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return self.name


class ImportLine(models.Model):
    """What a line of the file did: a part that it made or changed, with what stood there before, and a move."""

    file = models.ForeignKey(Import, models.CASCADE, related_name="lines")
    line = models.PositiveIntegerField()
    part = models.ForeignKey(Part, models.SET_NULL, null=True, related_name="+")
    made = models.BooleanField(default=False)
    before = models.JSONField(default=dict)
    move = models.OneToOneField(Move, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["line"]

    def __str__(self) -> str:
        return f"line {self.line}"
