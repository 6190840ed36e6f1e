"""Made-up tunes from the player's side, to report how often a harp is guessed right.

Generators that are unlike :mod:`benchmarks.tunes`, each written before any result on it was seen.
No constant of the guesser was chosen on them, and `training/` imports nothing from here. All
numbers are common practice put into numbers, without a corpus.

- *licks*: a player thinks in holes. A position has cells, short figures in tab; a call is made of
  cells, and its answer repeats the call with another end. Bends are frequent, and are scooped into
  or let up in one tune of three; a fifth of the tunes has double stops and octave splits. Half of
  the tunes end off the tonic. First position is played at the top with blow bends, or low down.
- *dances*: a composer thinks in a key. A progression of chords gives each bar its notes; the tune
  runs through them by steps and broken chords in two strains, each played twice, and closes on a
  cadence. The harp is then taken in a position that has the notes, in the octave that needs the
  fewest bends; notes that would need an overblow are replaced by a neighbour.
- *songs*: a singer's line in lines of verse, over a pentatonic, a hexatonic or a blues scale. Lines
  rise, fall, or swing around a note; the third line is the odd one. The player bends whatever the
  line asks for, and half of the songs end off the tonic.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trainer.drill import PitchEvent, TargetPitch
from trainer.harp import STANDARD_KEYS, Harp, Tab

LOW = 0.08
"""Fraction of tunes on low harps."""


@dataclass(frozen=True)
class PlayedTune:
    """A tune and the harp on which it is played.

    Attributes:
        key: name of the harp's key, normal or low.
        position: 1 to 12.
        events: its notes, as the guesser gets them.
    """

    key: str
    position: int
    events: tuple[PitchEvent, ...]


CELLS: dict[tuple[int, str], tuple[str, ...]] = {
    (2, "blues"): (
        "-2 -3' 4",
        "4 -3' -2",
        "-4 4 -3' -2",
        "-4 -4' 4 -3'",
        "-3' -3 4",
        "-2'' -2",
        "-2 -2'' -1",
        "-1 -2'' -2",
        "-2 -3 -4",
        "-4 -5 -4",
        "-4 -5 6 -5",
        "6 -5 -4",
        "-3 -3' -2",
        "-2 -2",
        "3 4 -4",
        "-5 -4 4 -3",
        "2 -2'' -2",
        "-6 6 -5 -4",
    ),
    (2, "major"): (
        "-2 -3'' -3",
        "-2 -3 -4",
        "-4 5 6",
        "5 -4 -3",
        "-3'' -2 5",
        "6 5 -4",
        "-4 -3 -3'' -2",
        "-1 2 -2",
        "2 -2 -3''",
        "6 -6 6 5",
    ),
    (1, "top"): (
        "7 8 9",
        "9 8' 8 7",
        "8' 8 9",
        "10 10'' 9 8",
        "10'' 9 8",
        "9' 9 10",
        "8 8' 7",
        "9 8 7",
        "7 -8 8",
        "10 10' 10''",
        "6 7 8",
        "8 -8 7",
        "9 9' 8 8'",
        "10 -9 9 8'",
    ),
    (1, "low"): (
        "1 2 3",
        "3 -3'' 3",
        "1 -1 2",
        "2 -2'' 3",
        "3 -3''' 3",
        "4 -3' -3'' 3",
        "3 2 -1 1",
        "4 -3 -3'' 3",
        "2 -1 1",
        "-3'' 4",
    ),
    (3, "minor"): (
        "-4 -5 6",
        "-5 5 -4",
        "-6 6 -5 -4",
        "-4 5 -5",
        "6 -6",
        "-8 7 -6",
        "-6 7 -8",
        "-4 -6",
        "-4 4 -4",
        "-6 -6' 6 -5",
        "-1 -2'' -2",
        "-3'' -4",
        "-8 -9 -8",
        "-4 4 -3'' -4",
    ),
    (4, "minor"): (
        "-6 -7 7",
        "7 -7 -6",
        "6 -6",
        "5 6 -6",
        "-6 6 5",
        "7 -8 8",
        "8 -8 7 -6",
        "-3'' -3 4",
        "4 -3 -3''",
        "-3'' 4 5",
        "5 -4 4 -3''",
        "-5 5 -4",
    ),
    (5, "minor"): (
        "2 -2 -2'' 2",
        "2 3 -3'' -3",
        "-3 -3'' -2 2",
        "5 6 -6",
        "-3 -4 5",
        "5 -4 -3",
        "6 5 -4 5",
        "-6 6 5",
        "-3 4 -3",
        "8 -8 -7",
        "5 6 -7",
        "-7 -6 6 5",
    ),
}
"""Figures of each position and style, in tab (common practice)."""
STYLES: tuple[tuple[float, tuple[int, str]], ...] = (
    (0.34, (2, "blues")),
    (0.13, (2, "major")),
    (0.14, (1, "top")),
    (0.08, (1, "low")),
    (0.15, (3, "minor")),
    (0.08, (4, "minor")),
    (0.08, (5, "minor")),
)
"""Fraction of tunes, position and style."""
LICK_RHYTHMS = ((0.5, 0.5), (1.0, 0.5), (2 / 3, 1 / 3), (1 / 3, 1 / 3, 1 / 3), (0.5, 0.5, 1.0))
STOPS = {"-2": "-1 -2", "-4": "-4 -5", "-3": "-2 -3", "4": "3 4", "6": "5 6", "8": "7 8"}
OCTAVES = {"4": "1 4", "-4": "-1 -4", "6": "3 6", "7": "4 7", "-6": "-3 -6", "9": "6 9"}
"""Double stops and splits by the entry that they are played for. Not all splits are octaves."""


def licks(number: int) -> PlayedTune:
    """Return a tune made of licks, calls and answers."""
    draw = np.random.default_rng(zlib.crc32(f"licks {number}".encode()))
    odds, styles = zip(*STYLES, strict=True)
    position, style = styles[int(draw.choice(len(styles), p=odds))]
    key = _key(draw)
    harp = Harp.of(key)
    cells = [cell.split() for cell in CELLS[position, style]]
    cells = [cells[i] for i in draw.permutation(len(cells))[: int(draw.integers(4, 8))]]
    scooped, doubled = draw.random() < 1 / 3, draw.random() < 0.2
    line: list[tuple[list[list[str]], float]] = []
    for _ in range(int(draw.integers(2, 6))):
        call = _phrase(draw, cells)
        answer = [*call[: max(1, len(call) - int(draw.integers(1, 4)))], *_phrase(draw, cells)[:4]]
        for phrase in (call, answer):
            for i, tab in enumerate(phrase):
                last = i == len(phrase) - 1
                beats = float(draw.choice((1.5, 2.0, 3.0))) if last else _beats(draw)
                line.append((_coloured(draw, harp, tab, scooped, doubled), beats))
    tonic = (harp.key.tonic + 7 * (position - 1)) % 12
    if draw.random() < 0.5:
        line[-1] = ([[_nearest_tonic(harp, line[-1][0][0][0], tonic)]], 3.0)
    beat = 60.0 / float(draw.choice((70.0, 88.0, 104.0, 120.0)))
    events, at = [], 0.0
    for path, beats in line:
        pitches = tuple(
            TargetPitch(tuple(harp.midi(Tab.parse(tab)) for tab in sound)) for sound in path
        )
        events.append(PitchEvent(at * beat, (at + 0.9 * beats) * beat, pitches))
        at += beats
    return PlayedTune(key, position, tuple(events))


def _key(draw: np.random.Generator) -> str:
    key = str(STANDARD_KEYS[int(draw.integers(len(STANDARD_KEYS)))])
    return f"low {key}" if draw.random() < LOW else key


def _phrase(draw: np.random.Generator, cells: Sequence[list[str]]) -> list[str]:
    """Return one to three cells, each begun near the end of the one before."""
    phrase = list(cells[int(draw.integers(len(cells)))])
    for _ in range(int(draw.integers(0, 3))):
        hole = Tab.parse(phrase[-1]).hole
        far = np.array([abs(Tab.parse(cell[0]).hole - hole) for cell in cells], float)
        odds = np.exp(-far)
        phrase += cells[int(draw.choice(len(cells), p=odds / odds.sum()))]
    return phrase


def _beats(draw: np.random.Generator) -> float:
    rhythm = LICK_RHYTHMS[int(draw.integers(len(LICK_RHYTHMS)))]
    return float(rhythm[int(draw.integers(len(rhythm)))])


def _coloured(
    draw: np.random.Generator, harp: Harp, tab: str, scooped: bool, doubled: bool
) -> list[list[str]]:
    """Return the path of a note, which may be let up from a bend, fall into one, or be doubled."""
    entry = Tab.parse(tab)
    bent = Tab(entry.hole, entry.breath, 1)
    if scooped and entry.is_natural and harp.can_play(bent) and draw.random() < 0.3:
        return [[str(bent)], [tab]] if draw.random() < 0.7 else [[tab], [str(bent)]]
    if doubled and draw.random() < 0.25:
        table = STOPS if draw.random() < 0.6 else OCTAVES
        if tab in table:
            return [table[tab].split()]
    return [[tab]]


def _nearest_tonic(harp: Harp, tab: str, tonic: int) -> str:
    entries = [e for e in harp.entries if e.is_natural and harp.midi(e) % 12 == tonic]
    midi = harp.midi(Tab.parse(tab))
    return str(min(entries, key=lambda entry: abs(harp.midi(entry) - midi)))


DANCE_POSITIONS = ((0.42, 1), (0.2, 2), (0.14, 3), (0.1, 12), (0.08, 4), (0.06, 5))
"""Fraction of dances in each position: first position leads in dance music."""
DANCE_SCALES = {
    1: (0, 2, 4, 5, 7, 9, 11),
    2: (0, 2, 4, 5, 7, 9, 10),
    3: (0, 2, 3, 5, 7, 9, 10),
    12: (0, 2, 4, 6, 7, 9, 11),
    4: (0, 2, 3, 5, 7, 8, 10),
    5: (0, 2, 3, 5, 7, 8, 10),
}
"""The mode of each position's natural notes, but for the second degree of the fifth position."""
STRAINS = {
    "major": ((0, 0, 3, 4), (0, 3, 4, 0), (0, 4, 0, 4), (0, 5, 3, 4), (0, 0, 4, 4)),
    "modal": ((0, 0, 6, 0), (0, 6, 0, 6), (0, 2, 6, 0), (0, 6, 5, 6), (0, 3, 6, 0)),
}
"""Degrees of the scale on which the chords of four bars stand, from 0."""
METERS = ((8, 0.5), (8, 0.5), (6, 0.5), (6, 1.0))
"""Places of a bar and beats of a place, each as often: two reels, jigs and waltzes."""


def dances(number: int) -> PlayedTune:
    """Return a dance of two strains."""
    draw = np.random.default_rng(zlib.crc32(f"dance {number}".encode()))
    odds, positions = zip(*DANCE_POSITIONS, strict=True)
    position = positions[int(draw.choice(len(positions), p=odds))]
    key = _key(draw)
    harp = Harp.of(key)
    tonic = harp.key.tonic + 7 * (position - 1)
    full = DANCE_SCALES[position]
    scale: tuple[int, ...] = full
    if draw.random() < 0.25:
        gaps = {1: (5, 11), 2: (5, 10), 3: (2, 9), 12: (6, 11), 4: (2, 8), 5: (2, 8)}[position]
        scale = tuple(degree for degree in scale if degree not in gaps)
    flavour = "major" if position in (1, 12) else "modal"
    places, beats = METERS[int(draw.integers(len(METERS)))]
    centre = int(draw.choice((5, 7, 7, 9)))
    rungs: list[tuple[int, float]] = []
    for strain in range(2):
        bars: list[list[tuple[int, float]]] = []
        tail: list[tuple[int, float]] = []
        centre += strain * int(draw.choice((0, 2, 4)))
        for half in range(2):
            roots = STRAINS[flavour][int(draw.integers(5))]
            for bar, root in enumerate(roots):
                if half == 1 and bar < 2:
                    bars.append(bars[bar])
                elif half == 1 and bar == 3:
                    tail = _cadence(draw, centre, places, beats)
                else:
                    at = bars[-1][-1][0] if bars else centre
                    bars.append(_bar(draw, at, root, centre, places, beats))
        once = [note for bar in bars for note in bar] + tail
        rungs += once * 2
    if draw.random() < 0.3:
        rungs[-1] = (rungs[-1][0] + int(draw.choice((2, 4, -3, 1))), rungs[-1][1])
    midis = [_pitch(rung, full, scale, tonic) for rung, _ in rungs]
    midis = _in_easiest_octave(midis, harp)
    beat = 60.0 / float(draw.choice((96.0, 112.0, 126.0)))
    events, now = [], 0.0
    for midi, (_, length) in zip(midis, rungs, strict=True):
        events.append(PitchEvent(now * beat, (now + 0.92 * length) * beat, (TargetPitch((midi,)),)))
        now += length
    first = int(draw.integers(0, max(1, len(events) - 40))) if draw.random() < 0.5 else 0
    most = int(draw.integers(24, 90))
    return PlayedTune(key, position, tuple(events[first : first + most]))


def _bar(
    draw: np.random.Generator, at: int, root: int, centre: int, places: int, beats: float
) -> list[tuple[int, float]]:
    """Return scale steps and beats of a bar: chord notes on strong places, steps between."""
    chord = {root % 7, (root + 2) % 7, (root + 4) % 7}
    notes: list[tuple[int, float]] = []
    place = 0
    broken = draw.random() < 0.35
    group = 4 if places == 8 else 3
    while place < places:
        long = draw.random() < 0.2 and place + 2 <= places
        strong = place % group == 0
        near = [rung for rung in range(at - 4, at + 5) if rung != at or draw.random() < 0.2]
        if strong or broken:
            near = [rung for rung in near if rung % 7 in chord] or near
            odds = np.exp([-abs(rung - at) / 2.0 - abs(rung - centre) / 4.0 for rung in near])
        else:
            odds = np.exp([-abs(rung - at) / 0.7 - abs(rung - centre) / 5.0 for rung in near])
        at = near[int(draw.choice(len(near), p=odds / odds.sum()))]
        notes.append((at, beats * (2 if long else 1)))
        place += 2 if long else 1
    return notes


def _cadence(
    draw: np.random.Generator, centre: int, places: int, beats: float
) -> list[tuple[int, float]]:
    """Return a close on the tonic: the degrees before it, and a long note."""
    home = min((0, 7, 14), key=lambda rung: abs(rung - centre))
    before = ((2, 1), (-1, 1), (4, 2), (1, -1), (1,))[int(draw.integers(5))]
    left = places - len(before)
    return [(home + step, beats) for step in before] + [(home, beats * left)]


def _pitch(rung: int, full: Sequence[int], scale: Sequence[int], tonic: int) -> int:
    """Return the note of a step of the full scale, moved to the next one that the tune has."""
    octave, degree = divmod(rung, 7)
    while full[degree] not in scale:
        degree -= 1
    return tonic + 12 * octave + full[degree]


def _in_easiest_octave(midis: list[int], harp: Harp) -> list[int]:
    """Return notes in the octave that needs the fewest bends; the rest moves to a neighbour."""
    natural = {harp.midi(tab) for tab in harp.entries if tab.is_natural}
    bent = {harp.midi(tab) for tab in harp.entries if tab.bend} - natural

    def cost(shift: int) -> float:
        return sum(
            0.0 if midi + shift in natural else 1.0 if midi + shift in bent else 4.0
            for midi in midis
        )

    best = min((12 * octave for octave in range(-4, 5)), key=cost)
    playable = sorted(natural | bent)
    return [min(playable, key=lambda note: abs(note - midi - best)) for midi in midis]


SONG_POSITIONS = ((0.25, 1), (0.35, 2), (0.15, 3), (0.09, 12), (0.08, 4), (0.08, 5))
"""Fraction of songs in each position."""
SONG_SCALES = {
    "major": ((0, 2, 4, 7, 9), (0, 2, 4, 5, 7, 9), (0, 2, 4, 7, 9, 10), (0, 2, 3, 4, 7, 9)),
    "minor": ((0, 3, 5, 7, 10), (0, 2, 3, 5, 7, 10), (0, 2, 3, 5, 7, 9), (0, 3, 5, 6, 7, 10)),
}
LINES = ("rise", "fall", "swing", "arch", "call")
VERSE = (0, 1, 2, 1)
"""Which line of verse each is; the third is the odd one."""
SYLLABLES = ((1.0, 1.0, 0.5, 0.5, 1.0), (0.5, 0.5, 1.0, 1.0), (1.5, 0.5, 1.0), (1.0, 1.0, 1.0))


def songs(number: int) -> PlayedTune:
    """Return a song of one or two verses."""
    draw = np.random.default_rng(zlib.crc32(f"song {number}".encode()))
    odds, positions = zip(*SONG_POSITIONS, strict=True)
    position = positions[int(draw.choice(len(positions), p=odds))]
    key = _key(draw)
    harp = Harp.of(key)
    tonic = (harp.key.tonic + 7 * (position - 1)) % 12
    major = position in (1, 2, 12) and draw.random() < 0.7
    scales = SONG_SCALES["major" if major else "minor"]
    scale = scales[int(draw.integers(len(scales)))]
    playable = {harp.midi(tab) for tab in harp.entries if not tab.over}
    rungs = sorted(midi for midi in playable if (midi - tonic) % 12 in scale)
    # A voice has little more than an octave; few songs lie at the very top of a harp.
    low = int(draw.integers(0, max(1, len(rungs) // 2)))
    rungs = rungs[low : low + int(draw.integers(7, 11))]
    lines = [_sung(draw, len(rungs)) for _ in range(3)]
    verse = [note for i in VERSE for note in lines[i]]
    line = verse * (1 if draw.random() < 0.6 else 2)
    midis = [rungs[place] for place, _ in line]
    home = [i for i, midi in enumerate(rungs) if (midi - tonic) % 12 == 0]
    if home and draw.random() < 0.5:
        midis[-1] = rungs[min(home, key=lambda i: abs(i - line[-1][0]))]
    beat = 60.0 / float(draw.choice((66.0, 84.0, 100.0, 116.0)))
    events, at = [], 0.0
    for midi, (_, beats) in zip(midis, line, strict=True):
        events.append(PitchEvent(at * beat, (at + 0.9 * beats) * beat, (TargetPitch((midi,)),)))
        at += beats
    return PlayedTune(key, position, tuple(events))


def _sung(draw: np.random.Generator, size: int) -> list[tuple[int, float]]:
    """Return places and beats of a line of verse."""
    kind = LINES[int(draw.integers(len(LINES)))]
    beats = [b for _ in range(2) for b in SYLLABLES[int(draw.integers(len(SYLLABLES)))]]
    count = len(beats)
    start = int(draw.integers(size))
    places = []
    for i in range(count):
        part = i / max(1, count - 1)
        drift = {"rise": 4.0 * part, "fall": -4.0 * part, "arch": 12.0 * part * (1.0 - part)}
        swing = 1.5 * (-1) ** i if kind == "swing" else 0.0
        place = start + drift.get(kind, 0.0) + swing + draw.normal(0.0, 0.7)
        places.append(min(max(round(place), 0), size - 1))
    beats[-1] = 2.0
    return list(zip(places, beats, strict=True))


GENERATORS = {"licks": licks, "dances": dances, "songs": songs}
"""The generators by name."""
