"""The practice plan of a drill: tempi in steps, sections by name, remarks."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from tests.support.command_line import Trainer
from trainer.drill import parse_drill
from trainer.report.drill_sheet import drill_sheet_html
from trainer.report.practice_plan import practice_plan, practice_plan_lines

DRILL = parse_drill(
    """title = "Two ends of a rope"
about = "Trains it."
harp = "C"
tempo = 90
tab = "4:4 | -4:4 | 5:4 | -5:4 |"

[sections]
verse = "1-2"
turnaround = "3"

[remarks]
"bar 2 note 1" = "Straight to its pitch."
"bar 4" = "Let it ring."
""",
    "two-ends",
)


def test_sections_come_first_and_slow_and_the_whole_ends_at_speed() -> None:
    verse, turnaround, whole = practice_plan(DRILL).steps
    assert (verse.part, verse.tempi) == ("verse, bars 1 to 2", ("54", "72", "90"))
    assert verse.remarks == ("Bar 2 note 1: Straight to its pitch.",)
    assert verse.command == "trainer play two-ends --bars verse --loop --tempo 54"
    assert (turnaround.part, turnaround.remarks) == ("turnaround, bar 3", ())
    assert (whole.part, whole.tempi) == ("the whole", ("72", "81", "90"))
    assert whole.remarks == ("Bar 4: Let it ring.",)
    assert whole.command == "trainer play two-ends --tempo 72"


def test_a_drill_without_sections_climbs_as_a_whole() -> None:
    (whole,) = practice_plan(replace(DRILL, sections=())).steps
    assert whole.tempi == ("54", "63", "72", "81", "90")
    assert len(whole.remarks) == 2


def test_no_tempo_is_too_slow_to_feel_and_a_change_of_tempo_keeps_its_ratio() -> None:
    assert practice_plan(replace(DRILL, tempo=40.0)).steps[0].tempi == ("30", "32", "40")
    faster = replace(DRILL, tempo_to=120.0)
    assert practice_plan(faster).steps[0].tempi == ("54 to 72", "72 to 96", "90 to 120")


def test_a_free_clock_has_no_tempi() -> None:
    plan = practice_plan(replace(DRILL, free=True))
    assert not any(step.tempi for step in plan.steps)
    assert "go back" not in plan.rule
    assert plan.steps[-1].command == "trainer play two-ends"


def test_the_sheet_has_the_plan_and_each_remark_once(trainer: Trainer, tmp_path: Path) -> None:
    page = drill_sheet_html(DRILL, with_plan=True)
    assert "Slowly first, then at speed" in page
    assert page.count("Let it ring.") == 1
    assert "Slowly first" not in drill_sheet_html(DRILL)
    out = tmp_path / "plan.txt"
    trainer("drill", "export", "ferry-home", str(out), "--plan")
    assert "Slowly first, then at speed." in out.read_text()
    refused = trainer("drill", "export", "ferry-home", str(tmp_path / "x.mid"), "--plan")
    assert refused.code
    assert "--plan is for sheets" in refused.err
    lines = list(practice_plan_lines(DRILL))
    assert lines[1] == "1. verse, bars 1 to 2: 54, 72, 90 beats a minute"
