"""The pitch of what sounds, hop by hop, as soon as physics allows.

The window starts short at an attack and grows as the note lives, so that a note is named early
and held precisely; every estimate belongs to the centre of its window, so that a bend is
followed without lag.
"""

from __future__ import annotations

from dataclasses import dataclass

from trainer.ear.frontend import Frontend
from trainer.ear.harmonics import fit_closely
from trainer.ear.period import AubioPitch, autocorrelation, best_period
from trainer.music import cents

SHORTEST_S = 0.010
LONGEST_S = 0.027
PERIODS = 2.3
"""Periods of the lowest plausible note that the shortest window must hold."""
CLEAR = 0.80
"""Least clarity of a pitch that is told."""
CLEAR_EARLY = 0.90
"""The same while the window still grows."""
AUBIO_BUFFER_S = 0.043
AGREE_CENTS = 35.0
LEAST_FUNDAMENTAL = 0.05
"""A reed's fundamental over its strongest partial. Recorded reeds keep over 0.22 (13 dB); the
common sub-octave of two reeds, which nobody played, has none."""
MOST_UNEXPLAINED = 0.35
"""Share of the energy that one reed may leave; a clean recorded one leaves up to 0.33 (the 99th
percentile in its attack)."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A pitch.

    Attributes:
        hz: f0 in Hz.
        centre: where it belongs, in samples of the ear.
    """

    hz: float
    centre: float


class PitchTracker:
    """Tracks one pitch through the sound that a `Frontend` remembers."""

    def __init__(self, frontend: Frontend, hop: int, lowest: float, highest: float) -> None:
        """`hop` in samples of the ear; `lowest` and `highest` plausible f0 in Hz."""
        self._sound = frontend
        rate = frontend.rate
        self._shortest = max(round(SHORTEST_S * rate), round(PERIODS * rate / lowest * 0.95))
        self._longest = round(LONGEST_S * rate)
        self._lags = (max(2, int(rate / highest)), int(rate / lowest) + 2)
        buffer = 1 << round(AUBIO_BUFFER_S * rate).bit_length() - 1
        self._aubio = AubioPitch(rate, hop, max(buffer, 2 * hop))
        self._aubio_needs = buffer
        self._hop = hop

    def feed(self, end: int, born: int) -> Estimate | None:
        """The pitch of the sound before `end`, for a note that began at `born`."""
        rate = self._sound.rate
        offered = self._aubio.feed(self._sound.window(end, self._hop))
        age = end - born
        if age < self._shortest:
            return None
        length = min(age, max(self._longest, self._shortest))
        window = self._sound.window(end, length)
        correlation = autocorrelation(window, min(self._lags[1], int(0.7 * length)))
        found = best_period(correlation, self._lags[0])
        if found is None:
            return None
        period, clarity = found
        if clarity < (CLEAR if age > 2 * self._longest else CLEAR_EARLY):
            return None
        hz = rate / period
        if (
            offered is not None
            and age >= self._aubio_needs
            and abs(cents(offered, hz)) < AGREE_CENTS
        ):
            hz = offered
        return self._refine(end, age, hz)

    def _refine(self, end: int, age: int, hz: float) -> Estimate | None:
        """The estimate of one reed near `hz`, or None if no single reed explains the window."""
        rate = self._sound.rate
        length = min(age, max(self._longest, round(3.0 * rate / hz)))
        window = self._sound.window(end, length)
        fitted = fit_closely(window, rate, (hz,))
        if (
            fitted is None
            or fitted.fundamental < LEAST_FUNDAMENTAL
            or fitted.unexplained > MOST_UNEXPLAINED
        ):
            return None
        return Estimate(fitted.hz[0], end - (length + 1) / 2.0)
