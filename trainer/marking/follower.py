"""Which readings belong to which step: an online score follower.

A left-to-right hidden Markov model, decoded by Viterbi with a beam (Rabiner 1989, Proceedings of
the IEEE 77(2); score following with it: Orio and Déchelle 2001, ICMC; both from memory). Costs are
negative log probabilities: a path's cost is the sum of its emission and transition costs, and the
cheapest path wins. Each step has three hidden states:

    gap 0 ──▶ step 0 (right | wrong) ──▶ gap 1 ──▶ step 1 (right | wrong) ──▶ gap 2 …

- **gap**: the player rests, or plays something that the drill does not ask for. Silence costs
  nothing here, sound a little; nothing either while the trainer plays a call, which a recording
  may hold.
- **right**: the step is played as written. A reading costs its distance from the step's pitch. A
  shake has the pitches of both its sounds, a note with a scoop or fall all those between, and one
  with a grace note that of the grace note, too; it is then due as long before its beat.
- **wrong**: the step is played wrong. Every sounding reading costs the same, and entering costs
  more. Right and wrong change into each other without an attack: a note may be scooped into, or
  slip.

Transitions:

- Entering a step costs more the further its due time is away. The distance counts from the beat or
  from the lateness of the step before, whichever costs less, and only up to a limit. So a
  hesitation is paid for once, and a player who has lost the beat is still followed.
- Within a shake, and between a grace note and its note, an attack costs nothing; nor does it in a
  vibrato, whose reflections in a room may swell like attacks.
- An attack makes entering free. Without one, a change of pitch is taken as a slur. A step of the
  same pitch cannot be distinguished from the one before it being held on: it is entered on its
  beat at a cost below that of skipping it (:func:`is_held_on`).
- From gap to gap, a step is skipped.

Instead of back-pointers, each state carries the chain of segments that led to it (token passing;
Young, Russell and Thornton 1989, Cambridge technical report, from memory). Memory does not grow
with time, and the best path is known at every moment. The beam keeps the time per reading constant
for a drill of any length.

The costs are in :class:`trainer.marking.parameters.FollowerParameters`.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf, isnan
from typing import NamedTuple

from trainer.drill import CleannessRule
from trainer.ear import Reading
from trainer.marking.parameters import FOLLOWER, FollowerParameters
from trainer.marking.target import StepTarget, absolute_cents, sounding_mask


class Segment(NamedTuple):
    """The readings assigned to a step.

    Attributes:
        step: index among the follower's targets.
        start: index of its first reading.
        end: index of the first reading after it.
        lateness: samples between the step's due time and its first reading; negative is early.
        previous: the segment before it; None for the first.
    """

    step: int
    start: int
    end: int
    lateness: float
    previous: Segment | None


class _Entrance(NamedTuple):
    """How a path entered a step: first reading, lateness in samples, and the segment before."""

    start: int
    lateness: float
    previous: Segment | None


@dataclass(slots=True)
class _Observation:
    """A reading, with what does not depend on the step.

    Attributes:
        frame: index of the reading.
        time: its time in samples.
        is_sounding: whether anything sounds.
        is_attack: whether an attack is detected.
        gap_exit: transition cost from a gap into a step.
        gap_emission: emission cost in a gap.
        is_unidentified: whether neither pitch nor holes are known.
        pitch: cents from A4 = 440 Hz; NaN where there is none.
        holes: bit mask of the reeds that sound.
    """

    frame: int
    time: int
    is_sounding: bool
    is_attack: bool
    gap_exit: float
    gap_emission: float
    is_unidentified: bool
    pitch: float
    holes: int


_NO_ENTRANCE = _Entrance(0, 0.0, None)


@dataclass(slots=True)
class _StepStates:
    """The hidden states of a step, with the cost of the cheapest path to each.

    Attributes:
        costs: the model's parameters.
        step: index of the step.
        due: sample on which it should start.
        time_scale: length in samples that the distance from the due time is divided by.
        full_length: length in samples from which leaving the step is free.
        low, high: range of its pitches, in cents from A4 = 440 Hz.
        reeds: bit mask of its reeds.
        is_chord: whether it asks for more than one hole at once.
        is_by_one_hole: whether it asks for a chord and names one hole.
        grace: pitches of its grace note, in cents from A4 = 440 Hz.
        reattack: transition cost of an attack within the step.
        slur: transition cost from the step before without an attack.
        skip: transition cost of leaving it out.
        gap, gap_path: cost of the gap before the step, and the last segment on the path to it.
        right, right_entrance: cost of the step played right, and how its path entered the step.
        wrong, wrong_entrance: the same of the step played wrong.
        best: the least of the three costs.
    """

    costs: FollowerParameters
    step: int
    due: float
    time_scale: float
    full_length: float
    low: float
    high: float
    reeds: int
    is_chord: bool
    is_by_one_hole: bool
    grace: tuple[float, ...]
    reattack: float
    slur: float
    skip: float
    gap: float = inf
    gap_path: Segment | None = None
    right: float = inf
    right_entrance: _Entrance = _NO_ENTRANCE
    wrong: float = inf
    wrong_entrance: _Entrance = _NO_ENTRANCE
    best: float = inf

    @classmethod
    def of(
        cls,
        step: int,
        target: StepTarget,
        previous: StepTarget | None,
        rate: int,
        costs: FollowerParameters,
    ) -> _StepStates:
        shortest, longest = costs.min_time_scale_s * rate, costs.max_time_scale_s * rate
        slur = costs.slur if previous is None else _slur_cost(previous, target, costs)
        made_of_attacks = target.step.shake, target.step.grace, target.step.vibrato
        return cls(
            costs,
            step,
            target.begin,
            min(max(target.end - target.at, shortest), longest),
            costs.full_length * max(1, target.end - target.at),
            target.lowest,
            target.highest,
            target.holes,
            target.step.is_chord,
            target.step.cleanness_rule is CleannessRule.CHORD,
            target.grace_pitches,
            0.0 if any(made_of_attacks) else costs.reattack,
            slur,
            costs.skip_optional if target.step.optional else costs.skip,
        )

    @classmethod
    def after_the_last(cls, step: int, costs: FollowerParameters) -> _StepStates:
        """The gap after the last step, as the gap before a step that cannot be entered."""
        return cls(
            costs, step, inf, 1.0, 1.0, inf, -inf, 0, False, False, (), costs.reattack, inf, 0.0
        )

    def prune(self) -> None:
        self.gap = self.right = self.wrong = self.best = inf

    def leave(self, time: float) -> tuple[float, _Entrance]:
        """Cost of leaving the step at a time by its cheaper state, and how that was entered."""
        if self.right <= self.wrong:
            cost, entrance = self.right, self.right_entrance
        else:
            cost, entrance = self.wrong, self.wrong_entrance
        lasted = (time - self.due - entrance.lateness) / self.full_length
        if lasted < 1.0:
            cost += self.costs.leave_at_once * (1.0 - lasted)
        return cost, entrance

    def segment(self, entrance: _Entrance, end: int) -> Segment:
        """The step's segment from an entrance to the reading before `end`."""
        return Segment(self.step, entrance.start, end, entrance.lateness, entrance.previous)

    def hear(self, now: _Observation, before: _StepStates) -> None:
        """Update all three states for a reading.

        All in one function, which makes nothing unless the step is entered or left: it runs some
        2,000 times for each second of sound.

        Args:
            now: the reading.
            before: the states of the step before, not updated for this reading yet.
        """
        costs = self.costs
        right, wrong, gap = self.right, self.wrong, self.gap
        from_gap = gap + now.gap_exit
        left = before.right if before.right <= before.wrong else before.wrong
        entrance = _NO_ENTRANCE
        # Leaving the step before costs no less than that; what it costs matters only below here.
        if left < from_gap:
            left, entrance = before.leave(now.time)
        if not now.is_sounding:
            right += costs.silent
            wrong += costs.silent
        else:
            right_entrance, wrong_entrance = self.right_entrance, self.wrong_entrance
            if now.is_attack:
                right += self.reattack
                wrong += self.reattack
                from_step = left
            else:
                if wrong < right:
                    right, right_entrance = wrong, wrong_entrance
                elif right + costs.right_to_wrong < wrong:
                    wrong, wrong_entrance = right + costs.right_to_wrong, right_entrance
                from_step = left + self.slur
            is_direct = from_step < from_gap
            source = from_step if is_direct else from_gap
            if source < right or source + costs.enter_wrong < wrong:
                if is_direct:
                    lateness = entrance.lateness
                else:
                    lateness = self.gap_path.lateness if self.gap_path else 0.0
                ahead = now.time - self.due
                off_time = self._off_time_cost(ahead, lateness)
                enter_right = source + off_time
                enter_wrong = source + costs.off_time_wrong_factor * off_time + costs.enter_wrong
                if enter_right < right or enter_wrong < wrong:
                    path = before.segment(entrance, now.frame) if is_direct else self.gap_path
                    entered = _Entrance(now.frame, ahead, path)
                    if enter_right < right:
                        right, right_entrance = enter_right, entered
                    if enter_wrong < wrong:
                        wrong, wrong_entrance = enter_wrong, entered
            if now.is_unidentified:
                right += costs.unpitched_in_step
                wrong += costs.unpitched_in_step
            else:
                right += self._emission(now.pitch, now.holes)
                wrong += costs.wrong
            self.right_entrance, self.wrong_entrance = right_entrance, wrong_entrance

        skipped = before.gap + before.skip
        if skipped < gap:
            gap, self.gap_path = skipped, before.gap_path
        if left < gap:
            gap, self.gap_path = left, before.segment(entrance, now.frame)
        gap += now.gap_emission
        self.right, self.wrong, self.gap = right, wrong, gap
        # Comparisons, because min() takes ten times as long.
        in_step = right if right < wrong else wrong
        self.best = in_step if in_step < gap else gap

    def _off_time_cost(self, ahead: float, lateness: float) -> float:
        """Cost of entering `ahead` samples after the due time, `lateness` being the last step's."""
        from_beat = self._distance_cost(ahead / self.time_scale)
        from_step = self._distance_cost((ahead - lateness) / self.time_scale) + self.costs.own_beat
        return from_step if from_step < from_beat else from_beat

    def _distance_cost(self, distance: float) -> float:
        """Cost of a distance from the due time in step lengths; negative is early."""
        costs = self.costs
        cost = costs.off_time * distance
        if cost < 0.0:
            return -cost if cost > -costs.early_max else costs.early_max
        return cost if cost < costs.late_max else costs.late_max

    def _emission(self, pitch: float, holes: int) -> float:
        """Emission cost of a reading with pitch or holes, in the right state."""
        costs = self.costs
        distance = self.low - pitch if pitch < self.low else pitch - self.high
        for grace in self.grace:
            distance = min(distance, abs(pitch - grace))
        cost = 0.0 if distance < 0.0 else distance * costs.pitch_per_cent
        if not cost < costs.mismatch:  # also where there is no pitch, and the cost is NaN
            cost = costs.mismatch
        if not holes:
            return cost
        shared = (self.reeds & holes).bit_count()
        if self.is_chord or isnan(pitch):
            missed = 1.0 - shared / (self.reeds | holes).bit_count()
            return missed * (costs.partial_chord if shared else costs.mismatch)
        several = holes & (holes - 1)
        if self.is_by_one_hole and several and not shared:
            return costs.mismatch  # another chord, though its pitch may be the same
        return costs.blurred if shared and cost > costs.blurred and several else cost


class Follower:
    """Decodes the readings of a pass, one by one."""

    def __init__(
        self,
        targets: Sequence[StepTarget],
        rate: int,
        costs: FollowerParameters = FOLLOWER,
        calls: Sequence[tuple[int, int]] = (),
    ) -> None:
        """Start in the gap before the first step.

        Args:
            targets: the steps, in order.
            rate: sample rate in hertz.
            costs: parameters of the model.
            calls: first sample of each call of the trainer and the one after its last, in order.
        """
        self._costs = costs
        self._calls = calls
        self._call_starts = [start for start, _ in calls]
        self._states = [
            _StepStates.of(i, target, targets[i - 1] if i else None, rate, costs)
            for i, target in enumerate(targets)
        ]
        self._states.append(_StepStates.after_the_last(len(targets), costs))
        self._nothing = _StepStates.after_the_last(-1, costs)
        """States of a step before the first, which no path has reached."""
        self._leader = self._states[0]
        self._leader.gap = self._leader.best = 0.0
        self._first, self._last = 0, 0
        self._frame = 0
        self._was_silent = True
        self._time = 0

    def decode(self, reading: Reading) -> None:
        """Take the next reading, and update the cheapest path to every state."""
        now = self._observation(reading)
        states, first = self._states, self._first
        last_alive = min(self._last + 1, len(states) - 1)
        leader, least = states[first], inf
        # Backward, so that each step finds the one before it as it was before this reading.
        for step in range(last_alive, first - 1, -1):
            current = states[step]
            current.hear(now, states[step - 1] if step else self._nothing)
            if current.best <= least:
                leader, least = current, current.best
        self._leader = leader
        self._prune(last_alive, least + self._costs.beam)
        self._was_silent, self._time = not now.is_sounding, now.time
        self._frame += 1

    def current_path(self) -> Iterator[Segment]:
        """Segments of the path that is the cheapest so far, newest first.

        The newest may be unfinished; its end is then the number of readings so far.
        """
        leader = self._leader
        if leader.gap <= leader.best:
            return _walk_back(leader.gap_path)
        is_right = leader.right <= leader.wrong
        entrance = leader.right_entrance if is_right else leader.wrong_entrance
        return _walk_back(leader.segment(entrance, self._frame))

    def final_path(self) -> list[Segment]:
        """Segments of the cheapest path through the whole drill, in order.

        A step without a segment was not played.
        """
        best, path = inf, None
        to_come = sum(states.skip for states in self._states[self._first : -1])
        """Cost of leaving out the step and all after it."""
        for states in self._states[self._first : self._last + 1]:
            if states.gap + to_come < best:
                best, path = states.gap + to_come, states.gap_path
            to_come -= states.skip
            cost, entrance = states.leave(self._time)
            if cost + to_come < best:
                best, path = cost + to_come, states.segment(entrance, self._frame)
        return list(_walk_back(path))[::-1]

    def _observation(self, reading: Reading) -> _Observation:
        costs = self._costs
        is_attack = reading.onset is not None
        holes = sounding_mask(reading)
        is_sounding = reading.sounding or reading.hz is not None
        is_unidentified = reading.hz is None and not holes
        gap_exit = costs.soft_attack if self._was_silent else costs.sounding_gap
        gap_emission = costs.unpitched_in_gap if is_unidentified else costs.extra
        return _Observation(
            self._frame,
            reading.sample if reading.onset is None else reading.onset,
            is_sounding,
            is_attack,
            0.0 if is_attack else gap_exit,
            gap_emission if is_sounding and not self._is_in_call(reading.sample) else 0.0,
            is_unidentified,
            absolute_cents(reading.hz),
            holes,
        )

    def _is_in_call(self, sample: int) -> bool:
        """Whether the trainer plays a call."""
        place = bisect_right(self._call_starts, sample) - 1
        return place >= 0 and sample < self._calls[place][1]

    def _prune(self, last_alive: int, limit: float) -> None:
        """Prune the steps at both ends of the beam whose best state costs more than a limit."""
        states = self._states
        while states[self._first].best > limit:
            states[self._first].prune()
            self._first += 1
        self._last = last_alive
        while states[self._last].best > limit:
            states[self._last].prune()
            self._last -= 1


def _walk_back(segment: Segment | None) -> Iterator[Segment]:
    while segment is not None:
        yield segment
        segment = segment.previous


def _slur_cost(before: StepTarget, after: StepTarget, costs: FollowerParameters) -> float:
    """Transition cost from a step to the next one without an attack."""
    if sounds_the_same(before, after, costs.same_reed_cents):
        return costs.held_on
    return costs.slur_shared if _shared(before, after, costs.same_reed_cents) else costs.slur


def _shared(before: StepTarget, after: StepTarget, within_cents: float) -> int:
    """Number of a step's first pitches that are within some cents of the last ones before it."""
    held = before.ends_with
    return sum(any(abs(a - b) < within_cents for b in held) for a in after.begins_with)


def sounds_the_same(
    before: StepTarget, after: StepTarget, within_cents: float = FOLLOWER.same_pitch_cents
) -> bool:
    """Whether a step begins with the sound that the one before it ends with.

    Chords that are written by one hole do so only on the same hole and breath: their neighbours
    differ.

    Args:
        before: a step.
        after: the step that follows it.
        within_cents: distance in cents below which two reeds cannot be distinguished.
    """
    held, begun = before.step.last, after.step.first
    is_chord = CleannessRule.CHORD in (before.step.cleanness_rule, after.step.cleanness_rule)
    if is_chord and held != begun:
        return False
    counts = {len(before.ends_with), len(after.begins_with)}
    return counts == {_shared(before, after, within_cents)}


def is_held_on(segment: Segment, target: StepTarget, previous: StepTarget) -> bool:
    """Whether a step without an attack may be the step before it held on: the pitch goes on.

    Args:
        segment: the step's segment.
        target: the step.
        previous: the step before it among the follower's targets.
    """
    before = segment.previous
    if before is None or (before.step, before.end) != (segment.step - 1, segment.start):
        return False
    return sounds_the_same(previous, target)
