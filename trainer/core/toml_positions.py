"""Positions of keys and values in the text of a TOML file.

TOML readers return values without positions. The text of a file that a reader has accepted can be
searched line by line, once comments are blanked and multi-line strings are masked.

Lines and columns are counted from 1.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

KeyPath = tuple[str, ...]
"""A key and the tables that contain it: ``("goal", "tolerance")``."""

_STRING = re.compile(
    r'''"""(?:\\.|[^\\])*?"""(?!")'''
    r"""|'''.*?'''(?!')"""
    r'''|"(?:\\.|[^"\\\n])*"'''
    r"""|'[^'\n]*'""",
    re.DOTALL,
)
COMMENT_OR_STRING_PATTERN = re.compile(rf"#[^\n]*|{_STRING.pattern}", re.DOTALL)
"""A comment to the end of its line, or a string of any of the four kinds."""
_SIMPLE_KEY = r"""(?:[\w-]+|"[^"\n]*"|'[^'\n]*')"""
_DOTTED_KEY = rf"{_SIMPLE_KEY}(?:[ \t]*\.[ \t]*{_SIMPLE_KEY})*"
KEY_PATTERN = re.compile(rf"[ \t]*({_DOTTED_KEY})[ \t]*=[ \t]*")
"""A key, which is group 1, and the equals sign after it, at the beginning of a line."""
_MAX_KEY_PARTS = 50
_OVERDEEP_KEY = re.compile(
    rf"(?:^|[{{,])[ \t\[]*{_SIMPLE_KEY}(?:[ \t]*\.[ \t]*{_SIMPLE_KEY}){{{_MAX_KEY_PARTS}}}", re.M
)
_TABLE_HEADER = re.compile(rf"[ \t]*\[[ \t]*({_DOTTED_KEY})[ \t]*\][ \t]*\Z")


@dataclass(frozen=True, slots=True)
class Span:
    """Part of one line of a text.

    Attributes:
        line, column: position of the first character.
        length: number of characters.
    """

    line: int
    column: int
    length: int


@dataclass(frozen=True, slots=True)
class KeySpans:
    """Positions of a key and of the first line of its value."""

    key: Span
    value: Span


def key_spans(source: str) -> dict[KeyPath, KeySpans]:
    """Return the positions of all keys that begin a line, and of table headers.

    Keys inside inline tables are not included.

    Args:
        source: valid TOML with plain line ends.
    """
    spans: dict[KeyPath, KeySpans] = {}
    table: KeyPath = ()
    for number, line in enumerate(_masked(source).split("\n"), start=1):
        if header := _TABLE_HEADER.match(line):
            table = _key_path(header[1])
            span = _group_span(number, header, 1)
            spans[table] = KeySpans(span, span)
        elif key := KEY_PATTERN.match(line):
            value = Span(number, key.end() + 1, len(line[key.end() :].rstrip()))
            spans[table + _key_path(key[1])] = KeySpans(_group_span(number, key, 1), value)
    return spans


def find_overdeep_key(source: str) -> int | None:
    """Return the line of a dotted key with more than 50 parts, if there is one.

    The time of a TOML reader grows with the square of the number of parts.
    """
    match = _OVERDEEP_KEY.search(source)
    return source.count("\n", 0, match.end()) + 1 if match else None


def string_content_at(source: str, span: Span) -> tuple[str, int, int] | None:
    """Return the content of the string that begins at a span, escapes unchanged.

    Returns:
        The content and the line and column of its first character; None if no string begins
        there.
    """
    lines = source.split("\n")
    offset = sum(len(line) + 1 for line in lines[: span.line - 1]) + span.column - 1
    match = _STRING.match(source, offset)
    if not match:
        return None
    quotes = 3 if match[0][:3] in ('"""', "'''") and len(match[0]) >= 6 else 1
    content = match[0][quotes:-quotes]
    if quotes == 3 and content.startswith("\n"):
        return content[1:], span.line + 1, 1
    return content, span.line, span.column + quotes


def _masked(source: str) -> str:
    """Return the text with comments blanked and multi-line strings masked, positions unchanged."""

    def mask(match: re.Match[str]) -> str:
        if match[0].startswith("#"):
            return " " * len(match[0])
        return re.sub(r"[^\n]", '"', match[0]) if "\n" in match[0] else match[0]

    return COMMENT_OR_STRING_PATTERN.sub(mask, source)


def _key_path(dotted: str) -> KeyPath:
    return tuple(part.strip("\"'") for part in re.findall(_SIMPLE_KEY, dotted))


def _group_span(line: int, match: re.Match[str], group: int) -> Span:
    return Span(line, match.start(group) + 1, len(match[group]))
