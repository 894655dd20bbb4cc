"""Estimates and the owner's answers, over HTTP."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, Final
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from intake import billing, estimating, proposals, reading, spending
from intake.billing import MOST_LINES
from intake.forms_estimates import AnswerForm, EstimateForm, SignForm, rows_formset, typed_rows
from intake.models import Answer, Estimate, Job
from intake.signatures import picture_of
from intake.views_money import job_with_card, paper_address, shown_lines, taxes_shown
from shop import doors, papers
from shop.access import allowed, on_a_lent_tablet
from shop.errors import ChangedMeanwhile, NotAllowedYet, Refused
from shop.http import Request, go_to, page_or_part, wants_part
from shop.once import once

ASKED: Final = ("kind", "text", "quantity", "unit_price", "percent")  # of a charge that was refused


# --- A new one -------------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@allowed("charge jobs")
@once
def estimate_new(request: Request, claim: str) -> HttpResponse:
    job = job_with_card(claim)
    if request.method == "GET":
        return _estimate_form(request, job, *_first_estimate_form(request, job))
    form = EstimateForm(request.POST)
    rows = rows_formset(request.shop, request.POST)
    if not (form.is_valid() & rows.is_valid()):
        return _estimate_form(request, job, form, rows, status=422)
    try:
        made = estimating.make_estimate(job, lines=rows.written(), by=request.user, **form.cleaned_data)
    except ChangedMeanwhile as why:
        form = EstimateForm({**request.POST.dict(), "after": why.revision})
        form.add_error(None, str(why))
        return _estimate_form(request, job, form, rows, status=why.status)
    except Refused as why:
        form.add_error(None, str(why))
        return _estimate_form(request, job, form, rows, status=why.status)
    return go_to(request, "estimate", claim, made.number)


@require_POST
@allowed("charge jobs")
@once
def estimate_rows(request: Request, claim: str) -> HttpResponse:
    """The form again with one more line; what was typed stays. Nothing is kept."""
    job = job_with_card(claim)
    form = EstimateForm(initial=request.POST.dict())
    rows = rows_formset(request.shop, rows=typed_rows(request.POST), more=1)
    return _estimate_form(request, job, form, rows, part="estimate-rows")


def _estimate_form(
    request: Request,
    job: Job,
    form: EstimateForm,
    rows: Any,
    *,
    status: int = 200,
    part: str = "estimate-form",
) -> HttpResponse:
    context = {
        "job": job,
        "form": form,
        "rows": rows,
        "latest": job.estimates.first(),
        "labour_rate": request.shop.labour_rate,
    }
    return page_or_part(request, "intake/estimate_new.html", context, part=part, status=status)


def _first_estimate_form(request: Request, job: Job) -> tuple[EstimateForm, Any]:
    """The form as it is first shown: from the charges so far, else from the estimate before, else empty.

    A line that was refused as a charge comes along in the address (`ask_about`), so that it needn't be typed
    again.
    """
    latest = job.estimates.first()
    rows = estimating.from_charges(job)
    if latest is not None and (not rows or request.GET.get("from") == "estimate"):
        rows = estimating.rows_of(latest)
    written = [vars(row) for row in rows]
    if request.GET.get("text"):
        written.append({name: request.GET.get(name, "")[:200] for name in ASKED})
    form = EstimateForm(
        initial={
            "words": latest.words if latest else job.plain_findings,
            "valid_until": billing.today(request.shop) + dt.timedelta(days=request.shop.estimate_days),
            "after": latest.number if latest else 0,
        }
    )
    return form, rows_formset(request.shop, rows=written[:MOST_LINES])


def ask_about(job: Job, said: Mapping[str, Any]) -> str:
    """The address of a new estimate that begins with the charges so far and with the line that was refused."""
    line = {name: str(said[name]) for name in ASKED if said.get(name) is not None}
    return f"{reverse('job-estimate', args=[job.claim])}?{urlencode(line)}"


def _estimate(claim: str, number: int) -> Estimate:
    found = Estimate.objects.select_related(
        "job__gear", "job__person", "by", "answer__by", "answer__signature"
    ).prefetch_related("lines")
    return get_object_or_404(found, job__claim=claim, number=number)


# --- One estimate ----------------------------------------------------------------------------------------


@require_GET
@allowed("see jobs")
def estimate(request: Request, claim: str, number: int) -> HttpResponse:
    """An estimate as its owner reads it, and the place for their answer."""
    shown = _estimate(claim, number)
    return _show_estimate(request, shown, _answer_form(shown, initial={"who": shown.job.person.name}))


@require_POST
@allowed("record an answer")
@once
def estimate_answer(request: Request, claim: str, number: int) -> HttpResponse:
    answered = _estimate(claim, number)
    form = _answer_form(answered, request.POST)
    if not form.is_valid():
        return _show_estimate(request, answered, form, status=422)
    said = form.cleaned_data
    try:
        kept = estimating.answer(
            answered,
            yes=said["yes"],
            how=said["how"],
            who=said["who"],
            words=said["words"],
            taken=form.said_taken(),
            by=request.user,
        )
    except Refused as why:
        form.add_error(None, str(why))
        return _show_estimate(request, _estimate(claim, number), form, status=why.status)
    return _answered(request, answered, kept)


def _answered(request: Request, answered: Estimate, kept: Answer) -> HttpResponse:
    said = f"go ahead, {billing.say(kept.agreed, answered.currency)}" if kept.yes else "no"
    messages.success(request, f"The answer to estimate {answered.number} is kept: {said}.")
    return go_to(request, f"{reverse('job', args=[answered.job.claim])}#money")


def _answer_form(shown: Estimate, data: Any = None, **more: Any) -> AnswerForm:
    return AnswerForm(data, offered=estimating.options(shown), currency=shown.currency, **more)


def _show_estimate(request: Request, shown: Estimate, form: AnswerForm, *, status: int = 200) -> HttpResponse:
    context = {
        **_estimate_context(shown),
        "form": form,
        "why_not": estimating.why_not_answered(shown),
        "today": billing.today(request.shop),
    }
    return page_or_part(request, "intake/estimate.html", context, part="estimate-answer", status=status)


def _estimate_context(shown: Estimate) -> dict[str, Any]:
    return {"job": shown.job, **_one(shown, estimating.before(shown))}


def _one(shown: Estimate, before: Estimate | None) -> dict[str, Any]:
    """An estimate as pages and papers show it: lines, sums, options, what changed, the answer."""
    answer = getattr(shown, "answer", None)
    fixed = proposals.total(estimating.items(shown), estimating.prices(shown))
    lines = [line for line in shown.lines.all() if not line.optional]
    return {
        "estimate": shown,
        "before": before,
        "called": f"Lines of estimate {shown.number}",
        "changes": estimating.changes_said(before, shown) if before else [],
        "answer": answer,
        "signature": picture_of(answer.signature if answer else None),
        "lines": shown_lines((line, summed.amount) for line, summed in zip(lines, fixed.lines, strict=True)),
        "options": [
            {"option": option, "taken": bool(answer and option.item.key in answer.taken)}
            for option in estimating.options(shown)
        ],
        "taxes": taxes_shown(shown.taxes),
        "currency": shown.currency,
    }


@require_GET
@allowed("print")
def estimate_paper(request: Request, claim: str, number: int) -> HttpResponse:
    shown = _estimate(claim, number)
    context = {
        **_estimate_context(shown),
        "paper": request.shop.paper.lower(),
        **paper_address(request, shown.job),
    }
    filename = f"estimate-{claim}-{number}.pdf"
    return papers.answer(request, "intake/papers/estimate.html", context, filename=filename)


# --- Read and signed on the tablet -----------------------------------------------------------------------


@require_POST
@allowed("record an answer")
@once
def estimate_hand_over(request: Request, claim: str, number: int) -> HttpResponse:
    """Give the tablet to the gear's owner: from now on it opens this estimate, to read and sign, and nothing else."""
    shown = _estimate(claim, number)
    if why := estimating.why_not_answered(shown):
        raise NotAllowedYet(why)
    page = reverse("estimate-sign", args=[claim, number])
    doors.hand_over(request, page=page, then=reverse("estimate", args=[claim, number]))
    return go_to(request, page)


@require_http_methods(["GET", "POST"])
@allowed("read and sign")
@once
@on_a_lent_tablet
def estimate_sign(request: Request, claim: str, number: int) -> HttpResponse:
    """The estimate in big type, for its owner to read, choose and sign; sent, it is their answer."""
    shown = _estimate(claim, number)
    if request.method == "GET":
        return _sign_page(request, shown, None, taken=request.GET.getlist("taken"))
    form = SignForm(request.POST, offered=estimating.options(shown), currency=shown.currency)
    if not form.is_valid():
        return _sign_page(request, shown, form, taken=request.POST.getlist("taken"), status=422)
    said = form.cleaned_data
    try:
        estimating.answer(
            shown,
            yes=said["yes"],
            how=Answer.How.SIGNED,
            who=said["who"],
            taken=form.said_taken(),
            seen=said["seen"],
            svg=said["strokes"],
            device=request.headers.get("User-Agent", ""),
            by=doors.lent_by(request),
        )
    except Refused as why:
        form.add_error(None, str(why))
        if isinstance(why, ChangedMeanwhile):  # another sum is signed for anew
            form.data = {
                **form.data.dict(),
                "taken": form.data.getlist("taken"),
                "strokes": "",
                "signature": "",
            }
        return _sign_page(request, shown, form, taken=form.said_taken(), status=why.status)
    return go_to(request, request.path)


def _sign_page(
    request: Request, shown: Estimate, form: SignForm | None, *, taken: Sequence[Any], status: int = 200
) -> HttpResponse:
    """The page, or its sums alone, with what it comes to with the options that are ticked on it."""
    offered = estimating.options(shown)
    asked = {str(key) for key in taken}
    ticked = {option.item.key for option in offered if str(option.item.key) in asked}
    if form is None:
        initial = {"who": shown.job.person.name, "taken": sorted(ticked)}
        form = SignForm(offered=offered, currency=shown.currency, initial=initial)
    context = {
        **_estimate_context(shown),
        "form": form,
        "agreed": estimating.agreed_with(shown, ticked),
        "taken": [option for option in offered if option.item.key in ticked],
        "why_not": estimating.why_not_answered(shown),
    }
    return page_or_part(request, "intake/estimate_sign.html", context, part="estimate-sums", status=status)


# --- All that was asked and answered ---------------------------------------------------------------------


@require_GET
@allowed("see jobs")
def estimates(request: Request, claim: str) -> HttpResponse:
    """Every estimate of a job with its answer, in one place: what a quarrel is answered from."""
    return render(request, "intake/estimates.html", _history(job_with_card(claim)))


@require_GET
@allowed("print")
def estimates_paper(request: Request, claim: str) -> HttpResponse:
    job = job_with_card(claim)
    context = {**_history(job), "paper": request.shop.paper.lower(), **paper_address(request, job)}
    filename = f"estimates-{claim}.pdf"
    return papers.answer(request, "intake/papers/estimates.html", context, filename=filename)


def _history(job: Job) -> dict[str, Any]:
    made = list(
        job.estimates.select_related("by", "answer__by", "answer__signature")
        .prefetch_related("lines")
        .order_by("number")
    )
    for each in made:
        each.job = job
    shown = [_one(each, before) for before, each in zip([None, *made], made, strict=False)]
    return {"job": job, "history": shown, **_agreed(job)}


@require_GET
@allowed("see jobs")
def job_agreed(request: Request, claim: str) -> HttpResponse:
    """The panel alone, for a page whose charges changed; anybody else is led to the job."""
    job = job_with_card(claim)
    if not wants_part(request):
        return go_to(request, f"{reverse('job', args=[claim])}#agreed")
    return render(request, "intake/_agreed_panel.html", agreed_panel(request, job))


def agreed_panel(request: Request, job: Job) -> dict[str, Any]:
    """What the job's page says about what its owner agreed to."""
    latest = reading.latest_estimate(job)
    return {"job": job, "latest": latest, "answer": getattr(latest, "answer", None), **_agreed(job)}


def _agreed(job: Job) -> dict[str, Any]:
    try:
        return {"allowance": spending.allowance(job), "problem": ""}
    except billing.CantBill as why:
        return {"allowance": None, "problem": str(why)}
