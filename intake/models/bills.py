"""Money on a job: charges, estimates and their answers, invoices, payments. Totals come from shop.money, once."""

from decimal import Decimal

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from intake.models.jobs import Job
from intake.models.people import Person
from intake.models.visits import Signature
from shop.models import Kept, Shop, Staff


class LineKind(models.TextChoices):
    LABOUR = "labour", "Labour"
    PART = "part", "Part"
    FEE = "fee", "Fee"
    DISCOUNT = "discount", "Discount"


class BillLine(models.Model):
    """What a line of a bill says. A discount's price is a positive sum that is taken off."""

    kind = models.CharField("kind", max_length=10, choices=LineKind.choices)
    text = models.CharField("what for", max_length=200)
    quantity = models.DecimalField(
        "quantity",
        max_digits=10,
        decimal_places=3,
        default=1,
        validators=[MinValueValidator(Decimal("0.001"))],
    )
    unit = models.CharField("unit", max_length=12, blank=True)  # "h" for labour; pieces have none
    unit_price = models.DecimalField(
        "price each", max_digits=12, decimal_places=3, validators=[MinValueValidator(Decimal(0))]
    )
    position = models.PositiveIntegerField(default=0)

    class Meta:
        abstract = True
        ordering = ["position", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity__gt=0) & Q(unit_price__gte=0) & Q(kind__in=LineKind.values),
                name="%(class)s_sane",
            )
        ]

    def __str__(self) -> str:
        return self.text


class ChargeQuerySet(models.QuerySet["Charge"]):
    def standing(self) -> "ChargeQuerySet":
        """Charges that weren't struck out."""
        return self.filter(struck_at__isnull=True)

    def to_invoice(self) -> "ChargeQuerySet":
        return self.standing().filter(invoice__isnull=True)


class Charge(BillLine):
    """A line of what the job costs so far. `origin` names what brought it (`labour/5`, `move/17`), so it comes once."""

    job = models.ForeignKey(Job, models.CASCADE, related_name="charges")
    percent = models.DecimalField(  # of a discount that is given in per cent; its price is then 0
        "per cent",
        max_digits=5,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0))],
    )
    unit_cost = models.DecimalField(  # what a part cost the shop, for its margin
        "cost each",
        max_digits=12,
        decimal_places=3,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0))],
    )
    under_warranty = models.BooleanField("under warranty, at nothing", default=False)
    origin = models.CharField(max_length=60, blank=True)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)
    revision = models.PositiveIntegerField(default=1, editable=False)
    struck_at = models.DateTimeField(null=True, blank=True, editable=False)
    invoice = models.ForeignKey(
        "Invoice", models.PROTECT, null=True, blank=True, related_name="charges", editable=False
    )

    objects = ChargeQuerySet.as_manager()

    class Meta(BillLine.Meta):
        constraints = [
            *BillLine.Meta.constraints,
            models.UniqueConstraint(
                fields=["origin"],
                condition=~Q(origin="") & Q(struck_at__isnull=True),
                name="charge_origin_once",
            ),
            models.CheckConstraint(
                condition=Q(struck_at__isnull=True) | Q(invoice__isnull=True), name="charge_invoiced_stands"
            ),
        ]


class Estimate(Kept):
    """A priced proposal, in numbered revisions. The latest one can be answered, once.

    It stays as it was made, answered or not: another price is another revision. That it was answered is a row of its
    own (`Answer`), that its place was taken follows from the numbers.
    """

    job = models.ForeignKey(Job, models.PROTECT, related_name="estimates")
    number = models.PositiveSmallIntegerField()
    words = models.TextField("what we propose", max_length=4000, blank=True)
    valid_until = models.DateField("valid until")
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)
    # what it said when it was made: a later change of the shop's rates doesn't touch it
    currency = models.CharField(max_length=3)
    prices_include_tax = models.BooleanField(default=False)
    net = models.DecimalField(max_digits=12, decimal_places=3)
    taxes = models.JSONField(default=list)  # [{"name", "percent", "base", "tax"}] as decimal text
    gross = models.DecimalField(max_digits=12, decimal_places=3)
    tax_rounding = models.CharField(max_length=7, default=Shop.TaxRounding.INVOICE)

    class Meta:
        ordering = ["-number"]
        constraints = [models.UniqueConstraint(fields=["job", "number"], name="estimate_number_once")]

    def __str__(self) -> str:
        return f"Estimate {self.number}"


class EstimateLine(BillLine, Kept):
    """A line of a proposal. An optional one is the owner's to take or leave; `net`… of the estimate leave it out."""

    estimate = models.ForeignKey(Estimate, models.PROTECT, related_name="lines")
    optional = models.BooleanField("the owner may take or leave it", default=False)
    percent = models.DecimalField("per cent", max_digits=5, decimal_places=2, null=True, blank=True)
    taxes = models.JSONField(default=list)  # [{"name", "percent"}] that fell on it when it was written


class Answer(Kept):
    """The owner's word on an estimate: who, when, how. It can't be changed; a new estimate can be answered anew."""

    class How(models.TextChoices):
        SIGNED = "signed", "Signed on the tablet"
        PHONE = "phone", "By phone"
        WRITING = "writing", "In writing"

    estimate = models.OneToOneField(Estimate, models.PROTECT)
    yes = models.BooleanField("go ahead")
    taken = models.JSONField(default=list)  # the keys of the optional lines that were taken
    agreed = models.DecimalField(
        max_digits=12, decimal_places=3, default=0
    )  # what it comes to with these, tax included
    how = models.CharField("how", max_length=8, choices=How.choices)
    who = models.CharField("who said so", max_length=120)
    words = models.CharField("in their words", max_length=500, blank=True)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    signature = models.OneToOneField(Signature, models.PROTECT, null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(how="signed") | Q(signature__isnull=False), name="answer_signed_has_signature"
            ),
            models.CheckConstraint(condition=~Q(who=""), name="answer_says_who"),
        ]

    def __str__(self) -> str:
        return "Go ahead" if self.yes else "Declined"

    @property
    def how_words(self) -> str:
        """How it was given, as it is read on the record: a typed name isn't called a signature."""
        if self.signature is not None and not self.signature.svg:
            return "name typed on the tablet, not signed"
        return self.get_how_display().lower()


class Series(models.Model):
    """The next number of a run of invoices. Taken inside the transaction that issues, so there is never a gap."""

    name = models.CharField(max_length=10, unique=True)
    next_number = models.PositiveIntegerField(default=1)

    class Meta:
        verbose_name_plural = "series"

    def __str__(self) -> str:
        return self.name


class Invoice(Kept):
    """An invoice as issued: numbered without gaps, never changed. It keeps all it said, in its own words.

    A credit note is an invoice of its own series that takes off what another one said: its sums are positive, and it
    names the invoice in `credits`. What is sold over the counter has no job, and often no person.
    """

    class Kind(models.TextChoices):
        INVOICE = "invoice", "Invoice"
        CREDIT_NOTE = "credit", "Credit note"

    kind = models.CharField(max_length=8, choices=Kind.choices, default=Kind.INVOICE)
    series = models.CharField(max_length=10)
    number = models.PositiveIntegerField()
    credits = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="credit_notes")
    reason = models.CharField("why it is credited", max_length=300, blank=True)
    job = models.ForeignKey(Job, models.PROTECT, null=True, blank=True, related_name="invoices")
    person = models.ForeignKey(Person, models.PROTECT, null=True, blank=True, related_name="invoices")
    exempt_number = models.CharField(max_length=40, blank=True)  # the buyer's, where no tax was charged
    issued_on = models.DateField()
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")
    seller = models.JSONField()  # name, address, phone, email, tax_number as they were
    buyer = models.JSONField()  # name, address
    what = models.CharField(max_length=300)  # the gear as it was named then
    words = models.TextField(blank=True)  # findings in plain words
    warranty = models.TextField(blank=True)  # as the shop gave it then
    currency = models.CharField(max_length=3)
    prices_include_tax = models.BooleanField()
    net = models.DecimalField(max_digits=12, decimal_places=3)
    taxes = models.JSONField(default=list)
    gross = models.DecimalField(max_digits=12, decimal_places=3)

    class Meta:
        ordering = ["-issued_on", "-number"]
        indexes = [models.Index(fields=["issued_on"])]
        constraints = [
            models.UniqueConstraint(fields=["series", "number"], name="invoice_number_once"),
            models.CheckConstraint(
                condition=Q(kind="invoice", credits__isnull=True)
                | (Q(kind="credit", credits__isnull=False) & ~Q(reason="")),
                name="credit_note_says_what_and_why",
            ),
        ]

    def __str__(self) -> str:
        return self.label

    @property
    def label(self) -> str:
        return label_of(self.series, self.number)

    def get_absolute_url(self) -> str:
        return reverse("invoice", args=[self.label])


def label_of(series: str, number: int) -> str:
    """The number of an invoice as it stands on it."""
    return f"{series}-{number:05d}"


class InvoiceLine(Kept):
    """A line as issued, with what it came to."""

    invoice = models.ForeignKey(Invoice, models.PROTECT, related_name="lines")
    of_line = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="credited"
    )  # a credit note's
    unit_cost = models.DecimalField(max_digits=12, decimal_places=3, null=True, blank=True)
    kind = models.CharField(max_length=10, choices=LineKind.choices)
    text = models.CharField(max_length=200)
    quantity = models.DecimalField(max_digits=10, decimal_places=3)
    unit = models.CharField(max_length=12, blank=True)
    unit_price = models.DecimalField(max_digits=12, decimal_places=3)
    percent = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)  # a discount's
    under_warranty = models.BooleanField(default=False)  # it costs nothing; the price says what it would
    amount = models.DecimalField(max_digits=12, decimal_places=3)
    tax_percents = models.JSONField(default=list)
    # what was left of it after its share of the discounts, and each tax of that: what a credit note gives back
    net = models.DecimalField(
        max_digits=12, decimal_places=3, null=True
    )  # None: written before this was kept
    taxes = models.JSONField(default=list)  # [{"name", "percent", "tax"}] as decimal text
    position = models.PositiveIntegerField()

    class Meta:
        ordering = ["position", "pk"]

    def __str__(self) -> str:
        return self.text


class Payment(Kept):
    """Money that changed hands. What goes out is a negative sum; a write-off moves no money.

    Gear that was left behind pays its job's bills as well: by what its sale brought less what the sale cost, or by
    the value at which the shop kept it for parts, and then no money moves either.

    It is for a job (a deposit comes before its invoice), or for an invoice of what was sold over the counter.
    """

    class Kind(models.TextChoices):
        PAYMENT = "payment", "Payment"
        DEPOSIT = "deposit", "Deposit"
        REFUND = "refund", "Refund"
        WRITE_OFF = "write-off", "Written off"
        SALE = "sale", "Sale of gear left behind"
        COSTS = "costs", "Costs of the sale"
        KEPT = "kept", "Gear kept for parts"

    class Method(models.TextChoices):
        CASH = "cash", "Cash"
        CARD = "card", "Card"
        TRANSFER = "transfer", "Bank transfer"
        CHEQUE = "cheque", "Cheque"
        NONE = "none", "No money moved"

    kind = models.CharField(max_length=10, choices=Kind.choices, default=Kind.PAYMENT)
    job = models.ForeignKey(Job, models.PROTECT, null=True, blank=True, related_name="payments")
    invoice = models.ForeignKey(Invoice, models.PROTECT, null=True, blank=True, related_name="payments")
    amount = models.DecimalField(max_digits=12, decimal_places=3)
    method = models.CharField("how it was paid", max_length=10, choices=Method.choices)
    tendered = models.DecimalField(max_digits=12, decimal_places=3, null=True, blank=True)  # cash handed over
    note = models.CharField("note", max_length=200, blank=True)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["at", "pk"]
        indexes = [models.Index(fields=["at"])]
        constraints = [
            models.CheckConstraint(condition=~Q(amount=0), name="payment_not_nothing"),
            models.CheckConstraint(
                condition=Q(job__isnull=False) | Q(invoice__isnull=False), name="payment_is_for_something"
            ),
            models.CheckConstraint(
                condition=Q(kind__in=["refund", "costs"], amount__lt=0)
                | (~Q(kind__in=["refund", "costs"]) & Q(amount__gt=0)),
                name="payment_refund_is_negative",
            ),
            models.CheckConstraint(
                condition=(Q(kind__in=["write-off", "kept"], method="none") & ~Q(note=""))
                | (~Q(kind__in=["write-off", "kept"]) & ~Q(method="none")),
                name="payment_write_off_moves_nothing",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_method_display()} {self.amount}"


class CashUp(Kept):
    """The till counted at the end of a day, against what should be in it. A later count of the day is a new row."""

    day = models.DateField()
    expected = models.DecimalField(max_digits=12, decimal_places=3)
    counted = models.DecimalField(max_digits=12, decimal_places=3)
    pieces = models.JSONField(
        default=dict
    )  # coin or note as decimal text -> how many, where they were counted so
    note = models.CharField(max_length=300, blank=True)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Staff, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-day", "-at"]
        constraints = [
            models.CheckConstraint(
                condition=Q(counted=models.F("expected")) | ~Q(note=""),
                name="cash_up_difference_is_explained",
            )
        ]

    def __str__(self) -> str:
        return f"Till of {self.day}"
