"""Tokens of a tab text, and the expansion of its repeats."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from trainer.core.problems import Problem

MAX_REPEATS = 16
"""Maximum number of times that a passage is played."""
MAX_SOUNDS = 4000
"""Maximum number of notes, rests and ties, repeats expanded; more than any drill needs."""
MAX_TOKENS = 5 * MAX_SOUNDS
"""Maximum number of tokens: sounds, bar lines, directions and brackets."""
_TOKEN = re.compile(
    r"\|:|:\|[0-9]*|\|[0-9]+(?:[-,][0-9]+)*\.(?!\S)|\||\[|\](?::[^\s|\[\]{}]*)?|\{[^}]*\}?|\}"
    r"|(?:(?!:\|)[^\s|\[\]{}])+(?:\{[^}]*\}?)*"
)
_MAX_DIGITS = 4
"""Digits up to which a number is read; valid numbers of endings and repeats have fewer."""


@dataclass(frozen=True, slots=True)
class Token:
    """A token of a tab text and its position, from 1."""

    text: str
    line: int
    column: int

    def problem(self, message: str) -> Problem:
        """Return a problem at this token."""
        return Problem(self.line, self.column, len(self.text), message)


def tokenize(text: str, line: int = 1, column: int = 1) -> list[Token]:
    """Return the tokens of a tab text, without comments.

    Args:
        text: the tab.
        line: line of its first character, from 1.
        column: column of its first character, from 1.
    """
    tokens = []
    for number, row in enumerate(text.split("\n")):
        words, _ = split_comment(row)
        shift = column if number == 0 else 1
        tokens += [Token(word, line + number, shift + start) for start, word in words]
    return tokens


def split_comment(row: str) -> tuple[list[tuple[int, str]], str]:
    """Split a line of tab into its tokens, each with its column from 0, and its comment."""
    music, sign, comment = row.partition("#")
    return [(match.start(), match[0]) for match in _TOKEN.finditer(music)], sign + comment


def expand_repeats(tokens: list[Token], problems: list[Problem]) -> list[Token]:
    """Return the tokens in the order in which they are played, with repeats expanded.

    Args:
        tokens: the tokens as written.
        problems: errors in repeats and endings are appended here.
    """
    done: list[Token] = []
    part = done  # the list that tokens are added to: `done`, or a passage to be repeated
    body: list[Token] = []  # the passage up to its first ending
    opened: Token | None = None
    ending, closed = 0, False  # the current ending, or the one closed last
    for token in tokens:
        text = token.text
        if text == "|:":
            if opened and _needs_closing(ending, closed):
                problems.append(token.problem("a repeat inside a repeat; close the first with :|"))
            if part is not done:
                done += part
            _end_bar(done, token)
            part, opened, ending, closed = [], token, 0, False
        elif text.startswith(":|"):
            _end_bar(part, token)
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
            _end_bar(part, token)
            if not opened or _small_number(text[1:-1]) != ending + 1 or (ending and not closed):
                problems.append(token.problem(_not_an_ending(opened, ending, closed)))
                continue
            if not ending:
                body = part
                done += body
            part, ending, closed = [], ending + 1, False
        elif text != "|" or not closed:
            if closed:  # the music continues after the last ending
                part, opened, ending, closed = done, None, 0, False
            part.append(token)
        if len(done) + (len(part) if part is not done else 0) > MAX_TOKENS:
            break
    else:
        if opened and _needs_closing(ending, closed):
            problems.append(opened.problem("the repeat is never closed; write :| at its end"))
    return _not_too_long(done if part is done else [*done, *part], problems)


def _needs_closing(ending: int, closed: bool) -> bool:
    """Whether a repeat is still open; after its second ending it need not be closed."""
    return ending == 0 or (ending == 1 and not closed)


def _not_too_long(done: list[Token], problems: list[Problem]) -> list[Token]:
    sounds = [i for i, token in enumerate(done) if token.text[0] not in "|[]{}"]
    if len(sounds) <= MAX_SOUNDS and len(done) <= MAX_TOKENS:
        return done
    last = min([*sounds[MAX_SOUNDS : MAX_SOUNDS + 1], MAX_TOKENS])
    problems.append(done[last].problem("the drill is too long from here on; split it in two"))
    return done[:last]


def _small_number(digits: str) -> int:
    return int(digits) if len(digits) <= _MAX_DIGITS else -1


def _times(token: Token, problems: list[Problem]) -> int:
    times = _small_number(token.text[2:] or "2")
    if 1 < times <= MAX_REPEATS:
        return times
    problems.append(token.problem(f"write 2 to {MAX_REPEATS} times for a repeat, as in :|3"))
    return 2


def _not_an_ending(opened: Token | None, ending: int, closed: bool) -> str:
    if not opened:
        return "an ending outside a repeat; open the passage with |:"
    if ending and not closed:
        return f"ending {ending} must be closed with :| before the next one"
    return f"the next ending has number {ending + 1}; write |{ending + 1}."


def _end_bar(part: list[Token], sign: Token) -> None:
    """End a bar at a repeat sign, unless a bar line is already there."""
    if part and part[-1].text != "|":
        part.append(replace(sign, text="|"))
