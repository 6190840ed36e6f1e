"""Pitch: conversion between hertz, cents, MIDI note numbers and note names.

Conventions. MIDI note numbers are floats where a pitch may lie between notes; 69 is A4 (MIDI 1.0).
Equal temperament is f = a4 * 2 ** ((n - 69) / 12) with a4 = 440 Hz (ISO 16). An octave is 1200
cents. A pitch class is a note without its octave: half steps above C, 0 to 11.

Notes are spelled in a key by their degree; each degree has its own letter, counted from the tonic.
The third of D is F#, the flat seventh of C is Bb. White keys keep their plain names (F in the key
of F#, not E#), because charts must be readable at a glance (common practice).
"""

from __future__ import annotations

import math
import re

from trainer.music.errors import MusicError

_LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_FLAT_NAMES = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
_SHARP_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_LETTERS_ABOVE_TONIC = (0, 1, 1, 2, 2, 3, 4, 4, 5, 5, 6, 6)
"""Letters between the tonic and each of the twelve degrees."""
_ACCIDENTALS = {"": 0, "#": 1, "♯": 1, "b": -1, "B": -1, "♭": -1}
_PITCH_CLASS = re.compile(r"([A-Ga-g])([#bB♯♭]?)\Z")
_NOTE = re.compile(r"([A-Ga-g][#bB♯♭]?)(-?[0-9]+)\Z")


def midi_to_hz(midi: float, a4: float = 440.0) -> float:
    """Frequency in hertz of a MIDI note number, which may be fractional."""
    return float(a4 * 2.0 ** ((midi - 69.0) / 12.0))


def hz_to_midi(hz: float, a4: float = 440.0) -> float:
    """Fractional MIDI note number of a frequency in hertz.

    Raises:
        MusicError: hz is not a positive number.
    """
    if not (hz > 0.0 and math.isfinite(hz)):
        raise MusicError(f"a frequency of {hz} Hz has no pitch; it must be above 0")
    return 69.0 + 12.0 * math.log2(hz / a4)


def cents(hz: float, reference: float) -> float:
    """Interval from `reference` to `hz` in cents; positive if `hz` is higher.

    Args:
        hz: frequency in hertz, above 0.
        reference: frequency of 0 cents in hertz, above 0.
    """
    return 1200.0 * math.log2(hz / reference)


def parse_pitch_class(text: str) -> int:
    """Return the pitch class, 0 to 11, of a note name such as ``C``, ``Bb`` or ``F#``.

    Raises:
        MusicError: it is not a note name without octave.
    """
    match = _PITCH_CLASS.match(text.strip())
    if not match:
        raise MusicError(
            f"'{text}' is not the name of a note; write a letter from A to G, with # or b if "
            "need be, as in Bb"
        )
    return (_LETTERS[match[1].upper()] + _ACCIDENTALS[match[2]]) % 12


def parse_note(text: str) -> int:
    """Return the MIDI note number of a name such as ``C4``, ``Bb3`` or ``F#5`` (C4 is 60).

    Raises:
        MusicError: it is not a note name with octave.
    """
    match = _NOTE.match(text.strip())
    if not match:
        raise MusicError(
            f"'{text}' is not a note; write a letter, # or b, and an octave, as in Bb3"
        )
    name, octave = match.groups()
    return 12 * (int(octave) + 1) + _LETTERS[name[0].upper()] + _ACCIDENTALS[name[1:]]


def pitch_class_name(midi: int, key: str = "C") -> str:
    """Name of a note without its octave, spelled in a key.

    Args:
        midi: MIDI note number or pitch class.
        key: name of the key's tonic.

    Raises:
        MusicError: `key` is not the name of a note.
    """
    pitch_class = midi % 12
    degree = (pitch_class - parse_pitch_class(key)) % 12
    letters = "".join(_LETTERS)
    tonic_letter = letters.index(key.strip()[0].upper())
    letter = letters[(tonic_letter + _LETTERS_ABOVE_TONIC[degree]) % 7]
    sharp = _SHARP_NAMES[pitch_class]
    return sharp if sharp[0] == letter else _FLAT_NAMES[pitch_class]


def note_name(midi: int, key: str = "C") -> str:
    """Name of a note with its octave, such as ``Bb3``, spelled in a key.

    Raises:
        MusicError: `key` is not the name of a note.
    """
    return f"{pitch_class_name(midi, key)}{midi // 12 - 1}"
