"""The conductor: one take of one drill, from count-in to result, as a stream of events."""

from trainer.practice.commands import Ask, Asked, Command, Loop, Tone, nothing
from trainer.practice.demo import typical_faults
from trainer.practice.events import (
    Beat,
    Ended,
    Event,
    Failed,
    Finished,
    Heard,
    Looping,
    Marked,
    Noted,
    Notice,
    Paused,
    Resumed,
    Started,
)
from trainer.practice.listener import Listener
from trainer.practice.passes import saved_harp
from trainer.practice.plan import Plan
from trainer.practice.take import run

__all__ = [
    "Ask",
    "Asked",
    "Beat",
    "Command",
    "Ended",
    "Event",
    "Failed",
    "Finished",
    "Heard",
    "Listener",
    "Loop",
    "Looping",
    "Marked",
    "Noted",
    "Notice",
    "Paused",
    "Plan",
    "Resumed",
    "Started",
    "Tone",
    "nothing",
    "run",
    "saved_harp",
    "typical_faults",
]
