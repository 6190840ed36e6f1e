"""Hz, cents, note names, temperaments, positions and degrees. Knows nothing of harmonicas."""

from trainer.music.errors import MusicError, TrainerError
from trainer.music.pitch import cents, hz_of, midi_of, note_name, parse_note, pitch_class_name
from trainer.music.temperament import TEMPERAMENTS, Temperament, temperament

__all__ = [
    "TEMPERAMENTS",
    "MusicError",
    "Temperament",
    "TrainerError",
    "cents",
    "hz_of",
    "midi_of",
    "note_name",
    "parse_note",
    "pitch_class_name",
    "temperament",
]
