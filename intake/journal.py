"""The shop's books as a journal: invoices, credit notes and payments as entries that balance. Pure.

All of it follows from rows that are written once, so the journal of a past period comes out the same every time
it is asked for, unless a later row is dated into it.

What customers owe and what the shop holds for them are two accounts, and each job (or sale over the counter) is in
one of them at a time: money taken before there is an invoice is held; an invoice uses up what is held; a credit
note on an invoice that is paid makes the shop hold money; giving it back ends that. What was written off is expected no
more; where money comes for it after all, that is taken off what was written off before anything is held.

Gear that was left behind pays its job's invoices like its owner would, and what it brings above them is held for
them. Whether the sale itself is taxed is the shop's own matter, which its local law decides: no tax is entered here.

| what | debit | credit |
|---|---|---|
| an invoice | owed by customers; discounts given | labour, parts, fees; each tax |
| and what it uses up of a deposit | held for customers | owed by customers |
| a credit note | labour, parts, fees; each tax | owed by customers, or held for customers; discounts given |
| a payment | till, card, bank, cheques | owed by customers, and what is above that: held for customers |
| money given back | held for customers, or owed by customers | till, card, bank, cheques |
| a write-off | written off | owed by customers |
| what gear left behind was sold for | till, card, bank, cheques | as a payment |
| what its sale cost | as money given back | till, card, bank, cheques |
| the value at which it was kept for parts | gear kept for parts | as a payment |
| a till that was counted and differs | till, or its difference | the till's difference, or till |

The names of the accounts are plain words, all of them here. Which accounts a shop's books really have, and what its
law wants in them, is for whoever keeps the books to say.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from typing import Final, NamedTuple

from shop import money

_ZERO: Final = Decimal(0)


class Account(StrEnum):
    """The accounts. A tax has one of its own: see `tax_account`."""

    TILL = "Cash in the till"
    CARD = "Card payments"
    BANK = "Bank"
    CHEQUES = "Cheques in hand"
    OWED = "Owed by customers"
    HELD = "Held for customers"
    LABOUR = "Labour"
    PARTS = "Parts"
    FEES = "Fees"
    DISCOUNTS = "Discounts given"
    OTHER = "Other sales"  # what an invoice came to beyond its lines: of imported rows alone
    WRITTEN_OFF = "Written off"
    KEPT = "Gear kept for parts"
    DIFFERENCE = "Difference of the till"


BY_METHOD: Final = {
    "cash": Account.TILL,
    "card": Account.CARD,
    "transfer": Account.BANK,
    "cheque": Account.CHEQUES,
}
BY_KIND: Final = {
    "labour": Account.LABOUR,
    "part": Account.PARTS,
    "fee": Account.FEES,
    "discount": Account.DISCOUNTS,
}


def tax_account(name: str) -> str:
    """The account of a tax: what was charged of it and belongs to the state."""
    return f"Tax: {name}"


class Entry(NamedTuple):
    """A line of the journal. One of debit and credit is zero, neither is below it."""

    day: dt.date
    account: str
    debit: Decimal
    credit: Decimal
    text: str
    document: str


class Item(NamedTuple):
    """A line of an invoice: `amount` is below zero for a discount, and has tax in it where prices include tax.

    `net` is what was left of it after its share of the discounts, without tax; None where that wasn't kept.
    """

    kind: str
    amount: Decimal
    percents: tuple[str, ...] = ()
    net: Decimal | None = None


class Paper(NamedTuple):
    """An invoice or a credit note. `account` is the job or the sale that it belongs to."""

    account: Hashable
    day: dt.date
    at: dt.datetime
    number: str
    who: str
    gross: Decimal
    currency: str
    taxes: tuple[tuple[str, Decimal], ...] = ()  # name, sum
    items: tuple[Item, ...] = ()
    prices_include_tax: bool = False
    is_credit: bool = False


class Paid(NamedTuple):
    """Money in, or out (below zero); or what moves none: a write-off, gear kept for parts. `kind` as in TEXTS."""

    account: Hashable
    day: dt.date
    at: dt.datetime
    number: str
    who: str
    amount: Decimal
    method: str
    kind: str = "payment"


TEXTS: Final = {
    "payment": "Payment",
    "deposit": "Payment",
    "refund": "Given back",
    "write-off": "Written off",
    "sale": "Sale of gear left behind",
    "costs": "Costs of the sale of gear left behind",
    "kept": "Gear left behind, kept for parts",
}


class Counted(NamedTuple):
    """A till that was counted at the end of a day; the last count of the day."""

    day: dt.date
    at: dt.datetime
    number: str
    difference: Decimal


@dataclass
class _Sheet:
    """The entries of one document. Sums of one account are put together; what is nothing is left out."""

    day: dt.date
    text: str
    document: str
    sums: dict[str, Decimal] = field(default_factory=lambda: defaultdict(Decimal))

    def debit(self, account: str, amount: Decimal) -> None:
        self.sums[account] += amount

    def credit(self, account: str, amount: Decimal) -> None:
        self.sums[account] -= amount

    def entries(self) -> list[Entry]:
        day, text, document, sums = self.day, self.text, self.document, self.sums.items()
        debits = [Entry(day, str(a), s, _ZERO, text, document) for a, s in sums if s > 0]
        return debits + [Entry(day, str(a), _ZERO, -s, text, document) for a, s in sums if s < 0]


class Standing(NamedTuple):
    """Where an account stands: what is billed and not paid (below zero: paid and not billed), what was written off.

    Both are plain sums of what happened, in whatever order.
    """

    unpaid: Decimal = _ZERO
    let_off: Decimal = _ZERO

    def with_(self, document: Paper | Paid) -> "Standing":
        if isinstance(document, Paper):
            gross = -document.gross if document.is_credit else document.gross
            return Standing(self.unpaid + gross, self.let_off)
        if document.kind == "write-off":
            return Standing(self.unpaid, self.let_off + document.amount)
        return Standing(self.unpaid - document.amount, self.let_off)

    @property
    def owed(self) -> Decimal:
        return max(self.unpaid - self.let_off, _ZERO)

    @property
    def written_off(self) -> Decimal:
        """What of it stays written off: as much of it as is still unpaid."""
        return min(self.let_off, max(self.unpaid, _ZERO))

    @property
    def held(self) -> Decimal:
        return max(-self.unpaid, _ZERO)


def journal(
    documents: Iterable[Paper | Paid | Counted], opening: Mapping[Hashable, Standing] | None = None
) -> list[Entry]:
    """Return the entries of all documents, in the order of their days.

    What an invoice uses up of a deposit depends on what came before it: `opening` says where the accounts stood
    before the first of these documents.
    """
    return list(one_by_one(documents, opening))


def one_by_one(
    documents: Iterable[Paper | Paid | Counted], opening: Mapping[Hashable, Standing] | None = None
) -> Iterator[Entry]:
    """The same, for whoever needs each entry once: of ten years there are many."""
    standing: dict[Hashable, Standing] = defaultdict(Standing, opening or {})
    for document in sorted(documents, key=lambda d: (d.day, d.at, d.number)):
        if isinstance(document, Counted):
            yield from _counted(document)
            continue
        before = standing[document.account]
        after = standing[document.account] = before.with_(document)
        if isinstance(document, Paper):
            yield from _paper(document, before, after)
        else:
            yield from _paid(document, before, after)


def _paper(paper: Paper, before: Standing, after: Standing) -> list[Entry]:
    what = "Credit note" if paper.is_credit else "Invoice"
    sheet = _Sheet(paper.day, f"{what} {paper.number}, {paper.who}".removesuffix(", "), paper.number)
    sign = -1 if paper.is_credit else 1
    for account, amount in sales(paper).items():
        sheet.credit(account, sign * amount)
    for name, tax in paper.taxes:
        sheet.credit(tax_account(name), sign * tax)
    if paper.is_credit:
        _move(sheet, before, after)
        return sheet.entries()
    sheet.debit(Account.OWED, paper.gross)
    moved = _Sheet(paper.day, f"Paid before: taken off invoice {paper.number}", paper.number)
    moved.credit(Account.OWED, paper.gross)
    _move(moved, before, after)
    return sheet.entries() + moved.entries()


def _move(sheet: _Sheet, before: Standing, after: Standing) -> None:
    """Enter what a document changes of what is owed, held and written off."""
    sheet.debit(Account.OWED, after.owed - before.owed)
    sheet.credit(Account.HELD, after.held - before.held)
    sheet.debit(Account.WRITTEN_OFF, after.written_off - before.written_off)


def _paid(paid: Paid, before: Standing, after: Standing) -> list[Entry]:
    sheet = _Sheet(paid.day, f"{TEXTS[paid.kind]}, {paid.who}".removesuffix(", "), paid.number)
    if paid.kind == "kept":
        sheet.debit(Account.KEPT, paid.amount)
    elif paid.kind != "write-off":
        sheet.debit(BY_METHOD[paid.method], paid.amount)
    _move(sheet, before, after)
    return sheet.entries()


def _counted(counted: Counted) -> list[Entry]:
    sheet = _Sheet(counted.day, "The till was counted", counted.number)
    sheet.debit(Account.TILL, counted.difference)
    sheet.credit(Account.DIFFERENCE, counted.difference)
    return sheet.entries()


def sales(paper: Paper) -> dict[str, Decimal]:
    """Return what was sold, by account; with the taxes it is the paper's gross. Discounts are below zero.

    A credit note gives back what was left of its lines after their discounts, where that was kept. Where prices
    include tax, each line's tax is taken out of it, and the discounts are what is left then.
    """
    net = paper.gross - sum((tax for _, tax in paper.taxes), Decimal(0))
    nets = [(item.kind, item.net) for item in paper.items if item.net is not None]
    if paper.is_credit and paper.items and sum((each for _, each in nets), Decimal(0)) == net:
        amounts = nets
    else:
        amounts = [(item.kind, _without_tax(item, paper)) for item in paper.items]
    found: dict[str, Decimal] = defaultdict(Decimal)
    for kind, amount in amounts:
        found[BY_KIND[kind]] += amount
    rest = net - sum(found.values(), Decimal(0))
    if rest:
        found[_home_of(rest, paper, found)] += rest
    return {account: amount for account, amount in found.items() if amount}


def _without_tax(item: Item, paper: Paper) -> Decimal:
    """A line's amount without the tax in it; nothing for a discount whose tax is many lines' tax."""
    if not paper.prices_include_tax:
        return item.amount
    if item.kind == "discount":
        return Decimal(0)
    together = sum((Fraction(percent) for percent in item.percents), Fraction(0))
    return money.round_to(Fraction(item.amount) / (1 + together / 100), paper.currency)


def _home_of(rest: Decimal, paper: Paper, found: dict[str, Decimal]) -> str:
    """Where what is left to the net belongs: a discount; a unit of rounding to the greatest sum; or to no line."""
    if not paper.prices_include_tax or not any(found.values()):
        return Account.OTHER
    if rest < 0 and any(item.kind == "discount" for item in paper.items):
        return Account.DISCOUNTS
    return max(found, key=lambda account: abs(found[account]))


def totals(entries: Sequence[Entry]) -> tuple[Decimal, Decimal]:
    """Return the sum of all debits and of all credits."""
    zero = Decimal(0)
    return sum((e.debit for e in entries), zero), sum((e.credit for e in entries), zero)
