"""Storage: the journal in SQLite, with audio files beside it.

The journal holds takes, own harps, calibrations, daily sets, placements and the focus of a week.

Names of calibrations are imported on first use, because they load the sound room.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from trainer.core.lazy import lazy_getattr
from trainer.store.audio import (
    BYTES_PER_MB,
    TakeAudio,
    audio_path,
    copy_audio,
    list_audio,
    store_audio,
)
from trainer.store.database import describe_failure
from trainer.store.errors import JournalError
from trainer.store.journal import Journal, MergeCounts, flush_journal, journal_path
from trainer.store.records import (
    PLAYER_SOURCES,
    SOURCE_NAMES,
    Calibration,
    Focus,
    HarpTag,
    OwnHarp,
    Placement,
    ReedRecord,
    SoloRecord,
    StepRecord,
    TakeRecord,
    played_bars,
    sources_that_count,
)
from trainer.store.repair import note, take_notices

if TYPE_CHECKING:
    from trainer.store.calibrations import (
        find_calibration,
        save_manual_latency,
        save_round_trip,
        with_calibrated_latency,
    )
else:
    __getattr__ = lazy_getattr(
        __name__,
        {
            "calibrations": [
                "find_calibration",
                "save_manual_latency",
                "save_round_trip",
                "with_calibrated_latency",
            ]
        },
    )

__all__ = [
    "BYTES_PER_MB",
    "PLAYER_SOURCES",
    "SOURCE_NAMES",
    "Calibration",
    "Focus",
    "HarpTag",
    "Journal",
    "JournalError",
    "MergeCounts",
    "OwnHarp",
    "Placement",
    "ReedRecord",
    "SoloRecord",
    "StepRecord",
    "TakeAudio",
    "TakeRecord",
    "audio_path",
    "copy_audio",
    "describe_failure",
    "find_calibration",
    "flush_journal",
    "journal_path",
    "list_audio",
    "note",
    "played_bars",
    "save_manual_latency",
    "save_round_trip",
    "sources_that_count",
    "store_audio",
    "take_notices",
    "with_calibrated_latency",
]
