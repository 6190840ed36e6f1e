"""Drills: format, errors, the shelf, and the tab page."""

from __future__ import annotations

import itertools
import json
import re
import tomllib
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rich.cells import cell_len
from typer.testing import CliRunner

from tests.support.each import each
from trainer.cli.drill import app
from trainer.cli.exit_codes import ExitCode
from trainer.core.problems import Problem
from trainer.drill import (
    Drill,
    DrillError,
    Goal,
    find_drill,
    move_to_harp,
    parse_drill,
    read_drill,
    read_shelf,
)
from trainer.drill.shelf import bundled_drill_folder
from trainer.drill.tab_reader import parse_tab
from trainer.harp import STANDARD_KEYS, Breath, Harp, Tab
from trainer.report.tab_layout import drill_text, tab_page_text

SHIPPED = sorted(bundled_drill_folder().glob("*.toml"))
BLOW, DRAW = Breath.BLOW, Breath.DRAW


def written(tab: str, **head: str) -> str:
    """Return the text of a drill file with this tab and these fields as TOML."""
    fields = {"title": '"T"', "harp": '"C"', "tempo": "90", **head}
    lines = [f"{name} = {value}" for name, value in fields.items()]
    return "\n".join([*lines, f'tab = """{tab}"""', ""])


def drill_of(tab: str, **head: str) -> Drill:
    return parse_drill(written(tab, **head), "t")


def problems_of(source: str) -> tuple[Problem, ...]:
    with pytest.raises(DrillError) as caught:
        parse_drill(source, "t")
    return caught.value.problems


# The music


def test_lengths_are_exact_fractions_and_steps_follow_each_other() -> None:
    drill = drill_of("-4':1 4:0.5 5:1.5 r:1 | 6:1/3 -6:2/3 r 4:2")
    assert [step.beats for step in drill.steps] == [
        *(Fraction(1), Fraction(1, 2), Fraction(3, 2)),
        *(Fraction(1, 3), Fraction(2, 3), Fraction(2)),
    ]
    assert [step.start for step in drill.steps] == [
        *(Fraction(0), Fraction(1), Fraction(3, 2)),
        *(Fraction(4), Fraction(13, 3), Fraction(6)),
    ]
    assert [step.bar for step in drill.steps] == [1, 1, 1, 2, 2, 2]
    assert [step.index for step in drill.steps] == list(range(6))
    assert (drill.end, drill.bars) == (8, 2)


def test_tenths_of_a_beat_do_not_drift() -> None:
    drill = drill_of("4:0.1 " * 10 + "r:3")
    assert drill.steps[-1].end == 1


@pytest.mark.parametrize(
    ("text", "sounds"),
    [
        ("4", [[Tab(4, BLOW)]]),
        ("-3''", [[Tab(3, DRAW, bend=2)]]),
        ("6o", [[Tab(6, BLOW, over=True)]]),
        ("-7o", [[Tab(7, DRAW, over=True)]]),
        ("4+5", [[Tab(4, BLOW), Tab(5, BLOW)]]),
        ("-3+4+5", [[Tab(3, DRAW), Tab(4, DRAW), Tab(5, DRAW)]]),
        ("4+1", [[Tab(1, BLOW), Tab(4, BLOW)]]),
        ("-4'>-4", [[Tab(4, DRAW, bend=1)], [Tab(4, DRAW)]]),
        ("-4>-4'", [[Tab(4, DRAW)], [Tab(4, DRAW, bend=1)]]),
        ("4>5>6", [[Tab(4, BLOW)], [Tab(5, BLOW)], [Tab(6, BLOW)]]),
        ("4+5>5+6", [[Tab(4, BLOW), Tab(5, BLOW)], [Tab(5, BLOW), Tab(6, BLOW)]]),
    ],
)
def test_tokens(text: str, sounds: list[list[Tab]]) -> None:
    step = drill_of(f"{text}:4").steps[0]
    assert [list(sound) for sound in step.sounds] == sounds
    assert step.text == f"{text}:4"
    assert sorted(step.tab) == sorted(text)  # 4+1 is expected in order, as 1+4


def test_a_glide_rests_for_a_quarter_at_each_end_and_moves_evenly_between() -> None:
    two = drill_of("-4'>-4:4").steps[0]
    assert [two.path_position(part) for part in (0, 0.25, 0.375, 0.5, 0.75, 1)] == [
        0,
        0,
        0.25,
        0.5,
        1,
        1,
    ]
    three = drill_of("4>5>6:4").steps[0]
    assert [three.path_position(part) for part in (0.25, 0.5, 0.75)] == [0, 1, 2]
    assert drill_of("4:4").steps[0].path_position(0.5) == 0


TOKENS = st.sampled_from(
    ["4", "-4", "-4'", "-2''", "8'", "6o", "-7o", "4+5", "-1+4", "-4'>-4", "r"]
)
LENGTHS = st.fractions(min_value=Fraction(1, 16), max_value=64, max_denominator=48)


@given(st.lists(st.tuples(TOKENS, LENGTHS, st.sampled_from([" ", "\n", "\t", " # x\n"]))))
@settings(max_examples=60, deadline=None)
def test_any_music_is_read_as_it_was_written(music: list[tuple[str, Fraction, str]]) -> None:
    text = "".join(f"{token}:{beats}{space}" for token, beats, space in music)
    read = parse_tab(text, None)
    at = itertools.accumulate((beats for _, beats, _ in music), initial=Fraction(0))
    starts = zip(music, at, strict=False)
    expected = [(token, beats, start) for (token, beats, _), start in starts if token != "r"]
    assert [(step.tab, step.beats, step.start) for step in read.steps] == expected
    assert read.end == sum(beats for _, beats, _ in music)


# Bars


@pytest.mark.parametrize(
    ("meter", "tab"),
    [
        ("4/4", "4:2 r:2 | -4:4 |"),
        ("4/4", "| 4:2 r:2\n | -4:4"),
        ("4/4", "4:2|-4:2"),
        ("3/4", "4 4 4 | 4:3 |"),
        ("6/8", "4:1.5 -4:1.5 4:3 |"),
        ("4/4", "4:1/3 4:1/3 4:1/3 r:3 |"),
    ],
)
def test_full_bars_pass(meter: str, tab: str) -> None:
    if tab == "4:2|-4:2":
        meter = "2/4"
    assert drill_of(tab, meter=f'"{meter}"').steps


@pytest.mark.parametrize(
    ("tab", "column", "expected"),
    [
        ("4:4 | 4:3 | 4:4 |", 20, "bar 2 has 3 beats and should have 4"),
        ("4:4 | 4:3 r:1.5 |", 26, "bar 2 has 4 1/2 beats and should have 4"),
        ("4:4 | 4:1/2", 16, "bar 2 has 1/2 beat and should have 4"),
        ("4:4 | | 4:4", 16, "bar 2 has 0 beats and should have 4"),
        ("4:0.333 4:0.333 4:0.333 r:3 |", 38, "bar 1 has 3 999/1000 beats"),
    ],
)
def test_an_incomplete_bar_is_named(tab: str, column: int, expected: str) -> None:
    (problem,) = problems_of(written(tab))
    assert expected in problem.message
    assert (problem.line, problem.column) == (4, column)


def test_a_bar_of_unknown_length_is_not_reported_too() -> None:
    assert [p.message[:5] for p in problems_of(written("4:x 4 4 4 | 4 | 4:4"))] == [
        "'x' i",
        "bar 2",
    ]


# Errors


@pytest.mark.parametrize(
    ("token", "expected"),
    [
        ("x", "'x' is not tab; write 4 for blow"),
        ("4:", "a length is missing after the colon"),
        (":4", "write a note before the colon"),
        ("4:0", "a length of 0 beats is out of range"),
        ("4:-1", "'-1' is not a length"),
        ("4:1/0", "'1/0' divides by zero"),
        ("4:1e9", "'1e9' is not a length"),
        ("4:65", "a length of 65 beats is out of range"),
        ("4:0.01", "a length of 0.01 beats is out of range"),
        ("4:" + "9" * 5000, "is not a length"),
        ("9" * 5000, "is not tab"),
        ("11:4", "'11' names hole 11; a harp has holes 1 to 10"),
        ("0:4", "holes 1 to 10"),
        ("٤:4", "is not tab"),
        ("-4’:4", "type -4'"),
        ("−4:4", "type -4"),
        ("4+4:4", "names hole 4 twice"),
        ("-3+-4:4", "write one breath sign in front of the chord"),
        ("4+:4", "'4+' is not tab"),
        ("-4>4:4", "a glide keeps one breath, but '-4>4' changes from draw to blow"),
        ("4>4+5:4", "a glide keeps its number of holes"),
        ("4>>5:4", "lacks a sound"),
        ("4>4:4", "glides from a sound to itself"),
        ("-4'o:4", "both bent and overblown"),
        ("-4'':4", "hole 4 bends on the draw, by 1 half step"),
        ("4':4", "hole 4 bends on the draw"),
        ("-5':4", "hole 5 draw bends by less than a half step"),
        ("-4o:4", "hole 4 has no overdraw"),
        ("-4'>-4'':4", "hole 4 bends on the draw, by 1 half step"),
    ],
)
def test_a_wrong_token_is_reported_at_its_position(token: str, expected: str) -> None:
    first, *_ = problems_of(written(f"\n4:4 |\n  {token} |\n"))
    assert expected in first.message
    assert (first.line, first.column, first.length) == (6, 3, len(token))


def test_the_whole_text_of_an_error() -> None:
    source = (
        'titel = "Bell"  # a slip\n'
        'harp = "C"\n'
        "tempo = 500\n"
        'tab = """\n'
        "-4':1 -5':1 r:2 |\n"
        "\t4:1 | # too short\n"
        '"""\n'
    )
    with pytest.raises(DrillError) as caught:
        parse_drill(source, "bell", "bell.toml")
    assert str(caught.value) == (
        "bell.toml:1:1: 'title' is missing; add one line of text, up to 80 characters, such as "
        '"First notes"\n'
        "bell.toml:1:1: a drill has no field 'titel'; did you mean 'title'?\n"
        '    titel = "Bell"  # a slip\n'
        "    ^^^^^\n"
        "bell.toml:3:9: 'tempo' must be the beats per minute, a number from 20 to 300; 500 is not\n"
        "    tempo = 500\n"
        "            ^^^\n"
        "bell.toml:5:7: -5' cannot be played on a C harp: hole 5 draw bends by less than a half "
        "step\n"
        "    -4':1 -5':1 r:2 |\n"
        "          ^^^^^\n"
        "bell.toml:6:6: bar 2 has 1 beat and should have 4; add a note or a rest\n"
        "    \t4:1 | # too short\n"
        "    \t    ^"
    )


@pytest.mark.parametrize(
    "layout",
    [
        'tab = """{}"""',
        'tab = """\n{}\n"""',
        'tab   =   """   {}""" # """ x',
        'tab = "{}"',
        "tab = '{}'",
        '"tab" = """\n\n{}"""',
        '# tab = "4:99"\ntab = """\n  {}"""',
    ],
)
@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_positions_are_those_of_the_file(layout: str, ends: str, mark: str) -> None:
    head = 'title = "T"\nabout = """\ntab = "4:98"\n"""\nharp = "C"\ntempo = 90\n'
    source = head + layout.format("4:4 | 11:3 |") + "\n[goal]\ntolerance = 5\n"
    problems = problems_of(mark + source.replace("\n", ends))
    assert len(problems) == 2
    for problem, token in zip(problems, ("11:3", "|"), strict=True):
        line = source.split("\n")[problem.line - 1]
        assert line[problem.column - 1 :][: problem.length] == token
        assert problem.source == line


def test_an_escape_in_the_tab_is_no_tab() -> None:
    (first, *_) = problems_of('title = "T"\nharp = "C"\ntempo = 90\ntab = "4:4 \\u0034"')
    assert (first.line, first.column) == (4, 12)
    assert "is not tab" in first.message


@pytest.mark.parametrize("before", ["", "ab ", "\t\t", "音符 ", "e\u0301 ", "x" * 300])
def test_the_caret_is_under_its_token(before: str) -> None:
    """The width of text in a terminal's cells is checked against the rich library's tables."""
    problem = Problem(7, len(before) + 1, 3, "wrong", f"{before}-4x and more")
    _, source, caret = problem.format("f").split("\n")
    start = source.index("-4x")
    assert cell_len(source[:start].replace("\t", " ")) == caret.index("^")
    assert caret.count("^") == 3
    assert source[:start].count("\t") == caret.count("\t")
    assert len(source) < 110


def test_control_characters_are_not_printed() -> None:
    with pytest.raises(DrillError) as caught:
        parse_drill('title = "\x1b[31m"', "t")
    assert "\x1b" not in str(caught.value)
    assert (
        "remove the control characters"
        in problems_of(written("4:4", title='"\\u001b[2J"'))[0].message
    )


@pytest.mark.parametrize(
    ("source", "line", "column"),
    [("a = \n", 1, 5), ('title = "x"\nharp "C"\n', 2, 6), ('t = "\\q"', 1, 8), ("a = [1,\n", 1, 8)],
)
def test_a_toml_error_has_the_position_that_tomllib_reports(
    source: str, line: int, column: int
) -> None:
    with pytest.raises(tomllib.TOMLDecodeError) as reference:
        tomllib.loads(source)
    (problem,) = problems_of(source)
    assert (problem.line, problem.column) == (line, column)
    where = f"at line {line}, column {column}"
    assert where in str(reference.value) or "end of document" in str(reference.value)


def test_single_quotes_around_bends_get_a_hint() -> None:
    source = "title = 'T'\ntab = '''\n-3''':4 |\n'''\n"
    assert "because ' is the sign of a bend" in problems_of(source)[0].message


# Fields


def test_defaults_and_fields() -> None:
    drill = drill_of("4:4", harp='"low f"', skills='["bends", "time"]', about='"\\nWhy.\\n"')
    assert (drill.key, drill.tuning, drill.meter) == ("low F", "richter", (4, 4))
    assert (drill.goal, drill.level, drill.about) == (Goal(10.0, 80.0), 1, "Why.")
    assert drill.skills == ("bends", "time")
    goal = parse_drill(written("4:4") + "[goal]\ntolerance = 5\npass_mark = 90.5\n", "t").goal
    assert goal == Goal(5.0, 90.5)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        *(("tempo", value) for value in ("19", "301", "nan", "inf", "true", '"90"', "[90]")),
        *(("meter", value) for value in ('"4"', '"0/4"', '"4/3"', '"33/4"', '"4/4 "', "4")),
        *(("harp", value) for value in ('"H"', '""', "3")),
        *(("tuning", value) for value in ('"no such"', "1")),
        *(("title", value) for value in ('""', '"  "', '"a\\nb"', "1", '"' + "x" * 81 + '"')),
        *(("skills", value) for value in ('"bends"', "[1]", '[""]')),
        *(("level", value) for value in ("0", "10", "1.5", "true", "9" * 400)),
        *(("goal", value) for value in ("3", "{ tolerance = 0 }", "{ pass_mark = 101 }")),
        ("about", "1979-05-27"),
    ],
)
def test_a_wrong_value_is_reported_at_its_position(field: str, value: str) -> None:
    (problem,) = problems_of(written("4:4", **{field: value}))
    assert problem.source == f"{field} = {value}"
    assert problem.column == len(field) + 4
    assert problem.length == len(value)


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ('tunning = "solo"', "did you mean 'tuning'?"),
        ("xyz = 1", "a drill has no field 'xyz'; there are title, about"),
        ("[goal]\ntolerence = 3", "[goal] has no field 'tolerence'; did you mean 'tolerance'?"),
        ("goal.pas_mark = 3", "did you mean 'pass_mark'?"),
    ],
)
def test_an_unknown_field_is_reported_with_the_nearest(line: str, expected: str) -> None:
    (problem,) = problems_of(written("4:4") + line)
    assert expected in problem.message
    key = line.split("\n")[-1].split(" ")[0]
    assert problem.source[: problem.length] == key


def test_a_tab_without_notes_is_reported() -> None:
    assert "nothing to play" in problems_of(written(""))[0].message
    assert "nothing to play" in problems_of(written("r:4 |"))[0].message


# Files


def test_files_that_are_no_drill_are_refused(tmp_path: Path) -> None:
    latin = tmp_path / "latin.toml"
    latin.write_bytes('title = "ok"\nabout = "caf\xe9"'.encode("latin-1"))
    large = tmp_path / "large.toml"
    large.write_bytes(b"#" * 1_000_001)
    for path, expected in [
        (tmp_path / "none.toml", "there is no drill file"),
        (tmp_path, "is a folder"),
        (tmp_path / ("x" * 300), "cannot be read"),
        (latin, "latin.toml:2:13: the file is not UTF-8"),
        (large, "too large"),
    ]:
        with pytest.raises(DrillError, match=re.escape(expected)):
            read_drill(path)
    with pytest.raises(DrillError, match="no drill file"):
        read_drill("a\0b.toml")


SEEDS = [path.read_text(encoding="utf-8") for path in SHIPPED]
SCRAPS = st.one_of(
    st.text(max_size=6),
    st.sampled_from(['"""', "'", "[", "]", "{", "=", "\\", "#", "\n", "|", ":", ">", "+", "1/0"]),
    st.sampled_from(["[" * 2000, "9" * 5000, "0x" + "f" * 5000, "[goal]\n", "tab = 1", "\x00"]),
)


@st.composite
def mutated(draw: Callable[..., object]) -> str:
    text = draw(st.sampled_from(SEEDS))
    assert isinstance(text, str)
    for _ in range(draw(st.integers(1, 4))):  # type: ignore[call-overload]
        start = draw(st.integers(0, len(text)))
        end = draw(st.integers(0, 12))
        text = f"{text[:start]}{draw(SCRAPS)}{text[start + end :]}"  # type: ignore[operator]
    return text


def never_a_traceback(source: str) -> None:
    problems: tuple[Problem, ...] = ()
    try:
        assert tab_page_text(parse_drill(source, "fuzz"))
    except DrillError as error:
        problems = error.problems
        assert problems
    assert all(problem.message and problem.line > 0 for problem in problems)


QUICK = settings(max_examples=120, deadline=None, suppress_health_check=list(HealthCheck))


@given(mutated())
@QUICK
def test_a_damaged_drill_raises_drill_error_only(source: str) -> None:
    never_a_traceback(source)


@given(st.one_of(st.text(), st.text(alphabet="-4'o+>:|r#.1/2 \n").map(written)))
@QUICK
def test_any_text_raises_drill_error_only(source: str) -> None:
    never_a_traceback(source)


@given(st.binary(max_size=60))
@settings(
    max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_any_bytes_raise_exchange_error_only(tmp_path: Path, raw: bytes) -> None:
    path = tmp_path / "f.toml"
    path.write_bytes(raw)
    with pytest.raises(DrillError):
        read_drill(path)


# The project's drills


@each(SHIPPED)
def test_a_shipped_drill_is_valid(path: Path) -> None:
    drill = read_drill(path)
    notes = [step for step in drill.steps if step.beats > Fraction(1, 2)]
    assert len(drill.steps) >= 8 or drill.solos
    assert len(notes) <= 32, "more notes than a player keeps in mind; short ones are counted apart"
    assert len(drill.steps) <= 80
    assert drill.skills
    assert "Trains" in drill.about
    assert "Done right, " in " ".join(drill.about.split())
    for key in STANDARD_KEYS:
        moved = move_to_harp(drill, Harp.of(key, drill.tuning))
        assert moved.key == key
        assert moved.steps == drill.steps


@each(SHIPPED)
def test_a_shipped_drill_lets_the_player_breathe(path: Path) -> None:
    """No breath in one direction goes on for over six seconds (common practice)."""
    drill = read_drill(path)
    start, before = Fraction(0), None
    for step in drill.steps:
        if (
            before is None
            or step.first[0].breath is not before.first[0].breath
            or (step.start > before.end)
        ):
            start = step.start
        before = step
        assert float(step.end - start) * 60 / drill.tempo <= 6


def test_the_shelf_has_what_a_beginner_needs() -> None:
    played = {str(tab) for path in SHIPPED for s in read_drill(path).steps for tab in s.last}
    assert {"-1'", "-2'", "-3'", "-4'", "-6'", "-2''", "8'"} <= played
    assert len(SHIPPED) >= 12


def test_the_demo_drill_shows_a_little_of_everything() -> None:
    bell = find_drill("harbour-bell")
    assert 8 <= len(bell.steps) <= 10
    assert bell.seconds <= 14
    assert any(step.is_chord for step in bell.steps)
    assert any(step.start.denominator > 1 for step in bell.steps)
    assert any(step.tab == "-4'" for step in bell.steps)
    assert any(step.is_glide and step.last[0].is_natural for step in bell.steps)
    assert any(step.first[0].is_natural and not step.is_glide for step in bell.steps)


def test_steps_of_a_range_of_bars() -> None:
    drill = drill_of("4 4 4 4 | r:4 | 5 5 5 5 | 6:4")
    assert drill.step_range(2, 3) == range(4, 8)
    assert drill.step_range(4, 4) == range(8, 9)
    for bars, expected in [
        ((0, 1), "bars 1 to 4"),
        ((3, 5), "bars 1 to 4"),
        ((2, 2), "nothing is"),
    ]:
        with pytest.raises(DrillError, match=expected):
            drill.step_range(*bars)


def test_moving_to_a_tuning_without_a_bend_reports_each_step() -> None:
    """The country tuning raises draw 5 by a half step, so that it bends (common practice)."""
    drill = drill_of("-5':4 |\n 4:4 |\n -5'>-5:4", tuning='"country"')
    with pytest.raises(DrillError) as caught:
        move_to_harp(drill, Harp.of("A"))
    assert [(p.line, p.column, p.length) for p in caught.value.problems] == [(5, 10, 5), (7, 2, 8)]
    assert move_to_harp(drill, Harp.of("A", "country")).key == "A"


def test_the_page_on_drill_files_shows_a_drill() -> None:
    guide = (bundled_drill_folder() / "README.md").read_text(encoding="utf-8")
    example = guide.partition("```toml\n")[2].partition("```")[0]
    assert [step.tab for step in parse_drill(example, "t").steps] == ["-4", "4", "-4'", "-4'>-4"]


# The shelf


@pytest.fixture
def own_shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A player's drill folder, different from the working folder."""
    monkeypatch.setattr("platformdirs.user_data_dir", lambda *_, **__: str(tmp_path / "data"))
    folder = tmp_path / "data" / "drills"
    folder.mkdir(parents=True)
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    return folder


def test_drills_are_found_from_any_folder(own_shelf: Path) -> None:
    assert {path.stem for path in SHIPPED} == {drill.name for drill in read_shelf().drills}
    assert find_drill("Harbour-Bell").name == "harbour-bell"


def test_a_players_drill_replaces_the_projects_and_errors_are_collected(own_shelf: Path) -> None:
    (own_shelf / "harbour-bell.toml").write_text(written("4:4", title='"Mine"'), encoding="utf-8")
    (own_shelf / "broken.toml").write_text("x", encoding="utf-8")
    shelf = read_shelf()
    assert find_drill("harbour-bell").title == "Mine"
    assert len(shelf.drills) == len(SHIPPED)
    assert len(shelf.errors) == 1
    assert "broken.toml:1" in str(shelf.errors[0])


def test_finding_by_path_and_hints_for_unknown_names(own_shelf: Path) -> None:
    Path("mine.toml").write_text(written("4:4"), encoding="utf-8")
    assert find_drill("mine.toml").name == "mine"
    assert find_drill("./mine.toml").name == "mine"
    with pytest.raises(DrillError, match=r"no drill is called 'harbor-bell'; .*harbour-bell"):
        find_drill("harbor-bell")
    with pytest.raises(DrillError, match="'trainer drill list' shows all"):
        find_drill("zzz")
    with pytest.raises(DrillError, match="no drill file"):
        find_drill("no/such.toml")


def test_the_shelf_reads_like_a_course() -> None:
    shelf = read_shelf()
    assert next(iter(shelf.groups)) == "single notes"
    assert sum(len(drills) for drills in shelf.groups.values()) == len(shelf.drills)
    for drills in shelf.groups.values():
        assert [drill.level for drill in drills] == sorted(drill.level for drill in drills)


# The page


def test_a_page_by_hand() -> None:
    drill = drill_of("-4':1 r:0.5 4:2.5 | -3+4:1/3 4:1/3 4:1/3 4:0.25 -4'>-4:1.75 r:1 |")
    assert tab_page_text(drill, 80) == (
        "1 -4'  r  4  .  .  | -3+4  4  4  4  -4'>-4  .  r  |\n"
        "  1    2  &  3  4    1     &  a  2  e       3  4"
    )
    assert tab_page_text(drill, 24) == (
        "1 -4'  r  4  .  .  |\n"
        "  1    2  &  3  4\n"
        "\n"
        "2 -3+4  4  4  4\n"
        "  1     &  a  2\n"
        "\n"
        "  -4'>-4  .  r  |\n"
        "  e       3  4"
    )


CHORDS = re.compile(r"(?: *b?(?:[IV]+|[iv]+)[0-9a-z]*)+ *")
"""A row of chords in the key."""


@each([(path, width) for path in SHIPPED for width in (40, 80, 120)])
def test_beats_stand_under_their_notes_on_every_page(case: tuple[Path, int]) -> None:
    path, width = case
    drill = read_drill(path)
    shown = []
    for line in tab_page_text(drill, width).split("\n\n"):
        assert max(map(len, line.split("\n"))) <= width
        rows = [re.sub(r"^\d+", lambda match: " " * len(match[0]), row) for row in line.split("\n")]
        rows = [row.replace("|", " ") for row in rows if not {"(", ")"} & set(row)]
        rows = [row for row in rows if not CHORDS.fullmatch(row)]
        rows = [re.sub(r"(\^\S+) ", r"\1_", row) for row in rows]  # a grace note and its note
        tabs, beats = (rows, []) if drill.free else (rows[:-1], rows[-1:])
        starts = [{match.start() for match in re.finditer(r"\S+", row)} for row in rows]
        assert len(tabs) == (2 if drill.second else 1)
        assert not beats or set().union(*starts[:-1]) == starts[-1]
        shown += [token.split("_")[-1] for token in tabs[0].split() if token not in "r."]
    shown = [token for token in shown if token != "solo"]
    assert shown == [step.tab for step in drill.steps]


def test_a_sheet_names_its_purpose() -> None:
    text = drill_text(find_drill("harbour-bell"))
    assert max(map(len, text.split("\n"))) <= 80
    assert "within 10 cents of the target; passed from 80 of 100" in " ".join(text.split())


# The commands


def test_list_and_show() -> None:
    listed = CliRunner().invoke(app, ["list"])
    assert listed.exit_code == ExitCode.OK
    assert listed.output.startswith("Single notes\n  first-clean-notes")
    assert max(map(len, listed.output.split("\n"))) <= 80
    data = json.loads(CliRunner().invoke(app, ["list", "--format", "json"]).output)
    assert {entry["name"] for entry in data} == {path.stem for path in SHIPPED}
    bell = next(entry for entry in data if entry["name"] == "harbour-bell")
    assert (bell["seconds"], bell["steps"], bell["meter"]) == (10.0, 9, "4/4")
    shown = CliRunner().invoke(app, ["show", "harbour-bell"])
    assert tab_page_text(find_drill("harbour-bell")) in shown.output
    assert isinstance(CliRunner().invoke(app, ["show", "harbor"]).exception, DrillError)


def test_check_reports_all_files_and_fails_if_one_is_wrong(tmp_path: Path) -> None:
    fine = CliRunner().invoke(app, ["check", str(bundled_drill_folder())])
    assert (fine.exit_code, fine.output) == (
        ExitCode.OK,
        f"{len(SHIPPED)} of {len(SHIPPED)} drill files are valid.\n",
    )
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "good.toml").write_text(written("4:4"), encoding="utf-8")
    (tmp_path / "in" / "bad.toml").write_text(written("4:4 | x | 4:3"), encoding="utf-8")
    checked = CliRunner().invoke(app, ["check", str(tmp_path), str(tmp_path / "none.toml")])
    assert checked.exit_code == ExitCode.FAILED
    assert "bad.toml:4:16: 'x' is not tab" in checked.output
    assert "bad.toml:4:20: bar 3" in checked.output
    assert "none.toml" in checked.output
    assert checked.output.endswith("1 of 3 drill files are valid.\n")


@pytest.mark.parametrize("command", ["list", "show", "check"])
def test_every_command_helps_with_an_example(command: str) -> None:
    helped = CliRunner().invoke(app, [command, "--help"])
    assert helped.exit_code == ExitCode.OK
    assert f"trainer drill {command}" in helped.output
