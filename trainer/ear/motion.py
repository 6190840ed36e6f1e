"""How a note moves: scoop, settling, drift and wobble, glide, vibrato and tremolo.

Conventions. Times are seconds from the note's start, pitches cents from any pitch, levels dB.
Readings may lie at any times; for fitting they are brought to a grid of 5 ms by straight lines.
The last 40 ms of a note are left out, where the breath lets go.

- A *swing* (of pitch: vibrato; of level: tremolo) is a sinusoid of 3 to 9 Hz beside a straight
  line, fitted by least squares to windows of a few of its cycles (the floating-mean periodogram
  of Zechmeister and Kuerster 2009, A&A 496, with a line for the mean). It is believed where it
  explains nearly all that the line does not, and where the pitch itself goes up and down as often
  as the cycles say: a bend does not turn. Wander may look like a cycle or two of a shallow swing,
  so that takes three.
- A *rest* is a stretch in which the pitch without its vibrato moves by less than 100 cents a
  second; the longest is the *held* part, and what is said of holding is said of it. What lies
  before the first rest is the scoop.
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
RELEASE_S = 0.04

RATES_HZ = 3.0 * (9.0 / 3.0) ** (np.arange(20) / 19.0)
"""Rates that are tried, 6 % apart."""
WINDOW_STEP = 5
"""Samples of the grid from one window to the next."""
STEPS = 3
"""Gauss-Newton steps."""
LEAST_DB = 1.0
LEAST_CENTS = 3.0
TURNS_SHARE = 0.7
"""A movement that counts goes over so much of the depth, which is half a swing."""
DEEP_CENTS, DEEP_DB = 12.0, 2.5

MOVING_CENTS_S = 100.0
SPEED_SPAN = 11
"""Samples of the grid over which speed is taken, 50 ms."""
FEWEST, LEAST_S = 4, 0.02
"""Readings, and seconds of them, that are needed to tell anything."""
REST_S = 0.08
"""A shorter rest is none."""
SAME_CENTS = 20.0
"""Rests nearer to each other than this are one."""
SETTLED_CENTS = 10.0
"""A held note within 10 cents sounds in tune (common practice)."""
GLIDE_CENTS = 30.0
"""What moves less does not glide."""
FIRST_S = 0.012
"""The pitch at the start is read off the line through so much of the first readings."""
REACH_S, REACH_CENTS = 0.02, 20.0
"""And followed back no further than this."""


@dataclass(frozen=True, slots=True)
class Modulation:
    """A regular swing.

    Attributes:
        hz: cycles a second, 3 to 9.
        depth: half of the whole swing: plus and minus cents, or dB.
    """

    hz: float
    depth: float


@dataclass(frozen=True, slots=True)
class Glide:
    """A movement inside a note, from one pitch to another, or away and back.

    Attributes:
        start_hz, end_hz: where it first rests and where it last does; the very first or last
            pitch, if it does not rest there.
        monotone: whether it went one way only, but for 10 cents.
    """

    start_hz: float
    end_hz: float
    monotone: bool

    @property
    def cents(self) -> float:
        """From start to end, negative is down."""
        return cents(self.end_hz, self.start_hz)


@dataclass(frozen=True, slots=True)
class Motion:
    """How a note moves; what cannot be told of it is None.

    Attributes:
        scoop_cents: its pitch at the very start, from where it first rests; negative is from
            below.
        settle_ms: time from the start until its pitch, vibrato taken out, stays within 10 cents
            of where it first rests.
        drift_cents_s: slope of the held part, cents a second.
        wobble_cents: standard deviation of the held part about that slope and its vibrato, taken
            robustly.
        vibrato: swing of its pitch in plus and minus cents; None when there is none.
        glide: None when it stays on one pitch.
    """

    scoop_cents: float | None = None
    settle_ms: float | None = None
    drift_cents_s: float | None = None
    wobble_cents: float | None = None
    vibrato: Modulation | None = None
    glide: Glide | None = None


@dataclass(frozen=True, slots=True)
class _Tier:
    """What a swing must show: so many cycles, of which it explains such a share, so deep."""

    cycles: float
    share: float
    depth: float


def _tiers(least: float, deep: float) -> tuple[_Tier, ...]:
    return _Tier(1.5, 0.98, deep), _Tier(2.0, 0.97, deep), _Tier(3.0, 0.90, least)


VIBRATO = _tiers(LEAST_CENTS, DEEP_CENTS)
TREMOLO = _tiers(LEAST_DB, DEEP_DB)


def resample_evenly(t: Floats, x: Floats) -> Floats:
    """Values at times, shape (n,), in any order, on a grid of 5 ms from the first time on."""
    order = np.argsort(t, kind="stable")
    t, x = t[order], x[order]
    return np.interp(np.arange(t[0], t[-1], GRID_S), t, x)


@lru_cache(maxsize=256)
def _bases(count: int, hz: float) -> tuple[Floats, Floats]:
    """Orthonormal bases for `count` samples: of lines, and of a swing beside them, (count, 2)."""
    t = (np.arange(count) - (count - 1) / 2.0) * GRID_S
    lines = np.stack([np.ones(count), t], axis=1) / [np.sqrt(count), np.linalg.norm(t)]
    turns = 2.0 * np.pi * hz * t
    waves = np.stack([np.cos(turns), np.sin(turns)], axis=1)
    return lines, np.linalg.qr(waves - lines @ (lines.T @ waves))[0]


def _movements(x: Floats, least: float) -> int:
    """How many movements of at least that size, up and down in turn, a path makes."""
    count, way, low, high = 0, 0, x[0], x[0]
    for value in x.tolist():
        low, high = min(low, value), max(high, value)
        if way >= 0 and high - value >= least:
            count, way, low = count + 1, -1, value
        elif way <= 0 and value - low >= least:
            count, way, high = count + 1, 1, value
    return count


def _found(x: Floats, tiers: tuple[_Tier, ...]) -> list[tuple[int, int, float]]:
    """Windows of a path on the grid that swing: (first, count, Hz)."""
    best: dict[int, tuple[float, float, int, int, float]] = {}
    if len(x) < 2 or np.ptp(x) < 2.0 * tiers[-1].depth:
        return []
    for tier in tiers:
        for hz in RATES_HZ.tolist():
            count = round(tier.cycles / hz / GRID_S)
            if count > len(x):
                continue
            lines, waves = _bases(count, hz)
            windows = np.lib.stride_tricks.sliding_window_view(x, count)[::WINDOW_STEP]
            beside = windows - (windows @ lines) @ lines.T
            power = np.sum(beside**2, axis=1)
            swung = np.sum((beside @ waves) ** 2, axis=1)
            with np.errstate(invalid="ignore", divide="ignore"):
                share = swung / power
            depth = np.sqrt(2.0 * swung / count)
            for at in np.flatnonzero((share >= tier.share) & (depth >= tier.depth)).tolist():
                least = TURNS_SHARE * float(depth[at])
                if _movements(windows[at], least) < max(3.0, 2.0 * tier.cycles - 1.0):
                    continue
                first = at * WINDOW_STEP
                mine = (tier.cycles, float(share[at]), first, count, hz)
                best[first] = max(best.get(first, mine), mine)
    return [one[2:] for _, one in sorted(best.items())]


def _refined(x: Floats, hz: float) -> tuple[float, float, Floats, float]:
    """Rate in Hz, depth and wave, shape as `x`, of a swing near `hz`, by Gauss-Newton steps, and
    the mean square that it and a line leave."""
    t = (np.arange(len(x)) - (len(x) - 1) / 2.0) * GRID_S
    first_hz = hz
    for _ in range(STEPS):
        cos, sin = np.cos(2.0 * np.pi * hz * t), np.sin(2.0 * np.pi * hz * t)
        rows = np.stack([cos, sin, np.ones_like(t), t], axis=1)
        a, b = np.linalg.lstsq(rows, x, rcond=None)[0][:2]
        faster = 2.0 * np.pi * t * (b * cos - a * sin)
        rows = np.column_stack([rows, faster])
        found = np.linalg.lstsq(rows, x, rcond=None)[0]
        hz = float(np.clip(hz + found[4], 0.85 * first_hz, 1.15 * first_hz))
    wave = rows[:, :2] @ found[:2]
    return hz, float(np.hypot(*found[:2])), wave, float(np.mean((x - rows @ found) ** 2))


def _swung(x: Floats, tiers: tuple[_Tier, ...]) -> tuple[Modulation | None, Floats]:
    """The swing of a path on the grid, and its wave, shape as `x`; zero where it does not."""
    wave, weights = np.zeros_like(x), np.zeros_like(x)
    each = []
    for first, count, hz in _found(x, tiers):
        inside = slice(first, first + count)
        rate, depth, part, left = _refined(x[inside], hz)
        each.append((rate, depth))
        # Windows that swing throughout count most: others reach beyond the swing.
        weight = 1.0 / (1e-3 + left)
        wave[inside] += weight * part
        weights[inside] += weight
    if not each:
        return None, wave
    rate, depth = np.median(each, axis=0).tolist()
    return Modulation(rate, depth), wave / np.maximum(weights, 1e-9)


@dataclass(frozen=True, slots=True)
class _Rest:
    """A stretch of the grid in which a path rests.

    Attributes:
        first, end: its samples.
        start, slope: the line through it, by the median of the slopes between samples half of it
            apart (after Theil 1950 and Sen 1968): cents at its first sample, and cents a sample.
        spread: 1.4826 median absolute deviations from that line, cents.
    """

    first: int
    end: int
    start: float
    slope: float
    spread: float

    @classmethod
    def of(cls, line: Floats, first: int, end: int) -> _Rest:
        x, half = line[first:end], (end - first) // 2
        slope = float(np.median(x[-half:] - x[:half])) / (len(x) - half)
        off = x - slope * np.arange(len(x))
        start = float(np.median(off))
        return cls(first, end, start, slope, SD_PER_MAD * median_absolute_deviation(off, start))

    @property
    def stop(self) -> float:
        """Cents at its end."""
        return self.start + self.slope * (self.end - self.first - 1)


def _calm(line: Floats, swung: NDArray[np.bool_], hz: float) -> Floats:
    """A path averaged over a cycle where it swung: what taking its wave out left over."""
    half = round(0.5 / hz / GRID_S)
    if 2 * half + 1 > len(line):
        return line
    box = np.full(2 * half + 1, 1.0 / (2 * half + 1))
    return np.where(swung, np.convolve(np.pad(line, half, mode="edge"), box, "valid"), line)


def _rests(line: Floats, calm: Floats) -> list[_Rest]:
    """Where a path rests, in order, neighbours at one pitch taken together."""
    if len(calm) < SPEED_SPAN:
        return []
    at = (np.arange(SPEED_SPAN) - SPEED_SPAN // 2) * GRID_S
    speeds = np.correlate(calm, at, "valid") / (at @ at)
    still = np.abs(np.pad(speeds, SPEED_SPAN // 2, mode="edge")) <= MOVING_CENTS_S
    edges = np.flatnonzero(np.diff(np.concatenate([[0], still.astype(int), [0]])))
    least = min(REST_S, 0.5 * len(calm) * GRID_S) / GRID_S
    rests: list[_Rest] = []
    for first, end in edges.reshape(-1, 2).tolist():
        if end - first < least:
            continue
        rest = _Rest.of(line, first, end)
        if rests and abs(rest.start - rests[-1].stop) < SAME_CENTS:
            rest = _Rest.of(line, rests.pop().first, end)
        rests.append(rest)
    return rests


def initial_pitch(t: Floats, x: Floats) -> float:
    """The pitch at time 0, from the first readings after it.

    The ear knows a pitch some 10 ms after an onset and stamps it 5 ms after it or later; by then a
    scoop has moved on. The line through the first 12 ms of readings, by the median of slopes, is
    followed back to the onset, but not over more than 20 ms or 20 cents: reeds that speak slowly
    begin with a pitch that is no more than a guess.

    Args:
        t: seconds since the onset, shape (n,), n at least 1, ascending.
        x: pitch, cents, shape (n,).
    """
    first = t <= t[0] + FIRST_S
    t, x = t[first], x[first]
    half = len(t) // 2
    if len(t) < FEWEST or np.any(t[-half:] - t[:half] <= 0.0):
        return float(x[0])
    slope = float(np.median((x[-half:] - x[:half]) / (t[-half:] - t[:half])))
    here = float(np.median(x - slope * (t - t[0])))
    return here - float(np.clip(slope * min(t[0], REACH_S), -REACH_CENTS, REACH_CENTS))


@dataclass(frozen=True, slots=True)
class HeldPart:
    """A stretch of a note in which its pitch rests.

    Attributes:
        start, end: seconds from the note's start.
        hz: f0 in its middle, vibrato taken out.
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
        wave: the part that swings, on the grid, from `t[0]` on.
        line: what is left without it.
        calm: that, averaged where it swung.
        vibrato: the swing.
    """

    t: Floats
    x: Floats
    middle: float
    wave: Floats
    line: Floats
    calm: Floats
    vibrato: Modulation | None


def _path(t: Floats, hz: Floats, length: float) -> _Path | None:
    """A note's pitch without its end; None where too little is there to tell anything."""
    held = t <= length - min(RELEASE_S, length / 5.0)
    order = np.argsort(t[held], kind="stable")
    t, hz = t[held][order], hz[held][order]
    if len(t) < FEWEST or t[-1] - t[0] < LEAST_S:
        return None
    middle = float(np.median(hz))
    x = 1200.0 * np.log2(hz / middle)
    path = resample_evenly(t, x)
    vibrato, wave = _swung(path, VIBRATO)
    line = path - wave
    calm = line if vibrato is None else _calm(line, wave != 0.0, vibrato.hz)
    return _Path(t, x, middle, wave, line, calm, vibrato)


def held_parts(t: Floats, hz: Floats, length: float) -> tuple[HeldPart, ...]:
    """Where a note's pitch rests, in order; none where it never does.

    Args:
        t: times of its readings, seconds from its start, shape (n,).
        hz: f0, shape (n,).
        length: when it ends, seconds from its start.
    """
    path = _path(t, hz, length)
    if path is None:
        return ()
    return tuple(
        HeldPart(
            float(path.t[0]) + rest.first * GRID_S,
            float(path.t[0]) + rest.end * GRID_S,
            path.middle * 2.0 ** (0.5 * (rest.start + rest.stop) / 1200.0),
        )
        for rest in _rests(path.line, path.calm)
    )


def estimate_motion(t: Floats, hz: Floats, length: float) -> Motion:
    """How a note moves.

    Args:
        t: times of its readings, seconds from its start, shape (n,).
        hz: f0, shape (n,).
        length: when it ends, seconds from its start.
    """
    path = _path(t, hz, length)
    if path is None:
        return Motion()
    t, line, vibrato = path.t, path.line, path.vibrato
    rests = _rests(line, path.calm)
    glide = _glide(path.calm, rests, path.middle)
    if not rests:
        return Motion(vibrato=vibrato, glide=glide)
    start = initial_pitch(t, path.x) - path.wave[0]
    at = np.concatenate([[0.0], t[0] + np.arange(rests[0].first + 1) * GRID_S])
    off = np.concatenate([[start], line[: rests[0].first + 1]]) - rests[0].start
    longest = max(rests, key=lambda rest: rest.end - rest.first)
    return Motion(
        scoop_cents=float(off[0]),
        settle_ms=1000.0 * _settles(at, np.abs(off)),
        drift_cents_s=longest.slope / GRID_S,
        wobble_cents=longest.spread,
        vibrato=vibrato,
        glide=glide,
    )


def _settles(at: Floats, off: Floats) -> float:
    """From when on a path stays within 10 cents; what is between two samples is a straight line."""
    outside = np.flatnonzero(off[:-1] > SETTLED_CENTS)
    if not len(outside):
        return 0.0
    last = int(outside[-1])
    part = (off[last] - SETTLED_CENTS) / max(off[last] - off[last + 1], 1e-9)
    return float(at[last] + min(part, 1.0) * (at[last + 1] - at[last]))


def _glide(calm: Floats, rests: list[_Rest], middle: float) -> Glide | None:
    first = rests[0].first if rests else 0
    path = calm[first:]
    if np.ptp(path) < GLIDE_CENTS:
        return None
    start, end = (rests[0].start, rests[-1].stop) if rests else (path[0], path[-1])
    if abs(path[-1] - end) > GLIDE_CENTS:
        end = path[-1]
    up = np.max(path - np.minimum.accumulate(path))
    down = np.max(np.maximum.accumulate(path) - path)
    start_hz, end_hz = (middle * 2.0 ** (float(one) / 1200.0) for one in (start, end))
    return Glide(start_hz, end_hz, monotone=bool(min(up, down) <= SETTLED_CENTS))


def estimate_tremolo(t: Floats, db: Floats) -> Modulation | None:
    """The regular swing of a note's level, in plus and minus dB, if it has one.

    Args:
        t: times of its levels, seconds, shape (n,), where it is held.
        db: levels, shape (n,).
    """
    return _swung(resample_evenly(t, db), TREMOLO)[0] if len(t) >= FEWEST else None
