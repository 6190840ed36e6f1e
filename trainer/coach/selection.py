"""Choosing the daily set: which drills are worth the minutes, and in which order.

The minutes go, in this order, to

1. a warm-up, the player's focus, something weak and something to enjoy;
2. new drills, as far as the due ones leave room for them;
3. due drills, those most likely to be forgotten first;
4. drills that will be due soon, more to enjoy, more that is new, and any others; few of those that
   went very well last time, as what is known comes back by itself;
5. more takes of what is new or weak, then, in a full set, of what is due.

A set has few drills, as a good teacher's plan: a few, and one more for some minutes. What is due
beyond that waits for another day.

New drills come in the order of the course. A stage of the course is open when most drills of the
stages before it have been passed, and a level when most of the open drills below it have. A day has
only a few new drills and one new skill, and no bend is new before single notes have been passed.

A placement takes drills up to its level for passed. Some of them are asked for to check it; a drill
that fails lowers it. A drill on a plateau is asked for in an easier way, or put to rest, and an
easier one of its skill takes its place (:mod:`trainer.coach.plateau`).

The constants are in :class:`trainer.coach.parameters.SelectionParameters`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property, partial
from itertools import islice

from trainer.coach.due import DrillStatus
from trainer.coach.parameters import DURATION, SELECTION
from trainer.coach.set_entry import (
    Reason,
    SetEntry,
    days_text,
    expected_take_count,
    relative_date,
    score_floor,
)
from trainer.coach.standing import closed_drills
from trainer.coach.traits import SINGLE_NOTES, DrillTraits
from trainer.coach.weaknesses import SuccessRate, Trait, TraitKind, find_weaknesses
from trainer.core.quantities import quantity_text
from trainer.drill import course_place, read_course
from trainer.store import Focus, Placement


@dataclass(frozen=True, slots=True)
class Wishes:
    """What a player has said or played about what to practise.

    Attributes:
        focus: what to work on today; None for nothing.
        placements: level in each skill, by the skill's name.
    """

    focus: Focus | None = None
    placements: Mapping[str, Placement] = field(default_factory=dict)


def focus_trait(focus: Focus) -> Trait:
    """The trait that a focus is on."""
    is_skill = focus.name[0].isalpha()
    return (TraitKind.SKILL if is_skill else TraitKind.ENTRY), focus.name


def choose_entries(
    drills: Sequence[DrillTraits],
    statuses: Mapping[str, DrillStatus],
    rates: Mapping[Trait, SuccessRate],
    day: date,
    minutes: float,
    kept: Sequence[SetEntry] = (),
    wishes: Wishes | None = None,
) -> tuple[SetEntry, ...]:
    """The entries of a day, in the order to play them in.

    Args:
        drills: the drills that can be played, in the order of the course.
        statuses: status of each before the day, by name.
        rates: success rates from the days before.
        day: the day.
        minutes: time for the set in minutes.
        kept: entries that have been played today. Their time is spent, and they do not come again.
        wishes: the player's focus and placements.
    """
    return _Selection(drills, statuses, rates, day, minutes, kept, wishes or Wishes()).entries()


class _Selection:
    """One choice of a daily set, entry by entry."""

    def __init__(
        self,
        drills: Sequence[DrillTraits],
        statuses: Mapping[str, DrillStatus],
        rates: Mapping[Trait, SuccessRate],
        day: date,
        minutes: float,
        kept: Sequence[SetEntry],
        wishes: Wishes,
    ) -> None:
        self._drills = drills
        self._focus = wishes.focus
        self._by_name = {traits.drill.name: traits for traits in drills}
        self._statuses = statuses
        self._weak = find_weaknesses(rates)
        self._day = day
        self._budget_s = 60.0 * minutes
        self._kept = kept
        self._spent_s = sum(entry.seconds for entry in kept)
        self._chosen: dict[str, SetEntry] = {}
        self._taken = {entry.drill for entry in kept}
        prior = SELECTION.new_prior_drills
        began_well = sum(status.began_well for status in statuses.values())
        # Of players whose drills begin badly, too little would fit into the minutes.
        self._new_pass_chance = max(
            SELECTION.new_pass_chance,
            (prior * SELECTION.new_pass_chance + began_well) / (prior + len(statuses)),
        )
        self._placed = _checked_placements(drills, statuses, wishes.placements)

    def entries(self) -> tuple[SetEntry, ...]:
        """The entries, in the order to play them in."""
        self._add_warm_up()
        self._add_for_focus()
        self._add_for_resting()
        self._add_checks()
        if self._budget_s >= 60.0 * SELECTION.short_set_min:
            self._add_to_enjoy(1)
            self._add_for_weaknesses()
        due = self._due()
        due_s = sum(self._entry(traits, Reason.DUE, "").seconds for traits in due)
        left_s = self._budget_s - self._spent_s - due_s
        self._add_new(min(left_s, SELECTION.new_budget * self._budget_s))
        self._add(due, Reason.DUE, self._why_due)
        self._add_fillers(self._due_soon(), Reason.DUE)
        self._add_to_enjoy(SELECTION.enjoyed_drills)
        self._add_new(self._budget_s - self._spent_s)
        self._add_fillers(self._others(), Reason.KEEP)
        self._ask_for_more_takes()
        # With little else to play, what is known is better than nothing.
        while self._spent_s < SELECTION.min_filled * self._budget_s:
            if not self._add_checks():
                break
        room_s = SELECTION.min_filled * self._budget_s - self._spent_s
        easy = [traits for traits in self._others() if room_s > 0.0]
        self._add(easy, Reason.KEEP, self._why_due, room_s=room_s + DURATION.read_s)
        return _in_playing_order(self._chosen.values(), self._by_name)

    # Candidates

    def _room(self) -> int:
        """Number of drills that the set can still take up."""
        minutes = self._budget_s / 60.0
        most = SELECTION.min_drills + math.floor(minutes / SELECTION.minutes_per_drill)
        return most - len(self._kept) - len(self._chosen)

    def _all_entries(self) -> Iterable[SetEntry]:
        """The entries of the set so far."""
        return (*self._kept, *self._chosen.values())

    def _count(self, reason: Reason) -> int:
        """Number of entries of the set so far that have a reason."""
        return sum(entry.reason is reason for entry in self._all_entries())

    def _known(self) -> Iterable[tuple[DrillTraits, DrillStatus]]:
        """Drills that were played before, do not rest and are not in the set yet."""
        for traits in self._drills:
            status = self._statuses.get(traits.drill.name)
            if status is None or traits.drill.name in self._taken:
                continue
            if status.plateau is None or status.plateau.rests_until is None:
                yield traits, status

    def _due(self) -> list[DrillTraits]:
        """Drills that are due, those most likely to be forgotten first."""
        due = [(traits, status) for traits, status in self._known() if status.due <= self._day]
        due.sort(key=lambda known: (known[1].recall, known[0].drill.name))
        return [traits for traits, _ in due]

    def _due_soon(self) -> list[DrillTraits]:
        """Drills nearer to being due than to the day on which they were last played."""
        soon = [
            (traits, status)
            for traits, status in self._known()
            if self._day - status.last >= status.due - self._day
        ]
        soon.sort(key=lambda known: (known[1].due, known[0].drill.name))
        return [traits for traits, _ in soon]

    def _others(self) -> list[DrillTraits]:
        """All other known drills, those most likely to be forgotten first.

        Those that were played yesterday come last.
        """

        def rank(known: tuple[DrillTraits, DrillStatus]) -> tuple[bool, float, str]:
            traits, status = known
            return (self._day - status.last).days < 2, status.recall, traits.drill.name

        return [traits for traits, _ in sorted(self._known(), key=rank)]

    # Entries

    def _add_warm_up(self) -> None:
        easy = [
            (traits, status)
            for traits, status in self._known()
            if traits.is_warm_up
            and traits.drill.level <= SELECTION.warm_up_max_level
            and status.passed
        ]
        # Due ones first, then those that rested longest.
        easy.sort(key=lambda known: (known[1].due > self._day, known[1].last, known[0].drill.name))
        self._add(
            [traits for traits, _ in easy],
            Reason.WARM_UP,
            self._why_warm_up,
            SELECTION.warm_up_drills - self._count(Reason.WARM_UP),
            SELECTION.warm_up_budget * self._budget_s,
        )

    def _add_fillers(self, drills: Sequence[DrillTraits], reason: Reason) -> None:
        """Add drills that are not due, few of those that went very well last time."""
        learning = [t for t in drills if not self._statuses[t.drill.name].is_easy]
        self._add(learning, reason, self._why_due)
        known = [t for t in drills if self._statuses[t.drill.name].is_easy]
        fillers = {entry.drill for entry in self._chosen.values() if self._is_easy_filler(entry)}
        self._add(known, reason, self._why_due, SELECTION.easy_drills - len(fillers))

    def _is_easy_filler(self, entry: SetEntry) -> bool:
        status = self._statuses.get(entry.drill)
        is_filler = entry.reason in (Reason.DUE, Reason.KEEP)
        return is_filler and status is not None and status.is_easy and status.due > self._day

    def _add_for_focus(self) -> None:
        """Drills for the player's focus: known ones, then the easiest new one."""
        if self._focus is None:
            return
        trait = focus_trait(self._focus)
        known = self._training(trait)
        new = [
            traits
            for traits in self._drills
            if traits.trains.get(trait, 0.0) >= SELECTION.min_trained
            and traits.drill.name not in self._statuses
            and traits.drill.name not in self._taken
        ]
        new.sort(key=lambda traits: traits.drill.level)
        budget_s = SELECTION.focus_budget * self._budget_s
        count = self._add(known[:1], Reason.WEAK, self._why_focus, 1)
        count += self._add(new, Reason.NEW, self._why_focus, 1, budget_s)
        before_s = self._spent_s
        for traits in known[1:]:
            if count >= SELECTION.focus_drills or self._spent_s - before_s > budget_s:
                return
            count += self._add([traits], Reason.WEAK, self._why_focus)

    def _add_for_resting(self) -> None:
        """In place of a drill that rests, an easier one of its main skill."""
        for traits in self._drills:
            status = self._statuses.get(traits.drill.name)
            if status is None or status.plateau is None or status.plateau.rests_until is None:
                continue
            easier = [
                known
                for known, _ in self._known()
                if known.main_skill == traits.main_skill and known.drill.level <= traits.drill.level
            ]
            easier.sort(key=lambda known: (-known.drill.level, known.drill.name))
            if self._add(easier, Reason.WEAK, partial(self._why_instead, traits), 1):
                return

    def _add_checks(self) -> int:
        """Drills that a placement takes for known and that were never played, the hardest first.

        Returns:
            Number of entries added.
        """
        unplayed = [
            traits
            for traits in self._drills
            if self._is_placed(traits)
            and traits.drill.name not in self._statuses
            and traits.drill.name not in self._taken
        ]
        unplayed.sort(key=lambda traits: (-traits.drill.level, traits.drill.name))
        by_skill: dict[str, DrillTraits] = {}
        for traits in unplayed:
            by_skill.setdefault(traits.main_skill, traits)
        return self._add(by_skill.values(), Reason.KEEP, self._why_check, SELECTION.check_drills)

    def _is_placed(self, traits: DrillTraits) -> bool:
        """Whether a placement takes a drill for known."""
        return self._placed.get(traits.main_skill, 0) >= traits.drill.level

    def _add_to_enjoy(self, most: int) -> None:
        """Drills that go well and were not played recently, music before exercises."""
        liked = [
            (traits, status)
            for traits, status in self._known()
            if status.passed
            and (self._day - status.last).days >= SELECTION.rested_days
            and status.best >= _enjoyed_score(traits)
        ]
        liked.sort(
            key=lambda known: (
                not known[0].is_music,
                known[1].last,
                -known[1].best,
                known[0].drill.name,
            )
        )
        most -= self._count(Reason.ENJOY)
        self._add([traits for traits, _ in liked], Reason.ENJOY, self._why_enjoy, most)

    def _add_for_weaknesses(self) -> None:
        count = self._count(Reason.WEAK)
        before_s = self._spent_s
        for weak in self._weak:
            spent_s = self._spent_s - before_s
            if count >= SELECTION.weak_drills or spent_s > SELECTION.weak_budget * self._budget_s:
                return
            if not self._is_trained(weak):
                candidates = self._candidates_for(weak)
                count += self._add(candidates, Reason.WEAK, partial(self._why_weak, weak), 1)

    def _is_trained(self, weak: SuccessRate) -> bool:
        """Whether an entry for another weak trait trains this one too."""
        return any(
            entry.reason is Reason.WEAK
            and entry.drill in self._by_name
            and _trains(self._by_name[entry.drill], weak)
            for entry in self._all_entries()
        )

    def _candidates_for(self, weak: SuccessRate) -> list[DrillTraits]:
        """Known drills that train a weak trait, the best first."""
        return self._training(weak.trait)

    def _training(self, trait: Trait) -> list[DrillTraits]:
        """Known drills that train a trait, the best first."""

        def worth(traits: DrillTraits, status: DrillStatus) -> float:
            rest = min(1.0, (self._day - status.last).days / SELECTION.fresh_days)
            return traits.trains.get(trait, 0.0) * rest

        able = [
            (traits, worth(traits, status))
            for traits, status in self._known()
            if traits.trains.get(trait, 0.0) >= SELECTION.min_trained
        ]
        able.sort(key=lambda known: (-known[1], known[0].drill.level, known[0].drill.name))
        return [traits for traits, _ in able]

    def _add_new(self, room_s: float) -> None:
        """Add new drills of the open levels.

        Args:
            room_s: time for them in seconds.
        """
        most = SELECTION.new_per_day - self._count(Reason.NEW)
        level = self._open_level()
        new = [
            traits
            for traits in self._drills
            if traits.drill.level <= level
            and traits.drill.name not in self._statuses
            and traits.drill.name not in self._taken
            and (self._has_single_notes() or not traits.has_bends)
            and not self._is_placed(traits)
            and traits.drill.name not in self._closed
        ]
        new.sort(key=lambda traits: (traits.drill.level, course_place(traits.drill.name)))
        new = self._of_one_new_skill(new)
        self._add(new, Reason.NEW, self._why_new, most, room_s)
        if not self._chosen:
            # One passing take may fit where two do not.
            most = 1 - self._count(Reason.NEW)
            self._add(new, Reason.NEW, self._why_new, most, room_s, passes=1)

    def _has_single_notes(self) -> bool:
        """Whether single notes have been passed, or no drill trains them."""
        drills = [t.drill.name for t in self._drills if SINGLE_NOTES in t.drill.skills]
        statuses = [self._statuses[name] for name in drills if name in self._statuses]
        is_passed = any(status.ever_passed for status in statuses)
        return not drills or is_passed or self._placed.get(SINGLE_NOTES, 0) > 0

    def _of_one_new_skill(self, new: Sequence[DrillTraits]) -> list[DrillTraits]:
        """New drills of known main skills and of one other, that of today's new drills if any."""
        known = {t.main_skill for t in self._drills if t.drill.name in self._statuses} | {""}
        today = [self._by_name[e.drill] for e in self._all_entries() if e.drill in self._by_name]
        if self._focus is not None:  # its drills are the player's choice, whatever their skills
            trait = focus_trait(self._focus)
            today = [traits for traits in today if trait not in traits.trains]
        unknown = (t.main_skill for t in (*today, *new) if t.main_skill not in known)
        known.update(islice(unknown, 1))
        return [traits for traits in new if traits.main_skill in known]

    def _ask_for_more_takes(self) -> None:
        """Ask for more takes, first of what is new or weak, until the minutes are filled."""
        self._lengthen((Reason.NEW, Reason.WEAK), SELECTION.learning_passes)
        if self._room() <= 0:
            self._lengthen((Reason.DUE, Reason.KEEP, Reason.ENJOY), SELECTION.passes)

    def _lengthen(self, reasons: Collection[Reason], usual: int) -> None:
        """Ask for more passing takes than the usual ones, in turn, as far as there is time."""
        for passes in range(usual + 1, SELECTION.max_passes + 1):
            for name, entry in self._chosen.items():
                if entry.reason not in reasons:
                    continue
                longer = self._entry(self._by_name[name], entry.reason, entry.why, passes)
                spent_s = self._spent_s + longer.seconds - entry.seconds
                if spent_s <= self._budget_s:
                    self._spent_s = spent_s
                    self._chosen[name] = longer

    def _add(
        self,
        drills: Iterable[DrillTraits],
        reason: Reason,
        why: Callable[[DrillTraits], str],
        most: int | None = None,
        room_s: float = math.inf,
        passes: int = 0,
    ) -> int:
        """Add entries for drills, in order, as far as there is time.

        Args:
            drills: the drills.
            reason: why they are in the set.
            why: returns the reason in words.
            most: most entries to add; None for no limit.
            room_s: time for them in seconds.
            passes: passing takes to ask for; 0 for the usual number.

        Returns:
            Number of entries added.
        """
        added = 0
        for traits in drills:
            if (most is not None and added >= most) or self._room() <= 0:
                break
            entry = self._entry(traits, reason, why(traits), passes)
            if entry.seconds <= min(room_s, self._budget_s - self._spent_s):
                self._chosen[entry.drill] = entry
                self._taken.add(entry.drill)
                self._spent_s += entry.seconds
                room_s -= entry.seconds
                added += 1
        return added

    def _entry(self, traits: DrillTraits, reason: Reason, why: str, passes: int = 0) -> SetEntry:
        drill, status = traits.drill, self._statuses.get(traits.drill.name)
        is_learning = reason in (Reason.NEW, Reason.WEAK)
        passes = passes or (SELECTION.learning_passes if is_learning else SELECTION.passes)
        most = 2 * passes + 1
        if status is None:
            chance, read_s = self._new_pass_chance, DURATION.read_new_s
        else:
            chance, read_s = SELECTION.failed_pass_chance, DURATION.read_s
            if status.passed:
                at_least = max(status.recall, SELECTION.min_pass_chance)
                chance = min(at_least, SELECTION.max_pass_chance)
        takes = expected_take_count(chance, passes, most)
        plateau = status.plateau if status is not None else None
        tempo = plateau.tempo if plateau else None
        bars = plateau.bars if plateau else None
        tolerance = plateau.tolerance if plateau else None
        take_s = traits.take_s * (drill.tempo / tempo if tempo else 1.0)
        if bars is not None:
            take_s *= (bars[1] - bars[0] + 1) / drill.bars
        if status is not None and (tempo or bars or tolerance):
            why = f"{why}; {self._easier(status)}"
        return SetEntry(
            drill=drill.name,
            title=drill.title,
            reason=reason,
            why=why,
            key=traits.harp.key.name,
            tuning=traits.harp.tuning.name,
            passes=passes,
            most=most,
            seconds=read_s + takes * (take_s + DURATION.between_takes_s),
            pass_mark=drill.goal.pass_mark,
            last=None if status is None else status.score,
            tempo=tempo,
            bars=bars,
            tolerance=tolerance,
        )

    def _is_passed(self, traits: DrillTraits) -> bool:
        """Whether a drill was ever passed, or is placed."""
        status = self._statuses.get(traits.drill.name)
        return self._is_placed(traits) if status is None else status.ever_passed

    @cached_property
    def _closed(self) -> frozenset[str]:
        """Names of the drills whose stage of the course is not open yet."""
        passed = {traits.drill.name for traits in self._drills if self._is_passed(traits)}
        return closed_drills(read_course(), set(self._by_name), passed)

    @cached_property
    def _levels(self) -> dict[int, list[bool]]:
        """For each level, in order: whether each of its drills was passed, or is placed.

        Drills of closed stages do not count: a level waits for none that it cannot have.
        """
        levels: dict[int, list[bool]] = {}
        is_open = (traits for traits in self._drills if traits.drill.name not in self._closed)
        for traits in sorted(is_open, key=lambda traits: traits.drill.level):
            levels.setdefault(traits.drill.level, []).append(self._is_passed(traits))
        return levels

    def _open_level(self) -> int:
        """The highest open level.

        A level is also open if the player has passed a drill of it, as an advanced player may.
        """
        levels = self._levels
        highest = 0
        for level, passed in levels.items():
            highest = level
            if sum(passed) < SELECTION.level_done * len(passed):
                break
        return max([highest, *(level for level, passed in levels.items() if any(passed))])

    # Reasons in words

    def _why_warm_up(self, traits: DrillTraits) -> str:
        status = self._statuses[traits.drill.name]
        due = f"; {self._since(status)}" if status.due <= self._day else ""
        return f"easy on the lips; {self._last(status)}{due}"

    def _why_due(self, traits: DrillTraits) -> str:
        status = self._statuses[traits.drill.name]
        return f"{self._since(status)}; {self._last(status)}"

    def _why_weak(self, weak: SuccessRate, traits: DrillTraits) -> str:
        if weak.kind is TraitKind.SKILL:
            return f"{weak.sentence}; this drill trains it"
        if weak.kind is TraitKind.HABIT:
            return f"{weak.sentence}; this drill is for it"
        percent = round(100.0 * traits.trains[weak.trait])
        notes = "all notes" if percent >= 100 else f"{percent} % of the notes"
        return f"{weak.sentence}; {notes} of this drill train it"

    def _easier(self, status: DrillStatus) -> str:
        plateau = status.plateau
        assert plateau is not None
        tempo = f"at {plateau.tempo:.0f} beats a minute" if plateau.tempo else ""
        if plateau.bars is not None:
            first, last = plateau.bars
            alone = f"bars {first} to {last} alone" if last > first else f"bar {first} alone"
            how = f"{alone}, {tempo}" if tempo else alone
        elif plateau.tolerance is not None:
            how = f"a wider tolerance, {plateau.tolerance:.0f} cents"
        else:
            how = f"slower, {tempo}"
        return f"{self._stuck(status)}: {how}"

    def _stuck(self, status: DrillStatus) -> str:
        plateau = status.plateau
        assert plateau is not None
        for_days = days_text((self._day - plateau.since).days)
        return f"at {score_floor(plateau.score)} for {for_days}"

    def _why_instead(self, resting: DrillTraits, traits: DrillTraits) -> str:
        status = self._statuses[resting.drill.name]
        assert status.plateau is not None
        assert status.plateau.rests_until is not None
        until = relative_date(status.plateau.rests_until, self._day)
        return f"instead of {resting.drill.title}, {self._stuck(status)}, which rests until {until}"

    def _why_focus(self, traits: DrillTraits) -> str:
        assert self._focus is not None
        trait = focus_trait(self._focus)
        until = relative_date(self._focus.until, self._day)
        why = f"your focus until {until}: {self._focus.name}"
        if trait[0] is TraitKind.SKILL:
            return why
        return f"{why}, {round(100.0 * traits.trains[trait])} % of the notes"

    def _why_check(self, traits: DrillTraits) -> str:
        level = self._placed[traits.main_skill]
        return f"placed at level {level} in {traits.main_skill}; this drill checks it"

    def _why_new(self, traits: DrillTraits) -> str:
        level = traits.drill.level
        below = [(at, passed) for at, passed in self._levels.items() if at < level]
        if not below:
            return f"level {level}, where the course begins"
        at, passed = below[-1]
        if any(
            t.drill.level == at and t.drill.name not in self._statuses and self._is_placed(t)
            for t in self._drills
        ):
            return f"level {level}, which your placement opens"
        return f"level {level}; {sum(passed)} of {len(passed)} drills of level {at} passed"

    def _why_enjoy(self, traits: DrillTraits) -> str:
        status = self._statuses[traits.drill.name]
        days = (self._day - status.last).days
        return f"best score {score_floor(status.best)}; not played for {quantity_text(days, 'day')}"

    def _since(self, status: DrillStatus) -> str:
        if status.due < self._day:
            return f"due since {relative_date(status.due, self._day)}"
        when = f"due {relative_date(status.due, self._day, on='on ')}"
        return when if status.due == self._day else f"{when}, and there is time for it today"

    def _last(self, status: DrillStatus) -> str:
        when = relative_date(status.last, self._day, on="on ")
        return f"{score_floor(status.score)} last time, {when}"


def _checked_placements(
    drills: Iterable[DrillTraits],
    statuses: Mapping[str, DrillStatus],
    placements: Mapping[str, Placement],
) -> dict[str, int]:
    """Level of each placed skill; below the drills of it that the player has failed since.

    A drill counts as failed after some days without a pass, or where another one was not passed
    either.
    """
    levels = {}
    for skill, placement in placements.items():
        failed = [
            (traits.drill.level, status.days)
            for traits in drills
            if traits.main_skill == skill
            and traits.drill.level <= placement.level
            and (status := statuses.get(traits.drill.name)) is not None
            and not status.ever_passed
        ]
        is_wrong = len(failed) > 1 or any(days >= SELECTION.failed_days for _, days in failed)
        lowest = min(level for level, _ in failed) if is_wrong else placement.level + 1
        levels[skill] = min(placement.level, lowest - 1)
    return levels


def _trains(traits: DrillTraits, weak: SuccessRate) -> bool:
    return traits.trains.get(weak.trait, 0.0) >= SELECTION.min_trained


def _enjoyed_score(traits: DrillTraits) -> float:
    """Best score from which a drill is one to enjoy."""
    pass_mark = traits.drill.goal.pass_mark
    return pass_mark + SELECTION.enjoyed_above * (100.0 - pass_mark)


def _in_playing_order(
    entries: Iterable[SetEntry], drills: Mapping[str, DrillTraits]
) -> tuple[SetEntry, ...]:
    """The warm-up first, the drills to enjoy last, and between them hard and easy in turns.

    Without a warm-up, drills that suit cold lips come before other easy ones.
    Drills that are hard on the lips are spread evenly. Where there is a choice, no two drills of
    one skill follow each other: skills that alternate are retained better than skills in blocks
    (contextual interference, Shea and Morgan 1979, J. Exp. Psychol.: Human Learning and Memory
    5(2)).
    """
    by_reason: dict[Reason, list[SetEntry]] = {reason: [] for reason in Reason}
    for entry in entries:
        by_reason[entry.reason].append(entry)
    reasons = (Reason.NEW, Reason.WEAK, Reason.DUE, Reason.KEEP)
    middle = [entry for reason in reasons for entry in by_reason[reason]]
    hard = [entry for entry in middle if drills[entry.drill].strain >= SELECTION.hard_strain]
    easy = [entry for entry in middle if drills[entry.drill].strain < SELECTION.hard_strain]
    order = by_reason[Reason.WARM_UP]
    if not order:
        easy.sort(key=lambda entry: not drills[entry.drill].is_warm_up)
    count, hard_count = len(middle), len(hard)
    for place in range(count):
        is_hard = (place + 1) * hard_count // count > place * hard_count // count
        order.append(_take_next(hard if is_hard else easy, order, drills))
    return (*order, *by_reason[Reason.ENJOY])


def _take_next(
    left: list[SetEntry], order: list[SetEntry], drills: Mapping[str, DrillTraits]
) -> SetEntry:
    """Remove and return the first entry whose main skill differs from that of the one before."""
    before = drills[order[-1].drill].main_skill if order else None
    others = (entry for entry in left if drills[entry.drill].main_skill != before)
    entry = next(others, left[0])
    left.remove(entry)
    return entry
