"""Parts: the list that is searched as one types, one of them, and what is done to the ledger by hand."""

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, QuerySet
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.cache import patch_cache_control
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from calc.engine.errors import QuantityError
from intake.editing import edit
from inventory import parts, stock, values
from inventory.forms_parts import MoveForm, NewPartForm, PartForm, PartPhotoForm
from inventory.forms_use import say_why
from inventory.models import Kind, Move, Part
from shop import sockets, timeline
from shop.access import allowed
from shop.errors import Refused
from shop.http import Request, go_to, page_or_part
from shop.once import once
from shop.pictures import PictureRefused

ON_A_PAGE = 40
MOVES_ON_A_PAGE = 30


# --- The list ------------------------------------------------------------------------------------------------


@require_GET
@allowed("see parts")
def part_list(request: Request) -> HttpResponse:
    """All parts, or those of a kind that meet what is typed in the box."""
    text = "".join(c for c in request.GET.get("q", "")[: values.LONGEST] if c.isprintable()).strip()
    kind = request.GET.get("kind", "")
    found, said, wrong = _looked_for(text)
    kinds = dict(found.order_by().values_list("kind").annotate(Count("pk")))
    if kind in Kind.values:
        found = found.filter(kind=kind)
    page = Paginator(found.select_related("drawer").free(), ON_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "rows": [{"part": part, "said": values.said_of(part)} for part in page.object_list],
        "text": text,
        "kind": kind,
        "kinds": [(each, kinds[each]) for each in Kind if kinds.get(each)],
        "all": sum(kinds.values()),
        "understood": said,
        "wrong": wrong,
        "query": urlencode({name: said for name, said in (("q", text), ("kind", kind)) if said}),
        "query_text": urlencode({"q": text}) if text else "",
    }
    return page_or_part(request, "inventory/parts.html", context, part="parts-list")


def _looked_for(text: str) -> tuple[QuerySet[Part], tuple[str, ...], str]:
    """The parts that a text asks for, how it was understood, and what is wrong with it."""
    if not text:
        return Part.objects.in_use(), (), ""
    try:
        wanted = values.read_search(text)
    except QuantityError as why:
        return Part.objects.none(), (), str(why)
    return values.matching(wanted), wanted.said if wanted.ranges or wanted.types else (), ""


@require_GET
@allowed("see parts")
def part_read(request: Request) -> HttpResponse:
    """How what is typed as a part's name will be understood: a line below the box."""
    name, kind = request.GET.get("name", "")[: values.LONGEST], request.GET.get("kind", "")
    read, wrong = None, ""
    try:
        read = values.read_part(name, kind if kind in Kind.values else None)
    except QuantityError as why:
        wrong = str(why)
    context = {
        "wrong": wrong,
        "kind": Kind(read.kind).label if read and read.kind else "",
        "said": values.said_of(read) if read else [],
    }
    return render(request, "inventory/_part_read.html", context)


# --- One -----------------------------------------------------------------------------------------------------


@require_GET
@allowed("see parts")
def part(request: Request, pk: int) -> HttpResponse:
    return _page(request, pk)


def _page(
    request: Request, pk: int, *, status: int = 200, form: MoveForm | None = None, **more: Any
) -> HttpResponse:
    one = get_object_or_404(Part.objects.select_related("drawer").free(), pk=pk)
    moves = Move.objects.filter(part=one).select_related(
        "by", "job", "undone_by", "order_line__order", "sale_line__invoice"
    )
    context = {
        "part": one,
        "said": values.said_of(one),
        "price": stock.price_of(one),
        "asides": one.asides.filter(ended_at__isnull=True).select_related("job", "by"),
        "page": Paginator(moves, MOVES_ON_A_PAGE).get_page(request.GET.get("page")),
        "form": form or MoveForm(currency=request.shop.currency, part=one),
        "photo_form": PartPhotoForm(auto_id="photo-%s"),
        "levels": Part.Level.choices,
        "panels": sockets.panels_for("part", request, one),
        "entries": timeline.of(one)[:50],
        **more,
    }
    return render(request, "inventory/part.html", context, status=status)


@require_http_methods(["GET", "POST"])
@allowed("see to parts")
@once
def part_new(request: Request) -> HttpResponse:
    data = request.POST if request.method == "POST" else None
    initial = {"name": request.GET.get("name", "")[:120], "drawer": request.GET.get("drawer", "")[:20]}
    form = NewPartForm(data, currency=request.shop.currency, initial=initial)
    if form.is_valid():
        try:
            one = parts.new_part(
                facts=form.facts(),
                quantity=form.cleaned_data["quantity"] or 0,
                cost_each=form.cleaned_data["cost"],
                by=request.user,
            )
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, f"{one} is written down.")
            return go_to(request, "part", one.pk)
    return render(request, "inventory/part_new.html", {"form": form}, status=422 if form.is_bound else 200)


@require_http_methods(["GET", "POST"])
@allowed("see to parts")
@once
def part_edit(request: Request, pk: int) -> HttpResponse:
    one = get_object_or_404(Part, pk=pk)

    def now() -> tuple[Part, int]:
        fresh = Part.objects.select_related("drawer").get(pk=pk)
        return fresh, fresh.revision

    def save(form: PartForm) -> None:
        parts.change_part(one, facts=form.facts(), by=request.user, revision=form.cleaned_data["revision"])

    return edit(
        request,
        about=one,
        form_class=PartForm,
        now=now,
        save=save,
        done=one.get_absolute_url(),
        template="inventory/part_edit.html",
        part=one,
    )


@require_GET
@allowed("see parts")
def part_photo(request: Request, pk: int) -> HttpResponse:
    """The picture itself, as we encoded it."""
    one = get_object_or_404(Part, pk=pk)
    if not one.photo:
        raise Http404("There is no photo of it.")
    try:
        response = FileResponse(one.photo.open("rb"), content_type="image/jpeg")
    except FileNotFoundError as gone:
        raise Http404("The picture's file is missing.") from gone
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Disposition"] = "inline"
    response["Content-Security-Policy"] = "default-src 'none'"
    patch_cache_control(response, private=True, no_cache=True)  # the next photo has the same address
    return response


@require_POST
@allowed("see to parts")
@once
def part_photo_new(request: Request, pk: int) -> HttpResponse:
    """Keep a picture, in the place of the one before."""
    one = get_object_or_404(Part, pk=pk)
    form = PartPhotoForm(request.POST, request.FILES, auto_id="photo-%s")
    if form.is_valid():
        try:
            parts.photograph(one, file=form.cleaned_data["picture"], by=request.user)
        except PictureRefused as why:
            form.add_error("picture", str(why))
        else:
            if "X-Photo" in request.headers:
                return HttpResponse(status=204)
            messages.success(request, "Kept the photo.")
            return go_to(request, one)
    if "X-Photo" in request.headers:
        said = " ".join(sentence for sentences in form.errors.values() for sentence in sentences)
        return HttpResponse(said, status=422, content_type="text/plain; charset=utf-8")
    return _page(request, pk, status=422, photo_form=form)


# --- The ledger by hand --------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@allowed("see to parts")
@once
def part_move(request: Request, pk: int) -> HttpResponse:
    one = get_object_or_404(Part, pk=pk)
    if request.method == "GET":
        return _page(request, pk)
    form = MoveForm(request.POST, currency=request.shop.currency, part=one)
    if form.is_valid():
        try:
            move = _moved(one, form.cleaned_data, request)
        except Refused as refusal:
            say_why(form, refusal)
        else:
            said = f"Written down: there are {move.left} now." if move else "The ledger says so already."
            messages.success(request, said)
            return go_to(request, one)
    return _page(request, pk, status=422, form=form)


def _moved(one: Part, said: dict[str, Any], request: Request) -> Move | None:
    quantity, words, by = said["quantity"], said["words"], request.user
    if said["why"] == Move.Why.COUNTED:
        return stock.count(one, counted=quantity, by=by, words=words)
    if said["why"] == Move.Why.RECEIVED:
        return stock.receive(one, quantity=quantity, cost_each=said["cost"], by=by, words=words)
    if said["why"] == Move.Why.HARVESTED:
        return stock.harvest(one, quantity=quantity, by=by, words=words)
    act = {
        Move.Why.SOLD: stock.sell,
        Move.Why.SCRAPPED: stock.scrap,
        Move.Why.SENT_BACK: stock.send_back,
    }[Move.Why(said["why"])]
    return act(one, quantity=quantity, by=by, words=words, tubes=said.get("tubes", ()))


@require_POST
@allowed("see to parts")
@once
def part_undo(request: Request, pk: int) -> HttpResponse:
    """Undo a move by another one."""
    move = get_object_or_404(Move.objects.select_related("part", "job"), pk=pk)
    stock.undo(move, by=request.user, words=request.POST.get("words", "")[:300])
    messages.success(request, "Undone. Both lines stay in the ledger.")
    return go_to(request, move.part)


@require_POST
@allowed("see to parts")
@once
def part_level(request: Request, pk: int) -> HttpResponse:
    """Say how much there is of a loose part."""
    one = stock.set_level(get_object_or_404(Part, pk=pk), request.POST.get("level", ""), by=request.user)
    messages.success(request, f"{one}: {one.get_level_display()}.")
    return go_to(request, one)
