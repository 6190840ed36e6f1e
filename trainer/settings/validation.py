"""Validation of settings: problems are collected, and valid settings are kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from pydantic import ValidationError

from trainer.core.toml_values import describe_value
from trainer.settings.tables import SETTING_KEYS, SETTING_TABLES, SettingKey, Settings

MAX_SETTING_PROBLEMS = 30
"""Maximum number of reported problems; the search for the intended name of each takes time."""


@dataclass(frozen=True, slots=True)
class SettingProblem:
    """A problem of one key of a settings file.

    Attributes:
        path: the table and the key, or the table alone.
        unknown: whether the name is unknown; otherwise the value is invalid.
        message: what is wrong and what was expected.
    """

    path: tuple[str, ...]
    unknown: bool
    message: str


def validate_settings(data: Mapping[str, Any]) -> tuple[Settings, tuple[SettingProblem, ...]]:
    """Return the settings of a file's tables, and their problems.

    An invalid setting is replaced by its default. At most `MAX_SETTING_PROBLEMS` are returned.
    """
    try:
        return Settings.model_validate(dict(data)), ()
    except ValidationError as error:
        invalid: dict[tuple[str, ...], Any] = {}
        for detail in error.errors(include_url=False):
            invalid.setdefault(tuple(str(part) for part in detail["loc"][:2]), detail)
    valid = {
        table: {name: value for name, value in values.items() if (table, name) not in invalid}
        for table, values in data.items()
        if (table,) not in invalid
    }
    problems = tuple(
        _problem(path, detail) for path, detail in list(invalid.items())[:MAX_SETTING_PROBLEMS]
    )
    return Settings.model_validate(valid), problems


def parse_setting(key: SettingKey, text: str) -> Any:
    """Return the value of a setting from text without quotes, as on a command line.

    Raises:
        ValueError: the text is invalid; the message says what was expected.
    """
    table, name = key
    try:
        return getattr(SETTING_TABLES[table].model_validate_strings({name: text}), name)
    except ValidationError as error:
        detail = error.errors(include_url=False)[0]
        raise ValueError(_problem(key, {**detail, "input": text}).message) from None


def suggest_name(path: tuple[str, ...]) -> str:
    """Return a clause that suggests a name for an unknown one."""
    table, name = path[0], path[-1]
    inside = SETTING_TABLES[table].model_fields if len(path) > 1 and table in SETTING_TABLES else ()
    near = [f"{table}.{field}" for field in get_close_matches(name, inside)]
    if len(path) == 1:
        near += get_close_matches(name, SETTING_TABLES)
    elsewhere = get_close_matches(name, [field for _, field in SETTING_KEYS])
    same_name = [".".join(key) for key in SETTING_KEYS if elsewhere and key[1] == elsewhere[0]]
    exact = elsewhere[:1] == [name]
    near = [*same_name, *near] if exact else [*near, *same_name]
    if near:
        return f"did you mean '{near[0]}'?"
    return "there are " + ", ".join(inside or SETTING_TABLES)


def _problem(path: tuple[str, ...], detail: Any) -> SettingProblem:
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
    field = SETTING_TABLES[path[0]].model_fields[path[1]]
    described = (field.description or "").split("; not set")[0]
    expected = "true or false" if field.annotation is bool else described
    return SettingProblem(
        path, False, f"'{name}' must be {expected}; {describe_value(value)} is not"
    )
