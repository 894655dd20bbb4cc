"""Money on a job: what it comes to, its invoices, its account, and going home as is.

Sums are worked out by `shop.money` alone. Every verb that touches a job's money first locks the job's row, so
that two tablets at once take their turn: one bill is never issued twice.
"""

import datetime as dt
import hashlib
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, Final

from django.db import transaction
from django.db.models import F
from django.db.models.functions import Coalesce
from django.utils import timezone

from intake import comebacks, reading, workflow
from intake.models import (
    Charge,
    Estimate,
    Invoice,
    InvoiceLine,
    Job,
    Payment,
    Person,
    Series,
    State,
)
from intake.models.bills import BillLine, LineKind
from intake.reading import the_shop
from shop import money, timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet, Refused
from shop.models import Shop, Staff, TaxRate

SERIES: Final = "INV"
MOST_LINES: Final = 60  # on one paper; nobody reads more
MOST_WORDS: Final = 4000  # of an invoice or an estimate

_ORDER: Final = {kind: place for place, kind in enumerate(LineKind.values)}


class CantBill(Refused):
    """These figures don't make a bill; the sentence says why."""


def today(shop: Shop) -> dt.date:
    """The date on the shop's own wall calendar."""
    return timezone.localdate(timezone=shop.zone)


# --- What a job comes to ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Row:
    """A line of a proposal or of a sale, as somebody wrote it.

    A discount's price is a positive sum that is taken off, or it takes off `percent` of what stands above it.
    An optional line is the owner's to take or leave. `good` names what a sale takes out of a drawer.
    """

    kind: str
    text: str
    quantity: Decimal
    unit_price: Decimal
    unit: str = ""
    percent: Decimal | None = None
    optional: bool = False
    unit_cost: Decimal | None = None
    good: str = ""


def money_line(line: Row | BillLine, taxes: tuple[money.TaxShare, ...] = ()) -> money.Line:
    """A line as `shop.money` adds it up. What is done under warranty costs nothing."""
    percent = getattr(line, "percent", None)
    free = getattr(line, "under_warranty", False) or percent is not None
    return money.Line(
        text=line.text,
        kind=line.kind,
        quantity=Decimal(line.quantity),
        unit_price=Decimal(0) if free else Decimal(line.unit_price),
        taxes=taxes,
        percent=None if percent is None else Decimal(percent),
    )


def total_of(
    lines: Iterable[Row | BillLine],
    shop: Shop,
    on: dt.date,
    *,
    exempt: bool = False,
) -> money.Totals:
    """Add up lines with the shop's taxes in force on a day. The sums stand in the order of the lines.

    `exempt` is for somebody who pays no tax.

    Raises:
        CantBill: a discount takes off more than there is, or it is more than can be billed.
    """
    rates = [] if exempt else shop.rates_on(on)
    try:
        return money.total(
            [money_line(line, _taxes_on(line.kind, rates)) for line in lines],
            shop.currency,
            prices_include_tax=shop.prices_include_tax,
            rounding=shop.tax_rounding,
        )
    except money.MoneyError as why:
        raise CantBill(str(why)) from why


def is_exempt(person: Person | None) -> bool:
    """Whether somebody pays no tax: their number is written down."""
    return person is not None and bool(person.tax_exempt_number)


def bill(job: Job, *, on: dt.date | None = None) -> money.Totals:
    """What the job's standing charges come to, invoiced or not, with the taxes of a day (or today's).

    Raises:
        CantBill: see `total_of`.
    """
    shop = the_shop()
    return total_of(in_order(job.charges.standing()), shop, on or today(shop), exempt=is_exempt(job.person))


def in_order(lines: Iterable[Any]) -> list[Any]:
    """Labour first, then parts, fees, discounts, as a paper shows them; within each as they were written."""
    return sorted(lines, key=lambda line: (_ORDER[line.kind], line.position, line.pk or math.inf))


def _taxes_on(kind: str, rates: Iterable[TaxRate]) -> tuple[money.TaxShare, ...]:
    falls_on = {LineKind.LABOUR: "on_labour", LineKind.PART: "on_parts", LineKind.FEE: "on_fees"}.get(kind)
    if falls_on is None:  # a discount lowers what the others are taxed on
        return ()
    # A rate that was entered twice is charged once.
    shares = {money.TaxShare(rate.name, rate.percent): None for rate in rates if getattr(rate, falls_on)}
    return tuple(shares)


def taxes_as_kept(totals: money.Totals) -> list[dict[str, str]]:
    """The taxes of a bill as estimates and invoices keep them, every number as decimal text."""
    return [
        {
            "name": tax.name,
            "percent": _percent(tax.percent),
            "base": str(tax.base),
            "tax": str(tax.tax),
        }
        for tax in totals.taxes
    ]


def _percent(percent: Decimal) -> str:
    return f"{percent.normalize():f}"


def locked(job: Job) -> Job:
    """The job's row as it is now, locked until the transaction ends: whoever else touches its money waits."""
    return Job.objects.select_for_update(of=("self",)).select_related("person", "gear").get(pk=job.pk)


def say(amount: Decimal, currency: str) -> str:
    return money.format_amount(amount, currency)


def line_amount(line: BillLine, currency: str) -> Decimal:
    """What stands in a line's own column: quantity times price, below zero for a discount.

    What a discount in per cent takes off depends on what stands above it: `total_of` knows.
    """
    if getattr(line, "under_warranty", False):
        return money.round_to(Decimal(0), currency)
    amount = money.round_to(Decimal(line.quantity) * Decimal(line.unit_price), currency)
    return -amount if line.kind == LineKind.DISCOUNT and amount else amount


def times(line: BillLine | InvoiceLine) -> str:
    """How many, as people write it: "1.5 h", "2"."""
    return f"{Decimal(line.quantity).normalize():f} {line.unit}".strip()


# --- The diagnosis fee, and going home as is -------------------------------------------------------------


def fee_origin(job: Job) -> str:
    """The mark of the job's diagnosis fee among its charges: it can stand there once."""
    return f"diagnosis/{job.pk}"


def storage_origin(job: Job) -> str:
    """How the marks of what is charged for the job's storage begin."""
    return f"storage/{job.pk}/"


def _fee_charge(job: Job, by: Staff | None = None) -> Charge:
    return Charge(
        job=job,
        kind=LineKind.FEE,
        text="Diagnosis fee",
        quantity=Decimal(1),
        unit_price=job.diagnosis_fee,
        origin=fee_origin(job),
        by=by,
    )


@transaction.atomic
def take_home_as_is(job: Job, *, by: Staff, revision: int, reason: str) -> Job:
    """Let gear go home as it is: what was charged so far is struck out, the diagnosis fee alone stays.

    Charges that are on an invoice already stay there: an invoice is never changed.

    Raises:
        ChangedMeanwhile: somebody else changed the job since.
        NotAllowedYet: it can't go home as it is from where it stands, or no reason is given.
    """
    if not reason.strip():
        raise NotAllowedYet("Write down why it goes home as it is.")
    job = workflow.move(
        locked(job), to=State.GOING_HOME_AS_IS, by=by, revision=revision, through="going home as is"
    )
    origin = fee_origin(job)
    struck = in_order(job.charges.to_invoice().exclude(origin=origin))
    job.charges.filter(pk__in=[charge.pk for charge in struck]).update(
        struck_at=timezone.now(), revision=F("revision") + 1
    )
    if job.diagnosis_fee and not job.charges.standing().filter(origin=origin).exists():
        _fee_charge(job, by).save()
    currency = the_shop().currency
    timeline.write(
        job,
        by=by,
        words="lets it go home as it is, for the diagnosis fee alone",
        before={"Charged": "; ".join(f"{c.text} {say(line_amount(c, currency), currency)}" for c in struck)},
        after={"Charged": f"Diagnosis fee {say(job.diagnosis_fee, currency)}", "Why": reason},
    )
    return job


# --- Invoices --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Draft:
    """What an invoice issued now would say.

    `fee` is the diagnosis fee where it is still a question on this job, else None; `fee_charged` is its
    answer, `fee_words` says why. `fee_to_credit` is the fee on an earlier invoice of the job, which is credited
    when this one is issued. `exempt_number` is the buyer's where no tax is charged. `mark` changes when
    anything of it does: an invoice is issued as it was seen, or not at all.
    """

    charges: tuple[Charge, ...]
    totals: money.Totals
    fee: Decimal | None = None
    fee_charged: bool = False
    fee_words: str = ""
    fee_to_credit: InvoiceLine | None = None
    exempt_number: str = ""

    @property
    def mark(self) -> str:
        said = [(c.pk, c.kind, c.text, c.quantity.normalize(), _each_of(c)) for c in self.charges]
        credited = self.fee_to_credit and self.fee_to_credit.pk
        seen = (said, self.totals.net, self.totals.gross, self.exempt_number, credited)
        return hashlib.sha256(repr(seen).encode()).hexdigest()[:24]


def _each_of(charge: Charge) -> tuple[Any, ...]:
    """What a charge says of its price."""
    percent = None if charge.percent is None else charge.percent.normalize()
    return charge.unit_price.normalize(), percent, charge.under_warranty


def draft(job: Job, *, on: dt.date | None = None, charge_fee: bool | None = None) -> Draft:
    """What an invoice issued on a day (today, when not said) would say.

    The diagnosis fee is a question on a job that isn't declined and has no invoice yet. The shop's rule
    answers it, `charge_fee` answers otherwise: a shop that takes the fee off the bill of a repair charges it
    only where there is no labour and no part to take it off; nobody pays it for a comeback under warranty.

    Raises:
        CantBill: see `total_of`.
    """
    shop = reading.shop_of(job)
    charges = reading.to_invoice(job)
    asked = bool(job.diagnosis_fee) and not job.declined and not reading.invoices(job)
    charged, why = _fee_rule(job, shop, charges)
    if asked:
        standing = [c for c in charges if c.origin == fee_origin(job)]
        if charge_fee is not None and charge_fee != charged:
            charged, why = charge_fee, "Chosen for this invoice."
        if charged and not standing:
            charges.append(_fee_charge(job))
        if not charged:
            charges = [c for c in charges if c not in standing]
    charges = in_order(charges)
    totals = total_of(charges, shop, on or today(shop), exempt=is_exempt(job.person))
    proposed = Draft(
        tuple(charges),
        totals,
        fee_to_credit=_fee_to_credit(job, shop, charges),
        exempt_number=job.person.tax_exempt_number,
    )
    if not asked:
        return proposed
    return replace(proposed, fee=job.diagnosis_fee, fee_charged=charged, fee_words=why)


def _fee_rule(job: Job, shop: Shop, charges: list[Charge]) -> tuple[bool, str]:
    """Whether the shop's rule charges the diagnosis fee, and the sentence that says so."""
    repaired = any(charge.kind in (LineKind.LABOUR, LineKind.PART) for charge in charges)
    if comebacks.is_covered(job):
        return False, "It came back under warranty, so the diagnosis fee is left off."
    if not shop.diagnosis_credited:
        return True, "This shop charges the diagnosis fee beside the repair."
    if repaired:
        return False, "This shop takes the diagnosis fee off the bill of a repair, so it is left off."
    return True, "There is no labour and no part to take the diagnosis fee off, so it is charged."


def _fee_to_credit(job: Job, shop: Shop, charges: list[Charge]) -> InvoiceLine | None:
    """The diagnosis fee that an invoice of this job charged, when the job came back to be repaired after all.

    A shop that takes the fee off the bill of a repair credits it then, whole, if nothing of it is credited yet.
    """
    repaired = any(charge.kind in (LineKind.LABOUR, LineKind.PART) for charge in charges)
    if not repaired or job.declined or not shop.diagnosis_credited:
        return None
    billed = job.charges.filter(origin=fee_origin(job), invoice__isnull=False).first()
    if billed is None:
        return None
    return (
        InvoiceLine.objects.select_related("invoice")
        .filter(invoice=billed.invoice_id, kind=LineKind.FEE, text=billed.text, credited__isnull=True)
        .first()
    )


@dataclass(frozen=True)
class RatesChanged:
    """What the owner agreed to, with the tax rates of that day and with those of the invoice's."""

    estimate: Estimate
    then: Decimal
    now: Decimal


def rates_changed(job: Job, *, on: dt.date | None = None) -> RatesChanged | None:
    """Say whether what was agreed comes to another sum because the tax rates changed since the estimate.

    An invoice charges the rates of its own day; the estimate keeps those it was made with.
    """
    shop = reading.shop_of(job)
    estimate = job.estimates.filter(answer__yes=True).select_related("answer").first()
    if estimate is None:
        return None
    taken = estimate.answer.taken
    lines = [line for line in estimate.lines.all() if not line.optional or line.pk in taken]
    exempt, made_on = is_exempt(job.person), timezone.localdate(estimate.at, shop.zone)
    then = total_of(lines, shop, made_on, exempt=exempt).gross
    now = total_of(lines, shop, on or today(shop), exempt=exempt).gross
    return RatesChanged(estimate, then, now) if then != now else None


def number_in(series: str) -> int:
    """Take the next number of a series, in the transaction that writes what bears it.

    What fails gives it back, so there is never a gap. Whoever else wants one waits: ask for it last.
    """
    Series.objects.get_or_create(name=series)
    number = Series.objects.select_for_update().get(name=series).next_number
    Series.objects.filter(name=series).update(next_number=F("next_number") + 1)
    return number


def seller_of(shop: Shop) -> dict[str, str]:
    """The shop, as an invoice keeps it."""
    return {
        "name": shop.name,
        "address": shop.address,
        "phone": shop.phone,
        "email": shop.email,
        "tax_number": shop.tax_number,
        "country": shop.country,
    }


def buyer_of(person: Person) -> dict[str, str]:
    """Somebody, as an invoice to them keeps it."""
    return {"name": person.name, "address": person.address, "email": person.email, "country": person.country}


def write_invoice(
    shop: Shop, lines: Sequence[Charge | Row], totals: money.Totals, *, person: Person | None, **said: Any
) -> Invoice:
    """Write an invoice and its lines, under the next number. The caller has a transaction, and locks of its own.

    `totals` are those of `lines`, in their order; `said` is what else stands on it.
    """
    invoice = Invoice.objects.create(
        series=SERIES,
        number=number_in(SERIES),
        person=person,
        exempt_number=person.tax_exempt_number if person else "",
        seller=seller_of(shop),
        buyer=buyer_of(person) if person else {},
        currency=shop.currency,
        prices_include_tax=shop.prices_include_tax,
        net=totals.net,
        taxes=taxes_as_kept(totals),
        gross=totals.gross,
        **said,
    )
    InvoiceLine.objects.bulk_create(
        InvoiceLine(
            invoice=invoice,
            kind=line.kind,
            text=line.text,
            quantity=line.quantity,
            unit=line.unit,
            unit_price=line.unit_price,
            unit_cost=line.unit_cost,
            percent=line.percent,
            under_warranty=getattr(line, "under_warranty", False),
            amount=sums.amount,
            tax_percents=[_percent(share.percent) for share in sums.line.taxes],
            net=sums.net,
            taxes=[
                {"name": share.name, "percent": _percent(share.percent), "tax": str(tax)}
                for share, tax in zip(sums.line.taxes, sums.taxes, strict=True)
            ],
            position=position,
        )
        for position, (line, sums) in enumerate(zip(lines, totals.lines, strict=True))
    )
    return invoice


@transaction.atomic
def issue_invoice(
    job: Job,
    *,
    by: Staff,
    on: dt.date | None = None,
    words: str = "",
    charge_fee: bool | None = None,
    seen: str | None = None,
) -> Invoice:
    """Issue an invoice over the charges that none has yet, under the next number. It is never changed after.

    The number is taken in this transaction, as its last question: what fails gives it back, so there is no
    gap. An invoice over nothing (a repair under warranty) can be issued once, as the job's first.

    `words` are the findings as the owner reads them; `seen` is the mark of the draft that was on the screen.

    Raises:
        CantBill: everything is invoiced already, or the figures make no bill.
        ChangedMeanwhile: the charges aren't those that were on the screen.
    """
    job = reading.with_shop(locked(job))
    shop = reading.shop_of(job)
    on = on or today(shop)
    list(job.charges.select_for_update())  # nobody edits a charge while it is being invoiced
    proposed = draft(job, on=on, charge_fee=charge_fee)
    if not proposed.charges and job.invoices.exists():
        raise CantBill("Everything on this job is invoiced already.")
    if seen is not None and seen != proposed.mark:
        raise ChangedMeanwhile(
            "The charges changed while you had this open. Look at what the invoice says now; then issue it."
        )
    if len(proposed.charges) > MOST_LINES:
        raise CantBill(f"An invoice has at most {MOST_LINES} lines. Put some charges together.")
    if proposed.fee is not None:
        _settle_fee(job, by, charge=proposed.fee_charged)
        # the same lines again, now that the fee is a charge like the others
        proposed = replace(proposed, charges=tuple(in_order(job.charges.to_invoice())))

    if proposed.fee_to_credit is not None:
        from intake import credits  # it stands on this module

        credits.credit_fee(proposed.fee_to_credit, by=by, on=on)
    invoice = write_invoice(
        shop,
        proposed.charges,
        proposed.totals,
        person=job.person,
        job=job,
        issued_on=on,
        by=by,
        what=f"{job.gear}, serial {job.gear.serial}" if job.gear.serial else str(job.gear),
        words=words,
        warranty=_warranty_words(job),
    )
    Charge.objects.filter(pk__in=[charge.pk for charge in proposed.charges]).update(
        invoice=invoice, revision=F("revision") + 1
    )
    timeline.write(
        job, by=by, words=f"issued invoice {invoice.label} for {say(invoice.gross, shop.currency)}"
    )
    return invoice


def _settle_fee(job: Job, by: Staff, *, charge: bool) -> None:
    """Make the diagnosis fee a charge, or strike it out, as the draft said."""
    standing = job.charges.to_invoice().filter(origin=fee_origin(job))
    if charge and not standing.exists():
        _fee_charge(job, by).save()
    if not charge:
        standing.update(struck_at=timezone.now(), revision=F("revision") + 1)


def _warranty_words(job: Job) -> str:
    """The warranty that was signed, as the invoice says it. What goes home as it is has none."""
    if job.declined:
        return "It goes home as it is, so there is no warranty on it."
    signed = comebacks.warranty_signed(job)
    given = [
        f"{days} days on {what}"
        for days, what in ((signed.labour_days, "labour"), (signed.parts_days, "parts"))
        if days
    ]
    return f"Warranty: {' and '.join(given)}, from the day it is collected." if given else ""


@dataclass(frozen=True)
class Left:
    """What is left of a line of an invoice after its share of the discounts, and each tax on that."""

    net: Decimal
    taxes: tuple[tuple[money.TaxShare, Decimal], ...]

    @property
    def tax(self) -> Decimal:
        return sum((tax for _, tax in self.taxes), Decimal(0))

    @property
    def gross(self) -> Decimal:
        return self.net + self.tax


def left_of(invoice: Invoice) -> dict[int, Left]:
    """What is left of each line of an invoice, by the line's key. They add up to the invoice's sums."""
    lines = list(invoice.lines.all())
    if any(line.net is None for line in lines):
        return _worked_out_again(invoice, lines)
    return {line.pk: Left(line.net, tuple(_tax_as_kept(tax) for tax in line.taxes)) for line in lines}


def _tax_as_kept(tax: dict[str, str]) -> tuple[money.TaxShare, Decimal]:
    return money.TaxShare(tax["name"], Decimal(tax["percent"])), Decimal(tax["tax"])


def _worked_out_again(invoice: Invoice, lines: list[InvoiceLine]) -> dict[int, Left]:
    """The same for an invoice of the time when its lines kept no more than their amounts.

    Which way tax was rounded isn't kept either: it is the one that gives the invoice's own sums.
    """
    names = {tax["percent"]: tax["name"] for tax in invoice.taxes}
    bill = [
        money_line(line, tuple(money.TaxShare(names.get(p, "Tax"), Decimal(p)) for p in line.tax_percents))
        for line in lines
    ]
    for rounding in Shop.TaxRounding.values:
        totals = money.total(
            bill, invoice.currency, prices_include_tax=invoice.prices_include_tax, rounding=rounding
        )
        if (totals.net, totals.gross) == (invoice.net, invoice.gross):
            break
    return {
        line.pk: Left(sums.net, tuple(zip(sums.line.taxes, sums.taxes, strict=True)))
        for line, sums in zip(lines, totals.lines, strict=True)
    }


# --- Accounts --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Account:
    """What invoices and payments come to, of a job or of a sale over the counter.

    `paid` is what came in less what was given back. Before an invoice nothing is owed; a deposit is in hand.
    What is written off is owed no more, but it is no money: it can't be given back.
    """

    invoiced: Decimal
    paid: Decimal
    credited: Decimal = Decimal(0)
    written_off: Decimal = Decimal(0)

    @property
    def billed(self) -> Decimal:
        """The invoices less the credit notes."""
        return self.invoiced - self.credited

    @property
    def owed(self) -> Decimal:
        return max(money.balance(self.billed, [self.paid, self.written_off]), Decimal(0))

    @property
    def in_hand(self) -> Decimal:
        """Money that is here and that no invoice uses up: a deposit, or what was paid too much."""
        return max(money.balance(self.paid, [self.billed]), Decimal(0))


def account(of: Job | Invoice) -> Account:
    """The account of a job, or of an invoice that has none, as it stands now."""
    if isinstance(of, Job) and not reading.is_whole(of):
        return accounts([of.pk])[of.pk]
    if isinstance(of, Job):
        bills = ((of.pk, invoice.kind, invoice.gross) for invoice in reading.invoices(of))
        moves = ((of.pk, payment.kind, payment.amount) for payment in reading.payments(of))
        return _accounts([of.pk], bills, moves)[of.pk]
    if of.job_id is not None:
        return accounts([of.job_id])[of.job_id]
    return sale_accounts([of.credits_id or of.pk])[of.credits_id or of.pk]


def accounts(jobs: Iterable[int]) -> dict[int, Account]:
    """The accounts of many jobs, by their keys, in two queries. Added up here: SQLite would add in floats."""
    keys = list(jobs)
    return _accounts(
        keys,
        Invoice.objects.filter(job__in=keys).values_list("job_id", "kind", "gross"),
        Payment.objects.filter(job__in=keys).values_list("job_id", "kind", "amount"),
    )


def sale_accounts(invoices: Iterable[int]) -> dict[int, Account]:
    """The accounts of many sales over the counter, by the keys of their invoices, in two queries."""
    keys = list(invoices)
    whose = Coalesce("credits_id", "pk")
    bills = Invoice.objects.filter(job=None).annotate(whose=whose).filter(whose__in=keys)
    return _accounts(
        keys,
        bills.values_list("whose", "kind", "gross"),
        Payment.objects.filter(job=None, invoice__in=keys).values_list("invoice_id", "kind", "amount"),
    )


def all_accounts() -> tuple[dict[int, Account], dict[int, Account]]:
    """Every account that has a bill or a payment: of jobs, and of sales over the counter. Four queries."""
    whose = Coalesce("credits_id", "pk")
    return (
        _accounts(
            (),
            Invoice.objects.filter(job__isnull=False).values_list("job_id", "kind", "gross"),
            Payment.objects.filter(job__isnull=False).values_list("job_id", "kind", "amount"),
        ),
        _accounts(
            (),
            Invoice.objects.filter(job=None).annotate(whose=whose).values_list("whose", "kind", "gross"),
            Payment.objects.filter(job=None).values_list("invoice_id", "kind", "amount"),
        ),
    )


def _accounts(
    keys: Iterable[int],
    bills: Iterable[tuple[int, str, Decimal]],
    moves: Iterable[tuple[int, str, Decimal]],
) -> dict[int, Account]:
    nothing = dict.fromkeys(("invoiced", "paid", "credited", "written_off"), Decimal(0))
    sums = {key: dict(nothing) for key in keys}
    for key, kind, gross in bills:
        side = "credited" if kind == Invoice.Kind.CREDIT_NOTE else "invoiced"
        sums.setdefault(key, dict(nothing))[side] += gross
    for key, kind, amount in moves:
        side = "written_off" if kind == Payment.Kind.WRITE_OFF else "paid"
        sums.setdefault(key, dict(nothing))[side] += amount
    return {key: Account(**each) for key, each in sums.items()}


def owed(job: Job) -> Decimal:
    """What the owner still owes: invoices less credit notes, payments and what is written off."""
    return account(job).owed


# --- Before it goes home -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Open:
    """What is open in money before gear goes home. `owed` counts what is not invoiced yet as well."""

    owed: Decimal
    not_invoiced: Decimal
    must_invoice: bool
    currency: str

    @property
    def is_settled(self) -> bool:
        return not self.owed and not self.must_invoice

    @property
    def why(self) -> str:
        """The sentence that says what is in the way; empty when nothing is."""
        if self.must_invoice:
            return (
                f"There are charges that no invoice has yet: {say(self.not_invoiced, self.currency)}. "
                "Issue the invoice first."
            )
        if self.owed:
            return f"{say(self.owed, self.currency)} is still owed. Take the payment first."
        return ""


def fee_taken_off(proposed: Draft) -> Decimal:
    """What issuing this invoice takes off an earlier one: the diagnosis fee, with its tax."""
    fee = proposed.fee_to_credit
    return left_of(fee.invoice)[fee.pk].gross if fee else Decimal(0)


def still_open(job: Job) -> Open:
    """What keeps gear here for the money's sake. The owner of the shop may let it go all the same.

    Raises:
        CantBill: see `total_of`.
    """
    shop, standing, proposed = reading.shop_of(job), account(job), draft(job)
    unpaid = money.balance(
        standing.billed + proposed.totals.gross - fee_taken_off(proposed),
        [standing.paid, standing.written_off],
    )
    return Open(
        owed=max(unpaid, Decimal(0)),
        not_invoiced=proposed.totals.gross,
        must_invoice=bool(proposed.charges),
        currency=shop.currency,
    )
