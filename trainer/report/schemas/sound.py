"""Shapes of sound devices and their checks."""

from __future__ import annotations

from typing import NotRequired

from typing_extensions import TypedDict

from trainer.transfer.schemas import CalibrationRecordData


class DeviceData(TypedDict):
    """An input or output device."""

    number: int
    """Number of the device in PortAudio."""
    name: str
    """Name of the device."""
    host: str
    """Name of its sound system."""
    inputs: int
    """Number of input channels; 0 if it has no input."""
    outputs: int
    """Number of output channels; 0 if it has no output."""
    rate: int
    """Default sample rate in hertz."""
    is_default_input: bool
    """Whether it is the system's default input."""
    is_default_output: bool
    """Whether it is the system's default output."""


class EchoData(TypedDict):
    """The loudspeaker's clicks in the microphone."""

    delay_ms: float
    """Time from handing a click to the driver until it comes back, in milliseconds."""
    level_db: float
    """Level of a click's first 20 ms in dB relative to full scale."""
    below_note_db: float | None
    """How far that is below the held note, in dB; null if no note was held."""


class MicrophoneCheckData(TypedDict):
    """The check of a microphone."""

    name: str
    """Name of the device."""
    rate: int
    """Sample rate in hertz."""
    seconds: float
    """Duration of the check in seconds."""
    level_db: float
    """Loudest level in dB relative to full scale."""
    floor_db: float
    """Quietest level in dB relative to full scale."""
    clipped: int
    """Number of clipped places."""
    lost: int
    """Number of lost samples."""
    overflows: int
    """Number of overflows that the driver reported."""
    advice: tuple[str, ...]
    """What to change, in words; empty if the microphone is fit."""
    echo: EchoData | None
    """The loudspeaker's clicks in the microphone; null if none came back."""


class CalibrationData(CalibrationRecordData):
    """A new calibration; `heard` and `clicks` are missing if the latency was given by hand."""

    heard: NotRequired[int]
    """Number of clicks that were detected."""
    clicks: NotRequired[int]
    """Number of clicks that were played."""
