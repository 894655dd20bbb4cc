"""Counting rounds: begun, walked drawer by drawer, their differences looked at and posted."""

from typing import Any, Final

from django.contrib import messages
from django.core.paginator import Paginator
from django.db import transaction
from django.db.models import Count
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory import counting, scanning, stock
from inventory.forms_counting import CountForm, NewRoundForm, PostForm
from inventory.models import CountRound, Drawer
from shop.access import allowed
from shop.errors import Refused
from shop.http import Request, go_to, page_or_part
from shop.once import once

ON_A_PAGE: Final = 30
NOWHERE: Final = "none"  # in an address: the parts that live in no drawer


@require_http_methods(["GET", "POST"])
@allowed("see to parts")
@once
def count_rounds(request: Request) -> HttpResponse:
    """The rounds, those that are open first; begin one."""
    form = NewRoundForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        begun = counting.begin(by=request.user, words=form.cleaned_data["words"])
        return go_to(request, "count-round", begun.pk)
    rounds = (
        CountRound.objects.select_related("by").annotate(many=Count("lines")).order_by("-began_at", "-pk")
    )
    over = rounds.exclude(posted_at=None, dropped_at=None)
    context = {
        "form": form,
        "open_rounds": rounds.filter(posted_at=None, dropped_at=None),
        "page": Paginator(over, ON_A_PAGE).get_page(request.GET.get("page")),
    }
    status = 422 if form.errors else 200
    return page_or_part(request, "inventory/count_rounds.html", context, part="rounds", status=status)


@require_GET
@allowed("see to parts")
def count_round(request: Request, pk: int) -> HttpResponse:
    """A round: its drawers while it is open, what was posted when it is over."""
    a_round = _round(pk)
    if a_round.posted_at or a_round.dropped_at:
        return _differences(request, a_round)
    rows = counting.drawers_of(a_round)
    context = {
        "round": a_round,
        "rows": [(row, _key(row.drawer)) for row in rows],
        "done": sum(row.is_done for row in rows),
        "next": next((_key(row.drawer) for row in rows if not row.is_done), ""),
        "any_counted": a_round.lines.exists(),
    }
    return render(request, "inventory/count_round.html", context)


@require_GET
@allowed("see to parts")
def count_scan(request: Request, pk: int) -> HttpResponse:
    """A drawer's or a part's label scanned during a round: the drawer to count."""
    text = request.GET.get("q", "").strip()
    found = scanning.read(text)
    if found is None:
        if "/" not in text:
            messages.warning(request, f"No drawer is called “{text[:40]}”.")
            return redirect("count-round", pk)
        return redirect(f"{reverse('find')}?{urlencode({'q': text[:300]})}")
    drawer = found if isinstance(found, Drawer) else found.drawer
    return redirect("count-drawer", pk, _key(drawer))


@require_http_methods(["GET", "POST"])
@allowed("see to parts")
@once
def count_drawer(request: Request, pk: int, key: str) -> HttpResponse:
    """Count a drawer. What the ledger says isn't shown: it would be found in the drawer as well."""
    a_round, drawer = _round(pk), _drawer(key)
    counted = list(counting.to_count().filter(drawer=drawer).order_by("name", "pk"))
    loose = list(counting.loose_in(drawer).order_by("name", "pk"))
    before = {f"count-{line.part_id}": line.counted for line in a_round.lines.filter(part__in=counted)}
    form = CountForm(
        request.POST if request.method == "POST" else None, counted=counted, loose=loose, initial=before
    )
    if request.method == "POST" and form.is_valid():
        try:
            _write_down(request, a_round, drawer, form)
        except Refused as why:
            form.add_error(None, str(why))
        else:
            following = counting.next_drawer(a_round)
            if following is None:
                return go_to(request, "count-differences", pk)
            return go_to(request, "count-drawer", pk, _key(following.drawer))
    context = {"round": a_round, "drawer": drawer, "key": key, "form": form, "counted_before": bool(before)}
    status = 422 if form.errors else 200
    return page_or_part(request, "inventory/count_drawer.html", context, part="count", status=status)


@transaction.atomic
def _write_down(request: Request, a_round: CountRound, drawer: Drawer | None, form: CountForm) -> None:
    levels = form.levels
    if form.counts or not levels:
        counting.write_down(a_round, drawer, form.counts, by=request.user)
    for part, level in levels.items():
        stock.set_level(part, level, by=request.user)
    where = f"{drawer.code} is" if drawer else "What lives in no drawer is"
    messages.success(request, f"{where} written down. Nothing is posted yet.")


@require_GET
@allowed("see to parts")
def count_differences(request: Request, pk: int) -> HttpResponse:
    """What was counted against what the ledger said, to be looked at before it is posted."""
    return _differences(request, _round(pk))


@require_POST
@allowed("see to parts")
@once
def count_post(request: Request, pk: int) -> HttpResponse:
    a_round, form = _round(pk), PostForm(request.POST)
    if not form.is_valid():
        return _differences(request, a_round, problem="Load the page again; then post it.", status=422)
    try:
        moves = counting.post(a_round, by=request.user, revision=form.cleaned_data["revision"])
    except Refused as why:
        return _differences(request, _round(pk), problem=str(why), status=why.status)
    messages.success(
        request,
        f"Posted: {len(moves)} {'difference' if len(moves) == 1 else 'differences'}."
        if moves
        else "Posted: everything was as the ledger said.",
    )
    return go_to(request, "count-round", pk)


@require_POST
@allowed("see to parts")
@once
def count_drop(request: Request, pk: int) -> HttpResponse:
    counting.drop(_round(pk), by=request.user)
    messages.success(request, "The round is dropped. Nothing was posted.")
    return go_to(request, "count-rounds")


def _differences(
    request: Request, a_round: CountRound, *, problem: str = "", status: int = 200
) -> HttpResponse:
    found = counting.differences(a_round)
    differ = [each for each in found if each.difference or each.count_again]
    left = [row for row in counting.drawers_of(a_round) if not row.is_done] if _is_open(a_round) else []
    context = {
        "round": a_round,
        "is_open": _is_open(a_round),
        "differ": [(each, _key(each.line.part.drawer)) for each in differ],
        "same": [each for each in found if each not in differ],
        "worth": counting.worth_of(found),
        "again": any(each.count_again for each in found),
        "left": [(row, _key(row.drawer)) for row in left if row.counted],
        "form": PostForm(initial={"revision": a_round.revision}),
        "problem": problem,
    }
    return page_or_part(
        request, "inventory/count_differences.html", context, part="differences", status=status
    )


def _is_open(a_round: CountRound) -> bool:
    return not (a_round.posted_at or a_round.dropped_at)


def _round(pk: int) -> CountRound:
    return get_object_or_404(CountRound.objects.select_related("by"), pk=pk)


def _key(drawer: Drawer | None) -> Any:
    """How a drawer stands in an address."""
    return drawer.pk if drawer else NOWHERE


def _drawer(key: str) -> Drawer | None:
    if key == NOWHERE:
        return None
    if not (key.isascii() and key.isdigit() and len(key) < 10):
        raise Http404
    return get_object_or_404(Drawer, pk=int(key))
