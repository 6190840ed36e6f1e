"""Record single notes of sound fonts, and speech, into one file.

    python -m training.bank OUT.npz --split training

Needs fluidsynth, espeak-ng, and the fonts that the split names (README.md). Each note of a program
is played alone, without reverberation or chorus, at 22,050 samples per second. Reeds keep 16 bits;
other instruments and speech are companded to 8 bits (ITU-T G.711, mu-law), so that a bank stays
under 64 MB.
"""

from __future__ import annotations

import argparse
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import mido
import numpy as np
import soundfile as sf

RATE = 22_050
REED, DECAYING, SUSTAINED, DRUM, SPEECH = range(5)
"""Kinds of notes."""
REEDS = (22, 20, 21, 23)
"""General MIDI programs, from 0: harmonica, reed organ, accordion, bandoneon."""
DECAYING_PROGRAMS = (0, 1, 3, 4, 5, 6, 11, 12, 24, 25, 26, 27, 28, 32, 33, 34, 36, 45, 46, 105)
SUSTAINED_PROGRAMS = (
    *(16, 17, 18, 19, 29, 30, 38, 40, 41, 42, 48, 49, 50, 52, 53, 56, 57, 58, 61, 62),
    *(64, 65, 66, 68, 70, 71, 73, 75, 78, 79, 80, 81, 89, 91, 110),
)
DRUMS = (*range(35, 60), 69, 70, 75, 76)
"""General MIDI percussion on channel 10."""
HELD_S = 1.5
DRUM_S = 0.5
SPACING_S = 1.9
VOICES = {
    "training": ("en-us", "en-gb-scotland", "de", "fr", "es", "pl", "it+f3", "en+m7", "pt-br+f2"),
    "report": ("en-gb", "sv", "en+f1"),
}
"""Voices of espeak-ng, by split."""
FONTS = {
    "training": ("FluidR3_GM.sf2", "TimGM6mb.sf2"),
    "report": ("sf_GMbank.sf2",),
}
WORDS = (
    "well this one is a slow tune in the old style and we start with the harp alone",
    "is it running good then from the top one two three four",
    "my grandfather mended nets at the harbour and he used to whistle this",
    "take two please mind the door and do not tap your foot so loudly",
    "the second verse goes up and the third one comes back home",
    "thank you that was lovely now the waltz a little faster than before",
)


@dataclass
class Collected:
    """The notes so far: rows of (kind, voice, MIDI note, start, length), and their samples."""

    rows: list[tuple[int, int, int, int, int]]
    pcm: list[np.ndarray]
    companded: list[np.ndarray]
    lengths: list[int]

    def add(self, kind: int, voice: int, midi: int, samples: np.ndarray) -> None:
        """Add a note at an RMS level of 0.1 where it is loudest; a silent one is dropped."""
        samples = samples[: _until_silent(samples)]
        window = min(len(samples), round(0.2 * RATE))
        if window < 500:
            return
        energy = np.concatenate([[0.0], np.cumsum(samples.astype(float) ** 2)])
        power = float((energy[window:] - energy[:-window]).max()) / window
        if power < 1e-8:
            return
        samples = np.clip(samples * 0.1 / np.sqrt(power), -1.0, 1.0)
        store = self.pcm if kind == REED else self.companded
        at = self.lengths[kind != REED]
        self.rows.append((kind, voice, midi, at, len(samples)))
        self.lengths[kind != REED] += len(samples)
        store.append(np.round(samples * 32767).astype(np.int16) if kind == REED else _mu(samples))


def _until_silent(samples: np.ndarray) -> int:
    loud = np.flatnonzero(np.abs(samples) > 1e-3 * np.abs(samples).max())
    return int(loud[-1]) + 1 if len(loud) else 0


def _mu(samples: np.ndarray) -> np.ndarray:
    companded = np.sign(samples) * np.log1p(255.0 * np.abs(samples)) / np.log(256.0)
    return np.round(127.0 * companded + 128.0).astype(np.uint8)


def play(font: Path, wanted: list[tuple[int | None, list[int]]], seed: int) -> list[np.ndarray]:
    """Return the notes of programs (None for the drums) at random velocities, in order.

    All are one piece for fluidsynth, because loading a font takes longer than playing it.
    """
    random = np.random.default_rng(seed)
    file = mido.MidiFile(ticks_per_beat=500)  # at 120 beats a minute: 1,000 ticks a second
    track = mido.MidiTrack()
    file.tracks.append(track)
    waited = 0
    lengths = []
    for program, midis in wanted:
        channel = 9 if program is None else 0
        if program is not None:
            change = mido.Message("program_change", channel=0, program=program, time=waited)
            track.append(change)
            waited = 0
        for midi in midis:
            note = {"channel": channel, "note": midi}
            velocity = int(random.integers(70, 122))
            track.append(mido.Message("note_on", velocity=velocity, time=waited, **note))
            track.append(mido.Message("note_off", time=round(1000 * HELD_S), **note))
            waited = round(1000 * (SPACING_S - HELD_S))
            lengths.append(round((DRUM_S if program is None else HELD_S) * RATE))
    with tempfile.TemporaryDirectory() as folder:
        mid, wav = Path(folder, "notes.mid"), Path(folder, "notes.wav")
        file.save(mid)
        command = ["fluidsynth", "-niq", "-R0", "-C0", "-g1.0", f"-r{RATE}", "-Ofloat", "-Twav"]
        subprocess.run([*command, "-F", wav, font, mid], check=True, capture_output=True)
        sound, _ = sf.read(wav, dtype="float32")
    mono = sound.mean(axis=1)
    step = SPACING_S * RATE
    return [mono[round(i * step) :][:length] for i, length in enumerate(lengths)]


def speak(voice: str, text: str, speed: int, espeak: list[str]) -> np.ndarray:
    """Return a sentence spoken by espeak-ng."""
    with tempfile.TemporaryDirectory() as folder:
        wav = Path(folder, "talk.wav")
        command = [*espeak, "-v", voice, "-s", str(speed), "-w", str(wav), text]
        subprocess.run(command, check=True, capture_output=True)
        sound, rate = sf.read(wav, dtype="float32")
    assert rate == RATE
    return sound


def collect(split: str, folders: list[Path], espeak: list[str]) -> Collected:
    """Record all notes of a split."""
    kept = Collected([], [], [], [0, 0])
    fonts = [
        next(folder / font for folder in folders if (folder / font).exists())
        for font in FONTS[split]
    ]
    voice = 0
    for font in fonts:
        wanted: list[tuple[int, int | None, list[int]]] = []
        for program in REEDS:
            step = 2 if program in (20, 22) else 4
            wanted.append((REED, program, list(range(44, 104, step))))
        for kind, programs in ((DECAYING, DECAYING_PROGRAMS), (SUSTAINED, SUSTAINED_PROGRAMS)):
            for program in programs:
                low = 28 if program in (32, 33, 34, 36, 38) else 43
                wanted.append((kind, program, list(range(low, low + 48, 5))))
        wanted.append((DRUM, None, list(DRUMS)))
        played = iter(play(font, [(program, midis) for _, program, midis in wanted], voice))
        for kind, _, midis in wanted:
            for midi in midis:
                kept.add(kind, voice, midi, next(played))
            voice += 1
    for number, name in enumerate(VOICES[split]):
        for text in WORDS:
            kept.add(SPEECH, voice, 0, speak(name, text, 130 + 15 * (number % 5), espeak))
        voice += 1
    return kept


def main() -> None:
    """Write the bank of a split."""
    parser = argparse.ArgumentParser(prog="python -m training.bank")
    parser.add_argument("out", type=Path)
    parser.add_argument("--split", choices=tuple(FONTS), default="training")
    parser.add_argument("--fonts", type=Path, nargs="+", default=[], help="more folders of fonts")
    parser.add_argument("--espeak", nargs="+", default=["espeak-ng"], help="command of espeak-ng")
    options = parser.parse_args()
    folders = [*options.fonts, Path("/usr/share/sounds/sf2"), Path("/usr/share/sounds/sf3")]
    kept = collect(options.split, folders, options.espeak)
    np.savez_compressed(
        options.out,
        rows=np.array(kept.rows, np.int64),
        pcm=np.concatenate(kept.pcm),
        companded=np.concatenate(kept.companded),
    )
    print(f"{len(kept.rows)} notes, {options.out.stat().st_size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
