"""Errors about sound."""

from trainer.core import TrainerError


class SoundError(TrainerError):
    """A device or file gives no sound; the message says what to do."""


class DeviceError(SoundError):
    """PortAudio or a device is missing, cannot be opened or gives nothing."""


class SourceGapError(SoundError):
    """So much sound is missing that what comes now has nothing to do with what was before."""


class SourceLost(DeviceError):
    """A device gave sound and then stopped; it may come back."""
