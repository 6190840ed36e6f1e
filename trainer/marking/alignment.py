"""Aligning the notes of a free performance with a drill: which note is which step.

A player without a click takes their own tempo, and may stop, go back, repeat, skip, begin again,
and warm up or talk before. The performance is a path through the states of a hidden Markov model
(score following with jumps and a tempo state: Raphael 2010, Machine Learning 79; Nakamura,
Nakamura and Sagayama 2016, IEEE/ACM TASLP 24; both from memory):

- a state is a step, whether anything else was played since, and a tempo, relative to the written
  one, on a logarithmic grid; or *idle*, outside the drill;
- each heard note either belongs to the step that the path enters with it, or is extra: a fragment
  of the note before, a note too many, or noodling while idle;
- entering a step from the one before costs by how far the interval between the two onsets is from
  the written one at the path's tempo. Late beyond a limit is a stop, early beyond a limit a rest
  cut short; each has a fixed cost, whatever its length;
- the tempo may change to the next on the grid at each note, for a cost;
- a path may leave out steps, go back to any step, or leap ahead, for costs that do not depend on
  time.

The cheapest path is found by Viterbi decoding, note by note, with the time of the last onset and
the path carried along by each state (token passing). It needs the past alone, so it can follow a
player as they play. Costs: :class:`~trainer.marking.parameters.AlignmentParameters`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Bools, Floats, Ints
from trainer.drill import BeatClock, Step
from trainer.ear import HeardNote
from trainer.harp import Harp, Tab
from trainer.marking.parameters import ALIGNMENT, AlignmentParameters
from trainer.marking.target import StepTarget, absolute_cents


@dataclass(frozen=True, slots=True)
class PlayedStep:
    """A note that was played for a step.

    Attributes:
        note: index among the heard notes.
        step: index among the steps.
        is_right: whether it is the step's note.
    """

    note: int
    step: int
    is_right: bool


class Alignment:
    """Aligns heard notes with steps, one by one."""

    def __init__(
        self,
        steps: Sequence[Step],
        harp: Harp,
        written: BeatClock,
        costs: AlignmentParameters = ALIGNMENT,
        *,
        half_steps: float = 0.0,
    ) -> None:
        """Start before the first note.

        Args:
            steps: the steps, in order.
            harp: the harp they are written for.
            written: the drill's clock with beat 0 at sample 0.
            costs: parameters of the model.
            half_steps: how much higher than written everything is played, in half steps.

        Raises:
            HarpError: the harp cannot play one of the steps.
        """
        self._costs = costs
        self._half_steps = half_steps
        self._targets = [StepTarget.of(step, harp, written) for step in steps]
        self._ranges = [_pitch_ranges(target, harp) for target in self._targets]
        self._reeds = [{(tab.hole, tab.breath) for tab in step.tabs} for step in steps]
        rate = written.rate
        self._at = np.array([target.at for target in self._targets]) / rate
        self._length = np.array([target.end - target.at for target in self._targets]) / rate
        bins = round(np.log(costs.fastest / costs.slowest) / costs.tempo_step) + 1
        self._ratio = np.geomspace(1.0 / costs.fastest, 1.0 / costs.slowest, bins)
        """Played over written time of each tempo."""
        shape = 2, len(steps), bins
        self._cost = np.full(shape, np.inf)
        self._onset = np.zeros(shape)
        self._node = np.full(shape, -1)
        self._idle, self._idle_node = 0.0, -1
        self._last_end = -np.inf
        """Second at which the last note ended."""
        self._level_db = -np.inf
        """Level of the notes that are not much softer than those before them."""
        self._parents: list[Ints] = []
        self._is_right: list[Bools] = []
        self._enter = self._entrance_costs()
        self._back = np.array([self._back_cost(i, steps) for i in range(len(steps))])
        last = len(steps) - 1
        self._end = np.where(np.arange(len(steps)) == last, 0.0, costs.break_off)

    def add(self, note: HeardNote) -> None:
        """Take the next note."""
        costs, rate = self._costs, note.rate
        at, length = note.start / rate, (note.end - note.start) / rate
        _, count, bins = self._cost.shape
        presence = self._presence(note.level_db)
        weight = min(1.0, length / costs.short_s) * presence
        # What a room may ring on with moves the level of the notes half as far.
        is_soft = presence < 1.0
        self._level_db = 0.5 * (self._level_db + note.level_db) if is_soft else note.level_db
        emission, is_right = self._emission(note)

        leaving = self._cost + self._end[:, None]
        place = int(leaving.argmin())
        if leaving.flat[place] < self._idle:
            self._idle, self._idle_node = float(leaving.flat[place]), int(self._node.flat[place])

        best = self._idle + self._enter
        parent = np.full((count, bins), self._idle_node)
        for cost, onset, node in zip(*self._with_tempo_changes(), strict=True):
            for distance in range(1, min(costs.window, count - 1) + 1):
                written = (self._at[distance:] - self._at[:-distance])[:, None]
                advance = cost[:-distance] + costs.skip * (distance - 1)
                advance += self._timing(at - onset[:-distance], written * self._ratio)
                _take_cheaper(best[distance:], parent[distance:], advance, node[:-distance])
            self._take_jumps(best, parent, cost, node)
        best += emission[:, None]

        expected_end = self._onset + 0.9 * self._length[:, None] * self._ratio
        is_joined = at - self._last_end <= costs.fragment_gap_s
        is_fragment = is_right[:, None] & (at < expected_end) & is_joined
        stay = self._cost + weight * np.where(is_fragment, costs.fragment, costs.extra)
        layer = stay.argmin(axis=0)[None]
        stayed, since, played = (
            np.take_along_axis(values, layer, 0)[0] for values in (stay, self._onset, self._node)
        )
        index = len(self._parents) * count * bins + np.arange(count * bins).reshape(count, bins)
        self._cost = np.stack([best, stayed])
        self._onset = np.stack([np.full_like(best, at), since])
        self._node = np.stack([index, played])
        self._idle += weight * costs.noodling
        self._last_end = note.end / rate
        self._parents.append(parent)
        self._is_right.append(is_right)

    def _presence(self, level_db: float) -> float:
        """Fraction of the full cost of leaving a note out: less of what a room may ring on with."""
        below_db = max(0.0, self._level_db - self._costs.soft_db - level_db)
        return float(10.0 ** (-below_db / 20.0))

    @property
    def step(self) -> int | None:
        """Index of the step that the cheapest path is in; None outside the drill."""
        place = int(self._cost.argmin())
        if not self._cost.flat[place] < self._idle:
            return None
        _, count, bins = self._cost.shape
        return int(self._node.flat[place]) % (count * bins) // bins

    def step_with(self, note: HeardNote) -> int | None:
        """Index of the step that the cheapest path would be in after a note that may go on.

        It is taken to last long enough to be one. Nothing is added.
        """
        shortest = round(self._costs.short_s * note.rate)
        note = replace(note, end=max(note.end, note.start + shortest))
        before = self._cost, self._onset, self._node, self._idle, self._idle_node
        since = self._last_end, self._level_db
        self.add(note)
        step = self.step
        self._cost, self._onset, self._node, self._idle, self._idle_node = before
        self._last_end, self._level_db = since
        del self._parents[-1], self._is_right[-1]
        return step

    def path(self) -> list[PlayedStep]:
        """The cheapest path so far: the notes that belong to steps, in order."""
        leaving = self._cost + self._end[:, None]
        place = int(leaving.argmin())
        is_in_drill = leaving.flat[place] < self._idle
        node = int(self._node.flat[place]) if is_in_drill else self._idle_node
        _, count, bins = self._cost.shape
        path = []
        while node >= 0:
            note, state = divmod(node, count * bins)
            step = state // bins
            path.append(PlayedStep(note, step, bool(self._is_right[note][step])))
            node = int(self._parents[note].flat[state])
        return path[::-1]

    def _entrance_costs(self) -> Floats:
        """Cost of beginning a try with a step at a tempo, shape (steps, tempos)."""
        costs, places = self._costs, np.arange(len(self._targets))
        late = np.where(places > 0, costs.enter_late + costs.enter_step * places, 0.0)
        prior = costs.tempo_prior * np.abs(np.log2(self._ratio))
        return np.asarray(late[:, None] + prior[None, :])

    def _back_cost(self, place: int, steps: Sequence[Step]) -> float:
        begins_bar = place == 0 or steps[place].bar != steps[place - 1].bar
        bonus = (begins_bar + (place == 0)) * self._costs.back_to_bar
        return self._costs.back - bonus

    def _emission(self, note: HeardNote) -> tuple[Floats, Bools]:
        """Cost of a note in the place of each step, and whether it is the step's."""
        costs = self._costs
        pitch = absolute_cents(note.hz) - 100.0 * self._half_steps
        distance = np.array(
            [min(max(low - pitch, pitch - high) for low, high in each) for each in self._ranges]
        )
        is_right = distance <= costs.right_cents
        if self._half_steps:
            return np.where(is_right, 0.0, costs.wrong), is_right
        heard = {(tab.hole, tab.breath) for tab in (note.tab, *note.also)}
        shares_reed = np.array([bool(reeds & heard) for reeds in self._reeds])
        other = np.where(shares_reed, costs.other_bend, costs.wrong)
        return np.where(is_right, 0.0, other), is_right

    def _with_tempo_changes(self) -> tuple[Floats, Floats, Ints]:
        """Cost, last onset and node of each state after a change of tempo."""
        cost, onset, node = self._cost.copy(), self._onset.copy(), self._node.copy()
        change = self._costs.tempo_change
        for here, there in ((slice(1, None), slice(None, -1)), (slice(None, -1), slice(1, None))):
            other = self._cost[..., there] + change
            is_cheaper = other < cost[..., here]
            cost[..., here] = np.where(is_cheaper, other, cost[..., here])
            onset[..., here] = np.where(is_cheaper, self._onset[..., there], onset[..., here])
            node[..., here] = np.where(is_cheaper, self._node[..., there], node[..., here])
        return cost, onset, node

    def _timing(self, interval: Floats, expected: Floats) -> Floats:
        """Cost of an interval between two onsets, in seconds, where another is expected."""
        costs = self._costs
        scale = (costs.timing_s + costs.timing_fraction * expected) * costs.timing_knee
        late = interval - expected
        cost = costs.timing_knee**2 * (np.sqrt(1.0 + (late / scale) ** 2) - 1.0)
        return np.minimum(cost, np.where(late > 0.0, costs.pause, costs.hurry))

    def _take_jumps(self, best: Floats, parent: Ints, cost: Floats, node: Ints) -> None:
        """Update the cheapest way into each step by going back and by leaping ahead."""
        costs, (count, bins) = self._costs, cost.shape
        tempos = np.arange(bins)
        places = np.arange(count)[:, None]
        later = count - 1 - _running_argmin((cost + costs.back_step * places)[::-1])[::-1]
        back = cost[later, tempos] + costs.back_step * (later - places) + self._back[:, None]
        _take_cheaper(best, parent, back, node[later, tempos])
        if count < 3:
            return
        toll = costs.leap_step * places
        earlier = _running_argmin(cost - toll)[:-2]
        leap = cost[earlier, tempos] - costs.leap_step * earlier + toll[2:] + costs.leap
        _take_cheaper(best[2:], parent[2:], leap, node[earlier, tempos])


def align(
    heard: Sequence[HeardNote],
    steps: Sequence[Step],
    harp: Harp,
    written: BeatClock,
    *,
    half_steps: float = 0.0,
) -> list[PlayedStep]:
    """Align the notes of a recording with steps; arguments as for :class:`Alignment`.

    Returns:
        The notes that belong to steps, in order of time.
    """
    alignment = Alignment(steps, harp, written, half_steps=half_steps)
    for note in heard:
        alignment.add(note)
    return alignment.path()


def _take_cheaper(best: Floats, parent: Ints, other: Floats, node: Ints) -> None:
    """Replace, in place, costs and nodes where another way is cheaper."""
    is_cheaper = other < best
    best[is_cheaper] = other[is_cheaper]
    parent[is_cheaper] = node[is_cheaper]


def _running_argmin(values: Floats) -> NDArray[np.int64]:
    """Row of the least value so far in each column, shape as `values`."""
    least = np.minimum.accumulate(values, axis=0)
    is_new = np.vstack([np.ones_like(values[:1], dtype=bool), values[1:] < least[:-1]])
    rows = np.where(is_new, np.arange(len(values))[:, None], 0)
    return np.asarray(np.maximum.accumulate(rows, axis=0))


def _pitch_ranges(target: StepTarget, harp: Harp) -> list[tuple[float, float]]:
    """Ranges of the pitches that a step's note may have, in cents from A4 = 440 Hz."""
    step = target.step
    if step.has_path:
        return [(target.lowest, target.highest)]
    pitches = [*target.path[0], *target.shake_pitches]
    sound = step.first
    tabs = [step.alternative] if step.alternative else []
    if step.implied_neighbour(sound):
        near = (sound[0].hole - 1, sound[0].hole + 1)
        tabs += [Tab(hole, sound[0].breath) for hole in near if 1 <= hole <= 10]
    pitches += [absolute_cents(harp.hz(tab)) for tab in tabs]
    return [(pitch, pitch) for pitch in pitches]
