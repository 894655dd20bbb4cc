"""Charges on a job: labour, parts by hand, fees, discounts."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from intake import charges, job_page
from intake.editing import edit
from intake.forms_bench import ChargeForm, NewChargeForm
from intake.models import Charge
from intake.models.bills import LineKind
from intake.spending import AskFirst
from intake.views_estimates import ask_about
from shop.access import allowed
from shop.errors import Refused
from shop.http import Request, go_to
from shop.once import once


@require_GET
@allowed("see jobs")
def job_charges(request: Request, claim: str) -> HttpResponse:
    return job_page.show(request, job_page.find(claim), part="charges")


@require_POST
@allowed("charge jobs")
@once
def job_charge(request: Request, claim: str) -> HttpResponse:
    job = job_page.find(claim)
    form, ask_url = NewChargeForm(request.POST, currency=request.shop.currency, auto_id="charge-%s"), ""
    if form.is_valid():
        unit = "h" if form.cleaned_data["kind"] == LineKind.LABOUR else ""
        try:
            charges.charge(job, unit=unit, by=request.user, **form.priced(request.shop))
            return job_page.kept(request, job, part="charges")
        except Refused as why:
            form.add_error(None, str(why))
            if isinstance(why, AskFirst):
                ask_url = ask_about(job, form.cleaned_data)
    return job_page.show(request, job, part="charges", status=422, charge_form=form, ask_url=ask_url)


@require_http_methods(["GET", "POST"])
@allowed("charge jobs")
@once
def job_charge_edit(request: Request, claim: str, pk: int) -> HttpResponse:
    job = job_page.find(claim)
    charge = get_object_or_404(job.charges, pk=pk)

    def now() -> tuple[Charge, int]:
        charge.refresh_from_db()
        return charge, charge.revision

    def save(form: ChargeForm) -> None:
        charges.change(charge, by=request.user, **form.priced(request.shop))

    return edit(
        request,
        job=job,
        form_class=ChargeForm,
        now=now,
        save=save,
        done=f"{job.get_absolute_url()}#charges",
        heading="Change the charge",
        strike=reverse("job-charge-strike", args=[claim, pk]),
    )


@require_POST
@allowed("charge jobs")
@once
def job_charge_strike(request: Request, claim: str, pk: int) -> HttpResponse:
    job = job_page.find(claim)
    charges.strike(get_object_or_404(job.charges, pk=pk), by=request.user)
    messages.success(request, "Struck out. It can be put back below.")
    return go_to(request, f"{job.get_absolute_url()}#charges")


@require_POST
@allowed("charge jobs")
@once
def job_charge_put_back(request: Request, claim: str, pk: int) -> HttpResponse:
    job = job_page.find(claim)
    charges.put_back(get_object_or_404(job.charges, pk=pk), by=request.user)
    messages.success(request, "Put back.")
    return go_to(request, f"{job.get_absolute_url()}#charges")
