"""Charges on a job: labour, parts by hand, fees, discounts."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from intake import charges, job_page
from intake.billing import CantBill, in_order, is_exempt, today, total_of
from intake.editing import edit
from intake.forms_bench import ChargeForm, NewChargeForm
from intake.forms_estimates import AgreedForm
from intake.models import Charge, Job
from intake.models.bills import LineKind
from intake.spending import AskFirst
from intake.views_estimates import ask_about
from shop.access import allowed
from shop.errors import ChangedMeanwhile, Refused
from shop.http import Request, go_to, page_or_part
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
def job_charge_agreed(request: Request, claim: str) -> HttpResponse:
    """What was agreed to and isn't charged yet, to be looked at, and charged by one tap."""
    job = job_page.find(claim)
    if request.method == "GET":
        return _agreed_page(request, job)
    form = _agreed_form(request, charges.left_of_agreed(job), request.POST)
    if not form.is_valid() and form.is_fresh:
        return _agreed_page(request, job, form, status=422)
    said = form.cleaned_data
    try:
        made = charges.charge_agreed(
            job, chosen=said.get("lines"), seen=said.get("seen", ""), by=request.user
        )
    except ChangedMeanwhile as why:
        return _agreed_page(request, job, problem=str(why), status=why.status)
    except Refused as why:
        form.add_error(None, str(why))
        return _agreed_page(request, job, form, asks=isinstance(why, AskFirst), status=why.status)
    messages.success(request, f"Charged, as agreed to: {', '.join(line.text for line in made)}.")
    return go_to(request, f"{job.get_absolute_url()}#charges")


def _agreed_form(request: Request, left: charges.Agreed | None, data: Any = None) -> AgreedForm:
    lines = left.charges if left else ()
    return AgreedForm(data, lines=lines, mark=left.mark if left else "", currency=request.shop.currency)


def _agreed_page(
    request: Request,
    job: Job,
    form: AgreedForm | None = None,
    *,
    problem: str = "",
    asks: bool = False,
    status: int = 200,
) -> HttpResponse:
    left, currency = charges.left_of_agreed(job), request.shop.currency
    context = {
        "job": job,
        "left": left,
        "form": form or _agreed_form(request, left),
        "others": [charges.in_words(line, currency) for line in left.others] if left else [],
        "problem": problem,
        "asks": asks,
        **_with_these(request, job, left),
    }
    return page_or_part(request, "intake/charge_agreed.html", context, part="charge-agreed", status=status)


def _with_these(request: Request, job: Job, left: charges.Agreed | None) -> dict[str, Any]:
    """What isn't invoiced would come to with all that is left, tax included; or why that makes no bill."""
    lines = in_order([*job.charges.to_invoice(), *(left.charges if left else ())])
    try:
        bill = total_of(lines, request.shop, today(request.shop), exempt=is_exempt(job.person))
    except CantBill as why:
        return {"broken": str(why)}
    return {"with_these": bill.gross, "agreed": left.estimate.answer.agreed if left else None}


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
        about=job,
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
