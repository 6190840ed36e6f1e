"""Which readings belong to which step: an online follower.

A hidden Markov model whose states run from left to right through the drill, decoded by Viterbi
(Rabiner 1989, Proceedings of the IEEE 77(2); score following this way: Orio and Déchelle 2001,
ICMC; both from memory). Costs stand for negative log probabilities, in no unit; only their
differences matter. Between two steps there is a *gap*, and each step can be played in two ways:

    gap 0 ──▶ step 0 (right | wrong) ──▶ gap 1 ──▶ step 1 (right | wrong) ──▶ gap 2 …

- Silence costs nothing in a gap; what sounds there is an extra note and costs a little.
- In a step played right, a reading costs its distance from the step's pitch; played wrong, a
  little whatever the pitch, but wrong has to be paid for on entering. The two change into each
  other inside a breath, which is how a note is scooped into, or slips.
- A step is entered at a cost that grows with the distance from its beat, or with the change of
  that distance since the step before, whichever is less, and only up to a limit: a hesitation is
  paid for once, and a player who has lost the beat is followed for what is played.
- An attack makes entering free. Without one, a change of pitch slurs into the next step, but a
  step of the same pitch cannot be told from the one before it being held on.
- From gap to gap, a step is skipped.

Instead of back-pointers each state carries the chain of segments that led to it (token passing;
Young, Russell and Thornton 1989, Cambridge technical report, from memory), so that memory does
not grow with time and the path is there at any moment. States that are far behind the best are
dropped, so that a reading costs the same in a drill of any length.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf, isnan
from typing import NamedTuple

from trainer.ear import Reading
from trainer.marking.target import StepTarget, absolute_cents, sounding_mask

# A reading, inside a step or a gap. Neighbouring readings say much the same, so each says little.
_CENT = 0.005  # a cent off the pitch, up to:
_OTHER = 0.5
_BLURRED = 0.1  # the wanted hole sounds, but is not the one whose pitch is read
_PARTLY = 0.15  # none of a chord's holes but one, and more
_WRONG = 0.1
_EXTRA = 0.2
_SILENT = 0.5
_UNPITCHED_STEP, _UNPITCHED_GAP = 0.2, 0.1

# A change of state.
_SKIP = 16.0
_ENTER_WRONG = 15.0
_TURN_WRONG = 4.0
_OFF_TIME = 12.0  # off by the step's own length; the limit for late
_EARLY = 48.0  # the limit for early: a hesitation is likelier than a leap
_OWN_BEAT = 0.5  # more, for keeping to the player's own beat
_REATTACK = 10.0  # an attack inside a step
_SLUR = 1.0
_SLUR_SHARED = 6.0  # to a sound that has a reed in common with the one before
_HELD_ON = 24.0  # no attack where only an attack could tell
_SOFT_ATTACK = 3.0  # out of silence, unnoticed as an attack

_LEFT_AT_ONCE = _SKIP  # of leaving a step as it starts; less the longer it has lasted, up to
_LONG_ENOUGH = 0.3  # of its length
_TIME_SCALE = (0.25, 1.0)  # s, limits of the length that being off time is compared with
_BEAM = 120.0


class Segment(NamedTuple):
    """Readings that belong to a step.

    Attributes:
        step: which of the follower's targets.
        start: number of its first reading.
        end: number of the first reading after it.
        late: how far from its time it was entered, in samples.
        before: the segment before it; None for the first.
    """

    step: int
    start: int
    end: int
    late: float
    before: Segment | None


class _Entry(NamedTuple):
    """How a step was entered: reading, distance from its time, and the segment before."""

    start: int
    late: float
    before: Segment | None


class _Moment(NamedTuple):
    """What a reading means to every state.

    Attributes:
        frame: its number.
        time: where it counts as being, in samples.
        sounds: whether anything does.
        attack: whether an attack becomes known.
        unattacked: cost of entering a step out of a gap.
        extra: cost of being in a gap.
        unknown: whether neither pitch nor holes are known.
        pitch: cents from A4 = 440 Hz; not a number where there is none.
        holes: those that sound, as bits.
    """

    frame: int
    time: int
    sounds: bool
    attack: bool
    unattacked: float
    extra: float
    unknown: bool
    pitch: float
    holes: int


_NEVER = _Entry(0, 0.0, None)


@dataclass(slots=True)
class _State:
    """A step and the gap before it, with the cost of the best way to be in each by now.

    Attributes:
        step: number of the step.
        at: sample on which it should start.
        scale: length that being off time is compared with, in samples.
        long_enough: how long it must last, in samples, to be left at no cost.
        low, high: range of its pitches, in cents from A4 = 440 Hz.
        wanted: its holes, as bits.
        is_chord: whether more than one is meant to sound.
        slur: cost of entering it from the step before without an attack.
        gap, gap_path: of the gap before it, and the last segment on the way there.
        right, right_entry: of the step being played right, and how it was entered.
        wrong, wrong_entry: of the step being played wrong.
        best: the least of the three costs.
    """

    step: int
    at: float
    scale: float
    long_enough: float
    low: float
    high: float
    wanted: int
    is_chord: bool
    slur: float
    gap: float = inf
    gap_path: Segment | None = None
    right: float = inf
    right_entry: _Entry = _NEVER
    wrong: float = inf
    wrong_entry: _Entry = _NEVER
    best: float = inf

    @classmethod
    def of(cls, step: int, target: StepTarget, before: StepTarget | None, rate: int) -> _State:
        shortest, longest = (scale * rate for scale in _TIME_SCALE)
        scale = min(max(target.end - target.at, shortest), longest)
        slur = _SLUR if before is None else _slur(before.path[-1], target.path[0])
        return cls(
            step,
            target.at,
            scale,
            _LONG_ENOUGH * max(1, target.end - target.at),
            target.lowest,
            target.highest,
            target.holes,
            target.step.is_chord,
            slur,
        )

    def drop(self) -> None:
        self.gap = self.right = self.wrong = self.best = inf

    def ended(self, time: float) -> tuple[float, _Entry]:
        """Leaving the step at a time, by its better way: the cost, and how it was entered."""
        if self.right <= self.wrong:
            cost, entry = self.right, self.right_entry
        else:
            cost, entry = self.wrong, self.wrong_entry
        lasted = (time - self.at - entry.late) / self.long_enough
        if lasted < 1.0:
            cost += _LEFT_AT_ONCE * (1.0 - lasted)
        return cost, entry

    def segment(self, entry: _Entry, end: int) -> Segment:
        """The step, entered so and left before a reading."""
        return Segment(self.step, entry.start, end, entry.late, entry.before)

    def play(self, now: _Moment, before: _State, left: float, entry: _Entry) -> None:
        """Take a reading that sounds: the step is entered or goes on.

        Args:
            now: the reading.
            before: the step before; itself where there is none.
            left, entry: leaving that, as :meth:`ended` has it.
        """
        if now.attack:
            right, right_entry = self.right + _REATTACK, self.right_entry
            wrong, wrong_entry = self.wrong + _REATTACK, self.wrong_entry
        else:
            right, right_entry = self.right, self.right_entry
            wrong, wrong_entry = self.wrong, self.wrong_entry
            if wrong < right:
                right, right_entry = wrong, wrong_entry
            elif right + _TURN_WRONG < wrong:
                wrong, wrong_entry = right + _TURN_WRONG, right_entry

        by_gap = self.gap + now.unattacked
        by_step = left if now.attack else left + self.slur
        direct = by_step < by_gap
        source = by_step if direct else by_gap
        if source < right or source + _ENTER_WRONG < wrong:
            late = entry.late if direct else self.gap_path.late if self.gap_path else 0.0
            ahead = now.time - self.at
            off_time = self._off_time(ahead, late)
            enter, enter_wrong = source + off_time, source + 2.0 * off_time + _ENTER_WRONG
            if enter < right or enter_wrong < wrong:
                path = before.segment(entry, now.frame) if direct else self.gap_path
                entered = _Entry(now.frame, ahead, path)
                if enter < right:
                    right, right_entry = enter, entered
                if enter_wrong < wrong:
                    wrong, wrong_entry = enter_wrong, entered

        if now.unknown:
            self.right, self.wrong = right + _UNPITCHED_STEP, wrong + _UNPITCHED_STEP
        else:
            self.right, self.wrong = right + self._mismatch(now.pitch, now.holes), wrong + _WRONG
        self.right_entry, self.wrong_entry = right_entry, wrong_entry

    def pause(self) -> None:
        """Take a reading that is silent."""
        self.right += _SILENT
        self.wrong += _SILENT

    def wait(
        self,
        now: _Moment,
        before: _State,
        gap: float,
        path: Segment | None,
        left: float,
        entry: _Entry,
    ) -> None:
        """Move the gap on: staying in it, skipping the step before it, or leaving that step.

        Args:
            now: the reading.
            before: the step before; itself where there is none.
            gap, path: of the gap before that.
            left, entry: leaving it, as :meth:`ended` has it.
        """
        if gap + _SKIP < self.gap:
            self.gap, self.gap_path = gap + _SKIP, path
        if left < self.gap:
            self.gap, self.gap_path = left, before.segment(entry, now.frame)
        self.gap += now.extra
        # No min(), and no named tuples above: all this runs some 2,000 times a second, and those
        # are ten times as slow.
        on = self.right if self.right < self.wrong else self.wrong
        self.best = on if on < self.gap else self.gap

    def _off_time(self, ahead: float, late: float) -> float:
        """Cost of entering so far after its time, when the step before was `late`."""
        off = _off_time(ahead / self.scale)
        own = _off_time((ahead - late) / self.scale) + _OWN_BEAT
        return own if own < off else off

    def _mismatch(self, pitch: float, holes: int) -> float:
        """How badly what sounds fits the step."""
        far = self.low - pitch if pitch < self.low else pitch - self.high
        cost = 0.0 if far < 0.0 else far * _CENT
        if not cost < _OTHER:
            cost = _OTHER
        if not holes:
            return cost
        shared = (self.wanted & holes).bit_count()
        if self.is_chord or isnan(pitch):
            missed = 1.0 - shared / (self.wanted | holes).bit_count()
            return missed * (_PARTLY if shared else _OTHER)
        blurred = shared and cost > _BLURRED and holes & (holes - 1)
        return _BLURRED if blurred else cost


def _off_time(off: float) -> float:
    cost = _OFF_TIME * off
    if cost < 0.0:
        return -cost if cost > -_EARLY else _EARLY
    return cost if cost < _OFF_TIME else _OFF_TIME


class Follower:
    """Follows a take reading by reading."""

    def __init__(self, targets: Sequence[StepTarget], rate: int) -> None:
        """Start before the first step.

        Args:
            targets: what is to be played, in order.
            rate: samples a second.
        """
        self._states = [
            _State.of(i, target, targets[i - 1] if i else None, rate)
            for i, target in enumerate(targets)
        ]
        # The gap after the last step comes before a step that is never entered.
        self._states.append(_State(len(targets), inf, 1.0, 1.0, inf, -inf, 0, False, inf))
        self._leader = self._states[0]
        self._leader.gap = self._leader.best = 0.0
        self._first, self._last = 0, 0
        self._frame = 0
        self._quiet = True
        self._time = 0

    def decode(self, reading: Reading) -> None:
        """Take the next reading."""
        now = self._moment(reading)
        last_alive = min(self._last + 1, len(self._states) - 1)
        before = leader = self._states[self._first]
        gap, path, left, entry = inf, None, inf, _NEVER
        least = inf
        for state in self._states[self._first : last_alive + 1]:
            own_left, own_entry = state.ended(now.time)
            own_gap, own_path = state.gap, state.gap_path
            if now.sounds:
                state.play(now, before, left, entry)
            else:
                state.pause()
            state.wait(now, before, gap, path, left, entry)
            if state.best < least:
                leader, least = state, state.best
            before, gap, path, left, entry = state, own_gap, own_path, own_left, own_entry
        self._leader = leader
        self._drop_far_behind(last_alive, least + _BEAM)
        self._quiet, self._time = not now.sounds, now.time
        self._frame += 1

    def latest(self) -> Iterator[Segment]:
        """The segments of the path that looks best by now, newest first.

        The newest may still be going on; its end is then the number of readings so far.
        """
        leader = self._leader
        if leader.gap <= leader.best:
            return _walk(leader.gap_path)
        right = leader.right <= leader.wrong
        entry = leader.right_entry if right else leader.wrong_entry
        return _walk(leader.segment(entry, self._frame))

    def segments(self) -> list[Segment]:
        """The best path through the whole drill, in order; steps left out were not played."""
        best, path = inf, None
        for state in self._states[self._first : self._last + 1]:
            left = len(self._states) - 1 - state.step
            if state.gap + _SKIP * left < best:
                best, path = state.gap + _SKIP * left, state.gap_path
            cost, entry = state.ended(self._time)
            if cost + _SKIP * (left - 1) < best:
                best, path = cost + _SKIP * (left - 1), state.segment(entry, self._frame)
        return list(_walk(path))[::-1]

    def _moment(self, reading: Reading) -> _Moment:
        attack = reading.onset is not None
        holes = sounding_mask(reading)
        sounds = reading.sounding or reading.hz is not None
        unknown = reading.hz is None and not holes
        return _Moment(
            self._frame,
            reading.sample if reading.onset is None else reading.onset,
            sounds,
            attack,
            0.0 if attack else _SOFT_ATTACK if self._quiet else _HELD_ON,
            0.0 if not sounds else _UNPITCHED_GAP if unknown else _EXTRA,
            unknown,
            absolute_cents(reading.hz),
            holes,
        )

    def _drop_far_behind(self, last_alive: int, limit: float) -> None:
        """Drop the states at both ends that cost more than a limit."""
        states = self._states
        while states[self._first].best > limit:
            states[self._first].drop()
            self._first += 1
        self._last = last_alive
        while states[self._last].best > limit:
            states[self._last].drop()
            self._last -= 1


def _walk(segment: Segment | None) -> Iterator[Segment]:
    while segment is not None:
        yield segment
        segment = segment.before


def _slur(before: Sequence[float], after: Sequence[float]) -> float:
    """Cost of going from one sound to another without an attack."""
    shared = sum(any(abs(a - b) < 1.0 for b in before) for a in after)
    if shared == len(before) == len(after):
        return _HELD_ON
    return _SLUR_SHARED if shared else _SLUR
