"""The day's cash-up, over HTTP."""

import datetime as dt
from decimal import Decimal
from typing import Any, Final

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET, require_http_methods

from intake import billing, cashup
from intake.forms_cashup import CashUpForm
from intake.models import CashUp
from shop import papers
from shop.access import allowed
from shop.errors import Refused
from shop.http import Request, go_to, page_or_part
from shop.once import once
from shop.roles import may

SHOWN: Final = 31  # days that were counted


@require_http_methods(["GET", "POST"])
@allowed("cash up")
@once
def cash_up(request: Request) -> HttpResponse:
    """The till of a day: today's, or one that was forgotten (`?day=`)."""
    day = _day(request)
    if request.method == "GET":
        values = cashup.values_before()
        return _cash_up_page(request, day, CashUpForm(values=values, currency=request.shop.currency))
    form = CashUpForm(request.POST, currency=request.shop.currency)
    if not form.is_valid():
        return _cash_up_page(request, day, form, status=422)
    said = form.cleaned_data
    try:
        kept = cashup.count(
            day=day, counted=form.total(), pieces=said["pieces"], note=said["note"], by=request.user
        )
    except Refused as why:
        form.add_error(None, str(why))
        return _cash_up_page(request, day, form, status=why.status)
    difference = cashup.difference_words(kept.counted - kept.expected, request.shop.currency)
    messages.success(request, f"The till is counted. {difference}")
    return go_to(request, "cash-up-day", kept.pk)


def _day(request: Request) -> dt.date:
    """The day that the address names; today where it names none that has come."""
    today = billing.today(request.shop)
    try:
        day = dt.date.fromisoformat(request.GET.get("day", ""))
    except ValueError:
        return today
    return min(max(day, dt.date(2000, 1, 1)), today)


def _cash_up_page(request: Request, day: dt.date, form: CashUpForm, *, status: int = 200) -> HttpResponse:
    taken, given_back = cashup.cash_of(day, request.shop)
    today = billing.today(request.shop)
    context = {
        "form": form,
        "day": day,
        "is_today": day == today,
        "change": request.shop.cash_float,
        "taken": taken,
        "given_back": given_back,
        "expected": cashup.expected(day, request.shop),
        "days": [_shown(each) for each in cashup.last_counts(SHOWN)],
        "forgotten": [each for each in cashup.not_counted(request.shop, today) if each != day],
        "counted_before": CashUp.objects.filter(day=day).order_by("-at").select_related("by").first(),
        "may_set_up": may(request.user.role, "set up the shop"),
    }
    return page_or_part(request, "intake/cash_up.html", context, part="cash-up-form", status=status)


def _shown(kept: CashUp) -> dict[str, Any]:
    return {"of": kept, "difference": kept.counted - kept.expected}


def _count(pk: int) -> dict[str, Any]:
    """A count as its page and its paper show it."""
    kept = get_object_or_404(CashUp.objects.select_related("by"), pk=pk)
    later = CashUp.objects.filter(day=kept.day, at__gt=kept.at).order_by("-at").first()
    pieces = sorted(((Decimal(value), many) for value, many in kept.pieces.items()), reverse=True)
    return {
        **_shown(kept),
        "later": later,
        "pieces": [{"value": value, "many": many, "sum": value * many} for value, many in pieces],
    }


@require_GET
@allowed("cash up")
def cash_up_day(request: Request, pk: int) -> HttpResponse:
    """A count as it was kept."""
    return render(request, "intake/cash_up_day.html", _count(pk))


@require_GET
@allowed("cash up")
def cash_up_paper(request: Request, pk: int) -> HttpResponse:
    shown = _count(pk)
    filename = f"till-{shown['of'].day.isoformat()}.pdf"
    return papers.answer(request, "intake/papers/cash_up.html", shown, filename=filename)


def till_panel(request: Request, _: Any) -> dict[str, Any]:
    """The front page's word on the till: what should be in it, and the days that nobody counted."""
    today = billing.today(request.shop)
    return {"till": {**cashup.at_a_glance(request.shop, today)}}
