"""Which tab entry sounds: the nearest at first, then held through a glide.

A pitch that moves without a break stays on its hole as long as that hole can follow: halfway
down a bend the nearest entry may belong to another hole, and nobody jumped there.
"""

from __future__ import annotations

from trainer.harp import Harp, Tab
from trainer.music import cents

JUMP_CENTS = 30.0
"""A change of pitch from one hop to the next that no bend makes (200 cents in 100 ms is 10)."""
BEYOND_CENTS = 85.0
"""How far past its entries a hole is believed."""
BETTER_HOPS = 30
"""For so many hops in a row another hole must fit much better before the held one is given up."""
FITS_CENTS, MISFITS_CENTS = 20.0, 35.0


class TabTracker:
    """Follows the tab entry of one pitch track."""

    def __init__(self, harp: Harp) -> None:
        self._harp = harp
        self._reach = {tab: self._glides(tab) for tab in harp.entries}
        self._hz = 0.0
        self._tab: Tab | None = None
        self._misfits = 0

    @property
    def held(self) -> Tab | None:
        """The entry held so far."""
        return self._tab

    def restart(self) -> None:
        """Forget the held hole: a new attack."""
        self._tab, self._misfits = None, 0

    def assign(self, hz: float, *, young: bool) -> tuple[Tab, bool]:
        """The entry of one more pitch, and whether it jumped there from another.

        `young` says that the note has just begun: a reed then still comes up to its pitch, past
        entries that nobody means, and none is held.
        """
        jumped = self._tab is not None and abs(cents(hz, self._hz)) > JUMP_CENTS
        self._hz = hz
        held = None if jumped or young or self._tab is None else self._held(hz, self._tab)
        if held is None:
            self._misfits = 0
            self._tab = self._harp.nearest_entries(hz)[0]
            return self._tab, jumped
        self._tab = held
        return held, False

    def override(self, tab: Tab) -> None:
        """Take the word of the reed listener for which entry sounds."""
        self._tab = tab

    def _glides(self, tab: Tab) -> tuple[tuple[Tab, float], ...]:
        """The entries of the same hole and breath with their targets, low to high: no glide leads
        from a reed to its overblow."""
        return tuple(
            (entry, self._harp.hz(entry))
            for entry in self._harp.hole_entries(tab.hole)
            if entry.breath is tab.breath and entry.over == tab.over
        )

    def _held(self, hz: float, tab: Tab) -> Tab | None:
        """The entry of the held hole and breath, or None when it cannot be believed."""
        off, entry = min((abs(cents(hz, target)), entry) for entry, target in self._reach[tab])
        lowest, highest = self._reach[tab][0][1], self._reach[tab][-1][1]
        if off > BEYOND_CENTS and not lowest < hz < highest:
            return None
        misfits = (
            off > MISFITS_CENTS
            and abs(cents(hz, self._harp.hz(self._harp.nearest_entries(hz)[0]))) < FITS_CENTS
        )
        self._misfits = self._misfits + 1 if misfits else 0
        return None if self._misfits > BETTER_HOPS else entry
