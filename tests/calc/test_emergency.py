"""The emergency card: one tap away for all who work here, with the shop's own numbers, on screen and on paper."""

import io
import re

import pypdf
import pytest
from django.urls import reverse
from django.utils.html import escape

from calc import emergency
from calc.first_aid import ALWAYS, PARTS, TRAINING
from calc.models import EmergencyCard
from shop import timeline
from shop.errors import ChangedMeanwhile
from tests.factories import JobFactory

pytestmark = pytest.mark.django_db

WRITTEN = {
    "ambulance": "112",
    "fire": "",
    "poison": "+44 (0)20 555 0199",
    "doctor": "Port Ansley Hospital, 555 0110",
    "call_here": "Wren at home, ask for her",
    "address": "3 Lantern Quay, red door at the back",
    "switch": "Grey box left of the door",
    "extinguisher": "",
    "first_aid": "Under the sink",
    "defibrillator": "",
    "trained": "Tomas",
}


def written_on(by):
    return emergency.change(seen=0, by=by, **WRITTEN)


@pytest.mark.parametrize(
    ("text", "tel"),
    [
        ("112", "112"),
        ("555 0142", "5550142"),
        ("(555) 014-2200", "5550142200"),
        ("+44 20 7946 0000", "+442079460000"),
        ("Wren, 555 0142, after six", "5550142"),
        ("ask at the harbour office", ""),
        ("gate 7", ""),
        ("", ""),
    ],
)
def test_a_tap_dials_the_digits_alone(text, tel):
    """RFC 3966, 5.1.1: spaces, hyphens, points and parentheses are there to be read, and aren't dialled."""
    assert emergency.dialled(text) == tel


@pytest.mark.parametrize("role", ["as_owner", "as_bench", "as_counter"])
@pytest.mark.parametrize("page", ["home", "queue", "parts", "worksheets", "near-misses"])
def test_it_is_one_tap_away_on_every_page_of_the_staffs(request, role, page):
    html = request.getfixturevalue(role).get(reverse(page)).content.decode()
    bar = html[html.index('<header class="bar">') : html.index("</header>")]
    assert f'href="{reverse("emergency")}"' in bar


def test_it_is_not_on_the_sign_in_pad(as_pad):
    assert reverse("emergency") not in as_pad.get(reverse("pad")).content.decode()
    assert as_pad.get(reverse("emergency")).status_code == 403


def test_a_job_at_the_bench_is_one_tap_from_it(as_bench):
    assert f'href="{reverse("emergency")}"' in as_bench.get(JobFactory().get_absolute_url()).content.decode()


def test_without_numbers_it_says_so_and_how_to_write_them(as_bench, as_owner):
    page = as_bench.get(reverse("emergency")).content.decode()
    assert "No number of this shop is written on this card yet." in page
    assert "Call the emergency number of the place where you are." in page
    assert "tel:" not in page
    assert reverse("emergency-edit") in as_owner.get(reverse("emergency")).content.decode()
    assert not EmergencyCard.objects.exists()  # looking writes nothing


def test_with_numbers_a_tap_calls(as_counter, owner):
    written_on(owner)
    page = as_counter.get(reverse("emergency")).content.decode()
    assert re.findall(r'href="tel:([^"]*)"', page) == ["112", "+440205550199", "5550110"]
    for text in WRITTEN.values():
        assert escape(text) in page
    assert "No number of this shop" not in page


def test_it_says_what_to_do_of_a_shock_a_fire_and_a_burn(as_bench):
    page = as_bench.get(reverse("emergency")).content.decode()
    for part in (*PARTS, ALWAYS):
        for said in (part.title, *part.steps, *part.never):
            assert escape(said) in page
    assert escape(TRAINING) in page


def test_the_power_is_cut_before_anybody_is_touched():
    """General practice, from memory: first take away the power, then help."""
    shock, fire, burn = PARTS
    assert shock.steps[0].startswith("Cut the power first")
    assert "Until it is off touch nobody" in shock.steps[0]
    assert "see a doctor" in shock.steps[-1] and "heart" in shock.steps[-1]
    assert any("electrical fires" in step for step in fire.steps)
    assert any("running water" in step for step in burn.steps) and "No ice" in burn.never[0]
    assert "trained" in TRAINING and "local authorities" in TRAINING


def test_only_the_owner_writes_on_it(as_owner, as_bench, as_counter):
    for tablet in (as_bench, as_counter):
        assert tablet.get(reverse("emergency-edit")).status_code == 403
        assert tablet.send(reverse("emergency-edit"), {**WRITTEN, "revision": "0"}).status_code == 403
    assert as_owner.get(reverse("emergency-edit")).status_code == 200


def test_the_owner_writes_on_it_and_the_timeline_says_so(as_owner, owner):
    answer = as_owner.send(reverse("emergency-edit"), {**WRITTEN, "revision": "0"})
    assert answer.status_code == 302
    card = EmergencyCard.objects.get()
    assert {name: getattr(card, name) for name in WRITTEN} == WRITTEN
    entry = timeline.of(card).get()
    assert (entry.by, entry.words) == (owner, "wrote on the emergency card")
    assert {"what": "Ambulance", "before": "", "after": "112"} in entry.changes
    page = as_owner.get(reverse("emergency-edit")).content.decode().lower()
    assert "wrote on the emergency card" in page


def test_a_number_that_cannot_be_dialled_is_sent_back_with_all_that_was_typed(as_owner):
    answer = as_owner.send(reverse("emergency-edit"), {**WRITTEN, "ambulance": "ring them", "revision": "0"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Write the number as it is dialled, in figures." in page
    assert escape(WRITTEN["doctor"]) in page
    assert not EmergencyCard.objects.exists()


def test_two_people_write_on_it_at_once(as_owner, owner):
    written_on(owner)
    with pytest.raises(ChangedMeanwhile):
        emergency.change(seen=0, by=owner, ambulance="999")
    old = '{"ambulance": "", "switch": "Grey box left of the door"}'
    answer = as_owner.send(
        reverse("emergency-edit"), {**WRITTEN, "ambulance": "999", "revision": "0", "opened_with": old}
    )
    assert answer.status_code == 409
    assert "112" in answer.content.decode() and "999" in answer.content.decode()
    assert EmergencyCard.objects.get().ambulance == "112"


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("full", [False, True])
def test_it_prints_on_one_tagged_sheet(as_bench, shop, owner, paper, full):
    """ISO 14289-1 (PDF/UA-1): marked as tagged, with a language; opened by pypdf."""
    shop.paper = paper
    shop.save()
    if full:
        longest = {name: EmergencyCard._meta.get_field(name).max_length for name in emergency.FIELDS}
        emergency.change(
            seen=0, by=owner, **{name: ("1234 567 89 " * 20)[:most].strip() for name, most in longest.items()}
        )
    answer = as_bench.get(reverse("emergency-paper"))
    assert answer["Content-Type"] == "application/pdf"
    pdf = pypdf.PdfReader(io.BytesIO(answer.content))
    assert len(pdf.pages) == 1
    wide, high = (round(float(side) / 72 * 25.4) for side in pdf.pages[0].mediabox[2:])
    assert (wide, high) == ((210, 297) if paper == "A4" else (216, 279))
    assert pdf.trailer["/Root"]["/MarkInfo"]["/Marked"]
    assert pdf.trailer["/Root"]["/Lang"] == "en"
    text = " ".join(pdf.pages[0].extract_text().split())
    for part in PARTS:
        assert part.title in text
    assert "Get trained in first aid" in text
