"""A placement: a few drills that find the levels of a player who is no beginner.

The skills belong to tracks: playing without bends, bends, chords and splits, overblows. In each,
the level is estimated from passed and failed takes by a Bayesian staircase: the next drill is of
the level at which the estimate expects to lose most of its variance (Watson and Pelli 1983,
Perception & Psychophysics 33, ask at the most likely threshold; the chance of a pass is a logistic
function of level with lapses). A track ends when its level is known to within one, and the
placement when some minutes have been played.

A placement opens levels; it passes no drill. Later takes lower it where it was too high
(:mod:`trainer.coach.selection`).

The constants are in :class:`trainer.coach.parameters.PlacementParameters`.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

import numpy as np

from trainer.coach.parameters import DURATION, PLACEMENT
from trainer.coach.traits import SINGLE_NOTES, DrillTraits
from trainer.coach.weaknesses import TraitKind
from trainer.core import TrainerError
from trainer.core.types import Floats
from trainer.harp import HarpError, Tab
from trainer.store import Placement


class CoachError(TrainerError):
    """A note or a skill is not known, or no drill trains it."""


class Track(StrEnum):
    """Skills whose levels are found together."""

    NOTES = "playing without bends"
    BENDS = "bends"
    CHORDS = "chords and splits"
    OVERBLOWS = "overblows and overdraws"


_BENDS = frozenset({"half-step bends", "deep bends", "bend control", "blow bends"})


def track_of(traits: DrillTraits) -> Track | None:
    """The track that a drill tests; None for music with bends, which tests two at once."""
    skill = traits.main_skill
    if skill in (Track.CHORDS, Track.OVERBLOWS):
        return Track(skill)
    if skill in _BENDS:
        return Track.BENDS
    return None if traits.has_bends else Track.NOTES


@dataclass(frozen=True, slots=True)
class LevelEstimate:
    """Probability of each level of a player in a track.

    Attributes:
        levels: the levels, from one below the easiest drill.
        probability: of each, shape (n,).
    """

    levels: Floats
    probability: Floats

    @classmethod
    def unknown(cls, easiest: int, hardest: int) -> LevelEstimate:
        """All levels alike."""
        levels = np.arange(easiest - 1, hardest + 1, dtype=float)
        return cls(levels, np.full(len(levels), 1.0 / len(levels)))

    def near(self, level: int) -> LevelEstimate:
        """The estimate where the level of another track is known, which is seldom far."""
        weighted = self.probability * np.exp(-np.abs(self.levels - level) / PLACEMENT.link_levels)
        return LevelEstimate(self.levels, weighted / weighted.sum())

    @property
    def level(self) -> int:
        """The median."""
        return int(self.levels[np.searchsorted(np.cumsum(self.probability), 0.5)])

    @property
    def is_known(self) -> bool:
        """Whether it is known to within one level."""
        near = np.abs(self.levels - self.level) <= 1.0
        return float(self.probability[near].sum()) >= PLACEMENT.enough

    def after(self, level: int, passed: bool) -> LevelEstimate:
        """The estimate after a take of a drill of a level."""
        chance = self._chance(level)
        posterior = self.probability * (chance if passed else 1.0 - chance)
        return LevelEstimate(self.levels, posterior / posterior.sum())

    def expected_variance(self, level: int) -> float:
        """Expected variance after one more take of a drill of a level."""
        pass_chance = float(self.probability @ self._chance(level))
        passed, failed = (self.after(level, outcome)._variance() for outcome in (True, False))
        return pass_chance * passed + (1.0 - pass_chance) * failed

    def _variance(self) -> float:
        mean = float(self.probability @ self.levels)
        return float(self.probability @ (self.levels - mean) ** 2)

    def _chance(self, level: int) -> Floats:
        rise = 1.0 / (1.0 + np.exp(-(self.levels - level + 0.5) / PLACEMENT.scale))
        chance: Floats = PLACEMENT.lapse + (1.0 - 2.0 * PLACEMENT.lapse) * rise
        return chance


class PlacementTest:
    """Asks for drills until the player's levels are known.

    Args:
        drills: the drills that can be played.
    """

    def __init__(self, drills: Sequence[DrillTraits]) -> None:
        self._drills = drills
        self._asked: set[str] = set()
        self._spent_s = 0.0
        self._left: dict[Track, list[DrillTraits]] = {track: [] for track in Track}
        for traits in drills:
            track = track_of(traits)
            if track is not None and not traits.drill.free:
                self._left[track].append(traits)
        self._estimates = {
            track: LevelEstimate.unknown(
                min(t.drill.level for t in left), max(t.drill.level for t in left)
            )
            for track, left in self._left.items()
            if left
        }

    @property
    def spent_s(self) -> float:
        """Time of playing so far in seconds."""
        return self._spent_s

    def next_drill(self) -> DrillTraits | None:
        """The drill to play next; None when enough is known or the time is over."""
        for track in self._estimates:
            estimate = self._estimate(track)
            if estimate.is_known or self._is_beyond(track):
                continue
            able = [
                traits
                for traits in self._left[track]
                if traits.drill.name not in self._asked
                and self._spent_s + traits.take_s <= PLACEMENT.budget_s
            ]
            if able:
                levels = {traits.drill.level for traits in able}
                level = min(sorted(levels), key=estimate.expected_variance)
                of_level = [traits for traits in able if traits.drill.level == level]
                return min(of_level, key=lambda traits: (traits.take_s, traits.drill.name))
        return None

    def _estimate(self, track: Track) -> LevelEstimate:
        """What is known of a track; before its first drill, from the playing without bends."""
        estimate = self._estimates[track]
        if track is Track.NOTES or self._is_begun(track) or Track.NOTES not in self._estimates:
            return estimate
        return estimate.near(self._estimates[Track.NOTES].level)

    def _is_begun(self, track: Track) -> bool:
        return any(traits.drill.name in self._asked for traits in self._left[track])

    def _is_beyond(self, track: Track) -> bool:
        bends = self._estimates.get(Track.BENDS)
        level = 0 if bends is None else bends.level
        return track is Track.OVERBLOWS and level < PLACEMENT.overblows_from

    def observe(self, traits: DrillTraits, passed: bool) -> None:
        """Take a whole take of a drill into account."""
        track = track_of(traits)
        assert track is not None
        estimate = self._estimate(track)
        self._asked.add(traits.drill.name)
        self._spent_s += traits.take_s + DURATION.between_takes_s
        self._estimates[track] = estimate.after(traits.drill.level, passed)

    def level(self, track: Track) -> int:
        """The level of a track; 0 where none was reached."""
        estimate = self._estimates.get(track)
        return estimate.level if estimate is not None and self._is_begun(track) else 0

    def placements(self, day: date) -> list[Placement]:
        """Levels of the skills of the tracks that were asked for."""
        levels: dict[str, int] = {}
        for traits in self._drills:
            track = track_of(traits)
            known = self.level(Track.NOTES)
            if track is None:
                known = min(known, self.level(Track.BENDS))
            elif track is not Track.NOTES:
                known = self.level(track)
            if traits.drill.level <= known:
                skill = traits.main_skill
                levels[skill] = max(levels.get(skill, 0), traits.drill.level)
        return [Placement(skill, level, day) for skill, level in levels.items() if skill]


def place_by_hand(
    drills: Iterable[DrillTraits], names: Iterable[str], day: date
) -> list[Placement]:
    """Placements in skills that a player says to have, at their hardest drills.

    Single notes come with any other skill.

    Args:
        drills: the drills of the shelf.
        names: names of skills, such as ``half-step bends``.
        day: the day.

    Raises:
        CoachError: a name is none of a skill.
    """
    hardest: dict[str, int] = {}
    for traits in drills:
        skill = traits.main_skill
        hardest[skill] = max(hardest.get(skill, 0), traits.drill.level)
    hardest.pop("", None)
    chosen = [find_skill(name, hardest) for name in names]
    if chosen and SINGLE_NOTES in hardest:
        chosen.append(SINGLE_NOTES)
    return [Placement(skill, hardest[skill], day, True) for skill in dict.fromkeys(chosen)]


def find_focus(name: str, drills: Iterable[DrillTraits]) -> str:
    """The tab entry or the skill that some drills train, by a name.

    Raises:
        CoachError: no drill trains it, or the name is none.
    """
    trains = {trait for traits in drills for trait in traits.trains}
    try:
        entry = str(Tab.parse(name.strip()))
    except HarpError:
        return find_skill(name, [of for kind, of in trains if kind is TraitKind.SKILL])
    if (TraitKind.ENTRY, entry) not in trains:
        raise CoachError(f"no drill for your harp has {entry}; choose another note")
    return entry


def find_skill(name: str, skills: Iterable[str]) -> str:
    """The skill with a name, in any case of letters, or whose name has all of its words.

    Raises:
        CoachError: there is none, or there are several.
    """
    known = sorted(skills)
    wanted = name.strip().casefold()
    words = wanted.split()
    matches = [skill for skill in known if skill.casefold() == wanted] or [
        skill for skill in known if words and all(word in skill.casefold() for word in words)
    ]
    if len(matches) == 1:
        return matches[0]
    similar = matches or difflib.get_close_matches(wanted, known, 3, 0.4) or known
    listed = ", ".join(similar)
    raise CoachError(f"'{name}' is not the name of one skill; choose of: {listed}")
