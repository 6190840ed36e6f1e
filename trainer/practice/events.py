"""What happens during a take, as a stream that screens and plain lines read."""

from __future__ import annotations

from dataclasses import dataclass

from trainer.drill import Clock
from trainer.ear import HeardNote, Reading
from trainer.marking import Mark, Position, Result, SoloMark
from trainer.sound import Passage


@dataclass(frozen=True, slots=True)
class PassStarted:
    """A pass begins with its count-in; without a drill, listening begins.

    Attributes:
        clock: where its beats fall; None where there are none.
        first, last: range of step indices of the pass, `last` not included.
        source: the source of the sound, in words.
        clicks: whether the count-in is audible.
    """

    clock: Clock | None
    first: int
    last: int
    source: str
    clicks: bool


@dataclass(frozen=True, slots=True)
class BeatReached:
    """A beat is reached.

    Attributes:
        number: beats from the first of the pass; negative in the count-in (-4 -3 -2 -1).
    """

    number: int


@dataclass(frozen=True, slots=True)
class ReadingHeard:
    """The ear has a new reading.

    Attributes:
        reading: the reading.
        held_s: with a free clock, the time in seconds for which the sound that is due has been held
            in tune.
    """

    reading: Reading
    held_s: float = 0.0


@dataclass(frozen=True, slots=True)
class NoteEnded:
    """A note played without a drill has ended; a very long one has the beginning of its path."""

    note: HeardNote


@dataclass(frozen=True, slots=True)
class StepMarked:
    """A step was played, or missed, and has its mark.

    A later event for the same step in the same pass replaces it.
    """

    mark: Mark


@dataclass(frozen=True, slots=True)
class SoloMarked:
    """A solo has ended and has its mark."""

    mark: SoloMark


@dataclass(frozen=True, slots=True)
class PositionChanged:
    """A player who is followed has begun another step.

    Attributes:
        position: where they are; None where they are outside of the drill.
    """

    position: Position | None


@dataclass(frozen=True, slots=True)
class PassEnded:
    """A pass has ended.

    Attributes:
        result: what it earned.
        record: its identifier in the journal; None where it is not stored.
    """

    result: Result
    record: str | None = None


@dataclass(frozen=True, slots=True)
class WaitStarted:
    """The take waits for the player to begin the next pass, or the wait has changed.

    Attributes:
        until: sample at which the pass begins by itself; None if only a note begins it.
        armed: whether a note begins it. Before that, what sounds belongs to the pass before.
    """

    until: int | None = None
    armed: bool = False


@dataclass(frozen=True, slots=True)
class SilenceEnded:
    """The take ends because nothing was played for too long."""


@dataclass(frozen=True, slots=True)
class TakePaused:
    """The take is paused; what was played is kept.

    Attributes:
        sentence: why the sound is lost, and that the trainer waits for it; empty where the player
            has paused.
        bar: the bar from which the pass will resume where the player has paused; else None.
    """

    sentence: str = ""
    bar: int | None = None


@dataclass(frozen=True, slots=True)
class TakeResumed:
    """The take resumes; a `PassStarted` for the rest of the pass follows."""


@dataclass(frozen=True, slots=True)
class LoopStarted:
    """A looped passage has become audible.

    Attributes:
        passage: what is heard.
        begins: sample of the input on which its count-in begins, or its first round.
    """

    passage: Passage
    begins: int


@dataclass(frozen=True, slots=True)
class Notice:
    """Something the player should know; the take goes on."""

    sentence: str


@dataclass(frozen=True, slots=True)
class TakeFailed:
    """The take cannot go on.

    Attributes:
        sentence: what to do, and why.
        no_sound: whether the reason is that no device gives sound.
    """

    sentence: str
    no_sound: bool = False


@dataclass(frozen=True, slots=True)
class SavingProgress:
    """The take is over, and its sound is still being saved.

    Attributes:
        fraction: what is done, 0 to 1.
    """

    fraction: float


@dataclass(frozen=True, slots=True)
class TakeFinished:
    """The take is over; nothing follows.

    Attributes:
        saved: where the sound of the take was saved, as text; None if nowhere.
        sound: where it can be heard until the next take, saved or not; None if nowhere.
    """

    saved: str | None = None
    sound: str | None = None


Event = (
    PassStarted
    | BeatReached
    | ReadingHeard
    | NoteEnded
    | StepMarked
    | SoloMarked
    | PositionChanged
    | PassEnded
    | WaitStarted
    | SilenceEnded
    | TakePaused
    | TakeResumed
    | LoopStarted
    | Notice
    | TakeFailed
    | SavingProgress
    | TakeFinished
)
