"""A harp: the entries it can play and their target pitches.

Each hole holds a blow reed and a draw reed. The pair determines what the hole can play (Johnston
1987, Acoustics Australia 15(3); Bahnson, Antaki and Beery 1998, JASA 103(4)):

- the higher reed bends down, nominally to a half step above the lower one;
- an overblow or overdraw, in the lower reed's breath, sounds a half step above the higher reed;
- a reed whose partner's slot has a valve sounds alone: it bends alone, and is never overblown.

A temperament counts from the harp's own key in every position, because that is how its reeds are
tuned. Bends, overblows and overdraws have no tuned reed: they stay in equal temperament, unless the
temperament says that they follow it.
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
"""Range of A4 in hertz that a harp may be tuned to."""
MAX_OFFSET_CENTS = 100.0
"""Maximum offset of a reed in cents; beyond a half step it is another note."""
SHORT_BEND_CENTS = 50.0
"""Depth in cents of a bend on a hole whose reeds lie one half step apart (common practice: less
than a half step)."""
VALVED_BEND_CENTS = 100.0
"""Depth in cents to which a reed bends alone. No other reed stops it: a half step is what players
reach securely (common practice), and practised ones go further."""


@dataclass(frozen=True)
class Harp:
    """A harp of a key and tuning, with its target pitches.

    Attributes:
        key: its key.
        tuning: its tuning.
        a4: frequency of A4 in hertz, 400 to 480.
        temperament: offsets of each degree of its key from equal temperament.
        offsets: the player's offsets in cents by tab entry, added to the temperament; -100 to 100.

    Raises:
        HarpError: a4 or an offset is out of range, or the harp cannot play an entry with an
            offset.
    """

    key: HarpKey
    tuning: Tuning
    a4: float = 440.0
    temperament: Temperament = TEMPERAMENTS["equal"]
    offsets: Mapping[Tab, float] = field(default_factory=dict, hash=False)

    def __post_init__(self) -> None:
        if not A4_RANGE_HZ[0] <= self.a4 <= A4_RANGE_HZ[1]:
            raise HarpError(f"A4 = {self.a4:g} Hz is out of range; choose 400 to 480 Hz")
        for tab, offset in self.offsets.items():
            self.midi(tab)
            if not abs(offset) <= MAX_OFFSET_CENTS:
                raise HarpError(
                    f"an offset of {offset:g} cents for {tab} is out of range; choose "
                    f"-{MAX_OFFSET_CENTS:g} to {MAX_OFFSET_CENTS:g}"
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
        """Return a harp by the names of its key, tuning and temperament.

        Args:
            key: its name, as C or low F.
            tuning: name of the tuning.
            temperament_name: name of the temperament.
            a4: frequency of A4 in hertz, 400 to 480.
            offsets: cents by tab entry as text.

        Raises:
            HarpError: the key or tuning does not exist, an offset's key is not tab, or as the
                constructor.
            MusicError: the temperament does not exist.
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
        """Name for the player, such as ``C`` or ``low F, raised-third-blow``."""
        if self.tuning.name == "richter":
            return self.key.name
        return f"{self.key.name}, {self.tuning.name}"

    def reed(self, hole: int, breath: Breath) -> int:
        """MIDI note number of a reed."""
        return self.key.tonic + self.tuning.half_steps(hole, breath)

    def higher_reed(self, hole: int) -> Breath:
        """Breath direction of a hole's higher reed, which is the one that bends."""
        return self.tuning.higher_reed(hole)

    def bend_depth(self, hole: int, breath: Breath) -> float:
        """Depth in cents to which a reed bends, alone or against the other; 0 if it does not."""
        if self.tuning.bends_alone(hole, breath):
            return VALVED_BEND_CENTS
        gap = self.reed(hole, breath) - self.reed(hole, breath.other)
        return SHORT_BEND_CENTS if gap == 1 else 100.0 * max(0, gap - 1)

    def bends_alone(self, tab: Tab) -> bool:
        """Whether the reed of a tab entry bends alone, because of a valve."""
        return self.tuning.bends_alone(tab.hole, tab.breath)

    def midi(self, tab: Tab) -> int:
        """MIDI note number nearest to a tab entry's target.

        Raises:
            HarpError: the harp cannot play it; the message describes the hole's bends.
        """
        reed = self.reed(tab.hole, tab.breath)
        if tab.is_natural:
            return reed
        higher = self.higher_reed(tab.hole)
        if tab.over:
            if reason := self._why_not_over(tab):
                raise HarpError(
                    f"{tab} cannot be played on a {self.name} harp: hole {tab.hole} has no "
                    f"{tab.kind}, because {reason}"
                )
            return self.reed(tab.hole, higher) + 1
        if tab.bend > int(self.bend_depth(tab.hole, tab.breath) // 100):
            raise HarpError(
                f"{tab} cannot be played on a {self.name} harp: {self._describe_bends(tab.hole)}"
            )
        return reed - tab.bend

    def _why_not_over(self, tab: Tab) -> str:
        """Reason why a hole has no overblow or overdraw; empty if it has one."""
        if tab.breath is self.higher_reed(tab.hole):
            return f"its {tab.breath} reed is the higher one"
        if self.tuning.bends_alone(tab.hole, tab.breath):
            return f"its {tab.breath.other} reed has a valve"
        return ""

    def _describe_bends(self, hole: int) -> str:
        depths = {breath: self.bend_depth(hole, breath) for breath in Breath}
        bends = [
            f"on the {breath}, by {int(depth // 100)} half step{'s' * (depth >= 200.0)}"
            for breath, depth in depths.items()
            if depth >= 100.0
        ]
        if bends:
            return f"hole {hole} bends {' and '.join(bends)}"
        short = [breath for breath, depth in depths.items() if depth]
        return (
            f"hole {hole} {short[0]} bends by less than a half step"
            if short
            else f"hole {hole} has no bend"
        )

    def can_play(self, tab: Tab) -> bool:
        """Whether the harp can play a tab entry."""
        try:
            self.midi(tab)
        except HarpError:
            return False
        return True

    def hz(self, tab: Tab) -> float:
        """Target frequency of a tab entry in hertz.

        Raises:
            HarpError: the harp cannot play it.
        """
        known = self._targets.get(tab)
        return self._target(tab) if known is None else known

    def _target(self, tab: Tab) -> float:
        return midi_to_hz(self.midi(tab) + self.offset(tab) / 100.0, self.a4)

    def offset(self, tab: Tab) -> float:
        """Target of a tab entry relative to equal temperament, in cents.

        The sum of the temperament's offset and the player's.

        Raises:
            HarpError: the harp cannot play it.
        """
        by_degree = self.temperament.offset(self.midi(tab) - self.key.tonic)
        if not (tab.is_natural or self.temperament.tempers_bends):
            by_degree = 0.0
        return by_degree + self.offsets.get(tab, 0.0)

    def note(self, tab: Tab) -> str:
        """Name of the note, such as ``Bb4``, spelled in the harp's key.

        Raises:
            HarpError: the harp cannot play it.
        """
        return note_name(self.midi(tab), self.key.note)

    def notes(self, tabs: Iterable[Tab]) -> str:
        """Names of several notes, as :meth:`note`, with spaces between them.

        Raises:
            HarpError: the harp cannot play one of them.
        """
        return " ".join(self.note(tab) for tab in tabs)

    @cached_property
    def entries(self) -> tuple[Tab, ...]:
        """All playable entries: naturals, bends, overblows and overdraws, by hole.

        An overblow or overdraw whose note the harp also plays as a natural or a bend is left
        out: nobody plays it (common practice: 1, 4, 5, 6 and 7, 9, 10 on a standard harp).
        """
        naturals_and_bends = [
            Tab(hole, breath, bend)
            for hole in HOLES
            for breath in Breath
            for bend in range(int(self.bend_depth(hole, breath) // 100) + 1)
        ]
        taken = {self.midi(tab) for tab in naturals_and_bends}
        overs = [Tab(hole, self.higher_reed(hole).other, over=True) for hole in HOLES]
        useful = [tab for tab in overs if self.can_play(tab) and self.midi(tab) not in taken]
        return tuple(sorted([*naturals_and_bends, *useful]))

    @cached_property
    def _targets(self) -> dict[Tab, float]:
        """Target frequencies in hertz; cached because the ear reads them many times a second."""
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
        """Geometric means of neighbouring targets in hertz, and the entries of each interval."""
        by_pitch = sorted(self.entries, key=self.hz)
        boundaries = [math.sqrt(self.hz(low) * self.hz(high)) for low, high in pairwise(by_pitch)]
        return boundaries, [self._by_note[self.midi(tab)] for tab in by_pitch]

    def same_pitch(self, tab: Tab) -> tuple[Tab, ...]:
        """Other entries of the same note (draw 2 and blow 3), indistinguishable by pitch.

        Raises:
            HarpError: the harp cannot play it.
        """
        known = self._twins.get(tab)
        if known is not None:
            return known
        return tuple(other for other in self._by_note[self.midi(tab)] if other != tab)

    @cached_property
    def _twins(self) -> dict[Tab, tuple[Tab, ...]]:
        """Other entries of each entry's note; cached because the ear reads them often."""
        return {
            tab: tuple(other for other in self._by_note[self.midi(tab)] if other != tab)
            for tab in self.entries
        }

    def entries_for(self, midi: int) -> tuple[Tab, ...]:
        """Entries of a MIDI note number, the easiest first; empty if the harp lacks the note."""
        return self._by_note.get(midi, ())

    def pitch_range_cents(self, tab: Tab) -> tuple[float, float]:
        """Range of the pitch of a tab entry on its hole and breath.

        A bend is limited by the depth of its reed and by the natural note. An overblow or
        overdraw can be raised by at least a half step, and not lowered (common practice).

        Returns:
            Lowest and highest pitch relative to the entry in cents, at most 0 and at least 0.

        Raises:
            HarpError: the harp cannot play it.
        """
        self.midi(tab)
        if tab.over:
            return 0.0, 100.0
        depth = self.bend_depth(tab.hole, tab.breath)
        return min(0.0, 100.0 * tab.bend - depth), 100.0 * tab.bend

    def nearest_entries(self, hz: float) -> tuple[Tab, ...]:
        """Entries whose target is nearest to a frequency in hertz.

        Entries of one note come together: naturals, then bends, then overblows.
        """
        boundaries, entries = self._nearest
        return entries[bisect(boundaries, hz)]

    def hole_entries(self, hole: int) -> tuple[Tab, ...]:
        """Entries of one hole, from the lowest to the highest."""
        of_hole = [tab for tab in self.entries if tab.hole == hole]
        return tuple(sorted(of_hole, key=self.hz))


def parse_offsets(words: Iterable[str]) -> dict[str, float]:
    """Parse a player's offsets, for :meth:`Harp.of`, from words such as ``-5=-12.5``.

    Returns:
        Cents by the text of the tab entry.

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
