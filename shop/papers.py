"""Papers: a template becomes a PDF, or an HTML page to print where no PDF can be made.

WeasyPrint is imported when the first PDF is made: it takes half a second, and it needs system libraries
that may be missing. It gets nothing from the network and nothing from the disk but our static files and
pictures, and what it can't get is an error: half a ticket must not look like a ticket.
"""

import logging
import mimetypes
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote, urlsplit

from django.conf import settings
from django.contrib.staticfiles import finders
from django.core.exceptions import SuspiciousFileOperation
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils._os import safe_join
from django.utils.http import content_disposition_header

from shop import pdf_libraries

if TYPE_CHECKING:
    from weasyprint import CSS, HTML
    from weasyprint.text.fonts import FontConfiguration
    from weasyprint.urls import URLFetcher

PICTURES = "/pictures/"  # addresses below it mean files in the media folder, on papers only
RECEIPT_ENDS = "paper-end"  # the id of the last element of a receipt
_NOWHERE = "http://shop.invalid/"  # RFC 2606: this name is nobody's

# Pango's font map is not for several threads at once, and Python lays out one page at a time anyway.
_one_at_a_time = threading.Lock()


class PaperError(Exception):
    """The paper could not be made as its template says; the message names what is missing or wrong."""


def why_not() -> str | None:
    """Return why no PDF can be made here and what to do about it; None where all is well."""
    return None if available() else pdf_libraries.how_to_get()


@dataclass(frozen=True)
class Embedded:
    """A file that a PDF carries inside it, and what the PDF's metadata says of it (`rdf:Description`s)."""

    name: str
    content: bytes
    description: str
    xmp: bytes = b""


def available() -> bool:
    """Tell whether PDFs can be made. A no is not remembered: libraries may come, and a busy moment passes."""
    try:
        import weasyprint  # noqa: F401
    except (OSError, ImportError):
        return False
    return True


def pdf(
    template: str,
    context: dict[str, Any],
    *,
    request: HttpRequest | None = None,
    variant: str | None = "pdf/ua-1",
    embedded: Embedded | None = None,
) -> bytes:
    """Render a template to a PDF, tagged for screen readers unless `variant` says otherwise.

    Addresses of our own static files, data URIs and `picture_address()` are all it may refer to; links lead
    to the address that `request` came by.

    Raises `PaperError` when something it refers to is missing, broken or not ours, when an image has no
    alternative text, and when the system libraries are missing.
    """
    if reason := why_not():
        raise PaperError(reason)
    from weasyprint import HTML
    from weasyprint.urls import FatalURLFetchingError

    base = request.build_absolute_uri("/") if request else _NOWHERE
    page = render_to_string(template, context, request=request)
    html = HTML(string=page, base_url=base, url_fetcher=_fetcher(base))
    with _one_at_a_time, _errors_of(threading.get_ident()) as errors:
        try:
            paper = html.write_pdf(
                font_config=_fonts(),
                pdf_variant=variant,
                stylesheets=_cut(html, page),
                **_carrying(embedded),
            )
        except FatalURLFetchingError as error:
            # It is no Exception, so that WeasyPrint can't pass over it; here it becomes one.
            raise PaperError(f"{template}: {error.__cause__ or error}") from error.__cause__
    if errors:
        raise PaperError(f"{template}: {'; '.join(errors)}")
    return paper


def answer(request: HttpRequest, template: str, context: dict[str, Any], filename: str) -> HttpResponse:
    """Answer with the paper as a PDF to be shown by the browser.

    With `?view=html`, or where no PDF can be made, it is the same template as a page to print; then
    `why_no_pdf` in its context says what is missing (empty when the page was asked for).
    """
    reason = why_not()
    if reason or request.GET.get("view") == "html":
        return render(request, template, {**context, "why_no_pdf": reason or ""})
    response = HttpResponse(pdf(template, context, request=request), content_type="application/pdf")
    named = re.sub(r"[^\w.-]+", "-", filename).strip(".-") or "paper.pdf"
    response["Content-Disposition"] = content_disposition_header(False, named)
    return response


def picture_address(name: str) -> str:
    """Return the address by which a PDF refers to a file of the media folder, e.g. a photo's `image.name`."""
    return PICTURES + name


def _carrying(embedded: Embedded | None) -> dict[str, Any]:
    """Return what WeasyPrint needs to put a file into the PDF: a new attachment for every one it makes."""
    if embedded is None:
        return {}
    from weasyprint import Attachment

    def add_words(document: Any, pdf: Any) -> None:
        catalog = pdf.catalog
        catalog["AF"] = type(catalog["AF"])(dict.fromkeys(catalog["AF"]))  # it lists the file twice
        # It would put a second rdf:RDF beside its own; XMP has one.
        metadata = next(each for each in pdf.objects if getattr(each, "extra", {}).get("Type") == "/Metadata")
        metadata.stream = [
            part.replace(b"</rdf:RDF>", embedded.xmp + b"</rdf:RDF>") for part in metadata.stream
        ]

    attachment = Attachment(
        string=embedded.content,
        name=embedded.name,
        description=embedded.description,
        relationship="Alternative",
    )
    return {"attachments": [attachment], "finisher": add_words}


def _cut(html: "HTML", page: str) -> "list[CSS]":
    """Return the style sheet that cuts a receipt to what is on it: its printer feeds paper for all of a page.

    Where it ends is where its `RECEIPT_ENDS` lies when it is laid out on a page that nothing outgrows.
    """
    if f'id="{RECEIPT_ENDS}"' not in page:
        return []
    from weasyprint import CSS

    endless = CSS(string="@page receipt { size: 80mm 3000mm !important }")
    bottom = html.render(font_config=_fonts(), stylesheets=[endless]).pages[0].anchors[RECEIPT_ENDS][3]
    return [CSS(string=f"@page receipt {{ size: 80mm {bottom + 20:.0f}px !important }}")]


@cache
def _fonts() -> "FontConfiguration":
    """Return this process's fonts: unpacking our own takes longer than making a page."""
    from weasyprint.text.fonts import FontConfiguration

    return FontConfiguration()


def _fetcher(base: str) -> "URLFetcher":
    """Return what fetches for one paper: our files and data URIs, and an error for all else."""
    from weasyprint.urls import URLFetcher, URLFetcherResponse

    class OwnFiles(URLFetcher):
        def fetch(self, url: str, headers: Any = None) -> URLFetcherResponse:
            if url.startswith("data:"):
                return super().fetch(url, headers)
            path = _own_file(url, base)
            # Windows may think that .css is something else, and WeasyPrint would pass over the style sheet.
            kind = "text/css" if path.suffix == ".css" else mimetypes.guess_type(path.name)[0]
            kind = kind or "application/octet-stream"
            return URLFetcherResponse(url, path.read_bytes(), {"Content-Type": kind})

    return OwnFiles(allowed_protocols=["data"], allow_redirects=False, fail_on_errors=True)


def _own_file(url: str, base: str) -> Path:
    """Return the file that an address of ours stands for; PaperError for any other."""
    if not url.startswith(base):
        raise PaperError(f"a paper may not fetch {url[:200]}")
    path = unquote(urlsplit(url).path)
    try:
        if path.startswith(settings.STATIC_URL):
            name = path.removeprefix(settings.STATIC_URL)
            # Found where it is written, or under its name with a hash where static files were collected.
            found = finders.find(name) or safe_join(settings.STATIC_ROOT, name)
        elif path.startswith(PICTURES):
            found = safe_join(settings.MEDIA_ROOT, path.removeprefix(PICTURES))
        else:
            raise PaperError(f"a paper may not fetch {url[:200]}")
    except (SuspiciousFileOperation, ValueError) as error:
        raise PaperError(f"a paper may not fetch {url[:200]}") from error
    if not Path(found).is_file():
        raise PaperError(f"{path[:200]} is missing")
    return Path(found)


@contextmanager
def _errors_of(thread: int) -> Iterator[list[str]]:
    """Collect what WeasyPrint logs as errors on a thread: unreadable pictures, missing descriptions."""
    errors: list[str] = []

    class Collector(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            if record.thread == thread:
                errors.append(re.sub(r"data:\S{40,}", "data:…", record.getMessage())[:300])

    collector = Collector(logging.ERROR)
    logger = logging.getLogger("weasyprint")
    logger.addHandler(collector)
    try:
        yield errors
    finally:
        logger.removeHandler(collector)
