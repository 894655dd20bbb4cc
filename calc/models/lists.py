"""Safety checklists: the versions of each list, and its runs on jobs. All of it is written once."""

from django.db import models
from django.db.models import Q
from django.utils import timezone

from calc.checklists import Ask, Stage
from calc.checklists.judging import Outcome
from calc.models.measured import KeptSheet, Reading
from intake.models import Job
from shop.models import Kept, Staff


def _choices(words: type) -> list[tuple[str, str]]:
    return [(word.value, word.value) for word in words]


class ListVersion(Kept):
    """A version of a list: a run keeps the one that it began with. The lists that we start with have no `by`."""

    slug = models.SlugField(max_length=40)
    number = models.PositiveIntegerField()
    name = models.CharField("name", max_length=60)
    said = models.CharField("what it is for", max_length=200, blank=True)
    stage = models.CharField("where in the work", max_length=20, choices=_choices(Stage))
    applies = models.JSONField(default=list, blank=True)  # values of `Has`; empty: all gear
    retired = models.BooleanField(default=False)
    digest = models.CharField(max_length=64)  # of what it says, so that a new release of ours is seen
    words = models.CharField("what changed", max_length=200, blank=True)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["slug", "number"]
        constraints = [
            models.UniqueConstraint(fields=["slug", "number"], name="list_version_once"),
            models.CheckConstraint(condition=~Q(slug="") & ~Q(name=""), name="list_is_named"),
            models.CheckConstraint(condition=Q(stage__in=[s.value for s in Stage]), name="list_stage_known"),
        ]

    def __str__(self) -> str:
        return f"{self.name}, version {self.number}"


class ListLine(Kept):
    """A line of a version: `calc.checklists.Line` as a row."""

    version = models.ForeignKey(ListVersion, models.PROTECT, related_name="lines")
    position = models.PositiveSmallIntegerField()
    key = models.SlugField(max_length=40)
    text = models.CharField("what to do", max_length=300)
    why = models.CharField("why", max_length=300, blank=True)
    source = models.CharField("source", max_length=200, blank=True)
    ask = models.CharField(max_length=10, choices=_choices(Ask))
    if_not = models.CharField("where it isn’t right", max_length=300, blank=True)
    may_not_apply = models.BooleanField("may not be on the gear", default=False)
    point = models.CharField("where", max_length=80, blank=True)
    unit = models.CharField(max_length=8, blank=True)
    at_least = models.FloatField(null=True, blank=True)
    at_most = models.FloatField(null=True, blank=True)
    powered = models.BooleanField(default=False)
    drift_of = models.CharField(max_length=40, blank=True)
    drift = models.FloatField(default=0.0)  # per cent
    sheet = models.CharField(max_length=40, blank=True)
    wait = models.PositiveIntegerField(default=0)  # seconds
    since = models.CharField(max_length=40, blank=True)
    fixed = models.BooleanField(default=False)

    class Meta:
        ordering = ["version", "position"]
        constraints = [
            models.UniqueConstraint(fields=["version", "key"], name="list_line_key_once"),
            models.UniqueConstraint(fields=["version", "position"], name="list_line_place_once"),
            models.CheckConstraint(condition=~Q(key="") & ~Q(text=""), name="list_line_says_something"),
        ]

    def __str__(self) -> str:
        return self.text


class ListChange(Kept):
    """A list put on a job, or taken off it, against what the gear asks for. The last one holds."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="list_changes")
    slug = models.SlugField(max_length=40)
    applies = models.BooleanField()
    words = models.CharField("why", max_length=300, blank=True)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(applies=True) | ~Q(words=""), name="list_taken_off_with_reason"
            )
        ]


class ListRun(Kept):
    """A list begun on a job."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="list_runs")
    version = models.ForeignKey(ListVersion, models.PROTECT, related_name="runs")
    at = models.DateTimeField("begun", default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["job", "at"])]

    def __str__(self) -> str:
        return f"{self.version.name} on {self.job.claim}"


class Mark(Kept):
    """A line of a run, signed: how it was, by whom, when. A correction is another one; the last one counts."""

    run = models.ForeignKey(ListRun, models.PROTECT, related_name="marks")
    key = models.SlugField(max_length=40)
    outcome = models.CharField(max_length=10, choices=_choices(Outcome))
    said = models.CharField(
        max_length=300, blank=True
    )  # the judgement of a reading or a worksheet, in a sentence
    words = models.CharField("note", max_length=300, blank=True)
    reading = models.ForeignKey(Reading, models.PROTECT, null=True, blank=True, related_name="marks")
    sheet = models.ForeignKey(KeptSheet, models.PROTECT, null=True, blank=True, related_name="marks")
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(outcome__in=[o.value for o in Outcome]), name="mark_outcome_known"
            ),
            models.CheckConstraint(
                condition=~Q(outcome=Outcome.NOT_HERE.value) | Q(reading__isnull=True),
                name="mark_not_here_alone",
            ),
        ]


class SignOff(Kept):
    """A run signed with a PIN: all of it passed, or it ends as failed."""

    run = models.OneToOneField(ListRun, models.PROTECT, related_name="sign_off")
    passed = models.BooleanField()
    words = models.CharField("note", max_length=300, blank=True)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]
