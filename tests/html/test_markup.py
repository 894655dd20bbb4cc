"""Every page is HTML as the standard has it, by the Nu HTML checker of the W3C.

The checker takes seconds to start, so all pages are written down first and checked in one go.
"""

import json
import re
import subprocess
from pathlib import Path
from typing import Any

import pytest
from django.http import HttpResponse
from django.template.loader import render_to_string
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from intake.reports.catalogue import REPORTS
from shop.doors import PASSWORD_AT
from shop.models import Staff
from shop.once import FIELD, new_key
from shop.roles import Role
from tests import full_shop, full_stock, tools
from tests.factories import ShopFactory, StaffFactory, TaxRateFactory, TermsFactory
from tests.full_shop import FullShop

Answers = dict[str, HttpResponse]

# What the checker warns of and stays, by how it begins.
DECIDED = (
    "Section lacks heading",  # a sheet that is the page's one subject: its heading is the page's h1
    "Article lacks heading",  # a paper tag whose words are one line and a link
)


def is_html(answers: Answers, folder: Path) -> list[str]:
    """What the checker says of the pages, a line each. `answers` by the words that name the page."""
    jar = tools.vnu_jar()
    folder.mkdir()
    named = {}
    for n, (name, answer) in enumerate(answers.items()):
        html = answer.content.decode()
        assert html.lstrip().lower().startswith("<!doctype html>"), f"{name} is not a whole page"
        # The standard lets attributes of one's own begin with data-. htmx takes both spellings.
        html = re.sub(r"(?<=\s)hx-(?=[a-z-]+=)", "data-hx-", html)
        (folder / f"{n}.html").write_text(html, encoding="utf-8")
        named[f"{n}.html"] = name
    command = ["java", "-Xss4m", "-jar", str(jar), "--format", "json", "--stdout", "--exit-zero-always"]
    done = subprocess.run([*command, str(folder)], capture_output=True, text=True, check=True)
    said: dict[str, str] = {}
    for each in json.loads(done.stdout)["messages"]:
        if not each["message"].startswith(DECIDED):
            what = f"{each.get('subType', each['type'])}: {each['message']} {each.get('extract', '')!r}"
            said.setdefault(what, named[Path(each["url"]).name])
    return [f"{page}: {what}" for what, page in said.items()]


def signed_in(staff: Staff) -> Client:
    """A tablet on which that person has just typed the password."""
    tablet = Client()
    tablet.force_login(staff, backend="shop.doors.PasswordDoor")
    session = tablet.session
    session[PASSWORD_AT] = timezone.now().timestamp()
    session.save()
    return tablet


def got(tablet: Client, addresses: list[str], *, what: str = "") -> Answers:
    answers = {f"{what}{address}": tablet.get(address) for address in addresses}
    assert {a: r.status_code for a, r in answers.items() if r.status_code not in (200, 422)} == {}
    return answers


def sent(tablet: Client, refused: list[tuple[str, dict[str, Any]]]) -> Answers:
    answers = {
        f"POST {address}, {n}": tablet.post(address, {FIELD: new_key(), **data})
        for n, (address, data) in enumerate(refused)
    }
    assert {a: r.status_code for a, r in answers.items() if not 400 <= r.status_code < 500} == {}
    return answers


def first_start() -> Answers:
    return {"first start": Client().get("/first-start/"), "in vain": Client().post("/first-start/", {})}


def the_empty_shop(owner: Staff) -> Answers:
    names = ["home", "find", "reports", "shop-settings", "taxes", "terms", "staff", "dropoff", "pad-entries"]
    names += ["people", "jobs", "queue", "my-timer", "storage", "worksheets", "meters"]
    names += [*(report.url_name for report in REPORTS), *full_stock.EMPTY]
    return got(signed_in(owner), [reverse(name) for name in names], what="empty: ")


def for_staff(full: FullShop) -> Answers:
    tablet = signed_in(full.owner)
    pages = [address for each in (full.pages(), full.papers()) for of in each.values() for address in of]
    answers = got(tablet, pages)
    assert [a for a, r in answers.items() if r.status_code != 200] == []
    return answers | sent(tablet, full.refused())


def on_the_pad(pad: Staff) -> Answers:
    tablet = signed_in(pad)
    screens = [each for each in full_shop.walk_the_pad(tablet) if each != reverse("pad")]
    answers = got(tablet, screens) | sent(tablet, full_shop.refused_on_the_pad())
    tablet.post(reverse("pad-again"))
    return answers | got(tablet, [reverse("pad")])


def on_a_lent_tablet(full: FullShop) -> Answers:
    tablet, answers = signed_in(full.counter), {}
    for address, data in full.hand_over(tablet):
        name = f"lent: {address}, {data}"
        answers[name] = (
            tablet.get(address) if data is None else tablet.post(address, {FIELD: new_key(), **data})
        )
    assert [response.status_code for response in answers.values()] == [200, 422, 200, 422]
    return answers | {"lent, elsewhere": tablet.get("/jobs/")}


def doors_and_refusals(full: FullShop) -> Answers:
    nobody, counter = Client(), signed_in(full.counter)
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(full.counter, backend="shop.doors.PasswordDoor")
    answers = got(nobody, ["/enter/", "/enter/?next=/jobs/", "/locked/"])
    answers |= {
        "enter in vain": nobody.post("/enter/", {"sign_in": "wren", "password": "wrong"}),
        "enter with nothing": nobody.post("/enter/"),
        "nowhere": counter.get("/nowhere/"),
        "not theirs": counter.get("/reports/"),
        "no such job": counter.get("/t/2611-0001-0/"),
        "no claim number": counter.get("/t/hello/"),
        "no one-time key": counter.post("/people/new/", {"name": "Dana"}),
        "no token": strict.post("/people/new/", {"name": "Dana"}),
    }
    return answers | {s: HttpResponse(render_to_string(f"{s}.html")) for s in ("400", "403", "500")}


@pytest.mark.anywhere
def test_every_page_is_html(db: None, tmp_path: Path) -> None:
    answers = first_start()
    ShopFactory()
    owner = StaffFactory(name="Wren Adeyemi", sign_in="wren")
    answers |= the_empty_shop(owner)
    TermsFactory()
    TaxRateFactory()
    bench = StaffFactory(name="Tomas Lindqvist", sign_in="tomas", role=Role.BENCH)
    counter = StaffFactory(name="Ida Marsh", sign_in="ida", role=Role.COUNTER)
    full = full_shop.build(owner, bench, counter)
    answers |= for_staff(full) | on_the_pad(StaffFactory(role=Role.PAD)) | doors_and_refusals(full)
    answers |= on_a_lent_tablet(full)
    if said := is_html(answers, tmp_path / "pages"):
        pytest.fail("\n".join(said), pytrace=False)


def test_every_page_is_among_those_that_are_looked_at(owner: Staff, bench: Staff, counter: Staff) -> None:
    """Whoever adds a page adds it to tests/full_shop.py. What takes POSTs alone is left out."""
    full = full_shop.build(owner, bench, counter)
    looked_at = {*full.pages(), *full.papers(), "pad", "pad-step", "pad-leave", "pad-done", "estimate-sign"}
    looked_at |= {"enter", "locked", "first-start"}  # the doors
    no_pages = {
        "photo",
        "invoice-electronic",
        "test-tone",
        "test-sweep",
        *(report.csv_url_name for report in REPORTS),
        "part-photo",
        "part-read",
        "order-csv",
        "parts-export-file",
        "planning-csv",
        "best-use-csv",
        "safety-year-csv",
        "asleep-csv",
        "queue-needs-csv",
    }  # a picture, a PDF, sounds, tables, a line below a box
    signposts = {
        "scan",
        "dropoff-find",
        "pad-entry-find",
        "counter-sale-find",
        "counter-sale-goods",
        "job-money",
        "job-agreed",
        "job-warranty",
        "drawer-scan",
        "part-stand-ins",
        "count-scan",
    }  # lead whoever asks for a page to another
    some = {"claim": full.here.claim, "pk": full.waiting.pk, "number": 1, "size": "roll"}
    some |= {"code": full.stock.drawer.code, "key": full.stock.drawer.pk, "slug": "parts"}
    tablet, missing = signed_in(owner), []
    for pattern in full_shop.patterns():
        if pattern.name in looked_at | no_pages | signposts:
            continue
        address = reverse(pattern.name, kwargs={name: some[name] for name in pattern.pattern.converters})
        if tablet.get(address).status_code != 405:
            missing.append(pattern.name)
    assert missing == [], ", ".join(missing)
    for name in signposts:
        pattern = next(each for each in full_shop.patterns() if each.name == name)
        of_its_own = {"part-stand-ins": full.stock.capacitor.pk, "count-scan": full.stock.a_round.pk}
        here = {**some, "pk": of_its_own.get(name, some["pk"])}
        asked = {each: here[each] for each in pattern.pattern.converters}
        assert tablet.get(reverse(name, kwargs=asked)).status_code == 302, name


@pytest.mark.parametrize("path", ["/nowhere/", "/t/hello/", "/job/2611-0001-0/", "/invoice/INV-99999/"])
def test_what_is_not_there_is_said_on_a_page(path: str, counter: Staff) -> None:
    answer = signed_in(counter).get(path)
    assert answer.status_code == 404
    assert b"<h1" in answer.content
