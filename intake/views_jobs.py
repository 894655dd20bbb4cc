"""The list of jobs, by where they stand."""

from typing import Final
from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.db.models import Count
from django.http import HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_GET

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
