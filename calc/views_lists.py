"""The safety checklists themselves: all of them, one of them, its versions, and how its owner changes it."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from calc import listing
from calc.checklists import Checklist
from calc.checklists.changes import changes
from calc.checklists.wording import STAGES, WAITS, WAITS_FOR_NONE, asks_words, gear_words, wait_words
from calc.forms_lists import MOST_LINES, ListPage, reshaped
from calc.listing import Current, LineRefused
from calc.models import ListVersion
from shop import papers
from shop.access import allowed
from shop.conflict import CHOICE, keeps_theirs
from shop.errors import ChangedMeanwhile, Refused
from shop.http import Request, go_to, page_or_part
from shop.once import FIELD, new_key, once


@require_GET
@allowed("see safety")
def checklists(request: Request) -> HttpResponse:
    lists = listing.current().values()
    grouped = listing.by_stage(each for each in lists if not each.checklist.retired)
    context = {
        "stages": [
            {"name": STAGES[stage], "lists": [_in_short(each) for each in each_list]}
            for stage, each_list in grouped.items()
        ],
        "retired": [_in_short(each) for each in lists if each.checklist.retired],
    }
    return render(request, "calc/checklists.html", context)


@require_GET
@allowed("see safety")
def checklist(request: Request, slug: str) -> HttpResponse:
    now = _find(slug)
    versions = listing.versions(slug)
    values = [listing.as_value(row) for row in versions]
    context = {
        **_shown(now.checklist, now.number),
        "now": now,
        "versions": [
            {"row": row, "changes": changes(values[place + 1], values[place]) if values[place + 1 :] else ()}
            for place, row in enumerate(versions)
        ],
    }
    return render(request, "calc/checklist.html", context)


@require_GET
@allowed("see safety")
def checklist_version(request: Request, slug: str, number: int) -> HttpResponse:
    now = _find(slug)
    row = ListVersion.objects.filter(slug=slug, number=number).select_related("by").first()
    if row is None and number != now.number:
        raise Http404
    said = listing.as_value(row) if row is not None else now.checklist
    context = {**_shown(said, number), "now": now, "row": row}
    return render(request, "calc/checklist_version.html", context)


@require_GET
@allowed("see safety")
def checklist_paper(request: Request, slug: str) -> HttpResponse:
    now = _find(slug)
    context = {**_shown(now.checklist, now.number), "paper": request.shop.paper.lower()}
    return papers.answer(request, "calc/papers/checklist.html", context, f"checklist-{slug}")


@require_http_methods(["GET", "POST"])
@allowed("keep checklists")
@once
def checklist_new(request: Request) -> HttpResponse:
    data = request.POST if request.method == "POST" else None
    page = ListPage(None, None, taken=_names(), data=data, to_send=data is not None)
    if data is None:
        return _edit_page(request, page)
    if not page.is_valid():
        return _edit_page(request, page, status=422)
    slug = listing.slug_for(page.form.cleaned_data["name"])
    return _keep(request, page, slug)


@require_http_methods(["GET", "POST"])
@allowed("keep checklists")
@once
def checklist_edit(request: Request, slug: str) -> HttpResponse:
    now = _find(slug)
    if request.method == "GET":
        return _edit_page(request, ListPage(now, now.checklist, taken=_names(slug)))
    if keeps_theirs(request):
        return go_to(request, "checklist", slug)
    page = ListPage(now, _opened_with(request, now), taken=_names(slug), data=request.POST, to_send=True)
    if not page.is_valid():
        return _edit_page(request, page, status=422)
    return _keep(request, page, slug)


@require_POST
@allowed("keep checklists")
def checklist_shape(request: Request, slug: str) -> HttpResponse:
    """The form again with a line open, a line more or less, or one elsewhere; what was typed stays. Nothing is kept."""
    now = _find(slug) if slug not in listing.NO_SLUG else None
    base = _opened_with(request, now) if now else None
    return _edit_page(request, ListPage(now, base, data=reshaped(request.POST)))


def _keep(request: Request, page: ListPage, slug: str) -> HttpResponse:
    said, wanted = page.form.cleaned_data, page.checklist(slug)
    try:
        made = listing.change(wanted, by=request.user, words=said["words"], seen=said["seen"])
    except ChangedMeanwhile as why:
        return _both(request, wanted, why.revision)
    except LineRefused as why:
        page.refuse(why)
        return _edit_page(request, page, status=why.status)
    except Refused as why:
        page.form.add_error(None, str(why))
        return _edit_page(request, page, status=why.status)
    messages.success(request, f"“{made.name}” is kept as version {made.number}.")
    return go_to(request, "checklist", slug)


def _both(request: Request, mine: Checklist, revision: int) -> HttpResponse:
    """Both versions side by side, and the choice. What was typed goes on, and answers to the version there is now."""
    theirs = listing.current()[mine.slug]
    rows = [
        {"label": each.what, "mine": each.after, "theirs": each.before, "differs": True}
        for each in changes(theirs.checklist, mine)
    ]
    left_out = {"csrfmiddlewaretoken", FIELD, CHOICE, "seen"}
    typed = [(name, text) for name, texts in request.POST.lists() if name not in left_out for text in texts]
    context = {
        "rows": rows,
        "hidden": [*typed, ("seen", str(revision)), (FIELD, new_key())],
        "action": request.path,
        "who": theirs.row.by if theirs.row else None,
        "at": theirs.row.at if theirs.row else None,
    }
    return render(request, "shop/changed_meanwhile.html", context, status=409)


def _edit_page(request: Request, page: ListPage, status: int = 200) -> HttpResponse:
    slug = page.now.slug if page.now else ""
    context = {
        "page": page,
        "now": page.now,
        "shape_slug": slug or "new",
        "most": MOST_LINES,
        "fixed": [line for line in page.now.checklist.lines if line.fixed] if page.now else [],
        "waits": WAITS.get(page.now.checklist.stage, WAITS_FOR_NONE) if page.now else "",
        "gear": gear_words(page.now.checklist.applies) if page.now else "",
        "stage": STAGES[page.now.checklist.stage] if page.now else "",
    }
    return page_or_part(request, "calc/checklist_edit.html", context, part="edit", status=status)


def _opened_with(request: Request, now: Current) -> Checklist:
    """The version that the page was opened with; the newest where it doesn't say."""
    seen = request.POST.get("seen", "")
    if not (seen.isascii() and seen.isdigit() and len(seen) < 10) or int(seen) == now.number:
        return now.checklist
    row = ListVersion.objects.filter(slug=now.slug, number=int(seen)).first()
    return listing.as_value(row) if row is not None else now.checklist


def _find(slug: str) -> Current:
    found = listing.current().get(slug)
    if found is None:
        raise Http404
    return found


def _names(slug: str = "") -> set[str]:
    """The names of the other lists."""
    return {each.checklist.name.casefold() for each in listing.current().values() if each.slug != slug}


def _in_short(now: Current) -> dict[str, Any]:
    return {"now": now, "gear": gear_words(now.checklist.applies), "gates": now.checklist.gates}


def _shown(said: Checklist, number: int) -> dict[str, Any]:
    """A list as a page or a paper shows it."""
    return {
        "said": said,
        "number": number,
        "stage": STAGES[said.stage],
        "gear": gear_words(said.applies),
        "waits": WAITS.get(said.stage, WAITS_FOR_NONE),
        "lines": [
            {"line": line, "asks": asks_words(line), "wait": wait_words(line, said.lines)}
            for line in said.lines
        ],
    }
