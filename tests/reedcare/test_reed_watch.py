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
from tests.support.formats import check_format
from tests.support.worn_reed import DROP, DROPPED, FIRST, evening, measured
from trainer.harp import Tab
from trainer.music import cents
from trainer.practice import PassEnded, Plan, run_take
from trainer.reedcare import (
    REED_WATCH,
    DailyPitches,
    HarpWatch,
    ReedHistory,
    ReedNote,
    ReedState,
    forget_own_harp,
    list_own_harps,
    reed_histories,
    upper_median,
    watch_harp,
)
from trainer.report.reed_plot import reed_plot_text
from trainer.report.reed_watch_report import reed_verdict_text, reed_watch_data, reed_watch_text
from trainer.sound import PlayerSpec
from trainer.store import HarpTag, Journal, TakeRecord

EVERY = 8
"""days of practice from one look at the reeds to the next, to save time."""


def by_tab(histories: tuple[ReedHistory, ...]) -> dict[str, ReedHistory]:
    return {str(history.tab): history for history in histories}


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
        (detected,) = [
            history
            for history in reed_histories(simulate_year(Wear("", sudden=8.0), 3))
            if history.tab == WORN
        ]
        assert detected.state is ReedState.FLAT
        assert detected.change is not None
        assert detected.change.cents_per_month is None
        assert detected.change.low < 8.0 < detected.change.high
        assert abs(detected.change.since.toordinal() - START - 120) <= 3
        assert detected.change.earliest <= detected.change.since <= detected.change.latest

    def test_a_gradual_decline_is_reported_per_month(self) -> None:
        (detected,) = [
            history
            for history in reed_histories(simulate_year(Wear("", cents_per_month=3.0), 3))
            if history.tab == WORN
        ]
        assert detected.change is not None
        assert detected.change.cents_per_month == pytest.approx(3.0, abs=1.0)

    def test_a_cold_hall_moves_all_reeds_and_flags_none(self) -> None:
        days = simulate_year(NONE, 8)
        cold = days.cents.copy()
        cold[-25:] -= 15.0
        detected = reed_histories(replace(days, cents=cold))
        assert not [history for history in detected if history.state is ReedState.FLAT]

    def test_harder_breath_lowers_all_blow_reeds_and_flags_none(self) -> None:
        days = simulate_year(NONE, 8)
        hard = days.cents.copy()
        hard[-40:, [tab.breath == "blow" for tab in days.tabs]] -= 6.0
        detected = reed_histories(replace(days, cents=hard))
        assert not [history for history in detected if history.state is ReedState.FLAT]

    def test_unintended_bends_are_no_detuning(self) -> None:
        """Bent on two of the last five days, by much."""
        days = simulate_year(NONE, 8)
        bent = days.cents.copy()
        column = days.tabs.index(Tab.parse("-3"))
        rows = np.flatnonzero(~np.isnan(bent[:, column]))[-5:]
        bent[rows[[1, 3]], column] -= 60.0
        assert by_tab(reed_histories(replace(days, cents=bent)))["-3"].state is ReedState.STEADY

    def test_a_retuned_reed_starts_over(self) -> None:
        """Flat from day 120 on, and tuned on day 240."""
        days = simulate_year(Wear("", sudden=15.0), 5)
        cents_, column = days.cents.copy(), days.tabs.index(WORN)
        cents_[days.days - START >= 240, column] += 15.0
        detected = by_tab(reed_histories(replace(days, cents=cents_)))[str(WORN)]
        assert detected.state is ReedState.STEADY
        assert abs(detected.days[0].toordinal() - START - 240) <= 7

    def test_few_days_give_no_verdict(self) -> None:
        detected = reed_histories(simulate_year(NONE, 1).until(REED_WATCH.min_days - 1))
        assert {history.state for history in detected} == {ReedState.TOO_FEW}
        assert reed_histories(DailyPitches.of([])) == ()

    def test_one_reed_alone_has_no_reference(self) -> None:
        notes = [ReedNote(date(2026, 1, 1) + timedelta(i), WORN, -1.0 * i) for i in range(60)]
        (detected,) = reed_histories(DailyPitches.of(notes))
        assert (detected.state, detected.days) == (ReedState.TOO_FEW, ())

    def test_the_upper_median_is_used(self) -> None:
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
    def test_the_flat_reed_is_detected(self, journal: Journal) -> None:
        watch = look(journal)
        assert (watch.days, watch.notes) == (80, 80 * 14 + 20)
        flat = [
            history
            for history in watch.reeds
            if history.state is not ReedState.STEADY and len(history.days) > 12
        ]
        assert [str(history.tab) for history in flat] == ["-5"]
        change = flat[0].change
        assert change is not None
        assert abs((change.since - (FIRST + timedelta(days=DROPPED)).date()).days) <= 2
        assert change.low < DROP < change.high

    def test_unsteady_notes_do_not_count(self, journal: Journal) -> None:
        """Ten more steps of each take were -4, 70 cents flat."""
        detected = look(journal).reed(Tab.parse("-4"))
        assert detected is not None
        assert max(map(abs, detected.cents)) < 10.0
        assert set(detected.notes) <= {1, 2}

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

    def test_a_forgotten_harp_starts_over(self, journal: Journal) -> None:
        forget_own_harp(journal, measured(FIRST))
        assert list_own_harps(journal, "Runa") == ()
        journal.add_harp(measured(datetime.now(UTC) + timedelta(seconds=1), -20.0))
        assert (look(journal).days, look(journal).notes) == (1, 20)

    def test_it_is_reported_as_text_and_json(self, journal: Journal) -> None:
        watch, today = look(journal), date(2026, 5, 21)
        text = reed_watch_text(watch, today)
        assert max(map(len, text.splitlines())) <= 80
        assert "-5 has gone flat against the others: by 9 cents (9 to 10), at once" in text.replace(
            "\n", " "
        )
        assert "Heard on fewer than 12 days: 1 (1), -1 (1), 9 (1), -9 (1)" in text
        check_format("reed-watch", [reed_watch_data(watch)])
        data = json.loads(json.dumps(reed_watch_data(watch)))
        flat = [history for history in data["reeds"] if history["state"] == "gone flat"]
        assert [history["tab"] for history in flat] == ["-5"]
        assert len(flat[0]["history"]) == 80
        reed = watch.reed(Tab.parse("-5"))
        assert reed is not None
        plot = reed_plot_text(reed, today, 79, 18, color=False)
        assert "-5 against the other reeds, cents" in plot
        assert max(map(len, plot.splitlines())) <= 79

    def test_a_steady_harp_is_reported_as_such(self, tmp_path: Path) -> None:
        with Journal(tmp_path / "steady.sqlite") as journal:
            journal.add_harp(measured(FIRST - timedelta(hours=1)))
            assert "Too few days" in reed_verdict_text(look(journal), date(2026, 5, 21))
            journal.add(*(evening(day) for day in range(DROPPED)))
            message = reed_verdict_text(look(journal), date(2026, 5, 21))
        assert message == ("No reed has gone flat against the others, of 14 with enough days.")

    def test_a_take_shows_the_pitch_of_its_reeds(self, journal: Journal) -> None:
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
        (kept,) = [entry for entry in journal.takes() if entry.day == began.date()]
        off = {
            step.tab: cents(step.hz or 1.0, played.hz(Tab.parse(step.tab))) for step in kept.steps
        }
        assert max(map(abs, off.values())) < 0.5
        assert look(journal).days == 81
