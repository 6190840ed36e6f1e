"""What a step and a take earned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from trainer.drill import Drill, Step


@dataclass(frozen=True, slots=True)
class Measured:
    """The figures a mark was reached from; a figure that could not be measured is None.

    Attributes:
        start, end: first sample of the step as played, and first sample after it.
        late_ms: onset from where it should fall; negative is early.
        cents: median of the held part from its target; positive is sharp.
        wobble_cents: spread (standard deviation) of the held part about its own slope.
        drift_cents: change over the held part by its slope, end less start.
        scoop_cents: how far from the target the step started; of a glide, median of its first
            quarter.
        rungs: of a ladder, how far each rung is off; None for one that was not heard.
        stray_cents: of a glide on one hole, how far it strayed from its way at most.
        back_cents: of a glide or ladder on one hole, how far it went against its way, all in all.
        unheard: of a slide, tab of the sounds on its way that were not heard.
        vibrato_hz, vibrato_cents: rate of a vibrato that was asked for, and its depth to each
            side; None when none was heard.
        tries: where the clock is free, how many notes were begun until it was held.
        settle_ms: from the onset until the pitch stays within tolerance of where it is held; None
            if it never did, and for a glide.
        leak_db: level of the loudest unwanted hole relative to the wanted one.
        leak_hole: its number.
        holes: the holes that sounded for most of the held part.
        hidden: wanted holes, an octave above one that sounds, that cannot be told from it by ear;
            they are not judged.
        heard: tab of what was held, as text; differs from the step when a wrong note was played.
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
    tries: int | None = None


@dataclass(frozen=True, slots=True)
class Mark:
    """What one step earned.

    Attributes:
        step: the step.
        score: 0 to 100.
        criteria: each criterion of `trainer.drill.PARTS` that could be judged, 0 to 100.
        measured: the figures behind it.
        sentence: why, in plain words.
    """

    step: Step
    score: float
    criteria: Mapping[str, float]
    measured: Measured
    sentence: str


@dataclass(frozen=True, slots=True)
class ExtraNote:
    """A note that nothing asked for.

    Attributes:
        start, end: first sample, and first sample after it.
        beats: how long it lasted.
        after: index of the step before it; None before the first.
        heard: its tab, as text.
        sentence: what it was, in plain words.
    """

    start: int
    end: int
    beats: float
    after: int | None
    heard: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Result:
    """What a take earned.

    Attributes:
        drill: what was played.
        harp: name of the harp it was played on.
        tempo: beats a minute.
        marks: one for each step that the player is to play, in order.
        score: mean of the steps' scores, each counted by its length, 0 to 100; extra notes count
            as steps that earned nothing.
        passed: whether the score reached the drill's pass mark.
        extras: notes that nothing asked for, in order.
    """

    drill: Drill
    harp: str
    tempo: float
    marks: tuple[Mark, ...]
    score: float
    passed: bool
    extras: tuple[ExtraNote, ...] = ()

    @property
    def weakest(self) -> Mark | None:
        """The step that earned least; None for a drill of no steps."""
        return min(self.marks, key=lambda mark: mark.score, default=None)
