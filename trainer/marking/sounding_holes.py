"""Which holes sounded in a span of readings, how loud unwanted ones were, and what was heard.

A reed sounded in a span if it sounds in more than half of the readings in which any is known.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.drill import Sound, format_sound
from trainer.harp import HOLES, Breath, Tab
from trainer.marking.parameters import SOUNDING_HOLES
from trainer.marking.reading_history import ReadingHistory
from trainer.marking.target import reed_mask


@dataclass(frozen=True, slots=True)
class Leak:
    """The loudest unwanted hole: level in dB relative to the wanted one, and number."""

    db: float
    hole: int


def sounding_reeds(history: ReadingHistory, frames: NDArray[np.int64], breath: Breath) -> Sound:
    """The reeds that sounded, all of one breath.

    Where a pitch can be blown or drawn (draw 2 and blow 3), `breath` is preferred.

    Args:
        history: the readings of the pass.
        frames: indices of the span's readings.
        breath: the breath that the drill asks for.
    """
    reeds = history.reeds[frames]
    reeds = reeds[reeds != 0]
    for direction in (breath, breath.other):
        sounding = tuple(
            Tab(hole, direction)
            for hole in HOLES
            if 2 * np.count_nonzero(reeds & reed_mask([hole], direction)) > len(reeds)
        )
        if sounding:
            return sounding
    return ()


def holes_sounding(
    history: ReadingHistory, frames: NDArray[np.int64], wanted: Sound
) -> tuple[int, ...]:
    """The holes that sounded; arguments as in :func:`sounding_reeds`.

    The upper reed of a split is known by its beats, which cannot be heard while the reeds still
    glide to their pitch: of a split, a wanted hole that sounds in the later half counts.
    """
    breath = wanted[0].breath
    sounding = sounding_reeds(history, frames, breath)
    if sounding and _is_split(wanted):
        later = sounding_reeds(history, frames[len(frames) // 2 :], breath)
        added = {tab for tab in later if tab in wanted and tab.breath is sounding[0].breath}
        sounding = tuple(sorted({*sounding, *added}))
    return tuple(tab.hole for tab in sounding)


def _is_split(sound: Sound) -> bool:
    """Whether the tongue covers holes between those that sound."""
    holes = [tab.hole for tab in sound]
    return max(holes) - min(holes) >= len(holes)


def holes_in_turn(
    history: ReadingHistory, frames: NDArray[np.int64], wanted: Sound
) -> tuple[int, ...]:
    """The holes of some reeds that sound in turn, each in a fair part of the readings."""
    reeds = history.reeds[frames]
    least = SOUNDING_HOLES.in_turn_fraction * np.count_nonzero(reeds)
    return tuple(
        tab.hole
        for tab in sorted(wanted, key=lambda tab: tab.hole)
        if np.count_nonzero(reeds & reed_mask([tab.hole], tab.breath)) > least
    )


def masked_holes(
    wanted: Sound, pitches: Sequence[float], sounding: tuple[int, ...]
) -> tuple[int, ...]:
    """Wanted holes of a split that no ear can separate from the partials of a lower one.

    Args:
        wanted: the sound that the drill asks for.
        pitches: pitch of each of its reeds, in cents.
        sounding: the holes that are known to sound.
    """
    heard = [pitch for tab, pitch in zip(wanted, pitches, strict=True) if tab.hole in sounding]
    return tuple(
        tab.hole
        for tab, pitch in zip(wanted, pitches, strict=True)
        if tab.hole not in sounding and any(_is_partial(pitch - lower) for lower in heard)
    )


def _is_partial(cents: float) -> bool:
    """Whether a reed this far above another lies on one of its partials in any usual tuning."""
    ratio = 2.0 ** (cents / 1200.0)
    tolerance = SOUNDING_HOLES.partial_tolerance * ratio
    return ratio > SOUNDING_HOLES.min_partial_ratio and abs(ratio - round(ratio)) < tolerance


def loudest_leak(
    history: ReadingHistory,
    frames: NDArray[np.int64],
    wanted: Sound,
    allowed: Collection[int] = (),
) -> Leak | None:
    """The loudest unwanted hole by the median of its levels; None where none was heard.

    Levels are relative to the loudest wanted hole that sounds. Where none does, they are relative
    to the main hole, which then does not count as unwanted.

    Args:
        history: the readings of the pass.
        frames: indices of the span's readings.
        wanted: the sound that the drill asks for.
        allowed: holes that may sound along.
    """
    levels = history.levels[frames].astype(float)
    if not len(levels):
        return None
    is_wanted = np.isin(HOLES, [tab.hole for tab in wanted])
    mask = reed_mask((tab.hole for tab in wanted), wanted[0].breath)
    sounds = (history.reeds[frames] & mask) != 0
    levels = np.where(np.isnan(levels), SOUNDING_HOLES.floor_db, levels)
    named = np.array([*(tabs[0].hole for tabs in history.names), 0])[history.name[frames]]
    is_main = np.array(HOLES) == named[:, None]
    # A draw 2 that was identified for a wanted blow 3 is the wanted note under another number.
    is_own = _is_named(history, frames, wanted)
    levels = np.where(is_own[:, None] & is_main & ~is_wanted, SOUNDING_HOLES.floor_db, levels)
    reference = np.where(is_own, 0.0, SOUNDING_HOLES.floor_db)
    reference = np.where(sounds, np.maximum(levels[:, is_wanted].max(axis=1), reference), 0.0)
    excluded = np.where(sounds[:, None], is_wanted[None, :], is_main)
    relative = np.where(excluded, SOUNDING_HOLES.floor_db, levels - reference[:, None])
    medians = np.median(relative, axis=0)
    medians[np.isin(HOLES, list(allowed))] = SOUNDING_HOLES.floor_db
    loudest = int(medians.argmax())
    if medians[loudest] < SOUNDING_HOLES.audible_db:
        return None
    return Leak(float(medians[loudest]), HOLES[loudest])


def _is_named(
    history: ReadingHistory, frames: NDArray[np.int64], wanted: Sound
) -> NDArray[np.bool_]:
    """Whether each reading's main reed can be one of the wanted ones."""
    is_wanted = [not set(wanted).isdisjoint(tabs) for tabs in history.names]
    return np.array([*is_wanted, False])[history.name[frames]]  # -1, unnamed, is the last


def is_drowned_out(
    history: ReadingHistory, frames: NDArray[np.int64], wanted: Sound, *, or_softer: bool = False
) -> NDArray[np.bool_]:
    """Whether each reading has another hole's pitch while the wanted hole is about as loud.

    Such a note is blurred, not wrong.

    Args:
        history: the readings of the pass.
        frames: indices of the span's readings.
        wanted: the sound that the drill asks for.
        or_softer: whether the wanted hole may be softer.
    """
    mask = reed_mask((tab.hole for tab in wanted), wanted[0].breath)
    columns = [tab.hole - 1 for tab in wanted]
    level = np.nan_to_num(
        history.levels[frames][:, columns].max(axis=1), nan=SOUNDING_HOLES.floor_db
    )
    own = {(tab.hole, tab.breath) for tab in wanted}
    is_other = [own.isdisjoint((tab.hole, tab.breath) for tab in tabs) for tabs in history.names]
    other = np.array([*is_other, False])[history.name[frames]]  # -1, unnamed, is the last
    is_loud = or_softer | (level >= SOUNDING_HOLES.as_loud_db)
    return np.asarray(other & is_loud & ((history.reeds[frames] & mask) != 0))


def heard_tab(
    history: ReadingHistory, frames: NDArray[np.int64], wanted: Sound, cents: float | None
) -> str | None:
    """Tab of the sound that was heard, as text; None where it is not known.

    For a chord it names the reeds that sounded. For a note it is the entry identified most often;
    one of the same pitch as the wanted entry counts as that.

    Args:
        history: the readings of the pass.
        frames: indices of the span's readings.
        wanted: the sound that the drill asks for.
        cents: deviation from it; None where there is no pitch.
    """
    if len(wanted) > 1:
        return _heard_chord(history, frames, wanted)
    tabs = _most_named(history, frames)
    if tabs is None:
        return None
    is_near = cents is not None and abs(cents) <= SOUNDING_HOLES.same_note_cents
    is_blurred = cents is None and is_drowned_out(history, frames, wanted).any()
    return format_sound(wanted) if wanted[0] in tabs or is_near or is_blurred else str(tabs[0])


def named_more_often(
    history: ReadingHistory, frames: NDArray[np.int64], first: Sound, second: Sound
) -> bool:
    """Whether the first of two sounds was identified in more readings than the second."""
    count, other_count = (_is_named(history, frames, sound).sum() for sound in (first, second))
    return bool(count > other_count)


def ever_sounded(history: ReadingHistory, frames: NDArray[np.int64], tab: Tab) -> bool:
    """Whether a natural reed sounded in any of the readings."""
    mask = reed_mask([tab.hole], tab.breath)
    return bool(((history.reeds[frames] & mask) != 0).any())


def _most_named(history: ReadingHistory, frames: NDArray[np.int64]) -> tuple[Tab, ...] | None:
    named = history.name[frames]
    named = named[named >= 0]
    return history.names[int(np.bincount(named).argmax())] if len(named) else None


def _heard_chord(history: ReadingHistory, frames: NDArray[np.int64], wanted: Sound) -> str | None:
    reeds = sounding_reeds(history, frames, wanted[0].breath)
    return format_sound(reeds) if reeds else None
