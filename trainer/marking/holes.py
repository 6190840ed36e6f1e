"""Which holes sounded in a stretch of readings, how loud the unwanted ones were, what it was."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.drill import Sound, sound_text
from trainer.harp import HOLES, Breath, Tab
from trainer.marking.history import History
from trainer.marking.target import reed_bits

_FLOOR_DB = -120.0
_HEARD_DB = -100.0
_SAME_NOTE_CENTS = 50.0
"""Half way to the next half step: nearer than this, it is the note that was asked for."""
_AS_LOUD_DB = -3.0


@dataclass(frozen=True, slots=True)
class Leak:
    """The loudest unwanted hole: its level in dB relative to the wanted one, and its number."""

    db: float
    hole: int


def holes_of(history: History, frames: NDArray[np.int64]) -> tuple[int, ...]:
    """The holes that sounded in more than half of the readings that know any."""
    reeds = history.reeds[frames]
    reeds = reeds[reeds != 0]
    both = [reed_bits([hole], Breath.BLOW) | reed_bits([hole], Breath.DRAW) for hole in HOLES]
    return tuple(
        hole
        for hole, bits in zip(HOLES, both, strict=True)
        if 2 * np.count_nonzero(reeds & bits) > len(reeds)
    )


def leak_of(history: History, frames: NDArray[np.int64], wanted: Sound) -> Leak | None:
    """The loudest unwanted hole by the median of its levels; None when none was heard.

    Levels are relative to the loudest wanted hole that sounds or, where none does, to the main
    hole, which then does not count as unwanted.
    """
    levels = history.levels[frames].astype(float)
    if not len(levels):
        return None
    asked = np.isin(HOLES, [tab.hole for tab in wanted])
    bits = reed_bits((tab.hole for tab in wanted), wanted[0].breath)
    sounds = (history.reeds[frames] & bits) != 0
    levels = np.where(np.isnan(levels), _FLOOR_DB, levels)
    reference = np.where(sounds, levels[:, asked].max(axis=1), 0.0)
    main = levels == levels.max(axis=1, keepdims=True)
    excluded = np.where(sounds[:, None], asked[None, :], main)
    relative = np.where(excluded, _FLOOR_DB, levels - reference[:, None])
    medians = np.median(relative, axis=0)
    loudest = int(medians.argmax())
    if medians[loudest] < _HEARD_DB:
        return None
    return Leak(float(medians[loudest]), HOLES[loudest])


def drowned(history: History, frames: NDArray[np.int64], wanted: Sound) -> NDArray[np.bool_]:
    """Readings whose pitch is another hole's, though the wanted one sounds about as loud.

    Such a note is blurred, not wrong; what pitch the wanted hole has is not known.
    """
    bits = reed_bits((tab.hole for tab in wanted), wanted[0].breath)
    asked = [tab.hole - 1 for tab in wanted]
    loud = np.nan_to_num(history.levels[frames][:, asked].max(axis=1), nan=_FLOOR_DB)
    own = {(tab.hole, tab.breath) for tab in wanted}
    others = [own.isdisjoint((tab.hole, tab.breath) for tab in tabs) for tabs in history.names]
    other = np.array([*others, False])[history.name[frames]]  # -1, unnamed, is the last
    return np.asarray(other & (loud >= _AS_LOUD_DB) & ((history.reeds[frames] & bits) != 0))


def heard_as(
    history: History, frames: NDArray[np.int64], wanted: Sound, cents: float | None
) -> str | None:
    """Tab of what sounded most, as text; None when it is not known.

    A note that shares its pitch with another hole's is given the benefit of the doubt.

    Args:
        history: the take.
        frames: numbers of the readings.
        wanted: what was asked for.
        cents: how far from that it was; None if it had no pitch.
    """
    if len(wanted) > 1:
        return _chord_heard_as(history, frames)
    tabs = _most_named(history, frames)
    if tabs is None:
        return None
    near = cents is not None and abs(cents) <= _SAME_NOTE_CENTS
    blurred = cents is None and drowned(history, frames, wanted).any()
    return sound_text(wanted) if wanted[0] in tabs or near or blurred else str(tabs[0])


def _most_named(history: History, frames: NDArray[np.int64]) -> tuple[Tab, ...] | None:
    named = history.name[frames]
    named = named[named >= 0]
    return history.names[int(np.bincount(named).argmax())] if len(named) else None


def _chord_heard_as(history: History, frames: NDArray[np.int64]) -> str | None:
    holes = holes_of(history, frames)
    if not holes:
        return None
    reeds = history.reeds[frames]
    drawn = np.count_nonzero(reeds >= reed_bits([1], Breath.DRAW)) * 2 > np.count_nonzero(reeds)
    breath = Breath.DRAW if drawn else Breath.BLOW
    return sound_text(tuple(Tab(hole, breath) for hole in holes))
