"""Solos and grounds in drill files."""

from __future__ import annotations

from fractions import Fraction

import pytest

from trainer.drill import (
    Drill,
    DrillError,
    GroundRole,
    ground_notes,
    lint_drill,
    move_by_holes,
    parse_drill,
    write_drill,
)
from trainer.drill.transpose import move_by_pitch
from trainer.harp import Harp
from trainer.music import MusicError, parse_chord

SOURCE = """title = "T"
about = "Trains."
harp = "C"
tempo = 90
position = 2

tab = \"\"\"
{call} -4:1 5:1 -4:2 | {answer} solo:4 | solo:3 r:1 | {call} -4:4 | {answer} solo:4 | -2:4 |
\"\"\"

[ground]
play = "bass"
chords = \"\"\"
I7 | % | IV7 V7 |
\"\"\"

[solo]
scale = "blues"
"""


def drill(old: str = "", new: str = "") -> Drill:
    assert old in SOURCE
    return parse_drill(SOURCE.replace(old, new, 1) if old else SOURCE, "t")


def test_neighbouring_solos_are_one_passage_and_a_written_drill_is_the_same() -> None:
    read = drill()
    assert [(solo.start, solo.beats, solo.bar) for solo in read.solos] == [(4, 7, 2), (16, 4, 5)]
    assert parse_drill(write_drill(read), "t") == read
    assert [solo.bar for solo in read.solos_in((3, 6))] == [5]


def test_a_ground_is_repeated_to_the_end_and_shared_within_a_bar() -> None:
    chords = drill().chords
    assert [each.chord.in_key for each in chords] == ["I7", "I7", "IV7", "V7"] * 2
    assert [each.beats for each in chords[:4]] == [4, 4, 2, 2]
    assert chords[-1].end == 24


def test_chords_by_name_are_those_in_the_key() -> None:
    assert drill("I7 | % | IV7 V7", "G7 | G7 | C7 D7").chords == drill().chords
    assert parse_chord("bVII", 7).name(7) == "F"
    assert parse_chord("iv7", 0).in_key == "iv7"
    with pytest.raises(MusicError, match="is not a kind of chord"):
        parse_chord("G11", 0)


@pytest.mark.parametrize(
    ("old", "new", "line", "expected"),
    [
        ("IV7 V7", "IV7 X7", 14, "'X7' is not a chord"),
        ("I7 | %", "% | I7", 14, "repeats the one before"),
        ("position = 2\n", "", 16, "add 'position'"),
        ('scale = "blues"', 'scale = "blue"', 18, "'scale' must be one of"),
        ('\n[solo]\nscale = "blues"\n', "", 7, "add a [solo] table"),
        ("{answer} solo:4 | -2:4", "solo:4 | -2:4", 8, "write {answer} before the solo"),
        ("| -2:4 |", "|", 8, "write a note for the player"),
        ("solo:3 r:1", "solo r:1", 8, "a length is missing after solo"),
        ("solo:3 r:1", "solo:4{clean}", 8, "leave out the directions"),
        ("solo:3 r:1", "[solo:1 4]:4", 8, "a solo inside [ ]"),
        ("I7 | %", "I7 | I7 | I7 | I7 | I7 | I7", 13, "take bars out"),
        ("tempo = 90", 'tempo = 90\nclock = "free"', 5, "leave out the free clock"),
    ],
)
def test_what_is_wrong_is_said_at_its_place(old: str, new: str, line: int, expected: str) -> None:
    with pytest.raises(DrillError) as error:
        drill(old, new)
    problem = next(each for each in error.value.problems if expected in each.message)
    assert problem.line == line


def test_aims_at_solos_name_what_solos_are_judged_on() -> None:
    text = SOURCE + '\n[aim]\nphrases = ["solos"]\n'
    assert parse_drill(text, "t").aims[0].is_on_solos
    with pytest.raises(DrillError, match="solos are not judged on that"):
        parse_drill(text.replace("phrases", "motion"), "t")


def test_lint_of_solos() -> None:
    def messages(text: str) -> str:
        return " ".join(problem.message for problem in lint_drill(text, parse_drill(text, "t")))

    short = SOURCE.replace("{call} -4:4 | {answer} solo:4", "{call} -4:2 {answer} solo:2 | -4:4")
    assert "too short for a phrase" in messages(short)
    assert "has no note of #" not in messages(SOURCE)
    foreign = SOURCE.replace("IV7 V7", "VII5")
    assert "blues has no note of VII5" not in messages(foreign)  # its fifth is the flat fifth
    assert "blues has no note of III5" in messages(SOURCE.replace("IV7 V7", "III5"))
    without = SOURCE[: SOURCE.index("[ground]")] + SOURCE[SOURCE.index("[solo]") :]
    assert "add a [ground]" in messages(without + '\n[aim]\nharmony = ["solos"]\n')


def test_another_harp_keeps_the_key_of_ground_and_scale() -> None:
    by_holes = move_by_holes(drill(), Harp.of("A")).drill
    assert by_holes.position == 2
    by_pitch = move_by_pitch(drill(), Harp.of("G")).drill
    assert by_pitch.position == 1  # G on a G harp


def test_the_bass_plays_the_notes_of_the_chords_on_each_beat() -> None:
    notes = ground_notes(drill(), (1, 1))
    assert [note.start for note in notes] == [0, 1, 2, 3]
    assert {note.role for note in notes} == {GroundRole.BASS}
    assert [note.midi(Harp.of("C")) % 12 for note in notes] == [7, 2, 11, 2]  # G D B D
    assert ground_notes(drill('play = "bass"', 'play = "drone"'))[0].end == Fraction(4)
    strong = [n for n in ground_notes(drill('play = "bass"\n', "")) if n.role is GroundRole.BASS]
    assert [note.start % 2 for note in strong] == [0] * len(strong)
