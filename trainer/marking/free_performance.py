"""Passes through a drill in a recording without a click.

The alignment (:mod:`trainer.marking.alignment`) gives the path of the player through the drill.
Here it is cut into *tries*, which begin at the start of the drill, and each try into *runs*, in
which the player goes forward. A try that holds most of the drill is a pass. What was played twice
in it counts as it was played last, unless the player went no further then than before. A tempo
curve (:mod:`trainer.marking.tempo_fit`) is fitted to what counts; what happened beside it becomes
remarks.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median

import numpy as np

from trainer.core.quantities import quantity_text
from trainer.drill import BeatClock, Drill, Step, TempoCurve
from trainer.ear import HeardNote
from trainer.harp import STANDARD_KEYS, Harp, parse_key
from trainer.marking.alignment import PlayedStep, align
from trainer.marking.parameters import TRIES
from trainer.marking.pass_search import NO_NOTE, StartError, not_found
from trainer.marking.performance import (
    Performance,
    Remark,
    Try,
    describe_passage,
    describe_place,
)
from trainer.marking.shake_notes import join_shakes
from trainer.marking.target import StepTarget, absolute_cents
from trainer.marking.tempo_fit import TempoFit, fit_tempo

Run = list[PlayedStep]
"""Steps that were played one after another, each later in the drill than the one before."""


class OtherPitchError(StartError):
    """A recording in which a drill is played, but higher or lower than on the selected harp.

    Attributes:
        half_steps: how much higher, in half steps.
        harp: name of the key of a harp on which it would be as written; empty if there is none.
    """

    def __init__(self, sentence: str, half_steps: int, harp: str) -> None:
        super().__init__(sentence)
        self.half_steps, self.harp = half_steps, harp


@dataclass(frozen=True, slots=True)
class FreePass:
    """A pass that was found in a recording.

    Attributes:
        performance: how it was played.
        begin, close: a reading belongs to it if its last sample lies in (`begin`, `close`].
        reached: index of the last step that counts.
    """

    performance: Performance
    begin: int
    close: int
    reached: int


def find_free_passes(
    heard: Sequence[HeardNote],
    drill: Drill,
    harp: Harp,
    tempo: float,
    rate: int,
    steps: range | None = None,
) -> list[FreePass]:
    """The passes through a drill in a recording without a click, in order.

    Args:
        heard: the notes of the recording, in order.
        drill: the drill.
        harp: the harp it is played on.
        tempo: tempo that was asked for, in beats per minute.
        rate: sample rate in hertz.
        steps: indices of the steps of a pass; None for all.

    Raises:
        OtherPitchError: it is played higher or lower than on that harp.
        StartError: too little of the drill is there.
    """
    if not heard:
        raise StartError(NO_NOTE)
    indices = steps or range(len(drill.steps))
    wanted = drill.steps[indices.start : indices.stop]
    heard = join_shakes(heard, wanted)
    written = drill.clock(rate, tempo=tempo)
    recording = _Recording(heard, drill, wanted, harp, written)
    tries = recording.tries(align(heard, wanted, harp, written))
    fraction = _fraction(tries, len(wanted))
    if fraction < TRIES.min_pass and (other := _other_pitch(recording, fraction)):
        raise other
    if fraction < TRIES.min_found:
        raise not_found(drill)
    return recording.passes(tries)


def _fraction(tries: Sequence[_Tried], count: int) -> float:
    """Greatest fraction of the steps that a try has right."""
    return max((tried.right for tried in tries), default=0) / count


def _goes_further(run: Run, before: Run) -> bool:
    """Whether a run goes further than what was played before, or is right further."""
    right, right_before = (
        max((played.step for played in each if played.is_right), default=-1)
        for each in (run, before)
    )
    return run[-1].step > before[-1].step or right > right_before


@dataclass(frozen=True, slots=True)
class _Return:
    """The player went back.

    Attributes:
        left: the step played last before.
        to: the step gone back to.
        right: number of right notes until the player went back again, or the end.
        start: sample of the first note after it.
    """

    left: PlayedStep
    to: PlayedStep
    right: int
    start: int


class _Tried:
    """A try: its runs, and what of them counts.

    Attributes:
        runs: its runs as played.
        kept: what counts of each run that does, in order.
        returns: where the player went back.
        left_out: spans of time that do not count, in samples.
    """

    def __init__(self, runs: Sequence[Run], heard: Sequence[HeardNote], margin: int) -> None:
        self.runs = list(runs)
        self.kept: list[Run] = []
        self.returns: list[_Return] = []
        self.left_out: list[tuple[int, int]] = []
        for i, run in enumerate(self.runs):
            begin = heard[run[0].note].start
            if i:
                left = self.runs[i - 1][-1]
                right = sum(played.is_right for played in run)
                self.returns.append(_Return(left, run[0], right, begin))
            if self.kept and not _goes_further(run, self.counting):
                self._leave_out(heard, begin, run[-1].note, margin)
                continue
            dropped = self._drop_from(run[0].step)
            if dropped is not None:
                self.left_out.append((heard[dropped.note].start - margin, begin - margin))
            self.kept.append(run)

    def _leave_out(self, heard: Sequence[HeardNote], begin: int, last: int, margin: int) -> None:
        """Leave out a run: up to the next note, or to its end."""
        following = heard[last + 1].start - margin if last + 1 < len(heard) else heard[last].end
        self.left_out.append((begin - margin, max(heard[last].end, following)))

    def _drop_from(self, step: int) -> PlayedStep | None:
        """Drop what was kept from a step on; return the first that is dropped."""
        first = None
        while self.kept and self.kept[-1][-1].step >= step:
            run = self.kept.pop()
            before = [played for played in run if played.step < step]
            first = run[len(before)]
            if before:
                self.kept.append(before)
                break
        return first

    @property
    def counting(self) -> list[PlayedStep]:
        """What counts, in order."""
        return [played for run in self.kept for played in run]

    @property
    def right(self) -> int:
        """Number of the steps that are right in what counts."""
        return sum(played.is_right for played in self.counting)


class _Recording:
    """The notes of a recording and the drill that is looked for in them."""

    def __init__(
        self,
        heard: Sequence[HeardNote],
        drill: Drill,
        steps: Sequence[Step],
        harp: Harp,
        written: BeatClock,
    ) -> None:
        self.heard, self.drill, self.steps = heard, drill, steps
        self.harp, self.written = harp, written
        self._margin = round(TRIES.margin_s * written.rate)

    def tries(self, path: Sequence[PlayedStep]) -> list[_Tried]:
        """The tries in a path; what has too few right notes is none."""
        runs: list[Run] = []
        for played in path:
            if runs and played.step > runs[-1][-1].step:
                runs[-1].append(played)
            else:
                runs.append([played])
        groups: list[list[Run]] = []
        for run in runs:
            if not groups or self._begins_try(run, groups[-1]):
                groups.append([run])
            else:
                groups[-1].append(run)
        tries = [_Tried(group, self.heard, self._margin) for group in groups]
        return [tried for tried in tries if self._is_try(tried)]

    def _begins_try(self, run: Run, before: Sequence[Run]) -> bool:
        """Whether a run is the beginning of another try, which may lack its first note."""
        is_whole = before[-1][-1].step + 1 >= TRIES.min_pass * len(self.steps)
        return run[0].step <= is_whole and run[-1].step > run[0].step

    def _is_try(self, tried: _Tried) -> bool:
        count = len(tried.counting)
        return tried.right >= min(TRIES.min_notes, len(self.steps)) and (
            tried.right >= TRIES.min_right * count
        )

    def passes(self, tries: Sequence[_Tried]) -> list[FreePass]:
        """The passes among some tries; the fullest try where none is a pass."""
        count = len(self.steps)
        is_pass = [len(tried.counting) >= TRIES.min_pass * count for tried in tries]
        if not any(is_pass):
            is_pass[max(range(len(tries)), key=lambda i: tries[i].right)] = True
        summaries = tuple(
            self._summary(tried, is_pass=whole) for tried, whole in zip(tries, is_pass, strict=True)
        )
        shared = tuple(self._recording_remarks(tries, summaries))
        passes = []
        for i, tried in enumerate(tries):
            if is_pass[i]:
                before = summaries[i - 1].end if i else 0
                after = summaries[i + 1].start if i + 1 < len(tries) else None
                whole_try = self._pass(tried, before, after)
                performance = replace(
                    whole_try.performance,
                    remarks=(*whole_try.performance.remarks, *shared),
                    tries=summaries,
                )
                passes.append(replace(whole_try, performance=performance))
        return passes

    def _step(self, played: PlayedStep) -> Step:
        return self.steps[played.step]

    def _start(self, played: PlayedStep) -> int:
        """Sample on which a step's own note starts, after a grace note that is heard with it."""
        note, step = self.heard[played.note], self._step(played)
        if not step.grace:
            return note.start
        own = absolute_cents(self.harp.hz(step.first[0]))
        grace = absolute_cents(self.harp.hz(step.grace[0]))
        nearer = (
            sample
            for sample, hz in note.path
            if abs(absolute_cents(hz) - own) < abs(absolute_cents(hz) - grace)
        )
        first = next(nearer, note.start)
        return note.start if note.path and first == note.path[0][0] else first

    def _summary(self, tried: _Tried, *, is_pass: bool) -> Try:
        played = [each for run in tried.runs for each in run]
        counting = tried.counting
        return Try(
            start=self._start(played[0]),
            end=self.heard[played[-1].note].end,
            first=self._step(counting[0]).index,
            last=self._step(counting[-1]).index,
            steps=len({each.step for each in played}),
            is_pass=is_pass,
        )

    def _pass(self, tried: _Tried, before: int, after: int | None) -> FreePass:
        counting, rate = tried.counting, self.written.rate
        cuts = [
            index
            for index, (before, after) in enumerate(pairwise(counting), 1)
            if any(
                self._start(before) < start + self._margin and end <= self._start(after)
                for start, end in tried.left_out
            )
        ]
        steps = [self._step(played) for played in counting]
        fit = fit_tempo(steps, [self._start(each) for each in counting], self.written, cuts)
        skipped = self._skipped(counting, fit)
        stops = self._stop_spans(counting, fit, cuts)
        first, last = counting[0], counting[-1]
        begin = min(self._start(first) - self._margin, max(before, self._start(first) - rate))
        close = max(fit.curve.span(steps[-1].start, steps[-1].end)[1], self.heard[last.note].end)
        close += round(TRIES.tail_s * rate)
        if after is not None:
            close = min(close, after - self._margin)
        remarks = (
            *self._tempo_remarks(fit.curve, steps),
            *sorted(
                [
                    *self._stop_remarks(counting, fit, cuts),
                    *self._back_remarks(tried),
                    *self._skip_remarks(skipped, counting, fit),
                ],
                key=lambda remark: remark.start,
            ),
        )
        performance = Performance(
            fit.curve,
            self.written.tempo,
            remarks,
            skipped=frozenset(self.steps[place].index for place in skipped),
            left_out=tuple(sorted([*tried.left_out, *stops])),
        )
        return FreePass(performance, max(0, begin), close, steps[-1].index)

    def _skipped(self, counting: Sequence[PlayedStep], fit: TempoFit) -> list[int]:
        """Places of the steps that were left out and took no time."""
        skipped: list[int] = []
        for index, (before, after) in enumerate(pairwise(counting), 1):
            if after.step > before.step + 1 and fit.jumps.get(index, 0) < 0:
                skipped += range(before.step + 1, after.step)
        return skipped

    def _stop_spans(
        self, counting: Sequence[PlayedStep], fit: TempoFit, cuts: Sequence[int]
    ) -> Iterator[tuple[int, int]]:
        """Spans in which the player had stopped; what they tried then does not count."""
        for index, length in fit.jumps.items():
            if index in cuts or length < TRIES.stop_s * self.written.rate:
                continue
            step = self._step(counting[index - 1])
            due = fit.curve.span(step.start, step.end)[1]
            begin = max(due, self.heard[counting[index - 1].note].end)
            end = self._start(counting[index]) - self._margin
            if begin < end:
                yield begin, end

    def _tempo_remarks(self, curve: TempoCurve, steps: Sequence[Step]) -> Iterator[Remark]:
        tempo, asked = curve.tempo, self.written.tempo
        first, last = steps[0].start, max(step.end for step in steps)
        start, end = curve.sample(first), curve.sample(last)
        if abs(tempo / asked - 1.0) >= TRIES.tempo_fraction:
            yield Remark("tempo", f"at {tempo:.0f} instead of {asked:g}", start, end, size=tempo)
        third = (last - first) / 3
        early, late = (
            self.written.tempo
            / float(np.mean([curve.slowness(beat + third * i / 8) for i in range(8)]))
            for beat in (first, last - third)
        )
        if abs(late / early - 1.0) >= TRIES.drift_fraction:
            verb = "sped up" if late > early else "slowed down"
            sentence = f"{verb} from {early:.0f} to {late:.0f}"
            yield Remark("drift", sentence, start, end, size=late - early)

    def _stop_remarks(
        self, counting: Sequence[PlayedStep], fit: TempoFit, cuts: Sequence[int]
    ) -> Iterator[Remark]:
        for index, length in fit.jumps.items():
            before, after = counting[index - 1], counting[index]
            seconds = abs(length) / self.written.rate
            is_skip = length < 0 and after.step > before.step + 1
            if index in cuts or is_skip or seconds < TRIES.stop_s:
                continue
            step, start = self._step(after), self._start(after)
            where = f"before {describe_place(step, self.drill)}"
            if length > 0:
                sentence = f"stopped for {seconds:.1f} s {where}"
                yield Remark("stop", sentence, start - length, start, step.index, seconds)
            else:
                sentence = (
                    f"{seconds:.1f} s missing {where}: hold the note, or the rest, to its end"
                )
                yield Remark("rest", sentence, start, start - length, step.index, seconds)

    def _back_remarks(self, tried: _Tried) -> Iterator[Remark]:
        for back in tried.returns:
            left, to = self._step(back.left), self._step(back.to)
            count = back.left.step - back.to.step + 1
            if back.right < min(count, TRIES.min_notes):
                continue  # noodling that happens to be like the drill
            passage = describe_passage(to, left, self.drill)
            if count <= 1:
                kind, sentence = "repeat", f"played step {to.index + 1} again"
            elif passage.startswith("bar"):
                kind, sentence = "repeat", f"repeated {passage}"
            else:
                kind = "back"
                where = describe_place(to, self.drill)
                reached = describe_place(left, self.drill)
                sentence = f"went back from {reached} to {where}"
            yield Remark(kind, sentence, self._start(back.left), back.start, to.index, float(count))

    def _skip_remarks(
        self, skipped: Sequence[int], counting: Sequence[PlayedStep], fit: TempoFit
    ) -> Iterator[Remark]:
        for before, after in pairwise(counting):
            if before.step + 1 not in skipped or after.step == before.step + 1:
                continue
            first, last = self.steps[before.step + 1], self.steps[after.step - 1]
            passage = describe_passage(first, last, self.drill)
            start, count = self._start(after), after.step - before.step - 1
            yield Remark("skip", f"skipped {passage}", start, start, first.index, float(count))

    def _recording_remarks(
        self, tries: Sequence[_Tried], summaries: Sequence[Try]
    ) -> Iterator[Remark]:
        """Remarks on the recording as a whole."""
        yield from self._tuning_remark(tries)
        for tried, summary in zip(tries, summaries, strict=True):
            if not summary.is_pass:
                left = self._step(tried.runs[-1][-1])
                bar = f"bar {left.bar}" if left.bar else "the pick-up"
                sentence = f"a false start, broken off in {bar}"
                count = float(summary.steps)
                yield Remark("false start", sentence, summary.start, summary.end, left.index, count)
        whole = [summary for summary in summaries if summary.is_pass]
        if len(whole) > 1:
            yield Remark(
                "tries",
                f"{len(whole)} whole tries; the best counts",
                whole[0].start,
                whole[-1].end,
                size=float(len(whole)),
            )

    def _tuning_remark(self, tries: Sequence[_Tried]) -> Iterator[Remark]:
        known = []
        for played in (each for tried in tries for each in tried.counting):
            step = self._step(played)
            if played.is_right and not (step.has_path or step.is_chord):
                (wanted,) = StepTarget.of(step, self.harp, self.written).path[0]
                known.append(absolute_cents(self.heard[played.note].hz) - wanted)
        if len(known) < TRIES.min_tuning_notes:
            return
        middle = median(known)
        alike = sum(abs(cents - middle) <= TRIES.alike_cents for cents in known)
        if abs(middle) >= TRIES.off_cents and alike >= TRIES.alike_fraction * len(known):
            side = "flat" if middle < 0.0 else "sharp"
            a4 = self.harp.a4 * 2.0 ** (middle / 1200.0)
            size = quantity_text(round(abs(middle)), "cent")
            sentence = (
                f"the whole harp or recording is {size} {side}; "
                f"mark it at its own pitch with --a4 {a4:.1f}"
            )
            yield Remark("tuning", sentence, self.heard[0].start, self.heard[-1].end, size=middle)


def _other_pitch(recording: _Recording, as_written: float) -> OtherPitchError | None:
    """The error of a drill that is played higher or lower than written; None if it is not.

    Args:
        recording: the recording.
        as_written: fraction of the steps that are right as written.
    """
    best, shift = 0.0, 0
    for half_steps in _likely_shifts(recording):
        path = align(
            recording.heard,
            recording.steps,
            recording.harp,
            recording.written,
            half_steps=half_steps,
        )
        fraction = _fraction(recording.tries(path), len(recording.steps))
        if fraction > best:
            best, shift = fraction, half_steps
    if best < TRIES.min_pass or best < as_written + TRIES.min_gain:
        return None
    key = _key_above(recording.harp, shift)
    if abs(shift) == 12:
        where = f"an octave {'higher' if shift > 0 else 'lower'} than written"
    else:
        where = f"on a harp in {key}" if key else f"{quantity_text(abs(shift), 'half step')} off"
    remedy = f"; mark it so with --as-played, or with --harp '{key}'" if key else ""
    sentence = f"{recording.drill.name} is played {where}{remedy}"
    return OtherPitchError(sentence, shift, key)


def _likely_shifts(recording: _Recording) -> list[int]:
    """Shifts in half steps by which the heard pitches are most like the drill's."""
    targets = [StepTarget.of(step, recording.harp, recording.written) for step in recording.steps]
    wanted = _histogram([(target.path[0][0], float(target.step.beats)) for target in targets])
    played = _histogram(
        [(absolute_cents(note.hz), float(note.end - note.start)) for note in recording.heard]
    )
    likeness = {
        shift: float(np.minimum(np.roll(wanted, shift), played).sum())
        for shift in range(-_LARGEST_SHIFT, _LARGEST_SHIFT + 1)
        if shift
    }
    return sorted(likeness, key=lambda shift: -likeness[shift])[:_SHIFTS_TRIED]


_LARGEST_SHIFT, _SHIFTS_TRIED = 24, 5
"""Half steps that are tried at most, and number of shifts that are tried in full. Chosen by
hand."""


def _histogram(
    pitches: Sequence[tuple[float, float]],
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Relative weight of each half step from 60 below A4 = 440 Hz to 67 above.

    Args:
        pitches: (cents from A4 = 440 Hz, weight) of each note.
    """
    histogram = np.zeros(128)
    for cents, weight in pitches:
        histogram[int(np.clip(round(cents / 100.0) + 60, 0, 127))] += weight
    return histogram / max(histogram.sum(), 1e-9)


def _key_above(harp: Harp, half_steps: int) -> str:
    """Name of the key of the harp that is higher by `half_steps`; empty if there is none."""
    names = [
        f"{octave}{key}" for octave in ("", "low ", "high ", "double-low ") for key in STANDARD_KEYS
    ]
    tonic = harp.key.tonic + half_steps
    return next((name for name in names if parse_key(name).tonic == tonic), "")
