"""Takes as a table for spreadsheets: CSV with one row a step, and the take's fields in each.

A take without steps is one row whose step is empty. Figures that could not be measured are empty,
`step` counts from 1, several skills or extra notes stand in one cell with `` | `` between. What
comes back from a spreadsheet may have its columns in any order, more of them, or semicolons or
tabs between; those without which a take cannot be told must be there.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import date
from typing import Any

from trainer.drill import CRITERIA
from trainer.store.records import HarpTag, StepRecord, TakeRecord
from trainer.transfer.validation import InvalidRecord, parse_step, parse_take

LIST_SEPARATOR = " | "
_DELIMITERS = ",;\t"


def _names(kind: type, *left_out: str) -> tuple[str, ...]:
    return tuple(one.name for one in fields(kind) if one.name not in left_out)


_LISTS = ("skills", "extras")
_HARP = {f"harp_{name}": name for name in _names(HarpTag)}
_TAKE = _names(TakeRecord, "harp", "steps", "audio")
_OF_TAKE = (*_TAKE, *_HARP)
_FIGURES = {
    "step_score" if name == "score" else name: name for name in _names(StepRecord, "index", "parts")
}
_PARTS = {f"part_{name}": name for name in CRITERIA}
TAKE_COLUMNS = (*_OF_TAKE, "step", *_FIGURES, *_PARTS)
REQUIRED_COLUMNS = (
    *(column for column in _TAKE if column not in _LISTS),
    *("harp_key", "step", "tab", "kind", "care", "beats", "step_score", "sentence"),
)
"""Columns that must be there, and cells of them that must not be left out."""


def takes_csv_lines(takes: Iterable[TakeRecord]) -> Iterator[str]:
    """Takes as CSV, some lines at a time; the first has the names of the columns."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(TAKE_COLUMNS)
    for take in takes:
        own = [_cell(getattr(take, name)) for name in _TAKE]
        own += [getattr(take.harp, name) for name in _HARP.values()]
        for step in take.steps or (None,):
            writer.writerow([*own, *_cells_of(step)])
        yield text.getvalue()
        text.seek(0)
        text.truncate()
    if text.tell():
        yield text.getvalue()  # no takes: the head by itself


def read_takes_csv(text: str, faults: list[tuple[int, str]]) -> list[TakeRecord]:
    """The takes of a table.

    Args:
        text: CSV.
        faults: what is wrong is added to it, with the number of the line.
    """
    begun: dict[str, _Begun] = {}
    for line, row in _rows(text, faults):
        own = tuple(row.get(column, "") for column in _OF_TAKE)
        first = begun.get(row["id"])
        try:
            if first is None:
                first = begun[row["id"]] = _Begun(line, own)
                first.take = parse_take(_take_data(row), text=True)
            for column, here, there in zip(_OF_TAKE, own, first.own, strict=True):
                if here != there:
                    raise InvalidRecord(
                        f"'{column}' differs from line {first.line} of the same take"
                    )
            if row["step"]:
                step = parse_step(_step_data(row), text=True)
                if first.steps.setdefault(step.index, step) is not step:
                    raise InvalidRecord(f"step {step.index + 1} of this take has been told before")
        except InvalidRecord as error:
            faults.append((line, str(error)))
    return [
        replace(one.take, steps=tuple(step for _, step in sorted(one.steps.items())))
        for one in begun.values()
        if one.take is not None
    ]


@dataclass(slots=True)
class _Begun:
    """A take whose rows are being read."""

    line: int
    own: tuple[str, ...]
    take: TakeRecord | None = None
    steps: dict[int, StepRecord] = field(default_factory=dict)


def _rows(text: str, faults: list[tuple[int, str]]) -> Iterator[tuple[int, Mapping[str, str]]]:
    """The rows under the head, each with its line's number, cells by column."""
    head_line = text.partition("\n")[0]
    delimiter = max(_DELIMITERS, key=head_line.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        head = [name.strip() for name in next(reader, [])]
        if missing := [column for column in REQUIRED_COLUMNS if column not in head]:
            if len(missing) == len(REQUIRED_COLUMNS):
                faults.append((1, "this is no export of a journal, neither JSON lines nor CSV"))
            else:
                faults.append((1, f"this table of takes lacks columns: {', '.join(missing)}"))
            return
        for cells in reader:
            if any(cells[len(head) :]):
                faults.append((reader.line_num, "this line has more cells than the first"))
            elif any(cells):
                padded = [*cells, *[""] * (len(head) - len(cells))]
                yield reader.line_num, dict(zip(head, padded, strict=False))
    except csv.Error as error:
        faults.append((reader.line_num, f"this is not CSV: {error}"))


def _take_data(row: Mapping[str, str]) -> dict[str, Any]:
    data = _present(row, {name: name for name in _TAKE if name not in _LISTS})
    lists = {name: row[name].split(LIST_SEPARATOR) if row.get(name) else [] for name in _LISTS}
    return data | lists | {"harp": _present(row, _HARP)}


def _step_data(row: Mapping[str, str]) -> dict[str, Any]:
    number = row["step"].strip()
    if not (number.isdecimal() and 0 < len(number) < 7):
        raise InvalidRecord("'step' must be a whole number from 1")
    data = {"entry": None} | _present(row, _FIGURES)
    return data | {"index": int(number) - 1, "parts": _present(row, _PARTS)}


def _present(row: Mapping[str, str], columns: Mapping[str, str]) -> dict[str, str]:
    """Cells that are not empty, or must not be, by the names of their fields."""
    return {name: row[column] for column, name in columns.items() if _is_told(row, column)}


def _is_told(row: Mapping[str, str], column: str) -> bool:
    return bool(row.get(column)) or column in REQUIRED_COLUMNS


def _cells_of(step: StepRecord | None) -> list[Any]:
    if step is None:
        return [None] * (len(TAKE_COLUMNS) - len(_OF_TAKE))
    figures = [getattr(step, name) for name in _FIGURES.values()]
    return [step.index + 1, *figures, *(step.parts.get(part) for part in CRITERIA)]


def _cell(value: Any) -> Any:
    """A field of a take as the table has it; what is not told here is written as it is."""
    match value:
        case bool():
            return "yes" if value else "no"
        case tuple():
            return LIST_SEPARATOR.join(value)
        case date():  # and moments
            return value.isoformat()
    return value
