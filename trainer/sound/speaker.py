"""Sound let out through the computer's output."""

from __future__ import annotations

from typing import Any

import numpy as np

from trainer.sound.block import Samples
from trainer.sound.devices import output_device, portaudio
from trainer.sound.errors import SoundError
from trainer.sound.ring import Ring

_AHEAD_S = 0.1
"""Silence put first, so that a little unevenness is not heard."""
_HELD_S = 1.0


class Speaker:
    """An output for samples that come at about its own pace.

    It never waits: what comes while it is a second behind is not heard.
    """

    def __init__(self, output: str | int | None, rate: int) -> None:
        """Open an output, by name, part of a name or number; None is the system's.

        Raises:
            SoundError: there is none, or it does not take this rate.
        """
        sd = portaudio()
        device = output_device(output)
        self._ring = Ring(round(_HELD_S * rate), 1)
        self._ring.put(np.zeros((round(_AHEAD_S * rate), 1), np.float32))

        def callback(out: Samples, frames: int, when: Any, status: Any) -> None:
            out[self._ring.take(out) :] = 0.0

        try:
            self._stream = sd.OutputStream(
                device=device.number, samplerate=rate, channels=1, callback=callback
            )
            self._stream.start()
        except sd.PortAudioError as error:
            raise SoundError(f"the output {device.name} cannot be opened: {error}") from error

    def play(self, samples: Samples) -> None:
        """Let samples, shape (n,), be heard after those before."""
        self._ring.put(samples[:, None])

    def close(self) -> None:
        """Let go of the device."""
        self._stream.close()
