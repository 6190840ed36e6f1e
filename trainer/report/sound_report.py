"""Devices, the check of a microphone, and a calibration as JSON data."""

from __future__ import annotations

from trainer.report.schemas.sound import CalibrationData, DeviceData, MicrophoneCheckData
from trainer.sound import Device, MicrophoneCheck, RoundTrip
from trainer.store import Calibration


def device_data(device: Device) -> DeviceData:
    """Return a device as JSON data."""
    return {
        "number": device.number,
        "name": device.name,
        "host": device.host,
        "inputs": device.inputs,
        "outputs": device.outputs,
        "rate": device.rate,
        "is_default_input": device.is_default_input,
        "is_default_output": device.is_default_output,
    }


def microphone_check_data(check: MicrophoneCheck) -> MicrophoneCheckData:
    """Return the check of a microphone as JSON data."""
    return {
        "name": check.name,
        "rate": check.rate,
        "seconds": check.seconds,
        "level_db": check.level_db,
        "floor_db": check.floor_db,
        "clipped": check.clipped,
        "lost": check.lost,
        "overflows": check.overflows,
        "advice": check.advice,
        "echo": None
        if check.echo is None
        else {
            "delay_ms": check.echo.delay_ms,
            "level_db": check.echo.level_db,
            "below_note_db": check.echo.below_note_db,
        },
    }


def calibration_data(calibration: Calibration, trip: RoundTrip | None) -> CalibrationData:
    """Return a stored calibration as JSON data.

    Args:
        calibration: as stored.
        trip: the measurement behind it; None if the latency was given by hand.
    """
    data: CalibrationData = {
        "input": calibration.input,
        "output": calibration.output,
        "rate": calibration.rate,
        "latency_ms": calibration.latency_ms,
        "spread_ms": calibration.spread_ms,
        "measured": calibration.measured.isoformat(),
        "by_hand": calibration.by_hand,
    }
    if trip is not None:
        data["heard"], data["clicks"] = trip.heard, trip.clicks
    return data
