"""Moving a drill to another harp.

By holes, as players mean it by default: the tab stays, the pitches move. A harp in another key
plays it as it is; one in another tuning may lack a bend that it asks for.

By pitch: what sounds stays, or moves by half steps as one, and the tab changes. Of all the ways
to play it the easiest is taken, by :mod:`trainer.drill.difficulty`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from trainer.drill.difficulty import (
    describe_difficulty,
    difficulty,
    move_difficulty,
    seconds_per_beat,
    step_difficulty,
)
from trainer.drill.errors import DrillError, Problem
from trainer.drill.fingerings import can_reach, describe_unplayable, fingerings, target_pitches
from trainer.drill.model import Drill, Step
from trainer.harp import STANDARD_KEYS, Harp, HarpError
from trainer.music import key_in_position, position_for

OCTAVE_SHIFTS = (0, -12, 12, -24, 24)
"""Half steps by which a tune may be moved and still be itself."""


@dataclass(frozen=True, slots=True)
class Arrangement:
    """A drill on another harp.

    Attributes:
        drill: the drill there; what the harp cannot play is left out.
        harp: the harp.
        half_steps: how much higher the whole was moved; negative is lower.
        difficulty: how hard the first part is to play, calls left out, by
            :func:`trainer.drill.difficulty.difficulty`.
        reason: what makes it hard, in words.
        missing: how many steps are left out, of both parts.
        problems: one for each thing in the drill that the harp cannot play, at its place there.
    """

    drill: Drill
    harp: Harp
    half_steps: int
    difficulty: float
    reason: str
    missing: int = 0
    problems: tuple[Problem, ...] = ()


def find_unplayable(steps: Iterable[Step], harp: Harp) -> tuple[Problem, ...]:
    """A problem for each thing in the steps that the harp cannot play."""
    return _told((step, message) for step in steps for message in _cannot(step, harp))


def _told(found: Iterable[tuple[Step, str]]) -> tuple[Problem, ...]:
    """The problems of steps, each once: what is repeated stands in one place."""
    return tuple(
        dict.fromkeys(
            Problem(step.line, step.column, len(step.text), message) for step, message in found
        )
    )


def _cannot(step: Step, harp: Harp) -> list[str]:
    messages = []
    for tab in step.tabs:
        try:
            harp.midi(tab)
        except HarpError as error:
            messages.append(str(error))
    if step.alternative and not messages and step.alternative not in harp.same_pitch(step.first[0]):
        messages.append(
            f"{step.first[0]} and {step.alternative} are different notes on a {harp.name} harp; "
            "write the one you mean"
        )
    return messages


def written_harp(drill: Drill) -> Harp:
    """The harp that a drill is written for.

    Raises:
        HarpError: its tuning is not at hand any more.
    """
    return Harp.of(drill.key, drill.tuning)


def move_to_harp(drill: Drill, harp: Harp) -> Drill:
    """The drill as it is played on another harp, by holes.

    Raises:
        DrillError: the harp cannot play it; every step that it cannot play is told. A target in
            cents that only its own harp reaches is one of them.
    """
    steps = (*drill.steps, *drill.second)
    problems = find_unplayable(steps, harp)
    if not problems and any(step.offsets_cents for step in steps):
        own = written_harp(drill)
        problems = _told((step, text) for step in steps for text in _too_far(step, own, harp))
    if problems:
        raise DrillError.from_problems(drill.name, problems)
    return replace(drill, key=harp.key.name, tuning=harp.tuning.name)


def _too_far(step: Step, own: Harp, harp: Harp) -> list[str]:
    return [
        f"{tab} cannot be led {abs(off):g} cents {'up' if off > 0 else 'down'} on a {harp.name} "
        "harp; take a target within its reach"
        for sound, off in zip(step.sounds, step.offsets_cents, strict=False)
        for tab in sound
        if can_reach(tab, off, own) and not can_reach(tab, off, harp)
    ]


def move_by_holes(drill: Drill, harp: Harp) -> Arrangement:
    """The drill on another harp, by holes, and how hard it is.

    Raises:
        DrillError: as :func:`move_to_harp`.
    """
    moved = move_to_harp(drill, harp)
    return make_arrangement(moved, harp, harp.key.tonic - written_harp(drill).key.tonic)


def move_by_pitch(drill: Drill, harp: Harp, half_steps: int = 0) -> Arrangement:
    """The same notes on another harp, or all of them moved by half steps, played in the easiest
    way.

    Every step keeps its pitches, its time and the manner it is played in; hole, breath and bend
    are chosen. A note that may be either of two holes says so. Each part is moved by itself, and
    calls apart from what the player answers.

    Raises:
        HarpError: the tuning of the drill's own harp is not at hand any more.
    """
    own, beat_s = written_harp(drill), seconds_per_beat(drill)
    lost: list[tuple[Step, str]] = []
    parts = []
    for part in (drill.steps, drill.second):
        choices: dict[bool, list[tuple[Step, ...]]] = {False: [], True: []}
        for step in part:
            wanted = target_pitches(step, own, half_steps)
            if some := fingerings(step, wanted, harp):
                choices[step.call].append(some)
            else:
                lost.append((step, describe_unplayable(step, wanted, harp)))
        found = [
            step for turn in choices.values() for step in easiest_fingerings(turn, harp, beat_s)
        ]
        found.sort(key=lambda step: step.start)
        parts.append(tuple(replace(step, index=i) for i, step in enumerate(found)))
    steps, second = parts
    moved = replace(drill, key=harp.key.name, tuning=harp.tuning.name, steps=steps, second=second)
    return make_arrangement(moved, harp, half_steps, lost)


def make_arrangement(
    drill: Drill, harp: Harp, half_steps: int, lost: Sequence[tuple[Step, str]] = ()
) -> Arrangement:
    """A drill on a harp with how hard it is there.

    Args:
        drill: as it is played on the harp.
        harp: the harp.
        half_steps: by how much it was moved.
        lost: the steps that are left out, each with why.
    """
    mine = [step for step in drill.steps if not step.call]
    beat_s = seconds_per_beat(drill)
    return Arrangement(
        drill,
        harp,
        half_steps,
        difficulty(mine, harp, beat_s),
        describe_difficulty(mine, harp, beat_s),
        len(lost),
        _told(lost),
    )


def easiest_fingerings(
    choices: Sequence[tuple[Step, ...]], harp: Harp, beat_s: float
) -> list[Step]:
    """One way for each step, so that the whole is as easy as can be.

    The easiest path to a way goes through one of the ways of the step before, and is the easiest
    to that one; so each step in turn keeps one path to each of its ways (Bellman 1957, Dynamic
    Programming).
    """
    if not choices:
        return []
    costs = [step_difficulty(way, harp) for way in choices[0]]
    came_from: list[list[int]] = []
    for before, here in pairwise(choices):
        reached = []
        origins = []
        for way in here:
            paths = [
                cost + move_difficulty(last, way, beat_s)
                for cost, last in zip(costs, before, strict=True)
            ]
            origins.append(min(range(len(paths)), key=paths.__getitem__))
            reached.append(paths[origins[-1]] + step_difficulty(way, harp))
        costs = reached
        came_from.append(origins)
    place = min(range(len(costs)), key=costs.__getitem__)
    path = [choices[-1][place]]
    for ways_of_step, origins in zip(reversed(choices[:-1]), reversed(came_from), strict=True):
        place = origins[place]
        path.append(ways_of_step[place])
    return path[::-1]


def rank_moves(drill: Drill, tries: Iterable[tuple[Harp, int]]) -> tuple[Arrangement, ...]:
    """A drill by pitch on several harps, or moved by several intervals: the best first.

    What lacks fewer steps is better, then what is easier, then what is moved by less. Where a
    harp can play nothing of it, that is left out.

    Args:
        drill: the drill.
        tries: harps, and the half steps to move the drill by on each.
    """
    return rank_arrangements(move_by_pitch(drill, harp, half_steps) for harp, half_steps in tries)


def rank_arrangements(moved: Iterable[Arrangement]) -> tuple[Arrangement, ...]:
    """Ways to play something, the best first, as :func:`rank_moves` says."""
    return tuple(
        sorted(
            (one for one in moved if one.drill.steps),
            key=lambda one: (one.missing, round(one.difficulty, 6), abs(one.half_steps)),
        )
    )


def arrangements_for_harp(
    drill: Drill,
    harp: Harp,
    *,
    written: int = 1,
    position: int | None = None,
    half_steps: int | None = None,
) -> tuple[Arrangement, ...]:
    """The ways to play a drill by pitch on one harp, the best first.

    Args:
        drill: the drill.
        harp: the harp.
        written: the position that the drill is written in, 1 to 12.
        position: the position to play it in there, in any octave; None keeps its notes, or moves
            them as `half_steps` says.
        half_steps: how much higher it is to sound, in no other octave; None leaves the octave
            open.

    Raises:
        DrillError: a position and half steps are both given; each says where the tune goes.
        MusicError: there is no such position.
    """
    if half_steps is not None:
        if position is not None:
            raise DrillError(
                "half steps and a position on a harp both say where the tune goes; leave one out"
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
    """The best way to play a drill by pitch on each harp of a tuning, the best harp first.

    The standard keys are tried in every octave that may do, low ones in the tune's own: in
    another they would play the tab of a standard harp.

    Args:
        drill: the drill.
        tuning: name of the harps' tuning.
        written: the position that the drill is written in, 1 to 12.
        position: takes only the harps that play it in this position; None takes all.
        half_steps: how much higher it is to sound, in no other octave; None leaves the octave
            open.

    Raises:
        HarpError: there is no such tuning.
        MusicError: there is no such position.
    """
    tonic = key_in_position(written_harp(drill).key.tonic, written) + (half_steps or 0)
    tries = []
    for key in STANDARD_KEYS:
        for name in (key, f"low {key}"):
            harp = Harp.of(name, tuning)
            if position is None or key_in_position(harp.key.tonic, position) == tonic % 12:
                is_open = half_steps is None and name == key
                tries += [(harp, up) for up in (OCTAVE_SHIFTS if is_open else (half_steps or 0,))]
    best: dict[str, Arrangement] = {}
    for moved in rank_moves(drill, tries):
        best.setdefault(moved.harp.name, moved)
    return tuple(best.values())


def arrangement_position(drill: Drill, moved: Arrangement, written: int = 1) -> int:
    """The position, 1 to 12, that a drill has come into.

    Args:
        drill: the drill as it was.
        moved: the drill as it was moved.
        written: the position that it was written in.

    Raises:
        MusicError: there is no such position.
    """
    tonic = key_in_position(written_harp(drill).key.tonic, written) + moved.half_steps
    return position_for(moved.harp.key.tonic, tonic)
