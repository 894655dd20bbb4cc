"""The lists of a job: the panel on its page, running one line after line, its signature, how the gear is built."""

from typing import Any

from django.contrib import messages
from django.db.models import Prefetch
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from calc import listing, meters, running, runs, safety
from calc.checklists.judging import Outcome
from calc.engine.errors import QuantityError
from calc.forms_runs import HAS_WORDS, BuildForm, ReasonForm, SignOffForm
from calc.forms_worksheets import meter_in
from calc.models import ListRun, Mark
from intake import job_page
from intake.models import Gear, Job
from shop import doors
from shop.access import allowed
from shop.errors import ChangedMeanwhile, Refused
from shop.http import Request, go_to, page_or_part, wants_part
from shop.once import once

# --- The lists of a job --------------------------------------------------------------------------------------


def panel(request: Request, job: Job) -> dict[str, Any]:
    """How a job stands with its lists, in a fixed number of queries."""
    lists = safety.lists_on(job)
    rows = running.rows_of(lists)
    at_work = running.is_at_work(job)
    names = {each.slug: each.checklist.name for each in listing.current().values()} if lists.taken_off else {}
    return {
        "job": job,
        "rows": rows,
        "next": running.next_row(rows) if at_work else None,
        "is_at_work": at_work,
        "done": sum(row.on_job.standing in safety.OPENS for row in rows),
        "no_power": safety.why_no_power(job, lists) if at_work else "",
        "not_ready": safety.why_not_ready(job, lists) if at_work else [],
        "unsafe": safety.unsafe(job),
        "others": lists.others,
        "taken_off": [{"change": each, "name": names.get(each.slug, each.slug)} for each in lists.taken_off],
    }


@require_GET
@allowed("see safety")
def job_lists(request: Request, claim: str) -> HttpResponse:
    """The lists of a job, and the record: all its runs, whenever they were, with what was signed in each."""
    job = job_page.find(claim)
    build = safety.build_of(job.gear)
    since = safety.bench_since(job)
    record = [
        {
            "run": run,
            "counts": run.at >= since,
            "signed": running.signed_lines(listing.as_value(run.version), list(run.marks.all()), build),
        }
        for run in reversed(safety.runs_of(job))
    ]
    names = {each.slug: each.checklist.name for each in listing.current().values()}
    waivers = [
        {"waiver": each, "name": names.get(each.slug, each.slug)}
        for each in job.waivers.select_related("by").order_by("-pk")
    ]
    context = {**panel(request, job), "record": record, "waivers": waivers}
    return page_or_part(request, "calc/job_lists.html", context, part="lists")


@require_POST
@allowed("sign checklists")
@once
def job_list_begin(request: Request, claim: str, slug: str) -> HttpResponse:
    run = runs.begin(job_page.find(claim), slug=slug, by=request.user)
    return go_to(request, _at_next(run))


@require_POST
@allowed("sign checklists")
@once
def job_list_put_on(request: Request, claim: str) -> HttpResponse:
    job = job_page.find(claim)
    safety.put_on(job, slug=request.POST.get("slug", ""), by=request.user)
    messages.success(request, "The list is on this job now.")
    return go_to(request, f"{reverse('job', args=[job.claim])}#safety")


@require_http_methods(["GET", "POST"])
@allowed("keep checklists")
@once
def job_list_take_off(request: Request, claim: str, slug: str) -> HttpResponse:
    words = {
        "title": "Take off",
        "said": "This list is no longer asked for on this job. Your name and your reason stay with it.",
        "button": "Take it off",
        "done": "The list is off this job.",
    }
    return _with_a_reason(request, claim, slug, safety.take_off, words)


@require_http_methods(["GET", "POST"])
@allowed("waive a test")
@once
def job_waive(request: Request, claim: str, slug: str) -> HttpResponse:
    words = {
        "title": "Waive",
        "said": "The job can be ready without it. Your name and your reason stay in the record, and on its report.",
        "button": "Waive it on my word",
        "done": "Waived. It stands in the record with your reason.",
    }
    return _with_a_reason(request, claim, slug, safety.waive, words)


def _with_a_reason(request: Request, claim: str, slug: str, verb: Any, words: dict[str, str]) -> HttpResponse:
    job = job_page.find(claim)
    listed = listing.current().get(slug)
    if listed is None:
        raise Http404
    form, status = ReasonForm(request.POST if request.method == "POST" else None), 200
    if form.is_bound:
        status = 422
        if form.is_valid():
            try:
                verb(job, slug=slug, by=request.user, **form.cleaned_data)
            except Refused as why:
                form.add_error(None, str(why))
                status = why.status
            else:
                messages.success(request, words["done"])
                return go_to(request, f"{reverse('job', args=[job.claim])}#safety")
    context = {"job": job, "listed": listed.checklist, "form": form, "action": request.path, **words}
    return render(request, "calc/list_reason.html", context, status=status)


# --- Running one ---------------------------------------------------------------------------------------------


@require_GET
@allowed("see safety")
def list_run(request: Request, pk: int) -> HttpResponse:
    return _run_page(request, _run(pk), key=request.GET.get("again", ""))


@require_POST
@allowed("sign checklists")
@once
def list_run_sign(request: Request, pk: int) -> HttpResponse:
    """Sign a line; where that can't be, show it again with what was typed and chosen."""
    run, typed = _run(pk), request.POST
    key, reason = typed.get("key", ""), typed.get("reason", "")
    outcome = Outcome.FAILED if reason else typed.get("outcome", "")
    wrong, said = {}, ""
    try:
        mark = runs.sign(
            run,
            key=key,
            outcome=outcome,
            written=typed.get("written", ""),
            meter=meter_in(typed),
            words=_words_of(run, key, outcome, reason, typed.get("words", "")),
            seen=_number(typed.get("seen", "")),
            by=request.user,
        )
    except QuantityError as why:
        wrong, status = {"written": str(why)}, 422
    except runs.NoMeter as why:
        wrong, status = {"meter": str(why)}, 422
    except Refused as why:
        said, status = str(why), why.status
    else:
        return _after(request, mark)
    meanwhile = _number(typed.get("seen", "")) if status == ChangedMeanwhile.status else None
    return _run_page(
        request, _run(pk), key=key, typed=typed, wrong=wrong, said=said, meanwhile=meanwhile, status=status
    )


@require_http_methods(["GET", "POST"])
@allowed("sign checklists")
@doors.a_door
def list_run_sign_off(request: Request, pk: int) -> HttpResponse:
    """Sign a run with a PIN: passed, or ended as failed. Signing twice is signing once."""
    run = _run(pk)
    shown = running.show_run(run, safety.build_of(run.job.gear))
    passed = request.POST.get("passed", request.GET.get("passed", "1")) != "0"
    form = SignOffForm(request.POST if request.method == "POST" else None, has_pin=bool(request.user.pin))
    status = 422 if form.is_bound else 200
    if form.is_valid():
        try:
            doors.sign(request, form.cleaned_data["key"])
            runs.sign_off(run, passed=passed, words=form.cleaned_data["words"], by=request.user)
        except (doors.WrongKey, doors.LockedOut) as why:
            form.add_error("key", str(why))
            status = why.status
        except Refused as why:
            form.add_error(None, str(why))
            status = why.status
        else:
            messages.success(request, "Signed." if passed else "Signed: ended as failed.")
            return go_to(request, f"{reverse('job', args=[run.job.claim])}#safety")
    context = {"run": run, "job": run.job, "shown": shown, "form": form, "passed": passed}
    return render(request, "calc/list_sign_off.html", context, status=status)


def _run(pk: int) -> ListRun:
    marks = Mark.objects.select_related(
        "by", "reading__struck_by", "reading__with_meter", "sheet__struck_by"
    ).order_by("pk")
    rows = ListRun.objects.select_related("job__gear", "job__person", "version", "by", "sign_off__by")
    return get_object_or_404(rows.prefetch_related("version__lines", Prefetch("marks", marks)), pk=pk)


def _run_page(
    request: Request,
    run: ListRun,
    *,
    key: str = "",
    typed: Any = None,
    wrong: dict[str, str] | None = None,
    said: str = "",
    meanwhile: int | None = None,
    status: int = 200,
) -> HttpResponse:
    job, typed = run.job, typed or {}
    shown = running.show_run(run, safety.build_of(job.gear), key=key)
    in_use = meters.in_use()
    # What was typed goes with the line that it was typed for.
    is_same = shown.line is not None and shown.line.key == key
    picked = meter_in(typed) if is_same and typed else next(iter(in_use), None)
    context = {
        "run": run,
        "job": job,
        "shown": shown,
        "line": shown.line,
        "typed": typed if is_same else {},
        "left_over": "" if is_same else typed.get("written") or typed.get("words") or "",
        "wrong": wrong or {},
        "said": said,
        "meanwhile": [mark for mark in run.marks.all() if meanwhile is not None and mark.pk > meanwhile],
        "counts": run.at >= safety.bench_since(job),
        "can_sign": request.user.may("sign checklists") and not job.is_over,
        "meters": [{"meter": each, "is_due": meters.is_due(each)} for each in in_use],
        "picked": picked,
        "no_power": safety.why_no_power(job) if shown.line and shown.line.powered else "",
    }
    return page_or_part(request, "calc/list_run.html", context, part="run", status=status)


def _after(request: Request, mark: Mark) -> HttpResponse:
    """The run with its next line; the last one leads to the signature."""
    run = _run(mark.run_id)
    stand = safety.stand_of(run, safety.build_of(run.job.gear))
    if stand.all_closed:
        return go_to(request, "list-run-sign-off", run.pk)
    if wants_part(request):
        return _run_page(request, run)
    return go_to(request, _at_next(run))


def _at_next(run: ListRun) -> str:
    return f"{reverse('list-run', args=[run.pk])}#next"


def _words_of(run: ListRun, key: str, outcome: str, reason: str, typed: str) -> str:
    """What is said of a line: typed, else tapped; a line that isn't right says at least that."""
    words = typed.strip() or reason.strip()
    if words or outcome != Outcome.FAILED:
        return words[:300]
    lines = [line for line in listing.as_value(run.version).lines if line.key == key]
    return running.default_reason(lines[0]) if lines else ""


def _number(text: str) -> int:
    """A row's number that a form carries; -1 for what is none, which no row has."""
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 19 else -1


# --- How the gear is built -----------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@allowed("sign checklists")
@once
def job_build(request: Request, claim: str) -> HttpResponse:
    job = job_page.find(claim)
    if request.method == "GET":
        build = safety.build_of(job.gear)
        usual = sorted(safety.has(job.gear, None) & set(HAS_WORDS))
        return _build_page(request, job, BuildForm.opened_on(build, usual))
    form, status, now = BuildForm(request.POST), 422, None
    if form.is_valid():
        try:
            safety.describe(job, by=request.user, **form.said())
        except ChangedMeanwhile as why:
            form, now, status = _on_top(form, why), safety.build_of(job.gear), why.status
        except Refused as why:
            form.add_error(None, str(why))
            status = why.status
        else:
            messages.success(request, "Written down. The lists follow from it.")
            return go_to(request, f"{reverse('job', args=[job.claim])}#safety")
    return _build_page(request, job, form, status=status, now=now)


def _on_top(form: BuildForm, why: ChangedMeanwhile) -> BuildForm:
    """The same form, to be sent over what somebody else wrote."""
    data = form.data.copy()
    data["seen"] = str(why.revision)
    again = BuildForm(data)
    again.add_error(None, str(why))
    return again


def _build_page(
    request: Request, job: Job, form: BuildForm, *, status: int = 200, now: Any = None
) -> HttpResponse:
    context = {"job": job, "form": form, "now": now, "has": now.has if now else []}
    return page_or_part(request, "calc/job_build.html", context, part="build", status=status)


def build_panel(request: Request, gear: Gear) -> dict[str, Any]:
    """How a piece of gear is built, on its page."""
    build = safety.build_of(gear)
    job = gear.jobs.in_the_house().order_by("-pk").first()
    return {"gear": gear, "build": build, "has": build.has if build else [], "job": job}
