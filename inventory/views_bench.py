"""The shop's bench gear: the list, one of them, lent out and back, in use and out of use."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from calc import meters
from calc.meters import always_text
from calc.models import Meter
from inventory import bench
from inventory.forms_bench import BenchGearForm, LendForm
from inventory.models import BenchGear, Loan
from shop import timeline
from shop.access import allowed
from shop.conflict import both_versions, keeps_theirs
from shop.errors import Refused
from shop.http import Request, go_to, page_or_part
from shop.once import once


@require_GET
@allowed("see parts")
def bench_gear(request: Request) -> HttpResponse:
    today = timezone.localdate()
    loans = {loan.gear_id: loan for loan in bench.open_loans()}
    meter_loans = {loan.gear.meter_id: loan for loan in loans.values() if loan.gear.meter_id}
    things = BenchGear.objects.exclude(kind=BenchGear.Kind.METER).order_by("-is_in_use", "kind", "name")
    context = {
        "meters": [
            {
                "meter": meter,
                "calibration": meters.calibration(meter.due_on, today),
                "loan": meter_loans.get(meter.pk),
            }
            for meter in Meter.objects.order_by("-is_here", "name")
        ],
        "things": [_shown(thing, loans.get(thing.pk)) for thing in things],
        "loans": [
            {"loan": loan, "late": loan.due_on is not None and loan.due_on < today} for loan in loans.values()
        ],
    }
    return page_or_part(request, "inventory/bench_gear.html", context, part="bench-gear")


@require_http_methods(["GET", "POST"])
@allowed("see to parts")
@once
def bench_gear_new(request: Request) -> HttpResponse:
    form = BenchGearForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        gear = bench.add(by=request.user, **form.asked())
        messages.success(request, f"{gear} is on the list.")
        return go_to(request, "bench-gear")
    return render(
        request, "inventory/bench_gear_new.html", {"form": form}, status=422 if form.is_bound else 200
    )


@require_http_methods(["GET", "POST"])
@allowed("see to parts")
@once
def bench_gear_edit(request: Request, pk: int) -> HttpResponse:
    if keeps_theirs(request):
        return go_to(request, "bench-gear-edit", pk)
    rows = BenchGear.objects.exclude(kind=BenchGear.Kind.METER)
    if request.method == "POST":
        rows = rows.select_for_update()
    form = BenchGearForm(
        request.POST if request.method == "POST" else None, instance=get_object_or_404(rows, pk=pk)
    )
    gear = get_object_or_404(BenchGear, pk=pk)  # as it is: the form writes on its own
    if form.is_valid():
        bench.change(gear, by=request.user, **form.asked())
        messages.success(request, "Kept.")
        return go_to(request, "bench-gear")
    if form.changed_meanwhile:
        return both_versions(request, form)
    context = {
        "form": form,
        "gear": gear,
        "loan": bench.open_loan(gear),
        "earlier": gear.loans.filter(back_at__isnull=False).select_related("by", "back_by")[:20],
        "entries": timeline.of(gear)[:50],
    }
    return render(request, "inventory/bench_gear_edit.html", context, status=422 if form.is_bound else 200)


@require_http_methods(["GET", "POST"])
@allowed("see to parts")
@once
def bench_gear_lend(request: Request, pk: int) -> HttpResponse:
    gear = get_object_or_404(BenchGear.objects.select_related("meter"), pk=pk)
    return _lend(request, gear, lambda **said: bench.lend(gear, **said))


@require_http_methods(["GET", "POST"])
@allowed("see to parts")
@once
def bench_meter_lend(request: Request, pk: int) -> HttpResponse:
    meter = get_object_or_404(Meter, pk=pk)
    return _lend(request, meter, lambda **said: bench.lend_meter(meter, **said))


@require_POST
@allowed("see to parts")
@once
def bench_gear_back(request: Request, pk: int) -> HttpResponse:
    loan = get_object_or_404(Loan.objects.select_related("gear__meter"), pk=pk)
    bench.take_back(loan, by=request.user)
    messages.success(request, f"{loan.gear} is back.")
    return go_to(request, "bench-gear")


@require_POST
@allowed("see to parts")
@once
def bench_gear_put_away(request: Request, pk: int) -> HttpResponse:
    gear = get_object_or_404(BenchGear.objects.exclude(kind=BenchGear.Kind.METER), pk=pk)
    bench.put_away(gear, by=request.user)
    messages.success(request, f"{gear} is out of use.")
    return go_to(request, "bench-gear")


@require_POST
@allowed("see to parts")
@once
def bench_gear_bring_back(request: Request, pk: int) -> HttpResponse:
    gear = get_object_or_404(BenchGear.objects.exclude(kind=BenchGear.Kind.METER), pk=pk)
    bench.bring_back(gear, by=request.user)
    messages.success(request, f"{gear} is in use again.")
    return go_to(request, "bench-gear")


def _lend(request: Request, thing: BenchGear | Meter, verb: Any) -> HttpResponse:
    form = LendForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        try:
            loan = verb(by=request.user, **form.cleaned_data)
        except Refused as why:
            form.add_error(None, str(why))
        else:
            messages.success(request, f"{loan.gear} is lent to {loan.to_whom}.")
            return go_to(request, "bench-gear")
    return render(
        request,
        "inventory/bench_gear_lend.html",
        {"form": form, "thing": thing, "action": request.path},
        status=422 if form.is_bound else 200,
    )


def _shown(thing: BenchGear, loan: Loan | None) -> dict[str, Any]:
    """A row of the list; its values as people write them."""
    sides = [always_text(each, "ohm") for each in (thing.impedance, thing.second_impedance) if each]
    return {
        "gear": thing,
        "ohms": " to ".join(sides),
        "watts": always_text(thing.watts, "W") if thing.watts else "",
        "loan": loan,
    }
