"""One word of a tab text: what a note, a length or a direction says."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from difflib import get_close_matches
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from math import lcm

from trainer.drill.model import CleannessRule, Sound, Vibrato
from trainer.harp import HarpError, Tab

MIN_LENGTH_BEATS, MAX_LENGTH_BEATS = Fraction(1, 16), Fraction(64)
"""Beats that a length may have."""
LENGTH_UNIT_BEATS = Fraction(1, 4 * lcm(10**6, *range(1, 100)))
"""Beats; every length is a whole multiple of it. That is any decimal and any part down to the
99th, dotted or not, and whatever they add up to, so that each such sum is a length again."""
MAX_TARGET_OFFSET_CENTS = 99.0
"""Cents; a whole half step further is another tab entry."""
VIBRATO_RANGE_HZ, VIBRATO_RANGE_CENTS = (3.0, 9.0), (3.0, 100.0)
"""What the ear can measure."""
WAH_RANGE_HZ = (0.5, 9.0)
DEFAULT_WAH_HZ = 3.0
MAX_PATH_SOUNDS = 24
"""In a glide or ladder; all ten holes up and down again are 19."""
MAX_NOTE_CHARACTERS = 600
"""Of a note without its length; more than any that can be played takes."""

_ENTRY = re.compile(r"(-?)([0-9]{1,3}'*o?(?:\+[0-9]{1,3}'*o?)*)(?:@([+-][0-9]{1,3}(?:\.[0-9])?))?")
_LENGTH = re.compile(r"([0-9]{0,6}\.?[0-9]{1,6}|[0-9]{1,50}/[0-9]{1,50})(\.{0,2})\Z")
_PLAIN = str.maketrans({"’": "'", "‘": "'", "′": "'", "−": "-", "–": "-", "—": "-"})
"""What word processors put in place of the plain signs."""
_DOTTED = (Fraction(1), Fraction(3, 2), Fraction(7, 4))
_JOINED = {">": ("glide", "-4'>-4"), "=": ("ladder", "-3=-3'"), "/": ("choice", "-2/3")}
DIRECTION_NAMES = ("clean", "loose", "chord", "vibrato", "wah", "call", "answer")


class TabError(Exception):
    """A part of a token that cannot be read; the message says what was expected."""


@dataclass(frozen=True, slots=True)
class ParsedNote:
    """What a note's token says, but for its length."""

    sounds: tuple[Sound, ...]
    offsets_cents: tuple[float, ...]
    ladder: bool = False
    alternative: Tab | None = None


@dataclass(frozen=True, slots=True)
class PlayingDirections:
    """How notes are to be played, by the directions."""

    cleanness_rule: CleannessRule = CleannessRule.PLAIN
    vibrato: Vibrato | None = None
    wah_hz: float = 0.0
    call: bool = False


@lru_cache(maxsize=256)
def parse_length(text: str) -> Fraction:
    """The beats of a length, as it stands after the colon.

    Raises:
        Wrong: it is none.
    """
    found = _LENGTH.match(text)
    if not found:
        raise TabError(
            f"'{abbreviate(text)}' is not a length; write beats after the colon, as 2, 0.5 or 2/3"
            if text
            else "a length is missing after the colon; write beats, as 2, 0.5 or 2/3"
        )
    try:
        beats = Fraction(found[1]) * _DOTTED[len(found[2])]
    except ZeroDivisionError:
        raise TabError(f"'{text}' divides by zero; write a length as 2, 0.5 or 2/3") from None
    if not MIN_LENGTH_BEATS <= beats <= MAX_LENGTH_BEATS:
        raise TabError(
            f"a length of {abbreviate(text)} beats is out of range; write {MIN_LENGTH_BEATS} to "
            f"{MAX_LENGTH_BEATS}"
        )
    if not is_countable(beats):
        raise TabError(
            f"a length of {abbreviate(text)} beats cannot be counted; write parts down to 1/99"
        )
    return beats


def is_countable(beats: Fraction) -> bool:
    """Whether some beats are a multiple of `LENGTH_UNIT_BEATS`, as every length in a tab is."""
    return LENGTH_UNIT_BEATS.denominator % beats.denominator == 0


def abbreviate(text: str) -> str:
    """A text as it is told in a sentence."""
    return text if len(text) <= 60 else f"{text[:40]}…"


def apply_direction(manner: PlayingDirections, text: str, *, standing: bool) -> PlayingDirections:
    """What a direction in braces makes of the manner before.

    Args:
        manner: how notes are played so far.
        text: the direction with its braces.
        standing: whether it stands by itself and not on a note.

    Raises:
        Wrong: it is none.
    """
    if not (text.startswith("{") and text.endswith("}")):
        raise TabError(f"'{abbreviate(text)}' has one brace of two; write directions as {{loose}}")
    inside = text[1:-1].strip()
    if not inside:
        if not standing:
            raise TabError("{} on a note says nothing; write a direction in it, as {loose}")
        return PlayingDirections(call=manner.call)
    for direction in inside.split(","):
        manner = _with(manner, direction.split(), standing=standing)
    return manner


def _with(manner: PlayingDirections, words: list[str], *, standing: bool) -> PlayingDirections:
    name, figures = (words or [""])[0], words[1:]
    match name:
        case "clean" | "loose" | "chord":
            _figures(name, figures, ())
            return replace(manner, cleanness_rule=CleannessRule(name))
        case "vibrato":
            given = _figures(name, figures, (VIBRATO_RANGE_HZ, VIBRATO_RANGE_CENTS))
            return replace(manner, vibrato=Vibrato(*given))
        case "wah":
            given = _figures(name, figures, (WAH_RANGE_HZ,))
            return replace(manner, wah_hz=given[0] if given else DEFAULT_WAH_HZ)
        case "call" | "answer":
            _figures(name, figures, ())
            if not standing:
                raise TabError(f"{name} is for a passage; write {{{name}}} before its notes")
            return replace(manner, call=name == "call")
    near = get_close_matches(name, DIRECTION_NAMES, n=1)
    hint = f"did you mean {near[0]}?" if near else "there are " + ", ".join(DIRECTION_NAMES)
    raise TabError(f"no direction is called '{abbreviate(name)}'; {hint}")


def _figures(
    name: str, words: list[str], ranges: tuple[tuple[float, float], ...]
) -> tuple[float, ...]:
    """The figures of a direction: all of them, or none for the usual ones."""
    if not words:
        return ()
    if len(words) != len(ranges):
        wants = {"vibrato": "vibrato 5 20", "wah": "wah 3"}.get(name)
        raise TabError(
            f"'{abbreviate(' '.join([name, *words]))}' is not a direction; write "
            + (f"{wants}, or only {name}" if wants else f"only {name}")
        )
    given = []
    for word, (low, high) in zip(words, ranges, strict=True):
        if not re.fullmatch(r"[0-9]{1,3}(\.[0-9]{1,3})?", word) or not low <= float(word) <= high:
            raise TabError(
                f"'{abbreviate(word)}' in {name} must be a number from {low:g} to {high:g}"
            )
        given.append(float(word))
    return tuple(given)


def parse_tab_note(text: str) -> ParsedNote:
    """What a note says, without its length and directions.

    Raises:
        Wrong: it is none.
    """
    if len(text) > MAX_NOTE_CHARACTERS:
        raise TabError(_not_tab(abbreviate(text), text))
    path, slash, other = text.partition("/")
    if "=" in path and ">" in path:
        raise TabError(f"'{text}' is both a ladder and a glide; write two steps")
    ladder = "=" in path
    parts = path.split("=" if ladder else ">")
    read = [_entry(part, text) for part in parts]
    sounds = tuple(sound for sound, _ in read)
    offs = tuple(off for _, off in read)
    _check_path(text, sounds, offs, ladder=ladder)
    return ParsedNote(
        sounds, offs if any(offs) else (), ladder, _either(text, other, sounds) if slash else None
    )


def _check_path(
    text: str, sounds: tuple[Sound, ...], offs: tuple[float, ...], *, ladder: bool
) -> None:
    kind = "ladder" if ladder else "glide"
    if len(sounds) > MAX_PATH_SOUNDS:
        raise TabError(
            f"a {kind} goes through {MAX_PATH_SOUNDS} sounds at most; make two steps of it"
        )
    for (before, off), (after, next_off) in pairwise(zip(sounds, offs, strict=True)):
        if before[0].breath is not after[0].breath:
            raise TabError(
                f"a {kind} keeps one breath, but '{text}' turns from {before[0].breath} to "
                f"{after[0].breath}; give all its sounds the same sign, as in -4'>-4"
            )
        if len(before) != len(after):
            raise TabError(
                f"a {kind} keeps its number of holes, but '{text}' goes from {len(before)} to "
                f"{len(after)}"
            )
        if (before, off) == (after, next_off):
            raise TabError(f"'{text}' glides from a sound to itself; write it once, or two steps")
        if ladder and {tab.hole for tab in before} != {tab.hole for tab in after}:
            raise TabError(f"a ladder stays on its hole, but '{text}' changes it; write two steps")


def _either(text: str, other: str, sounds: tuple[Sound, ...]) -> Tab:
    if len(sounds) > 1 or len(sounds[0]) > 1:
        raise TabError(f"'{text}' may be either of two holes only for a single note, as -2/3")
    sound, off = _entry(other, text)
    if len(sound) > 1 or off:
        raise TabError(f"'{text}' may be either of two holes only for a single note, as -2/3")
    if sound == sounds[0]:
        raise TabError(f"'{text}' names the same hole twice; write it once")
    return sound[0]


def _entry(text: str, whole: str) -> tuple[Sound, float]:
    found = _ENTRY.fullmatch(text)
    if not found:
        raise TabError(_not_tab(text, whole))
    sign, holes, off = found.groups()
    try:
        tabs = sorted(Tab.parse(sign + hole) for hole in holes.split("+"))
    except HarpError as error:
        raise TabError(str(error)) from None
    numbers = [tab.hole for tab in tabs]
    for hole in sorted(set(numbers)):
        if numbers.count(hole) > 1:
            raise TabError(f"the chord '{text}' names hole {hole} twice; name each hole once")
    cents = float(off or 0.0)
    if abs(cents) > MAX_TARGET_OFFSET_CENTS:
        raise TabError(
            f"'{text}' is {abs(cents):g} cents off, which is another note; it may be up to "
            f"{MAX_TARGET_OFFSET_CENTS:g}"
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
        f"'{abbreviate(text)}' is not tab; write 4 for blow, -4 for draw, -4' bent, 4o overblown, "
        "-3+4 for a chord, -4'>-4 for a glide, r for a rest"
    )
