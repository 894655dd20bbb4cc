"""Money that changes hands: taken for a job or a sale, given back, written off. Who owes.

Each verb locks the account it touches first: two tablets at once take their turn, and the second is told.
"""

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from intake import billing
from intake.billing import Account, CantBill, say
from intake.models import CashUp, Invoice, Job, Payment
from shop import money, timeline
from shop.errors import NotAllowed
from shop.models import Staff


@transaction.atomic
def take(
    of: Job | Invoice,
    *,
    amount: Decimal,
    method: str,
    by: Staff,
    tendered: Decimal | None = None,
    note: str = "",
    deposit: bool = False,
    keep: bool = False,
) -> Payment:
    """Write down money that was taken: the whole sum, a part of it, or a deposit. `of` is what it is paid for.

    `tendered` is the cash that was handed over; change goes back from it. `deposit` says that the sum may be
    more than is owed now; `keep` that what is paid too much stays here as credit.

    Raises:
        CantBill: nothing, more than is owed, less cash than the sum, or a deposit when all is invoiced.
    """
    of, standing = _locked(of)
    currency = billing.the_shop().currency
    if amount <= 0:
        raise CantBill("Write the sum that was paid. Money that goes back has a page of its own.")
    if amount >= money.LARGEST:
        raise CantBill("That is more money than can be billed.")
    if tendered is not None and method != Payment.Method.CASH:
        raise CantBill("Only cash is handed over and gives change. Leave that field empty.")
    if tendered is not None and tendered < amount:
        raise CantBill("Less cash was handed over than the sum that is paid. Write the smaller sum as paid.")
    if deposit and not _more_to_come(of):
        raise CantBill("Everything is invoiced, so there is nothing to take a deposit for.")
    if amount > standing.owed and not deposit and not (keep and standing.billed):
        raise CantBill(_too_much(of, standing, currency))
    payment = Payment.objects.create(
        **_for(of),
        kind=Payment.Kind.DEPOSIT if deposit else Payment.Kind.PAYMENT,
        amount=amount,
        method=method,
        tendered=tendered,
        note=note,
        by=by,
    )
    what = "a deposit of " if deposit and amount > standing.owed else ""
    over = f"; {say(amount - standing.owed, currency)} of it stays as credit" if keep and not deposit else ""
    timeline.write(
        of,
        by=by,
        words=f"took {what}{say(amount, currency)}, {payment.get_method_display().lower()}"
        + (over if amount > standing.owed else ""),
    )
    return payment


@transaction.atomic
def give_back(
    of: Job | Invoice, *, amount: Decimal, method: str, reason: str, by: Staff, seen: Decimal | None = None
) -> Payment:
    """Write down money that was given back: at most what is here and no invoice uses up, and why.

    Raises:
        CantBill: nothing, more than is in hand, or no reason.
    """
    of, standing = _locked(of)
    currency = billing.the_shop().currency
    if amount <= 0:
        raise CantBill("Write the sum that was given back.")
    if not standing.in_hand:
        raise CantBill(
            "There is nothing to give back: nothing was paid too much. To take back what an invoice "
            "charged, credit it first."
        )
    if amount > standing.in_hand:
        raise CantBill(f"Only {say(standing.in_hand, currency)} can be given back.")
    if method not in paid_by():
        raise CantBill("Say how the money went back.")
    if not reason.strip():
        raise CantBill("Write down why the money went back.")
    payment = Payment.objects.create(
        **_for(of), kind=Payment.Kind.REFUND, amount=-amount, method=method, note=reason.strip(), by=by
    )
    timeline.write(
        of,
        by=by,
        words=f"gave back {say(amount, currency)}, {payment.get_method_display().lower()}",
        after={"Why": reason},
    )
    return payment


@transaction.atomic
def write_off(of: Job | Invoice, *, amount: Decimal, reason: str, by: Staff) -> Payment:
    """Let go of money that is owed. No money moves; it is owed no more, and the reason is kept.

    Raises:
        NotAllowed: only the owner of the shop decides this.
        CantBill: nothing, more than is owed, or no reason.
    """
    if not by.may("write off"):
        raise NotAllowed("Only the owner of the shop can write money off. Change person.")
    of, standing = _locked(of)
    currency = billing.the_shop().currency
    if amount <= 0:
        raise CantBill("Write the sum that is written off.")
    if amount > standing.owed:
        raise CantBill(
            f"Only {say(standing.owed, currency)} is owed." if standing.owed else "Nothing is owed here."
        )
    if not reason.strip():
        raise CantBill("Write down why it is written off.")
    payment = Payment.objects.create(
        **_for(of),
        kind=Payment.Kind.WRITE_OFF,
        amount=amount,
        method=Payment.Method.NONE,
        note=reason.strip(),
        by=by,
    )
    timeline.write(of, by=by, words=f"wrote off {say(amount, currency)}", after={"Why": reason})
    return payment


@dataclass(frozen=True, kw_only=True)
class Brought:
    """What gear that was left behind brought: by a sale, less what the sale cost, or the value it is kept at.

    `method` is empty for what is kept for parts: no money moves.
    """

    amount: Decimal
    method: str = ""
    costs: Decimal = Decimal(0)
    costs_method: str = ""
    note: str


@transaction.atomic
def take_from_gear(job: Job, brought: Brought, *, on: dt.date, by: Staff) -> None:
    """Write down what gear that was left behind brought. Like a payment of its owner it pays the job's invoices, the
    oldest first; what it brings above them is in hand for its owner, until it is given back.

    Raises:
        CantBill: the costs are more than the price, or nobody said how money moved.
    """
    of, _ = _locked(job)
    at = _moment(on)
    if brought.costs > brought.amount:
        raise CantBill(
            "The costs are more than the price. Write down as much of them as the price pays; the rest is the shop's."
        )
    if brought.amount:
        sold = bool(brought.method)
        if sold and brought.method not in paid_by():
            raise CantBill("Say how the buyer paid.")
        Payment.objects.create(
            job=of,
            kind=Payment.Kind.SALE if sold else Payment.Kind.KEPT,
            amount=brought.amount,
            method=brought.method or Payment.Method.NONE,
            note=brought.note[:200],
            at=at,
            by=by,
        )
    if brought.costs:
        if brought.costs_method not in paid_by():
            raise CantBill("Say how the costs of the sale were paid.")
        Payment.objects.create(
            job=of,
            kind=Payment.Kind.COSTS,
            amount=-brought.costs,
            method=brought.costs_method,
            note=brought.note[:200],
            at=at,
            by=by,
        )


def _moment(on: dt.date) -> dt.datetime:
    """When money of a day changed hands: now, or at noon of a day before. A till that is counted stays as it was
    counted, so what is written down for its day after that counts today.
    """
    shop = billing.the_shop()
    if on >= billing.today(shop) or CashUp.objects.filter(day__gte=on).exists():
        return timezone.now()
    return dt.datetime.combine(on, dt.time(12), shop.zone)


def change(payment: Payment) -> Decimal:
    """What goes back to whoever paid in cash."""
    if payment.tendered is None:
        return Decimal(0)
    return money.change_from(payment.tendered, payment.amount)


def paid_by() -> dict[str, str]:
    """The ways in which money changes hands, with their words."""
    return {key: word for key, word in Payment.Method.choices if key != Payment.Method.NONE}


def in_words(payment: Payment) -> str:
    """What a payment was, in words: "Paid, cash", "Given back, card", "Written off"."""
    if payment.method == Payment.Method.NONE:
        return payment.get_kind_display()
    what = {Payment.Kind.REFUND: "Given back", Payment.Kind.PAYMENT: "Paid"}.get(
        Payment.Kind(payment.kind), payment.get_kind_display()
    )
    return f"{what}, {payment.get_method_display().lower()}"


def of_payment(payment: Payment) -> Job | Invoice:
    """What a payment was for."""
    return payment.job or payment.invoice


def _locked(of: Job | Invoice) -> tuple[Job | Invoice, Account]:
    """What is paid for, locked, and its account as it is now."""
    if isinstance(of, Job):
        of = billing.locked(of)
    else:
        of = Invoice.objects.select_for_update().get(pk=of.credits_id or of.pk)
        if of.job_id is not None:
            of = billing.locked(of.job)
    return of, billing.account(of)


def _for(of: Job | Invoice) -> dict[str, Job | Invoice]:
    return {"job": of} if isinstance(of, Job) else {"invoice": of}


def _more_to_come(of: Job | Invoice) -> bool:
    """Whether another invoice can follow, which a deposit is taken for."""
    return isinstance(of, Job) and (not of.invoices.exists() or of.charges.to_invoice().exists())


def _too_much(of: Job | Invoice, standing: Account, currency: str) -> str:
    if not standing.owed and isinstance(of, Job) and of.charges.to_invoice().exists():
        return (
            "Nothing is invoiced yet, so nothing is owed. Issue the invoice first, or take it as a deposit."
        )
    if not standing.owed:
        return "Nothing is owed here. If it is a deposit, say so."
    return (
        f"Only {say(standing.owed, currency)} is owed. Take that and give the rest back, "
        "or say that the rest stays here as credit."
    )


# --- Who owes --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Debt:
    """An account on which something is owed: of a job, or of a sale over the counter."""

    job_id: int | None
    invoice_id: int | None
    account: Account


def who_owes() -> list[Debt]:
    """Every account with money owed, the most first. Four queries, however many jobs there are."""
    of_jobs, of_sales = billing.all_accounts()
    found = [Debt(key, None, account) for key, account in of_jobs.items()]
    found += [Debt(None, key, account) for key, account in of_sales.items()]
    owing = [debt for debt in found if debt.account.owed]
    return sorted(owing, key=lambda debt: (-debt.account.owed, debt.job_id or 0, debt.invoice_id or 0))
