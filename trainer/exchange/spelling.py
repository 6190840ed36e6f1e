"""Spelling of notes on a staff, by the line of fifths."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

LETTERS_BY_FIFTHS = "FCGDAEB"
"""Letters on the line of fifths, from F at -1 to B at 5."""
MIN_FIFTHS, MAX_FIFTHS = -6, 6
"""Key signatures from six flats to six sharps."""
LOWEST_NOTE, HIGHEST_NOTE = 54, 86
"""MIDI note numbers within about two ledger lines of a treble staff; chosen by hand."""
_NATURAL_PITCH_CLASSES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def best_key_signature(
    notes: Iterable[int],
    default: int = 0,
    signatures: Iterable[int] = range(MIN_FIFTHS, MAX_FIFTHS),
) -> int:
    """Return the key signature with the fewest accidentals.

    Args:
        notes: MIDI note numbers.
        default: signature preferred among equals; positive is sharps.
        signatures: those to choose from.

    Returns:
        Number of sharps; negative is flats.
    """
    classes = [note % 12 for note in notes]

    def accidentals(fifths: int) -> int:
        scale = {(7 * (fifths + place)) % 12 for place in range(-1, 6)}
        return sum(pitch_class not in scale for pitch_class in classes)

    return min(
        signatures, key=lambda fifths: (accidentals(fifths), abs(fifths - default), abs(fifths))
    )


MODE_TONICS = {
    "major": 0,
    "ionian": 0,
    "dorian": 2,
    "phrygian": 4,
    "lydian": 5,
    "mixolydian": 7,
    "minor": 9,
    "aeolian": 9,
    "locrian": 11,
}
"""Half steps from the tonic of a signature's major key to that of each mode."""


@dataclass(frozen=True, slots=True)
class KeySignature:
    """A key signature with the mode of the music in it.

    Attributes:
        fifths: number of sharps; negative is flats.
        mode: a name of `MODE_TONICS`.
    """

    fifths: int
    mode: str

    @property
    def tonic(self) -> int:
        """Pitch class of the tonic."""
        return signature_tonic(self.fifths, self.mode)


def key_signature(notes: Iterable[int], tonic: int, default: int = 0) -> KeySignature:
    """Return the key signature with the fewest accidentals among those that have a tonic.

    Args:
        notes: MIDI note numbers.
        tonic: pitch class of the tonic.
        default: signature preferred among equals; positive is sharps.
    """
    modes = {half_steps: mode for mode, half_steps in reversed(MODE_TONICS.items())}
    signatures = {}
    for fifths in range(MIN_FIFTHS, MAX_FIFTHS):
        if mode := modes.get((tonic - 7 * fifths) % 12):
            signatures[fifths] = mode
    fifths = best_key_signature(notes, default, signatures)
    return KeySignature(fifths, signatures[fifths])


def spell_note(note: int, fifths: int) -> tuple[str, int, int]:
    """Spell a note in a key.

    Args:
        note: MIDI note number; 60 is C4.
        fifths: key signature: number of sharps, negative for flats.

    Returns:
        Letter, alteration in half steps, and octave.
    """
    places = range(fifths - 4, fifths + 8)
    place = next(place for place in places if (7 * place) % 12 == note % 12)
    letter = LETTERS_BY_FIFTHS[(place + 1) % 7]
    alteration = (place + 1) // 7
    octave = (note - alteration - _NATURAL_PITCH_CLASSES[letter]) // 12 - 1
    return letter, alteration, octave


def signature_alteration(letter: str, fifths: int) -> int:
    """Return the alteration in half steps that a key signature gives to a letter."""
    return (fifths - LETTERS_BY_FIFTHS.index(letter) + 6) // 7


def clef_octaves(notes: Sequence[int]) -> int:
    """Return by how many octaves a treble clef should sound higher, for few ledger lines.

    Args:
        notes: MIDI note numbers.

    Returns:
        0 where the median is within two ledger lines of the staff; else 1 or -1.
    """
    middle = median(notes) if notes else LOWEST_NOTE
    if LOWEST_NOTE <= middle <= HIGHEST_NOTE:
        return 0
    return 1 if middle > HIGHEST_NOTE else -1


def natural_midi(letter: str, octave: int) -> int:
    """Return the MIDI note number of a natural.

    Raises:
        KeyError: it is not a letter from A to G.
    """
    return 12 * (octave + 1) + _NATURAL_PITCH_CLASSES[letter]


def signature_tonic(fifths: int, mode: str = "major") -> int:
    """Return the pitch class of the tonic of a key signature."""
    return (7 * fifths + MODE_TONICS.get(mode, 0)) % 12
