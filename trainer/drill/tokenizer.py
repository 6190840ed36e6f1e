"""Tokens of a tab text, and the expansion of its repeats."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from itertools import count

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
    repeat: _Repeat | None = None
    for token in tokens:
        text = token.text
        part = repeat.part if repeat else done
        if text == "|:":
            if repeat and not repeat.is_complete:
                problems.append(token.problem("a repeat inside a repeat; close the first with :|"))
            done += repeat.played(problems) if repeat else []
            _end_bar(done, token)
            repeat = _Repeat(token)
        elif text.startswith(":|"):
            _end_bar(part, token)
            if not repeat or repeat.is_closed:
                problems.append(token.problem("nothing to repeat; open the passage with |:"))
            elif repeat.endings:
                repeat.endings[-1].closing = token
            else:
                done += repeat.body * _times(token, problems)
                repeat = None
        elif text.startswith("|") and text != "|":
            _end_bar(part, token)
            if repeat:
                repeat.open_ending(token, problems)
            else:
                message = "an ending outside a repeat; open the passage with |:"
                problems.append(token.problem(message))
        elif text != "|" or not (repeat and repeat.is_closed):
            if repeat and repeat.is_closed:  # the music continues after the last ending
                done += repeat.played(problems)
                repeat, part = None, done
            part.append(token)
        if len(done) + (len(repeat.part) if repeat else 0) > MAX_TOKENS:
            break
    else:
        if repeat and not repeat.is_complete:
            message = "the repeat is never closed; write :| at its end"
            problems.append(repeat.token.problem(message))
            _end_bar(repeat.part, tokens[-1])
    return _not_too_long([*done, *(repeat.played(problems) if repeat else ())], problems)


@dataclass
class _Ending:
    """An ending of a repeat.

    Attributes:
        token: its sign.
        numbers: the times, from 1, for which it is played.
        tokens: its music.
        closing: the sign that closes it; None while it is open.
    """

    token: Token
    numbers: tuple[int, ...]
    tokens: list[Token] = field(default_factory=list)
    closing: Token | None = None


@dataclass
class _Repeat:
    """A passage to be repeated, and its endings so far.

    Attributes:
        token: the sign that opens it.
        body: the passage up to its first ending.
        endings: its endings.
    """

    token: Token
    body: list[Token] = field(default_factory=list)
    endings: list[_Ending] = field(default_factory=list)

    @property
    def part(self) -> list[Token]:
        """The list that further tokens belong to."""
        return self.endings[-1].tokens if self.endings else self.body

    @property
    def is_closed(self) -> bool:
        """Whether its last ending is closed."""
        return bool(self.endings) and self.endings[-1].closing is not None

    @property
    def is_complete(self) -> bool:
        """Whether it can end here; an ending that is played last, and once, need not be closed."""
        if len(self.endings) < 2 or self.is_closed:
            return self.is_closed
        return self.endings[-1].numbers == (self._times,)

    @property
    def _times(self) -> int:
        return max(number for ending in self.endings for number in ending.numbers)

    def open_ending(self, token: Token, problems: list[Problem]) -> None:
        """Begin the next ending."""
        taken = {number for ending in self.endings for number in ending.numbers}
        following = next(number for number in count(1) if number not in taken)
        numbers = _ending_numbers(token.text[1:-1])
        if self.endings and not self.is_closed:
            written = self.endings[-1].token.text.strip("|.")
            message = f"ending {written} must be closed with :| before the next one"
            problems.append(token.problem(message))
            self.endings[-1].closing = replace(token, text=":|")
        if not numbers or numbers[-1] > MAX_REPEATS:
            message = f"write 1 to {MAX_REPEATS} in rising order for an ending, as in |1-3."
            problems.append(token.problem(message))
        elif numbers[0] != following or taken & set(numbers):
            message = f"the next ending has number {following}; write |{following}."
            problems.append(token.problem(message))
        else:
            self.endings.append(_Ending(token, numbers))

    def played(self, problems: list[Problem]) -> list[Token]:
        """Return its music as often as it is played."""
        if not self.endings:
            return self.body
        by_number = {number: ending for ending in self.endings for number in ending.numbers}
        times = max(by_number)
        for ending in self.endings:
            written = ending.closing.text[2:] if ending.closing else ""
            if ending.closing and written and _small_number(written) != times:
                message = f"the last ending has number {times}; write only :|"
                problems.append(ending.closing.problem(message))
        missing = [number for number in range(1, times) if number not in by_number]
        if missing:
            message = f"ending {missing[0]} is missing; write |{missing[0]}."
            problems.append(self.endings[-1].token.problem(message))
        return [
            token
            for number in range(1, times + 1)
            if number in by_number
            for token in (*self.body, *by_number[number].tokens)
        ]


def _ending_numbers(text: str) -> tuple[int, ...]:
    """Return the numbers of an ending, ``1-3`` or ``1,3``; empty unless they rise."""
    numbers: list[int] = []
    for part in text.split(","):
        first, _, last = part.partition("-")
        low, high = _small_number(first), _small_number(last or first)
        if "-" in last or low < 1 or high < low or high > MAX_REPEATS:
            return ()
        numbers += range(low, high + 1)
    return tuple(numbers) if numbers == sorted(set(numbers)) else ()


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


def _end_bar(part: list[Token], sign: Token) -> None:
    """End a bar at a repeat sign, unless a bar line is already there."""
    if part and part[-1].text != "|":
        part.append(replace(sign, text="|"))
