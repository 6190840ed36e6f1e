"""The door of all lines: what reaches a terminal cannot steer it."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest

from tests.support.command_line import Trainer
from trainer.core.printable import (
    PrintableStream,
    filtered_output,
    printable,
    printable_lines,
    raw_stream,
)

UNSAFE = [
    *("\x1b", "\x07", "\x00", "\x08", "\x7f", "\x9b", "\udc80"),
    *("\u202e", "\u2066", "\u200f", "\u061c"),
]


@pytest.mark.parametrize("character", UNSAFE)
def test_each_unsafe_character_is_replaced(character: str) -> None:
    assert printable(f"a{character}b") == "a\ufffdb"
    assert printable_lines(f"a{character}b\n") == "a\ufffdb\n"


def test_lines_keep_their_ends_and_tabs_and_one_line_does_not() -> None:
    assert printable_lines("a\tb\r\nc\n") == "a\tb\nc\n"
    assert printable("a\tb\nc") == "a\ufffdb\ufffdc"
    assert printable_lines("mark\rfake") == "mark\ufffdfake"
    assert printable_lines("\rover") == "\rover"


def test_other_scripts_and_signs_stay() -> None:
    assert printable("Ærøskøbing 港 ▶ −4′") == "Ærøskøbing 港 ▶ −4′"


def test_the_streams_are_filtered_only_while_the_door_is_open() -> None:
    before = sys.stdout
    with filtered_output():
        assert isinstance(sys.stdout, PrintableStream)
        assert raw_stream(sys.stdout) is before
    assert sys.stdout is before


def test_a_stream_takes_text_only_and_passes_the_rest_on() -> None:
    raw = io.StringIO()
    stream = PrintableStream(raw)
    assert stream.write("\x1b[2J") == 4
    stream.writelines(["a", "\x9b"])
    assert raw.getvalue() == "\ufffd[2Ja\ufffd"
    with pytest.raises(TypeError):
        stream.write(b"x")  # type: ignore[arg-type]
    assert not stream.isatty()


@pytest.mark.parametrize(
    "words",
    [
        ("mark", "{file}", "--drill", "harbour-bell"),
        ("tab", "{file}"),
        ("report", "{file}", "--drill", "harbour-bell", "--out", "r.json"),
        ("play", "{file}"),
        ("drill", "show", "{file}"),
        ("drill", "import", "{file}"),
        ("loop", "{file}"),
        ("harp", "{file}"),
        ("harp", "C", "--tuning", "{file}"),
        ("settings", "set", "{file}", "1"),
        ("journal", "import", "{file}"),
    ],
    ids=lambda words: "-".join(words[:2]),
)
def test_no_name_given_to_a_command_reaches_the_terminal_raw(
    words: tuple[str, ...], trainer: Trainer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    evil = "x\x1b]0;owned\x07\x1b[2J\u202egpj.wav"
    answer = trainer(*(word.replace("{file}", evil) for word in words))
    assert answer.code != 0
    shown = answer.out + answer.err
    assert shown
    assert not any(c in shown for c in "\x1b\x07\u202e")
