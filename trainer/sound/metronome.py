"""Clicks that are heard on given samples of an input.

Input and output are two streams, each with its own frames. Both drivers say on one clock when a
frame was picked up and when one will be heard; that ties a sample of the input to the frame of
the output that is heard on it. It is looked up afresh for every click, so that clicks stay on
their samples however the two devices drift.
"""

from __future__ import annotations

from collections import deque

import numpy as np

from trainer.sound.block import Samples
from trainer.sound.click import ClickTrack, click, mix
from trainer.sound.speaker import Speaker
from trainer.sound.timing import Timing

_AHEAD_S = 0.3
"""How much is given to the output ahead of time, so that a busy moment is not heard."""
_LEAST_S = 0.03
"""Less than this is not worth giving at a time."""


class Metronome:
    """Keeps an output filled: silence, with clicks and tones in it."""

    def __init__(self, speaker: Speaker, heard: Timing, rate: int) -> None:
        """Get ready.

        Args:
            speaker: where it is heard; let go of by :meth:`close`.
            heard: when the samples of the input were picked up.
            rate: samples a second of the input.
        """
        self._speaker, self._heard, self._rate = speaker, heard, rate
        self._beats: deque[tuple[int, bool]] = deque()
        self._mixed: list[tuple[int, Samples]] = []

    @property
    def rate(self) -> int:
        """Samples a second of the output."""
        return self._speaker.rate

    @property
    def runs(self) -> bool:
        """Whether it is known when what it gives is heard."""
        return self._speaker.timing.notes > 0

    @property
    def earliest(self) -> int:
        """The first sample of the input on which a click can still be heard."""
        frame = self._speaker.next_frame + _AHEAD_S * self._speaker.rate
        return round(self._heard.frame_at(self._speaker.timing.time_of(frame)))

    def beat(self, track: ClickTrack, zero: int) -> None:
        """Click the beats of a track after those that are on, beat 0 on the sample `zero`."""
        self._beats.extend(track.beats_from(zero, self._rate))

    def stop(self) -> None:
        """Click no further beats."""
        self._beats.clear()

    def play(self, samples: Samples) -> None:
        """Let samples at the output's rate, shape (n,), be heard next, mixed with what is on."""
        self._mixed.append((self._speaker.next_frame, samples))

    def fill(self) -> None:
        """Give the output what it needs; to be called more often than it runs dry."""
        count = round(_AHEAD_S * self._speaker.rate) - self._speaker.waiting
        if count < _LEAST_S * self._speaker.rate:
            return
        first = self._speaker.next_frame
        self._place_beats(first + count)
        out = np.zeros(count, dtype=np.float32)
        for at, samples in self._mixed:
            mix(out, first, samples, at)
        self._mixed = [(at, s) for at, s in self._mixed if at + len(s) > first + count]
        self._speaker.play(np.clip(out, -1.0, 1.0))

    def _place_beats(self, end: int) -> None:
        """Find the output frame of each beat that starts before the frame `end`."""
        while self._beats:
            sample, accented = self._beats[0]
            frame = round(self._speaker.timing.frame_at(self._heard.time_of(sample)))
            if frame >= end:
                return
            self._beats.popleft()
            self._mixed.append((frame, click(self._speaker.rate, accented=accented)))

    def close(self) -> None:
        """Let go of the output."""
        self._speaker.close()
