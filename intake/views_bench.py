"""One job, at the bench: its page, its moves, notes, findings, and what the job itself says."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from intake import claims, job_page, work, workflow
from intake.editing import edit
from intake.forms_bench import FindingForm, JobForm, MoveForm, NewFindingForm, NoteForm, PlainFindingsForm
from intake.models import Finding, Job
from shop.access import allowed
from shop.errors import ChangedMeanwhile, Refused
from shop.http import Request, go_to
from shop.once import once


@require_GET
@allowed("see jobs")
def scan(request: Request, claim: str) -> HttpResponse:
    """Open the job that a tag's QR code names. A number that doesn't add up opens nothing."""
    try:
        claim = claims.read(claim)
        job = Job.objects.filter(claim=claim).first()
        sentence = f"No job here has the claim number {claim}. Check it against the ticket."
    except (claims.ClaimMistyped, claims.NotAClaim) as slip:
        job, sentence = None, str(slip)
    if job is None:
        return render(request, "intake/scan_wrong.html", {"sentence": sentence}, status=404)
    return go_to(request, job)


@require_GET
@allowed("see jobs")
def job(request: Request, claim: str) -> HttpResponse:
    return job_page.show(request, job_page.find(claim), part="state")


@require_GET
@allowed("see jobs")
def job_timeline(request: Request, claim: str) -> HttpResponse:
    return job_page.show(request, job_page.find(claim), part="timeline")


@require_POST
@allowed("move jobs")
@once
def job_move(request: Request, claim: str) -> HttpResponse:
    job = job_page.find(claim)
    form = MoveForm(request.POST)
    if not form.is_valid():
        refusal = "This page is too old to be sent. Look at it as it is now; then choose."
        return job_page.show(request, job, part="state", status=422, refusal=refusal)
    to, revision = form.cleaned_data["to"], form.cleaned_data["revision"]
    # Somebody may have changed its complaint meanwhile: where it stands is all that a move has to agree on.
    if form.cleaned_data["seen"] == job.state:
        revision = job.revision
    try:
        workflow.move(job, to=to, by=request.user, revision=revision)
    except ChangedMeanwhile:
        job = job_page.find(claim)
        refusal = f"Someone else was faster. It is {job.get_state_display()} now; look, then choose."
        return job_page.show(request, job, part="state", status=409, refusal=refusal)
    except Refused as why:
        return job_page.show(request, job_page.find(claim), part="state", status=why.status, refusal=str(why))
    messages.success(request, f"Moved: {job.get_state_display()}.")
    return go_to(request, job)


@require_http_methods(["GET", "POST"])
@allowed("write on jobs")
@once
def job_edit(request: Request, claim: str) -> HttpResponse:
    job = job_page.find(claim)

    def now() -> tuple[Job, int]:
        fresh = job_page.find(claim)
        return fresh, fresh.revision

    def save(form: JobForm) -> None:
        fields = {name: form.cleaned_data[name] for name in work.JOB_FIELDS}
        pieces, revision = form.cleaned_data["pieces"], form.cleaned_data["revision"]
        work.change_job(job, fields=fields, pieces=pieces, by=request.user, revision=revision)

    return edit(
        request,
        about=job,
        job=job,
        form_class=JobForm,
        now=now,
        save=save,
        done=job.get_absolute_url(),
        template="intake/job_edit.html",
    )


# --- Notes -------------------------------------------------------------------------------------------------


@require_POST
@allowed("write on jobs")
@once
def job_note(request: Request, claim: str) -> HttpResponse:
    job = job_page.find(claim)
    form = NoteForm(request.POST, auto_id="note-%s")
    if not form.is_valid():
        return job_page.show(request, job, part="notes", status=422, note_form=form)
    work.note(job, text=form.cleaned_data["text"], by=request.user)
    return job_page.kept(request, job, part="notes")


# --- Findings ----------------------------------------------------------------------------------------------


@require_POST
@allowed("work on jobs")
@once
def job_finding(request: Request, claim: str) -> HttpResponse:
    job = job_page.find(claim)
    form = NewFindingForm(request.POST, auto_id="finding-%s")
    if form.is_valid():
        try:
            work.find_fault(job, by=request.user, **form.cleaned_data)
            return job_page.kept(request, job, part="findings")
        except Refused as why:
            form.add_error(None, str(why))
    return job_page.show(request, job, part="findings", status=422, finding_form=form)


@require_http_methods(["GET", "POST"])
@allowed("work on jobs")
@once
def job_finding_edit(request: Request, claim: str, pk: int) -> HttpResponse:
    job = job_page.find(claim)
    finding = get_object_or_404(job.findings, pk=pk)

    def now() -> tuple[Finding, int]:
        finding.refresh_from_db()
        return finding, finding.revision

    def save(form: FindingForm) -> None:
        fields = {name: form.cleaned_data[name] for name in ("fault", "cause", "cure", "circuit")}
        work.change_finding(finding, by=request.user, revision=form.cleaned_data["revision"], **fields)

    return edit(
        request,
        about=job,
        job=job,
        form_class=FindingForm,
        now=now,
        save=save,
        done=f"{job.get_absolute_url()}#findings",
        heading="Change the finding",
        strike=reverse("job-finding-strike", args=[claim, pk]),
    )


@require_http_methods(["GET", "POST"])
@allowed("work on jobs")
@once
def job_plain_findings(request: Request, claim: str) -> HttpResponse:
    job = job_page.find(claim)

    def now() -> tuple[Job, int]:
        fresh = job_page.find(claim)
        return fresh, fresh.revision

    def save(form: PlainFindingsForm) -> None:
        words, revision = form.cleaned_data["plain_findings"], form.cleaned_data["revision"]
        work.say_plainly(job, words=words, by=request.user, revision=revision)

    done = f"{job.get_absolute_url()}#findings"
    return edit(
        request,
        about=job,
        job=job,
        form_class=PlainFindingsForm,
        now=now,
        save=save,
        done=done,
        heading="Findings in plain words",
    )


@require_POST
@allowed("work on jobs")
@once
def job_finding_strike(request: Request, claim: str, pk: int) -> HttpResponse:
    job = job_page.find(claim)
    work.strike(get_object_or_404(job.findings, pk=pk), by=request.user)
    return _back(request, job, "findings", "Struck out. It can be put back below.")


@require_POST
@allowed("work on jobs")
@once
def job_finding_put_back(request: Request, claim: str, pk: int) -> HttpResponse:
    job = job_page.find(claim)
    work.put_back(get_object_or_404(job.findings, pk=pk), by=request.user)
    return _back(request, job, "findings", "Put back.")


def _back(request: Request, job: Job, part: str, said: str) -> HttpResponse:
    messages.success(request, said)
    return go_to(request, f"{reverse('job', args=[job.claim])}#{part}")
