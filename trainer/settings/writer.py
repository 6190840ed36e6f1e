"""Changing the settings file, with everything else in it as the player left it.

What is not set stands in the file as a comment, with what is usual or an example, so that the
file says all there is to set and still follows the trainer where the player has no wish. Setting
takes the # away, unsetting puts it back. A change that would lose anything is not made.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Item

from trainer.core.files import replace_file
from trainer.core.text_files import normalize_text
from trainer.core.toml_positions import key_spans
from trainer.settings.errors import SettingsError
from trainer.settings.reader import parse_settings, read_settings_file
from trainer.settings.tables import (
    ENVIRONMENT_VARIABLES,
    SETTING_KEYS,
    SETTING_TABLES,
    SettingKey,
    default_value,
)
from trainer.settings.validation import parse_setting, suggest_name

_HEAD = """\
# Settings of the trainer. A line that begins with # is not read: it tells of a setting, or shows
# what is usual, or an example. Take the # away to set it; 'trainer settings set' does the same.
# An option of a command goes before the file, and so does an environment variable, in [ ] here.
"""
_MEND = "'trainer settings edit' opens it"


def parse_setting_key(text: str) -> SettingKey:
    """The setting that is written ``sound.device``.

    Raises:
        SettingsError: there is none; the message names the nearest.
    """
    path = tuple(text.strip().split("."))
    for key in SETTING_KEYS:
        if path == key:
            return key
    if path[0] in SETTING_TABLES and len(path) == 1:
        one = ".".join((path[0], next(iter(SETTING_TABLES[path[0]].model_fields))))
        raise SettingsError(f"'{text}' is a table; name a setting in it, such as '{one}'")
    raise SettingsError(f"there is no setting '{text}'; {suggest_name(path[:2])}")


def settings_template() -> str:
    """A settings file in which every setting is told of and none is set."""
    parts = [_HEAD]
    for table, model in SETTING_TABLES.items():
        lines = [f"# {(model.__doc__ or '').strip()}", f"[{table}]"]
        for name, field in model.model_fields.items():
            key = (table, name)
            first = f" [{ENVIRONMENT_VARIABLES[key]}]" if key in ENVIRONMENT_VARIABLES else ""
            lines += [f"# {field.description}{first}", _unset_line(key)]
        parts.append("\n".join(lines) + "\n")
    return "\n".join(parts)


def create_settings_file(path: Path) -> bool:
    """Write the settings file if it is not there.

    Returns:
        whether it was made.

    Raises:
        SettingsError: it cannot be written.
    """
    if path.exists():
        return False
    _write(path, settings_template())
    return True


def set_setting(path: Path, key: SettingKey, text: str) -> Any:
    """Set one setting in the file, which is made if it is not there.

    Args:
        path: the file.
        key: the setting.
        text: its value, without quotes.

    Returns:
        the value as it is read.

    Raises:
        SettingsError: it cannot be so, or the file cannot be read or written.
    """
    try:
        value = parse_setting(key, text)
    except ValueError as error:
        raise SettingsError(str(error)) from None
    raw = read_settings_file(path)
    raw = settings_template() if raw is None else raw
    written = text if isinstance(value, Path) else value  # a ~ stays one
    _write(path, _like(raw, _with(normalize_text(raw), path, key, _item(written))))
    return value


def unset_setting(path: Path, key: SettingKey) -> bool:
    """Take one setting out of the file.

    Returns:
        whether it was set.

    Raises:
        SettingsError: the file cannot be read or written.
    """
    raw = read_settings_file(path)
    source = normalize_text(raw or "")
    table, name = key
    inside = parse_settings(source, path).get(table)
    if raw is None or not isinstance(inside, dict) or name not in inside:
        return False
    _write(path, _like(raw, _without(source, path, key)))
    return True


def toml_value_text(value: Any) -> str:
    """A value as it is written in the file."""
    return _item(value).as_string()


def _item(value: Any) -> Item:
    if isinstance(value, Path):
        return tomlkit.item(str(value))
    whole = isinstance(value, float) and value.is_integer()
    return tomlkit.item(int(value) if whole else value)


def _shown(key: SettingKey) -> Item:
    """What a setting that is not set shows: what is usual, or an example."""
    table, name = key
    usual = default_value(key)
    return _item((SETTING_TABLES[table].model_fields[name].examples or [usual])[0])


def _unset_line(key: SettingKey) -> str:
    return f"#{key[1]} = {_shown(key).as_string()}"


def _with(source: str, path: Path, key: SettingKey, value: Item) -> str:
    """The source with a setting in it."""
    table, name = key
    wanted = parse_settings(source, path)
    inside = wanted.setdefault(table, {})
    if not isinstance(inside, dict):
        raise SettingsError(f"'{table}' in {path} must be a table, [{table}]; {_MEND}")
    was_set = name in inside
    inside[name] = value.unwrap()
    ways = [source] if was_set else [*_without_the_sign(source, key), source]
    for text in ways:
        with contextlib.suppress(TOMLKitError):
            document = tomlkit.parse(text)
            if table not in document:
                document[table] = tomlkit.table()
            document[table][name] = value
            if _is(made := tomlkit.dumps(document), wanted):
                return made
    raise _cannot_change(path, key)


def _without(source: str, path: Path, key: SettingKey) -> str:
    """The source with a setting taken out: as a comment where it stands on a line of its own."""
    table, name = key
    wanted = parse_settings(source, path)
    del wanted[table][name]
    with contextlib.suppress(TOMLKitError):
        document = tomlkit.parse(source)
        document[table][name] = _shown(key)
        shown = tomlkit.dumps(document)
        if place := key_spans(shown).get(key):
            lines = shown.split("\n")
            line = lines[place.key.line - 1]
            lines[place.key.line - 1] = f"#{line.lstrip()}"
            if _is(made := "\n".join(lines), wanted):
                return made
    with contextlib.suppress(TOMLKitError):
        document = tomlkit.parse(source)
        del document[table][name]
        if _is(made := tomlkit.dumps(document), wanted):
            return made
    raise _cannot_change(path, key)


def _without_the_sign(source: str, key: SettingKey) -> Iterator[str]:
    """The source with the # taken from the line that told of a setting that was not set."""
    header = re.compile(rf"[ \t]*\[[ \t]*{key[0]}[ \t]*\][ \t]*(?:#.*)?\Z")
    sign = re.compile(rf"{re.escape(_unset_line(key))}[ \t]*(?:#.*)?\Z")
    lines = source.split("\n")
    inside = False
    for number, line in enumerate(lines):
        if line.lstrip().startswith("["):
            inside = bool(header.match(line))
        elif inside and sign.match(line):
            yield "\n".join([*lines[:number], line[1:], *lines[number + 1 :]])
            return


def _is(text: str, wanted: dict[str, Any]) -> bool:
    """Whether a text holds exactly these tables."""
    try:
        return parse_settings(text, Path()) == wanted
    except SettingsError:
        return False


def _cannot_change(path: Path, key: SettingKey) -> SettingsError:
    return SettingsError(
        f"'{'.'.join(key)}' cannot be changed in {path}, as it is written there, without losing "
        f"something; {_MEND}"
    )


def _like(raw: str, text: str) -> str:
    """The text with the byte order mark and the line ends of the one that it replaces."""
    mark = "\ufeff" if raw.startswith("\ufeff") else ""
    windows = raw.count("\r\n") * 2 > raw.count("\n")
    return mark + (text.replace("\n", "\r\n") if windows else text)


def _write(path: Path, text: str) -> None:
    """Put a text, readable by its owner alone, in place of the file at once."""
    try:
        path.resolve().parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        replace_file(path, text.encode("utf-8"))
    except OSError as error:
        raise SettingsError(
            f"the settings {path} cannot be written: {error.strerror}; check their folder and "
            "rights, or name another file in TRAINER_SETTINGS"
        ) from None
