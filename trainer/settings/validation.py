"""What is wrong with settings, and all that is right in spite of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from pydantic import ValidationError

from trainer.core.toml_values import describe_value
from trainer.settings.tables import SETTING_KEYS, SETTING_TABLES, SettingKey, Settings

MAX_SETTING_PROBLEMS = 30
"""Looking for what was meant by each of many more takes its time."""


@dataclass(frozen=True, slots=True)
class SettingProblem:
    """What is wrong with one key of a settings file.

    Attributes:
        path: the key and the table it lies in, or the table.
        unknown: whether the name is wrong, not the value.
        message: what is wrong and what was expected.
    """

    path: tuple[str, ...]
    unknown: bool
    message: str


def validate_settings(data: Mapping[str, Any]) -> tuple[Settings, tuple[SettingProblem, ...]]:
    """The settings in a file's tables, with defaults for what is wrong, and what is wrong.

    Of very many faults, only the first are told.
    """
    try:
        return Settings.model_validate(dict(data)), ()
    except ValidationError as error:
        wrong: dict[tuple[str, ...], Any] = {}
        for detail in error.errors(include_url=False):
            wrong.setdefault(tuple(str(part) for part in detail["loc"][:2]), detail)
    right = {
        table: {name: value for name, value in values.items() if (table, name) not in wrong}
        for table, values in data.items()
        if (table,) not in wrong
    }
    faults = tuple(
        _fault(path, detail) for path, detail in list(wrong.items())[:MAX_SETTING_PROBLEMS]
    )
    return Settings.model_validate(right), faults


def parse_setting(key: SettingKey, text: str) -> Any:
    """The value of a setting that is written without quotes, as on a command line.

    Raises:
        ValueError: it cannot be that; the message says what was expected.
    """
    table, name = key
    try:
        return getattr(SETTING_TABLES[table].model_validate_strings({name: text}), name)
    except ValidationError as error:
        detail = error.errors(include_url=False)[0]
        raise ValueError(_fault(key, {**detail, "input": text}).message) from None


def suggest_name(path: tuple[str, ...]) -> str:
    """Half a sentence about what somebody may have meant by a name that does not exist."""
    table, name = path[0], path[-1]
    inside = SETTING_TABLES[table].model_fields if len(path) > 1 and table in SETTING_TABLES else ()
    near = [f"{table}.{one}" for one in get_close_matches(name, inside)]
    if len(path) == 1:
        near += get_close_matches(name, SETTING_TABLES)
    elsewhere = get_close_matches(name, [one for _, one in SETTING_KEYS])
    same_name = [".".join(key) for key in SETTING_KEYS if elsewhere and key[1] == elsewhere[0]]
    exact = elsewhere[:1] == [name]
    near = [*same_name, *near] if exact else [*near, *same_name]
    if near:
        return f"did you mean '{near[0]}'?"
    return "there are " + ", ".join(inside or SETTING_TABLES)


def _fault(path: tuple[str, ...], detail: Any) -> SettingProblem:
    name, value = ".".join(path), detail["input"]
    if detail["type"] == "extra_forbidden":
        kind = "table or setting" if len(path) == 1 else "setting"
        return SettingProblem(path, True, f"there is no {kind} '{name}'; {suggest_name(path)}")
    if len(path) == 1:
        return SettingProblem(
            path, False, f"'{name}' must be a table, [{name}]; {describe_value(value)} is not"
        )
    if detail["type"] == "value_error":
        return SettingProblem(path, False, detail["msg"].removeprefix("Value error, "))
    expected = (SETTING_TABLES[path[0]].model_fields[path[1]].description or "").split("; not set")[
        0
    ]
    return SettingProblem(
        path, False, f"'{name}' must be {expected}; {describe_value(value)} is not"
    )
