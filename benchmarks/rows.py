"""Rows of the table: a figure, its material and its goal."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from benchmarks.materials import NOISE_DB, PAIR_DB, SPLITS
from benchmarks.scores import Score, Scores
from trainer.core.types import Floats

Data = Callable[[Scores], Floats]
Figure = Callable[[Floats], float]

GROSS_CENTS = 300.0
"""Errors above this are another note: an octave, a sub-octave or a partial."""
LOW_HZ = 260.0
"""Below this, onset times are counted in excess of 2.5 periods."""


@dataclass(frozen=True)
class Row:
    """A figure and its goal.

    Attributes:
        name: in the table.
        data: selects the numbers.
        figure: calculates the figure from the numbers.
        goal: to be reached.
        more: whether greater is better.
        digits: after the decimal point.
    """

    name: str
    data: Data
    figure: Figure
    goal: float
    more: bool = True
    digits: int = 4

    def value(self, scores: Scores) -> float | None:
        """Return the figure; None where nothing was measured."""
        data = self.data(scores)
        return self.figure(data) if len(data) else None

    def reaches(self, value: float) -> bool:
        """Return whether a figure reaches the goal."""
        return value >= self.goal if self.more else value <= self.goal

    def misses(self, scores: Scores) -> list[tuple[float, Score]]:
        """Return figure and score of the items that miss the goal individually, the worst first."""
        values = [(self.value(Scores([score])), score) for score in scores.scores]
        bad = [(value, score) for value, score in values if value is not None]
        bad = [(value, score) for value, score in bad if not self.reaches(value)]
        return sorted(bad, key=lambda pair: pair[0], reverse=not self.more)


def values_of(key: str, *materials: str, off: bool = False) -> Data:
    """Select one measure of all items of some materials."""
    return lambda scores: scores.of(*materials, off=off).values(key)


def within(cents: float) -> Figure:
    """Return a figure: the fraction of errors below `cents`."""
    return lambda errors: float(np.mean(errors < cents))


def share(right: Floats) -> float:
    """Return the fraction that is right."""
    return float(np.mean(right))


def total(values: Floats) -> float:
    """Return the sum."""
    return float(np.sum(values))


def median(values: Floats) -> float:
    """Return the median."""
    return float(np.median(values))


def gross(errors: Floats) -> float:
    """Return the fraction of errors that are another note."""
    return float(np.mean(np.isfinite(errors) & (errors > GROSS_CENTS)))


def p95_ms(seconds: Floats) -> float:
    """Return the 95th percentile in ms, without interpolation."""
    return 1000.0 * float(np.quantile(seconds, 0.95, method="higher"))


def onset_s(*materials: str, low: bool, off: bool = False) -> Data:
    """Select seconds from hard onsets to three good readings; of low notes, less 2.5 periods."""

    def data(scores: Scores) -> Floats:
        some = scores.of(*materials, off=off)
        three, f0 = some.values("three"), some.values("f0")
        return (three - 2.5 / f0)[f0 < LOW_HZ] if low else three[f0 >= LOW_HZ]

    return data


BENDS = ("bend 100", "bend 200")
PITCH = ("steady", *BENDS, "vibrato", "wah", "hard")
PITCH_NOISY = ("steady 20 dB", "bend 100 20 dB", "bend 200 20 dB", "hard 20 dB")
PAIRS = tuple(f"pair {db}" for db in PAIR_DB)
SOFT_PAIRS = tuple(f"soft pair {db}" for db in PAIR_DB)
MOTIONS = {
    "half-step bend in 150 ms": ("bend 100", "leak in bend"),
    "whole-step bend in 120 ms": ("bend 200", "leak in whole-step bend"),
    "vibrato of ±40 cents": ("vibrato", "leak in vibrato"),
    "hand wah": ("wah", "leak in wah"),
}

ROWS = (
    Row("within 5 cents, steady", values_of("cents", "steady"), within(5.0), 0.9999, digits=5),
    Row("… half-step bend in 150 ms", values_of("cents", "bend 100"), within(5.0), 0.999, digits=5),
    Row(
        "… whole-step bend in 120 ms", values_of("cents", "bend 200"), within(5.0), 0.999, digits=5
    ),
    Row("… steady, 20 dB SNR", values_of("cents", "steady 20 dB"), within(5.0), 0.9999, digits=5),
    Row(
        "… half step, 20 dB SNR", values_of("cents", "bend 100 20 dB"), within(5.0), 0.999, digits=5
    ),
    Row(
        "… whole step, 20 dB SNR",
        values_of("cents", "bend 200 20 dB"),
        within(5.0),
        0.999,
        digits=5,
    ),
    Row("median error, steady, cents", values_of("cents", "steady"), median, 0.03, False, 3),
    Row("median error, bends, cents", values_of("cents", *BENDS), median, 0.03, False, 3),
    *(
        Row(
            f"error over Cramér–Rao bound at {db} dB, median",
            values_of("bound", f"frozen {db} dB"),
            median,
            2.0,
            False,
            2,
        )
        for db in NOISE_DB
    ),
    Row("octave errors after 60 ms", values_of("cents", *PITCH), gross, 0.0, False, 5),
    Row("… 20 dB SNR", values_of("cents", *PITCH_NOISY), gross, 0.0, False, 5),
    Row("hard onset to 3 good readings, p95 ms", onset_s("hard", low=False), p95_ms, 15, False, 1),
    Row(
        "… under 260 Hz, beyond 2.5 periods, p95 ms", onset_s("hard", low=True), p95_ms, 8, False, 1
    ),
    Row("… 20 dB SNR, p95 ms", onset_s("hard 20 dB", low=False), p95_ms, 15, False, 1),
    Row("exact holes 60 ms after a hard onset, clean", values_of("right", "hard"), share, 0.999),
    Row("… clean, 20 dB SNR", values_of("right", "hard 20 dB"), share, 0.999),
    *(
        Row(f"… neighbour at {db} dB", values_of("right", f"pair {db}"), share, 0.999)
        for db in PAIR_DB
    ),
    Row("… reeds 40 cents off, clean", values_of("right", "hard", off=True), share, 0.999),
    *(
        Row(
            f"… reeds 40 cents off, neighbour at {db} dB",
            values_of("right", f"pair {db}", off=True),
            share,
            0.999,
        )
        for db in PAIR_DB
    ),
    Row("exact holes, own attacks, clean", values_of("right", "steady"), share, 0.999),
    Row("… all pairs, from 150 ms on", values_of("right", *SOFT_PAIRS), share, 0.999),
    Row("holes settled, clean, p95 ms", values_of("settle", "hard"), p95_ms, 60, False, 0),
    Row("holes settled, pairs, p95 ms", values_of("settle", *PAIRS), p95_ms, 60, False, 0),
    Row("wanted pitch within 5 cents, pair 0 dB", values_of("own", "pair 0"), within(5.0), 0.99),
    Row("… pair -6 dB", values_of("own", "pair -6"), within(5.0), 0.99),
    Row("… reeds 40 cents off, pair 0 dB", values_of("own", "pair 0", off=True), within(5.0), 0.99),
    *(
        Row(f"no false blur, {name}", values_of("right", clean), share, 0.99)
        for name, (clean, _) in MOTIONS.items()
    ),
    *(
        Row(f"leak 12 dB below detected, {name}", values_of("right", leak), share, 0.99)
        for name, (_, leak) in MOTIONS.items()
    ),
    Row("chords of three", values_of("right", "chord 0"), share, 0.99),
    Row("chords of three, outer 12 dB below", values_of("right", "chord 12"), share, 0.99),
    *(
        Row(
            f"octave split, {off} cents apart, upper {db} dB",
            values_of("right", f"split {off} {db}"),
            share,
            0.95,
        )
        for off, db in SPLITS
    ),
    Row("single notes not reported as splits", values_of("right", "hard", "steady"), share, 0.95),
    Row("items at which the ear failed", lambda s: s.values("failed"), total, 0, False, 0),
)
"""All rows in order."""
