"""What a drill leaves to the player, and what the trainer plays under it: solos and the ground.

Beats and bars are those of :mod:`trainer.drill.model`. Chords and scales are in half steps above
the tonic, which the drill's position relates to the harp.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction

from trainer.harp import Harp, Tab
from trainer.music import SCALES, Chord, key_in_position


class GroundStyle(StrEnum):
    """How the trainer plays the chords of a ground."""

    DRONE = "drone"
    """Root and fifth, held for as long as the chord lasts."""
    BASS = "bass"
    """A line of one note a beat through the notes of the chord."""
    CHORDS = "chords"
    """The root on strong beats, the chord on the others."""


@dataclass(frozen=True, slots=True)
class GroundChord:
    """A chord of a ground.

    Attributes:
        chord: the chord.
        start: beat on which it begins.
        beats: its length.
    """

    chord: Chord
    start: Fraction
    beats: Fraction

    @property
    def end(self) -> Fraction:
        """Beat on which it ends."""
        return self.start + self.beats


@dataclass(frozen=True, slots=True)
class Ground:
    """What the trainer plays under a drill: chords, bar by bar, from the first full bar on.

    Attributes:
        bars: the chords of each bar, which share it evenly. A ground that is shorter than the drill
            is repeated.
        style: how they are played.
    """

    bars: tuple[tuple[Chord, ...], ...]
    style: GroundStyle = GroundStyle.CHORDS

    def chords(self, meter_beats: int, end: Fraction) -> Iterator[GroundChord]:
        """Yield its chords from beat 0 to a beat, in order.

        Args:
            meter_beats: beats in a bar.
            end: beat on which the drill ends.
        """
        bar = 0
        while bar * meter_beats < end:
            chords = self.bars[bar % len(self.bars)]
            beats = Fraction(meter_beats, len(chords))
            for i, chord in enumerate(chords):
                start = bar * meter_beats + i * beats
                if start < end:
                    yield GroundChord(chord, start, min(beats, end - start))
            bar += 1


@dataclass(frozen=True, slots=True)
class Solo:
    """A passage that is left to the player.

    Attributes:
        start: beat on which it begins.
        beats: its length.
        bar: number of the bar in which it begins, from 1; 0 in a pick-up.
        line, column: position of its first token in its file, from 1; 0 without a file.
    """

    start: Fraction
    beats: Fraction
    bar: int = 1
    line: int = field(default=0, compare=False)
    column: int = field(default=0, compare=False)

    @property
    def end(self) -> Fraction:
        """Beat on which it ends."""
        return self.start + self.beats


@dataclass(frozen=True, slots=True)
class SoloBrief:
    """What is asked of the solos of a drill.

    Attributes:
        scale: name of the scale, as in `trainer.music.SCALES`.
        phrase_bars: longest phrase in bars.
        rest_beats: shortest rest between phrases in beats.
        range_half_steps: least distance of the highest from the lowest note in half steps.
        division: parts of a beat on which notes may begin: 2 for halves, which swing, 3 for
        triplets.
        bends_off: number of bends that may be out of tune without loss.
    """

    scale: str
    phrase_bars: float = 2.0
    rest_beats: float = 1.0
    range_half_steps: int = 7
    division: int = 2
    bends_off: int = 2

    @property
    def half_steps(self) -> tuple[int, ...]:
        """Its scale in half steps above the tonic, 0 to 11."""
        return SCALES[self.scale]

    def entries(self, harp: Harp, position: int) -> tuple[Tab, ...]:
        """Tab entries of its scale on a harp in a position, by pitch; without overblows."""
        return entries_of(self.half_steps, harp, position)


def entries_of(half_steps: tuple[int, ...], harp: Harp, position: int) -> tuple[Tab, ...]:
    """Return the tab entries of some notes on a harp, from the lowest to the highest.

    Args:
        half_steps: the notes in half steps above the tonic, 0 to 11.
        harp: the harp.
        position: the position, 1 to 12.
    """
    tonic = key_in_position(harp.key.tonic, position)
    wanted = {(tonic + each) % 12 for each in half_steps}
    entries = [tab for tab in harp.entries if not tab.over and harp.midi(tab) % 12 in wanted]
    return tuple(sorted(entries, key=lambda tab: (harp.midi(tab), tab.bend, tab.hole)))
