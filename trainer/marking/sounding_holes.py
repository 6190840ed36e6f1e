"""Which holes sounded in a stretch of readings, how loud the unwanted ones were, what it was."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.drill import Sound, format_sound
from trainer.harp import HOLES, Breath, Tab
from trainer.marking.reading_history import ReadingHistory
from trainer.marking.target import reed_mask

_FLOOR_DB = -120.0
_HEARD_DB = -100.0
_SAME_NOTE_CENTS = 50.0
"""Half way to the next half step: nearer than this, it is the note that was asked for."""
_AS_LOUD_DB = -3.0
_PARTIAL = 0.02
"""How near to a whole number a ratio counts as one, as a share of it: some 35 cents."""


@dataclass(frozen=True, slots=True)
class Leak:
    """The loudest unwanted hole: its level in dB relative to the wanted one, and its number."""

    db: float
    hole: int


def sounding_reeds(history: ReadingHistory, frames: NDArray[np.int64], breath: Breath) -> Sound:
    """The reeds that sounded in more than half of the readings that know any.

    Where a note may be of either breath (draw 2 and blow 3), it is taken for one of `breath`.
    """
    reeds = history.reeds[frames]
    reeds = reeds[reeds != 0]
    for direction in (breath, breath.other):
        found = tuple(
            Tab(hole, direction)
            for hole in HOLES
            if 2 * np.count_nonzero(reeds & reed_mask([hole], direction)) > len(reeds)
        )
        if found:
            return found
    return ()


def holes_sounding(
    history: ReadingHistory, frames: NDArray[np.int64], wanted: Sound
) -> tuple[int, ...]:
    """The holes that sounded in more than half of the readings that know any."""
    return tuple(tab.hole for tab in sounding_reeds(history, frames, wanted[0].breath))


def masked_holes(
    wanted: Sound, pitches: Sequence[float], sounding: tuple[int, ...]
) -> tuple[int, ...]:
    """Wanted holes of a split that the ear cannot tell from the partials of a lower one.

    Args:
        wanted: the holes asked for.
        pitches: of each, in cents.
        sounding: the holes that are known to sound.
    """
    heard = [pitch for tab, pitch in zip(wanted, pitches, strict=True) if tab.hole in sounding]
    return tuple(
        tab.hole
        for tab, pitch in zip(wanted, pitches, strict=True)
        if tab.hole not in sounding and any(_is_partial(pitch - lower) for lower in heard)
    )


def _is_partial(cents: float) -> bool:
    """Whether a reed so far above another lies on one of its partials, whatever their tuning."""
    ratio = 2.0 ** (cents / 1200.0)
    return ratio > 1.5 and abs(ratio - round(ratio)) < _PARTIAL * ratio


def loudest_leak(
    history: ReadingHistory,
    frames: NDArray[np.int64],
    wanted: Sound,
    spared: Collection[int] = (),
) -> Leak | None:
    """The loudest unwanted hole by the median of its levels; None when none was heard.

    Args:
        history: the take.
        frames: numbers of the readings.
        wanted: the holes asked for.
        spared: holes that may sound along.

    Levels are relative to the loudest wanted hole that sounds or, where none does, to the main
    hole, which then does not count as unwanted.
    """
    levels = history.levels[frames].astype(float)
    if not len(levels):
        return None
    asked = np.isin(HOLES, [tab.hole for tab in wanted])
    bits = reed_mask((tab.hole for tab in wanted), wanted[0].breath)
    sounds = (history.reeds[frames] & bits) != 0
    levels = np.where(np.isnan(levels), _FLOOR_DB, levels)
    named = np.array([*(tabs[0].hole for tabs in history.names), 0])[history.name[frames]]
    main = np.array(HOLES) == named[:, None]
    # Draw 2 named for a wanted blow 3 is the wanted hole under another number.
    own = _named(history, frames, wanted)
    levels = np.where(own[:, None] & main & ~asked, _FLOOR_DB, levels)
    reference = np.where(own, 0.0, _FLOOR_DB)
    reference = np.where(sounds, np.maximum(levels[:, asked].max(axis=1), reference), 0.0)
    excluded = np.where(sounds[:, None], asked[None, :], main)
    relative = np.where(excluded, _FLOOR_DB, levels - reference[:, None])
    medians = np.median(relative, axis=0)
    medians[np.isin(HOLES, list(spared))] = _FLOOR_DB
    loudest = int(medians.argmax())
    if medians[loudest] < _HEARD_DB:
        return None
    return Leak(float(medians[loudest]), HOLES[loudest])


def _named(history: ReadingHistory, frames: NDArray[np.int64], wanted: Sound) -> NDArray[np.bool_]:
    """Readings whose main reed may be one of the wanted ones."""
    mine = [not set(wanted).isdisjoint(tabs) for tabs in history.names]
    return np.array([*mine, False])[history.name[frames]]  # -1, unnamed, is the last


def is_drowned_out(
    history: ReadingHistory, frames: NDArray[np.int64], wanted: Sound
) -> NDArray[np.bool_]:
    """Readings whose pitch is another hole's, though the wanted one sounds about as loud.

    Such a note is blurred, not wrong.
    """
    bits = reed_mask((tab.hole for tab in wanted), wanted[0].breath)
    asked = [tab.hole - 1 for tab in wanted]
    loud = np.nan_to_num(history.levels[frames][:, asked].max(axis=1), nan=_FLOOR_DB)
    own = {(tab.hole, tab.breath) for tab in wanted}
    others = [own.isdisjoint((tab.hole, tab.breath) for tab in tabs) for tabs in history.names]
    other = np.array([*others, False])[history.name[frames]]  # -1, unnamed, is the last
    return np.asarray(other & (loud >= _AS_LOUD_DB) & ((history.reeds[frames] & bits) != 0))


def heard_tab(
    history: ReadingHistory, frames: NDArray[np.int64], wanted: Sound, cents: float | None
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
        return _chord_heard_as(history, frames, wanted)
    tabs = _most_named(history, frames)
    if tabs is None:
        return None
    near = cents is not None and abs(cents) <= _SAME_NOTE_CENTS
    blurred = cents is None and is_drowned_out(history, frames, wanted).any()
    return format_sound(wanted) if wanted[0] in tabs or near or blurred else str(tabs[0])


def named_more_often(
    history: ReadingHistory, frames: NDArray[np.int64], one: Sound, other: Sound
) -> bool:
    """Whether one of two sounds of the same pitch was rather heard than the other."""
    mine, theirs = (_named(history, frames, sound).sum() for sound in (one, other))
    return bool(mine > theirs)


def ever_sounded(history: ReadingHistory, frames: NDArray[np.int64], tab: Tab) -> bool:
    """Whether a natural reed sounded at all, however short, in some readings."""
    bit = reed_mask([tab.hole], tab.breath)
    return bool(((history.reeds[frames] & bit) != 0).any())


def _most_named(history: ReadingHistory, frames: NDArray[np.int64]) -> tuple[Tab, ...] | None:
    named = history.name[frames]
    named = named[named >= 0]
    return history.names[int(np.bincount(named).argmax())] if len(named) else None


def _chord_heard_as(
    history: ReadingHistory, frames: NDArray[np.int64], wanted: Sound
) -> str | None:
    reeds = sounding_reeds(history, frames, wanted[0].breath)
    return format_sound(reeds) if reeds else None
