"""Credit notes: what an invoice charged is taken back, whole or in part. The invoice itself stays as it is.

A credit note has a number of its own series, without gaps. Its sums are positive and take off the account what
the invoice put on it. Each line gives back its part of what was left of it after the discounts, with the tax
that the invoice charged on that; when the last piece is credited, the credit notes have given back the invoice
to the cent.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from django.db import transaction
from django.db.models import Max, Sum

from intake import billing
from intake.billing import CantBill, Left, say
from intake.models import Charge, Invoice, InvoiceLine
from intake.models.bills import LineKind
from shop import money, timeline
from shop.errors import ChangedMeanwhile
from shop.models import Staff

SERIES: Final = "CR"
FEE_REASON: Final = "The diagnosis fee is taken off the bill of the repair."


@dataclass(frozen=True)
class Creditable:
    """A line of an invoice, and how much of it can still be credited."""

    line: InvoiceLine
    left: Left  # of all of it, after its share of the discounts
    credited: Decimal  # how many of it are credited already

    @property
    def quantity(self) -> Decimal:
        return self.line.quantity - self.credited

    def part(self, quantity: Decimal, currency: str) -> Left:
        """What so many more of it come to.

        Raises:
            MoneyError: there are not so many left.
        """

        def of(whole: Decimal) -> Decimal:
            return money.part_of(whole, quantity, self.line.quantity, before=self.credited, currency=currency)

        return Left(of(self.left.net), tuple((share, of(tax)) for share, tax in self.left.taxes))


def creditable(invoice: Invoice) -> list[Creditable]:
    """The lines of an invoice that were charged for, and what of each isn't credited yet.

    Discounts are no lines to be credited: each of the others has its share of them off already.
    """
    lines = [line for line in invoice.lines.all() if line.kind != LineKind.DISCOUNT]
    left = billing.left_of(invoice)
    gone = dict(
        InvoiceLine.objects.filter(of_line__in=[line.pk for line in lines])
        .order_by()
        .values_list("of_line")
        .annotate(Sum("quantity"))
    )
    return [
        Creditable(line, left[line.pk], Decimal(gone.get(line.pk, 0)))
        for line in lines
        if left[line.pk].gross
    ]


def all_of(invoice: Invoice) -> dict[int, Decimal]:
    """What crediting all that is left of an invoice takes: the key of each line, and how many of it."""
    return {each.line.pk: each.quantity for each in creditable(invoice) if each.quantity > 0}


@transaction.atomic
def credit(
    invoice: Invoice,
    *,
    taken: Mapping[int, Decimal],
    reason: str,
    by: Staff,
    charge_again: bool = False,
    on: dt.date | None = None,
    seen: Decimal | None = None,
) -> Invoice:
    """Issue a credit note over lines of an invoice, under the next number. It is never changed after.

    `taken` says how many of which line (by its key); `charge_again` puts what is credited on the job once more,
    as new charges that the next invoice takes up; `seen` is the sum that was on the screen.

    Raises:
        CantBill: nothing is credited, more than was invoiced and isn't credited yet, or no reason.
        ChangedMeanwhile: it comes to another sum than was seen.
    """
    shop = billing.the_shop()
    if invoice.job_id is not None:
        billing.locked(invoice.job)
    invoice = (
        Invoice.objects.select_for_update(of=("self",)).select_related("job", "person").get(pk=invoice.pk)
    )
    if invoice.kind != Invoice.Kind.INVOICE:
        raise CantBill("This is a credit note. Only an invoice can be credited.")
    if not reason.strip():
        raise CantBill("Write down why it is credited.")
    if charge_again and invoice.job is None:
        raise CantBill("What was sold over the counter has no job to charge it on. Sell it anew.")
    parts = _parts(invoice, taken)
    if seen is not None and seen != sum((part.gross for _, _, part in parts), Decimal(0)):
        raise ChangedMeanwhile("This invoice was credited meanwhile. Look at what is left of it.")
    note = _write(invoice, parts, reason=reason.strip(), by=by, on=on or billing.today(shop))
    if charge_again:
        _charge_again(invoice, parts, by)
    timeline.write(
        invoice.job or invoice,
        by=by,
        words=f"credited {say(note.gross, note.currency)} of invoice {invoice.label} by {note.label}",
        after={
            "Why": note.reason,
            "Charged anew": "; ".join(each.line.text for each, _, _ in parts) if charge_again else "",
        },
    )
    return note


@transaction.atomic
def credit_fee(line: InvoiceLine, *, by: Staff, on: dt.date | None = None) -> Invoice:
    """Credit the diagnosis fee that an invoice charged, because the gear is repaired after all."""
    return credit(line.invoice, taken={line.pk: line.quantity}, reason=FEE_REASON, by=by, on=on)


def _parts(invoice: Invoice, taken: Mapping[int, Decimal]) -> list[tuple[Creditable, Decimal, Left]]:
    """What is credited of each line, in the order of the invoice."""
    there_is = {each.line.pk: each for each in creditable(invoice)}
    wanted = {key: Decimal(quantity) for key, quantity in taken.items() if quantity}
    if not wanted:
        raise CantBill("Say what is credited: at least one line.")
    if unknown := set(wanted) - set(there_is):
        raise CantBill(f"Line {min(unknown)} isn't one of this invoice that can be credited.")
    parts = []
    for key, each in there_is.items():
        quantity = wanted.get(key)
        if quantity is None:
            continue
        if not 0 < quantity <= each.quantity:
            left = f"{each.quantity.normalize():f}"
            raise CantBill(
                f"Of “{each.line.text}” {left} can still be credited."
                if each.quantity
                else f"“{each.line.text}” is credited already."
            )
        parts.append((each, quantity, each.part(quantity, invoice.currency)))
    return parts


def _write(
    invoice: Invoice, parts: list[tuple[Creditable, Decimal, Left]], *, reason: str, by: Staff, on: dt.date
) -> Invoice:
    taxes: dict[money.TaxShare, tuple[Decimal, Decimal]] = {}
    for _, _, part in parts:
        for share, tax in part.taxes:
            base, so_far = taxes.get(share, (Decimal(0), Decimal(0)))
            taxes[share] = (base + part.net, so_far + tax)
    note = Invoice.objects.create(
        kind=Invoice.Kind.CREDIT_NOTE,
        series=SERIES,
        number=billing.number_in(SERIES),
        credits=invoice,
        reason=reason,
        job=invoice.job,
        person=invoice.person,
        exempt_number=invoice.exempt_number,
        issued_on=on,
        by=by,
        seller=invoice.seller,
        buyer=invoice.buyer,
        what=invoice.what,
        currency=invoice.currency,
        prices_include_tax=invoice.prices_include_tax,
        net=sum((part.net for _, _, part in parts), Decimal(0)),
        taxes=[
            {"name": share.name, "percent": _percent(share), "base": str(base), "tax": str(tax)}
            for share, (base, tax) in sorted(taxes.items(), key=lambda t: (t[0].name, t[0].percent))
        ],
        gross=sum((part.gross for _, _, part in parts), Decimal(0)),
    )
    InvoiceLine.objects.bulk_create(
        InvoiceLine(
            invoice=note,
            of_line=each.line,
            kind=each.line.kind,
            text=each.line.text,
            quantity=quantity,
            unit=each.line.unit,
            unit_price=each.line.unit_price,
            unit_cost=each.line.unit_cost,
            amount=part.gross if invoice.prices_include_tax else part.net,
            tax_percents=each.line.tax_percents,
            net=part.net,
            taxes=[
                {"name": share.name, "percent": _percent(share), "tax": str(tax)} for share, tax in part.taxes
            ],
            position=position,
        )
        for position, (each, quantity, part) in enumerate(parts)
    )
    return note


def _percent(share: money.TaxShare) -> str:
    return f"{share.percent.normalize():f}"


def _charge_again(invoice: Invoice, parts: list[tuple[Creditable, Decimal, Left]], by: Staff) -> None:
    """Put what was credited on the job once more, at its full price: new lines, that no invoice has yet."""
    last = invoice.job.charges.aggregate(last=Max("position"))["last"] or 0
    for place, (each, quantity, _) in enumerate(parts, start=last + 1):
        Charge.objects.create(
            job=invoice.job,
            kind=each.line.kind,
            text=each.line.text,
            quantity=quantity,
            unit=each.line.unit,
            unit_price=each.line.unit_price,
            unit_cost=each.line.unit_cost,
            position=place,
            by=by,
        )
