"""Fingerings: the ways in which a harp can play the pitches of a step."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise, product

from trainer.drill.model import CleannessRule, Sound, Step
from trainer.drill.techniques import find_conflict
from trainer.harp import Harp, Tab
from trainer.music import note_name

MAX_SPAN_HOLES = 5
"""Number of holes that a mouth covers, chord or split (common practice)."""
REED_TOLERANCE_CENTS = 15.0
"""Cents by which any reed can be pulled beyond its nominal range (common practice)."""


@dataclass(frozen=True, slots=True)
class TargetPitch:
    """Notes that sound together, with their offset.

    Attributes:
        notes: MIDI note numbers, one per hole.
        offset_cents: target relative to the notes in cents, -100 to 100.
    """

    notes: tuple[int, ...]
    offset_cents: float = 0.0


@dataclass(frozen=True, slots=True)
class SidePitches:
    """MIDI note numbers that a step has beside its path.

    Attributes:
        shaken_with: those of the other sound of a shake.
        grace: those of its grace note.
        alternative: that of the other note of "bent or not"; None for none.
    """

    shaken_with: tuple[int, ...] = ()
    grace: tuple[int, ...] = ()
    alternative: int | None = None


TunedSound = tuple[Sound, float]
"""A sound on a harp, and its target relative to its tab entries in cents."""


def target_pitches(step: Step, harp: Harp, half_steps: int = 0) -> tuple[TargetPitch, ...]:
    """Pitches of a step's path on a harp, transposed by half steps.

    Raises:
        HarpError: the harp cannot play it.
    """
    return tuple(
        TargetPitch(tuple(harp.midi(tab) + half_steps for tab in sound), step.offset_cents(index))
        for index, sound in enumerate(step.sounds)
    )


def side_pitches(step: Step, harp: Harp, half_steps: int = 0) -> SidePitches:
    """Pitches that a step has beside its path on a harp, transposed by half steps.

    Raises:
        HarpError: the harp cannot play them.
    """
    other = step.alternative if step.has_bent_choice else None
    return SidePitches(
        tuple(harp.midi(tab) + half_steps for tab in (step.shake.other if step.shake else ())),
        tuple(harp.midi(tab) + half_steps for tab in step.grace),
        harp.midi(other) + half_steps if other else None,
    )


def step_fingerings(
    step: Step,
    wanted: tuple[TargetPitch, ...],
    harp: Harp,
    beside: SidePitches = SidePitches(),
) -> tuple[Step, ...]:
    """Return all fingerings of a step at given pitches; empty if the harp cannot play it.

    A chord needs one breath for all its notes, on adjacent holes or split by the tongue. A glide
    stays on a hole and a breath, or slides over neighbouring natural notes; a ladder stays on its
    hole. A target between two half steps may be written from either. The step's own fingering is
    included if it has the pitches on this harp. A shake goes to a hole as near as in the step. Of
    the fingerings, those are taken whose reeds bend as far as a scoop or fall goes, and whose hole
    has both notes of "bent or not", if there are any. A grace note that no hole has is left out.

    Args:
        step: the step as written, possibly for another harp.
        wanted: the pitches of its path, as from :func:`target_pitches`.
        harp: the harp.
        beside: pitches beside the path, as from :func:`side_pitches`.
    """
    paths = [*_written_path(step, wanted, harp), *_possible_paths(step, wanted, harp)]
    fingered = (_with_path(step, path, beside, harp) for path in paths)
    ways = [way for way in fingered if way is not None and not find_conflict(way)]
    for is_better in (lambda way: way.has_bent_choice, lambda way: _bends_as_far(way, harp)):
        ways = [way for way in ways if is_better(way)] or ways
    return tuple(dict.fromkeys(ways))


def _bends_as_far(step: Step, harp: Harp) -> bool:
    """Whether the reeds of a step reach the outer ends of its scoop and fall."""
    scoop, fall = step.scoop, step.fall
    depth = max(scoop.cents if scoop else 0.0, fall.cents if fall else 0.0)
    return all(can_reach(tab, step.offset_cents(0) - depth, harp) for tab in step.first)


def can_reach(tab: Tab, offset_cents: float, harp: Harp) -> bool:
    """Whether the pitch of a tab entry can be moved by an offset, within the tolerance."""
    low, high = harp.pitch_range_cents(tab)
    return low - REED_TOLERANCE_CENTS <= offset_cents <= high + REED_TOLERANCE_CENTS


def describe_unplayable(step: Step | None, wanted: tuple[TargetPitch, ...], harp: Harp) -> str:
    """Describe why a harp has no fingering.

    Args:
        step: the step as written; None if the pitches come from no drill.
        wanted: the pitches of its path.
        harp: the harp.
    """
    path = " to ".join(_describe_pitch(pitch, harp) for pitch in wanted)
    reason = _reason(step, wanted, harp)
    return f"{path}: {reason}" if step is None else f"{step.tab}, as {path}: {reason}"


def _reason(step: Step | None, wanted: tuple[TargetPitch, ...], harp: Harp) -> str:
    for pitch in wanted:
        if not _sounds(pitch, harp):
            if len(pitch.notes) > 1:
                return f"no breath on the {harp.name} harp sounds these together"
            return f"the {harp.name} harp has no {_describe_pitch(pitch, harp)}"
    if step is not None and step.ladder:
        return f"no hole of the {harp.name} harp has all of these on one breath"
    if step is not None and step.shake:
        return f"no two holes of the {harp.name} harp have this shake on one breath"
    return f"neither a hole nor a slide on the {harp.name} harp plays this glide"


def _describe_pitch(pitch: TargetPitch, harp: Harp) -> str:
    notes = " with ".join(note_name(note, harp.key.note) for note in pitch.notes)
    if not pitch.offset_cents:
        return notes
    direction = "sharp" if pitch.offset_cents > 0 else "flat"
    return f"{notes} {abs(pitch.offset_cents):g} cents {direction}"


def _written_path(
    step: Step, wanted: tuple[TargetPitch, ...], harp: Harp
) -> Iterator[list[TunedSound]]:
    tabs = [tab for sound in step.sounds for tab in sound]
    if all(harp.can_play(tab) for tab in tabs) and target_pitches(step, harp) == wanted:
        yield [(sound, step.offset_cents(index)) for index, sound in enumerate(step.sounds)]


def _possible_paths(
    step: Step, wanted: tuple[TargetPitch, ...], harp: Harp
) -> list[list[TunedSound]]:
    first, *others = (_sounds(pitch, harp) for pitch in wanted)
    paths = [[sound] for sound in first]
    for (before, after), sounds in zip(pairwise(step.sounds), others, strict=True):
        max_holes = 0 if step.ladder else max(1, abs(after[0].hole - before[0].hole))
        paths = [
            [*path, sound]
            for path in paths
            for sound in sounds
            if _can_follow(path[-1], sound, max_holes)
        ]
    return paths


def _can_follow(before: TunedSound, after: TunedSound, max_holes: int) -> bool:
    """Whether one sound can move to another in one breath.

    Args:
        before: the first sound.
        after: the sound that follows.
        max_holes: number of holes that it may slide over; 0 for a ladder.
    """
    (left, left_offset), (reached, reached_offset) = before, after
    moves = {tab.hole - other.hole for tab, other in zip(reached, left, strict=True)}
    if reached[0].breath is not left[0].breath or len(moves) > 1 or before == after:
        return False
    (holes,) = moves
    if holes == 0:
        return all(tab.over is other.over for tab, other in zip(reached, left, strict=True))
    all_natural = all(tab.is_natural for tab in (*left, *reached))
    return all_natural and left_offset == reached_offset == 0.0 and abs(holes) <= max_holes


def _sounds(pitch: TargetPitch, harp: Harp) -> tuple[TunedSound, ...]:
    """Return each sound of one breath that has a pitch."""
    sounds: dict[tuple[tuple[int, bool], ...], TunedSound] = {}
    # A target between two half steps is written from the nearer note first, then from the other.
    shifts = (0,) if not pitch.offset_cents else (0, 1 if pitch.offset_cents > 0 else -1)
    for shift in shifts:
        offset = round(pitch.offset_cents - 100.0 * shift, 6)
        for tabs in product(*(harp.entries_for(note + shift) for note in pitch.notes)):
            sound = tuple(sorted(tabs))
            if _fits_one_mouth(sound) and all(can_reach(tab, offset, harp) for tab in sound):
                sounds.setdefault(tuple((tab.hole, tab.over) for tab in sound), (sound, offset))
    return tuple(sounds.values())


def _fits_one_mouth(sound: Sound) -> bool:
    """Whether one breath can play a sound, with at most one gap of holes under the tongue.

    All notes must be bent alike, because one mouth shapes them all.
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


def _with_path(
    step: Step, path: Sequence[TunedSound], beside: SidePitches, harp: Harp
) -> Step | None:
    """Return a step with a path; None if its shake cannot be played there."""
    offsets = tuple(offset for _, offset in path)
    first = path[0][0]
    shake = step.shake
    if shake and beside.shaken_with:
        other = _shaken_with(step, first, beside.shaken_with, harp)
        if other is None:
            return None
        shake = replace(shake, other=other)
    return replace(
        step,
        sounds=tuple(sound for sound, _ in path),
        offsets_cents=offsets if any(offsets) else (),
        alternative=_alternative(step, path, beside, harp),
        shake=shake if beside.shaken_with else None,
        grace=_nearest(_pitched(beside.grace, harp), first) if beside.grace else (),
    )


def _shaken_with(step: Step, first: Sound, notes: tuple[int, ...], harp: Harp) -> Sound | None:
    """Return the other sound of a shake from a first one; None if there is none as near.

    A shake without bends stays one without: the mouth cannot bend and open in a shake's time.
    """
    assert step.shake is not None
    has_bend = not all(tab.is_natural for tab in (*step.first, *step.shake.other))
    reach = max(1, abs(step.shake.other[0].hole - step.first[0].hole))
    others = [
        sound
        for sound in _pitched(notes, harp)
        if sound[0].breath is first[0].breath
        and 0 < abs(sound[0].hole - first[0].hole) <= reach
        and (has_bend or all(tab.is_natural for tab in (*first, *sound)))
    ]
    return _nearest(others, first) or None


def _pitched(notes: tuple[int, ...], harp: Harp) -> list[Sound]:
    """Return the sounds of one breath that have MIDI note numbers."""
    return [sound for sound, _ in _sounds(TargetPitch(notes), harp)]


def _nearest(sounds: Sequence[Sound], to: Sound) -> Sound:
    """Return the sound nearest to another, on its breath if possible; empty of none."""
    return min(
        sounds,
        key=lambda sound: (sound[0].breath is not to[0].breath, abs(sound[0].hole - to[0].hole)),
        default=(),
    )


def _alternative(
    step: Step, path: Sequence[TunedSound], beside: SidePitches, harp: Harp
) -> Tab | None:
    """Return another entry: of "bent or not", or another hole for a held natural note."""
    (sound, offset), *others = path
    if beside.alternative is not None:
        entries = (tab for tab in harp.entries_for(beside.alternative) if not tab.over)
        same_hole = (sound[0].hole, sound[0].breath)
        return next((tab for tab in entries if (tab.hole, tab.breath) == same_hole), None)
    is_plain = not (step.shake or step.scoop or step.fall)
    is_held_note = (
        not others and not offset and len(sound) == 1 and sound[0].is_natural and is_plain
    )
    if not is_held_note or step.cleanness_rule is CleannessRule.CHORD:
        return None
    return next((tab for tab in harp.same_pitch(sound[0]) if tab.is_natural), None)
