"""Estimates: a priced proposal, in numbered revisions, and the owner's word on it, recorded once."""

import datetime as dt
from collections.abc import Callable, Collection, Sequence
from decimal import Decimal
from typing import Any, Final

from django.db import transaction

from intake import billing, proposals, reading
from intake.models import Answer, Estimate, EstimateLine, Job, Signature
from intake.models.bills import LineKind
from shop import money, timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from shop.models import Shop, Staff
from shop.wording import day_words


def from_charges(job: Job) -> list[billing.Row]:
    """The charges so far as rows of a proposal: where an estimate begins."""
    return [
        billing.Row(line.kind, line.text, line.quantity, line.unit_price, line.unit, line.percent)
        for line in billing.in_order(job.charges.standing().filter(under_warranty=False))
    ]


def rows_of(estimate: Estimate) -> list[billing.Row]:
    """The lines of an estimate as rows of the next one."""
    return [
        billing.Row(
            line.kind,
            line.text,
            line.quantity,
            line.unit_price,
            line.unit,
            line.percent,
            line.optional,
        )
        for line in estimate.lines.all()
    ]


@transaction.atomic
def make_estimate(
    job: Job,
    *,
    lines: Sequence[billing.Row],
    words: str,
    valid_until: dt.date,
    by: Staff,
    after: int | None = None,
) -> Estimate:
    """Make the job's next estimate. It supersedes those before it; what it comes to is kept as it is today.

    `after` is the number of the latest estimate that the person saw, 0 for none; left out, it isn't checked.

    Raises:
        CantBill: nothing to propose, too many lines, or figures that make no bill.
        ChangedMeanwhile: somebody else made one since.
        NotAllowedYet: the gear is gone, or the last day has passed.
    """
    job, shop = billing.locked(job), billing.the_shop()
    if job.is_over:
        raise NotAllowedYet("This gear has left the shop. An estimate is for gear that is here.")
    latest = job.estimates.first()
    number = latest.number if latest else 0
    if after is not None and after != number:
        raise ChangedMeanwhile(
            f"Estimate {number} was made by {latest.by} while you wrote this one. Look at it; "
            "send yours again if it is to take its place.",
            revision=number,
        )
    if not lines:
        raise billing.CantBill("There is nothing to propose yet. Write at least one line.")
    if len(lines) > billing.MOST_LINES:
        raise billing.CantBill(f"An estimate has at most {billing.MOST_LINES} lines. Put some together.")
    if valid_until < billing.today(shop):
        raise NotAllowedYet("The last day of an estimate can't have passed. Choose a later one.")
    taxes = _checked(lines, job, shop)
    totals = _total([line for line in lines if not line.optional], job, shop)
    estimate = Estimate.objects.create(
        job=job,
        number=number + 1,
        words=words,
        valid_until=valid_until,
        by=by,
        currency=shop.currency,
        prices_include_tax=shop.prices_include_tax,
        tax_rounding=shop.tax_rounding,
        net=totals.net,
        taxes=billing.taxes_as_kept(totals),
        gross=totals.gross,
    )
    EstimateLine.objects.bulk_create(
        EstimateLine(
            estimate=estimate,
            kind=line.kind,
            text=line.text,
            quantity=line.quantity,
            unit=line.unit,
            unit_price=line.unit_price,
            percent=line.percent,
            optional=line.optional,
            taxes=[{"name": tax.name, "percent": f"{tax.percent.normalize():f}"} for tax in falls_on],
            position=position,
        )
        for position, (line, falls_on) in enumerate(zip(lines, taxes, strict=True))
    )
    superseded = f", in the place of estimate {number}" if number else ""
    timeline.write(
        job,
        by=by,
        words=f"made estimate {estimate.number} for {billing.say(estimate.gross, shop.currency)}{superseded}",
    )
    return estimate


def _checked(lines: Sequence[billing.Row], job: Job, shop: Shop) -> list[tuple[money.TaxShare, ...]]:
    """The taxes that fall on each line. Whatever the owner takes or leaves must add up.

    Raises:
        CantBill: an option that is a discount; a discount beyond the fixed lines; more than can be billed.
    """
    if any(line.optional and line.kind == LineKind.DISCOUNT for line in lines):
        raise billing.CantBill("A discount is for all that is done: it can't be an option to take or leave.")
    return [line.line.taxes for line in _total(lines, job, shop).lines]


def _total(lines: Sequence[billing.Row], job: Job, shop: Shop) -> money.Totals:
    exempt = billing.is_exempt(job.person)
    return billing.total_of(lines, shop, billing.today(shop), exempt=exempt)


# --- What it says --------------------------------------------------------------------------------------------


def items(estimate: Estimate) -> list[proposals.Item]:
    """The lines of an estimate as `intake.proposals` compares and adds them up."""
    return [
        proposals.Item(
            kind=line.kind,
            text=line.text,
            quantity=line.quantity,
            unit_price=line.unit_price,
            unit=line.unit,
            percent=line.percent,
            optional=line.optional,
            taxes=tuple(money.TaxShare(tax["name"], Decimal(tax["percent"])) for tax in line.taxes),
            key=line.pk,
        )
        for line in estimate.lines.all()
    ]


def prices(estimate: Estimate) -> proposals.Prices:
    return proposals.Prices(estimate.currency, estimate.prices_include_tax, estimate.tax_rounding)


def options(estimate: Estimate) -> list[proposals.Option]:
    """What the owner may take or leave, and what each adds, tax included."""
    return proposals.options(items(estimate), prices(estimate))


def agreed_with(estimate: Estimate, taken: Collection[int] = ()) -> Decimal:
    """What it comes to with these options, tax included, at the taxes of the day on which it was made."""
    if not taken:
        return estimate.gross
    return proposals.total(items(estimate), prices(estimate), taken).gross


def agreed_to(job: Job) -> Estimate | None:
    """The estimate that counts: the latest to which the owner said go ahead. A later no takes nothing back of it."""
    return next((e for e in reading.estimates(job) if hasattr(e, "answer") and e.answer.yes), None)


def agreed_items(estimate: Estimate) -> list[proposals.Item]:
    """The lines that were agreed to: the fixed ones, and the options that were taken."""
    return [item for item in items(estimate) if not item.optional or item.key in estimate.answer.taken]


def before(estimate: Estimate) -> Estimate | None:
    """The estimate whose place this one took."""
    return estimate.job.estimates.filter(number=estimate.number - 1).prefetch_related("lines").first()


def changes_said(before: Estimate, after: Estimate) -> list[dict[str, Any]]:
    """What changed from one estimate to the next, as pages and papers say it.

    Each change has `what` (added, gone, changed), the `text` of its line, and `rows` of (label, before, after).
    """
    said = []
    for change in proposals.changes(items(before), items(after)):
        if change.before is None or change.after is None:
            line = change.after or change.before
            what, rows = ("added" if change.before is None else "gone"), []
            worth = _price(line, after.currency)
            if line.percent is None:
                off = " off" if line.kind == LineKind.DISCOUNT else ""
                worth = f"{billing.times(line)} × {worth}{off}"
            said.append({"what": what, "text": line.text, "worth": worth, "rows": rows})
            continue
        rows = [
            (label, tell(change.before, before.currency), tell(change.after, after.currency))
            for label, names, tell in _TOLD
            if set(names) & set(change.fields)
        ]
        said.append({"what": "changed", "text": change.after.text, "worth": "", "rows": rows})
    return said


def _price(line: proposals.Item, currency: str) -> str:
    return (
        f"{line.percent.normalize():f} %"
        if line.percent is not None
        else billing.say(line.unit_price, currency)
    )


_TOLD: Final = (
    ("Words", ("text",), lambda line, currency: line.text),
    ("How many", ("quantity", "unit"), lambda line, currency: billing.times(line)),
    ("Price each", ("unit_price", "percent"), _price),
    ("Option", ("optional",), lambda line, currency: "to take or leave" if line.optional else "fixed"),
)


def as_text(estimate: Estimate, taken: Collection[int] | None = None) -> str:
    """The whole estimate as plain text: what the owner puts their name under.

    `taken` are the keys of the options they take; None where they decline, and options are no question.
    """

    def say(amount: Decimal) -> str:
        return billing.say(amount, estimate.currency)

    parts = [f"Estimate {estimate.number} for {estimate.job.gear}, claim number {estimate.job.claim}"]
    parts += [estimate.words] if estimate.words else []
    lines = items(estimate)
    fixed = proposals.total(lines, prices(estimate))
    for line in fixed.lines:
        parts.append(f"{line.line.text}: {_worked_out(line, say)}{say(line.amount)}")
    parts += [f"{tax['name']} {tax['percent']} %: {say(Decimal(tax['tax']))}" for tax in estimate.taxes]
    parts.append(f"Total: {say(estimate.gross)}")
    for option in options(estimate):
        chosen = "" if taken is None else "Taken: " if option.item.key in taken else "Left: "
        parts.append(f"{chosen or 'Option: '}{option.item.text}, {say(option.adds)} more with tax")
    if taken:
        parts.append(f"Total with what is taken: {say(agreed_with(estimate, taken))}")
    parts.append(f"Valid until {day_words(estimate.valid_until)}")
    return "\n".join(parts)


def _worked_out(line: money.LineSum, say: Callable[[Decimal], str]) -> str:
    """How a line's amount came about: "2 × $39.20 = ". A discount in per cent says how much of it."""
    if line.line.percent is not None:
        return f"{line.line.percent.normalize():f} % off = "
    return f"{line.line.quantity.normalize():f} × {say(line.line.unit_price)} = "


def why_not_answered(estimate: Estimate) -> str | None:
    """Why this estimate takes no answer: the sentence, or None."""
    if hasattr(estimate, "answer"):
        return "This estimate has its answer. Make a new one, then record the answer to that."
    latest = estimate.job.estimates.first()
    if latest is not None and latest.pk != estimate.pk:
        return f"Estimate {latest.number} has taken its place. Record the answer to that one."
    if estimate.job.is_over:
        return "This gear has left the shop."
    return None


@transaction.atomic
def answer(
    estimate: Estimate,
    *,
    yes: bool,
    how: str,
    who: str,
    words: str = "",
    taken: Collection[int] = (),
    seen: Decimal | None = None,
    by: Staff,
    svg: str = "",
    device: str = "",
) -> Answer:
    """Record the owner's word on the latest estimate, once. The job itself stays where it is.

    `taken` are the keys of the optional lines that they take; a no takes none. `seen` is the sum that stood
    on the glass while they signed. `svg` is our own drawing of the strokes; it is empty where the name was
    typed at the counter.

    Raises:
        NotAllowedYet: it has an answer, a newer one took its place, nobody is named, or there is no such
        option.
        ChangedMeanwhile: with these options it comes to another sum than stood on the glass.
    """
    job = billing.locked(estimate.job)
    estimate = Estimate.objects.select_related("job__gear").get(pk=estimate.pk)
    if why := why_not_answered(estimate):
        raise NotAllowedYet(why)
    if not who.strip():
        raise NotAllowedYet("Write down who gave the answer.")
    taken = sorted(set(taken)) if yes else []
    if not set(taken) <= {line.key for line in items(estimate) if line.optional}:
        raise NotAllowedYet("There is no such option on this estimate. Load the page again, then choose.")
    if yes and not taken and not estimate.lines.filter(optional=False).exists():
        raise NotAllowedYet("Nothing is taken. Take at least one option, or write down a no.")
    agreed = agreed_with(estimate, taken) if yes else Decimal(0)
    if yes and seen is not None and seen != agreed:
        raise ChangedMeanwhile(
            f"With these options it comes to {billing.say(agreed, estimate.currency)}. Read it, then sign."
        )
    signature = None
    if how == Answer.How.SIGNED:
        verdict = "I agree. Go ahead." if yes else "I decline."
        signature = Signature.objects.create(
            purpose=Signature.Purpose.ANSWER,
            name=who,
            svg=svg,
            words=f"{as_text(estimate, taken if yes else None)}\n\n{verdict}",
            words_version=f"estimate {estimate.number}",
            device=device[:300],
        )
    kept = Answer.objects.create(
        estimate=estimate,
        yes=yes,
        taken=taken,
        agreed=agreed,
        how=how,
        who=who,
        words=words,
        by=by,
        signature=signature,
    )
    late = " after its last day" if estimate.valid_until < billing.today(billing.the_shop()) else ""
    verb = "said go ahead to" if yes else "declined"
    timeline.write(
        job,
        by=by,
        words=f"recorded that {who} {verb} estimate {estimate.number}{late}, {kept.how_words}",
        after={**_choice(estimate, kept), "In their words": words},
    )
    return kept


def _choice(estimate: Estimate, kept: Answer) -> dict[str, str]:
    """What was taken and left, for the timeline; nothing where there was nothing to choose."""
    offered = options(estimate) if kept.yes else []
    if not offered:
        return {}
    return {
        "Taken": "; ".join(o.item.text for o in offered if o.item.key in kept.taken),
        "Left": "; ".join(o.item.text for o in offered if o.item.key not in kept.taken),
        "Agreed to": billing.say(kept.agreed, estimate.currency),
    }
