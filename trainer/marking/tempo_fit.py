"""Fitting a tempo curve to the onsets of a free performance.

The played time of each beat follows from the onsets by penalized least squares: the line through
the beats should pass the onsets and change its slope little from beat to beat (a smoother with
second differences: Whittaker 1923, Proceedings of the Edinburgh Mathematical Society 41; Hodrick
and Prescott 1997, Journal of Money, Credit and Banking 29; both from memory). Onsets far off the
line count less (Cauchy weights, by reweighted least squares), so that one late note stays late
and does not bend the beat. So do large changes of slope: a new section or a ritardando is followed
at once, and does not loosen the line elsewhere. Onsets on a beat count ten times those off it:
off-beats are judged against their beats.

Where a player stops, goes back or skips, time jumps: an unknown constant that is added to all
later onsets. A stop is assumed where it explains the onsets better than late notes do.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from trainer.core.types import Bools, Floats, Ints
from trainer.drill import BeatClock, Step, TempoCurve
from trainer.marking.parameters import TEMPO_FIT


@dataclass(frozen=True, slots=True)
class TempoFit:
    """A fitted tempo curve.

    Attributes:
        curve: the curve.
        jumps: by index of the onset before which time jumps, the jump in samples.
    """

    curve: TempoCurve
    jumps: dict[int, int]


def fit_tempo(
    steps: Sequence[Step],
    onsets: Sequence[int],
    written: BeatClock,
    cuts: Collection[int] = (),
) -> TempoFit:
    """Fit a tempo curve.

    Args:
        steps: the steps that were played, in order, two at least.
        onsets: sample on which each was played, ascending.
        written: the drill's clock with beat 0 at sample 0.
        cuts: indices of onsets before which the player went back; time jumps there in any case.
    """
    problem = _Problem(steps, np.array(onsets, dtype=float), written)
    jumps = sorted({*problem.candidates(), *cuts})
    least = max(TEMPO_FIT.jump_s, TEMPO_FIT.jump_beats * 60.0 / written.tempo * problem.ratio)
    while True:
        cost, beats, lengths = problem.solve(jumps)
        optional = [i for i, jump in enumerate(jumps) if jump not in cuts]
        if not optional:
            break
        gains = {
            i: problem.solve(jumps[:i] + jumps[i + 1 :])[0] - cost
            if abs(lengths[i]) >= least * written.rate
            else -np.inf
            for i in optional
        }
        weakest = min(gains, key=lambda i: gains[i])
        if gains[weakest] >= TEMPO_FIT.jump_gain:
            break
        del jumps[weakest]
    knots = _increasing(problem.knots, beats, problem.ratio)
    lengths_of = {jump: round(float(length)) for jump, length in zip(jumps, lengths, strict=True)}
    places = [(int(problem.places[jump]), length) for jump, length in lengths_of.items()]
    return TempoFit(TempoCurve(written, knots, tuple(places)), lengths_of)


class _Problem:
    """The least-squares problem of one performance, in seconds.

    Attributes:
        places: written sample of each onset.
        knots: written sample of each beat from before the first onset to after the last.
        ratio: median of played over written time.
    """

    def __init__(self, steps: Sequence[Step], onsets: Floats, written: BeatClock) -> None:
        rate = written.rate
        self.places: Ints = np.array([written.sample(step.start) for step in steps])
        first = int(np.floor(float(steps[0].start)))
        last = max(int(np.ceil(float(max(step.end for step in steps)))), first + 2)
        self.knots: Ints = np.array([written.sample(beat) for beat in range(first, last + 1)])
        self._onsets = onsets / rate
        self._rate = rate
        self._beat_s = 60.0 / written.tempo
        is_on_beat = np.array([step.start.denominator == 1 for step in steps])
        self._weights = _beat_weights(is_on_beat)
        written_intervals = np.diff(self.places) / rate
        self._intervals = np.diff(self._onsets)
        self._written_intervals = written_intervals
        usable = written_intervals > 0.0
        ratios = self._intervals[usable] / written_intervals[usable]
        self.ratio = float(np.median(ratios)) if len(ratios) else 1.0
        self._interpolation = _interpolation(self.places, self.knots)
        self._smoothness = _second_differences(self.knots / rate) / (TEMPO_FIT.change * self.ratio)

    def candidates(self) -> list[int]:
        """Indices of onsets before which time may jump: intervals unlike those around them."""
        least = 0.7 * max(TEMPO_FIT.jump_s, TEMPO_FIT.jump_beats * self._beat_s * self.ratio)
        unlike = []
        for i, (played, written) in enumerate(
            zip(self._intervals, self._written_intervals, strict=True)
        ):
            around = slice(max(0, i - 6), i + 7)
            near = self._written_intervals[around]
            usable = near > 0.0
            ratio = float(np.median(self._intervals[around][usable] / near[usable]))
            if abs(played - ratio * written) >= least:
                unlike.append(i + 1)
        return unlike

    def solve(self, jumps: Sequence[int]) -> tuple[float, Floats, Floats]:
        """The curve with some jumps.

        Returns:
            Its cost; the played sample of each knot; the length of each jump in samples.
        """
        count = len(self._onsets)
        steps = np.zeros((count, len(jumps)))
        for column, jump in enumerate(jumps):
            steps[jump:, column] = 1.0
        rows = np.hstack([self._interpolation, steps]) / TEMPO_FIT.onset_s
        padding = np.zeros((len(self._smoothness), len(jumps)))
        smooth = np.hstack([self._smoothness, padding])
        start = np.mean(self._onsets)
        target = (self._onsets - start) / TEMPO_FIT.onset_s
        weights: Floats = self._weights
        stiffness: Floats = np.ones(len(smooth))
        ridge = _RIDGE * np.eye(rows.shape[1])
        for _ in range(TEMPO_FIT.iterations):
            weighted = rows.T * weights
            normal = weighted @ rows + (smooth.T * stiffness) @ smooth + ridge
            solution = np.linalg.solve(normal, weighted @ target)
            off, bent = rows @ solution - target, smooth @ solution
            weights = self._weights * _cauchy_weight(off, TEMPO_FIT.knee)
            stiffness = _cauchy_weight(bent, TEMPO_FIT.change_knee)
        cost = self._weights @ _cauchy_cost(off, TEMPO_FIT.knee)
        rough = np.sum(_cauchy_cost(bent, TEMPO_FIT.change_knee))
        knots = len(self.knots)
        return (
            float(cost + rough),
            (solution[:knots] + start) * self._rate,
            solution[knots:] * self._rate,
        )


_RIDGE = 1e-6
"""Added to the diagonal of the normal equations, so that they can be solved where no onset shows a
jump."""


def _cauchy_cost(residual: Floats, knee: float) -> Floats:
    """Cost of residuals: half their square at first, and a logarithm beyond the knee."""
    return np.asarray(0.5 * knee**2 * np.log1p((residual / knee) ** 2))


def _cauchy_weight(residual: Floats, knee: float) -> Floats:
    """Weight of residuals in the least-squares problem that has that cost's gradient."""
    return np.asarray(1.0 / (1.0 + (residual / knee) ** 2))


def _beat_weights(is_on_beat: Bools) -> Floats:
    """Weight of each onset: less off the beat, unless few are on it."""
    if np.count_nonzero(is_on_beat) < max(2, len(is_on_beat) // 4):
        return np.ones(len(is_on_beat))
    return np.where(is_on_beat, 1.0, TEMPO_FIT.off_beat_weight)


def _interpolation(places: Ints, knots: Ints) -> Floats:
    """Matrix that interpolates values at knots linearly at places, shape (places, knots)."""
    matrix = np.zeros((len(places), len(knots)))
    left = np.clip(np.searchsorted(knots, places, side="right") - 1, 0, len(knots) - 2)
    part = (places - knots[left]) / (knots[left + 1] - knots[left])
    rows = np.arange(len(places))
    matrix[rows, left] = 1.0 - part
    matrix[rows, left + 1] = part
    return matrix


def _second_differences(places: Floats) -> Floats:
    """Matrix of the changes of slope at the inner knots, shape (knots - 2, knots)."""
    count = len(places)
    slopes = np.zeros((count - 1, count))
    rows = np.arange(count - 1)
    slopes[rows, rows] = -1.0 / np.diff(places)
    slopes[rows, rows + 1] = 1.0 / np.diff(places)
    return np.diff(slopes, axis=0)


def _increasing(knots: Ints, beats: Floats, ratio: float) -> tuple[tuple[int, int], ...]:
    """Knots of a curve whose tempo is nowhere more than four times the median."""
    played = [float(beats[0])]
    for length, beat in zip(np.diff(knots), beats[1:], strict=True):
        played.append(max(float(beat), played[-1] + 0.25 * ratio * float(length)))
    return tuple(zip(knots.tolist(), map(round, played), strict=True))
