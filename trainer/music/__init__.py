"""Hertz, cents, note names, temperaments, positions, chords, scales; nothing about harmonicas."""

from trainer.music.errors import MusicError
from trainer.music.harmony import SCALES, Chord, parse_chord
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
    MAJOR_POSITIONS,
    MINOR_POSITIONS,
    POSITIONS,
    degree_name,
    harp_key_for,
    is_minor_key,
    key_in_position,
    mode_name,
    parse_song_key,
    position_for,
    position_name,
)
from trainer.music.temperament import TEMPERAMENTS, Temperament, temperament_named

__all__ = [
    "MAJOR_POSITIONS",
    "MINOR_POSITIONS",
    "POSITIONS",
    "SCALES",
    "TEMPERAMENTS",
    "Chord",
    "MusicError",
    "Temperament",
    "cents",
    "degree_name",
    "harp_key_for",
    "hz_to_midi",
    "is_minor_key",
    "key_in_position",
    "midi_to_hz",
    "mode_name",
    "note_name",
    "parse_chord",
    "parse_note",
    "parse_pitch_class",
    "parse_song_key",
    "pitch_class_name",
    "position_for",
    "position_name",
    "temperament_named",
]
