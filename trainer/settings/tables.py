"""The settings: type, default and description of each.

A description states what a setting is and its valid values, in words that fit a comment of the
settings file and a message about an invalid value.
"""

from __future__ import annotations

import getpass
import os
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from trainer.core.toml_values import parsable_by
from trainer.drill.header import ShortText
from trainer.harp import A4_RANGE_HZ, load_tuning, parse_key
from trainer.music import temperament_named

SettingKey = tuple[str, str]
"""Table and name of a setting: ``("sound", "device")``."""

MAX_PLAYER_NAME_LENGTH = 80
"""Maximum length of a player's name in characters."""


def login_name() -> str:
    """Return the login name; ``player`` if the system has none."""
    try:
        name = " ".join(getpass.getuser().split())
    except (OSError, KeyError, ImportError):  # which of them depends on the system
        return "player"
    return name[:MAX_PLAYER_NAME_LENGTH] if name.isprintable() and name else "player"


def _name_of(device: object) -> object:
    """Return a device's number as text; other values unchanged."""
    return str(device) if type(device) is int else device


def _from_anywhere(path: Path) -> Path:
    """Return an absolute path, with ``~`` expanded.

    Raises:
        ValueError: the path is relative.
    """
    absolute = Path(os.path.expanduser(path))
    if not absolute.is_absolute():
        raise ValueError(f"'{path}' is relative; write the whole path, or one from ~/")
    return absolute


HarpKeyName = Annotated[str, parsable_by(parse_key)]
TuningName = Annotated[str, parsable_by(load_tuning)]
TemperamentName = Annotated[str, parsable_by(temperament_named)]
WholePath = Annotated[Path, Field(strict=False), AfterValidator(_from_anywhere)]
Device = Annotated[ShortText, BeforeValidator(_name_of)]
TargetSource = Literal["temperament", "reeds"]


class _Table(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, allow_inf_nan=False)


class PlayerTable(_Table):
    """Name of the player."""

    name: ShortText = Field(
        title="Player",
        default_factory=login_name,
        description="whose takes these are, one line of text, up to 80 characters",
    )


class PracticeTable(_Table):
    """Practice sessions."""

    minutes: float = Field(
        title="Daily set",
        default=20.0,
        ge=1,
        le=480,
        description="minutes of a day's set, a number from 1 to 480",
    )
    count_in: int | None = Field(
        title="Count-in",
        default=None,
        ge=1,
        le=16,
        description="beats of count-in, a whole number from 1 to 16; not set, it is one bar",
        examples=[4],
    )
    hands_free: bool = Field(
        default=False,
        title="Hands-free",
        description="whether passes go on by themselves and start on a note, true or false",
    )
    follow: bool = Field(
        default=False,
        title="Follow me",
        description="whether you are followed in your own time, without a click, true or false; "
        "goes before hands-free",
    )


class HarpTable(_Table):
    """The default harp, its tuning and its targets."""

    key: HarpKeyName | None = Field(
        title="Harp",
        default=None,
        description='the key of the selected harp, as "C" or "low F"; not set, that of the drill',
        examples=["C"],
    )
    name: ShortText | None = Field(
        title="Your own harp",
        default=None,
        description="the name of the selected harp, one that you have measured",
        examples=["old C"],
    )
    tuning: TuningName = Field(
        title="Tuning", default="richter", description='the name of its tuning, as "richter"'
    )
    a4: float = Field(
        title="A4",
        default=440.0,
        ge=A4_RANGE_HZ[0],
        le=A4_RANGE_HZ[1],
        description="Hz of A4, a number from 400 to 480",
    )
    temperament: TemperamentName = Field(
        title="Temperament",
        default="equal",
        description='what in tune means: "equal", "just5", "just7", "half-just5" or "half-just7"',
    )
    naturals: TargetSource = Field(
        title="Natural notes follow",
        default="temperament",
        description='what the targets of natural notes follow, "temperament" or "reeds", as '
        "measured",
    )
    bends: TargetSource = Field(
        title="Bends follow",
        default="temperament",
        description='what the targets of bends follow, "temperament" or "reeds", as measured',
    )


class SoundTable(_Table):
    """Audio input and output."""

    device: Device | None = Field(
        title="Microphone",
        default=None,
        description="the microphone, a name, part of it, or number; not set, the system's",
        examples=["USB"],
    )
    output: Device | None = Field(
        title="Clicks and playback",
        default=None,
        description="where clicks go, a name, part of it, or number; not set, the system's",
        examples=["Headphones"],
    )
    channel: int | None = Field(
        title="Channel",
        default=None,
        ge=1,
        le=256,
        description="the microphone's channel, a whole number from 1; not set, all are mixed",
        examples=[1],
    )
    latency_ms: float | None = Field(
        title="Latency",
        default=None,
        ge=0,
        le=2000,
        description="ms from click to microphone, a number from 0 to 2000; not set, as measured",
        examples=[25.0],
    )
    clicks: bool = Field(
        title="Clicks", default=True, description="whether beats are heard, true or false"
    )
    ground: bool = Field(
        title="Ground",
        default=True,
        description="whether the chords or bass of a drill are played, true or false",
    )
    ground_db: float = Field(
        title="Level of the ground",
        default=0.0,
        ge=-30,
        le=12,
        description="dB relative to the usual level, a number from -30 to 12",
    )


class JournalTable(_Table):
    """The journal and its audio."""

    file: WholePath | None = Field(
        title="Journal",
        default=None,
        description="the journal's file, a whole path or one from ~/; not set, in your data folder",
        examples=["~/harp/journal.sqlite"],
    )
    keep_audio: bool = Field(
        title="Keep audio",
        default=False,
        description="whether takes keep their audio, true or false",
    )
    audio_mb: float = Field(
        title="Audio kept, at most",
        default=500.0,
        ge=1,
        le=1_000_000,
        description="megabytes of audio to keep at most, a number from 1 to 1000000",
    )


class ScreenTable(_Table):
    """Appearance of the screen."""

    theme: Literal["dark", "light", "plain"] = Field(
        title="Colours",
        default="dark",
        description='the colours, "dark", "light", or "plain" for none',
    )
    motion: Literal["full", "reduced"] = Field(
        title="Motion",
        default="full",
        description='"full", or "reduced": nothing glides, and the needle goes in whole cents',
    )


class Settings(_Table):
    """All settings."""

    player: PlayerTable = Field(default_factory=PlayerTable)
    practice: PracticeTable = Field(default_factory=PracticeTable)
    harp: HarpTable = Field(default_factory=HarpTable)
    sound: SoundTable = Field(default_factory=SoundTable)
    journal: JournalTable = Field(default_factory=JournalTable)
    screen: ScreenTable = Field(default_factory=ScreenTable)


SETTING_TABLES: Mapping[str, type[_Table]] = MappingProxyType(
    {
        "player": PlayerTable,
        "practice": PracticeTable,
        "harp": HarpTable,
        "sound": SoundTable,
        "journal": JournalTable,
        "screen": ScreenTable,
    }
)
SETTING_KEYS: tuple[SettingKey, ...] = tuple(
    (table, name) for table, model in SETTING_TABLES.items() for name in model.model_fields
)
ENVIRONMENT_VARIABLES: Mapping[SettingKey, str] = MappingProxyType(
    {
        ("player", "name"): "TRAINER_PLAYER",
        ("harp", "key"): "TRAINER_HARP",
        ("harp", "a4"): "TRAINER_A4",
        ("sound", "device"): "TRAINER_DEVICE",
        ("sound", "output"): "TRAINER_OUTPUT",
        ("sound", "latency_ms"): "TRAINER_LATENCY_MS",
        ("journal", "file"): "TRAINER_JOURNAL",
    }
)
"""Environment variables that override the file."""


def default_value(key: SettingKey) -> Any:
    """Return the default of a setting."""
    table, name = key
    return SETTING_TABLES[table].model_fields[name].get_default(call_default_factory=True)
