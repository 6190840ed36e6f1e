"""Samples to readings: pitch, level, which holes sound, and notes. Knows no drill."""

from trainer.ear.ear import Ear, analyze_blocks
from trainer.ear.heard_note import HeardNote
from trainer.ear.note_tracker import NoteTracker, track_notes
from trainer.ear.reading import Reading

__all__ = ["Ear", "HeardNote", "NoteTracker", "Reading", "analyze_blocks", "track_notes"]
