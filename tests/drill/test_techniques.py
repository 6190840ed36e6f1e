"""Techniques in tab: shakes, inflections, grace notes, articulation, dynamics, choices, endings."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any

import pytest

from trainer.drill import (
    Articulation,
    CleannessRule,
    Drill,
    DrillError,
    Inflection,
    Shake,
    Step,
    Vibrato,
    VibratoKind,
    format_drill,
    lint_drill,
    parse_drill,
    write_drill,
)
from trainer.drill.transpose import move_by_pitch
from trainer.harp import Harp, Tab


def written(tab: str, **head: str) -> str:
    fields = {"title": '"T"', "harp": '"C"', "tempo": "90", **head}
    lines = [f"{name} = {value}" for name, value in fields.items()]
    return "\n".join([*lines, f'tab = """{tab}"""', ""])


def drill_of(tab: str, **head: str) -> Drill:
    return parse_drill(written(tab, **head), "t")


def step_of(token: str) -> Step:
    return drill_of(f"{token} 5:1 r:2").steps[0]


def sound(*tabs: str) -> tuple[Tab, ...]:
    return tuple(map(Tab.parse, tabs))


NOTATION: dict[str, dict[str, Any]] = {
    "-4:1{blur}": {"cleanness_rule": CleannessRule.BLUR},
    "-4:1{around}": {"cleanness_rule": CleannessRule.AROUND},
    "-4<>5:1": {"sounds": (sound("-4"),), "shake": Shake(sound("-5"), 6.0)},
    "-4<>5:1{shake 4.5}": {"shake": Shake(sound("-5"), 4.5)},
    "-4'<>5:1{shake}": {"sounds": (sound("-4'"),), "shake": Shake(sound("-5"))},
    "4+5<>5+6:1": {"sounds": (sound("4", "5"),), "shake": Shake(sound("5", "6"))},
    "-3@-40<>4:1": {"offsets_cents": (-40.0,), "shake": Shake(sound("-4"))},
    "-4:1{scoop}": {"scoop": Inflection(Fraction(1, 2), 100.0)},
    "-4:1{scoop 1/3 150}": {"scoop": Inflection(Fraction(1, 3), 150.0)},
    "-4:1{scoop 0.25 80.5}": {"scoop": Inflection(Fraction(1, 4), 80.5)},
    "-4:1{dip}": {"scoop": Inflection(Fraction(1, 6), 100.0)},
    "-4:1{dip 60}": {"scoop": Inflection(Fraction(1, 6), 60.0)},
    "-4:1{fall}": {"fall": Inflection(Fraction(1, 2), 100.0)},
    "-4:1{fall 1 200}": {"fall": Inflection(Fraction(1), 200.0)},
    "-4:1{dip, fall}": {
        "scoop": Inflection(Fraction(1, 6), 100.0),
        "fall": Inflection(Fraction(1, 2), 100.0),
    },
    "^-5 -4:1": {"grace": sound("-5"), "beats": Fraction(1)},
    "^-4+5 -4:1{accent}": {"grace": sound("-4", "-5"), "accent": True},
    "-4:1{tongued}": {"articulation": Articulation.TONGUED},
    "-4:1{legato, accent}": {"articulation": Articulation.LEGATO, "accent": True},
    "-4:1{staccato}": {"articulation": Articulation.STACCATO},
    "-4:1{swell}": {"swell_db": 6.0},
    "-4:1{swell 9.5}": {"swell_db": 9.5},
    "-4:1{fade}": {"swell_db": -6.0},
    "-4:1{fade 3}": {"swell_db": -3.0},
    "-4:1{vibrato 4 15}": {"vibrato": Vibrato(4.0, 15.0, VibratoKind.THROAT)},
    "-4:1{throat  vibrato}": {"vibrato": Vibrato()},
    "-4:1{hand vibrato}": {"vibrato": Vibrato(5.0, 0.0, VibratoKind.HAND, 6.0)},
    "-4:1{hand vibrato 6 9}": {"vibrato": Vibrato(6.0, 0.0, VibratoKind.HAND, 9.0)},
    "-4:1{slap}": {"slap": True},
    "-3/-3':1": {"alternative": Tab.parse("-3'"), "has_bent_choice": True},
    "-2/3:1": {"alternative": Tab.parse("3"), "has_bent_choice": False},
    "-4:1{optional}": {"optional": True},
    "-4:0.25 -4:0.75": {"beats": Fraction(1, 4)},
}


@pytest.mark.parametrize("token", NOTATION)
def test_a_technique_is_read_and_written(token: str) -> None:
    tab = f"{token} 5:3"
    drill = drill_of(tab)
    step = drill.steps[0]
    assert {name: getattr(step, name) for name in NOTATION[token]} == NOTATION[token]
    assert not step.is_glide
    assert not step.has_path
    assert parse_drill(write_drill(drill), "t") == drill
    formatted = format_drill(written(tab), "t")
    assert parse_drill(formatted, "t") == drill
    assert format_drill(formatted, "t") == formatted


def test_the_tab_of_a_shake_has_both_sounds() -> None:
    step = step_of("-4@-10<>5:1")
    assert step.tab == "-4@-10<>5"
    assert step.tabs == (Tab.parse("-4"), Tab.parse("-5"))


@pytest.mark.parametrize(
    ("tab", "expected"),
    [
        ("-4<>4:4", "the shake '-4<>4' names the same sound twice"),
        ("-4<>-5:4", "write one breath sign in front of the shake '-4<>-5', as -4<>5"),
        ("-4<>5>6:4", "a shake is between two sounds only"),
        ("-4<>5<>6:4", "a shake is between two sounds only"),
        ("-4<>:4", "the shake '-4<>' lacks a sound; write one on each side of '<>', as in -4<>5"),
        ("<>4:4", "the shake '<>4' lacks a sound"),
        ("4+5<>6:4", "a shake keeps its number of holes"),
        ("-4<>5@-20:4", "leave out the cents of the second sound"),
        ("-4<>11:4", "holes"),
        ("-4<>5:4{shake 9}", "'9' in shake must be a number from 4 to 8"),
        ("-4:4{shake 5}", "shake is the rate of a shake; write -4 with another hole, as -4<>5"),
        ("-4<>5:4{vibrato}", "cannot have both a shake and vibrato; leave one of them out"),
        ("{scoop} -4:2 -4<>5:2", "cannot have both a shake and a scoop"),
        ("-4<>5:4{staccato}", "cannot have both a shake and staccato"),
        ("-4'>-4:4{scoop}", "'-4'>-4' cannot have both a glide and a scoop"),
        ("-3=-3':4{fall}", "'-3=-3'' cannot have both a ladder and a fall"),
        ("-3/-3':4{fall}", "cannot have both a choice of notes and a fall"),
        ("4:4{wah, hand vibrato}", "cannot have both hand vibrato and a wah"),
        ("4+5:4{slap}", "cannot have both a slap and a chord"),
        ("2:4{slap}", "'2' has no two holes below it to slap; write slap from hole 3 up"),
        ("-4:4{around, slap}", "cannot have both a slap and a chord gesture"),
        ("-4:4{staccato, legato}", "staccato and legato exclude each other; write one of them"),
        ("-4:4{swell, fade}", "swell and fade exclude each other"),
        ("-4:4{scoop, dip}", "scoop and dip exclude each other"),
        ("-4:4{clean, blur}", "clean and blur exclude each other"),
        ("-4:4{scoop 1/2}", "'scoop 1/2' is not a direction; write scoop 1/2 100, or only scoop"),
        ("-4:4{scoop 5 100}", "'5' in scoop must be a length from 1/16 to 4"),
        ("-4:4{scoop 1/0 100}", "'1/0' in scoop must be a length from 1/16 to 4"),
        ("-4:4{scoop 1/2 10}", "'10' in scoop must be a number from 20 to 400"),
        ("-4:4{vibrato 1/2 20}", "'1/2' in vibrato must be a number from 3 to 9"),
        ("-4:4{swell 30}", "'30' in swell must be a number from 1 to 20"),
        ("-4:4{hand vibrato 5 30}", "vibrato must be a number from 1 to 20"),
        ("-4:4{lip vibrato}", "no direction is called 'lip vibrato'"),
        ("-4:4{stacato}", "did you mean staccato?"),
        ("-4:4{tongued 3}", "'tongued 3' is not a direction; write only tongued"),
        ("^-5:1 -4:4", "write only ^ and a note, as in ^-5 -4:1"),
        ("^-5{fall} -4:4", "write only ^ and a note"),
        ("^-5@-20 -4:4", "leave out the cents of the grace note '^-5@-20'"),
        ("^x -4:4", "'x' is not tab"),
        ("^ -4:4", "write a note"),
        ("^-4 -4:4", "the grace note ^-4 is the same as its note"),
        ("^-5 r:1 -4:3", "a grace note must stand right before its note"),
        ("-4:4 ^-5", "a grace note must stand right before its note"),
        ("-4:4 ^-5 | -4:4", "a grace note must stand right before its note"),
        ("-4:2 ^-5 ~:2", "a grace note must stand right before its note"),
        ("^-5 ^-6 -4:4", "a grace note must stand right before its note"),
        ("^-5 {accent} -4:4", "a grace note must stand right before its note"),
        ("^-5 -4:4{scoop}", "cannot have both a grace note and a scoop"),
        ("^-4'''' -4:4", "hole 4 bends on the draw, by 1 half step"),
        ("-3/-4:4", "-3 and -4 are different notes on a C harp"),
        ("6/6o:4", "6 and 6o are different notes on a C harp"),
    ],
)
def test_a_wrong_technique_is_explained(tab: str, expected: str) -> None:
    with pytest.raises(DrillError, match=re.escape(expected)) as caught:
        drill_of(tab)
    assert len(caught.value.problems) == 1


def tabs_of(drill: Drill) -> str:
    return " ".join(step.tab for step in drill.steps)


@pytest.mark.parametrize(
    ("tab", "played"),
    [
        ("|: 4:4 |1-3. 5:4 :| |4. 6:4", "4 5 4 5 4 5 4 6"),
        ("|: 4:4 |1-3. 5:4 :|4 |4. 6:4 :| 7:4", "4 5 4 5 4 5 4 6 7"),
        ("|: 4:4 |1,3. 5:4 :| |2. 6:4 :|", "4 5 4 6 4 5"),
        ("|: 4:4 |1. 5:4 :| |2-3. 6:4 :| 7:4", "4 5 4 6 4 6 7"),
        ("|: 4:4 |1-2,4. 5:4 :| |3. 6:4 :|", "4 5 4 5 4 6 4 5"),
        ("|: 4:4 |1-2. 5:4 :| |: 6:4 :|", "4 5 4 5 6 6"),
    ],
)
def test_endings_are_for_lists_of_times(tab: str, played: str) -> None:
    assert tabs_of(drill_of(tab)) == played


def test_grace_notes_stand_in_groups_and_repeats() -> None:
    drill = drill_of("|: [^-5 -4 5 ^6 5]:2 ^-3'' -3':2 :|")
    assert [step.grace for step in drill.steps[:4]] == [sound("-5"), (), sound("6"), sound("-3''")]
    assert drill.steps[4:7] == tuple(
        Step(
            index=step.index + 4,
            sounds=step.sounds,
            start=step.start + 4,
            beats=step.beats,
            bar=2,
            grace=step.grace,
        )
        for step in drill.steps[:3]
    )
    assert parse_drill(write_drill(drill), "t") == drill


def test_a_former_name_is_read_and_rewritten() -> None:
    old = written("\n{loose} 4:1 -4:1 {} 5:1{ loose ,accent} r:1 | # loose\n")
    drill = parse_drill(old, "t")
    assert [step.cleanness_rule for step in drill.steps] == [CleannessRule.BLUR] * 3
    new = format_drill(old, "t")
    assert "{blur} 4:1" in new
    assert "5:1{blur, accent}" in new
    assert "# loose" in new
    assert parse_drill(new, "t") == drill


@pytest.mark.parametrize(
    ("tab", "expected"),
    [
        ("-4<>6:4", "those of -4<>6 are 2 holes apart"),
        ("-3<>3':4", "those of -3<>3' are on one hole"),
        ("-4<>5:1/4 -4:15/4", "1.0 cycles of the shake are too few"),
        ("-4:1{scoop 1 100} -4:3", "make the note longer or the scoop shorter"),
        ("-4:1{dip,fall 2/3 100} -4:3", "make the note longer or the scoop and the fall shorter"),
        ("5:4{dip}", "scoop of 100 cents: 5: the target is 100 cents below the reed, but hole 5"),
        ("-4':4{scoop}", "is 200 cents below the reed, but hole 4 draw bends by about"),
        ("-3:4{fall 1 400}", "fall of 400 cents: -3: the target is 400 cents below"),
        ("-4:1/16{dip} -4:63/16", "make the note longer or the scoop shorter"),
        ("-4:1/2{dip} -4:7/2", ""),
        ("-4:1{scoop 1/16 100} -4:3", "make the scoop longer: 42 ms is too short to hear"),
        ("-4:1{vibrato} -4:3", "667 ms is too short for throat vibrato (minimum 1000 ms)"),
        ("-4:1{hand vibrato} -4:3", ""),
        ("-4:1/4{staccato} -4:15/4", "167 ms is too short for staccato (minimum 200 ms)"),
        ("-4:1/2{swell} -4:7/2", "333 ms is too short for a swell or fade (minimum 500 ms)"),
        ("4:3 ^1 4:1", "take a grace note nearer to 4: 1 is 3 holes away"),
        ("-4:15/4 -5:1/4 | ^-5 -4:4", "leave out the grace note, or make -5 before it longer"),
        ("-4:2{legato} 4:2", "end {legato} here: 4 needs another breath"),
        ("-4:2{legato} -4:2", "end {legato} here: -4 again needs an attack"),
        ("{legato} -4:2 -5:2", ""),
        ("{accent} -4:2 -5:2", "leave some notes around it without accent"),
        ("-4:2{accent} -5:2", ""),
        ("{optional} -4:2 -5:2", "write some notes without 'optional'"),
        (
            "{loose} -4:2 -5:2",
            "write {blur} for {loose}, its former name, or run trainer drill fmt",
        ),
    ],
)
def test_techniques_that_cannot_be_played_or_judged_are_warned_of(tab: str, expected: str) -> None:
    source = written(tab, about='"A"')
    warnings = [problem.message for problem in lint_drill(source, parse_drill(source, "t"))]
    if expected:
        assert any(expected in warning for warning in warnings), warnings
    else:
        assert warnings == []


def moved(tab: str, harp: Harp, half_steps: int = 0) -> Step | None:
    arrangement = move_by_pitch(drill_of(tab), harp, half_steps)
    return arrangement.drill.steps[0] if arrangement.drill.steps else None


def test_a_shake_moves_by_pitch_to_two_neighbouring_holes_of_one_breath() -> None:
    """Draw 4 and 5 of a C harp are D and F; a harp in solo tuning has them on draw 5 and 6."""
    step = moved("-4<>5:4{shake 5}", Harp.of("C", "solo"))
    assert step is not None
    assert step.tab == "-5<>6"
    assert step.shake == Shake(sound("-6"), 5.0)
    up = moved("4<>5:4", Harp.of("C"), 12)
    assert up is not None
    assert up.tab == "7<>8"
    # A G harp has D and F on blow 9 and on blow 10 bent: no shake without a bend.
    assert moved("-4<>5:4", Harp.of("G"), 12) is None
    assert moved("-4'<>5:4", Harp.of("C")) is not None


def test_a_shake_that_no_harp_has_is_left_out_and_reported() -> None:
    arrangement = move_by_pitch(drill_of("-4<>5:4"), Harp.of("C#"))
    assert arrangement.missing == 1
    assert "no two holes" in arrangement.problems[0].message


def test_bent_or_not_moves_by_pitch_to_a_hole_that_has_both() -> None:
    """B and B flat: on an F harp both are on no hole; on a C harp on draw 3, not on draw 7."""
    step = moved("-3/-3':4", Harp.of("C"))
    assert step is not None
    assert step.tab == "-3/-3'"
    octave = moved("-3/-3':4", Harp.of("C"), 12)
    assert octave is not None
    assert octave.tab == "-7"


def test_grace_notes_and_scoops_move_by_pitch() -> None:
    """A fourth up; the scoop goes to a reed that bends."""
    step = moved("^4 -4:4", Harp.of("C"), 12)
    assert step is not None
    assert (step.tab, step.grace) == ("-8", sound("7"))
    scooped = moved("3:4{scoop}", Harp.of("C"))
    assert scooped is not None
    assert (scooped.tab, scooped.alternative) == ("-2", None)
