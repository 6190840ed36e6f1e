"""Made-up tunes in the rhythms of nine styles, played by a person: the report of the note values.

Each style is a list of bars as players write them (common practice; all made up), with its meter
and its range of tempos. A tune has phrases of four bars, two of them repeated (AABA, ABAC or AAB),
a long note at the end of each, and in some tunes a pick-up, or a silence of some bars in the
middle. No constant of the trainer was chosen on these tunes, and none of its modules is used to
make them.

A person plays them: onsets are up to 25 ms off, the tempo drifts by up to 5 % over the tune, and
notes end early, some of them much.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from trainer.harp import Harp, Tab
from trainer.transcript import TranscribedNote

LEAD_S = 1.0
"""Silence before the first beat."""
OFF_S = 0.025
"""Maximum deviation of an onset, seconds."""
DRIFT = 0.05
"""Maximum relative change of the tempo over a tune."""
SHORT = 0.2
"""Fraction of notes that are played short."""
SILENT = 0.2
"""Fraction of tunes with a silence of bars in the middle."""
FORMS = ("AABA", "ABAC", "AAB")
"""Order of the phrases; AAB is twelve bars."""
SCALE = tuple(
    Tab.parse(tab)
    for tab in ("3", "-3''", "-3", "4", "-4", "5", "-5", "6", "-6", "-7", "7", "-8", "8")
)
"""Entries of the tunes, from low to high, on a C harp."""

Bar = str
"""Lengths of a bar's notes in beats, as fractions; r before a rest, ~ before a note that is tied to
the one before."""


@dataclass(frozen=True)
class Style:
    """A style.

    Attributes:
        meter: as in a drill.
        tempo: lowest and highest, in beats of the meter per minute.
        bars: bars that its phrases are made of.
        ends: bars at the end of a phrase.
        pick_ups: lengths of notes before the first bar; empty for none.
        swing: lowest and highest ratio of the halves of a beat.
    """

    meter: tuple[int, int]
    tempo: tuple[float, float]
    bars: tuple[Bar, ...]
    ends: tuple[Bar, ...]
    pick_ups: tuple[Bar, ...] = ("",)
    swing: tuple[float, float] = (1.0, 1.0)


STYLES = {
    "waltz": Style(
        (3, 4),
        (96.0, 168.0),
        ("1 1 1", "2 1", "3/2 1/2 1", "1 1/2 1/2 1", "1 2", "1/2 1/2 1 1", "1 1 1/2 1/2", "r1 1 1"),
        ("3", "2 r1", "1 1 r1"),
    ),
    "jig": Style(
        (6, 8),
        (270.0, 375.0),
        ("1 1 1 1 1 1", "2 1 2 1", "3 2 1", "2 1 1 1 1", "1 1 1 2 1", "2 1 3", "1 1 1 3"),
        ("3 3", "2 1 3", "3 2 r1", "1 1 1 3"),
        ("", "1", "1 1"),
    ),
    "slow blues in 12/8": Style(
        (12, 8),
        (150.0, 216.0),
        (
            "2 1 2 1 3 3",
            "1 1 1 2 1 3 r3",
            "r1 1 1 2 1 6",
            "3 2 1 2 1 3",
            "3 3 1 1 1 2 1",
            "2 1 1 1 1 3 r3",
            "r3 1 1 1 3 2 1",
            "5 1 2 1 3",
        ),
        ("6 r6", "3 3 r6", "9 r3", "2 1 3 r6"),
        ("", "1", "2 1"),
    ),
    "straight rock": Style(
        (4, 4),
        (92.0, 152.0),
        (
            "1/2 1/2 1/2 1/2 1/2 1/2 1/2 1/2",
            "1 1/2 1/2 1 1",
            "3/2 1/2 1 1",
            "3/2 3/2 1",
            "1/2 1 1/2 1 1",
            "1/2 1/2 1 1/2 1/2 1",
            "1 1 1/2 1/2 1/2 1/2",
            "2 1/2 1/2 1",
        ),
        ("4", "3 r1", "1/2 1/2 2 r1", "2 r2"),
    ),
    "shuffle": Style(
        (4, 4),
        (96.0, 152.0),
        (
            "1/2 1/2 1/2 1/2 1/2 1/2 1",
            "1 1/2 1/2 1 1/2 1/2",
            "1/2 1/2 1 1/2 1/2 1",
            "r1/2 1/2 1/2 1/2 1 1",
            "1 1 1/2 1/2 1",
            "3/2 1/2 1 1",
            "1/2 3/2 1/2 1/2 1",
        ),
        ("4", "2 r2", "1/2 1/2 2 r1", "3/2 1/2 r2"),
        ("", "1/2", "1/2 1/2"),
        (1.6, 2.2),
    ),
    "triplets": Style(
        (4, 4),
        (60.0, 104.0),
        (
            "1/3 1/3 1/3 1 1/3 1/3 1/3 1",
            "1 1/3 1/3 1/3 1 1",
            "1/2 1/2 1/3 1/3 1/3 2",
            "1 1 1/3 1/3 1/3 1/2 1/2",
            "2 1/3 1/3 1/3 1",
            "1/2 1/2 1 1/2 1/2 1",
        ),
        ("4", "3 r1", "1/3 1/3 1/3 2 r1"),
    ),
    "dotted": Style(
        (4, 4),
        (72.0, 112.0),
        (
            "3/4 1/4 3/4 1/4 1 1",
            "1 3/4 1/4 1 1",
            "3/2 1/2 3/4 1/4 1",
            "3/4 1/4 1 3/4 1/4 1",
            "1 1 3/4 1/4 3/4 1/4",
            "1 1/2 1/2 3/4 1/4 1",
            "2 3/4 1/4 1",
        ),
        ("4", "3/4 1/4 2 r1", "3 r1"),
        ("", "1/4", "3/4 1/4"),
    ),
    "pick-ups in four": Style(
        (4, 4),
        (80.0, 126.0),
        ("1 1 1 1", "2 1 1", "3/2 1/2 1 1", "1 1/2 1/2 1 1", "1 1 2", "2 2", "1/2 1/2 1 2"),
        ("3", "2 r1", "1 2"),
        ("1", "1/2 1/2"),
    ),
    "half-beat rests": Style(
        (4, 4),
        (84.0, 132.0),
        (
            "r1/2 1/2 1/2 1/2 1 1",
            "1/2 r1/2 1/2 r1/2 1/2 1/2 1",
            "1 r1/2 1/2 1 1",
            "r1/2 1/2 1 r1/2 1/2 1",
            "1/2 r1/2 1 1/2 r1/2 1",
            "1 1 r1/2 1/2 1/2 1/2",
        ),
        ("2 r2", "1/2 r1/2 2 r1", "4"),
    ),
}
"""The styles. Pick-ups of "pick-ups in four" are in the last bar of each phrase, too."""


@dataclass(frozen=True)
class WrittenTune:
    """Notes as written and as played.

    Attributes:
        meter: beats per bar and the note value of a beat.
        written: start and length in beats of each note.
        notes: the same notes with start and end in seconds.
        swung: whether halves of a beat are swung.
    """

    meter: tuple[int, int]
    written: tuple[tuple[Fraction, Fraction], ...]
    notes: tuple[TranscribedNote, ...]
    swung: bool = False


def make_styled_tune(style: str, seed: int) -> WrittenTune:
    """Return a tune of a style, as a person plays it."""
    draw = np.random.default_rng(zlib.crc32(f"style {style} {seed}".encode()))
    s = STYLES[style]
    pick_up = str(draw.choice(s.pick_ups))
    written = _written(draw, s, pick_up)
    tempo, swing = float(draw.uniform(*s.tempo)), float(draw.uniform(*s.swing))
    silent_from, silent = Fraction(0), 0
    if draw.random() < SILENT:
        silent_from, silent = Fraction(8 * s.meter[0]), int(draw.integers(2, 5)) * s.meter[0]
    late = -_length(pick_up) if style == "pick-ups in four" else Fraction(0)
    written = [
        (at + (silent if at >= silent_from + late else 0), length, rung)
        for at, length, rung in written
    ]
    notes = _played(draw, written, tempo, swing)
    return WrittenTune(
        s.meter, tuple((at, length) for at, length, _ in written), notes, swing > 1.0
    )


def _length(bar: Bar) -> Fraction:
    return sum((Fraction(word.strip("r")) for word in bar.split()), Fraction(0))


def _written(
    draw: np.random.Generator, style: Style, pick_up: Bar
) -> list[tuple[Fraction, Fraction, int]]:
    """Start and length in beats, and rung of the scale, of each note."""
    form = str(draw.choice(FORMS))
    phrases = {letter: _phrase(draw, style) for letter in sorted(set(form))}
    every_time = style is STYLES["pick-ups in four"]
    up = _length(pick_up)
    notes: list[tuple[Fraction, Fraction, int]] = []
    at = Fraction(0)
    rung = int(draw.integers(3, 9))
    for i, letter in enumerate(form):
        if pick_up and (i == 0 or every_time):
            begin = at - up
            for word in pick_up.split():
                notes.append((begin, Fraction(word), max(0, rung - 1)))
                begin += Fraction(word)
        for start, length, place in phrases[letter]:
            notes.append((at + start, length, place))
        at += 4 * style.meter[0]
    # A phrase's last note makes room for the pick-up of the next.
    return [
        (start, min(length, max(after - start, Fraction(1, 12))), place)
        for (start, length, place), after in zip(
            notes, [*(n[0] for n in notes[1:]), at + 99], strict=True
        )
    ]


def _phrase(draw: np.random.Generator, style: Style) -> list[tuple[Fraction, Fraction, int]]:
    """Notes of four bars: a motif of two bars and its answer."""
    motif = [str(draw.choice(style.bars)) for _ in range(2)]
    answer = [motif[0] if draw.random() < 0.6 else str(draw.choice(style.bars))]
    bars = [*motif, *answer, str(draw.choice(style.ends))]
    notes: list[tuple[Fraction, Fraction, int]] = []
    at, rung = Fraction(0), int(draw.integers(3, 9))
    for bar in bars:
        for word in bar.split():
            length = Fraction(word.strip("r"))
            if not word.startswith("r"):
                step = int(draw.choice((-2, -1, -1, 0, 1, 1, 2)))
                rung = int(np.clip(rung + step, 0, len(SCALE) - 1))
                notes.append((at, length, rung))
            at += length
    return notes


def _played(
    draw: np.random.Generator,
    written: Sequence[tuple[Fraction, Fraction, int]],
    tempo: float,
    swing: float,
) -> tuple[TranscribedNote, ...]:
    harp = Harp.of("C")
    beat_s, first = 60.0 / tempo, float(written[0][0])
    whole = float(written[-1][0] + written[-1][1]) - first
    drift = float(draw.uniform(-DRIFT, DRIFT))

    def second(beat: Fraction) -> float:
        part = float(beat % 1)
        late = swing / (1.0 + swing)
        part = part * 2 * late if part <= 0.5 else late + (part - 0.5) * 2 * (1.0 - late)
        place = float(beat - beat % 1) + (part if swing > 1.0 else float(beat % 1)) - first
        return LEAD_S + beat_s * place * (1.0 + 0.5 * drift * place / whole)

    notes: list[TranscribedNote] = []
    for at, length, rung in written:
        start = second(at) + float(draw.uniform(-OFF_S, OFF_S))
        whole_s = second(at + length) - second(at)
        held = draw.uniform(0.45, 0.65) if draw.random() < SHORT else draw.uniform(0.8, 0.97)
        if notes:
            start = max(start, notes[-1].start + 0.03)
        tab = SCALE[rung]
        end = start + max(0.04, float(held) * whole_s)
        notes.append(TranscribedNote(start, end, ((tab,),), 0.0, harp.hz(tab)))
    return tuple(notes)
