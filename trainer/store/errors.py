"""Errors of the journal."""

from __future__ import annotations

from trainer.core import TrainerError


class JournalError(TrainerError):
    """The journal cannot be used; the message states the reason and the remedy."""
