"""How a note moves: scoop, settling, drift and wobble, glide, vibrato and tremolo.

Conventions. Times are seconds from the note's start, pitches cents from any reference, levels dB.
Readings may lie at any times; for fitting they are interpolated linearly to a grid of 5 ms. The
last 40 ms of a note, its release, are left out.

- A *modulation* (of pitch: vibrato; of level: tremolo) is a sinusoid of 3 to 9 Hz beside a
  straight line, fitted by least squares to windows of a few cycles (the floating-mean periodogram
  of Zechmeister and Kuerster 2009, A&A 496, with a line for the mean). It counts if it explains
  nearly all that the line does not, and if the pitch itself reverses as often as the cycles
  require: a bend does not reverse. Random wander may look like a cycle or two of a shallow
  modulation, so a shallow one needs three.
- A *plateau* is a stretch in which the pitch without its vibrato moves by less than 100 cents per
  second. The longest is the *held* part; drift and wobble are measured on it. The part before the
  first plateau is the scoop.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from trainer.core.stats.dispersion import SD_PER_MAD, median_absolute_deviation
from trainer.core.types import Floats
from trainer.music import cents

GRID_S = 0.005
"""Step of the grid, seconds."""
RATES_HZ = 3.0 * (9.0 / 3.0) ** (np.arange(20) / 19.0)
"""Rates of modulation that are tried, 6 % apart."""


@dataclass(frozen=True, slots=True)
class ModulationTier:
    """Requirements for a modulation; a shallow one needs more cycles.

    Attributes:
        cycles: length of the window in cycles.
        explained: minimum fraction of the energy beside a line that the sinusoid explains.
        depth: minimum depth, cents or dB.
    """

    cycles: float
    explained: float
    depth: float


@dataclass(frozen=True, slots=True)
class MotionParameters:
    """Constants of the motion estimates.

    Chosen on `harmonica 1` of benchmarks/fonts.py, as benchmarks/notes.py measures them, unless a
    field says otherwise.
    """

    release_s: float = 0.04
    """End of a note that is left out, seconds."""
    window_step: int = 5
    """Step from one window of the modulation search to the next, grid points."""
    fit_steps: int = 3
    """Gauss-Newton steps of a modulation's rate."""
    vibrato: tuple[ModulationTier, ...] = (
        ModulationTier(1.5, 0.98, 12.0),
        ModulationTier(2.0, 0.97, 12.0),
        ModulationTier(3.0, 0.90, 3.0),
    )
    """Requirements for vibrato; depths in cents."""
    tremolo: tuple[ModulationTier, ...] = (
        ModulationTier(1.5, 0.98, 2.5),
        ModulationTier(2.0, 0.97, 2.5),
        ModulationTier(3.0, 0.90, 1.0),
    )
    """Requirements for tremolo; depths in dB."""
    reversal: float = 0.7
    """Minimum size of a movement between two reversals, as a fraction of the depth, which is half
    of the peak-to-peak size."""
    moving_cents_s: float = 100.0
    """Speed from which the pitch moves, cents per second."""
    speed_points: int = 11
    """Span over which speed is measured, grid points (50 ms)."""
    min_readings: int = 4
    """Minimum number of readings for any estimate."""
    min_span_s: float = 0.02
    """Minimum span of these readings, seconds."""
    min_plateau_s: float = 0.08
    """Minimum duration of a plateau, seconds; half of the note if that is shorter."""
    same_plateau_cents: float = 20.0
    """Difference in pitch under which neighbouring plateaus are one, cents."""
    settled_cents: float = 10.0
    """Tolerance of a settled pitch, cents (common practice: within 10 cents a held note sounds in
    tune)."""
    min_glide_cents: float = 30.0
    """Minimum range of a glide, cents."""
    first_s: float = 0.012
    """Span of the first readings whose line gives the initial pitch, seconds."""
    extrapolation_s: float = 0.02
    """Maximum time over which that line is extrapolated back, seconds."""
    extrapolation_cents: float = 20.0
    """Maximum change of pitch by this extrapolation, cents."""


MOTION = MotionParameters()
"""The constants in use."""


@dataclass(frozen=True, slots=True)
class Modulation:
    """A regular modulation of pitch or level.

    Attributes:
        hz: cycles per second, 3 to 9.
        depth: half of the peak-to-peak size: plus and minus cents, or dB.
    """

    hz: float
    depth: float


@dataclass(frozen=True, slots=True)
class Glide:
    """A movement inside a note, from one pitch to another, or away and back.

    Attributes:
        start_hz, end_hz: pitch of the first and the last plateau; the very first or last pitch if
            there is no plateau there.
        monotone: whether it moves in one direction only, but for 10 cents.
    """

    start_hz: float
    end_hz: float
    monotone: bool

    @property
    def cents(self) -> float:
        """Interval from start to end, negative is down."""
        return cents(self.end_hz, self.start_hz)


@dataclass(frozen=True, slots=True)
class Motion:
    """How a note moves; None where it could not be estimated.

    Attributes:
        scoop_cents: initial pitch relative to the first plateau; negative is from below.
        settle_ms: time from the start until the pitch, without vibrato, stays within 10 cents of
            the first plateau.
        drift_cents_s: slope of the held part, cents per second.
        wobble_cents: robust standard deviation of the held part about that slope and its vibrato.
        vibrato: modulation of its pitch in plus and minus cents; None if there is none.
        glide: None if it stays on one pitch.
    """

    scoop_cents: float | None = None
    settle_ms: float | None = None
    drift_cents_s: float | None = None
    wobble_cents: float | None = None
    vibrato: Modulation | None = None
    glide: Glide | None = None


def resample_evenly(t: Floats, x: Floats) -> Floats:
    """Return values at times, shape (n,), in any order, on a grid of 5 ms from the first time."""
    order = np.argsort(t, kind="stable")
    t, x = t[order], x[order]
    return np.interp(np.arange(t[0], t[-1], GRID_S), t, x)


@lru_cache(maxsize=256)
def _bases(count: int, hz: float) -> tuple[Floats, Floats]:
    """Orthonormal bases of `count` points: of lines, and of a sinusoid beside them, (count, 2)."""
    t = (np.arange(count) - (count - 1) / 2.0) * GRID_S
    lines = np.stack([np.ones(count), t], axis=1) / [np.sqrt(count), np.linalg.norm(t)]
    phase = 2.0 * np.pi * hz * t
    waves = np.stack([np.cos(phase), np.sin(phase)], axis=1)
    return lines, np.linalg.qr(waves - lines @ (lines.T @ waves))[0]


def _count_movements(x: Floats, smallest: float) -> int:
    """Number of movements of at least that size, alternately up and down."""
    count, direction, low, high = 0, 0, x[0], x[0]
    for value in x.tolist():
        low, high = min(low, value), max(high, value)
        if direction >= 0 and high - value >= smallest:
            count, direction, low = count + 1, -1, value
        elif direction <= 0 and value - low >= smallest:
            count, direction, high = count + 1, 1, value
    return count


def _modulated_windows(
    x: Floats, tiers: tuple[ModulationTier, ...]
) -> list[tuple[int, int, float]]:
    """Windows of a path on the grid with a modulation: (first point, points, Hz)."""
    best: dict[int, tuple[float, float, int, int, float]] = {}
    if len(x) < 2 or np.ptp(x) < 2.0 * tiers[-1].depth:
        return []
    for tier in tiers:
        for hz in RATES_HZ.tolist():
            count = round(tier.cycles / hz / GRID_S)
            if count > len(x):
                continue
            lines, waves = _bases(count, hz)
            windows = np.lib.stride_tricks.sliding_window_view(x, count)[:: MOTION.window_step]
            beside = windows - (windows @ lines) @ lines.T
            power = np.sum(beside**2, axis=1)
            modulated = np.sum((beside @ waves) ** 2, axis=1)
            with np.errstate(invalid="ignore", divide="ignore"):
                explained = modulated / power
            depth = np.sqrt(2.0 * modulated / count)
            deep = (explained >= tier.explained) & (depth >= tier.depth)
            for at in np.flatnonzero(deep).tolist():
                smallest = MOTION.reversal * float(depth[at])
                movements = _count_movements(windows[at], smallest)
                if movements < max(3.0, 2.0 * tier.cycles - 1.0):
                    continue
                first = at * MOTION.window_step
                candidate = (tier.cycles, float(explained[at]), first, count, hz)
                best[first] = max(best.get(first, candidate), candidate)
    return [window[2:] for _, window in sorted(best.items())]


def _refine(x: Floats, hz: float) -> tuple[float, float, Floats, float]:
    """Refine a modulation near `hz` by Gauss-Newton steps.

    Returns:
        Rate in Hz, depth, wave of the shape of `x`, and the mean square of the residual beside it
        and a line.
    """
    t = (np.arange(len(x)) - (len(x) - 1) / 2.0) * GRID_S
    first_hz = hz
    for _ in range(MOTION.fit_steps):
        cos, sin = np.cos(2.0 * np.pi * hz * t), np.sin(2.0 * np.pi * hz * t)
        rows = np.stack([cos, sin, np.ones_like(t), t], axis=1)
        a, b = np.linalg.lstsq(rows, x, rcond=None)[0][:2]
        faster = 2.0 * np.pi * t * (b * cos - a * sin)
        rows = np.column_stack([rows, faster])
        solution = np.linalg.lstsq(rows, x, rcond=None)[0]
        hz = float(np.clip(hz + solution[4], 0.85 * first_hz, 1.15 * first_hz))
    wave = rows[:, :2] @ solution[:2]
    residual = float(np.mean((x - rows @ solution) ** 2))
    return hz, float(np.hypot(*solution[:2])), wave, residual


def _modulation(x: Floats, tiers: tuple[ModulationTier, ...]) -> tuple[Modulation | None, Floats]:
    """The modulation of a path on the grid, and its wave, shape as `x`; 0 where there is none."""
    wave, weights = np.zeros_like(x), np.zeros_like(x)
    estimates = []
    for first, count, hz in _modulated_windows(x, tiers):
        inside = slice(first, first + count)
        rate, depth, part, residual = _refine(x[inside], hz)
        estimates.append((rate, depth))
        # Windows that are modulated throughout weigh most; others reach beyond it.
        weight = 1.0 / (1e-3 + residual)
        wave[inside] += weight * part
        weights[inside] += weight
    if not estimates:
        return None, wave
    rate, depth = np.median(estimates, axis=0).tolist()
    return Modulation(rate, depth), wave / np.maximum(weights, 1e-9)


@dataclass(frozen=True, slots=True)
class _Plateau:
    """A stretch of the grid in which a path stays level.

    Attributes:
        first, end: first point, and first point after the last.
        start, slope: line through it by the median of the slopes between points half of it apart
            (after Theil 1950 and Sen 1968): cents at its first point, cents per point.
        spread: 1.4826 times the median absolute deviation from that line, cents.
    """

    first: int
    end: int
    start: float
    slope: float
    spread: float

    @classmethod
    def of(cls, line: Floats, first: int, end: int) -> _Plateau:
        x, half = line[first:end], (end - first) // 2
        slope = float(np.median(x[-half:] - x[:half])) / (len(x) - half)
        off = x - slope * np.arange(len(x))
        start = float(np.median(off))
        return cls(first, end, start, slope, SD_PER_MAD * median_absolute_deviation(off, start))

    @property
    def stop(self) -> float:
        """Cents at its last point."""
        return self.start + self.slope * (self.end - self.first - 1)


def _averaged(line: Floats, modulated: NDArray[np.bool_], hz: float) -> Floats:
    """A path averaged over a cycle where it is modulated: removes the rest of the wave."""
    half = round(0.5 / hz / GRID_S)
    if 2 * half + 1 > len(line):
        return line
    box = np.full(2 * half + 1, 1.0 / (2 * half + 1))
    return np.where(modulated, np.convolve(np.pad(line, half, mode="edge"), box, "valid"), line)


def _plateaus(line: Floats, averaged: Floats) -> list[_Plateau]:
    """The plateaus of a path in order; neighbours at one pitch are merged."""
    p = MOTION
    if len(averaged) < p.speed_points:
        return []
    half = p.speed_points // 2
    at = (np.arange(p.speed_points) - half) * GRID_S
    speeds = np.correlate(averaged, at, "valid") / (at @ at)
    still = np.abs(np.pad(speeds, half, mode="edge")) <= p.moving_cents_s
    edges = np.flatnonzero(np.diff(np.concatenate([[0], still.astype(int), [0]])))
    shortest = min(p.min_plateau_s, 0.5 * len(averaged) * GRID_S) / GRID_S
    plateaus: list[_Plateau] = []
    for first, end in edges.reshape(-1, 2).tolist():
        if end - first < shortest:
            continue
        plateau = _Plateau.of(line, first, end)
        if plateaus and abs(plateau.start - plateaus[-1].stop) < p.same_plateau_cents:
            plateau = _Plateau.of(line, plateaus.pop().first, end)
        plateaus.append(plateau)
    return plateaus


def initial_pitch(t: Floats, x: Floats) -> float:
    """Return the pitch at time 0, extrapolated from the first readings.

    The ear knows a pitch about 10 ms after an onset and stamps it 5 ms after it or later; by then
    a scoop has moved on. The line through the first 12 ms of readings, by the median of slopes, is
    extrapolated back to the onset, but by no more than 20 ms and 20 cents: the first pitch of a
    reed that speaks slowly is uncertain.

    Args:
        t: seconds since the onset, shape (n,), n at least 1, ascending.
        x: pitch, cents, shape (n,).
    """
    p = MOTION
    first = t <= t[0] + p.first_s
    t, x = t[first], x[first]
    half = len(t) // 2
    if len(t) < p.min_readings or np.any(t[-half:] - t[:half] <= 0.0):
        return float(x[0])
    slope = float(np.median((x[-half:] - x[:half]) / (t[-half:] - t[:half])))
    here = float(np.median(x - slope * (t - t[0])))
    back = slope * min(t[0], p.extrapolation_s)
    return here - float(np.clip(back, -p.extrapolation_cents, p.extrapolation_cents))


@dataclass(frozen=True, slots=True)
class HeldPart:
    """A stretch of a note in which its pitch stays level.

    Attributes:
        start, end: seconds from the note's start.
        hz: f0 in its middle, without vibrato.
    """

    start: float
    end: float
    hz: float


@dataclass(frozen=True, slots=True)
class _Path:
    """A note's pitch on the grid.

    Attributes:
        t: times of its readings, seconds from its start, ascending.
        x: their pitch, cents from `middle`.
        middle: Hz.
        wave: modulated part, on the grid, from `t[0]` on.
        line: pitch without the wave, on the grid.
        averaged: the line, averaged where there is a wave.
        vibrato: the modulation.
    """

    t: Floats
    x: Floats
    middle: float
    wave: Floats
    line: Floats
    averaged: Floats
    vibrato: Modulation | None


def _path(t: Floats, hz: Floats, length: float) -> _Path | None:
    """A note's pitch without its release; None if there are too few readings."""
    p = MOTION
    held = t <= length - min(p.release_s, length / 5.0)
    order = np.argsort(t[held], kind="stable")
    t, hz = t[held][order], hz[held][order]
    if len(t) < p.min_readings or t[-1] - t[0] < p.min_span_s:
        return None
    middle = float(np.median(hz))
    x = 1200.0 * np.log2(hz / middle)
    path = resample_evenly(t, x)
    vibrato, wave = _modulation(path, p.vibrato)
    line = path - wave
    averaged = line if vibrato is None else _averaged(line, wave != 0.0, vibrato.hz)
    return _Path(t, x, middle, wave, line, averaged, vibrato)


def held_parts(t: Floats, hz: Floats, length: float) -> tuple[HeldPart, ...]:
    """Return the stretches in which a note's pitch stays level, in order; maybe none.

    Args:
        t: times of its readings, seconds from its start, shape (n,).
        hz: f0, shape (n,).
        length: duration of the note, seconds.
    """
    path = _path(t, hz, length)
    if path is None:
        return ()
    return tuple(
        HeldPart(
            float(path.t[0]) + plateau.first * GRID_S,
            float(path.t[0]) + plateau.end * GRID_S,
            path.middle * 2.0 ** (0.5 * (plateau.start + plateau.stop) / 1200.0),
        )
        for plateau in _plateaus(path.line, path.averaged)
    )


def estimate_motion(t: Floats, hz: Floats, length: float) -> Motion:
    """Estimate how a note moves.

    Args:
        t: times of its readings, seconds from its start, shape (n,).
        hz: f0, shape (n,).
        length: duration of the note, seconds.
    """
    path = _path(t, hz, length)
    if path is None:
        return Motion()
    t, line, vibrato = path.t, path.line, path.vibrato
    plateaus = _plateaus(line, path.averaged)
    glide = _glide(path.averaged, plateaus, path.middle)
    if not plateaus:
        return Motion(vibrato=vibrato, glide=glide)
    start = initial_pitch(t, path.x) - path.wave[0]
    at = np.concatenate([[0.0], t[0] + np.arange(plateaus[0].first + 1) * GRID_S])
    off = np.concatenate([[start], line[: plateaus[0].first + 1]]) - plateaus[0].start
    longest = max(plateaus, key=lambda plateau: plateau.end - plateau.first)
    return Motion(
        scoop_cents=float(off[0]),
        settle_ms=1000.0 * _settling_time(at, np.abs(off)),
        drift_cents_s=longest.slope / GRID_S,
        wobble_cents=longest.spread,
        vibrato=vibrato,
        glide=glide,
    )


def _settling_time(at: Floats, off: Floats) -> float:
    """Time from which a path, linear between its points, stays within the tolerance."""
    outside = np.flatnonzero(off[:-1] > MOTION.settled_cents)
    if not len(outside):
        return 0.0
    last = int(outside[-1])
    part = (off[last] - MOTION.settled_cents) / max(off[last] - off[last + 1], 1e-9)
    return float(at[last] + min(part, 1.0) * (at[last + 1] - at[last]))


def _glide(averaged: Floats, plateaus: list[_Plateau], middle: float) -> Glide | None:
    first = plateaus[0].first if plateaus else 0
    path = averaged[first:]
    if np.ptp(path) < MOTION.min_glide_cents:
        return None
    start, end = (plateaus[0].start, plateaus[-1].stop) if plateaus else (path[0], path[-1])
    if abs(path[-1] - end) > MOTION.min_glide_cents:
        end = path[-1]
    up = np.max(path - np.minimum.accumulate(path))
    down = np.max(np.maximum.accumulate(path) - path)
    start_hz, end_hz = (middle * 2.0 ** (float(x) / 1200.0) for x in (start, end))
    return Glide(start_hz, end_hz, monotone=bool(min(up, down) <= MOTION.settled_cents))


def estimate_tremolo(t: Floats, db: Floats) -> Modulation | None:
    """Return the regular modulation of a note's level, in plus and minus dB; None without one.

    Args:
        t: times of the levels of the held part, seconds, shape (n,).
        db: levels, shape (n,).
    """
    if len(t) < MOTION.min_readings:
        return None
    return _modulation(resample_evenly(t, db), MOTION.tremolo)[0]
