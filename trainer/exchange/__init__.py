"""Drills and melodies in other formats: Standard MIDI files, MusicXML 4.0, and plain tab."""

from trainer.exchange.errors import ExchangeError
from trainer.exchange.midi_in import read_midi
from trainer.exchange.midi_out import write_midi
from trainer.exchange.musicxml_in import read_musicxml
from trainer.exchange.musicxml_out import drill_to_musicxml, write_musicxml
from trainer.exchange.tab_text import TabText, read_tab_text

__all__ = [
    "ExchangeError",
    "TabText",
    "drill_to_musicxml",
    "read_midi",
    "read_musicxml",
    "read_tab_text",
    "write_midi",
    "write_musicxml",
]
