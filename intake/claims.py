"""Claim numbers: what is printed on every ticket and tag, read over the phone and typed with a greasy finger.

A claim number is `YYMM-NNNN-C`: year and month, a number within the month, and one check character of
ISO/IEC 7064 MOD 37-2 over the eight digits. With it every single wrong character, every swap of two
characters (neighbours or not) and every doubled slip (`33` for `55`) is caught.

Why MOD 37-2 and not its sister MOD 37,36, which is as long: MOD 37,36 lets about one neighbour swap in a
hundred through (2401-0040-1 and 2401-0041-0 are both right by it). A swap would open another person's job.

MOD 37-2 has 37 check characters, one of them `*`. Numbers whose check character would be `*`, or `I`, `L` or
`O`, which look like 1 and 0, are never issued: about one in nine is passed over. So `O` is always a zero.
"""

import re
import unicodedata

from stdnum.iso7064 import mod_37_2

LAST_IN_MONTH = 9999
NEVER_ISSUED = frozenset("ILO*")

_LONGEST_INPUT = 300
_LOOK_ALIKE = str.maketrans("OIL", "011")
_IN_ADDRESS = re.compile(r"/(?:t|job)/([^/?#]*)", re.IGNORECASE)
# Without its dashes a claim must have a month in it: nine digits may be a telephone or a serial number.
_SHAPE = re.compile(r"[0-9]{2}(0[1-9]|1[0-2])[0-9]{4}[0-9A-Z*]")
_DASHED = re.compile(r"[0-9A-Z*]{4}-[0-9A-Z*]{4}-[0-9A-Z*]")


class ClaimMistyped(ValueError):
    """It is meant as a claim number, and it is not one: the message says what to do."""


class NotAClaim(ValueError):
    """It does not look like a claim number at all; search for it as a name, a phone or a serial number."""


class NumberNotIssued(ValueError):
    """This number of this month is passed over, because its check character would be misread."""


class MonthFull(ValueError):
    """All the numbers of this month are used."""


def make(year: int, month: int, number: int) -> str:
    """Return the claim for `number` (1 to 9999) of a month, as `2407-0031-Y`.

    Raises `NumberNotIssued` for a number that is passed over (use `following` to walk past those),
    `MonthFull` beyond 9999, `ValueError` for a year outside 2000-2099 or a month outside 1-12.
    """
    if not 2000 <= year <= 2099:
        raise ValueError(f"Claim numbers are made for the years 2000 to 2099, not {year}.")
    if not 1 <= month <= 12:
        raise ValueError(f"{month} is not a month.")
    if number < 1:
        raise ValueError("Claim numbers count from 1.")
    if number > LAST_IN_MONTH:
        raise MonthFull(f"All {LAST_IN_MONTH} claim numbers of {year}-{month:02} are used.")
    digits = f"{year % 100:02}{month:02}{number:04}"
    check = mod_37_2.calc_check_digit(digits)
    if check in NEVER_ISSUED:
        raise NumberNotIssued(f"Number {number} of {year}-{month:02} is passed over.")
    return f"{digits[:4]}-{digits[4:]}-{check}"


def following(year: int, month: int, last: int = 0) -> tuple[int, str]:
    """Return the number and the claim that come after `last` in a month; `last` is 0 for the month's first.

    Raises `MonthFull` when there is none.
    """
    while True:
        last += 1
        try:
            return last, make(year, month, last)
        except NumberNotIssued:
            continue


def read(text: str) -> str:
    """Return the claim, as it is stored, from what somebody typed or scanned.

    Takes spaces, missing or typographic dashes, lower case, a leading #, the letters O, I and L for 0 and 1,
    and the address of a job or a ticket (`…/t/<claim>/`, `…/job/<claim>/…`). It corrects nothing else:
    what comes back is the claim that was meant or an error, never another one.

    Raises `ClaimMistyped` when it has the shape of a claim but cannot be one, else `NotAClaim`. A nine-digit
    telephone or serial number can have the shape by chance: a search goes on looking for the text elsewhere.
    """
    if len(text) > _LONGEST_INPUT:
        raise NotAClaim("That is too long for a claim number.")
    if address := _IN_ADDRESS.search(text):
        text = address[1]
    text = _plain(text)
    bare = text.replace("-", "").translate(_LOOK_ALIKE)
    dashed = _DASHED.fullmatch(text) and sum(character.isdigit() for character in bare[:8]) >= 6
    if not (dashed or _SHAPE.fullmatch(bare)):
        raise NotAClaim("That is not a claim number. A claim number looks like 2407-0031-Y.")
    shown = f"{bare[:4]}-{bare[4:8]}-{bare[8]}"
    if bare[8] in NEVER_ISSUED or not bare[:8].isdigit() or not mod_37_2.is_valid(bare):
        raise ClaimMistyped(
            f"{shown} does not add up: a character is wrong or two have changed places. "
            "Check it against the ticket."
        )
    if not 1 <= int(bare[2:4]) <= 12 or bare[4:8] == "0000":
        raise ClaimMistyped(f"{shown} was never issued. Check it against the ticket.")
    return shown


def group(claim: str) -> tuple[str, str, str]:
    """Return a stored claim in the groups it is printed and read aloud in: month, number, check character."""
    month, number, check = claim.split("-")
    return month, number, check


def _plain(text: str) -> str:
    """Upper case, without spaces, every dash as `-`; other characters beyond ASCII stay and are refused later."""
    kept = []
    for character in text.strip().removeprefix("#"):
        category = unicodedata.category(character)
        if category == "Pd" or character in "\u2212_":
            kept.append("-")
        elif category not in ("Zs", "Cc", "Cf"):
            kept.append(character if not character.isascii() else character.upper())
    return "".join(kept)
