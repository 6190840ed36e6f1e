"""Libraries that stretch time, side by side: which one is to slow recordings down.

    python -m benchmarks.stretch

Each slows three kinds of sound to 70 % and 50 %, keeps or moves the pitch, and is judged by what a
player needs:

- *pitch*: cents between what this ear's fit finds in notes of the built-in player before and after,
  the worst of the medians of each note.
- *attack*: how much longer a click's rise from 10 to 90 % of its energy takes, ms; a click is the
  sharpest attack there is.
- *place*: how far a click lies from where it should come, ms, the worst.
- *wobble*: standard deviation of a steady note's pitch afterwards, cents.
- *speed*: seconds of sound a second, on one core.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import trainer  # noqa: F401 - before numpy

# isort: split

import numpy as np
from numpy.typing import NDArray

from trainer.drill import parse_drill
from trainer.ear import analyze_blocks
from trainer.harp import Harp
from trainer.music import cents
from trainer.sound import Block
from trainer.sound.click import click
from trainer.sound.sources.player import BuiltInPlayer

RATE = 48_000
Sound = NDArray[np.float32]
Stretch = Callable[[Sound, float, float], Sound]
PHRASE = 'title = "P"\nharp = "C"\ntempo = 80\ntab = """\n-2:2 -4:2 | -4\':2 6:2 | 1:2 9:2 |\n"""\n'


def pedalboard_(sound: Sound, speed: float, half_steps: float) -> Sound:
    """Rubber Band, by pedalboard."""
    import pedalboard

    made = pedalboard.time_stretch(
        sound, float(RATE), speed, half_steps, high_quality=True, transient_mode="crisp"
    )
    return np.asarray(made[0], np.float32)


def pedalboard_fast(sound: Sound, speed: float, half_steps: float) -> Sound:
    """Rubber Band's older and faster way."""
    import pedalboard

    made = pedalboard.time_stretch(
        sound, float(RATE), speed, half_steps, high_quality=False, transient_mode="crisp"
    )
    return np.asarray(made[0], np.float32)


def signalsmith(sound: Sound, speed: float, half_steps: float) -> Sound:
    """Signalsmith Stretch, by python-stretch."""
    from python_stretch import Signalsmith

    stretch = Signalsmith.Stretch()
    stretch.preset(1, RATE)
    stretch.setTransposeSemitones(half_steps)
    stretch.timeFactor = speed
    return np.asarray(stretch.process(sound[None, :])[0], np.float32)


def librosa_(sound: Sound, speed: float, half_steps: float) -> Sound:
    """librosa's phase vocoder."""
    import librosa

    made = librosa.effects.time_stretch(sound, rate=speed)
    if half_steps:
        made = librosa.effects.pitch_shift(made, sr=RATE, n_steps=half_steps)
    return np.asarray(made, np.float32)


PEERS: dict[str, Stretch] = {
    "pedalboard, finer": pedalboard_,
    "pedalboard, faster": pedalboard_fast,
    "python-stretch": signalsmith,
    "librosa": librosa_,
}


def phrase() -> tuple[Sound, list[tuple[float, float]]]:
    """Notes of the built-in player, and when each is held, seconds."""
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


def heard(sound: Sound, spans: list[tuple[float, float]], hz: list[float]) -> list[Any]:
    """The pitches that the ear finds in each span, Hz, near what is expected."""
    blocks = (
        Block(at, np.asarray(sound[at : at + 480], np.float32), RATE)
        for at in range(0, len(sound) - 480, 480)
    )
    readings = list(analyze_blocks(blocks, RATE, Harp.of("C"), (90.0, 3400.0)))
    found = []
    for (first, last), near in zip(spans, hz, strict=True):
        some = [r.hz for r in readings if r.hz and first <= r.time <= last]
        found.append([one for one in some if abs(cents(one, near)) < 600.0])
    return found


def clicks() -> tuple[Sound, list[int]]:
    """Six clicks over a low note that is held."""
    at = [round((0.5 + 0.5 * i) * RATE) for i in range(6)]
    t = np.arange(4 * RATE) / RATE
    sound = 0.02 * np.sin(2 * np.pi * 196.0 * t).astype(np.float32)
    for place in at:
        one = click(RATE, accented=True)
        sound[place : place + len(one)] += one
    return sound.astype(np.float32), at


def attacks(sound: Sound, at: list[float]) -> tuple[float, float]:
    """The median rise of the clicks, ms, and the worst distance of one from its place, ms."""
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
    sound, held = phrase()
    drill = parse_drill(PHRASE, "p")
    targets = [Harp.of("C").hz(step.first[0]) for step in drill.steps]
    truth = [float(np.median(one)) for one in heard(sound, held, targets)]
    beat, places = clicks()
    was, _ = attacks(beat, [float(one) for one in places])
    print("                      at  moved   pitch  wobble  attack   place   speed")
    for name, stretch in PEERS.items():
        for speed, moved in ((0.7, 0.0), (0.5, 0.0), (0.7, -3.0)):
            began = time.process_time()
            made = stretch(sound, speed, moved)
            took = time.process_time() - began
            spans = [(a / speed, b / speed) for a, b in held]
            wanted = [one * 2.0 ** (moved / 12.0) for one in truth]
            found = heard(made, spans, wanted)
            off = [
                cents(float(np.median(one)), hz) if one else np.nan
                for one, hz in zip(found, wanted, strict=True)
            ]
            wobble = [1200.0 / np.log(2.0) * float(np.std(np.log(one))) for one in found if one]
            rise, place = attacks(stretch(beat, speed, moved), [one / speed for one in places])
            print(
                f"{name:<20}{speed:5.1f} {moved:+5.0f} {np.max(np.abs(off)):8.2f}"
                f" {np.median(wobble):7.2f} {rise - was:7.1f} {place:7.1f}"
                f" {len(sound) / RATE / took:7.0f}"
            )


if __name__ == "__main__":
    main()
