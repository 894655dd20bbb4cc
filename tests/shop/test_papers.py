"""Papers: PDFs made of our own files only, complete or not at all; read back by pypdf and poppler."""

import io
import itertools
import logging
import re
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.contrib.auth.models import AnonymousUser
from django.test import RequestFactory
from PIL import Image
from pypdf import PdfReader

from shop import papers
from shop.codes import qr_data_uri
from shop.papers import PaperError, answer, pdf, picture_address
from tests import tools


@pytest.fixture(autouse=True)
def _pdfs_can_be_made():
    tools.pdf_libraries()


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    """A folder with templates, static files and pictures of its own, and beside them what is nobody's."""
    for name in ("templates", "static/css", "collected", "media/photos"):
        (tmp_path / name).mkdir(parents=True)
    settings.TEMPLATES = [{**settings.TEMPLATES[0], "DIRS": [tmp_path / "templates"], "APP_DIRS": False}]
    settings.STATICFILES_DIRS = [tmp_path / "static"]
    settings.STATIC_ROOT = tmp_path / "collected"
    settings.MEDIA_ROOT = tmp_path / "media"
    (tmp_path / "static/css/paper.css").write_text("@page { size: A6 } h1 { color: #c00 }")
    (tmp_path / "secret.css").write_text("h1 { color: #0c0 }")
    Image.new("RGB", (40, 20), (200, 0, 0)).save(tmp_path / "media/photos/one.jpg")
    Image.new("RGB", (40, 20), (0, 200, 0)).save(tmp_path / "secret.jpg")
    return tmp_path


@pytest.fixture
def paper(folder):
    """Write a template; returns its name."""

    names = (f"paper-{number}.html" for number in itertools.count())

    def written(body: str, *, head: str = "", lang: str = ' lang="en"') -> str:
        page = (
            f"<!doctype html><html{lang}><head><title>Ticket</title>{head}</head><body>{body}</body></html>"
        )
        name = next(names)  # a new one: Django keeps templates that it has read
        (folder / "templates" / name).write_text(page)
        return name

    return written


def request_for(path: str = "/", **extra: str):
    request = RequestFactory().get(path, **extra)
    request.user = AnonymousUser()
    return request


def opened(content: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(content))


def test_a_template_becomes_a_pdf(paper):
    made = opened(pdf(paper("<h1>Claim {{ claim }}</h1>"), {"claim": "2407-0031-Y"}))
    assert "Claim 2407-0031-Y" in made.pages[0].extract_text()


def test_a_pdf_is_tagged_for_screen_readers(paper):
    """ISO 14289-1 (PDF/UA-1): marked, with a title that is shown, a language, a structure tree."""
    made = opened(
        pdf(paper(f'<h1>A</h1><img src="{qr_data_uri("x")}" alt="QR code of job 2407-0031-Y">'), {})
    )
    catalog = made.trailer["/Root"]
    assert catalog["/MarkInfo"]["/Marked"] and catalog["/Lang"] == "en"
    assert catalog["/ViewerPreferences"]["/DisplayDocTitle"]
    assert made.metadata.title == "Ticket"
    assert re.search(rb"pdfuaid:part(>|=.)1", catalog["/Metadata"].get_data())
    assert list(figures(catalog["/StructTreeRoot"])) == ["QR code of job 2407-0031-Y"]


def figures(node):
    """Yield the alternative text of every figure in a structure tree."""
    node = node.get_object()
    if isinstance(node, list):
        for each in node:
            yield from figures(each)
    elif isinstance(node, dict):
        if node.get("/S") == "/Figure":
            yield str(node.get("/Alt"))
        if "/K" in node:
            yield from figures(node["/K"])


def test_a_style_sheet_of_ours_is_used(paper):
    made = opened(pdf(paper("<h1>A</h1>", head='<link rel="stylesheet" href="/static/css/paper.css">'), {}))
    width, height = (float(side) / 72 * 25.4 for side in made.pages[0].mediabox[2:])
    assert (round(width), round(height)) == (105, 148)  # ISO 216: A6


def test_a_collected_style_sheet_with_a_hash_is_found(paper, folder):
    (folder / "collected/paper.0a1b2c3d.css").write_text("@page { size: A6 }")
    made = opened(
        pdf(paper("<h1>A</h1>", head='<link rel="stylesheet" href="/static/paper.0a1b2c3d.css?v=1">'), {})
    )
    assert round(float(made.pages[0].mediabox[2]) / 72 * 25.4) == 105


def test_a_picture_of_the_shop_is_shown(paper):
    made = opened(pdf(paper(f'<img src="{picture_address("photos/one.jpg")}" alt="The chassis">'), {}))
    assert len(made.pages[0].images) == 1


@pytest.mark.parametrize(
    ("head", "body", "why"),
    [
        ('<link rel="stylesheet" href="/static/css/gone.css">', "", "css/gone.css is missing"),
        ("<style>@import url(/static/css/gone.css);</style>", "", "css/gone.css is missing"),
        ('<style>@font-face { font-family: X; src: url("/static/gone.woff2") } p { font-family: X }</style>',
         "<p>x", "gone.woff2 is missing"),
        ("<style>p { background: url(/static/gone.png) }</style>", "<p>x", "gone.png is missing"),
        ("", '<img src="/static/gone.png" alt="x">', "gone.png is missing"),
        ("", '<img src="/pictures/photos/gone.jpg" alt="x">', "gone.jpg is missing"),
        ("", '<img src="/pictures/" alt="x">', "is missing"),
        ("", '<img src="/static/" alt="x">', "is missing"),
        ("", '<img src="data:image/png;base64,AAAA" alt="x">', "Failed to load image"),
        ("", '<img src="/static/css/paper.css" alt="x">', "Failed to load image"),
    ],
)  # fmt: skip
def test_what_is_missing_or_broken_fails_the_paper(paper, head, body, why):
    with pytest.raises(PaperError, match=why):
        pdf(paper(body, head=head), {})


@pytest.mark.parametrize(
    "address",
    [
        "http://example.com/x.png",
        "https://192.168.1.1/x.png",
        "//example.com/static/x.png",
        "ftp://example.com/x.png",
        "file:///etc/passwd",
        "/etc/passwd",
        "/job/2407-0031-Y/",
        "/static/../secret.jpg",
        "/static/%2e%2e/secret.jpg",
        "/static/..%2f..%2fsecret.jpg",
        "/static//etc/passwd",
        "/pictures/../secret.jpg",
        "/pictures/%2e%2e/secret.jpg",
        "/pictures/..%2fsecret.jpg",
        "/pictures/photos/..%2f..%2f..%2fsecret.jpg",
        "/pictures//etc/passwd",
        "/pictures/%00",
        "http://shop.invalid.example.com/static/css/paper.css",
        "http://shop.invalid@example.com/x.png",
    ],
)
def test_a_paper_fetches_nothing_that_is_not_ours(paper, address):
    with pytest.raises(PaperError, match="may not fetch|is missing"):
        pdf(paper(f'<img src="{address}" alt="x">'), {})
    with pytest.raises(PaperError, match="may not fetch|is missing"):
        pdf(paper("", head=f'<link rel="stylesheet" href="{address}">'), {})


def test_a_drawing_can_not_fetch_either(paper):
    drawing = (
        "data:image/svg+xml,<svg xmlns='http://www.w3.org/2000/svg'><image href='file:///etc/passwd'/></svg>"
    )
    with pytest.raises(PaperError, match="Failed to render"):
        pdf(paper(f'<img src="{drawing}" alt="x">'), {})


def test_an_image_without_a_description_fails_the_paper(paper):
    with pytest.raises(PaperError, match="alt"):
        pdf(paper(f'<img src="{qr_data_uri("x")}">'), {})


def test_a_page_without_a_language_fails_the_paper(paper):
    with pytest.raises(PaperError, match="lang"):
        pdf(paper("<p>x", lang=""), {})


def test_links_lead_to_the_address_that_the_request_came_by(paper):
    request = request_for(HTTP_HOST="192.168.1.20:8000")
    name = paper(
        '<a href="/job/2407-0031-Y/">x</a>', head='<link rel="stylesheet" href="/static/css/paper.css">'
    )
    made = opened(pdf(name, {}, request=request))
    (link,) = made.pages[0]["/Annots"]
    assert link.get_object()["/A"]["/URI"] == "http://192.168.1.20:8000/job/2407-0031-Y/"


def test_the_same_paper_comes_out_the_same(paper):
    name = paper("<h1>A</h1>", head='<link rel="stylesheet" href="/static/css/paper.css">')
    assert pdf(name, {}) == pdf(name, {})


def test_eight_threads_make_papers_at_once_without_mixing_them_up(paper):
    good = paper("<h1>Claim {{ claim }}</h1>", head='<link rel="stylesheet" href="/static/css/paper.css">')
    bad = paper('<img src="/static/gone-{{ claim }}.png" alt="x">')

    def make(number: int) -> str:
        if number % 4 == 3:
            with pytest.raises(PaperError, match=f"gone-{number}.png"):
                pdf(bad, {"claim": number})
            return f"Claim {number}"
        return opened(pdf(good, {"claim": number})).pages[0].extract_text().strip()

    with ThreadPoolExecutor(8) as pool:
        assert list(pool.map(make, range(40))) == [f"Claim {number}" for number in range(40)]


def test_nothing_is_left_listening_after_a_paper(paper):
    before = list(logging.getLogger("weasyprint").handlers)
    pdf(paper("<p>x"), {})
    with pytest.raises(PaperError):
        pdf(paper('<img src="/static/gone.png" alt="x">'), {})
    assert logging.getLogger("weasyprint").handlers == before


def test_fonts_of_ours_are_embedded_once_and_again(paper, settings):
    settings.STATICFILES_DIRS = [settings.BASE_DIR / "static"]
    head = (
        "<style>@font-face { font-family: Ours; src: url(/static/vendor/atkinson/mono-400.woff2) }"
        "p { font-family: Ours }</style>"
    )
    for _ in range(2):
        made = opened(pdf(paper("<p>2407-0031-Y", head=head), {}))
        (font,) = made.pages[0]["/Resources"]["/Font"].values()
        assert font.get_object()["/BaseFont"].endswith("+Ours")


# --- Answers


def test_the_browser_shows_the_paper(paper):
    response = answer(request_for(), paper("<h1>A</h1>"), {}, filename="claim-ticket-2407-0031-Y.pdf")
    assert response["Content-Type"] == "application/pdf"
    assert response["Content-Disposition"] == 'inline; filename="claim-ticket-2407-0031-Y.pdf"'
    assert response.content.startswith(b"%PDF-")


@pytest.mark.parametrize(
    ("named", "safe"),
    [
        ('a"b\r\nSet-Cookie: x.pdf', "a-b-Set-Cookie-x.pdf"),
        ("../../etc/passwd", "etc-passwd"),
        ("", "paper.pdf"),
        ("///", "paper.pdf"),
    ],
)
def test_a_file_name_can_do_no_harm(paper, named, safe):
    response = answer(request_for(), paper("<h1>A</h1>"), {}, filename=named)
    assert response["Content-Disposition"] == f'inline; filename="{safe}"'


def test_the_print_view_is_the_same_template(paper):
    name = paper("<h1>Claim {{ claim }}</h1>{{ why_no_pdf }}")
    response = answer(request_for("/?view=html"), name, {"claim": "2407-0031-Y"}, filename="x.pdf")
    assert response["Content-Type"].startswith("text/html")
    assert "<h1>Claim 2407-0031-Y</h1></body>" in response.content.decode()


def test_pdfs_can_be_made_here():
    assert papers.available() and papers.why_not() is None


def test_without_the_system_libraries_it_says_how_to_get_them_and_offers_the_print_view(tmp_path):
    """In a process of its own, where WeasyPrint fails as it does on a bare Debian."""
    (tmp_path / "weasyprint.py").write_text("raise OSError(\"cannot load library 'libgobject-2.0-0'\")")
    (tmp_path / "paper.html").write_text("{{ why_no_pdf }}")
    code = """
import django
from django.conf import settings
settings.configure(TEMPLATES=[{"BACKEND": "django.template.backends.django.DjangoTemplates", "DIRS": ["."]}])
django.setup()
from django.test import RequestFactory
from shop import papers
print(papers.why_not())
print(papers.answer(RequestFactory().get("/"), "paper.html", {}, "x.pdf").content.decode())
try:
    papers.pdf("paper.html", {})
except papers.PaperError as error:
    print(error)
"""
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        cwd=tmp_path,
        env={"PYTHONPATH": f"{tmp_path}:{tools.__file__.rsplit('/', 2)[0]}", "PATH": "/usr/bin:/bin"},
    )
    lines = done.stdout.strip().splitlines()
    assert len(lines) == 3
    assert all("libraries that make PDFs are missing" in line for line in lines)
