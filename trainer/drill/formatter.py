"""Formatter of drill files: a uniform layout, with the tab in columns.

Only white space and former names of directions change: other words, comments and line breaks stay.
Within a block of consecutive lines, bar lines are aligned, and inside a bar notes on the same beat
start in the same column; the sign of a draw note is to the left of it. Several blank lines become
one.
"""

from __future__ import annotations

import re
import stat
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from trainer.core.files import replace_file
from trainer.core.problems import display_width
from trainer.core.text_files import normalize_text
from trainer.core.toml_positions import COMMENT_OR_STRING_PATTERN, KEY_PATTERN
from trainer.drill.errors import DrillError
from trainer.drill.ground_text import format_ground
from trainer.drill.parser import parse_drill
from trainer.drill.tab_words import FORMER_DIRECTIONS, parse_length
from trainer.drill.tokenizer import split_comment

_TOML_PIECE = re.compile(
    rf"{COMMENT_OR_STRING_PATTERN.pattern}|\n|[\[\]{{}}]|[^#\"'\n\[\]{{}}]+", re.DOTALL
)
_HEADER = re.compile(r"\[[ \t]*(.*?)[ \t]*\]\Z")
_AROUND_DOT = re.compile(r"[ \t]*\.[ \t]*")
_COMMENT_GAP = 2
"""Minimum number of spaces before a comment."""
_MAX_COLUMNS = 100
"""Maximum width of a line with aligned beats; wider blocks have only their bars aligned."""


def format_drill(source: str, name: str, where: str | None = None) -> str:
    """Return the formatted text of a drill file.

    Formatting is idempotent and does not change the drill. All lines end like the first one; a
    byte order mark is removed.

    Args:
        source: the text of a drill file.
        name: name of the drill.
        where: name of the file in problems; None takes the drill's name.

    Raises:
        DrillError: it is not a valid drill; it lists all problems.
    """
    drill = parse_drill(source, name, where)
    ends = "\r\n" if "\r\n" in source.partition("\n")[0] + "\n" else "\n"
    text = (
        "\n".join(_collapse_blank_lines(_format_rows(_split_rows(normalize_text(source))))) + "\n"
    )
    assert parse_drill(text, name) == drill, "formatting must not change a drill"
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
    """A line of a file, or several lines with a multi-line string, and its comment.

    Attributes:
        code: the text without the comment.
        comment: the comment with its sign; empty for none.
        inner: whether it continues a list or table of an earlier row.
    """

    code: str = ""
    comment: str = ""
    inner: bool = False


def _split_rows(source: str) -> Iterator[_Row]:
    """Split valid TOML into its rows."""
    row, depth = _Row(), 0
    for match in _TOML_PIECE.finditer(source):
        piece = match[0]
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


def _format_rows(rows: Iterable[_Row]) -> Iterator[str]:
    """Return the formatted lines, with the comments of consecutive lines in one column."""
    block: list[_Row] = []
    for row in rows:
        code = row.code.rstrip()
        row = _Row(code if row.inner else _format_statement(code.lstrip()), row.comment.rstrip())
        if not (row.code or row.comment) or "\n" in row.code:
            yield from _align_comments(block)
            yield from _align_comments([row])
            block = []
        else:
            block.append(row)
    yield from _align_comments(block)


def _format_statement(code: str) -> str:
    if key := KEY_PATTERN.match(code):
        name, value = _AROUND_DOT.sub(".", key[1]), code[key.end() :]
        if name.strip("\"'") in ("tab", "second") and value[:3] in ('"""', "'''"):
            value = _format_tab(value)
        elif name == "chords" and value[:3] in ('"""', "'''") and "\n" in value:
            value = f"{value[:3]}\n{format_ground(value[3:-3].strip())}\n{value[:3]}"
        return f"{name} = {value}"
    if header := _HEADER.match(code):
        return f"[{_AROUND_DOT.sub('.', header[1])}]"
    return code


def _align_comments(rows: list[_Row]) -> Iterator[str]:
    widths = [display_width(row.code.rpartition("\n")[2]) for row in rows]
    column = max(
        (width for row, width in zip(rows, widths, strict=True) if row.code and row.comment),
        default=0,
    )
    for row, width in zip(rows, widths, strict=True):
        gap = column - width + _COMMENT_GAP if row.code and row.comment else 0
        yield row.code + " " * gap + row.comment


def _collapse_blank_lines(rows: Iterable[str]) -> Iterator[str]:
    """Return the lines without blank lines at either end and without two in succession."""
    pending, started = False, False
    for row in rows:
        if row:
            if pending and started:
                yield ""
            yield row
            started = True
        pending = not row


# The tab


@dataclass
class _Cell:
    """Directions or a note on one beat of a bar; the draw sign of a note is its head."""

    at: Fraction
    is_note: bool
    head: str
    body: str

    @property
    def column(self) -> tuple[Fraction, bool]:
        """Sort key of the column; directions have their own before the note of their beat."""
        return self.at, self.is_note


@dataclass
class _Bar:
    """The signs before a bar, such as ``:| |:``, and the cells of the bar on one line."""

    sign: str = ""
    cells: list[_Cell] = field(default_factory=list)


def _format_tab(literal: str) -> str:
    """Format a string of tab between its quotes."""
    quotes, inside = literal[:3], literal[3:-3]
    rows = list(_collapse_blank_lines(_format_tab_rows(inside.split("\n"))))
    if "\n" in inside:
        return "\n".join([quotes, *rows, quotes])
    (row,) = rows
    return f"{quotes}{row}{' ' if row.endswith(quotes[0]) else ''}{quotes}"


def _format_tab_rows(rows: list[str]) -> Iterator[str]:
    block: list[str] = []
    for row in [*rows, ""]:
        if row.strip():
            block.append(row)
            continue
        yield from _format_tab_block(block)
        yield ""
        block = []


def _format_tab_block(rows: list[str]) -> Iterator[str]:
    """Format consecutive lines of tab with their bars in columns."""
    parsed_rows = [split_comment(row) for row in rows]
    words = [[word for _, word in tokens] for tokens, _ in parsed_rows]
    codes = _align(words, with_beats=True)
    if max(map(len, codes), default=0) > _MAX_COLUMNS:
        codes = _align(words, with_beats=False)
    comments = (comment.rstrip() for _, comment in parsed_rows)
    return _align_comments([_Row(*pair) for pair in zip(codes, comments, strict=True)])


def _align(words: list[list[str]], *, with_beats: bool) -> list[str]:
    """Return lines of words with their bars in columns, optionally with their beats, too."""
    bars = [_parse_bars(row) for row in words]
    codes = [" ".join(map(_normalize_directions, row)) for row in words]
    aligned = [i for i, row in enumerate(words) if not all(word.startswith("{") for word in row)]
    for i in aligned:
        codes[i] = ""
    for number in range(max((len(bars[i]) for i in aligned), default=0)):
        column = {i: bars[i][number] for i in aligned if number < len(bars[i])}
        signs = _align_signs({i: bar.sign for i, bar in column.items()})
        format_cells = _align_beats if with_beats else _join_cells
        notes = format_cells({i: bar.cells for i, bar in column.items()})
        width = max(len(codes[i]) for i in aligned)
        for i in column:
            parts = [f"{codes[i]:<{width}}" if width else "", signs[i], notes[i]]
            codes[i] = " ".join(part for part in parts if part).rstrip()
    return codes


def _parse_bars(words: list[str]) -> list[_Bar]:
    """Return the bars of a line; the first has no sign if the line begins with notes."""
    bars: list[_Bar] = [_Bar()]
    group: list[str] = []
    for word in words:
        if "|" not in word:
            group.append(_normalize_directions(word))
            if _is_complete(group):
                _add_cell(bars[-1], group)
                group = []
            continue
        if group:
            _add_cell(bars[-1], group)
            group = []
        if bars[-1].cells:
            bars.append(_Bar(word))
        else:
            bars[-1].sign = f"{bars[-1].sign} {word}".lstrip()
    if group:
        _add_cell(bars[-1], group)
    return bars


def _is_complete(group: list[str]) -> bool:
    """Whether words form a cell: directions, a note with its grace, a group with both brackets."""
    if group[-1].startswith("^"):
        return False
    return "[" not in group or group[-1].startswith("]")


def _add_cell(bar: _Bar, group: list[str]) -> None:
    """Add words to a bar as one cell."""
    text = " ".join(group).replace("[ ", "[").replace(" ]", "]")
    last = bar.cells[-1] if bar.cells else None
    if last and text.startswith("]"):  # the group began on an earlier line
        last.body += text
        return
    at = last.at + _cell_beats(last) if last else Fraction(0)
    head = text[:1] if text.startswith("-") else ""
    is_note = not text.startswith("{")
    if last and not last.is_note and not is_note:
        last.body += f" {text}"
    else:
        bar.cells.append(_Cell(at, is_note, head, text.removeprefix("-")))


def _cell_beats(cell: _Cell) -> Fraction:
    """Return the length of a cell: that of its group or of its note; 0 of a mere grace note."""
    if not cell.is_note or (cell.body.startswith("^") and " " not in cell.body):
        return Fraction(0)
    text = cell.body.rpartition("]")[2] if "]" in cell.body else cell.body
    _, colon, beats = text.partition("{")[0].partition(":")
    return parse_length(beats) if colon else Fraction(1)


def _normalize_directions(word: str) -> str:
    """Return a word with uniform white space and present names inside its directions."""

    def normalize(match: re.Match[str]) -> str:
        directions = (" ".join(direction.split()) for direction in match[1].split(","))
        renamed = (FORMER_DIRECTIONS.get(direction, direction) for direction in directions)
        return "{" + ", ".join(renamed) + "}"

    return re.sub(r"\{([^}]*)\}", normalize, word)


def _align_signs(signs: dict[int, str]) -> dict[int, str]:
    """Return bar signs by line, with their vertical strokes in the same column."""
    indent = any(sign.startswith(":") for sign in signs.values())
    indented = {
        i: " " + sign if indent and not sign.startswith(":") else sign for i, sign in signs.items()
    }
    width = max(map(len, indented.values()))
    return {i: f"{sign:<{width}}" for i, sign in indented.items()}


def _join_cells(lines: dict[int, list[_Cell]]) -> dict[int, str]:
    """Return cells by line, separated by a space."""
    indent = any(line and line[0].head for line in lines.values())
    return {
        i: " " * (indent and not line[0].head) + " ".join(cell.head + cell.body for cell in line)
        if line
        else ""
        for i, line in lines.items()
    }


def _align_beats(lines: dict[int, list[_Cell]]) -> dict[int, str]:
    """Return cells by line, with one column for each beat."""
    columns = sorted({cell.column for line in lines.values() for cell in line})
    ends = dict.fromkeys(lines, 0)
    start: dict[tuple[Fraction, bool], int] = {}
    for column in columns:
        cells = {i: cell for i, line in lines.items() for cell in line if cell.column == column}
        leftmost = max(start.values(), default=-1) + 1
        start[column] = max(leftmost, *(ends[i] + len(cell.head) for i, cell in cells.items()))
        for i, cell in cells.items():
            ends[i] = start[column] + len(cell.body) + 1
    rows = {}
    for i, line in lines.items():
        row = ""
        for cell in line:
            row = f"{row:<{start[cell.column] - len(cell.head)}}{cell.head}{cell.body}"
        rows[i] = row
    return rows
