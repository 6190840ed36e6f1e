"""Options that more than one command takes."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from trainer.harp import Harp
    from trainer.settings import Settings
    from trainer.sound import MicrophoneSpec
    from trainer.store import Journal


class Format(StrEnum):
    """How an answer is written."""

    TEXT = "text"
    JSON = "json"


FormatOption = Annotated[Format, typer.Option("--format", help="How to write it.")]
HarpOption = Annotated[
    str | None,
    typer.Option(
        "--harp",
        metavar="KEY",
        help="Key of the harp: C, Bb, 'low F' (or LF); or your own one's name.",
    ),
]
TuningOption = Annotated[str | None, typer.Option(help="Name of the harp's tuning.")]
TemperamentOption = Annotated[
    str | None, typer.Option(help="equal, just5 or just7; default: your settings', or equal.")
]
A4Option = Annotated[
    float | None,
    typer.Option("--a4", help="Hz of A4, 400 to 480; default: your settings', or 440."),
]
OffsetOption = Annotated[
    list[str] | None,
    typer.Option(help="Your own cents for a tab entry; may be repeated.", metavar="TAB=CENTS"),
]
TempoOption = Annotated[
    float | None, typer.Option(help="Beats a minute; default: the drill's.", min=20, max=300)
]
ChannelOption = Annotated[
    int | None, typer.Option(help="1 for the first; default: all, mixed.", min=1)
]
DeviceOption = Annotated[
    str | None, typer.Option(help="Microphone: name, part of it, or number; see 'sound list'.")
]
OutputOption = Annotated[
    str | None, typer.Option(help="Where clicks go: name, part of it, or number.")
]
LatencyOption = Annotated[
    float | None,
    typer.Option(
        "--latency",
        metavar="MS",
        help="Round trip from click to microphone; default: what the driver says.",
        min=0,
        max=2000,
    ),
]
PartOption = Annotated[
    int, typer.Option(help="Which part is yours, where a drill has two.", min=1, max=2)
]
RecordingArgument = Annotated[Path, typer.Argument(help="WAV, FLAC, OGG or MP3.")]


def player_settings() -> Settings:
    """The player's settings; what is wrong with them is told on standard error, once."""
    from trainer.settings import resolve_settings

    found = resolve_settings()
    if found.problems:
        _tell_once("\n".join(found.problems))
    return found.settings


@cache
def _tell_once(text: str) -> None:
    typer.echo(f"{text}\nwhat is wrong there is taken as usual", err=True)


def override_harp(
    key: str | None,
    tuning: str | None,
    temperament: str | None,
    a4: float | None,
    offset: list[str] | None,
    *,
    base: Harp,
) -> Harp:
    """The harp that the options name; what they leave out is as on `base`.

    Raises:
        HarpError, MusicError: there is no such harp.
    """
    from trainer.harp import Harp, parse_offsets

    return Harp.of(
        key or base.key.name,
        tuning or base.tuning.name,
        a4=base.a4 if a4 is None else a4,
        temperament_name=temperament or base.temperament.name,
        offsets=parse_offsets(offset)
        if offset
        else {str(tab): cents for tab, cents in base.offsets.items()},
    )


def harp_from_options(
    text: str | None,
    tuning: str | None,
    temperament: str | None,
    a4: float | None,
    offset: list[str] | None,
    *,
    base: Harp | None = None,
    written_for: Harp | None = None,
) -> tuple[Harp, str | None]:
    """The harp in hand, and its name if it is one of the player's own.

    Args:
        text: a key, or the name of a harp of the player's.
        tuning, temperament, a4, offset: what the options say.
        base: what was surely played on, as a saved take knows; settings do not change it.
        written_for: the harp of a drill, as in :func:`trainer.reedcare.own_harps.select_harp`.

    Raises:
        HarpError, MusicError: there is no such harp.
    """
    from trainer.harp import parse_offsets
    from trainer.reedcare.own_harps import select_harp

    if base is not None:
        return override_harp(text, tuning, temperament, a4, offset, base=base), None
    with open_player_journal() as journal:
        return select_harp(
            journal,
            player_settings(),
            text,
            tuning=tuning,
            temperament_name=temperament,
            a4=a4,
            offsets=parse_offsets(offset or ()),
            written_for=written_for,
        )


def player_journal() -> Path:
    """Where the player's journal lies."""
    from trainer.store import journal_path

    return player_settings().journal.file or journal_path()


def sound_mb() -> float | None:
    """Megabytes that the sounds in the journal may take; None if none are kept."""
    wanted = player_settings().journal
    return wanted.audio_mb if wanted.keep_audio else None


@contextmanager
def open_player_journal() -> Iterator[Journal | None]:
    """The player's journal; None if it cannot be opened, which whatever writes into it tells."""
    from trainer.store import Journal, JournalError

    journal = None
    with suppress(JournalError):
        journal = Journal(player_journal())
    try:
        yield journal
    finally:
        if journal is not None:
            journal.close()


def microphone_spec(
    device: str | None,
    output: str | None,
    channel: int | None = None,
    latency: float | None = None,
    *,
    clicks: bool | None = None,
) -> MicrophoneSpec:
    """The microphone that the options name; what they leave out is as the settings say."""
    from trainer.sound import MicrophoneSpec

    usual = player_settings().sound
    return MicrophoneSpec(
        device=usual.device if device is None else device,
        output=usual.output if output is None else output,
        channel=usual.channel if channel is None else channel,
        latency_ms=usual.latency_ms if latency is None else latency,
        clicks=usual.clicks if clicks is None else clicks,
    )


def count_in_beats(beats: int | None) -> int | None:
    """Beats of count-in that the option names, or the settings; None for one bar."""
    return player_settings().practice.count_in if beats is None else beats


def check_overwrite(out: Path, *, force: bool) -> None:
    """Check that a file may be written.

    Raises:
        TrainerError: it is there already.
    """
    from trainer.core import TrainerError

    if out.exists() and not force:
        raise TrainerError(f"{out} is there already; name another file, or add --force")


def write_text(out: Path, text: str) -> None:
    """Write a file.

    Raises:
        TrainerError: it cannot be written.
    """
    from trainer.core import TrainerError

    try:
        out.write_text(text, encoding="utf-8")
    except OSError as error:
        raise TrainerError(
            f"{out} cannot be written ({error.strerror}); name another file"
        ) from None


def write_json(data: Any) -> None:
    """Print data as JSON."""
    typer.echo(json.dumps(data, indent=2))
