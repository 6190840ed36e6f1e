"""Parsing of single tab tokens: notes, lengths and directions."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from math import lcm
from typing import Any

from trainer.drill.common_tab import PLAIN_SIGNS, rewrite_tab_word
from trainer.drill.model import (
    DEFAULT_DIP,
    DEFAULT_FALL,
    DEFAULT_SCOOP,
    DEFAULT_SHAKE_HZ,
    DEFAULT_SWELL_DB,
    Articulation,
    CleannessRule,
    Inflection,
    Shake,
    Sound,
    Vibrato,
)
from trainer.harp import HarpError, Tab

MIN_LENGTH_BEATS, MAX_LENGTH_BEATS = Fraction(1, 16), Fraction(64)
"""Range of a length in beats."""
LENGTH_UNIT_BEATS = Fraction(1, 4 * lcm(10**6, *range(1, 100)))
"""Unit of which every length, in beats, is a whole multiple.

It covers all decimals of six places and all fractions down to 1/99, dotted or not, so that the sum
of lengths is a valid length again."""
MAX_TARGET_OFFSET_CENTS = 99.0
"""Maximum offset of a target in cents; a half step off is another tab entry."""
VIBRATO_RANGE_HZ, VIBRATO_RANGE_CENTS = (3.0, 9.0), (3.0, 100.0)
"""Ranges of vibrato rate in hertz and amplitude in cents that the ear can measure."""
WAH_RANGE_HZ = (0.5, 9.0)
"""Range of the hand wah's rate in hertz."""
DEFAULT_WAH_HZ = 3.0
"""Rate of a hand wah without a number, in hertz (common practice)."""
SHAKE_RANGE_HZ = (4.0, 8.0)
"""Range of a shake's rate in full cycles per second (common practice)."""
INFLECTION_RANGE_BEATS, INFLECTION_RANGE_CENTS = (Fraction(1, 16), Fraction(4)), (20.0, 400.0)
"""Ranges of the duration in beats and the depth in cents of scoops, dips and falls."""
SWELL_RANGE_DB = (1.0, 20.0)
"""Range of the change of loudness of swells, fades and hand vibrato in dB."""
MAX_PATH_SOUNDS = 24
"""Maximum number of sounds in a glide or ladder; ten holes up and down again are 19."""
MAX_NOTE_CHARACTERS = 600
"""Maximum length of a note's text in characters; playable notes are shorter."""

_SOUND = re.compile(r"(-?)([0-9]{1,3}'*o?(?:\+[0-9]{1,3}'*o?)*)(?:@([+-][0-9]{1,3}(?:\.[0-9])?))?")
_LENGTH = re.compile(r"([0-9]{0,6}\.?[0-9]{1,6}|[0-9]{1,50}/[0-9]{1,50})(\.{0,2})\Z")
_DOT_FACTORS = (Fraction(1), Fraction(3, 2), Fraction(7, 4))
_BRACES = re.compile(r"\{([^}]*)\}")
_PATH_SIGNS = {
    "<>": ("shake", "-4<>5"),
    ">": ("glide", "-4'>-4"),
    "=": ("ladder", "-3=-3'"),
    "/": ("choice", "-2/3"),
}
FORMER_DIRECTIONS = {"loose": "blur"}
"""Former names of directions, which are still read, and their present ones."""


class TabError(Exception):
    """A part of a token that cannot be parsed; the message states what is expected."""


@dataclass(frozen=True, slots=True)
class ParsedNote:
    """A note's token without its length; the fields are those of a step."""

    sounds: tuple[Sound, ...]
    offsets_cents: tuple[float, ...]
    ladder: bool = False
    alternative: Tab | None = None
    shaken_with: Sound = ()

    def shake(self, hz: float | None) -> Shake | None:
        """Return its shake at a rate in hertz, or at the default one; None for another note."""
        return Shake(self.shaken_with, hz or DEFAULT_SHAKE_HZ) if self.shaken_with else None


@dataclass(frozen=True, slots=True)
class PlayingDirections:
    """State of the directions: how notes are to be played; the fields are those of a step.

    Attributes:
        shake_hz: rate of shakes in hertz; None for the default one.
    """

    cleanness_rule: CleannessRule = CleannessRule.PLAIN
    vibrato: Vibrato | None = None
    wah_hz: float = 0.0
    shake_hz: float | None = None
    scoop: Inflection | None = None
    fall: Inflection | None = None
    articulation: Articulation = Articulation.PLAIN
    accent: bool = False
    swell_db: float = 0.0
    slap: bool = False
    optional: bool = False
    call: bool = False


Range = tuple[float, float] | tuple[Fraction, Fraction]
"""Lowest and highest number; numbers in a range of fractions may be written as fractions."""


@dataclass(frozen=True, slots=True)
class _Direction:
    """What a direction does.

    Attributes:
        sets: field of :class:`PlayingDirections` that it sets.
        value: the field's value without numbers.
        ranges: ranges of its numbers, all of which are written or none.
        example: the direction with numbers.
        with_numbers: the field's value with numbers.
        for_passage: whether it is only for passages, not for a single note.
    """

    sets: str
    value: Any
    ranges: tuple[Range, ...] = ()
    example: str = ""
    with_numbers: Callable[..., Any] = float
    for_passage: bool = False


def _inflection(beats: Fraction, cents: Fraction) -> Inflection:
    return Inflection(beats, float(cents))


def _throat_vibrato(hz: Fraction, cents: Fraction) -> Vibrato:
    return Vibrato(float(hz), float(cents))


_INFLECTION = (INFLECTION_RANGE_BEATS, INFLECTION_RANGE_CENTS)
_VIBRATO = (VIBRATO_RANGE_HZ, VIBRATO_RANGE_CENTS)
DIRECTIONS: Mapping[str, _Direction] = {
    "clean": _Direction("cleanness_rule", CleannessRule.CLEAN),
    "blur": _Direction("cleanness_rule", CleannessRule.BLUR),
    "chord": _Direction("cleanness_rule", CleannessRule.CHORD),
    "around": _Direction("cleanness_rule", CleannessRule.AROUND),
    "vibrato": _Direction("vibrato", Vibrato(), _VIBRATO, "vibrato 5 20", _throat_vibrato),
    "throat vibrato": _Direction(
        "vibrato", Vibrato(), _VIBRATO, "throat vibrato 5 20", _throat_vibrato
    ),
    "hand vibrato": _Direction(
        "vibrato",
        Vibrato.of_hands(),
        (VIBRATO_RANGE_HZ, SWELL_RANGE_DB),
        "hand vibrato 5 6",
        lambda hz, db: Vibrato.of_hands(float(hz), float(db)),
    ),
    "wah": _Direction("wah_hz", DEFAULT_WAH_HZ, (WAH_RANGE_HZ,), "wah 3"),
    "shake": _Direction("shake_hz", DEFAULT_SHAKE_HZ, (SHAKE_RANGE_HZ,), "shake 6"),
    "scoop": _Direction("scoop", DEFAULT_SCOOP, _INFLECTION, "scoop 1/2 100", _inflection),
    "dip": _Direction(
        "scoop",
        DEFAULT_DIP,
        (INFLECTION_RANGE_CENTS,),
        "dip 100",
        lambda cents: _inflection(DEFAULT_DIP.beats, cents),
    ),
    "fall": _Direction("fall", DEFAULT_FALL, _INFLECTION, "fall 1/2 100", _inflection),
    "tongued": _Direction("articulation", Articulation.TONGUED),
    "legato": _Direction("articulation", Articulation.LEGATO),
    "staccato": _Direction("articulation", Articulation.STACCATO),
    "accent": _Direction("accent", True),
    "swell": _Direction("swell_db", DEFAULT_SWELL_DB, (SWELL_RANGE_DB,), "swell 6"),
    "fade": _Direction(
        "swell_db", -DEFAULT_SWELL_DB, (SWELL_RANGE_DB,), "fade 6", lambda db: -float(db)
    ),
    "slap": _Direction("slap", True),
    "optional": _Direction("optional", True),
    "call": _Direction("call", True, for_passage=True),
    "answer": _Direction("call", False, for_passage=True),
}
"""All directions by name."""


@lru_cache(maxsize=256)
def parse_length(text: str) -> Fraction:
    """Parse the length after a note's colon, in beats.

    Raises:
        TabError: it is not valid.
    """
    match = _LENGTH.match(text)
    if not match:
        raise TabError(
            f"'{abbreviate(text)}' is not a length; write beats after the colon, such as 2 or 2/3"
            if text
            else "a length is missing after the colon; write beats, such as 2 or 2/3"
        )
    try:
        beats = Fraction(match[1]) * _DOT_FACTORS[len(match[2])]
    except ZeroDivisionError:
        raise TabError(f"'{text}' divides by zero; write a length such as 2 or 2/3") from None
    if not MIN_LENGTH_BEATS <= beats <= MAX_LENGTH_BEATS:
        raise TabError(
            f"a length of {abbreviate(text)} beats is out of range; write {MIN_LENGTH_BEATS} to "
            f"{MAX_LENGTH_BEATS}"
        )
    if not is_countable(beats):
        raise TabError(
            f"a length of {abbreviate(text)} beats is too fine; write fractions down to 1/99"
        )
    return beats


def is_countable(beats: Fraction) -> bool:
    """Whether a length is a multiple of `LENGTH_UNIT_BEATS`."""
    return LENGTH_UNIT_BEATS.denominator % beats.denominator == 0


def abbreviate(text: str) -> str:
    """Return a text short enough for a message."""
    return text if len(text) <= 60 else f"{text[:40]}…"


def apply_direction(
    directions: PlayingDirections, text: str, *, standing: bool
) -> PlayingDirections:
    """Return the state of the directions after one or several more.

    Args:
        directions: the state before.
        text: directions in their braces.
        standing: whether they stand alone, not on a note.

    Raises:
        TabError: it is not valid.
    """
    if not (text.startswith("{") and text.endswith("}")):
        raise TabError(f"'{abbreviate(text)}' lacks a brace; write directions as {{clean}}")
    inside = text[1:-1].strip()
    if not inside:
        if not standing:
            raise TabError("{} on a note has no effect; write a direction in it, as {clean}")
        return PlayingDirections(call=directions.call)
    named: dict[str, str] = {}  # names of the directions in these braces, by the field they set
    for direction in inside.split(","):
        name, numbers = _split_name(direction)
        form = DIRECTIONS.get(name)
        if form is None:
            raise TabError(_unknown_direction(name))
        if form.for_passage and not standing:
            raise TabError(f"{name} is for a passage; write {{{name}}} before its notes")
        if named.setdefault(form.sets, name) != name:
            raise TabError(f"{named[form.sets]} and {name} exclude each other; write one of them")
        values = _parse_numbers(name, numbers, form)
        value = form.with_numbers(*values) if values else form.value
        directions = replace(directions, **{form.sets: value})
    return directions


def _split_name(direction: str) -> tuple[str, list[str]]:
    """Split a direction into its present name and its numbers."""
    words = direction.split()
    count = 2 if words[1:2] == ["vibrato"] else 1
    name = " ".join(words[:count])
    return FORMER_DIRECTIONS.get(name, name), words[count:]


def former_names(token: str) -> tuple[str, ...]:
    """Return the former names of directions in a token, in order."""
    names = (words[0] for inside in _BRACES.findall(token) for words in _directions(inside))
    return tuple(name for name in names if name in FORMER_DIRECTIONS)


def _directions(inside: str) -> list[list[str]]:
    """Return the words of each direction between braces."""
    return [words for direction in inside.split(",") if (words := direction.split())]


def _unknown_direction(name: str) -> str:
    near = get_close_matches(name, DIRECTIONS, n=1)
    hint = f"did you mean {near[0]}?" if near else "there are " + ", ".join(DIRECTIONS)
    return f"no direction is called '{abbreviate(name)}'; {hint}"


def _parse_numbers(name: str, words: list[str], form: _Direction) -> tuple[Fraction, ...]:
    """Parse the numbers of a direction: all of them, or none for the defaults."""
    if not words:
        return ()
    if len(words) != len(form.ranges):
        raise TabError(
            f"'{abbreviate(' '.join([name, *words]))}' is not a direction; write "
            + (f"{form.example}, or only {name}" if form.example else f"only {name}")
        )
    numbers = []
    for word, (low, high) in zip(words, form.ranges, strict=True):
        is_decimal = re.fullmatch(r"[0-9]{1,3}(\.[0-9]{1,3})?", word)
        is_fraction = re.fullmatch(r"[0-9]{1,2}/[1-9][0-9]?", word) and isinstance(low, Fraction)
        number = Fraction(word) if is_decimal or is_fraction else None
        if number is None or not low <= number <= high:
            what = "a length" if isinstance(low, Fraction) else "a number"
            bounds = f"{low} to {high}" if isinstance(low, Fraction) else f"{low:g} to {high:g}"
            raise TabError(f"'{abbreviate(word)}' in {name} must be {what} from {bounds}")
        numbers.append(number)
    return tuple(numbers)


def parse_tab_note(text: str) -> ParsedNote:
    """Parse a note without its length and directions.

    Raises:
        TabError: it is not valid.
    """
    if len(text) > MAX_NOTE_CHARACTERS:
        raise TabError(_describe_error(abbreviate(text), text))
    if "<>" in text:
        return _parse_shake(text)
    path, slash, other = text.partition("/")
    if "=" in path and ">" in path:
        raise TabError(f"'{text}' is both a ladder and a glide; write two steps")
    ladder = "=" in path
    parts = path.split("=" if ladder else ">")
    parsed = [_parse_sound(part, text) for part in parts]
    sounds = tuple(sound for sound, _ in parsed)
    offsets = tuple(offset for _, offset in parsed)
    _check_path(text, sounds, offsets, ladder=ladder)
    return ParsedNote(
        sounds,
        offsets if any(offsets) else (),
        ladder,
        _parse_alternative(text, other, sounds) if slash else None,
    )


def _parse_shake(text: str) -> ParsedNote:
    """Parse a shake between two sounds of one breath."""
    first, _, second = text.partition("<>")
    if any(sign in second for sign in ("<>", ">", "=", "/")) or any(s in first for s in ">=/"):
        raise TabError(f"a shake is between two sounds only, as in -4<>5; '{text}' has more")
    sound, offset = _parse_sound(first, text)
    if second.startswith("-"):
        raise TabError(
            f"write one breath sign in front of the shake '{text}', as {first}<>{second[1:]}"
        )
    sign = "-" if first.startswith("-") else ""
    other, other_offset = _parse_sound(f"{sign}{second}" if second else "", text)
    if other_offset:
        raise TabError(f"leave out the cents of the second sound in '{text}'; only the first has")
    if other == sound:
        raise TabError(f"the shake '{text}' names the same sound twice; write a neighbouring hole")
    if len(other) != len(sound):
        raise TabError(
            f"a shake keeps its number of holes; write as many on both sides of '{text}'"
        )
    return ParsedNote((sound,), (offset,) if offset else (), shaken_with=other)


def parse_grace(text: str) -> Sound:
    """Parse a grace note, which is a sound after ``^`` without length and directions.

    Raises:
        TabError: it is not valid.
    """
    if ":" in text or "{" in text:
        raise TabError(
            f"write only ^ and a note, as in ^-5 -4:1: the grace note '{abbreviate(text)}' takes "
            "its time from the note before, and directions go on its note"
        )
    sound, offset = _parse_sound(text[1:], text[1:])
    if offset:
        raise TabError(f"leave out the cents of the grace note '{text}'")
    return sound


def _check_path(
    text: str, sounds: tuple[Sound, ...], offsets: tuple[float, ...], *, ladder: bool
) -> None:
    kind = "ladder" if ladder else "glide"
    if len(sounds) > MAX_PATH_SOUNDS:
        raise TabError(f"a {kind} has at most {MAX_PATH_SOUNDS} sounds; split it in two steps")
    for (before, offset), (after, next_offset) in pairwise(zip(sounds, offsets, strict=True)):
        if before[0].breath is not after[0].breath:
            raise TabError(
                f"a {kind} keeps one breath, but '{text}' changes from {before[0].breath} to "
                f"{after[0].breath}; give all its sounds the same sign, as in -4'>-4"
            )
        if len(before) != len(after):
            raise TabError(
                f"a {kind} keeps its number of holes, but '{text}' goes from {len(before)} to "
                f"{len(after)}"
            )
        if (before, offset) == (after, next_offset):
            raise TabError(f"'{text}' glides from a sound to itself; write it once, or two steps")
        if ladder and {tab.hole for tab in before} != {tab.hole for tab in after}:
            raise TabError(f"a ladder stays on its hole, but '{text}' changes it; write two steps")


def _parse_alternative(text: str, other: str, sounds: tuple[Sound, ...]) -> Tab:
    if len(sounds) > 1 or len(sounds[0]) > 1:
        raise TabError(f"write '{text}' as a single note, as in -2/3: only that can have two holes")
    sound, offset = _parse_sound(other, text)
    if len(sound) > 1 or offset:
        raise TabError(f"write '{text}' as a single note, as in -2/3: only that can have two holes")
    if sound == sounds[0]:
        raise TabError(f"'{text}' names the same hole twice; write it once")
    return sound[0]


def _parse_sound(text: str, whole: str) -> tuple[Sound, float]:
    """Parse one sound of a note's path, with its offset in cents.

    Args:
        text: the sound.
        whole: the note, for messages.
    """
    match = _SOUND.fullmatch(text)
    if not match:
        raise TabError(_describe_error(text, whole))
    sign, holes, offset = match.groups()
    try:
        tabs = sorted(Tab.parse(sign + hole) for hole in holes.split("+"))
    except HarpError as error:
        raise TabError(_written_otherwise(text) or str(error)) from None
    numbers = [tab.hole for tab in tabs]
    for hole in sorted(set(numbers)):
        if numbers.count(hole) > 1:
            raise TabError(f"the chord '{text}' names hole {hole} twice; name each hole once")
    cents = float(offset or 0.0)
    if abs(cents) > MAX_TARGET_OFFSET_CENTS:
        raise TabError(
            f"'{text}' is {abs(cents):g} cents off, another note; write up to "
            f"{MAX_TARGET_OFFSET_CENTS:g}"
        )
    return tuple(tabs), cents


def _written_otherwise(text: str) -> str | None:
    """Return what to write for a common way of writing tab; None if it is not one."""
    here = rewrite_tab_word(text)
    if here is None or here == text:
        return None
    return f"write {here} for '{abbreviate(text)}'"


def _describe_error(text: str, whole: str) -> str:
    plain = text.translate(PLAIN_SIGNS)
    if plain != text and _SOUND.fullmatch(plain):
        return f"'{text}' has a typographic sign; type {plain}"
    if not whole:
        return "write a note before the colon, as in -4:1, or r:1 for a rest"
    if not text:
        sign = next(sign for sign in _PATH_SIGNS if sign in whole)
        kind, example = _PATH_SIGNS[sign]
        sides = f"write one on each side of '{sign}', as in {example}"
        return f"the {kind} '{whole}' lacks a sound; {sides}"
    inner = text[:1] + text[1:].replace("-", "")
    if "+" in text and "@" not in text and _SOUND.fullmatch(inner):
        return f"write one breath sign in front of the chord '{text}', as {inner}"
    if "@" in text:
        return f"the cents in '{text}' cannot be read; write them with a sign, as in -3@-40"
    return _written_otherwise(text) or (
        f"'{abbreviate(text)}' is not tab; write 4 for blow, -4 for draw, -4' bent, 4o overblown, "
        "-3+4 for a chord, -4'>-4 for a glide, r for a rest"
    )
