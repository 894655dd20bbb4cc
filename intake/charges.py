"""Charges: what a job costs so far, line by line, until an invoice takes them up."""

from decimal import Decimal

from django.db import transaction
from django.db.models import Max

from intake import comebacks, labour, spending
from intake.billing import money_line
from intake.models import Charge, Job, LabourSpell
from intake.models.bills import LineKind
from intake.work import mark, take_revision
from intake.workflow import still_open
from shop import timeline
from shop.errors import NotAllowedYet
from shop.models import Shop, Staff
from shop.money import LARGEST, Line, MoneyError, format_amount, round_to, total


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
    job = still_open(job)
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
        bill = total(lines(standing), Shop.current().currency)
    except MoneyError as error:
        raise NotAllowedYet(str(error)) from error
    if bill.net >= LARGEST / 1000:  # the columns of a bill hold nine digits before the point
        raise NotAllowedYet("That is more than one bill can hold. Check the quantity and the price.")


def _not_invoiced(line: Charge) -> None:
    line.refresh_from_db()
    if line.invoice_id:
        raise NotAllowedYet("This charge is on an invoice, and stays as it is.")


def _said(line: Charge) -> dict[str, str]:
    quantity, currency = f"{line.quantity.normalize():f}", Shop.current().currency
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
