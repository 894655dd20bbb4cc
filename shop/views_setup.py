"""The first start, and what the owner decides afterwards: the shop's data, taxes, terms."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from shop import doors, opening, rules
from shop.access import allowed, open_to_all
from shop.conflict import both_versions, keeps_theirs
from shop.errors import Refused
from shop.forms_setup import EndRateForm, OpeningForm, RateForm, ShopForm, TermsForm
from shop.http import Request, go_to
from shop.models import Shop, TaxRate, Terms
from shop.once import once


@require_http_methods(["GET", "POST"])
@open_to_all
@once
def first_start(request: Request) -> HttpResponse:
    if request.shop is not None:
        return redirect("home")
    form = OpeningForm(request.POST if request.method == "POST" else None)
    if form.is_bound:
        _check_code(form)
        if form.is_valid() and _opened(request, form):
            return go_to(request, "home")
    return render(request, "shop/first_start.html", {"form": form}, status=422 if form.is_bound else 200)


def _check_code(form: OpeningForm) -> None:
    if "code" in form.errors:
        return
    try:
        opening.check_code(form.cleaned_data["code"])
    except Refused as refusal:
        form.add_error("code", str(refusal))


def _opened(request: Request, form: OpeningForm) -> bool:
    try:
        owner = opening.open_shop(**form.asked())
    except Refused as refusal:
        form.add_error(None, str(refusal))
        return False
    doors.come_in_as(request, owner)
    return True


@require_http_methods(["GET", "POST"])
@allowed("set up the shop")
@doors.fresh_password
@once
def shop_settings(request: Request) -> HttpResponse:
    if keeps_theirs(request):
        return go_to(request, "shop-settings")
    shop = get_object_or_404(Shop.objects.select_for_update() if request.method == "POST" else Shop, pk=1)
    form = ShopForm(request.POST if request.method == "POST" else None, instance=shop)
    if form.is_valid():
        rules.change_shop(values=form.cleaned_data, by=request.user)
        messages.success(request, "Kept.")
        return go_to(request, "shop-settings")
    if form.changed_meanwhile:
        return both_versions(request, form)
    return render(request, "shop/settings.html", {"form": form}, status=422 if form.is_bound else 200)


# --- taxes


@require_http_methods(["GET", "POST"])
@allowed("set up the shop")
@doors.fresh_password
@once
def taxes(request: Request) -> HttpResponse:
    today = timezone.localdate()
    form = RateForm(request.POST if request.method == "POST" else None, initial={"valid_from": today})
    if form.is_valid():
        rate = rules.add_rate(values=form.cleaned_data, by=request.user)
        messages.success(request, f"{rate} is on the list.")
        return go_to(request, "taxes")
    context = {
        "form": form,
        "rates": TaxRate.objects.all(),
        "in_force": set(TaxRate.objects.on(today)),
        "today": today,
    }
    return render(request, "shop/taxes.html", context, status=422 if form.is_bound else 200)


@require_http_methods(["GET", "POST"])
@allowed("set up the shop")
@doors.fresh_password
@once
def tax_end(request: Request, pk: int) -> HttpResponse:
    if keeps_theirs(request):
        return go_to(request, "taxes")
    rates = TaxRate.objects.select_for_update() if request.method == "POST" else TaxRate
    rate = get_object_or_404(rates, pk=pk)
    form = EndRateForm(request.POST if request.method == "POST" else None, instance=rate)
    if form.is_valid():
        try:
            rules.end_rate(
                TaxRate.objects.get(pk=pk), last_day=form.cleaned_data["valid_to"], by=request.user
            )
        except Refused as refusal:
            form.add_error("valid_to", str(refusal))
        else:
            return go_to(request, "taxes")
    if form.changed_meanwhile:
        return both_versions(request, form)
    context = {"form": form, "rate": TaxRate.objects.get(pk=pk)}
    return render(request, "shop/tax_end.html", context, status=422 if form.is_bound else 200)


# --- terms


@require_http_methods(["GET", "POST"])
@allowed("set up the shop")
@doors.fresh_password
@once
def terms(request: Request) -> HttpResponse:
    if keeps_theirs(request):
        return go_to(request, "terms")
    now = Terms.current()
    data = request.POST if request.method == "POST" else None
    form = TermsForm(data, instance=now, currency=request.shop.currency)
    if form.is_valid():
        kept = rules.write_terms(values=form.cleaned_data, by=request.user)
        messages.success(request, f"Version {kept.version} is what customers sign from now on.")
        return go_to(request, "terms")
    if form.changed_meanwhile:
        return both_versions(request, form)
    context = {
        "form": form,
        "now": now,
        "next_version": now.version + 1 if now else 1,
        "versions": Terms.objects.select_related("made_by"),
    }
    return render(request, "shop/terms.html", context, status=422 if form.is_bound else 200)


@require_GET
@allowed("set up the shop")
@doors.fresh_password
def terms_version(request: Request, version: int) -> HttpResponse:
    kept = get_object_or_404(Terms.objects.select_related("made_by"), version=version)
    return render(request, "shop/terms_version.html", {"kept": kept, "now": Terms.current()})
