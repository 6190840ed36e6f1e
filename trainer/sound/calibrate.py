"""The round trip from click to microphone, measured by ear.

Clicks are let out on the one path that clicks go, and looked for in what comes in. Each is brought
back to an impulse by dividing the click's spectrum out, as far as the click has any strength
(Wiener's deconvolution), because what a room makes of a click is longer than the click; the
envelope of that is read, so that it does not matter which way a loudspeaker turns the wave. The
median over the clicks shows where all of them come back, whatever else is to be heard and whether
one or the other is missing; the way of the sound that comes first counts, and not a wall's echo.
Then each click is looked for near there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trainer.sound.block import Floats
from trainer.sound.click import ClickTrack, click
from trainer.sound.devices import input_device, output_device
from trainer.sound.errors import DeviceError, SoundError
from trainer.sound.microphone import Microphone
from trainer.sound.spec import MicrophoneSpec

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
NEAR_S = 0.02
"""So far from where all come back a single click may."""
COMMON, SINGLE = 4.5, 4.5
"""Heights of a peak over the middle of what is around it, from which it is a click: of the median
over all clicks, and of one click."""
FEWEST = 0.5
"""So much of the clicks must be heard."""
MOST_SPREAD_MS = 5.0
TAIL_S = 0.2


@dataclass(frozen=True, slots=True)
class RoundTrip:
    """A round trip.

    Attributes:
        latency_ms: from handing a click to the driver until it comes back, the median.
        spread_ms: standard deviation of single clicks, taken robustly.
        heard: how many clicks were.
        clicks: how many there were.
    """

    latency_ms: float
    spread_ms: float
    heard: int
    clicks: int


@dataclass(frozen=True, slots=True)
class Pair:
    """An input and an output as they are used together.

    Attributes:
        input, output: their names.
        rate: samples a second of the input.
    """

    input: str
    output: str
    rate: int


def pair_of(spec: MicrophoneSpec) -> Pair:
    """The devices that a microphone with clicks is opened on, and its rate.

    Raises:
        DeviceError: there is no such input or output, or it cannot be opened.
    """
    names = input_device(spec.device).name, output_device(spec.output).name
    microphone = Microphone(replace(spec, clicks=False))
    microphone.close()
    return Pair(*names, microphone.rate)


def calibrate(spec: MicrophoneSpec, clicks: int = CLICKS) -> tuple[Pair, RoundTrip]:
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
    trip = round_trip(np.concatenate(heard).astype(np.float64), due, microphone.rate)
    return Pair(*names, microphone.rate), trip


def round_trip(heard: Floats, due: Sequence[int], rate: int) -> RoundTrip:
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
    ways = np.stack([strength[start : start + span] for start in due])
    ways /= np.median(ways, axis=1, keepdims=True) + 1e-12
    common = np.median(ways, axis=0)
    if common.max() < COMMON:
        raise SoundError(
            "the clicks were not heard; turn the output up to a moderate level, bring the "
            "microphone to the loudspeaker, or hold an earpiece of the headphones to it"
        )
    lag = _first_way(common, rate)
    lags = [found for way in ways if (found := _near(way, lag, rate)) is not None]
    if len(lags) < FEWEST * len(due):
        raise SoundError(
            f"only {len(lags)} of {len(due)} clicks were heard clearly; make the room quieter, or "
            "bring the microphone nearer to the loudspeaker"
        )
    times = 1000.0 * np.array(lags) / rate
    middle = float(np.median(times))
    spread = float(1.4826 * np.median(np.abs(times - middle)))
    if spread > MOST_SPREAD_MS:
        raise SoundError(
            f"the clicks came back at times {spread:.0f} ms apart, which is too uneven to go by; "
            "close programs that keep the computer busy, and choose devices with a wire"
        )
    return RoundTrip(middle, spread, len(lags), len(due))


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


def _first_way(common: Floats, rate: int) -> int:
    """The lag in samples of the first way of the sound."""
    top = int(common.argmax())
    start = max(0, top - round(BEFORE_S * rate))
    lag = start + int(np.argmax(common[start : top + 1] >= FIRST * common[top]))
    while lag < top and common[lag + 1] > common[lag]:
        lag += 1
    return lag


def _near(way: Floats, lag: int, rate: int) -> float | None:
    """Where one click comes back, in samples, to a fraction; None if it is not heard there."""
    reach = round(NEAR_S * rate)
    first = max(0, lag - reach)
    near = way[first : lag + reach + 1]
    top = int(near.argmax())
    if near[top] < SINGLE:
        return None
    at = first + _first_way(near, rate)
    if not 0 < at < len(way) - 1:
        return float(at)
    a, b, c = way[at - 1 : at + 2]
    bend = a - 2.0 * b + c
    return at + (0.5 * float((a - c) / bend) if bend < 0.0 else 0.0)
