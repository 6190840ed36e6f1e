"""The round trip from click to microphone, measured by ear.

Clicks are let out on the one path that clicks go, and looked for in what comes in. Each is brought
back to an impulse by dividing the click's spectrum out, as far as the click has any strength
(Wiener's deconvolution), because what a room makes of a click is longer than the click; the
envelope of that is read, so that it does not matter which way a loudspeaker turns the wave. Of
each click the way of the sound that comes first counts, and not a wall's echo. Where half of all
clicks come back most nearly at one time, there the others are believed, too, and what else was
heard is not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trainer.core.types import Floats
from trainer.sound.click import ClickTrack, click
from trainer.sound.devices import input_device, output_device
from trainer.sound.errors import DeviceError, SoundError
from trainer.sound.sources.microphone import Microphone
from trainer.sound.sources.spec import MicrophoneSpec

CLICKS = 12
TEMPO = 75.0
MOST_S = 0.7
"""The longest round trip that can be told; shorter than from one click to the next."""
BAND_HZ = (700.0, 9000.0)
FLOOR = 0.01
"""Power, over the strongest frequency's, below which nothing is divided out."""
BEFORE_S = 0.015
FIRST = 0.5
"""So strong, over the strongest, the first way of the sound is at least."""
HEIGHT = 5.0
"""Over the middle of all between two clicks, what is so high is a click."""
NEAR_S = 0.02
"""So far from where half of all come back a single click may."""
FEWEST = 0.5
"""So much of the clicks must be heard."""
NONE = 0.25
"""Fewer than so much are none."""
MOST_SPREAD_MS = 5.0
TAIL_S = 0.2


@dataclass(frozen=True, slots=True)
class RoundTrip:
    """A round trip.

    Attributes:
        latency_ms: from handing a click to the driver until it comes back, the median.
        spread_ms: half of the stretch in which the middle two thirds of the clicks lay.
        heard: how many clicks were.
        clicks: how many there were.
    """

    latency_ms: float
    spread_ms: float
    heard: int
    clicks: int


@dataclass(frozen=True, slots=True)
class DevicePair:
    """An input and an output as they are used together.

    Attributes:
        input, output: their names.
        rate: samples a second of the input.
    """

    input: str
    output: str
    rate: int


def device_pair(spec: MicrophoneSpec) -> DevicePair:
    """The devices that a microphone with clicks is opened on, and its rate.

    Raises:
        DeviceError: there is no such input or output, or it cannot be opened.
    """
    names = input_device(spec.device).name, output_device(spec.output).name
    microphone = Microphone(replace(spec, clicks=False))
    microphone.close()
    return DevicePair(*names, microphone.rate)


def measure_round_trip(spec: MicrophoneSpec, clicks: int = CLICKS) -> tuple[DevicePair, RoundTrip]:
    """Play clicks and find them.

    Args:
        spec: the microphone and the output; what it says of latency does not matter.
        clicks: how many.

    Raises:
        DeviceError: the devices cannot be opened, or stop.
        SoundError: the clicks were not heard, or came back at times too far apart.
    """
    names = input_device(spec.device).name, output_device(spec.output).name
    microphone = Microphone(replace(spec, latency_ms=0.0, clicks=True))
    heard = []
    try:
        if not microphone.hears_clicks:
            raise DeviceError(
                f"the output {names[1]} takes no sound; choose another, see 'trainer sound list'"
            )
        track = ClickTrack(TEMPO, meter_beats=1, count_in=0, beats=clicks)
        clock = microphone.start_clock(track)
        due = [sample for sample, _ in track.beats_from(clock.zero, microphone.rate)]
        until = due[-1] + round((MOST_S + TAIL_S) * microphone.rate)
        for block in microphone.blocks():
            heard.append(block.samples)
            if block.end >= until:
                break
    finally:
        microphone.close()
    trip = estimate_round_trip(np.concatenate(heard).astype(np.float64), due, microphone.rate)
    return DevicePair(*names, microphone.rate), trip


def estimate_round_trip(heard: Floats, due: Sequence[int], rate: int) -> RoundTrip:
    """Find clicks that were handed over on some samples.

    Args:
        heard: what came in, shape (n,).
        due: samples of it on which each click's start was handed over, in order.
        rate: samples a second.

    Raises:
        SoundError: they were not heard, or came back at times too far apart.
    """
    span = round(MOST_S * rate)
    whole = np.zeros(max(len(heard), due[-1] + span))
    whole[: len(heard)] = heard
    strength = _impulses(whole, rate)
    found = [_first_way(strength[start : start + span], rate) for start in due]
    times = np.array([1000.0 * lag / rate for lag in found if lag is not None])
    if len(times) < NONE * len(due):
        raise SoundError(
            "the clicks were not heard; turn the output up to a moderate level, bring the "
            "microphone to the loudspeaker, or hold an earpiece of the headphones to it"
        )
    half = math.ceil(FEWEST * len(due))
    if len(times) < half:
        raise SoundError(
            f"only {len(times)} of {len(due)} clicks were heard clearly; make the room quieter, "
            "or bring the microphone nearer to the loudspeaker"
        )
    near = times[np.abs(times - _densest(times, half)) <= 1000.0 * NEAR_S]
    if len(near) >= half and (spread := _spread(near)) <= MOST_SPREAD_MS:
        return RoundTrip(float(np.median(near)), spread, len(near), len(due))
    raise SoundError(
        "the clicks came back at times too far apart to go by; close programs that keep the "
        "computer busy, make the room quieter, and choose devices with a wire"
    )


def _spread(times: Floats) -> float:
    """Half of what the middle two thirds span: a standard deviation, where they are normal."""
    low, high = np.percentile(times, (16.0, 84.0))
    return 0.5 * float(high - low)


def _densest(times: Floats, count: int) -> float:
    """The middle of the shortest stretch that holds so many of some times."""
    in_order = np.sort(times)
    lengths = in_order[count - 1 :] - in_order[: len(in_order) - count + 1]
    first = int(np.argmin(lengths))
    return float(in_order[first] + 0.5 * lengths[first])


def _impulses(heard: Floats, rate: int) -> Floats:
    """How strongly a click begins at each sample: the envelope of what is left when the click's
    shape is divided out."""
    shape = click(rate, accented=True).astype(np.float64)
    size = 1 << (len(heard) + len(shape)).bit_length()
    played = np.fft.rfft(shape, size)
    power = np.abs(played) ** 2
    hz = np.fft.rfftfreq(size, 1.0 / rate)
    inside = (hz >= BAND_HZ[0]) & (hz <= min(BAND_HZ[1], 0.45 * rate))
    ways = np.fft.rfft(heard, size) * np.conj(played) / (power + FLOOR * power.max()) * inside
    # Without the negative frequencies, the magnitude is the envelope.
    return np.abs(np.fft.ifft(ways, size))[: len(heard)]


def _first_way(way: Floats, rate: int) -> float | None:
    """The lag of the first way of the sound, in samples to a fraction; None if there is none."""
    top = int(way.argmax())
    if way[top] < HEIGHT * float(np.median(way)) or way[top] <= 0.0:
        return None
    start = max(0, top - round(BEFORE_S * rate))
    at = start + int(np.argmax(way[start : top + 1] >= FIRST * way[top]))
    while at < top and way[at + 1] > way[at]:
        at += 1
    if not 0 < at < len(way) - 1:
        return float(at)
    a, b, c = way[at - 1 : at + 2]
    bend = a - 2.0 * b + c
    return at + (0.5 * float((a - c) / bend) if bend < 0.0 else 0.0)
