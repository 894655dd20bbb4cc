"""What a report shows: a table with its columns, the picture above it, and the sentences around them."""

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from intake.reports.period import Period, Piece
from intake.reports.picture import Picture
from shop import csv_out, money, wording
from shop.models import Shop


class Kind(StrEnum):
    """What the figures of a column are."""

    TEXT = "text"
    MONEY = "money"
    COUNT = "count"
    HOURS = "hours"
    DAYS = "days"
    PERCENT = "percent"
    DAY = "day"


class Named(NamedTuple):
    """A cell that leads somewhere."""

    words: str
    url: str


Cell = str | int | float | Decimal | dt.date | Named | Piece | None


@dataclass(frozen=True)
class Column:
    """A column: `head` over it on the page, `key` in the spreadsheet."""

    key: str
    head: str
    kind: Kind = Kind.TEXT


@dataclass(frozen=True)
class Sheet:
    """A report worked out. `notes` are what whoever reads the figures has to know of them."""

    columns: Sequence[Column]
    rows: Sequence[Sequence[Cell]]
    total: Sequence[Cell] | None = None
    picture: Picture | None = None
    pictured: str = ""  # what the picture shows, in a sentence: for whoever can't see it
    caption: str = ""
    figures: Sequence[tuple[str, str]] = ()  # the few that matter most: word, figure
    notes: Sequence[str] = ()
    empty: str = "There is nothing to report for these days."


@dataclass(frozen=True)
class Asked:
    """What a report is asked: for which days, by which shop, on which day."""

    shop: Shop
    today: dt.date
    period: Period

    @property
    def bounds(self) -> tuple[dt.datetime, dt.datetime]:
        return self.period.bounds(self.shop.zone)

    def day(self, moment: dt.datetime) -> dt.date:
        """The day that a moment was, on the shop's own clock."""
        return moment.astimezone(self.shop.zone).date()

    @property
    def zero(self) -> Decimal:
        return money.round_to(0, self.shop.currency)

    def say(self, amount: Decimal) -> str:
        return money.format_amount(amount, self.shop.currency)


@dataclass(frozen=True)
class ShownCell:
    """A cell as the page shows it."""

    words: str
    url: str = ""
    is_figure: bool = False
    head: str = ""


@dataclass(frozen=True)
class ShownTable:
    """A table as the page shows it."""

    heads: list[ShownCell]
    rows: list[list[ShownCell]]
    total: list[ShownCell] = field(default_factory=list)


def shown(sheet: Sheet, currency: str) -> ShownTable:
    """Put every figure into words, as people read it."""

    def row(cells: Sequence[Cell]) -> list[ShownCell]:
        return [
            ShownCell(
                _words(cell, column.kind, currency),
                cell.url if isinstance(cell, Named) else "",
                column.kind not in (Kind.TEXT, Kind.DAY),
                column.head,
            )
            for cell, column in zip(cells, sheet.columns, strict=True)
        ]

    heads = [ShownCell(c.head, is_figure=c.kind not in (Kind.TEXT, Kind.DAY)) for c in sheet.columns]
    return ShownTable(heads, [row(cells) for cells in sheet.rows], row(sheet.total) if sheet.total else [])


def spreadsheet(sheet: Sheet, currency: str) -> tuple[list[str], Iterator[list[csv_out.Cell]]]:
    """Return the head and the rows as a spreadsheet gets them: figures bare, with the decimals of the currency."""

    zero = money.round_to(0, currency)

    def bare(cell: Cell, kind: Kind) -> csv_out.Cell:
        if isinstance(cell, str):
            return cell
        if kind is Kind.MONEY and isinstance(cell, Decimal):
            return money.round_to(cell, currency) if cell else zero
        if isinstance(cell, Named):
            return cell.words
        if isinstance(cell, Piece):
            return cell.key
        return round(cell, 2) if isinstance(cell, float) else cell

    kinds = [column.kind for column in sheet.columns]
    return [column.key for column in sheet.columns], (
        [bare(cell, kind) for cell, kind in zip(cells, kinds, strict=True)] for cells in sheet.rows
    )


def _words(cell: Cell, kind: Kind, currency: str) -> str:
    if cell is None:
        return "none" if kind != Kind.TEXT else ""
    if isinstance(cell, (Named, Piece)):
        return cell.words
    if kind == Kind.MONEY and isinstance(cell, Decimal):
        return money.format_amount(cell, currency)
    if kind == Kind.DAYS and isinstance(cell, (int, float)):
        return f"{cell:.1f}"
    if kind == Kind.HOURS and isinstance(cell, Decimal):
        return f"{cell:.2f}"
    if kind == Kind.PERCENT:
        return f"{cell} %"
    if isinstance(cell, dt.date):
        return wording.day_words(cell)
    return str(cell)
