"""What the bench writes on a job: notes, findings, photos, and the facts of the job itself.

Adding needs no revision: two tablets may both add. Changing does: the second one is told. What is wrong is
struck out, not deleted, and can be put back.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from django.core.files.base import ContentFile, File
from django.db import transaction
from django.db.models import F, Model
from django.utils import timezone

from intake.models import Finding, Job, LoosePiece, Note, Photo
from intake.workflow import still_open
from shop import pictures, timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from shop.models import Staff

# What a person may change of a job, with the labels that the timeline shows.
JOB_FIELDS = (
    "complaint",
    "condition",
    "was_dropped",
    "was_wet",
    "was_opened",
    "was_repaired",
    "smelled",
    "history_note",
    "wanted_by",
    "diagnosis_fee",
    "spend_limit",
    "assigned_to",
)
_PIECES = "Came with"


# --- Notes -------------------------------------------------------------------------------------------------


@transaction.atomic
def note(job: Job, *, text: str, by: Staff) -> Note:
    """Write a note. A job that is over takes notes too: people call later."""
    note = Note.objects.create(job=job, text=text, by=by)
    timeline.write(job, by=by, words="wrote a note", after={"Note": _short(text)})
    return note


# --- Findings ----------------------------------------------------------------------------------------------


@transaction.atomic
def find_fault(job: Job, *, fault: str, cause: str, cure: str, by: Staff, circuit: str = "") -> Finding:
    """Write down what is wrong, why, and what mends it; `circuit` says where in the gear, coarsely."""
    job = still_open(job)
    finding = Finding.objects.create(job=job, fault=fault, cause=cause, cure=cure, circuit=circuit, by=by)
    timeline.write(job, by=by, words="wrote a finding", after=_finding_words(finding))
    return finding


@transaction.atomic
def change_finding(
    finding: Finding, *, fault: str, cause: str, cure: str, by: Staff, revision: int, circuit: str = ""
) -> Finding:
    """Change a finding that the person saw at `revision`.

    Raises:
        ChangedMeanwhile: it isn't at that revision any more.
    """
    still_open(finding.job)
    take_revision(finding, revision)
    before = _finding_words(finding)
    finding.fault, finding.cause, finding.cure, finding.circuit = fault, cause, cure, circuit
    finding.save()
    after = _finding_words(finding)
    if before != after:
        timeline.write(finding.job, by=by, words="changed a finding", before=before, after=after)
    return finding


def _finding_words(finding: Finding) -> dict[str, str]:
    return {
        "Fault": finding.fault,
        "Cause": finding.cause,
        "Cure": finding.cure,
        "Part of the circuit": finding.get_circuit_display(),
    }


@transaction.atomic
def say_plainly(job: Job, *, words: str, by: Staff, revision: int) -> Job:
    """Keep the findings in the words that the invoice says to the owner.

    Raises:
        ChangedMeanwhile: somebody else changed the job since.
    """
    return _change(
        job, {"plain_findings": words}, by=by, revision=revision, said="put the findings in plain words"
    )


# --- Photos ------------------------------------------------------------------------------------------------


@transaction.atomic
def photograph(job: Job, *, file: File, caption: str, by: Staff) -> Photo:
    """Keep a picture of the gear: decoded, encoded anew, without what the camera wrote beside it.

    Raises:
        shop.pictures.PictureRefused: it isn't a picture that we take; the sentence says why.
    """
    picture = pictures.clean(file)
    job = still_open(job)
    photo = Photo(job=job, caption=caption, by=by, width=picture.width, height=picture.height)
    # The files come before the row: it never speaks of one that isn't there. If it then comes to nothing, they go
    # with the next sweep (shop.sweeping).
    photo.image.save("photo.jpg", ContentFile(picture.content), save=False)
    photo.thumb.save("small.jpg", ContentFile(picture.thumb), save=False)
    photo.save()
    timeline.write(job, by=by, words="took a photo", after={"Shows": caption} if caption else None)
    return photo


# --- The job itself ----------------------------------------------------------------------------------------


@transaction.atomic
def change_job(
    job: Job, *, fields: Mapping[str, Any], pieces: Iterable[str] | None = None, by: Staff, revision: int
) -> Job:
    """Change what the job says: any of `JOB_FIELDS`, and the loose pieces that came with the gear.

    A loose piece that keeps its name stays the same row, so that its tag and its way home stay its own.

    Raises:
        ChangedMeanwhile: somebody else changed the job since `revision`.
        NotAllowedYet: a piece that already went home is missing from `pieces`, or who is to work on it left.
    """
    fields = {name: value for name, value in fields.items() if name in JOB_FIELDS}
    return _change(job, fields, by=by, revision=revision, said="changed the job", pieces=pieces)


def _change(
    job: Job,
    fields: Mapping[str, Any],
    *,
    by: Staff,
    revision: int,
    said: str,
    pieces: Iterable[str] | None = None,
) -> Job:
    job = still_open(job)
    job.take_revision(revision)
    who = fields.get("assigned_to")
    if who is not None and who.pk != job.assigned_to_id and not who.may("work on jobs"):
        raise NotAllowedYet(f"{who.name} doesn't work at the bench any more. Choose somebody else.")
    before, after = {}, {}
    for name, value in fields.items():
        label = _label(Job, name)
        before[label], after[label] = _words(getattr(job, name)), _words(value)
        setattr(job, name, value)
    job.save(update_fields=[*fields])
    if pieces is not None:
        before[_PIECES], after[_PIECES] = _set_pieces(job, list(pieces))
    if before != after:
        timeline.write(job, by=by, words=said, before=before, after=after)
    return job


def _set_pieces(job: Job, names: list[str]) -> tuple[str, str]:
    """Make the job's loose pieces those of `names`, in that order. Return what they were and are."""
    rows = list(job.pieces.all())
    was = ", ".join(row.name for row in rows)
    kept = []
    for position, name in enumerate(names):
        row = next((r for r in rows if r.name == name and r not in kept), None)
        if row is None:
            row = LoosePiece.objects.create(job=job, name=name, position=position)
        elif row.position != position:
            row.position = position
            row.save(update_fields=["position"])
        kept.append(row)
    for row in rows:
        if row in kept:
            continue
        if row.went_home_at:
            raise NotAllowedYet(f"“{row.name}” went home already. Leave it in the list.")
        row.delete()
    return was, ", ".join(names)


# --- Striking out and putting back -------------------------------------------------------------------------


@transaction.atomic
def strike(thing: Finding | Photo, *, by: Staff) -> None:
    """Strike out a finding or a photo: it stays, and counts no more. Striking twice is striking once."""
    still_open(thing.job)
    if mark(thing, struck=True):
        timeline.write(
            thing.job, by=by, words=f"struck out a {thing._meta.verbose_name}: {_short(str(thing))}"
        )


@transaction.atomic
def put_back(thing: Finding | Photo, *, by: Staff) -> None:
    """Undo a strike."""
    still_open(thing.job)
    if mark(thing, struck=False):
        timeline.write(thing.job, by=by, words=f"put back a {thing._meta.verbose_name}: {_short(str(thing))}")


def mark(thing: Model, *, struck: bool) -> bool:
    """Set or clear `struck_at`. Say whether that changed anything."""
    rows = type(thing)._default_manager.filter(pk=thing.pk, struck_at__isnull=struck)
    return bool(rows.update(struck_at=timezone.now() if struck else None))


def take_revision(thing: Model, expected: int) -> None:
    """Move a finding, a spell or a charge to its next revision, if it is still at the one the person saw.

    Raises:
        ChangedMeanwhile: it was changed, or struck out.
    """
    rows = type(thing)._default_manager.filter(pk=thing.pk, revision=expected, struck_at__isnull=True)
    took = rows.update(revision=F("revision") + 1)
    thing.refresh_from_db()
    if not took and thing.struck_at:
        raise NotAllowedYet("This was struck out meanwhile. Put it back first; then change it.")
    if not took:
        raise ChangedMeanwhile(
            "Someone else changed this while you had it open. Look at both; then choose.",
            revision=thing.revision,
        )


def _label(model: type[Model], name: str) -> str:
    return str(model._meta.get_field(name).verbose_name).capitalize()


def _words(value: Any) -> str:
    """A value as the timeline says it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if hasattr(value, "normalize"):  # a sum, without the zeros that the database adds
        return f"{value.normalize():f}"
    return "" if value is None else str(value)


def _short(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= 200 else f"{text[:199]}…"
