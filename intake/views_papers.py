"""The papers of a drop-off: the owner's claim ticket and the gear tags."""

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from intake import printing
from intake.models import Job, Visit
from intake.signatures import picture_of
from shop import papers
from shop.access import allowed
from shop.addresses import lan_url
from shop.http import Request, go_to
from shop.once import once

TICKET_SIZES = {"half": "intake/papers/ticket_half.html", "receipt": "intake/papers/ticket_receipt.html"}
TAG_SIZES = {"roll": "tag-62", "card": "tag-4x6"}


@require_POST
@allowed("print")
@once
def print_ticket(request: Request, pk: int, size: str) -> HttpResponse:
    visit = get_object_or_404(Visit, pk=pk)
    _known(size, TICKET_SIZES)
    printing.print_ticket(visit, by=request.user)
    return go_to(request, "ticket-paper", pk, size)


@require_GET
@allowed("print")
def ticket(request: Request, pk: int, size: str) -> HttpResponse:
    visits = Visit.objects.select_related("person", "terms", "signature", "taken_in_by")
    visit = get_object_or_404(visits, pk=pk)
    jobs = list(visit.jobs.select_related("gear").prefetch_related("pieces").order_by("pk"))
    context = {
        "visit": visit,
        "jobs": [{"job": job, "address": _address(request, job)} for job in jobs],
        "mark": printing.print_mark(max((j.ticket_prints for j in jobs), default=0)),
        "paper": f"half-{request.shop.paper.lower()}",
        "signature_image": picture_of(visit.signature),
    }
    return papers.answer(request, _known(size, TICKET_SIZES), context, f"claim-ticket-{jobs[0].claim}.pdf")


@require_POST
@allowed("print")
@once
def print_job_tags(request: Request, claim: str, size: str) -> HttpResponse:
    job = get_object_or_404(Job, claim=claim)
    _known(size, TAG_SIZES)
    printing.print_tags([job], by=request.user)
    return go_to(request, "tags-paper", claim, size)


@require_GET
@allowed("print")
def job_tags(request: Request, claim: str, size: str) -> HttpResponse:
    return _tags(request, [get_object_or_404(_for_tags(), claim=claim)], size)


@require_POST
@allowed("print")
@once
def print_visit_tags(request: Request, pk: int, size: str) -> HttpResponse:
    visit = get_object_or_404(Visit, pk=pk)
    _known(size, TAG_SIZES)
    printing.print_tags(list(visit.jobs.all()), by=request.user)
    return go_to(request, "visit-tags-paper", pk, size)


@require_GET
@allowed("print")
def visit_tags(request: Request, pk: int, size: str) -> HttpResponse:
    visit = get_object_or_404(Visit, pk=pk)
    return _tags(request, list(_for_tags().filter(visit=visit).order_by("pk")), size)


def _for_tags():
    return Job.objects.select_related("gear", "person").prefetch_related("pieces")


def _tags(request: Request, jobs: list[Job], size: str) -> HttpResponse:
    context = {
        "tags": [tag for job in jobs for tag in printing.tags_of(job, _address(request, job))],
        "mark": printing.print_mark(max(j.tag_prints for j in jobs)),
        "paper": _known(size, TAG_SIZES),
    }
    return papers.answer(request, "intake/papers/gear_tags.html", context, f"gear-tags-{jobs[0].claim}.pdf")


def _address(request: Request, job: Job) -> str:
    return lan_url(request, reverse("scan", args=[job.claim]))


def _known(size: str, sizes: dict[str, str]) -> str:
    if size not in sizes:
        raise Http404
    return sizes[size]
