"""What is measured and worked out on a job, and what was done so that nobody is hurt by it."""

from calc.models.lists import ListChange, ListLine, ListRun, ListVersion, Mark, SignOff
from calc.models.measured import Accuracy, KeptSheet, Meter, Reading, ShopsOwn
from calc.models.safety import (
    CautionWords,
    EmergencyCard,
    GearBuild,
    NearMiss,
    SafetyWord,
    UnsafeTag,
    Waiver,
)

__all__ = [
    "Accuracy",
    "CautionWords",
    "EmergencyCard",
    "GearBuild",
    "KeptSheet",
    "ListChange",
    "ListLine",
    "ListRun",
    "ListVersion",
    "Mark",
    "Meter",
    "NearMiss",
    "Reading",
    "SafetyWord",
    "ShopsOwn",
    "SignOff",
    "UnsafeTag",
    "Waiver",
]
