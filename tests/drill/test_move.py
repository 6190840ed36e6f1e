"""Moving a drill to another harp, by holes and by pitch.

The references are charts of the standard harp that players know by heart (common practice):
scales, chords and splits by their tab.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from itertools import product
from pathlib import Path

import pytest
from click.testing import Result
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from trainer.cli.drill import app
from trainer.cli.exit_codes import ExitCode
from trainer.drill import (
    Arrangement,
    Drill,
    DrillError,
    Step,
    arrangement_position,
    arrangements_for_harp,
    arrangements_for_tuning,
    describe_difficulty,
    find_drill,
    find_unplayable,
    move_by_holes,
    move_to_harp,
    parse_drill,
    passage_difficulty,
    read_drill,
    step_fingerings,
)
from trainer.drill.difficulty import seconds_per_beat, step_difficulty
from trainer.drill.fingerings import target_pitches
from trainer.drill.transpose import move_by_pitch, rank_moves
from trainer.harp import STANDARD_KEYS, Harp, HarpError, tuning_names
from trainer.report.tab_layout import tab_page_text

C = Harp.of("C")


def drill_of(tab: str, harp: str = "C", **head: str) -> Drill:
    fields = {"title": '"T"', "harp": f'"{harp}"', "tempo": "90", **head}
    lines = [f"{name} = {value}" for name, value in fields.items()]
    return parse_drill("\n".join([*lines, f'tab = """{tab}"""', ""]), "t")


def free_of_bars(tokens: list[str], harp: str = "C", tempo: int = 90) -> Drill:
    """Return one long bar of these tokens, filled up with a rest."""
    lengths = [Fraction(token.partition(":")[2] or 1) for token in tokens]
    filled = [*tokens, f"r:{32 - sum(lengths)}"]
    return drill_of(" ".join(filled), harp, tempo=str(tempo), meter='"32/4"')


def tabs(moved: Arrangement) -> str:
    return " ".join(step.tab for step in moved.drill.steps)


# What players know by heart (common practice)


def test_a_major_scale_in_first_position() -> None:
    """Written in second position of an F harp, it is the C harp's own scale from hole 4."""
    written = drill_of("-2 -3'' -3 4 | -4 5 5o 6", "F")
    moved = move_by_pitch(written, C)
    assert tabs(moved) == "4 -4 5 -5 6 -6 -7 7"
    assert (moved.missing, moved.half_steps) == (0, 0)
    assert arrangement_position(written, moved, 2) == 1


def test_a_blues_scale_in_second_position() -> None:
    """In first position of a G harp it takes three overblows, in second of a C harp two bends."""
    written = drill_of("4 4o -5 5o | 6 6o 7:2", "G")
    moved = move_by_pitch(written, C)
    assert tabs(moved) == "-2/3 -3' 4 -4' -4 -5 6"
    assert moved.reason == "2 bends"
    assert arrangement_position(written, moved) == 2


def test_a_dorian_minor_scale_in_third_position() -> None:
    written = drill_of("4 -4 4o -5 | 6 -6 6o 7", "D")
    moved = move_by_pitch(written, C)
    assert tabs(moved) == "-4 5 -5 6 -6 -7 7 -8"
    assert moved.reason == "natural notes close together"
    assert arrangement_position(written, moved) == 3


def test_the_draw_chord_is_the_blow_chord_a_fifth_up() -> None:
    """Draw 2, 3 and 4 are the chord of the second position (common practice)."""
    chord = drill_of("-2+3+4:4")
    assert tabs(move_by_pitch(chord, Harp.of("G"))) == "4+5+6"
    assert tabs(move_by_pitch(drill_of("4+5+6:4", "G"), C)) == "-2+3+4"


def test_octaves_are_split_wherever_the_harp_has_them() -> None:
    """Blow octaves lie three holes apart from hole 1 to 10 (common practice)."""
    assert tabs(move_by_pitch(drill_of("1+4:4"), Harp.of("low F"))) == "3+6"
    assert tabs(move_by_pitch(drill_of("3+6:4"), C, 12)) == "6+9"
    assert move_by_pitch(drill_of("1+4:4"), Harp.of("D")).missing == 1


def test_a_note_of_two_holes_gets_an_alternative() -> None:
    """Draw 2 and blow 3 of a standard harp are the same note.

    On a solo harp blow 4 and 5 are; on a harp with raised third blow none (common practice).
    """
    step = move_by_pitch(drill_of("4:4"), Harp.of("F")).drill.steps[0]
    assert {str(tab) for tab in step.tabs} == {"-2", "3"}
    assert step.alternative
    assert tabs(move_by_pitch(drill_of("4:4"), Harp.of("C", "solo"))) == "4/5"
    assert tabs(move_by_pitch(drill_of("-2/3:4"), Harp.of("C", "raised-third-blow"))) == "-2"
    assert tabs(move_by_pitch(drill_of("-2/3:4"), Harp.of("G"))) == "4"


# Glides, ladders, cents


@pytest.mark.parametrize(
    ("tab", "harp", "half_steps", "expected"),
    [
        ("-4'>-4:4", "F", 0, "-3'''>-3''"),
        ("-3=-3'=-3'':4", "G", 0, None),  # blow 5 does not bend
        ("-3=-3'=-3'':4", "F", 0, None),  # draw 2 bends by two half steps, and starts a third up
        ("-3=-3'=-3'':4", "C", -4, "-2=-2'=-2''"),
        ("4>5>6:4", "F", 5, "4>5>6"),
        ("4>5:4", "G", 0, "-5>-6"),
        ("4>6:4", "G", 0, None),  # draw 5, and blow 7 on the other breath
        ("4>6:4", "F", 5, "4>6"),
        ("4+5>5+6:4", "A", -3, "4+5>5+6"),
        ("7>8>9:4", "C", -12, "4>5>6"),
        ("-3>-3'':4", "low C", 0, "-7>-6"),
        ("-3=-3'':4", "low C", 0, None),  # the same two notes, but a ladder stays on its hole
        ("1+5:4", "C", 12, "4+8"),
        ("1+6:4", "C", 12, None),  # 4+9, wider than a mouth
        ("1+3+5:4", "C", 12, None),  # 4+6+8, with two rows of holes to cover
        ("1+4:4", "G", 0, None),  # draw 2 bent by a whole step, and draw 5 not bent
        ("4+5:4", "low F", 0, None),  # blow 6 and draw 7
        ("-3@-40:4", "F", 0, "-2'@-40"),
        ("-3@-40:4", "G", 0, "4o@+60"),  # an overblow can be raised, blow 5 cannot be bent
        ("-3@+60:4", "C", 0, "-3@+60"),  # the fingering as written is accepted
        ("-4@+60:4", "A", 0, None),
        ("-4'@-10:4", "C", 0, "-4'@-10"),
    ],
)
def test_glides_and_targets_between_half_steps(
    tab: str, harp: str, half_steps: int, expected: str | None
) -> None:
    """Which holes bend, and how far, is common practice."""
    moved = move_by_pitch(drill_of(tab), Harp.of(harp), half_steps)
    assert (tabs(moved) or None) == expected
    assert moved.missing == (0 if expected else 1)


def test_a_slide_skips_no_more_holes_than_it_did() -> None:
    """On a solo harp blow 4 and 5 are one note (common practice)."""
    solo, step = Harp.of("C", "solo"), drill_of("3>4:4").steps[0]
    assert [way.tab for way in step_fingerings(step, target_pitches(step, C), solo)] == ["3>4"]
    wide = drill_of("3>5:4", tuning='"solo"').steps[0]
    assert {way.tab for way in step_fingerings(wide, target_pitches(wide, solo), solo)} == {
        "3>4",
        "3>5",
    }


def test_a_target_may_be_written_from_the_half_step_above() -> None:
    """60 cents over E5 is 40 under F5, which a bent draw 5 of a C harp reaches.

    Common practice: draw 5 bends by less than a half step.
    """
    assert tabs(move_by_pitch(drill_of("-3@+60:4", "F"), C)) == "-5@-40"


@pytest.mark.parametrize(
    ("tab", "harp", "expected"),
    [
        ("1:4", "D", "1, as C4: the D harp has no C4"),
        ("1@+30:4", "D", "1@+30, as C4 30 cents sharp: the D harp has no C4 30"),
        ("1+4:4", "D", "1+4, as C4 with C5: no breath on the D harp sounds these"),
        ("-4'>-4:4", "G", "-4'>-4, as Db5 to D5: neither a hole nor a slide"),
        ("-3=-3':4", "G", "-3=-3', as B4 to Bb4: no hole of the G harp has all"),
    ],
)
def test_a_sentence_for_what_a_harp_cannot_play(tab: str, harp: str, expected: str) -> None:
    """What these harps have is common practice."""
    (problem,) = move_by_pitch(drill_of(tab), Harp.of(harp)).problems
    assert problem.message.startswith(expected)
    assert (problem.line, problem.column, problem.length) == (4, 10, len(tab))


def test_repeats_are_reported_once_and_counted_as_played() -> None:
    moved = move_by_pitch(drill_of("|: 1:1 5:3 :|3"), Harp.of("D"))
    assert (len(moved.problems), moved.missing) == (1, 3)
    assert tabs(moved) == "-4 -4 -4"
    assert [step.index for step in moved.drill.steps] == [0, 1, 2]


def test_a_second_part_and_calls_are_moved_but_not_counted_as_hard() -> None:
    """On an F harp B4 and Bb4 are bends of draw 2, F5 is blow 4 (common practice)."""
    drill = drill_of("{call} -3 -3' r:2 | {answer} r:2 -5:2", second='"""-3:4"""')
    moved = move_by_pitch(drill, Harp.of("F"))
    assert tabs(moved) == "-2' -2'' 4"
    assert [step.tab for step in moved.drill.second] == ["-2'"]
    assert [step.index for step in moved.drill.steps] == [0, 1, 2]
    assert (moved.difficulty, moved.reason) == (0.0, "natural notes close together")
    low = move_by_pitch(drill_of("4:4", second='"""1:4"""'), Harp.of("D"))
    assert (low.missing, low.problems[0].line) == (1, 4)


# Ranking


def test_more_missing_is_worse_then_harder_then_further() -> None:
    arrangements = rank_moves(
        find_drill("ferry-home"), [(Harp.of(k), up) for k in ("C", "F") for up in (0, 12)]
    )
    order = [(a.missing, round(a.difficulty, 6), abs(a.half_steps)) for a in arrangements]
    assert order == sorted(order)
    assert len({arrangement.missing for arrangement in arrangements}) > 1


def test_the_order_in_which_things_are_learnt() -> None:
    """Techniques from easy to hard, as in common practice.

    Natural notes, bends to the floor, those between, blow bends, overblows, overdraws; and bends of
    a low harp after those of a middle one.
    """

    def hard(tab: str, harp: Harp = C) -> float:
        return step_difficulty(drill_of(f"{tab}:4").steps[0], harp)

    assert hard("4") == hard("-4") == hard("-5") == 0
    course = ["-4", "-4'", "-2''", "-3''", "8'", "6o", "5o", "4o", "-7o"]
    assert [hard(tab) for tab in course] == sorted({hard(tab) for tab in course})
    assert hard("-3''") > hard("-2''")
    assert hard("-3'''", Harp.of("low F")) > hard("-3'''", Harp.of("F"))
    assert hard("-3") < hard("-3@-40") < hard("-3'")


def test_hurry_and_far_leaps_make_it_harder() -> None:
    calm = free_of_bars(["4:4", "-5:4", "8:4"])
    quick = free_of_bars(["4:1/2", "-5:1/2", "8:1/2"])
    near = free_of_bars(["4:4", "-5:4", "6:4"])
    beat = seconds_per_beat(calm)
    assert passage_difficulty(near.steps, C, beat) < passage_difficulty(calm.steps, C, beat) - 0.1
    assert passage_difficulty(calm.steps, C, beat) < passage_difficulty(quick.steps, C, beat)
    assert passage_difficulty(quick.steps, C, float("inf")) == pytest.approx(
        passage_difficulty(calm.steps, C, 10.0)
    )


def test_description_of_difficulty() -> None:
    tokens = ["-3'", "-3", "6o", "4>5>6", "10", "6:1/8", "-6:1/8", "6", "1+4", "-7o", "8'"]
    drill = free_of_bars([*tokens, "-3@-40", "5o"], tempo=60)
    assert describe_difficulty(drill.steps, C, 1.0) == (
        "1 overdraw, 2 overblows, 1 blow bend, 1 bend, 1 target between half steps, 1 split, "
        "5 jumps of up to 5 holes, 2 quick changes of breath"
    )


# Properties of every drill

ENTRIES = [str(tab) for tab in C.entries]
SINGLE = st.one_of(
    st.sampled_from(ENTRIES), st.sampled_from(["-3@-40", "-5@-30", "6o@+20", "-2/3"])
)
MOVING = st.sampled_from(
    [
        *("-4'>-4", "-3>-3''>-3", "4>5>6", "7>8", "-2'>-2@-30", "8>8'", "-1+2>-2+3", "6o>6o@+40"),
        *("-3=-3'=-3''", "-2''=-2", "10=10''", "-2=-2@-50"),
        *("4+5", "-2+3+4", "1+4", "-4+8", "3+6>4+7", "-1+2+3+4+5", "-2''+3''", "-3+5"),
    ]
)
LENGTHS = st.sampled_from(["", ":1/8", ":1/2", ":2", ":2/3"])
TOKENS = st.tuples(st.one_of(SINGLE, MOVING), LENGTHS).map("".join)
KEYS = st.sampled_from([prefix + key for key in STANDARD_KEYS for prefix in ("", "low ")])
HARPS = st.builds(Harp.of, KEYS, st.sampled_from(tuning_names()))
SHIFTS = st.integers(-14, 14)
SLOW = settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))


def cents_of(step: Step, harp: Harp, half_steps: int = 0) -> list[list[float]]:
    """Return the targets of all sounds of a drill, in cents on the scale of MIDI numbers."""
    return [
        sorted(100.0 * (harp.midi(tab) + half_steps) + step.offset_cents(place) for tab in sound)
        for place, sound in enumerate(step.sounds)
    ]


@given(st.lists(TOKENS, min_size=1, max_size=8), HARPS, SHIFTS)
@SLOW
def test_pitches_and_times_stay_and_all_steps_are_playable(
    tokens: list[str], harp: Harp, half_steps: int
) -> None:
    drill = free_of_bars(tokens)
    moved = move_by_pitch(drill, harp, half_steps)
    before = {step.start: step for step in drill.steps}
    assert len(moved.drill.steps) + moved.missing == len(drill.steps)
    assert bool(moved.missing) == bool(moved.problems)
    assert not find_unplayable(moved.drill.steps, harp)
    for step in moved.drill.steps:
        old = before[step.start]
        assert (step.beats, step.cleanness_rule, step.ladder) == (
            old.beats,
            old.cleanness_rule,
            old.ladder,
        )
        wanted = cents_of(old, C, half_steps)
        for sound, asked in zip(cents_of(step, harp), wanted, strict=True):
            assert sound == pytest.approx(asked)
        assert len({tab.breath for sound in step.sounds for tab in sound}) == 1
        assert not step.ladder or len({tab.hole for sound in step.sounds for tab in sound}) == 1
        assert not step.alternative or harp.midi(step.alternative) == harp.midi(step.first[0])


NOTES = st.lists(st.tuples(st.sampled_from(ENTRIES), LENGTHS).map("".join), min_size=1, max_size=5)
TWINS = st.lists(
    st.tuples(st.sampled_from(["-2", "3", "4", "7", "6", "1", "-4"]), LENGTHS).map("".join),
    min_size=4,
    max_size=8,
)
"""Notes of which a standard or a solo harp has several on two holes."""
WITH_TWINS = st.sampled_from([C, Harp.of("C", "solo")])


@given(
    st.one_of(
        st.tuples(NOTES, HARPS, SHIFTS),
        st.tuples(TWINS, WITH_TWINS, st.just(0)),
    )
)
@settings(SLOW, max_examples=200)
def test_no_other_fingering_is_easier(given_: tuple[list[str], Harp, int]) -> None:
    """Compare with every combination of the harp's entries for each note."""
    tokens, harp, half_steps = given_
    drill = free_of_bars(tokens, tempo=120)
    moved = move_by_pitch(drill, harp, half_steps)
    choices = []
    for step in drill.steps:
        note = C.midi(step.first[0]) + half_steps
        entries = [tab for tab in harp.entries if harp.midi(tab) == note]
        choices.append([replace(step, sounds=((tab,),)) for tab in entries])
    playable = [some for some in choices if some]
    assert moved.missing == len(choices) - len(playable)
    efforts = [
        passage_difficulty(path, harp, seconds_per_beat(drill)) for path in product(*playable)
    ]
    assert moved.difficulty == pytest.approx(min(efforts))
    assert passage_difficulty(moved.drill.steps, harp, 0.5) == pytest.approx(moved.difficulty)


@given(st.lists(TOKENS, min_size=1, max_size=8), st.sampled_from(STANDARD_KEYS))
@SLOW
def test_a_harp_in_another_key_plays_it_in_that_key(tokens: list[str], key: str) -> None:
    """The tab of the drill itself is one of the ways, so none is missing and none is harder."""
    drill, harp = free_of_bars(tokens), Harp.of(key)
    moved = move_by_pitch(drill, harp, harp.key.tonic - C.key.tonic)
    assert not moved.missing
    assert moved.difficulty <= passage_difficulty(drill.steps, harp, seconds_per_beat(drill)) + 1e-9
    assert arrangement_position(drill, moved, 2) == 2


@given(st.lists(TOKENS, min_size=1, max_size=8), KEYS)
@SLOW
def test_by_holes_there_and_back_is_the_same_drill(tokens: list[str], key: str) -> None:
    drill, harp = free_of_bars(tokens), Harp.of(key)
    there = move_by_holes(drill, harp)
    assert there.drill.steps == drill.steps
    assert (there.drill.key, there.half_steps) == (harp.key.name, harp.key.tonic - 60)
    assert move_to_harp(there.drill, C) == drill


@given(st.lists(TOKENS, min_size=1, max_size=8), HARPS, SHIFTS)
@SLOW
def test_by_pitch_there_and_back_sounds_the_same(
    tokens: list[str], harp: Harp, half_steps: int
) -> None:
    drill = free_of_bars(tokens)
    there = move_by_pitch(drill, harp, half_steps)
    back = move_by_pitch(there.drill, C, -half_steps)
    before = {step.start: cents_of(step, C) for step in drill.steps}
    for step in back.drill.steps:
        for sound, asked in zip(cents_of(step, C), before[step.start], strict=True):
            assert sound == pytest.approx(asked)


# By holes


def test_both_parts_are_moved_by_holes_and_missing_entries_are_reported() -> None:
    """Draw 5 of a country harp bends by a half step.

    On a standard harp it bends by less (common practice).
    """
    drill = drill_of("4:4", tuning='"country"', second='"""-5:4"""')
    assert move_to_harp(drill, Harp.of("A")).second == drill.second
    for tab, expected in [
        ("-5':4", "-5' cannot be played on a A harp: hole 5 draw bends by less"),
        ("-5@-80:4", "-5 cannot be moved 80 cents down on a A harp; choose a target"),
    ]:
        drill = drill_of("4:4", tuning='"country"', second=f'"""{tab}"""')
        assert move_to_harp(drill, Harp.of("A", "country")).second == drill.second
        with pytest.raises(DrillError) as caught:
            move_to_harp(drill, Harp.of("A"))
        (problem,) = caught.value.problems
        assert problem.message.startswith(expected)
        assert (problem.line, problem.column, problem.length) == (5, 13, len(tab))


def test_either_of_two_holes_must_stay_one_note() -> None:
    with pytest.raises(DrillError, match="-2 and 3 are different notes on a C, raised-third-"):
        move_to_harp(drill_of("-2/3:4"), Harp.of("C", "raised-third-blow"))


# Search for a harp


def test_the_ways_on_one_harp() -> None:
    scale = drill_of("4 -4 5 -5 | 6 -6 -7 7")
    second = arrangements_for_harp(scale, C, position=2)
    assert {arrangement_position(scale, way) for way in second} == {2}
    # The major scale of second position, from draw 2 and from blow 6 (common practice).
    assert {tabs(way) for way in second} >= {
        "-2/3 -3'' -3 4 -4 5 5o 6",
        "6 -6 -7 7 -8 8 9' 9",
    }
    assert [way.half_steps for way in arrangements_for_harp(scale, C, half_steps=2)] == [2]
    assert tabs(arrangements_for_harp(scale, C)[0]) == "4 -4 5 -5 6 -6 -7 7"
    with pytest.raises(DrillError, match="leave out the half steps or the position"):
        arrangements_for_harp(scale, C, position=2, half_steps=1)


def test_a_half_valved_harp_bends_where_another_is_overblown() -> None:
    """The raised fourth and the flat seventh of the middle octave (common practice)."""
    chromatic = drill_of("4 5o -5 6o | 6 -6 -7 7")
    valved = Harp.of("C", "half-valved")
    (way,) = (way for way in arrangements_for_harp(chromatic, valved) if way.half_steps == 0)
    assert tabs(way) == "4 6' -5 -7' 6 -6 -7 7"
    (back,) = (way for way in arrangements_for_harp(way.drill, C) if way.half_steps == 0)
    assert tabs(back) == "4 5o -5 6o 6 -6 -7 7"


def test_all_harps_are_tried_each_in_its_best_octave() -> None:
    blues = drill_of("-2 -3' 4 -4' | -4 -5 6:2")
    ways = arrangements_for_tuning(blues, "richter", written=2)
    # The blues scale of third position (common practice) needs but one bend.
    assert (ways[0].harp.name, arrangement_position(blues, ways[0], 2)) == ("low F", 3)
    assert tabs(ways[0]) == "-4 -5 6 -6' -6 7 -8"
    assert tabs(next(way for way in ways if way.harp.name == "C")) == "-2/3 -3' 4 -4' -4 -5 6"
    assert len({way.harp.name for way in ways}) == len(ways) == 24
    assert {way.half_steps for way in ways if way.harp.name.startswith("low")} == {0}
    assert {way.half_steps % 12 for way in ways} == {0}
    first = arrangements_for_tuning(blues, "richter", written=2, position=1)
    assert {way.harp.name for way in first} == {"G", "low G"}
    assert {arrangement_position(blues, way, 2) for way in first} == {1}
    up = arrangements_for_tuning(blues, "richter", written=2, half_steps=2)
    assert (up[0].harp.name, {way.half_steps for way in up}) == ("G", {2})


# The command


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Callable[..., Result]:
    """Run the command in an empty folder, 80 columns wide."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    return lambda *words: CliRunner().invoke(app, ["move", *words])


def test_by_holes_is_the_default(run: Callable[..., Result]) -> None:
    done = run("half-step-on-four", "--harp", "low f")
    assert done.exit_code == ExitCode.OK
    assert "low F harp, 1st position, 7 half steps down:" in done.output
    assert tab_page_text(find_drill("half-step-on-four"), 80) in done.output
    assert max(map(len, done.output.split("\n"))) <= 80


def test_by_pitch_shows_the_ways_and_the_page_of_the_best(run: Callable[..., Result]) -> None:
    done = run("ferry-home", "--by", "pitch", "--harp", "C", "--from", "2")
    assert done.exit_code == ExitCode.OK
    head, table, best, *music = done.output.split("\n\n")
    assert head == "Ferry home: written for the C harp, taken as 2nd position."
    rows = [row.split() for row in table.split("\n")]
    assert rows[1][:4] == ["C", "2nd", "0", "none"]
    assert best == "C harp, 2nd position, at the same pitch:"
    moved = arrangements_for_harp(find_drill("ferry-home"), C)[0].drill
    assert "\n\n".join(music).rstrip("\n") == tab_page_text(moved, 80)
    listed = json.loads(run("ferry-home", "--by", "pitch", "--format", "json").output)
    assert (listed["harp"], listed["position"], len(listed["ways"])) == ("C", 1, 24)
    assert listed["ways"][0]["steps"] == [step.tab for step in moved.steps]
    assert all(bool(way["missing"]) == bool(way["problems"]) for way in listed["ways"])


def test_missing_notes_have_positions_in_the_file(run: Callable[..., Result]) -> None:
    source = 'title = "T"\nharp = "C"\ntempo = 90\ntab = """\n4:1 1:3 | # low\n"""\n'
    Path("low.toml").write_text(source, encoding="utf-8")
    words = ("low.toml", "--by", "pitch", "--harp", "D", "--half-steps", "0")
    done = run(*words)
    assert done.exit_code == ExitCode.FAILED
    assert done.stderr == (
        "low.toml:5:5: 1, as C4: the D harp has no C4\n    4:1 1:3 | # low\n        ^^^\n"
    )
    refused = run(*words, "--out", "new.toml")
    assert refused.exit_code == ExitCode.FAILED
    assert "new.toml was not written" in refused.stderr
    assert not Path("new.toml").exists()


def test_the_best_is_written_as_a_drill_file(run: Callable[..., Result]) -> None:
    words = ("ferry-home", "--by", "pitch", "--from", "2", "--position", "1")
    assert run(*words, "--out", "new.toml").exit_code == ExitCode.OK
    ferry = find_drill("ferry-home")
    best = arrangements_for_tuning(ferry, "richter", written=2, position=1)[0].drill
    assert read_drill("new.toml") == replace(best, name="new")
    kept = Path("new.toml").read_text(encoding="utf-8")
    assert "new.toml exists already" in str(run("ferry-home", "--out", "new.toml").exception)
    assert Path("new.toml").read_text(encoding="utf-8") == kept
    forced = run("ferry-home", "--harp", "A", "--out", "new.toml", "--force")
    assert forced.exit_code == ExitCode.OK
    assert read_drill("new.toml") == replace(move_to_harp(ferry, Harp.of("A")), name="new")


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ((), "name the target harp, as in --harp A, or add --by pitch"),
        (
            ("--harp", "A", "--position", "2"),
            "--position needs --by pitch",
        ),
        (("--harp", "A", "--half-steps", "-2"), "--half-steps needs --by pitch"),
        (("--harp", "H"), "no harp has the key 'H'"),
        (("--by", "pitch", "--tuning", "x"), "no tuning is called 'x'"),
        (
            ("--harp", "A", "--tuning", "solo"),
            "-4' cannot be played on a A, solo harp: hole 4 blow",
        ),
        (("--by", "pitch", "--harp", "high F#", "--half-steps", "-36"), "none of its notes"),
        (
            ("--by", "pitch", "--harp", "A", "--half-steps", "1", "--position", "2"),
            "leave out the half steps",
        ),
        (("--harp", "A", "--out", "new.txt"), "end it in .toml"),
        (("--harp", "A", "--out", "no/such.toml"), "no/such.toml cannot be written"),
    ],
)
def test_impossible_moves_are_refused(
    run: Callable[..., Result], words: tuple[str, ...], expected: str
) -> None:
    done = run("ferry-home", *words)
    assert isinstance(done.exception, DrillError | HarpError)
    assert expected in str(done.exception)


def test_the_command_helps_with_examples() -> None:
    helped = CliRunner().invoke(app, ["move", "--help"])
    assert helped.exit_code == ExitCode.OK
    assert "trainer drill move ferry-home --harp A" in helped.output
