"""The player's settings: one TOML file, read with defaults for all that is not in it."""

from trainer.settings.errors import SettingsError
from trainer.settings.reader import SettingsFound, find_settings, load_settings, settings_path
from trainer.settings.tables import Settings

__all__ = [
    "Settings",
    "SettingsError",
    "SettingsFound",
    "find_settings",
    "load_settings",
    "settings_path",
]
