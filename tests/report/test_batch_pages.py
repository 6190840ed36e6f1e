"""Pages of a whole class: made with the marks, made again when something changes, remarks kept."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest

from tests.support.command_line import Trainer
from tests.support.evening_class import DRILL
from trainer.core import TrainerError
from trainer.report.recording_page import page_names
from trainer.report.remarks import add_remark, read_remarks, remarks_path


def test_pages_follow_the_take_and_the_teachers_words(
    folder: Path, tmp_path: Path, trainer: Trainer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "class" / "anna").mkdir(parents=True)
    take, page = tmp_path / "class" / "anna" / "take.wav", tmp_path / "pages" / "anna.html"
    shutil.copy(folder / "jorun.wav", take)
    words = ("mark", "class", "--drill", DRILL.name, "--jobs", "1", "--out", "marks")
    words += ("--reports", "pages", "--class", "class.html", "--force")
    assert trainer(*words).code == 0
    first = page.read_text(encoding="utf-8")
    assert "<strong>anna</strong>" in first
    assert "last time" not in first
    assert '<a href="pages/anna.html">anna</a>' in Path("class.html").read_text(encoding="utf-8")
    assert "1 of 1 have results" in trainer(*words).err
    assert page.read_text(encoding="utf-8") == first

    own = "Lovely tone.\n\nListen to *bar 2* & breathe.\n"
    (tmp_path / "pages" / "anna.remarks.md").write_text(own)
    shutil.copy(folder / "marit.wav", take)
    assert "have results" not in trainer(*words).err
    second = page.read_text(encoding="utf-8")
    assert "<p>Listen to *bar 2* &amp; breathe.</p>" in second
    assert (tmp_path / "pages" / "anna.remarks.md").read_text() == own
    assert ">Listen to *bar 2* &amp; breathe.</td>" in Path("class.html").read_text()
    (stored,) = (json.loads(path.read_text()) for path in (tmp_path / "marks").iterdir())
    last = stored["last_time"]
    assert last["score"] < stored["score"]
    rows = re.findall(r'<th scope="row">mark</th><td>(\d+)</td><td>(\d+)</td>', second)
    assert rows == [(str(int(last["score"])), str(int(stored["score"])))]


def test_a_report_takes_a_remark_and_compares_with_a_result(
    folder: Path, tmp_path: Path, trainer: Trainer
) -> None:
    recording, out = str(folder / "jorun.wav"), str(tmp_path / "anna.html")
    result = tmp_path / "last.json"
    result.write_text(
        json.dumps({"score": 41.0, "passed": False, "parts": {"pitch": 30.0}, "scores": {"0": 9.0}})
    )
    words = ("report", recording, "--drill", DRILL.name, "--out", out)
    done = trainer(*words, "--remark", "Breathe <low>.", "--last", str(result), "--student", "Anna")
    assert done.code == 0, done.err
    page = (tmp_path / "anna.html").read_text(encoding="utf-8")
    assert "<p>Breathe &lt;low&gt;.</p>" in page
    assert "last time 41" in page
    assert "<strong>Anna</strong>" in page
    result.write_text("[]")
    assert (
        "is not a result of 'trainer mark" in trainer(*words, "--force", "--last", str(result)).err
    )


def test_remarks_are_added_to_and_never_changed(tmp_path: Path) -> None:
    path = remarks_path(tmp_path / "anna.html")
    assert path.name == "anna.remarks.md"
    assert read_remarks(path) == ()
    add_remark(path, " Lovely tone. ")
    add_remark(path, "Slower.")
    path.write_text(path.read_text() + "\nby hand,\non two lines\n")
    add_remark(path, "Last.")
    assert read_remarks(path) == ("Lovely tone.", "Slower.", "by hand, on two lines", "Last.")
    path.write_bytes(b"\xff")
    for work in (lambda: read_remarks(path), lambda: add_remark(path, "x")):
        with pytest.raises(TrainerError, match="not UTF-8"):
            work()
    assert path.read_bytes() == b"\xff"


def test_no_two_pages_share_a_file() -> None:
    names = [
        "Anna",
        "anna",
        "An na",
        "An/na",
        "con",
        "CON",
        "..",
        "",
        "\N{CYRILLIC SMALL LETTER A}",
    ]
    pages = page_names(names)
    assert pages[:3] == ["Anna.html", "anna-2.html", "An-na.html"]
    assert len({page.casefold() for page in pages}) == len(names)
    assert not any(page.startswith((".", "con.", "CON.")) or "/" in page for page in pages)
