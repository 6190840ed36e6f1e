"""A passage of a recording, played through the computer's output while it is read."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from trainer.core.types import Samples
from trainer.sound.block import Block
from trainer.sound.errors import DeviceError
from trainer.sound.sources.recording import Recording
from trainer.sound.speaker import Speaker

_AHEAD_S = 0.5
"""Sound given to the output before it is heard, in seconds."""
_TAIL_S = 0.4
"""Silence after the passage, in seconds, so that its end is heard before the output is closed."""
_FADE_S = 0.015
"""Fade at each end of the passage, in seconds, where it is cut out of sound."""
_PATIENCE_S = 3.0
"""Time in which the output must take some sound, in seconds."""
_POLL_S = 0.01


class Replay(Recording):
    """A source that reads a passage of a recording at its own pace and plays it.

    Of a saved take it plays what the microphone heard, without the reference signal.
    """

    is_paced = True

    def __init__(
        self,
        path: Path,
        channel: int | None = None,
        first: float = 0.0,
        last: float | None = None,
        output: str | int | None = None,
    ) -> None:
        """Open a recording and an output.

        Args:
            path: as in :class:`trainer.sound.Recording`.
            channel: as in :class:`trainer.sound.Recording`.
            first: second from which it is played.
            last: second to which it is played; None plays it to its end.
            output: the device, by name, part of it or number; None is the system's default.

        Raises:
            SoundError: the recording cannot be read.
            DeviceError: there is no output.
        """
        super().__init__(path, channel)
        self._first = round(first * self.rate)
        self._last = None if last is None else round(last * self.rate)
        self._closed = False
        try:
            self._speaker = Speaker(output, self.rate)
        except DeviceError:
            super().close()
            raise

    def blocks(self) -> Iterator[Block]:
        """Yield the blocks of the passage, each as it goes to the output, until it has been heard.

        Raises:
            SoundError: it cannot be read to its end; everything before was yielded.
            DeviceError: the output takes no more sound.
        """
        for block in super().blocks():
            if block.end <= self._first:
                continue
            if self._last is not None and block.start >= self._last:
                break
            self._wait(round(_AHEAD_S * self.rate))
            if self._closed:
                return
            self._speaker.play(self._faded(block))
            yield block
        self._wait(round(_AHEAD_S * self.rate))
        self._speaker.play(np.zeros(round(_TAIL_S * self.rate), np.float32))
        self._wait(0)

    def _faded(self, block: Block) -> Samples:
        at = np.arange(block.start, block.end)
        fade = _FADE_S * self.rate
        gain = np.clip((at - self._first) / fade, 0.0, 1.0) if self._first else np.ones(len(at))
        if self._last is not None:
            gain = gain * np.clip((self._last - at) / fade, 0.0, 1.0)
        return np.asarray(block.samples * gain, dtype=np.float32)

    def _wait(self, max_queued: int) -> None:
        """Wait until at most `max_queued` frames have not been heard yet, or it is closed."""
        queued, since = self._speaker.queued, time.monotonic()
        while self._speaker.queued > max_queued and not self._closed:
            time.sleep(_POLL_S)
            if self._speaker.queued != queued:
                queued, since = self._speaker.queued, time.monotonic()
            elif time.monotonic() > since + _PATIENCE_S:
                raise DeviceError("the output takes no more sound; check that it is connected")

    def close(self) -> None:
        """Stop playing, and close both. May be called twice."""
        if not self._closed:
            self._closed = True
            self._speaker.close()
        super().close()
