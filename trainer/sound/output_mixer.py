"""Clicks, tones, loops and the trainer's own steps, played on given samples of an input.

Input and output are two streams, each with its own frames. Both drivers report on one clock when a
frame was picked up and when one will be heard, which relates a sample of the input to the frame of
the output that is heard on it. That is looked up anew for every click and step, so that they stay
on their samples however the two devices drift.

The echo canceller gets what was played on the clock of the input, too. There, frames are counted
from a single look-up on: reported times wander by a millisecond or two within seconds (seen with
PulseAudio, where the true distance was constant to a hundredth of a sample), and a filter that has
learned an echo is upset more easily than a player.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Samples
from trainer.drill import BeatClock
from trainer.harp import Harp
from trainer.sound.accompaniment import Accompaniment, TrainerNote
from trainer.sound.block import REFERENCE_LEAD_S, round_to_24_bits
from trainer.sound.click import ClickTrack, click
from trainer.sound.passage import LoopGenerator, RenderedPassage
from trainer.sound.placed_sounds import PlacedSounds
from trainer.sound.speaker import Speaker
from trainer.sound.stream_timing import StreamTiming
from trainer.sound.tone import ToneGenerator


@dataclass(frozen=True, slots=True)
class OutputParameters:
    """Constants of the output mixer, in seconds."""

    ahead_s: float = 0.3
    """Sound given to the output ahead of time, so that a busy moment is not audible."""
    min_fill_s: float = 0.03
    """Shortest stretch that is rendered at a time."""
    history_s: float = 2.0
    """Output kept as a reference signal; blocks ask for it some 0.3 s after it was rendered."""
    loop_fade_s: float = 0.03
    """Fade-out of a loop that is broken off."""
    max_slip_s: float = 0.01
    """Difference between counted and reported frames from which frames were lost, or the clocks
    have drifted, and the reference is aligned anew."""


PARAMETERS = OutputParameters()


class OutputMixer:
    """Keeps an output filled: silence, with clicks, tones, loops and steps in it."""

    def __init__(self, speaker: Speaker, input_timing: StreamTiming, rate: int) -> None:
        """Get ready.

        Args:
            speaker: the output, which :meth:`close` closes.
            input_timing: when the samples of the input were picked up.
            rate: samples per second of the input.
        """
        self._speaker, self._input_timing, self._input_rate = speaker, input_timing, rate
        self._clicks: deque[tuple[int, bool]] = deque()
        self._placed_clicks = PlacedSounds(speaker.rate)
        self._steps = Accompaniment(speaker.rate)
        self._recording = PlacedSounds(speaker.rate)
        self._tone = ToneGenerator(speaker.rate)
        self._loop = LoopGenerator(round(PARAMETERS.loop_fade_s * speaker.rate))
        self._loop_start: int | None = None
        self._history = np.zeros(round(PARAMETERS.history_s * speaker.rate), dtype=np.float32)
        self._silent_from = 0
        self._offset: float | None = None

    @property
    def rate(self) -> int:
        """Samples per second of the output."""
        return self._speaker.rate

    @property
    def is_timed(self) -> bool:
        """Whether it is known when its sound is heard."""
        return self._speaker.timing.count > 0

    @property
    def earliest(self) -> int:
        """First sample of the input on which a click can still be heard."""
        frame = self._speaker.next_frame + PARAMETERS.ahead_s * self._speaker.rate
        return round(self._input_timing.frame_at(self._speaker.timing.time_of(frame)))

    def add_clicks(self, track: ClickTrack, zero: int) -> None:
        """Click the beats of a track after those before, with beat 0 on the sample `zero`."""
        self._clicks.extend(track.beats_from(zero, self._input_rate))

    def add_steps(self, harp: Harp, clock: BeatClock, steps: Sequence[TrainerNote]) -> None:
        """Play steps and notes of a ground after those before, each from its sample of the input.

        Raises:
            HarpError: the harp cannot play one.
        """
        self._steps.add(harp, clock, steps)

    def add_recording(self, samples: Samples, at: int) -> None:
        """Play a recording, shape (n,), from a sample of the input on."""
        self._recording.place(self._frame_of(at), samples)

    def stop(self) -> None:
        """End the clicks, the steps and the recording."""
        self._clicks.clear()
        self._recording.stop(self._speaker.next_frame)
        self._steps.stop(self._speaker.next_frame)

    def set_tones(self, hz: tuple[float, ...]) -> None:
        """Play tones from the next samples on, until others are set; none ends them."""
        self._tone.set_pitches(hz)

    def set_loop(self, passage: RenderedPassage | None) -> None:
        """Loop a passage from the next samples on; None ends it."""
        self._loop.set_passage(passage)

    def started_loop(self) -> int | None:
        """Return the sample of the input on which the newest loop begins to be heard, once."""
        frame, self._loop_start = self._loop_start, None
        if frame is None:
            return None
        return round(self._input_timing.frame_at(self._speaker.timing.time_of(frame)))

    def fill(self) -> None:
        """Give the output what it needs; must be called more often than it runs dry."""
        rate = self._speaker.rate
        count = round(PARAMETERS.ahead_s * rate) - self._speaker.queued
        if count < PARAMETERS.min_fill_s * rate:
            return
        first = self._speaker.next_frame
        self._place_clicks(first + count)
        out = np.zeros(count, dtype=np.float32)
        self._placed_clicks.mix(out, first)
        self._steps.mix(out, first, self._frame_of)
        self._recording.mix(out, first)
        self._tone.mix_into(out)
        loop_start = self._loop.mix_into(out, first)
        self._loop_start = self._loop_start if loop_start is None else loop_start
        np.clip(out, -1.0, 1.0, out=out)
        self._speaker.play(out)
        self._history[np.arange(first, first + count) % len(self._history)] = out
        if out.any():
            self._silent_from = first + count

    def reference(self, start: int, count: int) -> Samples | None:
        """Return what the output was given for a stretch of the input.

        Args:
            start: number of its first sample.
            count: number of samples.

        Returns:
            As :attr:`trainer.sound.Block.reference`: shape (count,), or None for silence.
        """
        lead = REFERENCE_LEAD_S * self.rate
        reported = self._speaker.timing.frame_at(self._input_timing.time_of(start)) + lead
        ratio = self.rate / self._input_rate
        if self._offset is None or abs(start * ratio + self._offset - reported) > (
            PARAMETERS.max_slip_s * self.rate
        ):
            self._offset = reported - start * ratio
        first = start * ratio + self._offset
        if first - 2.0 > self._silent_from:
            return None
        samples = round_to_24_bits(self._interpolated(first + ratio * np.arange(count)))
        return samples if samples.any() else None

    def _interpolated(self, at: NDArray[np.floating[Any]]) -> NDArray[np.floating[Any]]:
        """Return the output's history between frames, by cubic Lagrange interpolation."""
        whole = np.floor(at).astype(np.int64)
        x = at - whole
        frames = whole[:, None] + np.arange(-1, 3)
        known = (frames >= 0) & (frames < self._speaker.next_frame)
        four = np.where(known, self._history[frames % len(self._history)], 0.0)
        weights = (
            -x * (x - 1.0) * (x - 2.0) / 6.0,
            (x + 1.0) * (x - 1.0) * (x - 2.0) / 2.0,
            -(x + 1.0) * x * (x - 2.0) / 2.0,
            (x + 1.0) * x * (x - 1.0) / 6.0,
        )
        return np.sum(four * np.stack(weights, axis=1), axis=1)

    def _place_clicks(self, end: int) -> None:
        """Find the output frame of each click that starts before the frame `end`."""
        while self._clicks:
            sample, accented = self._clicks[0]
            frame = self._frame_of(sample)
            if frame >= end:
                return
            self._clicks.popleft()
            self._placed_clicks.place(frame, click(self._speaker.rate, accented=accented))

    def _frame_of(self, sample: int) -> int:
        """Return the frame of the output that is heard on a sample of the input, as known now."""
        return round(self._speaker.timing.frame_at(self._input_timing.time_of(sample)))

    def close(self) -> None:
        """Close the output."""
        self._speaker.close()
