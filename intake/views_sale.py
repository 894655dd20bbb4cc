"""The counter without a job: what is sold over it. And invoices in their electronic form."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_GET, require_http_methods

from intake import billing, counter_sale, einvoice, goods
from intake.forms_sale import (
    BLANK_ROWS,
    LATER,
    SaleForm,
    person_of,
    sale_rows,
    with_good,
    with_one_more,
    without,
)
from intake.models import Invoice, Person
from intake.views_money import invoice_named, invoice_paper_context
from shop import papers
from shop.access import allowed
from shop.errors import Refused
from shop.http import Request, go_to, page_or_part
from shop.once import once

MOST_FOUND = 6
MOST_GOODS = 12


@require_http_methods(["GET", "POST"])
@allowed("take money")
@once
def counter_sale_page(request: Request) -> HttpResponse:
    """What is sold, to whom, what it comes to, and how it is paid. `do` says which of its buttons was tapped.

    Only “sell” keeps anything; the others answer with the form anew, and nothing typed is lost.
    """
    currency = request.shop.currency
    if request.method == "GET":
        data = _begun(request.GET, currency)
        return _show(
            request,
            SaleForm(initial=_chosen(request.GET), currency=currency),
            sale_rows(currency, data),
            data=data,
        )
    do = request.POST.get("do", "")
    if do != "sell":
        data, choices = _done(do, request.POST.copy(), currency)
        form = SaleForm(initial=data.dict() | _chosen(data), currency=currency)
        return _show(
            request, form, sale_rows(currency, data), adds_up=do == "sum", data=data, goods_found=choices
        )
    data = request.POST.copy()
    form, rows = SaleForm(data, currency=currency), sale_rows(currency, data)
    if not rows.is_valid():  # the lines first: how it is paid is asked below their sum
        blank = SaleForm(initial=data.dict() | _chosen(data), currency=currency)
        return _show(request, blank, rows, data=data, status=422)
    if not form.is_valid():
        return _show(request, form, rows, data=data, adds_up=True, status=422)
    said = form.cleaned_data
    if said["seen"] is None:
        return _show(request, form, rows, data=data, adds_up=True)
    try:
        sale, paid = counter_sale.sell(
            rows.written(),
            person=said["person"],
            method=None if said["method"] == LATER else said["method"],
            tendered=said["tendered"],
            seen=said["seen"],
            by=request.user,
        )
    except Refused as why:
        if not isinstance(why, counter_sale.NotTaken):
            form.add_error(None, str(why))
        return _show(request, form, rows, data=data, adds_up=True, why_not=why, status=why.status)
    return go_to(request, "payment", paid.pk) if paid else go_to(request, sale)


def _begun(asked: Any, currency: str) -> Any:
    """The blank sale, or with what a link named to be sold (`?good=`)."""
    good = goods.named([asked.get("good", "")[:40]]).get(asked.get("good"))
    if good is None:
        return None
    blank = asked.copy()
    for _ in range(BLANK_ROWS):
        blank = with_one_more(blank)
    return with_good(blank, good, currency)


def _done(do: str, data: Any, currency: str) -> tuple[Any, list[goods.Good] | None]:
    """What was sent, after the button that was tapped; and what there is to choose from, where somebody looked.

    A scan comes without a button: it is of the box that looks into the drawers.
    """
    text = data.get("q", "").strip()
    if do.startswith("person:"):
        data["person"] = do.removeprefix("person:")
    elif do.startswith("good:"):
        good = goods.named([do.removeprefix("good:")[:40]]).get(do.removeprefix("good:"))
        data["q"] = ""
        return (with_good(data, good, currency) if good else data), None
    elif do.startswith("clear:"):
        data = without(data, do.removeprefix("clear:")[:3])
    elif do in ("", "stock") and text:
        found = _goods(text)
        if len(found) == 1 and len(goods.read(text)) == 1:
            data["q"] = ""
            return with_good(data, found[0], currency), None
        return data, found
    elif do in ("more", "stock"):
        data = with_one_more(data)
    return data, None


def _goods(text: str) -> list[goods.Good]:
    """What a label names that was scanned, else what answers the words."""
    return goods.read(text) or goods.find(text, MOST_GOODS)


def _chosen(data: Any) -> dict[str, Any]:
    person = person_of(data)
    return {"person": person.pk if person else ""}


def _show(
    request: Request,
    form: SaleForm,
    rows: Any,
    *,
    data: Any = None,
    adds_up: bool = False,
    goods_found: list[goods.Good] | None = None,
    why_not: Refused | None = None,
    status: int = 200,
) -> HttpResponse:
    person = person_of(data if data is not None else request.GET)
    totals, problem = None, ""
    if adds_up and rows.is_valid():
        try:
            totals = counter_sale.sum_up(rows.written(), person=person)
        except billing.CantBill as why:
            problem, status = str(why), 422
    elif adds_up:
        status = 422
    if isinstance(why_not, counter_sale.NotTaken):  # after the sum: how it is paid is shown with it
        rows.say_why(why_not.row, str(why_not))
    text = (data or {}).get("who", "")
    rows.from_stock()
    context = {
        "form": form,
        "rows": rows,
        "person": person,
        "totals": totals,
        "problem": "" if form.is_bound and form.non_field_errors() else problem,
        "found": _found(text),
        "text": text,
        "goods": goods_found,
        "goods_text": (data or {}).get("q", ""),
        "has_goods": any(goods.goods),
        "wrong": rows.is_bound and status == 422 and bool(rows.total_error_count()),
    }
    return page_or_part(request, "intake/counter_sale.html", context, part="sale-form", status=status)


def _found(text: str) -> list[Person]:
    return list(Person.objects.matching(text).with_phones()[:MOST_FOUND]) if len(text.strip()) > 1 else []


@require_GET
@allowed("take money")
def counter_sale_find(request: Request) -> HttpResponse:
    """Who may be buying, while somebody types; anybody else is led to the page."""
    if not request.htmx:
        return redirect("counter-sale")
    text = request.GET.get("who", "")[:120]
    return render(request, "intake/_sale_found.html", {"found": _found(text), "text": text})


@require_GET
@allowed("take money")
def counter_sale_goods(request: Request) -> HttpResponse:
    """What there is in the drawers, while somebody types; anybody else is led to the page."""
    if not request.htmx:
        return redirect("counter-sale")
    text = request.GET.get("q", "").strip()[:300]
    found = _goods(text) if len(text) > 1 else None
    return render(request, "intake/_sale_goods.html", {"goods": found})


@require_GET
@allowed("print")
def invoice_electronic(request: Request, label: str) -> HttpResponse:
    """An invoice as a PDF/A-3 that carries its EN 16931 form, for shops that offer it."""
    shown = invoice_named(label)
    if not request.shop.electronic_invoices:
        raise einvoice.CantTell("This shop doesn't offer electronic invoices. The owner can switch them on.")
    said = einvoice.said_by(shown, request.shop)
    if reason := papers.why_not():
        raise einvoice.CantTell(reason)
    made = papers.pdf(
        "intake/papers/invoice.html",
        invoice_paper_context(request, shown),
        request=request,
        variant="pdf/a-3a",
        embedded=papers.Embedded(
            einvoice.FILE_NAME, einvoice.cii(said), "The invoice in EN 16931", einvoice.xmp()
        ),
    )
    response = HttpResponse(made, content_type="application/pdf")
    response["Content-Disposition"] = content_disposition_header(True, f"{shown.label}.pdf")
    return response


def person_panel(request: Request, person: Person) -> dict[str, Any] | None:
    """What somebody bought over the counter, on their page; no box for who never did."""
    bought = list(person.invoices.filter(job=None, kind=Invoice.Kind.INVOICE))
    accounts = billing.sale_accounts(sale.pk for sale in bought)
    return {"sales": [{"sale": sale, "owed": accounts[sale.pk].owed} for sale in bought]} if bought else None
