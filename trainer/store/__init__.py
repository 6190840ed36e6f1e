"""The journal: every take, what is due, the player's own harps and devices."""

from trainer.store.errors import JournalError
from trainer.store.journal import Journal, journal_path
from trainer.store.records import (
    Calibration,
    HarpTag,
    OwnHarp,
    ReedRecord,
    StepRecord,
    TakeRecord,
)

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
