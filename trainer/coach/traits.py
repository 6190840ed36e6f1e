"""What a drill trains, how it strains the lips, and how long a take lasts; from its steps."""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from trainer.coach.parameters import DURATION, TRAITS
from trainer.coach.weaknesses import Trait, TraitKind
from trainer.drill import Articulation, CleannessRule, Drill, Step, can_measure
from trainer.harp import Harp
from trainer.marking import possible_habits

MUSIC_SKILLS = frozenset({"phrases", "call and response", "two parts"})
"""Skills whose drills are music rather than exercises."""
SINGLE_NOTES = "single notes"
"""Skill that comes before bends."""


@dataclass(frozen=True, slots=True)
class DrillTraits:
    """What the daily set needs to know of a drill.

    Attributes:
        drill: the drill.
        harp: the harp to play it on.
        trains: fraction of its steps that train each trait, 0 to 1; for a skill, its weight.
        strain: fraction of its steps that are hard on the lips: bends, overblows, overdraws and
            splits.
        is_warm_up: whether it suits cold lips: held natural single notes, close to each other.
        is_music: whether it is music rather than an exercise.
        take_s: length in seconds of a take at the drill's tempo, with the count-in.
    """

    drill: Drill
    harp: Harp
    trains: Mapping[Trait, float]
    strain: float
    is_warm_up: bool
    is_music: bool
    take_s: float

    @property
    def main_skill(self) -> str:
        """The drill's main skill; empty if it names none."""
        return next(iter(self.drill.skills), "")

    @property
    def has_bends(self) -> bool:
        """Whether it has bends, overblows or overdraws."""
        return any(not tab.is_natural for step in self.drill.steps for tab in step.tabs)

    @classmethod
    def of(cls, drill: Drill, harp: Harp) -> DrillTraits:
        """Traits of a drill on a harp that can play it."""
        steps = [step for step in drill.steps if not step.call]
        return cls(
            drill=drill,
            harp=harp,
            trains=_trained_traits(drill, steps),
            strain=sum(_is_hard(step) for step in steps) / len(steps),
            is_warm_up=_is_warm_up(drill, steps),
            is_music=not MUSIC_SKILLS.isdisjoint(drill.skills),
            take_s=_take_s(drill, steps),
        )


def _trained_traits(drill: Drill, steps: list[Step]) -> dict[Trait, float]:
    """Fraction of steps that train each trait.

    A step trains each entry that sounds in it, in chords, glides and ladders too, each criterion
    that it tests, and each habit that it could show, on a criterion that the drill aims at on this
    step. A skill has the weight 1 if it is the drill's main one, else `further_skill_weight`.
    """
    trains: dict[Trait, float] = {}
    aimed = {(a.criterion, step.index) for a in drill.aims for step in a.steps(drill.steps)}
    for before, step in zip([None, *steps[:-1]], steps, strict=True):
        habits = _aimed_habits(drill, step, aimed)
        for trait in (*_entries(step), *_tested_criteria(drill, before, step), *habits):
            trains[trait] = trains.get(trait, 0.0) + 1.0 / len(steps)
    for place, skill in enumerate(drill.skills):
        trains[TraitKind.SKILL, skill] = TRAITS.further_skill_weight if place else 1.0
    return trains


def _aimed_habits(drill: Drill, step: Step, aimed: Container[tuple[str, int]]) -> Iterator[Trait]:
    """Habits that a step could show, on the criteria that its drill aims at.

    Args:
        drill: the drill.
        step: a step of it.
        aimed: criterion and index of each step that an aim of the drill covers.
    """
    for name, criterion in possible_habits(step, drill).items():
        if (criterion, step.index) in aimed:
            yield TraitKind.HABIT, name


def _entries(step: Step) -> set[Trait]:
    return {(TraitKind.ENTRY, str(tab)) for sound in step.sounds for tab in sound}


def _tested_criteria(drill: Drill, before: Step | None, step: Step) -> Iterator[Trait]:
    """The criteria that a step tests, of those that count in its drill.

    Pitch is tested by bends and by targets off the natural note; steadiness by long notes; attack
    by bends without a note before them to bend from; motion by glides, ladders, vibrato and
    ornaments; cleanness by what must be clean and by single notes after a move; time by quick notes
    and by notes off the beat; articulation and dynamics by what asks for them.
    """
    seconds = float(step.beats) * drill.beat_s(step.start)
    is_bent = any(not tab.is_natural for tab in step.tabs)
    is_articulated = step.articulation is not Articulation.PLAIN
    tested = {
        "pitch": is_bent or any(step.offsets_cents),
        "steadiness": not step.has_path and seconds >= TRAITS.long_note_s,
        "attack": is_bent and not step.has_path,
        "motion": step.has_path or can_measure("motion", step, free=drill.free),
        "cleanness": _tests_cleanness(before, step),
        "time": not drill.free and (step.start.denominator > 1 or seconds <= TRAITS.short_note_s),
        "articulation": not drill.free and (is_articulated or step.slap),
        "dynamics": can_measure("dynamics", step, free=drill.free),
    }
    for criterion, is_tested in tested.items():
        if is_tested and drill.goal.weights[criterion] > 0.0:
            yield TraitKind.CRITERION, criterion


def _tests_cleanness(before: Step | None, step: Step) -> bool:
    if step.cleanness_rule is CleannessRule.CLEAN or step.is_chord:
        return True
    is_single = step.cleanness_rule is CleannessRule.PLAIN and not step.has_path
    return is_single and before is not None and before.last[0].hole != step.first[0].hole


def _is_hard(step: Step) -> bool:
    """Whether a step is hard on the lips: a split, a bend, an overblow or an overdraw."""
    holes = [tab.hole for tab in step.first]
    is_split = max(holes) - min(holes) >= len(holes)
    return is_split or any(not tab.is_natural for tab in step.tabs)


def _is_warm_up(drill: Drill, steps: list[Step]) -> bool:
    """Whether a drill suits cold lips."""
    are_plain = all(
        not step.is_chord
        and not step.has_path
        and not (step.shake or step.scoop or step.fall or step.slap)
        and all(tab.is_natural for tab in step.tabs)
        for step in steps
    )
    moves = [abs(b.first[0].hole - a.first[0].hole) for a, b in pairwise(steps)]
    are_close = all(move <= TRAITS.warm_up_holes for move in moves)
    mean_beat_s = drill.seconds / float(drill.end - drill.start)
    mean_s = sum(float(step.beats) for step in steps) * mean_beat_s / len(steps)
    return are_plain and are_close and (drill.free or mean_s >= TRAITS.warm_up_note_s)


def _take_s(drill: Drill, steps: list[Step]) -> float:
    if drill.free:
        return (drill.goal.hold + DURATION.find_step_s) * len(steps) + DURATION.closing_s
    return drill.seconds + drill.count_in_beats(1) * drill.beat_s(drill.start) + DURATION.closing_s
