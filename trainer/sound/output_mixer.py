"""Clicks, and steps that the trainer plays, heard on given samples of an input.

Input and output are two streams, each with its own frames. Both drivers say on one clock when a
frame was picked up and when one will be heard; that ties a sample of the input to the frame of
the output that is heard on it. It is looked up afresh for every click and every step, so that
they stay on their samples however the two devices drift.

What was played is told to whoever cancels its echo on the clock of the input, too. There frames
are counted from one look-up on: what drivers say wanders by a millisecond or two within seconds
(seen with PulseAudio, where the true distance stayed within a hundredth of a sample), and a filter
that has learned an echo is more easily upset than a drummer.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Samples
from trainer.drill import BeatClock, Step
from trainer.harp import Harp
from trainer.sound.accompaniment import Accompaniment
from trainer.sound.block import REFERENCE_LEAD_S, round_to_24_bits
from trainer.sound.click import ClickTrack, click, mix
from trainer.sound.passage import LoopGenerator, RenderedPassage
from trainer.sound.speaker import Speaker
from trainer.sound.stream_timing import StreamTiming
from trainer.sound.tone import ToneGenerator

_AHEAD_S = 0.3
"""How much is given to the output ahead of time, so that a busy moment is not heard."""
_LEAST_S = 0.03
"""Less than this is not worth giving at a time."""
_REMEMBERED_S = 2.0
"""What was played is remembered for so long; a block asks for it some 0.3 s after it was given."""
_LOOP_FADE_S = 0.03
_SLIPPED_S = 0.01
"""Where counting and drivers differ by more, frames were lost, or the clocks have drifted."""


class OutputMixer:
    """Keeps an output filled: silence, with clicks, tones and steps in it."""

    def __init__(self, speaker: Speaker, heard: StreamTiming, rate: int) -> None:
        """Get ready.

        Args:
            speaker: where it is heard; let go of by :meth:`close`.
            heard: when the samples of the input were picked up.
            rate: samples a second of the input.
        """
        self._speaker, self._heard, self._rate = speaker, heard, rate
        self._beats: deque[tuple[int, bool]] = deque()
        self._mixed: list[tuple[int, Samples]] = []
        self._steps = Accompaniment(speaker.rate)
        self._drone = ToneGenerator(speaker.rate)
        self._loop = LoopGenerator(round(_LOOP_FADE_S * speaker.rate))
        self._loop_began: int | None = None
        self._given = np.zeros(round(_REMEMBERED_S * speaker.rate), dtype=np.float32)
        self._sounded = 0
        self._offset: float | None = None

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

    def accompany(self, harp: Harp, clock: BeatClock, steps: Sequence[Step]) -> None:
        """Play steps after those that are on, each from its sample of the input.

        Raises:
            HarpError: the harp cannot play one.
        """
        self._steps.add(harp, clock, steps)

    def stop(self) -> None:
        """Click no further beats, and play no further steps."""
        self._beats.clear()
        self._steps.stop(self._speaker.next_frame)

    def sound(self, hz: float | None) -> None:
        """Let a tone be heard from the next samples on, until another is; None ends it."""
        self._drone.turn_to(hz)

    def loop(self, one: RenderedPassage | None) -> None:
        """Let a round be heard again and again from the next samples on; None ends that."""
        self._loop.turn_to(one)

    def loop_began(self) -> int | None:
        """The sample of the input on which the loop in hand is first heard; told once."""
        frame, self._loop_began = self._loop_began, None
        if frame is None:
            return None
        return round(self._heard.frame_at(self._speaker.timing.time_of(frame)))

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
        self._steps.mix(out, first, self._frame_of)
        self._drone.add_to(out)
        begun = self._loop.add_to(out, first)
        self._loop_began = self._loop_began if begun is None else begun
        np.clip(out, -1.0, 1.0, out=out)
        self._speaker.play(out)
        self._given[np.arange(first, first + count) % len(self._given)] = out
        if out.any():
            self._sounded = first + count

    def reference(self, start: int, count: int) -> Samples | None:
        """What the output was given for a stretch of the input.

        Args:
            start: number of its first sample.
            count: how many.

        Returns:
            as :attr:`trainer.sound.Block.reference`: shape (count,), or None for silence.
        """
        ahead = REFERENCE_LEAD_S * self.rate
        told = self._speaker.timing.frame_at(self._heard.time_of(start)) + ahead
        ratio = self.rate / self._rate
        if self._offset is None or abs(start * ratio + self._offset - told) > (
            _SLIPPED_S * self.rate
        ):
            self._offset = told - start * ratio
        first = start * ratio + self._offset
        if first - 2.0 > self._sounded:
            return None
        samples = round_to_24_bits(self._between(first + ratio * np.arange(count)))
        return samples if samples.any() else None

    def _between(self, at: NDArray[np.floating[Any]]) -> NDArray[np.floating[Any]]:
        """What was given at places between frames, by cubic interpolation (Lagrange)."""
        whole = np.floor(at).astype(np.int64)
        x = at - whole
        frames = whole[:, None] + np.arange(-1, 3)
        known = (frames >= 0) & (frames < self._speaker.next_frame)
        four = np.where(known, self._given[frames % len(self._given)], 0.0)
        weights = (
            -x * (x - 1.0) * (x - 2.0) / 6.0,
            (x + 1.0) * (x - 1.0) * (x - 2.0) / 2.0,
            -(x + 1.0) * x * (x - 2.0) / 2.0,
            (x + 1.0) * x * (x - 1.0) / 6.0,
        )
        return np.sum(four * np.stack(weights, axis=1), axis=1)

    def _place_beats(self, end: int) -> None:
        """Find the output frame of each beat that starts before the frame `end`."""
        while self._beats:
            sample, accented = self._beats[0]
            frame = self._frame_of(sample)
            if frame >= end:
                return
            self._beats.popleft()
            self._mixed.append((frame, click(self._speaker.rate, accented=accented)))

    def _frame_of(self, sample: int) -> int:
        """The frame of the output that is heard on a sample of the input, as is known now."""
        return round(self._speaker.timing.frame_at(self._heard.time_of(sample)))

    def close(self) -> None:
        """Let go of the output."""
        self._speaker.close()
