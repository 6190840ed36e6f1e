"""What does the ear make of the built-in player's voices?

    python -m benchmarks.voice_ear [--record] [--smoke]

Passages of single notes, bends, glides, pairs, chords and leaks are performed on both voices and
heard by the ear, which was fitted to neither. What was played is known to the sample and a
fraction of a cent. Printed are, for each kind of passage:

- within 5: fraction of the readings of held sounds, from 0.2 s after the onset on, whose pitch is
  within 5 cents of what was played; of a glide, of all readings on its way;
- cents: median error of these readings;
- entry: fraction of them whose tab entry is right, or one of the same pitch;
- holes: fraction of them whose sounding holes are right (of a leak, that its hole is among them);
- onset: median and 95th percentile of the distance of a step's onset from the nearest one that was
  heard, ms;
- notes: notes heard, less the steps that were played.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

import trainer  # noqa: F401 - before numpy

# isort: split

from benchmarks.results import Results, add_options
from trainer.drill import Drill, Step, parse_drill
from trainer.ear import Ear, Reading, track_notes
from trainer.harp import Breath, Harp, Tab
from trainer.music import cents
from trainer.sound import BuiltInPlayer, Fault, PlayerSpec, VoiceKind

KEYS = ("C", "low F", "high G")
TEMPO = 150.0
"""Beats per minute; each sound lasts two beats."""
SETTLED_S = 0.2
"""Time after which a natural attack has reached its pitch."""
END_S = 0.1
"""What is left out before a step's end."""


def passage(harp: Harp, sounds: Sequence[str]) -> Drill:
    """Return a drill of sounds, two in a bar."""
    bars = [" ".join(f"{sound}:2" for sound in sounds[i : i + 2]) for i in range(0, len(sounds), 2)]
    if len(sounds) % 2:
        bars[-1] += " r:2"
    tab = " |\n".join(bars)
    head = f'title = "Passage"\nharp = "{harp.key.name}"\ntempo = {TEMPO}\n'
    return parse_drill(f'{head}tab = """\n{tab}\n"""\n', "passage")


def naturals(harp: Harp) -> list[str]:
    """Return all natural notes."""
    return [str(tab) for tab in harp.entries if tab.is_natural]


def bent(harp: Harp) -> list[str]:
    """Return all bends, overblows and overdraws."""
    return [str(tab) for tab in harp.entries if not tab.is_natural]


def glides(harp: Harp) -> list[str]:
    """Return a glide from each note that bends to its deepest bend."""
    deepest = {
        (tab.hole, tab.breath): tab for tab in sorted(harp.entries, key=lambda tab: tab.bend)
        if tab.bend
    }  # fmt: skip
    return [f"{Tab(tab.hole, tab.breath)}>{tab}" for tab in deepest.values()]


def rows(count: int) -> Callable[[Harp], list[str]]:
    """Return a function that lists all chords of `count` neighbouring holes."""
    return lambda harp: [
        str(Tab(hole, breath)) + "".join(f"+{hole + i}" for i in range(1, count))
        for breath in Breath
        for hole in range(1, 12 - count)
    ]


MATERIALS: dict[str, tuple[Callable[[Harp], list[str]], Fault]] = {
    "naturals": (naturals, Fault()),
    "bends": (bent, Fault()),
    "glides": (glides, Fault()),
    "pairs": (rows(2), Fault()),
    "chords": (rows(3), Fault()),
    "leaks -12 dB": (naturals, Fault(leak_db=-12.0)),
    "leaks -20 dB": (naturals, Fault(leak_db=-20.0)),
}


@dataclass
class Heard:
    """What the ear made of a kind of passage; one element for each reading, onset or passage."""

    errors: list[float] = field(default_factory=list)
    entries: list[bool] = field(default_factory=list)
    holes: list[bool] = field(default_factory=list)
    onsets: list[float] = field(default_factory=list)
    notes: int = 0

    def line(self, name: str) -> str:
        """Return one line of the table."""
        onset = f"{np.median(self.onsets):5.1f} {np.percentile(self.onsets, 95):6.1f}"
        errors = np.abs(self.errors)
        return (
            f"{name:<24} {np.mean(errors < 5.0):8.4f} {np.median(errors):6.2f} "
            f"{np.mean(self.entries):7.4f} {np.mean(self.holes):7.4f} {onset} {self.notes:+6d}"
        )


def hear(drill: Drill, harp: Harp, kind: VoiceKind, fault: Fault, heard: Heard) -> None:
    """Perform a passage, let the ear hear it, and add what it made of it."""
    faults: Mapping[int, Fault] = {step.index: fault for step in drill.steps}
    player = BuiltInPlayer(drill, harp, spec=PlayerSpec(faults=faults, voice=kind))
    ear = Ear(player.rate, harp)
    readings = [reading for block in player.blocks() for reading in ear.analyze(block)]
    onsets = np.array([reading.onset for reading in readings if reading.onset is not None])
    for step in drill.steps:
        first, last = player.clock.sample(step.start), player.clock.sample(step.end)
        heard.onsets.append(1e3 * float(np.min(np.abs(onsets - first))) / player.rate)
        held = (first + SETTLED_S * player.rate, last - END_S * player.rate)
        for reading in readings:
            if held[0] < reading.sample < held[1]:
                place = (reading.sample - first) / (last - first)
                judge(reading, step, place, harp, fault, heard)
    heard.notes += len(list(track_notes(readings, harp))) - len(drill.steps)


def judge(
    reading: Reading, step: Step, place: float, harp: Harp, fault: Fault, heard: Heard
) -> None:
    """Add what a reading says of a step at a place of its written length, 0 to 1."""
    ends = [harp.hz(sound[0]) for sound in step.sounds]
    path = [cents(hz, ends[0]) for hz in ends]
    played = float(np.interp(step.path_position(place), np.arange(len(path)), path))
    tabs = {tab for sound in step.sounds for tab in sound}
    wanted = {tab.hole for tab in tabs}
    if reading.hz is None or reading.tab is None:
        heard.errors.append(np.inf)
        heard.entries.append(False)
        heard.holes.append(False)
        return
    off = [cents(reading.hz, harp.hz(tab)) for tab in tabs] if len(step.sounds) == 1 else []
    heard.errors.append(min(off, key=abs) if off else cents(reading.hz, ends[0]) - played)
    if len(step.sounds) == 1:
        heard.entries.append(bool(tabs & {reading.tab, *reading.also}))
    else:
        heard.entries.append(reading.tab.hole in wanted)
    if fault.leak_db is None:
        twins = {tab.hole for tab in reading.also} if len(wanted) == 1 else set()
        heard.holes.append(wanted in (set(reading.holes), twins))
    else:
        heard.holes.append(wanted < set(reading.holes) and reading.leak_db is not None)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.voice_ear")
    add_options(parser)
    options = parser.parse_args()
    keys = KEYS[:1] if options.smoke else KEYS
    kinds = ("glides",) if options.smoke else tuple(MATERIALS)
    results = Results(
        "benchmarks.voice_ear",
        f"both voices of the built-in player, seed 1, harps {', '.join(keys)}, "
        "sounds of 0.8 s performed without rests",
        "none of the ear's constants was chosen on the natural voice; the laboratory voice was "
        "used while the ear was made",
    )
    results.print(f"{'':<24} within 5  cents   entry   holes onset    95 %  notes")
    for name in kinds:
        sounds, fault = MATERIALS[name]
        for kind in VoiceKind:
            heard = Heard()
            for key in keys:
                harp = Harp.of(key)
                hear(passage(harp, sounds(harp)), harp, kind, fault, heard)
            results.print(heard.line(f"{name}, {kind.value}"))
    results.finish(options)


if __name__ == "__main__":
    main()
