"""Generated harps and bands: what is played in a training example, as events.

An event is one note of the bank with its place, level and pitch path. Rates are ratios of the
pitch to that of the recorded note. The path has two ramps: `rate[0]` until `at[0]`, a line to
`rate[1]` at `at[1]`, held until `at[2]`, a line to `rate[2]` at `at[3]`.

Nothing here is shared with the phrases, tunes and bands that benchmarks/records.py reports on.
Frequencies of choices are common practice put into numbers.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

RATE = 22_050
BLOW = (0, 4, 7, 12, 16, 19, 24, 28, 31, 36)
DRAW = (2, 7, 11, 14, 17, 21, 23, 26, 29, 33)
SCALES = (
    (0, 2, 4, 5, 7, 9, 11),
    (0, 2, 4, 5, 7, 9, 10),
    (0, 2, 3, 5, 7, 9, 10),
    (0, 2, 3, 5, 7, 8, 10),
    (0, 3, 5, 6, 7, 10),
    (0, 2, 4, 7, 9),
)
HARP, BAND, TALK = range(3)
"""Groups of events."""
MODELLED = 10_000
"""First number of a modelled voice."""
MODELLED_SHARE = 0.4
"""Fraction of harps that are modelled."""
REED_WEIGHTS = (5.0, 2.0, 0.7, 0.7)
"""Weight of the recorded reeds of a font: harmonica, reed organ, accordion, bandoneon."""
FIELDS = (
    *("example", "group", "source", "start", "length", "release", "gain", "skip", "fade"),
    *("rate0", "rate1", "rate2", "at0", "at1", "at2", "at3"),
    *("vibrato", "vibrato_hz", "tremolo", "tremolo_hz", "phase", "labelled", "midi"),
)


@dataclass
class Bank:
    """Rows of the bank by kind: (voice, MIDI, row number)."""

    rows: np.ndarray
    reeds: dict[int, list[tuple[int, int]]] = field(default_factory=dict)
    decaying: dict[int, list[tuple[int, int]]] = field(default_factory=dict)
    sustained: dict[int, list[tuple[int, int]]] = field(default_factory=dict)
    drums: dict[int, list[tuple[int, int]]] = field(default_factory=dict)
    speech: list[int] = field(default_factory=list)
    reed_voices: list[int] = field(default_factory=list)
    reed_weights: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        kinds = (self.reeds, self.decaying, self.sustained, self.drums)
        for number, (kind, voice, midi, _, length) in enumerate(self.rows):
            if kind < 4:
                if length > 0.2 * RATE or kind == 3:
                    kinds[kind].setdefault(int(voice), []).append((int(midi), number))
            else:
                self.speech.append(number)
        recorded = sorted(voice for voice in self.reeds if voice < MODELLED)
        modelled = sorted(voice for voice in self.reeds if voice >= MODELLED)
        self.reed_voices = [*recorded, *modelled]
        weights = [REED_WEIGHTS[i % len(REED_WEIGHTS)] for i in range(len(recorded))]
        share = MODELLED_SHARE / (1.0 - MODELLED_SHARE) * sum(weights)
        self.reed_weights = [*weights, *[share / len(modelled) for _ in modelled]]

    def nearest(self, notes: list[tuple[int, int]], midi: float) -> tuple[int, float]:
        """Return the row of the nearest recorded note, and the ratio to it."""
        source, number = min(notes, key=lambda note: abs(note[0] - midi))
        return number, 2.0 ** ((midi - source) / 12.0)


@dataclass(frozen=True)
class Song:
    """What the parts of a band share.

    Attributes:
        example: number of the example.
        beat: seconds of a beat.
        beats: of a bar.
        bars: number of bars.
        offset: seconds of the first bar before the example's start.
        tonic: pitch class.
        degrees: roots of the bars' chords, half steps above the tonic.
        minor: whether chords on the tonic and the fourth are minor.
        tuning: cents.
    """

    example: int
    beat: float
    beats: int
    bars: int
    offset: float
    tonic: int
    degrees: list[int]
    minor: bool
    tuning: float


class Draw:
    """Draws one batch of examples."""

    def __init__(self, bank: Bank, seed: int, seconds: float) -> None:
        """Prepare; everything follows from the seed."""
        self.bank = bank
        self.random = np.random.default_rng(seed)
        self.seconds = seconds
        self.events: list[tuple[float, ...]] = []

    def uniform(self, low: float, high: float) -> float:
        """Draw from a uniform distribution."""
        return low + (high - low) * float(self.random.random())

    def chance(self, probability: float) -> bool:
        """Draw a truth value."""
        return bool(self.random.random() < probability)

    def choose(self, options: list, weights: list[float] | None = None) -> Any:
        """Draw one of some options."""
        if weights is None:
            return options[int(self.random.integers(len(options)))]
        total = np.cumsum(weights)
        return options[int(np.searchsorted(total, self.random.random() * total[-1], "right"))]

    def add(
        self,
        example: int,
        group: int,
        source: int,
        start: float,
        length: float,
        *,
        gain_db: float = 0.0,
        release: float = 0.03,
        skip: float = 0.0,
        fade: float = 0.002,
        rates: tuple[float, float, float] = (1.0, 1.0, 1.0),
        at: tuple[float, float, float, float] = (9.0, 9.5, 10.0, 10.5),
        vibrato: tuple[float, float] = (0.0, 5.0),
        tremolo: tuple[float, float] = (0.0, 5.0),
        labelled: float = 0.0,
        midi: float = 0.0,
    ) -> None:
        """Add an event; times in seconds, `midi` is the pitch at rate 1 x `rates[0]`."""
        if start >= self.seconds or start + length + release < 0.0:
            return
        self.events.append(
            (
                *(example, group, source, start, length, release, 10.0 ** (gain_db / 20.0)),
                *(skip, fade, *rates, *at, *vibrato, *tremolo),
                *(self.uniform(0.0, 6.28), labelled, midi),
            )
        )

    def example(self, number: int) -> None:
        """Add one example: a harp or none, a band or none, talk or none."""
        beat = self.uniform(0.3, 0.95)
        tonic = int(self.random.integers(12))
        kind = self.choose(["band", "alone", "no harp", "talk"], [0.6, 0.2, 0.13, 0.07])
        begin, end = -1.0, self.seconds + 1.0
        if kind == "talk":
            cut = self.uniform(0.2, 0.8) * self.seconds
            self._talk(number, -0.5, cut)
            begin = cut + self.uniform(-0.1, 0.8)
        elif kind == "no harp" and self.chance(0.4):
            self._talk(number, -0.5, self.seconds)
        if kind != "no harp":
            if self.chance(0.12):
                end = self.uniform(0.3, 0.9) * self.seconds
            self._harp(number, begin, end, beat, tonic)
            if self.chance(0.04):
                self._harp(number, begin, end, beat, tonic)
        if kind == "band" or (kind == "no harp" and self.chance(0.85)):
            self._band(number, beat, tonic)
            if self.chance(0.04):
                self._talk(number, -0.5, self.seconds)

    def _talk(self, example: int, start: float, end: float) -> None:
        at = start
        while at < end:
            source = self.choose(self.bank.speech)
            available = self.bank.rows[source, 4] / RATE
            skip = self.uniform(0.0, max(0.0, available - 1.0))
            length = min(available - skip - 0.05, end - at, self.uniform(0.8, 4.0))
            rate = 2.0 ** (self.uniform(-3.0, 3.0) / 12.0)
            if length > 0.1:
                self.add(
                    *(example, TALK, source, at, length),
                    skip=skip,
                    fade=0.01,
                    rates=(rate, rate, rate),
                )
            at += max(0.1, length) + self.uniform(0.0, 0.6)

    def _harp(self, example: int, begin: float, end: float, beat: float, tonic: int) -> None:
        voice = self.choose(self.bank.reed_voices, self.bank.reed_weights)
        notes = self.bank.reeds[voice]
        fifths = self.choose([0, 1, 2, 11, 3, 4, 5], [4, 5, 2, 1, 1, 1, 1])
        key = (tonic - 7 * fifths) % 12
        base = 55 + (key - 55) % 12
        if self.chance(0.12):
            base -= 12
        tuning = float(self.random.normal(0.0, 7.0))
        if self.chance(0.2):
            tuning = self.uniform(-50.0, 50.0)
        offsets = self.random.normal(0.0, 6.0, (2, 10))
        scale = self.choose(list(SCALES)) if self.chance(0.7) else tuple(range(12))
        hole = int(self.random.integers(2, 7))
        low = int(self.random.integers(1, 5))
        high = int(self.random.integers(low + 3, 11))
        draw = self.chance(0.5)
        chords, bends = self.uniform(0.0, 0.35), self.uniform(0.0, 0.4)
        tongued, legato = self.uniform(0.0, 1.0), self.uniform(0.1, 0.9)
        spread_db = self.uniform(0.5, 4.0)
        lengths = self.choose([[0.5, 1.0, 2.0], [0.25, 0.5, 1.0], [1 / 3, 2 / 3, 1.0], [1.0, 3.0]])
        at = begin + self.uniform(-0.5, 0.5) * beat
        harmless = ((9.0, 9.5, 10.0, 10.5), (1.0, 1.0, 1.0))
        while at < end:
            duration = float(self.choose(lengths)) * beat
            if self.chance(0.1):
                at += duration
                continue
            if not self.chance(0.18):  # otherwise a repeated note
                for _ in range(8):
                    hole_next = int(np.clip(hole + self.random.integers(-2, 3), low, high))
                    draw_next = self.chance(0.5)
                    half = (DRAW if draw_next else BLOW)[hole_next - 1]
                    if (base + half - tonic) % 12 in scale:
                        break
                hole, draw = hole_next, draw_next
            sounding = duration - (
                self.uniform(0.0, 0.02)
                if self.chance(legato)
                else self.uniform(0.03, 0.3) * duration
            )
            sounding = max(0.06, sounding)
            start = at + float(self.random.normal(0.0, 0.01))
            reeds = DRAW if draw else BLOW
            together = [hole]
            if self.chance(chords):
                together = self.choose(
                    [[hole, hole + 1], [hole, hole + 1, hole + 2], [hole, hole + 3]], [5, 2, 1]
                )
                together = [one for one in together if one <= 10]
            depth = _bend_depth(hole, draw)
            gain = float(self.random.normal(0.0, spread_db))
            natural = not self.chance(tongued)
            skip = 0.0 if natural else self.uniform(0.02, 0.4)
            fade = 0.002 if natural else self.uniform(0.001, 0.02)
            vibrato = (0.0, 5.0)
            if self.chance(0.12):
                vibrato = (self.uniform(0.003, 0.03), self.uniform(3.5, 7.5))
            tremolo = (0.0, 5.0)
            if self.chance(0.12):
                tremolo = (self.uniform(0.1, 0.6), self.uniform(2.5, 7.5))
            times, steps = harmless
            flat = 0.0
            if len(together) == 1 and depth and self.chance(bends):
                flat = float(self.random.integers(1, depth + 1))
                times, steps, flat = self._bend(flat, sounding)
            elif self.chance(0.2):  # it begins flat
                first = 2.0 ** (-self.uniform(0.2, 1.2) / 12.0)
                times = (0.0, self.uniform(0.03, 0.12), 10.0, 10.5)
                steps = (first, 1.0, 1.0)
            leak = [hole + 1] if len(together) == 1 and hole < 10 and self.chance(0.1) else []
            for one in (*together, *leak):
                natural_midi = base + reeds[one - 1]
                cents = tuning + offsets[int(draw), one - 1]
                source, rate = self.bank.nearest(notes, natural_midi + cents / 100.0)
                weak = self.uniform(-24.0, -12.0) if one in leak else 0.0
                self.add(
                    *(example, HARP, source, start, sounding),
                    gain_db=gain + weak + self.uniform(-2.0, 2.0) * (len(together) > 1),
                    release=self.uniform(0.01, 0.06),
                    skip=skip,
                    fade=fade,
                    rates=tuple(rate * step for step in steps),
                    at=times,
                    vibrato=vibrato,
                    tremolo=tremolo,
                    labelled=0.0 if one in leak else 1.0,
                    midi=natural_midi + cents / 100.0 + 12.0 * np.log2(steps[0]),
                )
            at += duration

    def _bend(
        self, depth: float, length: float
    ) -> tuple[tuple[float, ...], tuple[float, float, float], float]:
        """Times and steps of a bend: held, into it, out of it, or down and up."""
        low = 2.0 ** (-depth / 12.0)
        kind = self.choose(["held", "into", "out of", "dip"], [4, 2, 2, 1])
        first = self.uniform(0.2, 0.45) * length
        move = min(self.uniform(0.05, 0.3), 0.4 * length)
        if kind == "held":
            return (9.0, 9.5, 10.0, 10.5), (low, low, low), depth
        if kind == "into":
            return (first, first + move, 10.0, 10.5), (1.0, low, low), depth
        if kind == "out of":
            return (first, first + move, 10.0, 10.5), (low, 1.0, 1.0), depth
        return (first, first + 0.5 * move, first + move, first + 1.5 * move), (1.0, low, 1.0), depth

    def _band(self, example: int, beat: float, tonic: int) -> None:
        minor = self.chance(0.35)
        degrees = self.choose(
            [[0, 5, 7, 0], [0, 9, 5, 7], [0, 0, 5, 0], [0, 10, 5, 0], [2, 7, 0, 0]]
        )
        if self.chance(0.15):
            tonic = int(self.random.integers(12))
        beats = self.choose([4, 3, 4])
        offset = self.uniform(0.0, beats * beat)
        tuning = float(self.random.normal(0.0, 4.0)) if self.chance(0.8) else self.uniform(-30, 30)
        parts = ["chords", "bass", "drums", "pad", "lead", "arpeggio"]
        odds = [0.7, 0.65, 0.55, 0.3, 0.35, 0.25]
        chosen = [part for part, odd in zip(parts, odds, strict=True) if self.chance(odd)]
        if not chosen:
            chosen = ["chords"]
        bars = int(np.ceil((self.seconds + offset) / (beats * beat))) + 1
        song = Song(example, beat, beats, bars, offset, tonic, degrees, minor, tuning)
        for part in chosen:
            gain = self.uniform(-9.0, 5.0)
            players = {
                "chords": self._chords,
                "bass": self._bass,
                "drums": self._drums,
                "pad": self._pad,
                "lead": self._lead,
                "arpeggio": self._arpeggio,
            }
            players[part](song, gain)

    def _note(
        self,
        example: int,
        notes: list[tuple[int, int]],
        midi: float,
        start: float,
        length: float,
        gain: float,
        *,
        vibrato: tuple[float, float] = (0.0, 5.0),
    ) -> None:
        source, rate = self.bank.nearest(notes, midi)
        self.add(
            *(example, BAND, source, start + float(self.random.normal(0.0, 0.008)), length),
            gain_db=gain + float(self.random.normal(0.0, 1.5)),
            release=self.uniform(0.03, 0.25),
            rates=(rate, rate, rate),
            vibrato=vibrato,
        )

    def _triad(self, tonic: int, degree: int, minor: bool) -> tuple[int, int, int]:
        third = 3 if minor and degree in (0, 5) else 4
        return tonic + degree, tonic + degree + third, tonic + degree + 7

    def _chords(self, song: Song, gain: float) -> None:
        sustained = self.chance(0.25)
        kind = self.bank.sustained if sustained else self.bank.decaying
        notes = kind[self.choose(list(kind))]
        low = int(self.random.integers(44, 62))
        pattern = self.choose([[0, 1, 2, 3], [0, 2], [1, 3], [0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5], [0]])
        length = self.uniform(0.25, 1.2) * song.beat
        for bar in range(song.bars):
            triad = self._triad(song.tonic, song.degrees[bar % 4], song.minor)
            for place in pattern:
                if place < song.beats:
                    for pitch in triad:
                        midi = low + (pitch - low) % 12 + song.tuning / 100.0
                        at = (bar * song.beats + place) * song.beat - song.offset
                        self._note(song.example, notes, midi, at, length, gain)

    def _bass(self, song: Song, gain: float) -> None:
        lows = {v: n for v, n in self.bank.decaying.items() if min(m for m, _ in n) < 40}
        notes = lows[self.choose(list(lows))] if lows else next(iter(self.bank.decaying.values()))
        walking = self.chance(0.5)
        for bar in range(song.bars):
            triad = self._triad(song.tonic, song.degrees[bar % 4], song.minor)
            for place in range(song.beats) if walking else (0, 2):
                midi = (
                    28 + (self.choose(list(triad)) - 28) % 12
                    if walking
                    else 28 + (triad[0] - 28) % 12
                )
                at = (bar * song.beats + place) * song.beat - song.offset
                self._note(
                    song.example, notes, midi + song.tuning / 100.0, at, 0.9 * song.beat, gain + 3.0
                )

    def _drums(self, song: Song, gain: float) -> None:
        kit = dict(self.bank.drums[self.choose(list(self.bank.drums))])
        kick, snare, hat = 36, self.choose([38, 40, 37]), self.choose([42, 46, 51, 70, 69])
        eighths = self.chance(0.6)
        for place in range(song.bars * song.beats * 2):
            at = 0.5 * place * song.beat - song.offset
            hits = []
            if place % 2 == 0 or eighths:
                hits.append((hat, -5.0))
            if place % 4 == 0 or self.chance(0.06):
                hits.append((kick, 2.0))
            if place % 4 == 2:
                hits.append((snare, 1.0))
            if self.chance(0.03):
                hits.append((self.choose([45, 47, 49, 50, 57]), 0.0))
            for midi, level in hits:
                if midi in kit:
                    self.add(
                        *(
                            song.example,
                            BAND,
                            kit[midi],
                            at + float(self.random.normal(0.0, 0.006)),
                            0.45,
                        ),
                        gain_db=gain + level,
                        release=0.04,
                    )

    def _pad(self, song: Song, gain: float) -> None:
        notes = self.bank.sustained[self.choose(list(self.bank.sustained))]
        low = int(self.random.integers(50, 68))
        for bar in range(song.bars):
            for pitch in self._triad(song.tonic, song.degrees[bar % 4], song.minor):
                midi = low + (pitch - low) % 12 + song.tuning / 100.0
                at = bar * song.beats * song.beat - song.offset
                self._note(song.example, notes, midi, at, song.beats * song.beat, gain - 3.0)

    def _lead(self, song: Song, gain: float) -> None:
        kind = self.bank.sustained if self.chance(0.75) else self.bank.decaying
        notes = kind[self.choose(list(kind))]
        scale = self.choose(list(SCALES))
        degree = int(self.random.integers(0, len(scale) * 2))
        low = int(self.random.integers(50, 70))
        at = -song.offset
        while at < self.seconds:
            length = float(self.choose([0.5, 0.5, 1.0, 2.0])) * song.beat
            degree = int(np.clip(degree + self.random.integers(-2, 3), 0, 2 * len(scale) - 1))
            octave, step = divmod(degree, len(scale))
            midi = low + (song.tonic - low) % 12 + 12 * octave + scale[step] + song.tuning / 100.0
            vibrato = (self.uniform(0.0, 0.015), self.uniform(4.5, 6.5))
            if self.chance(0.85):
                self._note(
                    song.example,
                    notes,
                    midi,
                    at,
                    length * self.uniform(0.6, 1.0),
                    gain,
                    vibrato=vibrato,
                )
            at += length

    def _arpeggio(self, song: Song, gain: float) -> None:
        notes = self.bank.decaying[self.choose(list(self.bank.decaying))]
        low = int(self.random.integers(48, 70))
        order = self.choose([[0, 1, 2, 1], [0, 2, 1, 2], [2, 1, 0, 1]])
        for place in range(song.bars * song.beats * 2):
            triad = self._triad(
                song.tonic, song.degrees[(place // (2 * song.beats)) % 4], song.minor
            )
            midi = low + (triad[order[place % 4]] - low) % 12 + song.tuning / 100.0
            at = 0.5 * place * song.beat - song.offset
            self._note(song.example, notes, midi, at, self.uniform(0.4, 1.0) * song.beat, gain)


def _bend_depth(hole: int, draw: bool) -> int:
    """Whole half steps by which a reed of the standard tuning bends."""
    gap = DRAW[hole - 1] - BLOW[hole - 1]
    if draw:
        return max(0, gap - 1)
    return max(0, -gap - 1)


def draw_batch(bank: Bank, seed: int, examples: int, seconds: float) -> np.ndarray:
    """Return the events of a batch, shape (n, fields)."""
    draw = Draw(bank, seed, seconds)
    for number in range(examples):
        draw.example(number)
    return np.array(draw.events, np.float64).reshape(-1, len(FIELDS))
