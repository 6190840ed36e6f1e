"""What a drill trains, how it strains the lips, and how long a take of it lasts: from its steps."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from trainer.coach.parameters import DURATION, TRAITS
from trainer.coach.weaknesses import Trait, TraitKind
from trainer.drill import CleannessRule, Drill, Step
from trainer.harp import Harp

TUNES = frozenset({"phrases", "call and response", "two parts"})
"""Skills whose drills are music rather than exercise."""


@dataclass(frozen=True, slots=True)
class DrillTraits:
    """What the day's set asks of a drill.

    Attributes:
        drill: the drill.
        harp: what it is to be played on.
        trains: how much of it trains each thing: the share of its steps, 0 to 1.
        strain: the share of its steps that are hard on the lips: bends, overblows, overdraws,
            splits.
        easy: whether it suits cold lips: natural single notes, held, close to each other.
        tune: whether it is music rather than exercise.
        take_s: seconds of a take of it at its own tempo, with the count-in.
    """

    drill: Drill
    harp: Harp
    trains: Mapping[Trait, float]
    strain: float
    easy: bool
    tune: bool
    take_s: float

    @classmethod
    def of(cls, drill: Drill, harp: Harp) -> DrillTraits:
        """The traits of a drill on a harp that can play it."""
        mine = [step for step in drill.steps if not step.call]
        return cls(
            drill=drill,
            harp=harp,
            trains=_trains(drill, mine),
            strain=sum(_strains(step) for step in mine) / len(mine),
            easy=_is_easy(drill, mine),
            tune=not TUNES.isdisjoint(drill.skills),
            take_s=_take_s(drill, mine),
        )


def _trains(drill: Drill, mine: list[Step]) -> dict[Trait, float]:
    """Entries are counted wherever they sound, in chords, glides and ladders too. A part of the
    mark counts where it is put to the test: the pitch of what is bent or led off its target, the
    steadiness of long notes, the attack of a bend from nothing, the motion of what moves, the
    cleanness of what must be clean and of single notes after a move, the time of what is quick or
    off the beat. A skill counts 1 if it is the main one, else `further_skill_weight`.
    """
    found: dict[Trait, float] = {}
    for before, step in zip([None, *mine[:-1]], mine, strict=True):
        for key in (*_entries(step), *_parts(drill, before, step)):
            found[key] = found.get(key, 0.0) + 1.0 / len(mine)
    for place, skill in enumerate(drill.skills):
        found[TraitKind.SKILL, skill] = TRAITS.further_skill_weight if place else 1.0
    return found


def _entries(step: Step) -> set[Trait]:
    return {(TraitKind.ENTRY, str(tab)) for sound in step.sounds for tab in sound}


def _parts(drill: Drill, before: Step | None, step: Step) -> Iterator[Trait]:
    seconds = float(step.beats) * 60.0 / drill.tempo
    bent = any(not tab.is_natural for tab in step.tabs)
    tested = {
        "pitch": bent or any(step.offsets_cents),
        "steadiness": not step.has_path and seconds >= TRAITS.long_note_s,
        "attack": bent and not step.has_path,
        "motion": step.has_path or step.vibrato is not None,
        "cleanness": _must_be_clean(before, step),
        "time": not drill.free and (step.start.denominator > 1 or seconds <= TRAITS.short_note_s),
    }
    for part, is_tested in tested.items():
        if is_tested and drill.goal.weights[part] > 0.0:
            yield TraitKind.CRITERION, part


def _must_be_clean(before: Step | None, step: Step) -> bool:
    if step.cleanness_rule is CleannessRule.CLEAN or step.is_chord:
        return True
    single = step.cleanness_rule is CleannessRule.PLAIN and not step.has_path
    return single and before is not None and before.last[0].hole != step.first[0].hole


def _strains(step: Step) -> bool:
    holes = [tab.hole for tab in step.first]
    split = max(holes) - min(holes) >= len(holes)
    return split or any(not tab.is_natural for tab in step.tabs)


def _is_easy(drill: Drill, mine: list[Step]) -> bool:
    plain = all(
        not step.is_chord and not step.has_path and all(tab.is_natural for tab in step.tabs)
        for step in mine
    )
    near = all(
        abs(b.first[0].hole - a.first[0].hole) <= TRAITS.warm_up_holes for a, b in pairwise(mine)
    )
    seconds = sum(float(step.beats) for step in mine) * 60.0 / drill.tempo / len(mine)
    return plain and near and (drill.free or seconds >= TRAITS.warm_up_note_s)


def _take_s(drill: Drill, mine: list[Step]) -> float:
    if drill.free:
        return (drill.goal.hold + DURATION.find_step_s) * len(mine) + DURATION.closing_s
    return drill.seconds + drill.count_in_beats(1) * 60.0 / drill.tempo + DURATION.closing_s
