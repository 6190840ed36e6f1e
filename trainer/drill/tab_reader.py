"""Parser of a drill's music: tab tokens separated by white space.

    -4':1       a note and its length in beats; the default is one beat
    4:0.5       lengths are whole numbers, decimals or fractions, with dots: 2, 1.5, 2/3, 1.
    r:2         a rest
    ~:1         a tie: the previous note continues for this length
    [4 -4 5]:1  three notes in the time of one beat, in proportion to their lengths: a triplet
    |           a bar line; every bar must be full; the last line may be left out
    |: … :|     a repeat; … :|3 is played three times; … |1. … :| |2. … has endings, which can be
                for several times, as |1-3. … :| |4. …
    -3+4+5:2    a chord: one breath sign in front, holes joined with plus; a split is 1+4
    6o  -7o     an overblow, an overdraw
    -3@-40      a target 40 cents under draw 3
    -2/3        one of two holes of the same pitch
    -3/-3'      bent or not: either is right
    solo:4      a passage that is left to the player; adjacent ones are one passage
    -4<>5:2     a shake between two holes of one breath
    ^-5 -4:1    a grace note, crushed in just before its note; it takes no time of its own
    -4'>-4:2    a glide in one breath: a bend let up; -4>-4' a note scooped into, 4>5>6 a slide
    -3=-3':2    a ladder: each rung held for an equal time, in one breath
    {blur}      a direction for all following notes, until {}; attached to a note, for that note
    # words     a comment to the end of the line

Directions are in :data:`trainer.drill.tab_words.DIRECTIONS`; several are separated by commas, and
which exclude each other is in :mod:`trainer.drill.techniques`.

A beat is the note value in the meter's denominator, so a bar of 6/8 has six. The timing of a glide
is defined in :meth:`trainer.drill.model.Step.path_position`.

Parsing continues after an error: all problems are collected.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from fractions import Fraction

from trainer.core.problems import Problem
from trainer.drill.model import Sound, Step
from trainer.drill.solo import Solo
from trainer.drill.tab_words import (
    MIN_LENGTH_BEATS,
    ParsedNote,
    PlayingDirections,
    TabError,
    apply_direction,
    is_countable,
    parse_grace,
    parse_length,
    parse_tab_note,
)
from trainer.drill.techniques import find_conflict
from trainer.drill.tokenizer import Token, expand_repeats, tokenize

SOLO = "solo"
"""Word of a passage that is left to the player."""


@dataclass(frozen=True, slots=True)
class ParsedTab:
    """The content of a tab text.

    Attributes:
        steps: steps in order of time, repeats expanded.
        end: beat on which the music ends, rests included.
        solos: passages that are left to the player.
        problems: all problems in it, without source lines.
    """

    steps: tuple[Step, ...]
    end: Fraction
    problems: tuple[Problem, ...]
    solos: tuple[Solo, ...] = ()


def parse_tab(
    text: str,
    beats_per_bar: int | None,
    *,
    line: int = 1,
    column: int = 1,
    pickup: Fraction = Fraction(0),
) -> ParsedTab:
    """Parse a tab text and collect its problems.

    Args:
        text: the tab.
        beats_per_bar: number of beats in each bar; None does not check bars.
        line: line of the text in its file, from 1.
        column: column of the text in its line, from 1.
        pickup: length of a pick-up in beats; 0 for none.
    """
    parser = _TabParser(beats_per_bar, pickup)
    tokens = expand_repeats(tokenize(text, line, column), parser.problems)
    for number, token in enumerate(tokens, start=1):
        parser.parse_token(token, is_last=number == len(tokens))
    return parser.finish(Token("", line, column))


@dataclass
class _Group:
    """An open group of notes in brackets.

    Attributes:
        token: its opening bracket.
        first_step: index of its first step.
        start: beat on which it starts.
        lengths: lengths of its notes, rests and ties so far, as written.
    """

    token: Token
    first_step: int
    start: Fraction
    lengths: list[Fraction] = field(default_factory=list)


@dataclass
class _TabParser:
    """State of parsing a tab text, token by token.

    Attributes:
        beats_per_bar, pickup: as in :func:`parse_tab`.
        steps, solos, problems: the results so far.
        directions: directions in force.
        at: current beat.
        bar, bar_start: current bar and the beat on which it starts.
        bar_is_known: whether all lengths in the current bar are valid.
        last: the previous token that is not a direction.
        group: the open group; None outside of groups.
        can_tie: whether the previous sound is a note, not a rest.
        grace, grace_token: grace note that waits for its note, and its token; None for none.
        reported_bars: bar lines with a reported problem; repeats visit them again.
    """

    beats_per_bar: int | None
    pickup: Fraction
    steps: list[Step] = field(default_factory=list)
    solos: list[Solo] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    directions: PlayingDirections = field(default_factory=PlayingDirections)
    at: Fraction = Fraction(0)
    bar: int = 1
    bar_start: Fraction = Fraction(0)
    bar_is_known: bool = True
    last: Token | None = None
    group: _Group | None = None
    can_tie: bool = False
    grace: Sound = ()
    grace_token: Token | None = None
    reported_bars: set[Token] = field(default_factory=set)

    def __post_init__(self) -> None:
        if self.pickup:
            self.at = self.bar_start = -self.pickup
            self.bar = 0

    def parse_token(self, token: Token, *, is_last: bool) -> None:
        text = token.text
        if text[0] in "|[]{}~^" or text.partition(":")[0] in ("r", SOLO):
            self._drop_grace()
        if text == "|":
            if self.group is not None:
                self.problems.append(token.problem("a bar line inside [ ]; close the group first"))
            elif self.last is not None:  # a line before the first note closes no bar
                self._close_bar(token, is_last=is_last)
        elif text == "[":
            self._open_group(token)
        elif text.startswith("]"):
            self._close_group(token)
        elif text.startswith(("{", "}")):
            self.directions = self._apply_directions([text], token, standing=True)
            return
        elif text.startswith("^"):
            self._parse_grace(token)
        elif text.partition(":")[0] == "~":
            self._parse_tie(token)
        elif re.split("[:{]", text, maxsplit=1)[0] == SOLO:
            self._parse_solo(token)
        else:
            self._parse_sound(token)
        self.last = token

    def finish(self, start: Token) -> ParsedTab:
        self._drop_grace()
        if self.group is not None:
            self.problems.append(self.group.token.problem("the group is never closed; write ]:1"))
        if self.last is not None and self.last.text != "|":
            self._close_bar(self.last, is_last=True)
        if not self.problems and self.solos and all(step.call for step in self.steps):
            self.problems.append(
                start.problem(
                    "write a note for the player beside the solo, such as the one on which it ends"
                )
            )
        elif not self.problems and not self.steps:
            self.problems.append(
                (self.last or start).problem("the tab has nothing to play; write notes, as in -4:1")
            )
        elif not self.problems and all(step.call for step in self.steps):
            self.problems.append(
                start.problem("the tab leaves the player nothing to play; write {answer}")
            )
        problems = tuple(dict.fromkeys(self.problems))
        return ParsedTab(tuple(self.steps), self.at, problems, tuple(self.solos))

    def _parse_sound(self, token: Token) -> None:
        """Parse a note or a rest, with its length and directions."""
        head, *directions = token.text.split("{")
        text, colon, length = head.partition(":")
        note: ParsedNote | None = None
        try:
            note = None if text == "r" else parse_tab_note(text)
        except TabError as error:
            self.problems.append(token.problem(str(error)))
            self.bar_is_known = self.bar_is_known and bool(colon)
        beats = self._parse_length(token, length if colon else None)
        how = self._apply_directions(["{" + direction for direction in directions], token)
        self.can_tie = note is not None
        if note:
            self._add_step(note, how, beats, token)
        self.grace, self.grace_token = (), None
        self._advance(beats)

    def _add_step(
        self, note: ParsedNote, how: PlayingDirections, beats: Fraction, token: Token
    ) -> None:
        step = Step(
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
            cleanness_rule=how.cleanness_rule,
            vibrato=how.vibrato,
            wah_hz=how.wah_hz,
            shake=note.shake(how.shake_hz),
            scoop=how.scoop,
            fall=how.fall,
            grace=self.grace,
            articulation=how.articulation,
            accent=how.accent,
            swell_db=how.swell_db,
            slap=how.slap,
            optional=how.optional,
            call=how.call,
        )
        self.steps.append(step)
        if conflict := find_conflict(step):
            self.problems.append(token.problem(conflict))
        elif how.shake_hz and not self.directions.shake_hz and not step.shake:
            message = f"shake is the rate of a shake; write {step.tab} with another hole, as -4<>5"
            self.problems.append(token.problem(message))

    def _parse_solo(self, token: Token) -> None:
        """Parse a passage that is left to the player; it goes on from one right before it."""
        head, brace, _ = token.text.partition("{")
        _, colon, length = head.partition(":")
        beats = self._parse_length(token, length if colon else None)
        if not colon:
            message = "a length is missing after solo; write beats, as in solo:4 for a bar of 4/4"
            self.problems.append(token.problem(message))
            self.bar_is_known = False
        if brace:
            self.problems.append(
                token.problem("leave out the directions of the solo: it is the player's own")
            )
        if self.directions.call:
            self.problems.append(token.problem("write {answer} before the solo, to end the call"))
        if self.group is not None:
            self.problems.append(token.problem("a solo inside [ ]; close the group first"))
        if self.solos and self.solos[-1].end == self.at:
            self.solos[-1] = replace(self.solos[-1], beats=self.solos[-1].beats + beats)
        else:
            self.solos.append(Solo(self.at, beats, self.bar, token.line, token.column))
        self.can_tie = False
        self._advance(beats)

    def _parse_grace(self, token: Token) -> None:
        try:
            self.grace, self.grace_token = parse_grace(token.text), token
        except TabError as error:
            self.problems.append(token.problem(str(error)))

    def _drop_grace(self) -> None:
        """Report a grace note that no note follows."""
        if self.grace_token:
            message = "a grace note must stand right before its note, as in ^-5 -4:1"
            self.problems.append(self.grace_token.problem(message))
        self.grace, self.grace_token = (), None

    def _parse_tie(self, token: Token) -> None:
        _, colon, length = token.text.partition(":")
        beats = self._parse_length(token, length if colon else None)
        first_step = self.group.first_step if self.group else 0
        if self.can_tie and self.steps and first_step < len(self.steps):
            self.steps[-1] = replace(self.steps[-1], beats=self.steps[-1].beats + beats)
        else:
            self.problems.append(token.problem("a tie must follow the note that it extends"))
        self._advance(beats)

    def _advance(self, beats: Fraction) -> None:
        self.at += beats
        if self.group is not None:
            self.group.lengths.append(beats)

    def _parse_length(self, token: Token, text: str | None) -> Fraction:
        if text is None:
            return Fraction(1)
        try:
            return parse_length(text)
        except TabError as error:
            self.problems.append(token.problem(str(error)))
            self.bar_is_known = False
        return Fraction(1)

    def _open_group(self, token: Token) -> None:
        if self.group is not None:
            self.problems.append(token.problem("a group inside a group; close the first with ]"))
            return
        self.group = _Group(token, len(self.steps), self.at)

    def _close_group(self, token: Token) -> None:
        """Scale the open group to the length after its closing bracket."""
        group = self.group
        if group is None:
            self.problems.append(token.problem("no group is open here; write [ before its notes"))
            return
        written_beats = self.at - group.start
        _, colon, length = token.text.partition(":")
        beats = self._parse_length(token, length if colon else None)
        self.group = None
        if not written_beats:
            self.problems.append(token.problem("the group is empty; write notes in it"))
            return
        ratio = beats / written_beats
        for index in range(group.first_step, len(self.steps)):
            step = self.steps[index]
            start = group.start + (step.start - group.start) * ratio
            self.steps[index] = replace(step, start=start, beats=step.beats * ratio)
        lengths = [length * ratio for length in group.lengths]
        if min(lengths) < MIN_LENGTH_BEATS:
            self.problems.append(
                token.problem(
                    f"a note in the group is shorter than {MIN_LENGTH_BEATS} beat; make the group "
                    "longer, or take some notes out"
                )
            )
        elif not all(map(is_countable, lengths)):
            self.problems.append(
                token.problem("the fractions of a beat in the group are too fine; simplify them")
            )
        self.at = group.start + beats

    def _apply_directions(
        self, texts: list[str], token: Token, *, standing: bool = False
    ) -> PlayingDirections:
        """Return the directions in force and some more, up to the first that is wrong."""
        directions = self.directions
        try:
            for text in texts:
                directions = apply_direction(directions, text, standing=standing)
        except TabError as error:
            self.problems.append(token.problem(str(error)))
        return directions

    def _close_bar(self, token: Token, *, is_last: bool = False) -> None:
        beats, full = self.at - self.bar_start, self.beats_per_bar
        due = self.pickup if self.bar == 0 else full
        # The last bar may be shorter by the pick-up (common practice).
        complements_pickup = (
            is_last and self.bar > 0 and full is not None and beats == full - self.pickup
        )
        is_wrong = full is not None and self.bar_is_known and beats != due
        if is_wrong and token not in self.reported_bars and not complements_pickup:
            assert due is not None
            self.reported_bars.add(token)
            name = "the pick-up" if self.bar == 0 else f"bar {self.bar}"
            remedy = "add a note or a rest" if beats < due else "take some out"
            self.problems.append(
                token.problem(
                    f"{name} has {_format_beats(beats)} and should have "
                    f"{_format_beats(due, with_unit=False)}; {remedy}"
                )
            )
        if self.bar == 0:
            self.at = Fraction(0)
        self.bar += 1
        self.bar_start = self.at
        self.bar_is_known = True


def _format_beats(beats: Fraction | int, *, with_unit: bool = True) -> str:
    whole, rest = divmod(Fraction(beats), 1)
    number = f"{whole} {rest}" if whole and rest else str(rest or whole)
    return f"{number} beat{'' if 0 < beats <= 1 else 's'}" if with_unit else number
