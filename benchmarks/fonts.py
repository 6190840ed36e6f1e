"""Recorded free reeds from the sound fonts of Debian, one note at a time.

General MIDI programs 20 (reed organ) and 22 (harmonica) are samples of real reeds. fluidsynth plays
them once, without reverberation or chorus, into the cache `benchmarks/.corpus`.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import mido
import numpy as np
import parselmouth
import soundfile as sf

from trainer.core import TrainerError
from trainer.core.types import Complexes, Floats


class FontError(TrainerError):
    """A sound font or fluidsynth is missing."""


RATE = 48_000
HELD_S = 2.0
"""Length of a note in seconds; its decay follows."""
LENGTH_S = 2.4
SPOKEN_S = 0.25
"""Seconds after which a recorded reed has settled."""
WINDOW_FLOOR_HZ = 200.0
"""Pitch floor of Praat, whose windows are six periods of it: 30 ms. Fonts loop a few periods of a
high reed whose pitch differs by some cents, which the window must average."""
CACHE = Path(__file__).parent / ".corpus" / "2"
"""Folder of cached reeds; the number changes with the way they are made."""
TO_INSTALL = (
    "install the corpus, on Debian and Ubuntu: "
    "sudo apt install fluidsynth fluid-soundfont-gm csound-soundfont"
)
DRUMS = -1
"""In place of a program: the drums of General MIDI, whose note numbers are instruments."""
FOLDERS = (Path("/usr/share/sounds/sf2"), Path("/usr/share/samples"), Path("/usr/share/sounds/sf3"))


@dataclass(frozen=True)
class Voice:
    """One kind of reed in one font.

    Attributes:
        name: in tables.
        font: file name of the font.
        program: General MIDI program, from 0.
        aside: whether it was held out from all tuning of the ear.
    """

    name: str
    font: str
    program: int
    aside: bool

    def reed(self, midi: int) -> Reed:
        """Return the recorded reed of a MIDI note number."""
        return _reed(self, midi)


VOICES = {
    voice.name: voice
    for voice in (
        Voice("harmonica 1", "FluidR3_GM.sf2", 22, False),
        Voice("harmonica 2", "sf_GMbank.sf2", 22, True),
        # Accordions and bandoneons have two beating reeds a key: no reference for one reed.
        Voice("reed organ 1", "FluidR3_GM.sf2", 20, True),
        Voice("reed organ 2", "sf_GMbank.sf2", 20, True),
    )
}


@dataclass(frozen=True)
class Reed:
    """One note of a voice.

    Attributes:
        samples: float64, shape (n,), at `RATE`; silent before sample 0.
        times, hz: its pitch by Praat, seconds and Hz, where it sounds.
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
        """Return f0 at given times, Hz."""
        return np.interp(seconds, self.times, self.hz)

    @property
    def rms(self) -> float:
        """Level while it is held, linear."""
        held = self.samples[round(SPOKEN_S * RATE) : round((HELD_S - 0.1) * RATE)]
        return float(np.sqrt(np.mean(held**2)))

    def partials(self) -> Complexes:
        """Return complex amplitudes of its partials up to 20 kHz while it is held.

        Least squares over 0.1 s at the f0 estimated by Praat.

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
        fitted = np.linalg.lstsq(basis, wave, rcond=None)[0]
        half = waves.shape[1]
        return fitted[:half] + 1j * fitted[half:]


def _kept(voice: Voice, midi: int) -> Path:
    return CACHE / f"{voice.name.replace(' ', '-')}-{midi}.npz"


def _record(voice: Voice, midi: int) -> None:
    CACHE.mkdir(parents=True, exist_ok=True)
    samples = _play(voice, midi)
    times, hz = praat(samples, 440.0 * 2.0 ** ((midi - 69) / 12.0))
    kept = _kept(voice, midi)
    made = kept.with_suffix(f".{os.getpid()}.npz")  # another process may write it too
    np.savez(made, samples=samples.astype(np.float32), times=times, hz=hz)
    made.replace(kept)


@lru_cache(maxsize=96)
def _reed(voice: Voice, midi: int) -> Reed:
    kept = _kept(voice, midi)
    if not kept.exists():
        _record(voice, midi)
    with np.load(kept) as data:
        samples = data["samples"].astype(float)
        size = np.abs(samples)
        speaks = int(np.argmax(size > 0.01 * size.max()))
        return Reed(samples, data["times"], data["hz"], speaks)


def praat(samples: Floats, near: float) -> tuple[Floats, Floats]:
    """Return Praat's pitch track (autocorrelation, Boersma 1993) of one reed.

    Args:
        samples: shape (n,), at `RATE`.
        near: f0 in Hz within a major third of the truth.

    Returns:
        Times in seconds, and Hz, of the frames that have a pitch.
    """
    pitch = parselmouth.Sound(samples.astype(float), RATE).to_pitch_ac(
        time_step=0.005,
        pitch_floor=min(0.75 * near, WINDOW_FLOOR_HZ),
        pitch_ceiling=1.35 * near,
        very_accurate=True,
        max_number_of_candidates=15,
        octave_cost=0.05,  # prefer the highest of equals: lower ones are subharmonics
    )
    hz = pitch.selected_array["frequency"]
    near_it = np.abs(np.log2(np.maximum(hz, 1.0) / near)) < 1.0 / 3.0
    return pitch.xs()[near_it], hz[near_it]


def _play(voice: Voice, midi: int) -> Floats:
    return song(voice.font, [(voice.program, midi, 0.0, HELD_S)], LENGTH_S)


def prepare(midis: Sequence[int], processes: int) -> None:
    """Record all missing reeds of all voices into the cache.

    Raises:
        FontError: a font or fluidsynth is missing.
    """
    missing = [
        (voice, midi)
        for voice in VOICES.values()
        for midi in midis
        if not _kept(voice, midi).exists()
    ]
    if not missing:
        return
    for voice in VOICES.values():
        find_font(voice.font)
    if shutil.which("fluidsynth") is None:
        raise FontError(f"{TO_INSTALL}; fluidsynth is missing")
    print("Building the corpus (once).", file=sys.stderr)
    with ProcessPoolExecutor(processes) as pool:
        list(pool.map(_record, *zip(*missing, strict=True), chunksize=8))


def find_font(font: str) -> Path:
    """Return the path of a font.

    Raises:
        FontError: it is missing; the message names the packages to install.
    """
    for folder in FOLDERS:
        if (folder / font).exists():
            return folder / font
    raise FontError(f"{TO_INSTALL}; the sound font {font} is missing")


def song(font: str, notes: Sequence[tuple[int, int, float, float]], length: float) -> Floats:
    """Render notes of a font without reverberation or chorus.

    Args:
        font: its file name.
        notes: General MIDI program or `DRUMS`, MIDI note number, start and length in seconds of
            each.
        length: of the result, seconds.

    Returns:
        shape (n,), at `RATE`, mono.
    """
    path = find_font(font)
    programs = sorted({note[0] for note in notes} - {DRUMS})
    channels = {program: channel for channel, program in enumerate(programs)}
    channels[DRUMS] = 9
    events = [
        (at, mido.Message(kind, channel=channels[program], note=midi, velocity=100))
        for program, midi, start, held in notes
        for kind, at in (("note_on", start), ("note_off", start + held))
    ]
    file = mido.MidiFile(ticks_per_beat=500)  # at 120 beats a minute: 1,000 ticks a second
    track = mido.MidiTrack()
    file.tracks.append(track)
    for program in programs:
        channel = channels[program]
        track.append(mido.Message("program_change", channel=channel, program=program))
    now = 0
    for at, message in sorted(events, key=lambda event: event[0]):
        tick = round(1000 * at)
        track.append(message.copy(time=tick - now))
        now = tick
    with tempfile.TemporaryDirectory() as folder:
        mid, wav = Path(folder, "song.mid"), Path(folder, "sound.wav")
        file.save(mid)
        command = ["fluidsynth", "-niq", "-R0", "-C0", "-g1.0", f"-r{RATE}", "-Ofloat", "-Twav"]
        subprocess.run([*command, "-F", wav, path, mid], check=True, capture_output=True)
        stereo, _ = sf.read(wav)
    mono = stereo.mean(axis=1)[: round(length * RATE)]
    return np.pad(mono, (0, max(0, round(length * RATE) - len(mono))))
