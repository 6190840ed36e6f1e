"""Drill files: TOML whose fields head.py describes and whose music tab.py reads.

    title = "The four draw, a half step down"
    about = "What it trains, how it feels when right, what usually goes wrong."
    harp = "C"
    tempo = 60
    meter = "4/4"
    skills = ["half-step bends"]

    tab = \"\"\"
    -4:2 -4':2 | -4'>-4:2 r:2 |
    \"\"\"

    [goal]
    tolerance = 15

Everything that is wrong with a file is told at once, each thing with its place.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trainer.core.text_files import ReadFailure, TextFileError, read_text_file
from trainer.core.toml_positions import KeySpans, find_overdeep_key, key_spans, string_content_at
from trainer.drill.errors import DrillError, Problem
from trainer.drill.model import Climb, Drill, Goal
from trainer.drill.tab_reader import ParsedTab, parse_tab
from trainer.drill.transpose import find_unplayable
from trainer.harp import Harp, HarpError, parse_key

if TYPE_CHECKING:
    from trainer.drill.header import DrillTable, FieldProblem

MAX_BYTES = 1_000_000
"""More than any drill needs; a larger file is something else."""

_DEEP = "the file nests too deeply; a drill needs no lists in lists and no tables below others"
_TOML_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)\Z")
_TAB_IN_SINGLE_QUOTES = re.compile(r"^[ \t]*tab[ \t]*=[ \t]*'", re.MULTILINE)


def read_drill(path: Path | str) -> Drill:
    """The drill in a file.

    Raises:
        DrillError: the file cannot be read or is no drill; every problem in it is told.
    """
    path = Path(path)
    return parse_drill(read_drill_text(path), path.stem, str(path))


def parse_drill(source: str, name: str, where: str | None = None) -> Drill:
    """The drill in a text.

    Args:
        source: the text of a drill file.
        name: what the drill is to be called.
        where: the file's name for problems; the drill's if none is given.

    Raises:
        DrillError: it is no drill; every problem in it is told.
    """
    from trainer.drill.header import validate_table  # pydantic is slow to load and only needed here

    where = where or name
    source = normalize_text(source)
    if deep := find_overdeep_key(source):
        raise _error(where, source, [Problem(deep, 1, 0, _DEEP)])
    try:
        data = tomllib.loads(source)
    except (ValueError, RecursionError) as error:
        raise _error(where, source, [_toml_problem(error, source)]) from None
    table, faults = validate_table(data)
    spots = key_spans(source)
    problems = [_field_problem(fault, spots) for fault in faults]
    wrong = {fault.path[0] for fault in faults}
    parts = {
        name: _music(name, data, wrong, source, spots)
        for name in ("tab", "second")
        if name in data and name not in wrong
    }
    harp = _harp(data, wrong)
    for music in parts.values():
        problems += music.problems
        problems += find_unplayable(music.steps, harp) if harp else ()
    if table is not None and "tab" in parts and not problems:
        odd = _at_odds(table, parts["tab"], parts.get("second"))
        problems += [_field_problem(fault, spots) for fault in odd]
    if problems or table is None or "tab" not in parts:
        raise _error(where, source, problems)
    return _drill(name, table, parts["tab"], parts.get("second"))


def normalize_text(source: str) -> str:
    """A file's text without a byte order mark and with plain line ends, as places count in it."""
    return source.removeprefix("\ufeff").replace("\r\n", "\n")


def with_source_lines(problems: Iterable[Problem], source: str) -> Iterator[Problem]:
    """Problems with the lines of the plain source that they stand in."""
    lines = dict(enumerate(source.split("\n"), start=1))
    return (replace(problem, source=lines.get(problem.line, "")) for problem in problems)


def _drill(name: str, table: DrillTable, music: ParsedTab, second: ParsedTab | None) -> Drill:
    beats, value = (int(part) for part in table.meter.split("/"))
    goal = table.goal
    return Drill(
        name=name,
        title=table.title.strip(),
        about=table.about.strip(),
        key=parse_key(table.harp).name,
        tuning=table.tuning.lower(),
        tempo=table.tempo,
        meter=(beats, value),
        goal=Goal(goal.tolerance, goal.pass_mark, goal.hold, goal.weights.model_dump()),
        steps=music.steps,
        end=music.end,
        skills=tuple(skill.strip() for skill in table.skills),
        level=table.level,
        start=-pickup_beats(table.pickup),
        swing=table.swing,
        free=table.clock == "free",
        loop=_loop(table.loop),
        climb=Climb(table.climb.by, table.climb.to, table.climb.after) if table.climb else None,
        second=second.steps if second else (),
    )


def pickup_beats(beats: float) -> Fraction:
    """Beats of a pick-up, as the fraction that is meant: 0.333 is a third."""
    return Fraction(beats).limit_denominator(48)


def _loop(text: str | None) -> tuple[int, int] | None:
    if text is None:
        return None
    first, _, last = text.partition("-")
    return int(first), int(last or first)


def _at_odds(table: DrillTable, music: ParsedTab, second: ParsedTab | None) -> list[FieldProblem]:
    """What is wrong between fields that are each right."""
    from trainer.drill.header import FieldProblem

    faults = []
    meter = table.meter.split("/")[0]
    if pickup_beats(table.pickup) >= int(meter):
        message = f"a pick-up of {table.pickup:g} beats fills the bar of {meter}; leave it out"
        return [FieldProblem(("pickup",), "value", message)]
    drill = _drill("", table, music, second)
    if drill.loop:
        try:
            drill.step_range(*drill.loop)
        except DrillError as error:
            faults.append(
                FieldProblem(("loop",), "value", str(error).replace(" of  ", " ").strip())
            )
    if drill.climb and drill.climb.to < drill.tempo:
        message = f"'to' must be the drill's tempo, {drill.tempo:g}, or more"
        faults.append(FieldProblem(("climb", "to"), "value", message))
    if second and second.end > music.end:
        message = f"the second part lasts {second.end} beats and the first only {music.end}"
        faults.append(FieldProblem(("second",), "value", f"{message}; write the first to its end"))
    if drill.free and (second or any(step.call for step in drill.steps)):
        message = (
            "a free clock cannot go with a second part or with calls, which are played in time; "
            "leave it out"
        )
        faults.append(FieldProblem(("clock",), "value", message))
    return faults


def read_drill_text(path: Path) -> str:
    """Return the text of a drill file, unchanged.

    Raises:
        DrillError: the file cannot be read, is too large for a drill, or is not UTF-8.
    """
    try:
        return read_text_file(path, max_bytes=MAX_BYTES)
    except TextFileError as error:
        match error.failure:
            case ReadFailure.MISSING:
                message = f"there is no drill file {path}; check its name and folder"
            case ReadFailure.NOT_A_FILE:
                message = f"{path} is a folder, not a drill; name a file in it"
            case ReadFailure.TOO_LARGE:
                message = f"{path} is too large for a drill; a drill is a short text file"
            case ReadFailure.NOT_UTF8:
                problem = Problem(error.line, error.column, 0, error.reason)
                raise DrillError.from_problems(str(path), [problem]) from None
            case ReadFailure.SYSTEM:
                message = f"the drill file {path} cannot be read: {error.reason}"
        raise DrillError(message) from None


def _error(where: str, source: str, problems: Iterable[Problem]) -> DrillError:
    return DrillError.from_problems(where, with_source_lines(problems, source))


def _toml_problem(error: Exception, source: str) -> Problem:
    if isinstance(error, RecursionError):
        return Problem(1, 1, 0, _DEEP)
    message = str(error)
    place = _TOML_PLACE.search(message)
    if not place:
        return Problem(1, 1, 0, f"the file is not TOML: {message}")
    lines = source.rstrip("\n").split("\n")
    line, column = (int(place[1]), int(place[2])) if place[1] else (len(lines), len(lines[-1]) + 1)
    hint = (
        '; put the tab between """ and """, because \' is the sign of a bend'
        if _TAB_IN_SINGLE_QUOTES.search(source)
        else ""
    )
    return Problem(line, column, 1, f"not TOML: {message[: place.start()]}{hint}")


def _field_problem(fault: FieldProblem, spots: Mapping[tuple[str, ...], KeySpans]) -> Problem:
    if fault.kind == "missing":
        return Problem(1, 1, 0, fault.message)
    place = spots.get(fault.path) or spots.get(fault.path[:1])
    if not place:
        return Problem(1, 1, 0, fault.message)
    span = place.key if fault.kind == "unknown" else place.value
    return Problem(span.line, span.column, span.length, fault.message)


def _music(
    name: str,
    data: Mapping[str, Any],
    wrong: set[str],
    source: str,
    spots: Mapping[tuple[str, ...], KeySpans],
) -> ParsedTab:
    """The music of a part, read where it stands in the source so that its places are the file's."""
    place = spots.get((name,))
    text, line, column = (place and string_content_at(source, place.value)) or (data[name], 1, 1)
    beats_a_bar, pickup = None, Fraction(0)
    meter, ahead = data.get("meter", "4/4"), data.get("pickup", 0)
    if not wrong & {"meter", "pickup"}:
        beats_a_bar = int(meter.split("/")[0])
        if pickup_beats(ahead) < beats_a_bar:
            pickup = pickup_beats(ahead)
    return parse_tab(text, beats_a_bar, line=line, column=column, pickup=pickup)


def _harp(data: Mapping[str, Any], wrong: set[str]) -> Harp | None:
    """The harp of the drill, if the fields that name it are right."""
    if wrong & {"harp", "tuning"}:
        return None
    try:
        return Harp.of(data["harp"], data.get("tuning", "richter"))
    except HarpError:
        return None
