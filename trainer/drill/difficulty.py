"""How hard a drill is to play on a harp, as a figure and in words.

The unit is the half-step bend of a hole that bends no deeper; natural notes beside each other on
one breath are 0. Every figure below is common practice put into a number: the
order in which players learn things and teachers set them. None is measured, and only the order
that they give to several ways of playing one tune means anything.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

from trainer.drill.model import Drill, Sound, Step
from trainer.harp import Breath, Harp, Tab

BEND = 1.0
"""A half step down: the first thing learnt that does not come by itself."""
DEEPER = 0.5
"""Each half step that a bend goes deeper."""
BETWEEN = 0.5
"""A bend that stops above its hole's floor has nothing to lean on."""
CHOICE = 0.25
"""Each half step by which the hole bends further than one: the right one has to be heard."""
BLOW_BEND = 2.0
"""What a blow bend is harder than a draw bend: its reeds are short, and it is learnt after all
draw bends."""
OVERBLOW, EASY_OVERBLOWS = 5.0, {6: 4.0, 5: 4.5}
"""An overblow comes after all bends; hole 6 is the first that speaks, then hole 5."""
OVERDRAW = 6.0
"""An overdraw comes last."""
RAISED = 1.0
"""An overblow or overdraw raised by a half step."""
LOW, LOW_NOTE = 0.1, 64
"""A bend by a half step, for each half step under E4: long reeds follow late. Deeper bends of
low harps are the harder in proportion."""
HIGH, HIGH_NOTE = 0.1, 96
"""A bend, overblow or overdraw, for each half step over C7, where a hair's breadth is much."""
TOP_HOLE, TOP_HOLES = 0.2, 8
"""A natural note from hole 8 on, where little breath moves the reed."""
CHORD = 0.3
"""Two or more holes beside each other, and no other."""
SPLIT = 1.0
"""Holes with some between them covered by the tongue."""
SLIDE = 0.2
"""A hole that a slide crosses."""

JUMP = 0.3
"""Each hole skipped on the way to the next note, with half a second from note to note."""
TURN = 0.2
"""A change of breath, likewise; within one breath notes follow by themselves."""
EASY_S = 0.5
"""Seconds from note to note at which the two figures above hold: quarters at 120. At half of
that they count twice."""
HASTE = (0.25, 4.0)
"""The least and the most that haste counts."""
QUICK_S = 0.25
"""Under so many seconds from note to note a change of breath is told as a quick one."""
FAR = 3
"""Holes from which a move is told as a jump."""


def seconds_per_beat(drill: Drill) -> float:
    """Seconds of a beat, for the time there is from note to note.

    Where the clock is free there is all the time in the world, which is told as infinite.
    """
    return float("inf") if drill.free else 60.0 / drill.tempo


def difficulty(steps: Sequence[Step], harp: Harp, beat_s: float) -> float:
    """How hard steps are to play one after the other; 0 is as easy as can be.

    Args:
        steps: the steps, in order; all must be playable on the harp.
        harp: the harp.
        beat_s: seconds of a beat, as :func:`seconds_per_beat` gives them.
    """
    return sum(step_difficulty(step, harp) for step in steps) + sum(
        move_difficulty(before, after, beat_s) for before, after in pairwise(steps)
    )


def step_difficulty(step: Step, harp: Harp) -> float:
    """How hard a step is by itself: every sound of its path, and what a slide crosses."""
    sounds = sum(
        _sound(sound, step.offset_cents(place), harp) for place, sound in enumerate(step.sounds)
    )
    crossed = sum(abs(after[0].hole - before[0].hole) for before, after in pairwise(step.sounds))
    return sounds + SLIDE * crossed


def move_difficulty(before: Step, after: Step, beat_s: float) -> float:
    """How hard it is to get from one step to the next in the time there is."""
    least, most = HASTE
    seconds = float(after.start - before.start) * beat_s
    haste = min(max(EASY_S / seconds, least), most)
    skipped = max(0, hole_distance(before, after) - 1)
    return haste * (JUMP * skipped + (TURN if _turns(before, after) else 0.0))


def hole_distance(before: Step, after: Step) -> int:
    """Holes that the mouth moves by; 0 where it need not, as from a chord to a note of it."""
    left, here = [tab.hole for tab in before.last], [tab.hole for tab in after.first]
    return max(0, min(here) - max(left), min(left) - max(here))


def _turns(before: Step, after: Step) -> bool:
    return before.last[0].breath is not after.first[0].breath


def is_split(sound: Sound) -> bool:
    """Whether some hole between its holes must be covered."""
    return sound[-1].hole - sound[0].hole >= len(sound)


def _sound(sound: Sound, off: float, harp: Harp) -> float:
    together = 0.0 if len(sound) == 1 else SPLIT if is_split(sound) else CHORD
    return together + sum(_entry(tab, off, harp) for tab in sound)


def _entry(tab: Tab, off: float, harp: Harp) -> float:
    note = harp.midi(tab) + off / 100.0
    bent = max(0.0, tab.bend - off / 100.0)
    top = HIGH * max(0.0, note - HIGH_NOTE)
    if tab.over:
        usual = OVERDRAW if tab.breath is Breath.DRAW else OVERBLOW
        first = EASY_OVERBLOWS.get(tab.hole, usual) if tab.breath is Breath.BLOW else usual
        return first + RAISED * max(0.0, off / 100.0) + top
    if not bent:
        return TOP_HOLE if tab.hole >= TOP_HOLES else 0.0
    room = harp.bend_depth(tab.hole) / 100.0
    kind = (
        BEND
        + CHOICE * max(0.0, room - 1.0)
        + (BETWEEN if bent < room else 0.0)
        + (BLOW_BEND if tab.breath is Breath.BLOW else 0.0)
    )
    low = LOW * max(0.0, LOW_NOTE - note) * bent
    return kind * min(bent, 1.0) + DEEPER * max(0.0, bent - 1.0) + low + top


def describe_difficulty(steps: Sequence[Step], harp: Harp, beat_s: float) -> str:
    """What makes steps hard: ``2 overblows, 5 bends, 3 jumps of up to 4 holes``."""
    told = [_counted(count, name) for name, count in _counts(steps).items() if count]
    far = [hole_distance(*pair) for pair in pairwise(steps) if hole_distance(*pair) >= FAR]
    if far:
        up_to = "up to " if min(far) < max(far) else ""
        told.append(f"{_counted(len(far), 'jump')} of {up_to}{max(far)} holes")
    quick = sum(_is_quick_turn(*pair, beat_s) for pair in pairwise(steps))
    if quick:
        told.append(_counted(quick, "quick change") + " of breath")
    return ", ".join(told) or "natural notes close together"


def _counts(steps: Iterable[Step]) -> dict[str, int]:
    counts = dict.fromkeys(
        ("overdraw", "overblow", "blow bend", "bend", "target between half steps", "split"), 0
    )
    for step in steps:
        for kind in set(_kinds(step)):
            counts[kind] += 1
    return counts


def _kinds(step: Step) -> Iterator[str]:
    for place, sound in enumerate(step.sounds):
        for tab in sound:
            if tab.over:
                yield tab.kind
            elif tab.bend:
                yield "blow bend" if tab.breath is Breath.BLOW else "bend"
        if step.offset_cents(place):
            yield "target between half steps"
        if is_split(sound):
            yield "split"


def _is_quick_turn(before: Step, after: Step, beat_s: float) -> bool:
    return _turns(before, after) and float(after.start - before.start) * beat_s < QUICK_S


def _counted(count: int, name: str) -> str:
    if count == 1:
        return f"1 {name}"
    head, space, tail = name.partition(" between")
    return f"{count} {head}s{space}{tail}"
