"""Which splits without beats lack their upper hole, from all that is known after a pass.

The partials of a split's lower reed cover an upper one an octave or a twelfth above. Only beats
show that it sounds, so a split without beats has either lost its upper hole or is tuned exactly.
What distinguishes the two is not in that split:

- the harp has been measured, and its two reeds are far enough from an exact interval to beat;
- the same split was heard to beat elsewhere in the pass, in no more time than this one lasted;
- several different splits were played and none beats, on a harp that was not measured. The two
  reeds of an octave differ by some cents on most harps: with a standard deviation of 5 (from
  memory), one pair in six beats too slowly to be heard, and three of three on one harp in 200.

Otherwise it is unknown, and the split neither earns nor costs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from trainer.drill import Sound
from trainer.harp import Harp
from trainer.marking.mark import Mark, Measured
from trainer.marking.parameters import SPLITS
from trainer.marking.sounding_holes import masked_holes
from trainer.marking.target import absolute_cents


def splits_without_upper_hole(marks: Sequence[Mark], harp: Harp, rate: int) -> dict[int, Measured]:
    """Figures of the splits that are known to lack a hole which could not be heard by itself.

    Args:
        marks: the marks of a pass.
        harp: the harp it was played on.
        rate: sample rate in hertz.

    Returns:
        New figures, in which the hole counts as missing, by index of the step.
    """
    silent = [mark for mark in marks if mark.measured.hidden]
    beating = _beating(marks, harp)
    unmeasured = {mark.step.last for mark in silent if not is_measured(mark.step.last, harp)}
    none_beats = not beating and len(unmeasured) >= SPLITS.min_splits
    return {
        mark.step.index: replace(mark.measured, hidden=())
        for mark in silent
        if _length(mark) >= SPLITS.as_long * beating.get(mark.step.last, np.inf)
        or (none_beats and mark.step.last in unmeasured)
        or _would_beat(mark, harp, rate)
    }


def explain_splits(
    marks: Sequence[Mark], lacking: Mapping[int, Measured], harp: Harp
) -> tuple[Mark, ...]:
    """Marks of a pass, with what to do about splits that cannot be heard, once.

    Args:
        marks: the marks.
        lacking: figures of the splits that lack a hole, from :func:`splits_without_upper_hole`.
        harp: the harp.
    """
    explained, is_said, beating = [], False, _beating(marks, harp)
    for mark in marks:
        is_measured_split = is_measured(mark.step.last, harp)
        is_doubtful = mark.step.index in lacking and not (beating or is_measured_split)
        if not is_said and (mark.measured.hidden or is_doubtful):
            is_said = True
            what = "take one whose octaves beat"
            if not is_measured_split:
                cause = "if it sounds, " if is_doubtful else ""
                what = f"{cause}measure the harp, or {what}"
            mark = replace(mark, sentence=f"{mark.sentence}; {what}")
        explained.append(mark)
    return tuple(explained)


def is_measured(sound: Sound, harp: Harp) -> bool:
    """Whether a harp's reeds of a sound have been measured."""
    return all(tab in harp.offsets for tab in sound)


def _beating(marks: Sequence[Mark], harp: Harp) -> dict[Sound, int]:
    """The splits that were heard by their beats, and the least samples for which one lasted."""
    shortest: dict[Sound, int] = {}
    for mark in marks:
        sound, measured = mark.step.last, mark.measured
        is_heard = mark.step.is_chord and len(measured.holes) > 1 and not measured.hidden
        if is_heard and _needs_beats(sound, harp):
            shortest[sound] = min(_length(mark), shortest.get(sound, _length(mark)))
    return shortest


def _length(mark: Mark) -> int:
    """Samples for which a step lasted as played; 0 for one that was not."""
    measured = mark.measured
    if measured.start is None or measured.end is None:
        return 0
    return measured.end - measured.start


def _needs_beats(sound: Sound, harp: Harp) -> bool:
    """Whether only beats show that all holes of a sound sound."""
    pitches = [absolute_cents(harp.hz(tab)) for tab in sound]
    return bool(masked_holes(sound, pitches, (sound[0].hole,)))


def _would_beat(mark: Mark, harp: Harp, rate: int) -> bool:
    """Whether the reeds of a split, as measured, beat fast enough to be heard in its time."""
    sound, measured = mark.step.last, mark.measured
    if not is_measured(sound, harp) or measured.start is None or measured.end is None:
        return False
    lower = min(harp.hz(tab) for tab in sound if tab.hole in measured.holes)
    seconds = (measured.end - measured.start) / rate - SPLITS.onset_s
    ratios = np.array([harp.hz(tab) / lower for tab in sound if tab.hole in measured.hidden])
    cents = np.abs(1200.0 * np.log2(ratios / np.rint(ratios)))
    beats_hz = lower * np.abs(ratios - np.rint(ratios))
    is_heard = (cents >= SPLITS.min_beating_cents) & (beats_hz * seconds >= SPLITS.min_beats)
    return bool(is_heard.all())
