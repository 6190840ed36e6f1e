"""Choosing the day's set: what is worth the minutes, in an order that suits lips and breath.

The minutes go first to what must not be missing, a warm-up, something weak and something to enjoy;
then to new drills, as long as what is due leaves room for them; then to what is due, the
likeliest to be lost first. What is left over brings in what would be due soon, more to enjoy, more
that is new, then whatever there is, and at last more takes of what is new or weak.

New drills come in the order of the course: a level is open when most drills of the levels below
it have been passed, and no more than a few are new on one day.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date
from functools import partial

from trainer.coach.due import DrillStatus
from trainer.coach.parameters import DURATION, SELECTION
from trainer.coach.set_entry import (
    Reason,
    SetEntry,
    expected_take_count,
    relative_date,
    score_floor,
)
from trainer.coach.traits import DrillTraits
from trainer.coach.weaknesses import SuccessRate, Trait, TraitKind, find_weaknesses


def choose_entries(
    traits: Sequence[DrillTraits],
    statuses: Mapping[str, DrillStatus],
    rates: Mapping[Trait, SuccessRate],
    day: date,
    minutes: float,
    kept: Sequence[SetEntry] = (),
) -> tuple[SetEntry, ...]:
    """The entries of a day, in the order to play them in.

    Args:
        traits: the drills at hand, in the order of the course.
        statuses: how each stands before the day, by name.
        rates: what the tries of the days before were worth.
        day: the day.
        minutes: how long the set may be.
        kept: entries that have been played today; their time is gone, and they do not come again.
    """
    return _Chooser(traits, statuses, rates, day, minutes, kept).entries()


class _Chooser:
    """The state of one choice."""

    def __init__(
        self,
        traits: Sequence[DrillTraits],
        statuses: Mapping[str, DrillStatus],
        rates: Mapping[Trait, SuccessRate],
        day: date,
        minutes: float,
        kept: Sequence[SetEntry],
    ) -> None:
        self._traits = traits
        self._by_name = {trait.drill.name: trait for trait in traits}
        self._statuses = statuses
        self._weak = find_weaknesses(rates)
        self._day = day
        self._budget = 60.0 * minutes
        self._kept = kept
        self._spent = sum(entry.seconds for entry in kept)
        self._picked: dict[str, SetEntry] = {}
        self._taken = {entry.drill for entry in kept}

    def entries(self) -> tuple[SetEntry, ...]:
        """The entries, in the order to play them in."""
        self._warm_up()
        if self._budget >= 60.0 * SELECTION.short_set_min:
            self._enjoy(1)
            self._train_what_is_weak()
        due = self._due()
        cost = sum(self._entry(trait, Reason.DUE, "").seconds for trait in due)
        left = self._budget - self._spent - cost
        self._introduce(min(left, SELECTION.new_budget * self._budget))
        self._add(due, Reason.DUE, self._why_due)
        self._add(self._soon(), Reason.DUE, self._why_due)
        self._enjoy(SELECTION.enjoyed_drills)
        self._introduce(self._budget - self._spent)
        self._add(self._others(), Reason.KEEP, self._why_due)
        self._play_more()
        return _in_order(self._picked.values(), self._by_name)

    # What there is

    def _all(self) -> Iterable[SetEntry]:
        """Everything in the set so far."""
        return (*self._kept, *self._picked.values())

    def _known(self) -> Iterable[tuple[DrillTraits, DrillStatus]]:
        """Drills that were played before and are not in the set yet."""
        for trait in self._traits:
            status = self._statuses.get(trait.drill.name)
            if status is not None and trait.drill.name not in self._taken:
                yield trait, status

    def _due(self) -> list[DrillTraits]:
        due = [(t, s) for t, s in self._known() if s.due <= self._day]
        return [t for t, s in sorted(due, key=lambda ts: (ts[1].recall, ts[0].drill.name))]

    def _soon(self) -> list[DrillTraits]:
        """What is nearer to being due than to the last time it was played."""
        near = [
            (trait, status)
            for trait, status in self._known()
            if self._day - status.last >= status.due - self._day
        ]
        return [t for t, s in sorted(near, key=lambda ts: (ts[1].due, ts[0].drill.name))]

    def _others(self) -> list[DrillTraits]:
        """All the rest, what is likeliest to be lost first, and what was played yesterday last."""

        def place(known: tuple[DrillTraits, DrillStatus]) -> tuple[bool, float, str]:
            trait, status = known
            return (self._day - status.last).days < 2, status.recall, trait.drill.name

        return [trait for trait, _ in sorted(self._known(), key=place)]

    # What goes in

    def _warm_up(self) -> None:
        room = SELECTION.warm_up_budget * self._budget
        have = sum(entry.reason is Reason.WARM_UP for entry in self._all())
        easy = [
            (trait, status)
            for trait, status in self._known()
            if trait.easy and trait.drill.level <= SELECTION.warm_up_max_level and status.passed
        ]
        easy.sort(key=lambda ts: (ts[1].due > self._day, ts[1].last, ts[0].drill.name))
        self._add(
            [t for t, _ in easy],
            Reason.WARM_UP,
            self._why_warm_up,
            SELECTION.warm_up_drills - have,
            room,
        )

    def _enjoy(self, most: int) -> None:
        """Something that goes well and has not been played of late, music before exercises."""
        have = sum(entry.reason is Reason.ENJOY for entry in self._all())
        liked = [
            (trait, status)
            for trait, status in self._known()
            if status.passed
            and (self._day - status.last).days >= SELECTION.rested_days
            and status.best >= _well(trait)
        ]
        liked.sort(key=lambda ts: (not ts[0].tune, ts[1].last, -ts[1].best, ts[0].drill.name))
        self._add([t for t, _ in liked], Reason.ENJOY, self._why_enjoy, most - have)

    def _train_what_is_weak(self) -> None:
        have = sum(entry.reason is Reason.WEAK for entry in self._all())
        before = self._spent
        for weak in self._weak:
            if (
                have >= SELECTION.weak_drills
                or self._spent - before > SELECTION.weak_budget * self._budget
            ):
                return
            if any(
                entry.reason is Reason.WEAK
                and self._by_name[entry.drill].trains.get(weak.key, 0.0) >= SELECTION.min_trained
                for entry in self._all()
                if entry.drill in self._by_name
            ):
                continue
            best = self._best_for(weak)
            have += self._add(best, Reason.WEAK, partial(self._why_weak, weak), 1)

    def _best_for(self, weak: SuccessRate) -> list[DrillTraits]:
        """Drills that train something weak, the best first."""

        def worth(trait: DrillTraits, status: DrillStatus) -> float:
            rested = min(1.0, (self._day - status.last).days / SELECTION.fresh_days)
            return trait.trains.get(weak.key, 0.0) * rested

        able = [
            (trait, worth(trait, status))
            for trait, status in self._known()
            if trait.trains.get(weak.key, 0.0) >= SELECTION.min_trained
        ]
        able.sort(key=lambda tw: (-tw[1], tw[0].drill.level, tw[0].drill.name))
        return [trait for trait, _ in able]

    def _introduce(self, room: float) -> None:
        """New drills of the levels that are open, for so many seconds."""
        have = sum(entry.reason is Reason.NEW for entry in self._all())
        level = self._open_level()
        fresh = [
            trait
            for trait in self._traits
            if trait.drill.level <= level
            and trait.drill.name not in self._statuses
            and trait.drill.name not in self._taken
        ]
        fresh.sort(key=lambda trait: trait.drill.level)  # within a level, as in the course
        self._add(fresh, Reason.NEW, self._why_new, SELECTION.new_per_day - have, room)
        if not self._picked:
            self._add(fresh, Reason.NEW, self._why_new, 1 - have, room, passes=1)

    def _play_more(self) -> None:
        """Ask for more takes of what is new or weak, until the minutes are filled."""
        for passes in range(3, SELECTION.max_passes + 1):
            for name, entry in self._picked.items():
                if entry.reason in (Reason.NEW, Reason.WEAK):
                    longer = self._entry(self._by_name[name], entry.reason, entry.why, passes)
                    if self._spent + longer.seconds - entry.seconds <= self._budget:
                        self._spent += longer.seconds - entry.seconds
                        self._picked[name] = longer

    def _add(
        self,
        traits: Iterable[DrillTraits],
        reason: Reason,
        why: Callable[[DrillTraits], str],
        most: int | None = None,
        room: float = math.inf,
        passes: int = 0,
    ) -> int:
        """Put in what there is time for, in turn; how many that were."""
        added = 0
        for trait in traits:
            if most is not None and added >= most:
                break
            entry = self._entry(trait, reason, why(trait), passes)
            if entry.seconds <= min(room, self._budget - self._spent):
                self._picked[entry.drill] = entry
                self._taken.add(entry.drill)
                self._spent += entry.seconds
                room -= entry.seconds
                added += 1
        return added

    def _entry(self, trait: DrillTraits, reason: Reason, why: str, passes: int = 0) -> SetEntry:
        drill, status = trait.drill, self._statuses.get(trait.drill.name)
        learning = reason in (Reason.NEW, Reason.WEAK)
        passes = passes or (SELECTION.learning_passes if learning else SELECTION.passes)
        most = 2 * passes + 1
        if status is None:
            chance, read = SELECTION.new_pass_chance, DURATION.read_new_s
        else:
            chance, read = SELECTION.failed_pass_chance, DURATION.read_s
            if status.passed:
                chance = min(
                    max(status.recall, SELECTION.min_pass_chance), SELECTION.max_pass_chance
                )
        takes = expected_take_count(chance, passes, most)
        return SetEntry(
            drill=drill.name,
            title=drill.title,
            reason=reason,
            why=why,
            key=trait.harp.key.name,
            tuning=trait.harp.tuning.name,
            passes=passes,
            most=most,
            seconds=read + takes * (trait.take_s + DURATION.between_takes_s),
            pass_mark=drill.goal.pass_mark,
            last=None if status is None else status.score,
        )

    def _levels(self) -> dict[int, list[bool]]:
        """The levels in order; of each of its drills, whether it has ever been passed."""
        levels: dict[int, list[bool]] = {}
        for trait in sorted(self._traits, key=lambda trait: trait.drill.level):
            status = self._statuses.get(trait.drill.name)
            levels.setdefault(trait.drill.level, []).append(status is not None and status.ever)
        return levels

    def _open_level(self) -> int:
        """The highest level that is open: by what was passed below it, or because somebody who
        came with skill has passed a drill of it."""
        levels = self._levels()
        opened = 0
        for level, passed in levels.items():
            opened = level
            if sum(passed) < SELECTION.level_done * len(passed):
                break
        return max([opened, *(level for level, passed in levels.items() if any(passed))])

    # Why

    def _why_warm_up(self, trait: DrillTraits) -> str:
        status = self._statuses[trait.drill.name]
        due = f"; {self._since(status)}" if status.due <= self._day else ""
        return f"easy on the lips; {self._last(status)}{due}"

    def _why_due(self, trait: DrillTraits) -> str:
        status = self._statuses[trait.drill.name]
        return f"{self._since(status)}; {self._last(status)}"

    def _why_weak(self, weak: SuccessRate, trait: DrillTraits) -> str:
        if weak.kind is TraitKind.SKILL:
            return f"{weak.sentence}; this one trains that"
        part = round(100.0 * trait.trains[weak.key])
        notes = "all notes" if part >= 100 else f"{part} % of the notes"
        return f"{weak.sentence}; {notes} of this drill train that"

    def _why_new(self, trait: DrillTraits) -> str:
        level = trait.drill.level
        below = [(at, passed) for at, passed in self._levels().items() if at < level]
        if not below:
            return f"level {level}, where the course begins"
        at, passed = below[-1]
        done = f"{sum(passed)} of {len(passed)} drills of level {at} have been passed"
        return f"level {level}; {done}"

    def _why_enjoy(self, trait: DrillTraits) -> str:
        status = self._statuses[trait.drill.name]
        days = (self._day - status.last).days
        return f"{score_floor(status.best)} at best, and not played for {days} days"

    def _since(self, status: DrillStatus) -> str:
        if status.due < self._day:
            return f"due since {relative_date(status.due, self._day)}"
        when = f"due {relative_date(status.due, self._day, on='on ')}"
        return when if status.due == self._day else f"{when}, and there is time for it today"

    def _last(self, status: DrillStatus) -> str:
        when = relative_date(status.last, self._day, on="on ")
        return f"{score_floor(status.score)} last time, {when}"


def _well(trait: DrillTraits) -> float:
    passing = trait.drill.goal.pass_mark
    return passing + SELECTION.enjoyed_above * (100.0 - passing)


def _in_order(
    entries: Iterable[SetEntry], traits: Mapping[str, DrillTraits]
) -> tuple[SetEntry, ...]:
    """The warm-up first, what is played for joy last, and between them hard and easy by turns.

    What is hard on the lips is spread evenly among the rest, and where there is a choice no two
    drills of one skill follow each other: skills that change are kept better than skills in
    blocks (contextual interference, Shea and Morgan 1979, J. Exp. Psychol.: Human Learning and
    Memory 5(2)).
    """
    by_reason: dict[Reason, list[SetEntry]] = {reason: [] for reason in Reason}
    for entry in entries:
        by_reason[entry.reason].append(entry)
    reasons = (Reason.NEW, Reason.WEAK, Reason.DUE, Reason.KEEP)
    middle = [entry for reason in reasons for entry in by_reason[reason]]
    hard = [entry for entry in middle if traits[entry.drill].strain >= SELECTION.hard_strain]
    easy = [entry for entry in middle if traits[entry.drill].strain < SELECTION.hard_strain]
    order = list(by_reason[Reason.WARM_UP])
    count, of_them = len(middle), len(hard)
    for place in range(count):
        is_hard = (place + 1) * of_them // count > place * of_them // count
        order.append(_next(hard if is_hard else easy, order, traits))
    return (*order, *by_reason[Reason.ENJOY])


def _next(
    left: list[SetEntry], order: list[SetEntry], traits: Mapping[str, DrillTraits]
) -> SetEntry:
    """Take the first that trains something else than the one before it."""

    def skill(entry: SetEntry) -> str:
        return next(iter(traits[entry.drill].drill.skills), "")

    last = skill(order[-1]) if order else None
    other = next((entry for entry in left if skill(entry) != last), left[0])
    left.remove(other)
    return other
