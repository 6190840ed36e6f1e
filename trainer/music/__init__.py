"""Hertz, cents, note names, temperaments, positions and degrees; nothing about harmonicas."""

from trainer.music.errors import MusicError
from trainer.music.pitch import (
    cents,
    hz_to_midi,
    midi_to_hz,
    note_name,
    parse_note,
    parse_pitch_class,
    pitch_class_name,
)
from trainer.music.position import (
    POSITIONS,
    degree_name,
    harp_key_for,
    key_in_position,
    parse_song_key,
    position_for,
    position_name,
)
from trainer.music.temperament import TEMPERAMENTS, Temperament, temperament_named

__all__ = [
    "POSITIONS",
    "TEMPERAMENTS",
    "MusicError",
    "Temperament",
    "cents",
    "degree_name",
    "harp_key_for",
    "hz_to_midi",
    "key_in_position",
    "midi_to_hz",
    "note_name",
    "parse_note",
    "parse_pitch_class",
    "parse_song_key",
    "pitch_class_name",
    "position_for",
    "position_name",
    "temperament_named",
]
