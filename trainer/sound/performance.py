"""How the built-in player plays a step: which reeds sound, when, and how far off.

A step sounds from its beat until 60 ms before the next, for at least half its length. A glide on
one hole moves its pitch; a glide over holes is a slide: the reeds on the way sound one after
another, each overlapping the next while it dies away.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from trainer.drill import Clock, Sound, Step
from trainer.drill.model import GLIDE_REST
from trainer.harp import Breath, Harp, Tab
from trainer.music import cents
from trainer.sound.block import Floats
from trainer.sound.errors import SoundError
from trainer.sound.reed import Curve, Reed, Voice
from trainer.sound.spec import Fault

LEVEL = 0.1
"""RMS of one hole re full scale; the holes of a chord share it as power."""
_GAP_S = 0.06
_WOBBLE_HZ = 4.5
_DETUNED_CENTS = (3.0, 8.0)
"""How far a leaking reed lies off theory, either way."""


@dataclass(slots=True)
class _Stretch:
    """A part of a step on the same holes: (sample, sound) along its way, and its ends."""

    start: float
    path: list[tuple[float, Sound]] = field(default_factory=list)
    stop: float = 0.0


def perform(
    harp: Harp, clock: Clock, played: Sequence[tuple[Step, Fault]], seed: int
) -> list[Voice]:
    """The voices of some steps, in the order in which they start.

    Args:
        harp: what they are played on.
        clock: where their beats fall.
        played: the steps that are played, in order, with what is wrong with each.
        seed: of what each reed has for its own.

    Raises:
        HarpError: the harp cannot play a step, or what is played instead.
        SoundError: a leak is asked from a hole that cannot leak.
    """
    onsets = [
        max(0, clock.sample(step.at) + round(fault.late_ms * clock.rate / 1000.0))
        for step, fault in played
    ]
    voices: list[Voice] = []
    for i, (step, fault) in enumerate(played):
        sounds = step.sounds if fault.instead is None else ((Tab.parse(fault.instead),),)
        length = clock.sample(step.end) - clock.sample(step.at)
        until = min([clock.sample(step.end), *onsets[i + 1 : i + 2]]) - round(_GAP_S * clock.rate)
        least = 0.5 if len(sounds) == 1 else 0.9
        stop = max(until, onsets[i] + round(least * length))
        off = _offset(fault, onsets[i], stop, clock.rate)
        for stretch in _stretches(sounds, onsets[i], stop, length):
            voices += _wanted(harp, stretch, off, clock.rate, seed)
            if fault.leak_db is not None:
                voices.append(_leak(harp, stretch, fault, step, clock.rate, seed))
    return sorted(voices, key=lambda voice: voice.start)


def _offset(fault: Fault, onset: int, stop: int, rate: int) -> Curve:
    """How far off its path a step is played."""
    # Whole periods of a cosine: its mean is 0, its slope is 0 and its deviation is as asked.
    periods = max(1, round(_WOBBLE_HZ * (stop - onset) / rate))
    glide = max(1.0, fault.scoop_ms * rate / 1000.0)

    def curve(n: Floats) -> Floats:
        part = np.clip((n - onset) / (stop - onset), 0.0, 1.0)
        arrived = np.clip((n - onset) / glide, 0.0, 1.0)
        return np.asarray(
            fault.cents
            + fault.drift_cents * (part - 0.5)
            + fault.wobble_cents * np.sqrt(2.0) * np.cos(2.0 * np.pi * periods * part)
            + fault.scoop_cents * 0.5 * (1.0 + np.cos(np.pi * arrived))
        )

    return curve


def _stretches(
    sounds: tuple[Sound, ...], onset: float, stop: float, length: float
) -> Iterator[_Stretch]:
    """A step's path of sounds, parted where it moves to other holes."""
    pace = length * (1.0 - 2.0 * GLIDE_REST) / max(1, len(sounds) - 1)
    at = onset + length * GLIDE_REST
    now = _Stretch(onset, [(at, sounds[0])])
    for before, sound in itertools.pairwise(sounds):
        if _holes(before) == _holes(sound):
            now.path.append((at + pace, sound))
        else:
            way = _way(before, sound)
            for j, reached in enumerate(way):
                now.stop = at + pace * (j + 0.5) / len(way)
                yield now
                now = _Stretch(now.stop, [(now.stop, reached)])
        at += pace
    now.stop = stop
    yield now


def _holes(sound: Sound) -> frozenset[int]:
    return frozenset(tab.hole for tab in sound)


def _way(before: Sound, sound: Sound) -> list[Sound]:
    """What a slide passes after `before`, up to `sound` itself: the natural reeds between."""
    a, b = before[0].hole, sound[0].hole
    if len(before) > 1 or len(sound) > 1:
        return [sound]
    between = range(a + 1, b) if a < b else range(a - 1, b, -1)
    return [*((Tab(hole, sound[0].breath),) for hole in between), sound]


def _wanted(harp: Harp, stretch: _Stretch, off: Curve, rate: int, seed: int) -> Iterator[Voice]:
    """A voice for each hole of a stretch."""
    times = np.array([at for at, _ in stretch.path])
    rms = LEVEL / np.sqrt(len(stretch.path[0][1]))
    for tab in stretch.path[0][1]:
        reached = [harp.hz(_on(tab.hole, sound)) for _, sound in stretch.path]
        moves = np.array([cents(hz, reached[0]) for hz in reached])

        def curve(n: Floats, moves: Floats = moves) -> Floats:
            return np.asarray(np.interp(n, times, moves) + off(n))

        highest = max(reached) * 2.0 ** (_widest(off, stretch) / 1200.0)
        reed = Reed.of(reached[0], rate, _own(seed, tab.hole, tab.breath), highest=highest)
        yield Voice(reed, round(stretch.start), round(stretch.stop), curve, rms, rate)


def _on(hole: int, sound: Sound) -> Tab:
    return next(tab for tab in sound if tab.hole == hole)


def _widest(off: Curve, stretch: _Stretch) -> float:
    """About the most cents that a stretch is played above its path."""
    return float(np.max(off(np.linspace(stretch.start, stretch.stop, 200))))


def _own(seed: int, hole: int, breath: Breath) -> np.random.Generator:
    """What draws the peculiarities of one reed: the same each time that it sounds."""
    return np.random.default_rng((seed, hole, breath is Breath.DRAW))


def _leak(harp: Harp, stretch: _Stretch, fault: Fault, step: Step, rate: int, seed: int) -> Voice:
    """The neighbour that sounds along with a stretch."""
    wanted = stretch.path[0][1]
    hole = _leaking_hole(wanted, fault.leak_hole)
    if not 1 <= hole <= 10 or hole in _holes(wanted):
        raise SoundError(
            f"the built-in player cannot leak hole {hole} while it plays {step.tab} in bar "
            f"{step.bar}; name another hole from 1 to 10"
        )
    breath = wanted[0].breath
    own = _own(seed, hole, breath)
    detuned = float(own.choice([-1.0, 1.0]) * own.uniform(*_DETUNED_CENTS))
    hz = harp.hz(Tab(hole, breath)) * 2.0 ** (detuned / 1200.0)
    rms = LEVEL / np.sqrt(len(wanted)) * 10.0 ** ((fault.leak_db or 0.0) / 20.0)
    reed = Reed.of(hz, rate, own, highest=hz)
    return Voice(reed, round(stretch.start), round(stretch.stop), np.zeros_like, rms, rate)


def _leaking_hole(wanted: Sound, asked: int | None) -> int:
    if asked is not None:
        return asked
    holes = _holes(wanted)
    return min(holes) - 1 if min(holes) > 1 else max(holes) + 1
