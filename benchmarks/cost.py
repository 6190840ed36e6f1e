"""Cost of listening: CPU of this ear and its peers on the same audio, and memory over an hour.

CPU is user and system time of all threads of one process; the median of several rounds.
"""

from __future__ import annotations

import gc
import io
import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import soundfile as sf

from benchmarks.corpus import Player
from benchmarks.fonts import RATE
from benchmarks.measure import BLOCK, blocks
from benchmarks.melody import melody
from benchmarks.peers import HOP, aubio_track, praat_track, pyin_track
from trainer.core.types import Floats
from trainer.ear import Ear, NoteTracker, Reading, analyze_blocks
from trainer.harp import Harp
from trainer.report.heard_report import heard_note_text, reading_data
from trainer.sound import Block, round_to_24_bits

PYIN_S = 6.0
"""Seconds of audio that pYIN gets, because it is slow."""
AGAINST = "aubio mcomb 4096, hop 240"


def audio() -> Floats:
    """Return some 40 s: two melodies of one reed at a time, then neighbours together."""
    pieces = [
        melody(Player("harmonica 1", "C"), soft=False).samples,
        melody(Player("harmonica 2", "C"), soft=True).samples,
        *(item.samples for item in Player("harmonica 1", "C", every=3).pairs(-6.0)),
    ]
    return np.concatenate(pieces)


def readings(samples: Floats) -> Iterator[Reading]:
    """Yield all readings of this ear."""
    return analyze_blocks(blocks(samples, RATE), RATE, Harp.of("C"))


def ear_alone(samples: Floats) -> None:
    """Analyse, and drop the readings."""
    for _ in readings(samples):
        pass


def ear_and_notes(samples: Floats) -> None:
    """Format notes as `trainer listen` does, a line each."""
    out, tracker = io.StringIO(), NoteTracker(Harp.of("C"))
    for reading in readings(samples):
        for note in tracker.track(reading):
            out.write(heard_note_text(note) + "\n")
    for note in tracker.flush():
        out.write(heard_note_text(note) + "\n")


def ear_and_json(samples: Floats) -> None:
    """Format readings as `trainer listen --format jsonl` does, a line each."""
    out = io.StringIO()
    for reading in readings(samples):
        out.write(json.dumps(reading_data(reading)) + "\n")


def _aubio(method: str, buffer: int, hop: int) -> Callable[[Floats], object]:
    return lambda samples: aubio_track(method, buffer, hop, samples, RATE)


LISTENERS: dict[str, Callable[[Floats], object]] = {
    "this ear, readings alone": ear_alone,
    "this ear, a line a note": ear_and_notes,
    "this ear, a JSON line a reading": ear_and_json,
    AGAINST: _aubio("mcomb", 4096, HOP),
    "aubio mcomb 4096, hop 512": _aubio("mcomb", 4096, 512),
    "aubio yinfast 2048, hop 240": _aubio("yinfast", 2048, HOP),
    "aubio yinfft 2048, hop 240": _aubio("yinfft", 2048, HOP),
    "Praat, hop 240": lambda samples: praat_track(samples, RATE),
    "pYIN, hop 240": lambda samples: pyin_track(samples, RATE),
}


def cpu(rounds: int = 3) -> dict[str, float]:
    """Return CPU seconds per second of audio, by listener."""
    samples = audio()
    spent: dict[str, list[float]] = {name: [] for name in LISTENERS}
    for hears in LISTENERS.values():  # warm up: imports and caches do not count
        hears(samples[: 2 * RATE])
    for _ in range(rounds):
        for name, hears in LISTENERS.items():
            if name.startswith("pYIN") and spent[name]:
                continue
            some = samples[: round(PYIN_S * RATE)] if name.startswith("pYIN") else samples
            begun = time.process_time()
            hears(some)
            spent[name].append((time.process_time() - begun) / (len(some) / RATE))
    figures = {name: float(np.median(times)) for name, times in spent.items()}
    return figures | {"`trainer listen` on a file, starting up included": command(samples)}


def command(samples: Floats) -> float:
    """Return the same for the whole command on a FLAC file of that audio."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder, "take.flac")
        sf.write(file, round_to_24_bits(samples), RATE, subtype="PCM_24")
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        command = [sys.executable, "-m", "trainer", "listen", str(file), "--harp", "C"]
        subprocess.run(command, check=True, capture_output=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return spent / (len(samples) / RATE)


def cost_lines() -> list[str]:
    """Return the table of CPU."""
    figures = cpu()
    return [
        "| listener | CPU s per s of audio | relative to aubio mcomb |",
        "| --- | --- | --- |",
        *(
            f"| {name} | {spent:.4f} | {spent / figures[AGAINST]:.2f} |"
            for name, spent in figures.items()
        ),
    ]


def memory(minutes: float) -> Iterator[str]:
    """Listen for a long time and yield a table of the memory in use.

    The same sound is repeated at other levels and with other noise. Memory is read at the end of a
    round, while no note sounds: the number of memory blocks that Python has allocated, and the
    peak of the process, which shows arrays. (tracemalloc would take three times as long.)
    """
    # A second of silence ends the last note, whose path the tracker would otherwise keep.
    samples = np.concatenate([audio(), np.zeros(RATE)])
    draw = np.random.default_rng(1)
    ear, tracker = Ear(RATE, Harp.of("C")), NoteTracker(Harp.of("C"))
    start = readings_count = notes = 0
    due = [0.5, 1, 2, 5, *np.arange(10.0, minutes + 0.1, 5.0)]
    yield "| minutes | blocks allocated by Python | peak of the process, MB | readings | notes |"
    yield "| --- | --- | --- | --- | --- |"
    while due and due[0] <= minutes:
        gain, noise = draw.uniform(0.3, 1.0), 10.0 ** draw.uniform(-4.5, -3.5)
        for at in range(0, len(samples), BLOCK):
            faded = gain * samples[at : at + BLOCK]
            piece = round_to_24_bits(faded + noise * draw.standard_normal(len(faded)))
            for reading in ear.analyze(Block(start, piece, RATE)):
                readings_count += 1
                notes += len(tracker.track(reading))
            start += len(piece)
        heard = start / RATE / 60.0
        if heard >= due[0]:
            due = [minute for minute in due if minute > heard]
            gc.collect()
            held = sys.getallocatedblocks()
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
            yield f"| {heard:.1f} | {held} | {peak:.1f} | {readings_count} | {notes} |"
