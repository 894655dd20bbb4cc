"""Files in and out: parts read in from a table, looked at before and undone after; and every table as CSV."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory import exports, files, importing
from inventory.files import FileRefused
from inventory.forms_files import PartsFileForm, PlanForm, parcel
from inventory.importing import Does
from inventory.models import Import
from shop import csv_out, timeline
from shop.access import allowed
from shop.errors import ChangedMeanwhile, Refused
from shop.http import Request, go_to
from shop.once import once


@require_http_methods(["GET", "POST"])
@allowed("import parts")
def parts_import(request: Request) -> HttpResponse:
    """Choose a file; then see what each of its lines would do. Nothing is written here."""
    if request.method == "GET":
        return _choose(request, PartsFileForm())
    form = PartsFileForm(request.POST, request.FILES)
    if not form.is_valid():
        return _choose(request, form, status=422)
    try:
        return _look(request, **form.cleaned_data["file"])
    except FileRefused as why:
        form.add_error("file", str(why))
        return _choose(request, form, status=422)


@require_POST
@allowed("import parts")
@once
def parts_import_yes(request: Request) -> HttpResponse:
    """Do what was looked at. If the stock moved on meanwhile, look again."""
    form = PlanForm(request.POST)
    if not form.is_valid():
        return _choose(request, PartsFileForm(), why=form.errors["parcel"][0], status=422)
    said = form.cleaned_data["parcel"]
    read = files.read_parts(said["text"].encode(), request.shop.currency)
    try:
        file = importing.read_in(said["name"], read.lines, seal=said["seal"], by=request.user)
    except ChangedMeanwhile as why:
        return _look(request, said["name"], said["text"], said["notes"], why=str(why), status=409)
    except Refused as why:
        return _look(request, said["name"], said["text"], said["notes"], why=str(why), status=422)
    messages.success(request, f"{file.name} was read in.")
    return go_to(request, "parts-import-done", file.pk)


@require_GET
@allowed("import parts")
def parts_import_done(request: Request, pk: int) -> HttpResponse:
    file = get_object_or_404(Import.objects.select_related("by", "undone_by"), pk=pk)
    lines = list(file.lines.select_related("part"))
    context = {
        "file": file,
        "lines": lines,
        "made": sum(line.made for line in lines),
        "entries": timeline.of(file),
    }
    return render(request, "inventory/parts_import_done.html", context)


@require_POST
@allowed("import parts")
@once
def parts_import_undo(request: Request, pk: int) -> HttpResponse:
    file = get_object_or_404(Import, pk=pk)
    undone = importing.undo(file, by=request.user)
    if undone.stay:
        messages.warning(
            request, f"Undone but for {len(undone.stay)} lines: see below why each of them stays."
        )
    else:
        messages.success(request, f"Undone: all that {file.name} did is put back.")
    return go_to(request, "parts-import-done", file.pk)


@require_GET
@allowed("see to parts")
def parts_export(request: Request) -> HttpResponse:
    return render(request, "inventory/parts_export.html", {"tables": exports.TABLES})


@require_GET
@allowed("see to parts")
def parts_export_file(request: Request, slug: str) -> HttpResponse:
    table = exports.by_slug(slug)
    if table is None:
        raise Http404
    name = f"{table.slug}-{timezone.localdate():%Y-%m-%d}.csv"
    return csv_out.answer(name, table.head, table.rows())


def _choose(request: Request, form: PartsFileForm, *, why: str = "", status: int = 200) -> HttpResponse:
    context = {
        "form": form,
        "why": why,
        "columns": files.COLUMNS,
        "earlier": Import.objects.select_related("by")[:20],
    }
    return render(request, "inventory/parts_import.html", context, status=status)


def _look(
    request: Request, name: str, text: str, notes: list[str], *, why: str = "", status: int = 200
) -> HttpResponse:
    """Show what each line would do. Raises FileRefused."""
    read = files.read_parts(text.encode(), request.shop.currency)
    plan = importing.plan(read.lines)
    context: dict[str, Any] = {
        "name": name,
        "notes": [*notes, *read.notes],
        "plan": plan,
        "unread": plan.of(Does.UNREAD),
        "read": [each for each in plan.lines if each.does is not Does.UNREAD],
        "does_something": plan.new + plan.changed > 0,
        "parcel": parcel(name, text, notes, plan.seal),
        "why": why,
    }
    return render(request, "inventory/parts_import_plan.html", context, status=status)
