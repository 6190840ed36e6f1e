"""Samples to readings: pitch, level, which holes sound, and notes. Knows no drill."""

from trainer.ear.reading import HeardNote, Reading

__all__ = ["HeardNote", "Reading"]
