"""Marking where the clock is free: each step waits until it has been held in tune.

A step is held by readings in a row whose pitch lies within the tolerance of the sound that is
due, on the right holes; what is out for no longer than 60 ms is forgiven, as a breath that shakes.
Of a glide, the first sound has to be there for a moment and the last one held; of a ladder, each
rung is held. A note with a vibrato is held by its swing. The same sound again needs a new attack.

The figures are those of :mod:`trainer.marking.measurement`, from the last attack to the moment at
which it was held; nothing is early or late.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from trainer.drill import BeatClock, CleannessRule, Drill, Sound, Step
from trainer.ear import Reading
from trainer.harp import Harp
from trainer.marking.follower import Segment
from trainer.marking.mark import Mark, Measured, Result
from trainer.marking.marker import make_mark
from trainer.marking.measurement import measure_step
from trainer.marking.reading_history import ReadingHistory
from trainer.marking.score import total_score
from trainer.marking.target import StepTarget, absolute_cents, reed_mask, sounding_mask

TOUCH_S = 0.1
"""So long the first sound of a glide has to be there."""
FORGIVEN_S = 0.06
AGAIN_S = 0.08
"""Attacks nearer to each other are one."""
CLEAN_DB = -24.0
"""A leak that is louder is one, where a step must be clean."""
CYCLES = 2.0
"""So many of a vibrato are held at least."""


class FreeMarker:
    """Marks one pass through a drill that waits for the player.

    Attributes:
        reached: index of the step that is due; that after the last when all are done.
    """

    def __init__(
        self, drill: Drill, harp: Harp, rate: int, first: int = 0, last: int | None = None
    ) -> None:
        """Start before the first step.

        Args:
            drill: what is to be played.
            harp: the harp in hand.
            rate: samples a second.
            first, last: range of step indices in play, `last` not included; None plays to the end.

        Raises:
            HarpError: the harp cannot play one of the steps.
        """
        self._drill, self._harp, self._rate = drill, harp, rate
        self._clock = BeatClock(0, drill.tempo, rate)
        self._targets = [StepTarget.of(step, harp, self._clock) for step in drill.steps[first:last]]
        self._first = first
        self._history = ReadingHistory()
        self._marks: list[Mark] = []
        self._attack = 0
        self._stage, self._held, self._out = 0, 0, 0
        self._stages: list[tuple[int, int]] = []
        self._tries = self._begun = 0
        self._before: int | None = None
        self._fresh = True
        self._quiet = True

    @property
    def reached(self) -> int:
        """Index of the step that is due."""
        return self._first + len(self._marks)

    @property
    def done(self) -> bool:
        """Whether every step has been held."""
        return len(self._marks) == len(self._targets)

    def observe(self, reading: Reading) -> list[Mark]:
        """Take the next reading.

        Returns:
            the mark of the step that has been held with it, if one was.
        """
        lasted = 0 if self._before is None else reading.sample - self._before
        self._before = reading.sample
        here = len(self._history)
        self._history.append(reading)
        if self.done:
            return []
        sounds = reading.sounding or reading.hz is not None
        if reading.onset is not None or (sounds and self._quiet):
            self._begin(here, reading.sample)
        self._quiet = not sounds
        if not self._fresh or not self._hold(reading, max(0, lasted)):
            return []
        return [self._finish(here)]

    def result(self, before: tuple[Mark, ...] = (), upto: int | None = None) -> Result:
        """What the pass has earned by now.

        Args:
            before: marks of steps before the range, from a pass that this one takes up.
            upto: index of the first step that was not due when the pass was stopped; None marks
                the whole range. A step that was never held counts as not played.
        """
        missing = (self._mark(one.step, Measured()) for one in self._targets[len(self._marks) :])
        due = [mark for mark in (*self._marks, *missing) if upto is None or mark.step.index < upto]
        marks = (*before, *due)
        score = total_score(marks)
        passed = score >= self._drill.goal.pass_mark
        return Result(self._drill, self._harp.name, self._drill.tempo, marks, score, passed)

    def _begin(self, here: int, sample: int) -> None:
        """A new attack: the step is tried again from its first sound."""
        self._attack = here
        if not self._tries or sample - self._begun > AGAIN_S * self._rate:
            self._tries += 1
        self._begun = sample
        self._stage = self._held = self._out = 0
        self._stages = []
        self._fresh = True

    def _hold(self, reading: Reading, lasted: int) -> bool:
        """Whether the step has been held with this reading."""
        target = self._targets[len(self._marks)]
        step = target.step
        if self._is_in(reading, target, self._stage):
            self._held += lasted + self._out
            self._out = 0
        elif self._held:
            self._out += lasted
            if self._out > FORGIVEN_S * self._rate:
                self._held = self._out = 0
        if self._out or self._held < self._needed(step) * self._rate:
            return False
        self._stages.append((reading.sample - self._held, reading.sample))
        last = len(step.sounds) - 1
        if self._stage == last:
            return True
        # A glide does not stop on what lies between; only a ladder does.
        while self._stage < last - 1 and step.is_glide:
            self._stage += 1
            self._stages.append((reading.sample, reading.sample))
        self._stage += 1
        self._held = 0
        return False

    def _needed(self, step: Step) -> float:
        """Seconds that the sound which is due is to be held."""
        if step.is_glide and self._stage == 0:
            return TOUCH_S
        hold = self._drill.goal.hold
        return max(hold, CYCLES / step.vibrato.hz) if step.vibrato else hold

    def _is_in(self, reading: Reading, target: StepTarget, stage: int) -> bool:
        step = target.step
        if reading.hz is None:
            return False
        width = self._drill.goal.tolerance + (step.vibrato.cents if step.vibrato else 0.0)
        off = np.abs(absolute_cents(reading.hz) - np.array(target.path[stage])).min()
        return bool(off <= width) and self._sounds_right(reading, step, step.sounds[stage])

    def _sounds_right(self, reading: Reading, step: Step, sound: Sound) -> bool:
        holes = sounding_mask(reading)
        if not holes:
            return True
        wanted = reed_mask((tab.hole for tab in sound), sound[0].breath)
        if step.is_chord:
            return holes & wanted == wanted and not holes & ~wanted
        if step.cleanness_rule is CleannessRule.CHORD:
            return bool(holes & (holes - 1))
        if step.cleanness_rule is CleannessRule.CLEAN:
            return reading.leak_db is None or reading.leak_db < CLEAN_DB
        return True

    def _finish(self, here: int) -> Mark:
        target = self._targets[len(self._marks)]
        segment = Segment(len(self._marks), self._attack, here + 1, 0.0, None)
        tolerance = self._drill.goal.tolerance
        measured = measure_step(
            target, self._history, segment, self._rate, tolerance, held=self._stages
        )
        measured = replace(measured, tries=max(1, self._tries))
        self._tries = 0
        mark = self._mark(target.step, measured)
        self._marks.append(mark)
        self._stage = self._held = self._out = 0
        self._stages = []
        # The next sound may be slurred to, if it is another one.
        self._attack = here + 1
        self._fresh = not self.done and self._differs(target, self._targets[len(self._marks)])
        return mark

    def _differs(self, before: StepTarget, after: StepTarget) -> bool:
        nearest = min(abs(a - b) for a in before.path[-1] for b in after.path[0])
        return nearest > 2.0 * self._drill.goal.tolerance

    def _mark(self, step: Step, measured: Measured) -> Mark:
        return make_mark(step, measured, self._drill.goal, 60_000.0 / self._drill.tempo)
