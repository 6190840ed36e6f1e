"""The recording that a drill was written down from, played while the player plays along.

It is rendered once, at the tempo and in the key of a take. The clock of a pass has the recording's
own beats (:class:`trainer.drill.RecordedTempo`), so that a constant speed keeps the two together.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from trainer.core.types import Samples
from trainer.drill import Drill, DrillRecording, Step
from trainer.harp import Harp, parse_key
from trainer.sound.errors import SoundError
from trainer.sound.harp_fader import FadedNote, fade_harp
from trainer.sound.passage import FADE_S, Passage, render_passage, resample
from trainer.sound.sources.recording import Recording

GAIN = 0.7
"""Factor by which it is played softer, so that clicks and tones beside it do not clip. Chosen."""


@dataclass(frozen=True, slots=True)
class PlayAlong:
    """A drill's recording, rendered for a take.

    Attributes:
        drill: the drill; it has a recording.
        samples: float32, shape (n,), from its second `begin` on.
        rate: samples per second.
        begin: second of the recording.
        speed: relative to the recorded speed.
    """

    drill: Drill
    samples: Samples
    rate: int
    begin: float
    speed: float

    def at_rate(self, rate: int) -> PlayAlong:
        """Return it at another sample rate."""
        if rate == self.rate:
            return self
        return replace(self, samples=resample(self.samples, self.rate, rate), rate=rate)

    def bars(self, bars: tuple[int, int] | None) -> tuple[float, Samples]:
        """Return the sound of a pass.

        Args:
            bars: first and last bar, counted from 1; None for all.

        Returns:
            The beat on which it begins, and its samples, shape (n,).
        """
        first_bar, last_bar = bars or (1, self.drill.bars)
        first = float(self.drill.entry_beat(first_bar))
        last = float(last_bar * self.drill.meter[0])
        recording = _recording(self.drill)
        start, end = (self._frame(recording.second(beat)) for beat in (first, last))
        if start < 0:  # the drill begins before the recording
            first += (last - first) * -start / max(1, end - start)
            start = 0
        sound = self.samples[start : max(start, end)].copy()
        fade = min(len(sound) // 2, round(FADE_S * self.rate))
        ramp = np.arange(1, fade + 1, dtype=np.float32) / max(1, fade)
        sound[:fade] *= ramp
        sound[len(sound) - fade :] *= ramp[::-1]
        return first, sound

    def _frame(self, second: float) -> int:
        """Return the sample of a second of the recording; negative before it."""
        return round((second - self.begin) / self.speed * self.rate)


def _recording(drill: Drill) -> DrillRecording:
    assert drill.recording is not None
    return drill.recording


def render_play_along(drill: Drill, harp: Harp, tempo: float | None) -> PlayAlong | None:
    """Render a drill's recording.

    Args:
        drill: the drill.
        harp: the selected harp; the recording is transposed from the drill's harp to it.
        tempo: beats per minute of the take; None takes the drill's.

    Returns:
        The recording at its own sample rate; None where the drill has none.

    Raises:
        SoundError: it is not there or cannot be read, or the tempo is too far from its own.
    """
    recording = drill.recording
    if recording is None:
        return None
    speed = (tempo or drill.tempo) / drill.tempo
    half_steps = float(parse_key(drill.key).half_steps_to(harp.key))
    begin = max(0.0, recording.second(float(drill.entry_beat(1))))
    end = recording.second(float(drill.bars * drill.meter[0]))
    if not recording.path.exists():
        raise SoundError(
            f"the recording {recording.path} of {drill.name} is not there; put it back, or play "
            "without it (--no-recording)"
        )
    source = Recording(recording.path, recording.channel)
    frames, rate = source.frames, source.rate
    source.close()
    if frames is not None:
        end = min(end, frames / rate)
    passage = Passage(recording.path, begin, end, speed, half_steps, recording.channel)
    faded = _fader(drill, recording) if recording.fade_db else None
    rendered = render_passage(passage, edit=faded)
    return PlayAlong(drill, GAIN * rendered.samples, rendered.rate, begin, speed)


def _fader(drill: Drill, recording: DrillRecording) -> Callable[[Samples, int, float], Samples]:
    """Return how the drill's notes are turned down in its recording."""
    harp = Harp.of(drill.key, drill.tuning)

    def fade(sound: Samples, rate: int, begin: float) -> Samples:
        notes = [
            FadedNote(recording.second(step.start) - begin, recording.second(step.end) - begin, *hz)
            for step in (*drill.steps, *drill.second)
            for hz in _compasses(harp, step)
        ]
        return fade_harp(sound, rate, notes, recording.fade_db)

    return fade


def _compasses(harp: Harp, step: Step) -> list[tuple[float, float]]:
    """Return the lowest and highest f0 in Hz of each reed of a step; a glide is one reed's."""
    hz = [harp.hz(tab) for tab in step.tabs]
    if all(len(sound) == 1 for sound in step.sounds):
        return [(min(hz), max(hz))]
    return [(each, each) for each in hz]
