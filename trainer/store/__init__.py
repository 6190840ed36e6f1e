"""Storage: takes, own harps, calibrations and daily sets in SQLite; audio files beside it."""

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
