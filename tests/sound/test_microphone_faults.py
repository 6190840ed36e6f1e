"""What spoils a microphone is recognised, and clean sound is not accused: players and reeds."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import butter, sosfilt, spectrogram, welch

from trainer.sound import Block, MicrophoneSpec, check_microphone
from trainer.sound.click import ClickTrack, click, mix
from trainer.sound.loudspeaker_echo import estimate_echo
from trainer.sound.microphone_faults import MicrophoneFault, find_faults, remedy
from trainer.sound.spectra import power_densities

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
def test_recorded_reeds_are_not_accused_of_a_call_program_or_a_radio(name: str) -> None:
    sound, rate = soundfile.read(REEDS / f"{name}.flac", always_2d=True)
    faults = find_faults(sound[:, 0], rate)
    accused = {MicrophoneFault.GAIN, MicrophoneFault.SUPPRESSION, MicrophoneFault.OTHER_SOUND}
    assert not accused & set(faults)


# --- other sound ------------------------------------------------------------------------------


def syllables(seconds: float, db: float) -> np.ndarray:
    """Vowels of changing pitch and hisses, four a second."""
    random, parts = np.random.default_rng(3), []
    for _ in range(round(4 * seconds)):
        t = np.arange(RATE // 4) / RATE
        hz = random.uniform(110.0, 220.0)
        vowel = sum(np.sin(2 * np.pi * n * hz * t) / n for n in range(1, 15))
        hiss = np.diff(random.standard_normal(len(t) + 1))
        parts.append(np.sin(np.pi * 4 * t) ** 2 * (vowel if random.random() < 0.7 else hiss))
    sound = np.concatenate(parts)
    return 10 ** (db / 20) * sound / np.std(sound)


def broken_chords(seconds: float, db: float) -> np.ndarray:
    """Notes of a plucked instrument, three a second, that die away slowly."""
    sound = np.zeros(round(seconds * RATE))
    t = np.arange(RATE) / RATE
    for number, midi in enumerate((48, 55, 60, 64, 53, 57, 60, 65) * 3):
        hz, at = 440.0 * 2 ** ((midi - 69) / 12), number * RATE // 3
        note = sum(np.sin(2 * np.pi * n * hz * t) * np.exp(-3 * n * t) / n for n in range(1, 10))
        sound[at : at + RATE] += note[: max(0, len(sound) - at)]
    return 10 ** (db / 20) * sound / np.std(sound)


@pytest.mark.parametrize("make", [syllables, broken_chords])
def test_talk_and_music_are_recognised_beside_a_note(make: object) -> None:
    assert callable(make)
    sound = held()
    seconds = len(sound) / RATE
    assert find_faults(sound + make(seconds, -45.0), RATE) == (MicrophoneFault.OTHER_SOUND,)
    assert find_faults(sound + make(seconds, -85.0), RATE) == ()  # too soft to matter


def test_steady_noise_a_knock_and_a_wandering_whine_are_no_other_sound() -> None:
    sound = held()
    t = np.arange(len(sound)) / RATE
    knock = np.where((t > 0.9) & (t < 1.0), 0.05, 0.0) * noise(t[-1] + 1, 0.0)[: len(t)]
    whine = 0.003 * np.sin(2 * np.pi * (900.0 * t + 2.0 * np.sin(2 * np.pi * 0.4 * t)))
    gusts = noise(t[-1] + 1, -50.0)[: len(t)] * 10 ** (0.6 * np.sin(2 * np.pi * 0.7 * t))
    for besides in (noise(t[-1] + 1, -45.0)[: len(t)], knock, whine, gusts):
        assert MicrophoneFault.OTHER_SOUND not in find_faults(sound + besides, RATE)


# --- the echo of a loudspeaker ----------------------------------------------------------------


def clicks_in_a_room(delay_s: float, gain: float) -> tuple[np.ndarray, list[int]]:
    """Clicks that come back once, with a softer wall behind them."""
    due = [RATE // 2 + round(0.8 * RATE) * number for number in range(5)]
    sound = noise(5.0).astype(np.float32)
    for start in due:
        for later, part in ((delay_s, gain), (delay_s + 0.011, 0.4 * gain)):
            mix(sound, 0, part * click(RATE, accented=True), start + round(later * RATE))
    return sound.astype(np.float64), due


def test_the_delay_and_the_level_of_an_echo_are_measured() -> None:
    own = click(RATE, accented=True)[: RATE // 50].astype(np.float64)
    played_db = 10 * np.log10(np.mean(own**2))
    for delay_s, gain, harmful in ((0.03, 0.5, True), (0.05, 0.03, False), (0.4, 0.03, True)):
        echo = estimate_echo(*clicks_in_a_room(delay_s, gain), RATE, note_db=-20.0)
        assert echo is not None
        assert echo.delay_ms == pytest.approx(1000 * delay_s, abs=0.2)
        assert echo.level_db == pytest.approx(played_db + 20 * np.log10(gain), abs=1.0)
        assert echo.below_note_db == pytest.approx(-20.0 - echo.level_db)
        assert echo.is_harmful is harmful
    assert estimate_echo(*clicks_in_a_room(0.03, 0.0), RATE, note_db=-20.0) is None


class Looped:
    """A microphone in a room: what a test plays to it, and its own clicks after 40 ms."""

    name, rate, lost, overflows, clicks_audible = "a loop", RATE, 0, 0, True
    sound, gain = np.zeros(0), 0.0

    def __init__(self, spec: MicrophoneSpec) -> None:
        self._at, self._room = 0, np.zeros(15 * RATE, np.float32)
        self._room[:] = noise(15.0, -75.0)
        self._room[: len(self.sound)] += self.sound

    def start_clock(self, track: ClickTrack) -> object:
        clock = track.clock_from(self._at + RATE // 4, RATE)
        for start, accented in track.beats_from(clock.zero, RATE):
            mix(self._room, 0, self.gain * click(RATE, accented=accented), start + RATE // 25)
        return clock

    def blocks(self) -> object:
        while True:
            self._at += 1024
            yield Block(self._at - 1024, self._room[self._at - 1024 : self._at], RATE, None)

    def close(self) -> None:
        pass


@pytest.mark.parametrize(("gain", "faults"), [(0.0, ()), (0.9, (MicrophoneFault.ECHO,))])
def test_the_check_plays_clicks_and_judges_their_echo(
    monkeypatch: pytest.MonkeyPatch, gain: float, faults: tuple[MicrophoneFault, ...]
) -> None:
    monkeypatch.setattr("trainer.sound.microphone_check.Microphone", Looped)
    monkeypatch.setattr(Looped, "sound", held())
    monkeypatch.setattr(Looped, "gain", gain)
    result = check_microphone(MicrophoneSpec(channel=1), 7.0)
    assert result.faults == faults
    assert (result.echo is not None) == bool(faults)
    if result.echo is not None:
        assert result.echo.delay_ms == pytest.approx(40.0, abs=0.2)
        assert any("headphones" in sentence for sentence in result.advice)


@pytest.mark.parametrize("size", [480, 4096, 2205])
def test_spectra_are_those_of_scipy(size: int) -> None:
    sound = noise(1.0) + 1e-4
    density, frequency = power_densities(sound, RATE, size)
    at, _, theirs = spectrogram(sound, RATE, window="hann", nperseg=size, noverlap=size // 2)
    assert frequency == pytest.approx(at)
    assert density == pytest.approx(theirs, rel=1e-6, abs=1e-18)
    assert density.mean(axis=1) == pytest.approx(welch(sound, RATE, nperseg=size)[1], rel=1e-6)
    assert power_densities(sound[: size - 1], RATE, size)[0].shape == (size // 2 + 1, 0)
