"""Parts on a job's page: scanned and used, given back, put aside, taken in from gear that was let go."""

from decimal import Decimal
from typing import Any, Final

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from calc.engine.quantities import QuantityError
from intake import job_page
from intake.models import Job
from intake.models.bills import LineKind
from intake.spending import AskFirst
from intake.views_estimates import ask_about
from inventory import aside as putting_aside
from inventory import stock, tube_labels, using
from inventory.forms_use import AsideForm, BackForm, ScanForm, TakeInForm, UseForm, say_why
from inventory.models import Aside, Drawer, Move, Part, Tube
from shop.access import allowed
from shop.errors import Refused
from shop.http import Request, go_to, page_or_part, wants_part
from shop.once import once

ON_A_PAGE: Final = 40
SHOWN: Final = 30  # parts to choose from


# --- The panel -------------------------------------------------------------------------------------------


@require_GET
@allowed("see parts")
def job_parts(request: Request, claim: str) -> HttpResponse:
    return _panel(request, job_page.find(claim))


def panel(request: Request, job: Job) -> dict[str, Any]:
    """What was used on a job and what is put aside for it, in a fixed number of queries."""
    gives, used = using.gives_parts(job), using.used_on(job)
    return {
        "job": job,
        "used": [row for row in used if row.still],
        "given_back": [row for row in used if not row.still],
        "asides": using.aside_for(job),
        "at_once": job.state in using.AT_ONCE,
        "gives": gives,
        "taken": using.taken_from(job) if gives else [],
        "value_left": using.value_left(job) if gives else None,
        "scan_form": ScanForm(auto_id="parts-%s"),
    }


def _panel(request: Request, job: Job, *, status: int = 200, **more: Any) -> HttpResponse:
    context = {**panel(request, job), **more}
    return page_or_part(request, "inventory/job_parts.html", context, part="parts", status=status)


def _kept(request: Request, job: Job, words: str) -> HttpResponse:
    """Answer after an act: the panel anew with what was done, or back to it on the job's page."""
    if not wants_part(request):
        messages.success(request, words)
        return go_to(request, _home(job))
    response = _panel(request, job, done=words)
    response["HX-Trigger"] = "job-changed, charged"
    return response


def _home(job: Job) -> str:
    return f"{job.get_absolute_url()}#parts"


def _use_page(job: Job, **query: Any) -> str:
    return f"{reverse('job-part-use', args=[job.claim])}?{urlencode(query)}"


# --- Scanned ---------------------------------------------------------------------------------------------


@require_POST
@allowed("work on jobs")
@once
def job_part_scan(request: Request, claim: str) -> HttpResponse:
    """Use what was scanned, if it is one part and the job is on the bench; else ask what is meant."""
    job = job_page.find(claim)
    form = ScanForm(request.POST, auto_id="parts-%s")
    if not form.is_valid():
        return _panel(request, job, status=422, scan_form=form)
    text = form.cleaned_data["q"]
    meant = using.meant_by(text)
    if not meant.is_ours:
        return go_to(request, _not_ours(job, text))
    if meant.part is None:
        return go_to(request, _use_page(job, drawer=meant.drawer.pk))
    if job.state not in using.AT_ONCE or meant.part.is_loose or _only_labelled(meant.part):
        return go_to(request, _use_page(job, part=meant.part.pk))
    try:
        move = using.use_scanned(meant.part, job, by=request.user)
    except Refused as why:
        form.add_error(None, str(why))
        more = {
            "use_url": _use_page(job, part=meant.part.pk),
            "ask_url": _ask_url(job, meant.part, why, {}),
        }
        return _panel(request, job, status=why.status, scan_form=form, **more)
    return _kept(request, job, using.said(move, request.shop))


def _only_labelled(part: Part) -> bool:
    """Whether every piece that is here is a tube with a label of its own: then which of them goes has to be said."""
    here = len(stock.labelled(part))
    return here > 0 and part.quantity <= here


def _not_ours(job: Job, text: str) -> str:
    """Where a scan goes that is no drawer's and no part's label.

    A tube's or a set's opens it, for this job; another job's tag opens that job; words look for a part.
    """
    if tube := tube_labels.address_of(text):
        return f"{tube}?{urlencode({'job': job.claim})}"
    if "/" in text or len(text) > 120:
        return f"{reverse('find')}?{urlencode({'q': text})}"
    return _use_page(job, q=text)


# --- Used ------------------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@allowed("work on jobs")
@once
def job_part_use(request: Request, claim: str) -> HttpResponse:
    """Find a part for a job (`?q=`, `?drawer=`), and say how many, at what price."""
    job = job_page.find(claim)
    if request.method == "GET":
        part = _part(request.GET.get("part"))
        return _use(request, job, part) if part else _choose(request, job)
    part = _part(request.POST.get("part"))
    form = UseForm(request.POST, currency=request.shop.currency, asks_of=part)
    if not form.is_valid():
        return _use(request, job, part, form, status=422)
    said = dict(form.cleaned_data)
    part = said.pop("part")
    try:
        move = stock.use_on_job(part, job, by=request.user, **said)
    except Refused as why:
        say_why(form, why)
        return _use(
            request, job, part, form, status=why.status, ask_url=_ask_url(job, part, why, form.cleaned_data)
        )
    messages.success(request, using.said(move, request.shop))
    return go_to(request, _home(job))


def _use(
    request: Request,
    job: Job,
    part: Part | None,
    form: UseForm | None = None,
    *,
    aside_form: AsideForm | None = None,
    status: int = 200,
    ask_url: str = "",
) -> HttpResponse:
    if part is None:
        return _choose(request, job, status=status)
    initial = {
        "part": part.pk,
        "quantity": 1,
        "charge": True,
        "price": stock.price_of(part),
        "under_warranty": using.under_warranty(job),
    }
    context = {
        "job": job,
        "part": part,
        "free": putting_aside.free_of(part),
        "held": stock.held_by(part, but=job),
        "sets": part.sets.filter(gone_at=None, taken_apart_at=None).order_by("label"),
        "form": form or UseForm(initial=initial, currency=request.shop.currency, asks_of=part),
        "aside_form": aside_form or AsideForm(initial={"part": part.pk, "quantity": 1}, auto_id="aside-%s"),
        "ask_url": ask_url,
    }
    return page_or_part(request, "inventory/job_part_use.html", context, part="use", status=status)


def _choose(request: Request, job: Job, *, status: int = 200) -> HttpResponse:
    """Parts to choose from: those of a drawer, or those that answer what was typed."""
    drawer = Drawer.objects.filter(pk=_number(request.GET.get("drawer"))).first()
    if drawer is None:
        return _find(request, job, to="job-part-use", status=status)
    context = {"job": job, "drawer": drawer, "parts": using.parts_in(drawer), "to": "job-part-use"}
    return page_or_part(request, "inventory/job_part_find.html", context, part="found", status=status)


def _find(request: Request, job: Job, *, to: str, status: int = 200) -> HttpResponse:
    text = "".join(c for c in request.GET.get("q", "")[:120] if c.isprintable()).strip()
    problem, found = "", []
    try:
        found = using.found(text, SHOWN)
    except QuantityError as why:
        problem = str(why)
    context = {
        "job": job,
        "q": text,
        "parts": found,
        "problem": problem,
        "more": len(found) == SHOWN,
        "to": to,
    }
    return page_or_part(request, "inventory/job_part_find.html", context, part="found", status=status)


def _part(text: str | None) -> Part | None:
    return Part.objects.in_use().select_related("drawer").filter(pk=_number(text)).first()


def _number(text: str | None) -> int:
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 10 else 0


def _ask_url(job: Job, part: Part, why: Refused, said: dict[str, Any]) -> str:
    """Where the owner of the gear is asked about a part that is more than they agreed to."""
    if not isinstance(why, AskFirst):
        return ""
    price = said.get("price")
    line = {
        "kind": LineKind.PART,
        "text": part.name,
        "quantity": Decimal(said.get("quantity") or 1),
        "unit_price": stock.price_of(part) if price is None else price,
    }
    return ask_about(job, line)


# --- Given back ------------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@allowed("work on jobs")
@once
def job_part_back(request: Request, claim: str, pk: int) -> HttpResponse:
    job = job_page.find(claim)
    moves = Move.objects.filter(job=job, why=Move.Why.USED, quantity__lt=0, undoes__isnull=True)
    move = get_object_or_404(moves.select_related("part__drawer", "charge__invoice"), pk=pk)
    still, gone = stock.still_used(move), Tube.objects.filter(move=move, gone_at__isnull=False)
    if request.method == "GET":
        return _back(request, job, move, still, BackForm(initial={"quantity": still}, gone=gone))
    form = BackForm(request.POST, gone=gone)
    if not form.is_valid():
        return _back(request, job, move, still, form, status=422)
    try:
        back = stock.give_back(move, by=request.user, **form.cleaned_data)
    except Refused as why:
        say_why(form, why)
        return _back(request, job, move, still, form, status=why.status)
    drawer = move.part.drawer
    where = f" Put it in {drawer.code}." if drawer else ""
    messages.success(request, f"Given back: {stock.many(back.quantity, move.part)}.{where}")
    return go_to(request, _home(job))


def _back(
    request: Request, job: Job, move: Move, still: int, form: BackForm, *, status: int = 200
) -> HttpResponse:
    context = {"job": job, "move": move, "still": still, "form": form}
    return page_or_part(request, "inventory/job_part_back.html", context, part="back", status=status)


# --- Put aside -------------------------------------------------------------------------------------------


@require_POST
@allowed("work on jobs")
@once
def job_part_aside(request: Request, claim: str) -> HttpResponse:
    job = job_page.find(claim)
    form = AsideForm(request.POST, auto_id="aside-%s")
    part = _part(request.POST.get("part"))
    if form.is_valid():
        try:
            kept = putting_aside.put_aside(job=job, by=request.user, **form.cleaned_data)
        except Refused as why:
            form.add_error(None, str(why))
        else:
            messages.success(request, f"{stock.many(kept.quantity, part)} put aside for this job.")
            return go_to(request, _home(job))
    return _use(request, job, part, aside_form=form, status=422)


@require_POST
@allowed("work on jobs")
@once
def aside_use(request: Request, claim: str, pk: int) -> HttpResponse:
    """Use all that is put aside of a part."""
    job = job_page.find(claim)
    kept = get_object_or_404(Aside, pk=pk, job=job)
    try:
        move = using.use_aside(kept, by=request.user)
    except Refused as why:
        if not wants_part(request):
            raise
        form = ScanForm({"q": ""}, auto_id="parts-%s")
        form.errors.clear()
        form.add_error(None, str(why))
        more = {
            "use_url": _use_page(job, part=kept.part_id),
            "ask_url": _ask_url(job, kept.part, why, {"quantity": kept.quantity}),
        }
        return _panel(request, job, status=why.status, scan_form=form, **more)
    return _kept(request, job, using.said(move, request.shop))


@require_POST
@allowed("work on jobs")
@once
def aside_let_go(request: Request, claim: str, pk: int) -> HttpResponse:
    job = job_page.find(claim)
    kept = putting_aside.let_go_of(get_object_or_404(Aside, pk=pk, job=job), by=request.user)
    return _kept(request, job, f"{stock.many(kept.quantity, kept.part)} let go of: others may take them.")


@require_GET
@allowed("see parts")
def kept_gear(request: Request) -> HttpResponse:
    """Gear that was kept for parts and has something to give yet."""
    page = Paginator(using.to_take_apart(), ON_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "rows": [
            {"job": job, "value_left": max((job.let_go.price or Decimal(0)) - job.taken, Decimal(0))}
            for job in page.object_list
        ],
    }
    return page_or_part(request, "inventory/kept_gear.html", context, part="kept-gear")


# --- Gear let go -----------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@allowed("see to parts")
@once
def job_parts_take_in(request: Request, claim: str) -> HttpResponse:
    """Take in the parts of gear that was kept for them: find one (`?q=`), say how many and what one is worth."""
    job = job_page.find(claim)
    if request.method == "GET":
        part = _part(request.GET.get("part"))
        return _take_in(request, job, part) if part else _find(request, job, to="job-parts-take-in")
    form = TakeInForm(request.POST, currency=request.shop.currency)
    part = _part(request.POST.get("part"))
    if not form.is_valid():
        return _take_in(request, job, part, form, status=422)
    said = form.cleaned_data
    try:
        move = using.take_in(
            said["part"], job, quantity=said["quantity"], cost_each=said["cost"], by=request.user
        )
    except Refused as why:
        form.add_error(None, str(why))
        return _take_in(request, job, part, form, status=why.status)
    messages.success(request, f"Taken in: {stock.many(move.quantity, move.part)}. {move.left} are there now.")
    return go_to(request, _home(job))


def _take_in(
    request: Request, job: Job, part: Part | None, form: TakeInForm | None = None, *, status: int = 200
) -> HttpResponse:
    if part is None:
        return _find(request, job, to="job-parts-take-in", status=status)
    initial = {"part": part.pk, "quantity": 1}
    context = {
        "job": job,
        "part": part,
        "may": using.gives_parts(job),
        "value_left": using.value_left(job) if using.gives_parts(job) else None,
        "form": form or TakeInForm(initial=initial, currency=request.shop.currency),
    }
    return page_or_part(request, "inventory/job_part_take_in.html", context, part="take-in", status=status)
