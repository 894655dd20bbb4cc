"""The call list over HTTP: whom to phone, and what to say."""

from typing import Any

from django.db.models import prefetch_related_objects
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from intake import billing, calling, front
from shop import papers
from shop.access import allowed
from shop.http import Request


@require_GET
@allowed("see jobs")
def calls(request: Request) -> HttpResponse:
    return render(request, "intake/calls.html", _shown(request))


@require_GET
@allowed("print")
def calls_paper(request: Request) -> HttpResponse:
    context = {**_shown(request), "paper": request.shop.paper.lower()}
    return papers.answer(request, "intake/papers/calls.html", context, filename="calls.pdf")


def front_panel(request: Request, thing: None) -> dict[str, Any]:
    """How many calls are due, by reason, for the front page."""
    found = calling.due(
        today=billing.today(request.shop), shop=request.shop, jobs=front.in_the_house(request)
    )
    groups = [{"why": why, "count": sum(call.why == why for call in found)} for why in calling.Why]
    return {"calls": {"count": len(found), "groups": [group for group in groups if group["count"]]}}


def _shown(request: Request) -> dict[str, Any]:
    """The calls, reason by reason, each with its script."""
    found = calling.due(today=billing.today(request.shop), shop=request.shop)
    prefetch_related_objects([call.estimate for call in found if call.estimate], "lines")
    accounts = billing.accounts(call.job.pk for call in found)
    groups: dict[calling.Why, list[dict[str, Any]]] = {}
    for call in found:
        account = accounts[call.job.pk]
        owed = account.owed if account.invoiced else None
        known = calling.known_for(call, caller=request.user.name, shop=request.shop, owed=owed)
        groups.setdefault(call.why, []).append({"call": call, "script": calling.script(call.why, known)})
    return {
        "groups": [{"why": why, "rows": rows} for why, rows in groups.items()],
        "count": len(found),
        "today": billing.today(request.shop),
    }
