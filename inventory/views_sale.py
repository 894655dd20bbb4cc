"""What was sold over the counter out of the drawers: shown on its invoice, put back once it is credited."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_http_methods

from intake.models import Invoice
from inventory import selling, stock
from inventory.forms_use import BackForm, say_why
from inventory.models import Move, Tube
from shop.access import allowed
from shop.errors import Refused
from shop.http import Request, go_to, page_or_part
from shop.once import once


def invoice_panel(invoice: Invoice) -> dict[str, Any] | None:
    """On an invoice, and on what credits it: what it took out of which drawer. No box where it took nothing."""
    rows = selling.sold_on(invoice) if invoice.job_id is None else []
    return {"rows": rows} if rows else None


@require_http_methods(["GET", "POST"])
@allowed("issue invoices")
@once
def sale_part_back(request: Request, pk: int) -> HttpResponse:
    """Put back what a sale took, as many as are credited."""
    sold = Move.objects.filter(sale_line__isnull=False, why=Move.Why.SOLD, quantity__lt=0, undone_by=None)
    move = get_object_or_404(sold.select_related("part__drawer", "sale_line__invoice"), pk=pk)
    gone = Tube.objects.filter(move=move, gone_at__isnull=False)
    can = stock.can_come_back(move)
    form = BackForm(
        request.POST if request.method == "POST" else None, initial={"quantity": can or ""}, gone=gone
    )
    status = 422 if form.is_bound else 200
    if form.is_valid():
        try:
            back = stock.give_back(move, by=request.user, **form.cleaned_data)
        except Refused as why:
            say_why(form, why)
            status = why.status
        else:
            drawer = move.part.drawer
            where = f" Put it in {drawer.code}." if drawer else ""
            messages.success(request, f"Back in stock: {stock.many(back.quantity, move.part)}.{where}")
            return go_to(request, move.sale_line.invoice)
    context = {"move": move, "invoice": move.sale_line.invoice, "can": can, "form": form}
    return page_or_part(request, "inventory/sale_part_back.html", context, part="back", status=status)
