"""A harp in the hand: the pitch of everything it can play.

Each hole holds a blow and a draw reed. By their pair, and by no table, it is known what the
hole can play (Johnston 1987, Acoustics Australia 15(3); Bahnson, Antaki and Beery 1998, JASA
103(4)):

- the higher reed can be bent down, nominally to a half step above the lower one;
- the opening reed, overblown or overdrawn, sounds a half step above the higher reed.

A temperament counts from the harp's own key, whatever the position, because that is how its
reeds are filed. Bends, overblows and overdraws have no tuned reed: they take the target of the
degree they reach, as if a reed of that degree were there.
"""

from __future__ import annotations

import math
from bisect import bisect
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

from trainer.harp.errors import HarpError
from trainer.harp.key import HarpKey, parse_key
from trainer.harp.tab import HOLES, Breath, Tab
from trainer.harp.tuning import Tuning, load_tuning
from trainer.music import TEMPERAMENTS, Temperament, midi_to_hz, note_name, temperament_named

A4_RANGE_HZ = (400.0, 480.0)
MAX_OFFSET_CENTS = 100.0
"""Cents; a reed further off than a half step is another note."""
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
        offsets: the player's own, in cents by tab entry, on top of the temperament; -100 to 100.

    Raises:
        HarpError: a4 or an offset is out of range, or an offset is for an entry that the harp
            cannot play.
    """

    key: HarpKey
    tuning: Tuning
    a4: float = 440.0
    temperament: Temperament = TEMPERAMENTS["equal"]
    offsets: Mapping[Tab, float] = field(default_factory=dict, hash=False)

    def __post_init__(self) -> None:
        if not A4_RANGE_HZ[0] <= self.a4 <= A4_RANGE_HZ[1]:
            raise HarpError(
                f"A4 = {self.a4:g} Hz is out of range; it must lie between 400 and 480 Hz"
            )
        for tab, offset in self.offsets.items():
            self.midi(tab)
            if not abs(offset) <= MAX_OFFSET_CENTS:
                raise HarpError(
                    f"an offset of {offset:g} cents for {tab} is out of range; it must lie "
                    f"between -{MAX_OFFSET_CENTS:g} and {MAX_OFFSET_CENTS:g}"
                )

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
        """A harp by the names of its key, tuning and temperament, and offsets by tab as text.

        Raises:
            HarpError: no such key or tuning, text that is not tab, a4 or an offset out of range,
                or an offset for an entry that it cannot play.
            MusicError: no such temperament.
        """
        return cls(
            parse_key(key),
            load_tuning(tuning),
            a4,
            temperament_named(temperament_name),
            {Tab.parse(text): cents for text, cents in (offsets or {}).items()},
        )

    @property
    def name(self) -> str:
        """How it is named to a player, such as ``C`` or ``low F, paddy``."""
        if self.tuning.name == "richter":
            return self.key.name
        return f"{self.key.name}, {self.tuning.name}"

    def reed(self, hole: int, breath: Breath) -> int:
        """MIDI note number of a reed."""
        return self.key.tonic + self.tuning.half_steps(hole, breath)

    def higher_reed(self, hole: int) -> Breath:
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
        bends = self.higher_reed(tab.hole)
        if tab.over:
            if tab.breath is bends:
                raise HarpError(
                    f"{tab} cannot be played on a {self.name} harp: hole {tab.hole} has no "
                    f"{tab.kind}, because its {tab.breath} reed is the higher one"
                )
            return self.reed(tab.hole, bends) + 1
        deepest = int(self.bend_depth(tab.hole) // 100)
        if tab.breath is not bends or tab.bend > deepest:
            raise HarpError(
                f"{tab} cannot be played on a {self.name} harp: {self._bends_in_words(tab.hole)}"
            )
        return reed - tab.bend

    def _bends_in_words(self, hole: int) -> str:
        depth, breath = self.bend_depth(hole), self.higher_reed(hole)
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
        return self._targets[tab] if tab in self._targets else self._target(tab)

    def _target(self, tab: Tab) -> float:
        return midi_to_hz(self.midi(tab) + self.offset(tab) / 100.0, self.a4)

    def offset(self, tab: Tab) -> float:
        """Cents of a tab entry's target from equal temperament, by temperament and player.

        Raises:
            HarpError: the harp cannot play it.
        """
        by_degree = self.temperament.offset(self.midi(tab) - self.key.tonic)
        return by_degree + self.offsets.get(tab, 0.0)

    def note(self, tab: Tab) -> str:
        """Name of the note, such as ``Bb4``, spelled in the harp's key.

        Raises:
            HarpError: the harp cannot play it.
        """
        return note_name(self.midi(tab), self.key.note)

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
            if bend == 0 or breath is self.higher_reed(hole)
        ]
        taken = {self.midi(tab) for tab in naturals_and_bends}
        overs = [Tab(hole, self.higher_reed(hole).other, over=True) for hole in HOLES]
        useful = [tab for tab in overs if self.midi(tab) not in taken]
        return tuple(sorted([*naturals_and_bends, *useful]))

    @cached_property
    def _targets(self) -> dict[Tab, float]:
        """Hz of every entry; the ear asks for them many times a second."""
        return {tab: self._target(tab) for tab in self.entries}

    @cached_property
    def _by_note(self) -> dict[int, tuple[Tab, ...]]:
        """Entries by MIDI note number, the easiest first."""
        notes: dict[int, tuple[Tab, ...]] = {}
        for tab in sorted(self.entries, key=lambda tab: (tab.over, tab.bend, tab.hole)):
            notes[self.midi(tab)] = (*notes.get(self.midi(tab), ()), tab)
        return notes

    @cached_property
    def _nearest(self) -> tuple[list[float], list[tuple[Tab, ...]]]:
        """Hz halfway between neighbouring targets, and the entries each stretch belongs to."""
        by_pitch = sorted(self.entries, key=self.hz)
        halfway = [math.sqrt(self.hz(low) * self.hz(high)) for low, high in pairwise(by_pitch)]
        return halfway, [self._by_note[self.midi(tab)] for tab in by_pitch]

    def same_pitch(self, tab: Tab) -> tuple[Tab, ...]:
        """Other entries of the same note (draw 2 and blow 3), which sound cannot tell apart.

        Raises:
            HarpError: the harp cannot play it.
        """
        if tab in self._twins:
            return self._twins[tab]
        return tuple(other for other in self._by_note[self.midi(tab)] if other != tab)

    @cached_property
    def _twins(self) -> dict[Tab, tuple[Tab, ...]]:
        """What shares its note with each entry; the ear asks for it many times a second."""
        return {
            tab: tuple(other for other in self._by_note[self.midi(tab)] if other != tab)
            for tab in self.entries
        }

    def entries_for(self, midi: int) -> tuple[Tab, ...]:
        """Entries of a note by its MIDI number, the easiest first; none if it has no such note."""
        return self._by_note.get(midi, ())

    def pitch_range_cents(self, tab: Tab) -> tuple[float, float]:
        """How far the pitch of a tab entry can be led on its hole and breath.

        A reed that opens is bent no deeper than its hole allows, nor above its own note; an
        overblow or overdraw can be raised, by a half step at least, and does not sink (common
        practice).

        Returns:
            Cents down, 0 or negative, and cents up, 0 or positive.

        Raises:
            HarpError: the harp cannot play it.
        """
        self.midi(tab)
        if tab.over:
            return 0.0, 100.0
        depth = self.bend_depth(tab.hole) if tab.breath is self.higher_reed(tab.hole) else 0.0
        return min(0.0, 100.0 * tab.bend - depth), 100.0 * tab.bend

    def nearest_entries(self, hz: float) -> tuple[Tab, ...]:
        """Entries whose target is nearest to a pitch in Hz; more than one where they share a note.

        Naturals come before bends and bends before overblows.
        """
        halfway, named = self._nearest
        return named[bisect(halfway, hz)]

    def hole_entries(self, hole: int) -> tuple[Tab, ...]:
        """What one hole can play, low to high: both reeds, their bends, and what blows over."""
        mine = [tab for tab in self.entries if tab.hole == hole]
        return tuple(sorted(mine, key=self.hz))


def parse_offsets(words: Iterable[str]) -> dict[str, float]:
    """A player's own offsets, for :meth:`Harp.of`, from words such as ``-5=-12.5``.

    Raises:
        HarpError: a word is not a tab entry, an equals sign and cents.
    """
    offsets = {}
    for word in words:
        tab, _, cents = word.partition("=")
        try:
            offsets[tab] = float(cents)
        except ValueError:
            raise HarpError(
                f"'{word}' is not an offset; write tab, an equals sign and cents, as in -5=-12.5"
            ) from None
    return offsets
