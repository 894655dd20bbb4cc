"""Labour on a job: the timer, minutes written down, and what of it is charged."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from intake import charges, job_page, labour
from intake.editing import edit
from intake.forms_bench import ChargeLabourForm, LabourForm, StartForm, StopForm, WriteDownForm
from intake.models import LabourSpell
from shop.access import allowed
from shop.errors import Refused
from shop.http import Request, go_to, page_or_part, safe_next
from shop.once import once


@require_GET
@allowed("see jobs")
def my_timer(request: Request) -> HttpResponse:
    """This person's running timer, for every page's bar to show. Empty where none runs."""
    spell = labour.running(request.user)
    return page_or_part(
        request,
        "intake/my_timer.html",
        {"my_spell": spell, "stop_form": StopForm(auto_id="mine-%s")},
        part="my-timer",
    )


@require_POST
@allowed("work on jobs")
@once
def job_timer_start(request: Request, claim: str) -> HttpResponse:
    job = job_page.find(claim)
    form = StartForm(request.POST, auto_id="start-%s")
    refusal, status = "", 422
    if form.is_valid():
        leave, words = form.cleaned_data["leave_other"], form.cleaned_data["words"]
        try:
            labour.start(job, by=request.user, leave_other=leave, words_there=words)
            return job_page.kept(request, job, part="labour")
        except Refused as why:
            refusal, status = str(why), why.status
    return job_page.show(request, job, part="labour", status=status, start_form=form, labour_refusal=refusal)


@require_POST
@allowed("work on jobs")
@once
def job_timer_stop(request: Request, claim: str, pk: int) -> HttpResponse:
    job = job_page.find(claim)
    spell = get_object_or_404(job.labour, pk=pk)
    form = StopForm(request.POST, auto_id="stop-%s")
    if not form.is_valid():
        return job_page.show(request, job, part="labour", status=422, stop_form=form)
    labour.stop(spell, words=form.cleaned_data["words"], by=request.user)
    if "next" in request.POST:
        return go_to(request, safe_next(request, "home"))
    return job_page.kept(request, job, part="labour")


@require_POST
@allowed("work on jobs")
@once
def job_labour(request: Request, claim: str) -> HttpResponse:
    job = job_page.find(claim)
    form = WriteDownForm(request.POST, auto_id="down-%s")
    if form.is_valid():
        try:
            labour.write_down(job, by=request.user, **form.cleaned_data)
            return job_page.kept(request, job, part="labour")
        except Refused as why:
            form.add_error(None, str(why))
    return job_page.show(request, job, part="labour", status=422, down_form=form)


@require_http_methods(["GET", "POST"])
@allowed("work on jobs")
@once
def job_labour_edit(request: Request, claim: str, pk: int) -> HttpResponse:
    job = job_page.find(claim)
    spell = get_object_or_404(job.labour.filter(ended__isnull=False), pk=pk)

    def now() -> tuple[LabourSpell, int]:
        spell.refresh_from_db()
        return spell, spell.revision

    def save(form: LabourForm) -> None:
        fields = {name: form.cleaned_data[name] for name in ("minutes", "words", "revision")}
        labour.change(spell, by=request.user, **fields)

    return edit(
        request,
        about=job,
        job=job,
        form_class=LabourForm,
        now=now,
        save=save,
        done=f"{job.get_absolute_url()}#labour",
        heading="Change labour",
        strike=reverse("job-labour-strike", args=[claim, pk]),
    )


@require_POST
@allowed("work on jobs")
@once
def job_labour_strike(request: Request, claim: str, pk: int) -> HttpResponse:
    job = job_page.find(claim)
    labour.strike(get_object_or_404(job.labour, pk=pk), by=request.user)
    messages.success(request, "Struck out. It can be put back below.")
    return go_to(request, f"{job.get_absolute_url()}#labour")


@require_POST
@allowed("work on jobs")
@once
def job_labour_put_back(request: Request, claim: str, pk: int) -> HttpResponse:
    job = job_page.find(claim)
    labour.put_back(get_object_or_404(job.labour, pk=pk), by=request.user)
    messages.success(request, "Put back.")
    return go_to(request, f"{job.get_absolute_url()}#labour")


@require_POST
@allowed("charge jobs")
@once
def job_labour_charge(request: Request, claim: str, pk: int) -> HttpResponse:
    job = job_page.find(claim)
    spell = get_object_or_404(job.labour, pk=pk)
    form = ChargeLabourForm(request.POST, auto_id=f"charge-{pk}-%s")
    if form.is_valid():
        try:
            charges.charge_labour(spell, hours=form.cleaned_data["hours"], by=request.user)
            return go_to(request, f"{job.get_absolute_url()}#charges")
        except Refused as why:
            form.add_error(None, str(why))
    context = job_page.labour(request, job)
    for row in context["spells"]:
        if row["spell"].pk == pk and not row["charged"]:
            row["form"] = form
    refusal = " ".join(form.non_field_errors())
    return job_page.show(
        request, job, part="labour", status=422, spells=context["spells"], labour_refusal=refusal
    )
