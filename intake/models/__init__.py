"""What the counter and the bench keep, a file for each chapter of a job's life."""

from intake.models.bills import (
    Answer,
    CashUp,
    Charge,
    Estimate,
    EstimateLine,
    Invoice,
    InvoiceLine,
    Payment,
    Series,
)
from intake.models.jobs import Job, LoosePiece, State
from intake.models.people import Gear, GearKind, Person, Phone
from intake.models.pickups import Pickup, ReadyNotice
from intake.models.storage import LetGo, NoticeBack, StorageNotice, StoragePause
from intake.models.visits import PadEntry, Signature, Visit
from intake.models.work import Circuit, Finding, LabourSpell, Note, Photo

__all__ = [
    "Answer",
    "CashUp",
    "Charge",
    "Circuit",
    "Estimate",
    "EstimateLine",
    "Finding",
    "Gear",
    "GearKind",
    "Invoice",
    "InvoiceLine",
    "Job",
    "LabourSpell",
    "LetGo",
    "LoosePiece",
    "Note",
    "NoticeBack",
    "PadEntry",
    "Payment",
    "Person",
    "Phone",
    "Photo",
    "Pickup",
    "ReadyNotice",
    "Series",
    "Signature",
    "State",
    "StorageNotice",
    "StoragePause",
    "Visit",
]
