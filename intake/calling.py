"""The call list: whose owner has to be phoned today, why, and what to say.

A call is due where an estimate waits for its answer (or its last day passed without one), where gear is ready
and nobody said so, and where work goes on with nothing left of what was agreed to. One job, one call: what
holds the shop up most comes first. The list costs a fixed number of queries.
"""

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Final

from django.db.models import QuerySet

from intake import estimating, pickup, reading, spending
from intake.models import Estimate, Job, State
from intake.proposals import Option
from intake.spending import Allowance
from shop import money
from shop.models import Shop
from shop.wording import claim_groups, day_words

AT_WORK: Final = (
    State.IN_LINE,
    State.ON_THE_BENCH,
    State.PARTS_ON_ORDER,
    State.SOAK_TEST,
    State.OWNER_TO_DECIDE,
)
NEARLY: Final = Decimal("0.1")  # of a spend limit: with less than that left, ask before going on


class Why(StrEnum):
    """Why an owner is phoned. The order is that of the list."""

    OVER = "over"
    EXPIRED = "expired"
    ANSWER = "answer"
    LIMIT = "limit"
    READY = "ready"

    @property
    def heading(self) -> str:
        return _HEADINGS[self]


_HEADINGS: Final = {
    Why.OVER: "More is charged than was agreed to",
    Why.EXPIRED: "The estimate’s last day has passed without an answer",
    Why.ANSWER: "We wait for an answer",
    Why.LIMIT: "The spend limit is nearly used up",
    Why.READY: "Ready, and not told",
}


@dataclass(frozen=True)
class Call:
    """A call that is due: whom, why, since when, and what is known for it."""

    job: Job
    why: Why
    since: dt.datetime
    estimate: Estimate | None = None
    allowance: Allowance | None = None


def due(*, today: dt.date, shop: Shop, jobs: Iterable[Job] | None = None) -> list[Call]:
    """All calls that are due: by reason, then whoever waits longest.

    `jobs` are all that are in the house, with their ready notices, where somebody read them already.
    """
    jobs = list(_in_the_house() if jobs is None else jobs)
    reading.agreed(jobs, shop=shop)
    asked = [job for job in jobs if job.state in AT_WORK or _word_due(job) or _untold(job)]
    said = spending.allowances(asked, leave_out_broken=True)
    calls = [call for job in asked if (call := _call(job, said.get(job.pk), today=today))]
    places = list(Why)
    return sorted(calls, key=lambda call: (places.index(call.why), call.since, call.job.pk))


def _in_the_house() -> QuerySet[Job]:
    jobs = Job.objects.in_the_house().with_card().select_related("visit__terms")
    return jobs.prefetch_related("person__phones", "ready_notices")


def _word_due(job: Job) -> Estimate | None:
    """The latest estimate of a job, where its owner has to say something to it."""
    latest = reading.latest_estimate(job)
    return latest if latest and not job.declined and not hasattr(latest, "answer") else None


def _untold(job: Job) -> bool:
    return job.state == State.READY and pickup.first_told(job) is None


def _call(job: Job, said: Allowance | None, *, today: dt.date) -> Call | None:
    """The call that is due on a job, if one is."""
    if estimate := _word_due(job):
        why = Why.ANSWER if estimate.valid_until >= today else Why.EXPIRED
        return Call(job, why, estimate.at, estimate=estimate, allowance=said)
    if _untold(job):
        return Call(job, Why.READY, job.state_since, allowance=said)
    why = _money_reason(said) if job.state in AT_WORK else None
    return Call(job, why, job.state_since, allowance=said) if why else None


def _money_reason(said: Allowance | None) -> Why | None:
    if said is None:
        return None
    if said.over:
        return Why.OVER
    if said.by_limit and said.limit and said.left < said.limit * NEARLY:
        return Why.LIMIT
    return None


# --- What to say -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Known:
    """What a script is composed from, in words and figures."""

    shop: str
    caller: str
    person: str
    gear: str
    claim: str
    currency: str
    words: str = ""
    total: Decimal = Decimal(0)
    options: tuple[Option, ...] = ()
    valid_until: dt.date | None = None
    fee: Decimal = Decimal(0)
    charged: Decimal = Decimal(0)
    most: Decimal = Decimal(0)
    free_days: int = 0
    owed: Decimal | None = None  # of invoices; None where none is issued yet


def script(why: Why, known: Known) -> list[str]:
    """What to say, sentence by sentence. Pure: only what is on the record, and nothing that isn't."""

    def say(amount: Decimal) -> str:
        return money.format_amount(amount, known.currency)

    claim = " ".join(claim_groups(known.claim))
    hello = (
        f"This is {known.caller} from {known.shop}, for {known.person}. "
        f"It is about your {known.gear}, claim number {claim}."
    )
    if why in (Why.ANSWER, Why.EXPIRED):
        return [hello, *_ask(why, known, say)]
    if why == Why.OVER:
        return [
            hello,
            f"The work comes to {say(known.charged)} so far, tax included. You had agreed to {say(known.most)}.",
            "May we charge that, or shall we talk about what to leave out?",
        ]
    if why == Why.LIMIT:
        return [
            hello,
            f"You told us to go ahead up to {say(known.most)}. With tax it has come to {say(known.charged)}, "
            "and there is more to do.",
            "May we send you an estimate for the rest, or shall we stop there?",
        ]
    ready = [hello, "It is ready to be collected."]
    if known.owed:
        ready.append(f"There is {say(known.owed)} to pay.")
    if known.free_days:
        ready.append(f"We keep it free of charge for {known.free_days} days from today.")
    return [*ready, "When will you come for it?"]


def _ask(why: Why, known: Known, say: Callable[[Decimal], str]) -> list[str]:
    said = [f"We have looked at it. {' '.join(known.words.split())}".strip()]
    said.append(f"The repair comes to {say(known.total)}, tax included.")
    said += [
        f"If you like, there is also “{option.item.text}” for {say(option.adds)} more. Shall we do that?"
        for option in known.options
    ]
    if why == Why.EXPIRED:
        said.append(
            f"The price was good until {day_words(known.valid_until)}. If you say yes now, it still holds."
        )
    else:
        said.append(f"The price is good until {day_words(known.valid_until)}.")
    said.append("Shall we go ahead, or leave it?")
    if known.fee:
        said.append(f"If you leave it, there is the diagnosis fee of {say(known.fee)} to pay.")
    return said


def known_for(call: Call, *, caller: str, shop: Shop, owed: Decimal | None) -> Known:
    """What is known for a call. `owed` is what its invoices leave to pay; None where there is none."""
    estimate, said, job = call.estimate, call.allowance, call.job
    return Known(
        shop=shop.name,
        caller=caller,
        person=str(job.person),
        gear=str(job.gear),
        claim=job.claim,
        currency=estimate.currency if estimate else shop.currency,
        words=estimate.words if estimate else "",
        total=estimate.gross if estimate else Decimal(0),
        options=tuple(estimating.options(estimate)) if estimate else (),
        valid_until=estimate.valid_until if estimate else None,
        fee=said.fee if said and not job.comeback_of_id else Decimal(0),
        charged=said.charged if said else Decimal(0),
        most=said.most if said else Decimal(0),
        free_days=job.visit.terms.free_days if call.why == Why.READY else 0,
        owed=owed,
    )
