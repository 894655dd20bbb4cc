"""The job: one visit of one piece of gear, and where it stands."""

import datetime as dt

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Case, F, IntegerField, Q, Value, When
from django.urls import reverse
from django.utils import timezone

from intake.models.people import Gear, Person
from intake.models.visits import Visit
from shop.errors import ChangedMeanwhile
from shop.models import Staff


class State(models.TextChoices):
    """Where a job stands. The value is also the name of its shape in the sprite (see `state_badge`)."""

    TAGGED_IN = "tagged-in", "tagged in"
    IN_LINE = "in-line", "in line"
    ON_THE_BENCH = "on-the-bench", "on the bench"
    OWNER_TO_DECIDE = "owner-to-decide", "owner to decide"
    PARTS_ON_ORDER = "parts-on-order", "parts on order"
    SOAK_TEST = "soak-test", "soak test"
    READY = "ready", "ready"
    COLLECTED = "collected", "collected"
    GOING_HOME_AS_IS = "going-home-as-is", "going home as is"
    LEFT_BEHIND = "left-behind", "left behind"
    LET_GO = "let-go", "let go"


IN_THE_HOUSE = [s for s in State if s not in (State.COLLECTED, State.LET_GO)]
IN_THE_QUEUE = [State.TAGGED_IN, State.IN_LINE, State.ON_THE_BENCH, State.SOAK_TEST]
URGENT_WITHIN = dt.timedelta(days=3)


class JobQuerySet(models.QuerySet["Job"]):
    def with_card(self) -> "JobQuerySet":
        """What a job card shows, in one query."""
        return self.select_related("gear", "person", "assigned_to")

    def in_the_house(self) -> "JobQuerySet":
        return self.filter(state__in=IN_THE_HOUSE)

    def standing(self, *states: str) -> "JobQuerySet":
        return self.filter(state__in=states)

    def ready(self) -> "JobQuerySet":
        return self.filter(state=State.READY)

    def wanted_by(self, day: dt.date) -> "JobQuerySet":
        """Unfinished jobs that somebody wants by that day or earlier."""
        done = (State.READY, State.COLLECTED, State.LEFT_BEHIND, State.LET_GO)
        return self.filter(wanted_by__lte=day).exclude(state__in=done)

    def left_too_long(self, before: dt.datetime) -> "JobQuerySet":
        """Ready since before a moment, and still here."""
        return self.filter(state__in=(State.READY, State.LEFT_BEHIND), state_since__lt=before)

    def queue(self, on: dt.date) -> "JobQuerySet":
        """The bench's line: what's urgent on that day first by its date, then the tech's own order, then age."""
        urgent = Case(
            When(wanted_by__lte=on + URGENT_WITHIN, then=Value(0)),
            default=Value(1),
            output_field=IntegerField(),
        )
        return (
            self.filter(state__in=IN_THE_QUEUE)
            .annotate(later=urgent)
            .order_by(
                "later",
                Case(When(later=0, then=F("wanted_by")), default=None, output_field=models.DateField()).asc(
                    nulls_last=True
                ),
                "queue_position",
                "pk",
            )
        )


class Job(models.Model):
    """One visit of one piece of gear."""

    claim = models.CharField("claim number", max_length=11, unique=True, editable=False)
    month = models.CharField(max_length=4, editable=False)
    number = models.PositiveIntegerField(editable=False)
    visit = models.ForeignKey(Visit, models.PROTECT, related_name="jobs")
    person = models.ForeignKey(Person, models.PROTECT, related_name="jobs")
    gear = models.ForeignKey(Gear, models.PROTECT, related_name="jobs")

    state = models.CharField(max_length=20, choices=State.choices, default=State.TAGGED_IN)
    state_since = models.DateTimeField(default=timezone.now)
    revision = models.PositiveIntegerField(default=1, editable=False)
    assigned_to = models.ForeignKey(
        Staff, models.PROTECT, null=True, blank=True, related_name="+", verbose_name="who works on it"
    )
    queue_position = models.BigIntegerField(default=0)

    complaint = models.TextField("complaint", max_length=4000)
    was_dropped = models.BooleanField("dropped", default=False)
    was_wet = models.BooleanField("got wet", default=False)
    was_opened = models.BooleanField("opened by someone", default=False)
    was_repaired = models.BooleanField("repaired before", default=False)
    smelled = models.BooleanField("smell or smoke", default=False)
    history_note = models.TextField("what happened", max_length=2000, blank=True)
    condition = models.TextField("condition when it came in", max_length=2000, blank=True)
    wanted_by = models.DateField("wanted by", null=True, blank=True)
    diagnosis_fee = models.DecimalField(
        "diagnosis fee", max_digits=10, decimal_places=3, default=0, validators=[MinValueValidator(0)]
    )
    spend_limit = models.DecimalField(
        "spend limit",
        max_digits=10,
        decimal_places=3,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
    )
    plain_findings = models.TextField(
        "findings in plain words",
        max_length=4000,
        blank=True,
        help_text="The invoice says this to the owner.",
    )
    declined = models.BooleanField("goes home as it is", default=False, editable=False)
    comeback_of = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="comebacks")

    comeback_fault = models.CharField(
        "the fault it came back with",
        max_length=8,
        blank=True,
        choices=[("same", "The same fault"), ("another", "Another fault"), ("unclear", "Not clear yet")],
    )

    ready_at = models.DateTimeField(null=True, blank=True, editable=False)
    collected_at = models.DateTimeField(null=True, blank=True, editable=False)
    labour_warranty_until = models.DateField(null=True, blank=True, editable=False)
    parts_warranty_until = models.DateField(null=True, blank=True, editable=False)
    ticket_prints = models.PositiveIntegerField(default=0, editable=False)
    tag_prints = models.PositiveIntegerField(default=0, editable=False)
    since = models.DateTimeField(default=timezone.now, editable=False)

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(fields=["month", "number"], name="job_number_once_a_month"),
            models.CheckConstraint(condition=Q(state__in=State.values), name="job_state_known"),
            models.CheckConstraint(
                condition=Q(diagnosis_fee__gte=0) & (Q(spend_limit__isnull=True) | Q(spend_limit__gte=0)),
                name="job_sums_positive",
            ),
            models.CheckConstraint(
                condition=~Q(state=State.COLLECTED) | Q(collected_at__isnull=False),
                name="job_collected_has_time",
            ),
        ]
        indexes = [
            models.Index(fields=["state", "state_since"]),
            models.Index(fields=["state", "queue_position"]),
            models.Index(fields=["wanted_by"]),
            models.Index(fields=["collected_at"]),
        ]

    def __str__(self) -> str:
        return f"{self.claim} {self.gear}"

    def get_absolute_url(self) -> str:
        return reverse("job", args=[self.claim])

    @property
    def is_over(self) -> bool:
        """Gone: collected or let go. What was done to it is history and stays as it is."""
        return self.state in (State.COLLECTED, State.LET_GO)

    def take_revision(self, expected: int) -> None:
        """Move to the next revision, if nobody else did since `expected` was read. Call it inside the transaction.

        Raises:
            ChangedMeanwhile: somebody did.
        """
        took = Job.objects.filter(pk=self.pk, revision=expected).update(revision=F("revision") + 1)
        if not took:
            current = Job.objects.values_list("revision", flat=True).get(pk=self.pk)
            raise ChangedMeanwhile(
                "Someone else changed this job while you had it open. Look at what it says now; then choose.",
                revision=current,
            )
        self.revision = expected + 1


class LoosePiece(models.Model):
    """Something that came with the gear and goes home with it. Has a gear tag of its own."""

    job = models.ForeignKey(Job, models.CASCADE, related_name="pieces")
    name = models.CharField("came with", max_length=80)
    position = models.PositiveSmallIntegerField(default=0)
    went_home_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["position", "pk"]
        constraints = [models.CheckConstraint(condition=~Q(name=""), name="piece_named")]

    def __str__(self) -> str:
        return self.name
