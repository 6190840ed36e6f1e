"""A harp by its own reeds: what it is tuned to as a whole, and targets that follow its reeds.

Conventions. Reeds are a mapping from natural entries to Hz, as far as they were measured; where
nothing is said of a tuning, 'off' counts from the harp's temperament at its own A4.

- As a whole a harp may lie off the A4 that it is said to have, by its maker, its age or the cold.
  The median of its reeds says by how much, so that a few worn or bent ones do not matter.
- The target of a natural note can be its reed.
- A bend has no reed of its own. Its target can follow the reed that is bent: it then keeps the
  distance that the temperament gives it below that reed, whole half steps in equal temperament.
- An overblow or overdraw rises from the higher reed of its hole and can follow that one likewise.
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

MAX_OVERALL_OFFSET_CENTS = 50.0
"""Cents; a harp further off than this is nearer to another key."""
NEIGHBOUR_HOLES = 2
"""Holes to each side whose reeds are the neighbours of one, in both breaths."""


def natural_entries(harp: Harp) -> tuple[Tab, ...]:
    """A harp's natural notes, by hole, the blow reed first."""
    return tuple(Tab(hole, breath) for hole in HOLES for breath in Breath)


def overall_a4_hz(harp: Harp, reeds: ReedFrequencies) -> float:
    """Hz of the A4 to which its reeds, in its temperament, are tuned as a whole.

    Raises:
        HarpError: there are no reeds.
    """
    if not reeds:
        raise HarpError(f"no reed of the {harp.name} harp was measured; measure it first")
    plain = replace(harp, offsets={})
    return harp.a4 * 2.0 ** (median(cents(hz, plain.hz(tab)) for tab, hz in reeds.items()) / 1200.0)


def with_reed_targets(
    harp: Harp, reeds: ReedFrequencies, *, naturals: bool, bends: bool, a4: float | None = None
) -> Harp:
    """A harp whose targets follow its reeds.

    Args:
        harp: its key, tuning and temperament, and the A4 that it is said to have; offsets of its
            own are added to those by the reeds.
        reeds: its reeds; an entry whose reed was not measured keeps to the temperament.
        naturals: whether the target of a natural note is its reed, and not the temperament.
        bends: whether bends, overblows and overdraws follow the reeds that they come from.
        a4: Hz of the A4 to which the temperament is tuned; None takes :func:`overall_a4_hz`.

    Raises:
        HarpError: there are no reeds, they are those of another harp, or one is another note.
    """
    own = overall_a4_hz(harp, reeds)
    shift = cents(own, harp.a4)
    if abs(shift) > MAX_OVERALL_OFFSET_CENTS:
        raise HarpError(
            f"the reeds lie {_way(shift)} a {harp.name} harp with A4 = {harp.a4:g} Hz as a whole; "
            "was it measured with another key? Measure it again with its own"
        )
    tuned = replace(harp, a4=own if a4 is None else a4, offsets={})
    off = {tab: cents(hz, tuned.hz(tab)) for tab, hz in reeds.items()}
    if far := [tab for tab in sorted(off) if not abs(off[tab]) <= MAX_OFFSET_CENTS]:
        raise HarpError(
            f"{far[0]} was measured {_way(off[far[0]])} where a {harp.name} harp has it, which is "
            "another note; is it another harp or key? Measure it again"
        )
    offsets = dict(harp.offsets)
    for tab in tuned.entries:
        follows = naturals if tab.is_natural else bends
        if follows and (reed := _reed_of(tuned, tab)) in off:
            offsets[tab] = offsets.get(tab, 0.0) + off[reed]
    return replace(tuned, offsets=offsets)


def _reed_of(harp: Harp, tab: Tab) -> Tab:
    """The natural entry of the reed that an entry is played from."""
    return Tab(tab.hole, harp.higher_reed(tab.hole) if tab.over else tab.breath)


def _way(cents: float) -> str:
    return f"{abs(cents):.0f} cents {'above' if cents > 0 else 'below'}"


@dataclass(frozen=True, slots=True)
class ReedTuning:
    """Where a reed stands, in cents; positive is sharp.

    Attributes:
        tab: its natural entry.
        hz: its pitch.
        from_equal_cents: from equal temperament, at the A4 that the harp is said to have.
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
    """Where each reed stands, by hole.

    Raises:
        HarpError: there are no reeds.
    """
    equal = replace(harp, temperament=TEMPERAMENTS["equal"], offsets={})
    tuned = replace(harp, a4=overall_a4_hz(harp, reeds), offsets={})
    off = {tab: cents(reeds[tab], tuned.hz(tab)) for tab in natural_entries(harp) if tab in reeds}
    return tuple(
        ReedTuning(tab, reeds[tab], cents(reeds[tab], equal.hz(tab)), mine, _beside(tab, mine, off))
        for tab, mine in off.items()
    )


def _beside(tab: Tab, mine: float, off: Mapping[Tab, float]) -> float | None:
    near = [
        one
        for other, one in off.items()
        if tab != other and abs(other.hole - tab.hole) <= NEIGHBOUR_HOLES
    ]
    return mine - median(near) if near else None


@dataclass(frozen=True, slots=True)
class OctavePair:
    """Two reeds of one breath an octave apart, as a tongue split sounds them.

    Attributes:
        low, high: their entries.
        beats_hz: beats a second of the upper reed with the second partial of the lower one.
        cents: by how much the octave is wider than 2 to 1; negative is narrower.
    """

    low: Tab
    high: Tab
    beats_hz: float
    cents: float


def octave_pairs(harp: Harp, reeds: ReedFrequencies) -> tuple[OctavePair, ...]:
    """The octaves among the measured reeds, by hole."""
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
    """The temperament that its reeds are nearest to, and their mean distance from it in cents.

    Raises:
        HarpError: there are no reeds.
    """
    spread = {
        name: fmean(
            abs(one.from_temperament_cents)
            for one in reed_tunings(replace(harp, temperament=temperament), reeds)
        )
        for name, temperament in TEMPERAMENTS.items()
    }
    nearest = min(spread, key=spread.__getitem__)
    return nearest, spread[nearest]
