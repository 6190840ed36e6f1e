"""The journal: every take, what is due, the player's own harps and devices."""

from trainer.journal.errors import JournalError
from trainer.journal.records import (
    Calibration,
    HarpTag,
    OwnHarp,
    ReedRecord,
    StepRecord,
    TakeRecord,
)
from trainer.journal.store import Journal, journal_path

__all__ = [
    "Calibration",
    "HarpTag",
    "Journal",
    "JournalError",
    "OwnHarp",
    "ReedRecord",
    "StepRecord",
    "TakeRecord",
    "journal_path",
]
