"""The trainer's own sound, taken out of what the microphone hears."""

from trainer.echo.canceller import EchoCanceller

__all__ = ["EchoCanceller"]
