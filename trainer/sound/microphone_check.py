"""Whether a microphone is fit to listen through."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from trainer.sound.devices import input_device
from trainer.sound.loudspeaker_echo import PARAMETERS as ECHO
from trainer.sound.loudspeaker_echo import Echo, estimate_echo
from trainer.sound.microphone_faults import (
    MicrophoneFault,
    find_faults,
    frame_levels_db,
    note_level_db,
    remedy,
)
from trainer.sound.round_trip import hear_clicks
from trainer.sound.signal_quality import SignalQuality
from trainer.sound.sources.microphone import Microphone, MicrophoneSpec

_CHANNEL_S = 0.3
"""Time for which each channel is listened to by itself, in seconds."""
_FLOOR_PERCENTILE = 10.0
"""Percentile of the frames' levels that is taken for the noise floor."""
_NOISY_DB = -40.0
"""Noise floor from which the room counts as loud, in dBFS. Chosen."""
_FAINT_DB = -120.0
"""Lowest level reported, in dBFS."""


@dataclass(frozen=True, slots=True)
class MicrophoneCheck:
    """What was measured.

    Attributes:
        name: what was listened to, in words.
        rate: samples per second.
        seconds: length of the sound.
        level_db: RMS level of the loudest 20 ms, in dBFS; at least -120.
        floor_db: noise floor in dBFS: the tenth percentile of the levels of all 20 ms frames.
        clipped: number of places at full scale.
        lost: samples for which there was no room.
        overflows: how often the driver reported that it dropped samples.
        advice: what is wrong and how to mend it, a sentence each; empty if it is fit.
        faults: what spoils its sound before it gets here.
        echo: the loudspeaker's clicks in the microphone; None if none came back.
    """

    name: str
    rate: int
    seconds: float
    level_db: float
    floor_db: float
    clipped: int
    lost: int
    overflows: int
    advice: tuple[str, ...]
    faults: tuple[MicrophoneFault, ...] = ()
    echo: Echo | None = None


def check_microphone(
    spec: MicrophoneSpec, seconds: float = 2.0, on_open: Callable[[], None] = lambda: None
) -> MicrophoneCheck:
    """Listen to a microphone and measure its sound, then that of clicks, if it may play any.

    Args:
        spec: the microphone and, for the clicks, the output; its latency is ignored.
        seconds: how long it is measured.
        on_open: called when it gives sound, before it is measured.

    Raises:
        DeviceError: it cannot be opened, or stops.
    """
    channels_db = _channel_levels(replace(spec, clicks=False))
    microphone = Microphone(replace(spec, latency_ms=0.0))
    quality = SignalQuality(microphone.rate)
    blocks = []
    try:
        on_open()
        for block in microphone.blocks():
            blocks.append(block.samples)
            quality.measure(block.samples[:, None])
            if quality.frames >= seconds * microphone.rate:
                break
        clicks = hear_clicks(microphone, ECHO.clicks) if microphone.clicks_audible else None
    finally:
        microphone.close()
    sound = np.concatenate(blocks).astype(np.float64)
    levels_db = frame_levels_db(sound, microphone.rate)
    floor_db = float(np.percentile(levels_db, _FLOOR_PERCENTILE))
    faults: tuple[MicrophoneFault, ...] = ()
    echo: Echo | None = None
    if not quality.silent:
        faults = find_faults(sound, microphone.rate, channels_db)
        note_db = note_level_db(levels_db)
        echo = estimate_echo(*clicks, microphone.rate, note_db) if clicks else None
        if echo is not None and echo.is_harmful:
            faults = (*faults, MicrophoneFault.ECHO)
    remedies = [remedy(fault) for fault in faults]
    return MicrophoneCheck(
        name=microphone.name,
        rate=microphone.rate,
        seconds=quality.frames / microphone.rate,
        level_db=float(levels_db.max()),
        floor_db=floor_db,
        clipped=quality.clipped,
        lost=microphone.lost,
        overflows=microphone.overflows,
        advice=(*_advice(quality, floor_db, microphone), *remedies),
        faults=faults,
        echo=echo,
    )


def _channel_levels(spec: MicrophoneSpec) -> tuple[float, ...]:
    """Return the level of each of the channels that are mixed, in dBFS; empty for one channel."""
    if spec.channel is not None or input_device(spec.device).inputs < 2:
        return ()
    return tuple(_channel_level(replace(spec, channel=channel)) for channel in (1, 2))


def _channel_level(spec: MicrophoneSpec) -> float:
    microphone = Microphone(spec)
    power, size = 0.0, 0
    try:
        for block in microphone.blocks():
            power += float(np.sum(block.samples.astype(np.float64) ** 2))
            size += len(block.samples)
            if size >= _CHANNEL_S * microphone.rate:
                break
    finally:
        microphone.close()
    return _db(power / max(1, size))


def _db(power: float) -> float:
    return max(_FAINT_DB, 10.0 * float(np.log10(power + 1e-30)))


def _advice(quality: SignalQuality, floor_db: float, microphone: Microphone) -> list[str]:
    sentences = []
    if quality.silent:
        sentences.append("unmute it, or choose another input: it is silent")
    if quality.clipped:
        sentences.append("lower the input level, or play further away: it is clipped")
    if floor_db > _NOISY_DB:
        sentences.append(
            f"the room is loud ({floor_db:.0f} dB): find what hums or blows, or move closer to the "
            "microphone and lower the input level"
        )
    if microphone.lost or microphone.overflows:
        sentences.append("close programs that keep the computer busy: samples were lost")
    return sentences
