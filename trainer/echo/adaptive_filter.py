"""The way from the loudspeaker to the microphone: a filter that learns from what it got wrong.

It works on blocks in the frequency domain and is several blocks long (partitioned frequency-domain
adaptive filter: Soo and Pang 1990, IEEE Trans. ASSP 38(2)). How much it learns from a block is a
Kalman gain for each frequency (Enzner and Vary 2006, Signal Processing 86(6); in partitions:
Kuech, Mabande and Enzner 2014, ICASSP): what is left after cancelling, the player above all, is the
noise there. So it stands still where the player is louder, and does not learn to eat a note that
has the pitch of the reference tone. The papers are cited from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trainer.core.types import Complexes, Floats

PARTITIONS = 6
HIGHEST_HZ = 11_000.0
"""What lies above is of no use to the ear and stays as it is."""
REVERBERATION_S = 0.5
"""The time in which an unknown room is taken to fall by 60 dB."""
LEARNT = 0.35
"""The share of a Kalman step's certainty that is believed: half of each block is padding."""
FORGET = 0.9995
"""A room changes: the share of the filter that is still true after a block."""
LATE_NOISE = 16.0
"""How many times less a block tells about lateness than noise alone would say."""
DRIFT = 50e-6
"""Two sound cards' clocks differ by so much, as a standard deviation."""
JITTER = 4e-3
"""Samples squared by which the delay may wander in a block."""


@dataclass(frozen=True, slots=True)
class FilterUpdate:
    """What a block taught.

    Attributes:
        predicted: spectrum of the echo as it was predicted, shape (bins,).
        left: spectrum of what was left without it, shape (bins,).
        noise: power of what is not echo, shape (bins,).
    """

    predicted: Complexes
    left: Complexes
    noise: Floats


class AdaptiveFilter:
    """Predicts the echo of what is played, block by block.

    Attributes:
        start: samples by which the echo is behind what is played, a block at least; moves with the
            clocks' drift; 0 while it is not known.
        echo: prediction for the block to come, shape (size,); None where nothing comes back.
    """

    def __init__(self, rate: int, size: int) -> None:
        """`rate` in samples a second; `size` samples a block, a power of 2."""
        self._rate, self._size = rate, size
        self._bins = math.ceil(min(HIGHEST_HZ / rate, 0.5) * 2 * size)
        self._omega = np.pi / size * np.arange(self._bins)
        self._noise = np.zeros(self._bins)
        self._filter = np.zeros((PARTITIONS, self._bins), complex)
        self._doubt = np.zeros((PARTITIONS, self._bins))
        self._played = np.zeros((PARTITIONS, self._bins), complex)
        self._spread = np.zeros((2, 2))
        self.start = self._drift = 0.0
        self.echo: Floats | None = None

    @property
    def known(self) -> bool:
        """Whether `start` is known."""
        return self.start > 0.0

    def restart(self, start: float, gain: float, prior: float) -> None:
        """Start afresh where the echo begins `start` samples behind, about so strong; `prior` is
        how far off the filter may be at first: so many times the echo's power."""
        self.start, self._drift = start, 0.0
        self._filter[:] = 0.0
        self._played[:] = 0.0
        seconds = np.arange(PARTITIONS) * self._size / self._rate
        self._doubt[:] = prior * gain**2 * 10.0 ** (-6.0 * seconds[:, None] / REVERBERATION_S)
        self._spread = np.diag([0.0, DRIFT**2])

    def covers(self, lag: float) -> bool:
        """Whether the echo is known to begin in the block before `lag` samples."""
        return self.known and self.start <= lag < self.start + self._size

    def predict(self, reference: Floats, back: int = 0) -> None:
        """Predict the block that is `back` blocks before the next, from all that was played.

        `reference` ends with what is played at the end of the last block heard.
        """
        size = self._size
        exact = len(reference) - (back - 1) * size - self.start
        end = math.floor(exact)
        fed = reference[end - 2 * size : end]
        self._played[1:] = self._played[:-1].copy()
        self._played[0] = 0.0
        if fed.any():
            turned = np.exp(1j * self._omega * (exact - end))
            self._played[0] = np.fft.rfft(fed)[: self._bins] * turned
        self.echo = None
        if self._played.any():
            self.echo = self._to_time(np.sum(self._filter * self._played, axis=0))[size:]

    def uncertainty(self) -> float:
        """RMS amplitude by which the prediction may be off."""
        power = 0.5 * float(np.sum(self._doubt * np.abs(self._played) ** 2))
        return math.sqrt(power) / self._size

    def adapt(self, heard: Floats) -> FilterUpdate | None:
        """Learn from a block as it was heard, shape (size,), for which `echo` was predicted."""
        error = self._to_bins(heard if self.echo is None else heard - self.echo)
        power = np.abs(error) ** 2
        self._noise = 0.5 * (self._noise + power)
        if self.echo is None:
            return None
        noise = np.maximum(self._noise, power)
        outcome = FilterUpdate(self._to_bins(heard) - error, error, noise)
        played = np.abs(self._played) ** 2
        unsure = 0.5 * np.sum(self._doubt * played, axis=0)
        self._follow(outcome, noise + unsure)
        gain = self._doubt / (unsure + noise + 1e-12)
        change = self._to_time(gain * np.conj(self._played) * error)
        change[:, self._size :] = 0.0
        self._filter += np.fft.rfft(change)[:, : self._bins]
        kept = FORGET**2
        self._doubt *= kept * (1.0 - LEARNT * gain * played)
        self._doubt += (1.0 - kept) * np.abs(self._filter) ** 2
        return outcome

    def _follow(self, outcome: FilterUpdate, noise: Floats) -> None:
        """Two clocks drift apart: a Kalman filter of delay and drift, fed with the lateness by
        which the echo's phase is off."""
        weight = self._omega / (noise + 1e-12)
        predicted = outcome.predicted
        sure = float(np.sum(weight * self._omega * np.abs(predicted) ** 2))
        if sure <= 1e-6:
            return
        late = -float(np.sum(weight * np.imag(outcome.left * np.conj(predicted)))) / sure
        gain = self._spread[0] / (self._spread[0, 0] + LATE_NOISE / sure)
        self.start += gain[0] * late
        self._drift += gain[1] * late
        self._spread = self._spread - np.outer(gain, self._spread[0])

    def advance(self) -> None:
        """A block has passed."""
        size = self._size
        self.start = max(float(size), self.start + self._drift * size)
        step = np.array([[1.0, size], [0.0, 1.0]])
        self._spread = step @ self._spread @ step.T + [[JITTER, 0.0], [0.0, 0.0]]

    def _to_bins(self, block: Floats) -> Complexes:
        return np.fft.rfft(np.concatenate([np.zeros(self._size), block]))[: self._bins]

    def _to_time(self, bins: Complexes) -> Floats:
        return np.fft.irfft(bins, 2 * self._size)
