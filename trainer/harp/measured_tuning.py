"""A harp's tuning as measured reed by reed, and targets that follow its reeds.

Conventions. Measured reeds are a mapping from natural entries to hertz; reeds may be missing.

- A harp may be tuned to another A4 than stated, because of its maker, its age or the cold. The
  median offset of its reeds estimates it, so that a few worn or bent reeds have no influence.
- The target of a natural note can be its reed.
- A bend has no reed of its own. Its target can follow the reed that is bent: it keeps the interval
  below that reed that the temperament gives, whole half steps in equal temperament.
- An overblow or overdraw can follow the higher reed of its hole in the same way.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from statistics import fmean, median

from trainer.harp.errors import HarpError
from trainer.harp.harp import MAX_OFFSET_CENTS, Harp
from trainer.harp.tab import HOLES, Breath, Tab
from trainer.music import TEMPERAMENTS, cents

ReedFrequencies = Mapping[Tab, float]
"""Frequencies in hertz of measured reeds, by their natural entries."""

MAX_OVERALL_OFFSET_CENTS = 50.0
"""Maximum median offset of a harp's reeds in cents; beyond it, another key is nearer."""
NEIGHBOUR_HOLES = 2
"""Holes on each side whose reeds, in both breaths, count as neighbours of a reed."""


def natural_entries(harp: Harp) -> tuple[Tab, ...]:
    """Natural entries of a harp by hole, the blow reed first."""
    return tuple(Tab(hole, breath) for hole in HOLES for breath in Breath)


def overall_a4_hz(harp: Harp, reeds: ReedFrequencies) -> float:
    """Frequency of A4 in hertz to which the reeds, in the harp's temperament, are tuned.

    Raises:
        HarpError: no reed was measured.
    """
    if not reeds:
        raise HarpError(f"no reed of the {harp.name} harp was measured; measure it first")
    nominal = replace(harp, offsets={})
    offset = median(cents(hz, nominal.hz(tab)) for tab, hz in reeds.items())
    return harp.a4 * 2.0 ** (offset / 1200.0)


def with_reed_targets(
    harp: Harp, reeds: ReedFrequencies, *, naturals: bool, bends: bool, a4: float | None = None
) -> Harp:
    """Return a harp whose targets follow its measured reeds.

    Args:
        harp: the harp with its stated A4; its offsets are added to those of the reeds.
        reeds: measured reeds; entries of other reeds keep to the temperament.
        naturals: whether natural notes follow their reeds.
        bends: whether bends, overblows and overdraws follow the reeds they are played from.
        a4: frequency of A4 in hertz for the temperament; None takes :func:`overall_a4_hz`.

    Raises:
        HarpError: no reed was measured, the reeds belong to another key, or one is another note.
    """
    overall_a4 = overall_a4_hz(harp, reeds)
    shift = cents(overall_a4, harp.a4)
    if abs(shift) > MAX_OVERALL_OFFSET_CENTS:
        raise HarpError(
            f"its reeds lie {_describe_offset(shift)} a {harp.name} harp with A4 = "
            f"{harp.a4:g} Hz; measure it again with its own key"
        )
    tuned = replace(harp, a4=overall_a4 if a4 is None else a4, offsets={})
    reed_offsets = {tab: cents(hz, tuned.hz(tab)) for tab, hz in reeds.items()}
    wrong = [tab for tab in sorted(reed_offsets) if not abs(reed_offsets[tab]) <= MAX_OFFSET_CENTS]
    if wrong:
        raise HarpError(
            f"{wrong[0]} is another note, {_describe_offset(reed_offsets[wrong[0]])} that of a "
            f"{harp.name} harp; measure the harp again"
        )
    offsets = dict(harp.offsets)
    for tab in tuned.entries:
        follows = naturals if tab.is_natural else bends
        if follows and (reed := _reed_of(tuned, tab)) in reed_offsets:
            offsets[tab] = offsets.get(tab, 0.0) + reed_offsets[reed]
    return replace(tuned, offsets=offsets)


def _reed_of(harp: Harp, tab: Tab) -> Tab:
    """Natural entry of the reed that an entry is played from."""
    return Tab(tab.hole, harp.higher_reed(tab.hole) if tab.over else tab.breath)


def _describe_offset(offset_cents: float) -> str:
    return f"{abs(offset_cents):.0f} cents {'above' if offset_cents > 0 else 'below'}"


@dataclass(frozen=True, slots=True)
class ReedTuning:
    """Offsets of a measured reed in cents; positive is sharp.

    Attributes:
        tab: its natural entry.
        hz: its frequency in hertz.
        from_equal_cents: from equal temperament at the harp's stated A4.
        from_temperament_cents: from the harp's temperament at its reeds' overall A4.
        from_neighbours_cents: `from_temperament_cents` less the median of its neighbours'; None
            without measured neighbours.
    """

    tab: Tab
    hz: float
    from_equal_cents: float
    from_temperament_cents: float
    from_neighbours_cents: float | None


def reed_tunings(harp: Harp, reeds: ReedFrequencies) -> tuple[ReedTuning, ...]:
    """Return the offsets of each measured reed, by hole.

    Raises:
        HarpError: no reed was measured.
    """
    equal = replace(harp, temperament=TEMPERAMENTS["equal"], offsets={})
    tuned = replace(harp, a4=overall_a4_hz(harp, reeds), offsets={})
    offsets = {
        tab: cents(reeds[tab], tuned.hz(tab)) for tab in natural_entries(harp) if tab in reeds
    }
    return tuple(
        ReedTuning(
            tab,
            reeds[tab],
            cents(reeds[tab], equal.hz(tab)),
            offset,
            _offset_from_neighbours(tab, offsets),
        )
        for tab, offset in offsets.items()
    )


def _offset_from_neighbours(tab: Tab, offsets: Mapping[Tab, float]) -> float | None:
    neighbours = [
        offset
        for other, offset in offsets.items()
        if tab != other and abs(other.hole - tab.hole) <= NEIGHBOUR_HOLES
    ]
    return offsets[tab] - median(neighbours) if neighbours else None


@dataclass(frozen=True, slots=True)
class OctavePair:
    """Two reeds of one breath an octave apart, as a tongue split plays them.

    Attributes:
        low, high: their entries.
        beats_hz: beat rate of the upper reed with the second partial of the lower one, in hertz.
        cents: excess of the octave over 2:1, in cents; negative is narrower.
    """

    low: Tab
    high: Tab
    beats_hz: float
    cents: float


def octave_pairs(harp: Harp, reeds: ReedFrequencies) -> tuple[OctavePair, ...]:
    """Return the octaves among the measured reeds, by hole."""
    return tuple(
        OctavePair(
            low, high, abs(reeds[high] - 2.0 * reeds[low]), cents(reeds[high], 2.0 * reeds[low])
        )
        for low in natural_entries(harp)
        for high in natural_entries(harp)
        if low.breath is high.breath
        and harp.midi(high) - harp.midi(low) == 12
        and low in reeds
        and high in reeds
    )


def nearest_temperament(harp: Harp, reeds: ReedFrequencies) -> tuple[str, float]:
    """Return the name of the nearest temperament and the mean distance of the reeds in cents.

    Raises:
        HarpError: no reed was measured.
    """
    distances = {
        name: fmean(
            abs(reed.from_temperament_cents)
            for reed in reed_tunings(replace(harp, temperament=temperament), reeds)
        )
        for name, temperament in TEMPERAMENTS.items()
    }
    nearest = min(distances, key=distances.__getitem__)
    return nearest, distances[nearest]
