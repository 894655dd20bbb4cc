"""Stock planning over HTTP: what to reorder, the best use of a sum, money asleep, what the queue will need."""

import datetime as dt
import itertools
from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET, require_POST

from calc.worksheets.chart import draw
from intake import billing
from inventory import demand, ordering, planning_pictures
from inventory import planning as reckoning
from inventory.forms_planning import PicksForm, SumForm
from inventory.models import Part
from shop import csv_out
from shop.access import allowed
from shop.errors import NotAllowedYet
from shop.http import Request, go_to
from shop.once import once

SERVICES: Final = (80, 90, 95, 98)  # per cent
ON_A_PAGE: Final = 50
FIRST_SUM: Final = Decimal(300)
MOST_STEPS: Final = 300  # of the curve
DAYS_A_YEAR: Final = 365
MOST_COUNTS: Final = 40  # rows of the table that says how many are enough


@require_GET
@allowed("see parts")
def planning(request: Request) -> HttpResponse:
    """Every part that was used: what is expected, and at how many to order it."""
    service = _service(request)
    made = _plans(request, service)
    page = _page(request, made)
    context = {
        "page_obj": page,
        "query": urlencode({"service": service}),
        "services": SERVICES,
        "service": service,
        "count": len(made),
        "due": sum(plan.is_due for plan in made),
        "now": [plan for plan in page if plan.is_due],
        "rest": [plan for plan in page if not plan.is_due],
    }
    return render(request, "inventory/planning.html", context)


@require_GET
@allowed("see parts")
def planning_csv(request: Request) -> HttpResponse:
    """The same for a spreadsheet."""
    head = ["Part", "Drawer", "Free", "On order", "Wanted by jobs", "Jobs behind it", "Pieces in a year"]
    head += ["Pieces a month", "Days to come", "As planned, reorder at", "Reorder at", "Why not"]
    rows = [
        [
            plan.part.name,
            plan.part.drawer,
            plan.part.is_free,
            plan.coming,
            plan.wanted,
            plan.use.jobs,
            plan.use.in_days(DAYS_A_YEAR),
            round(plan.a_month, 3),
            round(plan.lead.days, 1),
            plan.planned_at,
            plan.reorder_at,
            plan.why_not,
        ]
        for plan in _plans(request, _service(request))
    ]
    return csv_out.answer(f"planning-{_today(request)}.csv", head, rows)


@require_GET
@allowed("see parts")
def part_planning(request: Request, pk: int) -> HttpResponse:
    """How one part is planned, worked out in the open."""
    part = get_object_or_404(Part.objects.counted(), pk=pk)
    service = _service(request)
    made = demand.plans(_today(request), request.shop.zone, service / 100, [pk])
    context: dict[str, Any] = {"part": part, "services": SERVICES, "service": service, "plan": None}
    if made:
        (plan,) = made
        chart = planning_pictures.of_history(plan.history, plan.a_month)
        context |= {
            "plan": plan,
            "a_year": plan.use.in_days(DAYS_A_YEAR),
            "forecasts": _forecasts(plan),
            "counts": _counts(plan),
            "chart": chart,
            "drawing": draw(chart),
            "months": list(zip(range(len(plan.history) - 1, -1, -1), plan.history, strict=True)),
        }
    return render(request, "inventory/part_planning.html", context)


@require_GET
@allowed("order parts")
def best_use(request: Request) -> HttpResponse:
    """Given a sum, which parts spare the most jobs a wait."""
    form = _sum_form(request)
    money = form.cleaned_data["money"] if form.is_valid() else None
    context: dict[str, Any] = {"form": form, "use": None}
    if money is not None:
        made = _plans(request, 95)
        items = demand.items(made)
        use = reckoning.best_use(items, money)
        bought = _bought(use, made)
        curve = _curve(items, money)
        chart = planning_pictures.of_best_use(use, curve, request.shop.currency)
        context |= {
            "money": money,
            "use": use,
            "bought": bought,
            "any_offer": any(each.pick for each in bought),
            "before_days": use.before * DAYS_A_YEAR,
            "after_days": use.after * DAYS_A_YEAR,
            "more_days": use.at_most_more * DAYS_A_YEAR,
            "considered": len(items),
            "left_out": len(made) - len(items),
            "chart": chart,
            "drawing": draw(chart),
            "curve": _marks(curve),
            "query": urlencode({"money": str(money)}),
        }
    return render(request, "inventory/best_use.html", context, status=422 if form.errors else 200)


@require_POST
@allowed("order parts")
@once
def best_use_order(request: Request) -> HttpResponse:
    """Put what was shown on the next order of each supplier."""
    form = PicksForm(request.POST)
    if not form.is_valid():
        raise NotAllowedYet(form.non_field_errors()[0])
    orders = ordering.gather(form.cleaned_data["picks"], by=request.user)
    names = ", ".join(f"{str(order).lower()} ({order.supplier})" for order in orders)
    messages.success(request, f"Gathered: {names}. Look it over, then send it.")
    return go_to(request, *(("order", orders[0].number) if len(orders) == 1 else ("orders",)))


@require_GET
@allowed("order parts")
def best_use_csv(request: Request) -> HttpResponse:
    """What to buy for a sum, for a spreadsheet."""
    form = _sum_form(request)
    if not form.is_valid():
        raise Http404("No such sum.")
    made = _plans(request, 95)
    use = reckoning.best_use(demand.items(made), form.cleaned_data["money"])
    rows = [
        [
            each.plan.part.name,
            str(each.plan.offer.supplier) if each.plan.offer else "",
            each.plan.offer.number if each.plan.offer else "",
            each.packs,
            each.pieces,
            each.cost,
            round(each.days, 2),
        ]
        for each in _bought(use, made)
    ]
    head = [
        "Part",
        "Supplier",
        "Their number",
        "Packs",
        "Pieces",
        "Cost",
        "Job-days of waiting spared a year",
    ]
    return csv_out.answer(f"best-use-{_today(request)}.csv", head, rows)


@require_GET
@allowed("order parts")
def asleep(request: Request) -> HttpResponse:
    """The money in the drawers, by how long nobody moved what it bought."""
    sleepers = demand.asleep(_today(request), request.shop.zone)
    least = _least_months(request)
    shown = [each for each in sleepers if each.months >= least]
    total = sum((each.money for each in sleepers), Decimal(0))
    context: dict[str, Any] = {
        "bands": _bands(sleepers),
        "total": total,
        "shown_money": sum((each.money for each in shown), Decimal(0)),
        "shown": len(shown),
        "least": least,
        "edges": reckoning.BANDS,
        "page_obj": _page(request, shown),
        "query": urlencode({"months": least}),
    }
    if sleepers:
        chart = planning_pictures.of_sleep(
            [(each.months, each.money) for each in sleepers], request.shop.currency
        )
        context |= {"chart": chart, "drawing": draw(chart)}
    return render(request, "inventory/asleep.html", context)


@require_GET
@allowed("order parts")
def asleep_csv(request: Request) -> HttpResponse:
    """Every part on the shelf with its last move, for a spreadsheet."""
    rows = [
        [
            each.part.name,
            each.part.drawer.code if each.part.drawer else "",
            each.part.quantity,
            each.part.cost,
            each.money,
            each.since,
            each.months,
        ]
        for each in demand.asleep(_today(request), request.shop.zone)
    ]
    head = ["Part", "Drawer", "Pieces", "Cost of one", "Money", "Last move", "Months without a move"]
    return csv_out.answer(f"asleep-{_today(request)}.csv", head, rows)


@require_GET
@allowed("see parts")
def queue_needs(request: Request) -> HttpResponse:
    """What jobs in the queue will need, from what jobs on like gear used before."""
    queue = demand.queue_needs()
    return render(
        request, "inventory/queue_needs.html", {"queue": queue, "page_obj": _page(request, queue.needs)}
    )


@require_GET
@allowed("see parts")
def queue_needs_csv(request: Request) -> HttpResponse:
    """The same for a spreadsheet."""
    rows = [
        [
            need.part.name,
            need.part.drawer.code if need.part.drawer else "",
            need.part.is_free,
            len(need.jobs),
            round(need.expected, 3),
            round(need.short, 4),
            need.behind,
        ]
        for need in demand.queue_needs().needs
    ]
    head = ["Part", "Drawer", "Free", "Jobs that may need it", "Pieces expected"]
    head += ["Chance that it runs short", "Jobs that used it before"]
    return csv_out.answer(f"queue-needs-{_today(request)}.csv", head, rows)


def part_panel(request: Request, part: Part) -> dict[str, Any] | None:
    """On a part's page: what is expected of it. No box for loose parts and where nobody used it."""
    if part.is_loose:
        return None
    made = demand.plans(_today(request), request.shop.zone, parts=[part.pk])
    return {"plan": made[0], "a_year": made[0].use.in_days(DAYS_A_YEAR)} if made else None


# --- what the pages show


@dataclass(frozen=True)
class Bought:
    """What a sum buys of one part. `days` are the job-days of waiting that it spares in a year."""

    plan: demand.Plan
    packs: int
    pieces: int
    cost: Decimal
    days: float

    @property
    def pick(self) -> str:
        """As the form that orders it says it; empty where nobody sells it."""
        return f"{self.plan.offer.pk}:{self.pieces}" if self.plan.offer else ""


def _bought(use: reckoning.BestUse, made: list[demand.Plan]) -> list[Bought]:
    """The steps of one part together, in the order of its first."""
    plans = {plan.part.pk: plan for plan in made}
    steps: dict[int, list[reckoning.Step]] = defaultdict(list)
    for step in use.bought:
        steps[step.key].append(step)
    return [
        Bought(
            plans[key],
            len(of),
            sum(step.pieces for step in of),
            sum((step.cost for step in of), Decimal(0)),
            sum(step.gain for step in of) * DAYS_A_YEAR,
        )
        for key, of in steps.items()
    ]


def _curve(items: list[reckoning.Item], money: Decimal) -> list[reckoning.Step]:
    """The steps up to twice the sum, and one beyond it."""
    curve = []
    for step in itertools.islice(reckoning.steps(items), MOST_STEPS):
        curve.append(step)
        if step.spent > 2 * money:
            break
    return curve


def _marks(curve: list[reckoning.Step]) -> list[reckoning.Step]:
    """About ten steps of the curve, the last among them: the table behind the picture."""
    every = max(len(curve) // 10, 1)
    return [step for place, step in enumerate(curve) if place % every == 0 or step is curve[-1]]


def _bands(sleepers: list[demand.Sleeper]) -> list[dict[str, Any]]:
    """Parts and money by months without a move."""
    edges = (*reckoning.BANDS, None)
    rows = [
        {"from": low, "below": high, "parts": 0, "money": Decimal(0)}
        for low, high in itertools.pairwise(edges)
    ]
    for each in sleepers:
        row = rows[reckoning.band_of(each.months)]
        row["parts"] += 1
        row["money"] += each.money
    return rows


def _forecasts(plan: demand.Plan) -> list[tuple[str, str, float, bool]]:
    """The published methods side by side: name, source, pieces a month, whether it is the one that counts."""
    rows = [
        ("TSB", "Teunter, Syntetos & Babai 2011", reckoning.tsb(plan.history)),
        ("SBA", "Syntetos & Boylan 2005", reckoning.sba(plan.history)),
        ("Croston", "Croston 1972", reckoning.croston(plan.history)),
    ]
    shown = [
        (name, source, forecast.per_period, name == "TSB" and not plan.is_seldom)
        for name, source, forecast in rows
        if forecast
    ]
    if plan.is_seldom:
        shown.insert(0, ("Gamma-Poisson", "textbook Bayes, for few demands", plan.a_month, True))
    return shown


def _counts(plan: demand.Plan) -> list[tuple[int, float, float, float]]:
    """How many are enough: count, chance that they last and share of jobs served in per cent, days of waiting."""
    spread = plan.spread
    if spread is None:
        return []
    last = min(spread.enough_for(0.999), MOST_COUNTS)
    return [
        (
            count,
            100 * spread.at_most(count),
            100 * spread.jobs_served(count, plan.use.sizes),
            spread.short_of(count) / plan.use.a_job * DAYS_A_YEAR,
        )
        for count in range(last + 1)
    ]


# --- what was asked


def _today(request: Request) -> dt.date:
    return billing.today(request.shop)


def _plans(request: Request, service: int) -> list[demand.Plan]:
    """What is due first, then by name."""
    made = demand.plans(_today(request), request.shop.zone, service / 100)
    return sorted(made, key=lambda plan: (not plan.is_due, plan.part.name, plan.part.pk))


def _service(request: Request) -> int:
    """The service level that the address asks for, in per cent; 95 where it makes no sense."""
    asked = request.GET.get("service", "")
    return int(asked) if asked in map(str, SERVICES) else 95


def _least_months(request: Request) -> int:
    asked = request.GET.get("months", "")
    return int(asked) if asked in map(str, reckoning.BANDS) else 6


def _sum_form(request: Request) -> SumForm:
    """The sum that the address asks for, or the one it begins with."""
    said = request.GET if "money" in request.GET else {"money": str(FIRST_SUM)}
    return SumForm(said, currency=request.shop.currency)


def _page(request: Request, rows: list[Any]) -> Page:
    return Paginator(rows, ON_A_PAGE).get_page(request.GET.get("page"))
