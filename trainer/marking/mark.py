"""What a step and a pass earned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from trainer.drill import Drill, Step
from trainer.marking.performance import Performance
from trainer.marking.solo_mark import SoloMark


@dataclass(frozen=True, slots=True)
class Measured:
    """The figures that a mark follows from; None where a figure could not be measured.

    The held span of a note is from when it has settled until it is let go; see
    :mod:`trainer.marking.measurement`.

    Attributes:
        start, end: first sample of the step as played, and first sample after it.
        late_ms: milliseconds between the due time and the onset; negative is early.
        cents: mean deviation of the held span from the target, robust; positive is sharp.
        wobble_cents: standard deviation of the held span about its own slope.
        drift_cents: change along that slope over the held span, end less start.
        scoop_cents: deviation from the target at the onset; of a glide, mean deviation of its
            first rest.
        settle_ms: milliseconds from the onset until the pitch stays within tolerance of the held
            pitch; None if it never does, and for a glide or ladder.
        leak_db: level of the loudest unwanted hole relative to the wanted one, in dB.
        leak_hole: number of that hole.
        holes: the holes that sounded in most of the held span.
        hidden: wanted holes an octave above a sounding one, which cannot be heard apart from it.
            They are not judged.
        heard: tab of the sound that was heard, as text; another than the step's is a wrong note.
        rungs: of a ladder, deviation of each rung in cents; None for a rung that was not heard.
        stray_cents: of a glide on one hole, greatest distance from its path.
        back_cents: of a glide or ladder on one hole, how far the pitch went against its direction,
            in total.
        unheard: of a slide, tab of the sounds on its way that were not heard.
        vibrato_hz, vibrato_cents: where the step has a throat vibrato, its rate, and half of its
            extent; None where none was heard. Where it only dips, `cents` is its top.
        shake_hz: of a shake, full cycles per second; None where the sounds did not alternate.
        shake_fraction: of a shake, fraction of the time on the step's own sound.
        shake_spread: of a shake, standard deviation of its cycles' lengths relative to the median.
        shake_db: of a shake, level of the other sound relative to the step's own.
        dip_cents, dip_ms: of a wanted scoop or dip, how far below the note it started, and for how
            long it rose.
        fall_cents, fall_ms: the same of a wanted fall, at the note's end.
        grace_ms: length of a wanted grace note; None where none was heard.
        vibrato_db: where the step has a hand vibrato, its peak-to-peak depth in dB; None where none
            was heard.
        wah_hz, wah_db: where the step has a wah, its rate, and its peak-to-peak depth in dB; None
            where none was heard.
        level_db: level in dB re full scale; only differences within a take mean something.
        accent_db: where the step has an accent, its level in dB relative to the notes around it.
        swell_db: where the step swells or fades, its change of level in dB.
        held_fraction: fraction of the written length for which it sounded.
        separation_db: where the step is tongued, how far the level fell before it; 20 dB for
            silence.
        gap_ms: where the step is legato, milliseconds until the next note of the same breath.
        slap: where the step is slapped, whether the chord sounded with its attack.
        is_slurred: whether it started without an attack, out of the note before it.
        held_on: tab of the sound before, where its pitch went on and no attack was heard. When the
            step began is then not known; see :func:`trainer.marking.follower.is_held_on`.
        tries: where the clock is free, number of attacks until the step was held.
        common_late_ms: lateness that nearly all notes of the pass share, by the latency or the
            count-in; 0 for none. The step's time is judged against it.
        common_late_points: points of that lateness, 0 to 100; an aim at time earns no more.
    """

    start: int | None = None
    end: int | None = None
    late_ms: float | None = None
    cents: float | None = None
    wobble_cents: float | None = None
    drift_cents: float | None = None
    scoop_cents: float | None = None
    settle_ms: float | None = None
    leak_db: float | None = None
    leak_hole: int | None = None
    holes: tuple[int, ...] = ()
    hidden: tuple[int, ...] = ()
    heard: str | None = None
    rungs: tuple[float | None, ...] = ()
    stray_cents: float | None = None
    back_cents: float | None = None
    unheard: tuple[str, ...] = ()
    vibrato_hz: float | None = None
    vibrato_cents: float | None = None
    shake_hz: float | None = None
    shake_fraction: float | None = None
    shake_spread: float | None = None
    shake_db: float | None = None
    dip_cents: float | None = None
    dip_ms: float | None = None
    fall_cents: float | None = None
    fall_ms: float | None = None
    grace_ms: float | None = None
    vibrato_db: float | None = None
    wah_hz: float | None = None
    wah_db: float | None = None
    level_db: float | None = None
    accent_db: float | None = None
    swell_db: float | None = None
    held_fraction: float | None = None
    separation_db: float | None = None
    gap_ms: float | None = None
    slap: bool | None = None
    is_slurred: bool = False
    held_on: str | None = None
    tries: int | None = None
    common_late_ms: float = 0.0
    common_late_points: float = 100.0

    @property
    def own_late_ms(self) -> float | None:
        """Lateness less that of nearly all notes of the pass."""
        return None if self.late_ms is None else self.late_ms - self.common_late_ms


class Figures(Protocol):
    """Those figures of :class:`Measured` that the journal keeps too."""

    @property
    def late_ms(self) -> float | None:
        """Milliseconds between the due time and the onset."""

    @property
    def cents(self) -> float | None:
        """Deviation of the held span from the target."""

    @property
    def wobble_cents(self) -> float | None:
        """Standard deviation of the held span about its slope."""

    @property
    def drift_cents(self) -> float | None:
        """Change along that slope."""

    @property
    def scoop_cents(self) -> float | None:
        """Deviation from the target at the onset."""

    @property
    def settle_ms(self) -> float | None:
        """Milliseconds until the pitch stays within tolerance."""

    @property
    def leak_db(self) -> float | None:
        """Level of the loudest unwanted hole in dB."""

    @property
    def leak_hole(self) -> int | None:
        """Number of that hole."""

    @property
    def heard(self) -> str | None:
        """Tab of the sound that was heard."""


@dataclass(frozen=True, slots=True)
class Mark:
    """What a step earned.

    Attributes:
        step: the step.
        score: points, 0 to 100.
        criteria: points of each criterion that could be judged, 0 to 100; the names are those of
            `trainer.drill.CRITERIA`.
        measured: the figures behind them.
        sentence: the reason, in words for a player.
    """

    step: Step
    score: float
    criteria: Mapping[str, float]
    measured: Measured
    sentence: str


@dataclass(frozen=True, slots=True)
class ExtraNote:
    """A note that the drill does not ask for.

    Attributes:
        start, end: sample of its first reading, and of its last.
        beats: its length in beats.
        after: index of the step before it; None before the first.
        heard: its tab, as text.
        sentence: where and what it was, in words for a player.
    """

    start: int
    end: int
    beats: float
    after: int | None
    heard: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Result:
    """What a pass earned.

    Attributes:
        drill: the drill.
        harp: name of the harp it was played on.
        tempo: beats per minute.
        marks: the mark of each of the player's steps, in order.
        score: mean of the steps' scores weighted by their lengths, 0 to 100. Extra notes count as
            steps that earned nothing.
        passed: whether the score reached the drill's pass mark and the pass was played to its end.
        extras: the extra notes, in order.
        unplayed: number of steps that were to come when the pass was stopped, and of solos that had
            not ended.
        performance: how it was played without a click; None in time with one.
        solos: the mark of each solo, in order.
    """

    drill: Drill
    harp: str
    tempo: float
    marks: tuple[Mark, ...]
    score: float
    passed: bool
    extras: tuple[ExtraNote, ...] = ()
    unplayed: int = 0
    performance: Performance | None = None
    solos: tuple[SoloMark, ...] = ()

    def beat_ms(self, step: Step) -> float:
        """Length of a beat in milliseconds at a step, at the tempo of the pass."""
        played = self.performance
        clock = played.curve if played else self.drill.clock(1, tempo=self.tempo)
        return 1000.0 * clock.beat_s(step.start)

    @property
    def weakest(self) -> Mark | None:
        """The mark with the lowest score; None for a drill without steps."""
        return min(self.marks, key=lambda mark: mark.score, default=None)
