"""A pass: one run through a range of steps; and the tags of a saved take."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from trainer.drill import (
    MAX_BEATS,
    MIN_BEATS,
    BeatClock,
    Clock,
    Drill,
    RecordedTempo,
    TempoChange,
    TempoMap,
)
from trainer.harp import Harp
from trainer.marking import FreePass, Performance
from trainer.sound import RecordingSpec, open_source

TAIL_S, TAIL_BEATS = 0.6, 0.75
"""Time for which a pass still listens after its last step, in seconds and in beats; the shorter
counts. It leaves time for a late player and a decaying reed, and must end before the shortest
count-in does. Chosen."""
MIN_SAVED_TEMPO, MAX_SAVED_TEMPO = 10.0, 600.0
"""Slowest and fastest tempo of a saved pass in beats per minute: half and twice what a drill may
have."""
NO_END = 2**62
"""Sample on which a pass without a clock ends: never reached."""


@dataclass(frozen=True, slots=True)
class Pass:
    """One run through a range of steps. Its fields are tags of a saved take: part of the format.

    Attributes:
        zero: sample of the drill's beat 0.
        tempo: beats per minute.
        first, last: range of step indices, `last` not included.
        begin, close: a reading counts if its last sample lies in (`begin`, `close`].
        upto: first step that was not due when the pass was stopped; from here on none is marked.
        broken: whether the pass was interrupted; the next one resumes it and shares its result.
        swing, change: as in :class:`trainer.drill.BeatClock`.
        waits: whether it is extended beyond `close` for a player who is late.
        bars: first and last bar, of a drill with solos; they say which solos are played. None
            for another drill.
        performance: how it was played without a click, which is no tag; None in time with one.
    """

    zero: int
    tempo: float
    first: int
    last: int
    begin: int
    close: int
    upto: int
    broken: bool = False
    swing: float = 1.0
    waits: bool = False
    change: TempoMap | None = None
    bars: tuple[int, int] | None = None
    performance: Performance | None = None

    @classmethod
    def of(
        cls,
        drill: Drill,
        clock: BeatClock,
        steps: range,
        begin: int,
        bars: tuple[int, int] | None = None,
        *,
        waits: bool = False,
    ) -> Pass:
        """Return a pass that runs its course on a clock.

        Args:
            drill: what is played.
            clock: its beats.
            steps: indices of the steps of the pass.
            begin: sample after which its readings count.
            bars: first and last bar; None for all.
            waits: whether it is extended for a player who is late.
        """
        bars = bars or (1, drill.bars)
        ends = [drill.steps[steps[-1]].end, *(solo.end for solo in drill.solos_in(bars))]
        end = clock.sample(max(ends))
        beat_s = clock.beat_s(drill.steps[steps[-1]].end)
        close = end + round(min(TAIL_S, TAIL_BEATS * beat_s) * clock.rate)
        first, last = steps[0], steps[-1] + 1
        return cls(
            *(clock.zero, clock.tempo, first, last, begin, close, last),
            swing=clock.swing,
            waits=waits,
            change=clock.change,
            bars=bars if drill.solos else None,
        )

    @classmethod
    def free(cls, drill: Drill, steps: range, begin: int) -> Pass:
        """Return a pass without a clock, which ends when the player has played all steps."""
        first, last = steps[0], steps[-1] + 1
        return cls(0, drill.tempo, first, last, begin, NO_END, upto=last)

    @classmethod
    def followed(cls, free_pass: FreePass, steps: range, *, stopped: bool = False) -> Pass:
        """Return a pass that was found in what was played without a click.

        Args:
            free_pass: the pass.
            steps: indices of the steps of a whole pass.
            stopped: whether the player stopped the take where the pass ends; the steps after that
                are not marked.
        """
        curve = free_pass.performance.curve
        first, last = steps[0], steps[-1] + 1
        return cls(
            curve.zero,
            curve.tempo,
            first,
            last,
            free_pass.begin,
            free_pass.close,
            free_pass.reached + 1 if stopped else last,
            swing=curve.swing,
            performance=free_pass.performance,
        )

    def clock(self, rate: int) -> Clock:
        """Return its beats on the sample clock."""
        if self.performance is not None:
            return self.performance.curve
        return BeatClock(self.zero, self.tempo, rate, self.swing, self.change)


@dataclass(frozen=True, slots=True)
class OwnTime:
    """A take in the player's own time: its passes are found in its sound, whenever it is marked.

    Its fields are tags of a saved take: part of the format.

    Attributes:
        tempo: tempo that was asked for, in beats per minute.
        first, last: range of step indices of a pass, `last` not included.
        stopped: whether the player stopped it in the middle of a pass.
    """

    tempo: float
    first: int
    last: int
    stopped: bool = False

    def passes(self, free_passes: Sequence[FreePass]) -> list[Pass]:
        """Return the passes of the take, given those that its sound holds."""
        steps = range(self.first, self.last)
        return [
            Pass.followed(each, steps, stopped=self.stopped and each is free_passes[-1])
            for each in free_passes
        ]


def tags_of(
    drill: Drill | None, harp: Harp, passes: Sequence[Pass], own_time: OwnTime | None = None
) -> dict[str, Any]:
    """Return the tags of a saved take, as JSON can hold them.

    Args:
        drill: what was played; None without a drill.
        harp: what it was played on.
        passes: passes on a clock.
        own_time: how it was played without a click; None with one.
    """
    harp_tags = {
        "key": harp.key.name,
        "tuning": harp.tuning.name,
        "a4": harp.a4,
        "temperament_name": harp.temperament.name,
        "offsets": {str(tab): cents for tab, cents in harp.offsets.items()},
    }
    if drill is None:
        return {"harp": harp_tags}
    tags = {"harp": harp_tags, "drill": drill.name, "tolerance": drill.goal.tolerance}
    if own_time is not None:
        return {**tags, "own_time": asdict(own_time)}
    return {**tags, "passes": [_pass_tags(one_pass) for one_pass in passes]}


def _pass_tags(saved: Pass) -> dict[str, Any]:
    """Return the fields of a pass that are tags."""
    tags = asdict(replace(saved, performance=None))
    del tags["performance"]
    if saved.bars is None:
        del tags["bars"]
    return tags


def _saved_tags(recording: Path) -> Mapping[str, Any]:
    source = open_source(RecordingSpec(recording))
    source.close()
    return source.tags


def saved_harp(recording: Path) -> Harp | None:
    """Return the harp that a saved take was played on; None for any other recording.

    Raises:
        SoundError: the recording cannot be read.
        HarpError: the harp's tuning is not available any more.
    """
    try:
        tags = _saved_tags(recording)["harp"]
        return Harp.of(**tags) if _is_harp(tags) else None
    except (AttributeError, KeyError, TypeError):
        return None


def saved_tolerance(recording: Path, drill: Drill) -> float | None:
    """Return the tolerance in cents at which a saved take of the drill was played.

    A take that was saved without it was played at the narrowest. None for any other recording.

    Raises:
        SoundError: the recording cannot be read.
    """
    tags = _saved_tags(recording)
    if not (saved_passes(tags, drill) or saved_own_time(tags, drill)):
        return None
    cents = tags.get("tolerance", drill.goal.tolerance)
    return float(cents) if _is_number(cents, 1.0, 50.0) else drill.goal.tolerance


def saved_passes(tags: Mapping[str, Any], drill: Drill) -> tuple[Pass, ...]:
    """Return the passes of a saved take of the drill; empty for any other sound."""
    try:
        passes = tuple(_saved_pass(fields) for fields in tags["passes"])
        fits = tags["drill"] == drill.name and all(_is_pass(saved, drill) for saved in passes)
    except (AttributeError, KeyError, TypeError):
        return ()
    return passes if fits else ()


def saved_own_time(tags: Mapping[str, Any], drill: Drill) -> OwnTime | None:
    """Return how a saved take of the drill was played without a click; None for any other sound."""
    try:
        own_time = OwnTime(**tags["own_time"])
        fits = tags["drill"] == drill.name and _is_own_time(own_time, drill)
    except (AttributeError, KeyError, TypeError):
        return None
    return own_time if fits else None


def _saved_pass(fields: Mapping[str, Any]) -> Pass:
    """Return the pass of a saved take's tags; those of a steady tempo may lack `change`."""
    change = fields.get("change")
    bars = fields.get("bars")
    return Pass(
        **{
            **fields,
            "change": None if change is None else _saved_tempo(change),
            "bars": None if bars is None else tuple(bars),
        }
    )


def _saved_tempo(fields: Mapping[str, Any]) -> TempoMap:
    if "times" in fields:
        return RecordedTempo(fields["first"], tuple(fields["times"]))
    return TempoChange(**fields)


# Tags come from a file, which anybody can write: what the trainer would not have written is not
# taken for a saved take.


def _is_harp(tags: Mapping[str, Any]) -> bool:
    """Whether tags describe a harp, as far as types and finite numbers go."""
    offsets = tags.get("offsets", {})
    return (
        all(isinstance(tags.get(name, ""), str) for name in ("key", "tuning", "temperament_name"))
        and _is_number(tags.get("a4", 440.0))
        and isinstance(offsets, dict)
        and all(_is_number(cents) for cents in offsets.values())
    )


def _is_pass(saved: Pass, drill: Drill) -> bool:
    """Whether a saved pass is one of the drill's."""
    places = (saved.zero, saved.first, saved.last, saved.begin, saved.close, saved.upto)
    return (
        all(type(place) is int and abs(place) <= NO_END for place in places)
        and 0 <= saved.first <= saved.upto <= saved.last <= len(drill.steps)
        and saved.first < saved.last
        and 0 <= saved.begin <= saved.close
        and _is_number(saved.tempo, MIN_SAVED_TEMPO, MAX_SAVED_TEMPO)
        and _is_number(saved.swing, 1.0, 3.0)
        and (saved.change is None or _is_change(saved.change))
        and (saved.bars is None or _is_bars(saved.bars, drill))
        and type(saved.broken) is bool
        and type(saved.waits) is bool
    )


def _is_bars(bars: tuple[int, ...], drill: Drill) -> bool:
    """Whether saved bars are a range of the drill's."""
    are_numbers = len(bars) == 2 and all(type(bar) is int for bar in bars)
    return are_numbers and 1 <= bars[0] <= bars[1] <= drill.bars


def _is_own_time(own_time: OwnTime, drill: Drill) -> bool:
    """Whether a take without a click is one of the drill's."""
    return (
        type(own_time.first) is int
        and type(own_time.last) is int
        and 0 <= own_time.first < own_time.last <= len(drill.steps)
        and _is_number(own_time.tempo, MIN_SAVED_TEMPO, MAX_SAVED_TEMPO)
        and type(own_time.stopped) is bool
    )


def _is_change(change: TempoMap) -> bool:
    """Whether a saved change of tempo is one that a drill can have."""
    most = MAX_SAVED_TEMPO / MIN_SAVED_TEMPO
    if isinstance(change, RecordedTempo):
        return (
            type(change.first) is int
            and MIN_BEATS <= len(change.times) <= MAX_BEATS
            and all(_is_number(time) for time in change.times)
            and all(1.0 / most <= b - a <= most for a, b in pairwise(change.times))
        )
    return (
        _is_number(change.start)
        and _is_number(change.end)
        and change.start < change.end
        and _is_number(change.ratio, 1.0 / most, most)
        and change.ratio != 1.0
    )


def _is_number(value: object, least: float = -math.inf, most: float = math.inf) -> bool:
    """Whether a value is a finite number within bounds."""
    return (
        isinstance(value, int | float)
        and not isinstance(value, bool)
        and math.isfinite(value)
        and least <= value <= most
    )
