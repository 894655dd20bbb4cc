"""Unsafe gear: judging it so, taking that back, and the tag that says so."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from calc import safety
from calc.forms_unsafe import WHAT_IS_UNSAFE, WHY_IT_IS_SAFE, ReasonsForm
from intake import job_page
from intake.models import Job, State
from intake.printing import print_mark
from intake.views_papers import TAG_SIZES
from intake.workflow import NEXT, held_back
from shop import papers
from shop.access import allowed
from shop.addresses import lan_url
from shop.errors import NotAllowedYet, Refused
from shop.http import Request, go_to, page_or_part
from shop.once import once


@require_GET
@allowed("see safety")
def job_unsafe(request: Request, claim: str) -> HttpResponse:
    return _page(request, job_page.find(claim))


@require_POST
@allowed("judge unsafe")
@once
def job_unsafe_judge(request: Request, claim: str) -> HttpResponse:
    job = job_page.find(claim)
    form = _judging(request.POST)
    if form.is_valid():
        try:
            safety.judge_unsafe(job, words=form.cleaned_data["words"], by=request.user)
        except Refused as why:
            form.add_error(None, str(why))
        else:
            messages.success(request, "Judged unsafe. Print the tag, and tie it on.")
            return go_to(request, "job-unsafe", job.claim)
    return _page(request, job, judging=form, status=422)


@require_POST
@allowed("judge unsafe")
@once
def job_unsafe_take_back(request: Request, claim: str) -> HttpResponse:
    job = job_page.find(claim)
    form = _taking_back(request.POST)
    if not form.is_valid():
        return _page(request, job, taking_back=form, status=422)
    try:
        safety.take_back_unsafe(job, words=form.cleaned_data["words"], by=request.user)
    except Refused as why:
        form.add_error(None, str(why))
        return _page(request, job, taking_back=form, status=why.status)
    messages.success(request, "Taken back. Cut off the tag that says it is unsafe.")
    return go_to(request, "job-unsafe", job.claim)


@require_POST
@allowed("print")
@once
def unsafe_tag_print(request: Request, claim: str, size: str) -> HttpResponse:
    job = job_page.find(claim)
    _paper(size)
    safety.print_unsafe_tag(job, by=request.user)
    return go_to(request, "unsafe-tag-paper", job.claim, size)


@require_GET
@allowed("print")
def unsafe_tag_paper(request: Request, claim: str, size: str) -> HttpResponse:
    job = job_page.find(claim)
    paper, found = _paper(size), safety.found_unsafe(job)
    if found is None:
        raise NotAllowedYet("It isn’t judged unsafe.")
    context = {
        "job": job,
        "unsafe": found,
        "mark": print_mark(safety.tags_printed(job, found)),
        "paper": paper,
        "address": lan_url(request, reverse("scan", args=[job.claim])),
    }
    return papers.answer(request, "calc/papers/unsafe_tag.html", context, f"unsafe-{job.claim}.pdf")


def panel(request: Request, job: Job) -> dict[str, Any] | None:
    """That gear is unsafe, on the pages where it leaves; and the way to judge it so where it goes as it is."""
    found = safety.found_unsafe(job)
    asked_here = State.GOING_HOME_AS_IS in NEXT[State(job.state)] and request.user.may("judge unsafe")
    if found is None and not asked_here:
        return None
    return _standing(request, job, found)


def _page(request: Request, job: Job, *, status: int = 200, **forms: ReasonsForm) -> HttpResponse:
    found = safety.found_unsafe(job)
    context = {
        **_standing(request, job, found),
        "judging": _judging(initial={"more": found.word.words if found and found.word else ""}),
        "taking_back": _taking_back(),
        **forms,
        "words": job.safety_words.select_related("by").order_by("-pk"),
    }
    return page_or_part(request, "calc/unsafe.html", context, part="unsafe", status=status)


def _standing(request: Request, job: Job, found: safety.Unsafe | None) -> dict[str, Any]:
    leads_home = State.READY if job.state == State.GOING_HOME_AS_IS else State.COLLECTED
    return {
        "job": job,
        "unsafe": found,
        "tags": safety.tags_printed(job, found) if found else 0,
        "may_go_as_is": State.GOING_HOME_AS_IS in NEXT[State(job.state)],
        "held_back": held_back(job, leads_home, request.user) if found and job.declined else [],
    }


def _judging(data: Any = None, **more: Any) -> ReasonsForm:
    return ReasonsForm(data, ask="What makes it unsafe", offered=WHAT_IS_UNSAFE, auto_id="judge-%s", **more)


def _taking_back(data: Any = None) -> ReasonsForm:
    return ReasonsForm(data, ask="Why it is safe now", offered=WHY_IT_IS_SAFE, auto_id="back-%s")


def _paper(size: str) -> str:
    if size not in TAG_SIZES:
        raise Http404
    return TAG_SIZES[size]
