"""What can go wrong with files of other programs."""

from __future__ import annotations

from trainer.core import TrainerError


class ExchangeError(TrainerError):
    """A file that cannot be read or written; the message names it and the way out."""
