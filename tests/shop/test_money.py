"""Money: the shop's totals against published rules, ISO 4217 for every currency, and what people type."""

from dataclasses import replace
from decimal import Decimal, localcontext

import iso4217
import pytest
from django.template import Context, Engine
from hypothesis import given
from hypothesis import strategies as st

from shop import money
from shop.money import (
    AmountError,
    Line,
    MoneyError,
    TaxShare,
    balance,
    change_from,
    format_amount,
    parse_amount,
    round_to,
    share_out,
    total,
)
from shop.templatetags import money as money_tags

D = Decimal
CURRENCIES = [c.code for c in iso4217.Currency if c.exponent is not None]
SALES = TaxShare("Sales tax", D("7.25"))
VAT = TaxShare("VAT", D(20))
LOW_VAT = TaxShare("VAT", D(5))
COUNTY = TaxShare("County tax", D("1.125"))

currencies = st.sampled_from(CURRENCIES)
prices = st.decimals(0, 100_000, places=3)
quantities = st.decimals(0, 200, places=2)
charges = st.builds(
    Line,
    text=st.just("x"),
    kind=st.sampled_from(["labour", "part", "fee"]),
    quantity=quantities,
    unit_price=prices,
    taxes=st.lists(st.sampled_from([SALES, VAT, LOW_VAT, COUNTY]), unique=True, max_size=3).map(tuple),
)
discounts = st.builds(
    Line, text=st.just("off"), kind=st.just("discount"), percent=st.decimals(0, 100, places=2)
)
bills = st.lists(charges | discounts, max_size=8)
ways = st.fixed_dictionaries(
    {"prices_include_tax": st.booleans(), "rounding": st.sampled_from(["line", "invoice"])}
)


def part(price: str, *taxes: TaxShare, quantity: str = "1") -> Line:
    return Line("part", "part", D(quantity), D(price), taxes)


# --- Rounding


@pytest.mark.parametrize(
    ("amount", "currency", "rounded", "source"),
    [
        ("1.39", "JPY", "1", "IRS, Form 1040 instructions, rounding off to whole dollars (from memory)"),
        ("2.50", "JPY", "3", "the same: 50 cents go to the next dollar"),
        ("0.125", "EUR", "0.13", "Regulation (EC) 1103/97, article 5: half-way goes up (from memory)"),
        ("0.12499", "EUR", "0.12", "the same"),
        ("-0.125", "EUR", "-0.13", "ours: a credit note mirrors its invoice"),
        ("2.675", "USD", "2.68", "Python's documentation of round(): floats get this wrong"),
        ("1.0005", "KWD", "1.001", "ISO 4217: three decimals"),
        ("0.00005", "CLF", "0.0001", "ISO 4217: four decimals"),
        ("-0.001", "USD", "0.00", "no negative nothing"),
    ],
)  # fmt: skip
def test_halves_are_rounded_up(amount, currency, rounded, source):
    assert str(round_to(D(amount), currency)) == rounded, source


@pytest.mark.parametrize("currency", CURRENCIES)
def test_every_currency_of_iso_4217_has_its_decimals(currency):
    places = iso4217.Currency(currency).exponent
    assert round_to(D(1), currency).as_tuple().exponent == -places
    assert round_to(D(5) / 10 ** (places + 1), currency) == D(1).scaleb(-places)


@pytest.mark.parametrize("code", ["XAU", "XXX", "XTS", "ABC", "", "usd dollars"])
def test_what_nobody_pays_in_is_refused(code):
    with pytest.raises(MoneyError):
        round_to(D(1), code)
    assert code not in dict(money.currencies())


def test_a_shop_chooses_among_the_currencies_that_people_pay_in():
    codes = dict(money.currencies())
    assert {"USD", "EUR", "JPY", "KWD"} <= set(codes)
    assert not {"CLF", "UYW"} & set(codes)


def test_rounding_does_not_depend_on_the_decimal_context():
    with localcontext(prec=3):
        assert round_to(D("123456.785"), "USD") == D("123456.79")


@pytest.mark.parametrize("not_money", [1.5, float("nan"), "1.5", None, True])
def test_floats_and_other_things_are_not_money(not_money):
    with pytest.raises(TypeError):
        round_to(not_money, "USD")
    with pytest.raises(TypeError):
        share_out(D(1), [not_money], "USD")
    with pytest.raises(TypeError):
        Line("x", "part", D(1), not_money)
    with pytest.raises(TypeError):
        Line("x", "part", not_money, D(1))
    with pytest.raises(TypeError):
        TaxShare("VAT", not_money)
    with pytest.raises(TypeError):
        balance(not_money, [D(1)])
    with pytest.raises(TypeError):
        balance(D(1), [not_money]) if not isinstance(not_money, bool) else balance(not_money, [])


@pytest.mark.parametrize("not_finite", ["NaN", "Infinity", "-Infinity", "sNaN"])
def test_what_is_not_finite_is_refused(not_finite):
    with pytest.raises(MoneyError):
        round_to(D(not_finite), "USD")


# --- Sharing out


def test_shares_go_by_largest_remainder():
    """The worked example of the largest remainder method in Wikipedia's article (Hare quota): ten seats."""
    votes = [47000, 16000, 15800, 12000, 6100, 3100]
    assert share_out(D(10), votes, "JPY") == (5, 2, 1, 1, 1, 0)


def test_a_tie_goes_to_the_earlier_share():
    assert share_out(D("1.00"), [1, 1, 1], "USD") == (D("0.34"), D("0.33"), D("0.33"))


@given(currencies, st.integers(-(10**8), 10**8), st.lists(prices, min_size=1, max_size=12))
def test_shares_add_up_exactly_and_stay_within_one_unit(currency, units, weights):
    unit = D(1).scaleb(-money.decimals(currency))
    amount = units * unit
    if not sum(weights):
        weights = [*weights, D(1)]
    shares = share_out(amount, weights, currency)
    assert sum(shares) == amount
    for share, weight in zip(shares, weights, strict=True):
        assert abs(share - amount * weight / sum(weights)) < unit


def test_what_can_not_be_shared_out_is_refused():
    with pytest.raises(MoneyError, match="nothing to share"):
        share_out(D(1), [0, 0], "USD")
    with pytest.raises(MoneyError, match="finer"):
        share_out(D("0.001"), [1], "USD")
    with pytest.raises(MoneyError, match="negative"):
        share_out(D(1), [2, -1], "USD")
    assert share_out(D(0), [0, 0], "USD") == (0, 0)
    assert share_out(D(0), [], "USD") == ()


# --- Totals


def test_a_bill_follows_the_formulas_of_en_16931():
    """EN 16931-1 (formulas from memory): BR-CO-10 sum of line nets, -17 category tax = base x rate, rounded
    to two decimals, -14 total tax = their sum, -15 gross = net + tax, -16 due = gross - paid."""
    bill = total(
        [
            part("33.33", VAT, quantity="3"),
            part("0.335", VAT),
            Line("work", "labour", D("1.75"), D("65.00"), (LOW_VAT,)),
        ],
        "EUR",
    )
    assert [entry.amount for entry in bill.lines] == [D("99.99"), D("0.34"), D("113.75")]
    assert bill.net == D("214.08")
    assert [(t.percent, t.base, t.tax) for t in bill.taxes] == [
        (5, D("113.75"), D("5.69")),  # 5.6875
        (20, D("100.33"), D("20.07")),  # 20.066
    ]
    assert bill.tax == D("25.76")
    assert bill.gross == D("239.84")
    assert balance(bill.gross, [D("100.00"), D("39.84")]) == D("100.00")


def test_rounding_by_line_and_by_invoice_differ_as_they_should():
    lines = [part("0.10", VAT, quantity="1")] * 3 + [part("0.13", VAT)] * 4
    by_line = total(lines, "EUR", rounding="line")
    by_invoice = total(lines, "EUR", rounding="invoice")
    assert by_line.tax == D("0.18")  # 3 x 0.02 + 4 x 0.03 (0.026)
    assert by_invoice.tax == D("0.16")  # 20 % of 0.82 = 0.164


def test_prices_that_include_tax_keep_their_gross():
    bill = total([part("9.99", VAT), part("9.99", VAT)], "GBP", prices_include_tax=True)
    assert bill.gross == D("19.98")
    assert bill.tax == D("3.33")  # 19.98 / 6
    assert total([part("9.99", VAT)] * 2, "GBP", prices_include_tax=True, rounding="line").tax == D("3.34")


def test_two_taxes_on_one_line_are_told_apart():
    bill = total([part("100.00", SALES, COUNTY)], "USD")
    assert [(t.name, t.base, t.tax) for t in bill.taxes] == [
        ("County tax", D(100), D("1.13")),
        ("Sales tax", D(100), D("7.25")),
    ]
    assert bill.gross == D("108.38")


def test_the_shop_of_the_demo_taxes_parts_and_not_labour():
    bill = total([Line("work", "labour", D(2), D(80)), part("44.00", SALES)], "USD")
    assert (bill.net, bill.tax, bill.gross) == (D(204), D("3.19"), D("207.19"))


def test_a_discount_lowers_each_rate_by_its_part():
    bill = total(
        [part("75.00", VAT), part("25.00", LOW_VAT), Line("friend", "discount", D(1), D("10.00"))], "EUR"
    )
    assert [(t.percent, t.base, t.tax) for t in bill.taxes] == [
        (5, D("22.50"), D("1.13")),  # 1.125
        (20, D("67.50"), D("13.50")),
    ]
    assert [entry.amount for entry in bill.lines] == [75, 25, -10]
    assert [entry.net for entry in bill.lines] == [D("67.50"), D("22.50"), 0]
    assert bill.net == 90


def test_discounts_are_taken_in_their_order():
    lines = [part("100.00"), Line("a", "discount", percent=D(10)), Line("b", "discount", percent=D(10))]
    assert [entry.amount for entry in total(lines, "USD").lines] == [100, -10, -9]


def test_a_full_discount_leaves_nothing_and_no_tax():
    lines = [part("0.13", VAT)] * 3 + [Line("gift", "discount", percent=D(100))]
    for include in (True, False):
        for rounding in ("line", "invoice"):
            bill = total(lines, "EUR", prices_include_tax=include, rounding=rounding)
            assert (bill.net, bill.tax, bill.gross) == (0, 0, 0)


@pytest.mark.parametrize(
    ("lines", "why"),
    [
        ([part("5.00"), Line("off", "discount", D(1), D("5.01"))], "more than there is"),
        ([Line("off", "discount", D(1), D("0.01"))], "more than there is"),
        ([part("1e6", quantity="1000")], "more than can be billed"),
        ([part("5e8")] * 2, "more than can be billed"),
    ],
)
def test_figures_that_make_no_bill_are_refused(lines, why):
    with pytest.raises(MoneyError, match=why):
        total(lines, "USD")


@pytest.mark.parametrize(
    "fields",
    [
        {"kind": "gift"},
        {"quantity": D(-1)},
        {"unit_price": D("-0.01")},
        {"percent": D(10)},
        {"taxes": (VAT, VAT)},
        {"kind": "discount", "percent": D(101)},
        {"kind": "discount", "percent": D(-1)},
        {"kind": "discount", "taxes": (VAT,)},
    ],
)
def test_lines_that_mean_nothing_are_refused(fields):
    with pytest.raises(MoneyError):
        Line(**{"text": "x", "kind": "part", **fields})


def test_an_unknown_way_of_rounding_is_refused():
    with pytest.raises(MoneyError):
        total([], "USD", rounding="weekly")


def test_a_bill_without_lines_is_nothing():
    assert total([], "USD").gross == 0


@given(bills, currencies, ways)
def test_every_bill_adds_up(lines, currency, way):
    bill = total(lines, currency, **way)
    unit = D(1).scaleb(-money.decimals(currency))
    assert sum(entry.net for entry in bill.lines) == bill.net
    assert sum(entry.gross for entry in bill.lines) == bill.gross
    assert sum(entry.tax for entry in bill.lines) == bill.tax == sum(t.tax for t in bill.taxes)
    assert bill.net + bill.tax == bill.gross
    assert sum(entry.amount for entry in bill.lines) == (
        bill.gross if way["prices_include_tax"] else bill.net
    )
    for entry in bill.lines:
        assert entry.net + entry.tax == entry.gross
        assert entry.net >= 0 and entry.tax >= 0
    for amount in (bill.net, bill.gross, *(t.tax for t in bill.taxes), *(e.amount for e in bill.lines)):
        assert amount % unit == 0 and amount.as_tuple().exponent == -money.decimals(currency)


@given(bills, currencies)
def test_by_invoice_each_tax_is_within_half_a_unit_of_its_rate(lines, currency):
    unit = D(1).scaleb(-money.decimals(currency))
    for tax in total(lines, currency, rounding="invoice").taxes:
        assert abs(tax.tax - tax.base * tax.percent / 100) <= unit / 2


@given(bills, currencies)
def test_both_ways_of_rounding_agree_to_half_a_unit_a_line_and_tax(lines, currency):
    unit = D(1).scaleb(-money.decimals(currency))
    by_line, by_invoice = (total(lines, currency, rounding=way) for way in ("line", "invoice"))
    assert by_line.net == by_invoice.net
    assert abs(by_line.tax - by_invoice.tax) <= unit / 2 * (3 * len(lines) + 4)


@given(st.lists(charges, max_size=6), currencies)
def test_adding_tax_and_taking_it_out_again_comes_back(lines, currency):
    """A gross price holds the tax that was put on its net, to a unit."""
    unit = D(1).scaleb(-money.decimals(currency))
    for line in lines:
        line = replace(line, quantity=D(1), unit_price=round_to(line.unit_price, currency))
        without = total([line], currency)
        within = total([replace(line, unit_price=without.gross)], currency, prices_include_tax=True)
        assert abs(within.net - without.net) <= 2 * unit


@given(
    st.permutations(
        [part("0.10", VAT), part("9.99", SALES, COUNTY), part("0.13", LOW_VAT), part("4.444", SALES)]
    )
)
def test_the_order_of_the_lines_does_not_change_the_sum(lines):
    first = total(sorted(lines, key=lambda line: line.unit_price), "USD")
    assert (total(lines, "USD").gross, total(lines, "USD").taxes) == (first.gross, first.taxes)


# --- Payments


def test_a_payment_too_many_is_owed_by_the_shop():
    assert balance(D("80.00"), [D("50.00"), D("40.00")]) == D("-10.00")


@pytest.mark.parametrize(
    ("cash", "due", "back"), [("100", "79.35", "20.65"), ("80", "80", "0"), ("50", "80", "0")]
)
def test_change_is_handed_back_from_cash(cash, due, back):
    assert change_from(D(cash), D(due)) == D(back)


# --- What people type


@pytest.mark.parametrize(
    ("typed", "currency", "amount"),
    [
        ("12", "USD", "12.00"),
        ("12.5", "USD", "12.50"),
        ("12,50", "EUR", "12.50"),
        ("0,05", "EUR", "0.05"),
        (".5", "USD", "0.50"),
        ("$12.50", "USD", "12.50"),
        ("$ 12.50", "CAD", "12.50"),
        ("CA$12.50", "CAD", "12.50"),
        ("12,50 €", "EUR", "12.50"),
        ("EUR 12,50", "EUR", "12.50"),
        ("12.50 usd", "USD", "12.50"),
        ("1,234.50", "USD", "1234.50"),
        ("1.234,50", "EUR", "1234.50"),
        ("1 234,50", "EUR", "1234.50"),
        ("1\u202f234,50", "EUR", "1234.50"),
        ("1’234.50", "CHF", "1234.50"),
        ("1'234", "CHF", "1234.00"),
        ("1,234,567", "USD", "1234567.00"),
        ("1.234.567", "EUR", "1234567.00"),
        ("12,34,567.50", "INR", "1234567.50"),
        ("1,234", "JPY", "1234"),
        ("1.250", "KWD", "1.250"),
        ("1,250", "TND", "1.250"),
        ("1,234.500", "BHD", "1234.500"),
        ("  007 ", "USD", "7.00"),
    ],
)
def test_amounts_are_read_as_people_write_them(typed, currency, amount):
    assert str(parse_amount(typed, currency)) == amount


@pytest.mark.parametrize(
    ("typed", "currency", "why"),
    [
        ("", "USD", "Write an amount"),
        ("$", "USD", "Write an amount"),
        ("1,234", "USD", "Write 1234, or 1.23"),
        ("12.345", "EUR", "Write 12345, or 12.34"),
        ("0.125", "USD", "USD has 2 decimals"),
        ("1234.567", "USD", "USD has 2 decimals"),
        ("12.5", "JPY", "JPY has no decimals"),
        ("12.", "USD", "missing after"),
        (".", "USD", "missing after"),
        ("-5", "USD", "without a minus"),
        ("−5", "USD", "without a minus"),
        ("€5", "USD", "is not an amount"),
        ("5 bucks", "USD", "is not an amount"),
        ("1e5", "USD", "is not an amount"),
        ("NaN", "USD", "is not an amount"),
        ("Infinity", "USD", "is not an amount"),
        ("٣٤", "USD", "is not an amount"),
        ("1 2", "USD", "is not an amount"),
        ("1,23,45", "USD", "is not an amount"),
        ("1,234,56", "USD", "is not an amount"),
        ("1.234,567.5", "USD", "is not an amount"),
        ("1,234.5,6", "USD", "is not an amount"),
        ("12..5", "USD", "is not an amount"),
        ("9" * 10, "USD", "more money"),
        ("9" * 41, "USD", "too long"),
        ("1_000", "USD", "is not an amount"),
    ],
)
def test_what_is_not_an_amount_is_refused_with_a_reason(typed, currency, why):
    with pytest.raises(AmountError, match=why):
        parse_amount(typed, currency)


@given(st.text(max_size=50), currencies)
def test_any_text_is_an_amount_or_refused(text, currency):
    try:
        amount = parse_amount(text, currency)
    except AmountError as reason:
        assert str(reason).endswith(".")
    else:
        assert 0 <= amount < money.LARGEST and amount == round_to(amount, currency)


@given(st.text("0123456789.,' $-", max_size=14), currencies)
def test_texts_that_look_like_amounts_lose_no_digit(text, currency):
    try:
        amount = parse_amount(text, currency)
    except AmountError:
        return
    typed = "".join(character for character in text if character.isdigit()).strip("0")
    assert "".join(map(str, amount.as_tuple().digits)).strip("0") == typed


@given(currencies, st.integers(0, 10**9 - 1))  # LARGEST, in a currency without decimals, is refused
def test_what_is_shown_reads_back(currency, units):
    amount = D(units).scaleb(-money.decimals(currency))
    assert parse_amount(format_amount(amount, currency), currency) == amount


# --- What people see


@pytest.mark.parametrize(
    ("amount", "currency", "locale", "shown"),
    [
        ("1234.5", "USD", "en", "$1,234.50"),
        ("-5", "USD", "en", "-$5.00"),
        ("1234.5", "EUR", "de_DE", "1.234,50\u00a0€"),
        ("1234", "JPY", "en", "¥1,234"),
        ("1.25", "KWD", "en", "KWD\u00a01.250"),
        ("1234.5", "CHF", "en", "CHF\u00a01,234.50"),
        ("0", "USD", "en", "$0.00"),
        ("5", "IQD", "en", "IQD\u00a05.000"),  # CLDR shows none, ISO 4217 has three
    ],
)
def test_amounts_are_shown_with_their_sign_and_iso_decimals(amount, currency, locale, shown):
    assert format_amount(D(amount), currency, locale) == shown


def render(source: str, **context: object) -> str:
    return (
        Engine(libraries={"money": "shop.templatetags.money"})
        .from_string("{% load money %}" + source)
        .render(Context(context))
    )


def test_a_template_shows_money_in_the_shops_currency():
    class Place:
        currency = "EUR"

    assert render("{% money amount %}", amount=D("5"), shop=Place()) == "€5.00"


def test_a_template_shows_money_in_a_named_currency():
    assert render('{{ amount|money:"JPY" }}', amount=D("5")) == "¥5"


def test_a_template_shows_nothing_for_no_amount():
    assert render('{{ amount|money:"JPY" }}', amount=None) == ""


@pytest.mark.parametrize(
    ("value", "shown"), [("10.00", "10 %"), ("7.25", "7.25 %"), ("100", "100 %"), ("0.50", "0.5 %")]
)
def test_a_discount_in_per_cent_is_shown_as_people_write_it(value, shown):
    assert money_tags.percent(D(value)) == shown
