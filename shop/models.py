"""What the ground floor keeps: the shop, its terms, its tax rates, its staff, the timeline, the one-time keys."""

import datetime as dt
import zoneinfo
from decimal import Decimal
from typing import Any

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.hashers import check_password, make_password
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.functional import cached_property

from shop.roles import Role, may


class Kept(models.Model):
    """A row that is written once: it can't be changed or deleted. The database holds to that too (shop.keep)."""

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise TypeError(f"A {self._meta.verbose_name} can't be changed once it is written.")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> Any:
        raise TypeError(f"A {self._meta.verbose_name} can't be deleted.")


def check_time_zone(name: str) -> None:
    """Refuse what isn't a name in the IANA time zone database."""
    if name not in zoneinfo.available_timezones():
        raise ValidationError("Choose a time zone from the list, e.g. Europe/Lisbon.")


class StaffQuerySet(models.QuerySet["Staff"]):
    def working(self) -> "StaffQuerySet":
        """People who may sign in, without the pad."""
        return self.filter(is_active=True).exclude(role=Role.PAD)

    def with_pin(self) -> "StaffQuerySet":
        return self.exclude(pin="")


class StaffManager(BaseUserManager.from_queryset(StaffQuerySet)):  # type: ignore[misc]
    def create_user(self, sign_in: str, name: str, role: str, password: str | None = None) -> "Staff":
        staff = self.model(sign_in=sign_in.strip().lower(), name=name, role=role)
        staff.set_password(password)
        staff.full_clean(exclude=["password"])
        staff.save()
        return staff

    def get_by_natural_key(self, sign_in: str | None) -> "Staff":
        return self.get(sign_in=(sign_in or "").strip().lower())


class Staff(AbstractBaseUser):
    """One who signs in: the owner, the bench, the counter, and the one row that is the sign-in pad."""

    name = models.CharField("name", max_length=80, help_text="As it stands on tickets and in the timeline.")
    sign_in = models.CharField(
        "sign-in word",
        max_length=40,
        unique=True,
        validators=[RegexValidator(r"^[a-z0-9._-]+$", "Use small letters, digits, dot, dash or underscore.")],
        help_text="Short: it is typed on a tablet.",
    )
    role = models.CharField("role", max_length=10, choices=Role.choices)
    pin = models.CharField(max_length=128, blank=True, editable=False)  # hashed, like the password
    is_active = models.BooleanField("may sign in", default=True)
    since = models.DateTimeField(default=timezone.now, editable=False)

    objects = StaffManager()
    USERNAME_FIELD = "sign_in"
    REQUIRED_FIELDS = ["name", "role"]

    class Meta:
        ordering = [Lower("name")]
        verbose_name_plural = "staff"
        constraints = [
            models.CheckConstraint(condition=Q(role__in=Role.values), name="staff_role_known"),
            models.UniqueConstraint(fields=["role"], condition=Q(role=Role.PAD), name="staff_one_pad"),
        ]

    def __str__(self) -> str:
        return self.name

    def may(self, act: str) -> bool:
        return self.is_active and may(self.role, act)

    def set_pin(self, pin: str) -> None:
        """Keep a hashed PIN of 4 to 8 digits; an empty one takes it away.

        Raises:
            ValidationError: it isn't 4 to 8 digits.
        """
        if pin and not (pin.isascii() and pin.isdigit() and 4 <= len(pin) <= 8):
            raise ValidationError("A PIN has 4 to 8 digits.")
        self.pin = make_password(pin) if pin else ""

    def check_pin(self, pin: str) -> bool:
        return bool(self.pin) and check_password(pin, self.pin)


class Shop(models.Model):
    """The shop: one row. Its being there means that the first start is done."""

    class Paper(models.TextChoices):
        A4 = "A4", "A4"
        LETTER = "Letter", "Letter"

    class TaxRounding(models.TextChoices):
        LINE = "line", "each line"
        INVOICE = "invoice", "the invoice's total of each rate"

    name = models.CharField("name of the shop", max_length=120)
    address = models.TextField("address", max_length=400, blank=True)
    phone = models.CharField("phone", max_length=40, blank=True)
    email = models.EmailField("e-mail", blank=True)
    tax_number = models.CharField(
        "tax number", max_length=40, blank=True, help_text="As invoices must show it."
    )
    currency = models.CharField(
        "currency",
        max_length=3,
        default="USD",
        validators=[RegexValidator(r"^[A-Z]{3}$", "Use the ISO 4217 code.")],
    )
    time_zone = models.CharField("time zone", max_length=64, default="UTC", validators=[check_time_zone])
    paper = models.CharField("paper", max_length=6, choices=Paper.choices, default=Paper.A4)
    labour_rate = models.DecimalField(
        "labour, an hour",
        max_digits=10,
        decimal_places=3,
        default=0,
        validators=[MinValueValidator(Decimal(0))],
    )
    diagnosis_fee = models.DecimalField(
        "diagnosis fee",
        max_digits=10,
        decimal_places=3,
        default=0,
        validators=[MinValueValidator(Decimal(0))],
    )
    diagnosis_credited = models.BooleanField("taken off the bill if it is repaired", default=True)
    warranty_labour_days = models.PositiveIntegerField(
        "warranty on labour, days", default=90, validators=[MaxValueValidator(36500)]
    )
    warranty_parts_days = models.PositiveIntegerField(
        "warranty on parts, days", default=90, validators=[MaxValueValidator(36500)]
    )
    prices_include_tax = models.BooleanField("prices include tax", default=False)
    tax_rounding = models.CharField(
        "tax is rounded by", max_length=7, choices=TaxRounding.choices, default=TaxRounding.INVOICE
    )
    country = models.CharField(
        "country",
        max_length=2,
        blank=True,
        validators=[RegexValidator(r"^[A-Z]{2}$", "Use the two letters of ISO 3166, e.g. PT.")],
        help_text="Two letters, ISO 3166. Needed for electronic invoices.",
    )
    electronic_invoices = models.BooleanField("offer electronic invoices", default=False)
    estimate_days = models.PositiveSmallIntegerField(
        "an estimate is valid for, days", default=30, validators=[MinValueValidator(1)]
    )
    estimate_tolerance = models.DecimalField(
        "work may exceed what was agreed by, per cent",
        max_digits=5,
        decimal_places=2,
        default=0,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(100))],
        help_text="Local law may set a limit.",
    )
    parts_markup = models.DecimalField(
        "mark-up on parts, per cent",
        max_digits=6,
        decimal_places=2,
        default=0,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(1000))],
    )
    cash_float = models.DecimalField(
        "change kept in the till",
        max_digits=10,
        decimal_places=3,
        default=0,
        validators=[MinValueValidator(Decimal(0))],
    )
    ask_address = models.BooleanField("ask customers for their address", default=False)
    backup_reminder_days = models.PositiveSmallIntegerField(
        "remind of a backup after, days", default=7, validators=[MinValueValidator(1)]
    )
    opened = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(pk=1), name="shop_one_row"),
            models.CheckConstraint(
                condition=Q(labour_rate__gte=0) & Q(diagnosis_fee__gte=0), name="shop_prices_positive"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.pk = 1
        super().save(*args, **kwargs)

    @classmethod
    def current(cls) -> "Shop | None":
        """The shop, or None before the first start is done."""
        return cls.objects.filter(pk=1).first()

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.time_zone)

    @cached_property
    def tax_rates(self) -> "list[TaxRate]":
        """All rates, as they were when this row was first asked for them: who changes them takes another one."""
        return list(TaxRate.objects.all())

    def rates_on(self, day: dt.date) -> "list[TaxRate]":
        """The rates in force on a day."""
        return [rate for rate in self.tax_rates if rate.holds_on(day)]


class Terms(Kept):
    """The shop's terms, in versions: a job keeps the one its owner signed."""

    version = models.PositiveIntegerField(unique=True)
    text = models.TextField("terms", max_length=8000)
    storage_text = models.TextField("storage terms", max_length=4000)
    free_days = models.PositiveIntegerField("free storage, days", default=30)
    daily_fee = models.DecimalField("storage fee, a day", max_digits=10, decimal_places=3, default=0)
    fee_cap = models.DecimalField(
        "storage fee, at most",
        max_digits=10,
        decimal_places=3,
        null=True,
        blank=True,
        help_text="Empty: no cap.",
    )
    notices = models.PositiveSmallIntegerField("notices before the deadline", default=3)
    deadline_days = models.PositiveIntegerField("deadline, days after the ready notice", default=90)
    notice_gap_days = models.PositiveSmallIntegerField("days between two notices, at least", default=14)
    warranty_labour_days = models.PositiveIntegerField(
        "warranty on labour, days", null=True, blank=True, validators=[MaxValueValidator(36500)]
    )
    warranty_parts_days = models.PositiveIntegerField(
        "warranty on parts, days", null=True, blank=True, validators=[MaxValueValidator(36500)]
    )
    made_at = models.DateTimeField(default=timezone.now, editable=False)
    made_by = models.ForeignKey(Staff, models.PROTECT, null=True, editable=False)

    class Meta:
        ordering = ["-version"]
        verbose_name = "version of the terms"
        verbose_name_plural = "terms"
        constraints = [
            models.CheckConstraint(condition=Q(daily_fee__gte=0), name="terms_fee_positive"),
            models.CheckConstraint(
                condition=Q(deadline_days__gte=models.F("free_days")), name="terms_deadline_after_free"
            ),
        ]

    def __str__(self) -> str:
        return f"Terms, version {self.version}"

    @classmethod
    def current(cls) -> "Terms | None":
        """The version that customers sign today."""
        return cls.objects.first()


class TaxRateQuerySet(models.QuerySet["TaxRate"]):
    def on(self, day: Any) -> "TaxRateQuerySet":
        """The rates in force on a day."""
        return self.filter(valid_from__lte=day).filter(Q(valid_to__isnull=True) | Q(valid_to__gte=day))


class TaxRate(models.Model):
    """A rate of tax, what it falls on, and when it holds."""

    name = models.CharField("name", max_length=40, help_text="As invoices show it, e.g. Sales tax.")
    percent = models.DecimalField(
        "per cent",
        max_digits=7,
        decimal_places=4,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(100))],
    )
    on_labour = models.BooleanField("on labour", default=False)
    on_parts = models.BooleanField("on parts", default=True)
    on_fees = models.BooleanField("on fees", default=False)
    valid_from = models.DateField("from")
    valid_to = models.DateField("until", null=True, blank=True, help_text="The last day. Empty: still holds.")

    objects = TaxRateQuerySet.as_manager()

    class Meta:
        ordering = ["name", "-valid_from"]
        constraints = [
            models.CheckConstraint(
                condition=Q(percent__gte=0) & Q(percent__lte=100), name="tax_percent_sane"
            ),
            models.CheckConstraint(
                condition=Q(valid_to__isnull=True) | Q(valid_to__gte=models.F("valid_from")),
                name="tax_dates_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.percent.normalize():f} %"

    def holds_on(self, day: dt.date) -> bool:
        return self.valid_from <= day and (self.valid_to is None or self.valid_to >= day)


class Entry(Kept):
    """One line of the timeline. Written by shop.timeline, read by everybody, changed by nobody."""

    at = models.DateTimeField(default=timezone.now, editable=False)
    by = models.ForeignKey(Staff, models.PROTECT, null=True, related_name="+")
    about = models.CharField(max_length=60)
    words = models.CharField(max_length=400)
    changes = models.JSONField(default=list)

    class Meta:
        ordering = ["-at", "-pk"]
        verbose_name = "timeline entry"
        verbose_name_plural = "timeline"
        indexes = [models.Index(fields=["about", "-at"])]

    def __str__(self) -> str:
        return f"{self.by or 'Benchtag'} {self.words}"


class OnceKey(models.Model):
    """A form's one-time key, and what the first tap was answered. See shop.once."""

    key = models.CharField(max_length=64, unique=True)
    at = models.DateTimeField(default=timezone.now, db_index=True)
    status = models.PositiveSmallIntegerField(default=200)
    headers = models.JSONField(default=dict)
    body = models.TextField(blank=True)

    def __str__(self) -> str:
        return self.key
