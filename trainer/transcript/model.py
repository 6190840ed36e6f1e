"""The result of a transcription.

Conventions. Times are seconds from the recording's first sample. Beats are counted as in a
:class:`trainer.drill.Drill`, from the first beat of the first full bar, as exact fractions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from trainer.drill import CleannessRule, Sound, Vibrato, format_sound
from trainer.harp import Harp
from trainer.transcript.confidence import estimate_confidence, mix_confidence

DOUBTFUL_CONFIDENCE = 0.8
"""Confidence under which a note is marked as doubtful."""


@dataclass(frozen=True, slots=True)
class TranscribedNote:
    """A note in notation.

    Attributes:
        start, end: when it sounds, seconds.
        sounds: its path of sounds, as in :class:`trainer.drill.Step`.
        cents: deviation of the held pitch from its target; positive is sharp.
        hz: held pitch.
        level_db: maximum level, dB re full scale.
        holes: holes that sounded for more than half of it.
        leak_db, leak_hole: loudest other hole, as in :class:`trainer.ear.HeardNote`.
        cleanness_rule: ``plain`` if it sounds alone, ``blur`` if with a weaker neighbour.
        vibrato: its vibrato, if any.
        struck: whether it begins with an attack; False if slurred from the note before.
        explained: fraction of the sound that the note's reeds explain, 0 to 1; None if it was not
            measured.
        activation: mean activation of its pitches, 0 to 1, if it was heard in a mix; see
            :mod:`trainer.transcript.harp_network`.
        reverb_ratio: sounds of reverberation alone that were dropped from the recording, per note
            that was kept.
        with_second_player: whether a second player's part is transcribed, too.
        alternatives: other paths of sounds that sound alone cannot distinguish from `sounds`.
        at: first beat; None before it is known.
        beats: length in beats; None before it is known.
        bar: number of the bar in which it begins, from 1; 0 in a pick-up; None before it is known.
        beat: beat of that bar, from 1; None before it is known.
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
    cleanness_rule: CleannessRule = CleannessRule.PLAIN
    vibrato: Vibrato | None = None
    struck: bool = True
    explained: float | None = None
    activation: float | None = None
    reverb_ratio: float = 0.0
    with_second_player: bool = False
    alternatives: tuple[tuple[Sound, ...], ...] = ()
    at: Fraction | None = None
    beats: Fraction | None = None
    bar: int | None = None
    beat: Fraction | None = None

    @property
    def tab(self) -> str:
        """The path as tab: ``-4'>-4``."""
        return path_text(self.sounds)

    @property
    def confidence(self) -> float | None:
        """Estimated probability that the note is right, 0 to 1; None if nothing was measured."""
        if self.activation is not None:
            return mix_confidence(self.activation)
        if self.explained is None:
            return None
        return estimate_confidence(
            self.explained, self.reverb_ratio, with_second_player=self.with_second_player
        )

    @property
    def is_doubtful(self) -> bool:
        """Whether its confidence is so low that it is to be checked by ear."""
        confidence = self.confidence
        return confidence is not None and confidence < DOUBTFUL_CONFIDENCE

    @property
    def seconds(self) -> float:
        """Duration in seconds."""
        return self.end - self.start


def path_text(sounds: Sequence[Sound]) -> str:
    """Return a path of sounds as tab."""
    return ">".join(format_sound(sound) for sound in sounds)


@dataclass(frozen=True, slots=True)
class Meter:
    """Tempo, meter and beats of a recording.

    Attributes:
        tempo: median over the recording, beats per minute.
        meter: beats per bar and note value of a beat, as in :class:`trainer.drill.Drill`.
        times: seconds of consecutive beats, the first of which is beat `first`.
        first: number of the first of these beats; negative before the first full bar.
        swing: ratio of the first half of a beat to the second, 1 to 3.
        given: which of ``tempo``, ``meter`` and ``first beat`` were given and not estimated.
        steady: whether one tempo fits the whole recording.
        near: fraction of the notes that begin near their place, 0 to 1.
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
        """Tempo of the slowest bar, beats per minute."""
        return 60.0 / max(self._beat_lengths())

    @property
    def fastest(self) -> float:
        """Tempo of the fastest bar, beats per minute."""
        return 60.0 / min(self._beat_lengths())

    def _beat_lengths(self) -> list[float]:
        """Mean seconds per beat of each bar's length of beats."""
        bar = self.meter[0]
        lengths = [
            (self.times[i + bar] - self.times[i]) / bar for i in range(len(self.times) - bar)
        ]
        return lengths or [60.0 / self.tempo]


@dataclass(frozen=True, slots=True)
class HarpGuess:
    """A harp on which a recording may have been played.

    Attributes:
        harp: the harp.
        position: most likely position on it, 1 to 12; None without a tonic.
        probability: relative to all harps that were tried, 0 to 1.
        missing: number of notes that it cannot play.
        effort: difficulty on it, as :func:`trainer.drill.difficulty.passage_difficulty`.
        reason: explanation for the player.
        opening: tab of the first notes on it.
    """

    harp: Harp
    position: int | None
    probability: float
    missing: int
    effort: float
    reason: str
    opening: str = ""


@dataclass(frozen=True, slots=True)
class Transcript:
    """A transcribed recording.

    Attributes:
        name: file name of the recording.
        harp: the harp, given or guessed.
        notes: in order of their start.
        guesses: candidate harps, most likely first; empty if the harp was given.
        tonic: pitch class of the tonic; None without one.
        meter: tempo and bars; None if no beat was found.
        warnings: one sentence each.
        second: notes of a second player on a harp of the same key; empty without one.
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
        """The notes of each player, one or two."""
        return (self.notes, self.second) if self.second else (self.notes,)
