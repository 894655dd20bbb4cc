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
from intake.editing import edit
from intake.forms_people import GearForm, NewPersonForm, PersonForm, one_more_phone
from intake.models import Finding, Gear, Job, Person
from intake.models.jobs import IN_THE_HOUSE
from shop import sockets, timeline
from shop.access import allowed
from shop.http import Request, go_to, page_or_part
from shop.once import once

ON_A_PAGE = 40


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
    if request.method == "GET":
        return _person_page(request, NewPersonForm())
    if "more" in request.POST:
        return _person_page(request, NewPersonForm(one_more_phone(request.POST)), more=True)
    form = NewPersonForm(request.POST)
    if not form.is_valid():
        return _person_page(request, form, status=422)
    person = register.new_person(facts=form.facts(), phones=form.phones.numbers(), by=request.user)
    messages.success(request, f"{person} is written down.")
    return go_to(request, person)


@require_http_methods(["GET", "POST"])
@allowed("change people")
@once
def person_edit(request: Request, pk: int) -> HttpResponse:
    """Correct what is known of a person."""
    person = get_object_or_404(Person, pk=pk)
    if "more" in request.POST:
        form = PersonForm(one_more_phone(request.POST))
        return _person_page(request, form, person=person, more=True)

    def now() -> tuple[Person, int]:
        fresh = Person.objects.with_phones().get(pk=pk)
        return fresh, fresh.revision

    def save(form: PersonForm) -> None:
        revision = form.cleaned_data["revision"]
        register.change_person(
            person, facts=form.facts(), phones=form.phones.numbers(), by=request.user, revision=revision
        )

    return edit(
        request,
        about=person,
        form_class=PersonForm,
        now=now,
        save=save,
        done=person.get_absolute_url(),
        template="intake/person_edit.html",
        person=person,
    )


def _person_page(
    request: Request, form: NewPersonForm | PersonForm, *, status: int = 200, **more: Any
) -> HttpResponse:
    context = {"form": form, "action": request.path, **more}
    return page_or_part(request, "intake/person_edit.html", context, part="edit", status=status)


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

    def now() -> tuple[Gear, int]:
        gear.refresh_from_db()
        return gear, gear.revision

    def save(form: GearForm) -> None:
        revision = form.cleaned_data["revision"]
        register.change_gear(gear, facts=form.facts(), by=request.user, revision=revision)

    return edit(
        request,
        about=gear,
        form_class=GearForm,
        now=now,
        save=save,
        done=gear.get_absolute_url(),
        template="intake/gear_edit.html",
        gear=gear,
    )
