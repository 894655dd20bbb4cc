"""What a proposal comes to with the options that are taken, how it differs from the one before, what of it is charged.

Pure.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
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
        _named,
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


# --- What of it is charged ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Rest:
    """What was agreed and isn't charged yet, and the charges that nothing in the proposal asks for.

    Of a line that is charged in part there is the quantity that is left.
    """

    items: tuple[Item, ...]
    others: tuple[Item, ...]


def rest(agreed: Sequence[Item], charged: Sequence[Item]) -> Rest:
    """Say what is left to charge of what was agreed.

    A charge that was made from a line bears its `key`, and answers for it whatever it says by now. Others are told
    by what they say: those of the same kind, words and price count by their quantity; one of the same kind and
    words at another price answers for the whole line. Where lines of a proposal say the same, all that was
    charged of them counts for them together.
    """
    made, lines = {item.key: item for item in charged}, {item.key for item in agreed}
    by_hand = [item for item in charged if item.key not in lines]
    left: list[Item] = []
    asked = set()
    for what, alike in _alike(agreed).items():
        there = sum((_many(item) for item in by_hand if _priced(item) == what), Decimal(0))
        asked |= {what} if there else set()
        for line in alike:
            if line.key in made:
                same = len(alike) > 1 and _priced(made[line.key]) == what
                there += _many(made[line.key] if same else line)
        open_ones = [line for line in alike if line.key not in made]
        still = sum(map(_many, alike), Decimal(0)) - there
        for line in open_ones:
            part = min(_many(line), still)
            if part > 0:
                left.append(line if line.percent is not None else replace(line, quantity=part))
                still -= part
    others = [item for item in by_hand if _priced(item) not in asked]
    for line in list(left):
        other = next((item for item in others if _named(item) == _named(line)), None)
        if other is not None:
            others.remove(other)
            left.remove(line)
    order = {line.key: place for place, line in enumerate(agreed)}
    return Rest(tuple(sorted(left, key=lambda line: order[line.key])), tuple(others))


def _alike(items: Sequence[Item]) -> dict[tuple[object, ...], list[Item]]:
    """The lines by what they say, but for how many."""
    found: dict[tuple[object, ...], list[Item]] = {}
    for item in items:
        found.setdefault(_priced(item), []).append(item)
    return found


def _named(item: Item) -> tuple[object, ...]:
    return (item.kind, tuple(item.text.casefold().split()))


def _priced(item: Item) -> tuple[object, ...]:
    return (*_named(item), item.unit_price if item.percent is None else None, item.percent)


def _many(item: Item) -> Decimal:
    """How many; a discount in per cent is there once."""
    return item.quantity if item.percent is None else Decimal(1)
