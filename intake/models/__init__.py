"""What the counter and the bench keep, a file for each chapter of a job's life."""

from intake.models.bills import Answer, Charge, Estimate, EstimateLine, Invoice, InvoiceLine, Payment, Series
from intake.models.jobs import Job, LoosePiece, State
from intake.models.people import Gear, GearKind, Person, Phone
from intake.models.pickups import Pickup, ReadyNotice
from intake.models.visits import PadEntry, Signature, Visit
from intake.models.work import Finding, LabourSpell, Note, Photo

__all__ = [
    "Answer",
    "Charge",
    "Estimate",
    "EstimateLine",
    "Finding",
    "Gear",
    "GearKind",
    "Invoice",
    "InvoiceLine",
    "Job",
    "LabourSpell",
    "LoosePiece",
    "Note",
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
    "Visit",
]
