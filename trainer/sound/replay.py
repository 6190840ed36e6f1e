"""A recording, let out through the computer's output."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np

from trainer.sound.errors import DeviceError
from trainer.sound.recording import Recording
from trainer.sound.speaker import Speaker

_AHEAD_S = 0.5
"""How much is given to the output before it is heard."""
_TAIL_S = 0.4
"""Silence after it, so that its end is heard before the output is closed."""
_PATIENCE_S = 3.0
_NAP_S = 0.01


def replay(path: Path, output: str | None = None) -> None:
    """Let a recording be heard, at its own pace, to its end.

    Of a saved take, what the microphone heard is played, and not what the trainer itself played.

    Args:
        path: the recording.
        output: the device, by name, part of it or number; None is the system's.

    Raises:
        SoundError: it cannot be read.
        DeviceError: there is no output, or it takes nothing any more.
    """
    recording = Recording(path)
    try:
        speaker = Speaker(output, recording.rate)
        try:
            for block in recording.blocks():
                _wait(speaker, round(_AHEAD_S * speaker.rate))
                speaker.play(block.samples)
            _wait(speaker, round(_AHEAD_S * speaker.rate))
            speaker.play(np.zeros(round(_TAIL_S * speaker.rate), np.float32))
            _wait(speaker, 0)
        finally:
            speaker.close()
    finally:
        recording.close()


def _wait(speaker: Speaker, frames: int) -> None:
    """Wait until no more frames than these are waiting to be heard."""
    waiting, since = speaker.waiting, time.monotonic()
    while speaker.waiting > frames:
        time.sleep(_NAP_S)
        if speaker.waiting != waiting:
            waiting, since = speaker.waiting, time.monotonic()
        elif time.monotonic() > since + _PATIENCE_S:
            raise DeviceError("the output takes no more sound; see whether it is connected")
