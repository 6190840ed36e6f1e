"""Calibrations of the audio round trip: look up and save."""

from __future__ import annotations

from datetime import UTC, datetime

from trainer.sound import DevicePair, RoundTrip, SourceSpec
from trainer.store.journal import Journal
from trainer.store.records import Calibration


def find_calibration(
    journal: Journal, input_: str, output: str, rate: int | None = None
) -> Calibration | None:
    """Return the latest calibration of a pair of devices.

    Args:
        journal: the journal.
        input_: full name of the input device.
        output: full name of the output device.
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


def with_calibrated_latency(journal: Journal, spec: SourceSpec) -> SourceSpec:
    """Return a source's spec with the latency calibrated for its devices, where it has any.

    Raises:
        JournalError: the journal cannot be read.
    """

    def latency_of(input_: str, output: str, rate: int | None) -> float | None:
        calibration = find_calibration(journal, input_, output, rate)
        return None if calibration is None else calibration.latency_ms

    return spec.calibrated(latency_of)


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
