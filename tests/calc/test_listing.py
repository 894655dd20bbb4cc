"""Versions of the checklists: what a shop may change on them, and what gates keep as it is."""

from dataclasses import replace

import pytest

from calc import listing, runs
from calc.checklists import Ask, Checklist, Has, Line, Stage
from calc.checklists.changes import changes
from calc.checklists.ours import OURS
from calc.listing import AS_WE_BRING_IT, LineRefused
from calc.models import ListVersion
from intake.models import State
from intake.workflow import move
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowed, NotAllowedYet
from tests.factories import GearFactory, JobFactory

pytestmark = pytest.mark.django_db

LIVE, BEFORE_POWER, SOAK, FIRST = (OURS[slug] for slug in ("live", "before-power", "soak", "first-power"))


def with_line(listed, key, **changed):
    """The list with one of its lines changed."""
    lines = tuple(replace(line, **changed) if line.key == key else line for line in listed.lines)
    return replace(listed, lines=lines)


def without(listed, key):
    return replace(listed, lines=tuple(line for line in listed.lines if line.key != key))


def change(listed, by, words="Stricter here.", seen=1):
    return listing.change(listed, by=by, words=words, seen=seen)


# --- Versions ------------------------------------------------------------------------------------------------


def test_a_shop_starts_with_our_lists_and_nothing_written_down(shop):
    lists = listing.current()
    assert list(lists) == list(OURS)
    assert {(each.number, each.is_ours, each.row) for each in lists.values()} == {(1, True, None)}
    assert not ListVersion.objects.exists()


def test_the_first_change_writes_ours_down_as_the_first_version(owner):
    change(with_line(LIVE, "dry", text="Stand on the mat."), owner, words="We have a mat.")
    rows = listing.versions("live")
    assert [(row.number, row.by, row.words) for row in rows] == [
        (2, owner, "We have a mat."),
        (1, None, AS_WE_BRING_IT),
    ]
    assert listing.as_value(rows[1]) == LIVE
    assert listing.current()["live"].checklist.line("dry").text == "Stand on the mat."
    assert not listing.current()["live"].is_ours


@pytest.mark.parametrize("slug", OURS)
def test_a_list_comes_back_from_its_rows_as_it_was(owner, slug):
    made = change(replace(OURS[slug], said="Ours, with other words."), owner)
    assert listing.as_value(made) == replace(OURS[slug], said="Ours, with other words.")


def test_a_run_keeps_the_version_that_it_began_with(bench, owner):
    job = JobFactory(gear=GearFactory(kind="head", technology="valve"))
    job = move(job, to=State.ON_THE_BENCH, by=bench, revision=job.revision)
    run = runs.begin(job, slug="live", by=bench)
    change(without(LIVE, "dry"), owner)
    run.refresh_from_db()
    assert listing.as_value(run.version) == LIVE
    assert len(listing.current()["live"].checklist.lines) == len(LIVE.lines) - 1


def test_a_change_stands_in_the_shops_timeline(owner):
    change(without(LIVE, "dry"), owner, words="The floor is a mat.")
    entry = timeline.of("shop").first()
    assert entry.words == "made version 2 of the checklist Live work"
    assert "The floor is a mat." in str(entry.changes)


def test_lists_are_read_in_two_queries(owner, django_assert_num_queries):
    change(without(LIVE, "dry"), owner)
    change(replace(SOAK, said="Long."), owner)
    with django_assert_num_queries(2):
        listing.current()


def test_who_changes_an_old_version_is_told(owner):
    change(without(LIVE, "dry"), owner)
    with pytest.raises(ChangedMeanwhile) as refused:
        change(without(LIVE, "probes"), owner, seen=1)
    assert refused.value.revision == 2


@pytest.mark.parametrize("role", ["bench", "counter", "pad"])
def test_only_the_owner_changes_a_list(request, shop, role):
    with pytest.raises(NotAllowed):
        change(without(LIVE, "dry"), request.getfixturevalue(role))
    assert not ListVersion.objects.exists()


@pytest.mark.parametrize("words", ["", "  "])
def test_a_change_says_what_it_is(owner, words):
    with pytest.raises(NotAllowedYet, match="what changed"):
        change(without(LIVE, "dry"), owner, words=words)


def test_a_change_of_nothing_is_none(owner):
    with pytest.raises(NotAllowedYet, match="Nothing on this list"):
        change(LIVE, owner)


def test_a_list_has_a_line(owner):
    with pytest.raises(NotAllowedYet, match="needs a line"):
        change(replace(LIVE, lines=()), owner)


# --- What gates rest on --------------------------------------------------------------------------------------

FIXED = [(each, line) for each in OURS.values() for line in each.lines if line.fixed]
every_fixed = pytest.mark.parametrize(
    ("listed", "line"), FIXED, ids=[f"{each.slug}-{line.key}" for each, line in FIXED]
)


def _taken_off(listed, key):
    """Without the line, and without what is measured from it."""
    lines = [line for line in listed.lines if line.key != key]
    loose = {"since": "", "drift_of": "", "drift": 0.0}
    return replace(
        listed, lines=tuple(replace(n, **loose) if key in (n.since, n.drift_of) else n for n in lines)
    )


@every_fixed
def test_a_line_that_a_gate_rests_on_stays(owner, listed, line):
    with pytest.raises(LineRefused, match="A gate rests on"):
        change(_taken_off(listed, line.key), owner)


@every_fixed
def test_a_line_that_a_gate_rests_on_asks_what_it_asks(owner, listed, line):
    turned = {"ask": Ask.LOOK, "unit": "", "sheet": "", "drift_of": ""}
    if line.ask is Ask.LOOK:
        turned = {"ask": Ask.READING, "unit": "V", "point": "Somewhere"}
    with pytest.raises(LineRefused, match="asks what it asks"):
        change(with_line(listed, line.key, **turned), owner)


@every_fixed
def test_a_line_that_a_gate_rests_on_may_not_be_left_out_more_than_before(owner, listed, line):
    with pytest.raises(LineRefused):
        change(with_line(listed, line.key, may_not_apply=not line.may_not_apply), owner)


@every_fixed
def test_a_line_that_a_gate_rests_on_cant_be_set_free(owner, listed, line):
    with pytest.raises(LineRefused):
        change(with_line(listed, line.key, fixed=False), owner)


def test_a_worksheet_that_a_gate_rests_on_stays_that_one(owner):
    with pytest.raises(LineRefused):
        change(with_line(OURS["after-repair"], "tested", sheet="supply"), owner)


def test_a_reading_under_power_stays_one(owner):
    with pytest.raises(LineRefused):
        change(with_line(SOAK, "start", powered=False), owner)


def test_what_a_wait_is_counted_from_stays(owner):
    with pytest.raises(LineRefused):
        change(with_line(SOAK, "end", since=""), owner)


@pytest.mark.parametrize(
    ("listed", "key", "stricter"),
    [
        (BEFORE_POWER, "discharged", {"at_most": 30.0}),
        (BEFORE_POWER, "discharged", {"at_most": 0.0}),
        (BEFORE_POWER, "discharged", {"at_least": 0.0}),
        (BEFORE_POWER, "discharged-again", {"wait": 300}),
        (BEFORE_POWER, "discharged", {"wait": 10}),
        (
            BEFORE_POWER,
            "discharged",
            {"text": "Bleed it, then measure.", "why": "", "source": "Our own rule"},
        ),
        (BEFORE_POWER, "discharged", {"point": "First can, discharged"}),
        (SOAK, "end", {"drift": 5.0}),
        (SOAK, "end", {"wait": 4 * 3600}),
        (SOAK, "start", {"at_most": 600.0}),
    ],
)
def test_a_limit_may_be_made_stricter(owner, listed, key, stricter):
    made = change(with_line(listed, key, **stricter), owner)
    line = listing.as_value(made).line(key)
    assert {name: getattr(line, name) for name in stricter} == stricter


@pytest.mark.parametrize(
    ("listed", "key", "looser", "field"),
    [
        (BEFORE_POWER, "discharged", {"at_most": 50.1}, "at_most"),
        (BEFORE_POWER, "discharged", {"at_most": 60.0}, "at_most"),
        (BEFORE_POWER, "discharged", {"at_most": None}, "at_most"),
        (BEFORE_POWER, "other-sections", {"at_most": 51.0}, "at_most"),
        (BEFORE_POWER, "discharged", {"at_least": -1000.0}, "at_least"),
        (BEFORE_POWER, "discharged-again", {"wait": 59}, "wait"),
        (BEFORE_POWER, "discharged-again", {"wait": 0}, "wait"),
        (SOAK, "end", {"drift": 10.1}, "drift"),
        (SOAK, "end", {"drift": 0.0}, "drift"),
        (SOAK, "end", {"wait": 3600}, "wait"),
        (OURS["soak-low"], "played", {"wait": 540}, "wait"),
    ],
)
def test_a_limit_is_never_made_looser(owner, listed, key, looser, field):
    with pytest.raises(LineRefused) as refused:
        change(with_line(listed, key, **looser), owner)
    assert (refused.value.key, refused.value.field) == (key, field)
    assert "A gate rests on this line" in str(refused.value)
    assert not ListVersion.objects.exists()


def test_a_limit_from_below_may_only_rise(owner, monkeypatch):
    """None of ours has one now: as a new release might bring it."""
    listed = with_line(SOAK, "start", at_least=300.0)
    monkeypatch.setitem(OURS, "soak", listed)
    with pytest.raises(LineRefused) as refused:
        change(with_line(listed, "start", at_least=290.0), owner)
    assert refused.value.field == "at_least"
    change(with_line(listed, "start", at_least=310.0), owner)


def test_what_was_made_stricter_may_come_back_to_ours_and_no_further(owner):
    change(with_line(BEFORE_POWER, "discharged", at_most=30.0), owner)
    with pytest.raises(LineRefused):
        change(with_line(BEFORE_POWER, "discharged", at_most=51.0), owner, seen=2)
    change(with_line(BEFORE_POWER, "discharged", at_most=45.0), owner, seen=2)
    assert change(BEFORE_POWER, owner, seen=3).number == 4


def test_looser_by_small_steps_is_looser(owner):
    change(with_line(SOAK, "end", drift=8.0), owner)
    change(with_line(SOAK, "end", drift=10.0), owner, seen=2)
    with pytest.raises(LineRefused):
        change(with_line(SOAK, "end", drift=10.5), owner, seen=3)


@pytest.mark.parametrize(
    "changed",
    [
        {"retired": True},
        {"stage": Stage.HANDLING},
        {"applies": frozenset({Has.CRT})},
        {"applies": frozenset()},
    ],
)
@pytest.mark.parametrize("slug", ["before-power", "after-repair", "soak"])
def test_a_list_that_a_gate_rests_on_stays_where_it_is(owner, slug, changed):
    with pytest.raises(NotAllowedYet, match="A gate rests on this list"):
        change(replace(OURS[slug], **changed), owner)


def test_one_of_ours_that_a_shop_made_a_gate_can_be_put_back(owner):
    change(replace(LIVE, stage=Stage.AFTER_REPAIR), owner)
    assert listing.current()["live"].may_be_retired
    assert change(LIVE, owner, seen=2).number == 3


def test_the_lines_that_gates_rest_on_stay_in_their_order(owner):
    lines = list(BEFORE_POWER.lines)
    lines[0], lines[1] = lines[1], lines[0]
    with pytest.raises(NotAllowedYet, match="their order"):
        change(replace(BEFORE_POWER, lines=tuple(lines)), owner)


def test_a_shop_cant_fix_lines_of_its_own(owner):
    with pytest.raises(NotAllowedYet):
        change(with_line(BEFORE_POWER, "fuse", fixed=True), owner)


def test_other_lines_may_be_added_moved_and_taken_off(owner):
    lines = [line for line in BEFORE_POWER.lines if line.key != "supply"]
    lines.insert(0, Line("mat", "Lay the mat down."))
    made = change(replace(BEFORE_POWER, lines=tuple(lines)), owner)
    assert [line.key for line in made.lines.all()] == [line.key for line in lines]


def test_what_no_gate_rests_on_may_be_looser(owner):
    assert change(with_line(FIRST, "heaters", at_most=7.5), owner).number == 2


# --- The shop's own lists ------------------------------------------------------------------------------------

OWN = Checklist(
    "van", "Loading the van", "", Stage.SOAK, (Line("straps", "Strap it."),), frozenset({Has.MAINS})
)


def test_a_list_of_the_shops_own_stands_beside_ours(owner):
    change(OWN, owner, seen=0)
    assert list(listing.current()) == [*OURS, "van"]
    assert not listing.current()["van"].is_ours


@pytest.mark.parametrize("stage", Stage)
def test_a_list_of_the_shops_own_goes_out_of_use_and_comes_back(owner, stage):
    own = replace(OWN, stage=stage)
    change(own, owner, seen=0)
    change(replace(own, retired=True), owner, seen=1)
    assert not listing.current()["van"].checklist.needed_by(frozenset({Has.MAINS}))
    with pytest.raises(NotAllowedYet):
        listing.written_down("van")
    change(own, owner, seen=2)
    assert listing.written_down("van").number == 3


def test_one_of_ours_that_no_gate_rests_on_may_go_out_of_use(owner):
    change(replace(OURS["mould"], retired=True), owner)
    assert listing.current()["mould"].checklist.retired


@pytest.mark.parametrize(
    ("name", "slug"),
    [
        ("Loading the van", "loading-the-van"),
        ("Live", "live-2"),
        ("New", "new-2"),
        ("火", "list"),
        ("É", "e"),
    ],
)
def test_a_new_list_gets_a_slug_of_its_own(shop, name, slug):
    assert listing.slug_for(name) == slug


def test_a_slug_that_a_list_had_once_isnt_given_again(owner):
    change(replace(OWN, slug="van-2"), owner, seen=0)
    change(OWN, owner, seen=0)
    assert listing.slug_for("Van") == "van-3"


# --- What changed, in words ----------------------------------------------------------------------------------


def said(was, now):
    return [(each.what, each.before, each.after) for each in changes(was, now)]


def test_nothing_changed_says_nothing():
    assert said(LIVE, LIVE) == []


@pytest.mark.parametrize(
    ("now", "expected"),
    [
        (replace(LIVE, name="Hot work"), [("Name", "Live work", "Hot work")]),
        (replace(LIVE, retired=True), [("In use", "in use", "out of use")]),
        (
            replace(LIVE, applies=frozenset({Has.VALVES, Has.CRT})),
            [("For which gear", "Gear with: a mains supply", "Gear with: valves; a picture tube")],
        ),
        (replace(LIVE, applies=frozenset()), [("For which gear", "Gear with: a mains supply", "All gear")]),
        (without(LIVE, "rested"), [("A line less", LIVE.line("rested").text, "")]),
        (
            replace(LIVE, lines=(*LIVE.lines, Line("mat", "Use the mat."))),
            [("A line more", "", "Use the mat.")],
        ),
        (
            replace(LIVE, lines=(*LIVE.lines[1:], LIVE.lines[0])),
            [(f"“{LIVE.lines[0].text}” stands elsewhere", "line 1", "line 10")],
        ),
        (
            with_line(LIVE, "dry", source="Our own rule"),
            [(f"“{LIVE.line('dry').text}”: source", "common practice, no source", "Our own rule")],
        ),
    ],
)
def test_a_change_is_said_in_words(now, expected):
    assert said(LIVE, now) == expected


def test_a_limit_and_a_wait_are_said_in_words():
    end = SOAK.line("end").text
    start = SOAK.line("start").text
    assert said(SOAK, with_line(SOAK, "end", drift=5.0, wait=4 * 3600)) == [
        (
            f"“{end}”: limit",
            f"within 10 % of the reading at the start (“{start}”)",
            f"within 5 % of the reading at the start (“{start}”)",
        ),
        (f"“{end}”: wait", f"Not before 2 h after “{start}”", f"Not before 4 h after “{start}”"),
    ]
    discharged = BEFORE_POWER.line("discharged").text
    assert said(BEFORE_POWER, with_line(BEFORE_POWER, "discharged", at_most=30.0)) == [
        (f"“{discharged}”: limit", "at most 50 V", "at most 30 V")
    ]


@pytest.mark.parametrize(("least", "most"), [(2.0, 1.0), (float("nan"), None), (None, float("inf"))])
def test_limits_that_nothing_keeps_to_are_refused(least, most):
    with pytest.raises(ValueError, match="no value keeps"):
        with_line(FIRST, "supply", at_least=least, at_most=most)
