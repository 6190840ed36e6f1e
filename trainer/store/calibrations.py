"""Round trips from click to microphone: which one applies."""

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
    """The round trip that applies to a pair of devices: the last that was measured or given.

    Args:
        journal: where they are kept.
        input_, output: names of the devices, as the system has them, and not parts of names.
        rate: samples a second of the input; None takes whatever rate it was measured at.

    Returns:
        None if there is none of this pair at this rate. A round trip at another rate says
        nothing, because drivers keep other amounts of sound then.

    Raises:
        JournalError: it cannot be read.
    """
    fits = [
        one
        for one in journal.calibrations()
        if (one.input, one.output) == (input_, output) and rate in (None, one.rate)
    ]
    return fits[-1] if fits else None


def with_calibrated_latency(journal: Journal, spec: MicrophoneSpec) -> MicrophoneSpec:
    """A microphone with the round trip that was measured for its devices, if it names none itself.

    Looks the devices up, so PortAudio must be at hand; where it or a device is missing, the spec
    stays as it is, and opening it says why.

    Raises:
        JournalError: the journal cannot be read.
    """
    if spec.latency_ms is not None:
        return spec
    try:
        pair = input_device(spec.device).name, output_device(spec.output).name
    except DeviceError:
        return spec
    known = find_calibration(journal, *pair, spec.rate)
    return spec if known is None else replace(spec, latency_ms=known.latency_ms)


def save_round_trip(journal: Journal, pair: DevicePair, trip: RoundTrip) -> Calibration:
    """Keep a round trip that was measured.

    Raises:
        JournalError: it could not be written.
    """
    return _keep(journal, pair, trip.latency_ms, trip.spread_ms, by_hand=False)


def save_manual_latency(journal: Journal, pair: DevicePair, latency_ms: float) -> Calibration:
    """Keep a round trip that the player gives.

    Raises:
        JournalError: it could not be written.
    """
    return _keep(journal, pair, latency_ms, 0.0, by_hand=True)


def _keep(
    journal: Journal, pair: DevicePair, latency_ms: float, spread_ms: float, *, by_hand: bool
) -> Calibration:
    one = Calibration(
        pair.input, pair.output, pair.rate, latency_ms, spread_ms, datetime.now(UTC), by_hand
    )
    journal.add_calibration(one)
    return one
