"""The claim ticket and the gear tags as PDFs: their text, and their QR codes read back by another program."""

import io
import subprocess
from pathlib import Path

import pytest
import zxingcpp
from PIL import Image
from pypdf import PdfReader

from intake.models import Job
from shop import timeline
from tests.factories import GearFactory, JobFactory, LoosePieceFactory
from tests.tools import pdf_libraries

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _papers_can_be_made():
    pdf_libraries()


@pytest.fixture
def job(shop):
    job = JobFactory(gear=GearFactory(model="Harbor 22", serial="CH00417"), complaint="Hums when warm.")
    LoosePieceFactory(job=job, name="Footswitch")
    LoosePieceFactory(job=job, name="Cover", position=1)
    return job


def text_of(response) -> str:
    """The text of a PDF without its white space: where lines break is no concern here."""
    assert response["Content-Type"] == "application/pdf"
    return "".join(bare(page.extract_text()) for page in pages_of(response))


def bare(text: str) -> str:
    return "".join(text.split())


def pages_of(response) -> list:
    return list(PdfReader(io.BytesIO(response.content)).pages)


def codes_on(response, folder: Path, dpi: int) -> list[str]:
    """What the QR codes of a paper say, printed at a printer's resolution."""
    (folder / "paper.pdf").write_bytes(response.content)
    command = ["pdftoppm", "-r", str(dpi), "-gray", "-png", folder / "paper.pdf", folder / "page"]
    subprocess.run(command, check=True)
    found = []
    for page in sorted(folder.glob("page*.png")):
        found += [code.text for code in zxingcpp.read_barcodes(Image.open(page))]
    return found


def print_paper(tablet, url, follow=True):
    return tablet.send(url + "print/", follow=follow)


@pytest.mark.parametrize("size", ["half", "receipt"])
def test_the_claim_ticket_says_what_was_left_and_on_what_terms(as_counter, job, size):
    text = text_of(print_paper(as_counter, f"/visit/{job.visit.pk}/ticket/{size}/"))
    said = (job.claim, "Corvane Harbor 22", "Footswitch", "Cover", "Collect within 30 days", job.person.name)
    for words in said:
        assert bare(words) in text, words


def test_the_ticket_says_what_storage_costs_and_until_when(as_counter, job):
    text = text_of(print_paper(as_counter, f"/visit/{job.visit.pk}/ticket/half/"))
    assert bare("The first 30 days from the day we tell you that it is ready are free") in text
    assert bare("After that $2.00 a day") in text
    assert bare("The last day to collect is 90 days after") in text


def test_the_ticket_has_a_claim_for_each_piece_of_gear_of_the_visit(as_counter, job):
    other = JobFactory(visit=job.visit, person=job.person, gear=GearFactory(owner=job.person))
    text = text_of(print_paper(as_counter, f"/visit/{job.visit.pk}/ticket/half/"))
    assert job.claim in text and other.claim in text


@pytest.mark.parametrize("size", ["roll", "card"])
def test_every_piece_has_a_tag_of_its_own_with_its_number(as_counter, job, size):
    response = print_paper(as_counter, f"/job/{job.claim}/tags/{size}/")
    pages = [bare(page.extract_text()) for page in pages_of(response)]
    assert len(pages) == 3
    for n, what in enumerate(["Corvane Harbor 22", "Footswitch", "Cover"], start=1):
        assert all(bare(words) in pages[n - 1] for words in (f"{n} of 3", what, job.claim))


@pytest.mark.parametrize(("size", "width", "height"), [("roll", 62, None), ("card", 101.6, 152.4)])
def test_tags_fit_their_label(as_counter, job, size, width, height):
    """62 mm roll; 4 × 6 in card (25.4 mm an inch). A card may lie on its side."""
    box = pages_of(print_paper(as_counter, f"/job/{job.claim}/tags/{size}/"))[0].mediabox
    sides = sorted([float(box.width) / 72 * 25.4, float(box.height) / 72 * 25.4])
    assert sides[0] == pytest.approx(width, abs=0.5)
    if height:
        assert sides[1] == pytest.approx(height, abs=0.5)


@pytest.mark.parametrize("paper", ["tags/roll", "tags/card"])
def test_the_printed_code_opens_the_job(as_counter, job, paper, tmp_path):
    """Read back by zxing-cpp at 203 dpi, what most label printers have (common practice, no source)."""
    response = print_paper(as_counter, f"/job/{job.claim}/{paper}/")
    codes = codes_on(response, tmp_path, 203)
    assert codes == [f"http://testserver/t/{job.claim}/"] * 3


@pytest.mark.parametrize("size", ["half", "receipt"])
def test_the_tickets_code_opens_the_job(as_counter, job, size, tmp_path):
    response = print_paper(as_counter, f"/visit/{job.visit.pk}/ticket/{size}/")
    assert codes_on(response, tmp_path, 203) == [f"http://testserver/t/{job.claim}/"]


def test_a_receipt_is_cut_to_what_is_on_it(as_counter, job):
    """80 mm roll; the printer would feed all of a page's height."""
    ticket = f"/visit/{job.visit.pk}/ticket/receipt/"
    one = pages_of(print_paper(as_counter, ticket))
    for _ in range(3):
        JobFactory(visit=job.visit, person=job.person, gear=job.gear)
    four = pages_of(print_paper(as_counter, ticket))
    assert len(one) == len(four) == 1
    assert float(one[0].mediabox.width) == pytest.approx(80 / 25.4 * 72, abs=1)
    assert float(one[0].mediabox.height) < 200 / 25.4 * 72 < float(four[0].mediabox.height)


def test_the_second_print_says_that_it_is_a_reprint(as_counter, job):
    url = f"/job/{job.claim}/tags/roll/"
    assert "Reprint" not in text_of(print_paper(as_counter, url))
    assert "Reprint1" in text_of(print_paper(as_counter, url))


def test_a_ticket_looked_at_before_it_is_printed_says_preview(as_counter, job):
    assert "Preview" in text_of(as_counter.get(f"/visit/{job.visit.pk}/ticket/half/"))


def test_a_slow_double_tap_counts_as_one_print(as_counter, job):
    data = {"once": "a-key-of-one-showing-x"}
    for _ in range(2):
        as_counter.send(f"/job/{job.claim}/tags/roll/print/", data)
    assert Job.objects.get(pk=job.pk).tag_prints == 1


def test_a_print_is_written_to_the_timeline(as_counter, counter, job):
    print_paper(as_counter, f"/visit/{job.visit.pk}/ticket/half/")
    entry = timeline.of(job).first()
    assert (entry.by, entry.words) == (counter, "printed the claim ticket")


@pytest.mark.parametrize("url", ["/visit/{v}/ticket/poster/", "/job/{c}/tags/poster/"])
def test_a_size_that_does_not_exist_is_not_found(as_counter, job, url):
    url = url.format(v=job.visit.pk, c=job.claim)
    assert as_counter.get(url).status_code == 404
    assert as_counter.send(url + "print/").status_code == 404


def test_a_code_printed_at_the_shops_own_computer_leads_to_its_lan_address(
    as_counter, job, tmp_path, monkeypatch
):
    monkeypatch.setenv("BENCHTAG_ADDRESS", "http://192.0.2.20:8000")
    response = as_counter.get(f"/job/{job.claim}/tags/card/", headers={"Host": "localhost:8000"})
    assert set(codes_on(response, tmp_path, 203)) == {f"http://192.0.2.20:8000/t/{job.claim}/"}
