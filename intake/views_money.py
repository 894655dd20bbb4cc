"""Money on a job, over HTTP: the panel on its page, invoices, payments."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Any, Final

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from intake import billing, charges, credits, payments, pickup, reading
from intake.forms_money import AsIsForm, InvoiceForm, PaymentForm, ReadyNoticeForm
from intake.models import Estimate, Invoice, Job, Payment, State
from intake.signatures import picture_of
from shop import papers, sockets
from shop.access import allowed
from shop.addresses import lan_url
from shop.errors import ChangedMeanwhile, Refused
from shop.http import Request, go_to, page_or_part, wants_part
from shop.once import once

MAY_BE_TOLD: Final = pickup.FROM


def job_with_card(claim: str) -> Job:
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
    latest = reading.latest_estimate(job)
    told = pickup.told(job) if job.state in MAY_BE_TOLD else []
    return {
        "money": {
            "job": job,
            "estimate": latest,
            "answer": getattr(latest, "answer", None),
            "invoices": reading.invoices(job),
            "payments": [paid_line(payment) for payment in reading.payments(job)],
            "account": standing,
            "draft": proposed,
            "problem": problem,
            "told": told,
            "may_be_told": job.state in MAY_BE_TOLD,
            "next": _next_act(job, latest, standing, proposed, told),
            "went": getattr(job, "pickup", None) if job.state == State.COLLECTED else None,
            "back_to_bench": _goes_on(job, latest),
            "to_charge": _agreed_to_charge(job),
            "may_go_as_is": State.GOING_HOME_AS_IS in billing.workflow.NEXT[State(job.state)],
        }
    }


def _agreed_to_charge(job: Job) -> int:
    """How many lines that the owner agreed to aren't charged yet."""
    left = None if job.is_over else charges.left_of_agreed(job)
    return len(left.charges) if left else 0


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
    job = job_with_card(claim)
    if not wants_part(request):
        return go_to(request, f"{reverse('job', args=[claim])}#money")
    return render(request, "intake/_money_panel.html", {"job": job, **money_panel(request, job)})


# --- What papers and pages share ---


def shown_lines(lines: Iterable[tuple[Any, Decimal]]) -> list[dict[str, Any]]:
    """The lines of a bill as pages and papers show them: what for, how many, of what price."""
    return [
        {
            "kind": line.get_kind_display(),
            "text": line.text,
            "times": billing.times(line),
            "each": line.unit_price,
            "percent": getattr(line, "percent", None),
            "under_warranty": getattr(line, "under_warranty", False),
            "amount": amount,
        }
        for line, amount in lines
    ]


def taxes_shown(kept: list[dict[str, str]]) -> list[dict[str, Any]]:
    """The taxes of an estimate or an invoice as a page shows them: sums are Decimal again."""
    return [{**tax, "base": Decimal(tax["base"]), "tax": Decimal(tax["tax"])} for tax in kept]


def paid_line(payment: Payment) -> dict[str, Any]:
    """A payment as pages and papers show it. `off` is what it takes off a bill, so it is below zero."""
    return {
        "pk": payment.pk,
        "words": payments.in_words(payment),
        "at": payment.at,
        "by": payment.by,
        "note": payment.note,
        "amount": payment.amount,
        "off": -payment.amount,
        "is_refund": payment.amount < 0,
    }


def paper_address(request: Request, job: Job) -> dict[str, str]:
    """The address that a paper's QR code holds."""
    return {"address": lan_url(request, reverse("scan", args=[job.claim]))}


# --- Invoices --------------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@allowed("issue invoices")
@once
def invoice_new(request: Request, claim: str) -> HttpResponse:
    """What an invoice issued now would say; sent, it is issued."""
    job = job_with_card(claim)
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
        "rates": billing.rates_changed(job) if proposed else None,
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


def invoice_named(label: str) -> Invoice:
    """The invoice or the credit note with this label; 404 for none."""
    series, _, number = label.rpartition("-")
    if not (number.isascii() and number.isdigit() and len(number) <= 9):
        raise Http404("There is no such invoice.")
    found = Invoice.objects.select_related("job__gear", "job__person", "person", "by", "credits")
    return get_object_or_404(found, series=series, number=int(number))


def _invoice_context(shown: Invoice) -> dict[str, Any]:
    """What the page and the paper of an invoice say. `is_credit` is for a credit note."""
    of = shown.job or shown
    standing = billing.account(of)
    others = Invoice.objects.none()
    if shown.job:
        others = shown.job.invoices.exclude(pk=shown.pk).order_by("pk")
    elif shown.credits_id is None:
        others = shown.credit_notes.order_by("pk")
    return {
        "invoice": shown,
        "is_credit": shown.kind == Invoice.Kind.CREDIT_NOTE,
        "job": shown.job,
        "lines": shown_lines((line, line.amount) for line in shown.lines.all()),
        "taxes": taxes_shown(shown.taxes),
        "payments": [paid_line(payment) for payment in _payments_of(of)],
        "others": [
            {"label": other.label, "gross": other.gross, "is_credit": other.kind == Invoice.Kind.CREDIT_NOTE}
            for other in others
        ],
        "account": standing,
        "currency": shown.currency,
    }


def _payments_of(of: Job | Invoice) -> Iterable[Payment]:
    if isinstance(of, Invoice) and of.credits_id:
        of = of.credits
    return of.payments.select_related("by")


@require_GET
@allowed("see jobs")
def invoice(request: Request, label: str) -> HttpResponse:
    shown = invoice_named(label)
    context = {
        **_invoice_context(shown),
        "can_credit": shown.kind == Invoice.Kind.INVOICE and bool(credits.all_of(shown)),
        "notes": list(shown.credit_notes.order_by("pk")),
        "electronic": request.shop.electronic_invoices,
        "panels": sockets.panels_for("invoice", request, shown),
        **account_acts(shown.job or shown.credits or shown),
    }
    return render(request, "intake/invoice.html", context)


@require_GET
@allowed("print")
def invoice_paper(request: Request, label: str) -> HttpResponse:
    shown = invoice_named(label)
    name = "credit-note" if shown.kind == Invoice.Kind.CREDIT_NOTE else "invoice"
    return papers.answer(
        request,
        "intake/papers/invoice.html",
        invoice_paper_context(request, shown),
        filename=f"{name}-{shown.label}.pdf",
    )


def invoice_paper_context(request: Request, shown: Invoice) -> dict[str, Any]:
    return {
        **_invoice_context(shown),
        "paper": request.shop.paper.lower(),
        "today": billing.today(request.shop),
        **(paper_address(request, shown.job) if shown.job else {}),
    }


# --- Payments --------------------------------------------------------------------------------------------


def account_acts(of: Job | Invoice) -> dict[str, str]:
    """Where money is taken, given back and written off for a job, or for what was sold over the counter."""
    if isinstance(of, Job):
        return {
            "pay_url": reverse("job-payment", args=[of.claim]),
            "refund_url": reverse("job-refund", args=[of.claim]),
            "write_off_url": reverse("job-write-off", args=[of.claim]),
        }
    return {
        "pay_url": reverse("invoice-payment", args=[of.label]),
        "refund_url": reverse("invoice-refund", args=[of.label]),
        "write_off_url": reverse("invoice-write-off", args=[of.label]),
    }


def account_context(of: Job | Invoice) -> dict[str, Any]:
    """What every page about an account needs: whose it is, how it stands, where its acts are."""
    is_job = isinstance(of, Job)
    return {
        "job": of if is_job else None,
        "sale": None if is_job else of,
        "person": of.person,
        "account": billing.account(of),
        **account_acts(of),
    }


def sale_named(label: str) -> Job | Invoice:
    """What is paid for by an invoice's label: its job, or the sale itself."""
    found = invoice_named(label)
    return found.job or found.credits or found


@require_http_methods(["GET", "POST"])
@allowed("take money")
@once
def payment_new(request: Request, claim: str) -> HttpResponse:
    return _take_payment(request, job_with_card(claim))


@require_http_methods(["GET", "POST"])
@allowed("take money")
@once
def invoice_payment(request: Request, label: str) -> HttpResponse:
    """The same for what was sold over the counter."""
    return _take_payment(request, sale_named(label))


def _take_payment(request: Request, of: Job | Invoice) -> HttpResponse:
    currency = request.shop.currency
    if request.method == "GET":
        standing = billing.account(of)
        deposit = isinstance(of, Job) and not standing.owed
        initial = {"amount": standing.owed or None, "deposit": deposit}
        return _payment_form(request, of, PaymentForm(initial=initial, currency=currency))
    form = PaymentForm(request.POST, currency=currency)
    if not form.is_valid():
        return _payment_form(request, of, form, status=422)
    try:
        taken = payments.take(of, by=request.user, **form.cleaned_data)
    except Refused as why:
        form.add_error(None, str(why))
        return _payment_form(request, of, form, status=why.status)
    return go_to(request, "payment", taken.pk)


def _payment_form(
    request: Request, of: Job | Invoice, form: PaymentForm, *, status: int = 200
) -> HttpResponse:
    context = {
        **account_context(of),
        "form": form,
        "not_invoiced": isinstance(of, Job) and of.charges.to_invoice().exists(),
    }
    return page_or_part(request, "intake/payment_new.html", context, part="payment-form", status=status)


def _payment(pk: int) -> Payment:
    found = Payment.objects.select_related("job__gear", "job__person", "invoice__person", "by")
    return get_object_or_404(found, pk=pk)


@require_GET
@allowed("see jobs")
def payment(request: Request, pk: int) -> HttpResponse:
    """What was just taken or given back: the change to hand back, the receipt, the way on."""
    shown = _payment(pk)
    return render(
        request,
        "intake/payment.html",
        {
            **account_context(payments.of_payment(shown)),
            "payment": shown,
            "shown": paid_line(shown),
            "sum": abs(shown.amount),
            "change": payments.change(shown),
            "may_go": shown.job is not None and shown.job.state in pickup.FROM,
        },
    )


@require_GET
@allowed("print")
def receipt_paper(request: Request, pk: int) -> HttpResponse:
    shown = _payment(pk)
    if shown.job is not None:
        context, name = receipt_context(request, shown.job), shown.job.claim
    else:
        context, name = sale_receipt_context(request, shown.invoice), shown.invoice.label
    context |= {
        "payment": shown,
        "shown": paid_line(shown),
        "sum": abs(shown.amount),
        "change": payments.change(shown),
    }
    filename = f"receipt-{name}-{shown.pk}.pdf"
    return papers.answer(request, "intake/papers/receipt.html", context, filename=filename)


def receipt_context(request: Request, job: Job) -> dict[str, Any]:
    """What every receipt of a job says: its invoices and payments, what is owed, and how it went home."""
    went = getattr(job, "pickup", None)
    return {
        "job": job,
        "invoices": [
            {"label": bill.label, "is_credit": bill.kind == Invoice.Kind.CREDIT_NOTE, "gross": bill.gross}
            for bill in job.invoices.order_by("pk")
        ],
        "paid": [paid_line(payment) for payment in job.payments.all()],
        "account": billing.account(job),
        "went": went,
        "signature": picture_of(went.signature if went else None),
        "pieces": [piece for piece in job.pieces.all() if piece.went_home_at],
        "today": billing.today(request.shop),
        **paper_address(request, job),
    }


def sale_receipt_context(request: Request, sale: Invoice) -> dict[str, Any]:
    """What the receipt of a sale over the counter says: its lines, the tax, what was paid."""
    return {
        "sale": sale,
        "lines": shown_lines((line, line.amount) for line in sale.lines.all()),
        "taxes": taxes_shown(sale.taxes),
        "currency": sale.currency,
        "invoices": [
            {"label": bill.label, "is_credit": bill.kind == Invoice.Kind.CREDIT_NOTE, "gross": bill.gross}
            for bill in (sale, *sale.credit_notes.order_by("pk"))
        ],
        "paid": [paid_line(payment) for payment in sale.payments.all()],
        "account": billing.account(sale),
        "today": billing.today(request.shop),
    }


# --- Told, and going home as is ----------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@allowed("record an answer")
@once
def ready_notice(request: Request, claim: str) -> HttpResponse:
    job = job_with_card(claim)
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
    job = job_with_card(claim)
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
        return _as_is_form(request, job_with_card(claim), form, status=why.status)
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
        "panels": sockets.panels_for("way out", request, job),
    }
    return page_or_part(request, "intake/pickup_as_is.html", context, part="as-is-form", status=status)
