"""The ways in which a harp can play what a step sounds like."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise, product

from trainer.drill.model import Care, Sound, Step
from trainer.harp import Harp, Tab
from trainer.music import note_name

WIDEST = 5
"""Holes that a mouth covers, for a chord or with the tongue on those between (common practice)."""
GIVES = 15.0
"""Cents by which any reed gives way to the mouth, bent or not (common practice)."""


@dataclass(frozen=True, slots=True)
class Pitch:
    """What is to sound at one moment.

    Attributes:
        notes: MIDI note numbers, one for each hole.
        off: cents of the target from them, between -100 and 100.
    """

    notes: tuple[int, ...]
    off: float = 0.0


Played = tuple[Sound, float]
"""A sound on a harp, and cents of its target from its tab entries'."""


def pitches(step: Step, harp: Harp, half_steps: int = 0) -> tuple[Pitch, ...]:
    """What a step's path of sounds is on a harp, moved by half steps.

    Raises:
        HarpError: the harp cannot play it.
    """
    return tuple(
        Pitch(tuple(harp.midi(tab) + half_steps for tab in sound), step.off(place))
        for place, sound in enumerate(step.sounds)
    )


def ways(step: Step, wanted: tuple[Pitch, ...], harp: Harp) -> tuple[Step, ...]:
    """Every way in which a harp plays a step at other pitches; none if it cannot.

    A chord needs one breath for all its notes, on holes beside each other or split by the tongue.
    A glide stays on a hole and a breath, or slides over neighbouring natural notes; a ladder
    stays. A target between two half steps may be written from either. What the step itself asks
    for is always a way, if it sounds so on this harp.

    Args:
        step: the step as it is written, perhaps for another harp.
        wanted: what its path of sounds is to be, as :func:`pitches` tells it.
        harp: the harp.
    """
    paths = [*_as_written(step, wanted, harp), *_paths(step, wanted, harp)]
    return tuple(dict.fromkeys(_played(step, path, harp) for path in paths))


def reaches(tab: Tab, off: float, harp: Harp) -> bool:
    """Whether a tab entry that the harp has can be led so many cents off, or nearly so."""
    low, high = harp.reach(tab)
    return low - GIVES <= off <= high + GIVES


def lacking(step: Step | None, wanted: tuple[Pitch, ...], harp: Harp) -> str:
    """What is told about what the harp has no way to play.

    Args:
        step: as it is written; None where nobody has written it yet.
        wanted: what it is to sound.
        harp: the harp.
    """
    path = " to ".join(_in_words(pitch, harp) for pitch in wanted)
    reason = _reason(step is not None and step.ladder, wanted, harp)
    return f"{path}: {reason}" if step is None else f"{step.tab} is to sound {path}, and {reason}"


def _reason(ladder: bool, wanted: tuple[Pitch, ...], harp: Harp) -> str:
    for pitch in wanted:
        if not _sounds(pitch, harp):
            if len(pitch.notes) > 1:
                return f"no breath on the {harp.name} harp sounds these together"
            return f"the {harp.name} harp has no {_in_words(pitch, harp)}"
    if ladder:
        return f"no hole of the {harp.name} harp has all of these on one breath"
    return f"neither a hole nor a slide over natural notes on the {harp.name} harp goes that way"


def _in_words(pitch: Pitch, harp: Harp) -> str:
    notes = " with ".join(note_name(note, harp.key.note) for note in pitch.notes)
    if not pitch.off:
        return notes
    return f"{notes} {abs(pitch.off):g} cents {'sharp' if pitch.off > 0 else 'flat'}"


def _as_written(step: Step, wanted: tuple[Pitch, ...], harp: Harp) -> Iterator[list[Played]]:
    tabs = [tab for sound in step.sounds for tab in sound]
    if all(harp.can_play(tab) for tab in tabs) and pitches(step, harp) == wanted:
        yield [(sound, step.off(place)) for place, sound in enumerate(step.sounds)]


def _paths(step: Step, wanted: tuple[Pitch, ...], harp: Harp) -> list[list[Played]]:
    first, *others = (_sounds(pitch, harp) for pitch in wanted)
    paths = [[sound] for sound in first]
    for (before, after), sounds in zip(pairwise(step.sounds), others, strict=True):
        across = 0 if step.ladder else max(1, abs(after[0].hole - before[0].hole))
        paths = [
            [*path, sound] for path in paths for sound in sounds if _leads(path[-1], sound, across)
        ]
    return paths


def _leads(before: Played, after: Played, across: int) -> bool:
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


def _sounds(pitch: Pitch, harp: Harp) -> tuple[Played, ...]:
    """Each sound of one breath that has the pitch."""
    found: dict[tuple[tuple[int, bool], ...], Played] = {}
    near = (0,) if not pitch.off else (0, 1 if pitch.off > 0 else -1)
    for lift in near:
        off = round(pitch.off - 100.0 * lift, 6)
        for tabs in product(*(harp.playing(note + lift) for note in pitch.notes)):
            sound = tuple(sorted(tabs))
            if _one_mouth(sound) and all(reaches(tab, off, harp) for tab in sound):
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
        and sum(gaps) < WIDEST
        and len({tab.bend for tab in sound}) == 1
        and not any(tab.over for tab in sound)
    )


def _played(step: Step, path: Sequence[Played], harp: Harp) -> Step:
    offs = tuple(off for _, off in path)
    return replace(
        step,
        sounds=tuple(sound for sound, _ in path),
        offs=offs if any(offs) else (),
        either=_twin(step, path, harp),
    )


def _twin(step: Step, path: Sequence[Played], harp: Harp) -> Tab | None:
    """Another hole that will do as well for a note that is held; a bend is no free choice."""
    (sound, off), *others = path
    if others or off or len(sound) > 1 or not sound[0].is_natural or step.care is Care.CHORD:
        return None
    return next((tab for tab in harp.same_pitch(sound[0]) if tab.is_natural), None)
