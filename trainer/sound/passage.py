"""A passage of a recording, made slower or faster, its pitch kept or moved, to be heard in a loop.

Time is stretched by Rubber Band's finer engine (by way of pedalboard): of the libraries that
``python -m benchmarks.stretch`` compares, it moves the pitch most exactly and keeps attacks as
sharp as they are.
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

SLOWEST, FASTEST = 0.4, 1.2
MOST_HALF_STEPS = 24.0
SHORTEST_S, LONGEST_S = 0.2, 600.0
AROUND_S = 0.2
"""What is stretched along on each side, so that the passage does not begin in the engine's own
fade."""
FADE_S = 0.008
"""In so long a round comes and goes, so that its seam is not heard as a click."""


AHEAD_S = 0.2
"""So much is given to an output before it is heard."""


@dataclass(frozen=True, slots=True)
class Passage:
    """A passage, and how it is to be heard.

    Attributes:
        path: the recording.
        first, last: seconds between which it lies.
        speed: times the recorded speed, 0.4 to 1.2.
        half_steps: by which it is higher, -24 to 24, fractions too; 0 keeps the pitch.
        channel: as in :class:`trainer.sound.RecordingSpec`.
        tempo: beats a minute of its count-in, at the recorded speed.
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
        """How long a round lasts."""
        return (self.last - self.first) / self.speed

    @property
    def lead_s(self) -> float:
        """How long the count-in lasts."""
        return self.count_in * 60.0 / (self.tempo * self.speed)


@dataclass(frozen=True, slots=True)
class RenderedPassage:
    """A passage, ready to be heard.

    Attributes:
        lead: the count-in, float32, shape (n,).
        samples: what is heard again and again, likewise.
        rate: samples a second.
    """

    lead: Samples
    samples: Samples
    rate: int


def validate_passage(passage: Passage) -> None:
    """Check that a passage can be heard.

    Raises:
        SoundError: a figure is out of its range; the message says which, and what may be.
    """
    length = passage.last - passage.first
    if passage.first < 0.0 or not SHORTEST_S <= length <= LONGEST_S:
        raise SoundError(
            f"a passage from {passage.first:g} to {passage.last:g} s cannot be looped; take one of "
            f"{SHORTEST_S:g} to {LONGEST_S:g} s"
        )
    if not SLOWEST <= passage.speed <= FASTEST:
        raise SoundError(
            f"{100.0 * passage.speed:g} % is no speed that sounds well; take {100 * SLOWEST:g} to "
            f"{100 * FASTEST:g} %"
        )
    if abs(passage.half_steps) > MOST_HALF_STEPS:
        raise SoundError(
            f"{passage.half_steps:g} half steps is too far; take {-MOST_HALF_STEPS:g} to "
            f"{MOST_HALF_STEPS:g}"
        )


def render_passage(passage: Passage, rate: int | None = None) -> RenderedPassage:
    """A passage, ready to be heard.

    Args:
        passage: what is wanted.
        rate: samples a second; None keeps the recording's.

    Raises:
        SoundError: invalid, see :func:`validate_passage`; the recording cannot be read, or ends
            before it.
    """
    validate_passage(passage)
    sound, before, own_rate = _read(passage)
    if passage.speed != 1.0 or passage.half_steps:
        sound = _stretched(sound, own_rate, passage.speed, passage.half_steps)
    first = round(before / passage.speed * own_rate)
    sound = sound[first : first + round(passage.seconds * own_rate)]
    wanted = rate or own_rate
    if wanted != own_rate:
        sound = _resampled(sound, round(len(sound) * wanted / own_rate))
    fade = max(1, round(FADE_S * wanted))
    ramp = np.clip(np.arange(1, len(sound) + 1) / fade, 0.0, 1.0)
    sound = np.asarray(sound * ramp * ramp[::-1], np.float32)
    return RenderedPassage(_clicks(passage, wanted), sound, wanted)


def _read(passage: Passage) -> tuple[Samples, float, int]:
    """The passage with a little around it, how much that is before it, seconds, and its rate."""
    recording = Recording(passage.path, passage.channel)
    try:
        rate = recording.rate
        first = max(0, round((passage.first - AROUND_S) * rate))
        last = round((passage.last + AROUND_S) * rate)
        parts, reached = [], 0
        for block in recording.blocks():
            if block.start >= last:
                break
            reached = min(block.end, last)
            if block.end > first:
                parts.append(block.samples[max(0, first - block.start) : last - block.start])
    finally:
        recording.close()
    if reached <= round((passage.first + SHORTEST_S) * rate):
        raise SoundError(
            f"{passage.path.name} is {reached / rate:.1f} s long; nothing is in it from second "
            f"{passage.first:g} on"
        )
    missing = np.zeros(max(0, last - reached), np.float32)
    return np.concatenate([*parts, missing]), passage.first - first / rate, rate


def _stretched(sound: Samples, rate: int, speed: float, half_steps: float) -> Samples:
    from pedalboard import time_stretch

    made = time_stretch(
        sound, float(rate), speed, half_steps, high_quality=True, transient_mode="crisp"
    )
    return np.asarray(made[0], np.float32)


def _resampled(sound: Samples, count: int) -> Samples:
    """The same at another rate, by its spectrum, which takes it for a period; it is one."""
    spectrum = np.fft.rfft(sound)
    bins = count // 2 + 1
    kept = np.zeros(bins, complex)
    shared = min(bins, len(spectrum))
    kept[:shared] = spectrum[:shared]
    return np.asarray(np.fft.irfft(kept, count) * (count / len(sound)), np.float32)


def _clicks(passage: Passage, rate: int) -> Samples:
    """The count-in, its first click accented."""
    lead = np.zeros(round(passage.lead_s * rate), np.float32)
    for beat in range(passage.count_in):
        at = round(beat * 60.0 / (passage.tempo * passage.speed) * rate)
        mix(lead, 0, click(rate, accented=beat == 0), at)
    return lead


def play_passage(passage: Passage, output: str | int | None, stopping: Callable[[], bool]) -> None:
    """Let a passage be heard again and again, until it is to stop.

    Args:
        passage: what is heard.
        output: the device, by name, part of it or number; None is the system's.
        stopping: asked often.

    Raises:
        SoundError: as :func:`render_passage`.
        DeviceError: there is no output.
    """
    speaker = Speaker(output)
    try:
        looped = LoopGenerator(round(FADE_S * speaker.rate))
        looped.turn_to(render_passage(passage, speaker.rate))
        while not stopping():
            count = round(AHEAD_S * speaker.rate) - speaker.waiting
            if count > 0:
                out = np.zeros(count, np.float32)
                looped.add_to(out, speaker.next_frame)
                speaker.play(out)
            time.sleep(AHEAD_S / 4.0)
    finally:
        speaker.close()


class LoopGenerator:
    """A round that is heard again and again, in stretches that join; one fades out before the
    next.

    Args:
        fade: frames in which it comes to an end where it is broken off.
    """

    def __init__(self, fade: int) -> None:
        self._fade = fade
        self._round: RenderedPassage | None = None
        self._wanted: RenderedPassage | None = None
        self._at = 0
        self._left = 0

    def turn_to(self, one: RenderedPassage | None) -> None:
        """Hear another from the next stretch on, or none."""
        self._wanted = one
        self._left = self._fade if self._round is not None else 0

    def add_to(self, out: Samples, start: int) -> int | None:
        """Add the next stretch to samples, shape (n,), whose first has the number `start`.

        Returns:
            the number of the frame on which a round that begins in it, begins with its count-in;
            None where none begins.
        """
        done, begun = 0, None
        while done < len(out):
            if self._left:
                count = min(len(out) - done, self._left)
                ramp = (self._left - np.arange(1, count + 1)) / self._fade
                out[done : done + count] += self._next(count) * ramp.astype(np.float32)
                self._left -= count
                done += count
                continue
            if self._round is not self._wanted:
                self._round, self._at = self._wanted, 0
                begun = start + done if self._round is not None else None
            if self._round is not None:
                out[done:] += self._next(len(out) - done)
            done = len(out)
        return begun

    def _next(self, count: int) -> Samples:
        """The next frames of the round in hand."""
        assert self._round is not None
        lead, again = self._round.lead, self._round.samples
        at = self._at + np.arange(count)
        self._at += count
        after = again[(at - len(lead)) % len(again)]
        if not len(lead):
            return after
        return np.where(at < len(lead), lead[np.minimum(at, len(lead) - 1)], after)
