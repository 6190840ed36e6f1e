"""Lays out drill files, so that all of them look alike and the tab can be read as music.

Nothing changes but white space: words, comments and the author's line breaks stay. Within a
block of lines that follow each other, bar lines stand under bar lines and, inside a bar, what
starts on the same beat stands in the same column; the sign of a draw note hangs out to the left
of it. Several blank lines become one.
"""

from __future__ import annotations

import re
import stat
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from trainer.core.files import replace_file
from trainer.core.toml_positions import COMMENT_OR_STRING_PATTERN, KEY_PATTERN
from trainer.drill.errors import DrillError, display_width
from trainer.drill.parser import normalize_text, parse_drill
from trainer.drill.tab_words import parse_length
from trainer.drill.tokenizer import split_comment

_PIECE = re.compile(
    rf"{COMMENT_OR_STRING_PATTERN.pattern}|\n|[\[\]{{}}]|[^#\"'\n\[\]{{}}]+", re.DOTALL
)
_HEADER = re.compile(r"\[[ \t]*(.*?)[ \t]*\]\Z")
_AROUND_DOT = re.compile(r"[ \t]*\.[ \t]*")
_BEFORE_COMMENT = 2
_WIDEST = 100
"""Columns; lines of unlike rhythms would get wider if their beats were lined up too."""


def format_drill(source: str, name: str, where: str | None = None) -> str:
    """The text of a drill file as it should be laid out.

    Laying out twice gives the same as once, and the drill in the text stays the same. Lines end
    as the first one does; a byte order mark is left out.

    Args:
        source: the text of a drill file.
        name: what the drill is called.
        where: the file's name for problems; the drill's if none is given.

    Raises:
        DrillError: it is no drill; every problem in it is told.
    """
    drill = parse_drill(source, name, where)
    ends = "\r\n" if "\r\n" in source.partition("\n")[0] + "\n" else "\n"
    text = "\n".join(_without_spare_blanks(_rows(_statements(normalize_text(source))))) + "\n"
    assert parse_drill(text, name) == drill, "laying a drill out must not change it"
    return text.replace("\n", ends)


def overwrite_drill(path: Path, text: str) -> None:
    """Replace a drill file's text atomically and keep the file's permissions.

    Raises:
        DrillError: it cannot be written.
    """
    try:
        replace_file(path, text.encode("utf-8"), mode=stat.S_IMODE(path.stat().st_mode))
    except OSError as error:
        raise DrillError(f"the drill file {path} cannot be written: {error.strerror}") from None


@dataclass
class _Row:
    """A line of a file, or several if a long string stands in it, and the comment at its end."""

    code: str = ""
    comment: str = ""
    inner: bool = False
    """Whether it goes on with a list that an earlier one began."""


def _statements(source: str) -> Iterator[_Row]:
    """The lines of a TOML text that a reader has accepted."""
    row, depth = _Row(), 0
    for found in _PIECE.finditer(source):
        piece = found[0]
        if piece == "\n":
            yield row
            row = _Row(inner=depth > 0)
        elif piece.startswith("#"):
            row.comment = piece
        else:
            depth += piece in ("[", "{")
            depth -= piece in ("]", "}")
            row.code += piece
    yield row


def _rows(statements: Iterable[_Row]) -> Iterator[str]:
    """The lines of the file; comments of lines that follow each other stand in one column."""
    block: list[_Row] = []
    for row in statements:
        code = row.code.rstrip()
        row = _Row(code if row.inner else _statement(code.lstrip()), row.comment.rstrip())
        if not (row.code or row.comment) or "\n" in row.code:
            yield from _with_comments(block)
            yield from _with_comments([row])
            block = []
        else:
            block.append(row)
    yield from _with_comments(block)


def _statement(code: str) -> str:
    if key := KEY_PATTERN.match(code):
        name, value = _AROUND_DOT.sub(".", key[1]), code[key.end() :]
        if name.strip("\"'") in ("tab", "second") and value[:3] in ('"""', "'''"):
            value = _tab(value)
        return f"{name} = {value}"
    if header := _HEADER.match(code):
        return f"[{_AROUND_DOT.sub('.', header[1])}]"
    return code


def _with_comments(rows: list[_Row]) -> Iterator[str]:
    widths = [display_width(row.code.rpartition("\n")[2]) for row in rows]
    most = max(
        (width for row, width in zip(rows, widths, strict=True) if row.code and row.comment),
        default=0,
    )
    for row, width in zip(rows, widths, strict=True):
        gap = most - width + _BEFORE_COMMENT if row.code and row.comment else 0
        yield row.code + " " * gap + row.comment


def _without_spare_blanks(rows: Iterable[str]) -> Iterator[str]:
    """The lines without blank ones at either end, and no two in a row."""
    blank, begun = False, False
    for row in rows:
        if row:
            if blank and begun:
                yield ""
            yield row
            begun = True
        blank = not row


# The tab


@dataclass
class _Cell:
    """What starts on one beat of a bar: directions, or a note, whose draw sign is its head."""

    at: Fraction
    is_note: bool
    head: str
    body: str

    @property
    def column(self) -> tuple[Fraction, bool]:
        """Directions stand before the note of their beat, in a column of their own."""
        return self.at, self.is_note


@dataclass
class _Bar:
    """The signs before a bar, as ``:| |:``, and the part of the bar that stands on one line."""

    sign: str = ""
    cells: list[_Cell] = field(default_factory=list)


def _tab(literal: str) -> str:
    """A long string of tab, laid out between its quotes."""
    quotes, inside = literal[:3], literal[3:-3]
    rows = list(_without_spare_blanks(_tab_rows(inside.split("\n"))))
    if "\n" in inside:
        return "\n".join([quotes, *rows, quotes])
    (row,) = rows
    return f"{quotes}{row}{' ' if row.endswith(quotes[0]) else ''}{quotes}"


def _tab_rows(rows: list[str]) -> Iterator[str]:
    block: list[str] = []
    for row in [*rows, ""]:
        if row.strip():
            block.append(row)
            continue
        yield from _tab_block(block)
        yield ""
        block = []


def _tab_block(rows: list[str]) -> Iterator[str]:
    """Lines that follow each other, with their bars in columns."""
    parted = [split_comment(row) for row in rows]
    words = [[word for _, word in found] for found, _ in parted]
    codes = _music(words, with_beats=True)
    if max(map(len, codes), default=0) > _WIDEST:
        codes = _music(words, with_beats=False)
    comments = (comment.rstrip() for _, comment in parted)
    return _with_comments([_Row(*pair) for pair in zip(codes, comments, strict=True)])


def _music(words: list[list[str]], *, with_beats: bool) -> list[str]:
    """Lines of words with their bars in columns, and their beats too if asked for."""
    music = [_bars(row) for row in words]
    codes = [" ".join(map(_tidied, row)) for row in words]
    aligned = [i for i, row in enumerate(words) if not all(word.startswith("{") for word in row)]
    for i in aligned:
        codes[i] = ""
    for number in range(max((len(music[i]) for i in aligned), default=0)):
        here = {i: music[i][number] for i in aligned if number < len(music[i])}
        signs = _signs({i: bar.sign for i, bar in here.items()})
        placed = _by_beats if with_beats else _one_by_one
        notes = placed({i: bar.cells for i, bar in here.items()})
        width = max(len(codes[i]) for i in aligned)
        for i in here:
            parts = [f"{codes[i]:<{width}}" if width else "", signs[i], notes[i]]
            codes[i] = " ".join(part for part in parts if part).rstrip()
    return codes


def _bars(words: list[str]) -> list[_Bar]:
    """The bars of a line; the first has no sign if the line begins with notes."""
    bars: list[_Bar] = [_Bar()]
    group: list[str] = []
    for word in words:
        if "|" not in word:
            group.append(_tidied(word))
            if _is_whole(group):
                _add(bars[-1], group)
                group = []
            continue
        if group:
            _add(bars[-1], group)
            group = []
        if bars[-1].cells:
            bars.append(_Bar(word))
        else:
            bars[-1].sign = f"{bars[-1].sign} {word}".lstrip()
    if group:
        _add(bars[-1], group)
    return bars


def _is_whole(group: list[str]) -> bool:
    """Whether words make a cell: directions, a note, or all that stands between brackets."""
    return "[" not in group or group[-1].startswith("]")


def _add(bar: _Bar, group: list[str]) -> None:
    """Put words in a bar as one cell."""
    text = " ".join(group).replace("[ ", "[").replace(" ]", "]")
    last = bar.cells[-1] if bar.cells else None
    if last and text.startswith("]"):  # the group began on an earlier line
        last.body += text
        return
    at = last.at + _beats(last) if last else Fraction(0)
    head = text[:1] if text.startswith("-") else ""
    is_note = not text.startswith("{")
    if last and not last.is_note and not is_note:
        last.body += f" {text}"
    else:
        bar.cells.append(_Cell(at, is_note, head, text.removeprefix("-")))


def _beats(cell: _Cell) -> Fraction:
    """How long a cell lasts: the length of its group or of its only note."""
    if not cell.is_note:
        return Fraction(0)
    text = cell.body.rpartition("]")[2] if "]" in cell.body else cell.body
    _, colon, beats = text.partition("{")[0].partition(":")
    return parse_length(beats) if colon else Fraction(1)


def _tidied(word: str) -> str:
    """A word with the white space inside its directions evened out."""

    def tidy(found: re.Match[str]) -> str:
        return "{" + ", ".join(" ".join(one.split()) for one in found[1].split(",")) + "}"

    return re.sub(r"\{([^}]*)\}", tidy, word)


def _signs(signs: dict[int, str]) -> dict[int, str]:
    """Signs by line, one under the other, the upright stroke of each in the same column."""
    hangs = any(sign.startswith(":") for sign in signs.values())
    hung = {
        i: " " + sign if hangs and not sign.startswith(":") else sign for i, sign in signs.items()
    }
    width = max(map(len, hung.values()))
    return {i: f"{sign:<{width}}" for i, sign in hung.items()}


def _one_by_one(lines: dict[int, list[_Cell]]) -> dict[int, str]:
    """Cells by line, a blank between them."""
    hangs = any(line and line[0].head for line in lines.values())
    return {
        i: " " * (hangs and not line[0].head) + " ".join(cell.head + cell.body for cell in line)
        if line
        else ""
        for i, line in lines.items()
    }


def _by_beats(lines: dict[int, list[_Cell]]) -> dict[int, str]:
    """Cells by line, each beat in a column of its own."""
    columns = sorted({cell.column for line in lines.values() for cell in line})
    ends = dict.fromkeys(lines, 0)
    start: dict[tuple[Fraction, bool], int] = {}
    for column in columns:
        inside = {i: cell for i, line in lines.items() for cell in line if cell.column == column}
        least = max(start.values(), default=-1) + 1
        start[column] = max(least, *(ends[i] + len(cell.head) for i, cell in inside.items()))
        for i, cell in inside.items():
            ends[i] = start[column] + len(cell.body) + 1
    rows = {}
    for i, line in lines.items():
        row = ""
        for cell in line:
            row = f"{row:<{start[cell.column] - len(cell.head)}}{cell.head}{cell.body}"
        rows[i] = row
    return rows
