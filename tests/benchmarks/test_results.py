"""Sections of RESULTS.md are replaced by name, and the others stay."""

from __future__ import annotations

import argparse
from pathlib import Path

import pytest

from benchmarks import results


def test_a_section_is_added_in_order_and_replaced(tmp_path: Path) -> None:
    file = tmp_path / "RESULTS.md"
    for name, text in (("b", "one"), ("a", "two"), ("b", "three"), ("c", "four")):
        results.store(f"## benchmarks.{name}\n\n{text}\n", file)
    written = file.read_text()
    assert written.startswith("# Results of the benchmarks\n")
    sections = [line for line in written.splitlines() if line.startswith("## ")]
    assert sections == ["## benchmarks.a", "## benchmarks.b", "## benchmarks.c"]
    assert "one" not in written
    assert "three" in written
    assert written.endswith("four\n")


def test_text_of_the_file_stays(tmp_path: Path) -> None:
    file = tmp_path / "RESULTS.md"
    file.write_text("# Mine\n\nIntroduction.\n\n## A history\n\nOld figures.\n")
    results.store("## benchmarks.a\n\nnew\n", file)
    assert "Introduction." in file.read_text()
    assert "## A history\n\nOld figures." in file.read_text()


def test_a_section_names_command_material_and_machine(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.setattr("sys.argv", ["/some/path/guessed.py", "--tunes", "4", "--record"])
    monkeypatch.setattr(results, "RESULTS", tmp_path / "RESULTS.md")
    output = results.Results("benchmarks.x", "four tunes", "nothing")
    output.print("a table")
    output.finish(argparse.Namespace(record=False))
    assert not results.RESULTS.exists()
    output.finish(argparse.Namespace(record=True))
    assert capsys.readouterr().out == "a table\n"
    section = results.RESULTS.read_text()
    assert "- Command: `python -m benchmarks.x --tunes 4`" in section
    assert "- Material: four tunes" in section
    assert "- Known: nothing" in section
    assert "cores" in section
    assert "```text\na table\n```" in section
    assert "/some/path" not in section
