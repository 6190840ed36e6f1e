"""Transcription of a harp on a record: alone, in rooms, in a mix, and after talk.

    python -m benchmarks.records [--phrases 10] [--first 0] [--choice] [--ear-only | --compare]

Each phrase is 24 to 48 notes of a usual made-up tune (:mod:`benchmarks.tunes`), played by the
harmonica of a sound font. Nothing is given to the program, but the harp in one column. Figures:

- *onset*: mean F1 of onsets within 50 ms (mir_eval);
- *given*: the same if the tab must be right, too, with the harp given; draw 2 and blow 3, which
  sound alone cannot distinguish, count as one;
- *tab*: the same with nothing given; a tab on a wrong harp is wrong;
- *harp*, *of 3*: phrases whose harp is the first guess, and among the first three;
- *right*, *conf.*: fraction of written notes whose onset and pitch are right, on whatever harp, and
  their mean confidence;
- *s/min*: CPU seconds per minute of sound.

What the network of `trainer/transcript/harp_network.py` was trained on (training/README.md) has no
part in this material: neither the font, nor the bands, the voices that talk, the tunes, nor the
rooms, which are images of a shoebox with a diffuse tail. `--choice` uses a training font instead,
on which the decoder's constants were chosen. `--ear-only` leaves the network out: the joint fit of
the ear writes what it trusts. `--compare` gives both ways, a row each.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from unittest import mock

import trainer  # noqa: F401 - before numpy

# isort: split

import mir_eval
import numpy as np
import soundfile as sf
from scipy import signal

from benchmarks import results
from benchmarks.conditions import reverberation
from benchmarks.fonts import DRUMS, RATE, FontError, song
from benchmarks.tunes import make_tune
from trainer.core.types import Floats
from trainer.harp import Harp, Tab
from trainer.transcript import Transcript, TranscriptRequest, transcribe, transcription

KEYS = ("C", "A", "G", "D", "F", "Bb", "E", "Eb", "low F", "Ab")
"""Keys of the harps, one after another."""
PLAYED = (2, 1, 2, 3, 2, 1, 12, 2, 1, 3)
"""Positions, one after another, about as often as they are played (common practice)."""
FEWEST, MOST = 24, 48
"""Number of notes of a phrase."""
FONT, CHOICE_FONT, OTHER_FONT = "sf_GMbank.sf2", "TimGM6mb.sf2", "FluidR3_GM.sf2"
HARMONICA, PIANO, BASS, GUITAR, ORGAN = 22, 0, 33, 27, 16
LEAD_S = 0.5
TALK_S = 8.0
SOON_S = 0.05
VOICES = ("en-gb", "sv", "en+f1")
CHOICE_VOICES = ("nl", "en+f4")
SENTENCES = (
    "good evening and welcome back to the old boathouse it is lovely to see you all",
    "this next one we learned from the ferryman who never gave us its name here it goes",
    "could somebody open the window a little before we start it is very warm in here",
    "now the second part is a bit quicker so listen closely and then we try it together",
)
PROGRESSIONS = {False: (0, 5, 7, 0), True: (0, 8, 3, 10)}
"""Roots of a bar's chords above the tonic, for major and minor thirds."""


@dataclass(frozen=True)
class Phrase:
    """A phrase and its truth.

    Attributes:
        samples: shape (n,), at `RATE`.
        harp: the harp.
        starts: onsets in seconds.
        tabs: entries.
        beat: seconds of a beat.
        tonic: pitch class.
        minor: whether chords are minor.
        bar: beats of a bar.
        seed: of all that is random about it.
    """

    samples: Floats
    harp: Harp
    starts: tuple[float, ...]
    tabs: tuple[Tab, ...]
    beat: float
    tonic: int
    minor: bool
    bar: int
    seed: int

    @property
    def ends(self) -> float:
        """End of the sound in seconds."""
        return len(self.samples) / RATE


@dataclass(frozen=True)
class Scored:
    """What was written of a phrase.

    Attributes:
        onset, given, tab: F1.
        harp: whether the harp is right.
        of_three: whether it is among the first three guesses.
        notes: (whether it is right, confidence) of each written note.
        cpu_s: CPU seconds per minute of sound.
        seconds: of sound.
    """

    onset: float
    given: float
    tab: float
    harp: bool
    of_three: bool
    notes: tuple[tuple[bool, float], ...]
    cpu_s: float
    seconds: float


def make_phrase(number: int, font: str, *, loose: bool = False, drift: float = 0.0) -> Phrase:
    """Return a phrase played by the harmonica of a font.

    Args:
        number: of the phrase.
        font: file name.
        loose: whether onsets are up to 25 ms off, at random.
        drift: relative change of the tempo over the phrase.
    """
    key, position = KEYS[number % len(KEYS)], PLAYED[number % len(PLAYED)]
    seed = 7_000 + number
    tune = make_tune(key, position, seed, usual=True)
    while len(tune.notes) < FEWEST:
        seed += 1_000
        tune = make_tune(key, position, seed, usual=True)
    draw = np.random.default_rng(seed)
    harp = Harp.of(key)
    notes = []
    for start, end, tab in tune.seconds()[:MOST]:
        off = float(draw.uniform(-0.025, 0.025)) if loose else 0.0
        slower = 1.0 + drift * start / 40.0
        notes.append((HARMONICA, harp.midi(tab), LEAD_S + start * slower + off, end - start))
    length = notes[-1][2] + notes[-1][3] + 0.7
    samples = song(font, notes, length)
    return Phrase(
        _levelled(samples),
        harp,
        tuple(note[2] for note in notes),
        tuple(tab for _, _, tab in tune.seconds()[:MOST]),
        60.0 / tune.tempo,
        (harp.key.tonic + 7 * (position - 1)) % 12,
        position == 3,
        tune.beats,
        seed,
    )


def _levelled(samples: Floats) -> Floats:
    loud = samples[np.abs(samples) > 0.02 * np.abs(samples).max()]
    return 0.1 * samples / float(np.sqrt(np.mean(loud**2)))


def _chords(phrase: Phrase) -> list[tuple[float, tuple[int, int, int]]]:
    """Start in seconds and pitch classes of each bar's chord."""
    bars = int((phrase.ends - LEAD_S) / (phrase.bar * phrase.beat)) + 1
    chords = []
    for bar in range(bars):
        root = phrase.tonic + PROGRESSIONS[phrase.minor][bar % 4]
        third = 3 if phrase.minor and bar % 4 == 0 else 4
        at = LEAD_S + bar * phrase.bar * phrase.beat
        chords.append((at, (root % 12, (root + third) % 12, (root + 7) % 12)))
    return chords


def piano_part(phrase: Phrase) -> list[tuple[int, int, float, float]]:
    """Return a chord on each beat and its root below."""
    notes = []
    for at, chord in _chords(phrase):
        notes.append((PIANO, 36 + chord[0], at, phrase.bar * phrase.beat))
        for beat in range(phrase.bar):
            start = at + beat * phrase.beat
            notes += [(PIANO, 55 + (pc - 55) % 12, start, 0.8 * phrase.beat) for pc in chord]
    return notes


def band_part(phrase: Phrase) -> list[tuple[int, int, float, float]]:
    """Return drums, a walking bass, off-beats of a guitar, and an organ."""
    draw = np.random.default_rng(phrase.seed)
    notes = []
    for at, chord in _chords(phrase):
        notes += [(ORGAN, 52 + (pc - 52) % 12, at, phrase.bar * phrase.beat) for pc in chord]
        for beat in range(phrase.bar):
            start, half = at + beat * phrase.beat, 0.5 * phrase.beat
            low = 29 + (chord[int(draw.integers(3))] - 29) % 12
            notes.append((BASS, low, start, 0.9 * phrase.beat))
            notes += [(GUITAR, 57 + (pc - 57) % 12, start + half, 0.4 * half) for pc in chord]
            drum = 38 if beat % 2 else 36
            notes += [(DRUMS, drum, start, 0.2), (DRUMS, 42, start, 0.1)]
            notes.append((DRUMS, 42, start + half, 0.1))
    return notes


def under(
    phrase: Phrase, part: Sequence[tuple[int, int, float, float]], font: str, db: float
) -> Phrase:
    """Return a phrase with a part below it, at `db` re the harp by RMS."""
    inside = [note for note in part if note[2] < phrase.ends]
    other = _levelled(song(font, inside, phrase.ends))
    return replace(phrase, samples=phrase.samples + 10.0 ** (db / 20.0) * other)


def in_room(
    phrase: Phrase, size: tuple[float, float, float], rt60_s: float, direct_db: float
) -> Phrase:
    """Return a phrase in a shoebox: images up to 80 ms (JASA 65, 1979, p. 943), then a tail."""
    draw = np.random.default_rng(phrase.seed)
    response = reverberation(rt60_s, direct_db, RATE, draw)
    box = np.array(size)
    source, ear = draw.uniform(0.25, 0.75, 3) * box, draw.uniform(0.25, 0.75, 3) * box
    direct = float(np.linalg.norm(source - ear))
    area = 2.0 * (size[0] * size[1] + size[0] * size[2] + size[1] * size[2])
    absorbed = min(0.9, 0.161 * float(np.prod(box)) / (area * rt60_s))  # Sabine
    reflect = np.sqrt(1.0 - absorbed)
    for cell in np.ndindex(7, 7, 7):
        order = np.array(cell) - 3
        for mirror in np.ndindex(2, 2, 2):
            image = 2.0 * order * box + np.where(np.array(mirror) == 1, -source, source)
            distance = float(np.linalg.norm(image - ear))
            hits = int(np.sum(np.abs(order) + np.abs(order - np.array(mirror))))
            at = round((distance - direct) / 343.0 * RATE)
            if hits and 0 < at < min(round(0.08 * RATE), len(response)):
                response[at] += reflect**hits * direct / distance * 0.5
    wet = signal.fftconvolve(phrase.samples, response)[: len(phrase.samples)]
    return replace(phrase, samples=wet)


def talk(number: int, seconds: float, voices: Sequence[str]) -> Floats:
    """Return speech of espeak-ng, at the level of a phrase.

    Raises:
        FontError: espeak-ng is missing.
    """
    if shutil.which("espeak-ng") is None:
        raise FontError("install espeak-ng, on Debian and Ubuntu: sudo apt install espeak-ng")
    sound = _spoken(voices[number % len(voices)], SENTENCES[number % len(SENTENCES)])
    while len(sound) < seconds * RATE:
        sound = np.concatenate([sound, np.zeros(round(0.4 * RATE)), sound])
    return _levelled(sound[: round(seconds * RATE)])


@lru_cache(maxsize=32)
def _spoken(voice: str, text: str) -> Floats:
    with tempfile.TemporaryDirectory() as folder:
        wav = Path(folder, "talk.wav")
        subprocess.run(
            ["espeak-ng", "-v", voice, "-s", "150", "-w", wav, text],
            check=True,
            capture_output=True,
        )
        samples, rate = sf.read(wav)
    return signal.resample_poly(samples, RATE, rate)


def after_talk(phrase: Phrase, number: int, voices: Sequence[str]) -> Phrase:
    """Return a phrase after eight seconds of talk."""
    samples = np.concatenate([talk(number, TALK_S, voices), phrase.samples])
    return replace(phrase, samples=samples, starts=tuple(start + TALK_S for start in phrase.starts))


def around_talk(phrase: Phrase, number: int, voices: Sequence[str]) -> Phrase:
    """Return a phrase with five seconds of talk in its middle."""
    middle = len(phrase.starts) // 2
    at = phrase.starts[middle] - 0.02
    cut = round(at * RATE)
    words = talk(number, 5.0, voices)
    samples = np.concatenate([phrase.samples[:cut], words, phrase.samples[cut:]])
    later = len(words) / RATE
    starts = [start + (later if i >= middle else 0.0) for i, start in enumerate(phrase.starts)]
    return replace(phrase, samples=samples, starts=tuple(starts))


def _noisy(phrase: Phrase, db: float) -> Phrase:
    noise = np.random.default_rng(phrase.seed).standard_normal(len(phrase.samples))
    return replace(phrase, samples=phrase.samples + 0.1 * 10.0 ** (db / 20.0) * noise)


def _clipped(phrase: Phrase, db: float) -> Phrase:
    ceiling = float(np.abs(phrase.samples).max()) * 10.0 ** (-db / 20.0)
    return replace(phrase, samples=np.clip(phrase.samples, -ceiling, ceiling))


@dataclass(frozen=True)
class Split:
    """What a run is made of."""

    font: str
    voices: tuple[str, ...]
    first: int
    ear_only: bool = False


REPORT = Split(FONT, VOICES, 0)
CHOICE = Split(CHOICE_FONT, CHOICE_VOICES, 500)

Made = Callable[[int, Split], Phrase]


def _plain(number: int, split: Split) -> Phrase:
    return make_phrase(number, split.font)


CONDITIONS: dict[str, Made] = {
    "clean": _plain,
    "MP3": _plain,
    "OGG": _plain,
    "8 kHz": _plain,
    "one dead channel": _plain,
    "timing ±25 ms, 5 % drift": lambda n, s: make_phrase(n, s.font, loose=True, drift=0.05),
    "noise, 20 dB below": lambda n, s: _noisy(_plain(n, s), -20.0),
    "other reeds": lambda n, s: make_phrase(n, OTHER_FONT),
    "clipped by 6 dB": lambda n, s: _clipped(_plain(n, s), 6.0),
    "a room, 0.45 s": lambda n, s: in_room(_plain(n, s), (5.2, 4.1, 2.6), 0.45, 6.0),
    "a hall, 1.4 s": lambda n, s: in_room(_plain(n, s), (19.0, 12.0, 7.0), 1.4, 4.0),
    "a piano under it, 6 dB below": lambda n, s: _with_piano(n, s),
    "a full band, equally loud": lambda n, s: _with_band(n, s),
    "eight seconds of talk first": lambda n, s: after_talk(_plain(n, s), n, s.voices),
    "talk between": lambda n, s: around_talk(_plain(n, s), n, s.voices),
}


def _with_piano(number: int, split: Split) -> Phrase:
    phrase = _plain(number, split)
    return under(phrase, piano_part(phrase), split.font, -6.0)


def _with_band(number: int, split: Split) -> Phrase:
    phrase = _plain(number, split)
    return under(phrase, band_part(phrase), split.font, 0.0)


def _write(phrase: Phrase, condition: str, folder: Path) -> Path:
    samples = 0.7 * phrase.samples / float(np.abs(phrase.samples).max())
    if condition == "MP3":
        path = folder / "take.mp3"
        sf.write(path, samples, RATE, format="MP3")
    elif condition == "OGG":
        path = folder / "take.ogg"
        sf.write(path, samples, RATE, format="OGG", subtype="VORBIS")
    elif condition == "8 kHz":
        path = folder / "take.wav"
        sf.write(path, signal.resample_poly(samples, 8_000, RATE), 8_000)
    elif condition == "one dead channel":
        path = folder / "take.wav"
        sf.write(path, np.stack([samples, np.zeros_like(samples)], axis=1), RATE)
    else:
        path = folder / "take.wav"
        sf.write(path, samples, RATE)
    return path


def score(condition: str, number: int, split: Split) -> Scored:
    """Transcribe and score one phrase."""
    phrase = CONDITIONS[condition](number, split)
    network = nullcontext() if not split.ear_only else _without_network()
    with tempfile.TemporaryDirectory() as folder, network:
        path = _write(phrase, condition, Path(folder))
        begun = time.process_time()
        transcript = transcribe(TranscriptRequest(path))
        spent = time.process_time() - begun
        given = transcript
        if not _same_harp(transcript.harp, phrase.harp):
            given = transcribe(TranscriptRequest(path, harp=phrase.harp))
    return judge(phrase, transcript, given, 60.0 * spent / phrase.ends)


def _without_network() -> AbstractContextManager[object]:
    return mock.patch.object(transcription, "_identify_in_mix", return_value=None)


def _same_harp(harp: Harp, other: Harp) -> bool:
    return harp.key.tonic == other.key.tonic and harp.tuning.name == other.tuning.name


def judge(phrase: Phrase, transcript: Transcript, given: Transcript, cpu_s: float) -> Scored:
    """Score the transcripts of a phrase with nothing given, and with the harp given."""
    truth = _intervals(phrase.starts)
    written = _intervals([note.start for part in transcript.parts for note in part])
    onset = mir_eval.transcription.onset_precision_recall_f1(truth, written, SOON_S)[2]
    tab, notes = judge_tab(phrase, transcript)
    three = [guess.harp.key.tonic for guess in transcript.guesses[:3]]
    return Scored(
        onset,
        judge_tab(phrase, given)[0],
        tab,
        transcript.harp.key.tonic == phrase.harp.key.tonic,
        phrase.harp.key.tonic in three,
        notes,
        cpu_s,
        phrase.ends,
    )


def judge_tab(
    phrase: Phrase, transcript: Transcript
) -> tuple[float, tuple[tuple[bool, float], ...]]:
    """Return the F1 of the tab, and of each written note whether it is right, and confidence."""
    notes = [note for part in transcript.parts for note in part]
    truth = _intervals(phrase.starts)
    is_harp = transcript.harp.key.tonic == phrase.harp.key.tonic
    order = sorted(range(len(notes)), key=lambda i: notes[i].start)
    pairs = mir_eval.transcription.match_note_onsets(
        truth, _intervals([notes[i].start for i in order]), SOON_S
    )
    matched = {order[j]: i for i, j in pairs}
    right = 0
    judged = []
    for j, note in enumerate(notes):
        same_tab = same_pitch = False
        if j in matched:
            tab = phrase.tabs[matched[j]]
            accepted = {str(tab), *map(str, phrase.harp.same_pitch(tab))}
            written_tabs = {note.tab, *(_text(path) for path in note.alternatives)}
            same_tab = is_harp and bool(accepted & written_tabs)
            main = [transcript.harp.midi(entry) for entry in note.sounds[0]]
            same_pitch = phrase.harp.midi(tab) in main
        right += same_tab
        judged.append((same_pitch, note.confidence if note.confidence is not None else np.nan))
    return 2.0 * right / (len(phrase.starts) + len(notes)), tuple(judged)


def _text(path: Sequence[Sequence[Tab]]) -> str:
    return ">".join("+".join(map(str, sound)) for sound in path)


def _intervals(starts: Sequence[float]) -> Floats:
    ordered = np.sort(np.asarray(starts, float))
    return np.stack([ordered, ordered + 0.1], axis=1)


def line(name: str, group: Sequence[Scored]) -> str:
    """Return a row of the table."""
    notes = [note for scored in group for note in scored.notes]
    return (
        f"| {name} | {np.mean([s.onset for s in group]):.3f}"
        f" | {np.mean([s.given for s in group]):.3f}"
        f" | {np.mean([s.tab for s in group]):.3f}"
        f" | {sum(s.harp for s in group)} of {len(group)}"
        f" | {sum(s.of_three for s in group)} of {len(group)}"
        f" | {np.mean([right for right, _ in notes]):.3f}"
        f" | {np.mean([confidence for _, confidence in notes]):.3f}"
        f" | {np.mean([s.cpu_s for s in group]):.1f} |"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.records")
    parser.add_argument("--phrases", type=int, default=10)
    parser.add_argument("--first", type=int, default=0, help="number of the first phrase")
    parser.add_argument("--choice", action="store_true", help="the material of the constants")
    ways = parser.add_mutually_exclusive_group()
    ways.add_argument("--ear-only", action="store_true", help="without the network")
    ways.add_argument("--compare", action="store_true", help="without the network, and with it")
    parser.add_argument("--conditions", nargs="+", choices=tuple(CONDITIONS))
    results.add_options(parser)
    options = parser.parse_args()
    split = replace(CHOICE if options.choice else REPORT, ear_only=options.ear_only)
    conditions = options.conditions or list(CONDITIONS)
    phrases = 1 if options.smoke else options.phrases
    conditions = ["a piano under it, 6 dB below"] if options.smoke else conditions
    output = results.Results(
        "benchmarks.records"
        + (" --choice" if options.choice else "")
        + (" --ear-only" if options.ear_only else "")
        + (" --compare" if options.compare else ""),
        f"{phrases} phrases of {FEWEST} to {MOST} notes of made-up tunes by the harmonica of "
        f"{split.font}, from number {split.first + options.first}; bands of the same font; "
        f"other reeds of {OTHER_FONT}",
        "the network was trained on FluidR3_GM.sf2, TimGM6mb.sf2 and modelled reeds, with bands, "
        "rooms, voices and tunes of its own; the decoder's constants were chosen with --choice, on "
        "tunes of all positions; the ear was tuned on FluidR3_GM.sf2",
    )
    numbers = range(split.first + options.first, split.first + options.first + phrases)
    rows = [(condition, split) for condition in conditions]
    if options.compare:
        rows = [(c, replace(split, ear_only=only)) for c in conditions for only in (True, False)]
    jobs = [(condition, number, way) for condition, way in rows for number in numbers]
    with ProcessPoolExecutor(os.cpu_count() or 1) as pool:
        scored = list(pool.map(score, *zip(*jobs, strict=True)))
    output.print("| condition | onset | given | tab | harp | of 3 | right | conf. | s/min |")
    output.print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    for i, (condition, way) in enumerate(rows):
        name = (
            f"{condition}: {'ear' if way.ear_only else 'network'}" if options.compare else condition
        )
        output.print(line(name, scored[i * phrases : (i + 1) * phrases]))
    output.finish(options)


if __name__ == "__main__":
    main()
