"""Find every reed that sounds in a recording, whoever plays it.

The ear follows one player, whose reeds stand beside each other. With two players that assumption
fails, and the ear's notes are wrong. Here each frame is fitted anew as a sum of any reeds: the
lowest strong peak is a reed, as every reed has a fundamental; its residual is searched for the
next, both are fitted jointly, and so on (:mod:`trainer.ear.reed_mixture`). A reed on a partial of
a lower one, an octave or a twelfth above it, has hardly a partial of its own and is not searched.
The pitches are linked from frame to frame into tracks. Onsets and offsets are then measured on the
partials that no other track disturbs, under a short window: where a sound begins, a symmetric
window centred on the onset has half the amplitude.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from trainer.core.types import Floats
from trainer.ear import FrameSpectrum, ReedMixture, power_db
from trainer.music import cents


@dataclass(frozen=True, slots=True)
class ToneParameters:
    """Constants of the search for tones.

    Chosen on mixes of two phrases of benchmarks/duets.py with seeds below 200 unless a field says
    otherwise.
    """

    frame_s: float = 0.085
    """Length of a frame, seconds."""
    hop_s: float = 0.02
    """Time from one frame to the next, seconds."""
    silent_db: float = -40.0
    """Level relative to the loudest frame under which a frame is silent, dB."""
    grid_cents: float = 5.0
    """Step of the search for a reed, cents."""
    min_distance_cents: float = 80.0
    """Distance under which two reeds are one that moves, cents."""
    on_partial_cents: float = 45.0
    """Distance from a partial of a lower reed under which a reed is masked, cents."""
    softest_db: float = -24.0
    """Level relative to the loudest reed under which a reed is dropped, dB."""
    rough_db: float = 6.0
    """Maximum difference between the level in the search and that of the fit, dB."""
    min_visible: float = 0.1
    """Minimum fraction of a reed's energy that the search must show, and minimum energy of a new
    reed over that of the residual."""
    max_reeds: int = 5
    """Maximum number of reeds in a frame."""
    glide_cents: float = 60.0
    """Maximum change of pitch of a track from frame to frame, cents."""
    max_gap_s: float = 0.04
    """Maximum gap in a track, seconds."""
    max_masked_gap_s: float = 0.5
    """Maximum gap in a track that another track's partial masks, seconds."""
    edge_window_s: float = 0.03
    """Window for onsets and offsets, seconds."""
    edge_hop_s: float = 0.005
    """Hop of that window, seconds."""
    edge_reach_s: float = 0.06
    """Maximum distance of an onset before a track's first frame, or of an offset after its last,
    seconds."""
    min_disturbing_frames: int = 3
    """Minimum number of frames of a track that disturbs others."""
    partials: int = 6
    """Number of partials on which levels are measured."""
    clear_hz: float = 55.0
    """Distance from all other partials from which a partial is undisturbed, Hz: nearly the half
    width of the main lobe of `edge_window_s`."""
    separation_db: float = 6.0
    """Fall and rise of the level between two notes of one track, dB."""
    half_db: float = 6.0
    """Level under the held one at onset and offset, dB: half the amplitude."""
    shortest_s: float = 0.06
    """Minimum duration of a tone, seconds."""


TONES = ToneParameters()
"""The constants in use."""


@dataclass(frozen=True, slots=True)
class Tone:
    """One reed from onset to offset, with any glide inside.

    Attributes:
        start, end: seconds.
        at: seconds of its frames, ascending, shape (n,).
        hz: its f0 there, shape (n,).
        level_db: maximum level, dB re a full-scale sine.
        fall_db_s: rate of decay, dB per second; negative if it gets louder.
    """

    start: float
    end: float
    at: Floats
    hz: Floats
    level_db: float
    fall_db_s: float

    @property
    def seconds(self) -> float:
        """Duration in seconds."""
        return self.end - self.start

    @property
    def held_hz(self) -> float:
        """Median of its f0, Hz."""
        return float(np.median(self.hz))


@dataclass(slots=True)
class _Track:
    """A pitch linked from frame to frame: seconds, Hz and dB of each."""

    at: list[float] = field(default_factory=list)
    hz: list[float] = field(default_factory=list)
    db: list[float] = field(default_factory=list)

    def add(self, at: float, hz: float, db: float) -> None:
        """Append a frame."""
        self.at.append(at)
        self.hz.append(hz)
        self.db.append(db)


def find_tones(samples: Floats, rate: float, span: tuple[float, float]) -> list[Tone]:
    """Return the tones in a sound, in order of their start.

    Args:
        samples: shape (n,).
        rate: samples per second; 22 kHz is enough.
        span: lowest and highest f0 in Hz that are searched.
    """
    tracks = _tracks(samples, rate, span)
    edges = _EdgeFinder(samples, rate, tracks)
    return sorted(
        (tone for track in tracks for tone in edges.tones(track)), key=lambda tone: tone.start
    )


def fit_reeds(
    frame: Floats, rate: float, low_hz: float, high_hz: float
) -> tuple[tuple[float, float], ...]:
    """Return f0 in Hz and energy of each reed in a frame.

    Args:
        frame: samples, shape (n,), about 85 ms.
        rate: samples per second.
        low_hz: lowest f0 of the search.
        high_hz: highest f0 of the search.
    """
    p = TONES
    spectrum = FrameSpectrum(frame, rate)
    lowest = spectrum.lowest_strong_peak(low_hz)
    if lowest is None or lowest > high_hz:
        return ()
    mixture = ReedMixture(spectrum, (lowest,))
    steps = np.arange(0.0, cents(high_hz, low_hz), p.grid_cents)
    grid = low_hz * np.exp(steps * math.log(2.0) / 1200.0)
    while len(mixture.hz) < p.max_reeds:
        grid = grid[_separable(grid, mixture.hz[-1])]
        peak = mixture.search(grid) if len(grid) > 2 else None
        if peak is None:
            break
        hz, energy = peak
        loudest = float(mixture.energies.max())
        if (
            power_db(energy / loudest) < p.softest_db - p.rough_db
            or energy < p.min_visible * mixture.unexplained
        ):
            break
        larger = mixture.with_reed(hz)
        fitted = float(larger.energies[-1])
        if not (
            larger.has_fundamental(-1)
            and larger.explains(mixture)
            and p.min_visible * fitted < energy
            and power_db(fitted / float(larger.energies.max())) > p.softest_db
        ):
            break
        mixture = larger
    return tuple(
        (hz, float(energy)) for hz, energy in zip(mixture.hz, mixture.energies, strict=True)
    )


def _separable(grid: Floats, hz: float) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Whether a reed at each pitch could be separated from one at `hz`; shape of `grid`."""
    above = 1200.0 * np.log2(grid / hz)
    return (np.abs(above) > TONES.min_distance_cents) & ~on_partial(grid, hz)


def on_partial(hz: Floats, low: float) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Return whether pitches lie on a partial of a lower one, from the second on."""
    order = np.maximum(2.0, np.round(hz / low))
    return np.abs(1200.0 * np.log2(hz / (low * order))) < TONES.on_partial_cents


def _tracks(samples: Floats, rate: float, span: tuple[float, float]) -> list[_Track]:
    """Pitches linked from frame to frame, the nearest pairs first."""
    live: list[_Track] = []
    done: list[_Track] = []
    for at, frame in _frames(samples, rate):
        reeds = () if frame is None else fit_reeds(frame, rate, *span)
        pairs = sorted(
            (abs(cents(hz, track.hz[-1])), i, k)
            for i, (hz, _) in enumerate(reeds)
            for k, track in enumerate(live)
        )
        linked: set[int] = set()
        extended: set[int] = set()
        for distance, i, k in pairs:
            if distance < TONES.glide_cents and i not in linked and k not in extended:
                live[k].add(at, reeds[i][0], power_db(reeds[i][1]))
                linked.add(i)
                extended.add(k)
        for i, (hz, energy) in enumerate(reeds):
            if i not in linked:
                live.append(_Track([at], [hz], [power_db(energy)]))
        continues = [_may_continue(track, at, reeds) for track in live]
        done += [track for track, goes in zip(live, continues, strict=True) if not goes]
        live = [track for track, goes in zip(live, continues, strict=True) if goes]
    return [*done, *live]


def _may_continue(track: _Track, at: float, reeds: Sequence[tuple[float, float]]) -> bool:
    """Whether a track may continue after a gap."""
    last = np.array([track.hz[-1]])
    masked = any(bool(on_partial(last, hz)[0]) for hz, _ in reeds if 1.5 * hz < track.hz[-1])
    max_gap = TONES.max_masked_gap_s if masked else TONES.max_gap_s
    return at - track.at[-1] < max_gap + 0.5 * TONES.hop_s


def _frames(samples: Floats, rate: float) -> Iterator[tuple[float, Floats | None]]:
    """Seconds of the middle of each frame, and the frame; None for a silent one."""
    size = 2 * round(0.5 * TONES.frame_s * rate) + 1
    padded = np.concatenate([np.zeros(size), samples, np.zeros(size)])
    count = round(len(samples) / rate / TONES.hop_s)
    starts = [round(i * TONES.hop_s * rate) + size - size // 2 for i in range(count)]
    window = np.hanning(size)
    levels = [float(np.mean((padded[start : start + size] * window) ** 2)) for start in starts]
    threshold = max(levels, default=0.0) * 10.0 ** (TONES.silent_db / 10.0)
    for i, (start, level) in enumerate(zip(starts, levels, strict=True)):
        sounds = level > threshold > 0.0
        yield i * TONES.hop_s, padded[start : start + size] if sounds else None


class _EdgeFinder:
    """Measures the onsets and offsets of tracks."""

    def __init__(self, samples: Floats, rate: float, tracks: Sequence[_Track]) -> None:
        """Prepare for a sound with all of its tracks, which disturb each other."""
        self._rate = rate
        self._half = round(0.5 * TONES.edge_window_s * rate)
        self._count = len(samples)
        self._padded = np.pad(samples, self._half)
        self._tracks = tracks
        self._spans = np.array([(track.at[0], track.at[-1]) for track in tracks]).reshape(-1, 2)
        window = np.hanning(2 * self._half + 1)
        self._window = 2.0 * window / window.sum()

    def tones(self, track: _Track) -> Iterator[Tone]:
        """Yield the tones of a track: more than one if the note is repeated."""
        p = TONES
        if track.at[-1] - track.at[0] < p.shortest_s - p.hop_s:
            return
        at = np.arange(track.at[0] - p.edge_reach_s, track.at[-1] + p.edge_reach_s, p.edge_hop_s)
        at = at[(at >= 0.0) & (at < self._count / self._rate)]
        db = self._levels(track, at)
        for first, last in _split_at_dips(db):
            part, here = db[first:last], at[first:last]
            held = float(np.median(np.sort(part)[len(part) // 3 :]))
            on = np.flatnonzero(part > held - p.half_db)
            start, end = (
                _crossing(at, db, first + int(on[0]), -1, held - p.half_db),
                _crossing(at, db, first + int(on[-1]), 1, held - p.half_db),
            )
            inside = [
                i for i, second in enumerate(track.at) if start - p.hop_s <= second <= end + p.hop_s
            ]
            if end - start < p.shortest_s or len(inside) < 2:
                continue
            within = (here > start + p.edge_window_s) & (here < end - p.edge_window_s)
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
        orders = self._clear_orders(track, float(at[0]), float(at[-1]))
        half = self._half
        middles = np.minimum(np.round(at * self._rate).astype(int), self._count - 1)
        frames = self._padded[middles[:, None] + np.arange(2 * half + 1)] * self._window
        turn = -2j * np.pi * np.arange(-half, half + 1) / self._rate
        power = np.zeros(len(at))
        for order in orders:
            power += np.abs((frames * np.exp(turn * (order * hz)[:, None])).sum(axis=1)) ** 2
        return 10.0 * np.log10(power + 1e-12)

    def _clear_orders(self, track: _Track, first: float, last: float) -> list[int]:
        """Orders of the partials that no other track disturbs; the first three if all are."""
        p = TONES
        f0 = float(np.median(track.hz))
        orders = [k for k in range(1, p.partials + 1) if k * f0 < 0.4 * self._rate]
        clear = set(orders)
        overlapping = np.flatnonzero((self._spans[:, 1] >= first) & (self._spans[:, 0] <= last))
        for other in (self._tracks[int(i)] for i in overlapping):
            if other is track or len(other.at) < p.min_disturbing_frames:
                continue
            hz = float(np.median(other.hz))
            for k in orders:
                order = max(1, round(k * f0 / hz))
                if order <= 2 * p.partials and abs(order * hz - k * f0) < p.clear_hz:
                    clear.discard(k)
        return sorted(clear) or orders[:3]


def _split_at_dips(db: Floats) -> list[tuple[int, int]]:
    """Stretches between dips of the level: (first index, index after the last)."""
    separation_db = TONES.separation_db
    cuts = [0]
    lowest_at, highest = 0, float(db[0])
    falling = False
    lowest = float(db[0])
    for i in range(1, len(db)):
        here = float(db[i])
        if not falling:
            highest = max(highest, here)
            if here < highest - separation_db:
                falling, lowest_at, lowest = True, i, here
        elif here < lowest:
            lowest_at, lowest = i, here
        elif here > lowest + separation_db and highest > lowest + separation_db:
            cuts.append(lowest_at)
            falling, highest = False, here
    return list(zip(cuts, [*cuts[1:], len(db)], strict=True))


def _crossing(at: Floats, db: Floats, index: int, direction: int, level: float) -> float:
    """Seconds at which a level is crossed, between a point above it and the next one.

    Args:
        at: seconds, shape (n,).
        db: levels, shape (n,).
        index: point above `level`.
        direction: 1 for the point after it, -1 for the one before it.
        level: dB.
    """
    beyond = index + direction
    if not 0 <= beyond < len(db) or db[beyond] >= level:
        return float(at[index])
    part = (db[index] - level) / (db[index] - db[beyond])
    return float(at[index] + direction * part * TONES.edge_hop_s)
