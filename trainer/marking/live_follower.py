"""Following a player who keeps their own time, while they play.

The alignment (:mod:`trainer.marking.alignment`) is decoded online: after each note, and as soon as
a note has lasted long enough to be one, the end of the cheapest path is where the player is. The
player's beat is a tempo curve (:mod:`trainer.marking.tempo_fit`) through the last notes. What a
step is measured and marked by then is provisional: later notes may show that it was another step,
and the beat is known better in the end. :meth:`LiveFollower.passes` finds the passes in all that
was heard, as in a recording.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trainer.drill import BeatClock, Clock, Drill, Step
from trainer.ear import HeardNote, NoteTracker, Reading
from trainer.harp import Harp
from trainer.marking.alignment import Alignment, PlayedStep
from trainer.marking.follower import Segment
from trainer.marking.free_performance import FreePass, find_free_passes
from trainer.marking.mark import Mark
from trainer.marking.marker import make_mark
from trainer.marking.measurement import measure_step
from trainer.marking.parameters import LIVE, TRIES
from trainer.marking.reading_history import ReadingHistory
from trainer.marking.target import StepTarget
from trainer.marking.tempo_fit import fit_tempo


@dataclass(frozen=True, slots=True)
class Position:
    """Where a player is.

    Attributes:
        step: index of the step that was begun last.
        clock: the player's beat, by the last notes.
    """

    step: int
    clock: Clock


class LiveFollower:
    """Follows one player through a drill, reading by reading.

    Attributes:
        readings: all readings so far.
        position: where the player is; None before the drill and outside of it.
    """

    def __init__(self, drill: Drill, harp: Harp, tempo: float, rate: int, steps: range) -> None:
        """Start before the first note.

        Args:
            drill: the drill.
            harp: the harp it is played on.
            tempo: tempo that is asked for, in beats per minute.
            rate: sample rate in hertz.
            steps: indices of the steps that are played.

        Raises:
            HarpError: the harp cannot play one of the steps.
        """
        self.readings: list[Reading] = []
        self.position: Position | None = None
        self._drill, self._harp, self._tempo, self._rate, self._range = (
            drill, harp, tempo, rate, steps,
        )  # fmt: skip
        self._steps: Sequence[Step] = drill.steps[steps.start : steps.stop]
        self._written = drill.clock(rate, tempo=tempo)
        self._alignment = Alignment(self._steps, harp, self._written)
        self._tracker = NoteTracker(harp, with_motion=False)
        self._history = ReadingHistory()
        self._notes: list[HeardNote] = []
        self._tail: list[PlayedStep] = []
        """The last notes that belong to steps, as far as they have ended."""
        self._right: set[int] = set()
        """Steps that were played right."""
        self._marked: set[PlayedStep] = set()
        self._look_at = 0
        """Sample from which the note that sounds is looked at again: each time that it has lasted
        twice as long, because its pitch may settle."""
        self._sounded = 0
        """Sample on which anything sounded last."""

    def observe(self, reading: Reading) -> list[Mark]:
        """Take the next reading.

        Returns:
            Provisional marks of the steps that have ended; a later one of the same step replaces
            an earlier one.
        """
        self.readings.append(reading)
        self._history.append(reading)
        if reading.sounding:
            self._sounded = reading.heard
        if ended := self._tracker.track(reading):
            self._look_at = 0
            for note in ended:
                self._notes.append(note)
                self._alignment.add(note)
            path = self._alignment.path()
            self._tail = path[-LIVE.notes :]
            self._right = {played.step for played in path if played.is_right}
            self._move(self._alignment.step, ended[-1].start)
            return self._new_marks()
        if reading.heard >= self._look_at:
            sounding = self._tracker.unfinished
            if sounding is not None:
                self._look_at = 2 * reading.heard - sounding.start
                self._move(self._alignment.step_with(sounding), sounding.start)
        return []

    @property
    def is_full(self) -> bool:
        """Whether no more readings can be kept."""
        first, last = self.readings[:1], self.readings[-1:]
        return bool(first) and last[0].heard - first[0].heard > LIVE.longest_s * self._rate

    @property
    def done(self) -> bool:
        """Whether most of the drill was played, to its last step, and nothing since."""
        count = len(self._steps)
        if not self._tail or self._tail[-1].step != count - 1:
            return False
        if len(self._right) < TRIES.min_pass * count:  # noodling that is like the end
            return False
        now = self.readings[-1].heard
        return now - self._sounded > LIVE.end_s * self._rate

    def passes(self) -> list[FreePass]:
        """The passes in what was heard, as a recording of it has them.

        Raises:
            OtherPitchError: it is played higher or lower than on that harp.
            StartError: too little of the drill was played.
        """
        self._notes += self._tracker.flush()
        return find_free_passes(
            self._notes, self._drill, self._harp, self._tempo, self._rate, self._range
        )

    def _move(self, step: int | None, start: int) -> None:
        """Move to a step that was begun on a sample."""
        if step is None:
            self.position = None
        elif self.position is None or self.position.step != self._steps[step].index:
            self.position = Position(self._steps[step].index, self._clock(step, start))

    def _clock(self, step: int, start: int) -> Clock:
        """The player's beat up to a step that was begun on a sample."""
        run = [(step, start)]
        for played in reversed(self._tail):
            if played.step == run[-1][0]:
                continue
            if played.step > run[-1][0]:
                break
            run.append((played.step, self._notes[played.note].start))
        run.reverse()
        if len(run) < 2:
            place = self._written.sample(self._steps[step].start)
            return BeatClock(
                start - place, self._tempo, self._rate, self._written.swing, self._written.change
            )
        steps = [self._steps[index] for index, _ in run]
        return fit_tempo(steps, [onset for _, onset in run], self._written).curve

    def _new_marks(self) -> list[Mark]:
        """Marks of the steps that have ended and were not marked so before."""
        marks = []
        for played in self._tail:
            if played not in self._marked:
                self._marked.add(played)
                marks.append(self._mark(played))
        return marks

    def _mark(self, played: PlayedStep) -> Mark:
        """Provisional mark of a step."""
        note, step = self._notes[played.note], self._steps[played.step]
        clock = self._clock(played.step, note.start)
        target = StepTarget.of(step, self._harp, clock)
        measured = measure_step(
            target,
            self._history,
            self._segment(played, target),
            self._rate,
            self._drill.goal.tolerance,
            previous=self._steps[played.step - 1] if played.step else None,
        )
        beat_ms = 1000.0 * clock.beat_s(step.start)
        return make_mark(step, measured, self._drill.goal, beat_ms, harp=self._harp)

    def _segment(self, played: PlayedStep, target: StepTarget) -> Segment:
        """The readings of a note."""
        note, count = self._notes[played.note], len(self._history)
        sample, onset = self._history.sample[:count], self._history.onset[:count]
        attacks = np.flatnonzero(onset == note.start)
        first = int(attacks[0] if len(attacks) else np.searchsorted(sample, note.start))
        end = max(first + 1, int(np.searchsorted(sample, note.end)))
        return Segment(played.step, first, min(end, count), float(note.start - target.at), None)
