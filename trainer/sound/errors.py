"""Errors about sound."""

from trainer.core import TrainerError


class SoundError(TrainerError):
    """A device or file gives no sound; the message says what to do."""


class DeviceError(SoundError):
    """PortAudio or a device is missing, cannot be opened or gives nothing."""


class SourceGapError(SoundError):
    """Sound is missing, for longer than a pass can go on over."""


class SourceLost(DeviceError):
    """A device gave sound and then stopped; it may come back."""
