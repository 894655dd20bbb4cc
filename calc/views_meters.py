"""The shop's meters: the list, one of them, in use and out of use."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from calc import meters, on_hand
from calc.engine.quantities import UNITS
from calc.forms_meters import MeterForm
from calc.models import Meter
from shop import timeline
from shop.access import allowed
from shop.conflict import both_versions, keeps_theirs
from shop.http import Request, go_to, page_or_part
from shop.once import once


@require_GET
@allowed("see jobs")
def meter_list(request: Request) -> HttpResponse:
    today = timezone.localdate()
    rows = [
        {
            "meter": meter,
            "calibration": meters.calibration(meter.due_on, today),
            "sure": [
                {"sign": UNITS[each.unit].symbol, "words": meters.sure(each)}
                for each in meter.accuracies.all()
            ],
        }
        for meter in Meter.objects.order_by("-is_here", "name").prefetch_related("accuracies")
    ]
    return page_or_part(request, "calc/meters.html", {"rows": rows}, part="meters")


@require_http_methods(["GET", "POST"])
@allowed("see to meters")
@once
def meter_new(request: Request) -> HttpResponse:
    form = MeterForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        meter = meters.add(by=request.user, **form.asked())
        messages.success(request, f"{meter.name} is on the list.")
        return go_to(request, "meters")
    return render(request, "calc/meter_new.html", {"form": form}, status=422 if form.is_bound else 200)


@require_http_methods(["GET", "POST"])
@allowed("see to meters")
@once
def meter_edit(request: Request, pk: int) -> HttpResponse:
    if keeps_theirs(request):
        return go_to(request, "meter-edit", pk)
    rows = Meter.objects.select_for_update() if request.method == "POST" else Meter
    form = MeterForm(
        request.POST if request.method == "POST" else None, instance=get_object_or_404(rows, pk=pk)
    )
    meter = get_object_or_404(Meter, pk=pk)  # as it is: the form writes on its own
    if form.is_valid():
        meters.change(meter, by=request.user, **form.asked())
        messages.success(request, "Kept.")
        return go_to(request, "meters")
    if form.changed_meanwhile:
        return both_versions(request, form)
    context = {
        "form": form,
        "meter": meter,
        "calibration": meters.calibration(meter.due_on, timezone.localdate()),
        "elsewhere": None if meter.is_here else on_hand.where(meter),
        "entries": timeline.of(meter)[:50],
    }
    return render(request, "calc/meter_edit.html", context, status=422 if form.is_bound else 200)


@require_POST
@allowed("see to meters")
@once
def meter_put_away(request: Request, pk: int) -> HttpResponse:
    meter = get_object_or_404(Meter, pk=pk)
    meters.put_away(meter, by=request.user)
    messages.success(request, f"{meter.name} is out of use. No worksheet offers it.")
    return go_to(request, "meters")


@require_POST
@allowed("see to meters")
@once
def meter_bring_back(request: Request, pk: int) -> HttpResponse:
    meter = get_object_or_404(Meter, pk=pk)
    meters.bring_back(meter, by=request.user)
    messages.success(request, f"{meter.name} is in use again.")
    return go_to(request, "meters")
