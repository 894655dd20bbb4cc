"""Worksheets: the list, one to fill in (alone or on a job), what was kept, and two side by side."""

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from calc import meters, safety, sheets
from calc.comparing import compare
from calc.forms_worksheets import KeepForm, Shown, complaints, meter_in, said_in, shown, shown_ours
from calc.models import KeptSheet, Meter
from calc.tube_table import table
from calc.worksheets import all_sheets, by_slug
from calc.worksheets.chart import draw
from calc.worksheets.sheet import Answer, Worksheet, count_name, how_many
from calc.worksheets.sheet import answer as work_out
from intake import job_page
from intake.models import Job
from shop import papers
from shop.access import allowed
from shop.errors import Refused
from shop.http import Request, go_to, page_or_part, wants_part
from shop.once import once


@require_GET
@allowed("see jobs")
def worksheets(request: Request) -> HttpResponse:
    return page_or_part(request, "calc/worksheets.html", {"sheets": all_sheets()}, part="main")


@require_GET
@allowed("see jobs")
def tube_table(request: Request) -> HttpResponse:
    text = request.GET.get("q", "")[:40]
    parts = table(text)
    context = {"text": text, "parts": parts, "only_one": sum(len(part.entries) for part in parts) == 1}
    return page_or_part(request, "calc/tube_table.html", context, part="tubes")


@require_GET
@allowed("see jobs")
def worksheet(request: Request, slug: str) -> HttpResponse:
    return _page(request, _sheet(slug), None, part="sheet")


@require_GET
@allowed("see jobs")
def worksheet_answer(request: Request, slug: str) -> HttpResponse:
    return _page(request, _sheet(slug), None, part="answer")


@require_http_methods(["GET", "POST"])
@allowed("set up the shop")
@once
def worksheet_ours(request: Request, slug: str) -> HttpResponse:
    """What the owner writes into a worksheet once for all: the limits of a safety test."""
    sheet = _sheet(slug)
    if not sheet.ours:
        raise Http404
    said, wrong = sheets.of_the_shop(sheet), {}
    if request.method == "POST":
        said = said_in(request.POST)
        wrong = sheets.set_ours(sheet, said, by=request.user)
        if not wrong:
            messages.success(request, "Kept. Worksheets that were kept before stay as they were judged.")
            return go_to(request, "worksheet", sheet.slug)
    context = {
        "sheet": sheet,
        "boxes": [
            Shown(box.name, box, said.get(box.name, ""), wrong.get(box.name, "")) for box in sheet.ours
        ],
        "complaints": [
            (box.name, f"{box.label}: {wrong[box.name]}") for box in sheet.ours if box.name in wrong
        ],
    }
    return render(request, "calc/worksheet_ours.html", context, status=422 if wrong else 200)


@require_GET
@allowed("see jobs")
def job_worksheets(request: Request, claim: str) -> HttpResponse:
    job = job_page.find(claim)
    return page_or_part(request, "calc/job_worksheets.html", panel(request, job), part="kept")


@require_GET
@allowed("see jobs")
def job_worksheet(request: Request, claim: str, slug: str) -> HttpResponse:
    return _page(request, _sheet(slug), job_page.find(claim), part="sheet")


@require_GET
@allowed("see jobs")
def job_worksheet_answer(request: Request, claim: str, slug: str) -> HttpResponse:
    return _page(request, _sheet(slug), job_page.find(claim), part="answer")


@require_http_methods(["GET", "POST"])
@allowed("work on jobs")
@once
def job_worksheet_keep(request: Request, claim: str, slug: str) -> HttpResponse:
    """Read the answer once more, say when it was measured, keep it."""
    job, sheet = job_page.find(claim), _sheet(slug)
    typed = said_in(request.POST if request.method == "POST" else request.GET)
    meter = meter_in(typed)
    _, answer = work_out(sheet, {**typed, **sheets.of_the_shop(sheet)}, meters.accuracies(meter))
    if answer is None:
        return _page(request, sheet, job, part="sheet", status=422, said={**typed, "filled": "1"})
    form = KeepForm(request.POST if request.method == "POST" else None, auto_id="keep-%s")
    no_power = False
    if form.is_valid():
        try:
            kept = sheets.keep(
                job, sheet=sheet, said=typed, meter=meter, by=request.user, **form.cleaned_data
            )
        except Refused as why:
            form.add_error(None, str(why))
            no_power = isinstance(why, safety.NoPowerYet)
        else:
            messages.success(request, "Kept on the job.")
            if (mark := kept.marks.first()) is not None:  # a list waited for it: go on there
                return go_to(request, f"{reverse('list-run', args=[mark.run_id])}#next")
            return go_to(request, "kept-worksheet", kept.pk)
    carried = _carried(sheet, typed)
    context = {
        "sheet": sheet,
        "job": job,
        "answer": answer,
        "drawings": _drawings(answer),
        "keep_form": form,
        "meter": meter,
        "meter_is_due": meter is not None and meters.is_due(meter),
        "no_power": no_power,
        "carried": carried,
        "back": _address(sheet, job, carried),
    }
    return render(request, "calc/worksheet_keep.html", context, status=422 if form.errors else 200)


@require_GET
@allowed("see jobs")
def kept_worksheet(request: Request, pk: int) -> HttpResponse:
    kept = _kept(pk)
    others = list(
        KeptSheet.objects.standing()
        .filter(slug=kept.slug, job__gear=kept.job.gear)
        .exclude(pk=kept.pk)
        .select_related("job", "by")
    )
    return page_or_part(
        request, "calc/kept_worksheet.html", {**_shown_kept(kept), "others": others}, part="kept"
    )


@require_GET
@allowed("see jobs")
def compare_worksheets(request: Request, pk: int, other: int) -> HttpResponse:
    one, two = sorted((_kept(pk), _kept(other)), key=lambda kept: (kept.at, kept.pk))
    if one.slug != two.slug:
        raise Http404
    context = {
        "sheet": by_slug(one.slug),
        "one": one,
        "two": two,
        "compared": compare(by_slug(one.slug), one, two),
        "sides": [{"kept": kept, "drawings": _drawings(sheets.answer_of(kept))} for kept in (one, two)],
    }
    return page_or_part(request, "calc/compare_worksheets.html", context, part="compared")


@require_GET
@allowed("see jobs")
def worksheets_paper(request: Request, claim: str) -> HttpResponse:
    job = job_page.find(claim)
    kept = job.sheets.standing().select_related("by", "meter", "job__gear", "job__person", "struck_by")
    context = {
        "job": job,
        "sheets": [_shown_kept(each) for each in kept],
        "paper": request.shop.paper.lower(),
    }
    return papers.answer(request, "calc/papers/worksheets.html", context, f"worksheets-{job.claim}")


@require_POST
@allowed("work on jobs")
@once
def worksheet_strike(request: Request, pk: int) -> HttpResponse:
    kept = _kept(pk)
    sheets.strike(kept, by=request.user)
    messages.success(request, "Struck out.")
    return go_to(request, f"{reverse('job-worksheets', args=[kept.job.claim])}")


def panel(request: Request, job: Job) -> dict[str, Any]:
    """The kept worksheets of a job, in a fixed number of queries."""
    kept = list(job.sheets.standing().select_related("by"))
    titles = {sheet.slug: sheet.title for sheet in all_sheets()} if kept else {}
    return {
        "job": job,
        "kept": [
            {"kept": each, "title": titles.get(each.slug, each.slug), "said": each.answer["said"]}
            for each in kept
        ],
        "sheets": all_sheets(),
    }


def _sheet(slug: str) -> Worksheet:
    sheet = by_slug(slug)
    if sheet is None:
        raise Http404
    return sheet


def _kept(pk: int) -> KeptSheet:
    return get_object_or_404(
        KeptSheet.objects.filter(strikes__isnull=True).select_related(
            "job__gear", "job__person", "by", "meter", "struck_by"
        ),
        pk=pk,
    )


def _drawings(answer: Answer) -> list[dict[str, Any]]:
    return [{"drawing": draw(chart), "chart": chart} for chart in answer.charts]


def _shown_kept(kept: KeptSheet) -> dict[str, Any]:
    sheet, answer = by_slug(kept.slug), sheets.answer_of(kept)
    return {
        "kept": kept,
        "job": kept.job,
        "sheet": sheet,
        "groups": shown(sheet, kept.said) + shown_ours(sheet, kept.said) if sheet else [],
        "answer": answer,
        "drawings": _drawings(answer),
        "struck": hasattr(kept, "struck_by"),
    }


def _page(
    request: Request,
    sheet: Worksheet,
    job: Job | None,
    *,
    part: str,
    status: int = 200,
    said: dict[str, str] | None = None,
) -> HttpResponse:
    filled_from = None
    if said is None:
        said = said_in(request.GET)
    if "filled" not in said:  # opened, not typed into
        said, filled_from = sheets.start(sheet, job)
    said = {**_with_rows(sheet, said), **sheets.of_the_shop(sheet)}
    meter = meter_in(said)
    found, answer = work_out(sheet, said, meters.accuracies(meter))
    if status == 422:  # somebody wanted to keep it: what is empty is said now as well
        found.wrong.update(found.missing)
    groups = shown(sheet, said, found)
    context = {
        "sheet": sheet,
        "job": job,
        "groups": groups,
        "complaints": complaints(groups, found),
        "answer": answer,
        "drawings": _drawings(answer) if answer else [],
        "filled_from": filled_from,
        "build_unknown": job is not None and sheet.slug == safety.TEST and not _is_built(job),
        "meters": Meter.objects.filter(is_here=True),
        "meter": meter,
        "meter_is_due": meter is not None and meters.is_due(meter),
        "today": timezone.localdate(),
        "is_part": part if wants_part(request) else "",
    }
    response = page_or_part(request, "calc/worksheet.html", context, part=part, status=status)
    if wants_part(request):  # so that a reload, or a link sent to somebody, opens it as it is filled in
        response["HX-Replace-Url"] = _address(sheet, job, _carried(sheet, said))
    return response


def _is_built(job: Job) -> bool:
    """Whether it is written down by which limits the gear of a job is tested."""
    build = safety.build_of(job.gear)
    return build is not None and bool(build.protection)


def _address(sheet: Worksheet, job: Job | None, carried: list[tuple[str, str]]) -> str:
    page = (
        reverse("job-worksheet", args=[job.claim, sheet.slug])
        if job
        else reverse("worksheet", args=[sheet.slug])
    )
    return f"{page}?{urlencode(carried)}"


def _carried(sheet: Worksheet, said: dict[str, str]) -> list[tuple[str, str]]:
    """What was typed, for the next page: no name that the form hasn't, nothing empty."""
    names = ("meter", *sheets.names_of(sheet, said))
    return [("filled", "1"), *((name, said[name]) for name in names if said.get(name))]


def _with_rows(sheet: Worksheet, said: dict[str, str]) -> dict[str, str]:
    """Take the taps on "add" and "leave out" into the count of the rows."""
    for group in sheet.groups:
        if group.rows:
            step = (said.get("more") == group.rows.name) - (said.get("fewer") == group.rows.name)
            said = {**said, count_name(group.rows): str(how_many(group.rows, said) + step)}
    return said
