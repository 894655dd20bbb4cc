"""Handing gear back, over HTTP."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET, require_http_methods

from intake import billing, keeping, pickup
from intake.forms_money import PickupForm
from intake.models import Job, Pickup
from intake.views_money import receipt_context
from shop import papers, sockets
from shop.access import allowed
from shop.errors import ChangedMeanwhile, Refused
from shop.http import Request, go_to, page_or_part
from shop.once import once


def _job(claim: str) -> Job:
    return get_object_or_404(Job.objects.with_card(), claim=claim)


def _form(job: Job, data: object = None) -> PickupForm:
    initial = {
        "revision": job.revision,
        "known": pickup.must_know(job),
        "handed_to": job.person.name,
        "how": job.visit.how,
    }
    return PickupForm(data, initial=initial, job=job, pieces=list(job.pieces.all()))


@require_http_methods(["GET", "POST"])
@allowed("hand gear back")
@once
def hand_back(request: Request, claim: str) -> HttpResponse:
    job = _job(claim)
    if request.method == "GET":
        return _show(request, job, _form(job))
    form = _form(job, request.POST)
    if not form.is_valid():
        return _show(request, job, form, status=422)
    said = form.cleaned_data
    try:
        pickup.hand_back(
            job,
            by=request.user,
            revision=said["revision"],
            handed_to=said["handed_to"],
            gear_went=said["gear"],
            went=form.went(),
            stayed=form.stayed(),
            how=said["how"],
            carrier=said["carrier"],
            svg=said["strokes"],
            device=request.headers.get("User-Agent", ""),
            waiver=said["waiver"],
            known=said["known"],
        )
    except ChangedMeanwhile as why:
        job = _job(claim)
        form = _form(job, {**request.POST.dict(), "revision": why.revision, **_known_now(job, said["known"])})
        form.add_error(None, str(why))
        return _show(request, job, form, status=why.status)
    except Refused as why:
        form.add_error(None, str(why))
        return _show(request, job, form, status=why.status)
    return go_to(request, "pickup-done", claim)


def _known_now(job: Job, known: str) -> dict[str, str]:
    """Where what they sign has changed, the words as they are now and an empty glass: what was signed were others."""
    now = pickup.must_know(job)
    return {} if now == known else {"known": now, "signature": "", "strokes": "", "typed": ""}


def _show(request: Request, job: Job, form: PickupForm, *, status: int = 200) -> HttpResponse:
    context = {
        "job": job,
        "form": form,
        "still": billing.still_open(job),
        "account": billing.account(job),
        "may_go": job.state in pickup.FROM,
        "storage_open": keeping.fee_open(job, request.shop),
        "words": pickup.what_is_signed(job, [piece.name for piece in form.pieces]),
        "by_hand": bool(pickup.must_know(job)),
        "panels": sockets.panels_for("way out", request, job),
    }
    return page_or_part(request, "intake/pickup.html", context, part="pickup-form", status=status)


def _went_home(claim: str) -> Pickup:
    found = Pickup.objects.select_related("job__gear", "job__person", "by", "waived_by", "signature")
    return get_object_or_404(found, job__claim=claim)


@require_GET
@allowed("see jobs")
def done(request: Request, claim: str) -> HttpResponse:
    """What went home, with whom, and until when the warranty runs; the receipt."""
    went = _went_home(claim)
    return render(request, "intake/pickup_done.html", {"went": went, **receipt_context(request, went.job)})


@require_GET
@allowed("print")
def pickup_paper(request: Request, claim: str) -> HttpResponse:
    """The receipt of a pickup: what was paid, what went home, the warranty."""
    job = _went_home(claim).job
    filename = f"receipt-{claim}.pdf"
    return papers.answer(
        request, "intake/papers/receipt.html", receipt_context(request, job), filename=filename
    )
