"""Residual echo suppression: what cancelling leaves of the echo, limited to the room's noise.

A click is cancelled to within a few hundredths, which in a rest is still an onset. Where the
residual lies under the bound of what it can be, it is limited to the room's level, until something
is louder (the non-linear processor of ITU-T G.168, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trainer.core.types import Floats


@dataclass(frozen=True, slots=True)
class SuppressorParameters:
    """Constants of the suppressor. Chosen; `python -m benchmarks.echo` measures the result."""

    step: int = 64
    """Samples over which one bound holds; divides a block."""
    noise_crest: float = 2.5
    """Amplitude below which the room's noise stays, relative to its RMS level."""
    deviations: float = 3.0
    """Largest error of a prediction, relative to its standard deviation."""
    distortion: float = 0.06
    """Part of the echo's amplitude that no linear filter predicts: small loudspeakers distort."""
    tail_s: float = 0.5
    """Reverberation time (RT60) assumed beyond the filter, in seconds."""
    early_steps: int = 6
    """Steps by which a prediction may be early."""
    rearm_steps: int = 6
    """Consecutive steps under the bound before anything is suppressed again."""


PARAMETERS = SuppressorParameters()


class ResidualSuppressor:
    """Bounds the residual echo, and limits what lies under the bound."""

    def __init__(self, rate: int, size: int) -> None:
        """`rate` in samples per second; `size` samples in a block."""
        self._decay = 10.0 ** (-3.0 * PARAMETERS.step / rate / PARAMETERS.tail_s)
        self._noise_power = 1.0
        self._envelope = np.zeros(size // PARAMETERS.step)
        self._bound = self._envelope
        self._steps_under = 0

    @property
    def _noise_peak(self) -> float:
        return PARAMETERS.noise_crest * math.sqrt(self._noise_power)

    def suppress(self, error: Floats, at: int) -> Floats:
        """Return samples after cancelling, shape (n,), with the residual limited.

        Args:
            error: the samples.
            at: their first sample's place in the block.
        """
        limited = error.copy()
        noise_peak = self._noise_peak
        done = 0
        while done < len(error):
            step, within = divmod(at + done, PARAMETERS.step)
            end = min(done + PARAMETERS.step - within, len(error))
            piece, bound = error[done:end], self._bound[step]
            louder = np.abs(piece) > max(bound, 2.0 * noise_peak)
            first = int(louder.argmax()) if louder.any() else len(piece)
            if bound > 0.0 and self._steps_under >= PARAMETERS.rearm_steps:
                limited[done : done + first] = np.clip(piece[:first], -noise_peak, noise_peak)
            if first < len(piece):
                self._steps_under = -1
            done = end
            if (at + done) % PARAMETERS.step == 0:
                self._steps_under += 1
        return limited

    def observe(self, error: Floats, active: bool) -> None:
        """Measure the room's noise in a whole block after cancelling, shape (size,).

        Args:
            error: the block.
            active: whether the block was suppressed; where it was not, the steps that were quiet
                are counted.
        """
        noise_peak = self._noise_peak
        if self._envelope.max() < noise_peak:
            power = float(error @ error) / len(error)
            self._noise_power = min(power + 1e-12, 1.3 * self._noise_power)
        if not active:
            peaks = np.abs(error).reshape(-1, PARAMETERS.step).max(axis=1)
            above = np.flatnonzero(peaks > 2.0 * noise_peak)
            self._steps_under = len(peaks) - 1 - int(above[-1]) if len(above) else len(peaks)

    def set_bound(self, echo: Floats | None, uncertainty: float) -> None:
        """Bound the residual of the next block.

        Args:
            echo: its predicted echo, shape (size,); None where there is none.
            uncertainty: standard deviation of the prediction's error, as an amplitude.
        """
        if echo is None:
            self._envelope = self._bound = np.zeros_like(self._envelope)
            return
        peaks = np.abs(echo).reshape(-1, PARAMETERS.step).max(axis=1)
        early = PARAMETERS.early_steps
        padded = np.append(peaks, np.zeros(early))
        peaks = np.lib.stride_tricks.sliding_window_view(padded, early + 1).max(axis=1)
        decays = self._decay ** np.arange(1, len(peaks) + 1)
        highest = np.maximum.accumulate(np.maximum(peaks / decays, self._envelope[-1]))
        self._envelope = highest * decays
        rms = math.sqrt(float(self._envelope @ self._envelope) / len(decays)) + 1e-15
        relative = math.hypot(PARAMETERS.deviations * uncertainty / rms, PARAMETERS.distortion)
        bound = relative * self._envelope
        noise_peak = self._noise_peak
        self._bound = np.where(bound > 0.3 * noise_peak, bound + 1.6 * noise_peak, 0.0)
