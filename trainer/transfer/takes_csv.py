"""Takes as CSV for spreadsheets: a row per step, each with the fields of its take.

A take without steps is one row with an empty `step`. Values that could not be measured are empty,
`step` counts from 1, and several skills or extra notes are joined by `` | ``. Solos are JSON in a
cell. A table from a spreadsheet may have its columns in any order, additional columns, and
semicolons or tabs as delimiters; `REQUIRED_COLUMNS` must be present.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import date
from typing import Any

from trainer.core.printable import printable_lines
from trainer.core.tables import read_cell, safe_cell
from trainer.drill import CRITERIA
from trainer.store import HarpTag, StepRecord, TakeRecord
from trainer.transfer.records import solo_record_data
from trainer.transfer.validation import InvalidRecord, parse_step, parse_take

LIST_SEPARATOR = " | "
"""Stands between the items of a list in one cell."""
_DELIMITERS = ",;\t"
"""Delimiters that are recognised on import."""


def _names(kind: type, *omitted: str) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind) if field.name not in omitted)


_LISTS = ("skills", "extras")
_HARP = {f"harp_{name}": name for name in _names(HarpTag)}
_TAKE = _names(TakeRecord, "harp", "steps", "audio", "solos")
_SOLOS = "solos"
"""Column of the solos, as JSON: they are seldom, and none has the same criteria as a step."""
_OF_TAKE = (*_TAKE, *_HARP, _SOLOS)
_FIGURES = {
    "step_score" if name == "score" else name: name for name in _names(StepRecord, "index", "parts")
}
_PARTS = {f"part_{name}": name for name in CRITERIA}
TAKE_COLUMNS = (*_OF_TAKE, "step", *_FIGURES, *_PARTS)
_OPTIONAL = ("first_bar", "last_bar", "tolerance")
REQUIRED_COLUMNS = (
    *(column for column in _TAKE if column not in (*_LISTS, *_OPTIONAL)),
    *("harp_key", "step", "tab", "kind", "care", "beats", "step_score", "sentence"),
)
"""Columns that must be present; their empty cells are read as empty text, not as unknown."""


def takes_csv_lines(takes: Iterable[TakeRecord]) -> Iterator[str]:
    """Yield takes as CSV, several lines at a time; the first line names the columns."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(TAKE_COLUMNS)
    for take in takes:
        cells = [_cell(getattr(take, name)) for name in _TAKE]
        cells += [getattr(take.harp, name) for name in _HARP.values()]
        solos = [solo_record_data(solo) for solo in take.solos]
        cells.append(json.dumps(solos, ensure_ascii=False) if solos else "")
        for step in take.steps or (None,):
            writer.writerow(map(_safe, [*cells, *_step_cells(step)]))
        yield text.getvalue()
        text.seek(0)
        text.truncate()
    if text.tell():
        yield text.getvalue()  # without takes, the head alone


def read_takes_csv(text: str, faults: list[tuple[int, str]]) -> list[TakeRecord]:
    """Return the takes of a table.

    Args:
        text: CSV.
        faults: receives each fault with its line number.
    """
    partial: dict[str, _PartialTake] = {}
    for line, row in _rows(text, faults):
        take_cells = tuple(row.get(column, "") for column in _OF_TAKE)
        first = partial.get(row["id"])
        try:
            if first is None:
                first = partial[row["id"]] = _PartialTake(line, take_cells)
                first.take = parse_take(_take_fields(row), text=True)
            for column, cell, expected in zip(_OF_TAKE, take_cells, first.take_cells, strict=True):
                if cell != expected:
                    raise InvalidRecord(
                        f"'{column}' differs from line {first.line} of the same take"
                    )
            if row["step"]:
                step = parse_step(_step_fields(row), text=True)
                if first.steps.setdefault(step.index, step) is not step:
                    raise InvalidRecord(f"step {step.index + 1} of this take occurs twice")
        except InvalidRecord as error:
            faults.append((line, str(error)))
    return [
        replace(entry.take, steps=tuple(step for _, step in sorted(entry.steps.items())))
        for entry in partial.values()
        if entry.take is not None
    ]


@dataclass(slots=True)
class _PartialTake:
    """A take while its rows are read.

    Attributes:
        line: number of its first line.
        take_cells: its own cells, which every row repeats.
        take: the take without steps; None if it is invalid.
        steps: its steps so far, by index.
    """

    line: int
    take_cells: tuple[str, ...]
    take: TakeRecord | None = None
    steps: dict[int, StepRecord] = field(default_factory=dict)


def _rows(text: str, faults: list[tuple[int, str]]) -> Iterator[tuple[int, Mapping[str, str]]]:
    """Yield the rows below the head: line number, and cells by column."""
    head_line = text.partition("\n")[0]
    delimiter = max(_DELIMITERS, key=head_line.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        head = [name.strip() for name in next(reader, [])]
        if missing := [column for column in REQUIRED_COLUMNS if column not in head]:
            if len(missing) == len(REQUIRED_COLUMNS):
                faults.append((1, "this is not an exported journal: neither JSON lines nor CSV"))
            else:
                faults.append((1, f"this table of takes lacks columns: {', '.join(missing)}"))
            return
        for cells in reader:
            if any(cells[len(head) :]):
                faults.append((reader.line_num, "this line has more cells than the first"))
            elif any(cells):
                padded = [*map(read_cell, cells), *[""] * (len(head) - len(cells))]
                yield reader.line_num, dict(zip(head, padded, strict=False))
    except csv.Error as error:
        faults.append((reader.line_num, f"this is not CSV: {error}"))


def _take_fields(row: Mapping[str, str]) -> dict[str, Any]:
    data = _present(row, {name: name for name in _TAKE if name not in _LISTS})
    lists = {name: row[name].split(LIST_SEPARATOR) if row.get(name) else [] for name in _LISTS}
    try:
        solos = json.loads(row.get(_SOLOS) or "[]")
    except (ValueError, RecursionError):
        raise InvalidRecord(f"'{_SOLOS}' must be empty or as it was exported") from None
    return data | lists | {"harp": _present(row, _HARP), _SOLOS: solos}


def _step_fields(row: Mapping[str, str]) -> dict[str, Any]:
    number = row["step"].strip()
    if not (number.isdecimal() and 0 < len(number) < 7):
        raise InvalidRecord("'step' must be a whole number from 1")
    data = {"entry": None} | _present(row, _FIGURES)
    return data | {"index": int(number) - 1, "parts": _present(row, _PARTS)}


def _present(row: Mapping[str, str], columns: Mapping[str, str]) -> dict[str, str]:
    """Return the cells that are not empty or are required, by the names of their fields."""
    return {name: row[column] for column, name in columns.items() if _is_present(row, column)}


def _is_present(row: Mapping[str, str], column: str) -> bool:
    return bool(row.get(column)) or column in REQUIRED_COLUMNS


def _step_cells(step: StepRecord | None) -> list[Any]:
    if step is None:
        return [None] * (len(TAKE_COLUMNS) - len(_OF_TAKE))
    figures = [getattr(step, name) for name in _FIGURES.values()]
    return [step.index + 1, *figures, *(step.parts.get(part) for part in CRITERIA)]


def _safe(value: Any) -> Any:
    """Return a cell without formulas, and without characters that steer a terminal."""
    return safe_cell(printable_lines(value) if isinstance(value, str) else value)


def _cell(value: Any) -> Any:
    """Return a field of a take as it is written in the table."""
    match value:
        case bool():
            return "yes" if value else "no"
        case tuple():
            return LIST_SEPARATOR.join(value)
        case date():  # datetime included
            return value.isoformat()
    return value
