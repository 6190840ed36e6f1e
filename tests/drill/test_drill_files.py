"""Tools for drill files: formatter, writer, lint, template, and schema."""

from __future__ import annotations

import functools
import json
import re
import time
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from pydantic import BaseModel
from typer.testing import CliRunner

from tests.support.each import each
from trainer.cli.drill import app
from trainer.cli.exit_codes import ExitCode
from trainer.drill import (
    DEFAULT_WEIGHTS,
    Articulation,
    CleannessRule,
    Climb,
    Drill,
    DrillError,
    Goal,
    Inflection,
    Step,
    Tightening,
    Vibrato,
    drill_template,
    find_drill,
    format_drill,
    lint_drill,
    overwrite_drill,
    parse_drill,
    read_drill,
    write_drill,
)
from trainer.drill.header import (
    AimTable,
    ClimbTable,
    DrillTable,
    GoalTable,
    GroundTable,
    RecordingTable,
    SoloTable,
    TightenTable,
    WeightsTable,
)
from trainer.drill.schema import drill_schema
from trainer.drill.shelf import bundled_drill_folder, user_drill_folder
from trainer.drill.techniques import find_conflict
from trainer.harp import Breath, Tab, parse_key

TABLES: tuple[type[BaseModel], ...] = (
    AimTable,
    ClimbTable,
    TightenTable,
    GoalTable,
    GroundTable,
    RecordingTable,
    SoloTable,
    WeightsTable,
)
SHIPPED = sorted(bundled_drill_folder().rglob("*.toml"))
Draw = Callable[[st.SearchStrategy[Any]], Any]

SLOWLY = settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))


def written(tab: str, **head: str) -> str:
    """Return the text of a drill file with this tab and these fields as TOML."""
    fields = {"title": '"T"', "about": '"A"', "harp": '"C"', "tempo": "90", **head}
    lines = [f"{name} = {value}" for name, value in fields.items()]
    return "\n".join([*lines, f'tab = """{tab}"""', ""])


def drill_of(tab: str, **head: str) -> Drill:
    return parse_drill(written(tab, **head), "t")


# Generators of drill files

PLAYED = (
    *("4", "-4", "-4'", "-2''", "-3'''", "8'", "10''", "6o", "-7o", "4+5", "-1+4", "-2+3+4"),
    *("-3@-40", "-3'@+20.5", "4+5@-7", "-4'>-4", "4>5>6", "4+5>5+6", "-4>-4'@-12>-4"),
    *("-3=-3'=-3''", "-3=-3@-40=-3'", "10''=10", "-2/3", "3/-2", "-2@-5/3", "-3/-3'", "8'/8"),
    *("-4<>5", "4+5<>5+6", "-3'@-12<>4", "^-5 -4", "^4+5 -4'", "^-3'' -3'>-3", "^5 4<>5"),
)
DIRECTIONS = (
    *("clean", "blur", "chord", "vibrato", "vibrato 4.5 30", "hand vibrato", "hand vibrato 6 2.5"),
    *("throat vibrato 4 25.125", "wah", "wah 2.125", "tongued", "legato, accent", "staccato"),
    *("swell", "fade 3.5", "swell 20, optional", "accent"),
)
SINGLE_DIRECTIONS = ("scoop", "scoop 2/3 150", "dip", "dip 80.5, fall", "fall 0.25 60", "slap")
"""Directions that only a held single note without a grace note or a choice can have."""
TECHNIQUES: dict[str, tuple[Any, ...]] = {
    "scoop": (None, Inflection(Fraction(1, 2)), Inflection(Fraction(2, 7), 80.125)),
    "fall": (None, Inflection(Fraction(1, 2)), Inflection(Fraction(3), 400.0)),
    "grace": ((), (Tab(9, Breath.DRAW),), (Tab(9, Breath.BLOW), Tab(10, Breath.BLOW))),
    "articulation": tuple(Articulation),
    "accent": (False, True),
    "swell_db": (0.0, 6.0, -6.0, 1.5, -19.875),
    "slap": (False, True),
    "optional": (False, True),
}
"""Fields of a step for techniques, each with some values."""
LENGTHS = ("1", "2", "0.5", "1/3", "2/3", "0.25", "1.", "0.5..", "1/16", "5/7", "0.333", "9/97")


def length_in_tab(text: str) -> Fraction:
    """Return a length in beats: a dot adds a half of it, a second dot a quarter."""
    plain = text.rstrip(".")
    dots = len(text) - len(plain)
    return Fraction(plain) * (2 - Fraction(1, 2**dots))


SPACES = (" ", " ", " ", "  ", "\t", "\n", "\n\n\n", " # a|b {c '\n", " #\n\n # [d]: :|  \n ")


@functools.cache
def conflict_of(what: str, direction: str) -> str:
    """Return what makes a note and a direction contradict each other; empty for nothing."""
    try:
        drill_of(f"{what}:4{{{direction}}}")
    except DrillError as error:
        return str(error)
    return ""


@st.composite
def notes(draw: Draw, beats: str) -> str:
    """Draw a note, or a group in brackets, of a given length."""
    if length_in_tab(beats) < Fraction(1, 2) or draw(st.integers(0, 4)):
        what = draw(st.sampled_from([*PLAYED, "r", "r"]))
        plain = what == "r" or draw(st.integers(0, 3))
        fitting = [d for d in (*DIRECTIONS, *SINGLE_DIRECTIONS) if not conflict_of(what, d)]
        direction = "" if plain else f"{{{draw(st.sampled_from(fitting))}}}"
        return f"{what}{'' if beats == '1' else ':' + beats}{direction}"
    inside = draw(st.lists(st.sampled_from([*PLAYED, "r", "4:2", "{blur}"]), max_size=3))
    return " ".join(["[", *inside, "-4", f"]:{beats}"])


@st.composite
def bars(draw: Draw, beats: Fraction) -> str:
    """Draw a bar of a given length."""
    words: list[str] = []
    left, sounding = beats, False
    while left:
        rests = {text: left - length_in_tab(text) for text in LENGTHS}
        fitting = [text for text, rest in rests.items() if rest == 0 or rest >= Fraction(1, 16)]
        length = draw(st.sampled_from([*fitting, str(left)]))
        if draw(st.integers(0, 5)) == 0:
            standing = ["{}", "{blur}", "{ accent,clean }", "{legato} {call}", "{answer}"]
            words.append(draw(st.sampled_from(standing)))
        tied = sounding and draw(st.integers(0, 3)) == 0
        words.append(f"~:{length}" if tied else draw(notes(length)))
        sounding = not words[-1].startswith("r")
        left -= length_in_tab(length)
    return "".join(word + draw(st.sampled_from(SPACES)) for word in words)


@st.composite
def tabs(draw: Draw, meter: int, pickup: Fraction) -> str:
    """Draw a tab with full bars, some of them repeated."""

    def some(most: int) -> str:
        return "| ".join(draw(st.lists(bars(Fraction(meter)), min_size=1, max_size=most)))

    parts = [draw(bars(pickup)) + "| "] if pickup else []
    for _ in range(draw(st.integers(0, 3))):
        kind = draw(st.sampled_from(["plain", "plain", "repeat", "endings"]))
        if kind == "plain":
            parts.append(f"{some(4)}| ")
        elif kind == "repeat":
            parts.append(f"|: {some(2)}:|{draw(st.sampled_from(['', '3']))}\n")
        else:
            endings = draw(st.sampled_from([("1", "2"), ("1-3", "4"), ("1,3", "2"), ("1", "2-3")]))
            parts.append(f"|: {some(2)}|{endings[0]}. {some(1)}:||{endings[1]}. {some(1)}:|\n")
    last = meter - draw(st.sampled_from([0, pickup]))
    return "".join(parts) + f"{{answer}} 4:{last} {draw(st.sampled_from(['|', '', '# x']))}"


WORDS = st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=20).filter(
    str.strip
)
PROSE = st.text(
    st.one_of(st.characters(exclude_categories=["Cs", "Cc"]), st.sampled_from('\n\t"\\# ')),
    max_size=60,
)


def as_toml(value: object) -> str:
    """Return a text or a list of texts as TOML; JSON strings are valid TOML."""
    return json.dumps(value, ensure_ascii=False)


def decimals(low: float, high: float) -> st.SearchStrategy[float]:
    return st.one_of(
        st.floats(low, high), st.integers(int(low) + 1, int(high)), st.sampled_from([low, high])
    )


@st.composite
def fields(draw: Draw) -> dict[str, str]:
    """Draw the fields of a drill before its tab, as TOML."""
    meter, value = draw(st.integers(1, 7)), draw(st.sampled_from([2, 4, 8]))
    texts: dict[str, st.SearchStrategy[Any]] = {
        "about": PROSE.map(as_toml),
        "tuning": st.sampled_from(['"richter"', '"Country"']),
        "swing": decimals(1, 3).map(repr),
        "level": st.integers(1, 9).map(str),
        "skills": st.lists(WORDS, max_size=3).map(as_toml),
    }
    chosen = draw(st.sets(st.sampled_from(sorted(texts))))
    if meter > 1 and draw(st.booleans()):
        chosen_pickup = draw(st.sampled_from(["1", "0.5", "0.333", "0.6666667", "1.25", "1.9"]))
        texts["pickup"] = st.just(chosen_pickup)
        chosen.add("pickup")
    return {
        "title": as_toml(draw(WORDS)),
        "harp": draw(st.sampled_from(['"C"', '"low f"', '"Bb"'])),
        "tempo": repr(draw(decimals(20, 300))),
        "meter": f'"{meter}/{value}"',
        **{name: draw(texts[name]) for name in sorted(chosen)},
    }


@st.composite
def files(draw: Draw) -> str:
    """Draw the text of an unformatted drill file."""
    head = draw(fields())
    meter = int(head["meter"][1:].split("/")[0])
    pickup = Fraction(head.get("pickup", "0")).limit_denominator(48)
    tab = draw(tabs(meter, pickup))
    head["tab"] = f'"""{tab}"""'
    if draw(st.integers(0, 2)) == 0:
        second = f"{draw(bars(pickup))}|" if pickup else ""
        head["second"] = f'"""\n{second} {{answer}} -4:{meter - pickup}"""'
    elif "{call}" not in tab and draw(st.booleans()):
        head["clock"] = '"free"'
    drill = parse_drill("\n".join(f"{name} = {value}" for name, value in head.items()), "t")
    if draw(st.booleans()):
        head["loop"] = f'"{draw(st.integers(1, drill.bars))}-{drill.bars}"'
    if draw(st.booleans()):
        head["climb"] = f"{{ by = {draw(decimals(1, 60))!r}, to = 300, after = 3 }}"
    if draw(st.booleans()):
        head["tighten"] = f"{{ from = {draw(decimals(11, 50))!r}, by = 5, after = 2 }}"
    if draw(st.booleans()):
        mark, hold = draw(decimals(0, 100)), draw(decimals(0.1, 10))
        head["goal"] = f"{{ pass_mark = {mark!r}, hold = {hold!r}, weights.time = 3.5 }}"
    lines = []
    for name, value in head.items():
        sign = draw(st.sampled_from(["=", " = ", "\t=  "]))
        after = draw(st.sampled_from(["", "", "  ", ' # why = "3" ', "\n\n\n", "\n# so\n"]))
        lines.append(f"{name}{sign}{value}{after}")
    mark = draw(st.sampled_from(["", "", "\ufeff"]))
    return mark + draw(st.sampled_from(["\n", "\r\n"])).join("\n".join(lines).split("\n"))


# Formatter


@given(files())
@SLOWLY
def test_formatting_changes_white_space_only_and_is_idempotent(source: str) -> None:
    once = format_drill(source, "t")
    assert format_drill(once, "t") == once
    assert parse_drill(once, "t") == parse_drill(source, "t")
    # The inside of strings is held by the drill, which is the same.
    assert re.sub(r"\s", "", once) == re.sub(r"\s", "", source.removeprefix("\ufeff"))


def test_bars_and_beats_stand_in_columns() -> None:
    """By hand: draw signs are left of their column, bar lines and comments are aligned."""
    source = written(
        "\n"
        "|: -4:1   4:1 r:2|-4':2 -4'>-4:2 :|3   #   twice more\n"
        "\t# the middle\n"
        "5:0.5 -4:1.5 {blur}4:1 r| [ 4 -4   5 ]:1{ clean }   -3:3 |#end \n"
        "   \n\n"
        "{ vibrato 5  20 ,clean }\n"
        "-3+4:4  |  r:1\n"
        "4:3|4:4"
    )
    assert format_drill(source, "t").partition('"""')[2] == (
        "\n"
        "|: -4:1     4:1         r:2   | -4':2                -4'>-4:2 :|3  #   twice more\n"
        "# the middle\n"
        "    5:0.5 -4:1.5 {blur} 4:1 r |  [4 -4 5]:1 {clean} -3:3       |   #end\n"
        "\n"
        "{vibrato 5 20, clean}\n"
        "-3+4:4 | r:1\n"
        " 4:3   | 4:4\n"
        '"""\n'
    )


def test_wide_blocks_have_only_their_bars_aligned() -> None:
    rows = [" ".join([f"4+5:2/{count}"] * count) for count in (3, 5, 7, 9, 11)]
    tab = "\n".join(f"{row} | -4:2 |" for row in rows)
    lines = (
        format_drill(written(f"\n{tab}\n", meter='"2/4"'), "t").partition('"""\n')[2].split("\n")
    )
    for line, row in zip(lines, rows, strict=False):
        assert line == f"{row:<{len(rows[-1])}} | -4:2 |"
    alike = format_drill(written("\n4:2/7 -4:12/7 |\n4 -4 |\n", meter='"2/4"'), "t")
    assert "\n4:2/7 -4:12/7 |\n4      -4     |\n" in alike


def test_fields_and_comments_outside_the_tab() -> None:
    source = (
        "\ufeff\r\n\r\n#  first \r\n  title='''T'''#t\r\n"
        "\r\n \r\n\r\nabout = '''\r\n  kept   \r\n\r\n\r\n  as it is\t\r\n''' # a\r\n"
        'harp   =   "C"   # h \r\ntempo=90\r\n'
        '"skills" = [\r\n   "a",  # one \r\n\r\n\r\n   "b"  \r\n]\r\n'
        "tab='4:4'\r\nsecond = '''-4':4'''\r\n[ goal ]   # g\r\n  tolerance   = 9\r\n"
        " [ goal . weights ]\r\ntime=0\r\n\r\n"
    )
    assert format_drill(source, "t") == (
        "#  first\r\ntitle = '''T'''  #t\r\n"
        "\r\nabout = '''\r\n  kept   \r\n\r\n\r\n  as it is\t\r\n'''  # a\r\n"
        'harp = "C"  # h\r\ntempo = 90\r\n"skills" = [\r\n   "a",     # one\r\n\r\n   "b"\r\n]\r\n'
        "tab = '4:4'\r\nsecond = '''-4':4'''\r\n[goal]  # g\r\ntolerance = 9\r\n"
        "[goal.weights]\r\ntime = 0\r\n"
    )


@each(SHIPPED)
def test_shipped_drills_are_unchanged_by_formatting_and_writing(path: Path) -> None:
    source, drill = path.read_text(encoding="utf-8"), read_drill(path)
    assert format_drill(source, drill.name) == source
    assert parse_drill(write_drill(drill), drill.name) == drill


def test_fmt_writes_what_changes_and_leaves_what_is_wrong(tmp_path: Path) -> None:
    wild, tidy, wrong = (tmp_path / f"{name}.toml" for name in ("wild", "tidy", "wrong"))
    wild.write_bytes(written("4:4|-4:4").encode())
    wild.chmod(0o640)
    tidy.write_text(format_drill(written("4:4"), "t"), encoding="utf-8")
    wrong.write_text(written("4:3 |  x:1|"), encoding="utf-8")
    before = {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in tmp_path.iterdir()}

    checked = CliRunner().invoke(app, ["fmt", "--check", str(tmp_path)])
    assert checked.exit_code == ExitCode.FAILED
    assert f"{wild} would change\n" in checked.output
    assert f"{tidy} would" not in checked.output
    assert "wrong.toml:5:17: 'x' is not tab" in checked.output
    assert "1 of 3 drill files would change, and 1 could not be formatted." in checked.output
    assert {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in before} == before

    done = CliRunner().invoke(app, ["fmt", str(tmp_path)])
    assert done.exit_code == ExitCode.FAILED
    assert "1 of 3 drill files changed" in done.output
    assert wild.read_bytes() == written("4:4 | -4:4").encode()
    assert wild.stat().st_mode & 0o777 == 0o640
    for path in (tidy, wrong):
        assert (path.read_bytes(), path.stat().st_mtime_ns) == before[path]
    assert set(tmp_path.iterdir()) == set(before)  # no temporary file remains
    again = CliRunner().invoke(app, ["fmt", "--check", str(wild), str(tidy)])
    assert (again.exit_code, again.output) == (0, "0 of 2 drill files would change.\n")


def test_fmt_follows_links_and_reports_unwritable_files(tmp_path: Path) -> None:
    real, link = tmp_path / "real.toml", tmp_path / "link.toml"
    real.write_text(written("4:4|"), encoding="utf-8")
    link.symlink_to(real)
    assert CliRunner().invoke(app, ["fmt", str(link)]).exit_code == 0
    assert link.is_symlink()
    assert "4:4 |" in real.read_text(encoding="utf-8")
    with pytest.raises(DrillError, match="cannot be written: No such file"):
        overwrite_drill(tmp_path / "gone" / "a.toml", "")


# Writing


@given(files())
@SLOWLY
def test_a_written_drill_is_read_as_the_same(source: str) -> None:
    drill = parse_drill(source, "t")
    text = write_drill(drill)
    assert parse_drill(text, "t") == drill
    assert format_drill(text, "t") == text


@st.composite
def models(draw: Draw) -> Drill:
    """Draw a drill made by code: any steps on a grid, also across bar lines."""
    part = draw(st.sampled_from([1, 2, 3, 4, 6, 7, 12, 16]))
    meter = draw(st.integers(1, 32))
    lengths = st.one_of(st.integers(1, 4 * part), st.integers(1, 90 * part)).map(
        lambda count: Fraction(count, part)
    )
    gaps = st.one_of(st.just(Fraction(0)), st.integers(0, 9).map(lambda n: Fraction(n, part)))
    steps: list[Step] = []
    at = Fraction(0)
    for index in range(draw(st.integers(1, 8))):
        at += draw(gaps)
        like = drill_of(f"{draw(st.sampled_from(PLAYED))}:4").steps[0]
        step = replace(
            like,
            index=index,
            start=at,
            beats=draw(lengths),
            bar=int(at // meter) + 1,
            cleanness_rule=draw(st.sampled_from(CleannessRule)),
            vibrato=draw(st.sampled_from([None, Vibrato(), Vibrato.of_hands(3.125, 19.5)])),
            wah_hz=draw(st.sampled_from([0.0, 0.5, 3.0, 8.125])),
            call=index > 0 and draw(st.booleans()),
        )
        if step.shake:
            step = replace(step, shake=replace(step.shake, hz=draw(st.sampled_from([6.0, 4.5]))))
        for name in TECHNIQUES:
            changed = replace(step, **{name: draw(st.sampled_from(TECHNIQUES[name]))})
            step = step if find_conflict(changed) else changed
        assume(not find_conflict(step))
        steps.append(step)
        at = step.end
    return Drill(
        name="m",
        title=draw(WORDS).strip(),
        about=draw(PROSE).strip(),
        key=draw(st.sampled_from(["C", "Gb", "double-low F"])),
        tuning="richter",
        tempo=draw(st.floats(20, 300)),
        meter=(meter, 4),
        goal=Goal(
            draw(st.floats(1, 50)), weights={**DEFAULT_WEIGHTS, "time": draw(st.floats(0, 100))}
        ),
        steps=tuple(steps),
        end=Fraction(-(-at // meter) * meter),
        skills=tuple(draw(st.lists(WORDS.map(str.strip), max_size=2))),
        climb=draw(st.sampled_from([None, Climb(2.5, 300.0, 1)])),
        second=tuple(replace(step, call=False) for step in steps),
    )


TIGHTENS = "[tighten]\nfrom = 25\nby = 4\n\n[goal]\ntolerance = 15\n"


def test_a_drill_that_tightens_is_read_back_as_written() -> None:
    drill = parse_drill(written("4:4") + TIGHTENS, "t")
    assert drill.tightening == Tightening(25.0, 4.0, 15.0)
    assert drill.goal.tolerance == 15.0
    assert parse_drill(write_drill(drill), "t") == drill
    thrice = replace(drill, tightening=Tightening(25.0, 4.0, 15.0, after=3))
    assert parse_drill(write_drill(thrice), "t") == thrice
    assert drill.at_widest().goal.tolerance == 25.0
    assert drill.at_tolerance(20.0).at_tolerance(15.0) == drill
    with pytest.raises(DrillError, match="cannot be written as a drill file"):
        write_drill(drill.at_tolerance(20.0))


@pytest.mark.parametrize(
    ("tables", "expected"),
    [
        (
            "[tighten]\nfrom = 10\nby = 2\n",
            "'from' must be more than the tolerance of the goal, 10",
        ),
        ("[tighten]\nby = 2\n", "'tighten.from' is missing; add the tolerance of a new player"),
        ("[tighten]\nfrom = 60\nby = 2\n", "'from' must be the tolerance of a new player in cents"),
        ("[tighten]\nfrom = 20\nby = 2\nafer = 1\n", "did you mean 'after'?"),
        ("[tighten]\nto = 20\nby = 2\n", "there are from, by, after"),
    ],
)
def test_a_wrong_tightening_is_explained(tables: str, expected: str) -> None:
    with pytest.raises(DrillError, match=re.escape(expected)):
        parse_drill(written("4:4") + tables, "t")


@given(models())
@SLOWLY
def test_a_drill_made_by_code_can_be_written(drill: Drill) -> None:
    assert parse_drill(write_drill(drill), "m") == drill


def test_a_written_drill_by_hand() -> None:
    drill = drill_of(
        "\n-4':1 | {blur} 4:1/3 4:1/3 {call} -4:1/3 r:2/3 4:1/3{vibrato 4 9} {} 5:2 |"
        "{answer} r:1 4:3 | ~:4 | ~:3",
        pickup="1",
        about='"a \\"b\\" \\\\ \\n\\"\\"\\" c"',
    )
    assert write_drill(
        replace(drill, goal=Goal(9.5, weights={**DEFAULT_WEIGHTS, "time": 0.0}))
    ) == (
        'title = "T"\nabout = """\na "b" \\\\ \n""\\" c\n"""\n'
        'harp = "C"\ntempo = 90\nmeter = "4/4"\npickup = 1\n'
        '\ntab = """\n'
        "        -4':1                                                  |\n"
        "{blur}   [4 4 {call} -4]:1 [r:2 {} 4{blur, vibrato 4 9}]:1 5:2 |\n"
        "{answer} r:1               4:3                                 |\n"
        "         ~:4                                                   |\n"
        "         ~:3                                                   |\n"
        '"""\n'
        "\n[goal]\ntolerance = 9.5\n\n[goal.weights]\ntime = 0\n"
    )


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"end": Fraction(9)}, "bar 3 has 1 beat and should have 4"),
        ({"end": Fraction(4)}, "the format cannot express one of its values"),
        ({"start": Fraction(-4)}, "leave out the pick-up: 4 beats fill the bar"),
        ({"about": " A"}, "the format cannot express one of its values"),
        ({"title": "x" * 81}, "'title' must be one line of text"),
        ({"loop": (1, 9)}, "bars 1 to 9 are not among them"),
        ({"free": True, "second": True}, "leave out the free clock: a second part"),
    ],
)
def test_values_without_notation_are_refused(change: dict[str, Any], expected: str) -> None:
    drill = drill_of("4:4 | -4:4")
    if "second" in change:
        change = {**change, "second": drill.steps}
    with pytest.raises(DrillError, match=re.escape(expected)):
        write_drill(replace(drill, **change))


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"start": Fraction(-1)}, "begins before the last step has ended"),
        ({"beats": Fraction(1, 101)}, "tab has no length of"),
        ({"offsets_cents": (0.25,)}, "cannot be read; write them with a sign"),
        ({"vibrato": Vibrato(5.0001, 20.0)}, "the format cannot express"),
        ({"index": 3}, "the format cannot express"),
    ],
)
def test_a_step_without_notation_is_refused(change: dict[str, Any], expected: str) -> None:
    drill = drill_of("4:4")
    with pytest.raises(DrillError, match=expected):
        write_drill(replace(drill, steps=(replace(drill.steps[0], **change),)))


# Errors in tab


@pytest.mark.parametrize(
    ("tab", "expected"),
    [
        ("|: 4:4 |1. 5:4 | |: 6:4 :|", "a repeat inside a repeat"),
        ("|: 4:4 |1. 5:4", "the repeat is never closed"),
        ("|: 4:4 |1. 5:4 :|3", "the last ending has number 1; write only :|"),
        ("|: 4:4 |1-3. 5:4 |4. 6:4", "ending 1-3 must be closed with :| before the next one"),
        ("|: 4:4 |1-3. 5:4 :| |5. 6:4", "the next ending has number 4; write |4."),
        ("|: 4:4 |1,3. 5:4 :|", "ending 2 is missing; write |2."),
        ("|: 4:4 |1,3. 5:4 :| |2. 6:4", "the repeat is never closed"),
        ("|: 4:4 |3-1. 5:4 :|", "write 1 to 16 in rising order for an ending, as in |1-3."),
        ("|: 4:4 |1-99999. 5:4 :|", "write 1 to 16 in rising order"),
        (f"4:4 |{'9' * 5000}. 5:4", "an ending outside a repeat"),
        (f"|: 4:4 :|{'9' * 5000} 5:4", "write 2 to 16 times for a repeat"),
        ("4:100/101 r:3", "a length of 100/101 beats is too fine"),
        ("[4:47 -4:54]:4", "the fractions of a beat in the group are too fine"),
        ("[r:20 4]:1 r:3", "a note in the group is shorter than 1/16 beat"),
        ("|: 4:3 :|16", "bar 1 has 3 beats and should have 4"),
        (">".join(["4", "5"] * 13) + ":4", "a glide has at most 24 sounds"),
    ],
)
def test_errors_in_repeats_are_reported_once(tab: str, expected: str) -> None:
    with pytest.raises(DrillError) as caught:
        drill_of(tab)
    (problem,) = caught.value.problems
    assert expected in problem.message


def test_the_last_bar_may_lack_the_pick_up_with_a_bar_line_after_it_too() -> None:
    for end in ("", " |"):
        drill = drill_of(f"-4:1 | 4:4 | 5:3{end}", pickup="1")
        assert (drill.start, drill.end) == (-1, 7)
    with pytest.raises(DrillError, match="the pick-up has 3 beats"):
        drill_of("-4:3", pickup="1")
    with pytest.raises(DrillError, match="fill the bar of 4"):
        drill_of("-4:4 | 4:4", pickup="3.999")


# Template


@given(
    st.sampled_from([f"{beats}/4" for beats in range(1, 33)]),
    st.sampled_from([20.0, 72.0, 299.5]),
    st.one_of(st.none(), WORDS),
    st.sampled_from(["C", "low f", "bb"]),
)
@settings(max_examples=40, deadline=None)
def test_the_template_is_valid_and_formatted(
    meter: str, tempo: float, title: str | None, harp: str
) -> None:
    text = drill_template("my-first_bend", title, harp, tempo, meter)
    drill = parse_drill(text, "x")
    warnings = lint_drill(text, drill)
    assert not warnings or tempo > 200.0, "only a tempo too quick for level 1 is warned of"
    assert format_drill(text, "x") == text
    assert drill.title == (title.strip() if title else "My first bend")
    assert (drill.tempo, f"{drill.meter[0]}/4") == (tempo, meter)


def test_a_new_drill_goes_to_the_players_folder_or_a_given_path(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    own = user_drill_folder() / "quay-steps.toml"
    made = CliRunner().invoke(app, ["new", "quay-steps", "--harp", "A", "--meter", "3/4"])
    try:
        assert made.exit_code == 0
        assert made.output.startswith(f"Wrote {own}.\n")
        assert "\n  trainer play quay-steps\n" in made.output
        assert (find_drill("quay-steps").key, find_drill("quay-steps").meter) == ("A", (3, 4))
        text = own.read_bytes()
        again = CliRunner().invoke(app, ["new", "quay-steps"])
        assert "exists already" in str(again.exception)
        assert own.read_bytes() == text
    finally:
        own.unlink()
    elsewhere = CliRunner().invoke(app, ["new", "my drill.toml"])
    assert "\n  trainer play 'my drill.toml'\n" in elsewhere.output
    for command in (["check", "--strict"], ["fmt", "--check"]):
        assert CliRunner().invoke(app, [*command, "my drill.toml"]).exit_code == 0
    named_like = CliRunner().invoke(app, ["new", "harbour-bell"])
    (user_drill_folder() / "harbour-bell.toml").unlink()
    assert "replaces the drill harbour-bell" in named_like.output
    for words, expected in [
        (["no/such"], "there is no folder no"),
        (["a?b"], "is not a name for a drill"),
        (["t.toml", "--title", "x" * 81], "'title' must be one line"),
        (["t.toml", "--harp", "H"], "no harp has the key 'H'"),
        (["t.toml", "--meter", "5/3"], "'meter' must be"),
    ]:
        failed = CliRunner().invoke(app, ["new", *words])
        assert isinstance(failed.exception, DrillError)
        assert expected in str(failed.exception)
    assert [path.name for path in tmp_path.iterdir()] == ["my drill.toml"]


# The schema


@functools.cache
def schema() -> Draft202012Validator:
    """The drills' schema, as a reader of schemas understands it."""
    made = drill_schema()
    Draft202012Validator.check_schema(made)
    return Draft202012Validator(made)


def test_the_schema_agrees_with_the_model() -> None:
    printed = CliRunner().invoke(app, ["schema"])
    made = json.loads(printed.output)
    assert made == drill_schema()
    assert made["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    for table in (made, *made["$defs"].values()):
        assert table["title"]
        assert table["description"]
        assert table["additionalProperties"] is False
        assert all(field["description"] for field in table["properties"].values())
    assert made["required"] == ["title", "harp", "tempo", "tab"]
    fields = made["properties"]
    assert (fields["tempo"]["minimum"], fields["tempo"]["maximum"]) == (20, 300)
    assert (fields["meter"]["default"], fields["clock"]["enum"]) == ("4/4", ["click", "free"])
    assert (
        made["$defs"]["WeightsTable"]["properties"]["pitch"]["default"] == DEFAULT_WEIGHTS["pitch"]
    )
    for key in fields["harp"]["examples"]:
        assert parse_key(key).name == key
        assert Draft202012Validator(fields["harp"]).is_valid(key)


@each(SHIPPED)
def test_shipped_drills_conform_to_the_schema(path: Path) -> None:
    schema().validate(tomllib.loads(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize(
    ("field", "good", "bad"),
    [
        ("title", ['"x"'], ['""', '"  "', f'"{"x" * 81}"', "3"]),
        ("harp", ['"LF"', '"double low b♭"', '" c "', '"High G"'], ['"H"', '"low"', "3"]),
        ("tempo", ["20", "300.0"], ["19", "301", '"90"', "true"]),
        ("meter", ['"4/32"'], ['"33/4"', '"4/3"', '"4"']),
        ("sections", ['{ "line 1" = "1" }'], ['{ "1st" = "1" }', "{ x = 1 }"]),
        ("remarks", ['{ "bar 1 note 1" = "x" }'], ['{ "bar 0" = "x" }', '{ "bar 1" = "" }']),
        ("skills", ["[]"], ["[1]", '[""]', "[" + '"a",' * 13 + "]"]),
        ("level", ["9"], ["0", "1.5"]),
        ("clock", ['"free"'], ['"slow"']),
        ("loop", ['"1"', '"1-1"'], ['"0"', '"1-"', "1"]),
        ("goal", ["{ weights = { time = 0 } }"], ["{ hold = 0 }", "{ x = 1 }", "1"]),
        ("climb", ["{ by = 1, to = 300 }"], ["{ by = 1 }", "{ by = 0, to = 300 }"]),
        ("tighten", ["{ from = 20, by = 5 }"], ["{ from = 20 }", "{ start = 20, by = 5 }"]),
    ],
)
def test_schema_and_model_agree_on_values(field: str, good: list[str], bad: list[str]) -> None:
    for text, is_good in [*((text, True) for text in good), *((text, False) for text in bad)]:
        source = written("4:4", **{field: text})
        assert schema().is_valid(tomllib.loads(source)) is is_good, text
        if is_good:
            assert parse_drill(source, "t")
        else:
            with pytest.raises(DrillError):
                parse_drill(source, "t")


# Lint


def warnings_of(source: str) -> list[tuple[int, int, int, str]]:
    drill = parse_drill(source, "t")
    return [(w.line, w.column, w.length, w.message) for w in lint_drill(source, drill)]


@pytest.mark.parametrize(
    ("tab", "token", "expected"),
    [
        # At 60 beats per minute; the first of each pair is just within the limits.
        ("-4:4 | -5:4 |", None, ""),
        ("-4:4 | -5:4 | -6:1 r:3", "-6:1", "one draw breath lasts 9.0 s by here, from -4 on"),
        ("-4:4 | r:0.25 -5:3.75 | r:0.5 -6:3.5", None, ""),
        ("-4:4 | r:0.1 -5:3.9 | -6:1 r:3", "-6:1", "one draw breath lasts"),
        ("4:4 | -5:4 | 6:4 | -5:4", None, ""),
        ("5:0.5 -4:3.5 | 4:0.5 -5:3.5 | r:1 -5:3", None, ""),
        ("5:0.5 -4:3.5 | 4:0.5 -5:3.5 | 5:0.5 -6:3.5 | r:4 | 4:4", None, ""),
        (
            "5:0.5 -4:3.5 | 4:0.5 -5:3.5 | 5:0.5 -6:3.5 | 4:0.5 -3:3.5",
            "-3:3.5",
            "breathe out, or blow notes: the lungs are full by here, after nearly only draw",
        ),
        ("-4:0.5 1+2+3:3.5 | -4:0.5 4:3.5", None, ""),
        ("-4:0.5 1+2+3:3.5 | -4:0.5 1+2+3:3.5", "1+2+3:3.5", "the lungs are empty by here"),
        ("4:0.25 8:0.25 r:3.5", None, ""),
        ("4:0.25 9:0.25 r:3.5", "9:0.25", "9 is 5 holes away and comes 250 ms after 4"),
        ("r:3.8 4:0.1 5:0.1 | 4:4", None, ""),
        ("1+4:0.125 4+7:0.125 r:3.75", "4+7:0.125", "comes 125 ms after 1+4"),
        ("4:0.1 r:3.9", None, ""),
        ("4:1/11 r:43/11", "4:1/11", "91 ms is too short to mark (minimum 100 ms)"),
        ("-4'>-4:0.25 r:3.75", None, ""),
        ("-4'>-4:0.2 r:3.8", "-4'>-4:0.2", "200 ms is too short to mark its ends"),
        ("-3=-3'=-3'':0.5 r:3.5", None, ""),
        ("-3=-3'=-3'':0.4 r:3.6", "-3=-3'=-3'':0.4", "a rung of 133 ms is too short"),
        ("4:2{vibrato 4 20} r:2", None, ""),
        ("4:0.25{vibrato} r:3.75", "4:0.25{vibrato}", "250 ms is too short for throat vibrato"),
        ("4:0.25{hand vibrato} r:3.75", "4:0.25{hand vibrato}", "1.2 cycles of vibrato are too"),
        ("4:0.5{wah 2} r:3.5", None, ""),
        ("4:0.5{wah 1} r:3.5", "4:0.5{wah 1}", "0.5 cycles of wah are too few"),
        ("-3@-40 -4'@-15 -3'''@-20 -5@-60", None, ""),
        ("-4'@-60:4", "-4'@-60:4", "the target is 160 cents below the reed, but hole 4 draw"),
        ("4@-30:4", "4@-30:4", "hole 4 blow does not bend"),
        ("-4@+40:4", "-4@+40:4", "40 cents above the reed, which only bends down"),
        ("-4>-4@+40:4", "-4>-4@+40:4", "40 cents above the reed"),
        ("{call} 4:0.25 9:0.25 r:3.5 | {answer} 4:4", None, ""),
    ],
)
def test_warnings_have_positions(tab: str, token: str | None, expected: str) -> None:
    source = written(f"\n{tab}\n", tempo="60")
    warnings = warnings_of(source)
    if token is None:
        assert not warnings
        return
    ((line, column, length, message),) = warnings
    assert (line, column, length) == (6, tab.rindex(token) + 1, len(token))
    assert expected in message
    if "cents" not in expected and "bend" not in expected:  # under a free clock no time is checked
        assert not warnings_of(source.replace("tab =", 'clock = "free"\ntab ='))


def test_repeats_and_the_second_part_are_reported_once() -> None:
    tab = 'tab = """4:4 | 4:4"""\nsecond = """|: 4:1/11 r:43/11 :|"""\n'
    ((line, column, *_),) = warnings_of(written("", tempo="60").replace('tab = """"""\n', tab))
    assert (line, column) == (6, 16)
    swung = written("4:0.5 5:0.5 r:3", tempo="150", swing="3")  # 4:0.5 lasts 0.3 s, 5:0.5 0.1 s
    assert not warnings_of(swung)
    ((*_, message),) = warnings_of(swung.replace("150", "160"))
    assert "94 ms" in message


@pytest.mark.parametrize(
    ("source", "line", "expected"),
    [
        (written("4:4", about='""'), 1, "add 'about'"),
        (written("4:4") + "[climb]\nby = 5\nto = 99\n", 6, "without looped bars"),
        (
            written("4:4", clock='"free"', loop='"1"') + "climb = { by = 5, to = 99 }\n",
            8,
            "leave out 'climb' or the free clock",
        ),
        (written("4:4") + "[goal]\ntolerance = 3\nhold = 0.5\n", 8, "leave out 'hold'"),
        (written("4:4") + "goal = { hold = 0.5 }\n", 6, "leave out 'hold'"),
    ],
)
def test_fields_without_effect_are_reported(source: str, line: int, expected: str) -> None:
    ((where, *_, message),) = warnings_of(source)
    assert where == line
    assert expected in message


def test_check_prints_warnings_with_carets_and_fails_only_if_strict(tmp_path: Path) -> None:
    path = tmp_path / "t.toml"
    path.write_text("\ufeff" + written("4:1/16 r:63/16 |\r\n-4':4"), encoding="utf-8")
    expected = (
        f"{path}:5:10: warning: make the note longer or the tempo slower: 42 ms is too short to "
        'mark (minimum 100 ms)\n    tab = """4:1/16 r:63/16 |\n             ^^^^^^\n'
        "1 warning; 1 of 1 drill files are valid.\n"
    )
    for words, code in ((["check"], ExitCode.OK), (["check", "--strict"], ExitCode.FAILED)):
        checked = CliRunner().invoke(app, [*words, str(path)])
        assert (checked.exit_code, checked.output) == (code, expected)


@each(SHIPPED)
def test_shipped_drills_have_no_warnings(path: Path) -> None:
    assert not warnings_of(path.read_text(encoding="utf-8"))


# The page on drill files

GUIDE = (bundled_drill_folder() / "README.md").read_text(encoding="utf-8")
EXAMPLES = [
    pytest.param(*match, id=f"{match[0]}-{number}")
    for number, match in enumerate(re.findall(r"```(\w+)\n(.*?)```", GUIDE, re.DOTALL))
]


def whole(kind: str, example: str) -> str:
    """Return a drill with an example, completed by the fields that the example lacks."""
    if kind == "tab":
        return written(f"\n{example}")
    bars = '"""\n 4:4 |\n-4:4 |\n 4:4 |\n-4:4 |\n"""'
    rest = {"title": '"T"', "about": '"A"', "harp": '"C"', "tempo": "90", "tab": bars}
    given = tomllib.loads(example)
    head = [f"{name} = {value}\n" for name, value in rest.items() if name not in given]
    return "".join([*head, "\n" * bool(head), example])


@pytest.mark.parametrize(("kind", "example"), EXAMPLES)
def test_every_example_of_the_guide_is_valid_and_formatted(kind: str, example: str) -> None:
    source = whole(kind, example)
    assert format_drill(source, "t") == source
    assert not lint_drill(source, parse_drill(source, "t"))


def test_the_guide_has_an_example_of_each_feature() -> None:
    drills = [parse_drill(whole(kind, text), "t") for kind, text in (e.values for e in EXAMPLES)]
    steps = [step for drill in drills for step in drill.steps]
    assert {step.cleanness_rule for step in steps} == set(CleannessRule)
    for has in (
        lambda step: step.is_glide and step.first[0].bend and not step.last[0].bend,
        lambda step: step.is_glide and step.last[0].bend,
        lambda step: step.ladder,
        lambda step: step.vibrato,
        lambda step: step.wah_hz,
        lambda step: step.call,
        lambda step: any(step.offsets_cents),
        lambda step: step.alternative,
        lambda step: step.first[0].over,
        lambda step: step.is_chord,
        lambda step: step.beats.denominator == 3,
        lambda step: step.end > 4 * step.bar,  # tied over a bar line
    ):
        assert any(map(has, steps))  # type: ignore[no-untyped-call]
    for has_field in (
        lambda drill: drill.start < 0,
        lambda drill: drill.swing > 1,
        lambda drill: drill.loop and drill.climb,
        lambda drill: drill.tightening,
        lambda drill: drill.free and drill.goal.hold != Goal().hold,
        lambda drill: drill.second,
        lambda drill: drill.goal.weights != DEFAULT_WEIGHTS,
    ):
        assert any(map(has_field, drills))  # type: ignore[no-untyped-call]
    assert all(f"|{sign}" in GUIDE.replace("\\", "") for sign in (":", "1.", "2."))


def test_the_tables_of_the_guide_are_those_of_the_model() -> None:
    def fields(model: type[BaseModel], above: str = "") -> Iterator[tuple[str, object]]:
        for key, field in model.model_fields.items():
            name = field.alias or key
            inner = [kind for kind in TABLES if kind.__name__ in str(field.annotation)]
            if inner:
                yield from fields(inner[0], f"{above}{name}.")
            else:
                yield f"{above}{name}", None if field.is_required() else field.default

    rows = re.findall(r"^\| `([\w.]+)` \| (?:`(.*?)`)? ?\|", GUIDE, re.MULTILINE)
    expected = {name: tomllib.loads(f"x = {text}")["x"] if text else None for name, text in rows}
    for direction in ("vibrato", "wah"):
        expected.pop(direction, None)
    assert expected == dict(fields(DrillTable))


# Arbitrary input


def never_but_its_error(source: str) -> None:
    """Parsing, formatting, linting and writing return or raise DrillError, and nothing else."""
    wrong: DrillError | None = None
    try:
        drill = parse_drill(source, "fuzz")
    except DrillError as error:
        wrong = error
    if wrong is not None:
        assert str(wrong)
        assert all(problem.message for problem in wrong.problems)
        with pytest.raises(DrillError):
            format_drill(source, "fuzz")
        return
    once = format_drill(source, "fuzz")
    assert format_drill(once, "fuzz") == once
    assert all(doubt.format("fuzz", "warning") for doubt in lint_drill(source, drill))
    assert parse_drill(write_drill(drill), "fuzz") == drill


SEEDS = [path.read_text(encoding="utf-8") for path in SHIPPED[::6]]
SIGNS = st.sampled_from(
    [
        *(
            "|",
            "|:",
            ":|",
            ":|3",
            "|1.",
            "|2. ",
            "|1-3. ",
            "|2,4.",
            ":|4",
            "[",
            "]",
            "]:1",
            "{",
            "}",
            "{}",
            "{call}",
            "~",
            "~:1",
        ),
        *(
            '"""',
            "'''",
            '"',
            "'",
            "\\",
            "#",
            "\n",
            "\r\n",
            "\r",
            "\t",
            "\0",
            "\ufeff",
            "\u0664",
            "²",
        ),
        *(
            "4:1",
            "-4':0.5",
            "r:1",
            "\u00a0",
            "\u2028",
            "1/0",
            "9" * 5000,
            "@-40",
            ">",
            "=",
            "/",
            "+",
            "<>",
            "^",
            "^-5 ",
            "-4<>5:1{shake 5}",
            "{scoop 1/2 100}",
            "{loose}",
            "{dip,fall 1/4 50}",
            "{legato",
        ),
        *(
            "[goal]\n",
            "[climb]\n",
            "[tighten]\n",
            "tab = 1\n",
            "\npickup = 0.5\n",
            "\nloop = '1'\n",
            "\nswing = 3\n",
            "\ntempo_to = 140\n",
        ),
        *("[" * 3000, "{a=" * 3000, "a." * 3000, "0x" + "f" * 5000, "-nan", "1e400", "1979-05-27"),
    ]
)


@st.composite
def damaged(draw: Draw) -> str:
    text: str = draw(st.sampled_from(SEEDS))
    for _ in range(draw(st.integers(1, 4))):
        start, taken = draw(st.integers(0, len(text))), draw(st.integers(0, 12))
        put = draw(st.one_of(SIGNS, st.text(max_size=4)))
        text = text[:start] + put + text[start + taken :]
    return text


STORM = st.lists(SIGNS, max_size=30).map("".join)


@given(st.one_of(damaged(), STORM, STORM.map(written), st.text().map(written), st.text()))
@settings(max_examples=400, deadline=None, suppress_health_check=list(HealthCheck))
def test_any_text_gets_a_drill_or_its_error(source: str) -> None:
    never_but_its_error(source)


@given(
    st.sampled_from(SEEDS).map(str.encode),
    st.lists(st.tuples(st.integers(0, 3000), st.binary(max_size=6)), max_size=4),
)
@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
def test_any_bytes_in_a_file_get_a_drill_error(
    tmp_path: Path, raw: bytes, cuts: list[tuple[int, bytes]]
) -> None:
    for at, put in cuts:
        raw = raw[:at] + put + raw[at + len(put) :]
    path = tmp_path / "f.toml"
    path.write_bytes(raw)
    for words in (["check"], ["fmt", "--check"]):
        done = CliRunner().invoke(app, [*words, str(path)])
        assert done.exit_code in (ExitCode.OK, ExitCode.FAILED), done.exception
    assert path.read_bytes() == raw


MUCH = 200_000
"""Characters of a file that no player writes: what grows with their square takes minutes.

A drill of a megabyte takes five times as long; the slowest some 2 s of a processor.
"""
MOST_S = 4.0
"""Longest time for it; ten times what the slowest takes, as the machine may be busy."""
MOST_IN_ERROR = 40_000
"""Characters of an error that does not repeat the file."""


@pytest.mark.parametrize(
    "piece",
    [
        *(
            "4:1 ",
            "4:1 4:1 4:1 4:1 | ",
            "| ",
            "|",
            "|: ",
            ":| ",
            "|: 4:4 :|16 ",
            "|1. ",
            "|: 4:4 |1-16. 5:4 :| ",
            "|: 4:4 |1-15. 5:4 :| |16. 6:4 ",
            "^4 ",
            "^4 5 ",
            "[",
            "]",
            "[4]:1 ",
        ),
        *(
            "{",
            "}",
            "{}",
            "{blur,",
            "{ ",
            "4{blur}",
            "~ ",
            "'",
            "4>",
            "4<>",
            "4+",
            "-3=",
            "@",
            ":",
            "9",
            "4:1/",
        ),
        *(
            "#",
            "\n",
            "# x\n",
            " ",
            "\u00a0",
            "4:97/99 4:0.5.. ",
            "[4:97/99 5:3]:1 ",
            "-4'>-4:1/16 ",
        ),
    ],
)
def test_a_long_tab_is_answered_in_seconds(piece: str) -> None:
    tab = piece * (MUCH // len(piece))
    start = time.process_time()
    with pytest.raises(DrillError) as caught:
        drill_of(tab)
    assert time.process_time() - start < MOST_S
    assert len(str(caught.value)) < MOST_IN_ERROR


@pytest.mark.parametrize(
    "source",
    [
        *("a." * (MUCH // 2) + "b = 1", "[" + "a." * (MUCH // 2) + "b]", "[" * MUCH),
        *(
            "a = " + "[" * MUCH,
            "a = " + "{a=" * (MUCH // 3),
            '"' * MUCH,
            "'" * MUCH,
        ),
        *("a" * MUCH + " = 1", "a = '" + "x" * MUCH + "'", "=" * MUCH, "\\" * MUCH),
        "".join(f"a{number} = 1\n" for number in range(MUCH // 12)),
        "".join(f"[a{number}]\n" for number in range(MUCH // 10)),
        "skills = [" + '"",' * (MUCH // 3) + "]",
        'about = """' + '""\\"' * (MUCH // 4) + '"""',
        "title = " + "9" * MUCH,
    ],
    ids=range(16),
)
def test_a_long_file_of_anything_is_answered_in_seconds(source: str) -> None:
    start = time.process_time()
    with pytest.raises(DrillError) as caught:
        parse_drill(source, "t")
    assert time.process_time() - start < MOST_S
    assert len(str(caught.value)) < MOST_IN_ERROR


def test_what_turns_the_direction_of_writing_is_escaped() -> None:
    text = 'title = "abc\\u202Egnp"\nharp = "C"\ntempo = 60\ntab = "4:2 -4:2 |"\n'
    drill = parse_drill(text, "turned")
    written = write_drill(drill)
    assert "\\u202E" in written
    assert "\u202e" not in written
    assert parse_drill(written, "turned").title == drill.title
