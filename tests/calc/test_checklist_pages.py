"""The pages of the checklists: read by all staff, changed by the owner of the shop, line by line."""

import re
from dataclasses import replace
from html import unescape

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from calc import listing
from calc.checklists import Ask
from calc.checklists.ours import OURS
from calc.models import ListVersion
from shop.once import FIELD, new_key

pytestmark = pytest.mark.django_db

LIVE = OURS["live"]
EDIT = "/checklists/live/edit/"


def text_of(response):
    return unescape(response.content.decode())


def boxes(tablet, path):
    """Every box of the form as a browser would send it: names and values, several of a name in a list."""
    return boxes_of(tablet.get(path))


def boxes_of(response):
    form = re.search(r'<form[^>]*id="list-edit".*?</form>', response.content.decode(), re.S).group(0)
    found = {}

    def put(name, value):
        found.setdefault(unescape(name), []).append(unescape(value))

    for tag in re.findall(r"<input[^>]*>", form):
        name, value = (re.search(rf' {what}="([^"]*)"', tag) for what in ("name", "value"))
        if name is None or re.search(r'type="(checkbox|radio)"', tag) and " checked" not in tag:
            continue
        put(name[1], value[1] if value else "on" if "checkbox" in tag else "")
    for name, value in re.findall(r'<textarea[^>]*name="([^"]*)"[^>]*>\n?(.*?)</textarea>', form, re.S):
        put(name, value)
    for name, inside in re.findall(r'<select[^>]*name="([^"]*)"[^>]*>(.*?)</select>', form, re.S):
        picked = re.search(r'<option value="([^"]*)" selected', inside)
        first = re.search(r'<option value="([^"]*)"', inside)
        put(name, (picked or first)[1])
    for name in ("once", "csrfmiddlewaretoken"):
        found.pop(name, None)
    return found


def send(tablet, path, data, **more):
    return tablet.send(path, {**data, **more})


def now(slug):
    return listing.current()[slug].checklist


# --- Reading -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("who", ["as_owner", "as_bench", "as_counter"])
def test_all_staff_read_every_list(request, who):
    tablet = request.getfixturevalue(who)
    page = text_of(tablet.get("/checklists/"))
    for slug, each in OURS.items():
        assert f'href="/checklists/{slug}/"' in page
        assert each.name in page


def test_the_lists_stand_in_the_order_of_the_work(as_bench):
    page = text_of(as_bench.get("/checklists/"))
    places = [page.index(f'href="/checklists/{slug}/"') for slug in OURS]
    assert places == sorted(places)


@pytest.mark.parametrize("slug", OURS)
def test_a_list_is_read_with_all_that_its_lines_ask(as_bench, slug):
    page = text_of(as_bench.get(f"/checklists/{slug}/"))
    for line in OURS[slug].lines:
        for said in (line.text, line.why, line.if_not, line.source, line.point, line.limit):
            assert said in page


def test_a_list_says_what_waits_for_it(as_bench):
    assert "Nothing is read under power before this list" in text_of(
        as_bench.get("/checklists/before-power/")
    )
    assert "Nothing waits for this list" in text_of(as_bench.get("/checklists/live/"))


def test_there_is_no_page_of_a_list_that_isnt_there(as_bench):
    for path in ("/checklists/nothing/", "/checklists/nothing/1/", "/checklists/live/7/"):
        assert as_bench.get(path).status_code == 404


def test_a_list_is_a_paper(as_bench):
    paper = as_bench.get("/checklists/before-power/paper/")
    assert paper.status_code == 200
    assert paper["Content-Type"].startswith(("application/pdf", "text/html"))


@pytest.mark.parametrize("path", ["/checklists/", "/checklists/live/"])
def test_a_page_asks_the_database_no_more_for_more_versions(as_bench, owner, path):
    def queries():
        with CaptureQueriesContext(connection) as asked:
            as_bench.get(path)
        return len(asked)

    listing.change(replace(LIVE, said="One."), by=owner, words="One", seen=1)
    first = queries()
    for number in range(2, 6):
        listing.change(replace(LIVE, said=f"Said {number}."), by=owner, words="More", seen=number)
    assert queries() == first


def test_an_old_version_is_readable_with_who_changed_what(as_bench, owner):
    listing.change(replace(LIVE, lines=LIVE.lines[1:]), by=owner, words="Asked once is enough.", seen=1)
    page = text_of(as_bench.get("/checklists/live/"))
    assert "Asked once is enough." in page
    assert owner.name in page
    assert "A line less" in page
    old = text_of(as_bench.get("/checklists/live/1/"))
    assert LIVE.lines[0].text in old
    assert "An old version" in old
    assert LIVE.lines[0].text not in text_of(as_bench.get("/checklists/live/2/"))


# --- Changing ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("who", ["as_bench", "as_counter", "as_pad"])
@pytest.mark.parametrize("path", [EDIT, "/checklists/new/", "/checklists/live/shape/"])
def test_only_the_owner_changes_lists(request, who, path):
    tablet = request.getfixturevalue(who)
    assert tablet.send(path, {"words": "Mine"}).status_code in (302, 403)
    assert not ListVersion.objects.exists()
    if who != "as_pad":
        assert "/edit/" not in text_of(tablet.get("/checklists/live/"))


@pytest.mark.parametrize("slug", OURS)
def test_a_page_that_is_sent_as_it_came_changes_nothing(as_owner, slug):
    path = f"/checklists/{slug}/edit/"
    answer = send(as_owner, path, boxes(as_owner, path), words="Nothing")
    assert answer.status_code == 422
    assert "Nothing on this list is changed." in text_of(answer)


@pytest.mark.parametrize("limit", [0.1234567891, -1234.5678912, 1e6 + 0.125])
def test_a_limit_that_is_shown_with_fewer_digits_isnt_changed_by_that(as_owner, owner, limit):
    line = replace(OURS["first-power"].line("supply"), at_least=limit)
    lines = tuple(line if each.key == "supply" else each for each in OURS["first-power"].lines)
    listing.change(replace(OURS["first-power"], lines=lines), by=owner, words="Ours", seen=1)
    path = "/checklists/first-power/edit/"
    assert send(as_owner, path, boxes(as_owner, path), said="Slowly.", words="Said").status_code == 302
    assert now("first-power").line("supply") == line


def test_the_words_of_a_line_are_changed(as_owner, owner):
    typed = boxes(as_owner, EDIT)
    answer = send(
        as_owner,
        EDIT,
        typed,
        **{"line-dry-text": "Stand on the mat.", "line-dry-source": "", "words": "We have one."},
    )
    assert answer.url == "/checklists/live/"
    assert now("live").line("dry").text == "Stand on the mat."
    assert [line.key for line in now("live").lines] == [line.key for line in LIVE.lines]
    version = ListVersion.objects.get(number=2)
    assert (version.by, version.words) == (owner, "We have one.")


def test_who_says_not_what_changed_is_asked(as_owner):
    answer = send(as_owner, EDIT, boxes(as_owner, EDIT), **{"line-dry-text": "Stand on the mat."})
    assert answer.status_code == 422
    assert "Write in a few words what changed." in text_of(answer)
    assert "Stand on the mat." in text_of(answer)
    assert not ListVersion.objects.exists()


def test_a_second_tap_makes_no_second_version(as_owner):
    typed = {**boxes(as_owner, EDIT), "line-dry-text": "Stand on the mat.", "words": "Mat"}
    key = new_key()
    answers = [as_owner.post(EDIT, {**typed, FIELD: key}) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [302, 302]
    assert ListVersion.objects.filter(slug="live").count() == 2


def shaped(tablet, data, act, path="/checklists/live/shape/", **more):
    answer = send(tablet, path, data, act=act, **more)
    assert answer.status_code == 200
    return boxes_of(answer)


def test_a_line_is_added_moved_and_filled_in(as_owner):
    typed = shaped(as_owner, boxes(as_owner, EDIT), "add", **{"line-dry-why": "Half a thought"})
    assert typed["rows"][-1] == "_1"
    assert typed["line-dry-why"] == ["Half a thought"]
    typed = shaped(as_owner, typed, "up _1", **{"line-_1-text": "Lay out the mat."})
    assert typed["rows"][-2] == "_1"
    assert send(as_owner, EDIT, typed, words="We have a mat now.").status_code == 302
    made = now("live")
    assert [line.key for line in made.lines] == [
        *(line.key for line in LIVE.lines[:-1]),
        "lay-out-the-mat",
        LIVE.lines[-1].key,
    ]
    assert made.line("lay-out-the-mat").source == "common practice, no source"


def test_a_new_reading_has_its_place_unit_and_limits(as_owner):
    typed = shaped(as_owner, boxes(as_owner, EDIT), "add")
    typed |= {
        "line-_1-text": "Read the bias.",
        "line-_1-ask": "reading",
        "line-_1-point": "Bias",
        "line-_1-unit": "V",
        "line-_1-at_least": "-60",
        "line-_1-at_most": "-30 V",
        "line-_1-powered": "on",
        "line-_1-may_not_apply": "on",
        "line-_1-wait": "5",
        "line-_1-since": "dry",
        "words": "We read it here too.",
    }
    assert send(as_owner, EDIT, typed).status_code == 302
    line = now("live").line("read-the-bias")
    assert (line.ask, line.point, line.unit) == (Ask.READING, "Bias", "V")
    assert (line.at_least, line.at_most, line.powered, line.may_not_apply) == (-60, -30, True, True)
    assert (line.wait, line.since, line.fixed) == (300, "dry", False)


def test_a_reading_is_compared_with_a_new_one_above_it(as_owner):
    typed = boxes(as_owner, EDIT)
    for number, text in ((1, "Read it."), (2, "Read it once more.")):
        typed = shaped(as_owner, typed, "add")
        typed |= {
            f"line-_{number}-text": text,
            f"line-_{number}-ask": "reading",
            f"line-_{number}-point": "Supply",
            f"line-_{number}-unit": "V",
        }
    typed |= {"line-_2-drift_of": "_1", "line-_2-drift": "5", "words": "Two readings."}
    assert send(as_owner, EDIT, typed).status_code == 302
    line = now("live").line("read-it-once-more")
    assert (line.drift_of, line.drift) == ("read-it", 5)


@pytest.mark.parametrize(
    ("box", "said", "sentence"),
    [
        ("text", "", "Write what to do, in one plain sentence."),
        ("point", "", "Say where it is read"),
        ("unit", "", "Choose the unit that it is read in."),
        ("at_most", "lots", "lots"),
        ("at_most", "1", "nothing keeps to both"),
        ("drift_of", "dry", "asks for no reading"),
        ("drift_of", "nowhere", "isn’t there any more"),
        ("wait", "soon", "whole minutes"),
        ("wait", "-4", "whole minutes"),
        ("wait", "99999", "up to a week"),
        ("drift", "much", "in per cent"),
        ("drift", "0", "from 0.1 to 100"),
        ("since", "guarded", "has to stand above this one"),
    ],
)
def test_what_is_wrong_with_a_line_stands_beside_its_box(as_owner, box, said, sentence):
    typed = shaped(as_owner, boxes(as_owner, EDIT), "add")
    typed = shaped(as_owner, typed, "up _1")
    typed |= {
        "line-_1-text": "Read the bias.",
        "line-_1-ask": "reading",
        "line-_1-point": "Bias",
        "line-_1-unit": "V",
        "line-_1-at_least": "2",
        "line-_1-drift": "5",
        "line-_1-wait": "5",
        "words": "More.",
        f"line-_1-{box}": said,
    }
    answer = send(as_owner, EDIT, typed)
    assert answer.status_code == 422
    wrong = re.search(rf'id="id_line-_1-{box}_wrong">(.*?)</p>', text_of(answer), re.S)
    assert sentence in wrong.group(1)
    assert not ListVersion.objects.exists()
    back = boxes_of(answer)
    for name, value in typed.items():
        if name.startswith("line-_1-") and value != "nowhere":  # a choice that isn't there can't be shown
            assert back.get(name, [""]) in (value, [value])
    assert back["words"] == ["More."]


def test_a_line_is_taken_off_and_put_back(as_owner):
    typed = shaped(as_owner, boxes(as_owner, EDIT), "off dry", **{"line-dry-text": "Stand on the mat."})
    assert typed["off"] == ["dry"]
    assert typed["line-dry-text"] == ["Stand on the mat."]
    back = shaped(as_owner, typed, "back dry")
    assert "off" not in back
    assert send(as_owner, EDIT, typed, words="Nobody stands wet.").status_code == 302
    assert [line.key for line in now("live").lines] == [line.key for line in LIVE.lines if line.key != "dry"]
    assert back["line-dry-text"] == ["Stand on the mat."]


def test_a_line_moves_past_one_that_was_taken_off(as_owner):
    typed = shaped(as_owner, boxes(as_owner, EDIT), "off dry")
    typed = shaped(as_owner, typed, "up guarded")
    rows = [row for row in typed["rows"] if row != "dry"]
    assert rows[-2:] == ["guarded", "scope"]


@pytest.mark.parametrize("act", ["up needed", "down guarded", "up nowhere", "leap", ""])
def test_a_line_at_its_end_stays_there(as_owner, act):
    typed = shaped(as_owner, boxes(as_owner, EDIT), act)
    assert typed["rows"] == [line.key for line in LIVE.lines]


def test_a_line_answers_htmx_with_the_form_alone(as_owner):
    answer = as_owner.send("/checklists/live/shape/", {**boxes(as_owner, EDIT), "act": "add"}, htmx=True)
    assert answer.content.decode().lstrip().startswith('<form class="form waits" id="list-edit"')


def test_a_list_without_lines_is_refused(as_owner):
    typed = boxes(as_owner, EDIT) | {"off": [line.key for line in LIVE.lines], "words": "None."}
    answer = send(as_owner, EDIT, typed)
    assert answer.status_code == 422
    assert "A list needs a line" in text_of(answer)


# --- What gates rest on, through the web ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("slug", "box", "said"),
    [
        ("before-power", "line-discharged-at_most", "60"),
        ("before-power", "line-discharged-at_most", ""),
        ("before-power", "line-discharged-at_least", "-1000"),
        ("before-power", "line-discharged-again-wait", "0"),
        ("before-power", "line-discharged-again-wait", ""),
        ("soak", "line-end-wait", "90"),
        ("soak", "line-end-drift", "11"),
        ("soak", "line-end-drift", ""),
    ],
)
def test_a_looser_limit_is_refused_beside_its_box(as_owner, slug, box, said):
    path = f"/checklists/{slug}/edit/"
    answer = send(as_owner, path, boxes(as_owner, path), **{box: said, "words": "Easier."})
    assert answer.status_code == 422
    wrong = re.search(rf'id="id_{box}_wrong">(.*?)</p>', text_of(answer), re.S)
    assert "A gate rests on this line" in wrong.group(1)
    assert not ListVersion.objects.exists()


@pytest.mark.parametrize(
    ("slug", "box", "said", "name", "value"),
    [
        ("before-power", "line-discharged-at_most", "30", "at_most", 30),
        ("before-power", "line-discharged-again-wait", "5", "wait", 300),
        ("soak", "line-end-drift", "5", "drift", 5),
        ("soak", "line-end-wait", "240", "wait", 14400),
    ],
)
def test_a_stricter_limit_is_kept(as_owner, slug, box, said, name, value):
    path = f"/checklists/{slug}/edit/"
    assert send(as_owner, path, boxes(as_owner, path), **{box: said, "words": "Safer."}).status_code == 302
    key = box.removeprefix("line-").rsplit("-", 1)[0]
    assert getattr(now(slug).line(key), name) == value


@pytest.mark.parametrize("slug", ["before-power", "after-repair", "after-repair-low", "soak", "soak-low"])
def test_no_box_that_is_forged_loosens_a_gate(as_owner, slug):
    """Every box that a page of a gate doesn't offer, sent all the same."""
    path = f"/checklists/{slug}/edit/"
    typed = boxes(as_owner, path) | {
        "words": "Forged.",
        "retired": "on",
        "stage": "handling",
        "applies": ["crt"],
    }
    for line in OURS[slug].lines:
        if line.fixed:
            typed |= {
                f"line-{line.key}-ask": "look",
                f"line-{line.key}-may_not_apply": "on",
                f"line-{line.key}-since": "",
                f"line-{line.key}-drift_of": "",
                f"line-{line.key}-unit": "",
                f"line-{line.key}-sheet": "supply",
                f"line-{line.key}-fixed": "",
                f"line-{line.key}-powered": "",
            }
    typed["said"] = "Other words."
    send(as_owner, path, typed)
    made = now(slug)
    assert replace(made, said=OURS[slug].said) == OURS[slug]


@pytest.mark.parametrize(
    ("slug", "key"), [("before-power", "unplugged"), ("soak", "end"), ("after-repair", "tested")]
)
def test_a_line_that_a_gate_rests_on_cant_be_left_out(as_owner, slug, key):
    path = f"/checklists/{slug}/edit/"
    typed = boxes(as_owner, path)
    for forged in ({"off": [key]}, {"rows": [row for row in typed["rows"] if row != key]}):
        answer = send(as_owner, path, typed, words="Shorter.", **forged)
        assert answer.status_code == 422
        assert "A gate rests on" in text_of(answer)
    assert not ListVersion.objects.exists()


def test_a_line_cant_rise_above_the_one_that_it_is_measured_from(as_owner):
    path = "/checklists/soak/edit/"
    typed = boxes(as_owner, path)
    rows = [row for row in typed["rows"] if row != "end"]
    answer = send(as_owner, path, typed, rows=["end", *rows], words="Sooner.")
    assert answer.status_code == 422
    assert "has to stand above it" in text_of(answer)


# --- Two owners at once --------------------------------------------------------------------------------------


@pytest.fixture
def changed_by_another(as_owner, owner):
    """A page that was opened before another owner changed the list."""
    typed = boxes(as_owner, EDIT) | {"line-dry-text": ["Mine."], "words": ["Mine."]}
    theirs = replace(LIVE.line("rested"), text="Theirs.")
    lines = tuple(theirs if line.key == "rested" else line for line in LIVE.lines if line.key != "probes")
    listing.change(replace(LIVE, lines=lines), by=owner, words="Theirs", seen=1)
    return typed


def test_who_was_second_sees_both_versions(as_owner, changed_by_another):
    answer = send(as_owner, EDIT, changed_by_another)
    assert answer.status_code == 409
    page = text_of(answer)
    assert all(said in page for said in ("Mine.", "Theirs.", LIVE.line("probes").text, "Keep what is there"))
    assert listing.current()["live"].number == 2


def hidden(answer):
    form = re.search(r'<form class="conflict-acts".*?</form>', answer.content.decode(), re.S).group(0)
    found = {}
    for name, value in re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)">', form):
        found.setdefault(unescape(name), []).append(unescape(value))
    return found


def test_who_was_second_may_put_theirs_in_its_place(as_owner, changed_by_another):
    form = hidden(send(as_owner, EDIT, changed_by_another))
    assert as_owner.post(EDIT, {**form, "keep": "mine"}).status_code == 302
    made = listing.current()["live"]
    assert made.number == 3
    assert made.checklist.line("dry").text == "Mine."
    assert made.checklist.line("rested").text == LIVE.line("rested").text
    assert made.checklist.line("probes") == LIVE.line("probes")


def test_who_was_second_may_leave_what_is_there(as_owner, changed_by_another):
    form = hidden(send(as_owner, EDIT, changed_by_another))
    assert as_owner.post(EDIT, {**form, "keep": "theirs"}).url == "/checklists/live/"
    assert listing.current()["live"].number == 2


# --- Lists of the shop's own ---------------------------------------------------------------------------------

NEW = "/checklists/new/"


def test_the_owner_makes_a_list_of_the_shops_own(as_owner):
    typed = boxes(as_owner, NEW) | {
        "name": "Loading the van",
        "stage": "soak",
        "applies": ["mains", "valves"],
        "line-_1-text": "Strap it upright.",
        "words": "Two fell over.",
    }
    assert send(as_owner, NEW, typed).url == "/checklists/loading-the-van/"
    made = now("loading-the-van")
    assert [line.key for line in made.lines] == ["strap-it-upright"]
    assert "Loading the van" in text_of(as_owner.get("/checklists/"))


def test_a_list_has_a_name_that_no_other_has(as_owner):
    typed = boxes(as_owner, NEW) | {"name": "live WORK", "line-_1-text": "Strap it.", "words": "New."}
    answer = send(as_owner, NEW, typed)
    assert answer.status_code == 422
    assert "There is a list of that name already" in text_of(answer)
    assert "Strap it." in text_of(answer)


def test_a_new_list_takes_more_lines(as_owner):
    typed = shaped(as_owner, boxes(as_owner, NEW), "add", path="/checklists/new/shape/", name="Van")
    assert typed["rows"] == ["_1", "_2"]
    assert typed["name"] == ["Van"]


def test_a_list_goes_out_of_use_and_comes_back(as_owner):
    typed = boxes(as_owner, EDIT)
    send(as_owner, EDIT, typed, retired="on", words="Nobody works live here.")
    assert now("live").retired
    assert "Out of use" in text_of(as_owner.get("/checklists/"))
    typed = boxes(as_owner, EDIT)
    assert typed.pop("retired") == ["on"]
    send(as_owner, EDIT, typed, words="We do again.")
    assert now("live") == LIVE


def test_an_old_page_without_its_version_is_refused(as_owner):
    typed = boxes(as_owner, EDIT) | {"words": "Mine.", "line-dry-text": "Mat."}
    for seen in ("", "x", "99999999999"):
        assert send(as_owner, EDIT, typed, seen=seen).status_code == 422
    assert send(as_owner, EDIT, typed, seen="9").status_code == 409


def test_the_addresses_are_these():
    assert reverse("checklist-edit", args=["live"]) == EDIT
    assert reverse("checklist-new") == NEW
