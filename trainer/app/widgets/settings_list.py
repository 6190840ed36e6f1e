"""The settings as lines: value and origin of each, and when a change takes effect."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

from trainer.harp import STANDARD_KEYS, tuning_names
from trainer.music import TEMPERAMENTS
from trainer.practice import HandsFree, Plan
from trainer.settings import (
    SETTING_KEYS,
    SETTING_TABLES,
    ResolvedSettings,
    SettingKey,
    Settings,
    default_value,
    parse_setting,
)
from trainer.sound import MicrophoneSpec
from trainer.store import journal_path

FROM_OPTION, FROM_FILE, FROM_DEFAULT = "option", "file", "default"
"""Origins of a value; the name of an environment variable is another."""
NOT_SET = "not set"
UNSET_TEXTS: Mapping[SettingKey, str] = {
    ("practice", "count_in"): "one bar",
    ("harp", "key"): "the drill's",
    ("harp", "name"): "none",
    ("sound", "device"): "the system's",
    ("sound", "output"): "the system's",
    ("sound", "channel"): "all, mixed",
    ("sound", "latency_ms"): "as measured",
    ("journal", "file"): "in your data folder",
}
"""What holds while a setting is not set."""
UNITS: Mapping[SettingKey, str] = {
    ("practice", "minutes"): "min",
    ("practice", "count_in"): "beats",
    ("harp", "a4"): "Hz",
    ("sound", "latency_ms"): "ms",
    ("sound", "ground_db"): "dB",
    ("journal", "audio_mb"): "MB",
}
TABLE_TITLES: Mapping[str, str] = {table: table.capitalize() for table in SETTING_TABLES}
CHANGED_TITLE = "Changed"
"""Heading of the settings that are not at their default."""
SWITCH_TEXTS: Mapping[str, str] = {"true": "on", "false": "off"}
TAKES_EFFECT_NEXT_TAKE = "Takes effect with the next take."
TAKES_EFFECT_ON_RESTART = "Takes effect after a restart."
TAKES_EFFECT_NOW = "In effect now."
THEME_KEY: SettingKey = ("screen", "theme")
NEXT_TAKE_KEYS: frozenset[SettingKey] = frozenset(
    ("practice", name) for name in ("count_in", "hands_free", "follow")
)
"""Settings of the table of practice that can change between two takes."""
NAMED_CHOICES: Mapping[SettingKey, Callable[[], tuple[str, ...]]] = {
    ("harp", "key"): lambda: STANDARD_KEYS,
    ("harp", "tuning"): tuning_names,
    ("harp", "temperament"): lambda: tuple(TEMPERAMENTS),
}
"""Choices of the settings whose type does not list them."""


@dataclass(frozen=True, slots=True)
class SettingLine:
    """A setting as the screen shows it.

    Attributes:
        key: its table and name.
        value: its value as typed, without quotes; empty if it is not set.
        origin: ``option``, the name of an environment variable, ``file`` or ``default``.
        about: its description.
        label: its name for the player.
        choices: all valid values, if they are few.
        needed: whether it must have a value.
    """

    key: SettingKey
    value: str
    origin: str
    about: str
    label: str
    choices: tuple[str, ...] = ()
    needed: bool = True

    @property
    def name(self) -> str:
        """The dotted name, as on the command line."""
        return ".".join(self.key)

    @property
    def changed(self) -> bool:
        """Whether it is not at its default."""
        return self.origin != FROM_DEFAULT

    @property
    def shown(self) -> str:
        """Its value in words, with its unit."""
        if not self.value:
            return UNSET_TEXTS.get(self.key, NOT_SET)
        unit = UNITS.get(self.key, "")
        return f"{SWITCH_TEXTS.get(self.value, self.value)} {unit}".rstrip()

    @property
    def heading(self) -> str:
        """The heading that it stands under."""
        return CHANGED_TITLE if self.changed else TABLE_TITLES[self.key[0]]


def changed_first(lines: Sequence[SettingLine]) -> tuple[SettingLine, ...]:
    """Return the lines with those in front that are not at their default."""
    return tuple(sorted(lines, key=lambda line: not line.changed))


def setting_text(value: Any) -> str:
    """Return a value as typed, without quotes; empty for None."""
    match value:
        case None:
            return ""
        case bool():
            return str(value).lower()
        case float():
            return f"{value:.10g}"
    return str(value)


def setting_value(settings: Settings, key: SettingKey) -> Any:
    """Return the value of a setting."""
    table, name = key
    return getattr(getattr(settings, table), name)


def values_from_options(plan: Plan, settings: Settings) -> Mapping[SettingKey, Any]:
    """Return the values of a plan that differ from the settings: command-line options set them."""
    used: dict[SettingKey, Any] = {("practice", "count_in"): plan.count_in}
    if isinstance(plan.source, MicrophoneSpec):
        source = plan.source
        used |= {
            ("sound", name): getattr(source, name)
            for name in SETTING_TABLES["sound"].model_fields
            if name != "ground"
        }
        used["sound", "ground"] = source.ground_db is not None
    if plan.player:
        used["player", "name"] = plan.player
    changed = {
        key: value
        for key, value in used.items()
        if value is not None and value != setting_value(settings, key)
    }
    usual = settings.journal.file or journal_path()
    if plan.journal is not None and plan.journal != usual:
        changed["journal", "file"] = plan.journal
    return changed


def setting_lines(resolved: ResolvedSettings, plan: Plan) -> tuple[SettingLine, ...]:
    """Return all settings as lines, table by table."""
    options = values_from_options(plan, resolved.settings)
    return tuple(_line(key, resolved, options) for key in SETTING_KEYS)


def _line(
    key: SettingKey, resolved: ResolvedSettings, options: Mapping[SettingKey, Any]
) -> SettingLine:
    table, name = key
    field = SETTING_TABLES[table].model_fields[name]
    value = options.get(key, setting_value(resolved.settings, key))
    origin = FROM_OPTION if key in options else resolved.origins.get(key, FROM_DEFAULT)
    choices: tuple[str, ...] = ()
    if field.annotation is bool:
        choices = ("true", "false")
    elif get_origin(field.annotation) is Literal:
        choices = get_args(field.annotation)
    elif key in NAMED_CHOICES:
        choices = NAMED_CHOICES[key]()
    needed = default_value(key) is not None
    about, label = field.description or "", field.title or name
    return SettingLine(key, setting_text(value), origin, about, label, choices, needed)


def value_problem(line: SettingLine, text: str) -> str:
    """Return what is wrong with a text as the value of a setting; empty if it is valid."""
    if not text and not line.needed:
        return ""
    try:
        parse_setting(line.key, text)
    except ValueError as error:
        return str(error)
    return ""


def next_choice(line: SettingLine) -> str:
    """Return the choice after the current one."""
    at = line.choices.index(line.value) if line.value in line.choices else -1
    return line.choices[(at + 1) % len(line.choices)]


def apply_setting(plan: Plan, key: SettingKey, value: Any) -> Plan:
    """Return a plan with a setting applied, if it can change between two takes."""
    if key[0] == "sound" and isinstance(plan.source, MicrophoneSpec):
        return replace(plan, source=replace(plan.source, **{key[1]: value}))
    if key == ("practice", "count_in"):
        return replace(plan, count_in=value)
    if key == ("practice", "hands_free"):
        return replace(plan, hands_free=HandsFree() if value else None)
    if key == ("practice", "follow"):
        return replace(plan, follow=value)
    return plan


def effect_text(key: SettingKey, plan: Plan) -> str:
    """Return when a change of a setting takes effect, as a sentence."""
    if key == THEME_KEY:
        return TAKES_EFFECT_NOW
    sound = key[0] == "sound" and isinstance(plan.source, MicrophoneSpec)
    return TAKES_EFFECT_NEXT_TAKE if sound or key in NEXT_TAKE_KEYS else TAKES_EFFECT_ON_RESTART


def short_path(path: Path, room: int) -> str:
    """Return a path with ~ for the home folder, cut at its start to `room` characters."""
    try:
        text = f"~/{path.relative_to(Path.home()).as_posix()}"
    except (ValueError, RuntimeError):
        text = str(path)
    return text if len(text) <= room else f"…{text[1 - room :]}"
