"""Errors about files of other programs."""

from __future__ import annotations

from trainer.core import TrainerError


class ExchangeError(TrainerError):
    """A file of another program that cannot be read or written."""
