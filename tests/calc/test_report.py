"""The job's report: what each version says, that nothing reads as passed that wasn't, and its PDF's structure."""

import datetime as dt
import html
import io
import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from freezegun import freeze_time
from pypdf import PdfReader

from calc import meters, readings, report, runs, safety, sheets
from calc.checklists import Ask, Line, Stage
from calc.demo import IDLE, SUPPLY, TESTED
from calc.models import GearBuild, ListRun, Mark, Meter
from calc.worksheets import by_slug
from intake import work
from intake.models import Job, State
from intake.workflow import move
from shop.models import Shop, Staff
from shop.wording import day_words
from tests import tools
from tests.conftest import Tablet
from tests.factories import (
    ChargeFactory,
    FindingFactory,
    GearFactory,
    JobFactory,
    KeptSheetFactory,
    ListVersionFactory,
    ReadingFactory,
)
from tests.full_shop import jpeg
from tests.safe import passed

pytestmark = [pytest.mark.django_db, pytest.mark.anywhere]

# What nobody who doesn't repair should have to read. What the shop writes itself (findings, parts) is its own affair.
JARGON = (
    "Ω", "ohm", "mA", "kV", "±", "µF", "class", "bias", "insulation", "leakage", "checklist", "worksheet", "EN 50678",
    "protective", "B+", "chassis", "secondary", "anode", "plate", "drift",
)  # fmt: skip


@pytest.fixture(autouse=True)
def _pdfs_can_be_made() -> None:
    tools.pdf_libraries()


@pytest.fixture
def job(shop: Shop, bench: Staff) -> Job:
    """A valve head on the bench, class I."""
    gear = GearFactory(kind="head", technology="valve")
    GearBuild.objects.create(gear=gear, protection="class-i", line_volts="120 V", by=bench)
    return move(JobFactory(gear=gear), to=State.ON_THE_BENCH, by=bench, revision=1)


@pytest.fixture
def meter(shop: Shop, bench: Staff) -> Meter:
    """A meter whose calibration ran out."""
    return meters.add(
        name="Earth and insulation tester",
        calibrated_on=dt.date(2025, 3, 2),
        due_on=dt.date(2026, 3, 2),
        accuracies={},
        by=bench,
    )


def value_for(line: Line, run: ListRun) -> str:
    if line.drift_of:
        return str(safety.signed_on(run, None)[line.drift_of].value)
    low, high = line.at_least, line.at_most
    if low is None and high is None:
        return "430"
    return str(high / 2 if low is None else low * 2 if high is None else (low + high) / 2)


def work_through(job: Job, slug: str, by: Staff, meter: Meter | None, clock: Any) -> ListRun:
    """Do a list line by line, waiting where it says so, and sign it."""
    run = runs.begin(job, slug=slug, by=by)
    while True:
        run = next(each for each in safety.runs_of(job) if each.pk == run.pk)
        stand = safety.stand_of(run, safety.build_of(job.gear))
        if stand.next is None:
            runs.sign_off(run, passed=True, by=by)
            return run
        line = stand.next
        if stand.wait_until and timezone.now() < stand.wait_until:
            clock.move_to(stand.wait_until + dt.timedelta(seconds=1))
        if line.ask is Ask.SHEET:
            sheets.keep(job, sheet=by_slug(line.sheet), said=TESTED, when="after", meter=meter, by=by)
            continue
        how: dict[str, Any] = {"outcome": "done"}
        if line.ask is Ask.READING:
            how = {"written": value_for(line, run), "meter": meter}
        last = run.marks.order_by("pk").last()
        runs.sign(run, key=line.key, seen=last.pk if last else 0, by=by, **how)


@pytest.fixture
def whole(job: Job, bench: Staff, meter: Meter) -> Iterator[Job]:
    """The same with everything: a fault, its cure, readings, worksheets, a failed test mended, all lists signed."""
    with freeze_time("2026-11-24 14:00", tick=True) as clock:
        Job.objects.filter(pk=job.pk).update(
            since=timezone.now() - dt.timedelta(days=4),
            plain_findings="A worn part made it hum.\nWe put in a new one.",
        )
        job = Job.objects.get(pk=job.pk)
        FindingFactory(job=job, fault="First filter capacitor open", cause="Age", cure="New one", by=bench)
        FindingFactory(job=job, fault="Wrong guess", by=bench, struck_at=timezone.now())
        ChargeFactory(job=job, kind="labour", text="New filter parts", quantity="1.5", unit="h", by=bench)
        ChargeFactory(job=job, kind="part", text="Filter part", quantity="10", by=bench)
        ChargeFactory(job=job, kind="part", text="Mistaken part", by=bench, struck_at=timezone.now())
        move(job, to=State.IN_LINE, by=bench, revision=job.revision)
        job = move(job, to=State.ON_THE_BENCH, by=bench, revision=job.revision)
        clock.tick(60)
        work_through(job, "before-power", bench, meter, clock)
        readings.take(
            job,
            point="Reservoir",
            written="310",
            unit="V",
            when="before",
            with_meter=meter,
            powered=True,
            by=bench,
        )
        wrong = readings.take(
            job, point="Reservoir", written="3100", unit="V", when="after", powered=True, by=bench
        )
        readings.strike(wrong, by=bench)
        readings.take(job, point="Reservoir", written="458", unit="V", when="after", powered=True, by=bench)
        for when, slug, said in (
            ("before", "idle-current", {**IDLE, "tube-1-sense": "51"}),
            ("after", "idle-current", IDLE),
            ("after", "supply", SUPPLY),
        ):
            sheets.keep(job, sheet=by_slug(slug), said=said, when=when, meter=meter, by=bench)
        struck = sheets.keep(job, sheet=by_slug("supply"), said=SUPPLY, when="before", by=bench)
        sheets.strike(struck, by=bench)
        bad = {**TESTED, "earth": "0.9"}
        run = runs.begin(job, slug="after-repair", by=bench)
        for line in run.version.lines.exclude(ask="sheet"):
            Mark.objects.create(run=run, key=line.key, outcome="done", by=bench)
        sheets.keep(job, sheet=by_slug("after-repair-test"), said=bad, when="after", meter=meter, by=bench)
        work_through(job, "after-repair", bench, meter, clock)
        work_through(job, "soak", bench, meter, clock)
        rest = [each for each in safety.lists_on(job).lists if each.standing is not safety.Standing.PASSED]
        for each in rest:
            passed(job, bench, each.checklist.stage)
        work.photograph(job, file=ContentFile(jpeg(), "one.jpg"), caption="The new part", by=bench)
        work.photograph(job, file=ContentFile(jpeg("Back"), "two.jpg"), caption="", by=bench)
        work.photograph(job, file=ContentFile(jpeg("No"), "three.jpg"), caption="Blurred", by=bench)
        work.strike(job.photos.last(), by=bench)
    yield Job.objects.get(pk=job.pk)


def opened(tablet: Tablet, job: Job, kind: str, query: str = "") -> PdfReader:
    answer = tablet.get(reverse("job-report-paper", args=[job.claim, kind]) + query)
    assert answer.status_code == 200 and answer["Content-Type"] == "application/pdf"
    return PdfReader(io.BytesIO(answer.content))


def text_of(pdf: PdfReader) -> str:
    return " ".join(" ".join(page.extract_text() for page in pdf.pages).split())


def read(tablet: Tablet, job: Job, kind: str, query: str = "") -> str:
    return text_of(opened(tablet, job, kind, query))


def words(tablet: Tablet, job: Job, kind: str, query: str = "?view=html") -> str:
    """What it says, from the same template as a page: a PDF takes its time."""
    page = tablet.get(reverse("job-report-paper", args=[job.claim, kind]) + query).content.decode()
    body = re.sub(r"<[^>]+>", " ", page[page.index("<body") :])
    return re.sub(r" ([.,:])", r"\1", " ".join(html.unescape(body).split()))


def photos_in(job: Job) -> str:
    return "?chosen=1&" + "&".join(f"photo={photo.pk}" for photo in job.photos.all())


def elements(node: Any) -> Iterator[dict[str, Any]]:
    """Every element of a structure tree, in reading order."""
    node = node.get_object() if hasattr(node, "get_object") else node
    if isinstance(node, list):
        for each in node:
            yield from elements(each)
    elif isinstance(node, dict):
        if "/S" in node:
            yield node
        if "/K" in node:
            yield from elements(node["/K"])


# --- The plain version ---------------------------------------------------------------------------------------


def test_the_owner_reads_what_was_wrong_what_was_done_and_that_it_was_tested(as_counter: Tablet, whole: Job):
    text = read(as_counter, whole, "plain", photos_in(whole))
    for said in (
        "Report on your Corvane Meridian 50",
        "It hums and cuts out when warm.",
        "A worn part made it hum.",
        "New filter parts",
        "Filter part 10",
        "Tested before it goes home: passed.",
        "Electrical safety Passed",
        "Its metal is well connected to the earth of the wall socket.",
        "Long run on our bench Passed It ran for 2 h and stayed steady.",
        "90 days on labour and 90 days on parts, counted from the day it is collected.",
        "Don’t open it.",
        "Connect its loudspeaker",
        "Photo 1: The new part.",
        "Lantern Quay Electronics",
    ):
        assert said in text, said
    assert whole.claim in text.replace(" ", "")


def test_the_owner_reads_nothing_that_was_struck_out(as_bench: Tablet, whole: Job):
    text = read(as_bench, whole, "plain", photos_in(whole))
    for said in ("Wrong guess", "Mistaken part", "Blurred", "3100", "STRUCK"):
        assert said not in text, said


def test_the_owner_reads_no_jargon_of_ours(as_bench: Tablet, whole: Job):
    text = read(as_bench, whole, "plain")
    found = [word for word in JARGON if re.search(rf"(?<!\w){re.escape(word)}(?!\w)", text, re.IGNORECASE)]
    assert found == []


def test_findings_of_the_bench_are_not_passed_off_as_plain_words(as_bench: Tablet, job: Job):
    FindingFactory(job=job, fault="First filter capacitor open")
    text = words(as_bench, job, "plain")
    assert "capacitor" not in text and "isn’t written in plain words yet" in text


def test_after_collection_the_warranty_has_its_days(as_counter: Tablet, counter: Staff, whole: Job):
    today = timezone.localdate()
    Job.objects.filter(pk=whole.pk).update(
        state=State.COLLECTED,
        collected_at=timezone.now(),
        labour_warranty_until=today + dt.timedelta(days=90),
        parts_warranty_until=today + dt.timedelta(days=30),
    )
    text = read(as_counter, Job.objects.get(pk=whole.pk), "plain")
    assert "Tested before it went home: passed." in text
    assert f"Labour is under warranty until {day_words(today + dt.timedelta(days=90))}" in text
    assert f"Parts are under warranty until {day_words(today + dt.timedelta(days=30))}" in text


# --- What was not passed -------------------------------------------------------------------------------------


def is_told_as_passed(text: str) -> bool:
    return "Passed" in text or "passed." in text


def test_a_job_with_nothing_says_what_is_not_done(as_bench: Tablet, shop: Shop):
    job = JobFactory()
    text = read(as_bench, job, "plain")
    assert not is_told_as_passed(text)
    for said in (
        "Nothing is written down yet.",
        "No work is written down yet.",
        "It isn’t tested to the end yet.",
        "Electrical safety Not done yet",
        "Long run on our bench Not done yet",
    ):
        assert said in text, said
    full = read(as_bench, job, "full")
    for said in (
        "No finding is written down yet.",
        "Nothing was read yet.",
        "No electrical test was kept on this job.",
        "No soak test was begun",
        "No list was begun on this job.",
        "NOT DONE",
        "It hasn’t moved since it came in.",
    ):
        assert said in full, said


def test_a_waived_test_never_reads_as_passed(as_bench: Tablet, owner: Staff, bench: Staff, job: Job):
    passed(job, bench, Stage.AFTER_REPAIR)
    safety.waive(job, slug="soak", words="Its owner plays tonight.", by=owner)
    told = report.gather(job, shop=Shop.current())
    assert [test.is_passed for test in told.tests] == [True, False] and not told.is_passed
    text = words(as_bench, job, "plain")
    assert "Tested before it" not in text and "Not everything was tested and passed." in text
    assert "Long run on our bench Not done Wren Adeyemi, for the shop, let it go home" in text
    assert "Its owner plays tonight." in text
    full = words(as_bench, job, "full")
    assert "WAIVED, not passed" in full and "Waived: Soak test, by Wren Adeyemi" in full


def test_a_failed_run_that_was_waived_says_that_it_was_not_passed(
    as_bench: Tablet, owner: Staff, bench: Staff, job: Job
):
    run = runs.begin(job, slug="soak", by=bench)
    first = run.version.lines.first()
    Mark.objects.create(run=run, key=first.key, outcome="failed", words="It cut out.", by=bench)
    safety.waive(job, slug="soak", words="He takes it so.", by=owner)
    assert "Long run on our bench Not passed Wren Adeyemi" in words(as_bench, job, "plain")


def test_too_close_to_call_is_no_pass(as_bench: Tablet, bench: Staff, job: Job):
    passed(job, bench)
    close = {**TESTED, "earth": "0.29 ± 0.02"}
    kept = sheets.keep(job, sheet=by_slug("after-repair-test"), said=close, when="after", by=bench)
    assert kept.verdict == "unsure"
    text = words(as_bench, job, "plain")
    assert "Electrical safety Not passed The result was too near its limit" in text
    assert "It is not safe." in text and "Tested before it" not in text
    assert "TOO CLOSE TO CALL" in words(as_bench, job, "full").upper()


def test_a_list_line_too_close_to_call_is_no_pass(as_bench: Tablet, bench: Staff, job: Job):
    run = runs.begin(job, slug="soak", by=bench)
    Mark.objects.create(run=run, key=run.version.lines.first().key, outcome="close", said="Near.", by=bench)
    text = words(as_bench, job, "plain")
    assert "Long run on our bench Not passed The result was too near its limit" in text
    assert not is_told_as_passed(text)
    assert "TOO CLOSE TO CALL, no pass" in words(as_bench, job, "full")


def test_a_failed_earth_after_a_signed_pass_takes_the_pass_away(as_bench: Tablet, bench: Staff, job: Job):
    passed(job, bench)
    sheets.keep(
        job, sheet=by_slug("after-repair-test"), said={**TESTED, "earth": "0.9"}, when="after", by=bench
    )
    text = words(as_bench, job, "plain")
    assert "Electrical safety Not passed" in text and "It is not safe." in text
    assert "It did not pass our test of its electrical safety." in text and "Protective earth" not in text
    assert "Tested before it" not in text
    assert "Protective earth failed." in words(as_bench, job, "full")


def test_what_was_passed_before_it_came_back_onto_the_bench_counts_no_more(
    as_bench: Tablet, bench: Staff, job: Job
):
    passed(job, bench)
    Job.objects.filter(pk=job.pk).update(state=State.IN_LINE)
    job = move(Job.objects.get(pk=job.pk), to=State.ON_THE_BENCH, by=bench, revision=job.revision)
    assert not is_told_as_passed(words(as_bench, job, "plain"))
    assert "Before the job last came onto the bench: it no longer counts." in words(as_bench, job, "full")


def test_unsafe_gear_says_so_first(as_bench: Tablet, bench: Staff, job: Job):
    passed(job, bench)
    safety.judge_unsafe(job, words="Its mains transformer hums and smells", by=bench)
    text = words(as_bench, job, "plain")
    assert text.index("It is not safe. Don’t use it.") < text.index("What you told us")
    assert "Its mains transformer hums and smells." in text and "Tested before it" not in text
    assert "Judged unsafe by Tomas Lindqvist" in words(as_bench, job, "full")


def test_what_goes_home_as_it_is_was_not_repaired_and_not_tested(as_bench: Tablet, job: Job):
    Job.objects.filter(pk=job.pk).update(declined=True, state=State.GOING_HOME_AS_IS)
    text = words(as_bench, job, "plain")
    assert "We didn’t repair it, and we didn’t test whether it is safe." in text
    assert not is_told_as_passed(text) and "no warranty" in text


def test_a_test_of_the_shops_own_is_told_by_its_own_name(as_bench: Tablet, bench: Staff, job: Job):
    own = ListVersionFactory(slug="played-in", name="Played in by a guest", stage="soak", by=bench)
    passed(job, bench)
    assert f"{own.name} Passed" in words(as_bench, job, "plain")


# --- The full version ----------------------------------------------------------------------------------------


def test_the_file_keeps_everything(as_bench: Tablet, whole: Job):
    text = read(as_bench, whole, "full", photos_in(whole))
    for said in (
        "Class I: earthed by a third wire, line voltage 120 V",
        "First filter capacitor open Age New one Tomas Lindqvist",
        "STRUCK OUT Wrong guess",
        "New filter parts on the bill 1.5 h",
        "Before the repair After the repair",
        "310 V, power on",
        "STRUCK OUT 3.10 kV, power on",
        "458 V, power on",
        "OUT OF CALIBRATION: it ran out on Mon 2 Mar 2026.",
        "Limits: EN 50678:2020. Engine 1.",
        "Protective earth 900 mΩ OUT OF LIMITS. FAIL: allowed at most 300 mΩ.",
        "Protective earth 110 mΩ Fine. allowed at most 300 mΩ.",
        "FAIL. Don’t hand it over",
        "Pass. Everything that was measured is within the limits",
        "Before power, version 1",
        "Begun by Tomas Lindqvist, Tue 24 Nov 2026, 09:01.",
        "Limit: at most 50 V",
        "Signed again since, see below.",
        "Signed as passed by Tomas Lindqvist",
        "after 2 h 0.0 % allowed 10 % passed",
        "Idle current, before the repair",
        "Tube 1, across its cathode resistor 51 mV",
        "STRUCK OUT by Tomas Lindqvist",
        "in line on the bench Tomas Lindqvist",
        "Photo 1: The new part.",
    ):
        assert said in text, said
    assert "Mistaken part" not in text


@pytest.mark.parametrize(("kind", "paper"), [("plain", "A4"), ("full", "Letter")])
def test_it_comes_on_the_shops_paper_with_its_claim_on_each_page(
    as_bench: Tablet, whole: Job, kind: str, paper: str
):
    Shop.objects.update(paper=paper)
    pdf = opened(as_bench, whole, kind)
    width, height = (round(float(side) / 72 * 25.4) for side in pdf.pages[0].mediabox[2:])
    assert (width, height) == {"A4": (210, 297), "Letter": (216, 279)}[paper]
    for number, page in enumerate(pdf.pages, 1):
        text = page.extract_text()
        assert whole.claim in text and f"Page {number} of {len(pdf.pages)}" in " ".join(text.split())


@pytest.mark.parametrize("kind", ["plain", "full"])
def test_its_pdf_is_tagged_for_screen_readers(as_bench: Tablet, whole: Job, kind: str):
    """ISO 14289-1 (PDF/UA-1): marked, language, shown title, headings in order, named headers, pictures described."""
    told = report.gather(whole, shop=Shop.current())
    drawn = "".join(f"&picture={sheet.kept.pk}" for sheet in told.pictured)
    pdf = opened(as_bench, whole, kind, photos_in(whole) + drawn)
    catalog = pdf.trailer["/Root"]
    assert catalog["/MarkInfo"]["/Marked"] and catalog["/Lang"] == "en"
    assert catalog["/ViewerPreferences"]["/DisplayDocTitle"]
    assert whole.claim in pdf.metadata.title and "Corvane Meridian 50" in pdf.metadata.title
    assert re.search(rb"pdfuaid:part(>|=.)1", catalog["/Metadata"].get_data())
    tree = list(elements(catalog["/StructTreeRoot"]))
    levels = [int(each["/S"][2:]) for each in tree if re.fullmatch(r"/H[1-6]", each["/S"])]
    assert levels.count(1) == 1
    # an unsafe notice would come after the one heading of the first level, as everything else does
    assert levels[0] == 1 and all(b - a <= 1 for a, b in zip(levels, levels[1:], strict=False))
    figures = [each for each in tree if each["/S"] == "/Figure"]
    assert figures and all(str(each.get("/Alt", "")).strip() for each in figures)
    alts = [str(each["/Alt"]) for each in figures]
    assert f"QR code of job {whole.claim}" in alts
    assert "Photo 1 of Corvane Meridian 50: The new part" in alts
    described = [each for each in pictures_of(told) if each in alts]
    assert described == (pictures_of(told) if kind == "full" else [])
    cells = [each for each in tree if each["/S"] == "/TD"]
    assert cells and all(each["/A"]["/Headers"] for each in cells)


def test_pictures_of_figures_are_in_the_full_version_unless_left_out(as_bench: Tablet, whole: Job):
    def pictures(query: str = "") -> list[str]:
        page = as_bench.get(reverse("job-report-paper", args=[whole.claim, "full"]) + f"?view=html{query}")
        return [html.unescape(each) for each in re.findall(r"<title>(.*?)</title>", page.content.decode())][
            1:
        ]

    told = report.gather(whole, shop=Shop.current())
    assert {sheet.kept.slug for sheet in told.pictured} == {"idle-current", "supply"}
    assert len(told.pictured) == 3  # before and after; the struck one has none
    assert pictures() == pictures_of(told) and len(pictures()) >= 3
    assert pictures("&chosen=1") == []
    one = told.pictured[0]
    assert pictures(f"&chosen=1&picture={one.kept.pk}") == [each["drawing"].words for each in one.drawings]


def pictures_of(told: report.Report) -> list[str]:
    """What the pictures of figures show, in words, in the order of the report."""
    return [each["drawing"].words for sheet in told.sheets for each in sheet.drawings]


def test_the_photos_that_were_chosen_are_in_it_and_no_others(as_bench: Tablet, whole: Job):
    first, second, struck = whole.photos.all()
    pdf = opened(
        as_bench, whole, "plain", f"?chosen=1&photo={second.pk}&photo={struck.pk}&photo=99999&photo=x"
    )
    alts = [
        str(each["/Alt"])
        for each in elements(pdf.trailer["/Root"]["/StructTreeRoot"])
        if each["/S"] == "/Figure"
    ]
    assert alts[1:] == ["Photo 1 of Corvane Meridian 50"]
    assert len({image.name for page in pdf.pages for image in page.images}) == 1


def test_a_photo_whose_file_is_gone_does_not_fail_the_report(as_bench: Tablet, whole: Job):
    photo = whole.photos.first()
    photo.image.storage.delete(photo.image.name)
    assert "The file of this photo is missing." in read(as_bench, whole, "plain", photos_in(whole))


@pytest.mark.parametrize("kind", ["plain", "full"])
def test_hostile_text_prints(as_bench: Tablet, bench: Staff, job: Job, kind: str):
    long, script, hebrew = "w" * 300, "<script>alert(1)</script>", "שלום עולם"
    Job.objects.filter(pk=job.pk).update(
        complaint=f"{long} {script} {hebrew}", plain_findings=f"{script}{long}"
    )
    FindingFactory(job=job, fault=long, cause=script, cure=hebrew, by=bench)
    ReadingFactory(job=job, point="x" * 80, note=script, by=bench)
    ChargeFactory(job=job, kind="part", text="p" * 200, by=bench)
    KeptSheetFactory(job=job, by=bench, note=f"{script} {hebrew}")
    pdf = opened(as_bench, Job.objects.get(pk=job.pk), kind)
    text = text_of(pdf)
    assert "<script>alert(1)</script>" in text.replace(" ", "")
    assert "שלום" in text or "םולש" in text  # pypdf reads it in the order in which it is drawn
    for page in pdf.pages:
        inside_the_margins(page)


def inside_the_margins(page: Any) -> None:
    """Nothing is written beyond the right edge of the sheet."""
    edge = float(page.mediabox.right)
    beyond: list[str] = []

    def look(text: str, cm: Any, tm: Any, font: Any, size: Any) -> None:
        if text.strip() and cm[0] * tm[4] + cm[4] > edge - 36:
            beyond.append(text)

    page.extract_text(visitor_text=look)
    assert beyond == []


# --- The page ------------------------------------------------------------------------------------------------


def test_the_page_offers_standing_photos_and_pictures(as_counter: Tablet, whole: Job):
    page = as_counter.get(reverse("job-report", args=[whole.claim])).content.decode()
    first, second, struck = whole.photos.all()
    assert f'name="photo" value="{first.pk}"' in page and f'value="{second.pk}"' in page
    assert f'name="photo" value="{struck.pk}"' not in page
    assert page.count('name="picture"') == 3
    assert len(re.findall(r'name="picture"[^>]* checked', page)) == 3
    assert not re.search(r'name="photo"[^>]* checked', page)
    assert reverse("job-report-paper", args=[whole.claim, "plain"]) in page
    assert reverse("job-report-paper", args=[whole.claim, "full"]) in page


def test_the_page_keeps_what_its_address_chose(as_counter: Tablet, whole: Job):
    first = whole.photos.first()
    page = as_counter.get(
        reverse("job-report", args=[whole.claim]) + f"?chosen=1&photo={first.pk}"
    ).content.decode()
    assert len(re.findall(r'name="photo"[^>]* checked', page)) == 1
    assert not re.search(r'name="picture"[^>]* checked', page)


def test_the_page_says_what_is_not_done(as_bench: Tablet, job: Job):
    page = as_bench.get(reverse("job-report", args=[job.claim])).content.decode()
    assert "The findings in plain words aren’t written yet." in page
    assert "Electrical safety: Not done yet" in page


def test_the_job_links_to_it(as_counter: Tablet, job: Job):
    page = as_counter.get(reverse("job", args=[job.claim])).content.decode()
    assert reverse("job-report", args=[job.claim]) in page


def test_no_other_version_and_no_other_job(as_bench: Tablet, job: Job):
    assert as_bench.get(f"/job/{job.claim}/report/short/").status_code == 404
    assert as_bench.get("/job/2611-0000-0/report/").status_code == 404


def test_it_asks_a_constant_number_of_times(job: Job, bench: Staff, meter: Meter, shop: Shop):
    def asked() -> int:
        with CaptureQueriesContext(
            connection,
        ) as queries:
            report.gather(Job.objects.select_related("gear", "visit__terms").get(pk=job.pk), shop=shop)
        return len(queries)

    def more() -> None:
        FindingFactory(job=job, by=bench)
        ReadingFactory(job=job, by=bench)
        ChargeFactory(job=job, by=bench)
        sheets.keep(job, sheet=by_slug("idle-current"), said=IDLE, when="after", meter=meter, by=bench)
        kept = KeptSheetFactory(job=job, by=bench, meter=meter)
        run = ListRun.objects.create(
            job=job, version=runs.begin(job, slug="after-repair", by=bench).version, by=bench
        )
        Mark.objects.create(run=run, key="tested", outcome="done", sheet=kept, by=bench)
        Mark.objects.create(
            run=run, key="tested", outcome="done", reading=ReadingFactory(job=job, by=bench), by=bench
        )

    passed(job, bench)
    more()
    first = asked()
    more()
    more()
    assert asked() == first
