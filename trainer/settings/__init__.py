"""The player's settings: one TOML file, with a default for every setting."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trainer.core.lazy import lazy_getattr
from trainer.settings.errors import SettingsError
from trainer.settings.reader import ResolvedSettings, load_settings, resolve_settings, settings_path
from trainer.settings.tables import (
    MAX_PLAYER_NAME_LENGTH,
    SETTING_KEYS,
    SETTING_TABLES,
    SettingKey,
    Settings,
    default_value,
)
from trainer.settings.validation import parse_setting

if TYPE_CHECKING:
    from trainer.settings.schemas import settings_data
    from trainer.settings.writer import (
        create_settings_file,
        parse_setting_key,
        set_setting,
        toml_value_text,
        unset_setting,
    )
else:
    __getattr__ = lazy_getattr(
        __name__,
        {
            "schemas": ["settings_data"],
            "writer": [
                "create_settings_file",
                "parse_setting_key",
                "set_setting",
                "toml_value_text",
                "unset_setting",
            ],
        },
    )

__all__ = [
    "MAX_PLAYER_NAME_LENGTH",
    "SETTING_KEYS",
    "SETTING_TABLES",
    "ResolvedSettings",
    "SettingKey",
    "Settings",
    "SettingsError",
    "create_settings_file",
    "default_value",
    "load_settings",
    "parse_setting",
    "parse_setting_key",
    "resolve_settings",
    "set_setting",
    "settings_data",
    "settings_path",
    "toml_value_text",
    "unset_setting",
]
