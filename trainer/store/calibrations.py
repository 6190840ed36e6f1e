"""Calibrations of the audio round trip: look up and save."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from trainer.sound import DeviceError, MicrophoneSpec
from trainer.sound.devices import input_device, output_device
from trainer.sound.round_trip import DevicePair, RoundTrip
from trainer.store.journal import Journal
from trainer.store.records import Calibration


def find_calibration(
    journal: Journal, input_: str, output: str, rate: int | None = None
) -> Calibration | None:
    """Return the latest calibration of a pair of devices.

    Args:
        journal: the journal.
        input_, output: full names of the devices.
        rate: sample rate of the input in hertz; None for any.

    Returns:
        None if the pair has no calibration at this rate. Those at other rates do not apply,
        because drivers buffer a different time then.

    Raises:
        JournalError: the journal cannot be read.
    """
    matches = [
        entry
        for entry in journal.calibrations()
        if (entry.input, entry.output) == (input_, output) and rate in (None, entry.rate)
    ]
    return matches[-1] if matches else None


def with_calibrated_latency(journal: Journal, spec: MicrophoneSpec) -> MicrophoneSpec:
    """Return a microphone with the calibrated latency of its devices, unless it has its own.

    Looks the devices up through PortAudio. Where PortAudio or a device is missing, the spec is
    returned unchanged; opening it raises the error.

    Raises:
        JournalError: the journal cannot be read.
    """
    if spec.latency_ms is not None:
        return spec
    try:
        pair = input_device(spec.device).name, output_device(spec.output).name
    except DeviceError:
        return spec
    calibration = find_calibration(journal, *pair, spec.rate)
    return spec if calibration is None else replace(spec, latency_ms=calibration.latency_ms)


def save_round_trip(journal: Journal, pair: DevicePair, trip: RoundTrip) -> Calibration:
    """Save a measured round trip.

    Raises:
        JournalError: the journal cannot be written.
    """
    return _save(journal, pair, trip.latency_ms, trip.spread_ms, by_hand=False)


def save_manual_latency(journal: Journal, pair: DevicePair, latency_ms: float) -> Calibration:
    """Save a latency that the player entered, in milliseconds.

    Raises:
        JournalError: the journal cannot be written.
    """
    return _save(journal, pair, latency_ms, 0.0, by_hand=True)


def _save(
    journal: Journal, pair: DevicePair, latency_ms: float, spread_ms: float, *, by_hand: bool
) -> Calibration:
    calibration = Calibration(
        pair.input, pair.output, pair.rate, latency_ms, spread_ms, datetime.now(UTC), by_hand
    )
    journal.add_calibration(calibration)
    return calibration
