"""What is short, what jobs wait for, and the boxes that say so on other pages."""

from typing import Any

from django.contrib import messages
from django.db.models import Exists, OuterRef
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from calc.engine.quantities import QuantityError
from intake import job_page
from intake.models import Job, State
from inventory import demand, ordering, values, wants
from inventory.forms_orders import GatherForm, PartOrderForm, WantForm
from inventory.models import Order, OrderLine, Part, Want
from inventory.short import Short, short_list, waiting_for
from shop.access import allowed
from shop.errors import Refused
from shop.http import Request, go_to, page_or_part
from shop.once import once

_FOUND = 30
_SHOWN = 8


@require_GET
@allowed("see parts")
def short(request: Request) -> HttpResponse:
    """What is short, for jobs first."""
    found = _read(request)
    return _short(request, found, GatherForm(parts=found.parts))


@require_POST
@allowed("order parts")
@once
def order_gather(request: Request) -> HttpResponse:
    """Put what is ticked on the next order of its supplier."""
    found = _read(request)
    form = GatherForm(request.POST, parts=found.parts)
    if form.is_valid():
        try:
            orders = ordering.gather(form.picks(), by=request.user)
        except Refused as why:
            form.add_error(None, str(why))
        else:
            names = ", ".join(f"{str(order).lower()} ({order.supplier})" for order in orders)
            messages.success(request, f"Gathered: {names}. Look it over, then send it.")
            return go_to(request, *(("order", orders[0].number) if len(orders) == 1 else ("orders",)))
    return _short(request, found, form, status=422)


def _read(request: Request) -> Short:
    return short_list(demand.reorder_points(timezone.localdate(), request.shop.zone))


def _short(request: Request, found: Short, form: GatherForm, status: int = 200) -> HttpResponse:
    context = {
        "form": form,
        "here": found.here,
        "rows": form.rows(),
        "nobody_sells": [part for part in found.parts if not part.offer][: form.SHOWN],
    }
    return page_or_part(request, "inventory/short.html", context, part="short", status=status)


@require_GET
@allowed("see to parts")
def job_want(request: Request, claim: str) -> HttpResponse:
    """Look for the part that a job needs."""
    job = job_page.find(claim)
    text = "".join(c for c in request.GET.get("q", "")[:120] if c.isprintable()).strip()
    parts, wrong = [], ""
    if text:
        try:
            parts = list(values.find(values.read_search(text), _FOUND))
        except QuantityError as why:
            wrong = str(why)
    context = {"job": job, "text": text, "parts": parts, "wrong": wrong}
    return page_or_part(request, "inventory/job_want.html", context, part="want-found")


@require_http_methods(["GET", "POST"])
@allowed("see to parts")
@once
def part_want(request: Request, pk: int) -> HttpResponse:
    """A job needs a part that isn't here."""
    part = get_object_or_404(Part, pk=pk)
    if request.method == "GET":
        form = WantForm(initial={"claim": request.GET.get("job", "")[:40], "quantity": 1})
        return render(request, "inventory/part_want.html", {"form": form, "part": part})
    form = WantForm(request.POST)
    if form.is_valid():
        job, quantity = form.cleaned_data["claim"], form.cleaned_data["quantity"]
        try:
            wants.want(part, job, quantity=quantity, by=request.user)
        except Refused as why:
            form.add_error(None, str(why))
        else:
            messages.success(request, f"{job} needs {quantity} × {part}. It stands first in what is short.")
            return go_to(request, job)
    return render(request, "inventory/part_want.html", {"form": form, "part": part}, status=422)


@require_POST
@allowed("see to parts")
@once
def want_drop(request: Request, pk: int) -> HttpResponse:
    want = get_object_or_404(Want.objects.select_related("part", "job__gear"), pk=pk)
    ready = wants.drop(want, by=request.user)
    messages.success(request, f"{want.part} isn't wanted any more.")
    return _to_the_job(request, want.job, ready)


@require_POST
@allowed("see to parts")
@once
def want_shelf(request: Request, pk: int) -> HttpResponse:
    want = get_object_or_404(Want.objects.select_related("part", "job__gear"), pk=pk)
    ready = wants.from_the_shelf(want, by=request.user)
    messages.success(request, f"{want.part} is put aside.")
    return _to_the_job(request, want.job, ready)


def _to_the_job(request: Request, job: Job, ready: Job | None) -> HttpResponse:
    if ready:
        messages.success(request, f"{job} waits for no parts now: it is back in line.")
    return go_to(request, job)


# --- Boxes on other pages ------------------------------------------------------------------------------------


def part_panel(request: Request, part: Part) -> dict[str, Any]:
    """Who sells a part, what of it is on order, and which jobs wait for it."""
    lines = OrderLine.objects.filter(part=part, order__closed_at__isnull=True, will_not_come=False)
    offers = list(part.offers.select_related("supplier"))
    return {
        "part": part,
        "offers": [{"offer": offer, "each": ordering.price_of_one(offer)} for offer in offers],
        "on_order": [line for line in lines.select_related("order__supplier", "job") if line.open],
        "wants": list(part.wants.open().select_related("job__gear")),
        "form": PartOrderForm(part=part, initial={"offer": offers[0].pk}) if offers else None,
        "today": timezone.localdate(),
    }


def job_panel(request: Request, job: Job) -> dict[str, Any] | None:
    """What a job waits for."""
    rows = waiting_for(job)
    if not rows and job.is_over:
        return None
    return {"rows": rows, "job": job, "today": timezone.localdate()}


def front_panel(request: Request, thing: None) -> dict[str, Any] | None:
    """Whose parts are all here now, what of them nobody ordered, and which orders are late."""
    wanted = Want.objects.filter(job=OuterRef("pk"))
    here = list(
        Job.objects.standing(State.IN_LINE)
        .filter(
            Exists(wanted.filter(came__gt=0, ended_at__isnull=False)),
            ~Exists(wanted.filter(ended_at__isnull=True)),
        )
        .with_card()
        .order_by("state_since", "pk")[: _SHOWN + 1]
    )
    late = list(
        Order.objects.filter(
            sent_at__isnull=False, closed_at__isnull=True, due_on__lt=timezone.localdate()
        ).select_related("supplier")[: _SHOWN + 1]
    )
    on_lines = OrderLine.objects.filter(
        part=OuterRef("part"), job=OuterRef("job"), order__closed_at__isnull=True, will_not_come=False
    )
    unordered = Want.objects.open().filter(~Exists(on_lines)).count()
    if not (here or late or unordered):
        return None
    return {
        "here": here[:_SHOWN],
        "here_more": len(here) > _SHOWN,
        "late": late[:_SHOWN],
        "late_more": len(late) > _SHOWN,
        "unordered": unordered,
    }
