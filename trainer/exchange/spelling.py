"""How notes are spelled on a staff: by the line of fifths, near the key."""

from __future__ import annotations

from collections.abc import Iterable

LETTERS_BY_FIFTHS = "FCGDAEB"
"""On the line of fifths, from F, which is -1, to B."""
MIN_FIFTHS, MAX_FIFTHS = -6, 6
_NATURALS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def best_key_signature(notes: Iterable[int], usual: int = 0) -> int:
    """The key signature with which notes need the fewest accidentals.

    Args:
        notes: MIDI note numbers.
        usual: the signature that is taken where several do as well; positive is sharps.

    Returns:
        how many sharps; negative is flats.
    """
    classes = [note % 12 for note in notes]

    def outside(fifths: int) -> int:
        scale = {(7 * (fifths + place)) % 12 for place in range(-1, 6)}
        return sum(one not in scale for one in classes)

    tries = range(MIN_FIFTHS, MAX_FIFTHS)
    return min(tries, key=lambda fifths: (outside(fifths), abs(fifths - usual), abs(fifths)))


def spell_note(note: int, fifths: int) -> tuple[str, int, int]:
    """A note's letter, its half steps from the natural, and its octave, in a key.

    Args:
        note: MIDI note number; 60 is C4.
        fifths: the key signature, as :func:`best_key_signature`.
    """
    places = range(fifths - 4, fifths + 8)
    place = next(one for one in places if (7 * one) % 12 == note % 12)
    letter = LETTERS_BY_FIFTHS[(place + 1) % 7]
    alter = (place + 1) // 7
    return letter, alter, (note - alter - _NATURALS[letter]) // 12 - 1


def natural_midi(letter: str, octave: int) -> int:
    """The MIDI note number of a natural.

    Raises:
        KeyError: there is no such letter.
    """
    return 12 * (octave + 1) + _NATURALS[letter]


def signature_tonic(fifths: int, mode: str = "major") -> int:
    """The pitch class of a key signature's tonic."""
    return (7 * fifths + (9 if mode == "minor" else 0)) % 12
