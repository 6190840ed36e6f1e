"""Errors about settings."""

from __future__ import annotations

from trainer.core import TrainerError


class SettingsError(TrainerError):
    """An unknown setting, an invalid value, or a file that cannot be read or changed."""
