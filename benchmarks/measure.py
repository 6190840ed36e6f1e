"""Measures, each over the readings of one item.

Conventions. Errors are in cents, infinite where no pitch was estimated. The held part of an item is
from 60 ms after its onset (`SETTLED_S`) to its release. For the comparison with the Cramér–Rao
bound, an error is divided by 0.6745 standard deviations, the median of the absolute value of a
Gaussian: a median of 1 is the bound itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from benchmarks.corpus import Item
from trainer.core.types import Floats, Samples
from trainer.ear import Reading, analyze_blocks
from trainer.harp import Tab
from trainer.sound import Block, round_to_24_bits

SETTLED_S = 0.06
"""Seconds after an onset from which a held note is measured."""
BLOCK = 512


def blocks(samples: Floats, rate: int, reference: Samples | None = None) -> Iterator[Block]:
    """Yield sound in blocks; `reference` as in `Block.reference`, shape (n,)."""
    heard = round_to_24_bits(samples)
    for start in range(0, len(heard), BLOCK):
        some = slice(start, start + BLOCK)
        yield Block(start, heard[some], rate, None if reference is None else reference[some])


def hear(item: Item) -> list[Reading]:
    """Return all readings of this ear."""
    return list(analyze_blocks(blocks(item.samples, item.rate), item.rate, item.harp))


@dataclass(frozen=True)
class Track:
    """Pitch readings of any detector.

    Attributes:
        times: time that each describes, seconds, shape (n,).
        heard: time at which it was available, seconds, shape (n,).
        hz: shape (n,); NaN where there is no pitch.
    """

    times: Floats
    heard: Floats
    hz: Floats


def track(readings: Iterable[Reading]) -> Track:
    """Return readings of this ear as a track."""
    rows = [(r.time, r.heard_at, r.hz or np.nan) for r in readings]
    return Track(*np.array(rows).T)


def errors(item: Item, estimates: Track, settled: float = SETTLED_S) -> Floats:
    """Return errors in cents of the held part; infinite where there is no pitch."""
    since = item.begins + settled
    held = (estimates.times > since) & (estimates.heard < item.until)
    hz = np.where(np.isnan(estimates.hz[held]), np.inf, estimates.hz[held])
    with np.errstate(divide="ignore"):
        return 1200.0 * np.log2(hz / item.hz(estimates.times[held]))


def three_right(item: Item, estimates: Track, within: float = 10.0) -> float:
    """Return seconds from the onset to three consecutive readings within `within` cents."""
    after = (estimates.heard > item.begins) & (estimates.times < item.until)
    hz, times, heard = estimates.hz[after], estimates.times[after], estimates.heard[after]
    truth = item.hz(np.maximum(times, item.begins))
    with np.errstate(invalid="ignore"):
        right = np.abs(1200.0 * np.log2(hz / truth)) < within
    run = right[2:] & right[1:-1] & right[:-2]
    return float(heard[2:][run][0] - item.begins) if run.any() else float("inf")


def right_holes(item: Item, readings: Sequence[Reading], settled: float = SETTLED_S) -> list[bool]:
    """Return whether each reading names exactly the sounding holes, from `settled` s on.

    For draw 2 or blow 3 alone either is right: they have the same pitch.
    """
    since = item.begins + settled
    return [_names(item, reading) for reading in readings if since < reading.heard_at < item.until]


def _names(item: Item, reading: Reading) -> bool:
    if set(reading.holes) == item.holes:
        return True
    twins = {tab.hole for tab in item.harp.same_pitch(Tab.parse(item.tab))}
    return len(item.holes) == 1 and len(reading.holes) == 1 and reading.holes[0] in twins


def settles(item: Item, readings: Sequence[Reading]) -> float:
    """Return seconds from the onset until the holes are right and stay right."""
    judged = [(r.heard_at, _names(item, r)) for r in readings if r.heard_at < item.until]
    wrong = [at for at, right in judged if not right]
    later = [at for at, _ in judged if not wrong or at > wrong[-1]]
    return later[0] - item.begins if later else float("inf")


def leak(item: Item, readings: Sequence[Reading], hole: int) -> float:
    """Return the median level of a hole re the wanted one in dB; -inf if not detected."""
    wanted = Tab.parse(item.tab).hole
    since = item.begins + 0.1
    levels = []
    for reading in readings:
        if reading.tab is None or not since < reading.heard_at < item.until:
            continue
        levels_now = {reading.tab.hole: 0.0, **dict(reading.levels)}
        levels.append(levels_now.get(hole, -np.inf) - levels_now.get(wanted, np.inf))
    return float(np.median(levels)) if levels else -np.inf


def own_pitch(item: Item, readings: Iterable[Reading]) -> Track:
    """Return the pitch of the wanted reed, whichever reed a reading is mainly about.

    Blow 3 counts as draw 2 where nothing else sounds on that hole.
    """
    tab = Tab.parse(item.tab)
    twins = {twin.hole for twin in item.harp.same_pitch(tab)} - item.holes
    rows = []
    for r in readings:
        pitches = dict(r.pitches)
        other = next((pitches[hole] for hole in twins if hole in pitches), np.nan)
        rows.append((r.time, r.heard_at, pitches.get(tab.hole, other)))
    return Track(*np.array(rows).T)


def bound_cents(item: Item, window: Floats) -> Floats:
    """Return the Cramér–Rao bound of f0 in white noise, as a standard deviation in cents.

    Nehorai and Porat 1986 (IEEE Trans. ASSP 34(5)), for N samples of a harmonic sound: var(w0) >=
    24 s^2 / (N (N^2 - 1) sum k^2 A_k^2), in (rad/sample)^2.

    Args:
        item: one whose partials and noise are known.
        window: N, any shape.
    """
    assert item.partials is not None
    weight = float(np.sum((np.arange(1, len(item.partials) + 1) * item.partials) ** 2))
    deviation = np.sqrt(24.0 * item.noise**2 / (window * (window**2 - 1.0) * weight))
    w0 = 2.0 * np.pi * float(item.hz(np.array([item.begins]))[0]) / item.rate
    return 1200.0 / np.log(2.0) * deviation / w0


def over_bound(item: Item, readings: Sequence[Reading]) -> Floats:
    """Return errors of the held part over 0.6745 times the bound of each reading's window.

    A window is centred on `sample` and ends at `heard`: it has twice the samples between, including
    a few of the anti-alias filter.
    """
    held = [r for r in readings if r.time > item.begins + SETTLED_S and r.heard_at < item.until]
    window = np.array([2.0 * (r.heard - r.sample) for r in held])
    return np.abs(errors(item, track(readings))) / (0.6745 * bound_cents(item, window))
