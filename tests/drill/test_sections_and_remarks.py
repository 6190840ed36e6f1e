"""Named sections, and a teacher's words on bars and notes."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.support.command_line import Trainer
from trainer.drill import DrillError, format_drill, move_to_harp, parse_drill, write_drill
from trainer.harp import Harp
from trainer.report.drill_sheet import drill_sheet_html

TEXT = '''title = "Lane"
harp = "C"
tempo = 72
tab = """
4:1 -4:1 5:2 | 5:1 -4:1 4:2 | -2:4 | -1:2 r:2 |
"""

[sections]
verse = "1-2"
"way home" = "3-4"

[remarks]
"bar 3" = "Breathe out before it."
"bar 1 note 2" = "Straight to its pitch."
'''
DRILL = parse_drill(TEXT, "lane")


def test_sections_are_found_by_name() -> None:
    assert DRILL.section("Verse") == (1, 2)
    assert DRILL.section("way home") == (3, 4)
    with pytest.raises(DrillError, match="no section 'bridge'; its sections are verse, way home"):
        DRILL.section("bridge")
    assert DRILL.step_range(*DRILL.section("verse")) == range(0, 6)


def test_remarks_belong_to_a_bar_or_a_note() -> None:
    texts = [DRILL.remarks_on(step) for step in DRILL.steps]
    assert texts[1] == ("Straight to its pitch.",)
    assert texts[6] == ("Breathe out before it.",)
    assert sum(map(len, texts)) == 2


def test_they_are_kept_by_format_writer_and_moves() -> None:
    assert parse_drill(format_drill(TEXT, "lane"), "lane") == DRILL
    assert parse_drill(write_drill(DRILL), "lane") == DRILL
    moved = move_to_harp(DRILL, Harp.of("A"))
    assert (moved.sections, moved.remarks) == (DRILL.sections, DRILL.remarks)


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        ('"3-4"', '"3-9"', "4:.*bars 3 to 9"),
        ('"bar 3"', '"bar 7"', "there is no bar 7: the drill has bars 1 to 4"),
        ('"bar 1 note 2"', '"bar 1 note 4"', "there is no bar 1 note 4: bar 1 has 3 notes"),
        ('"bar 3"', '"measure 3"', "remarks"),
        ('"1-2"', '"first"', "'verse' is bars"),
    ],
)
def test_what_is_not_there_is_said_at_its_place(old: str, new: str, complaint: str) -> None:
    text = TEXT.replace(old, new)
    with pytest.raises(DrillError) as error:
        parse_drill(text, "lane")
    message = str(error.value)
    assert re.search(complaint, message), message
    line = next(i for i, row in enumerate(text.splitlines(), 1) if new in row)
    assert f":{line}:" in message


def test_a_sheet_and_the_page_of_tab_have_them(trainer: Trainer, tmp_path: Path) -> None:
    assert "Bar 3: Breathe out before it." in drill_sheet_html(DRILL)
    path = tmp_path / "lane.toml"
    path.write_text(TEXT, encoding="utf-8")
    shown = trainer("drill", "show", str(path)).out
    assert "Sections: verse (bars 1-2), way home (bars 3-4)." in shown
    assert "Bar 1 note 2: Straight to its pitch." in shown


def test_a_section_is_played_by_its_name(trainer: Trainer, tmp_path: Path) -> None:
    path = tmp_path / "lane.toml"
    path.write_text(TEXT, encoding="utf-8")
    played = trainer("play", str(path), "--player", "--plain", "--bars", "verse")
    assert played.code == 0
    assert "bar 1 of 4" in played.out
    assert "bar 4 of 4" not in played.out
    wrong = trainer("play", str(path), "--player", "--plain", "--bars", "bridge")
    assert "no section 'bridge'" in wrong.err
