"""Money: reading what people type, showing it, and the one place where totals and tax are worked out.

An amount is a Decimal in the shop's own currency; how many decimals it has is ISO 4217's business. Floats are
refused everywhere. Whatever is not exact is worked out in whole fractions and rounded once, half up and
away from zero, so that a credit note is the mirror of its invoice and no thread's decimal context matters.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction
from functools import cache
from typing import Literal

import iso4217
from babel import Locale
from babel.numbers import get_currency_symbol, parse_pattern

LARGEST = Decimal(10) ** 9  # no bill reaches it: what the database can hold, in any currency

Kind = Literal["labour", "part", "fee", "discount"]
KINDS: tuple[Kind, ...] = ("labour", "part", "fee", "discount")


class MoneyError(ValueError):
    """These figures don't make a bill; the message says why."""


class AmountError(ValueError):
    """What was typed is not an amount of money; the message says how to write it."""


# --- Currencies and rounding


@cache
def decimals(currency: str) -> int:
    """Return how many decimals a currency has (ISO 4217's minor unit exponent): USD 2, JPY 0, KWD 3.

    Raises `MoneyError` where ISO 4217 has no such currency, or one that nobody pays in (gold, test codes).
    """
    try:
        exponent = iso4217.Currency(currency).exponent
    except ValueError:
        exponent = None
    if exponent is None:
        raise MoneyError(f"{currency[:10]!r} is not the code of a currency, e.g. EUR.")
    return exponent


def currencies() -> list[tuple[str, str]]:
    """Return code and name of every currency that a shop can choose, by code.

    Those with four decimals are left out: nobody pays in them, they are units of account.
    """
    known = {c.code: c.currency_name for c in iso4217.Currency if c.exponent is not None and c.exponent <= 3}
    return sorted(known.items())


_ROOM = 50  # digits before the point
_HALF_UP = Context(prec=_ROOM + 10, rounding=ROUND_HALF_UP)  # our own: no thread's context has a say


@cache
def _unit(currency: str) -> Decimal:
    return Decimal((0, (1,), -decimals(currency)))


def round_to(amount: Decimal | int | Fraction, currency: str) -> Decimal:
    """Return the amount in whole minor units, half up: 0.125 becomes 0.13, and -0.125 becomes -0.13."""
    if type(amount) is Decimal and amount.is_finite() and amount.adjusted() < _ROOM:
        rounded = amount.quantize(
            _unit(currency), context=_HALF_UP
        )  # the same, without the detour of fractions
        return rounded if rounded else rounded.copy_abs()
    return _from_units(_to_units(amount, currency), currency)


def share_out(amount: Decimal, weights: Sequence[Decimal | int], currency: str) -> tuple[Decimal, ...]:
    """Split an amount by weights into whole minor units that add up to it exactly.

    Largest remainders first; where remainders tie, the earlier share gets the unit. No share exceeds its
    quota rounded up, so nothing is taken from a line that isn't there.

    Raises `MoneyError` for a negative weight, for nothing to split by, or an amount finer than the currency.
    """
    units = _exact(amount) * 10 ** decimals(currency)
    if units.denominator != 1:
        raise MoneyError(f"{amount} is finer than {currency} goes.")
    parts = [_exact(weight) for weight in weights]
    if any(part < 0 for part in parts):
        raise MoneyError("A share can't have a negative weight.")
    whole = sum(parts, Fraction(0))
    if not whole:
        if units:
            raise MoneyError("There is nothing to share this out over.")
        return tuple(_from_units(0, currency) for _ in parts)
    sign = -1 if units < 0 else 1
    quotas = [abs(units) * part / whole for part in parts]
    shares = [int(quota) for quota in quotas]
    left = int(abs(units)) - sum(shares)
    for index in sorted(range(len(quotas)), key=lambda i: (shares[i] - quotas[i], i))[:left]:
        shares[index] += 1
    return tuple(_from_units(sign * share, currency) for share in shares)


# --- Totals


@dataclass(frozen=True)
class TaxShare:
    """One tax that falls on a line, as the invoice names it: Sales tax, 7.25 per cent."""

    name: str
    percent: Decimal

    def __post_init__(self) -> None:
        if not 0 <= _exact(self.percent) <= 100:
            raise MoneyError("A tax rate lies between 0 and 100 per cent.")


@dataclass(frozen=True)
class Line:
    """A line of a bill.

    A discount says what it takes off: `quantity` times `unit_price`, or `percent` of what the charges and the
    discounts above it leave. It carries no taxes of its own, it lowers what the others are taxed on.
    """

    text: str
    kind: Kind
    quantity: Decimal = Decimal(1)
    unit_price: Decimal = Decimal(0)
    taxes: tuple[TaxShare, ...] = ()
    percent: Decimal | None = None

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise MoneyError(f"{self.kind!r} is not a kind of line.")
        if _exact(self.quantity) < 0 or _exact(self.unit_price) < 0:
            raise MoneyError(f"“{self.text}” has a quantity or a price below zero; use a discount instead.")
        if self.kind != "discount" and self.percent is not None:
            raise MoneyError("Only a discount is given in per cent.")
        if self.kind == "discount" and self.taxes:
            raise MoneyError("A discount has no tax of its own: it lowers what the other lines are taxed on.")
        if self.percent is not None and not 0 <= _exact(self.percent) <= 100:
            raise MoneyError("A discount lies between 0 and 100 per cent.")
        if len(set(self.taxes)) != len(self.taxes):
            raise MoneyError(f"“{self.text}” carries the same tax twice.")


@dataclass(frozen=True)
class LineSum:
    """A line and its figures.

    `amount` is what stands in the line's own column: quantity times unit price, below zero for a discount.
    The amounts add up to the bill's net, or to its gross where prices include tax.
    `net`, `tax` and `gross` are what is left of the line after its share of the discounts (so they are zero
    for a discount itself). They add up to the bill's net, tax and gross. `taxes` are the parts of `tax`, in the
    order of the line's own.
    """

    line: Line
    amount: Decimal
    net: Decimal
    tax: Decimal
    gross: Decimal
    taxes: tuple[Decimal, ...] = ()


@dataclass(frozen=True)
class TaxSum:
    """What one tax comes to: `percent` of `base` is `tax`."""

    name: str
    percent: Decimal
    base: Decimal
    tax: Decimal


@dataclass(frozen=True)
class Totals:
    """A bill, added up. `gross` is `net` and every tax, to the minor unit."""

    net: Decimal
    taxes: tuple[TaxSum, ...]
    gross: Decimal
    lines: tuple[LineSum, ...]

    @property
    def tax(self) -> Decimal:
        return self.gross - self.net


def total(
    lines: Iterable[Line],
    currency: str,
    *,
    prices_include_tax: bool = False,
    rounding: Literal["line", "invoice"] = "invoice",
) -> Totals:
    """Add up a bill.

    Every line's amount is rounded. Discounts are taken in their order and shared out over all other lines in
    proportion to what these still amount to, so each rate of tax is lowered by its part. Then tax:

    - prices without tax, by line: each tax of each line is rounded and added up;
    - prices without tax, by invoice: each tax is worked out once, on the sum of its lines;
    - prices with tax, by line: the tax inside each line's gross is rounded;
    - prices with tax, by invoice: it is worked out once for the lines that carry the same taxes.

    Without tax and by invoice, net, tax and gross follow EN 16931's formulas BR-CO-10, -13, -14, -15 and -17.

    Raises `MoneyError` when a discount is more than there is, or a sum is beyond `LARGEST`.
    """
    lines = tuple(lines)
    amounts, left = _amounts(lines, currency)
    charged = [index for index, line in enumerate(lines) if line.kind != "discount"]

    # tax_of[index][share]: what this line bears of each tax, in the order of the line's taxes
    tax_of: dict[int, tuple[Decimal, ...]]
    if rounding == "line":
        tax_of = {i: _taxes_of(left[i], lines[i].taxes, currency, inside=prices_include_tax) for i in charged}
    elif rounding == "invoice":
        tax_of = _taxes_of_invoice(lines, charged, left, currency, inside=prices_include_tax)
    else:
        raise MoneyError(f"Tax is rounded by line or by invoice, not by {rounding!r}.")

    zero = _from_units(0, currency)
    sums = []
    found: dict[TaxShare, tuple[Decimal, Decimal]] = {}
    for index, line in enumerate(lines):
        parts = tax_of.get(index, ())
        tax = sum(parts, zero)
        net = left[index] - tax if prices_include_tax else left[index]
        sums.append(LineSum(line, amounts[index], net=net, tax=tax, gross=net + tax, taxes=parts))
        for share, part in zip(line.taxes, parts, strict=True):
            base, so_far = found.get(share, (zero, zero))
            found[share] = (base + net, so_far + part)
    net = sum((entry.net for entry in sums), zero)
    gross = sum((entry.gross for entry in sums), zero)
    if gross >= LARGEST:
        raise MoneyError("This comes to more than can be billed.")
    taxes = tuple(
        TaxSum(share.name, share.percent, base, tax)
        for share, (base, tax) in sorted(found.items(), key=lambda item: (item[0].name, item[0].percent))
    )
    return Totals(net, taxes, gross, tuple(sums))


def part_of(whole: Decimal, quantity: Decimal, of: Decimal, *, before: Decimal, currency: str) -> Decimal:
    """Return what `quantity` out of `of` pieces is of a whole that may be given back piece by piece.

    `before` is how many were given back already. The parts add up to the whole when the last piece is gone,
    because each is the difference of what was gone before it and what is gone after it.

    Raises `MoneyError` for more pieces than there are.
    """
    gone, now = _exact(before), _exact(before) + _exact(quantity)
    pieces = _exact(of)
    if not 0 <= gone <= now <= pieces or not pieces:
        raise MoneyError("That is more than there is.")
    return round_to(_exact(whole) * now / pieces, currency) - round_to(
        _exact(whole) * gone / pieces, currency
    )


def balance(gross: Decimal, payments: Iterable[Decimal]) -> Decimal:
    """Return what is still owed: above zero the customer owes it, below zero the shop (EN 16931 BR-CO-16)."""
    payments = list(payments)
    for amount in (gross, *payments):
        _exact(amount)
    return gross - sum(payments, Decimal(0))


def change_from(cash: Decimal, due: Decimal) -> Decimal:
    """Return what to hand back from cash; nothing where the cash doesn't cover what is due."""
    back = cash - due
    _exact(back)
    return max(back, Decimal(0))


def _amounts(lines: tuple[Line, ...], currency: str) -> tuple[list[Decimal], list[Decimal]]:
    """Return each line's own amount, and what is left of it after its share of the discounts."""
    amounts = []
    left = []
    for line in lines:
        value = round_to(_exact(line.quantity) * _exact(line.unit_price), currency)
        if value >= LARGEST:
            raise MoneyError(f"“{line.text}” comes to more than can be billed.")
        amounts.append(value)
        left.append(value if line.kind != "discount" else _from_units(0, currency))
    for index, line in enumerate(lines):
        if line.kind != "discount":
            continue
        there_is = sum(left, Decimal(0))
        if line.percent is not None:
            amounts[index] = round_to(_exact(there_is) * _exact(line.percent) / 100, currency)
        off = amounts[index]
        if off > there_is:
            raise MoneyError(f"The discount “{line.text}” takes off more than there is to pay.")
        left = [rest - part for rest, part in zip(left, share_out(off, left, currency), strict=True)]
        amounts[index] = -off if off else off
    return amounts, left


def _taxes_of(
    amount: Decimal, taxes: tuple[TaxShare, ...], currency: str, *, inside: bool
) -> tuple[Decimal, ...]:
    """Return each tax on an amount, or inside it, rounded."""
    percents = [_exact(share.percent) for share in taxes]
    if not inside:
        return tuple(round_to(_exact(amount) * percent / 100, currency) for percent in percents)
    together = sum(percents, Fraction(0))
    tax = round_to(_exact(amount) * together / (100 + together), currency)
    return share_out(tax, [share.percent for share in taxes], currency)


def _taxes_of_invoice(
    lines: tuple[Line, ...], charged: list[int], left: list[Decimal], currency: str, *, inside: bool
) -> dict[int, tuple[Decimal, ...]]:
    """Work each tax out once, then give every line its share of it."""
    groups: dict[tuple[TaxShare, ...], list[int]] = {}
    for index in charged:
        taxes = lines[index].taxes
        for key in [taxes] if inside else [(share,) for share in taxes]:
            if key:
                groups.setdefault(key, []).append(index)
    borne: dict[int, dict[TaxShare, Decimal]] = {index: {} for index in charged}
    for taxes, members in groups.items():
        weights = [left[index] for index in members]
        whole = _taxes_of(sum(weights, Decimal(0)), taxes, currency, inside=inside)
        for share, tax in zip(taxes, whole, strict=True):
            for index, part in zip(members, share_out(tax, weights, currency), strict=True):
                borne[index][share] = part
    return {index: tuple(borne[index][share] for share in lines[index].taxes) for index in charged}


def _exact(value: Decimal | int | Fraction) -> Fraction:
    """Return a number as a fraction; TypeError for a float, which has lost cents already."""
    if isinstance(value, bool) or not isinstance(value, (Decimal, int, Fraction)):
        raise TypeError(f"Money is a Decimal, not {type(value).__name__}.")
    if isinstance(value, Decimal) and not value.is_finite():
        raise MoneyError("That is not a number.")
    return Fraction(value)


def _to_units(amount: Decimal | int | Fraction, currency: str) -> int:
    units = _exact(amount) * 10 ** decimals(currency)
    rounded = int(abs(units) + Fraction(1, 2))
    return rounded if units >= 0 else -rounded


def _from_units(units: int, currency: str) -> Decimal:
    return Decimal(f"{units}E-{decimals(currency)}")


# --- Reading and showing

_LONGEST_INPUT = 40
_SPACES = str.maketrans(dict.fromkeys("\t\u00a0\u2007\u2009\u202f", " ") | {"’": "'", "٬": "'"})
_GROUPED = re.compile(r"[0-9]{1,3}(?:([,.' ])[0-9]{3})(?:\1[0-9]{3})*|[0-9]{1,2}(?:,[0-9]{2})+,[0-9]{3}")


def parse_amount(text: str, currency: str) -> Decimal:
    """Return the amount that somebody typed, in whole minor units of the currency.

    Takes a comma or a point for the decimals, spaces, points, commas or apostrophes between thousands, and
    the currency's own sign or code before or after. `1,234` in a currency with two decimals is refused: it
    means a thousand to one reader and one and a bit to the next.

    Raises `AmountError`; nothing is guessed and nothing is rounded away.
    """
    places = decimals(currency)
    example = f"1234.{'5' * places}" if places else "1234"
    if len(text) > _LONGEST_INPUT:
        raise AmountError(f"That is too long for an amount. Write it like {example}.")
    bare = _without_sign(text.translate(_SPACES).strip(), currency)
    if not bare:
        raise AmountError(f"Write an amount, like {example}.")
    if bare[0] in "-−–":
        raise AmountError("Write the amount without a minus.")
    if not re.fullmatch(r"[0-9,.' ]+", bare):
        raise AmountError(f"“{text.strip()}” is not an amount. Write digits, like {example}.")
    whole, fraction = _split(bare, places, example)
    if len(whole.lstrip("0")) > 9:
        raise AmountError("That is more money than can be billed.")
    if len(fraction) > places:
        allowed = f"{places} decimals" if places else "no decimals"
        raise AmountError(f"{currency} has {allowed}. Write it like {example}.")
    return round_to(Decimal(f"{whole or '0'}.{fraction or '0'}"), currency)


def format_amount(amount: Decimal, currency: str, locale: str = "en") -> str:
    """Return an amount as people write it, with its sign and the decimals of ISO 4217: $1,234.50."""
    amount = round_to(amount, currency)
    known = Locale.parse(locale)
    pattern = parse_pattern(known.currency_formats["standard"].pattern)
    pattern.frac_prec = (decimals(currency), decimals(currency))
    shown = pattern.apply(amount, known, currency=currency, currency_digits=False)
    symbol = get_currency_symbol(currency, known)
    if symbol[-1].isalpha():  # CLDR's currency spacing, which Babel leaves out: CHF 5.00, not CHF5.00
        shown = re.sub(rf"{re.escape(symbol)}(?=[0-9])", f"{symbol}\u00a0", shown)
    return shown


def _without_sign(text: str, currency: str) -> str:
    """Take the currency's own sign or code off either end."""
    symbol = get_currency_symbol(currency, "en").translate(_SPACES)
    for sign in sorted(
        {currency, symbol, symbol.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")} - {""}, key=len, reverse=True
    ):
        if text[: len(sign)].upper() == sign.upper():
            return text[len(sign) :].strip()
        if text[-len(sign) :].upper() == sign.upper():
            return text[: -len(sign)].strip()
    return text


def _split(bare: str, places: int, example: str) -> tuple[str, str]:
    """Tell the decimals from the marks between thousands; both parts come back as digits only."""
    mark = max(",.", key=bare.rfind)
    whole, found, fraction = bare.rpartition(mark)
    could_be_thousands = bool(_GROUPED.fullmatch(bare)) and bare[0] != "0"
    if not found or bare.count(mark) > 1 or (places == 0 and could_be_thousands):
        whole, fraction = (bare, "")  # 1.234.567: what stands there several times can only part thousands
    elif not fraction:
        raise AmountError(f"Something is missing after the “{mark}”. Write it like {example}.")
    elif places == 2 and could_be_thousands:
        raise AmountError(
            f"“{bare}” can be read in two ways. Write {whole}{fraction}, or {whole}.{fraction[:2]}."
        )
    if (
        not (_GROUPED.fullmatch(whole) or whole.isdigit() or (fraction and not whole))
        or not f"{fraction}0".isdigit()
    ):
        raise AmountError(f"“{bare}” is not an amount. Write it like {example}.")
    return re.sub(r"[,.' ]", "", whole), fraction
