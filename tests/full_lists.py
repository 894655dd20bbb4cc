"""Checklists that the full shop changed, made and put out of use, and the addresses of their pages."""

from dataclasses import replace
from typing import Any

from django.urls import reverse

from calc import listing
from calc.checklists import Ask, Checklist, Has, Line, Stage
from calc.checklists.ours import OURS
from calc.forms_lists import ListPage
from shop.models import Staff

VAN = Checklist(
    "loading-the-van",
    "Loading the van",
    "Before it is driven home.",
    Stage.SOAK,
    (
        Line("straps", "Strap it upright.", "Transformers tear loose on a cobbled quay."),
        Line("cold", "Let it cool before the cover goes on.", ask=Ask.LOOK, wait=600, since="straps"),
    ),
    frozenset({Has.VALVES}),
)


def build(owner: Staff) -> None:
    """Change one of our lists twice, put one out of use, make one of the shop's own that no job here needs."""
    live = OURS["live"]
    changed = replace(live, lines=(*live.lines, Line("mat", "Lay the mat down.", may_not_apply=True)))
    listing.change(changed, by=owner, words="We have a mat now.", seen=1)
    lines = [replace(line, text=f"{line.text} Mind the mat.") for line in changed.lines[:2]]
    listing.change(
        replace(changed, lines=(*changed.lines[2:], *lines)), by=owner, words="Two went last.", seen=2
    )
    listing.change(replace(OURS["crt"], retired=True), by=owner, words="We send these away.", seen=1)
    listing.change(replace(VAN, retired=True), by=owner, words="Two fell over.", seen=0)


def pages() -> dict[str, list[str]]:
    """The addresses of the pages, by the name of the address."""
    edited = ("live", "before-power", "soak", VAN.slug)
    return {
        "checklists": [reverse("checklists")],
        "checklist": [reverse("checklist", args=[slug]) for slug in (*OURS, VAN.slug)],
        "checklist-version": [reverse("checklist-version", args=["live", number]) for number in (1, 2, 3)],
        "checklist-edit": [reverse("checklist-edit", args=[slug]) for slug in edited],
        "checklist-new": [reverse("checklist-new")],
    }


def papers() -> dict[str, list[str]]:
    """The papers, as pages to print."""
    lists = ("before-power", "first-power", "live", VAN.slug)
    return {"checklist-paper": [f"{reverse('checklist-paper', args=[slug])}?view=html" for slug in lists]}


def refused() -> list[tuple[str, dict[str, Any]]]:
    """Addresses, with what is sent to them in vain: lines open, taken off, wrong, looser; two at once."""
    power, live = typed("before-power"), typed("live")
    opened = [line.key for line in OURS["before-power"].lines]
    return [
        (reverse("checklist-new"), {}),
        (reverse("checklist-new"), {"rows": ["_1"], "name": "Live work", "seen": "0"}),
        (reverse("checklist-edit", args=["before-power"]), {**power, "line-discharged-at_most": "60"}),
        (
            reverse("checklist-edit", args=["before-power"]),
            {**power, "open": opened, "line-fuse-wait": "soon"},
        ),
        (reverse("checklist-edit", args=["live"]), {**live, "off": ["needed", "dry"], "line-mat-text": ""}),
        (reverse("checklist-edit", args=["live"]), {**live, "seen": "1", "said": "Mine."}),
    ]


def typed(slug: str) -> dict[str, Any]:
    """A list's form as its page sends it, with what changed said."""
    now = listing.current()[slug]
    page = ListPage(now, now.checklist)
    boxes = {box.html_name: box.value() for box in page.form if box.value() not in (None, False)}
    lines = dict(pair for row in page.rows for pair in row.unseen)
    return {**boxes, **lines, "rows": [row.id for row in page.rows], "words": "Easier so."}
