"""Generators of tunes on which the ranking of harps is fitted.

Seven generators, each unlike the others: they differ in what a player thinks in. Each draws its own
habits anew for every tune (how gladly it bends, where it ends, how long it is), so that none is
learnt by heart. Nothing is imported from `benchmarks/`, whose tunes are kept for the report.

- *rungs*: a walk over a scale that the harp has, with motifs.
- *fitted*: a melody in a key, composed without a harp, for which a player then looks for a harp
  and a position that make it easy.
- *holes*: the mouth moves between holes and breaths around a home hole, without a scale.
- *chords*: broken chords and passing notes over a progression.
- *riffs*: a riff of blues notes, repeated and answered, with bends let up.
- *bag*: notes drawn one by one from weighted degrees around a place on the harp.
- *contours*: shapes of a voice over any scale in any octave, by a player to whom a bend is a note
  like any other.

All weights are common practice put into numbers, or wide ranges where practice differs.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from trainer.drill import PitchEvent, TargetPitch
from trainer.harp import STANDARD_KEYS, Breath, Harp, Tab

POSITION_ODDS = {1: 0.24, 2: 0.31, 3: 0.14, 4: 0.09, 5: 0.09, 12: 0.09, 11: 0.02, 6: 0.02}
"""Relative frequency of positions: common practice, with the rarer ones raised so that they are
learnt."""
TUNED_POSITION_ODDS = {1: 0.5, 2: 0.4, 3: 0.1}
"""The same on harps in other tunings."""
LOW_ODDS = 0.12
"""Fraction of tunes on low harps (common practice)."""
BLUES = (0, 3, 5, 6, 7, 10)
SCALES = {
    "major": (
        (0, 2, 4, 5, 7, 9, 11),
        (0, 2, 4, 5, 7, 9, 10),
        (0, 2, 4, 7, 9),
        (0, 2, 4, 5, 7, 9),
        (0, 2, 3, 4, 7, 9),
        (0, 2, 4, 7, 9, 11),
        (0, 3, 4, 5, 7, 10),
        (0, 2, 4, 6, 7, 9, 11),
    ),
    "minor": (
        (0, 2, 3, 5, 7, 9, 10),
        (0, 2, 3, 5, 7, 8, 10),
        (0, 3, 5, 7, 10),
        (0, 2, 3, 5, 7, 10),
        (0, 2, 3, 5, 7),
        (0, 2, 3, 5, 7, 8, 11),
        (0, 1, 3, 5, 7, 8, 10),
        (0, 3, 5, 6, 7, 10),
    ),
}
BLUES_POSITIONS = (1, 2, 3, 5)


@dataclass(frozen=True)
class Example:
    """A tune and the harp on which it is played."""

    key: str
    tuning: str
    position: int
    events: tuple[PitchEvent, ...]


Note = tuple[tuple[tuple[int, ...], ...], float]
"""A path of sounds as MIDI notes, and a length in beats."""


@lru_cache(maxsize=256)
def _harp(key: str, tuning: str) -> Harp:
    return Harp.of(key, tuning)


@dataclass(frozen=True)
class Seat:
    """A harp, a position on it, and what they give a generator.

    Attributes:
        harp, position: the harp and the position.
        tonic: pitch class.
        entries: entries without overblows, lowest first, one for each note.
        midi: note of each.
        natural_scale: half steps above the tonic of the harp's natural notes.
    """

    harp: Harp
    position: int
    tonic: int
    entries: tuple[Tab, ...]
    midi: tuple[int, ...]
    natural_scale: tuple[int, ...]

    @property
    def minor(self) -> bool:
        """Whether the natural third is minor."""
        return 4 not in self.natural_scale


@lru_cache(maxsize=4096)
def seat(key: str, tuning: str, position: int) -> Seat:
    """Return a harp and position."""
    harp = _harp(key, tuning)
    tonic = (harp.key.tonic + 7 * (position - 1)) % 12
    by_note: dict[int, Tab] = {}
    for tab in sorted(harp.entries, key=lambda tab: (tab.bend, tab.hole)):
        if not tab.over:
            by_note.setdefault(harp.midi(tab), tab)
    midi = tuple(sorted(by_note))
    natural = {(harp.midi(tab) - tonic) % 12 for tab in harp.entries if tab.is_natural}
    return Seat(
        harp, position, tonic, tuple(by_note[m] for m in midi), midi, tuple(sorted(natural))
    )


def draw_seat(draw: np.random.Generator, tuning: str) -> Seat:
    """Draw a harp and a position, each as often as it is played."""
    table = POSITION_ODDS if tuning == "richter" else TUNED_POSITION_ODDS
    odds = np.array(list(table.values()))
    position = list(table)[int(draw.choice(len(table), p=odds / odds.sum()))]
    key = str(STANDARD_KEYS[int(draw.integers(12))])
    if tuning == "richter" and draw.random() < LOW_ODDS:
        key = f"low {key}"
    return seat(key, tuning, position)


def _pick(draw: np.random.Generator, weights: np.ndarray) -> int:
    total = np.cumsum(weights)
    return int(np.searchsorted(total, draw.random() * total[-1], side="right"))


def _scale(draw: np.random.Generator, where: Seat) -> tuple[int, ...]:
    """Draw a scale for a position: its natural notes, thinned out, or a common scale."""
    if draw.random() < 0.4:
        scale = list(where.natural_scale)
        for _ in range(int(draw.integers(0, 3))):
            scale.pop(int(draw.integers(1, len(scale))))
        return tuple(scale)
    third = "minor" if where.minor else "major"
    if where.position in BLUES_POSITIONS and draw.random() < 0.35:
        return BLUES if draw.random() < 0.5 else (0, 3, 4, 5, 6, 7, 10)
    scales = SCALES[third]
    if draw.random() < 0.7:  # those that lie without bends
        scales = tuple(s for s in scales if set(s) <= set(where.natural_scale)) or scales
    return scales[int(draw.integers(len(scales)))]


def _bend_weights(draw: np.random.Generator, where: Seat) -> np.ndarray:
    """Weight of each entry for how gladly the player bends it."""
    each = float(np.exp(draw.uniform(np.log(0.08), 0.0)))
    blow = each * float(draw.uniform(0.3, 1.0))
    return np.array(
        [(blow if tab.breath is Breath.BLOW else each) ** min(tab.bend, 2) for tab in where.entries]
    )


def _length(draw: np.random.Generator) -> float:
    return float((0.5, 0.5, 1.0, 1.0, 1.5, 2.0)[int(draw.integers(6))])


def _span(draw: np.random.Generator, where: Seat) -> np.ndarray:
    """Weight of each entry for being near the hole around which the tune moves."""
    usual = {1: 5.2, 2: 3.6, 3: 5.0, 4: 5.5, 5: 4.5, 12: 5.5}.get(where.position, 4.8)
    middle = float(np.clip(draw.normal(usual, 1.5), 1.5, 9.0))
    if where.position == 1 and draw.random() < 0.25:
        middle = float(draw.uniform(7.5, 9.0))
    width = float(draw.uniform(1.5, 3.5))
    holes = np.array([tab.hole for tab in where.entries])
    return np.exp(-0.5 * ((holes - middle) / width) ** 2)


def _end(draw: np.random.Generator, where: Seat, notes: list[Note], odds: np.ndarray) -> list[Note]:
    """End on the tonic as often as drawn, else where the tune happens to be."""
    if draw.random() < 0.6:
        near = notes[-1][0][-1][0]
        home = [i for i, midi in enumerate(where.midi) if midi % 12 == where.tonic]
        best = min(home, key=lambda i: abs(where.midi[i] - near) - 3.0 * odds[i])
        notes[-1] = (((where.midi[best],),), 2.0)
    return notes


def rungs(draw: np.random.Generator, where: Seat) -> list[Note]:
    """Walk over the rungs of a scale, with motifs."""
    scale = _scale(draw, where)
    odds = _span(draw, where) * _bend_weights(draw, where)
    own = [i for i, midi in enumerate(where.midi) if (midi - where.tonic) % 12 in scale]
    weights = odds[own]
    at = _pick(draw, weights)
    reach = float(draw.uniform(0.8, 2.5))
    motif: list[tuple[int, float]] = []
    line: list[tuple[int, float]] = []
    count = int(draw.integers(12, 70))
    steps = np.arange(len(own))
    while len(line) < count:
        kind = draw.random()
        if motif and kind < 0.35:
            line += motif
        elif motif and kind < 0.5:
            by = int(draw.choice((-1, 1)))
            motif = [(int(np.clip(i + by, 0, len(own) - 1)), beats) for i, beats in motif]
            line += motif
        else:
            motif = []
            for _ in range(int(draw.integers(3, 9))):
                near = np.exp(-np.abs(steps - at) / reach) * weights
                near[at] *= 0.5
                at = _pick(draw, near)
                motif.append((at, _length(draw)))
            motif[-1] = (motif[-1][0], motif[-1][1] + float(draw.choice((0.0, 1.0))))
            line += motif
    notes: list[Note] = [(((where.midi[own[i]],),), beats) for i, beats in line]
    return _end(draw, where, notes, odds)


def fitted(draw: np.random.Generator, where: Seat) -> tuple[Seat, list[Note]]:
    """Compose a melody, then look for a position that plays it; its own is only the mode."""
    third = "minor" if where.minor else "major"
    scale = SCALES[third][int(draw.integers(len(SCALES[third])))]
    size = len(scale)
    centre, width = float(draw.uniform(-1, 6)), float(draw.uniform(2.0, 4.0))
    pull = float(draw.uniform(0.2, 1.2))
    degrees = np.arange(-8, 16)
    stable = np.array([1.0 if scale[d % size] in (0, 3, 4, 7) else 0.0 for d in degrees])
    at, rising = round(centre), 1
    line: list[tuple[int, float]] = []
    for phrase in range(int(draw.integers(2, 7))):
        if line and draw.random() < 0.4:
            line += line[: int(draw.integers(4, 12))]
            at = line[-1][0]
        for i in range(int(draw.integers(5, 12))):
            if draw.random() < 0.25:
                rising = -rising
            target = at + rising
            weights = np.exp(
                -np.abs(degrees - target) / 0.8 - ((degrees - centre) / width) ** 2 / 2
            )
            weights *= np.exp(pull * stable)
            at = int(degrees[_pick(draw, weights)])
            line.append((at, 1.0 if i % 2 else _length(draw)))
        home = [d for d in range(-size, 2 * size) if d % size == 0]
        if draw.random() < (0.5 if phrase else 0.25):
            at = min(home, key=lambda d: abs(d - at))
        line[-1] = (at, 2.0)
    half_steps = [12 * (d // size) + scale[d % size] for d, _ in line]
    seats = [seat(where.harp.key.name, where.harp.tuning.name, p) for p in range(1, 13)]
    taste = float(draw.uniform(2.0, 8.0))
    options: list[tuple[Seat, int]] = []
    odds: list[float] = []
    table = POSITION_ODDS if where.harp.tuning.name == "richter" else TUNED_POSITION_ODDS
    for option in seats:
        ease = _ease(option)
        for octave in range(3, 8):
            base = option.tonic + 12 * octave
            cost = np.mean([ease.get(base + step, 5.0) for step in half_steps])
            options.append((option, base))
            odds.append(table.get(option.position, 0.006) * float(np.exp(-taste * cost)))
    option, base = options[_pick(draw, np.array(odds))]
    has = np.array(option.midi)
    midis = [int(has[np.abs(has - base - step).argmin()]) for step in half_steps]
    return option, [(((midi,),), beats) for midi, (_, beats) in zip(midis, line, strict=True)]


@lru_cache(maxsize=4096)
def _ease(where: Seat) -> dict[int, float]:
    """How hard each note is, with which a player chooses a position."""
    return {
        midi: (0.0 if not tab.bend else 0.7 + 0.4 * tab.bend + 0.6 * (tab.breath is Breath.BLOW))
        + 0.08 * abs(tab.hole - 4.8)
        for midi, tab in zip(where.midi, where.entries, strict=True)
    }


def holes(draw: np.random.Generator, where: Seat) -> list[Note]:
    """Move the mouth between holes and breaths around the home hole."""
    naturals = [i for i, tab in enumerate(where.entries) if tab.is_natural]
    home = [i for i, midi in enumerate(where.midi) if midi % 12 == where.tonic]
    usual = _span(draw, where)
    base = home[_pick(draw, usual[home])]
    weights = _bend_weights(draw, where) * float(draw.uniform(0.1, 1.0))
    weights[naturals] = 1.0
    hole = np.array([tab.hole for tab in where.entries])
    drawn = np.array([tab.breath is Breath.DRAW for tab in where.entries])
    range_ = float(draw.uniform(1.2, 2.6))
    jump = float(draw.uniform(0.6, 1.4))
    same = float(draw.uniform(0.3, 1.5))
    fits = np.array([(m - where.tonic) % 12 in (0, 2, 3, 4, 5, 7, 9, 10) for m in where.midi])
    taste = np.where(fits, 1.0, float(draw.uniform(0.25, 1.0)))
    notes: list[Note] = []
    for _ in range(int(draw.integers(2, 8))):
        at = base if draw.random() < 0.5 else naturals[_pick(draw, usual[naturals])]
        for _ in range(int(draw.integers(4, 12))):
            odds = weights * taste * np.exp(-np.abs(hole - hole[at]) / jump)
            odds *= np.exp(-np.abs(hole - hole[base]) / range_)
            odds *= np.where(drawn == drawn[at], same, 1.0)
            odds[at] *= 0.4
            at = _pick(draw, odds)
            sound = (where.midi[at],)
            if where.entries[at].is_natural and draw.random() < 0.08:
                beside = [
                    i for i in naturals if drawn[i] == drawn[at] and abs(hole[i] - hole[at]) == 1
                ]
                if beside:
                    other = beside[int(draw.integers(len(beside)))]
                    sound = tuple(sorted((where.midi[at], where.midi[other])))
            notes.append(((sound,), _length(draw)))
        if draw.random() < 0.6:
            notes[-1] = (((where.midi[base],),), 2.0)
        else:
            notes[-1] = (notes[-1][0], 2.0)
    return notes


def chords(draw: np.random.Generator, where: Seat) -> list[Note]:
    """Break the chords of a progression, with passing notes."""
    scale = where.natural_scale
    if len(scale) != 7 or draw.random() < 0.15:
        scale = _scale(draw, where)
    size = len(scale)
    odds = _span(draw, where) * _bend_weights(draw, where)
    midi = np.array(where.midi)
    degree = np.full(len(midi), -1)
    for i, m in enumerate(where.midi):
        if (m - where.tonic) % 12 in scale:
            degree[i] = scale.index((m - where.tonic) % 12)
    in_scale = degree >= 0
    roots = [0, *(int(draw.choice((0, 0, 3, 4, 5, 1, size - 1))) for _ in range(6)), 0]
    at = _pick(draw, odds * in_scale)
    passing = float(draw.uniform(0.15, 0.6))
    notes: list[Note] = []
    bars = int(draw.choice((4, 8, 8)))
    for bar in range(bars):
        root = roots[bar % len(roots)] % size
        in_chord = np.isin(degree, [root, (root + 2) % size, (root + 4) % size])
        for _ in range(int(draw.integers(2, 8))):
            near = np.exp(-np.abs(midi - midi[at]) / 4.0) * odds
            near = near * (in_scale if draw.random() < passing else in_chord & in_scale)
            near[at] *= 0.3
            if near.sum() <= 0.0:
                near = odds * in_scale
            at = _pick(draw, near)
            notes.append((((where.midi[at],),), _length(draw)))
        if bar % 4 == 3:
            notes[-1] = (notes[-1][0], 2.5)
    return _end(draw, where, notes, odds)


def riffs(draw: np.random.Generator, where: Seat) -> list[Note]:
    """Repeat and answer a riff of few notes, with bends let up and double stops."""
    scale = BLUES if draw.random() < 0.6 else _scale(draw, where)
    if not where.minor and draw.random() < 0.6:
        scale = (*scale, 4)
    odds = _span(draw, where) * np.sqrt(_bend_weights(draw, where))
    own = np.array([(m - where.tonic) % 12 in scale for m in where.midi])
    home = np.array([1.0 + 1.5 * ((m - where.tonic) % 12 in (0, 7)) for m in where.midi])
    weights = odds * own * home
    midi = np.array(where.midi)
    gliding = float(draw.choice((0.0, 0.0, 0.1, 0.3)))

    def riff(count: int) -> list[Note]:
        at = _pick(draw, weights)
        made: list[Note] = []
        for _ in range(count):
            near = np.exp(-np.abs(midi - midi[at]) / 3.0) * weights
            near[at] *= 0.6
            at = _pick(draw, near)
            tab = where.entries[at]
            path: tuple[tuple[int, ...], ...] = ((where.midi[at],),)
            below = Tab(tab.hole, tab.breath, tab.bend + 1)
            if draw.random() < gliding and where.harp.can_play(below):
                path = ((where.harp.midi(below),), *path)
                path = path if draw.random() < 0.75 else path[::-1]
            made.append((path, _length(draw)))
        made[-1] = (made[-1][0], float(draw.choice((1.0, 2.0, 3.0))))
        return made

    first = riff(int(draw.integers(3, 8)))
    notes: list[Note] = []
    for _ in range(int(draw.integers(2, 7))):
        notes += first if draw.random() < 0.6 else riff(int(draw.integers(3, 8)))
        notes += riff(int(draw.integers(2, 6)))
    return _end(draw, where, notes, odds)


def bag(draw: np.random.Generator, where: Seat) -> list[Note]:
    """Draw notes one by one from weighted degrees and places."""
    inside = np.array([float(i in _scale(draw, where)) for i in range(12)])
    weights = np.where(inside, draw.gamma(1.2, 1.0, 12), 0.04 * draw.gamma(1.0, 1.0, 12))
    weights[0] += float(draw.uniform(0.3, 1.5))
    odds = _span(draw, where) * _bend_weights(draw, where)
    odds = odds * np.array([weights[(m - where.tonic) % 12] for m in where.midi])
    notes: list[Note] = [
        (((where.midi[_pick(draw, odds)],),), _length(draw))
        for _ in range(int(draw.integers(10, 60)))
    ]
    return _end(draw, where, notes, odds)


def contours(draw: np.random.Generator, where: Seat) -> list[Note]:
    """Follow shapes of a voice over a scale, and bend wherever the scale asks for it."""
    third = "minor" if where.minor == (draw.random() < 0.8) else "major"
    scale = SCALES[third][int(draw.integers(len(SCALES[third])))]
    own = [i for i, midi in enumerate(where.midi) if (midi - where.tonic) % 12 in scale]
    width = int(draw.integers(5, 12))
    low = int(draw.integers(0, max(1, len(own) - width)))
    own = own[low : low + width]
    kernel = draw.dirichlet(np.array([0.3, 0.8, 2.0, 0.6, 2.0, 0.8, 0.3]))
    last = len(own) - 1
    at = int(draw.integers(len(own)))
    shape: list[tuple[int, float]] = []
    line: list[tuple[int, float]] = []
    for _ in range(int(draw.integers(2, 9))):
        if not shape or draw.random() < 0.5:
            drift = int(draw.choice((-1, 0, 1)))
            shape = []
            for _ in range(int(draw.integers(3, 11))):
                step = int(draw.choice(7, p=kernel)) - 3 + drift * (draw.random() < 0.3)
                at = min(max(at + step, 0), last)
                shape.append((at, _length(draw)))
            shape[-1] = (at, float(draw.choice((1.0, 2.0, 3.0))))
        elif draw.random() < 0.4:
            by = int(draw.choice((-2, -1, 1, 2)))
            shape = [(min(max(i + by, 0), last), beats) for i, beats in shape]
        line += shape
    notes: list[Note] = [(((where.midi[own[i]],),), beats) for i, beats in line]
    if draw.random() < 0.5:
        home = [midi for midi in where.midi if midi % 12 == where.tonic]
        near = min(home, key=lambda midi: abs(midi - notes[-1][0][0][0]))
        notes[-1] = (((near,),), 2.0)
    return notes


def _simple(
    generate: Callable[[np.random.Generator, Seat], list[Note]],
) -> Callable[[np.random.Generator, Seat], tuple[Seat, list[Note]]]:
    return lambda draw, where: (where, generate(draw, where))


GENERATORS: dict[str, Callable[[np.random.Generator, Seat], tuple[Seat, list[Note]]]] = {
    "rungs": _simple(rungs),
    "fitted": fitted,
    "holes": _simple(holes),
    "chords": _simple(chords),
    "riffs": _simple(riffs),
    "bag": _simple(bag),
    "contours": _simple(contours),
}
"""The generators by name."""


def make_example(generator: str, number: int, tuning: str = "richter") -> Example:
    """Return a tune of a generator.

    Args:
        generator: its name.
        number: decides everything.
        tuning: of the harp.
    """
    draw = np.random.default_rng((number, list(GENERATORS).index(generator)))
    where, notes = GENERATORS[generator](draw, draw_seat(draw, tuning))
    if draw.random() < 0.3:  # a passage cut out of it
        first = int(draw.integers(0, max(1, len(notes) - 15)))
        notes = notes[first : first + int(draw.integers(12, 50))]
    notes = _with_graces(draw, where, notes)
    notes = _misheard(draw, notes)
    beat = 60.0 / float(draw.uniform(60.0, 140.0))
    events, at = [], 0.0
    for path, beats in notes:
        pitches = tuple(TargetPitch(sound) for sound in path)
        events.append(PitchEvent(at * beat, (at + 0.9 * beats) * beat, pitches))
        at += beats
    return Example(where.harp.key.name, tuning, where.position, tuple(events))


def _with_graces(draw: np.random.Generator, where: Seat, notes: list[Note]) -> list[Note]:
    """Bend a few notes by a half step to colour them, on the reeds that bend."""
    rate = float(draw.choice((0.0, 0.0, 0.05, 0.1)))
    if not rate:
        return notes
    entries = dict(zip(where.midi, where.entries, strict=True))
    coloured = []
    for path, beats in notes:
        tab = entries.get(path[0][0]) if len(path) == 1 and len(path[0]) == 1 else None
        if tab is not None and tab.is_natural and draw.random() < rate:
            bent = Tab(tab.hole, tab.breath, 1)
            if where.harp.can_play(bent):
                path = ((where.harp.midi(bent),),)
        coloured.append((path, beats))
    return coloured


def _misheard(draw: np.random.Generator, notes: list[Note]) -> list[Note]:
    """Miss and mishear some notes, as the ear does in other sounds."""
    rate = float(draw.choice((0.0, 0.0, 0.0, 0.02, 0.06)))
    heard: list[Note] = []
    for path, beats in notes:
        chance = draw.random()
        if chance < 0.4 * rate:
            continue
        if chance < rate:
            off = int(draw.choice((-12, 12, -1, 1, 7)))
            path = tuple(tuple(note + off for note in sound) for sound in path)
        heard.append((path, beats))
    return heard or notes
