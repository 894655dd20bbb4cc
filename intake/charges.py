"""Charges: what a job costs so far, line by line, until an invoice takes them up."""

import hashlib
from collections.abc import Collection
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from django.db import transaction
from django.db.models import Max

from intake import comebacks, estimating, labour, proposals, reading, spending
from intake.billing import money_line, times
from intake.models import Charge, Estimate, Job, LabourSpell
from intake.models.bills import LineKind
from intake.work import mark, take_revision
from intake.workflow import still_open
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from shop.models import Shop, Staff
from shop.money import LARGEST, Line, MoneyError, format_amount, round_to, total

_AGREED: Final = "estimate/"  # begins the origin of a charge that was made from an estimate's line


@transaction.atomic
def charge(
    job: Job,
    *,
    kind: str,
    text: str,
    quantity: Decimal,
    unit_price: Decimal,
    by: Staff,
    unit: str = "",
    origin: str = "",
    percent: Decimal | None = None,
    unit_cost: Decimal | None = None,
    under_warranty: bool = False,
) -> Charge:
    """Put a line on a job's bill. `origin` names what brought it, which can then bring no second one.

    `percent` is a discount's that takes off a share of what stands above it; `unit_cost` what a part cost the
    shop; what is done `under_warranty` costs nothing, whatever its price.

    Raises:
        NotAllowedYet: the job is over, that origin is charged already, or a discount takes off more than
        there is.
        AskFirst: it is more than the owner agreed to.
    """
    _fits(kind, percent, unit_cost, under_warranty)
    job = reading.with_shop(still_open(job))
    if origin and Charge.objects.standing().filter(origin=origin).exists():
        raise NotAllowedYet("This is charged already.")
    last = job.charges.aggregate(last=Max("position"))["last"] or 0
    with spending.agreed(job):
        line = Charge.objects.create(
            job=job,
            kind=kind,
            text=text,
            quantity=quantity,
            unit=unit,
            unit_price=unit_price,
            percent=percent,
            unit_cost=unit_cost,
            under_warranty=under_warranty,
            origin=origin,
            position=last + 1,
            by=by,
        )
        _adds_up(job)
    timeline.write(job, by=by, words=f"charged {line.get_kind_display().lower()}", after=_said(line))
    return line


@transaction.atomic
def charge_labour(spell: LabourSpell, *, hours: Decimal, by: Staff) -> Charge:
    """Charge a spell of work, at the shop's rate, for as many hours as the person says.

    On a comeback whose warranty covers labour it costs nothing.

    Raises:
        NotAllowedYet: it still runs, was struck out, or is charged already.
    """
    still_open(spell.job)
    spell.refresh_from_db()
    if not spell.ended:
        raise NotAllowedYet("This timer still runs. Stop it first; then charge it.")
    if spell.struck_at:
        raise NotAllowedYet("This time was struck out. Put it back first; then charge it.")
    return charge(
        spell.job,
        kind=LineKind.LABOUR,
        text=spell.words or "Labour",
        quantity=hours,
        unit="h",
        unit_price=Shop.current().labour_rate,
        origin=labour.origin(spell),
        under_warranty=LineKind.LABOUR in comebacks.covered_kinds(spell.job),
        by=by,
    )


# --- What was agreed -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Agreed:
    """What is left to charge of what the owner agreed to, as the charges that it would make.

    `others` are charges that nothing in the estimate asks for. `mark` changes when anything of what is left
    does: what is charged is what was seen.
    """

    estimate: Estimate
    charges: tuple[Charge, ...]
    others: tuple[Charge, ...]

    @property
    def mark(self) -> str:
        seen = [(line.origin, line.quantity.normalize()) for line in self.charges]
        return hashlib.sha256(repr((self.estimate.pk, seen)).encode()).hexdigest()[:24]


def left_of_agreed(job: Job) -> Agreed | None:
    """What is left to charge of the latest estimate with a yes; None without one."""
    estimate = estimating.agreed_to(job)
    if estimate is None:
        return None
    standing = {_as_item(line, place): line for place, line in enumerate(reading.standing(job))}
    left = proposals.rest(estimating.agreed_items(estimate), list(standing))
    made = [
        Charge(
            job=job,
            kind=item.kind,
            text=item.text,
            quantity=item.quantity,
            unit=item.unit,
            unit_price=item.unit_price,
            percent=item.percent,
            origin=f"{_AGREED}{item.key}",
        )
        for item in left.items
    ]
    return Agreed(estimate, tuple(made), tuple(standing[item] for item in left.others))


@transaction.atomic
def charge_agreed(
    job: Job, *, by: Staff, chosen: Collection[str] | None = None, seen: str | None = None
) -> list[Charge]:
    """Charge what the owner agreed to and isn't charged yet, in one act: what is too much is judged at its end.

    `chosen` are the origins of the lines to charge, all when not said; `seen` is the mark of what was on the
    screen.

    Raises:
        NotAllowedYet: nothing was agreed to, nothing of it is left, or prices are meant otherwise since.
        ChangedMeanwhile: what is left isn't what was on the screen.
        AskFirst: with what is charged already it is more than the owner agreed to.
    """
    job, shop = still_open(job), Shop.current()
    left = left_of_agreed(job)
    if left is None:
        raise NotAllowedYet("The owner has agreed to nothing yet. Make an estimate, and record their answer.")
    if not left.charges:
        raise NotAllowedYet("All that was agreed to is charged already.")
    if seen is not None and seen != left.mark:
        raise ChangedMeanwhile("Something was charged or agreed to meanwhile. Look at what is left now.")
    made = [line for line in left.charges if chosen is None or line.origin in chosen]
    if not made:
        raise NotAllowedYet("Choose at least one line to charge.")
    said = left.estimate
    if (said.currency, said.prices_include_tax) != (shop.currency, shop.prices_include_tax):
        raise NotAllowedYet(
            f"The shop writes its prices otherwise than when estimate {said.number} was made: in another currency, "
            "or tax was on top and is within them now. Charge these lines one by one."
        )
    last = job.charges.aggregate(last=Max("position"))["last"] or 0
    with spending.agreed(job):
        for position, line in enumerate(made, start=last + 1):
            line.job, line.position, line.by = job, position, by
            line.save(force_insert=True)
        _adds_up(job)
    timeline.write(
        job,
        by=by,
        words=f"charged what was agreed to in estimate {said.number}",
        after={"Charged": "; ".join(in_words(line, shop.currency) for line in made)},
    )
    return made


def in_words(line: Charge, currency: str) -> str:
    """A charge in one line: "EL34, matched pair: 2 × $39.20"."""
    if line.percent is not None:
        return f"{line.text}: {line.percent.normalize():f} % off"
    off = " off" if line.kind == LineKind.DISCOUNT else ""
    return f"{line.text}: {times(line)} × {format_amount(line.unit_price, currency)}{off}"


def _as_item(line: Charge, place: int) -> proposals.Item:
    """A charge as `intake.proposals` tells it from what was agreed: by the line it was made from, if from one.

    Charges by hand get keys below zero, each its own.
    """
    made_from = line.origin.removeprefix(_AGREED) if line.origin.startswith(_AGREED) else -1 - place
    return proposals.Item(
        kind=line.kind,
        text=line.text,
        quantity=line.quantity,
        unit_price=line.unit_price,
        unit=line.unit,
        percent=line.percent,
        key=int(made_from),
    )


# --- Mending -------------------------------------------------------------------------------------------------


@transaction.atomic
def change(
    line: Charge,
    *,
    kind: str,
    text: str,
    quantity: Decimal,
    unit_price: Decimal,
    by: Staff,
    revision: int,
    percent: Decimal | None = None,
    unit_cost: Decimal | None = None,
    under_warranty: bool = False,
) -> Charge:
    """Change a charge that no invoice has taken up.

    Raises:
        ChangedMeanwhile: somebody else changed it since `revision`.
        NotAllowedYet: it is on an invoice, or a discount takes off more than there is.
        AskFirst: it becomes more than the owner agreed to.
    """
    _fits(kind, percent, unit_cost, under_warranty)
    job = still_open(line.job)
    _not_invoiced(line)
    take_revision(line, revision)
    before = _said(line)
    line.kind, line.text, line.quantity, line.unit_price = kind, text, quantity, unit_price
    line.percent, line.unit_cost, line.under_warranty = percent, unit_cost, under_warranty
    line.unit = "h" if kind == LineKind.LABOUR else ""
    with spending.agreed(job):
        line.save()
        _adds_up(job)
    after = _said(line)
    if before != after:
        timeline.write(job, by=by, words="changed a charge", before=before, after=after)
    return line


@transaction.atomic
def strike(line: Charge, *, by: Staff) -> None:
    """Strike out a charge.

    Raises:
        NotAllowedYet: it is on an invoice, or the discounts would then take off more than there is.
        AskFirst: it is a discount, and without it there is more than the owner agreed to.
    """
    job = still_open(line.job)
    _not_invoiced(line)
    with spending.agreed(job):  # without a discount the rest costs more
        struck = mark(line, struck=True)
        _adds_up(job)
    if struck:
        timeline.write(job, by=by, words=f"struck out a charge: {line.text}")


@transaction.atomic
def put_back(line: Charge, *, by: Staff) -> None:
    """Undo a strike.

    Raises:
        NotAllowedYet: what it was for was charged again meanwhile.
        AskFirst: it is more than the owner agreed to.
    """
    job = still_open(line.job)
    if line.origin and Charge.objects.standing().filter(origin=line.origin).exclude(pk=line.pk).exists():
        raise NotAllowedYet("This was charged again meanwhile. Strike that charge out first.")
    with spending.agreed(job):
        back = mark(line, struck=False)
        _adds_up(job)
    if back:
        timeline.write(job, by=by, words=f"put back a charge: {line.text}")


def lines(charges: list[Charge]) -> list[Line]:
    """The charges as shop.money adds them up, without tax: that is the bill's business."""
    return [money_line(charge) for charge in charges]


def price_from_cost(cost: Decimal, shop: Shop) -> Decimal:
    """What a part is sold for that cost so much: the shop's mark-up on top."""
    return round_to(cost * (100 + shop.parts_markup) / 100, shop.currency)


def _fits(kind: str, percent: Decimal | None, unit_cost: Decimal | None, under_warranty: bool) -> None:
    """Hold that each kind of line says only what goes with it."""
    if percent is not None and kind != LineKind.DISCOUNT:
        raise NotAllowedYet("Only a discount is given in per cent.")
    if unit_cost is not None and kind != LineKind.PART:
        raise NotAllowedYet("Only a part has a cost. Leave that field empty.")
    if under_warranty and kind not in (LineKind.LABOUR, LineKind.PART):
        raise NotAllowedYet("Only labour and parts are done under warranty.")


def _adds_up(job: Job) -> None:
    """Hold that what stands can be billed: no discount beyond what there is, no sum beyond all reason."""
    standing = list(job.charges.to_invoice())
    try:
        bill = total(lines(standing), reading.shop_of(job).currency)
    except MoneyError as error:
        raise NotAllowedYet(str(error)) from error
    if bill.net >= LARGEST / 1000:  # the columns of a bill hold nine digits before the point
        raise NotAllowedYet("That is more than one bill can hold. Check the quantity and the price.")


def _not_invoiced(line: Charge) -> None:
    line.refresh_from_db()
    if line.invoice_id:
        raise NotAllowedYet("This charge is on an invoice, and stays as it is.")


def _said(line: Charge) -> dict[str, str]:
    quantity, currency = f"{line.quantity.normalize():f}", reading.shop_of(line.job).currency
    said = {
        "What for": line.text,
        "Kind": line.get_kind_display(),
        "Quantity": f"{quantity} {line.unit}".strip(),
        "Price each": format_amount(line.unit_price, currency),
    }
    if line.percent is not None:
        del said["Price each"], said["Quantity"]
        said["Takes off"] = f"{line.percent.normalize():f} %"
    if line.unit_cost is not None:
        said["Cost each"] = format_amount(line.unit_cost, currency)
    if line.under_warranty:
        said["Under warranty"] = "yes, at nothing"
    return said
