"""The bench's line."""

from django.http import HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from intake import job_page, queueing
from intake.forms_bench import OrderForm
from intake.models import Job
from shop.access import allowed
from shop.errors import Refused
from shop.http import Request, go_to, page_or_part, wants_part
from shop.once import once


@require_GET
@allowed("see jobs")
def queue(request: Request) -> HttpResponse:
    return _line(request, whose=request.GET.get("whose", ""))


@require_POST
@allowed("order the queue")
@once
def queue_order(request: Request, claim: str) -> HttpResponse:
    job = job_page.find(claim)
    form = OrderForm(request.POST)
    if not form.is_valid():
        return _line(
            request, status=422, refusal="This page is too old to be sent. Here is the line as it is now."
        )
    beside = job_page.find(form.cleaned_data["beside"])
    whose, after = form.cleaned_data["whose"], form.cleaned_data["side"] == "after"
    try:
        queueing.put(job, beside=beside, after=after, on=timezone.localdate(), by=request.user)
    except Refused as why:
        return _line(request, whose=whose, status=why.status, refusal=str(why))
    if wants_part(request):
        return _line(request, whose=whose, moved=job)
    return go_to(request, f"{reverse('queue')}?whose=mine" if whose == "mine" else "queue")


def _line(
    request: Request, *, whose: str = "", status: int = 200, refusal: str = "", moved: Job | None = None
) -> HttpResponse:
    mine = whose == "mine"
    places = queueing.line(timezone.localdate(), whose=request.user if mine else None)
    context = {
        "places": places,
        "mine": mine,
        "refusal": refusal,
        "moved": moved,
        "today": timezone.localdate(),
    }
    return page_or_part(request, "intake/queue.html", context, part="line", status=status)
