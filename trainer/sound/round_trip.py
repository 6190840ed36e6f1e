"""The round trip from click to microphone, measured acoustically.

Clicks are played on the path of all clicks and located in the input. Each is brought back to an
impulse by dividing out the click's spectrum, as far as the click has any power (Wiener
deconvolution), because a room makes a click longer. The envelope of the result is used, so that
the polarity of a loudspeaker does not matter. Of each click the direct sound counts, not a wall's
echo. Where half of all clicks come back closest to one time, clicks near it are accepted, and
anything else is rejected.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trainer.core.types import Floats, Samples
from trainer.sound.click import ClickTrack, click
from trainer.sound.devices import input_device, output_device
from trainer.sound.errors import DeviceError, SoundError
from trainer.sound.sources.microphone import Microphone, MicrophoneSpec


@dataclass(frozen=True, slots=True)
class RoundTripParameters:
    """Constants of measuring a round trip."""

    clicks: int = 12
    """Number of clicks that are played."""
    tempo: float = 75.0
    """Clicks per minute."""
    max_s: float = 0.7
    """Longest round trip that can be measured, in seconds; shorter than the time between clicks."""
    band_hz: tuple[float, float] = (700.0, 9000.0)
    """Band in which clicks are located, in hertz: where the click has power."""
    floor: float = 0.01
    """Regularisation of the deconvolution: power relative to the click's strongest frequency."""
    direct_s: float = 0.015
    """Longest time by which the direct sound is ahead of the strongest echo, in seconds."""
    direct_level: float = 0.5
    """Smallest amplitude of the direct sound relative to the strongest echo."""
    min_peak: float = 5.0
    """Height from which a peak counts as a click, relative to the median between two clicks."""
    near_s: float = 0.02
    """Largest distance of an accepted click from the densest half of all, in seconds."""
    min_clear: float = 0.5
    """Minimum fraction of clicks that must be detected."""
    min_heard: float = 0.25
    """Fraction of clicks below which none counts as heard."""
    max_spread_ms: float = 5.0
    """Largest spread of the accepted clicks, in milliseconds."""
    tail_s: float = 0.2
    """Time recorded after the last click could have come back, in seconds."""


PARAMETERS = RoundTripParameters()


@dataclass(frozen=True, slots=True)
class RoundTrip:
    """A measured round trip.

    Attributes:
        latency_ms: time from handing a click to the driver until it comes back, the median.
        spread_ms: half the span of the middle two thirds of the clicks.
        heard: number of accepted clicks.
        clicks: number of clicks played.
    """

    latency_ms: float
    spread_ms: float
    heard: int
    clicks: int


@dataclass(frozen=True, slots=True)
class DevicePair:
    """An input and an output that are used together.

    Attributes:
        input, output: their names.
        rate: samples per second of the input.
    """

    input: str
    output: str
    rate: int


def device_pair(spec: MicrophoneSpec) -> DevicePair:
    """Return the devices that a microphone with clicks is opened on, and its rate.

    Raises:
        DeviceError: the input or output is missing, or cannot be opened.
    """
    names = input_device(spec.device).name, output_device(spec.output).name
    microphone = Microphone(replace(spec, clicks=False))
    microphone.close()
    return DevicePair(*names, microphone.rate)


def measure_round_trip(
    spec: MicrophoneSpec, clicks: int = PARAMETERS.clicks
) -> tuple[DevicePair, RoundTrip]:
    """Play clicks and locate them in the input.

    Args:
        spec: the microphone and the output; its latency is ignored.
        clicks: number of clicks.

    Raises:
        DeviceError: the devices cannot be opened, or stop.
        SoundError: the clicks were not heard, or came back at times too far apart.
    """
    names = input_device(spec.device).name, output_device(spec.output).name
    microphone = Microphone(replace(spec, latency_ms=0.0, clicks=True))
    try:
        if not microphone.clicks_audible:
            raise DeviceError(
                f"the output {names[1]} takes no sound; choose another, see 'trainer sound list'"
            )
        heard, due = hear_clicks(microphone, clicks)
    finally:
        microphone.close()
    return DevicePair(*names, microphone.rate), estimate_round_trip(heard, due, microphone.rate)


def hear_clicks(microphone: Microphone, clicks: int) -> tuple[Floats, list[int]]:
    """Play clicks, and hear them until the last one could have come back.

    Args:
        microphone: it has an output, and a latency of 0.
        clicks: number of clicks.

    Returns:
        The input from then on, shape (n,); and the samples of it on which each click was handed
        over, in order.

    Raises:
        DeviceError: the devices stop.
    """
    track = ClickTrack(PARAMETERS.tempo, meter_beats=1, count_in=0, beats=clicks)
    clock = microphone.start_clock(track)
    due = [sample for sample, _ in track.beats_from(clock.zero, microphone.rate)]
    until = due[-1] + round((PARAMETERS.max_s + PARAMETERS.tail_s) * microphone.rate)
    blocks: list[Samples] = []
    first = 0
    for block in microphone.blocks():
        first = first if blocks else block.start
        blocks.append(block.samples)
        if block.end >= until:
            break
    return np.concatenate(blocks).astype(np.float64), [sample - first for sample in due]


def estimate_round_trip(heard: Floats, due: Sequence[int], rate: int) -> RoundTrip:
    """Locate clicks that were handed over on known samples.

    Args:
        heard: the input, shape (n,).
        due: samples of it on which each click's start was handed over, in order.
        rate: samples per second.

    Raises:
        SoundError: the clicks were not heard, or came back at times too far apart.
    """
    span = round(PARAMETERS.max_s * rate)
    padded = np.zeros(max(len(heard), due[-1] + span))
    padded[: len(heard)] = heard
    strength = _impulses(padded, rate)
    lags = [_direct_sound(strength[start : start + span], rate) for start in due]
    times_ms = np.array([1000.0 * lag / rate for lag in lags if lag is not None])
    if len(times_ms) < PARAMETERS.min_heard * len(due):
        raise SoundError(
            "turn the output up to a moderate level, bring the microphone to the loudspeaker, or "
            "hold an earpiece of the headphones to it: the clicks were not heard"
        )
    half = math.ceil(PARAMETERS.min_clear * len(due))
    if len(times_ms) < half:
        raise SoundError(
            "make the room quieter, or bring the microphone nearer to the loudspeaker: only "
            f"{len(times_ms)} of {len(due)} clicks were heard clearly"
        )
    near = times_ms[np.abs(times_ms - _densest(times_ms, half)) <= 1000.0 * PARAMETERS.near_s]
    if len(near) >= half and (spread_ms := _spread(near)) <= PARAMETERS.max_spread_ms:
        return RoundTrip(float(np.median(near)), spread_ms, len(near), len(due))
    raise SoundError(
        "close programs that keep the computer busy, make the room quieter, and choose devices "
        "with a wire: the clicks came back at times too far apart"
    )


def _spread(times: Floats) -> float:
    """Half the span of the middle two thirds: a standard deviation, where they are normal."""
    low, high = np.percentile(times, (16.0, 84.0))
    return 0.5 * float(high - low)


def _densest(times: Floats, count: int) -> float:
    """Middle of the shortest interval that holds `count` of the times."""
    in_order = np.sort(times)
    lengths = in_order[count - 1 :] - in_order[: len(in_order) - count + 1]
    first = int(np.argmin(lengths))
    return float(in_order[first] + 0.5 * lengths[first])


def _impulses(heard: Floats, rate: int) -> Floats:
    """Strength of a click's start at each sample, shape (n,).

    It is the envelope of the input after division by the click's spectrum.
    """
    shape = click(rate, accented=True).astype(np.float64)
    size = 1 << (len(heard) + len(shape)).bit_length()
    played = np.fft.rfft(shape, size)
    power = np.abs(played) ** 2
    hz = np.fft.rfftfreq(size, 1.0 / rate)
    low, high = PARAMETERS.band_hz
    inside = (hz >= low) & (hz <= min(high, 0.45 * rate))
    floor = PARAMETERS.floor * power.max()
    impulses = np.fft.rfft(heard, size) * np.conj(played) / (power + floor) * inside
    # Without the negative frequencies, the magnitude is the envelope.
    return np.abs(np.fft.ifft(impulses, size))[: len(heard)]


def _direct_sound(strength: Floats, rate: int) -> float | None:
    """Lag of the direct sound, in samples with a fraction; None if no click is detected."""
    top = int(strength.argmax())
    median = float(np.median(strength))
    if strength[top] < PARAMETERS.min_peak * median or strength[top] <= 0.0:
        return None
    start = max(0, top - round(PARAMETERS.direct_s * rate))
    loud = strength[start : top + 1] >= PARAMETERS.direct_level * strength[top]
    at = start + int(np.argmax(loud))
    while at < top and strength[at + 1] > strength[at]:
        at += 1
    if not 0 < at < len(strength) - 1:
        return float(at)
    a, b, c = strength[at - 1 : at + 2]
    curvature = a - 2.0 * b + c
    return at + (0.5 * float((a - c) / curvature) if curvature < 0.0 else 0.0)
