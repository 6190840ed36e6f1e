"""A passage of a recording, rendered slower or faster, its pitch kept or shifted, for a loop.

Time is stretched by Rubber Band's finer engine (through pedalboard). Of the libraries compared by
``python -m benchmarks.stretch``, it shifts the pitch most exactly and keeps attacks sharp. Where
the output has another sample rate, soxr resamples.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from trainer.core.types import Samples
from trainer.sound.click import click, mix
from trainer.sound.errors import SoundError
from trainer.sound.sources.recording import Recording
from trainer.sound.speaker import Speaker


@dataclass(frozen=True, slots=True)
class PassageLimits:
    """Limits of passages, chosen by hand: how far they still sound well, and what memory holds."""

    min_speed: float = 0.4
    """Lowest speed, relative to the recorded speed."""
    max_speed: float = 1.2
    """Highest speed, relative to the recorded speed."""
    max_half_steps: float = 24.0
    """Largest shift of pitch, in half steps, either way."""
    min_length_s: float = 0.2
    """Shortest passage, in seconds at the recorded speed."""
    max_length_s: float = 600.0
    """Longest passage, in seconds at the recorded speed."""


PASSAGE_LIMITS = PassageLimits()
"""The limits in use."""

MARGIN_S = 0.2
"""Sound stretched on each side of the passage, in seconds, so that the engine's own fade falls
outside."""
FADE_S = 0.008
"""Fade at each end of a round, in seconds, so that its seam is no click."""
AHEAD_S = 0.2
"""Sound given to an output before it is heard, in seconds."""


@dataclass(frozen=True, slots=True)
class Passage:
    """A passage of a recording, and how it is played.

    Attributes:
        path: the recording.
        first, last: seconds between which it lies.
        speed: relative to the recorded speed, 0.4 to 1.2.
        half_steps: shift of the pitch, -24 to 24, fractions allowed; 0 keeps the pitch.
        channel: as in :class:`trainer.sound.RecordingSpec`.
        tempo: beats per minute of its count-in, at the recorded speed.
        count_in: beats before the first round; 0 for none.
    """

    path: Path
    first: float
    last: float
    speed: float = 1.0
    half_steps: float = 0.0
    channel: int | None = None
    tempo: float = 90.0
    count_in: int = 0

    @property
    def seconds(self) -> float:
        """Length of a round, in seconds."""
        return (self.last - self.first) / self.speed

    @property
    def lead_s(self) -> float:
        """Length of the count-in, in seconds."""
        return self.count_in * 60.0 / (self.tempo * self.speed)


@dataclass(frozen=True, slots=True)
class RenderedPassage:
    """A passage, ready to be played.

    Attributes:
        lead: the count-in, float32, shape (n,).
        samples: the round that repeats, float32, shape (m,).
        rate: samples per second.
    """

    lead: Samples
    samples: Samples
    rate: int


def validate_passage(passage: Passage) -> None:
    """Check that a passage can be played.

    Raises:
        SoundError: a number is out of range; the message gives the range.
    """
    limits = PASSAGE_LIMITS
    length = passage.last - passage.first
    if passage.first < 0.0 or not limits.min_length_s <= length <= limits.max_length_s:
        raise SoundError(
            f"a passage from {passage.first:g} to {passage.last:g} s cannot be played; take one of "
            f"{limits.min_length_s:g} to {limits.max_length_s:g} s"
        )
    if not limits.min_speed <= passage.speed <= limits.max_speed:
        raise SoundError(
            f"a speed of {100.0 * passage.speed:g} % is out of range; take "
            f"{100 * limits.min_speed:g} to {100 * limits.max_speed:g} %"
        )
    if abs(passage.half_steps) > limits.max_half_steps:
        raise SoundError(
            f"{passage.half_steps:g} half steps is too far; take {-limits.max_half_steps:g} to "
            f"{limits.max_half_steps:g}"
        )


def render_passage(
    passage: Passage,
    rate: int | None = None,
    edit: Callable[[Samples, int, float], Samples] | None = None,
) -> RenderedPassage:
    """Render a passage.

    Args:
        passage: what is wanted.
        rate: samples per second; None keeps the recording's.
        edit: returns the recorded samples, shape (n,), as they are wanted, given their rate and the
            second of the recording on which they begin; None keeps them.

    Raises:
        SoundError: a number is out of range, see :func:`validate_passage`; or the recording cannot
            be read, or ends before the passage.
    """
    validate_passage(passage)
    sound, before_s, recorded_rate = _read(passage)
    if edit is not None:
        sound = edit(sound, recorded_rate, passage.first - before_s)
    if passage.speed != 1.0 or passage.half_steps:
        sound = _stretched(sound, recorded_rate, passage.speed, passage.half_steps)
    first = round(before_s / passage.speed * recorded_rate)
    sound = sound[first : first + round(passage.seconds * recorded_rate)]
    wanted_rate = rate or recorded_rate
    if wanted_rate != recorded_rate:
        sound = resample(sound, recorded_rate, wanted_rate)
    fade = max(1, round(FADE_S * wanted_rate))
    ramp = np.clip(np.arange(1, len(sound) + 1) / fade, 0.0, 1.0)
    sound = np.asarray(sound * ramp * ramp[::-1], np.float32)
    return RenderedPassage(_count_in(passage, wanted_rate), sound, wanted_rate)


def _read(passage: Passage) -> tuple[Samples, float, int]:
    """Read the passage with a margin around it.

    Returns:
        The samples, the length of the margin before the passage in seconds, and the rate.
    """
    recording = Recording(passage.path, passage.channel)
    try:
        rate = recording.rate
        first = max(0, round((passage.first - MARGIN_S) * rate))
        last = round((passage.last + MARGIN_S) * rate)
        parts, reached = [], 0
        for block in recording.blocks():
            if block.start >= last:
                break
            reached = min(block.end, last)
            if block.end > first:
                parts.append(block.samples[max(0, first - block.start) : last - block.start])
    finally:
        recording.close()
    if reached <= round((passage.first + PASSAGE_LIMITS.min_length_s) * rate):
        raise SoundError(
            f"{passage.path.name} is {reached / rate:.1f} s long; nothing is in it from second "
            f"{passage.first:g} on"
        )
    missing = np.zeros(max(0, last - reached), np.float32)
    return np.concatenate([*parts, missing]), passage.first - first / rate, rate


def _stretched(sound: Samples, rate: int, speed: float, half_steps: float) -> Samples:
    from pedalboard import time_stretch

    stretched = time_stretch(
        sound, float(rate), speed, half_steps, high_quality=True, transient_mode="crisp"
    )
    return np.asarray(stretched[0], np.float32)


def resample(sound: Samples, rate: int, wanted_rate: int) -> Samples:
    """Return samples, shape (n,), at another sample rate."""
    import soxr

    return np.asarray(soxr.resample(sound, rate, wanted_rate, quality="VHQ"), np.float32)


def _count_in(passage: Passage, rate: int) -> Samples:
    """Render the count-in, its first click accented."""
    lead = np.zeros(round(passage.lead_s * rate), np.float32)
    for beat in range(passage.count_in):
        at = round(beat * 60.0 / (passage.tempo * passage.speed) * rate)
        mix(lead, 0, click(rate, accented=beat == 0), at)
    return lead


def play_passage(
    passage: Passage, output: str | int | None, should_stop: Callable[[], object]
) -> None:
    """Play a passage again and again, until it must stop.

    Args:
        passage: what is played.
        output: the device, by name, part of it or number; None is the system's default.
        should_stop: called often.

    Raises:
        SoundError: as :func:`render_passage`.
        DeviceError: there is no output.
    """
    speaker = Speaker(output)
    try:
        generator = LoopGenerator(round(FADE_S * speaker.rate))
        generator.set_passage(render_passage(passage, speaker.rate))
        while not should_stop():
            count = round(AHEAD_S * speaker.rate) - speaker.queued
            if count > 0:
                out = np.zeros(count, np.float32)
                generator.mix_into(out, speaker.next_frame)
                speaker.play(out)
            time.sleep(AHEAD_S / 4.0)
    finally:
        speaker.close()


class LoopGenerator:
    """Generates a passage again and again, in stretches that join.

    One passage fades out before the next.

    Args:
        fade: length of the fade-out of a passage that is broken off, in frames.
    """

    def __init__(self, fade: int) -> None:
        self._fade = fade
        self._passage: RenderedPassage | None = None
        self._wanted: RenderedPassage | None = None
        self._at = 0
        self._fading = 0

    def set_passage(self, passage: RenderedPassage | None) -> None:
        """Change to another passage from the next stretch on; None ends the loop."""
        self._wanted = passage
        self._fading = self._fade if self._passage is not None else 0

    def mix_into(self, out: Samples, start: int) -> int | None:
        """Add the next stretch to samples, shape (n,), whose first has the number `start`.

        Returns:
            The frame on which a passage begins with its count-in, if one begins in this stretch.
        """
        done, begun = 0, None
        while done < len(out):
            if self._fading:
                count = min(len(out) - done, self._fading)
                ramp = (self._fading - np.arange(1, count + 1)) / self._fade
                out[done : done + count] += self._next(count) * ramp.astype(np.float32)
                self._fading -= count
                done += count
                continue
            if self._passage is not self._wanted:
                self._passage, self._at = self._wanted, 0
                begun = start + done if self._passage is not None else None
            if self._passage is not None:
                out[done:] += self._next(len(out) - done)
            done = len(out)
        return begun

    def _next(self, count: int) -> Samples:
        """Return the next frames of the current passage, shape (count,)."""
        assert self._passage is not None
        lead, repeated = self._passage.lead, self._passage.samples
        at = self._at + np.arange(count)
        self._at += count
        after = repeated[(at - len(lead)) % len(repeated)]
        if not len(lead):
            return after
        return np.where(at < len(lead), lead[np.minimum(at, len(lead) - 1)], after)
