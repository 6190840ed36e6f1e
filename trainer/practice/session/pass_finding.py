"""Find the passes of a recording: those saved with it, else in its sound."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import replace

from trainer.drill import BeatClock, Drill
from trainer.ear import Ear, HeardNote, Reading, track_notes
from trainer.marking import StartError, find_free_passes, find_passes
from trainer.practice.passes import OwnTime, Pass, saved_own_time, saved_passes
from trainer.practice.plan import Plan
from trainer.practice.session.recovery import AnalysedBlock
from trainer.sound import Source

EARLY_S = 0.1
"""Time by which the first note of another pass may come too early, in seconds."""
MAX_KEPT_S = 300.0
"""Longest recording whose readings are kept from finding its passes until they are marked, in
seconds: at most some 70 megabytes."""


class PassFinder:
    """Finds the passes of a drill in a recording.

    Attributes:
        analysed: the blocks that were analysed to find them, all or none of the recording.
    """

    def __init__(self, plan: Plan, source: Source) -> None:
        self.analysed: deque[AnalysedBlock] = deque()
        self._plan, self._source = plan, source

    def find(self, drill: Drill, steps: range) -> list[Pass]:
        """Return the passes, in order.

        Args:
            drill: what is played.
            steps: indices of the steps of a pass.

        Raises:
            StartError: there is none.
        """
        if self._plan.start is None and (saved := saved_passes(self._source.tags, drill)):
            return list(saved)
        plan, rate = self._plan, self._source.rate
        has_beat = plan.click or plan.start is not None or _trainer_plays(drill)
        if has_beat:
            return self._passes_on(self._clocks(drill), drill, steps)
        notes = self._notes()
        own_time = saved_own_time(self._source.tags, drill) or OwnTime(
            drill.tempo, steps.start, steps.stop
        )
        tempo = plan.tempo or own_time.tempo
        played = range(own_time.first, own_time.last)
        return own_time.passes(find_free_passes(notes, drill, plan.harp, tempo, rate, played))

    def _passes_on(self, clocks: list[BeatClock], drill: Drill, steps: range) -> list[Pass]:
        """Return the passes that begin on some clocks; only the last waits for a late player."""
        rate = self._source.rate
        passes: list[Pass] = []
        for clock in clocks:
            if passes:  # played without a break, the next begins before the tail has ended
                first = clock.sample(drill.steps[steps[0]].start) - round(EARLY_S * rate)
                passes[-1] = replace(passes[-1], close=min(passes[-1].close, first))
            begin = passes[-1].close if passes else 0
            waits = clock is clocks[-1]
            passes.append(Pass.of(drill, clock, steps, begin, self._plan.played_bars, waits=waits))
        return passes

    def _clocks(self, drill: Drill) -> list[BeatClock]:
        """Return where the drill's beats fall, pass by pass, in time with a click.

        Raises:
            StartError: the drill is not in the recording.
        """
        plan, rate = self._plan, self._source.rate
        tempo = plan.tempo or drill.tempo
        if plan.start is not None:
            zero = round(self._valid_start(plan.start) * rate)
            return [drill.clock(rate, zero, tempo)]
        notes = self._notes()
        return find_passes(notes, drill, plan.harp, tempo, rate)

    def _notes(self) -> list[HeardNote]:
        """Return the notes of the recording; passes are found without their motion."""
        return list(track_notes(self._readings(), self._plan.harp, with_motion=False))

    def _readings(self) -> Iterator[Reading]:
        """Analyse the whole recording.

        The readings are kept, unless the recording is long or played aloud; then it is read and
        analysed once more later.
        """
        source = self._source
        ear = Ear(source.rate, self._plan.harp)
        is_long = source.frames is None or source.frames > MAX_KEPT_S * source.rate
        if is_long or source.is_paced:
            reader = source.reader()
            try:
                for block in reader.blocks():
                    yield from ear.analyze(block)
            finally:
                reader.close()
            return
        for block in source.blocks():
            readings = ear.analyze(block)
            self.analysed.append(AnalysedBlock(block, readings))
            yield from readings

    def _valid_start(self, start: float) -> float:
        """Return the second on which the drill's first beat falls.

        It may lie before the recording, as long as some of the drill may be in it.

        Raises:
            StartError: none of the drill would be in the recording.
        """
        frames = self._source.frames
        seconds = math.inf if frames is None else frames / self._source.rate
        if not abs(start) < seconds:
            raise StartError(
                f"the drill's first beat cannot fall on second {start:g} of "
                f"{self._plan.source.file}, which is {seconds:.1f} s long"
            )
        return start


def _trainer_plays(drill: Drill) -> bool:
    """Whether a drill is played in time with the trainer, or has solos, which need its click."""
    return bool(drill.solos or drill.ground) or any(step.call for step in drill.steps)
