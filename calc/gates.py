"""What keeps a job back for safety."""

from calc.models import Reading
from intake.models import Job, State
from shop.models import Staff


def tested_after_repair(job: Job, to: str, by: Staff) -> str | None:
    """A repaired unit isn't ready before it was measured after the repair.

    What goes home as it is was not repaired.
    """
    if to != State.READY or job.declined:
        return None
    if job.readings.standing().filter(when=Reading.When.AFTER).exists():
        return None
    return "No reading was taken after the repair. Test it, write the readings down; then it can be ready."
