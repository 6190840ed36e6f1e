"""Practice: takes of a drill, from count-in to result, as a stream of events."""

from trainer.practice.commands import (
    Command,
    NextCommand,
    PassControl,
    PlayLoop,
    PlayTone,
    no_command,
)
from trainer.practice.demo import typical_faults
from trainer.practice.events import (
    BeatReached,
    Event,
    LoopStarted,
    NoteEnded,
    Notice,
    PassEnded,
    PassStarted,
    ReadingHeard,
    StepMarked,
    TakeFailed,
    TakeFinished,
    TakePaused,
    TakeResumed,
)
from trainer.practice.listener import Listener
from trainer.practice.passes import saved_harp
from trainer.practice.plan import Plan
from trainer.practice.session import run_take

__all__ = [
    "BeatReached",
    "Command",
    "Event",
    "Listener",
    "LoopStarted",
    "NextCommand",
    "NoteEnded",
    "Notice",
    "PassControl",
    "PassEnded",
    "PassStarted",
    "Plan",
    "PlayLoop",
    "PlayTone",
    "ReadingHeard",
    "StepMarked",
    "TakeFailed",
    "TakeFinished",
    "TakePaused",
    "TakeResumed",
    "no_command",
    "run_take",
    "saved_harp",
    "typical_faults",
]
