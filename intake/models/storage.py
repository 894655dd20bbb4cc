"""Gear that isn't collected: notices by letter, what came back, when the clock stood still, what became of it."""

from django.db import models
from django.db.models import Q
from django.utils import timezone

from intake.models.jobs import Job
from intake.models.work import Photo
from shop.models import Kept, Staff


class StorageNotice(Kept):
    """A notice that the gear waits, as it was sent. The first *ready* notice is a ReadyNotice; these follow it."""

    class How(models.TextChoices):
        LETTER = "letter", "Letter"
        REGISTERED = "registered", "Registered letter"
        EMAIL = "email", "E-mail"
        IN_PERSON = "in person", "Handed over"

    job = models.ForeignKey(Job, models.PROTECT, related_name="storage_notices")
    number = models.PositiveSmallIntegerField()  # 1 is the first after the ready notice
    how = models.CharField("how it was sent", max_length=10, choices=How.choices)
    address = models.TextField("sent to")  # as it stood on the letter
    words = models.TextField()  # the letter, whole
    sent_on = models.DateField("sent on")
    tracking = models.CharField("tracking number", max_length=80, blank=True)
    proof = models.ForeignKey(Photo, models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["sent_on", "number"]
        constraints = [models.UniqueConstraint(fields=["job", "number"], name="storage_notice_number_once")]

    def __str__(self) -> str:
        return f"Notice {self.number}"


class NoticeBack(Kept):
    """A notice came back undelivered: it doesn't count, and the address is in question."""

    notice = models.OneToOneField(StorageNotice, models.PROTECT, related_name="back")
    on = models.DateField("came back on")
    words = models.CharField("what it says on it", max_length=300, blank=True)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"{self.notice} came back"


class StoragePause(models.Model):
    """A stretch in which the storage clock stands still, because the shop itself is the cause. Both days count.

    A dispute has who says so, and once it is settled what was agreed.
    """

    class Why(models.TextChoices):
        PARTS = "parts", "The shop waits for parts"
        DISPUTE = "dispute", "A dispute about money"
        SHOP = "shop", "The shop couldn't hand it over"

    job = models.ForeignKey(Job, models.PROTECT, related_name="storage_pauses")
    why = models.CharField("why", max_length=8, choices=Why.choices)
    words = models.CharField("what it is about", max_length=300)
    who = models.CharField("who says so", max_length=120, blank=True)
    agreed = models.CharField("what was agreed", max_length=500, blank=True)
    began = models.DateField("from")
    ended = models.DateField("until", null=True, blank=True)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)
    ended_by = models.ForeignKey(Staff, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["began", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(ended__isnull=True) | Q(ended__gte=models.F("began")), name="pause_days_in_order"
            ),
            models.UniqueConstraint(
                fields=["job"], condition=Q(ended__isnull=True), name="pause_one_open_a_job"
            ),
        ]

    def __str__(self) -> str:
        return self.get_why_display()


class LetGo(Kept):
    """What became of gear that was left behind: the shop's owner decided, and this is the record."""

    class Became(models.TextChoices):
        RETURNED = "returned", "Returned to its owner after all"
        PARTS = "parts", "Kept for parts"
        SOLD = "sold", "Sold"
        SCRAPPED = "scrapped", "Scrapped"
        GIVEN = "given", "Given away"

    job = models.OneToOneField(Job, models.PROTECT, related_name="let_go")
    became = models.CharField("what became of it", max_length=10, choices=Became.choices)
    on = models.DateField("on")
    to_whom = models.CharField("to whom", max_length=200, blank=True)
    price = models.DecimalField(
        max_digits=12, decimal_places=3, null=True, blank=True
    )  # what it was sold for, or the value at which it was kept for parts
    costs = models.DecimalField(max_digits=12, decimal_places=3, default=0)  # of selling it
    claims = models.DecimalField(
        max_digits=12, decimal_places=3, default=0
    )  # repair and storage, owed to the shop
    surplus = models.DecimalField(max_digits=12, decimal_places=3, default=0)  # owed to the gear's owner
    words = models.TextField("why, and how it was decided", max_length=2000)
    may_act = models.JSONField(default=dict)  # what the storage clock said on that day
    decided_by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(words=""), name="let_go_says_why"),
            models.CheckConstraint(
                condition=~Q(became="sold") | Q(price__isnull=False), name="let_go_sold_has_price"
            ),
        ]

    def __str__(self) -> str:
        return self.get_became_display()
