"""Resolution of the settings: environment variables, then the file, then defaults.

Environment variables of settings are read here and nowhere else. Options of the command line
override them, because a command reads a setting only if its option is missing.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import platformdirs

from trainer.core.problems import Problem, with_source_lines
from trainer.core.text_files import ReadFailure, TextFileError, normalize_text, read_text_file
from trainer.core.toml_positions import find_overdeep_key, key_spans
from trainer.settings.errors import SettingsError
from trainer.settings.tables import ENVIRONMENT_VARIABLES, SETTING_KEYS, SettingKey, Settings
from trainer.settings.validation import SettingProblem, parse_setting, validate_settings

SETTINGS_FILE_NAME = "settings.toml"
FILE_VARIABLE = "TRAINER_SETTINGS"
MAX_SETTINGS_BYTES = 1_000_000
"""Maximum size of a settings file in bytes; a larger file is something else."""
MAX_SHOWN_PROBLEMS = 10
_TOML_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)\Z")


@dataclass(frozen=True, slots=True)
class ResolvedSettings:
    """The settings and their origins.

    Attributes:
        settings: the effective settings; an invalid value is replaced by its default.
        file: the settings file, which may be missing.
        origins: origin of each setting that is not a default: the name of an environment
            variable, or ``file``.
        problems: what is wrong, each with its place, as messages for the player.
    """

    settings: Settings
    file: Path
    origins: Mapping[SettingKey, str]
    problems: tuple[str, ...] = ()


def settings_path() -> Path:
    """Return the settings file: TRAINER_SETTINGS, or else in the user's config folder."""
    if name := os.environ.get(FILE_VARIABLE):
        return _from_here(name)
    return Path(platformdirs.user_config_dir("trainer", appauthor=False)) / SETTINGS_FILE_NAME


def load_settings(path: Path | None = None) -> Settings:
    """Return the effective settings; an invalid value is replaced by its default.

    Args:
        path: the settings file, which may be missing; None takes :func:`settings_path`.
    """
    return resolve_settings(path).settings


def resolve_settings(path: Path | None = None) -> ResolvedSettings:
    """Return the effective settings, their origins, and what is wrong with them.

    Args:
        path: as for :func:`load_settings`.
    """
    file = path or settings_path()
    data: Mapping[str, Any] = {}
    problems: tuple[str, ...] = ()
    settings = Settings()
    try:
        source = normalize_text(read_settings_file(file) or "")
        data = parse_settings(source, file)
    except SettingsError as error:
        problems = (str(error),)
    else:
        settings, invalid = validate_settings(data)
        problems = _messages(invalid, source, file)
    origins: dict[SettingKey, str] = {
        (table, name): "file"
        for table, name in SETTING_KEYS
        if name in getattr(settings, table).model_fields_set
    }
    for key, variable in ENVIRONMENT_VARIABLES.items():
        text = os.environ.get(variable)
        if not text:
            continue
        if key == ("journal", "file"):
            text = str(_from_here(text))
        try:
            settings = replace_setting(settings, key, parse_setting(key, text))
            origins[key] = variable
        except ValueError as error:
            problems += (f"the environment variable {variable}: {error}",)
    return ResolvedSettings(settings, file, origins, problems)


def _from_here(text: str) -> Path:
    """Return a path with ``~`` expanded, relative to the working folder."""
    return Path(os.path.expanduser(text)).absolute()


def replace_setting(settings: Settings, key: SettingKey, value: Any) -> Settings:
    """Return the settings with one of them replaced."""
    table, name = key
    changed = getattr(settings, table).model_copy(update={name: value})
    return settings.model_copy(update={table: changed})


def read_settings_file(path: Path) -> str | None:
    """Return the text of a settings file; None if it is missing.

    Raises:
        SettingsError: the file cannot be read, is too large, or is not UTF-8.
    """
    try:
        return read_text_file(path, max_bytes=MAX_SETTINGS_BYTES)
    except TextFileError as error:
        match error.failure:
            case ReadFailure.MISSING:
                return None
            case ReadFailure.NOT_A_FILE:
                message = f"the settings {path} are not a file; move it away, or name another"
            case ReadFailure.TOO_LARGE:
                message = f"{path} is too large for settings; move it away, or name another"
            case ReadFailure.NOT_UTF8:
                message = f"the settings {path} are not UTF-8 text; save them as UTF-8"
            case ReadFailure.SYSTEM:
                message = f"the settings {path} cannot be read: {error.reason}"
        raise SettingsError(message) from None


def parse_settings(source: str, path: Path) -> dict[str, Any]:
    """Return the tables of a settings file's text.

    Raises:
        SettingsError: the text is not TOML; the message has the place.
    """
    try:
        if find_overdeep_key(source):
            raise RecursionError
        return tomllib.loads(source)
    except RecursionError:
        raise SettingsError(
            f"the settings {path} nest too deeply; they need no more than tables"
        ) from None
    except ValueError as error:
        place = _TOML_PLACE.search(str(error))
        lines = source.rstrip("\n").split("\n")
        line, column = len(lines), len(lines[-1]) + 1
        if place is None:
            line, column = 1, 1
        elif place[1]:
            line, column = int(place[1]), int(place[2])
        message = f"not TOML: {_TOML_PLACE.sub('', str(error))}; 'trainer settings edit' opens it"
        (problem,) = with_source_lines([Problem(line, column, bool(place), message)], source)
        raise SettingsError(problem.format(str(path))) from None


def _messages(problems: tuple[SettingProblem, ...], source: str, path: Path) -> tuple[str, ...]:
    """Return messages on problems, in order of their places."""
    spans = key_spans(source) if problems else {}
    placed = []
    for problem in problems:
        key = spans.get(problem.path) or spans.get(problem.path[:1])
        if key is None:
            placed.append(Problem(1, 1, 0, problem.message))
        else:
            span = key.key if problem.unknown else key.value
            placed.append(Problem(span.line, span.column, span.length, problem.message))
    ordered = sorted(
        with_source_lines(placed, source), key=lambda problem: (problem.line, problem.column)
    )
    messages = [problem.format(str(path)) for problem in ordered[:MAX_SHOWN_PROBLEMS]]
    if len(ordered) > MAX_SHOWN_PROBLEMS:
        messages.append(f"{path}: there are more problems like these")
    return tuple(messages)
