"""The list of jobs, by where they stand; and how long repairs take."""

import csv
from typing import Final
from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from intake import turnaround
from intake.models import Job, State
from intake.models.jobs import IN_THE_HOUSE
from shop.access import allowed
from shop.http import Request, page_or_part

ON_A_PAGE: Final = 40
HOUSE: Final = "house"


@require_GET
@allowed("see jobs")
def jobs(request: Request) -> HttpResponse:
    """Jobs that stand in the house, or somewhere in particular; the newest first."""
    wanted = request.GET.get("state", HOUSE)
    state = State(wanted) if wanted in State.values else None
    found = Job.objects.standing(state) if state else Job.objects.in_the_house()
    counted = dict(Job.objects.order_by().values_list("state").annotate(many=Count("pk")))
    page = Paginator(found.with_card().order_by("-pk"), ON_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "state": state,
        "filters": [(s, counted.get(s, 0)) for s in State if counted.get(s) or s == state],
        "in_the_house": sum(counted.get(s, 0) for s in IN_THE_HOUSE),
        "today": timezone.localdate(),
        "query": urlencode({"state": state}) if state else "",
    }
    return page_or_part(request, "intake/jobs.html", context, part="jobs-list")


@require_GET
@allowed("see reports")
def turnaround_report(request: Request) -> HttpResponse:
    """How many days from drop-off to ready, month by month."""
    months = turnaround.by_month(_times(), timezone.localdate())
    return render(
        request, "intake/turnaround.html", {"months": months, "picture": turnaround.picture(months)}
    )


@require_GET
@allowed("see reports")
def turnaround_csv(request: Request) -> HttpResponse:
    """The same figures for a spreadsheet."""
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="turnaround.csv"'
    sheet = csv.writer(response)
    sheet.writerow(["month", "jobs that became ready", "median days from drop-off to ready"])
    for month in turnaround.by_month(_times(), timezone.localdate()):
        sheet.writerow([month.key, month.count, "" if month.median is None else f"{month.median:.1f}"])
    return response


def _times() -> list[turnaround.Time]:
    """When each job of the last twelve months came in and when it was ready."""
    first = turnaround.months_back(timezone.localdate())[0]
    since = timezone.make_aware(timezone.datetime(first.year, first.month, 1))
    found = Job.objects.filter(ready_at__gte=since).order_by().values_list("since", "ready_at")
    return [turnaround.Time(timezone.localtime(came), timezone.localtime(ready)) for came, ready in found]
