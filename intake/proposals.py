"""What a proposal comes to with the options that are taken, and how one differs from the one before it. Pure."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Literal

from shop import money

FIELDS: Final = ("text", "quantity", "unit", "unit_price", "percent", "optional")


@dataclass(frozen=True)
class Item:
    """A line of a proposal, with the taxes that fell on it when it was written.

    `key` names an optional line in the owner's answer. It is no part of what the line says.
    """

    kind: money.Kind
    text: str
    quantity: Decimal
    unit_price: Decimal
    unit: str = ""
    percent: Decimal | None = None
    optional: bool = False
    taxes: tuple[money.TaxShare, ...] = ()
    key: int = 0

    @property
    def says(self) -> tuple[object, ...]:
        return (self.kind, *(getattr(self, name) for name in FIELDS))


@dataclass(frozen=True)
class Prices:
    """How a proposal is added up: as it was when it was made."""

    currency: str
    include_tax: bool = False
    rounding: Literal["line", "invoice"] = "invoice"


@dataclass(frozen=True)
class Option:
    """An optional line, and what it adds to the fixed total, tax included."""

    item: Item
    adds: Decimal


def total(items: Sequence[Item], prices: Prices, taken: Collection[int] = ()) -> money.Totals:
    """Add up the fixed lines and those of the optional ones that are taken, in their order.

    Raises:
        MoneyError: a discount takes off more than there is, or it is more than can be billed.
    """
    return money.total(
        [
            money.Line(item.text, item.kind, item.quantity, item.unit_price, item.taxes, item.percent)
            for item in items
            if not item.optional or item.key in taken
        ],
        prices.currency,
        prices_include_tax=prices.include_tax,
        rounding=prices.rounding,
    )


def options(items: Sequence[Item], prices: Prices) -> list[Option]:
    """The optional lines, each with what it adds when it alone is taken.

    Two together may differ from the sum of both by the smallest coin: tax is rounded once more.
    """
    fixed = total(items, prices).gross
    return [Option(item, total(items, prices, {item.key}).gross - fixed) for item in items if item.optional]


# --- What changed ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Change:
    """A line that came (`before` is None), went (`after` is None), or says something else now."""

    before: Item | None
    after: Item | None

    @property
    def fields(self) -> tuple[str, ...]:
        """What differs between the two, by name; empty for a line that came or went."""
        if self.before is None or self.after is None:
            return ()
        return tuple(name for name in FIELDS if getattr(self.before, name) != getattr(self.after, name))


def changes(before: Sequence[Item], after: Sequence[Item]) -> list[Change]:
    """What a proposal says otherwise than the one before it, in the order of the new one; what went comes last.

    Where lines stand, and what tax falls on them, makes no difference. Lines are paired by what they say
    whole; then by kind and words; then, where the words alone were changed, by kind and price.
    """
    old, new = list(range(len(before))), list(range(len(after)))
    pairs: dict[int, int] = {}
    for same in (
        lambda item: item.says,
        lambda item: (item.kind, item.text.casefold().split()),
        lambda item: (item.kind, item.quantity, item.unit_price, item.percent),
    ):
        for there in list(new):
            match = next((here for here in old if same(before[here]) == same(after[there])), None)
            if match is not None:
                pairs[there] = match
                old.remove(match)
                new.remove(there)
    found = [
        Change(before[pairs[there]] if there in pairs else None, item) for there, item in enumerate(after)
    ]
    said = [change for change in found if change.before is None or change.before.says != change.after.says]
    return said + [Change(before[here], None) for here in old]
