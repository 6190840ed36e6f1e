"""The words of a tab text, and its repeats written out."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from trainer.drill.errors import Problem

MAX_REPEATS = 16
MAX_SOUNDS = 4000
"""Notes, rests and ties: more than any drill needs, repeats written out."""
MAX_TOKENS = 5 * MAX_SOUNDS
"""These with bar lines, directions and brackets."""
_TOKEN = re.compile(
    r"\|:|:\|[0-9]*|\|[0-9]+\.(?!\S)|\||\[|\](?::[^\s|\[\]{}]*)?|\{[^}]*\}?|\}"
    r"|(?:(?!:\|)[^\s|\[\]{}])+(?:\{[^}]*\}?)*"
)
_FIGURES = 4
"""More than the number of an ending or of times can have."""


@dataclass(frozen=True, slots=True)
class Token:
    """A word of a tab text, and where it stands, from 1."""

    text: str
    line: int
    column: int

    def problem(self, message: str) -> Problem:
        """A problem with it."""
        return Problem(self.line, self.column, len(self.text), message)


def tokenize(text: str, line: int = 1, column: int = 1) -> list[Token]:
    """The words of a tab text, comments left out.

    Args:
        text: the tab.
        line, column: where it starts, from 1.
    """
    found = []
    for number, row in enumerate(text.split("\n")):
        words, _ = split_comment(row)
        shift = column if number == 0 else 1
        found += [Token(word, line + number, shift + start) for start, word in words]
    return found


def split_comment(row: str) -> tuple[list[tuple[int, str]], str]:
    """The words of one line of a tab, each with where it starts from 0, and the line's comment."""
    music, sign, words = row.partition("#")
    return [(found.start(), found[0]) for found in _TOKEN.finditer(music)], sign + words


def expand_repeats(given: list[Token], problems: list[Problem]) -> list[Token]:
    """The tokens as they are played, each repeat written out."""
    done: list[Token] = []
    part = done  # where tokens go: what is done, or a passage that is still to be repeated
    body: list[Token] = []  # up to the first ending
    opened: Token | None = None
    ending, closed = 0, False  # the ending that is read, or was closed last
    for token in given:
        text = token.text
        if text == "|:":
            if opened and _needs_closing(ending, closed):
                problems.append(token.problem("a repeat inside a repeat; close the first with :|"))
            if part is not done:
                done += part
            _bar(done, token)
            part, opened, ending, closed = [], token, 0, False
        elif text.startswith(":|"):
            _bar(part, token)
            if not opened or closed:
                problems.append(token.problem("nothing to repeat; open the passage with |:"))
            elif ending:
                if text != ":|":
                    problems.append(token.problem("endings are played once each; write only :|"))
                done += [*part, *body]
                part, closed = [], True
            else:
                done += part * _times(token, problems)
                part, opened = done, None
        elif text.startswith("|") and text != "|":
            _bar(part, token)
            if not opened or _number(text[1:-1]) != ending + 1 or (ending and not closed):
                problems.append(token.problem(_not_an_ending(opened, ending, closed)))
                continue
            if not ending:
                body = part
                done += body
            part, ending, closed = [], ending + 1, False
        elif text != "|" or not closed:
            if closed:  # goes on after the last ending
                part, opened, ending, closed = done, None, 0, False
            part.append(token)
        if len(done) + (len(part) if part is not done else 0) > MAX_TOKENS:
            break
    else:
        if opened and _needs_closing(ending, closed):
            problems.append(opened.problem("the repeat is never closed; write :| where it ends"))
    return _not_too_long(done if part is done else [*done, *part], problems)


def _needs_closing(ending: int, closed: bool) -> bool:
    """Whether a repeat cannot end here; one with a second ending can."""
    return ending == 0 or (ending == 1 and not closed)


def _not_too_long(done: list[Token], problems: list[Problem]) -> list[Token]:
    sounds = [i for i, token in enumerate(done) if token.text[0] not in "|[]{}"]
    if len(sounds) <= MAX_SOUNDS and len(done) <= MAX_TOKENS:
        return done
    last = min([*sounds[MAX_SOUNDS : MAX_SOUNDS + 1], MAX_TOKENS])
    problems.append(done[last].problem("the drill is too long from here on; make it two"))
    return done[:last]


def _number(figures: str) -> int:
    return int(figures) if len(figures) <= _FIGURES else -1


def _times(token: Token, problems: list[Problem]) -> int:
    times = _number(token.text[2:] or "2")
    if 1 < times <= MAX_REPEATS:
        return times
    problems.append(token.problem(f"a passage is played 2 to {MAX_REPEATS} times, as in :|3"))
    return 2


def _not_an_ending(opened: Token | None, ending: int, closed: bool) -> str:
    if not opened:
        return "an ending outside a repeat; open the passage with |:"
    if ending and not closed:
        return f"ending {ending} must be closed with :| before the next one"
    return f"ending {ending + 1} is due here, as |{ending + 1}."


def _bar(part: list[Token], sign: Token) -> None:
    """End a bar at a sign, unless one has just ended there."""
    if part and part[-1].text != "|":
        part.append(replace(sign, text="|"))
