"""What cancelling leaves of the echo, hidden in the room's noise.

A click is learnt to within a few hundredths; in a rest that is still an onset. Where what is left
lies under what can be left, it is limited to the room's own level, until something is louder (the
non-linear processor of ITU-T G.168, from memory).
"""

from __future__ import annotations

import math

import numpy as np

from trainer.core.types import Floats

STEP = 64
"""Samples for which one bound holds; divides a block."""
PEAKS = 2.5
"""The room's noise stays under so many times its RMS level."""
OVER = 3.0
"""Times the uncertainty that a sample may be off."""
DISTORTION = 0.06
"""Share of the echo that no linear filter predicts: small loudspeakers bend."""
TAIL_S = 0.5
"""Reverberation beyond the filter falls by 60 dB in this time."""
AHEAD = 6
"""Steps by which a prediction may be early."""
REARM = 6
"""Steps that must lie under the bound before anything is hidden again."""


class ResidualSuppressor:
    """Bounds what may be left of the echo, and hides what is under the bound."""

    def __init__(self, rate: int, size: int) -> None:
        """`rate` in samples a second; `size` samples a block."""
        self._fall = 10.0 ** (-3.0 * STEP / rate / TAIL_S)
        self._floor = 1.0
        self._envelope = np.zeros(size // STEP)
        self._bound = self._envelope
        self._under = 0

    @property
    def _quiet(self) -> float:
        return PEAKS * math.sqrt(self._floor)

    def suppress(self, left: Floats, at: int) -> Floats:
        """What is left, shape (n,), from sample `at` of the block on, with the residue limited."""
        hidden = left.copy()
        quiet = self._quiet
        done = 0
        while done < len(left):
            step, within = divmod(at + done, STEP)
            end = min(done + STEP - within, len(left))
            piece, bound = left[done:end], self._bound[step]
            louder = np.abs(piece) > max(bound, 2.0 * quiet)
            first = int(louder.argmax()) if louder.any() else len(piece)
            if bound > 0.0 and self._under >= REARM:
                hidden[done : done + first] = np.clip(piece[:first], -quiet, quiet)
            if first < len(piece):
                self._under = -1
            done = end
            if (at + done) % STEP == 0:
                self._under += 1
        return hidden

    def observe(self, left: Floats, hiding: bool) -> None:
        """Learn the room's level from a whole block of what was left, and where nothing was
        hidden in it, how long it has been quiet."""
        quiet = self._quiet
        if self._envelope.max() < quiet:
            power = float(left @ left) / len(left)
            self._floor = min(power + 1e-12, 1.3 * self._floor)
        if not hiding:
            steps = np.abs(left).reshape(-1, STEP).max(axis=1)
            above = np.flatnonzero(steps > 2.0 * quiet)
            self._under = len(steps) - 1 - int(above[-1]) if len(above) else len(steps)

    def set_bound(self, echo: Floats | None, uncertainty: float) -> None:
        """Bound the block to come, of which `echo` is predicted to within `uncertainty`, RMS."""
        if echo is None:
            self._envelope = self._bound = np.zeros_like(self._envelope)
            return
        peaks = np.abs(echo).reshape(-1, STEP).max(axis=1)
        padded = np.append(peaks, np.zeros(AHEAD))
        peaks = np.lib.stride_tricks.sliding_window_view(padded, AHEAD + 1).max(axis=1)
        falls = self._fall ** np.arange(1, len(peaks) + 1)
        highest = np.maximum.accumulate(np.maximum(peaks / falls, self._envelope[-1]))
        self._envelope = highest * falls
        rms = math.sqrt(float(self._envelope @ self._envelope) / len(falls)) + 1e-15
        bound = math.hypot(OVER * uncertainty / rms, DISTORTION) * self._envelope
        quiet = self._quiet
        self._bound = np.where(bound > 0.3 * quiet, bound + 1.6 * quiet, 0.0)
