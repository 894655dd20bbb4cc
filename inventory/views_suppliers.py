"""Suppliers, and what they offer."""

from django.contrib import messages
from django.db.models import Count, Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory import ordering
from inventory.forms_orders import NewOfferForm, OfferForm, SupplierForm
from inventory.models import Offer, Part, Supplier
from shop import timeline
from shop.access import allowed
from shop.conflict import both_versions, keeps_theirs
from shop.errors import Refused
from shop.http import Request, go_to, page_or_part
from shop.once import once

_ORDERS_SHOWN = 20
_OFFERS_SHOWN = 300


@require_GET
@allowed("see parts")
def suppliers(request: Request) -> HttpResponse:
    """Who sells parts to the shop, and how many orders are open there."""
    open_orders = Count("orders", filter=Q(orders__sent_at__isnull=False, orders__closed_at__isnull=True))
    rows = Supplier.objects.annotate(open_orders=open_orders).order_by("-is_in_use", "name")
    return page_or_part(request, "inventory/suppliers.html", {"rows": rows}, part="suppliers")


@require_GET
@allowed("see parts")
def supplier(request: Request, pk: int) -> HttpResponse:
    """One supplier: how to reach them, what they sell, what was ordered."""
    supplier = get_object_or_404(Supplier, pk=pk)
    offers = supplier.offers.select_related("part").order_by("part__kind", "part__name", "pk")
    context = {
        "supplier": supplier,
        "offers": [
            {"offer": offer, "each": ordering.price_of_one(offer)} for offer in offers[:_OFFERS_SHOWN]
        ],
        "orders": supplier.orders.annotate(lines_count=Count("lines"))[:_ORDERS_SHOWN],
        "entries": timeline.of(supplier)[:20],
    }
    return render(request, "inventory/supplier.html", context)


@require_http_methods(["GET", "POST"])
@allowed("order parts")
@once
def supplier_new(request: Request) -> HttpResponse:
    form = SupplierForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        supplier = ordering.new_supplier(facts=form.facts(), by=request.user)
        messages.success(request, f"{supplier} is written down.")
        return go_to(request, "supplier", supplier.pk)
    status = 422 if form.is_bound else 200
    return render(request, "inventory/supplier_edit.html", {"form": form}, status=status)


@require_http_methods(["GET", "POST"])
@allowed("order parts")
@once
def supplier_edit(request: Request, pk: int) -> HttpResponse:
    if keeps_theirs(request):
        return go_to(request, "supplier", pk)
    rows = Supplier.objects.select_for_update() if request.method == "POST" else Supplier
    instance = get_object_or_404(rows, pk=pk)
    form = SupplierForm(request.POST if request.method == "POST" else None, instance=instance)
    supplier = get_object_or_404(Supplier, pk=pk)  # as it is: the form writes on its own
    if form.is_valid():
        ordering.change_supplier(supplier, facts=form.facts(), by=request.user)
        messages.success(request, "Kept.")
        return go_to(request, "supplier", pk)
    if form.changed_meanwhile:
        return both_versions(request, form)
    context = {"form": form, "supplier": supplier}
    return render(request, "inventory/supplier_edit.html", context, status=422 if form.is_bound else 200)


@require_http_methods(["GET", "POST"])
@allowed("order parts")
@once
def offer_new(request: Request, pk: int) -> HttpResponse:
    """Who sells a part."""
    part = get_object_or_404(Part, pk=pk)
    data = request.POST if request.method == "POST" else None
    form = NewOfferForm(data, currency=request.shop.currency)
    if form.is_valid():
        try:
            supplier = form.cleaned_data["supplier"]
            ordering.offer(part, supplier, facts=form.facts(), by=request.user)
        except Refused as why:
            form.add_error("number", str(why))
        else:
            messages.success(request, f"{supplier} sells {part}.")
            return go_to(request, "part", pk)
    context = {"form": form, "part": part, "any_supplier": Supplier.objects.filter(is_in_use=True).exists()}
    return render(request, "inventory/offer_edit.html", context, status=422 if form.is_bound else 200)


@require_http_methods(["GET", "POST"])
@allowed("order parts")
@once
def offer_edit(request: Request, pk: int) -> HttpResponse:
    rows = Offer.objects.select_for_update(of=("self",)) if request.method == "POST" else Offer.objects
    instance = get_object_or_404(rows, pk=pk)
    if keeps_theirs(request):
        return go_to(request, "part", instance.part_id)
    data = request.POST if request.method == "POST" else None
    form = OfferForm(data, instance=instance, currency=request.shop.currency)
    offer = get_object_or_404(Offer.objects.select_related("part", "supplier"), pk=pk)
    if form.is_valid():
        try:
            ordering.change_offer(offer, facts=form.facts(), by=request.user)
        except Refused as why:
            form.add_error("number", str(why))
        else:
            messages.success(request, "Kept.")
            return go_to(request, "part", offer.part_id)
    if form.changed_meanwhile:
        return both_versions(request, form)
    context = {"form": form, "offer": offer, "part": offer.part, "any_supplier": True}
    return render(request, "inventory/offer_edit.html", context, status=422 if form.is_bound else 200)


@require_POST
@allowed("order parts")
@once
def offer_drop(request: Request, pk: int) -> HttpResponse:
    offer = get_object_or_404(Offer.objects.select_related("part", "supplier"), pk=pk)
    ordering.drop_offer(offer, by=request.user)
    messages.success(request, f"{offer.supplier} sells {offer.part} no more.")
    return go_to(request, "part", offer.part_id)
