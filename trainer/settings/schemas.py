"""Shape of ``trainer settings show --format json``."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field
from typing_extensions import TypedDict

from trainer.settings.reader import ResolvedSettings

SettingsData = TypedDict(
    "SettingsData",
    {
        "file": Annotated[str, Field(description="Path of the settings file.")],
        "is_there": Annotated[bool, Field(description="Whether the file exists.")],
        "settings": Annotated[
            dict[str, dict[str, Any]],
            Field(description="Value of each setting by table and name; null if it is not set."),
        ],
        "from": Annotated[
            dict[str, str],
            Field(
                description="Origin of each setting that is not a default, such as "
                "`sound.device`: an environment variable or `file`."
            ),
        ],
        "problems": Annotated[list[str], Field(description="Sentences on what is wrong.")],
    },
)
"""Class syntax cannot state a key that is called ``from``."""
SettingsData.__doc__ = "The settings and their origins."


def settings_data(resolved: ResolvedSettings) -> SettingsData:
    """Return resolved settings as JSON data."""
    return {
        "file": str(resolved.file),
        "is_there": resolved.file.exists(),
        "settings": resolved.settings.model_dump(mode="json"),
        "from": {".".join(key): origin for key, origin in resolved.origins.items()},
        "problems": list(resolved.problems),
    }
