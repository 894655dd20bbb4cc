"""Orders: what is on them, on paper and in a table, sent, and what comes of them."""

from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, F, Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from inventory import ordering
from inventory.forms_orders import ArriveForm, DraftForm, PartOrderForm, SendForm
from inventory.models import Order, OrderLine, Part
from inventory.ordering import Arrived
from shop import csv_out, papers, timeline
from shop.access import allowed
from shop.errors import ChangedMeanwhile, Refused
from shop.http import Request, go_to, page_or_part
from shop.once import once

_ON_A_PAGE = 40
_MARKS = {"coming": "coming", "back-ordered": "back-ordered", "wont-come": "won't come"}


@require_GET
@allowed("see parts")
def orders(request: Request) -> HttpResponse:
    """All orders: drafts, then what is still to come, then what is done."""
    still = Q(lines__will_not_come=False, lines__came__lt=F("lines__quantity"))
    rows = (
        Order.objects.select_related("supplier")
        .annotate(lines_count=Count("lines"), lines_open=Count("lines", filter=still))
        .order_by(F("closed_at").desc(nulls_first=True), F("sent_at").desc(nulls_first=True), "-number")
    )
    page = Paginator(rows, _ON_A_PAGE).get_page(request.GET.get("page"))
    context = {"page": page, "query": "", "today": timezone.localdate()}
    return page_or_part(request, "inventory/orders.html", context, part="orders")


@require_GET
@allowed("see parts")
def order(request: Request, number: int) -> HttpResponse:
    return _page(request, _find(number))


@require_POST
@allowed("order parts")
@once
def order_change(request: Request, number: int) -> HttpResponse:
    order = _find(number)
    form = DraftForm(request.POST, order=order, lines=_lines(order), currency=request.shop.currency)
    if not form.is_valid():
        return _page(request, order, draft=form, status=422)
    said = form.cleaned_data
    try:
        ordering.change(
            order, wishes=form.wishes(), note=said["note"], revision=said["revision"], by=request.user
        )
    except ChangedMeanwhile as why:
        # What was typed stays, beside what is there; sent again, it answers to that.
        form.data = form.data.copy()
        form.data["revision"] = why.revision
        form.add_error(None, str(why))
        return _page(request, _find(number), draft=form, status=why.status)
    except Refused as why:
        form.add_error(None, str(why))
        return _page(request, order, draft=form, status=why.status)
    messages.success(request, "Kept.")
    return go_to(request, "order", number)


@require_POST
@allowed("order parts")
@once
def order_send(request: Request, number: int) -> HttpResponse:
    order = _find(number)
    form = SendForm(request.POST)
    if not form.is_valid():
        return _page(request, order, send=form, status=422)
    said = form.cleaned_data
    try:
        ordering.send(order, due_on=said["due_on"], revision=said["revision"], by=request.user)
    except ChangedMeanwhile as why:
        form.data = form.data.copy()
        form.data["revision"] = why.revision
        form.add_error(None, str(why))
        return _page(request, _find(number), send=form, status=why.status)
    except Refused as why:
        form.add_error(None, str(why))
        return _page(request, order, send=form, status=why.status)
    messages.success(request, f"{order} is sent.")
    return go_to(request, "order", number)


@require_POST
@allowed("order parts")
@once
def order_take_back(request: Request, number: int) -> HttpResponse:
    order = _find(number)
    ordering.take_back(order, by=request.user)
    messages.success(request, f"{order} isn't sent: it can be changed again.")
    return go_to(request, "order", number)


@require_POST
@allowed("order parts")
@once
def order_throw_away(request: Request, number: int) -> HttpResponse:
    order = _find(number)
    ordering.throw_away(order, by=request.user)
    messages.success(request, f"{order} is thrown away. What jobs wanted of it is short again.")
    return go_to(request, "orders")


@require_POST
@allowed("order parts")
@once
def order_arrive(request: Request, number: int) -> HttpResponse:
    """Take in a parcel."""
    order = _find(number)
    form = ArriveForm(request.POST, lines=_lines(order), currency=request.shop.currency)
    if not form.is_valid():
        return _page(request, order, arrive=form, status=422)
    try:
        arrivals = form.arrivals(whole="all" in request.POST)
        got = ordering.arrive(order, arrivals=arrivals, by=request.user)
    except Refused as why:
        form.add_error(None, str(why))
        return _page(request, order, arrive=form, status=why.status)
    _say(request, got)
    return go_to(request, "order", number)


@require_POST
@allowed("order parts")
@once
def order_line_mark(request: Request, pk: int) -> HttpResponse:
    """What the supplier says of the rest of a line."""
    line = get_object_or_404(OrderLine.objects.select_related("order", "part"), pk=pk)
    as_ = _MARKS.get(request.POST.get("as", ""))
    if as_ is None:
        raise Refused("Say whether it is coming, back-ordered, or won't come.")
    ordering.mark(line, as_=as_, by=request.user)
    messages.success(request, f"{line.part}: {as_}.")
    return go_to(request, "order", line.order.number)


@require_POST
@allowed("order parts")
@once
def part_order(request: Request, pk: int) -> HttpResponse:
    """Put some of a part on its supplier's next order."""
    part = get_object_or_404(Part, pk=pk)
    form = PartOrderForm(request.POST, part=part)
    if form.is_valid():
        said = form.cleaned_data
        try:
            pick = ordering.Pick(said["offer"], said["quantity"])
            (order,) = ordering.gather([pick], by=request.user)
        except Refused as why:
            form.add_error("quantity", str(why))
        else:
            messages.success(
                request, f"{said['quantity']} × {part} stand on {str(order).lower()}, not sent yet."
            )
            return go_to(request, "order", order.number)
    return render(request, "inventory/part_order.html", {"form": form, "part": part}, status=422)


# --- Papers --------------------------------------------------------------------------------------------------


@require_GET
@allowed("see parts")
def order_paper(request: Request, number: int) -> HttpResponse:
    order = _find(number)
    context = {"order": order, "paper": request.shop.paper.lower(), **_for_supplier(_lines(order))}
    return papers.answer(request, "inventory/papers/order.html", context, f"order-{number}.pdf")


@require_GET
@allowed("see parts")
def order_csv(request: Request, number: int) -> HttpResponse:
    order = _find(number)
    head = ["Supplier's number", "Part", "Pieces", "Price of one", "Sum", "Currency"]
    rows = [
        [row["number"], row["part"].name, row["quantity"], row["price"], row["sum"], request.shop.currency]
        for row in _for_supplier(_lines(order))["rows"]
    ]
    return csv_out.answer(f"order-{number}.csv", head, rows)


def _for_supplier(lines: list[OrderLine]) -> dict[str, Any]:
    """The lines as the supplier reads them: each of their numbers once, whoever here wants the pieces."""
    rows: dict[Any, dict[str, Any]] = {}
    for line in lines:
        key = (line.number, line.part_id, line.price)
        new = {
            "number": line.number,
            "part": line.part,
            "price": line.price,
            "quantity": 0,
            "sum": Decimal(0),
        }
        row = rows.setdefault(key, new)
        row["quantity"] += line.quantity
        row["sum"] += line.quantity * line.price
    return {"rows": list(rows.values()), "total": sum((row["sum"] for row in rows.values()), Decimal(0))}


# --- The page ------------------------------------------------------------------------------------------------


def _find(number: int) -> Order:
    return get_object_or_404(Order.objects.select_related("supplier", "by"), number=number)


def _lines(order: Order) -> list[OrderLine]:
    return list(order.lines.select_related("part__drawer", "job__gear"))


def _page(
    request: Request,
    order: Order,
    *,
    draft: DraftForm | None = None,
    send: SendForm | None = None,
    arrive: ArriveForm | None = None,
    status: int = 200,
) -> HttpResponse:
    lines, currency = _lines(order), request.shop.currency
    today = timezone.localdate()
    if not order.sent_at:
        draft = draft or DraftForm(order=order, lines=lines, currency=currency)
        due_on = ordering.expected_on(order, today)
        send = send or SendForm(initial={"revision": order.revision, "due_on": due_on})
    elif any(line.came < line.quantity and not line.will_not_come for line in lines):
        arrive = arrive or ArriveForm(lines=lines, currency=currency)
    context = {
        "order": order,
        "lines": [
            {"line": line, "said": ordering.said_of(line), "sum": line.quantity * line.price}
            for line in lines
        ],
        "total": sum((line.quantity * line.price for line in lines), Decimal(0)),
        "draft": draft,
        "send": send,
        "arrive": arrive,
        "may_take_back": bool(order.sent_at) and not any(line.came for line in lines),
        "late": bool(order.due_on and order.due_on < today and not order.closed_at),
        "entries": timeline.of(order)[:30],
    }
    return render(request, "inventory/order.html", context, status=status)


def _say(request: Request, got: Arrived) -> None:
    """Say what a parcel did."""
    came = "1 piece is" if got.pieces == 1 else f"{got.pieces} pieces are"
    messages.success(request, f"{came} taken in.")
    for job in got.ready:
        messages.success(request, f"{job} has all its parts: it is back in line.")
    for job in got.waits:
        messages.info(request, f"{job}: its parts are put aside.")
    for sentence in got.not_aside:
        messages.warning(request, f"Not put aside: {sentence}")
