"""The built-in player: performs any drill, with faults of known size.

It plays in a room with a little noise, for whatever adapts to a room. Sound is rendered in
stretches of fixed length whatever the block size, from noise that depends on the seed and the
sample number alone. So the same seed gives the same samples, and a fault changes nothing but the
reeds.
"""

from __future__ import annotations

import contextlib
import time
from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import ClassVar

import numpy as np

from trainer.core.types import Floats, Samples
from trainer.drill import BeatClock, Drill, Step
from trainer.harp import Harp
from trainer.sound.accompaniment import Accompaniment
from trainer.sound.block import Block, round_to_24_bits
from trainer.sound.click import ClickTrack, click, mix
from trainer.sound.errors import DeviceError, SoundError
from trainer.sound.performer.fault import LARGEST_FAULT, Fault
from trainer.sound.performer.improvisation import check_solo_faults, improvise
from trainer.sound.performer.pace import Pace
from trainer.sound.performer.performance import perform
from trainer.sound.performer.voice import BREATH_DB, ReedVoice, VoiceKind
from trainer.sound.placed_sounds import PlacedSounds
from trainer.sound.play_along import PlayAlong
from trainer.sound.sources.source import DrillSetup, Source, SourceSpec
from trainer.sound.speaker import Speaker

MAX_RUSH = 4.0
"""Largest ratio of the tempi at the two ends of a pass."""


@dataclass(frozen=True, slots=True)
class PlayerParameters:
    """Constants of the built-in player's sound. Chosen; no measurement depends on them."""

    paced_block: int = 256
    """Block at the pace of a clock, in samples."""
    block: int = 2048
    """Block as fast as it is rendered, in samples."""
    stretch: int = 4096
    """Samples rendered at a time."""
    lead_s: float = 0.25
    """Silence before the first count-in, in seconds."""
    end_s: float = 0.5
    """Silence after the last note, in seconds."""
    ahead_s: float = 0.1
    """Silence given to the output first, in seconds, so that a block may come a little late."""
    room_rms: float = 10.0 ** (-75.0 / 20.0)
    """RMS of the room's noise relative to full scale."""
    shimmer: tuple[tuple[float, float], ...] = ((0.9, 0.03), (3.7, 0.02))
    """Slow changes of breath pressure: frequency in hertz and relative depth of each."""


PARAMETERS = PlayerParameters()

_NEVER = 2**62
"""A sample that is not reached."""


@dataclass(frozen=True, slots=True)
class PlayerSpec(SourceSpec):
    """The built-in player, performing a drill.

    Attributes:
        faults: what it does wrong, by step index.
        rush: tempo at the end of a pass relative to its beginning, 0.25 to 4; it changes evenly
            from beat to beat. 1 keeps time.
        hesitate: delay in milliseconds of all steps from one on, by that step's index.
        realtime: whether its blocks come at the pace of a clock, as from a microphone.
        aloud: whether it is played through the output.
        output: which output, as in :class:`MicrophoneSpec`.
        ground_db: level of the ground where it is played aloud, as in :class:`MicrophoneSpec`.
        solo_faults: what it does wrong in solos: sizes from 0 to 1 by the names of criteria.
        rate: samples per second.
        seed: of its breath noise and small irregularities; the same seed gives the same sound.
        voice: what it plays on: reeds of the laboratory, which do nothing but what is asked for, or
            natural ones, to be listened to.
    """

    faults: Mapping[int, Fault] = field(default_factory=dict)
    rush: float = 1.0
    hesitate: Mapping[int, float] = field(default_factory=dict)
    realtime: bool = False
    aloud: bool = False
    output: str | int | None = None
    ground_db: float | None = 0.0
    solo_faults: Mapping[str, float] = field(default_factory=dict)
    rate: int = 48_000
    seed: int = 1
    voice: VoiceKind = VoiceKind.LABORATORY

    kind: ClassVar[str] = "player"

    def open(self, setup: DrillSetup) -> BuiltInPlayer:
        """Make the player ready to perform the setup's drill on its harp."""
        drill, harp = setup.drill, setup.harp
        if drill is None or harp is None:
            raise SoundError("the built-in player needs a drill and a harp; name a drill to play")
        return BuiltInPlayer(
            drill, harp, tempo=setup.tempo, bars=setup.bars, count_in=setup.count_in, spec=self
        )


class BuiltInPlayer(Source):
    """A source that performs a drill."""

    name = "the built-in player"
    can_start_passes = True
    can_pause = True

    def __init__(
        self,
        drill: Drill,
        harp: Harp,
        *,
        tempo: float | None = None,
        bars: tuple[int, int] | None = None,
        count_in: int | None = None,
        spec: PlayerSpec | None = None,
        block: int | None = None,
    ) -> None:
        """Make it ready to play; sound starts with :meth:`blocks`.

        Args:
            drill: what it plays.
            harp: what it plays on.
            tempo: beats per minute; None takes the drill's own.
            bars: first and last bar to play, counted from 1; None plays all.
            count_in: beats of room before the first; None is one bar.
            spec: how it plays, faults included; None plays without fault.
            block: samples in a block; None is 256 at the pace of a clock, else 2048.

        Raises:
            DrillError: the drill has no such bars.
            HarpError: the harp cannot play a step.
            SoundError: a fault cannot be played.
        """
        self._harp, self._spec = harp, spec or PlayerSpec()
        self.rate = self._spec.rate
        self._setup = DrillSetup(drill, harp, tempo, bars, count_in)
        self._accompaniment = Accompaniment(self.rate)
        self._recording: PlayAlong | None = None
        self._recorded = PlacedSounds(self.rate)
        default_block = PARAMETERS.paced_block if self._spec.realtime else PARAMETERS.block
        self._block = block or default_block
        _check(self._spec, drill)
        self._rendered = 0
        self._voices: deque[ReedVoice] = deque()
        self._sounding: list[ReedVoice] = []
        self._white = np.zeros(len(_BREATH_FILTER) - 1)
        self._speaker: Speaker | None = None
        self._closed = self._stays_open = False
        self._select(self._setup.click_track(), bars)
        self._clock, self._pass_end = self._schedule(0)

    @property
    def clock(self) -> BeatClock:
        """Where the beats of the drill fall in the pass that was scheduled last.

        Beat 0 is the drill's first, also when only later bars are played.
        """
        return self._clock

    @property
    def clicks_audible(self) -> bool:
        """Whether the count-in is audible."""
        return self._speaker is not None

    @property
    def is_paced(self) -> bool:
        """Whether blocks come at the pace of a clock."""
        return self._spec.realtime or self._spec.aloud

    def first_pass(self) -> BeatClock:
        """Return the clock of the first pass, which was scheduled when the player was made."""
        return self._clock

    def next_pass(self, tempo: float | None = None, *, seamless: bool = False) -> BeatClock:
        """Play once more with the same faults.

        The pass starts at the end of the last bar or now, whichever is later. Must be called before
        the blocks have ended.
        """
        return self._add_pass(tempo, self._setup.bars)

    def resume_pass(self, bars: tuple[int, int], tempo: float | None = None) -> BeatClock:
        """Play some bars from now on, with the same faults."""
        self.pause()
        self._pass_end = self._rendered
        return self._add_pass(tempo, bars)

    def stay_open(self) -> None:
        """Give silent blocks after the last pass, until it is closed."""
        self._stays_open, self._end = True, _NEVER

    def pause(self) -> None:
        """Play nothing until the next pass; blocks go on, silent once the reeds have decayed."""
        self._voices.clear()
        for voice in self._sounding:
            voice.release_at(self._rendered)
        self._accompaniment = Accompaniment(self.rate)
        self._recorded.stop(self._rendered)
        self._end = _NEVER

    def blocks(self) -> Iterator[Block]:
        """Yield blocks in order, at the pace of a clock if the spec asks for it."""
        if self._spec.aloud:
            with contextlib.suppress(DeviceError):
                self._speaker = Speaker(self._spec.output, self.rate)
                self._speaker.play(np.zeros(round(PARAMETERS.ahead_s * self.rate), np.float32))
                self._recording = self._setup.play_along()
                self._accompany()
        began = time.monotonic()
        try:
            for block in self._cut():
                self._play(block)
                if self._spec.realtime or self._speaker:
                    time.sleep(max(0.0, began + block.end / self.rate - time.monotonic()))
                if self._closed:
                    return
                yield block
        finally:
            if self._speaker:
                self._speaker.close()
                self._speaker = None

    def close(self) -> None:
        """Stop playing. May be called twice."""
        self._closed = True

    # --- scheduling ---

    def _add_pass(self, tempo: float | None, bars: tuple[int, int] | None) -> BeatClock:
        self._select(self._setup.click_track(tempo or self._track.tempo, bars), bars)
        self._clock, self._pass_end = self._schedule(max(self._pass_end, self._rendered))
        if self._speaker:
            self._accompany()
        return self._clock

    def _accompany(self) -> None:
        """Play what the trainer plays in the pass that was scheduled last."""
        self._accompaniment.add(self._harp, self._clock, self._trainer_steps)
        if self._recording:
            self._recording = self._recording.at_rate(self.rate)
            beat, sound = self._recording.bars(self._bars)
            self._recorded.place(self._clock.sample(beat), sound)

    def _select(self, track: ClickTrack, bars: tuple[int, int] | None) -> None:
        """Take up the beats and steps of the pass that is scheduled next."""
        drill = self._setup.drill
        assert drill is not None
        self._track, self._bars = track, bars
        self._count_in = replace(track, beats=0)
        self._steps = drill.steps if bars is None else _steps_in_bars(drill, bars)
        self._own_solos = drill.solos_in(bars or (1, drill.bars))
        self._trainer_steps = self._setup.accompaniment(bars, self._spec.ground_db)

    def _schedule(self, start: int) -> tuple[BeatClock, int]:
        """Plan a pass whose count-in comes after the sample `start`.

        Returns:
            Its clock, and the sample on which its last bar ends.
        """
        lead_s = PARAMETERS.lead_s if start == 0 else 0.0
        clock = self._track.clock_from(start + round(lead_s * self.rate), self.rate)
        spec, span = self._spec, (self._steps[0].start, self._steps[-1].end)
        indices = {step.index for step in self._steps}
        late = {index: ms for index, ms in spec.hesitate.items() if index in indices}
        pace = Pace(clock, spec.rush, span, late)
        played = [
            (step, fault)
            for step in self._steps
            if not step.call and not (fault := spec.faults.get(step.index, Fault())).skip
        ]
        played = sorted([*played, *self._solos()], key=lambda each: each[0].start)
        voices = perform(self._harp, pace, played, spec.seed, spec.voice)
        # A hesitant pass may sound on into the next one's count-in.
        self._voices = deque(sorted([*self._voices, *voices], key=lambda voice: voice.start))
        ends = [span[1], *(solo.end for solo in self._own_solos)]
        last = max([clock.sample(max(ends)), *(voice.stop for voice in voices)])
        self._end = _NEVER if self._stays_open else last + round(PARAMETERS.end_s * self.rate)
        return clock, clock.sample(self._track.end)

    def _solos(self) -> Iterator[tuple[Step, Fault]]:
        """Yield what is improvised in the solos of the pass."""
        drill, spec = self._setup.drill, self._spec
        assert drill is not None
        for solo in self._own_solos:
            yield from improvise(drill, solo, self._harp, spec.seed, spec.solo_faults)

    # --- rendering ---

    def _cut(self) -> Iterator[Block]:
        """Cut the rendered sound into blocks."""
        ready, start = np.zeros(0, np.float32), 0
        while True:
            while len(ready) < self._block and self._rendered < self._end:
                ready = np.concatenate([ready, self._render()])
            if not len(ready):
                return
            block = Block(start, ready[: self._block], self.rate)
            ready, start = ready[self._block :], block.end
            yield block

    def _render(self) -> Samples:
        """Render the next stretch."""
        first, count = self._rendered, min(PARAMETERS.stretch, self._end - self._rendered)
        while self._voices and self._voices[0].start < first + count:
            self._sounding.append(self._voices.popleft())
        out, air = np.zeros(count), np.zeros(count)
        for voice in self._sounding:
            voice.add_to(out, air, first)
        self._sounding = [voice for voice in self._sounding if voice.end > first + count]
        rng = np.random.default_rng((self._spec.seed, first))
        out = out * self._shimmer(first, count) + air * self._breath(rng, count)
        self._rendered += count
        return round_to_24_bits(out + PARAMETERS.room_rms * rng.standard_normal(count))

    def _shimmer(self, first: int, count: int) -> Floats:
        """Gain of the breath's slow changes, shape (count,)."""
        t = np.arange(first, first + count) / self.rate
        waves = [
            depth * np.sin(2 * np.pi * hz * t + self._spec.seed) for hz, depth in PARAMETERS.shimmer
        ]
        return np.asarray(1.0 + sum(waves))

    def _breath(self, rng: np.random.Generator, count: int) -> Floats:
        """Noise of the breath for reeds of unit RMS, shape (count,): white noise, filtered."""
        white = np.concatenate([self._white, rng.standard_normal(count)])
        self._white = white[count:]
        return np.asarray(np.convolve(white, _BREATH_FILTER, mode="valid"))

    def _play(self, block: Block) -> None:
        """Play a block aloud, with the count-in and the trainer's own steps mixed in."""
        if self._speaker:
            out = block.samples.copy()
            for at, accented in self._count_in.beats_from(self._clock.zero, self.rate):
                mix(out, block.start, click(self.rate, accented=accented), at)
            self._accompaniment.mix(out, block.start, lambda sample: sample)
            self._recorded.mix(out, block.start)
            self._speaker.play(out)


def _check(spec: PlayerSpec, drill: Drill) -> None:
    """Check that the faults can be played.

    Raises:
        SoundError: one cannot.
    """
    check_solo_faults(spec.solo_faults)
    unknown = sorted({*spec.faults, *spec.hesitate} - {step.index for step in drill.steps})
    if unknown:
        raise SoundError(
            f"step {unknown[0] + 1} of {drill.name} cannot have a fault: it has "
            f"{len(drill.steps)} steps"
        )
    if not 1.0 / MAX_RUSH <= spec.rush <= MAX_RUSH:
        raise SoundError(
            f"the built-in player cannot rush by {spec.rush:g}; give "
            f"{1.0 / MAX_RUSH:g} to {MAX_RUSH:g}, the tempo at the end relative to the start"
        )
    for ms in spec.hesitate.values():
        if not 0.0 <= ms <= LARGEST_FAULT:
            raise SoundError(
                f"the built-in player cannot hesitate for {ms:g} ms; give 0 to {LARGEST_FAULT:g}"
            )


def _steps_in_bars(drill: Drill, bars: tuple[int, int]) -> tuple[Step, ...]:
    steps = drill.step_range(*bars)
    return drill.steps[steps.start : steps.stop]


def _breath_filter(taps: int = 33) -> Floats:
    """Band-pass for the hiss of air past a reed, centred on a twelfth of the sample rate."""
    n = np.arange(taps) - taps // 2
    window = np.hanning(taps + 2)[1:-1]
    band = window * np.cos(np.pi * n / 6.0)
    return np.asarray(10.0 ** (BREATH_DB / 20.0) * band / np.sqrt(np.sum(band**2)))


_BREATH_FILTER = _breath_filter()
