"""Records that come from outside: made from plain data, and checked before they are kept.

What comes from another journal, or through a spreadsheet, is held to what the trainer itself would
have written: a harp that there is, tab that can be read, marks from 0 to 100, no text that could
steer a terminal.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import fields, replace
from datetime import UTC, datetime
from functools import cache
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from trainer.core import TrainerError
from trainer.drill import CRITERIA, CleannessRule
from trainer.harp import Harp, Tab
from trainer.store.records import (
    Calibration,
    HarpTag,
    OwnHarp,
    ReedRecord,
    StepRecord,
    TakeRecord,
)

T = TypeVar("T")

MAX_PLAYER_NAME_LENGTH = 80
STEP_KINDS = ("note", "chord", "glide", "ladder")
SOURCE_NAMES = ("microphone", "recording", "player")
_ID = re.compile(r"[0-9A-Za-z_-]{1,64}")
_FULL = 100.0 + 1e-6
"""The mean of full marks may be this little above them."""
_YEARS = range(1970, 2200)
_ODD = re.compile(r"(?<!\\)(?:\\\\)*\\[^\"\\]|[\x7f-\x9f\ud800-\udfff]|[0-9]{40}")
"""In JSON: control characters, which could steer a terminal; halves of characters; and numbers of
more digits than any has."""
_CARES = tuple(CleannessRule)
_WRONG_KIND = f"'kind' must be one of {', '.join(STEP_KINDS)}"
_WRONG_CARE = f"'care' must be one of {', '.join(_CARES)}"
_WRONG_PART = f"'parts' must be some of {', '.join(CRITERIA)}"
_INNER: Mapping[str, type] = {
    "harp": HarpTag,
    "tag": HarpTag,
    "steps": StepRecord,
    "reeds": ReedRecord,
}
_KNOWN: Mapping[type, set[str]] = {
    kind: {one.name for one in fields(kind)}
    for kind in (TakeRecord, StepRecord, OwnHarp, Calibration, HarpTag, ReedRecord)
}


class InvalidRecord(Exception):
    """What is wrong with a record, in words."""


def parse_take(data: Any, *, text: bool = False) -> TakeRecord:
    """The take that plain data say.

    Args:
        data: its fields as JSON has them; steps may be left out.
        text: whether numbers may be written as text, as in CSV.

    Raises:
        Unfit: it is no take, or cannot be true.
    """
    take = _read(_TAKE, data, TakeRecord, text)
    _see_take(take)
    return replace(take, began=take.began.astimezone(UTC))


def parse_step(data: Any, *, text: bool = False) -> StepRecord:
    """The step that plain data say; arguments and errors as of :func:`take_of`."""
    step = _read(_STEP, data, StepRecord, text)
    _see_step(step)
    return step


def parse_own_harp(data: Any) -> OwnHarp:
    """The harp that plain data say; errors as of :func:`take_of`."""
    harp = _read(_HARP, data, OwnHarp)
    _see_harp(harp)
    tag = replace(harp.tag, name=harp.name)
    return replace(harp, tag=tag, measured=harp.measured.astimezone(UTC))


def parse_calibration(data: Any) -> Calibration:
    """The round trip that plain data say; errors as of :func:`take_of`."""
    one = _read(_CALIBRATION, data, Calibration)
    _see_text(input=one.input, output=one.output)
    _see_moment("measured", one.measured)
    _see(0 < one.rate < 10**7, "'rate' must be samples a second")
    return replace(one, measured=one.measured.astimezone(UTC))


def check_player_name(name: str) -> str:
    """A player's name, if it can be one.

    Raises:
        Unfit: it cannot.
    """
    if not name.strip() or len(name) > MAX_PLAYER_NAME_LENGTH or not name.isprintable():
        raise InvalidRecord(
            f"a player's name is one line of text, up to {MAX_PLAYER_NAME_LENGTH} characters"
        )
    return name


_TAKE, _STEP = TypeAdapter(TakeRecord), TypeAdapter(StepRecord)
_HARP, _CALIBRATION = TypeAdapter(OwnHarp), TypeAdapter(Calibration)


def _read(adapter: TypeAdapter[T], data: Any, kind: type, text: bool = False) -> T:
    """The record of a kind, whose fields are of the right types and hold nothing odd."""
    if not isinstance(data, dict):
        raise InvalidRecord("it is no object with fields")
    try:
        plain = json.dumps(data, ensure_ascii=False, allow_nan=False)
    except ValueError:
        raise InvalidRecord("it has a number that is infinite or none") from None
    if _ODD.search(plain):
        raise InvalidRecord(
            "it has control characters, halves of characters or endless numbers; take them out"
        )
    try:
        record = (
            adapter.validate_python(data) if text else adapter.validate_json(plain, strict=True)
        )
    except ValidationError as error:
        raise InvalidRecord(_said(error)) from None
    _see_fields(data, kind)
    if text:
        for one in fields(kind):
            value = getattr(record, one.name)
            if isinstance(value, float) and not math.isfinite(value):
                raise InvalidRecord(f"'{one.name}' must be a number")
    return record


def _see_fields(data: Any, kind: type) -> None:
    """See that there are no fields that the record does not have."""
    if unknown := data.keys() - _KNOWN[kind]:
        raise InvalidRecord(f"there is no field '{min(unknown)}'")
    for name in data.keys() & _INNER.keys():
        for inner in data[name] if name in ("steps", "reeds") else (data[name],):
            _see_fields(inner, _INNER[name])


def _see_take(take: TakeRecord) -> None:
    _see(_ID.fullmatch(take.id), "'id' must be up to 64 letters, digits, - and _")
    _see_text(player=take.player, drill=take.drill, title=take.title)
    _see_moment("began", take.began)
    apart = abs((take.day - take.began.astimezone(UTC).date()).days)
    _see(apart <= 1, "'day' must be the day on which it began")
    _see_tag(take.harp)
    _see(take.source in SOURCE_NAMES, f"'source' must be one of {', '.join(SOURCE_NAMES)}")
    _see_share("score", take.score)
    _see(0 < take.tempo <= 1000, "'tempo' must be more than 0 and up to 1000")
    _see(take.seconds >= 0, "'seconds' must not be less than 0")
    _see(take.audio is None, "'audio' stays where it was recorded; leave it out")
    for number, step in enumerate(take.steps, start=1):
        try:
            _see_step(step)
        except InvalidRecord as error:
            raise InvalidRecord(f"step {number}: {error}") from None
    indices = {step.index for step in take.steps}
    _see(len(indices) == len(take.steps), "two steps have the same number")


def _see_step(step: StepRecord) -> None:
    _see(0 <= step.index < 100_000, "'index' must be a number from 0")
    _see(step.tab.strip(), "'tab' must not be empty")
    _see(step.kind in STEP_KINDS, _WRONG_KIND)
    _see(step.care in _CARES, _WRONG_CARE)
    if step.entry is not None:
        _see_told(_find_entry, step.entry)
    _see(step.beats >= 0, "'beats' must not be less than 0")
    _see_share("score", step.score)
    for part, score in step.parts.items():
        _see(part in CRITERIA, _WRONG_PART)
        _see_share(part, score)
    _see(step.leak_hole is None or 1 <= step.leak_hole <= 10, "'leak_hole' must be from 1 to 10")
    _see(step.hz is None or step.hz > 0, "'hz' must be more than 0")


def _see_harp(harp: OwnHarp) -> None:
    _see_text(player=harp.player, name=harp.name)
    _see_moment("measured", harp.measured)
    _see_tag(harp.tag)
    for reed in harp.reeds:
        _see_told(_find_entry, reed.tab)
        _see(reed.hz > 0, "'hz' must be more than 0")
        _see(reed.spread_cents >= 0, "'spread_cents' must not be less than 0")


def _see_tag(tag: HarpTag) -> None:
    _see_text(tuning=tag.tuning)
    _see_told(_find_harp, tag.key, tag.a4, tag.temperament)


# A journal has few harps and entries, and names each of them many times.


@cache
def _find_harp(key: str, a4: float, temperament: str) -> None:
    Harp.of(key, a4=a4, temperament_name=temperament)


@cache
def _find_entry(entry: str) -> None:
    Tab.parse(entry)


def _see_told(look: Callable[..., None], *what: Any) -> None:
    try:
        look(*what)
    except TrainerError as error:
        raise InvalidRecord(str(error)) from None


def _see_text(**texts: str) -> None:
    for name, text in texts.items():
        _see(text.strip(), f"'{name}' must not be empty")


def _see_moment(name: str, when: datetime) -> None:
    _see(when.tzinfo is not None, f"'{name}' must say its time zone, as in 2026-11-25T18:30+00:00")
    _see(when.year in _YEARS, f"'{name}' must lie between {_YEARS[0]} and {_YEARS[-1]}")


def _see_share(name: str, value: float) -> None:
    if not 0 <= value <= _FULL:
        raise InvalidRecord(f"'{name}' must be from 0 to 100; {value:g} is not")


def _see(fine: Any, otherwise: str) -> None:
    if not fine:
        raise InvalidRecord(otherwise)


def _said(error: ValidationError) -> str:
    """The first thing that is wrong, in words."""
    detail = error.errors(include_url=False, include_context=False)[0]
    *above, name = [*detail["loc"]] or ["it"]
    steps = [f"step {part + 1}: " for part in above if isinstance(part, int)]
    if detail["type"] == "missing":
        return f"{''.join(steps)}'{name}' is missing"
    expected = detail["msg"].removeprefix("Input should be ").split(",")[0]
    return f"{''.join(steps)}'{name}' must be {expected}"
