"""Comebacks and warranty on a job's page: what it comes back from, what the warranty covers, what it came with."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from intake import comebacks, covering, job_page, reading
from intake.models import Job, State
from shop.access import allowed
from shop.http import Request, go_to, wants_part
from shop.once import once

MOST_OFFERED = 10  # earlier repairs to link to


class LinkForm(forms.Form):
    """Which repair it comes back from, by its claim number."""

    revision = forms.IntegerField(min_value=0, max_value=2**31 - 1)
    repair = forms.CharField(max_length=20)


class FaultForm(forms.Form):
    """With what it came back."""

    revision = forms.IntegerField(min_value=0, max_value=2**31 - 1)
    fault = forms.ChoiceField(choices=Job._meta.get_field("comeback_fault").choices)


class SeenForm(forms.Form):
    """One tap on a page that showed the job at a revision."""

    revision = forms.IntegerField(min_value=0, max_value=2**31 - 1)


# --- The panel ---------------------------------------------------------------------------------------------


def warranty_panel(request: Request, job: Job) -> dict[str, Any] | None:
    """The job's warranty and its comebacks. No box where it came for the first time and is still here."""
    shop = request.shop
    today = timezone.localdate(timezone=shop.zone)
    own = comebacks.verdict_on(job, today, shop) if job.state == State.COLLECTED else None
    came_back = list(job.comebacks.order_by("pk"))
    repairs = []
    if job.comeback_of is None and not job.is_over:
        came = job.since.astimezone(shop.zone).date()
        earlier = comebacks.repairs_of(job.gear.jobs.all(), before=job)[:MOST_OFFERED]
        repairs = [{"job": past, "says": comebacks.verdict_on(past, came, shop)} for past in earlier]
    if own is None and not came_back and not repairs and job.comeback_of is None:
        return None
    covered = comebacks.covered_lines(job)
    under = [line for line in reading.standing(job) if line.under_warranty]
    return {
        "warranty": {
            "job": job,
            "own": own,
            "comebacks": came_back,
            "repairs": repairs,
            "says": comebacks.verdict(job),
            "faults": [
                {"value": value, "label": label, "chosen": value == job.comeback_fault}
                for value, label in Job._meta.get_field("comeback_fault").choices
            ],
            "to_cover": [line for line in covered if not line.under_warranty],
            "covered": len(under),
            "may_uncover": any(line.invoice_id is None for line in under),
            "another": job.comeback_fault == comebacks.ANOTHER,
        }
    }


@require_GET
@allowed("see jobs")
def job_warranty(request: Request, claim: str) -> HttpResponse:
    """The panel alone, for a page whose charges changed; anybody else is led to the job."""
    job = job_page.find(claim)
    if not wants_part(request):
        return go_to(request, f"{reverse('job', args=[job.claim])}#warranty")
    return render(request, "intake/_job_warranty.html", {"job": job, **(warranty_panel(request, job) or {})})


# --- What is tapped there ----------------------------------------------------------------------------------


@require_POST
@allowed("write on jobs")
@once
def job_comeback(request: Request, claim: str) -> HttpResponse:
    """Link the job to the repair it comes back from."""
    job = job_page.find(claim)
    form = LinkForm(request.POST)
    if not form.is_valid():
        return _choose(request, job)
    repair = get_object_or_404(Job, claim=form.cleaned_data["repair"])
    comebacks.link(job, to=repair, by=request.user, revision=form.cleaned_data["revision"])
    return _back(request, job, f"Linked to {repair.claim}.")


@require_POST
@allowed("write on jobs")
@once
def job_comeback_undo(request: Request, claim: str) -> HttpResponse:
    job = job_page.find(claim)
    form = SeenForm(request.POST)
    if not form.is_valid():
        return _choose(request, job)
    comebacks.unlink(job, by=request.user, revision=form.cleaned_data["revision"])
    return _back(request, job, "It isn't linked to an earlier repair any more.")


@require_POST
@allowed("work on jobs")
@once
def job_comeback_fault(request: Request, claim: str) -> HttpResponse:
    """Record whether it is the fault that was repaired, or another."""
    job = job_page.find(claim)
    form = FaultForm(request.POST)
    if not form.is_valid():
        return _choose(request, job)
    said = form.cleaned_data
    job = comebacks.say_fault(job, fault=said["fault"], by=request.user, revision=said["revision"])
    return _back(request, job, f"Kept: {job.get_comeback_fault_display().lower()}.")


@require_POST
@allowed("charge jobs")
@once
def job_cover(request: Request, claim: str) -> HttpResponse:
    """Put what the warranty covers under it, at nothing."""
    job = job_page.find(claim)
    lines = covering.put_under_warranty(job, by=request.user)
    return _back(request, job, f"Under warranty, at nothing: {', '.join(line.text for line in lines)}.")


@require_POST
@allowed("charge jobs")
@once
def job_uncover(request: Request, claim: str) -> HttpResponse:
    """Charge after all what was under warranty."""
    job = job_page.find(claim)
    lines = covering.charge_after_all(job, by=request.user)
    return _back(request, job, f"Charged after all: {', '.join(line.text for line in lines)}.")


def _choose(request: Request, job: Job) -> HttpResponse:
    messages.error(
        request, "Nothing was chosen, or the page is too old. Look at it as it is now; then choose."
    )
    return go_to(request, f"{reverse('job', args=[job.claim])}#warranty")


def _back(request: Request, job: Job, said: str) -> HttpResponse:
    messages.success(request, said)
    return go_to(request, f"{reverse('job', args=[job.claim])}#warranty")
