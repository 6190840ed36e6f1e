"""The microphone as a source, with the clicks and steps that the trainer plays beside it.

The audio callback copies into a ring buffer and does nothing else; whoever reads the blocks does
the rest. Drivers do not always report that a device is gone: it may be suspended, or replaced by
silence, without a flag. So a microphone counts as lost when its samples stop coming. After
reopening, the system may have put another input in its place that is no microphone: one that has
ever given anything but zeros is back only when it does so again.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, ClassVar

import numpy as np

from trainer.core.system import elapsed_s
from trainer.core.types import Samples
from trainer.drill import BeatClock
from trainer.sound.accompaniment import TrainerNote
from trainer.sound.block import Block, round_to_24_bits
from trainer.sound.click import ClickTrack
from trainer.sound.devices import (
    Device,
    end_stream,
    has_sound_server,
    input_device,
    load_portaudio,
    output_device,
    restart_portaudio,
)
from trainer.sound.errors import DeviceError, SoundError, SourceGapError, SourceLost
from trainer.sound.output_mixer import OutputMixer
from trainer.sound.passage import Passage, render_passage
from trainer.sound.ring_buffer import RingBuffer
from trainer.sound.sources.source import (
    DrillSetup,
    LatencyLookup,
    LoopStart,
    Source,
    SourceSpec,
)
from trainer.sound.speaker import Speaker
from trainer.sound.stream_timing import StreamTiming


@dataclass(frozen=True, slots=True)
class MicrophoneParameters:
    """Constants of reading a microphone."""

    rates: tuple[int, ...] = (48_000, 44_100)
    """Samples per second that are tried first, in this order."""
    fallback_rates: tuple[int, ...] = (96_000, 32_000, 16_000)
    """Samples per second that are tried after the device's own."""
    block_s: float = 1.0 / 375.0
    """Block asked of a card, in seconds: 128 samples at 48 kHz, as pro-audio drivers use."""
    served_block_s: float = 1.0 / 750.0
    """Block asked of a sound server, in seconds: 64 samples at 48 kHz."""
    served_latency_s: float = 0.003
    """Latency asked of a sound server, in seconds; unasked, it delivers 10 ms at a time."""
    max_mixed_channels: int = 2
    """Channels that are mixed at most: some virtual devices offer dozens of copies."""
    max_block: int = 1024
    """Longest block that is passed on, in samples, when several have queued up."""
    buffer_s: float = 10.0
    """Length of the ring buffer, in seconds."""
    poll_s: float = 0.001
    """Time between looks into the ring buffer, in seconds."""
    max_poll_s: float = 0.02
    """Longest time that one look counts for, in seconds, so that a computer that was suspended is
    not taken for a dead device."""
    lost_s: float = 0.4
    """Time without samples after which the device counts as lost, in seconds."""
    alive_s: float = 0.25
    """Time within which a live microphone gives anything but zeros, in seconds."""
    max_gap_s: float = 2.0
    """Longest gap in the sound over which a pass goes on, in seconds. Chosen by hand: about a
    bar."""
    asleep_s: float = 10.0
    """Gap from which the computer has slept, and nobody plays any more, in seconds. A shorter one
    is of a busy computer: the pass is counted in again. Chosen by hand."""
    first_s: float = 4.0
    """Time that a device may take to give sound after it was opened, in seconds; virtual devices
    have been seen to take two."""
    lead_s: float = 0.25
    """Time between the start of a pass and its first click, in seconds."""


PARAMETERS = MicrophoneParameters()


@dataclass(frozen=True, slots=True)
class MicrophoneSpec(SourceSpec):
    """A microphone.

    Attributes:
        device: its name, a part of it, or its number; None for the system's default.
        output: device for clicks, tones and what the trainer plays, given as `device` is.
        channel: 1 for the first; None mixes the first two.
        rate: samples per second to ask for; None tries the usual ones.
        latency_ms: round trip from handing a click to the driver until it comes back from the
            microphone; None takes what the drivers report.
        clicks: whether the count-in and beats are audible. What the trainer plays itself, the
            other part and calls, is audible either way.
        ground_db: level of the ground of a drill relative to the usual one in dB; None for none.
    """

    device: str | int | None = None
    output: str | int | None = None
    channel: int | None = None
    rate: int | None = None
    latency_ms: float | None = None
    clicks: bool = True
    ground_db: float | None = 0.0

    kind: ClassVar[str] = "microphone"
    is_live: ClassVar[bool] = True

    def calibrated(self, latency_of: LatencyLookup) -> MicrophoneSpec:
        """Return the spec with the measured round trip of its devices, unless it names one.

        Where PortAudio or a device is missing, the spec stays the same, and opening it reports why.
        """
        if self.latency_ms is not None:
            return self
        try:
            pair = input_device(self.device).name, output_device(self.output).name
        except DeviceError:
            return self
        latency_ms = latency_of(*pair, self.rate)
        return self if latency_ms is None else replace(self, latency_ms=latency_ms)

    def open(self, setup: DrillSetup) -> Microphone:
        """Open the microphone and an output beside it."""
        return Microphone(self, setup)


class Microphone(Source):
    """A source that listens, and clicks and plays if asked to.

    What it plays comes back to the microphone from a loudspeaker, and only what the echo canceller
    cannot remove is taken for the player's. Headphones keep it out altogether.

    Attributes:
        lost: samples that came while the ring buffer was full; they are passed on as silence, so
            that the sample count stays right.
        overflows: how often the driver reported that it dropped samples; it does not report how
            many.
    """

    is_live = True
    can_start_passes = True
    can_pause = True
    is_paced = True

    def __init__(self, spec: MicrophoneSpec, setup: DrillSetup | None = None) -> None:
        """Open it and wait until it gives sound.

        Args:
            spec: which microphone, and how.
            setup: what is to be played; None for nothing yet.

        Raises:
            DeviceError: PortAudio or the device is missing, cannot be opened, or gives no sound.
        """
        self._spec, self._setup = spec, setup or DrillSetup()
        self._plays_steps = bool(self._setup.accompaniment(ground_db=spec.ground_db))
        self._recording = self._setup.play_along()  # before samples come in: it may take seconds
        self.rate = spec.rate or 0
        self.lost = self.overflows = 0
        self._passed_on = 0
        self._captured = 0
        self._closed = self._gave_sound = False
        self._stream: Any = None
        self._mixer: OutputMixer | None = None
        self._pass_end = 0
        self._loops = _LoopRenderer()
        self._open()

    @property
    def clicks_audible(self) -> bool:
        """Whether clicks are audible: they were asked for and there is an output."""
        return self._spec.clicks and self._mixer is not None

    @property
    def may_play(self) -> bool:
        """Whether it was opened with an output beside it, if there is one."""
        return self._spec.clicks or self._plays_along

    @property
    def plays_steps(self) -> bool:
        """Whether the trainer plays along: there are steps or a recording, and an output."""
        return self._plays_along and self._mixer is not None

    @property
    def _plays_along(self) -> bool:
        return self._plays_steps or self._recording is not None

    @property
    def advice(self) -> str | None:
        """How to keep the trainer's own steps out of the microphone, where it plays any."""
        if not self._plays_along:
            return None
        if self.plays_steps:
            return (
                "the trainer plays along: headphones, at a moderate level, keep it out of the "
                "microphone"
            )
        return "connect an output to hear the trainer play along; without one it stays silent"

    # --- passes ---

    def first_pass(self) -> BeatClock:
        """Begin the first pass as soon as its clicks can be heard."""
        return self._start_pass(None, None, None)

    def next_pass(self, tempo: float | None = None, *, seamless: bool = False) -> BeatClock:
        """Begin another pass: on the end of the last bar, or as soon as possible."""
        return self._start_pass(tempo, None, self._pass_end if seamless else None)

    def resume_pass(self, bars: tuple[int, int], tempo: float | None = None) -> BeatClock:
        """Begin a pass over some bars as soon as possible."""
        return self._start_pass(tempo, bars, None)

    def _start_pass(
        self, tempo: float | None, bars: tuple[int, int] | None, after: int | None
    ) -> BeatClock:
        track = self._setup.click_track(tempo, bars)
        steps = self._setup.accompaniment(bars, self._spec.ground_db)
        clock = self.start_clock(track, after=after, steps=steps)
        self._pass_end = clock.sample(track.end)
        if self._recording and self._mixer:
            self._recording = self._recording.at_rate(self._mixer.rate)
            beat, sound = self._recording.bars(bars or self._setup.bars)
            self._mixer.add_recording(sound, clock.sample(beat))
        return clock

    def start_clock(
        self, track: ClickTrack, *, after: int | None = None, steps: Sequence[TrainerNote] = ()
    ) -> BeatClock:
        """Begin the beats of a track as soon as they can be heard.

        Args:
            track: the beats.
            after: sample on which they may begin at the earliest, so that a pass follows another
                in time; None begins at once and ends the clicks and steps that sound.
            steps: what the trainer plays on these beats, in order of time; ignored where there is
                no output.

        Returns:
            Where the beats fall in the blocks: a click sounds on its beat's sample, by the round
            trip of the spec or by the latencies that the drivers report.

        Raises:
            SoundError: there are steps, and the setup has no harp.
            HarpError: the harp cannot play a step.
        """
        if steps and self._setup.harp is None:
            raise SoundError("the trainer has steps to play and no harp; name a harp")
        first = max(after or 0, self._captured + round(PARAMETERS.lead_s * self.rate))
        if self._mixer:
            self._mixer.fill()
            first = max(first, self._mixer.earliest)
        clock = track.clock_from(first, self.rate)
        if self._mixer:
            if after is None:
                self._mixer.stop()
            if self._spec.clicks:
                self._mixer.add_clicks(track, clock.zero)
            if steps and self._setup.harp:
                self._mixer.add_steps(self._setup.harp, clock, steps)
        return clock

    def pause(self) -> None:
        """End the clicks and steps that sound."""
        if self._mixer:
            self._mixer.stop()

    # --- what the player hears besides ---

    def play_tone(self, hz: tuple[float, ...]) -> None:
        """Play a tone, or several at once, from now on; none ends it."""
        if self._mixer:
            self._mixer.set_tones(hz)

    def play_loop(self, passage: Passage | None) -> None:
        """Play a passage again and again, as soon as a thread has rendered it; None ends it."""
        self._loops.ask(passage, self._mixer)

    def started_loop(self) -> LoopStart | None:
        """Return the loop that has become audible since the last call, if any."""
        self._loops.raise_failure()
        sample = self._mixer.started_loop() if self._mixer else None
        passage = self._loops.passage
        return None if sample is None or passage is None else LoopStart(passage, sample)

    # --- blocks ---

    def blocks(self) -> Iterator[Block]:
        """Yield blocks as they come, until it is closed.

        Raises:
            SourceLost: no samples come any more, or some seconds of them are missing; after
                :meth:`reopen`, blocks go on from there.
            SourceGapError: the computer slept.
        """
        quiet_s = 0.0
        while not self._closed:
            if mixer := self._mixer:  # another thread may close it meanwhile
                mixer.fill()
            self._check_gap()
            if self._ring.available or self._gaps:
                quiet_s = 0.0
                yield self._next_block()
            elif self._ended or quiet_s > PARAMETERS.lost_s:
                raise SourceLost(
                    f"{self.name} has gone silent; is it still connected and switched on?"
                )
            else:
                quiet_s += _poll()

    def reopen(self) -> None:
        """Try to bring a lost device back; the sample count goes on where it stopped.

        Raises:
            SourceLost: it is still missing.
        """
        self._release()
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
        """Release the devices. May be called twice."""
        if not self._closed:
            self._closed = True
            self._release()

    def _check_gap(self) -> None:
        """Check that no long stretch of sound is missing.

        Raises:
            SourceLost: the computer was too busy.
            SourceGapError: it slept.
        """
        gap_s = self._gap_detector.observe(self._captured / self.rate)
        if self._gaps:
            gap_s = max(gap_s, self._gaps[0][1] / self.rate)
        if gap_s > PARAMETERS.asleep_s:
            raise SourceGapError(
                f"{gap_s:.0f} s of sound are missing: the computer slept, or was too busy; what "
                "was played before is kept"
            )
        if gap_s > PARAMETERS.max_gap_s:
            raise SourceLost(f"{gap_s:.0f} s of sound are missing: the computer was too busy")

    def _next_block(self) -> Block:
        """Return the samples that have come, or silence for those lost before them."""
        # Read before the gaps: a gap is noted before the samples that follow it.
        available = self._ring.available
        until_gap = self._gaps[0][0] - self._ring.frames_read if self._gaps else available
        if self._gaps and until_gap == 0:
            samples = np.zeros(self._gaps.popleft()[1], dtype=np.float32)
        else:
            count = self._ring.read(self._frames[: min(available, until_gap)])
            frames, channel = self._frames[:count], self._spec.channel
            samples = round_to_24_bits(
                frames.mean(axis=1) if channel is None else frames[:, channel - 1]
            )
        self._gave_sound = self._gave_sound or bool(samples.any())
        mixer = self._mixer  # another thread may close it meanwhile
        reference = mixer.reference(self._passed_on, len(samples)) if mixer else None
        block = Block(self._passed_on, samples, self.rate, reference)
        self._passed_on = block.end
        return block

    # --- opening ---

    def _open(self) -> None:
        """Open the input, and an output beside it."""
        device = input_device(self._spec.device)
        self.name = f"microphone {device.name}"
        channel = self._spec.channel
        channels = min(device.inputs, PARAMETERS.max_mixed_channels) if channel is None else channel
        if not 1 <= channels <= device.inputs:
            raise DeviceError(
                f"the microphone {device.name} has no channel {channels}; it has "
                f"{device.inputs}, counted from 1"
            )
        rates = (
            (self.rate,)
            if self.rate
            else (*PARAMETERS.rates, device.rate, *PARAMETERS.fallback_rates)
        )
        self._stream = self._first_that_opens(device, channels, rates)
        if self._gave_sound:
            self._wait_until_alive(device)
        self._mixer = self._open_output() if self.may_play else None
        self._wait_for_sound(device)

    def _first_that_opens(self, device: Device, channels: int, rates: tuple[int, ...]) -> Any:
        """Return a running input stream at the first rate that the device accepts."""
        sd = load_portaudio()
        served = has_sound_server(device)
        block_s = PARAMETERS.served_block_s if served else PARAMETERS.block_s
        refused: Exception | None = None
        for rate in rates:
            self._prepare(rate, channels)
            try:
                stream = sd.InputStream(
                    device=device.number,
                    samplerate=rate,
                    channels=channels,
                    dtype="float32",
                    blocksize=round(block_s * rate),
                    latency=PARAMETERS.served_latency_s if served else "low",
                    callback=self._capture,
                    finished_callback=self._note_end,
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
        """Make the state that lasts as long as a stream."""
        self._ring = RingBuffer(round(PARAMETERS.buffer_s * rate), channels)
        self._frames = np.zeros((PARAMETERS.max_block, channels), dtype=np.float32)
        self._gaps: deque[tuple[int, int]] = deque()
        self._dropped = 0
        self._captured = self._passed_on
        self._ended = False
        self._timing = StreamTiming(rate)
        self._gap_detector = GapDetector()

    def _open_output(self) -> OutputMixer | None:
        """Open the output for clicks and steps; None if there is none and none was named."""
        latency_ms = self._spec.latency_ms
        try:
            speaker = Speaker(
                self._spec.output, latency_s=None if latency_ms is None else latency_ms / 1000.0
            )
        except DeviceError:
            if self._spec.output is None or self._passed_on:
                return None
            self._release()
            raise
        return OutputMixer(speaker, self._timing, self.rate)

    def _wait_until_alive(self, device: Device) -> None:
        """Wait until an input shows by anything but zeros that it is a microphone."""
        waited_s = 0.0
        while self._ring.is_silent and not self._closed:
            silent_s = self._ring.available / self.rate
            if silent_s > PARAMETERS.alive_s or waited_s > PARAMETERS.first_s:
                self._release()
                raise SourceLost(f"the input {device.name} is silent")
            waited_s += _poll()

    def _wait_for_sound(self, device: Device) -> None:
        """Wait until samples come in, and until it is known when output is heard."""
        waited_s = 0.0
        while waited_s < PARAMETERS.first_s and not self._closed:
            if self._mixer:
                self._mixer.fill()
            if self._ring.available and (not self._mixer or self._mixer.is_timed):
                return
            waited_s += _poll()
        if self._ring.available and self._mixer:
            self._mixer.close()
            self._mixer = None
        elif not self._closed:
            self._release()
            raise SourceLost(
                f"the microphone {device.name} opens but gives no sound; is it switched on, and "
                "not suspended?"
            )

    def _capture(self, frames: Samples, count: int, when: Any, status: Any) -> None:
        """The audio callback: copy frames, shape (count, channels), into the ring buffer."""
        self.overflows += bool(status.input_overflow)
        picked_up = when.inputBufferAdcTime
        if self._spec.latency_ms is not None or picked_up <= 0.0:
            picked_up = when.currentTime
        self._timing.add(self._captured, picked_up)
        self._captured += count
        if self._ring.free < count:
            self._dropped += count
            self.lost += count
            return
        if self._dropped:
            self._gaps.append((self._ring.frames_written, self._dropped))
            self._dropped = 0
        self._ring.write(frames)

    def _note_end(self) -> None:
        """The stream's callback when it ends."""
        self._ended = True

    def _release(self) -> None:
        """Close the streams, if they are open."""
        if self._mixer:
            self._mixer.close()
            self._mixer = None
        if self._stream:
            end_stream(self._stream, self._timing)
            self._stream = None


class GapDetector:
    """Detects that sound is missing: the clock went on, and the count of samples did not."""

    def __init__(self) -> None:
        self._offset_s: float | None = None

    def observe(self, captured_s: float) -> float:
        """Return how much is missing since the last call, in seconds.

        Args:
            captured_s: seconds of sound captured so far.
        """
        offset_s, before = elapsed_s() - captured_s, self._offset_s
        self._offset_s = offset_s
        return 0.0 if before is None else offset_s - before


class _LoopRenderer:
    """Renders looped passages in a thread, one at a time, while blocks go on.

    Rendering takes a part of a second; several threads at once would take the processor from the
    ear.

    Attributes:
        passage: the passage asked for last; None for none.
    """

    def __init__(self) -> None:
        self.passage: Passage | None = None
        self._mixer: OutputMixer | None = None
        self._failure: str | None = None
        self._thread: threading.Thread | None = None
        self._lock = threading.Lock()  # never held for long, and never by the audio callback

    def ask(self, passage: Passage | None, mixer: OutputMixer | None) -> None:
        """Play a passage in a mixer as soon as it is rendered; None ends the one that plays."""
        with self._lock:
            self.passage, self._mixer, self._failure = passage, mixer, None
            if mixer is None:
                self._failure = "there is no output to hear the passage on; connect one"
            elif passage is None:
                mixer.set_loop(None)
            elif self._thread is None:
                self._thread = threading.Thread(target=self._render, daemon=True)
                self._thread.start()

    def raise_failure(self) -> None:
        """Raise SoundError, once, where the passage asked for last cannot be played."""
        failure, self._failure = self._failure, None
        if failure is not None:
            raise SoundError(failure)

    def _render(self) -> None:
        """Render the passage asked for last, until no other was asked for meanwhile."""
        rendered: Passage | None = None
        while True:
            with self._lock:
                wanted, mixer = self.passage, self._mixer
                if wanted is None or wanted is rendered or mixer is None:
                    self._thread = None
                    return
            rendered = wanted
            try:
                audio = render_passage(wanted, mixer.rate)
            except SoundError as error:
                self._failure = str(error)
                continue
            if self.passage is wanted:
                mixer.set_loop(audio)


def _poll() -> float:
    """Wait a moment; return the seconds of it that count."""
    began = time.monotonic()
    time.sleep(PARAMETERS.poll_s)
    return min(time.monotonic() - began, PARAMETERS.max_poll_s)
