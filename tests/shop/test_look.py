"""The parts every page has: what the template tags write, and that every drawing they name exists."""

import datetime as dt
import re
import xml.etree.ElementTree as ET
from itertools import combinations
from pathlib import Path

import pytest
from django import forms
from django.conf import settings
from django.template import Context, Template
from django.utils import timezone

from shop import views_pattern, wording

BASE = Path(settings.BASE_DIR)
TEMPLATES = sorted((BASE / "templates").rglob("*.html"))
SVG = "{http://www.w3.org/2000/svg}"
SHAPES = {
    symbol.get("id"): symbol
    for symbol in ET.parse(BASE / "static/img/shapes.svg").getroot().iter(SVG + "symbol")
}


def render(source: str, **context: object) -> str:
    return Template("{% load look %}" + source).render(Context(context))


def drawing(symbol: ET.Element) -> str:
    return "".join(ET.tostring(part, encoding="unicode") for part in symbol)


@pytest.mark.parametrize("state", wording.STATES)
def test_every_state_has_a_word_a_shape_and_a_colour(state: str):
    badge = render("{% state_badge state %}", state=state)
    assert wording.STATES[state] in badge
    assert f"#{state}" in badge
    assert state in SHAPES
    assert f".state-{state} {{" in (BASE / "static/css/parts.css").read_text()


def test_no_two_states_share_a_shape():
    for one, other in combinations(wording.STATES, 2):
        assert drawing(SHAPES[one]) != drawing(SHAPES[other])


def test_a_state_of_unknown_name_keeps_its_word():
    assert "Lost at sea" in render("{% state_badge 'lost_at_sea' %}")


def test_the_pattern_page_shows_every_icon_we_drew():
    assert set(views_pattern.ICONS) | set(wording.STATES) | {"emblem"} == set(SHAPES)


@pytest.mark.parametrize("page", TEMPLATES, ids=lambda page: str(page.relative_to(BASE / "templates")))
def test_every_icon_a_template_names_is_drawn(page: Path):
    assert set(re.findall(r"""{% icon ["']([\w-]+)["']""", page.read_text())) <= set(SHAPES)


@pytest.mark.parametrize("page", TEMPLATES, ids=lambda page: str(page.relative_to(BASE / "templates")))
def test_no_template_needs_what_our_content_policy_forbids(page: Path):
    html = page.read_text()
    assert not re.search(r"""\sstyle=|<style|\son[a-z]+=|hx-on|<script(?![^>]*\bsrc=)|javascript:""", html)


@pytest.mark.parametrize("page", TEMPLATES, ids=lambda page: str(page.relative_to(BASE / "templates")))
def test_no_comment_of_a_template_shows_on_the_page(page: Path):
    # Django ends a {# comment #} with its line: a longer one is printed for everyone to read.
    assert not re.search(r"{#(?!.*#})", page.read_text())


def test_an_icon_beside_a_word_is_silent():
    assert 'aria-hidden="true"' in render("{% icon 'find' %}")


def test_an_icon_that_stands_alone_has_a_name():
    assert 'role="img" aria-label="Caution"' in render("{% icon 'caution' 'Caution' %}")


def test_a_kind_of_gear_without_a_drawing_is_shown_as_gear():
    assert "#gear" in render("{% gear_icon 'theremin' %}")


def test_a_claim_number_copies_as_it_is_written():
    assert re.sub(r"<[^>]*>", "", render("{% claim '2611-0042-K' %}")) == "2611-0042-K"


def test_a_claim_number_in_a_page_is_escaped():
    assert "<b>" not in render("{% claim value %}", value="<b>")


def test_moments_are_written_in_the_shops_time_zone():
    moment = dt.datetime(2026, 11, 25, 23, 5, tzinfo=dt.UTC)
    with timezone.override("Asia/Tokyo"):
        written = render("{% when moment %}", moment=moment)
    assert "Thu 26 Nov 2026, 08:05" in written
    assert 'datetime="2026-11-26T08:05+09:00"' in written


@pytest.mark.parametrize("tag", ["when", "day", "ago", "hours"])
def test_no_moment_is_written_as_nothing(tag: str):
    assert render("{% " + tag + " moment %}", moment=None) == ""


def test_the_dots_say_in_words_where_somebody_is():
    row = render("{% dots 3 9 %}")
    assert 'aria-label="Question 3 of 9"' in row
    assert row.count("<li") == 9
    assert row.count('class="done"') == 2


class Sheet(forms.Form):
    volts = forms.DecimalField(label="Plate voltage", help_text="At idle.")
    kind = forms.ChoiceField(
        label="Kind", choices=[("head", "Head"), ("combo", "Combo")], widget=forms.RadioSelect
    )
    smelled = forms.BooleanField(label="It smelled", required=False)
    note = forms.CharField(label="Note", required=False)
    revision = forms.IntegerField(widget=forms.HiddenInput)


def test_a_field_is_named_by_its_label_and_described_by_its_help():
    html = render("{% field form.volts unit='V' %}", form=Sheet())
    assert '<label for="id_volts">Plate voltage</label>' in html
    assert 'aria-describedby="id_volts_said"' in html
    assert 'id="id_volts_said">At idle.' in html
    assert '<span class="unit">V</span>' in html


def test_what_is_wrong_with_a_field_stands_beside_it_and_is_spoken():
    html = render("{% field form.volts %}", form=Sheet({"volts": "much"}))
    assert 'aria-invalid="true"' in html
    assert 'aria-describedby="id_volts_said id_volts_wrong"' in html
    assert 'id="id_volts_wrong"' in html
    assert 'value="much"' in html


def test_a_field_that_may_stay_empty_says_so():
    assert "if you like" in render("{% field form.note %}", form=Sheet())
    assert "if you like" not in render("{% field form.volts %}", form=Sheet())


def test_choices_are_a_group_with_a_card_each():
    html = render("{% field form.kind %}", form=Sheet({}))
    assert "<legend>Kind</legend>" in html
    assert html.count('class="choice"') == 2
    assert 'aria-describedby="id_kind_wrong"' in html


def test_a_label_can_be_left_to_the_pages_own_question():
    assert '<legend class="unseen">Kind</legend>' in render("{% field form.kind label=False %}", form=Sheet())


def test_a_hidden_field_is_only_its_input():
    assert render("{% field form.revision %}", form=Sheet()).count("<") == 1


def test_the_summary_leads_to_each_field_that_is_wrong():
    html = render("{% include 'shop/_form_errors.html' %}", form=Sheet({"volts": "much"}))
    assert 'href="#id_volts"' in html
    assert 'href="#id_kind_0"' in html or 'href="#id_kind"' in html
    assert "Not kept yet" in html


def test_a_form_without_faults_has_no_summary():
    assert render("{% include 'shop/_form_errors.html' %}", form=Sheet()).strip() == ""
