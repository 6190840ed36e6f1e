"""The conductor: one take of one drill, from count-in to result, as a stream of events."""

from trainer.practice.events import (
    Beat,
    Ended,
    Event,
    Failed,
    Finished,
    Heard,
    Marked,
    Paused,
    Resumed,
    Started,
)
from trainer.practice.plan import Plan

__all__ = [
    "Beat",
    "Ended",
    "Event",
    "Failed",
    "Finished",
    "Heard",
    "Marked",
    "Paused",
    "Plan",
    "Resumed",
    "Started",
]
