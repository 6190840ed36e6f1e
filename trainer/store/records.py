"""What the journal holds, as plain records.

Conventions. Moments are aware datetimes in UTC; days are the player's own, as the clock on the
wall said when the take began. Pitches are cents, levels dB, times of sound ms. A figure that could
not be measured is None.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from uuid import uuid4

from trainer.harp import Harp
from trainer.marking import Mark, Result


@dataclass(frozen=True, slots=True)
class HarpTag:
    """Which harp was in hand.

    Attributes:
        key, tuning, a4, temperament: as in :class:`trainer.harp.Harp`.
        name: what the player calls it, such as ``old C``; None for no harp in particular.
    """

    key: str
    tuning: str = "richter"
    a4: float = 440.0
    temperament: str = "equal"
    name: str | None = None

    @classmethod
    def of(cls, harp: Harp, name: str | None = None) -> HarpTag:
        """The tag of a harp."""
        return cls(harp.key.name, harp.tuning.name, harp.a4, harp.temperament.name, name)


@dataclass(frozen=True, slots=True)
class StepRecord:
    """What one step of a take earned, and the figures behind it.

    Attributes:
        index: place among the drill's steps, from 0.
        tab: what was asked for, as it is written; the whole path of a glide or ladder.
        kind: ``note``, ``chord``, ``glide`` or ``ladder``.
        entry: tab of the one entry that is judged, where there is one: the note itself, the end
            of a glide, None for chords and ladders.
        care: how clean it was to be.
        beats: how long it was to last.
        score: 0 to 100.
        parts: each part of `trainer.drill.PARTS` that was judged, 0 to 100.
        sentence: why, in plain words.
        heard: tab of what was held; None where nothing was.
        cents, wobble_cents, drift_cents, scoop_cents, settle_ms, leak_db, leak_hole, late_ms: as
            in :class:`trainer.marking.Measured`; `cents` counts from the step's target.
        hz: pitch that was held, by `cents` and the target of `entry`; None where either is.
    """

    index: int
    tab: str
    kind: str
    entry: str | None
    care: str
    beats: float
    score: float
    parts: Mapping[str, float]
    sentence: str
    heard: str | None = None
    cents: float | None = None
    wobble_cents: float | None = None
    drift_cents: float | None = None
    scoop_cents: float | None = None
    settle_ms: float | None = None
    leak_db: float | None = None
    leak_hole: int | None = None
    late_ms: float | None = None
    hz: float | None = None

    @classmethod
    def of(cls, mark: Mark, harp: Harp) -> StepRecord:
        """The record of a mark that was earned on a harp."""
        step, measured = mark.step, mark.measured
        entry = step.last[0] if not (step.is_chord or step.ladder) else None
        hz = None
        if entry is not None and measured.cents is not None:
            off = measured.cents + step.offset_cents(len(step.sounds) - 1)
            hz = harp.hz(entry) * 2.0 ** (off / 1200.0)
        kind = "ladder" if step.ladder else "glide" if step.is_glide else "note"
        return cls(
            index=step.index,
            tab=step.tab,
            kind="chord" if step.is_chord else kind,
            entry=None if entry is None else str(entry),
            care=step.cleanness_rule.value,
            beats=float(step.beats),
            score=mark.score,
            parts=dict(mark.criteria),
            sentence=mark.sentence,
            heard=measured.heard,
            cents=measured.cents,
            wobble_cents=measured.wobble_cents,
            drift_cents=measured.drift_cents,
            scoop_cents=measured.scoop_cents,
            settle_ms=measured.settle_ms,
            leak_db=measured.leak_db,
            leak_hole=measured.leak_hole,
            late_ms=measured.late_ms,
            hz=hz,
        )


@dataclass(frozen=True, slots=True)
class TakeRecord:
    """One pass through a drill that was marked.

    Attributes:
        id: a name that no other take has, wherever it was played.
        player: who played.
        began: when, UTC.
        day: the player's own day.
        drill: name of the drill.
        title: its title.
        skills: its skills, the main one first.
        harp: what it was played on.
        tempo: beats a minute.
        source: ``microphone``, ``recording`` or ``player`` (the built-in one).
        score: 0 to 100.
        passed: whether it reached the drill's pass mark.
        whole: whether all of the drill was played.
        seconds: how long it lasted.
        steps: in order.
        extras: sentences of notes that nothing asked for.
        audio: name of its sound file in the journal's folder; None if it was not kept.
    """

    id: str
    player: str
    began: datetime
    day: date
    drill: str
    title: str
    skills: tuple[str, ...]
    harp: HarpTag
    tempo: float
    source: str
    score: float
    passed: bool
    whole: bool
    seconds: float
    steps: tuple[StepRecord, ...] = ()
    extras: tuple[str, ...] = ()
    audio: str | None = None

    @classmethod
    def of(
        cls,
        result: Result,
        harp: Harp,
        *,
        player: str,
        began: datetime,
        source: str,
        harp_name: str | None = None,
        audio: str | None = None,
    ) -> TakeRecord:
        """The record of a result.

        Args:
            result: what was earned.
            harp: what it was played on.
            player: who played.
            began: when, aware; the day is that of its own time zone.
            source: where the sound came from.
            harp_name: what the player calls the harp.
            audio: name of its sound file.
        """
        drill = result.drill
        own = [step for step in drill.steps if not step.call]
        return cls(
            id=uuid4().hex,
            player=player,
            began=began,
            day=began.date(),
            drill=drill.name,
            title=drill.title,
            skills=drill.skills,
            harp=HarpTag.of(harp, harp_name),
            tempo=result.tempo,
            source=source,
            score=result.score,
            passed=result.passed,
            whole=len(result.marks) == len(own),
            seconds=drill.seconds * drill.tempo / result.tempo,
            steps=tuple(StepRecord.of(mark, harp) for mark in result.marks),
            extras=tuple(extra.sentence for extra in result.extras),
            audio=audio,
        )


@dataclass(frozen=True, slots=True)
class ReedRecord:
    """The pitch of one reed as it was measured.

    Attributes:
        tab: a natural entry, as text.
        hz: its pitch.
        spread_cents: how far readings of it lay apart.
    """

    tab: str
    hz: float
    spread_cents: float = 0.0


@dataclass(frozen=True, slots=True)
class OwnHarp:
    """A harp of the player's, as it was measured.

    Attributes:
        player: whose.
        name: what the player calls it; no two of a player's have the same.
        tag: key, tuning and what it is tuned to.
        measured: when, UTC.
        reeds: as far as they were measured.
    """

    player: str
    name: str
    tag: HarpTag
    measured: datetime
    reeds: tuple[ReedRecord, ...] = field(default=())


@dataclass(frozen=True, slots=True)
class Calibration:
    """A round trip from click to microphone.

    Attributes:
        input, output: names of the devices.
        rate: samples a second.
        latency_ms: the round trip.
        spread_ms: how far single clicks lay apart.
        measured: when, UTC.
        by_hand: whether the player gave it.
    """

    input: str
    output: str
    rate: int
    latency_ms: float
    spread_ms: float
    measured: datetime
    by_hand: bool = False
