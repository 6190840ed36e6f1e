"""The built-in player: performs any drill, with faults of known size.

Its room has a little noise, so that whatever adapts to a room has something to adapt to. Sound
is made in fixed stretches whatever the block size, from noise that depends on the seed and the
sample number alone: the same seed gives the same samples, and a fault changes nothing but the
reeds.
"""

from __future__ import annotations

import contextlib
import time
from collections import deque
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from trainer.core.types import Floats, Samples
from trainer.drill import BeatClock, Drill, Step
from trainer.harp import Harp
from trainer.sound.accompaniment import Accompaniment, accompaniment_steps
from trainer.sound.block import Block, round_to_24_bits
from trainer.sound.click import ClickTrack, click, mix
from trainer.sound.errors import DeviceError, SoundError
from trainer.sound.performer.pace import Pace
from trainer.sound.performer.performance import perform
from trainer.sound.performer.voice import ReedVoice
from trainer.sound.sources.spec import LARGEST_FAULT, Fault, PlayerSpec
from trainer.sound.speaker import Speaker

MOST_RUSH = 4.0
_STRETCH = 4096
_LEAD_S = 0.25
_END_S = 0.5
_AHEAD_S = 0.1
_FOREVER = 2**62
"""Silence that is heard first, so that a block may come a little late."""
_ROOM_RMS = 10.0 ** (-75.0 / 20.0)
_BREATH_DB = -45.0
"""Noise of the breath relative to the reeds it drives."""
_SHIMMER = ((0.9, 0.03), (3.7, 0.02))
"""Slow changes of breath pressure: Hz and depth of each."""


class BuiltInPlayer:
    """A source that performs a drill."""

    name = "the built-in player"

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
        """Make ready to play; sound starts with :meth:`blocks`.

        Args:
            drill: what to play.
            harp: what to play it on.
            tempo: beats a minute; None takes the drill's own.
            bars: first and last bar to play, from 1; None plays all.
            count_in: beats of room before the first; None is one bar.
            spec: how to play, faults included; None plays without fault.
            block: samples in a block; None is 256 at the pace of a clock, otherwise 2048.

        Raises:
            DrillError: the drill has no such bars.
            HarpError: the harp cannot play a step.
            SoundError: a fault that cannot be played.
        """
        self._harp, self._spec = harp, spec or PlayerSpec()
        self._drill, self._bars, self._beats_ahead = drill, bars, count_in
        self._steps = drill.steps if bars is None else _inside(drill, bars)
        self._beside = Accompaniment(self._spec.rate)
        self._not_mine = accompaniment_steps(drill, bars)
        self._track = ClickTrack.of(drill, tempo, bars, count_in)
        self._count_in = replace(self._track, beats=0)
        self._block = block or (256 if self._spec.realtime else 2048)
        _check(self._spec, drill)
        self._rendered = 0
        self._voices: deque[ReedVoice] = deque()
        self._sounding: list[ReedVoice] = []
        self._white = np.zeros(len(_BREATH_FILTER) - 1)
        self._speaker: Speaker | None = None
        self._closed = False
        self._clock, self._next = self._schedule(0)

    @property
    def rate(self) -> int:
        """Samples a second."""
        return self._spec.rate

    @property
    def clock(self) -> BeatClock:
        """Where the beats of the drill fall in the pass that was scheduled last.

        Beat 0 is the drill's first, also when only later bars are played.
        """
        return self._clock

    @property
    def hears_clicks(self) -> bool:
        """Whether the count-in is heard."""
        return self._speaker is not None

    def again(self, tempo: float | None = None, bars: tuple[int, int] | None = None) -> BeatClock:
        """Play once more, from the end of the last bar on (or from now, if that is over).

        A pass begins with its count-in, and is played with the same faults. To be called before
        the blocks have ended.

        Args:
            tempo: beats a minute from here on; None goes on as before.
            bars: first and last bar of this pass, which begins at once; None plays those that
                the player was made for.

        Returns:
            the clock of the new pass.

        Raises:
            DrillError: the drill has no such bars.
        """
        wanted = bars or self._bars
        self._not_mine = accompaniment_steps(self._drill, wanted)
        tempo = tempo or self._track.tempo
        self._track = ClickTrack.of(self._drill, tempo, wanted, self._beats_ahead)
        self._count_in = replace(self._track, beats=0)
        self._steps = self._drill.steps if wanted is None else _inside(self._drill, wanted)
        if bars is not None:
            self.hush()
            self._next = self._rendered
        self._clock, self._next = self._schedule(max(self._next, self._rendered))
        if self._speaker:
            self._beside.add(self._harp, self._clock, self._not_mine)
        return self._clock

    def hush(self) -> None:
        """Play nothing more until :meth:`again`; blocks go on, silent once reeds have died away."""
        self._voices.clear()
        for voice in self._sounding:
            voice.let_go(self._rendered)
        self._beside = Accompaniment(self._spec.rate)
        self._end = _FOREVER

    def blocks(self) -> Iterator[Block]:
        """Blocks in order, at the pace of a clock if the spec says so."""
        if self._spec.aloud:
            with contextlib.suppress(DeviceError):
                self._speaker = Speaker(self._spec.output, self.rate)
                self._speaker.play(np.zeros(round(_AHEAD_S * self.rate), np.float32))
                self._beside.add(self._harp, self._clock, self._not_mine)
        began = time.monotonic()
        try:
            for block in self._cut():
                self._sound(block)
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

    def _schedule(self, start: int) -> tuple[BeatClock, int]:
        """Plan a pass whose count-in comes after `start`; its clock, and where its bars end."""
        lead = _LEAD_S if start == 0 else 0.0
        count_in = -self._track.start * 60.0 / self._track.tempo
        clock = self._track.clock(start + round((lead + count_in) * self.rate), self.rate)
        spec, span = self._spec, (self._steps[0].start, self._steps[-1].end)
        indices = {step.index for step in self._steps}
        late = {index: ms for index, ms in spec.hesitate.items() if index in indices}
        pace = Pace(clock, spec.rush, span, late)
        played = [
            (step, fault)
            for step in self._steps
            if not step.call and not (fault := spec.faults.get(step.index, Fault())).skip
        ]
        voices = perform(self._harp, pace, played, spec.seed)
        # A hesitant pass may sound on into the next one's count-in.
        self._voices = deque(sorted([*self._voices, *voices], key=lambda voice: voice.start))
        last = max([clock.sample(span[1]), *(voice.stop for voice in voices)])
        self._end = last + round(_END_S * self.rate)
        return clock, clock.sample(self._track.end)

    def _cut(self) -> Iterator[Block]:
        """What is rendered, cut into blocks."""
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
        """The next stretch."""
        first, count = self._rendered, min(_STRETCH, self._end - self._rendered)
        while self._voices and self._voices[0].start < first + count:
            self._sounding.append(self._voices.popleft())
        out, air = np.zeros(count), np.zeros(count)
        for voice in self._sounding:
            voice.add_to(out, air, first)
        self._sounding = [voice for voice in self._sounding if voice.end > first + count]
        rng = np.random.default_rng((self._spec.seed, first))
        out = out * self._shimmer(first, count) + air * self._breath(rng, count)
        self._rendered += count
        return round_to_24_bits(out + _ROOM_RMS * rng.standard_normal(count))

    def _shimmer(self, first: int, count: int) -> Floats:
        t = np.arange(first, first + count) / self.rate
        waves = [depth * np.sin(2 * np.pi * hz * t + self._spec.seed) for hz, depth in _SHIMMER]
        return np.asarray(1.0 + sum(waves))

    def _breath(self, rng: np.random.Generator, count: int) -> Floats:
        """Noise of the breath for reeds of unit RMS: white noise, filtered."""
        white = np.concatenate([self._white, rng.standard_normal(count)])
        self._white = white[count:]
        return np.asarray(np.convolve(white, _BREATH_FILTER, mode="valid"))

    def _sound(self, block: Block) -> None:
        """Let a block be heard, with the count-in and what else the trainer plays beside it."""
        if self._speaker:
            heard = block.samples.copy()
            for at, accented in self._count_in.beats_from(self._clock.zero, self.rate):
                mix(heard, block.start, click(self.rate, accented=accented), at)
            self._beside.mix(heard, block.start, lambda sample: sample)
            self._speaker.play(heard)


def _check(spec: PlayerSpec, drill: Drill) -> None:
    """See that what is to be played wrong can be.

    Raises:
        SoundError: it cannot.
    """
    unknown = sorted({*spec.faults, *spec.hesitate} - {step.index for step in drill.steps})
    if unknown:
        raise SoundError(
            f"the built-in player is to play step {unknown[0] + 1} of {drill.name} wrong, "
            f"but it has {len(drill.steps)} steps"
        )
    if not 1.0 / MOST_RUSH <= spec.rush <= MOST_RUSH:
        raise SoundError(
            f"the built-in player cannot rush by {spec.rush:g}; it can end from "
            f"{1.0 / MOST_RUSH:g} to {MOST_RUSH:g} times as fast as it begins"
        )
    for ms in spec.hesitate.values():
        if not 0.0 <= ms <= LARGEST_FAULT:
            raise SoundError(
                f"the built-in player cannot hesitate for {ms:g} ms; it can for 0 to "
                f"{LARGEST_FAULT:g}"
            )


def _inside(drill: Drill, bars: tuple[int, int]) -> tuple[Step, ...]:
    steps = drill.step_range(*bars)
    return drill.steps[steps.start : steps.stop]


def _breath_filter(taps: int = 33) -> Floats:
    """A short band-pass around a sixth of the rate's half: the hiss of air past a reed."""
    n = np.arange(taps) - taps // 2
    window = np.hanning(taps + 2)[1:-1]
    band = window * np.cos(np.pi * n / 6.0)
    return np.asarray(10.0 ** (_BREATH_DB / 20.0) * band / np.sqrt(np.sum(band**2)))


_BREATH_FILTER = _breath_filter()
