"""Common blunders: each is reported at its place with a way out, and the way out is right."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from trainer.drill import lint_drill, parse_drill


@dataclass(frozen=True)
class Blunder:
    """A drill with a blunder, and one without.

    Attributes:
        tab: the music.
        at: column of the blunder in the line of the tab, from 1.
        message: the beginning of the message.
        better: the music put right.
        fields, better_fields: fields beside the usual ones.
    """

    tab: str
    at: int
    message: str
    better: str = ""
    fields: str = "tempo = 80"
    better_fields: str = ""


QUICK, SLOW = "tempo = 120", "tempo = 60"
BLUNDERS = {
    "two gaps in a chord": Blunder("4:2 1+3+5:2 |", 5, "write holes side by side", "4:2 1+4:2 |"),
    "wider than a mouth": Blunder("4:2 1+7:2 |", 5, "take holes nearer together", "4:2 1+4:2 |"),
    "the wrong one of two holes": Blunder(
        "-1:1 -2:1/2 3:1/2 -3:1/2 -3:1/2 r:1 |",
        13,
        "write -2, the same note on the breath of its neighbours",
        "-1:1 -2:1/2 -2:1/2 -3:1/2 -3:1/2 r:1 |",
        QUICK,
    ),
    "a bend too quick to find": Blunder(
        "-4:1 -4':1/4 -4:1/4 5:1/2 r:2 |",
        6,
        "make the bend longer",
        "-4:1 -4':1/2 -4:1/2 r:2 |",
        QUICK,
    ),
    "no rest": Blunder(
        "4:2 -4:2 | " * 10, 82, "add a rest: more than 30 s", "4:2 -4:1 r:1 | " * 10, SLOW
    ),
    "swing without eighths": Blunder(
        "4:1 -4:1 5:1 -5:1 |", 0, "leave out 'swing'", fields="swing = 2\ntempo = 80"
    ),
    "swing written out": Blunder(
        "[4:2 -4:1]:1 [4:2 -4:1]:1 [4:2 -4:1]:1 [4:2 -4:1]:1 |",
        0,
        "write swing = 2",
        "4:1/2 -4:1/2 4:1/2 -4:1/2 4:1/2 -4:1/2 4:1/2 -4:1/2 |",
        better_fields="swing = 2\ntempo = 80",
    ),
    "a bend in a first drill": Blunder(
        "-4:2 -4':2 |",
        6,
        "raise 'level' to 3",
        fields="level = 2\ntempo = 80",
        better_fields="level = 3\ntempo = 80",
    ),
    "an overblow in an early drill": Blunder(
        "6:2 6o:2 |",
        5,
        "raise 'level' to 7",
        fields="level = 6\ntempo = 80",
        better_fields="level = 7\ntempo = 80",
    ),
    "a valved bend in an early drill": Blunder(
        "5:2 5':2 |",
        5,
        "raise 'level' to 6, or leave out 5': a valved bend",
        fields='level = 5\ntuning = "half-valved"\ntempo = 80',
        better_fields='level = 6\ntuning = "half-valved"\ntempo = 80',
    ),
    "too quick for its level": Blunder(
        "4:1/2 -4:1/2 4:1/2 -4:1/2 4:2 |",
        1,
        "play it slower or raise 'level'",
        fields="level = 1\ntempo = 100",
        better_fields="level = 3\ntempo = 100",
    ),
    "jumps too quick for its level": Blunder(
        "4:1 7:1 4:1 7:1 |",
        5,
        "give the jump of 3 holes to 7 more time",
        fields="level = 2\ntempo = 100",
        better_fields="level = 3\ntempo = 100",
    ),
}


def warnings(tab: str, fields: str) -> list[tuple[int, str]]:
    source = f'title = "T"\nabout = "A"\nharp = "C"\n{fields}\ntab = """\n{tab}\n"""\n'
    return [(each.column, each.message) for each in lint_drill(source, parse_drill(source, "t"))]


@pytest.mark.parametrize("name", BLUNDERS)
def test_a_blunder_is_reported_with_a_way_out(name: str) -> None:
    blunder = BLUNDERS[name]
    reported = warnings(blunder.tab, blunder.fields)
    columns = [column for column, message in reported if message.startswith(blunder.message)]
    assert columns, reported
    assert columns[0] == blunder.at or not blunder.at
    better, fields = blunder.better or blunder.tab, blunder.better_fields or blunder.fields
    if (better, fields) != (blunder.tab, blunder.fields):
        assert warnings(better, fields) == []


def test_a_drill_without_a_level_may_have_any_technique() -> None:
    assert warnings("6:1 6o:1 4:1/2 8:1/2 4:1 |", "tempo = 100") == []
