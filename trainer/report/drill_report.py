"""A drill in sentences: its harp, its tempo and length, its goal."""

from __future__ import annotations

from trainer.core.quantities import quantity_text
from trainer.drill import CRITERIA, DEFAULT_WEIGHTS, Drill, Goal, drill_position
from trainer.harp import Harp
from trainer.music import key_in_position, pitch_class_name, position_name
from trainer.report.formatting import bars_text

_DEFAULT_GOAL = Goal()


def duration_text(drill: Drill) -> str:
    """Return the duration of a drill at its own tempo, as minutes and seconds: ``0:32``."""
    minutes, seconds = divmod(round(drill.seconds), 60)
    return f"{minutes}:{seconds:02d}"


def tempo_text(drill: Drill) -> str:
    """Return the tempo of a drill: ``90 beats a minute, swung 2 to 1``, or that it has none."""
    if drill.free:
        held = quantity_text(drill.goal.hold, "second")
        return f"free clock: each step waits until it has been held in tune for {held}"
    swung = f", swung {drill.swing:g} to 1" if drill.swing != 1.0 else ""
    to = f" to {drill.tempo_to:g}" if drill.tempo_to is not None else ""
    return f"{drill.tempo:g}{to} beats a minute{swung}"


def drill_summary(drill: Drill, *, with_harp: bool = True) -> str:
    """Return level, harp, meter, tempo, length and loop of a drill, and its goal.

    Args:
        drill: the drill.
        with_harp: whether its own harp is named; not where it is played on another one.
    """
    tuning = "" if drill.tuning == "richter" else f" in {drill.tuning} tuning"
    meter = "" if drill.free else f"{drill.meter[0]}/{drill.meter[1]}, "
    bars = quantity_text(drill.bars, "bar") + (" and a pick-up" if drill.start else "")
    lasts = "" if drill.free else f", {duration_text(drill)}"
    trains = f"; {', '.join(drill.skills)}" if drill.skills else ""
    harp = f"{drill.key} harp{tuning}; " if with_harp else ""
    how = f"{harp}{meter}{tempo_text(drill)}; {bars}{lasts}."
    sentences = [
        f"Level {drill.level}{trains}.",
        how[:1].upper() + how[1:],
        *_loop(drill),
        *_recording(drill),
        _goal(drill),
    ]
    return " ".join(sentences)


def sheet_summary(drill: Drill) -> str:
    """Return what a player needs to know before playing: harp, position, song's key, tempo."""
    harp = Harp.of(drill.key, drill.tuning)
    position = drill_position(drill, harp)
    tonic = key_in_position(harp.key.tonic, position)
    song = pitch_class_name(tonic, harp.key.note)
    tuning = "" if drill.tuning == "richter" else f" in {drill.tuning} tuning"
    meter = "" if drill.free else f"{drill.meter[0]}/{drill.meter[1]}, "
    bars = quantity_text(drill.bars, "bar") + (" and a pick-up" if drill.start else "")
    return (
        f"{drill.key} harp{tuning}, {position_name(position)} position, in {song}; "
        f"{meter}{tempo_text(drill)}; {bars}."
    )


def _recording(drill: Drill) -> list[str]:
    return [f"Plays along: {drill.recording.path.name}."] if drill.recording else []


def _loop(drill: Drill) -> list[str]:
    sentences = []
    if drill.loop:
        sentences.append(f"Loop: {bars_text(drill.loop)}, again and again.")
    if drill.climb:
        by, to, after = drill.climb.by, drill.climb.to, drill.climb.after
        passes = "each good pass" if after == 1 else f"{after} good passes in a row"
        sentences.append(
            f"The tempo climbs by {by:g} after {passes}, up to {to:g}, and steps back after a miss."
        )
    return sentences


def _tightening(drill: Drill) -> str:
    tightening = drill.tightening
    if tightening is None:
        return ""
    if drill.goal.tolerance > tightening.to:
        return f", narrowing to {tightening.to:g}"
    return f", {tightening.start:g} at first"


def _goal(drill: Drill) -> str:
    goal = drill.goal
    parts = [
        f"Goal: within {goal.tolerance:g} cents of the target{_tightening(drill)}",
        f"passed from {goal.pass_mark:g} of 100",
    ]
    if goal.hold != _DEFAULT_GOAL.hold and not drill.free:
        parts.append(f"hold {quantity_text(goal.hold, 'second')} if the clock is free")
    other = [
        f"{part} {goal.weights[part]:g}"
        for part in CRITERIA
        if goal.weights[part] != DEFAULT_WEIGHTS[part]
    ]
    if other:
        parts.append(f"unusual weights: {', '.join(other)}")
    return "; ".join(parts) + "."
