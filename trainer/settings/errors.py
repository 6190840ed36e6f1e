"""Errors about settings."""

from __future__ import annotations

from trainer.core import TrainerError


class SettingsError(TrainerError):
    """A setting that does not exist or cannot be so, or a file that cannot be changed."""
