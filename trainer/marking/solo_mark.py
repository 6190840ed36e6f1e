"""What a solo earned: its notes, figures, points and sentences."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from trainer.drill import Solo
from trainer.harp import Tab


@dataclass(frozen=True, slots=True)
class SoloNote:
    """A note that was played in a solo.

    Attributes:
        start, end: first sample, and first sample after the last.
        beat: beat on which it began, on the written scale: without swing.
        late_ms: milliseconds after the nearest part of a beat; negative is early.
        beats: its length in beats.
        tab: the entry of its pitch.
        midi: MIDI note number of that.
        cents: deviation from the entry's target.
        leak_db: level of the loudest unwanted hole relative to it in dB; None for none.
        is_ornament: whether it is too short for its pitch to be judged.
    """

    start: int
    end: int
    beat: float
    late_ms: float
    beats: float
    tab: Tab
    midi: int
    cents: float
    leak_db: float | None
    is_ornament: bool = False

    @property
    def end_beat(self) -> float:
        """Beat on which it ended."""
        return self.beat + self.beats


@dataclass(frozen=True, slots=True)
class Phrase:
    """Successive notes without a rest between them.

    Attributes:
        notes: its notes.
        fit: 1 for the length that is asked for, 0 for one that is too long by a rest or too short.
    """

    notes: tuple[SoloNote, ...]
    fit: float

    @property
    def start(self) -> float:
        """Beat on which it begins."""
        return self.notes[0].beat

    @property
    def end(self) -> float:
        """Beat on which it ends."""
        return max(note.end_beat for note in self.notes)


@dataclass(frozen=True, slots=True)
class SoloMeasured:
    """The figures of a solo; None where one could not be measured.

    Attributes:
        notes: number of notes.
        wanted_notes: number from which enough was played.
        off_scale: fraction of the notes outside the scale.
        foreign: tab of the note outside the scale that was played most; empty for none.
        strong_beats: number of strong beats on which a note sounds.
        chord_notes: fraction of these on which it is a note of the chord.
        cents: mean distance of the notes from their pitch in cents.
        bends_off: number of bends beyond the tolerance.
        late_ms: mean distance of the onsets from the nearest part of a beat in milliseconds.
        leaks: fraction of the notes with a leak louder than -24 dB.
        phrases: lengths of the phrases in beats, rests between them not included.
        phrased: mean fit of the phrases, weighted by their notes.
        range_half_steps: distance of the highest from the lowest note in half steps.
        effective_notes: effective number of different notes.
        repeated_phrases: fraction of the phrases after the first of the pass that repeat an earlier
            one, of this solo or of one before.
        repeated_notes: fraction of the notes that end a repetition.
        in_runs: fraction of the notes in runs along the scale.
    """

    notes: int = 0
    wanted_notes: int = 1
    off_scale: float | None = None
    foreign: str = ""
    strong_beats: int = 0
    chord_notes: float | None = None
    cents: float | None = None
    bends_off: int = 0
    late_ms: float | None = None
    leaks: float | None = None
    phrases: tuple[float, ...] = ()
    phrased: float | None = None
    range_half_steps: int | None = None
    effective_notes: float | None = None
    repeated_phrases: float | None = None
    repeated_notes: float | None = None
    in_runs: float | None = None


@dataclass(frozen=True, slots=True)
class SoloMark:
    """What a solo earned.

    Attributes:
        solo: the passage.
        score: points, 0 to 100.
        criteria: points on each of `trainer.drill.SOLO_CRITERIA` that could be judged.
        measured: the figures behind them.
        sentences: the reason for each criterion's points, in words for a player.
        notes: what was played.
    """

    solo: Solo
    score: float
    criteria: Mapping[str, float]
    measured: SoloMeasured
    sentences: Mapping[str, str]
    notes: tuple[SoloNote, ...] = ()

    @property
    def sentence(self) -> str:
        """The sentence on the criterion with the fewest points."""
        weakest = min(self.criteria, key=self.criteria.__getitem__)
        return self.sentences[weakest]
