"""Tubes with labels of their own, their readings, and sets of them."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Prefetch, Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory import labels, matching, tube_labels, tubes
from inventory.forms_stand_ins import BY_TYPE, TOGETHER
from inventory.forms_tubes import MakeSetForm, MatchForm, NewTubeForm, ReadingForm, UseOnJobForm, WhyForm
from inventory.models import Kind, Part, Tube, TubeSet
from inventory.tube_labels import at, milliamps
from shop import papers, timeline
from shop.access import allowed
from shop.addresses import lan_url
from shop.errors import Refused
from shop.http import Request, go_to, page_or_part
from shop.once import once

ON_A_PAGE = 50
PROPOSED = 12  # sets that are shown of one group


# --- Tubes ---------------------------------------------------------------------------------------------------


@require_GET
@allowed("see parts")
def tube_list(request: Request) -> HttpResponse:
    """`?q=6L6` and `?gone=1`."""
    q, gone = request.GET.get("q", "").strip()[:80], bool(request.GET.get("gone"))
    rows = Tube.objects.filter(gone_at__isnull=not gone)
    if q:
        rows = rows.filter(Q(label__icontains=q) | Q(part__name__icontains=q) | Q(make__icontains=q))
    page = Paginator(tubes.with_readings(rows.order_by("part__name", "label")), ON_A_PAGE).get_page(
        request.GET.get("page")
    )
    context = {
        "page": page,
        "rows": [_row(tube) for tube in page.object_list],
        "q": q,
        "gone": gone,
        "query": f"q={q}" + ("&gone=1" if gone else ""),
    }
    return page_or_part(request, "inventory/tubes.html", context, part="tubes")


@require_http_methods(["GET", "POST"])
@allowed("see to parts")
@once
def tube_new(request: Request) -> HttpResponse:
    if request.method == "GET":
        form = NewTubeForm(initial={"part": request.GET.get("part")})
        return render(request, "inventory/tube_new.html", {"form": form})
    form = NewTubeForm(request.POST)
    if form.is_valid():
        said = dict(form.cleaned_data)
        job, part = said.pop("job"), said.pop("part")
        try:
            if job is not None:
                said.pop("is_used")
                tube = tubes.keep_used(part, job=job, by=request.user, **said)
            else:
                tube = tubes.log(part, by=request.user, **said)
        except Refused as why:
            form.add_error(None, str(why))
        else:
            messages.success(request, f"It is {tube.label}. Write that on it, or print its label.")
            return go_to(request, "tube", tube.pk)
    return render(request, "inventory/tube_new.html", {"form": form}, status=422)


@require_GET
@allowed("see parts")
def tube(request: Request, pk: int) -> HttpResponse:
    return _tube(request, _find(pk))


@require_POST
@allowed("see to parts")
@once
def tube_measure(request: Request, pk: int) -> HttpResponse:
    one = _find(pk)
    form = ReadingForm(request.POST)
    return _act(
        request,
        form,
        lambda said: tubes.measure(one, by=request.user, **said),
        done=lambda reading: f"{one.label} drew {milliamps(reading.current)}.",
        again=lambda status: _tube(request, one, status=status, reading_form=form),
        to=("tube", one.pk),
    )


@require_POST
@allowed("work on jobs")
@once
def tube_use(request: Request, pk: int) -> HttpResponse:
    return _use(request, tubes.use_tube, _find(pk), _tube, "tube")


@require_POST
@allowed("see to parts")
@once
def tube_scrap(request: Request, pk: int) -> HttpResponse:
    one = _find(pk)
    form = WhyForm(request.POST, auto_id="scrap-%s")
    return _act(
        request,
        form,
        lambda said: tubes.scrap(one, by=request.user, **said),
        done=lambda move: f"{one.label} is scrapped.",
        again=lambda status: _tube(request, one, status=status, scrap_form=form),
        to=("tube", one.pk),
    )


# --- Sets ----------------------------------------------------------------------------------------------------


@require_GET
@allowed("see parts")
def tube_sets(request: Request) -> HttpResponse:
    """The sets that are here, and the best that could be made: `?size=4&within=10`."""
    form = MatchForm(request.GET if "size" in request.GET else {"size": "2", "within": "10"})
    groups: list[dict[str, Any]] = []
    if form.is_valid():
        within = form.cleaned_data["within"]
        groups = [
            _proposed(group, form.cleaned_data["size"], None if within is None else float(within) / 100)
            for group in tubes.alike()
        ]
    here = TubeSet.objects.filter(gone_at__isnull=True, taken_apart_at__isnull=True)
    context = {
        "form": form,
        "groups": groups,
        "sets": [_set_row(each) for each in _sets_with_tubes(here)],
    }
    status = 200 if form.is_valid() else 422
    return page_or_part(request, "inventory/tube_sets.html", context, part="matches", status=status)


@require_POST
@allowed("see to parts")
@once
def tube_set_make(request: Request) -> HttpResponse:
    form = MakeSetForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Choose the tubes of the set. Load the page again, then choose.")
        return go_to(request, "tube-sets")
    made = tubes.make_set(form.cleaned_data["tubes"], by=request.user)
    messages.success(request, f"It is set {made.label}. Print its label, and keep the tubes together.")
    return go_to(request, "tube-set", made.pk)


@require_GET
@allowed("see parts")
def tube_set(request: Request, pk: int) -> HttpResponse:
    return _set(request, _find_set(pk))


@require_POST
@allowed("work on jobs")
@once
def tube_set_use(request: Request, pk: int) -> HttpResponse:
    return _use(request, tubes.use_set, _find_set(pk), _set, "tube-set")


@require_POST
@allowed("see to parts")
@once
def tube_set_sell(request: Request, pk: int) -> HttpResponse:
    made = _find_set(pk)
    tubes.sell_set(made, by=request.user)
    messages.success(request, f"Set {made.label} is sold.")
    return go_to(request, "tube-set", made.pk)


@require_POST
@allowed("see to parts")
@once
def tube_set_apart(request: Request, pk: int) -> HttpResponse:
    made = tubes.take_apart(_find_set(pk), by=request.user)
    messages.success(request, f"Set {made.label} is taken apart.")
    return go_to(request, "tube-set", made.pk)


@require_GET
@allowed("see parts")
def tube_label(request: Request, pk: int) -> HttpResponse:
    one = _find(pk)
    return _paper(request, tube_labels.of_tube(one, lan_url(request, reverse("tube", args=[one.pk]))))


@require_GET
@allowed("see parts")
def tube_set_label(request: Request, pk: int) -> HttpResponse:
    made = _find_set(pk)
    address = lan_url(request, reverse("tube-set", args=[made.pk]))
    return _paper(request, tube_labels.of_set(made, list(made.tubes.all()), address))


def part_panel(part: Part) -> dict[str, Any] | None:
    """On a part's page: the way to its stand-ins; of a tube, how many have labels. Of a screw, nothing."""
    if part.kind not in (*TOGETHER, *BY_TYPE):
        return None
    is_tube = part.kind == Kind.TUBE
    here = Tube.objects.filter(part=part, gone_at__isnull=True)
    return {"part": part, "is_tube": is_tube, "labelled": here.count() if is_tube else 0}


# --- Inside --------------------------------------------------------------------------------------------------


def _act(
    request: Request,
    form: Any,
    verb: Callable[[dict[str, Any]], Any],
    *,
    done: Callable[[Any], str],
    again: Callable[[int], HttpResponse],
    to: tuple[str, int],
) -> HttpResponse:
    """Do what a form asks, or show it again with what is in the way."""
    if not form.is_valid():
        return again(422)
    try:
        outcome = verb(form.cleaned_data)
    except Refused as why:
        form.add_error(None, str(why))
        return again(why.status)
    messages.success(request, done(outcome))
    return go_to(request, *to)


def _use(request: Request, verb: Any, thing: Tube | TubeSet, page: Any, name: str) -> HttpResponse:
    """Use a tube or a set on the job that its form names. `page` shows it again, at the address called `name`."""
    form = UseOnJobForm(request.POST, currency=request.shop.currency, auto_id="use-%s")
    return _act(
        request,
        form,
        lambda said: verb(thing, by=request.user, **said),
        done=lambda move: f"{thing} is used on {move.job.claim}.",
        again=lambda status: page(request, thing, status=status, use_form=form),
        to=(name, thing.pk),
    )


def _use_form(request: Request) -> UseOnJobForm:
    """The blank form, for the job from which a scan led here (`?job=`)."""
    initial = {"job": request.GET.get("job", "")[:40]}
    return UseOnJobForm(currency=request.shop.currency, auto_id="use-%s", initial=initial)


def _find(pk: int) -> Tube:
    return get_object_or_404(tubes.with_readings(Tube.objects.all()), pk=pk)


def _find_set(pk: int) -> TubeSet:
    return get_object_or_404(_sets_with_tubes(TubeSet.objects.all()), pk=pk)


def _sets_with_tubes(rows: Any) -> Any:
    members = tubes.with_readings(Tube.objects.order_by("label"))
    return rows.select_related("part", "job").prefetch_related(Prefetch("tubes", members))


def _row(one: Tube) -> dict[str, Any]:
    reading = tubes.last_reading(one)
    return {
        "tube": one,
        "reading": reading,
        "drew": milliamps(reading.current) if reading else "",
        "at": at(reading) if reading else "",
    }


def _reading_row(reading: Any) -> dict[str, Any]:
    gain = reading.transconductance
    return {
        "reading": reading,
        "drew": milliamps(reading.current),
        "at": at(reading),
        "gain": f"{gain * 1000:.2f} mA/V" if gain else "",
    }


def _tube(request: Request, one: Tube, *, status: int = 200, **forms: Any) -> HttpResponse:
    context = {
        "tube": one,
        "readings": [_reading_row(each) for each in one.readings.all()],
        "entries": timeline.of(one)[:50],
        "reading_form": ReadingForm(initial=_as_last_time(one)),
        "use_form": _use_form(request),
        "scrap_form": WhyForm(auto_id="scrap-%s"),
        **forms,
    }
    return render(request, "inventory/tube.html", context, status=status)


def _as_last_time(one: Tube) -> dict[str, Any]:
    """Conditions as they were when a tube of this kind was last measured: tubes are measured in a row."""
    last = tubes.last_reading(one) or tubes.last_of_kind(one)
    if last is None:
        return {}
    return {
        name: getattr(last, name)
        for name in ("plate_volts", "screen_volts", "grid_volts", "tester", "warm_minutes")
    }


def _match_row(match: matching.Match | None) -> dict[str, Any] | None:
    if match is None:
        return None
    return {
        "match": match,
        "apart": f"{match.apart * 1000:.1f} mA, {match.fraction * 100:.1f} %",
        "mark": {"well matched": "good", "usable": "plain"}.get(match.verdict, "bad"),
        "sides": [" + ".join(str(each.key) for each in side) for side in match.sides or ()],
        "sides_apart": f"{match.sides_apart * 1000:.1f} mA" if match.sides_apart is not None else "",
        "gain": f"{match.transconductance * 100:.0f} %" if match.transconductance is not None else "",
        "tubes": [{"tube": each.key, "drew": milliamps(each.current)} for each in match.tubes],
    }


def _proposed(group: tubes.Alike, size: int, within: float | None) -> dict[str, Any]:
    found = group.matched(size, within=within)
    return {
        "part": group.part,
        "at": at(group.tubes[0][1]),
        "tester": group.tubes[0][1].tester,
        "many": len(group.tubes),
        "sets": [_match_row(each) for each in found.sets[:PROPOSED]],
        "more": max(len(found.sets) - PROPOSED, 0),
        "left": ", ".join(each.key.label for each in found.left_over[:40]),
    }


def _set_row(made: TubeSet) -> dict[str, Any]:
    members = list(made.tubes.all())
    return {
        "set": made,
        "name": tubes.name_of_set(len(members)),
        "match": _match_row(tubes.how_matched(members)),
        "tubes": [_row(each) for each in members],
    }


def _set(request: Request, made: TubeSet, *, status: int = 200, **forms: Any) -> HttpResponse:
    context = {
        **_set_row(made),
        "entries": timeline.of(made)[:50],
        "is_here": made.gone_at is None and made.taken_apart_at is None,
        "use_form": _use_form(request),
        **forms,
    }
    return render(request, "inventory/tube_set.html", context, status=status)


def _paper(request: Request, label: labels.Label) -> HttpResponse:
    """One label, on the roll."""
    context = {"pages": labels.pages([label], labels.ROLL), "paper": labels.ROLL.name}
    return papers.answer(request, "inventory/papers/labels.html", context, f"label-{label.code}.pdf")
