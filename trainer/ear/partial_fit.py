"""One frame as a sum of partials: joint least squares in its spectrum.

A frame under a window is, in its spectrum, a sum of the window's own lobes, one at each partial.
Given where the partials of all reeds lie, their complex amplitudes follow from a small set of
linear equations, in which partials that lie close to each other share what is seen there; what
the lobes do not explain is left over. (Weighted least squares of sinusoids; one reed after the
other refined with the rest subtracted is the RELAX method of Li and Stoica 1996, IEEE Trans.
Signal Processing 44(2).)
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from trainer.core.types import Complexes, Floats

FINE = 8
"""Points of the lobe's table for each point of the spectrum."""
REACH_BINS = 6.0
"""How far from a partial its lobe is subtracted, in bins of the unpadded frame."""
LOBE_BINS = 2.0
"""Half width of the main lobe of a Hann window."""
LOBE_POWER = 1.5
"""Sum of a lobe's squares over its bins, the middle being 1."""
HIGHEST_HZ = 9_500.0
HIGHEST_OF_RATE = 0.46
"""Partials above either are left alone."""
FUNDAMENTAL_DB = 25.0
"""A reed's fundamental is at most this far under the strongest partial (measured on recorded
reeds: at most 16 dB)."""


@dataclass(frozen=True, slots=True)
class _Shape:
    """What depends on a frame's length alone.

    Attributes:
        window: Hann, shape (n,), so scaled that a cosine's peak is its amplitude.
        size: points of the padded frame.
        curve: how sharply the lobe's top bends: less its second difference from point to point.
        lobe: the window's transform over its middle value, at distances of 1 / FINE points.
        skirt: what the lobe stays under from there on outward: its hull, one bin wider.
    """

    window: Floats
    size: int
    curve: float
    lobe: Floats
    skirt: Floats


@lru_cache(maxsize=32)
def _shape(length: int) -> _Shape:
    window = np.hanning(length + 2)[1:-1]
    window *= 2.0 / window.sum()
    size = 1 << (4 * length - 1).bit_length()
    bins = size / length
    table = np.fft.rfft(_centred(window, FINE * size)).real
    lobe = table[: round((REACH_BINS + 2.0) * bins * FINE)] / table[0]
    hull = np.maximum.accumulate(np.abs(lobe)[::-1])[::-1]
    wider = round(bins * FINE)
    skirt = np.concatenate([np.ones(wider), hull[:-wider]])
    return _Shape(window, size, 2.0 * float(lobe[0] - lobe[FINE]), lobe, skirt)


def _centred(samples: Floats, size: int) -> Floats:
    """Padded with zeros so that the middle sample comes first: a spectrum without a turning
    phase."""
    half = len(samples) // 2
    padded = np.zeros(size)
    padded[: half + 1] = samples[half:]
    padded[-half:] = samples[:half]
    return padded


def hann_lobe(bins: Floats) -> Floats:
    """The transform of a Hann window at so many bins from its middle, over its middle value."""
    beside = 1.0 - bins**2
    beside = np.where(np.abs(beside) < 1e-6, 1e-6, beside)
    return np.where(np.abs(bins**2 - 1.0) < 1e-6, 0.5, np.sinc(bins) / beside)


class FrameSpectrum:
    """The spectrum of one frame.

    Attributes:
        values: complex amplitudes, referred to the frame's middle.
        per_hz: points a Hz.
        bin: points a bin of the unpadded frame.
        lobe: every second point of a lobe, counted from its middle.
        top: number of points that are of use.
    """

    def __init__(self, frame: Floats, rate: float) -> None:
        """`frame` of shape (n,); `rate` in samples a second."""
        length = len(frame) - 1 + len(frame) % 2
        self._shape = _shape(length)
        size = self._shape.size
        self.values: Complexes = np.fft.rfft(_centred(frame[-length:] * self._shape.window, size))
        self.per_hz = size / rate
        self.bin = size / length
        self.top = int(min(HIGHEST_HZ, HIGHEST_OF_RATE * rate) * self.per_hz)
        reach = int(REACH_BINS * self.bin)
        lobe = round(LOBE_BINS * self.bin)
        self.lobe = np.arange(-lobe, lobe + 1, 2)
        self._around = np.arange(-reach, reach + 1)

    def at(self, points: Floats) -> Complexes:
        """Values between points, of any shape, by cubic interpolation."""
        base = points.astype(int)
        t = points - base
        before, after, beyond = t + 1.0, t - 1.0, t - 2.0
        inner, outer = after * beyond, before * t
        v = self.values
        made: Complexes = (
            v.take(base) * (0.5 * before * inner)
            - v.take(base - 1) * (t * inner / 6.0)
            - v.take(base + 1) * (0.5 * outer * beyond)
            + v.take(base + 2) * (outer * after / 6.0)
        )
        return made

    def overlap(self, points: Floats) -> Floats:
        """How much of each partial's lobe is seen at each other's middle, shape (k, k)."""
        return self._lobe(np.abs(points[:, None] - points[None, :]))

    def _lobe(self, distance: Floats) -> Floats:
        index = (distance * FINE + 0.5).astype(int)
        table = self._shape.lobe
        np.minimum(index, len(table) - 1, out=index)
        return table.take(index)

    def slope(self, points: Floats, amplitudes: Complexes | None) -> Complexes:
        """How far beside its place, in points, each partial lies, times its amplitude.

        `amplitudes` of all partials, whose lobes are taken away; None if none disturbs another.
        """
        later, earlier = self.at(points + np.array([[1.0], [-1.0]]))
        whole = later - earlier
        if amplitudes is not None:
            distance = points[:, None] - points[None, :]
            side = self._lobe(np.abs(distance + 1.0)) - self._lobe(np.abs(distance - 1.0))
            whole -= side @ amplitudes
        return whole / (2.0 * self._shape.curve)

    def solve(self, points: Floats, overlap: Floats, doubt: Floats | float) -> Complexes:
        """Complex amplitudes of partials, shape (k,).

        `doubt` is the noise's power over the power that each partial is expected to have: of two
        that lie together, the one that is expected to be louder gets more.
        """
        gram = overlap.copy()
        gram.flat[:: len(points) + 1] += doubt
        seen = self.at(points)
        solved = np.linalg.solve(gram, np.column_stack([seen.real, seen.imag]))
        return solved[:, 0] + 1j * solved[:, 1]

    def rest(self, points: Floats, amplitudes: Complexes) -> tuple[Complexes, Floats]:
        """What the partials leave over, and the power of their skirts, shape (top,) both.

        The skirts say how much of what is left may be due to partials that are not as steady as
        the model has them.
        """
        index = np.rint(points).astype(int)[:, None] + self._around
        distance = (np.abs(index - points[:, None]) * FINE + 0.5).astype(int)
        lobe, skirt = self._shape.lobe.take(distance), self._shape.skirt.take(distance)
        skirts = (np.abs(amplitudes)[:, None] * skirt) ** 2
        np.maximum(index, 0, out=index)
        np.minimum(index, self.top, out=index)
        flat, size = index.ravel(), self.top + 1
        left = self.values[:size].copy()
        left.real -= np.bincount(flat, (amplitudes.real[:, None] * lobe).ravel(), size)
        left.imag -= np.bincount(flat, (amplitudes.imag[:, None] * lobe).ravel(), size)
        return left[:-1], np.bincount(flat, skirts.ravel(), size)[:-1].astype(float, copy=False)

    def lowest_strong_peak(self, lowest: float) -> float | None:
        """Hz of the lowest peak above `lowest` that could be a fundamental."""
        a = np.abs(self.values[: self.top])
        threshold = a.max() * 10.0 ** (-FUNDAMENTAL_DB / 20.0)
        peaks = np.flatnonzero((a[1:-1] > a[:-2]) & (a[1:-1] >= a[2:]) & (a[1:-1] > threshold)) + 1
        peaks = peaks[peaks > lowest * self.per_hz]
        if not len(peaks):
            return None
        k = int(peaks[0])
        left, centre, right = np.log(a[k - 1 : k + 2] + 1e-12)
        return float((k + 0.5 * (left - right) / (left - 2.0 * centre + right)) / self.per_hz)

    def has_fundamental(self, hz: float) -> bool:
        """Whether a reed of that f0 shows its own fundamental: a composite period does not."""
        values = self.values[: self.top]
        a = values.real**2 + values.imag**2  # much quicker than the magnitudes
        point, lobe = hz * self.per_hz, LOBE_BINS * self.bin
        near = max(1, round(0.45 * lobe))
        around = a[max(0, round(point) - near) : round(point) + near + 1].max()
        # A peak, and not the flank of one: its middle must not be topped by its edges.
        wide = a[max(0, round(point - 0.9 * lobe)) : round(point + 0.9 * lobe) + 1].max()
        least = a.max() * 10.0 ** (-FUNDAMENTAL_DB / 10.0)
        return bool(around >= least and around >= 0.99**2 * wide)
