"""What may be charged without asking the owner of the gear first.

The rule, in figures with tax included:

- What counts is what the standing charges come to, on invoices or not, as `shop.money` adds them up. The
  diagnosis fee that was signed for at drop-off doesn't count, nor does storage, which the signed terms ask for;
  warranty work at nothing is nothing.
- It may come to the larger of two: the limit up to which the owner said "just do it", and what they agreed
  to in their latest yes to an estimate, with the options they took, plus the shop's tolerance in per cent.
  A later estimate that they declined takes nothing back of an earlier yes.
- With neither, nothing beyond the diagnosis fee may be charged: ask first.
- Whatever doesn't grow the sum is never refused: a discount, a line struck out, a smaller quantity.

Nobody overrides it, not the owner of the shop: an answer by phone takes ten seconds to record.
"""

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from intake import billing, reading
from intake.models import Charge, Job, State
from intake.models.bills import LineKind
from shop import money
from shop.errors import NotAllowedYet
from shop.models import Shop, Staff


class AskFirst(NotAllowedYet):
    """The owner of the gear has to be asked first. The sentence says by how much, and what to do."""


# --- The rule ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Allowance:
    """What was agreed on a job, tax included, and what is charged so far.

    `limit` and `agreed` are None where nothing was said; `fee` is what of the diagnosis fee isn't charged yet.
    """

    currency: str
    charged: Decimal = Decimal(0)
    limit: Decimal | None = None
    agreed: Decimal | None = None
    tolerance: Decimal = Decimal(0)  # per cent
    fee: Decimal = Decimal(0)

    @property
    def agreed_at_most(self) -> Decimal | None:
        """What was agreed with the tolerance, never a part of a coin above it."""
        if self.agreed is None:
            return None
        return _down(self.agreed * (100 + self.tolerance) / 100, self.currency)

    @property
    def tolerance_words(self) -> str:
        return f"{self.tolerance.normalize():f} %"

    @property
    def most(self) -> Decimal:
        return max(said for said in (self.limit, self.agreed_at_most, self.fee) if said is not None)

    @property
    def asked(self) -> bool:
        """The owner said a sum, one way or the other."""
        return self.limit is not None or self.agreed is not None

    @property
    def by_limit(self) -> bool:
        """The spend limit is what counts, not an answer."""
        return self.limit is not None and self.limit >= (self.agreed_at_most or Decimal(0))

    @property
    def left(self) -> Decimal:
        return max(self.most - self.charged, Decimal(0))

    @property
    def over(self) -> Decimal:
        """By how much the charges exceed what may be charged; 0 where they don't."""
        return max(self.charged - self.most, Decimal(0))

    @property
    def why(self) -> str:
        """The sentence that says by how much it is exceeded; empty where it isn't."""
        if not self.over:
            return ""
        if not self.asked:
            beyond = f" beyond the diagnosis fee of {self._say(self.fee)}" if self.fee else ""
            return (
                f"Ask first: the owner has agreed to nothing{beyond}, and this comes to {self._say(self.charged)} "
                "with tax. Make an estimate, and record their answer."
            )
        said = f"their spend limit is {self._say(self.most)}" if self.by_limit else self._agreed_words()
        return (
            f"Ask first: this comes to {self._say(self.charged)} with tax, {self._say(self.over)} more than the "
            f"owner agreed to ({said}). Make a new estimate, and record their answer."
        )

    def _agreed_words(self) -> str:
        if self.most == self.agreed:
            return f"{self._say(self.most)}"
        return f"{self._say(self.agreed)}, and {self.tolerance_words} on top make {self._say(self.most)}"

    def _say(self, amount: Decimal) -> str:
        return money.format_amount(amount, self.currency)


def _down(amount: Decimal, currency: str) -> Decimal:
    rounded = money.round_to(amount, currency)
    return rounded if rounded <= amount else rounded - Decimal(1).scaleb(-money.decimals(currency))


# --- On a job ----------------------------------------------------------------------------------------------


def allowance(job: Job, *, shop: Shop | None = None) -> Allowance:
    """What was agreed on this job, and what is charged so far.

    Raises:
        CantBill: the charges don't add up.
    """
    shop, lines = shop or reading.shop_of(job), reading.standing(job)
    said_yes = (e.answer.agreed for e in reading.estimates(job) if hasattr(e, "answer") and e.answer.yes)
    return Allowance(
        currency=shop.currency,
        charged=_charged(job, lines, shop),
        limit=job.spend_limit,
        agreed=next(said_yes, None),
        tolerance=shop.estimate_tolerance,
        fee=_fee_left(job, lines, shop),
    )


def allowances(jobs: Iterable[Job], *, leave_out_broken: bool = False) -> dict[int, Allowance]:
    """The same for many jobs, by their keys. What counts of them is read beforehand: `reading.agreed`.

    `leave_out_broken` leaves out jobs whose charges don't add up: their own pages say so.

    Raises:
        CantBill: the charges of one don't add up.
    """
    found = {}
    for job in jobs:
        try:
            found[job.pk] = allowance(job)
        except billing.CantBill:
            if not leave_out_broken:
                raise
    return found


def _charged_before(job: Job, lines: Sequence[Charge], shop: Shop) -> Decimal:
    """What counted of a job's charges, tax included. Nothing where they didn't add up: the verb says so itself."""
    try:
        return _charged(job, lines, shop)
    except billing.CantBill:
        return Decimal(0)


@contextmanager
def agreed(job: Job) -> Iterator[None]:
    """Hold an act on a job's charges to what its owner agreed to. Inside a transaction that has locked the job.

    Raises:
        AskFirst: it makes them more, and more than that.
    """
    shop = reading.shop_of(job)
    before = reading.standing(job)
    yield
    now = allowance(job, shop=shop)
    if now.over and now.charged > _charged_before(job, before, shop):
        raise AskFirst(now.why)


def within_what_was_agreed(job: Job, to: str, by: Staff) -> str | None:
    """Gate: work isn't called done with charges that the owner didn't agree to.

    What goes home as it is has none left but the diagnosis fee, and what an invoice says already.
    """
    if to not in (State.SOAK_TEST, State.READY) or job.declined or job.state == State.GOING_HOME_AS_IS:
        return None
    try:
        over = allowance(job).why
    except billing.CantBill as why:
        return str(why)
    return f"The charges exceed what the owner agreed to. {over}" if over else None


def _charged(job: Job, lines: Sequence[Charge], shop: Shop) -> Decimal:
    """Each invoice's lines with the tax of its day, and what isn't invoiced yet with today's."""
    signed, today = (billing.fee_origin(job), billing.storage_origin(job)), billing.today(shop)
    bills: dict[int | None, list[Charge]] = {}
    for line in lines:
        bills.setdefault(line.invoice_id, []).append(line)
    together = Decimal(0)
    for whole in bills.values():
        on = whole[0].invoice.issued_on if whole[0].invoice else today
        counted = [line for line in whole if not line.origin.startswith(signed)]
        try:
            together += _gross(job, billing.in_order(counted), shop, on)
        except billing.CantBill:
            if len(counted) == len(whole):
                raise
            _gross(
                job, billing.in_order(whole), shop, on
            )  # with the fee it does: what a discount leaves is the fee's
    return together


def _fee_left(job: Job, lines: Sequence[Charge], shop: Shop) -> Decimal:
    origin = billing.fee_origin(job)
    if any(line.origin == origin for line in lines):
        return Decimal(0)
    fee = billing.Row(LineKind.FEE, "Diagnosis fee", Decimal(1), job.diagnosis_fee)
    return _gross(job, [fee], shop, billing.today(shop))


def _gross(job: Job, lines: Sequence[Any], shop: Shop, on: dt.date) -> Decimal:
    """What lines come to on a day, tax included."""
    return billing.total_of(lines, shop, on, exempt=billing.is_exempt(job.person)).gross
