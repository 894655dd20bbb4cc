"""People and their gear: looking them up, writing them down, correcting what was written."""

from collections.abc import Iterable
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, Prefetch, Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from intake import register
from intake.forms_people import GearForm, PersonForm, PhoneFormSet
from intake.models import Finding, Gear, Job, Person
from intake.models.jobs import IN_THE_HOUSE
from shop import sockets, timeline
from shop.access import allowed
from shop.errors import ChangedMeanwhile
from shop.http import Request, go_to, page_or_part
from shop.once import FIELD, new_key, once

ON_A_PAGE = 40
_NOT_SENT_AGAIN = frozenset({"csrfmiddlewaretoken", FIELD, "revision", "keep", "more"})


@require_GET
@allowed("see people")
def people(request: Request) -> HttpResponse:
    """Everybody, or those whom the words in the box fit."""
    text = "".join(c for c in request.GET.get("q", "")[:120] if c.isprintable()).strip()
    found = Person.objects.matching(text) if text else Person.objects.all()
    page = Paginator(found.with_phones(), ON_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "rows": _with_counts(page.object_list),
        "text": text,
        "query": urlencode({"q": text}) if text else "",
    }
    return page_or_part(request, "intake/people.html", context, part="people-list")


def _with_counts(people: Iterable[Person]) -> list[dict[str, Any]]:
    """Each person with how many jobs they ever had and how many are here: for one page, not for everybody."""
    people = list(people)
    counted = (
        Job.objects.filter(person__in=people)
        .order_by()
        .values("person")
        .annotate(ever=Count("pk"), here=Count("pk", filter=Q(state__in=IN_THE_HOUSE)))
    )
    counts = {row["person"]: row for row in counted}
    nothing = {"ever": 0, "here": 0}
    return [{**counts.get(person.pk, nothing), "person": person} for person in people]


@require_GET
@allowed("see people")
def person(request: Request, pk: int) -> HttpResponse:
    """One person: how to reach them, their gear, what is here now and what was."""
    person = get_object_or_404(Person.objects.with_phones(), pk=pk)
    jobs = list(person.jobs.with_card().order_by("-pk"))
    context = {
        "person": person,
        "here": [job for job in jobs if not job.is_over],
        "gone": [job for job in jobs if job.is_over],
        "gear": list(person.gear.annotate(visits_made=Count("jobs"))),
        "panels": sockets.panels_for("person", request, person),
        "today": timezone.localdate(),
        "entries": timeline.of(person)[:50],
    }
    return render(request, "intake/person.html", context)


@require_http_methods(["GET", "POST"])
@allowed("change people")
@once
def person_new(request: Request) -> HttpResponse:
    """Write somebody down who brings nothing yet. (The drop-off does it by the way.)"""
    form, phones = _person_forms(request, None)
    if "more" in request.POST or request.method == "GET" or not _all_valid(form, phones):
        return _person_page(request, None, form, phones)
    person = register.new_person(facts=form.facts(), phones=phones.numbers(), by=request.user)
    messages.success(request, f"{person} is written down.")
    return go_to(request, person)


@require_http_methods(["GET", "POST"])
@allowed("change people")
@once
def person_edit(request: Request, pk: int) -> HttpResponse:
    """Correct what is known of a person."""
    person = get_object_or_404(Person.objects.with_phones(), pk=pk)
    if request.POST.get("keep") == "theirs":
        return go_to(request, person)
    form, phones = _person_forms(request, person)
    if "more" in request.POST or request.method == "GET" or not _all_valid(form, phones):
        return _person_page(request, person, form, phones)
    try:
        register.change_person(
            person,
            facts=form.facts(),
            phones=phones.numbers(),
            by=request.user,
            revision=form.cleaned_data["revision"],
        )
    except ChangedMeanwhile as changed:
        return _both_versions(request, changed)
    messages.success(request, "Kept.")
    return go_to(request, person)


def _person_forms(request: Request, person: Person | None) -> tuple[PersonForm, Any]:
    """The form and its phones: filled from what was sent, else from what is known."""
    sent = request.POST if request.method == "POST" else None
    known = [{"number": p.number, "label": p.label} for p in person.phones.all()] if person else []
    # Its own copy of the row: a form writes into what it is given, also what isn't kept in the end.
    row = Person.objects.get(pk=person.pk) if person and sent is None else None
    initial = {"revision": person.revision} if person else None
    if sent is not None and "more" in sent:
        sent = _with_one_more(sent)
    return (
        PersonForm(sent, instance=row, initial=initial),
        PhoneFormSet(sent, initial=None if sent else known, prefix="phones"),
    )


def _with_one_more(sent: Any) -> Any:
    """What was typed, with one more empty row for a phone: the button for it works without JavaScript too."""
    sent = sent.copy()
    rows = sent.get("phones-TOTAL_FORMS", "")
    sent["phones-TOTAL_FORMS"] = (
        str(int(rows) + 1) if rows.isascii() and rows.isdigit() and len(rows) < 3 else "1"
    )
    return sent


def _all_valid(form: PersonForm, phones: Any) -> bool:
    return all([form.is_valid(), phones.is_valid()])


def _person_page(request: Request, person: Person | None, form: PersonForm, phones: Any) -> HttpResponse:
    wrong = form.is_bound and "more" not in request.POST
    context = {"person": person, "form": form, "phones": phones, "wrong": wrong}
    return page_or_part(
        request, "intake/person_edit.html", context, part="person-form", status=422 if wrong else 200
    )


@require_GET
@allowed("see people")
def gear(request: Request, pk: int) -> HttpResponse:
    """One piece of gear: what it is, and every visit with what was found."""
    gear = get_object_or_404(Gear.objects.select_related("owner"), pk=pk)
    findings = Prefetch("findings", Finding.objects.filter(struck_at__isnull=True))
    context = {
        "gear": gear,
        "jobs": list(
            gear.jobs.with_card().select_related("comeback_of").prefetch_related(findings).order_by("-pk")
        ),
        "panels": sockets.panels_for("gear", request, gear),
        "entries": timeline.of(gear)[:50],
    }
    return render(request, "intake/gear.html", context)


@require_http_methods(["GET", "POST"])
@allowed("change people")
@once
def gear_edit(request: Request, pk: int) -> HttpResponse:
    """Correct what is known of a piece of gear."""
    gear = get_object_or_404(Gear.objects.select_related("owner"), pk=pk)
    if request.POST.get("keep") == "theirs":
        return go_to(request, gear)
    if request.method == "GET":
        form = GearForm(instance=gear, initial={"revision": gear.revision})
        return render(request, "intake/gear_edit.html", {"gear": gear, "form": form})
    form = GearForm(request.POST)
    if not form.is_valid():
        context = {"gear": gear, "form": form}
        return page_or_part(request, "intake/gear_edit.html", context, part="gear-form", status=422)
    try:
        register.change_gear(
            gear, facts=form.facts(), by=request.user, revision=form.cleaned_data["revision"]
        )
    except ChangedMeanwhile as changed:
        return _both_versions(request, changed)
    messages.success(request, "Kept.")
    return go_to(request, gear)


def _both_versions(request: Request, changed: ChangedMeanwhile) -> HttpResponse:
    """Show what it says now beside what was typed; the choice is sent to the same form."""
    rows = [
        {
            "label": label,
            "mine": mine,
            "theirs": changed.theirs[label],
            "differs": mine != changed.theirs[label],
        }
        for label, mine in changed.yours.items()
    ]
    again = {name: value for name, value in request.POST.items() if name not in _NOT_SENT_AGAIN}
    hidden = [*again.items(), ("revision", changed.revision), (FIELD, new_key())]
    context = {"rows": rows, "hidden": hidden, "action": request.path}
    return render(request, "shop/changed_meanwhile.html", context, status=409)
