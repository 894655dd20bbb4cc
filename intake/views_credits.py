"""Money that goes back or is let go: credit notes, refunds, write-offs."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from intake import billing, credits, payments
from intake.forms_money import CreditForm, RefundForm, WriteOffForm
from intake.models import Invoice, Job
from intake.views_money import account_context, invoice_named, job_with_card, sale_named
from shop.access import allowed
from shop.errors import Refused
from shop.http import Request, go_to, page_or_part
from shop.once import once


@require_http_methods(["GET", "POST"])
@allowed("issue invoices")
@once
def invoice_credit(request: Request, label: str) -> HttpResponse:
    """Which lines of an invoice are credited, and how much of each; sent, the credit note is issued."""
    invoice = invoice_named(label)
    if invoice.kind != Invoice.Kind.INVOICE:
        return redirect("invoice", label)
    rows = credits.creditable(invoice)
    form = CreditForm(request.POST if request.method == "POST" else None, invoice=invoice, rows=rows)
    if not form.is_valid():
        return _credit_form(request, invoice, rows, form, status=422 if form.is_bound else 200)
    try:
        note = credits.credit(
            invoice,
            taken=form.taken(),
            reason=form.cleaned_data["reason"],
            charge_again=form.cleaned_data["charge_again"],
            by=request.user,
        )
    except Refused as why:
        form.add_error(None, str(why))
        return _credit_form(request, invoice, credits.creditable(invoice), form, status=why.status)
    messages.success(request, f"Credit note {note.label} is issued.")
    return go_to(request, "invoice", note.label)


def _credit_form(
    request: Request, invoice: Invoice, rows: list[Any], form: CreditForm, *, status: int
) -> HttpResponse:
    context = {
        "invoice": invoice,
        "job": invoice.job,
        "form": form,
        "rows": form.shown_rows(),
        "left": [row for row in rows if row.quantity > 0],
        "currency": invoice.currency,
    }
    return page_or_part(request, "intake/credit_new.html", context, part="credit-form", status=status)


@require_http_methods(["GET", "POST"])
@allowed("take money")
@once
def job_refund(request: Request, claim: str) -> HttpResponse:
    return _refund(request, job_with_card(claim))


@require_http_methods(["GET", "POST"])
@allowed("take money")
@once
def invoice_refund(request: Request, label: str) -> HttpResponse:
    """The same for what was sold over the counter."""
    return _refund(request, sale_named(label))


def _refund(request: Request, of: Job | Invoice) -> HttpResponse:
    currency, in_hand = request.shop.currency, billing.account(of).in_hand
    data = request.POST if request.method == "POST" else None
    form = RefundForm(data, initial={"amount": in_hand or None}, currency=currency)
    if form.is_valid():
        try:
            given = payments.give_back(of, by=request.user, **form.cleaned_data)
        except Refused as why:
            form.add_error(None, str(why))
            return _show(request, "intake/refund.html", of, form, status=why.status)
        return go_to(request, "payment", given.pk)
    return _show(request, "intake/refund.html", of, form, status=422 if form.is_bound else 200)


@require_http_methods(["GET", "POST"])
@allowed("write off")
@once
def job_write_off(request: Request, claim: str) -> HttpResponse:
    return _write_off(request, job_with_card(claim))


@require_http_methods(["GET", "POST"])
@allowed("write off")
@once
def invoice_write_off(request: Request, label: str) -> HttpResponse:
    """The same for what was sold over the counter."""
    return _write_off(request, sale_named(label))


def _write_off(request: Request, of: Job | Invoice) -> HttpResponse:
    currency, owed = request.shop.currency, billing.account(of).owed
    data = request.POST if request.method == "POST" else None
    form = WriteOffForm(data, initial={"amount": owed or None}, currency=currency)
    if form.is_valid():
        try:
            payments.write_off(of, by=request.user, **form.cleaned_data)
        except Refused as why:
            form.add_error(None, str(why))
            return _show(request, "intake/write_off.html", of, form, status=why.status)
        messages.success(request, "It is written off, and the reason is kept.")
        return go_to(request, of.get_absolute_url())
    return _show(request, "intake/write_off.html", of, form, status=422 if form.is_bound else 200)


def _show(request: Request, template: str, of: Job | Invoice, form: Any, *, status: int) -> HttpResponse:
    return page_or_part(
        request, template, {**account_context(of), "form": form}, part="money-form", status=status
    )
