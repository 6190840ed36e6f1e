"""Conversion of records to rows of the journal's tables, and back."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable
from dataclasses import asdict, fields
from datetime import UTC, date, datetime
from typing import Any

from trainer.store.records import (
    Calibration,
    Focus,
    HarpTag,
    OwnHarp,
    Placement,
    ReedRecord,
    SoloRecord,
    StepRecord,
    TakeRecord,
)

Row = tuple[Any, ...]

_STEP_FIELDS = tuple(field.name for field in fields(StepRecord) if field.name != "index")
STEP_COLUMNS = ("take", "idx", *_STEP_FIELDS)
"""Columns of a step: the id of its take, then the fields of :class:`StepRecord` in order."""
_PARTS_INDEX = STEP_COLUMNS.index("parts") - 1
TAKE_COLUMNS = (
    *("id", "player", "began", "day", "drill", "title", "skills"),
    *("harp_key", "harp_tuning", "harp_a4", "harp_temperament", "harp_name"),
    *("tempo", "source", "score", "passed", "whole", "seconds", "extras", "audio"),
    *("first_bar", "last_bar", "tolerance", "solos"),
)
HARP_COLUMNS = ("player", "name", "key", "tuning", "a4", "temperament", "measured", "reeds")
FOCUS_COLUMNS = ("player", "name", "since", "until")
PLACEMENT_COLUMNS = ("player", "skill", "level", "day", "by_hand")
CALIBRATION_COLUMNS = tuple(field.name for field in fields(Calibration))


def utc_text(when: datetime) -> str:
    """Format a time as ISO 8601 in UTC, so that text sorts by time."""
    return when.astimezone(UTC).isoformat(timespec="microseconds")


def take_row(take: TakeRecord) -> Row:
    """Return the row of a take, without its steps."""
    harp = take.harp
    return (
        *(take.id, take.player, utc_text(take.began), take.day.isoformat()),
        *(take.drill, take.title, json.dumps(take.skills)),
        *(harp.key, harp.tuning, harp.a4, harp.temperament, harp.name),
        *(take.tempo, take.source, take.score, int(take.passed), int(take.whole), take.seconds),
        *(json.dumps(take.extras), take.audio, take.first_bar, take.last_bar, take.tolerance),
        json.dumps([asdict(solo) for solo in take.solos]),
    )


def step_row(take: str, step: StepRecord) -> Row:
    """Return the row of a step; `take` is the id of its take."""
    values = [step.index, *(getattr(step, name) for name in _STEP_FIELDS)]
    values[_PARTS_INDEX] = json.dumps(dict(step.parts))
    return (take, *values)


def harp_row(harp: OwnHarp) -> Row:
    """Return the row of a measured harp."""
    tag = harp.tag
    return (
        *(harp.player, harp.name, tag.key, tag.tuning, tag.a4, tag.temperament),
        *(utc_text(harp.measured), json.dumps([asdict(reed) for reed in harp.reeds])),
    )


def calibration_row(calibration: Calibration) -> Row:
    """Return the row of a calibration."""
    return (
        *(calibration.input, calibration.output, calibration.rate),
        *(calibration.latency_ms, calibration.spread_ms),
        *(utc_text(calibration.measured), int(calibration.by_hand)),
    )


def focus_row(player: str, focus: Focus) -> Row:
    """Return the row of a player's focus."""
    return (player, focus.name, focus.since.isoformat(), focus.until.isoformat())


def placement_row(player: str, placement: Placement) -> Row:
    """Return the row of a player's level in a skill."""
    day = placement.day.isoformat()
    return (player, placement.skill, placement.level, day, int(placement.by_hand))


# The functions below raise ValueError, TypeError or KeyError where a row is damaged.


def take_from_row(row: sqlite3.Row, steps: Iterable[StepRecord]) -> TakeRecord:
    """Return the take of a row, with its steps."""
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
        first_bar=row["first_bar"],
        last_bar=row["last_bar"],
        tolerance=row["tolerance"],
        solos=_solos(row),
    )


def _solos(row: sqlite3.Row) -> tuple[SoloRecord, ...]:
    """Return the solos of a take; none where a damaged file is older than they are."""
    text = row["solos"] if "solos" in row.keys() else "[]"  # noqa: SIM118 - a Row is no mapping
    return tuple(SoloRecord(**solo) for solo in json.loads(text))


def step_from_row(row: sqlite3.Row) -> StepRecord:
    """Return the step of a row with the columns :data:`STEP_COLUMNS`."""
    _, *values = row
    values[_PARTS_INDEX] = json.loads(values[_PARTS_INDEX])
    return StepRecord(*values)


def harp_from_row(row: sqlite3.Row) -> OwnHarp:
    """Return the measured harp of a row."""
    return OwnHarp(
        row["player"],
        row["name"],
        HarpTag(row["key"], row["tuning"], row["a4"], row["temperament"], row["name"]),
        datetime.fromisoformat(row["measured"]),
        tuple(ReedRecord(**reed) for reed in json.loads(row["reeds"])),
    )


def calibration_from_row(row: sqlite3.Row) -> Calibration:
    """Return the calibration of a row."""
    return Calibration(
        row["input"],
        row["output"],
        row["rate"],
        row["latency_ms"],
        row["spread_ms"],
        datetime.fromisoformat(row["measured"]),
        bool(row["by_hand"]),
    )


def focus_from_row(row: sqlite3.Row) -> Focus:
    """Return the focus of a row."""
    days = (date.fromisoformat(row[name]) for name in ("since", "until"))
    return Focus(row["name"], *days)


def placement_from_row(row: sqlite3.Row) -> Placement:
    """Return the level of a row."""
    day = date.fromisoformat(row["day"])
    return Placement(row["skill"], row["level"], day, bool(row["by_hand"]))
