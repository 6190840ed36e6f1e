"""One frame as a sum of partials: joint least squares in its spectrum.

The spectrum of a windowed frame is a sum of the window's transform (a lobe), one at each partial.
Given the frequencies of the partials of all reeds, their complex amplitudes follow from a small
system of linear equations, in which partials close to each other share the spectrum between them.
The residual is what the lobes do not explain. (Weighted least squares of sinusoids; refining one
reed after the other with the rest subtracted is the RELAX method of Li and Stoica 1996, IEEE
Trans. Signal Processing 44(2).)

A point is a sample of the zero-padded spectrum; a bin is the distance of two samples of the
spectrum without padding, 1 / (length of the frame).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from trainer.core.types import Complexes, Floats

LOBE_OVERSAMPLING = 8
"""Entries of the table of the lobe per point."""
LOBE_REACH_BINS = 6.0
"""Distance from a partial up to which its lobe is subtracted, bins."""
MAIN_LOBE_BINS = 2.0
"""Half width of the main lobe of a Hann window, bins."""
LOBE_ENERGY = 1.5
"""Sum of the squares of a Hann lobe over its bins, relative to its middle."""
HIGHEST_HZ = 9_500.0
"""Highest frequency of a partial that is fitted, Hz."""
HIGHEST_OF_RATE = 0.46
"""The same as a fraction of the sampling rate; the lower of the two holds."""
_NEIGHBOURS = np.arange(-1, 3)
"""Points between which is interpolated, from the one below."""
_NEIGHBOURS_BESIDE = np.arange(-2, 4)
"""The same, with those for one point before and one after."""
_CUBIC = np.array(
    [
        [0.0, 1.0, 0.0, 0.0],
        [-1.0 / 3.0, -0.5, 1.0, -1.0 / 6.0],
        [0.5, -1.0, 0.5, 0.0],
        [-1.0 / 6.0, 0.5, -0.5, 1.0 / 6.0],
    ]
)
"""Cubic Lagrange interpolation: the weights of these points are polynomials of the distance, with
one row for each power."""
_CUBIC_BESIDE = np.stack(
    [
        np.pad(_CUBIC, ((0, 0), (1, 1))),
        np.pad(_CUBIC, ((0, 0), (2, 0))) - np.pad(_CUBIC, ((0, 0), (0, 2))),
    ],
    axis=1,
)
"""The same for the points of `_NEIGHBOURS_BESIDE`: of the value, and of its difference from one
point before to one point after. Shape (powers, 2, points)."""
WEAKEST_FUNDAMENTAL_DB = 25.0
"""Maximum level of the strongest partial over the fundamental, dB. Recorded reeds: up to 16 dB."""


@dataclass(frozen=True, slots=True)
class _Shape:
    """Everything that depends on a frame's length alone.

    Attributes:
        window: Hann, shape (n,), scaled so that a cosine's peak is its amplitude.
        size: points of the padded frame.
        curvature: minus the second difference, from point to point, at the top of the lobe.
        lobe: the window's transform over its middle value, at 1 / LOBE_OVERSAMPLING points.
        rise: its difference from one point before each to one point after it.
        skirt_power: square of an upper bound of the lobe from that distance outward, one bin
            wider.
    """

    window: Floats
    size: int
    curvature: float
    lobe: Floats
    rise: Floats
    skirt_power: Floats


class Lobes(NamedTuple):
    """Lobes of some partials, in a row for each place and a column for each partial.

    Attributes:
        overlap: value of each partial's lobe at the middle of each other, shape (k, k).
        rise: difference of the lobe from one point before that place to one point after it, same
            shape.
    """

    overlap: Floats
    rise: Floats


@lru_cache(maxsize=32)
def _shape(length: int) -> _Shape:
    window = np.hanning(length + 2)[1:-1]
    window *= 2.0 / window.sum()
    size = 1 << (4 * length - 1).bit_length()
    bins = size / length
    table = np.fft.rfft(_zero_phase(window, LOBE_OVERSAMPLING * size)).real
    lobe = table[: round((LOBE_REACH_BINS + 2.0) * bins * LOBE_OVERSAMPLING)] / table[0]
    hull = np.maximum.accumulate(np.abs(lobe)[::-1])[::-1]
    wider = round(bins * LOBE_OVERSAMPLING)
    skirt = np.concatenate([np.ones(wider), hull[:-wider]])
    steps = np.arange(len(lobe) - LOBE_OVERSAMPLING)
    rise = np.zeros(len(lobe))
    rise[: len(steps)] = lobe[LOBE_OVERSAMPLING:] - lobe[np.abs(steps - LOBE_OVERSAMPLING)]
    curvature = 2.0 * float(lobe[0] - lobe[LOBE_OVERSAMPLING])
    return _Shape(window, size, curvature, lobe, rise, skirt**2)


def _zero_phase(samples: Floats, size: int) -> Floats:
    """Pad with zeros and rotate so that the middle sample comes first (zero-phase windowing)."""
    half = len(samples) // 2
    padded = np.zeros(size)
    padded[: half + 1] = samples[half:]
    padded[-half:] = samples[:half]
    return padded


def _cubic_weights(distance: Floats) -> Floats:
    """Weights of `_NEIGHBOURS` at distances from the point below, in a last axis."""
    t = distance[..., None]
    weights: Floats = ((_CUBIC[3] * t + _CUBIC[2]) * t + _CUBIC[1]) * t + _CUBIC[0]
    return weights


def hann_lobe(bins: Floats) -> Floats:
    """Return the transform of a Hann window at distances in bins, relative to its middle."""
    denominator = 1.0 - bins**2
    denominator = np.where(np.abs(denominator) < 1e-6, 1e-6, denominator)
    return np.where(np.abs(bins**2 - 1.0) < 1e-6, 0.5, np.sinc(bins) / denominator)


class FrameSpectrum:
    """The spectrum of one frame.

    Attributes:
        values: complex amplitudes, referred to the frame's middle.
        per_hz: points per hertz.
        bin: points per bin.
        lobe: every second point of a main lobe, relative to its middle.
        top: number of points that are used.
    """

    def __init__(self, frame: Floats, rate: float) -> None:
        """Transform a frame, shape (n,), with `rate` samples per second."""
        length = len(frame) - 1 + len(frame) % 2
        self._shape = _shape(length)
        size = self._shape.size
        self.values: Complexes = np.fft.rfft(
            _zero_phase(frame[-length:] * self._shape.window, size)
        )
        self.per_hz = size / rate
        self.bin = size / length
        self.top = int(min(HIGHEST_HZ, HIGHEST_OF_RATE * rate) * self.per_hz)
        reach = int(LOBE_REACH_BINS * self.bin)
        lobe = round(MAIN_LOBE_BINS * self.bin)
        self.lobe = np.arange(-lobe, lobe + 1, 2)
        self._around = np.arange(-reach, reach + 1)
        self._steps_around = self._around.astype(float) * LOBE_OVERSAMPLING

    def resolves_as(self, other: FrameSpectrum) -> bool:
        """Return whether the frame of another spectrum is as long."""
        return self._shape is other._shape

    def at(self, points: Floats) -> Complexes:
        """Return values between points, of any shape, by cubic Lagrange interpolation."""
        base = points.astype(int)
        near = self.values.take(base[..., None] + _NEIGHBOURS)
        return np.asarray(np.vecdot(_cubic_weights(points - base), near))

    def at_and_beside(self, points: Floats) -> tuple[Complexes, Complexes]:
        """Return values between points, and their differences over two points.

        Args:
            points: shape (k,).

        Returns:
            The values as by :meth:`at`, and how much they rise from one point before to one point
            after, shape (k,) both.
        """
        base = points.astype(int)
        near = self.values.take(base[:, None] + _NEIGHBOURS_BESIDE)
        powers = np.empty((len(points), len(_CUBIC)))
        powers[:, 0] = 1.0
        powers[:, 1:] = (points - base)[:, None]
        np.multiply.accumulate(powers, axis=1, out=powers)
        weights = powers.dot(_CUBIC_BESIDE.reshape(len(_CUBIC), -1)).reshape(-1, 2, near.shape[1])
        # Real and imaginary parts apart: a product of reals with complexes converts the former.
        both = np.matmul(weights, near.view(float).reshape(*near.shape, 2)).view(complex)
        return both[:, 0, 0].copy(), both[:, 1, 0]

    def lobes(self, points: Floats) -> Lobes:
        """Return what each partial's lobe is at each other's place and beside it.

        Args:
            points: where the partials are, shape (k,).
        """
        places = points * LOBE_OVERSAMPLING
        distance = places[:, None] - places
        steps = np.abs(distance)
        steps += 0.5
        index = steps.astype(int)
        rise = self._shape.rise.take(index, mode="clip")
        np.copysign(rise, distance, out=rise)
        return Lobes(self._shape.lobe.take(index, mode="clip"), rise)

    def slope(self, rise: Complexes, amplitudes: Complexes, lobes: Lobes | None) -> Complexes:
        """Return the offset of each partial from its point, times its amplitude.

        Args:
            rise: rise of the spectrum over two points about the partials, shape (k,).
            amplitudes: of all partials, shape (k,).
            lobes: those of the partials, which are subtracted; None if none overlaps another.
        """
        if lobes is not None:
            parts = amplitudes.view(float).reshape(-1, 2)
            rise = rise - lobes.rise.dot(parts).view(complex)[:, 0]
        return rise / (2.0 * self._shape.curvature)

    def solve(self, observed: Complexes, overlap: Floats, ridge: Floats | float) -> Complexes:
        """Return complex amplitudes of partials, shape (k,).

        Args:
            observed: values where the partials are, shape (k,).
            overlap: as in :class:`Lobes`.
            ridge: power of the noise over the power that each partial is expected to have. Of two
                partials that coincide, the one expected to be louder gets more.
        """
        gram = overlap.copy()
        gram.reshape(-1)[:: len(gram) + 1] += ridge
        parts = observed.view(float).reshape(-1, 2)
        amplitudes: Complexes = np.linalg.solve(gram, parts).view(complex)[:, 0]
        return amplitudes

    def residual(
        self, points: Floats, amplitudes: Complexes, power: Floats
    ) -> tuple[Floats, Floats]:
        """Subtract partials.

        Args:
            points: where they are, shape (k,).
            amplitudes: their complex amplitudes, shape (k,).
            power: squared magnitudes of these, shape (k,).

        Returns:
            The power of the residual, and that of the partials' skirts, shape (top,) both. The
            skirts bound the part of the residual that is due to partials that are less steady than
            the model.
        """
        nearest = np.rint(points)
        steps = self._steps_around + ((nearest - points) * LOBE_OVERSAMPLING)[:, None]
        np.abs(steps, out=steps)
        steps += 0.5
        distance = steps.astype(int)
        lobe = self._shape.lobe.take(distance)
        skirts = self._shape.skirt_power.take(distance)
        skirts *= power[:, None]
        # Counted from the reach of a lobe before the first point, as lobes reach beyond the ends.
        reach = -int(self._around[0])
        index = (nearest.astype(int)[:, None] + (self._around + reach)).ravel()
        used, size = slice(reach, reach + self.top), self.top + 2 * reach
        real, imag = (
            part - np.bincount(index, (scale[:, None] * lobe).ravel(), size)[used]
            for part, scale in (
                (self.values.real[: self.top], amplitudes.real),
                (self.values.imag[: self.top], amplitudes.imag),
            )
        )
        real *= real
        imag *= imag
        real += imag
        return real, np.bincount(index, skirts.ravel(), size)[used].astype(float, copy=False)

    def lowest_strong_peak(self, lowest: float) -> float | None:
        """Return the Hz of the lowest peak above `lowest` that may be a fundamental."""
        a = np.abs(self.values[: self.top])
        threshold = a.max() * 10.0 ** (-WEAKEST_FUNDAMENTAL_DB / 20.0)
        peaks = np.flatnonzero((a[1:-1] > a[:-2]) & (a[1:-1] >= a[2:]) & (a[1:-1] > threshold)) + 1
        peaks = peaks[peaks > lowest * self.per_hz]
        if not len(peaks):
            return None
        k = int(peaks[0])
        left, centre, right = np.log(a[k - 1 : k + 2] + 1e-12)
        curvature = left - 2.0 * centre + right  # 0 in digital silence, where all are 1e-12
        offset = 0.5 * (left - right) / curvature if curvature < 0.0 else 0.0
        return float((k + offset) / self.per_hz)

    def has_fundamental(self, hz: float, *, is_known: bool = False) -> bool:
        """Return whether a reed of that f0 has a fundamental; a common sub-octave has none.

        Args:
            hz: the f0.
            is_known: whether the reed is known to sound. A room may cancel its fundamental; its
                second, third and fifth partials together then stand for it. Chords have such
                partials, too.
        """
        values = self.values[: self.top]
        power = values.real**2 + values.imag**2  # much faster than magnitudes
        threshold = float(power.max()) * 10.0 ** (-WEAKEST_FUNDAMENTAL_DB / 10.0)
        if self._has_peak(power, hz, threshold):
            return True
        return is_known and all(self._has_peak(power, k * hz, threshold) for k in (2, 3, 5))

    def _has_peak(self, power: Floats, hz: float, least: float) -> bool:
        """Whether there is a peak of some power at a frequency, and not the flank of one.

        No point within the main lobe is higher.
        """
        point, lobe = hz * self.per_hz, MAIN_LOBE_BINS * self.bin
        near = max(1, round(0.45 * lobe))
        around = power[max(0, round(point) - near) : round(point) + near + 1]
        if not len(around):
            return False
        wide = power[max(0, round(point - 0.9 * lobe)) : round(point + 0.9 * lobe) + 1]
        highest = around.max()
        return bool(highest >= least and highest >= 0.99**2 * wide.max())
