"""Where the keys of a TOML file stand in its text.

TOML readers give values without their places. A file that one of them has accepted can be
searched line by line, once comments and the insides of long strings are out of the way.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

KeyPath = tuple[str, ...]
"""A key and the tables it lies in: ``("goal", "tolerance")``."""

_LITERAL = re.compile(
    r'''"""(?:\\.|[^\\])*?"""(?!")'''
    r"""|'''.*?'''(?!')"""
    r'''|"(?:\\.|[^"\\\n])*"'''
    r"""|'[^'\n]*'""",
    re.DOTALL,
)
COMMENT_OR_LITERAL_PATTERN = re.compile(rf"#[^\n]*|{_LITERAL.pattern}", re.DOTALL)
_NAME = r"""(?:[\w-]+|"[^"\n]*"|'[^'\n]*')"""
_NAMES = rf"{_NAME}(?:[ \t]*\.[ \t]*{_NAME})*"
KEY_PATTERN = re.compile(rf"[ \t]*({_NAMES})[ \t]*=[ \t]*")
_DEEPEST = 50
_DEEP_KEY = re.compile(rf"(?:^|[{{,])[ \t\[]*{_NAME}(?:[ \t]*\.[ \t]*{_NAME}){{{_DEEPEST}}}", re.M)
_TABLE = re.compile(rf"[ \t]*\[[ \t]*({_NAMES})[ \t]*\][ \t]*\Z")


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of one line of a text.

    Attributes:
        line, column: where it starts, from 1.
        length: its characters.
    """

    line: int
    column: int
    length: int


@dataclass(frozen=True, slots=True)
class KeySpans:
    """Where a key stands, and what it is set to (its first line)."""

    key: Span
    value: Span


def key_spans(source: str) -> dict[KeyPath, KeySpans]:
    """The place of each key of a TOML text, as far as it stands on a line of its own.

    Keys inside inline tables are not found; their table is.
    """
    found: dict[KeyPath, KeySpans] = {}
    table: KeyPath = ()
    for number, line in enumerate(_bare(source).split("\n"), start=1):
        if header := _TABLE.match(line):
            table = _path(header[1])
            found[table] = KeySpans(_span(number, header, 1), _span(number, header, 1))
        elif key := KEY_PATTERN.match(line):
            value = Span(number, key.end() + 1, len(line[key.end() :].rstrip()))
            found[table + _path(key[1])] = KeySpans(_span(number, key, 1), value)
    return found


def find_overdeep_key(source: str) -> int | None:
    """The line of a key with so many parts that a TOML reader's time grows with their square."""
    found = _DEEP_KEY.search(source)
    return source.count("\n", 0, found.end()) + 1 if found else None


def string_content_at(source: str, span: Span) -> tuple[str, int, int] | None:
    """The inside of the string that starts at a span, as it is written.

    Returns:
        Its text with nothing unescaped, and the line and column it starts at; None if no
        string starts there.
    """
    lines = source.split("\n")
    offset = sum(len(line) + 1 for line in lines[: span.line - 1]) + span.column - 1
    found = _LITERAL.match(source, offset)
    if not found:
        return None
    quotes = 3 if found[0][:3] in ('"""', "'''") and len(found[0]) >= 6 else 1
    inside = found[0][quotes:-quotes]
    if quotes == 3 and inside.startswith("\n"):
        return inside[1:], span.line + 1, 1
    return inside, span.line, span.column + quotes


def _bare(source: str) -> str:
    """The text with comments blanked and long strings filled, every other place unchanged."""

    def fill(found: re.Match[str]) -> str:
        if found[0].startswith("#"):
            return " " * len(found[0])
        return re.sub(r"[^\n]", '"', found[0]) if "\n" in found[0] else found[0]

    return COMMENT_OR_LITERAL_PATTERN.sub(fill, source)


def _path(names: str) -> KeyPath:
    return tuple(name.strip("\"'") for name in re.findall(_NAME, names))


def _span(line: int, found: re.Match[str], group: int) -> Span:
    return Span(line, found.start(group) + 1, len(found[group]))
