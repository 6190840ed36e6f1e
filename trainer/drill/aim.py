"""What a drill is for: which criteria count most, on which of its steps.

The ``[aim]`` table of a drill file names criteria, and for each the steps on which it is the point
of the drill:

    [aim]
    pitch = ["bends"]
    time = ["off-beats", "bars 3-4"]

Steps are named by groups, so that an aim still holds when the drill moves to another harp. A group
that has no steps there names none. :mod:`trainer.marking.score` says how aims decide the mark.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from trainer.drill.model import Articulation, CleannessRule, Step

MIN_LONG_BEATS = 2
"""Shortest long note in beats."""
SIXTEENTH_BEATS = Fraction(1, 4)
"""Longest of the sixteenths in beats: a quarter of a beat."""
MIN_LEAP_HOLES = 2
"""Smallest distance in holes between two steps that is a leap."""
MIN_REST_BEATS = Fraction(1, 2)
"""Shortest rest in beats before a step that starts out of silence."""
SOLOS = "solos"
"""Group of the passages that are left to the player, which are no steps."""
_BARS = re.compile(r"bars? ([1-9][0-9]{0,3})(?:-([1-9][0-9]{0,3}))?")

Group = Callable[[Step, Step | None], bool]
"""Whether a step belongs to a group, given the step before it."""


@dataclass(frozen=True, slots=True)
class Aim:
    """One point of a drill.

    Attributes:
        criterion: name of the criterion, as in `AIM_CRITERIA`.
        groups: groups of steps, as in `GROUPS` or as ``bars 3-4``; a step belongs to the aim if it
            belongs to any of them.
    """

    criterion: str
    groups: tuple[str, ...]

    @property
    def is_on_solos(self) -> bool:
        """Whether the drill's solos belong to it."""
        return SOLOS in self.groups

    def steps(self, steps: Sequence[Step]) -> tuple[Step, ...]:
        """The steps of a drill's part that belong to the aim, in order; calls never do."""
        before = [None, *steps[:-1]]
        return tuple(
            step
            for step, previous in zip(steps, before, strict=True)
            if not step.call and any(in_group(name, step, previous) for name in self.groups)
        )


def describe_aim(aim: Aim) -> str:
    """An aim in words, such as ``pitch of bends``."""
    groups = " and ".join(aim.groups)
    return f"{aim.criterion} of {'all notes' if groups == 'all' else groups}"


def is_group(name: str) -> bool:
    """Whether a name is a group's."""
    bars = _BARS.fullmatch(name)
    return name in GROUPS or (bars is not None and int(bars[1]) <= int(bars[2] or bars[1]))


def in_group(name: str, step: Step, previous: Step | None) -> bool:
    """Whether a step belongs to a group.

    Args:
        name: name of the group, for which :func:`is_group` holds.
        step: the step.
        previous: the step before it; None for the first.
    """
    if bars := _BARS.fullmatch(name):
        return int(bars[1]) <= max(1, step.bar) <= int(bars[2] or bars[1])
    return GROUPS[name](step, previous)


def _is_bent(step: Step, _: Step | None) -> bool:
    """Whether a bend sounds; "bent or not" is neither a bend nor a natural note."""
    return not step.has_bent_choice and any(tab.bend and not tab.over for tab in step.tabs)


def _is_natural(step: Step, _: Step | None) -> bool:
    return not step.has_bent_choice and all(tab.is_natural for tab in step.tabs)


def _is_single(step: Step, _: Step | None) -> bool:
    rules = CleannessRule.PLAIN, CleannessRule.CLEAN
    is_held = not _is_slide(step, None) and step.shake is None
    return not step.is_chord and step.cleanness_rule in rules and is_held


def _is_chord(step: Step, _: Step | None) -> bool:
    return step.is_chord or step.cleanness_rule is CleannessRule.CHORD


def _is_split(step: Step, _: Step | None) -> bool:
    holes = sorted(tab.hole for tab in step.last)
    return holes[-1] - holes[0] >= len(holes)


def _is_slide(step: Step, _: Step | None) -> bool:
    return step.is_glide and len({tab.hole for sound in step.sounds for tab in sound}) > 1


def _is_one_hole_glide(step: Step, _: Step | None) -> bool:
    return step.is_glide and not _is_slide(step, None)


def _is_shifted(step: Step, _: Step | None) -> bool:
    return any(step.offsets_cents)


def _is_after_rest(step: Step, previous: Step | None) -> bool:
    return previous is None or step.start - previous.end >= MIN_REST_BEATS


def _is_leap(step: Step, previous: Step | None) -> bool:
    if previous is None:
        return False
    return (
        min(abs(tab.hole - other.hole) for tab in step.first for other in previous.last)
        >= MIN_LEAP_HOLES
    )


def _is_articulated(articulation: Articulation) -> Group:
    """Return the group of the steps with an articulation."""
    return lambda step, _: step.articulation is articulation


GROUPS: Mapping[str, Group] = {
    "all": lambda step, _: True,
    "naturals": _is_natural,
    "bends": _is_bent,
    "overblows": lambda step, _: any(tab.over for sound in step.sounds for tab in sound),
    "single notes": _is_single,
    "chords": _is_chord,
    "splits": _is_split,
    "glides": _is_one_hole_glide,
    "slides": _is_slide,
    "ladders": lambda step, _: step.ladder,
    "vibrato": lambda step, _: step.vibrato is not None,
    "wah": lambda step, _: step.wah_hz > 0.0,
    "shakes": lambda step, _: step.shake is not None,
    "scoops": lambda step, _: step.scoop is not None,
    "falls": lambda step, _: step.fall is not None,
    "grace notes": lambda step, _: bool(step.grace),
    "slaps": lambda step, _: step.slap,
    "chord gestures": lambda step, _: step.cleanness_rule is CleannessRule.AROUND,
    "tongued": _is_articulated(Articulation.TONGUED),
    "legato": _is_articulated(Articulation.LEGATO),
    "staccato": _is_articulated(Articulation.STACCATO),
    "accents": lambda step, _: step.accent,
    "swells": lambda step, _: step.swell_db != 0.0,
    "blue notes": _is_shifted,
    "on-beats": lambda step, _: step.start.denominator == 1,
    "off-beats": lambda step, _: step.start.denominator != 1,
    "short notes": lambda step, _: step.beats < 1,
    "sixteenths": lambda step, _: step.beats <= SIXTEENTH_BEATS,
    "long notes": lambda step, _: step.beats >= MIN_LONG_BEATS,
    "after rests": _is_after_rest,
    "leaps": _is_leap,
    SOLOS: lambda step, _: False,
}
"""Groups of steps by name: whether a step belongs, given the step before it."""


def can_measure(criterion: str, step: Step, *, free: bool) -> bool:
    """Whether a step can be judged on a criterion.

    Args:
        criterion: name of the criterion, as in `AIM_CRITERIA`.
        step: the step.
        free: whether the clock is free.
    """
    is_gesture = step.cleanness_rule is CleannessRule.AROUND
    match criterion:
        case "pitch" | "steadiness":
            return not is_gesture
        case "attack":
            is_shaped = step.scoop or step.grace or step.shake or step.slap
            return not (step.has_path or is_shaped or is_gesture)
        case "motion":
            is_short_slide = _is_slide(step, None) and len(step.sounds) == 2
            is_ornamented = step.vibrato or step.wah_hz or step.shake or step.grace
            is_inflected = step.scoop or (step.fall and not free)  # held before its fall
            return bool(is_ornamented or is_inflected or (step.has_path and not is_short_slide))
        case "cleanness":
            return not is_gesture and step.cleanness_rule is not CleannessRule.BLUR
        case "articulation" | "time":
            return not free
        case "dynamics":
            return step.accent or step.swell_db != 0.0
        case "holes":
            return is_gesture or _is_chord(step, None)
        case "scale" | "harmony" | "phrases" | "range" | "variety":
            return False
        case _:
            return True


def aims_of(table: Mapping[str, Iterable[str]]) -> tuple[Aim, ...]:
    """Aims from the ``[aim]`` table: groups by criterion."""
    return tuple(Aim(criterion, tuple(groups)) for criterion, groups in table.items() if groups)
