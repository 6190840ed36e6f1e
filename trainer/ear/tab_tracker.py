"""Choose the tab entry of each pitch, and hold its hole through a glide.

A pitch that moves without a break stays on its hole as long as that hole can reach it: halfway
down a bend the nearest entry may belong to another hole.
"""

from __future__ import annotations

import math
from bisect import bisect
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from trainer.harp import Harp, Tab
from trainer.music import cents


@dataclass(frozen=True, slots=True)
class TabParameters:
    """Constants of the tab tracker, chosen on `harmonica 1`."""

    jump_cents: float = 30.0
    """Change of pitch from one reading to the next that is no glide, cents. A quick bend, 200
    cents in 100 ms, moves 10 cents per 5 ms."""
    beyond_cents: float = 85.0
    """Distance outside the reach of the held hole at which it is given up, cents."""
    misfit_readings: int = 30
    """Consecutive readings in which another entry must fit better before the held hole is given
    up."""
    fit_cents: float = 20.0
    """Distance from another entry under which that entry fits, cents."""
    misfit_cents: float = 35.0
    """Distance from the nearest entry of the held hole over which it does not fit, cents."""


DEFAULT_TAB = TabParameters()


class _Reach(NamedTuple):
    """What a hole can reach in one breath, low to high.

    Attributes:
        entries: the tab entries.
        targets: their frequencies in Hz.
        borders: the frequencies in Hz halfway between them, on a scale of cents.
    """

    entries: tuple[Tab, ...]
    targets: tuple[float, ...]
    borders: tuple[float, ...]


class TabTracker:
    """Tracks the tab entry of one pitch track."""

    def __init__(self, harp: Harp, parameters: TabParameters = DEFAULT_TAB) -> None:
        self._harp = harp
        self._parameters = parameters
        self._reach = {tab: self._glides(tab) for tab in harp.entries}
        self._hz = 0.0
        self._tab: Tab | None = None
        self._misfits = 0

    @property
    def held(self) -> Tab | None:
        """The entry held so far."""
        return self._tab

    def restart(self) -> None:
        """Forget the held hole, for a new attack."""
        self._tab, self._misfits = None, 0

    def assign(self, hz: float, *, young: bool) -> tuple[Tab, bool]:
        """Assign an entry to the next pitch.

        Args:
            hz: f0.
            young: whether the note has just begun. The reed then still rises to its pitch, past
                entries that are not meant, so none is held.

        Returns:
            The entry, and whether the pitch jumped to it.
        """
        jumped = self._tab is not None and abs(cents(hz, self._hz)) > self._parameters.jump_cents
        self._hz = hz
        held = None if jumped or young or self._tab is None else self._held_entry(hz, self._tab)
        if held is None:
            self._misfits = 0
            self._tab = self._harp.nearest_entries(hz)[0]
            return self._tab, jumped
        self._tab = held
        return held, False

    def override(self, tab: Tab) -> None:
        """Hold an entry that the reed detector has found."""
        self._tab = tab

    def _glides(self, tab: Tab) -> _Reach:
        """Entries of the same hole and breath.

        No glide leads from a natural note to its overblow.
        """
        entries = tuple(
            entry
            for entry in self._harp.hole_entries(tab.hole)
            if entry.breath is tab.breath and entry.over == tab.over
        )
        targets = tuple(map(self._harp.hz, entries))
        return _Reach(entries, targets, tuple(math.sqrt(a * b) for a, b in pairwise(targets)))

    def _held_entry(self, hz: float, tab: Tab) -> Tab | None:
        """The entry of the held hole and breath; None if the hole must be given up."""
        p = self._parameters
        entries, targets, borders = self._reach[tab]
        nearest = bisect(borders, hz)
        off = abs(cents(hz, targets[nearest]))
        if off > p.beyond_cents and not targets[0] < hz < targets[-1]:
            return None
        misfits = (
            off > p.misfit_cents
            and abs(cents(hz, self._harp.hz(self._harp.nearest_entries(hz)[0]))) < p.fit_cents
        )
        self._misfits = self._misfits + 1 if misfits else 0
        return None if self._misfits > p.misfit_readings else entries[nearest]
