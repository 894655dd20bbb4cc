"""Who may do what: the one table.

A view asks for an act by its words (`@allowed("move jobs")`), a template with `{% if request.user|may:"move jobs" %}`.
An act that isn't in the table is a mistake of ours, and is refused loudly at import.
"""

from typing import Final

from django.db import models


class Role(models.TextChoices):
    """The four kinds of people (and one tablet) that sign in."""

    OWNER = "owner", "Owner"
    BENCH = "bench", "Bench"
    COUNTER = "counter", "Counter"
    PAD = "pad", "Sign-in pad"


_STAFF = frozenset({Role.OWNER, Role.BENCH, Role.COUNTER})
_BENCH = frozenset({Role.OWNER, Role.BENCH})
_COUNTER = frozenset({Role.OWNER, Role.COUNTER})
_OWNER = frozenset({Role.OWNER})
_PAD = frozenset({Role.PAD})

ACTS: Final[dict[str, frozenset[Role]]] = {
    # seeing
    "see jobs": _STAFF,
    "see people": _STAFF,
    "see reports": _OWNER,
    "see who owes": _COUNTER,
    # the counter
    "take in gear": _STAFF,
    "open the pad": _STAFF,
    "fill the pad": _PAD,
    "read and sign": _PAD,  # the one page that a tablet was handed over for
    "take the tablet back": _PAD,  # with a PIN of staff
    "change people": _COUNTER | _BENCH,
    "record an answer": _STAFF,
    "take money": _COUNTER,
    "cash up": _COUNTER,
    "issue invoices": _COUNTER,
    "hand gear back": _COUNTER,
    "print": _STAFF,
    "see to storage": _STAFF,  # letters to owners, what came back, when the clock stands still
    # the bench
    "move jobs": _STAFF,
    "write on jobs": _STAFF,  # notes, photos, and what the counter was told
    "work on jobs": _BENCH,
    "order the queue": _BENCH,
    "charge jobs": _STAFF,
    "see to meters": _BENCH,
    # safety
    "see safety": _STAFF,
    "sign checklists": _BENCH,
    "judge unsafe": _BENCH,
    "write down a near miss": _STAFF,
    "keep checklists": _OWNER,  # the lists themselves, the emergency card, the cautions
    "waive a test": _OWNER,
    # the stock
    "see parts": _STAFF,
    "see to parts": _BENCH,  # parts, drawers, moves, counting, tubes, bench gear
    "order parts": _BENCH,
    "import parts": _OWNER,
    # one's own
    "change person": _STAFF,
    # the shop's own
    "set up the shop": _OWNER,
    "manage staff": _OWNER,
    "waive money owed": _OWNER,
    "let gear go": _OWNER,
    "write off": _OWNER,
}


def may(role: str, act: str) -> bool:
    """Say whether a role may do an act.

    Raises:
        KeyError: the act isn't in the table.
    """
    return role in ACTS[act]
