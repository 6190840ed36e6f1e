"""Errors about harps."""

from trainer.core import TrainerError


class HarpError(TrainerError):
    """A key, tuning or tab entry that does not exist or that a harp cannot play."""
