"""Every reed that sounds in a recording, whoever plays it: when, how loud, along which pitch.

The ear follows one player, whose reeds stand beside each other. Where two players sound together,
that is not so, and what looks like one of them alone is wrong. Here each frame is fitted anew as a
sum of any reeds: the lowest strong peak is a reed, as every reed shows its fundamental; what its
partials leave is looked through for the next, both are fitted jointly, and so on
(:mod:`trainer.ear.reed_mixture`). A reed on a partial of a lower one, an octave or a twelfth
above it, has hardly a partial of its own and is not looked for. Found pitches are linked from frame
to frame into tones, whose beginnings and ends are then read off the partials that no other tone
disturbs,
under a short window: where a sound sets in, half its amplitude lies in a symmetric window whose
middle is the onset.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from trainer.core.types import Floats
from trainer.ear.partial_fit import FrameSpectrum
from trainer.ear.reed_mixture import ReedMixture, power_db
from trainer.music import cents

FRAME_S, HOP_S = 0.085, 0.02
SILENT_DB = -40.0
"""A frame so far under the loudest is silent."""
GRID_CENTS = 5.0
APART_CENTS = 80.0
"""Two reeds nearer to each other are one that moves."""
ON_PARTIAL_CENTS = 45.0
"""A pitch so near to a multiple of a lower one is hidden by it."""
UNDER_DB, ROUGH_DB = -24.0, 6.0
"""A reed so far under the loudest is not told; while it is looked for, a little further."""
SEEN = 0.1
"""Share of a reed's energy that must be seen before it is fitted, and of what is left that it must
be."""
MOST_REEDS = 5

STEP_CENTS = 60.0
"""From frame to frame a tone moves by less."""
GAP_S, HIDDEN_S = 0.04, 0.5
"""A tone may be away for so long, and for so long where another's partial hides it."""

EDGE_S, EDGE_HOP_S = 0.03, 0.005
"""The window under which beginnings and ends are read, and its hop."""
AROUND_S = 0.06
"""How far before the first and after the last frame of a tone they may lie."""
FEWEST = 3
"""What is seen in fewer frames disturbs nothing."""
PARTIALS = 6
CLEAR_HZ = 55.0
"""Partials so far from all others are undisturbed under that window: nearly its main lobe."""
DIP_DB = 6.0
"""A fall of the level, to half, and a rise after it, is the same note again."""
HALF_DB = 6.0
SHORTEST_S = 0.06
"""What is shorter is no tone."""


@dataclass(frozen=True, slots=True)
class Tone:
    """One reed from where it sets in to where it ends, glides included.

    Attributes:
        start, end: seconds.
        at: seconds of its frames, ascending, shape (n,).
        hz: its f0 there, shape (n,).
        level_db: its loudest level, in dB re full scale of a sine.
        fall_db_s: how fast it dies away, dB a second; negative is louder towards the end.
    """

    start: float
    end: float
    at: Floats
    hz: Floats
    level_db: float
    fall_db_s: float

    @property
    def seconds(self) -> float:
        """How long it sounds."""
        return self.end - self.start

    @property
    def held_hz(self) -> float:
        """The median of its f0."""
        return float(np.median(self.hz))


@dataclass(slots=True)
class _Track:
    """A pitch that goes on from frame to frame."""

    at: list[float] = field(default_factory=list)
    hz: list[float] = field(default_factory=list)
    db: list[float] = field(default_factory=list)

    def add(self, at: float, hz: float, db: float) -> None:
        """One more frame."""
        self.at.append(at)
        self.hz.append(hz)
        self.db.append(db)


def find_tones(samples: Floats, rate: float, span: tuple[float, float]) -> list[Tone]:
    """The tones in a sound, in order of their start.

    Args:
        samples: the sound, shape (n,).
        rate: samples a second; some 22 kHz are enough.
        span: Hz between which reeds are looked for.
    """
    tracks = _tracks(samples, rate, span)
    edges = _Edges(samples, rate, tracks)
    return sorted((tone for one in tracks for tone in edges.of(one)), key=lambda tone: tone.start)


def fit_reeds(
    frame: Floats, rate: float, low_hz: float, high_hz: float
) -> tuple[tuple[float, float], ...]:
    """The reeds in a frame: f0 in Hz and energy, as many as can be told.

    Args:
        frame: samples, shape (n,), some 85 ms of them.
        rate: samples a second.
        low_hz, high_hz: between which they are looked for.
    """
    spectrum = FrameSpectrum(frame, rate)
    lowest = spectrum.lowest_strong_peak(low_hz)
    if lowest is None or lowest > high_hz:
        return ()
    mixture = ReedMixture(spectrum, (lowest,))
    steps = np.arange(0.0, cents(high_hz, low_hz), GRID_CENTS)
    grid = low_hz * np.exp(steps * math.log(2.0) / 1200.0)
    while len(mixture.hz) < MOST_REEDS:
        grid = grid[_free(grid, mixture.hz[-1])]
        seen = mixture.search(grid) if len(grid) > 2 else None
        if seen is None:
            break
        hz, energy = seen
        loudest = float(mixture.energies.max())
        if power_db(energy / loudest) < UNDER_DB - ROUGH_DB or energy < SEEN * mixture.unexplained:
            break
        more = mixture.with_reed(hz)
        own = float(more.energies[-1])
        if not (
            more.has_fundamental(-1)
            and more.explains(mixture)
            and SEEN * own < energy
            and power_db(own / float(more.energies.max())) > UNDER_DB
        ):
            break
        mixture = more
    return tuple(
        (hz, float(energy)) for hz, energy in zip(mixture.hz, mixture.energies, strict=True)
    )


def _free(grid: Floats, hz: float) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Where another reed could be told from a reed: shape of `grid`."""
    above = 1200.0 * np.log2(grid / hz)
    return (np.abs(above) > APART_CENTS) & ~on_partial(grid, hz)


def on_partial(hz: Floats, low: float) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Whether pitches lie on a partial, from the second on, of a lower one."""
    order = np.maximum(2.0, np.round(hz / low))
    return np.abs(1200.0 * np.log2(hz / (low * order))) < ON_PARTIAL_CENTS


def _tracks(samples: Floats, rate: float, span: tuple[float, float]) -> list[_Track]:
    """Pitches linked from frame to frame, the nearest first."""
    live: list[_Track] = []
    done: list[_Track] = []
    for at, frame in _frames(samples, rate):
        found = () if frame is None else fit_reeds(frame, rate, *span)
        near = sorted(
            (abs(cents(hz, track.hz[-1])), i, k)
            for i, (hz, _) in enumerate(found)
            for k, track in enumerate(live)
        )
        taken: set[int] = set()
        grown: set[int] = set()
        for away, i, k in near:
            if away < STEP_CENTS and i not in taken and k not in grown:
                live[k].add(at, found[i][0], power_db(found[i][1]))
                taken.add(i)
                grown.add(k)
        for i, (hz, energy) in enumerate(found):
            if i not in taken:
                live.append(_Track([at], [hz], [power_db(energy)]))
        on = [_may_go_on(track, at, found) for track in live]
        done += [track for track, goes in zip(live, on, strict=True) if not goes]
        live = [track for track, goes in zip(live, on, strict=True) if goes]
    return [*done, *live]


def _may_go_on(track: _Track, at: float, found: Sequence[tuple[float, float]]) -> bool:
    """Whether a tone that is not seen may be there again."""
    last = np.array([track.hz[-1]])
    hidden = any(bool(on_partial(last, hz)[0]) for hz, _ in found if 1.5 * hz < track.hz[-1])
    return at - track.at[-1] < (HIDDEN_S if hidden else GAP_S) + 0.5 * HOP_S


def _frames(samples: Floats, rate: float) -> Iterator[tuple[float, Floats | None]]:
    """Frames and the seconds of their middles; None where all is silent."""
    size = 2 * round(0.5 * FRAME_S * rate) + 1
    padded = np.concatenate([np.zeros(size), samples, np.zeros(size)])
    count = round(len(samples) / rate / HOP_S)
    starts = [round(i * HOP_S * rate) + size - size // 2 for i in range(count)]
    window = np.hanning(size)
    levels = [float(np.mean((padded[start : start + size] * window) ** 2)) for start in starts]
    least = max(levels, default=0.0) * 10.0 ** (SILENT_DB / 10.0)
    for i, (start, level) in enumerate(zip(starts, levels, strict=True)):
        yield i * HOP_S, padded[start : start + size] if level > least > 0.0 else None


class _Edges:
    """Reads where tones begin and end."""

    def __init__(self, samples: Floats, rate: float, tracks: Sequence[_Track]) -> None:
        """`tracks` are all there are, which disturb each other."""
        self._rate = rate
        self._half = round(0.5 * EDGE_S * rate)
        self._count = len(samples)
        self._padded = np.pad(samples, self._half)
        self._tracks = tracks
        self._spans = np.array([(one.at[0], one.at[-1]) for one in tracks]).reshape(-1, 2)
        window = np.hanning(2 * self._half + 1)
        self._window = 2.0 * window / window.sum()

    def of(self, track: _Track) -> Iterator[Tone]:
        """The tones in a track: more than one where the same note is struck again."""
        if track.at[-1] - track.at[0] < SHORTEST_S - HOP_S:
            return
        at = np.arange(track.at[0] - AROUND_S, track.at[-1] + AROUND_S, EDGE_HOP_S)
        at = at[(at >= 0.0) & (at < self._count / self._rate)]
        db = self._levels(track, at)
        for first, last in _struck(db):
            part, here = db[first:last], at[first:last]
            held = float(np.median(np.sort(part)[len(part) // 3 :]))
            on = np.flatnonzero(part > held - HALF_DB)
            start, end = (
                _crossing(at, db, first + int(on[0]), -1, held - HALF_DB),
                _crossing(at, db, first + int(on[-1]), 1, held - HALF_DB),
            )
            inside = [i for i, one in enumerate(track.at) if start - HOP_S <= one <= end + HOP_S]
            if end - start < SHORTEST_S or len(inside) < 2:
                continue
            within = (here > start + EDGE_S) & (here < end - EDGE_S)
            fall = float(-np.polyfit(here[within], part[within], 1)[0]) if within.sum() > 4 else 0.0
            yield Tone(
                start,
                end,
                np.array([track.at[i] for i in inside]),
                np.array([track.hz[i] for i in inside]),
                max(track.db[i] for i in inside),
                fall,
            )

    def _levels(self, track: _Track, at: Floats) -> Floats:
        """Level in dB of a track's undisturbed partials at times, shape (n,)."""
        hz = np.interp(at, track.at, track.hz)
        orders = self._clear(track, float(at[0]), float(at[-1]))
        half = self._half
        middles = np.minimum(np.round(at * self._rate).astype(int), self._count - 1)
        frames = self._padded[middles[:, None] + np.arange(2 * half + 1)] * self._window
        turn = -2j * np.pi * np.arange(-half, half + 1) / self._rate
        power = np.zeros(len(at))
        for order in orders:
            power += np.abs((frames * np.exp(turn * (order * hz)[:, None])).sum(axis=1)) ** 2
        return 10.0 * np.log10(power + 1e-12)

    def _clear(self, track: _Track, first: float, last: float) -> list[int]:
        """Orders of the partials that no other track disturbs in that time; the first few where
        all are disturbed."""
        mine = float(np.median(track.hz))
        orders = [k for k in range(1, PARTIALS + 1) if k * mine < 0.4 * self._rate]
        clear = set(orders)
        beside = np.flatnonzero((self._spans[:, 1] >= first) & (self._spans[:, 0] <= last))
        for other in (self._tracks[int(i)] for i in beside):
            if other is track or len(other.at) < FEWEST:
                continue
            hz = float(np.median(other.hz))
            for k in orders:
                order = max(1, round(k * mine / hz))
                if order <= 2 * PARTIALS and abs(order * hz - k * mine) < CLEAR_HZ:
                    clear.discard(k)
        return sorted(clear) or orders[:3]


def _struck(db: Floats) -> list[tuple[int, int]]:
    """The stretches between falls of the level after which it rises again."""
    cuts = [0]
    low, high = 0, float(db[0])
    risen = False
    best = float(db[0])
    for i in range(1, len(db)):
        here = float(db[i])
        if not risen:
            # Since the last cut: has it come up, and gone down from there?
            high = max(high, here)
            if here < high - DIP_DB:
                risen, low, best = True, i, here
        elif here < best:
            low, best = i, here
        elif here > best + DIP_DB and high > best + DIP_DB:
            cuts.append(low)
            risen, high = False, here
    return list(zip(cuts, [*cuts[1:], len(db)], strict=True))


def _crossing(at: Floats, db: Floats, index: int, way: int, level: float) -> float:
    """Where, between a point over a level and the next one before (way -1) or after (1) it, the
    level is crossed."""
    beyond = index + way
    if not 0 <= beyond < len(db) or db[beyond] >= level:
        return float(at[index])
    part = (db[index] - level) / (db[index] - db[beyond])
    return float(at[index] + way * part * EDGE_HOP_S)
