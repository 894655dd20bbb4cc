"""Reports over HTTP: a page and a spreadsheet of each. What they say is worked out in `intake.reports`."""

from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path
from django.views.decorators.http import require_GET

from intake import billing
from intake.forms_reports import PeriodForm
from intake.reports.catalogue import REPORTS, Report
from intake.reports.period import Period, Span, stretch
from intake.reports.sheet import Asked, shown, spreadsheet
from shop import csv_out
from shop.access import allowed
from shop.http import Request


def page_of(report: Report) -> Callable[[Request], HttpResponse]:
    """The page of a report: its picture, its figures, and the days it is about."""

    @require_GET
    @allowed(report.act)
    def report_page(request: Request) -> HttpResponse:
        period, form = asked_period(request, report.span)
        status = 422 if form.is_bound and form.errors else 200
        sheet = report.of(Asked(request.shop, billing.today(request.shop), period))
        context = {
            "report": report,
            "sheet": sheet,
            "table": shown(sheet, request.shop.currency),
            "today": billing.today(request.shop),
            **chooser(period, form, billing.today(request.shop)),
        }
        return render(request, "intake/report.html", context, status=status)

    return report_page


def csv_of(report: Report) -> Callable[[Request], HttpResponse]:
    """The same figures for a spreadsheet."""

    @require_GET
    @allowed(report.act)
    def report_csv(request: Request) -> HttpResponse:
        period, _ = asked_period(request, report.span)
        today = billing.today(request.shop)
        sheet = (report.lines or report.of)(Asked(request.shop, today, period))
        days = period.key if report.span else today.isoformat()
        return csv_out.answer(f"{report.slug}-{days}.csv", *spreadsheet(sheet, request.shop.currency))

    return report_csv


def addresses() -> list[URLPattern]:
    """The addresses of all reports."""
    patterns = []
    for report in REPORTS:
        patterns.append(path(f"reports/{report.slug}/", page_of(report), name=report.url_name))
        patterns.append(path(f"reports/{report.slug}.csv", csv_of(report), name=report.csv_url_name))
    return patterns


def asked_period(request: Request, span: Span | None) -> tuple[Period, PeriodForm]:
    """The days that the address asks for, and the form that asks. What makes no sense gets the days it begins with."""
    first = stretch(span or Span.MONTH, billing.today(request.shop))
    form = PeriodForm(request.GET if set(request.GET) & set(PeriodForm.base_fields) else None)
    if form.is_bound and form.is_valid():
        return form.period(first), form
    return first, form


def chooser(period: Period, form: PeriodForm, today: Any) -> dict[str, Any]:
    """What the part that chooses days shows: the kinds of stretch, the ones beside it, any days at all."""
    on = min(today, period.last) if today >= period.first else period.last
    if not form.is_bound:
        form = PeriodForm(initial={"from": period.first, "until": period.last})
    return {
        "period": period,
        "period_form": form,
        "period_query": period_query(period),
        "spans": [
            (span.words, period_query(stretch(span, on)), span == period.span)
            for span in Span
            if span != Span.DAYS
        ],
        "before": period_query(period.before) if period.before else "",
        "after": period_query(period.after) if period.after and period.after.first <= today else "",
    }


def period_query(period: Period) -> str:
    """The period as an address says it."""
    if period.span == Span.DAYS:
        return urlencode({"from": period.first.isoformat(), "until": period.last.isoformat()})
    return urlencode({"span": period.span.value, "on": period.last.isoformat()})
