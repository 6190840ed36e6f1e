"""What is written down of a recording.

Conventions. Times are seconds from the recording's first sample; beats are counted as in a
:class:`trainer.drill.Drill`, from the first beat of the first full bar, as exact fractions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from trainer.drill import CleannessRule, Sound, Vibrato, format_sound
from trainer.harp import Harp
from trainer.transcript.confidence import estimate_confidence


@dataclass(frozen=True, slots=True)
class TranscribedNote:
    """A note, as it is written down.

    Attributes:
        start, end: when it sounds, seconds.
        sounds: its path of sounds, as in :class:`trainer.drill.Step`.
        cents: how far the pitch that it holds lies off its target; positive is sharp.
        hz: the pitch that it holds.
        level_db: its loudest level, dB re full scale.
        holes: the holes that sounded for most of it.
        leak_db, leak_hole: the loudest other hole, as in :class:`trainer.ear.HeardNote`.
        care: whether others sound along: ``plain`` alone, ``loose`` with a weaker neighbour.
        vibrato: its vibrato, if it has one.
        struck: whether it begins with an attack of its own; False where it is slurred on from
            the note before.
        explained: share of what sounds that the reeds it names explain, 0 to 1; None where that was
            not looked at.
        rings: how many sounds that only rang on were left out of the recording, for each note that
            was written.
        of_two: whether another player's part is written beside it.
        others: other ways to play what sounds, which sound alone cannot tell from this one.
        at, beats: where it stands in the music, and for how long; None before that is known.
        bar: the number of the bar that it begins in, from 1; 0 in a pick-up; likewise.
        beat: the beat of that bar, from 1; likewise.
    """

    start: float
    end: float
    sounds: tuple[Sound, ...]
    cents: float
    hz: float
    level_db: float = 0.0
    holes: tuple[int, ...] = ()
    leak_db: float | None = None
    leak_hole: int | None = None
    care: CleannessRule = CleannessRule.PLAIN
    vibrato: Vibrato | None = None
    struck: bool = True
    explained: float | None = None
    reverb_ratio: float = 0.0
    with_second_player: bool = False
    others: tuple[tuple[Sound, ...], ...] = ()
    at: Fraction | None = None
    beats: Fraction | None = None
    bar: int | None = None
    beat: Fraction | None = None

    @property
    def tab(self) -> str:
        """What was played, as tab: ``-4'>-4``."""
        return path_text(self.sounds)

    @property
    def confidence(self) -> float | None:
        """How likely it is right, 0 to 1, by how much of what sounds it explains, by how much
        the room rings, and by whether two play."""
        if self.explained is None:
            return None
        return estimate_confidence(
            self.explained, self.reverb_ratio, with_second_player=self.with_second_player
        )

    @property
    def seconds(self) -> float:
        """How long it sounds."""
        return self.end - self.start


def path_text(sounds: Sequence[Sound]) -> str:
    """A path of sounds as tab."""
    return ">".join(format_sound(sound) for sound in sounds)


@dataclass(frozen=True, slots=True)
class Meter:
    """Where the beats fall.

    Attributes:
        tempo: beats a minute, the median over the recording.
        meter: beats in a bar and the note value of one, as in :class:`trainer.drill.Drill`.
        times: seconds on which beats fall, from beat `first` on, one after another.
        first: the number of the first of these; negative before the first full bar.
        swing: how much longer the first half of a beat lasts than the second, 1 to 3.
        given: what was given and not found: of ``tempo``, ``meter`` and ``first beat``.
        steady: whether one tempo does for all of it.
        near: share of the notes that begin near their place, 0 to 1.
    """

    tempo: float
    meter: tuple[int, int]
    times: tuple[float, ...]
    first: int = 0
    swing: float = 1.0
    given: tuple[str, ...] = ()
    steady: bool = True
    near: float = 1.0

    @property
    def slowest(self) -> float:
        """The tempo of its slowest bar, beats a minute."""
        return 60.0 / max(self._spans())

    @property
    def fastest(self) -> float:
        """The tempo of its fastest bar, beats a minute."""
        return 60.0 / min(self._spans())

    def _spans(self) -> list[float]:
        bar = self.meter[0]
        spans = [(self.times[i + bar] - self.times[i]) / bar for i in range(len(self.times) - bar)]
        return spans or [60.0 / self.tempo]


@dataclass(frozen=True, slots=True)
class HarpGuess:
    """A harp that what was heard may have been played on.

    Attributes:
        harp: the harp.
        position: the position it would be played in, 1 to 12; None where no tonic is heard.
        probability: how likely it is among all harps that were tried, 0 to 1.
        missing: notes that it cannot play.
        effort: how hard it would be to play, as :func:`trainer.drill.difficulty.difficulty`.
        reason: why, in words.
    """

    harp: Harp
    position: int | None
    probability: float
    missing: int
    effort: float
    reason: str


@dataclass(frozen=True, slots=True)
class Transcript:
    """A recording, written down.

    Attributes:
        name: of the recording.
        harp: what it was played on, given or guessed.
        notes: in order of their start.
        second: what a second player plays on a harp of the same key, likewise; empty where none is
            heard.
        guesses: the harps that came into question, the likeliest first; empty where it was given.
        tonic: pitch class of the tune's tonic; None where none is heard.
        meter: its bars; None where the notes have no beat that could be found.
        warnings: what the reader should know, a sentence each.
    """

    name: str
    harp: Harp
    notes: tuple[TranscribedNote, ...]
    guesses: tuple[HarpGuess, ...] = ()
    tonic: int | None = None
    meter: Meter | None = None
    warnings: tuple[str, ...] = ()
    second: tuple[TranscribedNote, ...] = ()

    @property
    def parts(self) -> tuple[tuple[TranscribedNote, ...], ...]:
        """The notes of each player: of one, or of two."""
        return (self.notes, self.second) if self.second else (self.notes,)
