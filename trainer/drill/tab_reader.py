"""The music of a drill, as it is typed: tab tokens between white space.

    -4':1       a note and its length in beats; without a length it lasts one beat
    4:0.5       lengths are whole numbers, decimals or fractions, with dots: 2, 1.5, 2/3, 1.
    r:2         a rest
    ~:1         a tie: the note before goes on for so long
    [4 -4 5]:1  three notes in the time of one beat, by their lengths: a triplet
    |           a bar line; every bar must be full, the last one may end without a line
    |: … :|     played twice; … :|3 three times; … |1. … :| |2. … has endings
    -3+4+5:2    a chord: one breath sign in front, holes joined with plus; a split is 1+4
    6o  -7o     an overblow, an overdraw
    -3@-40      a target 40 cents under draw 3
    -2/3        either of two holes of the same pitch
    -4'>-4:2    a glide in one breath: a bend let up; -4>-4' a note scooped into, 4>5>6 a slide
    -3=-3':2    a ladder: each rung held for an equal time, in one breath
    {loose}     a direction for what follows, until {}; glued to a note, for that note alone
    # words     a comment to the end of the line

Directions: clean, loose, chord (how clean); vibrato, or vibrato 5 20 (cycles a second, cents to
each side); wah, or wah 3 (a second); call (the trainer plays) and answer (the player does again).
Several are parted by commas.

A beat is the note value under the meter's stroke, so a bar of 6/8 has six. How the time of a
glide is shared out is told in :meth:`trainer.drill.model.Step.place`.

Reading never stops at the first mistake: everything that is wrong is collected.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction

from trainer.drill.errors import Problem
from trainer.drill.model import Step
from trainer.drill.tab_words import (
    MIN_LENGTH_BEATS,
    ParsedNote,
    PlayingDirections,
    TabError,
    apply_direction,
    is_countable,
    parse_length,
    parse_tab_note,
)
from trainer.drill.tokenizer import Token, expand_repeats, tokenize


@dataclass(frozen=True, slots=True)
class ParsedTab:
    """What a tab text says.

    Attributes:
        steps: the things to play, in order, repeats written out.
        end: the beat on which the whole ends, rests included.
        problems: everything that is wrong with it, without their source lines.
    """

    steps: tuple[Step, ...]
    end: Fraction
    problems: tuple[Problem, ...]


def parse_tab(
    text: str,
    beats_a_bar: int | None,
    *,
    line: int = 1,
    column: int = 1,
    pickup: Fraction = Fraction(0),
) -> ParsedTab:
    """Reads a tab text, with all that is wrong in it.

    Args:
        text: the tab.
        beats_a_bar: what each bar must hold; None checks no bars.
        line, column: where the text starts in its file, from 1.
        pickup: beats of a pick-up bar that comes first; 0 for none.
    """
    reader = _Reader(beats_a_bar, pickup)
    played = expand_repeats(tokenize(text, line, column), reader.problems)
    for i, token in enumerate(played, start=1):
        reader.take(token, is_last=i == len(played))
    return reader.music(Token("", line, column))


@dataclass
class _Reader:
    """Walks through the tokens, keeping the place in the music."""

    beats_a_bar: int | None
    pickup: Fraction
    steps: list[Step] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    manner: PlayingDirections = field(default_factory=PlayingDirections)
    at: Fraction = Fraction(0)
    bar: int = 1
    bar_start: Fraction = Fraction(0)
    bar_is_known: bool = True
    last: Token | None = None
    tuplet: Token | None = None
    tuplet_from: int = 0
    tuplet_at: Fraction = Fraction(0)
    tuplet_parts: list[Fraction] = field(default_factory=list)
    sounding: bool = False
    bars_told: set[Token] = field(default_factory=set)

    def __post_init__(self) -> None:
        if self.pickup:
            self.at = self.bar_start = -self.pickup
            self.bar = 0

    def take(self, token: Token, *, is_last: bool) -> None:
        text = token.text
        if text == "|":
            if self.tuplet is not None:
                self.problems.append(token.problem("a bar line inside [ ]; close the group first"))
            elif self.last is not None:  # a line before the first note is only drawn
                self._close_bar(token, is_last=is_last)
        elif text == "[":
            self._open(token)
        elif text.startswith("]"):
            self._close(token)
        elif text.startswith(("{", "}")):
            self.manner = self._directed(self.manner, [text], token, standing=True)
            return
        elif text.partition(":")[0] == "~":
            self._tie(token)
        else:
            self._play(token)
        self.last = token

    def music(self, start: Token) -> ParsedTab:
        if self.tuplet is not None:
            self.problems.append(self.tuplet.problem("the group is never closed; write ]:1"))
        if self.last is not None and self.last.text != "|":
            self._close_bar(self.last, is_last=True)
        if not self.problems and not self.steps:
            self.problems.append(
                (self.last or start).problem("the tab has nothing to play; write notes, as in -4:1")
            )
        elif not self.problems and all(step.call for step in self.steps):
            self.problems.append(
                start.problem("the tab leaves the player nothing to play; write {answer}")
            )
        return ParsedTab(tuple(self.steps), self.at, tuple(dict.fromkeys(self.problems)))

    def _play(self, token: Token) -> None:
        head, *directions = token.text.split("{")
        text, colon, written = head.partition(":")
        note: ParsedNote | None = None
        try:
            note = None if text == "r" else parse_tab_note(text)
        except TabError as wrong:
            self.problems.append(token.problem(str(wrong)))
            self.bar_is_known = self.bar_is_known and bool(colon)
        beats = self._length(token, written if colon else None)
        manner = self._directed(self.manner, ["{" + one for one in directions], token)
        self.sounding = note is not None
        if note:
            self.steps.append(
                Step(
                    index=len(self.steps),
                    sounds=note.sounds,
                    start=self.at,
                    beats=beats,
                    bar=self.bar,
                    text=token.text,
                    line=token.line,
                    column=token.column,
                    offsets_cents=note.offsets_cents,
                    alternative=note.alternative,
                    ladder=note.ladder,
                    cleanness_rule=manner.cleanness_rule,
                    vibrato=manner.vibrato,
                    wah_hz=manner.wah_hz,
                    call=manner.call,
                )
            )
        self._go_on(beats)

    def _tie(self, token: Token) -> None:
        _, colon, written = token.text.partition(":")
        beats = self._length(token, written if colon else None)
        if self.sounding and self.steps and self.tuplet_from < len(self.steps):
            self.steps[-1] = replace(self.steps[-1], beats=self.steps[-1].beats + beats)
        else:
            self.problems.append(
                token.problem("nothing to go on with; a tie follows the note that it makes longer")
            )
        self._go_on(beats)

    def _go_on(self, beats: Fraction) -> None:
        self.at += beats
        if self.tuplet is not None:
            self.tuplet_parts.append(beats)

    def _length(self, token: Token, written: str | None) -> Fraction:
        if written is None:
            return Fraction(1)
        try:
            return parse_length(written)
        except TabError as wrong:
            self.problems.append(token.problem(str(wrong)))
            self.bar_is_known = False
        return Fraction(1)

    def _open(self, token: Token) -> None:
        if self.tuplet is not None:
            self.problems.append(token.problem("a group inside a group; close the first with ]"))
            return
        self.tuplet, self.tuplet_at = token, self.at
        self.tuplet_from = len(self.steps)
        self.tuplet_parts = []

    def _close(self, token: Token) -> None:
        """Fit what stands between the brackets into the length that is asked for."""
        if self.tuplet is None:
            self.problems.append(token.problem("no group is open here; write [ before its notes"))
            return
        start, long = self.tuplet_at, self.at - self.tuplet_at
        _, colon, written = token.text.partition(":")
        beats = self._length(token, written if colon else None)
        self.tuplet = None
        if not long:
            self.problems.append(token.problem("the group is empty; write notes in it"))
            return
        ratio = beats / long
        for i in range(self.tuplet_from, len(self.steps)):
            step = self.steps[i]
            self.steps[i] = replace(
                step, start=start + (step.start - start) * ratio, beats=step.beats * ratio
            )
        parts = [part * ratio for part in self.tuplet_parts]
        if min(parts) < MIN_LENGTH_BEATS:
            self.problems.append(
                token.problem(
                    f"a note in the group is shorter than {MIN_LENGTH_BEATS} beat; make the "
                    "group longer, or take some notes out"
                )
            )
        elif not all(map(is_countable, parts)):
            self.problems.append(
                token.problem(
                    "the lengths in the group make parts of a beat that cannot be counted; write "
                    "simpler ones"
                )
            )
        self.tuplet_from = 0
        self.at = start + beats

    def _directed(
        self, manner: PlayingDirections, texts: list[str], token: Token, *, standing: bool = False
    ) -> PlayingDirections:
        try:
            for text in texts:
                manner = apply_direction(manner, text, standing=standing)
        except TabError as wrong:
            self.problems.append(token.problem(str(wrong)))
        return manner

    def _close_bar(self, token: Token, *, is_last: bool = False) -> None:
        held, bar = self.at - self.bar_start, self.beats_a_bar
        due = self.pickup if self.bar == 0 else bar
        # The last bar may lack what the pick-up has (common practice).
        short = is_last and self.bar > 0 and bar is not None and held == bar - self.pickup
        told = token in self.bars_told  # in an earlier playing of a repeat
        if bar is not None and self.bar_is_known and not told and held != due and not short:
            assert due is not None
            self.bars_told.add(token)
            name = "the pick-up" if self.bar == 0 else f"bar {self.bar}"
            self.problems.append(
                token.problem(
                    f"{name} has {_in_beats(held)} and should have {_in_beats(due, bare=True)}; "
                    + ("add a note or a rest" if held < due else "take some out")
                )
            )
        if self.bar == 0:
            self.at = Fraction(0)
        self.bar += 1
        self.bar_start = self.at
        self.bar_is_known = True


def _in_beats(beats: Fraction | int, *, bare: bool = False) -> str:
    whole, rest = divmod(Fraction(beats), 1)
    number = f"{whole} {rest}" if whole and rest else str(rest or whole)
    return number if bare else f"{number} beat{'' if 0 < beats <= 1 else 's'}"
