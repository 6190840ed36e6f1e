"""The music of a drill, as it is typed: tab tokens between white space.

    -4':1       a note and its length in beats; without a length it lasts one beat
    4:0.5       lengths are whole numbers, decimals or fractions: 2, 1.5, 2/3
    r:2         a rest
    |           a bar line; every bar must be full, the last one may end without a line
    -3+4+5:2    a chord: one breath sign in front, holes joined with plus; a split is 1+4
    6o  -7o     an overblow, an overdraw
    -4'>-4:2    a glide in one breath: a bend let up; -4>-4' a note scooped into, 4>5>6 a slide
    # words     a comment to the end of the line

A beat is the note value under the meter's stroke, so a bar of 6/8 has six. How the time of a
glide is shared out is told in :meth:`trainer.drill.model.Step.place`.

Reading never stops at the first mistake: everything that is wrong is collected.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise

from trainer.drill.errors import Problem
from trainer.drill.model import Sound, Step
from trainer.harp import HarpError, Tab

SHORTEST, LONGEST = Fraction(1, 16), Fraction(64)
"""Beats that a length may have."""

_TOKEN = re.compile(r"\||[^\s|]+")
_SOUND = re.compile(r"(-?)([0-9]{1,3}'*o?(?:\+[0-9]{1,3}'*o?)*)\Z")
_LENGTH = re.compile(r"[0-9]{0,6}\.?[0-9]{1,6}\Z|[0-9]{1,6}/[0-9]{1,6}\Z")
_PLAIN = str.maketrans({"’": "'", "‘": "'", "′": "'", "−": "-", "–": "-", "—": "-"})
"""What word processors put in place of the plain signs."""


class _Wrong(Exception):
    """A part of a token that cannot be read; the message says what was expected."""


@dataclass(frozen=True, slots=True)
class Music:
    """What a tab text says.

    Attributes:
        steps: the things to play, in order.
        beats: length of the whole, rests included.
        problems: everything that is wrong with it, without their source lines.
    """

    steps: tuple[Step, ...]
    beats: Fraction
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class _Token:
    text: str
    line: int
    column: int

    def problem(self, message: str) -> Problem:
        return Problem(self.line, self.column, len(self.text), message)


def read_tab(text: str, beats_a_bar: int | None, *, line: int = 1, column: int = 1) -> Music:
    """Reads a tab text, with all that is wrong in it.

    Args:
        text: the tab.
        beats_a_bar: what each bar must hold; None checks no bars.
        line, column: where the text starts in its file, from 1.
    """
    reader = _Reader(beats_a_bar)
    for token in _tokens(text, line, column):
        reader.take(token)
    return reader.music(_Token("", line, column))


def _tokens(text: str, line: int, column: int) -> Iterator[_Token]:
    for number, row in enumerate(text.split("\n")):
        music = row.partition("#")[0]
        shift = column if number == 0 else 1
        for found in _TOKEN.finditer(music):
            yield _Token(found[0], line + number, shift + found.start())


@dataclass
class _Reader:
    """Walks through the tokens, keeping the place in the music."""

    beats_a_bar: int | None
    steps: list[Step] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    at: Fraction = Fraction(0)
    bar: int = 1
    bar_start: Fraction = Fraction(0)
    bar_is_known: bool = True
    last: _Token | None = None

    def take(self, token: _Token) -> None:
        if token.text == "|":
            if self.last is not None:  # a line before the first note is only drawn
                self._close_bar(token)
        else:
            self._play(token)
        self.last = token

    def music(self, start: _Token) -> Music:
        if self.last is not None and self.last.text != "|":
            self._close_bar(self.last)
        if not self.steps and not self.problems:
            self.problems.append(
                (self.last or start).problem("the tab has nothing to play; write notes, as in -4:1")
            )
        return Music(tuple(self.steps), self.at, tuple(self.problems))

    def _play(self, token: _Token) -> None:
        text, colon, written = token.text.partition(":")
        sounds: tuple[Sound, ...] = ()
        beats = Fraction(1)
        try:
            sounds = () if text == "r" else _sounds(text)
        except _Wrong as wrong:
            self.problems.append(token.problem(str(wrong)))
            self.bar_is_known = self.bar_is_known and bool(colon)
        try:
            beats = _beats(written) if colon else beats
        except _Wrong as wrong:
            self.problems.append(token.problem(str(wrong)))
            self.bar_is_known = False
        if sounds:
            self.steps.append(
                Step(
                    index=len(self.steps),
                    sounds=sounds,
                    at=self.at,
                    beats=beats,
                    bar=self.bar,
                    text=token.text,
                    line=token.line,
                    column=token.column,
                )
            )
        self.at += beats

    def _close_bar(self, token: _Token) -> None:
        held = self.at - self.bar_start
        if self.beats_a_bar is not None and self.bar_is_known and held != self.beats_a_bar:
            self.problems.append(
                token.problem(
                    f"bar {self.bar} has {_in_beats(held)} and should have {self.beats_a_bar}; "
                    + ("add a note or a rest" if held < self.beats_a_bar else "take some out")
                )
            )
        self.bar += 1
        self.bar_start = self.at
        self.bar_is_known = True


def _in_beats(beats: Fraction) -> str:
    whole, rest = divmod(beats, 1)
    number = f"{whole} {rest}" if whole and rest else str(rest or whole)
    return f"{number} beat{'' if 0 < beats <= 1 else 's'}"


def _beats(text: str) -> Fraction:
    if not _LENGTH.match(text):
        raise _Wrong(
            f"'{text}' is not a length; write beats after the colon, as 2, 0.5 or 2/3"
            if text
            else "a length is missing after the colon; write beats, as 2, 0.5 or 2/3"
        )
    try:
        beats = Fraction(text)
    except ZeroDivisionError:
        raise _Wrong(f"'{text}' divides by zero; write a length as 2, 0.5 or 2/3") from None
    if not SHORTEST <= beats <= LONGEST:
        raise _Wrong(f"a length of {text} beats is out of range; it may be {SHORTEST} to {LONGEST}")
    return beats


def _sounds(text: str) -> tuple[Sound, ...]:
    sounds = tuple(_sound(part, text) for part in text.split(">"))
    for before, after in pairwise(sounds):
        if before[0].breath is not after[0].breath:
            raise _Wrong(
                f"a glide keeps one breath, but '{text}' turns from {before[0].breath} to "
                f"{after[0].breath}; give all its sounds the same sign, as in -4'>-4"
            )
        if len(before) != len(after):
            raise _Wrong(
                f"a glide keeps its number of holes, but '{text}' goes from {len(before)} to "
                f"{len(after)}"
            )
        if before == after:
            raise _Wrong(f"'{text}' glides from a sound to itself; write it once, or two steps")
    return sounds


def _sound(text: str, whole: str) -> Sound:
    found = _SOUND.match(text)
    if not found:
        raise _Wrong(_not_tab(text, whole))
    sign, holes = found.groups()
    try:
        tabs = sorted(Tab.parse(sign + hole) for hole in holes.split("+"))
    except HarpError as error:
        raise _Wrong(str(error)) from None
    numbers = [tab.hole for tab in tabs]
    for hole in sorted(set(numbers)):
        if numbers.count(hole) > 1:
            raise _Wrong(f"the chord '{text}' names hole {hole} twice; name each hole once")
    return tuple(tabs)


def _not_tab(text: str, whole: str) -> str:
    plain = text.translate(_PLAIN)
    if plain != text and _SOUND.match(plain):
        return f"'{text}' has a sign that is not plain text; type {plain}"
    if not whole:
        return "there is no note before the colon; write one, as in -4:1, or r:1 for a rest"
    if not text:
        return f"the glide '{whole}' lacks a sound; write one on each side of '>', as in -4'>-4"
    inner = text[:1] + text[1:].replace("-", "")
    if "+" in text and _SOUND.match(inner):
        return f"'{text}' has a breath sign inside a chord; one in front serves all: {inner}"
    return (
        f"'{text}' is not tab; write 4 for blow, -4 for draw, -4' bent, 4o overblown, -3+4 for a "
        "chord, -4'>-4 for a glide, r for a rest"
    )
