"""Labels for drawers and parts: chosen on a page, printed as a paper."""

from django.db.models import Prefetch, prefetch_related_objects
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from inventory import labels
from inventory.forms_labels import LabelsForm
from inventory.models import Drawer, Part
from shop import papers
from shop.access import allowed
from shop.addresses import lan_url
from shop.http import Request


@require_GET
@allowed("see parts")
def labels_page(request: Request) -> HttpResponse:
    """Which drawers get a label, and on what it is printed; all are ticked with `?all=1`."""
    chosen = Drawer.objects.filter(is_in_use=True) if request.GET.get("all") else []
    return _choose(request, LabelsForm(paper=request.shop.paper, initial={"drawer": chosen}))


@require_GET
@allowed("see parts")
def paper(request: Request) -> HttpResponse:
    """The labels: `?drawer=1&drawer=2&part=7&on=roll`."""
    form = LabelsForm(request.GET.copy(), paper=request.shop.paper)
    form.data.setdefault("on", "sheet")
    if not form.is_valid():
        return _choose(request, form, status=422)
    said = form.cleaned_data
    on = labels.ROLL if said["on"] == "roll" else labels.SHEETS[request.shop.paper]
    made = _labels_of(request, form)
    context = {
        "pages": labels.pages(made, on, skip=0 if on is labels.ROLL else said["skip"] or 0),
        "paper": on.name,
    }
    return papers.answer(request, "inventory/papers/labels.html", context, f"labels-{len(made)}.pdf")


def _labels_of(request: Request, form: LabelsForm) -> list[labels.Label]:
    drawers, parts = list(form.cleaned_data["drawer"]), form.cleaned_data["part"]
    prefetch_related_objects(drawers, Prefetch("parts", Part.objects.in_use(), to_attr="in_it"))
    return [
        *(
            labels.of_drawer(each, each.in_it, lan_url(request, reverse("drawer-scan", args=[each.code])))
            for each in drawers
        ),
        *(labels.of_part(each, lan_url(request, reverse("part", args=[each.pk]))) for each in parts),
    ]


def _choose(request: Request, form: LabelsForm, *, status: int = 200) -> HttpResponse:
    sheet = labels.SHEETS[request.shop.paper]
    context = {
        "form": form,
        "sheet": sheet,
        "has_drawers": form.fields["drawer"].queryset.exists(),
        "size": {"labels-a4": "70 × 37 mm", "labels-letter": "4 × 2 in"}[sheet.name],
    }
    return render(request, "inventory/labels.html", context, status=status)
