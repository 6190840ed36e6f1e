"""Records as rows of the journal's tables, and back."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable
from dataclasses import asdict, fields
from datetime import UTC, date, datetime
from typing import Any

from trainer.store.records import (
    Calibration,
    HarpTag,
    OwnHarp,
    ReedRecord,
    StepRecord,
    TakeRecord,
)

Row = tuple[Any, ...]

_FIGURES = tuple(one.name for one in fields(StepRecord) if one.name != "index")
STEP_COLUMNS = ("take", "idx", *_FIGURES)
"""The fields of a step, in their order, after the id of its take."""
_PARTS_AT = STEP_COLUMNS.index("parts") - 1
TAKE_COLUMNS = (
    *("id", "player", "began", "day", "drill", "title", "skills"),
    *("harp_key", "harp_tuning", "harp_a4", "harp_temperament", "harp_name"),
    *("tempo", "source", "score", "passed", "whole", "seconds", "extras", "audio"),
)
HARP_COLUMNS = ("player", "name", "key", "tuning", "a4", "temperament", "measured", "reeds")
CALIBRATION_COLUMNS = tuple(one.name for one in fields(Calibration))


def utc_text(when: datetime) -> str:
    """A utc_text as text that sorts by time."""
    return when.astimezone(UTC).isoformat(timespec="microseconds")


def take_row(take: TakeRecord) -> Row:
    """A take, without its steps."""
    harp = take.harp
    return (
        *(take.id, take.player, utc_text(take.began), take.day.isoformat()),
        *(take.drill, take.title, json.dumps(take.skills)),
        *(harp.key, harp.tuning, harp.a4, harp.temperament, harp.name),
        *(take.tempo, take.source, take.score, int(take.passed), int(take.whole), take.seconds),
        *(json.dumps(take.extras), take.audio),
    )


def step_row(take: str, step: StepRecord) -> Row:
    """A step of the take of that id."""
    values = [step.index, *(getattr(step, name) for name in _FIGURES)]
    values[_PARTS_AT] = json.dumps(dict(step.parts))
    return (take, *values)


def harp_row(harp: OwnHarp) -> Row:
    """A harp as it was measured."""
    tag = harp.tag
    return (
        *(harp.player, harp.name, tag.key, tag.tuning, tag.a4, tag.temperament),
        *(utc_text(harp.measured), json.dumps([asdict(reed) for reed in harp.reeds])),
    )


def calibration_row(one: Calibration) -> Row:
    """A round trip."""
    return (
        *(one.input, one.output, one.rate, one.latency_ms, one.spread_ms),
        *(utc_text(one.measured), int(one.by_hand)),
    )


# The following raise ValueError, TypeError or KeyError where a row is damaged.


def take_from_row(row: sqlite3.Row, steps: Iterable[StepRecord]) -> TakeRecord:
    """The take of a row, with its steps."""
    return TakeRecord(
        id=row["id"],
        player=row["player"],
        began=datetime.fromisoformat(row["began"]),
        day=date.fromisoformat(row["day"]),
        drill=row["drill"],
        title=row["title"],
        skills=tuple(json.loads(row["skills"])),
        harp=HarpTag(
            row["harp_key"],
            row["harp_tuning"],
            row["harp_a4"],
            row["harp_temperament"],
            row["harp_name"],
        ),
        tempo=row["tempo"],
        source=row["source"],
        score=row["score"],
        passed=bool(row["passed"]),
        whole=bool(row["whole"]),
        seconds=row["seconds"],
        steps=tuple(steps),
        extras=tuple(json.loads(row["extras"])),
        audio=row["audio"],
    )


def step_from_row(row: sqlite3.Row) -> StepRecord:
    """The step of a row that has :data:`STEP_COLUMNS`."""
    _, *values = row
    values[_PARTS_AT] = json.loads(values[_PARTS_AT])
    return StepRecord(*values)


def harp_from_row(row: sqlite3.Row) -> OwnHarp:
    """The harp of a row."""
    return OwnHarp(
        row["player"],
        row["name"],
        HarpTag(row["key"], row["tuning"], row["a4"], row["temperament"], row["name"]),
        datetime.fromisoformat(row["measured"]),
        tuple(ReedRecord(**reed) for reed in json.loads(row["reeds"])),
    )


def calibration_from_row(row: sqlite3.Row) -> Calibration:
    """The round trip of a row."""
    return Calibration(
        row["input"],
        row["output"],
        row["rate"],
        row["latency_ms"],
        row["spread_ms"],
        datetime.fromisoformat(row["measured"]),
        bool(row["by_hand"]),
    )
