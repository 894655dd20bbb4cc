"""Cautions: written in one place, shown on every page where work can hurt, with what the shop adds to them."""

import importlib
import inspect
import pkgutil
import re
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection
from django.template import Context, Template
from django.test import RequestFactory
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils.html import escape

import calc.worksheets
from calc import caution_words, runs, safety
from calc.cautions import CAUTIONS, Caution, named
from calc.checklists import Stage
from calc.models import CautionWords, Mark
from calc.worksheets import all_sheets, by_slug
from calc.worksheets.sheet import answer
from intake.models import State
from shop import timeline
from tests.factories import GearFactory, JobFactory, MeterFactory
from tests.safe import passed
from tests.samples import World

pytestmark = pytest.mark.django_db

TEMPLATES = Path(settings.BASE_DIR) / "templates"


def shown(html: str) -> list[str]:
    """The first sentence of each caution on a page."""
    return re.findall(r'<div class="caution"[^>]*>.*?<p>(.*?)</p>', html, re.S)


@pytest.fixture
def job(shop):
    return JobFactory(gear=GearFactory(kind="head", technology="valve"), state=State.ON_THE_BENCH)


# Where work can hurt, and what must be said there.
PAGES = {
    "job": "live-gear",
    "job-readings": "live-gear",
    "recording": "recorder-input",
    "job-recording": "recorder-input",
    "worksheet-ours": "test-limits",
    "meters": "meters",
    "meter-new": "meters",
    "meter-edit": "meters",
    "bench-gear": "bench-gear",
    "bench-gear-new": "bench-gear",
    "tube": "measuring-tubes",
    "tube-sets": "measuring-tubes",
    "stand-ins": "stand-ins",
    "take-home-as-is": "goes-as-it-is",
    "dropoff-done": "was-wet",
}


def address(name: str, job) -> str:
    world = World()
    claim = {"job", "job-readings", "job-recording", "take-home-as-is"}
    kwargs = {
        "worksheet-ours": lambda: {"slug": "after-repair-test"},
        "meter-edit": lambda: {"pk": MeterFactory().pk},
        "tube": lambda: {"pk": world.tube.pk},
        "dropoff-done": lambda: {"pk": job.visit_id},
    }
    if name in claim:
        return reverse(name, args=[job.claim])
    url = reverse(name, kwargs=kwargs[name]() if name in kwargs else {})
    return f"{url}?q=22u+450V" if name == "stand-ins" else url


@pytest.mark.parametrize("name", PAGES)
def test_each_page_where_work_can_hurt_says_so(as_owner, job, name):
    job.was_wet = True
    job.save()
    page = as_owner.get(address(name, job))
    assert page.status_code == 200
    assert escape(named(PAGES[name]).said) in shown(page.content.decode())


def test_unsafe_gear_is_not_to_be_plugged_in(as_bench, bench, job):
    page = reverse("job-unsafe", args=[job.claim])
    said = escape(named("unsafe-gear").said)
    assert said not in as_bench.get(page).content.decode()
    safety.judge_unsafe(job, words="Its chassis is live.", by=bench)
    assert said in shown(as_bench.get(page).content.decode())


@pytest.mark.parametrize(("slug", "name"), [("before-power", "stored-charge"), ("soak", "left-on")])
def test_a_list_says_what_can_hurt_while_it_is_done(as_bench, bench, job, slug, name):
    run = runs.begin(job, slug=slug, by=bench)
    page = as_bench.get(reverse("list-run", args=[run.pk])).content.decode()
    assert escape(named(name).said) in shown(page)


def test_a_line_that_is_read_under_power_says_so(as_bench, bench, job):
    passed(job, bench, Stage.BEFORE_POWER)
    run = runs.begin(job, slug="first-power", by=bench)
    for line in run.version.lines.all():
        if line.powered:
            break
        Mark.objects.create(run=run, key=line.key, outcome="done", by=bench)
    page = as_bench.get(reverse("list-run", args=[run.pk])).content.decode()
    assert escape(named("read-under-power").said) in shown(page)


@pytest.mark.parametrize("sheet", all_sheets(), ids=lambda sheet: sheet.slug)
def test_each_worksheet_on_a_job_shows_its_cautions(as_bench, job, sheet):
    page = as_bench.get(reverse("job-worksheet", args=[job.claim, sheet.slug])).content.decode()
    for caution in sheet.cautions:
        assert escape(caution.said) in shown(page)


# What is worked out of paper and markings alone is no work on live gear.
WITHOUT = {"filters"}


@pytest.mark.parametrize("sheet", all_sheets(), ids=lambda sheet: sheet.slug)
def test_each_worksheet_has_a_caution_of_ours(sheet):
    assert sheet.slug in WITHOUT or sheet.cautions
    for caution in sheet.cautions:
        assert named(caution.name) == caution


def test_what_a_worksheet_says_of_its_own_figures_comes_by_name_too():
    sheet = by_slug("mains")
    boxes = {box.name: box.initial for box, _ in sheet.boxes() if box.initial}
    _, said = answer(sheet, boxes | {"design": "117", "line": "118", "cord": "two", "capacitor": ".047"})
    assert {"two-wire-cord", "line-capacitor"} <= {each.name for each in said.cautions}


def test_no_template_writes_a_caution_on_danger_itself():
    """Law that differs by place is the terms' matter; what hurts stands in calc/cautions.py."""
    own_words = {
        "shop/pattern.html",
        "shop/terms.html",
        "shop/first_start.html",
        "intake/storage.html",
        "intake/storage_dispute.html",
        "intake/storage_let_go.html",
        "intake/storage_letters.html",
        "calc/cautions.html",
        "calc/caution_edit.html",
    }
    found = {
        str(path.relative_to(TEMPLATES))
        for path in TEMPLATES.rglob("*.html")
        if '"shop/_caution.html"' in path.read_text()
    }
    assert found <= own_words


def test_each_caution_is_shown_somewhere():
    names = set(
        re.findall(r'{% caution "([\w-]+)" %}', "".join(p.read_text() for p in TEMPLATES.rglob("*.html")))
    )
    for module in pkgutil.iter_modules(calc.worksheets.__path__):
        source = inspect.getsource(importlib.import_module(f"calc.worksheets.{module.name}"))
        names |= set(re.findall(r'named\(\s*"([\w-]+)"\s*\)', source))
    assert names == set(CAUTIONS)


@pytest.mark.parametrize("name", CAUTIONS)
def test_what_not_to_do_is_a_sentence_that_says_not(name):
    """It stands without a label, so that it can't be read the wrong way round."""
    dont = named(name).dont
    assert not dont or dont.startswith(("Don’t ", "DON’T ", "Never ", "No "))


def rendered(source: str, **context: object) -> str:
    return Template("{% load cautions %}" + source).render(Context(context))


def test_a_caution_of_no_name_is_a_mistake_of_ours():
    with pytest.raises(KeyError):
        rendered('{% caution "no-such-thing" %}')


def test_what_the_shop_adds_stands_with_the_caution(as_owner, as_bench, owner, job):
    reply = as_owner.send(
        reverse("caution-edit", args=["live-gear"]),
        {"words": "Never without <b>Tomas</b>\nin the room.", "opened_with": '{"words": ""}'},
    )
    assert reply.status_code == 302
    page = as_bench.get(reverse("job", args=[job.claim])).content.decode()
    assert "In this shop:</b> Never without &lt;b&gt;Tomas&lt;/b&gt; in the room." in page
    entry = timeline.of("shop").first()
    assert entry.by == owner and "the shop’s words to the caution" in entry.words


def test_it_stands_with_what_a_worksheet_says_too(owner):
    caution_words.write("running-away", words="Ask Wren.", by=owner)
    assert "Ask Wren." in rendered("{% caution each %}", each=by_slug("idle-current").cautions[1])
    assert "Ask Wren." not in rendered("{% caution each %}", each=Caution("Something of its own figures."))


def test_empty_words_take_it_away(owner):
    for words in ("Ask Wren.", "  "):
        caution_words.write("meters", words=words, by=owner)
    assert caution_words.by_name() == {}
    assert "In this shop" not in rendered('{% caution "meters" %}')


def test_all_cautions_of_a_page_take_one_query_and_a_page_without_takes_none(shop, rf: RequestFactory):
    request = rf.get("/")
    with CaptureQueriesContext(connection) as asked:
        rendered('{% caution "meters" %}{% caution "stand-ins" %}{% caution "was-wet" %}', request=request)
    assert len(asked) == 1
    with CaptureQueriesContext(connection) as asked:
        rendered("nothing here", request=rf.get("/"))
    assert len(asked) == 0


def test_only_the_owner_reads_the_list_and_adds_words(as_owner, as_bench, as_counter):
    edit = reverse("caution-edit", args=["meters"])
    for tablet in (as_bench, as_counter):
        assert tablet.get(reverse("cautions")).status_code == 403
        assert tablet.send(edit, {"words": "x"}).status_code == 403
    page = as_owner.get(reverse("cautions")).content.decode()
    assert [escape(each.said) for each in CAUTIONS.values()] == shown(page)
    assert not CautionWords.objects.exists()


def test_two_owners_who_add_words_at_once_see_both(as_owner, owner):
    caution_words.write("meters", words="Only the red leads.", by=owner)
    reply = as_owner.send(
        reverse("caution-edit", args=["meters"]), {"words": "Only mine.", "opened_with": '{"words": ""}'}
    )
    assert reply.status_code == 409
    page = reply.content.decode()
    assert "Only the red leads." in page and "Only mine." in page
    assert caution_words.by_name() == {"meters": "Only the red leads."}


def test_too_many_words_are_sent_back(as_owner):
    reply = as_owner.send(
        reverse("caution-edit", args=["meters"]), {"words": "x" * 301, "opened_with": '{"words": ""}'}
    )
    assert reply.status_code == 422
    assert "x" * 301 in reply.content.decode()


def test_there_is_no_page_for_a_caution_that_is_not_ours(as_owner):
    assert as_owner.get(reverse("caution-edit", args=["no-such"])).status_code == 404
