"""Sound played through the computer's output."""

from __future__ import annotations

from typing import Any

from trainer.core.types import Samples
from trainer.sound.devices import end_stream, load_portaudio, output_device
from trainer.sound.errors import DeviceError
from trainer.sound.ring_buffer import RingBuffer
from trainer.sound.stream_timing import StreamTiming

_BUFFER_S = 1.0
"""Length of the buffer before the output, in seconds."""


class Speaker:
    """An output for samples that come at about its own pace.

    It never blocks: samples that would wait for more than a second are dropped, and late ones
    leave a little silence. Frames are counted as they are given to :meth:`play`.

    Attributes:
        rate: samples per second.
        timing: when its frames are heard.
    """

    def __init__(
        self, output: str | int | None, rate: int | None = None, latency_s: float | None = None
    ) -> None:
        """Open an output, by name, part of a name or number; None is the system's default.

        Args:
            output: the device.
            rate: samples per second; None takes the device's own.
            latency_s: seconds from handing a frame over until it is heard; None takes what the
                driver reports.

        Raises:
            DeviceError: it is missing, or does not accept this rate.
        """
        sd = load_portaudio()
        device = output_device(output)
        self.rate = rate or device.rate
        self.timing = StreamTiming(self.rate)
        self._ring = ring = RingBuffer(round(_BUFFER_S * self.rate), 1)

        def callback(out: Samples, frames: int, when: Any, status: Any) -> None:
            audible_at = when.outputBufferDacTime
            if latency_s is not None or audible_at <= 0.0:
                audible_at = when.currentTime + (latency_s or 0.0)
            self.timing.add(ring.frames_read, audible_at)
            filled = ring.read(out)
            out[filled:] = 0.0
            if filled < frames:
                self.timing.restart()

        try:
            self._stream = sd.OutputStream(
                device=device.number,
                samplerate=self.rate,
                channels=1,
                latency="high",
                callback=callback,
            )
            self._stream.start()
        except sd.PortAudioError as error:
            raise DeviceError(f"the output {device.name} cannot be opened: {error}") from error

    @property
    def next_frame(self) -> int:
        """Number of the frame that :meth:`play` takes next."""
        return self._ring.frames_written

    @property
    def queued(self) -> int:
        """Frames given to :meth:`play` and not yet handed to the device."""
        return self._ring.available

    def play(self, samples: Samples) -> None:
        """Queue samples, shape (n,), after those before."""
        self._ring.write(samples[:, None])

    def close(self) -> None:
        """Close the device."""
        end_stream(self._stream, self.timing)
