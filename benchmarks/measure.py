"""What is counted, each over the readings of one item.

Conventions. Errors are cents without sign, infinite where no pitch was told. The held part of an
item begins 60 ms after its onset (`SETTLED_S`) and ends where it is let go. Beside the Cramér–Rao
bound, an error is divided by 0.6745 standard deviations, the median of a Gaussian's absolute
value, so that a median of 1 is the bound itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from benchmarks.corpus import Item
from benchmarks.fonts import Floats
from trainer.core.types import Samples
from trainer.ear import Reading, analyze_blocks
from trainer.harp import Tab
from trainer.sound import Block, round_to_24_bits

SETTLED_S = 0.06
"""From so long after an onset the figures of held notes count."""
BLOCK = 512


def blocks(samples: Floats, rate: int, reference: Samples | None = None) -> Iterator[Block]:
    """Sound cut into blocks; `reference` as `Block.reference` is, shape (n,)."""
    heard = round_to_24_bits(samples)
    for start in range(0, len(heard), BLOCK):
        some = slice(start, start + BLOCK)
        yield Block(start, heard[some], rate, None if reference is None else reference[some])


def hear(one: Item) -> list[Reading]:
    """All readings of this ear."""
    return list(analyze_blocks(blocks(one.samples, one.rate), one.rate, one.harp))


@dataclass(frozen=True)
class Track:
    """Pitch readings of any detector.

    Attributes:
        times: what moment each belongs to, seconds, shape (n,).
        heard: when it was known, seconds, shape (n,).
        hz: shape (n,); NaN where it found none.
    """

    times: Floats
    heard: Floats
    hz: Floats


def track(readings: Iterable[Reading]) -> Track:
    """Our readings as a track."""
    rows = [(r.time, r.heard_at, r.hz or np.nan) for r in readings]
    return Track(*np.array(rows).T)


def errors(one: Item, found: Track, settled: float = SETTLED_S) -> Floats:
    """Cents off at every reading of the held part; infinite where there is no pitch."""
    since = one.begins + settled
    held = (found.times > since) & (found.heard < one.until)
    hz = np.where(np.isnan(found.hz[held]), np.inf, found.hz[held])
    with np.errstate(divide="ignore"):
        return 1200.0 * np.log2(hz / one.hz(found.times[held]))


def three_right(one: Item, found: Track, within: float = 10.0) -> float:
    """Seconds from the onset until three readings in a row within some cents are known."""
    after = (found.heard > one.begins) & (found.times < one.until)
    hz, times, heard = found.hz[after], found.times[after], found.heard[after]
    truth = one.hz(np.maximum(times, one.begins))
    with np.errstate(invalid="ignore"):
        right = np.abs(1200.0 * np.log2(hz / truth)) < within
    run = right[2:] & right[1:-1] & right[:-2]
    return float(heard[2:][run][0] - one.begins) if run.any() else float("inf")


def right_holes(one: Item, readings: Sequence[Reading], settled: float = SETTLED_S) -> list[bool]:
    """Whether each reading known that long after the onset names exactly the holes that sound.

    Where draw 2 and blow 3 sound alone either will do, because nothing tells them apart.
    """
    since = one.begins + settled
    return [_names(one, reading) for reading in readings if since < reading.heard_at < one.until]


def _names(one: Item, reading: Reading) -> bool:
    if set(reading.holes) == one.holes:
        return True
    twins = {tab.hole for tab in one.harp.same_pitch(Tab.parse(one.tab))}
    return len(one.holes) == 1 and len(reading.holes) == 1 and reading.holes[0] in twins


def settles(one: Item, readings: Sequence[Reading]) -> float:
    """Seconds from the onset until the holes are right and stay so."""
    told = [(r.heard_at, _names(one, r)) for r in readings if r.heard_at < one.until]
    wrong = [at for at, right in told if not right]
    later = [at for at, _ in told if not wrong or at > wrong[-1]]
    return later[0] - one.begins if later else float("inf")


def leak(one: Item, readings: Sequence[Reading], hole: int) -> float:
    """Median level of a hole relative to the wanted one, dB; -inf where it is not told."""
    wanted = Tab.parse(one.tab).hole
    since = one.begins + 0.1
    levels = []
    for reading in readings:
        if reading.tab is None or not since < reading.heard_at < one.until:
            continue
        told = {reading.tab.hole: 0.0, **dict(reading.levels)}
        levels.append(told.get(hole, -np.inf) - told.get(wanted, np.inf))
    return float(np.median(levels)) if levels else -np.inf


def own_pitch(one: Item, readings: Iterable[Reading]) -> Track:
    """What is told of the wanted reed itself, whichever reed the reading is about.

    Draw 2 told as blow 3 will do, where nothing else sounds on that.
    """
    tab = Tab.parse(one.tab)
    twins = {twin.hole for twin in one.harp.same_pitch(tab)} - one.holes
    rows = []
    for r in readings:
        told = dict(r.pitches)
        other = next((told[hole] for hole in twins if hole in told), np.nan)
        rows.append((r.time, r.heard_at, told.get(tab.hole, other)))
    return Track(*np.array(rows).T)


def bound_cents(one: Item, window: Floats) -> Floats:
    """The least standard deviation that f0 can have in white noise, in cents.

    Nehorai and Porat 1986 (IEEE Trans. ASSP 34(5)), for N samples of a harmonic sound: var(w0) >=
    24 s^2 / (N (N^2 - 1) sum k^2 A_k^2), in (rad/sample)^2.

    Args:
        one: an item whose partials and noise are known.
        window: N, any shape.
    """
    assert one.partials is not None
    weight = float(np.sum((np.arange(1, len(one.partials) + 1) * one.partials) ** 2))
    deviation = np.sqrt(24.0 * one.noise**2 / (window * (window**2 - 1.0) * weight))
    w0 = 2.0 * np.pi * float(one.hz(np.array([one.begins]))[0]) / one.rate
    return 1200.0 / np.log(2.0) * deviation / w0


def over_bound(one: Item, readings: Sequence[Reading]) -> Floats:
    """Errors of the held part over 0.6745 times the bound of the window each reading used.

    The window is what the reading says: it is centred on `sample` and ends at `heard`, so it holds
    twice the samples between, a few of them the anti-alias filter's.
    """
    held = [r for r in readings if r.time > one.begins + SETTLED_S and r.heard_at < one.until]
    window = np.array([2.0 * (r.heard - r.sample) for r in held])
    return np.abs(errors(one, track(readings))) / (0.6745 * bound_cents(one, window))
