"""The player's settings: one TOML file, with a default for every setting."""

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
