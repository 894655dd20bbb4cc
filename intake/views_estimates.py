"""Estimates and the owner's answers, over HTTP."""

import datetime as dt
from typing import Any, Final

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from intake import billing, estimating
from intake.forms_estimates import AnswerForm, EstimateForm, rows_formset, typed_rows
from intake.models import Estimate, Job
from intake.signatures import picture_of
from intake.views_money import job_with_card, paper_address, shown_lines, taxes_shown
from shop import papers
from shop.access import allowed
from shop.errors import ChangedMeanwhile, Refused
from shop.http import Request, go_to, page_or_part
from shop.once import once

VALID_FOR: Final = dt.timedelta(days=30)  # what an estimate's form proposes


@require_http_methods(["GET", "POST"])
@allowed("charge jobs")
@once
def estimate_new(request: Request, claim: str) -> HttpResponse:
    job = job_with_card(claim)
    if request.method == "GET":
        return _estimate_form(request, job, *_first_estimate_form(request, job))
    form = EstimateForm(request.POST)
    rows = rows_formset(request.shop.currency, request.POST)
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
    rows = rows_formset(request.shop.currency, rows=typed_rows(request.POST), more=1)
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
    context = {"job": job, "form": form, "rows": rows, "latest": job.estimates.first()}
    return page_or_part(request, "intake/estimate_new.html", context, part=part, status=status)


def _first_estimate_form(request: Request, job: Job) -> tuple[EstimateForm, Any]:
    """The form as it is first shown: from the charges so far, else from the estimate before, else empty."""
    latest = job.estimates.first()
    rows = estimating.from_charges(job)
    if latest is not None and (not rows or request.GET.get("from") == "estimate"):
        rows = [
            billing.Row(line.kind, line.text, line.quantity, line.unit_price) for line in latest.lines.all()
        ]
    form = EstimateForm(
        initial={
            "words": latest.words if latest else job.plain_findings,
            "valid_until": billing.today(request.shop) + VALID_FOR,
            "after": latest.number if latest else 0,
        }
    )
    return form, rows_formset(request.shop.currency, rows=[vars(row) for row in rows])


def _estimate(claim: str, number: int) -> Estimate:
    found = Estimate.objects.select_related(
        "job__gear", "job__person", "by", "answer__by", "answer__signature"
    )
    return get_object_or_404(found, job__claim=claim, number=number)


@require_GET
@allowed("see jobs")
def estimate(request: Request, claim: str, number: int) -> HttpResponse:
    """An estimate as its owner reads it, and the place for their answer."""
    shown = _estimate(claim, number)
    return _show_estimate(request, shown, AnswerForm(initial={"who": shown.job.person.name}))


@require_POST
@allowed("record an answer")
@once
def estimate_answer(request: Request, claim: str, number: int) -> HttpResponse:
    answered = _estimate(claim, number)
    form = AnswerForm(request.POST)
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
            svg=said["strokes"],
            device=request.headers.get("User-Agent", ""),
            by=request.user,
        )
    except Refused as why:
        form.add_error(None, str(why))
        return _show_estimate(request, _estimate(claim, number), form, status=why.status)
    said_words = "go ahead" if kept.yes else "no"
    messages.success(request, f"The answer to estimate {number} is kept: {said_words}.")
    return go_to(request, f"{reverse('job', args=[claim])}#money")


def _show_estimate(request: Request, shown: Estimate, form: AnswerForm, *, status: int = 200) -> HttpResponse:
    context = {
        **_estimate_context(shown),
        "form": form,
        "why_not": estimating.why_not_answered(shown),
        "today": billing.today(request.shop),
    }
    return page_or_part(request, "intake/estimate.html", context, part="estimate-answer", status=status)


def _estimate_context(shown: Estimate) -> dict[str, Any]:
    answer = getattr(shown, "answer", None)
    return {
        "estimate": shown,
        "job": shown.job,
        "answer": answer,
        "signature": picture_of(answer.signature if answer else None),
        "lines": shown_lines((line, billing.line_amount(line, shown.currency)) for line in shown.lines.all()),
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
