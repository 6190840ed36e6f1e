"""The pitch of what sounds, as soon as physics allows.

The window starts short at an attack and grows as the note lives, so that a note is named early
and held precisely; every estimate belongs to the centre of its window, so that a bend is
followed without lag. A pitch that is known is followed by its fit alone, as long as aubio, which
always listens, does not object; only where nothing is known yet, or the two disagree, is the
whole range of the harp searched.
"""

from __future__ import annotations

from typing import NamedTuple

from trainer.ear.frontend import Frontend
from trainer.ear.harmonic_fit import fit_harmonics
from trainer.ear.pitch_candidates import AubioPitch, autocorrelation, candidate_periods
from trainer.music import cents

SHORTEST_S = 0.009
LONGEST_S = 0.027
PERIODS = 2.3
"""Periods of a note that its shortest window must hold."""
CLEAR = 0.80
"""Least clarity of a pitch that is told."""
CLEAR_EARLY = 0.90
"""The same while the window still grows."""
CLEAR_SHORT = 0.96
"""The same while the window is too short to show the harp's lowest notes: half the period of one
of them, of which the odd partials are 13 dB down, comes to 0.91."""
AUBIO_BUFFER_S = 0.043
STRAYS = 1.5
"""A pitch that is to be this many times higher or lower a moment later is not believed."""
OBJECTS_CENTS = 150.0
"""aubio, whose buffer is long, lags behind a bend by less than this."""
CONTINUES_S = 0.012
"""A pitch that has been away for longer is searched for anew."""
LEAST_ROOT = 0.05
"""A reed's fundamental over its strongest partial. Recorded reeds keep over 0.22 (13 dB); the
common sub-octave of two reeds, which nobody played, has none."""
MOST_UNEXPLAINED = 0.35
"""Share of the energy that one reed may leave; a clean recorded one leaves up to 0.33 (the 99th
percentile in its attack)."""
BETTER = 0.5
"""A longer period is taken for a shorter one if it leaves less than this of what that leaves."""
RISES = 0.015
"""How much clearer a longer period must be to be tried."""
MOST_TRIED = 3


class PitchEstimate(NamedTuple):
    """A pitch.

    Attributes:
        hz: f0 in Hz.
        centre: where it belongs, in samples of the ear.
        end: end of the window.
        unexplained: share of the window's energy that the reed leaves.
    """

    hz: float
    centre: float
    end: int
    unexplained: float


class PitchTracker:
    """Tracks one pitch through the sound that a `Frontend` remembers."""

    def __init__(self, frontend: Frontend, hop: int, lowest: float, highest: float) -> None:
        """`hop` in samples of the ear; `lowest` and `highest` plausible f0 in Hz."""
        self._sound = frontend
        rate = frontend.rate
        self._shortest = round(SHORTEST_S * rate)
        self._shows_all = max(self._shortest, round(PERIODS * rate / lowest * 0.95))
        self._usual = round(LONGEST_S * rate)
        self._longest = max(self._usual, self._shows_all)
        self._lags = (max(2, int(rate / highest)), int(rate / lowest) + 2)
        buffer = 1 << round(AUBIO_BUFFER_S * rate).bit_length() - 1
        self._aubio_hears = max(buffer, 2 * hop)
        self._aubio = AubioPitch(rate, hop, self._aubio_hears)
        self._aubio_needs = buffer
        self._missed = False
        self._offered: float | None = None
        self._hop = hop
        self._last: PitchEstimate | None = None
        self._slope = 0.0

    def observe_hop(self, end: int, *, sounds: bool) -> None:
        """Let aubio hear the hop before `end`, if anything sounds; then also those before it that
        it missed and still has to know."""
        if not sounds:
            self._missed = True
            return
        missed = self._aubio_hears // self._hop if self._missed else 0
        self._missed = False
        for at in range(end - missed * self._hop, end + 1, self._hop):
            self._offered = self._aubio.process(self._sound.window(at, self._hop))

    def restart(self) -> None:
        """Forget what was followed: another note."""
        self._last, self._slope = None, 0.0

    def estimate(self, end: int, born: int) -> PitchEstimate | None:
        """The pitch of the sound before `end`, for a note that began at `born`."""
        age = end - born
        if age < self._shortest:
            return None
        found = self._follow(end, age) or self._search(end, age)
        last = self._last
        if found is None:
            return None
        if last is not None and found.centre > last.centre:
            self._slope = (found.hz - last.hz) / (found.centre - last.centre)
        self._last = found
        return found

    def _follow(self, end: int, age: int) -> PitchEstimate | None:
        """The estimate that continues the last one, or None where there is nothing to follow."""
        last = self._last
        if last is None or end - last.end > CONTINUES_S * self._sound.rate:
            self.restart()
            return None
        known = self._offered is not None and age >= self._aubio_needs
        if known and abs(cents(self._offered or 0.0, last.hz)) > OBJECTS_CENTS:
            return None
        guess = last.hz + self._slope * (end - last.end)
        # Two estimates that were far apart, as in a room where notes run into each other, are no
        # slope to go by.
        strays = not 1.0 / STRAYS < guess / last.hz < STRAYS
        return self._fit(end, age, last.hz if strays else guess)

    def _search(self, end: int, age: int) -> PitchEstimate | None:
        """The estimate of whatever reed sounds, or None if no single reed explains the window."""
        longest = min(age, self._longest)
        found = self._search_in(end, age, longest)
        if found is None and longest > 1.5 * self._shows_all:
            # The sound may have changed inside the window.
            found = self._search_in(end, self._shows_all, self._shows_all)
        return found

    def _search_in(self, end: int, age: int, length: int) -> PitchEstimate | None:
        rate = self._sound.rate
        short = length < self._shows_all
        least = CLEAR_SHORT if short else CLEAR if age > 2 * self._longest else CLEAR_EARLY
        window = self._sound.window(end, length)
        longest = min(self._lags[1], int(length / PERIODS) if short else int(0.7 * length))
        found = candidate_periods(autocorrelation(window, longest), self._lags[0])
        if not found or found[0][1] < least:
            return None
        period, clarity = found[0]
        best = self._fit(end, age, rate / period)
        for longer, clearer in found[1 : 1 + MOST_TRIED]:
            # Where even partials are far stronger, half the period is nearly as clear.
            if best is not None and clearer > clarity + RISES:
                other = self._fit(end, age, rate / longer)
                if other is not None and other.unexplained < BETTER * best.unexplained:
                    best = other
        return best

    def _fit(self, end: int, age: int, hz: float) -> PitchEstimate | None:
        """The estimate of one reed near `hz`; None if what sounds is no single reed there."""
        rate = self._sound.rate
        length = min(age, max(self._usual, round(3.0 * rate / hz))) & ~1
        fitted = fit_harmonics(self._sound.window(end, length), rate, (hz,))
        if fitted is None or fitted.unexplained > MOST_UNEXPLAINED or fitted.root < LEAST_ROOT:
            return None
        return PitchEstimate(fitted.hz[0], end - (length + 1) / 2.0, end, fitted.unexplained)
