"""Made-up tunes whose bars are divided by a grammar: the choice of the note values' constants.

A bar is divided from the top (Temperley 2007, Music and Probability): into halves or beats, and
these into halves, a dotted pair or thirds, each with a probability that is drawn for each tune
anew. Motifs of one or two bars are repeated, changed or replaced. Onsets scatter by a normal
distribution, the tempo wanders, and some players play some of their notes short.

:mod:`benchmarks.rhythm_styles` shares nothing with it but the type of a tune.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from benchmarks.rhythm_styles import LEAD_S, SCALE, WrittenTune
from trainer.harp import Harp
from trainer.transcript import TranscribedNote


@dataclass(frozen=True)
class Kind:
    """A kind of tune.

    Attributes:
        meter: as in a drill.
        pulse: beats of the meter per pulse.
        tempo: lowest and highest, in pulses per minute.
        parts: ways to divide a pulse, by pulses, and the highest weight of each.
        swing: lowest and highest ratio of the halves of a pulse.
    """

    meter: tuple[int, int]
    pulse: int
    tempo: tuple[float, float]
    parts: tuple[tuple[tuple[Fraction, ...], float], ...]
    swing: tuple[float, float] = (1.0, 1.0)


def _parts(text: str) -> tuple[Fraction, ...]:
    return tuple(Fraction(word) for word in text.split())


WHOLE, HALVES, DOTTED = (_parts(text) for text in ("1", "1/2 1/2", "3/4 1/4"))
THIRDS, LONG_SHORT, SHORT_LONG = (_parts(text) for text in ("1/3 1/3 1/3", "2/3 1/3", "1/3 2/3"))
STRAIGHT = ((WHOLE, 1.0), (HALVES, 1.0), (DOTTED, 0.1))
KINDS = {
    "4/4": (0.3, Kind((4, 4), 1, (66.0, 160.0), STRAIGHT)),
    "4/4 dotted": (
        0.05,
        Kind((4, 4), 1, (60.0, 120.0), ((WHOLE, 1.0), (HALVES, 0.3), (DOTTED, 0.8))),
    ),
    "4/4 with triplets": (
        0.1,
        Kind((4, 4), 1, (56.0, 112.0), ((WHOLE, 1.0), (HALVES, 0.5), (THIRDS, 0.7))),
    ),
    "4/4 swung": (0.2, Kind((4, 4), 1, (84.0, 168.0), ((WHOLE, 1.0), (HALVES, 1.2)), (1.5, 2.3))),
    "3/4": (0.15, Kind((3, 4), 1, (80.0, 176.0), STRAIGHT)),
    "6/8": (
        0.12,
        Kind(
            (6, 8),
            3,
            (72.0, 132.0),
            ((WHOLE, 0.6), (THIRDS, 1.0), (LONG_SHORT, 1.0), (SHORT_LONG, 0.1)),
        ),
    ),
    "12/8": (
        0.08,
        Kind(
            (12, 8),
            3,
            (44.0, 76.0),
            ((WHOLE, 0.7), (THIRDS, 0.8), (LONG_SHORT, 1.0), (SHORT_LONG, 0.2)),
        ),
    ),
}
"""Fraction of tunes, and kind."""
JOIN = 0.3
"""Highest probability that a pulse is joined to the next one."""
REST = 0.12
"""Highest probability that a note is a rest."""
PICK_UP = 0.25
"""Fraction of tunes with a pick-up."""
SCATTER_S = (0.008, 0.022)
"""Lowest and highest standard deviation of onsets, seconds."""
SHORT = 0.3
"""Highest probability that a note is played short."""
HELD, HELD_SHORT = (0.7, 0.98), (0.4, 0.7)
"""Lowest and highest duration over the written length, of usual and of short notes (common
practice: staccato takes about half of a note's length)."""
WANDER = 0.012
"""Standard deviation of the relative change of the tempo from bar to bar."""


def make_divided_tune(seed: int) -> tuple[str, WrittenTune]:
    """Return the kind and the notes of a tune, as played."""
    draw = np.random.default_rng(zlib.crc32(f"grammar {seed}".encode()))
    names = list(KINDS)
    name = str(draw.choice(names, p=[KINDS[n][0] for n in names]))
    kind = KINDS[name][1]
    weights = np.array([draw.uniform(0.2, 1.0) * weight for _, weight in kind.parts])
    weights /= weights.sum()
    join, rest = draw.uniform(0.05, JOIN), draw.uniform(0.0, REST)
    pulses = kind.meter[0] // kind.pulse
    count = int(draw.choice((8, 8, 12, 16)))

    def bar() -> list[tuple[Fraction, Fraction, int]]:
        """Start and length in pulses, and step of the melody."""
        notes: list[tuple[Fraction, Fraction, int]] = []
        at = 0
        while at < pulses:
            size = 1
            while at + size < pulses and draw.random() < join:
                size += 1
            if size > 1:
                parts: tuple[Fraction, ...] = (Fraction(size),)
                if kind.pulse == 1 and size == 2 and draw.random() < 0.4:
                    parts = (Fraction(3, 2), Fraction(1, 2))
            else:
                parts = kind.parts[int(draw.choice(len(kind.parts), p=weights))][0]
            begin = Fraction(at)
            for part in parts:
                if draw.random() >= rest:
                    notes.append((begin, part, int(draw.choice((-2, -1, 0, 1, 2)))))
                begin += part
            at += size
        return notes

    bars: list[list[tuple[Fraction, Fraction, int]]] = []
    motif: list[list[tuple[Fraction, Fraction, int]]] = []
    size = int(draw.choice((1, 2)))
    while len(bars) < count:
        if not motif or draw.random() < 0.4:
            motif = [bar() for _ in range(size)]
        elif draw.random() < 0.3:
            motif[int(draw.integers(size))] = bar()
        bars += motif
    bars = bars[:count]
    bars[-1] = [(Fraction(0), Fraction(pulses), 0)]
    if draw.random() < PICK_UP:
        last = Fraction(pulses) - kind.parts[int(draw.choice(len(kind.parts), p=weights))][0][-1]
        bars[-1] = [(Fraction(0), Fraction(pulses - 1), 0)]
        bars.insert(0, [(last, Fraction(pulses) - last, 0)])
        shift = -1
    else:
        shift = 0
    placed = [
        ((number + shift) * pulses + start, length, step)
        for number, notes in enumerate(bars)
        for start, length, step in notes
    ]
    return name, _played(draw, np.random.default_rng([seed, 1]), kind, placed, pulses)


def _played(
    draw: np.random.Generator,
    shortness: np.random.Generator,
    kind: Kind,
    placed: list[tuple[Fraction, Fraction, int]],
    pulses: int,
) -> WrittenTune:
    harp = Harp.of("C")
    pulse_s = 60.0 / float(draw.uniform(*kind.tempo))
    swing, scatter = float(draw.uniform(*kind.swing)), float(draw.uniform(*SCATTER_S))
    bars = int(placed[-1][0] // pulses) + 4
    rates = np.exp(np.cumsum(draw.normal(0.0, WANDER, bars)))
    lines = np.concatenate([[0.0], np.cumsum(rates * pulses * pulse_s)])

    def second(at: Fraction) -> float:
        part = float(at % 1)
        late = swing / (1.0 + swing)
        part = 2 * part * late if part <= 0.5 else late + (2 * part - 1) * (1.0 - late)
        place = (float(at // 1) + part) / pulses + 1.0
        return LEAD_S + float(np.interp(place, np.arange(bars + 1), lines))

    rung = 5
    short = float(shortness.uniform(0.0, SHORT))
    notes: list[TranscribedNote] = []
    for at, length, step in placed:
        start = second(at) + float(draw.normal(0.0, scatter))
        if notes:
            start = max(start, notes[-1].start + 0.03)
        rung = int(np.clip(rung + step, 0, len(SCALE) - 1))
        held = float(draw.uniform(*HELD))
        if shortness.random() < short:
            held = float(shortness.uniform(*HELD_SHORT))
        held *= second(at + length) - second(at)
        tab = SCALE[rung]
        notes.append(TranscribedNote(start, start + max(0.04, held), ((tab,),), 0.0, harp.hz(tab)))
    written = tuple((at * kind.pulse, length * kind.pulse) for at, length, _ in placed)
    return WrittenTune(kind.meter, written, tuple(notes), swing > 1.0)
