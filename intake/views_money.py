"""Money on a job, over HTTP: the panel on its page, estimates and answers, invoices, payments."""

import datetime as dt
from collections.abc import Iterable
from decimal import Decimal
from typing import Any, Final

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from intake import billing, estimating, pickup
from intake.forms_money import (
    AnswerForm,
    AsIsForm,
    EstimateForm,
    InvoiceForm,
    PaymentForm,
    ReadyNoticeForm,
    rows_formset,
    typed_rows,
)
from intake.models import Estimate, Invoice, Job, Payment, State
from intake.signatures import picture_of
from shop import papers
from shop.access import allowed
from shop.addresses import lan_url
from shop.errors import ChangedMeanwhile, Refused
from shop.http import Request, go_to, page_or_part, wants_part
from shop.once import once

VALID_FOR: Final = dt.timedelta(days=30)  # what an estimate's form proposes
MAY_BE_TOLD: Final = pickup.FROM


def _job(claim: str) -> Job:
    return get_object_or_404(Job.objects.with_card(), claim=claim)


# --- The panel on a job's page ---------------------------------------------------------------------------


def money_panel(request: Request, job: Job) -> dict[str, Any]:
    """What the job's page says about money: where it stands, and what comes next."""
    standing = billing.account(job)
    proposed, problem = None, ""
    try:
        proposed = billing.draft(job)
    except billing.CantBill as why:
        problem = str(why)
    latest = job.estimates.select_related("answer").first()
    told = pickup.told(job) if job.state in MAY_BE_TOLD else []
    return {
        "money": {
            "job": job,
            "estimate": latest,
            "answer": getattr(latest, "answer", None),
            "invoices": list(job.invoices.order_by("pk")),
            "payments": list(job.payments.select_related("by")),
            "account": standing,
            "draft": proposed,
            "problem": problem,
            "told": told,
            "may_be_told": job.state in MAY_BE_TOLD,
            "next": _next_act(job, latest, standing, proposed, told),
            "went": getattr(job, "pickup", None) if job.state == State.COLLECTED else None,
            "back_to_bench": _goes_on(job, latest),
            "may_go_as_is": State.GOING_HOME_AS_IS in billing.workflow.NEXT[State(job.state)],
        }
    }


def _goes_on(job: Job, latest: Estimate | None) -> bool:
    """The owner said yes and the job still waits for them: it can go back to the bench."""
    said_yes = latest is not None and hasattr(latest, "answer") and latest.answer.yes
    return job.state == State.OWNER_TO_DECIDE and said_yes


def _next_act(
    job: Job,
    latest: Estimate | None,
    standing: billing.Account,
    proposed: billing.Draft | None,
    told: list,
) -> str:
    """Name the one act that the panel offers as its main button; empty where there is none."""
    answered = latest is not None and hasattr(latest, "answer")
    if job.state == State.OWNER_TO_DECIDE:
        if latest is None:
            return "estimate"
        if not answered:
            return "answer"
        return "bench" if latest.answer.yes else "as is"
    if job.state in MAY_BE_TOLD:
        if not told:
            return "tell"
        if proposed is not None and proposed.charges:
            return "invoice"
        return "payment" if standing.owed else "pickup"
    if job.state == State.COLLECTED and standing.owed:
        return "payment"
    return ""


@require_GET
@allowed("see jobs")
def job_money(request: Request, claim: str) -> HttpResponse:
    """The panel alone, for a page whose charges changed; anybody else is led to the job."""
    job = _job(claim)
    if not wants_part(request):
        return go_to(request, f"{reverse('job', args=[claim])}#money")
    return render(request, "intake/_money_panel.html", {"job": job, **money_panel(request, job)})


# --- Estimates and answers -------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@allowed("charge jobs")
@once
def estimate_new(request: Request, claim: str) -> HttpResponse:
    job = _job(claim)
    if request.method == "GET":
        return _estimate_form(request, job, *_first_estimate_form(request, job))
    form = EstimateForm(request.POST)
    rows = rows_formset(request.shop.currency, request.POST)
    if not (form.is_valid() & rows.is_valid()):
        return _estimate_form(request, job, form, rows, status=422)
    try:
        made = estimating.make_estimate(job, lines=rows.written(), by=request.user, **form.cleaned_data)
    except ChangedMeanwhile as why:
        form = EstimateForm({**request.POST.dict(), "after": why.revision})
        form.add_error(None, str(why))
        return _estimate_form(request, job, form, rows, status=why.status)
    except Refused as why:
        form.add_error(None, str(why))
        return _estimate_form(request, job, form, rows, status=why.status)
    return go_to(request, "estimate", claim, made.number)


@require_POST
@allowed("charge jobs")
@once
def estimate_rows(request: Request, claim: str) -> HttpResponse:
    """The form again with one more line; what was typed stays. Nothing is kept."""
    job = _job(claim)
    form = EstimateForm(initial=request.POST.dict())
    rows = rows_formset(request.shop.currency, rows=typed_rows(request.POST), more=1)
    return _estimate_form(request, job, form, rows, part="estimate-rows")


def _estimate_form(
    request: Request,
    job: Job,
    form: EstimateForm,
    rows: Any,
    *,
    status: int = 200,
    part: str = "estimate-form",
) -> HttpResponse:
    context = {"job": job, "form": form, "rows": rows, "latest": job.estimates.first()}
    return page_or_part(request, "intake/estimate_new.html", context, part=part, status=status)


def _first_estimate_form(request: Request, job: Job) -> tuple[EstimateForm, Any]:
    """The form as it is first shown: from the charges so far, else from the estimate before, else empty."""
    latest = job.estimates.first()
    rows = estimating.from_charges(job)
    if latest is not None and (not rows or request.GET.get("from") == "estimate"):
        rows = [
            billing.Row(line.kind, line.text, line.quantity, line.unit_price) for line in latest.lines.all()
        ]
    form = EstimateForm(
        initial={
            "words": latest.words if latest else job.plain_findings,
            "valid_until": billing.today(request.shop) + VALID_FOR,
            "after": latest.number if latest else 0,
        }
    )
    return form, rows_formset(request.shop.currency, rows=[vars(row) for row in rows])


def _estimate(claim: str, number: int) -> Estimate:
    found = Estimate.objects.select_related(
        "job__gear", "job__person", "by", "answer__by", "answer__signature"
    )
    return get_object_or_404(found, job__claim=claim, number=number)


@require_GET
@allowed("see jobs")
def estimate(request: Request, claim: str, number: int) -> HttpResponse:
    """An estimate as its owner reads it, and the place for their answer."""
    shown = _estimate(claim, number)
    return _show_estimate(request, shown, AnswerForm(initial={"who": shown.job.person.name}))


@require_POST
@allowed("record an answer")
@once
def estimate_answer(request: Request, claim: str, number: int) -> HttpResponse:
    answered = _estimate(claim, number)
    form = AnswerForm(request.POST)
    if not form.is_valid():
        return _show_estimate(request, answered, form, status=422)
    said = form.cleaned_data
    try:
        kept = estimating.answer(
            answered,
            yes=said["yes"],
            how=said["how"],
            who=said["who"],
            words=said["words"],
            svg=said["strokes"],
            device=request.headers.get("User-Agent", ""),
            by=request.user,
        )
    except Refused as why:
        form.add_error(None, str(why))
        return _show_estimate(request, _estimate(claim, number), form, status=why.status)
    said_words = "go ahead" if kept.yes else "no"
    messages.success(request, f"The answer to estimate {number} is kept: {said_words}.")
    return go_to(request, f"{reverse('job', args=[claim])}#money")


def _show_estimate(request: Request, shown: Estimate, form: AnswerForm, *, status: int = 200) -> HttpResponse:
    context = {
        **_estimate_context(shown),
        "form": form,
        "why_not": estimating.why_not_answered(shown),
        "today": billing.today(request.shop),
    }
    return page_or_part(request, "intake/estimate.html", context, part="estimate-answer", status=status)


def _estimate_context(shown: Estimate) -> dict[str, Any]:
    answer = getattr(shown, "answer", None)
    return {
        "estimate": shown,
        "job": shown.job,
        "answer": answer,
        "signature": picture_of(answer.signature if answer else None),
        "lines": shown_lines((line, billing.line_amount(line, shown.currency)) for line in shown.lines.all()),
        "taxes": taxes_shown(shown.taxes),
        "currency": shown.currency,
    }


@require_GET
@allowed("print")
def estimate_paper(request: Request, claim: str, number: int) -> HttpResponse:
    shown = _estimate(claim, number)
    context = {
        **_estimate_context(shown),
        "paper": request.shop.paper.lower(),
        **_address(request, shown.job),
    }
    filename = f"estimate-{claim}-{number}.pdf"
    return papers.answer(request, "intake/papers/estimate.html", context, filename=filename)


def shown_lines(lines: Iterable[tuple[Any, Decimal]]) -> list[dict[str, Any]]:
    """The lines of a bill as pages and papers show them: what for, how many, of what price."""
    return [
        {
            "kind": line.get_kind_display(),
            "text": line.text,
            "times": billing.times(line),
            "each": line.unit_price,
            "amount": amount,
        }
        for line, amount in lines
    ]


def taxes_shown(kept: list[dict[str, str]]) -> list[dict[str, Any]]:
    """The taxes of an estimate or an invoice as a page shows them: sums are Decimal again."""
    return [{**tax, "base": Decimal(tax["base"]), "tax": Decimal(tax["tax"])} for tax in kept]


def _address(request: Request, job: Job) -> dict[str, str]:
    """The address that a paper's QR code holds."""
    return {"address": lan_url(request, reverse("scan", args=[job.claim]))}


# --- Invoices --------------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@allowed("issue invoices")
@once
def invoice_new(request: Request, claim: str) -> HttpResponse:
    """What an invoice issued now would say; sent, it is issued."""
    job = _job(claim)
    if request.method == "GET":
        fee = request.GET.get("fee", "")
        return _invoice_draft(request, job, fee if fee in ("charge", "leave") else "")
    form = InvoiceForm(request.POST)
    if not form.is_valid():
        return _invoice_draft(request, job, request.POST.get("fee", ""), form, status=422)
    said = form.cleaned_data
    try:
        issued = billing.issue_invoice(
            job, by=request.user, words=said["words"], charge_fee=_fee(said["fee"]), seen=said["seen"]
        )
    except Refused as why:
        form.add_error(None, str(why))
        return _invoice_draft(request, job, said["fee"], form, status=why.status)
    messages.success(request, f"Invoice {issued.label} is issued.")
    return go_to(request, "invoice", issued.label)


def _fee(word: str) -> bool | None:
    """What was chosen about the diagnosis fee; None leaves it to the shop's rule."""
    return {"charge": True, "leave": False}.get(word)


def _invoice_draft(
    request: Request, job: Job, fee: str, form: InvoiceForm | None = None, *, status: int = 200
) -> HttpResponse:
    proposed, problem = None, ""
    try:
        proposed = billing.draft(job, charge_fee=_fee(fee))
    except billing.CantBill as why:
        problem = str(why)
    if form is None:
        form = InvoiceForm(initial={"words": _plain_words(job)})
    standing = billing.account(job)
    sums = zip(proposed.charges, proposed.totals.lines, strict=True) if proposed else ()
    context = {
        "job": job,
        "form": form,
        "draft": proposed,
        "problem": problem,
        "fee": fee,
        "lines": shown_lines((charge, line.amount) for charge, line in sums),
        "taxes": taxes_shown(billing.taxes_as_kept(proposed.totals)) if proposed else [],
        "currency": request.shop.currency,
        "invoices": list(job.invoices.order_by("pk")),
        "account": standing,
        "to_pay": max(proposed.totals.gross - standing.in_hand, Decimal(0)) if proposed else None,
    }
    return page_or_part(request, "intake/invoice_new.html", context, part="invoice-draft", status=status)


def _plain_words(job: Job) -> str:
    """What the invoice says to the owner until somebody writes it better."""
    if job.plain_findings:
        return job.plain_findings
    found = job.findings.filter(struck_at__isnull=True)
    return "\n".join(
        ". ".join(part.rstrip(".") for part in (f.fault, f.cause, f.cure) if part) + "." for f in found
    )


def _invoice(label: str) -> Invoice:
    series, _, number = label.rpartition("-")
    if not (number.isascii() and number.isdigit() and len(number) <= 9):
        raise Http404("There is no such invoice.")
    found = Invoice.objects.select_related("job__gear", "job__person", "by")
    return get_object_or_404(found, series=series, number=int(number))


def _invoice_context(shown: Invoice) -> dict[str, Any]:
    standing = billing.account(shown.job)
    return {
        "invoice": shown,
        "job": shown.job,
        "lines": shown_lines((line, line.amount) for line in shown.lines.all()),
        "taxes": taxes_shown(shown.taxes),
        **_paid(shown.job),
        "others": list(shown.job.invoices.exclude(pk=shown.pk).order_by("pk")),
        "account": standing,
        "currency": shown.currency,
    }


def _paid(job: Job) -> dict[str, Any]:
    """The payments of a job, and the same as lines that are taken off a bill."""
    payments = list(job.payments.all())
    lines = [{"at": p.at, "how": p.get_method_display().lower(), "amount": -p.amount} for p in payments]
    return {"payments": payments, "paid": lines}


@require_GET
@allowed("see jobs")
def invoice(request: Request, label: str) -> HttpResponse:
    return render(request, "intake/invoice.html", _invoice_context(_invoice(label)))


@require_GET
@allowed("print")
def invoice_paper(request: Request, label: str) -> HttpResponse:
    shown = _invoice(label)
    context = {
        **_invoice_context(shown),
        "paper": request.shop.paper.lower(),
        "today": billing.today(request.shop),
        **_address(request, shown.job),
    }
    return papers.answer(
        request, "intake/papers/invoice.html", context, filename=f"invoice-{shown.label}.pdf"
    )


# --- Payments --------------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@allowed("take money")
@once
def payment_new(request: Request, claim: str) -> HttpResponse:
    job = _job(claim)
    currency = request.shop.currency
    if request.method == "GET":
        standing = billing.account(job)
        initial = {"amount": standing.owed or None, "deposit": not standing.owed}
        return _payment_form(request, job, PaymentForm(initial=initial, currency=currency))
    form = PaymentForm(request.POST, currency=currency)
    if not form.is_valid():
        return _payment_form(request, job, form, status=422)
    try:
        taken = billing.take_payment(job, by=request.user, **form.cleaned_data)
    except Refused as why:
        form.add_error(None, str(why))
        return _payment_form(request, job, form, status=why.status)
    return go_to(request, "payment", taken.pk)


def _payment_form(request: Request, job: Job, form: PaymentForm, *, status: int = 200) -> HttpResponse:
    context = {
        "job": job,
        "form": form,
        "account": billing.account(job),
        "not_invoiced": job.charges.to_invoice().exists(),
    }
    return page_or_part(request, "intake/payment_new.html", context, part="payment-form", status=status)


def _payment(pk: int) -> Payment:
    found = Payment.objects.select_related("job__gear", "job__person", "by")
    return get_object_or_404(found, pk=pk)


@require_GET
@allowed("see jobs")
def payment(request: Request, pk: int) -> HttpResponse:
    """What was just taken: the change to hand back, the receipt, the way on."""
    shown = _payment(pk)
    return render(
        request,
        "intake/payment.html",
        {
            "payment": shown,
            "job": shown.job,
            "change": billing.change(shown),
            "account": billing.account(shown.job),
            "may_go": shown.job.state in pickup.FROM,
        },
    )


@require_GET
@allowed("print")
def receipt_paper(request: Request, pk: int) -> HttpResponse:
    shown = _payment(pk)
    context = {**receipt_context(request, shown.job), "payment": shown, "change": billing.change(shown)}
    filename = f"receipt-{shown.job.claim}-{shown.pk}.pdf"
    return papers.answer(request, "intake/papers/receipt.html", context, filename=filename)


def receipt_context(request: Request, job: Job) -> dict[str, Any]:
    """What every receipt of a job says: its invoices and payments, what is owed, and how it went home."""
    went = getattr(job, "pickup", None)
    return {
        "job": job,
        "invoices": list(job.invoices.order_by("pk")),
        **_paid(job),
        "account": billing.account(job),
        "went": went,
        "signature": picture_of(went.signature if went else None),
        "pieces": [piece for piece in job.pieces.all() if piece.went_home_at],
        "today": billing.today(request.shop),
        **_address(request, job),
    }


# --- Told, and going home as is ----------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@allowed("record an answer")
@once
def ready_notice(request: Request, claim: str) -> HttpResponse:
    job = _job(claim)
    form = ReadyNoticeForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        try:
            pickup.tell(job, by=request.user, **form.cleaned_data)
        except Refused as why:
            form.add_error(None, str(why))
            return _notice_form(request, job, form, status=why.status)
        messages.success(request, "It is written down that the owner was told.")
        return go_to(request, f"{reverse('job', args=[claim])}#money")
    return _notice_form(request, job, form, status=422 if form.is_bound else 200)


def _notice_form(request: Request, job: Job, form: ReadyNoticeForm, *, status: int) -> HttpResponse:
    context = {
        "job": job,
        "form": form,
        "told": pickup.told(job),
        "phones": job.person.phones.all(),
        "may_be_told": job.state in MAY_BE_TOLD,
    }
    return page_or_part(request, "intake/ready_notice.html", context, part="notice-form", status=status)


@require_http_methods(["GET", "POST"])
@allowed("move jobs")
@once
def take_home_as_is(request: Request, claim: str) -> HttpResponse:
    job = _job(claim)
    if request.method == "GET":
        return _as_is_form(request, job, AsIsForm(initial={"revision": job.revision}))
    form = AsIsForm(request.POST)
    if not form.is_valid():
        return _as_is_form(request, job, form, status=422)
    try:
        billing.take_home_as_is(job, by=request.user, **form.cleaned_data)
    except ChangedMeanwhile as why:
        form = AsIsForm({**request.POST.dict(), "revision": why.revision})
        form.add_error(None, str(why))
        return _as_is_form(request, _job(claim), form, status=why.status)
    except Refused as why:
        form.add_error(None, str(why))
        return _as_is_form(request, job, form, status=why.status)
    messages.success(request, "It goes home as it is, for the diagnosis fee alone.")
    return go_to(request, f"{reverse('job', args=[claim])}#money")


def _as_is_form(request: Request, job: Job, form: AsIsForm, *, status: int = 200) -> HttpResponse:
    origin = billing.fee_origin(job)
    currency = request.shop.currency
    context = {
        "job": job,
        "form": form,
        "struck": shown_lines(
            (line, billing.line_amount(line, currency))
            for line in billing.in_order(job.charges.to_invoice().exclude(origin=origin))
        ),
        "currency": currency,
        "may_go_as_is": State.GOING_HOME_AS_IS in billing.workflow.NEXT[State(job.state)],
    }
    return page_or_part(request, "intake/pickup_as_is.html", context, part="as-is-form", status=status)
