"""The click that beats time."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_LENGTH_S = 0.03
_ACCENT_HZ, _PLAIN_HZ = 2000.0, 1500.0
_ACCENT_PEAK, _PLAIN_PEAK = 0.3, 0.18


def click(rate: int, *, accented: bool) -> NDArray[np.float32]:
    """One click: a short burst that dies away, accented on the first beat of a bar.

    Returns:
        float32, shape (n,), 30 ms at `rate` samples a second, peak under -10 dBFS.
    """
    t = np.arange(round(_LENGTH_S * rate)) / rate
    hz, peak = (_ACCENT_HZ, _ACCENT_PEAK) if accented else (_PLAIN_HZ, _PLAIN_PEAK)
    fade = np.exp(-t / 0.006) * (1.0 - t / _LENGTH_S)
    return np.asarray(peak * fade * np.sin(2 * np.pi * hz * t), dtype=np.float32)


@dataclass(frozen=True, slots=True)
class ClickTrack:
    """Which beats are to be heard.

    Attributes:
        tempo: beats a minute.
        meter_beats: beats in a bar; the first of each is accented.
        count_in: beats of count-in.
        beats: how many beats click after it; 0 for the count-in alone.
        first: the drill's beat that follows the count-in; 0 unless the drill is entered later.
    """

    tempo: float
    meter_beats: int
    count_in: int
    beats: int
    first: int = 0

    @property
    def start(self) -> int:
        """The beat of the first click."""
        return self.first - self.count_in

    def add_to(self, out: NDArray[np.float32], first_frame: int, zero: int, rate: int) -> None:
        """Mix in the clicks that fall into a stretch.

        Args:
            out: frames, shape (n,), of which the first has the number `first_frame`; changed.
            zero: frame on which beat 0 falls.
            rate: frames a second.
        """
        spacing = 60.0 / self.tempo * rate
        length = round(_LENGTH_S * rate)
        low = math.ceil((first_frame - length - zero) / spacing)
        high = math.ceil((first_frame + len(out) - zero) / spacing)
        for beat in range(max(low, self.start), min(high, self.first + self.beats)):
            at = zero + round(beat * spacing) - first_frame
            sound = click(rate, accented=beat % self.meter_beats == 0)
            a, b = max(0, at), min(len(out), at + len(sound))
            if a < b:
                out[a:b] += sound[a - at : b - at]
