"""The job's report: what goes into it is chosen on a page, and stands in the address of the paper."""

from typing import Any

from django.http import Http404, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_GET

from calc import report
from calc.report import Kind, Report
from intake import job_page
from intake.models import Job, Photo
from shop import papers
from shop.access import allowed
from shop.addresses import lan_url
from shop.http import Request, page_or_part

_NAMES = {Kind.PLAIN: "report", Kind.FULL: "report-for-the-file"}


@require_GET
@allowed("see jobs")
def job_report(request: Request, claim: str) -> HttpResponse:
    """Choose the photos and the pictures that go into it, then one of its two versions."""
    job = job_page.find(claim)
    told = _gather(request, job)
    context = {
        "job": job,
        "report": told,
        "photos": [{"photo": each, "is_on": each in told.chosen_photos} for each in told.photos],
        "pictured": [{"sheet": each, "is_on": bool(each.drawings)} for each in told.pictured],
    }
    return page_or_part(request, "calc/report.html", context, part="choices")


@require_GET
@allowed("see jobs")
def job_report_paper(request: Request, claim: str, kind: str) -> HttpResponse:
    if kind not in tuple(Kind):
        raise Http404
    job = job_page.find(claim)
    told = _gather(request, job)
    context = {
        "job": job,
        "report": told,
        "photos": _on_paper(request, told.chosen_photos),
        "address": lan_url(request, reverse("scan", args=[job.claim])),
        "paper": request.shop.paper.lower(),
    }
    return papers.answer(
        request, f"calc/papers/report_{kind}.html", context, f"{_NAMES[Kind(kind)]}-{job.claim}"
    )


def _gather(request: Request, job: Job) -> Report:
    """The report as the address says. `chosen` tells a page on which nothing is ticked from one just opened."""
    if "chosen" not in request.GET:
        return report.gather(job, shop=request.shop)
    return report.gather(
        job,
        shop=request.shop,
        photos=report.keys_in(request.GET.getlist("photo")),
        pictures=report.keys_in(request.GET.getlist("picture")),
    )


def _on_paper(request: Request, photos: tuple[Photo, ...]) -> list[dict[str, Any]]:
    """Photos with where the paper finds them; no address where the file is gone."""
    as_page = request.GET.get("view") == "html" or not papers.available()
    return [{"photo": each, "src": _address(each, as_page=as_page)} for each in photos]


def _address(photo: Photo, *, as_page: bool) -> str:
    if not photo.image.storage.exists(photo.image.name):
        return ""
    return reverse("photo", args=[photo.pk, "full"]) if as_page else papers.picture_address(photo.image.name)
