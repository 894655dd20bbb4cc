"""Suppliers, what they offer, and orders."""

from decimal import Decimal

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils import timezone

from intake.models import Job
from inventory.models.parts import Part
from shop.models import Staff


class Supplier(models.Model):
    """Who sells parts to the shop."""

    name = models.CharField("name", max_length=120, unique=True)
    account = models.CharField("our number there", max_length=60, blank=True)
    email = models.EmailField("e-mail", blank=True)
    phone = models.CharField("phone", max_length=40, blank=True)
    address = models.TextField("address", max_length=400, blank=True)
    lead_days = models.PositiveSmallIntegerField("days until it comes", default=7)
    note = models.CharField("note", max_length=400, blank=True)
    is_in_use = models.BooleanField("in use", default=True)
    revision = models.PositiveIntegerField(default=0, editable=False)

    class Meta:
        ordering = ["name"]
        constraints = [models.CheckConstraint(condition=~Q(name=""), name="supplier_has_a_name")]

    def __str__(self) -> str:
        return self.name


class Offer(models.Model):
    """A part as one supplier sells it: under which number, in what packs, for how much a pack."""

    part = models.ForeignKey(Part, models.CASCADE, related_name="offers")
    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="offers")
    number = models.CharField("their number", max_length=60, blank=True)
    pack = models.PositiveIntegerField("pieces in a pack", default=1, validators=[MinValueValidator(1)])
    price = models.DecimalField(
        "price of a pack", max_digits=12, decimal_places=3, validators=[MinValueValidator(Decimal(0))]
    )
    lead_days = models.PositiveSmallIntegerField("days until it comes", null=True, blank=True)
    is_first = models.BooleanField("order here first", default=False)

    class Meta:
        ordering = ["-is_first", "price", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(pack__gte=1), name="offer_pack_of_one_or_more"),
            models.CheckConstraint(condition=Q(price__gte=0), name="offer_price_not_below_zero"),
            models.UniqueConstraint(
                fields=["part"], condition=Q(is_first=True), name="offer_one_first_a_part"
            ),
            models.UniqueConstraint(fields=["part", "supplier", "number"], name="offer_once"),
        ]

    def __str__(self) -> str:
        return f"{self.part}, {self.supplier}"


class Order(models.Model):
    """What is ordered of a supplier. Its lines may change until it is sent."""

    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="orders")
    number = models.PositiveIntegerField(unique=True)
    made_at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    sent_at = models.DateTimeField(null=True, blank=True)
    due_on = models.DateField("expected on", null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)  # all has come, or the rest won't
    note = models.CharField("note", max_length=400, blank=True)
    revision = models.PositiveIntegerField(default=0, editable=False)

    class Meta:
        ordering = ["-number"]

    def __str__(self) -> str:
        return f"Order {self.number}"


class OrderLine(models.Model):
    """A part on an order, in pieces. `came` is what was received of it; `is_back_ordered` that the supplier owes it."""

    order = models.ForeignKey(Order, models.CASCADE, related_name="lines")
    part = models.ForeignKey(Part, models.PROTECT, related_name="order_lines")
    number = models.CharField("their number", max_length=60, blank=True)
    quantity = models.PositiveIntegerField("pieces")
    price = models.DecimalField("price of one", max_digits=14, decimal_places=6)
    came = models.PositiveIntegerField(default=0)
    is_back_ordered = models.BooleanField(default=False)
    will_not_come = models.BooleanField(default=False)
    job = models.ForeignKey(Job, models.PROTECT, null=True, blank=True, related_name="+")  # whom it is for

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(condition=Q(quantity__gt=0), name="order_line_more_than_none"),
            models.CheckConstraint(condition=Q(price__gte=0), name="order_line_price_not_below_zero"),
        ]

    @property
    def open(self) -> int:
        """How many are still to come."""
        return 0 if self.will_not_come else max(self.quantity - self.came, 0)

    def __str__(self) -> str:
        return f"{self.quantity} {self.part}"


class WantQuerySet(models.QuerySet["Want"]):
    def open(self) -> "WantQuerySet":
        return self.filter(ended_at__isnull=True)

    def not_come(self, part: Part, job: Job, count: int) -> None:
        """Count pieces as not here after all, that were counted off what a job wants of a part."""
        rows = self.filter(part=part, job=job).select_for_update()
        want = rows.open().first() or rows.filter(came=models.F("quantity")).last()
        if want is None:
            return
        back = min(count, want.came)
        want.came -= back
        want.quantity += count - back if want.ended_at is None else 0
        want.ended_at = None
        want.save(update_fields=["came", "quantity", "ended_at"])


class Want(models.Model):
    """Pieces that a job needs and that weren't on the shelf. Ends when they have come, or nobody needs them.

    Whether they are ordered is for the order lines of that part and job to say, so that a line which won't come
    leaves them wanted.
    """

    part = models.ForeignKey(Part, models.PROTECT, related_name="wants")
    job = models.ForeignKey(Job, models.PROTECT, related_name="wants")
    quantity = models.PositiveIntegerField("pieces")
    came = models.PositiveIntegerField(default=0)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = WantQuerySet.as_manager()

    class Meta:
        ordering = ["at", "pk"]
        indexes = [models.Index(fields=["job", "ended_at"])]
        constraints = [
            models.CheckConstraint(condition=Q(quantity__gt=0), name="want_more_than_none"),
            models.CheckConstraint(condition=Q(came__lte=models.F("quantity")), name="want_no_more_came"),
            models.UniqueConstraint(
                fields=["part", "job"], condition=Q(ended_at__isnull=True), name="want_once_a_job"
            ),
        ]

    @property
    def left(self) -> int:
        """How many it still needs."""
        return self.quantity - self.came if self.ended_at is None else 0

    def __str__(self) -> str:
        return f"{self.quantity} {self.part} for {self.job.claim}"
