"""Money on a job: what it comes to, estimates and their answers, invoices, payments, and going home as is.

Sums are worked out by `shop.money` alone. Every verb that touches a job's money first locks the job's row, so
that two tablets at once take their turn: one bill is never issued twice.
"""

import datetime as dt
import hashlib
import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, Final

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from intake import workflow
from intake.models import (
    Charge,
    Invoice,
    InvoiceLine,
    Job,
    Payment,
    Series,
    State,
)
from intake.models.bills import BillLine, LineKind
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
    """A line of a proposal, as somebody wrote it. A discount's price is a positive sum that is taken off."""

    kind: str
    text: str
    quantity: Decimal
    unit_price: Decimal
    unit: str = ""


def total_of(lines: Iterable[Row | BillLine], shop: Shop, on: dt.date) -> money.Totals:
    """Add up lines with the shop's taxes in force on a day. The sums stand in the order of the lines.

    Raises:
        CantBill: a discount takes off more than there is, or it is more than can be billed.
    """
    rates = list(TaxRate.objects.on(on))
    try:
        return money.total(
            [
                money.Line(
                    text=line.text,
                    kind=line.kind,
                    quantity=Decimal(line.quantity),
                    unit_price=Decimal(line.unit_price),
                    taxes=_taxes_on(line.kind, rates),
                )
                for line in lines
            ],
            shop.currency,
            prices_include_tax=shop.prices_include_tax,
            rounding=shop.tax_rounding,
        )
    except money.MoneyError as why:
        raise CantBill(str(why)) from why


def bill(job: Job, *, on: dt.date | None = None) -> money.Totals:
    """What the job's standing charges come to, invoiced or not, with the taxes of a day (or today's).

    Raises:
        CantBill: see `total_of`.
    """
    shop = the_shop()
    return total_of(in_order(job.charges.standing()), shop, on or today(shop))


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
            "percent": f"{tax.percent.normalize():f}",
            "base": str(tax.base),
            "tax": str(tax.tax),
        }
        for tax in totals.taxes
    ]


def the_shop() -> Shop:
    shop = Shop.current()
    if shop is None:
        raise NotAllowedYet("The shop isn't set up yet. Do the first start.")
    return shop


def locked(job: Job) -> Job:
    """The job's row as it is now, locked until the transaction ends: whoever else touches its money waits."""
    return Job.objects.select_for_update(of=("self",)).select_related("person", "gear").get(pk=job.pk)


def say(amount: Decimal, currency: str) -> str:
    return money.format_amount(amount, currency)


def line_amount(line: BillLine, currency: str) -> Decimal:
    """What stands in a line's own column: quantity times price, below zero for a discount."""
    amount = money.round_to(Decimal(line.quantity) * Decimal(line.unit_price), currency)
    return -amount if line.kind == LineKind.DISCOUNT and amount else amount


def times(line: BillLine | InvoiceLine) -> str:
    """How many, as people write it: "1.5 h", "2"."""
    return f"{Decimal(line.quantity).normalize():f} {line.unit}".strip()


# --- The diagnosis fee, and going home as is -------------------------------------------------------------


def fee_origin(job: Job) -> str:
    """The mark of the job's diagnosis fee among its charges: it can stand there once."""
    return f"diagnosis/{job.pk}"


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
    answer, `fee_words` says why. `mark` changes when anything of it does: an invoice is issued as it was
    seen, or not at all.
    """

    charges: tuple[Charge, ...]
    totals: money.Totals
    fee: Decimal | None = None
    fee_charged: bool = False
    fee_words: str = ""

    @property
    def mark(self) -> str:
        said = [
            (c.pk, c.kind, c.text, c.quantity.normalize(), c.unit_price.normalize()) for c in self.charges
        ]
        return hashlib.sha256(repr((said, self.totals.net, self.totals.gross)).encode()).hexdigest()[:24]


def draft(job: Job, *, on: dt.date | None = None, charge_fee: bool | None = None) -> Draft:
    """What an invoice issued on a day (today, when not said) would say.

    The diagnosis fee is a question on a job that isn't declined and has no invoice yet. The shop's rule
    answers it, `charge_fee` answers otherwise: a shop that takes the fee off the bill of a repair charges it
    only where there is no labour and no part to take it off; nobody pays it for a comeback.

    Raises:
        CantBill: see `total_of`.
    """
    shop = the_shop()
    charges = list(job.charges.to_invoice())
    asked = bool(job.diagnosis_fee) and not job.declined and not job.invoices.exists()
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
    totals = total_of(charges, shop, on or today(shop))
    if not asked:
        return Draft(tuple(charges), totals)
    return Draft(tuple(charges), totals, fee=job.diagnosis_fee, fee_charged=charged, fee_words=why)


def _fee_rule(job: Job, shop: Shop, charges: list[Charge]) -> tuple[bool, str]:
    """Whether the shop's rule charges the diagnosis fee, and the sentence that says so."""
    repaired = any(charge.kind in (LineKind.LABOUR, LineKind.PART) for charge in charges)
    if job.comeback_of_id:
        return False, "It came back under warranty, so the diagnosis fee is left off."
    if not shop.diagnosis_credited:
        return True, "This shop charges the diagnosis fee beside the repair."
    if repaired:
        return False, "This shop takes the diagnosis fee off the bill of a repair, so it is left off."
    return True, "There is no labour and no part to take the diagnosis fee off, so it is charged."


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
    job, shop = locked(job), the_shop()
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

    Series.objects.get_or_create(name=SERIES)
    series = Series.objects.select_for_update().get(name=SERIES)
    invoice = Invoice.objects.create(
        series=series.name,
        number=series.next_number,
        job=job,
        person=job.person,
        issued_on=on,
        by=by,
        seller={
            "name": shop.name,
            "address": shop.address,
            "phone": shop.phone,
            "email": shop.email,
            "tax_number": shop.tax_number,
        },
        buyer={"name": job.person.name, "address": job.person.address},
        what=f"{job.gear}, serial {job.gear.serial}" if job.gear.serial else str(job.gear),
        words=words,
        warranty=_warranty_words(job, shop),
        currency=shop.currency,
        prices_include_tax=shop.prices_include_tax,
        net=proposed.totals.net,
        taxes=taxes_as_kept(proposed.totals),
        gross=proposed.totals.gross,
    )
    Series.objects.filter(pk=series.pk).update(next_number=F("next_number") + 1)
    InvoiceLine.objects.bulk_create(
        InvoiceLine(
            invoice=invoice,
            kind=charge.kind,
            text=charge.text,
            quantity=charge.quantity,
            unit=charge.unit,
            unit_price=charge.unit_price,
            amount=line.amount,
            tax_percents=[f"{share.percent.normalize():f}" for share in line.line.taxes],
            position=position,
        )
        for position, (charge, line) in enumerate(zip(proposed.charges, proposed.totals.lines, strict=True))
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


def _warranty_words(job: Job, shop: Shop) -> str:
    """The shop's warranty as the invoice says it. What goes home as it is has none."""
    if job.declined:
        return "It goes home as it is, so there is no warranty on it."
    given = [
        f"{days} days on {what}"
        for days, what in ((shop.warranty_labour_days, "labour"), (shop.warranty_parts_days, "parts"))
        if days
    ]
    return f"Warranty: {' and '.join(given)}, from the day it is collected." if given else ""


# --- Payments --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Account:
    """What a job's invoices and payments come to. Before an invoice nothing is owed; a deposit is in hand."""

    invoiced: Decimal
    paid: Decimal

    @property
    def owed(self) -> Decimal:
        return max(money.balance(self.invoiced, [self.paid]), Decimal(0))

    @property
    def in_hand(self) -> Decimal:
        """Paid, and not used up by an invoice yet."""
        return max(money.balance(self.paid, [self.invoiced]), Decimal(0))


def account(job: Job) -> Account:
    """The job's account as it stands now."""
    return accounts([job.pk])[job.pk]


def accounts(jobs: Iterable[int]) -> dict[int, Account]:
    """The accounts of many jobs, by their keys, in two queries. Added up here: SQLite would add in floats."""
    keys = list(jobs)
    invoiced, paid = dict.fromkeys(keys, Decimal(0)), dict.fromkeys(keys, Decimal(0))
    for key, gross in Invoice.objects.filter(job__in=keys).values_list("job_id", "gross"):
        invoiced[key] += gross
    for key, amount in Payment.objects.filter(job__in=keys).values_list("job_id", "amount"):
        paid[key] += amount
    return {key: Account(invoiced[key], paid[key]) for key in keys}


def owed(job: Job) -> Decimal:
    """What the owner still owes: the sum of the invoices less what was paid, never below zero."""
    return account(job).owed


@transaction.atomic
def take_payment(
    job: Job,
    *,
    amount: Decimal,
    method: str,
    by: Staff,
    tendered: Decimal | None = None,
    note: str = "",
    deposit: bool = False,
) -> Payment:
    """Write down money that was taken for a job: the whole sum, a part of it, or a deposit.

    `tendered` is the cash that was handed over; change goes back from it. `deposit` says that the sum may be
    more than is owed now.

    Raises:
        CantBill: nothing, more than is owed, less cash than the sum, or a deposit when all is invoiced.
    """
    job, shop = locked(job), the_shop()
    standing = account(job)
    if amount <= 0:
        raise CantBill("Write the sum that was paid. Giving money back isn't done here yet.")
    if amount >= money.LARGEST:
        raise CantBill("That is more money than can be billed.")
    if tendered is not None and method != Payment.Method.CASH:
        raise CantBill("Only cash is handed over and gives change. Leave that field empty.")
    if tendered is not None and tendered < amount:
        raise CantBill("Less cash was handed over than the sum that is paid. Write the smaller sum as paid.")
    if deposit and job.invoices.exists() and not job.charges.to_invoice().exists():
        raise CantBill("Everything is invoiced, so there is nothing to take a deposit for.")
    if not deposit and amount > standing.owed:
        raise CantBill(_too_much(job, standing, shop.currency))
    payment = Payment.objects.create(
        job=job, amount=amount, method=method, tendered=tendered, note=note, by=by
    )
    what = "a deposit of " if amount > standing.owed else ""
    timeline.write(
        job, by=by, words=f"took {what}{say(amount, shop.currency)}, {payment.get_method_display().lower()}"
    )
    return payment


def _too_much(job: Job, standing: Account, currency: str) -> str:
    if not standing.owed and job.charges.to_invoice().exists():
        return (
            "Nothing is invoiced yet, so nothing is owed. Issue the invoice first, or take it as a deposit."
        )
    if not standing.owed:
        return "Nothing is owed on this job. If it is a deposit, say so."
    return (
        f"Only {say(standing.owed, currency)} is owed. Take that and give the rest back: "
        "keeping more than is owed isn't done here yet."
    )


def change(payment: Payment) -> Decimal:
    """What goes back to whoever paid in cash."""
    if payment.tendered is None:
        return Decimal(0)
    return money.change_from(payment.tendered, payment.amount)


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


def still_open(job: Job) -> Open:
    """What keeps gear here for the money's sake. The owner of the shop may let it go all the same.

    Raises:
        CantBill: see `total_of`.
    """
    shop, standing, proposed = the_shop(), account(job), draft(job)
    unpaid = money.balance(standing.invoiced + proposed.totals.gross, [standing.paid])
    return Open(
        owed=max(unpaid, Decimal(0)),
        not_invoiced=proposed.totals.gross,
        must_invoice=bool(proposed.charges),
        currency=shop.currency,
    )
