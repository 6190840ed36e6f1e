"""Track one pitch from the attack on.

The analysis window starts short at an attack and grows with the note, so that a note is named
early and measured precisely. Every estimate is stamped with the centre of its window, so that a
bend is followed without lag. A known pitch is followed by its harmonic fit alone, as long as
aubio does not disagree. The whole range of the harp is searched only if no pitch is known or the
two disagree.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from trainer.ear.frontend import Frontend
from trainer.ear.harmonic_fit import fit_harmonics
from trainer.ear.pitch_candidates import AubioPitch, autocorrelation, candidate_periods
from trainer.music import cents


@dataclass(frozen=True, slots=True)
class PitchParameters:
    """Constants of the pitch tracker.

    Chosen on `harmonica 1` of benchmarks/fonts.py unless a field says otherwise.
    """

    shortest_window_s: float = 0.009
    """Shortest analysis window, seconds."""
    longest_window_s: float = 0.027
    """Usual analysis window of a note that has been held, seconds."""
    periods: float = 2.3
    """Periods of the lowest candidate that a window must contain."""
    min_clarity: float = 0.80
    """Minimum clarity of a pitch, once the note is twice as long as the longest window."""
    min_clarity_early: float = 0.90
    """Minimum clarity before that."""
    min_clarity_short: float = 0.96
    """Minimum clarity while the window is too short for the harp's lowest notes. Half the period
    of one of them, with odd partials 13 dB down, has a clarity of 0.91."""
    aubio_buffer_s: float = 0.043
    """Buffer of aubio's detector, seconds; rounded down to a power of two in samples."""
    max_ratio: float = 1.5
    """Ratio of a predicted pitch to the last one over which the prediction is ignored."""
    disagreement_cents: float = 150.0
    """Difference between aubio and the tracked pitch over which the range is searched anew, cents.
    aubio's buffer is long; behind a bend it lags by less than this."""
    continuation_s: float = 0.012
    """Gap after which a pitch is searched anew, seconds."""
    min_fundamental: float = 0.05
    """Minimum amplitude of the fundamental over the strongest partial. Recorded reeds have 0.22
    (-13 dB) or more; the common sub-octave of two reeds has no fundamental."""
    max_unexplained: float = 0.35
    """Maximum fraction of the energy that one reed may leave unexplained. A clean recorded reed
    leaves up to 0.33 (99th percentile, in its attack). A narrow fit: the two lie close."""
    better_fit: float = 0.5
    """A longer period replaces a shorter one if it leaves less than this times the energy."""
    clearer_by: float = 0.015
    """Difference in clarity by which a longer period must be clearer to be tried."""
    max_longer: int = 3
    """Maximum number of longer periods that are tried."""


DEFAULT_PITCH = PitchParameters()


class PitchEstimate(NamedTuple):
    """A pitch and the window it was measured in.

    Attributes:
        hz: f0.
        centre: centre of the window, in samples of the ear.
        end: end of the window, in samples of the ear.
        unexplained: fraction of the window's energy that the reed leaves unexplained, 0 to 1.
    """

    hz: float
    centre: float
    end: int
    unexplained: float


def predict(hz: float, slope: float, samples: float, max_ratio: float) -> float:
    """Return a pitch that moves on by a slope in Hz per sample, or stays where that leads far away.

    Two pitches far apart, as where reverberation overlaps the next note, give no slope. Carried on
    over a gap, a steep one leads below 0 Hz.
    """
    predicted = hz + slope * samples
    return predicted if 1.0 / max_ratio < predicted / hz < max_ratio else hz


@dataclass(frozen=True, slots=True)
class _Windows:
    """Lengths of analysis windows in samples of the ear; fixed for a stream.

    Attributes:
        shortest: no pitch is estimated from less.
        all_notes: contains enough periods of the lowest note.
        usual: of a note that has been held.
        longest: of a search.
        shortest_lag, longest_lag: periods of the highest and the lowest note.
    """

    shortest: int
    all_notes: int
    usual: int
    longest: int
    shortest_lag: int
    longest_lag: int

    @classmethod
    def of(cls, rate: float, lowest: float, highest: float, p: PitchParameters) -> _Windows:
        shortest = round(p.shortest_window_s * rate)
        all_notes = max(shortest, round(p.periods * rate / lowest * 0.95))
        usual = round(p.longest_window_s * rate)
        return cls(
            shortest,
            all_notes,
            usual,
            max(usual, all_notes),
            max(2, int(rate / highest)),
            int(rate / lowest) + 2,
        )


class _AubioCheck:
    """aubio's pitch beside the tracked one, found when it is asked for.

    Attributes:
        buffer: samples of a note that its pitch needs.
    """

    def __init__(self, frontend: Frontend, hop: int, p: PitchParameters) -> None:
        rate = frontend.rate
        self._sound = frontend
        self._hop = hop
        self.buffer = 1 << round(p.aubio_buffer_s * rate).bit_length() - 1
        self._detector = AubioPitch(rate, self.buffer)
        self._end = -hop
        self._hz: float | None = None

    def hz(self, end: int) -> float | None:
        """The pitch of the buffer before `end`, or of one less than a hop ago, Hz; None if none."""
        if end - self._end >= self._hop:
            self._end = end
            self._hz = self._detector.process(self._sound.window(end, self.buffer))
        return self._hz


class PitchTracker:
    """Tracks one pitch through the sound in a frontend's memory."""

    def __init__(
        self,
        frontend: Frontend,
        hop: int,
        lowest: float,
        highest: float,
        parameters: PitchParameters = DEFAULT_PITCH,
    ) -> None:
        """Prepare for a stream.

        Args:
            frontend: source of windows.
            hop: least time between two pitches of aubio's, samples of the ear.
            lowest: lowest f0, Hz.
            highest: highest f0, Hz.
            parameters: constants.
        """
        self._sound = frontend
        self._parameters = parameters
        self._lowest, self._highest = lowest, highest
        self._windows = _Windows.of(frontend.rate, lowest, highest, parameters)
        self._aubio = _AubioCheck(frontend, hop, parameters)
        # State of the note; `restart` resets it.
        self._last: PitchEstimate | None = None
        self._slope = 0.0

    def restart(self) -> None:
        """Forget the tracked pitch, for another note."""
        self._last, self._slope = None, 0.0

    def estimate(self, end: int, onset: int) -> PitchEstimate | None:
        """Estimate the pitch of the sound before `end`, in a note that began at `onset`."""
        age = end - onset
        if age < self._windows.shortest:
            return None
        estimate = self._follow(end, age) or self._search(end, age)
        last = self._last
        if estimate is None:
            return None
        if last is not None and estimate.centre > last.centre:
            self._slope = (estimate.hz - last.hz) / (estimate.centre - last.centre)
        self._last = estimate
        return estimate

    def _follow(self, end: int, age: int) -> PitchEstimate | None:
        """Continue the last estimate; None if there is none or it does not fit."""
        p, last = self._parameters, self._last
        if last is None or end - last.end > p.continuation_s * self._sound.rate:
            self.restart()
            return None
        other = self._aubio.hz(end) if age >= self._aubio.buffer else None
        if other is not None and abs(cents(other, last.hz)) > p.disagreement_cents:
            return None
        return self._fit(end, age, predict(last.hz, self._slope, end - last.end, p.max_ratio))

    def _search(self, end: int, age: int) -> PitchEstimate | None:
        """Search the whole range; None if no single reed explains the window."""
        windows = self._windows
        longest = min(age, windows.longest)
        estimate = self._search_in(end, age, longest)
        if estimate is None and longest > 1.5 * windows.all_notes:
            # The sound may have changed inside the window.
            estimate = self._search_in(end, windows.all_notes, windows.all_notes)
        return estimate

    def _search_in(self, end: int, age: int, length: int) -> PitchEstimate | None:
        """Search in the last `length` samples."""
        p, windows, rate = self._parameters, self._windows, self._sound.rate
        short = length < windows.all_notes
        if short:
            min_clarity = p.min_clarity_short
        else:
            min_clarity = p.min_clarity if age > 2 * windows.longest else p.min_clarity_early
        window = self._sound.window(end, length)
        longest = min(windows.longest_lag, int(length / p.periods) if short else int(0.7 * length))
        candidates = candidate_periods(autocorrelation(window, longest), windows.shortest_lag)
        if not candidates or candidates[0][1] < min_clarity:
            return None
        period, clarity = candidates[0]
        best = self._fit(end, age, rate / period)
        for longer, clearer in candidates[1 : 1 + p.max_longer]:
            # If even partials are far stronger, half the period is nearly as clear.
            if best is not None and clearer > clarity + p.clearer_by:
                other = self._fit(end, age, rate / longer)
                if other is not None and other.unexplained < p.better_fit * best.unexplained:
                    best = other
        return best

    def _fit(self, end: int, age: int, hz: float) -> PitchEstimate | None:
        """Fit one reed near `hz`; None if the sound is no single reed there."""
        p, rate = self._parameters, self._sound.rate
        length = min(age, max(self._windows.usual, round(3.0 * rate / hz))) & ~1
        fit = fit_harmonics(self._sound.window(end, length), rate, (hz,))
        if (
            fit is None
            or fit.unexplained > p.max_unexplained
            or fit.fundamental_ratio < p.min_fundamental
            or not self._lowest <= fit.hz[0] <= self._highest
        ):
            return None
        return PitchEstimate(fit.hz[0], end - (length + 1) / 2.0, end, fit.unexplained)
