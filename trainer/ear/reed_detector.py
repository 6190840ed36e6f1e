"""Detect which reeds sound, and their levels relative to the main one.

A detector of a single pitch cannot detect a leaking neighbour: two reeds a fourth apart repeat at
a common sub-octave that nobody played. Here the main reed's partials are fitted and subtracted,
and the residual is searched near the partials of each neighbour: near them, as no reed is exactly
at its nominal pitch. A neighbour that is found is fitted jointly with the main reed, and the new
residual is searched again.

While the pitch moves, partials smear over each other. The known glide is undone first by
resampling the frame along the pitch track (time warping: Kepesi and Weruaga 2006, Speech
Communication 48(5)).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from trainer.core.types import Floats
from trainer.ear.octave_split import DEFAULT_OCTAVE, OctaveDetector, OctaveParameters
from trainer.ear.partial_fit import FrameSpectrum
from trainer.ear.reed_mixture import DEFAULT_MIXTURE, MixtureParameters, ReedMixture, power_db
from trainer.harp import Breath, Harp, Tab
from trainer.music import cents


@dataclass(frozen=True, slots=True)
class ReedParameters:
    """Constants of the reed detector.

    Chosen on `harmonica 1` of benchmarks/fonts.py unless a field says otherwise.
    """

    frame_s: float = 0.085
    """Length of a frame, seconds."""
    shortest_frame_s: float = 0.030
    """Minimum length of a frame, seconds."""
    young_frame_s: float = 0.050
    """Maximum length of a frame while the note is young, seconds."""
    off_nominal_cents: float = 56.0
    """Maximum distance of a reed from its nominal pitch, cents."""
    young_cents: float = 108.0
    """The same, below the nominal pitch, while the reed begins to sound. Recorded reeds: up to
    100."""
    grid_cents: float = 4.0
    """Step of the search for a reed, cents."""
    spread_cents: float = 30.0
    """Standard deviation of the reeds' offsets from nominal about their mean, cents."""
    hold: float = 1.5
    """Factor by which another entry must explain more than the held one to replace it, while the
    pitch is within `off_nominal_cents` of the held one. A reed that has risen to another entry's
    pitch since its onset is not held back."""
    hold_gliding: float = 10.0
    """The same during a glide."""
    sounding_db: float = -33.0
    """Level relative to the main reed from which another hole counts as sounding, dB."""
    rough_db: float = 6.0
    """Maximum difference between the level in the search and that of the fit, dB."""
    louder: float = 2.5
    """Ratio of energies from which another reed replaces the main one."""
    grow_db: float = -15.0
    """Level from which the far neighbour of a sounding hole is searched, too, dB."""
    floor_db: float = -50.0
    """Level under which no hole is reported, dB."""
    min_visible: float = 0.1
    """Minimum fraction of a reed's energy that the search must show; the rest may belong to
    another reed."""
    octave_split_db: float = -20.0
    """Level from which an octave above is reported, dB. A leak too soft to count may make partials
    beat."""
    tongue_holes: int = 4
    """Maximum distance between the holes of a split with the tongue between them, holes."""
    split_unexplained: float = 0.2
    """Energy that neighbours leave unexplained, over the main reed's, from which such a split is
    searched."""
    max_reeds: int = 5
    """Maximum number of reeds in a frame."""
    max_confirmed: int = 3
    """Maximum number of frames in a row whose reeds are confirmed and not searched."""
    misled_cents: float = 40.0
    """Distance of the main reed, as fitted in the spectrum, from the tracked pitch over which the
    pitch is taken to have been misled by other reeds, cents. Chosen on chords of an Ab harp, where
    it is 73, so that a reed alone, which is fitted within some cents, never reaches it."""
    confirmed_cents: float = 4.0
    """Maximum change of a reed's pitch between two frames with which it is confirmed, cents: a step
    of the search."""
    louder_db: float = 3.0
    """Rise of the residual at a hole from which it is searched again after it was found to be no
    reed, dB."""
    mixture: MixtureParameters = field(default=DEFAULT_MIXTURE)
    """Constants of the joint fit."""
    octave: OctaveParameters = field(default=DEFAULT_OCTAVE)
    """Constants of the octave detector."""


DEFAULT_REEDS = ReedParameters()


@dataclass(frozen=True, slots=True)
class ReedEstimate:
    """The reeds that sound in a frame.

    Attributes:
        hz: f0 of the main reed by the spectrum, Hz.
        tab: entry of the main reed.
        breath: direction; None if the sound does not show it.
        levels: (hole, dB relative to the main hole) of each hole that could be measured, by hole,
            without the main one.
        others: f0s in Hz of the other sounding reeds, loudest first.
        octave: f0 in Hz of a reed an octave above or below the main one. It is among the levels
            but not among the others, as the two share partials.
    """

    hz: float
    tab: Tab
    breath: Breath | None
    levels: tuple[tuple[int, float], ...]
    others: tuple[float, ...]
    octave: float | None = None


def unwarp(frame: Floats, track: Floats) -> Floats:
    """Undo a known glide: resample a frame so that its pitch is constant.

    Args:
        frame: samples, shape (n,).
        track: f0 at each sample, shape (n,), any unit.

    Returns:
        Samples, shape (n,), with the mean of the track as pitch, by cubic Lagrange interpolation.
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


class _Peak(NamedTuple):
    """What the residual shows near a reed's pitch: f0 in Hz, energy, and dB re the first reed."""

    hz: float
    energy: float
    db: float


@dataclass(frozen=True, slots=True)
class _Chord:
    """Explanation of a frame by reeds of one breath.

    Attributes:
        entry: entry of the first reed.
        holes: holes of the reeds, in the order of `mixture`.
        mixture: the fitted reeds.
        soft: dB relative to the first reed by hole, of holes that are too soft to count.
        rejected: the same of the residual at holes that were found to be no reed.
        edge: holes beside these that may begin to sound.
    """

    entry: Tab
    holes: tuple[int, ...]
    mixture: ReedMixture
    soft: dict[int, float]
    rejected: dict[int, float]
    edge: frozenset[int]


class _HarpReeds:
    """Nominal pitches of a harp's reeds; fixed for a stream.

    Attributes:
        naturals: Hz of each hole's natural note, by breath.
        lowest: lowest f0 in Hz that may be a reed.
    """

    def __init__(self, harp: Harp, p: ReedParameters) -> None:
        self._parameters = p
        self.naturals = {
            breath: {hole: harp.hz(Tab(hole, breath)) for hole in range(1, 11)} for breath in Breath
        }
        self.lowest = 0.94 * min(hz for side in self.naturals.values() for hz in side.values())
        self._octaves: dict[tuple[Tab, float], set[int]] = {}

    def octaves(self, entry: Tab, ratio: float) -> set[int]:
        """Holes whose reeds are tuned to a multiple of a natural entry's pitch."""
        known = self._octaves.get((entry, ratio))
        if known is None:
            naturals = self.naturals[entry.breath]
            wanted = ratio * naturals[entry.hole]
            known = self._octaves[entry, ratio] = {
                hole
                for hole, hz in naturals.items()
                if entry.is_natural and abs(cents(hz, wanted)) < self._parameters.off_nominal_cents
            }
        return known

    def candidates(self, hz: float, young: bool) -> list[Tab]:
        """Reeds that a pitch may belong to although an entry is nearer, if others sound too.

        Some are off their nominal pitch; a young one is still below it.
        """
        p = self._parameters
        above = p.young_cents if young else p.off_nominal_cents
        lowest = hz * 2.0 ** (-p.off_nominal_cents / 1200.0)
        highest = hz * 2.0 ** (above / 1200.0)
        return [
            Tab(hole, breath)
            for breath, naturals in self.naturals.items()
            for hole, natural in naturals.items()
            if lowest < natural < highest
        ]


class ReedDetector:
    """Detects the sounding reeds of one harp."""

    def __init__(self, harp: Harp, rate: float, parameters: ReedParameters = DEFAULT_REEDS) -> None:
        """Prepare for a harp and frames with `rate` samples per second."""
        p = parameters
        self._harp = harp
        self._rate = rate
        self._parameters = p
        self._reeds = _HarpReeds(harp, p)
        self._grid = _search_grid(-p.off_nominal_cents, p)
        self._young_grid = _search_grid(-p.young_cents, p)
        self._octave = OctaveDetector(p.octave)
        self._last: _Chord | None = None
        """The reeds in the last frame, if they may be confirmed in the next."""
        self._confirmed = 0
        """Frames in a row in which they were confirmed."""

    def restart(self) -> None:
        """Forget the history, for a new note."""
        self._octave.restart()
        self._last = None

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
        """Detect the reeds in a frame.

        Args:
            frame: samples, shape (n,), at least `shortest_frame_s` long, with its glide undone.
            guess: f0 of the main reed in Hz by the pitch tracker, if known.
            tab: entry held through a glide, if any; None takes the nearest one.
            young: whether the note has just begun. Its reeds may still be far below their pitch.
            gliding: whether the pitch moves. The held entry is then kept more firmly.
            end: first sample after the frame, at the frame's rate. Octave splits are detected only
                with it, and with a :meth:`restart` between notes.

        Returns:
            The reeds; None if no peak can be a reed.
        """
        p = self._parameters
        if young:
            frame = frame[-round(p.young_frame_s * self._rate) :]
        spectrum = FrameSpectrum(frame, self._rate)
        lowest = self._reeds.lowest
        hz = guess
        if (
            hz is None
            or hz < 0.9 * lowest
            or not spectrum.has_fundamental(hz, is_known=self._sounds_alone(hz))
        ):
            hz, tab = spectrum.lowest_strong_peak(lowest), None
        if hz is None:
            return None
        entry = tab or self._harp.nearest_entries(hz)[0]
        same = self._harp.same_pitch(entry)
        grid = self._young_grid if young else self._grid
        best = self._confirm(spectrum, hz, entry, grid)
        if best is not None:
            self._confirmed += 1
        else:
            alone = ReedMixture(spectrum, (hz,), parameters=p.mixture)
            if not young and not gliding and abs(cents(alone.hz[0], hz)) > p.misled_cents:
                hz, tab = alone.hz[0], None
                entry = self._harp.nearest_entries(hz)[0]
                same = self._harp.same_pitch(entry)
            entries = tuple(dict.fromkeys((entry, *same, *self._reeds.candidates(hz, young))))
            hold = p.hold_gliding if gliding and not young else p.hold
            if not gliding and tab and abs(cents(hz, self._harp.hz(tab))) > p.off_nominal_cents:
                hold = 1.0
            best = self._search(alone, entries, grid, hold if tab else 1.0, young=young)
            self._confirmed = 0
            # One reed whose entry is not known may have neighbours in either breath.
            known = len(best.holes) > 1 or len(entries) == 1
            self._last = best if known else None
        if len(best.holes) > 1:
            return self._estimate(best, hz)
        if end is not None:
            split = self._octave_split(best.mixture, hz, (entry, *same), end, len(frame))
            if split is not None:
                return split
        return ReedEstimate(hz, entry, None, (), ()) if same else self._estimate(best, hz)

    def _sounds_alone(self, hz: float) -> bool:
        """Whether one reed alone was found at a pitch in the last frame."""
        last = self._last
        if last is None or len(last.holes) > 1:
            return False
        return abs(cents(hz, last.mixture.hz[0])) < self._parameters.off_nominal_cents

    def _search(
        self,
        alone: ReedMixture,
        entries: Sequence[Tab],
        grid: Floats,
        hold: float,
        *,
        young: bool,
    ) -> _Chord:
        """Find the reeds beside a main one.

        Args:
            alone: the main reed.
            entries: entries that it may have.
            grid: ratios to nominal pitch that are searched.
            hold: factor for the evidence for the first entry.
            young: whether the note has just begun.
        """
        best, *others = [self._grow(alone, entry, grid) for entry in entries]
        evidence = hold * self._evidence(best) if others else 0.0
        for chord in others:
            if len(chord.holes) > 1 and self._evidence(chord) > evidence:
                best, evidence = chord, self._evidence(chord)
        if not young and self._may_be_split(best.mixture):
            split = self._grow(best.mixture, best.entry, grid, best.holes)
            best = split if len(split.holes) > len(best.holes) else best
        return best

    def _may_be_split(self, mixture: ReedMixture) -> bool:
        """Whether neighbours leave unexplained what reeds on both sides of the tongue would."""
        unexplained = self._parameters.split_unexplained * mixture.energies[0]
        return bool(mixture.unexplained > unexplained)

    def _confirm(
        self, spectrum: FrameSpectrum, hz: float, entry: Tab, grid: Floats
    ) -> _Chord | None:
        """The reeds of the last frame if they alone sound in this one; None if any may not.

        They are fitted jointly from where they were, which takes a fraction of the time.
        """
        p, last = self._parameters, self._last
        if last is None or last.entry != entry or self._confirmed >= p.max_confirmed:
            return None
        if not spectrum.resolves_as(last.mixture.spectrum):
            return None
        if abs(cents(hz, last.mixture.hz[0])) > p.confirmed_cents:
            return None
        mixture = last.mixture.again(spectrum, hz)
        for reed in range(1, len(last.holes)):
            moved = abs(cents(mixture.hz[reed], last.mixture.hz[reed]))
            if moved > p.confirmed_cents or not self._is_reed(mixture, reed):
                return None
        peaks = self._peaks(mixture, last.entry, last.edge, grid)
        for hole, peak in peaks.items():
            known_db = last.rejected.get(hole, -math.inf)
            if self._may_sound(peak, mixture) and peak.db > known_db + p.louder_db:
                return None
        if self._may_be_split(mixture):
            return None
        self._last = replace(
            last, mixture=mixture, soft={hole: peak.db for hole, peak in peaks.items()}
        )
        return self._last

    def _peaks(
        self, mixture: ReedMixture, entry: Tab, holes: Collection[int], grid: Floats
    ) -> dict[int, _Peak]:
        """What the residual shows of the reeds of some holes, in the breath of an entry."""
        if not holes:
            return {}
        naturals = self._reeds.naturals[entry.breath]
        around = np.array([naturals[hole] for hole in holes])[:, None] * grid
        return {
            hole: _Peak(*peak, power_db(peak[1] / mixture.energies[0]))
            for hole, peak in zip(holes, mixture.search_each(around), strict=True)
            if peak is not None
        }

    def _may_sound(self, peak: _Peak, mixture: ReedMixture) -> bool:
        """Whether a peak may be a reed that counts."""
        p = self._parameters
        return (
            peak.db >= p.sounding_db - p.rough_db
            and peak.energy >= p.min_visible * mixture.unexplained
        )

    def _is_reed(self, mixture: ReedMixture, reed: int) -> bool:
        """Whether a fitted reed has a fundamental and is loud enough to count."""
        sounds = mixture.level_db(reed) > self._parameters.sounding_db
        return sounds and mixture.has_fundamental(reed)

    def _octave_split(
        self, alone: ReedMixture, hz: float, entries: tuple[Tab, ...], end: int, length: int
    ) -> ReedEstimate | None:
        """The main reed with another an octave above; None if none is detected."""
        pairs = [(entry, hole) for entry in entries for hole in self._reeds.octaves(entry, 2.0)]
        if not pairs:
            return None
        middle, span = (end - 0.5 * length) / self._rate, length / self._rate
        octave = self._octave.observe(middle, span, alone.hz[0], alone.partials)
        if octave is None or octave.level_db < self._parameters.octave_split_db:
            return None
        entry, hole = pairs[0]
        return ReedEstimate(hz, entry, entry.breath, ((hole, octave.level_db),), (), octave.hz)

    def _grow(
        self,
        mixture: ReedMixture,
        entry: Tab,
        grid: Floats,
        known: tuple[int, ...] = (),
    ) -> _Chord:
        """Find reeds outward from the first one, one after another.

        Args:
            mixture: the reeds found so far.
            entry: entry of the first reed.
            grid: ratios to nominal pitch that are searched.
            known: holes of the reeds found so far; if given, holes further away are searched,
                which the tongue may leave open.
        """
        p, naturals = self._parameters, self._reeds.naturals[entry.breath]
        holes = list(known) or [entry.hole]
        # An octave above shares all partials and is left to the octave detector; an octave below
        # does not.
        below = self._reeds.octaves(entry, 0.5)
        edge = {entry.hole - 1, entry.hole + 1} & set(naturals) | below
        if known:
            near = range(entry.hole - p.tongue_holes, entry.hole + p.tongue_holes + 1)
            edge = set(near) & set(naturals) - edge - set(holes) - self._reeds.octaves(entry, 2.0)
        peaks: dict[int, _Peak] = {}
        rejected: dict[int, float] = {}
        while edge and len(holes) < p.max_reeds:
            peaks = self._peaks(mixture, entry, edge, grid)
            if not peaks:
                break
            hole, peak = max(peaks.items(), key=lambda item: item[1].energy)
            if not self._may_sound(peak, mixture):
                break
            edge.discard(hole)
            larger = mixture.with_reed(peak.hz)
            if not (
                self._is_reed(larger, -1)
                and larger.explains(mixture)
                and larger.energies[-1] * p.min_visible < peak.energy
            ):
                rejected[hole] = peak.db
                continue
            mixture = larger
            holes.append(hole)
            if mixture.level_db(-1) > p.grow_db:
                edge |= {hole - 1, hole + 1} & set(naturals) - set(holes)
        soft = {hole: peak.db for hole, peak in peaks.items()}
        return _Chord(entry, tuple(holes), mixture, soft, rejected, frozenset(edge | set(rejected)))

    def _evidence(self, chord: _Chord) -> float:
        """Energy that an entry explains beside the first reed, reduced if its reeds lie apart.

        Only differences between offsets count: a whole harp may be tuned higher or lower, and its
        reeds rise to their pitch together.
        """
        naturals = self._reeds.naturals[chord.entry.breath]
        offsets = np.array(
            [
                cents(hz, naturals[hole])
                for hole, hz in zip(chord.holes, chord.mixture.hz, strict=True)
                if chord.entry.is_natural or hole != chord.entry.hole
            ]
        )
        if not len(offsets):
            return 0.0
        squares = float(np.sum((offsets - offsets.mean()) ** 2))
        cost = squares / (2.0 * self._parameters.spread_cents**2)
        return float(np.sum(chord.mixture.energies[1:])) * math.exp(-cost)

    def _estimate(self, chord: _Chord, hz: float) -> ReedEstimate:
        """A chord relative to its main reed: the first, unless another is clearly louder."""
        p = self._parameters
        energies = chord.mixture.energies
        loudest = int(np.argmax(energies))
        main = loudest if energies[loudest] > p.louder * energies[0] else 0
        levels = {
            hole: power_db(float(energy / energies[main]))
            for hole, energy in zip(chord.holes, energies, strict=True)
        }
        others = [(db, f0) for db, f0 in zip(levels.values(), chord.mixture.hz, strict=True)]
        del others[main]
        first = levels[chord.holes[0]]
        # The residual at a hole that was searched in vain is no measurement of a sounding level.
        levels |= {
            hole: first + db
            for hole, db in chord.soft.items()
            if hole not in levels and first + db < p.sounding_db
        }
        del levels[chord.holes[main]]
        low = chord.mixture.hz[main] / 2.0

        def is_octave_below(f0: float) -> bool:
            return abs(cents(f0, low)) < 2.0 * p.off_nominal_cents

        return ReedEstimate(
            chord.mixture.hz[main] if main else hz,
            Tab(chord.holes[main], chord.entry.breath) if main else chord.entry,
            chord.entry.breath,
            tuple(sorted((hole, db) for hole, db in levels.items() if db > p.floor_db)),
            tuple(
                f0
                for db, f0 in sorted(others, reverse=True)
                if db > p.sounding_db and not is_octave_below(f0)
            ),
            next((f0 for db, f0 in others if db > p.sounding_db and is_octave_below(f0)), None),
        )


def _search_grid(lowest: float, p: ReedParameters) -> Floats:
    """Ratios to a reed's nominal pitch at which it is searched, from `lowest` cents on."""
    steps = np.arange(lowest, p.off_nominal_cents + 0.1, p.grid_cents)
    return np.exp(steps * math.log(2.0) / 1200.0)
