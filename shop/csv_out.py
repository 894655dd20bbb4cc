"""Tables for a spreadsheet: the one place where CSV is written.

RFC 4180's form, in UTF-8 with the mark at its head by which spreadsheets know it. A spreadsheet takes a cell that
begins with =, +, - or @ for a formula and runs it, whoever typed it; such text gets an apostrophe before it, which
spreadsheets don't show. Our own numbers stay numbers. Days are ISO 8601's.
"""

import csv
import datetime as dt
import io
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Final

from django.http import HttpResponse
from django.utils.http import content_disposition_header

MARK: Final = "\ufeff"
_STARTS: Final = (
    "=",
    "+",
    "-",
    "@",
    "\t",
    "\r",
    "\n",
    "＝",
    "＋",
    "－",
    "＠",
)  # the wide ones count in Japanese

Cell = str | int | float | Decimal | dt.date | None


def cell(value: Cell) -> str:
    """Return what stands in a cell. Nothing for None.

    Raises:
        TypeError: a kind of value that nobody decided how to write.
    """
    if isinstance(value, str):
        return f"'{value}" if value.startswith(_STARTS) else value
    if isinstance(value, Decimal):
        return f"{value:f}"
    if value is None:
        return ""
    if isinstance(value, dt.datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return str(value)
    raise TypeError(f"A {type(value).__name__} is not for a spreadsheet.")


def text(head: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """Return the table, its head first, without the mark."""
    out = io.StringIO(newline="")
    sheet = csv.writer(out, lineterminator="\r\n")
    sheet.writerow([cell(name) for name in head])
    sheet.writerows([cell(value) for value in row] for row in rows)
    return out.getvalue()


def answer(filename: str, head: Sequence[str], rows: Iterable[Sequence[Cell]]) -> HttpResponse:
    """Answer with the table as a file to be kept."""
    response = HttpResponse((MARK + text(head, rows)).encode(), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = content_disposition_header(True, filename)
    return response
