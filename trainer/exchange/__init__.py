"""Drills and melodies in formats of other programs: Standard MIDI files and MusicXML 4.0."""

from trainer.exchange.errors import ExchangeError
from trainer.exchange.midi_in import read_midi
from trainer.exchange.midi_out import write_midi
from trainer.exchange.musicxml_in import read_musicxml
from trainer.exchange.musicxml_out import drill_to_musicxml, write_musicxml

__all__ = [
    "ExchangeError",
    "drill_to_musicxml",
    "read_midi",
    "read_musicxml",
    "write_midi",
    "write_musicxml",
]
