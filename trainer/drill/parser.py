"""Parser of drill files: TOML with the fields of header.py and the tab of tab_reader.py.

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

All problems of a file are reported together, with their positions.
"""

from __future__ import annotations

import logging
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trainer.core.problems import Problem, with_source_lines
from trainer.core.text_files import ReadFailure, TextFileError, normalize_text, read_text_file
from trainer.core.toml_positions import (
    KeyPath,
    KeySpans,
    find_overdeep_key,
    key_spans,
    string_content_at,
)
from trainer.drill.aim import aims_of
from trainer.drill.errors import DrillError
from trainer.drill.ground_text import parse_ground
from trainer.drill.model import (
    SOLO_CRITERIA,
    Climb,
    Drill,
    Goal,
    Remark,
    Section,
    Tightening,
)
from trainer.drill.recording import DrillRecording
from trainer.drill.solo import Ground, GroundStyle, SoloBrief
from trainer.drill.tab_reader import ParsedTab, parse_tab
from trainer.drill.tab_words import FORMER_DIRECTIONS, former_names
from trainer.drill.tokenizer import tokenize
from trainer.drill.transpose import find_unplayable
from trainer.harp import Harp, HarpError, load_tuning, parse_key
from trainer.music import key_in_position

if TYPE_CHECKING:
    from trainer.drill.header import DrillTable, FieldProblem

MAX_BYTES = 1_000_000
"""Maximum size of a drill file in bytes; real ones are far smaller."""

_log = logging.getLogger(__name__)
_TOO_DEEP = "remove the nested lists and tables: the file nests too deeply for a drill"
_TOML_POSITION = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)\Z")
_TAB_IN_SINGLE_QUOTES = re.compile(r"^[ \t]*tab[ \t]*=[ \t]*'", re.MULTILINE)


def read_drill(path: Path | str) -> Drill:
    """Read a drill from a file.

    Raises:
        DrillError: the file cannot be read or is not a valid drill; it lists all problems.
    """
    path = Path(path)
    drill = parse_drill(read_drill_text(path), path.stem, str(path))
    if drill.recording is not None:
        drill = replace(drill, recording=drill.recording.beside(path))
    return drill


def parse_drill(source: str, name: str, where: str | None = None) -> Drill:
    """Parse the text of a drill file.

    Args:
        source: the text.
        name: name of the drill.
        where: name of the file in problems; None takes the drill's name.

    Raises:
        DrillError: it is not a valid drill; it lists all problems.
    """
    from trainer.drill.header import validate_table  # pydantic is slow to load

    where = where or name
    source = normalize_text(source)
    if deep := find_overdeep_key(source):
        raise _error(where, source, [Problem(deep, 1, 0, _TOO_DEEP)])
    try:
        data = tomllib.loads(source)
    except (ValueError, RecursionError) as error:
        raise _error(where, source, [_toml_problem(error, source)]) from None
    table, field_problems = validate_table(data)
    spans = key_spans(source)
    problems = [_locate(problem, spans) for problem in field_problems]
    wrong = {problem.path[0] for problem in field_problems}
    parts = {
        name: _parse_part(name, data, wrong, source, spans)
        for name in ("tab", "second")
        if name in data and name not in wrong
    }
    harp = _harp(data, wrong)
    ground, ground_problems = _parse_ground(data, wrong, harp, source, spans)
    problems += ground_problems
    for music in parts.values():
        problems += music.problems
        problems += find_unplayable(music.steps, harp) if harp else ()
    if table is not None and "tab" in parts and not problems:
        inconsistent = _check_consistency(table, parts["tab"], parts.get("second"), ground)
        problems += [_locate(problem, spans) for problem in inconsistent]
    if problems or table is None or "tab" not in parts:
        raise _error(where, source, problems)
    for problem in find_former_names(source):
        _log.warning("%s", problem.format(where))
    return _drill(name, table, parts["tab"], parts.get("second"), ground)


def find_former_names(source: str) -> Iterator[Problem]:
    """Yield a problem for each former name of a direction in a valid drill file's text."""
    if not any(old in source for old in FORMER_DIRECTIONS):
        return
    data, spans = tomllib.loads(source), key_spans(source)
    for part in ("tab", "second"):
        tokens = tokenize(*part_text(part, data, source, spans)) if part in data else []
        for token in tokens:
            for old in former_names(token.text):
                new = FORMER_DIRECTIONS[old]
                message = (
                    f"write {{{new}}} for {{{old}}}, its former name, or run trainer drill fmt"
                )
                yield token.problem(message)


def _drill(
    name: str,
    table: DrillTable,
    music: ParsedTab,
    second: ParsedTab | None,
    ground: Ground | None,
) -> Drill:
    beats, value = (int(part) for part in table.meter.split("/"))
    goal = table.goal
    return Drill(
        name=name,
        title=table.title.strip(),
        about=table.about.strip(),
        key=parse_key(table.harp).name,
        tuning=load_tuning(table.tuning).name,
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
        loop=_bar_range(table.loop) if table.loop else None,
        climb=Climb(table.climb.by, table.climb.to, table.climb.after) if table.climb else None,
        tightening=_tightening(table),
        second=second.steps if second else (),
        aims=aims_of(table.aim.model_dump()),
        tempo_to=table.tempo_to,
        sections=tuple(Section(name, *_bar_range(bars)) for name, bars in table.sections.items()),
        remarks=tuple(_remark(place, text) for place, text in table.remarks.items()),
        recording=_recording(table),
        position=table.position,
        ground=ground,
        solos=music.solos,
        brief=_brief(table),
    )


def _brief(table: DrillTable) -> SoloBrief | None:
    solo = table.solo
    if solo is None:
        return None
    return SoloBrief(solo.scale, solo.phrase, solo.rest, solo.range, solo.division, solo.bends_off)


def _parse_ground(
    data: Mapping[str, Any],
    wrong: set[str],
    harp: Harp | None,
    source: str,
    spans: Mapping[KeyPath, KeySpans],
) -> tuple[Ground | None, tuple[Problem, ...]]:
    """Parse the ground at its position in the source; `wrong` are fields with problems."""
    if "ground" not in data or wrong & {"ground", "position"}:
        return None, ()
    field = spans.get(("ground", "chords"))
    text, line, column = data["ground"]["chords"], 1, 1
    if field and (content := string_content_at(source, field.value)):
        text, line, column = content
    tonic = key_in_position(harp.key.tonic if harp else 0, data.get("position", 1))
    bars, problems = parse_ground(text, tonic, line, column)
    return Ground(bars, GroundStyle(data["ground"].get("play", "chords"))), problems


def pickup_beats(beats: float) -> Fraction:
    """Return the length of a pick-up as the fraction that its decimal stands for: 0.333 is 1/3."""
    return Fraction(beats).limit_denominator(48)


def _tightening(table: DrillTable) -> Tightening | None:
    tighten = table.tighten
    if tighten is None:
        return None
    return Tightening(tighten.start, tighten.by, table.goal.tolerance, tighten.after)


def _recording(table: DrillTable) -> DrillRecording | None:
    of = table.recording
    if of is None:
        return None
    first, second = (tuple(sorted(set(numbers))) for numbers in (of.doubtful, of.second_doubtful))
    return DrillRecording(of.file, tuple(of.beats), of.first, of.channel, of.fade, first, second)


def _remark(place: str, text: str) -> Remark:
    words = place.split()
    return Remark(int(words[1]), int(words[3]) if len(words) > 2 else 0, text.strip())


def _bar_range(text: str) -> tuple[int, int]:
    first, _, last = text.partition("-")
    return int(first), int(last or first)


def _check_consistency(
    table: DrillTable, music: ParsedTab, second: ParsedTab | None, ground: Ground | None
) -> list[FieldProblem]:
    """Return the problems between fields that are valid by themselves."""
    from trainer.drill.header import FieldProblem

    problems = []
    meter = table.meter.split("/")[0]
    if pickup_beats(table.pickup) >= int(meter):
        message = f"leave out the pick-up: {table.pickup:g} beats fill the bar of {meter}"
        return [FieldProblem(("pickup",), "value", message)]
    drill = _drill("the drill", table, music, second, ground)  # it has no name yet
    ranges: dict[tuple[str, ...], tuple[int, int]] = {}
    if drill.loop:
        ranges["loop",] = drill.loop
    ranges |= {("sections", part.name): part.bars for part in drill.sections}
    for path, (first, last) in ranges.items():
        try:
            drill.step_range(first, last)
        except DrillError as error:
            problems.append(FieldProblem(path, "value", str(error)))
    for remark in drill.remarks:
        notes = sum(step.bar == remark.bar for step in drill.steps)
        if remark.bar > drill.bars or remark.note > notes:
            there = (
                f"bar {remark.bar} has {notes} notes"
                if remark.bar <= drill.bars
                else (f"the drill has bars 1 to {drill.bars}")
            )
            message = f"there is no {remark.place}: {there}"
            problems.append(FieldProblem(("remarks", remark.place), "value", message))
    if drill.recording is not None and (message := _recording_problem(drill)):
        problems.append(FieldProblem(("recording",), "value", message))
    if drill.tempo_to is not None and (message := _tempo_problem(drill)):
        problems.append(FieldProblem(("tempo_to",), "value", message))
    if drill.climb and drill.climb.to < drill.tempo:
        message = f"'to' must be the drill's tempo, {drill.tempo:g}, or more"
        problems.append(FieldProblem(("climb", "to"), "value", message))
    if drill.tightening and drill.tightening.start <= drill.tightening.to:
        message = f"'from' must be more than the tolerance of the goal, {drill.tightening.to:g}"
        problems.append(FieldProblem(("tighten", "from"), "value", message))
    if second and second.end > music.end:
        message = (
            f"fill up the first part with rests: it has {music.end} beats, the second part "
            f"{second.end}"
        )
        problems.append(FieldProblem(("second",), "value", message))
    problems += _check_solos(drill, second)
    for aim in drill.aims:
        if aim.is_on_solos and drill.solos:
            if aim.criterion not in SOLO_CRITERIA:
                message = f"solos are not judged on that; name {', '.join(SOLO_CRITERIA)}"
                problems.append(FieldProblem(("aim", aim.criterion), "value", message))
        elif not aim.steps(drill.steps):
            message = f"no step of the drill is one of the {' or '.join(aim.groups)}"
            problems.append(FieldProblem(("aim", aim.criterion), "value", message))
    if drill.free and (second or any(step.call for step in drill.steps)):
        message = "leave out the free clock: a second part and calls are played in time"
        problems.append(FieldProblem(("clock",), "value", message))
    return problems


def _check_solos(drill: Drill, second: ParsedTab | None) -> list[FieldProblem]:
    """Return the problems of what is left to the player and of what is played under it."""
    from trainer.drill.header import FieldProblem

    problems = []
    if drill.solos and drill.brief is None:
        message = 'add a [solo] table with the scale of the solo, such as scale = "blues"'
        problems.append(FieldProblem(("tab",), "value", message))
    if drill.brief and not drill.solos:
        message = "write solo:4 in the tab where the player is free, or leave out [solo]"
        problems.append(FieldProblem(("solo",), "value", message))
    if drill.position is None and (drill.brief or drill.ground):
        message = "add 'position', a number from 1 to 12: it gives the chords and scale their key"
        problems.append(FieldProblem(("solo" if drill.brief else "ground",), "value", message))
    if drill.free and (drill.solos or drill.ground):
        message = "leave out the free clock: a solo and a ground are played in time"
        problems.append(FieldProblem(("clock",), "value", message))
    if second and second.solos:
        message = "write the solo in 'tab': the other part is the trainer's"
        problems.append(FieldProblem(("second",), "value", message))
    if drill.ground and len(drill.ground.bars) > drill.bars:
        message = f"take bars out: the ground has {len(drill.ground.bars)} and the tab {drill.bars}"
        problems.append(FieldProblem(("ground", "chords"), "value", message))
    if drill.brief and drill.position and not problems:
        harp = Harp.of(drill.key, drill.tuning)
        notes = [harp.midi(tab) for tab in drill.brief.entries(harp, drill.position)]
        if not notes or max(notes) - min(notes) < drill.brief.range_half_steps:
            message = "ask for less: the notes of the scale on this harp do not span the range"
            problems.append(FieldProblem(("solo", "range"), "value", message))
    return problems


def _tempo_problem(drill: Drill) -> str:
    """Return what contradicts the drill's change of tempo; empty for nothing."""
    if drill.tempo_to == drill.tempo:
        return "leave out 'tempo_to': it is the drill's tempo, which then does not change"
    if drill.free:
        return "leave out 'tempo_to' or the free clock, which has no tempo"
    if drill.climb:
        return "leave out 'tempo_to' or 'climb': each pass of a climb keeps one tempo"
    return ""


def _recording_problem(drill: Drill) -> str:
    """Return what contradicts a recording that is played along with; empty for nothing."""
    if drill.free:
        return "leave out [recording] or the free clock: a recording has its own beats"
    if drill.climb or drill.tempo_to is not None:
        return "leave out [recording] or the change of tempo: a recording has its own tempo"
    recording = drill.recording
    if recording is not None:
        for numbers, steps, part in (
            (recording.doubtful, drill.steps, "the drill"),
            (recording.second_doubtful, drill.second, "its second part"),
        ):
            if numbers and numbers[-1] > len(steps):
                return f"there is no doubtful note {numbers[-1]}: {part} has {len(steps)} notes"
    return ""


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
        return Problem(1, 1, 0, _TOO_DEEP)
    message = str(error)
    position = _TOML_POSITION.search(message)
    if not position:
        return Problem(1, 1, 0, f"the file is not TOML: {message}")
    lines = source.rstrip("\n").split("\n")
    line, column = len(lines), len(lines[-1]) + 1
    if position[1]:
        line, column = int(position[1]), int(position[2])
    hint = (
        '; put the tab between """ and """, because \' is the sign of a bend'
        if _TAB_IN_SINGLE_QUOTES.search(source)
        else ""
    )
    return Problem(line, column, 1, f"not TOML: {message[: position.start()]}{hint}")


def _locate(problem: FieldProblem, spans: Mapping[KeyPath, KeySpans]) -> Problem:
    """Return the problem of a field at the position of its key or value."""
    key_spans = spans.get(problem.path) or spans.get(problem.path[:1])
    if problem.kind == "missing" or not key_spans:
        return Problem(1, 1, 0, problem.message)
    span = key_spans.key if problem.kind == "unknown" else key_spans.value
    return Problem(span.line, span.column, span.length, problem.message)


def part_text(
    name: str, data: Mapping[str, Any], source: str, spans: Mapping[KeyPath, KeySpans]
) -> tuple[str, int, int]:
    """Return the tab of a part, and the line and column of its first character, from 1.

    Args:
        name: ``tab`` or ``second``.
        data: the file's fields.
        source: the file's text.
        spans: positions of the fields.
    """
    spans_of_part = spans.get((name,))
    content = spans_of_part and string_content_at(source, spans_of_part.value)
    return content or (data[name], 1, 1)


def _parse_part(
    name: str,
    data: Mapping[str, Any],
    wrong: set[str],
    source: str,
    spans: Mapping[KeyPath, KeySpans],
) -> ParsedTab:
    """Parse the tab of a part at its position in the source; `wrong` are fields with problems."""
    text, line, column = part_text(name, data, source, spans)
    beats_per_bar, pickup = None, Fraction(0)
    if not wrong & {"meter", "pickup"}:
        beats_per_bar = int(data.get("meter", "4/4").split("/")[0])
        beats = pickup_beats(data.get("pickup", 0))
        if beats < beats_per_bar:
            pickup = beats
    return parse_tab(text, beats_per_bar, line=line, column=column, pickup=pickup)


def _harp(data: Mapping[str, Any], wrong: set[str]) -> Harp | None:
    """Return the drill's harp; None if the fields that name it are wrong."""
    if wrong & {"harp", "tuning"}:
        return None
    try:
        return Harp.of(data["harp"], data.get("tuning", "richter"))
    except HarpError:
        return None
