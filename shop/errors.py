"""Refusals: what a verb raises when the business says no.

Each carries one plain sentence that a view shows as it stands, so write it to the person at the tablet:
what is in the way and what to do about it.
"""


class Refused(Exception):
    """The business says no. `str()` is the sentence to show."""

    status = 422


class NotAllowedYet(Refused):
    """Something has to happen first: a gate is closed."""


class NotAllowed(Refused):
    """This person may not do this."""

    status = 403


class ChangedMeanwhile(Refused):
    """Somebody else changed the same thing while this form was open.

    Attributes:
        theirs: field name -> what the record says now.
        yours: field name -> what this form wanted.
        revision: the revision to answer to, once the person has chosen.
    """

    status = 409

    def __init__(
        self, sentence: str, *, theirs: dict | None = None, yours: dict | None = None, revision: int = 0
    ):
        super().__init__(sentence)
        self.theirs = theirs or {}
        self.yours = yours or {}
        self.revision = revision
