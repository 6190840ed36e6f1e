"""The echo canceller: removes the trainer's own sound from what the microphone hears."""

from trainer.echo.canceller import EchoCanceller

__all__ = ["EchoCanceller"]
