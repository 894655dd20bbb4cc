"""The report of a year of safety: a page, and a table for a spreadsheet."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from calc import safety_year
from shop import csv_out
from shop.access import allowed
from shop.http import Request


@require_GET
@allowed("see reports")
def year(request: Request) -> HttpResponse:
    today = timezone.localdate()
    years = safety_year.years(today)
    asked = _asked(request, years)
    return render(
        request,
        "calc/safety_year.html",
        {"year": safety_year.of(asked, today), "years": years, "asked": asked},
    )


@require_GET
@allowed("see reports")
def year_csv(request: Request) -> HttpResponse:
    today = timezone.localdate()
    asked = _asked(request, safety_year.years(today))
    rows = safety_year.table(safety_year.of(asked, today))
    return csv_out.answer(f"safety-{asked}.csv", safety_year.HEAD, rows)


def _asked(request: Request, years: list[int]) -> int:
    """The year that the address asks for; what makes no sense gets this year."""
    return next((each for each in years if str(each) == request.GET.get("year")), years[0])
