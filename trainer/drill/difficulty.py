"""Difficulty of steps on a harp, as a number and in words.

The unit is the half-step bend of a hole that bends no deeper; natural notes on neighbouring holes
and one breath are 0. All parameters are common practice expressed as numbers: the order in which
players learn techniques and teachers set them. None is measured. Only the order that they give to
several fingerings of one tune is meaningful.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from trainer.drill.model import Drill, Sound, Step
from trainer.harp import Breath, Harp, Tab


@dataclass(frozen=True, slots=True)
class DifficultyParameters:
    """Difficulty of techniques and moves, in half-step bends (common practice, not measured).

    Attributes:
        bend: a bend of a half step, the first technique that does not come by itself.
        deeper: each half step of bend beyond the first.
        between: a bend that stops above its hole's lowest note, which gives it no support.
        choice: each half step by which the hole bends further than one: the player must hear the
            right one.
        blow_bend: a blow bend, in addition to its depth: its reeds are short, and it is learnt
            after all draw bends.
        valved: a bend of a reed alone, in addition to its depth and `between`: no other reed
            supports it, and its sound is thin. It takes the place of `blow_bend`.
        overblow: an overblow, learnt after all bends.
        easy_overblows: overblows by hole that speak more easily.
        overdraw: an overdraw, learnt last.
        raised: an overblow or overdraw raised by a half step.
        low, low_note: a bend of a half step, per half step below a MIDI note number: long reeds
            respond late. Deeper bends count in proportion.
        high, high_note: a bend, overblow or overdraw, per half step above a MIDI note number,
            where small movements of the mouth change the pitch most.
        top_hole, top_holes: a natural note from a hole on, where little breath moves the reed.
        chord: two or more holes beside each other.
        split: holes with others between them that the tongue covers.
        slide: each hole that a slide crosses.
        shake: a shake between two holes, beside the difficulty of its sounds.
        jump: each hole skipped on the way to the next note, at `reference_s` between notes.
        turn: a change of breath, at `reference_s` between notes.
        reference_s: seconds between notes at which `jump` and `turn` count once: quarter notes at
            120 beats per minute. They count in inverse proportion to the time.
        min_haste, max_haste: limits of that factor.
        quick_s: seconds between notes below which a change of breath is described as quick.
        far_holes: holes from which a move is described as a jump.
    """

    bend: float = 1.0
    deeper: float = 0.5
    between: float = 0.5
    choice: float = 0.25
    blow_bend: float = 2.0
    valved: float = 2.0
    overblow: float = 5.0
    easy_overblows: Mapping[int, float] = field(default_factory=lambda: {6: 4.0, 5: 4.5})
    overdraw: float = 6.0
    raised: float = 1.0
    low: float = 0.1
    low_note: int = 64
    high: float = 0.1
    high_note: int = 96
    top_hole: float = 0.2
    top_holes: int = 8
    chord: float = 0.3
    split: float = 1.0
    slide: float = 0.2
    shake: float = 0.5
    jump: float = 0.3
    turn: float = 0.2
    reference_s: float = 0.5
    min_haste: float = 0.25
    max_haste: float = 4.0
    quick_s: float = 0.25
    far_holes: int = 3


PARAMETERS = DifficultyParameters()
"""Parameters in use."""


def seconds_per_beat(drill: Drill) -> float:
    """Shortest duration of a beat in seconds, between notes; infinite under a free clock."""
    return float("inf") if drill.free else 60.0 / drill.fastest_tempo


def passage_difficulty(steps: Sequence[Step], harp: Harp, beat_s: float) -> float:
    """Difficulty of playing steps in succession; 0 is the easiest.

    Args:
        steps: steps in order of time, all playable on the harp.
        harp: the harp.
        beat_s: duration of a beat in seconds, from :func:`seconds_per_beat`.
    """
    return sum(step_difficulty(step, harp) for step in steps) + sum(
        move_difficulty(before, after, beat_s) for before, after in pairwise(steps)
    )


def step_difficulty(step: Step, harp: Harp) -> float:
    """Difficulty of a single step: all sounds of its path, and the holes that a slide crosses."""
    sounds = sum(
        _sound_difficulty(sound, step.offset_cents(index), harp)
        for index, sound in enumerate(step.sounds)
    )
    if step.shake:
        sounds += PARAMETERS.shake + _sound_difficulty(step.shake.other, 0.0, harp)
    crossed = sum(abs(after[0].hole - before[0].hole) for before, after in pairwise(step.sounds))
    return sounds + PARAMETERS.slide * crossed


def move_difficulty(before: Step, after: Step, beat_s: float) -> float:
    """Difficulty of the move from one step to the next in the time between them."""
    seconds = float(after.start - before.start) * beat_s
    haste = min(max(PARAMETERS.reference_s / seconds, PARAMETERS.min_haste), PARAMETERS.max_haste)
    skipped = max(0, hole_distance(before, after) - 1)
    turn = PARAMETERS.turn if _changes_breath(before, after) else 0.0
    return haste * (PARAMETERS.jump * skipped + turn)


def hole_distance(before: Step, after: Step) -> int:
    """Number of holes that the mouth moves; 0 from a chord to a note of it."""
    left, reached = [tab.hole for tab in before.last], [tab.hole for tab in after.first]
    return max(0, min(reached) - max(left), min(left) - max(reached))


def _changes_breath(before: Step, after: Step) -> bool:
    return before.last[0].breath is not after.first[0].breath


def is_split(sound: Sound) -> bool:
    """Whether the tongue must cover a hole between those that sound."""
    return sound[-1].hole - sound[0].hole >= len(sound)


def _sound_difficulty(sound: Sound, offset_cents: float, harp: Harp) -> float:
    several = PARAMETERS.split if is_split(sound) else PARAMETERS.chord
    together = 0.0 if len(sound) == 1 else several
    return together + sum(_entry_difficulty(tab, offset_cents, harp) for tab in sound)


def _entry_difficulty(tab: Tab, offset_cents: float, harp: Harp) -> float:
    p = PARAMETERS
    note = harp.midi(tab) + offset_cents / 100.0
    bent = max(0.0, tab.bend - offset_cents / 100.0)
    high = p.high * max(0.0, note - p.high_note)
    if tab.over:
        usual = p.overdraw if tab.breath is Breath.DRAW else p.overblow
        base = p.easy_overblows.get(tab.hole, usual) if tab.breath is Breath.BLOW else usual
        return base + p.raised * max(0.0, offset_cents / 100.0) + high
    if not bent:
        return p.top_hole if tab.hole >= p.top_holes else 0.0
    depth, alone = harp.bend_depth(tab.hole, tab.breath) / 100.0, harp.bends_alone(tab)
    by_blow = p.blow_bend if tab.breath is Breath.BLOW else 0.0
    first_half_step = (
        p.bend
        + p.choice * max(0.0, depth - 1.0)
        + (p.between if alone or bent < depth else 0.0)
        + (p.valved if alone else by_blow)
    )
    low = p.low * max(0.0, p.low_note - note) * bent
    return first_half_step * min(bent, 1.0) + p.deeper * max(0.0, bent - 1.0) + low + high


def describe_difficulty(steps: Sequence[Step], harp: Harp, beat_s: float) -> str:
    """Describe what makes steps hard: ``2 overblows, 5 bends, 3 jumps of up to 4 holes``."""
    reasons = [
        _with_count(count, name) for name, count in _technique_counts(steps, harp).items() if count
    ]
    distances = [hole_distance(before, after) for before, after in pairwise(steps)]
    jumps = [distance for distance in distances if distance >= PARAMETERS.far_holes]
    if jumps:
        up_to = "up to " if min(jumps) < max(jumps) else ""
        reasons.append(f"{_with_count(len(jumps), 'jump')} of {up_to}{max(jumps)} holes")
    quick = sum(_is_quick_change(before, after, beat_s) for before, after in pairwise(steps))
    if quick:
        reasons.append(_with_count(quick, "quick change") + " of breath")
    return ", ".join(reasons) or "natural notes close together"


def _technique_counts(steps: Iterable[Step], harp: Harp) -> dict[str, int]:
    counts = dict.fromkeys(
        (
            *("overdraw", "overblow", "valved bend", "blow bend", "bend"),
            *("target between half steps", "split", "shake"),
        ),
        0,
    )
    for step in steps:
        for technique in set(_techniques(step, harp)):
            counts[technique] += 1
    return counts


def _techniques(step: Step, harp: Harp) -> Iterator[str]:
    if step.shake:
        yield "shake"
    for index, sound in enumerate(step.sounds):
        for tab in sound:
            if tab.over:
                yield tab.kind
            elif tab.bend and harp.bends_alone(tab):
                yield "valved bend"
            elif tab.bend:
                yield "blow bend" if tab.breath is Breath.BLOW else "bend"
        if step.offset_cents(index):
            yield "target between half steps"
        if is_split(sound):
            yield "split"


def _is_quick_change(before: Step, after: Step, beat_s: float) -> bool:
    seconds = float(after.start - before.start) * beat_s
    return _changes_breath(before, after) and seconds < PARAMETERS.quick_s


def _with_count(count: int, name: str) -> str:
    if count == 1:
        return f"1 {name}"
    head, space, tail = name.partition(" between")
    return f"{count} {head}s{space}{tail}"
