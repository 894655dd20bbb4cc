"""Drawers: the list, one with what is in it, and its label scanned."""

from django.contrib import messages
from django.db.models import Count, Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from inventory import parts, values
from inventory.forms_parts import DrawerForm
from inventory.models import Drawer, Part
from shop import timeline
from shop.access import allowed
from shop.conflict import both_versions, keeps_theirs
from shop.errors import NotAllowedYet, Refused
from shop.http import Request, go_to
from shop.once import once


@require_GET
@allowed("see parts")
def drawers(request: Request) -> HttpResponse:
    rows = Drawer.objects.annotate(kinds=Count("parts", filter=Q(parts__is_in_use=True)))
    context = {
        "drawers": rows.order_by("-is_in_use", "code"),
        "without": Part.objects.in_use().filter(drawer__isnull=True).count(),
    }
    return render(request, "inventory/drawers.html", context)


@require_GET
@allowed("see parts")
def drawer(request: Request, pk: int) -> HttpResponse:
    one = get_object_or_404(Drawer, pk=pk)
    rows = one.parts.in_use().free()
    context = {
        "drawer": one,
        "rows": [{"part": part, "said": values.said_of(part)} for part in rows],
        "entries": timeline.of(one)[:50],
    }
    return render(request, "inventory/drawer.html", context)


@require_GET
@allowed("see parts")
def drawer_scan(request: Request, code: str) -> HttpResponse:
    """What the code on a drawer's label leads to."""
    found = Drawer.objects.filter(code__iexact=code).first()
    if found is None:
        raise NotAllowedYet(
            f"There is no drawer {code[:20]}. Its label may be an old one: look for its parts by name."
        )
    return redirect(found)


@require_http_methods(["GET", "POST"])
@allowed("see to parts")
@once
def drawer_new(request: Request) -> HttpResponse:
    form = DrawerForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        try:
            one = parts.new_drawer(facts={**form.cleaned_data, "is_in_use": True}, by=request.user)
        except Refused as refusal:
            form.add_error("code", str(refusal))
        else:
            messages.success(request, f"Drawer {one} is written down.")
            return go_to(request, one)
    return render(request, "inventory/drawer_edit.html", {"form": form}, status=422 if form.is_bound else 200)


@require_http_methods(["GET", "POST"])
@allowed("see to parts")
@once
def drawer_edit(request: Request, pk: int) -> HttpResponse:
    if keeps_theirs(request):
        return go_to(request, "drawer-edit", pk)
    rows = Drawer.objects.select_for_update() if request.method == "POST" else Drawer
    data = request.POST if request.method == "POST" else None
    form = DrawerForm(data, instance=get_object_or_404(rows, pk=pk))
    one = get_object_or_404(Drawer, pk=pk)  # as it is: the form writes on its own
    if form.is_valid():
        try:
            parts.change_drawer(one, facts=form.cleaned_data, by=request.user)
        except parts.CodeTaken as refusal:
            form.add_error("code", str(refusal))
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, "Kept.")
            return go_to(request, one)
    if form.changed_meanwhile:
        return both_versions(request, form)
    context = {"form": form, "drawer": one}
    return render(request, "inventory/drawer_edit.html", context, status=422 if form.is_bound else 200)
