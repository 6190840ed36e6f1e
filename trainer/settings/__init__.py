"""The player's settings: one TOML file, read with defaults for all that is not in it."""

from trainer.settings.errors import SettingsError
from trainer.settings.reader import ResolvedSettings, load_settings, resolve_settings, settings_path
from trainer.settings.tables import Settings

__all__ = [
    "ResolvedSettings",
    "Settings",
    "SettingsError",
    "load_settings",
    "resolve_settings",
    "settings_path",
]
