"""The shelf: each drill is valid and playable, and together they form the course.

Scales, bends and names of positions are common practice; the references here are independent of
the trainer's tables.

The built-in player performs the shortest drill of each group of the course in its own key. With
HARP_TRAINER_GRID=1 it performs all of them in every standard key and in low F (about 25 minutes).
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from fractions import Fraction
from itertools import pairwise

import pytest

from tests.support.each import each, each_drill
from trainer.drill import (
    Articulation,
    CleannessRule,
    Drill,
    Step,
    format_drill,
    lint_drill,
    move_to_harp,
    read_drill,
    read_drills_for,
    read_shelf,
)
from trainer.drill.shelf import bundled_drill_folder
from trainer.harp import STANDARD_KEYS, Breath, Harp, Tab
from trainer.practice import PassEnded, Plan, TakeFailed, run_take
from trainer.sound import PlayerSpec

FILES = sorted(bundled_drill_folder().glob("*.toml"))
TEXTS = {path.stem: path.read_text(encoding="utf-8") for path in FILES}
DRILLS = {path.stem: read_drill(path) for path in FILES}

GRID = os.environ.get("HARP_TRAINER_GRID") == "1"
KEYS = ("low F", *STANDARD_KEYS)
LEAST_SCORE = 98.0

on_each_drill = each_drill(DRILLS.values())

GROUPS = (
    "single notes",
    "first tunes",
    "moves",
    "call and response",
    "articulation and dynamics",
    "chords and splits",
    "rhythm",
    "solos",
    "ornaments",
    "half-step bends",
    "low and high harps",
    "vibrato and wah",
    "other tunings",
    "phrases",
    "blues forms",
    "scales",
    "deep bends",
    "bend control",
    "blow bends",
    "overblows and overdraws",
)
"""Groups of the course, in their order."""

Sees = Callable[[Drill], bool]


def harp_of(drill: Drill) -> Harp:
    return Harp.of(drill.key, drill.tuning)


def any_step(sees: Callable[[Step], bool]) -> Sees:
    return lambda drill: any(map(sees, drill.steps))


def plays(entry: str) -> Sees:
    """Whether a drill has a tab entry as a held note, not only within a glide."""
    tab = Tab.parse(entry)
    return any_step(lambda step: step.sounds == ((tab,),))


def bends(half_steps: int) -> Sees:
    return any_step(lambda step: any(tab.bend == half_steps for tab in step.tabs))


def is_slide(step: Step) -> bool:
    return step.is_glide and len({sound[0].hole for sound in step.sounds}) > 1


def is_scoop(step: Step) -> bool:
    return step.is_glide and not is_slide(step) and step.first[0].bend < step.last[0].bend


def is_let_up(step: Step) -> bool:
    return step.is_glide and not is_slide(step) and step.first[0].bend > step.last[0].bend


def is_off_beat(step: Step) -> bool:
    return step.start % 1 == Fraction(1, 2)


def in_triplet(step: Step) -> bool:
    return step.beats.denominator % 3 == 0


def in_part(low: int, high: int) -> Sees:
    """Whether at least half of a drill's time is played on some holes."""

    def sees(drill: Drill) -> bool:
        inside = sum(step.beats for step in drill.steps if low <= step.first[0].hole <= high)
        return 2 * inside >= sum(step.beats for step in drill.steps)

    return sees


def in_position(half_steps: int) -> Sees:
    """Whether a drill ends on the note at an interval above the harp's key."""

    def sees(drill: Drill) -> bool:
        harp = harp_of(drill)
        return (harp.midi(drill.steps[-1].last[0]) - harp.key.tonic) % 12 == half_steps

    return sees


def in_octaves(drill: Drill) -> bool:
    harp = harp_of(drill)
    chords = [step.first for step in drill.steps if step.is_chord]
    return bool(chords) and all(harp.midi(high) - harp.midi(low) == 12 for low, high in chords)


def starts_bends_from_silence(drill: Drill) -> bool:
    """Whether bends come straight after a rest or another breath, at least four times."""
    bends = [
        step
        for before, step in pairwise(drill.steps)
        if step.first[0].bend
        and (step.start > before.end or step.first[0].breath is not before.last[0].breath)
    ]
    return len(bends) >= 4


def breath_turns(drill: Drill) -> bool:
    turns = [a.last[0].breath is not b.first[0].breath for a, b in pairwise(drill.steps)]
    return 3 * sum(turns) >= len(turns)


def leaps(drill: Drill) -> bool:
    """Whether at least a quarter of the moves skips a hole or changes the breath."""
    moves = [(a.last[0], b.first[0]) for a, b in pairwise(drill.steps)]
    far = [
        abs(a.hole - b.hole) > 1 or (a.hole != b.hole and a.breath != b.breath) for a, b in moves
    ]
    return 4 * sum(far) >= len(far)


def holds(drill: Drill) -> bool:
    """Whether at least four notes are held for a second and a half."""
    return sum(2 * step.beats * 60 >= 3 * Fraction(drill.tempo) for step in drill.steps) >= 4


def is_chromatic(drill: Drill) -> bool:
    """Whether all twelve pitch classes sound."""
    harp = harp_of(drill)
    return len({harp.midi(tab) % 12 for step in drill.steps for tab in step.tabs}) == 12


TAGS: dict[str, Sees] = {
    "accents": any_step(lambda step: step.accent),
    "12/8": lambda drill: drill.meter == (12, 8),
    "1st position": in_position(0),
    "4th position": in_position(9),
    "5th position": in_position(4),
    "11th position": in_position(10),
    "12th position": in_position(5),
    "blues forms": lambda drill: drill.bars in (8, 12),
    "call and response": any_step(lambda step: step.call),
    "boogie": lambda drill: sum(step.beats == Fraction(1, 2) for step in drill.steps) >= 32,
    "chromatic": is_chromatic,
    "chugging": lambda drill: sum(step.is_gesture for step in drill.steps) >= 16,
    "overblows": any_step(lambda step: any(tab.over for tab in step.tabs)),
    "scales": lambda drill: len({step.first for step in drill.steps}) >= 7,
    "turnarounds": lambda drill: drill.steps[-1].bar >= 8,
    "2nd position": in_position(7),
    "3rd position": in_position(2),
    "3/4": lambda drill: drill.meter == (3, 4),
    "5/4": lambda drill: drill.meter == (5, 4),
    "6/8": lambda drill: drill.meter == (6, 8),
    "bend control": any_step(lambda step: step.has_path and any(tab.bend for tab in step.tabs)),
    "blow bends": any_step(
        lambda step: any(tab.bend and tab.breath is Breath.BLOW for tab in step.tabs)
    ),
    "blue notes": any_step(lambda step: any(20 <= abs(off) <= 60 for off in step.offsets_cents)),
    "breath": breath_turns,
    "choices": any_step(lambda step: step.optional or step.has_bent_choice),
    "chords": any_step(lambda step: step.is_chord),
    "cleanness": any_step(lambda step: step.cleanness_rule is CleannessRule.CLEAN),
    "half steps": bends(1),
    "high reeds": in_part(7, 10),
    "ladders": any_step(lambda step: step.ladder),
    "leaps": leaps,
    "let up": any_step(is_let_up),
    "low reeds": in_part(1, 3),
    "moves": lambda drill: len({tab.hole for s in drill.steps for tab in s.tabs}) >= 4,
    "no scoop": starts_bends_from_silence,
    "octaves": in_octaves,
    "off-beats": any_step(is_off_beat),
    "phrases": lambda drill: len({step.first for step in drill.steps}) >= 5,
    "pick-ups": lambda drill: drill.start < 0,
    "rhythm": lambda drill: len({step.beats for step in drill.steps}) >= 3,
    "staccato": any_step(lambda step: step.articulation is Articulation.STACCATO),
    "legato": any_step(lambda step: step.articulation is Articulation.LEGATO),
    "tonguing": any_step(lambda step: step.articulation is Articulation.TONGUED),
    "slaps": any_step(lambda step: step.slap),
    "swells": any_step(lambda step: step.swell_db != 0.0),
    "wah": any_step(lambda step: step.wah_hz > 0.0),
    "shuffle": lambda drill: drill.swing > 1.5,
    "sixteenths": any_step(lambda step: step.beats == Fraction(1, 4)),
    "slides": any_step(is_slide),
    "speeding up": lambda drill: (drill.tempo_to or 0.0) > drill.tempo,
    "steadiness": holds,
    "triplets": any_step(in_triplet),
    "two parts": lambda drill: bool(drill.second),
    "shakes": any_step(lambda step: step.shake is not None),
    "scoops and falls": any_step(lambda step: bool(step.scoop or step.fall)),
    "grace notes": any_step(lambda step: bool(step.grace)),
    "vibrato": any_step(lambda step: step.vibrato is not None),
    "whole steps": bends(2),
}
"""What a drill may say that it trains besides, and how that shows in its music."""


# Each drill


def test_the_shelf_is_read_without_a_problem() -> None:
    shelf = read_shelf()
    assert shelf.errors == ()
    assert len(shelf.drills) >= 150
    assert {drill.name for drill in shelf.drills} == set(DRILLS)


@on_each_drill
def test_drills_have_no_warnings_and_are_formatted(drill: Drill) -> None:
    text = TEXTS[drill.name]
    assert lint_drill(text, drill) == ()
    assert format_drill(text, drill.name) == text


@on_each_drill
def test_a_drill_has_the_fields_for_lists(drill: Drill) -> None:
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", drill.name)
    assert len(drill.name) <= 20
    assert len(drill.title) <= 31
    assert drill.skills[0] in GROUPS
    assert 1 <= len(drill.skills) <= 3
    assert len(set(drill.skills)) == len(drill.skills)


@on_each_drill
def test_descriptions_are_short_and_complete(drill: Drill) -> None:
    """What it trains, how it feels when right, what usually goes wrong: a sentence each."""
    about = " ".join(drill.about.split())
    trains, right, wrong = re.split(r"(?<=[.!?]) (?=[A-Z'])", about)
    assert trains.startswith("Trains ")
    assert right.startswith("Done right, ")
    assert wrong.endswith(".")
    assert 120 <= len(about) <= 330


@on_each_drill
def test_a_drill_trains_what_it_names(drill: Drill) -> None:
    for tag in drill.skills[1:]:
        assert tag in TAGS, f"no skill is called {tag}"
        assert TAGS[tag](drill), f"{drill.name} names {tag} and has none"


@on_each_drill
def test_a_drill_takes_a_minute_at_most(drill: Drill) -> None:
    if drill.name == "harbour-bell":  # the demo: a little of everything, soon over
        assert 8 <= drill.seconds <= 14
    else:
        assert (10 if drill.level == 1 else 20) <= drill.seconds <= 60
    assert 48 <= drill.tempo <= 200


@on_each_drill
def test_every_bar_is_full(drill: Drill) -> None:
    """A pick-up is taken from the last bar (common practice)."""
    meter, value = drill.meter
    assert (drill.end - drill.start) % meter == 0
    assert drill.start > -meter
    assert (meter, value) in {(3, 4), (4, 4), (5, 4), (6, 8), (12, 8)}
    for before, step in pairwise(drill.steps):
        assert before.end <= step.start


@on_each_drill
def test_a_drill_can_be_played_on_every_harp_of_its_tuning(drill: Drill) -> None:
    for key in KEYS:
        moved = move_to_harp(drill, Harp.of(key, drill.tuning))
        assert (moved.key, moved.steps, moved.second) == (key, drill.steps, drill.second)


@on_each_drill
def test_a_drill_lets_the_player_breathe(drill: Drill) -> None:
    """No breath of five seconds, and a good part of the time is rest or the other breath."""
    second = Fraction(drill.tempo) / 60
    spans = [Fraction(0)]
    start, before = Fraction(0), None
    for step in drill.steps:
        if step.call:  # the trainer plays it
            continue
        turned = before is None or step.first[0].breath is not before.last[0].breath
        if turned or (before and step.start > before.end):
            start = step.start
        spans.append(step.end - start)
        before = step
    assert max(spans) <= 5 * second
    drawn, blown = (
        sum((step.beats for step in drill.steps if step.first[0].breath is breath), Fraction(0))
        for breath in (Breath.DRAW, Breath.BLOW)
    )
    assert 10 * min(drawn, blown) >= drawn + blown or drill.solos
    assert max(drawn, blown) <= Fraction(3, 4) * (drill.end - drill.start)


@on_each_drill
def test_a_step_that_waits_is_written_as_long_as_it_must_be_held(drill: Drill) -> None:
    """So the built-in player, which plays what is written, can hold it."""
    if drill.free:
        for step in drill.steps:
            assert float(step.beats) * 60 / drill.tempo >= drill.goal.hold + 0.3


@on_each_drill
def test_an_answer_is_as_long_as_its_call(drill: Drill) -> None:
    calls = [step for step in drill.steps if step.call]
    if drill.skills[0] == "call and response":
        assert calls
    if drill.solos:
        bars = {step.bar for step in calls}
        for solo in drill.solos if calls else ():
            length = int(solo.beats / drill.meter[0])
            assert {solo.bar - 1 - i for i in range(length)} <= bars
        return
    meter = drill.meter[0]
    for step in calls:
        answered = [other for other in drill.steps if other.bar == step.bar + 1]
        assert answered
        assert not any(other.call for other in answered)
        assert all(other.call for other in drill.steps if other.bar == step.bar)
    assert not calls or drill.end == 2 * meter * len({step.bar for step in calls})


def test_no_two_drills_are_alike() -> None:
    music = {
        name: tuple((step.tab, step.beats, step.start) for step in drill.steps)
        for name, drill in DRILLS.items()
    }
    assert len(set(music.values())) == len(music)
    written = [drill for drill in DRILLS.values() if not drill.solos]
    assert len({tuple(step.tab for step in drill.steps) for drill in written}) == len(written)
    assert len({drill.title for drill in DRILLS.values()}) == len(DRILLS)
    assert len({drill.about for drill in DRILLS.values()}) == len(DRILLS)


# The course


def test_the_groups_come_in_the_order_of_a_course() -> None:
    groups = read_shelf().groups
    assert tuple(groups) == GROUPS
    assert all(len(drills) >= 3 for drills in groups.values())


BENT = ("-1'", "-2'", "-3'", "-4'", "-6'", "-2''", "-3''", "-3'''", "8'", "9'", "10'", "10''")
OVER = ("1o", "4o", "5o", "6o", "-7o", "-9o", "-10o")


@pytest.mark.parametrize("entry", [*BENT, *OVER])
def test_every_bend_and_overblow_is_practised(entry: str) -> None:
    drills = sum(map(plays(entry), DRILLS.values()))
    assert drills >= (2 if entry.startswith("-") and entry in BENT else 1)


def test_the_drills_cover_the_standard_harp() -> None:
    """Short bends apart, which have no half step: 5 and 7 (common practice)."""
    entries = {tab for tab in Harp.of("C").entries if not tab.is_natural}
    assert entries == {Tab.parse(entry) for entry in [*BENT, *OVER]}


@pytest.mark.parametrize("hole", [1, 2, 3, 4, 6])
def test_draw_bends_are_met_without_a_scoop_and_let_up(hole: int) -> None:
    def straight(drill: Drill) -> bool:
        return any(
            step.start > before.end and len(step.sounds) == 1 and step.first[0].bend > 0
            for before, step in pairwise(drill.steps)
            if step.first[0].hole == hole and step.first[0].breath is Breath.DRAW
        )

    def let_up(step: Step) -> bool:
        return is_let_up(step) and step.first[0].hole == hole

    assert any(map(straight, DRILLS.values()))
    assert any(map(any_step(let_up), DRILLS.values()))


def weighs_otherwise(drill: Drill) -> bool:
    return "[goal.weights]" in TEXTS[drill.name]


FEATURES: dict[str, tuple[int, Sees]] = {
    "free clock": (3, lambda drill: drill.free),
    "loop": (1, lambda drill: drill.loop is not None),
    "climb": (1, lambda drill: drill.climb is not None),
    "two parts": (1, lambda drill: bool(drill.second)),
    "pick-up": (1, lambda drill: drill.start < 0),
    "swing": (3, lambda drill: drill.swing > 1),
    "tie": (1, lambda drill: re.search(r"\s~(:|\s)", TEXTS[drill.name]) is not None),
    "tie over a bar line": (
        1,
        any_step(lambda step: step.start % 4 + step.beats > 4),
    ),
    "off-beats": (8, any_step(is_off_beat)),
    "triplets": (2, any_step(in_triplet)),
    "cents": (2, any_step(lambda step: bool(step.offsets_cents))),
    "either": (2, any_step(lambda step: step.alternative is not None)),
    "clean": (4, any_step(lambda step: step.cleanness_rule is CleannessRule.CLEAN)),
    "blur": (1, any_step(lambda step: step.cleanness_rule is CleannessRule.BLUR)),
    "chord care": (1, any_step(lambda step: step.cleanness_rule is CleannessRule.CHORD)),
    "chord": (6, any_step(lambda step: len(step.first) >= 2)),
    "vibrato": (4, any_step(lambda step: step.vibrato is not None)),
    "vibrato on a bend": (
        1,
        any_step(lambda step: step.vibrato is not None and step.last[0].bend > 0),
    ),
    "wah": (2, any_step(lambda step: step.wah_hz > 0)),
    "slide": (3, any_step(is_slide)),
    "slide of a pair": (1, any_step(lambda step: is_slide(step) and step.is_chord)),
    "bend let up": (5, any_step(is_let_up)),
    "scoop": (2, any_step(is_scoop)),
    "ladder": (4, any_step(lambda step: step.ladder)),
    "ladder of four": (1, any_step(lambda step: step.ladder and len(step.sounds) == 4)),
    "call": (4, any_step(lambda step: step.call)),
    "repeat": (3, lambda drill: "|:" in TEXTS[drill.name]),
    "endings": (1, lambda drill: "|2." in TEXTS[drill.name]),
    "accents": (1, TAGS["accents"]),
    "chord gestures": (
        1,
        any_step(lambda step: step.cleanness_rule is CleannessRule.AROUND),
    ),
    "optional": (1, any_step(lambda step: step.optional)),
    "bent or not": (1, any_step(lambda step: step.has_bent_choice)),
    "sixteenths": (1, TAGS["sixteenths"]),
    "change of tempo": (1, lambda drill: drill.tempo_to is not None),
    "3/4": (3, TAGS["3/4"]),
    "6/8": (2, TAGS["6/8"]),
    "5/4": (1, TAGS["5/4"]),
    "weights": (2, weighs_otherwise),
    "another harp than C": (20, lambda drill: drill.key != "C"),
    "another tuning": (3, lambda drill: drill.tuning != "richter"),
}


@pytest.mark.parametrize("feature", FEATURES)
def test_the_shelf_uses_the_whole_language(feature: str) -> None:
    least, sees = FEATURES[feature]
    assert sum(map(sees, DRILLS.values())) >= least


def test_drills_are_written_for_several_harps_and_tunings() -> None:
    assert len({drill.key for drill in DRILLS.values()}) >= 5
    assert len({drill.tuning for drill in DRILLS.values()}) >= 4


# Scales

SCALES = {
    "Major pentatonic": "1 2 3 5 6",
    "Minor pentatonic": "1 b3 4 5 b7",
    "Blues scale": "1 b3 4 b5 5 b7",
    "Mixolydian": "1 2 3 4 5 6 b7",
}
"""Scales that are there in the three usual positions."""
MODES = {
    "Dorian": "1 2 b3 4 5 6 b7",
    "Aeolian": "1 2 b3 4 5 b6 b7",
    "Phrygian": "1 b2 b3 4 5 b6 b7",
    "Lydian": "1 2 3 #4 5 6 7",
}
"""Modes that are each there in the position that plays it without a bend."""
HALF_STEPS = {"1": 0, "b2": 1, "2": 2, "b3": 3, "3": 4, "4": 5, "#4": 6, "b5": 6, "5": 7}
HALF_STEPS |= {"b6": 8, "6": 9, "b7": 10, "7": 11}
TONICS = {"1st": 0, "2nd": 7, "3rd": 2, "4th": 9, "5th": 4, "11th": 10, "12th": 5}
"""Half steps from the harp's key to the tonic: a C harp plays C, G and D (common practice)."""
_TITLE = re.compile(r"(.+), (\d+(?:st|nd|rd|th)) position")


def scale_drills() -> Iterator[tuple[str, str, Drill]]:
    for drill in DRILLS.values():
        match = _TITLE.fullmatch(drill.title)
        if drill.skills[0] == "scales":
            assert match, drill.title
            yield match[1], match[2], drill


def test_each_scale_is_there_in_three_positions() -> None:
    there = [(scale, position) for scale, position, _ in scale_drills()]
    usual = [(scale, at) for scale in SCALES for at in ("1st", "2nd", "3rd")]
    others = [
        ("Dorian", "3rd"),
        ("Aeolian", "4th"),
        ("Phrygian", "5th"),
        ("Major pentatonic", "11th"),
        ("Lydian", "12th"),
    ]
    assert sorted(there) == sorted(usual + others)


@each([(*case, key) for case in scale_drills() for key in KEYS], lambda case: case[2].name)
def test_a_scale_drill_has_its_notes_and_no_other(case: tuple[str, str, Drill, str]) -> None:
    scale, position, drill, key = case
    harp = Harp.of(key, drill.tuning)
    tonic = harp.key.tonic + TONICS[position]
    notes = [harp.midi(tab) for step in drill.steps for sound in step.sounds for tab in sound]
    assert {(note - tonic) % 12 for note in notes} == {
        HALF_STEPS[degree] for degree in (SCALES | MODES)[scale].split()
    }
    assert (notes[0] - tonic) % 12 == (notes[-1] - tonic) % 12 == 0
    usual = position in {"1st", "2nd", "3rd"}
    assert max(notes) - min(notes) == 12 if usual else max(notes) - min(notes) >= 9
    assert not any(step.offsets_cents for step in drill.steps)


@pytest.mark.parametrize(
    ("name", "notes"),
    [
        ("major-pentatonic-1", "C D E G A"),
        ("minor-pentatonic-1", "C D# F G A#"),
        ("blues-scale-1", "C D# F F# G A#"),
        ("mixolydian-1", "C D E F G A A#"),
        ("major-pentatonic-2", "G A B D E"),
        ("minor-pentatonic-2", "G A# C D F"),
        ("blues-scale-2", "G A# C C# D F"),
        ("mixolydian-2", "G A B C D E F"),
        ("major-pentatonic-3", "D E F# A B"),
        ("minor-pentatonic-3", "D F G A C"),
        ("blues-scale-3", "D F G G# A C"),
        ("mixolydian-3", "D E F# G A B C"),
        ("dorian-3", "D E F G A B C"),
        ("aeolian-4", "A B C D E F G"),
        ("phrygian-5", "E F G A B C D"),
        ("major-pentatonic-11", "A# C D F G"),
        ("lydian-12", "F G A B C D E"),
    ],
)
def test_scales_on_a_c_harp_by_the_names_of_their_notes(name: str, notes: str) -> None:
    """Spelled with sharps only, so that each note has one name."""
    flats = {"Db": "C#", "Eb": "D#", "Gb": "F#", "Ab": "G#", "Bb": "A#"}
    harp = Harp.of("C")
    played = (harp.note(tab) for step in DRILLS[name].steps for tab in step.tabs)
    bare = {re.sub(r"-?\d+$", "", note) for note in played}
    assert {flats.get(note, note) for note in bare} == set(notes.split())


# Claims about notes in the texts


@pytest.mark.parametrize(
    ("entry", "other", "half_steps"),
    [
        ("-2", "3", 0),  # low-water, mixolydian-3, tar-and-timber: the same note twice
        ("-2''", "2", 1),  # floors-under-two: the lower floor lies a half step over blow 2
        ("-3''", "-2", 2),  # whole-step-on-three: a whole step up from draw 2
        ("6o", "-6", 1),  # overblow-on-six
        ("4o", "-4", 1),
        ("5o", "-5", 1),
        ("-7o", "7", 1),
        ("-9o", "9", 1),
        ("-10o", "10", 1),
        ("9'", "-9", 1),  # blues-scale-1: halfway between draw 9 and blow 9
        ("9", "9'", 1),
        ("-3'", "-2", 3),  # the flat third of second position
        ("-4'", "-2", 6),  # and its flat fifth
        ("-6'", "-4", 6),  # the flat fifth of third position
    ],
)
def test_intervals_are_as_the_drills_claim(entry: str, other: str, half_steps: int) -> None:
    harp = Harp.of("C")
    assert harp.midi(Tab.parse(entry)) - harp.midi(Tab.parse(other)) == half_steps


@on_each_drill
def test_drills_use_playable_entries_only(drill: Drill) -> None:
    """Overblows of notes that another hole has are possible, but nobody plays them."""
    asked = {tab for step in (*drill.steps, *drill.second) for tab in step.tabs}
    assert asked <= set(harp_of(drill).entries)


# Performance


def cases() -> list[tuple[str, str]]:
    """Drills and keys to perform: all of them, or the shortest drill of each group."""
    if GRID:
        return [(name, key) for name in DRILLS for key in KEYS]
    groups = [[drill for drill in DRILLS.values() if drill.skills[0] == each] for each in GROUPS]
    shortest = [min(group, key=lambda drill: drill.seconds) for group in groups]
    return [(drill.name, drill.key) for drill in shortest]


@pytest.mark.parametrize(("name", "key"), cases())
def test_the_built_in_player_performs_it(name: str, key: str) -> None:
    drill = DRILLS[name]
    events = list(run_take(Plan(Harp.of(key, drill.tuning), PlayerSpec(), drill=drill)))
    assert not [event for event in events if isinstance(event, TakeFailed)]
    (result,) = [event.result for event in events if isinstance(event, PassEnded)]
    assert result.score >= LEAST_SCORE, [
        (mark.step.text, mark.score, mark.sentence) for mark in result.marks if mark.score < 98
    ]


def test_the_drills_for_a_skill_are_those_of_the_shelf_in_its_order() -> None:
    for skills, level in ((("half-step bends", "bend control"), 7), (("rhythm",), 4), ((), 9)):
        wanted = [
            drill
            for drill in read_shelf().drills
            if drill.level <= level and set(skills) & set(drill.skills)
        ]
        assert list(read_drills_for(skills, level)) == wanted
