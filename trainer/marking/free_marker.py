"""Marking a pass without a clock: each step waits until it has been held in tune.

A step is held by consecutive readings whose pitch is within tolerance of the sound that is due, on
the right holes. Dropouts of up to 60 ms are allowed. Of a glide, the first sound must be there for
a moment and the last one held; of a ladder, each rung must be held. A note with a vibrato is held
for some cycles of it, and so is a shake, on either of its sounds. The attack of a note may follow
that of its grace note. The same sound again needs a new attack; another hole of the same pitch,
such as draw 2 after blow 3, does not, because nothing distinguishes it from the sound held on. An
optional step is left out where the next one is played instead. A note with a fall, once it has been
held, goes on until it stops or the next one begins.

Figures are those of :mod:`trainer.marking.measurement`, from the last attack to the moment at which
the step was held, or to the end of its fall. A slurred step begins where the pitch leaves that of
the step before. Nothing is early or late.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from trainer.drill import BeatClock, CleannessRule, Drill, Sound, Step, format_sound
from trainer.ear import Reading
from trainer.harp import Harp
from trainer.marking.follower import Segment, sounds_the_same
from trainer.marking.loudness import accent_db
from trainer.marking.mark import Mark, Measured, Result
from trainer.marking.marker import make_mark
from trainer.marking.measurement import measure_step
from trainer.marking.parameters import FREE_CLOCK
from trainer.marking.reading_history import ReadingHistory
from trainer.marking.score import pass_score
from trainer.marking.target import StepTarget, absolute_cents, reed_mask, sounding_mask
from trainer.marking.tuning_sentence import explain_tuning


class FreeMarker:
    """Marks one pass through a drill that waits for the player."""

    def __init__(
        self, drill: Drill, harp: Harp, rate: int, first: int = 0, last: int | None = None
    ) -> None:
        """Start before the first step.

        Args:
            drill: the drill.
            harp: the harp it is played on.
            rate: sample rate in hertz.
            first: index of the first step to mark.
            last: index after the last step to mark; None marks all from `first`.

        Raises:
            HarpError: the harp cannot play one of the steps.
        """
        self._drill, self._harp, self._rate = drill, harp, rate
        self._clock = BeatClock(0, drill.tempo, rate)
        self._targets = [StepTarget.of(step, harp, self._clock) for step in drill.steps[first:last]]
        self._first = first
        self._history = ReadingHistory()
        self._marks: list[Mark] = []
        self._figures: dict[Step, Measured] = {}
        self._last_sample: int | None = None
        self._was_silent = True
        self._attack_frame = 0
        self._attack_sample = 0
        self._tries = 0
        self._slurred_from: tuple[float, ...] = ()
        """Pitches of the step before in cents from A4 = 440 Hz, while it may be held on; empty once
        the step that is due is attacked."""
        self._is_attacked = True
        """Whether the step that is due has an attack, or follows by a slur that needs none."""
        self._place = 0
        """Index of the sound, among the step's, that is due."""
        self._held_samples = 0
        self._dropout_samples = 0
        self._next_samples = 0
        """Samples for which the step after the one that is due has been played instead."""
        self._next_frame = 0
        """Index of the first of their readings."""
        self._is_falling = False
        """Whether the step that is due has been held, and may still fall."""
        self._held_bounds: list[tuple[int, int]] = []
        """First and last sample of each sound of the step that has been held."""

    @property
    def reached(self) -> int:
        """Index of the step that is due; one past the last when all are done."""
        return self._first + len(self._marks)

    @property
    def held_s(self) -> float:
        """Time in seconds for which the sound that is due has been held in tune."""
        return self._held_samples / self._rate

    @property
    def done(self) -> bool:
        """Whether every step has been held."""
        return len(self._marks) == len(self._targets)

    def observe(self, reading: Reading) -> list[Mark]:
        """Take the next reading.

        Returns:
            The mark of the step that has been held with it, if one has.
        """
        elapsed = 0 if self._last_sample is None else reading.sample - self._last_sample
        self._last_sample = reading.sample
        frame = len(self._history)
        self._history.append(reading)
        if self.done:
            return []
        is_sounding = reading.sounding or reading.hz is not None
        is_attack = reading.onset is not None or (is_sounding and self._was_silent)
        elapsed = max(0, elapsed)
        fallen = []
        if self._is_falling:
            is_over = is_attack or not is_sounding
            if not is_over and not self._is_followed(reading, elapsed):
                return []
            fallen = [self._finish_step((frame if is_over else self._next_frame) - 1)]
            if self.done:
                return fallen
            self._held_samples = 0 if is_over else self._next_samples
        if is_attack and not self._is_inside(reading.sample):
            self._start_try(frame, reading.sample)
        self._was_silent = not is_sounding
        if self._is_held_on(reading):
            self._attack_frame = frame + 1
        if self._is_attacked and self._is_held(reading, elapsed):
            if not self._targets[len(self._marks)].step.fall:
                return [*fallen, self._finish_step(frame)]
            self._is_falling, self._next_samples = True, 0
        elif self._is_passed_over(reading, elapsed):
            return [*fallen, self._leave_out()]
        return fallen

    def result(self, before: tuple[Mark, ...] = (), upto: int | None = None) -> Result:
        """Result of the pass so far.

        Args:
            before: marks of steps before the range, from a pass that this one continues.
            upto: index of the first step that was not due when the pass was stopped. None marks
                the whole range. A step that was never held counts as not played.
        """
        held = [self._mark_due(len(self._history) - 1)] if self._is_falling else []
        to_come = self._targets[len(self._marks) + len(held) :]
        missing = (self._mark(target.step, Measured()) for target in to_come)
        played = *self._marks, *held, *missing
        due = [mark for mark in played if upto is None or mark.step.index < upto]
        marks = (*before, *due)
        score = pass_score(self._drill, marks)
        unplayed = len(self._targets) - len(due)
        result = Result(
            drill=self._drill,
            harp=self._harp.name,
            tempo=self._drill.tempo,
            marks=marks,
            score=score,
            passed=score >= self._drill.goal.pass_mark and not unplayed,
            unplayed=unplayed,
        )
        return explain_tuning(result, self._harp)

    def _is_inside(self, sample: int) -> bool:
        """Whether an attack belongs to the step that has begun: in a shake, after a grace note."""
        step = self._targets[len(self._marks)].step
        if step.shake:
            return self._held_samples > 0
        since = sample - self._attack_sample
        return bool(step.grace and self._tries and since < FREE_CLOCK.grace_s * self._rate)

    def _start_try(self, frame: int, sample: int) -> None:
        """A new attack: the step starts again from its first sound."""
        self._attack_frame = frame
        is_new = sample - self._attack_sample > FREE_CLOCK.same_attack_s * self._rate
        if not self._tries or is_new:
            self._tries += 1
        self._attack_sample = sample
        self._slurred_from = ()
        self._place = self._held_samples = self._dropout_samples = 0
        self._held_bounds = []
        self._is_attacked = True

    def _is_held_on(self, reading: Reading) -> bool:
        """Whether a reading is still nearer to the step before than to the one slurred from it."""
        if not self._slurred_from or reading.hz is None:
            return False
        pitch = absolute_cents(reading.hz)
        after = self._targets[len(self._marks)].path[0]
        before = min(abs(pitch - held) for held in self._slurred_from)
        return bool(before < min(abs(pitch - due) for due in after))

    def _is_held(self, reading: Reading, elapsed: int) -> bool:
        """Whether the step has been held, `elapsed` samples after the last reading."""
        target = self._targets[len(self._marks)]
        step = target.step
        if self._is_right(reading, target, self._place):
            self._held_samples += elapsed + self._dropout_samples
            self._dropout_samples = 0
        elif self._held_samples:
            self._dropout_samples += elapsed
            if self._dropout_samples > FREE_CLOCK.max_dropout_s * self._rate:
                self._held_samples = self._dropout_samples = 0
        if self._dropout_samples or self._held_samples < self._hold_s(step) * self._rate:
            return False
        self._held_bounds.append((reading.sample - self._held_samples, reading.sample))
        last = len(step.sounds) - 1
        if self._place == last:
            return True
        # Only a ladder stops on the sounds between its first and its last.
        while self._place < last - 1 and step.is_glide:
            self._place += 1
            self._held_bounds.append((reading.sample, reading.sample))
        self._place += 1
        self._held_samples = 0
        return False

    def _is_passed_over(self, reading: Reading, elapsed: int) -> bool:
        """Whether the step after an optional one is played in its place."""
        due = self._targets[len(self._marks)]
        return due.step.optional and self._is_followed(reading, elapsed)

    def _is_followed(self, reading: Reading, elapsed: int) -> bool:
        """Whether the step after the one that is due has been played for a moment."""
        due, after = self._targets[len(self._marks)], self._targets[len(self._marks) + 1 :]
        is_next = (
            bool(after)
            and self._is_right(reading, after[0], 0)
            and not self._is_right(reading, due, self._place)
        )
        if not self._next_samples:
            self._next_frame = len(self._history) - 1
        self._next_samples = self._next_samples + elapsed if is_next else 0
        return self._next_samples >= FREE_CLOCK.touch_s * self._rate

    def _leave_out(self) -> Mark:
        """The mark of an optional step that is passed over; the next one is held already."""
        mark = self._mark(self._targets[len(self._marks)].step, Measured())
        self._marks.append(mark)
        self._place = self._dropout_samples = 0
        self._held_samples, self._next_samples = self._next_samples, 0
        self._held_bounds = []
        self._slurred_from = ()
        self._is_attacked = True
        return mark

    def _hold_s(self, step: Step) -> float:
        """Time in seconds that the sound that is due must be held."""
        if step.is_glide and self._place == 0:
            return FREE_CLOCK.touch_s
        hold_s = self._drill.goal.hold
        if step.vibrato:
            return max(hold_s, FREE_CLOCK.min_vibrato_cycles / step.vibrato.hz)
        if step.shake:
            return max(hold_s, FREE_CLOCK.min_shake_cycles / step.shake.hz)
        return hold_s

    def _is_right(self, reading: Reading, target: StepTarget, place: int) -> bool:
        """Whether a reading is in tune with the sound at a place, on the right holes."""
        step = target.step
        if reading.hz is None:
            return False
        below = above = self._drill.goal.tolerance
        if step.vibrato:
            below += step.vibrato.cents * (2.0 if step.dips_in_vibrato else 1.0)
            above += 0.0 if step.dips_in_vibrato else step.vibrato.cents
        others = (*target.shake_pitches, *target.alternative_pitches)
        wanted = np.array((*target.path[place], *others))
        deviation = absolute_cents(reading.hz) - wanted
        is_near = ((deviation >= -below) & (deviation <= above)).any()
        return bool(is_near) and self._has_right_holes(reading, step, step.sounds[place])

    def _has_right_holes(self, reading: Reading, step: Step, sound: Sound) -> bool:
        holes = sounding_mask(reading)
        if not holes:
            return True
        wanted = reed_mask((tab.hole for tab in sound), sound[0].breath)
        if step.shake:
            return not holes & ~reed_mask((tab.hole for tab in step.tabs), sound[0].breath)
        if step.is_gesture:
            return bool(holes & (holes - 1))
        if step.is_chord:
            return holes & wanted == wanted and not holes & ~wanted
        if step.cleanness_rule is CleannessRule.CHORD:
            return bool(holes & (holes - 1))
        if step.cleanness_rule is CleannessRule.CLEAN:
            return reading.leak_db is None or reading.leak_db < FREE_CLOCK.max_leak_db
        return True

    def _mark_due(self, frame: int) -> Mark:
        """The mark of the step that is due, up to a frame."""
        target = self._targets[len(self._marks)]
        segment = Segment(len(self._marks), self._attack_frame, frame + 1, 0.0, None)
        measured = measure_step(
            target,
            self._history,
            segment,
            self._rate,
            self._drill.goal.tolerance,
            held=self._held_bounds,
            held_on=self._held_on(),
        )
        self._figures[target.step] = measured
        if target.step.accent:
            measured = replace(measured, accent_db=accent_db(target.step, self._figures))
        return self._mark(target.step, replace(measured, tries=max(1, self._tries)))

    def _finish_step(self, frame: int) -> Mark:
        target, mark = self._targets[len(self._marks)], self._mark_due(frame)
        self._tries, self._is_falling = 0, False
        self._marks.append(mark)
        self._place = self._held_samples = self._dropout_samples = 0
        self._held_bounds = []
        # The next step may follow by a slur, if its pitch is another.
        self._attack_frame = frame + 1
        self._slurred_from = tuple(target.path[-1])
        self._is_attacked = not self.done and self._may_slur(
            target, self._targets[len(self._marks)]
        )
        return mark

    def _held_on(self) -> str | None:
        """Tab of the sound before the step that is due, where that may be held on."""
        due = len(self._marks)
        if not due or not sounds_the_same(self._targets[due - 1], self._targets[due]):
            return None
        return format_sound(self._targets[due - 1].step.last)

    def _may_slur(self, before: StepTarget, after: StepTarget) -> bool:
        """Whether one step may follow another without an attack.

        Their pitches differ enough for a slur to be heard, or are those of two holes that sound the
        same.
        """
        if before.step.last != after.step.first and sounds_the_same(before, after):
            return True
        nearest = min(abs(a - b) for a in before.path[-1] for b in after.path[0])
        return nearest > FREE_CLOCK.slur_tolerances * self._drill.goal.tolerance

    def _mark(self, step: Step, measured: Measured) -> Mark:
        beat_ms = 60_000.0 / self._drill.tempo
        return make_mark(step, measured, self._drill.goal, beat_ms, harp=self._harp)
