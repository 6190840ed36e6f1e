"""The one interface of all sources of sound, and of the specs that name them.

A source is a module of its own in this package: a spec, which names the source without opening
it and travels between processes, and a subclass of :class:`Source`, which the spec opens. Every
member that only some sources have has a default here, so that whoever reads a source need not
know what kind it is.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, NoReturn

from trainer.drill import BeatClock, Drill
from trainer.harp import Harp
from trainer.sound.accompaniment import TrainerNote, trainer_notes
from trainer.sound.block import Block
from trainer.sound.click import ClickTrack

if TYPE_CHECKING:
    from trainer.sound.passage import Passage
    from trainer.sound.play_along import PlayAlong


LatencyLookup = Callable[[str, str, int | None], float | None]


@dataclass(frozen=True, slots=True)
class DrillSetup:
    """What is to be played while a source is open.

    Attributes:
        drill: the drill; None where the player plays freely.
        harp: what the built-in player plays on, and the trainer its accompaniment.
        tempo: beats per minute; None takes the drill's own.
        bars: first and last bar, counted from 1; None takes all.
        count_in: beats before the first bar; None is `Drill.count_in_beats`.
    """

    drill: Drill | None = None
    harp: Harp | None = None
    tempo: float | None = None
    bars: tuple[int, int] | None = None
    count_in: int | None = None

    def click_track(
        self, tempo: float | None = None, bars: tuple[int, int] | None = None
    ) -> ClickTrack:
        """Return the beats of a pass.

        Args:
            tempo: beats per minute; None takes the setup's.
            bars: first and last bar of the pass; None takes the setup's.
        """
        assert self.drill is not None
        return ClickTrack.of(self.drill, tempo or self.tempo, bars or self.bars, self.count_in)

    def accompaniment(
        self, bars: tuple[int, int] | None = None, ground_db: float | None = 0.0
    ) -> tuple[TrainerNote, ...]:
        """Return what the trainer plays in a pass, in order of time.

        Args:
            bars: first and last bar of the pass; None takes the setup's.
            ground_db: level of the drill's ground relative to the usual one in dB; None for none.
        """
        if self.drill is None:
            return ()
        return trainer_notes(self.drill, bars or self.bars, ground_db)

    def play_along(self) -> PlayAlong | None:
        """Render the drill's recording; None where it has none.

        Raises:
            SoundError: it cannot be played.
        """
        if self.drill is None or self.harp is None:
            return None
        from trainer.sound.play_along import render_play_along

        return render_play_along(self.drill, self.harp, self.tempo)


class SourceSpec(ABC):
    """Names a source without opening it. Subclasses are frozen dataclasses that pickle."""

    __slots__ = ()

    kind: ClassVar[str]
    """What the journal calls the source: ``microphone``, ``recording``, ``player``."""
    is_live: ClassVar[bool] = False
    """Whether a player is heard as they play: drills loop as written, sound is worth keeping."""

    @property
    def output(self) -> str | int | None:
        """Output device of the trainer's own sound.

        A device's name, part of it, or number; None for the system's default.
        """
        return None

    @property
    def file(self) -> Path | None:
        """The file that holds its sound already; None where there is none."""
        return None

    def calibrated(self, latency_of: LatencyLookup) -> SourceSpec:
        """Return the spec with the measured round trip of its devices, where that matters.

        Args:
            latency_of: returns a round trip in milliseconds, or None, for the name of an input,
                that of an output, and a rate in samples per second.
        """
        return self

    @abstractmethod
    def open(self, setup: DrillSetup) -> Source:
        """Open the source, ready to give blocks.

        Raises:
            SoundError: it cannot be opened.
            DrillError: the drill has no such bars.
            HarpError: the harp cannot play a step.
        """


@dataclass(frozen=True, slots=True)
class LoopStart:
    """A looped passage that has become audible.

    Attributes:
        passage: what is heard.
        sample: sample of the source on which its count-in begins, or its first round.
    """

    passage: Passage
    sample: int


class Source(ABC):
    """Where sound comes from.

    Attributes:
        name: what it is, in words, such as ``recording take.flac``.
        rate: samples per second; fixed while the source is open.
    """

    name: str
    rate: int

    is_live: ClassVar[bool] = False
    """Whether sound comes in for as long as it is open, the trainer's own among it. The sound of
    any other source ends, and with it the take."""
    can_start_passes: ClassVar[bool] = False
    """Whether passes begin when they are asked for. In any other source they lie where they were
    played."""
    can_pause: ClassVar[bool] = False
    """Whether a pass can be paused and resumed."""

    @abstractmethod
    def blocks(self) -> Iterator[Block]:
        """Yield blocks in order and without gaps, until the sound ends or the source is closed.

        Raises:
            SourceLost: no sound comes in any more; see :meth:`reopen`.
            SoundError: the sound cannot be read further.
        """

    @abstractmethod
    def close(self) -> None:
        """Release the device or file. May be called twice."""

    def reopen(self) -> None:
        """Try to bring a lost source back; its sample count goes on where it stopped.

        Raises:
            SourceLost: it is still missing.
        """
        self._cannot("be reopened")

    @property
    def clicks_audible(self) -> bool:
        """Whether the player can hear the count-in."""
        return False

    @property
    def may_play(self) -> bool:
        """Whether the trainer itself may sound in it, so that blocks carry a reference signal."""
        return False

    @property
    def is_paced(self) -> bool:
        """Whether blocks come at the pace of a clock, and not as fast as they are read."""
        return False

    @property
    def frames(self) -> int | None:
        """Its length in samples; None where that is unknown."""
        return None

    @property
    def tags(self) -> Mapping[str, Any]:
        """What a saved take was saved with; empty for any other source."""
        return {}

    @property
    def advice(self) -> str | None:
        """What the player should know before the first pass, as a sentence; None for nothing."""
        return None

    @property
    def damage(self) -> str:
        """What is missing at the end of the sound, as a predicate; empty if nothing is."""
        return ""

    @property
    def warnings(self) -> Sequence[str]:
        """What is wrong with the sound read so far, a sentence each."""
        return ()

    def reader(self) -> Source:
        """Open the same sound once more, from its start, silent and as fast as it can be read."""
        self._cannot("be read twice")

    # --- passes ---

    def first_pass(self) -> BeatClock:
        """Begin the first pass; return where its beats fall."""
        self._cannot("start a pass")

    def next_pass(self, tempo: float | None = None, *, seamless: bool = False) -> BeatClock:
        """Begin another pass; return where its beats fall.

        Args:
            tempo: beats per minute; None takes that of the setup.
            seamless: whether the pass before is still being played, and the count-in of this one
                follows on its last bar in time.
        """
        self._cannot("start a pass")

    def resume_pass(self, bars: tuple[int, int], tempo: float | None = None) -> BeatClock:
        """Begin a pass over some bars at once; return the clock of its beats.

        Whatever sounds is ended.

        Args:
            bars: first and last bar.
            tempo: beats per minute; None takes that of the setup.
        """
        self._cannot("start a pass")

    def stay_open(self) -> None:  # noqa: B027  # most sources end by themselves, or not at all
        """Go on with silence after the last pass, where blocks would end."""

    def pause(self) -> None:
        """End the clicks and steps that sound; blocks go on."""
        self._cannot("be paused")

    # --- what the player hears besides ---

    def play_tone(self, hz: tuple[float, ...]) -> None:  # noqa: B027  # most sources play none
        """Play a tone, or several at once, until others are requested; none ends it.

        Ignored where there is no output.
        """

    def play_loop(self, passage: Passage | None) -> None:  # noqa: B027  # most play none
        """Play a passage again and again, as soon as it is rendered; None ends it.

        Ignored where there is no output; :meth:`started_loop` reports when it becomes audible.
        """

    def started_loop(self) -> LoopStart | None:
        """Return the loop that has become audible since the last call, if any.

        Raises:
            SoundError: the passage asked for last cannot be played; raised once.
        """
        return None

    def _cannot(self, what: str) -> NoReturn:
        raise NotImplementedError(f"{self.name} cannot {what}")
