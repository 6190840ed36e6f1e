"""Made-up performances of drills without a click, with what was played for what.

Three families share nothing but their data types. The constants of
:mod:`trainer.marking.alignment`, `tempo_fit` and `free_performance` were chosen on *walks* and
*sections*; figures are reported on *phrases*, whose tempo, errors and drills are of another kind.

- *walks*: the tempo is a random walk from note to note about an even drift and a slow sway;
  onsets scatter normally; stops, returns, skips, false starts, wrong, missing and extra notes fall
  anywhere, each evenly distributed. Drills: every second one of the shelf.
- *phrases*: the tempo arches over each phrase of two or four bars and ends in a ritardando; onsets
  scatter with heavy tails (Laplace), the more the longer the note; the player hesitates before
  what is hard (bends, overblows, leaps), stutters, goes back to the beginning of a bar, repeats
  and skips whole bars, breaks off once or twice and plays some drills twice; errors come in
  bursts; before the drill, snippets of scales and of the drill itself are played. Drills: made-up
  tunes (:mod:`benchmarks.tunes`), and the other drills of the shelf.
- *sections*: the tempo changes at once from one section of some bars to the next, and the player
  breathes at the ends of phrases; the intervals of the player's clock vary, and each note comes a
  little off it (two independent errors: Wing and Kristofferson 1973, Perception & Psychophysics
  14; from memory); the player starts over where a phrase began, or one note back, leaves out a
  phrase, plays the wrong breath or octave, misses a bend, and crushes short notes in. Drills:
  made-up tunes, and every third drill of the shelf.

All choices are made by hand; no recording of a player was used.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache
from itertools import pairwise

import numpy as np

from benchmarks.tunes import make_tune
from trainer.core.types import Floats
from trainer.drill import BeatClock, Drill, Goal, Step, read_shelf
from trainer.ear import HeardNote
from trainer.ear.motion import Motion
from trainer.harp import Harp, Tab

RATE = 48_000
Draw = np.random.Generator
IN_TIME_BEATS, LONGEST_BEAT_S = 0.2 / 3.0, 0.75
"""Lateness in beats that earns 85 points (:mod:`trainer.marking.criteria`), and the longest beat
in seconds that counts so. Notes that are later than half of that are neither expected to be marked
right nor not."""


@dataclass(frozen=True, slots=True)
class Played:
    """A note that was played.

    Attributes:
        start, end: in seconds.
        step: index of the step that it was played for; None for a note that belongs to none.
        tab: what was played.
        is_right: whether it is the step's note.
        attempt: number of the try, from 0; -1 outside of any.
        late_s: how late it is by the player's own beat, in seconds; negative is early.
    """

    start: float
    end: float
    step: int | None
    tab: Tab
    is_right: bool
    attempt: int
    late_s: float = 0.0

    def is_in_time(self, beat_s: float) -> bool:
        """Whether it is so well in time that it must earn 85 points, and more, for time."""
        return abs(self.late_s) <= 0.5 * IN_TIME_BEATS * min(beat_s, LONGEST_BEAT_S)


@dataclass(frozen=True)
class FreeTake:
    """A performance.

    Attributes:
        name: family and seed.
        drill, harp: what was played on what.
        notes: the notes, in order.
        whole: numbers of the tries that are whole.
        troubles: what happened in it.
        omitted: (try, step) of each note that was left out by mistake.
    """

    name: str
    drill: Drill
    harp: Harp
    notes: tuple[Played, ...]
    whole: tuple[int, ...]
    troubles: frozenset[str]
    omitted: frozenset[tuple[int, int]]

    def right_steps(self, attempt: int) -> set[int]:
        """Steps that a try holds, and holds right and in time each time that they were played.

        Without those that cannot be distinguished from others: see :meth:`_ambiguous`.
        """
        beat_s = 60.0 / self.drill.tempo
        plays = {step: False for number, step in self.omitted if number == attempt}
        for note in self.notes:
            if note.attempt == attempt and note.step is not None:
                is_right = note.is_right and note.is_in_time(beat_s)
                plays[note.step] = plays.get(note.step, True) and is_right
        return {step for step, is_right in plays.items() if is_right} - self._ambiguous(attempt)

    def _ambiguous(self, attempt: int) -> set[int]:
        """Steps that may be others that sound the same, where the player skipped or went back.

        Of a bar that is written twice and played once, either may be the one that was left out.
        The note before a return may be the first note after it, if those sound the same.
        """
        steps = self.drill.steps
        played = [n.step for n in self.notes if n.attempt == attempt and n.step is not None]
        ambiguous: set[int] = set()
        for before, after in pairwise(played):
            left, to = before, after - 1
            while min(left, to) >= 0 and left != to and _same_sound(steps[left], steps[to]):
                ambiguous |= {left, to} if left < to else {to}
                left, to = left - 1, to - 1
        return ambiguous

    def span(self, attempt: int) -> tuple[float, float]:
        """First and last second of a try."""
        own = [note for note in self.notes if note.attempt == attempt]
        return own[0].start, own[-1].end


@dataclass
class _Script:
    """The steps of a performance in order, before they have times.

    Attributes:
        items: (step, seconds of a stop before it, number of the try). A step that does not follow
            the one before comes where the next one would.
        troubles: what happens.
        whole: numbers of the whole tries.
        omitted: (try, step) of each note that is left out by mistake.
    """

    items: list[tuple[int, float, int]] = field(default_factory=list)
    troubles: set[str] = field(default_factory=set)
    whole: list[int] = field(default_factory=list)
    omitted: set[tuple[int, int]] = field(default_factory=set)


def walk(seed: int) -> FreeTake:
    """A performance of the family *walks*."""
    draw = _draw("walk", seed)
    drills = _shelf()[::2]
    drill = drills[int(draw.integers(len(drills)))]
    count = len(drill.steps)
    script = _Script()
    if draw.random() < 0.25 and count > 8:
        stop = int(draw.integers(4, max(5, round(0.65 * count))))
        script.items += [(step, 0.0, 0) for step in range(stop)]
        script.troubles.add("false start")
    attempt = 1 if script.items else 0
    begin = len(script.items)
    path = list(range(count))
    if draw.random() < 0.3:
        left, back = int(draw.integers(4, count)), int(draw.integers(2, 9))
        to = max(2, left - back)
        if to < left and _is_plain_jump(drill, left, to):
            path = path[:left] + path[to:]
            script.troubles.add("back")
    if draw.random() < 0.2:
        left, over = int(draw.integers(2, count - 2)), int(draw.integers(1, 1 + count // 5))
        if left + over < count - 1 and _is_plain_jump(drill, left, left + over):
            path = [index for index in path if not left <= index < left + over]
            script.troubles.add("skip")
    script.items += [(step, 0.0, attempt) for step in path]
    script.whole.append(attempt)
    if begin:
        script.items[begin] = (path[0], float(draw.uniform(1.0, 4.0)), attempt)
    if draw.random() < 0.5:
        for _ in range(int(draw.integers(1, 4))):
            place = int(draw.integers(begin + 1, len(script.items)))
            index, _, number = script.items[place]
            script.items[place] = (index, float(draw.uniform(0.3, 3.0)), number)
        script.troubles.add("stop")
    drift = float(draw.uniform(-0.15, 0.15)) if draw.random() < 0.5 else 0.0
    base = float(np.exp(draw.uniform(np.log(0.65), np.log(1.55))))
    wander = np.cumsum(draw.normal(0.0, 0.006, len(script.items)))
    beats = np.array([float(drill.steps[index].start) for index, _, _ in script.items])
    turn = 2.0 * np.pi * (beats / draw.uniform(8.0, 24.0) + draw.random())
    wander += float(draw.uniform(0.0, 0.04)) * np.sin(turn)
    slopes = base * np.exp(wander) * (1.0 - drift * np.linspace(0.0, 1.0, len(script.items)))

    def jitter(step: Step) -> float:
        return float(draw.normal(0.0, 0.010))

    starts, late, gaps = _times(drill, script, slopes, jitter)
    notes = []
    for i, (index, _, number) in enumerate(script.items):
        step = drill.steps[index]
        at, length = starts[i], max(0.08, gaps[i] * float(draw.uniform(0.6, 0.95)))
        kind = draw.random()
        if kind < 0.02:
            script.omitted.add((number, index))
            continue
        tab = _neighbour(step, draw) if kind < 0.05 else step.last[0]
        notes.append(Played(at, at + length, index, tab, kind >= 0.05, number, late[i]))
        if draw.random() < 0.02 and gaps[i] > 0.5:
            notes[-1] = replace(notes[-1], end=at + 0.45 * gaps[i])
            begins = at + 0.55 * gaps[i]
            notes.append(Played(begins, begins + 0.15, None, _neighbour(step, draw), False, number))
    if draw.random() < 0.3:
        notes = _after(notes, _noodling(drill, draw, int(draw.integers(3, 12))), draw)
        script.troubles.add("noodling")
    return _take(f"walk {seed}", drill, notes, script)


def phrase(seed: int) -> FreeTake:
    """A performance of the family *phrases*."""
    draw = _draw("phrase", seed)
    others = _shelf()[1::2]
    drill = others[int(draw.integers(len(others)))] if draw.random() < 0.4 else _tune_drill(draw)
    bars = sorted({step.bar for step in drill.steps})
    script = _Script()
    attempt = 0
    for _ in range(int(draw.choice(3, p=(0.7, 0.22, 0.08)))):
        last_bar = bars[int(draw.integers(0, max(1, round(0.55 * len(bars)))))]
        steps = [step.index for step in drill.steps if step.bar <= last_bar]
        steps = steps[: max(3, len(steps) - int(draw.integers(0, 3)))]
        if len(steps) < 0.6 * len(drill.steps):
            _play(script, drill, steps, attempt, draw, begin=float(draw.gamma(2.0, 0.8)))
            script.troubles.add("false start")
            attempt += 1
    for _ in range(1 + (draw.random() < 0.15)):
        script.whole.append(attempt)
        path = _bar_path(drill, bars, script, draw)
        _play(script, drill, path, attempt, draw, begin=float(draw.gamma(2.0, 0.8)))
        attempt += 1
    if len(script.whole) > 1:
        script.troubles.add("two tries")
    base = float(np.exp(draw.normal(0.0, 0.18)))
    slopes = base * _arches(drill, script, draw)
    scale = float(draw.uniform(0.004, 0.009))

    def jitter(step: Step) -> float:
        wide = 1.0 + 0.4 * min(3.0, float(step.beats))
        return float(np.clip(draw.laplace(0.0, scale * wide), -0.035, 0.035))

    starts, late, gaps = _times(drill, script, slopes, jitter)
    notes: list[Played] = []
    burst = 0
    for i, (index, _, number) in enumerate(script.items):
        step = drill.steps[index]
        at = starts[i]
        if not burst and draw.random() < 0.015:
            burst = int(draw.integers(1, 4))
        is_wrong = burst > 0
        burst -= is_wrong
        if is_wrong and draw.random() < 0.3:
            script.omitted.add((number, index))
            continue
        tab = _neighbour(step, draw) if is_wrong else step.last[0]
        length = max(0.06, gaps[i] * float(draw.beta(8.0, 2.0)))
        notes.append(Played(at, at + length, index, tab, not is_wrong, number, late[i]))
    if draw.random() < 0.5:
        before = _snippets(drill, draw)
        notes = _after(notes, before, draw)
        script.troubles.add("noodling")
    if draw.random() < 0.3:
        last = notes[-1].end + float(draw.uniform(0.6, 2.0))
        notes += [
            replace(note, start=note.start + last, end=note.end + last)
            for note in _noodling(drill, draw, int(draw.integers(2, 6)))
        ]
        script.troubles.add("noodling")
    return _take(f"phrase {seed}", drill, notes, script)


def section(seed: int) -> FreeTake:
    """A performance of the family *sections*."""
    draw = _draw("section", seed)
    some = _shelf()[2::3]
    drill = some[int(draw.integers(len(some)))] if draw.random() < 0.5 else _tune_drill(draw)
    count = len(drill.steps)
    phrase_beats = drill.meter[0] * int(draw.choice((2, 4)))
    begins = [0] + [
        after.index
        for before, after in pairwise(drill.steps)
        if before.start // phrase_beats != after.start // phrase_beats
    ]
    script = _Script()
    attempt = 0
    while draw.random() < 0.2 and attempt < 2:
        last = int(draw.integers(3, max(4, count // 2)))
        rest = float(draw.uniform(0.4, 3.0))
        script.items += [(i, rest if i == 0 and attempt else 0.0, attempt) for i in range(last)]
        script.troubles.add("false start")
        attempt += 1
    begin = len(script.items)
    path = list(range(count))
    if draw.random() < 0.4:
        left = int(draw.integers(3, count))
        is_note = draw.random() < 0.3
        to = left - 1 if is_note else max(b for b in begins if b < left)
        if left - to <= 12 and left < count and _is_plain_jump(drill, left, to):
            path = path[:left] + path[to:]
            script.troubles.add("back")
    elif draw.random() < 0.2 and len(begins) > 3:
        which = int(draw.integers(1, len(begins) - 1))
        left, to = begins[which], begins[which + 1]
        if _is_plain_jump(drill, left, to):
            path = [i for i in path if not left <= i < to]
            script.troubles.add("skip")
    rest = float(draw.uniform(0.4, 3.0)) if begin else 0.0
    script.items += [(i, rest if n == 0 else 0.0, attempt) for n, i in enumerate(path)]
    script.whole.append(attempt)
    for n, (index, stop, number) in enumerate(script.items):
        if n and index in begins and not stop and draw.random() < 0.2:
            script.items[n] = (index, float(draw.uniform(0.16, 0.45)), number)
            script.troubles.add("breath")
        elif n and not stop and draw.random() < 0.008:
            script.items[n] = (index, float(draw.uniform(0.3, 4.0)), number)
            script.troubles.add("stop")
    base, section_bars = float(np.exp(draw.normal(0.0, 0.25))), int(draw.choice((2, 4, 8)))
    tempos = np.exp(draw.normal(0.0, 0.05, 1 + int(drill.steps[-1].bar) // section_bars))
    bars = np.array([max(0, drill.steps[index].bar - 1) for index, _, _ in script.items])
    slopes = base * tempos[bars // section_bars] * np.exp(draw.normal(0.0, 0.01, len(bars)))
    scale = float(draw.uniform(0.004, 0.011))

    def jitter(step: Step) -> float:
        return float(draw.normal(0.0, scale))

    starts, late, gaps = _times(drill, script, slopes, jitter)
    notes: list[Played] = []
    for i, (index, _, number) in enumerate(script.items):
        step, at = drill.steps[index], starts[i]
        tab, is_right = step.last[0], True
        kind = draw.random()
        if kind < 0.008:
            script.omitted.add((number, index))
            continue
        if kind < 0.035:
            tab, is_right = _other_tab(step, draw), False
        length = max(0.07, gaps[i] * float(draw.uniform(0.45, 0.97)))
        if notes and draw.random() < 0.02 and at - notes[-1].start > 0.3:
            crushed = _neighbour(step, draw)
            notes.append(Played(at - 0.07, at - 0.02, None, crushed, False, number))
        notes.append(Played(at, at + length, index, tab, is_right, number, late[i]))
    if draw.random() < 0.4:
        notes = _after(notes, _noodling(drill, draw, int(draw.integers(2, 15))), draw)
        script.troubles.add("noodling")
    return _take(f"section {seed}", drill, notes, script)


def _other_tab(step: Step, draw: Draw) -> Tab:
    """A wrong note: the other breath, three holes off, or the bend missed or made."""
    tab = step.last[0]
    others = [Tab(tab.hole, tab.breath.other)]
    others += [Tab(hole, tab.breath) for hole in (tab.hole - 3, tab.hole + 3) if 1 <= hole <= 10]
    if tab.bend:
        others += [Tab(tab.hole, tab.breath)] * 3
    return others[int(draw.integers(len(others)))]


def heard_notes(take: FreeTake, *, errors: bool = False) -> list[HeardNote]:
    """The notes of a performance as an ear gives them.

    Args:
        take: the performance.
        errors: whether the ear errs as in a reverberant room: it misses some notes, joins some that
            repeat a pitch, breaks some in two, moves onsets, and hears some that are none.
    """
    draw = _draw(f"ear {take.name}", 0)
    heard: list[HeardNote] = []
    for note in take.notes:
        start, end = note.start, note.end
        if errors:
            start += float(draw.normal(0.0, 0.006))
            kind = draw.random()
            last = heard[-1] if heard else None
            if last and last.tab == note.tab and start - last.end / RATE < 0.1 and kind < 0.1:
                heard[-1] = replace(last, end=round(end * RATE))
                continue
            if kind < 0.015:
                continue
            if kind < 0.05 and end - start > 0.2:
                middle = start + float(draw.uniform(0.3, 0.7)) * (end - start)
                heard.append(_heard(take.harp, note.tab, start, middle, draw))
                start = middle + 0.005
            elif kind > 0.97:
                ghost = Tab(int(draw.integers(1, 11)), note.tab.breath)
                heard.append(_heard(take.harp, ghost, end, end + 0.07, draw))
        heard.append(_heard(take.harp, note.tab, start, end, draw))
    return sorted(heard, key=lambda each: each.start)


def _heard(harp: Harp, tab: Tab, start: float, end: float, draw: Draw) -> HeardNote:
    cents = float(draw.normal(0.0, 5.0))
    hz = harp.hz(tab) * 2.0 ** (cents / 1200.0)
    first, last = round(start * RATE), max(round(start * RATE) + 1, round(end * RATE))
    return HeardNote(
        first, last, RATE, tab, hz, cents, harp.same_pitch(tab), (tab.hole,), None, None, -20.0,
        (), Motion(), None,
    )  # fmt: skip


def _draw(name: str, seed: int) -> Draw:
    return np.random.default_rng(zlib.crc32(f"{name} {seed}".encode()))


@cache
def _shelf() -> list[Drill]:
    """Drills of the shelf with a beat, without the trainer's calls, of eight steps or more."""
    return [
        drill
        for drill in sorted(read_shelf().drills, key=lambda drill: drill.name)
        if not drill.free and not any(step.call for step in drill.steps) and len(drill.steps) >= 8
    ]


def _tune_drill(draw: Draw) -> Drill:
    """A made-up tune as a drill."""
    key = str(draw.choice(("C", "A", "D", "G")))
    while True:
        tune = make_tune(key, int(draw.choice((1, 2, 3))), int(draw.integers(1_000_000)))
        if 12 <= len(tune.notes) <= 64:
            break
    steps = tuple(
        Step(i, ((tab,),), Fraction(start), Fraction(length), int(start // tune.beats) + 1)
        for i, (start, length, tab) in enumerate(tune.notes)
    )
    return Drill(
        "made-up", "A made-up tune", "", key, "richter", tune.tempo, (tune.beats, 4),
        Goal(tolerance=12.0), steps, steps[-1].end, swing=2.0 if tune.swung else 1.0,
    )  # fmt: skip


def _bar_path(drill: Drill, bars: Sequence[int], script: _Script, draw: Draw) -> list[int]:
    """Steps of a whole try, with bars repeated, skipped or gone back to."""
    order: list[tuple[int, int]] = [(step.index, step.bar) for step in drill.steps]
    path = [index for index, _ in order]
    if draw.random() < 0.18 and len(bars) > 4:
        bar = int(draw.choice(bars[1:-1]))
        own = [index for index, place in order if place == bar]
        if _is_plain_jump(drill, own[0], own[-1] + 1):
            path = [index for index in path if index not in own]
            script.troubles.add("skip")
    if draw.random() < 0.35:
        bar = int(draw.choice(bars[1:]))
        own = [index for index in path if drill.steps[index].bar == bar]
        if own:
            stop = own[0] + int(draw.integers(1, len(own) + 1))
            stop = min(stop, own[-1] + 1)
            if stop < len(drill.steps) and _is_plain_jump(drill, stop, own[0]):
                cut = path.index(own[-1]) + 1 if stop > own[-1] else path.index(stop)
                path = path[:cut] + path[path.index(own[0]) :]
                script.troubles.add("back")
    return path


def _play(
    script: _Script, drill: Drill, path: Sequence[int], attempt: int, draw: Draw, *, begin: float
) -> None:
    """Add a try, with hesitations before what is hard and with stutters."""
    before: int | None = None
    for place, index in enumerate(path):
        stop = begin + 0.6 if place == 0 and script.items else 0.0
        if place:
            step, last = drill.steps[index], drill.steps[path[place - 1]]
            leap = abs(step.first[0].hole - last.first[0].hole) >= 3
            hard = bool(step.first[0].bend or step.first[0].over) or leap
            if draw.random() < (0.05 if hard else 0.006):
                stop = 0.3 + float(draw.exponential(0.6))
                script.troubles.add("stop")
            if before is not None and index != before + 1 and draw.random() < 0.5:
                stop = max(stop, float(draw.exponential(0.5)))
        script.items.append((index, stop, attempt))
        if draw.random() < 0.008:
            script.items.append((index, 0.0, attempt))
            script.troubles.add("stutter")
        before = index


def _arches(drill: Drill, script: _Script, draw: Draw) -> Floats:
    """Played over written time of each item: slower where phrases begin and end, a ritardando."""
    beats = drill.meter[0] * int(draw.choice((2, 4)))
    depth = float(draw.uniform(0.0, 0.10))
    ritardando = float(draw.uniform(0.0, 0.25))
    end = float(drill.steps[-1].end)
    slopes = []
    for index, _, _ in script.items:
        at = float(drill.steps[index].start)
        part = (at % beats) / beats
        late = max(0.0, 1.0 - (end - at) / drill.meter[0])
        slopes.append(1.0 + depth * (2.0 * part - 1.0) ** 2 + ritardando * late**2)
    return np.array(slopes)


def _times(
    drill: Drill,
    script: _Script,
    slopes: Floats,
    jitter: Callable[[Step], float],
) -> tuple[list[float], list[float], list[float]]:
    """Onset of each item in seconds, its lateness, and its length."""
    clock = BeatClock(0, drill.tempo, RATE, drill.swing)
    now, starts, late, gaps = 1.0, [], [], []
    items = script.items
    for i, (index, stop, _) in enumerate(items):
        step = drill.steps[index]
        now += stop
        late.append(jitter(step))
        starts.append(now + late[-1])
        following = items[i + 1][0] if i + 1 < len(items) else None
        until = drill.steps[following].start if following == index + 1 else step.end
        length = (clock.sample(until) - clock.sample(step.start)) / RATE * float(slopes[i])
        own = (clock.sample(step.end) - clock.sample(step.start)) / RATE * float(slopes[i])
        gaps.append(own)
        now += length
    return starts, late, gaps


def _same_sound(step: Step, other: Step) -> bool:
    """Whether two steps sound the same."""
    return (step.sounds, step.beats) == (other.sounds, other.beats)


def _is_plain_jump(drill: Drill, at: int, to: int) -> bool:
    """Whether the notes after a jump show that there was one."""

    def ahead(place: int) -> list[object]:
        return [(step.sounds, step.beats) for step in drill.steps[place : place + 3]]

    return ahead(at) != ahead(to)


def _neighbour(step: Step, draw: Draw) -> Tab:
    """A wrong note: another hole, or the other breath."""
    tab = step.last[0]
    holes = [hole for hole in (tab.hole - 1, tab.hole + 1) if 1 <= hole <= 10]
    return Tab(int(draw.choice(holes)), tab.breath)


def _noodling(drill: Drill, draw: Draw, count: int) -> list[Played]:
    """Notes of no meaning, from second 0."""
    harp = Harp.of(drill.key, drill.tuning)
    natural = [tab for tab in harp.entries if tab.is_natural]
    notes, at = [], 0.0
    for _ in range(count):
        length = float(draw.uniform(0.1, 0.6))
        tab = natural[int(draw.integers(len(natural)))]
        notes.append(Played(at, at + 0.85 * length, None, tab, False, -1))
        at += length
    return notes


def _snippets(drill: Drill, draw: Draw) -> list[Played]:
    """Scales and a snippet of the drill, as a player warms up, from second 0."""
    notes, at = [], 0.0
    length = float(draw.uniform(0.15, 0.4))
    first = int(draw.integers(2, 6))
    for hole in range(first, first + int(draw.integers(2, 5))):
        for sign in ("", "-"):
            notes.append(Played(at, at + 0.8 * length, None, Tab.parse(f"{sign}{hole}"), False, -1))
            at += length
    if draw.random() < 0.5:
        begin = int(draw.integers(1, len(drill.steps) - 4))
        for step in drill.steps[begin : begin + int(draw.integers(2, 5))]:
            length = float(draw.uniform(0.2, 0.5))
            notes.append(Played(at, at + 0.8 * length, None, step.last[0], False, -1))
            at += length
    return notes


def _after(notes: Sequence[Played], before: Sequence[Played], draw: Draw) -> list[Played]:
    """Notes with others before them."""
    shift = before[-1].end + float(draw.uniform(0.3, 2.0))
    moved = [replace(n, start=n.start + shift, end=n.end + shift) for n in notes]
    lead = [replace(n, start=n.start + 1.0, end=n.end + 1.0) for n in before]
    return [*lead, *moved]


def _take(name: str, drill: Drill, notes: Sequence[Played], script: _Script) -> FreeTake:
    """The performance, with each note ending before the next."""
    ordered = sorted(notes, key=lambda note: note.start)
    cut = [
        replace(note, end=max(note.start + 0.05, min(note.end, after.start - 0.03)))
        for note, after in pairwise(ordered)
    ]
    harp = Harp.of(drill.key, drill.tuning)
    return FreeTake(
        name,
        drill,
        harp,
        (*cut, ordered[-1]),
        tuple(script.whole),
        frozenset(script.troubles),
        frozenset(script.omitted),
    )


FAMILIES: dict[str, Callable[[int], FreeTake]] = {
    "walks": walk,
    "phrases": phrase,
    "sections": section,
}


def performances(family: str, seeds: range) -> Iterator[FreeTake]:
    """Yield the performances of a family."""
    return (FAMILIES[family](seed) for seed in seeds)
