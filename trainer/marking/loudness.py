"""Measuring loudness: the level of a note, a swell or fade, hand vibrato and wah, and accents.

All figures are differences of levels within one take, so the microphone's gain and its distance
drop out. An automatic gain does not: it levels what the player makes louder.

- The *level* of a note is the upper quartile of its levels after the attack and before the release:
  a short note, which speaks late, and a wah are not taken for soft ones.
- A *swell* or fade is the change along the line of least squares through these levels.
- *Hand vibrato* and *wah* are a sinusoid beside a line, fitted by least squares to windows of three
  cycles (the floating-mean periodogram of Zechmeister and Kuerster 2009, A&A 496, with a line for
  the mean), at rates around the one that is asked for. They are searched for only where they are
  asked for, so a rough one is found, too.
- An *accent* is the level of a note relative to the median of unaccented notes around it. Notes of
  the same tab come first, because reeds, and places in a room, differ by some dB from each other.

How they are scored: ``dynamics`` and ``motion`` in :mod:`trainer.marking.criteria`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from trainer.core.types import Floats
from trainer.drill import Step, VibratoKind
from trainer.ear import resample_evenly
from trainer.marking.level_track import LevelTrack
from trainer.marking.mark import Measured
from trainer.marking.parameters import LOUDNESS


@dataclass(frozen=True, slots=True)
class LevelModulation:
    """A regular change of level.

    Attributes:
        hz: rate in hertz.
        db: peak-to-peak depth in dB.
    """

    hz: float
    db: float


def measure_loudness(measured: Measured, step: Step, levels: LevelTrack, rate: int) -> Measured:
    """The figures with those of loudness that the step asks for.

    Args:
        measured: its figures.
        step: the step.
        levels: its levels, from its onset until it stops sounding.
        rate: sample rate in hertz.
    """
    t = (levels.at - levels.at[0]) / rate if len(levels.at) else np.zeros(0)
    length_s = float(t[-1]) if len(t) else 0.0
    longest_s = length_s / LOUDNESS.edge_divisor
    is_held = (t >= min(LOUDNESS.attack_s, longest_s)) & (
        t <= length_s - min(LOUDNESS.release_s, longest_s)
    )
    t, db = t[is_held], levels.db[is_held]
    if len(t) < LOUDNESS.min_levels:
        return measured
    measured = replace(measured, level_db=float(np.percentile(db, LOUDNESS.percentile)))
    if step.swell_db:
        slope = float(np.polyfit(t, db, 1)[0])
        measured = replace(measured, swell_db=slope * length_s)
    if step.vibrato and step.vibrato.kind is VibratoKind.HAND:
        motion = find_modulation(t, db, step.vibrato.hz)
        if motion:
            measured = replace(measured, vibrato_hz=motion.hz, vibrato_db=motion.db)
    if step.wah_hz:
        motion = find_modulation(t, db, step.wah_hz)
        if motion:
            measured = replace(measured, wah_hz=motion.hz, wah_db=motion.db)
    return measured


def find_modulation(t: Floats, db: Floats, wanted_hz: float) -> LevelModulation | None:
    """The modulation of a note's level; None where there is none.

    Args:
        t: times of the levels in seconds, shape (n,).
        db: levels in dB, shape (n,).
        wanted_hz: rate that is asked for; others are searched around it.
    """
    path = resample_evenly(t, db)
    step_s = (t.max() - t.min()) / max(1, len(path))
    count = min(len(path), round(LOUDNESS.window_cycles / wanted_hz / step_s)) if step_s else 0
    if count < LOUDNESS.min_levels:
        return None
    octaves = np.arange(-LOUDNESS.octaves, LOUDNESS.octaves + 1e-9, LOUDNESS.octave_step)
    rates = wanted_hz * 2.0**octaves
    starts = range(0, len(path) - count + 1, max(1, count // 2))
    at = (np.arange(count) - (count - 1) / 2.0) * step_s
    fits = [_fit(at, path[first : first + count], rates) for first in starts]
    heard = [fit for fit, explained in fits if explained >= LOUDNESS.explained]
    heard = [fit for fit in heard if fit.db >= LOUDNESS.audible_db]
    if len(heard) < LOUDNESS.heard_fraction * len(fits):
        return None
    return LevelModulation(
        float(np.median([fit.hz for fit in heard])), float(np.median([fit.db for fit in heard]))
    )


def _fit(at: Floats, db: Floats, rates: Floats) -> tuple[LevelModulation, float]:
    """The sinusoid beside a line that explains most, and the fraction that it explains.

    Args:
        at: times in seconds about the window's middle, shape (n,).
        db: levels, shape (n,).
        rates: rates to try in hertz, shape (m,).
    """
    line = np.stack([np.ones_like(at), at], axis=1)
    beside = db - line @ np.linalg.lstsq(line, db, rcond=None)[0]
    power = float(beside @ beside) + 1e-9
    best, explained = LevelModulation(float(rates[0]), 0.0), 0.0
    for hz in rates.tolist():
        phase = 2.0 * np.pi * hz * at
        rows = np.column_stack([np.cos(phase), np.sin(phase), line])
        a, b, *rest = np.linalg.lstsq(rows, db, rcond=None)[0]
        residual = db - rows @ np.array([a, b, *rest])
        fraction = 1.0 - float(residual @ residual) / power
        if fraction > explained:
            best, explained = LevelModulation(hz, 2.0 * float(np.hypot(a, b))), fraction
    return best, explained


def accent_db(accented: Step, figures: Mapping[Step, Measured]) -> float | None:
    """Level in dB of an accented step relative to the unaccented ones around it.

    Args:
        accented: the step.
        figures: the figures of the pass's steps, its own included.

    Returns:
        None where the level of the step, or of all others, is not known.
    """
    level = figures[accented].level_db
    around = sorted(
        (abs(step.index - accented.index), step.index, step.tab == accented.tab, measured.level_db)
        for step, measured in figures.items()
        if not step.accent and measured.level_db is not None
    )
    if level is None or not around:
        return None
    same = [db for _, _, is_same, db in around if is_same]
    near = same or [db for _, _, _, db in around]
    return level - float(np.median(near[: LOUDNESS.neighbours]))
