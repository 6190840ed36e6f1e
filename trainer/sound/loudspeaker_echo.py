"""The echo of a loudspeaker: clicks that the trainer plays and the microphone picks up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trainer.core.types import Floats
from trainer.sound.errors import SoundError
from trainer.sound.round_trip import estimate_round_trip


@dataclass(frozen=True, slots=True)
class EchoParameters:
    """Constants of judging an echo. All chosen by hand."""

    clicks: int = 5
    """Number of clicks that are played."""
    min_heard: int = 4
    """Clicks that must come back at one time."""
    frame_s: float = 0.02
    """Time from a click's return over which its level is measured, and before it that of the
    room, in seconds: a click is 30 ms long, most of its power in the first 10."""
    below_note_db: float = 20.0
    """Level below the held note from which an echo is too loud, in dB. The trainer cancels 16 to
    33 dB of its clicks (`python -m benchmarks.echo`): what is left is 36 dB below the note."""
    max_delay_ms: float = 300.0
    """Longest delay that the trainer cancels, in milliseconds: the echo canceller searches eight
    blocks of 43 ms."""


PARAMETERS = EchoParameters()


@dataclass(frozen=True, slots=True)
class Echo:
    """What came back.

    Attributes:
        delay_ms: time from handing a click to the driver until it comes back, in milliseconds.
        level_db: level of a returning click's first 20 ms in dBFS.
        below_note_db: how far that is below the held note, in dB; None if no note was held.
    """

    delay_ms: float
    level_db: float
    below_note_db: float | None

    @property
    def is_harmful(self) -> bool:
        """Whether it comes too late to be cancelled, or is too loud to be cancelled enough."""
        loud = self.below_note_db is not None and self.below_note_db < PARAMETERS.below_note_db
        return loud or self.delay_ms > PARAMETERS.max_delay_ms


def estimate_echo(
    heard: Floats, due: Sequence[int], rate: int, note_db: float | None
) -> Echo | None:
    """Return the echo of clicks that were handed over on known samples; None if there is none.

    Args:
        heard: the input, shape (n,).
        due: samples of it on which each click's start was handed over, in order.
        rate: samples per second.
        note_db: level of a held note in dBFS; None if there was none.
    """
    try:
        trip = estimate_round_trip(heard, due, rate)
    except SoundError:
        return None
    if trip.heard < PARAMETERS.min_heard:
        return None
    lag, size = round(trip.latency_ms * rate / 1000.0), round(PARAMETERS.frame_s * rate)
    starts = [start + lag for start in due]
    with_click = [_power(heard[start : start + size]) for start in starts]
    before = [_power(heard[max(0, start - 2 * size) : start - size]) for start in starts]
    power = float(np.median(with_click)) - float(np.median(before))
    if power <= 0.0:
        return None
    level_db = 10.0 * float(np.log10(power))
    return Echo(trip.latency_ms, level_db, None if note_db is None else note_db - level_db)


def _power(samples: Floats) -> float:
    return float(np.mean(samples**2)) if len(samples) else 0.0
