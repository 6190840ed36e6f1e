"""The records of the journal.

Conventions. Times of day are aware datetimes in UTC. A day is the local date when the take began.
Pitches are in cents, levels in dB, durations in milliseconds unless stated otherwise. A measurement
that was not possible is None.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from uuid import uuid4

from trainer.drill import CleannessRule
from trainer.harp import Harp
from trainer.marking import Mark, Result, SoloMark

SOURCE_NAMES = ("microphone", "recording", "player")
"""Sources of a take, as `TakeRecord.source` names them; ``player`` is the built-in one."""
PLAYER_SOURCES = ("microphone", "recording")
"""Sources in which a player is heard on a real harp. The built-in player's takes are no evidence
about either."""


def sources_that_count(*, in_demo: bool) -> tuple[str, ...]:
    """Return the sources whose takes count: in a demo also the built-in player."""
    return SOURCE_NAMES if in_demo else PLAYER_SOURCES


@dataclass(frozen=True, slots=True)
class HarpTag:
    """The harp of a take.

    Attributes:
        key, tuning, a4, temperament: as in :class:`trainer.harp.Harp`.
        name: name of the own harp, such as ``old C``; None if it is none.
    """

    key: str
    tuning: str = "richter"
    a4: float = 440.0
    temperament: str = "equal"
    name: str | None = None

    @classmethod
    def of(cls, harp: Harp, name: str | None = None) -> HarpTag:
        """Return the tag of a harp."""
        return cls(harp.key.name, harp.tuning.name, harp.a4, harp.temperament.name, name)


@dataclass(frozen=True, slots=True)
class StepRecord:
    """The mark and the measurements of one step of a take.

    Attributes:
        index: index of the step in the drill, from 0.
        tab: tab of the step as written; the whole path of a glide or ladder.
        kind: ``note``, ``chord``, ``glide`` or ``ladder``.
        entry: tab entry whose pitch is judged: the note, or the end of a glide; None for chords
            and ladders.
        care: required cleanness, a value of :class:`trainer.drill.CleannessRule`.
        beats: written length in beats.
        score: 0 to 100.
        parts: score of each criterion that was judged, 0 to 100.
        sentence: the reason for the mark.
        heard: tab entry of the held pitch; None if none was held.
        cents, wobble_cents, drift_cents, scoop_cents, settle_ms, leak_db, leak_hole, late_ms: as
            in :class:`trainer.marking.Measured`; `cents` counts from the step's target.
        hz: held pitch in hertz, from `cents` and the target of `entry`; None if either is None.
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
        """Return the record of a mark that was earned on a harp."""
        step, measured = mark.step, mark.measured
        has_entry = not (
            step.is_chord
            or step.ladder
            or step.has_bent_choice
            or step.cleanness_rule is CleannessRule.AROUND
            or (step.optional and measured.start is None)
        )
        entry = step.last[0] if has_entry else None
        is_still = step.shake is None and step.vibrato is None
        hz = None
        if entry is not None and measured.cents is not None and is_still:
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
class SoloRecord:
    """The mark of a passage that was left to the player.

    Attributes:
        bar: number of the bar in which it begins, from 1; 0 in a pick-up.
        beats: its length in beats.
        score: 0 to 100.
        criteria: points on each of `trainer.drill.SOLO_CRITERIA` that was judged, 0 to 100.
        notes: number of notes that were played.
        sentence: the reason for the lowest of the points.
    """

    bar: int
    beats: float
    score: float
    criteria: Mapping[str, float]
    notes: int
    sentence: str = ""

    @classmethod
    def of(cls, mark: SoloMark) -> SoloRecord:
        """Return the record of a mark."""
        return cls(
            bar=mark.solo.bar,
            beats=float(mark.solo.beats),
            score=mark.score,
            criteria=dict(mark.criteria),
            notes=mark.measured.notes,
            sentence=mark.sentence if mark.criteria else "",
        )


@dataclass(frozen=True, slots=True)
class TakeRecord:
    """A marked pass through a drill.

    Attributes:
        id: unique id, across computers, too.
        player: name of the player.
        began: start, UTC.
        day: local date of the start.
        drill: name of the drill.
        title: title of the drill.
        skills: skills of the drill, the main one first.
        harp: the harp that was played.
        tempo: beats per minute.
        source: ``microphone``, ``recording`` or ``player`` (the built-in player).
        score: 0 to 100.
        passed: whether the score reached the drill's pass mark.
        whole: whether the whole drill was played.
        seconds: duration.
        steps: records of the steps, in order.
        extras: sentences about extra notes.
        audio: path of the audio file, relative to the journal's folder; None if not kept.
        first_bar, last_bar: the bars that were played, if all of their steps were; else None.
        tolerance: tolerance of its marks in cents; None if unknown, as in takes before version 4.
        solos: records of the solos, in order; empty in takes before version 5.
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
    first_bar: int | None = None
    last_bar: int | None = None
    tolerance: float | None = None
    solos: tuple[SoloRecord, ...] = ()

    @property
    def bars(self) -> tuple[int, int] | None:
        """First and last bar, if all of their steps were played; else None."""
        if self.first_bar is None or self.last_bar is None:
            return None
        return self.first_bar, self.last_bar

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
        """Return the record of a result.

        Args:
            result: the result of a pass.
            harp: the harp that was played.
            player: name of the player.
            began: start, an aware datetime; its time zone determines the day.
            source: as the attribute.
            harp_name: name of the own harp, if it is one.
            audio: as the attribute.
        """
        drill = result.drill
        playable = [step for step in drill.steps if not step.call]
        bars = played_bars(result) or (None, None)
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
            whole=len(result.marks) == len(playable),
            seconds=drill.seconds * drill.tempo / result.tempo,
            steps=tuple(StepRecord.of(mark, harp) for mark in result.marks),
            extras=tuple(extra.sentence for extra in result.extras),
            audio=audio,
            first_bar=bars[0],
            last_bar=bars[1],
            tolerance=drill.goal.tolerance,
            solos=tuple(SoloRecord.of(mark) for mark in result.solos),
        )


def played_bars(result: Result) -> tuple[int, int] | None:
    """First and last bar of a pass whose steps were all played; None for any other pass.

    A pick-up belongs to bar 1.
    """
    played = [mark.step for mark in result.marks]
    if not played:
        return None
    first, last = (max(1, step.bar) for step in (played[0], played[-1]))
    wanted = [
        step.index
        for step in result.drill.steps
        if not step.call and first <= max(1, step.bar) <= last
    ]
    return (first, last) if [step.index for step in played] == wanted else None


@dataclass(frozen=True, slots=True)
class ReedRecord:
    """The measured pitch of one reed.

    Attributes:
        tab: its natural note, as a tab entry.
        hz: pitch in hertz.
        spread_cents: spread of the readings in cents.
    """

    tab: str
    hz: float
    spread_cents: float = 0.0


@dataclass(frozen=True, slots=True)
class OwnHarp:
    """One measurement of a harp that the player has named.

    Attributes:
        player: name of the player.
        name: name of the harp, unique for the player.
        tag: key, tuning and reference pitch.
        measured: time of the measurement, UTC.
        reeds: the reeds that were measured; empty if the harp was forgotten.
    """

    player: str
    name: str
    tag: HarpTag
    measured: datetime
    reeds: tuple[ReedRecord, ...] = field(default=())


@dataclass(frozen=True, slots=True)
class Calibration:
    """A round-trip latency from output to input.

    Attributes:
        input, output: names of the devices.
        rate: sample rate in hertz.
        latency_ms: round trip in milliseconds.
        spread_ms: spread of single clicks in milliseconds.
        measured: time of the measurement, UTC.
        by_hand: whether the player entered it.
    """

    input: str
    output: str
    rate: int
    latency_ms: float
    spread_ms: float
    measured: datetime
    by_hand: bool = False


@dataclass(frozen=True, slots=True)
class Focus:
    """What a player wants to work on for some days.

    Attributes:
        name: a tab entry or a skill.
        since, until: first and last day.
    """

    name: str
    since: date
    until: date


@dataclass(frozen=True, slots=True)
class Placement:
    """A level that a player has in a skill without having passed its drills.

    Attributes:
        skill: the skill.
        level: highest level of drills that are taken for known.
        day: when it was found.
        by_hand: whether the player named it, instead of playing for it.
    """

    skill: str
    level: int
    day: date
    by_hand: bool = False
