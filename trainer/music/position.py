"""Positions and degrees: the key of a song relative to the key of a harp.

Conventions. In first position the tonic is the harp's own key; each further position has its tonic
a fifth higher. The tonic of position n lies 7 (n - 1) half steps above the harp's key, and the
twelfth position closes the circle of fifths (common practice). Keys are pitch classes, 0 to 11, as
in :mod:`trainer.music.pitch`.

A degree is named by its place in the major scale of the tonic. The five notes between take the flat
of the degree above (b2, b3, b5, b6, b7), never a sharp: players speak of the flat third, fifth and
seventh, and one name per note is enough.
"""

from __future__ import annotations

from collections.abc import Iterable

from trainer.music.errors import MusicError
from trainer.music.pitch import parse_pitch_class

POSITIONS = range(1, 13)
"""Numbers of the positions."""
DEGREES = ("1", "b2", "2", "b3", "3", "4", "b5", "5", "b6", "6", "b7", "7")
"""Names of the degrees by half steps above the tonic."""
_MODES = {
    "0 2 4 5 7 9 11": "major (Ionian)",
    "0 2 3 5 7 9 10": "Dorian",
    "0 1 3 5 7 8 10": "Phrygian",
    "0 2 4 6 7 9 11": "Lydian",
    "0 2 4 5 7 9 10": "Mixolydian",
    "0 2 3 5 7 8 10": "natural minor (Aeolian)",
    "0 1 3 5 6 8 10": "Locrian",
    "0 2 3 5 7 8 11": "harmonic minor",
    "0 2 3 5 7 9 11": "melodic minor",
}
"""Names of scales by half steps above the tonic."""
MAJOR_POSITIONS = (2, 1, 12, 3, 4, 5, 11, 6, 7, 8, 9, 10)
MINOR_POSITIONS = (3, 4, 2, 5, 12, 1, 6, 11, 7, 8, 9, 10)
"""Positions in the order in which players choose them for songs in major and in minor (common
practice)."""
_ORDINAL_SUFFIXES = {1: "st", 2: "nd", 3: "rd"}


def _half_steps_up(position: int) -> int:
    if position not in POSITIONS:
        raise MusicError(f"there is no position {position}; positions run from 1 to 12")
    return 7 * (position - 1)


def key_in_position(harp: int, position: int) -> int:
    """Key of a song that a harp plays in a position.

    Args:
        harp: key of the harp, a pitch class.
        position: 1 to 12.

    Raises:
        MusicError: position is not 1 to 12.
    """
    return (harp + _half_steps_up(position)) % 12


def harp_key_for(song: int, position: int) -> int:
    """Key of the harp that plays a song in a position.

    Args:
        song: key of the song, a pitch class.
        position: 1 to 12.

    Raises:
        MusicError: position is not 1 to 12.
    """
    return (song - _half_steps_up(position)) % 12


def position_for(harp: int, song: int) -> int:
    """Position, 1 to 12, in which a harp plays a song; both keys are pitch classes."""
    return 7 * (song - harp) % 12 + 1  # 7 is its own inverse: 7 * 7 = 1 modulo 12


def parse_song_key(text: str) -> int:
    """Pitch class of the tonic of a song's key, such as ``A``, ``Bb`` or, in minor, ``F#m``.

    Raises:
        MusicError: it is not a key.
    """
    try:
        return parse_pitch_class(text.strip().removesuffix("m"))
    except MusicError:
        raise MusicError(
            f"'{text}' is not the key of a song; write its tonic, with m for minor if you like, "
            "as in Bb or F#m"
        ) from None


def is_minor_key(text: str) -> bool:
    """Whether the key of a song, as :func:`parse_song_key` reads it, is minor."""
    return text.strip().endswith("m")


def mode_name(half_steps: Iterable[int]) -> str | None:
    """Name of the mode or scale with exactly these notes, such as ``Dorian``; None if it has none.

    Args:
        half_steps: the notes, in half steps above the tonic.
    """
    return _MODES.get(" ".join(map(str, sorted({step % 12 for step in half_steps}))))


def position_name(position: int) -> str:
    """Ordinal of a position, 1 to 12, such as ``2nd``."""
    return f"{position}{_ORDINAL_SUFFIXES.get(position, 'th')}"


def degree_name(note: int, tonic: int) -> str:
    """Name of a note's degree, such as ``b7``; both are MIDI note numbers or pitch classes."""
    return DEGREES[(note - tonic) % 12]
