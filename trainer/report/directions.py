"""Directions on a page of tab: the words above the notes, and their meanings."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from trainer.drill import (
    DEFAULT_DIP,
    DEFAULT_SHAKE_HZ,
    Articulation,
    CleannessRule,
    Drill,
    Inflection,
    Step,
    Vibrato,
    VibratoKind,
    format_sound,
)
from trainer.harp import parse_key
from trainer.music import key_in_position
from trainer.report.solo_report import brief_text

ROWS = 7
"""Rows of directions above a part: chords, call and answer, cleanness, vibrato, wah, articulation,
and what is mostly for one note."""
_CHORD, _TURN, _CLEANNESS, _VIBRATO, _WAH, _ARTICULATION, _NOTE = range(ROWS)
SOLO = "solo"
"""Word of the bars that are left to the player."""
_CLEANNESS_MEANINGS = {
    CleannessRule.CLEAN: "must be clean; it earns no more than that",
    CleannessRule.BLUR: "a neighbour may sound along",
    CleannessRule.CHORD: "a hole beside it must sound along",
    CleannessRule.AROUND: "a chord on about these holes, two or more of them",
}
_ARTICULATION_MEANINGS = {
    Articulation.TONGUED: "stop, and tongue the note",
    Articulation.LEGATO: "go on into the next note of the same breath without a gap",
    Articulation.STACCATO: "short: hold at most half of the note's length",
}


@dataclass(frozen=True, slots=True)
class _Word:
    """A direction of one step.

    Attributes:
        row: its row.
        name: the direction without numbers.
        numbers: its numbers; empty if it has none.
        meaning: what to do.
    """

    row: int
    name: str
    numbers: str
    meaning: str


def written_tab(step: Step) -> str:
    """Return a step's tab with its grace note: ``^-5 -4``."""
    return f"^{format_sound(step.grace)} {step.tab}" if step.grace else step.tab


class Directions:
    """The directions of a drill.

    A word is above the first note that it applies to, and a bracket closes above the last. Numbers
    are shown only if the drill has the direction with several; :meth:`meanings` always gives them.
    """

    def __init__(self, drill: Drill) -> None:
        self._drill = drill
        self._parts = (drill.steps, drill.second)
        numbers: dict[str, set[str]] = {}
        for part in self._parts:
            for words in _words(part):
                for word in words:
                    numbers.setdefault(word.name, set()).add(word.numbers)
        self._several = {name for name, texts in numbers.items() if len(texts) > 1}

    def over(
        self, part: Sequence[Step], line: Callable[[Fraction], object]
    ) -> dict[Fraction, tuple[str, ...]]:
        """Return the texts above the notes of a part, one per row, by the beat of the note.

        Args:
            part: the steps of the part.
            line: gives the line of the page of a beat; a direction that continues is repeated on
                each line.
        """
        lines = [line(step.start) for step in part]
        by_step = [*_words(part)]
        rows = [
            _bracketed([self._text(words, {row}) for words in by_step], lines)
            for row in range(ROWS)
        ]
        texts = {step.start: tuple(row[i] for row in rows) for i, step in enumerate(part)}
        for at, chord in self._chords(part).items():
            others = texts.get(at, ("",) * ROWS)
            texts[at] = (chord, *others[1:])
        return texts

    def in_one_row(
        self, part: Sequence[Step], line: Callable[[Fraction], object]
    ) -> dict[Fraction, str]:
        """Return the same as :meth:`over`, with all directions of a note in one text."""
        texts = [self._text(words, set(range(ROWS))) for words in _words(part)]
        row = _bracketed(texts, [line(step.start) for step in part])
        by_beat = {step.start: text for step, text in zip(part, row, strict=True)}
        solos = dict.fromkeys(solo_bars(self._drill) if part is self._drill.steps else (), SOLO)
        for at, word in [*solos.items(), *self._chords(part).items()]:
            by_beat[at] = f"{word} {by_beat.get(at, '')}".strip()
        return by_beat

    def _chords(self, part: Sequence[Step]) -> dict[Fraction, str]:
        """Return the chords of the ground above the first part, by their beats."""
        if part is not self._drill.steps:
            return {}
        return {each.start: each.chord.in_key for each in self._drill.chords}

    def meanings(self) -> Iterator[tuple[str, str]]:
        """Yield each direction that occurs, with its meaning."""
        meanings: dict[str, str] = {}
        for part in self._parts:
            for words in _words(part):
                meanings |= {self._text([word], {word.row}): word.meaning for word in words}
        for text, meaning in meanings.items():
            yield f"({text})", meaning
        if self._drill.solos and self._drill.brief:
            yield SOLO, f"your own: {brief_text(self._drill.brief)}"
        if self._drill.ground:
            tonic = key_in_position(parse_key(self._drill.key).tonic, self._drill.position or 1)
            chords = dict.fromkeys(each.chord for each in self._drill.chords)
            names = ", ".join(f"{chord.in_key} {chord.name(tonic)}" for chord in chords)
            yield "I", f"chords in the key; on the {self._drill.key} harp: {names}"

    def _text(self, words: Sequence[_Word], rows: set[int]) -> str:
        """Return the directions in some rows as one text."""
        return ", ".join(
            f"{word.name} {word.numbers}" if word.name in self._several else word.name
            for word in words
            if word.row in rows
        )


def solo_bars(drill: Drill) -> Iterator[Fraction]:
    """Yield the beats on which solos begin, and those of the bar lines in them."""
    for solo in drill.solos:
        yield solo.start
        bar_lines = (drill.first_beat(number) for number in range(1, drill.bars + 1))
        yield from (line for line in bar_lines if solo.start < line < solo.end)


def _words(part: Sequence[Step]) -> Iterator[list[_Word]]:
    """Yield the directions of each step."""
    called = False
    for step in part:
        called = called or step.call
        words = [*_techniques(step)]
        if step.call:
            words.insert(0, _Word(_TURN, "call", "", "the trainer plays"))
        elif called:
            words.insert(0, _Word(_TURN, "answer", "", "you play after it"))
        yield words


def _techniques(step: Step) -> Iterator[_Word]:
    """Yield the directions of a step but call and answer."""
    rule, articulation = step.cleanness_rule, step.articulation
    if rule in _CLEANNESS_MEANINGS:
        yield _Word(_CLEANNESS, rule.value, "", _CLEANNESS_MEANINGS[rule])
    if step.vibrato:
        yield _vibrato(step.vibrato)
    if step.wah_hz:
        hz = f"{step.wah_hz:g}"
        yield _Word(_WAH, "wah", hz, f"open and close the hands {hz} times a second")
    if step.shake and step.shake.hz != DEFAULT_SHAKE_HZ:
        hz = f"{step.shake.hz:g}"
        yield _Word(_NOTE, "shake", hz, f"back and forth between the holes {hz} times a second")
    if articulation in _ARTICULATION_MEANINGS:
        meaning = _ARTICULATION_MEANINGS[articulation]
        yield _Word(_ARTICULATION, articulation.value, "", meaning)
    if step.slap:
        meaning = "let the two holes below sound along, and cover them with the tongue at once"
        yield _Word(_NOTE, "slap", "", meaning)
    if step.optional:
        yield _Word(_NOTE, "optional", "", "may be left out")
    if step.accent:
        yield _Word(_NOTE, "accent", "", "louder than the notes around it")
    if step.swell_db:
        name, change = ("swell", "louder") if step.swell_db > 0 else ("fade", "softer")
        db = f"{abs(step.swell_db):g}"
        yield _Word(_NOTE, name, db, f"grow {change} over the note, by {db} dB")
    if step.scoop:
        yield _scoop(step.scoop)
    if step.fall:
        beats, cents = str(step.fall.beats), f"{step.fall.cents:g}"
        meaning = f"let the pitch fall by {cents} cents in the last {beats} beat"
        yield _Word(_NOTE, "fall", f"{beats} {cents}", meaning)


def _vibrato(vibrato: Vibrato) -> _Word:
    hz = f"{vibrato.hz:g}"
    if vibrato.kind is VibratoKind.HAND:
        db = f"{vibrato.db:g}"
        meaning = f"swing the loudness with the hands {hz} times a second, by {db} dB"
        return _Word(_VIBRATO, "hand vibrato", f"{hz} {db}", meaning)
    cents = f"{vibrato.cents:g}"
    meaning = (
        f"dip the pitch {hz} times a second, by {2 * vibrato.cents:g} cents; swing a bend by "
        f"{cents} to each side"
    )
    return _Word(_VIBRATO, "vibrato", f"{hz} {cents}", meaning)


def _scoop(scoop: Inflection) -> _Word:
    beats, cents = str(scoop.beats), f"{scoop.cents:g}"
    if scoop.beats == DEFAULT_DIP.beats:
        meaning = f"begin {cents} cents low and rise at once"
        return _Word(_NOTE, "dip", cents, meaning)
    meaning = f"begin {cents} cents low and glide up over {beats} beat"
    return _Word(_NOTE, "scoop", f"{beats} {cents}", meaning)


def _bracketed(words: Sequence[str], lines: Sequence[object]) -> list[str]:
    """Return directions in brackets, a pair for each run of equal directions on a line."""
    row: list[str] = []
    for (word, _), run in groupby(zip(words, lines, strict=True)):
        texts = [""] * len(list(run))
        if word:
            texts[-1] = ")"
            texts[0] = f"({word}" + texts[0]
        row += texts
    return row
