"""The reed watch: simulated months with wear that is known, and what counts of a take.

The falls that it finds are held against least squares by numpy's linear algebra.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from benchmarks.reed_watch import HEAD, NONE, START, WORN, Wear, row, simulate_year, watch_year
from tests.support.worn_reed import DROP, DROPPED, FIRST, evening, measured
from trainer.harp import Tab
from trainer.music import cents
from trainer.practice import PassEnded, Plan, run_take
from trainer.reedcare.own_harps import forget_own_harp, list_own_harps
from trainer.reedcare.reed_history import (
    PARAMETERS,
    DailyPitches,
    ReedHistory,
    ReedNote,
    ReedState,
    reed_histories,
    upper_median,
)
from trainer.reedcare.reed_watch import HarpWatch, watch_harp
from trainer.report.reed_plot import reed_plot_text
from trainer.report.reed_watch_report import reed_verdict_text, reed_watch_data, reed_watch_text
from trainer.sound import PlayerSpec
from trainer.store import HarpTag, Journal, TakeRecord

EVERY = 8
"""days of practice from one look at the reeds to the next, to save time."""


def by_tab(histories: tuple[ReedHistory, ...]) -> dict[str, ReedHistory]:
    return {str(one.tab): one for one in histories}


class TestSimulatedYears:
    def test_false_alarms_and_delays(self) -> None:
        """Bounds wide of what `benchmarks/reed_watch.py` finds over more years."""
        cases = (
            (NONE, 6, None),
            (Wear("drops by 7 cents", sudden=7.0), 4, 35.0),
            (Wear("drops by 20 cents", sudden=20.0), 4, 25.0),
            (Wear("falls by 5 cents a month", cents_per_month=5.0), 4, 35.0),
        )
        print(HEAD)
        for wear, years, most_days in cases:
            seen = [watch_year(wear, seed, EVERY) for seed in range(years)]
            print(row(wear, seen))
            assert sum(year.false_alarms for year in seen) <= 1
            if most_days is None:
                continue
            delays = [year.alarm - wear.begins() for year in seen if year.alarm is not None]
            assert len(delays) == years
            assert float(np.median(delays)) <= most_days
            errors = [y.estimate[0] - y.estimate[3] for y in seen if y.estimate is not None]
            assert float(np.median(np.abs(errors))) < 3.0

    def test_a_drop_is_dated_and_measured(self) -> None:
        (found,) = [
            one for one in reed_histories(simulate_year(Wear("", sudden=8.0), 3)) if one.tab == WORN
        ]
        assert found.state is ReedState.FLAT
        assert found.change is not None
        assert found.change.cents_per_month is None
        assert found.change.low < 8.0 < found.change.high
        assert abs(found.change.since.toordinal() - START - 120) <= 3
        assert found.change.earliest <= found.change.since <= found.change.latest

    def test_a_slow_fall_is_told_by_the_month(self) -> None:
        (found,) = [
            one
            for one in reed_histories(simulate_year(Wear("", cents_per_month=3.0), 3))
            if one.tab == WORN
        ]
        assert found.change is not None
        assert found.change.cents_per_month == pytest.approx(3.0, abs=1.0)

    def test_a_cold_hall_moves_all_reeds_and_says_nothing_of_one(self) -> None:
        days = simulate_year(NONE, 8)
        cold = days.cents.copy()
        cold[-25:] -= 15.0
        found = reed_histories(replace(days, cents=cold))
        assert not [one for one in found if one.state is ReedState.FLAT]

    def test_breath_that_grows_hard_pulls_all_blow_reeds_and_says_nothing_of_one(self) -> None:
        days = simulate_year(NONE, 8)
        hard = days.cents.copy()
        hard[-40:, [tab.breath == "blow" for tab in days.tabs]] -= 6.0
        found = reed_histories(replace(days, cents=hard))
        assert not [one for one in found if one.state is ReedState.FLAT]

    def test_a_bend_too_many_is_no_wear(self) -> None:
        """Bent on two of the last five days, by much."""
        days = simulate_year(NONE, 8)
        bent = days.cents.copy()
        column = days.tabs.index(Tab.parse("-3"))
        rows = np.flatnonzero(~np.isnan(bent[:, column]))[-5:]
        bent[rows[[1, 3]], column] -= 60.0
        assert by_tab(reed_histories(replace(days, cents=bent)))["-3"].state is ReedState.STEADY

    def test_a_reed_that_was_put_right_begins_anew(self) -> None:
        """Flat from day 120 on, and tuned on day 240."""
        days = simulate_year(Wear("", sudden=15.0), 5)
        cents_, column = days.cents.copy(), days.tabs.index(WORN)
        cents_[days.days - START >= 240, column] += 15.0
        found = by_tab(reed_histories(replace(days, cents=cents_)))[str(WORN)]
        assert found.state is ReedState.STEADY
        assert abs(found.days[0].toordinal() - START - 240) <= 7

    def test_few_days_say_nothing(self) -> None:
        found = reed_histories(simulate_year(NONE, 1).until(PARAMETERS.min_days - 1))
        assert {one.state for one in found} == {ReedState.TOO_FEW}
        assert reed_histories(DailyPitches.of([])) == ()

    def test_one_reed_alone_cannot_be_told_from_the_room(self) -> None:
        notes = [ReedNote(date(2026, 1, 1) + timedelta(i), WORN, -1.0 * i) for i in range(60)]
        (found,) = reed_histories(DailyPitches.of(notes))
        assert (found.state, found.days) == (ReedState.TOO_FEW, ())

    def test_of_an_even_number_the_sharper_middle_counts(self) -> None:
        assert [upper_median(x) for x in ([1.0], [1.0, 3.0], [5.0, 1.0, 3.0], [1, 2, 3, 4])] == [
            1.0, 3.0, 3.0, 3,
        ]  # fmt: skip


# --- from the journal -----------------------------------------------------------------------


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    with Journal(tmp_path / "journal.sqlite") as journal:
        journal.add_harp(measured(FIRST - timedelta(hours=1)))
        journal.add(*(evening(day) for day in range(80)))
        yield journal


def look(journal: Journal) -> HarpWatch:
    (own,) = list_own_harps(journal, "Runa")
    return watch_harp(journal, own)


class TestFromTheJournal:
    def test_the_reed_that_went_flat_is_found(self, journal: Journal) -> None:
        watch = look(journal)
        assert (watch.days, watch.notes) == (80, 80 * 14 + 20)
        flat = [
            one for one in watch.reeds if one.state is not ReedState.STEADY and len(one.days) > 12
        ]
        assert [str(one.tab) for one in flat] == ["-5"]
        change = flat[0].change
        assert change is not None
        assert abs((change.since - (FIRST + timedelta(days=DROPPED)).date()).days) <= 2
        assert change.low < DROP < change.high

    def test_what_was_played_badly_does_not_count(self, journal: Journal) -> None:
        """Ten more steps of each take were -4, 70 cents flat."""
        found = look(journal).reed(Tab.parse("-4"))
        assert found is not None
        assert max(map(abs, found.cents)) < 10.0
        assert set(found.notes) <= {1, 2}

    def test_takes_of_others_and_of_other_harps_do_not_count(self, journal: Journal) -> None:
        before = look(journal)
        journal.add(
            *(evening(day, player="Marit") for day in range(40)),
            *(
                evening(day, id=f"other-{i}-{day}", **change)
                for day in range(40)
                for i, change in enumerate(
                    (
                        {"harp": HarpTag("C")},
                        {"harp": HarpTag("C", name="pier")},
                        {"source": "player"},
                        {"began": FIRST - timedelta(days=9), "day": date(2026, 2, 21)},
                    )
                )
            ),
        )
        assert look(journal) == before

    def test_a_harp_that_was_forgotten_begins_anew(self, journal: Journal) -> None:
        forget_own_harp(journal, measured(FIRST))
        assert list_own_harps(journal, "Runa") == ()
        journal.add_harp(measured(datetime.now(UTC) + timedelta(seconds=1), -20.0))
        assert (look(journal).days, look(journal).notes) == (1, 20)

    def test_it_is_told_in_words_and_figures(self, journal: Journal) -> None:
        watch, today = look(journal), date(2026, 5, 21)
        text = reed_watch_text(watch, today)
        assert max(map(len, text.splitlines())) <= 80
        assert "-5 has gone flat against the others: by 9 cents (9 to 10), at once" in text.replace(
            "\n", " "
        )
        assert "Heard on fewer than 12 days: 1 (1), -1 (1), 9 (1), -9 (1)" in text
        data = json.loads(json.dumps(reed_watch_data(watch)))
        flat = [one for one in data["reeds"] if one["state"] == "gone flat"]
        assert [one["tab"] for one in flat] == ["-5"]
        assert len(flat[0]["history"]) == 80
        reed = watch.reed(Tab.parse("-5"))
        assert reed is not None
        plot = reed_plot_text(reed, today, 79, 18, color=False)
        assert "-5 against the other reeds, cents" in plot
        assert max(map(len, plot.splitlines())) <= 79

    def test_a_steady_harp_is_said_to_be(self, tmp_path: Path) -> None:
        with Journal(tmp_path / "steady.sqlite") as journal:
            journal.add_harp(measured(FIRST - timedelta(hours=1)))
            assert "Too few days" in reed_verdict_text(look(journal), date(2026, 5, 21))
            journal.add(*(evening(day) for day in range(DROPPED)))
            told = reed_verdict_text(look(journal), date(2026, 5, 21))
        assert told == ("No reed has gone flat against the others, of 14 with enough days.")

    def test_a_take_says_where_its_reeds_are(self, journal: Journal) -> None:
        """The built-in player's reeds, 30 cents off, come back through marks and journal."""
        from tests.support.own_harps import off_by, walk

        played = off_by(0.0, **{"4": -30.0, "-6": 25.0})
        plan = Plan(played, PlayerSpec(), drill=walk())
        (result,) = [event.result for event in run_take(plan) if isinstance(event, PassEnded)]
        began = FIRST + timedelta(days=100)
        take = TakeRecord.of(
            result, played, player="Runa", began=began, source="recording", harp_name="quay"
        )
        journal.add(take)
        (kept,) = [one for one in journal.takes() if one.day == began.date()]
        off = {one.tab: cents(one.hz or 1.0, played.hz(Tab.parse(one.tab))) for one in kept.steps}
        assert max(map(abs, off.values())) < 0.5
        assert look(journal).days == 81
