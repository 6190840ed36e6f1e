"""One word of a tab text: what a note, a length or a direction says."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from difflib import get_close_matches
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from math import lcm

from trainer.drill.model import Care, Sound, Vibrato
from trainer.harp import HarpError, Tab

SHORTEST, LONGEST = Fraction(1, 16), Fraction(64)
"""Beats that a length may have."""
FINEST = Fraction(1, 4 * lcm(10**6, *range(1, 100)))
"""Beats; every length is a whole multiple of it. That is any decimal and any part down to the
99th, dotted or not, and whatever they add up to, so that each such sum is a length again."""
MOST_OFF = 99.0
"""Cents; a whole half step further is another tab entry."""
VIBRATO_HZ, VIBRATO_CENTS = (3.0, 9.0), (3.0, 100.0)
"""What the ear can measure."""
WAH_HZ = (0.5, 9.0)
USUAL_WAH = 3.0
MOST_IN_PATH = 24
"""In a glide or ladder; all ten holes up and down again are 19."""
MOST_CHARACTERS = 600
"""Of a note without its length; more than any that can be played takes."""

_ENTRY = re.compile(r"(-?)([0-9]{1,3}'*o?(?:\+[0-9]{1,3}'*o?)*)(?:@([+-][0-9]{1,3}(?:\.[0-9])?))?")
_LENGTH = re.compile(r"([0-9]{0,6}\.?[0-9]{1,6}|[0-9]{1,50}/[0-9]{1,50})(\.{0,2})\Z")
_PLAIN = str.maketrans({"’": "'", "‘": "'", "′": "'", "−": "-", "–": "-", "—": "-"})
"""What word processors put in place of the plain signs."""
_DOTTED = (Fraction(1), Fraction(3, 2), Fraction(7, 4))
_JOINED = {">": ("glide", "-4'>-4"), "=": ("ladder", "-3=-3'"), "/": ("choice", "-2/3")}
DIRECTIONS = ("clean", "loose", "chord", "vibrato", "wah", "call", "answer")


class Wrong(Exception):
    """A part of a token that cannot be read; the message says what was expected."""


@dataclass(frozen=True, slots=True)
class Note:
    """What a note's token says, but for its length."""

    sounds: tuple[Sound, ...]
    offs: tuple[float, ...]
    ladder: bool = False
    either: Tab | None = None


@dataclass(frozen=True, slots=True)
class Manner:
    """How notes are to be played, by the directions."""

    care: Care = Care.PLAIN
    vibrato: Vibrato | None = None
    wah: float = 0.0
    call: bool = False


@lru_cache(maxsize=256)
def beats_of(text: str) -> Fraction:
    """The beats of a length, as it stands after the colon.

    Raises:
        Wrong: it is none.
    """
    found = _LENGTH.match(text)
    if not found:
        raise Wrong(
            f"'{short(text)}' is not a length; write beats after the colon, as 2, 0.5 or 2/3"
            if text
            else "a length is missing after the colon; write beats, as 2, 0.5 or 2/3"
        )
    try:
        beats = Fraction(found[1]) * _DOTTED[len(found[2])]
    except ZeroDivisionError:
        raise Wrong(f"'{text}' divides by zero; write a length as 2, 0.5 or 2/3") from None
    if not SHORTEST <= beats <= LONGEST:
        raise Wrong(
            f"a length of {short(text)} beats is out of range; it may be {SHORTEST} to {LONGEST}"
        )
    if not can_be_counted(beats):
        raise Wrong(f"a length of {short(text)} beats cannot be counted; write parts down to 1/99")
    return beats


def can_be_counted(beats: Fraction) -> bool:
    """Whether some beats are a multiple of `FINEST`, as every length in a tab is."""
    return FINEST.denominator % beats.denominator == 0


def short(text: str) -> str:
    """A text as it is told in a sentence."""
    return text if len(text) <= 60 else f"{text[:40]}…"


def directed(manner: Manner, text: str, *, standing: bool) -> Manner:
    """What a direction in braces makes of the manner before.

    Args:
        manner: how notes are played so far.
        text: the direction with its braces.
        standing: whether it stands by itself and not on a note.

    Raises:
        Wrong: it is none.
    """
    if not (text.startswith("{") and text.endswith("}")):
        raise Wrong(f"'{short(text)}' has one brace of two; write directions as {{loose}}")
    inside = text[1:-1].strip()
    if not inside:
        if not standing:
            raise Wrong("{} on a note says nothing; write a direction in it, as {loose}")
        return Manner(call=manner.call)
    for direction in inside.split(","):
        manner = _with(manner, direction.split(), standing=standing)
    return manner


def _with(manner: Manner, words: list[str], *, standing: bool) -> Manner:
    name, figures = (words or [""])[0], words[1:]
    match name:
        case "clean" | "loose" | "chord":
            _figures(name, figures, ())
            return replace(manner, care=Care(name))
        case "vibrato":
            given = _figures(name, figures, (VIBRATO_HZ, VIBRATO_CENTS))
            return replace(manner, vibrato=Vibrato(*given))
        case "wah":
            given = _figures(name, figures, (WAH_HZ,))
            return replace(manner, wah=given[0] if given else USUAL_WAH)
        case "call" | "answer":
            _figures(name, figures, ())
            if not standing:
                raise Wrong(f"{name} is for a passage; write {{{name}}} before its notes")
            return replace(manner, call=name == "call")
    near = get_close_matches(name, DIRECTIONS, n=1)
    hint = f"did you mean {near[0]}?" if near else "there are " + ", ".join(DIRECTIONS)
    raise Wrong(f"no direction is called '{short(name)}'; {hint}")


def _figures(
    name: str, words: list[str], ranges: tuple[tuple[float, float], ...]
) -> tuple[float, ...]:
    """The figures of a direction: all of them, or none for the usual ones."""
    if not words:
        return ()
    if len(words) != len(ranges):
        wants = {"vibrato": "vibrato 5 20", "wah": "wah 3"}.get(name)
        raise Wrong(
            f"'{short(' '.join([name, *words]))}' is not a direction; write "
            + (f"{wants}, or only {name}" if wants else f"only {name}")
        )
    given = []
    for word, (low, high) in zip(words, ranges, strict=True):
        if not re.fullmatch(r"[0-9]{1,3}(\.[0-9]{1,3})?", word) or not low <= float(word) <= high:
            raise Wrong(f"'{short(word)}' in {name} must be a number from {low:g} to {high:g}")
        given.append(float(word))
    return tuple(given)


def note_of(text: str) -> Note:
    """What a note says, without its length and directions.

    Raises:
        Wrong: it is none.
    """
    if len(text) > MOST_CHARACTERS:
        raise Wrong(_not_tab(short(text), text))
    path, slash, other = text.partition("/")
    if "=" in path and ">" in path:
        raise Wrong(f"'{text}' is both a ladder and a glide; write two steps")
    ladder = "=" in path
    parts = path.split("=" if ladder else ">")
    read = [_entry(part, text) for part in parts]
    sounds = tuple(sound for sound, _ in read)
    offs = tuple(off for _, off in read)
    _check_path(text, sounds, offs, ladder=ladder)
    return Note(
        sounds, offs if any(offs) else (), ladder, _either(text, other, sounds) if slash else None
    )


def _check_path(
    text: str, sounds: tuple[Sound, ...], offs: tuple[float, ...], *, ladder: bool
) -> None:
    kind = "ladder" if ladder else "glide"
    if len(sounds) > MOST_IN_PATH:
        raise Wrong(f"a {kind} goes through {MOST_IN_PATH} sounds at most; make two steps of it")
    for (before, off), (after, next_off) in pairwise(zip(sounds, offs, strict=True)):
        if before[0].breath is not after[0].breath:
            raise Wrong(
                f"a {kind} keeps one breath, but '{text}' turns from {before[0].breath} to "
                f"{after[0].breath}; give all its sounds the same sign, as in -4'>-4"
            )
        if len(before) != len(after):
            raise Wrong(
                f"a {kind} keeps its number of holes, but '{text}' goes from {len(before)} to "
                f"{len(after)}"
            )
        if (before, off) == (after, next_off):
            raise Wrong(f"'{text}' glides from a sound to itself; write it once, or two steps")
        if ladder and {tab.hole for tab in before} != {tab.hole for tab in after}:
            raise Wrong(f"a ladder stays on its hole, but '{text}' changes it; write two steps")


def _either(text: str, other: str, sounds: tuple[Sound, ...]) -> Tab:
    if len(sounds) > 1 or len(sounds[0]) > 1:
        raise Wrong(f"'{text}' may be either of two holes only for a single note, as -2/3")
    sound, off = _entry(other, text)
    if len(sound) > 1 or off:
        raise Wrong(f"'{text}' may be either of two holes only for a single note, as -2/3")
    if sound == sounds[0]:
        raise Wrong(f"'{text}' names the same hole twice; write it once")
    return sound[0]


def _entry(text: str, whole: str) -> tuple[Sound, float]:
    found = _ENTRY.fullmatch(text)
    if not found:
        raise Wrong(_not_tab(text, whole))
    sign, holes, off = found.groups()
    try:
        tabs = sorted(Tab.parse(sign + hole) for hole in holes.split("+"))
    except HarpError as error:
        raise Wrong(str(error)) from None
    numbers = [tab.hole for tab in tabs]
    for hole in sorted(set(numbers)):
        if numbers.count(hole) > 1:
            raise Wrong(f"the chord '{text}' names hole {hole} twice; name each hole once")
    cents = float(off or 0.0)
    if abs(cents) > MOST_OFF:
        raise Wrong(
            f"'{text}' is {abs(cents):g} cents off, which is another note; it may be up to "
            f"{MOST_OFF:g}"
        )
    return tuple(tabs), cents


def _not_tab(text: str, whole: str) -> str:
    plain = text.translate(_PLAIN)
    if plain != text and _ENTRY.fullmatch(plain):
        return f"'{text}' has a sign that is not plain text; type {plain}"
    if not whole:
        return "there is no note before the colon; write one, as in -4:1, or r:1 for a rest"
    if not text:
        sign = next(sign for sign in ">=/" if sign in whole)
        kind, example = _JOINED[sign]
        sides = f"write one on each side of '{sign}', as in {example}"
        return f"the {kind} '{whole}' lacks a sound; {sides}"
    inner = text[:1] + text[1:].replace("-", "")
    if "+" in text and "@" not in text and _ENTRY.fullmatch(inner):
        return f"'{text}' has a breath sign inside a chord; one in front serves all: {inner}"
    if "@" in text:
        return f"'{text}' has no cents that can be read; write them with a sign, as in -3@-40"
    return (
        f"'{short(text)}' is not tab; write 4 for blow, -4 for draw, -4' bent, 4o overblown, -3+4 "
        "for a chord, -4'>-4 for a glide, r for a rest"
    )
