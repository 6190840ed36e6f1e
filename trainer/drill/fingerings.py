"""The ways in which a harp can play what a step sounds like."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise, product

from trainer.drill.model import CleannessRule, Sound, Step
from trainer.harp import Harp, Tab
from trainer.music import note_name

MAX_SPAN_HOLES = 5
"""Holes that a mouth covers, for a chord or with the tongue on those between (common practice)."""
REED_TOLERANCE_CENTS = 15.0
"""Cents by which any reed gives way to the mouth, bent or not (common practice)."""


@dataclass(frozen=True, slots=True)
class TargetPitch:
    """What is to sound at one moment.

    Attributes:
        notes: MIDI note numbers, one for each hole.
        offset_cents: cents of the target from them, between -100 and 100.
    """

    notes: tuple[int, ...]
    offset_cents: float = 0.0


TunedSound = tuple[Sound, float]
"""A sound on a harp, and cents of its target from its tab entries'."""


def target_pitches(step: Step, harp: Harp, half_steps: int = 0) -> tuple[TargetPitch, ...]:
    """What a step's path of sounds is on a harp, moved by half steps.

    Raises:
        HarpError: the harp cannot play it.
    """
    return tuple(
        TargetPitch(tuple(harp.midi(tab) + half_steps for tab in sound), step.offset_cents(place))
        for place, sound in enumerate(step.sounds)
    )


def fingerings(step: Step, wanted: tuple[TargetPitch, ...], harp: Harp) -> tuple[Step, ...]:
    """Every way in which a harp plays a step at other pitches; none if it cannot.

    A chord needs one breath for all its notes, on holes beside each other or split by the tongue.
    A glide stays on a hole and a breath, or slides over neighbouring natural notes; a ladder
    stays. A target between two half steps may be written from either. What the step itself asks
    for is always a way, if it sounds so on this harp.

    Args:
        step: the step as it is written, perhaps for another harp.
        wanted: what its path of sounds is to be, as :func:`target_pitches` tells it.
        harp: the harp.
    """
    paths = [*_as_written(step, wanted, harp), *_paths(step, wanted, harp)]
    return tuple(dict.fromkeys(_played(step, path, harp) for path in paths))


def can_reach(tab: Tab, off: float, harp: Harp) -> bool:
    """Whether a tab entry that the harp has can be led so many cents off, or nearly so."""
    low, high = harp.pitch_range_cents(tab)
    return low - REED_TOLERANCE_CENTS <= off <= high + REED_TOLERANCE_CENTS


def describe_unplayable(step: Step | None, wanted: tuple[TargetPitch, ...], harp: Harp) -> str:
    """What is told about what the harp has no way to play.

    Args:
        step: as it is written; None where nobody has written it yet.
        wanted: what it is to sound.
        harp: the harp.
    """
    path = " to ".join(_in_words(pitch, harp) for pitch in wanted)
    reason = _reason(step is not None and step.ladder, wanted, harp)
    return f"{path}: {reason}" if step is None else f"{step.tab} is to sound {path}, and {reason}"


def _reason(ladder: bool, wanted: tuple[TargetPitch, ...], harp: Harp) -> str:
    for pitch in wanted:
        if not _sounds(pitch, harp):
            if len(pitch.notes) > 1:
                return f"no breath on the {harp.name} harp sounds these together"
            return f"the {harp.name} harp has no {_in_words(pitch, harp)}"
    if ladder:
        return f"no hole of the {harp.name} harp has all of these on one breath"
    return f"neither a hole nor a slide over natural notes on the {harp.name} harp goes that way"


def _in_words(pitch: TargetPitch, harp: Harp) -> str:
    notes = " with ".join(note_name(note, harp.key.note) for note in pitch.notes)
    if not pitch.offset_cents:
        return notes
    return (
        f"{notes} {abs(pitch.offset_cents):g} cents {'sharp' if pitch.offset_cents > 0 else 'flat'}"
    )


def _as_written(
    step: Step, wanted: tuple[TargetPitch, ...], harp: Harp
) -> Iterator[list[TunedSound]]:
    tabs = [tab for sound in step.sounds for tab in sound]
    if all(harp.can_play(tab) for tab in tabs) and target_pitches(step, harp) == wanted:
        yield [(sound, step.offset_cents(place)) for place, sound in enumerate(step.sounds)]


def _paths(step: Step, wanted: tuple[TargetPitch, ...], harp: Harp) -> list[list[TunedSound]]:
    first, *others = (_sounds(pitch, harp) for pitch in wanted)
    paths = [[sound] for sound in first]
    for (before, after), sounds in zip(pairwise(step.sounds), others, strict=True):
        across = 0 if step.ladder else max(1, abs(after[0].hole - before[0].hole))
        paths = [
            [*path, sound] for path in paths for sound in sounds if _leads(path[-1], sound, across)
        ]
    return paths


def _leads(before: TunedSound, after: TunedSound, across: int) -> bool:
    """Whether one sound can go over into another in one breath.

    Args:
        before, after: the sounds.
        across: holes that it may slide over; 0 for a ladder.
    """
    (left, off), (here, next_off) = before, after
    moved = {one.hole - other.hole for one, other in zip(here, left, strict=True)}
    if here[0].breath is not left[0].breath or len(moved) > 1 or before == after:
        return False
    (by,) = moved
    if by == 0:
        return all(one.over is other.over for one, other in zip(here, left, strict=True))
    natural = all(tab.is_natural for tab in (*left, *here)) and off == next_off == 0.0
    return natural and abs(by) <= across


def _sounds(pitch: TargetPitch, harp: Harp) -> tuple[TunedSound, ...]:
    """Each sound of one breath that has the pitch."""
    found: dict[tuple[tuple[int, bool], ...], TunedSound] = {}
    near = (0,) if not pitch.offset_cents else (0, 1 if pitch.offset_cents > 0 else -1)
    for lift in near:
        off = round(pitch.offset_cents - 100.0 * lift, 6)
        for tabs in product(*(harp.entries_for(note + lift) for note in pitch.notes)):
            sound = tuple(sorted(tabs))
            if _one_mouth(sound) and all(can_reach(tab, off, harp) for tab in sound):
                found.setdefault(tuple((tab.hole, tab.over) for tab in sound), (sound, off))
    return tuple(found.values())


def _one_mouth(sound: Sound) -> bool:
    """Whether one breath can sound it, with at most one row of holes covered by the tongue.

    All its notes are bent alike or none is: one mouth shapes them all.
    """
    if len(sound) == 1:
        return True
    gaps = [after.hole - before.hole for before, after in pairwise(sound)]
    return (
        len({tab.breath for tab in sound}) == 1
        and all(gaps)
        and sum(gap > 1 for gap in gaps) <= 1
        and sum(gaps) < MAX_SPAN_HOLES
        and len({tab.bend for tab in sound}) == 1
        and not any(tab.over for tab in sound)
    )


def _played(step: Step, path: Sequence[TunedSound], harp: Harp) -> Step:
    offs = tuple(off for _, off in path)
    return replace(
        step,
        sounds=tuple(sound for sound, _ in path),
        offsets_cents=offs if any(offs) else (),
        alternative=_twin(step, path, harp),
    )


def _twin(step: Step, path: Sequence[TunedSound], harp: Harp) -> Tab | None:
    """Another hole that will do as well for a note that is held; a bend is no free choice."""
    (sound, off), *others = path
    if (
        others
        or off
        or len(sound) > 1
        or not sound[0].is_natural
        or step.cleanness_rule is CleannessRule.CHORD
    ):
        return None
    return next((tab for tab in harp.same_pitch(sound[0]) if tab.is_natural), None)
