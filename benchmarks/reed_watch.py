"""How often the reed watch is wrong, and how long it takes: simulated years of a harp.

``python -m benchmarks.reed_watch`` prints the table; a number after it is how many harp-years each
row has.

The player and the room are made up, as there are no records of either, but of sizes that are seen
(common practice): reeds up to some 8 cents off; days on five of seven, 8 to 60 notes a day and most
of them in the middle of the harp; rooms that differ by 2 cents from day to day and 3 over the year;
breath that grows softer over the year, differs from day to day, and pulls blow reeds twice as flat
as draw reeds and low ones more than high ones; each reed played a little differently each day and
each note; habits that last some days; and bends without intent, flat by 15 cents at the mean: one
note in sixteen, and one in seven on the draw reeds that bend most. The watch sees none of this but
the notes.

A year is looked at as the player may, after each day of practice, and counts as an alarm on the
first day on which a reed is said to have gone flat.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np

from trainer.core.types import Floats
from trainer.harp import Breath, Harp, Tab, natural_entries
from trainer.reedcare.reed_history import (
    PARAMETERS,
    DailyPitches,
    ReedState,
    reed_histories,
    upper_median,
)

YEAR = 365
START = 739_000
"""The ordinal of the first day."""
WORN = Tab(5, Breath.DRAW)
"""The reed that wears: played often, and by common practice the first to go on many harps."""
SEES_CENTS = 5.0


@dataclass(frozen=True)
class Wear:
    """What happens to one reed.

    Attributes:
        name: in words.
        sudden: cents that it drops at once.
        cents_per_month: cents that it falls every 30 days.
        day: from when on.
        often: share of days on which the harp is played.
        most: notes a day; the fewest are 8.
    """

    name: str
    sudden: float = 0.0
    cents_per_month: float = 0.0
    day: int = 120
    often: float = 5.0 / 7.0
    most: int = 60

    def cents(self, days: Floats) -> Floats:
        """How flat the reed is on some days of the year."""
        since = np.maximum(days - self.day, 0.0)
        return np.where(days >= self.day, self.sudden + self.cents_per_month * since / 30.0, 0.0)

    def begins(self) -> float:
        """The day on which it is `SEES_CENTS` flat, or on which it drops."""
        return self.day + (
            30.0 * SEES_CENTS / self.cents_per_month if self.cents_per_month else 0.0
        )


SELDOM = {"often": 0.25, "most": 24}
NONE = Wear("no wear")
WEARS = (
    Wear("drops by 4 cents", sudden=4.0),
    Wear("drops by 7 cents", sudden=7.0),
    Wear("drops by 15 cents", sudden=15.0),
    Wear("falls by 1 cent a month", cents_per_month=1.0, day=60),
    Wear("falls by 2 cents a month", cents_per_month=2.0, day=60),
    Wear("falls by 5 cents a month", cents_per_month=5.0),
    Wear("falls by 12 cents a month", cents_per_month=12.0),
    Wear("seldom played: no wear", **SELDOM),
    Wear("seldom played: drops by 10", sudden=10.0, **SELDOM),
)


def year(wear: Wear, seed: int) -> DailyPitches:
    """What the days of a year say of a harp's reeds.

    Args:
        wear: what happens to the reed `WORN`.
        seed: of all that is left to chance.
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
    days = np.flatnonzero(rng.random(YEAR) < wear.often).astype(float)
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
class Watched:
    """A year as it was watched.

    Attributes:
        alarm: the first day on which the worn reed was said to have gone flat; None if never.
        said: how flat it was said to be then, with the ends of the interval, and how flat it was.
        false: reeds that had not gone flat and were said to have.
    """

    alarm: float | None
    said: tuple[float, float, float, float] | None
    false: int


def watched(wear: Wear, seed: int, every: int = 1) -> Watched:
    """Look at a year as it goes, after every so many days of practice."""
    days = year(wear, seed)
    alarm, said = None, None
    false: set[Tab] = set()
    for count in range(PARAMETERS.min_days, len(days.days) + 1, every):
        day = days.days[count - 1] - START
        for reed in reed_histories(days.until(count)):
            if reed.state is not ReedState.FLAT or reed.change is None:
                continue
            truth = float(wear.cents(np.array([day]))[0]) if reed.tab == WORN else 0.0
            if truth <= 0.0:
                false.add(reed.tab)
            elif alarm is None:
                alarm = day
                said = reed.change.cents, reed.change.low, reed.change.high, truth
    return Watched(alarm, said, len(false))


def row(wear: Wear, years: Sequence[Watched]) -> str:
    """A row of the table."""
    delays = [one.alarm - wear.begins() for one in years if one.alarm is not None]
    text = f"{wear.name:<28}{sum(one.false for one in years) / len(years):>8.3f}"
    if not (wear.sudden or wear.cents_per_month):
        return text
    found = [one.said for one in years if one.said is not None]
    text += f"{100.0 * len(delays) / len(years):>8.0f} %"
    if not delays:
        return text
    inside = [low <= truth <= high for _, low, high, truth in found]
    error = [said - truth for said, _, _, truth in found]
    return (
        f"{text}{np.median(delays):>9.0f}{np.percentile(delays, 90):>8.0f}"
        f"{np.median([truth for *_, truth in found]):>9.1f}{np.median(error):>+8.1f}"
        f"{100.0 * np.mean(inside):>8.0f} %"
    )


HEAD = (
    "                             false a            days after         cents    off    truth in\n"
    "wear of one reed             harp-year  found   5 cents    90 %    by then         95 %"
)


def table(harp_years: int, every: int = 1, wears: Sequence[Wear] = (NONE, *WEARS)) -> str:
    """The table, on all cores."""
    lines = [HEAD]
    with ProcessPoolExecutor() as pool:
        for wear in wears:
            one = partial(watched, wear, every=every)
            lines.append(row(wear, list(pool.map(one, range(harp_years), chunksize=1))))
            print(lines[-1], file=sys.stderr, flush=True)
    return "\n".join(lines)


if __name__ == "__main__":
    print(table(int(sys.argv[1]) if sys.argv[1:] else 40))
