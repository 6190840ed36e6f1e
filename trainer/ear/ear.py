"""The ear: blocks of samples in, readings out, for a microphone and a file alike.

There is one reading per hop of about 5 ms, and four per hop just after an attack, so that a
note's pitch is reported as early as possible. While a pitch rests or moves slowly and evenly, it is
measured for every second reading, and extrapolated for the others. A reading depends only on the
samples before `Reading.heard`, not on how they were divided into blocks.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from trainer.core import TrainerError
from trainer.core.types import Floats
from trainer.ear.frontend import DEFAULT_FRONTEND, Frontend, FrontendParameters
from trainer.ear.harmonic_fit import HarmonicFit, fit_harmonics, hann
from trainer.ear.level_gate import (
    DEFAULT_GATE,
    MINIMUM_LEVEL_DB,
    GateParameters,
    LevelGate,
    attack_start,
    rms_level_db,
)
from trainer.ear.pitch_tracker import (
    DEFAULT_PITCH,
    PitchEstimate,
    PitchParameters,
    PitchTracker,
    predict,
)
from trainer.ear.reading import Reading
from trainer.ear.reed_detector import (
    DEFAULT_REEDS,
    ReedDetector,
    ReedEstimate,
    ReedParameters,
    unwarp,
)
from trainer.ear.tab_tracker import DEFAULT_TAB, TabParameters, TabTracker
from trainer.echo import EchoCanceller
from trainer.harp import Breath, Harp, Tab
from trainer.music import cents
from trainer.sound import Block

MINIMUM_RATE = 8_000
"""Minimum sampling rate of a source in Hz. Its Nyquist frequency holds the fundamentals of every
standard harp."""
QUARTERS = 4
"""Readings per hop just after an attack."""


@dataclass(frozen=True, slots=True)
class ScheduleParameters:
    """When to detect reeds again. Intervals are in hops of 5 ms.

    Reed detection is the most expensive stage. These were chosen on `harmonica 1` so that its cost
    falls while the measured accuracy stays (benchmarks/cost.py measures the cost).
    """

    first_hops: int = 2
    """Shortest interval, at the start of a note."""
    moving_hops: int = 4
    """Longest interval while the pitch of a single reed moves: it may be the beats of an octave
    split, whose rate is known only from closer frames."""
    still_hops: int = 8
    """Longest interval while the pitch holds."""
    calm_hops: int = 16
    """Longest interval while nothing changes, at least a frame: once one reed has sounded alone for
    `beats_s`, or the same reeds together in the last `calm_detections`. Several reeds are detected
    twice as often while their pitch moves."""
    calm_detections: int = 1
    """Detections in a row with the same holes as the one before from which several reeds are
    calm."""
    calmer_detections: int = 4
    """The same from which `calm_hops` is doubled. Chosen by hand."""
    level_db: float = 3.0
    """Change of the level of a reed relative to the main one, by the fits between, from which calm
    reeds are detected at once."""
    apart: float = 0.3
    """Distance from the other reeds' partials from which a partial counts in that level, over the
    reciprocal of the fit's window. Of two that are closer, the fit may give either most of the
    energy. Chosen by hand."""
    falling_hops: int = 3
    """Hops, and ..."""
    falling_db: float = 5.0
    """... fall of the level in them, dB, from which known reeds are released, and not detected
    again. A fit leaves more unexplained then, though no other reed begins. Chosen by hand."""
    moving_cents: float = 10.0
    """Range of the pitch in a frame from which that of several reeds moves, cents. A frame in which
    it moves less is analysed as well as a still one, once the glide is undone. Chosen by hand."""
    growth: float = 0.25
    """A young note is analysed again after this fraction of its age: later, the notes of a quick
    shake are missed."""
    more_unexplained: float = 1.3
    """Factor, and ..."""
    more_unexplained_floor: float = 0.001
    """... offset, by which the unexplained fraction must exceed what is usual to trigger a
    detection at once: another reed has begun to sound."""
    usual_kept: float = 0.8
    """Fraction of what was usual before a detection that is usual after it, if it has found the
    same holes. Of 700 such triggers in rooms, all but ten found them. Chosen by hand."""
    beats_s: float = 0.4
    """Age of a note at which an octave split would have been detected by its beats, seconds."""


@dataclass(frozen=True, slots=True)
class EarParameters:
    """Constants of the ear and of its stages.

    Those of the ear itself were chosen on `harmonica 1` of benchmarks/fonts.py. `harmonica 2` and
    the reed organs are held out: benchmarks report them apart.
    """

    hop_s: float = 0.005
    """Time from one reading to the next, seconds."""
    aubio_hops: int = 2
    """Least interval of aubio's pitches, hops. They only have to contradict the tracked pitch."""
    quick_s: float = 0.03
    """Time after an attack with four readings per hop, seconds, unless the pitch rests before."""
    rest_cents: float = 0.3
    """Change of the pitch from one reading to the next under which it rests, cents. Chosen by
    hand: a shallow scoop of a sixteenth rises faster."""
    rest_readings: int = 3
    """Readings in a row of a pitch that rests from which it is read once a hop after an attack.
    Chosen by hand."""
    even_cents: float = 0.3
    """Distance of the pitch from the line through the two measured before under which it moves
    evenly, cents. From there the line leads on for a hop, and errs by less. Chosen by hand."""
    even_readings: int = 3
    """Readings in a row of a pitch that moves evenly from which it is measured once in two hops.
    Chosen by hand."""
    slow_cents_s: float = 200.0
    """Speed of the pitch up to which it may go unmeasured, cents per second. A vibrato of 20 cents
    at 5 Hz reaches 600. Chosen by hand."""
    rest_db: float = 0.5
    """Change of the level from one hop to the next up to which the pitch may go unmeasured, dB.
    Chosen by hand."""
    mean_s: float = 0.04
    """Span of the mean that is subtracted as the sound card's offset, seconds. A harp's sound has
    almost no mean over this span."""
    joint_window_s: float = 0.043
    """Maximum window of the joint fit of several reeds, seconds."""
    max_joint_reeds: int = 3
    """Maximum number of reeds in it."""
    young_s: float = 0.15
    """Time after an attack in which a reed may still rise to its pitch, seconds."""
    max_unexplained: float = 0.5
    """Maximum fraction of the energy that reeds may leave unexplained. Noise leaves more."""
    still_cents: float = 3.0
    """Range of pitch in a frame under which no glide is undone, cents."""
    track_length: int = 44
    """Length of the pitch track, readings: one frame, even with four readings per hop."""
    frontend: FrontendParameters = field(default=DEFAULT_FRONTEND)
    """Constants of the resampler."""
    gate: GateParameters = field(default=DEFAULT_GATE)
    """Constants of the level gate."""
    pitch: PitchParameters = field(default=DEFAULT_PITCH)
    """Constants of the pitch tracker."""
    tab: TabParameters = field(default=DEFAULT_TAB)
    """Constants of the tab tracker."""
    reeds: ReedParameters = field(default=DEFAULT_REEDS)
    """Constants of the reed detector."""
    schedule: ScheduleParameters = field(default=ScheduleParameters())
    """When reeds are detected."""


DEFAULT_EAR = EarParameters()


class EarError(TrainerError):
    """Sound that cannot be analysed."""


class _Spans:
    """Durations in samples of the ear; fixed for a stream."""

    __slots__ = (
        "aubio_hop",
        "beats",
        "frame",
        "hop",
        "joint",
        "mean",
        "onset_step",
        "quarter",
        "quick",
        "shortest_frame",
        "young",
    )

    def __init__(self, rate: float, p: EarParameters) -> None:
        self.quarter = max(1, round(p.hop_s * rate / QUARTERS))
        self.hop = QUARTERS * self.quarter
        self.aubio_hop = p.aubio_hops * self.hop
        self.mean = max(2 * self.hop, round(p.mean_s * rate))
        self.quick = p.quick_s * rate
        self.young = p.young_s * rate
        self.beats = p.schedule.beats_s * rate
        self.joint = round(p.joint_window_s * rate)
        self.frame = round(p.reeds.frame_s * rate)
        self.shortest_frame = p.reeds.shortest_frame_s * rate
        self.onset_step = max(1, round(0.001 * rate))


class _LevelMeter:
    """Level of the last two hops without the sound card's offset."""

    def __init__(self, frontend: Frontend, spans: _Spans) -> None:
        self._sound = frontend
        self._spans = spans
        self._weights = _mean_weights(spans.mean)
        self._measured = 0
        """Sample up to which hops were measured ahead."""
        self._ahead: dict[int, float] = {}
        """Their levels that were not asked for yet, by end."""

    def measure_ahead(self) -> None:
        """Measure the levels at the ends of all new hops: of many hops as quickly as of one."""
        hop = self._spans.hop
        count = (self._sound.count - self._measured) // hop
        if count:
            first, self._measured = self._measured + hop, self._measured + count * hop
            ends = range(first, self._measured + 1, hop)
            self._ahead.update(zip(ends, self._levels_db(self._measured, count), strict=True))

    def level_db(self, end: int) -> float:
        """Level of the two hops before `end`, dB re full scale."""
        ahead = self._ahead.pop(end, None)
        return self._levels_db(end, 1)[0] if ahead is None else ahead

    def _levels_db(self, end: int, count: int) -> list[float]:
        """Levels at the ends of `count` hops, the last one at `end`."""
        hop, mean = self._spans.hop, self._spans.mean
        samples = self._sound.window(end, mean + (count - 1) * hop)
        # Overlapping windows without a copy.
        size = samples.itemsize
        longer = np.ndarray((count, mean), float, samples, strides=(hop * size, size))
        length = 2 * hop
        recent, means = longer[:, -length:], np.vecdot(longer, self._weights)
        powers = np.vecdot(recent, recent) / length
        powers -= means * (2.0 * np.add.reduce(recent, axis=1) / length - means)
        return [rms_level_db(power) for power in powers.tolist()]

    def without_offset(self, end: int, length: int) -> Floats:
        """The `length` samples before `end`, less their weighted mean."""
        longer = self._sound.window(end, max(length, self._spans.mean))
        return longer[-length:] - float(longer @ _mean_weights(len(longer)))


class _NoteState:
    """State of the current attack; `restart` resets it in place.

    Attributes:
        onset: sample of the ear on which the attack starts.
        segment: sample from which one reed can be assumed: the onset, or a later jump of pitch.
        track: (sample, f0 in Hz) of the last pitches.
        reeds: the reeds at the last detection.
        pitched: whether the last reading has a pitch.
        resting: number of measured pitches in a row that hardly differ from the one before.
        even: number of measured pitches in a row that move slowly and evenly.
        slope: change of the main pitch from one measurement to the next, Hz per sample.
        measured: the pitches that were measured last; None if there were none.
        is_measured: whether those of the last reading were measured.
        level_db: level of the last reading.
    """

    __slots__ = (
        "even",
        "is_measured",
        "level_db",
        "measured",
        "onset",
        "pitched",
        "reeds",
        "resting",
        "segment",
        "slope",
        "track",
    )

    def __init__(self, track_length: int) -> None:
        self.onset = 0
        self.segment = 0
        self.track: deque[tuple[float, float]] = deque(maxlen=track_length)
        self.reeds: ReedEstimate | None = None
        self.pitched = False
        self.resting = 0
        self.even = 0
        self.slope = 0.0
        self.measured: _Pitches | None = None
        self.is_measured = False
        self.level_db = MINIMUM_LEVEL_DB

    def restart(self, start: int) -> None:
        """Begin at sample `start`."""
        self.onset = self.segment = start
        self.track.clear()
        self.reeds = None
        self.pitched = False
        self.resting = self.even = 0
        self.slope = 0.0
        self.measured = None
        self.is_measured = False

    def measure(self, measured: _Pitches | None, p: EarParameters, rate: float) -> None:
        """Note a measurement, and whether the pitch rests or moves evenly."""
        last, self.measured, self.is_measured = self.measured, measured, True
        if measured is None or last is None or len(last.hz) != len(measured.hz):
            self.resting = self.even = 0
            self.slope = 0.0
            return
        passed, now = measured.centre - last.centre, measured.hz[0]
        moved = abs(cents(now, last.hz[0]))
        self.resting = self.resting + 1 if moved < p.rest_cents else 0
        if passed <= 0.0:
            return
        is_slow = moved * rate < p.slow_cents_s * passed
        expected = last.hz[0] + self.slope * passed
        # A steep slope of an attack, carried on over a gap, leads below 0 Hz.
        is_even = expected > 0.0 and abs(cents(now, expected)) < p.even_cents
        self.even = self.even + 1 if is_slow and is_even else 0
        self.slope = (now - last.hz[0]) / passed

    @property
    def several(self) -> bool:
        """Whether several reeds are known to sound."""
        return self.reeds is not None and bool(self.reeds.others)

    @property
    def alone(self) -> bool:
        """Whether one reed is known to sound alone."""
        return self.reeds is not None and not self.reeds.others


class _ReedSchedule:
    """Decides when to detect reeds; kept over attacks.

    Attributes:
        last: sample of the last detection.
        unexplained: fraction of the energy that the last fit left; None if it failed.
        usual: what it usually leaves.
        moved_cents: range of the pitch in the last frame, cents; 0 if it was still.
        was_alone: whether the last reading with a pitch had no other reed.
        level_changed: whether the level of a reed has changed since the last detection.
        falls: whether the level of the sound falls as it does where reeds are released.
    """

    __slots__ = (
        "_alike",
        "_apart",
        "_holes",
        "_parameters",
        "_powers",
        "_spans",
        "falls",
        "last",
        "level_changed",
        "moved_cents",
        "unexplained",
        "usual",
        "was_alone",
    )

    def __init__(self, spans: _Spans, parameters: ScheduleParameters) -> None:
        self._spans = spans
        self._parameters = parameters
        self.last = 0
        self.unexplained: float | None = None
        self.usual = 1.0
        self.moved_cents = 0.0
        self.was_alone = True
        self.level_changed = False
        self.falls = False
        self._holes: tuple[int, ...] = ()
        """Holes at the last detection, the main one first."""
        self._alike = 0
        """Detections in a row that found these holes again."""
        self._apart: list[list[int]] = []
        """Partials of each reed that stood apart in the first fit after the last detection."""
        self._powers: list[float] = []
        """Their powers in that fit, summed by reed."""

    def is_due(self, end: int, note: _NoteState) -> bool:
        """Whether to detect at sample `end`.

        Seldom while nothing changes, and at once if the known reeds suddenly leave more
        unexplained.
        """
        p, hop = self._parameters, self._spans.hop
        hops = (end - self.last) // hop
        if hops < p.first_hops or (self.falls and note.reeds is not None):
            return False
        threshold = p.more_unexplained * self.usual + p.more_unexplained_floor
        if self.usual < 1.0 and (self.unexplained is None or self.unexplained > threshold):
            return True
        age = end - note.segment
        if note.several:
            calm = self._alike >= p.calm_detections
            if calm and self.level_changed:
                return True
        else:
            calm = note.alone and age > self._spans.beats
        longest = p.calm_hops if calm else p.still_hops
        if note.several and self._alike >= p.calmer_detections:
            longest *= 2
        if self.moved_cents > p.moving_cents and note.several:
            longest //= 2
        elif self.moved_cents > 0.0 and not note.several:
            longest = p.moving_hops
        return hops >= min(longest, p.growth * age / hop)

    def record(self, end: int, holes: tuple[int, ...]) -> None:
        """Note the sounding holes by a detection at sample `end`, the main one first."""
        self.last = end
        self._alike = self._alike + 1 if holes == self._holes else 0
        self._holes = holes
        self._powers, self.level_changed = [], False

    def expect(self, *, young: bool) -> None:
        """Take the fraction that the fit after a detection left unexplained as what is usual.

        Where the holes are as before, it may soon be again what it was then: in a room it comes and
        goes with the reverberation. In a young note it only falls.
        """
        usual = 1.0 if self.unexplained is None else self.unexplained
        if self._alike and not young and self.usual < 1.0:
            usual = max(usual, self._parameters.usual_kept * self.usual)
        self.usual = usual

    def watch(self, fit: HarmonicFit, resolution_hz: float) -> None:
        """Note the levels of the reeds in a fit whose window is 1 / `resolution_hz` long."""
        p = self._parameters
        if len(self._powers) != len(fit.powers):
            self._apart = fit.partials_apart(p.apart * resolution_hz)
            self._powers = fit.powers_in(self._apart)
            return
        powers = fit.powers_in(self._apart)
        at_most = 10.0 ** (p.level_db / 10.0)
        main = powers[0] / self._powers[0]
        self.level_changed = not all(
            main < at_most * power / then and power / then < at_most * main
            for power, then in zip(powers[1:], self._powers[1:], strict=True)
        )


class _Pitches(NamedTuple):
    """f0s in Hz of the sounding reeds, the main one first, and their sample of the ear."""

    hz: tuple[float, ...]
    centre: float


class _Named(NamedTuple):
    """What the fields of a reading say of some reeds.

    Attributes:
        reeds, given: what it follows from: the reeds at the last detection, and the entry of the
            pitch.
        by_loudness: the sounding holes, the main one first, then the loudest.
        target_hz: target of the entry, Hz.
        tab, also, breath, holes, levels, leak_db, leak_hole: as in :class:`Reading`.
    """

    reeds: ReedEstimate | None
    given: Tab
    tab: Tab
    target_hz: float
    also: tuple[Tab, ...]
    breath: Breath | None
    holes: tuple[int, ...]
    by_loudness: tuple[int, ...]
    levels: tuple[tuple[int, float], ...]
    leak_db: float | None
    leak_hole: int | None


class Ear:
    """Analyses one harp through one source."""

    def __init__(
        self,
        rate: int,
        harp: Harp,
        span: tuple[float, float] | None = None,
        parameters: EarParameters = DEFAULT_EAR,
    ) -> None:
        """Prepare for a source.

        Args:
            rate: samples per second of the source, 8,000 at least.
            harp: the harp that is played.
            span: lowest and highest f0 in Hz that are analysed; None takes the harp's. A wider one
                serves where the harp is not known yet.
            parameters: constants.

        Raises:
            EarError: the rate is too low for a harp's notes.
        """
        if rate < MINIMUM_RATE:
            raise EarError(
                f"record with {MINIMUM_RATE} samples per second or more, best with 44100: "
                f"{rate} are too few for a harp's notes"
            )
        p = parameters
        self._rate = rate
        self._harp = harp
        self._parameters = p
        self._echo = EchoCanceller(rate)
        self._sound = Frontend(rate, memory=2.0 * p.reeds.frame_s, parameters=p.frontend)
        self._spans = _Spans(self._sound.rate, p)
        self._meter = _LevelMeter(self._sound, self._spans)
        self._gate = LevelGate(self._spans.hop / self._sound.rate, p.gate)
        pitches = [harp.hz(tab) for tab in harp.entries]
        lowest, highest = span or (0.92 * min(pitches), 1.08 * max(pitches))
        self._pitch = PitchTracker(self._sound, self._spans.aubio_hop, lowest, highest, p.pitch)
        self._reeds = ReedDetector(harp, self._sound.rate, p.reeds)
        self._tab_tracker = TabTracker(harp, p.tab)
        self._note = _NoteState(p.track_length)
        self._named: _Named | None = None
        """What was named last, which stays until a detection or another entry."""
        self._schedule = _ReedSchedule(self._spans, p.schedule)
        self._levels = deque([MINIMUM_LEVEL_DB], maxlen=p.schedule.falling_hops)
        """Levels of the last hops."""
        self._end = 0

    def analyze(self, block: Block) -> list[Reading]:
        """Return the readings that one more block makes possible, in order."""
        self._sound.resample(self._echo.cancel(block.samples, block.reference))
        self._meter.measure_ahead()
        readings = []
        while (step := self._samples_to_next()) and self._end + step <= self._sound.count:
            self._end += step
            readings.append(self._read())
        return readings

    def _samples_to_next(self) -> int:
        """Samples until the next reading."""
        note = self._note
        moves = note.resting < self._parameters.rest_readings
        if self._gate.open and moves and self._end - note.onset < self._spans.quick:
            return self._spans.quarter
        return self._spans.hop - self._end % self._spans.hop

    def _read(self) -> Reading:
        """The reading at sample `self._end`."""
        note = self._note
        level = self._meter.level_db(self._end)
        onset = None
        whole_hop = self._end % self._spans.hop == 0
        if whole_hop:
            self._schedule.falls = self._levels[0] - level > self._parameters.schedule.falling_db
            self._levels.append(level)
            attack = self._gate.update(level, note.pitched, note.several)
            onset = self._begin_attack() if attack else None
        if not self._gate.open:
            self._restart(self._end)
            return self._unpitched_reading(level, onset)
        pitch = self._extrapolated_pitches(level) if whole_hop else None
        if pitch is None:
            pitch = self._measure_pitches(whole_hop=whole_hop)
        note.level_db = level
        note.pitched = pitch is not None
        if pitch is None:
            return self._unpitched_reading(level, onset)
        tab = self._track_tab(pitch.hz[0], pitch.centre)
        return self._pitched_reading(level, onset, pitch.hz, pitch.centre, tab)

    def _extrapolated_pitches(self, level: float) -> _Pitches | None:
        """The pitches by those measured one hop ago; None if they have to be measured."""
        note, p, hop = self._note, self._parameters, self._spans.hop
        measured = note.measured
        if (
            note.even < p.even_readings
            or measured is None
            or not note.is_measured
            or abs(level - note.level_db) > p.rest_db
            or self._is_young(note.segment)
            or self._schedule.is_due(self._end, note)
        ):
            return None
        note.is_measured = False
        main, *others = measured.hz
        return _Pitches((main + hop * note.slope, *others), measured.centre + hop)

    def _measure_pitches(self, *, whole_hop: bool) -> _Pitches | None:
        """Measure the pitches, and detect the reeds if that is due; None without a pitch."""
        note, schedule = self._note, self._schedule
        # With several reeds the joint fit follows the main one.
        several = note.several
        estimate = None if several else self._pitch.estimate(self._end, note.onset)
        if not several:
            schedule.unexplained = estimate.unexplained if estimate is not None else None
        if whole_hop and schedule.is_due(self._end, note):
            self._detect_reeds(estimate)
            schedule.record(self._end, self._sounding_holes())
            if several and note.alone:
                estimate = self._pitch.estimate(self._end, note.onset)
        pitches = self._main_pitch(estimate)
        if schedule.last == self._end:
            schedule.expect(young=self._is_young(note.segment))
        note.measure(pitches, self._parameters, self._sound.rate)
        return pitches

    def _track_tab(self, hz: float, centre: float) -> Tab:
        """Assign an entry to a pitch; a jump without an attack begins a new segment."""
        note, schedule = self._note, self._schedule
        tab, jumped = self._tab_tracker.assign(hz, young=self._is_young(note.onset))
        if jumped:
            note.track.clear()  # no glide leads from one reed to another
        note.track.append((centre, hz))
        alone = not note.several
        was_alone, schedule.was_alone = schedule.was_alone, alone
        if jumped and alone and was_alone:
            # Another note without an attack. (With several reeds the main one may change.)
            note.segment = max(note.segment, round(centre))
            note.reeds = None
            note.track.clear()
        return tab

    def _begin_attack(self) -> int:
        """Begin a new note; return the source sample on which it starts."""
        span = (self._parameters.gate.look_back_hops + 2) * self._spans.hop
        window = self._meter.without_offset(self._end, span)
        start = max(0, self._end - span + attack_start(window, self._spans.onset_step))
        self._restart(start)
        return self._sound.source_sample(start)

    def _restart(self, start: int) -> None:
        self._note.restart(start)
        self._pitch.restart()
        self._tab_tracker.restart()
        self._reeds.restart()

    def _detect_reeds(self, estimate: PitchEstimate | None) -> None:
        """Detect the reeds in the frame that ends now."""
        note = self._note
        age, hop = self._end - note.segment, self._spans.hop
        # In whole hops, so that what depends on a frame's length alone is computed once.
        length = self._spans.frame if age >= self._spans.frame else age // hop * hop
        if length < self._spans.shortest_frame:
            return
        frame = self._sound.window(self._end, length)
        track = self._track_over(length)
        moved = 0.0 if track is None else cents(float(track.max()), float(track.min()))
        self._schedule.moved_cents = moved
        last = note.track[-1][1] if note.track else None
        guess = last if note.several or estimate is None else estimate.hz
        if track is not None and guess is not None:
            frame = unwarp(frame, track)
            guess = float(np.mean(track))
        held = self._tab_tracker.held if guess is not None else None
        reeds = self._reeds.detect(
            frame,
            guess,
            held,
            young=self._is_young(note.segment),
            gliding=track is not None,
            end=self._end,
        )
        if reeds is not None and track is not None and guess == reeds.hz and last is not None:
            # The unwarped frame has the mean pitch; the reed itself has moved on.
            reeds = replace(reeds, hz=last)
        note.reeds = reeds

    def _sounding_holes(self) -> tuple[int, ...]:
        """The main hole, then the others that count as sounding; none without reeds."""
        reeds = self._note.reeds
        if reeds is None:
            return ()
        sounding_db = self._parameters.reeds.sounding_db
        return (reeds.tab.hole, *(hole for hole, db in reeds.levels if db > sounding_db))

    def _is_young(self, start: int) -> bool:
        return self._end - start < self._spans.young

    def _track_over(self, length: int) -> Floats | None:
        """f0 at each of the last `length` samples; None if it hardly moves."""
        track = self._note.track
        if len(track) < 3:
            return None
        recent = [hz for at, hz in track if at >= self._end - length]
        if len(recent) < 3 or cents(max(recent), min(recent)) < self._parameters.still_cents:
            return None
        at, hz = np.array(track).T
        slope = (hz[-1] - hz[-3]) / (at[-1] - at[-3])
        ahead = predict(hz[-1], slope, self._end - at[-1], self._parameters.pitch.max_ratio)
        at, hz = np.append(at, self._end), np.append(hz, ahead)
        return np.interp(np.arange(self._end - length, self._end), at, hz)

    def _main_pitch(self, estimate: PitchEstimate | None) -> _Pitches | None:
        """The pitches of the sounding reeds; None without one that is reliable."""
        note, p = self._note, self._parameters
        reeds = note.reeds
        if reeds is None or (estimate is not None and not reeds.others):
            return _Pitches((estimate.hz,), estimate.centre) if estimate is not None else None
        main = reeds.hz
        if note.track and abs(cents(note.track[-1][1], main)) < 100.0:
            main = note.track[-1][1]
        length = min(self._end - note.segment, self._spans.joint) & ~1
        window = self._sound.window(self._end, length)
        fit = fit_harmonics(
            window, self._sound.rate, (main, *reeds.others[: p.max_joint_reeds - 1])
        )
        schedule = self._schedule
        schedule.unexplained = fit.unexplained if fit is not None else None
        if fit is not None:
            schedule.watch(fit, self._sound.rate / length)
        if fit is None or fit.unexplained > p.max_unexplained:
            note.track.clear()  # it may be what misled the fit
            return None
        return _Pitches(fit.hz, self._end - (length + 1) / 2.0)

    def _pitched_reading(
        self,
        level: float,
        onset: int | None,
        pitches: tuple[float, ...],
        centre: float,
        tab: Tab,
    ) -> Reading:
        hz, reeds = pitches[0], self._note.reeds
        named = self._named
        if (
            named is None
            or named.reeds is not reeds
            or not (named.given is tab or named.given == tab)
        ):
            named = self._named = self._name(reeds, tab)
        if named.tab is not tab:
            self._tab_tracker.override(named.tab)
        return Reading(
            sample=self._sound.source_sample(centre),
            heard=self._sound.heard(self._end),
            rate=self._rate,
            hz=hz,
            level_db=level,
            sounding=True,
            onset=onset,
            tab=named.tab,
            cents=cents(hz, named.target_hz),
            also=named.also,
            breath=named.breath,
            holes=named.holes,
            pitches=tuple(zip(named.by_loudness, pitches, strict=False)),
            leak_db=named.leak_db,
            leak_hole=named.leak_hole,
            levels=named.levels,
        )

    def _name(self, reeds: ReedEstimate | None, given: Tab) -> _Named:
        """Name what sounds, from the reeds and the entry of the pitch."""
        tab, also = given, self._harp.same_pitch(given)
        breath: Breath | None = None if also else tab.breath
        levels: tuple[tuple[int, float], ...] = ()
        if reeds is not None:
            levels = reeds.levels
            twin = also and reeds.breath is not None and reeds.tab in (tab, *also)
            if twin or (reeds.others and reeds.tab.hole != tab.hole):
                tab, breath = reeds.tab, reeds.breath
                also = self._harp.same_pitch(tab)
            levels = tuple((hole, db) for hole, db in levels if hole != tab.hole)
        ranked = sorted(levels, key=_loudness, reverse=True)
        sounding_db = self._parameters.reeds.sounding_db
        by_loudness = (tab.hole, *(hole for hole, db in ranked if db > sounding_db))
        leak_hole, leak_db = ranked[0] if ranked else (None, None)
        holes = tuple(sorted(set(by_loudness)))
        target_hz = self._harp.hz(tab)
        return _Named(
            reeds,
            given,
            tab,
            target_hz,
            also,
            breath,
            holes,
            by_loudness,
            levels,
            leak_db,
            leak_hole,
        )

    def _unpitched_reading(self, level: float, onset: int | None) -> Reading:
        return Reading(
            sample=self._sound.source_sample(self._end - self._spans.hop),
            heard=self._sound.heard(self._end),
            rate=self._rate,
            level_db=level,
            sounding=self._gate.open,
            onset=onset,
        )


@lru_cache(maxsize=16)
def _mean_weights(length: int) -> Floats:
    """Weights of a mean with less weight at the ends.

    A note that has just ended leaves almost nothing.
    """
    return hann(length) / hann(length).sum()


def _loudness(level: tuple[int, float]) -> float:
    return level[1]


def analyze_blocks(
    blocks: Iterable[Block], rate: int, harp: Harp, span: tuple[float, float] | None = None
) -> Iterator[Reading]:
    """Yield the readings of all blocks; the other arguments are those of :class:`Ear`."""
    ear = Ear(rate, harp, span)
    for block in blocks:
        yield from ear.analyze(block)
