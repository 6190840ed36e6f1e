"""How far are the built-in player's voices from recorded reeds?

    python -m benchmarks.voices [--record] [--smoke]

Single notes of both voices are compared with the same notes of recorded reeds, feature by feature
(`benchmarks/reed_sound.py`), and so is one recorded instrument with another: what two real harps
differ by is as near as a voice can be expected to come. Printed are, over the notes:

- partials: RMS difference of the levels of the first twelve partials, dB;
- soft: RMS difference of how much the partials gain or lose in an attack, 18, 12 and 6 dB below the
  held note, dB;
- rise: factor between the times in which the level rises from -20 dB to -1 dB;
- glide: RMS difference of the pitch 20 to 100 ms after the start, re the held note, cents;
- breath: difference of the noise between the partials, dB.

The last two are medians over the notes, so that single odd samples do not decide.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

import trainer  # noqa: F401 - before numpy

# isort: split

from benchmarks.fonts import RATE, VOICES, FontError, prepare
from benchmarks.reed_sound import Features, features
from benchmarks.results import Results, add_options
from trainer.core.types import Floats
from trainer.drill import parse_drill
from trainer.harp import Harp
from trainer.sound import BuiltInPlayer, PlayerSpec, VoiceKind

MIDIS = range(53, 97, 4)
"""Notes that are compared."""
FITTED = "harmonica 1"
"""The recorded reeds that the natural voice was made from."""
KEYS = ("low F", "low G", "A", "C", "E", "G", "B", "Db", "high G")


def hz_of(midi: int) -> float:
    """Return the pitch of a MIDI note number in hertz."""
    return 440.0 * 2.0 ** ((midi - 69) / 12.0)


@cache
def entry_of(midi: int) -> tuple[str, str]:
    """Return a key and a natural entry that plays a note."""
    for key in KEYS:
        harp = Harp.of(key)
        for tab in harp.entries:
            if tab.is_natural and harp.midi(tab) == midi:
                return key, str(tab)
    raise ValueError(f"no harp of {', '.join(KEYS)} plays MIDI note {midi}")


def played(midi: int, kind: VoiceKind) -> Floats:
    """Return a note of two seconds by the built-in player, from just before its onset."""
    key, tab = entry_of(midi)
    text = f'title = "Note"\nharp = "{key}"\ntempo = 120\ntab = """\n{tab}:4\n"""\n'
    player = BuiltInPlayer(parse_drill(text, "note"), Harp.of(key), spec=PlayerSpec(voice=kind))
    samples = np.concatenate([block.samples for block in player.blocks()]).astype(float)
    first = player.clock.sample(0)
    return samples[first - round(0.01 * RATE) : first + 2 * RATE]


@cache
def features_of(name: str, midi: int) -> Features:
    """Return the features of a note of a voice of the player, or of recorded reeds."""
    if name in VOICES:
        return features(VOICES[name].reed(midi).samples, RATE, hz_of(midi))
    return features(played(midi, VoiceKind(name)), RATE, hz_of(midi))


@dataclass(frozen=True)
class Distance:
    """How far two sets of notes are apart; see the head of this module."""

    partials_db: float
    soft_db: float
    rise: float
    glide_cents: float
    breath_db: float

    def line(self, name: str) -> str:
        """Return one line of the table."""
        return (
            f"{name:<14} {self.partials_db:8.1f} {self.soft_db:6.1f} {self.rise:6.2f} "
            f"{self.glide_cents:6.1f} {self.breath_db:6.1f}"
        )


def rms(values: Sequence[Floats]) -> float:
    """Return the root mean square of all numbers that are there."""
    return float(np.sqrt(np.nanmean(np.concatenate([np.ravel(value) for value in values]) ** 2)))


def distance(pairs: Sequence[tuple[Features, Features]]) -> Distance:
    """Return how far pairs of notes are apart."""
    glides = [rms([a.glide_cents - b.glide_cents]) for a, b in pairs]
    factors = [abs(np.log(a.rise_s / b.rise_s)) for a, b in pairs]
    breaths = [abs(a.noise_db - b.noise_db) for a, b in pairs]
    return Distance(
        rms([a.levels_db - b.levels_db for a, b in pairs]),
        rms([a.soft_db[:, 1:] - b.soft_db[:, 1:] for a, b in pairs]),
        float(np.exp(np.median(factors))),
        float(np.nanmedian(glides)),
        float(np.nanmedian(breaths)),
    )


def rows(midis: Sequence[int]) -> Iterator[str]:
    """Yield the lines of the tables, one table for each recorded instrument."""
    for target in VOICES:
        others = [name for name in VOICES if name != target and name.startswith("harmonica")]
        known = "known to natural" if target == FITTED else "aside"
        yield f"{target + ' (' + known + ')':<14}"
        for name in (*(kind.value for kind in VoiceKind), *others):
            pairs = [(features_of(name, midi), features_of(target, midi)) for midi in midis]
            yield "  " + distance(pairs).line(name)


def speed(kind: VoiceKind, bars: int) -> float:
    """Return the ratio of the length of a drill of `bars` bars to the time of rendering it."""
    tab = " | ".join(["4 -4' -4 5"] * bars)
    text = f'title = "Speed"\nharp = "C"\ntempo = 90\ntab = """\n{tab}\n"""\n'
    times = []
    for _ in range(3):
        player = BuiltInPlayer(
            parse_drill(text, "speed"), Harp.of("C"), spec=PlayerSpec(voice=kind)
        )
        began = time.process_time()
        samples = sum(len(block.samples) for block in player.blocks())
        times.append((time.process_time() - began) / (samples / RATE))
    return 1.0 / min(times)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.voices")
    add_options(parser)
    options = parser.parse_args()
    midis = list(MIDIS)[1::9] if options.smoke else list(MIDIS)
    results = Results(
        "benchmarks.voices",
        "both voices of the built-in player, seed 1, and reeds of the sound fonts FluidR3_GM.sf2 "
        f"(harmonica 1, reed organ 1) and sf_GMbank.sf2; {len(midis)} notes from {midis[0]} to "
        f"{midis[-1]} (MIDI)",
        "the laboratory voice's partials are averages of harmonica 1 and 2; the natural voice was "
        "made from harmonica 1 and from the simulation; neither knows the reed "
        "organs",
    )
    try:
        prepare(midis, 1)
    except FontError as error:
        sys.exit(str(error))
    results.print(f"{'to':<16} partials   soft   rise  glide breath")
    for line in rows(midis):
        results.print(line)
    for kind in VoiceKind:
        times = speed(kind, 1 if options.smoke else 12)
        results.print(f"{kind.value} renders {times:.0f} times faster than it is heard")
    results.finish(options)


if __name__ == "__main__":
    main()
