"""Which reeds sound, and how loud each is beside the main one.

A detector of one pitch cannot tell a leaking neighbour: two reeds a fourth apart repeat at a
common sub-octave that nobody played. Here the main reed's partials are taken as explained, and
a neighbour is whatever rises between them near the neighbour's own partials, near and not
exactly where theory puts them, because no reed can be trusted to be where theory says.
While the pitch moves, partials smear over each other; the known glide is undone first, by
resampling the frame along the pitch track (time warping: Kepesi and Weruaga 2006, Speech
Communication 48(5)).
"""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from trainer.ear.frontend import Floats
from trainer.harp import Breath, Harp, Tab

FRAME_S = 0.085
SHORTEST_FRAME_S = 0.030
OFF_THEORY_CENTS = 56.0
YOUNG_CENTS = 108.0
"""How far below theory a reed may be while it comes in (measured: up to 100 cents)."""
GRID_CENTS = 4.0
PARTIALS = 6
LOBE_BINS = 3.0
"""Half width of a Blackman window's main lobe, in bins of the unpadded frame."""
SOUNDS_DB = -33.0
"""Level beside the main reed from which another hole counts as sounding."""
LOUDER = 2.5
"""Energy, over the main reed's, from which another reed takes its place."""
SIDE_LOBES = 0.6
"""How far to the sides, in half widths of the main lobe, a peak must stand over its flanks."""
GROWS_DB = -15.0
"""Level from which a hole's own neighbour on the far side is listened for."""
FLOOR_DB = -50.0
"""Levels under this are not told."""
FUNDAMENTAL_DB = 25.0
"""A reed's fundamental is at most this far under the strongest partial (measured on recorded
reeds: at most 13 dB)."""
LEAST_SHARE = 0.1
LEAST_FUNDAMENTAL = 0.01
"""Share of a reed's visible energy that its fundamental must hold, where that can be seen."""
HIGHEST_HZ = 9_500.0


@dataclass(frozen=True, slots=True)
class Reeds:
    """What sounds in one frame.

    Attributes:
        hz: f0 of the main reed as far as the spectrum tells, Hz.
        breath: direction; None when the sound does not tell.
        tab: the main reed's entry.
        levels: (hole, dB relative to the main hole) of what could be measured, by hole, the
            main hole (0 dB) not among them.
        others: f0s in Hz of the other reeds loud enough to count, loudest first.
    """

    hz: float
    tab: Tab
    breath: Breath | None
    levels: tuple[tuple[int, float], ...]
    others: tuple[float, ...]


@lru_cache(maxsize=32)
def _blackman(length: int) -> Floats:
    window = np.blackman(length + 2)[1:-1]
    return window / window.sum() * 2.0


def unwarp(frame: Floats, track: Floats) -> Floats:
    """Undo a known glide: the frame resampled so that its pitch stands still.

    Args:
        frame: samples, shape (n,).
        track: f0 at each sample, shape (n,), in any unit.

    Returns:
        Samples, shape (n,), whose pitch is that of the track's mean. Interpolation is by cubic
        Lagrange polynomials.
    """
    n = len(frame)
    phase = np.concatenate([[0.0], np.cumsum(0.5 * (track[1:] + track[:-1]))])
    at = np.interp(np.linspace(0.0, phase[-1], n), phase, np.arange(n))
    base = np.clip(at.astype(int), 1, n - 3)
    t = at - base
    before, here, after, later = (frame[base + k] for k in (-1, 0, 1, 2))
    return (
        before * (-t * (t - 1.0) * (t - 2.0) / 6.0)
        + here * ((t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0)
        + after * (-(t + 1.0) * t * (t - 2.0) / 2.0)
        + later * ((t + 1.0) * t * (t - 1.0) / 6.0)
    )


class _Spectrum:
    """Amplitudes of one frame, with what has been explained so far."""

    def __init__(self, frame: Floats, rate: float) -> None:
        size = 1 << (2 * len(frame) - 1).bit_length()
        spectrum = np.fft.rfft(frame * _blackman(len(frame)), size)
        self.amplitude: Floats = np.abs(spectrum)
        self.per_hz = size / rate
        self.lobe = LOBE_BINS * size / len(frame)
        self.top = int(HIGHEST_HZ * self.per_hz)
        self.free = np.ones(len(self.amplitude), dtype=bool)
        self.peaks = self.amplitude

    def without(self, hz: float) -> _Spectrum:
        """The same with all partials of a reed taken as explained."""
        left = copy.copy(self)
        left.free = self.free.copy()
        for partial in np.arange(1, int(HIGHEST_HZ / hz) + 2) * hz * self.per_hz:
            left.free[max(0, int(partial - self.lobe)) : int(partial + self.lobe) + 2] = False
        left.peaks = left.only_peaks()
        return left

    def only_peaks(self) -> Floats:
        """The free amplitudes where they stand over both sides, and 0 on the flanks of others."""
        a, side = np.where(self.free, self.amplitude, 0.0), max(1, round(SIDE_LOBES * self.lobe))
        peaks = np.zeros_like(a)
        middle = a[side:-side]
        higher = (middle >= a[: -2 * side]) & (middle >= a[2 * side :])
        peaks[side:-side] = np.where(higher, middle, 0.0)
        return peaks

    def at(self, hz: Floats) -> Floats:
        """Amplitude at frequencies, any shape, by the nearest bin."""
        bins = np.minimum((hz * self.per_hz + 0.5).astype(int), len(self.amplitude) - 1)
        return self.amplitude[bins]

    def peaks_at(self, hz: Floats) -> Floats:
        """The same for `peaks`."""
        bins = np.minimum((hz * self.per_hz + 0.5).astype(int), len(self.peaks) - 1)
        return self.peaks[bins]

    def is_free(self, hz: Floats) -> np.ndarray:
        """Whether frequencies, any shape, lie clear of all that is explained and in range."""
        bins = np.minimum((hz * self.per_hz + 0.5).astype(int), len(self.free) - 1)
        return self.free[bins] & (hz < HIGHEST_HZ)

    def energy(self, hz: float) -> float:
        """What the free partials of a reed hold."""
        partials = np.arange(1, PARTIALS + 1) * hz
        return float(np.sum(self.at(partials[self.is_free(partials)]) ** 2))

    def lowest_strong_peak(self, lowest: float) -> float | None:
        """Hz of the lowest free peak above `lowest` that could be a fundamental."""
        a = self.amplitude[: self.top]
        threshold = a.max() * 10.0 ** (-FUNDAMENTAL_DB / 20.0)
        a = np.where(self.free[: self.top], a, 0.0)
        peaks = np.flatnonzero((a[1:-1] > a[:-2]) & (a[1:-1] >= a[2:]) & (a[1:-1] > threshold)) + 1
        peaks = peaks[peaks > lowest * self.per_hz]
        if not len(peaks):
            return None
        k = int(peaks[0])
        left, centre, right = np.log(a[k - 1 : k + 2] + 1e-12)
        return (k + 0.5 * (left - right) / (left - 2.0 * centre + right)) / self.per_hz

    def has_fundamental(self, hz: float) -> bool:
        """Whether a reed of that f0 shows its own fundamental: a composite period does not."""
        k = round(hz * self.per_hz)
        near = max(1, round(0.3 * self.lobe))
        around = self.amplitude[max(0, k - near) : k + near + 1]
        # A peak, and not the flank of one: its middle must not be topped by its edges.
        wide = self.amplitude[max(0, round(k - 0.6 * self.lobe)) : round(k + 0.6 * self.lobe) + 1]
        strong = self.amplitude[: self.top].max() * 10.0 ** (-FUNDAMENTAL_DB / 20.0)
        return bool(around.max() >= strong and around.max() >= 0.99 * wide.max())


class ReedListener:
    """Listens reed by reed to one harp."""

    def __init__(self, harp: Harp, rate: float) -> None:
        """`rate` in samples a second of the frames."""
        self._harp = harp
        self._rate = rate
        self._naturals = {
            breath: {hole: harp.hz(Tab(hole, breath)) for hole in range(1, 11)} for breath in Breath
        }
        self._lowest = 0.94 * min(hz for side in self._naturals.values() for hz in side.values())
        self._grid = _grid(-OFF_THEORY_CENTS)
        self._young_grid = _grid(-YOUNG_CENTS)

    def listen(
        self, frame: Floats, guess: float | None, tab: Tab | None, *, young: bool = False
    ) -> Reeds | None:
        """What sounds in a frame.

        Args:
            frame: samples, shape (n,), of at least `SHORTEST_FRAME_S`, its glide undone.
            guess: f0 of the main reed in Hz by the pitch tracker, if it has one.
            tab: the entry held so far through a glide, if any; otherwise the nearest is taken.
            young: whether the note has just begun: reeds then come up from far below.

        Returns:
            What sounds, or None where no peak could be a reed.
        """
        spectrum = _Spectrum(frame, self._rate)
        hz = guess
        if hz is None or not spectrum.has_fundamental(hz):
            hz, tab = self._loudest(spectrum), None
        if hz is None:
            return None
        grid = self._young_grid if young else self._grid
        heard, loudest = self._around(spectrum, hz, tab, grid)
        if loudest is not None:
            # The lowest reed was not the loudest: tell everything beside the loudest.
            heard, _ = self._around(spectrum, loudest, None, grid)
        return heard

    def _loudest(self, spectrum: _Spectrum) -> float | None:
        """f0 in Hz of the louder of the two lowest reeds, of which either may be bent."""
        lowest = spectrum.lowest_strong_peak(self._lowest)
        if lowest is None:
            return None
        rest = spectrum.without(lowest)
        second = rest.lowest_strong_peak(lowest)
        if second is None:
            return lowest
        # Partials that both may own say nothing about which is louder.
        louder = rest.energy(second) > spectrum.without(second).energy(lowest)
        return second if louder else lowest

    def _around(
        self, spectrum: _Spectrum, hz: float, tab: Tab | None, grid: Floats
    ) -> tuple[Reeds, float | None]:
        """What sounds around a main reed, and the f0 of another that is clearly louder."""
        candidates = self._entries(hz, tab)
        main = spectrum.at(np.arange(1, PARTIALS + 1) * hz)
        rest = spectrum.without(hz)
        found = {entry: self._neighbours(rest, main, entry, grid) for entry in candidates}
        best = max(candidates, key=lambda entry: _evidence(found[entry]))
        told = len(candidates) == 1 or _evidence(found[best]) > 0.0
        levels = found[best] if told else {}
        others = sorted(levels.values(), reverse=True)
        reeds = Reeds(
            hz,
            best if told else candidates[0],
            best.breath if told else None,
            tuple(sorted((hole, other.db) for hole, other in levels.items())),
            tuple(other.hz for other in others if other.db > SOUNDS_DB),
        )
        loudest = max(levels.values(), key=lambda other: other.energy, default=None)
        louder = loudest is not None and loudest.energy > LOUDER * float(np.sum(main**2))
        return reeds, (loudest.hz if loudest is not None and louder else None)

    def _entries(self, hz: float, tab: Tab | None) -> tuple[Tab, ...]:
        """The entries the main reed may be; more than one where they share a pitch."""
        entry = tab or self._harp.nearest(hz)[0]
        return (entry, *self._harp.same_pitch(entry))

    def _neighbours(
        self, spectrum: _Spectrum, main: Floats, entry: Tab, grid: Floats
    ) -> dict[int, _Other]:
        """What is heard of the holes around the main one, growing outward from it."""
        naturals = self._naturals[entry.breath]
        heard: dict[int, _Other] = {}
        edge = {entry.hole - 1, entry.hole + 1} & set(naturals)
        while edge:
            levels = {hole: self._level(spectrum, main, naturals[hole] * grid) for hole in edge}
            seen = {hole: other for hole, other in levels.items() if other is not None}
            if not seen:
                break
            hole, loudest = max(seen.items(), key=lambda item: item[1].energy)
            if loudest.db <= SOUNDS_DB:
                heard |= {h: other for h, other in seen.items() if other.db > FLOOR_DB}
                break
            heard[hole] = loudest
            spectrum = spectrum.without(loudest.hz)
            edge = edge - {hole}
            if loudest.db > GROWS_DB:
                edge |= {hole - 1, hole + 1} & set(naturals) - set(heard) - {entry.hole}
        return heard

    def _level(self, spectrum: _Spectrum, main: Floats, f0s: Floats) -> _Other | None:
        """One reed beside the main one; None where nothing of it can be seen.

        Of its partials, those that the main reed hides are taken to be to the main reed's of the
        same order as the free ones are.
        """
        hz = f0s[:, None] * np.arange(1, PARTIALS + 1)
        free = spectrum.is_free(hz)
        usable = free.mean(axis=0) > 0.5
        if not usable.any():
            return None
        power = np.where(free, spectrum.peaks_at(hz) ** 2, 0.0)[:, usable]
        energy = power.sum(axis=1)
        best = int(np.argmax(energy))
        if best in (0, len(f0s) - 1):
            return None  # the flank of something louder outside, not a peak of this reed
        if usable[0] and spectrum.at(f0s[best]) ** 2 < LEAST_FUNDAMENTAL * energy[best]:
            return None
        of_main = main**2
        # Where only partials are free that are weak in the main reed, their ratio means little.
        against = max(float(of_main[usable].sum()), LEAST_SHARE * float(of_main.sum()))
        hidden = float(of_main[~usable].sum())
        share = float(energy[best]) * (1.0 + hidden / against) / float(of_main.sum())
        return _Other(10.0 * math.log10(share + 1e-12), float(f0s[best]), float(energy[best]))


def _grid(lowest: float) -> Floats:
    """Ratios to a reed's theory at which it is looked for."""
    return 2.0 ** (np.arange(lowest, OFF_THEORY_CENTS + 0.1, GRID_CENTS) / 1200.0)


class _Other(NamedTuple):
    """A reed beside the main one: its level relative to that, f0, and energy seen."""

    db: float
    hz: float
    energy: float


def _evidence(heard: dict[int, _Other]) -> float:
    """How much sound a breath direction explains beside the main reed."""
    return sum(other.energy for other in heard.values() if other.db > SOUNDS_DB)
