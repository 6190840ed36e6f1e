"""A harp in the hand: the pitch of everything it can play.

Each hole holds a blow and a draw reed. By their pair, and by no table, it is known what the
hole can play (Johnston 1987, Acoustics Australia 15(3); Bahnson, Antaki and Beery 1998, JASA
103(4)):

- the higher reed can be bent down, nominally to a half step above the lower one;
- the opening reed, overblown or overdrawn, sounds a half step above the higher reed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from trainer.harp.errors import HarpError
from trainer.harp.key import HarpKey, parse_key
from trainer.harp.tab import Breath, Tab
from trainer.harp.tuning import Tuning, load_tuning
from trainer.music import Temperament, cents, hz_of, note_name, temperament

HOLES = range(1, 11)
A4_RANGE = (400.0, 480.0)
SHORT_BEND_CENTS = 50.0
"""Depth of a bend on a hole whose reeds lie one half step apart: under a half step, taken as
half of one (common practice)."""


@dataclass(frozen=True)
class Harp:
    """A harp of a key and tuning, with what 'in tune' means on it.

    Attributes:
        key: its key.
        tuning: its tuning.
        a4: Hz of A4 that it is tuned to, 400 to 480.
        temperament: offsets of each degree of its key from equal temperament.
        offsets: the player's own, cents by tab entry as text, on top of the temperament.
    """

    key: HarpKey
    tuning: Tuning
    a4: float = 440.0
    temperament: Temperament = field(default_factory=lambda: temperament("equal"))
    offsets: Mapping[str, float] = field(default_factory=dict)

    @classmethod
    def of(
        cls,
        key: str = "C",
        tuning: str = "richter",
        *,
        a4: float = 440.0,
        temperament_name: str = "equal",
        offsets: Mapping[str, float] | None = None,
    ) -> Harp:
        """A harp by the names of its key, tuning and temperament.

        Raises:
            HarpError: no such key or tuning, a4 out of range, or an offset for an entry that
                it cannot play or of more than 100 cents.
            MusicError: no such temperament.
        """
        if not A4_RANGE[0] <= a4 <= A4_RANGE[1]:
            raise HarpError(f"A4 = {a4:g} Hz is out of range; it must lie between 400 and 480 Hz")
        harp = cls(
            parse_key(key), load_tuning(tuning), a4, temperament(temperament_name), offsets or {}
        )
        for text, offset in harp.offsets.items():
            harp.midi(Tab.parse(text))
            if not abs(offset) <= 100.0:
                raise HarpError(f"an offset of {offset:g} cents for {text} is over 100 cents")
        return harp

    @property
    def name(self) -> str:
        """How it is named to a player, such as ``C`` or ``low F, paddy``."""
        if self.tuning.name == "richter":
            return self.key.name
        return f"{self.key.name}, {self.tuning.name}"

    def reed(self, hole: int, breath: Breath) -> int:
        """MIDI note number of a reed."""
        return self.key.tonic + self.tuning.half_steps(hole, breath)

    def opens(self, hole: int) -> Breath:
        """The breath direction of a hole's higher reed, the one that bends."""
        blow, draw = self.reed(hole, Breath.BLOW), self.reed(hole, Breath.DRAW)
        return Breath.BLOW if blow > draw else Breath.DRAW

    def bend_depth(self, hole: int) -> float:
        """How far, in cents, the hole's higher reed can be bent; 0 if not at all."""
        gap = abs(self.reed(hole, Breath.BLOW) - self.reed(hole, Breath.DRAW))
        return SHORT_BEND_CENTS if gap == 1 else 100.0 * max(0, gap - 1)

    def midi(self, tab: Tab) -> int:
        """MIDI note number nearest to a tab entry's target.

        Raises:
            HarpError: the harp cannot play it; the message says what the hole can do.
        """
        reed = self.reed(tab.hole, tab.breath)
        if tab.is_natural:
            return reed
        bends = self.opens(tab.hole)
        if tab.over:
            if tab.breath is bends:
                what = "overblow" if tab.breath is Breath.BLOW else "overdraw"
                raise HarpError(
                    f"{tab} cannot be played on a {self.name} harp: hole {tab.hole} has no "
                    f"{what}, because its {tab.breath} reed is the higher one"
                )
            return self.reed(tab.hole, bends) + 1
        deepest = int(self.bend_depth(tab.hole) // 100)
        if tab.breath is not bends or tab.bend > deepest:
            raise HarpError(
                f"{tab} cannot be played on a {self.name} harp: {self._bends_in_words(tab.hole)}"
            )
        return reed - tab.bend

    def _bends_in_words(self, hole: int) -> str:
        depth, breath = self.bend_depth(hole), self.opens(hole)
        if depth == 0.0:
            return f"hole {hole} has no bend"
        if depth < 100.0:
            return f"hole {hole} {breath} bends by less than a half step"
        steps = int(depth // 100)
        return f"hole {hole} bends on the {breath}, by {steps} half step{'s' * (steps > 1)}"

    def can_play(self, tab: Tab) -> bool:
        """Whether it can play a tab entry."""
        try:
            self.midi(tab)
        except HarpError:
            return False
        return True

    def hz(self, tab: Tab) -> float:
        """Target of a tab entry in Hz.

        Raises:
            HarpError: the harp cannot play it.
        """
        midi = self.midi(tab)
        offset = self.temperament.offset(midi - self.key.tonic) + self.offsets.get(str(tab), 0.0)
        return hz_of(midi + offset / 100.0, self.a4)

    def note(self, tab: Tab) -> str:
        """Name of the note, such as ``Bb4``."""
        return note_name(self.midi(tab))

    @cached_property
    def entries(self) -> tuple[Tab, ...]:
        """All it can play: naturals, bends, overblows and overdraws, by hole.

        An overblow or overdraw whose note the harp also plays as a natural or a bend is left
        out: nobody plays it (common practice: 1, 4, 5, 6 and 7, 9, 10 on a standard harp).
        """
        naturals_and_bends = [
            Tab(hole, breath, bend)
            for hole in HOLES
            for breath in Breath
            for bend in range(int(self.bend_depth(hole) // 100) + 1)
            if bend == 0 or breath is self.opens(hole)
        ]
        taken = {self.midi(tab) for tab in naturals_and_bends}
        overs = [Tab(hole, self.opens(hole).other, over=True) for hole in HOLES]
        useful = [tab for tab in overs if self.midi(tab) not in taken]
        return tuple(sorted([*naturals_and_bends, *useful]))

    def same_pitch(self, tab: Tab) -> tuple[Tab, ...]:
        """Other entries of the same note (draw 2 and blow 3), which sound cannot tell apart."""
        midi = self.midi(tab)
        return tuple(other for other in self.entries if other != tab and self.midi(other) == midi)

    def nearest(self, hz: float) -> tuple[Tab, ...]:
        """Entries whose target is nearest to a pitch; more than one where they share it.

        Naturals come before bends and bends before overblows.
        """
        by_distance = min(self.entries, key=lambda tab: abs(cents(hz, self.hz(tab))))
        nearest = (by_distance, *self.same_pitch(by_distance))
        return tuple(sorted(nearest, key=lambda tab: (tab.over, tab.bend, tab.hole)))

    def reachable(self, hole: int) -> tuple[Tab, ...]:
        """What one hole can play, low to high: both reeds, their bends, and what blows over."""
        mine = [tab for tab in self.entries if tab.hole == hole]
        return tuple(sorted(mine, key=self.hz))
