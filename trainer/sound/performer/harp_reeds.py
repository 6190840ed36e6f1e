"""The reeds of a harp, of either kind."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trainer.harp import Breath, Harp, Tab
from trainer.sound.performer.laboratory_reed import LaboratoryReed
from trainer.sound.performer.natural_reed import NaturalReed
from trainer.sound.performer.voice import Reed, VoiceKind


@dataclass(frozen=True, slots=True)
class HarpReeds:
    """The reeds of a harp.

    Attributes:
        harp: the harp.
        kind: of its reeds.
        rate: samples per second.
        seed: of their peculiarities.
    """

    harp: Harp
    kind: VoiceKind
    rate: int
    seed: int

    def note(self, tab: Tab) -> Reed:
        """Return the reed that sounds a tab entry, at the entry's pitch.

        Raises:
            HarpError: the harp cannot play it.
        """
        hz = self.harp.hz(tab)
        return self.reed(tab, hz, highest=hz)

    def reed(
        self, tab: Tab, hz: float, *, highest: float, rng: np.random.Generator | None = None
    ) -> Reed:
        """Return the reed that sounds a tab entry, at a pitch of its own.

        Args:
            tab: the entry, for its hole and breath.
            hz: reference pitch.
            highest: highest f0 in hertz that it will have.
            rng: draws its peculiarities, for a laboratory reed; None for the reed's own.
        """
        if self.kind is VoiceKind.LABORATORY:
            draws = self.generator(tab) if rng is None else rng
            return LaboratoryReed.of(hz, self.rate, draws, highest=highest)
        own_hz, other_hz = (
            self.harp.hz(Tab(tab.hole, breath)) for breath in (tab.breath, tab.breath.other)
        )
        key = (self.seed, tab.hole, int(tab.breath is Breath.DRAW))
        return NaturalReed.of(hz, (own_hz, other_hz), self.rate, key, highest=highest)

    def generator(self, tab: Tab) -> np.random.Generator:
        """Return the random generator of a reed's peculiarities: the same each time it sounds."""
        return np.random.default_rng((self.seed, tab.hole, tab.breath is Breath.DRAW))
