"""Chords and scales relative to a tonic.

A chord is written in the key, as ``I7``, ``iv``, ``bVII``, or by name, as ``C7``, ``Am``. Either
way it is kept in half steps above the tonic, so that it holds in every key. Upper-case numerals are
major and lower-case ones minor (common practice).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from trainer.music.errors import MusicError
from trainer.music.pitch import parse_pitch_class, pitch_class_name

QUALITIES: Mapping[str, tuple[int, ...]] = {
    "": (0, 4, 7),
    "m": (0, 3, 7),
    "5": (0, 7),
    "6": (0, 4, 7, 9),
    "m6": (0, 3, 7, 9),
    "7": (0, 4, 7, 10),
    "m7": (0, 3, 7, 10),
    "maj7": (0, 4, 7, 11),
    "9": (0, 4, 7, 10, 2),
    "dim": (0, 3, 6),
}
"""Notes of each kind of chord in half steps above its root (common practice)."""

SCALES: Mapping[str, tuple[int, ...]] = {
    "major": (0, 2, 4, 5, 7, 9, 11),
    "mixolydian": (0, 2, 4, 5, 7, 9, 10),
    "lydian": (0, 2, 4, 6, 7, 9, 11),
    "dorian": (0, 2, 3, 5, 7, 9, 10),
    "natural minor": (0, 2, 3, 5, 7, 8, 10),
    "phrygian": (0, 1, 3, 5, 7, 8, 10),
    "harmonic minor": (0, 2, 3, 5, 7, 8, 11),
    "major pentatonic": (0, 2, 4, 7, 9),
    "minor pentatonic": (0, 3, 5, 7, 10),
    "blues": (0, 3, 5, 6, 7, 10),
}
"""Scales by name, in half steps above the tonic (common practice)."""

_NUMERALS = ("I", "II", "III", "IV", "V", "VI", "VII")
_DEGREES = (0, 2, 4, 5, 7, 9, 11)
_FLAT_DEGREES = ("I", "bII", "II", "bIII", "III", "IV", "bV", "V", "bVI", "VI", "bVII", "VII")
_IN_KEY = re.compile(r"([b#♭♯]?)(VII|VI|V|IV|III|II|I|vii|vi|v|iv|iii|ii|i)([a-z0-9]*)\Z")
_BY_NAME = re.compile(r"([A-G][b#♭♯]?)([a-z0-9]*)\Z")
_SIGNS = {"": 0, "b": -1, "♭": -1, "#": 1, "♯": 1}


@dataclass(frozen=True, slots=True)
class Chord:
    """A chord relative to a tonic.

    Attributes:
        root: half steps of its root above the tonic, 0 to 11.
        quality: its kind, as in `QUALITIES`.
    """

    root: int
    quality: str = ""

    @property
    def half_steps(self) -> tuple[int, ...]:
        """Its notes in half steps above the tonic, 0 to 11, the root first."""
        return tuple((self.root + each) % 12 for each in QUALITIES[self.quality])

    @property
    def in_key(self) -> str:
        """Its name in the key, such as ``IV7`` or ``iv``."""
        numeral, quality = _FLAT_DEGREES[self.root], self.quality
        if quality in ("m", "m6", "m7"):
            sign = "b" * numeral.startswith("b")
            return sign + numeral.removeprefix("b").lower() + quality.removeprefix("m")
        return numeral + quality

    def name(self, tonic: int) -> str:
        """Its name above a tonic, such as ``C7``; the tonic is a pitch class."""
        return pitch_class_name(tonic + self.root, pitch_class_name(tonic)) + self.quality


def parse_chord(text: str, tonic: int) -> Chord:
    """Parse a chord in the key or by name.

    Args:
        text: the chord, such as ``IV7`` or ``C7``.
        tonic: pitch class of the tonic, for chords by name.

    Raises:
        MusicError: it is not a chord.
    """
    if match := _IN_KEY.match(text):
        sign, numeral, quality = match.groups()
        root = _DEGREES[_NUMERALS.index(numeral.upper())] + _SIGNS[sign]
        minor = numeral.islower() and quality != "dim"
        quality = f"m{quality}" if minor else quality
    elif match := _BY_NAME.match(text):
        name, quality = match.groups()
        root = parse_pitch_class(name) - tonic
    else:
        raise MusicError(
            f"'{text[:20]}' is not a chord; write it in the key, as I7 or iv, or by name, as C7"
        )
    if quality not in QUALITIES:
        kinds = ", ".join(kind for kind in QUALITIES if kind)
        raise MusicError(
            f"'{text[:20]}' is not a kind of chord known here; after the root write {kinds}, or "
            "nothing for major"
        )
    return Chord(root % 12, quality)
