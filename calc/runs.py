"""Running a list on a job: begin it, sign line after line, sign it off with a PIN.

Rows are only ever added. What a line says is its last mark whose reading or worksheet wasn't struck out.
"""

from django.db import transaction
from django.utils import timezone

from calc import listing, meters, readings, safety
from calc.checklists import Ask, Line
from calc.checklists.judging import WRONG, Outcome, judge_reading
from calc.checklists.lines import HOLDS_READY
from calc.engine.quantities import parse_measured
from calc.models import KeptSheet, ListRun, Mark, Meter, Reading, SignOff
from calc.worksheets.sheet import Verdict
from intake.models import Job
from intake.workflow import still_open
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from shop.models import Staff

_OUTCOMES = {Verdict.GOOD: Outcome.DONE, Verdict.BAD: Outcome.FAILED, Verdict.UNSURE: Outcome.CLOSE}


class NoMeter(NotAllowedYet):
    """A reading says which meter it was read off."""


@transaction.atomic
def begin(job: Job, *, slug: str, by: Staff) -> ListRun:
    """Begin a list on a job, with its version of today; where its last run is still open, go on with that one.

    Raises:
        NotAllowedYet: there is no such list on this job.
    """
    job = still_open(job)
    on_job = safety.lists_on(job).get(slug)
    if on_job is None:
        raise NotAllowedYet("This list isn’t on this job. Put it on first.")
    if on_job.run is not None and not hasattr(on_job.run, "sign_off"):
        return on_job.run
    run = ListRun.objects.create(job=job, version=listing.written_down(slug), by=by)
    timeline.write(job, by=by, words=f"began the list “{run.version.name}”")
    return run


@transaction.atomic
def sign(
    run: ListRun,
    *,
    key: str,
    outcome: str = "",
    written: str = "",
    meter: Meter | None = None,
    words: str = "",
    seen: int,
    by: Staff,
) -> Mark:
    """Sign a line of a run: the next one, or one above it that is signed again.

    A LOOK line is signed with an `outcome` ("done", "failed", "not-here"); a READING line with what was `written` and
    the `meter`, and is judged; "not-here" where the line may not apply. A SHEET line takes the worksheet by itself
    when that is kept (`take_sheet`). `seen` is the key of the run's last mark that the person saw, 0 for none.

    Raises:
        ChangedMeanwhile: somebody signed on this run since.
        NotAllowedYet: it isn't this line's turn, its time hasn't come, or the run is signed off or from another stay.
        NoMeter: a reading, and none of the shop's meters.
        calc.engine.quantities.QuantityError: the text isn't a value in the line's unit.
    """
    job, run, line = _open_line(run, key, seen)
    if outcome == Outcome.NOT_HERE:
        if not line.may_not_apply:
            raise NotAllowedYet("This line is for all gear. It can’t be left out.")
        return _mark(run, line, Outcome.NOT_HERE, "Not on this gear.", words=words, by=by)
    if line.ask is Ask.READING:
        return _sign_reading(job, run, line, written, meter, words, by)
    if line.ask is Ask.SHEET:
        raise NotAllowedYet("This line is signed by the worksheet. Fill it in and keep it.")
    if outcome not in (Outcome.DONE, Outcome.FAILED):
        raise NotAllowedYet("Say how it was: done, or not right.")
    if outcome == Outcome.FAILED and not words.strip():
        raise NotAllowedYet("Write in a few words what isn’t right.")
    return _mark(run, line, Outcome(outcome), "", words=words, by=by)


@transaction.atomic
def take_sheet(kept: KeptSheet, *, by: Staff) -> Mark | None:
    """Sign the line that waits for a worksheet which was just kept. None where no line does."""
    waiting = kept.job.list_runs.filter(version__lines__sheet=kept.slug, sign_off__isnull=True)
    if not waiting.exists():  # as for nearly all worksheets: how all lists stand is much to read
        return None
    for on_job in safety.lists_on(kept.job).lists:
        run = on_job.run
        if run is None or hasattr(run, "sign_off") or on_job.stand is None or on_job.stand.next is None:
            continue
        line = on_job.stand.next
        if line.ask is not Ask.SHEET or line.sheet != kept.slug:
            continue
        if why := safety.for_other_gear(kept, safety.build_of(kept.job.gear)):
            return _mark(run, line, Outcome.FAILED, why, by=by, sheet=kept)
        outcome = _OUTCOMES.get(Verdict(kept.verdict), Outcome.CLOSE)
        return _mark(run, line, outcome, kept.answer["said"][:300], by=by, sheet=kept)
    return None


@transaction.atomic
def sign_off(run: ListRun, *, passed: bool, by: Staff, words: str = "") -> SignOff:
    """Sign a run off: all of it is done, or it ends as failed. The caller has checked the PIN. Twice is once.

    Raises:
        NotAllowedYet: lines are still open, or it would end as failed without a failed line.
    """
    still_open(run.job)
    run = ListRun.objects.select_for_update(of=("self",)).select_related("version", "job").get(pk=run.pk)
    if (there := SignOff.objects.filter(run=run).first()) is not None:
        return there
    stand = safety.stand_of(run, safety.build_of(run.job.gear))
    if passed and not stand.all_closed:
        raise NotAllowedYet(f"{stand.of - stand.closed} lines are still open. Do them; then sign.")
    if not passed and stand.stopped_by is None:
        raise NotAllowedYet("No line of it failed. Do the rest; then sign.")
    _of_this_stay(run)
    signed = SignOff.objects.create(run=run, passed=passed, words=words, by=by)
    said = "passed" if passed else "ended as failed"
    timeline.write(
        run.job, by=by, words=f"signed the list “{run.version.name}”: {said}", after={"Note": words}
    )
    return signed


# --- Inside --------------------------------------------------------------------------------------------------


def _open_line(run: ListRun, key: str, seen: int) -> tuple[Job, ListRun, Line]:
    job = still_open(run.job)
    run = ListRun.objects.select_for_update(of=("self",)).select_related("version").get(pk=run.pk)
    marks = list(run.marks.select_related("reading__struck_by", "sheet__struck_by").order_by("pk"))
    last = marks[-1].pk if marks else 0
    if SignOff.objects.filter(run=run).exists():
        raise NotAllowedYet("This list is signed off. Begin it again to do it again.")
    if last != seen:
        raise ChangedMeanwhile(
            "Someone else signed on this list while you had it open. Look at it; then go on.", revision=last
        )
    _of_this_stay(run, job)
    checklist = listing.as_value(run.version)
    try:
        line = checklist.line(key)
    except KeyError as none:
        raise NotAllowedYet("This list has no such line. Load the page again.") from none
    stand = safety.stand_of(run, safety.build_of(run.job.gear))
    order = [each.key for each in checklist.lines]
    if stand.next is not None and order.index(key) > order.index(stand.next.key):
        raise NotAllowedYet(_not_yet(stand.next, stand.stopped_by))
    if (
        stand.next is not None
        and key == stand.next.key
        and stand.wait_until
        and timezone.now() < stand.wait_until
    ):
        at = timezone.localtime(stand.wait_until)
        raise NotAllowedYet(f"Not before {at:%H:%M:%S}: it has to wait that long.")
    return job, run, line


def _not_yet(next_line: Line, stopped_by: Line | None) -> str:
    if stopped_by is not None:
        return f"“{stopped_by.text}” isn’t right yet. {stopped_by.if_not or 'Mend it, and do it again.'}"
    return f"“{next_line.text}” comes first."


def _of_this_stay(run: ListRun, job: Job | None = None) -> None:
    if run.at < safety.bench_since(job or run.job):
        raise NotAllowedYet("This was begun before the job came back onto the bench. Begin it again.")


def _sign_reading(
    job: Job, run: ListRun, line: Line, written: str, meter: Meter | None, words: str, by: Staff
) -> Mark:
    if meter is None:
        raise NoMeter(
            "Choose the meter that it was read off. One that isn’t here is written down under Meters."
        )
    value = meters.measured(parse_measured(written, line.unit), line.unit, meter)
    outcome, said = judge_reading(line, value, safety.signed_on(run, safety.build_of(job.gear)))
    after = run.version.stage in HOLDS_READY
    reading = readings.take(
        job,
        point=line.point,
        written=written,
        unit=line.unit,
        when=Reading.When.AFTER if after else Reading.When.BEFORE,
        with_meter=meter,
        powered=line.powered,
        on_a_list=True,
        by=by,
    )
    return _mark(run, line, outcome, said, words=words, by=by, reading=reading)


def _mark(
    run: ListRun,
    line: Line,
    outcome: Outcome,
    said: str,
    *,
    by: Staff,
    words: str = "",
    reading: Reading | None = None,
    sheet: KeptSheet | None = None,
) -> Mark:
    mark = Mark.objects.create(
        run=run,
        key=line.key,
        outcome=outcome,
        said=said[:300],
        words=words.strip(),
        reading=reading,
        sheet=sheet,
        by=by,
    )
    if outcome in WRONG:
        timeline.write(
            run.job,
            by=by,
            words=f"{run.version.name}: “{line.text}” isn’t right",
            after={"What": said or words},
        )
    return mark
