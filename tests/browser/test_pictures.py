"""The README's pictures, made of the demo, so that they stay true.

With BENCHTAG_PICTURES=1 they are made anew in `.pictures/`; else in a folder of the test's own, and held against
the README: each is there, has the size that is made here, and its page still has what the caption says.
"""

import datetime as dt
import io
import os
import re
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from calc import runs
from calc.models import KeptSheet, ListRun
from intake import printing
from intake.models import Invoice, Job, State
from shop import backups, demo
from shop.models import Staff
from tests import tools
from tests.browser.conftest import session_cookie

pytestmark = pytest.mark.browser

README = settings.BASE_DIR / "README.md"
KEPT = settings.BASE_DIR / ".pictures"
ANEW = os.environ.get("BENCHTAG_PICTURES") == "1"
HEAVIEST = 120_000  # bytes
PORTRAIT, LANDSCAPE = (820, 1180), (1180, 1000)


@dataclass(frozen=True)
class Picture:
    """A picture of the README: its size, and the words that must be seen on it."""

    name: str
    size: tuple[int, int]
    words: tuple[str, ...]


PICTURES = {
    each.name: each
    for each in (
        Picture("front-page", LANDSCAPE, ("Take in gear", "On the bench", "Due", "Ready")),
        Picture("bench", PORTRAIT, ("works on it", "Complaint", "Earlier visits")),
        Picture("sign-in-pad", PORTRAIT, ("What did you bring?", "Combo amplifier", "Go on")),
        Picture("drop-off", PORTRAIT, ("Who brings it", "Somebody new", "Gear")),
        Picture("invoice", (816, 1056), ("Invoice", "Sales tax", "Owed")),
        Picture("gear-tag", (372, 600), ("1 of", "Serial")),
        Picture("worksheet", PORTRAIT, ("Supply", "Answer", "Ripple")),
        Picture("checklist", PORTRAIT, ("Before power", "Reservoir, discharged", "at most 50", "Meter")),
        Picture("stand-ins", PORTRAIT, ("Two or three together", "in series", "Balancing resistors")),
        Picture("storage", PORTRAIT, ("Storage", "Past the deadline", "differ by place")),
    )
}


@pytest.fixture
def world(transactional_db: None, settings: Any, tmp_path: Path) -> dict[str, Staff]:
    """The demo, backed up last night, and who works there, by sign-in word."""
    settings.HOME = tmp_path
    backups.folder().mkdir()
    last_night = timezone.localtime() - dt.timedelta(hours=14)
    (backups.folder() / f"benchtag-{last_night:%Y-%m-%d-%H%M%S}.zip.sha256").touch()
    demo.load_if_empty()
    return {staff.sign_in: staff for staff in Staff.objects.all()}


@pytest.fixture
def open_as(chrome: Browser, live_server: Any, world: dict[str, Staff]) -> Iterator[Callable[..., Page]]:
    contexts = []

    def begin(sign_in: str, size: tuple[int, int], theme: str = "light") -> Page:
        context = chrome.new_context(
            viewport={"width": size[0], "height": size[1]},
            has_touch=True,
            color_scheme=theme,
            base_url=live_server.url,
            reduced_motion="reduce",
        )
        contexts.append(context)
        context.add_cookies([session_cookie(world[sign_in], live_server.url)])
        return context.new_page()

    yield begin
    for context in contexts:
        context.close()


def keep(name: str, png: bytes, seen: str, folder: Path) -> None:
    """Write a picture down small, and check that it is what the README needs."""
    picture = PICTURES[name]
    for words in picture.words:
        assert words in seen, f"{name}: “{words}” isn't to be seen"
    image = Image.open(io.BytesIO(png)).convert("RGB")
    assert image.size == picture.size, name
    target = (KEPT if ANEW else folder) / f"{name}.png"
    target.parent.mkdir(exist_ok=True)
    image.quantize(96, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE).save(target, optimize=True)
    assert target.stat().st_size <= HEAVIEST, f"{name}: {target.stat().st_size} bytes"


def shoot(page: Page, name: str, folder: Path) -> None:
    page.evaluate("document.fonts.ready")
    page.wait_for_timeout(200)
    keep(name, page.screenshot(), page.locator("body").inner_text(), folder)


def shoot_paper(page: Page, address: str, name: str, folder: Path) -> None:
    """The first sheet of a paper, as its PDF has it."""
    tools.pdf_libraries()
    answer = page.request.get(address)
    assert answer.headers["content-type"] == "application/pdf"
    paper = folder / f"{name}.pdf"
    paper.write_bytes(answer.body())
    text = subprocess.run(["pdftotext", "-l", "1", paper, "-"], capture_output=True, text=True, check=True)
    width, height = PICTURES[name].size
    scale = ["-scale-to-x", str(width), "-scale-to-y", str(height)]
    subprocess.run(
        ["pdftoppm", "-l", "1", "-singlefile", *scale, "-png", paper, folder / f"{name}-big"], check=True
    )
    keep(name, (folder / f"{name}-big.png").read_bytes(), " ".join(text.stdout.split()), folder)


def test_the_pictures_are_of_the_demo_as_it_is(open_as: Callable[..., Page], tmp_path: Path) -> None:
    folder = tmp_path
    page = open_as("ida", LANDSCAPE)
    page.goto("/")
    shoot(page, "front-page", folder)

    job = an_eventful_job()
    page = open_as("tomas", PORTRAIT, theme="dark")
    page.goto(job.get_absolute_url())
    shoot(page, "bench", folder)

    page = open_as("ida", PORTRAIT)
    page.goto("/drop-off/")
    page.locator("#who-box").press_sequentially(job.person.name.split()[0][:4], delay=20)
    expect(page.get_by_role("option", name=re.compile("Somebody new"))).to_be_visible()
    shoot(page, "drop-off", folder)

    page.goto("/")
    page.get_by_role("button", name="Hand over the pad").tap()
    page.get_by_role("link", name="Start").tap()
    page.get_by_label("Your name").fill("Dana Whitlow")
    page.get_by_role("button", name="Go on").tap()
    page.get_by_label("Phone", exact=False).first.fill("555 0142")
    page.get_by_role("button", name="Go on").tap()
    page.get_by_role("button", name="Go on").tap()
    page.locator("label.choice").filter(has_text="Combo amplifier").tap()
    page.get_by_label("Maker").fill("Corvane")
    page.get_by_label("Model").fill("Harbor 22")
    shoot(page, "sign-in-pad", folder)

    page = open_as("ida", PORTRAIT)
    invoice = Invoice.objects.exclude(words="").exclude(taxes=[]).filter(lines__kind="part").first()
    shoot_paper(page, reverse("invoice-paper", args=[invoice.label]), "invoice", folder)
    printing.print_tags([job], by=Staff.objects.get(sign_in="ida"))
    shoot_paper(page, reverse("tags-paper", args=[job.claim, "roll"]), "gear-tag", folder)

    page = open_as("tomas", PORTRAIT, theme="dark")
    kept = KeptSheet.objects.standing().filter(slug="supply").first()
    page.goto(reverse("kept-worksheet", args=[kept.pk]))
    shoot(page, "worksheet", folder)
    page.goto(reverse("list-run", args=[proving_it_dead(job).pk]))
    shoot(page, "checklist", folder)
    page = open_as("tomas", PORTRAIT)
    page.goto(reverse("stand-ins") + "?q=33u+450V&within=20")
    page.locator("#several").evaluate("part => part.scrollIntoView()")
    shoot(page, "stand-ins", folder)
    page = open_as("ida", PORTRAIT)
    page.goto("/storage/")
    shoot(page, "storage", folder)


def proving_it_dead(job: Job) -> ListRun:
    """The list before power, with its first line signed."""
    by = Staff.objects.get(sign_in="tomas")
    run = runs.begin(job, slug="before-power", by=by)
    runs.sign(run, key="unplugged", outcome="done", seen=0, by=by)
    return run


def an_eventful_job() -> Job:
    """One on the bench, of gear that was here before, with something found."""
    on_it = Job.objects.filter(state=State.ON_THE_BENCH, assigned_to__isnull=False)
    return max(on_it, key=lambda job: (job.gear.jobs.count(), job.pieces.count(), job.findings.count()))


def named_in_the_readme() -> list[tuple[str, str]]:
    return re.findall(r"!\[([^\]]*)\]\(\.pictures/([^)]+)\.png\)", README.read_text(encoding="utf-8"))


def test_the_readme_shows_the_pictures_that_are_made_here() -> None:
    named = named_in_the_readme()
    assert sorted(name for _, name in named) == sorted(PICTURES)
    for says, name in named:
        assert says, f"{name} has no words for who can't see it"
        kept = KEPT / f"{name}.png"
        assert Image.open(kept).size == PICTURES[name].size
        assert kept.stat().st_size <= HEAVIEST


def test_nothing_else_lies_among_the_pictures() -> None:
    assert sorted(each.name for each in KEPT.iterdir()) == sorted(f"{name}.png" for name in PICTURES)
