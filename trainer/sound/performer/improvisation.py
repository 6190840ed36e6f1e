"""The built-in player's solos: phrases drawn at random that do what a drill asks for, or miss it.

A phrase fills the bars that it may, less the rest after it. Each strong beat begins a figure of a
few rhythms; its first note belongs to the chord, the others move about the scale by steps and small
leaps. Draws without enough range or with a phrase that resembles an earlier one are drawn again. A
fault touches a fraction of the notes or phrases, and nothing else.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from trainer.drill import SOLO_CRITERIA, Drill, Solo, Step, entries_of
from trainer.harp import Harp, Tab
from trainer.sound.errors import SoundError
from trainer.sound.performer.fault import Fault


@dataclass(frozen=True, slots=True)
class ImprovisationParameters:
    """Constants of improvised phrases. Chosen by hand."""

    tries: int = 200
    """Draws of a solo before the last one is taken."""
    extra_range: int = 3
    """Half steps by which the notes to draw from exceed the range that is asked for."""
    moves: tuple[int, ...] = (-3, -2, -1, 1, 2, 3)
    """Moves from note to note in degrees of the scale."""
    move_weights: tuple[float, ...] = (0.12, 0.18, 0.2, 0.2, 0.18, 0.12)
    """Their relative frequencies."""
    max_run: int = 3
    """Most notes in a row that go on in one direction."""
    similar: float = 0.5
    """Fraction of equal notes at equal places from which a phrase is drawn again."""
    off_cents: float = 40.0
    """Deviation in cents of a note out of tune, at least."""
    off_tolerances: float = 2.7
    """The same in tolerances, if that is more."""
    leak_db: float = -8.0
    """Level of a leak in dB relative to the wanted hole."""


PARAMETERS = ImprovisationParameters()
_RHYTHMS: Mapping[int, tuple[tuple[int, ...], ...]] = {
    1: ((1, 1), (2,), (1, 1)),
    2: ((1, 1, 1, 1), (2, 1, 1), (3, 1), (1, 1, 2), (2, 2), (1, 2, 1)),
    3: ((1, 1, 1, 1, 1, 1), (2, 1, 3), (3, 2, 1), (3, 3), (2, 1, 2, 1)),
    4: ((2, 2, 4), (4, 2, 2), (2, 1, 1, 4), (6, 2), (2, 2, 2, 2)),
}
"""Lengths of the notes of two beats in parts of a beat, by the parts of a beat."""


@dataclass(frozen=True, slots=True)
class _Note:
    """A note of a phrase: its place, its length, and which note of the scale it is."""

    start: Fraction
    beats: Fraction
    place: int
    is_strong: bool


def improvise(
    drill: Drill, solo: Solo, harp: Harp, seed: int, faults: Mapping[str, float] | None = None
) -> list[tuple[Step, Fault]]:
    """Return what the built-in player plays in a solo, as steps with their faults.

    Args:
        drill: the drill, with a brief and a position.
        solo: the passage.
        harp: what it is played on.
        seed: the same seed gives the same notes.
        faults: fraction of notes or phrases, 0 to 1, that miss a criterion, by its name.

    Raises:
        SoundError: a criterion or a size is unknown, or the harp has too few notes of the scale.
    """
    sizes = dict(faults or {})
    check_solo_faults(sizes)
    rng = np.random.default_rng((seed, int(solo.start * 16)))
    entries = _comfortable_entries(drill, harp)
    phrases: list[list[_Note]] = []
    for _ in range(PARAMETERS.tries):
        phrases = _draw(drill, solo, harp, entries, rng)
        if _is_good(phrases, entries, drill, harp):
            break
    phrases = _with_phrase_faults(phrases, drill, solo, entries, sizes, rng)
    notes = [note for phrase in phrases for note in phrase]
    return _as_steps(notes, drill, solo, harp, entries, sizes, rng)


def check_solo_faults(sizes: Mapping[str, float]) -> None:
    """Check that faults in solos can be played.

    Raises:
        SoundError: a criterion or a size is unknown.
    """
    for name, size in sizes.items():
        if name not in SOLO_CRITERIA or not 0.0 <= size <= 1.0:
            raise SoundError(
                f"'{name}={size:g}' is no fault in a solo; write a fraction from 0 to 1 after one "
                f"of {', '.join(SOLO_CRITERIA)}, as in solo:scale=0.5"
            )


def _comfortable_entries(drill: Drill, harp: Harp) -> list[Tab]:
    """Return one entry for each note of the scale, in a range that is wide enough and easy."""
    brief = drill.brief
    assert brief is not None
    by_note: dict[int, Tab] = {}
    for tab in brief.entries(harp, drill.position or 1):
        by_note.setdefault(harp.midi(tab), tab)
    notes = sorted(by_note)
    wide = brief.range_half_steps + PARAMETERS.extra_range
    windows = [
        [note for note in notes if low <= note <= low + wide]
        for low in notes
        if low + brief.range_half_steps <= notes[-1]
    ]
    windows = [each for each in windows if each[-1] - each[0] >= brief.range_half_steps]
    if not windows:
        raise SoundError(f"a {harp.name} harp has too few notes of the {brief.scale} scale here")

    def effort(window: Sequence[int]) -> float:
        tabs = [by_note[note] for note in window]
        effort = sum(tab.bend + 0.3 * abs(tab.hole - 4) for tab in tabs) / len(tabs)
        return effort - 0.2 * len(tabs)

    return [by_note[note] for note in min(windows, key=effort)]


def _draw(
    drill: Drill, solo: Solo, harp: Harp, entries: Sequence[Tab], rng: np.random.Generator
) -> list[list[_Note]]:
    brief, meter = drill.brief, drill.meter[0]
    assert brief is not None
    slot = min(Fraction(brief.phrase_bars).limit_denominator(8) * meter, solo.beats)
    rest = Fraction(brief.rest_beats).limit_denominator(8)
    phrases = []
    at = solo.start
    place = int(rng.integers(len(entries)))
    while at < solo.end:
        end = min(at + slot, solo.end) - rest
        if end - at >= 1:
            phrase = _phrase(drill, harp, entries, at, end, place, rng)
            place = phrase[-1].place
            phrases.append(phrase)
        at += slot
    return phrases


def _phrase(
    drill: Drill,
    harp: Harp,
    entries: Sequence[Tab],
    start: Fraction,
    end: Fraction,
    place: int,
    rng: np.random.Generator,
) -> list[_Note]:
    brief = drill.brief
    assert brief is not None
    compound = drill.meter[1] >= 8 and drill.meter[0] % 3 == 0
    figure = Fraction(3 if compound else 2 if drill.meter[0] != 3 else 3)
    rhythms = _RHYTHMS.get(brief.division, _RHYTHMS[2])
    parts = brief.division if brief.division in _RHYTHMS else 2
    notes: list[_Note] = []
    run = 0
    at = start
    while at < end:
        lengths = [Fraction(each, parts) for each in rhythms[int(rng.integers(len(rhythms)))]]
        lengths += [figure - 2] if figure > 2 else []
        begin = at
        for i, length in enumerate(lengths):
            beats = min(length, end - at)
            if beats <= 0:
                break
            before = place
            if i == 0:
                place = _nearest_chord_note(drill, harp, entries, at, place, rng)
            else:
                place = _moved(place, len(entries), run, rng)
            step = int(np.sign(place - before))
            run = run + step if step * run > 0 else step
            notes.append(_Note(at, beats, place, i == 0))
            at += length
        at = begin + figure
    return notes


def _moved(place: int, count: int, run: int, rng: np.random.Generator) -> int:
    """Return another note of the scale; a direction that has gone on for long turns."""
    weights = np.array(PARAMETERS.move_weights)
    while True:
        move = int(rng.choice(PARAMETERS.moves, p=weights / weights.sum()))
        if abs(run) >= PARAMETERS.max_run - 1 and move * run > 0:
            move = -move
        if 0 <= place + move < count:
            return place + move
        if 0 <= place - move < count:
            return place - move


def _nearest_chord_note(
    drill: Drill,
    harp: Harp,
    entries: Sequence[Tab],
    at: Fraction,
    place: int,
    rng: np.random.Generator,
) -> int:
    """Return a note of the chord near a place, but another one; any note without a ground."""
    chosen = _chord_places(drill, harp, entries, at)
    others = [each for each in chosen if each != place]
    if not others:
        return _moved(place, len(entries), 0, rng)
    others.sort(key=lambda each: abs(each - place))
    return others[int(rng.integers(min(3, len(others))))]


def _chord_places(drill: Drill, harp: Harp, entries: Sequence[Tab], at: Fraction) -> list[int]:
    """Return the places of the notes of the chord on a beat."""
    for each in drill.chords:
        if each.start <= at < each.end:
            of_chord = entries_of(each.chord.half_steps, harp, drill.position or 1)
            return [i for i, tab in enumerate(entries) if tab in of_chord]
    return []


def _is_good(
    phrases: Sequence[Sequence[_Note]], entries: Sequence[Tab], drill: Drill, harp: Harp
) -> bool:
    """Whether a draw has range and notes enough, and no phrase like an earlier one."""
    brief = drill.brief
    assert brief is not None
    places = [note.place for phrase in phrases for note in phrase]
    if not places:
        return True
    span = harp.midi(entries[max(places)]) - harp.midi(entries[min(places)])
    if span < brief.range_half_steps or len(set(places)) < min(4, len(places)):
        return False
    if max(places.count(each) for each in places) > 0.4 * len(places):
        return False
    shapes = [[(n.place, n.start - p[0].start) for n in p] for p in phrases]
    return not any(
        len(set(later) & set(earlier)) >= PARAMETERS.similar * len(later)
        for i, later in enumerate(shapes)
        for earlier in shapes[:i]
    )


def _with_phrase_faults(
    phrases: list[list[_Note]],
    drill: Drill,
    solo: Solo,
    entries: Sequence[Tab],
    sizes: Mapping[str, float],
    rng: np.random.Generator,
) -> list[list[_Note]]:
    """Return the phrases with faults of phrases, range and variety."""
    if size := sizes.get("variety", 0.0):
        first = phrases[0]
        for i in range(1, len(phrases)):
            if i <= math.ceil(size * (len(phrases) - 1)):
                shift = phrases[i][0].start - first[0].start
                end = phrases[i][-1].start + phrases[i][-1].beats
                copied = [replace(note, start=note.start + shift) for note in first]
                phrases[i] = [note for note in copied if note.start < end]
        if len(phrases) == 1:
            phrases[0] = _along_the_scale(first, len(entries))
    if size := sizes.get("phrases", 0.0):
        for i in range(math.ceil(size * len(phrases))):
            last = phrases[i][-1]
            stop = phrases[i + 1][0].start if i + 1 < len(phrases) else solo.end
            phrases[i] = [*phrases[i], *_filling(last, stop, len(entries), rng)]
    if size := sizes.get("range", 0.0):
        kept = max(1, round((1.0 - size) * len(entries)))
        low = (len(entries) - kept) // 2
        phrases = [
            [replace(note, place=low + note.place % kept) for note in phrase] for phrase in phrases
        ]
    return phrases


def _along_the_scale(phrase: Sequence[_Note], count: int) -> list[_Note]:
    """Return a phrase that runs up the scale and down again."""
    path = [*range(count), *range(count - 2, 0, -1)]
    return [replace(note, place=path[i % len(path)]) for i, note in enumerate(phrase)]


def _filling(last: _Note, stop: Fraction, count: int, rng: np.random.Generator) -> list[_Note]:
    """Return notes that fill a rest, one on each beat."""
    notes, place = [], last.place
    at = last.start + last.beats
    while at < stop:
        beats = min(Fraction(1), stop - at)
        place = _moved(place, count, 0, rng)
        notes.append(_Note(at, beats, place, False))
        at += beats
    return notes


def _as_steps(
    notes: Sequence[_Note],
    drill: Drill,
    solo: Solo,
    harp: Harp,
    entries: Sequence[Tab],
    sizes: Mapping[str, float],
    rng: np.random.Generator,
) -> list[tuple[Step, Fault]]:
    """Return notes as steps, with the faults of single notes."""
    brief, p = drill.brief, PARAMETERS
    assert brief is not None
    off = {
        name: _spread(len(notes), sizes.get(name, 0.0))
        for name in ("scale", "pitch", "time", "cleanness")
    }
    strong = [i for i, note in enumerate(notes) if note.is_strong]
    off_chord = {strong[i] for i in _spread(len(strong), sizes.get("harmony", 0.0))}
    part_ms = 1000.0 * drill.beat_s(solo.start) / brief.division
    cents = max(p.off_cents, p.off_tolerances * drill.goal.tolerance)
    index = sum(step.start < solo.start for step in drill.steps)
    steps = []
    for i, note in enumerate(notes):
        tab = entries[note.place]
        if i in off_chord:
            tab = _beside_the_chord(drill, harp, entries, note)
        if i in off["scale"]:
            tab = _foreign_entry(drill, harp, tab)
        fault = Fault(
            cents=(cents if tab.bend else -cents) if i in off["pitch"] else 0.0,
            late_ms=0.5 * part_ms if i in off["time"] else 0.0,
            leak_db=p.leak_db if i in off["cleanness"] else None,
        )
        bar = max(1, int(note.start // drill.meter[0]) + 1)
        steps.append((Step(index, ((tab,),), note.start, note.beats, bar), fault))
    return steps


def _spread(count: int, fraction: float) -> set[int]:
    """Return a fraction of some indices, spread evenly; a larger fraction contains a smaller."""
    order = sorted(range(count), key=lambda i: (i * 0.6180339887498949) % 1.0)
    return set(order[: round(fraction * count)])


def _beside_the_chord(drill: Drill, harp: Harp, entries: Sequence[Tab], note: _Note) -> Tab:
    """Return the nearest note of the scale that is not of the chord."""
    of_chord = set(_chord_places(drill, harp, entries, note.start))
    others = [i for i in range(len(entries)) if i not in of_chord] or [note.place]
    return entries[min(others, key=lambda i: abs(i - note.place))]


def _foreign_entry(drill: Drill, harp: Harp, tab: Tab) -> Tab:
    """Return the nearest note outside the scale, natural if there is one near."""
    brief = drill.brief
    assert brief is not None
    inside = set(brief.entries(harp, drill.position or 1))
    notes = {harp.midi(each) for each in inside}
    others = [each for each in harp.entries if not each.over and harp.midi(each) not in notes]
    return min(others, key=lambda each: abs(harp.midi(each) - harp.midi(tab)) + each.bend)
