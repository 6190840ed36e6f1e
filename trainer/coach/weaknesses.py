"""What is weak: tab entries, parts of the mark, and the drills' skills.

A *try* is one note for an entry or a part, and one whole take for a skill. It is good when its
part of the mark reached `IN_TUNE_POINTS`, the place on every line of the formula
(:mod:`trainer.marking.score`) where what is in tune, steady, clean or in time by the trade's
custom ends; for an entry that is the part for pitch; a take is good when it passed. Only what the
player played counts, never the built-in player.

How many of the tries are good is a share, and shares of a few tries say little. So:

- tries count by how long ago they were: half as much after `half_life_days`, and not at all
  before `window_days`;
- notes of one take are alike, and n of them count as n / (1 + (n - 1) r) (the design effect of a
  cluster, Kish 1965, Survey Sampling, ch. 5). The likeness r = `intraclass_correlation` is assumed;
- each share is drawn towards the player's usual one, the less the more tries there are: empirical
  Bayes with a beta-binomial model (Casella 1985, The American Statistician 39), whose prior has
  the mean of all entries (or parts, or skills), and as much weight as their spread around it leaves
  by the method of moments (Kleinman 1973, JASA 68).

What comes out is a beta distribution. Weak is what lies below the usual share with a probability
of at least `min_probability`, by at least `min_gap`, and below `max_rate` at all.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from statistics import median

from trainer.coach.parameters import IN_TUNE_POINTS, WEAKNESS
from trainer.coach.sources import PLAYER_SOURCES
from trainer.core.stats.beta import beta_cdf
from trainer.harp import Tab
from trainer.marking.sentence import describe_sound
from trainer.store.records import StepRecord, TakeRecord


class TraitKind(StrEnum):
    """What a share is of."""

    ENTRY = "entry"
    """A tab entry: hole, breath and bend."""
    CRITERION = "part"
    """A part of the mark."""
    SKILL = "skill"
    """A skill that drills name."""


Trait = tuple[TraitKind, str]
_LAST_TRIES = {
    TraitKind.ENTRY: WEAKNESS.last_notes,
    TraitKind.CRITERION: WEAKNESS.last_criterion_notes,
    TraitKind.SKILL: WEAKNESS.last_takes,
}
_MISSES = {
    "pitch": "out of tune",
    "steadiness": "not held steady",
    "attack": "not on their pitch soon enough",
    "motion": "not moved as asked",
    "cleanness": "not clean",
    "time": "early or late",
}


@dataclass(slots=True)
class TryCounts:
    """What some takes say of one thing.

    Attributes:
        tried: how many tries there were.
        good: how many of them were good.
        worth, hits: as many independent tries, and good ones among them.
        off: cents from the target of each note that was out of tune, negative flat.
        silent: notes that were not heard at all.
    """

    tried: int = 0
    good: int = 0
    worth: float = 0.0
    hits: float = 0.0
    off: list[float] = field(default_factory=list)
    silent: int = 0

    def add(self, good: bool) -> None:
        """Count a try."""
        self.tried += 1
        self.good += good

    def weigh(self) -> None:
        """All of it is of one take: say what it is worth."""
        self.worth = self.tried / (1.0 + (self.tried - 1) * WEAKNESS.intraclass_correlation)
        self.hits = self.worth * self.good / self.tried

    def join(self, other: TryCounts) -> None:
        """Add what other takes say."""
        self.tried += other.tried
        self.good += other.good
        self.worth += other.worth
        self.hits += other.hits
        self.off += other.off
        self.silent += other.silent


@dataclass(frozen=True, slots=True)
class DayTries:
    """What the takes of a day say.

    Attributes:
        day: the day.
        cells: by what they are of.
    """

    day: date
    cells: Mapping[Trait, TryCounts]


@dataclass(frozen=True, slots=True)
class SuccessRate:
    """How many of the tries at one thing are good.

    Attributes:
        kind, name: of what; an entry as tab.
        tried, good: the last tries, as they are told.
        rate: share that is good, 0 to 1, drawn towards `usual`.
        usual: the player's usual share among entries, parts or skills.
        sure: probability that `rate` is really below `usual`.
        samples: how many independent tries of today all of them are worth.
        sentence: what was missed in the last tries, in plain words.
    """

    kind: TraitKind
    name: str
    tried: int
    good: int
    rate: float
    usual: float
    sure: float
    samples: float
    sentence: str

    @property
    def key(self) -> Trait:
        """What it is of."""
        return self.kind, self.name

    @property
    def is_weak(self) -> bool:
        """Whether it is weak, see the module."""
        return self.sure >= WEAKNESS.min_probability and self.rate <= min(
            self.usual - WEAKNESS.min_gap, WEAKNESS.max_rate
        )


def count_tries(takes: Iterable[TakeRecord]) -> list[DayTries]:
    """What takes of one player say of entries, parts and skills, day by day.

    Args:
        takes: with their steps, in the order in which they were played.
    """
    days: dict[date, dict[Trait, TryCounts]] = {}
    for take in takes:
        day = days.setdefault(take.day, {})
        for key, cell in _cells(take).items():
            cell.weigh()
            if key in day:
                day[key].join(cell)
            else:
                day[key] = cell
    return [DayTries(day, cells) for day, cells in days.items()]


def success_rates(days: Iterable[DayTries], today: date) -> dict[Trait, SuccessRate]:
    """The share of everything that was tried before a day.

    Args:
        days: of one player, each day once, in order.
        today: the day.
    """
    found: dict[Trait, list[tuple[float, TryCounts]]] = {}
    for one in days:
        age = (today - one.day).days
        if 0 < age <= WEAKNESS.window_days:
            weight = 0.5 ** ((age - 1) / WEAKNESS.half_life_days)
            for key, cell in one.cells.items():
                found.setdefault(key, []).append((weight, cell))
    result: dict[Trait, SuccessRate] = {}
    for kind in TraitKind:
        sums = {key: _sums(cells) for key, cells in found.items() if key[0] is kind}
        usual, strength = _prior(sums.values())
        for key, (hits, tries) in sums.items():
            last = _last([cell for _, cell in found[key]], _LAST_TRIES[kind])
            ups, downs = strength * usual + hits, strength * (1.0 - usual) + tries - hits
            result[key] = SuccessRate(
                kind=kind,
                name=key[1],
                tried=last.tried,
                good=last.good,
                rate=ups / (ups + downs),
                usual=usual,
                sure=beta_cdf(usual, ups, downs),
                samples=tries,
                sentence=_sentence(key, last),
            )
    return result


def find_weaknesses(found: Mapping[Trait, SuccessRate]) -> list[SuccessRate]:
    """What is weak, the weakest first."""
    weak = [share for share in found.values() if share.is_weak]
    return sorted(weak, key=lambda share: (share.rate - share.usual, share.key))


def _cells(take: TakeRecord) -> dict[Trait, TryCounts]:
    """What a take says; nothing if the player did not play it."""
    cells: dict[Trait, TryCounts] = {}
    heard = sum(bool(step.parts) for step in take.steps)
    if take.source not in PLAYER_SOURCES or heard < WEAKNESS.min_heard * max(1, len(take.steps)):
        return cells
    for step in take.steps:
        for part, earned in step.parts.items():
            cells.setdefault((TraitKind.CRITERION, part), TryCounts()).add(earned >= IN_TUNE_POINTS)
        if step.entry is not None and ("pitch" in step.parts or not step.parts):
            _add_note(cells.setdefault((TraitKind.ENTRY, step.entry), TryCounts()), step)
    if take.whole:
        for skill in take.skills:
            cells.setdefault((TraitKind.SKILL, skill), TryCounts()).add(take.passed)
    return cells


def _add_note(cell: TryCounts, step: StepRecord) -> None:
    good = step.parts.get("pitch", 0.0) >= IN_TUNE_POINTS
    cell.add(good)
    if not step.parts:
        cell.silent += 1
    elif not good and step.kind == "note" and step.cents is not None and step.heard == step.entry:
        cell.off.append(step.cents)


def _sums(cells: Iterable[tuple[float, TryCounts]]) -> tuple[float, float]:
    """Good tries and tries, as they count."""
    hits = tries = 0.0
    for weight, cell in cells:
        hits += weight * cell.hits
        tries += weight * cell.worth
    return hits, tries


def _prior(sums: Iterable[tuple[float, float]]) -> tuple[float, float]:
    """The usual share, and how many tries it counts for.

    With shares x / n around their mean p, the sum of n (x/n - p)^2 is expected to be
    p q (A + g (B - A)), where A is one less than how many there are, B the sum of n (1 - n / N),
    and g = 1 / (1 + strength).
    """
    tried = [(hits, tries) for hits, tries in sums if tries > 0.0]
    total = sum(tries for _, tries in tried)
    mean = (sum(hits for hits, _ in tried) + 0.5) / (total + 1.0)
    if len(tried) < WEAKNESS.min_traits:
        return mean, WEAKNESS.default_prior_tries
    spread = sum(tries * (hits / tries - mean) ** 2 for hits, tries in tried)
    chance = len(tried) - 1.0
    whole = sum(tries * (1.0 - tries / total) for _, tries in tried)
    if whole <= chance:
        return mean, WEAKNESS.default_prior_tries
    likeness = (spread / (mean * (1.0 - mean)) - chance) / (whole - chance)
    least, most = WEAKNESS.min_prior_tries, WEAKNESS.max_prior_tries
    return mean, min(max(1.0 / max(likeness, 1e-9) - 1.0, least), most)


def _last(cells: Sequence[TryCounts], count: int) -> TryCounts:
    """The last days together, as many as have so many tries."""
    last = TryCounts()
    for cell in reversed(cells):
        if last.tried >= count:
            break
        last.join(cell)
    return last


def _sentence(key: Trait, last: TryCounts) -> str:
    kind, name = key
    missed = last.tried - last.good
    of = f"{missed} of the last {last.tried}"
    if kind is TraitKind.CRITERION:
        return f"{of} notes were {_MISSES[name]}"
    if kind is TraitKind.SKILL:
        return f"{of} takes of {name} did not pass"
    sharp = [cents for cents in last.off if cents > 0.0]
    flat = [cents for cents in last.off if cents < 0.0]
    if last.silent > WEAKNESS.min_direction * missed:
        how, count = "did not sound", last.silent
    elif len(sharp) >= WEAKNESS.min_direction * missed > 0:
        how, count = f"was {median(sharp):.0f} cents sharp", len(sharp)
    elif len(flat) >= WEAKNESS.min_direction * missed > 0:
        how, count = f"was {-median(flat):.0f} cents flat", len(flat)
    else:
        how, count = "was out of tune", missed
    return f"{describe_sound((Tab.parse(name),))} {how} in {count} of its last {last.tried} notes"
