"""The microphone as a source, and the clicks and steps that the trainer plays with it.

The audio callback copies into a ring buffer and does nothing else; whoever reads the blocks does
the rest. Drivers do not always say that a device is gone: it may be suspended, or replaced by
silence, with no flag raised. So a microphone counts as lost when its samples stop coming. What is
there when it is opened again may be another input that the system puts in its place, which is no
microphone: one that has ever given anything but zeros is back only when it does so again.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from trainer.core.types import Samples
from trainer.drill import BeatClock, Step
from trainer.harp import Harp
from trainer.sound.block import Block, round_to_24_bits
from trainer.sound.click import ClickTrack
from trainer.sound.devices import (
    Device,
    end_stream,
    input_device,
    is_served,
    load_portaudio,
    restart_portaudio,
)
from trainer.sound.errors import DeviceError, SoundError, SourceLost
from trainer.sound.output_mixer import OutputMixer
from trainer.sound.passage import Passage, render_passage
from trainer.sound.ring_buffer import RingBuffer
from trainer.sound.sources.spec import MicrophoneSpec
from trainer.sound.speaker import Speaker
from trainer.sound.stream_timing import StreamTiming

_RATES = (48_000, 44_100)
_MORE_RATES = (96_000, 32_000, 16_000)
_BLOCK_S = 1.0 / 375.0
_SERVED_BLOCK_S = 1.0 / 750.0
_SERVED_LATENCY_S = 0.003
"""What is asked of a sound server: by itself it would give 10 ms at a time."""
_MIXED = 2
"""So many channels are mixed at most: some virtual devices offer dozens, all the same."""
_MOST = 1024
"""The longest block that is given on, when several have gathered."""
_HELD_S = 10.0
_POLL_S = 0.001
_LOST_S = 0.4
_SILENT_S = 0.25
"""A live microphone gives something other than zeros within this time."""
_FIRST_S = 4.0
"""How long a device that was just opened may take; a virtual one takes up to two."""
_LEAD_S = 0.25


class Microphone:
    """A source that listens, and clicks and plays if it is asked to.

    What it plays comes back at the microphone from a loudspeaker, and only what the echo canceller
    cannot take out of it is taken for the player's; headphones keep it out altogether.

    Attributes:
        name: what it is, in words.
        rate: samples a second.
        lost: samples that came while there was no room for them; they are given on as silence,
            so that the clock stays right.
        overflows: how many times the driver said that it had to drop some; how many samples that
            were it does not say.
    """

    def __init__(
        self, spec: MicrophoneSpec, clicks: ClickTrack | None = None, harp: Harp | None = None
    ) -> None:
        """Open it and wait until it gives sound.

        Args:
            spec: which one, and how.
            clicks: the beats that :meth:`start_clock` starts; None if there are none yet.
            harp: what the trainer plays on, where it is to play steps; they are heard whether
                the spec wants clicks or not. None if it is to play none.

        Raises:
            DeviceError: PortAudio is missing; there is no such device; it cannot be opened; it
                gives nothing.
        """
        self._spec, self._clicks, self._harp = spec, clicks, harp
        self.rate = spec.rate or 0
        self.lost = self.overflows = 0
        self._given = 0
        self._captured = 0
        self._closed = self._alive = False
        self._stream: Any = None
        self._metronome: OutputMixer | None = None
        self._passage: Passage | None = None
        self._loop_trouble: str | None = None
        self._maker: threading.Thread | None = None
        self._making = threading.Lock()  # never held for long, and never by the audio callback
        self._open()

    @property
    def hears_clicks(self) -> bool:
        """Whether clicks are heard: they were asked for and there is an output."""
        return self._spec.clicks and self._metronome is not None

    @property
    def plays(self) -> bool:
        """Whether steps are heard: it was given a harp and there is an output."""
        return self._harp is not None and self._metronome is not None

    def start_clock(
        self,
        clicks: ClickTrack | None = None,
        *,
        after: int | None = None,
        own: Sequence[Step] = (),
    ) -> BeatClock:
        """Let beats begin as soon as they can be heard.

        Args:
            clicks: the beats; None takes those that the microphone was made with.
            after: the sample on which they may begin at the earliest, so that a pass follows on
                another in time; None begins at once and ends the clicks and steps that are on.
            own: steps that the trainer plays on these beats, in order of time, see
                :func:`trainer.sound.accompaniment_steps`; nothing happens where there is no output.

        Returns:
            where they fall in the blocks: a click sounds in them on its beat's sample, by the
            round trip of the spec or by what the drivers say of it.

        Raises:
            SoundError: there are no beats; or there are steps, and the microphone was given no
                harp.
            HarpError: the harp cannot play one of them.
        """
        track = clicks or self._clicks
        if track is None:
            raise SoundError("a clock needs beats; give the microphone a click track")
        if own and self._harp is None:
            raise SoundError("the trainer has steps to play and no harp; give the microphone one")
        first = max(after or 0, self._captured + round(_LEAD_S * self.rate))
        if self._metronome:
            self._metronome.fill()
            first = max(first, self._metronome.earliest)
        zero = first - round(track.start * 60.0 / track.tempo * self.rate)
        clock = track.clock(zero, self.rate)
        if self._metronome:
            if after is None:
                self._metronome.stop()
            if self._spec.clicks:
                self._metronome.beat(track, zero)
            if self._harp:
                self._metronome.accompany(self._harp, clock, own)
        return clock

    def hush(self) -> None:
        """End the clicks and steps that are on."""
        if self._metronome:
            self._metronome.stop()

    def sound_tone(self, hz: float | None) -> None:
        """Let a tone be heard from now on, until another is; None ends it. Nothing happens where
        there is no output."""
        if self._metronome:
            self._metronome.sound(hz)

    def sound_loop(self, passage: Passage | None) -> None:
        """Let a passage be heard again and again, as soon as it is ready; None ends that.

        It is made ready by a thread, since that takes a part of a second, and blocks go on
        meanwhile; :meth:`loop_begun` tells when it is heard.
        """
        with self._making:
            self._passage, self._loop_trouble = passage, None
            if self._metronome is None:
                self._loop_trouble = "there is no output to hear the passage on; connect one"
            elif passage is None:
                self._metronome.loop(None)
            elif self._maker is None:
                self._maker = threading.Thread(target=self._make_loops, daemon=True)
                self._maker.start()

    def loop_begun(self) -> tuple[Passage, int] | str | None:
        """The passage that has begun, and the sample on which its count-in does; or why it could
        not; each is told once."""
        trouble, self._loop_trouble = self._loop_trouble, None
        if trouble is not None:
            return trouble
        begun = self._metronome.loop_began() if self._metronome else None
        return None if begun is None or self._passage is None else (self._passage, begun)

    def _make_loops(self) -> None:
        """Make the passage that was asked for last ready, until no other was asked for meanwhile.

        One at a time: several at once would take the processor from whoever listens.
        """
        made: Passage | None = None
        while True:
            with self._making:
                wanted, metronome = self._passage, self._metronome
                if wanted is None or wanted is made or metronome is None:
                    self._maker = None
                    return
            made = wanted
            try:
                ready = render_passage(wanted, metronome.rate)
            except SoundError as error:
                self._loop_trouble = str(error)
                continue
            if self._passage is wanted:
                metronome.loop(ready)

    def blocks(self) -> Iterator[Block]:
        """Blocks as they come, until it is closed.

        Raises:
            SourceLost: no samples come any more; :meth:`reopen` may bring them back, and blocks
                go on from there.
        """
        quiet_s = 0.0
        while not self._closed:
            if metronome := self._metronome:  # another thread may close it meanwhile
                metronome.fill()
            if self._ring.held or self._gaps:
                quiet_s = 0.0
                yield self._next_block()
            elif self._ended or quiet_s > _LOST_S:
                raise SourceLost(
                    f"{self.name} gives no sound any more; is it still connected and switched on?"
                )
            else:
                quiet_s += _poll()

    def reopen(self) -> None:
        """Try to bring a lost device back; the count of samples goes on where it stopped.

        Raises:
            SourceLost: it is still not there.
        """
        self._let_go()
        try:
            self._open()
        except SourceLost:
            raise
        except DeviceError:
            # The list of devices is as old as PortAudio's start.
            try:
                restart_portaudio()
                self._open()
            except DeviceError as error:
                raise SourceLost(str(error)) from error

    def close(self) -> None:
        """Let go of the devices. May be called twice."""
        if not self._closed:
            self._closed = True
            self._let_go()

    def _open(self) -> None:
        """Open the input, and an output beside it."""
        device = input_device(self._spec.device)
        self.name = f"microphone {device.name}"
        channel = self._spec.channel
        channels = min(device.inputs, _MIXED) if channel is None else channel
        if not 1 <= channels <= device.inputs:
            raise DeviceError(
                f"the microphone {device.name} has no channel {channels}; it has "
                f"{device.inputs}, counted from 1"
            )
        rates = (self.rate,) if self.rate else (*_RATES, device.rate, *_MORE_RATES)
        self._stream = self._first_that_opens(device, channels, rates)
        if self._alive:
            self._wait_for_life(device)
        sounds = self._spec.clicks or self._harp is not None
        self._metronome = self._open_output() if sounds else None
        self._wait_for_sound(device)

    def _first_that_opens(self, device: Device, channels: int, rates: tuple[int, ...]) -> Any:
        """A running input stream at the first rate that the device takes."""
        sd = load_portaudio()
        served = is_served(device)
        refused: Exception | None = None
        for rate in rates:
            self._prepare(rate, channels)
            try:
                stream = sd.InputStream(
                    device=device.number,
                    samplerate=rate,
                    channels=channels,
                    dtype="float32",
                    blocksize=round((_SERVED_BLOCK_S if served else _BLOCK_S) * rate),
                    latency=_SERVED_LATENCY_S if served else "low",
                    callback=self._hear,
                    finished_callback=self._end,
                )
                stream.start()
            except sd.PortAudioError as error:
                refused = refused or error
            else:
                self.rate = rate
                return stream
        asked = f" at {self.rate} samples a second" if self.rate else ""
        raise DeviceError(
            f"the microphone {device.name} cannot be opened{asked}: "
            f"{refused.args[0] if refused else 'no rate to try'}; close other programs that use "
            "it, or choose another"
        ) from refused

    def _prepare(self, rate: int, channels: int) -> None:
        self._ring = RingBuffer(round(_HELD_S * rate), channels)
        self._taken = np.zeros((_MOST, channels), dtype=np.float32)
        self._gaps: deque[tuple[int, int]] = deque()
        self._dropped = 0
        self._captured = self._given
        self._ended = False
        self._timing = StreamTiming(rate)

    def _open_output(self) -> OutputMixer | None:
        """What clicks and plays; None if there is no output and none was named."""
        latency_ms = self._spec.latency_ms
        try:
            speaker = Speaker(
                self._spec.output, latency_s=None if latency_ms is None else latency_ms / 1000.0
            )
        except DeviceError:
            if self._spec.output is None or self._given:
                return None
            self._let_go()
            raise
        return OutputMixer(speaker, self._timing, self.rate)

    def _wait_for_life(self, device: Device) -> None:
        """Wait until an input shows by something other than zeros that it is a microphone."""
        waited = 0.0
        while self._ring.silent and not self._closed:
            if self._ring.held > _SILENT_S * self.rate or waited > _FIRST_S:
                self._let_go()
                raise SourceLost(f"the input {device.name} gives nothing but silence")
            waited += _poll()

    def _wait_for_sound(self, device: Device) -> None:
        """Wait until sound comes in, and until it is known when sound that goes out is heard."""
        waited = 0.0
        while waited < _FIRST_S and not self._closed:
            if self._metronome:
                self._metronome.fill()
            if self._ring.held and (not self._metronome or self._metronome.runs):
                return
            waited += _poll()
        if self._ring.held and self._metronome:
            self._metronome.close()
            self._metronome = None
        elif not self._closed:
            self._let_go()
            raise SourceLost(
                f"the microphone {device.name} opens but gives nothing; is it switched on, and "
                "not suspended?"
            )

    def _hear(self, frames: Samples, count: int, when: Any, status: Any) -> None:
        """The audio callback."""
        self.overflows += bool(status.input_overflow)
        picked_up = when.inputBufferAdcTime
        if self._spec.latency_ms is not None or picked_up <= 0.0:
            picked_up = when.currentTime
        self._timing.note(self._captured, picked_up)
        self._captured += count
        if self._ring.room < count:
            self._dropped += count
            self.lost += count
            return
        if self._dropped:
            self._gaps.append((self._ring.put_frames, self._dropped))
            self._dropped = 0
        self._ring.put(frames)

    def _end(self) -> None:
        self._ended = True

    def _next_block(self) -> Block:
        """What has come, or silence for what was lost before it."""
        held = self._ring.held  # read before the gaps: a gap is noted before what follows it
        until_gap = self._gaps[0][0] - self._ring.taken_frames if self._gaps else held
        if self._gaps and until_gap == 0:
            samples = np.zeros(self._gaps.popleft()[1], dtype=np.float32)
        else:
            taken = self._taken[: self._ring.take(self._taken[: min(held, until_gap)])]
            channel = self._spec.channel
            samples = round_to_24_bits(
                taken.mean(axis=1) if channel is None else taken[:, channel - 1]
            )
        self._alive = self._alive or bool(samples.any())
        metronome = self._metronome  # another thread may close it meanwhile
        own = metronome.reference(self._given, len(samples)) if metronome else None
        block = Block(self._given, samples, self.rate, own)
        self._given = block.end
        return block

    def _let_go(self) -> None:
        """Close the streams, if they are open."""
        if self._metronome:
            self._metronome.close()
            self._metronome = None
        if self._stream:
            end_stream(self._stream, self._timing)
            self._stream = None


def _poll() -> float:
    """Wait a moment; how much of it counts, so that a computer that slept is not a dead device."""
    began = time.monotonic()
    time.sleep(_POLL_S)
    return min(time.monotonic() - began, 0.02)
