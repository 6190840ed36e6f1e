"""The ear: blocks of sound in, readings out, the same for a microphone and a file.

Every hop of about 5 ms gives one reading; just after an attack every quarter of a hop does, so
that a note's pitch is told as soon as it can be known. What a reading says depends only on the
samples up to `Reading.heard`, not on how they were cut into blocks.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import lru_cache

import numpy as np

from trainer.core import TrainerError
from trainer.core.types import Floats
from trainer.ear.frontend import Frontend
from trainer.ear.harmonic_fit import fit_harmonics, hann
from trainer.ear.level_gate import LOOK_BACK, LevelGate, attack_start, rms_level_db
from trainer.ear.pitch_tracker import PitchEstimate, PitchTracker
from trainer.ear.reading import Reading
from trainer.ear.reed_detector import (
    FRAME_S,
    SHORTEST_FRAME_S,
    SOUNDS_DB,
    ReedDetector,
    ReedEstimate,
    unwarp,
)
from trainer.ear.tab_tracker import TabTracker
from trainer.echo import EchoCanceller
from trainer.harp import Breath, Harp, Tab
from trainer.music import cents
from trainer.sound import Block

LEAST_RATE = 8_000
HOP_S = 0.005
AUBIO_HOPS = 2
"""Hops that aubio hears at a time: it only has to object to what is followed."""
QUARTERS = 4
QUICK_S = 0.03
"""For so long after an attack readings come every quarter of a hop."""
OFFSET_S = 0.04
"""Over so long the mean of a harp's sound is next to nothing."""
REEDS_EVERY, REEDS_EVERY_MOVING, REEDS_EVERY_STILL, REEDS_EVERY_ALONE = 2, 4, 8, 16
"""Hops from one look at the reeds to the next: at first; while the pitch moves; where nothing
changes; and where one reed has long sounded alone."""
LONGER = 0.25
"""While a note is young, the next look comes when there is so much more of it: a share."""
MORE, A_LITTLE = 1.3, 0.001
"""The share of the energy that the main reed leaves unexplained was so much less at the last look:
something has come in."""
BEATS_S = 0.4
"""After so long a reed an octave above would have been heard by its beats."""
JOINT_S = 0.043
"""Window of the joint fit of several reeds, where there is so much of the note."""
MOST_REEDS = 3
YOUNG_S = 0.15
"""For so long after an attack a reed may still be coming up to pitch."""
MOST_UNEXPLAINED = 0.5
"""Share of the energy that reeds may leave and still be told: noise is not made of reeds."""
STILL_CENTS = 3.0
"""A frame whose pitch moves less than this is not worth unwarping."""
TRACK = 44
"""Estimates kept of the pitch track: a frame's worth, even of those of an attack."""


class EarError(TrainerError):
    """Sound that cannot be listened to."""


class Ear:
    """Listens to one harp through one source."""

    def __init__(self, rate: int, harp: Harp, span: tuple[float, float] | None = None) -> None:
        """Make ready to listen.

        Args:
            rate: the source's, samples a second, 8,000 at least.
            harp: the harp in hand.
            span: lowest and highest f0 that are heard, Hz; None takes the harp's own. Where the
                harp is not known yet, a wider one hears what others play.

        Raises:
            EarError: the rate is too low to hold a harp's notes.
        """
        if rate < LEAST_RATE:
            raise EarError(
                f"{rate} samples a second cannot hold a harp's notes; record with {LEAST_RATE} or "
                "more, 44100 at best"
            )
        self._rate = rate
        self._harp = harp
        self._echo = EchoCanceller(rate)
        self._sound = Frontend(rate, memory=2.0 * FRAME_S)
        self._quarter = max(1, round(HOP_S * self._sound.rate / QUARTERS))
        self._hop = QUARTERS * self._quarter
        self._offset_span = max(2 * self._hop, round(OFFSET_S * self._sound.rate))
        self._offset_weights = _mean_weights(self._offset_span)
        pitches = [harp.hz(tab) for tab in harp.entries]
        lowest, highest = span or (0.92 * min(pitches), 1.08 * max(pitches))
        self._pitch = PitchTracker(self._sound, AUBIO_HOPS * self._hop, lowest, highest)
        self._reeds = ReedDetector(harp, self._sound.rate)
        self._tab_tracker = TabTracker(harp)
        self._gate = LevelGate(self._hop / self._sound.rate)
        self._end = 0
        self._born = 0
        self._segment = 0
        self._track: deque[tuple[float, float]] = deque(maxlen=TRACK)
        self._heard_reeds: ReedEstimate | None = None
        self._pitched = False
        self._alone = True
        self._moves = False
        self._looked = 0
        self._leaves: float | None = None
        self._left = 1.0

    def analyze(self, block: Block) -> list[Reading]:
        """The readings that one more block makes possible, in order."""
        self._sound.resample(self._echo.cancel(block.samples, block.reference))
        readings = []
        while (step := self._step()) and self._end + step <= self._sound.count:
            self._end += step
            readings.append(self._listen())
        return readings

    def _step(self) -> int:
        """Samples to the next reading."""
        if self._gate.open and self._end - self._born < QUICK_S * self._sound.rate:
            return self._quarter
        return self._hop - self._end % self._hop

    def _listen(self) -> Reading:
        """The reading of what ends at `self._end`."""
        level = self._level_db()
        onset = None
        whole = self._end % self._hop == 0
        several = self._heard_reeds is not None and bool(self._heard_reeds.others)
        if whole:
            begins = self._gate.update(level, self._pitched, several)
            onset = self._attack() if begins else None
            if self._end // self._hop % AUBIO_HOPS == 0:
                self._pitch.observe_hop(self._end, sounds=self._gate.open)
        if not self._gate.open:
            self._restart(self._end)
            return self._reading(level, onset)
        several = self._heard_reeds is not None and bool(self._heard_reeds.others)  # by now
        # Among several reeds the joint fit follows the main one.
        estimate = None if several else self._pitch.estimate(self._end, self._born)
        if not several:
            self._leaves = estimate.unexplained if estimate is not None else None
        if whole and self._is_due():
            self._looked = self._end
            self._left = self._leaves if self._leaves is not None else 1.0
            self._listen_to_reeds(estimate)
            if several and self._heard_reeds is not None and not self._heard_reeds.others:
                estimate = self._pitch.estimate(self._end, self._born)
        found = self._main_pitch(estimate)
        self._pitched = found is not None
        if found is None:
            return self._reading(level, onset)
        pitches, centre = found
        hz = pitches[0]
        tab, jumped = self._tab_tracker.assign(hz, young=self._young(self._born))
        if jumped:
            self._track.clear()  # no glide leads from one reed to another
        self._track.append((centre, hz))
        alone = self._heard_reeds is None or not self._heard_reeds.others
        was_alone, self._alone = self._alone, alone
        if jumped and alone and was_alone:
            # Another note without an attack. (Among several reeds the main one may change.)
            self._segment = max(self._segment, round(centre))
            self._heard_reeds = None
            self._track.clear()
        return self._pitched_reading(level, onset, pitches, centre, tab)

    def _is_due(self) -> bool:
        """Whether to look at the reeds: seldom where nothing changes, and at once where those
        that are known suddenly leave more unexplained."""
        hops = (self._end - self._looked) // self._hop
        if hops < REEDS_EVERY:
            return False
        if self._leaves is None or self._leaves > MORE * self._left + A_LITTLE:
            return True
        age = self._end - self._segment
        alone = self._heard_reeds is not None and not self._heard_reeds.others
        if alone and age > BEATS_S * self._sound.rate:
            most = REEDS_EVERY_ALONE
        else:
            most = REEDS_EVERY_STILL
        return hops >= min(REEDS_EVERY_MOVING if self._moves else most, LONGER * age / self._hop)

    def _attack(self) -> int:
        """Begin a new note; the source sample on which it starts."""
        span = (LOOK_BACK + 2) * self._hop
        step = max(1, round(0.001 * self._sound.rate))
        start = max(0, self._end - span + attack_start(self._without_offset(span), step))
        self._restart(start)
        return self._sound.source_sample(start)

    def _level_db(self) -> float:
        """Level of the last two hops, less the mean of a longer stretch: a sound card's offset is
        no sound."""
        longer = self._sound.window(self._end, self._offset_span)
        recent, mean = longer[-2 * self._hop :], float(longer.dot(self._offset_weights))
        count = len(recent)
        power = float(recent.dot(recent)) / count
        return rms_level_db(power - mean * (2.0 * float(np.add.reduce(recent)) / count - mean))

    def _without_offset(self, length: int) -> Floats:
        """The last `length` samples less the same mean."""
        longer = self._sound.window(self._end, max(length, self._offset_span))
        return longer[-length:] - float(longer @ _mean_weights(len(longer)))

    def _restart(self, start: int) -> None:
        self._born = self._segment = start
        self._pitch.restart()
        self._track.clear()
        self._tab_tracker.restart()
        self._reeds.restart()
        self._heard_reeds = None
        self._pitched = False

    def _listen_to_reeds(self, estimate: PitchEstimate | None) -> None:
        length = min(self._end - self._segment, round(FRAME_S * self._sound.rate))
        if length < SHORTEST_FRAME_S * self._sound.rate:
            return
        frame = self._sound.window(self._end, length)
        track = self._track_over(length)
        self._moves = track is not None
        last = self._track[-1][1] if self._track else None
        if self._heard_reeds is not None and self._heard_reeds.others:
            guess = last
        else:
            guess = estimate.hz if estimate is not None else last
        if track is not None and guess is not None:
            frame = unwarp(frame, track)
            guess = float(np.mean(track))
        held = self._tab_tracker.held if guess is not None else None
        heard = self._reeds.detect(
            frame,
            guess,
            held,
            young=self._young(self._segment),
            gliding=track is not None,
            end=self._end,
        )
        if heard is not None and track is not None and guess == heard.hz and last is not None:
            # Undone, the frame stands at its mean pitch; the reed itself has moved on.
            heard = replace(heard, hz=last)
        self._heard_reeds = heard

    def _young(self, start: int) -> bool:
        return self._end - start < YOUNG_S * self._sound.rate

    def _track_over(self, length: int) -> Floats | None:
        """f0 at each sample of the last `length`, or None where it hardly moves."""
        if len(self._track) < 3:
            return None
        since = [hz for at, hz in self._track if at >= self._end - length]
        if len(since) < 3 or cents(max(since), min(since)) < STILL_CENTS:
            return None
        at, hz = np.array(self._track).T
        slope = (hz[-1] - hz[-3]) / (at[-1] - at[-3])
        at = np.append(at, self._end)
        hz = np.append(hz, hz[-1] + slope * (self._end - at[-2]))
        return np.interp(np.arange(self._end - length, self._end), at, hz)

    def _main_pitch(self, estimate: PitchEstimate | None) -> tuple[tuple[float, ...], float] | None:
        """f0s in Hz of what sounds, the main reed's first, and where they belong, in samples of
        the ear."""
        reeds = self._heard_reeds
        if reeds is None or (estimate is not None and not reeds.others):
            return ((estimate.hz,), estimate.centre) if estimate is not None else None
        main = reeds.hz
        if self._track and abs(cents(self._track[-1][1], main)) < 100.0:
            main = self._track[-1][1]
        length = min(self._end - self._segment, round(JOINT_S * self._sound.rate)) & ~1
        window = self._sound.window(self._end, length)
        fitted = fit_harmonics(window, self._sound.rate, (main, *reeds.others[: MOST_REEDS - 1]))
        self._leaves = fitted.unexplained if fitted is not None else None
        if self._looked == self._end:
            self._left = self._leaves or 1.0
        if fitted is None or fitted.unexplained > MOST_UNEXPLAINED:
            self._track.clear()  # what was followed so far may be what misled it
            return None
        return fitted.hz, self._end - (length + 1) / 2.0

    def _pitched_reading(
        self,
        level: float,
        onset: int | None,
        pitches: tuple[float, ...],
        centre: float,
        tab: Tab,
    ) -> Reading:
        hz = pitches[0]
        reeds = self._heard_reeds
        also = self._harp.same_pitch(tab)
        breath: Breath | None = None if also else tab.breath
        levels: tuple[tuple[int, float], ...] = ()
        if reeds is not None:
            levels = reeds.levels
            twin = also and reeds.breath is not None and reeds.tab in (tab, *also)
            if twin or (reeds.others and reeds.tab.hole != tab.hole):
                tab, breath = reeds.tab, reeds.breath
                also = self._harp.same_pitch(tab)
                self._tab_tracker.override(tab)
            levels = tuple((hole, db) for hole, db in levels if hole != tab.hole)
        ranked = sorted(levels, key=_loudness, reverse=True)
        others = [hole for hole, db in ranked if db > SOUNDS_DB]
        leak = ranked[0] if ranked else None
        return Reading(
            sample=self._sound.source_sample(centre),
            heard=self._sound.heard(self._end),
            rate=self._rate,
            hz=hz,
            level_db=level,
            sounding=True,
            onset=onset,
            tab=tab,
            cents=cents(hz, self._harp.hz(tab)),
            also=also,
            breath=breath,
            holes=tuple(sorted({tab.hole, *others})),
            pitches=tuple(zip((tab.hole, *others), pitches, strict=False)),
            leak_db=leak[1] if leak else None,
            leak_hole=leak[0] if leak else None,
            levels=levels,
        )

    def _reading(self, level: float, onset: int | None) -> Reading:
        """A reading without a pitch."""
        return Reading(
            sample=self._sound.source_sample(self._end - self._hop),
            heard=self._sound.heard(self._end),
            rate=self._rate,
            level_db=level,
            sounding=self._gate.open,
            onset=onset,
        )


@lru_cache(maxsize=16)
def _mean_weights(length: int) -> Floats:
    """Weights of a mean: the ends weigh less, so that a note that has just ended leaves next to
    nothing."""
    return hann(length) / hann(length).sum()


def _loudness(level: tuple[int, float]) -> float:
    return level[1]


def analyze_blocks(
    blocks: Iterable[Block], rate: int, harp: Harp, span: tuple[float, float] | None = None
) -> Iterator[Reading]:
    """Readings of all of a source's blocks; the arguments are those of :class:`Ear`."""
    ear = Ear(rate, harp, span)
    for block in blocks:
        yield from ear.analyze(block)
