"""Changes to the settings file that keep everything else in it.

A setting that is not set is a comment with its default or an example, so that the file lists all
settings and defaults may change. Setting one removes its ``#``, and unsetting it puts the ``#``
back. A change that would lose anything is refused.
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
from trainer.core.system import file_lock
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
# Settings of the trainer. A line that begins with # is a comment: it describes a setting, or shows
# its default or an example. Remove the # to set it, or use 'trainer settings set'.
# Options of a command override this file, and so do environment variables, named here in [ ].
"""
LOCK_TIMEOUT_S = 10.0
"""Longest wait for another process that changes the settings, in seconds. Chosen."""
_EDIT_HINT = "'trainer settings edit' opens it"


def parse_setting_key(text: str) -> SettingKey:
    """Return the setting that is written like ``sound.device``.

    Raises:
        SettingsError: the name is unknown; the message suggests one.
    """
    path = tuple(text.strip().split("."))
    for key in SETTING_KEYS:
        if path == key:
            return key
    if path[0] in SETTING_TABLES and len(path) == 1:
        example = ".".join((path[0], next(iter(SETTING_TABLES[path[0]].model_fields))))
        raise SettingsError(f"'{text}' is a table; name a setting in it, such as '{example}'")
    raise SettingsError(f"there is no setting '{text}'; {suggest_name(path[:2])}")


def settings_template() -> str:
    """Return a settings file that describes every setting and sets none."""
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
    """Write the settings file if it is missing.

    Returns:
        Whether it was written.

    Raises:
        SettingsError: the file cannot be written.
    """
    with _changing(path):
        if path.exists():
            return False
        _write(path, settings_template())
        return True


def set_setting(path: Path, key: SettingKey, text: str) -> Any:
    """Set one setting in the file, which is created if it is missing.

    Args:
        path: the file.
        key: the setting.
        text: its value without quotes.

    Returns:
        The parsed value.

    Raises:
        SettingsError: the value is invalid, or the file cannot be read or written.
    """
    try:
        value = parse_setting(key, text)
    except ValueError as error:
        raise SettingsError(str(error)) from None
    written = text if isinstance(value, Path) else value  # keep a ~
    with _changing(path):
        raw = read_settings_file(path)
        raw = settings_template() if raw is None else raw
        _write(path, _like(raw, _with(normalize_text(raw), path, key, _item(written))))
    return value


def unset_setting(path: Path, key: SettingKey) -> bool:
    """Unset one setting in the file.

    Returns:
        Whether it was set.

    Raises:
        SettingsError: the file cannot be read or written.
    """
    if not path.exists():
        return False
    with _changing(path):
        raw = read_settings_file(path)
        source = normalize_text(raw or "")
        table, name = key
        inside = parse_settings(source, path).get(table)
        if raw is None or not isinstance(inside, dict) or name not in inside:
            return False
        _write(path, _like(raw, _without(source, path, key)))
        return True


def toml_value_text(value: Any) -> str:
    """Return a value as it is written in the file."""
    return _item(value).as_string()


def _item(value: Any) -> Item:
    if isinstance(value, Path):
        return tomlkit.item(str(value))
    whole = isinstance(value, float) and value.is_integer()
    return tomlkit.item(int(value) if whole else value)


def _placeholder(key: SettingKey) -> Item:
    """Return the value that an unset setting shows: its example or default."""
    table, name = key
    usual = default_value(key)
    return _item((SETTING_TABLES[table].model_fields[name].examples or [usual])[0])


def _unset_line(key: SettingKey) -> str:
    return f"#{key[1]} = {_placeholder(key).as_string()}"


def _with(source: str, path: Path, key: SettingKey, value: Item) -> str:
    """Return the source with a setting set."""
    table, name = key
    wanted = parse_settings(source, path)
    inside = wanted.setdefault(table, {})
    if not isinstance(inside, dict):
        raise SettingsError(f"'{table}' in {path} must be a table, [{table}]; {_EDIT_HINT}")
    was_set = name in inside
    inside[name] = value.unwrap()
    candidates = [source] if was_set else [*_uncommented(source, key), source]
    for text in candidates:
        with contextlib.suppress(TOMLKitError):
            document = tomlkit.parse(text)
            if table not in document:
                document[table] = tomlkit.table()
            document[table][name] = value
            if _has_tables(changed := tomlkit.dumps(document), wanted):
                return changed
    raise _cannot_change(path, key)


def _without(source: str, path: Path, key: SettingKey) -> str:
    """Return the source with a setting unset: as a comment if it has a line of its own."""
    table, name = key
    wanted = parse_settings(source, path)
    del wanted[table][name]
    with contextlib.suppress(TOMLKitError):
        document = tomlkit.parse(source)
        document[table][name] = _placeholder(key)
        shown = tomlkit.dumps(document)
        if place := key_spans(shown).get(key):
            lines = shown.split("\n")
            line = lines[place.key.line - 1]
            lines[place.key.line - 1] = f"#{line.lstrip()}"
            if _has_tables(changed := "\n".join(lines), wanted):
                return changed
    with contextlib.suppress(TOMLKitError):
        document = tomlkit.parse(source)
        del document[table][name]
        if _has_tables(changed := tomlkit.dumps(document), wanted):
            return changed
    raise _cannot_change(path, key)


def _uncommented(source: str, key: SettingKey) -> Iterator[str]:
    """Yield the source with the ``#`` removed from the line of an unset setting."""
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


def _has_tables(text: str, wanted: dict[str, Any]) -> bool:
    """Return whether a text has exactly these tables."""
    try:
        return parse_settings(text, Path()) == wanted
    except SettingsError:
        return False


def _cannot_change(path: Path, key: SettingKey) -> SettingsError:
    return SettingsError(
        f"'{'.'.join(key)}' in {path} cannot be changed without losing something; {_EDIT_HINT}"
    )


def _like(raw: str, text: str) -> str:
    """Return a text with the byte order mark and line ends of the text that it replaces."""
    mark = "\ufeff" if raw.startswith("\ufeff") else ""
    windows = raw.count("\r\n") * 2 > raw.count("\n")
    return mark + (text.replace("\n", "\r\n") if windows else text)


@contextlib.contextmanager
def _changing(path: Path) -> Iterator[None]:
    """Keep other processes from changing the file between reading and writing it.

    Raises:
        SettingsError: one of them does not end, or the folder cannot be written.
    """
    lock = path.resolve().with_name(f".{path.name}.lock")
    with contextlib.ExitStack() as held:
        try:
            lock.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            held.enter_context(file_lock(lock, LOCK_TIMEOUT_S))
        except TimeoutError as error:
            raise SettingsError(
                f"another copy of the trainer is changing the settings {path}; close it, or try "
                "again"
            ) from error
        except OSError as error:
            raise _cannot_write(path, error) from None
        yield


def _write(path: Path, text: str) -> None:
    """Replace the file atomically by a text that only its owner can read."""
    try:
        replace_file(path, text.encode("utf-8"))
    except OSError as error:
        raise _cannot_write(path, error) from None


def _cannot_write(path: Path, error: OSError) -> SettingsError:
    return SettingsError(
        f"the settings {path} cannot be written: {error.strerror}; check their folder and "
        "rights, or name another file in TRAINER_SETTINGS"
    )
