"""Plain tab as players write it: each way, the same notes. The ways are common practice."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.support.command_line import Trainer
from trainer.drill import DrillError, parse_drill, read_drill, rewrite_tab_word
from trainer.exchange import ExchangeError, read_tab_text

TUNE = (("4", "-4", "5"), ("-4'", "4", "4+5", "-1"))
WAYS = {
    "plus": "+4 -4 +5\n-4' +4 (45) -1\n",
    "letters": "4b 4d 5b\n4d' 4b 45b 1d\n",
    "bend letters": "4 -4 5\n-4b 4 45 -1\n",
    "brackets": "4 (4) 5\n(4') 4 45 (1)\n",
    "arrows": "↑4 ↓4 ↑5\n↓4' ↑4 ↑45 ↓1\n",
    "arrows behind": "4↑ 4↓ 5↑\n4'↓ 4↑ 45↑ 1↓\n",
    "typographic": "4 −4 5\n–4’ 4 4+5 -1\n",
    "commas": "4, -4, 5,\n-4', 4, 4+5, -1.\n",
}


@pytest.mark.parametrize("way", WAYS)
def test_each_way_gives_the_same_notes(way: str, tmp_path: Path) -> None:
    path = tmp_path / "tune.txt"
    path.write_text(f"Herring Lane, for the class\n\n{WAYS[way]}", encoding="utf-8")
    assert read_tab_text(path).lines == TUNE


@pytest.mark.parametrize(
    ("written", "here"),
    {
        **{"10": "10", "-10": "-10", "+10": "10", "910": "9+10", "(9 10)": "9+10"},
        **{'-3"': "-3''", "-3''": "-3''", "-3bb": "-3''", "-3bbb": "-3'''", "-3B": "-3'"},
        **{"6o": "6o", "+6o": "6o", "6ob": "6o", "-7o": "-7o", "-7od": "-7o"},
        **{"-(34)": "-3+4", "(-3-4)": "-3+4", "-34": "-3+4", "(123)": "1+2+3", "8'": "8'"},
    }.items(),
)
def test_single_words(written: str, here: str) -> None:
    assert rewrite_tab_word(written.replace(" ", "")) == here


@pytest.mark.parametrize("word", ["0", "44", "the", "-", "", "()", "4x", "1234567891011", "45'"])
def test_what_is_no_tab(word: str) -> None:
    assert rewrite_tab_word(word) is None


def test_words_of_a_song_and_titles_are_left_out(tmp_path: Path) -> None:
    path = tmp_path / "song.txt"
    path.write_text(
        "The boats come in at 4 today\n4 5 6 -6 6\nand all the lamps are lit\n-5 5 -4 4\n",
        encoding="utf-8",
    )
    assert read_tab_text(path).lines == (("4", "5", "6", "-6", "6"), ("-5", "5", "-4", "4"))


def test_a_draw_sign_makes_b_a_bend_beside_letters_too(tmp_path: Path) -> None:
    path = tmp_path / "mixed.txt"
    path.write_text("4b 5b 4d -4b -3bb 6ob\n", encoding="utf-8")
    assert read_tab_text(path).lines == (("4", "5", "-4", "-4'", "-3''", "6o"),)


def test_words_with_a_digit_that_are_no_tab_are_named(trainer: Trainer, tmp_path: Path) -> None:
    path = tmp_path / "lane.txt"
    path.write_text("Herring Lane\n4 -4 5x 5\nx3 44 4 -4 5 la\n", encoding="utf-8")
    answer = trainer("drill", "import", str(path))
    assert answer.code == 0
    assert answer.err == (
        "Left out, because it is no tab: '5x' (line 2), 'x3' (line 3), '44' (line 3).\n"
    )


def test_the_command_writes_a_drill_that_reads_back(trainer: Trainer, tmp_path: Path) -> None:
    source, out = tmp_path / "lane.txt", tmp_path / "lane.toml"
    source.write_text(WAYS["letters"], encoding="utf-8")
    answer = trainer("drill", "import", str(source), "--out", str(out), "--harp", "A")
    assert answer.code == 0
    drill = read_drill(out)
    assert (drill.key, drill.title) == ("A", "lane")
    assert [step.tab for step in drill.steps] == [note for line in TUNE for note in line]
    assert {float(step.beats) for step in drill.steps} == {1.0}
    assert trainer("drill", "check", str(out)).code == 0


def test_what_cannot_be_read_is_said(tmp_path: Path) -> None:
    path = tmp_path / "words.txt"
    path.write_text("no tab in here\n", encoding="utf-8")
    with pytest.raises(ExchangeError, match=r"words\.txt has no line of tab; write notes such as"):
        read_tab_text(path)
    with pytest.raises(ExchangeError, match="cannot be read: the file is missing"):
        read_tab_text(tmp_path / "none.txt")
    path.write_text("4 -4\n" * 2001, encoding="utf-8")
    with pytest.raises(ExchangeError, match="4002 notes; split it"):
        read_tab_text(path)
    path.write_text("4 -5' 6\n", encoding="utf-8")
    with pytest.raises(DrillError, match="hole 5 draw bends by less"):
        read_tab_text(path).drill_text("T", "C", "richter")


@pytest.mark.parametrize(
    ("written", "here"), [("+4", "4"), ("-45", "-4+5"), ("4d", "-4"), ("-4b", "-4'")]
)
def test_a_drill_file_in_another_way_gets_told_what_to_write(written: str, here: str) -> None:
    text = f'title = "T"\nharp = "C"\ntempo = 60\ntab = "{written}:1 4:3 |"\n'
    with pytest.raises(DrillError, match=re.escape(f"write {here} for ")):
        parse_drill(text, "t")
