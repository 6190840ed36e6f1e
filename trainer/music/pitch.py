"""Pitch: hertz, cents, MIDI note numbers and note names.

Conventions. MIDI note numbers are floats where a pitch may lie between notes; 69 is A4 (MIDI
1.0). Equal temperament, f = a4 * 2 ** ((n - 69) / 12), with a4 = 440 Hz by ISO 16. An interval
of 1200 cents is an octave. A pitch class is a note without its octave, as half steps above C,
0 to 11.

Notes are spelled in a key by their degree, each degree with the letter that lies so many
letters above the tonic's: the third of D is F#, the flat seventh of C is Bb. White keys keep
their plain names (F in the key of F#, not E#), because a chart is to be read at a glance
(common practice).
"""

from __future__ import annotations

import math
import re

from trainer.music.errors import MusicError

_LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_FLAT_NAMES = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
_SHARP_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_LETTERS_UP = (0, 1, 1, 2, 2, 3, 4, 4, 5, 5, 6, 6)
"""How many letters above the tonic's each of the twelve degrees is written."""
_SHIFTS = {"": 0, "#": 1, "♯": 1, "b": -1, "B": -1, "♭": -1}
_PITCH_CLASS = re.compile(r"([A-Ga-g])([#bB♯♭]?)\Z")
_NOTE = re.compile(r"([A-Ga-g][#bB♯♭]?)(-?[0-9]+)\Z")


def midi_to_hz(midi: float, a4: float = 440.0) -> float:
    """Frequency in Hz of a MIDI note number, which may be fractional."""
    return float(a4 * 2.0 ** ((midi - 69.0) / 12.0))


def hz_to_midi(hz: float, a4: float = 440.0) -> float:
    """MIDI note number, fractional, of a frequency in Hz.

    Raises:
        MusicError: hz is not a positive number.
    """
    if not (hz > 0.0 and math.isfinite(hz)):
        raise MusicError(f"a frequency of {hz} Hz has no pitch; it must be above 0")
    return 69.0 + 12.0 * math.log2(hz / a4)


def cents(hz: float, reference: float) -> float:
    """Cents from `reference` to `hz`, both in Hz and above 0; positive is sharp."""
    return 1200.0 * math.log2(hz / reference)


def parse_pitch_class(text: str) -> int:
    """Half steps above C, 0 to 11, of a name without octave, such as ``C``, ``Bb`` or ``F#``.

    Raises:
        MusicError: it is not such a name.
    """
    found = _PITCH_CLASS.match(text.strip())
    if not found:
        raise MusicError(
            f"'{text}' is not the name of a note; write a letter from A to G, with # or b if "
            "need be, as in Bb"
        )
    return (_LETTERS[found[1].upper()] + _SHIFTS[found[2]]) % 12


def parse_note(text: str) -> int:
    """MIDI note number of a name such as ``C4``, ``Bb3`` or ``F#5`` (C4 is 60).

    Raises:
        MusicError: it is not a note name.
    """
    found = _NOTE.match(text.strip())
    if not found:
        raise MusicError(
            f"'{text}' is not a note; write a letter, # or b, and an octave, as in Bb3"
        )
    name, octave = found.groups()
    return 12 * (int(octave) + 1) + _LETTERS[name[0].upper()] + _SHIFTS[name[1:]]


def pitch_class_name(midi: int, key: str = "C") -> str:
    """Name of a note without its octave, spelled in the key whose tonic is `key`.

    Raises:
        MusicError: `key` is not the name of a note.
    """
    pitch_class = midi % 12
    degree = (pitch_class - parse_pitch_class(key)) % 12
    letters = "".join(_LETTERS)
    letter = letters[(letters.index(key.strip()[0].upper()) + _LETTERS_UP[degree]) % 7]
    sharp = _SHARP_NAMES[pitch_class]
    return sharp if sharp[0] == letter else _FLAT_NAMES[pitch_class]


def note_name(midi: int, key: str = "C") -> str:
    """Name of a note with its octave, such as ``Bb3``, spelled in a key.

    Raises:
        MusicError: `key` is not the name of a note.
    """
    return f"{pitch_class_name(midi, key)}{midi // 12 - 1}"
