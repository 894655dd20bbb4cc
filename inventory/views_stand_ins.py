"""Stand-ins: what on the shelf would serve for what isn't there."""

from collections import Counter
from typing import Any

from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_GET

from calc.engine.quantities import show, units
from calc.meters import always_text
from inventory import serving, stand_ins, values
from inventory.forms_stand_ins import StandInsForm
from inventory.models import Part
from inventory.stand_ins import Found, Need, StandIn, Way
from shop.access import allowed
from shop.http import Request, page_or_part

SHOWN = 6  # of each: one part, and several together


@require_GET
@allowed("see parts")
def stand_ins_page(request: Request) -> HttpResponse:
    """`?q=22u 450V&volts=420&within=10`: nothing asked is the empty form."""
    form = StandInsForm(request.GET if "q" in request.GET else None)
    context: dict[str, Any] = {"form": form}
    if form.is_valid():
        but = form.cleaned_data["but"]
        context |= {"asked": True, "missing": but}
        if form.need is not None:
            context |= _found(form.need, but.pk if but else None)
        else:
            context["same"] = serving.same_or_better(form.wanted, but=but.pk if but else None)
            context["kind"] = form.wanted.kind
    status = 422 if form.is_bound and not form.is_valid() else 200
    return page_or_part(request, "inventory/stand_ins.html", context, part="stand-ins", status=status)


@require_GET
@allowed("see parts")
def part_stand_ins(request: Request, pk: int) -> HttpResponse:
    """The same page, with what the part is filled in."""
    part = get_object_or_404(Part, pk=pk)
    said = " ".join([part.get_kind_display(), *values.said_of(part)])[: values.LONGEST]
    query = urlencode({"q": said, "within": "10", "but": part.pk})
    return HttpResponseRedirect(f"{reverse('stand-ins')}?{query}")


def _found(need: Need, but: int | None) -> dict[str, Any]:
    shelf = serving.shelf(need.kind, but=but)
    single = stand_ins.find(need, shelf, limit=SHOWN, parts=[1])
    several = stand_ins.find(need, shelf, limit=SHOWN, parts=[2, 3])
    parts = Part.objects.select_related("drawer").in_bulk(_keys(single) | _keys(several))
    return {
        "need": need,
        "single": [_shown(need, each, parts) for each in single.answers],
        "several": [_shown(need, each, parts) for each in several.answers],
        "unrated": single.unrated,
        "unrated_of": "rated volts" if need.kind == "capacitor" else "rated watts",
        "asked_of": _asked_of(need),
    }


def _keys(found: Found) -> set[int]:
    return {share.part.key for answer in found.answers for share in answer.shares}


def _asked_of(need: Need) -> str:
    """What is looked for, in words."""
    unit = "F" if need.kind == "capacitor" else "ohm"
    ratings = (
        (need.volts, "V", "at {}"),
        (need.watts, "W", "for {}"),
        (need.amps, "A", "with {} of ripple"),
        (need.hottest, "degC", "up to {}"),
    )
    said = [words.format(always_text(number, of)) for number, of, words in ratings if number is not None]
    return ", ".join([f"{always_text(need.value, unit)} ± {need.within * 100:g} %", *said])


def _shown(need: Need, answer: StandIn, parts: dict[int, Part]) -> dict[str, Any]:
    """One answer, with every figure as text."""
    unit = "F" if need.kind == "capacitor" else "ohm"
    rows = []
    pieces = Counter(share.part.key for share in answer.shares)
    for share in {share.part.key: share for share in answer.shares}.values():
        stands = stand_ins.stands_volts(need.kind, share.part)
        rows.append(
            {
                "part": parts[share.part.key],
                "pieces": pieces[share.part.key],
                "free": share.part.free,
                "volts": _of(share.volts, stands, "V"),
                "most": stand_ins.volts_words(share.most_volts) if share.most_volts is not None else "",
                "watts": _of(share.watts, share.part.watts, "W"),
                "amps": _of(share.amps, share.part.amps, "A"),
            }
        )
    names = [share.part.name for share in answer.shares]
    said = [name if many == 1 else f"{many} × {name}" for name, many in Counter(names).items()]
    return {
        "title": names[0] if answer.way == Way.ONE else f"{' + '.join(said)}, {answer.way}",
        "value": show(units.Quantity(answer.value, unit)),
        "off": _signed_percent(answer.error),
        "rows": rows,
        "has_watts": need.watts is not None and need.kind == "resistor",
        "has_volts": need.volts is not None,
        "has_amps": need.amps is not None,
        "has_most": any(row["most"] for row in rows),
        "answer": answer,
        "balancing": _balancing(answer),
    }


def _of(bears: float | None, rating: float | None, unit: str) -> str:
    """`210 V of 450 V`; what isn't written down says so."""
    if bears is None:
        return ""
    stands = "an unknown rating" if rating is None else always_text(rating, unit)
    return f"{show(units.Quantity(bears, unit))} of {stands}"


def _signed_percent(error: float) -> str:
    if abs(error) < 5e-5:
        return "exact"
    return f"{error * 100:+.2f} %".replace("-", "−")


def _balancing(answer: StandIn) -> list[str]:
    """A line for each resistor: what, how hot, how large."""
    balancing = answer.balancing
    if balancing is None:
        return []
    lines = []
    for share, ohms, watts, size in zip(
        answer.shares, balancing.ohms, balancing.watts, balancing.sizes, strict=True
    ):
        fits = f"take {always_text(size, 'W')} or more" if size else "no usual size bears it"
        lines.append(
            f"{always_text(ohms, 'ohm')} across {share.part.name}: {show(units.Quantity(watts, 'W'))} of heat, {fits}"
        )
    return lines
