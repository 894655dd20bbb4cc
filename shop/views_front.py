"""What every page leads to: the shop at a glance, the search box, the reports, the look of this device."""

import datetime as dt
from typing import Any, Final

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from shop import backups, sockets
from shop.access import allowed, open_to_all
from shop.context import THEMES
from shop.http import Request, page_or_part, safe_next, wants_part
from shop.models import Shop
from shop.search import search

YEAR: Final = 365 * 24 * 3600  # seconds


@require_GET
@allowed("see jobs")
def home(request: Request) -> HttpResponse:
    """The shop at a glance: what each floor has to show, and whether the last backup is old."""
    context = {
        "today": timezone.localdate(),
        "panels": sockets.panels_for("front page", request),
        "backup": _backup(request.shop),
    }
    return render(request, "shop/home.html", context)


def _backup(shop: Shop) -> dict[str, Any]:
    """When the last backup was made, and whether the owner wants to be reminded by now."""
    last = backups.last_made()
    long_ago = last is None or timezone.now() - last > dt.timedelta(days=shop.backup_reminder_days)
    return {"last": last, "is_due": long_ago}


@require_GET
@allowed("see jobs")
def find(request: Request) -> HttpResponse:
    """Answer the search box: a part while somebody types, a page after Enter.

    What is named whole, by a scanner or typed with its check character, is opened at once after Enter.
    """
    found = search(request.GET.get("q", ""), request.user)
    if found.straight and not wants_part(request):
        return redirect(found.straight)
    return page_or_part(request, "shop/find.html", {"found": found}, part="find-results")


@require_GET
@allowed("see reports")
def reports(request: Request) -> HttpResponse:
    """The reports that the floors offer."""
    offered = [report for report in sockets.reports if request.user.may(report.act)]
    return render(request, "shop/reports.html", {"reports": offered})


@require_POST
@open_to_all
def theme(request: Request) -> HttpResponse:
    """Keep the look of this device for a year. The device's, not the person's: a bench is dark for all."""
    response = redirect(safe_next(request, "home"))
    wanted = request.POST.get("theme", "")
    if wanted in THEMES:
        response.set_cookie(
            "theme", wanted, max_age=YEAR, samesite="Lax", httponly=True, secure=request.is_secure()
        )
    return response
