"""Safety: the way in, the emergency card, the cautions, near misses."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from calc import caution_words, emergency, near_misses
from calc.cautions import CAUTIONS, Caution
from calc.first_aid import ALWAYS, PARTS, TRAINING
from calc.forms_safety import CautionForm, EmergencyForm, NearMissForm
from calc.models import CautionWords, EmergencyCard, NearMiss
from intake import editing, job_page
from intake.models import Job
from shop import papers, timeline
from shop.access import allowed
from shop.conflict import both_versions, keeps_theirs
from shop.errors import Refused
from shop.http import Request, go_to, page_or_part
from shop.once import once

_ON_A_PAGE = 30


@require_GET
@allowed("see safety")
def safety(request: Request) -> HttpResponse:
    return render(request, "calc/safety.html", {"card": emergency.card()})


# --- The emergency card --------------------------------------------------------------------------------------


@require_GET
@allowed("see safety")
def emergency_card(request: Request) -> HttpResponse:
    return render(request, "calc/emergency.html", _card(emergency.card()))


@require_http_methods(["GET", "POST"])
@allowed("keep checklists")
@once
def emergency_edit(request: Request) -> HttpResponse:
    def now() -> tuple[EmergencyCard, int]:
        card = emergency.card()
        return card, card.revision

    def save(form: EmergencyForm) -> None:
        emergency.change(seen=form.cleaned_data["revision"], by=request.user, **form.written())

    return editing.edit(
        request,
        about=emergency.card(),
        form_class=EmergencyForm,
        now=now,
        save=save,
        done=reverse("emergency"),
        template="calc/emergency_edit.html",
        entries=timeline.of(emergency.card())[:50],
    )


@require_GET
@allowed("see safety")
def emergency_paper(request: Request) -> HttpResponse:
    card = emergency.card()
    context = {
        **_card(card),
        "paper": request.shop.paper.lower(),
        "all_calls": emergency.said(card, (*emergency.CALLS, "address")),
        "all_places": emergency.said(card, emergency.PLACES),
        "is_long": emergency.is_long(card),
        "today": timezone.localdate(),
    }
    return papers.answer(request, "calc/papers/emergency.html", context, "emergency-card.pdf")


def _card(card: EmergencyCard) -> dict:
    return {
        "card": card,
        "calls": emergency.calls(card),
        "places": emergency.places(card),
        "parts": PARTS,
        "always": ALWAYS,
        "training": TRAINING,
    }


# --- Cautions ------------------------------------------------------------------------------------------------


@require_GET
@allowed("keep checklists")
def cautions(request: Request) -> HttpResponse:
    own = caution_words.by_name()
    rows = [{"caution": each, "own": own.get(each.name, "")} for each in CAUTIONS.values()]
    return render(request, "calc/cautions.html", {"rows": rows, "own_count": len(own)})


@require_http_methods(["GET", "POST"])
@allowed("keep checklists")
@once
def caution_edit(request: Request, slug: str) -> HttpResponse:
    caution = _caution(slug)
    if keeps_theirs(request):
        return go_to(request, "cautions")
    rows = CautionWords.objects.select_for_update() if request.method == "POST" else CautionWords.objects
    form = CautionForm(
        request.POST if request.method == "POST" else None, instance=rows.filter(name=slug).first()
    )
    if form.is_valid():
        caution_words.write(slug, words=form.cleaned_data["words"], by=request.user)
        messages.success(request, "Kept.")
        return go_to(request, f"{reverse('cautions')}#{slug}")
    if form.changed_meanwhile:
        return both_versions(request, form)
    context = {"caution": caution, "form": form, "own": caution_words.by_name().get(slug, "")}
    return render(request, "calc/caution_edit.html", context, status=422 if form.is_bound else 200)


def _caution(slug: str) -> Caution:
    if slug not in CAUTIONS:
        raise Http404
    return CAUTIONS[slug]


# --- Near misses ---------------------------------------------------------------------------------------------


@require_GET
@allowed("see safety")
def near_miss_list(request: Request) -> HttpResponse:
    page = Paginator(near_misses.holding(), _ON_A_PAGE).get_page(request.GET.get("page"))
    return page_or_part(request, "calc/near_misses.html", {"page": page, "query": ""}, part="near-misses")


@require_GET
@allowed("see safety")
def near_miss(request: Request, pk: int) -> HttpResponse:
    miss = _near_miss(pk)
    return render(
        request, "calc/near_miss.html", {"miss": miss, "by_now": getattr(miss, "corrected_by", None)}
    )


@require_http_methods(["GET", "POST"])
@allowed("write down a near miss")
@once
def near_miss_new(request: Request) -> HttpResponse:
    claim = request.GET.get("job", "")
    return _write_down(request, job_page.find(claim) if claim else None)


@require_http_methods(["GET", "POST"])
@allowed("write down a near miss")
@once
def near_miss_correct(request: Request, pk: int) -> HttpResponse:
    miss = _near_miss(pk)
    return _write_down(request, miss.job, corrects=miss)


def _write_down(request: Request, job: Job | None, *, corrects: NearMiss | None = None) -> HttpResponse:
    today = timezone.localdate()
    first = {"on": corrects.on, "what": corrects.what, "done": corrects.done} if corrects else {"on": today}
    form = NearMissForm(request.POST if request.method == "POST" else None, initial=first)
    status = 422 if form.is_bound else 200
    if form.is_valid():
        try:
            row = near_misses.write_down(job=job, corrects=corrects, by=request.user, **form.cleaned_data)
        except Refused as why:
            form.add_error(None, str(why))
            status = why.status
        else:
            messages.success(request, "Written down.")
            return go_to(request, "near-miss", row.pk)
    context = {"form": form, "job": job, "corrects": corrects, "action": request.get_full_path()}
    return render(request, "calc/near_miss_new.html", context, status=status)


def _near_miss(pk: int) -> NearMiss:
    rows = NearMiss.objects.select_related(
        "by", "job__gear", "job__person", "corrects__by", "corrected_by__by"
    )
    return get_object_or_404(rows, pk=pk)


def near_miss_panel(request: Request, job: Job) -> dict:
    """The near misses of a job, for its bench page. One query."""
    return {"job": job, "misses": list(near_misses.holding().filter(job=job))}
