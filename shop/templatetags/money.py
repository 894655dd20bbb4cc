"""Amounts of money in templates: `{% money bill.gross %}`, or `{{ amount|money:"EUR" }}`."""

from decimal import Decimal
from typing import Any

from django import template

from shop.money import format_amount

register = template.Library()


@register.filter(name="money")
def money_in(amount: Decimal | None, currency: str) -> str:
    """Show an amount in a named currency; nothing for None."""
    return "" if amount is None or amount == "" else format_amount(amount, currency)


@register.simple_tag(takes_context=True, name="money")
def money_of_shop(context: Any, amount: Decimal | None) -> str:
    """Show an amount in the shop's currency; the context must hold `shop`."""
    return money_in(amount, context["shop"].currency)


@register.filter
def percent(value: Decimal) -> str:
    """`{{ line.percent|percent }}`: 10.00 becomes "10 %", 7.25 "7.25 %"."""
    return f"{value.normalize():f} %"
