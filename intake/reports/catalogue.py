"""Every report: what it is called, who may see it, which days it begins with, how its figures are meant."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from intake.reports import books, comebacks, house, labour, owed, parts, takings, tax, turnaround
from intake.reports.period import Span
from intake.reports.sheet import Asked, Sheet

_QUARTILES: Final = (
    "Days are counted by the clock, from drop-off to ready. The median: half of the jobs took less, half more; of an "
    "even number, the middle of the middle two. A quarter took less than the lower quartile, a quarter more than the "
    "upper one; they are interpolated so that the shortest and the longest job are the ends."
)


@dataclass(frozen=True)
class Report:
    """A report of this floor. `span` is the stretch it begins with; None for one that is about today."""

    slug: str
    title: str
    words: str
    of: Callable[[Asked], Sheet]
    span: Span | None
    how: str
    act: str = "see reports"
    lines: Callable[[Asked], Sheet] | None = None  # of the spreadsheet, where the page shows only their sums

    @property
    def url_name(self) -> str:
        return f"report-{self.slug}"

    @property
    def csv_url_name(self) -> str:
        return f"report-{self.slug}-csv"


REPORTS: Final = (
    Report(
        "takings",
        "Takings",
        "What money came in, by how it was paid.",
        takings.of,
        Span.MONTH,
        "By the day the money changed hands, on the shop’s own clock. Deposits count; what was given back is "
        "taken off; what was written off moved no money and is left out.",
    ),
    Report(
        "tax",
        "Tax",
        "What was invoiced and the tax on it, by rate.",
        tax.of,
        Span.QUARTER,
        "From what invoices and credit notes said when they were issued. A credit note counts in the month of its own "
        "issue. The taxed sum is what the rate was charged on, before tax.",
    ),
    Report(
        "labour",
        "Labour sold and clocked",
        "The hours on invoices beside the hours on the clock, by person.",
        labour.of,
        Span.MONTH,
        "Sold hours belong to whoever’s clock they were charged from, and count on the day of the invoice. "
        "Clocked ones count on the day they began. Labour charged at nothing, as under warranty, stands apart.",
    ),
    Report(
        "parts",
        "Margin on parts",
        "What parts were sold for, less what they cost.",
        parts.of,
        Span.TWELVE,
        "Prices of the lines as invoiced, without tax and before discounts on the whole bill. The margin is counted "
        "over the lines whose cost is known. Credit notes are taken off in the month of their issue.",
    ),
    Report(
        "turnaround",
        "How long repairs take",
        "Days from drop-off to ready, month by month.",
        turnaround.of,
        Span.TWELVE,
        _QUARTILES,
    ),
    Report(
        "house",
        "Work in progress",
        "What stands in the house, where, since when, and what isn’t invoiced yet.",
        house.of,
        None,
        "As it stands now. Ready gear that wasn’t collected is in the house too.",
        act="see who owes",
    ),
    Report(
        "comebacks",
        "What comes back",
        "How many repairs come back, by the part of the circuit.",
        comebacks.of,
        Span.TWELVE,
        "Of the repairs collected in these days, those that came back at any time since. A repair counts once, however "
        "often it came back. Findings that don’t say their part of the circuit stand under “Not said”.",
    ),
    Report(
        "owed",
        "Who owes",
        "What is unpaid, by person, the oldest first.",
        owed.of,
        None,
        "As it stands now. Credit notes lower their own invoice; payments pay the oldest invoice of a job first. "
        "Age is counted in days since the invoice was issued.",
        act="see who owes",
    ),
    Report(
        "journal",
        "Journal",
        "Every invoice, payment and count of the till as lines for the books: date, account, debit, credit, text.",
        books.of,
        Span.MONTH,
        "The page has the sums, the spreadsheet the lines. The debits of each document equal its credits. Money taken "
        "before there is an invoice is held for customers; the invoice uses it up. Each tax has an account of its own.",
        lines=books.sheet_of_entries,
    ),
)
