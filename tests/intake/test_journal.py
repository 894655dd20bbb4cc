"""The journal: debits equal credits, whatever happened; what it says of customers is what their accounts come to.

That every transaction is entered twice, as debit and as credit of the same sum, is what double entry means
(Pacioli, Summa de arithmetica, 1494; from memory). The examples are worked by hand.
"""

import datetime as dt
from collections import defaultdict
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intake import billing, journal
from intake.journal import Account, Counted, Item, Paid, Paper
from shop import money

D = Decimal
DAY = dt.date(2026, 11, 25)


def moment(day):
    return dt.datetime.combine(day, dt.time(12), dt.UTC)


def paper(gross, *, day=DAY, account="job", number="INV-00001", **more):
    return Paper(account, day, moment(day), number, "Dana Whitlow", D(gross), "USD", **more)


def paid(amount, *, day=DAY, account="job", method="cash", number="Payment 1", kind="payment"):
    return Paid(account, day, moment(day), number, "Dana Whitlow", D(amount), method, kind)


def said(documents):
    return [(e.account, e.debit, e.credit) for e in journal.journal(documents)]


def balances(entries):
    found = defaultdict(D)
    for entry in entries:
        found[entry.account] += entry.debit - entry.credit
    return found


# --- by hand


def test_an_invoice_with_tax_and_a_discount():
    items = (Item("labour", D(100)), Item("part", D(50)), Item("discount", D(-15)))
    assert said([paper("138.26", taxes=(("Sales tax", D("3.26")),), items=items)]) == [
        (Account.DISCOUNTS, D(15), D(0)),
        (Account.OWED, D("138.26"), D(0)),
        (Account.LABOUR, D(0), D(100)),
        (Account.PARTS, D(0), D(50)),
        ("Tax: Sales tax", D(0), D("3.26")),
    ]


def test_a_deposit_is_held_until_the_invoice_uses_it_up():
    before = DAY - dt.timedelta(days=9)
    documents = [
        paper("100", items=(Item("fee", D(100)),)),
        paid("40", day=before),
        paid("60", method="card", number="P 2"),
    ]
    documents[2] = Paid("job", DAY, moment(DAY) + dt.timedelta(hours=1), "P 2", "", D(60), "card")
    assert said(documents) == [
        (Account.TILL, D(40), D(0)),
        (Account.HELD, D(0), D(40)),
        (Account.OWED, D(100), D(0)),
        (Account.FEES, D(0), D(100)),
        (Account.HELD, D(40), D(0)),
        (Account.OWED, D(0), D(40)),
        (Account.CARD, D(60), D(0)),
        (Account.OWED, D(0), D(60)),
    ]


def test_a_credit_note_on_a_paid_invoice_is_held_until_it_is_given_back():
    days = [DAY + dt.timedelta(days=n) for n in range(4)]
    items = (Item("part", D(30)),)
    documents = [
        paper("30", day=days[0], items=items),
        paid("30", day=days[1], method="transfer"),
        paper("10", day=days[2], number="CRN-00001", items=(Item("part", D(10)),), is_credit=True),
        paid("-10", day=days[3], number="Payment 2"),
    ]
    assert said(documents)[4:] == [
        (Account.PARTS, D(10), D(0)),
        (Account.HELD, D(0), D(10)),
        (Account.HELD, D(10), D(0)),
        (Account.TILL, D(0), D(10)),
    ]
    assert balances(journal.journal(documents))[Account.OWED] == 0


def test_a_write_off_moves_no_money():
    later = DAY + dt.timedelta(days=200)
    assert said(
        [paper("30", items=(Item("part", D(30)),)), paid("30", day=later, method="none", kind="write-off")]
    )[2:] == [
        (Account.WRITTEN_OFF, D(30), D(0)),
        (Account.OWED, D(0), D(30)),
    ]


def test_what_was_written_off_and_comes_after_all_is_taken_off_it_before_anything_is_held():
    days = [DAY + dt.timedelta(days=n) for n in range(3)]
    documents = [
        paper("30", day=days[0], items=(Item("part", D(30)),)),
        paid("20", day=days[1], method="none", kind="write-off"),
        paid("35", day=days[2], number="Payment 2"),
    ]
    assert said(documents)[4:] == [
        (Account.TILL, D(35), D(0)),
        (Account.OWED, D(0), D(10)),
        (Account.HELD, D(0), D(5)),
        (Account.WRITTEN_OFF, D(0), D(20)),
    ]


def test_a_sale_of_gear_left_behind_pays_the_bill_and_the_rest_is_held_until_it_is_given_back():
    """By hand: 338.03 is open; sold for 500, which cost 30; 500 - 338.03 - 30 = 131.97 is its owner's."""
    hours = [moment(DAY) + dt.timedelta(hours=n) for n in range(4)]
    documents = [
        paper("338.03", items=(Item("labour", D("218.03")), Item("fee", D(120)))),
        Paid("job", DAY, hours[1], "Payment 1", "Dana Whitlow", D(500), "cash", "sale"),
        Paid("job", DAY, hours[2], "Payment 2", "Dana Whitlow", D(-30), "cash", "costs"),
        Paid("job", DAY, hours[3], "Payment 3", "Dana Whitlow", D("-131.97"), "cheque", "refund"),
    ]
    assert said(documents)[3:] == [
        (Account.TILL, D(500), D(0)),
        (Account.OWED, D(0), D("338.03")),
        (Account.HELD, D(0), D("161.97")),
        (Account.HELD, D(30), D(0)),
        (Account.TILL, D(0), D(30)),
        (Account.HELD, D("131.97"), D(0)),
        (Account.CHEQUES, D(0), D("131.97")),
    ]
    assert [e.text for e in journal.journal(documents)][3] == "Sale of gear left behind, Dana Whitlow"


def test_a_sale_that_brings_less_than_is_open_leaves_the_rest_owed():
    later = DAY + dt.timedelta(days=1)
    documents = [
        paper("100", items=(Item("fee", D(100)),)),
        paid("50", day=later, method="transfer", kind="sale"),
        paid("-10", day=later, method="cash", number="Payment 2", kind="costs"),
    ]
    assert said(documents)[2:] == [
        (Account.BANK, D(50), D(0)),
        (Account.OWED, D(0), D(50)),
        (Account.OWED, D(10), D(0)),
        (Account.TILL, D(0), D(10)),
    ]


def test_gear_kept_for_parts_at_a_value_moves_no_money():
    documents = [
        paper("100", items=(Item("fee", D(100)),)),
        paid("120", day=DAY + dt.timedelta(days=1), method="none", kind="kept"),
    ]
    assert said(documents)[2:] == [
        (Account.KEPT, D(120), D(0)),
        (Account.OWED, D(0), D(100)),
        (Account.HELD, D(0), D(20)),
    ]


@pytest.mark.parametrize("difference, till", [("-5", (D(0), D(5))), ("2", (D(2), D(0)))])
def test_a_till_that_differs_has_an_account_for_it(difference, till):
    entries = journal.journal([Counted(DAY, moment(DAY), "Till 2026-11-25", D(difference))])
    assert [(e.debit, e.credit) for e in entries if e.account == Account.TILL] == [till]
    assert len(entries) == 2
    assert journal.journal([Counted(DAY, moment(DAY), "Till 2026-11-25", D(0))]) == []


def test_an_invoice_over_nothing_has_no_entries():
    assert journal.journal([paper("0")]) == []


# --- any books

KINDS = st.sampled_from(["labour", "part", "fee"])
RATES = [money.TaxShare("Sales tax", D("7.25")), money.TaxShare("City tax", D("2"))]
CURRENCIES = {"JPY": 0, "USD": 2, "KWD": 3}


@st.composite
def bills(draw):
    """A bill as shop.money adds it up, so that what is invoiced is what the shop would invoice."""
    currency = draw(st.sampled_from(sorted(CURRENCIES)))
    amounts = st.decimals(0, 900, places=CURRENCIES[currency])
    lines = [
        money.Line(
            "x",
            draw(KINDS),
            D(draw(st.integers(1, 3))),
            draw(amounts),
            tuple(draw(st.sets(st.sampled_from(RATES)))),
        )
        for _ in range(draw(st.integers(0, 4)))
    ]
    if lines and draw(st.booleans()):
        lines.append(money.Line("off", "discount", percent=D(draw(st.integers(0, 100)))))
    includes = draw(st.booleans())
    rounding = draw(st.sampled_from(["line", "invoice"]))
    totals = money.total(lines, currency, prices_include_tax=includes, rounding=rounding)
    kept = draw(st.booleans())
    return {
        "gross": totals.gross,
        "currency": currency,
        "prices_include_tax": includes,
        "taxes": tuple((tax.name, tax.tax) for tax in totals.taxes),
        "items": tuple(
            Item(s.line.kind, s.amount, tuple(str(t.percent) for t in s.line.taxes), s.net if kept else None)
            for s in totals.lines
        ),
    }


@st.composite
def documents(draw):
    number = draw(st.integers(1, 10**6))
    day = DAY + dt.timedelta(days=draw(st.integers(0, 20)))
    account = draw(st.integers(1, 3))
    if draw(st.booleans()):
        is_credit = draw(st.booleans())
        return Paper(account, day, moment(day), f"INV-{number}", "", is_credit=is_credit, **draw(bills()))
    amount = draw(st.decimals("0.01", 900, places=2))
    kind = draw(st.sampled_from(sorted(journal.TEXTS)))
    return Paid(
        account, day, moment(day), f"Payment {number}", "", -amount if kind in ("refund", "costs") else amount,
        "none" if kind in ("write-off", "kept") else draw(st.sampled_from(sorted(journal.BY_METHOD))), kind,
    )  # fmt: skip


BOOKS = st.lists(documents(), max_size=14, unique_by=lambda d: d.number)


@given(BOOKS)
def test_debits_equal_credits_in_every_document_and_together(books):
    entries = journal.journal(books)
    by_document = defaultdict(list)
    for entry in entries:
        by_document[entry.document].append(entry)
        assert (entry.debit > 0) != (entry.credit > 0)
        assert entry.debit >= 0 and entry.credit >= 0
    for each in by_document.values():
        debit, credit = journal.totals(each)
        assert debit == credit
    assert len({*journal.totals(entries)}) == 1


@given(BOOKS)
def test_what_is_owed_and_what_is_held_is_what_the_pages_say_of_the_accounts(books):
    sums = defaultdict(lambda: {"invoiced": D(0), "credited": D(0), "paid": D(0), "written_off": D(0)})
    for document in books:
        if isinstance(document, Paid):
            side = "written_off" if document.kind == "write-off" else "paid"
            sums[document.account][side] += document.amount
        else:
            sums[document.account]["credited" if document.is_credit else "invoiced"] += document.gross
    accounts = [billing.Account(**each) for each in sums.values()]
    found = balances(journal.journal(books))
    assert found[Account.OWED] == sum((account.owed for account in accounts), D(0))
    assert found[Account.HELD] == -sum((account.in_hand for account in accounts), D(0))


@given(BOOKS, st.integers(0, 21))
def test_a_later_time_needs_no_more_of_what_came_before_it_than_where_its_accounts_stood(books, days):
    """What came before is summed up as the report sums it up: in no order."""
    first = DAY + dt.timedelta(days=days)
    opening = {}
    for document in books:
        if document.day < first:
            before = opening.get(document.account, journal.Standing())
            opening[document.account] = before.with_(document)
    later = [document for document in books if document.day >= first]
    whole = [entry for entry in journal.journal(books) if entry.day >= first]
    assert journal.journal(later, opening) == whole


@given(BOOKS, st.randoms())
def test_the_journal_doesn_t_depend_on_the_order_of_the_rows(books, dice):
    shuffled = list(books)
    dice.shuffle(shuffled)
    assert journal.journal(shuffled) == journal.journal(books)


@given(bills())
def test_what_is_sold_and_its_taxes_are_the_invoice(bill):
    one = Paper(account=1, day=DAY, at=moment(DAY), number="INV-1", who="", **bill)
    sold = journal.sales(one)
    assert sum(sold.values(), D(0)) + sum((t for _, t in one.taxes), D(0)) == one.gross
    assert Account.OTHER not in sold
    assert all(amount > 0 or account == Account.DISCOUNTS for account, amount in sold.items())


@given(bills())
def test_a_credit_note_over_all_of_an_invoice_is_its_mirror(bill):
    first = Paper(account=1, day=DAY, at=moment(DAY), number="INV-1", who="", **bill)
    later = DAY + dt.timedelta(days=1)
    note = Paper(account=1, day=later, at=moment(later), number="CRN-1", who="", is_credit=True, **bill)
    left = {a: b for a, b in balances(journal.journal([first, note])).items() if b}
    sold = {str(a) for a in (Account.LABOUR, Account.PARTS, Account.FEES, Account.DISCOUNTS)}
    assert set(left) <= sold  # where discounts were shared out, they come off the kinds they were on
    assert sum(left.values(), D(0)) == 0
