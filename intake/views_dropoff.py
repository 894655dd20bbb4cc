"""The counter: gear taken in by staff, and what waits from the sign-in pad."""

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from intake import dropoff
from intake.forms_dropoff import Sheet, blank, reshaped, written_on_pad
from intake.models import PadEntry, Signature, Visit
from intake.signatures import picture_of
from shop import timeline
from shop.access import allowed
from shop.errors import Refused
from shop.http import Request, go_to, page_or_part, wants_part
from shop.models import Terms
from shop.once import once

PUT_AWAY_SHOWN = 20


# --- staff take gear in


@require_http_methods(["GET", "POST"])
@allowed("take in gear")
@once
def take_in(request: Request) -> HttpResponse:
    if request.method == "GET":
        sheet = Sheet(blank(request.shop, request.GET), request.shop, check=False)
        return _drop_off(request, sheet, find_first=sheet.person is None)
    sheet = Sheet(request.POST, request.shop, check=True)
    if not sheet.is_valid():
        return _drop_off(request, sheet, status=422)
    terms = _terms()
    brought = sheet.brought()
    try:
        visit = dropoff.take_in(
            who=sheet.who.who(),
            brought=brought,
            by=request.user,
            terms=terms,
            signature=_signature(request, sheet, terms, brought),
            parcel=sheet.parcel.parcel() if sheet.parcel else None,
        )
    except Refused as refusal:
        sheet.who.add_error(None, str(refusal))
        return _drop_off(request, sheet, status=refusal.status)
    return go_to(request, "dropoff-done", visit.pk)


@require_POST
@allowed("take in gear")
def reshape(request: Request) -> HttpResponse:
    """Show the page in another shape, with all that was typed. Nothing is written."""
    do = request.POST.get("do", "")
    sheet = Sheet(reshaped(request.POST, do, request.shop), request.shop, check=False)
    if do == "new":
        sheet.ask_who()
    return _drop_off(request, sheet)


reshape.once = False


@require_POST
@allowed("take in gear")
def words(request: Request) -> HttpResponse:
    """What the signature will stand under, from what is typed by now. Nothing is written."""
    sheet = Sheet(request.POST, request.shop, check=False)
    if not wants_part(request):
        return _drop_off(request, sheet)
    return render(request, "intake/_dropoff_words.html", {"agreed": sheet.agreed_so_far()})


words.once = False


@require_GET
@allowed("take in gear")
def find(request: Request) -> HttpResponse:
    """The answers of the find box, while somebody types."""
    return _found(
        request, reverse("dropoff"), {"shape": reverse("dropoff-shape"), "sheet_id": "dropoff-sheet"}
    )


def _found(request: Request, page: str, context: dict[str, str]) -> HttpResponse:
    text = request.GET.get("q", "")
    if not wants_part(request):
        return redirect(f"{page}?{urlencode({'q': text})}")
    return render(request, "intake/_dropoff_found.html", {"found": dropoff.find(text), **context})


@require_GET
@allowed("take in gear")
def done(request: Request, pk: int) -> HttpResponse:
    visit = get_object_or_404(Visit.objects.select_related("person", "signature"), pk=pk)
    jobs = visit.jobs.with_card().prefetch_related("pieces").order_by("pk")
    heed = [job for job in jobs if job.was_wet or job.smelled]
    return render(request, "intake/dropoff_done.html", {"visit": visit, "jobs": jobs, "heed": heed})


@require_GET
@allowed("see jobs")
def signed(request: Request, pk: int) -> HttpResponse:
    """What was signed, as it was signed."""
    visit = get_object_or_404(
        Visit.objects.select_related("person", "signature", "terms", "taken_in_by"), pk=pk
    )
    jobs = visit.jobs.with_card().order_by("pk")
    return render(
        request,
        "intake/dropoff_signed.html",
        {"visit": visit, "jobs": jobs, "drawing": picture_of(visit.signature)},
    )


def _drop_off(request: Request, sheet: Sheet, status: int = 200, *, find_first: bool = False) -> HttpResponse:
    context = {
        "find_first": find_first,
        "sheet": sheet,
        "sheet_id": "dropoff-sheet",
        "shape": reverse("dropoff-shape"),
        "find": reverse("dropoff-find"),
        "person": sheet.person,
        "pieces": sheet.pieces(),
        "found": dropoff.find(sheet.typed.get("q", "")),
        "terms": _terms(),
        "agreed": sheet.agreed_so_far(),
    }
    return page_or_part(request, "intake/dropoff.html", context, part="dropoff-sheet", status=status)


def _signature(
    request: Request, sheet: Sheet, terms: Terms, brought: list[dropoff.Brought]
) -> Signature | None:
    """The signature that was given with this page, to be saved with the visit; None for a parcel."""
    if not sheet.sign:
        return None
    who, signed = sheet.who.who(), sheet.sign.cleaned_data
    name = signed["typed_name"] or who.contact or (who.person.name if who.person else who.name)
    return Signature(
        purpose=Signature.Purpose.DROP_OFF,
        name=name,
        svg=signed["strokes"],
        words=dropoff.signed_words(request.shop, terms, brought),
        words_version=dropoff.version_words(terms),
        device=request.headers.get("User-Agent", "")[:300],
    )


def _terms() -> Terms:
    terms = Terms.current()
    if terms is None:
        raise Refused("There are no terms to sign yet. The owner writes them on the shop's page.")
    return terms


# --- what waits from the pad


@require_GET
@allowed("take in gear")
def pad_entries(request: Request) -> HttpResponse:
    waiting = PadEntry.objects.filter(status=PadEntry.Status.WAITING)
    put_away = PadEntry.objects.filter(status=PadEntry.Status.PUT_AWAY).order_by("-at")[:PUT_AWAY_SHOWN]
    return render(request, "intake/pad_entries.html", {"waiting": waiting, "put_away": put_away})


@require_http_methods(["GET", "POST"])
@allowed("take in gear")
@once
def pad_entry(request: Request, pk: int) -> HttpResponse:
    entry = get_object_or_404(PadEntry.objects.select_related("signature", "terms", "visit"), pk=pk)
    if request.method == "GET":
        if entry.status == PadEntry.Status.TAKEN_IN:
            return redirect("dropoff-done", entry.visit_id)
        typed = written_on_pad(entry)
        typed["q"] = request.GET.get("q", "")
        return _check(request, entry, Sheet(typed, request.shop, check=False, entry=entry))
    sheet = Sheet(_as_many(request.POST, entry), request.shop, check=True, entry=entry)
    if not sheet.is_valid():
        return _check(request, entry, sheet, status=422)
    try:
        visit = dropoff.check_in(entry, who=sheet.who.who(), brought=sheet.brought(), by=request.user)
    except Refused as refusal:
        sheet.who.add_error(None, str(refusal))
        return _check(request, entry, sheet, status=refusal.status)
    return go_to(request, "dropoff-done", visit.pk)


@require_POST
@allowed("take in gear")
def pad_entry_reshape(request: Request, pk: int) -> HttpResponse:
    """Show the entry in another shape: a known person chosen, or their earlier gear. Nothing is written."""
    entry = get_object_or_404(PadEntry.objects.select_related("signature", "terms"), pk=pk)
    typed = _as_many(reshaped(request.POST, request.POST.get("do", ""), request.shop), entry)
    return _check(request, entry, Sheet(typed, request.shop, check=False, entry=entry))


pad_entry_reshape.once = False


@require_GET
@allowed("take in gear")
def pad_entry_find(request: Request, pk: int) -> HttpResponse:
    """The answers of the find box on an entry's page."""
    shape = reverse("pad-entry-shape", args=[pk])
    return _found(request, reverse("pad-entry", args=[pk]), {"shape": shape, "sheet_id": "entry-sheet"})


@require_POST
@allowed("take in gear")
@once
def pad_entry_put_away(request: Request, pk: int) -> HttpResponse:
    entry = get_object_or_404(PadEntry, pk=pk)
    dropoff.put_away(entry, by=request.user)
    messages.info(request, f"{entry} is put away. You can bring it back below.")
    return go_to(request, "pad-entries")


@require_POST
@allowed("take in gear")
@once
def pad_entry_bring_back(request: Request, pk: int) -> HttpResponse:
    entry = get_object_or_404(PadEntry, pk=pk)
    dropoff.bring_back(entry, by=request.user)
    return go_to(request, "pad-entry", pk)


def _check(request: Request, entry: PadEntry, sheet: Sheet, status: int = 200) -> HttpResponse:
    who = dropoff.who_wrote(entry)
    context = {
        "entry": entry,
        "sheet": sheet,
        "sheet_id": "entry-sheet",
        "shape": reverse("pad-entry-shape", args=[entry.pk]),
        "find": reverse("pad-entry-find", args=[entry.pk]),
        "drawing": picture_of(entry.signature),
        "person": sheet.person,
        "pieces": sheet.pieces(),
        "found": dropoff.find(sheet.typed.get("q", "")),
        "may_be": [] if sheet.person else dropoff.who_it_may_be(who.name, who.phones),
        "agreed": [dropoff.agreed_words(request.shop, one) for one in dropoff.brought_on_pad(entry)],
        "entries": timeline.of(entry),
    }
    return page_or_part(request, "intake/pad_entry.html", context, part="entry-sheet", status=status)


def _as_many(typed: QueryDict, entry: PadEntry) -> QueryDict:
    """An entry has as many pieces of gear as were signed for."""
    typed = typed.copy()
    typed["pieces"] = str(len(entry.answers["gear"]))
    return typed


def waiting_panel(request: Request, thing: None) -> dict[str, Any] | None:
    """The front page's panel: who waits for staff to check what they wrote on the pad. No box for nobody."""
    waiting = list(PadEntry.objects.filter(status=PadEntry.Status.WAITING)[:5])
    return {"waiting": waiting} if waiting else None
