"""What happens during a take, as a stream; screens and plain text both only read it."""

from __future__ import annotations

from dataclasses import dataclass

from trainer.drill import BeatClock
from trainer.ear import HeardNote, Reading
from trainer.marking import Mark, Result
from trainer.sound.passage import Passage


@dataclass(frozen=True, slots=True)
class PassStarted:
    """Sound is coming and a pass begins, with its count-in.

    Attributes:
        clock: where its beats fall; None when only listening.
        first, last: range of step indices of the pass, `last` not included.
        source: what is listened to, in words.
        clicks: whether the count-in can be heard.
    """

    clock: BeatClock | None
    first: int
    last: int
    source: str
    clicks: bool


@dataclass(frozen=True, slots=True)
class BeatReached:
    """A beat has come.

    Attributes:
        number: beats from the first of the pass; negative in the count-in (-4 -3 -2 -1).
    """

    number: int


@dataclass(frozen=True, slots=True)
class ReadingHeard:
    """A reading."""

    reading: Reading


@dataclass(frozen=True, slots=True)
class NoteEnded:
    """A note is over that was played without a drill; its path is left out."""

    note: HeardNote


@dataclass(frozen=True, slots=True)
class StepMarked:
    """A step has been played, or missed, and has its mark.

    A later event for the same step in the same pass replaces it.
    """

    mark: Mark


@dataclass(frozen=True, slots=True)
class PassEnded:
    """A pass is over."""

    result: Result


@dataclass(frozen=True, slots=True)
class TakePaused:
    """The pass stands still; what was played is kept.

    Attributes:
        sentence: why: the sound stopped coming, and the trainer waits for it; empty where the
            player asked for it.
        bar: the bar from which it is to go on, where the player asked; None elsewhere.
    """

    sentence: str = ""
    bar: int | None = None


@dataclass(frozen=True, slots=True)
class LoopStarted:
    """A passage that was asked for begins to be heard, with its count-in.

    Attributes:
        passage: what is heard.
        begins: the sample of the input on which its count-in begins, or its first round.
    """

    passage: Passage
    begins: int


@dataclass(frozen=True, slots=True)
class TakeResumed:
    """It goes on; a `PassStarted` for what is left follows."""


@dataclass(frozen=True, slots=True)
class Notice:
    """Something the player should know that stops nothing."""

    sentence: str


@dataclass(frozen=True, slots=True)
class TakeFailed:
    """The take cannot go on.

    Attributes:
        sentence: why, and the way out.
        no_sound: whether it is for want of a device that gives sound.
    """

    sentence: str
    no_sound: bool = False


@dataclass(frozen=True, slots=True)
class TakeFinished:
    """The stream is over; nothing follows.

    Attributes:
        saved: where the sound of the take was kept, as text; None if nowhere.
        sound: where it can be heard until the next take, kept or not; None if nowhere.
    """

    saved: str | None = None
    sound: str | None = None


Event = (
    PassStarted
    | BeatReached
    | ReadingHeard
    | NoteEnded
    | StepMarked
    | PassEnded
    | TakePaused
    | LoopStarted
    | TakeResumed
    | Notice
    | TakeFailed
    | TakeFinished
)
