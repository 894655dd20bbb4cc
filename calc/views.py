"""Readings on a job: a panel on the job's page, and a page of its own for a row of them."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from calc import meters, readings, safety
from calc.forms import ANOTHER, ReadingForm
from calc.models import Reading
from intake import job_page
from intake.models import Job
from shop.access import allowed
from shop.errors import Refused
from shop.http import Request, go_to, page_or_part, wants_part
from shop.once import once


@require_http_methods(["GET"])
@allowed("see jobs")
def job_readings(request: Request, claim: str) -> HttpResponse:
    return _page(request, job_page.find(claim))


@require_POST
@allowed("work on jobs")
@once
def job_reading(request: Request, claim: str) -> HttpResponse:
    job = job_page.find(claim)
    form = ReadingForm(request.POST, auto_id="reading-%s", meters_in_use=meters.in_use())
    no_power = False
    if form.is_valid():
        try:
            readings.take(job, by=request.user, **form.cleaned_data)
        except Refused as why:
            form.add_error(None, str(why))
            no_power = isinstance(why, safety.NoPowerYet)
        else:
            if not wants_part(request):
                return go_to(request, "job-readings", job.claim)
            response = _page(request, job, just_kept=True)
            response["HX-Trigger"] = "job-changed"
            return response
    return _page(request, job, status=422, reading_form=form, no_power=no_power)


@require_POST
@allowed("work on jobs")
@once
def job_reading_strike(request: Request, claim: str, pk: int) -> HttpResponse:
    job = job_page.find(claim)
    readings.strike(get_object_or_404(job.readings.filter(strikes__isnull=True), pk=pk), by=request.user)
    messages.success(request, "Struck out. It can be put back below.")
    return go_to(request, f"{reverse('job', args=[job.claim])}#readings")


@require_POST
@allowed("work on jobs")
@once
def job_reading_put_back(request: Request, claim: str, pk: int) -> HttpResponse:
    job = job_page.find(claim)
    readings.put_back(get_object_or_404(job.readings.filter(strikes__isnull=True), pk=pk), by=request.user)
    messages.success(request, "Put back.")
    return go_to(request, f"{reverse('job', args=[job.claim])}#readings")


def panel(request: Request, job: Job) -> dict[str, Any]:
    """What the readings' panel shows, in a fixed number of queries."""
    rows = list(
        job.readings.filter(strikes__isnull=True)
        .select_related("by", "struck_by", "with_meter")
        .prefetch_related("with_meter__accuracies")
    )
    standing = [r for r in rows if not _struck(r)]
    last = rows[-1] if rows else None
    by_point: dict[str, dict[str, list[dict[str, Any]]]] = {}
    for reading in standing:
        row = by_point.setdefault(reading.point, {when: [] for when in Reading.When.values})
        row[reading.when].append({"shown": readings.shown(reading), "reading": reading})
    return {
        "job": job,
        "by_point": [{"point": point, **row} for point, row in by_point.items()],
        "readings": [{"reading": r, "shown": readings.shown(r)} for r in standing],
        "struck_readings": [
            {
                "reading": r,
                "shown": readings.shown(r),
                "stands_again": any(readings.same(r, s) for s in standing),
            }
            for r in rows
            if _struck(r)
        ],
        "points": sorted({r.point for r in standing}),
        "reading_form": ReadingForm(
            initial=_stays(last) if last else None, auto_id="reading-%s", meters_in_use=meters.in_use()
        ),
    }


def _stays(last: Reading) -> dict[str, Any]:
    """What the next of several readings most likely has in common with the last."""
    another = ANOTHER if last.meter else ""
    return {
        "unit": last.unit,
        "when": last.when,
        "with_meter": last.with_meter_id or another,
        "meter": "" if last.with_meter_id else last.meter,
    }


def _struck(reading: Reading) -> bool:
    return hasattr(reading, "struck_by")


def _page(request: Request, job: Job, *, status: int = 200, **more: Any) -> HttpResponse:
    context = {**panel(request, job), **more}
    return page_or_part(request, "calc/readings.html", context, part="readings", status=status)
