"""Joining the turns of a shake, which are heard as notes of their own, into one note."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from trainer.drill import Step
from trainer.ear import HeardNote
from trainer.harp import Tab
from trainer.marking.parameters import PASS_SEARCH

Pair = frozenset[Tab]
"""The two entries of a shake."""


def join_shakes(heard: Sequence[HeardNote], steps: Sequence[Step]) -> list[HeardNote]:
    """The notes of a recording, with each shake that a drill asks for as one note.

    A shake is a run of short notes without gaps that alternate between the two entries of one of
    the drill's shakes. It has the entry and the start of its first note.

    Args:
        heard: the notes, in order.
        steps: the steps of the drill.
    """
    pairs = {
        frozenset((step.first[0], step.shake.other[0])) for step in steps if step.shake is not None
    }
    joined: list[HeardNote] = []
    turns: list[HeardNote] = []
    for note in heard if pairs else ():
        if turns and not _is_next_turn(turns, note, pairs):
            joined += _joined(turns)
            turns = []
        turns.append(note)
    return [*joined, *_joined(turns)] if pairs else list(heard)


def _is_next_turn(turns: Sequence[HeardNote], note: HeardNote, pairs: Collection[Pair]) -> bool:
    before = turns[-1]
    is_near = note.start - before.end <= PASS_SEARCH.max_shake_gap_s * note.rate
    is_short = before.end - before.start <= PASS_SEARCH.max_shake_turn_s * note.rate
    alternates = len(turns) < 2 or turns[-2].tab == note.tab
    return is_near and is_short and alternates and frozenset((before.tab, note.tab)) in pairs


def _joined(turns: Sequence[HeardNote]) -> list[HeardNote]:
    """The turns as one note, if they are enough for a shake."""
    if len(turns) < PASS_SEARCH.min_shake_turns:
        return list(turns)
    return [replace(turns[0], end=turns[-1].end)]
