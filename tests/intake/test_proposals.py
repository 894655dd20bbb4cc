"""What a proposal comes to with its options, and what changed from one to the next. Pure: no shop, no database."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.proposals import Item, Prices, changes, options, rest, total
from shop.money import MoneyError, TaxShare

TAX = TaxShare("Sales tax", Decimal("7.25"))
PRICES = Prices("USD")
LABOUR = Item("labour", "Filter capacitors", Decimal("1.5"), Decimal("80"), "h", key=1)
TUBES = Item("part", "6L6GC, matched pair", Decimal(1), Decimal("78.40"), taxes=(TAX,), key=2)
RECONE = Item("part", "Recone kit, 12 in", Decimal(1), Decimal("52"), optional=True, taxes=(TAX,), key=3)
RUSH = Item("fee", "Rush", Decimal(1), Decimal("20"), optional=True, key=4)
REGULAR = Item("discount", "Regular", Decimal(1), Decimal(0), percent=Decimal(10), key=5)


# --- Options ---------------------------------------------------------------------------------------------


def test_what_is_fixed_comes_to_its_own_total():
    # 120.00 + 78.40 + 7.25 % of 78.40 (5.684 -> 5.68)
    assert total([LABOUR, TUBES, RECONE, RUSH], PRICES).gross == Decimal("204.08")


def test_an_option_adds_its_price_and_its_tax():
    # 52.00 more: tax on 130.40 is 9.454 -> 9.45 in place of 5.68, so 55.77 more
    added = options([LABOUR, TUBES, RECONE, RUSH], PRICES)
    assert [(o.item.text, o.adds) for o in added] == [
        ("Recone kit, 12 in", Decimal("55.77")),
        ("Rush", Decimal("20.00")),
    ]


@pytest.mark.parametrize(
    ("taken", "gross"),
    [((), "204.08"), ((3,), "259.85"), ((4,), "224.08"), ((3, 4), "279.85"), ((3, 99), "259.85")],
)
def test_what_is_taken_is_added_up_once(taken, gross):
    assert total([LABOUR, TUBES, RECONE, RUSH], PRICES, taken).gross == Decimal(gross)


def test_a_discount_in_per_cent_is_for_options_too():
    # without: 10 % off 120.00 = 108.00; with the fee of 20.00: 10 % off 140.00 = 126.00
    assert total([LABOUR, RUSH, REGULAR], PRICES).gross == Decimal("108.00")
    assert [o.adds for o in options([LABOUR, RUSH, REGULAR], PRICES)] == [Decimal("18.00")]


def test_with_prices_that_include_tax_an_option_adds_its_price():
    inside = Prices("EUR", include_tax=True)
    assert [o.adds for o in options([TUBES, RECONE], inside)] == [Decimal("52.00")]


def test_a_discount_beyond_the_fixed_lines_makes_no_proposal():
    off = Item("discount", "Friend", Decimal(1), Decimal(200))
    with pytest.raises(MoneyError, match="more than there is"):
        total([LABOUR, RECONE, off], PRICES)


# --- What changed ----------------------------------------------------------------------------------------

DEARER = replace(TUBES, unit_price=Decimal("92.00"))
MORE = replace(LABOUR, quantity=Decimal(2))
RENAMED = replace(LABOUR, text="Filter and bias capacitors")
FIXED = replace(RECONE, optional=False)


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ([], [], []),
        ([LABOUR, TUBES], [LABOUR, TUBES], []),
        ([LABOUR, TUBES], [TUBES, LABOUR], []),
        (
            [LABOUR],
            [replace(LABOUR, key=77, taxes=(TAX,))],
            [],
        ),  # neither its row nor its tax is what it says
        ([LABOUR], [LABOUR, TUBES], [(None, TUBES, ())]),
        ([LABOUR, TUBES], [LABOUR], [(TUBES, None, ())]),
        ([LABOUR, TUBES], [LABOUR, DEARER], [(TUBES, DEARER, ("unit_price",))]),
        ([LABOUR], [MORE], [(LABOUR, MORE, ("quantity",))]),
        ([LABOUR], [RENAMED], [(LABOUR, RENAMED, ("text",))]),
        ([RECONE], [FIXED], [(RECONE, FIXED, ("optional",))]),
        (
            [REGULAR],
            [replace(REGULAR, percent=Decimal(5))],
            [(REGULAR, replace(REGULAR, percent=Decimal(5)), ("percent",))],
        ),
        ([LABOUR, TUBES], [RUSH], [(None, RUSH, ()), (LABOUR, None, ()), (TUBES, None, ())]),
        ([TUBES], [TUBES, TUBES], [(None, TUBES, ())]),
        ([TUBES, DEARER], [DEARER], [(TUBES, None, ())]),
        # the same words as another kind of line are another line
        (
            [LABOUR],
            [replace(LABOUR, kind="part")],
            [(None, replace(LABOUR, kind="part"), ()), (LABOUR, None, ())],
        ),
    ],
)
def test_what_changed_is_said(before, after, said):
    assert [(c.before, c.after, c.fields) for c in changes(before, after)] == said


_items = st.lists(
    st.builds(
        Item,
        kind=st.sampled_from(["labour", "part", "fee"]),
        text=st.sampled_from(["Tubes", "Capacitors", "Rush", "tubes"]),
        quantity=st.sampled_from([Decimal(1), Decimal(2)]),
        unit_price=st.sampled_from([Decimal(10), Decimal(20), Decimal("0.5")]),
        optional=st.booleans(),
    ),
    max_size=6,
)


@given(_items)
@settings(max_examples=100)
def test_nothing_changed_when_it_says_the_same(items):
    assert changes(items, list(reversed(items))) == []


@given(_items, _items)
@settings(max_examples=200)
def test_from_what_changed_the_new_one_can_be_made_out_of_the_old_one(before, after):
    """No line is lost, and none is said twice: taking off what went and adding what came gives the new one."""
    left = [item.says for item in before]
    for change in changes(before, after):
        if change.before is not None:
            left.remove(change.before.says)
        if change.after is not None:
            left.append(change.after.says)
    assert sorted(left, key=repr) == sorted((item.says for item in after), key=repr)


@given(_items, _items)
@settings(max_examples=100)
def test_a_line_that_came_one_way_goes_the_other_way(before, after):
    there, back = changes(before, after), changes(after, before)
    assert sum(c.before is None for c in there) == sum(c.after is None for c in back)
    assert sum(c.after is None for c in there) == sum(c.before is None for c in back)


# --- What of it is charged ---------------------------------------------------------------------------------

FOUR = replace(TUBES, quantity=Decimal(4))


def by_hand(item: Item, key: int = -1, **change: object) -> Item:
    return replace(item, key=key, **change)


@pytest.mark.parametrize(
    ("charged", "left"),
    [
        ([], [LABOUR, FOUR, REGULAR]),
        ([LABOUR], [FOUR, REGULAR]),
        ([LABOUR, FOUR, REGULAR], []),
        # what was made from a line answers for it, whatever somebody made of it since
        ([replace(FOUR, quantity=Decimal(1), text="Tubes", unit_price=Decimal(5))], [LABOUR, REGULAR]),
        # by hand: the same words, in whatever case and spacing
        ([by_hand(LABOUR, text="filter  CAPACITORS")], [FOUR, REGULAR]),
        ([by_hand(REGULAR)], [LABOUR, FOUR]),
        # by hand and not all of it: the rest
        ([by_hand(FOUR, quantity=Decimal(1))], [LABOUR, replace(FOUR, quantity=Decimal(3)), REGULAR]),
        (
            [by_hand(FOUR, quantity=Decimal(1)), by_hand(FOUR, -2, quantity=Decimal(2))],
            [LABOUR, replace(FOUR, quantity=Decimal(1)), REGULAR],
        ),
        ([by_hand(FOUR, quantity=Decimal(5))], [LABOUR, REGULAR]),
        # at another price it is charged all the same
        ([by_hand(FOUR, unit_price=Decimal(70))], [LABOUR, REGULAR]),
        ([by_hand(REGULAR, percent=Decimal(5))], [LABOUR, FOUR]),
        # of another kind, or in other words, it is something else
        ([by_hand(FOUR, kind="labour")], [LABOUR, FOUR, REGULAR]),
        ([by_hand(FOUR, text="6L6GC")], [LABOUR, FOUR, REGULAR]),
    ],
)
def test_what_is_left_to_charge_is_the_rest(charged, left):
    assert list(rest([LABOUR, FOUR, REGULAR], charged).items) == left


def test_lines_that_say_the_same_count_together():
    again = replace(FOUR, key=9)
    assert rest([FOUR, again], [by_hand(FOUR)]).items == (FOUR,)
    assert rest([FOUR, again], [by_hand(FOUR, quantity=Decimal(5))]).items == (
        replace(FOUR, quantity=Decimal(3)),
    )
    assert (
        rest([FOUR, again], [by_hand(FOUR, quantity=Decimal(5)), replace(FOUR, quantity=Decimal(3))]).items
        == ()
    )


def test_what_the_proposal_doesnt_name_is_told_apart():
    timed = by_hand(LABOUR, text="Labour")
    assert rest([LABOUR, FOUR], [by_hand(FOUR, -2), timed]).others == (timed,)


@given(_items, st.data())
@settings(max_examples=200)
def test_charged_in_whatever_order_it_is_all_charged_once(items, data):
    """From the proposal or by hand, whole lines or parts of them: in the end there is what was agreed, no more."""

    def many(lines):
        found = {}
        for line in lines:
            key = (line.kind, line.text.casefold(), line.unit_price)
            found[key] = found.get(key, 0) + line.quantity
        return found

    agreed = [replace(item, key=n) for n, item in enumerate(items, start=1)]
    charged: list[Item] = []
    while left := rest(agreed, charged).items:
        line = data.draw(st.sampled_from(left))
        some = data.draw(st.sampled_from([line.quantity, min(line.quantity, Decimal("0.5"))]))
        made, own = line, replace(line, key=-1 - len(charged), quantity=some)
        charged.append(data.draw(st.sampled_from([made, own])))
    assert many(charged) == many(agreed)
