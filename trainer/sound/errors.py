"""Errors about sound."""

from trainer.music import TrainerError


class SoundError(TrainerError):
    """A device or file that gives no sound, with what to do about it."""


class SourceLost(SoundError):
    """A device that gave sound and then stopped; it may come back."""
