"""Which reeds sound, and how loud each is beside the main one.

A detector of one pitch cannot tell a leaking neighbour: two reeds a fourth apart repeat at a
common sub-octave that nobody played. Here the main reed's partials are fitted and taken away, and
a neighbour is whatever is left near the neighbour's own partials, near and not exactly where
theory puts them, because no reed can be trusted to be where theory says. It is then fitted
together with the main one, and what both leave is looked at again.
While the pitch moves, partials smear over each other; the known glide is undone first, by
resampling the frame along the pitch track (time warping: Kepesi and Weruaga 2006, Speech
Communication 48(5)).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trainer.core.types import Floats
from trainer.ear.octave_split import OctaveDetector
from trainer.ear.partial_fit import FrameSpectrum
from trainer.ear.reed_mixture import ReedMixture, power_db
from trainer.harp import Breath, Harp, Tab
from trainer.music import cents

FRAME_S = 0.085
SHORTEST_FRAME_S = 0.030
YOUNG_FRAME_S = 0.050
OFF_THEORY_CENTS = 56.0
YOUNG_CENTS = 108.0
"""How far below theory a reed may be while it comes in (measured: up to 100 cents)."""
GRID_CENTS = 4.0
APART_CENTS = 30.0
"""How far from each other reeds lie beside theory, as a standard deviation."""
HELD, GLIDING_HELD = 1.5, 10.0
"""How many times better another entry must explain what sounds to take the place of one held."""
SOUNDS_DB = -33.0
"""Level beside the main reed from which another hole counts as sounding."""
ROUGH_DB = 6.0
"""How far the level that is looked for may be under the level that a fit finds."""
LOUDER = 2.5
"""Energy, over the main reed's, from which another reed takes its place."""
GROWS_DB = -15.0
"""Level from which a hole's own neighbour on the far side is listened for."""
FLOOR_DB = -50.0
"""Levels under this are not told."""
SEEN = 0.1
"""Share of a reed's energy that must be seen before it is fitted: the rest may be another's."""
SPLITS_DB = -20.0
"""Level from which an octave above is told: a leak too soft to count may make partials beat."""
TONGUE_HOLES = 4
"""How far apart the holes of a split may lie that the tongue blocks the holes between of."""
SPLIT = 0.2
"""Such a split is looked for where neighbours leave so much unexplained, in the main reed's
energy."""
MOST_REEDS = 5


@dataclass(frozen=True, slots=True)
class ReedEstimate:
    """What sounds in one frame.

    Attributes:
        hz: f0 of the main reed as far as the spectrum tells, Hz.
        breath: direction; None when the sound does not tell.
        tab: the main reed's entry.
        levels: (hole, dB relative to the main hole) of what could be measured, by hole, the
            main hole (0 dB) not among them.
        others: f0s in Hz of the other reeds loud enough to count, loudest first.
        octave: f0 in Hz of a reed an octave above or below the main one; it is among the levels
            and not among the others, because the two share partials.
    """

    hz: float
    tab: Tab
    breath: Breath | None
    levels: tuple[tuple[int, float], ...]
    others: tuple[float, ...]
    octave: float | None = None


def unwarp(frame: Floats, track: Floats) -> Floats:
    """Undo a known glide: the frame resampled so that its pitch stands still.

    Args:
        frame: samples, shape (n,).
        track: f0 at each sample, shape (n,), in any unit.

    Returns:
        Samples, shape (n,), whose pitch is that of the track's mean. Interpolation is by cubic
        Lagrange polynomials.
    """
    n = len(frame)
    phase = np.concatenate([[0.0], np.cumsum(0.5 * (track[1:] + track[:-1]))])
    at = np.interp(np.linspace(0.0, phase[-1], n), phase, np.arange(n))
    base = np.clip(at.astype(int), 1, n - 3)
    t = at - base
    before, here, after, later = (frame[base + k] for k in (-1, 0, 1, 2))
    return (
        before * (-t * (t - 1.0) * (t - 2.0) / 6.0)
        + here * ((t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0)
        + after * (-(t + 1.0) * t * (t - 2.0) / 2.0)
        + later * ((t + 1.0) * t * (t - 1.0) / 6.0)
    )


@dataclass(frozen=True, slots=True)
class _Chord:
    """What a breath direction makes of a frame.

    Attributes:
        entry: the first reed's entry.
        holes: the reeds' holes, as `mixture` has them.
        mixture: the reeds that sound.
        soft: (hole, dB beside the first reed) of what is heard and too soft to count.
    """

    entry: Tab
    holes: tuple[int, ...]
    mixture: ReedMixture
    soft: tuple[tuple[int, float], ...]


class ReedDetector:
    """Listens reed by reed to one harp."""

    def __init__(self, harp: Harp, rate: float) -> None:
        """`rate` in samples a second of the frames."""
        self._harp = harp
        self._rate = rate
        self._naturals = {
            breath: {hole: harp.hz(Tab(hole, breath)) for hole in range(1, 11)} for breath in Breath
        }
        self._octaves_of: dict[tuple[Tab, float], set[int]] = {}
        self._lowest = 0.94 * min(hz for side in self._naturals.values() for hz in side.values())
        self._grid = _grid(-OFF_THEORY_CENTS)
        self._young_grid = _grid(-YOUNG_CENTS)
        self._octave = OctaveDetector()

    def restart(self) -> None:
        """Forget what was heard: a new note."""
        self._octave.forget()

    def detect(
        self,
        frame: Floats,
        guess: float | None,
        tab: Tab | None,
        *,
        young: bool = False,
        gliding: bool = False,
        end: int | None = None,
    ) -> ReedEstimate | None:
        """What sounds in a frame.

        Args:
            frame: samples, shape (n,), of at least `SHORTEST_FRAME_S`, its glide undone.
            guess: f0 of the main reed in Hz by the pitch tracker, if it has one.
            tab: the entry held so far through a glide, if any; otherwise the nearest is taken.
            young: whether the note has just begun: reeds then come up from far below.
            gliding: whether the pitch moves, so that an entry that was held is held on to.
            end: number of the sample after the frame, in samples of the frame's rate; without
                it, and between notes without `restart`, octave splits are not told.

        Returns:
            What sounds, or None where no peak could be a reed.
        """
        if young:
            frame = frame[-round(YOUNG_FRAME_S * self._rate) :]
        spectrum = FrameSpectrum(frame, self._rate)
        hz = guess
        if hz is None or hz < 0.9 * self._lowest or not spectrum.has_fundamental(hz):
            hz, tab = spectrum.lowest_strong_peak(self._lowest), None
        if hz is None:
            return None
        alone = ReedMixture(spectrum, (hz,))
        entry = tab or self._harp.nearest_entries(hz)[0]
        same = self._harp.same_pitch(entry)
        entries = (entry, *same, *self._may_be(hz, young))
        grid = self._young_grid if young else self._grid
        chords = [self._grow(alone, one, grid) for one in dict.fromkeys(entries)]
        best = chords[0]
        if any(len(chord.holes) > 1 for chord in chords):
            held = GLIDING_HELD if gliding and not young else HELD
            best = max(
                chords, key=lambda one: self._evidence(one) * (held if one.entry == tab else 1.0)
            )
        if not young and best.mixture.unexplained > SPLIT * best.mixture.energies[0]:
            best = self._grow(best.mixture, best.entry, grid, best.holes)
        if len(best.holes) > 1:
            return _told(best, hz)
        if end is not None:
            split = self._split(alone, hz, (entry, *same), end, len(frame))
            if split is not None:
                return split
        return ReedEstimate(hz, entry, None, (), ()) if same else _told(chords[0], hz)

    def _split(
        self, alone: ReedMixture, hz: float, entries: tuple[Tab, ...], end: int, length: int
    ) -> ReedEstimate | None:
        """The main reed with another an octave above, if there is one and it is heard."""
        pairs = [(entry, hole) for entry in entries for hole in self._octaves(entry, 2.0)]
        if not pairs:
            return None
        middle, span = (end - 0.5 * length) / self._rate, length / self._rate
        octave = self._octave.observe(middle, span, alone.hz[0], alone.partials)
        if octave is None or octave.level_db < SPLITS_DB:
            return None
        entry, hole = pairs[0]
        return ReedEstimate(hz, entry, entry.breath, ((hole, octave.level_db),), (), octave.hz)

    def _octaves(self, entry: Tab, ratio: float) -> set[int]:
        """The holes whose reeds are tuned to a multiple of a natural entry's pitch."""
        known = self._octaves_of.get((entry, ratio))
        if known is None:
            naturals = self._naturals[entry.breath]
            wanted = ratio * naturals[entry.hole]
            known = self._octaves_of[entry, ratio] = {
                hole
                for hole, hz in naturals.items()
                if entry.is_natural and abs(cents(hz, wanted)) < OFF_THEORY_CENTS
            }
        return known

    def _may_be(self, hz: float, young: bool) -> list[Tab]:
        """The reeds that a pitch may belong to although an entry is nearer, if others sound too:
        some are off theory, and a young one is still below its pitch."""
        lowest = hz * 2.0 ** (-OFF_THEORY_CENTS / 1200.0)
        highest = hz * 2.0 ** ((YOUNG_CENTS if young else OFF_THEORY_CENTS) / 1200.0)
        return [
            Tab(hole, breath)
            for breath, naturals in self._naturals.items()
            for hole, natural in naturals.items()
            if lowest < natural < highest
        ]

    def _grow(
        self, mixture: ReedMixture, entry: Tab, grid: Floats, known: tuple[int, ...] = ()
    ) -> _Chord:
        """The reeds that sound around the first one, found outward from it; where some are known,
        those that the tongue may leave open further away."""
        naturals = self._naturals[entry.breath]
        holes = list(known) or [entry.hole]
        # An octave above shares all partials, and is left to its beats; an octave below does not.
        below = self._octaves(entry, 0.5)
        edge = {entry.hole - 1, entry.hole + 1} & set(naturals) | below
        if known:
            near = range(entry.hole - TONGUE_HOLES, entry.hole + TONGUE_HOLES + 1)
            edge = set(near) & set(naturals) - edge - set(holes) - self._octaves(entry, 2.0)
        soft: dict[int, float] = {}
        while edge and len(holes) < MOST_REEDS:
            around = np.array([naturals[hole] for hole in edge])[:, None] * grid
            found = zip(edge, mixture.search_each(around), strict=True)
            seen = {hole: one for hole, one in found if one is not None}
            soft = {hole: power_db(one[1] / mixture.energies[0]) for hole, one in seen.items()}
            if not seen:
                break
            hole = max(seen, key=lambda hole: seen[hole][1])
            hz, energy = seen[hole]
            if soft[hole] < SOUNDS_DB - ROUGH_DB or energy < SEEN * mixture.unexplained:
                break
            edge.discard(hole)
            more = mixture.beside(hz)
            if not (
                more.has_fundamental(-1)
                and more.explains(mixture)
                and more.energies[-1] * SEEN < energy
                and more.level_db(-1) > SOUNDS_DB
            ):
                continue
            mixture = more
            holes.append(hole)
            if mixture.level_db(-1) > GROWS_DB:
                edge |= {hole - 1, hole + 1} & set(naturals) - set(holes)
        return _Chord(entry, tuple(holes), mixture, tuple(soft.items()))

    def _evidence(self, chord: _Chord) -> float:
        """How much sound an entry explains beside the first reed, less where its reeds would lie
        apart: a whole harp may be tuned elsewhere and its reeds come up together."""
        naturals = self._naturals[chord.entry.breath]
        off = np.array(
            [
                cents(hz, naturals[hole])
                for hole, hz in zip(chord.holes, chord.mixture.hz, strict=True)
                if chord.entry.is_natural or hole != chord.entry.hole
            ]
        )
        if not len(off):
            return 0.0
        apart = float(np.sum((off - off.mean()) ** 2)) / (2.0 * APART_CENTS**2)
        return float(np.sum(chord.mixture.energies[1:])) * math.exp(-apart)


def _told(chord: _Chord, hz: float) -> ReedEstimate:
    """A chord beside its main reed: the first, or one that is clearly louder."""
    energies = chord.mixture.energies
    loudest = int(np.argmax(energies))
    main = loudest if energies[loudest] > LOUDER * energies[0] else 0
    levels = {
        hole: power_db(float(energy / energies[main]))
        for hole, energy in zip(chord.holes, energies, strict=True)
    }
    others = [(db, f0) for db, f0 in zip(levels.values(), chord.mixture.hz, strict=True)]
    del others[main]
    first = levels[chord.holes[0]]
    # What is left where a hole was looked for and not found is no level to go by.
    levels |= {h: first + db for h, db in chord.soft if h not in levels and first + db < SOUNDS_DB}
    del levels[chord.holes[main]]
    low = chord.mixture.hz[main] / 2.0

    def octave(f0: float) -> bool:
        return abs(cents(f0, low)) < 2.0 * OFF_THEORY_CENTS

    return ReedEstimate(
        chord.mixture.hz[main] if main else hz,
        Tab(chord.holes[main], chord.entry.breath) if main else chord.entry,
        chord.entry.breath,
        tuple(sorted((hole, db) for hole, db in levels.items() if db > FLOOR_DB)),
        tuple(f0 for db, f0 in sorted(others, reverse=True) if db > SOUNDS_DB and not octave(f0)),
        next((f0 for db, f0 in others if db > SOUNDS_DB and octave(f0)), None),
    )


def _grid(lowest: float) -> Floats:
    """Ratios to a reed's theory at which it is looked for."""
    return np.exp(np.arange(lowest, OFF_THEORY_CENTS + 0.1, GRID_CENTS) * math.log(2.0) / 1200.0)
