"""Errors about sound."""

from trainer.core import TrainerError


class SoundError(TrainerError):
    """A device or file that gives no sound, with what to do about it."""


class DeviceError(SoundError):
    """PortAudio or a device that is missing, cannot be opened or gives nothing."""


class SourceLost(DeviceError):
    """A device that gave sound and then stopped; it may come back."""
