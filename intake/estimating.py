"""Estimates: a priced proposal, in numbered revisions, and the owner's word on it, recorded once."""

import datetime as dt
from collections.abc import Sequence
from decimal import Decimal

from django.db import transaction

from intake import billing
from intake.models import Answer, Estimate, EstimateLine, Job, Signature
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from shop.models import Staff
from shop.wording import day_words


def from_charges(job: Job) -> list[billing.Row]:
    """The charges so far as rows of a proposal: where an estimate begins."""
    return [
        billing.Row(line.kind, line.text, line.quantity, line.unit_price, line.unit)
        for line in billing.in_order(job.charges.standing())
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
    totals = billing.total_of(lines, shop, billing.today(shop))
    estimate = Estimate.objects.create(
        job=job,
        number=number + 1,
        words=words,
        valid_until=valid_until,
        by=by,
        currency=shop.currency,
        prices_include_tax=shop.prices_include_tax,
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
            position=position,
        )
        for position, line in enumerate(lines)
    )
    superseded = f", in the place of estimate {number}" if number else ""
    timeline.write(
        job,
        by=by,
        words=f"made estimate {estimate.number} for {billing.say(estimate.gross, shop.currency)}{superseded}",
    )
    return estimate


def as_text(estimate: Estimate) -> str:
    """The whole estimate as plain text: what the owner puts their name under."""

    def say(amount: Decimal) -> str:
        return billing.say(amount, estimate.currency)

    parts = [f"Estimate {estimate.number} for {estimate.job.gear}, claim number {estimate.job.claim}"]
    parts += [estimate.words] if estimate.words else []
    for line in estimate.lines.all():
        amount = billing.line_amount(line, estimate.currency)
        parts.append(f"{line.text}: {billing.times(line)} × {say(line.unit_price)} = {say(amount)}")
    parts += [f"{tax['name']} {tax['percent']} %: {say(Decimal(tax['tax']))}" for tax in estimate.taxes]
    parts.append(f"Total: {say(estimate.gross)}")
    parts.append(f"Valid until {day_words(estimate.valid_until)}")
    return "\n".join(parts)


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
    by: Staff,
    svg: str = "",
    device: str = "",
) -> Answer:
    """Record the owner's word on the latest estimate, once. The job itself stays where it is.

    `svg` is our own drawing of the strokes; it is empty where the name was typed at the counter.

    Raises:
        NotAllowedYet: it has an answer, a newer one took its place, or nobody is named.
    """
    job = billing.locked(estimate.job)
    estimate = Estimate.objects.select_related("job__gear").get(pk=estimate.pk)
    if why := why_not_answered(estimate):
        raise NotAllowedYet(why)
    if not who.strip():
        raise NotAllowedYet("Write down who gave the answer.")
    signature = None
    if how == Answer.How.SIGNED:
        verdict = "I agree. Go ahead." if yes else "I decline."
        signature = Signature.objects.create(
            purpose=Signature.Purpose.ANSWER,
            name=who,
            svg=svg,
            words=f"{as_text(estimate)}\n\n{verdict}",
            words_version=f"estimate {estimate.number}",
            device=device[:300],
        )
    kept = Answer.objects.create(
        estimate=estimate, yes=yes, how=how, who=who, words=words, by=by, signature=signature
    )
    late = " after its last day" if estimate.valid_until < billing.today(billing.the_shop()) else ""
    verb = "said go ahead to" if yes else "declined"
    how_said = kept.get_how_display().lower()
    timeline.write(
        job,
        by=by,
        words=f"recorded that {who} {verb} estimate {estimate.number}{late}, {how_said}",
        after={"In their words": words} if words else None,
    )
    return kept
