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
    found = safety.found_unsafe(job)
    if found is None:
        return None
    # What was left behind can't go back to the bench: its owner may have it, tagged and signed for.
    if to == State.COLLECTED and not job.declined and job.state != State.LEFT_BEHIND:
        return f"It is judged unsafe: {found.why}. It goes back to the bench, or home as it is."
    if not safety.tags_printed(job, found):
        return f"It is judged unsafe: {found.why}. Print the “unsafe, do not use” tag first, and tie it on."
    return None


def unsafe_words(job: Job) -> str:
    """What whoever takes unsafe gear home signs that they know. Empty where it isn't judged unsafe."""
    why = safety.unsafe(job)
    if not why:
        return ""
    return (
        f"I know that it is unsafe: {why}. It can hurt or kill. I will not plug it in, use it or pass it on before "
        "somebody qualified has made it safe."
    )


def _as_it_is(job: Job) -> bool:
    return job.declined or job.state == State.GOING_HOME_AS_IS
