"""Validation of records from outside.

A record from another journal or a spreadsheet must be one that the trainer itself could have
written: a known harp, valid tab, scores from 0 to 100, no text with control characters.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import fields, replace
from datetime import UTC, date, datetime
from functools import cache
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from trainer.core import TrainerError
from trainer.drill import CRITERIA, FORMER_DIRECTIONS, SOLO_CRITERIA, CleannessRule
from trainer.harp import Harp, Tab
from trainer.settings import MAX_PLAYER_NAME_LENGTH
from trainer.store import (
    SOURCE_NAMES,
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

T = TypeVar("T")

STEP_KINDS = ("note", "chord", "glide", "ladder")
"""Valid kinds of a step."""
_ID = re.compile(r"[0-9A-Za-z_-]{1,64}")
_MAX_SCORE = 100.0 + 1e-6
"""Highest score; the mean of full scores may exceed 100 by rounding."""
_YEARS = range(1970, 2200)
"""Valid years of a time."""
_FORBIDDEN = re.compile(r"(?<!\\)(?:\\\\)*\\[^\"\\]|[\x7f-\x9f\ud800-\udfff]|[0-9]{40}")
"""In JSON: control characters, which could control a terminal; lone surrogates; and numbers with
40 digits or more."""
_CARES = tuple(CleannessRule)
_INVALID_KIND = f"'kind' must be one of {', '.join(STEP_KINDS)}"
_INVALID_CARE = f"'care' must be one of {', '.join(_CARES)}"
_INVALID_PART = f"'parts' must be some of {', '.join(CRITERIA)}"
_INVALID_SOLO = f"'criteria' of a solo must be some of {', '.join(SOLO_CRITERIA)}"
_NESTED: Mapping[str, type] = {
    "harp": HarpTag,
    "tag": HarpTag,
    "steps": StepRecord,
    "reeds": ReedRecord,
    "solos": SoloRecord,
}
_FIELDS: Mapping[type, set[str]] = {
    kind: {field.name for field in fields(kind)}
    for kind in (
        *(TakeRecord, StepRecord, SoloRecord, OwnHarp, Calibration, HarpTag, ReedRecord),
        *(Focus, Placement),
    )
}


class InvalidRecord(Exception):
    """A record is invalid; the message says why."""


def parse_take(data: Any, *, text: bool = False) -> TakeRecord:
    """Return the take of JSON data.

    Args:
        data: its fields; steps may be missing.
        text: whether numbers may be written as text, as in CSV.

    Raises:
        InvalidRecord: the data are no take, or an impossible one.
    """
    take = _read(_TAKE, data, TakeRecord, text)
    take = replace(take, steps=tuple(map(_with_present_care, take.steps)))
    _check_take(take)
    return replace(take, began=take.began.astimezone(UTC))


def parse_step(data: Any, *, text: bool = False) -> StepRecord:
    """Return the step of JSON data; arguments and errors as for :func:`parse_take`."""
    step = _with_present_care(_read(_STEP, data, StepRecord, text))
    _check_step(step)
    return step


def _with_present_care(step: StepRecord) -> StepRecord:
    """Return a step with the present name of its cleanness rule."""
    return replace(step, care=FORMER_DIRECTIONS.get(step.care, step.care))


def parse_own_harp(data: Any) -> OwnHarp:
    """Return the measured harp of JSON data; errors as for :func:`parse_take`."""
    harp = _read(_HARP, data, OwnHarp)
    _check_harp(harp)
    tag = replace(harp.tag, name=harp.name)
    return replace(harp, tag=tag, measured=harp.measured.astimezone(UTC))


def parse_calibration(data: Any) -> Calibration:
    """Return the round trip of JSON data; errors as for :func:`parse_take`."""
    calibration = _read(_CALIBRATION, data, Calibration)
    _check_not_empty(input=calibration.input, output=calibration.output)
    _check_time("measured", calibration.measured)
    _check(0 < calibration.rate < 10**7, "'rate' must be a sample rate in hertz")
    return replace(calibration, measured=calibration.measured.astimezone(UTC))


def parse_focus(data: Any) -> tuple[str, Focus]:
    """Return a player and their focus of JSON data; errors as for :func:`parse_take`."""
    player, fields_ = _with_player(data)
    focus = _read(_FOCUS, fields_, Focus)
    _check_not_empty(name=focus.name)
    if not focus.name[0].isalpha():
        _check_by(_find_entry, focus.name)
    _check_day("since", focus.since)
    _check_day("until", focus.until)
    _check(focus.since <= focus.until, "'until' must not be before 'since'")
    return player, focus


def parse_placement(data: Any) -> tuple[str, Placement]:
    """Return a player and a level of theirs of JSON data; errors as for :func:`parse_take`."""
    player, fields_ = _with_player(data)
    placement = _read(_PLACEMENT, fields_, Placement)
    _check_not_empty(skill=placement.skill)
    _check(1 <= placement.level <= 10, "'level' must be from 1 to 10")
    _check_day("day", placement.day)
    return player, placement


def _with_player(data: Any) -> tuple[str, dict[str, Any]]:
    """Return the player and the other fields of JSON data."""
    if not isinstance(data, dict):
        raise InvalidRecord("it is not an object with fields")
    fields_ = dict(data)
    player = fields_.pop("player", None)
    if not isinstance(player, str):
        raise InvalidRecord("'player' must be a valid string")
    return check_player_name(player), fields_


def check_player_name(name: str) -> str:
    """Return a player's name if it is valid.

    Raises:
        InvalidRecord: it is not.
    """
    if not name.strip() or len(name) > MAX_PLAYER_NAME_LENGTH or not name.isprintable():
        raise InvalidRecord(
            f"a player's name is one line of text, up to {MAX_PLAYER_NAME_LENGTH} characters"
        )
    return name


_TAKE, _STEP = TypeAdapter(TakeRecord), TypeAdapter(StepRecord)
_HARP, _CALIBRATION = TypeAdapter(OwnHarp), TypeAdapter(Calibration)
_FOCUS, _PLACEMENT = TypeAdapter(Focus), TypeAdapter(Placement)


def _read(adapter: TypeAdapter[T], data: Any, kind: type, text: bool = False) -> T:
    """Return a record with fields of the right types and without forbidden characters."""
    if not isinstance(data, dict):
        raise InvalidRecord("it is not an object with fields")
    try:
        plain = json.dumps(data, ensure_ascii=False, allow_nan=False)
    except ValueError:
        raise InvalidRecord("it has a number that is infinite or not a number") from None
    if _FORBIDDEN.search(plain):
        raise InvalidRecord("remove its control characters, lone surrogates or endless numbers")
    try:
        record = (
            adapter.validate_python(data) if text else adapter.validate_json(plain, strict=True)
        )
    except ValidationError as error:
        raise InvalidRecord(_message(error)) from None
    _check_fields(data, kind)
    if text:
        for field in fields(kind):
            value = getattr(record, field.name)
            if isinstance(value, float) and not math.isfinite(value):
                raise InvalidRecord(f"'{field.name}' must be a number")
    return record


def _check_fields(data: Any, kind: type) -> None:
    """Check that there are no unknown fields."""
    if unknown := data.keys() - _FIELDS[kind]:
        raise InvalidRecord(f"there is no field '{min(unknown)}'")
    for name in data.keys() & _NESTED.keys():
        for inner in data[name] if name in ("steps", "reeds", "solos") else (data[name],):
            _check_fields(inner, _NESTED[name])


def _check_take(take: TakeRecord) -> None:
    _check(_ID.fullmatch(take.id), "'id' must be up to 64 letters, digits, - and _")
    _check_not_empty(player=take.player, drill=take.drill, title=take.title)
    _check_time("began", take.began)
    apart = abs((take.day - take.began.astimezone(UTC).date()).days)
    _check(apart <= 1, "'day' must be the day on which it began")
    _check_tag(take.harp)
    _check(take.source in SOURCE_NAMES, f"'source' must be one of {', '.join(SOURCE_NAMES)}")
    _check_score("score", take.score)
    _check(0 < take.tempo <= 1000, "'tempo' must be more than 0 and up to 1000")
    _check(take.seconds >= 0, "'seconds' must not be less than 0")
    for bar in (take.first_bar, take.last_bar):
        _check(bar is None or 1 <= bar < 10_000, "bars must be numbers from 1")
    _check(
        take.tolerance is None or 1 <= take.tolerance <= 50,
        "'tolerance' must be from 1 to 50 cents",
    )
    _check(take.audio is None, "'audio' stays where it was recorded; leave it out")
    for number, step in enumerate(take.steps, start=1):
        try:
            _check_step(step)
        except InvalidRecord as error:
            raise InvalidRecord(f"step {number}: {error}") from None
    for solo in take.solos:
        _check_solo(solo)
    indices = {step.index for step in take.steps}
    _check(len(indices) == len(take.steps), "two steps have the same number")


def _check_solo(solo: SoloRecord) -> None:
    _check(0 <= solo.bar < 10_000, "'bar' of a solo must be a number from 0")
    _check(0 < solo.beats <= 10_000, "'beats' of a solo must be more than 0")
    _check(0 <= solo.notes < 100_000, "'notes' of a solo must be a number from 0")
    _check_score("score", solo.score)
    for criterion, points in solo.criteria.items():
        _check(criterion in SOLO_CRITERIA, _INVALID_SOLO)
        _check_score(criterion, points)


def _check_step(step: StepRecord) -> None:
    _check(0 <= step.index < 100_000, "'index' must be a number from 0")
    _check(step.tab.strip(), "'tab' must not be empty")
    _check(step.kind in STEP_KINDS, _INVALID_KIND)
    _check(step.care in _CARES, _INVALID_CARE)
    if step.entry is not None:
        _check_by(_find_entry, step.entry)
    _check(step.beats >= 0, "'beats' must not be less than 0")
    _check_score("score", step.score)
    for part, score in step.parts.items():
        _check(part in CRITERIA, _INVALID_PART)
        _check_score(part, score)
    _check(step.leak_hole is None or 1 <= step.leak_hole <= 10, "'leak_hole' must be from 1 to 10")
    _check(step.hz is None or step.hz > 0, "'hz' must be more than 0")


def _check_harp(harp: OwnHarp) -> None:
    _check_not_empty(player=harp.player, name=harp.name)
    _check_time("measured", harp.measured)
    _check_tag(harp.tag)
    for reed in harp.reeds:
        _check_by(_find_entry, reed.tab)
        _check(reed.hz > 0, "'hz' must be more than 0")
        _check(reed.spread_cents >= 0, "'spread_cents' must not be less than 0")


def _check_tag(tag: HarpTag) -> None:
    _check_not_empty(tuning=tag.tuning)
    _check_by(_find_harp, tag.key, tag.a4, tag.temperament)


# Cached, because a journal names few harps and entries many times.


@cache
def _find_harp(key: str, a4: float, temperament: str) -> None:
    Harp.of(key, a4=a4, temperament_name=temperament)


@cache
def _find_entry(entry: str) -> None:
    Tab.parse(entry)


def _check_by(parse: Callable[..., None], *arguments: Any) -> None:
    try:
        parse(*arguments)
    except TrainerError as error:
        raise InvalidRecord(str(error)) from None


def _check_not_empty(**texts: str) -> None:
    for name, text in texts.items():
        _check(text.strip(), f"'{name}' must not be empty")


def _check_time(name: str, when: datetime) -> None:
    _check(when.tzinfo is not None, f"'{name}' must have a time zone, as in 2026-11-25T18:30+00:00")
    _check(when.year in _YEARS, f"'{name}' must lie between {_YEARS[0]} and {_YEARS[-1]}")


def _check_day(name: str, day: date) -> None:
    _check(day.year in _YEARS, f"'{name}' must lie between {_YEARS[0]} and {_YEARS[-1]}")


def _check_score(name: str, value: float) -> None:
    if not 0 <= value <= _MAX_SCORE:
        raise InvalidRecord(f"'{name}' must be from 0 to 100; {value:g} is not")


def _check(valid: Any, message: str) -> None:
    if not valid:
        raise InvalidRecord(message)


def _message(error: ValidationError) -> str:
    """Return the first error in words."""
    detail = error.errors(include_url=False, include_context=False)[0]
    *above, name = [*detail["loc"]] or ["it"]
    steps = [f"step {part + 1}: " for part in above if isinstance(part, int)]
    if detail["type"] == "missing":
        return f"{''.join(steps)}'{name}' is missing"
    expected = detail["msg"].removeprefix("Input should be ").split(",")[0]
    return f"{''.join(steps)}'{name}' must be {expected}"
