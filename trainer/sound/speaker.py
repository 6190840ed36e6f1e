"""Sound let out through the computer's output."""

from __future__ import annotations

from typing import Any

from trainer.core.types import Samples
from trainer.sound.devices import end_stream, load_portaudio, output_device
from trainer.sound.errors import DeviceError
from trainer.sound.ring_buffer import RingBuffer
from trainer.sound.stream_timing import StreamTiming

_HELD_S = 1.0


class Speaker:
    """An output for samples that come at about its own pace.

    It never waits: what comes while it is a second behind is not heard, and what comes late
    leaves a little silence. Frames are counted as they are given to :meth:`play`.

    Attributes:
        rate: samples a second.
        timing: when its frames are heard.
    """

    def __init__(
        self, output: str | int | None, rate: int | None = None, latency_s: float | None = None
    ) -> None:
        """Open an output, by name, part of a name or number; None is the system's.

        Args:
            output: the device.
            rate: samples a second; None takes the device's own.
            latency_s: from handing a frame over until it is heard; None takes what the driver
                says.

        Raises:
            DeviceError: there is none, or it does not take this rate.
        """
        sd = load_portaudio()
        device = output_device(output)
        self.rate = rate or device.rate
        self.timing = StreamTiming(self.rate)
        self._ring = ring = RingBuffer(round(_HELD_S * self.rate), 1)

        def callback(out: Samples, frames: int, when: Any, status: Any) -> None:
            heard = when.outputBufferDacTime
            if latency_s is not None or heard <= 0.0:
                heard = when.currentTime + (latency_s or 0.0)
            self.timing.note(ring.taken_frames, heard)
            taken = ring.take(out)
            out[taken:] = 0.0
            if taken < frames:
                self.timing.forget()

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
        """Number of the frame that :meth:`play` gives next."""
        return self._ring.put_frames

    @property
    def waiting(self) -> int:
        """Frames that were given and not yet handed to the device."""
        return self._ring.held

    def play(self, samples: Samples) -> None:
        """Let samples, shape (n,), be heard after those before."""
        self._ring.put(samples[:, None])

    def close(self) -> None:
        """Let go of the device."""
        end_stream(self._stream, self.timing)
