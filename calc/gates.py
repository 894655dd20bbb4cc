"""What keeps a job back for safety."""

from calc import safety
from intake.models import Job, State
from shop.models import Staff

_GOES_HOME = (State.READY, State.COLLECTED, State.LET_GO)


def tested_and_soaked(job: Job, to: str, by: Staff) -> str | None:
    """A repaired unit isn't ready before its lists are passed, or waived by the owner of the shop.

    What goes home as it is was not repaired.
    """
    if to != State.READY or _as_it_is(job):
        return None
    return " ".join(safety.why_not_ready(job)) or None


def unsafe_with_a_tag(job: Job, to: str, by: Staff) -> str | None:
    """What is judged unsafe goes home only as it is, with a tag that says so."""
    if to not in _GOES_HOME or (to == State.READY and not _as_it_is(job)):
        return None
    why = safety.unsafe(job)
    if not why:
        return None
    if not job.declined and to != State.LET_GO:
        return f"It is judged unsafe: {why}. It goes back to the bench, or home as it is."
    if not safety.tag_is_printed(job):
        return f"It is judged unsafe: {why}. Print the “unsafe, do not use” tag first, and tie it on."
    return None


def _as_it_is(job: Job) -> bool:
    return job.declined or job.state == State.GOING_HOME_AS_IS
