"""False alarms and delays of the reed watch on simulated years of a harp.

    python -m benchmarks.reed_watch [--years 40] [--first 0] [--every 1] [--quiet-only]

There are no records of worn reeds, so player and room are simulated, with sizes from common
practice: reeds 5 cents off (standard deviation); practice on five days of seven, 8 to 60 notes a
day, most in the middle of the harp; rooms that vary by 2 cents from day to day and 3 cents over the
year; breath that grows softer over the year, varies from day to day, and flattens blow reeds twice
as much as draw reeds and low ones more than high ones; each reed played differently each day and
each note; habits that last some days; and unintended bends, 15 cents flat on average: one note in
16, and one in 7 on the draw reeds that bend most. The watch is given nothing but the notes.

A year is watched after each day of practice, or after every few (`--every`). The alarm is the first
day on which a reed is reported as flat. The watch's two z-scores were chosen on the first seeds;
`--first` takes others.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np

from benchmarks import results
from trainer.core.types import Floats
from trainer.harp import Breath, Harp, Tab, natural_entries
from trainer.reedcare import (
    REED_WATCH,
    DailyPitches,
    ReedState,
    reed_histories,
    upper_median,
)

YEAR = 365
START = 739_000
"""Ordinal of the first day."""
WORN = Tab(5, Breath.DRAW)
"""The reed that wears: played often, and on many harps the first to fail (common practice)."""
SEES_CENTS = 5.0
"""Fall from which the delay of an alarm is counted."""


@dataclass(frozen=True)
class Wear:
    """What happens to one reed.

    Attributes:
        name: in words.
        sudden: drop at once, in cents.
        cents_per_month: fall every 30 days, in cents.
        day: day of the year on which it begins.
        played: fraction of days on which the harp is played.
        most: notes a day at most; at least 8.
    """

    name: str
    sudden: float = 0.0
    cents_per_month: float = 0.0
    day: int = 120
    played: float = 5.0 / 7.0
    most: int = 60

    def cents(self, days: Floats) -> Floats:
        """Return how flat the reed is on given days of the year."""
        since = np.maximum(days - self.day, 0.0)
        return np.where(days >= self.day, self.sudden + self.cents_per_month * since / 30.0, 0.0)

    def begins(self) -> float:
        """Return the day on which it is `SEES_CENTS` flat, or on which it drops."""
        return self.day + (
            30.0 * SEES_CENTS / self.cents_per_month if self.cents_per_month else 0.0
        )


NONE = Wear("no wear")
WEARS = (
    Wear("drops by 4 cents", sudden=4.0),
    Wear("drops by 7 cents", sudden=7.0),
    Wear("drops by 15 cents", sudden=15.0),
    Wear("falls by 1 cent a month", cents_per_month=1.0, day=60),
    Wear("falls by 2 cents a month", cents_per_month=2.0, day=60),
    Wear("falls by 5 cents a month", cents_per_month=5.0),
    Wear("falls by 12 cents a month", cents_per_month=12.0),
    Wear("rarely played: no wear", played=0.25, most=24),
    Wear("rarely played: drops by 10", sudden=10.0, played=0.25, most=24),
)


def simulate_year(wear: Wear, seed: int) -> DailyPitches:
    """Return the pitches of a harp's reeds on the days of a year.

    Args:
        wear: what happens to the reed `WORN`.
        seed: of everything random.
    """
    rng = np.random.default_rng(seed)
    tabs = natural_entries(Harp.of())
    blow = np.array([tab.breath is Breath.BLOW for tab in tabs])
    hole = np.array([tab.hole for tab in tabs], dtype=float)
    yields = np.where(blow, 2.0, 1.0) * (1.25 - 0.05 * hole)
    bends = np.isin(np.arange(len(tabs)), [tabs.index(Tab(h, Breath.DRAW)) for h in (2, 3, 4, 6)])
    share = np.exp(-0.5 * ((hole - 4.5) / 2.0) ** 2)
    share /= share.sum()
    off = rng.normal(0.0, 5.0, len(tabs))
    days = np.flatnonzero(rng.random(YEAR) < wear.played).astype(float)
    flat = wear.cents(days)
    worn = tabs.index(WORN)
    cents = np.full((len(days), len(tabs)), np.nan)
    notes = np.zeros_like(cents)
    habit = np.zeros(len(tabs))
    season = rng.uniform(0.0, YEAR)
    for i, day in enumerate(days):
        room = 3.0 * np.sin(2 * np.pi * (day - season) / YEAR) + rng.normal(0.0, 2.0)
        breath = rng.normal(1.0 - 2.0 * day / YEAR, 1.0)
        habit = 0.8 * habit + rng.normal(0.0, 0.6 * 0.8, len(tabs))
        today = off + room * rng.normal(1.0, 0.1, len(tabs)) + habit
        today = today + rng.normal(0.0, 1.0, len(tabs)) - breath * yields
        today[worn] -= flat[i]
        played = rng.multinomial(int(rng.integers(8, wear.most + 1)), share)
        for reed in np.flatnonzero(played):
            each = today[reed] + rng.normal(0.0, 2.0, played[reed])
            bent = rng.random(played[reed]) < (1.0 / 7.0 if bends[reed] else 1.0 / 16.0)
            each = each - bent * rng.exponential(15.0, played[reed])
            cents[i, reed], notes[i, reed] = upper_median(list(each)), played[reed]
    return DailyPitches(START + days, tabs, cents, notes)


@dataclass(frozen=True)
class WatchedYear:
    """What the watch reported in a year.

    Attributes:
        alarm: first day on which the worn reed was reported as flat; None if never.
        estimate: reported fall on that day, the ends of its interval, and the true fall, in cents.
        false_alarms: number of reeds reported as flat that were not.
    """

    alarm: float | None
    estimate: tuple[float, float, float, float] | None
    false_alarms: int


def watch_year(wear: Wear, seed: int, every: int = 1) -> WatchedYear:
    """Watch a simulated year.

    Args:
        wear: of the year.
        seed: of the year.
        every: days of practice from one look to the next.
    """
    pitches = simulate_year(wear, seed)
    alarm, estimate = None, None
    false_alarms: set[Tab] = set()
    for count in range(REED_WATCH.min_days, len(pitches.days) + 1, every):
        day = pitches.days[count - 1] - START
        for reed in reed_histories(pitches.until(count)):
            if reed.state is not ReedState.FLAT or reed.change is None:
                continue
            truth = float(wear.cents(np.array([day]))[0]) if reed.tab == WORN else 0.0
            if truth <= 0.0:
                false_alarms.add(reed.tab)
            elif alarm is None:
                alarm = day
                estimate = reed.change.cents, reed.change.low, reed.change.high, truth
    return WatchedYear(alarm, estimate, len(false_alarms))


def row(wear: Wear, years: Sequence[WatchedYear]) -> str:
    """Return a row of the table."""
    delays = [year.alarm - wear.begins() for year in years if year.alarm is not None]
    false_alarms = sum(year.false_alarms for year in years) / len(years)
    text = f"{wear.name:<28}{len(years):>6}{false_alarms:>8.3f}"
    if not (wear.sudden or wear.cents_per_month):
        return text
    estimates = [year.estimate for year in years if year.estimate is not None]
    text += f"{100.0 * len(delays) / len(years):>8.0f} %"
    if not delays:
        return text
    inside = [low <= truth <= high for _, low, high, truth in estimates]
    errors = [estimate - truth for estimate, _, _, truth in estimates]
    return (
        f"{text}{np.median(delays):>9.0f}{np.percentile(delays, 90):>8.0f}"
        f"{np.median([truth for *_, truth in estimates]):>9.1f}{np.median(errors):>+8.1f}"
        f"{100.0 * np.mean(inside):>8.0f} %"
    )


HEAD = (
    "                             harp- false alarms      days after          true   error  truth\n"
    "wear of one reed             years a year  found    5 cents   90 %    cents           in 95 %"
)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.reed_watch")
    parser.add_argument("--years", type=int, default=40, help="harp-years of each row")
    parser.add_argument("--first", type=int, default=0, help="seed of the first year")
    parser.add_argument("--every", type=int, default=1, help="days of practice between looks")
    parser.add_argument("--quiet-only", action="store_true", help="only the years without wear")
    results.add_options(parser)
    options = parser.parse_args()
    years, every = (1, 60) if options.smoke else (options.years, options.every)
    output = results.Results(
        "benchmarks.reed_watch",
        f"{years} simulated harp-years a row, seeds from {options.first}, watched after every "
        f"{every} days of practice",
        "the watch's two z-scores were chosen on this simulation, on its first seeds",
    )
    output.print(HEAD)
    wears = (NONE,) if options.smoke or options.quiet_only else (NONE, *WEARS)
    with ProcessPoolExecutor() as pool:
        for wear in wears:
            watch = partial(watch_year, wear, every=every)
            seeds = range(options.first, options.first + years)
            output.print(row(wear, list(pool.map(watch, seeds, chunksize=1))))
    output.finish(options)


if __name__ == "__main__":
    main()
