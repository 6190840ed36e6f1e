"""The figures of a solo, from its notes; docs/dev/marking.md has the formulas.

Phrases end at rests: notes that are near in time group together (the proximity rule of Lerdahl and
Jackendoff 1983, A Generative Theory of Tonal Music, GPR 2a). The effective number of different
notes is the exponential of the Shannon entropy of their relative frequencies (Hill 1973, Ecology
54).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from trainer.drill import Drill, Solo
from trainer.harp import Harp
from trainer.marking.parameters import HABITS, SOLO
from trainer.marking.solo_mark import Phrase, SoloMeasured, SoloNote
from trainer.music import key_in_position


def measure_solo(
    solo: Solo,
    notes: Sequence[SoloNote],
    drill: Drill,
    harp: Harp,
    earlier: Sequence[Phrase] = (),
) -> SoloMeasured:
    """Return the figures of a solo.

    Args:
        solo: the passage.
        notes: what was played in it, in order.
        drill: the drill, with a brief and a position.
        harp: the harp it is played on.
        earlier: phrases of the solos before it in the pass.
    """
    brief = drill.brief
    assert brief is not None
    judged = [note for note in notes if not note.is_ornament]
    bars = float(solo.beats) / drill.meter[0]
    wanted = max(1, math.ceil(SOLO.wanted_notes_per_bar * bars))
    if not judged:
        return SoloMeasured(wanted_notes=wanted)
    position = drill.position or 1
    tonic = key_in_position(harp.key.tonic, position)
    scale = {(tonic + each) % 12 for each in brief.half_steps}
    foreign = Counter(str(note.tab) for note in judged if note.midi % 12 not in scale)
    struck = _on_strong_beats(solo, judged, drill, tonic)
    phrases = phrases_of(judged, drill)
    pitches = [note.midi for note in judged]
    tolerance = drill.goal.tolerance
    return SoloMeasured(
        notes=len(judged),
        wanted_notes=wanted,
        off_scale=sum(foreign.values()) / len(judged),
        foreign=foreign.most_common(1)[0][0] if foreign else "",
        strong_beats=len(struck),
        chord_notes=sum(struck) / len(struck) if struck else None,
        cents=sum(abs(note.cents) for note in judged) / len(judged),
        bends_off=sum(bool(note.tab.bend) and abs(note.cents) > tolerance for note in judged),
        late_ms=sum(abs(note.late_ms) for note in judged) / len(judged),
        leaks=sum((note.leak_db or -math.inf) > HABITS.leak_db for note in judged) / len(judged),
        phrases=tuple(phrase.end - phrase.start for phrase in phrases),
        phrased=sum(phrase.fit * len(phrase.notes) for phrase in phrases) / len(judged),
        range_half_steps=max(pitches) - min(pitches),
        effective_notes=_effective_number(pitches),
        repeated_phrases=_repeated_phrases(phrases, earlier, brief.division),
        repeated_notes=_repeated_notes(judged, brief.division),
        in_runs=_in_runs(pitches, {harp.midi(tab) for tab in brief.entries(harp, position)}),
    )


def strong_beats(solo: Solo, meter: tuple[int, int]) -> list[Fraction]:
    """Return the strong beats of a solo: the first of a bar, and those that divide it evenly.

    Bars of 4 beats have two, of 6, 9 and 12 eighths one every three, others one (common practice).
    """
    count, value = meter
    every = 2 if count == 4 else 3 if value >= 8 and count % 3 == 0 and count > 3 else count
    first = math.ceil(solo.start)
    beats = (Fraction(beat) for beat in range(first, math.ceil(solo.end)))
    return [beat for beat in beats if (beat % count) % every == 0]


def _on_strong_beats(solo: Solo, notes: Sequence[SoloNote], drill: Drill, tonic: int) -> list[bool]:
    """Return whether a note of the chord sounds, for each strong beat on which a note sounds."""
    on_chord = []
    for beat in strong_beats(solo, drill.meter):
        chords = [each.chord for each in drill.chords if each.start <= beat < each.end]
        at = float(beat)
        near = [n for n in notes if abs(n.beat - at) <= SOLO.anticipation_beats]
        held = [n for n in notes if n.beat < at < n.end_beat]
        near.sort(key=lambda note, at=at: abs(note.beat - at))  # type: ignore[misc]
        sounding = near[:1] or held[-1:]
        if chords and sounding:
            degree = (sounding[0].midi - tonic) % 12
            on_chord.append(degree in chords[0].half_steps)
    return on_chord


def phrases_of(notes: Sequence[SoloNote], drill: Drill) -> list[Phrase]:
    """Return the phrases of some notes: they end where a rest of the wanted length follows.

    A phrase and its rest fill the bars of a phrase at most. Beyond that its fit falls, to 0 where
    there is no time for the rest. A phrase that is too short, or has too few notes, has none.
    """
    brief, bar = drill.brief, drill.meter[0]
    assert brief is not None
    rest = brief.rest_beats - SOLO.slack_beats
    groups: list[list[SoloNote]] = []
    for note in notes:
        if groups and note.beat - max(n.end_beat for n in groups[-1]) < rest:
            groups[-1].append(note)
        else:
            groups.append([note])
    longest = brief.phrase_bars * bar - brief.rest_beats + SOLO.slack_beats
    phrases = []
    for group in groups:
        length = max(n.end_beat for n in group) - group[0].beat
        fit = min(1.0, max(0.0, 1.0 - (length - longest) / rest))
        is_phrase = length >= SOLO.min_phrase_bars * bar and len(group) >= SOLO.min_phrase_notes
        phrases.append(Phrase(tuple(group), fit if is_phrase else 0.0))
    return phrases


def _effective_number(pitches: Sequence[int]) -> float:
    counts = Counter(pitches)
    total = len(pitches)
    return math.exp(-sum(n / total * math.log(n / total) for n in counts.values()))


def _symbols(notes: Sequence[SoloNote], division: int) -> list[tuple[int, int]]:
    """Return each note's pitch, and the time to the next one in parts of a beat; 0 for the last."""
    times = [round((b.beat - a.beat) * division) for a, b in pairwise(notes)]
    return list(zip((note.midi for note in notes), [*times, 0], strict=True))


def _repeated_phrases(
    phrases: Sequence[Phrase], earlier: Sequence[Phrase], division: int
) -> float | None:
    """Return the fraction of the phrases, but the first of all, that repeat one before them."""
    symbols = [_symbols(phrase.notes, division) for phrase in (*earlier, *phrases)]
    later = range(max(1, len(earlier)), len(symbols))
    if not later:
        return None
    repeats = sum(
        any(_similarity(symbols[i], before) >= SOLO.same_phrase for before in symbols[:i])
        for i in later
    )
    return repeats / len(later)


def _similarity(first: Sequence[object], second: Sequence[object]) -> float:
    """Return 1 less the edit distance over the greater length (Levenshtein 1966)."""
    row = list(range(len(second) + 1))
    for i, symbol in enumerate(first, 1):
        before, row[0] = row[0], i
        for j, other in enumerate(second, 1):
            before, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, before + (symbol != other))
    return 1.0 - row[-1] / max(len(first), len(second))


def _repeated_notes(notes: Sequence[SoloNote], division: int) -> float:
    """Return the fraction of the notes that, with the notes before, have occurred before."""
    times = [0, *(round((b.beat - a.beat) * division) for a, b in pairwise(notes))]
    symbols = list(zip((note.midi for note in notes), times, strict=True))
    seen: set[tuple[tuple[int, int], ...]] = set()
    repeats = 0
    for i in range(SOLO.context, len(symbols)):
        first = (symbols[i - SOLO.context][0], 0)  # the time before it is another's
        sequence = (first, *symbols[i - SOLO.context + 1 : i + 1])
        repeats += sequence in seen
        seen.add(sequence)
    return repeats / len(notes)


def _in_runs(pitches: Sequence[int], scale: set[int]) -> float:
    """Return the fraction of the notes in runs: each on the next note of the scale, one way.

    `scale` has the MIDI notes of the scale that the harp can play.
    """
    steps = [_direction(a, b, scale) for a, b in pairwise(pitches)]
    inside: set[int] = set()
    first = 0
    for i in range(1, len(steps) + 1):
        if i == len(steps) or steps[i] != steps[first]:
            if steps[first] and i - first + 1 >= SOLO.run_notes:
                inside |= set(range(first, i + 1))
            first = i
    return len(inside) / len(pitches)


def _direction(pitch: int, following: int, scale: set[int]) -> int:
    """Return 1 or -1 from a note to the next one of the scale above or below, else 0."""
    sign = 1 if following > pitch else -1
    between = range(pitch + sign, following, sign)
    is_next = pitch != following and not any(each in scale for each in between)
    return sign if is_next else 0
