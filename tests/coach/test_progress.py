"""Progress: its figures by hand, its intervals by simulation, and its texts.

References: rank intervals, Hodges and Lehmann 1963; critical values of U, from the table for two
sides at 5 % that statistics books print after Mann and Whitney 1947 (from memory).
"""

from __future__ import annotations

import csv
import io
import json
import os
import re
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.evenings import TODAY, evenings, step, take, weeks_of
from tests.support.formats import check_format, columns_of
from trainer.cli import main
from trainer.cli import progress as progress_command
from trainer.cli.exit_codes import ExitCode
from trainer.coach import Trend, TrendVerdict, TrendWindow
from trainer.coach.step_table import METRICS, StepTable, group_means, group_medians
from trainer.coach.trends import (
    Comparison,
    ComparisonVerdict,
    Overview,
    Progress,
    SubjectKind,
    overview,
    overview_at,
    solo_progress,
)
from trainer.core.stats.location_shift import hodges_lehmann
from trainer.report.progress_plots import (
    PLOTTED_MEASURES,
    PlotError,
    _draw_one,
    progress_plot_text,
    save_progress_plot,
)
from trainer.report.progress_report import (
    change_text,
    overview_csv,
    overview_data,
    overview_text,
    progress_csv,
    progress_data,
    progress_text,
    trend_text,
    trend_verdict_text,
)
from trainer.store import Journal, JournalError, SoloRecord, TakeRecord

DAY = timedelta(days=1)
ANSI = re.compile(r"\x1b\[[0-9;]*m")


def seen(
    tmp_path: Path, takes: Sequence[TakeRecord], player: str = "Runa", **options: Any
) -> Overview:
    """Overview of a journal that holds some takes."""
    with Journal(tmp_path / "journal.sqlite") as journal:
        journal.add(*takes)
        return overview(journal, player, TODAY, **options)


def test_solos_are_compared_by_days_and_their_habit_is_named(tmp_path: Path) -> None:
    def solo(scale: float, phrases: float) -> SoloRecord:
        return SoloRecord(2, 8.0, 70.0, {"scale": scale, "phrases": phrases}, 9, "leave a rest")

    notes = [step("-4", 3.0)]
    days = [
        take(TODAY - DAY * ago, notes, ago, solos=(solo(95.0 - ago, 60.0 - 2 * ago),))
        for ago in range(14)
    ]
    shown = seen(tmp_path, days)
    solos = shown.solos
    assert solos is not None
    assert solo_progress(days, TODAY - 20 * DAY, 1) is not None
    assert solo_progress([take(TODAY, notes)], TODAY, 1) is None
    assert (solos.count, solos.weakest, solos.weakest_count, solos.recent) == (14, "phrases", 8, 8)
    scale, phrases = solos.trends
    assert scale.usual == pytest.approx(statistics.mean(range(86, 96)))
    assert (scale.change.verdict, scale.change.gain) == (ComparisonVerdict.BETTER, 7.0)
    assert phrases.change.gain == 14.0
    text = overview_text(shown)
    assert "points of 14 solos       usual  the last 7 days against the 7 before" in text
    assert re.search(r"^phrases +51  better by 14 \(\d+ to \d+\)$", text, re.MULTILINE)
    assert "Phrases had the fewest points in 8 of the last 8 solos." in text
    check_format("progress-overview", overview_data(shown))


# --- last week against the one before, where the truth is known -------------------------------

WEEK, BEFORE = range(7), range(7, 14)


def verdict_rates(
    measure: str, runs: int, seed: int, **options: Any
) -> dict[ComparisonVerdict, float]:
    """Fraction of simulated weeks with each verdict."""
    rng = np.random.default_rng(seed)
    rates = dict.fromkeys(ComparisonVerdict, 0.0)
    for _ in range(runs):
        steps = weeks_of(rng, options["after"], options["before"], **_rest(options))
        rates[_change(steps, measure).verdict] += 1.0 / runs
    print({str(verdict): f"{share:.3f}" for verdict, share in rates.items()}, options)
    return rates


def _rest(options: dict[str, Any]) -> dict[str, Any]:
    return {name: item for name, item in options.items() if name not in ("after", "before")}


def _change(steps: StepTable, measure: str) -> Comparison:
    return Progress("-4'", SubjectKind.NOTE, steps, TODAY).compare(measure)


@pytest.mark.parametrize("measure", ["cents", "spread_cents", "in_tune"])
@pytest.mark.parametrize(
    ("after", "before"), [(WEEK, BEFORE), ((0, 2, 4, 6), (7, 9, 11, 13)), ((0, 2, 4), BEFORE)]
)
def test_no_change_is_seldom_called_better(
    measure: str, after: Sequence[int], before: Sequence[int]
) -> None:
    runs = 800
    shown = verdict_rates(measure, runs, 1, after=after, before=before, night=12.0)
    most = 0.025 + 3 * (0.025 * 0.975 / runs) ** 0.5
    assert shown[ComparisonVerdict.BETTER] <= most
    assert shown[ComparisonVerdict.WORSE] <= most


def test_notes_as_witnesses_of_their_own_would_take_luck_for_progress() -> None:
    rng = np.random.default_rng(2)
    better = 0
    for _ in range(200):
        steps = weeks_of(rng, WEEK, BEFORE, night=12.0)
        late = steps.day > TODAY.toordinal() - 7
        better += (
            hodges_lehmann(steps.values["cents"][~late], steps.values["cents"][late]).high < 0.0
        )
    print(f"by notes, nothing is called better in {better / 2:.0f} % of weeks")
    assert better / 200 > 0.1  # more than four times what the interval promises


@pytest.mark.parametrize("measure", ["cents", "spread_cents", "in_tune"])
def test_a_real_gain_is_found_in_most_weeks(measure: str) -> None:
    shown = verdict_rates(measure, 300, 3, after=WEEK, before=BEFORE, ratio=0.6)
    assert shown[ComparisonVerdict.BETTER] > 0.8
    assert shown[ComparisonVerdict.WORSE] == 0.0


def test_a_loss_is_found_too() -> None:
    shown = verdict_rates("cents", 200, 4, after=WEEK, before=BEFORE, ratio=1.8)
    assert shown[ComparisonVerdict.WORSE] > 0.8


def test_harder_notes_are_no_loss() -> None:
    rng = np.random.default_rng(5)
    runs, worse, would_be = 300, 0, 0
    for _ in range(runs):
        steps = weeks_of(
            rng, WEEK, BEFORE, night=2.0, notes=40, entries=(4.0, 30.0), played=((3, 1), (1, 3))
        )
        worse += _change(steps, "cents").verdict is ComparisonVerdict.WORSE
        alike = StepTable(steps.day, steps.take, np.zeros_like(steps.tab), steps.values)
        would_be += _change(alike, "cents").verdict is ComparisonVerdict.WORSE
    print(f"called worse: {worse} of {runs}; without separating the notes, {would_be}")
    assert worse / runs <= 0.06
    assert would_be / runs > 0.9


@pytest.mark.parametrize(("gain", "least", "most"), [(0.0, 0, 3), (6.0, 18, 25)])
def test_evenings_in_a_journal_are_compared_for_what_they_are(
    tmp_path: Path, gain: float, least: int, most: int
) -> None:
    better = 0
    for seed in range(25):
        (tmp_path / str(seed)).mkdir()
        shown = seen(tmp_path / str(seed), evenings(seed, days=14, gain=gain))
        better += shown.find("everything").compare("cents").verdict is ComparisonVerdict.BETTER
    print(f"{gain:g} cents a week: called better in {better} of 25 weeks")
    assert least <= better <= most


def test_a_note_that_is_new_this_week_is_set_against_nothing(tmp_path: Path) -> None:
    takes = [
        take(
            TODAY - back * DAY, [step("4" if back >= 7 else "-3''", 2.0 if back >= 7 else 30.0)] * 5
        )
        for back in range(14)
    ]
    change = seen(tmp_path, takes).find("everything").compare("cents")
    assert change == Comparison(ComparisonVerdict.UNCLEAR, None, None, None, 0, 0)


@pytest.mark.parametrize(("back", "counted"), [(0, (0, 1)), (6, (0, 1)), (7, (1, 0)), (13, (1, 0))])
def test_the_last_seven_days_end_today(tmp_path: Path, back: int, counted: tuple[int, int]) -> None:
    # The other side is there on two days, so that the note is in both weeks.
    other = [7, 8] if back < 7 else [0, 1]
    takes = [take(TODAY - at * DAY, [step("4", 3.0)] * 3) for at in (back, *other)]
    change = seen(tmp_path, takes).find("4").compare("cents")
    assert (change.before, change.after) == tuple(item or 2 for item in counted)


def test_days_beyond_both_weeks_and_days_of_two_notes_do_not_count(tmp_path: Path) -> None:
    takes = [take(TODAY - at * DAY, [step("4", 3.0)] * 3) for at in (0, 1, 7, 14, 15)]
    takes.append(take(TODAY - 2 * DAY, [step("4", 3.0)] * 2))
    change = seen(tmp_path, takes).find("4").compare("cents")
    assert (change.before, change.after) == (1, 2)
    wider = seen(tmp_path, (), weeks=2).find("4").compare("cents")
    assert (wider.before, wider.after) == (2, 3)


def test_a_change_worked_by_hand(tmp_path: Path) -> None:
    """Four days 10, 11, 12, 13 cents off, then 5, 6, 7, 8: gains of 2 to 8 and 5 in the middle."""
    offs = {13: 10.0, 12: 11.0, 11: 12.0, 10: 13.0, 3: 5.0, 2: 6.0, 1: 7.0, 0: 8.0}
    takes = [
        take(TODAY - back * DAY, [step("-4'", off), step("-4'", -off), step("-4'", off)])
        for back, off in offs.items()
    ]
    shown = seen(tmp_path, takes).find("-4'")
    assert shown.compare("cents") == Comparison(ComparisonVerdict.BETTER, 5.0, 2.0, 8.0, 4, 4)
    # One day of four was in tune before, all four are now: each gain is 0 or 1, as often 1
    tune = shown.compare("in_tune")
    assert (tune.verdict, tune.gain, tune.low, tune.high) == (
        ComparisonVerdict.UNCLEAR,
        1.0,
        0.0,
        1.0,
    )


# --- figures ----------------------------------------------------------------------------------


def test_figures_worked_by_hand(tmp_path: Path) -> None:
    steps = [
        step("4", -6.0, late_ms=10.0, wobble_cents=2.0),
        step("4", 2.0, late_ms=-30.0, wobble_cents=4.0),
        step("4", 3.0, late_ms=20.0, wobble_cents=9.0, leak_db=-30.0),
        step("4", 20.0, late_ms=40.0, leak_db=-12.0, parts={"pitch": 61.0, "cleanness": 50.0}),
        step("4", 4.0, late_ms=0.0, care="blur"),
        step("4", None),
    ]
    usual = seen(tmp_path, [take(TODAY, steps)]).find("4").usual
    assert (usual.notes, usual.takes) == (6, 1)
    assert usual.cents == 4.0  # of 2 3 4 6 20
    assert usual.bias_cents == 3.0  # of -6 2 3 4 20
    assert usual.spread_cents == 1.0  # from 3: 0 1 1 9 17
    assert usual.wobble_cents == 4.0
    assert usual.in_tune == pytest.approx(4 / 6)  # 20 cents are not, nor is what was not played
    assert usual.clean == pytest.approx(3 / 4)  # of those that were to be clean and were played
    assert usual.leak_db == -21.0
    assert usual.off_ms == 20.0  # of 0 10 20 30 40
    assert usual.late_ms == 10.0  # of -30 0 10 20 40
    assert usual.late_spread_ms == 10.0  # from 10: 0 10 10 30 40
    assert usual.parts["cleanness"] == 90.0


def test_the_tolerance_itself_is_in_tune_and_a_leak_of_24_db_is_clean(tmp_path: Path) -> None:
    at = {"pitch": 85.0, "cleanness": 85.0}
    usual = seen(tmp_path, [take(TODAY, [step("4", 10.0, parts=at)])]).find("4").usual
    assert (usual.in_tune, usual.clean) == (1.0, 1.0)


def test_a_chord_whose_pitch_is_not_known_is_neither_in_tune_nor_out(tmp_path: Path) -> None:
    chord = step("2+3", 3.0, entry=None, kind="chord")
    unknown = step("1+2", 0.0, entry=None, kind="chord", cents=None, parts={"cleanness": 90.0})
    usual = seen(tmp_path, [take(TODAY, [chord, unknown])]).find("splits").usual
    assert (usual.notes, usual.in_tune, usual.clean) == (2, 1.0, 1.0)


def test_the_spread_of_several_notes_is_each_about_its_own_median(tmp_path: Path) -> None:
    steps = [step(tab, off) for tab, offs in (("4", (8, 9, 10)), ("-4", (-30, -32, -34)))
             for off in offs]  # fmt: skip
    shown = seen(tmp_path, [take(TODAY, steps)])
    assert shown.find("everything").usual.spread_cents == 1.0  # of 0 0 1 1 2 2
    assert shown.find("4").usual.spread_cents is None  # three are too few


def test_what_there_is_progress_in_the_worst_first(tmp_path: Path) -> None:
    steps = [
        *[step("4", 2.0)] * 12,
        *[step("-3''", 30.0)] * 10,
        *[step("-4'", 12.0)] * 10,
        step("7", 40.0),  # the worst, but a single note
        step("2+3", 3.0, kind="chord", entry=None),
        step("-4=-4'", 9.0, kind="ladder", entry=None),
        step("-4'>-4", 8.0, kind="glide", entry="-4"),
    ]
    shown = seen(tmp_path, [take(TODAY, steps, skills=("moves", "breath"))])
    names = [(item.kind.value, item.name) for item in shown.subjects]
    assert names == [
        ("all", "everything"),
        *[("note", item) for item in ("-3''", "-4'", "4", "7", "-4")],
        *[("several", item) for item in ("ladders", "chords")],
        *[("skill", item) for item in ("breath", "moves")],
    ]


def test_only_the_players_own_takes_count(tmp_path: Path) -> None:
    takes = [
        take(TODAY, [step("4", 5.0)], 1),
        take(TODAY, [step("4", 50.0)], 2, source="player"),
        take(TODAY, [step("4", 60.0)], 3, player="Odd"),
        take(TODAY, [step("4", 7.0)], 4, source="recording"),
    ]
    shown = seen(tmp_path, takes)
    assert shown.find("4").usual.cents == 6.0
    assert shown.practice.total.takes == 2
    assert shown.others == ("Odd",)
    assert seen(tmp_path, (), player="Odd").find("4").usual.cents == 60.0


def test_usual_is_the_last_ten_days_on_which_it_was_played(tmp_path: Path) -> None:
    takes = [take(TODAY - 3 * at * DAY, [step("4", float(at))]) for at in range(12)]
    shown = seen(tmp_path, takes)
    assert shown.find("4").usual.cents == 4.5  # of 0 to 9
    assert seen(tmp_path, (), since=TODAY - 9 * DAY).find("4").usual.cents == 1.5  # of 0 to 3


def test_the_best_day_has_notes_enough(tmp_path: Path) -> None:
    takes = [
        take(TODAY, [step("4", 1.0)] * 9),
        take(TODAY - 2 * DAY, [step("4", 4.0)] * 10),
        take(TODAY - 3 * DAY, [step("4", 4.0)] * 30),
        take(TODAY - 4 * DAY, [step("4", 12.0)] * 30),
    ]
    shown = seen(tmp_path, takes).find("4")
    best = shown.best("cents")
    assert best is not None
    assert (best.first, best.value) == (TODAY - 3 * DAY, 4.0)
    assert shown.best("off_ms") is None
    (tmp_path / "few").mkdir()
    best = seen(tmp_path / "few", takes[:2]).find("4").best("cents")
    assert best is not None
    assert best.first == TODAY - 2 * DAY  # ten notes are enough


def test_weeks_begin_on_monday_and_hold_all_of_their_notes(tmp_path: Path) -> None:
    monday = date(2026, 11, 16)
    assert monday.weekday() == 0
    takes = [take(monday + at * DAY, [step("4", float(at + 1))]) for at in (-1, 0, 3, 6, 7)]
    shown = seen(tmp_path, takes).find("4")
    assert [(week.first, week.figures.cents) for week in shown.weeks] == [
        (monday - 7 * DAY, 0.0),
        (monday, 4.0),
        (monday + 7 * DAY, 8.0),
    ]
    assert [(item.first, item.value, item.notes) for item in shown.by_week("cents")] == [
        (monday - 7 * DAY, 0.0, 1),
        (monday, 4.0, 3),
        (monday + 7 * DAY, 8.0, 1),
    ]
    assert [day.figures.notes for day in shown.days] == [1] * 5


def test_how_much_was_practised(tmp_path: Path) -> None:
    takes = [
        take(TODAY - back * DAY, [step("4", 1.0)], number, seconds=90.0)
        for back in (1, 2, 3, 5, 8, 40)
        for number in range(2)
    ]
    practice = seen(tmp_path, takes).practice
    assert (practice.first, practice.last) == (TODAY - 40 * DAY, TODAY - DAY)
    assert practice.days_in_a_row == 3  # nothing yet today
    assert (practice.total.days, practice.total.takes, practice.total.minutes) == (6, 12, 18.0)
    assert (practice.recent.days, practice.recent.minutes) == (4, 12.0)
    assert (practice.before.days, practice.before.minutes) == (1, 3.0)
    assert seen(tmp_path, [take(TODAY, [step("4", 1.0)])]).practice.days_in_a_row == 4


groups = st.lists(
    st.tuples(st.integers(0, 4), st.one_of(st.none(), st.integers(-50, 50))), max_size=60
)


@given(groups)
def test_medians_and_means_of_groups_are_those_of_each_alone(
    pairs: list[tuple[int, int | None]],
) -> None:
    group = np.array([item for item, _ in pairs], dtype=np.int64)
    values = np.array([np.nan if item is None else item for _, item in pairs], dtype=float)
    for at in range(5):
        known = [float(item) for number, item in pairs if number == at and item is not None]
        median, mean = group_medians(group, values, 5)[at], group_means(group, values, 5)[at]
        if known:
            assert median == statistics.median(known)
            assert mean == pytest.approx(statistics.fmean(known))
        else:
            assert np.isnan(median)
            assert np.isnan(mean)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(-80, 80), min_size=1, max_size=40), st.integers(0, 100))
def test_notes_that_come_nearer_never_look_worse(offs: list[int], percent: int) -> None:
    def of(cents: list[float]) -> Progress:
        values = {"cents": np.abs(cents), "in_tune": (np.abs(cents) <= 10.0).astype(float)}
        none = {item: np.full(len(cents), np.nan) for item in METRICS if item != "spread_cents"}
        more = ("bias_cents", "wobble_cents", "leak_db", "late_ms")
        none |= {item: np.full(len(cents), np.nan) for item in more}
        day = np.arange(len(cents)) // 4 + TODAY.toordinal()
        zero = np.zeros(len(cents), dtype=np.int64)
        return Progress(
            "4", SubjectKind.NOTE, StepTable(day, zero, zero, {**none, **values}), TODAY
        )

    far, near = of([float(item) for item in offs]), of([item * percent / 100.0 for item in offs])
    for item, other in zip(far.by_day("cents"), near.by_day("cents"), strict=True):
        assert other.value <= item.value
    for item, other in zip(far.by_day("in_tune"), near.by_day("in_tune"), strict=True):
        assert other.value >= item.value


def test_a_name_is_found_however_it_is_written_and_a_wrong_one_is_answered(tmp_path: Path) -> None:
    shown = seen(tmp_path, evenings(1, days=3))
    assert shown.find(" -4' ").name == "-4'"
    assert shown.find("Half-Step Bends").name == "half-step bends"
    assert shown.find("all").kind is SubjectKind.ALL
    with pytest.raises(JournalError, match="did you mean 'half-step bends'"):
        shown.find("half step bend")
    with pytest.raises(JournalError, match="'trainer progress' shows what it has"):
        shown.find("zzz")


def test_a_year_of_daily_practice_is_read_in_less_than_a_second(tmp_path: Path) -> None:
    path = tmp_path / "year.sqlite"
    takes = evenings(7, days=365, notes=20)
    takes += [
        take(item.day, item.steps, 100 + at)
        for at, item in enumerate(evenings(8, days=365, notes=20) * 3)
    ]
    with Journal(path) as journal:
        journal.add(*takes)
    times = []
    for _ in range(2):  # the second is free of what other programs have just done to the caches
        began = time.process_time()
        shown = overview_at(path, "Runa", TODAY)
        text = overview_text(shown)
        times.append(time.process_time() - began)
    spent = min(times)
    print(f"{shown.practice.total.takes} takes, {shown.find('all').notes} steps: {spent:.2f} s")
    assert shown.find("all").notes > 55_000
    assert "everything" in text
    assert spent < 1.0


# --- in words ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def class_(tmp_path_factory: pytest.TempPathFactory) -> Overview:
    """Seven weeks in which everything came nearer."""
    return seen(tmp_path_factory.mktemp("class"), evenings(1, days=50, gain=2.0))


def test_the_table_fits_80_columns_and_says_what_the_figures_are(class_: Overview) -> None:
    text = overview_text(class_)
    assert all(len(line) <= 80 for line in text.splitlines())
    deep = class_.find("-3''")
    row = next(line for line in text.splitlines() if line.startswith("-3''"))
    assert f"{deep.usual.cents:.1f}" in row
    assert f"{100 * (deep.usual.in_tune or 0):.0f} %" in row
    for window in TrendWindow:
        assert trend_verdict_text(deep.trend("cents", window), "cents") in row
    table = text.split("together")[0].splitlines()
    notes = [line.split()[0] for line in table if re.match(r"-?\d", line)]
    assert notes == [item.name for item in class_.of(SubjectKind.NOTE)]
    assert "about one is called so wrongly" in " ".join(text.split())


def test_the_widest_figures_stand_apart(tmp_path: Path) -> None:
    takes = [
        take(day, [step("-10''", off, late_ms=-400.0)] * 12)
        for day, off in ((TODAY - 400 * DAY, 2.0), (TODAY, -99.4), (TODAY - 8 * DAY, 300.0))
    ]
    shown = seen(tmp_path, takes)
    lines = progress_text(shown.find("-10''"), "Runa").splitlines()
    assert all(len(line) <= 80 for line in lines)
    tune = next(line for line in lines if line.startswith("in tune"))
    assert re.match(r"in tune +33 % +100 % \(Oct 2025\) +too few days +too few days$", tune)
    assert "too little to tell (1 and 1 days)" in "\n".join(lines)
    row = next(line for line in overview_text(shown).splitlines() if line.startswith("-10''"))
    assert row.split() == ["-10''", "99.4", "+2.0", "33", "%", "100", "%", "400", "-", "-"]


def test_one_thing_fits_80_columns_with_its_weeks(class_: Overview) -> None:
    for subject in class_.subjects:
        lines = progress_text(subject, "Runa").splitlines()
        assert all(len(line) <= 80 for line in lines)
    weeks = progress_text(class_.find("-4'"), "Runa").splitlines()
    assert sum(bool(re.match(r"2026-\d\d-\d\d", line)) for line in weeks) == len(
        class_.find("-4'").weeks
    )


@pytest.mark.parametrize(
    ("change", "unit", "text"),
    [
        (
            Comparison(ComparisonVerdict.BETTER, 2.14, 0.4, 3.9, 5, 6),
            "cents",
            "better by 2.1 (0.4 to 3.9)",
        ),
        (
            Comparison(ComparisonVerdict.WORSE, -2.14, -3.9, -0.4, 5, 6),
            "cents",
            "worse by 2.1 (0.4 to 3.9)",
        ),
        (
            Comparison(ComparisonVerdict.BETTER, 0.12, 0.04, 0.2, 5, 6),
            "%",
            "better by 12 % (4 to 20)",
        ),
        (
            Comparison(ComparisonVerdict.UNCLEAR, 3.0, -1.0, 7.0, 5, 6),
            "ms",
            "too little to tell (-1 to 7)",
        ),
        (
            Comparison(ComparisonVerdict.UNCLEAR, 3.0, None, None, 2, 3),
            "ms",
            "too little to tell (3 and 2 days)",
        ),
        (
            Comparison(ComparisonVerdict.UNCLEAR, 0.0, -0.001, 0.2, 5, 5),
            "%",
            "too little to tell (0 to 20)",
        ),
        (Comparison(ComparisonVerdict.UNCLEAR, 0.0, 0.0, 0.0, 7, 7), "%", "no difference"),
    ],
)
def test_a_change_is_shown_with_its_interval(change: Comparison, unit: str, text: str) -> None:
    assert change_text(change, unit) == text


@pytest.mark.parametrize(
    ("verdict", "figures", "unit", "short", "long"),
    [
        (TrendVerdict.BETTER, (2.14, 0.4, 3.9), "cents", "better 2.1", "better 2.1 ± 1.8"),
        (TrendVerdict.WORSE, (-2.14, -3.9, -0.4), "ms", "worse 2", "worse 2 ± 2"),
        (TrendVerdict.BETTER, (0.12, 0.04, 0.2), "%", "better 12 %", "better 12 ± 8 %"),
        (TrendVerdict.STEADY, (-0.4, -1.0, 0.2), "cents", "steady", "steady -0.4 ± 0.6"),
        (TrendVerdict.STEADY, (0.0, 0.0, 0.0), "%", "steady", "steady"),
        (TrendVerdict.UNCLEAR, (1.0, -3.0, 5.0), "points", "unclear", "unclear +1 ± 4"),
        (TrendVerdict.TOO_FEW_DAYS, (None, None, None), "points", "-", "too few days"),
    ],
)
def test_a_trend_is_shown_with_its_interval(
    verdict: TrendVerdict, figures: Sequence[float | None], unit: str, short: str, long: str
) -> None:
    trend = Trend(verdict, *figures)
    assert trend_verdict_text(trend, unit) == short
    assert trend_text(trend, unit) == long


def test_json_holds_the_figures_and_comes_back(class_: Overview) -> None:
    check_format("progress-overview", overview_data(class_))
    data = json.loads(json.dumps(overview_data(class_), allow_nan=False))
    assert [item["name"] for item in data["subjects"]] == [item.name for item in class_.subjects]
    item = class_.find("-4'")
    check_format("progress", progress_data(item, "Runa"))
    whole = json.loads(json.dumps(progress_data(item, "Runa"), allow_nan=False))
    assert [day["cents"] for day in whole["days"]] == [day.figures.cents for day in item.days]
    assert whole["change"]["cents"]["verdict"] == item.compare("cents").verdict.value
    trend = item.trend("cents", TrendWindow.START)
    assert whole["trend"]["cents"]["start"]["gain"] == trend.gain
    assert [point["value"] for point in whole["trend_points"]["cents"]] == [
        point.value for point in trend.points
    ]
    assert whole["best"]["cents"]["value"] == item.best("cents").value  # type: ignore[union-attr]


def test_csv_reads_back_as_the_days_and_the_weeks(class_: Overview) -> None:
    item = class_.find("-4'")
    rows = list(csv.DictReader(io.StringIO(progress_csv(item, "Runa"))))
    assert [row["day"] for row in rows] == [day.first.isoformat() for day in item.days]
    assert [float(row["cents"]) for row in rows] == pytest.approx(
        [day.figures.cents for day in item.days], abs=1e-4
    )
    every = list(csv.DictReader(io.StringIO(overview_csv(class_))))
    assert list(every[0]) == columns_of("progress-table")
    assert len(every) == sum(len(subject.weeks) for subject in class_.subjects)
    assert {row["name"] for row in every} == {subject.name for subject in class_.subjects}


def test_no_name_in_csv_is_a_formula(tmp_path: Path) -> None:
    takes = [take(TODAY, [step("-4", 3.0)], skills=("=1+1",), player="@Runa")]
    rows = list(csv.reader(io.StringIO(overview_csv(seen(tmp_path, takes, "@Runa")))))
    cells = {cell for row in rows for cell in row}
    assert {"'=1+1", "'@Runa", "-4"} <= cells
    assert not {"=1+1", "@Runa"} & cells


# --- plots ------------------------------------------------------------------------------------


def test_the_plot_stands_on_its_figures(tmp_path: Path) -> None:
    takes = [take(TODAY - back * DAY, [step("4", float(off))] * 3)
             for back, off in ((20, 40), (10, 20), (0, 2))]  # fmt: skip
    item = seen(tmp_path, takes).find("4")
    lines = progress_plot_text(item, METRICS["cents"], 60, 20, color=False).splitlines()
    assert len(lines) == 20
    assert all(len(line) <= 60 for line in lines)
    assert not ANSI.search("".join(lines))
    plot = [line for line in lines if "│" in line or "┤" in line]
    text = "\n".join(lines)
    assert "4: how far off, cents" in text
    assert "• a day   ⠒ a week" in text
    assert [word for word in ("5 Nov", "25 Nov") if word in text] == ["5 Nov", "25 Nov"]
    # The line goes down from left to right, from near 40 to near 0 of 0 to 40 or 50.
    places = [
        (x, y)
        for y, line in enumerate(plot)
        for x, letter in enumerate(line)
        if "⠀" < letter <= "⣿" or letter == "•"
    ]
    left, right = min(places), max(places)
    top = int(re.search(r"\d+", plot[0]).group())  # type: ignore[union-attr]
    height = len(plot) - 1
    assert top * (1 - left[1] / height) == pytest.approx(40.0, abs=1.1 * top / height)
    assert top * (1 - right[1] / height) == pytest.approx(2.0, abs=1.1 * top / height)


@pytest.mark.parametrize("measure", METRICS)
def test_every_measure_is_plotted_at_every_size(class_: Overview, measure: str) -> None:
    for name in ("-4'", "chords", "half-step bends"):
        for width, height in ((60, 8), (79, 20), (100, 30)):
            plot = progress_plot_text(
                class_.find(name), METRICS[measure], width, height, color=False
            )
            assert name in plot
            assert len(plot.splitlines()) == height


def test_one_day_is_plotted_too(tmp_path: Path) -> None:
    item = seen(tmp_path, [take(TODAY, [step("4", 3.0)])]).find("4")
    assert "25 Nov" in progress_plot_text(item, METRICS["cents"], 60, 12, color=False)


def test_pictures_show_the_same_figures(tmp_path: Path, class_: Overview) -> None:
    from matplotlib.figure import Figure

    item = class_.find("-4'")
    figure = Figure()
    _draw_one(figure, item, "Runa")
    for axes, name in zip(figure.axes, PLOTTED_MEASURES, strict=True):
        scale = 100.0 if METRICS[name].unit == "%" else 1.0
        dots = axes.collections[0].get_offsets()
        trend = item.trend(name, TrendWindow.START)
        assert [day.first.toordinal() for day in trend.points] == list(dots[:, 0])
        assert [scale * day.value for day in trend.points] == pytest.approx(list(dots[:, 1]))
        line = axes.lines[0].get_ydata()
        ends = [scale * (trend.start or 0.0), scale * (trend.end or 0.0)]
        assert ends == pytest.approx(list(line))
    save_progress_plot(tmp_path / "one.png", class_, item)
    assert (tmp_path / "one.png").read_bytes().startswith(b"\x89PNG")
    save_progress_plot(tmp_path / "all.SVG", class_, None)
    picture = (tmp_path / "all.SVG").read_text()
    for subject in class_.subjects:
        assert f">{subject.name}<" in picture
    assert ">better " in picture
    before = (tmp_path / "all.SVG").read_bytes()
    save_progress_plot(tmp_path / "all.SVG", class_, None)
    assert (tmp_path / "all.SVG").read_bytes() == before


def test_what_prevents_a_picture_is_reported(
    tmp_path: Path, class_: Overview, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(PlotError, match=r"end it in \.png or \.svg"):
        save_progress_plot(tmp_path / "one.jpg", class_, None)
    with pytest.raises(PlotError, match="cannot be written"):
        save_progress_plot(tmp_path / "nowhere" / "one.png", class_, None)
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    with pytest.raises(PlotError, match="pip install matplotlib"):
        save_progress_plot(tmp_path / "one.png", class_, None)


# --- the command ------------------------------------------------------------------------------

Command = Callable[..., tuple[int, str, str]]


@pytest.fixture
def command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> Command:
    """Runs ``trainer progress WORDS`` on the journal of the test, today being the class's."""

    class Today(date):
        @classmethod
        def today(cls) -> date:
            return TODAY

    monkeypatch.setattr(progress_command, "date", Today)
    monkeypatch.setenv("TRAINER_JOURNAL", str(tmp_path / "journal.sqlite"))
    monkeypatch.setenv("TRAINER_PLAYER", "Runa")

    def run(*words: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["trainer", "progress", *words])
        capfd.readouterr()
        code: Any = 0
        try:
            main()
        except SystemExit as end:
            code = end.code or 0
        out, err = capfd.readouterr()
        assert "Traceback" not in err
        return int(code), out, err

    return run


def test_an_empty_journal_is_explained_and_not_created(command: Command, tmp_path: Path) -> None:
    code, out, err = command()
    assert (code, err) == (0, "")
    assert "The journal has no takes of Runa yet" in out
    assert "trainer play" in out
    code, out, err = command("--format", "json")
    assert json.loads(out)["subjects"] == []
    assert "has no takes of Runa" in err
    code, out, err = command("-4'", "--format", "csv", "--plot", str(tmp_path / "one.png"))
    assert (code, len(out.splitlines())) == (0, 1)
    assert not list(tmp_path.iterdir())
    seen(tmp_path, evenings(1, days=2, player="Odd"))
    assert "--player shows theirs (Odd)" in command()[1]


def test_the_command_prints_all_or_one_in_every_format(command: Command, tmp_path: Path) -> None:
    seen(tmp_path, [*evenings(1, days=30, gain=2.0), *evenings(2, days=3, player="Odd")])
    code, out, err = command()
    assert (code, err) == (0, "")
    assert out.startswith("Progress of Runa, 25 Nov\n")
    assert command("--player", "Odd")[1].startswith("Progress of Odd")
    assert json.loads(command("-4'", "--format", "json")[1])["name"] == "-4'"
    assert json.loads(command("-4", "--weeks", "2", "--format", "json")[1])["weeks_compared"] == 2
    days = list(csv.DictReader(io.StringIO(command("--format", "csv", "everything")[1])))
    assert len(days) == 30
    since = ("--since", "2026-11-20", "--format", "csv", "everything")
    assert len(list(csv.DictReader(io.StringIO(command(*since)[1])))) == 6
    code, out, err = command("-3''", "--plot", str(tmp_path / "deep.svg"))
    assert code == 0
    assert "week of" in out  # no terminal: the weeks instead of a plot
    assert "deep.svg" in err
    assert (tmp_path / "deep.svg").exists()


def test_the_command_answers_what_it_does_not_know(command: Command, tmp_path: Path) -> None:
    seen(tmp_path, evenings(1, days=3))
    code, out, err = command("-10o")
    assert (code, out) == (ExitCode.BAD_INPUT, "")
    assert "nothing of Runa's called '-10o'" in err
    code, out, err = command("--plian")
    assert (code, out) == (ExitCode.USAGE, "")
    assert "--plian" in err
    assert command("--since", "yesterday")[0] == ExitCode.USAGE
    assert command("--weeks", "0")[0] == ExitCode.USAGE
    assert command("--plot", "one.pdf")[0] == ExitCode.BAD_INPUT


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
@pytest.mark.parametrize("color", [True, False])
def test_on_a_terminal_one_thing_is_plotted_with_and_without_colour(
    tmp_path: Path, color: bool
) -> None:
    import pty

    with Journal(tmp_path / "journal.sqlite") as journal:
        journal.add(*evenings(1, days=20))
    ours, theirs = pty.openpty()
    environment = {
        **{name: value for name, value in os.environ.items() if name != "NO_COLOR"},
        **{"TRAINER_JOURNAL": str(tmp_path / "journal.sqlite"), "COLUMNS": "80", "LINES": "30"},
        **{"TERM": "xterm", "PYTHONUTF8": "1"},
        **({} if color else {"NO_COLOR": "1"}),
    }
    words = [sys.executable, "-m", "trainer", "progress", "-4'", "--player", "Runa"]
    with subprocess.Popen(words, stdout=theirs, env=environment) as process:
        os.close(theirs)
        shown = b""
        while True:
            try:
                piece = os.read(ours, 65536)
            except OSError:  # how Linux says that the other end has gone
                break
            if not piece:
                break
            shown += piece
    os.close(ours)
    assert process.returncode == 0
    text = shown.decode()
    assert bool(ANSI.search(text)) is color
    lines = [ANSI.sub("", line) for line in text.splitlines()]
    assert all(len(line) <= 80 for line in lines)
    assert any("-4': how far off, cents" in line for line in lines)
    assert any("┤" in line and ("•" in line or "⠒" in line) for line in lines)
    assert "week of" not in text
