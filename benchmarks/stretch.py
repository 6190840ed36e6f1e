"""Libraries for time stretching, compared: which one slows recordings down best.

    python -m benchmarks.stretch

Each library slows sounds to 70 % and 50 %, with and without transposition:

- *pitch*: error in cents of held notes of the built-in player, measured by this ear before and
  after; the largest of the notes' medians.
- *attack*: increase of the rise time of a click from 10 to 90 % of its energy, ms.
- *place*: largest error of a click's position, ms.
- *wobble*: standard deviation of a held note's pitch afterwards, cents.
- *speed*: seconds of sound a second, on one core.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from typing import Any

import trainer  # noqa: F401 - before numpy

# isort: split

import numpy as np
from numpy.typing import NDArray

from benchmarks import results
from trainer.drill import parse_drill
from trainer.ear import analyze_blocks
from trainer.harp import Harp
from trainer.music import cents
from trainer.sound import Block, BuiltInPlayer
from trainer.sound.click import click

RATE = 48_000
Sound = NDArray[np.float32]
Stretch = Callable[[Sound, float, float], Sound]
PHRASE = 'title = "P"\nharp = "C"\ntempo = 80\ntab = """\n-2:2 -4:2 | -4\':2 6:2 | 1:2 9:2 |\n"""\n'


def pedalboard_fine(sound: Sound, speed: float, half_steps: float) -> Sound:
    """Stretch by Rubber Band through pedalboard."""
    import pedalboard

    made = pedalboard.time_stretch(
        sound, float(RATE), speed, half_steps, high_quality=True, transient_mode="crisp"
    )
    return np.asarray(made[0], np.float32)


def pedalboard_fast(sound: Sound, speed: float, half_steps: float) -> Sound:
    """Stretch by Rubber Band's faster engine through pedalboard."""
    import pedalboard

    made = pedalboard.time_stretch(
        sound, float(RATE), speed, half_steps, high_quality=False, transient_mode="crisp"
    )
    return np.asarray(made[0], np.float32)


def signalsmith(sound: Sound, speed: float, half_steps: float) -> Sound:
    """Stretch by Signalsmith Stretch through python-stretch."""
    from python_stretch import Signalsmith

    stretch = Signalsmith.Stretch()
    stretch.preset(1, RATE)
    stretch.setTransposeSemitones(half_steps)
    stretch.timeFactor = speed
    return np.asarray(stretch.process(sound[None, :]), np.float32)[0]


def librosa_(sound: Sound, speed: float, half_steps: float) -> Sound:
    """Stretch by librosa's phase vocoder."""
    import librosa

    made = librosa.effects.time_stretch(sound, rate=speed)
    if half_steps:
        made = librosa.effects.pitch_shift(made, sr=RATE, n_steps=half_steps)
    return np.asarray(made, np.float32)


PEERS: dict[str, Stretch] = {
    "pedalboard, finer": pedalboard_fine,
    "pedalboard, faster": pedalboard_fast,
    "python-stretch": signalsmith,
    "librosa": librosa_,
}


def phrase() -> tuple[Sound, list[tuple[float, float]]]:
    """Return notes of the built-in player, and start and end in seconds of their held parts."""
    drill = parse_drill(PHRASE, "p")
    player = BuiltInPlayer(drill, Harp.of("C"))
    sound = np.concatenate([block.samples for block in player.blocks()])
    zero = player.clock.zero / player.rate
    held = []
    for step in drill.steps:
        start = zero + float(step.start) * 60.0 / drill.tempo
        length = float(step.beats) * 60.0 / drill.tempo
        held.append((start + 0.3 * length, start + 0.8 * length))
    return sound, held


def pitches_in(sound: Sound, spans: list[tuple[float, float]], hz: list[float]) -> list[Any]:
    """Return the ear's pitches in each span, in Hz, near the expected one."""
    blocks = (
        Block(at, np.asarray(sound[at : at + 480], np.float32), RATE)
        for at in range(0, len(sound) - 480, 480)
    )
    readings = list(analyze_blocks(blocks, RATE, Harp.of("C"), (90.0, 3400.0)))
    result = []
    for (first, last), near in zip(spans, hz, strict=True):
        near_hz = [r.hz for r in readings if r.hz and first <= r.time <= last]
        result.append([each for each in near_hz if abs(cents(each, near)) < 600.0])
    return result


def clicks() -> tuple[Sound, list[int]]:
    """Return six clicks over a held low note, and their samples."""
    at = [round((0.5 + 0.5 * i) * RATE) for i in range(6)]
    t = np.arange(4 * RATE) / RATE
    sound = 0.02 * np.sin(2 * np.pi * 196.0 * t).astype(np.float32)
    for place in at:
        samples = click(RATE, accented=True)
        sound[place : place + len(samples)] += samples
    return sound.astype(np.float32), at


def attacks(sound: Sound, at: list[float]) -> tuple[float, float]:
    """Return the median rise time of clicks and the largest error of their positions, in ms."""
    energy = np.convolve(np.diff(sound, prepend=0.0) ** 2, np.ones(48) / 48.0, "same")
    rises, places = [], []
    for place in at:
        first = max(0, round(place - 0.08 * RATE))
        here = energy[first : round(place + 0.08 * RATE)]
        top = int(np.argmax(here))
        before = here[: top + 1]
        low, high = 0.1 * here[top], 0.9 * here[top]
        start = int(np.nonzero(before < low)[0][-1]) if (before < low).any() else 0
        rises.append((int(np.nonzero(before >= high)[0][0]) - start) / RATE * 1000.0)
        places.append((first + start - place) / RATE * 1000.0)
    return float(np.median(rises)), float(np.max(np.abs(places)))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.stretch")
    results.add_options(parser)
    options = parser.parse_args()
    output = results.Results(
        "benchmarks.stretch",
        "six notes of the built-in player, and six clicks over a held sine",
        "the library was chosen by this comparison",
    )
    sound, held = phrase()
    drill = parse_drill(PHRASE, "p")
    targets = [Harp.of("C").hz(step.first[0]) for step in drill.steps]
    truth = [float(np.median(pitches)) for pitches in pitches_in(sound, held, targets)]
    beat, places = clicks()
    rise_before, _ = attacks(beat, [float(place) for place in places])
    output.print("                      at  moved   pitch  wobble  attack   place   speed")
    cases = ((0.7, 0.0),) if options.smoke else ((0.7, 0.0), (0.5, 0.0), (0.7, -3.0))
    peers = list(PEERS.items())[:2] if options.smoke else list(PEERS.items())  # no slow imports
    for name, stretch in peers:
        for speed, moved in cases:
            began = time.process_time()
            stretched = stretch(sound, speed, moved)
            took = time.process_time() - began
            spans = [(start / speed, end / speed) for start, end in held]
            wanted = [hz * 2.0 ** (moved / 12.0) for hz in truth]
            measured = pitches_in(stretched, spans, wanted)
            off = [
                cents(float(np.median(pitches)), hz) if pitches else np.nan
                for pitches, hz in zip(measured, wanted, strict=True)
            ]
            wobble = [
                1200.0 / np.log(2.0) * float(np.std(np.log(pitches)))
                for pitches in measured
                if pitches
            ]
            rise, place = attacks(stretch(beat, speed, moved), [at / speed for at in places])
            output.print(
                f"{name:<20}{speed:5.1f} {moved:+5.0f} {np.max(np.abs(off)):8.2f}"
                f" {np.median(wobble):7.2f} {rise - rise_before:7.1f} {place:7.1f}"
                f" {len(sound) / RATE / took:7.0f}"
            )
    output.finish(options)


if __name__ == "__main__":
    main()
