"""The echo path from loudspeaker to microphone: an adaptive filter.

It works on blocks in the frequency domain and is several blocks long (partitioned frequency-domain
adaptive filter: Soo and Pang 1990, IEEE Trans. ASSP 38(2)). Its step size is a Kalman gain for each
frequency (Enzner and Vary 2006, Signal Processing 86(6); in partitions: Kuech, Mabande and Enzner
2014, ICASSP): the error after cancelling, above all the player, is the observation noise. So it
stands still where the player is louder, and does not adapt to a note that has the pitch of the
reference tone. The papers are cited from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trainer.core.types import Complexes, Floats


@dataclass(frozen=True, slots=True)
class FilterParameters:
    """Constants of the filter. Chosen; `python -m benchmarks.echo` measures the result."""

    partitions: int = 6
    """Length of the filter, in blocks."""
    max_hz: float = 11_000.0
    """Highest frequency that is cancelled, in hertz; the ear uses none above."""
    reverberation_s: float = 0.5
    """Reverberation time (RT60) assumed for an unknown room, in seconds."""
    certainty: float = 0.35
    """Fraction of a Kalman step's gain in certainty that is believed: half of each block is
    padding."""
    persistence: float = 0.9995
    """Fraction of the filter that is still true after a block: rooms change."""
    late_noise: float = 16.0
    """Factor by which the measured lateness of a block is noisier than its noise alone implies."""
    clock_drift: float = 50e-6
    """Standard deviation of the relative drift between the clocks of two sound cards."""
    jitter: float = 4e-3
    """Variance by which the delay wanders in a block, in samples squared."""


PARAMETERS = FilterParameters()


@dataclass(frozen=True, slots=True)
class FilterUpdate:
    """The result of adapting to a block.

    Attributes:
        predicted: spectrum of the predicted echo, shape (bins,).
        error: spectrum of the block without it, shape (bins,).
        noise: power of everything that is not echo, shape (bins,).
    """

    predicted: Complexes
    error: Complexes
    noise: Floats


class AdaptiveFilter:
    """Predicts the echo of the reference signal, block by block.

    Attributes:
        start: delay of the filter's first tap, in samples, at least a block; it follows the drift
            of the clocks, and is 0 while unknown.
        echo: predicted echo of the next block, shape (size,); None where there is none.
    """

    def __init__(self, rate: int, size: int) -> None:
        """`rate` in samples per second; `size` samples in a block, a power of 2."""
        self._rate, self._size = rate, size
        self._bins = math.ceil(min(PARAMETERS.max_hz / rate, 0.5) * 2 * size)
        shape = (PARAMETERS.partitions, self._bins)
        self._omega = np.pi / size * np.arange(self._bins)
        self._noise = np.zeros(self._bins)
        self._filter = np.zeros(shape, complex)
        self._variance = np.zeros(shape)
        """Variance of the filter's error."""
        self._reference = np.zeros(shape, complex)
        """Spectra of the latest blocks of the reference signal, the newest first."""
        self._delay_covariance = np.zeros((2, 2))
        self.start = self._drift = 0.0
        self.echo: Floats | None = None

    @property
    def known(self) -> bool:
        """Whether the delay is known."""
        return self.start > 0.0

    def restart(self, start: float, gain: float, prior: float) -> None:
        """Start anew with an echo of known delay.

        Args:
            start: the delay of the first tap, in samples.
            gain: the echo's amplitude relative to the reference signal.
            prior: initial variance of the filter relative to the echo's power.
        """
        self.start, self._drift = start, 0.0
        self._filter[:] = 0.0
        self._reference[:] = 0.0
        seconds = np.arange(PARAMETERS.partitions) * self._size / self._rate
        decay = 10.0 ** (-6.0 * seconds[:, None] / PARAMETERS.reverberation_s)
        self._variance[:] = prior * gain**2 * decay
        self._delay_covariance = np.diag([0.0, PARAMETERS.clock_drift**2])

    def covers(self, lag: float) -> bool:
        """Whether a known echo begins in the block before a delay of `lag` samples."""
        return self.known and self.start <= lag < self.start + self._size

    def predict(self, reference: Floats, back: int = 0) -> None:
        """Predict the echo of the block that is `back` blocks before the next.

        Args:
            reference: the reference signal up to the end of the last block heard, shape (n,).
            back: blocks.
        """
        size = self._size
        exact = len(reference) - (back - 1) * size - self.start
        end = math.floor(exact)
        segment = reference[end - 2 * size : end]
        self._reference[1:] = self._reference[:-1].copy()
        self._reference[0] = 0.0
        if segment.any():
            fraction = np.exp(1j * self._omega * (exact - end))
            self._reference[0] = np.fft.rfft(segment)[: self._bins] * fraction
        self.echo = None
        if self._reference.any():
            self.echo = self._to_time(np.sum(self._filter * self._reference, axis=0))[size:]

    def uncertainty(self) -> float:
        """Standard deviation of the prediction's error, as an amplitude."""
        power = 0.5 * float(np.sum(self._variance * np.abs(self._reference) ** 2))
        return math.sqrt(power) / self._size

    def adapt(self, heard: Floats) -> FilterUpdate | None:
        """Adapt to a block of the microphone, shape (size,), for which `echo` was predicted."""
        error = self._to_bins(heard if self.echo is None else heard - self.echo)
        power = np.abs(error) ** 2
        self._noise = 0.5 * (self._noise + power)
        if self.echo is None:
            return None
        noise = np.maximum(self._noise, power)
        update = FilterUpdate(self._to_bins(heard) - error, error, noise)
        played = np.abs(self._reference) ** 2
        unsure = 0.5 * np.sum(self._variance * played, axis=0)
        self._track_delay(update, noise + unsure)
        gain = self._variance / (unsure + noise + 1e-12)
        change = self._to_time(gain * np.conj(self._reference) * error)
        change[:, self._size :] = 0.0
        self._filter += np.fft.rfft(change)[:, : self._bins]
        kept = PARAMETERS.persistence**2
        self._variance *= kept * (1.0 - PARAMETERS.certainty * gain * played)
        self._variance += (1.0 - kept) * np.abs(self._filter) ** 2
        return update

    def _track_delay(self, update: FilterUpdate, noise: Floats) -> None:
        """Track delay and drift of the two clocks.

        A Kalman filter observes the lateness from the phase of the echo.
        """
        weight = self._omega / (noise + 1e-12)
        predicted = update.predicted
        precision = float(np.sum(weight * self._omega * np.abs(predicted) ** 2))
        if precision <= 1e-6:
            return
        phase = float(np.sum(weight * np.imag(update.error * np.conj(predicted))))
        late = -phase / precision
        covariance = self._delay_covariance
        gain = covariance[0] / (covariance[0, 0] + PARAMETERS.late_noise / precision)
        self.start += gain[0] * late
        self._drift += gain[1] * late
        self._delay_covariance = covariance - np.outer(gain, covariance[0])

    def advance(self) -> None:
        """Move on by a block."""
        size = self._size
        self.start = max(float(size), self.start + self._drift * size)
        step = np.array([[1.0, size], [0.0, 1.0]])
        noise = [[PARAMETERS.jitter, 0.0], [0.0, 0.0]]
        self._delay_covariance = step @ self._delay_covariance @ step.T + noise

    def _to_bins(self, block: Floats) -> Complexes:
        return np.fft.rfft(np.concatenate([np.zeros(self._size), block]))[: self._bins]

    def _to_time(self, bins: Complexes) -> Floats:
        return np.fft.irfft(bins, 2 * self._size)
