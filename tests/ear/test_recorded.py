"""The ear, the tab and the marks on recorded free reeds, with Praat as the reference.

Sampled reeds lie where they lie, so pitch is never compared with theory: Praat reads the same
excerpt (autocorrelation after Boersma 1993, Proc. Inst. Phonetic Sciences 17), and a reading is
compared with its track at `Reading.sample`. When a note begins is fixed by the excerpt: the first
sample within 40 dB of the note's peak, because a sampled reed speaks some milliseconds after its
key is struck.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path

import aubio
import numpy as np
import parselmouth
import pytest
import soundfile as sf

from tests.reeds.excerpts import (
    EXCERPTS,
    LATE_S,
    LATE_STEP,
    LEAD_S,
    LEAK_DB,
    LEAKING_STEP,
    OUT_CENTS,
    OUT_STEP,
    PHRASE_ZERO_S,
    RATE,
    SHALLOW_CENTS,
    SHALLOW_STEP,
    Note,
    Samples,
    cut,
    hear,
    load,
    path_of,
    speaks,
)
from trainer.drill import find_drill, parse_drill
from trainer.ear import HeardNote, Reading, track_notes
from trainer.harp import Breath, Harp, Tab
from trainer.marking import Mark, Result
from trainer.music import cents
from trainer.practice import Event, PassEnded, PassStarted, Plan, ReadingHeard, run_take
from trainer.sound import RecordingSpec

C = Harp.of("C")
STEADY = ("c-harp", "low-f-harp", "high-g-harp", "again")
SPEAKING_S = 0.06
DYING_S = 0.03
"""Left out at a note's start and end where its pitch is compared."""
ONSET_S = 0.015


@cache
def readings_of(name: str) -> tuple[Reading, ...]:
    if "phrase" in name:
        return tuple(event.reading for event in marked(name) if isinstance(event, ReadingHeard))
    return tuple(hear(load(name), EXCERPTS[name].harp))


@cache
def notes_of(name: str) -> tuple[HeardNote, ...]:
    return tuple(track_notes(readings_of(name), EXCERPTS[name].harp))


@cache
def praat_of(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Praat's pitch track of an excerpt: times in seconds, and Hz."""
    harp = EXCERPTS[name].harp
    lowest = min(harp.hz(Tab.parse(note.tab)) for note in EXCERPTS[name].notes)
    pitch = parselmouth.Sound(load(name).astype(float), RATE).to_pitch_ac(
        time_step=0.005,
        pitch_floor=0.72 * lowest,
        pitch_ceiling=4500.0,
        very_accurate=True,
        max_number_of_candidates=15,
        octave_cost=0.01,
    )
    return pitch.xs(), pitch.selected_array["frequency"]


def named(names: Iterable[str]) -> list[pytest.ParameterSet]:
    """Each note of some excerpts, with an id that shows where it is."""
    return [
        pytest.param(name, note, id=f"{name} {note.tab} at {note.at:.2f} s")
        for name in names
        for note in EXCERPTS[name].notes
    ]


def onset_of(name: str, note: Note) -> int:
    """The sample on which a note begins.

    In `again` the one before may still ring; a reed speaks as soon as it did the first time.
    """
    first = next(entry for entry in EXCERPTS[name].notes if entry.tab == note.tab)
    lone = note if name != "again" else first
    samples = load(name)[round(lone.at * RATE) : round(lone.end * RATE)]
    return round(note.at * RATE) + speaks(samples)


def held_in(name: str, note: Note) -> list[Reading]:
    """The readings of a note after its attack and before it is let go."""
    first, last = onset_of(name, note) + SPEAKING_S * RATE, (note.end - DYING_S) * RATE
    return [reading for reading in readings_of(name) if first < reading.sample < last]


def against_praat(name: str, note: Note) -> np.ndarray:
    """Cents of each reading of a note from Praat's track; infinite where it has no pitch."""
    held = held_in(name, note)
    assert len(held) >= 0.9 * 195 * (note.length - SPEAKING_S - DYING_S)
    times, hz = praat_of(name)
    reference = np.interp([reading.time for reading in held], times, hz)
    own = EXCERPTS[name].harp.hz(Tab.parse(note.tab)) * 2.0 ** (note.path[-1:] != () and -0.08)
    assert np.all(np.abs(1200.0 * np.log2(reference / own)) < 160.0), "Praat erred, not the ear"
    return np.array(
        [
            cents(reading.hz, known) if reading.hz else np.inf
            for reading, known in zip(held, reference, strict=True)
        ]
    )


# --- pitch ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "note"), named(STEADY))
def test_a_steady_note_has_the_pitch_that_praat_reads(name: str, note: Note) -> None:
    off = np.abs(against_praat(name, note))
    assert np.median(off) < 1.0
    assert np.mean(off < 5.0) >= 0.99


@pytest.mark.parametrize(("name", "note"), named(["bends"]))
def test_a_bend_is_followed(name: str, note: Note) -> None:
    off = np.abs(against_praat(name, note))
    assert np.mean(off < 5.0) >= 0.97
    first, last = (note.at + at for at, _ in note.path)
    times = np.array([reading.time for reading in held_in(name, note)])
    moving = (times > first) & (times < last)
    assert moving.sum() >= 20
    assert np.mean(off[moving] < 5.0) >= 0.97


@pytest.mark.parametrize("name", [*STEADY, "bends"])
def test_no_reading_is_an_octave_off(name: str) -> None:
    """Attacks and dying sounds included: a reed comes up from a whole tone below at most."""
    harp = EXCERPTS[name].harp
    for note in EXCERPTS[name].notes:
        lowest = min([0.0, *(bent for _, bent in note.path)])
        pitches = [
            cents(reading.hz, harp.hz(Tab.parse(note.tab)))
            for reading in readings_of(name)
            if reading.hz and note.at <= reading.time < note.end + 0.03
        ]
        assert pitches
        assert lowest - 200.0 < min(pitches)
        assert max(pitches) < 50.0


def aubio_of(samples: Samples, method: str) -> float:
    """The median pitch that aubio reads by itself in the middle of some samples, Hz."""
    detector = aubio.pitch(method, 2048, 256, RATE)
    detector.set_unit("Hz")
    hops = samples[: len(samples) // 256 * 256].astype(np.float32).reshape(-1, 256)
    pitches = [float(detector(hop)[0]) for hop in hops]
    return float(np.median(pitches[len(pitches) // 2 :]))


@pytest.mark.parametrize("tab", ["8", "9", "-6", "-7"])
def test_the_ear_is_right_where_aubio_alone_is_an_octave_off(tab: str) -> None:
    """By yinfft; its yinfast makes no octave error on these single notes."""
    note = next(entry for entry in EXCERPTS["c-harp"].notes if entry.tab == tab)
    assert cents(aubio_of(cut("c-harp", tab), "yinfft"), C.hz(Tab.parse(tab))) == pytest.approx(
        -1200.0, abs=20.0
    )
    assert {str(reading.tab) for reading in held_in("c-harp", note)} == {tab}


def test_the_ear_hears_two_reeds_where_aubio_alone_hears_a_note_that_nobody_played() -> None:
    """Blow 4 and 5, a major third 5:4 apart, repeat at the fourth's f0 divided by 4."""
    chord = EXCERPTS["phrase"].notes[-1]
    samples = load("phrase")[round(chord.at * RATE) : round(chord.end * RATE)]
    assert cents(aubio_of(samples, "yinfast"), C.hz(Tab.parse("4")) / 4.0) == pytest.approx(
        0.0, abs=20.0
    )
    held = held_in("phrase", chord)
    assert {reading.holes for reading in held} == {(4, 5)}
    assert {str(reading.tab) for reading in held} <= {"4", "5"}


# --- tab, holes and notes -------------------------------------------------------------------


def is_named(tab: Tab, wanted: str, harp: Harp) -> bool:
    """Whether an entry is the wanted one or, as draw 2 and blow 3, of the same pitch."""
    meant = Tab.parse(wanted)
    return tab in (meant, *harp.same_pitch(meant))


@pytest.mark.parametrize(("name", "note"), named(STEADY))
def test_a_clean_note_is_one_hole_and_the_right_one(name: str, note: Note) -> None:
    harp, held = EXCERPTS[name].harp, held_in(name, note)
    right = [
        reading.tab is not None
        and is_named(reading.tab, note.tab, harp)
        and reading.holes == (reading.tab.hole,)
        for reading in held
    ]
    assert np.mean(right) >= 0.97
    assert np.median([reading.leak_db or -120.0 for reading in held]) < -40.0


@pytest.mark.parametrize(("name", "note"), named(["bends"]))
def test_a_bend_stays_on_its_hole(name: str, note: Note) -> None:
    hole = Tab.parse(note.tab).hole
    held = held_in(name, note)
    assert np.mean([reading.holes == (hole,) for reading in held]) >= 0.97
    bent = note.tab + "'" * round(-note.path[-1][1] / 100.0)
    arrived = [reading for reading in held if reading.time > note.at + note.path[-1][0] + 0.02]
    before = [reading for reading in held if reading.time < note.at + note.path[0][0]]
    assert {str(reading.tab) for reading in arrived} == {bent}
    assert {str(reading.tab) for reading in before} == {note.tab}


@pytest.mark.parametrize("name", ["c-harp", "high-g-harp", "low-f-harp", "again", "bends"])
def test_every_note_is_told_once_and_as_what_it_is(name: str) -> None:
    harp, played, heard = EXCERPTS[name].harp, EXCERPTS[name].notes, notes_of(name)
    assert len(heard) == len(played)
    for note, heard_note in zip(played, heard, strict=True):
        bent = "'" * round(-note.path[-1][1] / 100.0) if note.path else ""
        assert is_named(heard_note.tab, note.tab + bent, harp)
        assert heard_note.clean


@pytest.mark.parametrize("name", [*STEADY, "bends", "phrase"])
def test_onsets_are_where_the_notes_begin(name: str) -> None:
    """Re-attacks included. Within 15 ms of the sound, and one to a note."""
    begun = [onset_of(name, note) for note in EXCERPTS[name].notes]
    if name == "phrase":
        begun = begun[:-1]  # the chord's two reeds begin together
    heard = [reading.onset for reading in readings_of(name) if reading.onset is not None]
    assert len(heard) == len(begun)
    assert np.max(np.abs(np.subtract(heard, begun))) <= ONSET_S * RATE


@pytest.mark.parametrize("name", ["c-harp", "again"])
def test_notes_start_with_their_sound(name: str) -> None:
    begun = [onset_of(name, note) for note in EXCERPTS[name].notes]
    starts = [note.start for note in notes_of(name)]
    assert np.max(np.abs(np.subtract(starts, begun))) <= ONSET_S * RATE


@pytest.mark.parametrize("name", ["c-harp", "high-g-harp", "bends"])
def test_notes_start_and_end_with_their_sound(name: str) -> None:
    """Within 50 ms of the sound's start, and of its last sample within 40 dB of its peak.

    The tolerance is that of MIREX note tracking for onsets; for offsets the smaller of its two.
    """
    for note, heard_note in zip(EXCERPTS[name].notes, notes_of(name), strict=True):
        around = np.abs(load(name)[round(note.at * RATE) : round((note.end + LEAD_S) * RATE)])
        over = np.flatnonzero(around > 0.01 * around.max())
        first, last = round(note.at * RATE) + over[[0, -1]]
        assert abs(heard_note.start - first) <= 0.05 * RATE
        assert abs(heard_note.end - last) <= 0.05 * RATE


# --- two holes ------------------------------------------------------------------------------

SETTLED_S = 0.08
MIX_LEAD_S, MIXED_S = 0.05, 0.4
LEAKS_DB = (0.0, -6.0, -12.0, -20.0)


def level(samples: Samples) -> float:
    """RMS of the held part of a note cut with `LEAD_S` before it."""
    return float(np.sqrt(np.mean(samples[round((LEAD_S + 0.15) * RATE) :] ** 2)))


@cache
def pair(main: str, other: str, db: float) -> tuple[Reading, ...]:
    """Readings of two notes that start together, known 80 ms after their onset or later."""
    wanted, leak = (cut("c-harp", tab).astype(float) for tab in (main, other))
    gain = 10.0 ** (db / 20.0) * level(wanted) / level(leak)
    first, length = round((LEAD_S - MIX_LEAD_S) * RATE), round((MIX_LEAD_S + MIXED_S) * RATE)
    mixed = (wanted + gain * leak)[first : first + length]
    settled = speaks(mixed) + SETTLED_S * RATE
    return tuple(reading for reading in hear(mixed, C) if reading.heard > settled)


PAIRS = [
    (str(Tab(main, breath)), str(Tab(other, breath)))
    for breath in Breath
    for low in range(1, 10)
    for main, other in ((low, low + 1), (low + 1, low))
]
"""All neighbours, with the leak above and below: the main hole is odd in half of them."""


def right_holes(readings: Sequence[Reading], *tabs: str) -> list[bool]:
    holes = {Tab.parse(tab).hole for tab in tabs}
    return [set(reading.holes) == holes for reading in readings]


def leak_in(readings: Sequence[Reading], main: str, other: str) -> float:
    """Median level of the other hole relative to the main one, in dB."""
    wanted, leak = (Tab.parse(tab).hole for tab in (main, other))
    levels = []
    for reading in readings:
        if reading.tab is None:
            continue  # how often that is, the test of the holes bounds
        by_hole = {reading.tab.hole: 0.0, **dict(reading.levels)}
        levels.append(by_hole.get(leak, -np.inf) - by_hole.get(wanted, -np.inf))
    return float(np.median(levels))


STRONG_THIRD = "the third partial, by far the strongest of blow 4, hides under blow 3's fourth"


def known(tabs: Sequence[tuple[str, str]], fails: dict[tuple[str, str], str]) -> list[object]:
    """Pairs as parameters, those that are known to fail marked so."""
    return [
        pytest.param(
            *pair,
            id=" with ".join(pair),
            marks=[pytest.mark.xfail(strict=True, raises=AssertionError, reason=fails[pair])]
            if pair in fails
            else [],
        )
        for pair in tabs
    ]


@pytest.mark.parametrize(("main", "other"), known(PAIRS, {}))
def test_two_neighbours_are_heard_as_those_two(main: str, other: str) -> None:
    right = [right_holes(pair(main, other, db), main, other) for db in LEAKS_DB]
    assert np.mean(np.concatenate(right)) >= 0.97
    assert min(np.mean(hits) for hits in right) >= 0.95


@pytest.mark.parametrize(("main", "other"), known(PAIRS, {("3", "4"): STRONG_THIRD}))
def test_the_level_of_a_leak_comes_back(main: str, other: str) -> None:
    for db in LEAKS_DB:
        assert leak_in(pair(main, other, db), main, other) == pytest.approx(db, abs=3.0)


@pytest.mark.parametrize(
    ("main", "other"),
    [("4", "5"), ("-4", "-3"), ("7", "8"), ("-2", "-1")],
)
def test_a_leak_does_not_pull_the_pitch(main: str, other: str) -> None:
    note = next(entry for entry in EXCERPTS["c-harp"].notes if entry.tab == main)
    alone = float(np.median([reading.hz for reading in held_in("c-harp", note)]))
    for db in LEAKS_DB[1:]:
        off = [
            abs(cents(reading.hz, alone)) if reading.hz else np.inf
            for reading in pair(main, other, db)
            if reading.time > MIX_LEAD_S + 0.1  # the reeds have come up to pitch
        ]
        assert np.mean(np.array(off) < 5.0) >= 0.97


SPLITS = [("1", "4"), ("2", "5"), ("4", "7"), ("-1", "-4"), ("-4", "-8"), ("6", "9")]
BEATEN_S = 0.45
"""By then an octave split three cents apart must have been detected by its beats."""


def pitch_of_note(tab: str) -> float:
    """Median pitch of a held note of the C harp by Praat, Hz."""
    note = next(entry for entry in EXCERPTS["c-harp"].notes if entry.tab == tab)
    times, hz = praat_of("c-harp")
    return float(np.median(hz[(times > note.at + 0.2) & (times < note.end - 0.1)]))


def split(low: str, high: str, off: float) -> list[Reading]:
    """An octave split, the upper reed `off` cents from twice the lower one."""
    lower, upper = (cut("c-harp", tab).astype(float) for tab in (low, high))
    speed = 2.0 * pitch_of_note(low) / pitch_of_note(high) * 2.0 ** (off / 1200.0)
    at = np.arange(len(lower)) * speed
    moved = np.interp(at, np.arange(len(upper)), upper)
    mixed = lower + level(lower) / level(upper) * moved
    mixed = mixed[round((LEAD_S - MIX_LEAD_S) * RATE) :]
    settled, last = speaks(mixed) + BEATEN_S * RATE, (MIX_LEAD_S + 0.65) * RATE
    return [reading for reading in hear(mixed, C) if settled < reading.heard < last]


@pytest.mark.parametrize("off", [-3.0, 3.0])
@pytest.mark.parametrize(("low", "high"), SPLITS)
def test_an_octave_split_is_heard_by_its_beats(low: str, high: str, off: float) -> None:
    """Two reeds f1 and f2 about an octave apart beat at |f2 - 2 f1| (Helmholtz 1863).

    With the reeds' own attacks it may be lost for a moment; no other holes are reported. The tests
    of clean notes check that no single note is reported as a split.
    """
    readings = split(low, high, off)
    assert np.mean(right_holes(readings, low, high)) >= 0.7
    assert all(
        right_holes([reading], low, high)[0] or right_holes([reading], low)[0]
        for reading in readings
    )


@pytest.mark.parametrize("tab", ["1", "4", "-5", "8", "-10"])
def test_a_hard_onset_has_its_pitch_at_once(tab: str) -> None:
    """Three readings in a row within 10 cents of Praat are known 15 ms after the sound begins.

    A held note, cut so that it begins at full level.
    """
    held = cut("c-harp", tab)[round((LEAD_S + 0.3) * RATE) :]
    samples = np.concatenate([np.zeros(round(0.2 * RATE)), held])
    known = pitch_of_note(tab)
    after = [reading for reading in hear(samples, C) if reading.heard > 0.2 * RATE]
    right = [reading.hz is not None and abs(cents(reading.hz, known)) < 10.0 for reading in after]
    third = next(i for i in range(2, len(right)) if all(right[i - 2 : i + 1]))
    assert after[third].heard_at - 0.2 <= 0.015


# --- marks ----------------------------------------------------------------------------------


def plan_of(name: str, start: float | None) -> Plan:
    drill = find_drill("harbour-bell")
    return Plan(harp=C, source=RecordingSpec(path_of(name)), drill=drill, start=start)


@cache
def marked(name: str) -> tuple[Event, ...]:
    return tuple(run_take(plan_of(name, PHRASE_ZERO_S)))


def result(name: str) -> Result:
    return next(event.result for event in marked(name) if isinstance(event, PassEnded))


def mark(name: str, step: int) -> Mark:
    return result(name).marks[step]


def test_the_phrase_is_the_drill() -> None:
    drill = find_drill("harbour-bell")
    assert [str(step.start) for step in drill.steps] == [
        *("0", "1", "2", "9/2", "6", "8", "10", "12", "13")
    ]
    assert drill.tempo == 96.0
    assert drill.steps[OUT_STEP].tab == "4"
    assert drill.steps[LEAKING_STEP].tab == "4"
    assert drill.steps[LATE_STEP].start.denominator == 2
    assert drill.steps[SHALLOW_STEP].tab == "-4'"


def test_the_phrase_gets_high_marks() -> None:
    good = result("phrase")
    assert good.passed
    assert good.score >= 98.0
    for mark in good.marks:
        assert mark.score >= 95.0, mark
        assert mark.measured.heard == mark.step.tab
        assert mark.measured.leak_db is None
        assert abs(mark.measured.cents or 0.0) < 5.0
        assert abs(mark.measured.late_ms or 0.0) < 15.0


def test_the_faults_of_the_faulty_phrase_come_back_in_its_marks() -> None:
    """Each relative to what the clean phrase's own reading of that step was."""

    def change(step: int, figure: str) -> float:
        return float(
            getattr(mark("faulty-phrase", step).measured, figure)
            - getattr(mark("phrase", step).measured, figure)
        )

    assert change(OUT_STEP, "cents") == pytest.approx(OUT_CENTS, abs=3.0)
    assert change(SHALLOW_STEP, "cents") == pytest.approx(SHALLOW_CENTS, abs=3.0)
    assert change(LATE_STEP, "late_ms") == pytest.approx(1000.0 * LATE_S, abs=15.0)
    leak = mark("faulty-phrase", LEAKING_STEP).measured
    assert leak.leak_db == pytest.approx(LEAK_DB, abs=3.0)
    assert leak.leak_hole == 3
    assert change(LEAKING_STEP, "cents") == pytest.approx(0.0, abs=3.0)


@pytest.mark.parametrize(
    ("step", "part", "words"),
    [
        (OUT_STEP, "pitch", "cents flat"),
        (LEAKING_STEP, "cleanness", "hole 3 leaking"),
        (LATE_STEP, "time", "ms late"),
        (SHALLOW_STEP, "pitch", "not deep enough"),
    ],
)
def test_a_fault_costs_its_own_part_and_is_said(step: int, part: str, words: str) -> None:
    bad, good = mark("faulty-phrase", step), mark("phrase", step)
    assert words in bad.sentence
    for name, earned in good.criteria.items():
        if name == part:
            assert bad.criteria[name] < earned - 10.0
        else:
            assert bad.criteria[name] == pytest.approx(earned, abs=3.0)


def test_steps_without_a_fault_get_the_same_marks_in_both_phrases() -> None:
    faulty = {OUT_STEP, LEAKING_STEP, LATE_STEP, SHALLOW_STEP}
    for bad, good in zip(result("faulty-phrase").marks, result("phrase").marks, strict=True):
        if bad.step.index not in faulty:
            assert bad.score == pytest.approx(good.score, abs=0.5)


def test_the_drill_is_found_in_a_recording_that_does_not_say_where_it_starts() -> None:
    events = run_take(plan_of("faulty-phrase", None))
    begun = next(event for event in events if isinstance(event, PassStarted))
    assert begun.clock is not None
    assert begun.clock.zero / RATE == pytest.approx(PHRASE_ZERO_S, abs=ONSET_S)


def test_the_phrase_is_written_down_as_it_was_played() -> None:
    """The glide is one note, reported where it stayed longest; the chord by one of its holes."""
    names = [str(note.tab) for note in notes_of("phrase")]
    assert names[:-1] == ["4", "5", "4", "-4", "-4'", names[5], "4", "-3"]
    assert names[5] in ("-4", "-4'")
    assert notes_of("phrase")[-1].holes == (4, 5)
    assert Counter(note.clean for note in notes_of("phrase")) == {True: 8, False: 1}


# --- marks of the language's own ------------------------------------------------------------

SLOW_BEAT_S = 60.0 / 92.0
MOVES = parse_drill(
    '''
title = "What the recorded reeds can do"
harp = "C"
tempo = 92
tab = """
-4=-4' r -4'>-4 r | -4{vibrato 6 25} r -2+5 r | -3@-40 r -6' r |
"""
''',
    "moves",
)
MOVES_ZERO_S = 4 * SLOW_BEAT_S
Curve = Callable[[np.ndarray], np.ndarray]


def still(cents_off: float = 0.0) -> Curve:
    return lambda part: np.full_like(part, cents_off)


def over(*points: tuple[float, float]) -> Curve:
    """Straight lines through (share of the step, cents)."""
    return lambda part: np.interp(part, *zip(*points, strict=True))


def bent_by(tab: str, curve: Curve) -> Samples:
    """A recorded reed for a beat, less the 60 ms in which it is let go, its pitch moved."""
    reed = cut("c-harp", tab)[round((LEAD_S - 0.002) * RATE) :].astype(float)
    reed = reed[speaks(reed) :]
    count = round((SLOW_BEAT_S - 0.06) * RATE)
    speed = np.exp2(curve(np.arange(count) / (SLOW_BEAT_S * RATE)) / 1200.0)
    at = np.concatenate([[0.0], np.cumsum(speed)[:-1]])
    sound = np.interp(np.minimum(at, len(reed) - 1.0), np.arange(len(reed)), reed)
    fade = round(0.02 * RATE)
    sound[-fade:] *= np.linspace(1.0, 0.0, fade)
    return sound


def vibrato(hz: float, depth: float) -> Curve:
    """Throat vibrato of an open reed: it only dips, by twice the amplitude."""
    return lambda part: (
        depth * (np.cos(2.0 * np.pi * hz * np.maximum(part - 0.2, 0) * SLOW_BEAT_S) - 1.0)
    )


def two_sided(hz: float, depth: float) -> Curve:
    """Vibrato that rises above the note as far as it dips, which no open reed does."""
    return lambda part: vibrato(hz, depth)(part) + np.where(part > 0.2, depth, 0.0)


LADDER = over((0.0, 0.0), (0.4375, 0.0), (0.5625, -100.0), (1.0, -100.0))
LET_UP = over((0.0, -100.0), (0.25, -100.0), (0.75, 0.0), (1.0, 0.0))
GOOD_MOVES = {
    0: [("-4", LADDER)],
    2: [("-4", LET_UP)],
    4: [("-4", vibrato(6.0, 25.0))],
    6: [("-2", still()), ("-5", still())],
    8: [("-3", still(-40.0))],
    10: [("-6", still(-100.0))],
}
FAULTY_MOVES = GOOD_MOVES | {
    0: [("-4", over((0.0, 0.0), (0.4375, 0.0), (0.5625, -78.0), (1.0, -78.0)))],
    2: [("-4", over((0.0, -100.0), (0.25, -100.0), (0.5, -20.0), (0.75, 0.0), (1.0, 0.0)))],
    4: [("-4", vibrato(4.0, 25.0))],
    6: [("-2", still())],
    8: [("-3", still(-25.0))],
}


def moved_marks(folder: Path, played: Mapping[int, Sequence[tuple[str, Curve]]]) -> list[Mark]:
    samples = 1e-4 * np.random.default_rng(3).standard_normal(round(17 * SLOW_BEAT_S * RATE))
    for beat, reeds in played.items():
        at = round((MOVES_ZERO_S + beat * SLOW_BEAT_S) * RATE)
        for tab, curve in reeds:
            sound = bent_by(tab, curve)
            samples[at : at + len(sound)] += sound * 0.1 / np.sqrt(np.mean(sound**2))
    sf.write(folder / "moves.wav", samples, RATE, subtype="PCM_24")
    plan = Plan(C, RecordingSpec(folder / "moves.wav"), drill=MOVES, start=MOVES_ZERO_S)
    (result,) = [event.result for event in run_take(plan) if isinstance(event, PassEnded)]
    return list(result.marks)


def test_ladders_glides_vibrato_and_splits_of_recorded_reeds_are_marked(tmp_path: Path) -> None:
    """A recorded reed moved along a known path; each fault by what it changed."""
    good = moved_marks(tmp_path, GOOD_MOVES)
    assert [mark.measured.heard for mark in good[:2]] == ["-4=-4'", "-4'>-4"]
    assert min(mark.score for mark in good) >= 90.0, [mark.sentence for mark in good]
    assert good[2].measured.vibrato_hz == pytest.approx(6.0, rel=0.05)
    assert good[2].measured.vibrato_cents == pytest.approx(25.0, abs=4.0)
    assert good[3].measured.holes == (2, 5)

    bad = moved_marks(tmp_path, FAULTY_MOVES)
    rungs = [(mark.measured.rungs[1] or 0.0) for mark in (good[0], bad[0])]
    assert rungs[1] - rungs[0] == pytest.approx(22.0, abs=3.0)
    strayed = [(mark.measured.stray_cents or 0.0) for mark in (good[1], bad[1])]
    assert strayed[0] < 8.0
    assert strayed[1] == pytest.approx(30.0, abs=6.0)
    assert bad[2].measured.vibrato_hz == pytest.approx(4.0, rel=0.05)
    above = moved_marks(tmp_path, GOOD_MOVES | {4: [("-4", two_sided(6.0, 25.0))]})[2]
    assert above.sentence.startswith("the vibrato rises 2")
    assert above.score < good[2].score - 20.0
    assert bad[3].sentence.startswith("hole 5 missing")
    off = [(mark.measured.cents or 0.0) for mark in (good[4], bad[4])]
    assert off[1] - off[0] == pytest.approx(15.0, abs=3.0)
    assert bad[5].measured.cents == pytest.approx(good[5].measured.cents, abs=0.5)
