"""Recorded free reeds out of the sound fonts that Debian carries, one note at a time.

The reeds of the General MIDI programs 20 to 23 (reed organ, accordion, harmonica, bandoneon) are
samples of real ones. They are played by fluidsynth without reverberation or chorus and kept in
`benchmarks/.corpus`, so that it happens once.
"""

from __future__ import annotations

import subprocess
import tempfile
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import mido
import numpy as np
import parselmouth
import soundfile as sf
from numpy.typing import NDArray

Floats = NDArray[np.floating]
Complexes = NDArray[np.complexfloating]

RATE = 48_000
HELD_S = 2.0
"""For so long a note is held; it dies away in what follows."""
LENGTH_S = 2.4
SPOKEN_S = 0.25
"""After so long a recorded reed has come up to its pitch."""
CACHE = Path(__file__).parent / ".corpus"
FOLDERS = (Path("/usr/share/sounds/sf2"), Path("/usr/share/samples"), Path("/usr/share/sounds/sf3"))


@dataclass(frozen=True)
class Voice:
    """One kind of reed in one font.

    Attributes:
        name: what tables call it.
        font: file name of the font.
        program: General MIDI program, from 0.
        aside: whether it was kept aside from all tuning of the ear.
    """

    name: str
    font: str
    program: int
    aside: bool

    def reed(self, midi: int) -> Reed:
        """The recorded reed of a MIDI note number."""
        return _reed(self, midi)


VOICES = {
    voice.name: voice
    for voice in (
        Voice("harmonica 1", "FluidR3_GM.sf2", 22, False),
        Voice("harmonica 2", "sf_GMbank.sf2", 22, True),
        # The accordions and bandoneons sound two reeds a key, beating: no reference for one reed.
        Voice("reed organ 1", "FluidR3_GM.sf2", 20, True),
        Voice("reed organ 2", "sf_GMbank.sf2", 20, True),
    )
}


@dataclass(frozen=True)
class Reed:
    """One note of a voice.

    Attributes:
        samples: float64, shape (n,), at `RATE`; silent before sample 0.
        times, hz: its pitch as Praat reads it, seconds and Hz, where it sounds.
        speaks: the first sample within 40 dB of its peak.
    """

    samples: Floats
    times: Floats
    hz: Floats
    speaks: int

    @property
    def held_hz(self) -> float:
        """Median f0 while it is held, Hz."""
        held = (self.times > SPOKEN_S) & (self.times < HELD_S - 0.1)
        return float(np.median(self.hz[held]))

    def hz_at(self, seconds: Floats) -> Floats:
        """f0 at some times, Hz."""
        return np.interp(seconds, self.times, self.hz)

    @property
    def rms(self) -> float:
        """Level while it is held, linear."""
        held = self.samples[round(SPOKEN_S * RATE) : round((HELD_S - 0.1) * RATE)]
        return float(np.sqrt(np.mean(held**2)))

    def partials(self) -> Complexes:
        """Amplitudes and phases of its partials up to 20 kHz while it is held.

        By least squares over 0.1 s at the f0 that Praat read.

        Returns:
            complex, shape (n,), from the first partial on, in the unit of `samples`.
        """
        start, length = round(0.6 * RATE), round(0.1 * RATE)
        wave = self.samples[start : start + length]
        hz = self.held_hz
        waves = np.exp(
            2j * np.pi * hz / RATE * np.outer(np.arange(length), np.arange(1, int(20e3 / hz) + 1))
        )
        basis = np.hstack([waves.real, -waves.imag])
        found = np.linalg.lstsq(basis, wave, rcond=None)[0]
        half = waves.shape[1]
        return found[:half] + 1j * found[half:]


@lru_cache(maxsize=512)
def _reed(voice: Voice, midi: int) -> Reed:
    kept = CACHE / f"{voice.name.replace(' ', '-')}-{midi}.npz"
    if not kept.exists():
        CACHE.mkdir(exist_ok=True)
        samples = _play(voice, midi)
        times, hz = praat(samples, 440.0 * 2.0 ** ((midi - 69) / 12.0))
        np.savez(kept, samples=samples.astype(np.float32), times=times, hz=hz)
    with np.load(kept) as data:
        samples = data["samples"].astype(float)
        size = np.abs(samples)
        speaks = int(np.argmax(size > 0.01 * size.max()))
        return Reed(samples, data["times"], data["hz"], speaks)


def praat(samples: Floats, near: float) -> tuple[Floats, Floats]:
    """Praat's pitch track (autocorrelation after Boersma 1993) of one reed.

    Args:
        samples: shape (n,), at `RATE`.
        near: f0 in Hz within a major third of the truth.

    Returns:
        Times in seconds and Hz of the frames that have a pitch.
    """
    pitch = parselmouth.Sound(samples.astype(float), RATE).to_pitch_ac(
        time_step=0.005,
        pitch_floor=0.75 * near,
        pitch_ceiling=1.35 * near,
        very_accurate=True,
        max_number_of_candidates=15,
        octave_cost=0.01,
    )
    hz = pitch.selected_array["frequency"]
    return pitch.xs()[hz > 0.0], hz[hz > 0.0]


def _play(voice: Voice, midi: int) -> Floats:
    font = next(folder / voice.font for folder in FOLDERS if (folder / voice.font).exists())
    song = mido.MidiFile(ticks_per_beat=500)  # at 120 beats a minute: 1,000 ticks a second
    track = mido.MidiTrack()
    song.tracks.append(track)
    track.append(mido.Message("program_change", program=voice.program))
    track.append(mido.Message("note_on", note=midi, velocity=100))
    track.append(mido.Message("note_off", note=midi, time=round(1000 * HELD_S)))
    with tempfile.TemporaryDirectory() as folder:
        mid, wav = Path(folder, "song.mid"), Path(folder, "sound.wav")
        song.save(mid)
        command = ["fluidsynth", "-niq", "-R0", "-C0", "-g1.0", f"-r{RATE}", "-Ofloat", "-Twav"]
        subprocess.run([*command, "-F", wav, font, mid], check=True, capture_output=True)
        stereo, _ = sf.read(wav)
    mono = stereo.mean(axis=1)[: round(LENGTH_S * RATE)]
    return np.pad(mono, (0, max(0, round(LENGTH_S * RATE) - len(mono))))
