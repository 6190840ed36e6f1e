"""Practice: takes of a drill, from count-in to result, as a stream of events."""

from typing import TYPE_CHECKING

from trainer.core.lazy import lazy_getattr
from trainer.practice.commands import (
    Command,
    HoldPasses,
    NextCommand,
    PassControl,
    PlayLoop,
    PlayTone,
    ShouldStop,
    StopRequest,
    no_command,
)
from trainer.practice.demo import typical_faults
from trainer.practice.event_log import logged
from trainer.practice.events import (
    BeatReached,
    Event,
    LoopStarted,
    NoteEnded,
    Notice,
    PassEnded,
    PassStarted,
    PositionChanged,
    ReadingHeard,
    SavingProgress,
    SilenceEnded,
    SoloMarked,
    StepMarked,
    TakeFailed,
    TakeFinished,
    TakePaused,
    TakeResumed,
    WaitStarted,
)
from trainer.practice.listener import Listener
from trainer.practice.passes import saved_harp, saved_tolerance
from trainer.practice.plan import HandsFree, Plan, follow_obstacle
from trainer.practice.requests import Calibrate, ListDevices, Request, WriteDown
from trainer.practice.running import adopt_cut_off_takes
from trainer.practice.session import run_take

if TYPE_CHECKING:
    from trainer.practice.batch import (
        NOTHING_DUE,
        BatchError,
        Job,
        MarkedRecording,
        crash_sentence,
        mark_recording,
        mark_recordings,
        run_jobs,
    )
    from trainer.practice.day_session import (
        DayEnded,
        DayEvent,
        EntryEnded,
        EntryStarted,
        counts_for,
        is_whole,
        run_day,
    )
    from trainer.practice.fingerprint import Fingerprint, code_digest
    from trainer.practice.harp_measurement import (
        ATTACKS,
        AttackMeasured,
        HarpMeasured,
        HarpMeasurement,
        MeasurementEvent,
        ReedRequested,
        ReedSounding,
        RepeatRequested,
        measure_harp,
    )
    from trainer.practice.placement_session import PlacementEnded, run_placement
    from trainer.practice.proof import prove

__getattr__ = lazy_getattr(
    __name__,
    {
        "batch": (
            "NOTHING_DUE",
            "BatchError",
            "Job",
            "MarkedRecording",
            "crash_sentence",
            "mark_recording",
            "mark_recording",
            "mark_recordings",
            "run_jobs",
        ),
        "fingerprint": ("Fingerprint", "code_digest"),
        "day_session": (
            "DayEnded",
            "DayEvent",
            "EntryEnded",
            "EntryStarted",
            "counts_for",
            "is_whole",
            "run_day",
        ),
        "harp_measurement": (
            "ATTACKS",
            "AttackMeasured",
            "HarpMeasured",
            "HarpMeasurement",
            "MeasurementEvent",
            "ReedRequested",
            "ReedSounding",
            "RepeatRequested",
            "measure_harp",
        ),
        "placement_session": ("PlacementEnded", "run_placement"),
        "proof": ("prove",),
    },
)

__all__ = [
    "ATTACKS",
    "NOTHING_DUE",
    "AttackMeasured",
    "BatchError",
    "BeatReached",
    "Calibrate",
    "Command",
    "DayEnded",
    "DayEvent",
    "EntryEnded",
    "EntryStarted",
    "Event",
    "Fingerprint",
    "HandsFree",
    "HarpMeasured",
    "HarpMeasurement",
    "HoldPasses",
    "Job",
    "ListDevices",
    "Listener",
    "LoopStarted",
    "MarkedRecording",
    "MeasurementEvent",
    "NextCommand",
    "NoteEnded",
    "Notice",
    "PassControl",
    "PassEnded",
    "PassStarted",
    "PlacementEnded",
    "Plan",
    "PlayLoop",
    "PlayTone",
    "PositionChanged",
    "ReadingHeard",
    "ReedRequested",
    "ReedSounding",
    "RepeatRequested",
    "Request",
    "SavingProgress",
    "ShouldStop",
    "SilenceEnded",
    "SoloMarked",
    "StepMarked",
    "StopRequest",
    "TakeFailed",
    "TakeFinished",
    "TakePaused",
    "TakeResumed",
    "WaitStarted",
    "WriteDown",
    "adopt_cut_off_takes",
    "code_digest",
    "counts_for",
    "crash_sentence",
    "follow_obstacle",
    "is_whole",
    "logged",
    "mark_recording",
    "mark_recordings",
    "measure_harp",
    "no_command",
    "prove",
    "run_day",
    "run_jobs",
    "run_placement",
    "run_take",
    "saved_harp",
    "saved_tolerance",
    "typical_faults",
]
