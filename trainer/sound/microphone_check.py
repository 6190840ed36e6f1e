"""Whether a microphone is fit to listen through."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trainer.sound.signal_quality import SignalQuality
from trainer.sound.sources.microphone import Microphone
from trainer.sound.sources.spec import MicrophoneSpec

_FRAME_S = 0.02
_FLOOR_PERCENTILE = 10.0
_NOISY_DB = -40.0
_FAINT_DB = -120.0


@dataclass(frozen=True, slots=True)
class MicrophoneCheck:
    """What was found.

    Attributes:
        name: what was listened to, in words.
        rate: samples a second.
        seconds: how long.
        level_db: the loudest 20 ms, RMS, dB re full scale; at least -120.
        floor_db: the quiet parts, likewise: the tenth percentile of all 20 ms stretches.
        clipped: places at full scale.
        lost: samples that there was no room for.
        overflows: how many times the driver said that it dropped some.
        advice: what is wrong and how to mend it, a sentence each; empty if it is fit.
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


def check_microphone(spec: MicrophoneSpec, seconds: float = 2.0) -> MicrophoneCheck:
    """Listen for a while and say what was found.

    Raises:
        DeviceError: it cannot be opened, or stops.
    """
    microphone = Microphone(spec)
    facts = SignalQuality(microphone.rate)
    heard = []
    try:
        for block in microphone.blocks():
            heard.append(block.samples)
            facts.add(block.samples[:, None])
            if facts.frames >= seconds * microphone.rate:
                break
    finally:
        microphone.close()
    size = max(1, round(_FRAME_S * microphone.rate))
    sound = np.concatenate(heard).astype(np.float64)
    power = np.mean(sound[: len(sound) // size * size].reshape(-1, size) ** 2, axis=1)
    floor = _db(float(np.percentile(power, _FLOOR_PERCENTILE)))
    return MicrophoneCheck(
        name=microphone.name,
        rate=microphone.rate,
        seconds=facts.frames / microphone.rate,
        level_db=_db(float(power.max())),
        floor_db=floor,
        clipped=facts.clipped,
        lost=microphone.lost,
        overflows=microphone.overflows,
        advice=tuple(_advice(facts, floor, microphone)),
    )


def _db(power: float) -> float:
    return max(_FAINT_DB, 10.0 * float(np.log10(power + 1e-30)))


def _advice(facts: SignalQuality, floor: float, microphone: Microphone) -> list[str]:
    told = []
    if facts.silent:
        told.append("nothing but silence comes in; unmute it, or choose another input")
    if facts.clipped:
        told.append("it is clipped; lower the input level, or play further away from it")
    if floor > _NOISY_DB:
        told.append(
            f"the room is loud ({floor:.0f} dB); find what hums or blows, or move closer to the "
            "microphone and lower the input level"
        )
    if microphone.lost or microphone.overflows:
        told.append("samples were lost; close programs that keep the computer busy")
    return told
