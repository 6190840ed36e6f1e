"""Moving a drill to another harp, by holes or by pitch.

By holes, the usual meaning among players: the tab stays and the pitches change. A harp in another
key can play every drill; one in another tuning may lack a bend.

By pitch: the pitches stay, or are transposed, and the tab changes. Of all fingerings the easiest is
chosen, by :mod:`trainer.drill.difficulty`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from trainer.core.problems import Problem
from trainer.drill.difficulty import (
    describe_difficulty,
    move_difficulty,
    passage_difficulty,
    seconds_per_beat,
    step_difficulty,
)
from trainer.drill.errors import DrillError
from trainer.drill.fingerings import (
    can_reach,
    describe_unplayable,
    side_pitches,
    step_fingerings,
    target_pitches,
)
from trainer.drill.model import Drill, Step
from trainer.harp import STANDARD_KEYS, Harp, HarpError, Tab
from trainer.music import key_in_position, position_for

OCTAVE_SHIFTS = (0, -12, 12, -24, 24)
"""Transpositions by octaves, in half steps, in order of preference."""


@dataclass(frozen=True, slots=True)
class Arrangement:
    """A drill arranged for a harp.

    Attributes:
        drill: the arranged drill, without the steps that the harp cannot play.
        harp: the harp.
        half_steps: transposition; positive is up.
        difficulty: difficulty of the first part without calls, by
            :func:`trainer.drill.difficulty.passage_difficulty`.
        reason: description of what makes it hard.
        missing: number of steps left out, of both parts.
        problems: one problem for each token that the harp cannot play, at its position.
    """

    drill: Drill
    harp: Harp
    half_steps: int
    difficulty: float
    reason: str
    missing: int = 0
    problems: tuple[Problem, ...] = ()


def find_unplayable(steps: Iterable[Step], harp: Harp) -> tuple[Problem, ...]:
    """Return a problem for each tab entry in the steps that the harp cannot play."""
    return _problems((step, message) for step in steps for message in _obstacles(step, harp))


def _problems(messages: Iterable[tuple[Step, str]]) -> tuple[Problem, ...]:
    """Return the problems of steps, each once: repeats visit a position several times."""
    return tuple(
        dict.fromkeys(
            Problem(step.line, step.column, len(step.text), message) for step, message in messages
        )
    )


def _obstacles(step: Step, harp: Harp) -> list[str]:
    """Return what prevents a harp from playing a step by holes."""
    messages = []
    for tab in dict.fromkeys((*step.grace, *step.tabs)):
        try:
            harp.midi(tab)
        except HarpError as error:
            messages.append(str(error))
    if step.alternative and not messages and not _is_choice(step.first[0], step.alternative, harp):
        messages.append(
            f"{step.first[0]} and {step.alternative} are different notes on a {harp.name} harp; "
            "write the one you mean, or one hole bent or not, as -3/-3'"
        )
    return messages


def _is_choice(tab: Tab, other: Tab, harp: Harp) -> bool:
    """Whether two entries can be a choice: of one pitch, or one hole bent or not."""
    is_bent_or_not = (tab.hole, tab.breath, tab.over) == (other.hole, other.breath, other.over)
    return is_bent_or_not or other in harp.same_pitch(tab)


def written_harp(drill: Drill) -> Harp:
    """Return the harp that a drill is written for.

    Raises:
        HarpError: its tuning no longer exists.
    """
    return Harp.of(drill.key, drill.tuning)


def move_to_harp(drill: Drill, harp: Harp) -> Drill:
    """Return a drill for another harp, by holes.

    Raises:
        DrillError: the harp cannot play it; it lists all steps that it cannot play, including
            targets in cents that only the written harp reaches.
    """
    steps = (*drill.steps, *drill.second)
    problems = find_unplayable(steps, harp)
    if not problems and any(step.offsets_cents for step in steps):
        written = written_harp(drill)
        problems = _problems(
            (step, message) for step in steps for message in _out_of_reach(step, written, harp)
        )
    if problems:
        raise DrillError.from_problems(drill.name, problems)
    return replace(drill, key=harp.key.name, tuning=harp.tuning.name)


def _out_of_reach(step: Step, written: Harp, harp: Harp) -> list[str]:
    return [
        f"{tab} cannot be moved {abs(offset):g} cents {'up' if offset > 0 else 'down'} on a "
        f"{harp.name} harp; choose a target within its reach"
        for sound, offset in zip(step.sounds, step.offsets_cents, strict=False)
        for tab in sound
        if can_reach(tab, offset, written) and not can_reach(tab, offset, harp)
    ]


def move_by_holes(drill: Drill, harp: Harp) -> Arrangement:
    """Arrange a drill for another harp by holes.

    Raises:
        DrillError: as :func:`move_to_harp`.
    """
    moved = move_to_harp(drill, harp)
    return make_arrangement(moved, harp, harp.key.tonic - written_harp(drill).key.tonic)


def move_by_pitch(drill: Drill, harp: Harp, half_steps: int = 0) -> Arrangement:
    """Arrange a drill for another harp by pitch, with the easiest fingerings.

    Every step keeps its pitches, apart from the transposition, its time and its directions; hole,
    breath and bend are chosen, with an alternative where two holes have the note. Each part is
    arranged by itself, and calls apart from answers.

    Args:
        drill: the drill.
        harp: the harp.
        half_steps: transposition.

    Raises:
        HarpError: the tuning of the written harp no longer exists.
    """
    written, beat_s = written_harp(drill), seconds_per_beat(drill)
    missing: list[tuple[Step, str]] = []
    parts = []
    for part in (drill.steps, drill.second):
        choices: dict[bool, list[tuple[Step, ...]]] = {False: [], True: []}
        for step in part:
            wanted = target_pitches(step, written, half_steps)
            beside = side_pitches(step, written, half_steps)
            if ways := step_fingerings(step, wanted, harp, beside):
                choices[step.call].append(ways)
            else:
                missing.append((step, describe_unplayable(step, wanted, harp)))
        chosen = [
            step for turn in choices.values() for step in easiest_fingerings(turn, harp, beat_s)
        ]
        chosen.sort(key=lambda step: step.start)
        parts.append(tuple(replace(step, index=i) for i, step in enumerate(chosen)))
    steps, second = parts
    moved = replace(
        drill,
        key=harp.key.name,
        tuning=harp.tuning.name,
        steps=steps,
        second=second,
        recording=None,  # its pitch is that of the harp it was written down for
    )
    if drill.position is not None:
        tonic = key_in_position(written.key.tonic, drill.position) + half_steps
        moved = replace(moved, position=position_for(harp.key.tonic, tonic))
    return make_arrangement(moved, harp, half_steps, missing)


def make_arrangement(
    drill: Drill, harp: Harp, half_steps: int, missing: Sequence[tuple[Step, str]] = ()
) -> Arrangement:
    """Return the arrangement of a drill with its difficulty.

    Args:
        drill: the arranged drill.
        harp: the harp.
        half_steps: transposition.
        missing: steps left out, each with the reason.
    """
    played = [step for step in drill.steps if not step.call]
    beat_s = seconds_per_beat(drill)
    return Arrangement(
        drill,
        harp,
        half_steps,
        passage_difficulty(played, harp, beat_s),
        describe_difficulty(played, harp, beat_s),
        len(missing),
        _problems(missing),
    )


def easiest_fingerings(
    choices: Sequence[tuple[Step, ...]], harp: Harp, beat_s: float
) -> list[Step]:
    """Choose one fingering for each step so that the total difficulty is minimal.

    Dynamic programming (Bellman 1957): each fingering of a step keeps the easiest path to it
    through the fingerings of the step before.

    Args:
        choices: fingerings of each step, in order of time.
        harp: the harp.
        beat_s: duration of a beat in seconds.
    """
    if not choices:
        return []
    costs = [step_difficulty(fingering, harp) for fingering in choices[0]]
    origins_by_step: list[list[int]] = []
    for before, current in pairwise(choices):
        new_costs = []
        origins = []
        for fingering in current:
            paths = [
                cost + move_difficulty(last, fingering, beat_s)
                for cost, last in zip(costs, before, strict=True)
            ]
            origins.append(min(range(len(paths)), key=paths.__getitem__))
            new_costs.append(paths[origins[-1]] + step_difficulty(fingering, harp))
        costs = new_costs
        origins_by_step.append(origins)
    index = min(range(len(costs)), key=costs.__getitem__)
    path = [choices[-1][index]]
    for step_choices, origins in zip(
        reversed(choices[:-1]), reversed(origins_by_step), strict=True
    ):
        index = origins[index]
        path.append(step_choices[index])
    return path[::-1]


def rank_moves(drill: Drill, tries: Iterable[tuple[Harp, int]]) -> tuple[Arrangement, ...]:
    """Arrange a drill by pitch for several harps and transpositions, the best first.

    Args:
        drill: the drill.
        tries: harps, each with a transposition in half steps.
    """
    return rank_arrangements(move_by_pitch(drill, harp, half_steps) for harp, half_steps in tries)


def rank_arrangements(arrangements: Iterable[Arrangement]) -> tuple[Arrangement, ...]:
    """Return arrangements in order: fewer missing steps, then easier, then transposed by less.

    Arrangements without any step are left out.
    """

    def rank(arrangement: Arrangement) -> tuple[int, float, int]:
        difficulty = round(arrangement.difficulty, 6)
        return arrangement.missing, difficulty, abs(arrangement.half_steps)

    return tuple(sorted((each for each in arrangements if each.drill.steps), key=rank))


def arrangements_for_harp(
    drill: Drill,
    harp: Harp,
    *,
    written: int = 1,
    position: int | None = None,
    half_steps: int | None = None,
) -> tuple[Arrangement, ...]:
    """Arrange a drill by pitch for one harp, the best arrangement first.

    Args:
        drill: the drill.
        harp: the harp.
        written: position in which the drill is written, 1 to 12.
        position: position in which to play it, in any octave; None keeps its key.
        half_steps: transposition, without other octaves; None tries all octaves.

    Raises:
        DrillError: both a position and half steps are given.
        MusicError: a position is not 1 to 12.
    """
    if half_steps is not None:
        if position is not None:
            raise DrillError(
                "leave out the half steps or the position: each of them determines the key"
            )
        return rank_moves(drill, [(harp, half_steps)])
    up = 0
    if position is not None:
        tonic = key_in_position(written_harp(drill).key.tonic, written)
        up = (key_in_position(harp.key.tonic, position) - tonic + 6) % 12 - 6
    return rank_moves(drill, [(harp, up + octave) for octave in OCTAVE_SHIFTS])


def arrangements_for_tuning(
    drill: Drill,
    tuning: str,
    *,
    written: int = 1,
    position: int | None = None,
    half_steps: int | None = None,
) -> tuple[Arrangement, ...]:
    """Arrange a drill by pitch for each harp of a tuning, the best harp first.

    Standard harps are tried in all octaves, low harps in the drill's own only: in another octave
    they play the tab of a standard harp.

    Args:
        drill: the drill.
        tuning: name of the harps' tuning.
        written: position in which the drill is written, 1 to 12.
        position: position in which a harp must play it; None takes all harps.
        half_steps: transposition, without other octaves; None tries all octaves.

    Returns:
        The best arrangement for each harp.

    Raises:
        HarpError: the tuning does not exist.
        MusicError: a position is not 1 to 12.
    """
    tonic = key_in_position(written_harp(drill).key.tonic, written) + (half_steps or 0)
    tries = []
    for key in STANDARD_KEYS:
        for name in (key, f"low {key}"):
            harp = Harp.of(name, tuning)
            if position is None or key_in_position(harp.key.tonic, position) == tonic % 12:
                any_octave = half_steps is None and name == key
                shifts = OCTAVE_SHIFTS if any_octave else (half_steps or 0,)
                tries += [(harp, shift) for shift in shifts]
    best: dict[str, Arrangement] = {}
    for arrangement in rank_moves(drill, tries):
        best.setdefault(arrangement.harp.name, arrangement)
    return tuple(best.values())


def arrangement_position(drill: Drill, moved: Arrangement, written: int = 1) -> int:
    """Return the position, 1 to 12, of an arrangement.

    Args:
        drill: the original drill.
        moved: its arrangement.
        written: position in which the original is written.

    Raises:
        MusicError: `written` is not 1 to 12.
    """
    tonic = key_in_position(written_harp(drill).key.tonic, written) + moved.half_steps
    return position_for(moved.harp.key.tonic, tonic)
