"""Pitch: hertz, cents, MIDI note numbers and note names.

Conventions. MIDI note numbers are floats where a pitch may lie between notes; 69 is A4 (MIDI
1.0). Equal temperament, f = a4 * 2 ** ((n - 69) / 12), with a4 = 440 Hz by ISO 16. An interval
of 1200 cents is an octave.
"""

from __future__ import annotations

import math
import re

from trainer.music.errors import MusicError

_LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_FLAT_NAMES = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
_SHARP_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_NOTE = re.compile(r"([A-Ga-g])([#b♯♭]?)(-?\d+)\Z")


def hz_of(midi: float, a4: float = 440.0) -> float:
    """Frequency in Hz of a MIDI note number, which may be fractional."""
    return float(a4 * 2.0 ** ((midi - 69.0) / 12.0))


def midi_of(hz: float, a4: float = 440.0) -> float:
    """MIDI note number, fractional, of a frequency in Hz.

    Raises:
        MusicError: hz is not a positive number.
    """
    if not (hz > 0.0 and math.isfinite(hz)):
        raise MusicError(f"a frequency of {hz} Hz has no pitch; it must be above 0")
    return 69.0 + 12.0 * math.log2(hz / a4)


def cents(hz: float, reference: float) -> float:
    """Cents from `reference` to `hz`, both in Hz; positive is sharp."""
    return 1200.0 * math.log2(hz / reference)


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
    letter, accidental, octave = found.groups()
    shift = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}[accidental]
    return 12 * (int(octave) + 1) + _LETTERS[letter.upper()] + shift


def pitch_class_name(midi: int, *, flats: bool = True) -> str:
    """Name of a note without its octave."""
    return (_FLAT_NAMES if flats else _SHARP_NAMES)[midi % 12]


def note_name(midi: int, *, flats: bool = True) -> str:
    """Name of a note with its octave, such as ``Bb3``."""
    return f"{pitch_class_name(midi, flats=flats)}{midi // 12 - 1}"
