"""What the trends of `trainer progress` say about simulated players whose gains are known.

    python -m benchmarks.trends [--seeds 60]

**The players** are unrelated to those of the tests. They play 38 evenings of 42, ten drills each,
in the order of the shelf, so that harder drills come later; in every evening half of the drills are
of the last ten. Each entry has its own accuracy: a scale of 5 cents for natural notes and 12 for
others, times a factor with a logarithm of standard deviation 0.3 by player. Errors have Student's t
distribution with 4 degrees of freedom, 3 notes in 100 are wrong by 100 cents or more, faster drills
are less exact, and evenings and takes are good or bad for all notes. An evening's mood may depend
on that of the evening before (`correlated`).

**The gains**: none; 3 cents per 28 days in the mean error of every note, evenly; the same at first
and less later (exponential with a time of 14 days); the same for bends only. Truth is the
difference of expected errors between the first and the last evening of a note.

Printed for each window are: intervals that hold the truth; verdicts of change where there is none
(false), or of the wrong sign; gains of 3 cents a month or more that are found; notes without an
answer (neither better, worse nor steady); and the same gains found by the comparison of two weeks
(`--weeks 1`) and of two times three weeks (`--weeks 3`), which do not pool and do not adjust for
drills.

All notes together are the most that can be pooled. Where all gain alike, the standard deviation of
their gain over the players bounds what any honest verdict can find: evenings are good or bad for
all notes, and four weeks have some 25 of them.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cache

import trainer  # noqa: F401 - before numpy, see trainer/__init__.py

# isort: split

import numpy as np

from benchmarks import results
from benchmarks.simulated_takes import simulated_take
from trainer.coach import ComparisonVerdict, Progress, SubjectKind, TrendVerdict, TrendWindow
from trainer.coach.step_table import StepKey, StepTable
from trainer.coach.trend_model import TrendModel
from trainer.drill import Drill, read_shelf
from trainer.harp import Tab
from trainer.store import TakeRecord

TODAY = date(2026, 11, 25)
EVENINGS, SPAN, DRILLS = 38, 42, 10
NATURAL_CENTS, OTHER_CENTS, PLAYER_LOG_SD = 5.0, 12.0, 0.3
FREEDOM = 4.0
MEAN_ABS_T = 1.0
"""Mean of the absolute value of Student's t with 4 degrees of freedom: 2 sqrt(4 / pi) gamma(2.5) /
(3 gamma(2)) = 1."""
WRONG, WRONG_CENTS = 0.03, 100.0
EVENING_LOG_SD, TAKE_LOG_SD = 0.2, 0.15
MOOD_CORRELATION = 0.5
GAIN_CENTS, TIME_DAYS = 3.0, 14.0


@dataclass(frozen=True)
class Case:
    """What a player gains.

    Attributes:
        name: in the table.
        gain: cents per 28 days.
        bends_only: whether natural notes gain nothing.
        is_even: whether the gain is linear in time.
        is_correlated: whether evenings depend on the evening before.
    """

    name: str
    gain: float = 0.0
    bends_only: bool = False
    is_even: bool = True
    is_correlated: bool = False


CASES = (
    Case("nothing changed"),
    Case("nothing, correlated", is_correlated=True),
    Case("all gain", gain=GAIN_CENTS),
    Case("all, correlated", gain=GAIN_CENTS, is_correlated=True),
    Case("all, fast at first", gain=GAIN_CENTS, is_even=False),
    Case("bends gain", gain=GAIN_CENTS, bends_only=True),
)


@dataclass(frozen=True)
class Player:
    """A season of one player.

    Attributes:
        steps, keys, takes: as from :func:`trainer.coach.step_table.read_step_table`.
        excess: for each key, what its mean error had more on the first day than now, in cents.
        case: the case.
    """

    steps: StepTable
    keys: tuple[StepKey, ...]
    takes: tuple[TakeRecord, ...]
    case: Case

    def truth(self, entry: str, first: date, last: date) -> float:
        """True gain of an entry between two days."""
        if self.case.bends_only and Tab.parse(entry).is_natural:
            return 0.0
        back = np.array([(TODAY - first).days, (TODAY - last).days])
        before, after = _excess(self.case, back)
        return float(before - after)


def _excess(case: Case, back: np.ndarray) -> np.ndarray:
    """What the mean error had more, in cents, some days before today."""
    even = case.gain * back / 28.0
    if case.is_even:
        return even
    whole = case.gain * SPAN / 28.0
    started = np.exp(-(SPAN - back) / TIME_DAYS)
    at_end = np.exp(-SPAN / TIME_DAYS)
    return whole * (started - at_end) / (1.0 - at_end)


@cache
def _course() -> tuple[tuple[Drill, tuple[str, ...]], ...]:
    """Drills in the order of their levels, with the entries of their single notes."""
    drills = sorted(
        (drill for drill in read_shelf().drills if drill.tuning == "richter"),
        key=lambda drill: drill.level,
    )
    notes = [
        tuple(
            str(step.last[0])
            for step in drill.steps
            if not (step.call or step.has_path or step.is_chord)
        )
        for drill in drills
    ]
    return tuple((d, n) for d, n in zip(drills, notes, strict=True) if len(n) > 5)


def season(rng: np.random.Generator, case: Case) -> Player:
    """Simulate a season."""
    course = _course()
    tabs = sorted({tab for _, notes in course for tab in notes})
    index = {tab: i for i, tab in enumerate(tabs)}
    natural = np.array([Tab.parse(tab).is_natural for tab in tabs])
    scale = np.where(natural, NATURAL_CENTS, OTHER_CENTS)
    scale = scale * np.exp(PLAYER_LOG_SD * rng.normal(size=len(tabs)))
    gains = np.where(natural & case.bends_only, 0.0, 1.0)
    takes: list[TakeRecord] = []
    columns: list[np.ndarray] = []
    mood = rng.normal()
    for back in range(SPAN - 1, -1, -1):
        rho = MOOD_CORRELATION if case.is_correlated else 0.0
        mood = rho * mood + (1.0 - rho**2) ** 0.5 * rng.normal()
        if rng.random() > EVENINGS / SPAN:
            continue
        reached = max(DRILLS, round(len(course) * (1.0 - 0.6 * back / SPAN)))
        half = DRILLS // 2
        chosen = {
            *rng.choice(np.arange(reached - DRILLS, reached), half, replace=False).tolist(),
            *rng.choice(reached, half, replace=False).tolist(),
        }
        for place in sorted(chosen):
            drill, notes = course[place]
            for _ in range(2):
                tab = np.array([index[note] for note in notes])
                size = np.exp(EVENING_LOG_SD * mood + TAKE_LOG_SD * rng.normal())
                hard = 1.0 + 0.08 * (drill.level - 1)
                mean = scale[tab] * hard + gains[tab] * _excess(case, np.array(float(back)))
                off = np.abs(mean / MEAN_ABS_T * size * rng.standard_t(FREEDOM, len(tab)))
                wrong = rng.random(len(tab)) < WRONG
                off[wrong] = WRONG_CENTS + rng.exponential(50.0, int(wrong.sum()))
                day = TODAY - timedelta(days=back)
                count = len(tab)
                fixed = (np.full(count, day.toordinal()), np.full(count, len(takes)))
                columns.append(np.column_stack([*fixed, tab, off]))
                takes.append(simulated_take(drill, day, drill.goal.pass_mark, hour=18))
    table = np.concatenate(columns)
    days, take, tab = table[:, :3].astype(np.int64).T
    off = table[:, 3]
    none = np.full(len(off), np.nan)
    steps = StepTable(days, take, tab, {"cents": off, "bias_cents": none})
    return Player(steps, tuple(("note", tab, tab) for tab in tabs), tuple(takes), case)


@dataclass
class Tally:
    """Counts over the notes of some players."""

    notes: int = 0
    held: int = 0
    unchanged: int = 0
    false: int = 0
    changed: int = 0
    detected: int = 0
    reversed: int = 0
    open: int = 0
    pooled: list[tuple[float, str]] = field(default_factory=list)
    """Gain in cents of each player in all notes together, and the verdict on it."""

    def add(self, player: Player, window: TrendWindow) -> None:
        """Count the notes of a player."""
        model = TrendModel.of(player.steps, player.keys, player.takes, TODAY)
        everything = model.trend(np.ones(len(player.steps), dtype=bool), "cents", window)
        if everything.gain is not None:
            self.pooled.append((everything.gain, everything.verdict))
        for i, (_, entry, _) in enumerate(player.keys):
            trend = model.trend(player.steps.tab == i, "cents", window)
            if trend.gain is None or trend.low is None or trend.high is None or not entry:
                continue
            assert trend.first is not None
            assert trend.last is not None
            truth = player.truth(entry, trend.first, trend.last)
            sign = {TrendVerdict.BETTER: 1, TrendVerdict.WORSE: -1}.get(trend.verdict, 0)
            self.notes += 1
            self.held += trend.low <= truth <= trend.high
            self.open += trend.verdict is TrendVerdict.UNCLEAR
            self.unchanged += not truth
            self.false += bool(sign and not truth)
            self.changed += truth > 0.0
            self.detected += bool(sign > 0 and truth > 0.0)
            self.reversed += bool(sign < 0 and truth > 0.0)

    def row(self) -> str:
        """The tally as columns of percent."""
        parts = (
            (self.held, self.notes),
            (self.false, self.unchanged),
            (self.detected, self.changed),
            (self.reversed, self.changed),
            (self.open, self.notes),
        )
        return "".join(f"{_percent(*part):>8}" for part in parts)

    def pooled_row(self) -> str:
        """Players called better and worse in all notes together, and the spread of that gain."""
        better, worse = (
            _percent(sum(verdict == wanted for _, verdict in self.pooled), len(self.pooled))
            for wanted in (TrendVerdict.BETTER, TrendVerdict.WORSE)
        )
        spread = float(np.std([gain for gain, _ in self.pooled]))
        return f"{f'{better}/{worse}':>12}{spread:>8.1f}"


def _percent(count: int, of: int) -> str:
    return f"{100.0 * count / of:.1f}" if of else "-"


def compared(players: Sequence[Player], weeks: int) -> str:
    """Notes called better and called worse by the comparison of weeks, in percent."""
    counts: Counter[ComparisonVerdict] = Counter()
    for player in players:
        for i, (_, entry, _) in enumerate(player.keys):
            steps = player.steps.only(player.steps.tab == i)
            if entry and len(np.unique(steps.day)) >= 4:
                subject = Progress(entry, SubjectKind.NOTE, steps, TODAY, weeks)
                counts[subject.compare("cents").verdict] += 1
    better, worse = counts[ComparisonVerdict.BETTER], counts[ComparisonVerdict.WORSE]
    return f"{_percent(better, counts.total())}/{_percent(worse, counts.total())}"


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.trends")
    parser.add_argument("--seeds", type=int, default=60, help="number of simulated players")
    results.add_options(parser)
    options = parser.parse_args()
    seeds = 1 if options.smoke else options.seeds
    output = results.Results(
        "benchmarks.trends",
        f"simulated seasons of 38 evenings on the shelf, seeds 0 to {seeds - 1}",
        "no constant was chosen on these players; the grid of the model was, on tests/support/"
        "seasons.py",
    )
    for window in TrendWindow:
        output.print(f"{window}, percent of the notes")
        output.print(
            f"{'case':20}{'in':>8}{'false':>8}{'detected':>8}{'wrong':>8}{'open':>8}"
            f"{'weeks 1':>12}{'weeks 3':>12}{'together':>12}{'sd':>8}"
        )
        for case in CASES:
            players = [season(np.random.default_rng(seed), case) for seed in range(seeds)]
            tally = Tally()
            for player in players:
                tally.add(player, window)
            old = "".join(f"{compared(players, weeks):>12}" for weeks in (1, 3))
            output.print(f"{case.name:20}{tally.row()}{old}{tally.pooled_row()}")
        output.print("")
    output.print(
        "in: intervals that hold the truth. wrong: gains called worse. open: neither better, worse "
        "nor steady. weeks: better/worse by the comparison of weeks, of all notes. together: "
        "players called better/worse in all notes together. sd: standard deviation over players "
        "of that gain, in cents; no analysis of notes that gain alike can be surer."
    )
    output.finish(options)


if __name__ == "__main__":
    main()
