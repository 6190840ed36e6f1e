"""How a step moves: the way of a glide, the rungs of a ladder, a vibrato.

- A glide on one hole is compared with the way that the drill asks for: from its first rest to its
  last, with where it really started and ended put right, because ends are judged by themselves.
  `stray_cents` is the farthest that is left. `back_cents` is how far it went against its way, all
  in all; what is less than 5 cents at a time is no turn.
- A slide has no way, because reeds between do not bend into each other; of it is told which of the
  sounds asked for on the way were not heard.
- A vibrato is found as the ear finds it (:mod:`trainer.ear.motion`). Its centre is the mean over
  as many whole cycles as fit into the held part.
"""

from __future__ import annotations

import numpy as np

from trainer.core.types import Floats
from trainer.ear.motion import Motion, estimate_motion
from trainer.marking.reading_history import ReadingHistory
from trainer.marking.sounding_holes import ever_sounded
from trainer.marking.step_readings import FEWEST_STEADY, HeldSpan, StepReadings
from trainer.marking.target import StepTarget, hz_of_cents

_SMOOTH = 5
_TURN_CENTS = 5.0


def path_deviation(
    target: StepTarget, played: StepReadings, length: float, ends: tuple[float | None, float | None]
) -> tuple[float | None, float | None]:
    """`stray_cents` and `back_cents`; None where they cannot be told.

    Args:
        target: the step.
        played: its readings.
        length: how long it should last, in ms.
        ends: how far off its first and last sound it was.
    """
    wanted = target.on_one_hole
    speaks = (
        0.5 * target.step.rest_interval(0)[1] * length
    )  # reeds rise to their pitch as they begin
    has = ~np.isnan(played.pitch) & (played.t >= speaks) & (played.t <= played.release)
    if wanted is None or has.sum() < FEWEST_STEADY:
        return None, None
    t, x = played.t[has], _smooth(played.pitch[has])
    whole = abs(np.diff(wanted)).sum()
    # What is gone there and back again is half of what was gone too much.
    back = max(0.0, 0.5 * (_gone(x) - float(whole) - _beyond(wanted, ends)))
    if target.step.ladder or None in ends:
        return None, back
    return _stray(target, t, x, wanted, length, ends), back


def _beyond(wanted: Floats, ends: tuple[float | None, float | None]) -> float:
    """Cents that were gone because the ends lay further apart than they should."""
    start, end = (off or 0.0 for off in ends)
    first = float(np.sign(wanted[1] - wanted[0]))
    last = float(np.sign(wanted[-1] - wanted[-2]))
    return max(0.0, -first * start) + max(0.0, last * end)


def _stray(
    target: StepTarget,
    t: Floats,
    x: Floats,
    wanted: Floats,
    length: float,
    ends: tuple[float | None, float | None],
) -> float | None:
    rest = 0.5 * target.step.rest_interval(0)[1]
    inside = (t >= rest * length) & (t <= (1.0 - rest) * length)
    if inside.sum() < FEWEST_STEADY:
        return None
    t, x = t[inside], x[inside]
    last = len(wanted) - 1
    start, end = (off or 0.0 for off in ends)
    place = np.array([target.step.path_position(one / length) for one in t])
    way = np.interp(place, np.arange(last + 1), wanted) + start + (end - start) * place / last
    return float(np.abs(x - way).max())


def _smooth(x: Floats) -> Floats:
    around = np.lib.stride_tricks.sliding_window_view(np.pad(x, _SMOOTH // 2, mode="edge"), _SMOOTH)
    return np.asarray(np.median(around, axis=1))


def _gone(x: Floats) -> float:
    """Cents gone up and down, turns of less than 5 cents left out."""
    total, turn, low, high, way = 0.0, x[0], x[0], x[0], 0
    for value in x.tolist():
        low, high = min(low, value), max(high, value)
        if way >= 0 and high - value >= _TURN_CENTS:
            total += high - turn
            turn, way, low = high, -1, value
        elif way <= 0 and value - low >= _TURN_CENTS:
            total += turn - low
            turn, way, high = low, 1, value
    return float(total + max(high - turn, turn - low))


def unheard(
    target: StepTarget, played: StepReadings, history: ReadingHistory, length: float
) -> tuple[str, ...]:
    """Tab of the sounds on the way of a slide that were not heard, as text."""
    step = target.step
    if target.on_one_hole is not None or len(step.sounds) < 3:
        return ()
    inside = played.frames[(played.t >= 0.1 * length) & (played.t <= played.release)]
    return tuple(
        str(sound[0])
        for sound in step.sounds[1:-1]
        if len(sound) == 1 and not ever_sounded(history, inside, sound[0])
    )


def find_vibrato(held: HeldSpan, length: float) -> Motion:
    """How a held part moves, its vibrato apart.

    Args:
        held: the part.
        length: of the step, in ms.
    """
    if len(held.off) < FEWEST_STEADY:
        return Motion()
    return estimate_motion(held.t / 1000.0, hz_of_cents(held.off), length / 1000.0)


def vibrato_centre(held: HeldSpan, hz: float) -> float:
    """Mean of a held part over as many whole cycles as fit, in cents off the sound."""
    lasts = float(held.t[-1] - held.t[0]) / 1000.0
    whole = np.floor(lasts * hz) / hz * 1000.0
    inside = held.t <= held.t[0] + whole
    return float(np.mean(held.off[inside])) if whole else float(np.median(held.off))
