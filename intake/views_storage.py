"""Gear that nobody collects, over HTTP: what is due, letters, a job's storage page, letting go, the record."""

from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from intake import billing, front, keeping, storage_picture, work
from intake.forms_storage import (
    MOST_LETTERS,
    BackForm,
    DisputeForm,
    LetGoForm,
    LetterForm,
    PauseForm,
    ResumeForm,
    RevisionForm,
    SentForm,
    SettleForm,
)
from intake.models import Job, LetGo, Person, Photo, StorageNotice
from intake.signatures import picture_of
from shop import papers, sockets
from shop.access import allowed
from shop.errors import ChangedMeanwhile, Refused
from shop.http import Request, go_to, page_or_part
from shop.once import once
from shop.pictures import PictureRefused

ENDED_SHOWN = 40


def _job(claim: str) -> Job:
    jobs = keeping.with_record(Job.objects.with_card()).select_related(
        "visit__signature", "visit__taken_in_by", "let_go__decided_by"
    )
    return get_object_or_404(jobs, claim=claim)


def _back(job: Job) -> str:
    return reverse("job-storage", args=[job.claim])


# --- What is due -----------------------------------------------------------------------------------------


@require_GET
@allowed("see jobs")
def storage(request: Request) -> HttpResponse:
    """What is due for a notice today, what is past its deadline, what waits, and what became of it."""
    rows = keeping.waiting(request.shop)
    due = [row for row in rows if row.is_due]
    past = [row for row in rows if row.clock.is_past_deadline]
    shown = {row.job.pk for row in [*due, *past]}
    ended = list(
        LetGo.objects.select_related("job__gear", "job__person", "decided_by").order_by("-on", "-pk")[
            :ENDED_SHOWN
        ]
    )
    accounts = billing.accounts(one.job_id for one in ended)
    context = {
        "due": due,
        "past": past,
        "rest": [row for row in rows if row.job.pk not in shown],
        "ended": [(one, accounts[one.job_id]) for one in ended],
        "today": billing.today(request.shop),
        "law": keeping.LAW,
    }
    return render(request, "intake/storage.html", context)


def due_panel(request: Request, thing: None) -> dict[str, Any] | None:
    """For the front page: whose notice is due today; no box where nobody's is."""
    jobs = [job for job in front.in_the_house(request) if job.state in keeping.HERE]
    due = [row for row in keeping.waiting(request.shop, jobs=jobs) if row.is_due]
    return {"due": due[:8], "count": len(due), "more": max(len(due) - 8, 0)} if due else None


# --- Letters ---------------------------------------------------------------------------------------------


def _chosen(keys: list[str]) -> list[Job]:
    """The jobs that were chosen in a list, of those that wait to be collected."""
    numbers = {int(key) for key in keys if key.isascii() and key.isdigit() and len(key) < 10}
    jobs = keeping.with_record(Job.objects.with_card().standing(*keeping.HERE))
    return list(
        jobs.prefetch_related("photos", "person__phones").filter(pk__in=numbers).order_by("pk")[:MOST_LETTERS]
    )


def _letter_form(request: Request, job: Job, data: Any = None, files: Any = None) -> LetterForm:
    clock = keeping.clock_of(job, request.shop)
    words = keeping.letter_words(job, clock, request.shop) if clock.runs else ""
    return LetterForm(data, files, job=job, initial={"words": words, "seen": len(job.storage_notices.all())})


@require_http_methods(["GET", "POST"])
@allowed("see to storage")
@once
def letters(request: Request) -> HttpResponse:
    """Letters to owners, to be changed and printed; sent, they are recorded as they went out."""
    if request.method == "GET":
        forms = [_letter_form(request, job) for job in _chosen(request.GET.getlist("job"))]
        return _show_letters(request, SentForm(initial={"sent_on": billing.today(request.shop)}), forms)
    forms = [
        _letter_form(request, job, request.POST, request.FILES)
        for job in _chosen(request.POST.getlist("job"))
    ]
    sent = SentForm(request.POST)
    if not (all([sent.is_valid(), *(form.is_valid() for form in forms)]) and forms):
        return _show_letters(request, sent, forms, status=422)
    for form in forms:
        try:
            _send(request, form, sent)
        except PictureRefused as why:
            form.add_error("picture", str(why))
            return _show_letters(request, sent, forms, status=422)
        except Refused as why:
            sent.add_error(None, str(why))
            return _show_letters(request, sent, forms, status=why.status)
    messages.success(
        request, "One notice is recorded." if len(forms) == 1 else f"{len(forms)} notices are recorded."
    )
    return go_to(request, _back(forms[0].job) if len(forms) == 1 else "storage")


def _send(request: Request, form: LetterForm, sent: SentForm) -> None:
    said = form.cleaned_data
    proof = form.chosen()
    if said["picture"]:
        proof = work.photograph(form.job, file=said["picture"], caption="Proof of a notice", by=request.user)
    letter = keeping.Letter(form.job, said["words"], said["seen"], said["tracking"], proof)
    keeping.send_notice(
        letter, how=sent.cleaned_data["how"], sent_on=sent.cleaned_data["sent_on"], by=request.user
    )


def _show_letters(
    request: Request, sent: SentForm, forms: list[LetterForm], *, status: int = 200
) -> HttpResponse:
    doubtful = keeping.in_question({form.job.person_id: form.job.person for form in forms})
    rows = [
        {
            "form": form,
            "job": form.job,
            "clock": keeping.clock_of(form.job, request.shop),
            "why_no_letter": keeping.why_no_letter(form.job, in_question=form.job.person_id in doubtful),
        }
        for form in forms
    ]
    context = {"sent": sent, "rows": rows, "law": keeping.LAW}
    return render(request, "intake/storage_letters.html", context, status=status)


@require_POST
@allowed("see to storage")
def letters_paper(request: Request) -> HttpResponse:
    """The letters as they stand on the page, on paper. Nothing is recorded: they aren't sent yet."""
    forms = [_letter_form(request, job, request.POST) for job in _chosen(request.POST.getlist("job"))]
    if not forms or not all(form.is_valid() for form in forms):
        return _show_letters(request, SentForm(request.POST), forms, status=422)
    if why := next((why for form in forms if (why := keeping.why_no_letter(form.job))), ""):
        raise Refused(why)
    today = billing.today(request.shop)
    sheets = [
        {
            "job": f.job,
            "address": keeping.mailing_address(f.job.person),
            "words": f.cleaned_data["words"],
            "on": today,
        }
        for f in forms
    ]
    return _letter_paper(request, sheets, f"letters-{today}.pdf")


@require_GET
@allowed("print")
def notice_paper(request: Request, pk: int) -> HttpResponse:
    """A letter once more, as it was sent."""
    notice = get_object_or_404(StorageNotice.objects.select_related("job__gear", "job__person"), pk=pk)
    sheet = {"job": notice.job, "address": notice.address, "words": notice.words, "on": notice.sent_on}
    return _letter_paper(request, [sheet], f"letter-{notice.job.claim}-{notice.number}.pdf")


def _letter_paper(request: Request, sheets: list[dict[str, Any]], filename: str) -> HttpResponse:
    context = {"sheets": sheets, "paper": request.shop.paper.lower()}
    return papers.answer(request, "intake/papers/storage_letter.html", context, filename=filename)


@require_http_methods(["GET", "POST"])
@allowed("see to storage")
@once
def notice_back(request: Request, pk: int) -> HttpResponse:
    """A notice came back undelivered."""
    notice = get_object_or_404(
        StorageNotice.objects.select_related("job__gear", "job__person", "back"), pk=pk
    )
    form = BackForm(
        request.POST if request.method == "POST" else None, initial={"on": billing.today(request.shop)}
    )
    if form.is_valid():
        try:
            keeping.came_back(notice, by=request.user, **form.cleaned_data)
        except Refused as why:
            form.add_error(None, str(why))
        else:
            messages.success(
                request, "It is recorded. The notice doesn’t count, and the address is in question."
            )
            return go_to(request, _back(notice.job))
    context = {"notice": notice, "job": notice.job, "form": form, "is_back": hasattr(notice, "back")}
    return render(request, "intake/storage_back.html", context, status=422 if form.is_bound else 200)


# --- A job's clock ---------------------------------------------------------------------------------------


def storage_panel(request: Request, job: Job) -> dict[str, Any] | None:
    """On a job's page: the clock in words and as a picture, while it waits; a line, once it is let go."""
    if job.state not in keeping.HERE and not hasattr(job, "let_go"):
        return None
    return _clock_context(request, _job(job.claim))


def _clock_context(request: Request, job: Job) -> dict[str, Any]:
    clock = keeping.clock_of(job, request.shop)
    let_go = getattr(job, "let_go", None)
    return {
        "job": job,
        "clock": clock,
        "picture": storage_picture.draw(clock),
        "waits": job.state in keeping.HERE,
        "dispute": keeping.dispute_of(job),
        "let_go": let_go,
        "account": billing.account(job) if let_go else None,
        "in_question": keeping.address_in_question(job.person),
        "has_address": bool(keeping.mailing_address(job.person)),
        "fee_open": max(clock.fee - keeping.fee_charged(job), 0),
        "terms": job.visit.terms,
        "law": keeping.LAW,
    }


@require_GET
@allowed("see jobs")
def job_storage(request: Request, claim: str) -> HttpResponse:
    """A job's storage clock: what was sent, what came back, when it stood still, what is in the way."""
    return _show_job(request, _job(claim))


def _show_job(
    request: Request,
    job: Job,
    *,
    pause: PauseForm | None = None,
    resume: ResumeForm | None = None,
    status: int = 200,
) -> HttpResponse:
    today = billing.today(request.shop)
    context = {
        **_clock_context(request, job),
        "notices": job.storage_notices.all(),
        "pauses": job.storage_pauses.all(),
        "running": keeping.pause_of(job),
        "not_invoiced": hasattr(job, "let_go") and job.charges.to_invoice().exists(),
        "pause_form": pause or PauseForm(initial={"began": today}, auto_id="pause-%s"),
        "resume_form": resume or ResumeForm(initial={"ended": today}, auto_id="resume-%s"),
    }
    return page_or_part(request, "intake/storage_job.html", context, part="clock", status=status)


@require_POST
@allowed("see to storage")
@once
def pause(request: Request, claim: str) -> HttpResponse:
    job = _job(claim)
    form = PauseForm(request.POST, auto_id="pause-%s")
    if form.is_valid():
        try:
            keeping.pause(job, by=request.user, **form.cleaned_data)
        except Refused as why:
            form.add_error(None, str(why))
        else:
            messages.success(request, "The clock stands still.")
            return go_to(request, _back(job))
    return _show_job(request, _job(claim), pause=form, status=422)


@require_POST
@allowed("see to storage")
@once
def resume(request: Request, claim: str) -> HttpResponse:
    job = _job(claim)
    form = ResumeForm(request.POST, auto_id="resume-%s")
    if form.is_valid():
        try:
            keeping.resume(job, by=request.user, **form.cleaned_data)
        except Refused as why:
            form.add_error(None, str(why))
        else:
            messages.success(request, "The clock runs again.")
            return go_to(request, _back(job))
    return _show_job(request, _job(claim), resume=form, status=422)


@require_http_methods(["GET", "POST"])
@allowed("see to storage")
@once
def dispute(request: Request, claim: str) -> HttpResponse:
    """Somebody says that the money is wrong: who, and what about."""
    job = _job(claim)
    first = {"began": billing.today(request.shop), "revision": job.revision}
    form = DisputeForm(request.POST if request.method == "POST" else None, initial=first)
    if form.is_valid():
        try:
            keeping.open_dispute(job, by=request.user, **form.cleaned_data)
        except Refused as why:
            return _show_dispute(request, _refused(form, request, why), why.status)
        messages.success(request, "The dispute is recorded. The clock stands still until it is settled.")
        return go_to(request, _back(job))
    return _show_dispute(request, form, 422 if form.is_bound else 200)


@require_http_methods(["GET", "POST"])
@allowed("see to storage")
@once
def dispute_settled(request: Request, claim: str) -> HttpResponse:
    """What was agreed about a dispute."""
    job = _job(claim)
    first = {"ended": billing.today(request.shop), "revision": job.revision}
    form = SettleForm(request.POST if request.method == "POST" else None, initial=first)
    if form.is_valid():
        try:
            keeping.settle_dispute(job, by=request.user, **form.cleaned_data)
        except Refused as why:
            return _show_dispute(request, _refused(form, request, why), why.status)
        messages.success(request, "The dispute is settled. The clock runs again.")
        return go_to(request, _back(job))
    return _show_dispute(request, form, 422 if form.is_bound else 200)


def _refused(form: Any, request: Request, why: Refused) -> Any:
    """The form as it was typed, with the sentence that refused it, about the job as it is now."""
    if isinstance(why, ChangedMeanwhile):
        form = type(form)({**request.POST.dict(), "revision": why.revision})
    form.add_error(None, str(why))
    return form


def _show_dispute(request: Request, form: DisputeForm | SettleForm, status: int) -> HttpResponse:
    job = _job(request.resolver_match.kwargs["claim"])
    context = {
        "job": job,
        "form": form,
        "settling": isinstance(form, SettleForm),
        "dispute": keeping.dispute_of(job),
        "waits": job.state in keeping.HERE,
        "law": keeping.LAW,
    }
    return render(request, "intake/storage_dispute.html", context, status=status)


@require_POST
@allowed("charge jobs")
@once
def charge(request: Request, claim: str) -> HttpResponse:
    """Put the storage that has come together among the job's charges."""
    job = _job(claim)
    line = keeping.charge_storage(job, by=request.user)
    messages.success(
        request, f"{billing.say(line.unit_price, request.shop.currency)} is charged for storage."
    )
    return go_to(request, f"{job.get_absolute_url()}#money")


@require_POST
@allowed("let gear go")
@once
def left_behind(request: Request, claim: str) -> HttpResponse:
    """The owner of the shop says that it is left behind. That is all: what becomes of it is another decision."""
    job = _job(claim)
    form = RevisionForm(request.POST)
    if not form.is_valid():
        raise Refused("This page is incomplete. Load it again.")
    keeping.leave_behind(job, by=request.user, revision=form.cleaned_data["revision"])
    messages.success(request, "It is recorded as left behind. Nothing else has happened.")
    return go_to(request, _back(job))


# --- Letting go ------------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@allowed("let gear go")
@once
def let_go(request: Request, claim: str) -> HttpResponse:
    """What the clock says, what the shop may claim, and the decision."""
    job = _job(claim)
    first = {"on": billing.today(request.shop), "revision": job.revision, "costs": None}
    data = request.POST if request.method == "POST" else None
    form = LetGoForm(data, initial=first, currency=request.shop.currency)
    if form.is_valid():
        said = form.cleaned_data
        fate = keeping.Fate(
            became=said["became"],
            words=said["words"],
            on=said["on"],
            to_whom=said["to_whom"],
            price=said["price"],
            method=said["method"],
            costs=said["costs"] or Decimal(0),
            costs_method=said["costs_method"],
            storage=said["storage"],
        )
        try:
            keeping.let_go(job, fate, by=request.user, revision=said["revision"])
        except ChangedMeanwhile as why:
            form = LetGoForm(
                {**request.POST.dict(), "revision": why.revision}, currency=request.shop.currency
            )
            form.add_error(None, str(why))
            return _show_let_go(request, _job(claim), form, status=why.status)
        except Refused as why:
            form.add_error(None, str(why))
        else:
            messages.success(request, "It is recorded.")
            return go_to(request, _back(job))
    return _show_let_go(request, _job(claim), form, status=422 if form.is_bound else 200)


def _show_let_go(request: Request, job: Job, form: LetGoForm, *, status: int = 200) -> HttpResponse:
    context = _clock_context(request, job)
    try:
        claims, problem = keeping.claims_on(job, context["clock"]), ""
    except billing.CantBill as why:
        claims, problem = None, str(why)
    context |= {
        "form": form,
        "claims": claims,
        "problem": problem,
        "may_go": job.state == "left-behind" and context["clock"].may_act,
        "panels": sockets.panels_for("way out", request, job),
    }
    return render(request, "intake/storage_let_go.html", context, status=status)


# --- The record, and the address -------------------------------------------------------------------------


@require_GET
@allowed("print")
def record(request: Request, claim: str) -> HttpResponse:
    """All that is recorded about gear that wasn't collected, as one file."""
    job = _job(claim)
    proofs = [(n, _proof(n.proof)) for n in job.storage_notices.all() if n.proof]
    context = {
        **_clock_context(request, job),
        "paper": request.shop.paper.lower(),
        "today": timezone.now(),
        "signature": picture_of(job.visit.signature),
        "told": job.ready_notices.all(),
        "notices": job.storage_notices.all(),
        "proofs": proofs,
        "counted_then": job.let_go.may_act.get("notices that count", []) if hasattr(job, "let_go") else [],
        "pauses": job.storage_pauses.all(),
        "account": billing.account(job),
        "invoices": list(job.invoices.order_by("pk")),
        "payments": list(job.payments.all()),
        "pickup": getattr(job, "pickup", None),
    }
    return papers.answer(
        request, "intake/papers/storage_record.html", context, filename=f"storage-{claim}.pdf"
    )


def _proof(photo: Photo) -> str:
    """The address of a proof's picture on paper; empty where its file is gone."""
    return papers.picture_address(photo.image.name) if photo.image.storage.exists(photo.image.name) else ""


def address_panel(request: Request, person: Person) -> dict[str, Any] | None:
    """On a person's page: a letter came back, so the address is in question."""
    return {"person": person} if keeping.address_in_question(person) else None


@require_POST
@allowed("change people")
@once
def confirm_address(request: Request, pk: int) -> HttpResponse:
    person = get_object_or_404(Person, pk=pk)
    form = RevisionForm(request.POST)
    if not form.is_valid():
        raise Refused("This page is incomplete. Load it again.")
    keeping.confirm_address(person, by=request.user, revision=form.cleaned_data["revision"])
    messages.success(request, "The address is confirmed. Letters can go there again.")
    return go_to(request, person)
