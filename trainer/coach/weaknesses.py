"""What is weak: habits, tab entries, criteria, and the drills' skills.

A *try* is one note for a habit, an entry or a criterion, and one whole take for a skill. A note is
good for a criterion that earned `IN_TUNE_POINTS`, for an entry if its pitch did, and for a habit
that it could show (:mod:`trainer.marking.habits`) and does not; a take is good if it passed. Only
the player's own takes count. What is common to all notes of a take, such as the harp's tuning, is
no habit.

The fraction of good tries is uncertain where tries are few. So it is estimated:

- A try's weight halves every `half_life_days`, and is 0 before `window_days`.
- Notes of one take are correlated: n of them count as n / (1 + (n - 1) r) (the design effect of a
  cluster, Kish 1965, Survey Sampling, ch. 5), with r = `intraclass_correlation`.
- Each rate is drawn towards the player's usual one, the less the more tries there are: empirical
  Bayes with a beta-binomial model (Casella 1985, The American Statistician 39). The prior has the
  mean of all entries (or criteria, and so on); its weight follows from their spread around it by
  the method of moments (Kleinman 1973, JASA 68).

The posterior is a beta distribution. A trait is weak if its rate is below the usual one with a
probability of at least `min_probability` and by at least `min_gap`, and below `max_rate`
(`max_habit_rate` for a habit); the last tries must show it too.

The constants are in :class:`trainer.coach.parameters.WeaknessParameters`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from statistics import median

from trainer.coach.parameters import IN_TUNE_POINTS, WEAKNESS
from trainer.core.quantities import quantity_text
from trainer.core.stats.beta import beta_cdf
from trainer.drill import Drill
from trainer.harp import Tab
from trainer.marking import (
    PlayedNote,
    common_criteria,
    describe_sound,
    is_common,
    note_habits,
    possible_habits,
)
from trainer.store import PLAYER_SOURCES, StepRecord, TakeRecord


class TraitKind(StrEnum):
    """What a trait is."""

    ENTRY = "entry"
    """A tab entry: hole, breath and bend."""
    CRITERION = "part"
    """A criterion of the mark."""
    SKILL = "skill"
    """A skill that drills name."""
    HABIT = "habit"
    """A fault that many notes share, by its name in :mod:`trainer.marking.habits`."""


Trait = tuple[TraitKind, str]
"""Kind and name; an entry's name is its tab."""

_LAST_TRIES = {
    TraitKind.ENTRY: WEAKNESS.last_notes,
    TraitKind.CRITERION: WEAKNESS.last_criterion_notes,
    TraitKind.SKILL: WEAKNESS.last_takes,
    TraitKind.HABIT: WEAKNESS.last_criterion_notes,
}
_MISSES = {
    "pitch": "out of tune",
    "steadiness": "not held steady",
    "attack": "slow to settle",
    "motion": "not moved as asked",
    "cleanness": "not clean",
    "time": "early or late",
    "articulation": "not articulated as asked",
    "dynamics": "not loud or soft as asked",
}
_HABITS = {
    "bends shallow": "bends not deep enough",
    "bends deep": "bends too deep",
    "overblows sharp": "overblows sharp",
    "overblows flat": "overblows flat",
    "low draws sag": "draw 2 and 3 sagging",
    "draws flat": "draw notes flat",
    "blows flat": "blow notes flat",
    "blue notes high": "blue notes too high",
    "blue notes low": "blue notes too low",
    "bends scooped": "bends scooped",
    "slow to settle": "notes slow to settle",
    "bends unsteady": "bends wobbling",
    "notes unsteady": "notes wobbling",
    "bends rise": "bends creeping up",
    "bends sink": "bends sinking",
    "notes rise": "notes rising",
    "notes sag": "notes sagging",
    "off-beats late": "off-beats late",
    "off-beats early": "off-beats early",
    "beats late": "notes on the beat late",
    "beats early": "notes on the beat early",
    "swing straight": "swing played straight",
    "notes cut short": "notes cut short",
    "notes run on": "notes not tongued",
    "staccato long": "staccato notes too long",
    "legato broken": "gaps in legato",
    "slaps missing": "slaps missing",
    "accents weak": "accents weak",
    "swells flat": "swells and fades too small",
    "hand vibrato shallow": "hand vibrato too shallow",
    "hand vibrato deep": "hand vibrato too deep",
    "wahs fast": "wahs too fast",
    "wahs slow": "wahs too slow",
    "wahs shallow": "wahs too shallow",
    "leaks above": "the hole above leaking",
    "leaks below": "the hole below leaking",
    "not bent": "bends not bent",
    "other breath": "breath the wrong way",
    "a hole too low": "notes a hole too low",
    "a hole too high": "notes a hole too high",
}
"""Habits of single notes in words for a player."""


@dataclass(slots=True)
class TryCounts:
    """Tries of one trait in some takes.

    Attributes:
        tried: number of tries.
        good: number of good ones.
        effective_tries: number of independent tries that carry the same information.
        effective_good: good ones among them.
        deviations: cents from the target of each note that was out of tune; negative is flat.
        silent: number of notes that were not heard.
    """

    tried: int = 0
    good: int = 0
    effective_tries: float = 0.0
    effective_good: float = 0.0
    deviations: list[float] = field(default_factory=list)
    silent: int = 0

    def add(self, is_good: bool) -> None:
        """Count a try."""
        self.tried += 1
        self.good += is_good

    def apply_design_effect(self) -> None:
        """Set the effective numbers, where all tries are of one take."""
        self.effective_tries = self.tried / (
            1.0 + (self.tried - 1) * WEAKNESS.intraclass_correlation
        )
        self.effective_good = self.effective_tries * self.good / self.tried

    def merge(self, other: TryCounts) -> None:
        """Add the tries of other takes."""
        self.tried += other.tried
        self.good += other.good
        self.effective_tries += other.effective_tries
        self.effective_good += other.effective_good
        self.deviations += other.deviations
        self.silent += other.silent


@dataclass(frozen=True, slots=True)
class DayTries:
    """Tries of a day.

    Attributes:
        day: the day.
        counts: tries by trait.
    """

    day: date
    counts: Mapping[Trait, TryCounts]


@dataclass(frozen=True, slots=True)
class SuccessRate:
    """Estimated success rate of a trait.

    Attributes:
        kind, name: the trait.
        tried, good: number of tries and of good ones among the last tries, those that the sentence
            covers.
        rate: posterior mean of the success rate, 0 to 1.
        usual_rate: mean rate of the player's traits of this kind.
        probability_below: posterior probability that the true rate is below `usual_rate`.
        effective_tries: weight of all tries, in independent tries of today.
        sentence: what was missed in the last tries, in words for a player.
    """

    kind: TraitKind
    name: str
    tried: int
    good: int
    rate: float
    usual_rate: float
    probability_below: float
    effective_tries: float
    sentence: str

    @property
    def trait(self) -> Trait:
        """The trait."""
        return self.kind, self.name

    @property
    def is_weak(self) -> bool:
        """Whether the trait is weak, as defined at the head of the module."""
        is_habit = self.kind is TraitKind.HABIT
        max_rate = WEAKNESS.max_habit_rate if is_habit else WEAKNESS.max_rate
        highest = min(self.usual_rate - WEAKNESS.min_gap, max_rate)
        is_recent = self.good <= max_rate * self.tried
        is_sure = self.probability_below >= WEAKNESS.min_probability
        return is_recent and is_sure and self.rate <= highest


def count_tries(
    takes: Iterable[TakeRecord], drills: Mapping[str, Drill] | None = None
) -> list[DayTries]:
    """Tries of each trait, day by day.

    Args:
        takes: takes of one player with their steps, in the order in which they were played.
        drills: drills by name; only their takes show habits.
    """
    days: dict[date, dict[Trait, TryCounts]] = {}
    for take in takes:
        day = days.setdefault(take.day, {})
        for trait, counts in _take_tries(take, (drills or {}).get(take.drill)).items():
            counts.apply_design_effect()
            if trait in day:
                day[trait].merge(counts)
            else:
                day[trait] = counts
    return [DayTries(day, counts) for day, counts in days.items()]


def success_rates(days: Iterable[DayTries], today: date) -> dict[Trait, SuccessRate]:
    """Estimated success rate of each trait that was tried before a day.

    Args:
        days: tries of one player, each day once, in order.
        today: the day.
    """
    by_trait: dict[Trait, list[tuple[float, TryCounts]]] = {}
    for tries in days:
        age = (today - tries.day).days
        if 0 < age <= WEAKNESS.window_days:
            weight = 0.5 ** ((age - 1) / WEAKNESS.half_life_days)
            for trait, counts in tries.counts.items():
                by_trait.setdefault(trait, []).append((weight, counts))
    rates: dict[Trait, SuccessRate] = {}
    for kind in TraitKind:
        sums = {
            trait: _weighted_sums(weighted)
            for trait, weighted in by_trait.items()
            if trait[0] is kind
        }
        usual, prior_tries = _prior(sums.values())
        for trait, (good, total) in sums.items():
            last = _last_tries([counts for _, counts in by_trait[trait]], _LAST_TRIES[kind])
            alpha = prior_tries * usual + good
            beta = prior_tries * (1.0 - usual) + total - good
            rates[trait] = SuccessRate(
                kind=kind,
                name=trait[1],
                tried=last.tried,
                good=last.good,
                rate=alpha / (alpha + beta),
                usual_rate=usual,
                probability_below=beta_cdf(usual, alpha, beta),
                effective_tries=total,
                sentence=_sentence(trait, last, [counts for _, counts in by_trait[trait]]),
            )
    return rates


def find_weaknesses(rates: Mapping[Trait, SuccessRate]) -> list[SuccessRate]:
    """The weak traits: habits, as they name a cause, then others; the weakest first."""
    weak = [rate for rate in rates.values() if rate.is_weak]

    def rank(rate: SuccessRate) -> tuple[bool, float, Trait]:
        return rate.kind is not TraitKind.HABIT, rate.rate - rate.usual_rate, rate.trait

    return sorted(weak, key=rank)


def _take_tries(take: TakeRecord, drill: Drill | None) -> dict[Trait, TryCounts]:
    """Tries of a take; none if the player did not play it."""
    tries: dict[Trait, TryCounts] = {}
    heard = sum(bool(step.parts) for step in take.steps)
    if take.source not in PLAYER_SOURCES or heard < WEAKNESS.min_heard * max(1, len(take.steps)):
        return tries
    for step in take.steps:
        for criterion, earned in step.parts.items():
            counts = tries.setdefault((TraitKind.CRITERION, criterion), TryCounts())
            counts.add(earned >= IN_TUNE_POINTS)
        if step.entry is not None and ("pitch" in step.parts or not step.parts):
            _add_note(tries.setdefault((TraitKind.ENTRY, step.entry), TryCounts()), step)
    if drill is not None:
        _add_habits(tries, take, drill)
    if take.whole:
        for skill in take.skills:
            tries.setdefault((TraitKind.SKILL, skill), TryCounts()).add(take.passed)
    return tries


def _add_note(counts: TryCounts, step: StepRecord) -> None:
    is_good = step.parts.get("pitch", 0.0) >= IN_TUNE_POINTS
    counts.add(is_good)
    if not step.parts:
        counts.silent += 1
        return
    is_entry = step.kind == "note" and step.heard == step.entry
    if not is_good and is_entry and step.cents is not None:
        counts.deviations.append(step.cents)


def _add_habits(tries: dict[Trait, TryCounts], take: TakeRecord, drill: Drill) -> None:
    """Count the notes that could show each habit; steps that the drill has no more are left out."""
    steps = {(step.index, step.tab): step for step in drill.steps}
    notes = [
        PlayedNote(step, record.parts, record, drill)
        for record in take.steps
        if record.parts and (step := steps.get((record.index, record.tab)))
    ]
    shared = common_criteria(notes)
    for note in notes:
        criteria = possible_habits(note.step, drill)
        for name, is_shown in note_habits(note).items():
            if criteria[name] not in shared:
                tries.setdefault((TraitKind.HABIT, name), TryCounts()).add(not is_shown)


def _weighted_sums(weighted: Iterable[tuple[float, TryCounts]]) -> tuple[float, float]:
    """Effective good tries and effective tries, weighted by age."""
    good = tries = 0.0
    for weight, counts in weighted:
        good += weight * counts.effective_good
        tries += weight * counts.effective_tries
    return good, tries


def _prior(sums: Iterable[tuple[float, float]]) -> tuple[float, float]:
    """Mean of the prior, and its weight in tries.

    For k traits with rates x / n around their mean p, N = sum(n) and c = sum(n (1 - n / N)), the
    method of moments sets sum(n (x / n - p)^2) to its expectation
    p (1 - p) (k - 1 + g (c - k + 1)), and solves for g = 1 / (1 + weight).
    """
    tried = [(good, tries) for good, tries in sums if tries > 0.0]
    total = sum(tries for _, tries in tried)
    mean = (sum(good for good, _ in tried) + 0.5) / (total + 1.0)
    if len(tried) < WEAKNESS.min_traits:
        return mean, WEAKNESS.default_prior_tries
    spread = sum(tries * (good / tries - mean) ** 2 for good, tries in tried)
    by_chance = len(tried) - 1.0
    greatest = sum(tries * (1.0 - tries / total) for _, tries in tried)
    if greatest <= by_chance:
        return mean, WEAKNESS.default_prior_tries
    g = (spread / (mean * (1.0 - mean)) - by_chance) / (greatest - by_chance)
    weight = 1.0 / max(g, 1e-9) - 1.0
    return mean, min(max(weight, WEAKNESS.min_prior_tries), WEAKNESS.max_prior_tries)


def _last_tries(days: Sequence[TryCounts], count: int) -> TryCounts:
    """Tries of the last whole days that have `count` tries or more together."""
    last = TryCounts()
    for day in reversed(days):
        if last.tried >= count:
            break
        last.merge(day)
    return last


def _habit_sentence(name: str, last: TryCounts, days: Sequence[TryCounts]) -> str:
    recent = days[-WEAKNESS.last_days :]
    count = sum(is_common(day.tried - day.good, day.tried) for day in recent)
    if count < WEAKNESS.min_habit_days:
        return f"{_HABITS[name]} in {last.tried - last.good} of the last {last.tried} notes"
    return f"{_HABITS[name]} on {count} of the last {len(recent)} days"


def _sentence(trait: Trait, last: TryCounts, days: Sequence[TryCounts]) -> str:
    kind, name = trait
    missed = last.tried - last.good
    count_of = f"{missed} of the last {last.tried}"
    if kind is TraitKind.CRITERION:
        return f"{count_of} notes were {_MISSES[name]}"
    if kind is TraitKind.HABIT:
        return _habit_sentence(name, last, days)
    if kind is TraitKind.SKILL:
        return f"{count_of} takes of {name} did not pass"
    sharp = [cents for cents in last.deviations if cents > 0.0]
    flat = [cents for cents in last.deviations if cents < 0.0]
    least = WEAKNESS.min_direction * missed
    if last.silent > least:
        fault, count = "did not sound", last.silent
    elif len(sharp) >= least > 0:
        fault, count = f"was {quantity_text(round(median(sharp)), 'cent')} sharp", len(sharp)
    elif len(flat) >= least > 0:
        fault, count = f"was {quantity_text(round(-median(flat)), 'cent')} flat", len(flat)
    else:
        fault, count = "was out of tune", missed
    entry = describe_sound((Tab.parse(name),))
    return f"{entry} {fault} in {count} of its last {last.tried} notes"
