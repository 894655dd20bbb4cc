"""What a job's page shows, section by section. Each section asks the database a fixed number of times.

A section's name is the id of its element, the `partialdef` in `intake/job.html`, and the anchor to come back
to.
"""

from collections.abc import Callable
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.urls import reverse

from intake import charges as charging
from intake import claims, comebacks, reading, workflow
from intake import labour as labouring
from intake.billing import line_amount
from intake.forms_bench import (
    ChargeLabourForm,
    NewChargeForm,
    NewFindingForm,
    NoteForm,
    PhotoForm,
    PlainFindingsForm,
    StartForm,
    StopForm,
    WriteDownForm,
)
from intake.models import Job, Phone, State
from intake.models.bills import LineKind
from shop import sockets, timeline
from shop.http import Request, go_to, page_or_part, wants_part
from shop.money import MoneyError, total

TIMELINE_PAGE = 10
EARLIER_VISITS = 5
_HISTORY = ("was_dropped", "was_wet", "was_opened", "was_repaired", "smelled")


def find(claim: str) -> Job:
    """The job of a claim number, with what its head shows.

    Raises:
        Http404: there is none.
    """
    jobs = Job.objects.with_card().select_related(
        "visit__taken_in_by", "visit__signature", "visit__terms", "comeback_of", "let_go"
    )
    try:
        job = jobs.filter(claim=claims.read(claim)).first()
    except (claims.ClaimMistyped, claims.NotAClaim) as slip:
        raise Http404(str(slip)) from slip
    if job is None:
        raise Http404("There is no job with that claim number.")
    return job


def state(request: Request, job: Job) -> dict[str, Any]:
    """The tag, where it may go from here, and what keeps it back."""
    back = workflow.came_from(job)
    moves = [
        {
            "to": to,
            "label": f"Back to {to.label}" if to == back else to.label.capitalize(),
            "why_not": workflow.held_back(job, to, request.user),
        }
        for to in workflow.one_tap_moves(job)
    ]
    ahead = workflow.NEXT[State(job.state)]
    elsewhere = {"as_is": State.GOING_HOME_AS_IS in ahead, "pickup": State.COLLECTED in ahead}
    return {"moves": moves, "elsewhere": elsewhere, "refusal": ""}


def facts(request: Request, job: Job) -> dict[str, Any]:
    """Who it is for, what it is, what they said, and its earlier visits."""
    earlier = job.gear.jobs.exclude(pk=job.pk).prefetch_related("findings").order_by("-pk")
    return {
        "phones": [{"phone": phone, "href": _dial(phone)} for phone in job.person.phones.all()],
        "history": [Job._meta.get_field(name).verbose_name for name in _HISTORY if getattr(job, name)],
        "pieces": job.pieces.all(),
        "earlier": [
            {"job": past, "findings": [f for f in past.findings.all() if not f.struck_at]}
            for past in earlier[:EARLIER_VISITS]
        ],
    }


def _dial(phone: Phone) -> str:
    """The address that a phone dials (RFC 3966): digits, with the plus of a number abroad."""
    return f"tel:{'+' if phone.number.strip().startswith('+') else ''}{phone.digits}"


def notes(request: Request, job: Job) -> dict[str, Any]:
    return {"notes": job.notes.select_related("by"), "note_form": NoteForm(auto_id="note-%s")}


def findings(request: Request, job: Job) -> dict[str, Any]:
    rows = list(job.findings.select_related("by"))
    return {
        "findings": [f for f in rows if not f.struck_at],
        "struck_findings": [f for f in rows if f.struck_at],
        "finding_form": NewFindingForm(auto_id="finding-%s"),
        "plain_form": PlainFindingsForm.opened_on(
            job, job.revision, request.shop.currency, auto_id="plain-%s"
        ),
    }


def photos(request: Request, job: Job) -> dict[str, Any]:
    rows = list(job.photos.select_related("by"))
    return {
        "photos": [p for p in rows if not p.struck_at],
        "struck_photos": [p for p in rows if p.struck_at],
        "photo_form": PhotoForm(auto_id="photo-%s"),
    }


def labour(request: Request, job: Job) -> dict[str, Any]:
    """The spells, who works on it now, and this person's own timer, wherever it runs."""
    spells = list(job.labour.select_related("who"))
    charged = {charge.origin for charge in reading.standing(job)}
    done = [s for s in spells if s.ended and not s.struck_at]
    return {
        "my_spell": labouring.running(request.user),
        "others_running": [s for s in spells if not s.ended and s.who_id != request.user.pk],
        "spells": [
            {
                "spell": s,
                "charged": labouring.origin(s) in charged,
                "form": None if labouring.origin(s) in charged else ChargeLabourForm.for_spell(s),
                "too_long": s.minutes > 12 * 60,
            }
            for s in done
        ],
        "struck_spells": [s for s in spells if s.struck_at],
        "minutes_together": sum(s.minutes for s in done),
        "at_nothing": LineKind.LABOUR in comebacks.covered_kinds(job),
        "stop_form": StopForm(auto_id="stop-%s"),
        "start_form": StartForm(auto_id="start-%s"),
        "down_form": WriteDownForm(auto_id="down-%s"),
    }


def charges(request: Request, job: Job) -> dict[str, Any]:
    rows, standing = reading.charges(job), reading.standing(job)
    currency = request.shop.currency
    try:
        bill = total(charging.lines(standing), currency)
        together, amounts = bill.net, [line.amount for line in bill.lines]
    except MoneyError:  # more taken off than there is: the lines still show, and whoever changes them is told
        together, amounts = None, [line_amount(c, currency) for c in standing]
    return {
        "charges": [
            {"charge": c, "quantity": f"{c.quantity.normalize():f} {c.unit}".strip(), "amount": amount}
            for c, amount in zip(standing, amounts, strict=True)
        ],
        "struck_charges": [c for c in rows if c.struck_at],
        "charges_together": together,
        "charge_form": NewChargeForm(
            currency=currency,
            auto_id="charge-%s",
            initial={"under_warranty": LineKind.PART in comebacks.covered_kinds(job)},
        ),
    }


def past(request: Request, job: Job) -> dict[str, Any]:
    """A page of the timeline, newest first."""
    pages = Paginator(timeline.of(job), TIMELINE_PAGE)
    return {"timeline_page": pages.get_page(request.GET.get("page"))}


SECTIONS: dict[str, Callable[[Request, Job], dict[str, Any]]] = {
    "state": state,
    "notes": notes,
    "findings": findings,
    "photos": photos,
    "labour": labour,
    "charges": charges,
    "timeline": past,
}


def show(request: Request, job: Job, *, part: str, status: int = 200, **more: Any) -> HttpResponse:
    """Answer with the job's page, or with one section of it.

    `more` takes the place of what the section would show.
    """
    if wants_part(request):
        context = SECTIONS[part](request, job)
    else:
        reading.whole(job, shop=request.shop)
        context = facts(request, job)
        for section in SECTIONS.values():
            context |= section(request, job)
        context["bench_panels"] = sockets.panels_for("job bench", request, job)
        context["panels"] = sockets.panels_for("job", request, job)
    return page_or_part(request, "intake/job.html", {"job": job, **context, **more}, part=part, status=status)


def kept(request: Request, job: Job, *, part: str) -> HttpResponse:
    """Answer after something was kept: the section anew, or back to it on the page.

    The timeline hears of it.
    """
    if not wants_part(request):
        return go_to(request, f"{reverse('job', args=[job.claim])}#{part}")
    response = show(request, job, part=part)
    response["HX-Trigger"] = "job-changed"
    return response
