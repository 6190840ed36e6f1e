"""Made-up tunes that share nothing with the harp guesser.

No scale, weight, bend factor or range is imported from :mod:`trainer.transcript`, and none is
copied: scales are those of folk and blues tunes as method books name them, melodies are random
walks over a scale with repeated motifs, and the harp only decides which notes can be played. All
choices are common practice put into numbers, stated beside each constant; no tune of a real player
was used.

- *scale*: a pentatonic, a hexatonic or a whole seven-note mode. Which one is drawn depends on the
  position alone by whether its natural notes give a major or a minor third.
- *riff*: a motif of one or two bars by a random walk over the degrees of the scale, repeated,
  repeated a degree higher or lower, or replaced by a new one.
- *rhythm*: bars drawn from a list of patterns in four or three beats, swung in a third of the
  tunes.
- *ending*: half of the tunes end on another degree than the tonic.
- *other tunings*: a player takes such a harp for a scale that it has without bends; the scale is
  drawn from those.
- *fingering*: where several entries give a pitch, a natural note is preferred; bends are not
  avoided, overblows and overdraws are used in one tune of ten.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np

from trainer.harp import Breath, Harp, Tab

POSITIONS = (1, 2, 3, 4, 5, 12)
FIFTH = 7
MAJOR_SCALES = {
    "pentatonic major": (0, 2, 4, 7, 9),
    "hexatonic without the seventh": (0, 2, 4, 5, 7, 9),
    "hexatonic without the fourth": (0, 2, 4, 7, 9, 11),
    "Ionian": (0, 2, 4, 5, 7, 9, 11),
    "Mixolydian": (0, 2, 4, 5, 7, 9, 10),
    "pentatonic major with a flat third": (0, 2, 3, 4, 7, 9),
    "Lydian": (0, 2, 4, 6, 7, 9, 11),
}
"""Half steps above the tonic. Common in tunes in a major key."""
MINOR_SCALES = {
    "pentatonic minor": (0, 3, 5, 7, 10),
    "hexatonic minor": (0, 2, 3, 5, 7, 10),
    "Dorian": (0, 2, 3, 5, 7, 9, 10),
    "Aeolian": (0, 2, 3, 5, 7, 8, 10),
    "pentatonic minor with a flat fifth": (0, 3, 5, 6, 7, 10),
    "harmonic minor": (0, 2, 3, 5, 7, 8, 11),
    "Phrygian": (0, 1, 3, 5, 7, 8, 10),
}
"""The same for tunes in a minor key."""
MELODIC_MINOR = {"melodic minor": (0, 2, 3, 5, 7, 9, 11)}
"""A scale of tunes for other tunings only."""
TUNED_POSITIONS = {"natural-minor": (1, 2), "harmonic-minor": (1,), "melodic-minor": (1,)}
"""Positions for which the other tunings are made (common practice)."""
MAJOR_POSITIONS = (1, 2, 12)
BLUES_IN_MAJOR = 0.35
"""Fraction of tunes in a major position that use a minor scale, as blues does."""
USUAL_SCALES: dict[int, tuple[str, ...]] = {
    1: ("Ionian", "pentatonic major", "hexatonic without the fourth"),
    2: ("Mixolydian", "pentatonic major with a flat third", "pentatonic minor with a flat fifth"),
    3: ("Dorian", "hexatonic minor"),
    12: ("Lydian", "hexatonic without the fourth"),
}
"""Scales that method books teach first in a position (common practice)."""
USUAL_OFF_TONIC = 0.25
"""Fraction of usual tunes that end on another degree than the tonic."""
RHYTHMS = {
    4: ((1, 1, 1, 1), (2, 1, 1), (0.5, 0.5, 1, 1, 1), (1.5, 0.5, 1, 1), (0.5,) * 8, (3, 1), (2, 2)),
    3: ((1, 1, 1), (2, 1), (1.5, 0.5, 1), (0.5,) * 6, (1, 0.5, 0.5, 1), (3,)),
}
"""Lengths in beats of the notes of a bar, by its number of beats; each is drawn as often."""
TRIPLE = 0.25
"""Fraction of tunes in three beats."""
SWUNG = 1.0 / 3.0
"""Fraction of tunes whose pairs of half beats are played 2 : 1."""
STEPS = (-3, -2, -1, 0, 1, 2, 3)
STEP_WEIGHTS = (0.05, 0.12, 0.28, 0.1, 0.28, 0.12, 0.05)
"""Degrees of the scale from note to note: steps more than leaps."""
MOTIF_PLAN = (("repeat", 0.45), ("shift", 0.25), ("new", 0.3))
"""What follows a motif."""
OVERBLOWN = 0.1
"""Fraction of tunes that may use overblows and overdraws."""
GRACED = 0.08
"""Fraction of natural notes that are bent by a half step where they bend, to colour a note."""
OFF_TONIC = 0.5
"""Fraction of tunes that end on another degree."""
BARS = (4, 6, 8, 12)
FEWEST_PITCHES = 5
"""Fewer different pitches make no tune: it is drawn again."""
TEMPI = (72.0, 92.0, 108.0, 126.0)
"""Beats a minute."""
GAP = 0.12
"""Fraction of a note's length that is silent before the next one."""


Source = tuple[int, tuple[int, ...]]
"""A step of the walk, and its shifts."""


@dataclass(frozen=True)
class MadeTune:
    """A made-up tune.

    Attributes:
        key, position: the harp's key and the position.
        scale: name of the scale.
        beats: of a bar.
        tempo: beats a minute.
        swung: whether pairs of half beats are played 2 : 1.
        notes: written start and length in beats, and the entry, in order of time.
        sources: of each note, which step of the walk it is, and by how many rungs it was shifted
            since, one after another.
    """

    key: str
    position: int
    scale: str
    beats: int
    tempo: float
    swung: bool
    notes: tuple[tuple[float, float, Tab], ...]
    sources: tuple[Source, ...] = ()

    def seconds(self) -> list[tuple[float, float, Tab]]:
        """Return start and end in seconds, and the entry, of each note."""
        beat = 60.0 / self.tempo
        spans = [
            (_swing(start, self.swung), _swing(start + length, self.swung), tab)
            for start, length, tab in self.notes
        ]
        return [
            (start * beat, (start + (1.0 - GAP) * (end - start)) * beat, tab)
            for start, end, tab in spans
        ]


def make_tune(
    key: str, position: int, seed: int, tuning: str = "richter", *, usual: bool = False
) -> MadeTune:
    """Make a tune up.

    Args:
        key: key of a harp.
        position: 1 to 12.
        seed: decides everything else.
        tuning: the harp's tuning.
        usual: as most players play: a scale that is taught first in the position, no overblows,
            and more often an end on the tonic. Only in positions 1, 2, 3 and 12.
    """
    own = "" if tuning == "richter" else f" {tuning}"
    draw = np.random.default_rng(zlib.crc32(f"tune {key} {position} {seed}{own}".encode()))
    harp = Harp.of(key, tuning)
    tonic = (harp.key.tonic + FIFTH * (position - 1)) % 12
    if own:
        scales = _natural_scales(harp, tonic)
    else:
        minor = position not in MAJOR_POSITIONS or draw.random() < BLUES_IN_MAJOR
        scales = MINOR_SCALES if minor else MAJOR_SCALES
    scale = list(scales)[int(draw.integers(len(scales)))]
    if usual:
        scales = {**MAJOR_SCALES, **MINOR_SCALES}
        scale = USUAL_SCALES[position][int(draw.integers(len(USUAL_SCALES[position])))]
    over = not usual and draw.random() < OVERBLOWN
    ladder = ladder_of(harp, tonic, scales[scale], over=over)
    beats = 3 if draw.random() < TRIPLE else 4
    swung = draw.random() < SWUNG
    bars = int(draw.choice(BARS))
    places = _walk(draw, len(ladder), bars, beats)
    while len({rung for bar in places for _, rung, _ in bar}) < FEWEST_PITCHES:
        places = _walk(draw, len(ladder), bars, beats)
    notes: list[tuple[float, float, Tab]] = []
    for bar, rhythm_and_places in enumerate(places):
        at = float(bar * beats)
        for length, place, _ in rhythm_and_places:
            notes.append((at, length, _entry(draw, harp, ladder[place])))
            at += length
    start, length, _ = notes[-1]
    degrees = [i for i, tabs in enumerate(ladder) if (harp.midi(tabs[0]) - tonic) % 12 == 0]
    if draw.random() < (USUAL_OFF_TONIC if usual else OFF_TONIC):
        degrees = [i for i in range(len(ladder)) if i not in degrees]
    near = min(degrees, key=lambda i: abs(i - places[-1][-1][1]))
    notes[-1] = (start, length, ladder[near][0])
    tempo = float(draw.choice(TEMPI))
    sources = tuple(source for bar in places for _, _, source in bar)
    return MadeTune(key, position, scale, beats, tempo, swung, tuple(notes), sources)


def _natural_scales(harp: Harp, tonic: int) -> dict[str, tuple[int, ...]]:
    """Return the scales of at least six notes on a tonic that a harp has without bends."""
    naturals = {(harp.midi(tab) - tonic) % 12 for tab in harp.entries if tab.is_natural}
    return {
        name: scale
        for name, scale in (MAJOR_SCALES | MINOR_SCALES | MELODIC_MINOR).items()
        if naturals >= set(scale) and len(scale) >= 6
    }


def ladder_of(harp: Harp, tonic: int, scale: tuple[int, ...], *, over: bool) -> list[list[Tab]]:
    """Return the entries of each pitch of the scale that the harp has, lowest pitch first."""
    by_midi: dict[int, list[Tab]] = {}
    for tab in harp.entries:
        if (harp.midi(tab) - tonic) % 12 in scale and (over or not tab.over):
            by_midi.setdefault(harp.midi(tab), []).append(tab)
    return [
        sorted(by_midi[midi], key=lambda tab: (tab.over, tab.bend, tab.breath is Breath.BLOW))
        for midi in sorted(by_midi)
    ]


def _walk(
    draw: np.random.Generator, size: int, bars: int, beats: int
) -> list[list[tuple[float, int, Source]]]:
    """Return length in beats, rung of the ladder and source of each note, by bar."""
    low = int(draw.integers(0, max(1, size // 3)))
    high = min(size - 1, low + int(draw.integers(7, 13)))
    place = int(draw.integers(low, high + 1))
    motif_bars = int(draw.choice((1, 2)))
    motif: list[list[tuple[float, int, Source]]] = []
    places: list[list[tuple[float, int, Source]]] = []
    steps = 0
    kinds = [kind for kind, _ in MOTIF_PLAN]
    odds = [odd for _, odd in MOTIF_PLAN]
    while len(places) < bars:
        kind = str(draw.choice(kinds, p=odds)) if motif else "new"
        if kind == "new":
            motif = []
            for _ in range(motif_bars):
                rhythm = RHYTHMS[beats][int(draw.integers(len(RHYTHMS[beats])))]
                bar: list[tuple[float, int, Source]] = []
                for length in rhythm:
                    step = int(draw.choice(STEPS, p=STEP_WEIGHTS))
                    place = int(np.clip(place + step, low, high))
                    bar.append((float(length), place, (steps, ())))
                    steps += 1
                motif.append(bar)
        elif kind == "shift":
            by = int(draw.choice((-1, 1)))
            motif = [
                [
                    (length, int(np.clip(rung + by, low, high)), (step, (*shifts, by)))
                    for length, rung, (step, shifts) in bar
                ]
                for bar in motif
            ]
        places += motif
    return places[:bars]


def _swing(beat: float, swung: bool) -> float:
    """Return a position in beats, with the second half of a beat late if it is swung."""
    return beat + (1.0 / 6.0 if swung and beat % 1.0 == 0.5 else 0.0)


def _entry(draw: np.random.Generator, harp: Harp, tabs: list[Tab]) -> Tab:
    """Return an entry of a pitch; a natural note is sometimes coloured by a bend."""
    tab = tabs[0]
    bent = Tab(tab.hole, tab.breath, 1)
    if tab.is_natural and harp.can_play(bent) and draw.random() < GRACED:
        return bent
    return tab
