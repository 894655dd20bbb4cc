"""What keeps a job back, as far as the counter and the bench know.

The owner's word, and a timer that still runs.
"""

from intake import reading
from intake.models import Job, State
from shop.models import Staff


def timer_stopped(job: Job, to: str, by: Staff) -> str | None:
    """Labour is whole before a job leaves the bench for good."""
    if to not in (State.READY, State.COLLECTED):
        return None
    running = job.labour.filter(ended__isnull=True).select_related("who").first()
    return f"{running.who}'s timer still runs on this job. Stop it first." if running else None


def estimate_made(job: Job, to: str, by: Staff) -> str | None:
    """The owner has something to decide on: the latest estimate, without an answer yet."""
    if to != State.OWNER_TO_DECIDE:
        return None
    latest = reading.latest_estimate(job)
    if latest is None or hasattr(latest, "answer"):
        return "There is no open estimate for the owner to decide on. Make one first."
    return None


def owner_answered(job: Job, to: str, by: Staff) -> str | None:
    """Work goes on when the owner's word is recorded.

    Going home as it is and back again is no way around that.
    """
    if to not in (State.ON_THE_BENCH, State.IN_LINE):
        return None
    ready_as_it_is = job.state == State.READY and job.declined
    if job.state not in (State.OWNER_TO_DECIDE, State.GOING_HOME_AS_IS) and not ready_as_it_is:
        return None
    latest = reading.latest_estimate(job)
    if latest is None:  # declined without an estimate; whoever waits for an answer has one
        return None
    if not hasattr(latest, "answer"):
        return "The owner's answer to the estimate isn't recorded yet. Record it first."
    if not latest.answer.yes:
        return "The owner declined the estimate. Make a new one, or let it go home as it is."
    return None
