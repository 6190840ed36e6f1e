"""Errors about notes, temperaments and positions."""

from trainer.core import TrainerError


class MusicError(TrainerError):
    """A note name, temperament or position that does not exist."""
