"""Measuring articulation: length held, gap, separation and slap.

- A note is *held* from its onset until its level has fallen for good
  (:func:`trainer.ear.end_of_sound`), or until the next note begins. A slow fade does not end it,
  nor does reverberation prolong it by much.
- The *gap* to the next note is the time in which the level lies below half the amplitude of the
  softer of the two.
- The *separation* from the note before is how far the level falls between the two, below the softer
  of them. A tongue that stops the air makes 5 dB and more; one stream of air leaves none.
- A *slap* is heard where the two holes below the note sound with its attack.

How they are scored: ``articulation`` in :mod:`trainer.marking.criteria`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from trainer.drill import Articulation, Step
from trainer.ear import MINIMUM_LEVEL_DB, NoteParameters, end_of_sound, soft_attacks
from trainer.marking.follower import Segment
from trainer.marking.level_track import LevelTrack
from trainer.marking.mark import Measured
from trainer.marking.onset import segment_start
from trainer.marking.parameters import ARTICULATION, LOUDNESS, ONSET
from trainer.marking.reading_history import ReadingHistory


def end_of_step(
    step: Step, history: ReadingHistory, segment: Segment, start: int, rate: int
) -> int:
    """Sample at which a step stops sounding.

    Args:
        step: the step, whose hands may change its level.
        history: the readings of the pass.
        segment: the step's readings.
        start: sample on which it starts.
        rate: sample rate in hertz.
    """
    limit = _next_sound(step, history, segment)
    window = round(ARTICULATION.level_window_s * rate / 2.0)
    levels = LevelTrack.of(history, segment.start, segment.end + ONSET.slur_frames)
    levels = levels.between(start, limit - window)
    if not len(levels.at):
        return limit
    parameters = NoteParameters(end_db=ARTICULATION.end_db + _depth_db(step))
    return end_of_sound(levels.at.astype(float), levels.db, limit, rate, parameters)


def is_steady(step: Step) -> bool:
    """Whether the level of a step is not moved as written."""
    return not _depth_db(step)


def _depth_db(step: Step) -> float:
    """Depth in dB by which the level of a step moves as written."""
    vibrato_db = step.vibrato.db if step.vibrato else 0.0
    return vibrato_db + (ARTICULATION.wah_db if step.wah_hz else 0.0) + max(0.0, -step.swell_db)


def _next_sound(step: Step, history: ReadingHistory, segment: Segment) -> int:
    """Sample on which the sound after a step starts, or on which the readings end."""
    if segment.end >= len(history):
        return int(history.sample[len(history) - 1])
    return segment_start(history, segment.end, is_steady=is_steady(step))


def soft_start(step: Step, history: ReadingHistory, segment: Segment, rate: int) -> int | None:
    """Sample on which a step of the same pitch as the one before starts, without a clear attack.

    In a room the note before rings on under the next one, so that the ear hears no attack. The
    level still falls between the two and rises again, there or nearby. None where it does not, or
    where hands move it.

    Args:
        step: the step.
        history: the readings of the pass.
        segment: the step's readings.
        rate: sample rate in hertz.
    """
    if not is_steady(step):
        return None
    middle, span = int(history.level_at[segment.start]), ARTICULATION.soft_start_s * rate
    first, end = segment.start - ARTICULATION.soft_start_frames, segment.end + ONSET.slur_frames
    levels = LevelTrack.of(history, first, end).between(middle - span, middle + span)
    attacks = soft_attacks(zip(levels.at.tolist(), levels.db, strict=True))
    return min(attacks, key=lambda at: abs(at - middle), default=None)


def measure_articulation(
    measured: Measured,
    step: Step,
    history: ReadingHistory,
    segment: Segment,
    stop: int,
    length_ms: float,
    rate: int,
    following: Step | None,
) -> Measured:
    """The figures with those of articulation.

    Args:
        measured: its figures.
        step: the step.
        history: the readings of the pass.
        segment: the step's readings.
        stop: sample at which it stops sounding.
        length_ms: its written length in milliseconds.
        rate: sample rate in hertz.
        following: the step after it; None for none.
    """
    start = measured.start or 0
    held_ms = (stop - start) * 1000.0 / rate
    measured = replace(measured, held_fraction=held_ms / length_ms)
    if step.articulation is Articulation.TONGUED:
        measured = replace(measured, separation_db=_separation_db(history, segment, start, rate))
    is_joined = following is not None and step.leads_into(following)
    if step.articulation is Articulation.LEGATO and is_joined:
        measured = replace(measured, gap_ms=_gap_s(step, history, segment, start, rate) * 1000.0)
    if step.slap:
        measured = replace(measured, slap=_is_slapped(history, segment, step))
    return measured


def _gap_s(step: Step, history: ReadingHistory, segment: Segment, start: int, rate: int) -> float:
    """Seconds between a step that starts on a sample and the sound after it."""
    turn, span = _next_sound(step, history, segment), round(ARTICULATION.max_gap_s * rate)
    end = segment.end + ONSET.slur_frames
    levels = LevelTrack.of(history, segment.start, end).between(start, turn + span)
    before, after = levels.between(start, turn), levels.between(turn, turn + span)
    if not len(before.at) or not len(after.at):
        return ARTICULATION.max_gap_s
    note_db = float(np.percentile(before.db, LOUDNESS.percentile))
    next_db = float(after.db.max())
    if next_db < note_db - ARTICULATION.silent_gap_db:
        return ARTICULATION.max_gap_s
    around = levels.between(turn - span, turn + span)
    is_soft = around.db < min(note_db, next_db) - ARTICULATION.gap_db
    spacing_s = np.diff(around.at) / rate
    return min(ARTICULATION.max_gap_s, float(spacing_s[is_soft[1:]].sum()))


def _separation_db(history: ReadingHistory, segment: Segment, start: int, rate: int) -> float:
    """Fall of the level in dB before a step that starts on a sample."""
    first, end = segment.start - ARTICULATION.separation_frames, segment.end + ONSET.slur_frames
    levels = LevelTrack.of(history, first, end)
    span = ARTICULATION.separation_s * rate
    before = levels.between(start - span, start + 0.25 * span)
    after = levels.between(start, start + span)
    if not len(before.at) or not len(after.at):
        return ARTICULATION.silent_separation_db
    lowest = int(before.db.argmin())
    rise = float(after.db.max() - before.db[lowest])
    if rise >= ARTICULATION.silent_separation_db:
        return ARTICULATION.silent_separation_db
    return max(0.0, min(rise, float(before.db[: lowest + 1].max() - before.db[lowest])))


def _is_slapped(history: ReadingHistory, segment: Segment, step: Step) -> bool | None:
    """Whether the chord below a note sounded with its attack: each of its holes, for a moment.

    All of them, because the note before may still ring on one. None where the attack was neither
    that chord nor the note alone.
    """
    tab = step.first[0]
    below = slice(max(0, tab.hole - 1 - ARTICULATION.slap_holes), tab.hole - 1)
    frames = slice(segment.start, min(segment.start + ARTICULATION.slap_frames, len(history)))
    levels = np.nan_to_num(history.levels[frames, below].astype(float), nan=MINIMUM_LEVEL_DB)
    counts = np.count_nonzero(levels >= ARTICULATION.slap_db, axis=0)
    if counts.size and (counts >= ARTICULATION.min_slap_frames).all():
        return True
    names = history.name[frames][: ARTICULATION.slap_frames // 2]
    is_own = [tab in history.names[name] for name in names.tolist() if name >= 0]
    return False if 2 * sum(is_own) >= len(names) else None
