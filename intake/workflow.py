"""The workflow: where a job stands, where it may go from there, and what keeps it back.

`move` is the one way in which a job's state changes. Moves are in `NEXT`; gates are plugged into
`shop.sockets.gates` by whoever has a reason to keep a job back (a test that is still open, a timer that still
runs).
"""

import datetime as dt
from typing import Final

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from intake.models import Job, State
from shop import sockets, timeline
from shop.errors import NotAllowedYet
from shop.models import Entry, Staff

NEXT: Final[dict[State, tuple[State, ...]]] = {
    State.TAGGED_IN: (State.IN_LINE, State.ON_THE_BENCH, State.GOING_HOME_AS_IS),
    State.IN_LINE: (State.ON_THE_BENCH, State.GOING_HOME_AS_IS),
    State.ON_THE_BENCH: (
        State.SOAK_TEST,
        State.OWNER_TO_DECIDE,
        State.PARTS_ON_ORDER,
        State.IN_LINE,
        State.GOING_HOME_AS_IS,
    ),
    State.OWNER_TO_DECIDE: (State.ON_THE_BENCH, State.IN_LINE, State.GOING_HOME_AS_IS),
    State.PARTS_ON_ORDER: (State.ON_THE_BENCH, State.IN_LINE, State.GOING_HOME_AS_IS),
    State.SOAK_TEST: (State.READY, State.ON_THE_BENCH),
    State.GOING_HOME_AS_IS: (State.READY, State.ON_THE_BENCH),
    State.READY: (State.COLLECTED, State.ON_THE_BENCH, State.LEFT_BEHIND),
    State.LEFT_BEHIND: (State.COLLECTED, State.LET_GO),
    State.COLLECTED: (),
    State.LET_GO: (),
}

# These are the end of something bigger: only the verb that does the rest of it may make the move.
ONLY_THROUGH: Final[dict[State, str]] = {
    State.COLLECTED: "pickup",
    State.GOING_HOME_AS_IS: "going home as is",
    State.LEFT_BEHIND: "storage",
    State.LET_GO: "storage",
}
_ON_THE_WAY_OUT: Final = (State.READY, State.LEFT_BEHIND, State.COLLECTED, State.LET_GO)
_MOVED: Final = "moved it"
_STATE: Final = "State"
_REFUSALS: Final[dict[State, str]] = {
    State.COLLECTED: "Gear is collected through its pickup page, where what came with it is ticked off.",
    State.GOING_HOME_AS_IS: "Gear goes home as it is through its own page, where the charges are taken back.",
    State.LEFT_BEHIND: "Gear is left behind by the storage clock, not by hand.",
    State.LET_GO: "What became of gear that was left behind is recorded in the storage pages.",
}


def one_tap_moves(job: Job) -> tuple[State, ...]:
    """The moves that a job's page offers as buttons, the most usual first."""
    return tuple(s for s in NEXT[State(job.state)] if s not in ONLY_THROUGH)


def held_back(job: Job, to: State, by: Staff) -> list[str]:
    """The sentences of every gate that keeps this job from moving there now."""
    return [why for gate in sockets.gates if (why := gate.check(job, to, by))]


def came_from(job: Job) -> str | None:
    """The state that a job was in before its last move, if it may go back there with one tap; else None."""
    last = timeline.of(job).filter(words=_MOVED).first()
    was = next((c["before"] for c in last.changes if c["what"] == _STATE), "") if last else ""
    return next((s for s in one_tap_moves(job) if s.label == was), None)


def moves_of(job: Job) -> QuerySet[Entry]:
    """What the timeline says of a job's moves, the oldest first."""
    return timeline.of(job).filter(words=_MOVED).order_by("pk")


def last_moved_to(job: Job, state: State) -> dt.datetime | None:
    """When a job last came to a state; None where it was never there."""
    for entry in moves_of(job).reverse():
        if any(c["what"] == _STATE and c["after"] == state.label for c in entry.changes):
            return entry.at
    return None


def still_open(job: Job) -> Job:
    """Return the job as it is now, held for this transaction, for an act that writes on it.

    Raises:
        NotAllowedYet: the gear is gone; what was done to it is history.
    """
    held = Job.objects.select_for_update().get(pk=job.pk)
    if held.is_over:
        raise NotAllowedYet(
            f"This gear is {held.get_state_display()}: what was done to it stays as it is. "
            "If it is back, take it in again."
        )
    return held


@transaction.atomic
def move(job: Job, *, to: str, by: Staff, revision: int, through: str = "") -> Job:
    """Move a job to another state, and write it to the timeline.

    `revision` is what the person saw; `through` names the verb that makes a move which isn't free.

    Raises:
        ChangedMeanwhile: somebody else changed the job since.
        NotAllowedYet: the move isn't one of `NEXT`, belongs to another verb, or a gate is closed.
    """
    if to not in State.values:
        raise NotAllowedYet("There is no such state. Load the page again, then choose.")
    job.take_revision(revision)
    job.refresh_from_db()
    was, to = State(job.state), State(to)
    if to not in NEXT[was]:
        raise NotAllowedYet(f"A job that is {was.label} can't go to {to.label} from there.")
    if through != ONLY_THROUGH.get(to, through):
        raise NotAllowedYet(_REFUSALS[to])
    if why := held_back(job, to, by):
        raise NotAllowedYet(" ".join(why))
    now = timezone.now()
    job.state, job.state_since = to, now
    job.declined = to == State.GOING_HOME_AS_IS or (job.declined and to in _ON_THE_WAY_OUT)
    if to == State.READY:
        job.ready_at = now
    elif to not in _ON_THE_WAY_OUT:
        job.ready_at = None
    if to == State.COLLECTED:
        job.collected_at = now
    if to == State.ON_THE_BENCH and job.assigned_to is None and by.may("work on jobs"):
        job.assigned_to = by
    job.save()
    timeline.write(job, by=by, words=_MOVED, before={_STATE: was.label}, after={_STATE: to.label})
    return job
