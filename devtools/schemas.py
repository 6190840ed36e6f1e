"""Write the published formats: JSON Schemas, and a page that describes every field.

``python -m devtools.schemas`` writes ``docs/formats/*.schema.json`` and ``docs/formats.md`` from
the typed dictionaries that the converters return and the docstrings of their fields; with
``--check`` it fails if a written file is not current.
"""

from __future__ import annotations

import argparse
import ast
import importlib
import inspect
import json
import re
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter
from pydantic.json_schema import GenerateJsonSchema

from trainer.report.schemas.classes import ClassReportData, ClassRow
from trainer.report.schemas.drills import CourseStageData, ShelfDrillData, TranspositionData
from trainer.report.schemas.harps import (
    HarpChartData,
    HarpChoicesData,
    OwnHarpData,
    OwnHarpSummaryData,
    ReedWatchData,
)
from trainer.report.schemas.heard import ReadingData
from trainer.report.schemas.journals import JournalData, JournalRow, ListedTakeData, TakeData
from trainer.report.schemas.progress import DailySetData, OverviewData, ProgressData, ProgressRow
from trainer.report.schemas.results import (
    BestPassData,
    ComparisonData,
    RecordingData,
    StoredRecordingData,
    StudentReportData,
    StudentRow,
)
from trainer.report.schemas.sound import CalibrationData, DeviceData, MicrophoneCheckData
from trainer.report.schemas.transcripts import TranscribedNoteData, TranscriptHeadData
from trainer.settings.schemas import SettingsData
from trainer.transfer.schemas import (
    CalibrationLine,
    FocusLine,
    JournalHeadLine,
    OwnHarpLine,
    PlacementLine,
    TakeLine,
)

DOCS = Path(__file__).resolve().parents[1] / "docs"
DIALECT = "https://json-schema.org/draft/2020-12/schema"
MODULES = (
    "trainer.transfer.schemas",
    "trainer.report.schemas.heard",
    "trainer.report.schemas.results",
    "trainer.report.schemas.classes",
    "trainer.report.schemas.transcripts",
    "trainer.report.schemas.harps",
    "trainer.report.schemas.drills",
    "trainer.report.schemas.progress",
    "trainer.report.schemas.journals",
    "trainer.report.schemas.sound",
)
"""Modules of shapes; a module that is inherited from comes first."""


@dataclass(frozen=True)
class Format:
    """A format that leaves the program.

    Attributes:
        name: of its schema file, and of its section.
        type: its shape: a typed dictionary, a list or a union of them.
        commands: the commands that write it.
        about: what it is, in a sentence or two.
        table: whether it is CSV, which gets a section and no schema.
    """

    name: str
    type: Any
    commands: tuple[str, ...]
    about: str
    table: bool = False


FORMATS = (
    Format(
        "reading",
        ReadingData,
        ("trainer listen --format jsonl",),
        "One line per reading, 200 or fewer a second.",
    ),
    Format(
        "transcript",
        list[TranscribedNoteData],
        ("trainer tab --format json",),
        "The notes of a transcript, one part after the other.",
    ),
    Format(
        "transcript-lines",
        TranscriptHeadData | TranscribedNoteData,
        ("trainer tab --format jsonl",),
        "The first line describes the whole; each other line is a note.",
    ),
    Format(
        "transcript-table",
        TranscribedNoteData,
        ("trainer tab --format csv",),
        "A row per note. Lists are joined by `; `, what is unknown is empty, and truth values are "
        "`True` or `False`.",
        table=True,
    ),
    Format(
        "pass",
        BestPassData | None,
        ("trainer mark RECORDING --format json",),
        "The best pass of one recording.",
    ),
    Format(
        "comparison",
        ComparisonData,
        ("trainer compare RECORDING RECORDING --format json",),
        "Two takes of one drill, step by step.",
    ),
    Format(
        "recordings",
        list[RecordingData],
        ("trainer mark RECORDING RECORDING --format json",),
        "Several recordings, in order of their paths.",
    ),
    Format(
        "recording",
        StoredRecordingData,
        ("trainer mark --out FOLDER",),
        "One recording of a batch, in a file of its own.",
    ),
    Format(
        "class-report",
        ClassReportData,
        ("trainer mark --class FILE.json",),
        "Who in a class should work on what.",
    ),
    Format(
        "class-table",
        ClassRow,
        ("trainer mark --class FILE.csv",),
        "A row per student.",
        table=True,
    ),
    Format(
        "student-report",
        StudentReportData,
        ("trainer report --out FILE.json",),
        "A student's report on one recording.",
    ),
    Format(
        "student-table",
        StudentRow,
        ("trainer report --out FILE.csv",),
        "A row per step.",
        table=True,
    ),
    Format(
        "shelf",
        list[ShelfDrillData],
        ("trainer drill list --format json",),
        "The drills of the shelf, by skill.",
    ),
    Format(
        "course",
        list[CourseStageData],
        ("trainer drill course --format json",),
        "The stages of the course, and the player's place in them.",
    ),
    Format(
        "transposition",
        TranspositionData,
        ("trainer drill move DRILL --format json",),
        "The ways to play a drill on other harps.",
    ),
    Format(
        "harp-chart",
        HarpChartData,
        ("trainer harp --format json",),
        "Everything that a harp can play. Frequencies are to 0.001 Hz, cents to 0.01.",
    ),
    Format(
        "harp-choices",
        HarpChoicesData,
        ("trainer harp --song KEY --format json",),
        "The harps for a song's key.",
    ),
    Format(
        "own-harps",
        list[OwnHarpSummaryData],
        ("trainer harp list --format json",),
        "The harps that the player has measured.",
    ),
    Format(
        "own-harp",
        OwnHarpData,
        ("trainer harp show NAME --format json",),
        "How a measured harp is tuned. Frequencies are to 0.001 Hz, cents to 0.01.",
    ),
    Format(
        "reed-watch",
        list[ReedWatchData],
        ("trainer harp watch --format json",),
        "How the reeds of measured harps wear. Cents are to 0.01.",
    ),
    Format(
        "daily-set",
        DailySetData,
        ("trainer today --format json",),
        "The drills chosen for today. Times are expected, not played.",
    ),
    Format(
        "progress-overview",
        OverviewData,
        ("trainer progress --format json",),
        "Progress on every tab entry and skill.",
    ),
    Format(
        "progress",
        ProgressData,
        ("trainer progress SUBJECT --format json",),
        "Progress on one tab entry or skill, with its days and weeks.",
    ),
    Format(
        "progress-table",
        ProgressRow,
        ("trainer progress --format csv", "trainer progress SUBJECT --format csv"),
        "A row per subject and week; of a single subject, a row per day.",
        table=True,
    ),
    Format(
        "takes",
        list[ListedTakeData],
        ("trainer journal list --format json",),
        "Takes of the journal without their steps, in order of time.",
    ),
    Format(
        "take",
        TakeData,
        ("trainer journal show ID --format json",),
        "One take of the journal.",
    ),
    Format(
        "journal",
        JournalData,
        ("trainer journal where --format json",),
        "Where the journal is stored and what it holds.",
    ),
    Format(
        "journal-lines",
        JournalHeadLine | TakeLine | OwnHarpLine | CalibrationLine | FocusLine | PlacementLine,
        ("trainer journal export",),
        "The first line names the format; each other line is a take, a measured harp, a "
        "calibration, a focus or a level. `trainer journal import` reads it.",
    ),
    Format(
        "journal-table",
        JournalRow,
        ("trainer journal export --format csv",),
        "A row per step of every take. `trainer journal import` reads it, with the columns in any "
        "order.",
        table=True,
    ),
    Format(
        "settings",
        SettingsData,
        ("trainer settings show --format json",),
        "The settings, their origins, and what is wrong with them.",
    ),
    Format(
        "devices",
        list[DeviceData],
        ("trainer sound list --format json",),
        "The sound devices of the computer.",
    ),
    Format(
        "microphone-check",
        MicrophoneCheckData,
        ("trainer sound check --format json",),
        "The check of a microphone.",
    ),
    Format(
        "calibration",
        CalibrationData,
        ("trainer sound calibrate --format json",),
        "A new calibration of the round trip from output to microphone.",
    ),
)

HEAD = """\
# Formats

Every JSON and CSV format that the trainer writes. This page and the JSON Schemas in
[formats/](formats) are written by `python -m devtools.schemas` from the code; do not edit them.

- JSON is UTF-8. `--format jsonl` writes one object per line.
- CSV follows RFC 4180, with a line of column names first.
- Units are in the names (`_cents`, `_db`, `_hz`, `_ms`, `_beats`) or in the description.
- What is unknown or could not be measured is `null`, and empty in CSV.
- Text in CSV that begins with `=`, `+`, `-` or `@` has an apostrophe in front, so that no
  spreadsheet takes it for a formula; numbers and tab stay. `trainer journal import` removes it.
- Names and order of the fields are stable; a later version may add fields.
- Drills have a schema of their own: `trainer drill schema`.
"""


class _Schema(GenerateJsonSchema):
    """JSON Schema without a title for every field."""

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False


@cache
def field_docs() -> Mapping[str, Mapping[str, str]]:
    """Return the docstring of each field by the name of its typed dictionary, inherited ones too.

    A docstring of a field is the string below it, which Python does not keep at run time.
    """
    docs: dict[str, dict[str, str]] = {}
    for name in MODULES:
        tree = ast.parse(inspect.getsource(importlib.import_module(name)))
        for node in tree.body:
            if isinstance(node, ast.ClassDef):
                own = docs.setdefault(node.name, {})
                for base in node.bases:
                    own |= docs.get(ast.unparse(base), {})
                own |= dict(_documented(node))
    return docs


def _documented(node: ast.ClassDef) -> Iterator[tuple[str, str]]:
    for field, below in pairwise(node.body):
        if isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name):
            text = below.value if isinstance(below, ast.Expr) else None
            if isinstance(text, ast.Constant) and isinstance(text.value, str):
                yield field.target.id, _one_line(text.value)


def schema(format_: Format) -> dict[str, Any]:
    """Return the JSON Schema of a format."""
    adapter: TypeAdapter[Any] = TypeAdapter(format_.type)
    body = adapter.json_schema(mode="serialization", schema_generator=_Schema)
    for shape in (body, *body.get("$defs", {}).values()):
        for field, value in shape.get("properties", {}).items():
            if doc := field_docs().get(shape["title"], {}).get(field):
                value["description"] = doc
        if "description" in shape:
            shape["description"] = _one_line(shape["description"])
    return {"$schema": DIALECT, "$comment": _written_by(format_), **body}


def page() -> str:
    """Return the page that describes every format and its fields."""
    shapes: dict[str, Mapping[str, Any]] = {}
    sections = [
        HEAD,
        "\n".join(
            f"- [{format_.name}](#format-{format_.name}): {format_.about}" for format_ in FORMATS
        ),
    ]
    for format_ in FORMATS:
        sections.append(_section(format_))
        if not format_.table:
            shapes |= _shapes(schema(format_))
    sections.append("## Shapes\n\nThe objects of the formats above.")
    sections += [_shape_section(name, shapes[name]) for name in sorted(shapes)]
    return "\n\n".join(section.strip("\n") for section in sections) + "\n"


def files() -> dict[Path, str]:
    """Return all published files by path."""
    written = {DOCS / "formats.md": page()}
    for format_ in FORMATS:
        if not format_.table:
            path = DOCS / "formats" / f"{format_.name}.schema.json"
            written[path] = json.dumps(schema(format_), indent=2, ensure_ascii=False) + "\n"
    return written


def _written_by(format_: Format) -> str:
    commands = " or ".join(f"`{command}`" for command in format_.commands)
    return f"Written by {commands}."


def _section(format_: Format) -> str:
    body = schema(format_)
    head = f"## Format {format_.name}\n\n{format_.about}\n\n{_written_by(format_)}"
    if format_.table:
        return f"{head}\n\n{_fields(body, 'column')}"
    file = f"{format_.name}.schema.json"
    return f"{head} Type: {_type_text(body)}. Schema: [{file}](formats/{file})."


def _shape_section(name: str, shape: Mapping[str, Any]) -> str:
    return f"### {name}\n\n{shape['description']}\n\n{_fields(shape, 'field')}"


def _fields(shape: Mapping[str, Any], kind: str) -> str:
    rows = [f"| {kind} | type | meaning |", "| --- | --- | --- |"]
    required = shape.get("required", [])
    for field, value in shape["properties"].items():
        optional = "" if field in required else ", optional"
        about = value["description"].replace("|", "\\|")
        rows.append(f"| `{field}` | {_type_text(value)}{optional} | {about} |")
    return "\n".join(rows)


def _shapes(body: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    """Return the objects of a schema by name."""
    shapes = {_shape_name(name): shape for name, shape in body.get("$defs", {}).items()}
    return shapes | ({_shape_name(body["title"]): body} if "properties" in body else {})


def _shape_name(name: str) -> str:
    return re.sub(r"(Data|Line|Row)$", "", name)


def _type_text(value: Mapping[str, Any]) -> str:
    """Return a type in words, with links to the shapes."""
    if "$ref" in value or "properties" in value:
        name = _shape_name(value["$ref"].rsplit("/", 1)[1] if "$ref" in value else value["title"])
        return f"[{name}](#{name.lower()})"
    if "const" in value:
        return f"`{value['const']}`"
    if "anyOf" in value:
        return " or ".join(_type_text(option) for option in value["anyOf"])
    kind = value.get("type")
    if kind == "array":
        items = value.get("prefixItems", [value.get("items", {})])
        count = f"{len(items)} × " if "prefixItems" in value else ""
        return f"list of {count}{_type_text(items[0])}"
    if kind == "object":
        inner = value.get("additionalProperties")
        return f"object of {_type_text(inner)}" if isinstance(inner, dict) else "object"
    return {"boolean": "true or false", "null": "null", None: "any"}.get(kind, str(kind))


def _one_line(text: str) -> str:
    return " ".join(text.replace("``", "`").split())


def main() -> int:
    """Write all files and remove schemas of formats that no longer exist, or check the files."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--check", action="store_true", help="write nothing; fail if not current")
    check = parser.parse_args().check
    current = files()
    old = set((DOCS / "formats").glob("*.schema.json")) - set(current)
    stale = old | {
        path
        for path, text in current.items()
        if not path.exists() or path.read_text(encoding="utf-8") != text
    }
    if check:
        for path in sorted(stale):
            print(f"{path} is not current; run python -m devtools.schemas")
        return min(len(stale), 1)
    for path in old:
        path.unlink()
    (DOCS / "formats").mkdir(exist_ok=True)
    for path, text in current.items():
        path.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
