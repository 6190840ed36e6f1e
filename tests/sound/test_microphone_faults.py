"""What spoils a microphone is recognised, and clean sound is not accused: players and reeds."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import butter, sosfilt

from trainer.sound.microphone_faults import MicrophoneFault, find_faults, remedy

RATE = 48_000
REEDS = Path(__file__).parent.parent / "reeds"


def noise(seconds: float, db: float = -70.0, seed: int = 1) -> np.ndarray:
    return 10 ** (db / 20) * np.random.default_rng(seed).standard_normal(round(seconds * RATE))


def held(hz: float = 523.0, seconds: float = 3.0) -> np.ndarray:
    """Two seconds of silence, a held note, and two of silence, in a room."""
    t = np.arange(round(seconds * RATE)) / RATE
    tone = sum(0.1 / n * np.sin(2 * np.pi * n * hz * t) for n in range(1, 20))
    fade = np.minimum(1.0, np.minimum(t, seconds - t) / 0.03)
    silence = np.zeros(2 * RATE)
    sound = np.concatenate([silence, tone * fade, silence])
    return sound + noise(len(sound) / RATE)


def levelled(sound: np.ndarray) -> np.ndarray:
    """Automatic gain: 0.2 s to fall, 2 s to rise, towards one level, by 30 dB at most."""
    gain, out = 1.0, np.empty_like(sound)
    size = RATE // 100
    for start in range(0, len(sound), size):
        part = sound[start : start + size]
        level = np.sqrt(np.mean((gain * part) ** 2)) + 1e-9
        wanted = gain * 0.03 / level
        gain += (min(wanted, 30.0) - gain) * (0.05 if wanted < gain else 0.005)
        out[start : start + size] = gain * part
    return out


def suppressed(sound: np.ndarray) -> np.ndarray:
    """Noise suppression that takes a held note for noise, again and again."""
    out = sound.copy()
    for start in np.arange(2.6, 5.0, 0.5):
        first = round(start * RATE)
        out[first : first + round(0.15 * RATE)] *= 0.003
    return out


def call_mode(sound: np.ndarray) -> np.ndarray:
    return np.asarray(sosfilt(butter(12, 7_600.0, fs=RATE, output="sos"), sound))


def humming(sound: np.ndarray) -> np.ndarray:
    t = np.arange(len(sound)) / RATE
    return sound + sum(0.003 / n * np.sin(2 * np.pi * 50.0 * n * t) for n in (1, 2, 3, 4, 6))


@pytest.mark.parametrize(
    ("spoil", "fault"),
    [
        (levelled, MicrophoneFault.GAIN),
        (suppressed, MicrophoneFault.SUPPRESSION),
        (call_mode, MicrophoneFault.NARROW),
        (humming, MicrophoneFault.HUM),
    ],
)
@pytest.mark.parametrize("hz", [262.0, 523.0, 1760.0])
def test_what_spoils_a_microphone_is_recognised(
    spoil: object, fault: MicrophoneFault, hz: float
) -> None:
    assert callable(spoil)
    assert find_faults(spoil(held(hz)), RATE) == (fault,)
    assert find_faults(held(hz), RATE) == ()


def test_each_fault_has_a_remedy_on_each_system() -> None:
    for system in ("win32", "darwin", "linux", "freebsd13"):
        sentences = {remedy(fault, system) for fault in MicrophoneFault}
        assert len(sentences) == len(MicrophoneFault)
    assert "Audio enhancements" in remedy(MicrophoneFault.GAIN, "win32")


def test_a_dead_channel_and_a_slow_headset_are_recognised() -> None:
    assert find_faults(noise(2.0), RATE, (-60.0, -120.0)) == (MicrophoneFault.DEAD_CHANNEL,)
    assert find_faults(noise(2.0), RATE, (-60.0, -62.0)) == ()
    assert MicrophoneFault.NARROW in find_faults(noise(2.0), 16_000)


@pytest.mark.parametrize("name", ["phrase", "bends", "c-harp", "faulty-phrase", "low-f-harp"])
def test_recorded_reeds_are_not_accused_of_a_call_program(name: str) -> None:
    sound, rate = soundfile.read(REEDS / f"{name}.flac", always_2d=True)
    faults = find_faults(sound[:, 0], rate)
    assert not {MicrophoneFault.GAIN, MicrophoneFault.SUPPRESSION} & set(faults)
