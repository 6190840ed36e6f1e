"""Hz, cents, note names, temperaments, positions and degrees. Knows nothing of harmonicas."""

from trainer.music.errors import MusicError
from trainer.music.pitch import (
    cents,
    hz_of,
    midi_of,
    note_name,
    parse_note,
    parse_pitch_class,
    pitch_class_name,
)
from trainer.music.position import (
    POSITIONS,
    degree,
    harp_for,
    key_in_position,
    position_for,
    position_name,
    song_tonic,
)
from trainer.music.temperament import TEMPERAMENTS, Temperament, temperament

__all__ = [
    "POSITIONS",
    "TEMPERAMENTS",
    "MusicError",
    "Temperament",
    "cents",
    "degree",
    "harp_for",
    "hz_of",
    "key_in_position",
    "midi_of",
    "note_name",
    "parse_note",
    "parse_pitch_class",
    "pitch_class_name",
    "position_for",
    "position_name",
    "song_tonic",
    "temperament",
]
